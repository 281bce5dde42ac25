"""A plan file read as it stands, and the one house that is built on a lot, as plain dictionaries.

Feet in plan coordinates; the front faces -y. A mirrored house is turned about the middle of its outline.
"""

from __future__ import annotations

import itertools
import math
import tomllib
from pathlib import Path
from typing import Any

Thing = dict[str, Any]
TOUCH, STACK = 0.05, 0.5  # the same place on a drawing; a wall stands on another


def read_plan(file: Path) -> Thing:
    return tomllib.loads(file.read_text(encoding="utf-8"))


def is_built(part: Thing, style: str, options: set[str]) -> bool:
    if part.get("styles") and style not in part["styles"]:
        return False
    if any(o not in options for o in part.get("options", [])):
        return False
    return not any(o in options for o in part.get("without", []))


def build(plan: Thing, style: str, options: set[str], mirrored: bool = False) -> Thing:
    """The house: about, weights, storeys, walls, roofs, porches."""
    storeys = []
    for s in plan["storey"]:
        rects = [a["rect"] for a in s["areas"] if is_built(a, style, options)]
        if rects:
            storeys.append({**s, "floor_depth_ft": s.get("floor_depth_ft", 0.0), "rects": rects})
    left = min(r[0] for s in storeys for r in s["rects"])
    right = max(r[2] for s in storeys for r in s["rects"])

    def turn(x: float) -> float:
        return left + right - x if mirrored else float(x)

    def turned(r: list[float]) -> list[float]:
        return [min(turn(r[0]), turn(r[2])), float(r[1]), max(turn(r[0]), turn(r[2])), float(r[3])]

    number = {s["name"]: i for i, s in enumerate(storeys)}
    for s in storeys:
        s["rects"] = [turned(r) for r in s["rects"]]
    house: Thing = {"about": plan["plan"], "storeys": storeys, "mirrored": mirrored, "weights": {}}
    for name, w in plan["weights"].items():
        more = sum(
            c["add_psf"] for c in plan.get("weight_change", []) if c["assembly"] == name and is_built(c, style, options)
        )
        house["weights"][name] = (w["least_psf"] + more, w["greatest_psf"] + more)
    house["walls"] = [
        _wall(w, number, storeys, style, options, turn)
        for w in plan["wall"]
        if is_built(w, style, options) and w["storey"] in number
    ]
    house["roofs"] = [
        _roof(r, number, style, options, turn, turned, mirrored)
        for r in plan["roof"]
        if is_built(r, style, options) and r["storey"] in number
    ]
    house["porches"] = [{**p, "rect": turned(p["rect"])} for p in plan.get("porch", []) if is_built(p, style, options)]
    _measure(house)
    return house


def _wall(w: Thing, number: dict[str, int], storeys: list[Thing], style: str, options: set[str], turn: Any) -> Thing:
    (x0, y0), (x1, y1) = w["from"], w["to"]
    axis = "x" if abs(y1 - y0) <= TOUCH else "y"
    start, end, at = (turn(x0), turn(x1), float(y0)) if axis == "x" else (float(y0), float(y1), turn(x0))
    forward = 1.0 if end >= start else -1.0
    holes = []
    for o in w.get("openings", []):
        if is_built(o, style, options):
            a = start + forward * o["from_ft"]
            b = start + forward * (o["from_ft"] + o["width_ft"])
            sill = o.get("sill_ft", 0.0)
            holes.append(
                {"name": o["name"], "lo": min(a, b), "hi": max(a, b), "sill": sill, "head": sill + o["height_ft"]}
            )
    holes.sort(key=lambda o: o["lo"])
    wall = {
        "name": w["name"],
        "storey": number[w["storey"]],
        "axis": axis,
        "at": at,
        "lo": min(start, end),
        "hi": max(start, end),
        "line": w["line"],
        "exterior": w.get("exterior", True),
        "shear": w.get("shear", True),
        "floor_ft": w.get("floor_tributary_ft", 0.0),
        "stands_on": w.get("stands_on", ""),
        "h": storeys[number[w["storey"]]]["wall_height_ft"],
        "holes": holes,
        "drawn_up": end >= start,
    }
    wall["solids"] = pieces(wall, [(o["lo"], o["hi"]) for o in holes])
    wall["plates"] = pieces(wall, [(o["lo"], o["hi"]) for o in holes if o["sill"] <= 0.0])
    return wall


