"""Many tracts as one job: each lot as its tract's own run has it, the same bytes whatever the way, whole or nothing."""

from __future__ import annotations

import errno
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, nullcontext
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shapely
from portfolio_helpers import (
    BY_TRACT,
    LOTS_A_TRACT,
    LOTS_FILE,
    TRACTS,
    Run,
    build_once,
    copy_of,
    portfolio_lots,
    run,
    same,
    tract_project,
    write_portfolio,
)
from tract_helpers import Screened, screened

from screener import columns, publish
from screener.errors import OutputError
from screener.files.manifest import CAUTION, is_complete
from screener.files.tables import prepare
from screener.portfolio import assembly, map_parts, periods, report
from screener.portfolio import bill as portfolio_bill
from screener.portfolio import run as portfolio_run
from screener.portfolio.assembly import _check_lots
from screener.portfolio.layout import TractPlace, packed, usual_chunk

LOTS = LOTS_A_TRACT * len(TRACTS)
TABLES = (
    *("tracts", "divisions", "bill_of_materials", "needs_by_period", "packages", "cost_curve", "exceptions", "issues"),
)


@pytest.fixture(scope="module", autouse=True)
def _built_once() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        build_once(patch)
        yield


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The portfolio in one chunk, packages by division."""
    done = run(write_portfolio(tmp_path_factory.mktemp("whole")))
    assert done.code == 3, done.err
    return done


@pytest.fixture(scope="module")
def by_tract(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The same with hazards and packages by tract, a tract in each chunk."""
    done = run(write_portfolio(tmp_path_factory.mktemp("by_tract"), text=BY_TRACT), "--chunk-lots", 1)
    assert done.code == 3, done.err
    return done


@pytest.fixture(scope="module")
def alone(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Screened]:
    """Each tract as a project of its own, by `screener run`'s own code."""
    folder = tmp_path_factory.mktemp("alone")
    return {name: screened(tract_project(folder / name, name)) for name in TRACTS}


# --- the same as one tract's run ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", TRACTS)
def test_every_lot_is_as_its_tracts_own_run_has_it(by_tract: Run, alone: dict[str, Screened], name: str) -> None:
    theirs = pd.DataFrame(alone[name].results.lots.drop(columns="geometry"))
    expected = _as_read(prepare("lots", theirs))
    lots = by_tract.lots()
    ours = lots[lots["tract"] == name].drop(columns=["tract", "division", "geometry"])
    assert len(ours) == LOTS_A_TRACT
    ours["source_row"] -= ours["source_row"].min() - 1  # the tract's own file begins anew
    for column in expected.columns:
        own, other = ours[column].to_numpy(), expected[column].to_numpy()
        alike = (own == other) | (pd.isna(own) & pd.isna(other))
        assert alike.all(), (column, own[~alike][:3], other[~alike][:3])


@pytest.mark.parametrize("name", TRACTS)
def test_every_demand_is_as_its_tracts_own_run_has_it(by_tract: Run, alone: dict[str, Screened], name: str) -> None:
    expected = prepare("demands", alone[name].results.demands)
    demands = by_tract.demands()
    ours = demands[demands["tract"] == name].drop(columns="tract").reset_index(drop=True)
    assert len(ours) == len(expected) > 1000
    for column in columns.DEMANDS:
        own, other = ours[column.name], expected[column.name]
        if column.kind == "text":
            assert (own.fillna("") == other.fillna("")).all(), column.name
        else:  # single precision holds the stated decimals
            rounded = np.round(own.to_numpy(np.float64, na_value=np.nan), column.decimals)
            np.testing.assert_array_equal(rounded, other.to_numpy(np.float64, na_value=np.nan), column.name)


def test_packages_are_those_of_the_tracts_own_run(by_tract: Run, alone: dict[str, Screened]) -> None:
    packages = by_tract.table("packages")
    for name, own in alone.items():
        ours = packages[packages["shared_by"] == name][["tier", "schedule", "item", "arrangement"]]
        expected = prepare("packages", own.results.packages).fillna("")
        assert sorted(ours.itertuples(index=False, name=None)) == sorted(expected.itertuples(index=False, name=None))


