"""Vertical forces that a roof hands to the walls: trusses, girders, hip jacks, gable ends, porch ledgers.

Envelope wind pressures of ASCE 7 Chapter 28, normal to the slope with both components; moments about the bearings, so
uplift is not half the span times a pressure. Up is positive.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from screener.line_loads import STATICS, Effect, LineLoad, hat
from screener.load_states import Axis, Frame, WindState
from screener.plans import RoofPart, Variant, WallLine
from screener.standards import asce7_ch28_envelope as envelope
from screener.trace import named, placed, states_of

Zone = Literal["interior", "low", "high"]
Side = Literal["low", "high"]

ROOF_LIVE_PSF = 20.0
"""Ordinary roofs, ASCE 7-16 Table 4.3-1 (from memory); no reduction taken."""


@dataclass(frozen=True)
class RoofContext:
    """What the pressures need besides the part itself."""

    frame: Frame
    variant: Variant
    end_zone_ft: float
    soffit_gcp: float
    kd: float

    def dead_and_live(self, psf_least: float, psf_greatest: float) -> Effect:
        return self.frame.gravity(
            "weight, live load and snow of the roof",
            dead_least=-psf_least,
            dead_greatest=-psf_greatest,
            roof_live=-ROOF_LIVE_PSF,
            snow=-1.0,
        )


def roof_context(frame: Frame, variant: Variant) -> RoofContext:
    width = float(envelope.end_zone_width_ft(variant.least_dimension_ft, variant.mean_roof_height_ft))
    return RoofContext(
        frame,
        variant,
        width,
        envelope.windward_overhang_soffit_gcp(frame.edition),
        envelope.kd_in_pressure(frame.edition),
    )


@cache
def gcpf_at(case: str, surface: str, angle_deg: float) -> float:
    """One coefficient of Fig. 28.3-1, kept: a house asks for the same few thousands of times."""
    return float(envelope.gcpf(case, surface, angle_deg))


def load_case(part: RoofPart, state: WindState) -> str:
    """Case A for wind across the ridge, B along it (Fig. 28.3-1)."""
    return "B" if state.axis == part.along else "A"


def faces_slope(part: RoofPart, state: WindState) -> bool:
    """A hip shows a slope to every wind, a gable only across its ridge."""
    return part.shape == "hip" or part.along != state.axis


def end_zone_end(part: RoofPart, state: WindState) -> Side:
    """The end of the ridge at which this state's end zone lies: the reference corner, or the windward end."""
    return state.windward_end if state.axis == part.along else state.corner


def slope_angle_deg(part: RoofPart, side: Side) -> float:
    run = part.ridge_at - part.across_lo if side == "low" else part.across_hi - part.ridge_at
    return math.degrees(math.atan2(part.rise_ft, run))


def hip_angle_deg(part: RoofPart) -> float:
    """Angle of a hip's end slope, taken as the flatter of its sides'."""
    return min(slope_angle_deg(part, "low"), slope_angle_deg(part, "high"))


def roof_zone(part: RoofPart, state: WindState, side: Side, zone: Zone) -> str:
    """Roof surface number of Fig. 28.3-1: 2 on the reference (windward) slope, 3 on the other, E in the end zone."""
    first = state.windward_end if load_case(part, state) == "A" else state.corner
    number = "2" if side == first else "3"
    return number + ("E" if zone == end_zone_end(part, state) else "")


def _pressure_row(ctx: RoofContext, coefficient: float, internal: int) -> np.ndarray:
    """Net outward pressure on the basis: -GCpf q plus the internal part (inside pressure pushes out)."""
    row = np.zeros(len(ctx.frame.basis))
    row[ctx.frame.column["q_envelope_psf"]] = -coefficient * ctx.kd
    row[ctx.frame.column["q_envelope_gcpi_psf"]] = internal * ctx.kd
    return row


PRESSURE = "p = q Kd (-GCpf) + Kd (+-GCpi) q, outward"


