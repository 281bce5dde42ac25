"""The plan as it was understood: each storey's walls, openings and shear segments; the roof's trusses and end zones.

Shapes are those of the plan as drawn, in its own feet. ``plan_sheet`` mirrors them, when asked, before anything is
arranged on the sheet, so a mirrored drawing is the exact mirror image of the other.
"""

from __future__ import annotations

import itertools
from functools import cache
from typing import Any

from screener.drawings.layout import porch_posts, segments_of
from screener.drawings.shapes import Disc, Label, Shape, Stroke, along, line, mirrored, rectangle, text_width
from screener.house_loads import HouseLoads
from screener.plans import PorchRoof, RoofPart, Span, Variant, WallLine
from screener.roof_loads import truss_runs

WALL_FT = 0.5
DIM_OFF_FT, TITLE_OFF_FT, OVERALL_OFF_FT = 2.0, 3.9, 6.4
OPENING_SIZE, DIM_SIZE, NAME_SIZE = 0.82, 0.82, 1.05
CORNER_FT = 2.1
ROWS_FT = (1.35, 2.35, 3.35)


def footprint(variant: Variant, storey: int) -> Any:
    """Outline of one storey: the union of its rectangles."""
    return _union(variant.levels[storey].areas)


@cache
def _union(areas: tuple[tuple[float, float, float, float], ...]) -> Any:
    from shapely.geometry import box
    from shapely.ops import unary_union

    return unary_union([box(*r) for r in areas])


def outline(layer: str, shape: Any) -> list[Shape]:
    rings = [p.exterior for p in getattr(shape, "geoms", [shape])]
    return [Stroke(layer, tuple((float(x), float(y)) for x, y in list(r.coords)[:-1]), True) for r in rings]


def outward(variant: Variant, wall: WallLine) -> float:
    """+1 or -1: the side of the wall that lies outside its storey; 0 for a wall with rooms on both sides."""
    from shapely.geometry import Point

    shape = footprint(variant, wall.storey)
    middle = 0.5 * (wall.lo + wall.hi)
    free = [d for d in (-1.0, 1.0) if not shape.contains(Point(*along(wall.axis, wall.at, middle, d * 0.4)))]
    return free[0] if len(free) == 1 and wall.exterior else 0.0


# --- walls ----------------------------------------------------------------------------------------------------------


def wall_body(house: HouseLoads, storey: int) -> list[Shape]:
    """Footprint, walls, openings, porches and posts: the ground on which every kind of drawing of a storey lies."""
    out = outline("footprint", footprint(house.variant, storey))
    for porch in house.variant.porches if storey == 0 else ():
        out.append(rectangle("porch", *porch.rect))
        out += [rectangle("post", x - 0.35, y - 0.35, x + 0.35, y + 0.35) for x, y in porch_posts(house, porch.name)]
        out.append(_porch_name(house.variant, porch))
    for wall in house.variant.walls_of(storey):
        solid = {(s.span.lo, s.span.hi) for s in segments_of(house, wall)}
        kind = "wall" if wall.exterior else "wall_inner"
        out += [
            _strip("segment" if (s.lo, s.hi) in solid else kind, wall, s.lo, s.hi, WALL_FT / 2.0) for s in wall.solids()
        ]
        for o in wall.openings:
            out += _opening(wall, o)
    return out


def _porch_name(variant: Variant, porch: PorchRoof) -> Label:
    """Inside the porch, along the edge that is farthest from the house, clear of the wall's dimensions."""
    x0, y0, x1, y1 = porch.rect
    middle = (variant.extent[1] + variant.extent[3]) / 2.0
    y = y1 - 1.0 if (y0 + y1) / 2.0 > middle else y0 + 1.0
    return Label("porch_name", (x0 + x1) / 2.0, y, porch.name, NAME_SIZE)


