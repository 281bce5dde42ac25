"""Exact lower bounds for "choose at most K packages, every class in its cheapest one", and the search that closes them.

Prices for the condition "every class once" turn the value of a package into a plain sum (Lagrangian relaxation); the K
best sums and the prices give a lower bound. Where bound and best answer differ, the search branches on what a class
pays: either at most t, and then its dearer packages are out for that class, or more than t, and then every package that
serves it for t or less is out. Both are plain changes to the cost table, so each branch is bounded the same way.

Costs and prices are whole cents: bounds are exact and the same on every machine. Work is limited by counts.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

#: Cost of a class in a package that can't serve it; sums of costs that are compared with it stay inside int64.
UNSERVED = np.int64(1) << 60

SHARE_UNIT = 1 << 12


@dataclass(frozen=True)
class Table:
    """Weighted costs (packages, classes), what each class costs without any of them, and its least thinkable cost."""

    costs: IntArray
    base: IntArray
    own: IntArray
    most: int
    package_cents: int

    def reduced(self, price: IntArray) -> IntArray:
        """What each package saves against the prices (negative), plus its own cost."""
        return reduced_costs(self.costs, price, self.package_cents)

    def answer_cost(self, rows: IntArray) -> int:
        """Cost of using these packages."""
        held = np.minimum(self.costs[rows].min(axis=0, initial=UNSERVED), self.base)
        return int(held.sum()) + self.package_cents * len(rows)


@dataclass(frozen=True)
class Priced:
    """Prices, their bound, the best answer met on the way (rows empty: none below the given cost), how often each
    package was chosen, and a few good answers that differ."""

    price: IntArray
    bound: int
    rows: IntArray
    cost: int
    share: FloatArray
    steps: int
    answers: tuple[IntArray, ...] = ()


@dataclass(frozen=True)
class Closed:
    """Outcome of the search: best rows (empty: none better than the given cost), cost, lower bound, nodes, steps."""

    rows: IntArray
    cost: int
    lower_bound: int
    nodes: int
    steps: int


def reduced_costs(costs: IntArray, price: IntArray, package_cents: int) -> IntArray:
    """Reduced cost of every package, in blocks of bounded memory."""
    total = np.zeros(len(costs), dtype=np.int64)
    step = max(1, 2_000_000 // max(costs.shape[1], 1))
    for start in range(0, len(costs), step):
        block = slice(start, start + step)
        total[block] = np.minimum(costs[block] - price, 0).sum(axis=1)
    return total + package_cents


def smallest_sum(reduced: IntArray, most: int) -> int:
    """Sum of the `most` smallest reduced costs, none above 0 (an unused place is worth 0)."""
    if len(reduced) > most:
        reduced = np.partition(reduced, most - 1)[:most]
    return int(np.minimum(reduced, 0).sum())


def kth_smallest(reduced: IntArray, most: int) -> int:
    """The K-th smallest reduced cost, at most 0."""
    if len(reduced) < most:
        return 0
    return min(0, int(np.partition(reduced, most - 1)[most - 1]))


def improve_prices(table: Table, price: IntArray, upper: int, steps: int, patience: int, keep: int = 0) -> Priced:
    """Better prices by the volume algorithm (Barahona and Anbil 2000): steps along an average of the choices made.

    A class that the chosen packages serve too little on average gets a higher price, one that they serve too often a
    lower one. The average tends to the fractional optimum, so it also tells which packages are worth branching on. All
    sums are whole numbers (shares in units of 1 / SHARE_UNIT), only the length of a step is a rounded float.
    """
    price = np.clip(price, table.own, table.base)
    best_price, best_bound = price, -(1 << 62)
    rows, cost = np.zeros(0, dtype=np.int64), upper
    served = np.zeros(len(price), dtype=np.int64)
    share = np.zeros(len(table.costs), dtype=np.int64)
    length, stalled, done = 0.5, 0, 0
    met: dict[bytes, tuple[int, int]] = {}
    while done < steps:
        done += 1
        net = table.costs - price
        value = np.minimum(net, 0).sum(axis=1) + table.package_cents
        chosen = np.argsort(value, kind="stable")[: table.most]
        chosen = chosen[value[chosen] < 0]
        bound = int(price.sum()) + int(value[chosen].sum())
        answer = table.answer_cost(chosen)
        if answer < cost:
            rows, cost = chosen, answer
        if keep:
            met.setdefault(np.sort(chosen).tobytes(), (answer, done))
        now = (net[chosen] < 0).sum(axis=0) * SHARE_UNIT
        part = 1000 if done == 1 else _new_part(SHARE_UNIT - served, SHARE_UNIT - now)
        picked = np.zeros_like(share)
        picked[chosen] = SHARE_UNIT
        served = (served * (1000 - part) + now * part) // 1000
        share = (share * (1000 - part) + picked * part) // 1000
        lack = SHARE_UNIT - served
        if bound > best_bound:
            best_price, best_bound, stalled = price, bound, 0
            if int(((SHARE_UNIT - now) * lack).sum()) >= 0:
                length = min(length * 1.1, 2.0)
        else:
            stalled += 1
            if stalled >= patience:
                length, stalled = length * 0.66, 0
        square = int((lack * lack).sum())
        if square == 0 or length < 1e-3 or best_bound >= cost:
            break
        move = length * float(max(cost - best_bound, 1)) * SHARE_UNIT / square
        price = np.clip(best_price + np.rint(move * lack).astype(np.int64), table.own, table.base)
    best = sorted(met, key=lambda each: met[each])[:keep]
    answers = tuple(np.frombuffer(each, dtype=np.int64) for each in best)
    return Priced(best_price, best_bound, rows, cost, share / SHARE_UNIT, done, answers)


def _new_part(before: IntArray, now: IntArray) -> int:
    """Weight of the newest choice in the average, in thousandths: least remaining lack, between 10 and 100."""
    change = now - before
    square = int((change * change).sum())
    return 100 if square == 0 else max(10, min(100, 1000 * -int((before * change).sum()) // square))


@dataclass(frozen=True)
class _Node:
    rows: IntArray  # packages that may be used
    pairs: BoolArray  # (rows, classes): the class may use the package
    stay: BoolArray  # (classes,): the class may stay in what is there anyway
    price: IntArray
    bound: int


class _Queue:
    """Open nodes, the least bound first, the newest among equals; pairs are packed, eight to a byte."""

    def __init__(self, classes: int) -> None:
        self.classes, self.made = classes, 0
        self.heap: list[tuple[int, int, _Node, NDArray[np.uint8]]] = []

    def push(self, node: _Node) -> None:
        self.made += 1
        packed = np.packbits(node.pairs, axis=1)
        light = replace(node, pairs=node.pairs[:0])
        heapq.heappush(self.heap, (node.bound, -self.made, light, packed))

    def pop(self) -> _Node:
        _, _, node, packed = heapq.heappop(self.heap)
        return replace(node, pairs=np.unpackbits(packed, axis=1, count=self.classes).astype(bool))

    def least(self) -> int | None:
        return self.heap[0][0] if self.heap else None


def branch_and_bound(
    table: Table, price: IntArray, upper: int, nodes: int, cells: int, steps: int, patience: int
) -> Closed:
    """The best answer below `upper`, or the proof that there is none; the least bound first.

    Limited by nodes, and by `cells`: price updates x packages x classes.
    """
    everything = np.ones(len(table.base), dtype=bool)
    pairs = table.costs < np.minimum(table.base, UNSERVED)  # a package is used only where it beats staying
    queue = _Queue(len(table.base))
    queue.push(_Node(np.arange(len(table.costs)), pairs, everything, price, -(1 << 62)))
    rows, used, spent = np.zeros(0, dtype=np.int64), 0, 0
    while (least := queue.least()) is not None and least < upper and used < nodes and cells > 0:
        node = queue.pop()
        if not (node.pairs.any(axis=0) | node.stay).all():
            continue
        used += 1
        part = _limited(table, node)
        priced = improve_prices(part, node.price, upper, steps, patience)
        spent += priced.steps
        cells -= priced.steps * part.costs.size
        if priced.cost < upper:
            rows, upper = node.rows[priced.rows], priced.cost
        if priced.bound >= upper:
            continue
        node = _thinned(part, node, priced, upper)
        needed, settled = _settled(node)
        if settled:
            if len(needed) <= table.most and table.answer_cost(needed) < upper:
                rows, upper = needed, table.answer_cost(needed)
            continue
        for child in _children(table, node, priced.share):
            queue.push(child)
    least = queue.least()
    return Closed(rows, upper, upper if least is None else min(upper, least), used, spent)


def _limited(table: Table, node: _Node) -> Table:
    """The cost table of a node: its packages and pairs only."""
    costs = np.where(node.pairs, table.costs[node.rows], UNSERVED)
    # A class that may not stay has no ceiling on its price but a large number.
    base = np.where(node.stay, table.base, np.int64(1) << 50)
    return Table(costs, base, table.own, table.most, table.package_cents)


def _thinned(part: Table, node: _Node, priced: Priced, upper: int) -> _Node:
    """The node without packages and pairs that can't be part of anything better than `upper`."""
    reduced = part.reduced(priced.price)
    slack = upper - priced.bound - np.maximum(reduced - kth_smallest(reduced, part.most), 0)
    pairs = node.pairs & (np.maximum(part.costs - priced.price, 0) < slack[:, None])
    stay = node.stay & (np.maximum(part.base - priced.price, 0) < upper - priced.bound)
    useful = (slack > 0) & pairs.any(axis=1)
    # Rows keep their place, for the shares belong to them; the children drop those without a pair.
    return _Node(node.rows, pairs & useful[:, None], stay, priced.price, max(priced.bound, node.bound))


