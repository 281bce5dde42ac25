"""Coefficients of the directional procedure on a house: ASCE 7 Chapter 27, Part 1, Figure 27.3-1, with the gust factor.

h and the building's dimensions L and B are those of the whole house; distances from the windward edge are each roof
part's own, measured from its walls. Velocity pressure is that at the mean roof height on every surface, the windward
wall included. There the standard's falls with height (Kz), so this errs on the safe side, by up to 7 % of the shear of
two-storey houses (results_two_procedures.md); on steep ground Kzt at the foot of the wall would be more than at the
roof, which neither procedure counts here.
"""

from __future__ import annotations

import itertools
from functools import cache

from screener.line_loads import SAME_FT
from screener.plans import RoofPart
from screener.standards import asce7_ch27_directional as directional
from screener.wind_pressures import (
    Face,
    Net,
    RoofContext,
    Side,
    Stretch,
    faces_slope,
    hip_angle_deg,
    nearer_zone,
    other,
    slope_angle_deg,
)
from screener.wind_states import Axis, DirectionalState, RoofCase, WindState


@cache
def _roof_cp(slope: str, angle_deg: float, h_over_l: float, area_sqft: float) -> float:
    return float(directional.roof_cp(slope, angle_deg, h_over_l, area_sqft))


@cache
def _strip_cp(case: RoofCase, heights: float, h_over_l: float, area_sqft: float) -> float:
    return float(directional.strip_cp(case, heights, h_over_l, area_sqft))


def _roof_case(state: WindState) -> RoofCase:
    assert isinstance(state, DirectionalState)
    return state.roof_case


