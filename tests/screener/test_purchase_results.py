"""Purchase tables of real runs: lots with no plan under chosen packages, re-pricing against a full run, files.

A dozen lots of the sample, half of them without a plan, screened by the command.
"""

from __future__ import annotations

import csv
import json
import shutil
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest
from tract_helpers import SAMPLE, Screened, command, cut, screened, write_tract

from screener.config import load_tract
from screener.files.workbook import CREATED, write_workbook
from screener.kits import FIRM, OPEN
from screener.pipeline import hazards_as_if, prepare
from screener.purchase_case import read_case
from screener.purchase_tables import purchase_of
from screener.report import orders_content

BY_COLUMNS: dict[str, Any] = {
    "hazards.exposure": {"column": "exposure_from_drawing"},
    "hazards.kzt": {"column": "kzt_from_drawing"},
    "hazards.land_cover": None,
    "hazards.elevation_ft": None,
}
UNDECIDED = ("A-03", "B-14", "C-14", "A-30", "C-45")
UNDATED = "B-02"
MIX = {"thimble": 0.5, "kettle": 0.3, "anvil": 0.2}
OTHER = {"thimble": 0.1, "kettle": 0.2, "anvil": 0.3, "ladder": 0.4}


def some_undecided(narrow: bool = False) -> Any:
    """Twelve lots, five without plan, style and options; one of these may be cut to half its width."""
    lots = cut()
    blank = lots["lot_id"].isin(UNDECIDED)
    for name in ("plan", "style", "options"):
        lots[name] = lots[name].mask(blank, None)
    lots["start"] = lots["start"].mask(lots["lot_id"] == UNDATED)
    if narrow:
        at = int(np.flatnonzero(lots["lot_id"] == "C-14")[0])
        x0, y0, _, y1 = lots.geometry[at].bounds
        lots.loc[at, "geometry"] = type(lots.geometry[at])([(x0, y0), (x0 + 15.3, y0), (x0 + 15.3, y1), (x0, y1)])
    return lots


def project(folder: Path, mix: dict[str, float], narrow: bool = False, **changes: Any) -> Path:
    return write_tract(
        folder, some_undecided(narrow), {**BY_COLUMNS, "purchase.plan_mix": mix, "output.folder": "results", **changes}
    )


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project file of a run, its results beside it."""
    file = project(tmp_path_factory.mktemp("undecided"), MIX, narrow=True)
    code, _, err = command("run", file, "--allow-exceptions", "--workers", "1")
    assert code == 0, err
    return file


@pytest.fixture(scope="module")
def results(run: Path) -> Path:
    return run.parent / "results"


def table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)


# ---------------------------------------------------------------- lots with no plan


def test_hazards_as_if_are_those_of_the_lot_with_that_plan(twelve: Screened, tmp_path: Path) -> None:
    """Lots without a plan, looked at with the house they really have: pressures and all else to the last digit, from
    rasters, with hill speed-up at the house's own height."""
    lots = cut()
    for name in ("plan", "style", "options"):
        lots[name] = None
    bare = prepare(load_tract(write_tract(tmp_path, lots)))
    for h, model in enumerate(twelve.prepared.models):
        at = np.flatnonzero(twelve.prepared.houses.of_lot[twelve.prepared.usable] == h)
        _, hazards, categories = hazards_as_if(bare, model)
        for name in hazards.__dataclass_fields__:
            here, there = getattr(hazards, name), getattr(twelve.prepared.hazards, name)
            assert (here is None and there is None) or (here[at] == there[at]).all(), name
        assert (categories[at] == twelve.prepared.categories[at]).all()
    assert (bare.site.q_envelope_psf != twelve.prepared.site.q_envelope_psf).any()  # at 25 ft they are others


