"""Plan irregularity and redundancy from the plan's own geometry.

ASCE 7-16 Table 12.3-1 type 2 (from memory) and 12.3.4.2 (b), whose bays of light-frame walls, 2 L / h, were read in a
public calculation: two bays on each side need walls as long as the storey is high.
"""

from __future__ import annotations

import numpy as np
import pytest
from demand_houses import HERE, lots, plan_file, plan_text
from hypothesis import given
from hypothesis import strategies as st

from screener.demands import build_model, load_basis, seismic_system
from screener.diaphragms import collector_share
from screener.irregularities import horizontal_irregularities, judge_redundancy, perimeter_bays, tell_redundancy
from screener.load_path import trace_load_path
from screener.plans import Variant

BOX = """
schema = 1
[plan]
name = "box"
species = "DF-L"
foundation = "slab"
first_floor_height_ft = 0.5
{more}
[weights]
roof = {{ least_psf = 12.0, greatest_psf = 15.0 }}
exterior_wall = {{ least_psf = 9.0, greatest_psf = 11.0 }}
interior_wall = {{ least_psf = 6.0, greatest_psf = 8.0 }}
floor = {{ least_psf = 8.0, greatest_psf = 10.0 }}
[[storey]]
name = "1"
wall_height_ft = 9.0
areas = [{areas}]
[[wall]]
name = "front"
storey = "1"
from = [0, 0]
to = [40, 0]
line = "F"
openings = [{openings}]
[[wall]]
name = "rear"
storey = "1"
from = [0, 30]
to = [40, 30]
line = "B"
[[wall]]
name = "left"
storey = "1"
from = [0, 0]
to = [0, 30]
line = "L"
[[wall]]
name = "right"
storey = "1"
from = [40, 0]
to = [40, 30]
line = "R"
[[roof]]
name = "main"
storey = "1"
shape = "gable"
rect = [0, 0, 40, 30]
ridge = "x"
pitch_in_12 = 5
eave_overhang_ft = 1.0
bearings = [{{ at_ft = 0, wall = "front" }}, {{ at_ft = 30, wall = "rear" }}]
end_walls = ["left", "right"]
"""
WHOLE = "{ rect = [0, 0, 40, 30] }"


def house(areas: str = WHOLE, openings: str = "", more: str = "") -> Variant:
    return plan_text(BOX.format(areas=areas, openings=openings, more=more)).variant()


def wing(wide_ft: float, deep_ft: float) -> str:
    """The box with a wing to the right, so that a notch of ``wide`` by ``30 - deep`` is left."""
    return f"{WHOLE}, {{ rect = [40, 0, {40 + wide_ft}, {deep_ft}] }}"


@pytest.mark.parametrize(
    ("wide", "deep", "irregular"),
    [
        (7.2, 25.3, True),  # 7.2 / 47.2 = 15.3 % by 4.7 / 30 = 15.7 %
        (6.9, 20.0, False),  # 14.7 % of the width
        (10.0, 25.7, False),  # 14.3 % of the depth
        (10.0, 15.0, True),
    ],
)
def test_a_re_entrant_corner_counts_from_15_percent_both_ways(wide: float, deep: float, irregular: bool) -> None:
    found = [text for text in horizontal_irregularities(house(wing(wide, deep))) if "re-entrant" in text]
    assert bool(found) == irregular


@given(wide=st.floats(1.0, 60.0), deep=st.floats(1.0, 29.0), cut=st.floats(0.05, 0.95))
def test_a_re_entrant_corner_is_the_same_however_the_outline_is_cut_up(wide: float, deep: float, cut: float) -> None:
    """The law of a union: one rectangle or two that share an edge draw the same outline."""
    two = (
        f"{{ rect = [0, 0, {40 * cut}, 30] }}, {{ rect = [{40 * cut}, 0, 40, 30] }}, "
        + wing(wide, deep).split(", ", 4)[-1]
    )
    one = horizontal_irregularities(house(wing(wide, deep)))
    other = horizontal_irregularities(house(two))
    assert [t for t in one if "corner" in t] == [t for t in other if "corner" in t]


def test_a_roof_far_beyond_the_last_shear_line_is_an_open_front() -> None:
    """A wing 6 ft wide reaches 6 ft beyond the line R; 6.5 ft is over."""
    assert not [t for t in horizontal_irregularities(house(wing(6.0, 29.0))) if "open front" in t]
    found = [t for t in horizontal_irregularities(house(wing(6.5, 29.0))) if "open front" in t]
    assert found == ["open front, high x side of storey 1: 6.5 ft beyond the last shear line"]


def test_a_box_of_solid_walls_is_regular_and_redundant() -> None:
    v = house()
    assert horizontal_irregularities(v) == []
    bays = perimeter_bays(v)
    assert bays == {
        (0, "x", "low"): 2 * 40 / 9,
        (0, "x", "high"): 2 * 40 / 9,
        (0, "y", "low"): 60 / 9,
        (0, "y", "high"): 60 / 9,
    }
    judged = judge_redundancy(build_model(v, "ASCE 7-16", "ASD"))
    assert (judged.declared, judged.counted, judged.used, judged.qualifies) == (None, 1.0, 1.0, True)


@pytest.mark.parametrize(("door_ft", "rho"), [(31.0, 1.0), (31.1, 1.3)])
def test_two_bays_are_walls_as_long_as_the_storey_is_high(door_ft: float, rho: float) -> None:
    """9 ft storey: 9 ft of wall on a side are 2 bays. The pieces beside the door are 4.5 ft each, aspect 2."""
    side = (40.0 - door_ft) / 2.0
    v = house(openings=f'{{ name = "glass", from_ft = {side}, width_ft = {door_ft}, height_ft = 8 }}')
    assert perimeter_bays(v)[0, "x", "low"] == pytest.approx(2 * (40.0 - door_ft) / 9.0)
    assert judge_redundancy(build_model(v, "ASCE 7-16", "ASD")).counted == rho


