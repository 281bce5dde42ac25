"""portfolio.gpkg: every lot with its governing row as a map layer, written from the shards in one stream.

Memory does not grow with the number of lots: batches go through Arrow into GDAL. The other tables are those of the CSV
files; that of the exceptions, which may be long, comes from a database of its own. Closed, opened again and checked
before it counts as written.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio

from screener.columns import TABLES
from screener.files import geopackage as own
from screener.files.styles import GEOMETRY

BATCH_ROWS = 16_384
MEANINGS = {
    "lots": "every lot: hazards, governing demand, package, cost, flags",
    "tracts": "every tract: lots by status, packages, cost; a point in the middle of its lots",
    "divisions": "divisions: lots by status and cost",
    "bill_of_materials": "what to buy, by tract, item and delivery, with sums by division and of the whole",
    "needs_by_period": "pieces and money by the period in which to order, by division and item",
    "packages": "what each hardware package holds",
    "cost_curve": "cost by number of packages",
    "exceptions": "lots that need a person, with the reason",
    "issues": "every repair, default and warning",
    "run": "how these results came about",
}


def finish_geopackage(
    path: Path,
    lots: int,
    tracts: gpd.GeoDataFrame,
    tables: Mapping[str, tuple[str, pd.DataFrame | Path]],
) -> None:
    """Into a file that has its layer of lots: tracts as points, and tables by name: data dictionary's table, and rows.

    Rows are a frame, or the database in which a table of that name stands. Then the whole file is checked.
    """
    with own.fixed_date():
        _write_tracts(path, tracts)
    counts = {"lots": lots, "tracts": len(tracts)}
    with closing(sqlite3.connect(path.resolve().as_uri(), isolation_level=None, uri=True)) as database:
        database.execute("PRAGMA journal_mode = DELETE")
        apart = {name: rows for name, (_, rows) in tables.items() if isinstance(rows, Path)}
        for name, source in apart.items():
            database.execute(f"ATTACH ? AS from_{name}", (f"{source.resolve().as_uri()}?mode=ro",))
        database.execute("BEGIN IMMEDIATE")
        own.describe(database, "lots", list(TABLES["portfolio_lots"]))
        own.describe(database, "tracts", list(TABLES["portfolio_tracts"]))
        for name, (dictionary, rows) in tables.items():
            if isinstance(rows, Path):
                columns = list(TABLES[dictionary])
                counts[name] = own.copy_table(database, name, columns, f"from_{name}", MEANINGS[name])
            else:
                counts[name] = own.write_rows(database, name, dictionary, [rows], MEANINGS[name])
        own.register_schema(database)
        database.execute("COMMIT")
    own.check_geopackage(path, counts)


def write_lots_layer(path: Path, parts: Sequence[Path], crs: str) -> None:
    """A new file with the lots of Parquet parts as its map layer."""
    with own.fixed_date():
        _stream_lots(path, parts, crs)
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("PRAGMA journal_mode = DELETE")
        database.execute('CREATE UNIQUE INDEX "lots_tract_lot_id" ON "lots" ("tract", "lot_id")')


def _stream_lots(path: Path, parts: Sequence[Path], crs: str) -> None:
    schema = _plain(pq.read_schema(parts[0]))
    reader = pa.RecordBatchReader.from_batches(schema, _batches(parts, schema))
    try:
        pyogrio.write_arrow(
            reader,
            path,
            layer="lots",
            driver="GPKG",
            geometry_name="geometry",
            geometry_type="MultiPolygon",
            crs=crs,
            layer_options={
                "IDENTIFIER": "lots",
                "DESCRIPTION": MEANINGS["lots"],
                "SPATIAL_INDEX": "YES",
                "GEOMETRY_NAME": GEOMETRY,
                "FID": "fid",
            },
        )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError) as error:
        raise OSError(f"{path.name} could not be written: {error}") from error


def _plain(schema: pa.Schema) -> pa.Schema:
    """The same without dictionaries and without notes of the writer."""
    kinds = [f.type.value_type if pa.types.is_dictionary(f.type) else f.type for f in schema]
    return pa.schema([pa.field(f.name, kind) for f, kind in zip(schema, kinds, strict=True)])


def _batches(parts: Sequence[Path], schema: pa.Schema) -> Iterator[pa.RecordBatch]:
    """Batches of equal size, whatever the parts' sizes."""
    waiting = schema.empty_table()
    for part in parts:
        waiting = pa.concat_tables([waiting, pq.ParquetFile(part).read().cast(schema)])
        while len(waiting) >= BATCH_ROWS:
            yield waiting.slice(0, BATCH_ROWS).combine_chunks().to_batches()[0]
            waiting = waiting.slice(BATCH_ROWS)
    if len(waiting):
        yield waiting.combine_chunks().to_batches()[0]


def _write_tracts(path: Path, tracts: gpd.GeoDataFrame) -> None:
    pyogrio.write_dataframe(
        tracts,
        path,
        layer="tracts",
        driver="GPKG",
        geometry_type="Point",
        append=False,
        layer_options={
            "IDENTIFIER": "tracts",
            "DESCRIPTION": MEANINGS["tracts"],
            "SPATIAL_INDEX": "YES",
            "GEOMETRY_NAME": GEOMETRY,
            "FID": "fid",
        },
    )


def tract_points(frame: pd.DataFrame) -> gpd.GeoDataFrame:
    """The tracts table as points in degrees; a tract without any shape has none."""
    lon, lat = (frame[name].to_numpy(dtype=float) for name in ("longitude_deg", "latitude_deg"))
    points: Any = gpd.points_from_xy(np.nan_to_num(lon), np.nan_to_num(lat))
    shapes = np.array(points, dtype=object)
    shapes[~np.isfinite(lon)] = None
    return gpd.GeoDataFrame(frame, geometry=shapes, crs="EPSG:4326")
