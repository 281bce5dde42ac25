"""Statics of the demand model against a general-purpose frame-analysis library (PyNiteFEA), within 0.1 %.

Every structure here is statically determinate, so stiffness does not matter: members get any stiff section. The frame
library sees loads, supports and hinges only; what it must reproduce are the reactions the tool works out by lever.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from demand_houses import ABACUS, demand, lots, model_of_file, model_of_text, plan_file, plan_text, worst_of
from Pynite import FEModel3D  # type: ignore[import-untyped]

from screener.demands import build_model, load_basis
from screener.house_loads import HouseLoads
from screener.line_loads import LineLoad
from screener.load_path import trace_load_path
from screener.load_states import Frame
from screener.plans import RoofPart, Variant
from screener.roof_loads import eave_rows, roof_context, strip_reactions, surface_rows
from screener.wind_pressures import RoofContext, slope_angle_deg
from screener.wind_pressures import Stretch as AlongRidge
from screener.wind_states import Procedure, internal_column

REL = 0.001
Q = 27.0
GCPI = 0.18


class Plane:
    """A plane frame of stiff members: nodes by name, loads per foot of member length, supports, hinges."""

    def __init__(self) -> None:
        self.model = FEModel3D()
        self.model.add_material("stiff", 29e6, 11e6, 0.3, 0.0)
        self.model.add_section("stiff", 1e3, 1e4, 1e4, 1e4)
        self.supported: set[str] = set()

    def node(self, name: str, x: float, y: float = 0.0) -> None:
        self.model.add_node(name, x, y, 0.0)

    def member(self, name: str, a: str, b: str, hinge_at_b: bool = False) -> None:
        self.model.add_member(name, a, b, "stiff", "stiff")
        if hinge_at_b:
            self.model.def_releases(name, Rzj=True)

    def spread(self, member: str, direction: str, w1: float, w2: float, x1: float, x2: float) -> None:
        self.model.add_member_dist_load(member, direction, w1, w2, x1, x2)

    def support(self, name: str, pinned: bool) -> None:
        self.model.def_support(name, pinned, True, True, True, True, False)
        self.supported.add(name)

    def solve(self) -> dict[str, float]:
        """Vertical reactions, up is positive."""
        for name in self.model.nodes:
            if name not in self.supported:
                self.model.def_support(name, False, False, True, True, True, False)
        self.model.analyze_linear(check_stability=False)
        return {n: float(self.model.nodes[n].RxnFY["Combo 1"]) for n in self.supported}


def beam_reactions(
    load: list[tuple[float, float, float, float]], points: list[tuple[float, float]], supports: list[float]
) -> list[float]:
    """Reactions of simple spans over ``supports`` (hinged over the inner ones), ends cantilevering; loads up."""
    places = [*supports, *(x for a, b, _, _ in load for x in (a, b)), *(s for s, _ in points)]
    marks = sorted({round(x, 6) for x in places})
    frame = Plane()
    for i, x in enumerate(marks):
        frame.node(f"n{i}", x)
    inner = {round(s, 6) for s in supports[1:-1]}
    for i, (_, b) in enumerate(pairwise(marks)):
        frame.member(f"m{i}", f"n{i}", f"n{i + 1}", hinge_at_b=b in inner)
        for lo, hi, at_lo, at_hi in load:
            a, c = max(lo, marks[i]), min(hi, marks[i + 1])
            if c - a > 1e-6:
                grade = (at_hi - at_lo) / (hi - lo)
                frame.spread(
                    f"m{i}", "FY", at_lo + grade * (a - lo), at_lo + grade * (c - lo), a - marks[i], c - marks[i]
                )
    for s, p in points:
        frame.model.add_node_load(f"n{marks.index(round(s, 6))}", "FY", p)
    names = [f"n{marks.index(round(s, 6))}" for s in supports]
    for k, name in enumerate(names):
        frame.support(name, pinned=k == 0)
    found = frame.solve()
    return [-found[n] for n in names]  # the support holds down what the load lifts


# --- trusses ---------------------------------------------------------------------------------------------------------

SHED_LIKE = """
schema = 1
plan = { name = "offset", species = "SPF", foundation = "slab", first_floor_height_ft = 0.5 }
weights.roof = { least_psf = 11.0, greatest_psf = 14.0 }
weights.exterior_wall = { least_psf = 9.0, greatest_psf = 10.0 }
weights.interior_wall = { least_psf = 6.0, greatest_psf = 7.0 }
weights.floor = { least_psf = 8.0, greatest_psf = 9.0 }
storey = [{ name = "1", wall_height_ft = 9, areas = [{ rect = [0, 0, 26, 40] }] }]
wall = [
    { name = "front", storey = "1", from = [0, 0], to = [26, 0], line = "F" },
    { name = "rear", storey = "1", from = [0, 40], to = [26, 40], line = "B" },
    { name = "left", storey = "1", from = [0, 0], to = [0, 40], line = "L" },
    { name = "right", storey = "1", from = [26, 0], to = [26, 40], line = "R" },
]

