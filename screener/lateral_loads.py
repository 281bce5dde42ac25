"""Horizontal forces: wind and inertia on each level, across flexible diaphragms, into the shear lines.

Wind along an axis loads the levels along the other axis; the walls parallel to the wind carry it. Each level's load is
a line load across the wind; shear lines are its supports (flexible diaphragm, simple spans; ASCE 7 12.3.1.1).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np

from screener.line_loads import Effect, LineLoad, Profile
from screener.plans import TOUCH_FT, PorchRoof, RoofPart, Variant
from screener.standards import asce7_ch27_open_roofs as open_roofs
from screener.wind_pressures import RoofContext, faces_slope, other
from screener.wind_states import Axis

PORCH_NET_CN = 1.3
"""Net coefficient on an open roof's fascia and slope seen from the side: wind 0.8, lee 0.5 (project choice)."""


@dataclass(frozen=True)
class ShearLine:
    """Walls of one storey that share a line: where it stands across the force and how long its plates are."""

    name: str
    storey: int
    axis: Axis
    at: float
    plate_ft: float


def shear_lines(variant: Variant, storey: int, axis: Axis) -> list[ShearLine]:
    """Shear lines of one storey parallel to ``axis``, in order of place (the length-weighted mean of their walls')."""
    walls: dict[str, list[tuple[float, float]]] = {}
    for w in variant.walls_of(storey, axis):
        if w.shear:
            walls.setdefault(w.line, []).append((w.at, w.length))
    lines = []
    for name, pieces in walls.items():
        length = sum(n for _, n in pieces)
        lines.append(ShearLine(name, storey, axis, sum(a * n for a, n in pieces) / length, length))
    return sorted(lines, key=lambda line: (line.at, line.name))


@dataclass
class LevelForces:
    """One level in one direction: its load across the force, its lines, and what each line then carries."""

    storey: int
    axis: Axis
    lines: list[ShearLine]
    own: LineLoad
    diaphragm: LineLoad
    from_above: LineLoad
    line_force: dict[str, Effect] = field(default_factory=dict)
    storey_force: dict[str, Effect] = field(default_factory=dict)


def lateral_forces(ctx: RoofContext, mass: SeismicMass) -> dict[tuple[int, Axis], LevelForces]:
    """Forces of every storey and axis, from the top down: what a line carries is its own level and all above.

    Keys are (storey, axis); storey -1 is the first framed floor of a raised house.
    """
    out: dict[tuple[int, Axis], LevelForces] = {}
    axes: tuple[Axis, ...] = ("x", "y")
    raised = ctx.variant.plan.plan.foundation == "stem_wall"
    for axis in axes:
        above: LevelForces | None = None
        for storey in range(len(ctx.variant.levels) - 1, -2 if raised else -1, -1):
            lines = shear_lines(ctx.variant, max(storey, 0), axis)
            wind = wind_load(ctx, storey, axis)
            own = LineLoad(
                wind.zero,
                wind.pieces + mass.inertia(ctx, storey, axis, "storey").pieces,
                wind.points + mass.inertia(ctx, storey, axis, "storey").points,
            )
            shaken = mass.inertia(ctx, storey, axis, "diaphragm")
            level = LevelForces(
                storey,
                axis,
                lines,
                own,
                LineLoad(wind.zero, wind.pieces + shaken.pieces, wind.points + shaken.points),
                LineLoad(wind.zero),
            )
            _share_out(ctx, level, above)
            out[storey, axis] = level
            above = level
    return out


def _share_out(ctx: RoofContext, level: LevelForces, above: LevelForces | None) -> None:
    supports = [line.at for line in level.lines]
    for line, force in zip(level.lines, level.own.reactions(supports), strict=True):
        level.storey_force[line.name] = force
        level.line_force[line.name] = force.copy()
    if above is None:
        return
    for line in above.lines:
        force = above.line_force[line.name]
        if line.name in level.line_force:
            level.line_force[line.name] += force  # the same line below: the wall stands on it
        else:
            level.from_above.point(line.at, force)  # carried across the floor to the lines that exist below
    for line, force in zip(level.lines, level.from_above.reactions(supports), strict=True):
        level.line_force[line.name] += force


# --- wind -----------------------------------------------------------------------------------------------------------


