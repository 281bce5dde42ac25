"""The bill of materials: pieces, waste, boxes and money, added up again from the lots by another road.

The sample's own hardware list is read here with the csv module, not with the tool's reader, and what every lot takes
comes from its demands table: one connection's pieces once, whatever its number of load directions.
"""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from tract_helpers import SAMPLE, TWELVE, SampleRun, Screened, cut, screened, write_tract

from screener.bill import lot_rows

BY_COLUMNS = {
    "hazards.exposure": {"column": "exposure_from_drawing"},
    "hazards.kzt": {"column": "kzt_from_drawing"},
    "hazards.land_cover": None,
    "hazards.elevation_ft": None,
    "tiers.most": 1,
}


def _hardware() -> dict[str, dict[str, str]]:
    with (SAMPLE / "hardware.csv").open(encoding="utf-8", newline="") as file:
        return {row["item"]: row for row in csv.DictReader(line for line in file if not line.startswith("#"))}


def _pieces(demands: pd.DataFrame, hardware: dict[str, dict[str, str]]) -> dict[tuple[str, str], Decimal]:
    """Pieces by lot and bill item, from the demands table: each connection once, accessories with their item."""
    out: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for row in demands.drop_duplicates(["lot_id", "point"]).itertuples():
        text = row.item.removeprefix("'")
        found = [item for item in hardware if text.startswith(item + ", ")]
        if not found:
            assert text in ("", "none needed", "cast in with the hold-down"), text
            continue
        listed = hardware[max(found, key=len)]
        own = Decimal(str(row.quantity))
        out[row.lot_id, listed["bill_item"] or listed["item"]] += own
        if listed["accessory"]:
            out[row.lot_id, listed["accessory"]] += own * Decimal(listed["accessory_pieces"] or "1")
    return out


def _breaks(text: str) -> list[tuple[int, Decimal]]:
    pairs = [part.split(":") for part in text.split(";") if part.strip()]
    return [(int(boxes), abs(Decimal(off.strip().rstrip("%"))) / 100) for boxes, off in pairs]


def _listed_price(item: str, hardware: dict[str, dict[str, str]]) -> dict[str, str]:
    return next(row for row in hardware.values() if (row["bill_item"] or row["item"]) == item)


def test_pieces_of_the_bill_are_those_of_the_lots(sample_run: SampleRun) -> None:
    """Net pieces by item and phase, exactly. Would fail where a lot is counted twice or not at all, an accessory is
    forgotten, or pieces are rounded on the way."""
    hardware = _hardware()
    lots = sample_run.table("lots").set_index("lot_id")
    expected: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for (lot, item), pieces in _pieces(sample_run.table("demands"), hardware).items():
        expected[item, lots.loc[lot, "phase"]] += pieces
    billed: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for row in sample_run.table("bill_of_materials").itertuples():
        billed[row.item, row.phase] += Decimal(row.quantity)
    assert {k for k, v in expected.items() if v} == {k for k, v in billed.items() if v}
    for (item, phase), pieces in expected.items():
        if pieces == pieces.to_integral_value():
            assert billed[item, phase] == pieces, (item, phase)
        else:  # an accessory of less than one a piece is rounded up for each house and package line, of which few
            houses = (lots["phase"] == phase).sum()
            assert pieces < billed[item, phase] < pieces + 4 * int(houses), (item, phase)
    assert all(v == v.to_integral_value() for v in billed.values())


def test_boxes_and_money_follow_from_the_pieces(sample_run: SampleRun) -> None:
    """Boxes are rounded up once an item and phase, and each order pays its price break; recomputed with decimals, the
    cheapest number of boxes by trying every one up to the last break.

    The sample: -6 % from 10 boxes, -11 % from 60 (invented): 59 boxes cost 59 x 0.94 = 55.46, 60 cost 53.40.
    """
    hardware = _hardware()
    bill = sample_run.table("bill_of_materials")
    total = Decimal(0)
    more = 0
    for (item, phase), rows in bill.groupby(["item", "phase"]):
        listed = _listed_price(item, hardware)
        needed = sum((Decimal(v) for v in rows["quantity_with_waste"]), Decimal(0))
        needed -= sum((Decimal(v) for v in rows["from_stock"]), Decimal(0))
        box, breaks = Decimal(listed["purchase_unit_qty"]), _breaks(listed["price_breaks"])
        least = math.ceil(needed / box)

        def order(boxes: int, box: Decimal = box, breaks: list[tuple[int, Decimal]] = breaks) -> Decimal:
            off = max([o for from_boxes, o in breaks if boxes >= from_boxes], default=Decimal(0))
            cost = boxes * box * Decimal(listed["unit_cost"]) * (1 - off)  # noqa: B023
            return cost.quantize(Decimal("0.01"), ROUND_HALF_UP)

        cost, boxes = min((order(n), n) for n in range(least, max([least, *(n for n, _ in breaks)]) + 1))
        more += boxes > least
        assert sum(Decimal(v) for v in rows["purchase_units"]) == boxes, (item, phase)
        assert sum(Decimal(v) for v in rows["units_for_break"]) == boxes - least, (item, phase)
        assert sum(Decimal(v) for v in rows["cost"]) == cost, (item, phase)
        total += cost
    assert sum(Decimal(v) for v in bill["cost"]) == total
    for item, rows in bill.groupby("item"):
        used = sum((Decimal(v) for v in rows["from_stock"]), Decimal(0))
        stock = sum(int(row["stock"] or 0) for row in hardware.values() if (row["bill_item"] or row["item"]) == item)
        assert used == min(stock, sum((Decimal(v) for v in rows["quantity_with_waste"]), Decimal(0))), item
    assert more  # the sample has orders that are cheaper with boxes to spare


