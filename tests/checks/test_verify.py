"""The command `screener verify`, its pages, and that a wrong value shows."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from hazard.standards import asce7_ch26_wind as ch26
from screener.checks import Check, Source, Status, checks_of, gaps, outside, registry, subjects, summary
from screener.checks.page import markdown
from screener.checks.rows import DERIVED, Known, known_value, printed
from screener.checks.single_values import single_values
from screener.cli.main import run
from screener.cli.verify import command, run_checks

ROOT = Path(__file__).parents[2]
SOURCE = Source("a document", "2020", "Table 1", DERIVED)


def test_the_kept_page_is_what_a_run_writes() -> None:
    """VERIFICATION.md, written by `screener verify --long --markdown VERIFICATION.md`."""
    assert markdown(*run_checks(long=True)) == (ROOT / "VERIFICATION.md").read_text("utf-8")


@pytest.mark.parametrize(
    ("published", "ours", "within", "known", "status"),
    [
        (1.0, 1.04, 0.05, None, Status.WITHIN),
        (1.0, 1.06, 0.05, None, Status.OUTSIDE),
        (1.0, 0.94, 0.05, None, Status.OUTSIDE),
        (1.0, 1.06, 0.05, Known("a page that cuts off", 0.05, 0.07), Status.KNOWN),
        (1.0, 1.08, 0.05, Known("a page that cuts off", 0.05, 0.07), Status.OUTSIDE),
        (1.0, 1.0, 0.0, Known("a page that cuts off", 0.05, 0.07), Status.WITHIN),
        (math.nan, math.nan, 0.0, None, Status.WITHIN),
        (math.nan, 1.0, 0.0, None, Status.OUTSIDE),
        (1.0, math.nan, 9.0, None, Status.OUTSIDE),
        ("yes", "yes", 0.0, None, Status.WITHIN),
        ("yes", "no", 0.0, None, Status.OUTSIDE),
    ],
)
def test_status(published: float | str, ours: float | str, within: float, known: Known | None, status: Status) -> None:
    check = Check(SOURCE, "a value", published, ours, within, known=known)
    assert check.status is status
    assert bool(outside([check])) == (status is Status.OUTSIDE)


def test_precision_of_printed_numbers() -> None:
    assert printed("1.20") == (1.2, 0.005)
    assert printed("-35") == (-35.0, 0.5)
    known = known_value("a misprint", 1.5, "1.842")
    assert known.low < 0.342 < known.high
    assert known.high - known.low == pytest.approx(0.001, rel=1e-3)


def test_a_source_says_how_its_value_was_obtained() -> None:
    with pytest.raises(ValueError, match="expected one of"):
        Source("a document", "2020", "Table 1", "heard")


def test_single_values_need_a_partner() -> None:
    with pytest.raises(ValueError, match="keys without a partner"):
        list(single_values("shear_wall_values.csv", {"perforated ratio r": 0.6154}))


def test_no_check_at_a_place_is_an_error() -> None:
    with pytest.raises(LookupError, match="no check at 'Table 99'"):
        checks_of("wind_velocity", "Table 99")


def test_summary_counts_every_check_once() -> None:
    rows = checks_of("seismic_ground")
    groups = summary.by_source(rows)
    assert sum(g.checks for g in groups) == len(rows)
    totals = summary.totals(rows)
    assert totals["read"] + totals["from memory"] + totals["derived"] == totals["checks"] == len(rows)
    assert sum(totals[status.value] for status in Status) == len(rows)
    page = next(g for g in groups if g.source.place.startswith("WE6"))
    assert (page.known, page.outside, page.verdict) == (3, 0, "3 known differences")


def test_a_wrong_answer_of_the_tool_shows_and_ends_with_1(monkeypatch: pytest.MonkeyPatch) -> None:
    right = ch26.kz
    monkeypatch.setattr(ch26, "kz", lambda *args, **kwargs: right(*args, **kwargs) + 0.01)
    done = CliRunner().invoke(command, ["--source", "Table 26.10-1 power law"], standalone_mode=False)
    assert done.return_value == 1
    assert "45 OUTSIDE" in done.output
    assert "OUTSIDE: ASCE/SEI 7 7-16, Table 26.10-1 power law: Kz at 15 ft, Exposure B" in done.output


def test_a_fault_in_a_subject_is_a_failed_check_and_the_rest_stays() -> None:
    def checks() -> Iterator[Check]:
        yield Check(SOURCE, "a value", 1.0, 1.0)
        raise ZeroDivisionError("no length")

    rows = registry.run_subject(registry.Subject("broken", "A broken one", False, checks))
    assert [row.status for row in rows] == [Status.WITHIN, Status.OUTSIDE]
    assert "ZeroDivisionError: no length" in outside(rows)[0]


def test_one_source_on_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", "--source", "WE6"]) == 0
    said = capsys.readouterr().out
    assert "3 known differences" in said
    assert "which is class C's" in said
    assert "Not verified:" in said
    assert "Exposure C columns" in said
    assert "Left out, run with --long" in said
    assert "licensed design professional decides" in said


def test_every_row_is_shown_when_asked(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", "--source", "WE8", "--all"]) == 0
    said = capsys.readouterr().out
    assert "Fv, class D" in said
    assert "1.842" in said


def test_json_and_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "page.html"
    assert run(["verify", "--source", "worked page", "--json", "--html", str(page)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["totals"]["checks"] == len(found["checks"]) > 50
    row = next(r for r in found["checks"] if r["place"].startswith("WE6") and r["what"].startswith("Fv"))
    assert (row["published"], row["status"], row["obtained"]) == (1.5, "known difference", "read")
    assert {"terrain_rasters", "exposure_rasters"} == set(found["left_out"])
    text = page.read_text("utf-8")
    assert "which is class C&#39;s" in text
    assert "licensed design professional decides" in text
    assert "<script" not in text
    assert "http" not in text


def test_an_unknown_source_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", "--source", "no such thing"]) == 2
    assert "no source has 'no such thing'" in capsys.readouterr().err


def test_what_is_from_memory_comes_from_the_tables_themselves() -> None:
    told = {gap.what: gap.why for gap in gaps.from_memory()}
    assert told["editions.csv, row by row"].endswith("rows from memory")
    assert any("load_combinations.csv" in why for why in told.values())


def test_a_new_module_needs_no_list(monkeypatch: pytest.MonkeyPatch) -> None:
    """Any module of the folder is a subject; a title and a function are all it needs."""
    assert len({s.name for s in subjects()}) == len(subjects()) >= 14
    module = SimpleNamespace(TITLE="A new one", checks=lambda: iter([Check(SOURCE, "a value", 1.0, 1.0)]))
    names = [SimpleNamespace(name="new_one")]
    monkeypatch.setattr(registry.pkgutil, "iter_modules", lambda path: names)
    monkeypatch.setattr(registry.importlib, "import_module", lambda name: module)
    assert [(s.name, s.title, s.long) for s in subjects()] == [("new_one", "A new one", False)]