def _settled(node: _Node) -> tuple[IntArray, bool]:
    """Packages needed when every class has one way left (or none), and whether that is so."""
    ways = node.pairs.sum(axis=0) + node.stay
    if (ways > 1).any():
        return node.rows[:0], False
    if (ways == 0).any():
        return node.rows, True  # no answer: more packages than allowed, or none that serves
    return node.rows[node.pairs.any(axis=1)], True


def _children(table: Table, node: _Node, share: FloatArray) -> list[_Node]:
    """The two branches of a node, the likelier one last (it is taken first where bounds are equal)."""
    true_costs = table.costs[node.rows]
    costs = np.where(node.pairs, true_costs, UNSERVED)
    base = np.where(node.stay, table.base, UNSERVED)
    split = _split(costs, share, base)
    if split is None:
        return _halves(node)
    member, paid, mass = split
    pairs, stay = node.pairs.copy(), node.stay.copy()
    pairs[:, member] &= true_costs[:, member] <= paid
    stay[member] &= table.base[member] <= paid
    low = _kept(node, pairs, stay, np.ones(len(node.rows), dtype=bool))
    # Paying more than that means that no package is used which serves the class for less.
    high = _kept(node, node.pairs, node.stay, true_costs[:, member] > paid)
    return [high, low] if mass >= 0.5 else [low, high]


