"""From cells to lots: exactness on known fields, laws of interpolation, and lots without a value."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from raster_helpers import CELL, EAST, NORTH, NORTH_UP, UTM, linear, plane, turned, write

from hazard import crs
from hazard.issues import InputError, Issues
from hazard.layers import Column, Constant, Layer
from hazard.lot_means import lot_means
from hazard.rasters import RasterWindow, read_window
from hazard.sampling import LotPoints, read_values, sample

SHAPE = (40, 50)
RNG = np.random.default_rng(7)
POINTS = np.column_stack([RNG.uniform(EAST + 60, EAST + 1400, 60), RNG.uniform(NORTH - 1100, NORTH - 60, 60)])


def lots(xy: Any = POINTS, system: pyproj.CRS = UTM) -> LotPoints:
    points = np.asarray(xy, dtype=float).reshape(-1, 2)
    return LotPoints(points, system, np.array([f"L{i}" for i in range(len(points))]))


def values(
    path: Any, at: LotPoints, quantity: str = "wind_speed_mph", issues: Issues | None = None, **layer: Any
) -> Any:
    return read_values(Layer(path, quantity, **layer), at, issues if issues is not None else Issues())


def window(cells: Any, transform: Affine = NORTH_UP) -> RasterWindow:
    array = np.asarray(cells, dtype=float)
    return RasterWindow(array, np.isfinite(array), transform, UTM, "test")


# -- exactness ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "transform",
    [NORTH_UP, Affine(CELL, 0, EAST, 0, CELL, NORTH - CELL * SHAPE[0]), turned(30, EAST - 900, NORTH - 300, 60.0),
     turned(-47, EAST + 900, NORTH + 600, 60.0), Affine(40, 12, EAST - 400, 7, -50, NORTH + 200)],
    ids=["north up", "south up", "turned 30", "turned -47", "sheared"],
)  # fmt: skip
def test_bilinear_is_exact_on_a_plane(tmp_path: Path, transform: Affine) -> None:
    """A linear field is reproduced exactly between cell centres in any orientation (rotated R8, south-up R9)."""
    path = write(tmp_path / "v.tif", plane(SHAPE, transform, a=130.0), transform)
    found = values(path, lots())
    assert (found.reason == "").all()
    np.testing.assert_allclose(found.values, linear(POINTS[:, 0], POINTS[:, 1], 130.0), rtol=0, atol=1e-9)


def test_south_up_equals_north_up(tmp_path: Path) -> None:
    cells = RNG.uniform(100, 130, SHAPE)
    north_up = values(write(tmp_path / "n.tif", cells), lots())
    flipped = Affine(CELL, 0, EAST, 0, CELL, NORTH - CELL * SHAPE[0])
    south_up = values(write(tmp_path / "s.tif", cells[::-1], flipped), lots())
    np.testing.assert_allclose(south_up.values, north_up.values, rtol=1e-12)


def test_ln_bilinear_is_exact_on_an_exponential_and_bilinear_is_not(tmp_path: Path) -> None:
    """ln(value) linear in x and y: the survey's rule gives it back; plain bilinear lies above it (convexity)."""
    cells = np.exp(plane(SHAPE, a=-1.0))
    path = write(tmp_path / "s.tif", cells)
    expected = np.exp(linear(POINTS[:, 0], POINTS[:, 1], -1.0))
    inside = expected < 4
    at = lots(POINTS[inside])
    np.testing.assert_allclose(
        values(path, at, "ground_snow_psf", interpolation="ln_bilinear").values, expected[inside]
    )
    plain = values(path, at, "ground_snow_psf", interpolation="bilinear").values
    assert (plain >= expected[inside] - 1e-12).all()
    assert (plain > expected[inside] * (1 + 1e-6)).any()


