"""What the nails or screws of one piece hold: NDS 2018 chapter 12, with what short penetration and toe nails cost."""

from __future__ import annotations

import math
from dataclasses import dataclass

from hazard.table_cells import size_in
from screener.capacity_case import Case, Piece
from screener.hardware import HardwareRow
from screener.hardware_columns import GENERIC_FASTENERS
from screener.standards import nds_connections as nds


@dataclass(frozen=True)
class Dowel:
    """The nail or screw of a row, standard or given by its numbers."""

    kind: str
    diameter_in: float
    root_in: float
    length_in: float
    fyb_psi: float
    head_in: float
    thread_in: float


def dowel_of(row: HardwareRow) -> Dowel:
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
    return Dowel(standard.kind, diameter, root, length, standard.bending_yield_psi, standard.head_diameter_in, thread)


def fastener_piece(case: Case) -> Piece:
    """Nails or screws of one piece or one spacing: NDS 2018 chapter 12 with load duration, toe-nail and end factors."""
    row, g = case.row, case.wood.specific_gravity
    dowel, placement = dowel_of(row), row.text("placement", "face")
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
    piece = Piece()
    for component in case.family.components:
        if component.action == "lateral":
            bearing = float(nds.dowel_bearing_psi(g, dowel.diameter_in, component.angle_deg))
            z, mode = lateral_lb(dowel, side, bearing, penetration, g, component.angle_deg, through)
            factor = {"toe": nds.factor("toe_nail_lateral"), "end": nds.factor("end_grain_lateral")}.get(placement, 1.0)
            piece.loads[component.direction] = z * group * factor
            piece.steps.append(
                f"{component.direction}: Z {z:.1f} lb (mode {mode}, penetration {penetration:.2f} in) x "
                f"{group:g} (count x {factors}) x {factor:g} ({placement}); NDS 2018 12.3, 12.5"
            )
            tell_lateral(case, dowel, side, bearing, penetration, component.angle_deg, through)
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


def lateral_lb(
    dowel: Dowel, side: float, bearing: float, penetration: float, g: float, angle: float = 0.0, through: bool = False
) -> tuple[float, str]:
    return nds.dowel_lateral_lb(
        dowel.kind, dowel.diameter_in, dowel.root_in, dowel.fyb_psi, side, bearing, penetration, g, angle, through
    )


def tell_lateral(
    case: Case, dowel: Dowel, side: float, bearing: float, penetration: float, angle: float, through: bool = False
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


def _tell_withdrawal(case: Case, dowel: Dowel, penetration: float, side: float, placement: str) -> None:
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


def _withdrawal(dowel: Dowel, g: float, penetration: float, side: float, placement: str) -> float:
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


def roof_nails_piece(case: Case) -> Piece:
    """Suction that roof panel nails hold: withdrawal and head pull-through over a nail's area. NDS 2018 12.2."""
    row, g = case.row, case.wood.specific_gravity
    dowel, panel = dowel_of(row), size_in(row.text("panel_thickness_in"))
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
    return Piece({"uplift": nail / area}, [], [step])
