"""Small tracts cut from the sample for tests of the whole job, and the runs of it in memory and through the command."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import date
from functools import cache
from io import StringIO
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from screener.cli.main import run
from screener.config import Tract, load_tract
from screener.pipeline import Prepared, Results, choose, prepare
from screener.result_tables import build_results
from screener.selection import Selection

SAMPLE = Path(__file__).parents[2] / "sample_data"
NOTHING: Mapping[str, Any] = {}

# Lots of the sample by what they show: both kinds of roof, one and two storeys, three phases, ridge, shore and plain.
FLAT = ("A-01", "A-02", "A-03", "B-02", "B-14", "C-14")
RIDGE = ("A-29", "A-30", "B-31")
SHORE = ("A-44", "C-45", "D-45")
TWELVE = (*FLAT, *RIDGE, *SHORE)


@cache
def sample_lots() -> gpd.GeoDataFrame:
    return gpd.read_file(SAMPLE / "lots.gpkg", layer="lots")


def cut(ids: Iterable[str] = TWELVE) -> gpd.GeoDataFrame:
    """Lots of the sample by id, in the order given."""
    return sample_lots().set_index("lot_id").loc[list(ids)].reset_index()


def settings(changes: Mapping[str, Any] = NOTHING) -> dict[str, Any]:
    """The sample's project file as a table, its files by absolute path; `changes`: "section.key" -> value, None drops.

    The result is meant for `write_tract`, which puts lots and results beside the project file.
    """
    table = tomllib.loads((SAMPLE / "tract.toml").read_text(encoding="utf-8"))
    for section in ("ground", "hazards", "plans", "hardware"):
        table[section] = _absolute(table[section])
    table["tiers"]["most"] = 2
    for place, value in changes.items():
        *sections, key = place.split(".")
        into = table
        for name in sections:
            into = into.setdefault(name, {})
        if value is None:
            into.pop(key, None)
        else:
            into[key] = value
    return table


def _absolute(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    return {k: str(SAMPLE / v) if k in ("file", "folder", "classes") else _absolute(v) for k, v in value.items()}


def as_toml(table: Mapping[str, Any]) -> str:
    """A project table as TOML: sections with inline tables."""
    lines = []
    for section, keys in table.items():
        lines.append(f"[{section}]")
        lines += [f"{key} = {_toml(value)}" for key, value in keys.items()]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, Sequence):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return repr(value)


def write_tract(folder: Path, lots: gpd.GeoDataFrame | None = None, changes: Mapping[str, Any] = NOTHING) -> Path:
    """A project in a folder of its own with some lots of the sample (default: twelve); the path of its file."""
    folder.mkdir(parents=True, exist_ok=True)
    frame = cut() if lots is None else lots
    (folder / "lots.gpkg").unlink(missing_ok=True)
    frame.to_file(folder / "lots.gpkg", layer="lots")
    file = folder / "tract.toml"
    file.write_text(as_toml(settings(changes)), encoding="utf-8")
    return file


@dataclass(frozen=True)
class SampleRun:
    """What the command left and said for the whole sample."""

    folder: Path
    code: int
    out: str
    err: str

    @property
    def results(self) -> Path:
        return self.folder / "results"

    def table(self, name: str) -> pd.DataFrame:
        """A result table as a spreadsheet reads it, every cell a text."""
        return pd.read_csv(self.results / f"{name}.csv", dtype=str, keep_default_na=False)


@dataclass(frozen=True)
class Screened:
    """One run in memory, with the arrays behind its tables."""

    tract: Tract
    prepared: Prepared
    selection: Selection
    results: Results

    @property
    def lots(self) -> pd.DataFrame:
        return pd.DataFrame(self.results.lots.drop(columns="geometry")).set_index("lot_id")

    @property
    def demands(self) -> pd.DataFrame:
        return self.results.demands

    def flags(self, lot_id: str) -> set[str]:
        return set(str(self.lots.loc[lot_id, "flags"]).split(";")) - {""}


def screened(file: Path, workers: int = 1) -> Screened:
    """Run a project in memory, writing nothing."""
    tract = load_tract(file)
    prepared = prepare(tract, workers=workers)
    selection = choose(prepared)
    return Screened(tract, prepared, selection, build_results(prepared, selection))


def command(*words: str | Path) -> tuple[int, str, str]:
    """The command in this process: exit code, standard output, standard error."""
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = run([str(word) for word in words])
    return code, out.getvalue(), err.getvalue()


def plan_text(name: str, *edits: tuple[str, str]) -> str:
    """A plan file of the sample with texts replaced; every text must be there."""
    text = (SAMPLE / "plans" / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new)
    return text
