"""Packages where kinds of items cost money to stock, or where a package must serve a least number of lots.

With either rule a package is no longer the cheapest one for its lots: a dearer option may share an item that is on the
site anyway, and a lot may have to go where a package lacks lots. So candidates that are joins do not suffice.

* Small problems go to a mixed-integer programme (HiGHS) with an option variable for every package and line: exact.
* Larger ones start from the packages that are best without the rules and are improved by single moves, all sums in
  whole cents: another option on a line, an item given up everywhere, a package given up, lots moved to fill a package.
  The bound is honest: what the packages cost at least without the rules, plus the items that must be stocked whatever
  the packages (`least_stock`, a small covering programme).

An item that several lines, packages or pools use is stocked once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from screener import tier_classes as tc
from screener.integer_programs import Rows, least_cost
from screener.tier_bound import UNSERVED
from screener.tier_pools import Pool

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

EXACT_CELLS = 300  # class x package x option cells up to which the whole problem is one exact programme
EXACT_NODES = 20_000
BOUND_NODES = 50
PASSES = 12  # rounds of single moves
SOLVER_ROUNDING = 1e-6  # what a solver's bound may be off by, as a share: its own tolerance


@dataclass(frozen=True)
class Rules:
    """What a package and an item must fulfil: least lots a package, items of every option, cents to stock each item."""

    least_lots: int
    items: tuple[tuple[tuple[int, ...], ...], ...]  # per line, per option: the items that it takes
    item_cents: IntArray

    @property
    def stocking(self) -> bool:
        """Whether any item costs something to stock."""
        return bool((self.item_cents > 0).any())

    def stock_cents(self, used: set[int]) -> int:
        """What these items cost to stock."""
        return int(sum(int(self.item_cents[item]) for item in used))


@dataclass(frozen=True)
class Settled:
    """Packages of every pool, lots of every class in each (last column: in none), the cost and its lower bound."""

    options: tuple[IntArray, ...]
    counts: tuple[IntArray, ...]  # per pool (classes, packages + 1)
    cost: int
    lower_bound: int
    method: str


def items_used(options: Sequence[IntArray], rules: Rules) -> set[int]:
    """Items of all options of these packages."""
    return {
        item
        for rows in options
        for row in rows
        for line, option in enumerate(row)
        if option != tc.NOT_USED
        for item in rules.items[line][int(option)]
    }


def lot_costs(pool: Pool, options: IntArray) -> IntArray:
    """Cost of one lot of each class in each package, and in none (last): (classes, packages + 1)."""
    weight = pool.classes.weight[:, None]
    each = tc.weighted_costs(pool.classes, options).T
    served = each < UNSERVED
    return np.hstack([np.where(served, each // weight, UNSERVED), pool.base[:, None] // weight])


def shared_out(pool: Pool, options: IntArray, least: int) -> IntArray | None:
    """Lots of every class in each package and in none, at least cost; None where the packages can't get their least."""
    classes, costs = pool.classes, lot_costs(pool, options)
    n, width = costs.shape
    counts = np.zeros((n, width), dtype=np.int64)
    counts[np.arange(n), costs.argmin(axis=1)] = classes.weight
    if least <= 1 or (counts[:, :-1].sum(axis=0) >= least).all():
        return counts
    allowed = costs < UNSERVED
    row, column = np.nonzero(allowed)
    cells = np.arange(len(row))
    once = Rows(np.ones(len(row)), row, cells, classes.weight, classes.weight)
    chosen = column < width - 1
    enough = np.full(width - 1, float(least))
    filled = Rows(np.ones(int(chosen.sum())), column[chosen], cells[chosen], enough, np.inf)
    exact = {"mip_rel_gap": 0.0}
    result = least_cost(costs[row, column], np.ones(len(row)), (0, np.inf), (once, filled), exact)
    if result.x is None:
        return None
    counts[:] = 0
    counts[row, column] = np.rint(result.x).astype(np.int64)
    return counts


