"""How an item is fastened, and what a crew must know about it: words from the hardware list's own columns."""

from __future__ import annotations

import math
from collections.abc import Iterable
from fractions import Fraction

from screener.hardware import HardwareRow
from screener.house_loads import HouseLoads
from screener.points import Point
from screener.sheets.source import LotFacts

PLACES = {"toe": "toe-nailed", "end": "through the plate", "face": ""}


def number(value: float) -> str:
    """Inches as a carpenter reads them: sixteenths where they are, else decimals."""
    whole, part = divmod(Fraction(value).limit_denominator(1000), 1)
    if part == 0:
        return str(int(whole))
    if 16 % part.denominator == 0:
        return f"{int(whole)}-{part}" if whole else str(part)
    return f"{value:.2f}".rstrip("0").rstrip(".")


def fastening(row: HardwareRow) -> str:
    """Fasteners of one piece as the list gives them; blank where it gives none, or where the item's name says it."""
    count, kind = row.number("fastener_count", 1.0), row.text("fastener")
    if row.values.get("panel_thickness_in") is not None and kind:
        edge, inner = row.number("edge_spacing_in"), row.number("field_spacing_in", 12.0)
        spacing = f"{number(edge)}/{number(inner)}"
        told = math.isnan(edge) or spacing in row.item
        return kind if told else f"{kind}, {number(edge)} in edges, {number(inner)} in field"
    if row.values.get("screw_length_in") is not None:
        length = f"{number(row.number('screw_length_in'))} in"
        return "" if length in row.item else f"screw {length}"
    if row.values.get("bolt_diameter_in") is not None:
        return _bolt_words(row)
    if kind:
        where = PLACES.get(row.text("placement", "face"), "")
        ends = " at each end" if row.values.get("steel_width_in") is not None else ""
        many = f"{count:.0f} x {kind}" if count > 1 else "" if kind in row.item else kind
        return " ".join(filter(None, [f"{many}{ends}", where]))
    if row.values.get("member_count") is not None:
        return "nailed together, full height"
    return ""


def _bolt_words(row: HardwareRow) -> str:
    size, deep = number(row.number("bolt_diameter_in")), number(row.number("embedment_in", 7.0))
    words = [f"{deep} in deep" if f"{size} in" in row.item else f"{size} in, {deep} in deep"]
    if row.text("washer") == "plate":
        words.append("3 x 3 in washer")
    return ", ".join(words)


def install_notes(lot: LotFacts) -> list[str]:
    """Notes for this lot's package: only those that an item or a connection of this house calls for."""
    if lot.house is None:
        return []
    used = [
        (point, row)
        for point in lot.house.points
        if (row := _row(lot, point)) is not None and (q := lot.quantities.get(point.schedule)) and q.pieces
    ]
    notes = [
        *_truss_notes(lot.house, used),
        *_screw_notes(used),
        *_bolt_notes(used),
        *_hold_down_notes(used),
        *_sheathing_notes(used),
        *_every_hole(used),
        *_own_notes(used),
    ]
    return list(dict.fromkeys(notes))


Used = list[tuple[Point, HardwareRow]]


def _row(lot: LotFacts, point: Point) -> HardwareRow | None:
    quantities = lot.quantities.get(point.schedule)
    return quantities.pieces[0].row if quantities and quantities.pieces else None


def _of(used: Used, *families: str) -> Used:
    return [(p, r) for p, r in used if p.family in families]


def _truss_notes(house: HouseLoads, used: Used) -> Iterable[str]:
    about = house.variant.plan.plan
    if not _of(used, "truss_tie"):
        return
    if about.rafter_over_stud:
        yield "Set every truss over a stud: the ties of this plan count on it."
    else:
        spacing = house.variant.roofs[0].spacing_ft * 12.0
        yield (
            f"Truss not over a stud is normal: trusses stand at {spacing:g} in, studs at {about.stud_spacing_in:g} in. "
            "Tie the truss to the double plate, and that plate to the stud nearest to the truss."
        )
    if any(r.flag("needs_rafter_over_stud") for _, r in _of(used, "truss_tie")):
        yield "The tie chosen needs the truss over a stud; where it is not, stop and call."


