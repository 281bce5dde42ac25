"""The fast terrain kernels against plain ones: lines, smoothing, and slopes that are passed over.

Nothing is shared between two lots but the grid, so every lot keeps its own 16 profiles; what is saved is saved without
changing the answer, and that is what is asked here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st

from hazard import topography as topo
from hazard import topography_kernels as kernels
from hazard import topography_lines as lines
from hazard.rasters import RasterWindow
from hazard.topography import TopographySettings, topography
from tests.hazard import topography_grounds as grounds
from tests.hazard.exposure_grounds import FT, LOCAL
from tests.hazard.topography_reference import Reader, bilinear, smoothed

NAMES = ("height_ft", "half_length_ft", "x_ft", "form", "upper", "foot_ft", "base_ft", "base_open", "isolation")


@settings(max_examples=150, deadline=None)
@given(
    row=st.floats(-5, 45),
    col=st.floats(-5, 65),
    d_row=st.sampled_from([0.0, 1.0, -1.0, 0.37, -0.8, 1e-9]),
    d_col=st.sampled_from([0.0, 1.0, -1.0, 0.5, -0.93]),
    site=st.integers(0, 60),
    begin=st.integers(0, 1),
    stride=st.integers(1, 2),
)
def test_line_is_bilinear_at_every_sample(row, col, d_row, d_col, site, begin, stride):
    """Inside, across the edges and wholly outside: each sample is the bilinear value, or NaN outside."""
    grid = np.random.default_rng(1).normal(0.0, 50.0, (40, 60))
    grid[11, 7] = np.nan
    out, want = np.full(61, -1.0), np.full(61, -1.0)
    lines.sample_line(grid, row, col, d_row, d_col, site, out, np.empty(4 * 61), begin, stride)
    at = np.arange(begin, 61, stride)
    want[at] = bilinear(grid, row + (site - at) * d_row, col + (site - at) * d_col)
    np.testing.assert_array_equal(out, want)


def test_line_of_a_lot_without_a_place_is_unknown():
    grid = np.zeros((10, 10))
    for row, col in ((np.nan, 3.0), (1e300, 3.0), (3.0, -np.inf)):
        out = np.empty(9)
        lines.sample_line(grid, row, col, 0.5, 0.5, 4, out, np.empty(36))
        assert np.isnan(out).all()


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 1000), lo=st.integers(0, 9), length=st.integers(1, 40), window=st.integers(0, 4))
def test_smoothing_is_the_plain_mean_and_the_same_from_both_ends(seed, lo, length, window):
    z = np.random.default_rng(seed).normal(900.0, 30.0, 60)
    hi = lo + length - 1
    out, back = np.zeros(60), np.zeros(60)
    lines.smooth(z, lo, hi, window, out)
    np.testing.assert_allclose(out[lo : hi + 1], smoothed(z[lo : hi + 1], window), rtol=1e-13)
    lines.smooth(z[::-1].copy(), 59 - hi, 59 - lo, window, back)
    np.testing.assert_array_equal(back[::-1][lo : hi + 1], out[lo : hi + 1])


def test_unevenness_by_hand():
    """Flat but for one sample of 8 ft: 6.4 ft above its mean of five; its parabola peaks at most 2 ft above it."""
    z = np.zeros(21)
    z[10] = 8.0
    s = np.empty(21)
    lines.smooth(z, 0, 20, 2, s)
    assert lines.unevenness(z, s, 0, 20, np.empty(21)) == pytest.approx(6.4)
    assert lines.unevenness(z, s, 10, 10, np.empty(21)) == pytest.approx(6.4)
    assert lines.unevenness(z, s, 0, 5, np.empty(21)) == 0.0


def test_opposite_winds_read_the_same_line():
    """Profiles of winds k and k + 8 are each other's mirror image, bit for bit."""
    vectors = topo.bearing_vectors()
    np.testing.assert_array_equal(vectors[8:], -vectors[:8])
    result = topography(grounds.rolling(40, 900, scale_m=80.0, sd_ft=90.0), np.array([[123.0, -77.0]]), LOCAL)
    reach = round(5000.0 / result.step_ft)
    for k in range(8):
        one, other = result.profile(0, k), result.profile(0, k + 8)
        a, b = (np.flatnonzero(p.distance_ft == 0.0)[0] for p in (one, other))
        np.testing.assert_array_equal(
            one.elevation_ft[a - reach : a + reach + 1], other.elevation_ft[b - reach : b + reach + 1][::-1]
        )


