"""Strength design (LRFD) through the tool: demands, capacities, hardware list, whole runs, beside allowable stress."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from demand_houses import ABACUS, SAMPLE_PLANS, lots, plan_file
from hypothesis import given, settings
from hypothesis import strategies as st
from tract_helpers import RIDGE, Screened, command, cut, screened, write_tract

from hazard.issues import Issues
from screener.capacities import capacity, options_for
from screener.capacity_case import CONCRETE_NOT_CHECKED, CapacityContext, Option
from screener.demands import DemandModel, build_model, evaluate, load_basis
from screener.design_method import note_unlisted
from screener.explain import lines_of
from screener.families import families, family
from screener.hardware import parse_hardware, read_hardware
from screener.load_path import trace_load_path
from screener.standards.asce7_ch02_combinations import combinations

HARDWARE = Path(__file__).parents[2] / "sample_data" / "hardware.csv"
METHODS = ("ASD", "LRFD")
EDITIONS = ("ASCE 7-16", "ASCE 7-22")
NAMES = [ABACUS.stem, *(p.stem for p in SAMPLE_PLANS)]
FACTS = {
    "stud_spacing_in": 16.0,
    "stud_depth_in": 3.5,
    "sill_thickness_in": 1.5,
    "plate_thickness_in": 3.0,
    "truss_spacing_in": 24.0,
    "framing_spacing_in": 24.0,
    "panel_laps_plates": True,
    "below": "plate",
}


@dataclass(frozen=True)
class Point:
    family: str
    species: str = "SPF"
    drop: str = "walls"
    facts: dict = field(default_factory=lambda: FACTS)

    @property
    def components(self):
        return family(self.family).component_names


@cache
def model(name: str, method: str, edition: str = "ASCE 7-16") -> DemandModel:
    """The richest variant of a plan's last style, by a method."""
    path = next(p for p in (ABACUS, *SAMPLE_PLANS) if p.stem == name)
    plan = plan_file(path)
    return build_model(plan.variant(list(plan.styles)[-1] if plan.styles else "", plan.options), edition, method)


@cache
def sample():
    return read_hardware(HARDWARE)[0]


def hold(item: str, point: Point, method: str, *, hardware=None, spacing=math.nan, sdc="D0", sdpws="2015"):
    hardware = hardware or sample()
    index = next(i for i, row in enumerate(hardware.rows) if row.item == item)
    return capacity(Option(item, index, "", 1, spacing), point, hardware, CapacityContext(method, sdpws, sdc))


def one_row(**cells):
    base = {
        "item": "x",
        "unit": "each",
        "purchase_unit_qty": "1",
        "unit_cost": "1",
        "labour_min": "1",
        "source": "test",
    }
    row = base | cells
    return parse_hardware((",".join(row) + "\n" + ",".join(row.values())).encode())


def mixed_lots(n=9, seed=5):
    r = np.random.default_rng(seed)
    q, sds = r.uniform(0.0, 45.0, n), r.uniform(0.0, 1.6, n)
    return lots(
        q_envelope_psf=list(q),
        q_components_psf=list(q * r.uniform(0.8, 1.1, n)),
        gcpi=list(r.choice([0.18, 0.55], n)),
        sds_g=list(sds),
        sd1_g=list(0.6 * sds),
        s1_g=list(0.4 * sds),
        rho=list(r.choice([1.0, 1.3], n)),
        roof_snow_psf=list(r.choice([0.0, 20.0, 40.0], n)),
    )


def demands(of: DemandModel, hazards) -> dict[str, np.ndarray]:
    basis = load_basis(of, hazards)
    return {p.name: evaluate(p, basis).largest for p in of.points}


def changed(hazards, **factors):
    given = {k: getattr(hazards, k) for k in hazards.__dataclass_fields__}
    return type(hazards)(**{k: v * factors.get(k, 1.0) for k, v in given.items() if v is not None})


EVERY = pytest.mark.parametrize("name", NAMES)