def wind_load(ctx: RoofContext, storey: int, axis: Axis) -> LineLoad:
    """Wind on the level at the top of ``storey`` (-1: the first floor), along the axis across the wind, signed.

    Half the walls below and above, and the roofs that stand on this storey. External pressures of both faces; internal
    pressure cancels.
    """
    t = other(axis)
    load = LineLoad(ctx.frame.zero())
    parts = [r for r in ctx.variant.roofs if r.storey == storey]
    profiles = [(r, roof_profile(r, axis)) for r in parts]
    levels = ctx.variant.levels
    ends = ctx.variant.levels[max(storey, 0)].extent(t)
    marks = {x for lv in levels for r in lv.areas for x in (r[0 if t == "x" else 1], r[2 if t == "x" else 3])}
    marks |= {x for r in ctx.variant.roofs for x in roof_profile(r, axis).s}
    marks |= {ends[0] + ctx.end_zone_ft, ends[1] - ctx.end_zone_ft}
    for i, (_, p) in enumerate(profiles):
        for _, q in profiles[i + 1 :]:
            marks |= set(p.crossings(q))
    ordered = sorted(marks)
    for a, b in itertools.pairwise(ordered):
        if b - a <= TOUCH_FT:
            continue
        mid = 0.5 * (a + b)
        wall_ft = _wall_height(ctx.variant, storey, t, mid)
        tallest = max(profiles, key=lambda p: (p[1].at(mid), p[0].name), default=None)
        heights = (0.0, 0.0)
        if tallest is not None and tallest[1].at(mid) > 0:
            wall_ft += tallest[0].heel_ft
            heights = (tallest[1].at(a + 1e-9), tallest[1].at(b - 1e-9))
        if wall_ft == 0.0 and heights == (0.0, 0.0):
            continue
        zone = "low" if mid < ends[0] + ctx.end_zone_ft else "high" if mid > ends[1] - ctx.end_zone_ft else "interior"
        at_a, at_b = (_wind_rows(ctx, axis, mid, zone, wall_ft, h, tallest[0] if tallest else None) for h in heights)
        load.spread(a, b, ctx.frame.wind_effect(at_a), ctx.frame.wind_effect(at_b))
    if storey == 0:
        _porch_load(ctx, axis, load)
    return load


def porch_push_rows(ctx: RoofContext, porch: PorchRoof, axis: Axis) -> np.ndarray:
    """(wind states, basis): size of the horizontal wind force on a whole open porch along ``axis``, lb."""
    x0, y0, x1, y1 = porch.rect
    wall = next((w for w in ctx.variant.walls if w.name == porch.attached_wall), None)
    depth = x1 - x0 if wall is not None and wall.axis == "y" else y1 - y0
    face = (y1 - y0 if axis == "x" else x1 - x0) * (porch.fascia_depth_ft + porch.pitch_in_12 / 12.0 * depth)
    rows = np.zeros((len(ctx.frame.wind), len(ctx.frame.basis)))
    for i, state in enumerate(ctx.frame.wind):
        if not state.acts_along(axis):
            continue
        if state.minimum:
            rows[i, ctx.frame.column["one"]] = ctx.pressures.minimum_wall_psf() * face
        else:
            gust = open_roofs.gust_effect_factor(ctx.frame.edition)
            rows[i, ctx.frame.column[state.porch_velocity(axis)]] = PORCH_NET_CN * gust * ctx.kd * face * state.share
    return rows


def _porch_load(ctx: RoofContext, axis: Axis, load: LineLoad) -> None:
    """Half the wind on an attached porch goes to the house: along its ledger, or at the wall it hangs on."""
    for porch in ctx.variant.porches:
        wall = next((w for w in ctx.variant.walls if w.name == porch.attached_wall), None)
        if wall is None:
            continue
        x0, y0, x1, y1 = porch.rect
        half = 0.5 * ctx.frame.sense_along(axis) * ctx.frame.wind_effect(porch_push_rows(ctx, porch, axis))
        if wall.axis == axis:
            load.point(wall.at, half)
        else:
            lo, hi = (x0, x1) if wall.axis == "x" else (y0, y1)
            load.spread(lo, hi, half / (hi - lo))


