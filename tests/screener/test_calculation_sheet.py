"""The calculation sheet: the run's own numbers, each the sum of what is printed under it, as text, page and record."""

from __future__ import annotations

import json
import math
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tract_helpers import SAMPLE, Screened, command, cut, sample_lots, screened, write_tract

from screener.calculation.build import Memo, build_sheet
from screener.calculation.html import sheet_html
from screener.calculation.sheet import Connection, Sheet, to_record
from screener.calculation.text import sheet_lines
from screener.derivation import Part, Step, source_of
from screener.files.manifest import CAUTION
from screener.joint_lines import CAST_IN, partner
from screener.standards import asce7_ch28_envelope as envelope
from screener.standards import asce7_ch30_components as components
from screener.standards import nds_connections as nds

BY_COLUMNS = {
    "hazards.exposure": {"column": "exposure_from_drawing"},
    "hazards.kzt": {"column": "kzt_from_drawing"},
    "hazards.land_cover": None,
    "hazards.elevation_ft": None,
    "tiers.most": 1,
}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Screened:
    """Every lot of the sample, exposure and Kzt from its columns, one package."""
    return screened(write_tract(tmp_path_factory.mktemp("whole"), sample_lots(), BY_COLUMNS))


@pytest.fixture(scope="module")
def a02(twelve: Screened) -> Sheet:
    """One lot on the flat, its hazards from rasters, every connection taken apart."""
    return build_sheet(twelve.prepared, twelve.selection, twelve.prepared.place_of("A-02"), pictures=True)


@pytest.fixture(scope="module")
def a30(twelve: Screened) -> Sheet:
    """One lot on the ridge."""
    return build_sheet(twelve.prepared, twelve.selection, twelve.prepared.place_of("A-30"))


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Sheet:
    """The same lot by the directional procedure and strength design, roof ties by components too."""
    ways = {"design.wind_procedure": "directional", "design.method": "LRFD", "design.roof_ties": "components"}
    run = screened(write_tract(tmp_path_factory.mktemp("other"), cut(("A-30",)), {**BY_COLUMNS, **ways}))
    return build_sheet(run.prepared, run.selection, 0)


def same(a: float, b: float) -> bool:
    return a == b or (math.isnan(a) and math.isnan(b))


def representatives(run: Screened) -> set[str]:
    """The first lot of each class: lots of one house, package, seismic design category, status and hardest-worked
    connection share model, options, capacities and verdicts, and differ in hazard numbers alone."""
    p, s = run.prepared, run.selection
    seen: dict[tuple[object, ...], str] = {}
    for n, house in enumerate(s.houses):
        for lot in map(int, house.lots):
            name = str(p.lots["lot_id"].iloc[p.usable[lot]])
            row = run.lots.loc[name]
            key = (n, int(s.tier_of_lot[lot]), str(p.site.seismic.sdc[lot]), row["status"], row["governing_point"])
            seen.setdefault(key, name)
    return set(seen.values())


@pytest.mark.long
def test_the_sheet_of_every_class_of_lots_says_what_the_demands_table_says(whole: Screened) -> None:
    """All connections of a lot of every class of the sample's lots (``representatives``): demand, capacity, ratio,
    case, item and quantity of each component and of their combination, equal to the last bit. Would fail where the
    sheet works a number out by itself."""
    lots, chosen = 0, representatives(whole)
    by_lot = dict(tuple(whole.demands.groupby("lot_id", sort=False)))
    for house in whole.selection.houses:
        memo = Memo(house.model)
        for lot in house.lots:
            if str(whole.prepared.lots["lot_id"].iloc[whole.prepared.usable[int(lot)]]) not in chosen:
                continue
            sheet = build_sheet(whole.prepared, whole.selection, int(lot), memo=memo)
            told = [row for c in sorted(sheet.connections, key=lambda c: c.name) for row in rows_of(c)]
            table = by_lot[sheet.lot_id].sort_values("point", kind="stable")
            columns = ("point", "component", "unit", "demand", "capacity", "ratio", "case", "item", "quantity")
            wanted = list(table[list(columns)].itertuples(index=False, name=None))
            assert len(told) == len(wanted)
            for mine, theirs in zip(told, wanted, strict=True):
                for name, a, b in zip(columns, mine, theirs, strict=True):
                    equal = a == b if isinstance(b, str) else same(float(a), float(b))
                    assert equal, (sheet.lot_id, mine[:2], name, a, b)
            lots += 1
    assert lots == len(chosen)
    assert len(whole.selection.houses) <= lots