def pieces(wall: Thing, gaps: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """What is left of a wall between gaps."""
    out, reach = [], wall["lo"]
    for a, b in [*gaps, (wall["hi"], wall["hi"])]:
        if a - reach > TOUCH:
            out.append((reach, a))
        reach = b
    return out


def _roof(
    r: Thing, number: dict[str, int], style: str, options: set[str], turn: Any, turned: Any, mirrored: bool
) -> Thing:
    rect, x0, y0 = turned(r["rect"]), r["rect"][0], r["rect"][1]
    along = r["ridge"]
    if along == "y":  # the span runs along x
        lo, hi, a_lo, a_hi = rect[0], rect[2], rect[1], rect[3]
    else:
        lo, hi, a_lo, a_hi = rect[1], rect[3], rect[0], rect[2]

    def across(ft: float) -> float:
        return turn(x0 + ft) if along == "y" else y0 + ft

    def lengthwise(ft: float) -> float:
        return y0 + ft if along == "y" else turn(x0 + ft)

    girders = []
    for g in r.get("girders", []):
        if is_built(g, style, options):
            ends = sorted((lengthwise(g["from_ft"]), lengthwise(g["to_ft"])))
            girders.append((across(g["at_ft"]), ends[0], ends[1]))
    ends = list(r["end_walls"])
    if mirrored and along == "x":
        ends.reverse()
    ridge_ft = r.get("ridge_at_ft", (hi - lo) / 2.0)
    ridge, rise = across(ridge_ft), r["pitch_in_12"] / 12.0 * ridge_ft
    return {
        "name": r["name"],
        "storey": number[r["storey"]],
        "hip": r["shape"] == "hip",
        "along": along,
        "lo": lo,
        "hi": hi,
        "a_lo": a_lo,
        "a_hi": a_hi,
        "ridge": ridge,
        "rise": rise,
        "slope": {"low": rise / (ridge - lo), "high": rise / (hi - ridge)},
        "heel": r.get("heel_ft", 0.5),
        "eave": r["eave_overhang_ft"],
        "rake": r["eave_overhang_ft"] if r["shape"] == "hip" else r.get("rake_overhang_ft", 0.0),
        "bay": r.get("truss_spacing_in", 24.0) / 12.0,
        "bearings": sorted((across(b["at_ft"]), b["wall"]) for b in r["bearings"]),
        "girders": sorted(girders),
        "ends": {"low": ends[0], "high": ends[1]},
        "setback": r.get("hip_setback_ft", 0.0),
        "laid_back": mirrored and along == "x",
    }


def _measure(house: Thing) -> None:
    about, storeys = house["about"], house["storeys"]
    rects = [r for s in storeys for r in s["rects"]]
    x0, y0, x1, y1 = (
        min(r[0] for r in rects),
        min(r[1] for r in rects),
        max(r[2] for r in rects),
        max(r[3] for r in rects),
    )
    house["extent"] = (x0, y0, x1, y1)
    house["least_ft"], house["longest_ft"] = min(x1 - x0, y1 - y0), max(x1 - x0, y1 - y0)
    plates, level = [], about["first_floor_height_ft"]
    for i, s in enumerate(storeys):
        level += s["wall_height_ft"] + (s["floor_depth_ft"] if i else 0.0)
        plates.append(level)
    house["plates"] = plates
    tops, eaves = [], []
    for r in house["roofs"]:
        eave = plates[r["storey"]] + r["heel"]
        eaves.append(eave)
        pitch = min(r["slope"].values())
        tops.append(eave + (r["rise"] / 2.0 if math.degrees(math.atan(pitch)) > 10.0 else 0.0))
    house["h"] = max([*tops, about.get("mean_roof_height_ft", 0.0)])
    house["eave"] = max(eaves)
    # ASCE 7-16 Figure 28.3-1: a, and the end zone 2a
    small = min(0.1 * house["least_ft"], 0.4 * house["h"])
    house["a"] = max(small, 0.04 * house["least_ft"], 3.0)
    house["two_a"] = 2.0 * house["a"]
    house["steepest_deg"] = max(math.degrees(math.atan(v)) for r in house["roofs"] for v in r["slope"].values())


def wall_named(house: Thing, name: str) -> Thing:
    return next(w for w in house["walls"] if w["name"] == name)


def span_of(storey: Thing, axis: str) -> tuple[float, float]:
    i = 0 if axis == "x" else 1
    return min(r[i] for r in storey["rects"]), max(r[i + 2] for r in storey["rects"])


def cross_length(storey: Thing, axis: str, s: float) -> float:
    """Length of the outline across ``axis`` at the coordinate s."""
    i, j = (0, 1) if axis == "x" else (1, 0)
    spans = sorted((r[j], r[j + 2]) for r in storey["rects"] if r[i] - 1e-9 <= s <= r[i + 2] + 1e-9)
    total, reach = 0.0, -math.inf
    for a, b in spans:
        total += max(0.0, b - max(a, reach))
        reach = max(reach, b)
    return total


def tiles(rects: list[list[float]]) -> list[tuple[float, float, float, float]]:
    """A union of rectangles as rectangles that do not overlap."""
    xs = sorted({v for r in rects for v in (r[0], r[2])})
    ys = sorted({v for r in rects for v in (r[1], r[3])})
    out = []
    for a, b in itertools.pairwise(xs):
        for c, d in itertools.pairwise(ys):
            x, y = (a + b) / 2.0, (c + d) / 2.0
            if any(r[0] <= x <= r[2] and r[1] <= y <= r[3] for r in rects):
                out.append((a, c, b, d))
    return out


def area_of(storey: Thing) -> float:
    return sum((c - a) * (d - b) for a, b, c, d in tiles(storey["rects"]))


def walls_under(house: Thing, wall: Thing) -> list[Thing]:
    """Walls of the storey below that carry a wall; empty on the foundation."""
    if wall["storey"] == 0:
        return []
    below = [b for b in house["walls"] if b["storey"] == wall["storey"] - 1 and b["axis"] == wall["axis"]]
    if wall["stands_on"]:
        return [b for b in below if b["name"] == wall["stands_on"]]
    near = [b for b in below if abs(b["at"] - wall["at"]) <= STACK]
    return [b for b in near if min(b["hi"], wall["hi"]) - max(b["lo"], wall["lo"]) > TOUCH]
