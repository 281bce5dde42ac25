"""Packages of a run judged again under other hazards: which of them then hold on which lot, and which is needed.

The statics, the options and what they hold are those of the run: only the hazard numbers change, so a tract is a few
matrix products. What a package holds may depend on the seismic design category, which none of these changes touches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from screener.choice import Interaction, option_ratios
from screener.demands import LotHazards, load_basis
from screener.joint_lines import ANCHOR, CAST_IN
from screener.selection import CHUNK_LOTS, NOT_CHOSEN_FAMILIES, HouseResult, PointResult, Selection, allowables
from screener.tiers import NO_TIER

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
HOLDS = -1


@dataclass(frozen=True)
class Judged:
    """For every lot that was tried and every package of the run: does it hold, what does it cost, which line fails."""

    holds: Bools  # (tried, packages)
    cost_cents: Ints  # (tried, packages) as counted in the choice; large where the package lacks a line
    failing: Ints  # (tried, packages) first line that fails, HOLDS where none does

    def needed(self, open_to: Bools) -> Ints:
        """The cheapest package that holds for each lot, of those open to it (tried, packages); NO_TIER where none."""
        cost = np.where(self.holds & open_to, self.cost_cents, np.iinfo(np.int64).max)
        if cost.shape[1] == 0:
            return np.full(len(cost), NO_TIER, dtype=np.int64)
        return np.where((self.holds & open_to).any(axis=1), cost.argmin(axis=1), NO_TIER).astype(np.int64)


def open_packages(s: Selection) -> Bools:
    """Packages that each tried lot may use: those of its pool, and those that are kept."""
    assert s.problem is not None
    pool = s.problem.lot_pool if s.problem.lot_pool is not None else np.zeros(len(s.tried), dtype=np.int64)
    own = s.plan.package_pool
    kept = len(s.plan.packages) - len(own)
    return np.hstack([pool[:, None] == own[None, :], np.ones((len(pool), kept), dtype=bool)])


def judged(s: Selection, *hazards: LotHazards) -> list[Judged]:
    """Every package of the run on every tried lot, under each of these hazards (one entry a usable lot).

    All of them are judged together: the work at a connection hardly grows with the rows of a house.
    """
    n_usable, n_packages = len(s.tier_of_lot), len(s.plan.packages)
    failing = np.full((len(hazards), n_usable, n_packages), HOLDS, dtype=np.int64)
    for house in s.houses:
        if len(house.lots):
            basis = np.concatenate([load_basis(house.model, each.take(house.lots)) for each in hazards])
            found = _judge_house(s, house, basis, len(hazards))
            failing[:, house.lots] = found.reshape(len(hazards), len(house.lots), n_packages)
    cost = package_costs(s)
    return [Judged(part == HOLDS, cost, part) for part in failing[:, s.tried]]


def package_costs(s: Selection) -> Ints:
    """Cost of every package on every tried lot, as counted in the choice: (tried, packages)."""
    problem = s.problem
    assert problem is not None
    cost = np.zeros((len(problem.variants), len(s.plan.packages)), dtype=np.int64)
    for k, package in enumerate(s.plan.packages):
        for n, line in enumerate(problem.lines):
            option = package.get(line, -1)
            add = problem.costs_cents[n][:, option] if option >= 0 else np.full(len(cost), np.int64(1) << 40)
            cost[:, k] += np.where(problem.has_line[:, n], add, 0)
    return np.asarray(cost[problem.lot_variant])


def _judge_house(s: Selection, house: HouseResult, basis: Floats, times: int) -> Ints:
    """First failing line of every package for basis rows of one house: its lots, so many times over."""
    failing = np.full((len(basis), len(s.plan.packages)), HOLDS, dtype=np.int64)
    for r in sorted(
        (r for r in house.points if r.point.family not in NOT_CHOSEN_FAMILIES), key=lambda r: s.line_of(r.point)
    ):
        options = np.array([package.get(r.point.schedule, -1) for package in s.plan.packages], dtype=np.int64)
        used = np.unique(options[options >= 0])
        held_of = np.tile(r.held_of, times)
        passes = np.zeros((len(basis), r.ratio.shape[1] + 1), dtype=bool)  # the last: the package lacks the line
        for start in range(0, len(basis), CHUNK_LOTS):
            part = slice(start, start + CHUNK_LOTS)
            passes[part, used] = _ratios(s, r, basis[part], held_of[part], used) <= 1.0
        failing = np.where((failing == HOLDS) & ~passes[:, options], s.line_of(r.point), failing)
    return failing


def all_ratios(s: Selection, r: PointResult, basis: Floats, held_of: Ints) -> Floats:
    """Usage ratios (lots, options) of all options of a connection for basis rows, with the run's capacities."""
    options = np.arange(r.ratio.shape[1])
    out = np.empty((len(basis), len(options)))
    for start in range(0, len(basis), CHUNK_LOTS):
        part = slice(start, start + CHUNK_LOTS)
        out[part] = _ratios(s, r, basis[part], held_of[part], options)
    return out


def _ratios(s: Selection, r: PointResult, basis: Floats, held_of: Ints, used: Ints) -> Floats:
    """Usage ratios (lots, options used) with the capacities that the run worked out.

    An anchor that is cast in with its hold-down counts as holding: a package has it only beside such a hold-down,
    which is judged at its own connection.
    """
    values = r.point.values(basis)
    ratio = np.full((len(basis), len(used)), np.inf)
    for number, caps in enumerate(r.held):
        here = held_of == number
        if not here.any():
            continue
        chosen = [caps[option] for option in used]
        wind, seismic = (allowables(chosen, hazard, r.point.components) for hazard in ("wind", "seismic"))
        usable = np.array([cap.usable for cap in chosen], dtype=bool)
        interactions: list[Interaction] = ["none" if cap.interaction == "none" else "sum" for cap in chosen]
        found, _ = option_ratios(values[here], wind, seismic, r.point.case_hazards, interactions=interactions)
        ratio[here] = np.where(usable[None, :], found, np.inf)
    if r.point.family == ANCHOR:
        ratio[:, used == s.options[s.line_of(r.point)].index(CAST_IN)] = 0.0
    return ratio
