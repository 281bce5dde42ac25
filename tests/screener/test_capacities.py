"""Capacities of options at connection points, against hand calculations and published values (sources beside each)."""

import math
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.capacities import capacity, combined_ratio, options_for
from screener.capacity_case import CONCRETE_NOT_CHECKED, CapacityContext, Option
from screener.families import families, family
from screener.hardware import parse_hardware, read_hardware

SAMPLE = Path(__file__).parents[2] / "sample_data" / "hardware.csv"
FACTS = {
    "stud_spacing_in": 16.0,
    "stud_depth_in": 3.5,
    "stud_width_in": 1.5,
    "sill_thickness_in": 1.5,
    "plate_thickness_in": 3.0,
    "rafter_over_stud": False,
    "truss_spacing_in": 24.0,
    "framing_spacing_in": 24.0,
    "below": "plate",
}
D0, B = CapacityContext(sdc="D0"), CapacityContext(sdc="B")


@dataclass(frozen=True)
class Point:
    family: str
    species: str = "SPF"
    drop: str = "walls"
    facts: dict = field(default_factory=lambda: FACTS)

    @property
    def components(self):
        return family(self.family).component_names


@pytest.fixture(scope="module")
def sample():
    hardware, _ = read_hardware(SAMPLE)
    return hardware


def hold(hardware, item, point, context=D0, spacing=math.nan, pieces=1):
    index = next(i for i, row in enumerate(hardware.rows) if row.item == item)
    return capacity(Option(item, index, "", pieces, spacing), point, hardware, context)


def at(point, **facts):
    return Point(point.family, point.species, point.drop, FACTS | facts)


def one_row(**cells):
    """A hardware list of one row."""
    base = {
        "item": "x",
        "unit": "each",
        "purchase_unit_qty": "1",
        "unit_cost": "1",
        "labour_min": "1",
        "source": "test",
    } | cells
    hardware, issues = parse_hardware((",".join(base) + "\n" + ",".join(base.values())).encode())
    assert not issues.has_stop(), [i.message() for i in issues]
    return hardware


# --- listed rows ------------------------------------------------------------------------------------------------


def test_listed_by_species_group_and_pieces(sample):
    one = hold(sample, "truss tie light", Point("truss_tie", "DF-L"))
    assert (
        one.allowable["wind"]
        == one.allowable["seismic"]
        == {
            "uplift_lb": 420.0,
            "perpendicular_lb": 126.0,
            "parallel_lb": 126.0,
        }
    )
    assert hold(sample, "truss tie light", Point("truss_tie", "SPF"), pieces=2).allowable["wind"]["uplift_lb"] == 720.0
    light = hold(sample, "truss tie light", Point("truss_tie", "SPF(S)"))
    assert all(math.isnan(v) for v in light.allowable["wind"].values())
    assert "listed loads do not reach SPF(S)" in light.notes[0]


def test_blank_direction_is_no_capacity():
    hardware = one_row(family="truss_tie", basis="listed", uplift_lb="500", load_duration_included="no")
    held = hold(hardware, "x", Point("truss_tie"))
    assert held.allowable["wind"]["uplift_lb"] == 500.0  # never increased
    assert math.isnan(held.allowable["wind"]["parallel_lb"])
    assert combined_ratio({"uplift_lb": 250.0, "parallel_lb": 0.0}, held, "wind") == 0.5
    assert combined_ratio({"uplift_lb": 250.0, "parallel_lb": 1.0}, held, "wind") == math.inf
    assert any("no increase taken" in note for note in held.notes)


def test_interaction():
    cells = {"family": "truss_tie", "basis": "listed", "load_duration_included": "yes"}
    loads = {"uplift_lb": "500", "parallel_lb": "200", "perpendicular_lb": "100"}
    summed = hold(one_row(**cells, **loads), "x", Point("truss_tie"))
    alone = hold(one_row(**cells, **loads, interaction="none"), "x", Point("truss_tie"))
    demand = {"uplift_lb": 300.0, "parallel_lb": 50.0, "perpendicular_lb": 20.0}
    assert combined_ratio(demand, summed, "wind") == pytest.approx(0.6 + 0.25 + 0.2)
    assert combined_ratio(demand, alone, "wind") == 0.6


def test_per_foot_is_load_over_spacing(sample):
    held = hold(sample, "floor strap", Point("storey_strap", "DF-L"), spacing=48.0)
    assert held.allowable["wind"]["uplift_plf"] == pytest.approx(250.0)