def _pressure_text(ctx: RoofContext, case: str, name: str, angle_deg: float, coefficient: float, internal: int) -> str:
    """The values that enter one state's pressure, for a derivation; nothing where none is traced."""
    if not ctx.frame.traced:
        return ""
    sign = "" if not internal else f", {'+' if internal > 0 else '-'}GCpi"
    between = envelope.gcpf_words(case, name, angle_deg)
    return f"case {case}, zone {name} at {angle_deg:.2f} deg: GCpf {coefficient:.6g}{between}{sign}"


def _soffit_text(ctx: RoofContext, text: str) -> str:
    """The same for a windward overhang: the soffit below it joins, the inside does not."""
    return f"{text.rsplit(', ', 1)[0]} above, soffit {ctx.soffit_gcp:g} below, no internal pressure"


def _figure(ctx: RoofContext, what: str, rows: np.ndarray, told: list[str]) -> np.ndarray:
    """Pressure rows named for a derivation, with what entered each state."""
    source = f"{ctx.frame.edition} 28.3, Figure 28.3-1"
    return named(ctx.frame.trace(rows), what, PRESSURE, {"Kd": ctx.kd}, "psf", source, told)


def surface_rows(ctx: RoofContext, part: RoofPart, side: Side, zone: Zone, u: float) -> np.ndarray:
    """(wind states, basis): net outward pressure at span coordinate ``u`` of one slope inside the walls, psf."""
    rows, told = [], []
    angle = slope_angle_deg(part, side)
    for state in ctx.frame.wind:
        if state.minimum:
            rows.append(np.zeros(len(ctx.frame.basis)))
            told.append("least lateral load: none on the roof")
            continue
        case, name = load_case(part, state), roof_zone(part, state, side, zone)
        coefficient = gcpf_at(case, name, angle)
        if case == "A" and name[0] == "2" and coefficient < 0:
            edge = part.across_lo if side == "low" else part.across_hi
            reach = float(envelope.zone2_extent_ft(part.span, ctx.variant.eave_height_ft))
            if abs(u - edge) > reach:
                name = "3" + name[1:]
                coefficient = gcpf_at(case, name, angle)
        rows.append(_pressure_row(ctx, coefficient, state.gcpi_sign))
        told.append(_pressure_text(ctx, case, name, angle, coefficient, state.gcpi_sign))
    return _figure(ctx, f"pressure on roof {part.name}, {side} slope", np.array(rows), told)


def eave_rows(ctx: RoofContext, part: RoofPart, side: Side, zone: Zone) -> np.ndarray:
    """(wind states, basis): net upward pressure on an eave overhang, psf.

    Windward: the roof zone above and the soffit coefficient below (Sec. 28.3.3), no internal pressure. Elsewhere the
    underside is taken like the room behind it, so the overhang carries what the slope beside it carries.
    """
    edge = part.across_lo if side == "low" else part.across_hi
    slope = surface_rows(ctx, part, side, zone, edge)
    rows, told = np.array(slope), states_of(slope)
    angle = slope_angle_deg(part, side)
    for i, state in enumerate(ctx.frame.wind):
        case = load_case(part, state)
        # along the ridge the figure stands for quartering winds too: they get under the eave at the reference corner
        reference = state.windward_end if case == "A" else state.corner
        if not state.minimum and reference == side:
            coefficient = gcpf_at(case, roof_zone(part, state, side, zone), angle)
            rows[i] = _pressure_row(ctx, coefficient - ctx.soffit_gcp, 0)
            if told:
                told[i] = _soffit_text(ctx, told[i])
    return _figure(ctx, f"pressure on the {side} eave of roof {part.name}", rows, told)


