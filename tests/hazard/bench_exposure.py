"""The exposure count beside a plain numpy assembly that gives equal shares: `... bench_hazards exposure`."""

from __future__ import annotations

import math

import numpy as np

from hazard.exposure import exposure_at_height, measure_fetch
from hazard.exposure_rules import ExposureRules
from hazard.ground_axes import ground_axes_over_ft
from hazard.land_cover import ROUGH_B, RoughnessMap, pixel_coordinates
from tests.hazard.bench_tools import lots_in_rows, peak_mib, table, timed
from tests.hazard.exposure_grounds import FT, LOCAL, map_of, patches

CELL_M = 30.0
ALTERNATIVE_LOTS = 500
RADIUS_FT = math.ceil(float(ExposureRules().search_radius_ft(25.0)) / 100.0) * 100.0


def plain_shares(ground: RoughnessMap, points: np.ndarray, rules: ExposureRules, radius_ft: float) -> np.ndarray:
    """Share of rough ground in 16 sectors to 1,500 and 2,600 ft of each point, (n, 16, 2), with general tools.

    One list of cell parts with wedge and ring; a look-up and a `numpy.bincount` a lot, then running sums.
    """
    axes = ground_axes_over_ft(ground.crs, points)
    pixel = np.array([[ground.transform.a, ground.transform.b], [ground.transform.d, ground.transform.e]])
    parts = max(1, math.ceil(np.hypot(*(axes @ pixel)).max() / rules.sub_cell_ft - 1e-9))
    step = axes @ pixel / parts
    n_rings = round(radius_ft / rules.ring_ft)
    reach = math.ceil(radius_ft / np.hypot(*step).min() * 1.01) + 2
    cols, rows = (a.ravel() for a in np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1)))
    east, north = step[0, 0] * cols + step[0, 1] * rows, step[1, 0] * cols + step[1, 1] * rows
    distance, turns = np.hypot(east, north), (np.degrees(np.arctan2(east, north)) % 360.0) / 22.5
    keep = (distance > 0.0) & (distance < radius_ft - 1e-6)
    cols, rows, turns, distance = cols[keep], rows[keep], turns[keep], distance[keep]
    line = np.round(turns)
    on_line = np.abs(turns - line) * 22.5 < 1e-6
    first = np.where(on_line, line, np.floor(turns)).astype(int) % 16
    second = np.where(on_line, first - 1, first) % 16
    ring = np.floor(distance / rules.ring_ft + 1e-8).astype(int)
    bins = np.concatenate([first * n_rings + ring, second * n_rings + ring])
    total = np.bincount(bins, minlength=16 * n_rings).reshape(16, n_rings)
    fine = np.kron(ground.roughness == ROUGH_B, np.ones((parts, parts), dtype=bool))
    col, row = pixel_coordinates(ground.transform, points[:, 0], points[:, 1])
    here_col, here_row = (np.floor(at * parts + 1e-9).astype(int) for at in (col, row))
    flat, width = fine.ravel(), fine.shape[1]
    offset, start = rows * width + cols, here_row * width + here_col
    sums = [round(need / rules.ring_ft) - 1 for need in (rules.rough_distance_low_ft, rules.rough_distance_tall_ft)]
    out = np.empty((len(points), 16, 2))
    whole = np.cumsum(total + np.roll(total, -1, axis=0), axis=1)[:, sums]
    for i in range(len(points)):
        rough = np.tile(flat[start[i] + offset], 2)
        count = np.bincount(bins[rough], minlength=16 * n_rings).reshape(16, n_rings)
        out[i] = np.cumsum(count + np.roll(count, -1, axis=0), axis=1)[:, sums] / whole
    return out


def report() -> list[str]:
    """10,000 and 100,000 lots, and the plain assembly on some of them."""
    rows = []
    for count in (10_000, 100_000):
        points = lots_in_rows(count)
        reach_ft = float(np.abs(points).max()) / FT + 5800.0
        ground = map_of(patches(0, "BBBBCD", 2.0 * reach_ft / 64.0), CELL_M, reach_ft)
        measure_fetch(ground, points[:2], LOCAL)  # compile, or load the compiled kernel
        size = f"{count:,} lots, {CELL_M:g} m cells, {ground.roughness.size / 1e6:.2f} million"
        if count == 10_000:
            some = points[:: count // ALTERNATIVE_LOTS]
            takes, plain = timed(lambda g=ground, p=some: plain_shares(g, p, ExposureRules(), RADIUS_FT), runs=3)
            fetch = measure_fetch(ground, some, LOCAL)
            worst = float(np.abs(fetch.rough_share[fetch.place] - plain).max())
            rates = [f"{len(some) / takes.wall_s:,.0f}", f"{2 * len(some) / takes.cpu_s:,.0f}"]
            rows.append([f"numpy look-up and bincount, {len(some)} of them", size, *rates, f"{worst:.0e}", ""])

        def ours(g: RoughnessMap = ground, p: np.ndarray = points) -> object:
            return exposure_at_height(measure_fetch(g, p, LOCAL, workers=2), 25.0)

        takes, _ = timed(ours)
        rows.append(["ours, counts, fetches and letters", size, *takes.rates(count), "", f"{peak_mib():,.0f}"])
    header = ["who", "lots and cells", "lots/s, wall", "lots/s, all cores' CPU", "difference in share", "peak MiB"]
    return [
        *table(header, rows),
        "",
        "The plain assembly gives the shares of rough ground only: no runs, gaps, smooth ground, margins or letters.",
    ]
