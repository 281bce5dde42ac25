"""What rounding up to boxes costs, by where it is done: once for a phase, for each delivery, or for each house.

Firm lots, stock left aside, price breaks by order. Beside it the pieces at list price, bare and with waste.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from screener.kits import FIRM
from screener.order_dates import day_numbers, month_texts
from screener.price_list import MILLION
from screener.prices import cheapest_order, order_cents

if TYPE_CHECKING:
    from screener.prices import Price
    from screener.purchase_case import PurchaseCase

LEVELS: dict[str, list[str]] = {
    "tract": ["item"],
    "phase": ["item", "phase"],
    "drop": ["item", "phase", "month", "drop"],
    "house": ["item", "kit"],
}


def rounding_costs(case: PurchaseCase) -> dict[str, int]:
    """Cents of the firm lots' pieces: `pieces`, `with_waste`, and in whole boxes rounded at each level."""
    lots = case.lots_of(FIRM)
    if not len(lots):
        return {}
    lots = lots.assign(month=month_texts(day_numbers(lots["start"])))
    counts = lots.groupby(["kit", "phase", "month"], sort=True, as_index=False).size()
    rows = counts.merge(case.kit_items, on="kit", how="inner")
    houses = rows["size"].to_numpy(dtype=np.int64)
    need: NDArray[np.int64] = rows["with_waste"].to_numpy(dtype=np.int64) * houses
    price = {item: case.prices.price(item) for item in rows["item"].unique()}
    list_cents = (
        rows["item"].map({item: float(p.unit_cost_usd) * 100 for item, p in price.items()}).to_numpy(dtype=float)
    )
    out = {
        "pieces": round(float((rows["quantity"].to_numpy(dtype=float) * houses) @ list_cents)),
        "with_waste": round(float((need / MILLION) @ list_cents)),
    }
    to_break = case.settings.buy_to_break
    for level, keys in LEVELS.items():
        each = rows.assign(need=rows["with_waste"].astype(np.int64) if level == "house" else need)
        if level == "house":  # every house of a kit buys alike: one delivery of each kit, as often as it is built
            once = each.drop_duplicates(["kit", "item", "drop"])
            times = lots.groupby("kit").size()
            sums = once.groupby(keys, sort=True)["need"].sum()
            money = [_order(price[str(i)], int(n), to_break) * int(times[kit]) for (i, kit), n in _pairs(sums)]
        else:
            sums = each.groupby(keys, sort=True)["need"].sum()
            items = sums.index.get_level_values(0) if len(keys) > 1 else sums.index
            money = [_order(price[str(i)], int(n), to_break) for i, n in zip(items, sums, strict=True)]
        out[level] = sum(money)
    return out


def _pairs(sums: pd.Series[int]) -> list[tuple[tuple[str, str], int]]:
    found: dict[Any, Any] = sums.to_dict()
    return [((str(item), str(kit)), int(n)) for (item, kit), n in found.items()]


def _order(price: Price, need: int, to_break: bool) -> int:
    boxes = -(-need // (price.purchase_unit_qty * MILLION))
    return cheapest_order(boxes, price)[1] if to_break else order_cents(boxes, price)
