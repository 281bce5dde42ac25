"""Bad inputs, table `tables.csv`: each row's damage, and the row's outcome."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from bad_cases import Damage, rows_to_do, run_case
from case_table import Case
from damaged_project import Project
from tract_helpers import SAMPLE, command

ROW = "\ntruss tie light,truss_tie,each,200,0.82,10:-6%; 60:-11%,1.6,0.05,0,14,420,360,"
ROW_END = "listed,yes,invented for the sample,2026-01,galvanised"
HARDWARE = (SAMPLE / "hardware.csv").read_text(encoding="utf-8")
PLAN = (SAMPLE / "plans" / "thimble.toml").read_text(encoding="utf-8")


def _hardware(old: str, new: str, count: int = 1) -> Damage:
    return lambda p: p.edit("hardware.csv", old, new, count)


def _tie(old: str, new: str) -> Damage:
    """A change in the row of the light truss tie, row 3."""
    assert old in ROW, old
    return _hardware(ROW, ROW.replace(old, new, 1))


def _tie_end(new: str) -> Damage:
    """The end of the same row changed, from its basis on."""

    def damage(p: Project) -> None:
        lines = HARDWARE.split("\n")
        assert ROW_END in lines[2]
        lines[2] = lines[2].replace(ROW_END, new)
        (p.folder / "hardware.csv").write_text("\n".join(lines), encoding="utf-8")

    return damage


def _line(number: int, change: Callable[[str], str]) -> Damage:
    def damage(p: Project) -> None:
        lines = HARDWARE.split("\n")
        lines[number - 1] = change(lines[number - 1])
        (p.folder / "hardware.csv").write_text("\n".join(lines), encoding="utf-8")

    return damage


def _every_line(change: Callable[[int, str], str]) -> Damage:
    def damage(p: Project) -> None:
        lines = [change(k, line) for k, line in enumerate(HARDWARE.rstrip("\n").split("\n"))]
        (p.folder / "hardware.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")

    return damage


def _plan(old: str, new: str) -> Damage:
    return lambda p: p.edit("plans/thimble.toml", old, new, 1)


def _upper(old: str, new: str) -> Damage:
    """The two-storey plan beside the other, damaged."""

    def damage(p: Project) -> None:
        text = (SAMPLE / "plans" / "lantern.toml").read_text(encoding="utf-8")
        assert old in text
        (p.folder / "plans" / "lantern.toml").write_text(text.replace(old, new, 1), encoding="utf-8")

    return damage


def _bytes(name: str, content: bytes) -> Damage:
    return lambda p: p.folder.joinpath(name).write_bytes(content)


def _set(key: str, value: Any) -> Damage:
    return lambda p: p.changes.update({key: value})


def _lot(column: str, *values: Any) -> Damage:
    return lambda p: p.lots.__setitem__(column, list(values))


def _kept(content: bytes) -> Damage:
    def damage(p: Project) -> None:
        (p.folder / "kept.csv").write_bytes(content)
        p.changes["tiers.kept"] = "kept.csv"
        p.lots["package"] = ["package 1", None]

    return damage


def _classes(content: bytes) -> Damage:
    def damage(p: Project) -> None:
        (p.folder / "classes.csv").write_bytes(content)
        p.changes["hazards.exposure"] = None
        p.changes["hazards.land_cover"] = {"file": str(SAMPLE / "land_cover.tif"), "classes": "classes.csv"}

    return damage


def _workbook() -> bytes:
    book = openpyxl.Workbook()
    book.active.append(["item", "family"])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _without_upper_support(p: Project) -> None:
    text = (SAMPLE / "plans" / "lantern.toml").read_text(encoding="utf-8")
    start = text.index('name = "front 2"')
    end = text.index('line = "F"', start)
    moved = text[start:end].replace("from = [0, 0]", "from = [0, 20]").replace("to = [36, 0]", "to = [36, 20]")
    assert moved != text[start:end]
    (p.folder / "plans" / "lantern.toml").write_text(text[:start] + moved + text[end:], encoding="utf-8")


def _yaml(p: Project) -> None:
    (p.folder / "plans" / "thimble.yaml").write_text("schema: 1\nplan: {name: thimble}\n", encoding="utf-8")


def _twin(p: Project) -> None:
    (p.folder / "plans" / "thimble_b.toml").write_text(PLAN, encoding="utf-8")


def _dominated(p: Project) -> None:
    lines = HARDWARE.split("\n")
    lines.insert(3, lines[2].replace("truss tie light", "truss tie dear", 1).replace("0.82", "0.95", 1))
    (p.folder / "hardware.csv").write_text("\n".join(lines), encoding="utf-8")


def _accessory_of_an_accessory(p: Project) -> None:
    """The plate washer brings a plate washer along: a chain without end."""
    lines = HARDWARE.split("\n")
    at = next(k for k, line in enumerate(lines) if line.startswith("plate washer,"))
    lines[at] = _with_cell(lines[0], lines[at], "accessory", "plate washer")
    (p.folder / "hardware.csv").write_text("\n".join(lines), encoding="utf-8")


KEPT = "tier,schedule,item,arrangement\n"
PANEL = ",7/16,"

DAMAGES: dict[str, Damage] = {
    "T1a": _lot("plan", "thimbel", "thimble"),
    "T1b": _lot("plan", "th\u0456mble", "thimble"),
    "T2": lambda p: (p.folder / "plans" / "kettle.toml").write_bytes((SAMPLE / "plans" / "kettle.toml").read_bytes()),
    "T3a": _plan('wall = "left 1"', 'wall = "lefft 1"'),
    "T3b": _plan('name = "front 1"\nstorey = "1"', 'name = "front 1"\nstorey = "3"'),
    "T3c": _hardware(",plate washer,", ",plate wosher,"),
    "T3d": _plan('styles = ["A"', 'styles = ["Q"'),
    "T4a": _upper('name = "front 2"\nstorey = "2"', 'name = "front 2"\nstands_on = "front 2"\nstorey = "2"'),
    "T4b": _accessory_of_an_accessory,
    "T5a": _without_upper_support,
    "T5b": _plan("from_ft = 21, width_ft = 16", "from_ft = 31, width_ft = 16"),
    "T5c": _set("purchase.plan_mix", {"thimble": 0.7}),
    "T6a": _plan("wall_height_ft = 9.1", "wall_height_ft = -9.1"),
    "T6b": _plan("stud_spacing_in = 16", "stud_spacing_in = 0"),
    "T6c": _plan("to = [40, 0]", "to = [0, 0]"),
    "T6d": _plan("to = [40, 0]", "to = [40000000, 0]"),
    "T7a": _plan("pitch_in_12 = 5\n", ""),
    "T7b": _tie(",each,", ",,"),
    "T7c": _kept(f"{KEPT}package 1,,truss tie light,1\n".encode()),
    "T7d": _classes(b"code,roughness\n,B\n"),
    "T8a": _plan("pitch_in_12 = 5", "pitch_in_12 = inf"),
    "T8b": _tie(",420,", ",inf,"),
    "T8c": _tie(",420,", ",1e999,"),
    "T8d": _tie(",420,", ",1.#INF,"),
    "T8e": _set("purchase.labour_usd_per_h", float("nan")),
    "T9a": _plan("wall_height_ft = 9.1", 'wall_height_ft = "9\'-1"'),
    "T9b": _tie(",420,", ",1250 lb,"),
    "T9c": _hardware(",0.625,", ',"5/8""",'),
    "T9d": _plan("wall_height_ft = 9.1", 'wall_height_ft = "9.1"'),
    "T10a": _hardware(",1020,875,", ',"1,020",875,'),
    "T10b": _tie(",1.6,", ',"1,6",'),
    "T11": _tie(",0.05,", ",5%,"),
    "T12a": _hardware(PANEL, ",8-Mar,"),
    "T12b": _hardware(PANEL, ",45359,"),
    "T12c": _tie("truss tie light", "Mar-08"),
    "T12d": _tie("truss tie light", "2024-03-08"),
    "T12e": _tie("truss tie light", "deck 10"),
    "T13": _tie("truss tie light", "1E5"),
    "T14a": _bytes("hardware.csv", HARDWARE.encode("utf-8-sig")),
    "T14b": _bytes("hardware.csv", HARDWARE.encode("utf-16")),
    "T14c": _bytes("hardware.csv", HARDWARE.replace("invented for the sample", "invent\xe9", 1).encode("cp1252")),
    "T14d": _bytes("plans/thimble.toml", PLAN.encode("utf-16")),
    "T14e": _bytes("hardware.csv", HARDWARE.encode("utf-16-le")),
    "T14f": _classes("code,roughness,name\n11,D,\xe9tang\n".encode("cp1252")),
    "T14g": _kept(f"{KEPT}package 1,truss tie,truss tie light,1\n".encode("utf-16")),
    "T15a": _bytes("hardware.csv", HARDWARE.replace(";", " ").replace(",", ";").encode()),
    "T15b": _bytes("hardware.csv", HARDWARE.replace(",", "\t").encode()),
    "T15c": _classes(b"code;roughness\n11;D\n"),
    "T16a": _line(1, lambda line: line.replace("uplift_lb_spf_hf", "uplift_lb", 1)),
    "T16b": _every_line(lambda k, line: line + (",," if k == 0 else ",x,y")),
    "T16c": _every_line(lambda k, line: line + ",,"),
    "T16d": _plan('name = "thimble"\n', 'name = "thimble"\nname = "thimble"\n'),
    "T17a": _line(3, lambda line: line[: len(line) // 2]),
    "T17b": _line(3, lambda line: line + ",,,"),
    "T17c": _kept(f"{KEPT}package 1,truss tie,truss tie light\n".encode()),
    "T18a": _tie("truss tie light", '"truss\ntie light"'),
    "T18b": _tie("truss tie light", '"truss tie light'),
    "T18c": _plan('name = "thimble"', 'name = "thimble'),
    "T19a": _every_line(lambda k, line: f"{line}\n{line}" if k == 2 else line),
    "T19b": _hardware("\ntruss tie medium,", "\ntruss tie light,"),
    "T19c": _twin,
    "T19d": _kept(f"{KEPT}package 1,truss tie,truss tie light,1\npackage 1,truss tie,truss tie heavy,1\n".encode()),
    "T20a": _tie(",420,", ",0,"),
    "T20b": _tie(",420,", ",-420,"),
    "T20c": _tie(",420,", ",4200000,"),
    "T21a": _tie_end("ultimate,yes,invented for the sample,2026-01,galvanised"),
    "T21b": _line(2, lambda line: line.replace("computed,,", "computed,yes,", 1)),
    "T21c": _tie_end("listed,,invented for the sample,2026-01,galvanised"),
    "T21d": _line(3, lambda line: line.replace(",565,", ",1260,", 1)),
    "T22a": _tie(",0.82,", ",,"),
    "T22b": _tie(",0.82,", ",0,"),
    "T22c": _tie(",0.82,", ",-0.82,"),
    "T22d": _tie(",0.82,", ",$0.82,"),
    "T22e": _tie(",0.82,", ",1e7,"),
    "T25": _dominated,
    "T26a": _tie("10:-6%; 60:-11%", "10:-11%; 60:-6%"),
    "T26b": _tie("10:-6%; 60:-11%", "10 or more:-11%"),
    "T28a": _tie("truss tie light", "=HYPERLINK(1)"),
    "T28c": _tie(",420,", ",=1+1,"),
    "T29b": _bytes("hardware.csv", _workbook()),
    "T29c": _classes(_workbook()),
    "T31a": _tie("truss tie light", "truss t\u0456e\u200b light"),
    "T31b": _plan('name = "thimble"', 'name = "thim\u200bble"'),
    "T31c": _lot("plan", "thim\u200bble", "thimble"),
    "T31d": _set("tract.name", "Bell\u200b Rise (invented)"),
    "T32a": _set("design.loads", "ASCE 7-10"),
    "T32b": _plan('species = "DF-L"', 'species = "Oak"'),
    "T32c": _plan("schema = 1", "schema = 2"),
    "T33a": _yaml,
    "T33b": _bytes("plans/thimble.toml", b"schema: 1\nplan:\n  name: thimble\n"),
    "T33d": _plan("glazing_protected = false", "glazing_protected = NO"),
    "T33e": _bytes("plans/thimble.toml", b"schema = 1\nx = " + b"[" * 100_000 + b"]" * 100_000),
}
"""Row id -> what is done to a good project."""


@pytest.mark.parametrize("case", rows_to_do("T"))
def test_the_row_holds(case: Case, tmp_path: Path) -> None:
    run_case(case, DAMAGES[case.id], tmp_path)


def _run(project: Project, *words: str) -> pd.DataFrame:
    code, out, err = command("run", project.write(), "--quiet", *words)
    assert code in (0, 3), (out, err)
    return pd.read_csv(project.folder / "results" / "lots.csv", dtype=str, keep_default_na=False).set_index("lot_id")


def test_t23_what_nothing_holds_is_told_with_demand_and_best_ratio(tmp_path: Path) -> None:
    """At 180 mph nothing of the list holds: no item is taken, the exception tells demand and best ratio."""
    project = Project(tmp_path / "p")
    project.changes["hazards.wind_speed_mph"] = {"value": 180.0}
    lots = _run(project)
    assert (lots["status"] == "no_hardware").all()
    assert (lots["tier"] == "").all()
    told = pd.read_csv(project.folder / "results" / "exceptions.csv", dtype=str, keep_default_na=False)
    rows = told[told["reason"] == "NO_HARDWARE"]
    assert set(rows["lot_id"]) == set(lots.index)
    assert rows["detail"].str.contains(r"uplift_lb \d+.*; best .+ at ratio 1\.\d\d", regex=True).all(), list(
        rows["detail"]
    )


def test_t24_an_item_that_needs_what_is_not_there_is_left_out_with_the_reason(tmp_path: Path) -> None:
    """A tie that asks for a stud under every truss, in a plan that does not have one: never chosen, and `explain`
    names what is missing."""
    project = Project(tmp_path / "p")
    lines = HARDWARE.split("\n")
    place = lines[0].split(",").index("needs_rafter_over_stud")
    cells = lines[2].split(",")
    cells[place] = "yes"
    lines[2] = ",".join(cells)
    (project.folder / "hardware.csv").write_text("\n".join(lines), encoding="utf-8")
    _run(project)
    demands = pd.read_csv(project.folder / "results" / "demands.csv", dtype=str, keep_default_na=False)
    assert "truss tie light" not in set(demands["item"])
    code, out, err = command("explain", project.folder / "tract.toml", "--lot", "A-02", "--point", "truss tie")
    assert code == 0, err
    told = [line for line in out.splitlines() if "truss tie light" in line]
    assert any("stud" in line for line in told), out


def test_t27_without_a_word_directions_are_added(tmp_path: Path) -> None:
    """A list with a blank `interaction` gives the same packages as one that says `sum`, to the byte."""
    blank, said = Project(tmp_path / "blank"), Project(tmp_path / "said")
    lines = HARDWARE.rstrip("\n").split("\n")
    assert ",interaction," in lines[0]
    spelled = [lines[0], *(_with_cell(lines[0], line, "interaction", "sum") for line in lines[1:])]
    (said.folder / "hardware.csv").write_text("\n".join(spelled) + "\n", encoding="utf-8")
    for project in (blank, said):
        _run(project)
    ours, theirs = ((p.folder / "results" / "packages.csv").read_bytes() for p in (blank, said))
    assert ours == theirs


def _with_cell(header: str, line: str, column: str, cell: str) -> str:
    import csv

    cells = next(csv.reader([line]))
    at = header.split(",").index(column)
    cells[at] = cells[at] or cell
    stream = io.StringIO()
    csv.writer(stream, lineterminator="").writerow(cells)
    return stream.getvalue()


@pytest.mark.parametrize("suffix", [".yaml", ".yml", ".json"])
def test_t33_no_other_form_than_toml_is_read(tmp_path: Path, suffix: str) -> None:
    file = tmp_path / f"tract{suffix}"
    file.write_text("tract: {name: x}\n", encoding="utf-8")
    for name in ("check", "run"):
        code, out, err = command(name, file)
        assert code == 2
        assert f"tract{suffix}: a {suffix[1:].upper()} file; expected a project file (TOML)" in out + err
