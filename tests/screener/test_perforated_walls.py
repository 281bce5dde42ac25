"""Perforated shear walls by hand: SDPWS 2015 4.3.3.5 (Co read and checked in its own table), 4.3.6.1 (from memory).

A wall of 40 ft, 9 ft high, with a window of 8 by 4.5 ft and a door of 4 by 7 ft: full-height pieces 10, 8 and 10 ft.
Ao = 36 + 28 = 64 sq ft, sum Li = 28 ft, r = 1 / (1 + 64 / (9 x 28)) = 0.797468,
Co = r / (3 - 2 r) x 40 / 28 = 0.810811.
"""

from __future__ import annotations

import numpy as np
import pytest
from demand_houses import lots, plan_text
from test_irregularities import BOX, WHOLE

from hazard.issues import InputError
from screener.capacities import capacity
from screener.capacity_case import CapacityContext, Option
from screener.demands import DemandModel, build_model, evaluate, load_basis
from screener.hardware import parse_hardware
from screener.load_path import trace_load_path
from screener.plans import Variant
from screener.points import Point

R = 1.0 / (1.0 + 64.0 / (9.0 * 28.0))
CO = R / (3.0 - 2.0 * R) * 40.0 / 28.0
OPENINGS = (
    '{ name = "window", from_ft = 10, width_ft = 8, height_ft = 4.5, sill_ft = 2 }, '
    '{ name = "door", from_ft = 26, width_ft = 4, height_ft = 7 }'
)


def text(method: str = "perforated") -> str:
    return BOX.format(areas=WHOLE, openings=OPENINGS, more="").replace('line = "F"', f'line = "F"\nmethod = "{method}"')


def variant(method: str = "perforated") -> Variant:
    return plan_text(text(method)).variant()


def model(method: str = "perforated") -> DemandModel:
    return build_model(variant(method), "ASCE 7-16", "ASD")


def per_pound(m: DemandModel, point: Point, component: str) -> float:
    """Largest demand for each pound of storey force (rho included), dead load and the rest left out."""
    column = m.frame.column["rho_storey_force_lb_1"]
    return float(point.coefficients[:, point.components.index(component), column].max())


def test_the_factor_by_hand() -> None:
    assert pytest.approx(0.797468, abs=1e-6) == R
    assert pytest.approx(0.810811, abs=1e-6) == CO


def test_unit_shear_and_end_tension_by_hand() -> None:
    """Half the storey force goes to each of two like lines; 0.7 E: v = 0.35 V / (Co 28), T = 9 v, at two ends only."""
    m = model()
    v = 0.7 * 0.5 / (CO * 28.0)
    assert per_pound(m, m.by_name["wall sheathing: line F, storey 1"], "shear_plf") == pytest.approx(v)
    ends = [p for p in m.points if p.name.startswith("hold-down: front")]
    assert [(p.name, p.count) for p in ends] == [("hold-down: front, perforated (40.0 ft)", 2)]
    assert per_pound(m, ends[0], "tension_lb") == pytest.approx(9.0 * v)
    sill = m.by_name["sill anchor: front"]
    assert per_pound(m, sill, "shear_plf") == pytest.approx(v)
    assert per_pound(m, sill, "uplift_plf") == pytest.approx(v)
    posts = [p for p in m.points if p.name.startswith("end post: front")]
    assert len(posts) == 3  # both ends of every piece take the couple in compression
    for post in posts:
        assert per_pound(m, post, "compression_lb") == pytest.approx(9.0 * v)


def test_against_the_same_wall_in_pieces() -> None:
    """More unit shear by 1 / Co, fewer hold-downs; the sill of the segmented wall is not pulled up between its ends."""
    holes, pieces = model(), model("segmented")
    shear = [per_pound(m, m.by_name["wall sheathing: line F, storey 1"], "shear_plf") for m in (holes, pieces)]
    assert shear[0] / shear[1] == pytest.approx(1.0 / CO)
    count = [sum(p.count for p in m.points if p.name.startswith("hold-down: front")) for m in (holes, pieces)]
    assert count == [2, 6]
    assert per_pound(pieces, pieces.by_name["sill anchor: front"], "uplift_plf") <= 0.0
    same = [p.name for p in holes.points if "front" not in p.name and "line F" not in p.name]
    here = lots(q_envelope_psf=[25.0, 40.0], q_components_psf=[25.0, 40.0], sds_g=0.7, sd1_g=0.4)
    for name in same:
        a, b = (evaluate(m.by_name[name], load_basis(m, here)).largest for m in (holes, pieces))
        np.testing.assert_array_equal(a, b, err_msg=name)


