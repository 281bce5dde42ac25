"""Lot means beside the C++ library for raster zones, in the same run: `python -m tests.hazard.bench_hazards means`."""

from __future__ import annotations

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
from tests.hazard.bench_tools import CORES, lots_in_rows, table, timed
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


def report() -> list[str]:
    """Both modes of the library at 10,000 lots, ours at 10,000 and 100,000, cells of 10 and 30 m."""
    rows = []
    for cell_m in (10.0, 30.0):
        for count in (10_000, 100_000):
            window, shapes = scene(count, cell_m)
            ours_takes, ours = timed(lambda w=window, s=shapes: lot_means(w, s, LOCAL))
            size = f"{count:,} lots, {cell_m:g} m cells, {window.values.size / 1e6:.1f} million"
            if count > 10_000:
                rows.append(["ours", size, *ours_takes.rates(count), "", ""])
                continue
            frame, (rows_of, cols_of) = gpd.GeoDataFrame(geometry=shapes, crs=LOCAL), window.values.shape
            right, top = cell_m * cols_of / 2, cell_m * rows_of / 2
            source = NumPyRasterSource(window.values, -right, -top, right, top, srs_wkt=LOCAL.to_wkt())
            best = np.inf
            for mode in MODES:

                def zonal(m: str = mode, s: Any = source, f: Any = frame) -> Any:
                    return exact_extract(s, f, ["mean"], strategy=m, output="pandas")

                takes, found = timed(zonal)
                best = min(best, takes.cpu_s)
                worst = float(np.abs(ours.mean - found["mean"].to_numpy()).max())
                relative = float(np.abs(ours.mean / found["mean"].to_numpy() - 1.0).max())
                cells = f"{worst:.1e} ({relative:.0e} of the value)"
                rows.append([f"exactextract, {mode}", size, *takes.rates(count), "", cells])
            times = f"{best / ours_takes.cpu_s:.0f}"
            rows.append(["ours", size, *ours_takes.rates(count), times, ""])
    numba.set_num_threads(CORES)
    header = ["who", "lots and cells", "lots/s, wall", "lots/s, all cores' CPU", "times the fastest", "difference"]
    return [
        *table(header, rows),
        "",
        "Times: CPU seconds of the library's faster mode over ours: threads and other work on the machine don't count.",
    ]
