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
from dataclasses import dataclass, field
from typing import Protocol

from screener.derivation import Recorder, Step
from screener.design_method import RESISTANCE_WORDS
from screener.families import Component, Family, family
from screener.hardware import Hardware, HardwareRow
from screener.hardware_cells import size_in
from screener.hardware_columns import GENERIC_FASTENERS, load_column
from screener.screw_geometry import exit_depth_in, screw_path, stays_within
from screener.sheathing_limits import PERFORATED_NOMINAL_MOST_PLF, sheathing_refused
from screener.standards import aisi_straps as aisi
from screener.standards import irc_fastening as irc
from screener.standards import nds_connections as nds
from screener.standards import sdpws_shear_walls as sdpws

HAZARDS: tuple[str, ...] = ("wind", "seismic")
PANEL_BEARING_PSI = 4650.0  # NDS 2018 Table 12R: wood structural panels, G 0.50
CONCRETE_NOT_CHECKED = "concrete not checked"
NOT_LISTED: dict[str, str] = {
    "ASD": "no allowable load is listed: holds nothing by allowable stress design",
    "LRFD": "no design strength is listed: holds nothing by strength design",
}


class ConnectionPoint(Protocol):
    """What a capacity needs to know of a connection point."""

    @property
    def family(self) -> str: ...
    @property
    def components(self) -> tuple[str, ...]: ...
    @property
    def drop(self) -> str: ...
    @property
    def species(self) -> str: ...
    @property
    def facts(self) -> Mapping[str, float | str | bool]: ...


@dataclass(frozen=True)
class CapacityContext:
    """What capacities depend on besides hardware and plan."""

    method: str = "ASD"  # or "LRFD"
    sdpws_edition: str = "2015"
    sdc: str = "D0"  # seismic design category, letters of IRC (D0, D1, D2) or ASCE 7

    @property
    def category_d(self) -> bool:
        """Seismic design category D or above."""
        return self.sdc[:1] in ("D", "E", "F")

    @property
    def rules_of_category(self) -> tuple[bool, bool]:
        """All that capacities depend on of the category: categories with the same rules have the same capacities."""
        return self.category_d, irc.plate_washers_needed(self.sdc)


@dataclass(frozen=True)
class Option:
    """One row of the hardware list in one arrangement."""

    item: str
    row: int  # index into Hardware.rows
    arrangement: str  # "1 each", "at 48 in", "6/12"
    pieces: int = 1
    spacing_in: float = math.nan


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


@dataclass
class _Piece:
    """What one piece (or one foot, or one square foot) holds by direction, with how it was found."""

    loads: dict[str, float] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    steps: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Case:
    """One row at one point under one hazard."""

    row: HardwareRow
    family: Family
    facts: Mapping[str, float | str | bool]
    wood: nds.Species
    context: CapacityContext
    hazard: str
    record: Recorder | None = None

    def note(
        self,
        what: str,
        formula: str,
        values: Mapping[str, float | str],
        result: float,
        unit: str,
        source: str,
        note: str = "",
    ) -> None:
        """A step of the derivation, kept only where one is asked for (``capacity_steps``)."""
        if self.record is not None:
            self.record.note(what, formula, values, result, unit, source, note)

    def fact(self, name: str, default: float = math.nan) -> float:
        """A number of the point; an error where it is needed and missing."""
        value = self.facts.get(name, default)
        if isinstance(value, str) or (isinstance(value, float) and math.isnan(value)):
            raise LookupError(f"the plan gives no {name} at this connection")
        return float(value)


# --- options ------------------------------------------------------------------------------------------------


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


# --- capacity -----------------------------------------------------------------------------------------------


def capacity(option: Option, point: ConnectionPoint, hardware: Hardware, context: CapacityContext) -> Capacity:
    """What an option holds at a point, by hazard and component; an option that buys nothing (row -1) holds nothing."""
    if option.row < 0:
        return Capacity({hazard: dict.fromkeys(point.components, math.nan) for hazard in HAZARDS})
    row, serves = hardware.rows[option.row], family(point.family)
    nothing = {hazard: dict.fromkeys(point.components, math.nan) for hazard in HAZARDS}
    try:
        wood = _wood(point, serves)
        cases = {h: _Case(row, serves, point.facts, wood, context, h) for h in HAZARDS}
        pieces = {hazard: _piece(case) for hazard, case in cases.items()}
    except LookupError as error:
        return Capacity(nothing, False, str(error), interaction=row.interaction)
    allowable = {
        hazard: {c: _component(c, serves, pieces[hazard], option, cases[hazard]) for c in point.components}
        for hazard in HAZARDS
    }
    reason = _why_not(option, cases["seismic"], point)
    notes = _notes(cases["wind"], point, pieces["wind"])
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
        case = _Case(row, serves, point.facts, _wood(point, serves), context, hazard, record)
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