def test_log_and_linear_differ_as_published_notes_say() -> None:
    """One cell with a node ratio of 1.05 differs by 0.03 percent at most, of 1.2 by 0.4 percent (derived)."""
    for ratio, percent in ((1.05, 0.03), (1.2, 0.4)):
        piece = window([[1.0, ratio]] * 2)
        xy = [[EAST + CELL, NORTH - CELL]]
        linear_g, log_g = (sample(piece, xy, UTM, rule).values[0] for rule in ("bilinear", "ln_bilinear"))
        assert (linear_g / log_g - 1) * 100 == pytest.approx(percent, abs=0.03)


def test_bilinear_by_hand_on_three_by_three() -> None:
    """Cell centres return their cells; a quarter of the way between two is three to one; four meet in their mean."""
    piece = window([[1, 2, 3], [4, 5, 6], [7, 8, 9]])
    centre = np.array([EAST + 1.5 * CELL, NORTH - 1.5 * CELL])
    xy = centre + CELL * np.array([[0, 0], [0.25, 0], [0, 0.25], [0.5, -0.5], [-1, 1]])
    assert sample(piece, xy, UTM, "bilinear").values == pytest.approx([5, 5.25, 4.25, 7, 1])
    found = sample(piece, xy, UTM, "nearest")
    assert found.values.tolist()[:3] == [5, 5, 5]
    assert found.row.tolist()[:3] == [1, 1, 1]
    assert found.column.tolist()[:3] == [1, 1, 1]


# -- laws ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", ["EPSG:4269", "EPSG:2285", "EPSG:32148", "EPSG:5070", "EPSG:26911"])
@pytest.mark.parametrize("rule", ["bilinear", "nearest"])
def test_lots_in_another_system_get_the_same_values(tmp_path: Path, code: str, rule: str) -> None:
    """Points go to the raster; feet, degrees or another projection of the same place change nothing (1e-6)."""
    path = write(tmp_path / "v.tif", RNG.uniform(100, 130, SHAPE))
    here = values(path, lots(), interpolation=rule)
    other = pyproj.CRS(code)
    there = values(path, lots(crs.transform_xy(POINTS, UTM, other), other), interpolation=rule)
    np.testing.assert_allclose(there.values, here.values, rtol=1e-6)
    np.testing.assert_array_equal(there.samples.row, here.samples.row)


def test_raster_shifted_by_one_cell_changes_the_values(tmp_path: Path) -> None:
    cells = RNG.uniform(100, 130, SHAPE)
    shifted = Affine(CELL, 0, EAST + CELL, 0, -CELL, NORTH)
    for rule in ("bilinear", "nearest"):
        a, b = (
            values(write(tmp_path / "v.tif", cells, t), lots(), interpolation=rule).values for t in (NORTH_UP, shifted)
        )
        assert (a != b).mean() > 0.9


@settings(max_examples=15, deadline=None)
@given(st.integers(-3000, 3000), st.integers(-3000, 3000))
def test_translation_by_whole_cells_with_the_raster_changes_nothing(columns: int, rows: int) -> None:
    cells = np.random.default_rng(3).uniform(100, 130, SHAPE)
    shift = np.array([columns * CELL, rows * CELL])
    moved = Affine(CELL, 0, EAST + shift[0], 0, -CELL, NORTH + shift[1])
    for rule in ("bilinear", "ln_bilinear", "nearest"):
        here = sample(window(cells), POINTS, UTM, rule).values
        there = sample(window(cells, moved), POINTS + shift, UTM, rule).values
        np.testing.assert_allclose(there, here, rtol=1e-9)


def test_repeated_finer_cells(tmp_path: Path) -> None:
    """Cells cut into nine equal ones: nearest the same, bilinear within the slope times half a cell."""
    cells = plane(SHAPE, a=130.0)
    fine = np.kron(cells, np.ones((3, 3)))
    finer = Affine(CELL / 3, 0, EAST, 0, -CELL / 3, NORTH)
    for rule, bound in (("nearest", 0.0), ("bilinear", (0.004 + 0.002) * CELL / 2 + 1e-9)):
        a = values(write(tmp_path / "a.tif", cells), lots(), interpolation=rule).values
        b = values(write(tmp_path / "b.tif", fine, finer), lots(), interpolation=rule).values
        assert np.abs(a - b).max() <= bound