# --- demands --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [pytest.param(n, marks=[pytest.mark.long] if n != "abacus" else []) for n in NAMES])
def test_connections_do_not_depend_on_the_method(name: str) -> None:
    """Geometry, counts, package lines, weights and storey forces are those of the house, whatever the method: groups by
    rank too, so that the two methods' packages can be laid side by side."""
    asd, lrfd = (model(name, m) for m in METHODS)
    assert [_shape(p) for p in lrfd.points] == [_shape(p) for p in asd.points]
    assert (lrfd.mass, lrfd.scope) == (asd.mass, asd.scope)
    assert np.array_equal(load_basis(lrfd, mixed_lots()), load_basis(asd, mixed_lots()))
    entered = [trace_load_path(asd.variant, "ASCE 7-16", m).books.entered for m in METHODS]
    assert entered[0].keys() == entered[1].keys()
    assert all(np.array_equal(entered[0][k], entered[1][k]) for k in entered[0])


def _shape(p):
    about = (p.name, p.family, p.place, p.schedule, p.drop, p.measure, p.components, p.count, p.runs_ft, p.area_sqft)
    return (*about, p.species, dict(p.facts), p.steps)


@EVERY
@pytest.mark.parametrize("edition", EDITIONS)
def test_lateral_loads_alone_are_those_of_asd_over_their_factor(name: str, edition: str) -> None:
    """Without dead load, 0.6 W becomes 1.0 W and 0.7 E becomes 1.0 E: every demand is the ASD one over 0.6 or 0.7."""
    asd, lrfd = (model(name, m, edition) for m in METHODS)
    for hazard, columns, factor in (
        ("wind", ("q_envelope_psf", "q_envelope_gcpi_psf", "q_components_psf", "q_components_gcpi_psf"), 0.6),
        ("seismic", tuple(c for c in asd.frame.basis if c.startswith(("rho_", "diaphragm_"))), 0.7),
    ):
        basis = np.zeros((1, len(asd.frame.basis)))
        for k, column in enumerate(columns):
            basis[0, asd.frame.column[column]] = 900.0 + 30.0 * k if "force" in column else 20.0 + k
        for a, b in zip(asd.points, lrfd.points, strict=True):
            if a.family == "end_post":
                continue  # compression takes another factor in each of its combinations
            ours, theirs = (_worst(p, basis, hazard) for p in (b, a))
            assert ours == pytest.approx(theirs / factor, rel=1e-9, abs=1e-9), (a.name, hazard)


def _worst(point, basis, hazard):
    """Largest of each component over one hazard's cases, not below zero."""
    rows = np.array(point.case_hazards) == hazard
    return np.maximum(point.values(basis)[0][rows], 0.0).max(axis=0, initial=0.0)


@EVERY
@given(more=st.floats(1.0, 1.5))
@settings(max_examples=4, deadline=None)
def test_more_hazard_never_lowers_a_strength_demand(name: str, more: float) -> None:
    here, of = mixed_lots(), model(name, "LRFD")
    low = demands(of, here)
    for factors in ({"q_envelope_psf": more, "q_components_psf": more}, {"sds_g": more, "sd1_g": more, "s1_g": more}):
        high = demands(of, changed(here, **factors))
        for point, values in low.items():
            assert (high[point] >= values - 1e-9 * np.abs(values)).all(), point


@EVERY
def test_strength_uplift_is_at_least_the_asd_one_over_its_factor(name: str) -> None:
    """W - 0.9 D against (0.6 W - 0.6 D) / 0.6 = W - D: dead load that resists helps a tenth less by strength design."""
    here = mixed_lots()
    asd, lrfd = (model(name, m) for m in METHODS)
    basis = load_basis(asd, here)
    for a, b in zip(asd.points, lrfd.points, strict=True):
        if a.ceiling is None and a.components[0] in ("uplift_lb", "uplift_plf") and a.family != "ledger":
            for lot in range(len(here)):
                ours, theirs = (_worst(p, basis[lot : lot + 1], "wind")[0] for p in (b, a))
                assert ours >= theirs / 0.6 * (1.0 - 1e-9), (a.name, lot)


