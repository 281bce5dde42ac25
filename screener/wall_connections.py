"""Walls from the top down: studs, headers, straps across floors, sills; and the handing of loads to the wall below."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from screener import components_pressure as cladding
from screener.house_loads import HouseLoads, WallLoads
from screener.line_loads import SAME_FT, Effect, LineLoad
from screener.plans import TOUCH_FT, Span, WallLine, wall_below, walls_below
from screener.points import Member
from screener.shear_walls import hand_down_couples
from screener.standards import asce7_ch30_components as components

OPENING_RANKS = ((4.5, "narrow"), (8.5, "medium"), (math.inf, "wide"))
"""Opening widths (ft) whose header ends share a package line: doors and windows, patio doors, garage doors."""

PACK_RANKS = ((700.0, "light"), (math.inf, "heavy"))
"""Uplift (lb) at the reference hazards that parts stud packs into two package lines."""


def wall_connections(house: HouseLoads, wall: WallLine) -> None:
    loads = house.loads[wall.name]
    gaps = [(o.lo, o.hi) for o in wall.openings]
    psf_least, psf_greatest = house.variant.weights["exterior_wall" if wall.exterior else "interior_wall"]
    weight = house.frame.gravity(dead_least=-psf_least, dead_greatest=-psf_greatest)
    _floor_on(house, wall, loads.top)
    over = LineLoad(house.frame.zero(), list(loads.top.pieces), list(loads.top.points))
    for o in wall.openings:
        over.spread(o.lo, o.hi, weight * (wall.height_ft - o.head_ft))
    loads.foot = over.levered(gaps)
    for solid in wall.solids():
        loads.foot.spread(solid.lo, solid.hi, weight * wall.height_ft)
    for o in wall.openings:
        loads.foot.spread(o.lo, o.hi, weight * o.sill_ft)
    house.enter(f"wall {wall.name}", loads.foot.total() - loads.top.total())
    _header_points(house, wall, over)
    _studs(house, wall, loads)
    hand_down_couples(house, wall, loads, gaps)
    below = wall_below(house.variant, wall)
    if below is None:
        _foundation(house, wall, loads)
    else:
        _plate_on_floor(house, wall)
        _onto(house, wall, loads)


def _floor_on(house: HouseLoads, wall: WallLine, top: LineLoad) -> None:
    if not wall.floor_tributary_ft or wall.storey + 1 >= len(house.variant.levels):
        return
    least, greatest = house.variant.weights["floor"]
    per_sqft = house.frame.gravity(
        dead_least=-least, dead_greatest=-greatest, floor_live=-house.variant.plan.plan.floor_live_psf
    )
    top.spread(wall.lo, wall.hi, per_sqft * wall.floor_tributary_ft)
    house.enter(f"floor on {wall.name}", per_sqft * (wall.floor_tributary_ft * wall.length))


def _header_points(house: HouseLoads, wall: WallLine, over: LineLoad) -> None:
    """Header ends of a wall's openings, a group for each class of width: a garage door must not size every window."""
    for limit, rank in OPENING_RANKS:
        least = max((other for other, _ in OPENING_RANKS if other < limit), default=0.0)
        openings = [o for o in wall.openings if least < o.length <= limit]
        if not openings:
            continue
        members = []
        for o in openings:
            area = float(components.effective_wind_area_sqft(wall.height_ft, o.length / 2.0))
            tributary = o.length / 2.0 * wall.height_ft / 2.0
            for uplift in over.to_ends(o.lo, o.hi, ends=False):
                for push in _header_push(house, wall, area):
                    members.append(Member({"uplift_lb": uplift, "perpendicular_lb": push * tributary}, o.name))
        house.add(
            f"header ends: {wall.name}, {rank} openings",
            "header_end",
            members,
            ("uplift_lb", "perpendicular_lb"),
            place=f"header ends to their studs, {rank} openings of wall {wall.name}",
            schedule=f"header end, top, {rank} opening",
            drop="walls",
            measure="each",
            count=2 * len(openings),
        )


def _header_push(house: HouseLoads, wall: WallLine, area: float) -> list[Effect]:
    if not wall.exterior:
        return [house.frame.zero()]
    wind = cladding.wall_pressure(house.frame, "4", area, house.roof_angle)
    inertia = cladding.wall_inertia(house.frame, house.variant.weights["exterior_wall"][1], 0.0)
    return [*(wind + e for e in inertia), cladding.least_pressure(house.frame)]


