"""Geometry of a house that several steps ask for: silhouettes, stud zones, plates, runs along shear lines."""

from __future__ import annotations

import itertools
import math
from typing import Any

import plain_plan as pp
from plain_lines import SAME

Thing = dict[str, Any]


def silhouette(roof: Thing, wind_axis: str) -> list[tuple[float, float]]:
    """A roof above its heel seen along the wind: (place, height) points."""
    if wind_axis == roof["along"]:
        return [(roof["lo"], 0.0), (roof["ridge"], roof["rise"]), (roof["hi"], 0.0)]
    a, b, rise = roof["a_lo"], roof["a_hi"], roof["rise"]
    if not roof["hip"]:
        return [(a, rise), (b, rise)]
    full = rise / roof["slope"]["low"]
    run = min(full, (b - a) / 2.0)
    return [(a, 0.0), (a + run, rise * run / full), (b - run, rise * run / full), (b, 0.0)]


def height_at(shape: list[tuple[float, float]], s: float) -> float:
    if s < shape[0][0] - SAME or s > shape[-1][0] + SAME:
        return 0.0
    for (s0, h0), (s1, h1) in itertools.pairwise(shape):
        if s <= s1 and s1 > s0:
            return h0 + (h1 - h0) * max(0.0, s - s0) / (s1 - s0)
    return shape[-1][1]


def crossings(one: list[tuple[float, float]], two: list[tuple[float, float]]) -> list[float]:
    marks, out = sorted({s for s, _ in one + two}), []
    for a, b in itertools.pairwise(marks):
        da, db = height_at(one, a) - height_at(two, a), height_at(one, b) - height_at(two, b)
        if da * db < 0.0:
            out.append(a + (b - a) * da / (da - db))
    return out


def covers(roof: Thing, axis: str, s: float) -> bool:
    lo, hi = (roof["a_lo"], roof["a_hi"]) if roof["along"] == axis else (roof["lo"], roof["hi"])
    return lo - pp.TOUCH <= s <= hi + pp.TOUCH


def porch_reach(porch: Thing, wall: Thing | None) -> tuple[float, float]:
    x0, y0, x1, y1 = porch["rect"]
    return (y0, y1) if wall is not None and wall["axis"] == "y" else (x0, x1)


