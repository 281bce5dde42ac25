"""Levers of a tract: rules for packages, forcing lots, tolerance, phase orders, a swap, scenarios, siting.

Small cuts of the sample (invented); exposure and Kzt come from columns where the ground itself is not what is tested.
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import box
from test_pipeline import BY_COLUMNS
from tract_helpers import TWELVE, Screened, command, cut, screened, write_tract

from hazard.issues import InputError
from screener.config import load_tract
from screener.joint_lines import CAST_IN, anchors_itself, join, partner
from screener.lever_tables import lever_tables
from screener.phase_orders import order_table, phase_orders
from screener.pipeline import prepare
from screener.rejudge import judged, open_packages
from screener.scenarios import BASE, read_scenarios, run_scenarios
from screener.site_hazards import with_wind
from screener.swap import Change, difference, run_with
from screener.tiers import plan_tiers
from screener.tolerance import hazards_of


@pytest.fixture(scope="module")
def by_columns(tmp_path_factory: pytest.TempPathFactory) -> Screened:
    """Twelve lots, at most three packages, letters and Kzt from columns."""
    return screened(write_tract(tmp_path_factory.mktemp("levers"), None, {**BY_COLUMNS, "tiers.most": 3}))


# ---------------------------------------------------------------- rules for packages


def test_no_lot_has_a_package_that_fails_a_check(by_columns: Screened) -> None:
    """Every lot, connection, case: demand over capacity of its package is at most 1, judged anew from the points."""
    s = by_columns.selection
    looked_at = 0
    for house in s.houses:
        for r in house.points:
            if r.point.schedule not in s.lines:
                continue
            for at, lot in enumerate(house.lots):
                option = s.chosen(int(lot), r.point)
                if s.tier_of_lot[lot] < 0:
                    continue
                if s.options[s.line_of(r.point)][option] is CAST_IN:  # then its hold-down must anchor itself
                    held = next(each.point for each in house.points if each.point.name == partner(r.point.name))
                    chosen = s.options[s.line_of(held)][s.chosen(int(lot), held)]
                    assert anchors_itself(chosen, by_columns.prepared.hardware)
                    continue
                values = np.maximum(r.point.values(house.basis[at : at + 1])[0], 0.0)  # (cases, components)
                cap = r.held[int(r.held_of[at])][option]
                for case, hazard in enumerate(r.point.case_hazards):
                    kind = "seismic" if hazard == "seismic" else "wind"
                    terms = [
                        0.0 if v == 0.0 else v / cap.allowable[kind].get(c, 0.0)
                        for c, v in zip(r.point.components, values[case], strict=True)
                    ]
                    total = max(terms) if cap.interaction == "none" else sum(terms)
                    assert total <= 1.0 + 1e-12, (s.package_names[s.tier_of_lot[lot]], r.point.name)
                    looked_at += 1
    assert looked_at > 5_000


def test_judging_again_under_the_same_hazards_changes_nothing(by_columns: Screened) -> None:
    s, p = by_columns.selection, by_columns.prepared
    assert s.problem is not None
    (again,) = judged(s, p.hazards)
    for lot, tier in enumerate(s.tier_of_lot[s.tried]):
        if tier >= 0:
            assert again.holds[lot, tier]
            assert again.cost_cents[lot, tier] == s.plan.lot_cost_cents[lot]
    assert (again.needed(open_packages(s)) == s.tier_of_lot[s.tried]).all()


def test_plan_scope_gives_each_plan_its_own_packages(tmp_path: Path) -> None:
    run = screened(write_tract(tmp_path, None, {**BY_COLUMNS, "tiers.most": 1, "tiers.scope": "plan"}))
    for lot in run.lots.itertuples():
        if lot.tier:
            assert lot.tier == f"{lot.plan} package 1"
    tract = screened(write_tract(tmp_path / "tract", None, {**BY_COLUMNS, "tiers.most": 1}))
    assert run.selection.plan.cost_cents <= tract.selection.plan.cost_cents
    assert run.selection.plan.proven


def test_forbidden_items_are_in_no_package_and_in_stock_items_cost_labour_only(tmp_path: Path) -> None:
    plain = screened(write_tract(tmp_path / "plain", None, BY_COLUMNS))
    ties = plain.results.packages[plain.results.packages["schedule"].str.startswith("truss tie")]
    item = next(str(i) for i in ties["item"] if i)
    without = screened(write_tract(tmp_path / "without", None, {**BY_COLUMNS, "tiers.forbidden": [item]}))
    assert item in set(plain.results.packages["item"])
    assert item not in set(without.results.packages["item"])
    assert without.selection.plan.cost_cents >= plain.selection.plan.cost_cents
    sunk = screened(write_tract(tmp_path / "sunk", None, {**BY_COLUMNS, "tiers.in_stock": [item]}))
    assert sunk.selection.plan.cost_cents < plain.selection.plan.cost_cents


def test_an_unknown_item_is_told_with_the_nearest_name(tmp_path: Path) -> None:
    path = write_tract(tmp_path, None, {**BY_COLUMNS, "tiers.forbidden": ["truss tie ligt"]})
    with pytest.raises(InputError, match="truss tie light"):
        prepare(load_tract(path))


def test_lots_outside_their_permit_stay_apart_or_get_nothing(tmp_path: Path) -> None:
    own = screened(write_tract(tmp_path / "own", None, {**BY_COLUMNS, "tiers.outside_permit": "own"}))
    outside = own.lots["inside_permit"].map(str) == "False"
    assert 0 < outside.sum() < len(outside)
    tiers = own.lots["tier"].fillna("")
    assert not set(tiers[outside]) - {""} & set(tiers[~outside]) - {""}
    assert all("outside-permit" in t for t in tiers[outside] if t)
    none = screened(write_tract(tmp_path / "none", None, {**BY_COLUMNS, "tiers.outside_permit": "none"}))
    assert set(none.lots["tier"].fillna("")[outside]) == {""}
    assert (none.lots.loc[outside, "flags"].str.contains("PERMIT_LEFT")).all()


# ---------------------------------------------------------------- curve, forcing lots, tolerance


def test_the_curve_falls_and_one_row_is_suggested(by_columns: Screened) -> None:
    table = lever_tables(by_columns.prepared, by_columns.selection)["cost_curve"]
    costs = table["cost"].dropna()
    assert costs.is_monotonic_decreasing
    assert table["suggested"].sum() == 1
    assert table.loc[table["suggested"], "note"].iloc[0]
    assert (table["lower_bound"] <= table["cost"].fillna(np.inf) + 1e-9).all()


def test_what_forcing_lots_save_is_what_a_full_search_without_them_finds_or_less(by_columns: Screened) -> None:
    """Leave the named lots out and search again: the others then cost at least so much less as the table says."""
    from screener.tier_advice import forcing_lots, without_lots

    s = by_columns.selection
    assert s.problem is not None
    problem = join(s.problem, s.pairs)
    found = forcing_lots(problem, s.plan)
    assert found
    for each in found:
        stays = np.ones(len(s.problem.lot_ids), dtype=bool)
        stays[list(each.lots)] = False
        now = int(s.plan.lot_cost_cents[stays].sum())
        then = plan_tiers(without_lots(problem, stays)).cost_cents
        assert now - then >= each.saves_at_least_cents >= each.saves_cents > 0


def test_tolerance_names_a_package_that_holds_and_is_cheapest(by_columns: Screened) -> None:
    s, p = by_columns.selection, by_columns.prepared
    table = lever_tables(p, s)["tolerance"]
    wind = table[(table["what"] == "wind") & (table["by"] > 0)]
    assert len(wind)
    (then,) = judged(s, hazards_of(p, with_wind(p.site, p.tract.design.loads, speed=1.03)))
    assert s.problem is not None
    for row in wind.itertuples():
        lot = s.problem.lot_ids.index(row.lot_id)
        holds = np.flatnonzero(then.holds[lot])
        if row.to_tier == "none":
            assert not len(holds)
        else:
            cheapest = holds[then.cost_cents[lot, holds].argmin()]
            assert s.package_names[cheapest] == row.to_tier
    changed = set(wind["lot_id"])
    for lot, name in enumerate(s.problem.lot_ids):
        tier = s.tier_of_lot[s.tried[lot]]
        if name not in changed and tier >= 0:
            assert then.holds[lot, tier]


def test_more_wind_or_kzt_never_lightens_a_package(by_columns: Screened) -> None:
    s, p = by_columns.selection, by_columns.prepared
    (now,) = judged(s, p.hazards)
    for changes in ({"speed": 1.05}, {"kzt": 1.1}):
        (then,) = judged(s, hazards_of(p, with_wind(p.site, p.tract.design.loads, **changes)))
        assert not (then.holds & ~now.holds).any()


# ---------------------------------------------------------------- phase orders, swap, scenarios


@pytest.mark.long
def test_phase_orders_agree_with_full_runs_at_permit(tmp_path: Path) -> None:
    """Two orders of the table against full runs of a project that names that order, ground state 'at permit'."""
    lots = cut(TWELVE[:3] + TWELVE[6:])
    prepared = prepare(load_tract(write_tract(tmp_path / "all", lots)))
    orders, own = phase_orders(prepared)
    assert len(orders) == 24
    table = order_table(orders, own)
    assert table["project_order"].sum() == 1
    assert table.groupby("without_package")["cost"].apply(lambda cost: cost.is_monotonic_increasing).all()
    assert table["without_package"].is_monotonic_increasing
    phases = load_tract(tmp_path / "all" / "tract.toml").ground.phases
    assert phases is not None
    for row in (table.iloc[0], table.iloc[-1]):
        order = row["order"].split(" > ")
        changes = {
            "ground.phases": {"file": str(phases.file), "order": order},
            "tract.ground_state": "at permit",
        }
        run = screened(write_tract(tmp_path / "_".join(order), lots, changes))
        assert run.selection.plan.cost_cents / 100 == pytest.approx(row["cost"], abs=0.005) or not row["proven"]
        assert (run.lots["exposure"] == "C").sum() == row["lots_c"]
        assert run.selection.plan.cost_cents / 100 >= row["lower_bound"] - 0.005


@pytest.mark.long
def test_a_swap_is_the_difference_of_two_full_runs(tmp_path: Path) -> None:
    """The swapped lot written into the lots file and run: the same money, boxes and packages."""
    path = write_tract(tmp_path / "before", None, BY_COLUMNS)
    change = Change("A-01", plan="kettle", style="C")
    found = difference(run_with(load_tract(path), None), run_with(load_tract(path), change), change)
    lots = cut()
    row = lots.index[lots["lot_id"] == "A-01"][0]
    lots.loc[row, ["plan", "style", "options"]] = ["kettle", "C", ""]
    after = screened(write_tract(tmp_path / "after", lots, BY_COLUMNS))
    before = screened(path)
    totals = [float(run.results.lots["total_cost"].sum()) for run in (before, after)]
    assert found["tract_cost"] == [round(total, 2) for total in totals]
    boxes = [float(run.results.bill_of_materials["cost"].sum()) for run in (before, after)]
    assert found["order_cost"] == [round(cost, 2) for cost in boxes]
    assert sum(row["cost"] for row in found["items"]) == pytest.approx(boxes[1] - boxes[0], abs=0.01)
    assert found["changed"]["plan"][1] == "kettle"


def test_a_cancelled_lot_leaves_the_orders(tmp_path: Path) -> None:
    path = write_tract(tmp_path, None, BY_COLUMNS)
    change = Change("A-30", cancel=True)
    found = difference(run_with(load_tract(path), None), run_with(load_tract(path), change), change)
    assert found["order_cost"][1] < found["order_cost"][0]
    assert found["changed"]["tier"][1] == ""
    with pytest.raises(InputError, match="A-3"):
        run_with(load_tract(path), Change("A-3O", cancel=True))


def test_scenarios_run_side_by_side_and_each_equals_its_own_run(tmp_path: Path) -> None:
    built = {"tiers.most": 1, "tract.ground_state": "built out"}
    path = write_tract(tmp_path, None, built)
    belt = gpd.GeoDataFrame({"name": ["belt"]}, geometry=[box(499000, 4199000, 502500, 4201500)], crs="EPSG:26913")
    belt.to_file(tmp_path / "belt.gpkg")
    file = tmp_path / "scenarios.toml"
    file.write_text(
        '[[scenario]]\nname = "more wind"\nhazards.wind_speed_mph = { value = 125 }\n\n'
        '[[scenario]]\nname = "trees all round"\nground.tree_belt = { file = "belt.gpkg" }\n'
    )
    table = run_scenarios(path, read_scenarios(file)).set_index("scenario")
    assert list(table.index) == [BASE, "more wind", "trees all round"]
    more = screened(write_tract(tmp_path / "more", None, {**built, "hazards.wind_speed_mph": {"value": 125}}))
    assert table.loc["more wind", "total_cost"] == round(float(more.results.lots["total_cost"].fillna(0).sum()), 2)
    assert table.loc["trees all round", "exposure_b"] > table.loc[BASE, "exposure_b"]
    assert table.loc[BASE, "change"] == 0.0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[[scenario]]\nhazards.kzt = { value = 1 }", "name"),
        ('[[scenario]]\nname = "a"', "changes nothing"),
        ('[[scenario]]\nname = "a"\nremove = "hazards"', "list of keys"),
        ('[[scenario]]\nname = "a"\ndesign.lods = "ASCE 7-22"', "scenario 'a'"),
        ("name = 1", "scenario"),
    ],
)
def test_faults_of_a_scenarios_file_are_told(tmp_path: Path, text: str, words: str) -> None:
    path = write_tract(tmp_path, None, BY_COLUMNS)
    (tmp_path / "s.toml").write_text(text)
    with pytest.raises(InputError, match=words):
        run_scenarios(path, read_scenarios(tmp_path / "s.toml"))


def test_the_commands_say_what_they_found(tmp_path: Path) -> None:
    path = write_tract(tmp_path, None, BY_COLUMNS)
    said = command("swap", str(path), "--lot", "A-02", "--mirrored", "-q")
    assert said[0] == 0, said[2]
    assert "paper: master set" in said[1]
    assert command("swap", str(path), "-q")[0] == 2


# ---------------------------------------------------------------- siting, comparison


def test_siting_is_the_best_of_all_permutations(by_columns: Screened) -> None:
    """Six lots: every way to deal their houses out, rules kept, against the programme."""
    import itertools

    from screener.siting_advice import _looks, advice_table, siting_advice

    p, s = by_columns.prepared, by_columns.selection
    names = [str(p.site.points.lot_id[i]) for i in s.tried if s.tier_of_lot[i] >= 0][:6]
    found = siting_advice(p, s, names)
    c, looks = found.choices, _looks(p)
    house = p.houses.of_lot[p.usable].copy()
    best = None
    for order in set(itertools.permutations(found.now.tolist())):
        costs = [int(c.cost_cents[n, h]) for n, h in enumerate(order)]
        if min(costs) < 0:
            continue
        house[c.lots] = c.houses[list(order)]
        free = set(c.lots.tolist())
        if any(looks[house[a]] == looks[house[b]] for a, b in found.pairs if free & {a, b}):
            continue
        best = sum(costs) if best is None else min(best, sum(costs))
    assert found.cost == best
    assert found.proven
    assert sorted(found.best.tolist()) == sorted(found.now.tolist())
    table = advice_table(p, s, found)
    assert table["change"].sum() == pytest.approx((found.cost - found.cost_now) / 100, abs=0.01)


def test_what_stands_now_costs_what_the_run_says(by_columns: Screened) -> None:
    """Same house on the same lot: the hazards, packages and costs of the run, although worked anew."""
    from screener.siting_advice import siting_advice

    p, s = by_columns.prepared, by_columns.selection
    names = [str(p.site.points.lot_id[i]) for i in s.tried if s.tier_of_lot[i] >= 0]
    found = siting_advice(p, s, names)
    place = {int(lot): n for n, lot in enumerate(s.tried)}
    for n, lot in enumerate(found.choices.lots.tolist()):
        assert found.choices.cost_cents[n, found.now[n]] == s.plan.lot_cost_cents[place[lot]]
    assert found.cost <= found.cost_now or found.clashes_now


def test_neighbours_share_a_side_or_face_each_other(tmp_path: Path) -> None:
    """Four rectangles, two a side of a street: side by side and across, never behind."""
    from types import SimpleNamespace

    from screener.siting_advice import neighbours

    shapes = [box(0, 0, 20, 38), box(20, 0, 40, 38), box(0, 53, 20, 91), box(20, 53, 40, 91), box(0, 91, 20, 129)]
    lots = gpd.GeoDataFrame({"front_bearing_deg": [0.0, 0.0, 180.0, 180.0, 0.0]}, geometry=shapes, crs="EPSG:26913")
    p = SimpleNamespace(lots=lots, usable=np.arange(5), site=SimpleNamespace(working=SimpleNamespace(crs=lots.crs)))
    assert neighbours(p) == ((0, 1), (0, 2), (1, 3), (2, 3))  # type: ignore[arg-type]


def test_a_comparison_names_the_reason(tmp_path: Path) -> None:
    """More wind: other hazards. A dearer list: packages chosen anew, or nothing. The page holds every changed lot."""
    from screener.comparison import compare

    names = TWELVE[:4]
    one = write_tract(tmp_path / "one", cut(names), {**BY_COLUMNS, "tiers.most": 1})
    two = write_tract(
        tmp_path / "two", cut(names), {**BY_COLUMNS, "tiers.most": 1, "hazards.wind_speed_mph": {"value": 130}}
    )
    for file in (one, two):
        assert command("run", file, "-q", "--allow-exceptions", "--workers", "1")[0] == 0
    changes = compare(one.parent / "results", two.parent / "results")["package_changes"]
    assert changes
    assert {row["reason"] for row in changes} == {"ground"}
    assert all("wind_speed_mph" in row["why"] for row in changes)
    page = tmp_path / "page.html"
    assert command("compare", one.parent / "results", two.parent / "results", "--html", page)[0] == 0
    text = page.read_text(encoding="utf-8")
    assert all(row["lot_id"] in text for row in changes)
    assert "http" not in text.replace("http-equiv", "")
    for name in ("cost_curve", "forcing_lots", "tolerance"):
        assert (one.parent / "results" / f"{name}.csv").is_file()