def rows_of(c: Connection) -> list[tuple[object, ...]]:
    """A connection as the rows that the demands table has for it."""
    about = (c.item, c.quantity)
    rows: list[tuple[object, ...]] = [
        (c.name, d.component, d.unit, d.demand, d.capacity, d.ratio, d.case, *about) for d in c.demands
    ]
    if len(c.demands) > 1 and c.options:
        ratio = c.ratio if math.isfinite(c.ratio) else math.nan
        held = 1.0 if c.item else math.nan
        rows.append((c.name, "combined", "ratio", ratio, held, ratio if c.item else math.nan, combined_case(c), *about))
    return rows


def combined_case(c: Connection) -> str:
    """The case of the ratio; the sheet leaves it out where the ratio is infinite or nothing is demanded."""
    return c.ratio_case


@pytest.mark.parametrize("lot", ["a02", "a30", "other"])
def test_every_sum_on_the_sheet_adds_up_from_what_is_printed_under_it(lot: str, request: pytest.FixtureRequest) -> None:
    """Hand recomputation from the print alone: each load is the sum of its factors times the loads named, each of
    which stands on the sheet with the value used; each demand is that of its factored loads and of the batch's form."""
    sheet: Sheet = request.getfixturevalue(lot)
    assert len(sheet.loads) > 200
    for step in sheet.loads.values():
        if step.parts:
            assert total(step.parts) == pytest.approx(float(step.result), rel=1e-9, abs=1e-7), step.what
        for part in step.parts:
            if part.step:
                assert sheet.loads[part.step].result == part.value
                assert sheet.loads[part.step].unit == part.unit
    demanded = 0
    for c in sheet.connections:
        for d in (*c.demands, *c.together):
            for form in d.forms:
                assert not any(p.what == "not taken apart" for p in form.parts), c.name
                assert total(form.parts) == pytest.approx(form.total, rel=1e-9, abs=1e-7), (c.name, d.component)
                assert total(form.coefficients) == pytest.approx(form.total, rel=1e-12, abs=1e-9)
                for part in form.parts:
                    assert sheet.loads[part.step].result == part.value
            if d.demand > 0:
                assert d.governing_form.total == pytest.approx(d.demand, rel=1e-12), (c.name, d.component)
                demanded += 1
        assert set(c.uses) <= set(sheet.loads)
    assert demanded > 100


def total(parts: tuple[Part, ...]) -> float:
    return math.fsum(p.product for p in parts)


def test_the_other_procedure_and_method_say_their_own_words(other: Sheet) -> None:
    """Pressures of the four faces, coefficients of Figure 27.3-1, factors KF, phi and lambda; none of the words of the
    envelope procedure or of allowable stress design is left."""
    text = "\n".join(sheet_lines(other, overview=True))
    for words in (
        "LRFD (strength design), directional wind procedure; roof ties by the larger",
        *(f"on to the {face}" for face in ("front", "rear", "left", "right")),
        "Figure 27.3-1",
        "G 0.85",
        "KF = 3.32, phi = 0.65, lambda = 1",
        "demand / design strength",
        "[components and cladding]",
    ):
        assert words in text, words
    for words in ("Chapter 28", "Figure 28.3-1", "GCpf", " CD", "allowable", "q_onto"):
        assert words not in text, words


def test_dead_load_counted_is_that_of_the_case(a02: Sheet) -> None:
    """Weight times amount, by assembly, sums to the dead load that the governing sum takes in before its factor."""
    checked = 0
    for c in a02.connections:
        for d in c.demands:
            if d.demand > 0 and d.dead:
                taken = [p for p in d.governing_form.parts if p.what.startswith("dead load")]
                assert total(d.dead) == pytest.approx(taken[0].value, rel=1e-9)
                checked += 1
    assert checked > 20