@EVERY
@pytest.mark.parametrize("method", METHODS)
def test_load_duration_and_time_effect_are_those_of_wind_and_earthquake(name: str, method: str) -> None:
    """Connections are asked only for uplift combinations, where CD is 1.6 and lambda 1.0. Where other combinations are
    asked (posts in compression), the capacity takes neither factor: no gravity case meets a wind factor by mistake."""
    uplift = {c.name for c in combinations("ASCE 7-16", method, "uplift")}
    for p in model(name, method).points:
        if p.family != "end_post":
            assert {case.split(";")[0] for case in p.case_names} <= uplift, p.name
            assert set(p.case_hazards) <= {"wind", "seismic"}


# --- capacities -----------------------------------------------------------------------------------------------------

FACTOR = 3.32 * 0.65 / 1.6  # NDS 2018 Tables N1 and N2 against CD 1.6

COMPUTED = [
    ("toe nails 3-10d", "truss_tie", "wind", "uplift_lb", FACTOR),
    ("toe nails 3-10d", "truss_tie", "wind", "parallel_lb", FACTOR),
    ("toe nails 3-10d", "truss_tie", "seismic", "parallel_lb", 205 / 150),  # SDPWS 2015 4.1.7
    ("toe nails 3-10d", "truss_tie", "seismic", "perpendicular_lb", FACTOR),
    ("stud nails 2-16d end", "stud_nailing", "wind", "perpendicular_lb", FACTOR),
    ("plate splice nails 8-16d", "plate_splice", "seismic", "tension_lb", FACTOR),
    ("roof nail 8d at 6/12", "roof_sheathing", "wind", "suction_psf", FACTOR),
    ("wall nail 8d at 6/12", "wall_sheathing", "wind", "shear_plf", 0.80 * 2.0),  # SDPWS 2015 4.3.3
    ("wall nail 8d at 6/12", "wall_sheathing", "seismic", "shear_plf", 0.80 * 2.0),
    ("roof diaphragm unblocked", "roof_diaphragm", "seismic", "shear_plf", 0.80 * 2.0),  # SDPWS 2015 4.2.3
    ("sheathing lapped on plates, 2 extra nails a foot", "stud_to_plate", "wind", "uplift_lb", 0.65 * 2.0),  # 4.4.1
]


@pytest.mark.parametrize(("item", "key", "hazard", "component", "factor"), COMPUTED)
def test_computed_strength_over_allowable(item, key, hazard, component, factor) -> None:
    asd, lrfd = (hold(item, Point(key), m).allowable[hazard][component] for m in METHODS)
    assert lrfd == pytest.approx(factor * asd, rel=1e-9)


def test_strap_by_hand() -> None:
    """1-1/4 in. 16 gauge, 9 10d nails in SPF: steel 1,420 lb by ASD, 2,135 by LRFD; nails 9 x 99.8 lb x 1.6 = 1,436 and
    x 2.158 = 1,938 lb. Steel governs the one, nails the other."""
    asd, lrfd = (hold("plate splice strap 16 gauge", Point("plate_splice"), m) for m in METHODS)
    assert asd.allowable["wind"]["tension_lb"] == pytest.approx(1420, abs=1)
    assert lrfd.allowable["wind"]["tension_lb"] == pytest.approx(9 * 99.8 * 2.158, rel=0.001)


def test_seismic_sheathing_of_2021() -> None:
    asd, lrfd = (hold("wall nail 8d at 6/12", Point("wall_sheathing"), m, sdpws="2021") for m in METHODS)
    for hazard, factor in (("wind", 0.80 * 2.0), ("seismic", 0.50 * 2.8)):
        assert lrfd.allowable[hazard]["shear_plf"] == pytest.approx(factor * asd.allowable[hazard]["shear_plf"])


