"""The search against simpler ways to group lots: never dearer, and a kept tract where both usual ways fail."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from test_tiers import brute_force, make_tract
from tract_helpers import SAMPLE, screened, write_tract

from screener import tier_classes as tc
from screener.tiers import TierProblem, plan_tiers


def classes_of(problem: TierProblem) -> tc.Classes:
    """The lots that some option serves, as classes."""
    from screener.tiers import lots_without_option

    lots = np.flatnonzero(~lots_without_option(problem)[0])
    return tc.collapse(
        problem.lot_variant[lots], [mask[lots] for mask in problem.passes], problem.costs_cents, problem.has_line
    )


def group_cost(classes: tc.Classes, members: list[int]) -> int:
    package = tc.group_package(classes, np.array(members))
    if package is None:
        return 1 << 50
    return int(tc.weighted_costs(classes, package[None, :])[0][members].sum())


def merged(classes: tc.Classes, most: int) -> int:
    """Greedy: every kind of lot its own package, then the two that cost least together become one, again and again."""
    groups = [[c] for c in range(classes.count)]
    cost = [group_cost(classes, g) for g in groups]
    while len(groups) > most:
        best = min(
            (group_cost(classes, groups[a] + groups[b]) - cost[a] - cost[b], a, b)
            for a in range(len(groups))
            for b in range(a + 1, len(groups))
        )
        _, a, b = best
        groups[a] = groups[a] + groups[b]
        cost[a] = group_cost(classes, groups[a])
        del groups[b], cost[b]
    return sum(cost)


def sorted_cut(classes: tc.Classes, most: int) -> int:
    """Kinds of lots in order of their own cost, cut into neighbouring groups at least cost."""
    order = np.lexsort((np.arange(classes.count), tc.own_costs(classes) // classes.weight)).tolist()
    n = len(order)
    run = {(a, b): group_cost(classes, order[a:b]) for a in range(n) for b in range(a + 1, n + 1)}
    least = {(0, 0): 0}
    for k in range(1, most + 1):
        for b in range(1, n + 1):
            ways = [least[k - 1, a] + run[a, b] for a in range(b) if (k - 1, a) in least]
            if ways:
                least[k, b] = min(ways)
    return min(least[k, n] for k in range(1, most + 1) if (k, n) in least)


def greedily_added(classes: tc.Classes, most: int) -> int:
    """One package for all, then again and again the one package more that helps most."""
    everyone = tc.group_packages(classes, np.zeros(classes.count, dtype=np.int64), 1)
    pool = np.unique(tc.group_packages(classes, np.arange(classes.count), classes.count), axis=0)
    chosen = everyone
    for _ in range(most - 1):
        costs = [int(tc.weighted_costs(classes, np.vstack([chosen, p[None]])).min(axis=0).sum()) for p in pool]
        chosen = np.vstack([chosen, pool[int(np.argmin(costs))][None]])
    return int(tc.weighted_costs(classes, chosen).min(axis=0).sum())


def clustered(classes: tc.Classes, most: int, seed: int) -> int:
    """Like k-means: kinds of lots to the package that costs them least, packages to their kinds, from a random
    start."""
    rng = np.random.default_rng(seed)
    group = rng.integers(0, most, classes.count)
    best = 1 << 60
    for _ in range(30):
        packages = tc.group_packages(classes, group, most)
        costs = tc.weighted_costs(classes, packages)
        if not len(packages):
            break
        total = int(costs.min(axis=0).sum())
        if total >= best:
            break
        best, group = total, costs.argmin(axis=0)
    return best


def rivals(problem: TierProblem) -> dict[str, int]:
    classes, most = classes_of(problem), problem.most
    return {
        "merged": merged(classes, most),
        "sorted": sorted_cut(classes, most),
        "added": greedily_added(classes, most),
        "clustered": min(clustered(classes, most, seed) for seed in range(20)),
    }


@pytest.mark.parametrize("seed", range(12))
def test_never_dearer_than_simpler_ways(seed: int) -> None:
    problem = make_tract(seed, 40, 3, 4, 2 + seed % 3, noise=0.3)
    plan = plan_tiers(problem)
    assert plan.proven
    assert plan.cost_cents <= min(rivals(problem).values())


KEPT_NEEDS = np.array([[0, 0], [0, 2], [0, 1], [2, 0], [0, 1]])  # least level of each line, by lot
KEPT = TierProblem(
    lot_ids=("a", "b", "c", "d", "e"),
    lot_variant=np.zeros(5, dtype=np.int64),
    variants=("only",),
    lines=("tie", "strap"),
    has_line=np.ones((1, 2), dtype=bool),
    passes=tuple(np.arange(3)[None, :] >= needs[:, None] for needs in (KEPT_NEEDS[:, 0], KEPT_NEEDS[:, 1])),
    costs_cents=(np.array([[110, 400, 490]]), np.array([[270, 510, 770]])),
    most=2,
)
"""Lot d needs the heaviest tie and no strap, b the reverse; sorting by cost or joining near pairs errs here."""


def test_a_kept_tract_where_greedy_and_sorted_grouping_fail() -> None:
    plan = plan_tiers(KEPT)
    assert plan.cost_cents == brute_force(KEPT)[1] == 4160
    found = rivals(KEPT)
    assert plan.cost_cents < found["merged"]
    assert plan.cost_cents < found["sorted"]
    assert plan.cost_cents < found["added"]


@pytest.mark.long
def test_never_dearer_than_simpler_ways_on_the_sample(tmp_path: Path) -> None:
    """The sample (invented) with letters and Kzt from its columns, up to four packages: proven, and no rival is
    cheaper."""
    import geopandas as gpd
    from test_pipeline import BY_COLUMNS

    lots = gpd.read_file(SAMPLE / "lots.gpkg", layer="lots")
    run = screened(write_tract(tmp_path, lots, {**BY_COLUMNS, "tiers.most": 4}))
    plan, problem = run.selection.plan, run.selection.problem
    assert problem is not None
    assert plan.proven
    assert plan.gap == 0.0
    assert all(point.proven for point in plan.curve)
    assert plan.cost_cents <= min(rivals(problem).values())
