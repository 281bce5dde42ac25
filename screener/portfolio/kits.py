"""What options of package lines take in one house, in whole numbers: money, minutes, and pieces for the bill.

A kit is a house with a package. Its money is the sum over package lines, each row of pieces rounded to cents as in a
tract's kits, so a table by line and option says it for every package.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from screener.config import Tract
from screener.hardware import Hardware
from screener.order_dates import drop_days, lead_days
from screener.price_list import of_hardware
from screener.prices import cents, decimal
from screener.purchase_case import PurchaseCase
from screener.quantities import HouseQuantities

Ints = NDArray[np.int64]
NO_ITEM_DAYS = np.iinfo(np.int64).max // 4


@dataclass(frozen=True)
class ItemRow:
    """Pieces that an option takes in a house: bill item, delivery, net, with waste and minutes in millionths, cents."""

    item: str
    drop: str
    net: int
    with_waste: int
    minutes: int
    cents: int


@dataclass(frozen=True)
class LineWorth:
    """Per line: cents and minutes (millionths) of every option, days from start to first order, and its pieces."""

    cents: tuple[Ints, ...]
    minutes: tuple[Ints, ...]
    order_day: tuple[Ints, ...]
    rows: tuple[tuple[tuple[ItemRow, ...], ...], ...]

    def of_packages(self, options: Ints) -> tuple[Ints, Ints, Ints]:
        """Cents, minutes and day of the first order of each package (packages, lines of options)."""
        money, minutes = np.zeros(len(options), np.int64), np.zeros(len(options), np.int64)
        day = np.full(len(options), NO_ITEM_DAYS, np.int64)
        for line, own in enumerate(self.cents):
            chosen = options[:, line]
            there = chosen >= 0
            money[there] += own[chosen[there]]
            minutes[there] += self.minutes[line][chosen[there]]
            day[there] = np.minimum(day[there], self.order_day[line][chosen[there]])
        return money, minutes, np.where(day == NO_ITEM_DAYS, 0, day)


def price_case(base: Tract, hardware: Hardware) -> PurchaseCase:
    """Prices and purchase settings of a portfolio, without lots."""
    nothing = pd.DataFrame()
    return PurchaseCase(nothing, nothing, nothing, of_hardware(hardware), base.purchase, base.tract.as_of)


def line_worth(case: PurchaseCase, quantities: Sequence[Sequence[HouseQuantities]]) -> LineWorth:
    """Money, minutes and pieces of every option of one house."""
    money, minutes, days, rows = [], [], [], []
    for options in quantities:
        taken = [_rows(case, q) for q in options]
        money.append(np.array([sum(r.cents for r in own) for own in taken], dtype=np.int64))
        minutes.append(np.array([sum(r.minutes for r in own) for own in taken], dtype=np.int64))
        days.append(np.array([_first_order(case, own) for own in taken], dtype=np.int64))
        rows.append(tuple(tuple(own) for own in taken))
    return LineWorth(tuple(money), tuple(minutes), tuple(days), tuple(rows))


def _rows(case: PurchaseCase, q: HouseQuantities) -> list[ItemRow]:
    out = []
    for p in q.pieces:
        if p.net:
            with_waste, minutes, money = case.worth(p.row.item, p.net)
            out.append(ItemRow(p.row.bill_item or p.row.item, p.drop, p.net, with_waste, minutes, money))
    return out


def _first_order(case: PurchaseCase, rows: list[ItemRow]) -> int:
    """Days from the start to the earliest order of these pieces; far in the future where there are none."""
    if not rows:
        return int(NO_ITEM_DAYS)
    items = [r.item for r in rows]
    days = drop_days(case, [r.drop for r in rows]) - lead_days(case, items) - case.settings.order_margin_days
    return int(days.min())


def labour_cents(minutes: Ints, usd_per_h: float) -> Ints:
    """Labour of kits in whole cents, from minutes in millionths."""
    rate = decimal(usd_per_h)
    return np.array([cents(decimal(int(m)) / 60_000_000 * rate) for m in minutes], dtype=np.int64)
