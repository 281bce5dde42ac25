"""The connections of a house: family, package line, how many, how long, how large; and their greatest demands."""

from __future__ import annotations

import math
from typing import Any

import plain_case as pc
import plain_plan as pp
import plain_shapes as sh
from plain_walls import Trace

Thing = dict[str, Any]
INFINITE = math.inf
# rank limits are the tool's own choice of package lines, at its reference hazards (project choice)
REFERENCE_Q, REFERENCE_GCPI, REFERENCE_SDS, REFERENCE_CS = 26.0, 0.18, 0.5, 0.1
PACK = ((700.0, "light"), (INFINITE, "heavy"))
HOLD_DOWN = ((1000.0, "light"), (2200.0, "medium"), (3800.0, "heavy"), (INFINITE, "very heavy"))
SHEAR_WALL = ((230.0, "usual"), (340.0, "hard-worked"), (INFINITE, "hardest-worked"))
DIAPHRAGM = ((120.0, "light"), (220.0, "medium"), (INFINITE, "heavy"))
ROOF_RANK = {"1": "field", "2": "edge", "3": "corner"}


def reference_lot(house: Thing) -> pc.Lot:
    q, cs = REFERENCE_Q, REFERENCE_CS
    forces = tuple(cs * w for w in house["mass"]["weights"])
    return pc.Lot(q, q * REFERENCE_GCPI, q, q * REFERENCE_GCPI, REFERENCE_SDS, 0.0, cs, forces, forces)


def rank_of(value: float, ranks: tuple[tuple[float, str], ...]) -> str:
    return next(name for limit, name in ranks if value <= limit)


def greatest(house: Thing, lot: pc.Lot) -> dict[str, float]:
    """Largest single component of every connection over all uplift cases, also where it is negative."""
    out: dict[str, float] = {}
    for case in pc.cases(True, lot):
        for name, loads in Trace(house, lot, case).run():
            if name.startswith("end post: "):
                continue
            top = max(loads.values())
            if top > out.get(name, -INFINITE):
                out[name] = top
    return out


def catalogue(house: Thing) -> dict[str, Thing]:
    """Every connection of a house by name."""
    usual = greatest(house, reference_lot(house))
    house["pack_rank"] = {n: rank_of(v, PACK) for n, v in usual.items() if n.startswith("stud packs: ")}
    house["splices"], spliced = {}, {}
    for i in range(len(house["storeys"])):
        spliced |= _splices(house, i, usual)
    out: dict[str, Thing] = {}

    def add(name: str, family: str, line: str, **how: Any) -> None:
        out[name] = {"family": family, "line": line, "measure": "each", "count": 0, "runs": [], "area": 0.0, **how}

    for roof in house["roofs"]:
        _roof(house, roof, add)
    for porch in house["porches"]:
        _porch(house, porch, add)
    for wall in house["walls"]:
        _wall(house, wall, add, usual)
    for name, (line, count) in spliced.items():
        add(name, "plate_splice", line, count=count)
    for i, storey in enumerate(house["storeys"]):
        _storey(house, i, storey, add, usual)
    for (storey, line), segments in house["segments"].items():
        axis = pp.wall_named(house, segments[0]["wall"])["axis"]
        name = f"wall sheathing: line {line}, storey {storey + 1}"
        walls = [
            w
            for w in house["walls"]
            if w["storey"] == storey and w["axis"] == axis and w["shear"] and w["line"] == line
        ]
        area = sum(
            (w["hi"] - w["lo"]) * w["h"] - sum((o["hi"] - o["lo"]) * (o["head"] - o["sill"]) for o in w["holes"])
            for w in walls
        )
        add(name, "wall_sheathing", f"wall sheathing, {rank_of(usual[name], SHEAR_WALL)}", measure="area", area=area)
    return out


