"""Connections of the roof: sheathing, trusses on their walls, girders, gable and hip ends."""

from __future__ import annotations

import math

from screener import components_pressure as cladding
from screener import truss_components
from screener.derivation import Recorder, Step
from screener.house_loads import HouseLoads
from screener.line_loads import Effect, LineLoad
from screener.plans import TOUCH_FT, RoofPart, WallLine
from screener.points import Member
from screener.roof_loads import (
    TrussRun,
    faces,
    gable_end_load,
    gable_end_pressure,
    hip_end,
    hip_end_pressure,
    strip_pressure,
    strip_reactions,
    truss_runs,
    wall_rows,
)
from screener.standards import asce7_ch30_components as components
from screener.wind_pressures import Side, Stretch, slope_angle_deg

Strips = dict[Stretch, list[Effect]]


def roof_connections(house: HouseLoads) -> None:
    for part in house.variant.roofs:
        sides: tuple[Side, ...] = ("low", "high")
        stretches = [run.stretch for run in truss_runs(house.ctx, part)]
        stretches += [house.ctx.pressures.end_stretch(house.ctx, part, side) for side in sides]
        strips = {stretch: strip_reactions(house.ctx, part, stretch) for stretch in dict.fromkeys(stretches)}
        _bearings(house, part, strips)
        for i, side in enumerate(sides):
            if part.shape == "gable":
                _gable_end(house, part, side, part.end_walls[i])
            else:
                _hip_end(house, part, side, part.end_walls[i], strips)
        _sheathing(house, part)


def _bearings(house: HouseLoads, part: RoofPart, strips: Strips) -> None:
    runs = truss_runs(house.ctx, part)
    s = part.spacing_ft
    for run in runs:
        house.enter(f"roof {part.name}", (run.hi - run.lo) * strip_pressure(house.ctx, part, run.stretch))
    for j, (at, wall_name) in enumerate(part.bearings):
        wall = house.variant.wall(wall_name)
        outer = j in (0, len(part.bearings) - 1)
        house.truss_spacing[wall_name] = s
        gaps = [(lo, hi) for g_at, lo, hi in part.girders if abs(g_at - at) <= TOUCH_FT]
        whole = LineLoad(house.frame.zero())
        for run in runs:
            whole.spread(run.lo, run.hi, strips[run.stretch][j])
        held = whole.levered(gaps)
        house.loads[wall_name].top.add(held)
        _tie_points(house, part, j, wall, outer, runs, strips, gaps)
        _girder_points(house, part, wall, whole, gaps, runs, strips, j)


def _tie_points(
    house: HouseLoads,
    part: RoofPart,
    j: int,
    wall: WallLine,
    outer: bool,
    runs: list[TrussRun],
    strips: Strips,
    gaps: list[tuple[float, float]],
) -> None:
    s = part.spacing_ft
    for zone in ("end zone", "interior"):
        chosen = [r for r in runs if house.zone_name(r.zone) == zone]
        count = sum(1 for r in chosen for p in r.at if not any(lo < p < hi for lo, hi in gaps))
        if not count:
            continue
        members = [
            Member(
                {
                    "uplift_lb": s * strips[r.stretch][j],
                    "perpendicular_lb": push,
                    "parallel_lb": _along_plate(house, part, wall, s),
                },
                r.stretch.label,
            )
            for r in chosen
            for push in _plate_pushes(house, part, wall, r.stretch, outer, s)
        ]
        members += _by_components(house, part, j, chosen)
        where = "interior bearing" if not outer else zone
        house.add(
            f"truss tie: {part.name} on {wall.name}, {zone}",
            "truss_tie",
            members,
            ("uplift_lb", "perpendicular_lb", "parallel_lb"),
            place=f"each truss of roof {part.name} where it bears on wall {wall.name}, {zone}",
            schedule=f"truss tie, {where}",
            drop="roof",
            measure="each",
            count=count,
            facts={"truss_spacing_in": 12.0 * s},
            steps=_strip_steps(house, part, j, zone),
        )
        _plate_stud(house, part, j, wall, outer, zone, chosen, strips, count)


