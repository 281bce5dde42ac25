"""Horizontal forces of one load case: wind and inertia on each level, into shear lines and through diaphragms."""

from __future__ import annotations

import itertools
from typing import Any

import plain_case as pc
import plain_plan as pp
import plain_shapes as sh
import plain_tables as t
from plain_lines import Line

Thing = dict[str, Any]


class Sideways:
    """One house, one lot, one case; its horizontal forces. ``asked`` gathers (connection, what acts together on it)."""

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

    def sideways(self) -> None:
        """Forces of every level into its shear lines, from the top down; -1 is the first floor of a raised house."""
        lowest = -1 if self.house["about"]["foundation"] == "stem_wall" else 0
        for axis in ("x", "y"):
            above: dict[str, tuple[float, float]] = {}
            for level in range(len(self.house["storeys"]) - 1, lowest - 1, -1):
                lines = sh.shear_lines(self.house, max(level, 0), axis)
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
        shapes = {r["name"]: sh.silhouette(r, axis) for r in house["roofs"]}
        lo, hi = pp.span_of(house["storeys"][max(level, 0)], across)
        i = 0 if across == "x" else 1
        marks = {v for s in house["storeys"] for r in s["rects"] for v in (r[i], r[i + 2])}
        marks |= {s for shape in shapes.values() for s, _ in shape}
        marks |= {lo + house["two_a"], hi - house["two_a"]}
        for k, one in enumerate(roofs):
            for two in roofs[k + 1 :]:
                marks |= set(sh.crossings(shapes[one["name"]], shapes[two["name"]]))
        ordered = sorted(marks)
        for a, b in itertools.pairwise(ordered):
            if b - a <= pp.TOUCH:
                continue
            mid = (a + b) / 2.0
            wall_ft = self.wall_over(level, across, mid)
            tall = max(roofs, key=lambda r: (sh.height_at(shapes[r["name"]], mid), r["name"]), default=None)
            rise_a = rise_b = 0.0
            if tall is not None and sh.height_at(shapes[tall["name"]], mid) > 0.0:
                wall_ft += tall["heel"]
                rise_a = sh.height_at(shapes[tall["name"]], a + 1e-9)
                rise_b = sh.height_at(shapes[tall["name"]], b - 1e-9)
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
        over = [r for r in self.house["roofs"] if sh.covers(r, across, s)] or self.house["roofs"]
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
            lo, hi = sh.porch_reach(porch, wall)
            line.spread(lo, hi, half / (hi - lo))

    def wall_of(self, porch: Thing) -> Thing | None:
        name = porch.get("attached_wall", "")
        return pp.wall_named(self.house, name) if name else None

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
            for pull in chords:
                self.ask(f"plates as chords: storey {i}", tension_lb=pull)
            for axis in ("x", "y"):
                for line, _, plate_ft in sh.shear_lines(house, i, axis):
                    pull = house["collected"][i, line] * self.level_force[i, axis][line]
                    for way in (pull, -pull):  # plates beside a segment are pulled on one side, pressed on the other
                        self.ask(f"plates as collector: storey {i}, line {line}", tension_lb=way)
                    if sh.roofed_runs(house, i, axis, line):
                        plf = self.case.sense * self.own_force[i, axis][line] / plate_ft
                        self.ask(f"roof boundary: line {line}, storey {i + 1}", shear_plf=plf)
                    runs = sh.floored_runs(house, i, axis, line) if upper else []
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