def _roof(house: Thing, roof: Thing, add: Any) -> None:
    n, bay = roof["name"], roof["bay"]
    bay_in = {"truss_spacing_in": 12.0 * bay}
    for j, (at, wall) in enumerate(roof["bearings"]):
        gaps = [(a, b) for g, a, b in roof["girders"] if abs(g - at) <= pp.TOUCH]
        outer = j in (0, len(roof["bearings"]) - 1)
        for zone in ("end zone", "interior"):
            runs = [r for r in roof["runs"] if (r["zone"] == "interior") == (zone == "interior")]
            count = sum(1 for r in runs for p in r["at"] if not any(a < p < b for a, b in gaps))
            if count:
                where = zone if outer else "interior bearing"
                add(f"truss tie: {n} on {wall}, {zone}", "truss_tie", f"truss tie, {where}", count=count, **bay_in)
                add(f"plate to stud: {n} on {wall}, {zone}", "plate_to_stud", f"plate to stud, {where}", count=count)
        for a, b in gaps:
            name = f"{n} girder over {wall} {a:g}-{b:g}"
            hung = sum(1 for r in roof["runs"] for p in r["at"] if a < p < b)
            if hung:
                add(f"truss hanger: {name}", "truss_hanger", "truss hanger", count=hung)
            _girder(name, 2, add)
    for end, wall in roof["ends"].items():
        if roof["hip"]:
            jacks = max(1, math.ceil((roof["hi"] - roof["lo"]) / bay - 1e-9) - 1)
            add(f"truss tie: {n} hip jacks on {wall}", "truss_tie", "truss tie, hip jack", count=jacks, **bay_in)
            add(f"plate to stud: {n} hip jacks on {wall}", "plate_to_stud", "plate to stud, end zone", count=jacks)
            _girder(f"{n} hip girder, {end} end", len(roof["bearings"]), add)
        else:
            add(
                f"gable end tie: {n} on {wall}",
                "gable_end_tie",
                "gable end tie",
                measure="per_ft",
                runs=[roof["hi"] - roof["lo"]],
            )
    for overhang in (False, True):
        for zone, area in roof["zone_areas"][overhang].items():
            add(
                f"roof sheathing: {n} zone {zone}{' overhang' if overhang else ''}",
                "roof_sheathing",
                f"roof sheathing, {ROOF_RANK[zone[0]]}{' of overhang' if overhang else ''}",
                measure="area",
                area=area,
                framing_in=12.0 * bay,
            )


def _girder(name: str, count: int, add: Any) -> None:
    add(f"girder tie: {name}", "girder_tie", "girder tie", count=count)
    add(f"girder post: {name}", "header_end", "header end, top", count=count)


def _porch(house: Thing, porch: Thing, add: Any) -> None:
    name, wall = porch["name"], porch.get("attached_wall", "")
    count = porch["posts"] * (1 if wall else 2)
    add(f"post cap: {name}", "post_beam", "post cap", count=count)
    add(f"post base: {name}", "post_base", "post base", count=count)
    add(f"post footing: {name}", "post_footing", "", count=count)
    if wall:
        lo, hi = sh.porch_reach(porch, pp.wall_named(house, wall))
        add(f"porch ledger: {name} on {wall}", "ledger", "porch ledger", measure="per_ft", runs=[hi - lo])


def _wall(house: Thing, wall: Thing, add: Any, usual: dict[str, float]) -> None:
    name, slab = wall["name"], house["about"]["foundation"] == "slab"
    below = pp.walls_under(house, wall)
    for rank, least, most in (("narrow", 0.0, 4.5), ("medium", 4.5, 8.5), ("wide", 8.5, INFINITE)):
        holes = [o for o in wall["holes"] if least < o["hi"] - o["lo"] <= most]
        if holes:
            add(
                f"header ends: {name}, {rank} openings",
                "header_end",
                f"header end, top, {rank} opening",
                count=2 * len(holes),
            )
    for zone in ("end zone", "interior"):
        studs = sh.stud_count(house, wall, zone)
        if wall["exterior"] and studs:
            add(f"stud nailing: {name}, {zone}", "stud_nailing", "stud nailing", count=2 * studs)
        feet = sum(max(1, round(n / sh.foot_spacing(house, wall))) for n in sh.zone_lengths(house, wall, zone))
        if not below and feet:
            add(
                f"stud to bottom plate: {name}, {zone}",
                "stud_to_plate",
                f"stud to bottom plate, {zone}",
                count=feet,
                below="concrete" if slab else "wood",
            )
    if sh.is_gable_wall(house, wall):
        count = sh.stud_count(house, wall, "all")
        add(f"plate to stud: {name}", "plate_to_stud", "plate to stud, gable wall", count=count)
    for rank in ("light", "heavy"):
        packs = [n for n, r in house["pack_rank"].items() if n.startswith(f"stud packs: {name}, at ") and r == rank]
        if packs:
            add(f"stud packs: {name}, {rank}", "header_end", f"header end, bottom, {rank}", count=len(packs))
    lengths = [b - a for a, b in sh.plate_pieces(house, wall)]
    if below:
        add(
            f"storey strap: {name}",
            "storey_strap",
            "storey strap",
            measure="per_ft",
            runs=[b - a for a, b in wall["solids"]],
        )
        if wall["exterior"] or wall["shear"]:
            runs = [b - a for a, b in wall["plates"]]
            add(
                f"bottom plate to floor: {name}", "plate_to_floor", "bottom plate to floor", measure="per_ft", runs=runs
            )
    elif wall["exterior"] or wall["shear"] or sh.carries_roof_load(house, wall):
        line = "sill anchor" if wall["exterior"] else "sill anchor, interior wall"
        add(f"sill anchor: {name}", "sill_anchor", line, measure="per_ft", runs=lengths)
        if house["about"]["foundation"] == "stem_wall":
            for what in ("bottom plate to floor rim", "floor rim to sill"):
                add(f"{what}: {name}", "plate_to_floor", what, measure="per_ft", runs=lengths)
    where = "between storeys" if below else "at the foundation"
    for full, value in usual.items():
        if full.startswith(f"hold-down: {name}, "):
            label, rank = full.removeprefix("hold-down: "), rank_of(value, HOLD_DOWN)
            count = 1 if ", under the segment above" in full else 2
            # a cast-in strap does not reach over a raised floor
            stands_on = "wood" if below else "concrete" if slab else "raised floor"
            add(full, "hold_down", f"hold-down {where}, {rank}", count=count, below=stands_on)
            if not below:
                add(f"hold-down anchor: {label}", "hold_down_anchor", f"hold-down anchor, {rank}", count=count)
    for n, seg in enumerate(wall["segments"], 1):
        label = f"{name}, segment {n} ({seg['hi'] - seg['lo']:.1f} ft)"
        add(f"end post: {label}", "end_post", f"end post, storey {wall['storey'] + 1}", count=2)


