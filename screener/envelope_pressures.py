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


def _zone(case: str, name: str, angle_deg: float, internal: int) -> Net:
    """One zone of the figure with its internal pressure."""
    return Net(gcpf_at(case, name, angle_deg), internal, lambda: _zone_words(case, name, angle_deg))


def _zone_words(case: str, name: str, angle_deg: float) -> str:
    between = envelope.gcpf_words(case, name, angle_deg)
    return f"case {case}, zone {name} at {angle_deg:.2f} deg: GCpf {gcpf_at(case, name, angle_deg):.6g}{between}"


def _between_zones(case: str, first: str, second: str, angle_deg: float) -> Net:
    """One zone less another: horizontal totals, in which internal pressure cancels."""
    net = gcpf_at(case, first, angle_deg) - gcpf_at(case, second, angle_deg)
    return Net(net, 0, lambda: _between_words(case, first, second, angle_deg))


def _between_words(case: str, first: str, second: str, angle_deg: float) -> str:
    ends = [f"{name} {gcpf_at(case, name, angle_deg):.6g}" for name in (first, second)]
    between = envelope.gcpf_words(case, first, angle_deg)
    where = f" at {angle_deg:.2f} deg" if case == "A" else ""
    return f"case {case} {ends[0]}{between} less {ends[1]}{where}"


class EnvelopePressures:
    """Figure 28.3-1 as the load path asks for it (``wind_pressures.WindPressures``)."""

    figure = "Figure 28.3-1"
    section = "28.3"
    minimum_section = "28.3.4"
    formula = "p = q Kd (-GCpf) + Kd (+-GCpi) q, outward"
    lateral_formula = "q Kd (wall height x (GCpf windward - leeward) + roof height x (GCpf 2 - 3 or 5 - 6)), signed"

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
        if case == "A" and name[0] == "2" and gcpf_at(case, name, angle) < 0:
            edge = part.across_lo if side == "low" else part.across_hi
            if abs(u - edge) > self._reach_ft(ctx, part):
                name = "3" + name[1:]
        return _zone(case, name, angle, state.gcpi_sign)

    def eave(self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, state: WindState) -> Net:
        """Windward: the roof zone above and the soffit coefficient below (Sec. 28.3.3), no internal pressure.

        Along the ridge the figure stands for quartering winds too: they get under the eave at the reference corner.
        Elsewhere the underside is taken like the room behind it.
        """
        if reference_side(part, state) != side:
            edge = part.across_lo if side == "low" else part.across_hi
            return self.slope(ctx, part, side, stretch, edge, state)
        name = roof_zone(part, state, side, stretch.zone)
        return self._over_soffit(_zone(load_case(part, state), name, slope_angle_deg(part, side), 0))

    def _over_soffit(self, above: Net) -> Net:
        """A windward overhang: the soffit below it joins, the inside does not."""
        words = f" above, soffit {self.soffit_gcp:g} below, no internal pressure"
        return Net(above.coefficient - self.soffit_gcp, 0, lambda: above.told() + words)

    def rake(self, ctx: RoofContext, part: RoofPart, side: Side, end: Side, state: WindState) -> Net | None:
        if load_case(part, state) != "B" or state.windward_end != end:
            return None
        return self._over_soffit(_zone("B", roof_zone(part, state, side, end), slope_angle_deg(part, side), 0))

    def hip_end(self, ctx: RoofContext, part: RoofPart, end: Side, state: WindState) -> tuple[Net, Net]:
        """Fig. 28.3-1 draws gables; a hip end takes the larger suction of zones 2 and 2E, 2E wherever the end zone or
        the windward end is here."""
        name = "2E" if end_zone_end(part, state) == end else "2"
        inside = _zone("B", name, hip_angle_deg(part), state.gcpi_sign)
        windward = state.axis == part.along and state.windward_end == end
        return inside, (self._over_soffit(inside) if windward else inside)

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
        return _zone(case, surface + suffix, angle, state.gcpi_sign)

    def wall_beside_shear(self, ctx: RoofContext, wall_axis: Axis, state: WindState) -> Net:
        """Side-wall suction of case B, zone 1E."""
        return _zone("B", "1E", 0.0, state.gcpi_sign)

    def wall_total(self, ctx: RoofContext, state: WindState, axis: Axis, s: float, zone: str) -> Net:
        """Case A where a slope stands behind this stretch of wall, B where only gables do; the larger where both."""
        suffix = self._suffix(state, zone)
        pairs = [
            _between_zones("A", "1" + suffix, "4" + suffix, self._windward_angle(part, state))
            if faces_slope(part, axis)
            else self._gable(suffix)
            for part in parts_over(ctx, other(axis), s)
        ]
        most = max(pair.coefficient for pair in pairs)
        return Net(most, 0, lambda: "; greater of ".join(dict.fromkeys(pair.told() for pair in pairs)))

    def roof_total(self, ctx: RoofContext, part: RoofPart, state: WindState, axis: Axis, zone: str) -> Net:
        """Slopes 2 less 3, or the gable wall 5 less 6."""
        suffix = self._suffix(state, zone)
        if not faces_slope(part, axis):
            return self._gable(suffix)
        if not state.roof:
            return Net(0.0, 0, lambda: "neglected")
        return _between_zones("A", "2" + suffix, "3" + suffix, self._windward_angle(part, state))

    def _gable(self, suffix: str) -> Net:
        return _between_zones("B", "5" + suffix, "6" + suffix, 0.0)

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
