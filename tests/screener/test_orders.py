"""Orders from kits, dates and prices: hand-worked cases, and laws over made-up cases."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from purchase_cases import SAMPLE_BREAKS, cases, make_case, price_row

from screener.order_dates import NO_DATE, day_numbers, day_texts, lot_dates, period_texts
from screener.orders import allocate, firm_lines, order_table
from screener.price_list import MILLION, PriceList, of_records
from screener.prices import PriceBreak, order_cents
from screener.purchase_case import PurchaseCase
from screener.purchase_tables import lot_money, purchase_of
from screener.rounding import rounding_costs

FEW = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


def lines_of(case: PurchaseCase) -> pd.DataFrame:
    return allocate(case, firm_lines(case).assign(sized_at=""))


# ---------------------------------------------------------------- by hand


def two_lots(**settings: object) -> PurchaseCase:
    """Two houses of one plan in phase 1: 48 bolts each for the foundation, 30 ties each for the roof.

    Bolts: box of 25, $2.00, 4 % waste, lead 10 days, 20 in stock. Ties: box of 50, $1.00, 5 % waste, lead 35 days.
    """
    return make_case(
        {"plan/a": [("bolt", "foundation", 48), ("tie", "roof", 30)]},
        [("A-1", "1", "2027-03-03", "plan/a"), ("A-2", "1", "2027-04-10", "plan/a")],
        prices=[
            price_row("bolt", "2.00", 25, waste="0.04", stock=20, lead=10),
            price_row("tie", "1.00", 50, waste="0.05", lead=35),
        ],
        **settings,
    )


def test_two_lots_by_hand() -> None:
    """Bolts: 49.92 with waste each; stock 20 goes to the first: 29.92 -> 2 boxes (20.08 left), then 79.84 in all ->
    4 boxes, so 2 more (20.16 left). Needed day 3: March 6 and April 13; order 10 days before: Feb 24 and April 3.
    Ties: 31.5 -> 1 box (18.5 left), 63 in all -> 2 boxes, 1 more (37 left). Day 25 less 35: Feb 21 and March 31."""
    orders = purchase_of(two_lots()).orders.set_index(["item", "order_period"])
    assert list(orders.index) == [("bolt", "2027-02"), ("tie", "2027-02"), ("tie", "2027-03"), ("bolt", "2027-04")]
    first, second = orders.loc[("bolt", "2027-02")], orders.loc[("bolt", "2027-04")]
    assert (first["order_by"], first["needed_on"], first["from_stock"]) == ("2027-02-24", "2027-03-06", 20.0)
    assert (first["purchase_units"], first["leftover_pieces"], first["cost"]) == (2.0, pytest.approx(20.08), 100.0)
    assert (second["order_by"], second["needed_on"], second["from_stock"]) == ("2027-04-03", "2027-04-13", 0.0)
    assert (second["purchase_units"], second["leftover_pieces"], second["cost"]) == (2.0, pytest.approx(20.16), 100.0)
    ties = orders.loc["tie"]
    assert list(ties["order_by"]) == ["2027-02-21", "2027-03-31"]
    assert list(ties["purchase_units"]) == [1.0, 1.0]
    assert list(ties["leftover_pieces"]) == [pytest.approx(18.5), pytest.approx(37.0)]
    assert list(orders["lots"]) == [1, 1, 1, 1]
    assert list(orders["purchase_unit"]) == ["box of 25", "box of 50", "box of 50", "box of 25"]


def test_a_margin_and_another_day_move_the_order() -> None:
    case = two_lots(order_margin_days=4, drop_day={"foundation": 7, "walls": 14, "floor": 20, "roof": 25})
    orders = purchase_of(case).orders
    bolts = orders[orders["item"] == "bolt"]
    assert list(bolts["needed_on"]) == ["2027-03-10", "2027-04-17"]
    assert list(bolts["order_by"]) == ["2027-02-24", "2027-04-03"]


def test_the_bill_of_two_lots_is_by_month_of_the_start() -> None:
    bill = purchase_of(two_lots()).bill
    assert list(bill["item"]) == ["bolt", "bolt", "tie", "tie"]
    assert list(bill["month"]) == ["2027-03", "2027-04"] * 2
    assert list(bill["quantity"]) == [48.0, 48.0, 30.0, 30.0]
    assert list(bill["quantity_with_waste"]) == [49.92, 49.92, 31.5, 31.5]
    assert list(bill["from_stock"]) == [20.0, 0.0, 0.0, 0.0]


@pytest.mark.parametrize(("as_of", "late"), [("2027-02-24", 1), ("2027-02-25", 2), ("2027-02-21", 0)])
def test_late_is_past_the_projects_own_date(as_of: str, late: int) -> None:
    """On the day itself an order is not late; without a date nothing is judged."""
    orders = purchase_of(replace(two_lots(), as_of=date.fromisoformat(as_of))).orders
    assert sum(v is True for v in orders["late"]) == late
    assert purchase_of(two_lots()).orders["late"].isna().all()


def test_lots_without_a_start_have_their_own_bucket() -> None:
    case = two_lots()
    case = replace(case, lots=case.lots.assign(start=["2027-03-03", ""]))
    orders = purchase_of(case).orders
    undated = orders[orders["order_period"] == ""]
    assert set(undated["item"]) == {"bolt", "tie"}
    assert (undated["order_by"] == "").all()
    assert (undated["needed_on"] == "").all()
    assert undated["from_stock"].sum() == 0  # pieces in hand go to dated orders first


def test_freeze_and_first_order() -> None:
    """Frozen at the start; the first order is the tie's: day 25 less 35 days, before the start."""
    dates = lot_dates(two_lots()).set_index("lot_id")
    assert list(dates["freeze_date"]) == ["2027-03-03", "2027-04-10"]
    assert list(dates["first_order_by"]) == ["2027-02-21", "2027-03-31"]


