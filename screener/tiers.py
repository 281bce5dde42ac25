"""Tiers: at most K hardware packages for a tract, at least cost, with the proof.

A package is one option for every schedule line that its lots have; a lot may use a package whose option passes on
every line of its plan. What is minimised is the sum over lots of material (with waste) and labour, in whole cents, plus
what the user's rules add: a price for every package (handling, mix-ups), and a price for every kind of item that must
be stocked. The proof is of that whole sum.

Lots of different pools (plan families, lots outside their permit) never share a chosen package; see `tier_pools`.
Prices for kinds of items, and a least number of lots for a package, are settled by `tier_stock`.

Lots without any passing option on some line get no tier and are listed. Lots that keep a package they already have
(their foundation is in, say) stay in it and are checked; such a package is open to the other lots too and does not
count against K. Where K packages can't serve every lot, as many lots as possible are served before cost counts.

Nothing depends on the order of lots, on names or on the clock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from screener import tier_classes as tc
from screener.tier_bound import UNSERVED
from screener.tier_classes import Classes
from screener.tier_pools import (
    Pool,
    further_answers,
    further_counts,
    own_packages,
    pool_curve,
    split_packages,
    without_packages,
)
from screener.tier_search import BLOCKED, Limits
from screener.tier_stock import Rules, items_used, least_stock, settle, shared_out

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

NO_TIER = -1
NOT_KEPT = -1


@dataclass(frozen=True)
class TierProblem:
    """What is known of a tract: lots, what passes, what it costs.

    `passes[l]` is (lots, options of line l): the option passes at all points of that line in that house; rows of lots
    whose variant lacks the line are ignored. `costs_cents[l]` is (variants, options of line l), whole cents a house.
    """

    lot_ids: tuple[str, ...]
    lot_variant: IntArray  # (lots,) row in `variants`
    variants: tuple[str, ...]
    lines: tuple[str, ...]
    has_line: BoolArray  # (variants, lines)
    passes: tuple[BoolArray, ...]
    costs_cents: tuple[IntArray, ...]
    most: int
    package_cost_cents: int = 0
    kept: tuple[Mapping[str, int], ...] = ()  # packages that exist already: line -> option
    lot_kept: IntArray | None = None  # (lots,) index in `kept`, -1 for a lot that is free
    lot_pool: IntArray | None = None  # (lots,) pool of each lot; by default all lots are one pool
    pool_group: tuple[int, ...] = (0,)  # group of each pool: `most` is for a group
    group_package_cents: tuple[int, ...] = ()  # by group, where the price of a package differs between groups
    first_package_cents: tuple[int, ...] = ()  # by group: what its first package costs less (no mix-up with one)
    least_lots: int = 1  # a chosen package serves at least so many lots
    items: tuple[tuple[tuple[int, ...], ...], ...] = ()  # per line, per option: the kinds of items it takes
    item_cents: IntArray | None = None  # (items,) price for having a kind of item on the site at all
    curve_beyond: bool = False  # whether the curve is drawn on beyond `most`, up to every kind of lot on its own
    weight: IntArray | None = None  # (lots,) how many lots alike a row stands for; by default each is one lot

    def __post_init__(self) -> None:
        n_lots, n_lines = len(self.lot_ids), len(self.lines)
        if self.most < 1:
            raise ValueError(f"[tiers] most = {self.most}; expected at least 1")
        if self.least_lots < 1:
            raise ValueError(f"[tiers] least_lots = {self.least_lots}; expected at least 1")
        if self.package_cost_cents < 0 or min(self.group_package_cents, default=0) < 0:
            raise ValueError(f"the price of a package is {self.package_cost_cents} cents; expected 0 or more")
        if self.weight is not None and (self.least_lots > 1 or self.weight.shape != (n_lots,)):
            raise ValueError("rows that stand for several lots: expected a weight for each, and least_lots = 1")
        if self.has_line.shape != (len(self.variants), n_lines):
            raise ValueError(f"has_line is {self.has_line.shape}; expected {(len(self.variants), n_lines)}")
        if len(self.passes) != n_lines or len(self.costs_cents) != n_lines or len(self.lot_variant) != n_lots:
            raise ValueError("passes, costs and lots do not fit together; expected one entry for each line and lot")
        for name, mask, cost in zip(self.lines, self.passes, self.costs_cents, strict=True):
            if mask.shape != (n_lots, cost.shape[1]) or cost.shape[0] != len(self.variants):
                raise ValueError(f"line {name!r}: passes {mask.shape} and costs {cost.shape} do not fit together")
            if not np.issubdtype(cost.dtype, np.integer) or (cost < 0).any():
                raise ValueError(f"line {name!r}: costs must be whole cents, not below 0")

    @property
    def lots_of_row(self) -> IntArray:
        """(lots,): lots that each row stands for."""
        return np.ones(len(self.lot_ids), dtype=np.int64) if self.weight is None else self.weight


@dataclass(frozen=True)
class NoOption:
    """A lot that no option serves on a schedule line."""

    lot_id: str
    line: str
    reason: str = "no_hardware"


@dataclass(frozen=True)
class CurvePoint:
    """Least cost with at most so many packages (in each group). `cost_cents` is None where they can't serve every lot.

    `lots_cents` is material and labour, `packages_cents` what packages cost beside (handling, mix-ups), `stock_cents`
    what the kinds of items cost to stock: together the cost.
    """

    most: int
    cost_cents: int | None
    lower_bound_cents: int
    proven: bool
    packages_used: int
    lots_unserved: int = 0
    lots_cents: int = 0
    packages_cents: int = 0
    stock_cents: int = 0
    method: str = ""


@dataclass(frozen=True)
class TierPlan:
    """Packages, who uses which, what it costs, and how good that provably is.

    `packages` are the chosen ones, pool by pool from the lightest (cheapest in the pool's average house) to the
    heaviest, then the kept ones in their given order; `assignment` is an index into them, -1 for a lot without a tier.
    Costs are those of the lots that were free to choose; `kept_cost_cents` is that of the lots that keep a package.
    `cost_cents` is all that was minimised: lots, packages, stock.
    """

    packages: tuple[dict[str, int], ...]
    n_chosen: int
    assignment: IntArray
    lot_cost_cents: IntArray  # of all lots that a row stands for; 0 where there is no tier
    cost_cents: int
    kept_cost_cents: int
    lower_bound_cents: int
    method: str
    proven: bool
    one_package_cents: int | None
    every_lot_own_cents: int
    curve: tuple[CurvePoint, ...]
    no_option: tuple[NoOption, ...]
    unserved: tuple[str, ...]  # lots left over because `most` packages can't serve all
    kept_failures: tuple[tuple[str, str], ...]  # (lot, line) where a kept package does not pass
    n_classes: int
    candidates: int
    steps: int
    nodes: int
    limits: Limits = field(default_factory=Limits)
    packages_cents: int = 0  # part of the cost: handling and mix-ups
    stock_cents: int = 0  # part of the cost: kinds of items
    package_pool: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))  # of the chosen packages
    beyond: tuple[CurvePoint, ...] = ()  # the curve with more packages than allowed, up to one for every kind of lot

    @property
    def gap(self) -> float:
        """How much the cost could at most be above the optimum, as a share of the cost; 0 where proven."""
        return 0.0 if self.cost_cents == 0 else (self.cost_cents - self.lower_bound_cents) / self.cost_cents

    @property
    def kept_pass(self) -> bool:
        """True when every lot that keeps a package is served by it."""
        return not self.kept_failures


def lots_without_option(problem: TierProblem) -> tuple[BoolArray, tuple[NoOption, ...]]:
    """Lots for which some line of their plan has no passing option: a mask (lots,) and one record for each line.

    Lots that keep a package are not among them: what their package lacks is told by `TierPlan.kept_failures`.
    """
    free = _kept_of(problem) == NOT_KEPT
    out = np.zeros(len(problem.lot_ids), dtype=bool)
    found: list[NoOption] = []
    for line, name in enumerate(problem.lines):
        stuck = free & problem.has_line[problem.lot_variant, line] & ~problem.passes[line].any(axis=1)
        out |= stuck
        found.extend(NoOption(problem.lot_ids[lot], name) for lot in np.flatnonzero(stuck))
    return out, tuple(sorted(found, key=lambda each: (each.lot_id, problem.lines.index(each.line))))


def plan_tiers(problem: TierProblem, limits: Limits | None = None) -> TierPlan:
    """The cheapest at most `most` packages, the cost curve up to there, and the proof or the honest gap.

    Lots become weighted classes, candidates are those packages that can be part of an optimum (`tier_classes`), and
    `tier_search` finds and proves the best. Same answer for any order of lots.
    """
    limits = limits or Limits()
    stuck, no_option = lots_without_option(problem)
    kept_of = _kept_of(problem)
    free = np.flatnonzero(~stuck & (kept_of == NOT_KEPT))
    kept_rows = _kept_rows(problem)
    tract = _Tract(problem, free, kept_rows, limits)
    answers = [tract.answer(count) for count in range(1, problem.most + 1)]
    best = answers[-1]
    chosen, pool_of, assignment = tract.laid_out(best, kept_of)
    packages = np.vstack([chosen, kept_rows])
    lot_cost = _lot_costs(problem, packages, assignment) * problem.lots_of_row
    left = free[assignment[free] == NO_TIER]
    money = tract.point(problem.most, best)
    cost = int(lot_cost[free].sum()) + money.packages_cents + money.stock_cents
    offset = cost - best.cost  # lots left over count a penalty in the search, and the first package its own price
    return TierPlan(
        packages=tuple(_named(problem, row) for row in packages),
        n_chosen=len(chosen),
        assignment=assignment,
        lot_cost_cents=lot_cost,
        cost_cents=cost,
        kept_cost_cents=int(lot_cost[kept_of != NOT_KEPT].sum()),
        lower_bound_cents=min(cost, max(0, best.lower_bound + offset)),
        method=best.method,
        proven=best.lower_bound >= best.cost,
        one_package_cents=tract.point(1, answers[0]).cost_cents,
        every_lot_own_cents=sum(pool.own_cents for pool in tract.pools),
        curve=tuple(tract.point(k, each) for k, each in enumerate(answers, start=1)),
        no_option=no_option,
        unserved=tuple(sorted(problem.lot_ids[lot] for lot in left)),
        kept_failures=_kept_failures(problem, kept_of),
        n_classes=sum(pool.classes.count for pool in tract.pools),
        candidates=max((each.candidates for curve in tract.curves for each in curve.values()), default=0),
        steps=sum(each.steps for curve in tract.curves for each in curve.values()),
        nodes=sum(each.nodes for curve in tract.curves for each in curve.values()),
        limits=limits,
        packages_cents=money.packages_cents,
        stock_cents=money.stock_cents,
        package_pool=pool_of,
        beyond=tuple(tract.point(k, tract.answer(k)) for k in tract.further),
    )


@dataclass(frozen=True)
class _Answer:
    """Packages of every pool for one number of packages, in their order."""

    options: tuple[IntArray, ...]
    cost: int
    lower_bound: int
    method: str


class _Tract:
    """A tract in pools, their cost curves, and the answers for every number of packages."""

    def __init__(self, problem: TierProblem, free: IntArray, kept_rows: IntArray, limits: Limits) -> None:
        self.problem, self.free, self.kept_rows = problem, free, kept_rows
        self.rules = Rules(
            problem.least_lots,
            problem.items or tuple(((),) * cost.shape[1] for cost in problem.costs_cents),
            np.zeros(1, dtype=np.int64) if problem.item_cents is None else problem.item_cents,
        )
        self.ruled = problem.least_lots > 1 or self.rules.stocking
        self.prices = problem.group_package_cents or (problem.package_cost_cents,) * (max(problem.pool_group) + 1)
        self.penalty = _penalty(problem, free, self.prices, self.rules)
        self.pools = self._pools(every_option=False)
        self.ruled_pools = self._pools(every_option=True) if self.ruled else self.pools
        self.stock_floor = least_stock(self.ruled_pools, self.rules) if self.ruled else 0
        self.curves = [dict(enumerate(pool_curve(pool, problem.most, limits))) for pool in self.pools]
        self.further: list[int] = []
        if problem.curve_beyond:
            self._go_on()
        self.earlier: list[tuple[IntArray, ...]] = []

    def _pools(self, every_option: bool) -> list[Pool]:
        problem = self.problem
        of_lot = np.zeros(len(problem.lot_ids), dtype=np.int64) if problem.lot_pool is None else problem.lot_pool
        pools = []
        for number, group in enumerate(problem.pool_group):
            lots = self.free[of_lot[self.free] == number]
            classes = _classes(problem, lots, every_option)
            kept_costs = tc.weighted_costs(classes, self.kept_rows)
            leaves = self.penalty * classes.weight
            base = np.minimum(kept_costs.min(axis=0, initial=UNSERVED), leaves)
            pools.append(Pool(lots, group, classes, base, leaves, self.prices[group]))
        return pools

    def _go_on(self) -> None:
        """Quick answers beyond the most packages."""
        own = max((len(own_packages(pool)) for pool in self.pools), default=0)
        together = sum(len(own_packages(pool)) for pool in self.pools)
        several = len(set(self.problem.pool_group)) < len(self.problem.pool_group)
        self.further = further_counts(self.problem.most, together if several else own)
        for pool, curve in zip(self.pools, self.curves, strict=True):
            curve |= further_answers(pool, self.further, [curve[self.problem.most]])

    def answer(self, count: int) -> _Answer:
        """The best answer with at most `count` packages in a group."""
        split = split_packages(self.pools, self.curves, count)
        options = tuple(each.options for each in split.answers)
        if not self.ruled:
            methods = list(dict.fromkeys(each.method for each in split.answers if each.method))
            return self._tidy(_Answer(options, split.cost, split.lower_bound, "; ".join(methods)))
        starts = [options, *self.earlier, *self._fewer(count)]
        found = settle(self.ruled_pools, starts, self.rules, count, split.lower_bound + self.stock_floor)
        self.earlier = [found.options]
        return self._tidy(_Answer(found.options, found.cost, found.lower_bound, found.method))

    def _tidy(self, answer: _Answer) -> _Answer:
        """Packages from the lightest to the heaviest, without any that nobody needs."""
        pairs = list(zip(self.ruled_pools, answer.options, strict=True))
        options = tuple(_needed(_numbered(rows, p.classes), p, self.problem.least_lots) for p, rows in pairs)
        dropped = sum(p.package_cents * (len(rows) - len(kept)) for (p, rows), kept in zip(pairs, options, strict=True))
        cost = answer.cost - dropped
        return _Answer(options, cost, min(cost, answer.lower_bound), answer.method)

    def _fewer(self, count: int) -> list[tuple[IntArray, ...]]:
        """Answers with fewer packages, none at all among them: under the rules they may be better."""
        counts = [k for k in range(min(count, self.problem.most)) if k]
        nothing = tuple(without_packages(pool).options for pool in self.pools)
        return [
            *(tuple(b.options for b in split_packages(self.pools, self.curves, k).answers) for k in counts),
            nothing,
        ]

    def laid_out(self, answer: _Answer, kept_of: IntArray) -> tuple[IntArray, IntArray, IntArray]:
        """Chosen packages in their order, the pool of each, and the package of every lot (kept ones after those)."""
        rows: list[IntArray] = [np.empty((0, len(self.problem.lines)), dtype=np.int64)]
        pool_of: list[int] = []
        assignment = kept_of.copy()
        chosen = sum(len(options) for options in answer.options)
        assignment[kept_of != NOT_KEPT] += chosen
        for number, pool in enumerate(self.ruled_pools):
            options = answer.options[number]
            first = len(pool_of)
            assignment[pool.lots] = self._places(pool, options, first, chosen)
            rows.append(options)
            pool_of += [number] * len(options)
        return np.vstack(rows), np.array(pool_of, dtype=np.int64), assignment

    def _places(self, pool: Pool, options: IntArray, first: int, chosen: int) -> IntArray:
        """Package of each lot of a pool: lots of one class fill packages in order of their names."""
        classes = pool.classes
        kept_costs = tc.weighted_costs(classes, self.kept_rows)
        kept = chosen + kept_costs.argmin(axis=0) if len(self.kept_rows) else np.full(classes.count, NO_TIER)
        stays = np.where(pool.base < pool.leaves, kept, NO_TIER)
        counts = shared_out(pool, options, self.problem.least_lots)
        assert counts is not None  # it was possible before they were put in order
        places = np.hstack([np.tile(first + np.arange(len(options)), (classes.count, 1)), stays[:, None]])
        if self.problem.weight is not None:  # no least number of lots: every class is in one package
            return np.asarray(places[np.arange(classes.count), counts.argmax(axis=1)][classes.of_lot])
        names = np.array(self.problem.lot_ids)[pool.lots]
        order = np.lexsort((names, classes.of_lot))
        out = np.full(len(pool.lots), NO_TIER, dtype=np.int64)
        out[order] = np.repeat(places.reshape(-1), counts.reshape(-1))
        return out

    def point(self, count: int, answer: _Answer) -> CurvePoint:
        """An answer as a point of the curve, with the parts of its cost."""
        unserved, left_cost = 0, 0
        packages = 0
        for pool, options in zip(self.ruled_pools, answer.options, strict=True):
            lots = shared_out(pool, options, self.problem.least_lots)
            assert lots is not None
            left = np.where(pool.base >= pool.leaves, lots[:, -1], 0)
            unserved += int(left.sum())
            left_cost += int(left.sum()) * self.penalty
            packages += pool.package_cents * len(options)
        stock = self.rules.stock_cents(items_used(answer.options, self.rules)) if self.ruled else 0
        first = self._first_packages(answer)
        return CurvePoint(
            most=count,
            cost_cents=None if unserved else answer.cost - first,
            lower_bound_cents=max(0, answer.lower_bound - first),
            proven=answer.lower_bound >= answer.cost,
            packages_used=sum(len(options) for options in answer.options),
            lots_unserved=unserved,
            lots_cents=answer.cost - packages - stock - left_cost,
            packages_cents=packages - first,
            stock_cents=stock,
            method=answer.method,
        )

    def _first_packages(self, answer: _Answer) -> int:
        """What the first package of each group costs less."""
        if not self.problem.first_package_cents:
            return 0
        used = {pool.group for pool, rows in zip(self.pools, answer.options, strict=True) if len(rows)}
        return sum(self.problem.first_package_cents[group] for group in used)


def _classes(problem: TierProblem, lots: IntArray, every_option: bool) -> Classes:
    in_use: list[list[int]] = [[package[name] for package in problem.kept if name in package] for name in problem.lines]
    if every_option:
        in_use = [list(range(cost.shape[1])) for cost in problem.costs_cents]
    return tc.collapse(
        problem.lot_variant[lots],
        [mask[lots] for mask in problem.passes],
        problem.costs_cents,
        problem.has_line,
        problem.lots_of_row[lots],
        always=in_use,
    )


def _penalty(problem: TierProblem, free: IntArray, prices: tuple[int, ...], rules: Rules) -> int:
    """What leaving a lot out counts: more than serving all lots can cost, so it happens only where it must.

    Of weighted rows it is at most what can be added up exactly: with a million lots still some $10 million a lot.
    """
    dearest = np.zeros(len(problem.variants), dtype=np.int64)
    for line, cost in enumerate(problem.costs_cents):
        dearest += np.where(problem.has_line[:, line], cost.max(axis=1, initial=0), 0)
    packages = problem.most * sum(prices)
    weight = problem.lots_of_row[free]
    lots = max(int(weight.sum()), 1)
    penalty = int((dearest[problem.lot_variant[free]] * weight).sum()) + packages + int(rules.item_cents.sum()) + 1
    if problem.weight is not None:
        penalty = min(penalty, (int(BLOCKED) - 1) // lots)
    if penalty * lots >= int(BLOCKED):
        raise ValueError("costs are too large to add up exactly; expected dollars a house, not millions of dollars")
    return penalty


def _kept_of(problem: TierProblem) -> IntArray:
    if problem.lot_kept is None:
        return np.full(len(problem.lot_ids), NOT_KEPT, dtype=np.int64)
    kept = np.asarray(problem.lot_kept, dtype=np.int64).copy()
    if kept.shape != (len(problem.lot_ids),) or (kept >= len(problem.kept)).any() or (kept < NOT_KEPT).any():
        raise ValueError(f"kept packages of lots must be -1 to {len(problem.kept) - 1}, one for each lot")
    return kept


def _kept_rows(problem: TierProblem) -> IntArray:
    rows = np.full((len(problem.kept), len(problem.lines)), tc.NOT_USED, dtype=np.int64)
    for number, package in enumerate(problem.kept):
        for name, option in package.items():
            if name not in problem.lines:
                raise ValueError(f"kept package {number + 1} names line {name!r}; expected one of the schedule lines")
            line = problem.lines.index(name)
            if not 0 <= option < problem.costs_cents[line].shape[1]:
                raise ValueError(f"kept package {number + 1}, line {name!r}: option {option} is not on the list")
            rows[number, line] = option
    return rows


def _numbered(options: IntArray, classes: Classes) -> IntArray:
    """Packages from the lightest to the heaviest: by their cost in the tract's average house, then by their options.

    A line that a package leaves out is put in at the line's least cost, so that packages of different plans compare.
    """
    if len(options) == 0:
        return options
    houses = np.bincount(classes.variant, weights=classes.weight, minlength=len(classes.has_line)).astype(np.int64)
    heavy = np.zeros(len(options), dtype=np.int64)
    for line, cost in enumerate(classes.costs):
        if cost.shape[1] == 0:
            continue
        sums = (np.where(classes.has_line[:, [line]], cost, 0) * houses[:, None]).sum(axis=0)
        heavy += np.where(options[:, line] == tc.NOT_USED, sums.min(), sums[options[:, line]])
    order = sorted(range(len(options)), key=lambda row: (int(heavy[row]), tuple(options[row].tolist())))
    return options[order]


def _needed(options: IntArray, pool: Pool, least: int) -> IntArray:
    """Packages in order, without those that nobody needs where two cost the same (the lightest is taken)."""
    while len(options):
        lots = shared_out(pool, options, least)
        assert lots is not None  # it was possible before they were put in order
        used = lots[:, :-1].any(axis=0)
        if used.all():
            break
        options = options[used]
    return options


def _named(problem: TierProblem, row: IntArray) -> dict[str, int]:
    return {name: int(option) for name, option in zip(problem.lines, row, strict=True) if option != tc.NOT_USED}


def _lot_costs(problem: TierProblem, packages: IntArray, assignment: IntArray) -> IntArray:
    total = np.zeros(len(problem.lot_ids), dtype=np.int64)
    lots = np.flatnonzero(assignment != NO_TIER)
    for line, cost in enumerate(problem.costs_cents):
        option = packages[assignment[lots], line] if len(lots) else lots
        variant = problem.lot_variant[lots]
        there = problem.has_line[variant, line] & (option != tc.NOT_USED)
        total[lots[there]] += cost[variant[there], option[there]]
    return total


def _kept_failures(problem: TierProblem, kept_of: IntArray) -> tuple[tuple[str, str], ...]:
    rows = _kept_rows(problem)
    lots = np.flatnonzero(kept_of != NOT_KEPT)
    failures: list[tuple[str, str]] = []
    for line, name in enumerate(problem.lines):
        option = rows[kept_of[lots], line] if len(lots) else lots
        there = problem.has_line[problem.lot_variant[lots], line]
        used = option != tc.NOT_USED  # a line may have no option at all
        passes = np.zeros(len(lots), dtype=bool)
        passes[used] = problem.passes[line][lots[used], option[used]]
        failures.extend((problem.lot_ids[lot], name) for lot in lots[there & ~passes])
    return tuple(sorted(failures))


def worst_lines(problem: TierProblem, lots: Sequence[int]) -> tuple[str, ...]:
    """Lines on which no single option serves all the given lots: why one package can't serve them."""
    rows = np.asarray(lots, dtype=np.int64)
    stuck = []
    for line, name in enumerate(problem.lines):
        there = rows[problem.has_line[problem.lot_variant[rows], line]]
        if len(there) and not problem.passes[line][there].all(axis=0).any():
            stuck.append(name)
    return tuple(stuck)
