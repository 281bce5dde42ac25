"""Rows that stand for several lots alike: the same packages, costs and proof as those lots one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_tiers import make_problem, make_tract

from screener.tier_design import lot_pools, package_prices
from screener.tiers import NO_TIER, TierProblem, plan_tiers


def spread_out(problem: TierProblem, weight: np.ndarray) -> TierProblem:
    """The same problem with every lot a row of its own."""
    row = np.repeat(np.arange(len(weight)), weight)
    return replace(
        problem,
        lot_ids=tuple(f"{problem.lot_ids[r]}-{n:03d}" for n, r in enumerate(row.tolist())),
        lot_variant=problem.lot_variant[row],
        passes=tuple(mask[row] for mask in problem.passes),
        lot_kept=None if problem.lot_kept is None else problem.lot_kept[row],
        lot_pool=None if problem.lot_pool is None else problem.lot_pool[row],
        weight=None,
    )


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("kind", ["random", "levels", "handling"])
def test_weighted_rows_are_their_lots(seed: int, kind: str) -> None:
    random = np.random.default_rng(seed)
    if kind == "random":
        problem = make_problem(seed, 9, 3, 4, 4, 3)
    else:
        problem = make_tract(seed, 14, 3, 5, 3, 0.1)
    if kind == "handling":
        problem = replace(problem, package_cost_cents=40_000)
    weight = random.integers(1, 7, len(problem.lot_ids))
    weighted = plan_tiers(replace(problem, weight=weight))
    lots = plan_tiers(spread_out(problem, weight))
    assert weighted.packages == lots.packages
    assert (weighted.cost_cents, weighted.lower_bound_cents) == (lots.cost_cents, lots.lower_bound_cents)
    assert weighted.one_package_cents == lots.one_package_cents
    assert weighted.every_lot_own_cents == lots.every_lot_own_cents
    assert [c.cost_cents for c in weighted.curve] == [c.cost_cents for c in lots.curve]
    assert np.array_equal(np.repeat(weighted.assignment, weight), lots.assignment)
    starts = np.concatenate([[0], np.cumsum(weight)[:-1]])
    assert np.array_equal(weighted.lot_cost_cents, np.add.reduceat(lots.lot_cost_cents, starts))


def test_many_lots_do_not_overflow_the_search() -> None:
    """A million lots at thousands of dollars: leaving one out still costs more than anything that serving it could."""
    problem = make_tract(3, 12, 3, 5, 2, 0.1)
    scaled = replace(
        problem,
        costs_cents=tuple(cost * 100 for cost in problem.costs_cents),
        weight=np.full(12, 1_000_000 // 12, dtype=np.int64),
    )
    plan = plan_tiers(scaled)
    assert (plan.assignment != NO_TIER).all()
    once = plan_tiers(replace(scaled, weight=np.ones(12, dtype=np.int64)))
    assert plan.cost_cents == once.cost_cents * (1_000_000 // 12)


def test_weights_do_not_go_with_a_least_number_of_lots() -> None:
    problem = make_tract(1, 6, 2, 3, 2)
    with pytest.raises(ValueError, match="least_lots = 1"):
        replace(problem, weight=np.ones(6, dtype=np.int64), least_lots=2)


def test_mix_ups_are_priced_by_lots() -> None:
    from screener.config_sections import TiersSection

    section = TiersSection(mixup_usd=900.0, mixup_rate=0.01)  # type: ignore[call-arg]
    pools = lot_pools(section, ["a", "b"], np.zeros(2, dtype=bool))
    alike = lot_pools(section, ["a"] * 3 + ["b"] * 5, np.zeros(8, dtype=bool))
    none = np.zeros(2, dtype=bool)
    assert package_prices(section, pools, none, np.array([3, 5])) == package_prices(
        section, alike, np.zeros(8, dtype=bool)
    )