def test_an_open_lot_takes_the_kit_it_would_take_with_the_plan(results: Path, tmp_path: Path) -> None:
    """The five lots given a plan, keeping the packages chosen before: the pieces are those the forecast had."""
    lot_kits = table(results, "lot_kits")
    kits = table(results, "kits")
    held = lot_kits[(lot_kits["state"] == OPEN) & (lot_kits["why"] == "") & (lot_kits["plan"] == "thimble")]
    assert len(held)
    lots = some_undecided(narrow=True)
    package = dict(zip(kits["kit"], kits["package"], strict=True))
    chosen = {lot: package[kit] for lot, kit in zip(held["lot_id"], held["kit"], strict=True)}
    lots["package"] = lots["lot_id"].map(chosen)
    lots.loc[lots["lot_id"].isin(chosen), "plan"] = "thimble"
    changes = {**BY_COLUMNS, "purchase.plan_mix": MIX, "tiers.kept": str(results / "packages.csv")}
    again = screened(write_tract(tmp_path, lots[lots["lot_id"].isin(chosen)].reset_index(drop=True), changes))
    assert not again.selection.plan.kept_failures
    assert set(again.lots["tier"]) == set(chosen.values())
    made = again.results.purchase["kits"]
    names = dict(
        zip(again.results.purchase["lot_kits"]["lot_id"], again.results.purchase["lot_kits"]["kit"], strict=True)
    )
    for lot, kit in zip(held["lot_id"], held["kit"], strict=True):
        forecast = kits[kits["kit"] == kit].set_index(["schedule", "item"])["quantity"].astype(int)
        real = made[made["kit"] == names[lot]].set_index(["schedule", "item"])["quantity"].astype(int)
        pd.testing.assert_series_equal(forecast.sort_index(), real.sort_index(), check_dtype=False)


def test_a_narrow_lot_takes_only_what_fits(results: Path) -> None:
    """C-14 cut to about 50 ft: 40 ft are left between side yards of 5 ft. Thimble (40 ft) has room, Kettle (45 ft) and
    Anvil (42 ft) have not, so Thimble is certain there; shares of every open lot add up to one."""
    rows = table(results, "lot_kits")
    here = rows[rows["lot_id"] == "C-14"].set_index("plan")
    assert here.loc["kettle", "why"] == here.loc["anvil", "why"] == here.loc["ladder", "why"] == "no_fit"
    assert float(here.loc["thimble", "share"]) == 1.0
    opened = rows[rows["state"] == OPEN]
    sums = opened.assign(share=opened["share"].astype(float)).groupby("lot_id")["share"].sum()
    assert set(sums.index) == set(UNDECIDED)
    assert sums.to_numpy() == pytest.approx(1.0, abs=1e-5)
    assert set(opened["plan"]) == {"thimble", "kettle", "lantern", "anvil", "ladder"}  # ready for another mix


def test_firm_kits_are_the_lots_own_pieces(results: Path) -> None:
    """Every firm lot has the kit of its plan and tier, and its pieces are those of the demands table's bill."""
    rows, lots = table(results, "lot_kits"), table(results, "lots").set_index("lot_id")
    firm = rows[rows["state"] == FIRM]
    assert set(firm["lot_id"]) == set(lots.index[lots["tier"] != ""])
    for lot, kit in zip(firm["lot_id"], firm["kit"], strict=True):
        assert kit.endswith(lots.loc[lot, "tier"])
        assert kit.startswith(lots.loc[lot, "plan"])
    kits = table(results, "kits")
    counts = firm["kit"].value_counts()
    total = (kits["quantity"].astype(int) * kits["kit"].map(counts).fillna(0)).groupby(kits["bill_item"]).sum()
    bill = table(results, "bill_of_materials")
    billed = bill.assign(quantity=bill["quantity"].astype(float)).groupby("item")["quantity"].sum()
    assert total[total > 0].to_dict() == billed.to_dict()


def test_dates_of_lots(results: Path) -> None:
    lots = table(results, "lots")
    assert (lots["freeze_date"] == lots["start"]).all()
    orders = table(results, "orders")
    firm = orders[orders["status"] == "firm"]
    assert min(d for d in lots["first_order_by"] if d) == min(d for d in firm["order_by"] if d)
    assert (lots.loc[lots["plan"] == "", "first_order_by"] == "").all()


