"""ASCE 7 Chapter 28: laws and rules. Published values: `screener.checks`, subject wind_envelope."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.standards import asce7_ch28_envelope as ch28

EDITIONS = ["ASCE 7-16", "ASCE 7-22"]
ZONES = ["1", "2", "3", "4", "1E", "2E", "3E", "4E"]


def test_held_below_the_first_angle_and_arrays_keep_their_shape() -> None:
    """ASCE 7-16 Figure 28.3-1: 0 to 5 degrees is one column. The end zone is 2a wide."""
    assert ch28.gcpf("A", "2E", [0.0, 5.0]).tolist() == [-1.07, -1.07]
    assert (
        ch28.end_zone_width_ft([40.0, 60.0], 12.24).tolist() == (2.0 * ch28.end_zone_a_ft([40.0, 60.0], 12.24)).tolist()
    )
    assert ch28.zone2_extent_ft([40.0, 60.0], 9.0).tolist() == [20.0, 22.5]


def test_kd_moves_between_editions_and_the_pressure_stays() -> None:
    """ASCE 7-16 Eq. 26.10-1 and 28.3-1 against 7-22 (read): q printed by 7-22 is 1 / 0.85 larger, p is the same."""
    q16 = 0.00256 * 0.70 * 0.85 * 115.0**2
    p16 = ch28.envelope_pressure_psf(q16, -1.07, 0.18, "ASCE 7-16")
    p22 = ch28.envelope_pressure_psf(q16 / 0.85, -1.07, 0.18, "ASCE 7-22")
    assert p16 == pytest.approx(-q16 * 1.25)
    assert p22 == pytest.approx(p16)


@pytest.mark.parametrize("edition", EDITIONS)
def test_single_values(edition: str) -> None:
    """ASCE 7-16 and 7-22, Sec. 28.3.3 and 28.3.4 (from memory)."""
    assert ch28.windward_overhang_soffit_gcp(edition) == 0.70
    assert (ch28.minimum_wall_psf(edition), ch28.minimum_roof_psf(edition)) == (16.0, 8.0)


def test_torsion_exemption() -> None:
    """ASCE 7-16 Figure 28.3-1, exception (from memory): most tract houses are exempt, three storeys are not."""
    assert ch28.torsion_exempt(1, 30.0, False, False)
    assert not ch28.torsion_exempt(1, 31.0, False, False)
    assert ch28.torsion_exempt([1, 2, 3], 33.0, True, True).tolist() == [True, True, False]


def test_outside_the_figure_is_an_error() -> None:
    with pytest.raises(ValueError, match="roof angle outside"):
        ch28.gcpf("A", "1", [20.0, 91.0])
    with pytest.raises(ValueError, match="not a zone"):
        ch28.gcpf("A", "5", 20.0)
    with pytest.raises(ValueError, match="ASCE 7-05"):
        ch28.gcpi("enclosed", "ASCE 7-05")
    with pytest.raises(ValueError, match="ASCE 7-16"):
        ch28.kd_in_pressure("ASCE 7-05")


def test_missing_angle_stays_missing_and_input_is_left_alone() -> None:
    angles = np.array([np.nan, 20.0])
    kept = angles.copy()
    result = ch28.gcpf("A", "1", angles)
    assert np.isnan(result[0])
    assert result[1] == 0.53
    np.testing.assert_array_equal(angles, kept)


@given(st.floats(0.0, 90.0), st.sampled_from(ZONES), st.sampled_from(["A", "B"]))
def test_end_zone_is_never_milder_than_its_interior_zone(angle: float, zone: str, case: str) -> None:
    """Law: the end zone has the larger magnitude of the same sign wherever the interior zone is away from zero."""
    interior = float(ch28.gcpf(case, zone[0], angle))
    end = float(ch28.gcpf(case, zone[0] + "E", angle))
    # between 20 and 30 degrees zones 2 and 2E cross zero at slightly different angles
    assert abs(end) >= abs(interior) - 1e-9 or (zone[0] == "2" and 20.0 < angle < 30.0)


@given(st.floats(0.0, 44.0), st.floats(0.01, 1.0), st.sampled_from(ZONES))
def test_figure_has_no_jumps(angle: float, step: float, zone: str) -> None:
    """Law: steepest line of the figure is zone 2E from 20 to 30 degrees, 0.134 a degree."""
    change = abs(float(ch28.gcpf("A", zone, angle + step)) - float(ch28.gcpf("A", zone, angle)))
    assert change <= 0.1341 * step + 1e-9


def test_torsion_exemption_storey_by_storey() -> None:
    """ASCE 7-16 Figure 28.3-1, exception (from memory): one storey to 30 ft; two of light frame, or with flexible
    diaphragms; nothing beyond."""
    plain = [bool(ch28.torsion_exempt(n, 25.0, False, False)) for n in (1, 2)]
    light = [bool(ch28.torsion_exempt(n, 33.0, True, False)) for n in (1, 2, 3)]
    flexible = [bool(ch28.torsion_exempt(n, 33.0, False, True)) for n in (1, 2, 3)]
    assert plain == [True, False]
    assert light == flexible == [True, True, False]