def _kept(node: _Node, pairs: BoolArray, stay: BoolArray, rows: BoolArray) -> _Node:
    used = rows & pairs.any(axis=1)
    return _Node(node.rows[used], pairs[used], stay, node.price, node.bound)


def _halves(node: _Node) -> list[_Node]:
    """Where costs do not tell packages apart: a class with most ways left goes to one half of them or to the other."""
    ways = node.pairs.sum(axis=0) + node.stay
    member = int(ways.argmax())
    order = np.flatnonzero(node.pairs[:, member])
    # Either one of the first half, or the rest with staying.
    first = order[: max(1, len(order) // 2)]
    mine = np.zeros(len(node.rows), dtype=bool)
    mine[first] = True
    one, other = node.pairs.copy(), node.pairs.copy()
    one[:, member] &= mine
    other[:, member] &= ~mine
    stay = node.stay.copy()
    stay[member] = False
    everything = np.ones(len(node.rows), dtype=bool)
    return [_kept(node, other, node.stay, everything), _kept(node, one, stay, everything)]


def _split(costs: IntArray, share: FloatArray, base: IntArray) -> tuple[int, int, float] | None:
    """The class and the amount to branch on: where the chosen shares disagree most about what the class pays.

    A class takes packages from the cheapest up until their shares make one. The amount is picked where much share lies
    on both sides, weighted by the distance in cents. None when no class has two different amounts with shares left.
    """
    best: tuple[float, int, int, float] | None = None
    for member in range(costs.shape[1]):
        column = costs[:, member]
        order = np.flatnonzero(column < base[member])
        order = order[np.argsort(column[order], kind="stable")]
        if len(order) == 0:
            continue
        paid = column[order]
        mass = np.minimum(np.cumsum(share[order]), 1.0)
        last = np.flatnonzero(np.append(paid[1:] > paid[:-1], True))  # the last row of each amount
        after = np.append(paid[last][1:], base[member])
        taken = np.diff(np.append(0.0, mass)) * paid
        mean_low = np.cumsum(taken)[last] / np.maximum(mass[last], 1e-9)
        score = np.where(after < UNSERVED, mass[last] * (1.0 - mass[last]) * (after - mean_low), 0.0)
        spot = int(score.argmax())
        if score[spot] > 0.0 and (best is None or score[spot] > best[0]):
            best = (float(score[spot]), member, int(paid[last[spot]]), float(mass[last[spot]]))
    return best[1:] if best is not None else _any_split(costs, base)


def _any_split(costs: IntArray, base: IntArray) -> tuple[int, int, float] | None:
    """The first class with two different amounts left, split at the least: so that every search ends."""
    for member in range(costs.shape[1]):
        amounts = np.unique(np.append(costs[:, member], base[member]))
        amounts = amounts[amounts < UNSERVED]
        if len(amounts) > 1:
            return member, int(amounts[0]), 0.5
    return None