# --- nails, screws ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("species", "lateral", "uplift"), [("SPF", 382, 139), ("DF-L", 468, 214), ("HF", 395, 147), ("SP", 512, 272)]
)
def test_toe_nails_as_the_fastening_table(sample, species, lateral, uplift):
    # NDS 2018 worth of 3-10d common toe nails, CD 1.6 (screener/checks/data/wood_irc_fastening_capacity.csv).
    held = hold(sample, "toe nails 3-10d", Point("truss_tie", species), B)
    assert held.allowable["wind"]["perpendicular_lb"] == pytest.approx(lateral, abs=0.6)
    assert held.allowable["wind"]["uplift_lb"] == pytest.approx(uplift, abs=0.6)


def test_toe_nails_pass_150_plf_of_seismic_shear_at_most(sample):
    # SDPWS 2015 4.1.7, categories D to F: 150 plf x 2 ft of truss spacing.
    held = hold(sample, "toe nails 3-10d", Point("truss_tie"), D0)
    assert held.allowable["seismic"]["parallel_lb"] == 300.0
    assert held.allowable["wind"]["parallel_lb"] > 380.0
    assert held.allowable["seismic"]["perpendicular_lb"] == held.allowable["wind"]["perpendicular_lb"]
    block = hold(sample, "toe-nailed truss block", Point("roof_boundary"), D0, spacing=24.0)
    assert (block.allowable["seismic"]["shear_plf"], block.allowable["wind"]["shear_plf"] > 150) == (150.0, True)
    free = hold(sample, "toe-nailed truss block", Point("roof_boundary"), B, spacing=24.0)
    assert free.allowable["seismic"]["shear_plf"] == free.allowable["wind"]["shear_plf"]


def test_end_nails_hold_no_withdrawal(sample):
    held = hold(sample, "stud nails 2-16d end", Point("stud_nailing"))
    assert held.allowable["wind"]["perpendicular_lb"] == pytest.approx(256, abs=0.6)  # SPF, same table
    hardware = one_row(family="stud_to_plate", basis="computed", fastener="16d common", placement="end")
    assert math.isnan(hold(hardware, "x", Point("stud_to_plate")).allowable["wind"]["uplift_lb"])


def test_bottom_plate_nails_take_the_lower_penetration_rule(sample):
    # 16d through plate and 3/4 subfloor, CD 1.6: 174 lb in DF-L, 148 lb in SPF by p/10D (an engineer's post; derived).
    for species, expected in (("DF-L", 174), ("SPF", 148)):
        held = hold(sample, "bottom plate nail 16d", at(Point("plate_to_floor", species), below="wood"), spacing=16.0)
        assert held.allowable["wind"]["shear_plf"] * 16 / 12 == pytest.approx(expected, abs=0.7)


def test_plate_splice(sample):
    # 8-16d each side: 1,531 lb in SPF, 1,803 lb in DF-L (fastening table, derived).
    for species, expected in (("SPF", 1531), ("DF-L", 1803)):
        held = hold(sample, "plate splice nails 8-16d", Point("plate_splice", species))
        assert held.allowable["wind"]["tension_lb"] == pytest.approx(expected, abs=0.6)


def test_ledger_lag_across_the_grain(sample):
    # NDS 2018 Table 12J way, 1/2 in. lag through a 1.5 in. side member: hand value Z 1.6 x p/8D.
    from screener.standards import nds_connections as nds

    fe = float(nds.dowel_bearing_psi(0.42, 0.5, 90))
    modes = nds.yield_modes_lb(0.371, 4.0, 1.5, fe, fe, 45e3, nds.reduction_terms(0.371, 0.5, 90))
    by_hand = float(nds.single_shear_lb(modes)) * 1.6 * (5 - 1.5 - 0.5) / 4.0
    held = hold(sample, "ledger lag screw 1/2 x 5 in", Point("ledger"), spacing=12.0)
    assert held.allowable["wind"]["uplift_plf"] == pytest.approx(by_hand)