def _component(name: str, serves: Family, piece: _Piece, option: Option, case: _Case) -> float:
    """One component of an option, from what one piece holds: pieces, spacing, and the toe-nail limit."""
    component = next((c for c in serves.components if c.name == name), None)
    if component is None:
        raise LookupError(f"family {serves.key} has no component {name}; it has {', '.join(serves.component_names)}")
    one = piece.loads.get(component.direction, math.nan)
    if serves.measure == "area":
        return one
    total = one * 12.0 / option.spacing_in if serves.measure == "per_ft" else one * option.pieces
    return _toe_nail_limited(total, component, case)


def _toe_nail_limited(total: float, component: Component, case: _Case) -> float:
    """Seismic shear through toe nails in categories D to F, at most 150 plf (LRFD 205): SDPWS 2015 4.1.7."""
    toe = case.row.basis == "computed" and case.row.text("placement") == "toe"
    if not (toe and case.hazard == "seismic" and case.context.category_d and component.direction == "parallel"):
        return total
    limit_plf = sdpws.toe_nail_seismic_limit_plf(case.context.method)
    if component.name.endswith("_plf"):
        return min(total, limit_plf)
    spacing_in = case.facts.get("truss_spacing_in")
    return min(total, limit_plf * float(spacing_in) / 12.0) if spacing_in else math.nan


# --- what one piece holds -----------------------------------------------------------------------------------


def _piece(case: _Case) -> _Piece:
    """What one piece, foot or square foot holds: listed, or computed by the kind of geometry that the row gives."""
    if case.row.basis != "computed":
        return _listed(case)
    by_family: dict[str, Callable[[_Case], _Piece]] = {
        "wall_sheathing": _wall_sheathing,
        "roof_diaphragm": _diaphragm,
        "floor_diaphragm": _diaphragm,
        "roof_sheathing": _roof_nails,
        "end_post": _post_bearing,
    }
    if case.family.key in by_family:
        return by_family[case.family.key](case)
    if "steel_width_in" in case.row.values:
        return _strap(case)
    if "bolt_diameter_in" in case.row.values:
        return _rod(case) if case.family.key == "hold_down_anchor" else _sill_bolt(case)
    if case.row.number("extra_nails_per_ft", 0.0) > 0:
        return _sheathing_tie(case)
    if "fastener" in case.row.values:
        return _fasteners(case)
    raise LookupError("the row gives no geometry to compute from: fastener, bolt_diameter_in or steel_width_in")


def _listed(case: _Case) -> _Piece:
    """Listed loads by direction and species group, as given: never increased for load duration, nor converted."""
    piece = _Piece()
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


@dataclass(frozen=True)
class _Dowel:
    """The nail or screw of a row, standard or given by its numbers."""

    kind: str
    diameter_in: float
    root_in: float
    length_in: float
    fyb_psi: float
    head_in: float
    thread_in: float


def _dowel(row: HardwareRow) -> _Dowel:
    """The fastener of a row: a standard one of the table, its numbers replaced where the row gives its own."""
    name = row.text("fastener")
    if name in nds.fastener_names():
        standard = nds.fastener(name)
    elif name in GENERIC_FASTENERS:
        d = row.number("fastener_diameter_in")
        standard = nds.Fastener(name, name, d, math.nan, d, math.nan, float(nds.nail_bending_yield_psi(d)), math.nan)
    else:
        raise LookupError(f"fastener `{name}` is unknown; expected one of {', '.join(nds.fastener_names())}, or nail")
    diameter = row.number("fastener_diameter_in", standard.diameter_in)
    length = row.number("fastener_length_in", standard.length_in)
    if math.isnan(diameter) or math.isnan(length):
        raise LookupError(f"fastener `{name}` needs fastener_diameter_in and fastener_length_in")
    root = standard.root_diameter_in if diameter == standard.diameter_in else diameter
    thread = row.number("thread_length_in", standard.ring_length_in)
    return _Dowel(standard.kind, diameter, root, length, standard.bending_yield_psi, standard.head_diameter_in, thread)