def found(z: np.ndarray, site: int, rules: kernels.Rules, passing_over: bool) -> np.ndarray:
    """Feature rows of a profile, with slopes passed over or every slope searched."""
    s, scratch = np.empty_like(z), np.empty_like(z)
    lines.smooth(z, 0, z.size - 1, rules.window, s)
    uneven = lines.unevenness(z, s, 0, z.size - 1, scratch) if passing_over else np.inf
    rows = np.zeros((kernels.MOST_ROWS, kernels.FIELDS))
    turns, stack = np.empty(z.size + kernels.MORE_TURNS, dtype=np.int64), np.empty((8, 4), dtype=np.int64)
    return rows[: kernels.find_features(z, s, 0, z.size - 1, site, uneven, rules, turns, stack, rows)]


@settings(max_examples=300, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    rough=st.sampled_from([0.0, 0.5, 3.0, 15.0, 60.0]),
    relief=st.sampled_from([20.0, 60.0, 150.0, 400.0]),
    length=st.sampled_from([6.0, 15.0, 40.0]),
    site=st.floats(0.0, 1.0),
    window=st.integers(0, 3),
)
def test_slopes_passed_over_hold_no_feature(seed, rough, relief, length, site, window):
    """Broken ground from smooth to spiky: the same rows, to the last bit, as when no slope is passed over."""
    from scipy import ndimage

    rng = np.random.default_rng(seed)
    z = ndimage.gaussian_filter1d(rng.normal(size=420), length)
    z = z / z.std() * relief + rng.normal(0.0, rough, z.size)
    if seed % 3 == 0:
        z[rng.integers(0, z.size, 5)] += rng.choice([-1.0, 1.0], 5) * relief  # lone spikes and pits
    rules = topo._rules(TopographySettings(), 33.0)._replace(window=window)
    at = int(site * (z.size - 1))
    np.testing.assert_array_equal(found(z, at, rules, True), found(z, at, rules, False))


BROKEN = {
    # name: cell m, scale m, sd ft, noise sd ft, half width of the raster in ft, holes
    "steep, half steps": (10.0, 60.0, 110.0, 0.0, 14_600, False),
    "steep and rough": (10.0, 100.0, 98.0, 6.0, 14_600, False),
    "rough, raster ends beside the profile": (10.0, 80.0, 70.0, 2.0, 10_900, False),
    "holes in the ground": (10.0, 80.0, 70.0, 2.0, 14_600, True),
    "cells of 7 m: a fine step that isn't half": (7.0, 60.0, 60.0, 1.0, 14_600, False),
    "cells of 4 m: no fine step": (4.0, 60.0, 60.0, 1.0, 6_000, False),
    "cells of 30 m": (30.0, 150.0, 150.0, 1.0, 14_600, False),
}


@pytest.mark.parametrize("name", BROKEN)
def test_fast_reading_equals_plain_reading_on_broken_ground(name):
    """Every kept feature of some lots in 16 directions, to 1e-9; known runs exactly."""
    from scipy import ndimage

    cell_m, scale_m, sd_ft, noise_ft, half_ft, holes = BROKEN[name]
    rng = np.random.default_rng(sum(map(ord, name)))
    count = int(2 * half_ft * FT / cell_m)
    values = ndimage.gaussian_filter(rng.normal(size=(count, count)), scale_m / cell_m, mode="wrap")
    values = values / values.std() * sd_ft + rng.normal(0.0, max(noise_ft, 1e-9), values.shape)
    valid = np.ones(values.shape, dtype=bool)
    if holes:
        for r, c in rng.integers(0, count - 9, (12, 2)):
            valid[r : r + 8, c : c + 8] = False
    left = -count * cell_m / 2.0
    window = RasterWindow(values, valid, Affine(cell_m, 0, left, 0, -cell_m, -left), LOCAL, "broken")
    words = TopographySettings()
    if half_ft < 10_000:
        words = replace(words, search_upwind_ft=4000.0, search_downwind_ft=2500.0, beyond_ft=500.0)
    xy = rng.uniform(-300.0, 300.0, (3, 2))
    result = topography(window, xy, LOCAL, words)
    ground, f = result._ground, result.features
    rules, shape = topo._rules(words, result.step_ft), topo._shape()
    reach = (words.search_upwind_ft + words.beyond_ft, words.search_downwind_ft + words.beyond_ft)
    compared = 0
    for lot in range(len(xy)):
        reader = Reader(ground.grid, ground.places[lot], ground.jacobians[lot], topo.bearing_vectors(), reach)
        for k in range(16):
            rows = np.flatnonzero((f.lot == lot) & (f.direction == k))
            got = np.array([[float(getattr(f, name)[i]) for name in NAMES] for i in rows]).reshape(-1, len(NAMES))
            plain = reader.features(k, shape, rules)
            want = np.array(
                [(o.height, o.length, o.x, o.form, o.upper, o.foot, o.base, o.open_end, o.isolation) for o in plain],
                dtype=np.float64,
            ).reshape(-1, len(NAMES))
            np.testing.assert_allclose(got, want, rtol=1e-9, atol=1e-9)
            compared += len(rows)
    assert compared > 15