[[roof]]
name = "offset"
storey = "1"
shape = "gable"
rect = [0, 0, 26, 40]
ridge = "y"
ridge_at_ft = 9
pitch_in_12 = 9
heel_ft = 0.75
eave_overhang_ft = 2.0
rake_overhang_ft = 1.0
bearings = [{ at_ft = 0, wall = "left" }, { at_ft = 26, wall = "right" }]
end_walls = ["front", "rear"]
"""


@cache
def abacus_loads() -> HouseLoads:
    return trace_load_path(plan_file(ABACUS).variant(), "ASCE 7-16", "ASD")


def context(variant: Variant, procedure: Procedure = "envelope") -> RoofContext:
    return roof_context(Frame(len(variant.levels), "ASCE 7-16", "ASD", procedure), variant)


def windy(frame: Frame) -> np.ndarray:
    """Basis of one velocity pressure from everywhere, and the inside pressure that goes with it."""
    basis = np.zeros(len(frame.basis))
    for name in frame.velocities:
        basis[frame.column[name]], basis[frame.column[internal_column(name)]] = Q, Q * GCPI
    return basis


Stretch = tuple[str, float, float, float]
"""Side ("low", "high"), from and to (plan feet across the ridge), net outward pressure."""


def stretches(ctx: RoofContext, part: RoofPart, state: int, zone: str) -> list[Stretch]:
    """Pressures of one state along a strip (their values: hand check); suction of zone 2 ends at half the span."""
    basis = windy(ctx.frame)
    along = AlongRidge(zone)  # type: ignore[arg-type]
    lo, hi, o, half = part.across_lo, part.across_hi, part.eave_overhang_ft, 0.5 * part.span
    out = []
    if o:
        out.append(("low", lo - o, lo, float(eave_rows(ctx, part, "low", along)[state] @ basis)))
        out.append(("high", hi, hi + o, float(eave_rows(ctx, part, "high", along)[state] @ basis)))
    for a, b in pairwise(sorted({lo, lo + half, part.ridge_at, hi})):
        side = "low" if b <= part.ridge_at else "high"
        rows = surface_rows(ctx, part, side, along, 0.5 * (a + b))  # type: ignore[arg-type]
        out.append((side, a, b, float(rows[state] @ basis)))
    return out


def rafters(part: RoofPart, loads: list[Stretch], vertical: bool, horizontal: bool) -> tuple[float, float]:
    """Uplift at the two outer plates of a stiff frame of the strip's outline, pressed normal to its slopes."""
    frame = Plane()
    lo, hi, ridge, o = part.across_lo, part.across_hi, part.ridge_at, part.eave_overhang_ft
    slope = {s: math.radians(slope_angle_deg(part, s)) for s in ("low", "high")}
    frame.node("low plate", lo, 0.0)
    frame.node("high plate", hi, 0.0)
    frame.node("low heel", lo, part.heel_ft)
    frame.node("high heel", hi, part.heel_ft)
    frame.node("low tip", lo - o, part.heel_ft - o * math.tan(slope["low"]))
    frame.node("high tip", hi + o, part.heel_ft - o * math.tan(slope["high"]))
    frame.node("ridge", ridge, part.heel_ft + part.rise_ft)
    starts = {"low eave": lo - o, "low slope": lo, "high slope": ridge, "high eave": hi}
    for name, start, end in (
        ("low eave", "low tip", "low heel"),
        ("low slope", "low heel", "ridge"),
        ("high slope", "ridge", "high heel"),
        ("high eave", "high heel", "high tip"),
        ("low post", "low plate", "low heel"),
        ("high post", "high plate", "high heel"),
        ("chord", "low plate", "high plate"),
    ):
        frame.member(name, start, end)
    for side, a, b, p in loads:
        name = f"{side} {'slope' if lo - 1e-9 <= a and b <= hi + 1e-9 else 'eave'}"
        angle = slope[side]
        x1, x2 = (a - starts[name]) / math.cos(angle), (b - starts[name]) / math.cos(angle)
        if vertical:
            frame.spread(name, "FY", p * math.cos(angle), p * math.cos(angle), x1, x2)
        if horizontal:  # an outward normal leans away from the ridge
            push = p * math.sin(angle) * (-1.0 if side == "low" else 1.0)
            frame.spread(name, "FX", push, push, x1, x2)
    frame.support("low plate", pinned=True)
    frame.support("high plate", pinned=False)
    found = frame.solve()
    return -found["low plate"], -found["high plate"]


