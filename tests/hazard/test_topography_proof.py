"""Profiles that are passed over at once hold no feature: against the full search, on ground made to come close."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hazard import topography as topo
from hazard import topography_kernels as kernels
from hazard import topography_proof as proof
from hazard.topography import TopographySettings, topography
from tests.hazard import topography_grounds as grounds
from tests.hazard.exposure_grounds import LOCAL
from tests.hazard.test_topography_lines import found

STEP_FT = 33.0
RULES = topo._rules(TopographySettings(), STEP_FT)


def judged(line: np.ndarray, blocks: proof.Blocks) -> tuple[bool, bool]:
    """Whether the profile from the line's start, and the one from its end, may hold something."""
    low, top = np.empty(blocks.first.size), np.empty(blocks.first.size)
    for b, (first, last) in enumerate(zip(blocks.first.astype(int), blocks.last.astype(int), strict=True)):
        low[b], top[b] = proof.span(line, first, last - first + 1)
    proof.add_peaks(low, top)
    ahead = bool(proof.may_matter(low, top, blocks))
    return ahead, bool(proof.may_matter(low[::-1].copy(), top[::-1].copy(), blocks))


def profiles(line: np.ndarray, up: int, down: int) -> tuple[np.ndarray, np.ndarray]:
    """The profile of the wind from the line's start and that of the wind from its end."""
    site = line.size // 2
    return tuple(z[site - up : site + down + 1].copy() for z in (line, line[::-1]))


def rough_line(seed: int, size: int, relief: float, rough: float, length: float) -> np.ndarray:
    from scipy import ndimage

    rng = np.random.default_rng(seed)
    z = ndimage.gaussian_filter1d(rng.normal(size=size), length)
    z = z / z.std() * relief + rng.normal(0.0, rough, size)
    if seed % 3 == 0:
        z[rng.integers(0, size, 3)] += rng.choice([-1.0, 1.0], 3) * relief
    return z


@settings(max_examples=400, deadline=None)
@given(
    seed=st.integers(0, 100_000),
    relief=st.sampled_from([5.0, 20.0, 60.0, 150.0, 400.0]),
    rough=st.sampled_from([0.0, 0.3, 3.0]),
    length=st.sampled_from([3.0, 10.0, 30.0, 80.0]),
    up=st.integers(60, 400),
    down=st.integers(20, 180),
    window=st.integers(0, 3),
)
def test_what_is_passed_over_holds_no_feature(seed, relief, rough, length, up, down, window):
    rules = RULES._replace(window=window)
    line = rough_line(seed, 2 * max(up, down) + 1, relief, rough, length)
    blocks = proof.blocks_of(up, down, rules)
    for may, z in zip(judged(line, blocks), profiles(line, up, down), strict=True):
        assert may or not len(found(z, up, rules, False))


def ridge_line(up: int, down: int, height: float, half: float, x: float, lee: float) -> np.ndarray:
    """A triangular ridge: H, Lh and x in ft (x > 0: the lot is downwind), the lee side `lee` times as long."""
    far = max(up, down)
    s = (np.arange(2 * far + 1) - far) * STEP_FT + x
    return height * np.clip(1.0 - np.where(s < 0, -s / (2.0 * half), s / (2.0 * half * lee)), 0.0, 1.0)


MARGINAL = dict(
    height=st.floats(13.0, 400.0),
    steep=st.floats(0.95, 3.0),  # slope against the least one that is kept
    at=st.floats(-1.05, 1.05),  # x against the reach
    lee=st.sampled_from([1.0, 4.0, 50.0]),
)


@settings(max_examples=500, deadline=None)
@given(**MARGINAL)
def test_a_ridge_that_barely_counts_is_never_passed_over(height, steep, at, lee):
    """Heights, slopes and distances about their limits."""
    half = height / (0.18 * steep)
    x = at * (4.0 if at > 0 else 1.5) * max(half, 2.0 * height)
    line = ridge_line(400, 180, height, half, x, lee)
    blocks = proof.blocks_of(400, 180, RULES)
    may, _ = judged(line, blocks)
    z, _ = profiles(line, 400, 180)
    assert may or not len(found(z, 400, RULES, False))


@pytest.mark.parametrize(("field", "by"), [("need_ft", 1.1), ("rise_ft", 1.8)])
def test_limits_set_higher_would_lose_features(field, by):
    """The limits are near what they bound, as near as blocks allow: the test before can fail."""
    blocks = proof.blocks_of(400, 180, RULES)
    stricter = blocks._replace(**{field: by * getattr(blocks, field)})
    lost = 0
    for height in np.linspace(13.5, 400.0, 60):
        for steep in (1.02, 1.05, 2.0):
            for at in (0.0, 0.3, 0.97):
                half = height / (0.18 * steep)
                line = ridge_line(400, 180, height, half, at * 4.0 * max(half, 2.0 * height), 50.0)
                if len(found(profiles(line, 400, 180)[0], 400, RULES, False)):
                    assert judged(line, blocks)[0]
                    lost += not judged(line, stricter)[0]
    assert lost > 0