def test_a_perforated_wall_without_openings_is_a_segment() -> None:
    """Co is 1: the same unit shear; the tension V h / L of the rule, without the inset of the hold-down."""
    solid = BOX.format(areas=WHOLE, openings="", more="")
    one, other = (
        build_model(plan_text(t).variant(), "ASCE 7-16", "ASD")
        for t in (solid, solid.replace('line = "F"', 'line = "F"\nmethod = "perforated"'))
    )
    for m in (one, other):
        line = m.by_name["wall sheathing: line F, storey 1"]
        assert per_pound(m, line, "shear_plf") == pytest.approx(0.35 / 40.0)
    tension = [
        max(per_pound(m, p, "tension_lb") for p in m.points if p.name.startswith("hold-down: front"))
        for m in (one, other)
    ]
    assert tension[1] == pytest.approx(0.35 * 9.0 / 40.0)
    assert tension[0] / tension[1] == pytest.approx(40.0 / 39.5)


def test_the_books_still_balance() -> None:
    """What entered arrives at the foundation, as for any wall."""
    house = trace_load_path(variant(), "ASCE 7-16", "ASD")
    entered = sum(house.books.entered.values(), house.frame.zero())
    arrived = sum(house.books.arrived.values(), house.frame.zero())
    np.testing.assert_allclose(arrived, entered, atol=1e-6)


def test_the_newer_edition_is_refused_not_guessed() -> None:
    scope = build_model(variant(), "ASCE 7-22", "ASD").scope
    assert [code for code, _ in scope] == ["PERFORATED"]
    assert build_model(variant("segmented"), "ASCE 7-22", "ASD").scope == ()


def test_sheathing_holds_no_more_than_the_greatest_nominal() -> None:
    """SDPWS 2015 4.3.5.3 (from memory): 1740 plf seismic and 2435 plf wind nominal; 870 and 1217.5 plf allowable. Two
    faces of 15/32 with 10d at 2 in would be 2 x 1540 and 2 x 2155 nominal."""
    cells = {
        "item": "x", "family": "wall_sheathing", "unit": "nail", "purchase_unit_qty": "1", "unit_cost": "1",
        "labour_min": "1", "basis": "computed", "source": "test", "fastener": "10d common", "panel_grade": "Sheathing",
        "panel_thickness_in": "15/32", "edge_spacing_in": "2", "faces": "2", "abutting_framing_in": "3",
    }  # fmt: skip
    hardware, issues = parse_hardware((",".join(cells) + "\n" + ",".join(cells.values())).encode())
    assert not issues.has_stop(), [i.message() for i in issues]
    line = model().by_name["wall sheathing: line F, storey 1"]
    held = capacity(Option("x", 0, ""), line, hardware, CapacityContext(sdc="D0"))
    assert held.allowable["seismic"]["shear_plf"] == pytest.approx(870.0)
    assert held.allowable["wind"]["shear_plf"] == pytest.approx(1217.5)


def test_a_perforated_wall_stands_on_the_foundation_alone() -> None:
    """A second storey over it: refused where the plan is read, and the wall and the key are named."""
    upper = """
[[storey]]
name = "2"
wall_height_ft = 8.0
floor_depth_ft = 1.0
areas = [{ rect = [0, 0, 40, 30] }]
"""
    walls = "".join(
        f'[[wall]]\nname = "{name} 2"\nstorey = "2"\nfrom = {a}\nto = {b}\nline = "{line}"\n'
        for name, a, b, line in (
            ("front", "[0, 0]", "[40, 0]", "F"),
            ("rear", "[0, 30]", "[40, 30]", "B"),
            ("left", "[0, 0]", "[0, 30]", "L"),
            ("right", "[40, 0]", "[40, 30]", "R"),
        )
    )
    two = text().replace('[[wall]]\nname = "front"', upper + walls + '[[wall]]\nname = "front"', 1)
    two = two.replace('name = "main"\nstorey = "1"', 'name = "main"\nstorey = "2"')
    for name in ("front", "rear", "left", "right"):
        two = two.replace(f'wall = "{name}" }}', f'wall = "{name} 2" }}')
    two = two.replace('end_walls = ["left", "right"]', 'end_walls = ["left 2", "right 2"]')
    with pytest.raises(InputError) as found:
        plan_text(two)
    assert any("wall (front).method" in i.where and "a wall stands on it" in i.found for i in found.value.issues)
    plan_text(two.replace('method = "perforated"', 'method = "segmented"'))