def test_bought_lots_are_not_ordered_again() -> None:
    case = make_case(
        {"plan/a": [("bolt", "foundation", 48)]},
        [("A-1", "1", "2027-03-03", "plan/a"), ("A-2", "1", "2027-03-03", "plan/a")],
        prices=[price_row("bolt", "2.00", 25)],
        bought=["A-1"],
    )
    assert purchase_of(case).orders["quantity"].sum() == 48
    assert lot_money(case).loc["A-1", "hardware_cost"] == 96.0  # but it has a cost


def test_buying_up_to_a_break() -> None:
    """57 boxes of $10 at 6 % off are $535.80, 60 at 11 % off $534.00: three boxes more cost less, and are shown."""
    case = make_case(
        {"plan/a": [("bolt", "foundation", 570)]},
        [("A-1", "1", "2027-03-03", "plan/a")],
        prices=[price_row("bolt", "1.00", 10, SAMPLE_BREAKS)],
    )
    (row,) = purchase_of(case).orders.to_dict("records")
    assert (row["purchase_units"], row["units_for_break"], row["cost"]) == (60.0, 3.0, 534.0)
    assert (row["unit_price"], row["leftover_pieces"]) == (pytest.approx(0.89), 30.0)
    (plain,) = purchase_of(case.with_settings({"buy_to_break": False})).orders.to_dict("records")
    assert (plain["purchase_units"], plain["units_for_break"], plain["cost"]) == (57.0, 0.0, 535.8)


def test_square_feet_are_not_boxes() -> None:
    rows = [price_row("deck", box=1, unit="sq ft"), price_row("nail", box=2500, unit="nail"), price_row("post", box=1)]
    prices = PriceList((*rows, price_row("film", box=500, unit="sq ft")))
    assert [prices.purchase_unit(i) for i in ("deck", "nail", "post", "film")] == [
        "sq ft",
        "box of 2,500",
        "each",
        "500 sq ft",
    ]


def test_weeks_begin_on_monday_and_belong_to_the_year_of_their_thursday() -> None:
    """ISO 8601 week numbers, against the standard library's own."""
    days = [date(2026, 12, 27) + timedelta(days=n) for n in range(12)]
    found = period_texts(day_numbers([d.isoformat() for d in days]), "week")
    assert list(found) == [f"{d.isocalendar().year}-W{d.isocalendar().week:02d}" for d in days]
    with pytest.raises(ValueError, match="week or month"):
        period_texts(day_numbers(["2026-01-01"]), "day")