def strip(ctx: RoofContext, part: RoofPart, state: int, zone: str) -> list[float]:
    basis = windy(ctx.frame)
    return [float(e[state] @ basis) for e in strip_reactions(ctx, part, AlongRidge(zone))]  # type: ignore[arg-type]


@pytest.mark.parametrize("zone", ["low", "interior", "high"])
@pytest.mark.parametrize("house", ["abacus main", "offset ridge"])
@pytest.mark.parametrize("procedure", ["envelope", "directional"])
def test_truss_on_two_bearings(procedure: Procedure, house: str, zone: str) -> None:
    """Windward and leeward pressures normal to the slopes, overhangs on both sides, heel height: pinned and roller."""
    variant = plan_file(ABACUS).variant() if house == "abacus main" else plan_text(SHED_LIKE).variant()
    part = next(r for r in variant.roofs if r.name in ("main", "offset"))
    ctx = context(variant, procedure)
    for state in range(16):
        found = rafters(part, stretches(ctx, part, state, zone), vertical=True, horizontal=True)
        assert strip(ctx, part, state, zone) == pytest.approx(found, rel=REL, abs=0.01)


@pytest.mark.parametrize("zone", ["low", "interior", "high"])
@pytest.mark.parametrize("procedure", ["envelope", "directional"])
def test_truss_on_three_bearings(procedure: Procedure, zone: str) -> None:
    """Vertical loads on two spans hinged over the inner bearing; the horizontal parts' couple on the outer two."""
    variant = plan_file(ABACUS).variant()
    part = next(r for r in variant.roofs if r.name == "wing")
    ctx = context(variant, procedure)
    supports = [b for b, _ in part.bearings]
    for state in range(16):
        loads = stretches(ctx, part, state, zone)
        low, middle, high = beam_reactions([(a, b, p, p) for _, a, b, p in loads], [], supports)
        couple = rafters(part, loads, vertical=False, horizontal=True)
        assert strip(ctx, part, state, zone) == pytest.approx(
            [low + couple[0], middle, high + couple[1]], rel=REL, abs=0.01
        )


def test_half_the_span_times_the_pressure_is_not_the_reaction() -> None:
    """The short cut the frame library rules out: at both bearings it is off by far more than the tolerance."""
    variant = plan_file(ABACUS).variant()
    part = next(r for r in variant.roofs if r.name == "main")
    ctx = context(variant)
    largest = max(p for _, _, _, p in stretches(ctx, part, 4, "low"))
    for reaction in strip(ctx, part, 4, "low"):
        assert reaction != pytest.approx(largest * (part.span / 2 + part.eave_overhang_ft), rel=10 * REL)


# --- walls -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("point", ["stud nailing: front 2, end zone", "stud nailing: right 1, interior"])
def test_stud_as_a_beam_between_plates(point: str) -> None:
    """Reaction of a simply supported stud under the pressure of its zone (7-16 Figure 30.3-1, suction with +GCpi)."""
    height, zone5 = (8.0, True) if "front 2" in point else (9.0, False)
    area = height * height / 3
    gcp = (
        (1.4 - 0.6 * math.log10(area / 10) / math.log10(50))
        if zone5
        else (1.1 - 0.3 * math.log10(area / 10) / math.log10(50))
    )
    load = 0.6 * Q * (gcp + GCPI) * 16 / 12
    ends = beam_reactions([(0.0, height, load, load)], [], [0.0, height])
    found = demand(model_of_file(ABACUS), lots(q_components_psf=Q), point, "perpendicular_lb")
    assert [found, found] == pytest.approx(ends, rel=REL)