def test_roof_nails_by_hand(sample):
    # 8d common through 15/32 into SPF: 67 lb withdrawal (fastening table); over 12 in. x 24 in. = 2 sq ft.
    held = hold(sample, "roof nail 8d at 6/12", Point("roof_sheathing"))
    assert held.allowable["wind"]["suction_psf"] == pytest.approx(67 / 2, abs=0.3)
    # Ring shank: 1.5 in. of ring at 1800 G^2 D, 86 lb, less than the head's pull-through at panel G 0.50.
    ring = hold(sample, "roof nail ring shank at 6/6", Point("roof_sheathing"))
    assert ring.allowable["wind"]["suction_psf"] == pytest.approx(1800 * 0.42**2 * 0.113 * 1.5 * 1.6, rel=1e-9)
    no_spacing = {k: v for k, v in FACTS.items() if k not in ("framing_spacing_in", "truss_spacing_in")}
    missing = hold(sample, "roof nail 8d at 6/12", Point("roof_sheathing", facts=no_spacing))
    assert (missing.usable, missing.reason) == (False, "the plan gives no framing_spacing_in at this connection")


def test_strap_is_the_lesser_of_steel_and_nails(sample):
    # 1-1/4 in. 16 gauge Grade 33: 1,420 lb by steel (derived); 9 10d nails hold more.
    assert hold(sample, "plate splice strap 16 gauge", Point("plate_splice")).allowable["wind"]["tension_lb"] == (
        pytest.approx(1420, abs=1)
    )
    cells = {"steel_width_in": "1.25", "steel_gauge": "20", "fastener": "8d common", "fastener_count": "4"}
    few = hold(one_row(family="plate_splice", basis="computed", **cells), "x", Point("plate_splice"))
    # 8d common with a 20 gauge side plate in SPF: 129 lb a nail at CD 1.6 (derived), 4 nails.
    assert few.allowable["wind"]["tension_lb"] == pytest.approx(4 * 129, rel=0.01)


# --- sheathing --------------------------------------------------------------------------------------------------


def test_wall_sheathing_both_editions(sample):
    # Table 4.3A, 7/16 with 8d at 6 in.: 480 / 670 (2015), 670 (2021); SPF factor 0.92.
    point = Point("wall_sheathing")
    held = hold(sample, "wall nail 8d at 6/12", point)
    assert held.allowable["seismic"]["shear_plf"] == pytest.approx(480 / 2.0 * 0.92)
    assert held.allowable["wind"]["shear_plf"] == pytest.approx(670 / 2.0 * 0.92)
    newer = hold(sample, "wall nail 8d at 6/12", point, CapacityContext(sdpws_edition="2021"))
    assert newer.allowable["seismic"]["shear_plf"] == pytest.approx(670 / 2.8 * 0.92)
    assert newer.allowable["wind"]["shear_plf"] == held.allowable["wind"]["shear_plf"]
    dense = hold(sample, "wall nail 8d at 6/12", Point("wall_sheathing", "SP"))
    assert dense.allowable["wind"]["shear_plf"] == 335.0


def sheathing(**cells):
    base = {"family": "wall_sheathing", "basis": "computed", "fastener": "8d common", "panel_thickness_in": "7/16"}
    return one_row(**(base | cells))


def test_thick_framing_where_panels_meet():
    close = sheathing(edge_spacing_in="3")
    assert "3 in. nominal framing" in hold(close, "x", Point("wall_sheathing"), D0).reason
    assert hold(close, "x", Point("wall_sheathing"), B).usable
    assert hold(sheathing(edge_spacing_in="3", abutting_framing_in="3"), "x", Point("wall_sheathing"), D0).usable
    assert not hold(sheathing(edge_spacing_in="2"), "x", Point("wall_sheathing"), B).usable


def test_schedule_that_is_not_in_the_table():
    held = hold(sheathing(edge_spacing_in="5"), "x", Point("wall_sheathing"))
    assert not held.usable
    assert "edge_spacing_in 6, 4, 3, 2" in held.reason
    assert math.isnan(held.allowable["wind"]["shear_plf"])


