"""Uplift at truss bearings by components and cladding (ASCE 7-16 and 7-22, Chapter 30): a second check of roof ties.

Practice, and the residential code's own table, size ties for the main system; some jurisdictions ask for the larger of
both. Effective area: the least span between neighbouring bearings times the larger of the spacing and a third of it
(26.2). A truss near a gable or hip end takes the zones of that end over its whole length, which is the safe side.
"""

from __future__ import annotations

import itertools

import numpy as np

from screener.line_loads import Effect
from screener.plans import RoofPart
from screener.roof_loads import StripPiece, reactions_of_pieces
from screener.standards import asce7_ch30_components as components
from screener.wind_pressures import RoofContext, Side, Zone, hip_angle_deg, slope_angle_deg

LABEL = "components and cladding"
CORNER, EDGE, RING = 0.2, 0.6, 1.2
"""Distances of flat roof zones in mean roof heights (Fig. 30.3-2A, from memory)."""


def truss_uplift(ctx: RoofContext, part: RoofPart, zone: Zone) -> list[Effect]:
    """Uplift at each bearing from one foot of ridge length (lb/ft) under the roof zones of Chapter 30."""
    supports = [at for at, _ in part.bearings]
    area = _area_sqft(part, min(b - a for a, b in itertools.pairwise(supports)))
    return reactions_of_pieces(ctx, part, _pieces(ctx, part, zone, area))


def jack_uplift_at_wall(ctx: RoofContext, part: RoofPart) -> Effect:
    """Uplift at the end wall from one foot of it (lb/ft): hip jacks simply supported at the wall and the hip girder."""
    c, o, angle = part.hip_setback_ft, part.eave_overhang_ft, hip_angle_deg(part)
    area, a = _area_sqft(part, c), ctx.end_zone_ft / 2.0
    zones = _zones(ctx, part, angle)
    widen = (part.span + 2.0 * o) / part.span
    weight = ctx.dead_and_live(*ctx.variant.weights["roof"])
    total = ctx.frame.zero()
    cuts = sorted({-o, 0.0, min(max(a - o, 0.0), c), c})
    for lo, hi in itertools.pairwise(cuts):
        place = _places_of_band(ctx, part, angle, 0.5 * (lo + hi) + o, hip_end=True)
        rows = _rows(ctx, _worst(ctx, part, (angle,), [zones[p] for p in place], area, lo < 0.0), lo < 0.0)
        lever = 1.0 - 0.5 * (lo + hi) / c
        total += widen * (hi - lo) * lever * (ctx.frame.wind_effect(rows) + weight)
    return total


def _area_sqft(part: RoofPart, span_ft: float) -> float:
    return float(components.effective_wind_area_sqft(span_ft, part.spacing_ft))


def _zones(ctx: RoofContext, part: RoofPart, angle_deg: float) -> dict[str, str]:
    surface = "flat" if angle_deg <= components.FLAT_TO_DEG else part.shape
    return components.zone_of_place(ctx.frame.edition, surface, angle_deg)


def _pieces(ctx: RoofContext, part: RoofPart, zone: Zone, area: float) -> list[StripPiece]:
    """The strip cut at its zones; distances are measured from the edge of the roof, overhang included."""
    lo, hi, ridge, o = part.across_lo, part.across_hi, part.ridge_at, part.eave_overhang_ft
    h, a = ctx.variant.mean_roof_height_ft, ctx.end_zone_ft / 2.0
    sides: tuple[Side, ...] = ("low", "high")
    angles = tuple(sorted({slope_angle_deg(part, side) for side in sides}))
    zones = _zones(ctx, part, angles[0])
    flat = angles[0] <= components.FLAT_TO_DEG
    out: list[StripPiece] = []
    for side in sides:
        edge, sense = (lo - o, 1.0) if side == "low" else (hi + o, -1.0)
        run = abs(ridge - edge)
        marks = [o, *((f * h for f in (CORNER, EDGE, RING)) if flat else (a, run - a))]
        for near, far in itertools.pairwise(sorted({0.0, run, *(m for m in marks if 0.0 < m < run)})):
            middle = 0.5 * (near + far)
            names = [zones[p] for p in _places_of_band(ctx, part, angles[0], middle, zone != "interior", run)]
            overhang = middle < o
            rows = _rows(ctx, _worst(ctx, part, angles, names, area, overhang), overhang)
            ends = sorted((edge + sense * near, edge + sense * far))
            out.append((side, ends[0], ends[1], rows))
    return out


def _places_of_band(
    ctx: RoofContext, part: RoofPart, angle_deg: float, from_edge_ft: float, hip_end: bool, run_ft: float = np.inf
) -> tuple[str, ...]:
    """Parts of the roof that a stretch of strip may lie in; more than one where the worst of them is taken.

    ``hip_end``: the strip lies at a gable's rake or at a hip end.
    """
    h, a = ctx.variant.mean_roof_height_ft, ctx.end_zone_ft / 2.0
    if angle_deg <= components.FLAT_TO_DEG:
        if hip_end:
            return ("corner", "edge") if from_edge_ft < EDGE * h else ("edge",)
        return ("edge",) if from_edge_ft < EDGE * h else ("ring",) if from_edge_ft < RING * h else ("field",)
    at_eave, at_ridge = from_edge_ft < a, run_ft - from_edge_ft < a
    if part.shape == "hip":
        if hip_end:
            return ("corner", "eave") if at_eave else ("ridge_hip",)
        return ("eave",) if at_eave else ("ridge_hip",) if at_ridge else ("field",)
    band = "eave" if at_eave else "ridge" if at_ridge else ""
    if hip_end:
        return (f"rake_{band}" if band else "rake",)
    return (band or "field",)


def _worst(
    ctx: RoofContext, part: RoofPart, angles: tuple[float, ...], zones: list[str], area: float, overhang: bool
) -> float:
    """The greatest suction (most negative GCp) over the slopes' angles and the zones that may apply."""
    ratio = ctx.variant.mean_roof_height_ft / ctx.variant.least_dimension_ft
    edition = ctx.frame.edition
    surface = "flat" if angles[0] <= components.FLAT_TO_DEG else part.shape
    return min(
        float(components.gcp(surface, zone, "suction", angle, area, edition, ratio, overhang))
        for zone in zones
        for angle in angles
    )


def _rows(ctx: RoofContext, gcp: float, overhang: bool) -> np.ndarray:
    """(wind states, basis): net outward pressure, psf, in states with inside pressure; an overhang's has none.

    The least pressure of Sec. 30.2.2 stands in the states of the least load.
    """
    rows = np.zeros((len(ctx.frame.wind), len(ctx.frame.basis)))
    for i, state in enumerate(ctx.frame.wind):
        if state.minimum:
            rows[i, ctx.frame.column["one"]] = components.minimum_pressure_psf(ctx.frame.edition)
        elif state.gcpi_sign > 0:
            rows[i, ctx.frame.column["q_components_psf"]] = -gcp * ctx.kd
            rows[i, ctx.frame.column["q_components_gcpi_psf"]] = 0.0 if overhang else ctx.kd
    return rows
