"""What straps, anchor bolts, rods and end posts hold: steel, wood bearing, and listed concrete values."""

from __future__ import annotations

import math

from screener.capacity_case import CONCRETE_NOT_CHECKED, Case, Piece
from screener.capacity_dowels import dowel_of, lateral_lb, tell_lateral
from screener.hardware import HardwareRow
from screener.hardware_columns import load_column
from screener.standards import aisi_straps as aisi
from screener.standards import nds_connections as nds


def strap_piece(case: Case) -> Piece:
    """A flat strap: the lesser of its steel (AISI S100-16) and the nails of one end (NDS 2018 12.3)."""
    row = case.row
    grade = row.text("steel_grade", "33")
    gauge = row.text("steel_gauge")
    thickness = row.number("steel_thickness_in", aisi.strap_thickness_in(gauge) if gauge else math.nan)
    if math.isnan(thickness):
        raise LookupError("a strap needs steel_gauge or steel_thickness_in")
    dowel = dowel_of(row)
    fy, fu = aisi.steel_strength_psi(grade)
    hole, method = row.number("hole_diameter_in", dowel.diameter_in), case.context.method
    steel = float(aisi.strap_tension_lb(row.number("steel_width_in"), thickness, hole, fy, fu, method=method))
    penetration = min(dowel.length_in - thickness, row.number("main_thickness_in", math.inf))
    bearing = aisi.sheet_bearing_psi(grade)
    z, mode = lateral_lb(dowel, thickness, bearing, penetration, case.wood.specific_gravity)
    count = row.number("fastener_count", 1.0)
    nails = z * count * nds.method_factor("connection", method)
    by = aisi.method_words(method, aisi.GROSS_YIELD, aisi.NET_RUPTURE)
    tell_lateral(case, dowel, thickness, bearing, penetration, 0.0)
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
    return Piece({"uplift": min(steel, nails), "tension": min(steel, nails)}, [], [step])


def sill_bolt_piece(case: Case) -> Piece:
    """An anchor bolt in a sill: yield equations along and across; washer and steel in uplift; concrete if listed."""
    row, wood = case.row, case.wood
    d, sill, method = row.number("bolt_diameter_in"), case.fact("sill_thickness_in", 1.5), case.context.method
    piece = Piece()
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


def rod_piece(case: Case) -> Piece:
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
    return Piece(
        {"tension": held},
        [],
        [f"tension: steel {steel:.0f} lb ({aisi.method_words(method, aisi.ROD)}); AISC 360-16 J3.6"],
    )


def _concrete(row: HardwareRow, direction: str, method: str) -> dict[str, float | str]:
    """The concrete value of a derivation: listed, or said to be missing."""
    value = row.number(load_column(f"concrete_{direction}_lb", method), math.inf)
    return {"concrete_lb": value if math.isfinite(value) else CONCRETE_NOT_CHECKED}


def post_piece(case: Case) -> Piece:
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
    return Piece({"compression": held}, ["bearing on the plate only; buckling of the post not checked"], [step])
