"""Ten thousand lots of the sample's kind through the whole job: rate of each stage, memory, and where the time goes.

    python tests/benchmarks/bench_tract.py [--lots 10000] [--most 4] [--workers 2] [--record]

The sample tract is laid side by side as often as it takes, with its plans, styles and options; its ground is drawn
again under every copy, ridges of different heights, and the wind speed rises gently across the whole, so that no two
lots have the same hazards. Everything is invented. Not a timed test: it passes no judgement. The profile compares two
sizes, so that a loop over lots shows itself: what is called ten times as often for ten times as many lots is in the
last list. The search for packages works on classes of lots and stops at counts of its own; it is timed, and left out of
the profile. ``--record`` puts the outcome into results.md beside this file, with date and machine.
"""

from __future__ import annotations

import argparse
import cProfile
import os
import platform
import pstats
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from rasterio.transform import from_origin

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / "sample_data"), str(ROOT / "tests" / "screener")]

import make_sample as sample  # noqa: E402
from tract_helpers import as_toml, settings  # noqa: E402

from screener import selection  # noqa: E402
from screener.config import load_tract  # noqa: E402
from screener.files.manifest import build_manifest, input_records  # noqa: E402
from screener.files.results import write_results  # noqa: E402
from screener.pipeline import Prepared, choose, prepare  # noqa: E402
from screener.result_tables import build_results  # noqa: E402

PITCH_FT = (3400.0, 1000.0)  # from one copy of the tract to the next, east and north
ELEVATION_M, COVER_M, WIND_M = 10.0, 30.0, 500.0


