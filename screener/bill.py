"""The bill of materials: what every lot takes, added up by item, phase, month and drop, and rounded where it is bought.

Pieces are whole numbers and money is in whole cents, so the bill equals the sum over its lots exactly. Rounding up to
boxes happens once, at the order level of the project: a phase, a drop (one phase, month and delivery), or a house.
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from screener import columns
from screener.hardware import Hardware, HardwareRow
from screener.prices import cents, decimal, order_cents, share_out
from screener.quantities import HouseQuantities

if TYPE_CHECKING:
    from screener.config import Tract
    from screener.pipeline import Prepared
    from screener.selection import Selection

KEYS = ("item", "phase", "month", "drop")
ORDER_KEYS = {"phase": ["item", "phase"], "drop": list(KEYS), "house": ["item", "lot_id"]}
DELIVERIES = ("foundation", "walls", "floor", "roof")
"""Deliveries of a house in the order they are needed."""

Strings = NDArray[np.object_]


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


def lot_money(pieces: pd.DataFrame, n: int, labour_usd_per_h: float) -> dict[str, NDArray[np.float64]]:
    """Material, labour hours and total of each usable lot, dollars; 0 for lots without a package."""
    material, hours = [Decimal(0)] * n, [Decimal(0)] * n
    for lot, money, time in zip(pieces["lot"], pieces["material_cents"], pieces["labour_hours"], strict=True):
        material[lot] += money
        hours[lot] += time
    labour = [cents(h * decimal(labour_usd_per_h)) for h in hours]
    return {
        "hardware_cost": np.array([float(m) / 100 for m in material]),
        "labour_hours": np.array([float(h) for h in hours]),
        "total_cost": np.array([(float(m) + c) / 100 for m, c in zip(material, labour, strict=True)]),
    }


def bill_of_materials(pieces: pd.DataFrame, tract: Tract, hardware: Hardware) -> pd.DataFrame:
    """Item x phase x month x drop of what is still to buy: pieces, boxes and cost at the order level, labour hours."""
    level = tract.purchase.order_level
    to_buy = pieces[pieces["buy"].astype(bool)]
    if not len(to_buy):
        return pd.DataFrame(columns=columns.names("bill_of_materials"))
    sums = ["quantity", "quantity_with_waste", "labour_hours"]
    detail = [*KEYS, "lot_id"] if level == "house" else list(KEYS)
    rows = to_buy.groupby(detail, sort=True, as_index=False)[sums].sum()
    rows = rows.assign(delivery=rows["drop"].map(DELIVERIES.index)).sort_values(
        ["item", "month", "delivery", *detail], kind="stable", ignore_index=True
    )
    rows["to_buy"] = pd.Series(_less_stock(rows, hardware), index=rows.index, dtype=object)
    rows["purchase_units"], rows["cents"] = _orders(rows, ORDER_KEYS[level], hardware)
    bill = rows.groupby(list(KEYS), sort=True, as_index=False)[[*sums, "purchase_units", "cents"]].sum()
    bill["cost"] = bill["cents"].astype(float) / 100
    for name in (*sums, "purchase_units"):
        bill[name] = bill[name].astype(float)
    return bill.reindex(columns=columns.names("bill_of_materials"))


def _less_stock(rows: pd.DataFrame, hardware: Hardware) -> list[Decimal]:
    """What is left to buy of each row when pieces in hand go to the earliest needs first."""
    stock: dict[str, Decimal] = {}
    for row in hardware.rows:
        name = row.bill_item or row.item
        stock[name] = stock.get(name, Decimal(0)) + row.stock
    left = []
    for item, need in zip(rows["item"], rows["quantity_with_waste"], strict=True):
        used = min(stock.get(item, Decimal(0)), need)
        stock[item] = stock.get(item, Decimal(0)) - used
        left.append(need - used)
    return left


def _orders(rows: pd.DataFrame, keys: list[str], hardware: Hardware) -> tuple[list[int], list[int]]:
    """Boxes and cents of each row; an order is rounded up once.

    Along its months and deliveries each row brings the boxes that its pieces and all earlier ones need, so no delivery
    runs short, and money follows boxes.
    """
    units, money = [0] * len(rows), [0] * len(rows)
    prices = _prices(hardware)
    for key, index in rows.groupby(keys, sort=True).indices.items():
        price = prices[str(key[0] if isinstance(key, tuple) else key)].price
        assert price is not None
        needed, have = Decimal(0), 0
        for i in sorted(index):
            needed += rows["to_buy"].iloc[i]
            units[i] = math.ceil(needed / price.purchase_unit_qty) - have
            have += units[i]
        boxes = [units[i] for i in sorted(index)]
        for i, c in zip(sorted(index), share_out(order_cents(have, price), boxes), strict=True):
            money[i] = c
    return units, money


def _prices(hardware: Hardware) -> dict[str, HardwareRow]:
    """The row that prices each bill item: the first of the list that carries the name."""
    out: dict[str, HardwareRow] = {}
    for row in hardware.rows:
        if row.price is not None:
            out.setdefault(row.bill_item or row.item, row)
    return out
