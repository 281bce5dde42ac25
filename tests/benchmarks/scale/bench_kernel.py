"""Demand evaluation and choice alone: lots a second on this machine, and how far that is from what the machine can do.

    python tests/benchmarks/scale/bench_kernel.py [--lots 100000 1000000] [--threads 2] [--runs 3]

Twelve houses of the invented sample; hazards are drawn, not read. "compact": chunks of 25,000 lots whose wind, shaking
and snow are those of a few neighbouring tracts (hills and two exposures inside). "anywhere": every lot drawn over the
whole domain, the hard case. Timed apart: what passes (first pass over a portfolio), classes of requirements, and
demands with usage ratios of the lots' packages (second pass). Basis numbers are made outside the clock and timed by
themselves.
Not a timed test: it passes no judgement.
"""

from __future__ import annotations

import argparse
import os
import platform
import resource
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numba
import numpy as np

ROOT = Path(__file__).parents[3]
sys.path.insert(0, str(ROOT))

from screener.demands import DemandModel, LotHazards, build_model, load_basis  # noqa: E402
from screener.hardware import read_hardware  # noqa: E402
from screener.house_kernels import HouseRatios, evaluate_house, judge_packages, requirement_classes  # noqa: E402
from screener.house_tables import HouseTable, house_table  # noqa: E402
from screener.plan_files import load_plan  # noqa: E402
from screener.selection import house_lines  # noqa: E402

CHUNK_LOTS = 25_000
CATEGORIES = ("B", "C", "D0", "D2")
HOUSES = tuple(
    (plan, style) for plan in ("anvil", "kettle", "ladder", "lantern", "thimble") for style in ("A", "B", "C")
)
SAMPLE = ROOT / "sample_data"


@dataclass
class Clock:
    """Wall, system and user seconds and page faults by stage."""

    seconds: dict[str, list[float]] = field(default_factory=dict)

    def time(self, stage: str, work: Callable[[], object]) -> object:
        before, start = resource.getrusage(resource.RUSAGE_SELF), time.perf_counter()
        result = work()
        wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF)
        spent = (wall, after.ru_utime - before.ru_utime, after.ru_stime - before.ru_stime)
        one = [*spent, float(after.ru_minflt - before.ru_minflt)]
        self.seconds[stage] = [a + b for a, b in zip(self.seconds.get(stage, [0.0] * 4), one, strict=True)]
        return result


def houses() -> tuple[list[DemandModel], list[HouseTable]]:
    """Twelve houses and their tables."""
    hardware, _ = read_hardware(SAMPLE / "hardware.csv")
    models: list[DemandModel] = []
    for plan, style in HOUSES:
        loaded = load_plan(SAMPLE / "plans" / f"{plan}.toml")
        if style in loaded.styles and len(models) < 12:
            models.append(build_model(loaded.variant(style), "ASCE 7-16", "ASD"))
    lines, _, options = house_lines(models, hardware)
    by_line = dict(zip(lines, options, strict=True))
    return models, [house_table(m, lines, by_line, hardware, "2015", CATEGORIES) for m in models]


def compact(lots: int, r: np.random.Generator) -> LotHazards:
    """A few neighbouring tracts: one wind field, two exposures, hills under a third of the lots."""
    speed = r.uniform(100.0, 150.0) * (1.0 + 0.004 * r.standard_normal(lots))
    kz = np.where(r.random(lots) < 0.6, 0.70, 0.85)
    kzt = np.where(r.random(lots) < 0.3, r.uniform(1.0, 1.4, lots), 1.0)
    q = 0.00256 * kz * kzt * speed**2
    sds = r.uniform(0.1, 1.2) * (1.0 + 0.003 * r.standard_normal(lots))
    n = np.full(lots, 1.0)
    snow = float(r.choice([0.0, 14.0, 21.0]))
    return LotHazards(q, q.copy(), 0.18 * n, sds, 0.5 * sds, 0.35 * sds, 1.3 * n, snow * n, np.stack([q] * 4, axis=1))


def anywhere(lots: int, r: np.random.Generator) -> LotHazards:
    """Every lot by itself, over the whole domain."""
    q, sds = r.uniform(8.0, 60.0, lots), r.uniform(0.05, 1.8, lots)
    onto = q[:, None] * r.uniform(0.5, 1.0, (lots, 4))
    return LotHazards(
        q, q * r.uniform(0.95, 1.05, lots), r.choice([0.18, 0.55], lots), sds, sds * r.uniform(0.3, 0.9, lots),
        0.4 * sds, r.choice([1.0, 1.3], lots), r.choice([0.0, 14.0, 35.0], lots), onto,
    )  # fmt: skip


def run(lots: int, hazards: Callable[[int, np.random.Generator], LotHazards], threads: int) -> Clock:
    """All chunks of a portfolio through both passes, house by house."""
    models, tables = HOUSE_SET
    r, clock = np.random.default_rng(11), Clock()
    packages = np.stack([r.integers(0, max(n, 1), 4) for n in tables[0].options], axis=1)
    kept: dict[tuple[int, int], HouseRatios] = {}
    for start in range(0, lots, CHUNK_LOTS):
        chunk = min(CHUNK_LOTS, lots - start)
        drawn, house = hazards(chunk, r), r.integers(0, len(models), chunk)
        category, tier = r.integers(0, len(CATEGORIES), 1).repeat(chunk), r.integers(0, 4, chunk)
        for h, (model, table) in enumerate(zip(models, tables, strict=True)):
            at = np.flatnonzero(house == h)
            own_hazards = drawn.take(at)
            basis = clock.time("basis numbers", lambda m=model, d=own_hazards: load_basis(m, d))
            inside, own = category[at], tier[at]
            evaluated = clock.time(
                "what passes", lambda t=table, b=basis, c=inside: evaluate_house(t, b, c, threads=threads)
            )
            clock.time("classes", lambda e=evaluated: requirement_classes(e.passes))
            out = kept.get((h, len(at)))
            kept[h, len(at)] = clock.time(
                "demands and ratios",
                lambda t=table, b=basis, c=inside, o=own, into=out: judge_packages(
                    t, b, c, packages, o, demands=True, threads=threads, out=into
                ),
            )
    return clock


