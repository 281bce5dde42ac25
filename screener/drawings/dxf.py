"""Shapes as a drawing file for a drafter: DXF release 2000, plain text, one named layer a kind of thing.

The unit is the US survey foot, as site drawings are asked for; over a house it and the international foot differ by a
ten-thousandth of an inch. The same shapes give the same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from io import StringIO
from typing import TYPE_CHECKING

from screener.drawings.shapes import Disc, Label, Shape
from screener.report.text import plain

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts import Modelspace

RELEASE = "R2000"
US_SURVEY_FOOT = 21  # code of the header's $INSUNITS
_COLOURS = {"ANCHOR_BOLT": 1, "HOLD_DOWN": 6, "HOLD_DOWN_ANCHOR": 6, "STOREY_STRAP": 4, "STUD_PACK": 5, "NOTE": 8}
WHITE = 7
_TEXT_LENGTH = 250


def dxf_text(shapes: Sequence[Shape], comments: Iterable[str] = ()) -> str:
    """The whole file. Comments come first in it, for who opens it as text."""
    with _no_clock():
        drawing = _drawing(shapes)
        stream = StringIO()
        drawing.write(stream)
    return "".join(f"999\n{_one_line(c)}\n" for c in comments) + stream.getvalue()


def _drawing(shapes: Sequence[Shape]) -> Drawing:
    import ezdxf
    from ezdxf import units

    drawing = ezdxf.new(RELEASE, units=units.FT)
    drawing.header["$INSUNITS"] = US_SURVEY_FOOT
    for name in sorted({layer_name(s.layer) for s in shapes}):
        drawing.layers.add(name, color=_COLOURS.get(name, WHITE))
    space = drawing.modelspace()
    for s in shapes:
        _draw(space, s)
    return drawing


def layer_name(layer: str) -> str:
    """A name that every release allows: at most 31 capitals, digits, underscores."""
    return re.sub(r"[^A-Z0-9_]", "_", layer.upper())[:31]


@contextmanager
def _no_clock() -> Iterator[None]:
    """Fixed dates and identifiers in the header: the same input must give the same bytes."""
    from ezdxf import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _draw(space: Modelspace, s: Shape) -> None:
    on = {"layer": layer_name(s.layer)}
    if isinstance(s, Disc):
        space.add_circle((_round(s.x), _round(s.y)), _round(s.radius), on)
    elif isinstance(s, Label):
        _write(space, s, on)
    elif len(s.points) == 2:
        start, end = ((_round(x), _round(y)) for x, y in s.points)
        space.add_line(start, end, on)
    else:
        space.add_lwpolyline([(_round(x), _round(y)) for x, y in s.points], close=s.closed, dxfattribs=on)


def _write(space: Modelspace, s: Label, on: dict[str, str]) -> None:
    from ezdxf.enums import TextEntityAlignment

    align = {
        "start": TextEntityAlignment.MIDDLE_LEFT,
        "middle": TextEntityAlignment.MIDDLE_CENTER,
        "end": TextEntityAlignment.MIDDLE_RIGHT,
    }[s.align]
    text = space.add_text(
        _one_line(s.text), height=_round(s.size * 0.8), rotation=90.0 if s.turned else 0.0, dxfattribs=on
    )
    text.set_placement((_round(s.x), _round(s.y)), align=align)


def _round(value: float) -> float:
    return round(value, 5) + 0.0  # no minus zero


def _one_line(text: str) -> str:
    """One line of plain letters; others by the format's own escape, so that no text can end its own line."""
    flat = " ".join(plain(text).replace("%%", "% %").split())
    return "".join(c if 32 <= ord(c) < 127 else f"\\U+{ord(c):04X}" if ord(c) <= 0xFFFF else "?" for c in flat)[
        :_TEXT_LENGTH
    ]