def _fasteners(case: _Case) -> _Piece:
    """Nails or screws of one piece or one spacing: NDS 2018 chapter 12 with load duration, toe-nail and end factors."""
    row, g = case.row, case.wood.specific_gravity
    dowel, placement = _dowel(row), row.text("placement", "face")
    side = row.number("side_thickness_in", 1.5)
    penetration = dowel.length_in - side - row.number("gap_thickness_in", 0.0)
    through = False
    withdrawn = penetration
    if placement == "toe":
        side, penetration, withdrawn = (float(v) for v in nds.toe_nail_lengths_in(dowel.length_in))
    elif penetration > row.number("main_thickness_in", math.inf):
        penetration, through = row.number("main_thickness_in"), True
        withdrawn = penetration
    group = row.number("fastener_count", 1.0) * nds.method_factor("connection", case.context.method)
    factors = nds.method_words("connection", case.context.method)
    symbols = nds.method_symbols("connection", case.context.method)
    by = nds.method_values("connection", case.context.method)
    piece = _Piece()
    for component in case.family.components:
        if component.action == "lateral":
            bearing = float(nds.dowel_bearing_psi(g, dowel.diameter_in, component.angle_deg))
            z, mode = _lateral(dowel, side, bearing, penetration, g, component.angle_deg, through)
            factor = {"toe": nds.factor("toe_nail_lateral"), "end": nds.factor("end_grain_lateral")}.get(placement, 1.0)
            piece.loads[component.direction] = z * group * factor
            piece.steps.append(
                f"{component.direction}: Z {z:.1f} lb (mode {mode}, penetration {penetration:.2f} in) x "
                f"{group:g} (count x {factors}) x {factor:g} ({placement}); NDS 2018 12.3, 12.5"
            )
            _tell_lateral(case, dowel, side, bearing, penetration, component.angle_deg, through)
            case.note(
                f"{component.direction} of one piece",
                f"Z x count{symbols} x Ctn or Ceg",
                {"Z_lb": z, f"count{symbols}": group, **by, f"factor, {placement}": factor},
                piece.loads[component.direction],
                "lb",
                "NDS 2018 11.3, 12.5",
            )
        elif component.action == "withdrawal":
            piece.loads[component.direction] = _withdrawal(dowel, g, withdrawn, side, placement) * group
            piece.steps.append(
                f"{component.direction}: withdrawal over {withdrawn:.2f} in x {group:g} (count x {factors}), "
                f"{placement}; NDS 2018 12.2, 12.5"
            )
            _tell_withdrawal(case, dowel, withdrawn, side, placement)
            case.note(
                f"{component.direction} of one piece",
                f"W x count{symbols}",
                {f"count{symbols}": group, **by},
                piece.loads[component.direction],
                "lb",
                "NDS 2018 11.3, 12.5",
            )
    return piece


def _lateral(
    dowel: _Dowel, side: float, bearing: float, penetration: float, g: float, angle: float = 0.0, through: bool = False
) -> tuple[float, str]:
    return nds.dowel_lateral_lb(
        dowel.kind, dowel.diameter_in, dowel.root_in, dowel.fyb_psi, side, bearing, penetration, g, angle, through
    )


def _tell_lateral(
    case: _Case, dowel: _Dowel, side: float, bearing: float, penetration: float, angle: float, through: bool = False
) -> None:
    """The yield modes behind one lateral value, for a derivation."""
    if case.record is None:
        return
    g = case.wood.specific_gravity
    found = nds.dowel_lateral(
        dowel.kind, dowel.diameter_in, dowel.root_in, dowel.fyb_psi, side, bearing, penetration, g, angle, through
    )
    case.note(
        f"lateral value Z of one {dowel.kind}",
        "least of the six yield modes x share of a short penetration",
        {
            "D_in": dowel.root_in,
            "lm_in": found.main_length_in,
            "ls_in": side,
            "Fem_psi": found.main_bearing_psi,
            "Fes_psi": bearing,
            "Fyb_psi": dowel.fyb_psi,
            "Rd": " ".join(f"{r:g}" for r in found.reduction),
            "G": g,
            "angle_deg": angle,
            **{f"mode {name}": value for name, value in zip(nds.MODES, found.modes_lb, strict=True)},
            "penetration_in": penetration,
            "share": found.share,
        },
        found.value_lb,
        "lb",
        "NDS 2018 12.3.1, Tables 12.3.1A, 12.3.1B, 12.3.3",
        f"mode {found.mode} governs",
    )


def _tell_withdrawal(case: _Case, dowel: _Dowel, penetration: float, side: float, placement: str) -> None:
    """The parts of one withdrawal value, for a derivation."""
    if case.record is None:
        return
    g = case.wood.specific_gravity
    length = penetration if math.isnan(dowel.thread_in) else min(penetration, dowel.thread_in)
    values: dict[str, float | str] = {
        "W_lb_per_in": float(nds.withdrawal_lb_per_in(dowel.kind, g, dowel.diameter_in)),
        "length_in": length,
        "G": g,
        "D_in": dowel.diameter_in,
    }
    if placement == "toe":
        values["Ctn"] = nds.factor("toe_nail_withdrawal")
    elif placement != "end" and not math.isnan(dowel.head_in):
        values["head_pull_through_lb"] = float(nds.head_pull_through_lb(dowel.head_in, g, side))
        values |= {"head_in": dowel.head_in, "ts_in": side}
    held = _withdrawal(dowel, g, penetration, side, placement)
    w = f"W = {nds.withdrawal_words(dowel.kind)}"
    head = "690 pi DH G^2 ts to ts = 2.5 DH, 1725 pi DH^2 G^2 beyond"
    formula = (
        f"W x length x Ctn, {w}" if placement == "toe" else f"lesser of W x length and head pull-through, {w}; {head}"
    )
    case.note(f"withdrawal of one {dowel.kind}", formula, values, held, "lb", "NDS 2018 12.2, 12.5")


def _withdrawal(dowel: _Dowel, g: float, penetration: float, side: float, placement: str) -> float:
    """Reference withdrawal of one fastener, no more than its head holds; none in end grain (lag screws 0.75)."""
    length = penetration if math.isnan(dowel.thread_in) else min(penetration, dowel.thread_in)
    per_in = float(nds.withdrawal_lb_per_in(dowel.kind, g, dowel.diameter_in))
    if placement == "end":
        return per_in * length * nds.factor("end_grain_lag_withdrawal") if dowel.kind == "lag screw" else math.nan
    if placement == "toe":
        return per_in * length * nds.factor("toe_nail_withdrawal")
    head = math.inf
    if not math.isnan(dowel.head_in):
        head = float(nds.head_pull_through_lb(dowel.head_in, g, side))
    return min(per_in * length, head)


