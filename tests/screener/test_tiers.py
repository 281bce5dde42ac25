"""Tiers: optimum against brute force and against a mixed-integer programme, and the laws an optimiser must obey.

What is NOT a law and so is not tested: the packages of a changed tract. Adding a lot may move another lot to a lighter
package, and packages chosen for two halves of a tract need not be those of the whole.
"""

from __future__ import annotations

import itertools
import os
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from screener import tier_bound, tier_classes, tier_moves, tier_search
from screener.tiers import NO_TIER, TierProblem, lots_without_option, plan_tiers, worst_lines

FEW = settings(max_examples=200, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
SOME = settings(
    max_examples=12 * int(os.environ.get("EXAMPLES", "1")),
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
"""Of the laws that search for packages many times over. `make long` takes ten times as many made-up tracts."""
pytestmark = pytest.mark.examples


def make_problem(seed: int, n_lots: int, n_variants: int, n_lines: int, n_options: int, most: int, **changes):
    """A random small tract: pass masks need not be nested, costs order differently from variant to variant."""
    rng = np.random.default_rng(seed)
    has_line = rng.random((n_variants, n_lines)) < 0.75
    has_line[:, 0] = True
    passes, costs = [], []
    for _ in range(n_lines):
        options = int(rng.integers(1, n_options + 1))
        mask = rng.random((n_lots, options)) < 0.7
        stuck = ~mask.any(axis=1)
        mask[stuck, rng.integers(0, options, int(stuck.sum()))] = True
        passes.append(mask)
        costs.append(rng.integers(1, 12, (n_variants, options)) * 100)
    problem = TierProblem(
        lot_ids=tuple(f"L-{number:03d}" for number in range(n_lots)),
        lot_variant=rng.integers(0, n_variants, n_lots),
        variants=tuple(f"variant {number}" for number in range(n_variants)),
        lines=tuple(f"line {number}" for number in range(n_lines)),
        has_line=has_line,
        passes=tuple(passes),
        costs_cents=tuple(costs),
        most=most,
    )
    return replace(problem, **changes)


def make_tract(seed: int, n_lots: int, n_variants: int, n_lines: int, most: int, noise: float = 0.0) -> TierProblem:
    """A tract with levels: one wind factor a lot (plus noise), capacities that rise with price."""
    rng = np.random.default_rng(seed)
    factor = np.round(0.6 + 1.2 * rng.random(n_lots), 1)
    variant = rng.integers(0, n_variants, n_lots)
    passes, costs = [], []
    for _ in range(n_lines):
        capacity = np.cumsum(rng.uniform(0.3, 0.6, 5))
        capacity[-1] = 9.0
        demand = factor * rng.uniform(0.7, 1.1, n_variants)[variant] * (1 + noise * rng.random(n_lots))
        passes.append(demand[:, None] <= capacity[None, :])
        costs.append((rng.integers(5, 40, n_variants)[:, None] * np.cumsum(rng.integers(20, 200, 5))).astype(np.int64))
    return TierProblem(
        lot_ids=tuple(f"L-{number:04d}" for number in range(n_lots)),
        lot_variant=variant,
        variants=tuple(f"variant {number}" for number in range(n_variants)),
        lines=tuple(f"line {number}" for number in range(n_lines)),
        has_line=np.ones((n_variants, n_lines), dtype=bool),
        passes=tuple(passes),
        costs_cents=tuple(costs),
        most=most,
    )


def group_cost(problem: TierProblem, lots: tuple[int, ...]) -> int | None:
    """Cost of the cheapest package for a group, trying every option of every line; None where none serves all."""
    total = 0
    for line in range(len(problem.lines)):
        there = [lot for lot in lots if problem.has_line[problem.lot_variant[lot], line]]
        if not there:
            continue
        sums = [
            sum(int(problem.costs_cents[line][problem.lot_variant[lot], option]) for lot in there)
            for option in range(problem.costs_cents[line].shape[1])
            if all(problem.passes[line][lot, option] for lot in there)
        ]
        if not sums:
            return None
        total += min(sums)
    return total


def brute_force(problem: TierProblem) -> tuple[int, int]:
    """(lots left out, least cost) over every way to group the lots into at most `most` groups and a rest."""
    n_lots = len(problem.lot_ids)
    groups = {}
    for size in range(1, n_lots + 1):
        for lots in itertools.combinations(range(n_lots), size):
            groups[lots] = group_cost(problem, lots)
    best = (n_lots, 0)
    for labels in itertools.product(range(problem.most + 1), repeat=n_lots):
        cost, used = 0, 0
        for label in range(problem.most):
            members = tuple(lot for lot in range(n_lots) if labels[lot] == label)
            if not members:
                continue
            own = groups[members]
            if own is None:
                break
            cost, used = cost + own, used + 1
        else:
            left = sum(label == problem.most for label in labels)
            best = min(best, (left, cost + used * problem.package_cost_cents))
    return best


def check_plan(problem: TierProblem, plan) -> None:
    """Every lot with a tier is served on every line of its plan; costs add up; the bound is a bound."""
    for lot, number in enumerate(plan.assignment):
        if number == NO_TIER:
            continue
        package = plan.packages[number]
        for line, name in enumerate(problem.lines):
            if problem.has_line[problem.lot_variant[lot], line]:
                assert problem.passes[line][lot, package[name]]
    assert plan.cost_cents == plan.lot_cost_cents.sum() + plan.n_chosen * problem.package_cost_cents
    assert plan.lower_bound_cents <= plan.cost_cents
    assert plan.n_chosen <= problem.most


@FEW
@given(
    seed=st.integers(0, 2**31),
    n_lots=st.integers(1, 6),
    n_variants=st.integers(1, 3),
    n_lines=st.integers(1, 3),
    most=st.integers(1, 3),
    package_cents=st.sampled_from([0, 0, 150, 900]),
)
def test_optimum_vs_brute_force(seed, n_lots, n_variants, n_lines, most, package_cents):
    problem = make_problem(seed, n_lots, n_variants, n_lines, 3, most, package_cost_cents=package_cents)
    left, cost = brute_force(problem)
    plan = plan_tiers(problem)
    check_plan(problem, plan)
    assert len(plan.unserved) == left
    assert plan.cost_cents == cost
    if left == 0:
        assert plan.proven
        assert plan.gap == 0.0
        assert plan.lower_bound_cents == cost


def solve_with_highs(problem: TierProblem) -> float:
    """The same problem over the full sufficient candidate set, as a mixed-integer programme (HiGHS through scipy)."""
    free = np.arange(len(problem.lot_ids))
    classes = tier_classes.collapse(
        problem.lot_variant, [mask[free] for mask in problem.passes], problem.costs_cents, problem.has_line
    )
    found = tier_classes.candidates(classes, 5000)
    assert found.complete
    costs = tier_classes.weighted_costs(classes, found.options)
    package, member = np.nonzero(costs < tier_bound.UNSERVED)
    n_packages, n_pairs = len(costs), len(package)
    columns = n_packages + np.arange(n_pairs)
    rows = np.arange(n_pairs)
    once = sparse.csc_array((np.ones(n_pairs), (member, columns)), shape=(classes.count, n_packages + n_pairs))
    link = sparse.csc_array(
        (
            np.concatenate([np.ones(n_pairs), -np.ones(n_pairs)]),
            (np.concatenate([rows, rows]), np.concatenate([columns, package])),
        ),
        shape=(n_pairs, n_packages + n_pairs),
    )
    count = np.concatenate([np.ones(n_packages), np.zeros(n_pairs)])[None, :]
    result = milp(
        np.concatenate([np.zeros(n_packages), costs[package, member].astype(float)]),
        integrality=np.concatenate([np.ones(n_packages), np.zeros(n_pairs)]),
        bounds=Bounds(0, 1),
        constraints=[
            LinearConstraint(once, 1, 1),
            LinearConstraint(link, -np.inf, 0),
            LinearConstraint(count, 0, problem.most),
        ],
        options={"mip_rel_gap": 0.0},
    )
    assert result.status == 0, result.message
    return float(result.fun)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("most", [2, 3, 4])
def test_optimum_vs_mixed_integer_programme(seed, most):
    problem = make_tract(seed, 40, 3, 4, most, noise=0.2)
    plan = plan_tiers(problem)
    check_plan(problem, plan)
    assert plan.proven
    assert plan.cost_cents == pytest.approx(solve_with_highs(problem), rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_unordered_costs_vs_mixed_integer_programme(seed):
    """Options whose costs order differently between plans, and masks that are not nested."""
    problem = make_problem(seed, 14, 3, 3, 4, 14)
    needed = plan_tiers(problem)
    problem = replace(problem, most=max(2, needed.n_chosen // 2))
    plan = plan_tiers(problem)
    check_plan(problem, plan)
    if not plan.unserved:
        assert plan.proven
        assert plan.cost_cents == pytest.approx(solve_with_highs(problem), rel=1e-9)


@SOME
@given(seed=st.integers(0, 2**31), most=st.integers(1, 5))
def test_contiguous_groups_are_optimal_on_one_factor_chains(seed, most):
    """One hazard factor and one plan: requirements form a chain, and cutting the sorted classes is exact."""
    problem = make_tract(seed, 60, 1, 4, most)
    classes = tier_classes.collapse(problem.lot_variant, problem.passes, problem.costs_cents, problem.has_line)
    order = np.lexsort((tier_classes.own_costs(classes) // classes.weight,))
    packages, cost = tier_search._runs(classes, order, classes.count)
    cuts = tier_search._cut(packages, cost, most)
    base = np.full(classes.count, tier_bound.UNSERVED // 2000)
    chain = min(tier_search.polish(classes, base, options, 0)[1] for options in cuts)
    plan = plan_tiers(problem)
    assert plan.proven
    assert plan.cost_cents == chain


@SOME
@given(seed=st.integers(0, 2**31))
def test_cost_falls_or_stays_as_packages_are_added(seed):
    plan = plan_tiers(make_tract(seed, 50, 3, 4, 6, noise=0.1))
    costs = [point.cost_cents for point in plan.curve]
    assert costs == sorted(costs, reverse=True)
    assert costs[0] == plan.one_package_cents
    assert costs[-1] == plan.cost_cents >= plan.every_lot_own_cents
    assert all(point.proven for point in plan.curve)


@SOME
@given(seed=st.integers(0, 2**31))
def test_lot_order_changes_nothing(seed):
    problem = make_tract(seed, 40, 3, 4, 3, noise=0.15)
    order = np.random.default_rng(seed).permutation(40)
    shuffled = replace(
        problem,
        lot_ids=tuple(problem.lot_ids[lot] for lot in order),
        lot_variant=problem.lot_variant[order],
        passes=tuple(mask[order] for mask in problem.passes),
    )
    plan, other = plan_tiers(problem), plan_tiers(shuffled)
    assert plan.packages == other.packages
    assert (plan.assignment[order] == other.assignment).all()
    assert (plan.lot_cost_cents[order] == other.lot_cost_cents).all()
    assert (plan.cost_cents, plan.lower_bound_cents, plan.curve) == (
        other.cost_cents,
        other.lower_bound_cents,
        other.curve,
    )


@SOME
@given(seed=st.integers(0, 2**31))
def test_variant_order_and_names_change_nothing(seed):
    problem = make_tract(seed, 30, 4, 3, 3, noise=0.15)
    order = np.random.default_rng(seed).permutation(4)
    place = np.argsort(order)
    renamed = replace(
        problem,
        lot_variant=place[problem.lot_variant],
        variants=tuple(f"other {number}" for number in range(4)),
        has_line=problem.has_line[order],
        costs_cents=tuple(cost[order] for cost in problem.costs_cents),
    )
    plan, other = plan_tiers(problem), plan_tiers(renamed)
    assert plan.packages == other.packages
    assert (plan.assignment == other.assignment).all()


@SOME
@given(seed=st.integers(0, 2**31))
def test_a_dominated_dear_option_changes_nothing(seed):
    """An option that passes nowhere that another does not, and costs more in every plan."""
    problem = make_tract(seed, 40, 3, 4, 3, noise=0.1)
    dear = replace(
        problem,
        passes=tuple(np.column_stack([mask, mask[:, 2]]) for mask in problem.passes),
        costs_cents=tuple(np.column_stack([cost, cost[:, 2] + 1]) for cost in problem.costs_cents),
    )
    plan, other = plan_tiers(problem), plan_tiers(dear)
    assert plan.packages == other.packages
    assert plan.cost_cents == other.cost_cents


@SOME
@given(seed=st.integers(0, 2**31))
def test_doubled_lots_double_the_cost_and_keep_the_packages(seed):
    problem = make_tract(seed, 30, 3, 4, 3, noise=0.1)
    twice = replace(
        problem,
        lot_ids=problem.lot_ids + tuple(f"{name} again" for name in problem.lot_ids),
        lot_variant=np.tile(problem.lot_variant, 2),
        passes=tuple(np.tile(mask, (2, 1)) for mask in problem.passes),
    )
    plan, other = plan_tiers(problem), plan_tiers(twice)
    assert other.n_classes == plan.n_classes
    assert other.cost_cents == 2 * plan.cost_cents


@SOME
@given(seed=st.integers(0, 2**31), factor=st.integers(2, 50))
def test_scaled_prices_scale_the_cost(seed, factor):
    problem = make_tract(seed, 30, 3, 4, 3, noise=0.1)
    plan = plan_tiers(problem)
    scaled = plan_tiers(replace(problem, costs_cents=tuple(cost * factor for cost in problem.costs_cents)))
    assert plan.proven
    assert scaled.proven
    assert scaled.cost_cents == factor * plan.cost_cents


@SOME
@given(seed=st.integers(0, 2**31), line=st.integers(0, 3), option=st.integers(0, 4))
def test_a_cheaper_or_stronger_option_never_raises_the_cost(seed, line, option):
    problem = make_tract(seed, 30, 3, 4, 3, noise=0.1)
    plan = plan_tiers(problem)
    cost = [each.copy() for each in problem.costs_cents]
    cost[line][:, option] //= 2
    assert plan_tiers(replace(problem, costs_cents=tuple(cost))).cost_cents <= plan.cost_cents
    masks = [each.copy() for each in problem.passes]
    masks[line][:, option] = True
    assert plan_tiers(replace(problem, passes=tuple(masks))).cost_cents <= plan.cost_cents


def test_as_many_packages_as_classes_give_each_its_own():
    problem = make_tract(5, 25, 2, 3, 1, noise=0.3)
    classes = plan_tiers(problem).n_classes
    plan = plan_tiers(replace(problem, most=classes))
    assert plan.cost_cents == plan.every_lot_own_cents
    assert plan.proven


def test_packages_are_numbered_from_the_lightest():
    problem = make_tract(3, 60, 1, 4, 4)
    plan = plan_tiers(problem)
    house = [
        sum(int(problem.costs_cents[problem.lines.index(name)][0, option]) for name, option in package.items())
        for package in plan.packages
    ]
    assert house == sorted(house)


def test_lots_without_an_option_get_no_tier_and_are_listed():
    problem = make_tract(2, 20, 2, 3, 2)
    masks = [mask.copy() for mask in problem.passes]
    masks[1][7] = False
    problem = replace(problem, passes=tuple(masks))
    plan = plan_tiers(problem)
    assert [(each.lot_id, each.line, each.reason) for each in plan.no_option] == [("L-0007", "line 1", "no_hardware")]
    assert plan.assignment[7] == NO_TIER
    assert plan.lot_cost_cents[7] == 0
    assert (np.delete(plan.assignment, 7) != NO_TIER).all()
    assert lots_without_option(problem)[0].sum() == 1
    without = replace(
        problem,
        lot_ids=problem.lot_ids[:7] + problem.lot_ids[8:],
        lot_variant=np.delete(problem.lot_variant, 7),
        passes=tuple(np.delete(mask, 7, axis=0) for mask in problem.passes),
    )
    assert plan_tiers(without).packages == plan.packages
    assert plan_tiers(without).cost_cents == plan.cost_cents


def test_lines_that_a_plan_lacks_do_not_count():
    """A line of other plans, with nothing passing on this lot, must not keep the lot from its tier."""
    problem = TierProblem(
        lot_ids=("a", "b"),
        lot_variant=np.array([0, 1]),
        variants=("one storey", "two storeys"),
        lines=("truss tie", "floor strap"),
        has_line=np.array([[True, False], [True, True]]),
        passes=(np.array([[True, True], [False, True]]), np.array([[False], [True]])),
        costs_cents=(np.array([[100, 300], [100, 300]]), np.array([[999], [50]])),
        most=2,
    )
    plan = plan_tiers(problem)
    assert plan.packages == ({"truss tie": 0}, {"truss tie": 1, "floor strap": 0})
    assert plan.assignment.tolist() == [0, 1]
    assert plan.cost_cents == 100 + 350
    assert plan.one_package_cents == 300 + 350


def test_what_one_package_cannot_serve_is_told():
    """Two lots with no option in common: one package serves one of them, two serve both."""
    problem = TierProblem(
        lot_ids=("a", "b", "c"),
        lot_variant=np.zeros(3, dtype=np.int64),
        variants=("only",),
        lines=("truss tie",),
        has_line=np.ones((1, 1), dtype=bool),
        passes=(np.array([[True, False], [False, True], [False, True]]),),
        costs_cents=(np.array([[100, 900]]),),
        most=1,
    )
    plan = plan_tiers(problem)
    assert plan.unserved == ("a",)  # as many lots as possible first, then cost
    assert plan.one_package_cents is None
    assert plan.curve[0].cost_cents is None
    assert plan.curve[0].lots_unserved == 1
    assert worst_lines(problem, [0, 1, 2]) == ("truss tie",)
    both = plan_tiers(replace(problem, most=2))
    assert both.unserved == ()
    assert both.cost_cents == 1900
    assert both.proven


def test_kept_packages_stay_are_checked_and_are_open_to_others():
    problem = make_tract(4, 30, 1, 2, 1)
    strong = {name: 4 for name in problem.lines}
    weak = {name: 0 for name in problem.lines}
    kept = np.full(30, -1)
    kept[:5], kept[5:8] = 0, 1
    fixed = replace(problem, kept=(strong, weak), lot_kept=kept)
    plan = plan_tiers(fixed)
    assert plan.packages[plan.n_chosen :] == (strong, weak)
    assert (plan.assignment[:5] == plan.n_chosen).all()
    assert (plan.assignment[5:8] == plan.n_chosen + 1).all()
    failing = {
        (problem.lot_ids[lot], name)
        for lot in range(5, 8)
        for line, name in enumerate(problem.lines)
        if not problem.passes[line][lot, 0]
    }
    assert set(plan.kept_failures) == failing
    assert plan.kept_pass == (not failing)
    assert plan.kept_cost_cents == plan.lot_cost_cents[:8].sum()
    free = replace(
        problem,
        lot_ids=problem.lot_ids[8:],
        lot_variant=problem.lot_variant[8:],
        passes=tuple(mask[8:] for mask in problem.passes),
        most=3,
    )
    # Kept packages do not count against `most`, so one more of our own can't beat three free ones.
    assert plan_tiers(free).cost_cents <= plan.cost_cents
    assert plan.cost_cents <= plan_tiers(replace(free, most=1)).cost_cents
    assert plan.proven


def test_a_kept_option_counts_even_where_a_cheaper_one_would_do():
    """The kept package holds a dear option that no optimum would use; it still serves the lots that it passes on."""
    problem = TierProblem(
        lot_ids=("a", "b", "c"),
        lot_variant=np.zeros(3, dtype=np.int64),
        variants=("only",),
        lines=("truss tie",),
        has_line=np.ones((1, 1), dtype=bool),
        passes=(np.array([[True, True, False], [True, True, False], [True, False, True]]),),
        costs_cents=(np.array([[100, 150, 120]]),),
        most=1,
        package_cost_cents=400,
        kept=({"truss tie": 1},),
        lot_kept=np.array([0, -1, -1]),
    )
    plan = plan_tiers(problem)
    # b in the kept package (150) and c in an own one (500), or both in an own one (600): the latter is cheaper.
    assert plan.cost_cents == 600
    alone = plan_tiers(replace(problem, passes=(np.array([[True, True, False]] * 3),)))
    assert alone.cost_cents == 300  # both in the kept package, no package of our own
    assert alone.n_chosen == 0
    assert alone.kept_pass


def test_a_price_for_packages_buys_fewer_of_them():
    problem = make_tract(9, 50, 2, 4, 5, noise=0.1)
    many = plan_tiers(problem)
    few = plan_tiers(replace(problem, package_cost_cents=10 * many.cost_cents))
    assert many.n_chosen == 5
    assert few.n_chosen == 1
    assert few.proven


def test_an_unfinished_search_says_so():
    """With hardly any work allowed the answer stands, the bound holds, and nothing is claimed."""
    problem = make_tract(11, 150, 6, 8, 4, noise=0.6)
    best = plan_tiers(problem)
    limits = tier_search.Limits(rounds=1, steps=5, join_cells=1, join_cells_a_lot=0, nodes=1)
    short = plan_tiers(problem, limits)
    check_plan(problem, short)
    assert best.proven
    assert not short.proven
    assert short.gap > 0.0
    assert short.lower_bound_cents <= best.cost_cents <= short.cost_cents


@SOME
@given(
    seed=st.integers(0, 2**31),
    frontier=st.sampled_from([1, 3, 10]),
    cells=st.sampled_from([30, 300, 10**6]),
    core=st.sampled_from([2, 20]),
    joins=st.sampled_from([200, 5_000, 10**9]),
)
def test_a_search_that_is_cut_short_claims_nothing_false(seed, frontier, cells, core, joins):
    """Lists of packages cut at any place: a bound stays a bound, and "proven" stays true."""
    problem = make_tract(seed, 30, 3, 4, 3, noise=0.6)
    best = plan_tiers(problem)
    limits = tier_search.Limits(
        frontier=frontier, cells=cells, core=core, join_cells=joins, join_cells_a_lot=0, narrow_from=0, narrow=2,
        answers=1, moves=1, steps=20, start_blocks=3,
    )  # fmt: skip
    short = plan_tiers(problem, limits)
    check_plan(problem, short)
    assert best.proven
    for exact, cut in zip(best.curve, short.curve, strict=True):
        assert cut.lower_bound_cents <= exact.cost_cents <= cut.cost_cents
        assert not cut.proven or cut.cost_cents == exact.cost_cents


@pytest.mark.parametrize("seed", range(4))
def test_easier_classes_give_a_valid_bound(seed):
    """The bound from merged classes never exceeds the optimum of the real ones."""
    problem = make_tract(seed, 120, 3, 5, 3, noise=0.4)
    best = plan_tiers(problem)
    limits = tier_search.Limits(relax_from=0, relax_to=20, rounds=1, join_cells=1, join_cells_a_lot=0, nodes=1)
    short = plan_tiers(problem, limits)
    assert best.proven
    assert short.lower_bound_cents <= best.cost_cents <= short.cost_cents
    classes = tier_classes.collapse(problem.lot_variant, problem.passes, problem.costs_cents, problem.has_line)
    easier, _, easier_of = tier_classes.relaxed(classes, np.full(classes.count, 10**12), 20)
    assert easier.count <= 20
    assert easier.weight.sum() == classes.weight.sum()
    assert tier_classes.own_costs(easier).sum() <= tier_classes.own_costs(classes).sum()
    assert len(easier_of) == classes.count


@pytest.mark.parametrize("at", [0, 1, 3])
def test_a_line_that_the_list_has_nothing_for_does_not_hinder_easier_classes(at):
    """Lots of the one plan that has the line can't be served; those of the others are merged as if it weren't there."""
    problem = make_tract(5, 120, 3, 3, 3, noise=0.4)
    has_line = np.insert(problem.has_line, at, np.arange(3) == 0, axis=1)
    passes, costs = list(problem.passes), list(problem.costs_cents)
    passes.insert(at, np.zeros((120, 0), dtype=bool))
    costs.insert(at, np.zeros((3, 0), dtype=np.int64))
    lines = tuple(f"line {n}" for n in range(4))
    given = replace(problem, has_line=has_line, passes=tuple(passes), costs_cents=tuple(costs), lines=lines)
    limits = tier_search.Limits(relax_from=0, relax_to=20, rounds=1, join_cells=1, join_cells_a_lot=0, nodes=1)
    plan = plan_tiers(given, limits)
    assert len(plan.no_option) == (problem.lot_variant == 0).sum()
    others = problem.lot_variant != 0
    alone = replace(
        problem,
        lot_ids=tuple(np.array(problem.lot_ids)[others]),
        lot_variant=problem.lot_variant[others],
        passes=tuple(mask[others] for mask in problem.passes),
    )
    expected = plan_tiers(alone, limits)
    assert (plan.cost_cents, plan.lower_bound_cents) == (expected.cost_cents, expected.lower_bound_cents)


@SOME
@given(seed=st.integers(0, 2**31), limit=st.integers(-4000, 0))
def test_enumeration_finds_every_package_below_the_limit(seed, limit):
    """Against the full closure: no join of classes with a lower reduced cost is missed."""
    problem = make_tract(seed, 14, 2, 3, 2, noise=0.4)
    classes = tier_classes.collapse(problem.lot_variant, problem.passes, problem.costs_cents, problem.has_line)
    states, whole = tier_classes.closure(classes.state, classes.lines, 10**6)
    assert whole
    price = tier_classes.own_costs(classes) + np.random.default_rng(seed).integers(0, 3000, classes.count)
    below = tier_search.packages_below(classes, price, limit, 10**9, 10**6, 10**9)
    _, served, first = tier_search._join_tables(classes)
    value = tier_search._values(served, states + first, price, compiled=False)
    expected = {tuple(row) for row in states[value < limit].tolist()}
    assert below.dropped is None
    assert {tuple(row) for row in below.states.tolist()} == expected
    assert sorted(below.values.tolist()) == sorted(value[value < limit].tolist())


@FEW
@given(
    seed=st.integers(0, 2**31),
    n_packages=st.integers(0, 9),
    n_classes=st.integers(1, 12),
    most=st.integers(1, 4),
    package_cents=st.sampled_from([0, 40]),
    steps=st.sampled_from([3, 6, 30]),
)
def test_branch_and_bound_vs_every_choice_of_packages(seed, n_packages, n_classes, most, package_cents, steps):
    """Few different costs, so that ties and settled nodes are met; some pairs not served; some classes may stay.

    With few price updates the bounds are poor, so that the branching itself has to be right.
    """
    rng = np.random.default_rng(seed)
    costs = rng.integers(1, 6, (n_packages, n_classes)) * 10
    costs = np.where(rng.random(costs.shape) < 0.3, tier_bound.UNSERVED, costs)
    base = np.where(rng.random(n_classes) < 0.3, rng.integers(1, 8, n_classes) * 10, 10_000)
    own = np.minimum(costs.min(axis=0, initial=tier_bound.UNSERVED), base)
    table = tier_bound.Table(costs, base, own, most, package_cents)
    best = min(
        table.answer_cost(np.array(rows, dtype=np.int64))
        for size in range(min(most, n_packages) + 1)
        for rows in itertools.combinations(range(n_packages), size)
    )
    upper = table.answer_cost(np.zeros(0, dtype=np.int64))
    closed = tier_bound.branch_and_bound(table, own, upper, 1_000, 10**12, steps, 5)
    assert closed.lower_bound <= best <= closed.cost
    assert closed.lower_bound == best == closed.cost or closed.nodes == 1_000
    assert table.answer_cost(closed.rows) == closed.cost or closed.cost == upper
    priced = tier_bound.improve_prices(table, own, upper, 200, 10)
    assert priced.bound <= best <= priced.cost
    stopped = tier_bound.branch_and_bound(table, own, upper, 1, 10**12, 3, 1)
    assert stopped.lower_bound <= best <= stopped.cost


@SOME
@given(seed=st.integers(0, 2**31), groups=st.integers(1, 4), package_cents=st.sampled_from([0, 3000]))
def test_single_moves_lower_the_cost_to_where_no_move_helps(seed, groups, package_cents):
    problem = make_tract(seed, 25, 2, 3, groups, noise=0.4)
    classes = tier_classes.collapse(problem.lot_variant, problem.passes, problem.costs_cents, problem.has_line)
    rng = np.random.default_rng(seed)
    base = np.where(rng.random(classes.count) < 0.2, rng.integers(1, 10**5, classes.count), 10**9)
    start = rng.integers(-1, groups, classes.count)

    def cost(group):
        total = int(base[group < 0].sum())
        for each in range(groups):
            members = np.flatnonzero(group == each)
            if len(members):
                package = tier_classes.group_package(classes, members)
                total += package_cents + int(tier_classes.weighted_costs(classes, package[None])[0, members].sum())
        return total

    moved, moves = tier_moves.regroup(classes, base, package_cents, start, groups, 1000)
    assert cost(moved) <= cost(start)
    assert moves < 1000
    for member in range(classes.count):
        for target in range(-1, groups):
            other = moved.copy()
            other[member] = target
            assert cost(other) >= cost(moved)


def test_compiled_kernel_equals_the_reference():
    rng = np.random.default_rng(3)
    table, rows = rng.integers(0, 10**9, (40, 25)), rng.integers(0, 40, (300, 7))
    price = rng.integers(0, 7 * 10**9, 25)
    one, other = (tier_search._values(table, rows, price, compiled) for compiled in (True, False))
    assert (one == other).all()
    assert (one < 0).any()


def test_wrong_inputs_are_refused():
    problem = make_tract(1, 5, 1, 2, 1)
    with pytest.raises(ValueError, match="at least 1"):
        replace(problem, most=0)
    with pytest.raises(ValueError, match="whole cents"):
        replace(problem, costs_cents=tuple(cost.astype(float) for cost in problem.costs_cents))
    with pytest.raises(ValueError, match="not on the list"):
        plan_tiers(replace(problem, kept=({"line 0": 99},), lot_kept=np.full(5, -1)))
    with pytest.raises(ValueError, match="expected one of the schedule lines"):
        plan_tiers(replace(problem, kept=({"line 9": 0},), lot_kept=np.full(5, -1)))


def test_a_tract_without_lots():
    problem = make_tract(1, 3, 1, 2, 2)
    empty = replace(problem, lot_ids=(), lot_variant=np.zeros(0, int), passes=tuple(m[:0] for m in problem.passes))
    plan = plan_tiers(empty)
    assert plan.packages == ()
    assert plan.cost_cents == 0
    assert plan.proven