def test_waste_is_the_items_own(sample_run: SampleRun) -> None:
    """quantity_with_waste is quantity times one plus the waste of the list, row by row."""
    hardware = _hardware()
    for row in sample_run.table("bill_of_materials").itertuples():
        share = Decimal(_listed_price(row.item, hardware)["waste"] or "0.05")
        assert Decimal(row.quantity_with_waste) == Decimal(row.quantity) * (1 + share), row.item


def test_money_of_the_lots_is_the_bill_before_rounding(sample_run: SampleRun) -> None:
    """Sum of hardware_cost is pieces with waste at list prices, to half a cent a lot and line; hours are the same sum
    on both sides. What the bill adds is whole boxes less price breaks, and it is shown by its own columns."""
    hardware = _hardware()
    lots, bill = sample_run.table("lots"), sample_run.table("bill_of_materials")
    have = lots[lots["tier"] != ""]
    listed = Decimal(0)
    for row in bill.itertuples():
        listed += Decimal(row.quantity_with_waste) * Decimal(_listed_price(row.item, hardware)["unit_cost"])
    paid = sum((Decimal(v) for v in have["hardware_cost"]), Decimal(0))
    assert abs(paid - listed) <= Decimal("0.005") * len(have) * 60
    hours = sum((Decimal(v) for v in have["labour_hours"]), Decimal(0))
    billed = sum((Decimal(v) for v in bill["labour_hours"]), Decimal(0))
    assert abs(hours - billed) <= Decimal("0.0005") * (len(have) + len(bill))
    for row in have.itertuples():
        labour = Decimal(row.labour_hours) * 58
        assert abs(Decimal(row.hardware_cost) + labour - Decimal(row.total_cost)) <= Decimal("0.035"), row.lot_id
    whole = sum((Decimal(v) for v in bill["cost"]), Decimal(0))
    assert whole != paid  # boxes are whole
    assert abs(whole - paid) < paid / 5


def test_a_lots_cost_from_its_demands(sample_run: SampleRun) -> None:
    """Three lots priced by hand from their demands rows: pieces, waste, list price, each item to the cent or two."""
    hardware = _hardware()
    lots = sample_run.table("lots")
    pieces = _pieces(sample_run.table("demands"), hardware)
    for row in lots[lots["tier"] != ""].iloc[[0, 40, 90]].itertuples():
        cost = Decimal(0)
        for (lot, item), count in pieces.items():
            if lot == row.lot_id:
                listed = _listed_price(item, hardware)
                cost += count * (1 + Decimal(listed["waste"] or "0.05")) * Decimal(listed["unit_cost"])
        assert abs(cost - Decimal(row.hardware_cost)) < Decimal("0.30"), row.lot_id


# ---------------------------------------------------------------- order levels, months, what is bought already


@pytest.fixture(scope="module")
def by_level(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Screened]:
    """Six lots in two phases and several months, ordered by phase, by drop and by house."""
    names = (*TWELVE[:4], "B-14", "C-14")
    return {
        level: screened(
            write_tract(tmp_path_factory.mktemp(level), cut(names), {**BY_COLUMNS, "purchase.order_level": level})
        )
        for level in ("phase", "drop", "house")
    }


