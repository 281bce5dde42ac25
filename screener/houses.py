"""Which house stands on which lot: plan, style and options resolved once for each distinct house of a tract."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from screener.lot_attributes import split_options
from screener.lots import SKIPPED, PlanChoices, Wish, match_plans, wishes
from screener.plans import Plan, Variant

if TYPE_CHECKING:
    import geopandas as gpd

    from hazard.issues import Issues

NO_HOUSE = -1
HEIGHT_WITHOUT_PLAN_FT = 25.0
"""Mean roof height at which a lot without a plan has its hazards shown: a two-storey house of the usual kind."""


@dataclass(frozen=True)
class Houses:
    """The distinct houses of a tract, in order of their names, and the house of each lot (-1: none).

    A house and its mirror image have the same connections with the same demands once every wind direction counts (the
    envelope procedure) or the winds on to its left and right change places (`plan_winds`), so one model serves both.
    """

    variants: tuple[Variant, ...]
    of_lot: NDArray[np.int64]

    def lots_of(self, house: int) -> NDArray[np.intp]:
        return np.flatnonzero(self.of_lot == house)

    def per_lot(self, values: list[float], without: float) -> NDArray[np.float64]:
        """A number of each house spread over the lots; ``without`` where a lot has none."""
        return np.array([*values, without])[self.of_lot]

    def mean_roof_height_ft(self, without_plan_ft: float = HEIGHT_WITHOUT_PLAN_FT) -> NDArray[np.float64]:
        return self.per_lot([v.mean_roof_height_ft for v in self.variants], without_plan_ft)


def choose_houses(
    lots: gpd.GeoDataFrame, plans: Mapping[str, Plan], has_mix: bool, issues: Issues, where: str
) -> Houses:
    """Match lots with plans (names, styles and options checked; faulty lots skipped) and resolve each house once."""
    library = {p.name: PlanChoices(tuple(p.styles), tuple(p.options)) for p in plans.values()}
    match_plans(lots, library, has_mix, issues, where)
    by_name = {p.name: p for p in plans.values()}
    place, distinct = wishes(lots)
    serves = (lots["status"] != SKIPPED).to_numpy() & lots["plan"].isin(by_name).to_numpy()
    built = {int(k): _variant(by_name, distinct[k]) for k in np.unique(place[serves])}
    used = sorted({v.key: v for v in built.values()}.items())
    number = {key: n for n, (key, _) in enumerate(used)}
    of_wish = np.array([number[built[k].key] if k in built else NO_HOUSE for k in range(len(distinct))], dtype=np.int64)
    of_lot = np.where(serves, of_wish[place] if len(distinct) else NO_HOUSE, NO_HOUSE).astype(np.int64)
    for name in sorted(set(by_name) - {v.plan.name for _, v in used}):
        issues.add("plan_unused", "note", f"plan {name}", "no lot uses it", "", "nothing done")
    return Houses(tuple(v for _, v in used), of_lot)


def _variant(by_name: Mapping[str, Plan], wish: Wish) -> Variant:
    return by_name[wish.plan].variant(wish.style, split_options(wish.options))