def copies(lots: int) -> tuple[int, int]:
    """Columns and rows of copies of the tract, three times as many rows as columns: nearly square on the ground."""
    needed = -(-lots // len(sample.lot_rows()))
    columns = max(1, round((needed / 3.0) ** 0.5))
    return columns, -(-needed // columns)


def many_lots(lots: int) -> gpd.GeoDataFrame:
    """The sample's lots, copied; ids carry the copy's number."""
    one = sample.lot_table().drop(columns=["package_bought"], errors="ignore")
    columns, _ = copies(lots)
    step_m = sample.FOOT_M * sample.GRID_SCALE
    parts = []
    for k in range(-(-lots // len(one))):
        east, north = (k % columns) * PITCH_FT[0] * step_m, (k // columns) * PITCH_FT[1] * step_m
        moved = shapely.transform(one.geometry.to_numpy(), lambda xy, e=east, n=north: xy + np.array([e, n]))
        parts.append(one.assign(lot_id=[f"{k:03d}-{name}" for name in one["lot_id"]]).set_geometry(moved))
    frame = gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), crs=sample.CRS).iloc[:lots]
    return frame.drop(columns=["pad_elevation_ft", "start"])


def draw(
    file: Path, bounds_m: tuple[float, float, float, float], cell_m: float, values: Callable[..., Any], unit: str
) -> None:
    """One raster over bounds (metres of the map grid) from a function of tract feet east and north."""
    west, south, east, north = bounds_m
    columns, rows = int(np.ceil((east - west) / cell_m)), int(np.ceil((north - south) / cell_m))
    transform = from_origin(west, north, cell_m, cell_m)
    x, y = sample.to_tract(*sample.cell_centres(transform, rows, columns))
    drawn = values(x, y)
    sample.write_raster(
        file, drawn, transform, sample.CRS, -9999.0 if drawn.dtype.kind == "f" else 0, unit, "benchmark"
    )


def ground_m(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A ridge under every copy, 30 to 110 ft high, the height changing from copy to copy."""
    column, row = np.floor(x / PITCH_FT[0]), np.floor(y / PITCH_FT[1])
    height = 30.0 + 80.0 * (0.5 + 0.5 * np.sin(1.7 * column + 0.9 * row))
    off = (x - column * PITCH_FT[0] - sample.CREST_X) / sample.RIDGE_LH
    return ((sample.BASE_FT + height / (1.0 + off**2)) * sample.FOOT_M).astype(np.float32)


def cover(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Town, with meadows and ponds in patches."""
    patch = (np.floor(x / 1700.0) * 7 + np.floor(y / 2300.0) * 11) % 9
    return np.where(patch < 5, 22, np.where(patch < 8, 71, 11)).astype(np.uint8)


def write_project(folder: Path, lots: int, most: int) -> Path:
    """A project of many lots with rasters wide enough for all of them."""
    frame = many_lots(lots)
    frame.to_file(folder / "lots.gpkg", layer="lots")
    west, south, east, north = frame.total_bounds

    def around(reach_ft: float) -> tuple[float, float, float, float]:
        reach = reach_ft * sample.FOOT_M
        return west - reach, south - reach, east + reach, north + reach

    draw(folder / "elevation.tif", around(sample.ELEVATION_REACH + 400.0), ELEVATION_M, ground_m, "m")
    draw(folder / "cover.tif", around(sample.LAND_COVER_REACH + 400.0), COVER_M, cover, "")
    speed = lambda x, y: (112.0 + 4e-4 * (x + 0.37 * y) ** 0.9).astype(np.float32)  # noqa: E731
    draw(folder / "wind.tif", around(4000.0), WIND_M, lambda x, y: speed(np.maximum(x, 0), np.maximum(y, 0)), "mph")
    changes = {
        "tract.name": "benchmark (invented)",
        "ground": {},
        "hazards.wind_speed_mph": {"file": "wind.tif", "units": "mph"},
        "hazards.elevation_ft": {"file": "elevation.tif", "units": "m"},
        "hazards.land_cover": {"file": "cover.tif"},
        "hazards.ss_g": {"value": sample.short_period_ss()},
        "hazards.s1_g": {"value": sample.one_second_s1()},
        "tiers.most": most,
    }
    file = folder / "tract.toml"
    file.write_text(as_toml(settings(changes)), encoding="utf-8")
    return file


@dataclass
class Clock:
    """Wall, user and system seconds, and page faults, of each stage."""

    stages: dict[str, dict[str, float]] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        wall, use = time.perf_counter(), resource.getrusage(resource.RUSAGE_SELF)
        yield
        now = resource.getrusage(resource.RUSAGE_SELF)
        row = self.stages.setdefault(name, dict.fromkeys(("wall", "user", "system", "faults"), 0.0))
        row["wall"] += time.perf_counter() - wall
        row["user"] += now.ru_utime - use.ru_utime
        row["system"] += now.ru_stime - use.ru_stime
        row["faults"] += now.ru_minflt - use.ru_minflt

    def timed(self, name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            with self.stage(name):
                return function(*args, **kwargs)

        return call


@contextmanager
def inner_stages(clock: Clock) -> Iterator[None]:
    """Time the parts of ``choose``: judging options, counting pieces, finding packages."""
    names = {"judge": "of it: demands and ratios", "house_quantities": "of it: pieces", "plan_tiers": "of it: packages"}
    before = {name: getattr(selection, name) for name in names}
    for name, label in names.items():
        setattr(selection, name, clock.timed(label, before[name]))
    try:
        yield
    finally:
        for name, function in before.items():
            setattr(selection, name, function)


def whole_job(file: Path, workers: int, clock: Clock) -> Prepared:
    """Read to written files, stage by stage."""
    tract = load_tract(file)
    with clock.stage("prepare (read, models, hazards)"):
        prepared = prepare(tract, workers=workers)
    for name, seconds in prepared.timings.items():
        clock.stages[f"of it: {name}"] = {"wall": seconds}
    with clock.stage("choose (demands, options, packages)"), inner_stages(clock):
        chosen = choose(prepared)
    with clock.stage("tables"):
        results = build_results(prepared, chosen)
    with clock.stage("write (GeoPackage, CSV)"):
        folder = file.parent / "written"
        folder.mkdir()
        manifest = build_manifest(tract, input_records(tract), {}, results.lots, results.issues, 3, results.run)
        write_results(folder, results, manifest)
    return prepared


def profile(file: Path, workers: int) -> dict[str, tuple[int, float]]:
    """Calls and own seconds of every function, from ``prepare`` to the tables, but for the search for packages."""
    tract = load_tract(file)
    search, recorder = selection.plan_tiers, cProfile.Profile()

    def unrecorded(*args: Any) -> Any:
        recorder.disable()
        try:
            return search(*args)
        finally:
            recorder.enable()

    selection.plan_tiers = unrecorded
    try:
        recorder.enable()
        prepared = prepare(tract, workers=workers)
        build_results(prepared, choose(prepared))
        recorder.disable()
    finally:
        selection.plan_tiers = search
    rows: dict[str, tuple[int, float]] = {}
    for (where, line, name), (_, calls, own, _, _) in pstats.Stats(recorder).stats.items():  # type: ignore[attr-defined]
        short = Path(where).name if where not in ("~", "") else "built in"
        rows[f"{short}:{line} {name}" if line else name] = (calls, own)
    return rows


def machine() -> str:
    return f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}"


def report(lots: int, most: int, workers: int) -> str:
    """Run everything and put it in words."""
    lines = [f"{lots:,} lots, at most {most} packages, {workers} workers; {machine()}.", ""]
    clock = Clock()
    with tempfile.TemporaryDirectory() as name:
        file = write_project(Path(name), lots, most)
        prepared = whole_job(file, workers, clock)
        houses, points = len(prepared.models), sum(len(m.points) for m in prepared.models)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    lines += ["| stage | s | lots/s | user s | system s | page faults |", "|---|---|---|---|---|---|"]
    for stage, row in clock.stages.items():
        used = [f"{row[k]:,.{0 if k == 'faults' else 1}f}" for k in ("user", "system", "faults") if k in row]
        rate = lots / row["wall"] if row["wall"] else float("inf")
        lines.append(" | ".join([f"| {stage}", f"{row['wall']:.2f}", f"{rate:,.0f}", *(used or ["", "", ""])]) + " |")
    total = sum(row["wall"] for stage, row in clock.stages.items() if not stage.startswith("of it"))
    lines += [
        f"| **all** | {total:.2f} | {lots / total:,.0f} | | | |",
        "",
        f"{houses} house designs with {points:,} connection points; peak memory {peak:,.0f} MiB.",
        "",
    ]
    return "\n".join([*lines, *profiles(lots, most, workers)])


def profiles(lots: int, most: int, workers: int) -> list[str]:
    found = []
    for size in (lots // 10, lots):
        with tempfile.TemporaryDirectory() as name:
            found.append(profile(write_project(Path(name), size, min(most, 1)), workers))
    few, many = found
    total = sum(own for _, own in many.values())
    top = sorted(many.items(), key=lambda item: -item[1][1])[:15]
    lines = [
        "Profile from reading to tables, own time of functions, without the search for packages and without writing; "
        f"{total:.1f} s in all (the profiler's own cost is in it):",
        "",
    ]
    lines += ["| function | own s | calls | calls at a tenth of the lots |", "|---|---|---|---|"]
    lines += [f"| `{name}` | {own:.2f} | {calls:,} | {few.get(name, (0, 0.0))[0]:,} |" for name, (calls, own) in top]
    loops = {n: r for n, r in many.items() if r[0] >= lots and r[0] > 5 * few.get(n, (0, 0.0))[0]}
    share = sum(own for _, own in loops.values()) / total
    lines += ["", f"Called at least once a lot and growing with the lots: {share:.1%} of the time. The largest:", ""]
    lines += ["| function | own s | calls |", "|---|---|---|"]
    largest = sorted(loops.items(), key=lambda item: -item[1][1])[:10]
    lines += [f"| `{name}` | {own:.2f} | {calls:,} |" for name, (calls, own) in largest]
    return lines


def record(text: str) -> None:
    """Replace this benchmark's part of results.md."""
    file = HERE / "results.md"
    heading = "## Whole job (bench_tract.py)"
    old = file.read_text(encoding="utf-8") if file.exists() else "# Results of the long checks\n"
    parts = old.split("\n## ")
    kept = [parts[0], *(part for part in parts[1:] if not heading.endswith(part.splitlines()[0]))]
    body = f"{heading[3:]}\n\nRun on {date.today():%Y-%m-%d}. Invented lots and ground.\n\n{text}\n"
    file.write_text("\n## ".join([*(part.rstrip("\n") + "\n" for part in kept), body]), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--lots", type=int, default=10_000)
    parser.add_argument("--most", type=int, default=4)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--record", action="store_true")
    options = parser.parse_args()
    text = report(options.lots, options.most, options.workers)
    print(text)
    if options.record:
        record(text)


if __name__ == "__main__":
    main()
