"""Exposure against hand-derived cases of ASCE 7-16 26.7 and against closed forms.

Case numbers E1 to E13 are rows of screener/checks/data/exposure_cases.csv, derived by hand from ASCE 7-16 26.7.1
and 26.7.3.
Rule for the raster cases: the exact letter where a distance is more than one cell (and the half cell within which a lot
is placed) from its threshold; never on the unsafe side by more than one ring of 100 ft.
"""

from __future__ import annotations

import math

import numpy as np
import pyproj
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

from hazard import fetch as fetch_module
from hazard.exposure import (
    EXPO_UNKNOWN,
    ExposureRules,
    exposure_at_height,
    flipping_lots,
    letters,
    lots_columns,
    measure_fetch,
    pick_per_lot,
    sector_layer,
)
from hazard.ground_axes import ground_axes_over_ft
from hazard.land_cover import RoughnessMap, roughness_map
from hazard.rasters import RasterWindow
from tests.hazard.exposure_grounds import (
    FT,
    LOCAL,
    Ground,
    codes_of,
    count_plainly,
    half_plane,
    map_of,
    patches,
    rough_fetch_plainly,
    sector_of_counts,
    uniform,
    wedge,
)

CELLS_M = (10.0, 30.0)
HERE = np.zeros((1, 2))
RING_FT = 100.0


def directions(ground: RoughnessMap, height_ft: float = 25.0, rules: ExposureRules | None = None) -> str:
    """The sixteen letters of the lot at 0, 0."""
    fetch = measure_fetch(ground, HERE, LOCAL, rules, greatest_height_ft=max(30.0, height_ft))
    return "".join(letters(fetch, height_ft)[0])


def worst(ground: RoughnessMap, height_ft: float = 25.0, rules: ExposureRules | None = None) -> str:
    fetch = measure_fetch(ground, HERE, LOCAL, rules, greatest_height_ft=max(30.0, height_ft))
    return str(exposure_at_height(fetch, height_ft).exposure[0])


def slack_ft(cell_m: float) -> float:
    """One cell, and how far a lot may stand from the place it is counted at (half the diagonal of a part of 10 m)."""
    return cell_m / FT + 10.0 / FT * math.sqrt(0.5)


# --- cases of screener/checks/data/exposure_cases.csv ----------------------------------------------------------------


@pytest.mark.parametrize("cell_m", CELLS_M)
@pytest.mark.parametrize("letter", ["B", "C", "D"])
@pytest.mark.parametrize("height_ft", [15.0, 30.0, 31.0, 45.0])
def test_e1_e2_uniform_ground(cell_m: float, letter: str, height_ft: float) -> None:
    """E1, E2 (derived): everything B, C or D gives that letter in every direction, low and tall."""
    assert directions(map_of(uniform(letter), cell_m, 6400.0), height_ft) == letter * 16


@pytest.mark.parametrize("cell_m", CELLS_M)
def test_e4_the_30_ft_step_of_the_distance_of_b(cell_m: float) -> None:
    """E4 (derived): B to 1,600 ft north, then C: h = 30 ft is B, h = 31 ft faces north as C (1,600 < 2,600)."""
    ground = map_of(half_plane(0.0, 1600.0, "B", "C"), cell_m, 6400.0)
    fetch = measure_fetch(ground, np.zeros((2, 2)), LOCAL, greatest_height_ft=31.0)
    low, tall = letters(fetch, np.array([30.0, 31.0]))
    assert "".join(low) == "B" * 16
    assert tall[0] == "C"
    assert set(tall[6:11]) == {"B"}


@pytest.mark.parametrize("cell_m", CELLS_M)
@pytest.mark.parametrize("height_ft", [25.0, 40.0])
@pytest.mark.parametrize("shift", [(0.5, 0.5), (0.1, 0.9), (0.35, 0.6)])
def test_e5_smooth_ground_carried_inland(cell_m: float, height_ft: float, shift: tuple[float, float]) -> None:
    """E5 (derived): water from d north on, C elsewhere. D up to 600 ft (h = 25 ft) or 20 h = 800 ft (h = 40 ft)."""
    limit_ft = max(600.0, 20.0 * height_ft)
    for d in (0.0, 300.0, limit_ft - 100.0, limit_ft - 10.0, limit_ft - 1.0):
        found = directions(map_of(half_plane(0.0, d, "C", "D"), cell_m, 6500.0, shift), height_ft)
        assert found[0] == "D", f"unsafe side: d = {d}"
        assert found[8] == "C"
    slack = cell_m / FT if shift == (0.5, 0.5) else slack_ft(cell_m)
    for d in (limit_ft + slack + 1.0, limit_ft + 250.0):
        assert directions(map_of(half_plane(0.0, d, "C", "D"), cell_m, 6500.0, shift), height_ft) == "C" * 16


