"""The whole load path of one house in one load case, from the roof to the foundation, in scalars.

What is asked of each connection is handed to ``ask`` as the loads that act together on one of its members. The order
and the conventions are those of the written method (half storeys, simple spans, levers over openings); the arithmetic
is these files' own.
"""

from __future__ import annotations

import itertools
from typing import Any

import plain_case as pc
import plain_plan as pp
import plain_shapes as sh
import plain_tables as t
from plain_lines import SAME, Line
from plain_roofs import Roofs

Thing = dict[str, Any]


class Trace(Roofs):
    """Walls from the top down, and all that stands in them."""

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
            for zone in sh.zones_of(self.house, wall, stud):
                for psf in self.out_of_plane(wall, "4" if zone == "interior" else "5", stud):
                    self.ask(f"stud nailing: {name}, {zone}", perpendicular_lb=psf * stud * wall["h"] / 2.0)
        if sh.is_gable_wall(self.house, wall) and self.top[name].stretches:
            for _, plf in self.spread_on(wall, self.top[name]):
                self.ask(f"plate to stud: {name}", uplift_lb=stud * plf)
        foot = self.foot[name]
        if pp.walls_under(self.house, wall):
            for _, plf in self.spread_on(wall, foot):
                self.ask(f"storey strap: {name}", uplift_plf=plf)
        else:
            spacing = sh.foot_spacing(self.house, wall)
            for s, plf in self.spread_on(wall, foot):
                zone = "end zone" if min(s - wall["lo"], wall["hi"] - s) < self.house["two_a"] else "interior"
                self.ask(f"stud to bottom plate: {name}, {zone}", uplift_lb=spacing * plf)
        for s, up in sh.gathered(foot.forces):
            self.ask(f"stud packs: {name}, at {s:.4f}", uplift_lb=up, perpendicular_lb=0.0)

    def spread_on(self, wall: Thing, line: Line) -> list[tuple[float, float]]:
        """Spread load on each stretch of solid wall between changes: middle and value."""
        zones, out = (wall["lo"] + self.house["two_a"], wall["hi"] - self.house["two_a"]), []
        edges = line.edges()
        for a, b in wall["solids"]:
            marks = sorted({a, b, *(v for v in (*edges, *zones) if a < v < b)})
            for p, q in itertools.pairwise(marks):
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
            for p, q in itertools.pairwise(marks):
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
        if not (wall["exterior"] or wall["shear"] or sh.carries_roof_load(house, wall)):
            return
        raised = house["about"]["foundation"] == "stem_wall"
        for a, b in sh.plate_pieces(house, wall):
            marks = [a, *(v for v in foot.edges() if a < v < b), b]
            ups = [foot.resultant(a, b)[0] / (b - a)]
            ups += [foot.at((p + q) / 2.0) for p, q in itertools.pairwise(marks) if q - p > pp.TOUCH]
            for up in ups:
                for psf in self.plate_pushes(wall):
                    loads = {"uplift_plf": up, "perpendicular_plf": psf * wall["h"] / 2.0}
                    ground = self.shear_plf(wall, -1 if raised else 0)
                    self.ask(f"sill anchor: {name}", shear_plf=ground, **loads)
                    if raised:
                        self.ask(f"floor rim to sill: {name}", shear_plf=ground, **loads)
                        self.ask(f"bottom plate to floor rim: {name}", shear_plf=self.shear_plf(wall, 0), **loads)

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
            couple = shear * (wall["h"] + sh.floor_over(self.house, wall, lo, hi)) / arm
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
