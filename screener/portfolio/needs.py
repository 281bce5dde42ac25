"""From what classes of lots need to packages: for each division, each tract, or the whole portfolio.

A class is a house, what passes on its package lines, whether the lot is outside its permit, and the package it keeps;
its weight is its number of lots. The search sees classes only, so its work and memory follow the variety of hazards and
plans and not the number of lots. It is the search of a single tract, with its proof or its gap.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from screener.joint_lines import join, pairs_of, split
from screener.portfolio.common import COMMON, LINES, Common, House, Lines, house_in
from screener.portfolio.layout import Layout
from screener.portfolio.work_folder import Outcome, Task, read_pickle, write_pickle
from screener.selection import allowed_options, chosen_names, kept_options
from screener.tier_design import LotPools, bill_name, choice_cents, item_cents, lot_pools, option_items, package_prices
from screener.tier_search import Limits
from screener.tiers import TierPlan, TierProblem, plan_tiers
from screener.unique_rows import unique_rows

HEAD = 3  # columns of a class before its passes: house, outside its permit, kept package (0: none)
NO_PACKAGE, NO_HARDWARE, LEFT_OVER = -1, -2, -3
SEARCH_LOTS = 500
MANY_CLASSES = 250
QUICK: dict[str, Any] = {
    **{"rounds": 1, "steps": 100, "core": 400, "frontier": 8_000, "join_cells": 50_000_000, "join_cells_a_lot": 0},
    **{"nodes": 10, "node_cells": 5_000_000, "node_cells_a_lot": 0, "start_blocks": 60, "moves": 15, "answers": 2},
    "quick_curve": True,
}
"""Limits for more classes than that: some 7 s of one core for 620 classes, against minutes."""
GROUP_TASKS, MOST_AT_ONCE = 64, 64
Words = NDArray[np.uint64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Group:
    """Lots that share packages, as classes: rows (classes, 3 + words) in ascending order, and their lots."""

    name: str
    rows: Words
    weight: Ints


@dataclass(frozen=True)
class GroupPlan:
    """Packages of a group: names, option of every line (packages, lines), and the package of every class.

    `of_class` is a package's place, or NO_HARDWARE (no option on some line) or LEFT_OVER. `short` tells for each class
    whether its kept package falls short.
    """

    name: str
    names: tuple[str, ...]
    options: Ints
    of_class: Ints
    short: NDArray[np.bool_]
    facts: Mapping[str, Any]


def group_names(layout: Layout, per: str) -> tuple[list[str], Ints]:
    """Names of the groups in order, and the group of every tract."""
    keys = ["" if per == "portfolio" else p.division if per == "division" else p.name for p in layout.places]
    names = list(dict.fromkeys(keys)) if per == "tract" else sorted(set(keys))
    number = {name: n for n, name in enumerate(names)}
    return names, np.array([number[k] for k in keys], dtype=np.int64)


class Needs:
    """Classes of all chunks put together, group by group."""

    def __init__(self, names: Sequence[str], group_of_place: Ints) -> None:
        self.names, self.group_of_place = names, group_of_place
        self.counts: list[dict[bytes, int]] = [{} for _ in names]
        self.width = HEAD

    def add(self, classes: Words, counts: Ints) -> None:
        """Classes of one chunk, and its lots as (place, class, lots)."""
        if not len(counts):
            return
        self.width = classes.shape[1]
        keys = [row.tobytes() for row in np.ascontiguousarray(classes)]
        group = self.group_of_place[counts[:, 0]]
        pairs, inverse = unique_rows(np.column_stack([group, counts[:, 1]]))
        lots = np.bincount(inverse, counts[:, 2]).astype(np.int64)
        for (g, c), n in zip(pairs.tolist(), lots.tolist(), strict=True):
            own = self.counts[g]
            own[keys[c]] = own.get(keys[c], 0) + n

    def group(self, number: int) -> Group:
        """The classes of a group, in an order that follows from what they need."""
        own = self.counts[number]
        rows = np.frombuffer(b"".join(own), dtype=np.uint64).reshape(len(own), self.width)
        weight = np.fromiter(own.values(), np.int64, len(own))
        order = np.lexsort(rows.T[::-1]) if len(rows) else np.zeros(0, dtype=np.int64)
        return Group(self.names[number], rows[order], weight[order])


@dataclass(frozen=True)
class Grouping:
    """Groups by name, the group of every tract, and how many groups a task takes."""

    names: tuple[str, ...]
    of_place: Ints
    at_once: int

    @staticmethod
    def of(layout: Layout, per: str) -> Grouping:
        names, of_place = group_names(layout, per)
        return Grouping(tuple(names), of_place, min(max(1, len(names) // GROUP_TASKS), MOST_AT_ONCE))

    @property
    def tasks(self) -> int:
        return -(-len(self.names) // self.at_once)

    def members(self, task: int) -> range:
        """Groups of a task."""
        return range(task * self.at_once, min((task + 1) * self.at_once, len(self.names)))

    def plan_in(self, folder: Path, group: int) -> GroupPlan:
        """The plan of a group from the work folder."""
        plan: GroupPlan = read_pickle(folder, plans_file(group // self.at_once))[group % self.at_once]
        return plan

    def group_in(self, folder: Path, group: int) -> Group:
        """The classes of a group from the work folder."""
        own: Group = read_pickle(folder, groups_file(group // self.at_once))[group % self.at_once]
        return own


def groups_file(task: int) -> str:
    return f"groups/{task:06d}.pickle"


def plans_file(task: int) -> str:
    return f"plans/{task:06d}.pickle"


def plan_groups(task: Task) -> Outcome:
    """Task "plan": packages of some groups."""
    folder = Path(task.folder)
    common: Common = read_pickle(folder, COMMON)
    lines: Lines = read_pickle(folder, LINES)
    groups: list[Group] = read_pickle(folder, groups_file(task.number))
    houses = [house_in(folder, n) for n in range(len(common.variants))]
    plans = [packages_of(group, common, lines, houses) for group in groups]
    name = plans_file(task.number)
    return Outcome("plan", task.number, {name: write_pickle(folder, name, plans)})


def packages_of(group: Group, common: Common, lines: Lines, houses: Sequence[House]) -> GroupPlan:
    """The cheapest packages of a group, with their proof or gap."""
    if not len(group.rows):  # every lot is skipped or out of scope
        return GroupPlan(
            group.name, (), np.zeros((0, len(lines.lines)), dtype=np.int64), np.zeros(0, dtype=np.int64),
            np.zeros(0, dtype=bool), {"lots": 0, "lot_classes": 0, "method": "no lot to serve", "proven": True},
        )  # fmt: skip
    tiers = common.portfolio.base.tiers
    house = group.rows[:, 0].astype(np.int64)
    plans = np.array([v.plan.name for v in common.variants], dtype=object)[house]
    pools = lot_pools(tiers, list(plans), group.rows[:, 1].astype(bool))
    problem = _problem(group, house, common, lines, houses, pools)
    pairs = tuple(pairs_of(lines.lines, lines.families, lines.options, common.hardware, problem.kept))
    plan = split(plan_tiers(join(problem, pairs), _limits(group)), list(lines.lines), pairs)
    options = np.full((len(plan.packages), len(lines.lines)), -1, dtype=np.int64)
    for n, package in enumerate(plan.packages):
        for line, option in package.items():
            options[n, lines.lines.index(line)] = option
    of_class = plan.assignment.astype(np.int64).copy()
    ids = {name: n for n, name in enumerate(problem.lot_ids)}
    of_class[[ids[r.lot_id] for r in plan.no_option]] = NO_HARDWARE
    of_class[[ids[name] for name in plan.unserved]] = LEFT_OVER
    short = np.zeros(len(group.rows), dtype=bool)
    short[[ids[name] for name, _ in plan.kept_failures]] = True
    own = chosen_names(plan, pools)
    kept = sorted(common.kept)
    names = [f"new {name}" if name in kept else name for name in own] + kept
    return GroupPlan(group.name, tuple(names), options, of_class, short, _facts(plan, group))


def _limits(group: Group) -> Limits:
    """Where the search stops: as for a tract of so many lots, but no later than for one of `SEARCH_LOTS`.

    A tract's search may take longer the more lots it has; that of a division would take hours for a last cent a lot.
    Many kinds of lots are searched in less depth: packages are about as good, the bound is weaker, the gap says so.
    """
    usual, lots = Limits(), max(int(group.weight.sum()), 1)
    if len(group.rows) > MANY_CLASSES:
        return replace(usual, **QUICK)
    share = min(1.0, SEARCH_LOTS / lots)
    return replace(
        usual,
        join_cells_a_lot=int(usual.join_cells_a_lot * share),
        node_cells_a_lot=int(usual.node_cells_a_lot * share),
    )


def _problem(
    group: Group, house: Ints, common: Common, lines: Lines, houses: Sequence[House], pools: LotPools
) -> TierProblem:
    """What passes on which class and what it costs a house, under the rules for packages."""
    base = common.portfolio.base
    tiers = base.tiers.model_copy(update={"most": common.portfolio.most})
    rate = base.purchase.labour_usd_per_h
    quantities = [h.quantities for h in houses]
    by_line = lines.by_line
    may_use = allowed_options(tiers, lines.lines, by_line, common.hardware)
    first = houses[0].table.first_word
    passes = [
        _mask(group.rows, HEAD + int(first[n]), len(by_line[line])) & may_use[n] for n, line in enumerate(lines.lines)
    ]
    has_line = np.stack([h.table.has_line for h in houses])
    costs = [
        np.array([[choice_cents(tiers, q, rate) for q in quantities[h][n]] for h in range(len(houses))], np.int64)
        .reshape(len(houses), len(by_line[line]))
        for n, line in enumerate(lines.lines)
    ]  # fmt: skip
    names = sorted(common.kept)
    kept = tuple(kept_options(common.kept[name], list(lines.lines), by_line) for name in names)
    own_kept = group.rows[:, 2].astype(np.int64) - 1
    prices = package_prices(tiers, pools, own_kept >= 0, group.weight)
    items, item_names = option_items([by_line[line] for line in lines.lines], quantities)
    in_use = {
        bill_name(p.row)
        for package in kept
        for line, option in package.items()
        for per_house in quantities
        for p in per_house[lines.lines.index(line)][option].pieces
    }
    return TierProblem(
        lot_ids=tuple(f"class {n:07d}" for n in range(len(house))),
        lot_variant=house,
        variants=tuple(v.key for v in common.variants),
        lines=lines.lines,
        has_line=has_line,
        passes=tuple(passes),
        costs_cents=tuple(costs),
        most=tiers.most,
        kept=kept,
        lot_kept=own_kept if names else None,
        lot_pool=pools.of_lot,
        pool_group=pools.group,
        group_package_cents=prices.package,
        first_package_cents=prices.first,
        least_lots=1,
        items=items,
        item_cents=item_cents(tiers, item_names, in_use),
        weight=group.weight,
    )


def _mask(rows: Words, first: int, options: int) -> NDArray[np.bool_]:
    option = np.arange(options)
    word = rows[:, first + option // 64]
    return np.asarray((word >> (option % 64).astype(np.uint64)) & np.uint64(1) != 0)


def _facts(plan: TierPlan, group: Group) -> dict[str, Any]:
    """How good the packages are, and the cost by number of packages."""
    return {
        "lots": int(group.weight.sum()),
        "lot_classes": len(group.rows),
        "method": plan.method,
        "proven": bool(plan.proven),
        "cost_cents": int(plan.cost_cents),
        "lower_bound_cents": int(plan.lower_bound_cents),
        "gap": round(plan.gap, 6),
        "one_package_cents": plan.one_package_cents,
        "every_lot_its_own_cents": int(plan.every_lot_own_cents),
        "packages_cents": int(plan.packages_cents),
        "stock_cents": int(plan.stock_cents),
        "curve": [
            {
                "most": c.most,
                "cost_cents": c.cost_cents,
                "lower_bound_cents": int(c.lower_bound_cents),
                "proven": bool(c.proven),
                "packages_used": c.packages_used,
                "lots_unserved": c.lots_unserved,
            }
            for c in plan.curve
        ],
    }
