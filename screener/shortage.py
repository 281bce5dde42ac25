"""How likely a proposed order falls short: for each item, the chance that the need exceeds it, and by how much.

The need is that of firm lots and of lots with no plan yet, with waste; stock in hand counts as supply.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from hazard.issues import InputError, Issue
from screener.count_lists import CountRow
from screener.kits import FIRM
from screener.open_demand import OpenDemand
from screener.price_list import MILLION, millionths

if TYPE_CHECKING:
    from screener.purchase_case import PurchaseCase


def shortage(case: PurchaseCase, order: Sequence[CountRow], phase: str = "") -> list[dict[str, Any]]:
    """One row an item that is ordered or may be needed, the likeliest shortage first. `phase`: only its lots."""
    demand = OpenDemand(case)
    lots = demand.lots
    lots = lots[lots["phase"] == phase] if phase else lots
    groups = demand.groups(lots["alike"].to_numpy())
    firm = case.lots_of(FIRM)
    firm = firm[firm["phase"] == phase] if phase else firm
    counts = firm.groupby("kit").size()
    items = case.kit_items
    own = items[items["kit"].isin(counts.index)]
    taken = own["with_waste"] * own["kit"].map(counts)
    firm_need = {str(k): int(v) for k, v in taken.groupby(own["item"]).sum().items()}
    needed = {item for item, _ in demand.places(groups)} | set(firm_need)
    supply = _ordered(case, order)
    rows = []
    for item in sorted(needed | set(supply)):
        share = MILLION + millionths(case.prices.waste(item, case.project_waste))
        total = demand.distribution(groups, item)
        need = total.totals * share + firm_need.get(item, 0)
        have = (supply.get(item, 0) + case.prices.stock(item)) * MILLION
        chance = total.chance
        p50, p90 = total.quantiles((0.5, 0.9))
        rows.append(
            {
                "item": item,
                "ordered": supply.get(item, 0),
                "stock": case.prices.stock(item),
                "expected_need": float(need @ chance) / MILLION,
                "p50_need": (p50 * share + firm_need.get(item, 0)) / MILLION,
                "p90_need": (p90 * share + firm_need.get(item, 0)) / MILLION,
                "probability_short": float(np.clip(chance[need > have].sum(), 0.0, 1.0)),
                "expected_short": float(np.maximum(need - have, 0) @ chance) / MILLION,
                "in_order": item in supply,
            }
        )
    return sorted(rows, key=lambda r: (-r["probability_short"], -r["expected_short"], r["item"]))


def _ordered(case: PurchaseCase, order: Sequence[CountRow]) -> dict[str, int]:
    """Pieces by bill item; boxes are turned into pieces. InputError names items that are not on the list."""
    out: dict[str, int] = {}
    faults = []
    for row in order:
        item = bill_item_of(case, row.item)
        if item is None:
            near = suggestion(case, row.item)
            expected = f"'{near}' (the nearest)" if near else "an item of the hardware list"
            faults.append(Issue("order_item", "stop", f"order row {row.row}", f"'{row.item}'", expected, ""))
            continue
        pieces = 0.0 if math.isnan(row.quantity) else row.quantity
        if not math.isnan(row.boxes):
            if not case.prices.priced(item):
                found = f"boxes of '{row.item}', which has no price and so no box"
                faults.append(Issue("order_box", "stop", f"order row {row.row}", found, "a quantity in pieces", ""))
                continue
            pieces += row.boxes * case.prices.price(item).purchase_unit_qty
        out[item] = out.get(item, 0) + math.floor(pieces + 1e-9)
    if faults:
        raise InputError(faults)
    return out


def bill_item_of(case: PurchaseCase, name: str) -> str | None:
    """The bill's name of an item given by the bill's or the list's name, whatever its case; None where unknown."""
    folded = " ".join(name.split()).casefold()
    for row in case.prices.rows:
        if folded in (row.bill_item.casefold(), row.item.casefold()):
            return row.bill_item
    return None


def suggestion(case: PurchaseCase, name: str) -> str:
    """The known item most like a name, "" where none is close."""
    known = {n.casefold(): n for row in case.prices.rows for n in (row.item, row.bill_item)}
    close = difflib.get_close_matches(" ".join(name.split()).casefold(), sorted(known), n=1, cutoff=0.6)
    return known[close[0]] if close else ""
