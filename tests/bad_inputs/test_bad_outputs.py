"""Bad inputs, table `outputs.csv`: each row's damage, and the row's outcome."""

from __future__ import annotations

import datetime as times
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from bad_cases import Damage, rows_to_do, run_case
from case_table import Case
from damaged_project import Project
from project_helpers import fake_pipeline, grid, results, write_project
from tract_helpers import command

from hazard.issues import Issue, Issues
from screener import file_systems, publish
from screener.cli.progress import progress_bar
from screener.publish import open_destination


def _set(key: str, value: Any) -> Damage:
    return lambda p: p.changes.update({key: value})


def _array_of_tables(p: Project) -> None:
    p.changes["tiers"] = None
    write = p.write

    def written() -> Path:
        file = write()
        file.write_text(file.read_text(encoding="utf-8") + "\n[[tiers]]\nmost = 1\n", encoding="utf-8")
        return file

    p.write = written  # type: ignore[method-assign]


def _odd_layer(p: Project) -> None:
    name = 'x"; DROP TABLE lots; --'
    p.lots.to_file(p.folder / "odd.gpkg", layer=name)
    p.changes |= {"lots.file": "odd.gpkg", "lots.layer": name}


def _odd_columns(p: Project) -> None:
    p.lots["select"], p.lots['a"b; DROP TABLE lots'], p.lots["exposure'--"] = 1, 2, "C"
    p.changes["hazards.exposure"] = {"column": "exposure'--"}


def _many_columns(p: Project) -> None:
    import pandas as pd

    more = pd.DataFrame({f"free_{k}": [k, k] for k in range(2100)}, index=p.lots.index)
    pd.concat([p.lots, more], axis=1).to_crs("EPSG:4326").to_file(p.folder / "wide.geojson", driver="GeoJSON")
    p.changes |= {"lots.file": "wide.geojson", "lots.layer": None}


DAMAGES: dict[str, Damage] = {
    "O1a": _set("tiers.mots", 4),
    "O1b": _set("tiers.most", "four"),
    "O1c": _set("hazard", {"kzt": 1}),
    "O1d": _set("purchase.labour_usd_per_h", None),
    "O1e": _array_of_tables,
    "O1f": _set("tiers.most", 10**30),
    "O1g": _set("tract.name", "x" * 1_000_000),
    "O1h": _set("hardware.file", "/vsicurl/http://example.invalid/hardware.csv"),
    "O1i": _set("hardware.file", "/dev/zero"),
    "O7a": _set("output.folder", "plans"),
    "O7b": _set("output.folder", "."),
    "O7c": _set("output.folder", "hardware.csv"),
    "O13a": _odd_layer,
    "O13b": _odd_columns,
    "O21": _many_columns,
}
"""Row id -> what is done to a good project."""


@pytest.mark.parametrize("case", rows_to_do("O"))
def test_the_row_holds(case: Case, tmp_path: Path) -> None:
    run_case(case, DAMAGES[case.id], tmp_path)


# ---------------------------------------------------------------- what no damaged project shows

ESCAPES = "A\x1b[2J\x9b31m\x7f\u202egnp.exe"


