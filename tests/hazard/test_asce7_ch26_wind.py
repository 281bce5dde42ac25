"""ASCE 7 Chapter 26: laws and rules. Published values: `screener.checks`, subject wind_velocity."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hazard.standards import asce7_ch26_wind as ch26

EDITIONS = ("ASCE 7-16", "ASCE 7-22")


def test_kz_below_15_ft_is_that_of_15_ft() -> None:
    """ASCE 7-16 Table 26.10-1: z below 15 ft counts as 15 ft."""
    for edition in EDITIONS:
        np.testing.assert_array_equal(ch26.kz([0, 7, 12.1, 15], "B", edition), ch26.kz([15] * 4, "B", edition))


def test_kz_floor_of_chapter_28_in_exposure_b_only() -> None:
    """ASCE 7-16 Table 26.10-1 note (from memory): Exposure B, below 30 ft, Chapter 28: 0.70. Elsewhere no floor."""
    z = np.array([10.0, 15.0, 25.0, 29.9])
    for edition in EDITIONS:
        np.testing.assert_array_equal(ch26.kz(z, "B", edition, floor=True), np.full(4, 0.70))
        assert np.all(ch26.kz(z, "B", edition) < 0.70)
        for exposure in "CD":
            np.testing.assert_array_equal(ch26.kz(z, exposure, edition, floor=True), ch26.kz(z, exposure, edition))
    assert ch26.kz(30.0, "B", "ASCE 7-16", floor=True) == pytest.approx(0.701, abs=0.0005)


@given(st.floats(0, 500), st.floats(0, 500), st.sampled_from(ch26.EXPOSURES), st.sampled_from(EDITIONS), st.booleans())
def test_kz_never_falls_with_height(low: float, high: float, exposure: str, edition: str, floor: bool) -> None:
    """The power law rises with height, and the Chapter 28 floor does not break that."""
    low, high = sorted((low, high))
    assert ch26.kz(low, exposure, edition, floor) <= ch26.kz(high, exposure, edition, floor)


@given(st.floats(0, 60), st.sampled_from(EDITIONS), st.booleans())
def test_kz_never_falls_with_a_more_open_exposure(z_ft: float, edition: str, floor: bool) -> None:
    """B, C, D in rising order at house heights."""
    assert np.all(np.diff(ch26.kz(z_ft, list("BCD"), edition, floor)) >= 0)


def test_kz_unknown_exposure_is_nan_and_strange_ones_are_refused() -> None:
    shaped = ch26.kz(np.full((2, 1), 20.0), [["B", "?", "D"], ["C", "C", "?"]], "ASCE 7-16")
    assert np.isnan(shaped).tolist() == [[False, True, False], [False, False, True]]
    with pytest.raises(ValueError, match="exposure 'A'; expected one of B, C, D"):
        ch26.kz(20, "A", "ASCE 7-16")
    with pytest.raises(ValueError, match=r"ASCE 7-16, ASCE 7-22"):
        ch26.kz(20, "B", "ASCE 7-88")
    with pytest.raises(ValueError, match="expected a height of 0 ft or more"):
        ch26.kz(-1, "B", "ASCE 7-16")


def test_ground_below_the_sea_has_denser_air() -> None:
    """ASCE 7-16 Table 26.9-1 note: the exponential goes on below sea level."""
    assert ch26.ke(-280.0) > 1.0


def test_kzt_steeper_than_one_half_uses_twice_the_height() -> None:
    """ASCE 7-16 Figure 26.8-1 note: H/Lh above 0.5 counts as 0.5 in K1, and Lh as 2H in K2 and K3."""
    steep = ch26.kzt("ridge", "C", 100, 50, [0, 120, -120], 20)
    np.testing.assert_allclose(steep, ch26.kzt("ridge", "C", 100, 200, [0, 120, -120], 20))


def test_topography_counts_by_exposure() -> None:
    """ASCE 7-16 Section 26.8.1 (from memory): H/Lh 0.2, H 15 ft in C and D, 60 ft in B."""
    for edition in EDITIONS:
        assert ch26.topography_counts(edition, list("BCD?"), 16, 32).tolist() == [False, True, True, True]
        assert ch26.topography_counts(edition, list("BCD"), 60, 300).tolist() == [True, True, True]
        assert ch26.topography_counts(edition, list("BCD"), 14.9, 30).tolist() == [False, False, False]
        assert not ch26.topography_counts(edition, "C", 100, 501)
    np.testing.assert_allclose(ch26.isolation_distance_ft("ASCE 7-16", [50, 200]), [5000, 10560])


def test_velocity_pressure_same_final_pressure_in_both_editions() -> None:
    """ASCE 7-22 Eq. 26.10-1 leaves Kd to the pressure equations: same pressure, q larger by 1/0.85."""
    q = {e: ch26.velocity_pressure_psf(0.85, 1.0, ch26.kd(e), 1.0, 120.0, e) for e in EDITIONS}
    assert q["ASCE 7-16"] == pytest.approx(0.00256 * 0.85 * 0.85 * 120**2)
    assert q["ASCE 7-22"] == pytest.approx(q["ASCE 7-16"] / 0.85)
    final = [q[e] * ch26.kd_in_pressure(e) for e in EDITIONS]
    assert final[0] == pytest.approx(final[1])


@given(st.floats(85, 210), st.floats(1, 1.5), st.floats(1, 3), st.sampled_from(EDITIONS))
def test_velocity_pressure_never_falls_with_speed_or_topography(
    v_mph: float, more: float, kzt: float, edition: str
) -> None:
    base = ch26.velocity_pressure_psf(0.7, 1.0, 0.85, 1.0, v_mph, edition)
    assert ch26.velocity_pressure_psf(0.7, 1.0, 0.85, 1.0, v_mph * more, edition) >= base
    assert ch26.velocity_pressure_psf(0.7, kzt, 0.85, 1.0, v_mph, edition) >= base


def test_inputs_are_not_changed() -> None:
    z, v = np.array([10.0, 20.0]), np.array([100.0, 120.0])
    ch26.kz(z, ["B", "C"], "ASCE 7-16", floor=True)
    ch26.velocity_pressure_psf(z, 1, 0.85, 1, v, "ASCE 7-16")
    assert z.tolist() == [10.0, 20.0]
    assert v.tolist() == [100.0, 120.0]


def test_velocity_pressure_by_hand() -> None:
    """ASCE 7-16 Eq. 26.10-1 (read): 0.00256 x 0.85 x 1.2 x 0.85 x 0.9 x 120^2 = 28.765 psf; 7-22 without Kd 33.841."""
    assert ch26.velocity_pressure_psf(0.85, 1.2, 0.85, 0.9, 120.0, "ASCE 7-16") == pytest.approx(28.765, abs=5e-4)
    assert ch26.velocity_pressure_psf(0.85, 1.2, 0.85, 0.9, 120.0, "ASCE 7-22") == pytest.approx(33.841, abs=5e-4)


def test_one_strange_exposure_among_known_ones_is_refused() -> None:
    with pytest.raises(ValueError, match="exposure 'A'"):
        ch26.kz(20, ["B", "A"], "ASCE 7-16")
    with pytest.raises(ValueError, match="expected a height"):
        ch26.kz([20, -1], "B", "ASCE 7-16")
    with pytest.raises(ValueError, match="half length Lh is zero"):
        ch26.kzt("ridge", "C", 100, [200, 0], 0, 20)
    with pytest.raises(ValueError, match="topographic feature 'dune'"):
        ch26.kzt(["ridge", "dune"], "C", 100, 200, 0, 20)


def test_an_unknown_feature_has_no_factor_and_a_small_one_has() -> None:
    """What is not known is not a number; a model hill 0.2 ft high with Lh 1 ft has the slope of a large one."""
    assert np.isnan(ch26.kzt("?", "C", 100, 400, 0, 20))
    assert ch26.k1("ridge", "C", 0.2, 1.0) == pytest.approx(float(ch26.k1("ridge", "C", 80.0, 400.0)))