def _roof_nails(case: _Case) -> _Piece:
    """Suction that roof panel nails hold: withdrawal and head pull-through over a nail's area. NDS 2018 12.2."""
    row, g = case.row, case.wood.specific_gravity
    dowel, panel = _dowel(row), size_in(row.text("panel_thickness_in"))
    spacing_in = case.fact("framing_spacing_in", case.facts.get("truss_spacing_in", math.nan))  # type: ignore[arg-type]
    penetration = dowel.length_in - panel
    length = penetration if math.isnan(dowel.thread_in) else min(penetration, dowel.thread_in)
    pulled = float(nds.withdrawal_lb_per_in(dowel.kind, g, dowel.diameter_in)) * length
    panel_g = row.number("panel_specific_gravity", 0.42)
    head = float(nds.head_pull_through_lb(dowel.head_in, panel_g, panel))
    method = case.context.method
    nail = min(pulled, math.inf if math.isnan(head) else head) * nds.method_factor("connection", method)
    # Nails between panel edges carry a full bay; those along an edge half a bay each.
    area = (
        max(row.number("field_spacing_in", 12.0) * spacing_in, row.number("edge_spacing_in") * spacing_in / 2) / 144.0
    )
    case.note(
        "suction held by one square foot",
        f"lesser of withdrawal and head pull-through{nds.method_symbols('connection', method)} / area of one nail",
        {
            "withdrawal_lb": pulled,
            "length_in": length,
            "head_lb": head,
            **nds.method_values("connection", method),
            "area_sqft": area,
            "framing_in": spacing_in,
            "edge_in": row.number("edge_spacing_in"),
            "field_in": row.number("field_spacing_in", 12.0),
        },
        nail / area,
        "psf",
        "NDS 2018 12.2",
    )
    step = (
        f"uplift: least of withdrawal {pulled:.1f} and head pull-through {head:.1f} lb x "
        f"{nds.method_words('connection', method)} over {area:.2f} sq ft; NDS 2018 12.2"
    )
    return _Piece({"uplift": nail / area}, [], [step])


def _wall_sheathing(case: _Case) -> _Piece:
    """Unit shear that a sheathed wall may carry: SDPWS Table 4.3A or 4.3C, species, faces, blocking."""
    row, context = case.row, case.context
    thickness, edge = row.text("panel_thickness_in"), row.number("edge_spacing_in")
    blocking = row.text("blocking", "blocked")
    stud = case.fact("stud_spacing_in", 16.0)
    if row.text("panel_grade", "Sheathing") == "Gypsum":
        material = {"1/2": "1/2 GWB 5d cooler", "5/8": "5/8 GWB 6d cooler"}.get(thickness, thickness)
        nominal = sdpws.gypsum_nominal_plf(material, edge, blocking, stud, context.sdpws_edition, case.hazard)
        factor, table = 1.0, "4.3C"
    else:
        nominal = _panel_nominal_plf(case, thickness, edge)
        factor, table = float(sdpws.specific_gravity_factor(case.wood.specific_gravity)), "4.3A"
        if blocking == "unblocked":
            factor *= sdpws.unblocked_factor(edge, row.number("field_spacing_in", 12.0), stud)
        inside = bool(case.facts.get("hold_down_inside", False))
        factor *= sdpws.inside_hold_down_factor(_panel_nail(row), context.sdpws_edition, inside)
    faces = row.number("faces", 1.0)
    if case.facts.get("perforated", False):
        nominal = min(nominal, PERFORATED_NOMINAL_MOST_PLF[case.hazard] / faces)
    by = (context.sdpws_edition, case.hazard, context.method)
    held = float(sdpws.design_unit_shear_plf(nominal, *by)) * factor * faces
    most = PERFORATED_NOMINAL_MOST_PLF[case.hazard]
    case.note(
        "unit shear of the sheathed wall",
        f"nominal {sdpws.method_symbol(context.method)} x factors (species, blocking, hold-down) x faces",
        {
            "nominal_plf": nominal,
            **sdpws.method_values(*by),
            "factors": factor,
            "faces": faces,
            "panel_in": thickness,
            "edge_in": edge,
            "G": case.wood.specific_gravity,
        },
        held,
        "plf",
        f"SDPWS {context.sdpws_edition} Table {table}",
        f"perforated wall: nominal not more than {most:g} plf" if case.facts.get("perforated", False) else "",
    )
    step = (
        f"parallel: nominal {nominal:g} plf {sdpws.method_words(*by)} x "
        f"{factor:.3f} (species, blocking) x {faces:g} faces; SDPWS {context.sdpws_edition} Table {table}"
    )
    return _Piece({"parallel": held}, [], [step])


def _panel_nail(row: HardwareRow) -> str:
    """The nail as Table 4.3A names it: `8d` for an 8d common nail."""
    return row.text("fastener").removesuffix(" common")