@pytest.mark.parametrize("cell_m", CELLS_M)
def test_e7_strip_lake_by_the_sector_rule(cell_m: float) -> None:
    """E7 (derived): a lake from 100 ft on, 5,100 ft wide, is D.

    On the normal ray 4,900 ft would be C. By the sector rule used here half of the sector from the normal to 45
    degrees sees more than w/cos(22.5 deg) = 5,304 ft, so 4,900 ft is D, the safe side. Closed form: wind from the
    normal is C up to (5,000 - one cell - one ring) cos(22.5 deg) - 100. Directions at a slant may be D before.
    """

    def lake(width_ft: float) -> Ground:
        return lambda east, north: np.where((north > 100.0) & (north <= 100.0 + width_ft), "D", "C")

    assert directions(map_of(lake(5100.0), cell_m))[0] == "D"
    assert directions(map_of(lake(4900.0), cell_m))[0] == "D"
    narrow = (5000.0 - slack_ft(cell_m) - RING_FT) * math.cos(math.radians(22.5)) - 100.0
    assert directions(map_of(lake(narrow), cell_m))[0] == "C"


@pytest.mark.parametrize("cell_m", CELLS_M)
def test_e8_a_pond_in_b(cell_m: float) -> None:
    """E8 (derived): a pond 400 ft wide, 700 ft away, in B: B where gaps of 600 ft are allowed, not where 200 ft are."""

    def pond(east: np.ndarray, north: np.ndarray) -> np.ndarray:
        return np.where((np.abs(east) <= 200.0) & (north > 700.0) & (north <= 1100.0), "D", "B")

    ground = map_of(pond, cell_m)
    assert directions(ground) == "B" * 16
    strict = ExposureRules(open_gap_ft=200.0)
    assert worst(ground, rules=strict) == "C"
    fetch = measure_fetch(ground, HERE, LOCAL, strict)
    assert abs(fetch.rough_run_ft[0, 15, 0] - 900.0) <= 100.0  # 700 ft and the gap that is allowed: the run ends there


@pytest.mark.parametrize("cell_m", CELLS_M)
def test_e10_two_sector_rule(cell_m: float) -> None:
    """E10 (derived, 26.7.1): water between bearings 0 and 45: D for wind from 0 and 45, C from 90 and 315."""
    found = directions(map_of(wedge(0.0, 45.0, "D", "C"), cell_m))
    assert (found[0], found[2], found[4], found[14]) == ("D", "D", "C", "C")
    assert set(found[4:15]) == {"C"}


@pytest.mark.parametrize("cell_m", CELLS_M)
@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_e11_rotation_permutes(cell_m: float, quarter_turns: int) -> None:
    """E11 (derived): turning the ground clockwise by 90 degrees moves the letters on by four directions."""
    for ground in (wedge(0.0, 45.0, "D", "C"), patches(1), patches(2, "BBBBC"), patches(3, "CDDD")):
        plain = map_of(ground, cell_m)
        turned = RoughnessMap(np.rot90(plain.roughness, -quarter_turns), plain.transform, LOCAL, "turned")
        found = directions(plain)
        steps = 4 * quarter_turns
        assert directions(turned) == found[-steps:] + found[:-steps]


@pytest.mark.parametrize("cell_m", CELLS_M)
def test_e11_mirror_permutes(cell_m: float) -> None:
    """E11 (derived): mirroring the ground east-west turns direction k into -k, and left sectors into right ones."""
    for ground in (wedge(10.0, 55.0, "D", "C"), patches(4), patches(5, "BBBBC"), patches(6, "CDDD")):
        plain = map_of(ground, cell_m)
        mirrored = RoughnessMap(plain.roughness[:, ::-1], plain.transform, LOCAL, "mirrored")
        found = directions(plain)
        assert directions(mirrored) == found[0] + found[:0:-1]


@pytest.mark.parametrize("cell_m", CELLS_M)
@pytest.mark.parametrize("letter", ["B", "C", "D"])
def test_e13_raster_too_small_is_unknown(cell_m: float, letter: str) -> None:
    """E13 (derived): less than 5,600 ft of known ground gives '?', never a letter by default."""
    for reach_ft in (300.0, 2000.0, 5000.0):  # a square of 5,400 ft is complete towards its corners
        fetch = measure_fetch(map_of(uniform(letter), cell_m, reach_ft), HERE, LOCAL)
        result = exposure_at_height(fetch, 25.0)
        assert result.by_direction[0] == "?" * 16
        assert result.exposure[0] == "?"
        assert result.scope_code[0] == EXPO_UNKNOWN
        assert abs(result.missing_ft[0] - (5600.0 - reach_ft)) <= 2.0 * cell_m / FT
        assert np.isnan(result.margin_ft[0])
        assert np.isnan(result.rough_share_min[0])


