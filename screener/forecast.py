"""The forecast as tables: firm and undecided lots by item, and the order lines that undecided lots would make."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from screener import columns
from screener.kits import BEYOND_PACKAGES, FIRM, NO_FIT, NO_HARDWARE, NO_HAZARD, OPEN
from screener.open_demand import DRAWS, SEED, OpenDemand, Place, Quantity
from screener.order_dates import dated, month_texts
from screener.orders import FORECAST
from screener.price_list import MILLION, millionths

if TYPE_CHECKING:
    from screener.purchase_case import PurchaseCase


def forecast_table(case: PurchaseCase, demand: OpenDemand, firm: pd.DataFrame) -> pd.DataFrame:
    """The table `forecast`: firm and open lots by item and delivery, for the tract, each phase, and phase and month.

    `firm`: firm order lines. Percentiles of parts do not add up to that of the whole: each level is worked by itself.
    """
    lots = demand.lots
    if not len(lots):
        return pd.DataFrame(columns=columns.names("forecast"))
    lots = lots.assign(month=month_texts(lots["start"].to_numpy(dtype=np.int64)))
    alike = lots["alike"].to_numpy()
    levels: list[tuple[str, list[str]]] = [("tract", []), ("phase", ["phase"]), ("month", ["phase", "month"])]
    frames = []
    for level, keys in levels:
        own: dict[Any, int] = {}
        if len(firm):
            own = firm.groupby([*keys, "item", "drop"], sort=True)["quantity"].sum().to_dict()
        parts: dict[Any, Any] = lots.groupby(keys, sort=True).indices if keys else {(): np.arange(len(lots))}
        rows = []
        for key, at in parts.items():
            place = key if isinstance(key, tuple) else (key,)
            found = demand.quantities(demand.groups(alike[at]))
            rows += [_row(case, level, place, *what, own.get((*place, *what), 0), q) for what, q in found.items()]
        frames.append(pd.DataFrame(rows))
    return pd.concat(frames, ignore_index=True).reindex(columns=columns.names("forecast"))


def _row(
    case: PurchaseCase, level: str, place: tuple[Any, ...], item: str, drop: str, firm: int, q: Quantity
) -> dict[str, Any]:
    return {
        "level": level,
        "item": item,
        "phase": place[0] if place else "",
        "month": place[1] if len(place) > 1 else "",
        "drop": drop,
        "firm": firm,
        "expected": firm + q.expected,
        "p10": firm + q.p10,
        "p50": firm + q.p50,
        "p90": firm + q.p90,
        "open_expected": q.expected,
        "open_p90": q.p90,
        "p90_units": boxes_of(case, item, firm + q.p90),
        "purchase_unit": case.prices.purchase_unit(item),
        "method": q.method,
        "driver": q.driver,
    }


def boxes_of(case: PurchaseCase, item: str, pieces: int) -> int:
    """Boxes that hold so many pieces and their waste."""
    with_waste = pieces * (MILLION + millionths(case.prices.waste(item, case.project_waste)))
    return -(-with_waste // (MILLION * case.prices.price(item).purchase_unit_qty))


def forecast_lines(case: PurchaseCase, demand: OpenDemand) -> pd.DataFrame:
    """Order lines of open lots: by each order's date P50 of the pieces wanted until then, P90 for items of a long lead.

    Medians of single months do not add up to that of the tract, so a line is the rise of the quantile of everything
    up to its period: the lines of an item together are its quantile over all open lots.
    """
    lots = demand.lots
    places = demand.places(demand.groups(lots["alike"].to_numpy()))
    if not places:
        return pd.DataFrame()
    by_day: dict[Any, Any] = dict(lots.groupby(["phase", "start"], sort=True).indices)
    table = pd.DataFrame(sorted(by_day), columns=["phase", "start"])
    table = table.assign(day=np.arange(len(table)))
    table = dated(case, table.merge(pd.DataFrame(places, columns=["item", "drop"]), how="cross"))
    keys = ["item", "phase", "month", "drop", "period"]
    orders = table.groupby(keys, sort=True, as_index=False).agg(
        days=("day", tuple), needed_on=("needed_on", "min"), order_by=("order_by", "min")
    )
    orders = orders.sort_values(["item", "drop", "period", "phase", "month"], kind="stable", ignore_index=True)
    alike = [lots["alike"].to_numpy()[by_day[day]].tolist() for day in sorted(by_day)]
    # items of one lead and delivery share the same days, so each set of lots is looked at once
    wanted: dict[tuple[int, ...], set[Place]] = {}
    so_far: dict[Place, tuple[int, ...]] = {}
    lines = []
    for item, drop, days in zip(orders["item"], orders["drop"], orders["days"], strict=True):
        of_days = so_far[item, drop] = tuple(sorted({*so_far.get((item, drop), ()), *days}))
        lines.append((item, drop, of_days, sum(len(alike[day]) for day in days)))
        wanted.setdefault(of_days, set()).add((item, drop))
    here = {of_days: [kind for day in of_days for kind in alike[day]] for of_days in wanted}
    found = {of_days: demand.quantities(demand.groups(here[of_days]), only, False) for of_days, only in wanted.items()}
    settings = case.settings
    rows = []
    ordered: dict[Place, int] = {}
    for item, drop, of_days, n_lots in lines:
        q = found[of_days].get((item, drop))
        long = case.prices.lead_days(item, settings.lead_time_days) >= settings.long_lead_days
        until = max(0 if q is None else q.p90 if long else q.p50, ordered.get((item, drop), 0))
        pieces, ordered[item, drop] = until - ordered.get((item, drop), 0), until
        share = MILLION + millionths(case.prices.waste(item, case.project_waste))
        rows.append((pieces, pieces * share, pieces * _minutes(case, item), n_lots, "p90" if long else "p50"))
    worth = pd.DataFrame(rows, columns=["quantity", "with_waste", "minutes", "lots", "sized_at"])
    table = pd.concat([orders.drop(columns="days"), worth], axis=1).assign(status=FORECAST, lot_id="")
    return table[table["quantity"] > 0].reset_index(drop=True)


def _minutes(case: PurchaseCase, item: str) -> int:
    """Minutes in millionths to install one: the slowest of the rows that are bought as this item."""
    return millionths(max((r.labour_min for r in case.prices.by_bill_item[item]), default=Decimal(0)))


def forecast_facts(case: PurchaseCase, demand: OpenDemand) -> dict[str, Any]:
    """What stands beside the forecast: how many lots are open, and how many of them would have no kit, and why."""
    rows = case.lot_kits[case.lot_kits["state"] == OPEN]
    lots = int(rows["lot_id"].nunique())
    if not lots:
        return {"open_lots": 0}
    share, why = rows["share"].to_numpy(dtype=float), rows["why"].to_numpy(dtype=object)
    total = rows.assign(share=share).groupby("lot_id")["share"].sum()
    return {
        "open_lots": lots,
        "firm_lots": int((case.lot_kits["state"] == FIRM).sum()),
        "plan_mix": dict(case.settings.plan_mix),
        "expected_lots_beyond_packages": round(float(share[why == BEYOND_PACKAGES].sum()), 3),
        "expected_lots_nothing_holds": round(float(share[why == NO_HARDWARE].sum()), 3),
        "expected_lots_not_counted": round(float(share[why == NO_HAZARD].sum()), 3),
        "lots_no_plan_fits": int((total == 0).sum()),
        "pairs_that_do_not_fit": int((why == NO_FIT).sum()),
        "method": "exact convolution, lots independent"
        if demand.independent
        else f"simulation, {DRAWS} draws, seed {SEED}, mix as sure as {case.settings.mix_certainty:g} houses sold",
    }
