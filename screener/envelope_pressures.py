"""Coefficients of the envelope procedure on a house: ASCE 7 Chapter 28, Figure 28.3-1.

Case A for wind across a ridge, case B along it; end zones at both ends of each ridge; one velocity pressure.
"""

from __future__ import annotations

from functools import cache

from screener.plans import RoofPart
from screener.standards import asce7_ch28_envelope as envelope
from screener.wind_pressures import (
    Face,
    Net,
    RoofContext,
    Side,
    Stretch,
    Zone,
    faces_slope,
    hip_angle_deg,
    nearer_zone,
    other,
    parts_over,
    slope_angle_deg,
)
from screener.wind_states import Axis, EnvelopeState, WindState


@cache
def gcpf_at(case: str, surface: str, angle_deg: float) -> float:
    """One coefficient of Fig. 28.3-1, kept: a house asks for the same few thousands of times."""
    return float(envelope.gcpf(case, surface, angle_deg))


def load_case(part: RoofPart, state: WindState) -> str:
    """Case A for wind across the ridge, B along it (Fig. 28.3-1)."""
    return "B" if state.axis == part.along else "A"


def end_zone_end(part: RoofPart, state: WindState) -> Side:
    """The end of the ridge at which this state's end zone lies: the reference corner, or the windward end."""
    assert isinstance(state, EnvelopeState)
    return state.windward_end if state.axis == part.along else state.corner


def reference_side(part: RoofPart, state: WindState) -> Side:
    """The slope that takes zone 2: the windward one, or along the ridge the one at the reference corner."""
    assert isinstance(state, EnvelopeState)
    return state.windward_end if load_case(part, state) == "A" else state.corner


def roof_zone(part: RoofPart, state: WindState, side: Side, zone: Zone) -> str:
    """Roof surface number of Fig. 28.3-1: 2 on the reference (windward) slope, 3 on the other, E in the end zone."""
    number = "2" if side == reference_side(part, state) else "3"
    return number + ("E" if zone == end_zone_end(part, state) else "")