def test_dates_there_and_back() -> None:
    texts = ["", "1969-12-31", "2028-02-29", "2027-01-01"]
    assert list(day_texts(day_numbers(texts))) == texts
    assert day_numbers([""])[0] == NO_DATE


# ---------------------------------------------------------------- laws


@FEW
@given(cases())
def test_orders_are_the_bill(case: PurchaseCase) -> None:
    """Pieces, waste, stock, boxes and cents of firm orders add up to those of the bill, item by item."""
    found = purchase_of(case)
    names = ["quantity", "quantity_with_waste", "from_stock", "purchase_units", "units_for_break"]
    keys = ["item", "phase", "drop"]
    if not len(found.bill):
        assert not len(found.orders)
        return
    bill, orders = (t.groupby(keys)[[*names, "cost"]].sum() for t in (found.bill, found.orders))
    assert bill.index.equals(orders.index)
    for name in (*names, "cost"):
        assert bill[name].to_numpy() == pytest.approx(orders[name].to_numpy(), abs=1e-6), name


@FEW
@given(cases())
def test_the_bill_is_the_sum_over_lots(case: PurchaseCase) -> None:
    """Net pieces and waste, lot by lot through its kit, in decimals."""
    bill = purchase_of(case).bill
    expected: dict[tuple[str, str], Decimal] = {}
    with_waste: dict[tuple[str, str], Decimal] = {}
    phases = dict(zip(case.lots["lot_id"], case.lots["phase"], strict=True))
    for lot, kit in zip(case.lot_kits["lot_id"], case.lot_kits["kit"], strict=True):
        for row in case.kits[case.kits["kit"] == kit].to_dict("records"):
            key = (row["item"], phases[lot])
            waste = case.prices.by_item[row["item"]].waste
            share = 1 + (Decimal("0.05") if waste is None else waste)
            expected[key] = expected.get(key, Decimal(0)) + row["quantity"]
            with_waste[key] = with_waste.get(key, Decimal(0)) + row["quantity"] * share
    sums = bill.groupby(["item", "phase"])[["quantity", "quantity_with_waste"]].sum() if len(bill) else {}
    assert len(sums) == len(expected)
    for key, pieces in expected.items():
        assert sums.loc[key, "quantity"] == float(pieces)
        assert sums.loc[key, "quantity_with_waste"] == pytest.approx(float(with_waste[key]), abs=1e-9)


@FEW
@given(cases())
def test_boxes_are_never_short_and_never_one_too_many(case: PurchaseCase) -> None:
    """In each order, line by line: stock and boxes so far hold the need so far; without a break, less than a box is
    left over. Stock is used up to what there is, and never beyond a line's need."""
    lines = lines_of(case)
    for _, rows in lines.groupby("order"):
        size = case.prices.price(rows["item"].iloc[0]).purchase_unit_qty * MILLION
        got = (rows["units"] * size).cumsum()
        need = (rows["with_waste"] - rows["from_stock"]).cumsum()
        assert (got >= need).all()
        assert (got - (rows["extra"] * size).cumsum() - need < size).all()
        assert (rows["left"] == got - need).all()
    for item, rows in lines.groupby("item"):
        assert (rows["from_stock"] <= rows["with_waste"]).all()
        assert rows["from_stock"].sum() == min(rows["with_waste"].sum(), case.prices.stock(str(item)) * MILLION)


@FEW
@given(cases())
def test_every_order_pays_the_least_there_is(case: PurchaseCase) -> None:
    """By trying every number of boxes from the need to past the last break."""
    for _, rows in lines_of(case).groupby("order"):
        price = case.prices.price(rows["item"].iloc[0])
        need = math.ceil((rows["with_waste"] - rows["from_stock"]).sum() / (price.purchase_unit_qty * MILLION))
        last = max([need, *(b.from_units for b in price.breaks)])
        assert rows["cents"].sum() == (min(order_cents(n, price) for n in range(need, last + 1)) if need else 0)