def test_the_bill_of_a_tract_is_that_of_its_own_run(by_tract: Run, alone: dict[str, Screened]) -> None:
    """One phase in a tract: an order for each item and phase is an order for each item and tract."""
    bill = by_tract.table("bill_of_materials")
    bill = bill[bill["level"] == "tract"]
    for name, own in alone.items():
        theirs = own.results.bill_of_materials
        ours = bill[bill["tract"] == name]
        for keys, names in (
            (["item", "drop"], ("quantity", "quantity_with_waste", "labour_hours")),
            (["item"], ("purchase_units", "units_for_break", "cost")),  # boxes come to deliveries by their months there
        ):
            expected = theirs.groupby(keys)[list(names)].sum()
            for column in names:
                found = ours[column].astype(float).groupby([ours[key] for key in keys]).sum()
                assert set(found.index) == set(expected.index)
                np.testing.assert_allclose(found.reindex(expected.index), expected[column], atol=0.0051)


@pytest.mark.parametrize("level", ["division", "portfolio"])
def test_what_a_period_needs_is_what_the_tracts_orders_say(
    by_tract: Run, alone: dict[str, Screened], level: str
) -> None:
    """Firm lots' orders of all tracts of a division together: the same pieces of an item in the same period."""
    orders = [
        own.results.purchase["orders"].assign(division=TRACTS[name][0] if level == "division" else "")
        for name, own in alone.items()
    ]
    keys, sums = ["division", "order_period", "item", "drop"], ["quantity", "quantity_with_waste"]
    theirs = pd.concat(orders).query("status == 'firm'").groupby(keys)[sums].sum()
    needs = by_tract.table("needs_by_period")
    ours = needs[needs["level"] == level].set_index(keys)[sums].astype(float)
    assert len(theirs) > 20
    assert ours.index.is_unique
    assert set(ours.index) == set(theirs.index)
    np.testing.assert_allclose(ours.reindex(theirs.index), theirs, atol=0.02)


def test_what_periods_need_is_the_whole_bill_and_the_money_of_its_lots(by_tract: Run) -> None:
    needs, bill, lots = by_tract.table("needs_by_period"), by_tract.table("bill_of_materials"), by_tract.lots()
    for level, key in (("portfolio", []), ("division", ["division"])):
        one, two = needs[needs["level"] == level], bill[bill["level"] == level]
        for column, off in (("quantity", 0.0), ("quantity_with_waste", 0.06), ("labour_hours", 0.006)):
            sums = [t[column].astype(float).groupby([t[k] for k in [*key, "item", "drop"]]).sum() for t in (one, two)]
            assert sums[0].index.equals(sums[1].index)
            np.testing.assert_allclose(sums[0], sums[1], rtol=0.0, atol=off)
    whole = needs[needs["level"] == "portfolio"]
    assert round(whole["cost"].astype(float).sum(), 2) == round(lots["hardware_cost"].sum(), 2)
    assert whole["order_period"].nunique() > 1


def test_lots_without_a_date_stand_last_and_bought_ones_nowhere(tmp_path: Path) -> None:
    """Of 45 lots 15 start in one month, 15 have no date, and 15 are bought: two periods, the blank one last."""
    lots = portfolio_lots().assign(start=None, package=None)
    lots.loc[lots["tract"] == "Alder", "start"] = "2027-03-15"
    lots.loc[lots["tract"] == "Cedar", "package"] = "no such package"
    done = run(write_portfolio(tmp_path, lots))
    needs = done.table("needs_by_period")
    west = needs[(needs["level"] == "division") & (needs["division"] == "West")]
    assert "East" not in set(needs["division"])
    periods = list(dict.fromkeys(west["order_period"]))
    assert periods[-1] == ""
    assert len(periods) > 1
    assert all("2026-06" <= period <= "2027-05" for period in periods[:-1])
    dated = done.lots().query("tract == 'Alder'")["hardware_cost"].sum()
    assert round(west[west["order_period"] != ""]["cost"].astype(float).sum(), 2) == round(dated, 2)


