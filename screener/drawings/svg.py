"""Shapes as SVG: classes by layer, colours in one style sheet, light and dark, texts escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from html import escape
from importlib.resources import files

from screener.drawings.shapes import Disc, Label, Shape, Stroke, box
from screener.report.text import plain

_ANCHOR = {"start": "start", "middle": "middle", "end": "end"}


@cache
def style_sheet() -> str:
    """The drawings' own style, for a page that holds them or for a file of its own."""
    return files("screener.drawings").joinpath("drawings.css").read_text(encoding="utf-8").replace("\r\n", "\n")


def svg_picture(
    shapes: Sequence[Shape], title: str, pixels_per_ft: float = 8.0, margin_ft: float = 2.0, window: float | None = None
) -> str:
    """An `<svg>` element without a style of its own. ``window``: widest it may be shown, CSS pixels."""
    x0, y0, x1, y1 = box(shapes)
    x0, y0, x1, y1 = x0 - margin_ft, y0 - margin_ft, x1 + margin_ft, y1 + margin_ft
    width, height = (x1 - x0) * pixels_per_ft, (y1 - y0) * pixels_per_ft
    body = "".join(_element(s, x0, y1, pixels_per_ft) for s in shapes)
    shown = f' width="{min(width, window):.0f}"' if window else ""
    return (
        f'<svg class="drawing" viewBox="0 0 {width:.1f} {height:.1f}"{shown} role="img" '
        f'xmlns="http://www.w3.org/2000/svg"><title>{escape(plain(title))}</title>{body}</svg>'
    )


def svg_file(shapes: Sequence[Shape], title: str, pixels_per_ft: float = 8.0) -> str:
    """A file of its own: the picture on paper colour, with the style inside."""
    picture = svg_picture(shapes, title, pixels_per_ft)
    head, _, body = picture.partition("</title>")
    sheet = '<rect class="paper" width="100%" height="100%"/>'
    return f"{head}</title><style>{style_sheet()}</style>{sheet}{body}\n"


def _element(s: Shape, left: float, top: float, k: float) -> str:
    def at(x: float, y: float) -> str:
        return f"{(x - left) * k:.1f} {(top - y) * k:.1f}"

    kind = s.layer.lower().replace(" ", "-")
    if isinstance(s, Stroke):
        points = "L".join(at(x, y) for x, y in s.points)
        return f'<path class="{kind}" d="M{points}{"Z" if s.closed else ""}"/>'
    if isinstance(s, Disc):
        cx, cy = at(s.x, s.y).split()
        return f'<circle class="{kind}" cx="{cx}" cy="{cy}" r="{s.radius * k:.1f}"/>'
    return _text(s, at(s.x, s.y).split(), kind, k)


def _text(s: Label, at: Iterable[str], kind: str, k: float) -> str:
    x, y = at
    turn = f' transform="rotate(-90 {x} {y})"' if s.turned else ""
    return (
        f'<text class="{kind}" x="{x}" y="{y}" font-size="{s.size * k:.1f}" text-anchor="{_ANCHOR[s.align]}" '
        f'dominant-baseline="central"{turn}>{escape(plain(s.text))}</text>'
    )