def _wall_height(variant: Variant, storey: int, t: Axis, s: float) -> float:
    """Height of wall at ``s`` that loads this level: half the storey below, half the one above, and the floor."""
    height = 0.0
    if storey >= 0 and variant.levels[storey].covers(t, s):
        height += variant.levels[storey].wall_height_ft / 2.0
    if storey + 1 < len(variant.levels) and variant.levels[storey + 1].covers(t, s):
        upper = variant.levels[storey + 1]
        height += upper.wall_height_ft / 2.0 + upper.floor_depth_ft
    return height


def roof_profile(part: RoofPart, wind_axis: Axis) -> Profile:
    """Height of a roof above its heel, seen along the wind."""
    if wind_axis == part.along:  # the gable or hip end faces the wind
        return Profile((part.across_lo, part.ridge_at, part.across_hi), (0.0, part.rise_ft, 0.0))
    if part.shape == "gable":
        return Profile((part.along_lo, part.along_hi), (part.rise_ft, part.rise_ft))
    run = min(part.rise_ft * 12.0 / part.pitch_in_12, part.length / 2.0)
    top = part.rise_ft * run / (part.rise_ft * 12.0 / part.pitch_in_12)
    return Profile((part.along_lo, part.along_lo + run, part.along_hi - run, part.along_hi), (0.0, top, top, 0.0))


def _wind_rows(
    ctx: RoofContext, axis: Axis, s: float, zone: str, wall_ft: float, roof_ft: float, part: RoofPart | None
) -> np.ndarray:
    """(wind states, basis): force per foot across the wind, positive toward the wind's sense times that sense."""
    rows = np.zeros((len(ctx.frame.wind), len(ctx.frame.basis)))
    one, pressures = ctx.frame.column["one"], ctx.pressures
    for i, state in enumerate(ctx.frame.wind):
        if not state.acts_along(axis):
            continue
        sense = state.sense_along(axis)
        if state.minimum:
            force = pressures.minimum_wall_psf() * wall_ft
            # a gable is wall, a slope is roof
            gable = part is not None and not faces_slope(part, axis)
            roof_psf = pressures.minimum_wall_psf() if gable else pressures.minimum_roof_psf()
            rows[i, one] = sense * (force + roof_psf * roof_ft)
            continue
        force = wall_ft * pressures.wall_total(ctx, state, axis, s, zone)
        if part is not None:
            force += roof_ft * pressures.roof_total(ctx, part, state, axis, zone)
        rows[i, ctx.frame.column[state.velocity(axis)]] = sense * force * ctx.kd * state.share
    return rows


# --- earthquake -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SeismicMass:
    """Effective seismic weight of a house (12.7.2), level by level; index 0 is the lowest storey's top.

    Greatest weights count. ``first_floor_lb`` is the framed first floor of a raised house: it stands at the base and
    shakes only the sill.
    """

    level_lb: tuple[float, ...]
    snow_area_sqft: tuple[float, ...]
    height_ft: tuple[float, ...]
    first_floor_lb: float
    spread: dict[tuple[int, Axis], LineLoad]

    def inertia(self, ctx: RoofContext, storey: int, axis: Axis, kind: str) -> LineLoad:
        """Inertia across ``axis`` as a line load: the level's force shared by where its weight lies.

        ``kind`` "storey" takes redundancy-factored storey forces, "diaphragm" the diaphragm design force.
        """
        load = LineLoad(ctx.frame.zero())
        total = self.first_floor_lb if storey < 0 else self.level_lb[storey]
        if total <= 0:
            return load
        unit = ctx.frame.zero()
        first = len(ctx.frame.wind)
        for i, state in enumerate(ctx.frame.seismic):
            if state.axis != axis:
                continue
            if storey < 0:
                unit[first + i, ctx.frame.column["rho_cs"]] = state.sense * total
            else:
                name = f"{'rho_storey_force_lb' if kind == 'storey' else 'diaphragm_force_lb'}_{storey + 1}"
                unit[first + i, ctx.frame.column[name]] = state.sense
        for lo, hi, a, b in self.spread[storey, axis].pieces:
            load.spread(lo, hi, unit * (float(a) / total), unit * (float(b) / total))
        for s, weight in self.spread[storey, axis].points:
            load.point(s, unit * (float(weight) / total))
        return load