@pytest.mark.parametrize("cell_m", CELLS_M)
def test_e13_only_the_affected_directions(cell_m: float) -> None:
    """E13 (derived): ground unknown from 3,000 ft north on lies within acos(3000/5600) = 57.6 deg of north."""
    edge = half_plane(0.0, 3000.0, "B", "?")
    found = directions(map_of(edge, cell_m))
    # Sectors that reach within 57.6 degrees of north begin at 270 to 45 degrees: directions 270 (k = 12) to 90 (k = 4).
    assert [k for k in range(16) if found[k] == "?"] == [0, 1, 2, 3, 4, 12, 13, 14, 15]
    assert {found[k] for k in range(5, 12)} == {"B"}


@pytest.mark.parametrize("cell_m", CELLS_M)
def test_unknown_ground_does_not_hide_a_complete_d(cell_m: float) -> None:
    """Unknown ground north, but water on the south shore: the lot is D and needs nobody to say so."""

    def ground(east: np.ndarray, north: np.ndarray) -> np.ndarray:
        return np.where(north < -300.0, "D", np.where(north > 3000.0, "?", "B"))

    result = exposure_at_height(measure_fetch(map_of(ground, cell_m), HERE, LOCAL), 25.0)
    assert (result.exposure[0], result.scope_code[0]) == ("D", "")
    assert result.letters[0, 0] == "?"
    assert result.letters[0, 8] == "D"


def test_a_raster_that_reaches_exactly_far_enough_is_enough() -> None:
    """5,600 ft = 600 + 5,000 ft for h <= 30 ft; 40 ft needs 800 + 5,000 (derived from 26.7.3)."""
    assert float(ExposureRules().search_radius_ft(30.0)) == 5600.0
    assert float(ExposureRules().search_radius_ft(45.0)) == 5900.0
    ground = map_of(uniform("C"), 10.0, 5600.0, (0.31, 0.77))
    assert directions(ground) == "C" * 16
    assert directions(ground, 40.0) == "?" * 16


# --- closed forms ----------------------------------------------------------------------------------------------------


def water_share(distance_ft: float, r_ft: np.ndarray, first_deg: float, last_deg: float) -> np.ndarray:
    """Share of a half-plane beyond `distance_ft` (normal at bearing 0) in a sector at range r: overlap of
    [-a, a] with the sector, a = arccos(d / r)."""
    a = np.degrees(np.arccos(np.clip(distance_ft / r_ft, -1.0, 1.0)))
    overlap = np.clip(np.minimum(a, last_deg) - np.maximum(-a, first_deg), 0.0, None)
    return np.asarray(overlap / (last_deg - first_deg))


def ring_shares(distance_ft: float, first_deg: float, last_deg: float, n_rings: int) -> np.ndarray:
    """The same over each ring of 100 ft, by area."""
    r = (np.arange(n_rings * 400) + 0.5) / 4.0
    share = water_share(distance_ft, r, first_deg, last_deg)
    return np.asarray((share * r).reshape(n_rings, -1).sum(axis=1) / r.reshape(n_rings, -1).sum(axis=1))


def test_half_plane_share_anchors() -> None:
    """Half of the arc at 600 ft is water with the shore at 588 ft (the sector faces it) or 554 ft (its edge is on the
    normal); derived: 600 cos(11.25 deg), 600 cos(22.5 deg)."""
    assert water_share(588.0, np.array([600.0]), -22.5, 22.5)[0] == pytest.approx(0.5, abs=0.011)
    assert water_share(554.0, np.array([600.0]), 0.0, 45.0)[0] == pytest.approx(0.5, abs=0.011)


