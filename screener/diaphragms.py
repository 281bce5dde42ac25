"""Roof and floor diaphragms, their chords, and their boundaries along the shear lines."""

from __future__ import annotations

import itertools
import math

import numpy as np

from screener.house_loads import HouseLoads
from screener.lateral_loads import ShearLine
from screener.line_loads import Effect, LineLoad
from screener.plans import TOUCH_FT, RoofPart, WallLine
from screener.points import Member
from screener.wind_pressures import other
from screener.wind_states import Axis

DIAPHRAGM_RANKS = ((120.0, "light"), (220.0, "medium"), (math.inf, "heavy"))
"""Unit shear (plf) at the reference hazards that parts diaphragms and floor rims into package lines."""


def diaphragm_connections(house: HouseLoads) -> None:
    for storey, level in enumerate(house.variant.levels):
        roofs = [r for r in house.variant.roofs if r.storey == storey]
        shear, chord = [], []
        axes: tuple[Axis, ...] = ("x", "y")
        aspect = 0.0
        for axis in axes:
            s, c, slender = _diaphragm_members(house, storey, axis)
            shear += s
            chord += c
            aspect = max(aspect, slender)
        if roofs:
            slope = sum(r.length * _slope_length_ft(r) for r in roofs)
            house.add(
                f"roof diaphragm: storey {level.name}",
                "roof_diaphragm",
                shear,
                ("shear_plf",),
                place=f"roof sheathing over storey {level.name} as a diaphragm",
                schedule=f"roof diaphragm, {house.rank('shear_plf', shear, DIAPHRAGM_RANKS)}",
                drop="roof",
                measure="area",
                area_sqft=slope,
                facts={"framing_spacing_in": 12.0 * roofs[0].spacing_ft, "diaphragm_aspect": aspect},
            )
        if storey + 1 < len(house.variant.levels):
            house.add(
                f"floor diaphragm: storey {level.name}",
                "floor_diaphragm",
                shear,
                ("shear_plf",),
                place=f"floor sheathing over storey {level.name} as a diaphragm",
                schedule="floor diaphragm",
                drop="floor",
                measure="area",
                area_sqft=house.variant.levels[storey + 1].area_sqft,
                facts={"diaphragm_aspect": aspect},
            )
        _plate_splices(house, storey, chord)
        _boundaries(house, storey)


def _slope_length_ft(part: RoofPart) -> float:
    """Both slopes of a roof from eave to ridge, measured along the sheathing."""
    low, high = part.ridge_at - part.across_lo, part.across_hi - part.ridge_at
    return math.hypot(low, part.rise_ft) + math.hypot(high, part.rise_ft)


def _diaphragm_members(house: HouseLoads, storey: int, axis: Axis) -> tuple[list[Member], list[Member], float]:
    """Unit shear at both sides of each line and at changes of depth; chord force at tenths of each span; the greatest
    span between lines over the least depth in it."""
    level = house.lateral[storey, axis]
    t = other(axis)
    sense = house.frame.sense_along(axis)
    supports = [line.at for line in level.lines]
    outline = house.variant.levels[storey]
    load = LineLoad(
        house.frame.zero(),
        level.diaphragm.pieces + level.from_above.pieces,
        level.diaphragm.points + level.from_above.points,
    )
    shear, chord, aspect = [], [], 0.0
    for k in range(len(supports) - 1):
        a, b = supports[k], supports[k + 1]
        corners = {x for r in outline.areas for x in (r[0 if t == "x" else 1], r[2 if t == "x" else 3]) if a < x < b}
        stations = [a + 1e-3, b - 1e-3, *(x + d for x in sorted(corners) for d in (-1e-3, 1e-3))]
        depths = [d for s in stations if (d := outline.depth_at(t, s)) > 1.0]
        aspect = max([aspect, *((b - a) / d for d in depths)])
        for s in stations:
            depth = outline.depth_at(t, s)
            if depth > 1.0:
                v, _ = load.shear_and_moment(supports, k, s)
                for sign in (1.0, -1.0):
                    shear.append(Member({"shear_plf": sign * sense * v / depth}, f"at {t} {s:.1f} ft"))
        for s in np.linspace(a, b, 11)[1:-1]:
            depth = outline.depth_at(t, float(s))
            if depth > 1.0:
                _, m = load.shear_and_moment(supports, k, float(s))
                chord.append(Member({"tension_lb": sense * m / depth}, f"at {t} {s:.1f} ft"))
    return shear, chord, aspect


