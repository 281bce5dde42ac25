"""A small invented portfolio for tests: three tracts of the sample's lots on the sample's ground, in two divisions.

Demand models and option tables are built once for all runs of a test session that stay in this process.
"""

from __future__ import annotations

import hashlib
import shutil
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from tract_helpers import SAMPLE, as_toml, command, sample_lots, settings, write_tract

from screener.pipeline import model_of
from screener.portfolio import common

TRACTS = {"Alder": ("West", "1"), "Birch": ("West", "2"), "Cedar": ("East", "3")}
PLANS = ("thimble", "kettle")
LOTS_A_TRACT = 15
RULES: dict[str, Any] = {"purchase.plan_mix": None, "purchase.order_level": "phase", "tiers.most": 2}
SHARED = ("ground", "hazards", "plans", "hardware", "design", "tiers", "purchase")


@cache
def portfolio_lots() -> gpd.GeoDataFrame:
    """Lots of two plans in one style, fifteen of each of three phases: a phase is a tract, ids begin anew in each."""
    lots = sample_lots()
    lots = lots[lots["plan"].isin(PLANS)].assign(style="A", options=None)
    parts = []
    for name, (division, phase) in TRACTS.items():
        own = lots[lots["phase"] == phase].head(LOTS_A_TRACT)
        own = own.assign(tract=name, division=division, lot_id=[f"L-{n:02d}" for n in range(len(own))], package=None)
        parts.append(own)
    return gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), crs=lots.crs)


def write_portfolio(
    folder: Path, lots: gpd.GeoDataFrame | None = None, text: str = "", changes: dict[str, Any] | None = None
) -> Path:
    """A portfolio file with its lots as GeoParquet. `text`: further lines, by default packages by division."""
    folder.mkdir(parents=True, exist_ok=True)
    (portfolio_lots() if lots is None else lots).to_parquet(folder / "lots.parquet")
    rules = settings({**RULES, "hardware.file": without_stock(folder), **(changes or {})})
    (folder / "rules.toml").write_text(as_toml(rules), encoding="utf-8")
    head = 'name = "Three tracts (invented)"\nbase = "rules.toml"\n'
    own = text or LOTS_FILE + '[packages]\nper = "division"\n'
    (folder / "portfolio.toml").write_text(f'{head}{own}[output]\nfolder = "results"\n', encoding="utf-8")
    return folder / "portfolio.toml"


LOTS_FILE = '[lots]\nfile = "lots.parquet"\ndivision_column = "division"\n'
BY_TRACT = LOTS_FILE + 'hazards_together = "tract"\n[packages]\nper = "tract"\n'


@dataclass(frozen=True)
class Run:
    """What one portfolio run left."""

    folder: Path
    code: int
    out: str
    err: str

    @property
    def results(self) -> Path:
        return self.folder / "results"

    def table(self, name: str) -> pd.DataFrame:
        return pd.read_csv(self.results / f"{name}.csv", dtype=str, keep_default_na=False)

    def lots(self) -> pd.DataFrame:
        kinds = {pa.bool_(): pd.BooleanDtype()}
        return _plain(pq.read_table(self.results / "lots").to_pandas(types_mapper=kinds.get))

    def demands(self) -> pd.DataFrame:
        return _plain(pq.read_table(self.results / "demands").to_pandas())

    def sums(self) -> dict[str, str]:
        """Checksum of every file but the one with times."""
        return {
            f.relative_to(self.results).as_posix(): hashlib.sha256(f.read_bytes()).hexdigest()
            for f in sorted(self.results.rglob("*"))
            if f.is_file() and f.name != "timings.json"
        }


def _plain(frame: pd.DataFrame) -> pd.DataFrame:
    for name in frame.columns:
        if isinstance(frame[name].dtype, pd.CategoricalDtype):
            frame[name] = frame[name].astype(object)
    return frame


def run(file: Path, *words: str | int) -> Run:
    """Run `screener portfolio` in this process."""
    code, out, err = command("portfolio", file, "--workers", "1", "-q", *map(str, words))
    return Run(file.parent, code, out, err)


def same(first: pd.DataFrame, second: pd.DataFrame, apart: tuple[str, ...] = ()) -> None:
    """Equal to the last bit, whatever the index."""
    pd.testing.assert_frame_equal(
        first.drop(columns=list(apart)).reset_index(drop=True),
        second.drop(columns=list(apart)).reset_index(drop=True),
        check_exact=True,
    )


def build_once(patch: pytest.MonkeyPatch) -> None:
    """Let runs in this process share demand models and house tables."""
    patch.setattr(common, "new_model_of", model_of)
    patch.setattr(common, "house_table", _table_once)


_TABLES: dict[Any, Any] = {}
_house_table = common.house_table


def _table_once(*arguments: Any) -> Any:
    key = _table_key(*arguments)
    if key not in _TABLES:
        _TABLES[key] = _house_table(*arguments)
    return _TABLES[key]


def _table_key(model: Any, lines: Any, by_line: Any, hardware: Any, edition: str, categories: Any) -> tuple[Any, ...]:
    return model.variant.key, repr(model.frame.edition), tuple(lines), len(hardware.rows), edition, categories


def tract_project(folder: Path, name: str, changes: dict[str, Any] | None = None) -> Path:
    """One of the tracts as a project of its own."""
    lots = portfolio_lots()
    own = lots[lots["tract"] == name].drop(columns=["tract", "division"])
    folder.mkdir(parents=True, exist_ok=True)
    return write_tract(folder, own, {**RULES, "hardware.file": without_stock(folder), **(changes or {})})


def without_stock(folder: Path) -> str:
    """The sample's hardware list with nothing in hand, in a folder: a portfolio draws on no stock."""
    rows = pd.read_csv(SAMPLE / "hardware.csv", dtype=str, keep_default_na=False)
    rows.assign(stock="0").to_csv(folder / "hardware.csv", index=False)
    return "hardware.csv"


def copy_of(folder: Path, to: Path) -> Path:
    """The inputs of a portfolio in another folder."""
    to.mkdir()
    for file in folder.iterdir():
        if file.is_file():
            shutil.copyfile(file, to / file.name)
    return to / "portfolio.toml"


def values(frame: pd.DataFrame, name: str) -> np.ndarray[Any, Any]:
    return frame[name].to_numpy()
