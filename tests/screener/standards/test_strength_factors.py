"""Factors of strength design (LRFD) beside those of allowable stress design, and how the formats were calibrated."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.standards import aisi_straps as aisi
from screener.standards import nds_connections as nds
from screener.standards import sdpws_shear_walls as sdpws
from screener.standards.asce7_ch02_combinations import combinations

# ASCE 7-16 2.3.1 and 2.3.6 as a public page about a design program lists them (read; its H and F left out, and one line
# here for Lr and one for S where it says "Lr or S"): D, W, Eh, Ev, L, Lr, S.
PUBLIC_LISTING_7_16 = {
    "1.4D": (1.4, 0, 0, 0, 0, 0, 0),
    "1.2D + 1.6L + 0.5Lr": (1.2, 0, 0, 0, 1.6, 0.5, 0),
    "1.2D + 1.6L + 0.5S": (1.2, 0, 0, 0, 1.6, 0, 0.5),
    "1.2D + 1.6Lr + L": (1.2, 0, 0, 0, 1, 1.6, 0),
    "1.2D + 1.6S + L": (1.2, 0, 0, 0, 1, 0, 1.6),
    "1.2D + 1.6Lr + 0.5W": (1.2, 0.5, 0, 0, 0, 1.6, 0),
    "1.2D + 1.6S + 0.5W": (1.2, 0.5, 0, 0, 0, 0, 1.6),
    "1.2D + 1.0W + L + 0.5Lr": (1.2, 1, 0, 0, 1, 0.5, 0),
    "1.2D + 1.0W + L + 0.5S": (1.2, 1, 0, 0, 1, 0, 0.5),
    "0.9D + 1.0W": (0.9, 1, 0, 0, 0, 0, 0),
    "1.2D + Ev + Eh + L + 0.2S": (1.2, 0, 1, 1, 1, 0, 0.2),
    "0.9D - Ev + Eh": (0.9, 0, 1, -1, 0, 0, 0),
}


def test_strength_combinations_are_those_of_the_public_listing():
    rows = [c for use in ("uplift", "compression") for c in combinations("ASCE 7-16", "LRFD", use)]
    assert {c.name: (c.d, c.w, c.eh, c.ev, c.l, c.lr, c.s) for c in rows} == PUBLIC_LISTING_7_16


def test_seismic_dead_factors_of_a_published_basis_of_design():
    """A city archive's basis of design (read), ASCE 7-16 2.3.6: (1.2 + 0.2 SDS) D and (0.9 - 0.2 SDS) D, SDS 1.177."""
    by_name = {c.name: c for use in ("uplift", "compression") for c in combinations("ASCE 7-16", "LRFD", use)}
    assert float(by_name["1.2D + Ev + Eh + L + 0.2S"].dead_factor(1.177)) == pytest.approx(1.2 + 0.2 * 1.177)
    assert float(by_name["0.9D - Ev + Eh"].dead_factor(1.177)) == pytest.approx(0.9 - 0.2 * 1.177)


def test_only_snow_changes_with_the_edition():
    """ASCE 7-22 takes snow at strength level (from memory): 1.0, 0.3 and 0.15 in place of 1.6, 0.5 and 0.2."""
    old, new = (
        [c for use in ("uplift", "compression") for c in combinations(e, "LRFD", use)]
        for e in ("ASCE 7-16", "ASCE 7-22")
    )
    snow = {1.6: 1.0, 0.5: 0.3, 0.2: 0.15, 0.0: 0.0}
    for a, b in zip(old, new, strict=True):
        assert (b.d, b.w, b.eh, b.ev, b.l, b.lr, b.s) == (a.d, a.w, a.eh, a.ev, a.l, a.lr, snow[a.s])


def test_connection_factors():
    """KF 3.32 and phi 0.65 (read in an open structural library's NDS 2018 module); their product is the constant 2.16
    that the publisher's own answers name for KF (read: KF = 2.16 / phi)."""
    assert nds.factor("format_conversion_connection") == 3.32
    assert nds.factor("resistance_connection") == 0.65
    assert nds.method_factor("connection", "LRFD") == pytest.approx(2.16, abs=0.005)
    assert nds.method_factor("connection", "ASD") == 1.6
    assert nds.method_words("connection", "LRFD") == "KF 3.32 x phi 0.65 x lambda 1"
    assert nds.method_words("connection", "ASD") == "load duration 1.6"


def test_bearing_factors_take_no_duration():
    """Compression perpendicular to grain: KF 1.67, phi 0.90 (read); neither load duration nor time effect (read)."""
    assert nds.method_factor("bearing", "LRFD") == pytest.approx(1.67 * 0.90)
    assert nds.method_factor("bearing", "ASD") == 1.0
    assert "lambda" not in nds.method_words("bearing", "LRFD")


def test_the_two_formats_meet_at_snow():
    """ASTM D5457 (from memory) sets the constant 2.16 so that both formats agree for snow at three times the dead load:
    (1.2 D + 1.6 S) / (0.8 x 2.16) = (D + S) / 1.15. Derived here; the factors meet it to a tenth of a per cent."""
    strength = (1.2 + 1.6 * 3) / (
        nds.factor("time_effect_live_snow")
        * nds.factor("format_conversion_connection")
        * nds.factor("resistance_connection")
    )
    assert strength == pytest.approx((1.0 + 3.0) / nds.factor("load_duration_snow"), rel=0.0012)