def cost_of(pools: Sequence[Pool], options: Sequence[IntArray], counts: Sequence[IntArray], rules: Rules) -> int:
    """The whole objective: lots, packages, items to stock."""
    total = rules.stock_cents(items_used(options, rules))
    for pool, rows, lots in zip(pools, options, counts, strict=True):
        costs = lot_costs(pool, rows)
        total += int((np.where(lots > 0, costs, 0) * lots).sum()) + pool.package_cents * len(rows)
    return total


# -- single moves ------------------------------------------------------------------------------------------------


class _Moves:
    """One set of packages under improvement; every accepted move lowers the cost."""

    def __init__(self, pools: Sequence[Pool], options: Sequence[IntArray], rules: Rules) -> None:
        self.pools, self.rules = pools, rules
        self.options = [rows.copy() for rows in options]
        self.counts: list[IntArray] = []
        self.cost = int(UNSERVED)
        self._take(self.options)

    def _take(self, options: Sequence[IntArray]) -> bool:
        """Share lots out over these packages, drop the empty ones, and keep them if that is cheaper."""
        kept, counts = [], []
        for pool, rows in zip(self.pools, options, strict=True):
            lots = shared_out(pool, rows, self.rules.least_lots)
            if lots is None:
                return False
            used = lots[:, :-1].any(axis=0)
            kept.append(_without_idle_lines(pool, rows[used], lots[:, :-1][:, used]))
            counts.append(np.hstack([lots[:, :-1][:, used], lots[:, -1:]]))
        cost = cost_of(self.pools, kept, counts, self.rules)
        if cost >= self.cost:
            return False
        self.options, self.counts, self.cost = kept, counts, cost
        return True

    def run(self) -> None:
        """All kinds of moves in turn until none helps."""
        for _ in range(PASSES):
            before = self.cost
            self._take(self._better_options())
            self._give_up_packages()
            self._fill_packages()
            if self.cost == before:
                return

    def _better_options(self) -> list[IntArray]:
        """Options of all packages for the lots they have, items counted once: single changes, then items given up."""
        tables, here = self._tables()
        chosen = [[self.options[pool][package, line] for line in range(len(costs))] for pool, package, costs in tables]
        use = np.zeros(len(self.rules.item_cents), dtype=np.int64)
        for row in chosen:
            for line, option in enumerate(row):
                _count(use, self._items(line, option), 1)
        changed = True
        while changed:
            changed = any([self._change_options(tables, chosen, use), self._give_up_items(tables, chosen, use)])
        options = [rows.copy() for rows in self.options]
        for (pool, package, _), row in zip(tables, chosen, strict=True):
            options[pool][package] = np.where(here[pool][package], row, tc.NOT_USED)
        return options

    def _tables(self) -> tuple[list[tuple[int, int, list[IntArray]]], list[list[NDArray[np.bool_]]]]:
        """Cost of every option of every line of every package for its lots, and which lines its lots have."""
        tables, here = [], []
        for number, (pool, counts) in enumerate(zip(self.pools, self.counts, strict=True)):
            classes = pool.classes
            here.append(
                [(classes.state[counts[:, each] > 0] != tc.FREE).any(axis=0) for each in range(counts.shape[1] - 1)]
            )
            for package in range(counts.shape[1] - 1):
                lots = counts[:, package]
                costs = []
                for table in classes.by_option:  # at the class's weight: whole multiples of a lot's cost
                    inside = table[:-1, lots > 0]
                    broken = (inside >= tc.BROKEN).any(axis=1)
                    each = np.where(inside >= tc.BROKEN, 0, inside) // classes.weight[lots > 0]
                    costs.append(np.where(broken, tc.BROKEN, (each * lots[lots > 0]).sum(axis=1)))
                tables.append((number, package, costs))
        return tables, here

    def _items(self, line: int, option: int) -> tuple[int, ...]:
        return () if option == tc.NOT_USED else self.rules.items[line][option]

    def _price(self, line: int, option: int, use: IntArray) -> int:
        """What an option's items add to the stock that is in use otherwise."""
        return sum(int(self.rules.item_cents[item]) for item in self._items(line, option) if use[item] == 0)

    def _cheapest(self, line: int, costs: IntArray, use: IntArray, without: int = -1) -> tuple[int, int]:
        """(cost with stocking, option) of the cheapest option that holds, without one item; BROKEN where none does."""
        prices = [
            (int(costs[option]) + self._price(line, option, use), option)
            for option in np.flatnonzero(costs < tc.BROKEN).tolist()
            if without not in self._items(line, option)
        ]
        return min(prices, default=(int(tc.BROKEN), tc.NOT_USED))

    def _change_options(
        self, tables: list[tuple[int, int, list[IntArray]]], chosen: list[list[int]], use: IntArray
    ) -> bool:
        changed = False
        for (_, _, costs), row in zip(tables, chosen, strict=True):
            for line, option in enumerate(row):
                if option == tc.NOT_USED:
                    continue
                _count(use, self._items(line, option), -1)
                now = int(costs[line][option]) + self._price(line, option, use)
                cost, other = self._cheapest(line, costs[line], use)
                if cost < now:
                    row[line], changed = other, True
                _count(use, self._items(line, row[line]), 1)
        return changed

    def _give_up_items(
        self, tables: list[tuple[int, int, list[IntArray]]], chosen: list[list[int]], use: IntArray
    ) -> bool:
        """Give up one item everywhere where what replaces it costs less than stocking it."""
        changed = False
        for item in np.flatnonzero((use > 0) & (self.rules.item_cents > 0)).tolist():
            trial, saved = use.copy(), int(self.rules.item_cents[item])
            moves = []
            for number, ((_, _, costs), row) in enumerate(zip(tables, chosen, strict=True)):
                for line, option in enumerate(row):
                    if item not in self._items(line, option):
                        continue
                    _count(trial, self._items(line, option), -1)
                    gone = [i for i in self._items(line, option) if i != item and trial[i] == 0]
                    saved += int(costs[line][option]) + int(self.rules.item_cents[gone].sum())
                    cost, other = self._cheapest(line, costs[line], trial, item)
                    saved -= cost
                    _count(trial, self._items(line, other), 1)
                    moves.append((number, line, other))
            if saved > 0 and all(other != tc.NOT_USED for _, _, other in moves):
                for number, line, other in moves:
                    chosen[number][line] = other
                use[:] = trial
                changed = True
        return changed

    def _give_up_packages(self) -> None:
        """Leave out one package after another where that is cheaper."""
        improved = True
        while improved:
            improved = False
            for pool in range(len(self.pools)):
                for package in range(len(self.options[pool])):
                    fewer = [rows.copy() for rows in self.options]
                    fewer[pool] = np.delete(fewer[pool], package, axis=0)
                    if self._take(fewer):
                        improved = True
                        break

    def _fill_packages(self) -> None:
        """With a least number of lots: packages for the lots they have now, which may be lighter or heavier."""
        if self.rules.least_lots <= 1:
            return
        for number, pool in enumerate(self.pools):
            counts = self.counts[number]
            group = (
                np.where(counts[:, :-1].any(axis=1), counts[:, :-1].argmax(axis=1), -1) if counts.shape[1] > 1 else None
            )
            if group is None:
                continue
            rows = [rows.copy() for rows in self.options]
            rows[number] = tc.group_packages(pool.classes, group, counts.shape[1] - 1)
            self._take(rows)


