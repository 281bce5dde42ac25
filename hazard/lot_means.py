"""A raster over whole lots: exact area-weighted means, every cell by its share that lies in the lot, and extremes.

Most hazards need only the value at a lot's middle (a lot is smaller than most cells); these are for rasters far finer
than a lot. Any polygon is right: concave, with holes, in parts. Each edge of a lot adds its own
signed area to the cells it crosses and its height to those on its right, so the cost grows with the edges and the cells
of a lot, not with the raster. On one thread: a million lots take less than a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numba import njit
from numpy.typing import NDArray

from hazard.crs import transform_xy

if TYPE_CHECKING:
    import pyproj

    from hazard.rasters import RasterWindow

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LotMeans:
    """Mean of the known cells of each lot (NaN where none is known), and the share of the lot that they cover; the
    least and the greatest of the known cells that lie in it by half or more (NaN: none), and how many of them."""

    mean: Floats
    covered: Floats
    least: Floats
    greatest: Floats
    cells: NDArray[np.int64]


def lot_means(window: RasterWindow, lots: Sequence[Any] | NDArray[np.object_], crs: pyproj.CRS) -> LotMeans:
    """Area-weighted mean of a raster over each lot, and its extremes; areas are those of the raster's own grid.

    lots: polygons (parts and holes allowed) in `crs`; a missing or empty one gets NaN. Refuses classes.
    """
    if window.values.dtype.kind in "iu":
        raise ValueError(f"{window.source} holds classes, which have no mean; expected a continuous raster")
    shapes = np.asarray(lots, dtype=object)
    values = np.ascontiguousarray(window.values, dtype=np.float64)
    valid = np.ascontiguousarray(window.valid, dtype=np.bool_)
    size = len(shapes)
    mean, least, greatest = (np.full(size, np.nan) for _ in range(3))
    found = LotMeans(mean, np.zeros(size), least, greatest, np.zeros(size, dtype=np.int64))
    plain = (shapely.get_type_id(shapes) == _POLYGON) & (shapely.get_num_interior_rings(shapes) == 0)
    for which, rings_of in ((plain, _one_ring_each), (~plain, _rings)):
        some = np.flatnonzero(which)
        xy, first_of_ring, first_of_lot = rings_of(shapes[some])
        columns, rows = window.pixel(transform_xy(xy, crs, window.crs))
        own = [column[some] for column in vars(found).values()]
        _means(values, valid, columns, rows, first_of_ring, first_of_lot, *own)
        for column, part in zip(vars(found).values(), own, strict=True):
            column[some] = part
    return found


_POLYGON = 3  # GEOS's number
_Rings = tuple[Floats, NDArray[np.int64], NDArray[np.int64]]


def _one_ring_each(polygons: NDArray[np.object_]) -> _Rings:
    """Vertices of polygons without holes; either way round, since the sign of a whole lot cancels."""
    xy, of = shapely.get_coordinates(polygons, return_index=True)
    first = np.searchsorted(of, np.arange(len(polygons) + 1)).astype(np.int64)
    return xy, first, np.arange(len(polygons) + 1, dtype=np.int64)


def _rings(lots: NDArray[np.object_]) -> _Rings:
    """Vertices of any polygons; outer rings run one way and holes the other, whatever the file did."""
    parts, lot_of_part = shapely.get_parts(lots, return_index=True)
    rings, part_of_ring = shapely.get_rings(parts, return_index=True)
    outer = np.diff(part_of_ring, prepend=-1) != 0
    xy, of = shapely.get_coordinates(rings, return_index=True)
    first = np.searchsorted(of, np.arange(len(rings) + 1)).astype(np.int64)
    backwards = shapely.is_ccw(rings) != outer
    place = np.arange(len(xy))
    turned = (first[:-1] + first[1:] - 1)[of] - place
    first_of_lot = np.searchsorted(lot_of_part[part_of_ring], np.arange(len(lots) + 1)).astype(np.int64)
    return xy[np.where(backwards[of], turned, place)], first, first_of_lot


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _add_edge(x0: float, y0: float, x1: float, y1: float, left: int, top: int, area: Floats, cover: Floats) -> None:
    """Add the ground to the right of one edge: partly in the cells it crosses, wholly in those beyond them."""
    if y0 == y1:
        return
    sign = 1.0
    if y0 > y1:
        x0, y0, x1, y1, sign = x1, y1, x0, y0, -1.0
    slope = (x1 - x0) / (y1 - y0)
    for row in range(int(np.floor(y0)), int(np.ceil(y1))):
        low, high = max(y0, float(row)), min(y1, row + 1.0)
        tall = sign * (high - low)
        a, b = x0 + slope * (low - y0), x0 + slope * (high - y0)
        if a > b:
            a, b = b, a
        wide = b - a
        for column in range(int(np.floor(a)), int(np.floor(b)) + 1):
            begin, end = max(a, float(column)), min(b, column + 1.0)
            part = tall if wide <= 0.0 else tall * (end - begin) / wide
            area[row - top, column - left] += part * (column + 1.0 - 0.5 * (begin + end))
            cover[row - top, column - left + 1] += part


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _means(
    values: Floats, valid: NDArray[np.bool_], x: Floats, y: Floats, first_of_ring: NDArray[np.int64],
    first_of_lot: NDArray[np.int64], mean: Floats, covered: Floats, least: Floats, greatest: Floats,
    cells: NDArray[np.int64],
) -> None:  # fmt: skip
    rows, columns = values.shape
    for lot in range(len(mean)):
        begin, end = first_of_lot[lot], first_of_lot[lot + 1]
        if begin == end:
            continue
        i, j = first_of_ring[begin], first_of_ring[end]
        x_least, x_most, y_least, y_most = np.inf, -np.inf, np.inf, -np.inf
        placed = True
        for v in range(i, j):
            placed &= np.isfinite(x[v]) and np.isfinite(y[v])
            x_least, x_most = min(x_least, x[v]), max(x_most, x[v])
            y_least, y_most = min(y_least, y[v]), max(y_most, y[v])
        if not placed or (x_most - x_least + 2.0) * (y_most - y_least + 2.0) > 4.0 * values.size + 1e6:
            continue  # no place on the map, or so large that the raster can't cover it
        left, right = int(np.floor(x_least)), int(np.floor(x_most)) + 1
        top, bottom = int(np.floor(y_least)), int(np.floor(y_most)) + 1
        if right <= 0 or bottom <= 0 or left >= columns or top >= rows:
            continue
        sums = np.zeros((2, bottom - top + 1, right - left + 2))
        area, cover = sums[0], sums[1]
        for ring in range(begin, end):
            for v in range(first_of_ring[ring], first_of_ring[ring + 1] - 1):
                _add_edge(x[v], y[v], x[v + 1], y[v + 1], left, top, area, cover)
        total, known, weighted = 0.0, 0.0, 0.0
        for r in range(bottom - top + 1):
            run = 0.0
            for c in range(right - left + 2):
                run += cover[r, c]
                weight = area[r, c] + run
                total += weight
                row, column = r + top, c + left
                if 0 <= row < rows and 0 <= column < columns and valid[row, column]:
                    known += weight
                    weighted += weight * values[row, column]
                    if abs(weight) >= 0.5:
                        cells[lot] += 1
                        least[lot] = np.fmin(least[lot], values[row, column])
                        greatest[lot] = np.fmax(greatest[lot], values[row, column])
        if total != 0.0:
            covered[lot] = min(1.0, max(0.0, known / total))
            if covered[lot] > 1e-9:
                mean[lot] = weighted / known
