"""Purchase cases made by hand or by hypothesis: kits, lots, prices and settings without any house or hazard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

import pandas as pd
from hypothesis import strategies as st

from screener.config_sections import PurchaseSection
from screener.kits import KITS, LOT_KITS, fitted_shares
from screener.price_list import PriceList, PriceRow
from screener.prices import Price, PriceBreak
from screener.purchase_case import PurchaseCase

DROPS = ("foundation", "walls", "floor", "roof")
SAMPLE_BREAKS = (PriceBreak(10, Decimal("0.06")), PriceBreak(60, Decimal("0.11")))


def price_row(
    item: str,
    cost: str = "1.00",
    box: int = 10,
    breaks: tuple[PriceBreak, ...] = (),
    waste: str | None = "0",
    stock: int = 0,
    lead: int | None = 10,
    unit: str = "each",
) -> PriceRow:
    price = Price(Decimal(cost), box, breaks)
    return PriceRow(item, item, unit, price, None if waste is None else Decimal(waste), stock, lead, Decimal(2))


def make_case(
    kits: Mapping[str, Sequence[tuple[str, str, int]]],
    firm: Sequence[tuple[str, str, str, str]] = (),
    open_lots: Mapping[str, Mapping[str, tuple[str, str]]] | None = None,
    prices: Sequence[PriceRow] = (),
    open_at: tuple[str, str] = ("1", "2027-01-01"),
    as_of: date | None = None,
    bought: Sequence[str] = (),
    **settings: Any,
) -> PurchaseCase:
    """`kits`: name -> (item, drop, pieces); `firm`: (lot, phase, start, kit); `open_lots`: lot -> plan -> (kit, why).

    All open lots have one phase and start (`open_at`). Plans of kits are the text before the first "/".
    """
    rows = [(k, k.split("/")[0], k, "p", "line", i, i, d, n) for k, items in kits.items() for i, d, n in items]
    lot_rows = [
        (lot, "bought" if lot in bought else "firm", kit.split("/")[0], 1.0, kit, "") for lot, _, _, kit in firm
    ]
    mix = settings.get("plan_mix", {})
    opened = [
        (lot, "open", plan, mix.get(plan, 0.0), kit, why)
        for lot, plans in (open_lots or {}).items()
        for plan, (kit, why) in plans.items()
    ]
    table = pd.DataFrame(lot_rows, columns=list(LOT_KITS))
    if opened:
        table = pd.concat([table, fitted_shares(pd.DataFrame(opened, columns=list(LOT_KITS)))], ignore_index=True)
    lots = [(lot, phase, start) for lot, phase, start, _ in firm] + [(lot, *open_at) for lot in open_lots or {}]
    return PurchaseCase(
        pd.DataFrame(rows, columns=list(KITS)),
        table,
        pd.DataFrame(lots, columns=["lot_id", "phase", "start"]),
        PriceList(tuple(prices)),
        PurchaseSection.model_validate({"labour_usd_per_h": 60, **settings}),
        as_of,
    )


ITEMS = ("bolt", "strap", "tie")


@st.composite
def cases(draw: st.DrawFn, lots: int = 8, **settings: Any) -> PurchaseCase:
    """Cases of a few kits, lots in phases with and without dates, prices with breaks, boxes, stock and waste."""
    kits = {
        f"plan{k}/a": [
            (item, DROPS[(n + k) % 4 if item == "tie" else n], draw(st.integers(0, 40))) for n, item in enumerate(ITEMS)
        ]
        for k in range(draw(st.integers(1, 3)))
    }
    firm = [
        (
            f"L-{n:02d}",
            draw(st.sampled_from(["1", "2", ""])),
            draw(st.sampled_from(["", "2026-12-30", "2027-01-04", "2027-02-20"])),
            draw(st.sampled_from(sorted(kits))),
        )
        for n in range(draw(st.integers(1, lots)))
    ]
    prices = [
        price_row(
            item,
            str(draw(st.integers(1, 500)) / Decimal(100)),
            draw(st.sampled_from([1, 2, 7, 25])),
            draw(st.sampled_from([(), SAMPLE_BREAKS, (PriceBreak(3, Decimal("0.4")),)])),
            draw(st.sampled_from(["0", "0.02", "0.05", None])),
            draw(st.sampled_from([0, 5, 60])),
            draw(st.sampled_from([None, 0, 3, 35])),
        )
        for item in ITEMS
    ]
    levels = draw(st.sampled_from(["phase", "drop", "house"]))
    period = draw(st.sampled_from(["week", "month"]))
    return make_case(
        {k: [r for r in rows if r[2]] for k, rows in kits.items()},
        firm,
        prices=prices,
        order_level=levels,
        order_period=period,
        **settings,
    )