def test_hazard_steps_follow_from_the_values_beside_them(a30: Sheet, twelve: Screened) -> None:
    """Formulas of ASCE 7-16 written here again (26.9, 26.10, 26.8.2, 11.4, 12.8) on the printed values give the printed
    results; cells times weights give the value read."""
    steps = {s.what: s for section in a30.sections for s in section.steps}
    v = steps["basic wind speed V"]
    assert total(v.parts) == pytest.approx(float(v.result), rel=1e-12)
    assert math.fsum(p.factor for p in v.parts) == pytest.approx(1.0)
    kz = steps["exposure coefficient Kz, Chapter 28"]
    z, zg, alpha = (float(kz.values[k]) for k in ("z_ft", "zg_ft", "alpha"))
    assert float(kz.result) == pytest.approx(2.01 * (z / zg) ** (2.0 / alpha))
    terrain = next(s for what, s in steps.items() if what.startswith("terrain"))
    k1, k2, k3 = (float(terrain.values[k]) for k in ("K1", "K2", "K3"))
    assert float(terrain.result) == pytest.approx((1.0 + k1 * k2 * k3) ** 2, rel=1e-9)
    assert terrain.result == twelve.lots.loc["A-30", "kzt"]
    for symbol, mapped, by in (("SMS", "SS", "Fa"), ("SM1", "S1", "Fv")):
        step = steps[symbol]
        assert float(step.result) == pytest.approx(float(step.values[by]) * float(step.values[mapped]))
        read = steps[f"mapped or stated {mapped}"]
        assert float(read.result) == pytest.approx(math.exp(total(read.parts)), rel=1e-12)
        ends = [(float(k.rsplit(" ", 1)[1]), float(x)) for k, x in step.values.items() if k.startswith("table")]
        (x0, y0), (x1, y1) = ends
        assert float(step.values[by]) == pytest.approx(y0 + (y1 - y0) * (float(step.values[mapped]) - x0) / (x1 - x0))
    assert float(steps["SDS"].result) == pytest.approx(2.0 / 3.0 * float(steps["SMS"].result))
    cs, t = steps["seismic response coefficient Cs"], steps["approximate period T"]
    assert float(t.result) == pytest.approx(0.02 * float(t.values["hn_ft"]) ** 0.75)
    by_sds, by_sd1 = cs.values["SDS"] / cs.values["R"], cs.values["SD1"] / (t.result * cs.values["R"])  # type: ignore[operator]
    assert float(cs.result) == pytest.approx(max(min(by_sds, by_sd1), 0.044 * cs.values["SDS"], 0.01))  # type: ignore[operator]
    weights = [s for what, s in steps.items() if re.match(r"seismic weight w\d", what)]
    for step in weights:
        assert total(step.parts) == pytest.approx(float(step.result), rel=1e-9)
    base = steps["base shear V, strength level"]
    assert float(base.result) == pytest.approx(float(cs.result) * math.fsum(float(s.result) for s in weights))
    forces = [s for what, s in steps.items() if what.startswith("storey force")]
    moments = [float(s.values["w_lb"]) * float(s.values["h_ft"]) ** float(s.values["k"]) for s in forces]
    for step, moment in zip(forces, moments, strict=True):
        assert float(step.result) == pytest.approx(float(base.result) * moment / math.fsum(moments))


def test_weights_by_assembly_are_the_seismic_weight(twelve: Screened) -> None:
    """Level by level, also where the first floor is raised: areas times weights give w (12.7.2)."""
    for model in twelve.prepared.models:
        for level, weight in enumerate(model.mass.level_lb):
            parts = [w.weight_lb for w in model.mass.parts if w.storey == level]
            assert math.fsum(parts) == pytest.approx(weight, rel=1e-12)
        below = math.fsum(w.weight_lb for w in model.mass.parts if w.storey == -1)
        assert below == pytest.approx(model.mass.first_floor_lb, rel=1e-12)


def test_capacity_steps_end_at_the_allowable_loads_that_were_used(twelve: Screened, a02: Sheet, a30: Sheet) -> None:
    """The derivation of each shown option's capacity ends at the numbers that judged it, and its yield modes hold the
    value that it says governs (NDS 2018 12.3.1: the least of six)."""
    ended, modes = 0, 0
    for sheet in (a02, a30):
        for c in sheet.connections:
            shown = next((o for o in c.options if o.chosen), None)
            for step in c.capacity:
                if shown is not None and step.what.startswith("allowable "):
                    component = step.what.removeprefix("allowable ")
                    values = [held[component] for held in shown.allowable.values()]
                    assert any(same(float(step.result), v) for v in values), (c.name, step.what)
                    ended += 1
                found = {k: v for k, v in step.values.items() if k.startswith("mode ")}
                if found and "share" in step.values:
                    least = min(float(v) for v in found.values())  # type: ignore[arg-type]
                    assert float(step.result) == pytest.approx(least * float(step.values["share"]), nan_ok=True)
                    name = min(found, key=lambda k: float(found[k]))
                    assert step.note == f"{name} governs"
                    modes += 1
    assert ended > 100
    assert modes > 5


