"""How many lots a second the exposure count does: `python -m tests.hazard.bench_exposure [lots] [cell_m]`.

Every lot gets 16 directions over 5,600 ft. Lots of 60 x 120 ft in rows, random patches of ground. Prints only.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from hazard.exposure import exposure_at_height, measure_fetch
from tests.hazard.exposure_grounds import FT, LOCAL, map_of, patches


def lots_in_rows(count: int) -> np.ndarray:
    """Points of lots 60 ft wide and 120 ft deep, in a near-square block, turned by 7 degrees."""
    across = int(np.ceil(np.sqrt(count * 2.0)))
    number = np.arange(count)
    x, y = (number % across - across / 2) * 60.0 * FT, (number // across - across / 4) * 120.0 * FT
    turn = np.radians(7.0)
    return np.column_stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)])


def main(count: int = 20_000, cell_m: float = 30.0) -> None:
    """Time counting and letters apart, on one thread and on two."""
    points = lots_in_rows(count)
    reach_ft = float(np.abs(points).max()) / FT + 5800.0
    ground = map_of(patches(0, "BBBBCD", 2.0 * reach_ft / 64.0), cell_m, reach_ft)
    measure_fetch(ground, points[:2], LOCAL)  # compile, or load the compiled kernel
    for workers in (1, 2):
        start = time.perf_counter()
        fetch = measure_fetch(ground, points, LOCAL, workers=workers)
        counted = time.perf_counter()
        result = exposure_at_height(fetch, 25.0)
        done = time.perf_counter()
        places = fetch.rough_share.shape[0]
        print(
            f"{count} lots on {places} places, {cell_m:g} m cells, {workers} thread(s): count {counted - start:.2f} s, "
            f"letters {done - counted:.2f} s, {count / (done - start):,.0f} lots/s; "
            f"worst letters {dict(zip(*np.unique(result.exposure, return_counts=True), strict=True))}"
        )


if __name__ == "__main__":
    main(*(kind(text) for kind, text in zip((int, float), sys.argv[1:], strict=False)))
