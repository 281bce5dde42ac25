"""Speed of the hazard part beside general-purpose libraries, in the same run. Not a test: it passes no judgement.

    python -m tests.hazard.bench_hazards [means] [exposure] [hilly] [steep] [least] [window] [real] [--record]

Without names, all of them. Medians of three or five runs. Rates are given by the wall clock and by CPU time (lots per
CPU second times the cores), which other work on the machine disturbs less. ``--record`` puts the parts that were run
into tests/benchmarks/results_hazards.md, with date and machine. Grounds and lots are invented, but for `real`.
"""

from __future__ import annotations

import argparse
import multiprocessing
import tempfile
from collections.abc import Callable
from datetime import date
from functools import partial
from pathlib import Path

import numpy as np
import pyproj

from hazard.layers import Layer
from hazard.rasters import read_window
from hazard.topography import topography
from tests.hazard import bench_exposure, bench_lot_means, bench_topography
from tests.hazard.bench_tools import CORES, load, lots_in_rows, machine, peak_mib, table

RESULTS = Path(__file__).parents[1] / "benchmarks" / "results_hazards.md"
UTM = pyproj.CRS("EPSG:26910")
BIG = 60_000  # cells each way of the big raster
MIDDLE = (500_000.0, 4_500_000.0)


def window_report() -> list[str]:
    """The part below in a process of its own, whose peak memory is not that of earlier parts."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(inside_a_big_raster)


def inside_a_big_raster() -> list[str]:
    """Kzt of a small tract inside a raster far larger than memory; the file is sparse, its cells elsewhere empty."""
    import rasterio
    from affine import Affine

    points = lots_in_rows(2_000) + np.array(MIDDLE)
    bounds = (*points.min(axis=0), *points.max(axis=0))
    transform = Affine(10.0, 0, MIDDLE[0] - 5.0 * BIG, 0, -10.0, MIDDLE[1] + 5.0 * BIG)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "big.tif"
        profile = {"driver": "GTiff", "height": BIG, "width": BIG, "count": 1, "dtype": "float32", "crs": UTM.to_wkt()}
        options = {"tiled": True, "blockxsize": 256, "blockysize": 256, "SPARSE_OK": "TRUE", "BIGTIFF": "YES"}
        with rasterio.open(path, "w", transform=transform, nodata=-9999.0, **profile, **options) as target:
            side = 1_536
            at = rasterio.windows.Window((BIG - side) // 2, (BIG - side) // 2, side, side)
            hills = np.sin(np.arange(side) / 25.0)[:, None] * np.sin(np.arange(side) / 31.0) * 60.0 + 800.0
            target.write(hills.astype(np.float32), 1, window=at)
        before = peak_mib()
        window = read_window(Layer(path, "elevation_ft"), bounds, UTM, 13_400.0)
        result = topography(window, points, UTM, workers=CORES)
        after = peak_mib()
    shape = " x ".join(str(n) for n in window.values.shape)
    return [
        f"{len(points):,} lots on a raster of {BIG:,} x {BIG:,} cells of 10 m ({BIG * BIG * 4 / 1e9:.1f} GB as 32-bit"
        f" numbers): {shape} cells were read, memory rose from {before:,.0f} to {after:,.0f} MiB,"
        f" {result.known.mean():.0%} of the directions known.",
    ]


def real_report() -> list[str]:
    """Shares of speed-ups on the real elevation grid, screening and strict, and what could not be judged."""
    from tests.hazard.test_topography import real_ground

    window, xy, work = real_ground()
    result = topography(window, xy, work)
    rows = []
    for letter in "BCD":
        screening, strict = result.kzt(20.0, letter)
        raised, held = screening > 1.0, strict > 1.0
        rows.append(
            [
                letter,
                f"{raised.mean():.0%}",
                f"{raised.any(axis=1).mean():.0%}",
                f"{held.mean():.0%}",
                f"{held.any(axis=1).mean():.0%}",
                f"{np.median(screening[raised]):.2f}",
                f"{screening.max():.2f}",
            ]
        )
    features = result.features
    seen = np.bincount(features.isolation, minlength=3)
    header = ["exposure", "profiles > 1", "lots", "profiles, strict", "lots, strict", "median above 1", "greatest"]
    return [
        f"Elevation grid of 3 arc seconds in Tennessee that matplotlib ships as sample data; {len(xy)} random places x"
        " 16 directions, z = 20 ft, cells of about 74 x 93 m (coarse: features are read low, see the errors at 30 m).",
        "",
        *table(header, rows),
        "",
        f"Isolation was judged for every one of the {len(features):,} kept features: {seen[0]:,} have other ground"
        f" above half height upwind in the quadrant, {seen[1]:,} have none, {seen[2]:,} could not be seen to the end"
        " (they keep the screening value, in the strict columns too, and are flagged).",
    ]


PARTS: dict[str, tuple[str, Callable[[], list[str]]]] = {
    "means": ("Lot means", bench_lot_means.report),
    "exposure": ("Exposure, 16 directions over 5,600 ft", bench_exposure.report),
    "hilly": ("Hill speed-up (Kzt) on hilly ground", partial(bench_topography.report, "hilly")),
    "steep": ("Hill speed-up (Kzt) on steep, broken ground", partial(bench_topography.report, "steep, broken")),
    "least": ("Hill speed-up (Kzt), least disturbed", bench_topography.least_disturbed),
    "window": ("A raster of any size", window_report),
    "real": ("Real ridge country: shares of speed-ups", real_report),
}


def record(title: str, lines: list[str]) -> None:
    """Replace one part of results_hazards.md."""
    old = RESULTS.read_text(encoding="utf-8") if RESULTS.exists() else "# Results of the hazard benchmarks\n"
    head, *sections = old.split("\n## ")
    by_title = {section.split("\n", 1)[0]: section for section in sections}
    by_title[title] = "\n".join([title, "", f"Run on {date.today():%Y-%m-%d}; {machine()}.", "", *lines])
    order = [name for name, _ in PARTS.values()]
    kept = sorted(by_title.items(), key=lambda item: order.index(item[0]) if item[0] in order else len(order))
    text = "\n## ".join([head.rstrip("\n") + "\n", *(body.rstrip("\n") + "\n" for _, body in kept)])
    RESULTS.write_text(text, encoding="utf-8")


def main() -> None:
    """Run and print the parts that were named."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("parts", nargs="*", metavar="part", help=", ".join(PARTS))
    parser.add_argument("--record", action="store_true")
    options = parser.parse_args()
    unknown = set(options.parts) - set(PARTS)
    if unknown:
        parser.error(f"no part {', '.join(sorted(unknown))}; expected some of {', '.join(PARTS)}")
    print(f"{machine()}; load {load()}")
    for name in options.parts or PARTS:
        title, report = PARTS[name]
        lines = report()
        print("\n".join(["", f"## {title}", "", *lines]), flush=True)
        if options.record:
            record(title, lines)


if __name__ == "__main__":
    main()
