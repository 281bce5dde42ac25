"""Vertical forces that a roof hands to the walls: trusses, girders, hip jacks, gable ends, porch ledgers.

Wind pressures of the main system (``wind_pressures``), normal to the slope with both components; moments about the
bearings, so uplift is not half the span times a pressure. Up is positive.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from screener.directional_pressures import DirectionalPressures
from screener.envelope_pressures import EnvelopePressures
from screener.line_loads import Effect, LineLoad, hat
from screener.load_states import Frame
from screener.plans import RoofPart, Variant, WallLine
from screener.standards import asce7_ch28_envelope as envelope
from screener.wind_pressures import Face, Net, RoofContext, Side, Stretch, WindPressures, Zone
from screener.wind_states import Axis, WindState


def roof_context(frame: Frame, variant: Variant) -> RoofContext:
    width = float(envelope.end_zone_width_ft(variant.least_dimension_ft, variant.mean_roof_height_ft))
    answers = EnvelopePressures if frame.procedure == "envelope" else DirectionalPressures
    pressures: WindPressures = answers(frame.edition)
    return RoofContext(frame, variant, width, envelope.kd_in_pressure(frame.edition), pressures)


def _rows(ctx: RoofContext, net: Callable[[WindState], Net]) -> np.ndarray:
    """(wind states, basis): outward pressure of one surface in every state; the least loads are lateral only."""
    rows = np.zeros((len(ctx.frame.wind), len(ctx.frame.basis)))
    for i, state in enumerate(ctx.frame.wind):
        if not state.minimum:
            rows[i] = ctx.outward(state, net(state), state.axis)
    return rows


def surface_rows(ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, u: float) -> np.ndarray:
    """(wind states, basis): net outward pressure at span coordinate ``u`` of one slope inside the walls, psf."""
    return _rows(ctx, lambda state: ctx.pressures.slope(ctx, part, side, stretch, u, state))


def eave_rows(ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch) -> np.ndarray:
    """(wind states, basis): net upward pressure on an eave overhang, psf."""
    return _rows(ctx, lambda state: ctx.pressures.eave(ctx, part, side, stretch, state))


def strip_reactions(ctx: RoofContext, part: RoofPart, stretch: Stretch) -> list[Effect]:
    """Uplift at each bearing from one foot of ridge length (lb/ft): wind, and gravity as negative uplift.

    Vertical loads go to the bearings by simple spans between neighbouring bearings, overhangs cantilevering; the
    moment of the horizontal components about the plate goes into the two outer bearings as a couple.
    """
    return reactions_of_pieces(ctx, part, _strip_pieces(ctx, part, stretch))


StripPiece = tuple[Side, float, float, np.ndarray]
"""One stretch of a roof strip: its slope, from and to (ft across), net outward pressure (wind states, basis), psf."""


def reactions_of_pieces(ctx: RoofContext, part: RoofPart, pieces: Sequence[StripPiece]) -> list[Effect]:
    """Uplift at each bearing of a strip under given pressures and the roof's weight: see `strip_reactions`."""
    supports = [b for b, _ in part.bearings]
    lo, hi, o = part.across_lo, part.across_hi, part.eave_overhang_ft
    out = [ctx.frame.zero() for _ in supports]
    overturning = ctx.frame.zero()
    for side, a, b, rows_at in pieces:
        rows = ctx.frame.wind_effect(rows_at)
        for j, share in enumerate(_hat_integrals(supports, a, b)):
            out[j] += share * rows
        run = part.ridge_at - lo if side == "low" else hi - part.ridge_at
        tangent = part.rise_ft / run
        # horizontal part of an outward pressure points away from the ridge; its arm is the height above the plate
        overturning += (-1.0 if side == "low" else 1.0) * tangent * _height_integral(part, side, a, b, tangent) * rows
    couple = overturning / (supports[-1] - supports[0])
    out[0] += couple
    out[-1] -= couple
    least, greatest = ctx.variant.weights["roof"]
    weight = ctx.dead_and_live(least, greatest)
    for j, share in enumerate(_hat_integrals(supports, lo - o, hi + o)):
        out[j] += share * weight
    return out


