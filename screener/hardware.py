"""The hardware list: one row an item, read from CSV and checked, with every fault reported at once.

`COLUMNS` is the list's data dictionary. Columns that it does not name are kept as text (`HardwareRow.extra`). A row
serves one family, or several that are loaded alike, written `plate_to_stud; stud_to_plate`.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import Any

from hazard.issues import Issues
from screener.families import SERVES_ALSO, families
from screener.hardware_cells import Place, clean_text, nearest
from screener.hardware_checks import Values, check_row, read_price, read_values, serving
from screener.hardware_columns import (
    ALLOWABLE_LOADS,
    BY_NAME,
    COLUMNS,
    LISTED,
    LISTED_LOADS,
    PURCHASE,
    HardwareColumn,
    load_column,
)
from screener.hardware_file import read_cells
from screener.prices import Price

__all__ = ["COLUMNS", "Hardware", "HardwareColumn", "HardwareRow", "parse_hardware", "read_hardware"]


@dataclass(frozen=True)
class HardwareRow:
    """One item of the list, as read. Numbers that were not given are NaN, texts ""."""

    line: int  # line of the file
    item: str
    families: tuple[str, ...]
    unit: str
    purchase_unit_qty: int
    price: Price | None  # None: no usable price, so never chosen
    labour_min: float
    waste: float
    stock: int
    lead_time_days: float
    bill_item: str
    drop: str
    accessory: str
    accessory_pieces: float
    basis: str
    load_duration_included: bool | None
    source: str
    source_date: str
    corrosion: str
    interaction: str
    loads_lb: Mapping[str, float]  # listed loads by column, only those given
    values: Mapping[str, float | str | bool]  # every declared column that was given
    extra: Mapping[str, str] = field(default_factory=dict)

    def number(self, name: str, default: float = math.nan) -> float:
        """A declared number, or the default where the cell was blank."""
        return float(self.values.get(name, default))

    def text(self, name: str, default: str = "") -> str:
        """A declared text, or the default where the cell was blank."""
        return str(self.values.get(name, default))

    def flag(self, name: str) -> bool:
        """A declared yes or no; blank is no."""
        return bool(self.values.get(name, False))

    @property
    def unit_cost_usd(self) -> Decimal:
        """Dollars for one before breaks; NaN where there is no usable price."""
        return self.price.unit_cost_usd if self.price else Decimal("NaN")

    def lists_for(self, method: str) -> bool:
        """Whether any load of the kind that a design method asks for is listed."""
        return any(load_column(name, method) in self.loads_lb for name in ALLOWABLE_LOADS)

    def listed_lb(self, direction: str, load_group: str, method: str = "ASD") -> float:
        """The listed load of one piece in a direction for a species group; NaN where none is given.

        Allowable load ("ASD") or design strength ("LRFD"), each from its own columns.

        `lateral` is the lesser of along and across; `tension` is uplift.
        """
        if direction == "lateral":
            both = [self.listed_lb(d, load_group, method) for d in ("parallel", "perpendicular")]
            return math.nan if any(math.isnan(v) for v in both) else min(both)
        allowable = f"{'uplift' if direction == 'tension' else direction}_lb"
        column = load_column(allowable, method)
        of_group = f"{column}_{load_group}"
        if of_group not in self.loads_lb and method != "ASD" and f"{allowable}_{load_group}" in self.loads_lb:
            return math.nan  # weaker in this wood by ASD: the strength in any wood is not its strength
        return self.loads_lb.get(of_group, self.loads_lb.get(column, math.nan))


@dataclass(frozen=True)
class Hardware:
    """The hardware list: rows in file order."""

    rows: tuple[HardwareRow, ...]
    source: str = ""

    @cached_property
    def by_item(self) -> dict[str, HardwareRow]:
        """Rows by item name."""
        return {row.item: row for row in self.rows}

    @cached_property
    def known_capacities(self) -> dict[Hashable, Any]:
        """What `capacities.known_capacity` worked out for this list."""
        return {}

    def __getitem__(self, item: str) -> HardwareRow:
        return self.by_item[item]

    def for_family(self, key: str) -> tuple[int, ...]:
        """Indices of the rows that can be chosen for a family: priced, with their accessory priced, in file order."""
        wanted = {key} | {family for family, also in SERVES_ALSO.items() if also == key}
        return tuple(i for i, row in enumerate(self.rows) if wanted & set(row.families) and self.priced(row))

    def priced(self, row: HardwareRow) -> bool:
        """Whether the row and what it brings along have prices."""
        with_it = self.by_item.get(row.accessory) if row.accessory else None
        return row.price is not None and (not row.accessory or (with_it is not None and with_it.price is not None))


def read_hardware(path: Path) -> tuple[Hardware, Issues]:
    """Read and check a hardware list. All faults are in the issues; rows with a stop are left out of the result."""
    return parse_hardware(path.read_bytes(), path.name)


def parse_hardware(content: bytes, name: str = "hardware.csv") -> tuple[Hardware, Issues]:
    """The same for the bytes of a file already in hand."""
    issues = Issues()
    cells = read_cells(content, name, issues)
    rows = [row for line, given in cells if (row := _row(line, given, name, issues)) is not None]
    rows = _without_twins(rows, dict(cells), name, issues)
    for row in rows:
        _check_links(row, rows, _place(row, name, issues))
        _note_dominated(row, rows, _place(row, name, issues))
    return Hardware(tuple(rows), name), issues


def _place(row: HardwareRow, name: str, issues: Issues) -> Place:
    return Place(f"{name} row {row.line} ({row.item})", issues)


def _row(line: int, cells: Mapping[str, str], name: str, issues: Issues) -> HardwareRow | None:
    """One item, or None with its faults reported."""
    item = clean_text(cells["item"])
    found = Issues()
    place = Place(f"{name} row {line}" + (f" ({item})" if item else ""), found)
    values = read_values(cells, place)
    serves = serving(values, place)
    price = read_price(cells, values, place)
    check_row(cells, values, serves, place)
    issues.extend(found)
    if any(issue.severity in ("stop", "skip") for issue in found):
        return None
    return _hardware_row(line, values, serves, price, {k: v for k, v in cells.items() if k not in BY_NAME})


def _hardware_row(
    line: int, values: Values, serves: tuple[str, ...], price: Price | None, extra: Mapping[str, str]
) -> HardwareRow:
    """A checked row with its defaults."""
    return HardwareRow(
        line=line,
        item=values["item"],
        families=serves,
        unit=values["unit"],
        purchase_unit_qty=int(values["purchase_unit_qty"]),
        price=price,
        labour_min=float(values["labour_min"]),
        waste=float(values.get("waste", math.nan)),
        stock=int(values.get("stock", 0)),
        lead_time_days=float(values.get("lead_time_days", math.nan)),
        bill_item=str(values.get("bill_item", values["item"])),
        drop=values.get("drop") or _usual_drop(serves[0], values.get("needs_below")),
        accessory=values.get("accessory", ""),
        accessory_pieces=float(values.get("accessory_pieces", 1.0)),
        basis=values.get("basis", ""),
        load_duration_included=values.get("load_duration_included"),
        source=values["source"],
        source_date=values.get("source_date", ""),
        corrosion=values.get("corrosion", ""),
        interaction=values.get("interaction", "sum"),
        loads_lb={name: float(values[name]) for name in LISTED_LOADS if name in values},
        values=values,
        extra=extra,
    )


def _usual_drop(family: str, needs_below: object) -> str:
    """The delivery of a family; a hold-down that is cast into the concrete comes with the foundation."""
    cast_in = family == "hold_down" and needs_below == "concrete"
    return "foundation" if cast_in else families()[family].default_drop


def _without_twins(
    rows: list[HardwareRow], cells: Mapping[int, Mapping[str, str]], name: str, issues: Issues
) -> list[HardwareRow]:
    """One row an item: a repeated identical row is dropped, two different rows of one name stop."""
    kept: dict[str, HardwareRow] = {}
    for row in rows:
        first = kept.setdefault(row.item, row)
        if first is row:
            continue
        place, expected = _place(row, name, issues), "each item once"
        same = [{k: v.strip() for k, v in cells[r.line].items()} for r in (first, row)]
        if same[0] == same[1]:
            place.fix("HARDWARE_ITEM_TWICE", f"the same row as row {first.line}", expected, "kept the first")
        else:
            found = f"the item stands also in row {first.line}, with other values"
            place.stop("HARDWARE_ITEM_TWICE", found, expected, "rename one (bill_item pools them in the bill)")
    return list(kept.values())


def _check_links(row: HardwareRow, rows: list[HardwareRow], place: Place) -> None:
    """An accessory must be an item of the list, without one of its own; items billed as one must cost the same."""
    by_item = {each.item: each for each in rows}
    if row.accessory and row.accessory not in by_item:
        place.stop("HARDWARE_ACCESSORY", f"accessory `{row.accessory}`", nearest(row.accessory, by_item), "correct it")
    elif row.accessory and by_item[row.accessory].accessory:
        place.stop("HARDWARE_ACCESSORY", f"accessory `{row.accessory}` has one of its own", "none", "list it once")
    first = next(each for each in rows if each.bill_item == row.bill_item)
    if first.price != row.price:
        found = f"bill_item `{row.bill_item}` at another price than in row {first.line}"
        place.stop("HARDWARE_POOL_PRICE", found, "one price and box for what is bought as one", "make them agree")


def _note_dominated(row: HardwareRow, rows: list[HardwareRow], place: Place) -> None:
    """A listed item that costs more than another of the same families and holds no more in any direction."""
    better = next((other for other in rows if other is not row and _beats(other, row)), None)
    if better is not None:
        found = f"costs no less than `{better.item}` and holds no more in any direction"
        place.note("HARDWARE_DOMINATED", found, "", "kept; it will not be chosen")


def _beats(one: HardwareRow, other: HardwareRow) -> bool:
    """Whether one listed row is nowhere worse than another, and somewhere better."""
    alike = one.families == other.families and one.interaction == other.interaction
    plain = all(row.loads_lb and row.price and not row.accessory for row in (one, other))
    if not (alike and plain and _needs(one) == _needs(other)):
        return False
    if one.unit_cost_usd > other.unit_cost_usd or one.labour_min > other.labour_min:
        return False
    if not all(one.loads_lb.get(name, 0.0) >= load for name, load in other.loads_lb.items()):
        return False
    more = any(load > other.loads_lb.get(name, 0.0) for name, load in one.loads_lb.items())
    return more or one.unit_cost_usd < other.unit_cost_usd or one.labour_min < other.labour_min


def _needs(row: HardwareRow) -> dict[str, object]:
    """What limits the use of a row beyond its loads: its geometry and the place it needs."""
    told = {column.name for column in (*PURCHASE, *LISTED)}
    return {name: value for name, value in row.values.items() if name not in told}
