"""Another legend than the table's stops; background codes and names that agree do not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from raster_helpers import NORTH_UP, UTM

from hazard.land_cover import read_roughness_table
from hazard.legends import category_names, check_legend
from hazard.rasters import RasterWindow

RULES = read_roughness_table()


def window(codes: list[int], names: dict[int, str] | None = None) -> RasterWindow:
    cells = np.array([codes], dtype=np.int32)
    return RasterWindow(cells, np.ones(cells.shape, bool), NORTH_UP, UTM, "c.tif", "land_cover", categories=names or {})


def said(codes: list[int], names: dict[int, str] | None = None) -> list[str]:
    return [issue.message() for issue in check_legend(window(codes, names), RULES)]


def test_the_share_of_unlisted_codes_decides() -> None:
    assert said([41] * 90 + [200] * 10) == []
    found = said([41] * 89 + [200] * 10 + [7])
    assert found == [
        "c.tif: 11% of the cells hold codes that land_cover_roughness.csv does not list (7, 200); "
        "expected 10% at most; the raster has another legend: name its table as classes in the project file"
    ]
    assert said([250] * 50 + [41] * 50) == []  # one mark for ground that was not classed
    assert said([0] * 50 + [255] * 40 + [41] * 10) == []  # background is unknown ground, not another legend


@pytest.mark.parametrize(
    ("code", "name", "stops"),
    [
        (11, "Open Water", False),
        (41, "Open Water", True),
        (11, "Deciduous Forest", True),
        (41, "Deciduous Forest", False),
        (90, "Woody Wetlands", False),
        (95, "Emergent Herbaceous Wetlands, open water", False),
        (82, "Cultivated Crops", False),
        (21, "Developed, Open Space", False),
        (200, "Open Water", False),
        (11, "", False),
    ],
)
def test_names_that_contradict_the_table_stop(code: int, name: str, stops: bool) -> None:
    assert bool(said([41], {code: name})) == stops


def test_names_are_read_in_both_forms(tmp_path: Path) -> None:
    raster = tmp_path / "c.tif"
    beside = tmp_path / "c.tif.aux.xml"
    assert category_names(raster) == {}
    beside.write_text(
        '<PAMDataset><PAMRasterBand band="1"><CategoryNames><Category></Category><Category>Water</Category>'
        "</CategoryNames></PAMRasterBand></PAMDataset>"
    )
    assert category_names(raster) == {1: "Water"}
    beside.write_text(
        '<PAMDataset><PAMRasterBand band="1"><GDALRasterAttributeTable>'
        '<FieldDefn index="0"><Name>Value</Name><Type>0</Type><Usage>5</Usage></FieldDefn>'
        '<FieldDefn index="1"><Name>Class</Name><Type>2</Type><Usage>2</Usage></FieldDefn>'
        '<Row index="0"><F>11</F><F>Open Water</F></Row><Row index="1"><F>41.0</F><F>Forest</F></Row>'
        '<Row index="2"><F>x</F><F>odd</F></Row></GDALRasterAttributeTable></PAMRasterBand></PAMDataset>'
    )
    assert category_names(raster) == {11: "Open Water", 41: "Forest"}
    beside.write_text("<PAMDataset>")
    assert category_names(raster) == {}
