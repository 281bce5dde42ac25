"""What an option holds at a connection point: listed loads, or wood and steel computed from the row's geometry.

The design method of the project decides which loads: allowable ones (ASD) or design strengths (LRFD). Listed rows give
each in columns of its own, and one is never turned into the other.

An option is a row of the hardware list in one arrangement (pieces, or a spacing). Its capacity is given for each
component of the connection, separately for wind and earthquake, in the component's own unit. No capacity is NaN, so
that a demand there fails. Whether an option may be used at all (screw geometry, washers, framing, toe nails in high
seismic categories) is said beside the numbers, with the reason.

Directions act together by the sum of ratios. For computed nails this sum is NDS 2018 eq. 12.4-2 itself; for wood and
lag screws it never falls below the ratio of eq. 12.4-1, so it covers it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass

from screener.capacity_case import CapacityContext, Case, ConnectionPoint, Option, Piece
from screener.capacity_dowels import fastener_piece, roof_nails_piece
from screener.capacity_limits import open_notes, why_not
from screener.capacity_sheathing import diaphragm_piece, sheathing_tie_piece, wall_sheathing_piece
from screener.capacity_steel import post_piece, rod_piece, sill_bolt_piece, strap_piece
from screener.derivation import Recorder, Step
from screener.design_method import RESISTANCE_WORDS
from screener.families import Component, Family, family
from screener.hardware import Hardware
from screener.standards import nds_connections as nds
from screener.standards import sdpws_shear_walls as sdpws

HAZARDS: tuple[str, ...] = ("wind", "seismic")
NOT_LISTED: dict[str, str] = {
    "ASD": "no allowable load is listed: holds nothing by allowable stress design",
    "LRFD": "no design strength is listed: holds nothing by strength design",
}


@dataclass(frozen=True)
class Capacity:
    """What an option holds at a point. `allowable[hazard][component]` in the component's unit; NaN is none.

    Allowable loads or, by LRFD, design strengths: whatever the context's method asks for.
    """

    allowable: Mapping[str, Mapping[str, float]]
    usable: bool = True
    reason: str = ""
    notes: tuple[str, ...] = ()
    interaction: str = "sum"
    derivation: tuple[str, ...] = ()


def options_for(family_key: str, hardware: Hardware) -> list[Option]:
    """Every option for a family in a fixed order: rows as listed, each in its arrangements."""
    serves = family(family_key)
    return [option for index in hardware.for_family(family_key) for option in _arrangements(hardware, index, serves)]


def _arrangements(hardware: Hardware, index: int, serves: Family) -> list[Option]:
    """The arrangements of one row: its own list if it has one, else the family's."""
    row = hardware.rows[index]
    own = [float(part) for part in row.text("arrangements").replace(",", ";").split(";") if part.strip()]
    if serves.measure == "area":
        edge, inner = row.number("edge_spacing_in"), row.number("field_spacing_in", 12.0)
        return [Option(row.item, index, f"{edge:g}/{inner:g}")]
    if serves.measure == "per_ft":
        widest = serves.code_spacing_in if not math.isnan(serves.code_spacing_in) else math.inf
        spacings = [s for s in own or serves.spacings_in if s <= widest]
        return [Option(row.item, index, f"at {s:g} in", 1, s) for s in spacings]
    return [Option(row.item, index, f"{int(n)} each", int(n)) for n in own or serves.pieces]


def capacity(option: Option, point: ConnectionPoint, hardware: Hardware, context: CapacityContext) -> Capacity:
    """What an option holds at a point, by hazard and component; an option that buys nothing (row -1) holds nothing."""
    if option.row < 0:
        return Capacity({hazard: dict.fromkeys(point.components, math.nan) for hazard in HAZARDS})
    row, serves = hardware.rows[option.row], family(point.family)
    nothing = {hazard: dict.fromkeys(point.components, math.nan) for hazard in HAZARDS}
    try:
        wood = _wood(point, serves)
        cases = {h: Case(row, serves, point.facts, wood, context, h) for h in HAZARDS}
        pieces = {hazard: _piece(case) for hazard, case in cases.items()}
    except LookupError as error:
        return Capacity(nothing, False, str(error), interaction=row.interaction)
    allowable = {
        hazard: {c: _component(c, serves, pieces[hazard], option, cases[hazard]) for c in point.components}
        for hazard in HAZARDS
    }
    reason = why_not(option, cases["seismic"], point)
    notes = open_notes(cases["wind"], point, pieces["wind"])
    steps = tuple(f"{hazard}: {step}" for hazard in HAZARDS for step in pieces[hazard].steps)
    return Capacity(allowable, not reason, reason, notes, row.interaction, steps)


def known_capacity(option: Option, point: ConnectionPoint, hardware: Hardware, context: CapacityContext) -> Capacity:
    """`capacity`, worked out once for all connections of a list that differ in nothing it reads (names, say)."""
    facts = tuple(sorted((name, type(value).__name__, value) for name, value in point.facts.items()))
    key = (option, point.family, point.components, point.drop, point.species, facts, context)
    known: dict[Hashable, Capacity] = hardware.known_capacities
    if key not in known:
        known[key] = capacity(option, point, hardware, context)
    return known[key]


