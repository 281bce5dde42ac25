"""Wind on enclosed buildings of all heights, directional procedure: ASCE 7-16 and 7-22, Chapter 27, Part 1.

Coefficients Cp of Figure 27.3-1 act with the gust effect factor G on the velocity pressure of one wind direction; plus
acts toward the surface. L is the building's dimension along the wind, B across it, h the mean roof height.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hazard.standards.asce7_ch26_wind import kd_in_pressure
from hazard.standards.tables import load_table, where
from screener.standards._editions import edition_value
from screener.standards.asce7_ch27_open_roofs import gust_effect_factor

Floats = NDArray[np.float64]

FLAT_BELOW_DEG = 10.0
"""A slope flatter than this takes coefficients by distance from the windward edge (Figure 27.3-1)."""

GREATEST_ROOF_ANGLE_DEG = 90.0
WINDWARD_SUCTION, WINDWARD_PRESSURE, LEEWARD = "windward suction", "windward pressure", "leeward"

__all__ = [
    "FLAT_BELOW_DEG",
    "area_factor",
    "both_axes_share",
    "directional_pressure_psf",
    "gust_effect_factor",
    "leeward_wall_cp",
    "minimum_roof_psf",
    "minimum_wall_psf",
    "overhang_soffit_cp",
    "roof_cp",
    "side_wall_cp",
    "strip_bounds_heights",
    "strip_cp",
    "torsion_exempt",
    "windward_wall_cp",
]


# --- walls ----------------------------------------------------------------------------------------------------------


def _wall_curve(surface: str) -> tuple[Floats, Floats]:
    table = load_table("directional_wall_cp.csv", "screener", ("surface",))
    rows = where(table, surface=surface)
    return table["l_over_b"][rows], table["cp"][rows]


@cache
def windward_wall_cp() -> float:
    """Cp of a windward wall, for any L/B (Figure 27.3-1)."""
    return float(_wall_curve("windward wall")[1][0])


@cache
def side_wall_cp() -> float:
    """Cp of a wall parallel to the wind, for any L/B (Figure 27.3-1)."""
    return float(_wall_curve("side wall")[1][0])


def leeward_wall_cp(l_over_b: ArrayLike) -> Floats:
    """Cp of a leeward wall: linear in L/B between 1, 2 and 4, constant outside (Figure 27.3-1). Shape of the input."""
    ratios, values = _wall_curve("leeward wall")
    return np.asarray(np.interp(np.asarray(l_over_b, dtype=float), ratios, values))[()]


@cache
def overhang_soffit_cp() -> float:
    """Cp upward under a windward overhang, together with the top surface's (Sec. 27.3.3)."""
    return float(_wall_curve("overhang soffit")[1][0])


# --- roofs ----------------------------------------------------------------------------------------------------------


def area_factor(area_sqft: ArrayLike) -> Floats:
    """Factor on the coefficient -1.3 by the area over which it acts (Figure 27.3-1, note): 1.0 to 0.8."""
    table = load_table("directional_area_factor.csv", "screener")
    return np.asarray(np.interp(np.asarray(area_sqft, dtype=float), table["area_sqft"], table["factor"]))[()]


@cache
def _roof_curves(slope: str) -> tuple[tuple[float, Floats, Floats], ...]:
    """(h/L, roof angles, coefficients) of one slope; the pressure curve goes on with 0.01 times the angle from 60."""
    table = load_table("directional_roof_cp.csv", "screener", ("slope",))
    curves = []
    for ratio in (0.25, 0.5, 1.0):
        rows = where(table, slope=slope, h_over_l=ratio)
        if not len(rows):
            raise ValueError(f"roof slope {slope!r}; expected one of {', '.join(sorted(set(table['slope'])))}")
        angles, values = table["roof_angle_deg"][rows], table["cp"][rows]
        if slope == WINDWARD_PRESSURE:
            angles, values = np.append(angles, [60.0, 80.0]), np.append(values, [0.6, 0.8])
        curves.append((ratio, angles, values))
    return tuple(curves)


def roof_cp(slope: str, roof_angle_deg: ArrayLike, h_over_l: ArrayLike, area_sqft: ArrayLike = 0.0) -> Floats:
    """Cp of a slope of 10 degrees and more, wind across the ridge (Figure 27.3-1).

    slope "windward suction" or "windward pressure" (the figure's two values, designed for separately) or "leeward".
    Linear in roof angle and h/L between values of one sign; where the neighbours' signs differ the missing one counts
    as 0 (the figure's note): the positive part of the pressure is interpolated first. `area_sqft`: area on which the
    coefficient acts, which lowers the -1.3. Inputs broadcast. A flatter slope is an error: see `strip_cp`.
    """
    angle, ratio, area = np.broadcast_arrays(
        np.asarray(roof_angle_deg, dtype=float), np.asarray(h_over_l, dtype=float), np.asarray(area_sqft, dtype=float)
    )
    if np.any((angle < FLAT_BELOW_DEG) | (angle > GREATEST_ROOF_ANGLE_DEG)):
        raise ValueError(f"roof angle outside {FLAT_BELOW_DEG:g} to 90 degrees: Figure 27.3-1 has another table for it")
    curves = _roof_curves(slope)
    ratios = np.array([r for r, _, _ in curves])
    by_ratio = []
    for _, angles, values in curves:
        reduced = values[0] <= -1.3
        first = values[0] * (area_factor(area) if reduced else np.ones(angle.shape))
        rest = np.interp(angle, angles, values)
        share = np.clip((angle - angles[0]) / (angles[1] - angles[0]), 0.0, 1.0)
        by_ratio.append(np.where(share < 1.0, first * (1.0 - share) + values[1] * share, rest))
    cells = np.stack(by_ratio)
    mixed = _between(ratio, ratios, cells)
    if slope != WINDWARD_PRESSURE:
        return np.asarray(mixed)[()]
    positive = np.stack([np.interp(angle, angles, np.maximum(values, 0.0)) for _, angles, values in curves])
    push = _between(ratio, ratios, positive)
    return np.asarray(np.where(push > 0.0, push, mixed))[()]


