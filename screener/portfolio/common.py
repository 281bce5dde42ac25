"""What all tasks of a portfolio run share: rules, plans, hardware, houses laid out as tables, and texts by number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from hazard.issues import Issues
from screener.capacity_case import CapacityContext, Option
from screener.demands import DemandModel
from screener.editions import SDPWS_EDITION
from screener.hardware import Hardware
from screener.house_tables import HouseTable, house_table
from screener.houses import choose_houses
from screener.irregularities import Redundancy, judge_redundancy
from screener.joint_lines import CAST_IN
from screener.lot_attributes import split_options
from screener.packages import Packages
from screener.pipeline import new_model_of
from screener.plans import Plan, Variant
from screener.portfolio.config import Portfolio
from screener.portfolio.kits import LineWorth, line_worth, price_case
from screener.portfolio.layout import Layout
from screener.portfolio.lot_stream import LotStream
from screener.portfolio.work_folder import Outcome, Task, read_pickle, write_pickle
from screener.quantities import HouseQuantities, house_quantities
from screener.result_tables import COMBINED, treated_lines
from screener.selection import NONE, house_lines

LETTERS = ("A", "B", "C", "D", "D0", "D1", "D2", "E", "F")
"""Seismic design categories that a lot may have, of ASCE 7 and of the residential code."""
COMMON, LINES = "common.pickle", "lines.pickle"


@cache
def categories() -> tuple[str, ...]:
    """One category for each set of capacity rules."""
    first: dict[tuple[bool, bool], str] = {}
    for letter in LETTERS:
        first.setdefault(CapacityContext(sdc=letter).rules_of_category, letter)
    return tuple(first.values())


@cache
def category_place(letter: str) -> int:
    """Place in `categories` of the rules that a category has; of an unknown one those of D."""
    own = CapacityContext(sdc=letter if letter in LETTERS else "D").rules_of_category
    return [CapacityContext(sdc=c).rules_of_category for c in categories()].index(own)


@dataclass(frozen=True)
class Common:
    """Read by every task. `variants` are the distinct houses of the portfolio in order of their names."""

    portfolio: Portfolio
    layout: Layout
    stream: LotStream | None
    plans: Mapping[str, Plan]
    hardware: Hardware
    variants: tuple[Variant, ...]
    kept: Packages
    crs: str  # WKT of the system that shapes are written in

    @cached_property
    def house_of(self) -> dict[str, int]:
        """Number of a house by its key."""
        return {variant.key: n for n, variant in enumerate(self.variants)}


@dataclass(frozen=True)
class Lines:
    """Package lines of the portfolio, and the options of each."""

    lines: tuple[str, ...]
    families: tuple[str, ...]
    options: tuple[tuple[Option, ...], ...]

    @cached_property
    def by_line(self) -> dict[str, tuple[Option, ...]]:
        return dict(zip(self.lines, self.options, strict=True))

    def __reduce__(self) -> Any:
        return _lines_again, (self.lines, self.families, self.options)

    def item_text(self, line: int, option: int) -> str:
        """How the demands table names an option."""
        chosen = self.options[line][option]
        return f"{chosen.item}, {chosen.arrangement}" if chosen.item else chosen.arrangement


def _lines_again(lines: Any, families: Any, options: Any) -> Lines:
    """Lines after a way between processes: "none" and "cast in" are told apart by being the same object."""
    own = {o.arrangement: o for o in (NONE, CAST_IN)}
    again = tuple(tuple(own[o.arrangement] if o.row < 0 else o for o in line) for line in options)
    return Lines(lines, families, again)


@dataclass(frozen=True)
class House:
    """One house laid out: its table for the kernels, and pieces by line and option."""

    table: HouseTable
    quantities: Sequence[Sequence[HouseQuantities]]
    redundancy: Redundancy
    worth: LineWorth
    treated_lines: tuple[int, ...]  # lines whose pieces touch treated wood or concrete


def houses_asked_for(layout: Layout, plans: Mapping[str, Plan], has_mix: bool) -> tuple[Variant, ...]:
    """The houses that lots ask for and the library has."""
    names = ("plan", "style", "options")
    asked = pd.DataFrame([dict(zip(names, h, strict=True)) for h in layout.houses], columns=list(names))
    asked["options"] = [";".join(split_options(text)) for text in asked["options"]]
    lots: Any = asked.assign(lot_id=[str(n) for n in range(len(asked))], status="", skip_reason="", skip_detail="")
    lots["skip_next_step"] = ""
    return choose_houses(lots, plans, has_mix, Issues(), "lots").variants


def build_house(task: Task) -> Outcome:
    """Task "model": the demand model of one house. Facts: the package lines of its connections."""
    folder = Path(task.folder)
    common: Common = read_pickle(folder, COMMON)
    model = new_model_of(common.portfolio.base, common.variants[task.number])
    name = f"models/{task.number:04d}.pickle"
    own = write_pickle(folder, name, model)
    points = [[p.schedule, p.family] for p in model.points]
    return Outcome("model", task.number, {name: own}, {"points": points})


def lines_of(outcomes: Sequence[Outcome], hardware: Hardware) -> Lines:
    """Package lines over all houses."""
    models: Any = [
        SimpleNamespace(points=[SimpleNamespace(schedule=s, family=f) for s, f in o.facts["points"]]) for o in outcomes
    ]
    lines, families, options = house_lines(models, hardware)
    return Lines(tuple(lines), tuple(families), tuple(options))


def lay_out_house(task: Task) -> Outcome:
    """Task "house": tables of one house for the options of all lines, and what each option takes."""
    folder = Path(task.folder)
    common: Common = read_pickle(folder, COMMON)
    lines: Lines = read_pickle(folder, LINES)
    model = model_in(folder, task.number)
    base = common.portfolio.base
    edition = SDPWS_EDITION[base.design.loads]
    table = house_table(model, lines.lines, lines.by_line, common.hardware, edition, categories())
    quantities = [
        [house_quantities(model, line, o, common.hardware, base.purchase.waste) for o in lines.by_line[line]]
        for line in lines.lines
    ]
    name = f"houses/{task.number:04d}.pickle"
    worth = line_worth(price_case(base, common.hardware), quantities)
    treated = treated_lines(model.points)
    places = tuple(n for n, line in enumerate(lines.lines) if line in treated)
    own = write_pickle(folder, name, House(table, quantities, judge_redundancy(model), worth, places))
    return Outcome("house", task.number, {name: own})


def model_in(folder: Path | str, number: int) -> DemandModel:
    model: DemandModel = read_pickle(folder, f"models/{number:04d}.pickle")
    return model


def house_in(folder: Path | str, number: int) -> House:
    house: House = read_pickle(folder, f"houses/{number:04d}.pickle")
    return house


@dataclass(frozen=True)
class Texts:
    """Texts of the demands table by number; the same numbers in all shards."""

    point: tuple[str, ...]
    component: tuple[str, ...]
    unit: tuple[str, ...]
    case: tuple[str, ...]
    item: tuple[str, ...]

    @staticmethod
    def of(tables: Sequence[HouseTable], lines: Lines) -> Texts:
        points = sorted({p.name for t in tables for p in t.points})
        components = sorted({c for t in tables for p in t.points for c in p.components} | {COMBINED})
        units = sorted({c.rsplit("_", 1)[-1] for c in components} - {COMBINED} | {"ratio"})
        cases = sorted({c for t in tables for p in t.points for c in p.case_names})
        items = sorted({lines.item_text(n, k) for n in range(len(lines.lines)) for k in range(len(lines.options[n]))})
        return Texts(*(tuple(x) for x in (points, components, units, cases, items)))


def place_in(texts: Sequence[str]) -> dict[str, int]:
    return {text: n for n, text in enumerate(texts)}


def packages_array(packages: Sequence[Mapping[str, int]], lines: Sequence[str]) -> np.ndarray:
    """Option of every line of every package (packages, lines), -1 where a line is left out."""
    out = np.full((len(packages), len(lines)), -1, dtype=np.int64)
    for n, package in enumerate(packages):
        for line, option in package.items():
            out[n, lines.index(line)] = option
    return out
