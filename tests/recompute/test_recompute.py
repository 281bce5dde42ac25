"""Twenty lots of the sample worked again from its input files by plain scripts that share no code with the tool.

The scripts (`plain_*.py` here) read the project file, lots, rasters, plans and hardware list of the sample, hold the
standards' numbers in their own table file, and trace every load case of a house by itself with scalar forces. What
they find is compared with one whole run of the tool: hazards, the demand of every connection, what the chosen item
holds, every ratio, pieces, material and labour; to a relative difference of 1e-6.
"""

from __future__ import annotations

import ast
import fcntl
import math
import os
import pickle
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import plain_bill
import plain_capacity
import plain_options
import plain_plan
import plain_points
import plain_prepare
import plain_site
import plain_terrain
import pytest

HERE = Path(__file__).parent
SAMPLE = HERE.parents[1] / "sample_data"
TOLERANCE = 1e-6
SMALL = 1e-3
"""Below this (lb, plf, psf) the tolerance is that of this size: a difference of two large forces can be near zero."""

LOTS = {
    "A-01": "thimble, hip, patio, drawn hand",
    "C-16": "thimble, gable, patio and third bay, mirrored",
    "D-31": "thimble on the crest",
    "C-42": "thimble, front porch, beside the water",
    "C-08": "thimble, front porch, patio and third bay, mirrored",
    "A-31": "kettle, three bearings and a girder, tile, on the crest, sheltered once built out",
    "C-20": "kettle, all options, mirrored",
    "B-41": "kettle beside the water, tile and third bay",
    "A-39": "kettle, hip with a girder",
    "B-30": "anvil, two storeys, on the crest",
    "B-33": "anvil, hip, mirrored, on the ridge",
    "B-12": "anvil, front porch and third bay",
    "A-41": "anvil beside the water, third bay",
    "B-13": "lantern, raised floor, mirrored",
    "A-29": "lantern on the ridge: no hardware",
    "A-08": "lantern, hip, patio and third bay, mirrored",
    "A-45": "lantern, porch, patio and third bay beside the water",
    "A-12": "ladder with its loft, all options, mirrored",
    "D-42": "ladder with its loft, hip, beside the water",
    "A-33": "ladder with its loft, porch, all options, on the ridge",
}


def _long_but_some(lot_id: str) -> Any:
    """Every third lot is worked again by every run of the tests, the others by the long one."""
    return pytest.param(lot_id, marks=[] if list(LOTS).index(lot_id) % 3 == 0 else [pytest.mark.long])


EACH = pytest.mark.parametrize("lot_id", [_long_but_some(lot) for lot in LOTS])

FAMILIES = {
    "truss_tie",
    "girder_tie",
    "truss_hanger",
    "gable_end_tie",
    "roof_boundary",
    "roof_diaphragm",
    "roof_sheathing",
    "plate_splice",
    "plate_to_stud",
    "stud_nailing",
    "header_end",
    "storey_strap",
    "stud_to_plate",
    "plate_to_floor",
    "floor_diaphragm",
    "wall_sheathing",
    "hold_down",
    "end_post",
    "hold_down_anchor",
    "sill_anchor",
    "post_beam",
    "post_base",
    "post_footing",
    "ledger",
}
"""Families whose demands are worked here. Retrofit anchors serve sills and accessories come with other items."""

READ_ONLY_HAZARDS = ("wind_speed_mph", "elevation_ft", "ke", "ss_g", "s1_g", "sds_g", "sd1_g", "mean_roof_height_ft")


# --- the tool's run, and the plain one --------------------------------------------------------------------------------


@dataclass
class Run:
    """Unrounded tables of one whole run of the sample."""

    lots: pd.DataFrame
    demands: dict[str, pd.DataFrame]
    packages: dict[str, dict[str, tuple[str, str]]]
    exceptions: pd.DataFrame
    families: set[str]
    slender: dict[str, dict[str, float]]