def seismic_mass(variant: Variant) -> SeismicMass:
    """Weights of each level and where they lie along both axes, from the plan's greatest assembly weights."""
    n = len(variant.levels)
    storeys = range(-1, n)
    axes: tuple[Axis, ...] = ("x", "y")
    spread = {(s, axis): LineLoad(np.zeros(())) for s in storeys for axis in axes}
    snow = [0.0] * n
    roof_psf, floor_psf = variant.weights["roof"][1], variant.weights["floor"][1]
    for part in variant.roofs:
        o, r = part.eave_overhang_ft, part.rake_overhang_ft
        across = (part.across_lo - o, part.across_hi + o)
        along = (part.along_lo - r, part.along_hi + r)
        box = (across, along) if part.along == "y" else (along, across)
        _spread_box(spread, part.storey, box, roof_psf)
        snow[part.storey] += (across[1] - across[0]) * (along[1] - along[0])
    for porch in variant.porches:
        x0, y0, x1, y1 = porch.rect
        _spread_box(spread, 0, ((x0, x1), (y0, y1)), porch.roof_dead_psf)
        snow[0] += (x1 - x0) * (y1 - y0)
    raised = variant.plan.plan.foundation == "stem_wall"
    for level in variant.levels:
        if level.index or raised:
            for x0, y0, x1, y1 in disjoint(level.areas):
                _spread_box(spread, level.index - 1, ((x0, x1), (y0, y1)), floor_psf)
        _spread_walls(spread, variant, level.index, level.index)
        if level.index or raised:
            _spread_walls(spread, variant, level.index, level.index - 1)
    base = variant.plan.plan.first_floor_height_ft
    return SeismicMass(
        tuple(float(spread[s, "x"].total()) for s in range(n)),
        tuple(snow),
        tuple(variant.plate_height_ft(s) - base for s in range(n)),
        float(spread[-1, "x"].total()) if raised else 0.0,
        spread,
    )


def _spread_box(
    spread: dict[tuple[int, Axis], LineLoad],
    storey: int,
    box: tuple[tuple[float, float], tuple[float, float]],
    psf: float,
) -> None:
    """Weight of a rectangle along both shaking directions (each direction's load lies along the other axis)."""
    (x0, x1), (y0, y1) = box
    spread[storey, "x"].spread(y0, y1, np.array(psf * (x1 - x0)))
    spread[storey, "y"].spread(x0, x1, np.array(psf * (y1 - y0)))


def _spread_walls(spread: dict[tuple[int, Axis], LineLoad], variant: Variant, of: int, onto: int) -> None:
    """Half the walls of storey ``of`` onto the level ``onto``: exterior walls where they stand, partitions evenly."""
    level = variant.levels[of]
    half = level.wall_height_ft / 2.0
    for w in variant.walls_of(of):
        psf = variant.weights["exterior_wall" if w.exterior else "interior_wall"][1]
        per_ft = np.array(psf * half)
        if w.axis == "x":
            spread[onto, "y"].spread(w.lo, w.hi, per_ft)
            spread[onto, "x"].point(w.at, per_ft * w.length)
        else:
            spread[onto, "x"].spread(w.lo, w.hi, per_ft)
            spread[onto, "y"].point(w.at, per_ft * w.length)
    partitions = variant.weights["interior_wall"][1] * half * level.interior_wall_ft
    for x0, y0, x1, y1 in disjoint(level.areas):
        share = partitions * (x1 - x0) * (y1 - y0) / level.area_sqft
        _spread_box(spread, onto, ((x0, x1), (y0, y1)), share / ((x1 - x0) * (y1 - y0)))


def disjoint(rects: tuple[tuple[float, float, float, float], ...]) -> list[tuple[float, float, float, float]]:
    """The union of rectangles as rectangles that do not overlap (cells of the grid their edges draw)."""
    xs = sorted({x for r in rects for x in (r[0], r[2])})
    ys = sorted({y for r in rects for y in (r[1], r[3])})
    cells = []
    for x0, x1 in itertools.pairwise(xs):
        for y0, y1 in itertools.pairwise(ys):
            mx, my = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
            if any(r[0] <= mx <= r[2] and r[1] <= my <= r[3] for r in rects):
                cells.append((x0, y0, x1, y1))
    return cells