def test_o12_nor_do_they_in_json_and_progress(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same values in JSON, as escapes; a stage's name with a terminal's or the bar's own markup is only shown."""
    file = write_project(tmp_path, grid())
    found = Issues([Issue("code", "warn", f"lots.gpkg {ESCAPES}", "odd")])
    monkeypatch.setitem(sys.modules, "screener.pipeline", fake_pipeline(issues=found))
    code, out, err = command("check", file, "--json")
    assert code == 0, err
    assert not set("\x1b\x9b\x7f\u202e") & set(out)
    assert json.loads(out)["issues"][0]["where"] == f"lots.gpkg {ESCAPES}"
    capsys.readouterr()
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with progress_bar(False) as progress:
        progress(f"scenario [/red][bold] {ESCAPES}")
    assert "\x9b" not in capsys.readouterr().err


def _bytes(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if p.name != "timings.json"}


def test_o14_o15_locale_encoding_and_time_zone_change_no_byte(tmp_path: Path) -> None:
    """The same project run here, and by a process in a C locale, with a terminal of another encoding, half a day away
    and with a formatter that writes decimal commas: every byte of the results is the same."""
    here, there = tmp_path / "here", tmp_path / "there"
    project = Project(here)
    project.changes |= {"tract.name": "Caf\u00e9 Rise (invented)", "tiers.tolerance": {"price": 0.0}}
    file = project.write()
    shutil.copytree(here, there)
    assert command("run", file, "--quiet")[0] == 0
    commas = "import locale; locale.localeconv = lambda: {'decimal_point': ',', 'thousands_sep': '.', 'grouping': []}; "
    start = commas + "from screener.cli.main import main; main()"
    environment = {**os.environ, "LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    environment |= {"PYTHONIOENCODING": "latin-1", "TZ": "Pacific/Kiritimati"}
    words = [sys.executable, "-c", start, "run", str(there / "tract.toml")]
    done = subprocess.run(words, capture_output=True, env=environment, check=False)
    assert done.returncode == 0, done.stderr
    assert "Caf\u00e9 Rise" in done.stdout.decode("utf-8")
    ours, theirs = (_bytes(folder / "results") for folder in (here, there))
    assert list(ours) == list(theirs)
    assert [name for name in ours if ours[name] != theirs[name]] == []


def test_o15_a_clock_that_goes_back_changes_no_byte(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second run in the year 1999, over the results of the first: published, and the same to the byte."""
    monkeypatch.setitem(sys.modules, "screener.pipeline", fake_pipeline())
    file = write_project(tmp_path, grid())
    assert command("run", file, "--quiet")[0] == 0
    first = (tmp_path / "results").resolve()
    now = _bytes(first)

    class Past(times.datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return times.datetime(1999, 1, 1, tzinfo=tz)

    for module in ("screener.publish", "screener.files.manifest"):
        monkeypatch.setattr(f"{module}.datetime", Past)
    monkeypatch.setattr("time.time", lambda: 915_148_800.0)
    assert command("run", file, "--quiet")[0] == 0
    second = (tmp_path / "results").resolve()
    assert second != first
    assert _bytes(second) == now
    assert "1999" in (second / "timings.json").read_text(encoding="utf-8")


def test_o18_a_reader_of_the_old_results_keeps_them(tmp_path: Path) -> None:
    """A program that has the old database open, in the middle of reading it, keeps what it has; the new one appears."""

    def publish(number: int) -> None:
        with (
            open_destination(tmp_path / "results") as destination,
            destination.stage(f"run{number}") as stage,
            closing(sqlite3.connect(stage / "tract.gpkg")) as database,
            database,
        ):
            database.execute("CREATE TABLE lots (n)")
            database.executemany("INSERT INTO lots VALUES (?)", [(number,)] * 100)

    publish(1)
    with closing(sqlite3.connect(tmp_path / "results" / "tract.gpkg")) as reader:
        cursor = reader.execute("SELECT n FROM lots")
        assert cursor.fetchone() == (1,)
        publish(2)
        assert set(cursor.fetchall()) == {(1,)}
        with closing(sqlite3.connect(tmp_path / "results" / "tract.gpkg")) as new:
            assert set(new.execute("SELECT n FROM lots")) == {(2,)}


def test_o19_a_network_file_system_is_told_and_the_database_is_built_elsewhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The machine's list of mounts says that the project lies on a share: check and run say so, the results are whole,
    and the database never stood on the share while it was built."""
    mounts = tmp_path / "mounts"
    shared = tmp_path / "with space"
    escaped = str(shared).replace(" ", "\\040")
    mounts.write_text(
        "/dev/sda1 / ext4 rw 0 0\n"
        f"server:/export {escaped} nfs4 rw,relatime 0 0\n"
        f"/dev/sdb1 {escaped}/local ext4 rw 0 0\n"
    )
    monkeypatch.setattr(file_systems, "MOUNTS", mounts)
    assert file_systems.network_file_system(shared / "a" / "b") == "nfs4"
    assert file_systems.network_file_system(shared / "local" / "b") == ""
    assert file_systems.network_file_system(tmp_path) == ""
    monkeypatch.setitem(sys.modules, "screener.pipeline", fake_pipeline(results()))
    file = write_project(shared, grid())
    code, out, _ = command("check", file)
    assert code == 0
    assert "warn tract.toml [output] folder: a network file system (nfs4); expected a local disk" in out
    built = []
    write = publish.shutil.copyfile
    monkeypatch.setattr(publish.shutil, "copyfile", lambda a, b: (built.append(Path(a)), write(a, b)))
    code, _, err = command("run", file, "--quiet")
    assert code == 0, err
    assert "lies on a network file system (nfs4)" in err
    assert "tract.gpkg" in {file.name for file in built}
    assert not any(file.is_relative_to(shared) for file in built)
    with closing(sqlite3.connect(shared / "results" / "tract.gpkg")) as database:
        assert database.execute("SELECT count(*) FROM lots").fetchone() == (6,)


DAMAGED_RESULTS = {
    "kits.csv": b"kit,item\n",
    "prices.csv": None,
    "lots.csv": b"\xff\xfe\x00",
    "run.json": b"[" * 100_000,
}


@pytest.mark.parametrize("name", DAMAGED_RESULTS)
def test_results_that_were_changed_are_not_read(tmp_path: Path, name: str) -> None:
    """O6, and every reader of stored tables: a table that is not as its run wrote it stops `reprice`, `shortage`,
    `takeoff` and `compare`, with its name."""
    from screener.files.manifest import write_manifest

    folder = tmp_path / "results"
    folder.mkdir()
    for table in ("kits", "lot_kits", "lots", "prices"):
        (folder / f"{table}.csv").write_text("lot_id,phase,start\n", encoding="utf-8")
    write_manifest(folder, {"settings": {"tract": {}, "purchase": {"labour_usd_per_h": 58.0}}}, {})
    content = DAMAGED_RESULTS[name]
    (folder / name).write_bytes((folder / name).read_bytes() + b"x" if content is None else content)
    (tmp_path / "list.csv").write_text("item,quantity\nbolt,3\n", encoding="utf-8")
    for words in (
        ("reprice", folder),
        ("shortage", folder, "--order", tmp_path / "list.csv"),
        ("takeoff", folder, "--counts", tmp_path / "list.csv"),
        ("compare", folder, folder),
    ):
        code, out, err = command(*words)
        assert code == 2, (words, out, err)
        assert name in err or "results" in err
        assert "changed since its run wrote it" in err or "run.json" in err