@pytest.mark.parametrize("cell_m", CELLS_M)
@pytest.mark.parametrize(("sector", "first_deg", "last_deg"), [(15, -22.5, 22.5), (0, 0.0, 45.0)])
def test_half_plane_shares_per_ring(cell_m: float, sector: int, first_deg: float, last_deg: float) -> None:
    """Counted share of water, per ring and from 0 to each ring's end, against the closed form (derived).

    The shore lies on an edge between cells here, so that what is left is the error of counting by cell centres.
    """
    cell_ft = cell_m / FT
    for wanted in (250.0, 400.0, 500.0, 554.0, 588.0, 700.0):
        d = (round(wanted / cell_ft - 0.5) + 0.5) * cell_ft
        counts, _, _ = count_plainly(
            map_of(half_plane(0.0, d, "C", "D"), cell_m, 2500.0), (0.0, 0.0), ExposureRules(), 20
        )
        found = sector_of_counts(counts, sector)
        exact = ring_shares(d, first_deg, last_deg, 20)
        assert np.abs(found[:, 3] / found.sum(axis=1) - exact)[3:].max() < 0.09
        within = np.cumsum(found[:, 3]) / np.cumsum(found.sum(axis=1))
        assert np.abs(within - share_within(exact))[3:].max() < 0.03


@pytest.mark.parametrize("cell_m", CELLS_M)
def test_where_smooth_ground_begins(cell_m: float) -> None:
    """The first half-water ring is that of the closed form or its neighbour; the distance that is used, the nearest
    shore less one cell, is never beyond the shore and never short of it by more than the stated slack."""
    for d in (250.0, 400.0, 500.0, 554.0, 588.0, 700.0):
        ground = map_of(half_plane(0.0, d, "C", "D"), cell_m)
        fetch = measure_fetch(ground, HERE, LOCAL)
        for sector, first_deg, last_deg in ((15, -22.5, 22.5), (0, 0.0, 45.0)):
            counts, _, _ = count_plainly(
                map_of(half_plane(0.0, d, "C", "D"), cell_m, 2500.0), (0.0, 0.0), fetch.rules, 20
            )
            found = sector_of_counts(counts, sector)
            first = int(np.argmax(found[:, 3] / found.sum(axis=1) >= 0.5))
            assert abs(first - int(np.argmax(ring_shares(d, first_deg, last_deg, 20) >= 0.5))) <= 1
            start = fetch.longest_smooth_start_ft[0, sector]
            assert d - slack_ft(cell_m) <= start <= d + 1e-6


def share_within(exact: np.ndarray) -> np.ndarray:
    """Share from 0 to each ring's end, from shares per ring."""
    area = 2.0 * np.arange(exact.size) + 1.0
    return np.asarray(np.cumsum(exact * area) / np.cumsum(area))


def rough_share_closed_form(distance_ft: float, need_ft: float) -> float:
    """Share of B within `need_ft` in the sector that faces the edge of a half-plane of open ground at a distance."""
    r = (np.arange(200_000) + 0.5) * need_ft / 200_000
    return float(1.0 - (water_share(distance_ft, r, -22.5, 22.5) * r).sum() / r.sum())


@pytest.mark.parametrize("cell_m", CELLS_M)
@pytest.mark.parametrize("share", [0.5, 0.6, 0.75, 0.9])
def test_open_half_plane_beyond_b(cell_m: float, share: float) -> None:
    """Where B to a distance d turns into C: the share of B within 1,500 ft in closed form (derived)."""
    low, high = 500.0, 1500.0
    for _ in range(40):
        middle = (low + high) / 2.0
        low, high = (middle, high) if rough_share_closed_form(middle, 1500.0) < share else (low, middle)
    rules = ExposureRules(rough_share=share)
    assert worst(map_of(half_plane(0.0, high - slack_ft(cell_m), "B", "C"), cell_m), rules=rules) == "C"
    assert worst(map_of(half_plane(0.0, high + slack_ft(cell_m), "B", "C"), cell_m), rules=rules) == "B"
    fetch = measure_fetch(map_of(half_plane(0.0, high, "B", "C"), cell_m), HERE, LOCAL, rules)
    result = exposure_at_height(fetch, 25.0)
    # The edge lies within half a cell and the placing error; the arc of 1,500 ft is 1,148 ft wide in 883,573 sq ft.
    assert result.rough_share_min[0] == pytest.approx(share, abs=1148.0 / 883_573.0 * (cell_m / FT / 2.0 + 23.2))
    assert result.governing_bearing_deg[0] == 0.0
    assert result.share_margin[0] == result.rough_share_min[0] - share


@pytest.mark.parametrize("height_ft", [25.0, 40.0])
def test_margin_is_the_distance_to_the_d_threshold(height_ft: float) -> None:
    """A lot d ft from a shore has d - 600 ft (or d - 20 h) to spare, less at most one cell and the placing error."""
    limit = max(600.0, 20.0 * height_ft)
    for d in (limit - 250.0, limit + 250.0):
        fetch = measure_fetch(map_of(half_plane(0.0, d, "B", "D"), 10.0, 6500.0), HERE, LOCAL, greatest_height_ft=40.0)
        result = exposure_at_height(fetch, height_ft)
        assert result.margin_ft[0] == pytest.approx(250.0, abs=slack_ft(10.0))
        assert result.governing_bearing_deg[0] in (0.0, 337.5, 22.5)