def _splices(house: Thing, i: int, usual: dict[str, float]) -> dict[str, tuple[str, int]]:
    """Package line and count of each splice connection of a storey; ``house["splices"]`` says who loads which.

    A line that collects more than the chords pull, at the reference hazards, has splices of its own.
    """
    chords, head = f"plates as chords: storey {i}", f"plates as collector: storey {i}, line "
    if chords not in usual:
        return {}
    name = f"plate splice: storey {house['storeys'][i]['name']}"
    joins: dict[str, list[str]] = {chords: [name]}
    rest = [w for w in house["walls"] if w["storey"] == i and w["exterior"]]
    out: dict[str, tuple[str, int]] = {}
    for collector in [n for n in usual if n.startswith(head)]:
        if usual[collector] <= usual[chords]:
            joins[collector] = [name]
            continue
        line = collector.removeprefix(head)
        own, walls = f"{name}, line {line}", sh.walls_on(house, i, line)
        joins[chords].append(own)
        joins[collector] = [own]
        out[own] = ("plate splice, collector", sh.splices(house, walls))
        rest = [w for w in rest if w not in walls]
    out[name] = ("plate splice", sh.splices(house, rest))
    out = {point: (line, count) for point, (line, count) in out.items() if count}
    # plates without a splice are asked for nothing
    house["splices"] |= {member: [point for point in points if point in out] for member, points in joins.items()}
    return out


def _storey(house: Thing, i: int, storey: Thing, add: Any, usual: dict[str, float]) -> None:
    roofs = [r for r in house["roofs"] if r["storey"] == i]
    upper = i + 1 < len(house["storeys"])
    if roofs:
        name = f"roof diaphragm: storey {storey['name']}"
        area = sum(
            (r["a_hi"] - r["a_lo"])
            * (math.hypot(r["ridge"] - r["lo"], r["rise"]) + math.hypot(r["hi"] - r["ridge"], r["rise"]))
            for r in roofs
        )
        how = {"area": area, "framing_in": 12.0 * roofs[0]["bay"], "slender": sh.slenderness(house, i)}
        add(name, "roof_diaphragm", f"roof diaphragm, {rank_of(usual[name], DIAPHRAGM)}", measure="area", **how)
    if upper:
        area = pp.area_of(house["storeys"][i + 1])
        how = {"area": area, "slender": sh.slenderness(house, i)}
        add(f"floor diaphragm: storey {storey['name']}", "floor_diaphragm", "floor diaphragm", measure="area", **how)
    for axis in ("x", "y"):
        for line in dict.fromkeys(
            w["line"] for w in house["walls"] if w["storey"] == i and w["axis"] == axis and w["shear"]
        ):
            roofed = sh.roofed_runs(house, i, axis, line)
            if roofed:
                name = f"roof boundary: line {line}, storey {i + 1}"
                add(name, "roof_boundary", "roof boundary", measure="per_ft", runs=roofed)
            floored = sh.floored_runs(house, i, axis, line) if upper else []
            if floored:
                name = f"floor rim to plate: line {line}, storey {i + 1}"
                rank = rank_of(usual[name], DIAPHRAGM)
                add(name, "plate_to_floor", f"floor rim to plate below, {rank}", measure="per_ft", runs=floored)