def capacity_steps(
    option: Option, point: ConnectionPoint, hardware: Hardware, context: CapacityContext, hazard: str
) -> list[Step]:
    """How `capacity` comes by its numbers under one hazard, recorded while the same functions run; else empty."""
    row, serves, record = hardware.rows[option.row], family(point.family), Recorder()
    try:
        case = Case(row, serves, point.facts, _wood(point, serves), context, hazard, record)
        piece = _piece(case)
    except LookupError:
        return []
    words = RESISTANCE_WORDS[context.method]
    for name in point.components:
        allowable = _component(name, serves, piece, option, case)
        direction = next(c.direction for c in serves.components if c.name == name)
        one = piece.loads.get(direction, math.nan)
        if math.isnan(one):
            case.note(f"{words} {name}", "none", {}, math.nan, name.rsplit("_", 1)[-1], row.source)
            continue
        formula, values = "one piece x pieces", {"piece": one, "pieces": float(option.pieces)}
        plain = one * option.pieces
        if serves.measure == "area":
            formula, values, plain = "as computed", {"piece": one}, one
        elif serves.measure == "per_ft":
            formula, values = "one piece x 12 / spacing", {"piece": one, "spacing_in": option.spacing_in}
            plain = one * 12.0 / option.spacing_in
        limit_plf = sdpws.toe_nail_seismic_limit_plf(context.method)
        limited = f"the toe-nail limit of {limit_plf:g} plf governs (SDPWS 4.1.7)" if allowable < plain else ""
        case.note(f"{words} {name}", formula, values, allowable, name.rsplit("_", 1)[-1], row.source, limited)
    return record.steps


def combined_ratio(demands: Mapping[str, float], held: Capacity, hazard: str) -> float:
    """Demand over capacity of one load case: the sum over directions, or the greatest where the list says none."""
    ratios = []
    for component, demand in demands.items():
        if demand > 0:
            limit = held.allowable[hazard][component]
            ratios.append(demand / limit if limit > 0 else math.inf)
    if not ratios:
        return 0.0
    return max(ratios) if held.interaction == "none" else math.fsum(ratios)


def _wood(point: ConnectionPoint, serves: Family) -> nds.Species:
    """The wood that governs: the sill's where the plan names it and the connection bears on it, else the framing's."""
    on_sill = serves.key in ("sill_anchor", "retrofit_anchor", "end_post")
    return nds.species(str(point.facts.get("sill_species", point.species)) if on_sill else point.species)


def _component(name: str, serves: Family, piece: Piece, option: Option, case: Case) -> float:
    """One component of an option, from what one piece holds: pieces, spacing, and the toe-nail limit."""
    component = next((c for c in serves.components if c.name == name), None)
    if component is None:
        raise LookupError(f"family {serves.key} has no component {name}; it has {', '.join(serves.component_names)}")
    one = piece.loads.get(component.direction, math.nan)
    if serves.measure == "area":
        return one
    total = one * 12.0 / option.spacing_in if serves.measure == "per_ft" else one * option.pieces
    return _toe_nail_limited(total, component, case)


def _toe_nail_limited(total: float, component: Component, case: Case) -> float:
    """Seismic shear through toe nails in categories D to F, at most 150 plf (LRFD 205): SDPWS 2015 4.1.7."""
    toe = case.row.basis == "computed" and case.row.text("placement") == "toe"
    if not (toe and case.hazard == "seismic" and case.context.category_d and component.direction == "parallel"):
        return total
    limit_plf = sdpws.toe_nail_seismic_limit_plf(case.context.method)
    if component.name.endswith("_plf"):
        return min(total, limit_plf)
    spacing_in = case.facts.get("truss_spacing_in")
    return min(total, limit_plf * float(spacing_in) / 12.0) if spacing_in else math.nan


def _piece(case: Case) -> Piece:
    """What one piece, foot or square foot holds: listed, or computed by the kind of geometry that the row gives."""
    if case.row.basis != "computed":
        return _listed(case)
    by_family: dict[str, Callable[[Case], Piece]] = {
        "wall_sheathing": wall_sheathing_piece,
        "roof_diaphragm": diaphragm_piece,
        "floor_diaphragm": diaphragm_piece,
        "roof_sheathing": roof_nails_piece,
        "end_post": post_piece,
    }
    if case.family.key in by_family:
        return by_family[case.family.key](case)
    if "steel_width_in" in case.row.values:
        return strap_piece(case)
    if "bolt_diameter_in" in case.row.values:
        return rod_piece(case) if case.family.key == "hold_down_anchor" else sill_bolt_piece(case)
    if case.row.number("extra_nails_per_ft", 0.0) > 0:
        return sheathing_tie_piece(case)
    if "fastener" in case.row.values:
        return fastener_piece(case)
    raise LookupError("the row gives no geometry to compute from: fastener, bolt_diameter_in or steel_width_in")


def _listed(case: Case) -> Piece:
    """Listed loads by direction and species group, as given: never increased for load duration, nor converted."""
    piece = Piece()
    if not case.wood.load_group:
        piece.notes.append(f"listed loads do not reach {case.wood.name} (G {case.wood.specific_gravity:g})")
        return piece
    for component in case.family.components:
        value = case.row.listed_lb(component.direction, case.wood.load_group, case.context.method)
        piece.loads[component.direction] = value
        if not math.isnan(value):
            about = {"species": case.wood.name, "group": case.wood.load_group}
            case.note(f"listed {component.direction}", "as listed", about, value, "lb", case.row.source)
        if not math.isnan(value):
            piece.steps.append(f"{component.direction} {value:g} lb for {case.wood.name}, listed: {case.row.source}")
    if not case.row.lists_for(case.context.method):
        piece.notes.append(NOT_LISTED[case.context.method])
    if case.context.method == "ASD" and case.row.load_duration_included is False:
        piece.notes.append("listed without load duration; no increase taken")
    return piece
