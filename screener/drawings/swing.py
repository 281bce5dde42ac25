"""Small pictures for the head of a lot sheet: which hand, and which way north lies."""

from __future__ import annotations

import math

from screener.drawings.plan_drawing import footprint, hand, outline
from screener.drawings.shapes import Disc, Label, Shape, Stroke, arrow, box, moved, rectangle
from screener.plans import Variant

GARAGE_FT = 7.5
"""A door on the front at least this wide is the garage's."""

SIDES = (("front", 0.0), ("left", 90.0), ("rear", 180.0), ("right", 270.0))
"""Sides as seen from the street, and the bearing each faces past the front's, clockwise."""


def garage_doors(variant: Variant) -> list[tuple[float, float]]:
    """Garage doors of the front: (lo, hi) in the plan as drawn."""
    front = [w for w in variant.walls_of(0, "x") if w.exterior and abs(w.at - variant.extent[1]) < 4.0]
    return sorted((o.lo, o.hi) for w in front for o in w.openings if o.sill_ft == 0 and o.length >= GARAGE_FT)


def garage_side(variant: Variant, is_mirrored: bool) -> str:
    """left or right as seen from the street; blank where the front has no garage door or it stands in the middle."""
    doors = garage_doors(variant)
    if not doors:
        return ""
    lo, _, hi, _ = variant.extent
    middle = sum(a + b for a, b in doors) / (2.0 * len(doors))
    share = (middle - lo) / (hi - lo)
    if is_mirrored:
        share = 1.0 - share
    return "left" if share < 0.45 else "right" if share > 0.55 else ""


def swing_picture(variant: Variant, is_mirrored: bool) -> list[Shape]:
    """Both hands seen from above, street below: this lot's in full, the other struck out."""
    width = variant.width_ft
    out: list[Shape] = []
    for n, other in enumerate((is_mirrored, not is_mirrored)):
        mine = n == 0
        shapes: list[Shape] = outline("chosen_hand" if mine else "other_hand", footprint(variant, 0))
        y = variant.extent[1]
        shapes += [rectangle("garage" if mine else "other_garage", a, y, b, y + 18.0) for a, b in garage_doors(variant)]
        shapes = hand(shapes, variant, other)
        x0, y0, x1, y1 = box(shapes)
        if not mine:
            shapes += [Stroke("struck", ((x0, y0), (x1, y1))), Stroke("struck", ((x0, y1), (x1, y0)))]
        words = "THIS LOT" if mine else "not this"
        shapes.append(Label("wall_name" if mine else "sheet_words", (x0 + x1) / 2.0, y0 - 6.0, words, 7.0))
        out += moved(shapes, n * (width + 14.0), 0.0)
    return out


def side_bearings(front_bearing_deg: float) -> list[tuple[str, float]]:
    """The compass bearing that each side of the house faces."""
    return [(name, (front_bearing_deg + turn) % 360.0) for name, turn in SIDES]


def bearing_words(bearing_deg: float) -> str:
    """S 180, NE 45: the nearest of sixteen winds, and degrees from true north."""
    names = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
    return f"{names[round(bearing_deg / 22.5) % 16]} {bearing_deg % 360.0:.0f}°"


def north_arrow(front_bearing_deg: float, x: float = 0.0, y: float = 0.0, size: float = 4.0) -> list[Shape]:
    """True north on a plan whose front is at the bottom: up on the plan faces the rear."""
    turn = math.radians(-(front_bearing_deg + 180.0))  # clockwise from up
    dx, dy = math.sin(turn), math.cos(turn)
    tail, tip = (x - size * dx, y - size * dy), (x + size * dx, y + size * dy)
    return [
        Disc("balloon", x, y, size * 0.5),
        *arrow("needle", *tail, *tip, head=size * 0.5),
        Label("wall_name", x + size * 1.45 * dx, y + size * 1.45 * dy, "N", size * 0.5),
    ]
