"""The forecast of lots with no plan yet, the chance that an order falls short, another mix, and count lists."""

from __future__ import annotations

import itertools
import math
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from purchase_cases import make_case, price_row

from hazard.issues import InputError
from screener.count_lists import CountRow, read_counts
from screener.open_demand import OpenDemand
from screener.purchase_case import PurchaseCase
from screener.purchase_tables import purchase_of
from screener.shortage import shortage
from screener.takeoff import compare_counts, learnt_waste, write_learnt

FEW = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
KITS = {
    "one/a": [("bolt", "foundation", 40), ("tie", "roof", 50)],
    "two/a": [("bolt", "foundation", 60), ("tie", "roof", 44), ("strap", "floor", 30)],
}
PRICES = (
    price_row("bolt", "2.00", 25, waste="0.04", lead=10),
    price_row("tie", "1.00", 50, waste="0.05", lead=14),
    price_row("strap", "3.00", 10, waste="0", lead=35),
)


def open_case(lots: int = 3, mix: dict[str, float] | None = None, narrow: int = 0, **settings: object) -> PurchaseCase:
    """Open lots of phase 2; on the first `narrow` of them plan two does not fit. One firm lot beside them."""
    plans = {
        f"B-{n:02d}": {"one": ("one/a", ""), "two": ("", "no_fit") if n < narrow else ("two/a", "")}
        for n in range(lots)
    }
    return make_case(
        KITS,
        [("A-1", "1", "2027-01-10", "one/a")],
        plans,
        PRICES,
        ("2", "2027-06-01"),
        plan_mix=mix or {"one": 0.6, "two": 0.4},
        **settings,
    )


def tract_rows(case: PurchaseCase) -> dict[str, dict[str, float]]:
    table = purchase_of(case).forecast
    return {r["item"]: r for r in table[table["level"] == "tract"].to_dict("records")}


def test_three_lots_by_hand() -> None:
    """Straps: 30 with 0.4 on each of three lots: 0, 30, 60, 90 with 0.216, 0.432, 0.288, 0.064; mean 36.
    Bolts: 40 of the firm lot, 120 to 180 of the others, mean 144."""
    rows = tract_rows(open_case())
    strap, bolt = rows["strap"], rows["bolt"]
    assert (strap["firm"], strap["p10"], strap["p50"], strap["p90"]) == (0, 0, 30, 60)
    assert strap["expected"] == pytest.approx(36.0)
    assert strap["p90_units"] == 6
    assert (bolt["firm"], bolt["p50"], bolt["p90"]) == (40, 40 + 140, 40 + 160)
    assert bolt["expected"] == pytest.approx(40 + 144)
    assert bolt["p90_units"] == math.ceil(200 * 1.04 / 25)
    assert strap["driver"] == "only some plans take it: two"
    assert bolt["driver"] == "which plan: 40 (one) to 60 (two) a house"


def test_a_plan_that_does_not_fit_leaves_its_share_to_the_others() -> None:
    """On the narrow lot plan one is certain: straps can come from two lots only, 60 at most."""
    rows = tract_rows(open_case(narrow=1))
    assert rows["strap"]["expected"] == pytest.approx(2 * 0.4 * 30)
    assert rows["strap"]["p90"] == 60
    assert rows["bolt"]["expected"] == pytest.approx(40 + 40 + 2 * (0.6 * 40 + 0.4 * 60))


def test_where_no_plan_of_the_mix_fits_nothing_is_counted_and_that_is_said() -> None:
    case = open_case(narrow=2, mix={"one": 0.0, "two": 1.0})
    found = purchase_of(case)
    assert found.facts["lots_no_plan_fits"] == 2
    assert found.facts["open_lots"] == 3
    assert tract_rows(case)["strap"]["expected"] == pytest.approx(30.0)


def test_lots_without_a_kit_are_counted_with_their_probability() -> None:
    plans = {"B-01": {"one": ("", "no_hardware"), "two": ("two/a", "beyond_packages")}}
    case = make_case(KITS, [], plans, PRICES, ("2", ""), plan_mix={"one": 0.6, "two": 0.4})
    facts = purchase_of(case).facts
    assert facts["expected_lots_nothing_holds"] == pytest.approx(0.6)
    assert facts["expected_lots_beyond_packages"] == pytest.approx(0.4)
    assert tract_rows(case)["strap"]["expected"] == pytest.approx(12.0)


