"""What the load path asks of a main wind procedure, and the geometry that both procedures read.

A procedure answers with the net coefficient of one surface in one wind state; levers, areas and books are the load
path's own. Two answers exist: `envelope_pressures` (Chapter 28) and `directional_pressures` (Chapter 27).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np

from screener.line_loads import Effect
from screener.load_states import Frame
from screener.plans import TOUCH_FT, RoofPart, Variant
from screener.wind_states import Axis, WindState, internal_column

Zone = Literal["interior", "low", "high"]
Side = Literal["low", "high"]
Face = tuple[Axis, Side]
"""Outward face of a wall: the axis it is normal to and the side it stands on."""

Net = tuple[float, int]
"""External coefficient, plus toward the surface, and the sign of the internal pressure that acts with it (0: none)."""

ROOF_LIVE_PSF = 20.0
"""Ordinary roofs, ASCE 7-16 Table 4.3-1 (from memory); no reduction taken."""


@dataclass(frozen=True)
class Stretch:
    """Where a strip of roof lies along its ridge: its zone by name, and where the strips of Fig. 27.3-1 that it touches
    begin, seen from each end (ft; the envelope procedure has no use for them)."""

    zone: Zone
    from_low_ft: float = 0.0
    from_high_ft: float = 0.0

    @property
    def label(self) -> str:
        if self.from_low_ft or self.from_high_ft:
            return f"{self.from_low_ft:.0f} ft from low end, {self.from_high_ft:.0f} ft from high end"
        return "" if self.zone == "interior" else f"{self.zone} end"


class WindPressures(Protocol):
    """Coefficients of one main wind procedure; every method is for one state that is not a least load."""

    figure: str

    def stretch(self, ctx: RoofContext, part: RoofPart, place: float, half: float) -> Stretch:
        """The stretch of a strip about ``place`` on the ridge, ``half`` to each side."""

    def end_stretch(self, ctx: RoofContext, part: RoofPart, end: Side) -> Stretch:
        """The stretch of a gable or hip end."""

    def cuts(self, ctx: RoofContext, part: RoofPart) -> tuple[list[float], list[float]]:
        """Span coordinates between which the low and the high slope have one pressure in every state."""

    def slope(self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, u: float, state: WindState) -> Net:
        """A slope inside the walls at span coordinate u."""

    def eave(self, ctx: RoofContext, part: RoofPart, side: Side, stretch: Stretch, state: WindState) -> Net:
        """An eave overhang, both surfaces."""

    def rake(self, ctx: RoofContext, part: RoofPart, side: Side, end: Side, state: WindState) -> Net | None:
        """A rake overhang that the wind gets under; None where it carries what the slope beside it does."""

    def hip_end(self, ctx: RoofContext, part: RoofPart, end: Side, state: WindState) -> tuple[Net, Net]:
        """A hip end inside the walls, and its overhang."""

    def wall(self, ctx: RoofContext, part: RoofPart, face: Face, stretch: Stretch, state: WindState) -> Net:
        """A wall under a roof part."""

    def wall_beside_shear(self, ctx: RoofContext, wall_axis: Axis, state: WindState) -> Net:
        """A wall along ``wall_axis`` in a state that brings shear into it."""

    def wall_total(self, ctx: RoofContext, state: WindState, axis: Axis, s: float, zone: str) -> float:
        """Windward less leeward wall, for the wind along ``axis``, where the coordinate across it is s."""

    def roof_total(self, ctx: RoofContext, part: RoofPart, state: WindState, axis: Axis, zone: str) -> float:
        """The same on a roof's vertical projection."""

    def minimum_wall_psf(self) -> float:
        """Least pressure on the projected wall area."""

    def minimum_roof_psf(self) -> float:
        """Least pressure on the projected roof area."""

    def end_zone(self, ctx: RoofContext) -> tuple[str, float]:
        """How the figure calls the end zone of a ridge, and how far it reaches from the end wall, ft."""

    def coefficient_note(self, zone: str) -> str:
        """What a derivation says of the coefficients of a roof strip."""


@dataclass(frozen=True)
class RoofContext:
    """What the pressures need besides the part itself."""

    frame: Frame
    variant: Variant
    end_zone_ft: float
    kd: float
    pressures: WindPressures

    def dead_and_live(self, psf_least: float, psf_greatest: float) -> Effect:
        return self.frame.gravity(
            dead_least=-psf_least, dead_greatest=-psf_greatest, roof_live=-ROOF_LIVE_PSF, snow=-1.0
        )

    def outward(self, state: WindState, net: Net, axis: Axis) -> np.ndarray:
        """Net outward pressure on the basis, psf, of the wind along ``axis``: inside pressure pushes out."""
        coefficient, internal = net
        row = np.zeros(len(self.frame.basis))
        velocity = state.velocity(axis)
        row[self.frame.column[velocity]] = -coefficient * self.kd * state.share
        row[self.frame.column[internal_column(velocity)]] = internal * self.kd * state.share
        return row

    def along(self, axis: Axis) -> float:
        """The house's dimension along an axis, ft."""
        x0, y0, x1, y1 = self.variant.extent
        return x1 - x0 if axis == "x" else y1 - y0


def other(axis: Axis) -> Axis:
    return "y" if axis == "x" else "x"


def faces_slope(part: RoofPart, axis: Axis) -> bool:
    """A hip shows a slope to every wind, a gable only across its ridge."""
    return part.shape == "hip" or part.along != axis


def slope_angle_deg(part: RoofPart, side: Side) -> float:
    run = part.ridge_at - part.across_lo if side == "low" else part.across_hi - part.ridge_at
    return math.degrees(math.atan2(part.rise_ft, run))


def hip_angle_deg(part: RoofPart) -> float:
    """Angle of a hip's end slope, taken as the flatter of its sides'."""
    return min(slope_angle_deg(part, "low"), slope_angle_deg(part, "high"))


def parts_over(ctx: RoofContext, t: Axis, s: float) -> list[RoofPart]:
    """Roof parts over the coordinate s of the axis t; all of them where none is."""
    return [r for r in ctx.variant.roofs if _covers(r, t, s)] or list(ctx.variant.roofs)


def _covers(part: RoofPart, t: Axis, s: float) -> bool:
    lo, hi = (part.along_lo, part.along_hi) if part.along == t else (part.across_lo, part.across_hi)
    return lo - TOUCH_FT <= s <= hi + TOUCH_FT


def nearer_zone(part: RoofPart, place: float, from_low: bool, from_high: bool) -> Zone:
    """Name of the zone of a strip that touches the low end zone, the high one, both (the nearer counts) or neither."""
    if from_low and from_high:
        return "low" if place - part.along_lo <= part.along_hi - place else "high"
    return "low" if from_low else "high" if from_high else "interior"