def test_order_of_lots_is_irrelevant(tmp_path: Path) -> None:
    path = write(tmp_path / "v.tif", RNG.uniform(100, 130, SHAPE))
    order = RNG.permutation(len(POINTS))
    np.testing.assert_array_equal(values(path, lots(POINTS[order])).values, values(path, lots()).values[order])


@settings(max_examples=30, deadline=None)
@given(st.floats(1.5, 38.5), st.floats(1.5, 48.5), st.sampled_from(["bilinear", "ln_bilinear"]))
def test_interpolation_stays_between_its_cells(row: float, column: float, rule: str) -> None:
    cells = np.random.default_rng(5).uniform(0.1, 3, SHAPE)
    found = sample(window(cells), [[EAST + column * CELL, NORTH - row * CELL]], UTM, rule).values[0]
    r, c = int(row - 0.5), int(column - 0.5)
    around = cells[r : r + 2, c : c + 2]
    assert around.min() - 1e-12 <= found <= around.max() + 1e-12


def test_points_are_not_changed() -> None:
    before = POINTS.copy()
    sample(window(plane(SHAPE)), POINTS, UTM, "bilinear")
    np.testing.assert_array_equal(POINTS, before)


# -- lots without a value -----------------------------------------------------------------------------------------


def test_touching_nodata_gives_no_value_but_a_weightless_neighbour_does_no_harm() -> None:
    cells = np.array([[1.0, 2, 3], [4, 5, np.nan], [7, 8, 9]])
    at = np.array([[1.5, 1.5], [1.5, 2.0], [1.6, 1.5], [2.5, 1.5]])  # columns, rows
    xy = np.column_stack([EAST + at[:, 0] * CELL, NORTH - at[:, 1] * CELL])
    found = sample(window(cells), xy, UTM, "bilinear")
    assert found.reason.tolist() == ["", "", "nodata", "nodata"]
    assert found.values[:2].tolist() == [5.0, 6.5]
    assert np.isnan(found.values[2:]).all()
    assert sample(window(cells), xy, UTM, "nearest").reason.tolist() == ["", "", "", "nodata"]


def test_distance_to_the_nearest_cell_with_data() -> None:
    """A lot 10 cells east of the only data: ten cells of 30 m in feet."""
    cells = np.full((1, 21), np.nan)
    cells[0, 0] = 120.0
    xy = [[EAST + 10.5 * CELL, NORTH - 0.5 * CELL]]
    found = sample(window(cells), xy, UTM, "nearest")
    assert found.distance_ft[0] == pytest.approx(10 * CELL / 0.3048, rel=5e-4)  # UTM scale 0.9996


def test_outside_lots_are_skipped_with_distance(tmp_path: Path) -> None:
    path = write(tmp_path / "v.tif", plane(SHAPE, a=130.0))
    issues = Issues()
    at = lots(np.vstack([POINTS, [[EAST - 45.0, NORTH - 615.0]]]))
    found = values(path, at, issues=issues)
    assert np.isnan(found.values[-1])
    assert found.reason[-1] == "outside"
    skipped = [i for i in issues if i.severity == "skip"]
    assert [i.lot_id for i in skipped] == ["L60"]
    assert (
        skipped[0].message().startswith("v.tif lot L60: wind_speed_mph: the lot lies outside the raster, 197 ft from")
    )
    assert found.explain(0).startswith("raster v.tif, band 1, mph (unit taken by default), bilinear, cell row ")


def test_less_than_half_of_the_lots_covered_stops(tmp_path: Path) -> None:
    path = write(tmp_path / "v.tif", plane(SHAPE, a=130.0))
    with pytest.raises(InputError, match=r"v.tif: covers 0% of the lots; data begin [\d,]+ ft"):
        values(path, lots(POINTS + np.array([0.0, 5000.0])))


