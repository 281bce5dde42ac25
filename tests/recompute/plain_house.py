"""The load path of one house in one load case, from the roof to the foundation, in scalars.

What is asked of each connection is handed to ``ask`` as the loads that act together on one of its members. The order
and the conventions are those of the written method (half storeys, simple spans, levers over openings); the arithmetic
is this file's own.
"""

from __future__ import annotations

import math
from typing import Any

import plain_case as pc
import plain_plan as pp
import plain_tables as t
from plain_lines import SAME, Line

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


class Trace:
    """One house, one lot, one case. ``asked`` gathers (connection, components that act together)."""

    def __init__(self, house: Thing, lot: pc.Lot, case: pc.Case) -> None:
        self.house, self.lot, self.case = house, lot, case
        # with the greatest weights only the posts at the ends of shear walls are asked for anything
        self.posts_only = not case.least_weight
        self.p = pc.Pressures(house, lot, case)
        self.asked: list[tuple[str, dict[str, float]]] = []
        self.ceilings: dict[int, float] = {}
        self.top = {w["name"]: Line() for w in house["walls"]}
        self.foot = {w["name"]: Line() for w in house["walls"]}
        self.couples = {w["name"]: Line() for w in house["walls"]}
        self.foot_couples = {w["name"]: Line() for w in house["walls"]}
        self.level_force: dict[tuple[int, str], dict[str, float]] = {}
        self.own_force: dict[tuple[int, str], dict[str, float]] = {}
        self.diaphragm: dict[tuple[int, str], tuple[list[float], Line]] = {}

    def run(self) -> list[tuple[str, dict[str, float]]]:
        self.sideways()
        for roof in self.house["roofs"]:
            self.roof(roof)
        for porch in self.house["porches"]:
            self.porch(porch)
        for storey in reversed(range(len(self.house["storeys"]))):
            for wall in self.house["walls"]:
                if wall["storey"] == storey:
                    self.wall(wall)
        if not self.posts_only:
            self.diaphragms()
            self.racking()
        return self.asked

    def ask(self, point: str, **loads: float) -> None:
        self.asked.append((point, loads))

    def down(self, weights: tuple[float, float], live: float = 0.0, roof: bool = False) -> float:
        """Gravity of a case per unit, upward positive: dead by the weight that counts, live loads, snow on roofs."""
        c = self.case
        dead = c.dead * (weights[0] if c.least_weight else weights[1])
        rest = c.live * live * self.lot.one
        if roof:
            rest += c.roof_live * t.ROOF_LIVE_PSF * self.lot.one + c.snow
        return -(dead + rest)

    # --- sideways -------------------------------------------------------------------------------------------------

    def sideways(self) -> None:
        """Forces of every level into its shear lines, from the top down; -1 is the first floor of a raised house."""
        lowest = -1 if self.house["about"]["foundation"] == "stem_wall" else 0
        for axis in ("x", "y"):
            above: dict[str, tuple[float, float]] = {}
            for level in range(len(self.house["storeys"]) - 1, lowest - 1, -1):
                lines = self.shear_lines(max(level, 0), axis)
                supports = [at for _, at, _ in lines]
                wind = self.wind_on(level, axis) if self.case.axis == axis and self.p.is_wind else Line()
                own = wind.copy()
                own.put(self.inertia(level, axis, self.lot.storey_lb))
                diaphragm = wind.copy()
                diaphragm.put(self.inertia(level, axis, self.lot.diaphragm_lb))
                reactions = own.on_spans(supports)
                self.own_force[level, axis] = {name: r for (name, _, _), r in zip(lines, reactions, strict=True)}
                total = dict(self.own_force[level, axis])
                hung = Line()
                for name, (at, force) in above.items():
                    if name in total:
                        total[name] += force
                    else:
                        hung.force(at, force)
                for (name, _, _), r in zip(lines, hung.on_spans(supports), strict=True):
                    total[name] += r
                diaphragm.put(hung)
                self.level_force[level, axis] = total
                self.diaphragm[level, axis] = (supports, diaphragm)
                above = {name: (at, total[name]) for name, at, _ in lines}

    def shear_lines(self, storey: int, axis: str) -> list[tuple[str, float, float]]:
        """Name, place (mean of its walls, by length) and length of plate of each line parallel to an axis."""
        found: dict[str, list[tuple[float, float]]] = {}
        for w in self.house["walls"]:
            if w["storey"] == storey and w["axis"] == axis and w["shear"]:
                found.setdefault(w["line"], []).append((w["at"], w["hi"] - w["lo"]))
        out = []
        for name, walls in found.items():
            length = sum(n for _, n in walls)
            out.append((name, sum(a * n for a, n in walls) / length, length))
        return sorted(out, key=lambda line: (line[1], line[0]))

    def inertia(self, level: int, axis: str, forces: tuple[float, ...]) -> Line:
        out = Line()
        if self.case.hazard != "seismic" or self.case.axis != axis:
            return out
        mass = self.house["mass"]
        weight = mass["first_floor"] if level < 0 else mass["weights"][level]
        if weight <= 0.0:
            return out
        force = self.lot.rho_cs * weight if level < 0 else forces[level]
        share = self.case.sense * self.case.shaking * force / weight
        lines = mass["lines"][level, axis]
        for a, b, wa, wb in lines.stretches:
            out.spread(a, b, share * wa, share * wb)
        for s, p in lines.forces:
            out.force(s, share * p)
        return out

    def wind_on(self, level: int, axis: str) -> Line:
        """Wind along an axis on one level: half the walls below and above, and the roofs that stand on the storey."""
        house, across, out = self.house, "y" if axis == "x" else "x", Line()
        roofs = [r for r in house["roofs"] if r["storey"] == level]
        shapes = {r["name"]: silhouette(r, axis) for r in house["roofs"]}
        lo, hi = pp.span_of(house["storeys"][max(level, 0)], across)
        i = 0 if across == "x" else 1
        marks = {v for s in house["storeys"] for r in s["rects"] for v in (r[i], r[i + 2])}
        marks |= {s for shape in shapes.values() for s, _ in shape}
        marks |= {lo + house["two_a"], hi - house["two_a"]}
        for k, one in enumerate(roofs):
            for two in roofs[k + 1 :]:
                marks |= set(crossings(shapes[one["name"]], shapes[two["name"]]))
        ordered = sorted(marks)
        for a, b in zip(ordered, ordered[1:], strict=False):
            if b - a <= pp.TOUCH:
                continue
            mid = (a + b) / 2.0
            wall_ft = self.wall_over(level, across, mid)
            tall = max(roofs, key=lambda r: (height_at(shapes[r["name"]], mid), r["name"]), default=None)
            rise_a = rise_b = 0.0
            if tall is not None and height_at(shapes[tall["name"]], mid) > 0.0:
                wall_ft += tall["heel"]
                rise_a = height_at(shapes[tall["name"]], a + 1e-9)
                rise_b = height_at(shapes[tall["name"]], b - 1e-9)
            if wall_ft == 0.0 and rise_a == 0.0 and rise_b == 0.0:
                continue
            zone = "low" if mid < lo + house["two_a"] else "high" if mid > hi - house["two_a"] else "interior"
            end = "E" if zone == self.case.corner else ""
            on_wall, on_roof = self.horizontal(tall, across, mid, end)
            out.spread(a, b, wall_ft * on_wall + rise_a * on_roof, wall_ft * on_wall + rise_b * on_roof)
        if level == 0:
            for porch in house["porches"]:
                self.porch_sideways(porch, axis, out)
        return out

    def wall_over(self, level: int, across: str, s: float) -> float:
        """Height of wall that loads a level at s: half the storey below it, half the one above and its floor."""
        storeys, out = self.house["storeys"], 0.0
        if level >= 0 and pp.cross_length(storeys[level], across, s) > pp.TOUCH:
            out += storeys[level]["wall_height_ft"] / 2.0
        if level + 1 < len(storeys) and pp.cross_length(storeys[level + 1], across, s) > pp.TOUCH:
            out += storeys[level + 1]["wall_height_ft"] / 2.0 + storeys[level + 1]["floor_depth_ft"]
        return out

    def horizontal(self, roof: Thing | None, across: str, s: float, end: str) -> tuple[float, float]:
        """Pressure (psf, signed) on the wall and on the roof's upright projection, both faces together."""
        p, signed = self.p, self.case.sense
        if self.p.least:
            f = self.case.wind * self.lot.one * signed
            on_slope = roof is None or p.shows_slope(roof)
            return f * t.LEAST_WALL_PSF, f * (t.LEAST_ROOF_PSF if on_slope else t.LEAST_WALL_PSF)
        gable = t.CASE_B["5" + end] - t.CASE_B["6" + end]
        nets = []
        over = [r for r in self.house["roofs"] if covers(r, across, s)] or self.house["roofs"]
        for r in over:
            if p.shows_slope(r):
                nets.append(p.facing_slope(r, "1" + end) - p.facing_slope(r, "4" + end))
            else:
                nets.append(gable)
        on_roof = 0.0
        if roof is not None:
            if not p.shows_slope(roof):
                on_roof = gable
            elif self.case.roof_counts:
                on_roof = p.facing_slope(roof, "2" + end) - p.facing_slope(roof, "3" + end)
        return signed * p.q * max(nets), signed * p.q * on_roof

    def porch_push(self, porch: Thing, axis: str) -> float:
        """Size of the wind's push on a whole open porch along an axis, lb."""
        if not self.p.is_wind or self.case.axis != axis:
            return 0.0
        x0, y0, x1, y1 = porch["rect"]
        wall = self.wall_of(porch)
        depth = x1 - x0 if wall is not None and wall["axis"] == "y" else y1 - y0
        tall = porch.get("fascia_depth_ft", 1.0) + porch.get("pitch_in_12", 2.0) / 12.0 * depth
        face = (y1 - y0 if axis == "x" else x1 - x0) * tall
        if self.p.least:
            return self.case.wind * self.lot.one * t.LEAST_WALL_PSF * face
        return self.case.wind * self.lot.qc * t.PORCH_SIDE_CN * t.GUST * face

    def porch_sideways(self, porch: Thing, axis: str, line: Line) -> None:
        wall = self.wall_of(porch)
        if wall is None:
            return
        half = 0.5 * self.case.sense * self.porch_push(porch, axis)
        if wall["axis"] == axis:
            line.force(wall["at"], half)
        else:
            lo, hi = porch_reach(porch, wall)
            line.spread(lo, hi, half / (hi - lo))

    def wall_of(self, porch: Thing) -> Thing | None:
        name = porch.get("attached_wall", "")
        return pp.wall_named(self.house, name) if name else None

    # --- roofs ----------------------------------------------------------------------------------------------------

    def strip_parts(self, roof: Thing, zone: str) -> list[tuple[str, float, float, float]]:
        """Stretches of a one-foot strip of roof: side, from, to, outward pressure."""
        lo, hi, ridge, o = roof["lo"], roof["hi"], roof["ridge"], roof["eave"]
        reach, out = pc.zone2_reach(self.house, roof), []
        if o > 0.0:
            out.append(("low", lo - o, lo, self.p.eave(roof, "low", zone)))
            out.append(("high", hi, hi + o, self.p.eave(roof, "high", zone)))
        low, high = sorted({lo, min(lo + reach, ridge), ridge}), sorted({ridge, max(hi - reach, ridge), hi})
        for side, cuts in (("low", low), ("high", high)):
            for a, b in zip(cuts, cuts[1:], strict=False):
                out.append((side, a, b, self.p.slope(roof, side, zone, (a + b) / 2.0)))
        return out

    def strip(self, roof: Thing, zone: str) -> list[float]:
        """Uplift at each bearing of one foot of ridge."""
        supports = [at for at, _ in roof["bearings"]]
        line, turning = Line(), 0.0
        for side, a, b, psf in self.strip_parts(roof, zone):
            line.spread(a, b, psf)
            tan, mid = roof["slope"][side], (a + b) / 2.0
            above = roof["heel"] + tan * (mid - roof["lo"] if side == "low" else roof["hi"] - mid)
            # the level part of an outward pressure pushes away from the ridge, at its height over the plate
            turning += (b - a) * psf * tan * above * (1.0 if side == "high" else -1.0)
        line.spread(roof["lo"] - roof["eave"], roof["hi"] + roof["eave"], self.roof_weight())
        out = line.on_spans(supports)
        couple = turning / (supports[-1] - supports[0])
        out[0] += couple
        out[-1] -= couple
        return out

    def roof_weight(self) -> float:
        return self.down(self.house["weights"]["roof"], roof=True)

    def roof(self, roof: Thing) -> None:
        strips = {z: self.strip(roof, z) for z in ZONES}
        for j, (at, name) in enumerate(roof["bearings"]):
            wall = pp.wall_named(self.house, name)
            gaps = [(a, b) for g, a, b in roof["girders"] if abs(g - at) <= pp.TOUCH]
            whole = Line()
            for run in roof["runs"]:
                whole.spread(run["lo"], run["hi"], strips[run["zone"]][j])
            self.top[name].put(whole.bridged(gaps))
            if not self.posts_only:
                self.trusses(roof, j, wall, strips, gaps)
                for a, b in gaps:
                    self.girder(roof, j, wall, strips, whole, a, b)
        for end in ("low", "high"):
            wall = pp.wall_named(self.house, roof["ends"][end])
            if roof["hip"]:
                self.hip(roof, end, wall, strips[end])
            else:
                self.gable(roof, end, wall)
        if not self.posts_only:
            self.sheathing(roof)

    def trusses(self, roof: Thing, j: int, wall: Thing, strips: Thing, gaps: list[tuple[float, float]]) -> None:
        bay, outer = roof["bay"], j in (0, len(roof["bearings"]) - 1)
        for zone in ("end zone", "interior"):
            runs = [r for r in roof["runs"] if (r["zone"] == "interior") == (zone == "interior")]
            if not any(not any(a < p < b for a, b in gaps) for r in runs for p in r["at"]):
                continue
            where = f"{roof['name']} on {wall['name']}, {zone}"
            for run in runs:
                up = bay * strips[run["zone"]][j]
                for push in self.plate_push(roof, wall, run["zone"], outer, bay):
                    self.ask(f"truss tie: {where}", uplift_lb=up, perpendicular_lb=push, parallel_lb=0.0)
                self.ask(f"plate to stud: {where}", uplift_lb=up)

    def plate_push(self, roof: Thing, wall: Thing, zone: str, outer: bool, width_ft: float) -> list[float]:
        """Push of the upper half of a wall on one tie: the wind both ways, or the two forms of 12.11.2."""
        if not outer or not wall["exterior"]:
            return [0.0]
        size = width_ft * wall["h"] / 2.0
        if self.p.is_wind:
            wind = self.p.wall(roof, wall, zone) * size
            return [wind, -wind]
        return [psf * size for psf in self.anchorage(self.house["longest_ft"])]

    def anchorage(self, span_ft: float) -> list[float]:
        """Seismic pull of a wall, psf: 0.4 SDS ka w and the least, 0.2 ka w (12.11.2), scaled by the case."""
        if self.case.hazard != "seismic":
            return [0.0]
        ka = min(1.0 + span_ft / 100.0, 2.0)
        unit = self.case.shaking * ka * self.house["weights"]["exterior_wall"][1]
        return [0.4 * self.lot.sds * unit, 0.2 * unit * self.lot.one]

    def girder(self, roof: Thing, j: int, wall: Thing, strips: Thing, whole: Line, a: float, b: float) -> None:
        name = f"{roof['name']} girder over {wall['name']} {a:g}-{b:g}"
        for run in roof["runs"]:
            if any(a < p < b for p in run["at"]):
                self.ask(f"truss hanger: {name}", uplift_lb=roof["bay"] * strips[run["zone"]][j])
        self.girder_ends(name, list(whole.lever(a, b, ends=False)))

    def girder_ends(self, name: str, ends: list[float]) -> None:
        for up in ends:
            self.ask(f"girder tie: {name}", uplift_lb=up, perpendicular_lb=0.0, parallel_lb=0.0)
            self.ask(f"girder post: {name}", uplift_lb=up, perpendicular_lb=0.0)

    def gable(self, roof: Thing, end: str, wall: Thing) -> None:
        """Half a bay of roof and the rake overhang on an end wall; the corners beyond hang on the wall's ends."""
        inner, rake = roof["bay"] / 2.0, roof["rake"]
        for side, a, b, psf in self.strip_parts(roof, end):
            plf = inner * psf + rake * self.p.rake(roof, side, end, psf) + (inner + rake) * self.roof_weight()
            if a < roof["lo"] or b > roof["hi"]:
                self.top[wall["name"]].force(roof["lo"] if side == "low" else roof["hi"], roof["eave"] * plf)
                continue
            self.top[wall["name"]].spread(a, b, plf)
            for push in self.out_of_plane(wall, "5", 1.0):
                self.ask(
                    f"gable end tie: {roof['name']} on {wall['name']}",
                    uplift_plf=plf,
                    perpendicular_plf=push * wall["h"] / 2.0,
                )

    def out_of_plane(self, wall: Thing, zone: str, width_ft: float) -> list[float]:
        """Local pressures on a wall, psf: the wind's and the standard's least, or the two seismic forms."""
        if not wall["exterior"]:
            return [0.0]
        if self.p.is_wind:
            area = pc.effective_area(wall["h"], width_ft)
            return [self.p.cladding(zone, area), self.case.wind * t.LEAST_CLADDING_PSF * self.lot.one]
        return self.anchorage(self.house["longest_ft"])

    def hip(self, roof: Thing, end: str, wall: Thing, strip: list[float]) -> None:
        """Jacks between the end wall and the hip girder; the girder hands its load to the bearing walls."""
        c, o, bay, span = roof["setback"], roof["eave"], roof["bay"], roof["hi"] - roof["lo"]
        wider = (span + 2.0 * o) / span
        inside, outside = self.p.hip_end(roof, end)
        inside, outside = wider * (inside + self.roof_weight()), wider * (outside + self.roof_weight())
        at_wall = inside * c / 2.0 + outside * o * (c + o / 2.0) / c
        at_girder = inside * c / 2.0 - outside * o * (o / 2.0) / c
        self.top[wall["name"]].spread(roof["lo"], roof["hi"], at_wall)
        for push in self.plate_push(roof, wall, end, True, bay):
            self.ask(
                f"truss tie: {roof['name']} hip jacks on {wall['name']}",
                uplift_lb=bay * at_wall,
                perpendicular_lb=push,
                parallel_lb=0.0,
            )
        self.ask(f"plate to stud: {roof['name']} hip jacks on {wall['name']}", uplift_lb=bay * at_wall)
        place = roof["a_lo"] + c if end == "low" else roof["a_hi"] - c
        across = Line()
        across.spread(roof["lo"], roof["hi"], at_girder)
        ends = [r + bay / 2.0 * strip[j] for j, r in enumerate(across.on_spans([at for at, _ in roof["bearings"]]))]
        for (_, name), up in zip(roof["bearings"], ends, strict=True):
            self.top[name].force(place, up)
        self.girder_ends(f"{roof['name']} hip girder, {end} end", ends)

    def sheathing(self, roof: Thing) -> None:
        for overhang in (False, True):
            for zone in roof["zone_areas"][overhang]:
                up = 0.0
                if self.p.is_wind and self.p.least:
                    up = self.case.wind * t.LEAST_CLADDING_PSF * self.lot.one
                elif self.p.is_wind:
                    gcp = min(pc.roof_gcp(roof["hip"], zone, a, overhang) for a in set(roof["angles"].values()))
                    inside = 0.0 if overhang else self.lot.qc_in
                    # in the cases with suction inside only that inside pressure counts
                    up = self.case.wind * ((-gcp * self.lot.qc if self.case.inside > 0 else 0.0) + inside)
                self.ask(
                    f"roof sheathing: {roof['name']} zone {zone}{' overhang' if overhang else ''}", suction_psf=up
                )

    # --- porches --------------------------------------------------------------------------------------------------

    def porch(self, porch: Thing) -> None:
        x0, y0, x1, y1 = porch["rect"]
        wall = self.wall_of(porch)
        lo, hi = porch_reach(porch, wall)
        depth = (y1 - y0) if wall is None or wall["axis"] == "x" else (x1 - x0)
        dead = porch.get("roof_dead_psf", 8.0)
        psf = self.down((dead, dead), roof=True)
        if self.p.is_wind and not self.p.least:
            psf += self.case.wind * self.lot.qc * t.GUST * -pc.open_roof_cn(porch.get("pitch_in_12", 2.0))
        n, name = porch["posts"], porch["name"]
        beam = Line()
        beam.spread(lo, hi, psf * depth / 2.0)
        ups = beam.on_spans([lo + (hi - lo) * k / (n - 1) for k in range(n)])
        push = (self.porch_push(porch, "x") + self.porch_push(porch, "y")) * 0.5 / n
        weight = porch.get("footing_weight_lb", 0.0)
        for up in ups:
            self.ask(f"post cap: {name}", uplift_lb=up, lateral_lb=push)
            self.ask(f"post base: {name}", uplift_lb=up, lateral_lb=push)
            self.ask(f"post footing: {name}", uplift_lb=up + self.down((weight, weight)))
        if wall is not None:
            a, b = max(lo, wall["lo"]), min(hi, wall["hi"])
            self.top[wall["name"]].spread(a, b, psf * depth / 2.0 * (hi - lo) / (b - a))
            self.ask(f"porch ledger: {name} on {wall['name']}", uplift_plf=psf * depth / 2.0)

    # --- walls ----------------------------------------------------------------------------------------------------

    def wall(self, wall: Thing) -> None:
        house, name, h = self.house, wall["name"], wall["h"]
        plf = self.down(house["weights"]["exterior_wall" if wall["exterior"] else "interior_wall"])
        top, gaps = self.top[name], [(o["lo"], o["hi"]) for o in wall["holes"]]
        if wall["floor_ft"] and wall["storey"] + 1 < len(house["storeys"]):
            live = house["about"].get("floor_live_psf", 40.0)
            top.spread(wall["lo"], wall["hi"], wall["floor_ft"] * self.down(house["weights"]["floor"], live))
        over = top.copy()
        for o in wall["holes"]:
            over.spread(o["lo"], o["hi"], plf * (h - o["head"]))
        foot = over.bridged(gaps)
        for a, b in wall["solids"]:
            foot.spread(a, b, plf * h)
        for o in wall["holes"]:
            foot.spread(o["lo"], o["hi"], plf * o["sill"])
        self.foot[name] = foot
        if not self.posts_only:
            self.headers(wall, over)
            self.studs(wall)
        self.couples_down(wall, gaps)
        below = pp.walls_under(house, wall)
        if below:
            self.hand_down(wall, below)
        if not self.posts_only:
            self.bottom_plate(wall) if below else self.sill(wall)

    def headers(self, wall: Thing, over: Line) -> None:
        for o in wall["holes"]:
            width = o["hi"] - o["lo"]
            rank = "narrow" if width <= 4.5 else "medium" if width <= 8.5 else "wide"
            if not wall["exterior"]:
                pushes = [0.0]
            elif self.p.is_wind:
                area = pc.effective_area(wall["h"], width / 2.0)
                pushes = [self.p.cladding("4", area), self.case.wind * t.LEAST_CLADDING_PSF * self.lot.one]
            else:
                pushes = self.anchorage(0.0)
            for up in over.lever(o["lo"], o["hi"], ends=False):
                for push in pushes:
                    self.ask(
                        f"header ends: {wall['name']}, {rank} openings",
                        uplift_lb=up,
                        perpendicular_lb=push * width / 2.0 * wall["h"] / 2.0,
                    )

    def studs(self, wall: Thing) -> None:
        name, stud = wall["name"], self.house["about"]["stud_spacing_in"] / 12.0
        if wall["exterior"]:
            for zone in zones_of(self.house, wall, stud):
                for psf in self.out_of_plane(wall, "4" if zone == "interior" else "5", stud):
                    self.ask(f"stud nailing: {name}, {zone}", perpendicular_lb=psf * stud * wall["h"] / 2.0)
        if is_gable_wall(self.house, wall) and self.top[name].stretches:
            for _, plf in self.spread_on(wall, self.top[name]):
                self.ask(f"plate to stud: {name}", uplift_lb=stud * plf)
        foot = self.foot[name]
        if pp.walls_under(self.house, wall):
            for _, plf in self.spread_on(wall, foot):
                self.ask(f"storey strap: {name}", uplift_plf=plf)
        else:
            spacing = foot_spacing(self.house, wall)
            for s, plf in self.spread_on(wall, foot):
                zone = "end zone" if min(s - wall["lo"], wall["hi"] - s) < self.house["two_a"] else "interior"
                self.ask(f"stud to bottom plate: {name}, {zone}", uplift_lb=spacing * plf)
        for s, up in gathered(foot.forces):
            self.ask(f"stud packs: {name}, at {s:.4f}", uplift_lb=up, perpendicular_lb=0.0)

    def spread_on(self, wall: Thing, line: Line) -> list[tuple[float, float]]:
        """Spread load on each stretch of solid wall between changes: middle and value."""
        zones, out = (wall["lo"] + self.house["two_a"], wall["hi"] - self.house["two_a"]), []
        edges = line.edges()
        for a, b in wall["solids"]:
            marks = sorted({a, b, *(v for v in (*edges, *zones) if a < v < b)})
            for p, q in zip(marks, marks[1:], strict=False):
                if q - p > 10 * SAME:
                    out.append(((p + q) / 2.0, line.at((p + q) / 2.0)))
        return out

    def line_force(self, wall: Thing, level: int) -> float:
        return self.level_force[level, wall["axis"]][wall["line"]]

    def shear_plf(self, wall: Thing, level: int) -> float:
        """Force of a wall's line over the lengths its segments share it by, along the case's sense."""
        if not wall["shear"]:
            return 0.0
        shares = sum(s["share"] for s in self.house["segments"].get((wall["storey"], wall["line"]), []))
        return self.case.sense * self.line_force(wall, level) / (shares or wall["hi"] - wall["lo"])

    def plate_pushes(self, wall: Thing) -> list[float]:
        """Push on a plate beside its shear: local pressure across the wall, the side wall's suction along it."""
        pushes = self.out_of_plane(wall, "5", wall["h"])
        if wall["exterior"] and self.p.is_wind and self.case.axis == wall["axis"]:
            return [0.0 if self.p.least else self.p.out(t.CASE_B["1E"])]
        return pushes

    def bottom_plate(self, wall: Thing) -> None:
        if not (wall["exterior"] or wall["shear"]):
            return
        for psf in self.plate_pushes(wall):
            self.ask(
                f"bottom plate to floor: {wall['name']}",
                shear_plf=self.shear_plf(wall, wall["storey"]),
                uplift_plf=0.0,
                perpendicular_plf=psf * wall["h"] / 2.0,
            )

    def hand_down(self, wall: Thing, below: list[Thing]) -> None:
        """The foot stands on the walls below at the same place; what overhangs goes to the nearest end."""

        def under(s: float) -> tuple[Thing, float]:
            best = min(below, key=lambda b: (max(b["lo"] - s, s - b["hi"], 0.0), b["name"]))
            return best, min(max(s, best["lo"]), best["hi"])

        cuts = sorted({v for b in below for v in (b["lo"], b["hi"])})
        foot = self.foot[wall["name"]]
        for a, b, wa, wb in foot.stretches:
            marks = [a, *(c for c in cuts if a < c < b), b]
            one = Line()
            one.spread(a, b, wa, wb)
            for p, q in zip(marks, marks[1:], strict=False):
                target, place = under((p + q) / 2.0)
                into = self.top[target["name"]]
                if target["lo"] - SAME <= p and q <= target["hi"] + SAME:
                    into.stretches.extend(one.cut(p, q))
                else:
                    into.force(place, one.resultant(p, q)[0])
        for s, up in foot.forces:
            target, place = under(s)
            self.top[target["name"]].force(place, up)
        for s, pull in self.foot_couples[wall["name"]].forces:
            target, place = under(s)
            self.couples[target["name"]].force(place, pull)

    def sill(self, wall: Thing) -> None:
        house, name, foot = self.house, wall["name"], self.foot[wall["name"]]
        if not (wall["exterior"] or wall["shear"] or carries_roof_load(house, wall)):
            return
        raised = house["about"]["foundation"] == "stem_wall"
        for a, b in plate_pieces(house, wall):
            marks = [a, *(v for v in foot.edges() if a < v < b), b]
            ups = [foot.resultant(a, b)[0] / (b - a)]
            ups += [foot.at((p + q) / 2.0) for p, q in zip(marks, marks[1:], strict=False) if q - p > pp.TOUCH]
            for up in ups:
                for psf in self.plate_pushes(wall):
                    loads = {"uplift_plf": up, "perpendicular_plf": psf * wall["h"] / 2.0}
                    ground = self.shear_plf(wall, -1 if raised else 0)
                    self.ask(f"sill anchor: {name}", shear_plf=ground, **loads)
                    if raised:
                        self.ask(f"floor rim to sill: {name}", shear_plf=ground, **loads)
                        self.ask(f"bottom plate to floor rim: {name}", shear_plf=self.shear_plf(wall, 0), **loads)

    # --- shear walls ----------------------------------------------------------------------------------------------

    def couples_down(self, wall: Thing, gaps: list[tuple[float, float]]) -> None:
        """Couples from above and of this wall's own segments; hold-downs and posts at their ends."""
        name, foot, below = wall["name"], self.foot[wall["name"]], self.foot_couples[wall["name"]]
        arriving = self.couples[name].bridged(gaps).forces
        free = list(range(len(arriving)))
        for n, seg in enumerate(wall["segments"], 1):
            lo, hi = seg["lo"], seg["hi"]
            mine = [k for k in free if lo - SAME <= arriving[k][0] <= hi + SAME]
            free = [k for k in free if k not in mine]
            here = Line()
            here.forces = [arriving[k] for k in mine]
            arm = hi - lo - self.house["about"].get("hold_down_offset_ft", 0.5)
            shares = sum(s["share"] for s in self.house["segments"][wall["storey"], wall["line"]])
            shear = self.line_force(wall, wall["storey"]) * seg["share"] / shares
            couple = shear * (wall["h"] + floor_over(self.house, wall, lo, hi)) / arm
            from_lo, from_hi = here.lever(lo, hi)
            pull_lo, pull_hi = from_lo + couple, from_hi - couple
            below.force(lo, pull_lo)
            below.force(hi, pull_hi)
            longer = (hi - lo) / arm
            whole_lo, whole_hi = foot.lever(lo, hi)
            jambs = Line()
            jambs.forces = foot.forces
            jamb_lo, jamb_hi = jambs.lever(lo, hi)
            label = f"{name}, segment {n} ({hi - lo:.1f} ft)"
            # the couple and all loads of the piece, but never more than the couple and what stands at single places
            pulls = [pull_lo + longer * whole_lo, pull_hi + longer * whole_hi]
            if not self.lot.whole_tension:
                pulls = [min(pulls[0], pull_lo + longer * jamb_lo), min(pulls[1], pull_hi + longer * jamb_hi)]
            self.hold_down(wall, label, pulls)
            for place, pull, inward in ((lo, pull_lo, 0.1), (hi, pull_hi, -0.1)):
                packs = sum(p for s, p in foot.forces if abs(s - place) < 0.02)
                stud = self.house["about"]["stud_spacing_in"] / 12.0
                press = -(pull + packs + stud * foot.at(place + inward))
                self.ask(f"end post: {label}", compression_lb=press)
        for k in free:
            s, pull = arriving[k]
            below.force(s, pull)
            if pull != 0.0:
                self.hold_down(wall, f"{name}, under the segment above at {s:.1f} ft", [pull])

    def hold_down(self, wall: Thing, label: str, pulls: list[float]) -> None:
        for pull in pulls:
            self.ask(f"hold-down: {label}", tension_lb=pull)
            if not pp.walls_under(self.house, wall):
                self.ask(f"hold-down anchor: {label}", tension_lb=pull)

    def racking(self) -> None:
        for (storey, line), segments in self.house["segments"].items():
            wall = pp.wall_named(self.house, segments[0]["wall"])
            plf = self.case.sense * self.line_force(wall, storey) / sum(s["share"] for s in segments)
            self.ask(f"wall sheathing: line {line}, storey {storey + 1}", shear_plf=plf)

    # --- diaphragms -----------------------------------------------------------------------------------------------

    def diaphragms(self) -> None:
        house = self.house
        for i, storey in enumerate(house["storeys"]):
            shears, chords = self.diaphragm_loads(i)
            roofed = any(r["storey"] == i for r in house["roofs"])
            upper = i + 1 < len(house["storeys"])
            for plf in shears:
                if roofed:
                    self.ask(f"roof diaphragm: storey {storey['name']}", shear_plf=plf)
                if upper:
                    self.ask(f"floor diaphragm: storey {storey['name']}", shear_plf=plf)
            if splices(house, i):
                for pull in chords:
                    self.ask(f"plate splice: storey {storey['name']}", tension_lb=pull)
            for axis in ("x", "y"):
                for line, _, plate_ft in self.shear_lines(i, axis):
                    if roofed_runs(house, i, axis, line):
                        plf = self.case.sense * self.own_force[i, axis][line] / plate_ft
                        self.ask(f"roof boundary: line {line}, storey {i + 1}", shear_plf=plf)
                    runs = floored_runs(house, i, axis, line) if upper else []
                    if runs:
                        plf = self.case.sense * self.level_force[i, axis][line] / sum(runs)
                        self.ask(
                            f"floor rim to plate: line {line}, storey {i + 1}",
                            shear_plf=plf,
                            uplift_plf=0.0,
                            perpendicular_plf=0.0,
                        )

    def diaphragm_loads(self, i: int) -> tuple[list[float], list[float]]:
        """Unit shears beside the lines and at changes of depth, both ways; chord pulls at tenths of each span."""
        shears, chords, sense = [], [], self.case.sense
        storey = self.house["storeys"][i]
        for axis in ("x", "y"):
            across = "y" if axis == "x" else "x"
            k0 = 0 if across == "x" else 1
            supports, load = self.diaphragm[i, axis]
            for k in range(len(supports) - 1):
                a, b = supports[k], supports[k + 1]
                corners = sorted({v for r in storey["rects"] for v in (r[k0], r[k0 + 2]) if a < v < b})
                for s in [a + 1e-3, b - 1e-3, *(v + d for v in corners for d in (-1e-3, 1e-3))]:
                    depth = pp.cross_length(storey, across, s)
                    if depth > 1.0:
                        v = load.inside_span(supports, k, s)[0] / depth
                        shears += [sense * v, -sense * v]
                for tenth in range(1, 10):
                    s = a + (b - a) * tenth / 10.0
                    depth = pp.cross_length(storey, across, s)
                    if depth > 1.0:
                        chords.append(sense * load.inside_span(supports, k, s)[1] / depth)
        return shears, chords


# --- geometry that several steps ask for --------------------------------------------------------------------------------


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
    for (s0, h0), (s1, h1) in zip(shape, shape[1:], strict=False):
        if s <= s1 and s1 > s0:
            return h0 + (h1 - h0) * max(0.0, s - s0) / (s1 - s0)
    return shape[-1][1]


def crossings(one: list[tuple[float, float]], two: list[tuple[float, float]]) -> list[float]:
    marks, out = sorted({s for s, _ in one + two}), []
    for a, b in zip(marks, marks[1:], strict=False):
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
    return any(r["storey"] == wall["storey"] and any(n == wall["name"] for _, n in r["bearings"]) for r in house["roofs"])


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


def splices(house: Thing, storey: int) -> int:
    longest = house["about"]["plate_piece_ft"]
    walls = [w for w in house["walls"] if w["storey"] == storey and w["exterior"]]
    return sum(max(0, math.ceil((w["hi"] - w["lo"]) / longest - 1e-9) - 1) for w in walls)


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