def test_wind_comes_from_its_bearing() -> None:
    """Direction k is wind FROM 22.5 k degrees clockwise from north: water in the north-east only matters there."""
    for bearing, k in ((0.0, 0), (90.0, 4), (180.0, 8), (270.0, 12), (45.0, 2)):
        found = directions(map_of(half_plane(bearing, 100.0, "C", "D"), 30.0))
        assert found[k] == "D"
        assert found[(k + 8) % 16] == "C"


# --- laws ------------------------------------------------------------------------------------------------------------


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), letters_in=st.sampled_from(["BBBC", "BBBBBBCD", "CDDDD", "BBCD"]))
def test_rougher_ground_is_never_more_exposed(seed: int, letters_in: str) -> None:
    """Turning C into B, or D into C, anywhere can only lower an exposure. Law of 26.7.3's order D, C, B."""
    rank = {"B": 0, "C": 1, "D": 2}
    plain = map_of(patches(seed, letters_in), 30.0)
    before = directions(plain)
    picked = np.random.default_rng(seed).random(plain.roughness.shape) < 0.3
    rougher = np.where(picked & (plain.roughness > 1), plain.roughness - 1, plain.roughness).astype(np.uint8)
    after = directions(RoughnessMap(rougher, plain.transform, LOCAL, "rougher"))
    if letters_in == "BBBC":  # D turned to C could close a gap rule's run either way, so only where there is none
        assert all(rank[b] <= rank[a] for a, b in zip(before, after, strict=True))
    no_smooth = np.where(plain.roughness == 3, 1, plain.roughness).astype(np.uint8)
    assert "D" not in directions(RoughnessMap(no_smooth, plain.transform, LOCAL, "no water"))


def test_taller_plans_are_never_less_exposed() -> None:
    """The distances of 26.7.3 grow with h, so no direction gets a rougher letter when h grows."""
    rank = {"B": 0, "C": 1, "D": 2}
    for seed in range(6):
        ground = map_of(patches(seed, "BBBBBBCD"), 30.0, 6700.0)
        fetch = measure_fetch(ground, HERE, LOCAL, greatest_height_ft=60.0)
        found = [[rank[x] for x in letters(fetch, h)[0]] for h in (15.0, 30.0, 31.0, 45.0, 60.0)]
        assert (np.diff(np.array(found), axis=0) >= 0).all()


def test_letters_do_not_depend_on_how_tall_the_tallest_plan_is() -> None:
    for seed in range(4):
        ground = map_of(patches(seed, "BBBBBCD"), 30.0, 6700.0)
        low = letters(measure_fetch(ground, HERE, LOCAL, greatest_height_ft=30.0), 25.0)
        tall = letters(measure_fetch(ground, HERE, LOCAL, greatest_height_ft=60.0), 25.0)
        assert (low == tall).all()


# --- the compiled count against a plain one --------------------------------------------------------------------------


