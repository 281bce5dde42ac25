"""What every lot takes, item by item, in decimals: the long way round, for pages of one lot and for checks.

The bill itself is made from kits (`screener.orders`), not lot by lot; that both agree is a test.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from screener.prices import cents, decimal
from screener.quantities import HouseQuantities

if TYPE_CHECKING:
    from screener.pipeline import Prepared
    from screener.selection import Selection


def house_items(quantities: list[HouseQuantities]) -> pd.DataFrame:
    """Pieces of one house with one package, by bill item and drop: net, with waste, material cents, labour hours."""
    rows: dict[tuple[str, str], list[Decimal]] = {}
    for q in quantities:
        for p in q.pieces:
            if not p.net:
                continue
            into = rows.setdefault((p.row.bill_item or p.row.item, p.drop), [Decimal(0)] * 4)
            with_waste = q.with_waste(p)
            for k, value in enumerate(
                (
                    Decimal(p.net),
                    with_waste,
                    Decimal(cents(with_waste * p.row.unit_cost_usd)),
                    p.net * decimal(p.row.labour_min) / 60,
                )
            ):
                into[k] += value
    table = [(item, drop, *values) for (item, drop), values in sorted(rows.items())]
    return pd.DataFrame(
        table, columns=["item", "drop", "quantity", "quantity_with_waste", "material_cents", "labour_hours"]
    )


def lot_rows(p: Prepared, s: Selection) -> pd.DataFrame:
    """Lot x item x drop for every lot with a package: pieces, money, labour; `buy` is False where bought already."""
    lots = p.lots.iloc[p.usable]
    bought = lots["package"].to_numpy(dtype=str) != ""
    month = np.array([str(d)[:7] if d else "" for d in lots["start"]], dtype=object)
    phase = lots["phase"].to_numpy(dtype=object)
    blocks = []
    for h, house in enumerate(s.houses):
        for tier in np.unique(s.tier_of_lot[house.lots]):
            if tier < 0:
                continue
            package = s.plan.packages[tier]
            chosen = [s.quantities[h][n][package[line]] for n, line in enumerate(s.lines) if line in package]
            items = house_items(chosen)
            here = house.lots[s.tier_of_lot[house.lots] == tier]
            block = pd.concat([items] * len(here), ignore_index=True) if len(here) else items.iloc[:0]
            repeat = np.repeat(here, len(items))
            block["lot"], block["lot_id"] = repeat, p.site.points.lot_id[repeat]
            block["phase"], block["month"], block["buy"] = phase[repeat], month[repeat], ~bought[repeat]
            blocks.append(block)
    names = [
        "lot",
        "lot_id",
        "item",
        "phase",
        "month",
        "drop",
        "quantity",
        "quantity_with_waste",
        "material_cents",
        "labour_hours",
        "buy",
    ]
    frame = pd.concat(blocks, ignore_index=True) if blocks else pd.DataFrame(columns=names)
    return frame[names].sort_values(["lot_id", "item", "drop"], kind="stable", ignore_index=True)
