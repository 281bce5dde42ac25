"""Analytic grounds for the topography tests, cut into rasters, and where a lot stands on them.

A ground is a function of s (ft along the wind, growing downwind) and t (ft across it), turned to any bearing. All are
invented shapes with an exact H and Lh; the point s = t = 0 is the point 0, 0 of LOCAL, true distances in metres.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from affine import Affine

from hazard.rasters import RasterWindow
from hazard.topography import TopographyResult, TopographySettings, topography
from tests.hazard.exposure_grounds import FT, LOCAL

Ground = Callable[[np.ndarray, np.ndarray], np.ndarray]
FULL_FT = 14_600.0  # 2 miles and the default reading beyond, with a few cells


def raster(
    ground: Ground, cell_m: float = 10.0, k: int = 0, half_ft: float = FULL_FT, shift: float = 0.0
) -> RasterWindow:
    """A raster of a ground for wind from direction k; `shift` (cells) moves the grid under the ground."""
    count = math.ceil(2 * half_ft * FT / cell_m)
    left, top = (-count / 2 + shift) * cell_m, (count / 2 + 0.7 * shift) * cell_m
    along = (np.arange(count) + 0.5) * cell_m
    east, north = np.meshgrid((left + along) / FT, (top - along) / FT)
    turn = math.radians(22.5 * k)
    upwind = east * math.sin(turn) + north * math.cos(turn)
    across = east * math.cos(turn) - north * math.sin(turn)
    values = np.asarray(ground(-upwind, across), dtype=np.float64)
    return RasterWindow(values, np.isfinite(values), Affine(cell_m, 0.0, left, 0.0, -cell_m, top), LOCAL, "ground.tif")


def place(s: float = 0.0, t: float = 0.0, k: int = 0) -> np.ndarray:
    """Point (1, 2) in metres of LOCAL at s, t for wind from direction k."""
    turn = math.radians(22.5 * k)
    east = -s * math.sin(turn) + t * math.cos(turn)
    north = -s * math.cos(turn) - t * math.sin(turn)
    return np.array([[east * FT, north * FT]])


def on_ground(
    ground: Ground,
    s: float = 0.0,
    k: int = 0,
    cell_m: float = 10.0,
    shift: float = 0.0,
    half_ft: float = FULL_FT,
    settings: TopographySettings | None = None,
) -> TopographyResult:
    """Features of one lot at s on a raster of the ground."""
    return topography(raster(ground, cell_m, k, half_ft, shift), place(s, 0.0, k), LOCAL, settings)


def triangle(height: float, half_width: float) -> Ground:
    """Two-dimensional triangular ridge: Lh = half_width / 2."""
    return lambda s, t: height * np.maximum(0.0, 1.0 - np.abs(s) / half_width)


def ramp(height: float, length: float) -> Ground:
    """Straight rise that ends at s = 0, flat behind: Lh = length / 2."""
    return lambda s, t: height * np.clip(1.0 + s / length, 0.0, 1.0)


def agnesi_hill(height: float, a: float) -> Ground:
    """Axisymmetric hill H / (1 + (r / a)^2): Lh = a."""
    return lambda s, t: height / (1.0 + (s * s + t * t) / a**2)


def gaussian_hill(height: float, sigma: float) -> Ground:
    """Axisymmetric hill: Lh = sigma sqrt(2 ln 2)."""
    return lambda s, t: height * np.exp(-(s * s + t * t) / (2.0 * sigma**2))


def gaussian_ridge(height: float, sigma: float) -> Ground:
    """Two-dimensional ridge: Lh = sigma sqrt(2 ln 2)."""
    return lambda s, t: height * np.exp(-(s * s) / (2.0 * sigma**2)) + 0.0 * t


def agnesi_ridge(height: float, a: float) -> Ground:
    """Two-dimensional ridge H / (1 + (s / a)^2): Lh = a."""
    return lambda s, t: height / (1.0 + (s / a) ** 2) + 0.0 * t


def cosine_ridge(height: float, half_width: float) -> Ground:
    """Two-dimensional raised cosine: Lh = half_width / 2."""
    return lambda s, t: 0.5 * height * (1.0 + np.cos(np.pi * np.clip(s / half_width, -1.0, 1.0))) + 0.0 * t


def polyline(*corners: tuple[float, float]) -> Ground:
    """Straight pieces through (s, z); level beyond the ends."""
    s_of, z_of = np.array(corners, dtype=np.float64).T
    return lambda s, t: np.interp(s, s_of, z_of) + 0.0 * t


def plus(*grounds: Ground) -> Ground:
    """The sum of grounds."""
    return lambda s, t: sum((ground(s, t) for ground in grounds), np.zeros_like(s))


def moved(ground: Ground, s0: float) -> Ground:
    """The same ground with its middle at s0."""
    return lambda s, t: ground(s - s0, t)


def slope(rise: float) -> Ground:
    """A plane that rises downwind."""
    return lambda s, t: rise * s + 0.0 * t


def rolling(
    seed: int, count: int = 700, cell_m: float = 10.0, scale_m: float = 200.0, sd_ft: float = 90.0
) -> RasterWindow:
    """Random rolling ground, to exercise every branch."""
    from scipy import ndimage

    rng = np.random.default_rng(seed)
    field = ndimage.gaussian_filter(rng.normal(size=(count, count)), scale_m / cell_m, mode="wrap")
    values = field / field.std() * sd_ft + rng.normal(0.0, 0.8, (count, count))
    half = count * cell_m / 2.0
    return RasterWindow(
        values, np.ones(values.shape, dtype=bool), Affine(cell_m, 0.0, -half, 0.0, -cell_m, half), LOCAL, "rolling.tif"
    )