@FEW
@given(
    st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=1, max_size=5),
    st.integers(1, 9),
)
def test_any_open_lots_against_every_outcome(pieces: list[tuple[int, int]], weight: int) -> None:
    """Lots that take different kits: mean and percentiles from going through every assignment of plans."""
    share = weight / 10
    kits = {f"p{k}/{n}": [("bolt", "walls", amount)] for n, pair in enumerate(pieces) for k, amount in enumerate(pair)}
    kits = {k: [r for r in rows if r[2]] for k, rows in kits.items()}
    lots = {f"L-{n}": {"p0": (f"p0/{n}", ""), "p1": (f"p1/{n}", "")} for n in range(len(pieces))}
    case = make_case(kits, [], lots, [price_row("bolt", "1.00", 1)], plan_mix={"p0": 1 - share, "p1": share})
    outcomes: dict[int, float] = {}
    for picks in itertools.product((0, 1), repeat=len(pieces)):
        total = sum(pair[k] for pair, k in zip(pieces, picks, strict=True))
        outcomes[total] = outcomes.get(total, 0.0) + math.prod(share if k else 1 - share for k in picks)
    rows = tract_rows(case)
    if not any(outcomes):  # nobody takes a bolt
        assert not rows
        return
    row = rows["bolt"]
    assert row["expected"] == pytest.approx(sum(t * p for t, p in outcomes.items()), abs=1e-9)
    for name, level in (("p10", 0.1), ("p50", 0.5), ("p90", 0.9)):
        enough = [t for t in sorted(outcomes) if sum(p for u, p in outcomes.items() if u <= t) >= level - 1e-9]
        assert row[name] == enough[0]
    assert row["p10"] <= row["p50"] <= row["p90"]


def test_an_uncertain_mix_is_simulated_and_wider() -> None:
    """With a mix as sure as ten houses sold: the same mean to the piece shown, a wider P90, the same on every call."""
    sure, unsure = tract_rows(open_case(40)), tract_rows(open_case(40, mix_certainty=10.0))
    assert unsure["strap"]["expected"] == pytest.approx(sure["strap"]["expected"])
    assert unsure["strap"]["p90"] - unsure["strap"]["p50"] > 1.5 * (sure["strap"]["p90"] - sure["strap"]["p50"])
    assert unsure["strap"]["method"] == "simulated"
    assert unsure["strap"]["driver"].endswith("the mix itself is uncertain")
    assert unsure == tract_rows(open_case(40, mix_certainty=10.0))


def test_a_nearly_certain_mix_comes_to_the_exact_answer() -> None:
    """Simulated with a mix as sure as a million houses: percentiles within one house's straps of the exact ones.

    5,000 draws put the probability of a percentile off by at most 0.017 (four standard errors), which is less than one
    step of 30 straps of a total whose standard deviation is 30 sqrt(40 x 0.24) = 93."""
    sure, nearly = tract_rows(open_case(40)), tract_rows(open_case(40, mix_certainty=1e6))
    for name in ("p10", "p50", "p90"):
        assert abs(sure["strap"][name] - nearly["strap"][name]) <= 30


def test_forecast_orders_are_p50_and_p90_for_a_long_lead() -> None:
    """Straps (35 days) at P90, bolts and ties at P50 of the three lots; each has the date of the open lots."""
    orders = purchase_of(open_case()).orders
    rows = {r["item"]: r for r in orders[orders["status"] == "forecast"].to_dict("records")}
    assert {i: r["sized_at"] for i, r in rows.items()} == {"bolt": "p50", "tie": "p50", "strap": "p90"}
    assert (rows["strap"]["quantity"], rows["bolt"]["quantity"]) == (60.0, 140.0)
    assert rows["bolt"]["order_by"] == "2027-05-25"  # June 1 + 3 days - 10 days
    assert rows["bolt"]["lots"] == 3


def test_another_mix_is_the_case_made_with_it() -> None:
    mix = {"one": 0.25, "two": 0.75}
    changed, made = purchase_of(open_case(5, narrow=2).with_mix(mix)), purchase_of(open_case(5, mix, 2))
    assert changed.forecast.equals(made.forecast)
    assert changed.orders.equals(made.orders)
    with pytest.raises(InputError, match="three"):
        open_case().with_mix({"one": 0.5, "three": 0.5})
    with pytest.raises(InputError, match="sum"):
        open_case().with_mix({"one": 0.5, "two": 0.2})


# ---------------------------------------------------------------- a proposed order