def test_ratio_is_the_sum_of_what_is_printed(a02: Sheet) -> None:
    """Each ratio is the sum (or greatest) of its printed parts; an anchor that is cast in with its hold-down shows no
    capacity but that hold-down and its ratio (the sample lists one such strap)."""
    by_name = {c.name: c for c in a02.connections}
    for c in a02.connections:
        if c.ratio_step is not None:
            parts = [p.product for p in c.ratio_step.parts]
            if not parts:  # nothing bought that could hold: cast in with its hold-down
                assert c.item == CAST_IN.arrangement
                assert c.capacity[0].values["hold-down"] == by_name[partner(c.name)].item
                assert c.ratio == by_name[partner(c.name)].ratio
                continue
            expected = math.fsum(parts) if c.ratio_step.formula.startswith("sum") else max(parts)
            assert expected == pytest.approx(c.ratio, rel=1e-12), c.name
            assert c.margin == 1.0 - c.ratio


def test_runners_up_come_next_and_options_say_why(a02: Sheet) -> None:
    """Cases after the governing one fall in value, none above it; every option has a verdict that fits its ratio."""
    several = 0
    for c in a02.connections:
        for d in c.demands:
            values = [d.demand, *(r.value for r in d.runners_up)] if d.demand > 0 else []
            assert values == sorted(values, reverse=True)
            several += len(d.runners_up) > 1
        chosen = [o for o in c.options if o.chosen]
        assert len(chosen) == (1 if c.options else 0)
        costs = [o.cost_usd for o in c.options]
        assert costs == sorted(costs)
        for o in c.options:
            if o.verdict.startswith(("holds", "chosen")):
                assert o.ratio <= 1.0, (c.name, o.name)
            elif o.verdict.startswith("fails"):
                assert o.ratio > 1.0
            else:
                assert o.verdict.startswith(("not usable: ", "not enough", "no capacity", "only beside a hold-down"))
    assert several > 50


@pytest.mark.parametrize(("letter", "held"), [("B", True), ("C", False)])
def test_limits_that_decided_are_named(tmp_path: Path, letter: str, held: bool) -> None:
    """In Exposure B below 30 ft the Chapter 28 floor of Kz (0.70, note of Table 26.10-1) holds the pressure, and every
    connection that wind governs says so; in C it does not. Hold-downs name the lesser of their two sums."""
    changes = {**BY_COLUMNS, "hazards.exposure": {"value": letter}, "hazards.kzt": {"value": 1.0}}
    run = screened(write_tract(tmp_path, cut(("A-02",)), changes))
    sheet = build_sheet(run.prepared, run.selection, 0)
    assert run.prepared.site.height_ft[0] < 30.0
    for c in sheet.connections:
        blown = any(d.demand > 0 and d.combination is not None and "W" in d.combination.name for d in c.demands)
        assert any("least value 0.70" in limit for limit in c.limits) == (held and blown), c.name
    assert any("the lesser of two sums governs" in limit for c in sheet.connections for limit in c.limits)


# --- three forms ----------------------------------------------------------------------------------------------------


class _Page(HTMLParser):
    """Ids, addresses inside the page, tags and text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self.tags: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.append(tag)
        if found.get("id"):
            self.ids.append(str(found["id"]))
        if tag == "a":
            self.addresses.append(str(found["href"]))

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_page_links_every_load_it_names_and_needs_nothing_else(a02: Sheet) -> None:
    page = sheet_html(a02)
    read = _Page(page)
    assert len(read.ids) == len(set(read.ids))
    assert {a.removeprefix("#") for a in read.addresses} <= set(read.ids)
    assert all(a.startswith("#") for a in read.addresses)
    assert set(a02.loads) <= set(read.ids)
    assert {c.key for c in a02.connections} <= set(read.ids)
    assert "script" not in read.tags
    assert not re.findall(r"""(?:src|href)=["'](?!#|data:image/svg)""", page)
    assert page.index(CAUTION) < page.index("<h1>") < page.index("Cautions of this lot") < page.index('id="contents"')
    for c in a02.connections:
        assert c.name in read.text


