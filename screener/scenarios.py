"""Named scenarios: the same project with some keys changed, run in one call into one table.

A scenario file holds tables [[scenario]] with a name and project keys as the project file writes them:
`hazards.wind_speed_mph = { value = 120 }`, `design.loads = "ASCE 7-22"`, `tract.ground_state = "built out"`,
`lots.setbacks = { ... }`, `purchase.plan_mix = { ... }` or `ground.tree_belt = { file = "belt.gpkg" }`. A value
replaces the key as a whole; `remove = ["hazards.ss_g"]` leaves keys out; paths are relative to the project file. The
project as it stands always comes first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from hazard.issues import InputError, Issue, Issues
from screener.config import Tract, load_changed_tract, load_tract
from screener.files.toml_files import read_toml
from screener.swap import Run, run_with

BASE = "the project"
COLUMNS = (
    "scenario", "changes", "lots", "screened", "refer", "no_hardware", "skipped", "outside_permit", "not_fitting",
    "exposure_b", "exposure_c", "exposure_d", "kzt_max", "wind_max_mph", "packages", "hardware_cost", "labour_hours",
    "total_cost", "change", "order_cost", "proven", "gap",
)  # fmt: skip


@dataclass(frozen=True)
class Scenario:
    """A name and the keys that it changes: section -> key -> value."""

    name: str
    changes: Mapping[str, Any]
    remove: tuple[str, ...] = ()


def read_scenarios(path: Path) -> list[Scenario]:
    """The scenarios of a file. Raises InputError where it can't be read or a scenario has no name of its own."""

    def stop(found: str, expected: str) -> InputError:
        return InputError(Issue("scenarios", "stop", path.name, found, expected, "correct the scenarios file"))

    issues = Issues()
    values = read_toml(path, issues, "scenarios", "a scenarios file (TOML)")
    if values is None:
        raise InputError(issues.stops())
    rows = values.get("scenario")
    if not isinstance(rows, list) or not rows or set(values) != {"scenario"}:
        raise stop("no list of [[scenario]] tables, or other tables", "[[scenario]] tables only")
    found: list[Scenario] = []
    for number, row in enumerate(rows, start=1):
        if not isinstance(row, dict):
            raise stop(f"scenario {number} is {row!r:.60}", "[[scenario]] tables only")
        name = row.pop("name", "")
        if not isinstance(name, str) or not name or name in (BASE, *(each.name for each in found)):
            raise stop(f"scenario {number} has the name {name!r}", "a name of its own in quotes")
        remove = row.pop("remove", [])
        if not isinstance(remove, list) or not all(isinstance(each, str) and "." in each for each in remove):
            raise stop(f"scenario {name!r}: remove = {remove!r}", 'a list of keys, such as ["hazards.ss_g"]')
        if not (row or remove) or not all(isinstance(keys, dict) for keys in row.values()):
            raise stop(
                f"scenario {name!r} changes nothing, or a key without its section", 'keys such as design.loads = "..."'
            )
        found.append(Scenario(name, row, tuple(remove)))
    return found


def run_scenarios(
    project: Path, scenarios: list[Scenario], progress: Callable[[str], None] = lambda _: None
) -> pd.DataFrame:
    """One row for the project and one for each scenario. Raises InputError that names the scenario."""
    tracts: list[tuple[str, Mapping[str, Any], Tract]] = [(BASE, {}, load_tract(project))]
    for each in scenarios:
        try:
            tracts.append((each.name, each.changes, load_changed_tract(project, each.changes, each.remove)))
        except InputError as error:
            raise _named(each.name, error) from error
    rows: list[dict[str, Any]] = []
    for name, changes, tract in tracts:
        progress(f"scenario {name}")
        try:
            run = run_with(tract, None, progress)
        except InputError as error:
            raise _named(name, error) from error
        rows.append(_row(name, changes, run))
        rows[-1]["change"] = round(rows[-1]["total_cost"] - rows[0]["total_cost"], 2)
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _named(name: str, error: InputError) -> InputError:
    from dataclasses import replace

    return InputError([replace(issue, where=f"scenario '{name}': {issue.where}") for issue in error.issues])


def _row(name: str, changes: Mapping[str, Any], run: Run) -> dict[str, Any]:
    lots, plan = run.results.lots, run.selection.plan
    status = lots["status"].value_counts()
    exposure = lots["exposure"].value_counts()
    tiers = lots["tier"][lots["tier"].fillna("") != ""].value_counts()
    return {
        "scenario": name,
        "changes": "; ".join(
            f"{s}.{key} = {_shown(value)}" for s, keys in changes.items() for key, value in keys.items()
        ),
        "lots": len(lots),
        **{word: int(status.get(word, 0)) for word in ("screened", "refer", "no_hardware", "skipped")},
        "outside_permit": int(sum(str(v) == "False" for v in lots["inside_permit"])),
        "not_fitting": int(sum(str(v) == "False" for v in lots["fits"])),
        **{f"exposure_{letter.lower()}": int(exposure.get(letter, 0)) for letter in "BCD"},
        "kzt_max": round(float(lots["kzt"].max()), 3),
        "wind_max_mph": round(float(lots["wind_speed_mph"].max()), 1),
        "packages": "; ".join(f"{tier}: {int(tiers[tier])}" for tier in sorted(tiers.index)),
        "hardware_cost": round(float(lots["hardware_cost"].fillna(0).sum()), 2),
        "labour_hours": round(float(lots["labour_hours"].fillna(0).sum()), 2),
        "total_cost": round(float(lots["total_cost"].fillna(0).sum()), 2),
        "order_cost": round(float(run.results.bill_of_materials["cost"].sum()), 2)
        if len(run.results.bill_of_materials)
        else 0.0,
        "proven": plan.proven,
        "gap": round(plan.gap, 5),
    }


def _shown(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key} = {_shown(each)}" for key, each in value.items()) + "}"
    return str(value)