def _panel_nominal_plf(case: _Case, thickness: str, edge: float) -> float:
    """Nominal unit shear of one face of a wood panel wall, at 16 in. studs or less where it is raised."""
    row = case.row
    raised = row.flag("raise_to_15_32") and case.fact("stud_spacing_in", 16.0) <= 16.0
    return sdpws.shear_wall_nominal_plf(
        row.text("panel_grade", "Sheathing"),
        thickness,
        _panel_nail(row),
        edge,
        case.context.sdpws_edition,
        case.hazard,
        raised,
    )


def _diaphragm(case: _Case) -> _Piece:
    """Unit shear that a roof or floor diaphragm may carry: SDPWS Tables 4.2A and 4.2C with the species factor."""
    row, context = case.row, case.context
    edge = row.number("edge_spacing_in")
    blocking, layout = row.text("blocking", "unblocked"), row.text("diaphragm_case", "other")
    nominal = sdpws.diaphragm_nominal_plf(
        blocking,
        layout,
        row.text("panel_thickness_in"),
        _panel_nail(row),
        row.number("framing_nominal_in", 2.0),
        f"{row.number('boundary_spacing_in', edge):g}/{edge:g}",
        context.sdpws_edition,
        case.hazard,
    )
    factor = float(sdpws.specific_gravity_factor(case.wood.specific_gravity))
    by = (context.sdpws_edition, case.hazard, context.method)
    held = float(sdpws.design_unit_shear_plf(nominal, *by)) * factor
    case.note(
        "unit shear of the diaphragm",
        f"nominal {sdpws.method_symbol(context.method)} x species factor",
        {
            "nominal_plf": nominal,
            **sdpws.method_values(*by),
            "factor": factor,
            "blocking": blocking,
            "edge_in": edge,
            "G": case.wood.specific_gravity,
        },
        held,
        "plf",
        f"SDPWS {context.sdpws_edition} Table {'4.2A' if blocking == 'blocked' else '4.2C'}",
    )
    step = (
        f"parallel: nominal {nominal:g} plf {sdpws.method_words(*by)} x "
        f"{factor:.3f} (species); SDPWS {context.sdpws_edition} Table {'4.2A' if blocking == 'blocked' else '4.2C'}"
    )
    return _Piece({"parallel": held}, [], [step])


def _sheathing_tie(case: _Case) -> _Piece:
    """Uplift by plate nails beyond those for shear, for one stud: SDPWS 2015 4.4.1."""
    row, context = case.row, case.context
    dowel, thickness = _dowel(row), row.text("panel_thickness_in")
    panel = size_in(thickness)
    z, _ = _lateral(dowel, panel, PANEL_BEARING_PSI, dowel.length_in - panel, case.wood.specific_gravity)
    extra = row.number("extra_nails_per_ft")
    nominal = min(float(sdpws.sheathing_uplift_nominal_plf(z, extra)), sdpws.sheathing_uplift_limit_plf(thickness))
    plf = float(sdpws.sheathing_uplift_design_plf(nominal, context.sdpws_edition, case.hazard, context.method))
    width_ft = 1.0 if case.family.measure == "per_ft" else case.fact("stud_spacing_in") / 12.0
    _tell_lateral(case, dowel, panel, PANEL_BEARING_PSI, dowel.length_in - panel, 0.0)
    by = (context.sdpws_edition, case.hazard, context.method)
    case.note(
        "uplift through the sheathing",
        f"lesser of 3.2 Z x extra nails a foot and the panel's limit, {sdpws.method_symbol(context.method)}, x width",
        {
            "Z_lb": z,
            "nails_per_ft": extra,
            "limit_plf": sdpws.sheathing_uplift_limit_plf(thickness),
            **sdpws.uplift_values(*by),
            "width_ft": width_ft,
        },
        plf * width_ft,
        "lb",
        f"SDPWS {context.sdpws_edition} 4.4.1",
    )
    share = f"x {plf / nominal:g} " if context.method == "LRFD" and nominal > 0 else ""
    step = (
        f"uplift: {extra:g} extra nails a foot x 3.2 Z ({z:.1f} lb) nominal {share}over {width_ft:.2f} ft; SDPWS 4.4.1"
    )
    return _Piece({"uplift": plf * width_ft}, [], [step])


