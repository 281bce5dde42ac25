"""Directional procedure of ASCE 7 Chapter 27: hand numbers and laws. The figure and the Part 2 table: tests/checks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hazard.standards.asce7_ch26_wind import kd_in_pressure, velocity_pressure_psf
from screener.standards import asce7_ch27_directional as ch27

EDITIONS = ["ASCE 7-16", "ASCE 7-22"]
ANGLES = st.floats(10.0, 90.0)
RATIOS = st.floats(0.05, 2.0)


def test_hand_interpolation() -> None:
    """By hand on the figure at h/L 0.375, 22.5 degrees: suction half way between -0.25 and -0.35, and so on."""
    assert ch27.roof_cp("windward suction", 22.5, 0.375) == pytest.approx(-0.30)
    assert ch27.roof_cp("windward pressure", 22.5, 0.375) == pytest.approx((0.25 + 0.10) / 2)
    assert ch27.roof_cp("leeward", 12.5, 0.375) == pytest.approx((-0.40 - 0.50) / 2)
    assert ch27.leeward_wall_cp([0.4, 1.5, 3.0, 9.0]).tolist() == pytest.approx([-0.5, -0.4, -0.25, -0.2])
    # a published answer on the figure of 7-02 (an engineers' forum thread, read): h/L 0.75 gives -1.1, -0.8 and -0.6 in
    # the first three strips; its -0.4 for the fourth is not half way between -0.3 and -0.7
    assert ch27.strip_cp("suction", [0.0, 0.5, 1.0, 2.0], 0.75).tolist() == pytest.approx([-1.1, -0.8, -0.6, -0.5])


def test_signs_are_not_mixed() -> None:
    """The figure's note: between a push and a suction the missing sign counts as 0, so a push is never talked away."""
    # h/L 0.375 at 17.5 degrees: pushes 0.1 (at 0.25) and none (at 0.5) on one side, -0.09 on the other
    assert ch27.roof_cp("windward pressure", 17.5, 0.375) == pytest.approx(0.05)
    # 12.5 degrees, h/L 0.25: no push at all, the small suction remains
    assert ch27.roof_cp("windward pressure", 12.5, 0.25) == pytest.approx(-0.09)


def test_steep_roofs_take_a_hundredth_of_their_angle() -> None:
    for ratio in (0.1, 0.5, 1.5):
        assert ch27.roof_cp("windward pressure", [60.0, 70.0, 85.0], ratio).tolist() == pytest.approx([0.6, 0.7, 0.8])


def test_area_lowers_only_the_greatest_suction() -> None:
    assert ch27.roof_cp("windward suction", 10.0, 1.0, 250.0) == pytest.approx(-1.17)
    assert ch27.roof_cp("windward suction", 12.5, 1.0, 1000.0) == pytest.approx((-1.04 - 1.0) / 2)
    assert ch27.roof_cp("windward suction", 15.0, 1.0, 1000.0) == pytest.approx(-1.0)
    assert ch27.strip_cp("suction", [0.0, 0.5], 1.0, 1000.0).tolist() == pytest.approx([-1.04, -0.7])
    assert ch27.strip_cp("suction", 0.0, 0.5, 1000.0) == pytest.approx(-0.9)


@given(ANGLES, RATIOS)
def test_suction_is_never_above_pressure(angle: float, ratio: float) -> None:
    suction, pressure = (ch27.roof_cp(f"windward {case}", angle, ratio) for case in ("suction", "pressure"))
    assert -1.3 <= suction <= pressure + 1e-12
    assert pressure <= 0.8
    assert -0.7 <= ch27.roof_cp("leeward", angle, ratio) <= -0.3


@given(ANGLES, st.floats(0.05, 1.9), st.floats(0.0, 0.1))
def test_a_taller_house_has_no_less_suction(angle: float, ratio: float, more: float) -> None:
    """Windward suction and push move one way with h/L at every angle of the figure; so must what lies between."""
    for case in ("windward suction", "windward pressure"):
        assert ch27.roof_cp(case, angle, ratio + more) <= ch27.roof_cp(case, angle, ratio) + 1e-12


@given(st.floats(0.0, 5.0), st.floats(0.0, 2.0), RATIOS)
def test_suction_falls_with_distance_from_the_windward_edge(away: float, more: float, ratio: float) -> None:
    assert ch27.strip_cp("suction", away + more, ratio) >= ch27.strip_cp("suction", away, ratio)


@pytest.mark.parametrize("edition", EDITIONS)
def test_pressure_of_both_editions(edition: str) -> None:
    """7-22 prints q without Kd and multiplies every pressure by it: one answer."""
    q = velocity_pressure_psf(0.85, 1.0, 0.85, 1.0, 115.0, edition)
    found = ch27.directional_pressure_psf(q, -0.9, q, 0.18, edition)
    assert found == pytest.approx(-0.00256 * 0.85 * 0.85 * 115**2 * (0.85 * 0.9 + 0.18))
    assert kd_in_pressure(edition) in (1.0, 0.85)
    assert (ch27.minimum_wall_psf(edition), ch27.minimum_roof_psf(edition)) == (16.0, 8.0)
    assert ch27.both_axes_share(edition) == 0.75
    assert ch27.overhang_soffit_cp() * ch27.gust_effect_factor(edition) == pytest.approx(0.68)


def test_torsion_exemption() -> None:
    """ASCE 7-10 Appendix D, D1.1 (read in a public copy)."""
    found = ch27.torsion_exempt([1, 1, 2, 2, 2, 3], [30, 31, 25, 25, 25, 28], [0, 0, 1, 0, 0, 1], [0, 0, 0, 1, 0, 1])
    assert found.tolist() == [True, False, True, True, False, False]


def test_what_the_figure_does_not_hold_is_refused() -> None:
    with pytest.raises(ValueError, match="10 to 90 degrees"):
        ch27.roof_cp("leeward", 9.0, 0.5)
    with pytest.raises(ValueError, match="expected one of"):
        ch27.roof_cp("windward", 20.0, 0.5)
    with pytest.raises(ValueError, match="'suction' or 'pressure'"):
        ch27.strip_cp("push", 0.0, 0.5)
    assert np.shape(ch27.roof_cp("leeward", np.full((2, 3), 20.0), 0.5)) == (2, 3)
