"""The results as one GeoPackage (OGC 12-128r17): lots as a map layer, tables, columns explained, layers styled.

Bytes depend on the content only: layers are named, the date that GDAL stamps is fixed, rows are in key order. The
file is closed with a rollback journal (no side files) and read back before it counts as written.
"""

from __future__ import annotations

import io
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from itertools import chain, zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray

from screener.columns import TABLE_MEANINGS, Column
from screener.errors import OutputError
from screener.files.layer_columns import columns_of_layer
from screener.files.styles import GEOMETRY, LayerStyle, layer_styles
from screener.files.tables import columns_of, prepare, row_order
from screener.labels import label_with_unit

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

STAMP = "2000-01-01T00:00:00.000Z"  # stands where the format wants a date of change; results carry no clock
CELLS_A_STATEMENT = 1_000  # of the 32,766 that the database takes
_APPLICATION_ID = 0x47504B47  # "GPKG": OGC 12-128r17, requirement 2
_SQL_TYPES = {"text": "TEXT", "number": "REAL", "integer": "INTEGER", "yes_no": "BOOLEAN", "date": "TEXT"}

_DATA_COLUMNS = """CREATE TABLE IF NOT EXISTS gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
  constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name))"""
_EXTENSIONS = """CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))"""
_STYLES = """CREATE TABLE layer_styles (
  "id" INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, "f_table_catalog" TEXT(256), "f_table_schema" TEXT(256),
  "f_table_name" TEXT(256), "f_geometry_column" TEXT(256), "styleName" TEXT(30), "styleQML" TEXT, "styleSLD" TEXT,
  "useAsDefault" BOOLEAN, "description" TEXT, "owner" TEXT(30), "ui" TEXT(30), "update_time" DATETIME)"""
_SCHEMA_EXTENSION = "http://www.geopackage.org/spec121/#extension_schema"


def write_geopackage(
    path: Path,
    lots: GeoDataFrame,
    tables: Mapping[str, pd.DataFrame],
    layers: Mapping[str, GeoDataFrame] | None = None,
    lots_table: str = "lots",
) -> None:
    """Write the layer `lots`, attribute tables, and further map layers; read the file back and check it.

    `lots_table` names the data dictionary's table with the columns of that layer. Geometry stays in the lots' own
    coordinate system. A lot whose geometry can't be drawn gets none. Raises OutputError where what was written is not
    what was given.
    """
    prepared = _lots_frame(lots, lots_table)
    further = dict(sorted((layers or {}).items()))
    described = {"lots": columns_of(lots_table, lots)}
    described |= {n: columns_of_layer(n, [c for c in f.columns if c != f.geometry.name]) for n, f in further.items()}
    with fixed_date():
        for name, frame in {"lots": prepared, **further}.items():
            _write_layer(path, name, frame)
        for name, frame in {"lots": prepared, **further}.items():
            _check_layer(path, name, frame)
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("PRAGMA journal_mode = DELETE")
        database.execute("PRAGMA synchronous = OFF")
        database.execute("BEGIN IMMEDIATE")
        database.execute('CREATE UNIQUE INDEX "lots_lot_id" ON "lots" ("lot_id")')
        for name, columns in described.items():
            describe(database, name, columns)
        for name, table in tables.items():
            _write_table(database, name, table)
        _write_styles(
            database,
            [s for n, f in {"lots": prepared, **further}.items() for s in layer_styles(n, f, described[n])],
        )
        register_schema(database)
        database.execute("COMMIT")
    check_geopackage(path, {"lots": len(lots), **{name: len(table) for name, table in tables.items()}})


def check_geopackage(path: Path, rows: Mapping[str, int]) -> None:
    """Open a written GeoPackage read-only and compare it with what it should hold. Raises OutputError."""
    for suffix in ("-journal", "-wal", "-shm"):
        if path.with_name(path.name + suffix).exists():
            raise OutputError(f"{path.name}: {path.name}{suffix} was left beside it")
    faults = []
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as database:
        verdict = database.execute("PRAGMA integrity_check").fetchone()[0]
        if verdict != "ok":
            faults.append(f"the integrity check says {verdict}")
        if database.execute("PRAGMA application_id").fetchone()[0] != _APPLICATION_ID:
            faults.append("it is not marked as a GeoPackage")
        for name, expected in rows.items():
            count = database.execute(f"SELECT count(*) FROM {_quote(name)}").fetchone()[0]
            if count != expected:
                faults.append(f"table {name} holds {count} rows; expected {expected}")
    if faults:
        raise OutputError(f"{path.name}: " + "; ".join(faults))


