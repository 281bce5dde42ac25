"""A real project of two lots, quick to run, and the check that its results are one whole set."""

from __future__ import annotations

import csv
import hashlib
import json
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

HELPERS = str(Path(__file__).parents[1] / "screener")
if HELPERS not in sys.path:
    sys.path.insert(0, HELPERS)

from damaged_project import Project  # noqa: E402

NO_BANDS = {"wind": 0.0, "kzt": 0.0, "rough_share": 0.0, "price": 0.0}
CLOCKED = "timings.json"  # holds a clock: the only file that differs between runs of the same inputs


def small_project(folder: Path, labour_usd_per_h: float = 58.0) -> Path:
    """The project file of two lots and one plan; another labour rate gives other results."""
    made = Project(folder)
    made.changes |= {"tiers.tolerance": NO_BANDS, "purchase.labour_usd_per_h": labour_usd_per_h}
    return made.write()


def set_labour(tract: Path, usd_per_h: float) -> None:
    """Another labour rate in a project file."""
    lines = tract.read_text(encoding="utf-8").splitlines()
    tract.write_text(
        "\n".join(
            f"labour_usd_per_h = {usd_per_h!r}" if line.startswith("labour_usd_per_h") else line for line in lines
        )
        + "\n",
        encoding="utf-8",
    )


def checksums(folder: Path) -> dict[str, str]:
    """Checksum of every file of a set but the one with the clock, by name."""
    return {
        file.relative_to(folder).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(folder.rglob("*"))
        if file.is_file() and file.name != CLOCKED
    }


def faults_of(output: Path) -> list[str]:
    """What is wrong with a published set: nothing where it is whole. Uses none of the tool's own checks."""
    run = output / "run.json"
    if not run.exists():
        return ["no run.json"]
    manifest = json.loads(run.read_text(encoding="utf-8"))
    faults = []
    for name, about in manifest["outputs"].items():
        content = (output / name).read_bytes() if (output / name).exists() else b""
        if len(content) != about["bytes"] or hashlib.sha256(content).hexdigest() != about["sha256"]:
            faults.append(f"{name} is not what the manifest says")
    there = {file.relative_to(output).as_posix() for file in output.rglob("*") if file.is_file()}
    if there != {*manifest["outputs"], "run.json", CLOCKED}:
        faults.append(f"other files than the manifest's: {sorted(there ^ {*manifest['outputs'], 'run.json', CLOCKED})}")
    json.loads((output / CLOCKED).read_text(encoding="utf-8"))
    return faults + _faults_of_tables(output)


def _faults_of_tables(output: Path) -> list[str]:
    """The database's own check, and as many rows in each CSV file as in the database's table of that name."""
    faults = []
    with closing(sqlite3.connect(f"{(output / 'tract.gpkg').resolve().as_uri()}?mode=ro", uri=True)) as database:
        verdict = database.execute("PRAGMA integrity_check").fetchone()[0]
        if verdict != "ok":
            faults.append(f"tract.gpkg: {verdict}")
        for file in sorted(output.glob("*.csv")):
            with file.open(encoding="utf-8", newline="") as stream:
                rows = sum(1 for _ in csv.reader(stream)) - 1
            count = database.execute(f'SELECT count(*) FROM "{file.stem}"').fetchone()[0]
            if rows != count:
                faults.append(f"{file.name} has {rows} rows, the table {count}")
    return faults


def hidden_names(output: Path) -> list[str]:
    """What stands in the hidden folder beside an output, but for the lock file and numbered runs."""
    runs = output.parent / f".{output.name}-runs"
    return sorted(e.name for e in runs.iterdir() if e.name != ".lock" and not e.name[:6].isdigit())