def _count(use: IntArray, items: tuple[int, ...], step: int) -> None:
    for item in items:
        use[item] += step


def _without_idle_lines(pool: Pool, rows: IntArray, counts: IntArray) -> IntArray:
    """Packages without the lines that none of their lots has."""
    out = rows.copy()
    for package in range(len(rows)):
        there = (pool.classes.state[counts[:, package] > 0] != tc.FREE).any(axis=0)
        out[package] = np.where(there, rows[package], tc.NOT_USED)
    return out


def improved(
    pools: Sequence[Pool], starts: Sequence[Sequence[IntArray]], rules: Rules
) -> tuple[tuple[IntArray, ...], tuple[IntArray, ...], int]:
    """The best of several package sets, each improved by single moves: packages, lots in each, cost."""
    best: _Moves | None = None
    for options in starts:
        moves = _Moves(pools, options, rules)
        if not moves.counts:
            continue
        moves.run()
        if best is None or moves.cost < best.cost:
            best = moves
    assert best is not None  # the set without any package can always be shared out
    return tuple(best.options), tuple(best.counts), best.cost


# -- bound -------------------------------------------------------------------------------------------------------


def least_stock(pools: Sequence[Pool], rules: Rules) -> int:
    """Items that must be stocked whatever the packages: every line of every lot that needs one has an option (cents).

    A small covering programme over the distinct sets of passing options. Lots that may stay in a kept package need
    none.
    """
    if not rules.stocking:
        return 0
    model = _Model()
    stocked = model.add(rules.item_cents.astype(float), 1.0, True)
    for pool in pools:
        needs = pool.base >= pool.leaves
        for line, states in enumerate(pool.classes.lines):
            for state in np.unique(pool.classes.state[needs, line]):
                if state != tc.FREE:
                    _cover(model, [rules.items[line][o] for o in np.flatnonzero(states.masks[state])], stocked)
    bound = getattr(model.solve(BOUND_NODES), "mip_dual_bound", None)
    return max(0, int(np.floor(float(bound) * (1.0 - SOLVER_ROUNDING)))) if bound is not None else 0


