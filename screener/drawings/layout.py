"""Where every anchor, hold-down, strap and tie of a house goes: the bill's counts, placed on the plan.

Places follow from the load path that was traced for the house, pieces from the option of each package line. What is
placed at a connection is counted against ``quantities.pieces_at``; a difference is an error, never drawn.
All places are those of the plan as drawn; a mirrored layout is the mirror image of the finished drawing.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from screener.capacity_case import Option
from screener.hardware import Hardware
from screener.house_loads import HouseLoads, Segment
from screener.perforated_walls import whole_label
from screener.plans import TOUCH_FT, RoofPart, Span, WallLine
from screener.points import Member, Point
from screener.quantities import END_DISTANCE_FT, bolts_per_piece, can_be_loaded, pieces_at, spaced_pieces
from screener.roof_loads import truss_runs
from screener.wall_connections import OPENING_RANKS, PACK_RANKS

LEAST_END_DISTANCE_FT = 4.375 / 12.0
"""Seven diameters of a 5/8 in. bolt, the nearest that a bolt may stand to the end of its plate piece (IRC R403.1.6,
from memory); kept for every size."""

SAME_PACK_FT = 0.02

Spots = list[tuple[float, float]]


@dataclass(frozen=True)
class Placed:
    """Pieces of an item at one place. ``wall_at_ft``: distance from the wall's low end, None off the walls."""

    family: str
    point: str
    schedule: str
    item: str
    drop: str
    storey: int
    wall: str
    x: float
    y: float
    pieces: int = 1
    wall_at_ft: float | None = None


@dataclass(frozen=True)
class _Spot:
    """A place before its item is known."""

    x: float
    y: float
    storey: int
    wall: str = ""
    wall_at_ft: float | None = None


def bolt_places(length_ft: float, spacing_in: float) -> list[float]:
    """Bolts of one plate piece from its end: one within 12 in. of each end, none nearer than 7 diameters."""
    count = bolts_per_piece(length_ft, spacing_in)
    if count < 2:
        return [length_ft / 2.0] * count
    spread = (length_ft - spacing_in / 12.0 * (count - 1)) / 2.0  # an end distance below this breaks the spacing
    end = min(END_DISTANCE_FT, max(length_ft / 4.0, LEAST_END_DISTANCE_FT, spread))
    return [float(s) for s in np.linspace(end, length_ft - end, count)]


def strap_places(length_ft: float, spacing_in: float) -> list[float]:
    """Straps of a run: one at each end, the spacing between them held."""
    return [float(s) for s in np.linspace(0.0, length_ft, spaced_pieces(length_ft, spacing_in))]


def segments_of(house: HouseLoads, wall: WallLine) -> list[Segment]:
    """The wall's own segments, in the order of their numbers in the demand model."""
    return [s for s in house.segments.get((wall.storey, wall.line), []) if s.wall.name == wall.name]


def place_layout(house: HouseLoads, chosen: Mapping[str, Option], hardware: Hardware) -> list[Placed]:
    """Every piece of the chosen package lines that has a place of its own; areas and nailing have none."""
    bought = [p for p in house.points if p.schedule in chosen and chosen[p.schedule].row >= 0]
    points = {p.name: p for p in bought if can_be_loaded(p, house.frame.column)}
    out: list[Placed] = []
    for point_name, places in _all_places(house, points):
        point = points.get(point_name)
        if point is None:
            continue
        option = chosen[point.schedule]
        row = hardware.rows[option.row]
        spots = places(option)
        each = option.pieces if point.measure == "each" else 1
        if each * len(spots) != pieces_at(point, option, row):
            raise ValueError(
                f"{point.name}: {each * len(spots)} pieces placed, {pieces_at(point, option, row)} in the bill"
            )
        drop = row.drop or point.drop
        out += [
            Placed(
                point.family, point.name, point.schedule, row.item, drop, s.storey, s.wall, s.x, s.y, each, s.wall_at_ft
            )
            for s in spots
        ]
    return out


Places = Callable[[Option], list[_Spot]]


def _all_places(house: HouseLoads, points: Mapping[str, Point]) -> Iterator[tuple[str, Places]]:
    for wall in house.variant.walls:
        yield from _wall_places(house, wall, points)
    for part in house.variant.roofs:
        yield from _roof_places(house, part)
    yield from _porch_places(house)


