"""Anchor and strap layouts: one picture a level, every piece at its place, distances run from each wall's datum end.

A distance belongs to its wall's datum end, which is drawn; mirroring moves the datum with the wall, so the numbers of a
mirrored layout are those of the layout as drawn, and the drawing is its exact mirror image.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from screener.capacity_case import Option
from screener.drawings.layout import Placed, place_layout
from screener.drawings.plan_drawing import hand, outward, wall_body
from screener.drawings.shapes import Label, Shape, Stroke, along, line
from screener.drawings.sheet import Panel, mark
from screener.hardware import Hardware
from screener.house_loads import HouseLoads
from screener.plans import WallLine

LAYER_OF_FAMILY = {
    "sill_anchor": "anchor_bolt",
    "retrofit_anchor": "anchor_bolt",
    "hold_down": "hold_down",
    "hold_down_anchor": "hold_down_anchor",
    "storey_strap": "storey_strap",
    "header_end": "stud_pack",
    "post_base": "post_base",
    "truss_tie": "tie",
    "girder_tie": "tie",
    "truss_hanger": "tie",
    "gable_end_tie": "tie",
    "plate_to_stud": "storey_strap",
    "post_beam": "tie",
    "ledger": "tie",
}
LAYER_WORDS = {
    "anchor_bolt": "anchor bolt",
    "hold_down_anchor": "hold-down anchor",
    "hold_down": "hold-down",
    "storey_strap": "strap",
    "stud_pack": "strap of a stud pack or header end",
    "post_base": "post base",
    "tie": "tie, clip or hanger",
    "datum": "datum of the wall's distances",
    "segment": "shear segment",
}
_SHORT = {
    "anchor_bolt": "bolt",
    "hold_down_anchor": "hold-down anchor",
    "hold_down": "hold-down",
    "storey_strap": "strap",
    "stud_pack": "pack strap",
    "post_base": "post base",
    "tie": "tie",
}
_OFFSETS = {"hold_down": 0.0, "hold_down_anchor": 0.0, "anchor_bolt": 0.0, "storey_strap": 0.75, "stud_pack": 1.5}
ORDINATE_SIZE = 0.72
DROPS = ("foundation", "floor", "walls", "roof")
_TITLES = {
    "foundation": "foundation: cast or drilled before the walls",
    "floor": "across the floor",
    "walls": "walls of storey {name}",
    "roof": "roof to walls of storey {name}",
}


def layout_panels(
    house: HouseLoads,
    chosen: Mapping[str, Option],
    hardware: Hardware,
    is_mirrored: bool,
    drops: Sequence[str] = DROPS,
    small: bool = False,
) -> tuple[list[Panel], list[Placed]]:
    """Pictures by drop and storey, and everything on them. ``small``: for a corner of a page, without distances."""
    placed = [p for p in place_layout(house, chosen, hardware) if p.drop in drops]
    panels = []
    for drop in drops:
        storeys = sorted({p.storey for p in placed if p.drop == drop})
        for storey in storeys:
            here = [p for p in placed if p.drop == drop and p.storey == storey]
            shapes = hand(_picture(house, storey, here, small), house.variant, is_mirrored)
            title = _TITLES[drop].format(name=house.variant.levels[storey].name)
            if drop == "floor":
                title += f" under storey {house.variant.levels[storey].name}" if storey else ""
            panels.append(Panel(title, shapes))
    return panels, placed


def _picture(house: HouseLoads, storey: int, placed: Sequence[Placed], small: bool) -> list[Shape]:
    out: list[Shape] = [s for s in wall_body(house, storey) if not (small and isinstance(s, Label))]
    scale = 2.0 if small else 1.0
    for wall in house.variant.walls_of(storey):
        here = [p for p in placed if p.wall == wall.name]
        side = outward(house.variant, wall) or -1.0
        out += [s for p in here for s in _piece(p, wall, -side, scale)]
        if here and not small:
            out += [*_ordinates(wall, here, side), _name(wall, here, side * 5.4, 0.95)]
        elif here:
            out.append(_name(wall, here, side * 2.6, 1.9))
    out += [s for p in placed if not p.wall for s in mark(LAYER_OF_FAMILY[p.family], p.x, p.y, scale)]
    return out


def _piece(p: Placed, wall: WallLine, inward: float, scale: float) -> list[Shape]:
    layer = LAYER_OF_FAMILY[p.family]
    off = _OFFSETS.get(layer, 0.0) * inward
    x, y = (p.x, p.y + off) if wall.axis == "x" else (p.x + off, p.y)
    shapes = mark(layer, x, y, scale)
    if p.pieces > 1:
        shapes.append(Label("piece_count", x + 0.9, y + 0.9, f"x{p.pieces}", 0.7 * scale))
    return shapes


def _name(wall: WallLine, placed: Sequence[Placed], off: float, size: float) -> Label:
    x, y = along(wall.axis, wall.at, (wall.lo + wall.hi) / 2.0, off)
    return Label("wall_name", x, y, f"{wall.name}: {_tally(placed)}", size, turned=wall.axis == "y")


def _ordinates(wall: WallLine, placed: Sequence[Placed], side: float) -> list[Shape]:
    """Running distances from the datum to every bolt, hold-down and strap, outside the wall."""
    out: list[Shape] = [_mark_line("datum", wall, wall.lo, side * 0.4, side * 4.0)]
    x, y = along(wall.axis, wall.at, wall.lo, side * 4.5)
    out.append(Label("datum_text", x, y, "0", 0.9))
    last = float("-inf")
    for s in sorted({round(p.wall_at_ft or 0.0, 3) for p in placed}):
        place = max(s, last + ORDINATE_SIZE + 0.1)
        last = place
        near, far = (
            along(wall.axis, wall.at, wall.lo + s, side * 0.7),
            along(wall.axis, wall.at, wall.lo + place, side * 1.3),
        )
        out.append(Stroke("ordinate_line", (near, far)))
        x, y = along(wall.axis, wall.at, wall.lo + place, side * 2.5)
        out.append(Label("ordinate", x, y, feet_inches(s), ORDINATE_SIZE, turned=wall.axis == "x"))
    return out


def _tally(placed: Sequence[Placed]) -> str:
    counts: dict[str, int] = {}
    for p in placed:
        words = _SHORT[LAYER_OF_FAMILY[p.family]]
        counts[words] = counts.get(words, 0) + p.pieces
    return ", ".join(f"{n} {words}{'' if n == 1 else 's'}" for words, n in counts.items())


def _mark_line(layer: str, wall: WallLine, s: float, a: float, b: float) -> Stroke:
    return Stroke(layer, (along(wall.axis, wall.at, s, a), along(wall.axis, wall.at, s, b)))


def feet_inches(feet: float) -> str:
    """A distance as a carpenter reads it, to the nearest eighth of an inch: 5'-6 1/2"."""
    eighths = round(feet * 96.0)
    whole, rest = divmod(eighths, 96)
    inches, part = divmod(rest, 8)
    fraction = {0: "", 1: " 1/8", 2: " 1/4", 3: " 3/8", 4: " 1/2", 5: " 5/8", 6: " 3/4", 7: " 7/8"}[part]
    return f"{whole}'-{inches}{fraction}\""


def counts_by_item(placed: Sequence[Placed]) -> dict[tuple[str, str], int]:
    """Pieces placed, by drop and item."""
    out: dict[tuple[str, str], int] = {}
    for p in placed:
        out[p.drop, p.item] = out.get((p.drop, p.item), 0) + p.pieces
    return dict(sorted(out.items(), key=lambda kv: (DROPS.index(kv[0][0]), kv[0][1])))


def drafting_shapes(panels: Sequence[Panel], gap_ft: float = 30.0) -> list[Shape]:
    """Panels for a drawing file: each at its own true coordinates, the second and later moved right by a whole step."""
    from screener.drawings.shapes import box, moved

    out: list[Shape] = []
    step = 0.0
    for panel in panels:
        x0, y0, x1, _ = box(panel.shapes)
        out += moved(panel.shapes, step, 0.0)
        out.append(Label("note", (x0 + x1) / 2.0 + step, y0 - 3.0, panel.title, 1.4))
        out.append(line("note", x0 + step, y0 - 4.5, x1 + step, y0 - 4.5))
        step += round(x1 - x0 + gap_ft, -1)
    return out
