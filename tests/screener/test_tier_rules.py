"""The rules of package design: price of a package, of mix-ups, of items in stock, least lots, pools that never share.

The optimum against brute force with every element of the cost, alone and together; what each rule may never do.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_tiers import make_problem, make_tract

from screener import tier_stock
from screener.tiers import NO_TIER, TierPlan, TierProblem, plan_tiers

FEW = settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
SOME = settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


def with_items(problem: TierProblem, seed: int, n_items: int, dearest: int) -> TierProblem:
    """Every option takes none, one or two kinds of items, some of them shared between lines."""
    rng = np.random.default_rng(seed)
    items = tuple(
        tuple(
            tuple(sorted(rng.choice(n_items, int(rng.integers(0, 3)), replace=False).tolist()))
            for _ in range(c.shape[1])
        )
        for c in problem.costs_cents
    )
    return replace(problem, items=items, item_cents=rng.integers(0, dearest + 1, n_items).astype(np.int64))


def package_choices(problem: TierProblem, lots: tuple[int, ...]) -> list[tuple[int, frozenset[int]]]:
    """Every package for a group of lots as (cost of its lots, items it takes), option by option; empty: none serves."""
    per_line = []
    for line in range(len(problem.lines)):
        there = [lot for lot in lots if problem.has_line[problem.lot_variant[lot], line]]
        if not there:
            continue
        per_line.append(
            [
                (
                    sum(int(problem.costs_cents[line][problem.lot_variant[lot], option]) for lot in there),
                    problem.items[line][option] if problem.items else (),
                )
                for option in range(problem.costs_cents[line].shape[1])
                if all(problem.passes[line][lot, option] for lot in there)
            ]
        )
    return [
        (sum(cost for cost, _ in way), frozenset(item for _, items in way for item in items))
        for way in itertools.product(*per_line)
    ]


def brute_force(problem: TierProblem) -> tuple[int, int]:
    """(lots left out, least cost) over every way to put lots into packages, every option, every item counted once."""
    n_lots = len(problem.lot_ids)
    pool = np.zeros(n_lots, dtype=np.int64) if problem.lot_pool is None else problem.lot_pool
    groups = sorted(set(problem.pool_group))
    slots = [(number, place) for number in range(len(problem.pool_group)) for place in range(problem.most)]
    prices = problem.group_package_cents or (problem.package_cost_cents,) * (max(groups) + 1)
    first = problem.first_package_cents or (0,) * (max(groups) + 1)
    item_cents = problem.item_cents if problem.item_cents is not None else np.zeros(0, dtype=np.int64)
    best = (n_lots, 0)
    choices = [[s for s, (number, _) in enumerate(slots) if number == pool[lot]] + [-1] for lot in range(n_lots)]
    known: dict[tuple[int, ...], list[tuple[int, frozenset[int]]]] = {}
    for labels in itertools.product(*choices):
        members = [tuple(lot for lot in range(n_lots) if labels[lot] == s) for s in range(len(slots))]
        used = [s for s, lots in enumerate(members) if lots]
        if any(len(members[s]) < problem.least_lots for s in used):
            continue
        count = [sum(problem.pool_group[slots[s][0]] == group for s in used) for group in groups]
        if max(count, default=0) > problem.most:
            continue
        fixed = sum(n * prices[g] - (first[g] if n else 0) for n, g in zip(count, groups, strict=True))
        for s in used:
            if members[s] not in known:
                found = package_choices(problem, members[s])
                least: dict[frozenset[int], int] = {}
                for cost, items in found:
                    least[items] = min(cost, least.get(items, cost))
                known[members[s]] = [(cost, items) for items, cost in least.items()]
        for way in itertools.product(*(known[members[s]] for s in used)):
            items = frozenset().union(*(each for _, each in way))
            stock = sum(int(item_cents[item]) for item in items) if len(item_cents) else 0
            cost = fixed + stock + sum(each for each, _ in way)
            best = min(best, (sum(label == -1 for label in labels), cost))
    return best


def check_rules(problem: TierProblem, plan: TierPlan) -> None:
    """What holds of every answer, proven or not: served lots, least lots, pools apart, the parts add up to the cost."""
    pool = np.zeros(len(problem.lot_ids), dtype=np.int64) if problem.lot_pool is None else problem.lot_pool
    assert plan.lower_bound_cents <= plan.cost_cents
    assert plan.cost_cents == plan.lot_cost_cents.sum() + plan.packages_cents + plan.stock_cents
    for number in range(plan.n_chosen):
        lots = np.flatnonzero(plan.assignment == number)
        assert len(lots) >= problem.least_lots
        assert (pool[lots] == plan.package_pool[number]).all()
    for lot, number in enumerate(plan.assignment):
        if number == NO_TIER:
            continue
        for line, name in enumerate(problem.lines):
            if problem.has_line[problem.lot_variant[lot], line]:
                assert problem.passes[line][lot, plan.packages[number][name]]


@SOME
@given(
    seed=st.integers(0, 2**31),
    n_lots=st.integers(1, 5),
    n_lines=st.integers(1, 2),
    most=st.integers(1, 2),
    package_cents=st.sampled_from([0, 150, 900]),
    first_cents=st.sampled_from([0, 100]),
    dearest=st.sampled_from([0, 300, 1500]),
    least=st.sampled_from([1, 1, 2]),
    n_pools=st.integers(1, 2),
    apart=st.booleans(),
)
def test_optimum_vs_brute_force_with_every_rule(
    seed, n_lots, n_lines, most, package_cents, first_cents, dearest, least, n_pools, apart
):
    problem = make_problem(seed, n_lots, 2, n_lines, 3, most, package_cost_cents=package_cents, least_lots=least)
    if dearest:
        problem = with_items(problem, seed, 4, dearest)
    if n_pools == 2:
        pool = np.random.default_rng(seed).integers(0, 2, n_lots)
        problem = replace(problem, lot_pool=pool, pool_group=(0, 1) if apart else (0, 0))
    if first_cents and package_cents >= first_cents:
        problem = replace(problem, first_package_cents=(first_cents, first_cents))
    left, cost = brute_force(problem)
    plan = plan_tiers(problem)
    check_rules(problem, plan)
    assert len(plan.unserved) == left
    assert plan.cost_cents == cost
    if left == 0:
        assert plan.proven
        assert plan.lower_bound_cents == cost


@FEW
@given(seed=st.integers(0, 2**31), dearest=st.sampled_from([200, 2000, 20000]), least=st.sampled_from([1, 4]))
def test_larger_tracts_keep_the_rules_and_an_honest_bound(seed, dearest, least):
    """Beyond the exact programme: single moves and the bound. The optimum without rules plus items is an upper
    bound."""
    plain = make_tract(seed, 30, 2, 4, 3, noise=0.2)
    problem = replace(with_items(plain, seed, 12, dearest), least_lots=least)
    plan = plan_tiers(problem)
    check_rules(problem, plan)
    without = plan_tiers(plain)
    items = {
        item
        for package in without.packages
        for line, option in package.items()
        for item in problem.items[problem.lines.index(line)][option]
    }
    if least == 1:
        assert plan.cost_cents <= without.cost_cents + sum(int(problem.item_cents[item]) for item in items)
    assert plan.cost_cents >= without.cost_cents


@pytest.mark.parametrize("seed", range(3))
def test_bound_and_moves_vs_exact_programme(seed, monkeypatch):
    """The same tract by moves and bound, and by the exact programme: bound <= optimum <= answer, within a few per
    cent."""
    problem = with_items(make_tract(seed, 6, 2, 3, 2, noise=0.3), seed, 8, 8000)
    monkeypatch.setattr(tier_stock, "EXACT_CELLS", 10**9)
    exact = plan_tiers(problem)
    assert exact.proven
    monkeypatch.setattr(tier_stock, "EXACT_CELLS", 0)
    moved = plan_tiers(problem)
    assert moved.lower_bound_cents <= exact.cost_cents <= moved.cost_cents
    assert moved.cost_cents <= 1.05 * exact.cost_cents


def test_a_dearer_option_is_taken_where_it_shares_an_item():
    """Why joins do not suffice once items cost money: 'heavy' on line b is dearer but is on the site for line a."""
    problem = TierProblem(
        lot_ids=("p", "q"),
        lot_variant=np.zeros(2, dtype=np.int64),
        variants=("only",),
        lines=("a", "b"),
        has_line=np.ones((1, 2), dtype=bool),
        passes=(np.array([[False, True], [False, True]]), np.array([[True, True], [True, True]])),
        costs_cents=(np.array([[100, 300]]), np.array([[200, 250]])),
        most=1,
        items=(((0,), (1,)), ((0,), (1,))),
        item_cents=np.array([500, 500]),
    )
    plan = plan_tiers(problem)
    assert plan.packages == ({"a": 1, "b": 1},)
    assert plan.cost_cents == 2 * (300 + 250) + 500
    assert plan.proven
    assert plan_tiers(replace(problem, item_cents=np.array([0, 500]))).packages == ({"a": 1, "b": 0},)


def test_a_price_of_mix_ups_ends_the_wish_for_one_package_more():
    """Without a price more packages never cost more; with one the optimum lies at fewer than are allowed."""
    problem = make_tract(3, 60, 2, 4, 6, noise=0.1)
    free = plan_tiers(problem)
    step = free.curve[2].cost_cents - free.curve[3].cost_cents  # what the fourth package saves
    priced = plan_tiers(replace(problem, package_cost_cents=step + 1, first_package_cents=(step + 1,)))
    assert free.n_chosen > priced.n_chosen
    assert priced.n_chosen <= 3
    assert priced.packages_cents == (priced.n_chosen - 1) * (step + 1)
    assert priced.proven


def test_pools_cost_no_less_than_one_pool_and_no_more_than_alone():
    problem = make_tract(7, 60, 3, 4, 2, noise=0.1)
    family = replace(problem, lot_pool=problem.lot_variant, pool_group=(0, 1, 2))
    shared = replace(problem, lot_pool=problem.lot_variant, pool_group=(0, 0, 0), most=6)
    plan, tract, split = plan_tiers(family), plan_tiers(replace(problem, most=6)), plan_tiers(shared)
    assert tract.cost_cents <= split.cost_cents <= plan.cost_cents  # six anywhere beat six that may not be shared
    check_rules(family, plan)
    check_rules(shared, split)
    alone = 0
    for number in range(3):
        lots = np.flatnonzero(problem.lot_variant == number)
        part = replace(
            problem,
            lot_ids=tuple(problem.lot_ids[lot] for lot in lots),
            lot_variant=problem.lot_variant[lots],
            passes=tuple(mask[lots] for mask in problem.passes),
        )
        alone += plan_tiers(part).cost_cents
    assert plan.cost_cents == alone


@FEW
@given(seed=st.integers(0, 2**31))
def test_lot_order_changes_nothing_with_rules(seed):
    problem = replace(with_items(make_tract(seed, 25, 2, 3, 2, noise=0.2), 1, 6, 3000), least_lots=3)
    order = np.random.default_rng(seed).permutation(25)
    shuffled = replace(
        problem,
        lot_ids=tuple(problem.lot_ids[lot] for lot in order),
        lot_variant=problem.lot_variant[order],
        passes=tuple(mask[order] for mask in problem.passes),
    )
    plan, other = plan_tiers(problem), plan_tiers(shuffled)
    assert plan.packages == other.packages
    assert (plan.assignment[order] == other.assignment).all()
    assert plan.curve == other.curve


def test_the_curve_goes_on_to_every_kind_of_lot():
    problem = replace(make_tract(5, 60, 2, 4, 2, noise=0.3), curve_beyond=True)
    plan = plan_tiers(problem)
    costs = [point.cost_cents for point in (*plan.curve, *plan.beyond)]
    assert costs == sorted(costs, reverse=True)
    assert costs[-1] == plan.every_lot_own_cents
    assert plan.beyond[-1].proven
    assert all(point.lower_bound_cents <= point.cost_cents for point in plan.beyond)
