"""Where lot sheets take their numbers from: the tables of a finished run, or the run made now. Nothing is recomputed.

A results folder belongs to a project file beside it; its tables are used only while they are of that project's present
inputs. The house, its connections and the pieces of each package line come from the same functions as in the run.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hazard.issues import InputError, Issue
from screener.capacities import options_for
from screener.capacity_case import Option
from screener.config import Tract, load_tract
from screener.files.manifest import input_records, read_manifest, run_id
from screener.files.results import GEOPACKAGE
from screener.hardware import Hardware, read_hardware
from screener.house_loads import HouseLoads
from screener.load_path import trace_load_path
from screener.lot_attributes import split_options
from screener.plan_files import load_plans
from screener.plans import Plan, Variant
from screener.quantities import HouseQuantities, Pieces, house_quantities
from screener.report.text import plain, texts

if TYPE_CHECKING:
    import pandas as pd

    from screener.demands import DemandModel
    from screener.pipeline import Prepared, Results
    from screener.selection import Selection

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Tables:
    """The tables of a run that sheets need, and its id where it is a finished one."""

    lots: pd.DataFrame
    demands: pd.DataFrame
    packages: pd.DataFrame
    exceptions: pd.DataFrame
    run: str = ""


@dataclass
class LotFacts:
    """One lot: its row of the results, its house as drawn, and the package's options with their pieces."""

    index: int
    row: Mapping[str, Any]
    variant: Variant | None
    house: HouseLoads | None
    model: DemandModel | None
    chosen: Mapping[str, Option]
    quantities: Mapping[str, HouseQuantities]
    demands: pd.DataFrame
    exceptions: pd.DataFrame

    @property
    def lot_id(self) -> str:
        return str(self.row["lot_id"])

    def text(self, name: str) -> str:
        return plain(self.row.get(name))

    def number(self, name: str) -> float:
        value = self.row.get(name)
        try:
            return float("nan") if value is None else float(value)
        except (TypeError, ValueError):
            return float("nan")

    @property
    def mirrored(self) -> bool:
        return texts([self.row.get("mirrored")], yes_no=True) == ["yes"]

    def pieces(self) -> list[tuple[str, Pieces]]:
        """Every kind of piece of the package in this house with its package line, accessories included."""
        return [(line, p) for line, q in self.quantities.items() for p in q.pieces if p.net]


@dataclass
class Source:
    """A project with the tables of one run of it."""

    tract: Tract
    tables: Tables
    hardware: Hardware
    plans: Mapping[str, Plan]
    _houses: dict[tuple[str, str, str], HouseLoads] = field(default_factory=dict)

    @cached_property
    def _places(self) -> dict[str, int]:
        return {str(lot): n for n, lot in enumerate(self.tables.lots["lot_id"])}

    def lot_ids(self) -> list[str]:
        return list(self._places)

    def lot(self, lot_id: str) -> LotFacts:
        """Everything about one lot; ``KeyError`` for an id that the run does not hold."""
        index = self._places[lot_id]
        row = {str(k): v for k, v in self.tables.lots.iloc[index].items()}
        house = self.house(plain(row.get("plan")), plain(row.get("style")), plain(row.get("options")))
        chosen = self.package(plain(row.get("tier")))
        return LotFacts(
            index + 1,
            row,
            house.variant if house else None,
            house,
            _model(house) if house else None,
            *self._quantities(house, chosen),
            self.tables.demands[self.tables.demands["lot_id"] == lot_id],
            self.tables.exceptions[self.tables.exceptions["lot_id"] == lot_id],
        )

    def house(self, plan: str, style: str, options: str) -> HouseLoads | None:
        """The traced house of a lot's choices, kept; None where no plan is chosen."""
        found = next((p for p in self.plans.values() if p.name == plan), None)
        if found is None:
            return None
        key = (plan, style, options)
        if key not in self._houses:
            variant = found.variant(style, split_options(options))
            design = self.tract.design
            self._houses[key] = trace_load_path(
                variant, design.loads, design.method, design.wind_procedure, design.roof_ties
            )
        return self._houses[key]

    def package(self, name: str) -> dict[str, tuple[str, str]]:
        """Line -> (item, arrangement) of a package; empty for no package."""
        rows = self.tables.packages[self.tables.packages["tier"] == name] if name else self.tables.packages.iloc[:0]
        named = zip(rows["schedule"], texts(rows["item"]), texts(rows["arrangement"]), strict=True)
        return {str(line): (item, arrangement) for line, item, arrangement in named}

    def _quantities(
        self, house: HouseLoads | None, package: Mapping[str, tuple[str, str]]
    ) -> tuple[dict[str, Option], dict[str, HouseQuantities]]:
        if house is None:
            return {}, {}
        chosen: dict[str, Option] = {}
        for point in house.points:
            wanted = package.get(point.schedule)
            if wanted is None or point.schedule in chosen:
                continue
            listed = options_for(point.family, self.hardware)
            option = next((o for o in listed if (o.item, o.arrangement) == wanted), None)
            chosen[point.schedule] = option or Option("", -1, wanted[1], 0)
        model, waste = _model(house), self.tract.purchase.waste
        return chosen, {
            line: house_quantities(model, line, option, self.hardware, waste) for line, option in chosen.items()
        }