def test_starts_long_ago_keep_their_period(tmp_path: Path) -> None:
    """A spreadsheet's placeholder for a date is a date: it is shown as one, not as none."""
    lots = portfolio_lots().assign(start="1969-12-30", package=None)
    lots.loc[lots["tract"] == "Alder", "start"] = "1900-01-01"
    done = run(write_portfolio(tmp_path, lots))
    needs = done.table("needs_by_period").query("level == 'portfolio'")
    assert set(needs["order_period"].str[:4]) == {"1899", "1900", "1969", "1970"}  # the roof comes weeks later
    early = needs[needs["order_period"] < "1950"]["cost"].astype(float).sum()
    assert round(early, 2) == round(done.lots().query("tract == 'Alder'")["hardware_cost"].sum(), 2)


def test_pieces_do_not_depend_on_how_many_kits_are_looked_at_together(
    whole: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (portfolio_bill, periods):
        monkeypatch.setattr(module, "ROWS_AT_ONCE", 3)
    done = run(copy_of(whole.folder, tmp_path / "again"))
    assert done.sums() == whole.sums()


@pytest.mark.long
def test_listed_tract_projects_give_the_same_as_one_file(by_tract: Run, tmp_path: Path) -> None:
    text = '[packages]\nper = "tract"\n'
    for name, (division, _) in TRACTS.items():
        tract_project(tmp_path / name, name, {"hardware.file": "not read", "tract.name": name})
        text += f'[[tracts]]\nproject = "{name}/tract.toml"\ndivision = "{division}"\n'
    listed = run(write_portfolio(tmp_path, text=text))
    assert listed.code == 3, listed.err
    apart = ("source_row", "geometry")
    ours, theirs = listed.lots(), by_tract.lots()
    order = ["tract", "lot_id"]
    same(ours.sort_values(order), theirs.sort_values(order), apart)
    same(listed.demands().sort_values(order, kind="stable"), by_tract.demands().sort_values(order, kind="stable"))


def _as_read(frame: pd.DataFrame) -> pd.DataFrame:
    return pa.Table.from_pandas(frame, preserve_index=False).to_pandas()


# --- nothing depends on the way -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "chunk_lots", [pytest.param(1, marks=pytest.mark.long), 17, pytest.param(50, marks=pytest.mark.long)]
)
def test_chunks_of_any_size_give_the_same(whole: Run, tmp_path: Path, chunk_lots: int) -> None:
    done = run(copy_of(whole.folder, tmp_path / "again"), "--chunk-lots", chunk_lots)
    same(done.lots(), whole.lots())
    same(done.demands(), whole.demands())
    for name in TABLES:
        assert (done.results / f"{name}.csv").read_bytes() == (whole.results / f"{name}.csv").read_bytes(), name
    assert _layer(done) == _layer(whole)


def _layer(done: Run) -> list[tuple[object, ...]]:
    """Rows of the map layer in the order they are written, shapes as bytes."""
    with closing(sqlite3.connect(done.results / "portfolio.gpkg")) as database:
        return database.execute("SELECT * FROM lots ORDER BY fid").fetchall()


def test_chunks_of_one_lot_are_whole_areas_or_tracts(whole: Run, by_tract: Run) -> None:
    assert len(list((by_tract.results / "lots").iterdir())) == len(TRACTS)
    assert len(list((whole.results / "lots").iterdir())) == 1  # the three tracts lie in one area


@pytest.mark.long
def test_two_processes_give_the_same_bytes(by_tract: Run, tmp_path: Path) -> None:
    done = run(copy_of(by_tract.folder, tmp_path / "again"), "--chunk-lots", 1, "--workers", 2)
    assert done.sums() == by_tract.sums()


def test_the_order_of_rows_does_not_matter(whole: Run, tmp_path: Path) -> None:
    lots = portfolio_lots().sample(frac=1.0, random_state=4).reset_index(drop=True)
    done = run(write_portfolio(tmp_path, lots))
    same(done.lots(), whole.lots(), ("source_row",))
    same(done.demands(), whole.demands())
    for name in ("tracts", "divisions", "bill_of_materials", "needs_by_period", "packages", "exceptions"):
        assert (done.results / f"{name}.csv").read_bytes() == (whole.results / f"{name}.csv").read_bytes(), name


