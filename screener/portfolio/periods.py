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
from screener.portfolio.bill import ROWS_AT_ONCE, articles_of, kit_pieces
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
    articles = articles_of(starts, options, worth)
    if not articles:
        return pd.DataFrame(columns=columns.names("portfolio_needs"))
    ahead = lead_days(case, [item for item, _ in articles]) + case.settings.order_margin_days
    offset = drop_days(case, [drop for _, drop in articles]) - ahead
    parts = []
    for first in range(0, len(starts), ROWS_AT_ONCE):
        own = starts[first : first + ROWS_AT_ONCE]
        one = kit_pieces(own, options, worth, articles)
        at, article = np.nonzero(one.net)
        start = own[at, 4]
        frame = pd.DataFrame(
            {
                "division": own[at, 0],
                "article": article,
                "day": np.where(start < NO_DATE, start + offset[article], NO_DATE),
                **{
                    name: table[at, article] * own[at, 5]
                    for name, table in zip(_SUMS, (one.net, one.with_waste, one.minutes, one.cents), strict=True)
                },
            }
        )
        parts.append(frame.groupby(["division", "article", "day"], as_index=False)[list(_SUMS)].sum())
    rows = _by_period(pd.concat(parts, ignore_index=True), case.settings.order_period)
    whole = rows.groupby(["period", "article"], as_index=False)[list(_SUMS)].sum().assign(division=-1)
    return _shown(pd.concat([whole, rows], ignore_index=True), articles, divisions)


_SUMS = ("net", "waste", "minutes", "cents")


def _by_period(rows: pd.DataFrame, period: str) -> pd.DataFrame:
    """Sums by division, article and period. Few distinct days among many rows: their texts are made once."""
    days, of_day = np.unique(rows["day"].to_numpy(dtype=np.int64), return_inverse=True)
    named = rows.assign(period=period_texts(days, period)[of_day.reshape(-1)])
    return named.groupby(["division", "article", "period"], as_index=False)[list(_SUMS)].sum()


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