def _strip(layer: str, wall: WallLine, lo: float, hi: float, half: float) -> Stroke:
    corners = [(lo, -half), (hi, -half), (hi, half), (lo, half)]
    return Stroke(layer, tuple(along(wall.axis, wall.at, s, d) for s, d in corners), True)


def _opening(wall: WallLine, o: Span) -> list[Shape]:
    """A door is a gap with a threshold line, a window a gap with glass in the middle."""
    half = WALL_FT / 2.0
    out: list[Shape] = [_strip("opening", wall, o.lo, o.hi, half)]
    if o.sill_ft > 0:
        out.append(_between("glass", wall, o.lo, o.hi, 0.0))
    return out


def _between(layer: str, wall: WallLine, lo: float, hi: float, off: float) -> Stroke:
    return Stroke(layer, (along(wall.axis, wall.at, lo, off), along(wall.axis, wall.at, hi, off)))


def wall_notes(house: HouseLoads, storey: int) -> list[Shape]:
    """Names, dimensions and segment numbers of one storey's walls."""
    out: list[Shape] = []
    marks: list[Shape] = []
    for wall in house.variant.walls_of(storey):
        side = outward(house.variant, wall)
        out += _opening_names(wall, -side or 1.0)
        out += _wall_title(wall, side)
        if side:
            out += _chain(wall, side)
        for n, segment in enumerate(segments_of(house, wall), 1):
            x, y = along(wall.axis, wall.at, (segment.span.lo + segment.span.hi) / 2.0)
            marks += [Disc("segment_mark", x, y, 0.72), Label("segment_number", x, y, str(n), 0.95)]
    return out + marks


def _opening_names(wall: WallLine, side: float) -> list[Shape]:
    """Name and size of each opening on the room side."""
    texts = [((o.lo + o.hi) / 2.0, f"{o.name} {_ft(o.length)} x {_ft(o.head_ft - o.sill_ft)}") for o in wall.openings]
    return in_rows("opening_name", wall, side, texts, ROWS_FT, OPENING_SIZE)


def in_rows(
    layer: str, wall: WallLine, side: float, texts: list[tuple[float, str]], rows_ft: tuple[float, ...], size: float
) -> list[Shape]:
    """Texts along a wall; one that would run into another takes the next row, farther from the wall."""
    out: list[Shape] = []
    taken: list[list[tuple[float, float]]] = [[] for _ in rows_ft]
    for place, text in texts:
        half = text_width(text, size) / 2.0
        low, high = wall.lo + half + CORNER_FT, wall.hi - half - CORNER_FT  # clear of the next wall's names
        middle = min(max(place, low), max(high, low))
        free = (
            i
            for i, spans in enumerate(taken)
            if all(middle + half < a - 0.4 or middle - half > b + 0.4 for a, b in spans)
        )
        row = next(free, len(rows_ft) - 1)
        taken[row].append((middle - half, middle + half))
        x, y = along(wall.axis, wall.at, middle, side * rows_ft[row])
        out.append(Label(layer, x, y, text, size, turned=wall.axis == "y"))
    return out


def _wall_title(wall: WallLine, side: float) -> list[Shape]:
    """Name and shear line beside the longest solid piece: outside an outer wall, else away from the opening names."""
    free = max(wall.solids(), key=lambda s: s.length, default=Span(wall.lo, wall.hi))
    off = side * TITLE_OFF_FT if side else -1.2
    x, y = along(wall.axis, wall.at, (free.lo + free.hi) / 2.0, off)
    return [Label("wall_name", x, y, f"{wall.name}, line {wall.line}", NAME_SIZE, turned=wall.axis == "y")]


