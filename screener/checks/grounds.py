"""Analytic grounds with known answers: land cover around a lot, and hills and steps of exact height and length.

Land cover is a function of true feet east and north. Terrain is a function of s (ft along the wind, growing downwind)
and t (ft across it), turned to any bearing. The point 0, 0 is the point 0, 0 of LOCAL, whose metres are true.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import NDArray

from hazard.land_cover import RoughnessMap, roughness_map
from hazard.rasters import RasterWindow
from hazard.topography import TopographyResult, topography
from hazard.topography_settings import TopographySettings

FT = 0.3048
LOCAL = pyproj.CRS.from_proj4("+proj=tmerc +lat_0=40 +lon_0=-120.5 +k=1 +x_0=0 +y_0=0 +datum=NAD83 +units=m")
CODES = {"B": 41, "C": 71, "D": 11, "?": 250}
"""One class of the US National Land Cover Database for each roughness; 250 is in no table."""
FULL_FT = 14_600.0
"""2 miles and the default reading beyond, with a few cells."""

Floats = NDArray[np.float64]
Cover = Callable[[Floats, Floats], NDArray[np.str_]]
"""True feet east and north -> letters."""
Terrain = Callable[[Floats, Floats], Floats]
"""ft along and across the wind -> ft of height."""


# --- land cover ------------------------------------------------------------------------------------------------------


def codes_of(letters: NDArray[np.str_]) -> NDArray[np.int32]:
    """Class codes of an array of letters."""
    out: NDArray[np.int32] = np.zeros(letters.shape, dtype=np.int32)
    for letter, code in CODES.items():
        out[letters == letter] = code
    return out


def window_of(
    ground: Cover, cell_m: float, reach_ft: float = 6000.0, shift_cells: tuple[float, float] = (0.5, 0.5)
) -> RasterWindow:
    """A raster around the point 0, 0 of LOCAL; that point lies shift_cells into its cell (0.5, 0.5: at the centre)."""
    half = math.ceil(reach_ft * FT / cell_m)
    left, top = -(half + shift_cells[0]) * cell_m, (half + shift_cells[1]) * cell_m
    transform = Affine(cell_m, 0.0, left, 0.0, -cell_m, top)
    size = 2 * half + 1
    x = left + (np.arange(size) + 0.5) * cell_m
    y = top - (np.arange(size) + 0.5) * cell_m
    east, north = np.meshgrid(x / FT, y / FT)
    values = codes_of(ground(east, north))
    return RasterWindow(values, np.ones(values.shape, dtype=bool), transform, LOCAL, "land_cover.tif")


def map_of(
    ground: Cover, cell_m: float, reach_ft: float = 6000.0, shift_cells: tuple[float, float] = (0.5, 0.5)
) -> RoughnessMap:
    """The same as a roughness map."""
    return roughness_map(window_of(ground, cell_m, reach_ft, shift_cells))


def uniform(letter: str) -> Cover:
    """The same roughness everywhere."""
    return lambda east, north: np.full(east.shape, letter)


def half_plane(bearing_deg: float, distance_ft: float, near: str, far: str) -> Cover:
    """`far` beyond a straight line at a distance from the lot towards a bearing, `near` on this side."""
    unit = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    return lambda east, north: np.where(east * unit[0] + north * unit[1] > distance_ft, far, near)


def wedge(first_deg: float, last_deg: float, inside: str, outside: str) -> Cover:
    """`inside` between two bearings seen from the lot."""

    def ground(east: np.ndarray, north: np.ndarray) -> np.ndarray:
        bearing = np.degrees(np.arctan2(east, north)) % 360.0
        return np.where((bearing - first_deg) % 360.0 < (last_deg - first_deg) % 360.0, inside, outside)

    return ground


# --- terrain ---------------------------------------------------------------------------------------------------------


def raster(
    ground: Terrain, cell_m: float = 10.0, k: int = 0, half_ft: float = FULL_FT, shift: float = 0.0
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


def place(s: float = 0.0, t: float = 0.0, k: int = 0) -> Floats:
    """Point (1, 2) in metres of LOCAL at s, t for wind from direction k."""
    turn = math.radians(22.5 * k)
    east = -s * math.sin(turn) + t * math.cos(turn)
    north = -s * math.cos(turn) - t * math.sin(turn)
    return np.array([[east * FT, north * FT]])


def on_ground(
    ground: Terrain,
    s: float = 0.0,
    k: int = 0,
    cell_m: float = 10.0,
    shift: float = 0.0,
    half_ft: float = FULL_FT,
    settings: TopographySettings | None = None,
) -> TopographyResult:
    """Features of one lot at s on a raster of the ground."""
    return topography(raster(ground, cell_m, k, half_ft, shift), place(s, 0.0, k), LOCAL, settings)


def triangle(height: float, half_width: float) -> Terrain:
    """Two-dimensional triangular ridge: Lh = half_width / 2."""
    return lambda s, t: height * np.maximum(0.0, 1.0 - np.abs(s) / half_width)


def ramp(height: float, length: float) -> Terrain:
    """Straight rise that ends at s = 0, flat behind: Lh = length / 2."""
    return lambda s, t: height * np.clip(1.0 + s / length, 0.0, 1.0)


def agnesi_hill(height: float, a: float) -> Terrain:
    """Axisymmetric hill H / (1 + (r / a)^2): Lh = a."""
    return lambda s, t: height / (1.0 + (s * s + t * t) / a**2)


def gaussian_hill(height: float, sigma: float) -> Terrain:
    """Axisymmetric hill: Lh = sigma sqrt(2 ln 2)."""
    return lambda s, t: height * np.exp(-(s * s + t * t) / (2.0 * sigma**2))


def polyline(*corners: tuple[float, float]) -> Terrain:
    """Straight pieces through (s, z); level beyond the ends."""
    s_of, z_of = np.array(corners, dtype=np.float64).T
    return lambda s, t: np.interp(s, s_of, z_of) + 0.0 * t


def plus(*grounds: Terrain) -> Terrain:
    """The sum of grounds."""
    return lambda s, t: sum((ground(s, t) for ground in grounds), np.zeros_like(s))


def moved(ground: Terrain, s0: float) -> Terrain:
    """The same ground with its middle at s0."""
    return lambda s, t: ground(s - s0, t)


def slope(rise: float) -> Terrain:
    """A plane that rises downwind."""
    return lambda s, t: rise * s + 0.0 * t
