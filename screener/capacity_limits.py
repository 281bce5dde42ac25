"""Whether an option may be used at a connection at all, with the reason, and what its numbers leave open."""

from __future__ import annotations

import math

from screener.capacity_case import CONCRETE_NOT_CHECKED, Case, ConnectionPoint, Option, Piece
from screener.capacity_sheathing import panel_nail, panel_nominal_plf
from screener.families import Family
from screener.hardware import HardwareRow
from screener.hardware_columns import load_column
from screener.screw_geometry import exit_depth_in, screw_path, stays_within
from screener.sheathing_limits import sheathing_refused
from screener.standards import irc_fastening as irc
from screener.standards import sdpws_shear_walls as sdpws


def why_not(option: Option, case: Case, point: ConnectionPoint) -> str:
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


def _wrong_place(option: Option, case: Case, point: ConnectionPoint) -> str:
    need, below = case.row.text("needs_below", "any"), _below(point)
    if need == "concrete" and below != "concrete":
        return "made for concrete below, which is not there"
    if need == "wood" and below not in ("wood", "plate"):
        return f"made for wood below, but {below} is there"
    return ""


def _truss_not_over_stud(option: Option, case: Case, point: ConnectionPoint) -> str:
    if case.row.flag("needs_rafter_over_stud") and not case.facts.get("rafter_over_stud", False):
        return "needs the truss over a stud"
    return ""


def _screw_path_fault(option: Option, case: Case, point: ConnectionPoint) -> str:
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


def _leaves_stud(row: HardwareRow, case: Case, joint_in: float, tip_in: float) -> str:
    """Whether the screw leaves the stud or the plate sideways."""
    width, depth = case.fact("stud_width_in", 1.5), case.fact("stud_depth_in", 3.5)
    if row.text("driven_from", "edge") == "wide face":
        leaves = not stays_within(joint_in, width)
        return "screw leaves the side of the stud before it reaches the plate" if leaves else ""
    return "" if stays_within(tip_in, depth) else "screw tip would leave the far edge of the plate"


def _washer_missing(option: Option, case: Case, point: ConnectionPoint) -> str:
    bolt = case.family.key in ("sill_anchor", "retrofit_anchor") and "bolt_diameter_in" in case.row.values
    if bolt and irc.plate_washers_needed(case.context.sdc) and case.row.text("washer", "cut") != "plate":
        return f"needs plate washers in seismic design category {case.context.sdc}"
    return ""


def _too_wide(option: Option, case: Case, point: ConnectionPoint) -> str:
    if case.family.key not in ("sill_anchor", "retrofit_anchor"):
        return ""
    most = irc.anchor_spacing_most_in(case.context.sdc, int(case.facts.get("storeys", 1)))
    return f"spacing {option.spacing_in:g} in is above the code's {most:g}" if option.spacing_in > most else ""


def _framing_missing(option: Option, case: Case, point: ConnectionPoint) -> str:
    """Thick framing at panel joints."""
    row = case.row
    if case.family.key != "wall_sheathing":
        return ""
    if row.text("panel_grade", "Sheathing") == "Gypsum":
        return ""
    if row.number("abutting_framing_in", 2.0) >= 3.0 or row.basis != "computed":
        return ""
    edge = row.number("edge_spacing_in")
    nominal = panel_nominal_plf(case, row.text("panel_thickness_in"), edge)
    nail, edition = panel_nail(row), case.context.sdpws_edition
    if sdpws.thick_framing_needed(edition, nominal, nail, edge, case.context.category_d):
        return "needs 3 in. nominal framing where panels meet"
    return ""


def _sheathing_refused(option: Option, case: Case, point: ConnectionPoint) -> str:
    return sheathing_refused(case.family.key, case.row, case.facts, case.context.sdc)


def _laps(option: Option, case: Case, point: ConnectionPoint) -> str:
    ties = case.row.number("extra_nails_per_ft", 0.0) > 0 and case.family.key != "wall_sheathing"
    if ties and not case.facts.get("panel_laps_plates", False):
        return "panels must lap the plates to tie them down"
    return ""


def open_notes(case: Case, point: ConnectionPoint, piece: Piece) -> tuple[str, ...]:
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


def _tolerance_notes(case: Case, point: ConnectionPoint) -> list[str]:
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