def _on(wall: WallLine, places: Iterable[float]) -> list[_Spot]:
    out = []
    for s in places:
        x, y = (s, wall.at) if wall.axis == "x" else (wall.at, s)
        out.append(_Spot(x, y, wall.storey, wall.name, s - wall.lo))
    return out


def _fixed(spots: list[_Spot]) -> Places:
    return lambda _: spots


# --- walls ----------------------------------------------------------------------------------------------------------


def _wall_places(house: HouseLoads, wall: WallLine, points: Mapping[str, Point]) -> Iterator[tuple[str, Places]]:
    if (sill := points.get(f"sill anchor: {wall.name}")) is not None:
        pieces = _pieces_along(wall, sill.runs_ft)
        yield sill.name, lambda o: _on(wall, [p.lo + s for p in pieces for s in bolt_places(p.length, o.spacing_in)])
    runs = wall.solids()
    yield (
        f"storey strap: {wall.name}",
        lambda o: _on(wall, [r.lo + s for r in runs for s in strap_places(r.length, o.spacing_in)]),
    )
    stud = house.variant.plan.plan.stud_spacing_in / 12.0
    studs = [r.lo + stud * i for r in runs for i in range(math.floor(r.length / stud + 1e-9) + 1)]
    yield f"plate to stud: {wall.name}", _fixed(_on(wall, studs))
    yield from _hold_down_places(house, wall, points)
    for rank, places in _pack_places(house, wall).items():
        yield f"stud packs: {wall.name}, {rank}", _fixed(_on(wall, places))
    least = 0.0
    for limit, rank in OPENING_RANKS:
        ends = [s for o in wall.openings if least < o.length <= limit for s in (o.lo, o.hi)]
        yield f"header ends: {wall.name}, {rank} openings", _fixed(_on(wall, ends))
        least = limit


def _pieces_along(wall: WallLine, lengths: Iterable[float]) -> list[Span]:
    """The plate pieces of the demand model, laid along the wall's plate from door to door."""
    rest = iter(lengths)
    out: list[Span] = []
    for run in wall.solids(doors_only=True):
        start = run.lo
        while run.hi - start > TOUCH_FT:
            length = next(rest)
            out.append(Span(start, start + length))
            start += length
    return out


def _hold_down_places(house: HouseLoads, wall: WallLine, points: Mapping[str, Point]) -> Iterator[tuple[str, Places]]:
    """Both ends of each segment, and what stands under a segment above where none of this wall's own is."""
    inset = house.variant.plan.plan.hold_down_offset_ft
    spots: dict[str, list[float]] = {}
    own = segments_of(house, wall)
    if wall.name in house.perforated:
        lo, hi = own[0].span, own[-1].span
        ends = [lo.lo + min(inset, lo.length / 4.0), hi.hi - min(inset, hi.length / 4.0)]
        spots[whole_label(house, wall)] = ends
        own = []
    for n, segment in enumerate(own, 1):
        span = segment.span
        off = min(inset, span.length / 4.0)
        spots[f"{wall.name}, segment {n} ({span.length:.1f} ft)"] = [span.lo + off, span.hi - off]
    arriving = house.loads[wall.name].couples.levered([(o.lo, o.hi) for o in wall.openings])
    for s, _ in arriving.points:
        spots.setdefault(f"{wall.name}, under the segment above at {s:.1f} ft", [s])
    for label, places in spots.items():
        for kind in ("hold-down", "hold-down anchor"):
            if f"{kind}: {label}" in points:
                yield f"{kind}: {label}", _fixed(_on(wall, places))


def _pack_places(house: HouseLoads, wall: WallLine) -> dict[str, list[float]]:
    """Stud packs at the wall's foot by rank, as the load path groups them."""
    sums: dict[float, np.ndarray] = {}
    for s, e in house.loads[wall.name].foot.points:
        key = next((k for k in sums if abs(k - s) < SAME_PACK_FT), s)
        sums[key] = sums.get(key, house.frame.zero()) + e
    out: dict[str, list[float]] = {}
    for s, e in sorted(sums.items(), key=lambda item: item[0]):
        out.setdefault(house.rank("uplift_lb", [Member({"uplift_lb": e})], PACK_RANKS), []).append(s)
    return out


# --- roofs ----------------------------------------------------------------------------------------------------------