@pytest.mark.parametrize("name", ["front 2", "rear 2", "front 1", "rear 1", "left 2", "right 1", "cross 1"])
def test_header_levers_of_a_wall_with_openings(name: str) -> None:
    """Each header as a beam under what the wall's top brings over it and the wall above it: winds and weights."""
    house = abacus_loads()
    loads, frame = house.loads[name], house.frame
    basis = np.ones(len(frame.basis))
    basis[frame.column["q_envelope_psf"]] = basis[frame.column["q_components_psf"]] = Q
    rows = [*range(0, 16, 3), frame.row["dead_least"], frame.row["floor_live"]]
    psf = house.variant.weights["exterior_wall" if loads.wall.exterior else "interior_wall"][0]
    for o in loads.wall.openings:
        for row in rows:

            def value(effect: np.ndarray, row: int = row) -> float:
                return float(effect[row] @ basis)

            pieces = [
                (max(a, o.lo), min(b, o.hi), value(ea), value(eb))
                for a, b, ea, eb in loads.top.pieces
                if min(b, o.hi) - max(a, o.lo) > 1e-6
            ]
            if row == frame.row["dead_least"]:
                head = -psf * (loads.wall.height_ft - o.head_ft)
                pieces.append((o.lo, o.hi, head, head))
            points = [(s, value(e)) for s, e in loads.top.points if o.lo + 1e-6 < s < o.hi - 1e-6]
            ends = beam_reactions(pieces, points, [o.lo, o.hi]) if pieces or points else [0.0, 0.0]
            for place, truth in zip((o.lo, o.hi), ends, strict=True):
                from_top = sum(value(e) for s, e in loads.top.points if abs(s - place) < 1e-6)
                at_foot = sum(value(e) for s, e in loads.foot.points if abs(s - place) < 1e-6)
                assert at_foot - from_top == pytest.approx(truth, rel=REL, abs=0.01)


# --- overturning -----------------------------------------------------------------------------------------------------

STACK = """
schema = 1
plan = {{ name = "stack", species = "SPF", foundation = "slab", first_floor_height_ft = 1, hold_down_offset_ft = 0.5 }}
weights.roof = {{ least_psf = {roof}, greatest_psf = {roof} }}
weights.exterior_wall = {{ least_psf = 10.0, greatest_psf = 10.0 }}
weights.interior_wall = {{ least_psf = 6.0, greatest_psf = 7.0 }}
weights.floor = {{ least_psf = 8.0, greatest_psf = 9.0 }}
storey = [
    {{ name = "1", wall_height_ft = 9, areas = [{{ rect = [0, 0, 12, 20] }}] }},
    {{ name = "2", wall_height_ft = 8, floor_depth_ft = {floor}, areas = [{{ rect = [0, 0, 12, 20] }}] }},
]
wall = [
    {{ name = "front 1", storey = "1", from = [0, 0], to = [12, 0], line = "F", floor_tributary_ft = 10 }},
    {{ name = "rear 1", storey = "1", from = [0, 20], to = [12, 20], line = "B", floor_tributary_ft = 10 }},
    {{ name = "left 1", storey = "1", from = [0, 0], to = [0, 20], line = "L" }},
    {{ name = "right 1", storey = "1", from = [12, 0], to = [12, 20], line = "R" }},
    {{ name = "front 2", storey = "2", from = [0, 0], to = [12, 0], line = "F" }},
    {{ name = "rear 2", storey = "2", from = [0, 20], to = [12, 20], line = "B" }},
    {{ name = "left 2", storey = "2", from = [0, 0], to = [0, 20], line = "L" }},
    {{ name = "right 2", storey = "2", from = [12, 0], to = [12, 20], line = "R" }},
]

[[roof]]
name = "top"
storey = "2"
shape = "gable"
rect = [0, 0, 12, 20]
ridge = "y"
pitch_in_12 = 4
eave_overhang_ft = 0
bearings = [{{ at_ft = 0, wall = "left 2" }}, {{ at_ft = 12, wall = "right 2" }}]
end_walls = ["front 2", "rear 2"]
"""


