"""Lots, ground polygons and raster cells of the sample, read plainly: no projection library, no geometry library.

All vector layers of the sample are in NAD83 / UTM zone 13N; wind and ground-motion rasters are in NAD83 degrees.
"""

from __future__ import annotations

import itertools
import math
import sqlite3
import struct
from pathlib import Path
from typing import Any

Thing = dict[str, Any]
Ring = list[tuple[float, float]]
FOOT_M = 0.3048

# GRS80 ellipsoid and UTM zone 13: published constants
SEMI_MAJOR_M, FLATTENING = 6378137.0, 1.0 / 298.257222101
CENTRAL_DEG, SCALE, FALSE_EAST_M = -105.0, 0.9996, 500000.0


def read_layer(file: Path) -> list[Thing]:
    """Rows of a GeoPackage's one layer; ``rings`` holds the rings of its polygon (first the outer one)."""
    with sqlite3.connect(file) as db:
        table = db.execute("select table_name from gpkg_contents").fetchone()[0]
        cursor = db.execute(f'select * from "{table}"')
        names = [column[0] for column in cursor.description]
        rows = [dict(zip(names, row, strict=True)) for row in cursor]
    for row in rows:
        row["rings"] = _rings(row.pop("geom"))
    return rows


def _rings(blob: bytes) -> list[Ring]:
    """Rings of a polygon in the GeoPackage's binary form (header, then well-known binary)."""
    flags = blob[3]
    skip = 8 + {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[(flags >> 1) & 7]
    order = "<" if blob[skip] else ">"
    kind, count = struct.unpack_from(f"{order}II", blob, skip + 1)
    if kind != 3:
        raise ValueError(f"geometry type {kind}; only plain polygons are read here")
    at, rings = skip + 9, []
    for _ in range(count):
        (points,) = struct.unpack_from(f"{order}I", blob, at)
        numbers = struct.unpack_from(f"{order}{2 * points}d", blob, at + 4)
        rings.append(list(zip(numbers[0::2], numbers[1::2], strict=True)))
        at += 4 + 16 * points
    return rings


def middle(ring: Ring) -> tuple[float, float]:
    """Centre of area of a ring without holes."""
    x0, y0 = ring[0]
    twice = sx = sy = 0.0
    for (xa, ya), (xb, yb) in itertools.pairwise(ring):
        cross = (xa - x0) * (yb - y0) - (xb - x0) * (ya - y0)
        twice += cross
        sx += cross * (xa + xb - 2.0 * x0)
        sy += cross * (ya + yb - 2.0 * y0)
    return x0 + sx / (3.0 * twice), y0 + sy / (3.0 * twice)


def inside(rings: list[Ring], x: float, y: float) -> bool:
    """Whether a point lies in a polygon, by counting the edges to its right."""
    odd = False
    for ring in rings:
        for (xa, ya), (xb, yb) in itertools.pairwise(ring):
            if (ya > y) != (yb > y) and x < xa + (xb - xa) * (y - ya) / (yb - ya):
                odd = not odd
    return odd


# --- the map projection -----------------------------------------------------------------------------------------------


def _third_flattening() -> float:
    return FLATTENING / (2.0 - FLATTENING)


def geographic(east: float, north: float) -> tuple[float, float]:
    """Longitude and latitude in degrees of a UTM point, by the series of Krueger to the fourth power of n."""
    n = _third_flattening()
    radius = SEMI_MAJOR_M / (1.0 + n) * (1.0 + n**2 / 4.0 + n**4 / 64.0)
    xi, eta = north / (SCALE * radius), (east - FALSE_EAST_M) / (SCALE * radius)
    beta = [
        n / 2.0 - 2.0 * n**2 / 3.0 + 37.0 * n**3 / 96.0 - n**4 / 360.0,
        n**2 / 48.0 + n**3 / 15.0 - 437.0 * n**4 / 1440.0,
        17.0 * n**3 / 480.0 - 37.0 * n**4 / 840.0,
        4397.0 * n**4 / 161280.0,
    ]
    xi0 = xi - sum(b * math.sin(2 * j * xi) * math.cosh(2 * j * eta) for j, b in enumerate(beta, 1))
    eta0 = eta - sum(b * math.cos(2 * j * xi) * math.sinh(2 * j * eta) for j, b in enumerate(beta, 1))
    tau0 = math.sin(xi0) / math.hypot(math.sinh(eta0), math.cos(xi0))
    # conformal to geodetic latitude, by Newton's rule
    e = math.sqrt(FLATTENING * (2.0 - FLATTENING))
    tau = tau0
    for _ in range(6):
        sigma = math.sinh(e * math.atanh(e * tau / math.hypot(1.0, tau)))
        there = tau * math.hypot(1.0, sigma) - sigma * math.hypot(1.0, tau)
        slope = (1.0 - e**2) * math.hypot(1.0, tau) * math.hypot(1.0, there) / (1.0 + (1.0 - e**2) * tau**2)
        tau += (tau0 - there) / slope
    return CENTRAL_DEG + math.degrees(math.atan2(math.sinh(eta0), math.cos(xi0))), math.degrees(math.atan(tau))


def true_axes_ft(east: float, north: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """True feet (east, north) of one metre of the map's x, and of one metre of its y, at a point."""
    _, lat = geographic(east, north)
    e2 = FLATTENING * (2.0 - FLATTENING)
    w = math.sqrt(1.0 - e2 * math.sin(math.radians(lat)) ** 2)
    across, along = SEMI_MAJOR_M / w, SEMI_MAJOR_M * (1.0 - e2) / w**3
    out = []
    for dx, dy in ((50.0, 0.0), (0.0, 50.0)):
        lon_a, lat_a = geographic(east - dx, north - dy)
        lon_b, lat_b = geographic(east + dx, north + dy)
        to_east = math.radians(lon_b - lon_a) * across * math.cos(math.radians(lat)) / 100.0 / FOOT_M
        to_north = math.radians(lat_b - lat_a) * along / 100.0 / FOOT_M
        out.append((to_east, to_north))
    return out[0], out[1]


# --- rasters ----------------------------------------------------------------------------------------------------------


class Raster:
    """Cells of a north-up raster as lists of rows."""

    def __init__(self, file: Path) -> None:
        import rasterio

        with rasterio.open(file) as data:
            t = data.transform
            if t.b or t.d:
                raise ValueError(f"{file.name} is turned; expected a north-up raster")
            self.left, self.top, self.dx, self.dy = t.c, t.f, t.a, t.e
            self.rows = data.read(1).tolist()

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Row and column, whole numbers at the corners of cells."""
        return (y - self.top) / self.dy, (x - self.left) / self.dx

    def between(self, x: float, y: float, logarithm: bool = False) -> float:
        """Value between the four cell centres about a point, or its logarithm's."""
        row, column = self.place(x, y)
        return self.at_centres(row - 0.5, column - 0.5, logarithm)

    def at_centres(self, r: float, c: float, logarithm: bool = False) -> float:
        """The same at a row and column counted from the centre of the first cell."""
        i, j = math.floor(r), math.floor(c)
        a, b = r - i, c - j
        total = 0.0
        for di, wr in ((0, 1.0 - a), (1, a)):
            for dj, wc in ((0, 1.0 - b), (1, b)):
                if wr * wc > 0.0:
                    cell = self.rows[i + di][j + dj]
                    total += wr * wc * (math.log(cell) if logarithm else cell)
        return math.exp(total) if logarithm else total
