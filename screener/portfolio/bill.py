"""The bill of a portfolio: pieces by tract, item and delivery, boxes rounded up once for each item and tract.

Pieces are counted from kits: lots of each tract with the same house and package, times what one takes. So the bill is
the sum over lots to the piece; money is whole cents and sums are exact. Stock in hand is not drawn on: a list does not
say in which yard it lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from screener import columns
from screener.orders import price_orders
from screener.portfolio.kits import LineWorth
from screener.portfolio.layout import TractPlace
from screener.price_list import MILLION, PriceList
from screener.purchase_case import DROPS
from screener.unique_rows import unique_rows

Ints = NDArray[np.int64]
LEVELS = ("portfolio", "division", "tract")
ROWS_AT_ONCE = 4096
"""Kits looked at together: with packages by tract there are as many kinds of kits as kits."""


@dataclass(frozen=True)
class TractPieces:
    """Sums (tracts, articles): net pieces, with waste and minutes in millionths. Article: item in a delivery."""

    articles: tuple[tuple[str, str], ...]
    net: Ints
    with_waste: Ints
    minutes: Ints


def tract_pieces(kits: Ints, options: Sequence[Ints], worth: Sequence[LineWorth], tracts: int) -> TractPieces:
    """Pieces of all tracts. `kits`: rows (tract, house, group, package, lots to buy for, ...); `options` by group."""
    articles = articles_of(kits, options, worth)
    sums = [np.zeros((tracts, len(articles)), dtype=np.int64) for _ in range(3)]
    for first in range(0, len(kits), ROWS_AT_ONCE):
        part = kits[first : first + ROWS_AT_ONCE]
        one = kit_pieces(part, options, worth, articles)
        for total, own in zip(sums, (one.net, one.with_waste, one.minutes), strict=True):
            np.add.at(total, part[:, 0], own * part[:, 4][:, None])
    return TractPieces(articles, *sums)


@dataclass(frozen=True)
class KitPieces:
    """What one kit takes, (kits, articles): pieces, with waste and minutes in millionths, cents."""

    net: Ints
    with_waste: Ints
    minutes: Ints
    cents: Ints


def _kinds(kits: Ints, options: Sequence[Ints]) -> tuple[list[tuple[int, tuple[int, ...]]], Ints]:
    """Distinct (house, options of its package), and which of them each row (any, house, group, package, ...) is."""
    known: dict[tuple[int, tuple[int, ...]], int] = {}
    rows, of_row = unique_rows(kits[:, 1:4])
    places = [known.setdefault((h, tuple(options[g][p].tolist())), len(known)) for h, g, p in rows.tolist()]
    return list(known), np.array(places, dtype=np.int64)[of_row]


def articles_of(kits: Ints, options: Sequence[Ints], worth: Sequence[LineWorth]) -> tuple[tuple[str, str], ...]:
    """Items in their deliveries that some kit takes, in order."""
    drops = {drop: n for n, drop in enumerate(DROPS)}
    taken = {
        (row.item, row.drop) for house, line, option in _taken(kits, options) for row in worth[house].rows[line][option]
    }
    return tuple(sorted(taken, key=lambda a: (a[0], drops.get(a[1], 9))))


def _taken(kits: Ints, options: Sequence[Ints]) -> set[tuple[int, int, int]]:
    """House, line and option of every kit, each once."""
    kinds, _ = _kinds(kits, options)
    return {(house, line, o) for house, own in kinds for line, o in enumerate(own) if o >= 0}


def kit_pieces(
    kits: Ints, options: Sequence[Ints], worth: Sequence[LineWorth], articles: Sequence[tuple[str, str]]
) -> KitPieces:
    """What one kit of each row (any, house, group, package, ...) takes of each article."""
    place = {article: n for n, article in enumerate(articles)}
    kinds, of_kit = _kinds(kits, options)
    out = np.zeros((4, len(kinds), len(articles)), dtype=np.int64)
    for k, (house, own) in enumerate(kinds):
        for line, option in enumerate(own):
            for r in worth[house].rows[line][option] if option >= 0 else ():
                out[:, k, place[r.item, r.drop]] += (r.net, r.with_waste, r.minutes, r.cents)
    return KitPieces(*out[:, of_kit])


def bill(pieces: TractPieces, places: Sequence[TractPlace], prices: PriceList, to_break: bool) -> pd.DataFrame:
    """The table `portfolio_bill`: every tract's rows, then sums by division and of the whole."""
    units, extra, cents = _ordered(pieces, prices, to_break)
    tract, article = np.nonzero(pieces.net)
    rows = pd.DataFrame(
        {
            "tract": tract,
            "article": article,
            "net": pieces.net[tract, article],
            "waste": pieces.with_waste[tract, article],
            "minutes": pieces.minutes[tract, article],
            "units": units[tract, article],
            "extra": extra[tract, article],
            "cents": cents[tract, article],
        }
    )
    divisions = np.array([p.division for p in places], dtype=object)
    rows["division"] = divisions[tract]
    parts = []
    for level, keys in zip(
        LEVELS, (["article"], ["division", "article"], ["tract", "division", "article"]), strict=True
    ):
        sums = rows.groupby(keys, sort=True, as_index=False)[
            ["net", "waste", "minutes", "units", "extra", "cents"]
        ].sum()
        parts.append(sums.assign(level=level))
    names = np.array([p.name for p in places], dtype=object)
    return _shown(pd.concat(parts, ignore_index=True), pieces, prices, names)


def _shown(rows: pd.DataFrame, pieces: TractPieces, prices: PriceList, names: NDArray[np.object_]) -> pd.DataFrame:
    article = rows["article"].to_numpy(dtype=np.int64)
    items = np.array([item for item, _ in pieces.articles], dtype=object)
    units = np.array([prices.purchase_unit(item) for item in items], dtype=object)
    tract = rows["tract"].fillna(-1).to_numpy(dtype=np.int64)
    out = pd.DataFrame(
        {
            "level": rows["level"],
            "division": rows["division"].fillna(""),
            "tract": np.append(names, "")[tract],
            "item": items[article],
            "drop": np.array([drop for _, drop in pieces.articles], dtype=object)[article],
            "quantity": rows["net"].astype(float),
            "quantity_with_waste": rows["waste"] / MILLION,
            "purchase_unit": units[article],
            "purchase_units": rows["units"].astype(float),
            "units_for_break": rows["extra"].astype(float),
            "cost": rows["cents"] / 100,
            "labour_hours": rows["minutes"] / (60 * MILLION),
        }
    )
    return out.reindex(columns=columns.names("portfolio_bill"))


def _ordered(pieces: TractPieces, prices: PriceList, to_break: bool) -> tuple[Ints, Ints, Ints]:
    """Boxes, boxes only for a break, and cents by tract and article: one order for each item and tract.

    Deliveries of an item stand in their order, so each brings the boxes that it and those before it need; those that
    need nothing have no line.
    """
    shape = pieces.net.shape
    units, extra, cents = (np.zeros(shape, dtype=np.int64) for _ in range(3))
    by_item: dict[str, list[int]] = {}
    for n, (item, _) in enumerate(pieces.articles):
        by_item.setdefault(item, []).append(n)
    for item, at in by_item.items():
        price = prices.price(item)
        need = pieces.with_waste[:, at]
        units[:, at], extra[:, at], cents[:, at] = price_orders(need, need != 0, price, to_break)
    return units, extra, cents
