"""Times and gaps of the tier search: `python tests/screener/bench_tiers.py [lots ...] [plans=8] [project.toml]`.

Invented tracts of so many lots; `plans=8` keeps those with so many plans; with the name of a project file the packages
of that tract are searched too. Not a test: nothing is asserted, and times depend on the machine. Costs, gaps, nodes and
steps do not. The last output is kept in tests/benchmarks/results_tiers.md.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

import numpy as np

from screener.tiers import TierProblem, plan_tiers

N_LINES = 22


def invented_tract(
    n_lots: int, variants_a_plan: int, noise: float, most: int = 5, seed: int = 1, plans: int = 5
) -> TierProblem:
    """Plans in styles with optional parts, a ridge, an open edge, four street directions, and scatter from lot to lot.

    Options of a line rise in capacity with price; every fifth line is bought by spacing, in two items whose costs order
    differently from plan to plan.
    """
    rng = np.random.default_rng(seed)
    n_variants = plans * variants_a_plan
    plan, kind = np.arange(n_variants) // variants_a_plan, np.arange(n_variants) % variants_a_plan
    has_line = np.ones((n_variants, N_LINES), dtype=bool)
    has_line[:, 14:16] = (kind % 3 == 1)[:, None]
    has_line[:, 16:18] = (kind % 2 == 1)[:, None]
    has_line[:, 18:] = (plan >= 3)[:, None]
    east, north = np.sort(rng.random(n_lots)), rng.random(n_lots)
    topography = np.round(1.0 + 0.5 * np.maximum(0.0, 1.0 - np.abs(east - 0.6) / 0.12), 3)
    exposure = np.where(north > 0.85, 1.45, np.where(north > 0.3, 1.21, 1.0))
    pressure = topography * exposure * (1.0 + noise * rng.standard_normal(n_lots))
    street = np.array([1.0, 1.0, 1.05, 1.08])[rng.integers(0, 4, n_lots)]
    variant = rng.choice(n_variants, n_lots, p=np.random.default_rng(3).dirichlet(np.full(n_variants, 2.0)))
    passes, costs = [], []
    for line in range(N_LINES):
        options = int(rng.integers(4, 9))
        capacity = np.cumsum(rng.uniform(0.25, 0.45, options))
        capacity[-1] = 4.0
        count = rng.integers(10, 80, plans)[plan] * (1.0 + 0.1 * kind)
        cost = count[:, None] * np.cumsum(rng.uniform(0.5, 2.5, options))
        if line % 5 == 0:
            cost = np.ceil(count[:, None] / np.linspace(6.0, 1.0, options) * 1.7) * 7.3
            cost *= 1.0 + 0.25 * (np.arange(options) % 2)
        wind = rng.uniform(0.5, 1.1, plans)[plan] * (1.0 + 0.04 * kind)
        shaking = rng.uniform(0.2, 0.9, plans)[plan]
        demand = np.maximum(wind[variant] * pressure * (street if line % 4 == 0 else 1.0), shaking[variant])
        passes.append(demand[:, None] <= capacity)
        costs.append(np.round(cost * 100.0).astype(np.int64))
    return TierProblem(
        lot_ids=tuple(f"L-{number:06d}" for number in range(n_lots)),
        lot_variant=variant,
        variants=tuple(f"variant {number}" for number in range(n_variants)),
        lines=tuple(f"line {number}" for number in range(N_LINES)),
        has_line=has_line,
        passes=tuple(passes),
        costs_cents=tuple(costs),
        most=most,
    )


CASES = ((5, 1, 0.0), (5, 1, 0.06), (5, 2, 0.0), (5, 2, 0.06), (8, 1, 0.0), (8, 1, 0.06), (8, 2, 0.0))
"""Plans, houses of each plan, scatter of the wind from lot to lot."""
HEADING = "lots    plans  houses  noise  classes  most  wall s   cpu s    proven   gap     nodes  method"


def searched(problem: TierProblem, n_lots: int, plans: int, noise: float) -> None:
    """Search once and print a row."""
    wall, cpu = time.perf_counter(), time.process_time()
    plan = plan_tiers(problem)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    proven = f"{sum(each.proven for each in plan.curve)} of {len(plan.curve)}"
    left = f"{n_lots:<8}{plans:<7}{len(problem.variants):<8}{noise:<7}{plan.n_classes:<9}{problem.most:<6}"
    print(f"{left}{wall:<9.1f}{cpu:<9.1f}{proven:<9}{plan.gap:<8.2%}{plan.nodes:<7}{plan.method}", flush=True)


def main(lots: list[int], projects: list[str], only_plans: int = 0) -> None:
    print(HEADING)
    for project in projects:
        sample(project)
    for n_lots in lots:
        for plans, houses, noise in CASES:
            if only_plans not in (0, plans):
                continue
            for most in (3, 4) if plans == 8 else (5,):
                searched(invented_tract(n_lots, houses, noise, most, plans=plans), n_lots, plans, noise)


def sample(project: str) -> None:
    """The packages of a real project file, up to four."""
    from screener.config import load_tract
    from screener.pipeline import choose, prepare

    prepared = prepare(load_tract(project))
    problem = choose(prepared).problem
    assert problem is not None
    plans = len({variant.plan.name for variant in prepared.houses.variants})
    searched(replace(problem, curve_beyond=False), len(problem.lot_ids), plans, 0.0)


if __name__ == "__main__":
    words = sys.argv[1:]
    numbers = [int(w) for w in words if w.isdecimal()]
    only = [int(w.removeprefix("plans=")) for w in words if w.startswith("plans=")]
    files = [w for w in words if w.endswith(".toml")]
    main(numbers or ([] if files else [180, 5_000, 10_000]), files, *only)
