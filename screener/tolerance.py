"""Lots whose package changes when an input moves within its band ([tiers] tolerance), and what that costs.

Wind speed, Kzt and the share of rough ground that prevails are moved for all lots together, one input at a time, to
both ends of its band; the packages of the run stay as they are, and the cheapest of them that then holds is named.
Prices move one family of items at a time; lots are regrouped from the packages of the run by single moves, and
packages chosen again for their lots (no proof: a full run with these prices may find more). Stocking prices are left
aside there.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hazard.exposure import ExposureResult
from hazard.ground_states import design_exposure, exposure_states, measure_states, resolve_state
from hazard.issues import Issues
from screener import columns
from screener import tier_classes as tc
from screener.demands import LotHazards
from screener.joint_lines import join, join_costs
from screener.keeping import Keep, anew
from screener.pipeline import Prepared, lot_hazards
from screener.rejudge import Judged, judged, open_packages, package_costs
from screener.scope import Findings
from screener.selection import Selection
from screener.site_hazards import SiteHazards, ground_upwind, with_letters, with_wind
from screener.tier_design import bill_name
from screener.tier_moves import regroup
from screener.tier_search import BLOCKED
from screener.tiers import NO_TIER, TierProblem

Ints = NDArray[np.int64]
MOST_MOVES = 60  # kinds of lots moved one by one under other prices
MOST_KINDS = 600  # kinds of lots up to which prices are moved: forty regroupings take long beyond


def tolerance_table(p: Prepared, s: Selection, keep: Keep = anew) -> pd.DataFrame:
    """One row for each lot, input and band edge at which its package changes."""
    rows = keep("tolerance", lambda: _changed_lots(p, s), issues=p.issues)
    frame = pd.DataFrame(rows, columns=list(columns.names("tolerance")))
    return frame.sort_values(["lot_id", "what", "by"], kind="stable", ignore_index=True)


def _changed_lots(p: Prepared, s: Selection) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    if s.problem is not None and len(s.tried) and s.plan.packages:
        moved = list(_moved_sites(p))
        now, *thens = judged(s, p.hazards, *(hazards_of(p, site) for _, _, site in moved))
        for (what, by, site), then in zip(moved, thens, strict=True):
            rows += _changes(p, s, now, then, what, by, site)
        rows += _price_changes(p, s)
    return rows


def hazards_of(p: Prepared, site: SiteHazards) -> LotHazards:
    """Hazard numbers of the usable lots from changed site hazards."""
    return lot_hazards(p.tract, site, p.lots.iloc[p.usable], p.houses, p.usable, Findings(len(p.usable)), p.redundancy)[
        0
    ]


def _moved_sites(p: Prepared) -> Iterator[tuple[str, float, SiteHazards]]:
    """The site hazards at both ends of every band: (input, by how much, hazards)."""
    bands, edition = p.tract.tiers.tolerance, p.tract.design.loads
    for sign in (-1.0, 1.0):
        if bands.wind:
            yield "wind", sign * bands.wind, with_wind(p.site, edition, speed=1.0 + sign * bands.wind)
        if bands.kzt:
            yield "kzt", sign * bands.kzt, with_wind(p.site, edition, kzt=1.0 + sign * bands.kzt)
    if bands.rough_share and p.tract.hazards.land_cover is not None and p.tract.hazards.exposure is None:
        for sign in (-1.0, 1.0):
            share = float(np.clip(p.tract.exposure.rough_share + sign * bands.rough_share, 0.01, 1.0))
            yield "rough_share", sign * bands.rough_share, with_rough_share(p, share)


def with_rough_share(p: Prepared, share: float) -> SiteHazards:
    """The same lots where rough ground prevails from another share on."""
    exposure = p.tract.exposure.model_copy(update={"rough_share": share})
    tract = p.tract.model_copy(update={"exposure": exposure})
    tract._source = p.tract._source
    chosen = _exposure_again(p, tract)
    return with_letters(p.site, chosen.letters, tract.design.loads, tract.terrain.kzt_isolation == "strict")


def _exposure_again(p: Prepared, tract: Any) -> ExposureResult:
    upwind = ground_upwind(tract, p.site, Issues())
    states = measure_states(
        upwind.ground,
        upwind.plan,
        p.site.points.xy,
        p.site.points.crs,
        tract.exposure.rules(),
        greatest_height_ft=upwind.tallest_ft,
    )
    results = exposure_states(states, p.site.height_ft)
    phase = p.lots["phase"].to_numpy(dtype=str)[p.usable]
    chosen, _ = design_exposure(results, upwind.plan, resolve_state(upwind.plan, tract.tract.ground_state), phase)
    return chosen


def _changes(
    p: Prepared, s: Selection, now: Judged, then: Judged, what: str, by: float, site: SiteHazards
) -> list[dict[str, Any]]:
    """Lots that need another package of the run than they need now."""
    allowed = open_packages(s)
    before, after = now.needed(allowed), then.needed(allowed)
    assigned = s.tier_of_lot[s.tried]
    rows = []
    for lot in np.flatnonzero((before != after) & (assigned != NO_TIER)):
        usable, old, new = int(s.tried[lot]), int(assigned[lot]), int(after[lot])
        if new == old:
            continue
        change = None if new == NO_TIER else (then.cost_cents[lot, new] - now.cost_cents[lot, old]) / 100
        line = int(then.failing[lot, old])
        rows.append(
            {
                "lot_id": str(p.site.points.lot_id[usable]),
                "what": what,
                "by": by,
                "from_tier": s.package_names[old],
                "to_tier": "none" if new == NO_TIER else s.package_names[new],
                "cost_change": change,
                "detail": _detail(p, site, what, usable, s.lines[line] if line >= 0 else ""),
            }
        )
    return rows


def _detail(p: Prepared, site: SiteHazards, what: str, lot: int, line: str) -> str:
    if what == "wind":
        words = f"{p.site.speed.values[lot]:.1f} to {site.speed.values[lot]:.1f} mph"
    elif what == "kzt":
        words = f"Kzt {p.site.columns['kzt'][lot]:.3f} to {site.columns['kzt'][lot]:.3f}"
    else:
        words = f"exposure {p.site.columns['exposure'][lot] or '?'} to {site.columns['exposure'][lot] or '?'}"
    return f"{words}; {line} fails first" if line else f"{words}; a lighter package holds"


# -- prices --------------------------------------------------------------------------------------------------------


def _price_changes(p: Prepared, s: Selection) -> list[dict[str, Any]]:
    """Lots that change package when the material of one family costs more or less."""
    problem, band = s.problem, p.tract.tiers.tolerance.price
    assert problem is not None
    if not band:
        return []
    kinds = _Kinds(join(problem, s.pairs), s)
    if len(kinds.first) > MOST_KINDS:
        p.issues.add(
            "tolerance_prices",
            "note",
            "project file [tiers] tolerance.price",
            f"{len(kinds.first)} kinds of lots",
            f"at most {MOST_KINDS} for the price bands",
            "price bands left out; wind, Kzt and rough ground were moved",
        )
        return []
    base = kinds.regrouped(kinds.problem.costs_cents, kinds.tier, 4 * MOST_MOVES)
    rows: list[dict[str, Any]] = []
    material = _material_cents(p, s)
    for family in dict.fromkeys(s.families):
        lines = [n for n, own in enumerate(s.families) if own == family]
        for sign in (-1.0, 1.0):
            costs = list(problem.costs_cents)
            for n in lines:
                costs[n] = costs[n] + np.rint(sign * band * material[n]).astype(np.int64)
            rows += kinds.moved(p, s, join_costs(costs, s.pairs), base, f"price of {family}", sign * band)
    return rows


def _material_cents(p: Prepared, s: Selection) -> list[Ints]:
    """Material of every option still to be paid for: per line (houses, options)."""
    sunk = set(p.tract.tiers.in_stock)

    def paid(house: int, line: int, option: int) -> int:
        q = s.quantities[house][line][option]
        own = bool(q.pieces) and {q.pieces[0].row.item, bill_name(q.pieces[0].row)} & sunk
        return 0 if own else q.material_cents()

    return [
        np.array([[paid(h, n, o) for o in range(len(s.options[n]))] for h in range(len(s.houses))], dtype=np.int64)
        for n in range(len(s.lines))
    ]


class _Kinds:
    """Kinds of lots of every pool (same house, same passing options, same package), so that regrouping is quick."""

    def __init__(self, problem: TierProblem, s: Selection) -> None:
        self.problem = problem
        pool = problem.lot_pool if problem.lot_pool is not None else np.zeros(len(s.tried), dtype=np.int64)
        assigned = s.tier_of_lot[s.tried]
        free = (assigned >= 0) & (assigned < s.plan.n_chosen)
        self.lots = np.flatnonzero(free)
        keyed = np.column_stack([pool, problem.lot_variant, assigned, *problem.passes])[self.lots]
        _, first, self.of_lot = np.unique(keyed, axis=0, return_index=True, return_inverse=True)
        self.of_lot = self.of_lot.reshape(-1)
        self.first = self.lots[first]
        self.weight = np.bincount(self.of_lot, minlength=len(first)).astype(np.int64)
        self.pool, self.tier = pool[self.first], assigned[self.first]
        self.packages = s.plan.n_chosen

    def regrouped(self, costs: tuple[Ints, ...], start: Ints, moves: int) -> Ints:
        """Package number of every kind after single moves from a start, under these costs."""
        out = start.copy()
        for pool in np.unique(self.pool):
            mine = np.flatnonzero(self.pool == pool)
            own = np.unique(start[mine])
            rows = self.first[mine]
            classes = tc.collapse(
                self.problem.lot_variant[rows],
                [mask[rows] for mask in self.problem.passes],
                costs,
                self.problem.has_line,
                self.weight[mine],
            )
            group = np.full(classes.count, -1, dtype=np.int64)
            group[classes.of_lot] = np.searchsorted(own, start[mine])
            group, _ = regroup(classes, np.full(classes.count, BLOCKED), 0, group, len(own), moves)
            out[mine] = own[group[classes.of_lot]]
        return out

    def moved(
        self, p: Prepared, s: Selection, costs: tuple[Ints, ...], base: Ints, what: str, by: float
    ) -> list[dict[str, Any]]:
        """Rows for the lots that go to another package than without the change."""
        after = self.regrouped(costs, base, MOST_MOVES)
        changed = np.flatnonzero(after != base)
        if not len(changed):
            return []
        now = package_costs(s)
        rows = []
        for kind in changed:
            packages = self._package(costs, after, int(after[kind]))
            for at in np.flatnonzero(self.of_lot == kind):
                lot = int(self.lots[at])
                old = int(s.tier_of_lot[s.tried[lot]])
                variant = int(self.problem.lot_variant[lot])
                cost = sum(
                    int(costs[n][variant, packages[n]])
                    for n in range(len(costs))
                    if self.problem.has_line[variant, n] and packages[n] >= 0
                )
                rows.append(
                    {
                        "lot_id": self.problem.lot_ids[lot],
                        "what": what,
                        "by": by,
                        "from_tier": s.package_names[old],
                        "to_tier": s.package_names[int(after[kind])],
                        "cost_change": (cost - int(now[lot, old])) / 100,
                        "detail": "packages chosen again for their lots by single moves, not proven",
                    }
                )
        return rows

    def _package(self, costs: tuple[Ints, ...], tier: Ints, number: int) -> list[int]:
        """Options by line of the package chosen again for the kinds that are in it."""
        rows = self.first[tier == number]
        classes = tc.collapse(
            self.problem.lot_variant[rows],
            [mask[rows] for mask in self.problem.passes],
            costs,
            self.problem.has_line,
            self.weight[tier == number],
        )
        found = tc.group_packages(classes, np.zeros(classes.count, dtype=np.int64), 1)
        return [int(option) for option in found[0]]
