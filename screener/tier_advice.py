"""What the curve of packages advises: how many, and which lots make a package dear.

A package must hold at its most demanding lot on every line. Lots are left out of their package one kind at a time, the
kind that saves the others most first, and the package is chosen again for those that stay: an exact sum for the lots as
they are grouped. Then lots and packages are regrouped without them: what is found is a real set of packages, so at
least that much is saved. Savings are material and labour; what the lots that leave cost elsewhere is not counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from screener import tier_classes as tc
from screener.tier_moves import regroup
from screener.tier_search import BLOCKED, polish
from screener.tiers import CurvePoint, TierPlan, TierProblem

IntArray = NDArray[np.int64]

MOST_STEPS = 3  # kinds of lots left out of one package, one after another
MOST_MOVES = 100  # kinds of lots moved one by one when the others are regrouped
WORTH_SHARE = 0.01
"""Without any price for packages: one package more is suggested while it saves at least this share of the cost."""


@dataclass(frozen=True)
class Suggestion:
    """A number of packages (in each group), and why."""

    most: int
    reason: str


@dataclass(frozen=True)
class Forcing:
    """Lots that force a package up. `saves_cents`: what the package's other lots would cost less;
    `saves_at_least_cents`: the whole tract, packages chosen again without them; `lines`: schedule lines that become
    cheaper."""

    package: int
    lots: tuple[int, ...]
    saves_cents: int
    saves_at_least_cents: int
    others: int
    lines: tuple[str, ...]


def suggested(plan: TierPlan, priced: bool) -> Suggestion:
    """The number of packages to use, from the curve: the least cost where packages have a price, else worth's end."""
    points = [p for p in plan.curve if p.cost_cents is not None]
    if not plan.n_classes:
        return Suggestion(1, "no lot is free to choose a package for")
    if not points:
        return Suggestion(len(plan.curve), "no number of packages allowed serves every lot")
    known = {p.most: int(p.cost_cents or 0) for p in points}
    if priced:
        least = min(known.values())
        count = min(k for k, cost in known.items() if cost == least)
        words = f"least cost with your prices for packages, items and mix-ups: {_dollars(least)}"
        if count == max(known):
            words += "; the curve may still fall beyond the most packages allowed"
        return Suggestion(count, words)
    count = points[0].most
    for before, after in pairwise(points):
        if known[before.most] - known[after.most] < WORTH_SHARE * known[before.most]:
            saved = known[before.most] - known[after.most]
            return Suggestion(count, _worth(saved, count))
        count = after.most
    return Suggestion(count, _to_the_end(plan, points, known))


def _worth(saved: int, count: int) -> str:
    return (
        f"package {count + 1} would save {_dollars(saved)}, less than {WORTH_SHARE:.0%} of the cost: not worth one "
        "more to keep apart, unless mix-ups and handling cost you less than that"
    )


def _to_the_end(plan: TierPlan, points: Sequence[CurvePoint], known: dict[int, int]) -> str:
    last = points[-1]
    if len(points) < 2:
        return "the only number of packages allowed"
    saved = known[points[-2].most] - known[last.most]
    share = saved / max(known[points[-2].most], 1)
    words = f"the last package allowed still saves {_dollars(saved)}, {share:.1%} of the cost"
    if plan.beyond and plan.beyond[0].cost_cents is not None:
        further = known[last.most] - int(plan.beyond[0].cost_cents)
        words += f"; {plan.beyond[0].most} would save {_dollars(further)} more"
    return words + ". Put a price on mix-ups ([tiers] mixup_usd and mixup_rate) to find where this ends"


def _dollars(amount: int) -> str:
    return f"${amount / 100:,.0f}"


def forcing_lots(problem: TierProblem, plan: TierPlan) -> list[Forcing]:
    """For each chosen package, kinds of lots whose leaving would make it cheaper for the others, the dearest first."""
    found: list[Forcing] = []
    for package in range(plan.n_chosen):
        lots = np.flatnonzero(plan.assignment == package)
        found.extend(_of_package(problem, plan, package, lots))
    return found