def _strap(case: _Case) -> _Piece:
    """A flat strap: the lesser of its steel (AISI S100-16) and the nails of one end (NDS 2018 12.3)."""
    row = case.row
    grade = row.text("steel_grade", "33")
    gauge = row.text("steel_gauge")
    thickness = row.number("steel_thickness_in", aisi.strap_thickness_in(gauge) if gauge else math.nan)
    if math.isnan(thickness):
        raise LookupError("a strap needs steel_gauge or steel_thickness_in")
    dowel = _dowel(row)
    fy, fu = aisi.steel_strength_psi(grade)
    hole, method = row.number("hole_diameter_in", dowel.diameter_in), case.context.method
    steel = float(aisi.strap_tension_lb(row.number("steel_width_in"), thickness, hole, fy, fu, method=method))
    penetration = min(dowel.length_in - thickness, row.number("main_thickness_in", math.inf))
    bearing = aisi.sheet_bearing_psi(grade)
    z, mode = _lateral(dowel, thickness, bearing, penetration, case.wood.specific_gravity)
    count = row.number("fastener_count", 1.0)
    nails = z * count * nds.method_factor("connection", method)
    by = aisi.method_words(method, aisi.GROSS_YIELD, aisi.NET_RUPTURE)
    _tell_lateral(case, dowel, thickness, bearing, penetration, 0.0)
    case.note(
        "tension of the strap",
        f"lesser of its steel and Z x nails of one end{nds.method_symbols('connection', method)}",
        {
            "width_in": row.number("steel_width_in"),
            "thickness_in": thickness,
            "hole_in": hole,
            "Fy_psi": fy,
            "Fu_psi": fu,
            f"steel_lb, lesser of Fy Ag and Fu An, {by}": steel,
            "Z_lb": z,
            "nails": count,
            **nds.method_values("connection", method),
            "nails_lb": nails,
        },
        min(steel, nails),
        "lb",
        "AISI S100-16 D2, D3; NDS 2018 12.3",
        "the steel governs" if steel < nails else "the nails govern",
    )
    step = (
        f"tension: lesser of steel {steel:.0f} lb (AISI S100-16 D2, D3, {by}) and nails {nails:.0f} lb ({count:g} x "
        f"Z {z:.1f}, mode {mode}, {nds.method_words('connection', method)}; NDS 2018 12.3)"
    )
    return _Piece({"uplift": min(steel, nails), "tension": min(steel, nails)}, [], [step])


def _sill_bolt(case: _Case) -> _Piece:
    """An anchor bolt in a sill: yield equations along and across; washer and steel in uplift; concrete if listed."""
    row, wood = case.row, case.wood
    d, sill, method = row.number("bolt_diameter_in"), case.fact("sill_thickness_in", 1.5), case.context.method
    piece = _Piece()
    for direction, angle in (("parallel", 0.0), ("perpendicular", 90.0)):
        modes = nds.sill_bolt_modes_lb(d, sill, wood.specific_gravity, angle, row.number("embedment_in", 7.0))
        z = float(nds.single_shear_lb(modes))
        yielding = z * nds.method_factor("connection", method)
        held = min(yielding, row.number(load_column(f"concrete_{direction}_lb", method), math.inf))
        piece.loads[direction] = held
        piece.steps.append(
            f"{direction}: {held:.0f} lb; Z {z:.0f} lb (mode {nds.governing_mode(modes)}) x "
            f"{nds.method_words('connection', method)}; NDS 2018 12.3, Table 12E"
        )
        case.note(
            f"{direction} of one bolt",
            f"least yield mode{nds.method_symbols('connection', method)}, not more than a listed concrete value",
            {
                "D_in": d,
                "ls_in": sill,
                "lm_in": row.number("embedment_in", 7.0),
                "Fem_psi": nds.CONCRETE_BEARING_PSI,
                "Fes_psi": float(nds.dowel_bearing_psi(wood.specific_gravity, d, angle)),
                "Fyb_psi": nds.BOLT_BENDING_YIELD_PSI,
                "Rd": " ".join(f"{float(r):g}" for r in nds.reduction_terms(d, None, angle)),
                **{f"mode {name}": float(value) for name, value in zip(nds.MODES, modes, strict=True)},
                **nds.method_values("connection", method),
                **_concrete(row, direction, method),
            },
            held,
            "lb",
            "NDS 2018 12.3.1, Table 12E",
            f"mode {nds.governing_mode(modes)} governs" if held == yielding else "the concrete governs",
        )
    washer = row.text("washer", "cut")
    bearing = float(nds.washer_bearing_lb(wood.fc_perp_psi, washer, d)) * nds.method_factor("bearing", method)
    steel = float(aisi.rod_tension_lb(d, aisi.steel_strength_psi(row.text("rod_grade", "A307"))[1], method))
    piece.loads["uplift"] = min(bearing, steel, row.number(load_column("concrete_uplift_lb", method), math.inf))
    by = f" ({words})" if (words := nds.method_words("bearing", method)) else ""
    case.note(
        "uplift of one bolt",
        f"least of Fc-perp x washer area{nds.method_symbols('bearing', method)}, steel 0.75 Fu (pi/4 D^2) by "
        f"{aisi.method_words(method, aisi.ROD)}, and a listed concrete value",
        {
            "Fc_perp_psi": wood.fc_perp_psi,
            "washer": washer,
            "area_sqin": nds.washer_area_sqin(washer, d),
            **nds.method_values("bearing", method),
            "bearing_lb": bearing,
            "steel_lb": steel,
            **_concrete(row, "uplift", method),
        },
        piece.loads["uplift"],
        "lb",
        "NDS 2018 3.10.2; AISC 360-16 J3.6",
    )
    piece.steps.append(
        f"uplift: least of {washer} washer bearing {bearing:.0f}{by} and steel {steel:.0f} lb "
        f"({aisi.method_words(method, aisi.ROD)}); NDS 2018 3.10, AISC 360-16 J3.6"
    )
    return piece