@pytest.fixture(scope="module")
def tool(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The tool's results, before the tables' decimals are cut; run once, also with several test processes."""
    base = tmp_path_factory.getbasetemp()
    base = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    kept = base / "recompute_run.pickle"
    with (base / "recompute_run.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            kept.write_bytes(pickle.dumps(_whole_run()))
    run: Run = pickle.loads(kept.read_bytes())
    return run


def _whole_run() -> Run:
    from screener.config import load_tract
    from screener.pipeline import choose, prepare
    from screener.result_tables import build_results

    prepared = prepare(load_tract(SAMPLE / "tract.toml"))
    results = build_results(prepared, choose(prepared))
    packages: dict[str, dict[str, tuple[str, str]]] = {}
    for row in results.packages.itertuples():
        packages.setdefault(row.tier, {})[row.schedule] = (row.item, row.arrangement)
    ids, houses = prepared.site.points.lot_id, prepared.houses.of_lot[prepared.usable]
    return Run(
        pd.DataFrame(results.lots.drop(columns="geometry")).set_index("lot_id"),
        dict(list(results.demands.groupby("lot_id"))),
        packages,
        results.exceptions,
        {point.family for model in prepared.models for point in model.points},
        {lot_id: _slender(prepared.models[int(house)]) for lot_id, house in zip(ids, houses, strict=True)},
    )


def _slender(model: Any) -> dict[str, float]:
    """Span over depth by which the tool refuses diaphragms, by connection."""
    return {p.name: p.facts["diaphragm_aspect"] for p in model.points if "diaphragm_aspect" in p.facts}


@cache
def project() -> dict[str, Any]:
    return tomllib.loads((SAMPLE / "tract.toml").read_text(encoding="utf-8"))


@cache
def site() -> plain_site.Site:
    return plain_site.Site(SAMPLE)


@cache
def hardware() -> dict[str, Any]:
    return plain_capacity.read_list(SAMPLE / "hardware.csv")


@dataclass
class Plain:
    """One lot by the plain scripts."""

    house: dict[str, Any]
    points: dict[str, Any]
    numbers: dict[str, Any]
    terrain: list[dict[str, Any]]
    q: float
    qc: float
    demands: plain_points.Demands

    @property
    def category(self) -> str:
        """The residential code's letter where it is one of D, else the load standard's."""
        irc = self.numbers["sdc_irc"]
        return irc if irc.startswith("D") else self.numbers["sdc"]


def house_of(lot_id: str, mirrored: bool = False) -> dict[str, Any]:
    row = site().lots[lot_id]
    plan = plain_plan.read_plan(SAMPLE / "plans" / f"{row['plan']}.toml")
    options = {part.strip() for part in (row["options"] or "").replace(",", ";").split(";") if part.strip()}
    return plain_prepare.prepare(plain_plan.build(plan, row["style"], options, mirrored))


@cache
def plain(lot_id: str) -> Plain:
    house = house_of(lot_id)
    numbers = site().numbers(lot_id, project(), house["h"])
    x, y = site().lots[lot_id]["xy"]
    # the sample's ridge has a flank steep enough to be read every 5 m
    terrain = plain_terrain.by_direction(site().rasters["elevation"], x, y, numbers["z_ft"], numbers["ways"], 5.0)
    products = [
        [
            plain_site.kz(house["h"], letter, floor) * way["kzt"]
            for letter, way in zip(numbers["ways"], terrain, strict=True)
        ]
        for floor in (True, False)
    ]
    q, qc = (plain_site.pressure(numbers, max(product)) for product in products)
    points = plain_points.catalogue(house)
    demands = plain_points.Demands(house, points, plain_site.lot_loads(house, numbers, q, qc))
    return Plain(house, points, numbers, terrain, q, qc, demands)


def differs(tool_value: float, own: float, small: float = 0.0) -> bool:
    if math.isnan(tool_value) or math.isnan(own):
        return math.isnan(tool_value) != math.isnan(own)
    if math.isinf(tool_value) or math.isinf(own):
        return tool_value != own
    return abs(tool_value - own) > TOLERANCE * max(abs(tool_value), abs(own), small)


def told(found: list[str]) -> str:
    return f"{len(found)} differ (the tool's value, then the plain one):\n" + "\n".join(found[:60])


def package_of(tool: Run, lot_id: str) -> dict[str, tuple[str, str]]:
    return tool.packages.get(tool.lots.loc[lot_id, "tier"], {})


# --- what is shared, and what is covered ------------------------------------------------------------------------------


def test_the_plain_scripts_import_nothing_of_the_tool() -> None:
    allowed = set(sys.stdlib_module_names) | {"rasterio"}
    scripts = sorted(HERE.glob("plain_*.py"))
    assert len(scripts) > 10
    own = {script.stem for script in scripts}
    for script in scripts:
        for node in ast.walk(ast.parse(script.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                assert name.split(".")[0] in allowed | own, f"{script.name} imports {name}"
    code = f"import sys; sys.path.insert(0, {str(HERE)!r}); import {', '.join(sorted(own))}; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not {"hazard", "screener", "numpy", "pandas", "shapely"} & set(loaded)


@pytest.mark.long
def test_the_lots_cover_the_sample(tool: Run) -> None:
    lots = tool.lots.loc[list(LOTS)]
    assert len(lots) == 20
    every = tool.lots
    assert set(lots["plan"]) == set(every["plan"])
    assert set(lots["style"]) == set(every["style"])
    options = {(p, o) for p, text in zip(every["plan"], every["options"], strict=True) for o in text.split(";") if o}
    seen = {(p, o) for p, text in zip(lots["plan"], lots["options"], strict=True) for o in text.split(";") if o}
    assert seen == options
    assert set(lots["mirrored"]) == {True, False}
    assert set(lots["tier"]) == {"", "package 1", "package 2", "package 3", "package 4"}
    assert set(lots["status"]) == {"screened", "refer", "no_hardware"}
    assert set(lots["exposure"]) == {"C", "D"} == set(every["exposure"])
    assert (lots["exposure_built_out"] == "B").any()
    assert (lots["kzt"] > 1.5).any()
    assert {True, False} == set(lots["kzt"] == 1.0)
    assert {len(plain(lot_id).house["storeys"]) for lot_id in LOTS} == {1, 2}
    assert {p["name"] for lot_id in LOTS for p in plain(lot_id).house["porches"]} == {"front porch", "patio"}
    splices = [{p["line"] for p in plain(i).points.values() if p["family"] == "plate_splice"} for i in LOTS]
    assert {"plate splice"} in splices
    assert {"plate splice", "plate splice, collector"} in splices
    anchors = {held for i in LOTS for line, held in package_of(tool, i).items() if line.startswith("hold-down anchor")}
    assert plain_options.CAST_IN in anchors
    assert any(item for item, _ in anchors)


@pytest.mark.long
def test_families_compared_are_those_listed(tool: Run) -> None:
    compared = {
        plain(lot_id).points[point]["family"] for lot_id in LOTS for point in set(tool.demands[lot_id]["point"])
    }
    assert compared == FAMILIES == tool.families


# --- lot by lot -------------------------------------------------------------------------------------------------------


@EACH
def test_hazards(tool: Run, lot_id: str) -> None:
    row, own = tool.lots.loc[lot_id], plain(lot_id)
    numbers, found = own.numbers, []
    for name in READ_ONLY_HAZARDS:
        if differs(row[name], numbers[name]):
            found.append(f"{name} {row[name]!r} {numbers[name]!r}")
    letters = {
        "exposure_by_direction": numbers["ways"],
        "exposure_by_state": "; ".join(f"{name} {state['worst']}" for name, state in numbers["states"].items()),
        "ground_state": numbers["ground_state"],
        "exposure": numbers["states"][numbers["ground_state"]]["worst"],
        "sdc": numbers["sdc"],
        "sdc_irc": numbers["sdc_irc"],
        "kzt_by_direction": " ".join(f"{way['kzt']:.2f}" for way in own.terrain),
    }
    found += [f"{name} {row[name]!r} {text!r}" for name, text in letters.items() if row[name] != text]
    design = numbers["states"][numbers["ground_state"]]
    least = min(v for v, way in zip(design["shares"], design["sectors"], strict=True) if way == design["worst"])
    if design["worst"] != "D" and differs(row["rough_share_min"], least):
        found.append(f"rough_share_min {row['rough_share_min']!r} {least!r}")
    best = max(way["kzt"] for way in own.terrain)
    for name, value in (("kzt", best), ("q_envelope_psf", own.q), ("q_components_psf", own.qc)):
        if differs(row[name], value):
            found.append(f"{name} {row[name]!r} {value!r}")
    if best > 1.0:
        way = own.terrain[round(row["terrain_bearing_deg"] / 22.5)]
        names = {"terrain_h_ft": "height", "terrain_lh_ft": "half", "terrain_x_ft": "x"}
        found += [f"{n} {row[n]!r} {way[k]!r}" for n, k in names.items() if differs(row[n], way[k])]
        if row["terrain_form"] != way["form"]:
            found.append(f"terrain_form {row['terrain_form']} {way['form']}")
    assert not found, told(found)


@EACH
def test_permit_envelope(tool: Run, lot_id: str) -> None:
    """Whether the plan's sealed set covers the lot: speed, exposure, Kzt and SDS together."""
    own, row = plain(lot_id), tool.lots.loc[lot_id]
    plan = plain_plan.read_plan(SAMPLE / "plans" / f"{site().lots[lot_id]['plan']}.toml")
    permit, numbers = plan["permit"], own.numbers
    letter = numbers["states"][numbers["ground_state"]]["worst"]
    inside = (
        numbers["wind_speed_mph"] <= permit["wind_speed_mph"] + 1e-9
        and "BCD".index(letter) <= "BCD".index(permit["exposure"])
        and max(way["kzt"] for way in own.terrain) <= permit["kzt"] + 1e-9
        and numbers["sds_g"] <= permit["sds_g"] + 1e-9
    )
    assert row["inside_permit"] == inside
    told_of = tool.exceptions[tool.exceptions["lot_id"] == lot_id]["reason"]
    assert ("PERMIT" in set(told_of)) != inside


@EACH
def test_demands(tool: Run, lot_id: str) -> None:
    own, table = plain(lot_id), tool.demands[lot_id]
    single = table[table["component"] != "combined"]
    found = []
    listed = {(row.point, row.component) for row in single.itertuples()}
    mine = {(name, component) for name in own.points for component in own.demands.components(name)}
    found += [f"{pair} only by the tool" for pair in sorted(listed - mine)]
    found += [f"{pair} only by the plain scripts" for pair in sorted(mine - listed)]
    for row in single.itertuples():
        if (row.point, row.component) not in mine:
            continue
        value, _ = own.demands.largest(row.point, row.component)
        if differs(row.demand, value, SMALL):
            found.append(f"{row.point}: {row.component} {row.demand!r} {value!r}; {row.case}")
        elif row.demand > 0.0:
            # the case that the tool names as the governing one gives that demand here too
            in_case = own.demands.in_case(row.point, row.component, row.case.split(" [")[0])
            if differs(row.demand, in_case, SMALL):
                found.append(f"{row.point}: {row.component} {row.demand!r} {in_case!r} in {row.case}")
    assert not found, told(found)
    assert len(single) > 100


@EACH
def test_slenderness_of_diaphragms(tool: Run, lot_id: str) -> None:
    """What decides whether a diaphragm may be unblocked; that a chosen item is allowed would say little about it."""
    own = {name: point["slender"] for name, point in plain(lot_id).points.items() if "slender" in point}
    assert own
    assert set(own) == set(tool.slender[lot_id])
    found = [f"{n} {v!r} {own[n]!r}" for n, v in tool.slender[lot_id].items() if differs(v, own[n])]
    assert not found, told(found)


@EACH
def test_capacities_and_ratios(tool: Run, lot_id: str) -> None:
    own, package, found = plain(lot_id), package_of(tool, lot_id), []
    about = own.house["about"]
    for row in tool.demands[lot_id].itertuples():
        point = own.points[row.point]
        if point["line"] not in package:
            if not (math.isnan(row.capacity) and math.isnan(row.ratio)):
                found.append(f"{row.point}: a capacity without a package")
            continue
        item, arrangement = package[point["line"]]
        components, held = own.demands.components(row.point), {"wind": {}, "seismic": {}}
        if item:
            held = plain_capacity.held(hardware()[item], arrangement, point, about, components, own.category)
        if row.item != (f"{item}, {arrangement}" if item else arrangement):
            found.append(f"{row.point}: item {row.item!r}, the package has {item!r} {arrangement!r}")
        together = own.demands.ratio(row.point, held)
        if (item, arrangement) == plain_options.CAST_IN:
            rest = (own.points, own.demands, hardware(), about, own.category)
            together = plain_options.cast_in(row.point, *rest)
        if (row.component == "combined" or len(components) == 1) and differs(row.ratio, together, SMALL):
            found.append(f"{row.point}: ratio of {row.component} {row.ratio!r} {together!r}; {row.item}")
        if row.component == "combined":
            continue
        value, hazard = own.demands.largest(row.point, row.component)
        limit = held["seismic" if hazard == "seismic" else "wind"].get(row.component, math.nan)
        if value > 0.0 and differs(row.capacity, limit):
            found.append(f"{row.point}: {row.component} holds {row.capacity!r} {limit!r}; {row.item}; {row.case}")
        if len(components) > 1 and differs(row.ratio, value / limit if value > 0.0 else 0.0, SMALL):
            found.append(f"{row.point}: {row.component} ratio {row.ratio!r}, {value!r} over {limit!r}")
    assert not found, told(found)


@EACH
def test_the_package_holds(tool: Run, lot_id: str) -> None:
    """Every item of the lot's package may be used and holds at every connection of its line; else no item would."""
    own, package = plain(lot_id), package_of(tool, lot_id)
    lines: dict[str, list[str]] = {}
    for name, point in own.points.items():
        if point["line"]:
            lines.setdefault(point["line"], []).append(name)
    rest = (own.points, own.demands, hardware(), own.house["about"], own.category)
    if package:
        assert set(lines) <= set(package)
        failing = {
            line: r for line, names in lines.items() if (r := plain_options.holds(package[line], names, *rest)) > 1
        }
        assert not failing
        ratios = {}
        for name, point in own.points.items():
            if not point["line"]:
                continue
            item, arrangement = package[point["line"]]
            if (item, arrangement) == plain_options.CAST_IN:
                ratios[name] = plain_options.cast_in(name, *rest)
            elif item:
                parts = own.demands.components(name)
                held = plain_capacity.held(hardware()[item], arrangement, point, rest[3], parts, own.category)
                ratios[name] = own.demands.ratio(name, held)
        row = tool.lots.loc[lot_id]
        assert not differs(row["governing_ratio"], max(ratios.values()))
        assert not differs(row["governing_ratio"], ratios[row["governing_point"]])
        return
    without = []
    for line, names in lines.items():
        choices = plain_options.options(own.points[names[0]]["family"], hardware())
        if all(plain_options.holds(option, names, *rest) > 1.0 for option in choices):
            without.append(line)
    told_by_tool = tool.exceptions[(tool.exceptions["lot_id"] == lot_id) & (tool.exceptions["reason"] == "NO_HARDWARE")]
    assert len(told_by_tool) == 1
    # the tool names each connection that no item holds, with the item that comes nearest and its ratio
    detail = told_by_tool["detail"].iloc[0]
    named = [name for name in own.points if f": {name}: " in detail or f"| {name}: " in detail]
    assert named
    assert {own.points[name]["line"] for name in named} == set(without)
    for name in named:
        choices = plain_options.options(own.points[name]["family"], hardware())
        ratios = [(plain_options.holds(option, [name], *rest), option[0] or option[1]) for option in choices]
        least = min(ratio for ratio, _ in ratios)
        assert any(f"best {item} at ratio {least:.2f}" in detail for ratio, item in ratios if ratio == least)


@EACH
def test_pieces_and_money(tool: Run, lot_id: str) -> None:
    own, package, row = plain(lot_id), package_of(tool, lot_id), tool.lots.loc[lot_id]
    if not package:
        assert row[["hardware_cost", "labour_hours", "total_cost"]].isna().all()
        return
    loaded = plain_points.loadable(own.house, own.points, own.demands)
    bill = plain_bill.bill(own.points, loaded, package, hardware(), own.house["about"], project()["purchase"])
    found = []
    for line in tool.demands[lot_id].drop_duplicates("point").itertuples():
        mine = bill["pieces"].get(line.point, math.nan)
        if differs(line.quantity, mine):
            found.append(f"{line.point}: {line.item}: {line.quantity!r} {mine!r}")
    for name in ("hardware_cost", "labour_hours", "total_cost"):
        if differs(row[name], bill[name]):
            found.append(f"{name} {row[name]!r} {bill[name]!r}")
    assert not found, told(found)


@EACH
def test_footings(tool: Run, lot_id: str) -> None:
    """The tool reports a porch whose footing is lighter than the wind's pull, and no other."""
    own = plain(lot_id)
    light = {n for n in own.points if n.startswith("post footing") and own.demands.largest(n, "uplift_lb")[0] > 0.0}
    rows = tool.exceptions[(tool.exceptions["lot_id"] == lot_id) & (tool.exceptions["reason"] == "FOOTING")]
    assert len(rows) == len(light)
    for name in light:
        short = own.demands.largest(name, "uplift_lb")[0]
        assert rows["detail"].str.endswith(f"{name}: {short:.0f} lb short").sum() == 1


@pytest.mark.parametrize("lot_id", [_long_but_some(lot) for lot in LOTS if "mirrored" in LOTS[lot]])
def test_a_mirrored_house_has_the_same_demands(lot_id: str) -> None:
    """The tool works one hand for both; here the mirrored house is traced by itself, and gives the same numbers."""
    own = plain(lot_id)
    assert site().lots[lot_id]["mirrored"] == 1
    turned = house_of(lot_id, mirrored=True)
    points = plain_points.catalogue(turned)
    demands = plain_points.Demands(turned, points, plain_site.lot_loads(turned, own.numbers, own.q, own.qc))

    def by_line(points: dict[str, Any], demands: plain_points.Demands) -> list[tuple[str, int, str, float]]:
        out = []
        for name, point in points.items():
            for component in demands.components(name):
                out.append((point["line"], point["count"], component, demands.largest(name, component)[0]))
        return sorted(out)

    one, two = by_line(own.points, own.demands), by_line(points, demands)
    assert [row[:3] for row in one] == [row[:3] for row in two]
    found = [f"{a} {b}" for a, b in zip(one, two, strict=True) if differs(a[3], b[3], SMALL)]
    assert not found, told(found)
