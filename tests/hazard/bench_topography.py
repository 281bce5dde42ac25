"""Speed and memory of the terrain reading, and its errors on shapes with a closed form. Not a test.

python -m tests.hazard.bench_topography [--lots 6000] [--errors | --parts]
"""

from __future__ import annotations

import argparse
import resource
import statistics
import time
from dataclasses import replace

import numpy as np

from hazard.topography import TopographySettings, topography
from tests.hazard import topography_grounds as grounds
from tests.hazard.exposure_grounds import LOCAL


def rates(lots: int) -> None:
    """Lots per second on flat, rolling and steep ground at 10 m cells; wall and CPU time."""
    xy = np.random.default_rng(0).uniform(-500.0, 500.0, (lots, 2))
    windows = {
        "flat": grounds.raster(grounds.slope(0.0)),
        "rolling (sd 15 m over 300 m)": grounds.rolling(1, 950, scale_m=300.0, sd_ft=49.0),
        "steep (sd 30 m over 100 m)": grounds.rolling(2, 950, scale_m=100.0, sd_ft=98.0),
    }
    topography(windows["steep (sd 30 m over 100 m)"], xy[:300], LOCAL)  # compile or load the compiled kernels
    print("ground                         threads   lots/s   lots per CPU second   Kzt>1   features/lot   peak MB")
    for name, window in windows.items():
        for workers in (1, 2):
            wall, cpu = time.perf_counter(), time.process_time()
            result = topography(window, xy, LOCAL, workers=workers)
            wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
            share = float((result.kzt(20.0, "C")[0] > 1.0).mean())
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            per_lot = len(result.features) / lots
            print(
                f"{name:30s} {workers:7d} {lots / wall:8.0f} {lots / cpu:21.0f}"
                f" {share:7.2f} {per_lot:14.2f} {peak:9.0f}"
            )
    started = time.perf_counter()
    result.kzt(25.0, "C")
    print(f"Kzt at another height and exposure: {lots / (time.perf_counter() - started):.0f} lots/s")


def parts(lots: int) -> None:
    """Where the time goes on steep ground: sampling alone, with features, with the fine step; medians of three runs.

    Beside it the memory that is read (four cells of eight bytes a sample) against what a plain copy moves.
    """
    xy = np.random.default_rng(0).uniform(-500.0, 500.0, (lots, 2))
    window = grounds.rolling(2, 950, scale_m=100.0, sd_ft=98.0)
    all_of_it = TopographySettings()
    kinds = {
        "sampling and scan (nothing prominent)": replace(all_of_it, prominence_ft=1e6),
        "and features, isolation": replace(all_of_it, fine_below_ft=0.0),
        "and the fine step where Lh < 300 ft": all_of_it,
    }
    topography(window, xy[:300], LOCAL)
    for name, settings in kinds.items():
        took = []
        for _ in range(3):
            start = time.perf_counter()
            topography(window, xy, LOCAL, settings, workers=2)
            took.append(time.perf_counter() - start)
        seconds = statistics.median(took)
        print(f"{name:40s} {lots / seconds:8.0f} lots/s {1e6 * 2 * seconds / lots:8.0f} us a lot and thread")
    reach = all_of_it.search_upwind_ft + all_of_it.search_downwind_ft + 2 * all_of_it.beyond_ft
    read = 16 * reach / all_of_it.step_ft(10.0) * 4 * 8
    block = np.ones(20_000_000)
    start = time.perf_counter()
    block.copy()
    bandwidth = 2 * block.nbytes / (time.perf_counter() - start)
    print(
        f"read a lot {read / 1e3:.0f} kB (at the coarse step), {read * lots / seconds / 1e9:.1f} GB/s of cells, ",
        end="",
    )
    print(f"most of them from cache; a plain copy moves {bandwidth / 1e9:.1f} GB/s")


def errors() -> None:
    """Relative errors of Kzt on the published cases and the held-out shapes, at 10 and 30 m cells."""
    from tests.hazard import test_topography as cases

    print(f"{'shape':42s} {'exact':>6s}   10 m: low   high    30 m: low   high")
    for case in ("T1", "T3", "T6", "T7", "T9", "T10"):
        exact = cases.number(case, "Kzt")
        line = []
        for cell_m in (10, 30):
            found = cases.everywhere(
                cases.GROUND[case], cases.SITE.get(case, 0.0), cases.number(case, "z", "inputs"), cell_m
            )
            line.append(f"{100 * (found.min() / exact - 1):+9.1f} {100 * (found.max() / exact - 1):+6.1f}")
        print(f"{case:42s} {exact:6.3f}   {'   '.join(line)}")
    for name, row in cases.HELD_OUT.items():
        line = [
            f"{100 * low:+9.1f} {100 * high:+6.1f}" for low, high in (cases.held_out_errors(name, c) for c in (10, 30))
        ]
        print(f"{name:42s} {row[2]:6.3f}   {'   '.join(line)}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lots", type=int, default=6000)
    parser.add_argument("--errors", action="store_true")
    parser.add_argument("--parts", action="store_true")
    options = parser.parse_args()
    errors() if options.errors else parts(options.lots) if options.parts else rates(options.lots)
