"""What does not change from case to case: coefficients by slope, trusses in place, segments, weights, roof zones."""

from __future__ import annotations

import math
from typing import Any

import plain_case as pc
import plain_plan as pp
import plain_shapes as sh
import plain_tables as t
from plain_lines import Line

Thing = dict[str, Any]
ZONES = ("low", "interior", "high")


def prepare(house: Thing) -> Thing:
    """What does not change from case to case: coefficients by slope, trusses in place, segments, weights."""
    for roof in house["roofs"]:
        angles = {side: math.degrees(math.atan(v)) for side, v in roof["slope"].items()}
        roof["case_a"] = {side: {s: pc.case_a(s, a) for s in t.CASE_A} for side, a in angles.items()}
        roof["flatter"] = min(angles, key=lambda side: angles[side])
        roof["angles"] = angles
        roof["runs"] = truss_runs(house, roof)
        roof["zone_areas"] = roof_zone_areas(house, roof)
    bays: dict[str, float] = {}
    for roof in house["roofs"]:
        for _, name in roof["bearings"]:
            bays[name] = roof["bay"]
        if roof["hip"]:
            for name in roof["ends"].values():
                bays[name] = roof["bay"]
    house["bays"] = bays
    segments: dict[tuple[int, str], list[Thing]] = {}
    for wall in house["walls"]:
        wall["segments"] = []
        for a, b in wall["solids"]:
            ratio = wall["h"] / (b - a)
            if wall["shear"] and ratio <= 3.5 + 1e-9:  # SDPWS 2015 Table 4.3.4
                share = (b - a) * min(1.0, 2.0 / ratio)  # 4.3.3.4.1
                segment = {"wall": wall["name"], "lo": a, "hi": b, "share": share}
                wall["segments"].append(segment)
                segments.setdefault((wall["storey"], wall["line"]), []).append(segment)
    house["segments"] = segments
    lines = {(w["storey"], w["line"]) for w in house["walls"] if w["shear"]}
    house["collected"] = {(storey, line): sh.collected(house, storey, line) for storey, line in sorted(lines)}
    house["mass"] = masses(house)
    return house


def truss_runs(house: Thing, roof: Thing) -> list[Thing]:
    """Common trusses by zone: their places and the stretch of ridge they carry."""
    bay, inset = roof["bay"], roof["setback"] if roof["hip"] else 0.0
    first, last = roof["a_lo"] + inset, roof["a_hi"] - inset
    places, p = [], first + bay
    while p < last - 1e-6:
        places.append(p)
        p += bay
    if roof["laid_back"]:
        places = sorted(first + last - p for p in places)

    def zone(p: float) -> str:
        near_low = p - bay / 2.0 < roof["a_lo"] + house["two_a"]
        near_high = p + bay / 2.0 > roof["a_hi"] - house["two_a"]
        if near_low and near_high:
            return "low" if p - roof["a_lo"] <= roof["a_hi"] - p else "high"
        return "low" if near_low else "high" if near_high else "interior"

    runs = []
    for z in ZONES:
        mine = [p for p in places if zone(p) == z]
        if mine:
            lo = first + bay / 2.0 if mine[0] == places[0] else mine[0] - bay / 2.0
            hi = last - bay / 2.0 if mine[-1] == places[-1] else mine[-1] + bay / 2.0
            runs.append({"zone": z, "at": mine, "lo": lo, "hi": hi})
    if not runs and last - first > bay:
        runs.append({"zone": "low", "at": [], "lo": first + bay / 2.0, "hi": last - bay / 2.0})
    return runs


