"""What the lots of a portfolio need by the period in which it must be ordered: pieces and money by division and item.

A kit's pieces are wanted on the start plus their delivery's day and must be ordered an item's lead time and the
project's margin before that, as in a tract's orders (`screener.order_dates`). Pieces with waste, not boxes: those are
rounded up on each tract's bill, once. Money is material at list prices in whole cents, so over all periods it is what
the lots that are still to be bought for cost.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from screener import columns
from screener.order_dates import NO_DATE, drop_days, lead_days, period_texts
from screener.portfolio.bill import kinds_of, kit_pieces
from screener.portfolio.kits import LineWorth
from screener.price_list import MILLION
from screener.purchase_case import PurchaseCase

Ints = NDArray[np.int64]
LEVELS = ("portfolio", "division")


def period_needs(
    starts: Ints, options: Sequence[Ints], worth: Sequence[LineWorth], case: PurchaseCase, divisions: Sequence[str]
) -> pd.DataFrame:
    """The table `portfolio_needs`. `starts`: rows (division, house, group, package, day of the start, lots to buy for).

    `options` by group, `worth` by house, `divisions` names by number. The whole portfolio first, then by division; lots
    without a start date stand last, under a blank period.
    """
    kinds, of_row = kinds_of(starts, options)
    pieces = kit_pieces(kinds, worth)
    items = [item for item, _ in pieces.articles]
    ahead = lead_days(case, items) + case.settings.order_margin_days
    offset = drop_days(case, [drop for _, drop in pieces.articles]) - ahead
    parts = []
    for n in range(len(pieces.articles)):
        taken = pieces.net[of_row, n] != 0
        own, kind, lots = starts[taken], of_row[taken], starts[taken, 5]
        days = np.where(own[:, 4] < NO_DATE, own[:, 4] + offset[n], NO_DATE)
        sums = (pieces.net, pieces.with_waste, pieces.minutes, pieces.cents)
        amounts = dict(zip(_SUMS, (table[kind, n] * lots for table in sums), strict=True))
        parts.append(_by_period(days, own[:, 0], amounts, case.settings.order_period).assign(article=n))
    if not parts:
        return pd.DataFrame(columns=columns.names("portfolio_needs"))
    rows = pd.concat(parts, ignore_index=True)
    whole = rows.groupby(["period", "article"], as_index=False)[list(_SUMS)].sum().assign(division=-1)
    return _shown(pd.concat([whole, rows], ignore_index=True), pieces.articles, divisions)


_SUMS = ("net", "waste", "minutes", "cents")


def _by_period(days: Ints, division: Ints, amounts: dict[str, Ints], period: str) -> pd.DataFrame:
    """Sums by division and period of one article. Few distinct days among many rows: their texts are made once."""
    distinct, of_day = np.unique(days, return_inverse=True)
    names, of_name = np.unique(period_texts(distinct, period).astype(str), return_inverse=True)
    frame = pd.DataFrame({"division": division, "name": of_name.reshape(-1)[of_day.reshape(-1)], **amounts})
    sums = frame.groupby(["division", "name"], as_index=False)[list(_SUMS)].sum()
    return sums.assign(period=names[sums.pop("name").to_numpy(dtype=np.int64)] if len(sums) else "")


def _shown(rows: pd.DataFrame, articles: Sequence[tuple[str, str]], divisions: Sequence[str]) -> pd.DataFrame:
    rows = rows.assign(undated=rows["period"] == "")
    rows = rows.sort_values(["division", "undated", "period", "article"], ignore_index=True)
    article, division = rows["article"].to_numpy(dtype=np.int64), rows["division"].to_numpy(dtype=np.int64)
    out = pd.DataFrame(
        {
            "level": np.where(division < 0, *LEVELS),
            "division": np.array([*divisions, ""], dtype=object)[division],
            "order_period": rows["period"].astype(object),
            "item": np.array([item for item, _ in articles], dtype=object)[article],
            "drop": np.array([drop for _, drop in articles], dtype=object)[article],
            "quantity": rows["net"].astype(float),
            "quantity_with_waste": rows["waste"] / MILLION,
            "cost": rows["cents"] / 100,
            "labour_hours": rows["minutes"] / (60 * MILLION),
        }
    )
    return out.reindex(columns=columns.names("portfolio_needs"))
