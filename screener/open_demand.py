"""What lots without a plan will take, item by item: the distribution over the plans they may get.

Lots are independent given the mix: exact convolution (`sums_of_lots`). Where the project says how sure the mix is, all
lots share one uncertain mix and are no longer independent: simulation with a fixed seed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from screener.kits import OPEN
from screener.order_dates import day_numbers
from screener.sums_of_lots import (
    MOST_SUPPORT,
    Distribution,
    LotClass,
    mean_of,
    simulated_totals,
    support_steps,
    total_of,
    uncertain_shares,
)

if TYPE_CHECKING:
    from screener.purchase_case import PurchaseCase

DRAWS, SEED = 5_000, 20260101
SHARES = (0.1, 0.5, 0.9)
Ints = NDArray[np.int64]
Place = tuple[str, str]
"""An item and its delivery."""


@dataclass(frozen=True)
class OpenGroup:
    """Open lots alike: same chances, same kits. `kits[k]` is "" where the lot would take nothing with plan k."""

    lots: int
    share: tuple[float, ...]
    kits: tuple[str, ...]


@dataclass(frozen=True)
class Quantity:
    """Pieces of one item that some open lots take, net of waste."""

    expected: float
    p10: int
    p50: int
    p90: int
    method: str
    driver: str


class OpenDemand:
    """Open lots of a case: groups of lots alike, and the distribution of what any set of them takes."""

    def __init__(self, case: PurchaseCase) -> None:
        self.case = case
        self.table = case.lots_of(OPEN)
        self.plans = sorted({str(p) for p in self.table["plan"]})
        self._distributions: dict[tuple[LotClass, ...], tuple[int, int, int]] = {}
        items = case.kit_items
        self.taken: dict[Place, dict[str, int]] = {}
        for kit, item, drop, n in zip(items["kit"], items["item"], items["drop"], items["quantity"], strict=True):
            self.taken.setdefault((str(item), str(drop)), {})[str(kit)] = int(n)

    @cached_property
    def lots(self) -> pd.DataFrame:
        """One row an open lot: lot_id, phase, start (days), and `alike`: the number of its kind in `kinds`."""
        return self._lots_and_kinds[0]

    @cached_property
    def kinds(self) -> tuple[OpenGroup, ...]:
        """One lot of each kind, in a fixed order."""
        return self._lots_and_kinds[1]

    @cached_property
    def _lots_and_kinds(self) -> tuple[pd.DataFrame, tuple[OpenGroup, ...]]:
        if not len(self.table):
            return pd.DataFrame({"lot_id": [], "phase": [], "start": [], "alike": []}), ()
        share = self.table.pivot(index="lot_id", columns="plan", values="share")[self.plans]
        kits = self.table.pivot(index="lot_id", columns="plan", values="kit")[self.plans]
        first = self.table.drop_duplicates("lot_id").set_index("lot_id").loc[kits.index]
        kind = [
            (tuple(s), tuple(k))
            for s, k in zip(share.to_numpy(dtype=float).tolist(), kits.to_numpy(dtype=object).tolist(), strict=True)
        ]
        order = {key: n for n, key in enumerate(sorted(set(kind)))}
        lots = pd.DataFrame(
            {
                "lot_id": kits.index,
                "phase": first["phase"].to_numpy(),
                "start": day_numbers(first["start"]),
                "alike": [order[key] for key in kind],
            }
        )
        return lots, tuple(OpenGroup(1, share, kits) for share, kits in order)

    @property
    def independent(self) -> bool:
        return self.case.settings.mix_certainty is None

    def groups(self, alike: Sequence[int] | Ints) -> tuple[OpenGroup, ...]:
        """Groups of lots by the numbers of their kinds. Lots that no plan of the mix fits take nothing: left out."""
        numbers, counts = np.unique(np.asarray(alike, dtype=np.int64), return_counts=True)
        kinds = ((self.kinds[k], int(n)) for k, n in zip(numbers, counts, strict=True))
        return tuple(OpenGroup(n, kind.share, kind.kits) for kind, n in kinds if sum(kind.share) > 0)

    def classes(self, groups: Iterable[OpenGroup], taken: Mapping[str, int]) -> tuple[LotClass, ...]:
        """The same as classes of lots for one item, `taken` by kit; groups that differ in other items only are joined.

        Chances of equal amounts are added in the order of the plans, so equal lots give equal classes.
        """
        joined: dict[tuple[tuple[int, ...], tuple[float, ...]], int] = {}
        for g in groups:
            chance: dict[int, float] = {}
            for kit, share in zip(g.kits, g.share, strict=True):
                if share > 0:
                    n = taken.get(kit, 0)
                    chance[n] = chance.get(n, 0.0) + share
            amounts = sorted(chance)
            key = (tuple(amounts), tuple([chance[n] for n in amounts]))
            joined[key] = joined.get(key, 0) + g.lots
        return tuple(LotClass(n, *key) for key, n in sorted(joined.items()))

    def places(self, groups: Iterable[OpenGroup]) -> list[Place]:
        """Items and deliveries that some of the lots may take, in order."""
        kits = {k for g in groups for k, share in zip(g.kits, g.share, strict=True) if k and share > 0}
        return sorted(place for place, taken in self.taken.items() if not kits.isdisjoint(taken))

    def quantities(
        self, groups: tuple[OpenGroup, ...], only: set[Place] | None = None, drivers: bool = True
    ) -> dict[Place, Quantity]:
        """Pieces of every item (of `only` these) that the groups may take; `drivers`: and why uncertain."""
        wanted = [place for place in self.places(groups) if only is None or place in only]
        if not wanted:
            return {}
        draws = {} if self.independent else self._simulated(groups, [self.taken[place] for place in wanted])
        out = {}
        for k, place in enumerate(wanted):
            classes = self.classes(groups, self.taken[place])
            driver = self._driver(groups, self.taken[place]) if drivers else ""
            expected = mean_of(classes)
            if not self.independent:
                out[place] = _of_draws(draws[k], expected, driver + _MIX_UNSURE)
            elif support_steps(classes)[2] > MOST_SUPPORT:
                out[place] = _of_draws(self._simulated(groups, [self.taken[place]])[0], expected, driver)
            else:
                out[place] = Quantity(expected, *self._exact(classes), "exact", driver)
        return out

    def distribution(self, groups: tuple[OpenGroup, ...], item: str) -> Distribution:
        """Distribution of the pieces of one item over all its deliveries."""
        taken: dict[str, int] = {}
        for (name, _), by_kit in self.taken.items():
            if name == item:
                for kit, n in by_kit.items():
                    taken[kit] = taken.get(kit, 0) + n
        classes = self.classes(groups, taken)
        if self.independent and support_steps(classes)[2] <= MOST_SUPPORT:
            return total_of(classes)
        values, counts = np.unique(self._simulated(groups, [taken])[0], return_counts=True)
        chance = np.zeros(int(values[-1] - values[0]) + 1)
        chance[values - values[0]] = counts / counts.sum()
        return Distribution(int(values[0]), 1, chance)

    def _exact(self, classes: tuple[LotClass, ...]) -> tuple[int, int, int]:
        found = self._distributions.get(classes)
        if found is None:
            p10, p50, p90 = total_of(classes).quantiles(SHARES)
            found = self._distributions[classes] = (p10, p50, p90)
        return found

    def _simulated(self, groups: tuple[OpenGroup, ...], taken: Sequence[Mapping[str, int]]) -> dict[int, Ints]:
        """Draws of the totals of items, the same draws of the mix for every set of lots."""
        certainty = self.case.settings.mix_certainty
        folded = {name.casefold(): s for name, s in self.case.settings.plan_mix.items()}
        mix = np.array([folded.get(p.casefold(), 0.0) for p in self.plans])
        drawn = uncertain_shares(mix / mix.sum(), certainty, DRAWS, SEED) if certainty else None
        shares, pieces = [], []
        for g in groups:
            own = np.array(g.share)
            if drawn is not None:  # the drawn mix, conditioned on what fits this lot
                there = np.where(own > 0, drawn, 0.0)
                total = there.sum(axis=1, keepdims=True)
                own = np.where(total > 0, there / np.where(total > 0, total, 1.0), own)
            else:
                own = np.broadcast_to(own / own.sum(), (DRAWS, len(own)))
            shares.append(own)
            pieces.append(np.array([[by_kit.get(kit, 0) for by_kit in taken] for kit in g.kits], dtype=np.int64))
        totals = simulated_totals([g.lots for g in groups], shares, pieces, SEED + 1)
        return {k: totals[:, k] for k in range(len(taken))}

    def _driver(self, groups: tuple[OpenGroup, ...], taken: Mapping[str, int]) -> str:
        """What makes the amount uncertain, in words: from the amounts that the plans take."""
        amounts: dict[str, set[int]] = {}
        for g in groups:
            for plan, kit, share in zip(self.plans, g.kits, g.share, strict=True):
                if share > 0:
                    amounts.setdefault(plan, set()).add(taken.get(kit, 0))
        most = {plan: max(found) for plan, found in amounts.items()}
        having = [plan for plan in most if most[plan] > 0]
        if len(having) < len(most):
            return f"only some plans take it: {', '.join(having)}"
        if len({n for found in amounts.values() for n in found}) == 1:
            return "nothing: every plan takes the same"
        low, high = min(most, key=lambda p: (most[p], p)), max(most, key=lambda p: (most[p], p))
        if most[low] == most[high]:
            return "which package the lot needs"
        return f"which plan: {most[low]:,} ({low}) to {most[high]:,} ({high}) a house"


_MIX_UNSURE = "; and the mix itself is uncertain"


def _of_draws(draws: Ints, expected: float, driver: str) -> Quantity:
    """Quantiles of draws as for exact totals: the least drawn total that is enough in that share of draws."""
    ordered = np.sort(draws)
    p10, p50, p90 = (int(ordered[math.ceil(s * len(ordered)) - 1]) for s in SHARES)
    return Quantity(expected, p10, p50, p90, "simulated", driver)
