"""Texts of a shapefile that may be cut: which full columns speak of a cut, and which do not."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from narrow_columns import narrowed
from project_helpers import CRS

from hazard.issues import Issues
from screener.files.vectors import VectorFile, read_layer


def shapefile(folder: Path, texts: list[str], width: int = 80, **columns: list[str]) -> Path:
    shapes = [shapely.box(i, 0, i + 1, 1) for i in range(len(texts))]
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "lots.shp"
    gpd.GeoDataFrame({"note": texts, **columns}, geometry=shapes, crs=CRS).to_file(path)
    if width != 80:
        narrowed("note", width)(path)
    return path


def cut_rows(path: Path, encoding: str | None = None) -> dict[str, list[int]]:
    layer = read_layer(VectorFile(path, path.name, encoding=encoding), Issues())
    assert layer is not None
    return {name: np.flatnonzero(rows).tolist() for name, rows in layer.cut.items()}


PLAIN = {"id": ["1", "2", "3"]}


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("texts", "width", "others", "rows"),
    [
        (["x" * 300, "y", "z"], 80, PLAIN, [0]),  # the widest column there is
        (["x" * 300, "y" * 300, "z" * 300], 80, PLAIN, [0, 1, 2]),
        (["\u00e9" * 200, "z" + "\u20ac" * 200, ""], 80, PLAIN, [0, 1]),  # cut between letters of 2 and 3 bytes
        (["third bay; patio", "patio", ""], 12, PLAIN, [0]),
        (["third bay; patio", "third bay", ""], 20, PLAIN, None),  # room is left
        (["AB-1234-0001", "AB-1234-0002", ""], 12, PLAIN, None),  # all of one length
        (["kettle", "lantern", ""], 7, PLAIN, None),  # a narrow column of codes
        (["x" * 100, "y", "z"], 80, PLAIN, None),  # widened by GDAL to its longest text
        (["third bay; patio", "patio", ""], 16, {"id": ["x" * 90, "y", "z"]}, None),  # each fits its longest
        (["", "", ""], 80, PLAIN, None),
    ],
)
def test_which_texts_may_be_cut(
    tmp_path: Path, texts: list[str], width: int, others: dict[str, list[str]], rows: list[int] | None
) -> None:
    assert cut_rows(shapefile(tmp_path, texts, width, **others)) == ({} if rows is None else {"note": rows})


@pytest.mark.filterwarnings("ignore")
def test_numbers_and_other_formats_say_nothing(tmp_path: Path) -> None:
    path = shapefile(tmp_path, ["x" * 300, "y"], size=[1.5, 2.25], many=[1, 2])  # type: ignore[list-item]
    assert cut_rows(path) == {"note": [0]}
    gpd.read_file(path).to_file(tmp_path / "lots.gpkg", layer="lots")  # a .dbf of that name lies beside it
    assert cut_rows(tmp_path / "lots.gpkg") == {}


@pytest.mark.filterwarnings("ignore")
def test_a_deleted_record_is_no_row(tmp_path: Path) -> None:
    path = shapefile(tmp_path, ["a", "x" * 300, "y" * 300], **PLAIN)
    table = path.with_suffix(".dbf")
    content = bytearray(table.read_bytes())
    content[int.from_bytes(content[8:10], "little")] = ord("*")
    table.write_bytes(content)
    assert cut_rows(path) == {"note": [0, 1]}


@pytest.mark.filterwarnings("ignore")
def test_in_a_folder_and_in_a_zip(tmp_path: Path) -> None:
    path = shapefile(tmp_path / "plat", ["x" * 300, "y"])
    assert cut_rows(path.parent) == {"note": [0]}
    with zipfile.ZipFile(tmp_path / "lots.zip", "w") as archive:
        for part in sorted(path.parent.iterdir()):
            archive.write(part, f"plat/{part.name}")
    assert cut_rows(tmp_path / "lots.zip") == {"note": [0]}


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("keep", [0, 20, 40, 70, 200])
def test_a_damaged_table_is_left_to_its_reader(tmp_path: Path, keep: int) -> None:
    path = shapefile(tmp_path, ["x" * 300, "y"])
    shutil.copy(path.with_suffix(".dbf"), tmp_path / "whole")
    path.with_suffix(".dbf").write_bytes((tmp_path / "whole").read_bytes()[:keep])
    layer = read_layer(VectorFile(path, path.name), Issues())
    assert layer is None or not layer.cut