def _strip_pieces(ctx: RoofContext, part: RoofPart, stretch: Stretch) -> list[StripPiece]:
    lo, hi, o = part.across_lo, part.across_hi, part.eave_overhang_ft
    low_cuts, high_cuts = ctx.pressures.cuts(ctx, part)
    pieces: list[StripPiece] = []
    if o > 0:
        pieces.append(("low", lo - o, lo, eave_rows(ctx, part, "low", stretch)))
        pieces.append(("high", hi, hi + o, eave_rows(ctx, part, "high", stretch)))
    for side, cuts in (("low", low_cuts), ("high", high_cuts)):
        for a, b in itertools.pairwise(cuts):
            pieces.append((side, a, b, surface_rows(ctx, part, side, stretch, 0.5 * (a + b))))  # type: ignore[arg-type]
    return pieces


def _hat_integrals(supports: list[float], a: float, b: float) -> list[float]:
    """Integral over [a, b] of each support's share of a unit load."""
    marks = [a, *[s for s in supports if a < s < b], b]
    out = []
    for j in range(len(supports)):
        value = 0.0
        for p, q in itertools.pairwise(marks):
            value += (q - p) * hat(supports, j, 0.5 * (p + q))
        out.append(value)
    return out


def _height_integral(part: RoofPart, side: Side, a: float, b: float, tangent: float) -> float:
    """Integral over [a, b] of the roof's height above the plate (below it on an overhang)."""
    edge = part.across_lo if side == "low" else part.across_hi
    inward = 0.5 * (a + b) - edge if side == "low" else edge - 0.5 * (a + b)
    return (b - a) * (part.heel_ft + tangent * inward)


def faces(part: RoofPart, wall: WallLine) -> Face:
    """The outward face of a wall under a roof part: the axis it is normal to and the side it stands on."""
    normal: Axis = "y" if wall.axis == "x" else "x"
    across_normal = normal != part.along
    lo, hi = (part.across_lo, part.across_hi) if across_normal else (part.along_lo, part.along_hi)
    return normal, "low" if abs(wall.at - lo) <= abs(wall.at - hi) else "high"


def wall_rows(ctx: RoofContext, part: RoofPart, face: Face, stretch: Stretch) -> np.ndarray:
    """(wind states, basis): net outward pressure normal to a wall, psf, of the main wind system."""
    rows = np.zeros((len(ctx.frame.wind), len(ctx.frame.basis)))
    for i, state in enumerate(ctx.frame.wind):
        if state.minimum:
            rows[i, ctx.frame.column["one"]] = ctx.pressures.minimum_wall_psf() * (state.axis == face[0])
        else:
            rows[i] = ctx.outward(state, ctx.pressures.wall(ctx, part, face, stretch, state), face[0])
    return rows


# --- where the trusses stand ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class TrussRun:
    """Trusses of one stretch of ridge: their places and the length of ridge they carry."""

    stretch: Stretch
    at: tuple[float, ...]
    lo: float
    hi: float

    @property
    def zone(self) -> Zone:
        return self.stretch.zone


def truss_runs(ctx: RoofContext, part: RoofPart) -> list[TrussRun]:
    """Common trusses grouped by stretch; gable-end trusses and hip girders are apart.

    A truss takes one stretch's pressures over its whole strip: the worst that the strip touches.
    """
    s = part.spacing_ft
    inset = part.hip_setback_ft if part.shape == "hip" else 0.0
    first, last = part.along_lo + inset, part.along_hi - inset
    count = max(0, math.ceil((last - first) / s - 1e-9) - 1)
    places = [first + s * (i + 1) for i in range(count)]
    if part.laid_from == "high":
        places = [first + last - p for p in reversed(places)]
    start, stop = first + s / 2.0, last - s / 2.0
    runs: list[TrussRun] = []
    for stretch, group in itertools.groupby(places, lambda place: ctx.pressures.stretch(ctx, part, place, s / 2.0)):
        chosen = list(group)
        lo = start if chosen[0] == places[0] else chosen[0] - s / 2.0
        hi = stop if chosen[-1] == places[-1] else chosen[-1] + s / 2.0
        runs.append(TrussRun(stretch, tuple(chosen), lo, hi))
    if not runs and stop > start:
        runs.append(TrussRun(ctx.pressures.end_stretch(ctx, part, "low"), (), start, stop))
    return runs


# --- ends ----------------------------------------------------------------------------------------------------------


