"""A change in plan mix or prices, priced again from finished results: no demands are worked again.

Packages stay as they were chosen. Another mix changes the forecast alone, which a full run would give alike; at other
prices or labour a full run might choose other packages.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from hazard.issues import InputError
from screener.price_list import of_hardware
from screener.purchase_tables import Purchase

if TYPE_CHECKING:
    from screener.purchase_case import PurchaseCase


def changed_case(
    case: PurchaseCase,
    mix: dict[str, float] | None = None,
    hardware: Path | None = None,
    certainty: float | None = None,
) -> PurchaseCase:
    """The case with another mix, hardware list or certainty of the mix. Raises InputError with every fault."""
    if mix is not None:
        case = case.with_mix(mix)
    if certainty is not None:
        case = case.with_settings({"mix_certainty": certainty})
    if hardware is not None:
        from screener.hardware import read_hardware

        listed, issues = read_hardware(hardware)
        if issues.has_stop():
            raise InputError(issues.stops())
        case = case.with_prices(of_hardware(listed), hardware.name)
    return case


def money(purchase: Purchase) -> dict[str, float]:
    """Dollars in boxes of firm and of forecast orders."""
    orders = purchase.orders
    if not len(orders):
        return {"firm": 0.0, "forecast": 0.0}
    return {s: round(float(orders.loc[orders["status"] == s, "cost"].sum()), 2) for s in ("firm", "forecast")}


def changes(before: Purchase, after: Purchase) -> dict[str, Any]:
    """Money before and after, and every item whose boxes, cost or forecast changed."""
    rows = []
    tables = [_by_item(before), _by_item(after)]
    for item in sorted(set(tables[0].index) | set(tables[1].index)):
        had, has = ({k: float(v) for k, v in _row(table, item).items()} for table in tables)
        if had != has:
            rows.append({"item": item, **{name: [had[name], has[name]] for name in had}})
    return {"cost": {name: [money(before)[name], money(after)[name]] for name in ("firm", "forecast")}, "items": rows}


def _row(table: pd.DataFrame, item: str) -> dict[Any, Any]:
    return table.loc[item].to_dict() if item in table.index else dict.fromkeys(table.columns, 0.0)


def _by_item(purchase: Purchase) -> pd.DataFrame:
    """Firm boxes and cost, forecast cost, and the tract's expected, P50 and P90 pieces, by item."""
    orders, forecast = purchase.orders, purchase.forecast
    parts = []
    for status in ("firm", "forecast"):
        own = orders[orders["status"] == status] if len(orders) else orders
        sums = own.groupby("item")[["purchase_units", "cost"]].sum().astype(float)
        parts.append(sums.rename(columns={"purchase_units": f"{status}_units", "cost": f"{status}_cost"}))
    tract = forecast[forecast["level"] == "tract"] if len(forecast) else forecast
    parts.append(tract.groupby("item")[["expected", "p50", "p90"]].sum().astype(float))
    return pd.concat(parts, axis=1).fillna(0.0).round(2)


def write_tables(folder: Path, purchase: Purchase) -> None:
    """bill_of_materials.csv, orders.csv and forecast.csv into a new folder."""
    from screener.files.csv_tables import write_csv

    folder.mkdir(parents=True, exist_ok=False)
    for name, table in (
        ("bill_of_materials", purchase.bill),
        ("orders", purchase.orders),
        ("forecast", purchase.forecast),
    ):
        write_csv(folder / f"{name}.csv", name, table)


def stored_purchase(folder: Path) -> Purchase:
    """Orders and forecast of finished results, as written; the numbers that `changes` looks at."""
    from screener.purchase_case import read_texts

    orders, forecast = read_texts(folder / "orders.csv"), read_texts(folder / "forecast.csv")
    for table, names in ((orders, ("purchase_units", "cost")), (forecast, ("expected", "p50", "p90"))):
        for name in names:
            table[name] = pd.to_numeric(table[name])
    return Purchase(pd.DataFrame(), orders, forecast, {})