def _same_rows(table: str, right: sqlite3.Connection, written: sqlite3.Connection) -> bool:
    """Whether a table holds what it should: all of it, row by row; of the standard's own tables at least that."""
    rows = f"SELECT * FROM {_quote(table)}"
    if table.startswith("gpkg_"):
        return not set(right.execute(rows)) - set(written.execute(rows))
    pairs = zip_longest(right.execute(rows), written.execute(rows))
    return all(a == b for a, b in pairs)


@contextmanager
def fixed_date() -> Iterator[None]:
    # The library must not flush: it passes over flushes that fail. The whole set is flushed before it is published.
    wanted = {"OGR_CURRENT_DATE": STAMP, "OGR_SQLITE_SYNCHRONOUS": "OFF"}
    before = {name: pyogrio.get_gdal_config_option(name) for name in wanted}
    pyogrio.set_gdal_config_options(wanted)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def _write_layer(path: Path | io.BytesIO, name: str, frame: GeoDataFrame) -> None:
    many = name in ("lots", "lot_problems")
    try:
        pyogrio.write_dataframe(
            frame,
            path,
            layer=name,
            driver="GPKG",
            geometry_type="MultiPolygon" if many else None,
            promote_to_multi=many or None,
            layer_options={
                "IDENTIFIER": name,
                "DESCRIPTION": TABLE_MEANINGS.get(name, ""),
                "SPATIAL_INDEX": "YES",
                "GEOMETRY_NAME": GEOMETRY,
                "FID": "fid",
            },
        )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError) as error:
        shown = path.name if isinstance(path, Path) else "a layer in memory"
        raise OSError(f"{shown} could not be written: {error}") from error


def _check_layer(path: Path, name: str, frame: GeoDataFrame) -> None:
    """Compare a layer on the disk with the same layer made in memory, where no disk can fail. Raises OutputError.

    The library passes over some failures of the disk without a word (a trigger, a row of statistics that is missing).
    """
    memory = io.BytesIO()
    _write_layer(memory, name, frame)
    with (
        closing(sqlite3.connect(":memory:")) as right,
        closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as written,
    ):
        right.deserialize(memory.getvalue())
        objects = "SELECT type, name, tbl_name, sql FROM sqlite_master"
        missing = {row[1] for row in set(right.execute(objects)) - set(written.execute(objects))}
        for mark in ("application_id", "user_version"):
            if right.execute(f"PRAGMA {mark}").fetchone() != written.execute(f"PRAGMA {mark}").fetchone():
                missing.add(mark)
        for (table,) in right.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
            if table not in missing and table != "sqlite_sequence" and not _same_rows(table, right, written):
                missing.add(table)
    if missing:
        raise OutputError(f"{path.name}: not all of layer {name} reached the disk ({', '.join(sorted(missing))})")


def _lots_frame(lots: GeoDataFrame, table: str) -> GeoDataFrame:
    import geopandas as gpd

    prepared = prepare(table, pd.DataFrame(lots.drop(columns=lots.geometry.name)))
    order = row_order(table, lots)
    return gpd.GeoDataFrame(prepared, geometry=drawable(lots.geometry.to_numpy()[order]), crs=lots.crs)


def drawable(geometries: Any) -> Any:
    """Polygons as they are; None for what a polygon layer can't hold: no polygon, or a vertex without a place."""
    kinds = shapely.get_type_id(geometries)
    polygonal = np.isin(kinds, (3, 6)) & ~shapely.is_empty(geometries)
    coordinates, owner = shapely.get_coordinates(geometries, return_index=True)
    broken = np.zeros(len(geometries), dtype=bool)
    broken[owner[~np.isfinite(coordinates).all(axis=1)]] = True
    drawn: NDArray[np.object_] = np.array(geometries, dtype=object)
    drawn[~polygonal | broken] = None
    deep = shapely.has_z(drawn) | shapely.has_m(drawn)
    drawn[deep] = shapely.force_2d(drawn[deep])
    return drawn


def _write_table(database: sqlite3.Connection, name: str, frame: pd.DataFrame) -> None:
    write_rows(database, name, name, [prepare(name, frame)], TABLE_MEANINGS.get(name, ""))


def write_rows(
    database: sqlite3.Connection, name: str, dictionary: str, frames: Iterable[pd.DataFrame], meaning: str
) -> int:
    """An attribute table from frames as `tables.typed` makes them for a table of the dictionary; the number of rows."""
    given = iter(frames)
    first = next(given, pd.DataFrame())
    columns = columns_of(dictionary, first)
    create_table(database, name, columns)
    count = fill_table(database, name, columns, chain([first], given))
    list_table(database, name, columns, meaning)
    return count


