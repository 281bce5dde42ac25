"""Roughness from land-cover classes: the published z0 values, footprints, water, and faults of a user's table."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from affine import Affine

from hazard.issues import InputError
from hazard.land_cover import (
    LETTERS,
    ROUGH_B,
    ROUGH_C,
    ROUGH_D,
    UNKNOWN,
    FootprintRules,
    cells_within,
    read_roughness_table,
    roughness_map,
)
from hazard.rasters import RasterWindow
from hazard.standards.tables import load_table
from tests.hazard.exposure_grounds import FT, LOCAL


def window(values: list[list[int]] | np.ndarray, cell_m: float = 30.0, valid: np.ndarray | None = None) -> RasterWindow:
    array = np.asarray(values, dtype=np.int32)
    known = np.ones(array.shape, dtype=bool) if valid is None else valid
    return RasterWindow(array, known, Affine(cell_m, 0.0, 0.0, 0.0, -cell_m, 0.0), LOCAL, "land_cover.tif")


def letters(codes: list[int]) -> str:
    return "".join(LETTERS[roughness_map(window([codes])).roughness[0]])


def test_default_classes() -> None:
    """Direct reading of ASCE 7-16 26.7.2 for the common classes (derived): water D; open land, crops, pasture, barren,
    scrub, marsh C; woods and the built-up classes B; 'open space' C."""
    assert letters([11, 12]) == "DD"
    assert letters([21, 31, 52, 71, 81, 82, 95]) == "CCCCCCC"
    assert letters([22, 23, 24, 41, 42, 43, 90]) == "BBBBBBB"
    assert letters([127]) == "?"


def test_default_classes_follow_their_roughness_lengths() -> None:
    """ASCE 7-16 Table C26.7-1 (from memory): B from 0.15 m, C from 0.01 m, D below; codes 12 and 32 go by the words."""
    table = load_table("land_cover_roughness.csv", text=("code", "roughness", "rule"))
    z0 = table["z0_m"]
    banded = np.where(z0 >= 0.15, "B", np.where(z0 >= 0.01, "C", "D"))
    checked = ~np.isnan(z0) & ~np.isin(table["code"], ["12", "32"])
    assert checked.sum() == 19
    assert (banded[checked] == table["roughness"][checked]).all()


def test_unlisted_codes_are_unknown_and_counted() -> None:
    """A code without a roughness is reported with its cells and never guessed."""
    found = roughness_map(window([[41, 250, 250], [250, 99, 71]]))
    assert (found.roughness == [[ROUGH_B, UNKNOWN, UNKNOWN], [UNKNOWN, UNKNOWN, ROUGH_C]]).all()
    assert found.unlisted_codes == ((99, 1), (250, 3))
    assert [issue.code for issue in found.issues] == ["land_cover_code_unlisted"] * 2
    assert found.issues[1].found == "land-cover code 250 in 3 cells"


def test_no_data_is_unknown_but_under_a_water_mask_it_is_d() -> None:
    valid = np.array([[True, False, False, True]])
    water = [shapely.box(60.0, -30.0, 90.0, 0.0), shapely.box(90.0, -30.0, 120.0, 0.0)]
    found = roughness_map(window([[41, 0, 0, 41]], valid=valid), water=water, vector_crs=LOCAL)
    assert list(found.roughness[0]) == [ROUGH_B, UNKNOWN, ROUGH_D, ROUGH_D]
    assert found.unlisted_codes == ()


def test_water_beyond_the_raster_counts_when_the_map_is_widened() -> None:
    found = roughness_map(window([[41]]), water=[shapely.box(30.0, -60.0, 90.0, 30.0)], pad_cells=2)
    assert found.roughness.shape == (5, 5)
    assert list(found.roughness[2]) == [UNKNOWN, UNKNOWN, ROUGH_B, ROUGH_D, ROUGH_D]
    assert (found.transform.c, found.transform.f) == (-60.0, 60.0)


@pytest.mark.parametrize(("houses", "letter"), [(0, "C"), (2, "C"), (5, "C"), (6, "B"), (12, "B")])
def test_footprint_break_even(houses: int, letter: str) -> None:
    """15,000 sq ft of ground per house (derived): 3 x 3 cells of 30 m are 87,188 sq ft, so 6 houses are B, 5 are C."""
    x = 3.0 + 7.0 * np.arange(houses)
    footprints = list(shapely.box(x, -60.0, x + 6.0, -45.0))
    found = roughness_map(window(np.full((3, 3), 22)), footprints=footprints, vector_crs=LOCAL)
    assert LETTERS[found.roughness[1, 1]] == letter


@pytest.mark.parametrize(("ground_sqft", "letter"), [(7200.0, "B"), (9000.0, "B"), (30_000.0, "C"), (43_560.0, "C")])
@pytest.mark.parametrize("cell_m", [10.0, 30.0])
def test_footprints_decide_the_low_density_class(ground_sqft: float, letter: str, cell_m: float) -> None:
    """60 x 120 ft lots, with streets about 9,000 sq ft of ground a house, are solid B; one house per acre is C (derived
    from roughness lengths 0.83 ft and 0.17 ft). Whatever the cell size, houses are counted in squares of 90 m."""
    size = round(900.0 / cell_m)
    step_m = np.sqrt(ground_sqft) * FT
    at = np.arange(step_m / 2, 900.0, step_m)
    x, y = (a.ravel() for a in np.meshgrid(at, -at))
    houses = list(shapely.box(x - 6.0, y - 6.0, x + 6.0, y + 6.0))
    inner = np.s_[size // 6 : -size // 6, size // 6 : -size // 6]
    found = roughness_map(window(np.full((size, size), 22), cell_m), footprints=houses, vector_crs=LOCAL)
    assert set(LETTERS[found.roughness[inner]].ravel()) == {letter}


def test_high_density_without_houses_is_open_and_other_classes_are_left() -> None:
    """Car parks and aprons in classes 23, 24 are C; woods, open ground and water do not look at houses."""
    codes = np.array([[24] * 6, [23] * 6, [41, 71, 11, 41, 71, 11]])
    found = roughness_map(window(codes), footprints=[], vector_crs=LOCAL).roughness
    assert (found[:2] == ROUGH_C).all()
    assert list(found[2]) == [ROUGH_B, ROUGH_C, ROUGH_D] * 2
    without = roughness_map(window(codes)).roughness
    assert (without[:2] == ROUGH_B).all()


def test_sheds_are_not_houses() -> None:
    codes = np.full((3, 3), 22)
    sheds = [shapely.box(x, -45.0, x + 3.0, -42.0) for x in range(5, 85, 5)]
    assert (roughness_map(window(codes), footprints=sheds).roughness == ROUGH_C).all()
    counted = roughness_map(window(codes), footprints=sheds, rules=FootprintRules(least_house_sqft=50.0))
    assert (counted.roughness[:, 1] == ROUGH_B).all()


def test_cells_within_any_orientation() -> None:
    """Cell centres in a shape, for north-up, south-up and rotated rasters."""
    shape = shapely.box(10.0, -35.0, 36.0, -5.0)
    for transform in (Affine(10, 0, 0, 0, -10, 0), Affine(10, 0, 0, 0, 10, -60), Affine(0, 10, 0, -10, 0, 0)):
        inside = cells_within(shape, transform, (6, 6))
        for row in range(6):
            for col in range(6):
                x = transform.a * (col + 0.5) + transform.b * (row + 0.5) + transform.c
                y = transform.d * (col + 0.5) + transform.e * (row + 0.5) + transform.f
                assert inside[row, col] == (10.0 < x < 36.0 and -35.0 < y < -5.0)
        assert inside.sum() == 6


def test_users_classes(tmp_path: Path) -> None:
    path = tmp_path / "classes.csv"
    path.write_text("\ufeffcode,roughness,remark\n1,b,town\n2,C,field\n3,D,\n4,unknown,\n", encoding="utf-8")
    table = read_roughness_table(path)
    found = roughness_map(window([[1, 2, 3, 4, 5]]), table)
    assert "".join(LETTERS[found.roughness[0]]) == "BCD??"
    assert found.unlisted_codes == ((5, 1),)


def test_users_classes_with_faults_name_them_all(tmp_path: Path) -> None:
    path = tmp_path / "classes.csv"
    path.write_text("code,roughness\n1,B\n1,C\nx,B\n2,E\n2.5,B\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_roughness_table(path)
    assert [issue.where for issue in caught.value.issues] == [f"classes.csv row {n}" for n in (3, 4, 5, 6)]
    path.write_text("code,letter\n1,B\n", encoding="utf-8")
    with pytest.raises(InputError, match="no column `roughness`"):
        read_roughness_table(path)
    path.write_text("code,roughness\n", encoding="utf-8")
    with pytest.raises(InputError, match="no rows"):
        read_roughness_table(path)


def test_classes_that_are_not_whole_numbers_are_refused() -> None:
    bad = RasterWindow(
        np.array([[41.0, 41.5]]), np.ones((1, 2), dtype=bool), Affine(30, 0, 0, 0, -30, 0), LOCAL, "land_cover.tif"
    )
    with pytest.raises(InputError, match="whole class codes"):
        roughness_map(bad)