def test_gentle_ground_is_passed_over():
    """Swells of 40 ft, a mile long, slopes to 5 %: nothing there can count, and all of it is seen at once."""
    far = 400
    blocks = proof.blocks_of(far, 180, RULES)
    i = np.arange(2 * far + 1)
    passed = 0
    for phase in np.linspace(0.0, 2.0 * math.pi, 40):
        line = 20.0 * np.sin(2.0 * math.pi * i * STEP_FT / 5280.0 + phase)
        passed += sum(not may for may in judged(line, blocks))
    assert passed == 80


def test_blocks_cover_the_line_and_grow_with_distance():
    blocks = proof.blocks_of(400, 180, RULES)
    covered = np.concatenate([np.arange(a, b + 1) for a, b in zip(blocks.first, blocks.last, strict=True)])
    assert set(covered.astype(int)) == set(range(801))
    size, offset = blocks.last - blocks.first + 1, np.minimum(abs(blocks.first - 400), abs(blocks.last - 400))
    assert (size <= np.maximum(1, offset / proof.FINENESS)).all()
    assert blocks.begin == 0
    assert blocks.first[blocks.end - 1] <= 580 <= blocks.last[blocks.end - 1]


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    step=st.floats(0.3, 3.0),
    bearing=st.floats(0.0, 6.2831853),
    up=st.integers(120, 220),
    holes=st.booleans(),
)
def test_bounds_hold_every_sample_of_their_block(seed, step, bearing, up, holes):
    """Near and far blocks of lines in any direction, at steps from a third of a cell to three; holes are infinite."""
    from hazard import topography_lines as lines

    rng = np.random.default_rng(seed)
    size = int(2 * up * step) + 40
    grid = rng.normal(0.0, 30.0, (size, size)).cumsum(axis=0)
    if holes:
        for r, c in rng.integers(0, size, (6, 2)):
            grid[r, c] = np.nan
    blocks = proof.blocks_of(up, 100, RULES._replace(valley_search_ft=40 * STEP_FT))
    assert blocks.near < blocks.ends.size - 1
    relief = proof.relief_of(grid, step)
    d_row, d_col = step * math.cos(bearing), step * math.sin(bearing)
    row = col = size / 2.0 + rng.uniform(-3.0, 3.0)
    line, scratch = np.empty(2 * up + 1), np.empty(8 * up + 4)
    lines.sample_line(grid, row, col, d_row, d_col, up, line, scratch)
    low, top = np.empty(blocks.first.size), np.empty(blocks.first.size)
    near = np.empty(2 * blocks.ends[blocks.near] - 1)
    if not proof.bounds_along(grid, relief, row, col, d_row, d_col, blocks, near, low, top, scratch):
        assert holes
        return
    reach = near.size // 2
    np.testing.assert_allclose(near, line[up - reach : up + reach + 1], rtol=0, atol=1e-9)
    for b, (first, last) in enumerate(zip(blocks.first.astype(int), blocks.last.astype(int), strict=True)):
        held = line[first : last + 1]
        if np.isnan(held).any():
            assert low[b] == -np.inf
            assert top[b] == np.inf
        else:
            assert low[b] <= held.min() + 1e-9
            assert held.max() <= top[b] + 1e-9


def test_a_hole_far_from_the_lot_is_never_passed_over():
    """Flat ground with one missing cell 9,000 ft away: the known run ends there, in that direction only."""
    window = grounds.rolling(5, 1000, sd_ft=1.0)
    valid = window.valid.copy()
    valid[500, 780:800] = False
    result = topography(replace(window, valid=valid), np.array([[0.0, 0.0]]), LOCAL)
    east = result.known_upwind_ft[0, 4]
    assert 2700.0 / 0.3048 < east < 2900.0 / 0.3048
    others = np.delete(result.known_upwind_ft[0], 4)
    assert (others >= 13_200.0).all()


@pytest.mark.parametrize(("seed", "sd_ft", "scale_m"), [(1, 25.0, 300.0), (2, 60.0, 250.0), (3, 90.0, 120.0)])
def test_whole_search_is_the_same_to_the_last_bit_without_it(monkeypatch, seed, sd_ft, scale_m):
    """Forty lots in rolling ground, with the proof and with blocks that pass nothing over."""
    window = grounds.rolling(seed, 1000, scale_m=scale_m, sd_ft=sd_ft)
    xy = np.random.default_rng(seed).uniform(-400.0, 400.0, (40, 2))
    quick = topography(window, xy, LOCAL)
    usual = proof.blocks_of

    def none_passed(up: int, down: int, rules: kernels.Rules) -> proof.Blocks:
        blocks = usual(up, down, rules)
        return blocks._replace(need_ft=np.full_like(blocks.need_ft, -np.inf), rise_ft=1e-30)

    monkeypatch.setattr(topo.proof, "blocks_of", none_passed)
    full = topography(window, xy, LOCAL)
    for name in quick.features.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(quick.features, name), getattr(full.features, name))
    for name in ("known_upwind_ft", "known_downwind_ft", "valley", "ground_ft"):
        np.testing.assert_array_equal(getattr(quick, name), getattr(full, name))


def test_a_shorter_search_uses_its_own_blocks():
    """Blocks reach as far as the settings' own distances, to the sample."""
    words = replace(TopographySettings(), search_upwind_ft=4000.0, search_downwind_ft=3300.0, beyond_ft=0.0)
    rest = topo._rest(words, STEP_FT)
    assert rest[-1].end > rest[-1].begin
    assert rest[-1].last.max() == 2 * math.ceil(4000.0 / STEP_FT)