def test_order_levels_buy_the_same_pieces_in_more_boxes(by_level: dict[str, Screened]) -> None:
    """Net pieces do not depend on where boxes are rounded; drops and houses are parts of a phase, so they never take
    fewer boxes than it; boxes are whole."""
    bills = {level: run.results.bill_of_materials for level, run in by_level.items()}
    pieces = {level: bill.groupby("item")["quantity"].sum() for level, bill in bills.items()}
    boxes = {level: bill.groupby("item")["purchase_units"].sum() for level, bill in bills.items()}
    assert pieces["phase"].equals(pieces["drop"])
    assert pieces["phase"].equals(pieces["house"])
    assert (boxes["phase"] <= boxes["drop"]).all()
    assert (boxes["phase"] <= boxes["house"]).all()
    assert boxes["house"].sum() > boxes["phase"].sum()
    for bill in bills.values():  # a row of a shared order may hold none of its boxes, but never a part of one
        assert (bill["purchase_units"] == bill["purchase_units"].round()).all()
    drops = bills["drop"]
    assert ((drops["purchase_units"] >= 1) | (drops["from_stock"] == drops["quantity_with_waste"])).all()


@pytest.mark.parametrize("level", ["phase", "drop", "house"])
def test_the_bill_is_the_sum_over_lots_at_every_level(by_level: dict[str, Screened], level: str) -> None:
    """Item, phase, month and drop of every lot's pieces, added up, are the bill's rows, hours and waste included."""
    run = by_level[level]
    rows = lot_rows(run.prepared, run.selection)
    sums = rows.groupby(["item", "phase", "month", "drop"])[["quantity", "quantity_with_waste", "labour_hours"]].sum()
    bill = run.results.bill_of_materials.set_index(["item", "phase", "month", "drop"])
    assert bill.index.equals(sums.index)
    for name in sums.columns:
        assert list(bill[name]) == [float(v) for v in sums[name]], name
    months = {str(start)[:7] for start in run.lots["start"]}
    assert set(bill.index.get_level_values("month")) == months
    assert set(bill.index.get_level_values("drop")) <= {"foundation", "walls", "floor", "roof"}


def test_money_of_the_lots_adds_up_in_cents(by_level: dict[str, Screened]) -> None:
    """hardware_cost of a lot is the sum of its rows' cents, exactly."""
    run = by_level["phase"]
    rows = lot_rows(run.prepared, run.selection)
    cents = rows.groupby("lot_id")["material_cents"].sum()
    for lot, value in run.lots["hardware_cost"].items():
        assert round(value * 100) == cents[lot]


def test_what_is_bought_already_is_not_in_the_bill(tmp_path: Path) -> None:
    """Lots with a package of their own have a cost, but no row; with all lots bought the bill is empty."""
    lots = cut(TWELVE[:2])
    lots["package"] = ["as bought", None]
    some = screened(write_tract(tmp_path / "some", lots, BY_COLUMNS))
    alone = screened(write_tract(tmp_path / "alone", cut(TWELVE[1:2]), BY_COLUMNS))
    assert some.results.bill_of_materials["quantity"].sum() >= alone.results.bill_of_materials["quantity"].sum() * 0.9
    rows = lot_rows(some.prepared, some.selection)
    bought = rows[~rows["buy"].astype(bool)]
    assert set(bought["lot_id"]) <= {TWELVE[0]}
    billed = some.results.bill_of_materials["quantity"].sum()
    assert billed == float(rows.loc[rows["buy"].astype(bool), "quantity"].sum())
    lots["package"] = "as bought"
    every = screened(write_tract(tmp_path / "every", lots, BY_COLUMNS))
    assert len(every.results.bill_of_materials) == 0
    assert list(every.results.bill_of_materials.columns) == list(some.results.bill_of_materials.columns)


def test_a_dearer_list_costs_more_and_a_price_scale_scales(tmp_path: Path) -> None:
    """All prices times two and labour free: the same choice of the same lots costs twice as much."""
    text = (SAMPLE / "hardware.csv").read_text(encoding="utf-8")
    header, *rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))
    at = header.index("unit_cost")
    double = tmp_path / "double.csv"
    with double.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows([*row[:at], str(Decimal(row[at]) * 2), *row[at + 1 :]] for row in rows)
    changes: dict[str, Any] = {**BY_COLUMNS, "purchase.labour_usd_per_h": 0.0}
    once = screened(write_tract(tmp_path / "a", cut(TWELVE[:2]), changes))
    twice = screened(write_tract(tmp_path / "b", cut(TWELVE[:2]), {**changes, "hardware.file": str(double)}))
    for lot in TWELVE[:2]:
        assert twice.lots.loc[lot, "hardware_cost"] == pytest.approx(2 * once.lots.loc[lot, "hardware_cost"], abs=0.3)
    assert list(twice.demands["item"]) == list(once.demands["item"])