def strip_reactions(ctx: RoofContext, part: RoofPart, zone: Zone) -> list[Effect]:
    """Uplift at each bearing from one foot of ridge length (lb/ft): wind, and gravity as negative uplift.

    Vertical loads go to the bearings by simple spans between neighbouring bearings, overhangs cantilevering; the
    moment of the horizontal components about the plate goes into the two outer bearings as a couple.
    """
    supports = [b for b, _ in part.bearings]
    lo, hi, o = part.across_lo, part.across_hi, part.eave_overhang_ft
    out = [ctx.frame.zero() for _ in supports]
    overturning = ctx.frame.zero()
    for side, a, b, rows_at in _strip_pieces(ctx, part, zone):
        rows = ctx.frame.wind_effect(rows_at)
        for j, share in enumerate(_hat_integrals(supports, a, b)):
            out[j] += share * rows
        run = part.ridge_at - lo if side == "low" else hi - part.ridge_at
        tangent = part.rise_ft / run
        # horizontal part of an outward pressure points away from the ridge; its arm is the height above the plate
        overturning += (-1.0 if side == "low" else 1.0) * tangent * _height_integral(part, side, a, b, tangent) * rows
    apart = supports[-1] - supports[0]
    couple = named(
        overturning / apart,
        f"couple of the horizontal parts of the pressures on roof {part.name}",
        "sum of +-tan(theta) p x (height above the plate x length) / distance of the outer bearings",
        {
            "tan_low": part.rise_ft / (part.ridge_at - lo),
            "tan_high": part.rise_ft / (hi - part.ridge_at),
            "heel_ft": part.heel_ft,
            "distance_ft": apart,
        },
        "lb/ft",
        STATICS,
    )
    out[0] += couple
    out[-1] -= couple
    least, greatest = ctx.variant.weights["roof"]
    weight = ctx.dead_and_live(least, greatest)
    for j, share in enumerate(_hat_integrals(supports, lo - o, hi + o)):
        out[j] += share * weight
    about: dict[str, float | str]
    about = {"span_ft": part.span, "overhang_ft": o, "bearings_at_ft": ", ".join(f"{b:g}" for b in supports)}
    return [
        named(
            e,
            f"reaction of roof {part.name} on {name}, {'interior' if zone == 'interior' else zone + ' end'} zone",
            "sum of p x length of roof carried (lever between neighbouring bearings) + couple + weight x length",
            {**about, "bearing_at_ft": at},
            "lb per ft of ridge",
            f"{STATICS}: simple spans between bearings, overhangs cantilever",
        )
        for e, (at, name) in zip(out, part.bearings, strict=True)
    ]


def _strip_pieces(ctx: RoofContext, part: RoofPart, zone: Zone) -> list[tuple[Side, float, float, np.ndarray]]:
    lo, hi, ridge, o = part.across_lo, part.across_hi, part.ridge_at, part.eave_overhang_ft
    reach = float(envelope.zone2_extent_ft(part.span, ctx.variant.eave_height_ft))
    low_cuts = sorted({lo, ridge, min(max(lo + reach, lo), ridge)})
    high_cuts = sorted({ridge, hi, max(min(hi - reach, hi), ridge)})
    pieces: list[tuple[Side, float, float, np.ndarray]] = []
    if o > 0:
        low, high = eave_rows(ctx, part, "low", zone), eave_rows(ctx, part, "high", zone)
        pieces.append(("low", lo - o, lo, placed(low, f"{lo - o:g}-{lo:g} ft across")))
        pieces.append(("high", hi, hi + o, placed(high, f"{hi:g}-{hi + o:g} ft across")))
    for side, cuts in (("low", low_cuts), ("high", high_cuts)):
        for a, b in itertools.pairwise(cuts):
            rows = placed(surface_rows(ctx, part, side, zone, 0.5 * (a + b)), f"{a:g}-{b:g} ft across")  # type: ignore[arg-type]
            pieces.append((side, a, b, rows))  # type: ignore[arg-type]
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


def faces(part: RoofPart, wall: WallLine) -> tuple[Axis, Side]:
    """The outward face of a wall under a roof part: the axis it is normal to and the side it stands on."""
    normal: Axis = "y" if wall.axis == "x" else "x"
    across_normal = normal != part.along
    lo, hi = (part.across_lo, part.across_hi) if across_normal else (part.along_lo, part.along_hi)
    return normal, "low" if abs(wall.at - lo) <= abs(wall.at - hi) else "high"