def test_shortage_by_hand() -> None:
    """60 straps ordered: short only when all three lots take plan two, 0.064, by 30: 1.92 pieces expected.
    Ties: need 1.05 (50 + 132 to 150), 210 pieces with waste at most: 4 boxes of 50 can't hold, 5 can."""
    case = open_case()
    rows = {r["item"]: r for r in shortage(case, [CountRow(2, "Strap", quantity=60), CountRow(3, "tie", boxes=5)])}
    assert rows["strap"]["probability_short"] == pytest.approx(0.4**3)
    assert rows["strap"]["expected_short"] == pytest.approx(0.4**3 * 30)
    assert rows["tie"]["probability_short"] == pytest.approx(0.0, abs=1e-12)
    assert rows["tie"]["ordered"] == 250
    assert not rows["bolt"]["in_order"]
    assert rows["bolt"]["probability_short"] == pytest.approx(1.0)
    assert rows["bolt"]["expected_short"] == pytest.approx(1.04 * 184)
    only = {r["item"]: r for r in shortage(case, [CountRow(2, "tie", boxes=1)], phase="1")}
    assert set(only) == {"tie", "bolt"}
    assert only["tie"]["probability_short"] == pytest.approx(1.0)  # 52.5 needed, 50 ordered
    with pytest.raises(InputError, match="strap"):
        shortage(case, [CountRow(2, "strpa", quantity=1)])


def test_more_ordered_is_never_riskier() -> None:
    case = open_case(8)
    risks = [shortage(case, [CountRow(2, "strap", quantity=n)])[-1] for n in range(0, 241, 30)]
    chance = [
        next(r for r in shortage(case, [CountRow(2, "strap", quantity=n)]) if r["item"] == "strap")
        for n in range(0, 241, 30)
    ]
    assert risks
    values = [r["probability_short"] for r in chance]
    assert values == sorted(values, reverse=True)
    assert values[-1] == 0.0


def test_distribution_over_deliveries_of_one_item() -> None:
    """An item in two deliveries of a house is one need: 10 + 5 pieces with one plan, none with the other."""
    kits = {"one/a": [("screw", "walls", 10), ("screw", "roof", 5)], "two/a": [("bolt", "walls", 1)]}
    lots = {"L-1": {"one": ("one/a", ""), "two": ("two/a", "")}}
    case = make_case(kits, [], lots, [price_row("screw"), price_row("bolt")], plan_mix={"one": 0.5, "two": 0.5})
    demand = OpenDemand(case)
    found = demand.distribution(demand.groups(demand.lots["alike"].to_numpy()), "screw")
    assert found.mean() == pytest.approx(7.5)
    assert found.above(14) == pytest.approx(0.5)
    assert found.above(15) == 0.0


# ---------------------------------------------------------------- count lists


def counted_case() -> PurchaseCase:
    """Two houses of plan one and one of plan two, plan two in two packages."""
    kits = {**KITS, "two/b": [("bolt", "foundation", 72), ("tie", "roof", 44), ("strap", "floor", 30)]}
    firm = [
        ("A-1", "1", "", "one/a"),
        ("A-2", "1", "", "one/a"),
        ("A-3", "2", "", "two/a"),
        ("A-4", "2", "", "two/b"),
    ]
    return make_case(kits, firm, prices=PRICES)


def test_counts_are_reconciled_by_item_and_scope() -> None:
    rows = [
        CountRow(2, "bolt", quantity=80, phase="1"),  # 2 x 40: agrees
        CountRow(3, "TIE", quantity=90, phase="1"),  # ours 100: short
        CountRow(4, "strpa", quantity=9, phase="2"),  # misspelt
        CountRow(5, "bolt", quantity=60, plan="two"),  # 60 to 72 a house: agrees
        CountRow(6, "strap", quantity=32, plan="two"),  # 30: over
        CountRow(7, "tie", quantity=46, plan="two"),  # 44 net, 46.2 with waste
        CountRow(8, "bolt", quantity=40, lot_id="A-9"),
    ]
    found = {(r["plan"], r["phase"], r["lot_id"], r["item"]): r for r in compare_counts(counted_case(), rows)}
    assert found["", "1", "", "bolt"]["verdict"] == "agrees"
    short = found["", "1", "", "tie"]
    assert (short["verdict"], short["difference"], short["share"]) == ("short", -10, pytest.approx(-0.1))
    assert found["", "2", "", "strpa"]["verdict"] == "unknown item"
    assert found["", "2", "", "strpa"]["detail"] == "did you mean 'strap'?"
    assert found["two", "", "", "bolt"]["verdict"] == "agrees"
    assert found["two", "", "", "bolt"]["detail"] == "60 to 72 a house"
    assert found["two", "", "", "strap"]["verdict"] == "over"
    assert found["two", "", "", "tie"]["verdict"] == "agrees with waste"
    assert found["", "", "A-9", "bolt"]["verdict"] == "no such lots"


def test_what_their_list_leaves_out_is_said() -> None:
    found = {r["item"]: r["verdict"] for r in compare_counts(counted_case(), [CountRow(2, "bolt", quantity=212)])}
    assert found == {"bolt": "agrees", "tie": "missing", "strap": "missing"}