@pytest.mark.parametrize("floor", [0.0, 1.25])
def test_overturning_of_a_stacked_wall_as_a_rigid_body(floor: float) -> None:
    """Two storeys of one 12 ft panel on a compression edge and a hold-down 11.5 ft from it, under an earthquake."""
    model = model_of_text(STACK.format(roof=12.0, floor=floor))
    quake = lots(sds_g=1.0, sd1_g=0.6, s1_g=0.4)
    basis = load_basis(model, quake)[0]
    storey = [0.7 * basis[model.frame.column[f"rho_storey_force_lb_{i}"]] / 2 for i in (1, 2)]  # half to each line
    dead = (0.6 - 0.14 * 1.0) * (10 * 8 + 10 * 9 + 8 * 10 + 12 * 1.0)  # walls, floor, one foot of gable end, plf
    frame = Plane()
    for name, x, y in (
        ("edge", 0, 0),
        ("tie", 11.5, 0),
        ("end", 12, 0),
        ("floor", 0, 9 + floor),
        ("top", 0, 17 + floor),
    ):
        frame.node(name, x, y)
    for name, a, b in (
        ("sill", "edge", "tie"),
        ("rest", "tie", "end"),
        ("low", "edge", "floor"),
        ("up", "floor", "top"),
    ):
        frame.member(name, a, b)
    frame.spread("sill", "FY", -dead, -dead, 0, 11.5)
    frame.spread("rest", "FY", -dead, -dead, 0, 0.5)
    frame.model.add_node_load("floor", "FX", -storey[0])
    frame.model.add_node_load("top", "FX", -storey[1])
    frame.support("edge", pinned=True)
    frame.support("tie", pinned=False)
    tension = -frame.solve()["tie"]
    assert tension > 0
    # the least wind load would govern this small house: ask the seismic cases alone
    found = worst_of(model, basis, "hold-down: front 1, segment 1 (12.0 ft)", "tension_lb", "seismic")
    assert found == pytest.approx(tension, rel=REL)


PIER = """
schema = 1
plan = {{ name = "pier", species = "SPF", foundation = "slab", first_floor_height_ft = 1, hold_down_offset_ft = 0.5 }}
weights.roof = {{ least_psf = {roof}, greatest_psf = {roof} }}
weights.exterior_wall = {{ least_psf = {wall}, greatest_psf = {wall} }}
weights.interior_wall = {{ least_psf = 6.0, greatest_psf = 7.0 }}
weights.floor = {{ least_psf = 8.0, greatest_psf = 9.0 }}
storey = [{{ name = "1", wall_height_ft = 9, areas = [{{ rect = [0, 0, 34, 24] }}] }}]

[[wall]]
name = "front"
storey = "1"
from = [0, 0]
to = [34, 0]
line = "F"
openings = [
    {{ name = "door", from_ft = 8, width_ft = 6, height_ft = 7 }},
    {{ name = "window", from_ft = 20, width_ft = 8, height_ft = 4, sill_ft = 3 }},
]
[[wall]]
name = "rear"
storey = "1"
from = [0, 24]
to = [34, 24]
line = "B"
[[wall]]
name = "left"
storey = "1"
from = [0, 0]
to = [0, 24]
line = "L"
[[wall]]
name = "right"
storey = "1"
from = [34, 0]
to = [34, 24]
line = "R"

[[roof]]
name = "top"
storey = "1"
shape = "gable"
rect = [0, 0, 34, 24]
ridge = "x"
pitch_in_12 = 4
eave_overhang_ft = 1
rake_overhang_ft = 1
bearings = [{{ at_ft = 0, wall = "front" }}, {{ at_ft = 24, wall = "rear" }}]
end_walls = ["left", "right"]
"""


def pier_tension(push: float, spread: float, at_edge: float, at_end: float) -> float:
    """Pull at a hold-down 5.5 ft from the compression edge of a rigid pier 6 ft long and 9 ft high; loads up."""
    frame = Plane()
    for name, x, y in (("edge", 0, 0), ("tie", 5.5, 0), ("end", 6, 0), ("top", 0, 9)):
        frame.node(name, x, y)
    for name, a, b in (("sill", "edge", "tie"), ("rest", "tie", "end"), ("post", "edge", "top")):
        frame.member(name, a, b)
    frame.spread("sill", "FY", spread, spread, 0, 5.5)
    frame.spread("rest", "FY", spread, spread, 0, 0.5)
    frame.model.add_node_load("edge", "FY", at_edge)
    frame.model.add_node_load("end", "FY", at_end)
    frame.model.add_node_load("top", "FX", -push)  # tips the pier on to its edge, lifts the far end
    frame.support("edge", pinned=True)
    frame.support("tie", pinned=False)
    return -frame.solve()["tie"]


