"""Wind on free roofs over open buildings (porches, patios): ASCE 7-16 and 7-22, Chapter 27, Sec. 27.3.2.

Net coefficients hold top and underside together, so no internal pressure is added: p = qh G CN. Plus acts downward.
The coefficients of this module's table are from memory.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hazard.standards.asce7_ch26_wind import kd_in_pressure
from hazard.standards.tables import load_table
from screener.standards._editions import edition_value

Floats = NDArray[np.float64]

LEAST_TABLE_ANGLE_DEG = 7.5  # flatter roofs, of either shape, take the level roof's coefficients
GREATEST_TABLE_ANGLE_DEG = 45.0
Key = tuple[str, str, str, str, str]  # shape, wind, flow, load case, part


@cache
def _curves() -> dict[Key, tuple[Floats, Floats]]:
    """Roof angles and coefficients by shape, wind, flow, load case and part of the roof."""
    points: dict[Key, list[tuple[float, float]]] = {}
    table = load_table("open_roof_cn.csv", "screener", ("wind_deg",))
    columns = ("shape", "wind_deg", "flow", "load_case", "part", "roof_angle_deg", "cn")
    for shape, wind, flow, load_case, part, angle, cn in zip(*(table[name] for name in columns), strict=True):
        key = (str(shape), str(wind), str(flow), str(load_case), str(part))
        points.setdefault(key, []).append((float(angle), float(cn)))
    return {key: (np.array([a for a, _ in pts]), np.array([c for _, c in pts])) for key, pts in points.items()}


def _effective_shape(shape: str, roof_angle_deg: float) -> tuple[str, float]:
    """Shape and angle to read the figures at: a roof below 7.5 degrees counts as a level monoslope roof."""
    if shape not in ("monoslope", "pitched"):
        raise ValueError(f"open roof shape {shape!r}; expected 'monoslope' or 'pitched'")
    if not 0.0 <= roof_angle_deg <= GREATEST_TABLE_ANGLE_DEG:
        raise ValueError(f"open roof at {roof_angle_deg} degrees; expected 0 to 45: the figures stop there")
    return ("monoslope", 0.0) if roof_angle_deg < LEAST_TABLE_ANGLE_DEG else (shape, roof_angle_deg)


def net_cn(shape: str, roof_angle_deg: float, wind_deg: int, flow: str, load_case: str, part: str) -> float:
    """Net pressure coefficient CN of one part of a free roof.

    ASCE 7-16 Figures 27.3-4, 27.3-5, 27.3-7 (from memory): linear in roof angle from 7.5 to 45 degrees, the level roof
    below. shape "monoslope" or "pitched"; wind_deg 0, 180 (across) or 90 (along the ridge); flow "clear" or
    "obstructed"; load_case "A" or "B"; part "windward" or "leeward", along the ridge "to h", "h to 2h" or "over 2h".
    """
    figure_shape, angle = _effective_shape(shape, roof_angle_deg)
    along = wind_deg == 90
    wind = 0 if figure_shape == "pitched" and wind_deg == 180 else wind_deg
    key = ("any" if along else figure_shape, str(wind), flow, load_case, part)
    if key not in _curves():
        raise ValueError(f"no open roof coefficient for {key}")
    angles, values = _curves()[key]
    return float(np.interp(angle, angles, values))


def _all_cn(roof_angle_deg: float, shape: str, flow: str) -> list[tuple[Key, float]]:
    """Every coefficient of the figures for one roof; flow "worst" takes both flows."""
    figure_shape, _ = _effective_shape(shape, roof_angle_deg)
    if flow not in ("clear", "obstructed", "worst"):
        raise ValueError(f"flow {flow!r}; expected 'clear', 'obstructed' or 'worst'")
    keys = [k for k in _curves() if k[0] in (figure_shape, "any") and flow in (k[2], "worst")]
    return [(k, net_cn(shape, roof_angle_deg, int(k[1]), k[2], k[3], k[4])) for k in keys]


def net_uplift_cn(roof_angle_deg: float, shape: str, flow: str = "worst") -> tuple[float, float]:
    """Worst upward (most negative) and worst downward (most positive) CN over all parts, winds and load cases.

    ASCE 7-16 Figures 27.3-4, 27.3-5, 27.3-7 (from memory). Right for a post line that carries one half of the roof and
    on the safe side for the whole roof; see `whole_roof_cn`.
    """
    values = [value for _, value in _all_cn(roof_angle_deg, shape, flow)]
    return min(values), max(values)


def whole_roof_cn(roof_angle_deg: float, shape: str, flow: str = "worst") -> tuple[float, float]:
    """Worst upward and downward mean CN of both halves in one wind and case; along the ridge the first strip."""
    groups: dict[tuple[str, ...], list[float]] = {}
    for key, value in _all_cn(roof_angle_deg, shape, flow):
        if key[4] in ("windward", "leeward", "to h"):
            groups.setdefault(key[:4], []).append(value)
    means = [sum(values) / len(values) for values in groups.values()]
    return min(means), max(means)


def gust_effect_factor(edition: str) -> float:
    """Gust effect factor G of a rigid building, 0.85 (ASCE 7-16 and 7-22, Sec. 26.11.1)."""
    return edition_value(edition, "gust_effect_factor")


def open_roof_pressure_psf(qh_psf: ArrayLike, cn: ArrayLike, edition: str) -> Floats:
    """Net design pressure p = qh Kd G CN, Kd as the edition places it (ASCE 7-16 and 7-22, Eq. 27.3-2)."""
    factor = kd_in_pressure(edition) * gust_effect_factor(edition)
    return np.asarray(factor * np.asarray(qh_psf, dtype=float) * np.asarray(cn, dtype=float))[()]
