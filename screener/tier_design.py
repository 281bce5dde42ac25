"""From the user's words on packages ([tiers]) to the problem that is solved: who may share, what is allowed, what
costs.

* Handling: dollars for every package on the site (labels, kitting, one more sheet to inspect by).
* Mix-ups: a house may get the wrong one of the packages that its group could be given. The chance is `mixup_rate` a
  house for every package beyond the first, so with P packages and N houses mix-ups cost mixup_usd x mixup_rate x N x
  (P - 1): a price for every package beyond the first. A group is the tract, or a plan family where scope is "plan".
* Stocking: dollars for every kind of item on the site, accessories too, once however many packages use it. Items named
  in_stock and those of packages that are kept cost nothing more.
* in_stock items are paid for already: in the choice they cost their labour only. preferred items are taken at a
  discount in the choice, never in the bill. forbidden items serve nobody.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from hazard.issues import Issues
from screener.capacity_case import Option
from screener.hardware import Hardware, HardwareRow
from screener.prices import cents, decimal
from screener.quantities import HouseQuantities

if TYPE_CHECKING:
    from screener.config_sections import TiersSection

IntArray = NDArray[np.int64]
ITEM_KEYS = ("forbidden", "preferred", "in_stock")


@dataclass(frozen=True)
class LotPools:
    """Which lots may share packages: pool of each lot, group and name of each pool."""

    of_lot: IntArray
    group: tuple[int, ...]
    names: tuple[str, ...]


@dataclass(frozen=True)
class PackagePrices:
    """By group of pools: cents for a package, and what the first one costs less."""

    package: tuple[int, ...]
    first: tuple[int, ...]


def check_items(section: TiersSection, hardware: Hardware, where: str, issues: Issues) -> None:
    """Names of items in [tiers] that the hardware list lacks are stops; half a price of mix-ups is a warning."""
    from screener.config_faults import nearest

    if bool(section.mixup_usd) != bool(section.mixup_rate):
        found = f"mixup_usd {section.mixup_usd:g}, mixup_rate {section.mixup_rate:g}"
        issues.add(
            "tiers_mixup", "warn", f"{where} [tiers]", found, "both above 0", "mix-ups cost nothing in the choice"
        )

    known = sorted({row.item for row in hardware.rows} | {bill_name(row) for row in hardware.rows})
    for key in ITEM_KEYS:
        for name in getattr(section, key):
            if name not in known:
                close = nearest(name, known)
                expected = f"'{close}' (the nearest known)" if close else "an item of the hardware list"
                issues.add("tiers_item", "stop", f"{where} [tiers] {key}", f"'{name}'", expected, "correct the name")


def bill_name(row: HardwareRow) -> str:
    """The name under which an item is bought."""
    return row.bill_item or row.item


def lot_pools(section: TiersSection, plan_of_lot: Sequence[str], outside: NDArray[np.bool_]) -> LotPools:
    """Pools of the lots: by plan family where scope is "plan", lots outside their permit apart where that is "own"."""
    plans = np.array(plan_of_lot if section.scope == "plan" else [""] * len(plan_of_lot), dtype=object)
    apart = outside if section.outside_permit == "own" else np.zeros(len(plans), dtype=bool)
    found = sorted(set(zip(plans.tolist(), apart.tolist(), strict=True))) or [("", False)]
    groups = sorted({plan for plan, _ in found})
    place = {key: n for n, key in enumerate(found)}
    of_lot = np.array([place[key] for key in zip(plans.tolist(), apart.tolist(), strict=True)], dtype=np.int64)
    names = tuple(" ".join(word for word in (plan, "outside-permit" if far else "") if word) for plan, far in found)
    return LotPools(of_lot, tuple(groups.index(plan) for plan, _ in found), names)


def package_prices(
    section: TiersSection, pools: LotPools, kept_lots: NDArray[np.bool_], weight: IntArray | None = None
) -> PackagePrices:
    """Handling and mix-ups as a price of a package, by group; `kept_lots`: lots that keep a package they have.

    `weight` (lots,): how many lots alike each one stands for; none: one.
    """
    lots = np.ones(len(pools.of_lot), dtype=np.int64) if weight is None else weight
    handling = cents(section.handling_usd)
    each = decimal(section.mixup_usd) * decimal(section.mixup_rate)
    group_of_lot = np.array(pools.group, dtype=np.int64)[pools.of_lot]
    groups = max(pools.group) + 1
    mixups = [cents(each * int(lots[group_of_lot == group].sum())) for group in range(groups)]
    first = [0 if (kept_lots & (group_of_lot == group)).any() else mixups[group] for group in range(groups)]
    return PackagePrices(tuple(handling + m for m in mixups), tuple(first))


def allowed(section: TiersSection, option: Option, hardware: Hardware) -> bool:
    """Whether an option uses no forbidden item."""
    return not set(section.forbidden) & {name for row in _rows(option, hardware) for name in (row.item, bill_name(row))}


def choice_cents(section: TiersSection, q: HouseQuantities, labour_usd_per_h: float) -> int:
    """What an option of a house counts in the choice: material not yet paid for, labour, less a preference."""
    sunk = set(section.in_stock)
    paid = [p for p in q.pieces if {p.row.item, bill_name(p.row)} & sunk]
    cost = q.cost_cents(labour_usd_per_h) - sum(cents(q.with_waste(p) * p.row.unit_cost_usd) for p in paid)
    if q.pieces and {q.pieces[0].row.item, bill_name(q.pieces[0].row)} & set(section.preferred):
        cost -= int(cost * decimal(section.preferred_discount))
    return cost


def option_items(
    lines: Sequence[Sequence[Option]],
    quantities: Sequence[Sequence[Sequence[HouseQuantities]]],
) -> tuple[tuple[tuple[tuple[int, ...], ...], ...], tuple[str, ...]]:
    """Kinds of items of every option of every line, as numbers, and their names; `quantities` by house, line, option.

    An option that takes no piece in any house takes no item.
    """
    named = [
        [
            sorted({bill_name(p.row) for house in quantities for p in house[n][o].pieces if p.net})
            for o in range(len(options))
        ]
        for n, options in enumerate(lines)
    ]
    names = sorted({name for line in named for option in line for name in option})
    place = {name: n for n, name in enumerate(names)}
    items = tuple(tuple(tuple(place[name] for name in option) for option in line) for line in named)
    return items, tuple(names)


def item_cents(section: TiersSection, names: Sequence[str], in_use: set[str]) -> IntArray:
    """What each kind of item costs to stock; nothing where it is in stock or in use anyway."""
    price = cents(section.stocking_usd_per_item)
    free = set(section.in_stock) | in_use
    return np.array([0 if name in free else price for name in names], dtype=np.int64)


def _rows(option: Option, hardware: Hardware) -> list[HardwareRow]:
    if option.row < 0:
        return []
    row = hardware.rows[option.row]
    extra = hardware.by_item.get(row.accessory) if row.accessory else None
    return [row] if extra is None else [row, extra]