def test_outermost_half_cell_is_given_and_flagged(tmp_path: Path) -> None:
    """A lot in a raster's last half cell has a cell but no neighbour: the cell is held outward, with a warning."""
    path = write(tmp_path / "v.tif", plane(SHAPE, a=130.0))
    issues = Issues()
    found = values(path, lots([[EAST + 5.0, NORTH - 600.0], [EAST + 500.0, NORTH - 600.0]]), issues=issues)
    assert found.reason.tolist() == ["edge", ""]
    assert found.values[0] == pytest.approx(linear(EAST + 15.0, NORTH - 600.0, 130.0))
    assert [(i.code, i.severity) for i in issues if i.lot_id] == [("hazard_edge", "warn")]


# -- constants and columns ----------------------------------------------------------------------------------------


def test_constant_and_column_in_any_unit(tmp_path: Path) -> None:
    at = lots(POINTS[:3])
    constant = read_values(Constant(51.4096, "wind_speed_mph", "m/s"), at, Issues())
    np.testing.assert_allclose(constant.values, 115.0)
    column = read_values(Column(np.array([0.3, 0.6, 0.9]) * 100, "SS", "ss_g", "%g"), at, Issues())
    np.testing.assert_allclose(column.values, [0.3, 0.6, 0.9])
    assert column.provenance == "lots column SS, %g"
    assert constant.provenance == "constant 51.4096 m/s, project file"


def test_column_with_blanks_and_impossible_values() -> None:
    issues = Issues()
    found = read_values(Column(np.array([115.0, np.nan, 900.0]), "V", "wind_speed_mph"), lots(POINTS[:3]), issues)
    assert found.reason.tolist() == ["", "no_value", "out_of_range"]
    assert np.isnan(found.values).tolist() == [False, True, True]
    assert [i.lot_id for i in issues] == ["L1", "L2"]


def test_wrong_units_of_constants_and_columns_stop() -> None:
    with pytest.raises(InputError, match="value 51 mph; expected 85 to 210 mph; the value is likely in m/s"):
        read_values(Constant(51, "wind_speed_mph"), lots(), Issues())
    with pytest.raises(InputError, match="likely in %g"):
        read_values(Column(np.full(60, 120.0), "SS", "ss_g"), lots(), Issues())


@pytest.mark.parametrize("rule", ["bilinear", "ln_bilinear"])
def test_classes_are_never_interpolated(tmp_path: Path, rule: str) -> None:
    """By type: a layer of classes can't ask for it, and a window of classes can't be sampled or averaged so."""
    path = write(tmp_path / "c.tif", np.full((20, 20), 41, dtype="uint8"))
    with pytest.raises(ValueError, match="holds classes"):
        Layer(path, "land_cover", interpolation=rule)
    piece = read_window(Layer(path, "land_cover"), (EAST + 90, NORTH - 300, EAST + 300, NORTH - 90), UTM)
    assert piece.values.dtype == np.int32
    with pytest.raises(ValueError, match="can't be interpolated"):
        sample(piece, [[EAST + 150, NORTH - 150]], UTM, rule)
    with pytest.raises(ValueError, match="holds classes"):
        lot_means(piece, [shapely.box(EAST + 100, NORTH - 200, EAST + 200, NORTH - 100)], UTM)
    assert sample(piece, [[EAST + 150, NORTH - 150]], UTM, "nearest").values.tolist() == [41.0]


# -- lots of many cells -------------------------------------------------------------------------------------------


def large_lots(side: float = 4 * CELL) -> LotPoints:
    """Two square lots of whole cells, one of 4 x 4 cells (by default), one smaller than a cell."""
    west, south = EAST + 4 * CELL, NORTH - 12 * CELL
    shapes = [shapely.box(west, south, west + side, south + side), shapely.box(west, south, west + 9.0, south + 9.0)]
    xy = shapely.get_coordinates(shapely.centroid(shapes))
    return LotPoints(xy, UTM, np.array(["large", "small"]), np.array(shapes, dtype=object))


STEEP = (RNG.uniform(0, 0.1, SHAPE) + 100.0 + np.arange(SHAPE[1])).astype("float64")  # 1 mph a column