def _studs(house: HouseLoads, wall: WallLine, loads: WallLoads) -> None:
    """Ends of ordinary studs (out of plane), studs of gable walls at the plate, and every stud at the foot."""
    stud = house.variant.plan.plan.stud_spacing_in / 12.0
    if wall.exterior:
        for zone in ("end zone", "interior"):
            count = _stud_count(house, wall, zone)
            if count:
                house.add(
                    f"stud nailing: {wall.name}, {zone}",
                    "stud_nailing",
                    [
                        Member({"perpendicular_lb": stud * wall.height_ft / 2.0 * p})
                        for p in house.out_of_plane(wall, zone, stud)
                    ],
                    ("perpendicular_lb",),
                    place=f"each stud of wall {wall.name} to its plates, top and bottom, {zone}",
                    schedule="stud nailing",
                    drop="walls",
                    measure="each",
                    count=2 * count,
                )
    if wall.name not in house.truss_spacing and loads.top.pieces and _carries_roof(house, wall):
        _gable_studs(house, wall, loads, stud)
    below = wall_below(house.variant, wall)
    if below is None:
        _stud_feet(house, wall, loads, stud)
    else:
        _storey_straps(house, wall, loads)
    _packs(house, wall, loads, below is not None)


def _carries_roof(house: HouseLoads, wall: WallLine) -> bool:
    return any(r.storey == wall.storey and wall.name in r.end_walls for r in house.variant.roofs)


def _gable_studs(house: HouseLoads, wall: WallLine, loads: WallLoads, stud: float) -> None:
    house.add(
        f"plate to stud: {wall.name}",
        "plate_to_stud",
        [Member({"uplift_lb": stud * e}) for _, e in _densities(house, wall, loads.top)],
        ("uplift_lb",),
        place=f"top plate to each stud of gable wall {wall.name}",
        schedule="plate to stud, gable wall",
        drop="walls",
        measure="each",
        count=_stud_count(house, wall, "all"),
    )


def _stud_feet(house: HouseLoads, wall: WallLine, loads: WallLoads, stud: float) -> None:
    spacing = (
        house.truss_spacing.get(wall.name, stud)
        if wall.storey == len(house.variant.levels) - 1 or _roof_lands(house, wall)
        else stud
    )
    for zone in ("end zone", "interior"):
        places = [(s, e) for s, e in _densities(house, wall, loads.foot) if _zone_at(house, wall, s) == zone]
        count = sum(max(1, round(length / spacing)) for length in _zone_lengths(house, wall, zone))
        if not places or not count:
            continue
        house.add(
            f"stud to bottom plate: {wall.name}, {zone}",
            "stud_to_plate",
            [Member({"uplift_lb": spacing * e}) for _, e in places],
            ("uplift_lb",),
            place=f"studs of wall {wall.name} to the bottom plate, {zone}",
            schedule=f"stud to bottom plate, {zone}",
            drop="walls",
            measure="each",
            count=count,
            facts={
                "below": "concrete" if house.variant.plan.plan.foundation == "slab" else "wood",
                "plate_thickness_in": house.variant.plan.plan.sill_thickness_in,
            },
        )


def _roof_lands(house: HouseLoads, wall: WallLine) -> bool:
    return any(r.storey == wall.storey and any(n == wall.name for _, n in r.bearings) for r in house.variant.roofs)


def _storey_straps(house: HouseLoads, wall: WallLine, loads: WallLoads) -> None:
    members = [Member({"uplift_plf": e}) for _, e in _densities(house, wall, loads.foot)]
    house.add(
        f"storey strap: {wall.name}",
        "storey_strap",
        members,
        ("uplift_plf",),
        place=f"studs of wall {wall.name} to the studs below, across the floor",
        schedule="storey strap",
        drop="floor",
        measure="per_ft",
        runs_ft=tuple(s.length for s in wall.solids()),
    )