def _model(house: HouseLoads) -> DemandModel:
    from screener.drawings.house_drawings import model_of

    return model_of(house)


# --- opening ------------------------------------------------------------------------------------------------------


def open_source(path: Path, lots: Iterable[str] = (), progress: Progress = lambda _: None) -> Source:
    """The project or results folder at ``path``; only the named lots' demands are read where any are named."""
    tract = load_tract(project_of(path))
    tables = finished_tables(tract, tuple(lots))
    if tables is None:
        if path.is_dir():
            raise InputError(
                [
                    Issue(
                        "results_stale",
                        "stop",
                        path.name,
                        "results of other inputs than the project's present ones",
                        "results of a complete run",
                        "run the project again",
                    )
                ]
            )
        tables = _screened_now(tract, progress)
    hardware, issues = read_hardware(tract.hardware.file)
    issues.raise_stops()
    return Source(tract, tables, hardware, load_plans(tract.plans.folder))


def project_of(path: Path) -> Path:
    """The project file itself, or the one beside a results folder that names it as its output."""
    if not path.is_dir():
        return path
    for file in sorted(path.absolute().parent.glob("*.toml")):
        try:
            if load_tract(file).output.folder.absolute() == path.absolute():
                return file
        except InputError:
            continue
    raise InputError(
        [
            Issue(
                "project_missing",
                "stop",
                path.name,
                "no project file beside it names this folder as its output",
                "a results folder beside its project file",
                "give the project file instead",
            )
        ]
    )


def finished_tables(tract: Tract, lots: tuple[str, ...] = ()) -> Tables | None:
    """Tables of the project's own results where they are of its present inputs, settings and versions."""
    import pyogrio

    folder = tract.output.folder
    manifest = read_manifest(folder) if folder.is_dir() else None
    if manifest is None or not (folder / GEOPACKAGE).is_file():
        return None
    inputs = input_records(tract)
    if manifest.get("run_id") not in {run_id(tract, inputs, {"strict": strict}) for strict in (False, True)}:
        return None
    quoted = ", ".join("'" + lot.replace("'", "''") + "'" for lot in lots)
    only = {"where": f"lot_id IN ({quoted})"} if lots else {}

    def table(layer: str, **how: Any) -> pd.DataFrame:
        frame: pd.DataFrame = pyogrio.read_dataframe(folder / GEOPACKAGE, layer=layer, read_geometry=False, **how)
        return frame

    return Tables(
        table("lots"), table("demands", **only), table("packages"), table("exceptions"), str(manifest["run_id"])
    )


def _screened_now(tract: Tract, progress: Progress) -> Tables:
    from screener.pipeline import screen

    return _tables_of(screen(tract, progress=progress))


def _tables_of(r: Results) -> Tables:
    import pandas as pd

    lots = pd.DataFrame(r.lots.drop(columns=r.lots.geometry.name))
    return Tables(lots, r.demands, r.packages, r.exceptions)


def screened_source(path: Path, progress: Progress = lambda _: None) -> tuple[Source, Prepared, Selection]:
    """The project screened now, with the arrays behind its tables: what a derivation needs."""
    from screener.pipeline import choose, prepare
    from screener.result_tables import build_results

    tract = load_tract(project_of(path))
    prepared = prepare(tract, progress=progress)
    selection = choose(prepared, progress=progress)
    tables = _tables_of(build_results(prepared, selection))
    return Source(tract, tables, prepared.hardware, prepared.plans), prepared, selection