def test_gypsum_and_raised_panels():
    gypsum = sheathing(
        panel_grade="Gypsum", panel_thickness_in="1/2", edge_spacing_in="7", blocking="unblocked", fastener=""
    )
    point = Point("wall_sheathing")
    # Table 4.3C: 100 plf; in 2021 71 plf for earthquakes.
    assert hold(gypsum, "x", point).allowable["seismic"]["shear_plf"] == 100.0
    assert not hold(gypsum, "x", point, B).usable  # the plan does not count gypsum
    for shares, category, usable in (
        ("to C", "C", True),
        ("to C", "D0", False),
        ("to D", "D0", True),
        ("to D", "E", False),
    ):
        counted = hold(gypsum, "x", at(point, gypsum_shares=shares), CapacityContext(sdc=category))
        assert counted.usable == usable, (shares, category, counted.reason)
    newer = hold(gypsum, "x", point, CapacityContext(sdpws_edition="2021"))
    assert newer.allowable["seismic"]["shear_plf"] == pytest.approx(71.4, abs=0.05)
    assert not hold(gypsum, "x", point, CapacityContext(sdc="E")).usable
    raised = sheathing(edge_spacing_in="6", raise_to_15_32="yes")
    assert hold(raised, "x", point).allowable["seismic"]["shear_plf"] == pytest.approx(520 / 2 * 0.92)
    wide = hold(raised, "x", at(point, stud_spacing_in=24.0))
    assert wide.allowable["seismic"]["shear_plf"] == pytest.approx(480 / 2 * 0.92)


@pytest.mark.parametrize(
    ("blocking", "grade", "length_ft", "usable"),
    [
        ("blocked", "Sheathing", 9.1 / 3.5, True),  # SDPWS 2015 Table 4.3.4 (from memory; 3.5 read): 3.5:1
        ("unblocked", "Sheathing", 4.55, True),  # 2:1
        ("unblocked", "Sheathing", 4.5, False),
        ("unblocked", "Gypsum", 4.55, True),
        ("unblocked", "Gypsum", 4.5, False),
    ],
)
def test_the_narrowest_piece_of_a_line_limits_its_sheathing(blocking, grade, length_ft, usable):
    more = {"panel_thickness_in": "1/2", "edge_spacing_in": "7", "fastener": ""} if grade == "Gypsum" else {}
    row = sheathing(**({"edge_spacing_in": "6", "field_spacing_in": "12"} | more), panel_grade=grade, blocking=blocking)
    facts = {"wall_height_ft": 9.1, "least_segment_ft": length_ft, "gypsum_shares": "to C"}
    held = hold(row, "x", at(Point("wall_sheathing"), **facts), CapacityContext(sdc="C"))
    assert held.usable == usable, held.reason
    assert usable or "over 2:1" in held.reason


@pytest.mark.parametrize(("item", "most"), [("roof diaphragm unblocked", 3.0), ("roof diaphragm blocked 6/6", 4.0)])
def test_a_slender_diaphragm_is_refused(sample, item, most):
    """SDPWS 2015 Table 4.2.4 (from memory): span between shear lines to depth 3:1 unblocked, 4:1 blocked."""
    assert hold(sample, item, at(Point("roof_diaphragm"), diaphragm_aspect=most)).usable
    held = hold(sample, item, at(Point("roof_diaphragm"), diaphragm_aspect=most + 0.05))
    assert f"over {most:g}:1" in held.reason


def test_diaphragm(sample):
    # Table 4.2C, 15/32 8d unblocked, other cases: 360 / 505 nominal; 4.2A blocked 6/6: 540 / 755; SPF 0.92.
    point = Point("roof_diaphragm")
    held = hold(sample, "roof diaphragm unblocked", point)
    assert held.allowable["seismic"]["shear_plf"] == pytest.approx(180 * 0.92)
    assert held.allowable["wind"]["shear_plf"] == pytest.approx(505 / 2 * 0.92)
    blocked = hold(sample, "roof diaphragm blocked 6/6", point)
    assert blocked.allowable["seismic"]["shear_plf"] == pytest.approx(270 * 0.92)


def test_sheathing_ties_only_where_panels_lap(sample):
    item, point = "sheathing lapped on plates, 2 extra nails a foot", Point("stud_to_plate")
    held = hold(sample, item, point)
    assert held.reason == "panels must lap the plates to tie them down"
    lapped = hold(sample, item, at(point, panel_laps_plates=True))
    assert lapped.usable
    # Table 4.4.1: 432 plf nominal for 2 extra 8d nails a foot, 216 plf allowable, one stud each 16 in.
    assert lapped.allowable["wind"]["uplift_lb"] == pytest.approx(216 * 16 / 12, rel=0.005)


# --- posts, anchors ---------------------------------------------------------------------------------------------


def test_post_bearing(sample):
    # Fc-perp SPF 425 psi x 5.25 sq in = 2,231 lb a 2x4 stud.
    held = hold(sample, "end post of 2 studs", Point("end_post"))
    assert held.allowable["wind"]["compression_lb"] == pytest.approx(2 * 2231.25)
    assert "buckling" in held.notes[0]
    on_sill = hold(sample, "end post of 2 studs", at(Point("end_post", "SPF"), sill_species="SP"))
    assert on_sill.allowable["wind"]["compression_lb"] == 565 * 10.5