def test_the_record_has_stable_keys_and_no_number_that_json_lacks(a02: Sheet, twelve: Screened) -> None:
    record = json.loads(json.dumps(to_record(a02), allow_nan=False))
    assert list(record) == [
        "schema", "lot_id", "tract", "design", "house", "caution", "basis", "resistance", "package", "sections",
        "scope", "overview", "connections", "loads", "no_demands",
    ]  # fmt: skip
    first = record["connections"][0]
    assert set(first) == {
        "name", "family", "place", "size", "line", "demands", "together", "item", "quantity", "ratio", "ratio_case",
        "margin", "ratio_step", "capacity", "notes", "limits", "about", "uses", "options",
    }  # fmt: skip
    lot = twelve.lots.loc["A-02"]
    assert first["name"] == lot["governing_point"]
    assert first["ratio"] == lot["governing_ratio"]
    sources = [s for section in record["sections"] for step in section["steps"] for s in step["source"]]
    assert {"document": "ASCE 7", "edition": "16", "section": "26.5.1"} in sources


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("ASCE 7-16 26.9", ("ASCE 7", "16", "26.9")),
        ("NDS 2018 12.3.1, Table 12E", ("NDS", "2018", "12.3.1, Table 12E")),
        ("SDPWS 2015 4.3.3 (from memory)", ("SDPWS", "2015", "4.3.3 (from memory)")),
        ("plan file", ("plan file", "", "")),
    ],
)
def test_sources_come_apart(text: str, parts: tuple[str, str, str]) -> None:
    found = source_of(text)
    assert (found.document, found.edition, found.section) == parts


def test_the_command_writes_page_text_and_record_of_one_connection(tmp_path: Path) -> None:
    """One point by name in all three forms, the same demand in each, which is the table's."""
    file = write_tract(tmp_path, cut(("A-02",)), BY_COLUMNS)
    run = screened(file)
    point = next(p for p in run.demands["point"] if p.startswith("hold-down: "))
    demand = run.demands.loc[run.demands["point"] == point, "demand"].iloc[0]
    code, out, err = command(
        "explain", file, "--lot", "A-02", "--point", point, "--json", "--html", tmp_path / "a.html"
    )
    assert code == 0, err
    record = json.loads(out)
    assert [c["name"] for c in record["connections"]] == [point]
    assert record["connections"][0]["demands"][0]["demand"] == demand
    page = _Page((tmp_path / "a.html").read_text(encoding="utf-8"))
    assert f"{demand:.1f} lb" in page.text
    assert page.ids.count("contents") == 1
    code, out, _ = command("explain", file, "--lot", "A-02", "--point", point)
    assert code == 0
    assert f"demand {demand:.2f} lb" in out
    assert set(re.findall(r"\[(L\d+)\]", out)) == {f"L{n}" for n in range(1, len(record["loads"]) + 1)}


def test_a_name_from_outside_stays_text_on_the_page(tmp_path: Path) -> None:
    """A lot id that looks like markup is shown, not obeyed."""
    lots = cut(("A-02",))
    lots.loc[0, "lot_id"] = "<script>alert(1)</script>"
    run = screened(write_tract(tmp_path, lots, BY_COLUMNS))
    page = sheet_html(build_sheet(run.prepared, run.selection, 0, "truss tie"))
    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_a_lot_without_a_plan_has_its_hazards_and_says_so(tmp_path: Path) -> None:
    lots = cut(("A-02", "A-05"))
    lots.loc[1, ["plan", "style"]] = None
    run = screened(write_tract(tmp_path, lots, BY_COLUMNS))
    sheet = build_sheet(run.prepared, run.selection, run.prepared.place_of("A-05"))
    assert "No plan is chosen" in sheet.no_demands
    assert not sheet.connections
    assert "No plan is chosen" in sheet_html(sheet)
    assert any(s.what.startswith("velocity pressure q") for section in sheet.sections for s in section.steps)


