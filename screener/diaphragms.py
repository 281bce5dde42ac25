"""Roof and floor diaphragms, their chords, and their boundaries along the shear lines."""

from __future__ import annotations

import math

import numpy as np

from screener.house_loads import HouseLoads
from screener.lateral_loads import other
from screener.line_loads import LineLoad
from screener.load_states import Axis
from screener.points import Member
from screener.roof_loads import slope_angle_deg


def diaphragm_connections(house: HouseLoads) -> None:
    for storey, level in enumerate(house.variant.levels):
        roofs = [r for r in house.variant.roofs if r.storey == storey]
        shear, chord = [], []
        axes: tuple[Axis, ...] = ("x", "y")
        for axis in axes:
            s, c = _diaphragm_members(house, storey, axis)
            shear += s
            chord += c
        if roofs:
            slope = sum(r.length * r.span / math.cos(math.radians(slope_angle_deg(r, "low"))) for r in roofs)
            house.add(
                f"roof diaphragm: storey {level.name}",
                "roof_diaphragm",
                shear,
                ("shear_plf",),
                place=f"roof sheathing over storey {level.name} as a diaphragm",
                schedule="roof diaphragm",
                drop="roof",
                measure="area",
                area_sqft=slope,
                facts={"framing_spacing_in": 12.0 * roofs[0].spacing_ft},
            )
        if storey + 1 < len(house.variant.levels):
            house.add(
                f"floor diaphragm: storey {level.name}",
                "floor_diaphragm",
                shear,
                ("shear_plf",),
                place=f"floor sheathing over storey {level.name} as a diaphragm",
                schedule="floor diaphragm",
                drop="floor",
                measure="area",
                area_sqft=house.variant.levels[storey + 1].area_sqft,
            )
        _chords(house, storey, chord)
        _boundaries(house, storey, bool(roofs))


def _diaphragm_members(house: HouseLoads, storey: int, axis: Axis) -> tuple[list[Member], list[Member]]:
    """Unit shear at both sides of each line and at changes of depth; chord force at tenths of each span."""
    level = house.lateral[storey, axis]
    t = other(axis)
    supports = [line.at for line in level.lines]
    outline = house.variant.levels[storey]
    load = LineLoad(
        house.frame.zero(),
        level.diaphragm.pieces + level.from_above.pieces,
        level.diaphragm.points + level.from_above.points,
    )
    shear, chord = [], []
    for k in range(len(supports) - 1):
        a, b = supports[k], supports[k + 1]
        corners = {x for r in outline.areas for x in (r[0 if t == "x" else 1], r[2 if t == "x" else 3]) if a < x < b}
        stations = [a + 1e-3, b - 1e-3, *(x + d for x in sorted(corners) for d in (-1e-3, 1e-3))]
        for s in stations:
            depth = outline.depth_at(t, s)
            if depth > 1.0:
                v, _ = load.shear_and_moment(supports, k, s)
                for sign in (1.0, -1.0):
                    shear.append(Member({"shear_plf": sign * house.frame.sense * v / depth}, f"at {t} {s:.1f} ft"))
        for s in np.linspace(a, b, 11)[1:-1]:
            depth = outline.depth_at(t, float(s))
            if depth > 1.0:
                _, m = load.shear_and_moment(supports, k, float(s))
                chord.append(Member({"tension_lb": house.frame.sense * m / depth}, f"at {t} {s:.1f} ft"))
    return shear, chord


def _chords(house: HouseLoads, storey: int, members: list[Member]) -> None:
    longest = house.variant.plan.plan.plate_piece_ft
    splices = sum(
        max(0, math.ceil(w.length / longest - 1e-9) - 1) for w in house.variant.walls_of(storey) if w.exterior
    )
    if splices and members:
        house.add(
            f"plate splice: storey {house.variant.levels[storey].name}",
            "plate_splice",
            members,
            ("tension_lb",),
            place=f"splices of the top plates as chords, storey {house.variant.levels[storey].name}",
            schedule="plate splice",
            drop="walls",
            measure="each",
            count=splices,
        )


def _boundaries(house: HouseLoads, storey: int, roofs: bool) -> None:
    axes: tuple[Axis, ...] = ("x", "y")
    for axis in axes:
        level = house.lateral[storey, axis]
        for line in level.lines:
            walls = [w for w in house.variant.walls_of(storey, axis) if w.shear and w.line == line.name]
            own = house.frame.sense * level.storey_force[line.name] / line.plate_ft
            if roofs and house.variant.plan.plan.roof_boundary_by == "blocking":
                house.add(
                    f"roof boundary: line {line.name}, storey {storey + 1}",
                    "roof_boundary",
                    [Member({"shear_plf": own})],
                    ("shear_plf",),
                    place=f"blocking or rim of the roof to the plate along line {line.name}",
                    schedule="roof boundary",
                    drop="roof",
                    measure="per_ft",
                    runs_ft=[w.length for w in walls],
                )
            if storey + 1 < len(house.variant.levels):
                whole = house.frame.sense * level.line_force[line.name] / line.plate_ft
                house.add(
                    f"floor rim to plate: line {line.name}, storey {storey + 1}",
                    "plate_to_floor",
                    [Member({"shear_plf": whole})],
                    ("shear_plf", "uplift_plf", "perpendicular_plf"),
                    place=f"rim of the floor above to the top plate along line {line.name}",
                    schedule="floor rim to plate below",
                    drop="floor",
                    measure="per_ft",
                    runs_ft=[w.length for w in walls],
                    facts={"below": "wood"},
                )