@pytest.mark.parametrize(("over_lot", "value"), [("middle", 105.5), ("mean", 105.5), ("governing", 107.0)])
def test_a_lot_of_many_cells_takes_the_value_asked_for(tmp_path: Path, over_lot: str, value: float) -> None:
    """Columns 4 to 7 of 1 mph a column: 104 to 107 in the lot, 105.5 at its middle and as its mean."""
    at, issues = large_lots(), Issues()
    path = write(tmp_path / "v.tif", np.floor(STEEP))
    found = values(path, at, issues=issues, over_lot=over_lot)
    plain = values(path, large_lots())
    assert found.values[0] == pytest.approx(value, rel=1e-12)
    assert found.values[1] == plain.values[1], "a small lot keeps the value at its middle"
    codes = {i.code: i for i in issues}
    if over_lot == "middle":
        assert codes["hazard_varies"].lot_id == "large"
        assert codes["hazard_varies"].found.startswith("wind_speed_mph: 105.5 mph at the lot's middle, 107 mph within")
        assert found.samples.cells(0), "four cells gave the value"
    else:
        assert "hazard_varies" not in codes
        assert codes["raster_over_lots"].found.endswith("1 lots, 16 cells")
        assert found.samples.cells(0) == []
        assert found.explain(0).endswith("16 cells in the lot")
        assert "cell row" in found.explain(1)


def test_the_governing_elevation_is_the_least(tmp_path: Path) -> None:
    """Thinner air loads less: the lowest ground of a lot gives its largest Ke."""
    path = write(tmp_path / "e.tif", np.floor(STEEP) * 100.0)
    found = values(path, large_lots(), "elevation_ft", over_lot="governing")
    assert found.values[0] == pytest.approx(10_400.0)


def test_small_lots_and_calm_rasters_are_not_spoken_of(tmp_path: Path) -> None:
    for at, cells in ((large_lots(3.9 * CELL), STEEP), (large_lots(), 100.0 + 0.1 * STEEP), (lots(), STEEP)):
        issues = Issues()
        values(write(tmp_path / "v.tif", cells), at, issues=issues, over_lot="middle")
        assert not [i for i in issues if i.code == "hazard_varies"]


@pytest.mark.parametrize("over_lot", ["mean", "governing"])
def test_a_lot_known_in_part_has_no_value_of_the_whole(tmp_path: Path, over_lot: str) -> None:
    cells = STEEP.copy()
    cells[8, 4] = np.nan  # a corner of the lot, away from its middle
    found = values(write(tmp_path / "v.tif", cells), large_lots(), over_lot=over_lot)
    assert np.isnan(found.values[0])
    assert found.reason[0] == "nodata"
    whole = values(tmp_path / "v.tif", large_lots())
    assert np.isfinite(whole.values[0])


def test_the_whole_lot_in_another_system_and_a_turned_raster(tmp_path: Path) -> None:
    """Law: the lots' system and the raster's turn do not matter to the mean of a plane."""
    at = large_lots()
    shapes = shapely.transform(at.shapes, lambda xy: crs.transform_xy(xy, UTM, pyproj.CRS(4269)))
    degrees = LotPoints(crs.transform_xy(at.xy, UTM, pyproj.CRS(4269)), pyproj.CRS(4269), at.lot_id, shapes)
    north_up = values(write(tmp_path / "n.tif", plane(SHAPE, a=130.0)), at, over_lot="mean")
    other = values(tmp_path / "n.tif", degrees, over_lot="mean")
    np.testing.assert_allclose(other.values, north_up.values, rtol=1e-6)
    grid = turned(30, EAST - 900, NORTH - 300, 60.0)
    slanted = values(write(tmp_path / "t.tif", plane(SHAPE, grid, a=130.0), grid), at, over_lot="mean")
    np.testing.assert_allclose(slanted.values, north_up.values, rtol=1e-3)


def test_an_unknown_rule_is_refused() -> None:
    with pytest.raises(ValueError, match="expected one of middle, mean, governing"):
        Layer("v.tif", "wind_speed_mph", over_lot="most")