def _cover(model: _Model, options: Sequence[tuple[int, ...]], stocked: IntArray) -> None:
    """At least one of the options has all its items in stock."""
    if any(not items for items in options):
        return
    takes = model.add(np.zeros(len(options)), 1.0, False)
    model.row([(int(column), 1.0) for column in takes], 1.0, np.inf)
    for column, items in zip(takes, options, strict=True):
        for item in items:
            model.row([(int(column), 1.0), (int(stocked[item]), -1.0)], -np.inf, 0.0)


class _Model:
    """A mixed-integer programme row by row."""

    def __init__(self) -> None:
        self.costs: list[float] = []
        self.lower: list[float] = []
        self.upper: list[float] = []
        self.integral: list[int] = []
        self.cells: tuple[list[int], list[int], list[float]] = ([], [], [])
        self.low: list[float] = []
        self.high: list[float] = []

    def add(self, costs: FloatArray, upper: float | FloatArray, whole: bool) -> IntArray:
        first = len(self.costs)
        n = len(costs)
        self.costs += costs.tolist()
        self.lower += [0.0] * n
        self.upper += np.broadcast_to(np.asarray(upper, dtype=float), (n,)).tolist()
        self.integral += [int(whole)] * n
        return np.arange(first, first + n)

    def row(self, terms: Sequence[tuple[int, float]], low: float, high: float) -> None:
        number = len(self.low)
        for column, value in terms:
            self.cells[0].append(number)
            self.cells[1].append(int(column))
            self.cells[2].append(float(value))
        self.low.append(low)
        self.high.append(high)

    def solve(self, nodes: int) -> object:
        rows, columns, values = self.cells
        conditions = (Rows(values, rows, columns, np.array(self.low), np.array(self.high)),)
        limits = {"mip_rel_gap": 0.0, "node_limit": nodes}
        return least_cost(
            self.costs, np.array(self.integral), (np.array(self.lower), np.array(self.upper)), conditions, limits
        )


# -- exact -------------------------------------------------------------------------------------------------------


def exact_cells(pools: Sequence[Pool], most: int) -> int:
    """How large the exact programme would be."""
    options = sum(table.shape[0] - 1 for table in pools[0].classes.by_option) if pools else 0
    return sum(pool.classes.count * min(most, int(pool.classes.weight.sum())) * options for pool in pools)


