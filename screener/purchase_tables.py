"""Every purchase table of a case: what a run writes, and what a change in mix or prices is priced with again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from screener.forecast import forecast_facts, forecast_lines, forecast_table
from screener.kits import BOUGHT, FIRM
from screener.open_demand import OpenDemand
from screener.orders import allocate, bill_of_lines, firm_lines, order_table
from screener.prices import cents, decimal

if TYPE_CHECKING:
    from screener.purchase_case import PurchaseCase


@dataclass(frozen=True)
class Purchase:
    """Bill, orders and forecast of a case, with the facts told beside them."""

    bill: pd.DataFrame
    orders: pd.DataFrame
    forecast: pd.DataFrame
    facts: dict[str, Any]


def purchase_of(case: PurchaseCase) -> Purchase:
    """Bill, orders and forecast."""
    firm = firm_lines(case)
    demand = OpenDemand(case)
    lines = pd.concat([firm.assign(sized_at=""), forecast_lines(case, demand)], ignore_index=True)
    if "lot_id" not in firm and "lot_id" in lines:
        lines = lines.drop(columns="lot_id")
    lines = allocate(case, lines) if len(lines) else lines
    facts = forecast_facts(case, demand)
    return Purchase(bill_of_lines(case, lines), order_table(case, lines), forecast_table(case, demand, firm), facts)


def lot_money(case: PurchaseCase) -> pd.DataFrame:
    """Material, labour hours and total of each lot with a package, dollars, by lot_id; list prices, before boxes."""
    by_kit = case.kit_items.groupby("kit")[["cents", "minutes"]].sum()
    rows = case.lot_kits[case.lot_kits["state"].isin([FIRM, BOUGHT])]
    money = by_kit["cents"].reindex(rows["kit"]).fillna(0).to_numpy(dtype=np.int64)
    minutes = by_kit["minutes"].reindex(rows["kit"]).fillna(0).to_numpy(dtype=np.int64)
    rate = decimal(case.settings.labour_usd_per_h)
    labour = {int(m): cents(decimal(int(m)) / 60_000_000 * rate) for m in np.unique(minutes)}
    return pd.DataFrame(
        {
            "hardware_cost": money / 100,
            "labour_hours": minutes / 60_000_000,
            "total_cost": (money + np.array([labour[int(m)] for m in minutes], dtype=np.int64)) / 100,
        },
        index=pd.Index(rows["lot_id"], name="lot_id"),
    )
