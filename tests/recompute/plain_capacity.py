"""What one chosen item holds at a connection, by hazard and component: allowable stress design, from the list's row.

NDS 2018 for nails, lag screws, bolts and bearing; SDPWS 2015 for sheathing; AISI S100-16 and AISC 360-16 for steel.
Numbers are those of ``plain_tables``. Listed items hold what the list says for the species group.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import plain_tables as t

Thing = dict[str, Any]
DIRECTION = {
    "uplift_lb": "uplift",
    "uplift_plf": "uplift",
    "suction_psf": "uplift",
    "tension_lb": "tension",
    "perpendicular_lb": "perpendicular",
    "perpendicular_plf": "perpendicular",
    "parallel_lb": "parallel",
    "shear_plf": "parallel",
    "lateral_lb": "lateral",
    "compression_lb": "compression",
}


def read_list(file: Path) -> dict[str, Thing]:
    """The hardware list by item."""
    with file.open(encoding="utf-8", newline="") as lines:
        return {row["item"]: row for row in csv.DictReader(lines)}


def number(row: Thing, column: str, default: float = math.nan) -> float:
    return float(row[column]) if row.get(column) else default


def inches(text: str) -> float:
    """15/32 as a number."""
    top, _, bottom = text.partition("/")
    return float(top) / float(bottom) if bottom else float(top)


def held(row: Thing, arrangement: str, point: Thing, about: Thing, components: list[str], category: str) -> Thing:
    """Allowable loads {hazard: {component: value}} of an item in an arrangement at a connection."""
    out: Thing = {}
    for hazard in ("wind", "seismic"):
        out[hazard] = {}
        for component in components:
            one = one_piece(row, point, about, DIRECTION[component], hazard)
            if point["measure"] == "per_ft":
                value = one * 12.0 / float(arrangement.removeprefix("at ").removesuffix(" in"))
            elif point["measure"] == "each":
                value = one * int(arrangement.removesuffix(" each"))
            else:
                value = one
            toe = row["basis"] == "computed" and row["placement"] == "toe" and hazard == "seismic"
            if toe and category[0] in "DEF" and DIRECTION[component] == "parallel":
                bay_ft = 1.0 if component.endswith("_plf") else point["truss_spacing_in"] / 12.0
                value = min(value, t.TOE_NAIL_SEISMIC_PLF * bay_ft)
            out[hazard][component] = value
    return out


def one_piece(row: Thing, point: Thing, about: Thing, direction: str, hazard: str) -> float:
    """What one piece, one foot or one square foot holds in a direction; NaN for nothing."""
    family, species = point["family"], about["species"]
    if row["basis"] == "listed":
        return listed(row, direction, species)
    if family == "wall_sheathing":
        key = (row["panel_thickness_in"], row["fastener"].removesuffix(" common"), int(float(row["edge_spacing_in"])))
        return sheathed(t.SHEAR_WALL[key], species, hazard)
    if family in ("roof_diaphragm", "floor_diaphragm"):
        edge = f"{number(row, 'edge_spacing_in'):g}"
        boundary = f"{number(row, 'boundary_spacing_in', float(edge)):g}"
        nail = row["fastener"].removesuffix(" common")
        nominal = t.DIAPHRAGM[row["blocking"], row["panel_thickness_in"], nail, f"{boundary}/{edge}"]
        return sheathed(nominal, species, hazard)
    if family == "roof_sheathing":
        return roof_nail_psf(row, species, point["framing_in"])
    if family == "end_post":
        area = number(row, "member_count") * number(row, "member_width_in") * about.get("stud_depth_in", 3.5)
        return t.FC_PERP_PSI[species] * area  # NDS 3.10.2
    if row.get("steel_width_in"):
        return strap(row, species)
    if row.get("bolt_diameter_in"):
        return rod(row) if family == "hold_down_anchor" else sill_bolt(row, about, direction)
    return nails(row, species, direction, family)


def listed(row: Thing, direction: str, species: str) -> float:
    if direction == "lateral":
        return min(number(row, "parallel_lb"), number(row, "perpendicular_lb"))
    column = {"tension": "uplift"}.get(direction, direction) + "_lb"
    group = t.LISTED_GROUP[species]
    return number(row, f"{column}_{group}") if group and row.get(f"{column}_{group}") else number(row, column)


def sheathed(nominal: tuple[float, float], species: str, hazard: str) -> float:
    """SDPWS 2015: nominal by hazard, halved; lighter wood than 0.50 takes 1 - (0.50 - G)."""
    value = nominal[0] if hazard == "seismic" else nominal[1]
    return value / 2.0 * min(1.0, 0.5 + t.GRAVITY[species])


def to_50(psi: float) -> float:
    """Bearing strengths are printed to 50 psi."""
    return 50.0 * math.floor(psi / 50.0 + 0.5)


def bearing_psi(g: float, d: float, across: bool) -> float:
    """NDS Table 12.3.3: dowel bearing of wood."""
    if d < 0.25:
        return to_50(16600.0 * g**1.84)
    return to_50(6100.0 * g**1.45 / math.sqrt(d)) if across else to_50(11200.0 * g)


def least_mode(d: float, lm: float, ls: float, fem: float, fes: float, fyb: float, across: bool) -> float:
    """Z of one dowel in single shear, the least of the six modes of NDS Table 12.3.1A."""
    if d < 0.25:
        kd = 2.2 if d <= 0.17 else 10.0 * d + 0.5
        rd = (kd, kd, kd)
    else:
        angle = 1.25 if across else 1.0
        rd = (4.0 * angle, 3.6 * angle, 3.2 * angle)
    ratio, thick = fem / fes, lm / ls
    root = math.sqrt(ratio + 2.0 * ratio**2 * (1.0 + thick + thick**2) + thick**2 * ratio**3)
    k1 = (root - ratio * (1.0 + thick)) / (1.0 + ratio)
    k2 = math.sqrt(2.0 * (1.0 + ratio) + 2.0 * fyb * (1.0 + 2.0 * ratio) * d**2 / (3.0 * fem * lm**2)) - 1.0
    k3 = math.sqrt(2.0 * (1.0 + ratio) / ratio + 2.0 * fyb * (2.0 + ratio) * d**2 / (3.0 * fem * ls**2)) - 1.0
    return min(
        d * lm * fem / rd[0],
        d * ls * fes / rd[0],
        k1 * d * ls * fes / rd[1],
        k2 * d * lm * fem / ((1.0 + 2.0 * ratio) * rd[2]),
        k3 * d * ls * fem / ((2.0 + ratio) * rd[2]),
        d**2 / rd[2] * math.sqrt(2.0 * fem * fyb / (3.0 * (1.0 + ratio))),
    )


def dowel(row: Thing, species: str, side: float, side_psi: float, into: float, across: bool, through: bool) -> float:
    """Z of one nail or lag screw with the penetration it has: p/10D of it (lag screws p/8D), none below 6D (4D)."""
    kind, d, _, root, _, fyb, _ = t.FASTENERS[row["fastener"]]
    whole, least = (8.0 * d, 4.0 * d) if kind == "lag screw" else (10.0 * d, 6.0 * d)
    if into < least - 1e-9:
        return math.nan
    length = min(whole, into) if through else whole
    main_psi = bearing_psi(t.GRAVITY[species], d, across)
    z = least_mode(root, length, side, main_psi, side_psi, fyb, across)
    return z if through else z * min(1.0, into / whole)


def nails(row: Thing, species: str, direction: str, family: str) -> float:
    """Nails or lag screws of one piece, load duration 1.6; NDS 12.2, 12.3, 12.5."""
    _kind, d, length, _, head, _, _ = t.FASTENERS[row["fastener"]]
    length = number(row, "fastener_length_in", length or math.nan)
    g, placement = t.GRAVITY[species], row["placement"] or "face"
    side = number(row, "side_thickness_in", 1.5)
    into = length - side - number(row, "gap_thickness_in", 0.0)
    main, through = number(row, "main_thickness_in", math.inf), False
    if placement == "toe":  # 12.1.6.3: a third of its length up the side, driven at 30 degrees
        side = length / 3.0
        into = length * math.cos(math.radians(30.0)) - length / 3.0
    elif into > main:
        into, through = main, True
    count = number(row, "fastener_count", 1.0) * t.LOAD_DURATION
    across = family == "ledger"  # the ledger pulls across the grain of the wall's framing
    if direction != "uplift" or across:
        z = dowel(row, species, side, bearing_psi(g, d, across), into, across, through)
        return z * count * {"toe": t.TOE_LATERAL, "end": t.END_GRAIN}.get(placement, 1.0)
    if placement == "end":
        return math.nan  # 12.2.3.3: none in end grain
    per_in = 1380.0 * g**2.5 * d  # 12.2-3, smooth nails
    if placement == "toe":
        drawn = length - length / 3.0 / math.cos(math.radians(30.0))
        return per_in * drawn * t.TOE_WITHDRAWAL * count
    return min(per_in * into, pull_through(head or math.inf, g, side)) * count


def pull_through(head: float, g: float, thick: float) -> float:
    """NDS 12.2.5: a round head drawn through the side member."""
    if thick <= 2.5 * head:
        return 690.0 * math.pi * head * g**2 * thick
    return 1725.0 * math.pi * head**2 * g**2


def roof_nail_psf(row: Thing, species: str, framing_in: float) -> float:
    """Suction held by panel nails: withdrawal or head pull-through over the roof that hangs on one nail."""
    kind, d, length, _, head, _, ring = t.FASTENERS[row["fastener"]]
    g, panel = t.GRAVITY[species], inches(row["panel_thickness_in"])
    into = (length or math.nan) - panel
    if kind == "ring shank nail":
        drawn = 1800.0 * g**2 * d * min(into, ring or into)  # 12.2-5
    else:
        drawn = 1380.0 * g**2.5 * d * into
    panel_g = number(row, "panel_specific_gravity", 0.42)
    nail = min(drawn, pull_through(head or math.inf, panel_g, panel)) * t.LOAD_DURATION
    edge, inner = number(row, "edge_spacing_in"), number(row, "field_spacing_in", 12.0)
    # a nail between panel edges holds a whole bay of roof, one along an edge half a bay
    return nail * 144.0 / max(inner * framing_in, edge * framing_in / 2.0)


def strap(row: Thing, species: str) -> float:
    """A flat strap: its steel, or the nails of one end."""
    width, thick = number(row, "steel_width_in"), t.SHEET_LEAST_IN[row["steel_gauge"]]
    _, d, length, _, _, _, _ = t.FASTENERS[row["fastener"]]
    steel = min(t.SHEET_FY_PSI * width * thick / 1.67, t.SHEET_FU_PSI * (width - d) * thick / 2.0)
    z = dowel(row, species, thick, t.SHEET_BEARING_PSI, (length or math.nan) - thick, False, False)
    return min(steel, z * number(row, "fastener_count", 1.0) * t.LOAD_DURATION)


def rod(row: Thing) -> float:
    """A threaded rod on its nominal area (AISC 360-16 J3.6), and the concrete where listed."""
    steel = 0.75 * t.ROD_FU_PSI[row["rod_grade"] or "A307"] * math.pi / 4.0 * number(row, "bolt_diameter_in") ** 2 / 2.0
    return min(steel, number(row, "concrete_uplift_lb", math.inf))


def sill_bolt(row: Thing, about: Thing, direction: str) -> float:
    """An anchor bolt: yield modes along and across the sill (NDS Table 12E); washer or steel in uplift."""
    d, species = number(row, "bolt_diameter_in"), about["species"]
    if direction == "uplift":
        hole = math.pi / 4.0 * (d + 1.0 / 16.0) ** 2
        plate = row["washer"] == "plate"
        face = t.PLATE_WASHER_IN**2 if plate else math.pi / 4.0 * t.CUT_WASHER_IN[d] ** 2
        return min(t.FC_PERP_PSI[species] * (face - hole), rod(row))
    across = direction == "perpendicular"
    fes = bearing_psi(t.GRAVITY[species], d, across)
    sill = about.get("sill_thickness_in", 1.5)
    z = least_mode(d, number(row, "embedment_in", 7.0), sill, t.SILL_CONCRETE_PSI, fes, t.BOLT_YIELD_PSI, across)
    return z * t.LOAD_DURATION
