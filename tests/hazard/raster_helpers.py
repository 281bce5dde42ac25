"""Small rasters for tests, written to order."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from affine import Affine

UTM = pyproj.CRS("EPSG:26910")
EAST, NORTH, CELL = 500_000.0, 5_300_000.0, 30.0
NORTH_UP = Affine(CELL, 0, EAST, 0, -CELL, NORTH)


def write(
    path: Path,
    values: Any,
    transform: Affine | None = NORTH_UP,
    crs: Any = UTM,
    nodata: float | None = None,
    dtype: str | None = None,
    scale: float | None = None,
    offset: float | None = None,
    unit: str = "",
    tags: dict[str, str] | None = None,
    **profile: Any,
) -> Path:
    """Write (rows, columns) or (bands, rows, columns) as a GeoTIFF."""
    import rasterio

    cells = np.asarray(values) if dtype is None else np.asarray(values, dtype=dtype)
    cells = cells[None] if cells.ndim == 2 else cells
    described = {"driver": "GTiff", "dtype": cells.dtype, "count": cells.shape[0]} | profile
    if transform is not None:
        described["transform"] = transform
    if crs is not None:
        described["crs"] = pyproj.CRS(crs).to_wkt()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with rasterio.open(
            path, "w", height=cells.shape[1], width=cells.shape[2], nodata=nodata, **described
        ) as dataset:
            dataset.write(cells)
            if scale is not None:
                dataset.scales = [scale] * cells.shape[0]
            if offset is not None:
                dataset.offsets = [offset] * cells.shape[0]
            if unit:
                dataset.units = [unit] * cells.shape[0]
            if tags:
                dataset.update_tags(**tags)
    return path


def turned(degrees: float, x: float, y: float, cell: float = CELL) -> Affine:
    """A geotransform turned anticlockwise about its first corner."""
    c, s = cell * np.cos(np.radians(degrees)), cell * np.sin(np.radians(degrees))
    return Affine(c, s, x, s, -c, y)


def centres(shape: tuple[int, int], transform: Affine = NORTH_UP) -> tuple[np.ndarray, np.ndarray]:
    """x and y of every cell centre, (rows, columns)."""
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    t = transform
    c, r = columns + 0.5, rows + 0.5
    return t.a * c + t.b * r + t.c, t.d * c + t.e * r + t.f


def plane(shape: tuple[int, int], transform: Affine = NORTH_UP, a: float = 100.0) -> np.ndarray:
    """A field that is linear in x and y: `a` at (EAST, NORTH), rising 0.004 east and 0.002 north per metre."""
    x, y = centres(shape, transform)
    return linear(x, y, a)


def linear(x: Any, y: Any, a: float = 100.0) -> Any:
    """The same field anywhere."""
    return a + 0.004 * (np.asarray(x) - EAST) + 0.002 * (np.asarray(y) - NORTH)