def _chain(wall: WallLine, side: float) -> list[Shape]:
    """Dimension chain along a wall: every edge of an opening, and each length between."""
    off = side * DIM_OFF_FT
    marks = [wall.lo, *(s for o in wall.openings for s in (o.lo, o.hi)), wall.hi]
    out: list[Shape] = [_between("dimension", wall, wall.lo, wall.hi, off)]
    for s in marks:
        a, b = along(wall.axis, wall.at, s, off - 0.35), along(wall.axis, wall.at, s, off + 0.35)
        out.append(Stroke("dimension", (a, b)))
    for lo, hi in itertools.pairwise(marks):
        if hi - lo > 0.05:
            x, y = along(wall.axis, wall.at, (lo + hi) / 2.0, off + side * 0.75)
            out.append(Label("dimension_text", x, y, _ft(hi - lo), DIM_SIZE, turned=wall.axis == "y"))
    return out


def overall(variant: Variant, storey: int) -> list[Shape]:
    """Overall width behind the house and depth at its left."""
    level = variant.levels[storey]
    (x0, x1), (y0, y1) = level.extent("x"), level.extent("y")
    top, left = y1 + OVERALL_OFF_FT, x0 - OVERALL_OFF_FT
    ticks = [line("dimension", x, top - 0.5, x, top + 0.5) for x in (x0, x1)]
    ticks += [line("dimension", left - 0.5, y, left + 0.5, y) for y in (y0, y1)]
    return [
        line("dimension", x0, top, x1, top),
        line("dimension", left, y0, left, y1),
        *ticks,
        Label("dimension_text", (x0 + x1) / 2.0, top + 0.9, f"{_ft(x1 - x0)} ft", NAME_SIZE),
        Label("dimension_text", left - 0.9, (y0 + y1) / 2.0, f"{_ft(y1 - y0)} ft", NAME_SIZE, turned=True),
    ]


