"""Pools of lots that never share a package, and the best numbers of packages for each.

A pool is a plan family where packages are designed plan by plan, or the lots inside or outside their plan's permit
where those are kept apart. Pools of one group share the number of packages that the group may have. As packages of one
pool cost the other pools nothing, each pool has a cost curve of its own, and the best split of K packages among the
pools of a group is a dynamic programme over those curves; the same programme over their lower bounds is a lower bound.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from screener import tier_classes as tc
from screener.tier_bound import UNSERVED
from screener.tier_classes import Classes
from screener.tier_search import Best, Limits, Start, best_packages, exchange, polish, start_packages

IntArray = NDArray[np.int64]

MOST_FURTHER = 9  # points of the curve beyond the most packages allowed
EXCHANGED_UP_TO = 12  # packages up to which such a point is improved by exchanging single ones
MOST_SINGLES = 400  # packages that are tried in exchange


@dataclass(frozen=True)
class Pool:
    """Lots that may share packages. `base` (classes,) is the weighted cost of a class without a chosen package, and
    `leaves` what leaving it without any counts; `lots` are the problem's rows in the order of `classes.of_lot`."""

    lots: IntArray
    group: int
    classes: Classes
    base: IntArray
    leaves: IntArray
    package_cents: int

    @property
    def own_cents(self) -> int:
        """Every lot with its own cheapest options."""
        return int(tc.own_costs(self.classes).sum())


@dataclass(frozen=True)
class Split:
    """The best split of at most so many packages a group: an answer for each pool, and what they cost together."""

    answers: tuple[Best, ...]
    cost: int
    lower_bound: int

    @property
    def packages(self) -> int:
        """Packages used in all pools."""
        return sum(len(each.options) for each in self.answers)


def without_packages(pool: Pool) -> Best:
    """The answer with no package chosen."""
    cost = int(pool.base.sum())
    nothing = np.empty((0, len(pool.classes.lines)), dtype=np.int64)
    return Best(nothing, cost, cost, "nothing to choose for", 0, 0, 0)


def pool_curve(pool: Pool, most: int, limits: Limits) -> list[Best]:
    """Best answers for at most 0, 1, ... `most` packages; each starts from the one before, so cost never rises."""
    answers = [without_packages(pool)]
    if not pool.classes.count:  # every lot keeps a package, has no plan, or is served by nothing
        return answers * (most + 1)
    classes, base, price = pool.classes, pool.base, pool.package_cents
    start = start_packages(classes, most, price, limits)
    floor = min(int(base.sum()), int(np.minimum(tc.own_costs(classes), base).sum()))
    if limits.quick_curve and most > 1:
        quick = further_answers(pool, range(1, most), answers)
        answers += [quick[count] for count in range(1, most)]
    for count in range(len(answers), most + 1):
        before = answers[-1]
        if count > 1 and (before.cost <= floor or (len(before.options) < count - 1 and before.proven)):
            answers.append(before)  # more packages than are used already change nothing
            continue
        if count > 1:
            pool_options = np.unique(np.vstack([start.pool, before.options]), axis=0)
            start = Start((*start.sets, (len(before.options), before.options)), pool_options)
        answers.append(best_packages(classes, base, count, price, start, limits))
    return answers


def further_counts(most: int, own: int) -> list[int]:
    """Numbers of packages beyond the most allowed at which the curve is drawn on, up to one for every kind of lot."""
    counts: list[int] = []
    step = most + 1
    while step < own and len(counts) < MOST_FURTHER:
        counts.append(step)
        step = max(step + 1, int(step * 1.5))
    return [*counts, own] if own > most else counts


def own_packages(pool: Pool) -> IntArray:
    """The distinct packages that classes would have on their own."""
    count = pool.classes.count
    return np.unique(tc.group_packages(pool.classes, np.arange(count), count), axis=0)


def further_answers(pool: Pool, counts: Sequence[int], known: Sequence[Best]) -> dict[int, Best]:
    """Quick answers for larger numbers of packages: neighbours in cost grouped, then polished; bound: own options.

    Good enough to show where a curve goes; nothing is proven but where the bound is met.
    """
    if not pool.classes.count:
        return dict.fromkeys(counts, known[-1])
    classes, base, price = pool.classes, pool.base, pool.package_cents
    own = own_packages(pool)
    floor = min(int(base.sum()), int(np.minimum(tc.own_costs(classes), base).sum()) + price)
    start = start_packages(classes, min(max(counts, default=1), len(own)), price, Limits())
    found: dict[int, Best] = {}
    best = known[-1]
    singles = np.unique(np.vstack([own, start.pool[:: max(1, len(start.pool) // MOST_SINGLES)]]), axis=0)
    costs = tc.weighted_costs(classes, singles)
    for count in counts:
        sets = [rows for used, rows in start.sets if used == min(count, len(own))]
        if count <= EXCHANGED_UP_TO:
            sets.append(exchange(best.options, singles, costs, classes, base, count, price))
        for rows in [*sets, own] if count >= len(own) else sets:
            options, cost = polish(classes, base, rows, price)
            if cost < best.cost:
                best = Best(options, cost, min(cost, floor), "grouped, not proven", 0, 0, 0)
        found[count] = Best(best.options, best.cost, min(best.cost, floor), best.method, 0, 0, 0)
    return found


def split_packages(pools: Sequence[Pool], curves: Sequence[Mapping[int, Best]], most: int) -> Split:
    """The cheapest answers with at most `most` packages in every group of pools.

    `curves`: for each pool, its answer by number of packages, 0 among them.
    """
    answers: list[Best | None] = [None] * len(pools)
    bound = 0
    for group in sorted({pool.group for pool in pools}):
        mine = [n for n, pool in enumerate(pools) if pool.group == group]
        counts, cost_bound = _shares([curves[n] for n in mine], most)
        bound += cost_bound
        for n, count in zip(mine, counts, strict=True):
            answers[n] = curves[n][count]
    chosen = tuple(each for each in answers if each is not None)
    cost = sum(each.cost for each in chosen)
    return Split(chosen, cost, min(cost, bound))


def _shares(curves: Sequence[Mapping[int, Best]], most: int) -> tuple[list[int], int]:
    """Packages for each pool of a group at least cost, and the least sum of lower bounds over all splits."""
    if len(curves) == 1:
        count = max(k for k in curves[0] if k <= most)
        return [count], curves[0][count].lower_bound
    ways: dict[int, tuple[int, list[int]]] = {0: (0, [])}  # packages used so far -> least cost, and how
    bounds = {0: 0}
    for curve in curves:
        further: dict[int, tuple[int, list[int]]] = {}
        low: dict[int, int] = {}
        for used, (cost, how) in ways.items():
            for count, best in curve.items():
                total = used + count
                if total > most:
                    continue
                option = (cost + best.cost, [*how, count])
                further[total] = min(further.get(total, option), option)
                low[total] = min(low.get(total, int(UNSERVED)), bounds[used] + best.lower_bound)
        ways, bounds = further, low
    return min(ways.values())[1], int(min(bounds.values()))