def _collector_members(house: HouseLoads, storey: int, line: ShearLine) -> list[Member]:
    """Greatest pull in the plates of a shear line as collectors.

    The line's force enters its plates evenly and leaves by its pieces in proportion to their share; what has entered
    and not left yet is carried along the plates (statics). 12.10.2.1 asks no overstrength of houses braced by
    light-frame walls alone (from memory).
    """
    force = house.lateral[storey, line.axis].line_force[line.name]
    pull = house.frame.sense_along(line.axis) * force * collector_share(house, storey, line)
    return [Member({"tension_lb": sign * pull}, f"collector, line {line.name}") for sign in (1.0, -1.0)]


def collector_share(house: HouseLoads, storey: int, line: ShearLine) -> float:
    """Greatest part of a line's force that its plates carry past one place, 0 to 1."""
    segments = house.segments.get((storey, line.name), [])
    total = sum(s.share for s in segments)
    if not total:
        return 0.0
    walls = [w for w in house.variant.walls_of(storey, line.axis) if w.shear and w.line == line.name]
    marks = sorted({x for w in walls for x in (w.lo, w.hi)} | {x for s in segments for x in (s.span.lo, s.span.hi)})
    most, here = 0.0, 0.0
    for lo, hi in itertools.pairwise(marks):
        middle = 0.5 * (lo + hi)
        entered = sum(hi - lo for w in walls if w.lo < middle < w.hi) / line.plate_ft
        left = sum(s.share * (hi - lo) / s.span.length for s in segments if s.span.lo < middle < s.span.hi) / total
        here += entered - left
        most = max(most, abs(here))
    return most


def _plate_splices(house: HouseLoads, storey: int, chord: list[Member]) -> None:
    """Splices of the top plates as chords and collectors; a line that collects more than the chords pull is apart, so
    that a wall of garage doors does not size every splice of the house."""
    name = f"plate splice: storey {house.variant.levels[storey].name}"
    usual = {w.name: _splices(house, w) for w in house.variant.walls_of(storey) if w.exterior}
    members = list(chord)
    axes: tuple[Axis, ...] = ("x", "y")
    for line in [line for axis in axes for line in house.lateral[storey, axis].lines]:
        own = _collector_members(house, storey, line)
        if not chord or house.reference_demand("tension_lb", own) <= house.reference_demand("tension_lb", chord):
            members += own
            continue
        walls = [w for w in house.variant.walls_of(storey, line.axis) if w.shear and w.line == line.name]
        count = sum(_splices(house, w) for w in walls)
        for wall in walls:
            usual.pop(wall.name, None)
        _splice_point(house, f"{name}, line {line.name}", [*chord, *own], "plate splice, collector", count)
    if chord:
        _splice_point(house, name, members, "plate splice", sum(usual.values()))


def _splices(house: HouseLoads, wall: WallLine) -> int:
    return max(0, math.ceil(wall.length / house.variant.plan.plan.plate_piece_ft - 1e-9) - 1)


def _splice_point(house: HouseLoads, name: str, members: list[Member], schedule: str, count: int) -> None:
    if count:
        house.add(
            name,
            "plate_splice",
            members,
            ("tension_lb",),
            place=f"splices of the top plates as chords and collectors, {name.removeprefix('plate splice: ')}",
            schedule=schedule,
            drop="walls",
            measure="each",
            count=count,
        )