def create_table(database: sqlite3.Connection, name: str, columns: list[Column]) -> None:
    """An attribute table without rows, not yet listed among the contents."""
    declared = ", ".join(f"{_quote(column.name)} {_SQL_TYPES[column.kind]}" for column in columns)
    database.execute(f'CREATE TABLE {_quote(name)} ("fid" INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, {declared})')


def fill_table(database: sqlite3.Connection, name: str, columns: list[Column], frames: Iterable[pd.DataFrame]) -> int:
    """Rows of frames as `tables.typed` makes them; how many."""
    count = 0
    for prepared in frames:
        rows = zip(*(_python_values(column, prepared[column.name]) for column in columns), strict=True)
        _insert(database, name, columns, list(chain.from_iterable(rows)))
        count += len(prepared)
    return count


def list_table(database: sqlite3.Connection, name: str, columns: list[Column], meaning: str) -> None:
    """Enter a table and its columns in the GeoPackage's own tables."""
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
        "VALUES (?, 'attributes', ?, ?, ?)",
        (name, name, meaning, STAMP),
    )
    describe(database, name, columns)


def copy_table(database: sqlite3.Connection, name: str, columns: list[Column], attached: str, meaning: str) -> int:
    """A table out of an attached database, where `create_table` and `fill_table` made it; how many rows."""
    create_table(database, name, columns)
    found = database.execute(f"INSERT INTO {_quote(name)} SELECT * FROM {_quote(attached)}.{_quote(name)}")
    list_table(database, name, columns, meaning)
    return found.rowcount


def _insert(database: sqlite3.Connection, name: str, columns: list[Column], cells: list[Any]) -> None:
    """Rows into a table, their cells one row after the other.

    Many rows go into one statement: the database keeps up a table's last number once a statement.
    """
    names, width = ", ".join(_quote(column.name) for column in columns), len(columns)
    marks = f"({', '.join('?' for _ in columns)})"
    start = 0
    for rows in (max(1, CELLS_A_STATEMENT // width), 1):
        size = rows * width
        stop = start + (len(cells) - start) // size * size
        parts = (cells[k : k + size] for k in range(start, stop, size))
        database.executemany(f"INSERT INTO {_quote(name)} ({names}) VALUES {', '.join([marks] * rows)}", parts)
        start = stop


def _python_values(column: Column, values: pd.Series[Any]) -> list[Any]:
    if column.kind in ("integer", "yes_no"):
        whole: list[Any] = values.astype("Int64").tolist()
        return [None if value is pd.NA else value for value in whole]
    if column.kind == "number":
        numbers = values.to_numpy(np.float64)
        cells = numbers.astype(object)
        cells[np.isnan(numbers)] = None
        return list(cells.tolist())
    return [value if isinstance(value, str) else None for value in values.to_numpy(object).tolist()]


def describe(database: sqlite3.Connection, table: str, columns: list[Column]) -> None:
    database.execute(_DATA_COLUMNS)
    labels = [label_with_unit(column) for column in columns]
    rows = []
    for column, words in zip(columns, labels, strict=True):
        name = words if labels.count(words) == 1 else column.name  # names are unique in a table
        rows.append((table, column.name, name, words, column.meaning or None))
    database.executemany(
        "INSERT INTO gpkg_data_columns (table_name, column_name, name, title, description) VALUES (?, ?, ?, ?, ?)",
        rows,
    )


def _write_styles(database: sqlite3.Connection, styles: list[LayerStyle]) -> None:
    """The table `layer_styles` of the open convention, registered like any table without geometry."""
    if not styles:
        return
    database.execute(_STYLES)
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
        "VALUES ('layer_styles', 'attributes', 'layer_styles', 'styles of the map layers', ?)",
        (STAMP,),
    )
    database.executemany(
        'INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, "styleName", '
        '"styleQML", "styleSLD", "useAsDefault", description, owner, ui, update_time) '
        "VALUES ('', '', ?, ?, ?, ?, ?, ?, ?, '', NULL, ?)",
        [(s.layer, GEOMETRY, s.name, s.qml, s.sld, int(s.default), s.description, STAMP) for s in styles],
    )


def register_schema(database: sqlite3.Connection) -> None:
    database.execute(_EXTENSIONS)
    for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
        database.execute(
            "INSERT OR IGNORE INTO gpkg_extensions VALUES (?, NULL, 'gpkg_schema', ?, 'read-write')",
            (table, _SCHEMA_EXTENSION),
        )
    database.execute(
        "CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (constraint_name TEXT NOT NULL, "
        "constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, "
        "max_is_inclusive BOOLEAN, description TEXT, "
        "CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))"
    )


def _quote(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
