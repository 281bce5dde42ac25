"""The command: exit codes, what goes to which stream, and that nothing but results is ever left behind."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest
from project_helpers import fake_pipeline, grid, results, write_project

from hazard.issues import InputError, Issue, Issues
from screener.cli import printing
from screener.cli.main import COMMANDS, run
from screener.publish import open_destination, runs_folder

CAUTION = "planning and pricing only"


@pytest.fixture
def pipeline(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Put a stand-in in the pipeline's place: `pipeline(answer, issues)`."""

    def put(answer: Any = None, issues: Issues | None = None, findings: Any = None) -> None:
        monkeypatch.setitem(sys.modules, "screener.pipeline", fake_pipeline(answer, issues, findings))

    put()
    return put


@pytest.fixture
def tract(tmp_path: Path) -> Path:
    return write_project(tmp_path / "project", grid())


def exceptional() -> Any:
    """Results with one skipped lot."""
    found = results()
    found.lots.loc[0, ["status", "tier"]] = ["skipped", None]
    found.exceptions = pd.DataFrame(
        {"lot_id": ["A-01"], "reason": ["no_geometry"], "detail": ["no geometry"], "next_step": ["draw it"]}
    )
    return found


# ---------------------------------------------------------------- help


def test_help_is_quick_and_needs_none_of_the_heavy_libraries() -> None:
    code = (
        "import sys; from screener.cli.main import run; run(['--help']); run(['run', '--help']); "
        "heavy = {'geopandas', 'pandas', 'rasterio', 'numpy', 'pydantic', 'shapely'} & set(sys.modules); "
        "sys.exit(f'imported {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_examples(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([name, "--help"]) == 0
    assert f"screener {name}" in capsys.readouterr().out.split("Examples:")[1]


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--version"]) == 0
    assert capsys.readouterr().out.startswith("screener 0.")


# ---------------------------------------------------------------- run


def test_a_run_writes_all_and_says_the_caution_first(
    pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["run", str(tract)]) == 0
    said = capsys.readouterr()
    assert CAUTION in said.out.splitlines()[0]
    assert "6 lots: 6 screened" in said.out
    assert "hardware $600.60, labour 19.5 h, together $1,731.60" in said.out
    assert said.err == ""  # progress only on a terminal
    output = tract.parent / "results"
    assert output.is_symlink()
    found = {path.name for path in output.iterdir()}
    assert {"tract.gpkg", "lots.csv", "demands.csv", "bill_of_materials.csv", "exceptions.csv", "issues.csv"} <= found
    assert {"run.json", "timings.json"} <= found
    manifest = json.loads((output / "run.json").read_text())
    assert CAUTION in manifest["caution"]
    assert str(tract.parent) not in (output / "run.json").read_text()


@pytest.mark.parametrize(
    ("status", "options", "code"),
    [
        ("screened", [], 0),
        ("refer", [], 3),
        ("skipped", [], 3),
        ("no_hardware", [], 3),
        ("skipped", ["--allow-exceptions"], 0),
    ],
)
def test_exit_codes_of_finished_runs(pipeline: Any, tract: Path, status: str, options: list[str], code: int) -> None:
    pipeline(results(status=status))
    assert run(["run", str(tract), *options]) == code
    assert json.loads((tract.parent / "results" / "run.json").read_text())["exit_code"] == (
        0 if code == 0 and not options else 3
    )


def test_the_summary_for_machines_stands_alone_on_standard_output(
    pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pipeline(exceptional())
    assert run(["run", str(tract), "--json", "--allow-exceptions"]) == 0
    summary = json.loads(capsys.readouterr().out)
    assert summary["lots"] == 6
    assert summary["by_status"] == {"screened": 5, "skipped": 1}
    assert summary["tiers"] == {"T1": 5}
    assert summary["exceptions_by_reason"] == {"no_geometry": 1}
    assert summary["exit_code"] == 3
    assert CAUTION in summary["caution"]


def test_quiet_says_nothing(pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["run", str(tract), "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")


def test_workers_do_not_change_the_bytes(pipeline: Any, tract: Path) -> None:
    assert run(["run", str(tract), "--workers", "1"]) == 0
    first = {p.name: p.read_bytes() for p in (tract.parent / "results").iterdir() if p.name != "timings.json"}
    assert run(["run", str(tract), "--workers", "7"]) == 0
    second = {p.name: p.read_bytes() for p in (tract.parent / "results").iterdir() if p.name != "timings.json"}
    assert first == second


def test_an_input_that_can_not_be_used_writes_nothing(
    pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pipeline(InputError([Issue("x", "stop", "lots.gpkg", "0 features", "some"), Issue("y", "stop", "a", "b", "c")]))
    before = sorted(p.name for p in tract.parent.iterdir())
    assert run(["run", str(tract)]) == 2
    said = capsys.readouterr()
    assert "stop lots.gpkg: 0 features; expected some" in said.err
    assert "2 problems; nothing was written" in said.err
    assert said.out == ""
    assert sorted(p.name for p in tract.parent.iterdir()) == before


def test_a_later_failure_leaves_the_earlier_results(pipeline: Any, tract: Path) -> None:
    assert run(["run", str(tract)]) == 0
    output = tract.parent / "results"
    before = {p.name: p.read_bytes() for p in output.iterdir()}
    for answer, code in ((InputError([]), 2), (KeyboardInterrupt(), 130), (ZeroDivisionError("oh"), 1)):
        pipeline(answer)
        assert run(["run", str(tract)]) == code
        assert {p.name: p.read_bytes() for p in output.iterdir()} == before


def test_a_fault_of_ours_says_so(pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pipeline(ZeroDivisionError("oh"))
    assert run(["run", str(tract), "--json"]) == 1
    said = capsys.readouterr()
    assert json.loads(said.out)["exit_code"] == 1
    assert "a fault of ours: ZeroDivisionError: oh; nothing was written" in said.err


def test_an_infinite_capacity_is_our_fault_and_is_not_published(pipeline: Any, tract: Path) -> None:
    found = results()
    found.demands.loc[0, "capacity"] = float("inf")
    pipeline(found)
    assert run(["run", str(tract)]) == 1
    assert not (tract.parent / "results").exists()


def test_strict_makes_warnings_stops(pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = results()
    found.issues = Issues([Issue("w", "warn", "lots.gpkg A-01", "odd"), Issue("n", "note", "a", "b")]).frame()
    pipeline(found)
    assert run(["run", str(tract)]) == 0
    assert run(["run", str(tract), "--strict"]) == 2
    assert "warn lots.gpkg A-01: odd" in capsys.readouterr().err


# O1
def test_o1_a_faulty_project_file_stops_the_run(pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tract.write_text(tract.read_text().replace("[output]", "[outputs]"))
    assert run(["run", str(tract), "--json"]) == 2
    said = capsys.readouterr()
    answer = json.loads(said.out)
    assert answer["exit_code"] == 2
    assert any("expected [output] (the nearest known)" in line for line in said.err.splitlines())
    assert {"config_unknown_key", "config_missing_key"} == {issue["code"] for issue in answer["issues"]}


# O2 and foreign folders
def test_o2_a_foreign_folder_is_refused_before_computing(
    pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pipeline(AssertionError("must not be computed"))
    (tract.parent / "results").mkdir()
    (tract.parent / "results" / "mine.txt").write_text("precious")
    assert run(["run", str(tract)]) == 4
    assert "screener did not make" in capsys.readouterr().err
    pipeline()
    assert run(["run", str(tract), "--overwrite"]) == 0
    assert (tract.parent / "results" / "lots.csv").exists()


# O5
def test_o5_two_runs_at_once(pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pipeline(AssertionError("must not be computed"))
    with open_destination(tract.parent / "results"):
        assert run(["run", str(tract), "--json"]) == 4
    said = capsys.readouterr()
    assert json.loads(said.out)["exit_code"] == 4
    assert f"process {os.getpid()} on" in said.err


# O4, O6: resume
def test_resume_does_nothing_where_the_same_run_is_complete(
    pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pipeline(exceptional())
    assert run(["run", str(tract), "--resume"]) == 3
    assert "starting from the beginning" in capsys.readouterr().err
    pipeline(AssertionError("must not be computed"))
    assert run(["run", str(tract), "--resume"]) == 3
    assert "nothing to do" in capsys.readouterr().out
    assert len(list(runs_folder(tract.parent / "results").glob("0*"))) == 1


@pytest.mark.parametrize("what", ["input", "setting", "result"])
def test_o6_resume_computes_again_where_anything_changed(pipeline: Any, tract: Path, what: str) -> None:
    assert run(["run", str(tract), "--quiet"]) == 0
    if what == "input":
        (tract.parent / "hardware.csv").write_text("item,family\na,b\n")
    elif what == "setting":
        tract.write_text(tract.read_text().replace("115", "120"))
    else:
        (tract.parent / "results" / "lots.csv").write_text("lot_id\n")
    pipeline(results(4))
    assert run(["run", str(tract), "--resume", "--quiet"]) == 0
    assert len(pd.read_csv(tract.parent / "results" / "lots.csv")) == 4


# ---------------------------------------------------------------- check


@pytest.mark.parametrize(
    ("severity", "options", "code"),
    [("note", [], 0), ("fix", [], 0), ("warn", [], 0), ("warn", ["--strict"], 2), ("skip", [], 3), ("stop", [], 2)],
)
def test_check_exits_as_a_run_would(
    pipeline: Any, tract: Path, severity: str, options: list[str], code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    issue = Issue("code", severity, "lots.gpkg A-01", "odd", "even")
    pipeline(issues=Issues([issue, issue]))
    before = sorted(p.name for p in tract.parent.iterdir())
    assert run(["check", str(tract), *options]) == code
    said = capsys.readouterr().out
    assert said.count("lots.gpkg A-01: odd; expected even") == 1
    assert "a run would" in said.splitlines()[-1]
    assert sorted(p.name for p in tract.parent.iterdir()) == before


def test_check_counts_lots_by_scope_code(pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    items = [("PERMIT", "refer", 1), ("PERMIT", "refer", 2), ("HEIGHT60", "stop", 3), ("AGE", "note", 0)]
    found = [SimpleNamespace(code=c, severity=s, lot=n, detail=f"{c} of lot {n}") for c, s, n in items]
    pipeline(findings=SimpleNamespace(items=found))
    assert run(["check", str(tract)]) == 3
    assert capsys.readouterr().out.splitlines()[:3] == [
        "scope stop HEIGHT60: 1 lot, such as HEIGHT60 of lot 3",
        "scope refer PERMIT: 2 lots, such as PERMIT of lot 1",
        "scope note AGE: 1 lot, such as AGE of lot 0",
    ]
    pipeline(findings=SimpleNamespace(items=found[:2]))
    assert run(["check", str(tract), "--json"]) == 0


def test_check_says_faults_of_the_project_file_and_of_the_files_in_one_go(
    pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pipeline(issues=Issues([Issue("code", "skip", "lots.gpkg A-01", "odd")]))
    tract.write_text(tract.read_text().replace("labour_usd_per_h = 58", "labour_usd_per_h = 58\nwast = 1"))
    assert run(["check", str(tract), "--json"]) == 2
    answer = json.loads(capsys.readouterr().out)
    assert {issue["code"] for issue in answer["issues"]} == {"config_unknown_key", "code"}


# ---------------------------------------------------------------- explain


def test_explain_prints_the_derivation(
    tract: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from types import ModuleType

    module = ModuleType("screener.explain")
    module.explain = lambda tract, lot_id, point: f"{tract.name} {lot_id} {point}"  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "screener.explain", module)
    assert run(["explain", str(tract), "--lot", "A-01"]) == 0
    assert capsys.readouterr().out == "Test Rise (invented) A-01 None\n"
    assert run(["explain", str(tract)]) == 2


# ---------------------------------------------------------------- compare


def test_compare_shows_lots_bill_money_and_causes(
    pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["run", str(tract), "--quiet"]) == 0
    before = (tract.parent / "results").resolve()
    changed = exceptional()
    changed.lots.loc[1, "tier"] = "T2"
    changed.lots.loc[1, "total_cost"] = 300.00
    changed.lots.loc[5, "lot_id"] = "A-99"
    changed.bill_of_materials.loc[0, ["quantity_with_waste", "cost"]] = [400.0, 1743.0]
    pipeline(changed)
    tract.write_text(tract.read_text().replace("{ value = 115 }", "{ value = 120 }"))
    assert run(["run", str(tract), "--quiet"]) == 3
    capsys.readouterr()
    assert run(["compare", str(before), str(tract.parent / "results"), "--json"]) == 0
    changes = json.loads(capsys.readouterr().out)
    assert changes["causes"] == ["setting hazards.wind_speed_mph.value: 115.0 -> 120.0"]
    assert (changes["lots_added"], changes["lots_removed"]) == (["A-99"], ["A-06"])
    assert changes["total_cost"] == {"before": "1731.60", "after": "1743.00", "change": "+11.40"}
    by_lot = {lot["lot_id"]: lot["changes"] for lot in changes["lots_changed"]}
    assert by_lot["A-02"] == {"tier": ["T1", "T2"], "total_cost": ["288.60", "300.00"]}
    assert changes["bill_changed"] == [
        {"item": "light rafter tie", "quantity_with_waste": ["342.00", "400.00"], "cost": ["1731.60", "1743.00"]}
    ]
    assert changes["exceptions_new"] == [{"lot_id": "A-01", "reason": "no_geometry"}]
    assert run(["compare", str(before), str(tract.parent / "results")]) == 0
    said = capsys.readouterr().out
    assert "lot A-02: tier T1 -> T2; total_cost 288.60 -> 300.00" in said
    assert said.splitlines()[0] == "total cost: $1,731.60 -> $1,743.00 (+$11.40)"
    assert "package T1 -> T2: 1 lot\n" in said
    assert "bill light rafter tie: pieces 342.00 -> 400.00, $1,731.60 -> $1,743.00" in said


def test_compare_of_equal_runs_shows_nothing(pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["run", str(tract), "--quiet"]) == 0
    folder = str(tract.parent / "results")
    assert run(["compare", folder, folder]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "total cost: $1,731.60 -> $1,731.60 (+$0.00)",
        "lots: 0 added, 0 removed, 0 changed",
    ]


def test_compare_refuses_what_are_no_results(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", str(tmp_path), str(tmp_path / "none")]) == 2
    assert capsys.readouterr().err.count("no results of screener") == 2


# ---------------------------------------------------------------- demo and schema


def test_demo_may_be_called_again_but_not_over_other_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "demo"
    assert run(["demo", str(folder)]) == 0
    assert "invented" in capsys.readouterr().out
    assert (folder / "tract.toml").is_file()
    assert not list(folder.rglob("*.py"))
    assert run(["demo", str(folder), "--quiet"]) == 0
    (folder / "tract.toml").write_text("mine")
    assert run(["demo", str(folder)]) == 4
    assert "tract.toml changed since" in capsys.readouterr().err
    assert run(["demo", str(folder), "--overwrite"]) == 0
    other = tmp_path / "other"
    other.mkdir()
    (other / "mine.txt").write_text("precious")
    assert run(["demo", str(other), "--overwrite"]) == 4
    assert [p.name for p in other.iterdir()] == ["mine.txt"]


@pytest.mark.parametrize("what", ["lots", "hardware", "tract", "plan"])
def test_schema_names_every_key(what: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema", what, "--json"]) == 0
    found = {row["name"] for row in json.loads(capsys.readouterr().out)["rows"]}
    expected = {
        "lots": {"lot_id", "front_bearing_deg", "side_setback_ft", "kzt"},
        "hardware": {"item", "purchase_unit_qty", "load_duration_included", "corrosion", "washer", "angle_deg"},
        "tract": {"tract.name", "hazards.wind_speed_mph.file", "ground.phases.order", "lots.setbacks.front_ft"},
        "plan": {"plan.name", "wall[].openings[].width_ft", "roof[].pitch_in_12", "weights.roof.least_psf"},
    }
    assert expected[what] <= found
    assert run(["schema", what]) == 0
    assert capsys.readouterr().out


def test_schema_of_the_hardware_list_is_what_its_reader_knows(capsys: pytest.CaptureFixture[str]) -> None:
    from screener.families import families
    from screener.hardware_columns import BY_NAME

    assert run(["schema", "hardware", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [row["name"] for row in told["rows"]] == list(BY_NAME)
    assert list(told["families"]) == list(families())
    assert next(row for row in told["rows"] if row["name"] == "washer")["type"] == '"plate" or "cut"'


def test_schema_of_the_plan_gives_every_key_a_meaning(capsys: pytest.CaptureFixture[str]) -> None:
    from screener.plan_keys import PLAN_KEYS

    assert run(["schema", "plan", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    assert [row["name"] for row in rows if not row["meaning"]] == []
    assert set(PLAN_KEYS) <= {row["name"].replace("[]", "") for row in rows}  # no meaning of a key that is gone
    known = {row["name"]: row for row in rows}
    assert known["plan.stud_spacing_in"]["unit"] == "in"
    assert known["plan.stud_spacing_in"]["default"] == "16.0"


def test_schema_can_be_cut_to_what_must_be_given(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema", "lots", "--required"]) == 0
    said = capsys.readouterr().out
    assert "lot_id: text; required" in said
    assert "default:" not in said


def test_a_command_misspelt_is_told_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["expalin", "tract.toml"]) == 2
    assert "did you mean 'explain'?" in capsys.readouterr().err


def test_exceptions_are_counted_by_lot_with_their_meaning(
    pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = exceptional()
    rows = [("A-01", "PERMIT", "x", "y"), ("A-01", "PERMIT", "z", "y"), ("A-02", "KZT", "x", "y")]
    found.exceptions = pd.DataFrame(rows, columns=["lot_id", "reason", "detail", "next_step"])
    pipeline(found)
    assert run(["run", str(tract)]) == 3
    said = capsys.readouterr().out
    assert "exceptions: 2 lots need a person" in said
    assert "       1  PERMIT: the lot is outside the envelope of the plan's sealed master set" in said
    assert "report.html first" in said


def test_a_call_that_is_wrong_exits_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["fly"], ["run"], ["run", "x", "--workers", "0"], ["schema", "roof"], ["run", "--strange", "x"]):
        assert run(words) == 2, words
    assert capsys.readouterr().out == ""


# ---------------------------------------------------------------- hostile texts


# O12
def test_o12_control_characters_never_reach_a_terminal(
    pipeline: Any, tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    evil = "A\x1b[2J\x1b]0;owned\x07\u202egnp.exe"
    pipeline(issues=Issues([Issue("code", "warn", f"lots.gpkg {evil}", "odd")]))
    assert run(["check", str(tract)]) == 0
    said = capsys.readouterr().out
    assert not set("\x1b\x07\u202e") & set(said)
    assert "owned" in said
    assert printing.plain("tab\tand\nline") == "tab\tand\nline"


# O14
@pytest.mark.parametrize("locale", ["C", "de_DE.UTF-8"])
def test_o14_output_is_utf8_with_points_whatever_the_locale(tmp_path: Path, locale: str) -> None:
    path = write_project(tmp_path, grid())
    path.write_text(path.read_text().replace("[tract]", '[tract]\n"caf\u00e9" = 1.5'), encoding="utf-8")
    environment = {**os.environ, "LC_ALL": locale, "PYTHONIOENCODING": "", "PYTHONUTF8": "0"}
    words = [sys.executable, "-m", "screener.cli.main", "run", str(path)]
    done = subprocess.run(words, capture_output=True, env=environment, check=False)
    assert done.returncode == 2
    assert "unknown key caf\u00e9; expected one of name, ground_state" in done.stderr.decode("utf-8")
