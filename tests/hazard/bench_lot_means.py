"""Lot means beside the C++ library for raster zones, in the same run: `python -m tests.hazard.bench_hazards means`."""

from __future__ import annotations

from functools import partial
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from exactextract import exact_extract
from exactextract.raster import NumPyRasterSource
from shapely import affinity

from hazard.lot_means import lot_means
from hazard.rasters import RasterWindow
from tests.hazard.bench_tools import lots_in_rows, table, timed
from tests.hazard.exposure_grounds import FT, LOCAL

MODES = ("feature-sequential", "raster-sequential")


def scene(count: int, cell_m: float) -> tuple[RasterWindow, Any]:
    """Lots of 60 x 110 ft turned by 7 degrees on a raster of random values."""
    points = lots_in_rows(count)
    lot = affinity.rotate(shapely.box(-30 * FT, -55 * FT, 30 * FT, 55 * FT), 7.0, origin=(0, 0))
    shapes = shapely.polygons(points[:, None, :] + shapely.get_coordinates(lot)[None])
    half = int(np.abs(points).max() // cell_m) + 6
    values = np.random.default_rng(0).normal(250.0, 15.0, (2 * half, 2 * half))
    place = Affine(cell_m, 0, -cell_m * half, 0, -cell_m, cell_m * half)
    return RasterWindow(values, np.ones(values.shape, bool), place, LOCAL, "values"), shapes


def zonal(mode: str, source: Any, frame: gpd.GeoDataFrame) -> np.ndarray:
    """Means by the library."""
    return exact_extract(source, frame, ["mean"], strategy=mode, output="pandas")["mean"].to_numpy()


def report() -> list[str]:
    """Both modes of the library and ours at 10,000 lots, ours at 100,000 too; cells of 10 and 30 m."""
    rows = []
    for cell_m in (10.0, 30.0):
        for count in (10_000, 100_000):
            window, shapes = scene(count, cell_m)
            size = f"{count:,} lots, {cell_m:g} m cells, {window.values.size / 1e6:.2f} million"
            ours = lot_means(window, shapes, LOCAL).mean
            least_wall = least_cpu = np.inf
            if count == 10_000:
                frame = gpd.GeoDataFrame(geometry=shapes, crs=LOCAL)
                top, right = (cell_m * n / 2 for n in window.values.shape)
                source = NumPyRasterSource(window.values, -right, -top, right, top, srs_wkt=LOCAL.to_wkt())
                for mode in MODES:
                    takes, theirs = timed(partial(zonal, mode, source, frame))
                    least_wall, least_cpu = min(least_wall, takes.wall_s), min(least_cpu, takes.cpu_s)
                    off = f"{np.abs(ours - theirs).max():.1e} ({np.abs(ours / theirs - 1.0).max():.0e} of the value)"
                    rows.append([f"exactextract, {mode}", size, *takes.rates(count, 1), "", "", off])
            takes, _ = timed(partial(lot_means, window, shapes, LOCAL), runs=9)
            times = [f"{least_wall / takes.wall_s:.0f}", f"{least_cpu / takes.cpu_s:.0f}"]
            rows.append(["ours", size, *takes.rates(count, 1), *(times if count == 10_000 else ["", ""]), ""])
    header = ["who", "lots and cells", "lots/s, wall", "lots/s, CPU", "times, wall", "times, CPU", "difference"]
    return [
        *table(header, rows),
        "",
        "Times: over the library's faster mode, by the wall clock and by CPU time; both work on one thread.",
    ]