def test_anchor_bolt_by_hand() -> None:
    """5/8 in. bolt, 3 in. plate washer, SPF sill, at 72 in.: NDS Table 12E 854 lb parallel, 412 across (derived there),
    x 3.32 x 0.65; washer 425 psi x (9 - 0.371) sq in x 1.67 x 0.90 = 5,512 lb, less than steel 10,354 lb (hand)."""
    held = hold("anchor bolt 5/8 in with plate washer", Point("sill_anchor"), "LRFD", spacing=72.0).allowable["wind"]
    assert held["shear_plf"] * 6 == pytest.approx(854 * 2.158, rel=0.002)
    assert held["perpendicular_plf"] * 6 == pytest.approx(412 * 2.158, rel=0.002)
    assert held["uplift_plf"] * 6 == pytest.approx(5512, rel=0.002)


def test_post_bearing_by_hand() -> None:
    """Two 2x4 studs on an SPF plate: 425 psi x 10.5 sq in x 1.67 x 0.90 = 6,707 lb (hand)."""
    hardware, _ = one_row(family="end_post", basis="computed", member_count="2")
    held = hold("x", Point("end_post"), "LRFD", hardware=hardware)
    assert held.allowable["wind"]["compression_lb"] == pytest.approx(6707, abs=1)
    assert "KF 1.67 x phi 0.9" in held.derivation[0]


@pytest.mark.parametrize(
    ("family_key", "lateral_factor", "resistance", "expected"),
    [
        ("nails and screws, wind", 0.6, FACTOR, 1.236),
        ("nails and screws, seismic", 0.7, FACTOR, 1.059),
        ("sheathing 2015, wind", 0.6, 1.6, 1.042),
        ("sheathing 2015, seismic", 0.7, 1.6, 0.893),
        ("sheathing 2021, seismic", 0.7, 1.4, 1.020),
        ("steel, wind", 0.6, 0.90 * 1.67, 1.109),
        ("bearing, wind", 0.6, 1.67 * 0.90, 1.109),
        ("toe-nail limit, seismic", 0.7, 205 / 150, 1.045),
    ],
)
def test_how_much_harder_strength_design_works_each_material(family_key, lateral_factor, resistance, expected) -> None:
    """Ratio of LRFD to ASD usage where no dead load helps: (1 / factor) / resistance. Above 1: strength design is the
    harder. The format conversion was set at gravity loads, so wind on nails comes out 24 % harder: not an error."""
    assert 1.0 / lateral_factor / resistance == pytest.approx(expected, abs=0.001), family_key


def test_every_computed_option_gains_between_the_least_and_the_greatest_factor() -> None:
    """No resistance kept its allowable value by oversight: all lie between 1.3 (plate nails in uplift) and 1.61."""
    for key, serves in families().items():
        for option in options_for(key, sample()) if serves.components else ():
            if sample().rows[option.row].basis != "computed":
                continue
            both = [capacity(option, Point(key), sample(), CapacityContext(m, "2015", "B")) for m in METHODS]
            assert both[0].usable == both[1].usable
            for hazard in ("wind", "seismic"):
                for component, asd in both[0].allowable[hazard].items():
                    lrfd = both[1].allowable[hazard][component]
                    assert math.isnan(asd) == math.isnan(lrfd)
                    assert math.isnan(asd) or 1.29 < lrfd / asd < 1.61, (option, component)


# --- listed rows ----------------------------------------------------------------------------------------------------

TIE = {"family": "truss_tie", "basis": "listed", "load_duration_included": "yes", "uplift_lb": "400"}


def test_listed_strength_is_taken_and_never_made_from_the_allowable() -> None:
    given, issues = one_row(**TIE, uplift_strength_lb="560", parallel_strength_lb="150")
    assert not issues.has_stop()
    held = {m: hold("x", Point("truss_tie"), m, hardware=given).allowable["wind"] for m in METHODS}
    assert (held["ASD"]["uplift_lb"], held["LRFD"]["uplift_lb"]) == (400.0, 560.0)
    assert math.isnan(held["ASD"]["parallel_lb"])
    assert held["LRFD"]["parallel_lb"] == 150.0
    bare, _ = one_row(**TIE)
    without = hold("x", Point("truss_tie"), "LRFD", hardware=bare)
    assert all(math.isnan(v) for v in without.allowable["wind"].values())
    assert "no design strength is listed: holds nothing by strength design" in without.notes


