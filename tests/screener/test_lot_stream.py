"""The lots file of a portfolio passes the same checks as one of a tract before it is opened, and while it is read."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pytest
from project_helpers import grid
from tract_helpers import write_tract

from hazard.issues import InputError, Issues
from screener.config import load_tract
from screener.portfolio.config import PortfolioLots
from screener.portfolio.layout import lay_out
from screener.portfolio.lot_stream import open_stream


def frame() -> gpd.GeoDataFrame:
    return grid(4).assign(plan="thimble", tract=["Alder", "Alder", "Birch", "Birch"])


def laid_out(folder: Path, name: str, layer: str | None = None) -> int:
    """The count of lots of a portfolio's file, looked at and laid out."""
    base = load_tract(write_tract(folder / "base", frame(), {}))
    lots = PortfolioLots.model_validate({"file": name, "layer": layer}, context={"folder": folder})
    issues = Issues()
    layout, _ = lay_out(open_stream(base, lots, issues), "area", 10, issues, lambda *_: None)
    return layout.lots


def as_view(file: Path) -> None:
    frame().to_file(file, layer="lots")
    with closing(sqlite3.connect(file)) as database:
        for statement in (
            "CREATE VIEW shown AS SELECT * FROM lots",
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
            "SELECT 'shown', 'features', 'shown', srs_id FROM gpkg_contents WHERE table_name = 'lots'",
            "INSERT INTO gpkg_geometry_columns SELECT 'shown', column_name, geometry_type_name, srs_id, z, m "
            "FROM gpkg_geometry_columns WHERE table_name = 'lots'",
        ):
            database.execute(statement)
        database.commit()


def cut(file: Path) -> None:
    """Damage within a column: its head and foot are sound."""
    frame().to_parquet(file, compression=None)
    content = bytearray(file.read_bytes())
    content[40:400] = bytes(360)
    file.write_bytes(content)


REFERENCE = b'<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>/etc/lots.gpkg</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'  # noqa: E501


@pytest.mark.parametrize("name", ["lots.parquet", "lots.gpkg", "lots.geojson"])
def test_sound_files_are_laid_out(tmp_path: Path, name: str) -> None:
    frame().to_parquet(tmp_path / name) if name.endswith("parquet") else frame().to_file(tmp_path / name)
    assert laid_out(tmp_path, name) == 4


@pytest.mark.parametrize(
    ("name", "write", "layer", "told"),
    [
        ("lots.json", lambda file: file.write_bytes(REFERENCE), None, "points at other files"),
        ("lots.kml", lambda file: file.write_bytes(b'<!DOCTYPE a [<!ENTITY b "c">]><kml/>'), None, "DOCTYPE"),
        ("lots.gpkg", as_view, "shown", "layer shown is a view"),
        ("lots.gpkg", lambda file: frame().to_file(file, layer="lots"), "lotz", "lotz"),
        ("lots.parquet", cut, None, "expected a vector file with lots"),
        ("lots.parquet", lambda file: file.write_bytes(b"PAR1"), None, "expected a vector file with lots"),
    ],
    ids=["reference", "entities", "view", "no such layer", "damaged within", "damaged"],
)
@pytest.mark.filterwarnings("ignore")
def test_files_that_are_not_laid_out(
    tmp_path: Path, name: str, write: Callable[[Path], object], layer: str | None, told: str
) -> None:
    write(tmp_path / name)
    with pytest.raises(InputError, match=told) as raised:
        laid_out(tmp_path, name, layer)
    assert all(name in issue.message() for issue in raised.value.issues)


def test_a_row_group_too_large_to_hold_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    frame().to_parquet(tmp_path / "lots.parquet")
    monkeypatch.setattr("screener.portfolio.lot_stream.LARGEST_BYTES", 100)
    with pytest.raises(InputError, match="row group"):
        laid_out(tmp_path, "lots.parquet")
