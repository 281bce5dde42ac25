"""True directions and distances near a point of any coordinate system: grid convergence and scale in one matrix."""

from __future__ import annotations

import numpy as np
import pyproj

from hazard.crs import METRES_PER_FOOT, horizontal

FT_PER_M = 1.0 / METRES_PER_FOOT
_STEP_M = 500.0
_WIDEST_CHANGE = 0.005


def ground_axes_ft(crs: pyproj.CRS, x: float, y: float) -> np.ndarray:
    """True feet east and north per unit of the CRS's own x and y, at one point: (2, 2), ground = matrix @ (dx, dy).

    Found from four geodesics of 500 m, so grid convergence, scale factor and the CRS's unit are all inside.
    """
    flat = horizontal(crs)
    to_geodetic = pyproj.Transformer.from_crs(flat, flat.geodetic_crs or flat, always_xy=True)
    lon, lat = to_geodetic.transform(x, y)
    if not (np.isfinite(lon) and np.isfinite(lat)):
        raise ValueError(f"point {x}, {y} is outside the area where {crs.name} can be used")
    ones = np.ones(4)
    bearings = np.array([90.0, 270.0, 0.0, 180.0])
    ellipsoid = flat.get_geod()
    if ellipsoid is None:
        raise ValueError(f"{crs.name} has no ellipsoid, so true distances can't be found")
    lons, lats, _ = ellipsoid.fwd(lon * ones, lat * ones, bearings, _STEP_M * ones)
    xs, ys = to_geodetic.transform(lons, lats, direction="INVERSE")
    per_metre = np.array([[xs[0] - xs[1], xs[2] - xs[3]], [ys[0] - ys[1], ys[2] - ys[3]]]) / (2.0 * _STEP_M)
    return np.asarray(np.linalg.inv(per_metre) * FT_PER_M)


def ground_axes_over_ft(crs: pyproj.CRS, xy: np.ndarray) -> np.ndarray:
    """The same at the middle of (n, 2) points; refuses points so far apart that one matrix is not enough."""
    low, high = xy.min(axis=0), xy.max(axis=0)
    axes = ground_axes_ft(crs, *((low + high) / 2.0))
    for corner in (low, high, np.array([low[0], high[1]]), np.array([high[0], low[1]])):
        if np.abs(ground_axes_ft(crs, *corner) - axes).max() > _WIDEST_CHANGE * np.abs(axes).max():
            raise ValueError(
                f"the lots spread so far that north or scale of {crs.name} changes by more than {_WIDEST_CHANGE:.1%} "
                "between them; split them into smaller tracts"
            )
    return axes