@pytest.mark.long
def test_a_geopackage_of_lots_gives_the_same_as_geoparquet(whole: Run, tmp_path: Path) -> None:
    file = write_portfolio(tmp_path, text=LOTS_FILE.replace("parquet", "gpkg") + '[packages]\nper = "division"\n')
    portfolio_lots().to_file(tmp_path / "lots.gpkg", layer="lots")
    done = run(file)
    assert done.code == 3, done.err
    same(done.lots(), whole.lots())


def test_packing_keeps_sites_whole() -> None:
    places = [TractPlace(f"t{n}", "", 10, site) for n, site in enumerate([0, 0, 0, 1, 2, 2, 3])]
    chunks = list(packed(places, 25))
    assert [(c.first, c.last, c.lots) for c in chunks] == [(0, 3, 30), (3, 4, 10), (4, 6, 20), (6, 7, 10)]
    assert [(c.first, c.last) for c in packed(places, 1000)] == [(0, 7)]


@pytest.mark.parametrize(("lots", "chunk"), [(100, 2_500), (60_000, 6_000), (1_000_000, 25_000)])
def test_a_chunk_is_a_tenth_of_the_lots_within_bounds(lots: int, chunk: int) -> None:
    assert usual_chunk(lots) == chunk
    places = [TractPlace(f"t{n}", "", 20, n) for n in range(lots // 20)]
    assert next(packed(places)).lots == min(chunk, lots)


# --- what is in the results ---------------------------------------------------------------------------------------


def test_every_lot_once_with_a_status(whole: Run) -> None:
    lots = whole.lots()
    assert len(lots) == LOTS
    assert not lots.duplicated(["tract", "lot_id"]).any()
    assert lots["lot_id"].nunique() == LOTS_A_TRACT  # the same ids in every tract
    assert set(lots["status"]) <= {"screened", "refer", "no_hardware", "skipped"}
    tracts = whole.table("tracts")
    for status in ("screened", "refer", "no_hardware", "skipped"):
        counted = lots[lots["status"] == status].groupby("tract").size()
        found = tracts.set_index("tract")[status].astype(int)
        assert (found == counted.reindex(found.index).fillna(0)).all(), status
    assert int(whole.table("divisions")["lots"].astype(int).sum()) == LOTS


def test_the_bill_is_the_sum_over_lots(whole: Run) -> None:
    """Pieces at the connections of every lot, from the demands, are the bill's net pieces to the piece."""
    demands = whole.demands()
    first = demands.drop_duplicates(["tract", "lot_id", "point"])
    rows = pd.read_csv(Path(__file__).parents[2] / "sample_data" / "hardware.csv", dtype=str, keep_default_na=False)
    bill_item = {r["item"]: r.get("bill_item") or r["item"] for r in rows.to_dict("records")}
    accessories = {bill_item[a] for a in rows.get("accessory", pd.Series(dtype=str)) if a}
    taken = first[first["quantity"].fillna(0) > 0]
    item = [next((bill_item[i] for i in bill_item if text.startswith(i + ", ")), "") for text in taken["item"]]
    assert all(item)
    own = taken.assign(bought=item).groupby(["tract", "bought"])["quantity"].sum()
    bill = whole.table("bill_of_materials")
    tract = bill[bill["level"] == "tract"].assign(pieces=lambda b: b["quantity"].astype(int))
    found = tract.groupby(["tract", "item"])["pieces"].sum()
    checked = 0
    for key, pieces in found.items():
        if key[1] not in accessories:
            assert own[key] == pieces, key
            checked += 1
    assert checked > 20


def test_sums_of_the_bill_hold_at_every_level(whole: Run) -> None:
    bill = whole.table("bill_of_materials")
    cents = (bill["cost"].astype(float) * 100).round().astype(int)
    pieces = bill["quantity"].astype(int)
    for values in (cents, pieces, bill["purchase_units"].astype(int)):
        sums = values.groupby([bill["level"], bill["item"], bill["drop"]]).sum().unstack(0)
        assert (sums["tract"] == sums["division"]).all()
        assert (sums["tract"] == sums["portfolio"]).all()
    money, tracts = whole.lots()["hardware_cost"], whole.table("tracts")["hardware_cost"].astype(float)
    assert float(money.sum()) == pytest.approx(float(tracts.sum()), abs=0.005)


def test_the_map_holds_every_lot_and_every_table(whole: Run) -> None:
    with closing(sqlite3.connect(whole.results / "portfolio.gpkg")) as database:
        assert database.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert database.execute("SELECT count(DISTINCT tract || '/' || lot_id) FROM lots").fetchone()[0] == LOTS
        for name in ("divisions", "bill_of_materials", "exceptions", "issues"):
            rows = database.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
            assert rows == len(whole.table(name))
        listed = list(columns.names("portfolio_exceptions"))
        rows = database.execute(f"SELECT {', '.join(listed)} FROM exceptions ORDER BY fid").fetchall()
        assert [tuple(cell or "" for cell in row) for row in rows] == list(
            whole.table("exceptions")[listed].itertuples(index=False, name=None)
        )
        told = dict(database.execute("SELECT key, value FROM run WHERE key IN ('caution', 'basis')"))
    assert told["caution"] == CAUTION
    assert told["basis"].startswith("Screening, not for construction")
    lots, table = gpd.read_file(whole.results / "portfolio.gpkg", layer="lots"), whole.lots()
    assert lots.crs == portfolio_lots().crs
    assert (lots["governing_point"] == table["governing_point"]).all()
    assert np.array_equal(lots["governing_ratio"], table["governing_ratio"], equal_nan=True)
    assert shapely.equals(lots.geometry.to_numpy(), shapely.from_wkb(table["geometry"])).all()
    assert len(gpd.read_file(whole.results / "portfolio.gpkg", layer="tracts")) == len(TRACTS)


def test_very_many_exceptions_are_written_as_parquet(
    whole: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(map_parts, "MOST_CSV_ROWS", 10)
    done = run(copy_of(whole.folder, tmp_path / "again"))
    assert not (done.results / "exceptions.csv").exists()
    table = pq.read_table(done.results / "exceptions.parquet").to_pandas().fillna("")
    expected = whole.table("exceptions")
    assert len(expected) > 10
    assert list(table.itertuples(index=False, name=None)) == list(expected.itertuples(index=False, name=None))
    assert "exceptions.parquet" in done.sums()


def test_tracts_of_different_cost_have_different_colours_on_the_picture() -> None:
    """Costs with parts of a cent: each tract in its own class, the key in the order of cost."""
    frame = pd.DataFrame(
        {
            "tract": ["West", "Middle", "East"],
            "lots": [10, 10, 10],
            "longitude_deg": [-90.0, -89.9, -89.8],
            "latitude_deg": [35.0, 35.1, 35.0],
            "cost_per_lot": [4238.0012, 4413.0044, 4437.0061],
        }
    )
    picture = report._map(frame)
    assert re.findall(r'<circle [^>]*fill="(#\w+)"', picture) == list(report.COLOURS[:3])
    assert re.findall(r'<rect [^>]*fill="(#\w+)"', picture) == list(report.COLOURS[:3])
    assert re.findall(r"<text [^>]*>(\$[\d,]+)</text>", picture) == ["$4,238", "$4,413", "$4,437"]
    assert all(f">{name}</text>" in picture for name in frame["tract"])
    frame["cost_per_lot"] = [4238.2, 4238.4, np.nan]
    assert re.findall(r"<text [^>]*>(\$[\d,.]+)</text>", report._map(frame)) == ["$4,238.20", "$4,238.40"]
    frame["cost_per_lot"] = np.nan
    assert report._map(frame).count("<circle") == 3


def test_the_manifest_says_how_it_came_about(whole: Run) -> None:
    manifest = json.loads((whole.results / "run.json").read_text())
    assert is_complete(whole.results)
    assert manifest["counts"]["lots"] == LOTS
    assert manifest["counts"]["tracts"] == len(TRACTS)
    assert manifest["counts"]["demand_rows"] == len(whole.demands())
    assert {i["key"] for i in manifest["inputs"]} >= {"portfolio file", "base", "lots.file", "hardware.file"}
    assert str(whole.folder) not in (whole.results / "run.json").read_text()
    for group in manifest["recorded"]["packages"]:
        assert group["proven"]
        assert group["gap"] == 0.0
    page = (whole.results / "report.html").read_text()
    assert "licensed design professional" in page
    assert manifest["basis"].split(";")[0] in page
    assert all(name in page for name in TRACTS)


# --- bad lots -----------------------------------------------------------------------------------------------------


def test_bad_lots_change_no_other(whole: Run, tmp_path: Path) -> None:
    """A lot without shape, one whose outline crosses itself, an unknown plan, an id twice, a lot without a tract."""
    good = portfolio_lots()
    some = good.iloc[[3, 20, 21, 40, 41, 42]].copy()
    some["lot_id"] = ["no shape", "bow", "no plan", "L-07", "nowhere", None]
    shapes = some.geometry.to_numpy().copy()
    shapes[0] = None
    x, y = shapes[1].centroid.coords[0]
    shapes[1] = shapely.Polygon([(x - 9, y - 9), (x + 9, y + 9), (x + 9, y - 9), (x - 9, y + 9)])
    some = some.set_geometry(gpd.GeoSeries(shapes, index=some.index, crs=good.crs))
    some.loc[some["lot_id"] == "no plan", "plan"] = "unheard of"
    some.loc[some["lot_id"] == "nowhere", "tract"] = None
    done = run(write_portfolio(tmp_path, gpd.GeoDataFrame(pd.concat([good, some], ignore_index=True), crs=good.crs)))
    assert done.code == 3, done.err
    lots = done.lots()
    assert len(lots) == LOTS + len(some)
    key = lots["tract"] + "/" + lots["lot_id"]
    bad = lots["lot_id"].isin(["no shape", "bow", "no plan", "nowhere"]) | lots["lot_id"].str.contains("row")
    bad |= key == "Cedar/L-07"
    assert set(lots.loc[bad, "status"]) == {"skipped"}
    assert bad.sum() == len(some) + 1
    before = whole.lots()
    kept = ~(before["tract"] + "/" + before["lot_id"]).isin(key[bad])
    same(lots[~bad], before[kept])
    reasons = done.table("exceptions").set_index("lot_id")["reason"].to_dict()
    assert reasons["no shape"] == "no_geometry"
    assert reasons["nowhere"] == "tract_missing"
    assert reasons["no plan"] == "plan_unknown"
    assert reasons["L-07"] == "lot_id_twice"
    assert "lot_id_missing" in reasons.values()
    assert reasons["bow"] in ("shape_broken", "lot_too_small")


def test_a_site_that_the_rasters_do_not_reach_is_set_aside(whole: Run, tmp_path: Path) -> None:
    far = portfolio_lots().query("tract == 'Birch'").copy()
    far["tract"] = "Far"
    moved = shapely.transform(far.geometry.to_numpy(), lambda xy: xy + np.array([150_000.0, 0.0]))
    far = far.set_geometry(gpd.GeoSeries(moved, index=far.index, crs=far.crs))
    done = run(write_portfolio(tmp_path, pd.concat([portfolio_lots(), far], ignore_index=True)))
    assert done.code == 3, done.err
    lots = done.lots()
    assert set(lots.loc[lots["tract"] == "Far", "status"]) == {"skipped"}
    same(lots[lots["tract"] != "Far"], whole.lots())
    reasons = set(done.table("exceptions").query("tract == 'Far'")["reason"])
    assert len(reasons) == 1
    assert reasons <= {"raster_misses_lots", "raster_elsewhere"}


def test_an_unreadable_raster_stops_everything(tmp_path: Path) -> None:
    (tmp_path / "wind.tif").write_text("no raster")
    done = run(write_portfolio(tmp_path, changes={"hazards.wind_speed_mph": {"file": "wind.tif", "units": "mph"}}))
    assert done.code == 2
    assert "wind.tif" in done.err
    assert not done.results.exists()


# --- whole or nothing, and going on -------------------------------------------------------------------------------

KILLED = """
import os, signal, sys
sys.path[:0] = sys.argv[3:]
from screener.portfolio import run, second_pass
def dies(task):
    if task.number == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    return second_pass.second_pass(task)
run.second_pass = dies
from screener.cli.main import run as command
command(["portfolio", sys.argv[1], "--workers", "1", "-q", "--chunk-lots", sys.argv[2]])
"""


def test_a_killed_run_goes_on_and_gives_the_same_bytes(
    by_tract: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = copy_of(by_tract.folder, tmp_path / "killed")
    where = str(Path(__file__).parents[2])
    killed = subprocess.run(
        [sys.executable, "-c", KILLED, str(file), "1", where], capture_output=True, timeout=300, check=False
    )
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert not (file.parent / "results").exists()
    again: list[str] = []
    for name in ("first_pass", "second_pass"):
        own = getattr(portfolio_run, name)
        monkeypatch.setattr(
            portfolio_run, name, lambda task, own=own: again.append(f"{task.kind} {task.number}") or own(task)
        )
    done = run(file, "--chunk-lots", 1, "--resume")
    assert again == ["second 1", "second 2"]
    assert done.sums() == by_tract.sums()
    assert not list((file.parent / ".results-runs").glob(".work-*"))


def test_a_shard_that_changed_is_made_again(by_tract: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = copy_of(by_tract.folder, tmp_path / "spoilt")
    own = portfolio_run.second_pass

    def stops(task: object) -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr(portfolio_run, "second_pass", stops)
    assert run(file, "--chunk-lots", 1).code == 130
    (work,) = (file.parent / ".results-runs").glob(".work-*")
    shard = work / "first" / "000001.numbers.arrow"
    shard.write_bytes(shard.read_bytes()[:-10])
    monkeypatch.setattr(portfolio_run, "second_pass", own)
    done = run(file, "--chunk-lots", 1, "--resume")
    assert done.sums() == by_tract.sums()


def test_a_run_that_stopped_while_it_published_goes_on(
    by_tract: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The map layer was in the stage by then, and the stage is gone: that part alone is made again."""
    file = copy_of(by_tract.folder, tmp_path / "stopped")
    finish, part = assembly.finish_geopackage, portfolio_run.map_part

    def stops(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(assembly, "finish_geopackage", stops)
    assert run(file, "--chunk-lots", 1).code == 130
    assert not (file.parent / "results").exists()
    monkeypatch.setattr(assembly, "finish_geopackage", finish)
    again: list[int] = []
    monkeypatch.setattr(portfolio_run, "map_part", lambda task: again.append(task.number) or part(task))
    done = run(file, "--chunk-lots", 1, "--resume")
    assert again == [0]
    assert done.sums() == by_tract.sums()


def test_on_a_network_disk_databases_are_made_elsewhere_and_copied(
    whole: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The local disk is another one: files cannot be renamed or linked from one to the other."""
    file = copy_of(whole.folder, tmp_path / "shared")
    for module in (publish, map_parts):
        monkeypatch.setattr(module, "network_file_system", lambda _: "nfs4")
    opened: list[str] = []
    connect, move, link = sqlite3.connect, os.replace, os.link

    def between(real: Callable[..., None]) -> Callable[..., None]:
        def tried(source: Path, target: Path) -> None:
            if (tmp_path in Path(source).parents) != (tmp_path in Path(target).parents):
                raise OSError(errno.EXDEV, "Invalid cross-device link")
            real(source, target)

        return tried

    def note(database: object, *more: Any, **options: Any) -> sqlite3.Connection:
        opened.append(str(database))
        return connect(database, *more, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(sqlite3, "connect", note)
    monkeypatch.setattr(os, "replace", between(move))
    monkeypatch.setattr(os, "link", between(link))
    done = run(file)
    assert done.code == 3, done.err
    assert len(opened) >= 3
    assert not [place for place in opened if str(tmp_path) in place]
    monkeypatch.undo()
    assert done.sums() == whole.sums()


FULL = OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize(
    ("place", "fault"),
    [("second_pass", FULL), ("map_part", FULL), ("map_part", sqlite3.OperationalError("disk I/O error"))],
)
def test_a_full_disk_is_told_as_that(
    whole: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: Exception, place: str
) -> None:
    file = copy_of(whole.folder, tmp_path / "full")

    def fails(_: object) -> None:
        raise fault

    monkeypatch.setattr(portfolio_run, place, fails)
    done = run(file)
    assert done.code == 4
    assert "the earlier results are untouched" in done.err
    assert ("the disk is full" if isinstance(fault, OSError) else "disk I/O error") in done.err


def test_a_second_run_with_resume_has_nothing_to_do(whole: Run) -> None:
    before = os.readlink(whole.results)
    done = run(whole.folder / "portfolio.toml", "--resume")
    assert done.code == 3
    assert os.readlink(whole.results) == before


# --- the portfolio file -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (LOTS_FILE + "tract_colum = 'x'\n", "tract_column (the nearest known)"),
        (LOTS_FILE + "[packges]\nper = 'tract'\n", "packages (the nearest known)"),
        (LOTS_FILE + "[packages]\nper = 'state'\n", '"division", "tract" or "portfolio"'),
        ("[packages]\nper = 'tract'\n", "neither [lots] nor [[tracts]]"),
        (LOTS_FILE + "[design]\nmethod = 'ASD'\n", "not both"),
        (LOTS_FILE.replace('"division"', '"region"'), "no column region"),
        ("[[tracts]]\nproject = 'none.toml'\n", "none.toml"),
    ],
)
def test_a_faulty_portfolio_file_is_refused(tmp_path: Path, text: str, told: str) -> None:
    done = run(write_portfolio(tmp_path, text=text))
    assert done.code == 2
    assert told in done.err
    assert not done.results.exists()


@pytest.mark.parametrize(
    ("changes", "told"), [({"tiers.least_lots": 3}, "least_lots"), ({"tiers.scope": "plan"}, "[packages] per")]
)
def test_rules_that_a_portfolio_cannot_keep_are_refused(tmp_path: Path, changes: dict[str, object], told: str) -> None:
    done = run(write_portfolio(tmp_path, changes=changes))
    assert done.code == 2
    assert told in done.err


def test_a_tract_in_two_divisions_is_refused(tmp_path: Path) -> None:
    lots = portfolio_lots().copy()
    lots.loc[lots.index[0], "division"] = "North"
    done = run(write_portfolio(tmp_path, lots))
    assert done.code == 2
    assert "tract Alder stands in divisions" in done.err


def test_the_demands_are_written_with_dictionaries_and_single_precision(whole: Run) -> None:
    file = pq.ParquetFile(next((whole.results / "demands").iterdir()))
    kinds = {f.name: f.type for f in file.schema_arrow}
    assert [f for f in kinds][1:] == list(columns.names("demands"))
    assert kinds["demand"] == pa.float32()
    assert pa.types.is_dictionary(kinds["point"])
    assert file.metadata.row_group(0).column(0).compression == "ZSTD"


@pytest.mark.parametrize(
    ("of_file", "read", "lots", "told", "fits"),
    [(5, 5, 5, False, True), (5, 5, 4, True, True), (5, 5, 4, False, False), (5, 4, 4, True, False)],
)
def test_a_lot_that_gets_lost_stops_the_writing(
    tmp_path: Path, of_file: int, read: int, lots: int, told: bool, fits: bool
) -> None:
    """Rows of the file, rows read, lots made of them; fewer lots than rows only where a repeat was told."""
    part = tmp_path / "part.parquet"
    pq.write_table(pa.table({"lot_id": [str(n) for n in range(lots)]}), part)
    first = SimpleNamespace(facts={"rows": read, "lots": lots})
    done = SimpleNamespace(common=SimpleNamespace(layout=SimpleNamespace(lots=of_file)), first=[first])
    issues = pd.DataFrame({"code": ["lot_repeated"] if told else []})
    with nullcontext() if fits else pytest.raises(OutputError, match="a fault of ours"):
        _check_lots([part], done, issues)  # type: ignore[arg-type]
