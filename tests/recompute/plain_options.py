"""Which items of the list, in which arrangement, hold at every connection of a package line of one house on one lot."""

from __future__ import annotations

import math
from typing import Any

import plain_capacity as cap

Thing = dict[str, Any]
NONE = ("", "none needed")
CAST_IN = ("", "cast in with the hold-down")
"""The anchor of a hold-down that is cast into the concrete: nothing is bought for it (project choice)."""
# SDPWS 2015 Table 4.2.4, span over depth (from memory)
MOST_SLENDER = {"blocked": 4.0, "unblocked": 3.0}
# pieces of each connection, or spacings in inches: the tool's own choices by family (project choice; 72 in. for sill
# anchors is IRC 2018 R403.1.6)
PIECES = {
    "truss_tie": "1;2",
    "girder_tie": "1;2",
    "truss_hanger": "1",
    "plate_splice": "1;2",
    "plate_to_stud": "1;2",
    "stud_nailing": "1",
    "header_end": "1;2",
    "stud_to_plate": "1;2",
    "hold_down": "1;2",
    "end_post": "1",
    "hold_down_anchor": "1;2",
    "post_beam": "1;2",
    "post_base": "1",
}
SPACINGS_IN = {
    "gable_end_tie": "48;32;24;16",
    "roof_boundary": "48;24",
    "storey_strap": "48;32;16",
    "plate_to_floor": "16;12;8;6;4",
    "sill_anchor": "72;48;36;32;24;16",
    "ledger": "32;24;16;12",
}
MAY_BE_NONE = {
    "gable_end_tie",
    "girder_tie",
    "header_end",
    "hold_down",
    "hold_down_anchor",
    "ledger",
    "plate_splice",
    "plate_to_stud",
    "roof_boundary",
    "storey_strap",
    "stud_to_plate",
    "truss_hanger",
}


def options(family: str, hardware: dict[str, Thing]) -> list[tuple[str, str]]:
    """Item and arrangement of every choice for a family; retrofit anchors serve sills too."""
    out = [NONE] if family in MAY_BE_NONE else []
    out += [CAST_IN] if family == "hold_down_anchor" else []
    for item, row in hardware.items():
        serves = [part.strip() for part in row["family"].split(";")]
        if family not in serves and not (family == "sill_anchor" and "retrofit_anchor" in serves):
            continue
        own = row["arrangements"]
        if family in PIECES:
            out += [(item, f"{n} each") for n in (own or PIECES[family]).split(";")]
        elif family in SPACINGS_IN:
            out += [(item, f"at {n} in") for n in (own or SPACINGS_IN[family]).split(";")]
        else:
            edge, inner = cap.number(row, "edge_spacing_in"), cap.number(row, "field_spacing_in", 12.0)
            out.append((item, f"{edge:g}/{inner:g}"))
    return out


def refused(row: Thing, point: Thing, about: Thing, category: str) -> str:
    """Why an item may not be used at a connection; empty where it may."""
    below = point.get("below", "plate")
    if row["needs_below"] == "concrete" and below != "concrete":
        return "needs concrete below"
    if row["needs_below"] == "wood" and below not in ("wood", "plate"):
        return "needs wood below"
    if row["needs_rafter_over_stud"] == "yes" and not about.get("rafter_over_stud", False):
        return "needs the truss over a stud"
    if cap.number(row, "extra_nails_per_ft", 0.0) > 0.0:
        return "panels must lap the plates"  # no plan of the sample says that they do
    if row["screw_length_in"]:
        return _screw(row, point, about, below)
    if (
        point["family"] == "sill_anchor"
        and row["bolt_diameter_in"]
        and category[0] in "DEF"
        and row["washer"] != "plate"
    ):
        return "needs plate washers"  # SDPWS 2015 4.3.6.4.3
    if "slender" in point and point["slender"] > MOST_SLENDER[row["blocking"]] + 1e-6:
        return "too slender for its blocking"
    if point["family"] == "wall_sheathing" and cap.number(row, "abutting_framing_in", 2.0) < 3.0:
        return _thick_framing(row, category)
    return ""


def _thick_framing(row: Thing, category: str) -> str:
    """SDPWS 2015 4.3.7.1: 3 in. framing where panels meet."""
    edge, ten = cap.number(row, "edge_spacing_in"), row["fastener"].startswith("10d")
    key = (row["panel_thickness_in"], row["fastener"].removesuffix(" common"), int(edge))
    heavy = category[0] in "DEF" and cap.t.SHEAR_WALL[key][0] > 700.0
    return "needs thick framing" if edge <= 2.0 or (ten and edge <= 3.0) or heavy else ""


def _screw(row: Thing, point: Thing, about: Thing, below: str) -> str:
    """Where the point of a long screw ends (trigonometry)."""
    length, angle = cap.number(row, "screw_length_in"), cap.number(row, "angle_deg", 22.0)
    plate = about.get("sill_thickness_in", 1.5) if point["family"] == "stud_to_plate" else 3.0
    cos, sin = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    if row["min_embedment_in"]:
        reached = length * cos - plate - cap.number(row, "start_height_in", 0.0)
        return "short in the truss" if reached < cap.number(row, "min_embedment_in") - 1e-9 else ""
    if not cap.number(row, "angle_min_deg", 10.0) <= angle <= cap.number(row, "angle_max_deg", 30.0):
        return "angle not tested"
    tip = length * cos - cap.number(row, "start_height_in", 3.0)
    if tip <= 0.0 or (plate > 1.5 and tip <= 1.5):
        return "does not reach"
    if tip - plate > 1e-9 and below != "wood":
        return "leaves the plate"
    return "leaves the plate's edge" if length * sin > about.get("stud_depth_in", 3.5) + 1e-9 else ""


def holds(
    option: tuple[str, str],
    names: list[str],
    points: dict[str, Thing],
    demands: Any,
    hardware: dict[str, Thing],
    about: Thing,
    category: str,
) -> float:
    """Greatest ratio of an option over the connections of a line; infinite where it may not be used."""
    worst = 0.0
    for name in names:
        held: Thing = {"wind": {}, "seismic": {}}
        if option == CAST_IN:
            worst = max(worst, cast_in(name, points, demands, hardware, about, category))
            continue
        if option != NONE:
            row = hardware[option[0]]
            if refused(row, points[name], about, category):
                return math.inf
            held = cap.held(row, option[1], points[name], about, demands.components(name), category)
        worst = max(worst, demands.ratio(name, held))
        if worst > 1.0:
            return worst
    return worst


def cast_in(
    name: str, points: dict[str, Thing], demands: Any, hardware: dict[str, Thing], about: Thing, category: str
) -> float:
    """Ratio of an anchor that comes with its hold-down: that of the best hold-down cast into the concrete."""
    held_by = [name.replace("hold-down anchor: ", "hold-down: ")]
    straps = [o for o in options("hold_down", hardware) if o != NONE and hardware[o[0]]["needs_below"] == "concrete"]
    rest = (points, demands, hardware, about, category)
    return min((holds(strap, held_by, *rest) for strap in straps), default=math.inf)
