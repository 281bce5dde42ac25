"""Speed, memory and errors of the terrain reading, beside plain assemblies.

Speed: `python -m tests.hazard.bench_hazards hilly steep`.
Errors on shapes with a closed form: `python -m tests.hazard.bench_topography`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
from scipy import ndimage

from hazard import topography as topo
from hazard.rasters import RasterWindow
from hazard.topography import TopographySettings, topography
from tests.hazard import topography_grounds as grounds
from tests.hazard.bench_tools import CORES, copy_bytes_per_s, load, lots_in_rows, peak_mib, table, timed
from tests.hazard.exposure_grounds import FT, LOCAL
from tests.hazard.topography_reference import Found, Reader, worth

GROUNDS = {
    # name: seed, scale in m, standard deviation in ft, of random ground with 0.8 ft of noise on every cell
    "hilly": (1, 150.0, 60.0),
    "steep, broken": (2, 100.0, 98.0),
}
COUNTY_M = 20_000.0
SAMPLED_LOTS, READ_LOTS = 200, 3
PARTS_LOTS = 5_000


def ground(name: str, half_m: float) -> RasterWindow:
    """Random ground at 10 m cells that reaches 13,400 ft beyond the lots."""
    seed, scale_m, sd_ft = GROUNDS[name]
    return grounds.rolling(seed, int(2 * (half_m + 13_400 * FT) / 10.0), scale_m=scale_m, sd_ft=sd_ft)


def lots(count: int, spread: bool) -> np.ndarray:
    """Side by side in one tract, or anywhere in a county."""
    if not spread:
        return lots_in_rows(count)
    return np.random.default_rng(0).uniform(-COUNTY_M / 2, COUNTY_M / 2, (count, 2))


def factor(one: Found, z_ft: float) -> float:
    """Screening Kzt of a plainly read feature in exposure C."""
    rules, shape = topo._rules(TopographySettings(), 1.0), topo._shape()
    return (1.0 + worth(one, z_ft, shape, rules, True)) ** 2


def alternatives(window: RasterWindow) -> list[list[str]]:
    """Sampling alone with a general library, and the whole reading in plain numpy, on a few lots."""
    words, xy = TopographySettings(), lots_in_rows(10_000)
    result = topography(window, xy[:: 10_000 // SAMPLED_LOTS], LOCAL, workers=CORES)
    held, step = result._ground, result.step_ft
    reach = (words.search_upwind_ft + words.beyond_ft, words.search_downwind_ft + words.beyond_ft)
    up, down = (int(np.ceil(distance / step)) for distance in reach)
    along = np.arange(up, -down - 1, -1) * step

    def sampled() -> float:
        worst = 0.0
        for lot in range(len(result)):
            per_ft = topo.bearing_vectors() @ held.jacobians[lot].T
            at = held.places[lot][:, None, None] + per_ft.T[:, :, None] * along
            z = ndimage.map_coordinates(held.grid, at, order=1, cval=np.nan)
            if lot == 0:
                line = result.profile(0, 3).elevation_ft
                worst = float(np.abs(z[3] - line).max())
        return worst

    takes, worst = timed(sampled, runs=3)
    rates = [f"{len(result) / takes.wall_s:,.0f}", f"{CORES * len(result) / takes.cpu_s:,.0f}"]
    rows = [["scipy map_coordinates, samples only", f"{len(result)} lots", *rates, "", "", f"{worst:.0e} ft"]]

    rules, shape = topo._rules(words, step), topo._shape()

    def read() -> np.ndarray:
        out = np.ones((READ_LOTS, 16))
        for lot in range(READ_LOTS):
            reader = Reader(held.grid, held.places[lot], held.jacobians[lot], topo.bearing_vectors(), reach)
            for k in range(16):
                out[lot, k] = max([1.0, *(factor(one, 20.0) for one in reader.features(k, shape, rules))])
        return out

    takes, plain = timed(read, runs=3)
    worst = float(np.abs(plain - result.kzt(20.0, "C")[0][:READ_LOTS]).max())
    rates = [f"{READ_LOTS / takes.wall_s:,.1f}", f"{CORES * READ_LOTS / takes.cpu_s:,.1f}"]
    return [*rows, ["numpy, all of it", f"{READ_LOTS} lots", *rates, "", "", f"{worst:.0e} in Kzt"]]


def parts(window: RasterWindow) -> list[str]:
    """Where the time goes, by leaving out what comes later; and what memory it moves beside a plain copy."""
    xy, words = lots_in_rows(PARTS_LOTS), TopographySettings()
    kinds = {
        "sampling, smoothing, one scan (nothing prominent)": replace(words, prominence_ft=1e6),
        "features, isolation": replace(words, fine_below_ft=0.0),
        "the fine step where Lh < 300 ft": words,
    }
    rows, before = [], 0.0
    for kind, settings in kinds.items():
        takes, _ = timed(partial(topography, window, xy, LOCAL, settings, workers=CORES), runs=3)
        us = 1e6 * takes.cpu_s / len(xy)
        rows.append([kind, f"{us - before:.0f}"])
        before = us
    step, far = words.step_ft(10.0), words.search_upwind_ft + words.beyond_ft
    kb = 8 * (2 * far / step + 1) * 4 * 8 / 1e3
    gb_s, copied = kb * 1e3 / (before * 1e-6) / 1e9, copy_bytes_per_s() / 1e9
    return [
        f"Where the time goes, {PARTS_LOTS:,} lots side by side:",
        "",
        *table(["part", "CPU us a lot"], [*rows, ["all", f"{before:.0f}"]]),
        "",
        f"Memory: 8 lines of {2 * far / step + 1:.0f} samples of four cells, {kb:.0f} kB a lot asked for, most of it"
        f" from cache; that is {gb_s:.1f} GB/s a core, {100 * gb_s / copied:.0f} % of the {copied:.1f} GB/s that a"
        " plain copy moves on one core. The bound is the arithmetic of the scan, not memory.",
        "",
    ]


def least_disturbed() -> list[str]:
    """The compiled part alone on 256 lots, least CPU time of forty short runs: what other programs disturb least."""
    rows, words = [], TopographySettings()
    for name in GROUNDS:
        xy = lots_in_rows(3_000)[1_300:1_556]
        window = ground(name, 1_000.0)
        held, step = topo._prepare(window, xy, LOCAL, words), words.step_ft(10.0)
        relief = topo._relief(held, step)
        work = partial(topo._run, held, relief, slice(0, len(xy)), topo._rest(words, step), words)
        work()
        us = 1e6 * min(timed(work, runs=1)[0].cpu_s for _ in range(40)) / len(xy)
        rows.append([name, f"{us:.0f}", f"{CORES * 1e6 / us:,.0f}"])
    return [
        f"Compiled part alone, 256 lots side by side, least of forty runs; load of the machine {load()}.",
        "",
        *table(["ground", "CPU us a lot", f"lots/s on {CORES} cores"], rows),
    ]


def report(name: str) -> list[str]:
    """Rates on one kind of ground, at 10,000 and 100,000 lots in a tract and 20,000 spread over a county."""
    topography(ground(name, 300.0), lots_in_rows(300), LOCAL)  # compile, or load the compiled kernels
    window = ground(name, COUNTY_M / 2)
    rows = alternatives(window)
    for count, spread in ((10_000, False), (100_000, False), (20_000, True)):
        xy = lots(count, spread)
        takes, result = timed(partial(topography, window, xy, LOCAL, workers=CORES), runs=3)
        share = float((result.kzt(20.0, "C")[0] > 1.0).mean())
        where = f"over {COUNTY_M / 1e3:.0f} x {COUNTY_M / 1e3:.0f} km" if spread else "side by side"
        rows.append(["ours", f"{count:,} lots {where}", *takes.rates(count), f"{share:.0%}", f"{peak_mib():,.0f}", ""])
    header = ["who", "lots", "lots/s, wall", "lots/s, all cores' CPU", "Kzt > 1", "peak MiB", "difference"]
    _, scale_m, sd_ft = GROUNDS[name]
    return [
        f"16 directions, isolation included, exposure C, {window.values.size / 1e6:.1f} million cells of 10 m: random"
        f" ground of {sd_ft:.0f} ft standard deviation over {scale_m:.0f} m. Load of the machine {load()}.",
        "",
        *table(header, rows),
        "",
        *parts(window),
    ]


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
    errors()
