"""ASCE 7 Chapter 12: laws and rules. Published values: `screener.checks`, subject seismic_forces."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.standards import asce7_ch12_seismic as ch12

TL_S = 8.0


def test_two_units_we6_wrong_site_coefficient() -> None:
    """City archive, two units (read), wrong: Fv 1.5 of class C used in class D. It must not be reproduced.

    With Fv 1.842 SD1 is 0.562, not 0.458; the upper bound grows by that ratio, while Cs of a house does not change.
    """
    t = ch12.approximate_period_s(19.0)
    archived = ch12.cs_upper_bound(0.458, 6.5, 1.0, t, 8.0)
    right = ch12.cs_upper_bound(2.0 / 3.0 * 1.842 * 0.458, 6.5, 1.0, t, 8.0)
    assert right / archived == pytest.approx(1.842 / 1.5, rel=1e-3)
    pair = ch12.seismic_response_coefficient(1.022, [0.458, 0.562], 0.458, 6.5, 1.0, t, 8.0)
    assert pair[0] == pair[1]


def test_unknown_system_lists_the_known() -> None:
    with pytest.raises(ValueError, match="bearing wall wood panels"):
        ch12.system_factors("moment frame")
    with pytest.raises(ValueError, match="storeys"):
        ch12.simplified_storey_factor(4)


def test_residence_we3_long_period_bound() -> None:
    """City archive, residence (read): Eq. 12.8-4 printed as 9.09 for SD1 0.49, TL 6; the page works with rounded T."""
    t = ch12.approximate_period_s(25.0)
    assert 0.49 * 6.0 / (t**2 * 6.5) == pytest.approx(9.09, abs=0.05)


def test_snow_share_by_lot() -> None:
    """ASCE 7-16 and 7-22 Sec. 12.7.2 (read): nothing at the threshold, the share beyond; missing stays missing."""
    assert ch12.snow_share_psf([30.0, 45.0], "ASCE 7-16").tolist() == [0.0, 9.0]
    assert ch12.snow_share_psf([30.0, 45.0], "ASCE 7-22").tolist() == [0.0, 0.0]
    assert np.isnan(ch12.snow_share_psf(np.nan, "ASCE 7-22"))


def test_redundancy_and_vertical_effect() -> None:
    """ASCE 7-16 Sec. 12.3.4 and Eq. 12.4-4a: 1.0 to category C, as declared above; 0.2 SDS D."""
    rho = ch12.redundancy_factor(["A", "B", "C", "D", "E", ""], 1.3)
    assert rho.tolist()[:5] == [1.0, 1.0, 1.0, 1.3, 1.3]
    assert np.isnan(rho[5])
    assert ch12.vertical_effect(1.0, 100.0) == 20.0


motions = st.floats(0.01, 3.0)


@given(motions, motions, motions, st.sampled_from([2.0, 2.5, 6.5, 7.0]), st.floats(0.08, 0.5), st.floats(1.0, 3.0))
def test_stronger_ground_never_lowers_cs(sds: float, sd1: float, s1: float, r: float, t: float, times: float) -> None:
    """Law: Cs grows with SDS, SD1 and S1 and never lies below its lower bounds."""
    base = ch12.seismic_response_coefficient(sds, sd1, s1, r, 1.0, t, TL_S)
    for changed in ((sds * times, sd1, s1), (sds, sd1 * times, s1), (sds, sd1, s1 * times)):
        assert ch12.seismic_response_coefficient(*changed, r, 1.0, t, TL_S) >= base - 1e-12
    assert base >= max(float(ch12.cs_lower_bound(sds, 1.0)), 0.01) - 1e-12


levels = st.lists(st.tuples(st.floats(1.0, 100.0), st.floats(1.0, 15.0)), min_size=1, max_size=4)


@given(levels, st.floats(0.1, 100.0), st.floats(0.05, 3.0), motions)
def test_nothing_vanishes_on_the_way_down(storeys: list[tuple[float, float]], v: float, t: float, sds: float) -> None:
    """Laws: shares sum to 1, the lowest storey shear is V, shears grow downward, Fpx stays within its bounds."""
    w = np.array([weight for weight, _ in storeys])
    h = np.cumsum([height for _, height in storeys])
    assert ch12.cvx(w, h, t).sum() == pytest.approx(1.0)
    forces = ch12.storey_forces(v, w, h, t)
    shears = ch12.storey_shears(forces)
    assert shears[0] == pytest.approx(v)
    assert np.all(np.diff(shears) <= 1e-12)
    fpx = ch12.diaphragm_force(forces, w, sds, 1.0)
    assert np.all(fpx >= 0.2 * sds * w - 1e-9)
    assert np.all(fpx <= 0.4 * sds * w + 1e-9)


def test_lots_together_equal_lots_alone() -> None:
    """Arrays over lots give what single lots give; inputs stay as they were; missing stays missing."""
    sds = np.array([0.3, 1.1, np.nan])
    weights = np.array([[35.0, 32.0], [40.0, 33.0], [35.0, 32.0]])
    kept = (sds.copy(), weights.copy())
    heights = [10.0, 19.0]
    cs = ch12.seismic_response_coefficient(sds, 0.5, 0.4, 6.5, 1.0, 0.2, TL_S)
    v = ch12.base_shear(cs, weights.sum(axis=-1))
    forces = ch12.storey_forces(v, weights, heights, 0.2)
    fpx = ch12.diaphragm_force(forces, weights, sds, 1.0)
    for i in range(2):
        one = ch12.seismic_response_coefficient(kept[0][i], 0.5, 0.4, 6.5, 1.0, 0.2, TL_S)
        f = ch12.storey_forces(one * kept[1][i].sum(), kept[1][i], heights, 0.2)
        np.testing.assert_allclose(forces[i], f)
        np.testing.assert_allclose(fpx[i], ch12.diaphragm_force(f, kept[1][i], kept[0][i], 1.0))
    assert np.isnan(forces[2]).all()
    assert np.isnan(fpx[2]).all()
    np.testing.assert_array_equal(sds, kept[0])
    np.testing.assert_array_equal(weights, kept[1])


def test_importance_by_hand() -> None:
    """Hand calculation with Ie 1.5 (an essential building, beyond what houses need): ASCE 7-16 Eq. 12.8-2 to -6, 12.11.

    SDS 1.0, SD1 0.6, S1 0.75, R 6.5, T 0.5 s: 1.5/6.5 = 0.23077, 0.6 x 1.5/(0.5 x 6.5) = 0.27692, 0.044 x 1.5 = 0.066,
    0.5 x 0.75 x 1.5/6.5 = 0.08654. Walls of 15 psf: 0.4 x 1.5 x 15 = 9.0; anchorage with ka 1.4: 12.6 psf.
    """
    assert ch12.cs_short_period(1.0, 6.5, 1.5) == pytest.approx(0.23077, abs=5e-6)
    assert ch12.cs_upper_bound(0.6, 6.5, 1.5, 0.5, TL_S) == pytest.approx(0.27692, abs=5e-6)
    assert ch12.cs_lower_bound(1.0, 1.5) == pytest.approx(0.066)
    assert ch12.cs_near_fault_bound(0.75, 6.5, 1.5) == pytest.approx(0.08654, abs=5e-6)
    assert ch12.wall_out_of_plane_psf(1.0, 15.0, 1.5) == pytest.approx(9.0)
    assert ch12.wall_anchorage_psf(1.0, 15.0, 1.4, 1.5) == pytest.approx(12.6)
    # Fpx of one level of 10 kip, F 1 kip: least 0.2 x 1.0 x 1.5 x 10 = 3 kip
    assert ch12.diaphragm_force([1.0], [10.0], 1.0, 1.5).tolist() == pytest.approx([3.0])
    assert ch12.vertical_effect(0.5, 100.0) == pytest.approx(10.0)


def test_each_bound_of_cs_governs_by_hand() -> None:
    """Hand calculation, ASCE 7-16 Sec. 12.8.1.1: Eq. 12.8-3, that times 1.5 (11.4.8), 12.8-5, 12.8-6, 12.8-2."""
    cs = ch12.seismic_response_coefficient
    assert cs(1.0, 0.1, 0.1, 2.0, 1.0, 0.5, TL_S) == pytest.approx(0.1)
    assert cs(1.0, 0.1, 0.1, 2.0, 1.0, 0.5, TL_S, 1.5) == pytest.approx(0.15)
    assert cs(1.0, 0.01, 0.1, 6.5, 1.0, 0.5, TL_S) == pytest.approx(0.044)
    assert cs(0.4, 0.6, 0.9, 6.5, 1.0, 0.3, TL_S) == pytest.approx(0.5 * 0.9 / 6.5)
    assert cs(1.0, 0.6, 0.1, 6.5, 1.5, 0.2, TL_S) == pytest.approx(1.5 / 6.5)
    # importance acts on every bound: 0.1 x 1.5/(0.5 x 2) and 0.044 x 1.5
    assert cs(1.0, 0.1, 0.1, 2.0, 1.5, 0.5, TL_S) == pytest.approx(0.15)
    assert cs(1.0, 0.01, 0.1, 6.5, 1.5, 0.5, TL_S) == pytest.approx(0.066)


def test_cap_of_sds_by_hand() -> None:
    """ASCE 7-16 Sec. 12.8.1.3 (read in an archived check): 1.0 above 1.0, but not less than 0.7 SDS: 1.4 of 2.0."""
    assert ch12.capped_sds([0.8, 1.2, 2.0], True).tolist() == pytest.approx([0.8, 1.0, 1.4])
    assert ch12.capped_sds([0.8, 1.2, 2.0], [True, False, False]).tolist() == [0.8, 1.2, 2.0]


def test_slow_building_by_hand() -> None:
    """ASCE 7-16 Eq. 12.8-12 with k 2 (T 2.5 s): weights 10 and 20, heights 10 and 20: 1000 and 8000 of 9000."""
    assert ch12.cvx([10.0, 20.0], [10.0, 20.0], 2.5).tolist() == pytest.approx([1 / 9, 8 / 9])
    # weights 10 and 20, heights 10 and 30: 1000 and 18000 of 19000
    assert ch12.storey_forces(19.0, [10.0, 20.0], [10.0, 30.0], 2.5).tolist() == pytest.approx([1.0, 18.0])
    assert ch12.storey_forces(6.0, [10.0, 20.0], [5.0, 20.0], 0.3).tolist() == pytest.approx([2 / 3, 16 / 3])


def test_system_names_and_least_overstrength() -> None:
    """ASCE 7-16 Table 12.2-1 (item A.15 read) and its note (from memory): never under 2.0."""
    panels = ch12.system_factors("bearing wall wood panels")
    assert (panels.system, panels.item) == ("bearing wall wood panels", "A.15")
    assert ch12.overstrength("bearing wall other panels", True) == 2.0
