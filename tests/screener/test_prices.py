"""Money in whole cents: rounding, price breaks, and the cheapest order against trying every number of boxes."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from screener.prices import (
    Price,
    PriceBreak,
    cents,
    cheapest_order,
    order_cents,
    parse_price_breaks,
    piece_cents,
    share_off,
    share_out,
)

FEW = settings(max_examples=200, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
SAMPLE_BREAKS = (PriceBreak(10, Decimal("0.06")), PriceBreak(60, Decimal("0.11")))


def test_half_a_cent_goes_up_and_prices_are_as_written():
    assert cents("0.005") == 1
    assert cents(1.005) == 101  # as written, not its binary neighbour below
    assert cents(Decimal("2.6749")) == 267
    assert piece_cents(5000, Price(Decimal("0.021"))) == 10500


@pytest.mark.parametrize("text", ["10: 6%; 60: 11%", "10:0.06|60:0.11", "60: -11 %; 10 boxes: 6%"])
def test_price_breaks_as_written(text):
    assert parse_price_breaks(text) == SAMPLE_BREAKS


@pytest.mark.parametrize("text", [None, "", "  ", float("nan")])
def test_no_price_breaks(text):
    assert parse_price_breaks(text) == ()


@pytest.mark.parametrize("text", ["ten: 6%", "10", "10: 6%; x", "10: 100%", "0: 5%"])
def test_price_breaks_that_make_no_sense(text):
    with pytest.raises(ValueError, match="price break"):
        parse_price_breaks(text)


def test_a_break_takes_its_share_off_every_box():
    """A box of 100 at $1.35 is $135.00: 9 boxes $1,215.00; 10 at 6 % off $1,269.00; 60 at 11 % off $7,209.00."""
    price = Price(Decimal("1.35"), 100, SAMPLE_BREAKS)
    assert [order_cents(units, price) for units in (9, 10, 60)] == [121500, 126900, 720900]
    assert [share_off(units, SAMPLE_BREAKS) for units in (0, 9, 10, 59, 60)] == [
        0,
        0,
        Decimal("0.06"),
        Decimal("0.06"),
        Decimal("0.11"),
    ]


def test_more_boxes_can_cost_less():
    """57 boxes at 6 % off cost 57 x 0.94 = 53.58 boxes, 60 at 11 % off 53.40: three more boxes, less money."""
    price = Price(Decimal("1.00"), 100, SAMPLE_BREAKS)
    assert cheapest_order(57, price) == (60, 534000)
    assert cheapest_order(56, price) == (56, 526400)
    assert cheapest_order(0, price) == (0, 0)


@FEW
@given(
    needed=st.integers(0, 80),
    usd=st.integers(0, 3000),
    box=st.integers(1, 50),
    breaks=st.lists(st.tuples(st.integers(1, 90), st.integers(0, 60)), max_size=3),
)
def test_cheapest_order_vs_every_number_of_boxes(needed, usd, box, breaks):
    units = sorted({each for each, _ in breaks})
    offs = sorted(off for _, off in breaks)[: len(units)]
    price = Price(
        Decimal(usd) / 100,
        box,
        tuple(PriceBreak(unit, Decimal(off) / 100) for unit, off in zip(units, offs, strict=True)),
    )
    best = min((order_cents(each, price), each) for each in range(needed, 200)) if needed else (0, 0)
    assert cheapest_order(needed, price) == (best[1], best[0])


def test_breaks_out_of_order_are_refused():
    with pytest.raises(ValueError, match="out of order"):
        Price(Decimal(1), 1, (PriceBreak(10, Decimal("0.1")), PriceBreak(20, Decimal("0.05"))))
    with pytest.raises(ValueError, match="whole number from 1"):
        Price(Decimal(1), 0)
    with pytest.raises(ValueError, match="not below 0"):
        Price(Decimal(-1))


@FEW
@given(total=st.integers(0, 10**9), weights=st.lists(st.integers(0, 10**6), min_size=1, max_size=12))
def test_shares_add_up_and_none_is_a_cent_off(total, weights):
    parts = share_out(total, weights)
    assert sum(parts) == total
    whole = sum(weights)
    if whole:
        assert all(abs(part * whole - total * weight) < whole for part, weight in zip(parts, weights, strict=True))


def test_nothing_to_share_and_nobody_to_share_with():
    assert share_out(0, []) == []
    assert share_out(7, [0, 0]) == [7, 0]
    with pytest.raises(ValueError, match="no rows"):
        share_out(1, [])