def _rod(case: _Case) -> _Piece:
    """A rod under a hold-down: its steel, and the concrete if listed."""
    row, method = case.row, case.context.method
    fu = aisi.steel_strength_psi(row.text("rod_grade", "A307"))[1]
    steel = float(aisi.rod_tension_lb(row.number("bolt_diameter_in"), fu, method))
    held = min(steel, row.number(load_column("concrete_uplift_lb", method), math.inf))
    about: dict[str, float | str] = {
        "D_in": row.number("bolt_diameter_in"),
        "Fu_psi": fu,
        "steel_lb": steel,
        **_concrete(row, "uplift", method),
    }
    by = aisi.method_words(method, aisi.ROD)
    formula = f"lesser of its steel, 0.75 Fu (pi/4 D^2) by {by}, and a listed concrete value"
    case.note("tension of one rod", formula, about, held, "lb", "AISC 360-16 J3.6")
    return _Piece(
        {"tension": held},
        [],
        [f"tension: steel {steel:.0f} lb ({aisi.method_words(method, aisi.ROD)}); AISC 360-16 J3.6"],
    )


def _concrete(row: HardwareRow, direction: str, method: str) -> dict[str, float | str]:
    """The concrete value of a derivation: listed, or said to be missing."""
    value = row.number(load_column(f"concrete_{direction}_lb", method), math.inf)
    return {"concrete_lb": value if math.isfinite(value) else CONCRETE_NOT_CHECKED}


def _post_bearing(case: _Case) -> _Piece:
    """Studs of an end post bearing on the plate, perpendicular to its grain: NDS 2018 3.10.2, no area factor."""
    row = case.row
    depth = row.number("member_depth_in") if "member_depth_in" in row.values else case.fact("stud_depth_in", 3.5)
    area = row.number("member_count", 1.0) * row.number("member_width_in", 1.5) * depth
    method = case.context.method
    held = float(nds.bearing_perpendicular_lb(case.wood.fc_perp_psi, area)) * nds.method_factor("bearing", method)
    by = f" x {words}" if (words := nds.method_words("bearing", method)) else ""
    untimed = "no time effect" if method == "LRFD" else "no load duration"
    case.note(
        "bearing of the studs on the plate",
        f"Fc-perp x area{nds.method_symbols('bearing', method)}, {untimed}",
        {"Fc_perp_psi": case.wood.fc_perp_psi, "area_sqin": area, **nds.method_values("bearing", method)},
        held,
        "lb",
        "NDS 2018 3.10.2",
    )
    step = f"compression: Fc-perp {case.wood.fc_perp_psi:g} psi x {area:g} sq in{by}; NDS 2018 3.10.2"
    return _Piece({"compression": held}, ["bearing on the plate only; buckling of the post not checked"], [step])


# --- may it be used at all ----------------------------------------------------------------------------------


def _why_not(option: Option, case: _Case, point: ConnectionPoint) -> str:
    """Why an option may not be used at a point; empty where it may."""
    checks = (
        _wrong_place,
        _truss_not_over_stud,
        _screw_path_fault,
        _washer_missing,
        _too_wide,
        _framing_missing,
        _sheathing_refused,
        _laps,
    )
    return next((reason for check in checks if (reason := check(option, case, point))), "")


def _below(point: ConnectionPoint) -> str:
    """What lies below: "concrete", "wood", "plate" or "raised floor" (framing on a stem wall).

    A hold-down delivered with the foundation stands on concrete unless the plan says otherwise.
    """
    below = str(point.facts.get("below", ""))
    if point.family == "hold_down" and below in ("", "plate"):
        return "concrete" if point.drop == "foundation" else "wood"
    return below


def _wrong_place(option: Option, case: _Case, point: ConnectionPoint) -> str:
    need, below = case.row.text("needs_below", "any"), _below(point)
    if need == "concrete" and below != "concrete":
        return "made for concrete below, which is not there"
    if need == "wood" and below not in ("wood", "plate"):
        return f"made for wood below, but {below} is there"
    return ""


def _truss_not_over_stud(option: Option, case: _Case, point: ConnectionPoint) -> str:
    if case.row.flag("needs_rafter_over_stud") and not case.facts.get("rafter_over_stud", False):
        return "needs the truss over a stud"
    return ""


