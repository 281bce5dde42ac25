"""TOML of any shape: a project, a plan or scenarios that can't be used is told with its key; nothing else happens."""

from __future__ import annotations

import copy
import resource
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from damaged_project import PLAIN
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tract_helpers import SAMPLE, as_toml
from tract_helpers import settings as project_settings

from hazard.issues import InputError, Issues
from screener.config import load_tract
from screener.demands import build_model
from screener.files.toml_files import read_toml
from screener.plan_files import load_plan
from screener.scenarios import read_scenarios

PLANS = {name: tomllib.loads((SAMPLE / "plans" / f"{name}.toml").read_text("utf-8")) for name in ("thimble", "lantern")}


@contextmanager
def _within(seconds: float, mebibytes: float) -> Iterator[None]:
    """Fails where a block computes longer, or where the process grows by more (its greatest size so far counts)."""
    before = resource.getrusage(resource.RUSAGE_SELF)
    yield
    after = resource.getrusage(resource.RUSAGE_SELF)
    assert after.ru_utime - before.ru_utime < seconds
    assert (after.ru_maxrss - before.ru_maxrss) / 1024 < mebibytes


SHAPES: dict[str, tuple[bytes, str]] = {
    "arrays in arrays": (b"x = " + b"[" * 50_000 + b"]" * 50_000, "without end"),
    "arrays in arrays, some": (b"x = " + b"[" * 60 + b"]" * 60, "more than 24 deep"),
    "tables in tables": (b"x = " + b"{ a = " * 50_000 + b"1" + b" }" * 50_000, "without end"),
    "a dotted key": (b".".join([b"a"] * 20_000) + b" = 1", "more than 50 parts"),
    "a dotted heading": (b"[" + b" . ".join([b'"a"'] * 20_000) + b"]", "more than 50 parts"),
    "a heading of 40 parts": (b"[" + b".".join([b"a"] * 40) + b"]", "more than 24 deep"),
    "a key of 1 MB": (b"k" * 1_000_000 + b" = 1", "a key of 1,000,000 characters"),
    "a text of 1 MB": (b'x = "' + b"t" * 1_000_000 + b'"', "a text of 1,000,000 characters"),
    "a file of 10 MB": (b"#" * 10_000_000, "10 MiB; expected at most 1 MiB"),
    "a number of 5000 digits": (b"x = " + b"9" * 5000, "Exceeds the limit"),
    "a number of 400 digits": (b"x = " + b"9" * 400, "64 bits"),
    "a number in hexadecimal": (b"x = 0x" + b"f" * 400, "64 bits"),
    "the same key twice": (b"x = 1\nx = 2\n", "line 2"),
    "a table over a value": (b"x = 1\n[x]\ny = 2\n", "line 2"),
    "a control character": (b'x = "\x07"', "line 1"),
    "zero bytes": (b"\x00" * 1000, "line 1"),
    "keys that are the same unseen": ('"a" = 1\n"a\u200b" = 2'.encode(), "each key once"),
    "UTF-16": ("x = 1".encode("utf-16"), "UTF-8"),
    "a workbook": (b"PK\x03\x04\x14\x00\xff", "UTF-8"),
}


@pytest.mark.parametrize("name", SHAPES)
def test_no_shape_costs_time_or_memory(tmp_path: Path, name: str) -> None:
    content, told = SHAPES[name]
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    issues = Issues()
    with _within(8.0, 400.0):
        assert read_toml(path, issues, "X", "a file (TOML)") is None
    (issue,) = issues.stops()
    assert told in issue.message(), issue
    assert len(issue.message()) < 500
    for read in (load_tract, load_plan, read_scenarios):
        with pytest.raises(InputError):
            read(path)


def test_many_small_things_are_bounded_too(tmp_path: Path) -> None:
    """Forty thousand walls, and as many styles: told at once, in short messages."""
    path = tmp_path / "x.toml"
    wall = b'[[wall]]\nname = "a"\n'
    for content in (wall * 40_000, b"[styles]\n" + b"".join(b'k%d = "x"\n' % k for k in range(40_000))):
        path.write_bytes(content)
        with _within(60.0, 1500.0), pytest.raises(InputError) as caught:
            load_plan(path)
        assert all(len(issue.message()) < 1000 for issue in caught.value.issues)
        assert len(caught.value.issues) <= 210


ODD = st.one_of(
    st.sampled_from(
        [
            float("nan"),
            float("inf"),
            -1,
            0,
            1e308,
            2**62,
            True,
            date(1979, 5, 27),
            "",
            "x" * 500,
            [],
            {},
            [[]],
            "\u202ex",
        ]
    ),
    st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.text(max_size=8),
    st.lists(st.integers(-5, 60), max_size=5),
    st.dictionaries(st.text("abc", min_size=1, max_size=2), st.integers(), max_size=2),
)


def _places(value: Any, here: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if here:
        yield here
    for key, each in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield from _places(each, (*here, key))


def _put(value: Any, place: tuple[Any, ...], new: Any) -> None:
    for key in place[:-1]:
        value = value[key]
    if new is None:
        del value[place[-1]]
    else:
        value[place[-1]] = new


def _near(value: Any, factor: float) -> Any:
    """A number that is nearly right: what a slip of the pen makes of it."""
    return value * factor if isinstance(value, int | float) and not isinstance(value, bool) else None


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_a_plan_with_any_value_anywhere_is_a_house_or_refused(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """One to three values of a plan exchanged, dropped or scaled: `InputError`, or a house whose loads are finite."""
    name = data.draw(st.sampled_from(sorted(PLANS)))
    plan = copy.deepcopy(PLANS[name])
    for _ in range(data.draw(st.integers(1, 3))):
        place = data.draw(st.sampled_from(sorted(_places(plan), key=str)))
        value: Any = plan
        for key in place:
            value = value[key]
        scaled = _near(value, data.draw(st.sampled_from([0.1, 0.5, 0.9, 1.1, 2.0, 10.0, -1.0, 0.0])))
        _put(plan, place, scaled if scaled is not None and data.draw(st.booleans()) else data.draw(st.none() | ODD))
    file = tmp_path_factory.mktemp("plan") / "x.toml"
    file.write_text(_text(plan), encoding="utf-8")
    try:
        read = load_plan(file)
    except InputError as error:
        _check_messages(error)
        return
    model = build_model(read.variant(), "ASCE 7-16", "ASD")
    assert model.points


def _text(plan: dict[str, Any]) -> str:
    plain = {k: v for k, v in plan.items() if not isinstance(v, dict)}
    tables = {k: v for k, v in plan.items() if isinstance(v, dict)}
    return as_toml({"x": plain}).replace("[x]\n", "", 1) + as_toml(tables)


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_a_project_with_any_value_anywhere_is_read_or_refused(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    project = copy.deepcopy(project_settings(PLAIN))
    for _ in range(data.draw(st.integers(1, 3))):
        _put(project, data.draw(st.sampled_from(sorted(_places(project), key=str))), data.draw(st.none() | ODD))
    file = tmp_path_factory.mktemp("project") / "x.toml"
    plain = {k: v for k, v in project.items() if not isinstance(v, dict)}
    tables = {k: v for k, v in project.items() if isinstance(v, dict)}
    file.write_text(
        (as_toml({"x": plain}).replace("[x]\n", "", 1) if plain else "") + as_toml(tables), encoding="utf-8"
    )
    try:
        load_tract(file)
    except InputError as error:
        _check_messages(error)


def _check_messages(error: InputError) -> None:
    assert error.issues
    for issue in error.issues:
        assert "x.toml" in issue.where
        assert issue.found
        assert len(issue.message()) < 1500