# --- what the machine can do ----------------------------------------------------------------------------------------


@numba.njit(nogil=True)
def _copy(a: np.ndarray, b: np.ndarray) -> None:
    for i in range(len(a)):
        a[i] = b[i] * 1.5


@numba.njit(nogil=True)
def _multiply_and_add(rounds: int) -> float:
    """Products and sums in registers: 32 at a time, none waits for another."""
    x = np.ones(32)
    for _ in range(rounds):
        for i in range(32):
            x[i] = x[i] * 0.999999 + 1e-6
    return float(x.sum())


def bandwidth_gb_s(threads: int) -> float:
    """Read and written bytes a second of a plain copy with a factor, all threads together."""
    size = 16_000_000
    pairs = [(np.zeros(size), np.ones(size)) for _ in range(threads)]
    _copy(pairs[0][0][:8], pairs[0][1][:8])
    best = 0.0
    with ThreadPoolExecutor(threads) as pool:
        for _ in range(5):
            start = time.perf_counter()
            list(pool.map(lambda p: _copy(*p), pairs))
            best = max(best, 16 * size * threads / (time.perf_counter() - start) / 1e9)
    return best


def flops_g_s(threads: int) -> float:
    """Products and sums a second in registers, all threads together."""
    rounds = 3_000_000
    _multiply_and_add(1)
    best = 0.0
    with ThreadPoolExecutor(threads) as pool:
        for _ in range(5):
            start = time.perf_counter()
            list(pool.map(_multiply_and_add, [rounds] * threads))
            best = max(best, 64 * rounds * threads / (time.perf_counter() - start) / 1e9)
    return best


def work_of(table: HouseTable) -> tuple[float, float, float]:
    """Of one lot: products and sums of all its forms, demand over capacity of all options, bytes read and written."""
    forms = sum(np.count_nonzero(p.coefficients) for p in table.points)
    forms += sum(np.count_nonzero(p.ceiling) for p in table.points if p.ceiling is not None)
    terms = sum(p.coefficients.shape[0] * p.coefficients.shape[1] * p.options for p in table.points)
    results = 8 * int(table.first_word[-1]) + 10 * table.rows + 10 * len(table.points)
    return 2.0 * forms, 2.0 * terms, 2 * 8 * len(table.basis) + results


def main() -> None:
    global HOUSE_SET
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--lots", type=int, nargs="*", default=[100_000, 1_000_000])
    parser.add_argument("--threads", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--runs", type=int, default=3)
    chosen = parser.parse_args()
    load = os.getloadavg()[0]
    print(f"{date.today()}, {platform.processor() or platform.machine()}, {os.cpu_count()} cores, load {load:.1f}")
    start = time.perf_counter()
    HOUSE_SET = houses()
    tables = HOUSE_SET[1]
    made = time.perf_counter() - start
    for table in tables:
        _ = table.pass_arrays, table.judge_arrays
    forms, terms, bytes_a_lot = np.mean([work_of(t) for t in tables], axis=0)
    print(f"{len(tables)} houses made in {made:.1f} s; a lot: {forms:,.0f} products and sums of forms, {terms:,.0f} of")
    print(
        f"options (all of them, nothing left out), {bytes_a_lot:,.0f} bytes of basis numbers read and results written"
    )
    wide, quick = bandwidth_gb_s(chosen.threads), flops_g_s(chosen.threads)
    print(f"machine, {chosen.threads} threads: copy {wide:.1f} GB/s, products and sums {quick:.1f} G/s")
    run(5_000, anywhere, chosen.threads)  # compiled, or read from the cache
    for name, hazards in (("compact", compact), ("anywhere", anywhere)):
        for lots in chosen.lots:
            runs = [run(lots, hazards, chosen.threads).seconds for _ in range(chosen.runs)]
            print(f"{name}, {lots:,} lots, median of {chosen.runs}")
            stages = {s: np.median([r[s] for r in runs], axis=0) for s in runs[0]}
            both = stages["what passes"] + stages["demands and ratios"]
            stages["passes, demands and ratios"] = both
            for stage, (wall, user, system, faults) in stages.items():
                print(
                    f"  {stage:27} {lots / wall:12,.0f} lots/s {1e6 * (user + system) / lots:7.2f} us CPU a lot "
                    f"{1e6 * system / lots:6.2f} us system {faults / lots:6.3f} page faults a lot"
                )
            moved = bytes_a_lot * lots / both[0] / 1e9
            done = (forms * 2 + terms) * lots / both[0] / 1e9
            print(f"  moved {moved:.2f} GB/s: {moved / wide:.0%} of the copy; the same without pruning would be")
            print(
                f"  {done:.1f} G products and sums a second: {done / quick:.0%} of what the machine does in registers"
            )


HOUSE_SET: tuple[list[DemandModel], list[HouseTable]]

if __name__ == "__main__":
    main()
