"""The best K packages for weighted classes: a good answer, a proven lower bound, and where possible the optimum.

1. *Start*: classes in order of their own cost, cut into K neighbouring groups by dynamic programming, then polished
   (every class to its cheapest package, every package to the cheapest for its classes), improved by moving single
   classes (`tier_moves`) and by exchanging one package at a time. For requirements that form a chain the cut alone is
   exact.
2. *Bound*: the condition "every class once" is priced (Lagrangian relaxation, `tier_bound`). With a price per class the
   value of a package is a plain sum, and the K best values give a lower bound. Prices and costs are whole cents, so the
   bound is exact arithmetic and the same on every machine.
3. *Candidates*: a package can be part of something better than the best answer so far only if its reduced cost is
   below a limit (bound + how much worse than the K-th best package it is < best answer). All such packages are
   enumerated by joining classes from the most demanding down, with a bound that prunes: see `packages_below`.
   Columns found feed back into 1 and 2 until nothing is missing.
4. *Proof*: if the bound meets the best answer, it is proven. Else branch and bound over the few candidates that are
   left (`tier_bound`), the least bound first.

Limits are counts, never seconds. Where a limit stops the work the answer carries its honest gap. With very many classes
the bound comes from fewer, easier ones (`tier_classes.relaxed`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numba
import numpy as np
from numpy.typing import NDArray

from screener import tier_classes as tc
from screener.tier_bound import (
    UNSERVED,
    Closed,
    Table,
    branch_and_bound,
    improve_prices,
    kth_smallest,
    reduced_costs,
    smallest_sum,
)
from screener.tier_classes import EMPTY, FREE, Classes
from screener.tier_moves import regroup
from screener.unique_rows import unique_rows

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: Per-line cost of a join that nothing passes. Below UNSERVED, so that sums over lines stay inside int64.
BLOCKED = np.int64(1) << 50
#: Classes x lines from which the compiled kernel runs; below, loading it costs more than it saves.
COMPILED_FROM = 8_000


@dataclass(frozen=True)
class Limits:
    """Where the search stops, as counts."""

    rounds: int = 20  # bound -> columns -> bound
    steps: int = 500  # price updates in a round
    patience: int = 10  # price updates without a better bound before the step is shortened
    core: int = 1500  # packages that take part in the price updates
    frontier: int = 150_000  # packages kept at once while enumerating
    narrow: int = 400  # the same for a quick look for columns
    narrow_from: int = 250  # classes from which quick looks pay
    relax_from: int = 600  # classes above which a larger problem is simplified at once
    relax_to: int = 400  # classes to which a larger problem is simplified for its bound
    join_cells: int = 4_000_000_000  # joins looked at x classes x lines, for one number of packages
    join_cells_a_lot: int = 1_000_000  # and so many more for every lot: a larger tract may take longer
    start_blocks: int = 120  # neighbouring classes are cut at most into so many blocks for the start
    answers: int = 8  # answers of a round of price updates that are improved by moving single classes
    moves: int = 400  # classes moved one by one from a start
    cells: int = 12_000_000  # packages x classes held in one cost table
    pairs: int = 20_000  # class-package pairs left, above which another round is tried before branching
    favoured: int = 250  # packages over which branch and bound is tried first, for a better answer
    nodes: int = 1_000  # branch-and-bound nodes
    node_cells: int = 1_000_000_000  # price updates x packages x classes in all nodes
    node_cells_a_lot: int = 200_000
    quick_curve: bool = False  # fewer packages than the most are grouped and polished only, not searched for
    node_steps: int = 150  # price updates in a node
    node_patience: int = 6


@dataclass(frozen=True)
class Best:
    """Packages, what they cost (cents, package cost included), and the proven lower bound."""

    options: IntArray  # (packages, lines)
    cost: int
    lower_bound: int
    method: str
    steps: int
    candidates: int
    nodes: int

    @property
    def proven(self) -> bool:
        """True when nothing cheaper exists."""
        return self.lower_bound >= self.cost


@dataclass(frozen=True)
class _Pool:
    """Packages at hand with the weighted cost of every class in each."""

    options: IntArray
    costs: IntArray


@dataclass(frozen=True)
class _Columns:
    """Enumerated packages; every package that is not among them has a reduced cost of at least `floor`."""

    options: IntArray
    costs: IntArray
    reduced: IntArray
    floor: int
    complete: bool


@dataclass(frozen=True)
class Start:
    """Package sets to start from, by how many packages they use at most, and a pool of single packages."""

    sets: tuple[tuple[int, IntArray], ...]
    pool: IntArray


def best_packages(
    classes: Classes,
    base: IntArray,
    most: int,
    package_cents: int = 0,
    start: Start | None = None,
    limits: Limits | None = None,
) -> Best:
    """At most `most` packages that serve all classes at least cost.

    `base` (classes,) is the weighted cost of a class in what is there anyway (a package that is kept), or of leaving it
    without; `package_cents` is charged for every package used; `start` may be made once for several `most`.
    """
    limits = limits or Limits()
    start = start or start_packages(classes, most, package_cents, limits)
    if classes.count <= limits.relax_from:
        best = _Search(classes, base, most, package_cents, limits).run(start)
        if best.proven or classes.count <= limits.relax_to:
            return best
    # Too many classes to list every package that matters. Fewer, easier classes give a bound, and groups to start from.
    easier, easier_base, easier_of = tc.relaxed(classes, base, limits.relax_to)
    easier_start = start_packages(easier, most, package_cents, limits)
    floor = _Search(easier, easier_base, most, package_cents, limits).run(easier_start)
    group = assign(tc.weighted_costs(easier, floor.options), easier_base)[easier_of]
    grouped = tc.group_packages(classes, group, most)
    start = Start((*start.sets, (len(grouped), grouped)), unique_rows(np.vstack([start.pool, grouped]))[0])
    best = _Search(classes, base, most, package_cents, limits).run(start)
    return replace(
        best,
        lower_bound=max(best.lower_bound, min(floor.lower_bound, best.cost)),
        method=best.method if best.proven else best.method + "; bound from easier classes",
    )


class _Search:
    """One run of the search for one K."""

    def __init__(self, classes: Classes, base: IntArray, most: int, package_cents: int, limits: Limits) -> None:
        self.classes, self.base, self.most = classes, base, most
        self.package_cents, self.limits = package_cents, limits
        self.own = np.minimum(tc.own_costs(classes), base)
        self.steps = self.nodes = self.candidates = 0
        cells = limits.join_cells + limits.join_cells_a_lot * int(classes.weight.sum())
        self.joins = cells // max(classes.count * len(classes.lines), 1)

    def run(self, start: Start) -> Best:
        """The search; see the module's text."""
        sets = [options for used, options in start.sets if used <= self.most]
        self.pool = _Pool(start.pool, tc.weighted_costs(self.classes, start.pool))
        self.best = np.zeros((0, len(self.classes.lines)), dtype=np.int64)
        self.upper = int(self.base.sum())
        for options in sets:
            self._offer(options)
            self._offer(self._moved(options))
        self._exchange()
        self.lower = int(self.own.sum()) + (self.package_cents if (self.own < self.base).any() else 0)
        self.lower = min(self.lower, self.upper)
        method = self._close() if self.lower < self.upper else "own cheapest options"
        return Best(self.best, self.upper, self.lower, method, self.steps, self.candidates, self.nodes)

    # -- answers ------------------------------------------------------------------------------------------------

    def _offer(self, options: IntArray) -> bool:
        """Polish a set of packages and keep it if it beats the best answer, or equals it and comes first in order."""
        options, cost = polish(self.classes, self.base, options[: self.most], self.package_cents)
        better = cost < self.upper
        if better or (cost == self.upper and options.tolist() < self.best.tolist()):
            self.best, self.upper = options, cost
        return better

    def _exchange(self) -> None:
        """Improve the best answer: exchange one package for any at hand, move single classes, until neither helps."""
        pool = self.pool
        improved = True
        while improved:
            options = exchange(
                self.best, pool.options, pool.costs, self.classes, self.base, self.most, self.package_cents
            )
            improved = self._offer(options)
            improved = self._offer(self._moved(self.best)) or improved

    def _moved(self, options: IntArray) -> IntArray:
        """The packages of the groups that single moves lead to from these packages."""
        group = assign(tc.weighted_costs(self.classes, options), self.base)
        group, moves = regroup(self.classes, self.base, self.package_cents, group, self.most, self.limits.moves)
        return tc.group_packages(self.classes, group, self.most) if moves else options

    # -- bound and proof ----------------------------------------------------------------------------------------

    def _close(self) -> str:
        """Bound, columns, bound ... then the solver; says which of them settled it."""
        price = np.minimum(self._costs_of_best(), self.base)
        narrow = self.classes.count >= self.limits.narrow_from
        for _ in range(self.limits.rounds):
            price, bound = self._prices(price)
            reduced = self._reduced(self.pool.costs, price)
            if narrow and self._narrow_columns(price, reduced):
                continue
            narrow = False
            limit = self._kth(reduced) + self.upper - bound
            allowance = max(1, self.upper - bound)
            found = self._columns(price, reduced, limit, allowance)
            pool_bound, bound = bound, self._true_bound(price, found)
            self.lower = max(self.lower, min(bound, self.upper))
            if self.lower >= self.upper:
                return "bound"
            missing = bound < pool_bound  # the list holds packages that the prices did not know yet
            self._merge(found, price)
            self._exchange()
            if self.lower >= self.upper:
                return "bound"
            gap = self.upper - bound
            kth = self._kth(self._reduced(self.pool.costs, price))
            complete = found.complete and found.floor >= kth + gap and allowance >= gap
            if self.joins <= 0 or (not complete and not missing):
                return "bound, stopped at its limit"
            if complete and (not missing or self._count_pairs(price, bound) <= self.limits.pairs):
                return self._solve(price, bound)
        return "bound, stopped at its limit"

    def _narrow_columns(self, price: IntArray, reduced: IntArray) -> bool:
        """Columns that a narrow look finds below those in use: quick, proves nothing. True when there were any."""
        least = self._kth(reduced)
        own = self.package_cents
        below = packages_below(self.classes, price, least - own, 1, self.limits.narrow, self.joins // 4)
        self.joins -= below.joins
        order = np.argsort(below.values, kind="stable")[: self.limits.core]
        options, _ = tc.expand(below.states[order], self.classes.lines, self.limits.core)
        costs = tc.weighted_costs(self.classes, options)
        found = _Columns(options, costs, self._reduced(costs, price), least, False)
        new = found.reduced < least
        if not new.any() or smallest_sum(np.concatenate([reduced, found.reduced]), 2 * self.most) >= smallest_sum(
            reduced, 2 * self.most
        ):
            return False
        before = len(self.pool.costs)
        self._merge(found, price)
        self._exchange()
        return len(self.pool.costs) != before

    def _columns(self, price: IntArray, reduced: IntArray, limit: int, allowance: int) -> _Columns:
        """All packages with a reduced cost below `limit`; if those are too many, below what the pool already has."""
        own = self.package_cents
        frontier = max(1, min(self.limits.frontier, self.limits.cells // self.classes.count))
        for ceiling in (limit, min(limit, self._kth(reduced)), min(limit, int(reduced.min(initial=0)))):
            below = packages_below(self.classes, price, ceiling - own, allowance, frontier, self.joins // 2)
            self.joins -= below.joins
            if below.dropped is None:
                break
        states, values, cut = below.states, below.values, below.dropped
        order = np.argsort(values, kind="stable")
        states, values = states[order], values[order]
        floor = ceiling if cut is None else min(ceiling, cut + own)
        room = max(1, self.limits.cells // max(self.classes.count, 1))
        options, whole = tc.expand(states[:room], self.classes.lines, room)
        complete = cut is None and whole and len(states) <= room
        if len(states) > room:
            floor = min(floor, int(values[room]) + own)
        if not whole:
            floor = min(floor, int(values[0]) + own)
        costs = tc.weighted_costs(self.classes, options)
        self.candidates = max(self.candidates, len(options))
        return _Columns(options, costs, self._reduced(costs, price), floor, complete)

    def _costs_of_best(self) -> IntArray:
        costs: IntArray = tc.weighted_costs(self.classes, self.best).min(axis=0, initial=UNSERVED)
        return costs

    def _reduced(self, costs: IntArray, price: IntArray) -> IntArray:
        return reduced_costs(costs, price, self.package_cents)

    def _kth(self, reduced: IntArray) -> int:
        return kth_smallest(reduced, self.most)

    def _true_bound(self, price: IntArray, found: _Columns) -> int:
        """Lower bound over ALL packages: those not enumerated have a reduced cost of at least the floor."""
        floor = min(found.floor, 0)  # an unused place is worth 0
        best = np.sort(found.reduced[found.reduced < floor])[: self.most]
        return int(price.sum()) + int(best.sum()) + (self.most - len(best)) * floor

    def _prices(self, price: IntArray) -> tuple[IntArray, int]:
        """Prices improved on a core of the pool, and their bound over the pool; answers met on the way are taken.

        Packages outside the core that the new prices would choose join it, until there are none.
        """
        self._include(self.best)
        inside = np.zeros(len(self.pool.costs), dtype=bool)
        inside[np.argsort(self._reduced(self.pool.costs, price), kind="stable")[: self.limits.core]] = True
        while True:
            core = np.flatnonzero(inside)
            table = Table(self.pool.costs[core], self.base, self.own, self.most, self.package_cents)
            priced = improve_prices(
                table, price, self.upper, self.limits.steps, self.limits.patience, self.limits.answers
            )
            self.steps += priced.steps
            for rows in priced.answers:
                self._offer(self._moved(self.pool.options[core[rows]]))
            price = priced.price
            reduced = self._reduced(self.pool.costs, price)
            wanted = ~inside & (reduced < self._kth(reduced[core]))
            if not wanted.any():
                return price, int(price.sum()) + smallest_sum(reduced, self.most)
            order = np.flatnonzero(wanted)
            inside[order[np.argsort(reduced[order], kind="stable")[: self.limits.core]]] = True

    def _include(self, options: IntArray) -> None:
        known = {row.tobytes() for row in self.pool.options}
        new = options[np.array([row.tobytes() not in known for row in options], dtype=bool)]
        if len(new):
            costs = tc.weighted_costs(self.classes, new)
            self.pool = _Pool(np.vstack([self.pool.options, new]), np.vstack([self.pool.costs, costs]))

    def _merge(self, found: _Columns, price: IntArray) -> None:
        """Add columns to the pool and drop those far from being used, so that it stays small."""
        known = {row.tobytes() for row in self.pool.options}
        new = np.array([row.tobytes() not in known for row in found.options], dtype=bool)
        options = np.vstack([self.pool.options, found.options[new]])
        costs = np.vstack([self.pool.costs, found.costs[new]])
        reduced = self._reduced(costs, price)
        rank = np.argsort(reduced, kind="stable")
        near = reduced[rank] < found.floor
        near[: 4 * self.limits.core] = True
        keep = np.sort(rank[near])
        self.pool = _Pool(options[keep], costs[keep])

    def _open_pairs(self, price: IntArray, bound: int) -> tuple[IntArray, int]:
        """Packages that something better than the best answer can still use, and how many class-package pairs."""
        reduced = self._reduced(self.pool.costs, price)
        slack = self.upper - bound - np.maximum(reduced - self._kth(reduced), 0)
        rows = np.flatnonzero(slack > 0)
        return rows, int((np.maximum(self.pool.costs[rows] - price, 0) < slack[rows, None]).sum())

    def _count_pairs(self, price: IntArray, bound: int) -> int:
        return self._open_pairs(price, bound)[1]

    def _solve(self, price: IntArray, bound: int) -> str:
        """Branch and bound over the packages that are left.

        Where they are many, first over those that the prices favour most: it proves nothing, but the better answer
        that it finds closes most of the others.
        """
        rows, _ = self._open_pairs(price, bound)
        if len(rows) > self.limits.favoured:
            reduced = self._reduced(self.pool.costs[rows], price)
            favoured = rows[np.sort(np.argsort(reduced, kind="stable")[: self.limits.favoured])]
            before = self.upper
            self._branch(favoured, price)
            self._exchange()
            if self.upper < before:
                rows, _ = self._open_pairs(price, bound)
        if not len(rows):  # nothing better can use any package
            self.lower = self.upper
            return "bound"
        closed = self._branch(rows, price)
        self.lower = max(self.lower, min(closed.lower_bound, self.upper))
        if closed.lower_bound >= closed.cost:
            self.lower = self.upper
            return "branch and bound"
        return "branch and bound, stopped at its limit"

    def _branch(self, rows: IntArray, price: IntArray) -> Closed:
        """Branch and bound over some packages of the pool; what beats the best answer is kept."""
        table = Table(self.pool.costs[rows], self.base, self.own, self.most, self.package_cents)
        closed = branch_and_bound(
            table,
            price,
            self.upper,
            self.limits.nodes,
            self.limits.node_cells + self.limits.node_cells_a_lot * int(self.classes.weight.sum()),
            self.limits.node_steps,
            self.limits.node_patience,
        )
        self.nodes += closed.nodes
        self.steps += closed.steps
        if len(closed.rows):
            self._offer(self.pool.options[rows[closed.rows]])
        return closed


# -- enumeration ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Below:
    """Joins of classes met: state vectors, lower bounds of their reduced costs, the least bound of what was dropped
    (None: nothing was), and how many joins were looked at."""

    states: IntArray
    values: IntArray
    dropped: int | None
    joins: int


def packages_below(classes: Classes, price: IntArray, limit: int, allowance: int, frontier: int, joins: int) -> Below:
    """All joins of classes whose reduced cost can be below `limit`.

    A package is met as the join of the classes it serves, taken from the most demanding down. After the first i classes
    a partial join p serves some of them; the others of the i are not served by the final package either, for it would
    have been joined with them. So with lower-bound costs, in cents at the class's weight,

        value(p, i) = sum over served among the first i of min(0, cost(p) - price)
                    + sum over the rest of min(0, cost(p joined with the class) - price)

    never exceeds the reduced cost of any package that p grows into: costs only rise along a join. p is dropped when
    value >= limit. Equal joins met on different ways have the same served set and value, so one is kept.

    A class is joined only where it then costs less than its price + `allowance`. Any set of packages is worth at least
    (bound + what its classes pay above their prices), so with an allowance of (best answer - bound) or more nothing
    better than the best answer is lost; and for every allowance above 0 the package without such classes is met, so
    the bound made from the list holds.

    When more than `frontier` joins are open the lowest are kept, and the least value dropped is told: nothing outside
    the list has a reduced cost below min(limit, that value). After `joins` joins the list is given up in the same way.
    """
    joined, served, first_row = _join_tables(classes)
    compiled = classes.count * len(classes.lines) >= COMPILED_FROM
    order = np.lexsort((np.arange(classes.count), -tc.heaviness(classes)))
    words = tc.Words([len(line.masks) for line in classes.lines])
    state = np.zeros((1, len(classes.lines)), dtype=np.int64)
    value = _values(joined, state + first_row, price, compiled)
    keys = words.keys(state)
    mixed = joined.copy()
    dropped: int | None = None
    looked_at = 0
    for each in order:
        if looked_at > joins:
            dropped = min([int(value.min(initial=limit)), *([] if dropped is None else [dropped])])
            return Below(state[:0], value[:0], dropped, looked_at)
        mixed[:, each] = served[:, each]
        rows = state + first_row
        cost = joined[:, each][rows].sum(axis=1)
        outside = served[:, each][rows].sum(axis=1) >= BLOCKED
        grow = outside & (cost < price[each] + allowance)
        value = np.where(outside, value - np.minimum(cost - price[each], 0), value)
        grown, grown_keys = _grow(state[grow], classes.state[each], classes, words, keys)
        looked_at += len(grown)
        grown_value = _values(mixed, grown + first_row, price, compiled)
        old, new = value < limit, grown_value < limit
        state = np.vstack([state[old], grown[new]])
        value = np.concatenate([value[old], grown_value[new]])
        keys = np.concatenate([keys[old], grown_keys[new]])
        if len(state) > frontier:
            rank = np.lexsort((keys, value))
            cut = int(value[rank[frontier]])
            dropped = cut if dropped is None else min(dropped, cut)
            keep = np.sort(rank[:frontier])
            state, value, keys = state[keep], value[keep], keys[keep]
    some = (state != FREE).any(axis=1)
    return Below(state[some], value[some], dropped, looked_at)


def _grow(
    state: IntArray, other: IntArray, classes: Classes, words: tc.Words, known: NDArray[np.generic]
) -> tuple[IntArray, NDArray[np.generic]]:
    """Joins of the states with one class that are not empty, not known and distinct."""
    grown = tc.meet_rows(state, other, classes.lines)
    grown = grown[(grown != EMPTY).all(axis=1)]
    keys, first = np.unique(words.keys(grown), return_index=True)
    new = ~np.isin(keys, known, assume_unique=True)
    return grown[first[new]], keys[new]


def _join_tables(classes: Classes) -> tuple[IntArray, IntArray, IntArray]:
    """(states of all lines, classes): least cost of the class once joined with the state; the same but BLOCKED where
    the state does not already serve the class; and the first row of each line."""
    joined, served, first, rows = [], [], [], 0
    for line, states in enumerate(classes.lines):
        own = classes.state[:, line]
        least = np.zeros((len(classes.has_line), len(states.masks)), dtype=np.int64)
        for state in range(1, len(states.masks)):
            least[:, state] = classes.costs[line][:, list(states.useful[state])].min(axis=1)
        meet = states.meet[:, own]
        cost = np.where(meet == EMPTY, BLOCKED, least[classes.variant, np.maximum(meet, 0)] * classes.weight)
        cost = np.where(own == FREE, 0, cost)
        inside = (meet == np.arange(len(states.masks))[:, None]) | (own == FREE)
        joined.append(cost)
        served.append(np.where(inside, cost, BLOCKED))
        first.append(rows)
        rows += len(states.masks)
    return np.vstack(joined), np.vstack(served), np.array(first, dtype=np.int64)


def _values(table: IntArray, rows: IntArray, price: IntArray, compiled: bool) -> IntArray:
    """Per join (rows of the table, one a line): what it saves against the prices. Whole numbers, so both ways agree."""
    if compiled:
        values: IntArray = _values_compiled(table, rows, price)
        return values
    values = np.zeros(len(rows), dtype=np.int64)
    for block in tc.blocks(len(rows), table.shape[1], 400_000):
        total = table[rows[block, 0]]
        for line in range(1, rows.shape[1]):
            total += table[rows[block, line]]
        values[block] = np.minimum(total - price, 0).sum(axis=1)
    return values


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _values_compiled(table: IntArray, rows: IntArray, price: IntArray) -> IntArray:
    n_joins, n_lines = rows.shape
    n_classes = table.shape[1]
    values = np.zeros(n_joins, dtype=np.int64)
    total = np.zeros(n_classes, dtype=np.int64)
    for join in range(n_joins):
        for member in range(n_classes):
            total[member] = -price[member]
        for line in range(n_lines):
            row = table[rows[join, line]]
            for member in range(n_classes):
                total[member] += row[member]
        for member in range(n_classes):
            values[join] += min(total[member], 0)
    return values


# -- answers ----------------------------------------------------------------------------------------------------


def assign(costs: IntArray, base: IntArray) -> IntArray:
    """Cheapest package of each class (first listed wins), -1 where `base` is as cheap or cheaper."""
    if len(costs) == 0:
        return np.full(len(base), -1, dtype=np.int64)
    choice = costs.argmin(axis=0)
    return np.where(costs.min(axis=0) < base, choice, -1).astype(np.int64)


def polish(classes: Classes, base: IntArray, options: IntArray, package_cents: int) -> tuple[IntArray, int]:
    """Classes to their cheapest package, packages to the cheapest for their classes, until nothing changes.

    Returns the packages in use, sorted, and the cost, which never rises from one pass to the next.
    """
    cost: int | None = None
    while True:
        costs = tc.weighted_costs(classes, options)
        choice = assign(costs, base)
        rows, _ = unique_rows(tc.group_packages(classes, choice, len(options)))
        served = tc.weighted_costs(classes, rows).min(axis=0, initial=UNSERVED)
        total = int(np.minimum(served, base).sum()) + package_cents * len(rows)
        if cost is not None and total >= cost:
            return options, cost
        options, cost = rows, total


def exchange(
    current: IntArray,
    options: IntArray,
    costs: IntArray,
    classes: Classes,
    base: IntArray,
    most: int,
    package_cents: int,
) -> IntArray:
    """Swap (or add) the one package that lowers the cost most, again and again; ties go to the first listed."""
    chosen = [row for row in current]
    held = list(tc.weighted_costs(classes, current))
    cost = int(np.minimum(np.array(held).min(axis=0, initial=UNSERVED) if held else UNSERVED, base).sum())
    while True:
        best: tuple[int, int, int] | None = None
        for place in range(min(len(held) + 1, most)):
            rest = [each for index, each in enumerate(held) if index != place]
            floor = np.minimum(np.array(rest).min(axis=0), base) if rest else base
            extra = package_cents if place == len(held) else 0
            total = np.zeros(len(costs), dtype=np.int64)
            for block in tc.blocks(len(costs), costs.shape[1]):
                total[block] = np.minimum(costs[block], floor).sum(axis=1)
            if len(total) and int(total.min()) + extra < cost:
                move = (int(total.min()) + extra, place, int(total.argmin()))
                best = move if best is None else min(best, move)
        if best is None:
            return np.array(chosen, dtype=np.int64).reshape(len(chosen), len(classes.lines))
        total_cost, place, row = best
        if place == len(held):
            chosen.append(options[row])
            held.append(costs[row])
            cost = total_cost - package_cents
        else:
            chosen[place], held[place] = options[row], costs[row]
            cost = total_cost


def start_packages(classes: Classes, most: int, package_cents: int, limits: Limits) -> Start:
    """Package sets to start from, and a pool: packages of runs of neighbouring classes, and each class's own."""
    per_lot = tc.own_costs(classes) // classes.weight
    breadth = np.zeros(classes.count, dtype=np.int64)
    for line, states in enumerate(classes.lines):
        breadth += states.masks.sum(axis=1)[classes.state[:, line]] * (classes.state[:, line] != FREE)
    index = np.arange(classes.count)
    orders = [np.lexsort((index, per_lot)), np.lexsort((per_lot, -breadth)), np.lexsort((per_lot, classes.variant))]
    blocks = min(limits.start_blocks, max(8, int((8_000_000 / max(classes.count, 1)) ** 0.5)), classes.count)
    sets: list[tuple[int, IntArray]] = []
    pool = [tc.group_packages(classes, index, classes.count)]
    for order in orders:
        packages, cost = _runs(classes, order, blocks)
        pool.append(
            packages.reshape(packages.shape[0] * packages.shape[1], packages.shape[2])[(cost < UNSERVED).reshape(-1)]
        )
        cuts = _cut(packages, cost + package_cents, most)
        sets.extend((len(options), options) for options in cuts)
        pool.extend(cuts)
    return Start(tuple(sets), unique_rows(np.vstack(pool))[0])


def _runs(classes: Classes, order: IntArray, blocks: int) -> tuple[IntArray, IntArray]:
    """Best package and cost of every run of neighbouring blocks: (blocks, blocks, lines), (blocks, blocks)."""
    wide = classes.wide
    cuts = np.linspace(0, len(order), blocks + 1).round().astype(np.int64)
    packages = np.full((blocks, blocks, len(classes.lines)), tc.NOT_USED, dtype=np.int64)
    cost = np.full((blocks, blocks), UNSERVED, dtype=np.int64)
    sums = np.zeros((blocks, len(wide.option)), dtype=np.int64)  # one row per first block of the run
    fails, there = np.zeros_like(sums), np.zeros((blocks, len(wide.starts)), dtype=np.int64)
    for last in range(blocks):
        members = order[cuts[last] : cuts[last + 1]]
        alive = slice(0, last + 1)
        sums[alive] += wide.cost[members].sum(axis=0)
        fails[alive] += wide.fails[members].sum(axis=0)
        there[alive] += wide.there[members].sum(axis=0)
        chosen, best = wide.choose(sums[alive], fails[alive])
        packages[np.arange(last + 1)[:, None], last, wide.lines] = np.where(there[alive] > 0, chosen, tc.NOT_USED)
        cost[alive, last] = np.where((best < tc.BROKEN).all(axis=1), best.sum(axis=1), UNSERVED)
    return packages, cost


def _cut(packages: IntArray, cost: IntArray, most: int) -> list[IntArray]:
    """Dynamic programme: the runs cut into 1, 2, ... `most` groups at least cost; one package set for each count."""
    blocks = len(cost)
    least = np.full((most + 1, blocks + 1), UNSERVED, dtype=np.int64)
    least[0, 0] = 0
    came = np.zeros((most + 1, blocks + 1), dtype=np.int64)
    for count in range(1, most + 1):
        for last in range(1, blocks + 1):
            total = np.minimum(least[count - 1, :last], UNSERVED) + cost[:last, last - 1]
            came[count, last] = int(total.argmin())
            least[count, last] = min(UNSERVED, total.min())
    sets = []
    for count in range(1, most + 1):
        if least[count, blocks] >= UNSERVED:
            continue
        last, rows = blocks, []
        for used in range(count, 0, -1):
            first = int(came[used, last])
            rows.append(packages[first, last - 1])
            last = first
        sets.append(np.array(rows, dtype=np.int64))
    return sets
