"""Coefficients of the directional procedure on a house: ASCE 7 Chapter 27, Part 1, Figure 27.3-1, with the gust factor.

h and the building's dimensions L and B are those of the whole house; distances from the windward edge are each roof
part's own, measured from its walls. Velocity pressure is that at the mean roof height on every surface, the windward
wall included. There the standard's falls with height (Kz), so this errs on the safe side, by up to 7 % of the shear of
two-storey houses (results_two_procedures.md); on steep ground Kzt at the foot of the wall would be more than at the
roof, which neither procedure counts here.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import cache
from typing import NamedTuple

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


class _Cp(NamedTuple):
    """A coefficient of the figure, and how it comes about in words."""

    value: float
    told: Callable[[], str]


def _roof_case(state: WindState) -> RoofCase:
    assert isinstance(state, DirectionalState)
    return state.roof_case


def _windward_wall() -> _Cp:
    cp = directional.windward_wall_cp()
    return _Cp(cp, lambda: f"windward wall: Cp {cp:g}")


def _side_wall() -> _Cp:
    cp = directional.side_wall_cp()
    return _Cp(cp, lambda: f"side wall: Cp {cp:g}")


def _leeward_wall(ctx: RoofContext, axis: Axis) -> _Cp:
    ratio = ctx.along(axis) / ctx.along(other(axis))
    cp = float(directional.leeward_wall_cp(ratio))
    return _Cp(cp, lambda: f"leeward wall, L/B {ratio:.4g}: Cp {cp:.6g}")


class DirectionalPressures:
    """Figure 27.3-1 as the load path asks for it (``wind_pressures.WindPressures``)."""

    figure = "Figure 27.3-1"
    section = "27.3"
    minimum_section = "27.1.5"
    formula = "p = q Kd (-G Cp) + Kd (+-GCpi) q, outward; q of the wind on to the face"
    lateral_formula = "q Kd G (wall height x (Cp windward - leeward) + roof height x (Cp windward - leeward)), signed"

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
        cp = self._slope_cp(ctx, part, side, stretch, u, state)
        return self._net(cp, state.gcpi_sign)

    def _net(self, cp: _Cp, internal: int) -> Net:
        """G Cp of one surface with its internal pressure."""
        return Net(self.gust * cp.value, internal, lambda: f"{cp.told()}, G {self.gust:g}")

    def _over_soffit(self, above: Net) -> Net:
        """A windward overhang: the soffit below it joins, the inside does not."""
        words = f" above, soffit G Cp {self.soffit:g} below, no internal pressure"
        return Net(above.coefficient - self.soffit, 0, lambda: above.told() + words)

    def _slope_cp(
        self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, u: float, state: WindState
    ) -> _Cp:
        if state.axis == part.along:
            away = stretch.from_low_ft if state.sense > 0 else stretch.from_high_ft
            return self._by_distance(ctx, part.span, state, away)
        angle = slope_angle_deg(part, side)
        if angle < directional.FLAT_BELOW_DEG:
            away = u - part.across_lo if state.sense > 0 else part.across_hi - u
            return self._by_distance(ctx, part.length, state, max(away, 0.0))
        return self._by_angle(ctx, part, angle, side == state.windward_end, state)

    def _by_distance(self, ctx: RoofContext, width_ft: float, state: WindState, away_ft: float) -> _Cp:
        h, case = ctx.variant.mean_roof_height_ft, _roof_case(state)
        # the -1.3 acts on the first half height of the roof's width
        where = away_ft / h, h / ctx.along(state.axis), 0.5 * h * width_ft
        cp = _strip_cp(case, *where)
        return _Cp(cp, lambda: f"roof {case}, {directional.strip_words(*where)}: Cp {cp:.6g}")

    def _by_angle(self, ctx: RoofContext, part: RoofPart, angle_deg: float, windward: bool, state: WindState) -> _Cp:
        return self._at_angle(ctx, part, angle_deg, windward, state, state.axis)

    def _at_angle(
        self, ctx: RoofContext, part: RoofPart, angle_deg: float, windward: bool, state: WindState, axis: Axis
    ) -> _Cp:
        slope = f"windward {_roof_case(state)}" if windward else directional.LEEWARD
        ratio, area = ctx.variant.mean_roof_height_ft / ctx.along(axis), part.length * part.span / 2.0
        cp = _roof_cp(slope, angle_deg, ratio, area)
        return _Cp(cp, lambda: f"slope {slope}, {directional.roof_words(slope, angle_deg, ratio, area)}: Cp {cp:.6g}")

    def eave(self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, state: WindState) -> Net:
        """Windward: top surface and soffit (Sec. 27.3.3), no internal pressure; elsewhere what the slope carries."""
        edge = part.across_lo if side == "low" else part.across_hi
        net = self.slope(ctx, part, side, stretch, edge, state)
        return self._over_soffit(net) if state.axis != part.along and state.windward_end == side else net

    def rake(self, ctx: RoofContext, part: RoofPart, side: Side, end: Side, state: WindState) -> Net | None:
        if state.axis != part.along or state.windward_end != end:
            return None
        return self._over_soffit(self._net(self._by_distance(ctx, part.span, state, 0.0), 0))

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
        inside = self._net(cp, state.gcpi_sign)
        return inside, (self._over_soffit(inside) if windward else inside)

    # --- walls --------------------------------------------------------------------------------------------------

    def wall(self, ctx: RoofContext, part: RoofPart, face: Face, stretch: Stretch, state: WindState) -> Net:
        normal, side = face
        if not state.acts_along(normal):
            return self._net(_side_wall(), state.gcpi_sign)
        if side == ("low" if state.sense_along(normal) > 0 else "high"):
            return self._net(_windward_wall(), state.gcpi_sign)
        return self._net(_leeward_wall(ctx, normal), state.gcpi_sign)

    def wall_beside_shear(self, ctx: RoofContext, wall_axis: Axis, state: WindState) -> Net:
        """Side-wall suction; with wind across the wall too (case 3) the windward or leeward wall, whichever is more."""
        if not state.acts_along(other(wall_axis)):
            return self._net(_side_wall(), state.gcpi_sign)
        if state.gcpi_sign > 0:
            return self._net(_leeward_wall(ctx, other(wall_axis)), 1)
        # magnitude of an inward push, written like an outward one
        push = self._net(_windward_wall(), 1)
        return push._replace(coefficient=-push.coefficient, told=lambda: f"{push.told()}, as a push inward")

    def wall_total(self, ctx: RoofContext, state: WindState, axis: Axis, s: float, zone: str) -> Net:
        windward, leeward = _windward_wall(), _leeward_wall(ctx, axis)
        net = self.gust * windward.value - self.gust * leeward.value
        return Net(net, 0, lambda: f"{windward.told()} less {leeward.told()}, G {self.gust:g}")

    def roof_total(self, ctx: RoofContext, part: RoofPart, state: WindState, axis: Axis, zone: str) -> Net:
        """Windward less leeward slope (a hip end is one too), or the gable, which is wall."""
        if not faces_slope(part, axis):
            return self.wall_total(ctx, state, axis, 0.0, zone)
        if not state.roof:
            return Net(0.0, 0, lambda: "neglected")
        windward, leeward = (self._facing_cp(ctx, part, state, axis, way) for way in (True, False))
        net = self.gust * (windward.value - leeward.value)
        return Net(net, 0, lambda: f"{windward.told()} less {leeward.told()}, G {self.gust:g}")

    def _facing_cp(self, ctx: RoofContext, part: RoofPart, state: WindState, axis: Axis, windward: bool) -> _Cp:
        along_ridge = part.along == axis
        sides: tuple[Side, Side] = ("low", "high") if state.sense_along(axis) > 0 else ("high", "low")
        side = sides[0] if windward else sides[1]
        angle = hip_angle_deg(part) if along_ridge else slope_angle_deg(part, side)
        if angle < directional.FLAT_BELOW_DEG:
            mean = self._mean_strip(ctx, part, state, axis, windward, side)
            which = "windward" if windward else "leeward"
            return _Cp(mean, lambda: f"{which} flat slope, mean over its strips: Cp {mean:.6g}")
        return self._at_angle(ctx, part, angle, windward, state, axis)

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


def _run_ft(part: RoofPart, side: Side) -> float:
    return part.ridge_at - part.across_lo if side == "low" else part.across_hi - part.ridge_at