class EnvelopePressures:
    """Figure 28.3-1 as the load path asks for it (``wind_pressures.WindPressures``)."""

    figure = "Figure 28.3-1"

    def __init__(self, edition: str) -> None:
        self.edition = edition
        self.soffit_gcp = envelope.windward_overhang_soffit_gcp(edition)

    def stretch(self, ctx: RoofContext, part: RoofPart, place: float, half: float) -> Stretch:
        """A strip that touches an end zone takes it wholly."""
        from_low = place - half < part.along_lo + ctx.end_zone_ft
        from_high = place + half > part.along_hi - ctx.end_zone_ft
        return Stretch(nearer_zone(part, place, from_low, from_high))

    def end_stretch(self, ctx: RoofContext, part: RoofPart, end: Side) -> Stretch:
        return Stretch(end)

    def cuts(self, ctx: RoofContext, part: RoofPart) -> tuple[list[float], list[float]]:
        lo, hi, ridge, reach = part.across_lo, part.across_hi, part.ridge_at, self._reach_ft(ctx, part)
        low = sorted({lo, ridge, min(max(lo + reach, lo), ridge)})
        return low, sorted({ridge, hi, max(min(hi - reach, hi), ridge)})

    def _reach_ft(self, ctx: RoofContext, part: RoofPart) -> float:
        return float(envelope.zone2_extent_ft(part.span, ctx.variant.eave_height_ft))

    def slope(self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, u: float, state: WindState) -> Net:
        """Zone 2 in suction ends at its reach; beyond it the slope takes zone 3."""
        angle = slope_angle_deg(part, side)
        case, name = load_case(part, state), roof_zone(part, state, side, stretch.zone)
        coefficient = gcpf_at(case, name, angle)
        if case == "A" and name[0] == "2" and coefficient < 0:
            edge = part.across_lo if side == "low" else part.across_hi
            if abs(u - edge) > self._reach_ft(ctx, part):
                coefficient = gcpf_at(case, "3" + name[1:], angle)
        return coefficient, state.gcpi_sign

    def eave(self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, state: WindState) -> Net:
        """Windward: the roof zone above and the soffit coefficient below (Sec. 28.3.3), no internal pressure.

        Along the ridge the figure stands for quartering winds too: they get under the eave at the reference corner.
        Elsewhere the underside is taken like the room behind it.
        """
        if reference_side(part, state) != side:
            edge = part.across_lo if side == "low" else part.across_hi
            return self.slope(ctx, part, side, stretch, edge, state)
        name = roof_zone(part, state, side, stretch.zone)
        return gcpf_at(load_case(part, state), name, slope_angle_deg(part, side)) - self.soffit_gcp, 0

    def rake(self, ctx: RoofContext, part: RoofPart, side: Side, end: Side, state: WindState) -> Net | None:
        if load_case(part, state) != "B" or state.windward_end != end:
            return None
        return gcpf_at("B", roof_zone(part, state, side, end), slope_angle_deg(part, side)) - self.soffit_gcp, 0

    def hip_end(self, ctx: RoofContext, part: RoofPart, end: Side, state: WindState) -> tuple[Net, Net]:
        """Fig. 28.3-1 draws gables; a hip end takes the larger suction of zones 2 and 2E, 2E wherever the end zone or
        the windward end is here."""
        name = "2E" if end_zone_end(part, state) == end else "2"
        coefficient = gcpf_at("B", name, hip_angle_deg(part))
        inside = (coefficient, state.gcpi_sign)
        windward = state.axis == part.along and state.windward_end == end
        return inside, ((coefficient - self.soffit_gcp, 0) if windward else inside)

    def wall(self, ctx: RoofContext, part: RoofPart, face: Face, stretch: Stretch, state: WindState) -> Net:
        """A wall parallel to the wind takes the case B side-wall value in case A too, where the figure gives none."""
        normal, side = face
        suffix = "E" if stretch.zone == end_zone_end(part, state) else ""
        windward = state.windward_end == side
        if state.axis != normal:
            case, surface = "B", "1"
        elif faces_slope(part, state.axis):
            case, surface = "A", "1" if windward else "4"
        else:
            case, surface = "B", "5" if windward else "6"
        # case B does not depend on the angle; case A takes the windward slope's, like the horizontal totals
        across = case == "A" and part.along != state.axis
        angle = slope_angle_deg(part, state.windward_end) if across else hip_angle_deg(part)
        return gcpf_at(case, surface + suffix, angle), state.gcpi_sign

    def wall_beside_shear(self, ctx: RoofContext, wall_axis: Axis, state: WindState) -> Net:
        """Side-wall suction of case B, zone 1E."""
        return gcpf_at("B", "1E", 0.0), state.gcpi_sign

    def wall_total(self, ctx: RoofContext, state: WindState, axis: Axis, s: float, zone: str) -> float:
        """Case A where a slope stands behind this stretch of wall, B where only gables do; the larger where both."""
        suffix = self._suffix(state, zone)
        net = []
        for part in parts_over(ctx, other(axis), s):
            if faces_slope(part, axis):
                angle = self._windward_angle(part, state)
                net.append(gcpf_at("A", "1" + suffix, angle) - gcpf_at("A", "4" + suffix, angle))
            else:
                net.append(gcpf_at("B", "5" + suffix, 0.0) - gcpf_at("B", "6" + suffix, 0.0))
        return max(net)

    def roof_total(self, ctx: RoofContext, part: RoofPart, state: WindState, axis: Axis, zone: str) -> float:
        """Slopes 2 less 3, or the gable wall 5 less 6."""
        suffix = self._suffix(state, zone)
        if not faces_slope(part, axis):
            return gcpf_at("B", "5" + suffix, 0.0) - gcpf_at("B", "6" + suffix, 0.0)
        if not state.roof:
            return 0.0
        angle = self._windward_angle(part, state)
        return gcpf_at("A", "2" + suffix, angle) - gcpf_at("A", "3" + suffix, angle)

    def _suffix(self, state: WindState, zone: str) -> str:
        assert isinstance(state, EnvelopeState)
        return "E" if zone == state.corner else ""

    def _windward_angle(self, part: RoofPart, state: WindState) -> float:
        return slope_angle_deg(part, state.windward_end) if part.along != state.axis else hip_angle_deg(part)

    def minimum_wall_psf(self) -> float:
        return envelope.minimum_wall_psf(self.edition)

    def minimum_roof_psf(self) -> float:
        return envelope.minimum_roof_psf(self.edition)

    def end_zone(self, ctx: RoofContext) -> tuple[str, float]:
        return "2a", ctx.end_zone_ft

    def coefficient_note(self, zone: str) -> str:
        ends = "end zone 2E, 3E" if zone != "interior" else "zones 2, 3"
        return f"GCpf of {ends} at the roof angle"