def _screw_notes(used: Used) -> Iterable[str]:
    """How long screws are driven, once for all that are driven alike."""
    ways: dict[str, list[str]] = {}
    for point, row in used:
        if row.values.get("screw_length_in") is not None and (way := _screw_way(point, row)):
            names = ways.setdefault(way, [])
            if row.item not in names:
                names.append(row.item)
    yield from (f"{'; '.join(names)}: {way}" for way, names in ways.items())
    for point, row in used:
        if (
            point.family == "stud_to_plate"
            and point.facts.get("below") == "concrete"
            and "screw_length_in" in row.values
        ):
            length = number(row.number("screw_length_in"))
            yield f"Short screw over concrete: only the {length} in screw at the bottom plate."


def _screw_way(point: Point, row: HardwareRow) -> str:
    if row.values.get("min_embedment_in") is not None:
        return (
            "straight up through the double plate into the middle of the truss, at least "
            f"{number(row.number('min_embedment_in'))} in deep in it; head pulled tight, no tip to be seen."
        )
    if row.values.get("angle_deg") is None and point.family not in ("plate_to_stud", "stud_to_plate"):
        return ""
    start, slack = row.number("start_height_in", 3.0), row.number("start_tolerance_in", 0.25)
    low, high = row.number("angle_min_deg", 10.0), row.number("angle_max_deg", 30.0)
    return (
        f"start {number(start)} in (± {number(slack)}) from the plate on the stud's {row.text('driven_from', 'edge')}, "
        f"{number(row.number('angle_deg', 22.0))}° from the stud ({number(low)}° to {number(high)}°)."
    )


def _bolt_notes(used: Used) -> Iterable[str]:
    bolts = [r for _, r in _of(used, "sill_anchor") if r.values.get("bolt_diameter_in") is not None]
    if not bolts:
        return
    least = 7.0 * max(r.number("bolt_diameter_in") for r in bolts)
    yield (
        f"Anchor bolts: one within 12 in of each end of every plate piece, none nearer than {number(least)} in; "
        "in the middle third of the plate, clear of studs; nut and washer on every one."
    )
    if any(r.text("washer") == "plate" for r in bolts):
        yield "Plate washer: its edge within 1/2 in of the sheathed face."


def _hold_down_notes(used: Used) -> Iterable[str]:
    rows = _of(used, "hold_down")
    if rows:
        yield "Hold-downs: anchor within 1/8 in of its place (template), tight to a full-height stud pack, no shims."
    if any("cast" in r.item.casefold() or "cast" in r.extra.get("note", "").casefold() for _, r in rows):
        yield "Cast-in straps are set before the pour, whatever delivery the list puts them in."


def _sheathing_notes(used: Used) -> Iterable[str]:
    if _of(used, "wall_sheathing", "roof_sheathing"):
        yield "Sheathing nails: 3/8 in from panel edges, heads flush; one driven through the skin does not count."
    wide = {int(r.number("abutting_framing_in", 2.0)) for _, r in _of(used, "wall_sheathing")}
    if max(wide, default=2) >= 3:
        yield "Where wall nails stand at 3 in or closer: a 3x stud at every panel joint."
    if any("lap" in r.item for _, r in _of(used, "plate_to_stud", "stud_to_plate")):
        yield "Wall panels must lap both plates fully: they carry the uplift. Extra plate nails beyond the shear nails."


def _every_hole(used: Used) -> Iterable[str]:
    if any(r.basis == "listed" for _, r in used):
        yield "Every hole filled with the nail that belongs to the piece; ties flat, not bent, not over a panel joint."


def _own_notes(used: Used) -> Iterable[str]:
    for _, row in used:
        note = row.extra.get("note", "").strip()
        if note and "cast" not in note and row.values.get("screw_length_in") is None and row.basis == "listed":
            yield f"{row.item}: {note}."