def test_pieces_narrower_than_the_aspect_limit_are_no_bay() -> None:
    """SDPWS 3.5:1 on 9 ft is 2.571 ft: two pieces of 2.5 ft beside the glass count as nothing."""
    v = house(openings='{ name = "glass", from_ft = 2.5, width_ft = 35, height_ft = 8 }')
    assert perimeter_bays(v)[0, "x", "low"] == 0.0


def test_a_declaration_stands_and_a_safe_one_is_told() -> None:
    from hazard.issues import Issues

    issues = Issues()
    safe = judge_redundancy(build_model(house(more="redundancy = 1.3"), "ASCE 7-16", "ASD"))
    tell_redundancy([("box", safe)], issues)
    assert (safe.used, safe.counted) == (1.3, 1.0)
    assert [(i.code, i.severity) for i in issues] == [("redundancy_high", "note")]
    silent = Issues()
    tell_redundancy([("box", judge_redundancy(build_model(house(), "ASCE 7-16", "ASD")))], silent)
    assert not list(silent)


def test_gypsum_walls_take_the_response_factor_of_the_weaker_for_the_whole_house() -> None:
    """ASCE 7-16 Table 12.2-1: 6.5 for panels, 2 for gypsum (from memory); 12.2.3.3: the least of a direction."""
    panels, gypsum = house(), house(more='gypsum_shares = "to C"')
    assert seismic_system(panels) == "bearing wall wood panels"
    assert seismic_system(gypsum) == "bearing wall other panels"
    here = lots(sds_g=0.5, sd1_g=0.3, s1_g=0.2)
    forces = []
    for v in (panels, gypsum):
        model = build_model(v, "ASCE 7-16", "ASD")
        forces.append(load_basis(model, here)[0, model.frame.column["rho_storey_force_lb_1"]])
    np.testing.assert_allclose(forces[1] / forces[0], 6.5 / 2.0)


def test_a_smaller_upper_storey_is_no_notch() -> None:
    """The hand-checked house: the outline of each storey is what counts, and neither is notched."""
    v = plan_file(HERE / "hand_check" / "abacus.toml").variant()
    assert horizontal_irregularities(v) == []


def test_a_diaphragm_is_as_slender_as_its_span_over_its_least_depth() -> None:
    """The box: 40 ft between L and R over 30 ft of depth, and 30 over 40 the other way: 1.33."""
    model = build_model(house(), "ASCE 7-16", "ASD")
    assert model.by_name["roof diaphragm: storey 1"].facts["diaphragm_aspect"] == pytest.approx(40 / 30)


def test_the_plates_of_a_line_collect_what_the_pieces_do_not_take_yet() -> None:
    """By hand: 40 ft of plate, one piece of 10 ft at the low end, glass beyond: at the piece's end 30/40 of the force
    comes from beyond it. Two pieces of 10 ft at both ends: half of the middle's 20/40 goes to each."""
    one = house(openings='{ name = "glass", from_ft = 10, width_ft = 28, height_ft = 8 }')  # 2 ft left: too narrow
    two = house(openings='{ name = "glass", from_ft = 10, width_ft = 20, height_ft = 8 }')
    for v, share in ((one, 30.0 / 40.0), (two, 10.0 / 40.0), (house(), 0.0)):
        loads = trace_load_path(v, "ASCE 7-16", "ASD")
        line = next(s for s in loads.lateral[0, "x"].lines if s.name == "F")
        assert collector_share(loads, 0, line) == pytest.approx(share)


@given(first=st.floats(3.0, 18.0), glass=st.floats(1.0, 18.0))
def test_a_collector_never_carries_more_than_its_line(first: float, glass: float) -> None:
    v = house(openings=f'{{ name = "glass", from_ft = {first}, width_ft = {glass}, height_ft = 8 }}')
    loads = trace_load_path(v, "ASCE 7-16", "ASD")
    line = next(s for s in loads.lateral[0, "x"].lines if s.name == "F")
    assert 0.0 <= collector_share(loads, 0, line) <= 1.0


def test_a_line_that_collects_more_than_the_chords_pull_has_its_own_splices() -> None:
    """A front of 40 ft (two splices) whose only piece stands at one end: 0.75 of the line's half of the force. The rear
    wall and the sides are left as chords; no splice is lost."""
    glass = house(openings='{ name = "glass", from_ft = 10, width_ft = 28, height_ft = 8 }')
    model = build_model(glass, "ASCE 7-16", "ASD")
    front, rest = model.by_name["plate splice: storey 1, line F"], model.by_name["plate splice: storey 1"]
    assert (front.count, rest.count) == (2, 2 + 1 + 1)  # 40 ft in pieces of 16 ft: two joints; 30 ft: one
    assert (front.schedule, rest.schedule) == ("plate splice, collector", "plate splice")
    k = model.frame.column["rho_storey_force_lb_1"]
    assert front.coefficients[:, 0, k].max() == pytest.approx(0.7 * 0.5 * 0.75)
    assert any("collector, line F" in name for name in front.case_names)
    assert not any("collector, line F" in name for name in rest.case_names)


def test_a_line_of_solid_walls_adds_nothing_to_the_chords() -> None:
    model = build_model(house(), "ASCE 7-16", "ASD")
    assert [p.name for p in model.points if p.family == "plate_splice"] == ["plate splice: storey 1"]
    assert model.by_name["plate splice: storey 1"].count == 6