def _by_components(house: HouseLoads, part: RoofPart, j: int, runs: list[TrussRun]) -> list[Member]:
    """The same uplift by Chapter 30, where the project asks for the larger of both; it stands by itself in its case."""
    if house.roof_ties == "main":
        return []
    zones = list(dict.fromkeys(run.zone for run in runs))
    uplift = [part.spacing_ft * truss_components.truss_uplift(house.ctx, part, zone)[j] for zone in zones]
    return [Member({"uplift_lb": e}, truss_components.LABEL) for e in uplift]


def _plate_stud(
    house: HouseLoads,
    part: RoofPart,
    j: int,
    wall: WallLine,
    outer: bool,
    zone: str,
    runs: list[TrussRun],
    strips: Strips,
    count: int,
) -> None:
    """The stud under each truss takes the truss's uplift; the push of the wall is its end nails' (stud nailing)."""
    members = [Member({"uplift_lb": part.spacing_ft * strips[r.stretch][j]}) for r in runs]
    members += _by_components(house, part, j, runs)
    house.add(
        f"plate to stud: {part.name} on {wall.name}, {zone}",
        "plate_to_stud",
        members,
        ("uplift_lb",),
        place=f"top plate to the stud under each truss of roof {part.name}, wall {wall.name}, {zone}",
        schedule=f"plate to stud, {zone if outer else 'interior bearing'}",
        drop="walls",
        measure="each",
        count=count,
        facts={"below": "plate"},
        steps=_strip_steps(house, part, j, zone),
    )


def _plate_pushes(
    house: HouseLoads, part: RoofPart, wall: WallLine, stretch: Stretch, outer: bool, width_ft: float
) -> list[Effect]:
    """Horizontal push of the wall's upper half on one tie, lb, both ways: MWFRS wall zones with internal pressure, and
    the two forms of seismic wall anchorage (12.11.2)."""
    if not outer or not wall.exterior:
        return [house.frame.zero()]
    wind = house.frame.wind_effect(wall_rows(house.ctx, part, faces(part, wall), stretch))
    inertia = cladding.wall_inertia(house.frame, house.variant.weights["exterior_wall"][1], house.longest_ft)
    return [(sign * wind + shaken) * (width_ft * wall.height_ft / 2.0) for sign in (1.0, -1.0) for shaken in inertia]


def _along_plate(house: HouseLoads, part: RoofPart, wall: WallLine, width_ft: float) -> Effect:
    """Shear along the plate that a tie carries, lb, where the plan lets ties carry it."""
    if house.variant.plan.plan.roof_boundary_by != "ties":
        return house.frame.zero()
    return _boundary_plf(house, part.storey, wall) * width_ft


def _boundary_plf(house: HouseLoads, storey: int, wall: WallLine) -> Effect:
    """Shear per foot of plate where ties carry it: the line's roof force over its walls that have trusses on them."""
    if not wall.shear:
        return house.frame.zero()
    bearing = {name for r in house.variant.roofs if r.storey == storey for _, name in r.bearings}
    bearing |= {n for r in house.variant.roofs if r.storey == storey and r.shape == "hip" for n in r.end_walls}
    walls = [w for w in house.variant.walls_of(storey, wall.axis) if w.shear and w.line == wall.line]
    plate_ft = sum(w.length for w in walls if w.name in bearing)
    return house.frame.sense_along(wall.axis) * house.lateral[storey, wall.axis].storey_force[wall.line] / plate_ft


def _strip_steps(house: HouseLoads, part: RoofPart, j: int, zone: str) -> list[Step]:
    rec = Recorder()
    rec.note(
        "span and bearings",
        "from the plan",
        {
            "span_ft": part.span,
            "bearing_at_ft": part.bearings[j][0],
            "overhang_ft": part.eave_overhang_ft,
            "spacing_ft": part.spacing_ft,
        },
        part.bearings[j][1],
    )
    rec.note("roof angle", "atan(pitch/12)", {"pitch_in_12": part.pitch_in_12}, slope_angle_deg(part, "low"), "deg")
    rec.note(
        "pressure coefficients",
        house.ctx.pressures.coefficient_note(zone),
        {},
        "as in the governing case",
        "",
        f"{house.frame.edition} {house.ctx.pressures.figure}",
    )
    rec.note(
        "reaction",
        "integral of p(u) N(u) du + moment of horizontal components / distance of outer bearings",
        {},
        "coefficients of the governing case",
        "",
        "statics: simple spans between bearings",
    )
    least, greatest = house.variant.weights["roof"]
    rec.note(
        "roof dead load on plan area, overhangs included",
        "least resists, greatest presses",
        {"least_psf": least, "greatest_psf": greatest},
        least,
        "psf",
        "plan file",
    )
    return rec.steps


