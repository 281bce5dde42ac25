"""Load cases of a house on one lot, in scalars, and the pressures that act in them.

A case is one load combination with one wind, one way of shaking, or gravity alone. Everything in it is scaled by the
combination's factors from the start, so that the house is traced once for every case and each force is a number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import plain_tables as t

Thing = dict[str, Any]


@dataclass(frozen=True)
class Lot:
    """What one lot brings: pressures (psf), internal part of them, shaking, snow; storey forces in lb."""

    q: float
    q_in: float
    qc: float
    qc_in: float
    sds: float
    snow: float
    rho_cs: float
    storey_lb: tuple[float, ...]
    diaphragm_lb: tuple[float, ...]
    one: float = 1.0  # dead, live and least loads count; 0 switches them off
    whole_tension: bool = False  # hold-downs by all loads of their piece, without the second form


@dataclass(frozen=True)
class Case:
    name: str
    hazard: str
    least_weight: bool
    dead: float
    wind: float
    shaking: float
    live: float
    roof_live: float
    snow: float
    axis: str = ""
    sense: int = 1
    corner: str = ""
    inside: int = 0
    roof_counts: bool = True
    minimum: bool = False

    @property
    def windward(self) -> str:
        return "low" if self.sense > 0 else "high"


def cases(uplift: bool, lot: Lot) -> list[Case]:
    """Every combination of ASCE 7-16 2.4 with every wind of Figure 28.3-1 and every way of shaking."""
    out = []
    table = t.UPLIFT_COMBINATIONS if uplift else t.COMPRESSION_COMBINATIONS
    for name, hazard, d, w, eh, ev, live, lr, s in table:
        dead = d * lot.one + 0.2 * ev * lot.sds  # 12.4.2.2: Ev = 0.2 SDS D
        base = {"dead": dead, "wind": w, "shaking": eh, "live": live, "roof_live": lr, "snow": s * lot.snow}
        if hazard == "gravity":
            out.append(Case(f"{name}; gravity", hazard, uplift, **base))
        for axis in ("x", "y"):
            for sense in (1, -1):
                way = f"{'+' if sense > 0 else '-'}{axis}"
                if hazard == "seismic":
                    out.append(Case(f"{name}; shaking toward {way}", hazard, uplift, **base, axis=axis, sense=sense))
                if hazard != "wind":
                    continue
                for corner in ("low", "high"):
                    for inside in (1, -1):
                        for roof in (True, False):
                            text = f"{name}; wind toward {way}, corner {corner}, {'+' if inside > 0 else '-'}GCpi"
                            out.append(
                                Case(
                                    text if roof else f"{text}, roof shear neglected",
                                    hazard,
                                    uplift,
                                    **base,
                                    axis=axis,
                                    sense=sense,
                                    corner=corner,
                                    inside=inside,
                                    roof_counts=roof,
                                )
                            )
                text = f"{name}; wind toward {way}, least lateral load"
                out.append(
                    Case(
                        text,
                        hazard,
                        uplift,
                        **base,
                        axis=axis,
                        sense=sense,
                        corner="low",
                        inside=1,
                        roof_counts=False,
                        minimum=True,
                    )
                )
    return out


def case_a(surface: str, angle_deg: float) -> float:
    """GCpf of case A at a roof angle, straight between the columns of Figure 28.3-1."""
    return t.on_curve(list(zip(t.ANGLES, t.CASE_A[surface], strict=True)), angle_deg)


def wall_gcp(zone: str, sign: str, area_sqft: float, steepest_deg: float) -> float:
    """GCp of a wall, Figure 30.3-1; a tenth less under roofs to 10 degrees."""
    curve = [(math.log10(a), v) for a, v in t.WALL_GCP[zone, sign]]
    value = t.on_curve(curve, math.log10(area_sqft))
    return 0.9 * value if steepest_deg <= 10.0 else value


def effective_area(span_ft: float, width_ft: float) -> float:
    """26.2: span times width, the width not less than a third of the span."""
    return span_ft * max(width_ft, span_ft / 3.0)


def roof_gcp(hip: bool, zone: str, angle_deg: float, overhang: bool) -> float:
    """GCp of a roof zone for a fastener (10 sq ft), suction; overhangs net of top and underside."""
    if angle_deg <= 20.0 or angle_deg > 45.0:
        raise ValueError(f"roof of {angle_deg:.1f} degrees: only 20 to 45 are typed here")
    if angle_deg <= 27.0:
        tables = (t.HIP_20_27, t.HIP_20_27_OVERHANG) if hip else (t.GABLE_20_27, t.GABLE_20_27_OVERHANG)
        curve = tables[overhang][zone]
    elif hip:
        curve = t.hip_27_45(zone, angle_deg)
    else:
        curve = (t.GABLE_27_45_OVERHANG if overhang else t.GABLE_27_45)[zone]
    value = t.on_curve([(math.log10(a), v) for a, v in curve], 1.0)
    if hip and overhang and angle_deg > 27.0:
        # no curve of its own: the roof's suction above and the wall's pressure below
        value -= wall_gcp("4", "pressure", 10.0, angle_deg)
    return value


def open_roof_cn(pitch_in_12: float) -> float:
    """The most upward CN of an open monoslope roof (Figures 27.3-4, 27.3-7)."""
    angle = math.degrees(math.atan(pitch_in_12 / 12.0))
    if angle < 7.5:
        return min(t.OPEN_ROOF_LEVEL + t.OPEN_ROOF_ALONG)
    columns = sorted(t.OPEN_ROOF_CN)
    across = [
        t.on_curve([(a, t.OPEN_ROOF_CN[a][k]) for a in columns], angle) for k in range(len(t.OPEN_ROOF_CN[columns[0]]))
    ]
    return min(across + t.OPEN_ROOF_ALONG)


class Pressures:
    """Pressures on one house in one case; outward and upward are positive, psf."""

    def __init__(self, house: Thing, lot: Lot, case: Case) -> None:
        self.house, self.lot, self.case = house, lot, case
        self.q, self.q_in = case.wind * lot.q, case.wind * lot.q_in * case.inside
        self.is_wind = case.wind != 0.0
        self.least = self.is_wind and case.minimum

    def out(self, gcpf: float) -> float:
        return -gcpf * self.q + self.q_in

    def out_overhang(self, gcpf: float) -> float:
        """Suction above and the soffit's push below, no inside pressure."""
        return (-gcpf + t.SOFFIT) * self.q

    def gcpf(self, roof: Thing, case: str, surface: str, side: str) -> float:
        return t.CASE_B[surface] if case == "B" else roof["case_a"][side][surface]

    def is_b(self, roof: Thing) -> bool:
        return self.case.axis == roof["along"]

    def shows_slope(self, roof: Thing) -> bool:
        return roof["hip"] or not self.is_b(roof)

    def zone_end(self, roof: Thing) -> str:
        """The end of the ridge where the end zone lies."""
        return self.case.windward if self.is_b(roof) else self.case.corner

    def first_side(self, roof: Thing) -> str:
        """The slope that takes zone 2."""
        return self.case.corner if self.is_b(roof) else self.case.windward

    def slope(self, roof: Thing, side: str, zone: str, u: float) -> float:
        """On a slope inside the walls, at u across the span."""
        if not self.is_wind or self.least:
            return 0.0
        end = "E" if zone == self.zone_end(roof) else ""
        case = "B" if self.is_b(roof) else "A"
        number = "2" if side == self.first_side(roof) else "3"
        value = self.gcpf(roof, case, number + end, side)
        if case == "A" and number == "2" and value < 0.0:
            edge = roof["lo"] if side == "low" else roof["hi"]
            if abs(u - edge) > zone2_reach(self.house, roof):
                value = self.gcpf(roof, case, "3" + end, side)
        return self.out(value)

    def eave(self, roof: Thing, side: str, zone: str) -> float:
        edge = roof["lo"] if side == "low" else roof["hi"]
        if not self.is_wind or self.least or side != self.first_side(roof):
            return self.slope(roof, side, zone, edge)
        end = "E" if zone == self.zone_end(roof) else ""
        return self.out_overhang(self.gcpf(roof, "B" if self.is_b(roof) else "A", "2" + end, side))

    def rake(self, roof: Thing, side: str, end: str, inside: float) -> float:
        """On the rake overhang of an end; ``inside`` is what the strip beside it carries."""
        if self.is_wind and not self.least and self.is_b(roof) and self.case.windward == end:
            number = "2" if side == self.first_side(roof) else "3"
            return self.out_overhang(t.CASE_B[number + "E"])
        return inside

    def hip_end(self, roof: Thing, end: str) -> tuple[float, float]:
        """Inside the walls and on the overhang of a hip end."""
        if not self.is_wind or self.least:
            return 0.0, 0.0
        value = t.CASE_B["2E" if self.zone_end(roof) == end else "2"]
        windward = self.is_b(roof) and self.case.windward == end
        return self.out(value), self.out_overhang(value) if windward else self.out(value)

    def wall(self, roof: Thing, wall: Thing, zone: str) -> float:
        """Main-system pressure normal to a wall under a roof."""
        if not self.is_wind:
            return 0.0
        normal = "y" if wall["axis"] == "x" else "x"
        if self.least:
            return self.case.wind * t.LEAST_WALL_PSF * self.lot.one if self.case.axis == normal else 0.0
        lo, hi = (roof["lo"], roof["hi"]) if normal != roof["along"] else (roof["a_lo"], roof["a_hi"])
        side = "low" if abs(wall["at"] - lo) <= abs(wall["at"] - hi) else "high"
        end = "E" if zone == self.zone_end(roof) else ""
        facing = self.case.windward == side
        if self.case.axis != normal:
            return self.out(t.CASE_B["1" + end])
        if not self.shows_slope(roof):
            return self.out(t.CASE_B[("5" if facing else "6") + end])
        return self.out(self.facing_slope(roof, ("1" if facing else "4") + end))

    def facing_slope(self, roof: Thing, surface: str) -> float:
        """Case A at the angle of the slope that the wind meets: the windward one, or a hip's flatter one."""
        side = roof["flatter"] if self.is_b(roof) else self.case.windward
        return roof["case_a"][side][surface]

    def cladding(self, zone: str, area_sqft: float) -> float:
        """Local pressure on a wall, the larger of its two senses left to the case's inside pressure."""
        if not self.is_wind:
            return 0.0
        if self.least:
            return self.case.wind * t.LEAST_CLADDING_PSF * self.lot.one
        sign = "suction" if self.case.inside > 0 else "pressure"
        value = abs(wall_gcp(zone, sign, area_sqft, self.house["steepest_deg"]))
        return self.case.wind * (value * self.lot.qc + self.lot.qc_in)


def zone2_reach(house: Thing, roof: Thing) -> float:
    """Figure 28.3-1: zone 2 suction reaches the lesser of half the building and 2.5 eave heights."""
    return min(0.5 * (roof["hi"] - roof["lo"]), 2.5 * house["eave"])