def test_a_wood_weaker_by_asd_has_no_strength_of_its_own_unless_it_is_listed() -> None:
    """The strength listed for all woods may not serve SPF where the allowable load says that SPF holds less."""
    given, issues = one_row(**TIE, uplift_lb_spf_hf="340", uplift_strength_lb="560")
    assert [i.code for i in issues] == ["HARDWARE_STRENGTH"]
    assert math.isnan(hold("x", Point("truss_tie"), "LRFD", hardware=given).allowable["wind"]["uplift_lb"])
    assert hold("x", Point("truss_tie", "DF-L"), "LRFD", hardware=given).allowable["wind"]["uplift_lb"] == 560.0
    both, issues = one_row(**TIE, uplift_lb_spf_hf="340", uplift_strength_lb="560", uplift_strength_lb_spf_hf="475")
    assert not issues
    assert hold("x", Point("truss_tie"), "LRFD", hardware=both).allowable["wind"]["uplift_lb"] == 475.0


def test_a_strength_holds_no_word_on_load_duration() -> None:
    """Time effect is in the design strength; only allowable loads must say whether they hold the increase for wind."""
    cells = {"family": "truss_tie", "basis": "listed"}
    assert not one_row(**cells, uplift_strength_lb="560")[1].has_stop()
    assert one_row(**cells, uplift_strength_lb="560", uplift_lb="400")[1].has_stop()


@pytest.mark.parametrize("strength", ["390", "1200"])
def test_a_strength_that_does_not_go_with_its_allowable_load_is_told(strength: str) -> None:
    """1,200 lb beside 400 is an ultimate load (three times); 390 is below the allowable one."""
    given, issues = one_row(**TIE, uplift_strength_lb=strength)
    assert [(i.code, i.severity) for i in issues] == [("HARDWARE_STRENGTH", "warn")]
    assert f"uplift_strength_lb {strength} beside uplift_lb 400" in issues.frame()["found"][0]
    assert given.rows[0].loads_lb["uplift_strength_lb"] == float(strength)


def test_strength_columns_on_a_computed_row_stop() -> None:
    cells = {"family": "truss_tie", "basis": "computed", "fastener": "10d common", "uplift_strength_lb": "200"}
    _, issues = one_row(**cells)
    assert "a computed row with uplift_strength_lb 200" in issues.stops()[0].message()


def test_concrete_is_checked_by_the_value_of_its_own_method() -> None:
    cells = {"family": "hold_down_anchor", "basis": "computed", "bolt_diameter_in": "0.625", "rod_grade": "36"}
    only_asd, _ = one_row(**cells, concrete_uplift_lb="3000")
    held = {m: hold("x", Point("hold_down_anchor"), m, hardware=only_asd) for m in METHODS}
    assert held["ASD"].allowable["wind"]["tension_lb"] == 3000.0
    assert CONCRETE_NOT_CHECKED not in held["ASD"].notes
    assert held["LRFD"].allowable["wind"]["tension_lb"] == pytest.approx(0.75 * 0.75 * 58000 * math.pi / 4 * 0.625**2)
    assert CONCRETE_NOT_CHECKED in held["LRFD"].notes
    both, _ = one_row(**cells, concrete_uplift_lb="3000", concrete_uplift_strength_lb="4500")
    assert hold("x", Point("hold_down_anchor"), "LRFD", hardware=both).allowable["wind"]["tension_lb"] == 4500.0


def test_items_without_a_value_for_the_method_are_named_once() -> None:
    issues = Issues()
    hardware, _ = one_row(**TIE)
    note_unlisted(hardware, "ASD", issues)
    assert not issues
    note_unlisted(hardware, "LRFD", issues)
    assert [i.code for i in issues] == ["HARDWARE_OTHER_METHOD"]
    assert "1 of 1 listed items without any design strength: `x`" in issues.frame()["found"][0]
    only_strength, _ = one_row(**{k: v for k, v in TIE.items() if k != "uplift_lb"}, uplift_strength_lb="560")
    note_unlisted(only_strength, "ASD", issues)
    assert sum("without any allowable load" in found for found in issues.frame()["found"]) == 1


