"""The order of phases as a lever: what every order does to exposure, packages and money.

A lot is designed for the ground at its permit: the phases before its own stand, its own and later ones are bare. So its
letters depend on the set of phases built before, not on their order. Letters are worked once for every set, demands
once for every lot and set whose pressures differ, and the packages of every order are searched anew: first quickly,
then fully for the order that looks cheapest, for the project's own, and for every order whose lower bound does not
rule it out.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hazard.exposure import exposure_at_height
from hazard.fetch import measure_fetch_states
from hazard.ground_states import phase_of_cells
from hazard.issues import InputError, Issue, Issues
from screener.demands import load_basis
from screener.joint_lines import join
from screener.pipeline import Prepared, choose
from screener.rejudge import all_ratios
from screener.selection import NOT_CHOSEN_FAMILIES, Selection
from screener.site_hazards import ground_upwind, with_letters
from screener.tier_search import Limits
from screener.tiers import TierPlan, TierProblem, plan_tiers
from screener.tolerance import hazards_of

Bools = NDArray[np.bool_]
ALL_ORDERS_UP_TO = 5
MOST_FULL_SEARCHES = 8
QUICK = Limits(nodes=0, rounds=3, patience=6, steps=150)
COLUMNS = (
    "order", "project_order", "lots_b", "lots_c", "lots_d", "packages", "without_package", "cost", "change_common",
    "lower_bound", "proven", "by_phase",
)  # fmt: skip


@dataclass(frozen=True)
class Order:
    """One order of phases: letters of lots, packages, and the cost by phase in cents."""

    phases: tuple[str, ...]
    letters: dict[str, int]
    plan: TierPlan
    by_phase: dict[str, int]


def phase_orders(p: Prepared, progress: Callable[[str], None] = lambda _: None) -> tuple[list[Order], tuple[str, ...]]:
    """Every order of the phases that do not stand yet (a stated part of them beyond five), and the project's own order.

    Raises InputError where the project has no phases or no land cover.
    """
    _refuse(p)
    upwind = ground_upwind(p.tract, p.site, Issues())
    plan = upwind.plan
    free = [n for n, built in enumerate(plan.built) if not built]
    sets = [frozenset(c) for size in range(len(free) + 1) for c in itertools.combinations(free, size)]
    built = np.array([[b or n in done for n, b in enumerate(plan.built)] for done in sets], dtype=bool)
    progress(f"exposure in {len(sets)} states of the ground")
    fetches = measure_fetch_states(
        upwind.ground, phase_of_cells(upwind.ground, plan), built, p.site.points.xy, p.site.points.crs,
        p.tract.exposure.rules(), greatest_height_ft=upwind.tallest_ft,
    )  # fmt: skip
    progress("demands and packages of the project as it is")
    base = choose(p)
    strict = p.tract.terrain.kzt_isolation == "strict"
    states = [
        with_letters(p.site, exposure_at_height(f, p.site.height_ft).letters, p.tract.design.loads, strict)
        for f in fetches
    ]
    passes = _passes(p, base, states)
    phase = p.lots["phase"].to_numpy(dtype=str)[p.usable]
    own = tuple(plan.names[n] for n in free)
    orders: list[Order] = []
    known: dict[bytes, TierPlan] = {}
    for order in _orders(free):
        which = _state_of_lot(order, sets, plan.names, phase)
        problem = _problem(base, passes, which)
        key = b"".join(np.packbits(mask).tobytes() for mask in problem.passes)
        if key not in known:
            progress(f"packages of order {len(known) + 1}")
            known[key] = plan_tiers(problem, QUICK)
        letters = np.array([site.columns["exposure"] for site in states])[which, np.arange(len(phase))]
        orders.append(_order(tuple(plan.names[n] for n in order), letters, known[key], base, phase))
    return _proven(orders, own, base, passes, sets, plan.names, phase, progress), own


def _refuse(p: Prepared) -> None:
    if p.tract.ground.phases is None or p.tract.hazards.land_cover is None or p.tract.hazards.exposure is not None:
        found = "no phases" if p.tract.ground.phases is None else "letters that are given"
        raise InputError(
            Issue("phase_orders", "stop", "project file", found, "[ground] phases, and an exposure from land cover", "")
        )


def _orders(free: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """All orders of a few phases; beyond that the given one and all that move one phase to another place."""
    if len(free) <= ALL_ORDERS_UP_TO:
        yield from itertools.permutations(free)
        return
    found = {tuple(free)}
    for one in range(len(free)):
        rest = [f for n, f in enumerate(free) if n != one]
        found |= {(*rest[:at], free[one], *rest[at:]) for at in range(len(free))}
    yield from sorted(found)


def _state_of_lot(
    order: Sequence[int], sets: Sequence[frozenset[int]], names: Sequence[str], phase: NDArray[Any]
) -> NDArray[np.int64]:
    """Which set of phases stands when each lot is built; lots of no such phase see the ground of today."""
    which = np.zeros(len(phase), dtype=np.int64)
    for place, number in enumerate(order):
        which[phase == names[number]] = sets.index(frozenset(order[:place]))
    return which


def _passes(p: Prepared, s: Selection, states: Sequence[Any]) -> list[list[Bools]]:
    """Per state and line, which options hold on which tried lot. States with the same pressures are judged once."""
    problem = s.problem
    assert problem is not None
    place = np.full(len(s.tier_of_lot), -1, dtype=np.int64)
    place[s.tried] = np.arange(len(s.tried))
    out = []
    hazards = [hazards_of(p, site) for site in states]
    for number in range(len(states)):
        tables = [mask.copy() for mask in problem.passes]
        for house in s.houses:
            moved = np.zeros(len(house.lots), dtype=bool)
            for name in ("q_envelope_psf", "q_components_psf", "gcpi"):
                now, then = getattr(p.hazards, name)[house.lots], getattr(hazards[number], name)[house.lots]
                moved |= now != then
            onto = hazards[number].q_onto_psf[house.lots] != p.hazards.q_onto_psf[house.lots]
            moved |= onto.any(axis=1)
            moved &= place[house.lots] >= 0
            if moved.any():
                _judge(s, house, hazards[number].take(house.lots), np.flatnonzero(moved), place, tables)
        out.append([table & may for table, may in zip(tables, s.may_use, strict=True)])
    return out


def _judge(
    s: Selection, house: Any, hazards: Any, rows: NDArray[np.intp], place: NDArray[np.int64], tables: list[Bools]
) -> None:
    basis = load_basis(house.model, hazards)[rows]
    lots = place[house.lots[rows]]
    fresh: dict[int, Bools] = {}
    for r in house.points:
        if r.point.family in NOT_CHOSEN_FAMILIES:
            continue
        line = s.line_of(r.point)
        held = all_ratios(s, r, basis, r.held_of[rows]) <= 1.0
        fresh[line] = held if line not in fresh else fresh[line] & held
    for line, held in fresh.items():
        tables[line][lots] = held


def _problem(s: Selection, passes: Sequence[Sequence[Bools]], which: NDArray[np.int64]) -> TierProblem:
    assert s.problem is not None
    of_lot = which[s.tried]
    lots = np.arange(len(of_lot))
    masks = tuple(np.array([state[line] for state in passes])[of_lot, lots] for line in range(len(s.lines)))
    return join(replace(s.problem, passes=masks, curve_beyond=False), s.pairs)


def _order(phases: tuple[str, ...], letters: NDArray[Any], plan: TierPlan, s: Selection, phase: NDArray[Any]) -> Order:
    counts = {letter: int((letters == letter).sum()) for letter in ("B", "C", "D")}
    of_lot = phase[s.tried]
    by_phase = {str(name): int(plan.lot_cost_cents[of_lot == name].sum()) for name in sorted(set(of_lot.tolist()))}
    return Order(phases, counts, plan, by_phase)


def _proven(
    orders: list[Order],
    own: tuple[str, ...],
    s: Selection,
    passes: Sequence[Sequence[Bools]],
    sets: Sequence[frozenset[int]],
    names: Sequence[str],
    phase: NDArray[Any],
    progress: Callable[[str], None],
) -> list[Order]:
    """Full searches: the project's own order, the cheapest, and those that may yet be cheaper; cheapest first."""
    done: set[tuple[str, ...]] = set()
    known: dict[int, TierPlan] = {}
    for _ in range(MOST_FULL_SEARCHES):
        without, best, _ = min(_rank(each) for each in orders)
        open_ = [
            each
            for each in sorted(orders, key=lambda each: (each.phases != own, _rank(each)))
            if each.phases not in done
            and not each.plan.proven
            and (each.phases == own or (_rank(each)[0] == without and each.plan.lower_bound_cents < best))
        ]
        if not open_:
            break
        each = open_[0]
        progress(f"proof for {' > '.join(each.phases)}")
        place = [names.index(name) for name in each.phases]
        which = _state_of_lot(place, sets, names, phase)
        quick = id(each.plan)
        if quick not in known:
            known[quick] = plan_tiers(_problem(s, passes, which))
        for n, other in enumerate(orders):
            if id(other.plan) == quick:
                letters = other.letters
                made = _order(other.phases, np.empty(0), known[quick], s, phase)
                orders[n] = Order(other.phases, letters, made.plan, made.by_phase)
                done.add(other.phases)
    return sorted(orders, key=_rank)