def _packs(house: HouseLoads, wall: WallLine, loads: WallLoads, framed_below: bool) -> None:
    """Stud packs at the foot: beside openings, under girders and under what stands above."""
    places: dict[float, Effect] = {}
    for s, e in loads.foot.points:
        key = next((k for k in places if abs(k - s) < 0.02), s)
        places[key] = places.get(key, house.frame.zero()) + e
    if not places:
        return
    what = "to the studs below" if framed_below else "to the bottom plate"
    groups: dict[str, list[Member]] = {}
    for s, e in sorted(places.items(), key=lambda item: item[0]):
        member = Member({"uplift_lb": e}, f"at {s:.2f} ft")
        groups.setdefault(house.rank("uplift_lb", [member], PACK_RANKS), []).append(member)
    for rank, members in groups.items():
        house.add(
            f"stud packs: {wall.name}, {rank}",
            "header_end",
            members,
            ("uplift_lb", "perpendicular_lb"),
            place=f"studs beside openings and under girders of wall {wall.name} {what}, {rank} uplift",
            schedule=f"header end, bottom, {rank}",
            drop="floor" if framed_below else "walls",
            measure="each",
            count=len(members),
        )


def _plate_on_floor(house: HouseLoads, wall: WallLine) -> None:
    """Bottom plate of an upper wall to the floor it stands on: shear of its line and push; straps take its uplift."""
    if not (wall.exterior or wall.shear):
        return
    shear = _line_shear_plf(house, wall, wall.storey)
    members = [
        Member({"shear_plf": shear, "perpendicular_plf": push * (wall.height_ft / 2.0)})
        for push in house.push_beside_shear(wall)
    ]
    house.add(
        f"bottom plate to floor: {wall.name}",
        "plate_to_floor",
        members,
        ("shear_plf", "uplift_plf", "perpendicular_plf"),
        place=f"bottom plate of wall {wall.name} to the floor it stands on",
        schedule="bottom plate to floor",
        drop="floor",
        measure="per_ft",
        runs_ft=[s.length for s in wall.solids(doors_only=True)],
        facts={"below": "wood"},
    )


def _onto(house: HouseLoads, wall: WallLine, loads: WallLoads) -> None:
    """The wall's foot loads stand on the walls below at the same place; what overhangs goes to the nearest end."""
    below = walls_below(house.variant, wall)

    def under(s: float) -> tuple[WallLine, float]:
        nearest = min(below, key=lambda b: (max(b.lo - s, s - b.hi, 0.0), b.name))
        return nearest, min(max(s, nearest.lo), nearest.hi)

    cuts = sorted({x for b in below for x in (b.lo, b.hi)})
    for a, b, ea, eb in loads.foot.pieces:
        piece = LineLoad(house.frame.zero(), [(a, b, ea, eb)])
        marks = [a, *(c for c in cuts if a < c < b), b]
        for lo, hi in itertools.pairwise(marks):
            target, place = under(0.5 * (lo + hi))
            top = house.loads[target.name].top
            if target.lo - SAME_FT <= lo and hi <= target.hi + SAME_FT:
                top.add(piece.part(lo, hi))
            else:
                top.point(place, piece.within(lo, hi))
    for source, into in ((loads.foot.points, "top"), (loads.foot_couples.points, "couples")):
        for s, e in source:
            target, place = under(s)
            getattr(house.loads[target.name], into).point(place, e)
    for other in below:
        if abs(wall.at - other.at) > TOUCH_FT:
            off = f"wall {wall.name} stands {abs(wall.at - other.at):.1f} ft off wall {other.name}"
            house.scope.append(("IRREG_V", off))


def _foundation(house: HouseLoads, wall: WallLine, loads: WallLoads) -> None:
    house.books.arrived[f"foot of {wall.name}"] = loads.foot.total()
    lifted = bool((loads.foot.total()[: len(house.frame.wind)] > 0.0).any())
    if not (wall.exterior or wall.shear or lifted):
        return
    runs, members = [], []
    raised = house.variant.plan.plan.foundation == "stem_wall"
    shear = _line_shear_plf(house, wall, -1 if raised else 0)
    for piece in _plate_pieces(house, wall):
        runs.append(piece.length)
        label = f"{piece.lo:.1f}-{piece.hi:.1f} ft"
        # a perforated wall pulls its plate up between the ends by its unit shear (SDPWS 2015 4.3.6.4.2.1, from memory)
        between = shear if wall.name in house.perforated else 0.0
        for uplift in (one + between for one in _piece_uplifts(loads, piece)):
            for push in house.push_beside_shear(wall):
                effects = {"shear_plf": shear, "uplift_plf": uplift, "perpendicular_plf": push * (wall.height_ft / 2.0)}
                members.append(Member(effects, label))
    names = ("shear_plf", "uplift_plf", "perpendicular_plf")
    house.add(
        f"sill anchor: {wall.name}",
        "sill_anchor",
        members,
        names,
        place=f"sill of wall {wall.name} to the foundation",
        schedule="sill anchor" if wall.exterior else "sill anchor, interior wall",
        drop="foundation",
        measure="per_ft",
        runs_ft=runs,
        facts={"below": "concrete"},
    )
    if raised:
        floor_shear = _line_shear_plf(house, wall, 0)
        upper = [Member({**m.effects, "shear_plf": floor_shear}, m.label) for m in members]
        for name, mem in (("bottom plate to floor rim", upper), ("floor rim to sill", members)):
            house.add(
                f"{name}: {wall.name}",
                "plate_to_floor",
                mem,
                names,
                place=f"{name}, wall {wall.name}",
                schedule=name,
                drop="floor",
                measure="per_ft",
                runs_ft=runs,
                facts={"below": "wood"},
            )