def masses(house: Thing) -> Thing:
    """Seismic weight of each level (12.7.2, greatest weights), how it lies along both axes, and its height."""
    n = len(house["storeys"])
    lines = {(s, axis): Line() for s in range(-1, n) for axis in ("x", "y")}
    snow = [0.0] * n
    raised = house["about"]["foundation"] == "stem_wall"

    def sheet(level: int, x0: float, y0: float, x1: float, y1: float, psf: float) -> None:
        lines[level, "x"].spread(y0, y1, psf * (x1 - x0))
        lines[level, "y"].spread(x0, x1, psf * (y1 - y0))

    for r in house["roofs"]:
        across = (r["lo"] - r["eave"], r["hi"] + r["eave"])
        along = (r["a_lo"] - r["rake"], r["a_hi"] + r["rake"])
        (x0, x1), (y0, y1) = (across, along) if r["along"] == "y" else (along, across)
        sheet(r["storey"], x0, y0, x1, y1, house["weights"]["roof"][1])
        snow[r["storey"]] += (x1 - x0) * (y1 - y0)
    for p in house["porches"]:
        x0, y0, x1, y1 = p["rect"]
        sheet(0, x0, y0, x1, y1, p.get("roof_dead_psf", 8.0))
        snow[0] += (x1 - x0) * (y1 - y0)
    for i, storey in enumerate(house["storeys"]):
        onto = [i] + ([i - 1] if i or raised else [])
        if i or raised:
            for tile in pp.tiles(storey["rects"]):
                sheet(i - 1, *tile, house["weights"]["floor"][1])
        half, area = storey["wall_height_ft"] / 2.0, pp.area_of(storey)
        partitions = house["weights"]["interior_wall"][1] * half * storey.get("interior_wall_ft", 0.0) / area
        for level in onto:
            for w in (w for w in house["walls"] if w["storey"] == i):
                plf = house["weights"]["exterior_wall" if w["exterior"] else "interior_wall"][1] * half
                other = "y" if w["axis"] == "x" else "x"
                lines[level, other].spread(w["lo"], w["hi"], plf)
                lines[level, w["axis"]].force(w["at"], plf * (w["hi"] - w["lo"]))
            for tile in pp.tiles(storey["rects"]):
                sheet(level, *tile, partitions)
    base = house["about"]["first_floor_height_ft"]
    return {
        "lines": lines,
        "weights": [lines[s, "x"].total() for s in range(n)],
        "snow_sqft": snow,
        "heights": [p - base for p in house["plates"]],
        "first_floor": lines[-1, "x"].total() if raised else 0.0,
    }


def roof_zone_areas(house: Thing, roof: Thing) -> list[dict[str, float]]:
    """Area on the slope by zone of Figures 30.3-2, over the house and of the overhangs; slivers to 0.5 sq ft left out.

    Strips of width a along eaves, rakes, ridge and hips; squares where they meet at the corners (from memory).
    """
    a, o, r = house["a"], roof["eave"], roof["rake"]
    length, width = roof["a_hi"] - roof["a_lo"] + 2.0 * r, roof["hi"] - roof["lo"] + 2.0 * o
    if roof["hip"]:
        whole, inside = hip_areas(length, width, a, 0.0), hip_areas(length, width, a, o)
    else:
        whole, inside = gable_areas(length, width, a, 0.0, 0.0), gable_areas(length, width, a, r, o)
    on_slope = 1.0 / math.cos(math.radians(min(roof["angles"].values())))
    both = ({z: v * on_slope for z, v in inside.items()}, {z: (whole[z] - inside[z]) * on_slope for z in whole})
    return [{z: v for z, v in part.items() if v > 0.5} for part in both]


def gable_areas(length: float, width: float, a: float, rake: float, eave: float) -> dict[str, float]:
    """Plan area by zone of a gable roof, less a margin at rakes and eaves."""
    half = width / 2.0

    def kept(lo: float, hi: float, margin: float) -> float:
        return max(0.0, hi - max(lo, margin))

    at_rake, between = 2.0 * kept(0.0, a, rake), 2.0 * kept(a, length / 2.0, rake)
    # where eave and ridge strips meet on a narrow roof the eave keeps its whole width
    up = max(a, half - a)
    eaves, field, ridge = (2.0 * kept(lo, hi, eave) for lo, hi in ((0.0, a), (a, up), (up, half)))
    return {
        "1": between * field,
        "2e": between * eaves,
        "2r": between * ridge,
        "2n": at_rake * field,
        "3e": at_rake * eaves,
        "3r": at_rake * ridge,
    }


def hip_areas(length: float, width: float, a: float, margin: float) -> dict[str, float]:
    """Plan area by zone of a hip roof, less a margin at the eaves: at y from the eave a face is base - 2y long."""
    short, long = sorted((length, width))
    half, out = short / 2.0, {"1": 0.0, "2e": 0.0, "2r": 0.0, "3": 0.0}

    def under(base: float, lo: float, hi: float) -> float:
        """Area between lo and hi under a length of base - 2y, none where that is negative."""
        hi = min(hi, base / 2.0)
        return max(0.0, (base - lo - hi) * (hi - lo)) if hi > lo else 0.0

    for base, top in ((long, half - a), (short, half)):
        face, strip = under(base, margin, half), under(base, margin, a)
        corners = min((a - margin) ** 2, strip)
        field = under(base - 2.0 * math.sqrt(2.0) * a, a, top)
        for zone, area in (("1", field), ("3", corners), ("2e", strip - corners), ("2r", face - strip - field)):
            out[zone] += 2.0 * area
    return out
