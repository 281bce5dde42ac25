"""Strap and rod steel. Strap values derived from AISI S100-16 D2, D3 with A653 Grade 33 (33 / 45 ksi), from memory."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.standards import aisi_straps as aisi


@pytest.mark.parametrize(("gauge", "expected"), [("20", 879), ("18", 1151), ("16", 1420)])
def test_strap_by_steel(gauge, expected):
    """1-1/4 in. straps with 0.148 in. holes on the least thickness of the gauge (Table 12P's is thicker)."""
    fy, fu = aisi.steel_strength_psi("33")
    thickness = aisi.strap_thickness_in(gauge)
    assert thickness < aisi.sheet_thickness_in(gauge)
    steel = float(aisi.strap_tension_lb(1.25, thickness, 0.148, fy, fu))
    assert steel == pytest.approx(expected, rel=0.002)
    assert steel == float(aisi.gross_yield_lb(fy, 1.25 * thickness))  # gross yield governs


def test_rod():
    # 0.75 Fu A / 2.0 on the nominal area: 5/8 in. F1554 Grade 36, 0.75 x 58,000 x 0.3068 / 2 = 6,673 lb (hand).
    assert float(aisi.rod_tension_lb(0.625, aisi.steel_strength_psi("36")[1])) == pytest.approx(6673, abs=1)


@given(st.floats(0.75, 3.0), st.floats(0.02, 0.14), st.floats(0.1, 0.5), st.integers(1, 2))
def test_strap_never_beats_either_limit(width, thickness, hole, across):
    value = float(aisi.strap_tension_lb(width, thickness, hole, 33000, 45000, across))
    assert value <= 33000 * width * thickness / 1.67 + 1e-9
    assert value <= max(0.0, 45000 * (width - across * hole) * thickness / 2) + 1e-6 or value < 0


def test_net_section_by_hand():
    """AISI S100-16 D3 by hand: 1.0 x 0.1 in., hole 0.5 in.: net 0.05 sq in. x 45,000 / 2 = 1,125 lb, under gross yield
    33,000 x 0.1 / 1.67 = 1,976 lb; two holes of 0.25 in. the same; no hole: gross yield."""
    assert float(aisi.strap_tension_lb(1.0, 0.1, 0.5, 33000, 45000)) == pytest.approx(1125.0)
    assert float(aisi.strap_tension_lb(1.0, 0.1, 0.25, 33000, 45000, 2)) == pytest.approx(1125.0)
    assert float(aisi.strap_tension_lb(1.0, 0.1, 0.5, 33000, 45000, 0)) == pytest.approx(1976.0, abs=0.5)