def _rank(order: Order) -> tuple[int, int, tuple[str, ...]]:
    return len(order.plan.unserved) + len(order.plan.no_option), order.plan.cost_cents, order.phases


def order_table(orders: Sequence[Order], own: tuple[str, ...]) -> pd.DataFrame:
    """The orders side by side, dollars.

    Orders may serve different lots, so `change_common` compares material and labour of the lots that have a package in
    every order, against the project's own order.
    """
    mine = next((each for each in orders if each.phases == own), orders[0])
    everywhere = np.logical_and.reduce([each.plan.assignment >= 0 for each in orders])
    common = int(mine.plan.lot_cost_cents[everywhere].sum())
    rows = []
    for each in orders:
        plan = each.plan
        counts = np.bincount(plan.assignment[plan.assignment >= 0], minlength=len(plan.packages))
        rows.append(
            {
                "order": " > ".join(each.phases),
                "project_order": each.phases == own,
                "lots_b": each.letters["B"],
                "lots_c": each.letters["C"],
                "lots_d": each.letters["D"],
                "packages": "; ".join(f"{n + 1}: {count}" for n, count in enumerate(counts)),
                "without_package": len(plan.unserved) + len({each.lot_id for each in plan.no_option}),
                "cost": plan.cost_cents / 100,
                "change_common": (int(plan.lot_cost_cents[everywhere].sum()) - common) / 100,
                "lower_bound": plan.lower_bound_cents / 100,
                "proven": plan.proven,
                "by_phase": "; ".join(f"{name} {cents / 100:,.0f}" for name, cents in each.by_phase.items()),
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def summary(orders: Sequence[Order], own: tuple[str, ...]) -> list[str]:
    """What the orders say, in sentences."""
    best = orders[0]
    mine = next((each for each in orders if each.phases == own), best)
    served = [int((each.plan.assignment >= 0).sum()) for each in (best, mine)]
    lines = [
        f"{len(orders)} orders of phases, each lot for the ground at its permit.",
        f"Best: {' > '.join(best.phases)} gives {served[0]} lots a package at {_dollars(best.plan.cost_cents)}; "
        f"the project's {' > '.join(own)} gives {served[1]} lots one at {_dollars(mine.plan.cost_cents)}.",
    ]
    if len({_rank(each)[0] for each in orders}) > 1:
        lines.append("Orders that leave fewer lots without a package come first; then cost counts.")
    others = [each for each in orders if _rank(each)[0] == _rank(best)[0]]
    sure = best.plan.proven and all(each.plan.lower_bound_cents >= best.plan.cost_cents for each in others)
    lines.append(
        "Proven: no other order listed that serves as many lots costs less with as many packages."
        if sure
        else "Not proven: an order whose lower bound lies below the best cost may still be cheaper."
    )
    return lines


def _dollars(cents: int) -> str:
    return f"${cents / 100:,.0f}"