def test_sample_strengths_are_its_allowable_loads_times_one_factor() -> None:
    """Invented like the allowable loads: 1.35 times them, rounded to 5 lb; the one listed concrete value 1.5 times."""
    for row in sample().rows:
        for name, load in row.loads_lb.items():
            if "_strength" not in name:
                assert abs(row.loads_lb[name.replace("_lb", "_strength_lb", 1)] - 1.35 * load) <= 2.5 + 1e-9, row.item
        if "concrete_uplift_lb" in row.values:
            assert row.number("concrete_uplift_strength_lb") == 1.5 * row.number("concrete_uplift_lb")


# --- whole runs -----------------------------------------------------------------------------------------------------

SIX = ("A-01", "B-02", "C-14", "A-44", *RIDGE[:2])


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Screened]:
    folder = tmp_path_factory.mktemp("methods")
    shaken = {"hazards.ss_g": {"value": 1.5}, "hazards.s1_g": {"value": 0.5}}
    return {m: screened(write_tract(folder / m, cut(SIX), {"design.method": m, **shaken})) for m in METHODS}


def test_a_tract_runs_by_strength_design(both: dict[str, Screened]) -> None:
    """Same lots, hazards, connections and quantities of points; demands at strength level, the same package lines."""
    asd, lrfd = both["ASD"], both["LRFD"]
    for column in ("q_envelope_psf", "sds_g", "plan", "exposure", "kzt"):
        assert asd.lots[column].equals(lrfd.lots[column])
    keys = ["lot_id", "point", "component"]
    a, b = (run.demands[run.demands["component"] != "combined"].set_index(keys) for run in (asd, lrfd))
    assert a.index.equals(b.index)
    cases = set(b.loc[b["demand"] > 0, "case"].str.split(";").str[0])
    known = {c.name for use in ("uplift", "compression") for c in combinations("ASCE 7-16", "LRFD", use)}
    assert {"0.9D + 1.0W", "0.9D - Ev + Eh"} <= cases <= known
    assert set(lrfd.results.packages["schedule"]) == set(asd.results.packages["schedule"])
    assert (lrfd.lots["tier"] != "").any()


def test_ratios_hold_by_strength_design(both: dict[str, Screened]) -> None:
    """What the demands table shows as capacity is the design strength, and no chosen item is over its ratio."""
    run = both["LRFD"]
    rows = run.demands[(run.demands["component"] != "combined") & (run.demands["capacity"] > 0)]
    with_package = run.lots.index[run.lots["tier"] != ""]
    held = rows[rows["lot_id"].isin(with_package)]
    assert (held["ratio"].dropna() <= 1.0).all()
    sheathing = held[held["component"].eq("shear_plf") & held["point"].str.startswith("wall sheathing")]
    nominal = {670, 980, 1260, 1640, 2155, 480, 700, 900, 1170, 1540}  # SDPWS 2015 Table 4.3A, vw and vs
    strengths = {round(species * 0.80 * v, 2) for v in nominal for species in (0.92, 1.0)}  # SPF, DF-L
    assert len(sheathing) > 5
    assert {round(v, 2) for v in sheathing["capacity"]} <= strengths


def test_newer_edition_runs_with_its_own_combinations_and_sheathing(tmp_path: Path) -> None:
    """ASCE 7-22 with SDPWS 2021: one nominal value, phi 0.80 for wind (0.92 for SPF framing)."""
    frame = cut(SIX[:2]).assign(sms=0.81, sm1=0.405, s1=0.18)
    given = {
        "design.loads": "ASCE 7-22",
        "design.method": "LRFD",
        "hazards.ss_g": None,
        "hazards.s1_g": {"column": "s1"},
        "hazards.sms_g": {"column": "sms"},
        "hazards.sm1_g": {"column": "sm1"},
    }
    run = screened(write_tract(tmp_path, frame, given))
    assert (run.lots["tier"] != "").all()
    cases = set(run.demands.loc[run.demands["demand"] > 0, "case"].str.split(";").str[0])
    assert cases <= {c.name for use in ("uplift", "compression") for c in combinations("ASCE 7-22", "LRFD", use)}
    walls = run.demands[run.demands["point"].str.startswith("wall sheathing")]
    assert set(walls["capacity"].round(1)) <= {round(s * p * 670.0, 1) for s in (0.92, 1.0) for p in (0.80, 0.50)}