def gathered(forces: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Single forces at one place taken together."""
    places: list[list[float]] = []
    for s, p in forces:
        for known in places:
            if abs(known[0] - s) < 0.02:
                known[1] += p
                break
        else:
            places.append([s, p])
    return [(s, p) for s, p in sorted(places)]


def zone_lengths(house: Thing, wall: Thing, zone: str) -> list[float]:
    out = []
    for a, b in wall["solids"]:
        middle = max(0.0, min(b, wall["hi"] - house["two_a"]) - max(a, wall["lo"] + house["two_a"]))
        length = b - a if zone == "all" else middle if zone == "interior" else b - a - middle
        if length > pp.TOUCH:
            out.append(length)
    return out


def stud_count(house: Thing, wall: Thing, zone: str) -> int:
    stud = house["about"]["stud_spacing_in"] / 12.0
    return sum(math.floor(n / stud + 1e-9) + 1 for n in zone_lengths(house, wall, zone))


def zones_of(house: Thing, wall: Thing, stud: float) -> list[str]:
    return [z for z in ("end zone", "interior") if stud_count(house, wall, z)]


def is_gable_wall(house: Thing, wall: Thing) -> bool:
    """An end wall of a roof with no trusses on it."""
    ends = [r for r in house["roofs"] if r["storey"] == wall["storey"] and wall["name"] in r["ends"].values()]
    return bool(ends) and wall["name"] not in house["bays"]


def bears_trusses(house: Thing, wall: Thing) -> bool:
    return any(
        r["storey"] == wall["storey"] and any(n == wall["name"] for _, n in r["bearings"]) for r in house["roofs"]
    )


def foot_spacing(house: Thing, wall: Thing) -> float:
    """Studs that hold uplift: one under each truss where a roof stands on the wall, else every stud."""
    stud = house["about"]["stud_spacing_in"] / 12.0
    if wall["storey"] == len(house["storeys"]) - 1 or bears_trusses(house, wall):
        return house["bays"].get(wall["name"], stud)
    return stud


def carries_roof_load(house: Thing, wall: Thing) -> bool:
    """Whether a roof stands on a wall, itself or through the walls on it."""
    if bears_trusses(house, wall) or any(wall["name"] in r["ends"].values() for r in house["roofs"]):
        return True
    above = [w for w in house["walls"] if w["storey"] == wall["storey"] + 1]
    return any(wall in pp.walls_under(house, w) and carries_roof_load(house, w) for w in above)


def plate_pieces(house: Thing, wall: Thing) -> list[tuple[float, float]]:
    """Bottom plates: cut at doors, none longer than the longest piece, laid from the end the wall is drawn from."""
    longest, out = house["about"]["plate_piece_ft"], []
    for a, b in wall["plates"]:
        left, mine = b - a, []
        done = 0.0
        while left > 1e-9 * longest:
            length = min(longest, left)
            mine.append((a + done, a + done + length) if wall["drawn_up"] else (b - done - length, b - done))
            done, left = done + length, left - length
        out += sorted(p for p in mine if p[1] - p[0] > pp.TOUCH)
    return out


def floor_over(house: Thing, wall: Thing, lo: float, hi: float) -> float:
    """Depth of the floor that stands on a piece of wall."""
    if wall["storey"] + 1 >= len(house["storeys"]):
        return 0.0
    upper, mid = house["storeys"][wall["storey"] + 1], (lo + hi) / 2.0
    x, y = (mid, wall["at"]) if wall["axis"] == "x" else (wall["at"], mid)
    for r in upper["rects"]:
        if r[0] - pp.TOUCH <= x <= r[2] + pp.TOUCH and r[1] - pp.TOUCH <= y <= r[3] + pp.TOUCH:
            return upper["floor_depth_ft"]
    return 0.0


def splices(house: Thing, walls: list[Thing]) -> int:
    """Splices of the top plates of walls, each laid of pieces as long as they come."""
    longest = house["about"]["plate_piece_ft"]
    return sum(max(0, math.ceil((w["hi"] - w["lo"]) / longest - 1e-9) - 1) for w in walls)


def walls_on(house: Thing, storey: int, line: str) -> list[Thing]:
    """Shear walls of a line."""
    return [w for w in house["walls"] if w["storey"] == storey and w["shear"] and w["line"] == line]


def shear_lines(house: Thing, storey: int, axis: str) -> list[tuple[str, float, float]]:
    """Name, place (mean of its walls, by length) and length of plate of each line parallel to an axis."""
    found: dict[str, list[tuple[float, float]]] = {}
    for w in house["walls"]:
        if w["storey"] == storey and w["axis"] == axis and w["shear"]:
            found.setdefault(w["line"], []).append((w["at"], w["hi"] - w["lo"]))
    out = []
    for name, walls in found.items():
        length = sum(n for _, n in walls)
        out.append((name, sum(a * n for a, n in walls) / length, length))
    return sorted(out, key=lambda line: (line[1], line[0]))


def collected(house: Thing, storey: int, line: str) -> float:
    """Greatest part of a line's force that its plates carry as a collector (statics).

    The force enters evenly along the plates and leaves along each segment evenly, by its share. Both add up along the
    line to 1; what has entered up to a place and not left yet is in the plate there. It changes straight between the
    ends of walls and segments, so it is greatest at one of them.
    """
    walls, segments = walls_on(house, storey, line), house["segments"].get((storey, line), [])
    plate_ft, shares = sum(w["hi"] - w["lo"] for w in walls), sum(s["share"] for s in segments)
    if not segments:
        return 0.0

    def behind(piece: Thing, x: float) -> float:
        """Length of a piece that lies before x."""
        return min(max(x - piece["lo"], 0.0), piece["hi"] - piece["lo"])

    def carried(x: float) -> float:
        entered = sum(behind(w, x) for w in walls) / plate_ft
        left = sum(s["share"] * behind(s, x) / (s["hi"] - s["lo"]) for s in segments) / shares
        return abs(entered - left)

    return max(carried(end) for piece in [*walls, *segments] for end in (piece["lo"], piece["hi"]))


def slenderness(house: Thing, storey: int) -> float:
    """Greatest span of a storey's diaphragm between shear lines over the least depth within that span."""
    outline, out = house["storeys"][storey], 0.0
    for axis, across, i in (("x", "y", 1), ("y", "x", 0)):
        places = [at for _, at, _ in shear_lines(house, storey, axis)]
        for a, b in itertools.pairwise(places):
            turns = [a, b, *(v for r in outline["rects"] for v in (r[i], r[i + 2]) if a < v < b)]
            beside = [s for v in turns for s in (v - 1e-3, v + 1e-3) if a < s < b]
            depths = [d for s in beside if (d := pp.cross_length(outline, across, s)) > 1.0]
            out = max([out, *((b - a) / d for d in depths)])
    return out


def roofed_runs(house: Thing, storey: int, axis: str, line: str) -> list[float]:
    """Lengths of a line's walls on which, or under which, a roof of the storey stands."""
    out = []
    for w in house["walls"]:
        if w["storey"] != storey or w["axis"] != axis or not w["shear"] or w["line"] != line:
            continue
        for r in house["roofs"]:
            span, length = (r["lo"], r["hi"]), (r["a_lo"], r["a_hi"])
            run, cross = (length, span) if r["along"] == axis else (span, length)
            crossed = cross[0] - pp.TOUCH <= w["at"] <= cross[1] + pp.TOUCH
            if r["storey"] == storey and crossed and min(w["hi"], run[1]) - max(w["lo"], run[0]) > pp.TOUCH:
                out.append(w["hi"] - w["lo"])
                break
    return out


def floored_runs(house: Thing, storey: int, axis: str, line: str) -> list[float]:
    """Lengths of a line's walls that the floor above covers."""
    out = []
    i, j = (0, 1) if axis == "x" else (1, 0)
    for w in house["walls"]:
        if w["storey"] != storey or w["axis"] != axis or not w["shear"] or w["line"] != line:
            continue
        reach = -math.inf
        spans = sorted(
            (max(r[i], w["lo"]), min(r[i + 2], w["hi"]))
            for r in house["storeys"][storey + 1]["rects"]
            if r[j] - pp.TOUCH <= w["at"] <= r[j + 2] + pp.TOUCH
        )
        for a, b in spans:
            a = max(a, reach)
            if b - a > pp.TOUCH:
                out.append(b - a)
                reach = b
    return out