@pytest.mark.parametrize(
    ("roof", "wall", "lifted"),
    [
        pytest.param(22.0, 14.0, False, id="weight left over"),
        pytest.param(
            4.0,
            3.0,
            True,
            id="lifted as a whole",
        ),
    ],
)
def test_hold_down_between_two_openings_in_either_form(roof: float, wall: float, lifted: bool) -> None:
    """Wind on a pier 14-20 ft with headers landing at both ends, as a rigid body on an edge and a tie.

    Where weight is left over, all loads count. Where the wind lifts the pier as a whole, its studs and sill hold the
    spread uplift and only what the headers bring pulls at the hold-down.
    """
    model = model_of_text(PIER.format(roof=roof, wall=wall))
    house = trace_load_path(model.variant, "ASCE 7-16", "ASD")
    basis = load_basis(model, lots(q_envelope_psf=34.0))[0]
    top, dead = house.loads["front"].top, house.frame.row["dead_least"]
    found, form = [], []
    for row in range(len(house.frame.wind)):

        def net(effect: np.ndarray, row: int = row) -> float:
            return float(0.6 * (effect[row] @ basis) + 0.6 * effect[dead, 0])

        def header(lo: float, hi: float, head_ft: float) -> list[float]:
            loads = [
                (max(a, lo), min(b, hi), net(ea), net(eb))
                for a, b, ea, eb in top.pieces
                if min(b, hi) - max(a, lo) > 1e-6
            ]
            above = -0.6 * wall * head_ft
            return beam_reactions([*loads, (lo, hi, above, above)], [], [lo, hi])

        push = 0.6 * float(house.lateral[0, "x"].line_force["F"][row] @ basis) * 6 / (8 + 6 + 6)
        at_14, at_20 = header(8, 14, 2.0)[1], header(20, 28, 2.0)[0]
        spread = net(top.density_at(17.0)) - 0.6 * wall * 9
        for force, edge, end in ((push, at_20, at_14), (-push, at_14, at_20)):
            whole, jambs = (pier_tension(force, w, edge, end) for w in (spread, 0.0))
            found.append(min(whole, jambs))
            form.append(jambs < whole)
    assert form[int(np.argmax(found))] is lifted
    value = worst_of(model, basis, "hold-down: front, segment 2 (6.0 ft)", "tension_lb", "wind")
    assert value == pytest.approx(max(found), rel=REL)


TWO_BELOW = """
schema = 1
plan = {{ name = "two", species = "SPF", foundation = "slab", first_floor_height_ft = 1 }}
weights.roof = {{ least_psf = 10.0, greatest_psf = 12.0 }}
weights.exterior_wall = {{ least_psf = 9.0, greatest_psf = 10.0 }}
weights.interior_wall = {{ least_psf = 6.0, greatest_psf = 7.0 }}
weights.floor = {{ least_psf = 8.0, greatest_psf = 9.0 }}
storey = [
    {{ name = "1", wall_height_ft = 9, areas = [{{ rect = [0, 0, 30, 20] }}] }},
    {{ name = "2", wall_height_ft = 8, floor_depth_ft = 1, areas = [{{ rect = [0, 0, 30, 20] }}] }},
]
wall = [
    {{ name = "front 1a", storey = "1", from = [0, 0], to = [18, 0], line = "F" }},
    {{ name = "front 1b", storey = "1", from = [18, 0], to = [{stop}, 0], line = "F" }},
    {{ name = "rear 1", storey = "1", from = [0, 20], to = [30, 20], line = "B" }},
    {{ name = "left 1", storey = "1", from = [0, 0], to = [0, 20], line = "L" }},
    {{ name = "right 1", storey = "1", from = [30, 0], to = [30, 20], line = "R" }},
    {{ name = "front 2", storey = "2", from = [0, 0], to = [30, 0], line = "F", openings = [
        {{ name = "window", from_ft = 15, width_ft = 5, height_ft = 4, sill_ft = 3 }} ] }},
    {{ name = "rear 2", storey = "2", from = [0, 20], to = [30, 20], line = "B" }},
    {{ name = "left 2", storey = "2", from = [0, 0], to = [0, 20], line = "L" }},
    {{ name = "right 2", storey = "2", from = [30, 0], to = [30, 20], line = "R" }},
]

[[roof]]
name = "top"
storey = "2"
shape = "gable"
rect = [0, 0, 30, 20]
ridge = "x"
pitch_in_12 = 5
eave_overhang_ft = 1
rake_overhang_ft = 1
bearings = [{{ at_ft = 0, wall = "front 2" }}, {{ at_ft = 20, wall = "rear 2" }}]
end_walls = ["left 2", "right 2"]
"""


