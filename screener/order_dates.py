"""When hardware is needed and by when it must be ordered. Calendar days, counted from foundation release: the start.

needed on = start + the delivery's day; order by = needed on - the item's lead time - the project's margin. A lot's
package is frozen at foundation release, since what is cast into the concrete can't be changed later.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

if TYPE_CHECKING:
    from screener.purchase_case import PurchaseCase

NO_DATE = np.iinfo(np.int64).max // 2
"""Stands for the day of a lot without a start date: it sorts last."""

Ints = NDArray[np.int64]


def day_numbers(texts: Any) -> Ints:
    """Days since 1970-01-01 of dates as YYYY-MM-DD; NO_DATE for blanks."""
    values = np.asarray(texts, dtype=object)
    blank = np.array([not isinstance(v, str) or not v for v in values], dtype=bool)
    days = np.where(blank, "1970-01-01", values).astype("datetime64[D]").astype(np.int64)
    return np.where(blank, NO_DATE, days)


def day_texts(days: Ints) -> NDArray[np.object_]:
    """Dates as YYYY-MM-DD of days since 1970-01-01; blank for NO_DATE."""
    known = days < NO_DATE
    texts = np.datetime_as_string(np.where(known, days, 0).astype("datetime64[D]"), unit="D")
    return np.where(known, texts.astype(object), "")


def month_texts(days: Ints) -> NDArray[np.object_]:
    """YYYY-MM of days, blank for NO_DATE."""
    return np.array([text[:7] for text in day_texts(days)], dtype=object)


def period_texts(days: Ints, period: str) -> NDArray[np.object_]:
    """Names of the months (2026-11) or ISO weeks (2026-W45) of days; blank for NO_DATE."""
    if period == "month":
        return month_texts(days)
    if period != "week":
        raise ValueError(f"period {period!r}; expected week or month")
    known = days < NO_DATE
    weeks = pd.DatetimeIndex(np.where(known, days, 0).astype("datetime64[D]").astype("datetime64[s]")).isocalendar()
    names = [f"{y}-W{w:02d}" for y, w in zip(weeks["year"], weeks["week"], strict=True)]
    return np.where(known, np.array(names, dtype=object), "")


def drop_days(case: PurchaseCase, drops: Any) -> Ints:
    """Days from release to each delivery's need."""
    days = case.settings.drop_day.model_dump()
    return np.array([days.get(str(d), 0) for d in drops], dtype=np.int64)


def lead_days(case: PurchaseCase, items: Any) -> Ints:
    """Lead of each bill item, the project's where the list gives none."""
    known: dict[str, int] = {}
    for item in items:
        if item not in known:
            known[item] = case.prices.lead_days(item, case.settings.lead_time_days)
    return np.array([known[item] for item in items], dtype=np.int64)


def dated(case: PurchaseCase, rows: pd.DataFrame) -> pd.DataFrame:
    """Rows with item, drop and start (days) get needed_on, order_by (days), month and period."""
    start = rows["start"].to_numpy(dtype=np.int64)
    known = start < NO_DATE
    needed = np.where(known, start + drop_days(case, rows["drop"]), NO_DATE)
    before = lead_days(case, rows["item"]) + case.settings.order_margin_days
    order_by = np.where(known, needed - before, NO_DATE)
    # few distinct days among many rows: the texts are made once a day
    days, place = np.unique(order_by, return_inverse=True)
    starts, of_start = np.unique(start, return_inverse=True)
    return rows.assign(
        needed_on=needed,
        order_by=order_by,
        month=month_texts(starts)[of_start],
        period=period_texts(days, case.settings.order_period)[place],
    )


def lot_dates(case: PurchaseCase) -> pd.DataFrame:
    """lot_id, freeze_date (foundation release) and first_order_by (the earliest order of a firm lot's kit), texts."""
    lots = case.lots.assign(freeze_date=case.lots["start"])
    firm = case.lots_of("firm")
    if not len(firm):
        return lots.assign(first_order_by="")[["lot_id", "freeze_date", "first_order_by"]]
    items = case.kit_items[["kit", "item", "drop"]].reset_index(drop=True)
    items = items.assign(
        offset=drop_days(case, items["drop"]) - lead_days(case, items["item"]) - case.settings.order_margin_days
    )
    first = firm["kit"].map(items.groupby("kit")["offset"].min())
    start = day_numbers(firm["start"])
    day = np.where(start < NO_DATE, start + first.fillna(0).to_numpy(dtype=np.int64), NO_DATE)
    by_lot = pd.Series(day_texts(day), index=firm["lot_id"])
    return lots.assign(first_order_by=lots["lot_id"].map(by_lot).fillna(""))[
        ["lot_id", "freeze_date", "first_order_by"]
    ]