def _of_package(problem: TierProblem, plan: TierPlan, package: int, lots: IntArray) -> list[Forcing]:
    classes = tc.collapse(
        problem.lot_variant[lots], [mask[lots] for mask in problem.passes], problem.costs_cents, problem.has_line
    )
    now = tc.weighted_costs(classes, tc.group_packages(classes, np.zeros(classes.count, dtype=np.int64), 1))[0]
    gone = np.zeros(classes.count, dtype=bool)
    found: list[Forcing] = []
    for _ in range(min(MOST_STEPS, classes.count - 1)):
        saved = _saved(classes, now, gone)
        leaves = int(saved.argmax())
        if int(saved[leaves]) <= (found[-1].saves_cents if found else 0):
            break
        gone[leaves] = True
        left = lots[gone[classes.of_lot]]
        again = _tract_saves(problem, plan, package, left)
        found.append(
            Forcing(
                package,
                tuple(int(lot) for lot in left),
                int(saved[leaves]),
                max(int(saved[leaves]), again),
                len(lots) - len(left),
                _lighter(problem, classes, np.flatnonzero(~gone)),
            )
        )
    return found


def _saved(classes: tc.Classes, now: IntArray, gone: NDArray[np.bool_]) -> IntArray:
    """What the others save when one class more leaves, for every class; -1 for those that left or can't be spared."""
    wide = classes.wide
    sums, fails = wide.cost[~gone].sum(axis=0), wide.fails[~gone].sum(axis=0)
    without = wide.cheapest(sums - wide.cost, fails - wide.fails)
    others = int(now[~gone].sum()) - now
    return np.where(gone, -1, others - without)


def _lighter(problem: TierProblem, classes: tc.Classes, stays: IntArray) -> tuple[str, ...]:
    """Schedule lines on which the lots that stay take another option once the others have left."""
    group = np.full(classes.count, -1, dtype=np.int64)
    group[stays] = 0
    now, then = (tc.group_packages(classes, each, 1)[0] for each in (np.zeros_like(group), group))
    return tuple(name for name, a, b in zip(problem.lines, now, then, strict=True) if a != b and b != tc.NOT_USED)


def _tract_saves(problem: TierProblem, plan: TierPlan, package: int, gone: IntArray) -> int:
    """What the other lots of the pool would cost less at least, lots and packages regrouped by single moves."""
    pool = int(plan.package_pool[package])
    of_lot = np.zeros(len(problem.lot_ids), dtype=np.int64) if problem.lot_pool is None else problem.lot_pool
    mine = (of_lot == pool) & (plan.assignment >= 0) & (plan.assignment < plan.n_chosen)
    mine[gone] = False
    lots = np.flatnonzero(mine)
    classes = tc.collapse(
        problem.lot_variant[lots], [mask[lots] for mask in problem.passes], problem.costs_cents, problem.has_line
    )
    group = np.full(classes.count, -1, dtype=np.int64)
    group[classes.of_lot] = plan.assignment[lots]
    nowhere = np.full(classes.count, BLOCKED, dtype=np.int64)
    group, _ = regroup(classes, nowhere, 0, group, plan.n_chosen, MOST_MOVES)
    _, cost = polish(classes, nowhere, tc.group_packages(classes, group, plan.n_chosen), 0)
    return int(plan.lot_cost_cents[lots].sum()) - cost


def without_lots(problem: TierProblem, stays: NDArray[np.bool_]) -> TierProblem:
    """The problem with some of its lots only."""
    return replace(
        problem,
        lot_ids=tuple(name for name, there in zip(problem.lot_ids, stays, strict=True) if there),
        lot_variant=problem.lot_variant[stays],
        passes=tuple(mask[stays] for mask in problem.passes),
        lot_kept=None if problem.lot_kept is None else problem.lot_kept[stays],
        lot_pool=None if problem.lot_pool is None else problem.lot_pool[stays],
    )