def test_time_effect_falls_as_load_duration_does():
    """NDS Table N3 beside Table 2.3.2: wind and earthquake 1.0 and 1.6, snow and live load 0.8, dead load 0.6."""
    effects = [nds.factor(f"time_effect_{name}") for name in ("wind_seismic", "live_snow", "dead")]
    assert effects == [1.0, 0.8, 0.6]


@pytest.mark.parametrize(
    ("edition", "hazard", "phi"),
    [
        ("2008", "wind", 0.80),
        ("2008", "seismic", 0.80),
        ("2015", "wind", 0.80),
        ("2015", "seismic", 0.80),
        ("2021", "wind", 0.80),
        ("2021", "seismic", 0.50),
    ],
)
def test_sheathing_factors(edition, hazard, phi):
    """SDPWS 2008 and 2015 4.2.3, 4.3.3; 2021 4.1.4 (from memory)."""
    assert sdpws.resistance_factor(edition, hazard) == phi
    assert float(sdpws.design_unit_shear_plf(670.0, edition, hazard, "LRFD")) == pytest.approx(670.0 * phi)
    asd = sdpws.design_unit_shear_plf(670.0, edition, hazard, "ASD")
    assert float(asd) == float(sdpws.allowable_unit_shear_plf(670.0, edition, hazard))


def test_seismic_panel_walls_from_2015_to_2021():
    """The 2021 nominal value is the 2015 wind value, 1.4 times the seismic one: ASD (1.4 / 2.8 against 1 / 2.0) keeps
    its value, LRFD (1.4 x 0.50 against 0.80) loses an eighth (derived from the factors)."""
    key = ("Sheathing", "15/32", "10d", 4.0)
    old, new = (sdpws.shear_wall_nominal_plf(*key, e, "seismic") for e in ("2015", "2021"))
    asd = [float(sdpws.design_unit_shear_plf(v, e, "seismic", "ASD")) for v, e in ((old, "2015"), (new, "2021"))]
    lrfd = [float(sdpws.design_unit_shear_plf(v, e, "seismic", "LRFD")) for v, e in ((old, "2015"), (new, "2021"))]
    assert asd[1] == pytest.approx(asd[0], rel=0.003)
    assert lrfd[1] / lrfd[0] == pytest.approx(0.50 * 1.4 / 0.80, rel=0.003)


def test_uplift_by_plate_nails_is_near_the_nails_own_strength():
    """SDPWS 4.4.1: 3.2 Z x 0.65 = 2.08 Z (from memory), beside 3.32 x 0.65 = 2.16 Z of NDS; ASD 1.6 Z of both."""
    z = 75.0
    nominal = sdpws.sheathing_uplift_nominal_plf(z, 1.0)
    assert float(sdpws.sheathing_uplift_design_plf(nominal, "2015", "wind", "LRFD")) == pytest.approx(2.08 * z)
    assert float(sdpws.sheathing_uplift_design_plf(nominal, "2021", "seismic", "LRFD")) == pytest.approx(1.60 * z)
    assert float(sdpws.sheathing_uplift_design_plf(nominal, "2015", "wind", "ASD")) == pytest.approx(1.60 * z)


def test_toe_nail_limit():
    """SDPWS 2015 4.1.7: 150 plf (ASD), 205 (strength), from memory. 205 is 150 x 3.32 x 0.65 / 1.6 to 2 per cent."""
    assert (sdpws.toe_nail_seismic_limit_plf("ASD"), sdpws.toe_nail_seismic_limit_plf("LRFD")) == (150.0, 205.0)
    assert 150.0 * nds.method_factor("connection", "LRFD") / 1.6 == pytest.approx(205.0, rel=0.02)


def test_steel_by_hand():
    """1-1/4 in. 16 gauge Grade 33, gross yield 33,000 x 1.25 x 0.0575 x 0.90 = 2,135 lb; 5/8 in. A307 rod
    0.75 x 60,000 x 0.3068 x 0.75 = 10,354 lb (hand)."""
    fy, fu = aisi.steel_strength_psi("33")
    strap = aisi.strap_tension_lb(1.25, aisi.strap_thickness_in("16"), 0.148, fy, fu, method="LRFD")
    assert float(strap) == pytest.approx(2135, abs=1)
    assert float(aisi.rod_tension_lb(0.625, 60000, "LRFD")) == pytest.approx(10354, abs=1)


@given(st.floats(0.75, 3.0), st.floats(0.02, 0.14), st.floats(0.1, 0.5))
def test_steel_strength_is_about_one_and_a_half_times_the_allowable(width, thickness, hole):
    """AISC and AISI set the divisor to 1.5 / phi (rounded): 1.67 = 1.5 / 0.90, 2.00 = 1.5 / 0.75."""
    args = (width, thickness, hole, 33000, 45000)
    asd, lrfd = (float(aisi.strap_tension_lb(*args, method=m)) for m in ("ASD", "LRFD"))
    assert lrfd == pytest.approx(1.5 * asd, rel=0.003)