def wall_rows(ctx: RoofContext, part: RoofPart, face: tuple[Axis, Side], zone: Zone) -> np.ndarray:
    """(wind states, basis): net outward pressure normal to a wall, psf, from the wall zones of Fig. 28.3-1.

    A wall parallel to the wind takes the case B side-wall value in case A too, where the figure gives none.
    """
    normal, side = face
    rows, told = [], []
    for state in ctx.frame.wind:
        if state.minimum:
            row = np.zeros(len(ctx.frame.basis))
            row[ctx.frame.column["one"]] = envelope.minimum_wall_psf(ctx.frame.edition) * (state.axis == normal)
            rows.append(row)
            told.append(f"least lateral load, {ctx.frame.edition} 28.3.4")
            continue
        suffix = "E" if zone == end_zone_end(part, state) else ""
        windward = state.windward_end == side
        if state.axis != normal:
            case, surface = "B", "1"
        elif faces_slope(part, state):
            case, surface = "A", "1" if windward else "4"
        else:
            case, surface = "B", "5" if windward else "6"
        # case B does not depend on the angle; case A takes the windward slope's, like the horizontal totals
        across = case == "A" and part.along != state.axis
        angle = slope_angle_deg(part, state.windward_end) if across else hip_angle_deg(part)
        coefficient = gcpf_at(case, surface + suffix, angle)
        rows.append(_pressure_row(ctx, coefficient, state.gcpi_sign))
        told.append(_pressure_text(ctx, case, surface + suffix, angle, coefficient, state.gcpi_sign))
    return _figure(ctx, f"pressure on the {side} wall across {normal} under roof {part.name}", np.array(rows), told)


# --- where the trusses stand ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class TrussRun:
    """Trusses of one zone along the ridge: their places and the stretch of ridge they carry."""

    zone: Zone
    at: tuple[float, ...]
    lo: float
    hi: float


