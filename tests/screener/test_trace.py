"""A trace never disagrees with the numbers it stands beside: on any arithmetic, and on every house of the sample."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from demand_houses import ABACUS, SAMPLE_PLANS, model_of_file, plan_file
from hypothesis import given
from hypothesis import strategies as st
from test_perforated_walls import variant as perforated

from screener.demands import DemandModel, build_model
from screener.families import families
from screener.line_loads import LineLoad
from screener.trace import UNNAMED, Item, Mix, Traced, named, node_of, placed, terms_of, trace
from screener.wind_states import Procedure

NOT_IN_SAMPLE = {"accessory", "retrofit_anchor"}
"""Families that no house asks for: pieces bought with another item, and the stand-in for a missed anchor."""


def houses() -> list[tuple[str, str, tuple[str, ...]]]:
    """Every plan of the sample bare in each style and with all its options in the last, and the hand-checked house."""
    out = [(str(ABACUS), "", ())]
    for path in SAMPLE_PLANS:
        plan = plan_file(path)
        styles = list(plan.styles or {"": ""})
        out += [(str(path), style, ()) for style in styles]
        out += [(str(path), styles[-1], tuple(sorted(plan.options)))] if plan.options else []
    return out


def words(case: tuple[str, str, tuple[str, ...]]) -> str:
    return "/".join([case[0].rsplit("/", 1)[-1], case[1], "+".join(case[2])])


@cache
def pair(path: str, style: str, options: tuple[str, ...]) -> tuple[DemandModel, DemandModel]:
    model = model_of_file(Path(path), style, options)
    return model, model.traced()


@pytest.mark.parametrize("case", houses(), ids=words)
def test_traced_houses_have_the_coefficients_of_the_batch_and_the_trace_adds_up_to_them(
    case: tuple[str, str, tuple[str, ...]],
) -> None:
    """To the last bit the same model; then, for every case of every connection, the case's factors times the effect
    give the coefficients, and every named effect is the sum of its parts down to loads that start somewhere. Would fail
    where a derivation goes another way than the demand, or a part of it had no name."""
    check_model(*pair(*case))


def check_model(model: DemandModel, traced: DemandModel) -> None:
    """A model of the batch and its traced twin, connection by connection."""
    seen: dict[tuple[int, int], Item] = {}
    for point, twin in zip(model.points, traced.points, strict=True):
        assert point.name == twin.name
        assert point.case_names == twin.case_names
        assert np.array_equal(point.coefficients, twin.coefficients), point.name
        assert (point.ceiling is None) == (twin.ceiling is None)
        for rows, which in ((twin.coefficients, "effects"), (twin.ceiling, "ceiling")):
            if rows is not None:
                check_rows(traced, twin, rows, which, seen)


def check_rows(
    model: DemandModel, point: object, rows: np.ndarray, which: str, seen: dict[tuple[int, int], Item]
) -> None:
    frame, sds = model.frame, model.frame.column["sds_vertical_g"]
    wholes: dict[int, Item] = {}
    for k in range(len(rows)):
        member, _, place = point.trace.of(frame, k)  # type: ignore[attr-defined]
        for c, component in enumerate(point.components):  # type: ignore[attr-defined]
            effect = getattr(member, which).get(component)
            if effect is None:
                assert not rows[k, c].any()
                continue
            total, plain = np.zeros(len(frame.basis)), effect.view(np.ndarray)
            whole = wholes.setdefault(id(effect), Item("whole", plain, node_of(effect)))
            for share in frame.shares(point.trace.use, place):  # type: ignore[attr-defined]
                total += share.factor * plain[share.row]
                total[sds] += share.per_sds * plain[share.row, 0]
                if (id(whole), share.row) not in seen:
                    seen[id(whole), share.row] = whole  # held, so that its id stays its own
                    check_item(whole, share.row, seen)
            assert same(point.trace.sign * total, rows[k, c])  # type: ignore[attr-defined]


def same(found: np.ndarray, wanted: np.ndarray) -> bool:
    """Equal but for the order in which numbers were added."""
    return float(np.abs(found - wanted).max()) <= 1e-9 * max(1.0, float(np.abs(wanted).max()))


def check_item(item: Item, row: int, seen: dict[tuple[int, int], Item]) -> None:
    """An item's row is the sum of its parts' rows, and so on down; what starts has a name."""
    if row >= len(item.value) or not item.value[row].any():
        return
    parts = item.parts(row)
    if not parts:
        assert item.what != UNNAMED
        return
    total = np.zeros(item.value.shape[1])
    for part in parts:
        if row < len(part.item.value):
            total += part.weight * part.item.value[row]
        if (id(part.item), row) not in seen:
            seen[id(part.item), row] = part.item
            check_item(part.item, row, seen)
    assert same(total, item.value[row]), item.what


def test_every_family_of_connections_is_taken_apart() -> None:
    """The houses above hold every family there is, so the law above speaks of all of them."""
    held = {p.family for case in houses() for p in pair(*case)[0].points}
    assert set(families()) - held == NOT_IN_SAMPLE


OTHER_WAYS = [
    ("ASCE 7-16", "ASD", "directional", "main"),
    ("ASCE 7-22", "LRFD", "directional", "components"),
    ("ASCE 7-16", "LRFD", "envelope", "main"),
    ("ASCE 7-22", "ASD", "envelope", "components"),
]
"""Each edition, method, wind procedure and size rule of roof ties, each method with each procedure."""


BARE, FULL = houses()[0], next(h for h in houses() if "kettle" in h[0] and h[2])
PERFORATED = ("perforated", "", ())


@pytest.mark.parametrize(
    ("case", "way"),
    [
        *((BARE, way) for way in OTHER_WAYS),
        *(pytest.param(FULL, way, marks=pytest.mark.long) for way in OTHER_WAYS[:2]),
        (PERFORATED, OTHER_WAYS[0]),
        pytest.param(PERFORATED, OTHER_WAYS[2], marks=pytest.mark.long),
    ],
    ids=lambda of: "/".join(of) if of in OTHER_WAYS else words(of),
)
def test_the_same_holds_by_every_procedure_method_and_edition(
    case: tuple[str, str, tuple[str, ...]], way: tuple[str, str, Procedure, str]
) -> None:
    """The hand-checked house, one of the sample with all options, and one with a perforated wall, by both wind
    procedures and both methods, ties by components too: not a line of the law changes."""
    edition, method, procedure, ties = way
    path, style, options = case
    variant = perforated() if case == PERFORATED else plan_file(Path(path)).variant(style, options)
    model = build_model(variant, edition, method, procedure, ties)
    assert ("perforated" in str([p.name for p in model.points])) == (case == PERFORATED)
    check_model(model, model.traced())


@given(st.lists(st.tuples(st.sampled_from(["add", "take", "scale", "part", "row"]), st.floats(-3, 3)), max_size=12))
def test_any_arithmetic_keeps_numbers_and_parts_together(steps: list[tuple[str, float]]) -> None:
    """Sums, differences, scalings, divisions and factors by row on traced arrays: numbers are those of plain arrays,
    and the parts found give them back."""
    rng = np.random.default_rng(1)
    starts = [rng.normal(size=(3, 4)) for _ in range(3)]
    loads = [named(trace(a), f"load {n}") for n, a in enumerate(starts)]
    by_row = np.array([[1.0], [-1.0], [0.5]])
    plain, traced = starts[0].copy(), loads[0]
    for n, (what, factor) in enumerate(steps):
        other_plain, other = starts[n % 3], loads[n % 3]
        if what == "add":
            plain, traced = plain + other_plain, traced + other
        elif what == "take":
            plain, traced = plain - other_plain, traced - other
        elif what == "scale":
            plain, traced = factor * plain, factor * traced
        elif what == "row":
            plain, traced = by_row * plain, by_row * traced
        else:
            plain, traced = plain / (4.0 + factor), traced / (4.0 + factor)
    assert np.array_equal(plain, np.asarray(traced))
    node = node_of(traced)
    for row in range(3):
        terms = terms_of(node, row) if isinstance(node, Mix) else terms_of(Mix(((node, 1.0),)), row)
        total = sum((t.weight * t.item.value[row] for t in terms), np.zeros(4))
        assert np.allclose(total, plain[row], atol=1e-9 * max(1.0, float(np.abs(plain).max())))


def test_growing_in_place_leaves_what_was_named_before_alone() -> None:
    first = named(trace(np.ones((2, 3))), "first")
    total = first.copy()
    total += named(trace(np.full((2, 3), 2.0)), "second")
    assert np.array_equal(np.asarray(first), np.ones((2, 3)))
    assert {t.item.what: t.weight for t in terms_of(node_of(total), 0)} == {"first": 1.0, "second": 1.0}


def test_writing_into_an_effect_ends_its_trace_and_keeps_its_numbers() -> None:
    """What is written by hand is a part without a name, never a wrong sum."""
    effect = 2.0 * named(trace(np.ones((2, 3))), "load")
    effect[0] = 7.0
    node = node_of(effect)
    assert isinstance(node, Item)
    assert node.what == UNNAMED
    assert node.value[0].tolist() == [7.0, 7.0, 7.0]


def test_loads_on_a_line_keep_their_places() -> None:
    """A load of 3 a foot from 2 to 6 ft on a 10 ft span: 12 in all, its middle at 4 ft, so 7.2 and 4.8 (lever)."""
    load = LineLoad(trace(np.zeros((1, 1))))
    load.spread(2.0, 6.0, named(trace(np.full((1, 1), 3.0)), "roof"))
    left, right = load.reactions([0.0, 10.0])
    (term,) = terms_of(node_of(left), 0)
    assert (term.item.what, term.where) == ("roof", "2-6 ft")
    assert term.weight == pytest.approx(2.4)
    assert float(left[0, 0]) == pytest.approx(7.2)
    assert float(right[0, 0]) == pytest.approx(4.8)


def test_plain_arrays_stay_plain() -> None:
    """The batch pays nothing: without a traced frame no array is ever one."""
    effect = named(placed(np.ones((2, 2)), "at 1 ft"), "load")
    assert type(effect) is np.ndarray
    for point in model_of_file(SAMPLE_PLANS[0]).points:
        assert point.trace is None
        assert not isinstance(point.coefficients, Traced)
