"""How far a raster reaches around the lots: by hand on simple extents, beside the terrain's own count, and in words."""

from __future__ import annotations

import re

import numpy as np
import pytest
from affine import Affine
from raster_helpers import UTM, turned

from hazard.coverage import COMPASS, reach, reach_issues
from hazard.crs import METRES_PER_FOOT as FOOT_M
from hazard.rasters import RasterWindow

CELL_M = 10.0
SIZE = 300  # cells: 3,000 m to a side, its middle at 500000, 4000000 (scale 0.9996)
GRID = Affine(CELL_M, 0, 500_000 - 1500, 0, -CELL_M, 4_000_000 + 1500)
PART = re.compile(r"(\w+) (\d+) ft \(reaches (\d+)\)")
FT = CELL_M / FOOT_M / 0.9996  # of a cell on the ground


def window(valid: np.ndarray, grid: Affine = GRID) -> RasterWindow:
    return RasterWindow(np.where(valid, 100.0, np.nan), valid, grid, UTM, "e.tif", "elevation_ft", "ft")


def test_reach_to_the_edges_by_hand() -> None:
    """A lot 50 cells from the north edge and 100 from the west one: 50 and 100 cells, less than one step off."""
    full = np.ones((SIZE, SIZE), dtype=bool)
    xy = [[500_000 - 500, 4_000_000 + 1000]]
    found = reach(window(full), xy, UTM, 5000.0)
    north, west, south = (found.reach_ft[0, COMPASS.index(name)] for name in ("N", "W", "S"))
    assert north == pytest.approx(50 * FT, abs=FT)
    assert west == pytest.approx(100 * FT, abs=FT)
    assert south == 5000.0
    nw = found.reach_ft[0, COMPASS.index("NW")]
    assert nw == pytest.approx(50 * FT * np.sqrt(2), abs=1.5 * FT)
    assert found.missing_ft[0, COMPASS.index("S")] == 0.0
    assert found.short[0]


def test_enough_ground_is_enough_whatever_the_way_it_is_looked_at() -> None:
    """The quick look by blocks and the march agree: lots are short exactly where an edge or a hole is too near."""
    valid = np.ones((SIZE, SIZE), dtype=bool)
    valid[:, 280:] = False
    xs = np.arange(-1430, 1431, 100.0)
    xy = np.column_stack([500_000 + xs, np.full(len(xs), 4_000_000.0)])
    need_ft = 30 * FT
    found = reach(window(valid), xy, UTM, need_ft)
    edge_east, edge_west = 500_000 + 1300, 500_000 - 1500
    wanted = (xy[:, 0] + 300 > edge_east + 1) | (xy[:, 0] - 300 < edge_west - 1)
    np.testing.assert_array_equal(found.short, wanted)


def test_holes_on_the_way_are_no_end_of_the_ground() -> None:
    valid = np.ones((SIZE, SIZE), dtype=bool)
    valid[100:110, 100:200] = False
    found = reach(window(valid), [[500_000.0, 4_000_000.0]], UTM, 100 * FT)
    assert not found.short.any()


def test_turned_raster_and_lots_off_it() -> None:
    grid = turned(30.0, 500_000 - 550, 4_000_000 + 2050, CELL_M)
    full = window(np.ones((SIZE, SIZE), dtype=bool), grid)
    middle = full.centres([SIZE // 2], [SIZE // 2])
    found = reach(full, np.vstack([middle, middle + 9000]), UTM, 140 * FT)
    assert not found.short[0]
    assert found.on_data.tolist() == [True, False]
    assert found.reach_ft[1].max() == 0.0


def test_the_words_name_need_directions_and_lots() -> None:
    valid = np.ones((SIZE, SIZE), dtype=bool)
    ids = np.array(["A-1", "A-2"])
    inside, edge = [500_000.0, 4_000_000.0], [500_000.0, 4_000_000.0 + 1400]
    note = reach_issues(reach(window(valid), [inside], UTM, 1000.0), "e.tif", "Kzt", ids[:1])
    assert [i.message() for i in note] == [
        "e.tif: Kzt needs ground 1,000 ft around the lots; it is there in every direction for 1 lot"
    ]
    warn = reach_issues(reach(window(valid), [inside, edge], UTM, 1000.0), "e.tif", "Kzt", ids)[0]
    assert warn.severity == "warn"
    gap_ft = 10 * FT  # to the north edge
    said = {name: (float(gap), float(reached)) for name, gap, reached in PART.findall(warn.found)}
    assert list(said) == ["N", "NNE", "NE", "ENE", "WNW", "NW", "NNW"]  # E and W stay inside
    for name, (gap, reached) in said.items():
        to_edge = gap_ft / np.cos(np.radians(22.5 * COMPASS.index(name)))
        assert reached == pytest.approx(to_edge, abs=FT / 2 + 1)
        assert gap == pytest.approx(1000.0 - to_edge, abs=FT / 2 + 11)
    assert "1 of 2 lots affected (A-2)" in warn.found
    off = [[600_000.0, 4_000_000.0]] * 2
    stop = reach_issues(reach(window(valid), [inside, *off], UTM, 1000.0), "e.tif", "Kzt", np.array(list("abc")))[0]
    assert (stop.severity, stop.code) == ("stop", "raster_misses_lots")
    assert "33% of the lots" in stop.found