def _plate_pieces(house: HouseLoads, wall: WallLine) -> list[Span]:
    """Bottom-plate pieces: cut at doors, none longer than the plan's longest piece."""
    longest = house.variant.plan.plan.plate_piece_ft
    out = []
    for run in wall.solids(doors_only=True):
        n = max(1, math.ceil(run.length / longest - 1e-9))
        cuts = [min(run.length, longest * i) for i in range(n)] + [run.length]
        # plates are laid from the end the wall is drawn from, so that a mirrored house has mirrored pieces
        cuts = [run.lo + c if wall.drawn_from == "low" else run.hi - c for c in cuts]
        cuts.sort()
        out += [Span(a, b) for a, b in itertools.pairwise(cuts) if b - a > TOUCH_FT]
    return out


def _piece_uplifts(loads: WallLoads, piece: Span) -> list[Effect]:
    """Uplift per foot of a plate piece: its mean, stud packs included, and each stretch of spread load on it."""
    marks = [piece.lo, *(b for b in loads.foot.breaks() if piece.lo < b < piece.hi), piece.hi]
    stretches = [loads.foot.density_at(0.5 * (a + b)) for a, b in itertools.pairwise(marks) if b - a > TOUCH_FT]
    return [loads.foot.within(piece.lo, piece.hi) / piece.length, *stretches]


def _line_shear_plf(house: HouseLoads, wall: WallLine, storey: int) -> Effect:
    """Force of the wall's line at a level over the length its segments share it on, the same as in racking."""
    if not wall.shear:
        return house.frame.zero()
    segments = house.segments.get((wall.storey, wall.line), [])
    total = sum(s.share for s in segments) or wall.length
    return house.frame.sense_along(wall.axis) * house.lateral[storey, wall.axis].line_force[wall.line] / total


def _densities(house: HouseLoads, wall: WallLine, load: LineLoad) -> list[tuple[float, Effect]]:
    """Distributed load per foot on each stretch of solid wall between changes: (middle, value)."""
    out = []
    for solid in wall.solids():
        zones = (wall.lo + house.ctx.end_zone_ft, wall.hi - house.ctx.end_zone_ft)
        marks = sorted({solid.lo, solid.hi, *(b for b in (*load.breaks(), *zones) if solid.lo < b < solid.hi)})
        for a, b in itertools.pairwise(marks):
            if b - a > 10 * SAME_FT:
                out.append((0.5 * (a + b), load.density_at(0.5 * (a + b))))
    return out


def _zone_at(house: HouseLoads, wall: WallLine, s: float) -> str:
    near = min(s - wall.lo, wall.hi - s)
    return "end zone" if near < house.ctx.end_zone_ft else "interior"


def _zone_lengths(house: HouseLoads, wall: WallLine, zone: str) -> Iterator[float]:
    """Lengths of solid wall inside the zone ("all" takes the whole wall)."""
    inner = (wall.lo + house.ctx.end_zone_ft, wall.hi - house.ctx.end_zone_ft)
    for solid in wall.solids():
        middle = max(0.0, min(solid.hi, inner[1]) - max(solid.lo, inner[0]))
        length = {"all": solid.length, "interior": middle, "end zone": solid.length - middle}[zone]
        if length > TOUCH_FT:
            yield length


def _stud_count(house: HouseLoads, wall: WallLine, zone: str) -> int:
    stud = house.variant.plan.plan.stud_spacing_in / 12.0
    return sum(math.floor(length / stud + 1e-9) + 1 for length in _zone_lengths(house, wall, zone))