def exact(pools: Sequence[Pool], rules: Rules, most: int) -> tuple[tuple[IntArray, ...], int, bool] | None:
    """The optimum by one mixed-integer programme: packages of every pool, lower bound, whether it was proven."""
    model = _Model()
    stocked = model.add(rules.item_cents.astype(float), 1.0, True)
    places: list[list[_Place]] = []
    for pool in pools:
        slots = min(most, int(pool.classes.weight.sum()))
        places.append([_place(model, pool, rules, stocked) for _ in range(slots)])
        stay = model.add((pool.base // pool.classes.weight).astype(float), pool.classes.weight.astype(float), True)
        for c in range(pool.classes.count):
            terms = [(int(place.lots[c]), 1.0) for place in places[-1]]
            weight = float(pool.classes.weight[c])
            model.row([*terms, (int(stay[c]), 1.0)], weight, weight)
        for first, second in zip(places[-1], places[-1][1:], strict=False):
            model.row([(first.open, 1.0), (second.open, -1.0)], 0.0, np.inf)
    for group in sorted({pool.group for pool in pools}):
        mine = [place.open for pool, own in zip(pools, places, strict=True) if pool.group == group for place in own]
        model.row([(column, 1.0) for column in mine], 0.0, float(most))
    result = model.solve(EXACT_NODES)
    x = getattr(result, "x", None)
    if x is None:
        return None
    packages = []
    for pool, own in zip(pools, places, strict=True):
        rows = [[_picked(x, columns) for columns in place.options] for place in own if x[place.open] > 0.5]
        packages.append(np.array(rows, dtype=np.int64).reshape(len(rows), len(pool.classes.lines)))
    bound = float(getattr(result, "mip_dual_bound", -np.inf))
    return tuple(packages), int(np.ceil(bound - 0.01)), bool(getattr(result, "status", 1) == 0)


@dataclass(frozen=True)
class _Place:
    open: int
    lots: IntArray
    options: list[tuple[IntArray, IntArray]]  # per line: options, and their columns


def _place(model: _Model, pool: Pool, rules: Rules, stocked: IntArray) -> _Place:
    """One package of the exact programme: is it there, which lots, which option on which line."""
    classes = pool.classes
    is_open = int(model.add(np.array([float(pool.package_cents)]), 1.0, True)[0])
    lots = model.add(np.zeros(classes.count), classes.weight.astype(float), True)
    for c in range(classes.count):
        model.row([(int(lots[c]), 1.0), (is_open, -float(classes.weight[c]))], -np.inf, 0.0)
    least = max(1, rules.least_lots)
    model.row([*[(int(column), 1.0) for column in lots], (is_open, -float(least))], 0.0, np.inf)
    options = []
    for line, table in enumerate(classes.by_option):
        n = table.shape[0] - 1
        picked = model.add(np.zeros(n), 1.0, True)
        options.append((np.arange(n), picked))
        model.row([(int(column), 1.0) for column in picked], 0.0, 1.0)
        for column, option in zip(picked, range(n), strict=True):
            for item in rules.items[line][option]:
                model.row([(int(column), 1.0), (int(stocked[item]), -1.0)], -np.inf, 0.0)
        for c in np.flatnonzero(classes.state[:, line] != tc.FREE).tolist():
            weight = float(classes.weight[c])
            held = np.flatnonzero(table[:-1, c] < tc.BROKEN)
            use = model.add(table[held, c].astype(float) / weight, weight, False)
            model.row([*[(int(column), 1.0) for column in use], (int(lots[c]), -1.0)], 0.0, 0.0)
            for column, option in zip(use, held.tolist(), strict=True):
                model.row([(int(column), 1.0), (int(picked[option]), -weight)], -np.inf, 0.0)
    return _Place(is_open, lots, options)


def _picked(x: FloatArray, columns: tuple[IntArray, IntArray]) -> int:
    options, places = columns
    chosen = options[x[places] > 0.5]
    return int(chosen[0]) if len(chosen) else tc.NOT_USED


def settle(pools: Sequence[Pool], starts: Sequence[Sequence[IntArray]], rules: Rules, most: int, floor: int) -> Settled:
    """The best packages under the rules, from several starts, with the bound.

    `floor` is a bound without the rules, to which what must be stocked anyway (`least_stock`) was added.
    """
    if exact_cells(pools, most) <= EXACT_CELLS:
        found = exact(pools, rules, most)
        if found is not None:
            packages, bound, proven = found
            options, counts, cost = improved(pools, [packages, *starts], rules)
            lower = cost if proven else min(cost, max(bound, floor))
            return Settled(options, counts, cost, lower, "mixed-integer programme")
    options, counts, cost = improved(pools, starts, rules)
    return Settled(options, counts, cost, min(cost, floor), "single moves; bound without the rules, plus least stock")
