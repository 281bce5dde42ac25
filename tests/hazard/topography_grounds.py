"""Analytic grounds for the topography tests, cut into rasters, and where a lot stands on them.

A ground is a function of s (ft along the wind, growing downwind) and t (ft across it), turned to any bearing. All are
invented shapes with an exact H and Lh; the point s = t = 0 is the point 0, 0 of LOCAL, true distances in metres.
"""

from __future__ import annotations

import numpy as np
from affine import Affine

from hazard.rasters import RasterWindow
from screener.checks.grounds import FULL_FT as FULL_FT
from screener.checks.grounds import LOCAL
from screener.checks.grounds import Terrain as Ground
from screener.checks.grounds import agnesi_hill as agnesi_hill
from screener.checks.grounds import gaussian_hill as gaussian_hill
from screener.checks.grounds import moved as moved
from screener.checks.grounds import on_ground as on_ground
from screener.checks.grounds import place as place
from screener.checks.grounds import plus as plus
from screener.checks.grounds import polyline as polyline
from screener.checks.grounds import ramp as ramp
from screener.checks.grounds import raster as raster
from screener.checks.grounds import slope as slope
from screener.checks.grounds import triangle as triangle


def gaussian_ridge(height: float, sigma: float) -> Ground:
    """Two-dimensional ridge: Lh = sigma sqrt(2 ln 2)."""
    return lambda s, t: height * np.exp(-(s * s) / (2.0 * sigma**2)) + 0.0 * t


def agnesi_ridge(height: float, a: float) -> Ground:
    """Two-dimensional ridge H / (1 + (s / a)^2): Lh = a."""
    return lambda s, t: height / (1.0 + (s / a) ** 2) + 0.0 * t


def cosine_ridge(height: float, half_width: float) -> Ground:
    """Two-dimensional raised cosine: Lh = half_width / 2."""
    return lambda s, t: 0.5 * height * (1.0 + np.cos(np.pi * np.clip(s / half_width, -1.0, 1.0))) + 0.0 * t


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