def _boundaries(house: HouseLoads, storey: int) -> None:
    axes: tuple[Axis, ...] = ("x", "y")
    for axis in axes:
        level = house.lateral[storey, axis]
        for line in level.lines:
            walls = [w for w in house.variant.walls_of(storey, axis) if w.shear and w.line == line.name]
            roofed = [w for w in walls if _under_roof(house, storey, w)]
            if roofed:
                _roof_boundary(house, storey, line, roofed, level.storey_force[line.name])
            if storey + 1 < len(house.variant.levels):
                _floor_rim(house, storey, line, walls, level.line_force[line.name])


def _roof_boundary(house: HouseLoads, storey: int, line: ShearLine, walls: list[WallLine], force: Effect) -> None:
    """Shear of the roof into a line's plate through blocking; where ties do it, only lines without trusses need any."""
    by_ties = house.variant.plan.plan.roof_boundary_by == "ties"
    if by_ties and any(w.name in house.truss_spacing for w in walls):
        return
    house.add(
        f"roof boundary: line {line.name}, storey {storey + 1}",
        "roof_boundary",
        [Member({"shear_plf": house.frame.sense_along(line.axis) * force / line.plate_ft})],
        ("shear_plf",),
        place=f"blocking or rim of the roof to the plate along line {line.name}",
        schedule="roof boundary",
        drop="roof",
        measure="per_ft",
        runs_ft=[w.length for w in walls],
    )


def _under_roof(house: HouseLoads, storey: int, wall: WallLine) -> bool:
    """Whether a roof of this storey stands on the wall or crosses it; a floor alone gives no roof boundary."""
    i, j = (0, 1) if wall.axis == "x" else (1, 0)
    for part in house.variant.roofs:
        if part.storey != storey:
            continue
        across, along = (part.across_lo, part.across_hi), (part.along_lo, part.along_hi)
        box = (along, across) if part.along == "x" else (across, along)
        inside = box[j][0] - TOUCH_FT <= wall.at <= box[j][1] + TOUCH_FT
        if inside and min(wall.hi, box[i][1]) - max(wall.lo, box[i][0]) > TOUCH_FT:
            return True
    return False


def _floor_rim(house: HouseLoads, storey: int, line: ShearLine, walls: list[WallLine], force: Effect) -> None:
    """The rim of the floor above hands the line's force to the plate where that floor stands, and only there."""
    runs = [length for w in walls for length in _under_floor_ft(house, storey, w)]
    if not runs:
        return
    members = [Member({"shear_plf": house.frame.sense_along(line.axis) * force / sum(runs)})]
    house.add(
        f"floor rim to plate: line {line.name}, storey {storey + 1}",
        "plate_to_floor",
        members,
        ("shear_plf", "uplift_plf", "perpendicular_plf"),
        place=f"rim of the floor above to the top plate along line {line.name}",
        schedule=f"floor rim to plate below, {house.rank('shear_plf', members, DIAPHRAGM_RANKS)}",
        drop="floor",
        measure="per_ft",
        runs_ft=runs,
        facts={"below": "wood"},
    )


def _under_floor_ft(house: HouseLoads, storey: int, wall: WallLine) -> list[float]:
    """Lengths of a wall that the floor above covers."""
    i, j = (0, 1) if wall.axis == "x" else (1, 0)
    spans = sorted(
        (max(r[i], wall.lo), min(r[i + 2], wall.hi))
        for r in house.variant.levels[storey + 1].areas
        if r[j] - TOUCH_FT <= wall.at <= r[j + 2] + TOUCH_FT
    )
    out: list[float] = []
    reach = -math.inf
    for lo, hi in spans:
        lo = max(lo, reach)
        if hi - lo > TOUCH_FT:
            out.append(hi - lo)
            reach = hi
    return out
