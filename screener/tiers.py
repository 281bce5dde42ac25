"""Tiers: at most K hardware packages for a tract, at least cost, with the proof.

A package is one option for every schedule line that its lots have; a lot may use a package whose option passes on
every line of its plan. What is minimised is the sum over lots of material (with waste) and labour, in whole cents, plus
a price for every package where one is set (mix-ups cost money).

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
from screener.tier_search import BLOCKED, Best, Limits, Start, assign, best_packages, start_packages

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

    def __post_init__(self) -> None:
        n_lots, n_lines = len(self.lot_ids), len(self.lines)
        if self.most < 1:
            raise ValueError(f"[tiers] most = {self.most}; expected at least 1")
        if self.package_cost_cents < 0:
            raise ValueError(f"the price of a package is {self.package_cost_cents} cents; expected 0 or more")
        if self.has_line.shape != (len(self.variants), n_lines):
            raise ValueError(f"has_line is {self.has_line.shape}; expected {(len(self.variants), n_lines)}")
        if len(self.passes) != n_lines or len(self.costs_cents) != n_lines or len(self.lot_variant) != n_lots:
            raise ValueError("passes, costs and lots do not fit together; expected one entry for each line and lot")
        for name, mask, cost in zip(self.lines, self.passes, self.costs_cents, strict=True):
            if mask.shape != (n_lots, cost.shape[1]) or cost.shape[0] != len(self.variants):
                raise ValueError(f"line {name!r}: passes {mask.shape} and costs {cost.shape} do not fit together")
            if not np.issubdtype(cost.dtype, np.integer) or (cost < 0).any():
                raise ValueError(f"line {name!r}: costs must be whole cents, not below 0")


@dataclass(frozen=True)
class NoOption:
    """A lot that no option serves on a schedule line."""

    lot_id: str
    line: str
    reason: str = "no_hardware"


@dataclass(frozen=True)
class CurvePoint:
    """Least cost with at most so many packages. `cost_cents` is None where they can't serve every lot."""

    most: int
    cost_cents: int | None
    lower_bound_cents: int
    proven: bool
    packages_used: int
    lots_unserved: int = 0


@dataclass(frozen=True)
class TierPlan:
    """Packages, who uses which, what it costs, and how good that provably is.

    `packages` are the chosen ones from the lightest (cheapest in the tract's average house) to the heaviest, then the
    kept ones in their given order; `assignment` is an index into them, -1 for a lot without a tier. Costs are those of
    the lots that were free to choose; `kept_cost_cents` is that of the lots that keep a package.
    """

    packages: tuple[dict[str, int], ...]
    n_chosen: int
    assignment: IntArray
    lot_cost_cents: IntArray  # 0 where there is no tier
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
    classes = _classes(problem, free)
    kept_costs = tc.weighted_costs(classes, kept_rows)
    base, leaves = _base(classes, kept_costs, problem.most * problem.package_cost_cents)
    answers = _curve(classes, base, problem, limits)
    best = answers[-1]
    chosen, choice = _settled(_numbered(best.options, classes), kept_rows, classes)
    packages = np.vstack([chosen, kept_rows])
    assignment = kept_of.copy()
    assignment[kept_of != NOT_KEPT] += len(chosen)
    assignment[free] = choice[classes.of_lot]
    one_package = answers[0].cost if _all_served(answers[0], base, leaves, classes) else None
    lot_cost = _lot_costs(problem, packages, assignment)
    served = assignment[free] != NO_TIER
    cost = int(lot_cost[free].sum()) + problem.package_cost_cents * len(chosen)
    whole = bool(served.all())
    return TierPlan(
        packages=tuple(_named(problem, row) for row in packages),
        n_chosen=len(chosen),
        assignment=assignment,
        lot_cost_cents=lot_cost,
        cost_cents=cost,
        kept_cost_cents=int(lot_cost[kept_of != NOT_KEPT].sum()),
        lower_bound_cents=min(cost, max(0, best.lower_bound - (best.cost - cost))),
        method=best.method,
        proven=best.proven,
        one_package_cents=one_package,
        every_lot_own_cents=int(tc.own_costs(classes).sum()),
        curve=tuple(_point(k, each, base, leaves, classes) for k, each in enumerate(answers, start=1)),
        no_option=no_option,
        unserved=() if whole else tuple(sorted(problem.lot_ids[lot] for lot in free[~served])),
        kept_failures=_kept_failures(problem, kept_of),
        n_classes=classes.count,
        candidates=max(each.candidates for each in answers),
        steps=sum(each.steps for each in answers),
        nodes=sum(each.nodes for each in answers),
        limits=limits,
    )


