"""Wind on low-rise buildings, envelope procedure: ASCE 7-16 and 7-22, Chapter 28, Part 1.

Coefficients act on the velocity pressure at mean roof height; plus acts toward the surface.
Walls and roof slopes carry the figure's numbers: 1 windward wall, 2 windward slope, 3 leeward slope, 4 leeward wall,
5 and 6 the walls across the ridge; E marks the end zone, T the zone of a torsional case.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hazard.standards.asce7_ch26_wind import kd_in_pressure
from hazard.standards.tables import load_table, value, where
from screener.standards._editions import edition_value

Floats = NDArray[np.float64]

MAXIMUM_ROOF_ANGLE_DEG = 90.0

__all__ = [
    "end_zone_a_ft",
    "end_zone_width_ft",
    "envelope_pressure_psf",
    "gcpf",
    "gcpi",
    "kd_in_pressure",
    "minimum_lateral_lb",
    "minimum_roof_psf",
    "minimum_wall_psf",
    "torsion_exempt",
    "torsion_gcpf",
    "windward_overhang_soffit_gcp",
    "zone2_extent_ft",
]


@cache
def _gcpf_curve(load_case: str, surface: str) -> tuple[Floats, Floats]:
    """Roof angles and coefficients of one zone of Figure 28.3-1."""
    table = load_table("envelope_gcpf.csv", "screener", ("surface",))
    rows = where(table, load_case=load_case, surface=surface)
    if not len(rows):
        raise ValueError(f"load case {load_case!r}, surface {surface!r}: not a zone of Figure 28.3-1")
    return table["roof_angle_deg"][rows], table["gcpf"][rows]


def gcpf(load_case: str, surface: str, roof_angle_deg: ArrayLike) -> Floats:
    """External pressure coefficient GCpf of one zone.

    ASCE 7-16 and 7-22, Figure 28.3-1: linear in roof angle between the tabulated angles; case B at any angle.
    load_case "A" (wind across the ridge) or "B" (along it); surface "1" to "6", "1E" to "6E".
    Returns the shape of `roof_angle_deg` (degrees, 0 to 90).
    """
    angle = np.asarray(roof_angle_deg, dtype=float)
    if np.any((angle < 0.0) | (angle > MAXIMUM_ROOF_ANGLE_DEG)):
        raise ValueError("roof angle outside 0 to 90 degrees: Figure 28.3-1 has no coefficient")
    angles, values = _gcpf_curve(load_case, surface)
    result = np.interp(angle, angles, values)
    return np.asarray(np.where(np.isnan(angle), np.nan, result))[()]


def gcpf_words(load_case: str, surface: str, roof_angle_deg: float) -> str:
    """The two tabulated angles that a coefficient lies between, with their values; empty on one or where both agree."""
    angles, values = _gcpf_curve(load_case, surface)
    k = int(np.searchsorted(angles, roof_angle_deg, side="right"))
    if k in (0, len(angles)) or roof_angle_deg == angles[k - 1] or values[k - 1] == values[k]:
        return ""
    return f" (between {values[k - 1]:g} at {angles[k - 1]:g} deg and {values[k]:g} at {angles[k]:g} deg)"


def torsion_gcpf(load_case: str, surface: str, roof_angle_deg: ArrayLike, edition: str) -> Floats:
    """Coefficient of a zone that is only partly loaded in a torsional case (zones 1T to 6T).

    ASCE 7-16 Figure 28.3-1, torsional cases; ASCE 7-22 load cases 3 and 4: a fixed share of the full zone.
    """
    return np.asarray(edition_value(edition, "torsion_share") * gcpf(load_case, surface, roof_angle_deg))[()]


def torsion_exempt(
    storeys: ArrayLike, h_ft: ArrayLike, light_frame: ArrayLike, flexible_diaphragm: ArrayLike
) -> NDArray[np.bool_]:
    """Whether the torsional load cases may be left out.

    ASCE 7-16 and 7-22, exception of Figure 28.3-1 (from memory): one storey up to 30 ft mean roof height; up to two
    storeys of light-frame construction; up to two storeys with flexible diaphragms.
    """
    number, height = np.asarray(storeys), np.asarray(h_ft, dtype=float)
    low = (number <= 1) & (height <= 30.0)
    light = (number <= 2) & np.asarray(light_frame, dtype=bool)
    flexible = (number <= 2) & np.asarray(flexible_diaphragm, dtype=bool)
    return np.asarray(low | light | flexible)[()]


def end_zone_a_ft(least_horizontal_ft: ArrayLike, mean_roof_height_ft: ArrayLike) -> Floats:
    """Dimension a of the figures; the end zone of Figure 28.3-1 is 2a wide.

    ASCE 7-16 and 7-22, Figure 28.3-1 and Sec. 30.2: the lesser of 0.10 times the least horizontal dimension and 0.4 h,
    not less than the greater of 0.04 times that dimension and 3 ft. Feet in, feet out.
    """
    least, height = np.asarray(least_horizontal_ft, dtype=float), np.asarray(mean_roof_height_ft, dtype=float)
    small = np.minimum(0.10 * least, 0.4 * height)
    return np.asarray(np.maximum(small, np.maximum(0.04 * least, 3.0)))[()]


def end_zone_width_ft(least_horizontal_ft: ArrayLike, mean_roof_height_ft: ArrayLike) -> Floats:
    """Width of the end zone, 2a (ASCE 7-16 and 7-22, Figure 28.3-1)."""
    return np.asarray(2.0 * end_zone_a_ft(least_horizontal_ft, mean_roof_height_ft))[()]


def zone2_extent_ft(building_dimension_parallel_to_wind_ft: ArrayLike, eave_height_ft: ArrayLike) -> Floats:
    """How far negative zone 2 (2E) pressure reaches from the windward edge of the roof, on plan.

    ASCE 7-16 and 7-22, Figure 28.3-1, note on zone 2 (from memory): the lesser of half the building dimension parallel
    to the wind and 2.5 times the eave height; the rest of that slope takes zone 3 (3E).
    """
    dimension = np.asarray(building_dimension_parallel_to_wind_ft, dtype=float)
    return np.asarray(np.minimum(0.5 * dimension, 2.5 * np.asarray(eave_height_ft, dtype=float)))[()]


def windward_overhang_soffit_gcp(edition: str) -> float:
    """Upward pressure coefficient under a windward overhang, added to the roof zone above it (Sec. 28.3.3)."""
    return edition_value(edition, "windward_overhang_soffit_gcp")


def gcpi(enclosure: str, edition: str) -> float:
    """Magnitude of the internal pressure coefficient; both signs apply.

    ASCE 7-16 and 7-22, Table 26.13-1; enclosure "enclosed", "partially enclosed", "partially open" or "open".
    """
    return float(value(load_table("internal_pressure.csv", "screener"), "gcpi", edition=edition, enclosure=enclosure))


def minimum_wall_psf(edition: str) -> float:
    """Least pressure on the projected wall area, strength level (ASCE 7-16 and 7-22, Sec. 28.3.4)."""
    return edition_value(edition, "envelope_minimum_wall_psf")


def minimum_roof_psf(edition: str) -> float:
    """Least pressure on the projected roof area, strength level (ASCE 7-16 and 7-22, Sec. 28.3.4)."""
    return edition_value(edition, "envelope_minimum_roof_psf")


def minimum_lateral_lb(wall_projection_sqft: ArrayLike, roof_projection_sqft: ArrayLike, edition: str) -> Floats:
    """Least lateral load on the whole building, strength level: both minimum pressures together (Sec. 28.3.4)."""
    wall = minimum_wall_psf(edition) * np.asarray(wall_projection_sqft, dtype=float)
    return np.asarray(wall + minimum_roof_psf(edition) * np.asarray(roof_projection_sqft, dtype=float))[()]


def envelope_pressure_psf(qh_psf: ArrayLike, coefficient: ArrayLike, internal: ArrayLike, edition: str) -> Floats:
    """Design pressure p = qh Kd (GCpf - GCpi), Kd as the edition places it; minus acts away from the surface.

    ASCE 7-16 Eq. 28.3-1, ASCE 7-22 Eq. 28.3-1. `internal` carries its sign.
    """
    net = np.asarray(coefficient, dtype=float) - np.asarray(internal, dtype=float)
    return np.asarray(kd_in_pressure(edition) * np.asarray(qh_psf, dtype=float) * net)[()]
