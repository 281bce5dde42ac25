"""What drawings are made of, in feet with y up: one set of shapes, written as SVG for reading and as DXF for a drafter.

Every label is centred on its height, so that mirroring moves a text and never turns it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

Align = Literal["start", "middle", "end"]
XY = tuple[float, float]
_OPPOSITE: dict[Align, Align] = {"start": "end", "middle": "middle", "end": "start"}


@dataclass(frozen=True)
class Stroke:
    """Straight lines through points; closed ones may be filled by their layer's style."""

    layer: str
    points: tuple[XY, ...]
    closed: bool = False


@dataclass(frozen=True)
class Disc:
    layer: str
    x: float
    y: float
    radius: float


@dataclass(frozen=True)
class Label:
    """A text whose middle height passes through (x, y); ``turned`` reads upwards."""

    layer: str
    x: float
    y: float
    text: str
    size: float = 1.0
    align: Align = "middle"
    turned: bool = False


Shape = Stroke | Disc | Label


def line(layer: str, x0: float, y0: float, x1: float, y1: float) -> Stroke:
    return Stroke(layer, ((x0, y0), (x1, y1)))


def rectangle(layer: str, x0: float, y0: float, x1: float, y1: float) -> Stroke:
    return Stroke(layer, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), True)


def mirrored(shapes: Iterable[Shape], twice_axis_x: float) -> list[Shape]:
    """Every shape at x -> ``twice_axis_x`` - x. Texts stay readable."""

    def x(value: float) -> float:
        return twice_axis_x - value

    out: list[Shape] = []
    for s in shapes:
        if isinstance(s, Stroke):
            out.append(replace(s, points=tuple((x(a), b) for a, b in s.points)))
        elif isinstance(s, Disc):
            out.append(replace(s, x=x(s.x)))
        else:
            out.append(replace(s, x=x(s.x), align=s.align if s.turned else _OPPOSITE[s.align]))
    return out


def moved(shapes: Iterable[Shape], dx: float, dy: float) -> list[Shape]:
    out: list[Shape] = []
    for s in shapes:
        if isinstance(s, Stroke):
            out.append(replace(s, points=tuple((a + dx, b + dy) for a, b in s.points)))
        else:
            out.append(replace(s, x=s.x + dx, y=s.y + dy))
    return out


def box(shapes: Iterable[Shape]) -> tuple[float, float, float, float]:
    """Least and greatest x and y, texts by their likely width."""
    xs: list[float] = []
    ys: list[float] = []
    for s in shapes:
        if isinstance(s, Stroke):
            xs += [p[0] for p in s.points]
            ys += [p[1] for p in s.points]
        elif isinstance(s, Disc):
            xs += [s.x - s.radius, s.x + s.radius]
            ys += [s.y - s.radius, s.y + s.radius]
        else:
            x0, x1, y0, y1 = _text_box(s)
            xs += [x0, x1]
            ys += [y0, y1]
    return min(xs), min(ys), max(xs), max(ys)


LETTER_WIDTH = 0.56
"""Mean width of a letter over its height, a little generous for the fonts in use."""


def text_width(text: str, size: float) -> float:
    return LETTER_WIDTH * size * len(text)


def _text_box(s: Label) -> tuple[float, float, float, float]:
    width = text_width(s.text, s.size)
    low = {"start": 0.0, "middle": -width / 2.0, "end": -width}[s.align]
    if s.turned:
        return s.x - s.size / 2.0, s.x + s.size / 2.0, s.y + low, s.y + low + width
    return s.x + low, s.x + low + width, s.y - s.size / 2.0, s.y + s.size / 2.0


def arrow(layer: str, x0: float, y0: float, x1: float, y1: float, head: float = 0.9) -> list[Shape]:
    """A line with a filled head at its second end."""
    length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    bx, by = x1 - head * ux, y1 - head * uy
    wing = 0.38 * head
    tip = ((x1, y1), (bx - wing * uy, by + wing * ux), (bx + wing * uy, by - wing * ux))
    return [line(layer, x0, y0, bx, by), Stroke(f"{layer}_tip", tip, True)]


def along(axis: str, at: float, s: float, off: float = 0.0) -> XY:
    """Point at ``s`` on a wall line parallel to ``axis``, ``off`` away from it."""
    return (s, at + off) if axis == "x" else (at + off, s)
