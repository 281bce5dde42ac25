"""Lot means beside the C++ library for raster zones, in the same run: `python -m tests.hazard.bench_lot_means [lots]`.

Lots of 60 x 120 ft turned by 7 degrees on a 10 m raster; medians of five runs, and the largest difference. Prints
only.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

import geopandas as gpd
import numba
import numpy as np
import shapely
from affine import Affine
from exactextract import exact_extract
from exactextract.raster import NumPyRasterSource
from shapely import affinity

from hazard.lot_means import lot_means
from hazard.rasters import RasterWindow
from tests.hazard.bench_exposure import lots_in_rows
from tests.hazard.exposure_grounds import LOCAL


def timed(work: Callable[[], Any], runs: int = 5) -> tuple[float, Any]:
    """Median seconds, and the last answer."""
    took = []
    for _ in range(runs):
        start = time.perf_counter()
        answer = work()
        took.append(time.perf_counter() - start)
    return statistics.median(took), answer


def main(count: int = 20_000) -> None:
    """Time both modes of the library and our own on one thread and on all."""
    points = lots_in_rows(count)
    lot = affinity.rotate(shapely.box(-9.144, -18.288, 9.144, 18.288), 7.0, origin=(0, 0))
    corners = shapely.get_coordinates(lot)
    shapes = shapely.polygons(points[:, None, :] + corners[None])
    half = int(np.abs(points).max() // 10) + 6
    values = np.random.default_rng(0).normal(250.0, 15.0, (2 * half, 2 * half))
    window = RasterWindow(
        values, np.ones(values.shape, bool), Affine(10, 0, -10 * half, 0, -10, 10 * half), LOCAL, "values"
    )
    frame = gpd.GeoDataFrame(geometry=shapes, crs=LOCAL)
    source = NumPyRasterSource(values, -10 * half, -10 * half, 10 * half, 10 * half, srs_wkt=LOCAL.to_wkt())
    best, theirs = np.inf, np.empty(0)
    for mode in ("feature-sequential", "raster-sequential"):
        took, rows = timed(lambda mode=mode: exact_extract(source, frame, ["mean"], strategy=mode, output="pandas"))
        print(f"library, {mode}: {count / took:,.0f} lots/s")
        best, theirs = min(best, took), rows["mean"].to_numpy()
    lot_means(window, shapes[:10], LOCAL)  # compile, or load the compiled kernel
    for threads in (1, numba.config.NUMBA_NUM_THREADS):
        numba.set_num_threads(threads)
        took, ours = timed(lambda: lot_means(window, shapes, LOCAL))
        worst = float(np.abs(ours.mean - theirs).max())
        print(f"ours, {threads} thread(s): {count / took:,.0f} lots/s, {best / took:.0f} times, difference {worst:.1e}")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
