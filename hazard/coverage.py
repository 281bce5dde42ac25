"""How far ground is needed around each lot, how far a raster reaches, and what is missing by direction.

Told before anything is computed from it, so that a user can fetch the missing tiles first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray

from hazard.crs import transform_xy
from hazard.ground_axes import ground_axes_ft
from hazard.issues import Issue
from hazard.rasters import RasterWindow

Floats = NDArray[np.float64]

DIRECTIONS = 16
COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
LEAST_SHARE_ON_DATA = 0.5
_BLOCK = 64
_STEPS = 400
_SHOWN = 5
_STEP_FT = 10.0  # missing ground is told in whole tens of feet


@dataclass(frozen=True)
class Reach:
    """Ground known along 16 bearings from each of n lots: `reach_ft` (n, 16) of `need_ft` (n,); `on_data` (n,)."""

    need_ft: Floats
    reach_ft: Floats
    on_data: NDArray[np.bool_]

    @property
    def missing_ft(self) -> Floats:
        """What is missing, (n, 16), 0 where nothing is."""
        return np.asarray(np.maximum(0.0, self.need_ft[:, None] - self.reach_ft))

    @property
    def short(self) -> NDArray[np.bool_]:
        """Lots (n,) that lack ground in some direction."""
        return np.asarray((self.missing_ft > 0).any(axis=1))


def reach(window: RasterWindow, xy: ArrayLike, crs: pyproj.CRS, need_ft: ArrayLike) -> Reach:
    """Known ground around points (n, 2) of `crs`, out to `need_ft` (n,).

    Along each bearing the last cell with data counts: holes on the way are another matter (they are told where they
    lie). Steps are half a cell or a 400th of the need, whichever is longer, so a distance is good to one step.
    """
    places = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
    need = np.broadcast_to(np.asarray(need_ft, dtype=np.float64), (len(places),)).copy()
    column, row = window.pixel(transform_xy(places, crs, window.crs))
    per_ft = _pixels_per_ft(window)
    on_data = _known(window, column, row)
    reach_ft = np.repeat(need[:, None], DIRECTIONS, axis=1)
    rest = np.flatnonzero(~_clear(window, column, row, need, per_ft))
    if len(rest):
        reach_ft[rest] = _march(window, column[rest], row[rest], need[rest], per_ft)
    return Reach(need, reach_ft, on_data)


def reach_issues(found: Reach, where: str, purpose: str, lot_id: NDArray[np.str_]) -> list[Issue]:
    """What the reader is told of one raster's reach: a note where all is there, else a warning; a stop where most lots
    lie beside the raster."""
    n = len(found.need_ft)
    if n and found.on_data.mean() < LEAST_SHARE_ON_DATA:
        what = f"covers {found.on_data.mean():.0%} of the lots"
        expected = f"at least {LEAST_SHARE_ON_DATA:.0%}"
        fix = "check the raster's extent and the lots' coordinate system"
        return [Issue("raster_misses_lots", "stop", where, what, expected, fix)]
    need = f"{purpose} needs ground {found.need_ft.max():,.0f} ft around the lots"
    short = found.short
    if not short.any():
        return [Issue("raster_reach", "note", where, f"{need}; it is there in every direction for {_lots(n)}")]
    missing = found.missing_ft.max(axis=0)
    least = np.where(found.missing_ft > 0, found.reach_ft, np.inf).min(axis=0)
    parts = [
        f"{name} {math.ceil(gap / _STEP_FT) * _STEP_FT:,.0f} ft (reaches {reached:,.0f})"
        for name, gap, reached in zip(COMPASS, missing, least, strict=True)
        if gap > 0
    ]
    shown = ", ".join(str(lot) for lot in sorted(lot_id[short])[:_SHOWN])
    more = ", ..." if int(short.sum()) > _SHOWN else ""
    what = f"{need}; missing at most: {', '.join(parts)}; {int(short.sum()):,} of {_lots(n)} affected ({shown}{more})"
    fix = "give more of it on these sides; directions without ground stay unknown"
    return [Issue("raster_reach", "warn", where, what, "ground in every direction", fix)]


def _lots(n: int) -> str:
    return f"{n:,} lot" + ("" if n == 1 else "s")


def _pixels_per_ft(window: RasterWindow) -> Floats:
    """Columns and rows per true foot east and north in the middle of the window: (2, 2)."""
    rows, columns = window.valid.shape
    middle = window.centres([rows // 2], [columns // 2])[0]
    axes = ground_axes_ft(window.crs, float(middle[0]), float(middle[1]))  # ft per unit of the system
    t = window.transform
    cell = np.array([[t.a, t.b], [t.d, t.e]])  # units of the system per column and row
    return np.asarray(np.linalg.inv(axes @ cell))


def _known(window: RasterWindow, column: Floats, row: Floats) -> NDArray[np.bool_]:
    """Whether fractional places lie in cells with data."""
    rows, columns = window.valid.shape
    with np.errstate(invalid="ignore"):
        inside = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
    r, c = (np.where(inside, np.floor(np.where(inside, place, 0)), 0).astype(np.intp) for place in (row, column))
    return np.asarray(inside & window.valid[r, c])


def _clear(
    window: RasterWindow, column: Floats, row: Floats, need_ft: Floats, per_ft: Floats
) -> NDArray[np.bool_]:  # fmt: skip
    """Lots around which a box of the needed size holds data only, by blocks of cells: no need to look closer."""
    rows, columns = window.valid.shape
    high, wide = -(-rows // _BLOCK), -(-columns // _BLOCK)
    padded = np.zeros((high * _BLOCK, wide * _BLOCK), dtype=np.bool_)
    padded[:rows, :columns] = ~window.valid
    holes = padded.reshape(high, _BLOCK, wide, _BLOCK).any(axis=(1, 3))
    total = np.zeros((high + 1, wide + 1), dtype=np.int64)
    total[1:, 1:] = holes.cumsum(axis=0).cumsum(axis=1)
    reach_c, reach_r = (need_ft * float(np.hypot(*per_ft[axis])) + 1.0 for axis in (0, 1))
    with np.errstate(invalid="ignore"):
        inside = (column - reach_c >= 0) & (column + reach_c < columns)
        inside &= (row - reach_r >= 0) & (row + reach_r < rows)
    low_c, high_c, low_r, high_r = (
        np.where(inside, edge, 0).astype(np.int64) // _BLOCK
        for edge in (column - reach_c, column + reach_c, row - reach_r, row + reach_r)
    )
    count = total[high_r + 1, high_c + 1] - total[low_r, high_c + 1] - total[high_r + 1, low_c] + total[low_r, low_c]
    return np.asarray(inside & (count == 0))


def _march(window: RasterWindow, column: Floats, row: Floats, need_ft: Floats, per_ft: Floats) -> Floats:
    """Distance of the last cell with data along each bearing, (n, 16), at most the need."""
    bearing = np.arange(DIRECTIONS) * (2.0 * math.pi / DIRECTIONS)
    step = per_ft @ np.stack([np.sin(bearing), np.cos(bearing)])  # (2, 16) columns and rows per ft
    cell_ft = 1.0 / float(np.abs(np.linalg.svd(per_ft, compute_uv=False)).max())
    longest = float(need_ft.max())
    step_ft = max(cell_ft / 2.0, longest / _STEPS)
    last = np.zeros((len(column), DIRECTIONS))
    for k in range(1, math.ceil(longest / step_ft) + 1):
        at = np.minimum(k * step_ft, need_ft)[:, None]
        known = _known(window, column[:, None] + at * step[0], row[:, None] + at * step[1])
        last = np.where(known, np.maximum(last, at), last)
    return last