@FEW
@given(cases(), st.integers(0, 7), st.sampled_from(["", "2027-01-04"]))
def test_more_lots_never_need_less(case: PurchaseCase, like: int, start: str) -> None:
    kit = case.lot_kits["kit"].iloc[like % len(case.lot_kits)]
    row = {"lot_id": "Z-99", "state": "firm", "plan": "p", "share": 1.0, "kit": kit, "why": ""}
    lot = {"lot_id": "Z-99", "phase": "1", "start": start}
    more = replace(
        case,
        lot_kits=pd.concat([case.lot_kits, pd.DataFrame([row])], ignore_index=True),
        lots=pd.concat([case.lots, pd.DataFrame([lot])], ignore_index=True),
    )
    less, grown = lines_of(case), lines_of(more)
    for name in ("quantity", "with_waste"):
        before, after = (t.groupby("item")[name].sum() for t in (less, grown))
        assert (after.reindex(before.index) >= before).all()


@FEW
@given(cases(), st.randoms(use_true_random=False))
@pytest.mark.long
def test_the_order_of_lots_and_kits_does_not_matter(case: PurchaseCase, random: object) -> None:
    seed = random.randint(0, 2**31)  # type: ignore[attr-defined]
    mixed = replace(
        case,
        lot_kits=case.lot_kits.sample(frac=1, random_state=seed).reset_index(drop=True),
        lots=case.lots.sample(frac=1, random_state=seed + 1).reset_index(drop=True),
        kits=case.kits.sample(frac=1, random_state=seed + 2).reset_index(drop=True),
    )
    pd.testing.assert_frame_equal(purchase_of(case).bill, purchase_of(mixed).bill)
    pd.testing.assert_frame_equal(purchase_of(case).orders, purchase_of(mixed).orders)


@FEW
@given(cases())
def test_prices_survive_being_stored(case: PurchaseCase) -> None:
    """The price list written as texts and read again is the same list."""
    stored = case.prices.frame().map(
        lambda v: "" if v is None or v != v else str(int(v)) if isinstance(v, float) else str(v)
    )
    assert of_records(stored).rows == case.prices.rows


def test_a_price_break_of_forty_percent_is_worth_two_boxes_more() -> None:
    """One box at $7 or three at 40 % off, $12.60: one. Two at $14 or three at $12.60: three."""
    for pieces, boxes in ((7, 1), (14, 3)):
        case = make_case(
            {"plan/a": [("bolt", "foundation", pieces)]},
            [("A-1", "1", "", "plan/a")],
            prices=[price_row("bolt", "1.00", 7, (PriceBreak(3, Decimal("0.4")),))],
        )
        assert order_table(case, lines_of(case))["purchase_units"].tolist() == [boxes]


def test_rounding_by_hand_and_never_dearer_when_done_for_more_at_once() -> None:
    """Two houses of 48 bolts (49.92 with waste, box of 25 at $50) and 30 ties (31.5, box of 50 at $50) in two months.

    Bare pieces 192 + 60 = $252; with waste 199.68 + 63 = $262.68. By phase 99.84 -> 4 boxes, 63 -> 2: $300. By delivery
    and month 49.92 -> 2 twice, 31.5 -> 1 twice: $300; by house the same."""
    assert rounding_costs(two_lots()) == {
        "pieces": 25200,
        "with_waste": 26268,
        "tract": 30000,
        "phase": 30000,
        "drop": 30000,
        "house": 30000,
    }
    assert rounding_costs(make_case({"plan/a": [("bolt", "walls", 1)]}, prices=[price_row("bolt")])) == {}


@FEW
@given(cases())
def test_parts_cost_no_less_than_the_whole(case: PurchaseCase) -> None:
    """A tract's order may be split into its phases' and so on, so it never costs more; each covers its pieces. What is
    ordered at the case's own level, without stock, is the bill."""
    bare = replace(case, prices=PriceList(tuple(replace(row, stock=0) for row in case.prices.rows)))
    found = rounding_costs(bare)
    if not found or not found["pieces"]:
        return
    slack = len(bare.lots) * 3 * 2  # each order is rounded to the cent
    assert found["tract"] <= found["phase"] + slack <= found["drop"] + 2 * slack
    assert found["phase"] <= found["house"] + slack
    level = bare.settings.order_level
    assert found[level] == lines_of(bare)["cents"].sum()