def _ft(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


# --- roof -----------------------------------------------------------------------------------------------------------


def roof_plan(house: HouseLoads) -> list[Shape]:
    """All roof parts: eaves, ridges, hips, trusses by zone, girders, bearing lines, end zones."""
    top = len(house.variant.levels) - 1
    out: list[Shape] = []
    for storey in range(top + 1):
        out += outline("footprint_faint", footprint(house.variant, storey))
    for part in house.variant.roofs:
        out += _roof_part(house, part)
    for porch in house.variant.porches:
        out.append(rectangle("porch", *porch.rect))
    return out


class _Over:
    """Shapes of one roof part from its own axes: u across the ridge, v along it."""

    def __init__(self, part: RoofPart) -> None:
        self.part = part

    def xy(self, u: float, v: float) -> tuple[float, float]:
        return (u, v) if self.part.along == "y" else (v, u)

    def line(self, layer: str, u0: float, v0: float, u1: float, v1: float) -> Stroke:
        return Stroke(layer, (self.xy(u0, v0), self.xy(u1, v1)))

    def box(self, layer: str, u0: float, v0: float, u1: float, v1: float) -> Stroke:
        return Stroke(layer, (self.xy(u0, v0), self.xy(u1, v0), self.xy(u1, v1), self.xy(u0, v1)), True)


def _roof_part(house: HouseLoads, r: RoofPart) -> list[Shape]:
    on, o, rake = _Over(r), r.eave_overhang_ft, r.rake_overhang_ft
    u0, u1, v0, v1 = r.across_lo - o, r.across_hi + o, r.along_lo - rake, r.along_hi + rake
    deep = min(house.ctx.pressures.end_zone(house.ctx)[1], r.length / 2.0)
    out: list[Shape] = [
        on.box("end_zone", u0, v0, u1, r.along_lo + deep),
        on.box("end_zone", u0, r.along_hi - deep, u1, v1),
        on.box("eave", u0, v0, u1, v1),
    ]
    for run in truss_runs(house.ctx, r):
        kind = "truss" if run.zone == "interior" else "truss_end"
        out += [on.line(kind, u0, p, u1, p) for p in run.at]
    out += _hips(r, on) if r.shape == "hip" else [on.line("ridge", r.ridge_at, v0, r.ridge_at, v1)]
    if r.shape == "gable":
        out += [on.line("gable_truss", r.across_lo, v, r.across_hi, v) for v in (r.along_lo, r.along_hi)]
    out += [on.line("bearing", at, r.along_lo, at, r.along_hi) for at, _ in r.bearings]
    for at, lo, hi in r.girders:
        out.append(on.line("girder", at, lo, at, hi))
        x, y = on.xy(at + (1.2 if at <= r.ridge_at else -1.2), (lo + hi) / 2.0)
        out.append(Label("girder_name", x, y, f"girder {_ft(hi - lo)} ft", OPENING_SIZE, turned=r.along == "y"))
    return out + _roof_words(house, r, on, deep)


def _hips(r: RoofPart, on: _Over) -> list[Shape]:
    """Hip and ridge lines, hip girders, and the jacks between girder and end wall."""
    run_lo, run_hi = r.ridge_at - r.across_lo, r.across_hi - r.ridge_at
    reach = min(max(run_lo, run_hi), r.length / 2.0)
    out: list[Shape] = [on.line("ridge", r.ridge_at, r.along_lo + reach, r.ridge_at, r.along_hi - reach)]
    count = max(0, round((r.across_hi - r.across_lo) / r.spacing_ft) - 1)
    for end, sense in ((r.along_lo, 1.0), (r.along_hi, -1.0)):
        eave = end - sense * r.eave_overhang_ft
        place = end + sense * r.hip_setback_ft
        out += [
            on.line(
                "truss_end", r.across_lo + r.spacing_ft * (i + 1), eave, r.across_lo + r.spacing_ft * (i + 1), place
            )
            for i in range(count)
        ]
        out += [on.line("hip", u, end, r.ridge_at, end + sense * reach) for u in (r.across_lo, r.across_hi)]
        out.append(on.line("girder", r.across_lo, place, r.across_hi, place))
        x, y = on.xy((r.ridge_at + r.across_hi) / 2.0, place + sense * 1.0)
        out.append(Label("girder_name", x, y, "hip girder", OPENING_SIZE, turned=r.along == "x"))
    return out


def _roof_words(house: HouseLoads, r: RoofPart, on: _Over, deep: float) -> list[Shape]:
    middle = (r.along_lo + r.along_hi) / 2.0
    turned = r.along == "y" and r.length > r.span * 0.8
    across = (r.ridge_at + r.across_hi) / 2.0
    words = [
        r.name,
        f"{r.shape}, pitch {r.pitch_in_12:.3g}:12, span {_ft(r.span)} ft",
        f"trusses at {_ft(r.spacing_ft * 12.0)} in, storey {house.variant.levels[r.storey].name}",
    ]
    out: list[Shape] = []
    step = 1.5
    for i, text in enumerate(words):
        off = (1 - i) * step
        x, y = on.xy(across, middle)
        x, y = (x - off, y) if turned else (x, y + off)
        out.append(
            Label("roof_name" if i == 0 else "roof_words", x, y, text, NAME_SIZE if i == 0 else 0.9, turned=turned)
        )
    name, reach = house.ctx.pressures.end_zone(house.ctx)
    for v in (r.along_lo + deep / 2.0, r.along_hi - deep / 2.0):
        x, y = on.xy((r.across_lo + r.ridge_at) / 2.0, v)
        out.append(Label("end_zone_name", x, y, f"{name} = {_ft(reach)} ft", OPENING_SIZE, turned=r.along == "x"))
    return out


# --- the finished sheet ---------------------------------------------------------------------------------------------


def storey_plan(house: HouseLoads, storey: int) -> list[Shape]:
    """One storey with its names and dimensions, as drawn."""
    return [*wall_body(house, storey), *wall_notes(house, storey), *overall(house.variant, storey)]


def twice_axis(variant: Variant) -> float:
    """x + x' of a point and its mirror image, the same as for the plan's own mirrored variant."""
    return variant.extent[0] + variant.extent[2]


def hand(shapes: list[Shape], variant: Variant, is_mirrored: bool) -> list[Shape]:
    return mirrored(shapes, twice_axis(variant)) if is_mirrored else shapes