class DirectionalPressures:
    """Figure 27.3-1 as the load path asks for it (``wind_pressures.WindPressures``)."""

    figure = "Figure 27.3-1"

    def __init__(self, edition: str) -> None:
        self.edition = edition
        self.gust = directional.gust_effect_factor(edition)
        self.soffit = self.gust * directional.overhang_soffit_cp()

    # --- where strips lie ---------------------------------------------------------------------------------------

    def stretch(self, ctx: RoofContext, part: RoofPart, place: float, half: float) -> Stretch:
        """A strip takes the first strip of the figure that it touches, seen from each end; within one mean roof height
        of an end it is named for that end."""
        from_low = self._bound_ft(ctx, place - half - part.along_lo)
        from_high = self._bound_ft(ctx, part.along_hi - place - half)
        h = ctx.variant.mean_roof_height_ft
        return Stretch(nearer_zone(part, place, from_low < h, from_high < h), from_low, from_high)

    def end_stretch(self, ctx: RoofContext, part: RoofPart, end: Side) -> Stretch:
        far = self._bound_ft(ctx, part.length - part.spacing_ft / 2.0)
        return Stretch(end, 0.0, far) if end == "low" else Stretch(end, far, 0.0)

    def _bound_ft(self, ctx: RoofContext, away_ft: float) -> float:
        """Where the strip of Fig. 27.3-1 begins that lies ``away_ft`` from the windward edge."""
        h = ctx.variant.mean_roof_height_ft
        return max(
            h * bound for bound in directional.strip_bounds_heights() if bound == 0.0 or h * bound <= away_ft + SAME_FT
        )

    def cuts(self, ctx: RoofContext, part: RoofPart) -> tuple[list[float], list[float]]:
        """One pressure a slope; a slope below 10 degrees changes by distance from both eaves."""
        lo, hi, ridge = part.across_lo, part.across_hi, part.ridge_at
        out = []
        for side, a, b in (("low", lo, ridge), ("high", ridge, hi)):
            marks = {a, b}
            if slope_angle_deg(part, side) < directional.FLAT_BELOW_DEG:  # type: ignore[arg-type]
                steps = [ctx.variant.mean_roof_height_ft * x for x in directional.strip_bounds_heights()]
                marks |= {x for s in steps for x in (lo + s, hi - s) if a < x < b}
            out.append(sorted(marks))
        return out[0], out[1]

    # --- roofs --------------------------------------------------------------------------------------------------

    def slope(self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, u: float, state: WindState) -> Net:
        return self.gust * self._slope_cp(ctx, part, side, stretch, u, state), state.gcpi_sign

    def _slope_cp(
        self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, u: float, state: WindState
    ) -> float:
        if state.axis == part.along:
            away = stretch.from_low_ft if state.sense > 0 else stretch.from_high_ft
            return self._by_distance(ctx, part.span, state, away)
        angle = slope_angle_deg(part, side)
        if angle < directional.FLAT_BELOW_DEG:
            away = u - part.across_lo if state.sense > 0 else part.across_hi - u
            return self._by_distance(ctx, part.length, state, max(away, 0.0))
        return self._by_angle(ctx, part, angle, side == state.windward_end, state)

    def _by_distance(self, ctx: RoofContext, width_ft: float, state: WindState, away_ft: float) -> float:
        h = ctx.variant.mean_roof_height_ft
        # the -1.3 acts on the first half height of the roof's width
        return _strip_cp(_roof_case(state), away_ft / h, h / ctx.along(state.axis), 0.5 * h * width_ft)

    def _by_angle(self, ctx: RoofContext, part: RoofPart, angle_deg: float, windward: bool, state: WindState) -> float:
        slope = f"windward {_roof_case(state)}" if windward else directional.LEEWARD
        area = part.length * part.span / 2.0
        return _roof_cp(slope, angle_deg, ctx.variant.mean_roof_height_ft / ctx.along(state.axis), area)

    def eave(self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, state: WindState) -> Net:
        """Windward: top surface and soffit (Sec. 27.3.3), no internal pressure; elsewhere what the slope carries."""
        edge = part.across_lo if side == "low" else part.across_hi
        coefficient, internal = self.slope(ctx, part, side, stretch, edge, state)
        if state.axis != part.along and state.windward_end == side:
            return coefficient - self.soffit, 0
        return coefficient, internal

    def rake(self, ctx: RoofContext, part: RoofPart, side: Side, end: Side, state: WindState) -> Net | None:
        if state.axis != part.along or state.windward_end != end:
            return None
        return self.gust * self._by_distance(ctx, part.span, state, 0.0) - self.soffit, 0

    def hip_end(self, ctx: RoofContext, part: RoofPart, end: Side, state: WindState) -> tuple[Net, Net]:
        """A hip end is a slope like another: windward or leeward to wind along the ridge, and parallel to wind across
        it, where it takes the strip next to the windward edge over its whole width."""
        windward = state.axis == part.along and state.windward_end == end
        angle = hip_angle_deg(part)
        if state.axis != part.along:
            cp = self._by_distance(ctx, part.hip_setback_ft, state, 0.0)
        elif angle < directional.FLAT_BELOW_DEG:
            away = 0.0 if windward else part.length - part.hip_setback_ft
            cp = self._by_distance(ctx, part.span, state, away)
        else:
            cp = self._by_angle(ctx, part, angle, windward, state)
        inside = (self.gust * cp, state.gcpi_sign)
        return inside, ((inside[0] - self.soffit, 0) if windward else inside)

    # --- walls --------------------------------------------------------------------------------------------------

    def wall(self, ctx: RoofContext, part: RoofPart, face: Face, stretch: Stretch, state: WindState) -> Net:
        normal, side = face
        if not state.acts_along(normal):
            return self.gust * directional.side_wall_cp(), state.gcpi_sign
        if side == ("low" if state.sense_along(normal) > 0 else "high"):
            return self.gust * directional.windward_wall_cp(), state.gcpi_sign
        return self._leeward_wall(ctx, normal), state.gcpi_sign

    def _leeward_wall(self, ctx: RoofContext, axis: Axis) -> float:
        return self.gust * float(directional.leeward_wall_cp(ctx.along(axis) / ctx.along(other(axis))))

    def wall_beside_shear(self, ctx: RoofContext, wall_axis: Axis, state: WindState) -> Net:
        """Side-wall suction; with wind across the wall too (case 3) the windward or leeward wall, whichever is more."""
        if not state.acts_along(other(wall_axis)):
            return self.gust * directional.side_wall_cp(), state.gcpi_sign
        lee = self._leeward_wall(ctx, other(wall_axis))
        if state.gcpi_sign > 0:
            return lee, 1
        # magnitude of an inward push, written like an outward one
        return -self.gust * directional.windward_wall_cp(), 1

    def wall_total(self, ctx: RoofContext, state: WindState, axis: Axis, s: float, zone: str) -> float:
        return self.gust * directional.windward_wall_cp() - self._leeward_wall(ctx, axis)

    def roof_total(self, ctx: RoofContext, part: RoofPart, state: WindState, axis: Axis, zone: str) -> float:
        """Windward less leeward slope (a hip end is one too), or the gable, which is wall."""
        if not faces_slope(part, axis):
            return self.wall_total(ctx, state, axis, 0.0, zone)
        if not state.roof:
            return 0.0
        return self.gust * (
            self._facing_cp(ctx, part, state, axis, True) - self._facing_cp(ctx, part, state, axis, False)
        )

    def _facing_cp(self, ctx: RoofContext, part: RoofPart, state: WindState, axis: Axis, windward: bool) -> float:
        along_ridge = part.along == axis
        sides: tuple[Side, Side] = ("low", "high") if state.sense_along(axis) > 0 else ("high", "low")
        side = sides[0] if windward else sides[1]
        angle = hip_angle_deg(part) if along_ridge else slope_angle_deg(part, side)
        h = ctx.variant.mean_roof_height_ft
        if angle < directional.FLAT_BELOW_DEG:
            return self._mean_strip(ctx, part, state, axis, windward, side)
        slope = f"windward {_roof_case(state)}" if windward else directional.LEEWARD
        return _roof_cp(slope, angle, h / ctx.along(axis), part.length * part.span / 2.0)

    def _mean_strip(
        self, ctx: RoofContext, part: RoofPart, state: WindState, axis: Axis, windward: bool, side: Side
    ) -> float:
        """Mean coefficient over one flat slope, by the distances that it spans from the windward edge."""
        h = ctx.variant.mean_roof_height_ft
        whole = part.length if part.along == axis else part.span
        width = part.span if part.along == axis else part.length
        run = part.hip_setback_ft if part.along == axis else _run_ft(part, side)
        lo, hi = (0.0, run) if windward else (whole - run, whole)
        marks = sorted({lo, hi, *(h * b for b in directional.strip_bounds_heights() if lo < h * b < hi)})
        case, ratio, area = _roof_case(state), h / ctx.along(axis), 0.5 * h * width
        pieces = [(b - a) * _strip_cp(case, a / h, ratio, area) for a, b in itertools.pairwise(marks)]
        return sum(pieces) / (hi - lo)

    # --- rules --------------------------------------------------------------------------------------------------

    def minimum_wall_psf(self) -> float:
        return directional.minimum_wall_psf(self.edition)

    def minimum_roof_psf(self) -> float:
        return directional.minimum_roof_psf(self.edition)

    def end_zone(self, ctx: RoofContext) -> tuple[str, float]:
        return "h", ctx.variant.mean_roof_height_ft

    def coefficient_note(self, zone: str) -> str:
        return "G Cp: across the ridge by roof angle and h/L, along it by distance from the windward end"


def _run_ft(part: RoofPart, side: Side) -> float:
    return part.ridge_at - part.across_lo if side == "low" else part.across_hi - part.ridge_at