def in_groups(house: Thing, name: str) -> list[str]:
    """Connections that a member belongs to: stud packs to the light or heavy ones of their wall, plates to splices."""
    if name.startswith("stud packs: "):
        return [f"{name.rsplit(', at ', 1)[0]}, {house['pack_rank'][name]}"]
    if name.startswith("plates as "):
        return house["splices"].get(name, [])
    return [name]


class Demands:
    """Greatest demand of every component of every connection on one lot, with all that acts together kept."""

    def __init__(self, house: Thing, points: dict[str, Thing], lot: pc.Lot) -> None:
        self.together: dict[str, list[tuple[str, dict[str, float]]]] = {}
        self.case_names: dict[str, list[str]] = {}
        for uplift in (True, False):
            for case in pc.cases(uplift, lot):
                for name, loads in Trace(house, lot, case).run():
                    if name.startswith("end post: ") == uplift:
                        continue
                    for group in in_groups(house, name):
                        self.together.setdefault(group, []).append((case.hazard, loads))
                        self.case_names.setdefault(group, []).append(case.name)
        missing = sorted(set(points) ^ set(self.together))
        if missing:
            raise ValueError(f"connections listed but not loaded, or loaded but not listed: {missing}")

    def components(self, name: str) -> list[str]:
        return list(self.together[name][0][1])

    def largest(self, name: str, component: str) -> tuple[float, str]:
        """Demand, at least 0, and the hazard of the case that gives it."""
        value, hazard = max((loads[component], hazard) for hazard, loads in self.together[name])
        return max(value, 0.0), hazard

    def in_case(self, name: str, component: str, case: str) -> float:
        """Largest demand over the members of a connection in one named case."""
        named = zip(self.together[name], self.case_names[name], strict=True)
        return max(loads[component] for (_, loads), own in named if own == case)

    def ratio(self, name: str, held: dict[str, dict[str, float]]) -> float:
        """Greatest sum of demand over capacity of what acts together; gravity is judged as wind is."""
        worst = 0.0
        for hazard, loads in self.together[name]:
            limits = held["seismic" if hazard == "seismic" else "wind"]
            total = 0.0
            for component, value in loads.items():
                if value > 0.0:
                    limit = limits.get(component, math.nan)
                    total += value / limit if limit > 0.0 else math.inf
            worst = max(worst, total)
        return worst


def loadable(house: Thing, points: dict[str, Thing], demands: Demands) -> set[str]:
    """Connections that some hazard could load: those loaded here, and those that any one hazard number alone loads.

    Vertical shaking lightens dead load; it is taken with it, at 4 g, the largest SDS that the tool's own tables admit.
    """
    out = {n for n in points if any(demands.largest(n, c)[0] > 0.0 for c in demands.components(n))}
    nothing = tuple(0.0 for _ in house["storeys"])
    alone: list[dict[str, Any]] = [
        {"q": 1.0},
        {"q_in": 1.0},
        {"qc": 1.0},
        {"qc_in": 1.0},
        {"rho_cs": 1.0},
    ]
    for i in range(len(nothing)):
        unit = tuple(1.0 if k == i else 0.0 for k in range(len(nothing)))
        alone += [{"storey_lb": unit}, {"diaphragm_lb": unit}]
    alone += [{"one": 1.0}, {"one": 1.0, "sds": 4.0}]
    zero = {"q": 0.0, "q_in": 0.0, "qc": 0.0, "qc_in": 0.0, "sds": 0.0, "snow": 0.0, "rho_cs": 0.0, "one": 0.0}
    for numbers in alone:
        if len(out) == len(points):
            break
        every = {**zero, "storey_lb": nothing, "diaphragm_lb": nothing, **numbers}
        lot = pc.Lot(**every, whole_tension=True)
        hazards = ("wind",) if set(numbers) & {"q", "q_in", "qc", "qc_in"} else ("seismic",)
        hazards = ("wind", "seismic") if "one" in numbers else hazards
        for case in pc.cases(True, lot):
            if case.hazard not in hazards:
                continue
            for name, loads in Trace(house, lot, case).run():
                if max(loads.values()) > 0.0:
                    out.update(in_groups(house, name))
    return out & set(points)
