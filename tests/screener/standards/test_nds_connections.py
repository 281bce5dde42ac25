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