def test_cells_behind_a_raster_value_stand_with_their_weights(twelve: Screened) -> None:
    """For every lot and raster read: weights sum to one, and weight times cell (or its logarithm) gives the value."""
    site = twelve.prepared.site
    sources = [site.speed, site.elevation.source, *site.seismic.sources.values()]
    seen = 0
    for found in sources:
        assert found is not None
        assert found.samples is not None
        for lot in range(len(site.points)):
            cells = found.samples.cells(lot)
            assert math.fsum(c.weight for c in cells) == pytest.approx(1.0)
            if found.samples.rule == "ln_bilinear":
                value = math.exp(math.fsum(c.weight * math.log(c.value) for c in cells))
            else:
                value = math.fsum(c.weight * c.value for c in cells)
            assert value == pytest.approx(found.values[lot], rel=1e-12)
            rows = {c.row for c in cells}
            assert min(rows) - 1 <= found.samples.row[lot] <= max(rows) + 1
            seen += 1
    assert seen == 12 * 4


def test_demand_without_a_demand_says_the_largest(a02: Sheet) -> None:
    """Where nothing pulls, the sheet's forms still give how far from pulling the worst case is."""
    idle = [d for c in a02.connections for d in c.demands if d.demand == 0.0 and d.forms]
    assert idle
    assert all(d.governing_form.total <= 0.0 for d in idle)
    assert np.isfinite([d.governing_form.total for d in idle]).all()


def test_step_lines_are_plain(a02: Sheet) -> None:
    step = Step(
        "what", "a b", {"a": 2.0, "b": "two"}, 4.0, "ft", "statics", "noted", (Part("x", 2.0, 2.0, "ft"),), "L1"
    )
    assert step.lines() == [
        "[L1] what: a b = 4 ft   [a = 2, b = two]   noted   (statics)",
        "    2 x 2 ft = 4: x",
    ]
    assert pd.Series([s.line() for s in a02.loads.values()]).str.len().max() < 1000
    assert SAMPLE.exists()


@pytest.mark.parametrize("angle", [12.0, 22.6, 26.57, 30.0, 40.0])
def test_table_columns_in_words_give_the_coefficient_by_a_straight_line(angle: float) -> None:
    """Figure 28.3-1 is linear in roof angle between its tabulated angles: from the two columns as the sheet words them
    follows the coefficient used; on a tabulated angle, or between equal values, there is nothing to say."""
    for surface in ("1", "2", "3", "4", "1E", "2E", "3E", "4E"):
        text = envelope.gcpf_words("A", surface, angle)
        value = float(envelope.gcpf("A", surface, angle))
        numbers = [float(x) for x in re.findall(r"-?[\d.]+", text)]
        if not numbers:
            beside = [float(envelope.gcpf("A", surface, a)) for a in (angle - 0.01, angle + 0.01)]
            assert angle == 30.0 or beside == [value, value]
            continue
        v0, a0, v1, a1 = numbers
        assert value == pytest.approx(v0 + (v1 - v0) * (angle - a0) / (a1 - a0))


@pytest.mark.parametrize(("angle", "edition"), [(5.0, "ASCE 7-16"), (26.6, "ASCE 7-16"), (26.6, "ASCE 7-22")])
def test_curves_in_words_give_the_component_coefficient(angle: float, edition: str) -> None:
    """Figure 30.3-1 (walls) is linear in the logarithm of the area between its break points."""
    for zone in ("4", "5"):
        for sign in ("suction", "pressure"):
            text = components.gcp_words("wall", zone, sign, angle, edition)
            points = [(float(a), float(v)) for v, a in re.findall(r"(-?[\d.]+) at ([\d.]+) sq ft", text)]
            share = float(text.rsplit("x ", 1)[1]) if " x " in text else 1.0
            for area in (5.0, 27.6, 300.0, 900.0):
                areas, values = zip(*points, strict=True)
                expected = share * float(np.interp(math.log10(area), np.log10(areas), values))
                assert float(components.gcp("wall", zone, sign, angle, area, edition)) == pytest.approx(expected)


def test_withdrawal_equation_in_words_gives_the_value() -> None:
    """NDS 2018 12.2-3: 1380 G^2.5 D a nail, and the other kinds by their own row."""
    assert nds.withdrawal_words("nail") == "1380 G^2.5 D"
    for kind in ("nail", "wood screw", "lag screw", "ring shank nail"):
        python = re.sub(r"\^", "**", nds.withdrawal_words(kind)).replace(" ", "*")
        value = eval(python, {"G": 0.5, "D": 0.131})  # our own words, from our own table
        assert float(nds.withdrawal_lb_per_in(kind, 0.5, 0.131)) == pytest.approx(value)