def test_sill_bolts_at_six_feet(sample):
    # 2x SPF sill at 6 ft, CD 1.6: 1/2 in. 157 plf along and 90 across; 5/8 in. 228 and 110 (derived).
    point = at(Point("sill_anchor"), below="concrete")
    for item, along, across in (("anchor bolt 1/2 in", 157, 90), ("anchor bolt 5/8 in", 228, 110)):
        held = hold(sample, f"{item} with plate washer", point, spacing=72.0)
        assert held.allowable["wind"]["shear_plf"] == pytest.approx(along, abs=0.5)
        assert held.allowable["wind"]["perpendicular_plf"] == pytest.approx(across, abs=0.5)
        assert CONCRETE_NOT_CHECKED in held.notes
        plain = hold(sample, item, point, D0, spacing=72.0)
        assert plain.reason == "needs plate washers in seismic design category D0"
        assert hold(sample, item, point, B, spacing=72.0).usable
    washer = hold(sample, "anchor bolt 5/8 in with plate washer", point, spacing=12.0).allowable["wind"]["uplift_plf"]
    assert washer == pytest.approx(3667, abs=1)  # 3 x 3 washer on SPF (derived)


def test_anchor_spacing_of_tall_houses(sample):
    point = at(Point("sill_anchor"), below="concrete", storeys=3)
    item = "anchor bolt 5/8 in with plate washer"
    assert hold(sample, item, point, D0, spacing=72.0).reason == "spacing 72 in is above the code's 48"
    assert hold(sample, item, point, D0, spacing=48.0).usable
    assert hold(sample, item, point, B, spacing=72.0).usable


def test_concrete_value_limits_a_rod_and_clears_the_note(sample):
    point = Point("hold_down_anchor")
    bare = hold(sample, "hold-down anchor 5/8 in", point)
    assert bare.allowable["wind"]["tension_lb"] == pytest.approx(6673, abs=1)
    assert bare.notes == (CONCRETE_NOT_CHECKED,)
    listed = hold(sample, "hold-down anchor 5/8 in, concrete listed", point)
    assert listed.allowable["wind"]["tension_lb"] == 5200.0
    assert listed.notes == ()
    assert CONCRETE_NOT_CHECKED not in hold(sample, "retrofit anchor 1/2 in", Point("sill_anchor"), spacing=24.0).notes


def test_retrofit_anchors_also_serve_the_sill(sample):
    items = {option.item for option in options_for("sill_anchor", sample)}
    assert {"anchor bolt 1/2 in", "retrofit anchor 1/2 in"} <= items
    assert {option.item for option in options_for("retrofit_anchor", sample)} == {
        "retrofit anchor 1/2 in",
        "retrofit anchor 5/8 in",
    }


def test_hold_downs_know_what_lies_below(sample):
    on_slab, upstairs = Point("hold_down", drop="foundation"), Point("hold_down", drop="floor")
    assert hold(sample, "hold-down cast strap", on_slab).usable
    assert hold(sample, "hold-down cast strap", upstairs).reason == "made for concrete below, which is not there"
    assert hold(sample, "hold-down floor strap", on_slab).reason == "made for wood below, but concrete is there"
    assert hold(sample, "hold-down bracket", on_slab).usable
    assert hold(sample, "hold-down bracket", upstairs).usable


# --- long screws ------------------------------------------------------------------------------------------------


def test_angled_screws_and_what_lies_below(sample):
    foot = at(Point("stud_to_plate"), below="concrete", plate_thickness_in=1.5)
    short, long = "long structural screw 4-1/2 in, angled", "long structural screw 6 in, angled"
    held = hold(sample, short, foot)
    assert held.usable
    assert held.notes == ("started 2.75 in up at 10 degrees the tip would leave the plate by 0.18 in",)
    # 6 in. at 22 degrees from 3.00 in.: out of a 1.5 in. plate by 1.06 in.; inside a 3 in. double plate.
    assert hold(sample, long, foot).reason == "screw tip would leave the plate by 1.06 in"
    assert hold(sample, long, at(foot, below="wood")).usable
    assert hold(sample, long, Point("plate_to_stud")).usable
    head = at(Point("stud_to_plate"), plate_thickness_in=3.0)
    assert hold(sample, short, head).reason == "screw reaches only the nearer ply of the double plate"


