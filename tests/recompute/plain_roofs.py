"""Roofs and porches in one load case: trusses, girders, gable and hip ends, sheathing, posts."""

from __future__ import annotations

import itertools
from typing import Any

import plain_case as pc
import plain_plan as pp
import plain_shapes as sh
import plain_tables as t
from plain_lines import Line
from plain_prepare import ZONES
from plain_sideways import Sideways

Thing = dict[str, Any]


class Roofs(Sideways):
    """What the roofs put on the walls and ask of their connections."""

    def strip_parts(self, roof: Thing, zone: str) -> list[tuple[str, float, float, float]]:
        """Stretches of a one-foot strip of roof: side, from, to, outward pressure."""
        lo, hi, ridge, o = roof["lo"], roof["hi"], roof["ridge"], roof["eave"]
        reach, out = pc.zone2_reach(self.house, roof), []
        if o > 0.0:
            out.append(("low", lo - o, lo, self.p.eave(roof, "low", zone)))
            out.append(("high", hi, hi + o, self.p.eave(roof, "high", zone)))
        low, high = sorted({lo, min(lo + reach, ridge), ridge}), sorted({ridge, max(hi - reach, ridge), hi})
        for side, cuts in (("low", low), ("high", high)):
            for a, b in itertools.pairwise(cuts):
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
                self.ask(f"roof sheathing: {roof['name']} zone {zone}{' overhang' if overhang else ''}", suction_psf=up)

    def porch(self, porch: Thing) -> None:
        x0, y0, x1, y1 = porch["rect"]
        wall = self.wall_of(porch)
        lo, hi = sh.porch_reach(porch, wall)
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