def truss_runs(ctx: RoofContext, part: RoofPart) -> list[TrussRun]:
    """Common trusses grouped by zone; gable-end trusses and hip girders are apart.

    A truss whose tributary strip touches an end zone takes end-zone pressures over its whole strip.
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
    zones: tuple[Zone, ...] = ("low", "interior", "high")
    for zone in zones:
        chosen = [p for p in places if _zone_of(ctx, part, p) == zone]
        if chosen:
            lo = start if chosen[0] == places[0] else chosen[0] - s / 2.0
            hi = stop if chosen[-1] == places[-1] else chosen[-1] + s / 2.0
            runs.append(TrussRun(zone, tuple(chosen), lo, hi))
    if not runs and stop > start:
        runs.append(TrussRun("low", (), start, stop))
    return runs


def _zone_of(ctx: RoofContext, part: RoofPart, place: float) -> Zone:
    half = part.spacing_ft / 2.0
    from_low = place - half < part.along_lo + ctx.end_zone_ft
    from_high = place + half > part.along_hi - ctx.end_zone_ft
    if from_low and from_high:
        return "low" if place - part.along_lo <= part.along_hi - place else "high"
    return "low" if from_low else "high" if from_high else "interior"


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
        for piece_side, a, b, rows in _strip_pieces(ctx, part, end):
            if piece_side != side:
                continue
            per_ft = named(
                ctx.frame.wind_effect(inner * rows + rake * _rake_rows(ctx, part, side, end, rows)) + weight,
                f"{end} gable end of roof {part.name}, {side} slope",
                "half a bay x p + rake x p of the rake + (half a bay + rake) x weight",
                {"half_bay_ft": inner, "rake_ft": rake},
                "plf",
                STATICS,
            )
            if a < part.across_lo or b > part.across_hi:
                load.point(edge, o * per_ft)  # the corner beyond the wall hangs on the wall's end
            else:
                load.spread(a, b, per_ft)
    return load


def _rake_rows(ctx: RoofContext, part: RoofPart, side: Side, end: Side, slope_rows: np.ndarray) -> np.ndarray:
    rows, told = np.array(slope_rows), states_of(slope_rows)
    angle = slope_angle_deg(part, side)
    for i, state in enumerate(ctx.frame.wind):
        if not state.minimum and load_case(part, state) == "B" and state.windward_end == end:
            coefficient = gcpf_at("B", roof_zone(part, state, side, end), angle)
            rows[i] = _pressure_row(ctx, coefficient - ctx.soffit_gcp, 0)
            if told:
                told[i] = _soffit_text(ctx, told[i])
    return _figure(ctx, f"pressure on the {end} rake of roof {part.name}, {side} slope", rows, told)


@dataclass(frozen=True)
class HipEnd:
    """A hip end: jacks from the end wall to the hip girder; all per foot of end wall."""

    jack_at_wall: Effect
    jack_at_girder: Effect


def hip_end(ctx: RoofContext, part: RoofPart, end: Side) -> HipEnd:
    """Jack rows between the end wall and the hip girder, simply supported, overhang cantilevering.

    Fig. 28.3-1 draws gables; a hip end takes the larger suction of zones 2 and 2E, 2E wherever the end zone or the
    windward end is here. The corner jacks are counted with these rows, so the side walls get the hip girder's load
    at one place instead of a taper (a screening simplification: total and moment are kept).
    """
    c, o = part.hip_setback_ft, part.eave_overhang_ft
    widen = (part.span + 2.0 * o) / part.span
    inside, outside = _hip_end_rows(ctx, part, end)
    weight = ctx.dead_and_live(*ctx.variant.weights["roof"])
    load = LineLoad(ctx.frame.zero())
    for lo, hi, rows, where in ((0.0, c, inside, "inside the walls"), (-o, 0.0, outside, "on the overhang")):
        psf = named(
            widen * (ctx.frame.wind_effect(rows) + weight),
            f"load of the {end} hip end of roof {part.name} {where}, per foot of wall",
            "widening x (p + weight), widening = (span + 2 overhangs) / span",
            {"widening": widen, "span_ft": part.span, "overhang_ft": o},
            "psf",
            STATICS,
        )
        load.spread(lo, hi, psf)
    formula = "sum of p x length x lever over the jacks, widened to reach the corners, + weight x length"
    about = {"jack_span_ft": c, "overhang_ft": o, "widening": widen}
    at_wall, at_girder = (
        named(e, f"jacks of the {end} hip end of roof {part.name} at {where}", formula, about, "plf", STATICS)
        for e, where in zip(load.reactions([0.0, c]), ("the end wall", "the hip girder"), strict=True)
    )
    return HipEnd(at_wall, at_girder)


def _hip_end_rows(ctx: RoofContext, part: RoofPart, end: Side) -> tuple[np.ndarray, np.ndarray]:
    """(wind states, basis) net uplift of a hip end inside the walls and on its overhang, psf."""
    angle = min(slope_angle_deg(part, "low"), slope_angle_deg(part, "high"))
    inside, outside = [], []
    told_in, told_out = [], []
    for state in ctx.frame.wind:
        if state.minimum:
            inside.append(np.zeros(len(ctx.frame.basis)))
            outside.append(inside[-1])
            told_in.append("least lateral load: none on the roof")
            told_out.append(told_in[-1])
            continue
        name = "2E" if end_zone_end(part, state) == end else "2"
        coefficient = gcpf_at("B", name, angle)
        inside.append(_pressure_row(ctx, coefficient, state.gcpi_sign))
        windward = state.axis == part.along and state.windward_end == end
        outside.append(_pressure_row(ctx, coefficient - ctx.soffit_gcp, 0) if windward else inside[-1])
        told_in.append(_pressure_text(ctx, "B", name, angle, coefficient, state.gcpi_sign))
        told_out.append(_soffit_text(ctx, told_in[-1]) if windward else told_in[-1])
    what = f"{end} hip end of roof {part.name}"
    return (
        _figure(ctx, f"pressure on the {what}", np.array(inside), told_in),
        _figure(ctx, f"pressure on the eave of the {what}", np.array(outside), told_out),
    )


# --- what enters, for the books: pressure times area, with no lever in it --------------------------------------------


def strip_pressure(ctx: RoofContext, part: RoofPart, zone: Zone) -> Effect:
    """Vertical load of one foot of ridge length: pressures and weights times plan width."""
    total = (part.span + 2.0 * part.eave_overhang_ft) * ctx.dead_and_live(*ctx.variant.weights["roof"])
    for _, a, b, rows in _strip_pieces(ctx, part, zone):
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
    for side, a, b, rows in _strip_pieces(ctx, part, end):
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