def _roof_places(house: HouseLoads, part: RoofPart) -> Iterator[tuple[str, Places]]:
    for at, wall_name in part.bearings:
        wall = house.variant.wall(wall_name)
        gaps = [(lo, hi) for g, lo, hi in part.girders if abs(g - at) <= TOUCH_FT]
        yield from _truss_places(house, part, wall, gaps)
        for lo, hi in gaps:
            name = f"{part.name} girder over {wall_name} {lo:g}-{hi:g}"
            hung = [p for r in truss_runs(house.ctx, part) for p in r.at if lo < p < hi]
            yield f"truss hanger: {name}", _fixed(_on(wall, hung))
            yield f"girder tie: {name}", _fixed(_on(wall, (lo, hi)))
            yield f"girder post: {name}", _fixed(_on(wall, (lo, hi)))
    for side, end, setback in zip(("low", "high"), part.end_walls, (1.0, -1.0), strict=True):
        wall = house.variant.wall(end)
        if part.shape == "gable":
            yield f"gable end tie: {part.name} on {end}", _spaced(wall, part.across_lo, part.span)
        else:
            yield from _hip_places(house, part, side, wall, setback)


def _truss_places(
    house: HouseLoads, part: RoofPart, wall: WallLine, gaps: list[tuple[float, float]]
) -> Iterator[tuple[str, Places]]:
    by_zone: dict[str, list[float]] = {}
    for run in truss_runs(house.ctx, part):
        kept = [p for p in run.at if not any(lo < p < hi for lo, hi in gaps)]
        by_zone.setdefault(house.zone_name(run.zone), []).extend(kept)
    for zone, places in by_zone.items():
        for kind in ("truss tie", "plate to stud"):
            yield f"{kind}: {part.name} on {wall.name}, {zone}", _fixed(_on(wall, places))


def _hip_places(
    house: HouseLoads, part: RoofPart, side: str, wall: WallLine, sense: float
) -> Iterator[tuple[str, Places]]:
    count = sum(p.count for p in house.points if p.name == f"truss tie: {part.name} hip jacks on {wall.name}")
    jacks = [part.across_lo + part.spacing_ft * (i + 1) for i in range(count)]
    for kind in ("truss tie", "plate to stud"):
        yield f"{kind}: {part.name} hip jacks on {wall.name}", _fixed(_on(wall, jacks))
    place = (part.along_lo if sense > 0 else part.along_hi) + sense * part.hip_setback_ft
    spots = list(itertools.chain.from_iterable(_on(house.variant.wall(n), [place]) for _, n in part.bearings))
    for kind in ("girder tie", "girder post"):
        yield f"{kind}: {part.name} hip girder, {side} end", _fixed(spots)


def _spaced(wall: WallLine, start: float, length: float) -> Places:
    return lambda o: _on(wall, [start + s for s in strap_places(length, o.spacing_in)])


# --- porches --------------------------------------------------------------------------------------------------------


def porch_posts(house: HouseLoads, name: str) -> Spots:
    """Posts of a porch: along its outer edge, or along both where it stands free."""
    porch = next(p for p in house.variant.porches if p.name == name)
    x0, y0, x1, y1 = porch.rect
    wall = house.variant.wall(porch.attached_wall) if porch.attached_wall else None
    along_x = wall is None or wall.axis == "x"
    lo, hi, near, far = (x0, x1, y0, y1) if along_x else (y0, y1, x0, x1)
    edges = [near, far] if wall is None else [far if abs(near - wall.at) < abs(far - wall.at) else near]
    places = [float(p) for p in np.linspace(lo, hi, porch.posts)]
    return [(p, e) if along_x else (e, p) for e in edges for p in places]


def _porch_places(house: HouseLoads) -> Iterator[tuple[str, Places]]:
    for porch in house.variant.porches:
        posts = [_Spot(x, y, 0) for x, y in porch_posts(house, porch.name)]
        for kind in ("post cap", "post base"):
            yield f"{kind}: {porch.name}", _fixed(posts)
        if porch.attached_wall:
            wall = house.variant.wall(porch.attached_wall)
            lo, hi = (porch.rect[0], porch.rect[2]) if wall.axis == "x" else (porch.rect[1], porch.rect[3])
            yield f"porch ledger: {porch.name} on {wall.name}", _spaced(wall, lo, hi - lo)