def _between(ratio: Floats, ratios: Floats, cells: Floats) -> Floats:
    """Linear in h/L between the rows of cells (ratios, ...), constant outside."""
    at = np.clip(ratio, ratios[0], ratios[-1])
    k = np.clip(np.searchsorted(ratios, at, side="right") - 1, 0, len(ratios) - 2)
    share = (at - ratios[k]) / (ratios[k + 1] - ratios[k])
    low = np.take_along_axis(cells, k[None, ...], axis=0)[0]
    high = np.take_along_axis(cells, (k + 1)[None, ...], axis=0)[0]
    return np.asarray(low * (1.0 - share) + high * share)


@cache
def strip_bounds_heights() -> tuple[float, ...]:
    """Where the strips begin, from the windward edge in mean roof heights: 0, 1/2, 1, 2 (Figure 27.3-1)."""
    table = load_table("directional_strip_cp.csv", "screener")
    return tuple(float(x) for x in table["from_heights"][where(table, h_over_l=0.5)])


def strip_cp(case: str, distance_heights: ArrayLike, h_over_l: ArrayLike, area_sqft: ArrayLike = 0.0) -> Floats:
    """Cp of a roof by distance from the windward edge in mean roof heights (Figure 27.3-1).

    For wind along the ridge at any roof angle, and across it below 10 degrees. case "suction" or "pressure": the
    figure's two values. Linear in h/L between 0.5 and 1.0. `area_sqft`: area on which the coefficient acts, which
    lowers the -1.3. Inputs broadcast.
    """
    if case not in ("suction", "pressure"):
        raise ValueError(f"roof case {case!r}; expected 'suction' or 'pressure'")
    table = load_table("directional_strip_cp.csv", "screener")
    away, ratio, area = np.broadcast_arrays(
        np.asarray(distance_heights, dtype=float), np.asarray(h_over_l, dtype=float), np.asarray(area_sqft, dtype=float)
    )
    strip = np.maximum(np.searchsorted(np.array(strip_bounds_heights()), away, side="right") - 1, 0)
    cells = []
    for one in (0.5, 1.0):
        values = table[f"{case}_cp"][where(table, h_over_l=one)][strip]
        cells.append(np.where(values <= -1.3, values * area_factor(area), values))
    return np.asarray(_between(ratio, np.array([0.5, 1.0]), np.stack(cells)))[()]


# --- rules ----------------------------------------------------------------------------------------------------------


def minimum_wall_psf(edition: str) -> float:
    """Least pressure on the projected wall area, strength level (Sec. 27.1.5)."""
    return edition_value(edition, "directional_minimum_wall_psf")


def minimum_roof_psf(edition: str) -> float:
    """Least pressure on the projected roof area, strength level (Sec. 27.1.5)."""
    return edition_value(edition, "directional_minimum_roof_psf")


def both_axes_share(edition: str) -> float:
    """Share of the loads of case 1 that acts along both axes at once in case 3 (Figure 27.3-8)."""
    return edition_value(edition, "directional_both_axes_share")


def torsion_exempt(
    storeys: ArrayLike, h_ft: ArrayLike, light_frame: ArrayLike, flexible_diaphragm: ArrayLike
) -> NDArray[np.bool_]:
    """Whether the torsional cases 2 and 4 of Figure 27.3-8 may be left out.

    ASCE 7-10 and 7-16, Appendix D, Sec. D1.1 (read in a public copy of the 7-10 appendix): one storey with h to 30 ft;
    up to two storeys of light-frame construction; up to two storeys designed with flexible diaphragms.
    """
    number, height = np.asarray(storeys), np.asarray(h_ft, dtype=float)
    low = (number <= 1) & (height <= 30.0)
    framed = np.asarray(light_frame, dtype=bool) | np.asarray(flexible_diaphragm, dtype=bool)
    return np.asarray(low | ((number <= 2) & framed))[()]


def directional_pressure_psf(
    q_psf: ArrayLike, cp: ArrayLike, qi_psf: ArrayLike, internal: ArrayLike, edition: str
) -> Floats:
    """Design pressure p = q Kd G Cp - qi Kd (GCpi), Kd as the edition places it; minus acts away from the surface.

    ASCE 7-16 Eq. 27.3-1, ASCE 7-22 Eq. 27.3-1. `internal` carries its sign.
    """
    outside = gust_effect_factor(edition) * np.asarray(cp, dtype=float) * np.asarray(q_psf, dtype=float)
    inside = np.asarray(internal, dtype=float) * np.asarray(qi_psf, dtype=float)
    return np.asarray(kd_in_pressure(edition) * (outside - inside))[()]
