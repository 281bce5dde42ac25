"""Kits: what one house takes with one package. Kit per house, buy per phase.

Two tables say everything a purchase needs to know of the houses: `kits` (the pieces of each kit, by package line) and
`lot_kits` (which kit a lot takes; for a lot without a plan, the kit it would take with each plan of the library).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from screener.pipeline import Prepared
    from screener.quantities import HouseQuantities
    from screener.selection import Selection
    from screener.unsold import OpenLots

KITS = ("kit", "plan", "house", "package", "schedule", "item", "bill_item", "drop", "quantity")
LOT_KITS = ("lot_id", "state", "plan", "share", "kit", "why")

BOUGHT, FIRM, OPEN = "bought", "firm", "open"
"""A lot whose hardware is bought already; one with plan and package; one with no plan yet."""

NO_FIT, NO_HARDWARE, NO_HAZARD, BEYOND_PACKAGES = "no_fit", "no_hardware", "no_hazard", "beyond_packages"
"""Why an open lot has no kit with a plan: it does not fit; nothing listed holds; hazards unknown or out of scope. Or
why its kit is of no chosen package: none of them holds, so a person must add one."""

OWN_HARDWARE = "own hardware"
"""Stands for a package where a lot is counted with the cheapest hardware that holds on it alone."""

KitRow = tuple[str, str, str, str, str, str, str, str, int]


def kit_name(house: str, package: str) -> str:
    return f"{house} | {package}"


def kit_rows(house: str, plan: str, package: str, lines: Iterable[tuple[str, HouseQuantities]]) -> list[KitRow]:
    """Rows of one kit: one for each package line and item that takes pieces."""
    name = kit_name(house, package)
    return [
        (name, plan, house, package, line, p.row.item, p.row.bill_item or p.row.item, p.drop, p.net)
        for line, q in lines
        for p in q.pieces
        if p.net
    ]


def chosen_quantities(
    s: Selection, tier: int, quantities: Sequence[Sequence[HouseQuantities]]
) -> list[tuple[str, HouseQuantities]]:
    """What a package means for one house: `quantities` by line and option."""
    package = s.plan.packages[tier]
    return [(line, quantities[n][package[line]]) for n, line in enumerate(s.lines) if line in package]


def fitted_shares(table: pd.DataFrame) -> pd.DataFrame:
    """`lot_kits` rows of open lots with the mix conditioned on what fits: a lot's shares add up to 1 again.

    A lot that no plan of the mix fits has no shares (NaN would hide it: 0 throughout).
    """
    share = table["share"].to_numpy(dtype=float).copy()
    share[(table["why"] == NO_FIT).to_numpy()] = 0.0
    codes, _ = pd.factorize(table["lot_id"])
    total = np.bincount(codes, share)[codes] if len(table) else share
    return table.assign(share=np.divide(share, total, out=np.zeros_like(share), where=total > 0))


def kit_tables(p: Prepared, s: Selection, open_lots: OpenLots) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The tables `kits` and `lot_kits` of a run."""
    rows, lots = [], []
    bought = p.lots["package"].to_numpy(dtype=str)[p.usable] != ""
    ids = p.site.points.lot_id
    for h, house in enumerate(s.houses):
        variant = house.model.variant
        tiers = s.tier_of_lot[house.lots]
        for tier in np.unique(tiers[tiers >= 0]):
            package = s.package_names[tier]
            rows += kit_rows(variant.key, variant.plan.name, package, chosen_quantities(s, int(tier), s.quantities[h]))
            here = house.lots[tiers == tier]
            lots.append(
                pd.DataFrame(
                    {
                        "lot_id": ids[here],
                        "state": np.where(bought[here], BOUGHT, FIRM),
                        "plan": variant.plan.name,
                        "share": 1.0,
                        "kit": kit_name(variant.key, package),
                        "why": "",
                    }
                )
            )
    kits = pd.DataFrame([*rows, *open_lots.kit_rows], columns=list(KITS)).drop_duplicates()
    kits = kits.sort_values(["kit", "schedule", "item", "drop"], kind="stable", ignore_index=True)
    frames = [f for f in (*lots, open_lots.lot_kits) if len(f)]
    table = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(LOT_KITS))
    return kits, table.sort_values(["lot_id", "plan"], kind="stable", ignore_index=True)
