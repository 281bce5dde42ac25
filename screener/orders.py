"""Orders: what lots take, put in time order, less stock, rounded to boxes once where it is bought, priced with breaks.

One table of order lines is behind both the bill (by month of the start) and the orders (by the period in which to
order), so they agree to the piece and the cent. Pieces with waste are counted in whole millionths, money in cents.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from screener import columns
from screener.kits import FIRM
from screener.order_dates import NO_DATE, dated, day_numbers, day_texts
from screener.price_list import MILLION
from screener.prices import Price, cheapest_order, order_cents, share_off, share_out
from screener.purchase_case import DROPS

if TYPE_CHECKING:
    from screener.purchase_case import PurchaseCase

FORECAST = "forecast"
ORDER_KEYS = {
    "phase": ["item", "phase"],
    "drop": ["item", "phase", "month", "drop"],
    "house": ["item", "lot_id"],
}
_LINE = ["item", "phase", "month", "drop", "period"]


def firm_lines(case: PurchaseCase) -> pd.DataFrame:
    """What firm lots take by item, phase, month of start, delivery and order period (and lot, where that is the order
    level): net pieces, with waste, minutes, number of lots, first day of need and of order."""
    per_lot = case.settings.order_level == "house"
    lots = case.lots_of(FIRM)
    keys = ["kit", "phase", "start", *(["lot_id"] if per_lot else [])]
    lots = lots.assign(start=day_numbers(lots["start"]))
    counts = lots.groupby(keys, sort=True, as_index=False).size().rename(columns={"size": "lots"})
    rows = counts.merge(case.kit_items, on="kit", how="inner", sort=False)
    for name in ("quantity", "with_waste", "minutes"):
        rows[name] = rows[name].astype(np.int64) * rows["lots"].astype(np.int64)
    rows = dated(case, rows)
    grouped = rows.groupby([*_LINE, *(["lot_id"] if per_lot else [])], sort=True, as_index=False)
    return grouped.agg(
        quantity=("quantity", "sum"),
        with_waste=("with_waste", "sum"),
        minutes=("minutes", "sum"),
        lots=("lots", "sum"),
        needed_on=("needed_on", "min"),
        order_by=("order_by", "min"),
    ).assign(status=FIRM)


def allocate(case: PurchaseCase, lines: pd.DataFrame) -> pd.DataFrame:
    """Lines in time order with stock, boxes, boxes bought only to reach a price break, cents and what is left over.

    Stock goes to the earliest orders, firm ones first. In an order (`order_level`) each line brings the boxes that its
    pieces and all earlier ones need, so no delivery runs short; money follows boxes.
    """
    lines = lines.assign(
        delivery=lines["drop"].map({d: n for n, d in enumerate(DROPS)}).fillna(len(DROPS)).astype(np.int64),
        later=(lines["status"] == FORECAST).astype(np.int64),
    )
    order = ["item", "later", "order_by", "delivery", "phase", "month", *(["lot_id"] if "lot_id" in lines else [])]
    lines = lines.sort_values(order, kind="stable", ignore_index=True)
    lines["from_stock"] = _from_stock(case, lines)
    need = lines["with_waste"].to_numpy(dtype=np.int64) - lines["from_stock"].to_numpy(dtype=np.int64)
    keys = [*ORDER_KEYS[case.settings.order_level], "later"]
    units, extra, money, left = (np.zeros(len(lines), dtype=np.int64) for _ in range(4))
    group = np.full(len(lines), -1, dtype=np.int64)
    off = np.zeros(len(lines))
    groups: dict[Any, Any] = dict(lines.groupby(keys, sort=True).indices)
    for number, (key, index) in enumerate(groups.items()):
        price = case.prices.price(str(key[0]))
        at = np.sort(index)
        units[at], extra[at], money[at], left[at], off[at] = one_order(need[at], price, case.settings.buy_to_break)
        group[at] = number
    return lines.assign(units=units, extra=extra, cents=money, left=left, order=group, off=off)


def _from_stock(case: PurchaseCase, lines: pd.DataFrame) -> NDArray[np.int64]:
    """Millionths of a piece that each line takes from pieces in hand, earliest lines first."""
    out = np.zeros(len(lines), dtype=np.int64)
    need = lines["with_waste"].to_numpy(dtype=np.int64)
    for item, index in lines.groupby("item", sort=True).indices.items():
        stock = case.prices.stock(str(item)) * MILLION
        if stock:
            at = np.sort(index)
            out[at] = np.diff(np.minimum(np.r_[0, np.cumsum(need[at])], stock))
    return out


def one_order(
    need: NDArray[np.int64], price: Price, to_break: bool
) -> tuple[NDArray[np.int64], NDArray[np.int64], list[int], NDArray[np.int64], float]:
    """Boxes, boxes for the break, cents and leftover of an order's lines; and the share its break takes off.

    `need`: millionths of pieces, in time order. Boxes for the break come with the last line.
    """
    every = np.ones((1, len(need)), dtype=bool)
    boxes, extra, money = (values[0] for values in price_orders(need[None, :], every, price, to_break))
    left = np.cumsum(boxes) * (price.purchase_unit_qty * MILLION) - np.cumsum(need)
    return boxes, extra, money.tolist(), left, float(share_off(int(boxes.sum()), price.breaks))


def price_orders(
    need: NDArray[np.int64], there: NDArray[np.bool_], price: Price, to_break: bool
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Boxes, boxes for the break and cents of many orders of one item (orders, lines), as `one_order` of each.

    `need` (orders, lines) as there; `there`: which lines an order has. An order of the same boxes is priced once.
    """
    size = price.purchase_unit_qty * MILLION
    boxes = np.diff(-(-np.cumsum(need, axis=1) // size), axis=1, prepend=0)
    needed, of_order = np.unique(boxes.sum(axis=1), return_inverse=True)
    answers = [cheapest_order(n, price) if to_break else (n, order_cents(n, price)) for n in needed.tolist()]
    bought, money = np.array(answers, dtype=np.int64).reshape(-1, 2)[of_order].T
    rows = np.flatnonzero(there.any(axis=1))
    last = need.shape[1] - 1 - np.argmax(there[rows, ::-1], axis=1)
    extra, shares = np.zeros_like(boxes), np.zeros_like(boxes)
    extra[rows, last] = (bought - needed[of_order])[rows]
    boxes = boxes + extra
    shares[rows, last] = money[rows]
    for row in np.flatnonzero(there.sum(axis=1) > 1).tolist():
        shares[row, there[row]] = share_out(int(money[row]), boxes[row, there[row]].tolist())
    return boxes, extra, shares


def bill_of_lines(case: PurchaseCase, lines: pd.DataFrame) -> pd.DataFrame:
    """The table `bill_of_materials` of allocated firm lines."""
    keys = ["item", "phase", "month", "drop"]
    lines = lines[lines["status"] == FIRM]
    if not len(lines):
        return pd.DataFrame(columns=columns.names("bill_of_materials"))
    sums = ["quantity", "with_waste", "units", "cents", "minutes", "from_stock", "extra"]
    bill = lines.groupby(keys, sort=True, as_index=False)[sums].sum()
    return _shown(case, bill).reindex(columns=columns.names("bill_of_materials"))


def order_table(case: PurchaseCase, lines: pd.DataFrame) -> pd.DataFrame:
    """The table `orders` of allocated lines, firm and forecast."""
    if not len(lines):
        return pd.DataFrame(columns=columns.names("orders"))
    keys = ["status", "period", "item", "phase", "drop"]
    rows = lines.groupby(keys, sort=True, as_index=False).agg(
        quantity=("quantity", "sum"),
        with_waste=("with_waste", "sum"),
        units=("units", "sum"),
        cents=("cents", "sum"),
        minutes=("minutes", "sum"),
        from_stock=("from_stock", "sum"),
        extra=("extra", "sum"),
        lots=("lots", "sum"),
        needed_on=("needed_on", "min"),
        order_by=("order_by", "min"),
        off=("off", "max"),
        sized_at=("sized_at", "first"),
    )
    last = lines.drop_duplicates([*keys, "order"], keep="last").groupby(keys, sort=True)["left"].sum()
    rows["left"] = last.to_numpy()
    out = _shown(case, rows)
    out["order_period"] = rows["period"]
    for name in ("order_by", "needed_on"):
        out[name] = day_texts(rows[name].to_numpy(dtype=np.int64))
    out["late"] = _late(case, rows["order_by"].to_numpy(dtype=np.int64), rows["units"].to_numpy(dtype=np.int64))
    out["leftover_pieces"] = rows["left"] / MILLION
    prices = [float(case.prices.price(item).unit_cost_usd) for item in rows["item"]]
    out["unit_price"] = np.array(prices) * (1.0 - rows["off"].to_numpy(dtype=float))
    return out.reindex(columns=columns.names("orders"))


def _shown(case: PurchaseCase, rows: pd.DataFrame) -> pd.DataFrame:
    """Whole-number sums as the tables show them."""
    unit = {item: case.prices.purchase_unit(item) for item in rows["item"].unique()}
    return rows.assign(
        quantity=rows["quantity"].astype(float),
        quantity_with_waste=rows["with_waste"] / MILLION,
        purchase_units=rows["units"].astype(float),
        cost=rows["cents"] / 100,
        labour_hours=rows["minutes"] / (60 * MILLION),
        purchase_unit=rows["item"].map(unit),
        from_stock=rows["from_stock"] / MILLION,
        units_for_break=rows["extra"].astype(float),
    )


def _late(case: PurchaseCase, order_by: NDArray[np.int64], units: NDArray[np.int64]) -> NDArray[np.object_]:
    """Whether the day to order by has passed at the project's date; None without either date.

    A line that stock covers has nothing to order, so it is never late.
    """
    out = np.full(len(order_by), None, dtype=object)
    if case.as_of is not None:
        today = int(np.datetime64(case.as_of, "D").astype(np.int64))
        known = order_by < NO_DATE
        out[known] = (order_by[known] < today) & (units[known] > 0)
    return out