@pytest.mark.parametrize("stop", [30, 26])
def test_upper_wall_on_two_walls_keeps_place_and_moment(stop: int) -> None:
    """Each lower wall gets what stands over it where it stands; past the last wall's end (26 ft), at that end."""
    house = trace_load_path(plan_text(TWO_BELOW.format(stop=stop)).variant(), "ASCE 7-16", "ASD")
    foot = house.loads["front 2"].foot
    assert foot.points
    assert np.abs(foot.total()).max() > 100
    first, second = (house.loads[f"front 1{k}"].top for k in "ab")
    assert first.total() == pytest.approx(foot.within(0, 18), abs=1e-6)
    assert second.total() == pytest.approx(foot.within(18, 30), abs=1e-6)
    assert first.moment(0.0) == pytest.approx(foot.moment(0.0, 0, 18), abs=1e-6)
    beyond = foot.within(stop, 30, ends=False) if stop < 30 else 0.0
    inside = foot.moment(0.0, 18, stop)
    assert second.moment(0.0) == pytest.approx(inside + beyond * stop, abs=1e-6)
    assert all(18 - 1e-9 <= s <= stop + 1e-9 for s, _ in second.points)
    # couples of the upper pieces land on the wall below them, whole
    couples = house.loads["front 2"].foot_couples
    below = [house.loads[f"front 1{k}"].couples for k in "ab"]
    assert below[0].total() + below[1].total() == pytest.approx(couples.total(), abs=1e-6)
    assert below[0].total() == pytest.approx(couples.within(0, 18), abs=1e-6)


# --- diaphragm -------------------------------------------------------------------------------------------------------


def test_diaphragm_as_a_beam_over_three_lines() -> None:
    """Level 1 of the abacus shaken along y: reactions of lines L, M, R and the chord force of the longer span."""
    model = model_of_file(ABACUS)
    quake = lots(sds_g=1.5, sd1_g=0.9, s1_g=0.5)  # strong enough to pass the least wind load
    basis = load_basis(model, quake)[0]
    weights: LineLoad = model.mass.spread[0, "y"]
    total = model.mass.level_lb[0]
    house = abacus_loads()
    row = len(model.frame.wind) + 2  # toward +y
    assert model.frame.seismic[2].axis == "y"
    force = basis[model.frame.column["rho_storey_force_lb_1"]] / total
    pieces = [(a, b, float(wa) * force, float(wb) * force) for a, b, wa, wb in weights.pieces]
    points = [(s, float(w) * force) for s, w in weights.points]
    found = beam_reactions(pieces, points, [0.0, 36.0, 56.0])
    lines = house.lateral[0, "y"].storey_force
    assert [float(lines[n][row] @ basis) for n in ("L", "M", "R")] == pytest.approx(found, rel=REL)

    push = 0.7 * basis[model.frame.column["diaphragm_force_lb_1"]] / total
    span = [(max(a, 0.0), min(b, 36.0), float(w) * push) for a, b, w, _ in weights.pieces if a < 36.0]
    tail = sum(float(w) * push * max(0.0, -a) * a / 2 for a, b, w, _ in weights.pieces if a < 0.0)  # none here
    low = beam_reactions([(a, b, w, w) for a, b, w in span], [], [0.0, 36.0])[0]
    moments = [
        low * x - sum(w * (min(b, x) - a) * (x - 0.5 * (a + min(b, x))) for a, b, w in span if a < x) + tail
        for x in np.linspace(0, 36, 11)[1:-1]
    ]
    across = demand(model, quake, "plate splice: storey 1", "tension_lb")
    assert across == pytest.approx(max(moments) / 28.0, rel=REL)


def test_build_model_is_the_traced_load_path() -> None:
    """The frame-library tests look inside ``trace_load_path``; the demand model is built from the same."""
    variant = plan_file(ABACUS).variant()
    traced, built = trace_load_path(variant, "ASCE 7-16", "ASD"), build_model(variant, "ASCE 7-16", "ASD")
    assert [p.name for p in traced.points] == [p.name for p in built.points]
