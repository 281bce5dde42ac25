"""A sheet with several pictures side by side: titles, front arrows, scale bar, legend, caution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from screener.drawings.shapes import Disc, Label, Shape, arrow, box, line, moved, rectangle, text_width
from screener.files.manifest import CAUTION

GAP_FT = 5.0
ROW_GAP_FT = 6.5
PANELS_ABREAST = 3
LEGEND_STEP_FT = 2.0
HOUSE_WORDS = {
    "segment": "shear segment, numbered along its wall",
    "wall": "wall that takes no shear",
    "wall_inner": "inner wall, no shear",
    "opening": "opening (a line in it: a window)",
}
ROOF_WORDS = {
    "end_zone": "end zone",
    "truss": "truss",
    "truss_end": "truss or jack in the end zone",
    "girder": "girder",
    "bearing": "bearing line",
    "ridge": "ridge",
    "porch": "porch",
}


@dataclass(frozen=True)
class Panel:
    """One picture with its title; ``front``: show which way the street lies."""

    title: str
    shapes: Sequence[Shape]
    front: bool = True


def sheet(title: str, words: Sequence[str], panels: Sequence[Panel], legend: dict[str, str]) -> list[Shape]:
    """Panels in rows, each row on one base line, the title above, the legend and the caution below."""
    out: list[Shape] = []
    base, right = 0.0, 46.0
    rows = [panels[i : i + PANELS_ABREAST] for i in range(0, len(panels), PANELS_ABREAST)]
    for row in reversed(rows):
        shapes, width, height = _row(row)
        out += moved(shapes, 0.0, base)
        right, base = max(right, width), base + height + ROW_GAP_FT
    y = base - ROW_GAP_FT + 3.0
    lines = [text for long in words for text in wrapped(long, right - 26.0, 1.1)]
    for n, text in enumerate(reversed(lines)):
        out.append(Label("sheet_words", 0.0, y + 1.6 * n, text, 1.1, "start"))
    out.append(Label("sheet_title", 0.0, y + 1.6 * len(lines) + 0.7, title, 2.0, "start"))
    out += _scale_bar(right, y + 0.2)
    return out + _foot(legend, right)


def _row(panels: Sequence[Panel]) -> tuple[list[Shape], float, float]:
    """One row of panels from x = 0, y = 0, with its width and height."""
    out: list[Shape] = []
    filled = [[*panel.shapes, *(_front(panel.shapes) if panel.front else ())] for panel in panels]
    boxes = [box(shapes) for shapes in filled]
    base = min(b[1] for b in boxes)
    x = 0.0
    for panel, shapes, (x0, _, x1, _) in zip(panels, filled, boxes, strict=True):
        out += moved(shapes, x - x0, -base)
        out.append(Label("panel_title", x + (x1 - x0) / 2.0, -2.0, panel.title, 1.4))
        x += x1 - x0 + GAP_FT
    return out, x - GAP_FT, max(b[3] for b in boxes) - base


def _front(shapes: Sequence[Shape]) -> list[Shape]:
    x0, y0, x1, _ = box(shapes)
    middle = (x0 + x1) / 2.0
    return [
        *arrow("front", middle, y0 - 0.6, middle, y0 - 3.4, 1.1),
        Label("front_word", middle + 1.0, y0 - 2.2, "street front", 1.1, "start"),
    ]


def _scale_bar(right: float, y: float) -> list[Shape]:
    left = right - 20.0
    out: list[Shape] = [line("scale", left, y, right, y)]
    for ft in (0, 5, 10, 20):
        out += [line("scale", left + ft, y, left + ft, y + 0.5), Label("scale_text", left + ft, y + 1.2, str(ft), 0.9)]
    return [*out, Label("scale_text", right + 0.8, y + 1.2, "ft", 0.9, "start")]


def _foot(legend: dict[str, str], right: float) -> list[Shape]:
    """Legend in as many columns as fit, then the caution, wrapped to the width."""
    out: list[Shape] = []
    widest = max((text_width(w, 1.0) for w in legend.values()), default=0.0) + 5.0
    columns = max(1, int(right // widest))
    rows = -(-len(legend) // columns)
    y = -5.0
    for n, (layer, words) in enumerate(legend.items()):
        x, row = (n // rows) * widest if rows else 0.0, n % rows if rows else 0
        out += _swatch(layer, x, y - LEGEND_STEP_FT * row)
        out.append(Label("legend", x + 3.4, y - LEGEND_STEP_FT * row, words, 1.0, "start"))
    y -= LEGEND_STEP_FT * rows + 0.6
    for text in wrapped(CAUTION, right, 1.0):
        out.append(Label("caution", 0.0, y, text, 1.0, "start"))
        y -= 1.5
    return out


_MARKS = ("anchor_bolt", "hold_down", "hold_down_anchor", "storey_strap", "stud_pack", "tie", "post_base")
_LINES = ("truss", "truss_end", "girder", "bearing", "ridge", "datum")


def _swatch(layer: str, x: float, y: float) -> list[Shape]:
    if layer in _LINES:
        return [line(layer, x, y, x + 2.6, y)]
    if layer in _MARKS:
        return mark(layer, x + 1.3, y)
    return [rectangle(layer, x, y - 0.55, x + 2.6, y + 0.55)]


def mark(layer: str, x: float, y: float, scale: float = 1.0) -> list[Shape]:
    """The sign of one placed thing."""
    halves = {"hold_down": (0.5, 0.5), "storey_strap": (0.16, 0.55), "stud_pack": (0.38, 0.38)}
    if layer in halves:
        dx, dy = halves[layer][0] * scale, halves[layer][1] * scale
        return [rectangle(layer, x - dx, y - dy, x + dx, y + dy)]
    radius = {"anchor_bolt": 0.3, "hold_down_anchor": 0.85, "tie": 0.22, "post_base": 0.6}[layer]
    return [Disc(layer, x, y, radius * scale)]


def wrapped(text: str, width: float, size: float) -> list[str]:
    """Words on lines no wider than ``width``."""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines
