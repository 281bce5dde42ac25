"""What hardware costs and how it is bought, apart from what it holds: one row an item of the hardware list.

The list a run used is stored with its results (`prices.csv`), so that orders can be priced again without the project.
Numbers are kept as the texts that were written: a price of $0.021 stays $0.021.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING

import pandas as pd

from screener.prices import Price, decimal, parse_price_breaks

if TYPE_CHECKING:
    from screener.hardware import Hardware

MILLION = 1_000_000
"""Shares and minutes are counted in whole millionths, so that sums are exact."""


@dataclass(frozen=True)
class PriceRow:
    """How one item is bought. `waste` None: the project's; `lead_time_days` None: unknown."""

    item: str
    bill_item: str
    unit: str
    price: Price | None
    waste: Decimal | None
    stock: int
    lead_time_days: int | None
    labour_min: Decimal


@dataclass(frozen=True)
class PriceList:
    """Rows in the order of the hardware list."""

    rows: tuple[PriceRow, ...]

    @cached_property
    def by_item(self) -> dict[str, PriceRow]:
        return {row.item: row for row in self.rows}

    @cached_property
    def by_bill_item(self) -> dict[str, tuple[PriceRow, ...]]:
        """Rows that are bought as one, by the name the bill gives them."""
        out: dict[str, list[PriceRow]] = {}
        for row in self.rows:
            out.setdefault(row.bill_item, []).append(row)
        return {name: tuple(rows) for name, rows in out.items()}

    def price(self, bill_item: str) -> Price:
        """The price of what the bill calls so: its first row with one. Raises KeyError where there is none."""
        for row in self.by_bill_item.get(bill_item, ()):
            if row.price is not None:
                return row.price
        raise KeyError(bill_item)

    def priced(self, bill_item: str) -> bool:
        """Whether a row of what the bill calls so has a price."""
        return any(row.price is not None for row in self.by_bill_item.get(bill_item, ()))

    def stock(self, bill_item: str) -> int:
        return sum(row.stock for row in self.by_bill_item[bill_item])

    def lead_days(self, bill_item: str, unknown: int) -> int:
        """The longest lead of its rows; `unknown` where none gives one."""
        given = [r.lead_time_days for r in self.by_bill_item[bill_item] if r.lead_time_days is not None]
        return max(given, default=unknown)

    def waste(self, bill_item: str, project: Decimal) -> Decimal:
        """The greatest waste of its rows: what a forecast takes, that does not know which row it will be."""
        return max(project if r.waste is None else r.waste for r in self.by_bill_item[bill_item])

    def purchase_unit(self, bill_item: str) -> str:
        """What one is that is bought: "box of 200", "each", "sq ft"."""
        unit, size = self.by_bill_item[bill_item][0].unit, self.price(bill_item).purchase_unit_qty
        counted = unit in ("each", "nail", "set", "")
        if size == 1:
            return unit if unit and unit != "nail" else "each"
        return f"box of {size:,}" if counted else f"{size:,} {unit}"

    def frame(self) -> pd.DataFrame:
        """The rows as the table `prices`."""
        return pd.DataFrame(
            [
                (
                    row.item,
                    row.bill_item,
                    row.unit,
                    row.price.purchase_unit_qty if row.price else None,
                    format(row.price.unit_cost_usd, "f") if row.price else "",
                    _breaks_text(row.price) if row.price else "",
                    "" if row.waste is None else format(row.waste, "f"),
                    row.stock,
                    row.lead_time_days,
                    format(row.labour_min, "f"),
                )
                for row in self.rows
            ],
            columns=list(FIELDS),
        )


FIELDS = (
    *("item", "bill_item", "unit", "purchase_unit_qty", "unit_cost", "price_breaks", "waste", "stock"),
    *("lead_time_days", "labour_min"),
)


def _breaks_text(price: Price) -> str:
    return "; ".join(f"{each.from_units}: {format((each.off * 100).normalize(), 'f')}%" for each in price.breaks)


def of_hardware(hardware: Hardware) -> PriceList:
    """How the items of a hardware list are bought."""
    return PriceList(
        tuple(
            PriceRow(
                row.item,
                row.bill_item or row.item,
                row.unit,
                row.price,
                None if math.isnan(row.waste) else decimal(row.waste),
                row.stock,
                None if math.isnan(row.lead_time_days) else math.ceil(row.lead_time_days),
                decimal(row.labour_min),
            )
            for row in hardware.rows
        )
    )


def of_records(table: pd.DataFrame) -> PriceList:
    """The same from the rows of a stored `prices.csv`, every cell a text."""
    rows = []
    for values in zip(*(table[name] for name in FIELDS), strict=True):
        r = dict(zip(FIELDS, values, strict=True))
        price = None
        if r["unit_cost"]:
            price = Price(Decimal(r["unit_cost"]), int(r["purchase_unit_qty"]), parse_price_breaks(r["price_breaks"]))
        rows.append(
            PriceRow(
                r["item"],
                r["bill_item"],
                r["unit"],
                price,
                Decimal(r["waste"]) if r["waste"] else None,
                int(r["stock"] or 0),
                int(r["lead_time_days"]) if r["lead_time_days"] else None,
                Decimal(r["labour_min"]),
            )
        )
    return PriceList(tuple(rows))


def millionths(value: Decimal) -> int:
    """A share or a number of minutes in whole millionths (finer ones are rounded)."""
    return int((value * MILLION).to_integral_value())