def test_every_seeded_error_is_found() -> None:
    """Ten list errors of five per cent or more, none of them passes at two per cent; the true counts all pass."""
    case = counted_case()
    truth = {"bolt": 212, "tie": 188, "strap": 60}
    right = compare_counts(case, [CountRow(2, i, quantity=n) for i, n in truth.items()])
    assert {r["verdict"] for r in right} == {"agrees"}
    for item, n in truth.items():
        for factor in (0.5, 0.9, 0.95, 1.12, 2.0):
            rows = compare_counts(
                case, [CountRow(2, i, quantity=n * factor if i == item else m) for i, m in truth.items()]
            )
            wrong = {r["item"] for r in rows if not r["verdict"].startswith("agrees")}
            assert wrong == {item}, (item, factor)


def test_waste_is_learnt_from_what_was_used(tmp_path: Path) -> None:
    """Phase 1 holds 80 bolts and 100 ties net: 84 bolts used is 5 %, 120 bought less 12 returned is 8 %; fewer straps
    used than counted is no waste below nothing."""
    rows = [
        CountRow(2, "bolt", phase="1", used=84),
        CountRow(3, "tie", phase="1", bought=120, returned=12),
        CountRow(4, "strap", phase="2", used=58),
    ]
    learnt = {r["item"]: r for r in learnt_waste(counted_case(), rows)}
    assert learnt["bolt"]["learnt_waste"] == pytest.approx(0.05)
    assert learnt["tie"]["learnt_waste"] == pytest.approx(0.08)
    assert (learnt["strap"]["learnt_waste"], learnt["strap"]["verdict"]) == (0.0, "used less than counted")
    source, target = tmp_path / "hardware.csv", tmp_path / "learnt.csv"
    source.write_text('# prices of May\nitem,unit_cost,waste,note\nbolt,2.00,0.04,"a, b"\nnail,0.02,0.08,\ntie,1,,\n')
    assert write_learnt(source, target, list(learnt.values())) == 2
    assert target.read_text() == (
        '# prices of May\nitem,unit_cost,waste,note\nbolt,2.00,0.05,"a, b"\nnail,0.02,0.08,\ntie,1,0.08,\n'
    )


def test_learning_brings_the_next_forecast_nearer() -> None:
    """A phase that used 9 % where 4 % was listed: the next need, at 9 %, is nearer with the learnt waste."""
    case = counted_case()
    (learnt,) = learnt_waste(case, [CountRow(2, "bolt", phase="1", used=80 * 1.09)])
    true_need = 132 * 1.09
    assert abs(132 * (1 + learnt["learnt_waste"]) - true_need) < abs(132 * (1 + learnt["listed_waste"]) - true_need)


def test_count_lists_as_csv_and_workbook(tmp_path: Path) -> None:
    """Headings in any case and under other names, notes and blank rows; a workbook's second sheet."""
    text = tmp_path / "list.csv"
    text.write_text("# from the yard\nItem,Qty,Lot\nbolt,1200,A-1\n\n,,\ntie,5,\n", encoding="utf-8-sig")
    rows = read_counts(text, ("quantity",))
    assert [(r.item, r.quantity, r.lot_id) for r in rows] == [("bolt", 1200.0, "A-1"), ("tie", 5.0, "")]
    book = openpyxl.Workbook()
    book.active.append(["Framer's list", datetime(2027, 1, 1)])
    sheet = book.create_sheet("counts")
    sheet.append(["ITEM", "Count", "Plan"])
    sheet.append(["bolt", 40, "one"])
    book.save(tmp_path / "list.xlsx")
    (row,) = read_counts(tmp_path / "list.xlsx", ("quantity",))
    assert (row.item, row.quantity, row.plan, row.row) == ("bolt", 40.0, "one", 2)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("item,amount\nbolt,3\n", "quantity"),
        ("thing,qty\nbolt,3\n", "no column `item`"),
        ("item,qty\nbolt,many\ntie,3\n", "a plain number of pieces"),
        ("item,qty\nbolt,2\ntie,-3\n", "a number from 0"),
        ("item;qty\nbolt;2\n", "semicolons"),
        ('item,qty\nbolt,"1,5"\n', "write 1.5 if the comma is a decimal comma"),
        ("item,qty\n,3\n", "no item"),
        ("", "an empty file"),
    ],
)
def test_faulty_lists_are_told_row_by_row(tmp_path: Path, text: str, told: str) -> None:
    (tmp_path / "list.csv").write_text(text)
    with pytest.raises(InputError) as caught:
        read_counts(tmp_path / "list.csv", ("quantity",))
    assert told in " ".join(issue.message() for issue in caught.value.issues)
    (tmp_path / "list.xlsx").write_text("no workbook")
    with pytest.raises(InputError):
        read_counts(tmp_path / "list.xlsx", ("quantity",))
