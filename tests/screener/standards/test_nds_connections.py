"""NDS 2018 connections: rules and laws. Published values: `screener.checks`, subject wood_connections."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.standards import nds_connections as nds


def test_species_by_the_names_that_plans_use():
    assert nds.species("DF-L (N)").name == "DF-L(N)"
    with pytest.raises(LookupError, match="expected one of SP, DFL"):
        nds.species("teak")


def test_head_pull_through_has_two_ranges():
    # NDS 2018 12.2.5 (from memory): 690 pi DH G^2 t up to 2.5 DH, then 1725 pi DH^2 G^2; the two meet.
    dh, g = 0.281, 0.5
    assert float(nds.head_pull_through_lb(dh, g, 0.46875)) == pytest.approx(690 * np.pi * dh * 0.25 * 0.46875)
    assert float(nds.head_pull_through_lb(dh, g, 1.5)) == pytest.approx(1725 * np.pi * dh**2 * 0.25)
    assert float(nds.head_pull_through_lb(dh, g, 2.5 * dh)) == pytest.approx(1725 * np.pi * dh**2 * 0.25)


def test_group_action_by_hand():
    # Eq. 11.3-1 written out for equal members (REA = 1): 5 bolts 3/4 in. at 4 in., E 1.4e6 psi, 5.25 sq in. each.
    em = 1.4e6 * 5.25
    slip = 180000 * 0.75**1.5
    u = 1 + slip * 4 / 2 * (2 / em)
    m = u - (u * u - 1) ** 0.5
    hand = m * (1 - m**10) / (5 * ((1 + m**5) * (1 + m) - 1 + m**10)) * 2 / (1 - m)
    assert float(nds.group_action_factor(5, 4, 0.75, em, em)) == pytest.approx(hand, rel=1e-12)
    assert float(nds.group_action_factor(8, 3, 0.162, em, em)) == 1.0
    assert float(nds.group_action_factor(1, 4, 0.75, em, em)) == 1.0
    factors = nds.group_action_factor(np.arange(2, 10), 4, 0.75, em, em)
    assert np.all(np.diff(factors) < 0)
    assert np.all((factors > 0) & (factors <= 1))


# --- laws ---------------------------------------------------------------------------------------------------

NAILS = st.sampled_from([n for n in nds.fastener_names() if nds.fastener(n).kind == "nail"])
GRAVITY = st.floats(0.35, 0.60)


@given(NAILS, GRAVITY, GRAVITY, st.floats(0.3, 2.5), st.floats(0.5, 4.0))
def test_capacity_grows_with_gravity_and_penetration(name, g1, g2, side, p):
    nail = nds.fastener(name)
    low, high = sorted((g1, g2))

    def z(g, penetration):
        fe = float(nds.dowel_bearing_psi(g, nail.diameter_in, rounded=False))
        modes = nds.yield_modes_lb(
            nail.diameter_in,
            10 * nail.diameter_in,
            side,
            fe,
            fe,
            nail.bending_yield_psi,
            nds.reduction_terms(nail.diameter_in),
        )
        return float(nds.single_shear_lb(modes) * nds.penetration_factor(penetration, nail.diameter_in))

    assert z(low, 3) <= z(high, 3) * (1 + 1e-12)
    assert nds.withdrawal_lb_per_in("nail", low, 0.131) <= nds.withdrawal_lb_per_in("nail", high, 0.131)
    if p >= 6 * nail.diameter_in:
        assert z(low, p) <= z(low, p + 0.5) * (1 + 1e-12)
    elif p < 6 * nail.diameter_in * 0.999:
        assert np.isnan(z(low, p))


@given(GRAVITY, st.floats(0.1, 1.0), st.floats(0.5, 4), st.floats(0.3, 3), st.floats(0, 90))
def test_least_mode_governs_and_members_may_swap(g, d, lm, ls, angle):
    fe_m, fe_s = float(nds.dowel_bearing_psi(g, d, angle)), float(nds.dowel_bearing_psi(0.5, d))
    terms = nds.reduction_terms(d, None, angle)
    modes = nds.yield_modes_lb(d, lm, ls, fe_m, fe_s, 60e3, terms)
    z = float(nds.single_shear_lb(modes))
    assert z == modes.min()
    assert z > 0
    swapped = nds.yield_modes_lb(d, ls, lm, fe_s, fe_m, 60e3, terms)
    assert float(nds.single_shear_lb(swapped)) == pytest.approx(z, rel=1e-9)


@given(st.floats(20, 500), st.floats(20, 500), st.floats(0, 400), st.floats(0, 400))
def test_sum_of_ratios_covers_the_screw_interaction(z, w, v, t):
    exact = float(nds.screw_combined_ratio(v, t, z, w))
    assert exact <= (v / z + t / w) * (1 + 1e-12)
    if v > 0 or t > 0:
        load, angle = float(np.hypot(v, t)), float(np.degrees(np.arctan2(t, v)))
        assert exact == pytest.approx(load / float(nds.screw_combined_lb(z, w, angle)), rel=1e-9)


@given(st.floats(1000, 8000), st.floats(500, 8000), st.floats(0, 90))
def test_hankinson_lies_between_its_ends(par, perp, angle):
    value = float(nds.hankinson(par, perp, angle))
    assert min(par, perp) * (1 - 1e-12) <= value <= max(par, perp) * (1 + 1e-12)


def test_arrays_in_arrays_out():
    sizes = np.array([0.113, 0.131, 0.5])
    assert nds.dowel_bearing_psi(0.5, sizes).shape == (3,)
    assert nds.yield_modes_lb(sizes, 2.0, 1.5, 4650, 4650, 9e4, nds.reduction_terms(sizes)).shape == (3, 6)
    assert sizes.tolist() == [0.113, 0.131, 0.5]


def test_bearing_along_the_grain_is_what_is_meant_without_an_angle():
    """NDS 2018 Table 12.3.3 (derived): DF-L, 1/2 in. dowel: 5,600 psi along, 3,150 across; below 1/4 in. 4,650."""
    assert float(nds.dowel_bearing_psi(0.50, 0.5)) == 5600.0
    assert float(nds.dowel_bearing_psi(0.50, 0.5, 90.0)) == pytest.approx(3150.0)
    assert float(nds.dowel_bearing_psi(0.50, 0.249)) == float(nds.dowel_bearing_psi(0.50, 0.131, 90.0)) == 4650.0
    assert float(nds.dowel_bearing_psi(0.50, 0.25)) == 5600.0


def test_bending_yield_of_nails_by_diameter():
    """NDS 2018 Table I1 (from memory): 100, 90, 80, 70 ksi to 0.142, 0.177, 0.236, 0.273 in.; nothing beyond."""
    at_the_bound = nds.nail_bending_yield_psi([0.099, 0.142, 0.177, 0.236, 0.273])
    assert at_the_bound.tolist() == [100e3, 100e3, 90e3, 80e3, 70e3]
    assert nds.nail_bending_yield_psi([0.1421, 0.1771, 0.2361]).tolist() == [90e3, 80e3, 70e3]
    assert np.isnan(nds.nail_bending_yield_psi(0.2731))


def test_reduction_terms_by_hand():
    """NDS 2018 Table 12.3.1B (from memory): 4, 3.6, 3.2 times 1 + 0.25 angle/90 from 1/4 in. on; KD below: 2.2 to 0.17
    in., 10 D + 0.5 beyond; a 1/4 in. screw with a thinner root takes KD times the angle term."""
    for d in (0.25, 0.5):
        assert [float(r) for r in nds.reduction_terms(d)] == pytest.approx([4.0, 3.6, 3.2])
        assert [float(r) for r in nds.reduction_terms(d, None, 90.0)] == pytest.approx([5.0, 4.5, 4.0])
    assert [float(r) for r in nds.reduction_terms(0.17, None, 90.0)] == pytest.approx([2.2] * 3)
    assert [float(r) for r in nds.reduction_terms(0.2, None, 90.0)] == pytest.approx([2.5] * 3)
    assert [float(r) for r in nds.reduction_terms(0.2, 0.25, 90.0)] == pytest.approx([3.125] * 3)
    assert [float(r) for r in nds.reduction_terms(0.2, 0.249, 90.0)] == pytest.approx([2.5] * 3)


def general_dowel_loads(d, lm, ls, fem, fes, fyb):
    """Yield loads by equilibrium: the general dowel equations (the standard's Technical Report 12, from memory).

    P = (sqrt(B^2 - 4AC) - B) / 2A with bearing q = Fe D per length and plastic moment Fyb D^3/6; no gap. Written in
    another form than NDS Table 12.3.1A, so neither is a copy of the other.
    """
    qm, qs, m = fem * d, fes * d, fyb * d**3 / 6.0

    def solve(a, b, c):
        return (np.sqrt(b * b - 4.0 * a * c) - b) / (2.0 * a)

    return [
        qm * lm,
        qs * ls,
        solve(0.25 / qs + 0.25 / qm, (ls + lm) / 2.0, -(qs * ls**2 + qm * lm**2) / 4.0),
        solve(0.5 / qs + 0.25 / qm, lm / 2.0, -m - qm * lm**2 / 4.0),
        solve(0.25 / qs + 0.5 / qm, ls / 2.0, -m - qs * ls**2 / 4.0),
        solve(0.5 / qs + 0.5 / qm, 0.0, -2.0 * m),
    ]


@given(
    st.floats(0.1, 1.0), st.floats(0.5, 8), st.floats(0.25, 4), st.floats(1500, 9000), st.floats(1500, 60000),
    st.floats(40e3, 1.1e5), st.floats(2.0, 5.0), st.floats(2.0, 5.0), st.floats(2.0, 5.0),
)  # fmt: skip
def test_all_six_modes_by_equilibrium(d, lm, ls, fem, fes, fyb, r1, r2, r3):
    modes = nds.yield_modes_lb(d, lm, ls, fem, fes, fyb, (r1, r2, r3))
    expected = np.array(general_dowel_loads(d, lm, ls, fem, fes, fyb)) / [r1, r1, r2, r3, r3, r3]
    assert modes.tolist() == pytest.approx(expected.tolist(), rel=1e-6)


def test_double_shear_takes_twice_what_one_plane_gives():
    """NDS 2018 Table 12.3.1A: Im once, Is, IIIs, IV twice; modes II and IIIm do not exist there."""
    for i, times in ((0, 1.0), (1, 2.0), (4, 2.0), (5, 2.0)):
        modes = np.full(6, 1000.0)
        modes[i] = 100.0
        assert float(nds.double_shear_lb(modes)) == pytest.approx(times * 100.0)
    modes = np.array([300.0, 200.0, 1.0, 1.0, 200.0, 200.0])
    assert float(nds.double_shear_lb(modes)) == 300.0


def test_short_penetration_bounds_by_hand():
    """NDS 2018 Tables 12J, 12L, 12N notes: whole from 10 D (lags 8 D), nothing below 6 D (lags 4 D), p/10 D between."""
    share = nds.penetration_factor([0.59, 0.60, 0.80, 1.0, 1.2], 0.1)
    assert np.isnan(share[0])
    assert share[1:].tolist() == pytest.approx([0.6, 0.8, 1.0, 1.0])
    lag = nds.penetration_factor([1.99, 2.0, 3.0, 4.0, 4.4], 0.5, "lag screw")
    assert np.isnan(lag[0])
    assert lag[1:].tolist() == pytest.approx([0.5, 0.75, 1.0, 1.0])
    # NDS 2018 12.3.5.3: half of the 2 D point does not bear where the nail is short; 10 D at most, as the tables count
    assert nds.short_bearing_length_in([0.8, 1.0, 1.2], 0.1).tolist() == pytest.approx([0.7, 1.0, 1.0])


def test_a_short_nail_three_ways_by_hand():
    """16d, 1.25 in. into DF-L: share 1.25/1.62 of the full value; by length the modes of lm 1.25 - 0.162; through
    a 1.25 in. member the modes of lm 1.25. NDS 2018 12.3.5 and Table 12N note."""
    fe = float(nds.dowel_bearing_psi(0.50, 0.162))

    def z(lm):
        return float(nds.single_shear_lb(nds.yield_modes_lb(0.162, lm, 1.5, fe, fe, 90e3, (2.2, 2.2, 2.2))))

    args = ("nail", 0.162, 0.162, 90e3, 1.5, fe, 1.25, 0.50)
    assert nds.dowel_lateral_lb(*args)[0] == pytest.approx(z(1.62) * 1.25 / 1.62)
    assert nds.dowel_lateral_lb(*args, rule="length")[0] == pytest.approx(z(1.25 - 0.162))
    assert nds.dowel_lateral_lb(*args, through=True)[0] == pytest.approx(z(1.25))
    assert nds.dowel_lateral_lb(*args, through=True, rule="length")[0] == pytest.approx(z(1.25))
    deep = (*args[:6], 3.0, 0.50)
    assert nds.dowel_lateral_lb(*deep, through=True)[0] == pytest.approx(z(1.62))
    shallow = (*args[:6], 0.9, 0.50)
    assert all(np.isnan(nds.dowel_lateral_lb(*shallow, rule=rule)[0]) for rule in ("share", "length"))


def test_toe_nail_lengths_by_hand():
    """NDS 2018 12.1.6.3, Figure 12A: 3 in. at 30 degrees from a third of its length: 1.0, 1.598, 1.845 in."""
    assert [float(v) for v in nds.toe_nail_lengths_in(3.0)] == pytest.approx([1.0, 1.598, 1.845], abs=5e-4)


def test_bearing_by_hand():
    """NDS 2018 3.10.4: (l + 0.375)/l below 6 in., 1.0 from there on; washers (from memory): 3 x 3 in. less an 11/16 in.
    hole 8.629 sq in., 1-3/4 in. round 2.034 sq in."""
    assert nds.bearing_area_factor([1.0, 1.5, 5.999, 6.0, 7.0]).tolist() == pytest.approx(
        [1.375, 1.25, 1.0625, 1.0, 1.0], abs=2e-4
    )
    assert nds.bearing_area_factor(6.0) == 1.0
    assert nds.washer_area_sqin("plate", 0.625) == pytest.approx(8.629, abs=5e-4)
    assert nds.washer_area_sqin("cut", 0.625) == pytest.approx(2.034, abs=5e-4)


def test_combined_ratio_by_hand():
    """NDS 2018 Eq. 12.4-1 rearranged: 300 lb along, 400 out, Z 600, W 800: (150 + 200)/500 = 0.7; each alone; none."""
    assert float(nds.screw_combined_ratio(300.0, 400.0, 600.0, 800.0)) == pytest.approx(0.7)
    assert float(nds.screw_combined_ratio(0.3, 0.4, 0.6, 0.8)) == pytest.approx(0.7)
    assert float(nds.screw_combined_ratio(300.0, 0.0, 600.0, 0.0)) == pytest.approx(0.5)
    assert float(nds.screw_combined_ratio(0.0, 400.0, 0.0, 800.0)) == pytest.approx(0.5)
    assert float(nds.screw_combined_ratio(0.0, 0.0, 600.0, 800.0)) == 0.0
    # at 0 and 90 degrees only one of the two counts
    assert float(nds.nail_combined_lb(150.0, 70.0, 0.0)) == pytest.approx(150.0)
    assert float(nds.nail_combined_lb(150.0, 70.0, 90.0)) == pytest.approx(70.0)
    assert float(nds.screw_combined_lb(150.0, 70.0, 30.0)) == pytest.approx(70 * 150 / (70 * 0.75 + 150 * 0.25))
    assert float(nds.nail_combined_lb(150.0, 70.0, 30.0)) == pytest.approx(70 * 150 / (70 * 0.8660254 + 150 * 0.5))


def test_group_of_unlike_members_does_not_care_which_is_called_main():
    """NDS 2018 Eq. 11.3-1: REA is the lesser ratio, so the members may swap; thin dowels and one fastener are 1.0."""
    one = float(nds.group_action_factor(4, 4.0, 1.0, 14e6, 7e6))
    assert one == pytest.approx(float(nds.group_action_factor(4, 4.0, 1.0, 7e6, 14e6)), rel=1e-12)
    assert one < 1.0
    assert float(nds.group_action_factor(4, 4.0, 0.249, 14e6, 7e6)) == 1.0
    assert float(nds.group_action_factor(4, 4.0, 0.25, 14e6, 7e6)) < 1.0
    assert float(nds.group_action_factor(2, 4.0, 1.0, 14e6, 7e6)) < 1.0


def test_hankinson_and_governing_mode_by_hand():
    """NDS 2018 12.3.4: 5,600 and 3,150 psi at 30 degrees: 4,704 psi; along and across the ends themselves."""
    assert float(nds.hankinson(5600.0, 3150.0, 30.0)) == pytest.approx(5600 * 3150 / (5600 * 0.25 + 3150 * 0.75))
    assert float(nds.hankinson(5600.0, 3150.0, 0.0)) == pytest.approx(5600.0)
    assert nds.round_to_50_psi([4624.9, 4625.0, 4675.1]).tolist() == [4600.0, 4650.0, 4700.0]
    assert nds.governing_mode(np.array([6.0, 5.0, 4.0, 1.0, 2.0, 3.0])) == "IIIm"


def test_ten_diameters_are_counted_and_no_more():
    """NDS 2018 Tables 12N, 12P notes: penetration beyond 10 D adds nothing. Here it would: 8d through 1/4 in. steel
    into wood of G 0.36, where mode IIIm governs at 10 D (Fyb/Fem 39; equations by hand in `general_dowel_loads`)."""
    d, fem, fes = 0.131, float(nds.dowel_bearing_psi(0.36, 0.131)), 61850.0

    def by_equilibrium(lm):
        return min(np.array(general_dowel_loads(d, lm, 0.25, fem, fes, 100e3)) / 2.2)

    for through in (False, True):
        z, mode = nds.dowel_lateral_lb("nail", d, d, 100e3, 0.25, fes, 2.5, 0.36, through=through)
        assert (z, mode) == (pytest.approx(by_equilibrium(1.31), rel=1e-9), "IIIm")
    assert by_equilibrium(2.5) > by_equilibrium(1.31)


def test_many_fasteners_at_once_are_each_their_own():
    modes = nds.yield_modes_lb([0.131, 0.162], 1.62, [1.5, 0.5], 4650, 4650, 9e4, (2.2, 2.2, 2.2))
    one = [float(nds.single_shear_lb(m)) for m in modes]
    assert nds.single_shear_lb(modes).tolist() == one
    assert nds.double_shear_lb(modes).tolist() == [float(nds.double_shear_lb(m)) for m in modes]