def screw(**cells):
    base = {
        "family": "stud_to_plate",
        "basis": "listed",
        "uplift_lb": "400",
        "load_duration_included": "yes",
        "screw_length_in": "4.5",
        "start_height_in": "3.25",
        "angle_deg": "22",
    }
    return one_row(**(base | cells))


def test_other_screw_faults():
    foot = at(Point("stud_to_plate"), below="concrete", plate_thickness_in=1.5)
    assert hold(screw(angle_deg="35"), "x", foot).reason == "angle 35 degrees is outside the tested 10 to 30"
    assert hold(screw(start_height_in="4.4"), "x", foot).reason == "screw does not reach the plate"
    assert hold(screw(screw_length_in="6", start_height_in="3.25"), "x", foot).reason.endswith("by 0.81 in")
    wide = screw(driven_from="wide face", angle_deg="30")
    assert "leaves the side of the stud" in hold(wide, "x", foot).reason
    assert hold(screw(driven_from="wide face"), "x", foot).usable


def test_truss_over_stud_is_asked_where_the_row_needs_it(sample):
    item = "long structural screw 8 in, stud to truss"
    assert hold(sample, item, Point("truss_tie")).reason == "needs the truss over a stud"
    assert hold(sample, item, at(Point("truss_tie"), rafter_over_stud=True)).usable
    short = screw(family="truss_tie", min_embedment_in="2", start_height_in="", angle_deg="0")
    assert hold(short, "x", Point("truss_tie")).reason == "reaches 1.50 in into the truss, 0.50 in short"


# --- laws -------------------------------------------------------------------------------------------------------


def test_every_option_of_the_sample_is_finite_or_absent(sample):
    for key, serves in families().items():
        if not serves.components:
            continue
        for option in options_for(key, sample):
            for context in (D0, B, CapacityContext(sdpws_edition="2021", sdc="E")):
                held = capacity(option, Point(key), sample, context)
                assert held.usable == (held.reason == "")
                for hazard in ("wind", "seismic"):
                    values = held.allowable[hazard]
                    assert tuple(values) == serves.component_names
                    assert all(math.isnan(v) or 0 < v < 1e6 for v in values.values()), (option, values)


@given(st.sampled_from(["SP", "DF-L", "HF", "SPF"]), st.sampled_from([48.0, 32.0, 24.0, 16.0]))
def test_closer_spacing_holds_more_and_two_hold_twice(species, spacing):
    hardware, _ = read_hardware(SAMPLE)
    sill = Point("sill_anchor", species)
    wide = hold(hardware, "anchor bolt 5/8 in with plate washer", sill, spacing=spacing)
    close = hold(hardware, "anchor bolt 5/8 in with plate washer", sill, spacing=spacing / 2)
    for component, value in wide.allowable["wind"].items():
        assert close.allowable["wind"][component] == pytest.approx(2 * value)
    tie = Point("truss_tie", species)
    one, two = (hold(hardware, "truss tie heavy", tie, pieces=n).allowable["wind"] for n in (1, 2))
    assert two == {c: 2 * v for c, v in one.items()}


def test_denser_wood_never_holds_less(sample):
    # Common nails, bolts, sheathing: SP >= DF-L >= HF >= SPF (bearing depends on Fc-perp instead).
    for key in ("truss_tie", "stud_nailing", "plate_splice", "plate_to_floor", "roof_sheathing", "wall_sheathing"):
        for option in options_for(key, sample):
            values = [
                capacity(option, Point(key, s), sample, D0).allowable["wind"] for s in ("SP", "DF-L", "HF", "SPF")
            ]
            for component in values[0]:
                held = [v[component] for v in values]
                assert all(math.isnan(v) for v in held) or held == sorted(held, reverse=True)


def test_options_stand_in_list_order(sample):
    options = options_for("truss_tie", sample)
    assert [o.row for o in options] == sorted(o.row for o in options)
    assert [o.arrangement for o in options if o.item == "truss tie light"] == ["1 each", "2 each"]
    spaced = [o.arrangement for o in options_for("storey_strap", sample)][:3]
    assert spaced == ["at 48 in", "at 32 in", "at 16 in"]


def test_derivation_is_kept(sample):
    held = hold(sample, "toe nails 3-10d", Point("truss_tie"))
    assert any("mode" in step and "NDS 2018" in step for step in held.derivation)