def gable_end_load(ctx: RoofContext, part: RoofPart, end: Side) -> LineLoad:
    """Uplift along a gable wall: half a truss bay, and the rake overhang with its soffit pressure when windward."""
    load = LineLoad(ctx.frame.zero())
    inner, rake, o = part.spacing_ft / 2.0, part.rake_overhang_ft, part.eave_overhang_ft
    least, greatest = ctx.variant.weights["roof"]
    weight = (inner + rake) * ctx.dead_and_live(least, greatest)
    sides: tuple[Side, ...] = ("low", "high")
    for side in sides:
        edge = part.across_lo if side == "low" else part.across_hi
        for piece_side, a, b, rows in _strip_pieces(ctx, part, ctx.pressures.end_stretch(ctx, part, end)):
            if piece_side != side:
                continue
            per_ft = ctx.frame.wind_effect(inner * rows + rake * _rake_rows(ctx, part, side, end, rows)) + weight
            if a < part.across_lo or b > part.across_hi:
                load.point(edge, o * per_ft)  # the corner beyond the wall hangs on the wall's end
            else:
                load.spread(a, b, per_ft)
    return load


def _rake_rows(ctx: RoofContext, part: RoofPart, side: Side, end: Side, slope_rows: np.ndarray) -> np.ndarray:
    rows = slope_rows.copy()
    for i, state in enumerate(ctx.frame.wind):
        net = None if state.minimum else ctx.pressures.rake(ctx, part, side, end, state)
        if net is not None:
            rows[i] = ctx.outward(state, net, state.axis)
    return rows


@dataclass(frozen=True)
class HipEnd:
    """A hip end: jacks from the end wall to the hip girder; all per foot of end wall."""

    jack_at_wall: Effect
    jack_at_girder: Effect


def hip_end(ctx: RoofContext, part: RoofPart, end: Side) -> HipEnd:
    """Jack rows between the end wall and the hip girder, simply supported, overhang cantilevering.

    The corner jacks are counted with these rows, so the side walls get the hip girder's load at one place instead of a
    taper (a screening simplification: total and moment are kept).
    """
    c, o = part.hip_setback_ft, part.eave_overhang_ft
    widen = (part.span + 2.0 * o) / part.span
    inside, outside = _hip_end_rows(ctx, part, end)
    weight = ctx.dead_and_live(*ctx.variant.weights["roof"])
    load = LineLoad(ctx.frame.zero())
    load.spread(0.0, c, widen * (ctx.frame.wind_effect(inside) + weight))
    load.spread(-o, 0.0, widen * (ctx.frame.wind_effect(outside) + weight))
    at_wall, at_girder = load.reactions([0.0, c])
    return HipEnd(at_wall, at_girder)


def _hip_end_rows(ctx: RoofContext, part: RoofPart, end: Side) -> tuple[np.ndarray, np.ndarray]:
    """(wind states, basis) net uplift of a hip end inside the walls and on its overhang, psf."""
    return (
        _rows(ctx, lambda state: ctx.pressures.hip_end(ctx, part, end, state)[0]),
        _rows(ctx, lambda state: ctx.pressures.hip_end(ctx, part, end, state)[1]),
    )


# --- what enters, for the books: pressure times area, with no lever in it --------------------------------------------


def strip_pressure(ctx: RoofContext, part: RoofPart, stretch: Stretch) -> Effect:
    """Vertical load of one foot of ridge length: pressures and weights times plan width."""
    total = (part.span + 2.0 * part.eave_overhang_ft) * ctx.dead_and_live(*ctx.variant.weights["roof"])
    for _, a, b, rows in _strip_pieces(ctx, part, stretch):
        total = total + (b - a) * ctx.frame.wind_effect(rows)
    return total


def gable_end_pressure(ctx: RoofContext, part: RoofPart, end: Side) -> Effect:
    """Vertical load of a gable end: half a bay inside, the rake overhang outside."""
    width, o = part.span, part.eave_overhang_ft
    total = (
        (width + 2 * o)
        * (part.spacing_ft / 2.0 + part.rake_overhang_ft)
        * ctx.dead_and_live(*ctx.variant.weights["roof"])
    )
    for side, a, b, rows in _strip_pieces(ctx, part, ctx.pressures.end_stretch(ctx, part, end)):
        rake = _rake_rows(ctx, part, side, end, rows)
        total = total + (b - a) * ctx.frame.wind_effect(part.spacing_ft / 2.0 * rows + part.rake_overhang_ft * rake)
    return total


def hip_end_pressure(ctx: RoofContext, part: RoofPart, end: Side) -> Effect:
    """Vertical load of a hip end, corners included."""
    inside, outside = _hip_end_rows(ctx, part, end)
    width, weight = part.span + 2.0 * part.eave_overhang_ft, ctx.dead_and_live(*ctx.variant.weights["roof"])
    return width * (
        part.hip_setback_ft * (ctx.frame.wind_effect(inside) + weight)
        + part.eave_overhang_ft * (ctx.frame.wind_effect(outside) + weight)
    )