def test_a_lot_without_a_start_is_ordered_without_a_date_and_said(results: Path) -> None:
    orders, issues = table(results, "orders"), table(results, "issues")
    undated = orders[orders["order_period"] == ""]
    assert len(undated)
    assert set(undated["lots"]) == {"1"}
    assert (undated[["order_by", "needed_on", "late"]] == "").all(axis=None)
    (note,) = issues[issues["code"] == "start_missing"].to_dict("records")
    assert note["found"].startswith("1 lots without")
    assert table(results, "lots").set_index("lot_id").loc[UNDATED, "freeze_date"] == ""


# ---------------------------------------------------------------- priced again


def purchase_files(folder: Path) -> dict[str, str]:
    return {n: (folder / f"{n}.csv").read_text() for n in ("bill_of_materials", "orders", "forecast")}


def test_stored_results_give_the_runs_own_tables(run: Path, results: Path, tmp_path: Path) -> None:
    """Priced again without any change: the same bytes as the run wrote."""
    code, out, err = command("reprice", results, "--out", tmp_path / "same")
    assert code == 0, err
    assert purchase_files(tmp_path / "same") == purchase_files(results)
    assert "no item changed" in out
    assert " s" in err
    code, _, err = command("reprice", results, "--out", tmp_path / "same")
    assert code == 4  # never over what is there


@pytest.mark.parametrize(
    "what", ["mix", *(pytest.param(what, marks=pytest.mark.long) for what in ("certainty", "hardware"))]
)
def test_priced_again_is_a_full_run(run: Path, results: Path, tmp_path: Path, what: str) -> None:
    """Another mix, its certainty, or a list with other boxes, breaks, stock and lead times (none of which bear on the
    choice of packages): the same bytes as a full run with the change."""
    changes: dict[str, Any] = {}
    mix, words = MIX, []
    if what == "mix":
        mix, words = OTHER, ["--mix", ",".join(f"{p}={s}" for p, s in OTHER.items())]
    elif what == "certainty":
        changes, words = {"purchase.mix_certainty": 25.0}, ["--certainty", "25"]
    else:
        listed = tmp_path / "hardware.csv"
        listed.write_text(other_list(), encoding="utf-8")
        changes, words = {"hardware.file": str(listed)}, ["--hardware", str(listed)]
    code, _, err = command("reprice", results, *words, "--out", tmp_path / "again")
    assert code == 0, err
    file = project(tmp_path / "full", mix, narrow=True, **changes)
    code, _, err = command("run", file, "--allow-exceptions", "--workers", "1", "-q")
    assert code == 0, err
    full = file.parent / "results"
    assert (full / "packages.csv").read_text() == (results / "packages.csv").read_text()
    again, run_again = purchase_files(tmp_path / "again"), purchase_files(full)
    for name in again:
        assert again[name] == run_again[name], name
    assert again != purchase_files(results)