def _girder_points(
    house: HouseLoads,
    part: RoofPart,
    wall: WallLine,
    whole: LineLoad,
    gaps: list[tuple[float, float]],
    runs: list[TrussRun],
    strips: Strips,
    j: int,
) -> None:
    s = part.spacing_ft
    for lo, hi in gaps:
        inside = [(r, p) for r in runs for p in r.at if lo < p < hi]
        if inside:
            stretches = dict.fromkeys(r.stretch for r, _ in inside)
            house.add(
                f"truss hanger: {part.name} girder over {wall.name} {lo:g}-{hi:g}",
                "truss_hanger",
                [Member({"uplift_lb": s * strips[stretch][j]}) for stretch in sorted(stretches, key=lambda k: k.zone)],
                ("uplift_lb",),
                place=f"trusses of roof {part.name} hung on the girder at {lo:g} to {hi:g} ft",
                schedule="truss hanger",
                drop="roof",
                measure="each",
                count=len(inside),
            )
        _girder_ends(
            house, f"{part.name} girder over {wall.name} {lo:g}-{hi:g}", wall, whole.to_ends(lo, hi, ends=False)
        )


def _girder_ends(house: HouseLoads, name: str, wall: WallLine, ends: tuple[Effect, ...]) -> None:
    house.add(
        f"girder tie: {name}",
        "girder_tie",
        [Member({"uplift_lb": e}) for e in ends],
        ("uplift_lb", "perpendicular_lb", "parallel_lb"),
        place=f"each end of {name} on its support",
        schedule="girder tie",
        drop="roof",
        measure="each",
        count=len(ends),
    )
    house.add(
        f"girder post: {name}",
        "header_end",
        [Member({"uplift_lb": e}) for e in ends],
        ("uplift_lb", "perpendicular_lb"),
        place=f"top plate to the studs under {name}",
        schedule="header end, top",
        drop="walls",
        measure="each",
        count=len(ends),
    )


def _gable_end(house: HouseLoads, part: RoofPart, side: Side, wall_name: str) -> None:
    wall = house.variant.wall(wall_name)
    load = gable_end_load(house.ctx, part, side)
    house.loads[wall_name].top.add(load)
    house.enter(f"roof {part.name}", gable_end_pressure(house.ctx, part, side))
    members = []
    for lo, hi, e, _ in load.pieces:
        for push in house.out_of_plane(wall, "end zone", 1.0):
            members.append(
                Member({"uplift_plf": e, "perpendicular_plf": push * (wall.height_ft / 2.0)}, f"{lo:g}-{hi:g} ft")
            )
    house.add(
        f"gable end tie: {part.name} on {wall_name}",
        "gable_end_tie",
        members,
        ("uplift_plf", "perpendicular_plf"),
        place=f"gable end truss of roof {part.name} to the plate of wall {wall_name}",
        schedule="gable end tie",
        drop="roof",
        measure="per_ft",
        runs_ft=(part.span,),
    )