def test_explanation_names_method_factors_and_combinations(both: dict[str, Screened]) -> None:
    run = both["LRFD"]
    text = "\n".join(lines_of(run.prepared, run.selection, run.prepared.place_of("A-01"), ""))
    assert "design by ASCE 7-16, LRFD (strength design)" in text
    for words in (
        "KF = 3.32, phi = 0.65, lambda = 1",
        "phi_D = 0.8",
        "KF = 1.67, phi = 0.9",
        "0.9D + 1.0W",
        "demand / design strength",
    ):
        assert words in text, words
    assert "load duration" not in text
    assert "allowable" not in text
    asd = both["ASD"]
    text = "\n".join(lines_of(asd.prepared, asd.selection, asd.prepared.place_of("A-01"), ""))
    assert "CD = 1.6" in text
    assert "LRFD" not in text


def test_a_list_without_strengths_serves_only_its_computed_items(tmp_path: Path) -> None:
    """An ASD list under LRFD: a warning names the items, they hold nothing, and what they alone could hold is an
    exception, never a guess."""
    table = pd.read_csv(HARDWARE, dtype=str, keep_default_na=False)
    table.loc[:, [c for c in table.columns if "_strength_lb" in c]] = ""
    table.to_csv(tmp_path / "list.csv", index=False)
    changes = {"design.method": "LRFD", "hardware.file": str(tmp_path / "list.csv")}
    run = screened(write_tract(tmp_path / "run", cut(RIDGE[:2]), changes))
    found = run.results.issues
    assert found["code"].eq("HARDWARE_OTHER_METHOD").sum() == 1
    assert (run.lots["tier"] == "").all()
    assert "NO_HARDWARE" in run.flags("A-29")


def test_command_report_and_sheets_name_the_method(tmp_path: Path) -> None:
    file = write_tract(tmp_path, cut(("A-01",)), {"design.method": "LRFD"})
    assert command("run", file, "--allow-exceptions", "--quiet")[0] == 0
    report = (tmp_path / "results" / "report.html").read_text(encoding="utf-8")
    assert "ASCE 7-16, LRFD, envelope procedure" in report
    assert "at strength level, not allowable loads" in report
    assert '"method":"LRFD"' in (tmp_path / "results" / "run.json").read_text(encoding="utf-8").replace(" ", "")
    assert command("sheets", file, "--quiet")[0] == 0
    (page,) = (tmp_path / "sheets").glob("[0-9]*-a-01-*.html")
    assert "ASCE 7-16, strength design" in page.read_text(encoding="utf-8")


def test_drawn_loads_are_named_and_follow_the_method(tmp_path: Path) -> None:
    plan = SAMPLE_PLANS[0]
    texts = []
    for method in METHODS:
        out = tmp_path / f"{method}.svg"
        assert command("draw", plan, "--loads", "--method", method, "--out", out)[0] == 0
        texts.append(out.read_text(encoding="utf-8"))
    assert "ASD, largest" in texts[0]
    assert "LRFD, largest" in texts[1]
    assert texts[0].count("up ") == texts[1].count("up ")
    assert texts[0] != texts[1].replace("LRFD", "ASD")


def test_methods_agree_on_what_depends_on_no_method() -> None:
    """`replace` of the method in a frame changes combinations alone."""
    frame = model(NAMES[0], "ASD").frame
    other = replace(frame, method="LRFD")
    assert (frame.basis, frame.row, frame.shape) == (other.basis, other.row, other.shape)
    assert frame.cases("uplift") != other.cases("uplift")