def compiled_counts(
    ground: RoughnessMap, xy: tuple[float, float], rules: ExposureRules, n_rings: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """B, D and unknown counts, nearest smooth and nearest unknown part of every bin, by the compiled kernel."""
    point = np.array([xy])
    axes = ground_axes_over_ft(ground.crs, point)
    blocks = fetch_module._blocks(ground, None, 0, axes, rules.sub_cell_ft)
    cell_ft = float(np.hypot(blocks.step_ft[0], blocks.step_ft[1]).max())
    parts = max(1, math.ceil(cell_ft / rules.sub_cell_ft - 1e-9))
    rows, cols, tables, _ = fetch_module._places(point, np.array([True]), ground, blocks.factor, parts)
    plan = fetch_module._cell_plan(blocks.step_ft / parts, parts, n_rings, rules.ring_ft, tables)
    words, origins, width = fetch_module._crop(blocks, rows, cols, plan.reach_cells)
    counts = np.zeros((3, 16 * n_rings), dtype=np.int64)
    near = np.empty((2, 16 * n_rings))
    fetch_module._count_bins(
        words, origins[0], plan.start[tables[0]], plan.cell_row * width + plan.cell_col, plan.weight, plan.distance_ft,
        counts, near[0], near[1],
    )  # fmt: skip
    total = plan.total[tables[0]].reshape(16, n_rings)
    rough, smooth, unknown = counts.reshape(3, 16, n_rings)
    stacked = np.stack([unknown, rough, total - rough - smooth - unknown, smooth], axis=-1)
    return stacked, near[0].reshape(16, n_rings), near[1].reshape(16, n_rings)


@pytest.mark.parametrize(("cell_m", "reach_ft"), [(10.0, 1200.0), (30.0, 1900.0), (60.0, 2500.0), (9.0, 1100.0)])
@pytest.mark.parametrize("xy", [(0.0, 0.0), (17.3, -41.9), (-88.0, 12.5)])
def test_compiled_counts_equal_plain_numpy(cell_m: float, reach_ft: float, xy: tuple[float, float]) -> None:
    """Every bin's count, and the nearest smooth and unknown parts, exactly."""
    rules = ExposureRules()
    n_rings = 14
    for seed in (11, 12):
        ground = map_of(patches(seed, "BBCD?", 130.0), cell_m, reach_ft, (0.3, 0.8))
        plain = count_plainly(ground, xy, rules, n_rings)
        compiled = compiled_counts(ground, xy, rules, n_rings)
        assert (compiled[0] == plain[0]).all()
        np.testing.assert_allclose(compiled[1], plain[1], rtol=1e-12)
        np.testing.assert_allclose(compiled[2], plain[2], rtol=1e-12)


@pytest.mark.parametrize("cell_m", [20.0, 30.0])
def test_fetch_equals_the_definition(cell_m: float) -> None:
    """Share, run and gap of every sector, for random ground, straight from their definitions over a plain count."""
    rules = ExposureRules()
    for seed in range(3):
        ground = map_of(patches(seed, "BBBBBBBC", 250.0), cell_m)
        fetch = measure_fetch(ground, np.array([[33.0, -20.0]]), LOCAL, rules)
        counts, _, _ = count_plainly(ground, (33.0, -20.0), rules, 56)
        for sector in range(16):
            for j, need_ft in enumerate((1500.0, 2600.0)):
                share, run_ft, gap_ft = rough_fetch_plainly(sector_of_counts(counts, sector), rules, need_ft)
                assert fetch.rough_share[0, sector, j] == share
                assert fetch.rough_run_ft[0, sector, j] == run_ft
                assert fetch.open_gap_ft[0, sector, j] == gap_ft


def test_small_cells_are_summed_into_blocks() -> None:
    """A 2 m raster of the same ground gives the letters and nearly the shares of a 10 m one."""
    for ground in (half_plane(0.0, 400.0, "C", "D"), half_plane(200.0, 1300.0, "B", "C")):
        fine = exposure_at_height(measure_fetch(map_of(ground, 2.0), HERE, LOCAL), 25.0)
        coarse = exposure_at_height(measure_fetch(map_of(ground, 10.0), HERE, LOCAL), 25.0)
        assert fine.by_direction[0] == coarse.by_direction[0]
        np.testing.assert_allclose(fine.sector_rough_share, coarse.sector_rough_share, atol=0.02)


# --- coordinate systems ----------------------------------------------------------------------------------------------


def map_in(crs: pyproj.CRS, ground: Ground, step: tuple[float, float], turn_deg: float = 0.0) -> RoughnessMap:
    """The ground in a raster of another CRS, around the point 0, 0 of LOCAL; `step`: cell size in the CRS's unit."""
    centre = pyproj.Transformer.from_crs(LOCAL, crs, always_xy=True).transform(0.0, 0.0)
    half = 6600.0 * FT / 30.0
    size = 2 * math.ceil(half * 1.45) + 1
    turn = np.radians(turn_deg)
    a, b, d, e = step[0] * np.cos(turn), step[1] * np.sin(turn), step[0] * np.sin(turn), -step[1] * np.cos(turn)
    transform = Affine(a, b, centre[0] - (a + b) * size / 2.0, d, e, centre[1] - (d + e) * size / 2.0)
    col, row = np.meshgrid(np.arange(size) + 0.5, np.arange(size) + 0.5)
    x, y = a * col + b * row + transform.c, d * col + e * row + transform.f
    east, north = pyproj.Transformer.from_crs(crs, LOCAL, always_xy=True).transform(x, y)
    values = codes_of(ground(east / FT, north / FT))
    window = RasterWindow(values, np.ones(values.shape, dtype=bool), transform, crs, "land_cover.tif")
    return roughness_map(window)


@pytest.mark.parametrize(
    ("crs", "step", "turn_deg"),
    [
        ("EPSG:5070", (30.0, 30.0), 0.0),  # Albers of the conterminous states: grid north is 14.9 degrees off here
        ("EPSG:2226", (98.425, 98.425), 0.0),  # a state plane in US survey feet
        ("EPSG:3857", (39.16, 39.16), 0.0),  # scale 1.305 at 40 degrees north
        ("EPSG:4269", (0.00035, 0.00027), 0.0),  # degrees: cells longer than wide
        ("EPSG:5070", (30.0, 30.0), 33.0),  # a rotated raster
        ("EPSG:5070", (30.0, -30.0), 0.0),  # south-up
    ],
)
def test_true_north_and_true_distance_in_any_crs(crs: str, step: tuple[float, float], turn_deg: float) -> None:
    """Bearings from true north and ground distances, whatever the raster's axes and scale are."""
    system = pyproj.CRS(crs)
    found = directions(map_in(system, wedge(0.0, 45.0, "D", "C"), step, turn_deg))
    assert (found[0], found[2], found[4], found[14]) == ("D", "D", "C", "C")
    assert set(found[4:15]) == {"C"}
    slack = slack_ft(30.0) + 20.0  # these cells are up to 30.5 m, and turned ones have longer diagonals
    for bearing, k in ((0.0, 0), (90.0, 4)):
        near = directions(map_in(system, half_plane(bearing, 595.0, "C", "D"), step, turn_deg))
        far = directions(map_in(system, half_plane(bearing, 600.0 + slack, "C", "D"), step, turn_deg))
        assert (near[k], far[k]) == ("D", "C")


def test_a_tract_too_wide_for_one_set_of_axes_is_refused() -> None:
    points = np.array([[0.0, 0.0], [0.0, 100_000.0]])
    with pytest.raises(ValueError, match="split them into smaller tracts"):
        ground_axes_over_ft(pyproj.CRS("EPSG:3857"), points + np.array([-13.4e6, 4.8e6]))


# --- many lots -------------------------------------------------------------------------------------------------------


def test_lots_that_share_a_place_share_a_count() -> None:
    """Each lot's answer is the one it gets alone, whatever the order, the other lots or the number of workers."""
    ground = map_of(patches(7, "BBBBBCD"), 30.0, 9000.0)
    points = np.random.default_rng(0).uniform(-800.0, 800.0, (60, 2))
    points[30:40] = points[0] + np.random.default_rng(1).uniform(-0.5, 0.5, (10, 2))
    together = measure_fetch(ground, points, LOCAL)
    assert together.rough_share.shape[0] < 60
    found = letters(together, 25.0)
    backwards = letters(measure_fetch(ground, points[::-1], LOCAL, workers=2), 25.0)[::-1]
    assert (found == backwards).all()
    for i in (0, 17, 35):
        # Alone, the axes are taken at the lot itself, which must not matter.
        assert (letters(measure_fetch(ground, points[[i]], LOCAL), 25.0)[0] == found[i]).all()


def test_lots_off_the_raster_or_without_a_height_are_unknown() -> None:
    ground = map_of(uniform("B"), 30.0, 6000.0)
    points = np.array([[0.0, 0.0], [1e6, 1e6], [np.nan, 0.0], [0.0, 0.0]])
    result = exposure_at_height(measure_fetch(ground, points, LOCAL), np.array([20.0, 20.0, 20.0, np.nan]))
    assert list(result.exposure) == ["B", "?", "?", "?"]
    assert list(result.scope_code) == ["", EXPO_UNKNOWN, EXPO_UNKNOWN, EXPO_UNKNOWN]
    assert list(result.governing_sector[1:]) == [-1, -1, -1]
    nowhere = exposure_at_height(measure_fetch(ground, points[1:2], LOCAL), 20.0)
    assert nowhere.by_direction[0] == "?" * 16


def test_heights_that_were_not_measured_for_are_refused() -> None:
    fetch = measure_fetch(map_of(uniform("B"), 30.0), HERE, LOCAL)
    with pytest.raises(ValueError, match="expected at most 30 ft"):
        letters(fetch, 31.0)
    with pytest.raises(ValueError, match="expected above 0 and up to 130 ft"):
        measure_fetch(map_of(uniform("B"), 30.0), HERE, LOCAL, greatest_height_ft=140.0)
    with pytest.raises(ValueError, match="expected 350 or less"):
        measure_fetch(map_of(uniform("B"), 150.0), HERE, LOCAL)


@pytest.mark.parametrize(
    "wrong",
    [
        {"rough_share": 0.0},
        {"rough_share": 1.2},
        {"ring_ft": -1.0},
        {"sub_cell_ft": 80.0},
        {"rough_distance_low_ft": 1550.0},
    ],
)
def test_rules_refuse_what_cannot_be(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        ExposureRules(**wrong)


# --- what is reported ------------------------------------------------------------------------------------------------


def test_columns_and_layer() -> None:
    """Letters agree between the columns, the sectors and the map; wedges lie where the wind comes from."""
    ground = map_of(half_plane(90.0, 900.0, "B", "C"), 30.0)
    points = np.array([[0.0, 0.0], [60.0, 0.0]])
    result = exposure_at_height(measure_fetch(ground, points, LOCAL), 25.0)
    columns = lots_columns(result)
    assert list(columns["exposure"]) == ["C", "C"]
    assert [text[4] for text in columns["exposure_by_direction"]] == ["C", "C"]
    assert columns["exposure_by_direction"][0][12] == "B"
    assert list(columns["exposure_governing_bearing_deg"]) == [90.0, 90.0]
    for k in range(16):
        pair = {result.left_letters[0, k], result.right_letters[0, k]}
        assert result.letters[0, k] == max(pair)  # of B and C the later letter is the more exposed
        assert result.right_letters[0, k] == result.sector_letters[0, k]
        assert result.left_letters[0, k] == result.sector_letters[0, k - 2]
    layer = sector_layer(points, result, 25.0)
    assert {len(column) for column in layer.values()} == {32}
    wedges = layer["geometry"]
    assert shapely.is_valid(wedges).all()
    east = wedges[4]
    assert shapely.contains_xy(east, 50.0, 0.0)
    assert not shapely.contains_xy(east, -50.0, 0.0)
    reach_ft = (shapely.bounds(wedges[16 + 12])[2] - shapely.bounds(wedges[16 + 12])[0]) / FT
    assert reach_ft == pytest.approx(1500.0 * math.cos(math.radians(3.75)), rel=0.01)
    assert list(layer["exposure"][:16]) == list(result.letters[0])
    assert list(layer["rough_run_ft"][16:]) == [
        result.sector_rough_run_ft[1, (k - 2) % 16 if better else k]
        for k, better in enumerate(np.roll(result.sector_rough_share[1], 2) < result.sector_rough_share[1])
    ]


def test_flipping_lots_straddle_the_limit() -> None:
    """Lots near the share that prevails flip within the band; those far from it do not."""
    ground = map_of(half_plane(0.0, 1600.0, "B", "C"), 10.0, 8000.0)
    north_ft = np.array([0.0, 300.0, 360.0, 900.0])  # 1,600, 1,300, 1,240 and 700 ft to the edge; the step is at 1,265
    points = np.column_stack([np.zeros(4), north_ft * FT])
    fetch = measure_fetch(ground, points, LOCAL)
    flips = flipping_lots(fetch, 25.0, share_band=0.10, distance_band_ft=100.0)
    assert list(flips.as_is) == ["B", "B", "C", "C"]
    assert list(flips.share_stricter) == ["B", "C", "C", "C"]
    assert list(flips.share_looser) == ["B", "B", "B", "C"]
    assert list(flips.flips) == [False, True, True, False]
    nothing = flipping_lots(fetch, 25.0, share_band=0.0, distance_band_ft=0.0)
    assert not nothing.flips.any()


def test_another_share_without_measuring_again() -> None:
    """`letters(rough_share=p)` is what a measurement with p as the rule gives."""
    ground = map_of(patches(21, "BBBBC"), 30.0)
    points = np.random.default_rng(2).uniform(-300.0, 300.0, (20, 2))
    base = measure_fetch(ground, points, LOCAL)
    for share in (0.5, 0.6, 0.9):
        measured = measure_fetch(ground, points, LOCAL, ExposureRules(rough_share=share))
        assert (letters(base, 25.0, rough_share=share) == letters(measured, 25.0)).all()


def test_run_and_share_agree_on_the_letter() -> None:
    """B prevails over at least the needed distance exactly when share and gaps say so."""
    for seed in range(5):
        fetch = measure_fetch(map_of(patches(seed, "BBBBBC", 300.0), 30.0), HERE, LOCAL)
        met = (fetch.rough_share >= 0.75) & (fetch.open_gap_ft <= 600.0)
        assert ((fetch.rough_run_ft >= np.array([1500.0, 2600.0])) == met).all()


def test_pick_per_lot_takes_whole_lots() -> None:
    points = np.zeros((2, 2))
    rough = exposure_at_height(measure_fetch(map_of(uniform("B"), 30.0), points, LOCAL), 25.0)
    smooth = exposure_at_height(measure_fetch(map_of(uniform("D"), 30.0), points, LOCAL), 25.0)
    mixed = pick_per_lot([rough, smooth], np.array([1, 0]))
    assert list(mixed.exposure) == ["D", "B"]
    assert list(mixed.by_direction) == ["D" * 16, "B" * 16]
    assert list(mixed.rough_share_min) == [0.0, 1.0]