def _classes(problem: TierProblem, free: IntArray) -> Classes:
    in_use = [[package[name] for package in problem.kept if name in package] for name in problem.lines]
    return tc.collapse(
        problem.lot_variant[free],
        [mask[free] for mask in problem.passes],
        problem.costs_cents,
        problem.has_line,
        always=in_use,
    )


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


def _base(classes: Classes, kept_costs: IntArray, package_cents: int) -> tuple[IntArray, IntArray]:
    """What a class costs without any chosen package: (base, penalty of leaving it out), weighted.

    Leaving a lot out costs more than serving all lots can, so it happens only where it must.
    """
    dearest = np.zeros(classes.count, dtype=np.int64)
    for line, cost in enumerate(classes.costs):
        dearest += np.where(classes.has_line[:, line], cost.max(axis=1, initial=0), 0)[classes.variant]
    penalty = int((dearest * classes.weight).sum()) + package_cents + 1
    if penalty * int(classes.weight.max(initial=1)) >= int(BLOCKED):
        raise ValueError("costs are too large to add up exactly; expected dollars a house, not millions of dollars")
    leaves = penalty * classes.weight
    return np.minimum(kept_costs.min(axis=0, initial=UNSERVED), leaves), leaves


def _curve(classes: Classes, base: IntArray, problem: TierProblem, limits: Limits) -> list[Best]:
    """Best answers for at most 1, 2, ... `most` packages; each starts from the one before, so cost never rises."""
    answers: list[Best] = []
    if not classes.count:  # every lot keeps a package, has no plan, or is served by nothing
        none = Best(np.empty((0, len(classes.lines)), dtype=np.int64), 0, 0, "nothing to choose for", 0, 0, 0)
        return [none] * problem.most
    start = start_packages(classes, problem.most, problem.package_cost_cents, limits)
    floor = min(int(base.sum()), int(np.minimum(tc.own_costs(classes), base).sum()))
    for count in range(1, problem.most + 1):
        before = answers[-1] if answers else None
        if before is not None and (before.cost <= floor or (len(before.options) < count - 1 and before.proven)):
            answers.append(before)  # more packages than are used already change nothing
            continue
        if before is not None:
            pool = np.unique(np.vstack([start.pool, before.options]), axis=0)
            start = Start((*start.sets, (len(before.options), before.options)), pool)
        answers.append(best_packages(classes, base, count, problem.package_cost_cents, start, limits))
    return answers


def _unserved_classes(best: Best, base: IntArray, leaves: IntArray, classes: Classes) -> IntArray:
    served = tc.weighted_costs(classes, best.options).min(axis=0, initial=UNSERVED)
    return np.flatnonzero((np.minimum(served, base) >= leaves) & (leaves > 0))


def _all_served(best: Best, base: IntArray, leaves: IntArray, classes: Classes) -> bool:
    return len(_unserved_classes(best, base, leaves, classes)) == 0


def _point(count: int, best: Best, base: IntArray, leaves: IntArray, classes: Classes) -> CurvePoint:
    left = _unserved_classes(best, base, leaves, classes)
    return CurvePoint(
        most=count,
        cost_cents=None if len(left) else best.cost,
        lower_bound_cents=best.lower_bound,
        proven=best.proven,
        packages_used=len(best.options),
        lots_unserved=int(classes.weight[left].sum()),
    )


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


def _settled(chosen: IntArray, kept_rows: IntArray, classes: Classes) -> tuple[IntArray, IntArray]:
    """Each class to its cheapest package, the lightest on a tie; chosen packages that nobody needs then are dropped."""
    while True:
        table = tc.weighted_costs(classes, np.vstack([chosen, kept_rows]))
        choice = assign(table, np.full(classes.count, UNSERVED))
        used = np.isin(np.arange(len(chosen)), choice)
        if used.all():
            return chosen, choice
        chosen = chosen[used]


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
        passes = (option != tc.NOT_USED) & problem.passes[line][lots, np.maximum(option, 0)]
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
