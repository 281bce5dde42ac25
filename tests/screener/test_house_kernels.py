"""Batches of lots of one house: the compiled loops, the plain way and the tract's own way give the same bits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from tract_helpers import SAMPLE

from screener.capacity_case import Option
from screener.demands import DemandModel, LotHazards, build_model, load_basis
from screener.hardware import Hardware, read_hardware
from screener.house_arrays import undominated_exactly
from screener.house_kernels import HouseRatios, evaluate_house, judge_packages, option_mask, requirement_classes
from screener.house_tables import HouseTable, PointTable, house_table
from screener.plan_files import load_plan
from screener.selection import _cast_in_as_chosen, house_lines, judge

CATEGORIES = ("A", "C", "D0", "D2", "E")
HOUSES = (
    ("kettle", "A", (), False, "ASCE 7-16", "ASD", "envelope"),
    ("kettle", "B", ("patio",), True, "ASCE 7-22", "LRFD", "directional"),
    ("lantern", "B", (), False, "ASCE 7-16", "LRFD", "envelope"),
    ("thimble", "B", ("patio",), False, "ASCE 7-22", "ASD", "directional"),
)
SDPWS = "2015"


@dataclass(frozen=True)
class House:
    model: DemandModel
    lines: Sequence[str]
    options: Mapping[str, Sequence[Option]]
    hardware: Hardware
    table: HouseTable


@cache
def hardware() -> Hardware:
    return read_hardware(SAMPLE / "hardware.csv")[0]


@cache
def house(case: tuple[Any, ...]) -> House:
    plan, style, options, mirrored, edition, method, procedure = case
    variant = load_plan(SAMPLE / "plans" / f"{plan}.toml").variant(style, options, mirrored)
    model = build_model(variant, edition, method, procedure)
    lines, _, listed = house_lines([model], hardware())
    lines, listed = [*lines, "a line of another house"], [*listed, (Option("piece", 0, "1 each"),) * 3]
    by_line = dict(zip(lines, listed, strict=True))
    return House(model, lines, by_line, hardware(), house_table(model, lines, by_line, hardware(), SDPWS, CATEGORIES))


def anywhere(lots: int, seed: int) -> LotHazards:
    """Hazards over the whole domain."""
    r = np.random.default_rng(seed)
    q = r.uniform(5.0, 70.0, lots)
    sds = r.uniform(0.0, 2.0, lots)
    return LotHazards(
        q_envelope_psf=q,
        q_components_psf=q * r.uniform(0.9, 1.1, lots),
        gcpi=r.choice([0.18, 0.55], lots),
        sds_g=sds,
        sd1_g=sds * r.uniform(0.3, 0.9, lots),
        s1_g=sds * 0.4,
        rho=r.choice([1.0, 1.3], lots),
        roof_snow_psf=r.choice([0.0, 20.0, 70.0], lots),
        q_onto_psf=q[:, None] * r.uniform(0.5, 1.0, (lots, 4)),
        sds_capped_g=np.minimum(sds, 1.0) if seed % 2 else None,
    )


def some_packages(h: House, count: int, seed: int) -> NDArray[np.int64]:
    """Packages at random; some leave lines out."""
    r = np.random.default_rng(seed)
    rows = [[r.integers(-1 if r.random() < 0.1 else 0, len(h.options[line])) for line in h.lines] for _ in range(count)]
    return np.array(rows, dtype=np.int64)


def as_a_tract(
    h: House, hazards: LotHazards, category: NDArray[np.int64], packages: NDArray[np.int64], tier: NDArray[np.int64]
) -> tuple[dict[int, NDArray[np.bool_]], HouseRatios]:
    """What `selection` and `result_tables` find for the same lots: passing options by line, and chosen ratios."""
    n = len(hazards)
    lots = np.arange(n)
    letters = np.array(CATEGORIES)[category]
    found = judge(h.model, lots, hazards, letters, h.options, h.hardware, SDPWS)
    passes: dict[int, NDArray[np.bool_]] = {}
    for r in found.points:
        if r.point.schedule in h.lines:
            line = list(h.lines).index(r.point.schedule)
            passes[line] = passes.get(line, True) & (r.ratio <= 1.0)
    named = [{line: int(k) for line, k in zip(h.lines, row, strict=True) if k >= 0} for row in packages]
    _cast_in_as_chosen([found], h.options, named, tier, h.hardware)
    ratios, cases = [], []
    point, hardest = np.full(n, -1), np.full(n, -1.0)
    for number, r in enumerate(found.points):
        if r.ratio.shape[1]:
            option = np.array([p.get(r.point.schedule, -1) for p in named] + [-1])[tier]
            shown = np.where(option >= 0, option, r.ratio.argmin(axis=1))
            ratios.append(r.ratio[lots, shown])
            cases.append(r.ratio_case[lots, shown])
        else:
            ratios.append(np.full(n, np.nan))
            cases.append(np.full(n, -1))
        more = np.nan_to_num(ratios[-1], nan=-1.0) > hardest
        point[more], hardest[more] = number, ratios[-1][more]
    largest = np.concatenate([r.largest for r in found.points], axis=1)
    case = np.concatenate([r.case for r in found.points], axis=1)
    governing = np.where(point >= 0, hardest, np.nan)
    return passes, HouseRatios(
        np.stack(ratios, axis=1), np.stack(cases, axis=1).astype(np.int16), point.astype(np.int16), governing,
        largest, case.astype(np.int16),
    )  # fmt: skip


def assert_same(got: HouseRatios, expected: HouseRatios) -> None:
    for name in HouseRatios.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(got, name), getattr(expected, name), err_msg=name, strict=True)


@pytest.mark.parametrize("compiled", [False, True])
@pytest.mark.parametrize(
    "case",
    [
        pytest.param(c, id="-".join([c[0], *c[4:]]), marks=[pytest.mark.long] if n > 1 else [])
        for n, c in enumerate(HOUSES)
    ],
)
def test_a_batch_is_judged_as_a_tract_is(case: tuple[Any, ...], compiled: bool) -> None:
    h, n = house(case), 140
    hazards, r = anywhere(n, 3), np.random.default_rng(4)
    category, tier = r.integers(0, len(CATEGORIES), n), r.integers(-1, 4, n)
    packages = some_packages(h, 4, 5)
    passes, expected = as_a_tract(h, hazards, category, packages, tier)
    basis = load_basis(h.model, hazards)
    got = evaluate_house(h.table, basis, category, demands=True, compiled=compiled)
    for line in range(len(h.lines)):
        mask = option_mask(h.table, got.passes, line)
        np.testing.assert_array_equal(mask, passes.get(line, np.ones_like(mask)), err_msg=h.lines[line])
    np.testing.assert_array_equal(got.largest, expected.largest, strict=True)
    np.testing.assert_array_equal(got.case, expected.case, strict=True)
    assert_same(judge_packages(h.table, basis, category, packages, tier, demands=True, compiled=compiled), expected)
    assert np.isfinite(expected.ratio).mean() > 0.05  # the case tests something
    assert (expected.ratio > 1.0).any()


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 200), st.floats(0.0, 1.0))
def test_any_lots_alike_or_not_come_out_the_same(seed: int, lots: int, spread: float) -> None:
    """Lots as near to each other as may be, or far apart: pruning never shows."""
    h = house(HOUSES[seed % len(HOUSES)])
    r = np.random.default_rng(seed)
    basis = load_basis(h.model, anywhere(lots, seed))
    basis = basis[:1] + spread * (basis - basis[:1])
    category, tier = r.integers(0, len(CATEGORIES), lots), r.integers(-1, 3, lots)
    packages = some_packages(h, 3, seed)
    assert_both_ways_agree(h.table, basis, category, packages, tier)


def assert_both_ways_agree(table: HouseTable, basis: Any, category: Any, packages: Any, tier: Any) -> None:
    plain = evaluate_house(table, basis, category, demands=True, compiled=False)
    fast = evaluate_house(table, basis, category, demands=True, compiled=True)
    for name in ("passes", "largest", "case"):
        np.testing.assert_array_equal(getattr(fast, name), getattr(plain, name), err_msg=name, strict=True)
    assert_same(
        judge_packages(table, basis, category, packages, tier, demands=True, compiled=True),
        judge_packages(table, basis, category, packages, tier, demands=True, compiled=False),
    )


# --- tables made up at random: many options, ceilings, options that hold nothing ------------------------------------


def made_up(seed: int) -> tuple[HouseTable, NDArray[np.float64]]:
    """A table with every oddity at once, and basis rows beside its capacities."""
    r = np.random.default_rng(seed)
    basis, lines = 5, 4
    options = (int(r.integers(1, 9)), 70, int(r.integers(2, 6)), int(r.integers(2, 6)))
    points = [_made_point(r, basis, n % 3, options[n % 3], f"point {n}") for n in range(7)]
    held = _made_point(r, basis, 2, options[2], "hold-down: x")
    anchor = _made_point(r, basis, 3, options[3], "anchor")
    own = tuple(int(k) for k in np.flatnonzero(r.random(options[2]) < 0.5))
    points += [held, _with_strap(anchor, len(points), own), _made_point(r, basis, -1, 0, "footing")]
    table = HouseTable(
        "made up", tuple("1abcd"), tuple("klmn"), options, ("A", "D"), np.array([0, 1], dtype=np.int64), tuple(points)
    )
    assert len(table.lines) == lines
    rows = np.concatenate([np.ones((150, 1)), r.choice([0.0, 0.5, 1.0, 2.0], (150, basis - 1))], axis=1)
    rows[:, 1:] *= np.where(r.random((150, 1)) < 0.5, 1.0, 1.0 + r.uniform(-1e-12, 1e-12, (150, 1)))
    return table, rows


def _made_point(r: np.random.Generator, basis: int, line: int, options: int, name: str) -> PointTable:
    comps, cases = int(r.integers(1, 4)), int(r.integers(1, 7))
    coefficients = r.choice([-2.0, -1.0, 0.0, 0.0, 1.0, 1.0, 2.0, 0.3], (cases, comps, basis))
    ceiling = r.choice([-1.0, 0.0, 1.0, 3.0], (cases, comps, basis)) if r.random() < 0.4 else None
    allowable = r.choice([0.0, np.nan, 1.0, 2.0, 3.0, 0.9], (2, 2, options, comps), p=[0.05, 0.1, 0.3, 0.3, 0.2, 0.05])
    return PointTable(
        name,
        "made up",
        "line",
        line,
        tuple(f"c{k}" for k in range(comps)),
        tuple(f"case {k}" for k in range(cases)),
        tuple(r.choice(["wind", "seismic", "gravity"], cases).tolist()),
        coefficients,
        ceiling,
        allowable * 4.0,
        r.random((2, options)) < 0.9,
        r.random((2, options)) < 0.2,
    )


def _with_strap(p: PointTable, partner: int, own: tuple[int, ...]) -> PointTable:
    parts = {name: getattr(p, name) for name in PointTable.__dataclass_fields__}
    return PointTable(**{**parts, "cast_in": 1, "partner": partner, "own": own})


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_made_up_tables_come_out_the_same_both_ways(seed: int) -> None:
    table, basis = made_up(seed)
    r = np.random.default_rng(seed)
    category, tier = r.integers(0, 2, len(basis)), r.integers(-1, 3, len(basis))
    packages = np.stack([r.integers(-1, n, 3) for n in table.options], axis=1)
    assert_both_ways_agree(table, basis, category, packages, tier)


# --- near a capacity, laws, errors ----------------------------------------------------------------------------------


@given(st.floats(1e-300, 1e300), st.integers(-3, 3))
def test_a_ratio_of_at_most_one_is_a_demand_of_at_most_the_capacity(capacity: float, steps: int) -> None:
    """IEEE 754: what the compiled loops rely on, next to the capacity where it could fail."""
    demand = capacity
    for _ in range(abs(steps)):
        demand = float(np.nextafter(demand, np.inf if steps > 0 else 0.0))
    assert (demand / capacity <= 1.0) == (demand <= capacity)


def test_demands_next_to_a_capacity() -> None:
    capacity = 1234.567
    one = np.full((1, 2, 1, 1), capacity)
    point = PointTable(
        "p", "f", "l", 0, ("uplift_lb",), ("c",), ("wind",), np.array([[[0.0, 1.0]]]), None, one,
        np.ones((1, 1), dtype=bool), np.zeros((1, 1), dtype=bool),
    )  # fmt: skip
    table = HouseTable("h", ("one", "q"), ("l",), (1,), ("D",), np.zeros(1, dtype=np.int64), (point,))
    near = [
        capacity * (1 - 1e-12),
        np.nextafter(capacity, 0),
        capacity,
        np.nextafter(capacity, 2e3),
        capacity * (1 + 1e-12),
    ]
    basis = np.column_stack([np.ones(5), near])
    for compiled in (False, True):
        got = evaluate_house(table, basis, np.zeros(5, dtype=int), compiled=compiled)
        assert option_mask(table, got.passes, 0)[:, 0].tolist() == [True, True, True, False, False]


def test_order_threads_and_slices_do_not_show() -> None:
    h, n = house(HOUSES[0]), 9000
    hazards, r = anywhere(n, 8), np.random.default_rng(9)
    basis, category, tier = load_basis(h.model, hazards), r.integers(0, 5, n), r.integers(-1, 3, n)
    packages, mixed = some_packages(h, 3, 1), r.permutation(n)
    one = judge_packages(h.table, basis, category, packages, tier, demands=True)
    two = judge_packages(h.table, basis[mixed], category[mixed], packages, tier[mixed], demands=True, threads=3)
    assert_same(two, HouseRatios(*(getattr(one, name)[mixed] for name in HouseRatios.__dataclass_fields__)))
    passes = evaluate_house(h.table, basis, category).passes
    np.testing.assert_array_equal(
        evaluate_house(h.table, basis[mixed], category[mixed], threads=2).passes, passes[mixed]
    )
    again = judge_packages(h.table, basis, category, packages, tier, demands=True, out=two)
    assert again.ratio is two.ratio
    assert_same(again, one)
    each = judge_packages(
        h.table, basis[:70], category[:70], np.vstack([packages, np.full_like(packages[:1], -1)])[tier[:70]]
    )
    np.testing.assert_array_equal(each.ratio, one.ratio[:70])


def test_requirement_classes_count_every_lot_once() -> None:
    r = np.random.default_rng(2)
    kinds = r.integers(0, 2**63, (9, 4), dtype=np.uint64)
    passes = kinds[r.integers(0, 9, 3000)]
    of_lot, rows, counts = requirement_classes(passes)
    np.testing.assert_array_equal(rows[of_lot], passes)
    expected, expected_counts = np.unique(passes, axis=0, return_counts=True)
    np.testing.assert_array_equal(rows, expected)
    np.testing.assert_array_equal(counts, expected_counts)
    few = requirement_classes(passes[:5])
    np.testing.assert_array_equal(few[1][few[0]], passes[:5])


def test_cases_left_out_of_groups_never_decide() -> None:
    r = np.random.default_rng(5)
    rows = r.choice([-1.0, 0.0, 0.5, 1.0], (60, 2, 4))
    seismic = r.integers(0, 2, 60).astype(np.uint8)
    kept = undominated_exactly(rows, None, seismic)
    assert 0 < len(kept) < 60
    for basis in r.uniform(0.0, 3.0, (50, 4)):
        values = rows @ basis
        for j in range(60):
            same = kept[seismic[kept] == seismic[j]]
            assert (values[same] >= values[j]).all(axis=1).any() or (values[j] <= 0.0).all()


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -0.1])
def test_a_lot_that_cannot_be_judged_is_named(wrong: float) -> None:
    h = house(HOUSES[0])
    basis = load_basis(h.model, anywhere(4, 1))
    basis[2, 3] = wrong
    with pytest.raises(ValueError, match="row 2 of the basis"):
        evaluate_house(h.table, basis, np.zeros(4, dtype=int))


def test_calls_that_do_not_fit_are_refused() -> None:
    h = house(HOUSES[0])
    basis, category = load_basis(h.model, anywhere(4, 1)), np.zeros(4, dtype=int)
    packages = some_packages(h, 2, 1)
    with pytest.raises(ValueError, match="category's place"):
        evaluate_house(h.table, basis, category + len(CATEGORIES))
    with pytest.raises(ValueError, match="option that its line does not have"):
        judge_packages(h.table, basis, category, packages + 99, category)
    with pytest.raises(ValueError, match="not among 2 packages"):
        judge_packages(h.table, basis, category, packages, category + 2)
    with pytest.raises(ValueError, match="not among the portfolio's lines"):
        house_table(h.model, h.lines[1:], h.options, h.hardware, SDPWS, CATEGORIES)