def other_list() -> str:
    """The sample's hardware list with half the box, one break, 40 in stock and a week more of lead time."""
    rows = list(csv.reader((SAMPLE / "hardware.csv").read_text(encoding="utf-8").splitlines()))
    at = {name: k for k, name in enumerate(rows[0])}
    for row in rows[1:]:
        row[at["purchase_unit_qty"]] = str(max(1, int(row[at["purchase_unit_qty"]]) // 2))
        row[at["price_breaks"]] = "5: 12%"
        row[at["stock"]] = "40"
        row[at["lead_time_days"]] = str(int(row[at["lead_time_days"]]) + 7)
    lines = [",".join(f'"{cell}"' if "," in cell else cell for cell in row) for row in rows]
    return "\n".join(lines) + "\n"


def test_faulty_calls_are_told(results: Path, tmp_path: Path) -> None:
    for words, told in (
        (["reprice", results, "--mix", "thimble=0.5,kettel=0.5"], "kettel"),
        (["reprice", results, "--mix", "thimble=0.5"], "sum"),
        (["reprice", results, "--mix", "thimble"], "not understood"),
        (["reprice", tmp_path], "no kits.csv"),
        (["shortage", results, "--order", tmp_path / "none.csv"], "none.csv"),
        (["takeoff", results, "--counts", tmp_path / "none.csv", "--learn-waste", "x.csv"], "go together"),
    ):
        code, out, err = command(*words)
        assert code == 2, words
        assert told in out + err, words


def test_shortage_and_takeoff_by_the_command(results: Path, tmp_path: Path) -> None:
    """Ordering P90 of the forecast with waste leaves no more than one in ten of falling short; counts of our own kits
    agree, a halved one does not."""
    forecast = table(results, "forecast")
    tract = forecast[forecast["level"] == "tract"]
    order = tmp_path / "order.csv"
    lines = [f'"{i}",{u}' for i, u in zip(tract["item"], tract["p90_units"], strict=True)]
    order.write_text("item,boxes\n" + "\n".join(lines) + "\n", encoding="utf-8")
    code, out, err = command("shortage", results, "--order", order, "--json")
    assert code == 0, err
    rows = json.loads(out)["items"]
    forecast_items = set(tract["item"])
    assert {r["item"] for r in rows if r["in_order"]} == forecast_items
    several = tract["item"].value_counts()  # in two deliveries: each at its own P90
    assert all(r["probability_short"] <= 0.1 + 1e-9 for r in rows if r["in_order"] and several[r["item"]] == 1)
    firm = table(results, "lot_kits")
    lot, kit = firm.loc[firm["state"] == FIRM, ["lot_id", "kit"]].iloc[0]
    kits = table(results, "kits")
    mine = kits[kits["kit"] == kit].astype({"quantity": int}).groupby("bill_item")["quantity"].sum()
    book = openpyxl.Workbook()
    book.active.append(["Item", "Qty", "Lot"])
    for n, (item, pieces) in enumerate(mine.items()):
        book.active.append([item, int(pieces) // 2 if n == 0 else int(pieces), lot])
    book.save(tmp_path / "counts.xlsx")
    code, out, err = command("takeoff", results, "--counts", tmp_path / "counts.xlsx")
    assert code == 0, err
    assert f"{len(mine) - 1} agree, 1 do not" in out
    assert f"short: {mine.index[0]} [lot {lot}]" in out


def test_learnt_waste_by_the_command(results: Path, tmp_path: Path) -> None:
    bill = table(results, "bill_of_materials")
    item = "plate washer"
    net = bill.loc[bill["item"] == item, "quantity"].astype(float).sum()
    (tmp_path / "used.csv").write_text(f"item,used\n{item},{net * 1.1}\n")
    words = ["--hardware", SAMPLE / "hardware.csv", "--learn-waste", tmp_path / "learnt.csv"]
    code, out, err = command("takeoff", results, "--counts", tmp_path / "used.csv", *words)
    assert code == 0, err
    assert "learnt 10.0 %" in out
    before, after = (
        (p).read_text(encoding="utf-8").splitlines() for p in (SAMPLE / "hardware.csv", tmp_path / "learnt.csv")
    )
    assert len(before) == len(after)
    assert [b for a, b in zip(before, after, strict=True) if a != b] == [
        next(b for b in after if b.startswith("plate washer,"))
    ]


# ---------------------------------------------------------------- workbook and report


def test_the_workbook_holds_typed_cells(results: Path) -> None:
    """Sheets, headings frozen and filtered, lot ids as texts, numbers, dates and truth values of their kind; no macro,
    no formula anywhere."""
    book = openpyxl.load_workbook(results / "tract.xlsx")
    assert book.sheetnames == ["summary", "lots", "bill", "orders", "forecast", "exceptions", "assumptions"]
    assert book.properties.created == CREATED
    for sheet in book.worksheets:
        assert sheet.freeze_panes
        assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
    lots, csv_lots = book["lots"], table(results, "lots")
    heads = [cell.value for cell in lots[1]]
    assert lots.auto_filter.ref.startswith("A1:")
    assert [row[0].value for row in lots.iter_rows(min_row=2)] == list(csv_lots["lot_id"])
    first = {h: c for h, c in zip(heads, lots[2], strict=True)}
    assert isinstance(first["Lot"].value, str)
    assert isinstance(first["Start of building"].value, datetime)
    assert f"{first['Start of building'].value:%Y-%m-%d}" == csv_lots["start"].iloc[0]
    assert isinstance(first["Plan fits the lot"].value, bool)
    assert first["Wind speed (mph)"].value == float(csv_lots["wind_speed_mph"].iloc[0])
    orders, csv_orders = book["orders"], table(results, "orders")
    at = [cell.value for cell in orders[1]].index("Cost (dollars)")
    cost = [row[at].value for row in orders.iter_rows(min_row=2)]
    assert cost == [float(v) for v in csv_orders["cost"]]
    words = {row[0].value: row[1].value for row in book["summary"].iter_rows(min_row=2)}
    assert "licensed design professional" in words["caution"]
    assert words["forecast open_lots"] == len(UNDECIDED)


def test_the_workbook_is_the_same_every_time_and_takes_any_text(tmp_path: Path) -> None:
    """Formula-like, very long and odd texts stay texts; two writings give the same bytes."""
    nasty = ["=1+1", "+A1", "-2", "@x", "http://example.org", "0042", "a\x00b\u202e", "x" * 40_000]
    lots = pd.DataFrame({"lot_id": nasty, "status": "screened", "kzt": np.linspace(1, 2, len(nasty))})
    tables = {"lots": lots, "orders": pd.DataFrame()}
    manifest = {"tract": "=cmd|'x'", "summary": {"lots": 3, "nested": {"a": [1, 2]}}, "settings": {"k": "=1"}}
    for name in ("a.xlsx", "b.xlsx"):
        write_workbook(tmp_path / name, tables, manifest)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    ids = sorted(row[0].value for row in book["lots"].iter_rows(min_row=2))
    assert all(isinstance(v, str) for v in ids)
    assert {"=1+1", "+A1", "-2", "@x", "0042", "http://example.org"} <= set(ids)
    assert max(map(len, ids)) == 32_767
    assert all(c.data_type != "f" and c.hyperlink is None for s in book for row in s.iter_rows() for c in row)


def test_the_report_says_what_to_order_by_when(results: Path) -> None:
    page = (results / "report.html").read_text(encoding="utf-8")
    orders = table(results, "orders")
    firm = orders[orders["status"] == "firm"]
    assert "what to order by when" in page
    for period in firm["order_period"].unique():
        assert f">{period or 'no start date'}</th>" in page
    assert f"{len(UNDECIDED)} lots have no plan yet" in page
    assert "the cheapest chosen package" in page


def test_orders_content_adds_up() -> None:
    """Periods of the report hold every firm dollar once."""
    from types import SimpleNamespace

    from purchase_cases import make_case, price_row

    case = make_case(
        {"plan/a": [("bolt", "foundation", 48), ("tie", "roof", 30)]},
        [("A-1", "1", "2027-03-03", "plan/a"), ("A-2", "1", "", "plan/a")],
        prices=[price_row("bolt", "2.00", 25), price_row("tie", "1.00", 50, lead=35)],
    )
    made = purchase_of(case)
    found = orders_content.orders(SimpleNamespace(purchase={"orders": made.orders}))
    assert [p["name"] for p in found["periods"]] == ["2027-02", "no start date"]
    assert found["firm"] == f"${made.orders['cost'].sum():,.0f}"
    assert sum(len(p["items"]) for p in found["periods"]) == len(made.orders)
    assert orders_content.orders(SimpleNamespace(purchase={}))["periods"] == []


def test_read_case_tells_old_results(results: Path, tmp_path: Path) -> None:
    """Results without kits (of an earlier version) are told as such."""
    from hazard.issues import InputError

    old = tmp_path / "old"
    shutil.copytree(results.resolve(), old)
    (old / "kits.csv").unlink()
    with pytest.raises(InputError, match="kits"):
        read_case(old)
