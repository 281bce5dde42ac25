"""Free roofs over open buildings, ASCE 7 Chapter 27. All coefficients are from memory, so only laws and hand sums are
tested here, not published values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.standards import asce7_ch27_open_roofs as ch27

shapes = st.sampled_from(["monoslope", "pitched"])
angles = st.floats(0.0, 45.0)


def test_cells_and_interpolation() -> None:
    """ASCE 7-16 Figures 27.3-4, 27.3-5, 27.3-7 (from memory)."""
    assert ch27.net_cn("monoslope", 0.0, 0, "clear", "A", "windward") == 1.2
    assert ch27.net_cn("monoslope", 15.0, 0, "obstructed", "B", "windward") == -2.1
    assert ch27.net_cn("pitched", 22.5, 0, "obstructed", "B", "leeward") == -1.7
    assert ch27.net_cn("pitched", 11.25, 0, "clear", "A", "leeward") == pytest.approx(-0.35)
    assert ch27.net_cn("pitched", 30.0, 90, "obstructed", "A", "to h") == -1.2


def test_worst_of_a_gentle_porch_roof() -> None:
    """Hand reading (from memory): level roof -1.2 up and +1.2 down; clear flow alone -1.1 up."""
    assert ch27.net_uplift_cn(5.0, "monoslope") == (-1.2, 1.2)
    assert ch27.net_uplift_cn(5.0, "monoslope", "clear") == (-1.1, 1.2)
    assert ch27.net_uplift_cn(5.0, "pitched") == ch27.net_uplift_cn(5.0, "monoslope")


def test_mean_of_the_halves() -> None:
    """Hand sum (from memory): level roof, along the ridge -1.2; across, case A obstructed (-0.5 - 1.2) / 2 = -0.85."""
    assert ch27.whole_roof_cn(0.0, "monoslope") == pytest.approx((-1.2, 0.8))
    across = [ch27.net_cn("monoslope", 0.0, 0, "obstructed", "A", half) for half in ("windward", "leeward")]
    assert sum(across) / 2.0 == pytest.approx(-0.85)


def test_pressure_by_hand() -> None:
    """Hand calculation, Eq. 27.3-2: q 20 psf, G 0.85, CN -1.2: -20.4 psf in 7-16; the same from 7-22's q without Kd."""
    assert ch27.open_roof_pressure_psf(20.0, -1.2, "ASCE 7-16") == pytest.approx(-20.4)
    assert ch27.open_roof_pressure_psf(20.0 / 0.85, -1.2, "ASCE 7-22") == pytest.approx(-20.4)
    assert ch27.gust_effect_factor("ASCE 7-22") == 0.85


@given(angles, shapes, st.sampled_from(["clear", "obstructed", "worst"]))
def test_both_directions_and_the_whole_within_the_halves(angle: float, shape: str, flow: str) -> None:
    """Laws: some wind lifts and some presses; the mean of two halves is never beyond the worse half."""
    up, down = ch27.net_uplift_cn(angle, shape, flow)
    mean_up, mean_down = ch27.whole_roof_cn(angle, shape, flow)
    assert up < 0.0 < down
    assert up <= mean_up <= mean_down <= down


@given(angles, shapes)
def test_worst_flow_is_the_worse_of_the_two(angle: float, shape: str) -> None:
    clear, blocked = (ch27.net_uplift_cn(angle, shape, flow) for flow in ("clear", "obstructed"))
    assert ch27.net_uplift_cn(angle, shape) == (min(clear[0], blocked[0]), max(clear[1], blocked[1]))


def test_errors() -> None:
    with pytest.raises(ValueError, match="'monoslope' or 'pitched'"):
        ch27.net_uplift_cn(10.0, "dome")
    with pytest.raises(ValueError, match="0 to 45"):
        ch27.net_uplift_cn(46.0, "pitched")
    with pytest.raises(ValueError, match="flow"):
        ch27.net_uplift_cn(10.0, "pitched", "half")
    with pytest.raises(ValueError, match="no open roof coefficient"):
        ch27.net_cn("pitched", 20.0, 45, "clear", "A", "windward")


def test_where_the_level_roof_ends_and_the_figures_stop() -> None:
    """ASCE 7-16 Figures 27.3-4 and 27.3-5 (from memory): columns 0 to below 7.5, 7.5, and to 45 degrees."""
    assert ch27.net_cn("monoslope", 7.5, 0, "clear", "A", "windward") == -0.6
    assert ch27.net_cn("monoslope", 7.4, 0, "clear", "A", "windward") == 1.2
    assert ch27.net_cn("pitched", 7.5, 0, "clear", "A", "windward") != 1.2
    steepest = [ch27.net_cn("pitched", angle, 0, "clear", "A", "windward") for angle in (45.0, 44.999999)]
    assert steepest[0] == pytest.approx(steepest[1], abs=1e-5)
    with pytest.raises(ValueError, match="0 to 45"):
        ch27.net_cn("pitched", -0.1, 0, "clear", "A", "windward")


def test_a_pitched_roof_is_the_same_from_both_sides_and_a_monoslope_is_not() -> None:
    """ASCE 7-16 Figure 27.3-5 has one table for both sides; Figure 27.3-4 has 0 and 180 degrees (from memory)."""
    for part in ("windward", "leeward"):
        both = [ch27.net_cn("pitched", 20.0, wind, "clear", "A", part) for wind in (0, 180)]
        assert both[0] == both[1]
    assert ch27.net_cn("monoslope", 7.5, 180, "clear", "A", "windward") == 0.9