def _screw_path_fault(option: Option, case: _Case, point: ConnectionPoint) -> str:
    """Where the point of a long screw ends: in the plate, out of it, or short of the ply that it must reach."""
    row = case.row
    if "screw_length_in" not in row.values:
        return ""
    length, angle = row.number("screw_length_in"), row.number("angle_deg", 22.0)
    low, high = row.number("angle_min_deg", 10.0), row.number("angle_max_deg", 30.0)
    plate = case.fact("plate_thickness_in", 1.5)
    if "min_embedment_in" in row.values:
        reached = length * math.cos(math.radians(angle)) - plate - row.number("start_height_in", 0.0)
        short = row.number("min_embedment_in") - reached
        return f"reaches {reached:.2f} in into the truss, {short:.2f} in short" if short > 1e-9 else ""
    if not low <= angle <= high:
        return f"angle {angle:g} degrees is outside the tested {low:g} to {high:g}"
    path = screw_path(length, row.number("start_height_in", 3.0), angle)
    if float(path.tip_depth_in) <= 0:
        return "screw does not reach the plate"
    out = float(exit_depth_in(path, plate))
    if out > 1e-9 and _below(point) != "wood":
        return f"screw tip would leave the plate by {out:.2f} in"
    if plate > 1.5 and float(path.tip_depth_in) <= 1.5:
        return "screw reaches only the nearer ply of the double plate"
    return _leaves_stud(row, case, float(path.joint_offset_in), float(path.tip_offset_in))


def _leaves_stud(row: HardwareRow, case: _Case, joint_in: float, tip_in: float) -> str:
    """Whether the screw leaves the stud or the plate sideways."""
    width, depth = case.fact("stud_width_in", 1.5), case.fact("stud_depth_in", 3.5)
    if row.text("driven_from", "edge") == "wide face":
        leaves = not stays_within(joint_in, width)
        return "screw leaves the side of the stud before it reaches the plate" if leaves else ""
    return "" if stays_within(tip_in, depth) else "screw tip would leave the far edge of the plate"


def _washer_missing(option: Option, case: _Case, point: ConnectionPoint) -> str:
    bolt = case.family.key in ("sill_anchor", "retrofit_anchor") and "bolt_diameter_in" in case.row.values
    if bolt and irc.plate_washers_needed(case.context.sdc) and case.row.text("washer", "cut") != "plate":
        return f"needs plate washers in seismic design category {case.context.sdc}"
    return ""


def _too_wide(option: Option, case: _Case, point: ConnectionPoint) -> str:
    if case.family.key not in ("sill_anchor", "retrofit_anchor"):
        return ""
    most = irc.anchor_spacing_most_in(case.context.sdc, int(case.facts.get("storeys", 1)))
    return f"spacing {option.spacing_in:g} in is above the code's {most:g}" if option.spacing_in > most else ""


def _framing_missing(option: Option, case: _Case, point: ConnectionPoint) -> str:
    """Thick framing at panel joints."""
    row = case.row
    if case.family.key != "wall_sheathing":
        return ""
    if row.text("panel_grade", "Sheathing") == "Gypsum":
        return ""
    if row.number("abutting_framing_in", 2.0) >= 3.0 or row.basis != "computed":
        return ""
    edge = row.number("edge_spacing_in")
    nominal = _panel_nominal_plf(case, row.text("panel_thickness_in"), edge)
    nail, edition = _panel_nail(row), case.context.sdpws_edition
    if sdpws.thick_framing_needed(edition, nominal, nail, edge, case.context.category_d):
        return "needs 3 in. nominal framing where panels meet"
    return ""


def _sheathing_refused(option: Option, case: _Case, point: ConnectionPoint) -> str:
    return sheathing_refused(case.family.key, case.row, case.facts, case.context.sdc)


def _laps(option: Option, case: _Case, point: ConnectionPoint) -> str:
    ties = case.row.number("extra_nails_per_ft", 0.0) > 0 and case.family.key != "wall_sheathing"
    if ties and not case.facts.get("panel_laps_plates", False):
        return "panels must lap the plates to tie them down"
    return ""


def _notes(case: _Case, point: ConnectionPoint, piece: _Piece) -> tuple[str, ...]:
    """What the numbers leave open."""
    row, notes = case.row, list(piece.notes)
    ends_in_concrete = case.family.concrete or row.text("needs_below") == "concrete"
    if ends_in_concrete and not _concrete_known(row, case.family, case.context.method):
        notes.append(CONCRETE_NOT_CHECKED)
    if "screw_length_in" in row.values and "min_embedment_in" not in row.values:
        notes += _tolerance_notes(case, point)
    return tuple(dict.fromkeys(notes))


def _concrete_known(row: HardwareRow, serves: Family, method: str) -> bool:
    """Whether every direction of the connection has a listed concrete value, of the kind that the method asks for."""
    if row.basis == "listed":
        return row.flag("concrete_included")
    names = {"tension": "uplift", "lateral": "parallel"}
    needed = {names.get(c.direction, c.direction) for c in serves.components}
    return all(load_column(f"concrete_{direction}_lb", method) in row.values for direction in needed)


def _tolerance_notes(case: _Case, point: ConnectionPoint) -> list[str]:
    """Whether the screw may leave the plate within its tolerances of angle and start height."""
    if _below(point) == "wood":
        return []
    row = case.row
    start = row.number("start_height_in", 3.0) - row.number("start_tolerance_in", 0.25)
    angle = row.number("angle_min_deg", 10.0)
    path = screw_path(row.number("screw_length_in"), start, angle)
    out = float(exit_depth_in(path, case.fact("plate_thickness_in", 1.5)))
    if out <= 1e-9:
        return []
    return [f"started {start:g} in up at {angle:g} degrees the tip would leave the plate by {out:.2f} in"]
