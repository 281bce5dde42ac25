"""Shapes as a drawing file for a drafter: DXF release 12, plain text, one named layer a kind of thing, unit foot.

Group codes follow the published reference of the format; release 12 is read by every drafting program.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from screener.drawings.shapes import Disc, Label, Shape, Stroke
from screener.report.text import plain

Pair = tuple[int, str | int | float]
_ALIGN = {"start": 0, "middle": 1, "end": 2}
_COLOURS = {"ANCHOR_BOLT": 1, "HOLD_DOWN": 6, "HOLD_DOWN_ANCHOR": 6, "STOREY_STRAP": 4, "STUD_PACK": 5, "NOTE": 8}
WHITE = 7


def dxf_text(shapes: Sequence[Shape], comments: Iterable[str] = ()) -> str:
    """The whole file."""
    pairs: list[Pair] = [(999, _one_line(c)) for c in comments]
    # $INSUNITS is younger than release 12; programs that know it take the unit from it, others leave it alone
    pairs += [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009"), (9, "$INSUNITS"), (70, 2), (0, "ENDSEC")]
    pairs += _tables(sorted({layer_name(s.layer) for s in shapes}))
    pairs += [(0, "SECTION"), (2, "ENTITIES")]
    for s in shapes:
        pairs += _entity(s)
    pairs += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{_value(value)}\n" for code, value in pairs)


def layer_name(layer: str) -> str:
    """A name that release 12 allows: at most 31 capitals, digits, underscores."""
    return re.sub(r"[^A-Z0-9_]", "_", layer.upper())[:31]


def _tables(layers: Sequence[str]) -> list[Pair]:
    out: list[Pair] = [(0, "SECTION"), (2, "TABLES"), (0, "TABLE"), (2, "LAYER"), (70, len(layers))]
    for name in layers:
        out += [(0, "LAYER"), (2, name), (70, 0), (62, _COLOURS.get(name, WHITE)), (6, "CONTINUOUS")]
    return [*out, (0, "ENDTAB"), (0, "ENDSEC")]


def _entity(s: Shape) -> list[Pair]:
    on: list[Pair] = [(8, layer_name(s.layer))]
    if isinstance(s, Disc):
        return [(0, "CIRCLE"), *on, *_at(s.x, s.y), (40, _round(s.radius))]
    if isinstance(s, Label):
        turn: list[Pair] = [(50, 90.0)] if s.turned else []
        align: list[Pair] = [(72, _ALIGN[s.align]), (73, 2)]
        text: list[Pair] = [(1, _one_line(s.text))]
        second: list[Pair] = [(11, _round(s.x)), (21, _round(s.y)), (31, 0.0)]
        return [(0, "TEXT"), *on, *_at(s.x, s.y), (40, _round(s.size * 0.8)), *text, *turn, *align, *second]
    return _polyline(s, on)


def _polyline(s: Stroke, on: list[Pair]) -> list[Pair]:
    if len(s.points) == 2:
        (x0, y0), (x1, y1) = s.points
        return [(0, "LINE"), *on, *_at(x0, y0), (11, _round(x1)), (21, _round(y1)), (31, 0.0)]
    out: list[Pair] = [(0, "POLYLINE"), *on, (66, 1), *_at(0.0, 0.0), (70, int(s.closed))]
    for x, y in s.points:
        out += [(0, "VERTEX"), *on, *_at(x, y)]
    return [*out, (0, "SEQEND"), *on]


def _at(x: float, y: float) -> list[Pair]:
    return [(10, _round(x)), (20, _round(y)), (30, 0.0)]


def _round(value: float) -> float:
    return round(value, 5) + 0.0  # no minus zero


def _value(value: str | int | float) -> str:
    return f"{value:.5f}" if isinstance(value, float) else str(value)


def _one_line(text: str) -> str:
    """One line of plain letters; others by the format's own escape, so that no text can end its own line."""
    flat = " ".join(plain(text).replace("%%", "% %").split())
    return "".join(c if 32 <= ord(c) < 127 else f"\\U+{ord(c):04X}" if ord(c) <= 0xFFFF else "?" for c in flat)[:250]
