"""Files that others must read: GeoPackage by a general-purpose checker of the standard, CSV by other readers.

The checker is `validate_gpkg` of GDAL's Python utilities (the package gdal-utils, MIT, installed without its
dependency GDAL, which it does without): the requirements of the GeoPackage standard (OGC 12-128) one by one.
"""

from __future__ import annotations

import csv
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.csv
import pytest
from crash_helpers import Source, command
from project_helpers import results
from tract_helpers import cut, write_tract

from screener.files.results import write_results

HOSTILE = 'say "hi", then\r\nleave; é \u4e2d\u6587 \U0001f3e0 =1+1 \t'


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A set whose texts hold all that CSV and SQL care about."""
    folder = tmp_path_factory.mktemp("hostile")
    write_results(folder, results(5, HOSTILE), {"run_id": HOSTILE, "tract": "it's; DROP TABLE lots"})
    return folder


@pytest.fixture(scope="module")
def hazards(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Results of the hazard command over the sample's own rasters, with its further map layers."""
    tract = write_tract(tmp_path_factory.mktemp("hazards") / "p", cut(("A-02", "A-29", "A-44")))
    assert command("hazards", tract, "--allow-exceptions")[0] == 0
    return tract.parent / "results-hazards"


# --- GeoPackage -------------------------------------------------------------------------------------------------------


def requirements_missed(path: Path) -> list[Any]:
    """What the general checker says; its extra checks too."""
    checker = pytest.importorskip("osgeo_utils.samples.validate_gpkg", reason="gdal-utils is not installed")
    found: list[Any] = checker.check(
        str(path.resolve()), abort_at_first_error=False, extra_checks=True, warning_as_error=True
    )
    return found


def test_every_geopackage_passes_the_general_checker(source: Source, hostile: Path, hazards: Path) -> None:
    for path in (source.folder / "results" / "tract.gpkg", hostile / "tract.gpkg", hazards / "hazards.gpkg"):
        assert requirements_missed(path) == [], path.name


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        ("PRAGMA application_id = 1", "application_id"),
        ("UPDATE gpkg_contents SET last_change = 'yesterday'", "last_change"),
        ("DROP TRIGGER rtree_lots_geom_insert", "rtree_lots_geom_insert"),
    ],
)
def test_the_checker_sees_damage(hostile: Path, tmp_path: Path, damage: str, words: str) -> None:
    copy = tmp_path / "tract.gpkg"
    shutil.copy(hostile / "tract.gpkg", copy)
    with closing(sqlite3.connect(copy)) as database:
        database.execute(damage)
        database.commit()
    assert words in str(requirements_missed(copy))


def test_the_database_itself_is_sound(source: Source, hostile: Path, hazards: Path) -> None:
    """Whole pages, no key that leads nowhere, a rollback journal: nothing beside the file, none needed to read it."""
    for path in (source.folder / "results" / "tract.gpkg", hostile / "tract.gpkg", hazards / "hazards.gpkg"):
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)) as database:
            assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert database.execute("PRAGMA foreign_key_check").fetchall() == []
            assert database.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert not [entry.name for entry in path.parent.iterdir() if entry.name.endswith(("-journal", "-wal", "-shm"))]


# --- CSV --------------------------------------------------------------------------------------------------------------


def by_python(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file, strict=True))


def by_arrow(path: Path) -> list[list[str]]:
    names = by_python(path)[0]
    table = pyarrow.csv.read_csv(
        path,
        parse_options=pyarrow.csv.ParseOptions(newlines_in_values=True),
        convert_options=pyarrow.csv.ConvertOptions(
            column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False
        ),
    )
    return [table.column_names, *[list(row) for row in zip(*(c.to_pylist() for c in table.columns), strict=True)]]


def by_duckdb(path: Path) -> list[list[str]]:
    duckdb = pytest.importorskip("duckdb", reason="duckdb is not installed")
    with duckdb.connect() as database:
        asked = database.execute(
            "SELECT * FROM read_csv($1, all_varchar=true, header=true, delim=',', quote='\"', escape='\"')", [str(path)]
        )
        names = [d[0] for d in asked.description]
        return [names, *[["" if v is None else v for v in row] for row in asked.fetchall()]]


@pytest.mark.parametrize("reader", [by_arrow, by_duckdb], ids=["pyarrow", "duckdb"])
def test_other_readers_of_csv_see_the_same_cells(source: Source, hostile: Path, hazards: Path, reader: Any) -> None:
    """Against Python's own reader, every cell a text."""
    seen = 0
    for folder in (source.folder / "results", hostile, hazards):
        for path in sorted(folder.glob("*.csv")):
            expected = by_python(path)
            assert reader(path) == expected, path.name
            assert {len(row) for row in expected} == {len(expected[0])}, path.name
            seen += len(expected) - 1
    assert seen > 100


def test_numbers_of_csv_are_those_of_the_database(source: Source) -> None:
    """Read as a reader that guesses kinds reads them: every number of a column is the database's, at its decimals."""
    folder = source.folder / "results"
    compared = 0
    with closing(sqlite3.connect(folder / "tract.gpkg")) as database:
        for path in sorted(folder.glob("*.csv")):
            table = pyarrow.csv.read_csv(path, parse_options=pyarrow.csv.ParseOptions(newlines_in_values=True))
            for name, column in zip(table.column_names, table.columns, strict=True):
                if pa.types.is_floating(column.type) or pa.types.is_integer(column.type):
                    stored = [v for (v,) in database.execute(f'SELECT "{name}" FROM "{path.stem}" ORDER BY fid')]
                    if all(isinstance(v, int | float | None) for v in stored):
                        assert column.to_pylist() == stored, (path.name, name)
                        compared += len(stored)
    assert compared > 1000