def _hip_end(house: HouseLoads, part: RoofPart, side: Side, wall_name: str, strips: Strips) -> None:
    wall = house.variant.wall(wall_name)
    jacks = hip_end(house.ctx, part, side)
    s = part.spacing_ft
    top = LineLoad(house.frame.zero())
    top.spread(part.across_lo, part.across_hi, jacks.jack_at_wall)
    house.loads[wall_name].top.add(top)
    house.truss_spacing[wall_name] = s
    count = max(1, math.ceil(part.span / s - 1e-9) - 1)
    uplift = s * jacks.jack_at_wall
    stretch = house.ctx.pressures.end_stretch(house.ctx, part, side)
    by_components: list[Member] = []
    if house.roof_ties == "components":
        jack = s * truss_components.jack_uplift_at_wall(house.ctx, part)
        by_components = [Member({"uplift_lb": jack}, truss_components.LABEL)]
    house.add(
        f"truss tie: {part.name} hip jacks on {wall_name}",
        "truss_tie",
        [
            *by_components,
            *(
                Member(
                    {
                        "uplift_lb": uplift,
                        "perpendicular_lb": push,
                        "parallel_lb": _along_plate(house, part, wall, s),
                    }
                )
                for push in _plate_pushes(house, part, wall, stretch, True, s)
            ),
        ],
        ("uplift_lb", "perpendicular_lb", "parallel_lb"),
        place=f"each jack of the hip end of roof {part.name} on wall {wall_name}",
        schedule="truss tie, hip jack",
        drop="roof",
        measure="each",
        count=count,
        facts={"truss_spacing_in": 12.0 * s},
    )
    house.add(
        f"plate to stud: {part.name} hip jacks on {wall_name}",
        "plate_to_stud",
        [Member({"uplift_lb": uplift}), *by_components],
        ("uplift_lb",),
        place=f"top plate to the stud under each hip jack, wall {wall_name}",
        schedule="plate to stud, end zone",
        drop="walls",
        measure="each",
        count=count,
    )
    _hip_girder(house, part, side, jacks.jack_at_girder, strips[stretch])
    house.enter(f"roof {part.name}", hip_end_pressure(house.ctx, part, side))
    house.enter(f"roof {part.name}", s / 2.0 * strip_pressure(house.ctx, part, stretch))


def _hip_girder(house: HouseLoads, part: RoofPart, side: Side, jack: Effect, strip: list[Effect]) -> None:
    """The hip girder carries the jacks and half a truss bay, and hands both to the bearing walls at one place."""
    place = part.along_lo + part.hip_setback_ft if side == "low" else part.along_hi - part.hip_setback_ft
    across = LineLoad(house.frame.zero())
    across.spread(part.across_lo, part.across_hi, jack)
    supports = [b for b, _ in part.bearings]
    reactions = [r + strip[j] * part.spacing_ft / 2.0 for j, r in enumerate(across.reactions(supports))]
    for (_, wall_name), reaction in zip(part.bearings, reactions, strict=True):
        house.loads[wall_name].top.point(place, reaction)
    _girder_ends(
        house, f"{part.name} hip girder, {side} end", house.variant.wall(part.bearings[0][1]), tuple(reactions)
    )


def _sheathing(house: HouseLoads, part: RoofPart) -> None:
    """Suction on the sheathing's fasteners by zone; a fastener's effective area is taken as 10 sq ft (26.2)."""
    sides: tuple[Side, ...] = ("low", "high")
    angles = sorted({slope_angle_deg(part, side) for side in sides})
    angle = angles[0]  # zones are drawn at the flatter slope, coefficients are the worse of the two
    a = house.ctx.end_zone_ft / 2.0
    for portion, overhang in (("inside", False), ("overhang", True)):
        areas = components.roof_zone_areas_sqft(
            part.shape,
            part.length,
            part.span,
            a,
            angle,
            house.frame.edition,
            part.eave_overhang_ft,
            part.rake_overhang_ft,
            portion,
            house.variant.mean_roof_height_ft,
        )
        for zone, area in areas.items():
            if area <= 0.5:
                continue
            surface = "flat" if angle <= 7.0 else part.shape
            ratio = house.variant.mean_roof_height_ft / house.variant.least_dimension_ft
            gcp = min(
                float(components.gcp(surface, zone, "suction", one, 10.0, house.frame.edition, ratio, overhang))
                for one in angles
            )
            effect = cladding.suction_and_pressure(house.frame, gcp, 0.0)
            if overhang:  # top and underside together: no internal pressure
                effect[:, house.frame.column["q_components_gcpi_psf"]] = 0.0
            rank = {"1": "field", "2": "edge", "3": "corner"}[zone[0]]
            house.add(
                f"roof sheathing: {part.name} zone {zone}{' overhang' if overhang else ''}",
                "roof_sheathing",
                [Member({"suction_psf": effect})],
                ("suction_psf",),
                place=f"sheathing of roof {part.name}, zone {zone}{', overhang' if overhang else ''}",
                schedule=f"roof sheathing, {rank}{' of overhang' if overhang else ''}",
                drop="roof",
                measure="area",
                area_sqft=area,
                facts={"framing_spacing_in": 12.0 * part.spacing_ft},
            )
