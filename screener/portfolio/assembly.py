"""The results of a portfolio put together from its shards, and published all at once."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.parquet as pq

from screener.columns import SCHEMA_VERSION
from screener.errors import OutputError
from screener.files.csv_tables import write_csv
from screener.files.journal import copy_checked
from screener.files.manifest import CAUTION, run_table, versions, write_manifest
from screener.files.tables import typed
from screener.portfolio.bill import bill, tract_pieces
from screener.portfolio.geopackage import finish_geopackage, tract_points
from screener.portfolio.kits import price_case
from screener.portfolio.map_parts import EXCEPTION_TABLE, MAP_LAYER
from screener.portfolio.periods import period_needs
from screener.portfolio.report import write_report
from screener.portfolio.run import Finished, basis, exit_code
from screener.portfolio.tables import (
    Counts,
    ReasonCounts,
    curve_table,
    division_table,
    gather_counts,
    issue_table,
    package_table,
    tract_table,
)
from screener.publish import Destination

GEOPACKAGE = "portfolio.gpkg"
BYTES_A_LOT = 500
"""Of tables; data sets and map are on the disk already."""
Progress = Callable[..., None]


@dataclass(frozen=True)
class Tables:
    """The small tables of a portfolio."""

    counts: Counts
    reasons: ReasonCounts
    tracts: pd.DataFrame
    divisions: pd.DataFrame
    bill: pd.DataFrame
    needs: pd.DataFrame
    packages: pd.DataFrame
    curve: pd.DataFrame
    issues: pd.DataFrame


def tables_of(f: Finished, folder: Path) -> Tables:
    """All small tables."""
    places = f.common.layout.places
    counts = gather_counts(folder, f.second, len(places))
    reasons = ReasonCounts.of(folder, f.second, len(places))
    base = f.portfolio.base
    options, worth = [p.options for p in f.plans], [h.worth for h in f.houses]
    pieces = tract_pieces(counts.kits, options, worth, len(places))
    case = price_case(base, f.common.hardware)
    cost = bill(pieces, places, case.prices, base.purchase.buy_to_break)
    return Tables(
        counts,
        reasons,
        tract_table(places, counts, reasons, f.plans),
        division_table(places, counts, reasons, cost),
        cost,
        period_needs(counts.starts, options, worth, case, f.common.layout.divisions),
        package_table(f.plans, f.lines, counts.kits),
        curve_table(f.plans),
        issue_table(folder, f.first, f.issues),
    )


def refuse_if_strict(f: Finished, folder: Path, strict: bool) -> None:
    """Stop before anything is written where warnings are not allowed."""
    if strict:
        from screener.cli.run import refuse_warnings

        refuse_warnings(issue_table(folder, f.first, f.issues))


def publish(
    f: Finished,
    tables: Tables,
    destination: Destination,
    folder: Path,
    name: str,
    inputs: list[dict[str, Any]],
    options: Mapping[str, Any],
    progress: Progress,
) -> dict[str, Any]:
    """Write everything into a stage and publish it; the summary."""
    manifest = _manifest(f, tables, name, inputs, options)
    destination.require_free(BYTES_A_LOT * f.common.layout.lots + 50_000_000)
    with destination.stage(name) as stage:
        _write(stage, f, tables, manifest, folder, progress)
    return {**manifest["summary"], "results": str(destination.output)}


def _write(stage: Path, f: Finished, t: Tables, manifest: dict[str, Any], folder: Path, progress: Progress) -> None:
    progress("writing: data sets")
    parts = [_linked(folder / "out", stage, f"lots/part-{o.number:06d}.parquet") for o in f.second]
    for o in f.second:
        _linked(folder / "out", stage, f"demands/part-{o.number:06d}.parquet")
    _check_lots(parts, f, t.issues)
    progress("writing: tables")
    for table, file, frame in (
        ("portfolio_tracts", "tracts", t.tracts),
        ("portfolio_divisions", "divisions", t.divisions),
        ("portfolio_bill", "bill_of_materials", t.bill),
        ("portfolio_needs", "needs_by_period", t.needs),
        ("portfolio_packages", "packages", t.packages),
        ("portfolio_curve", "cost_curve", t.curve),
        ("portfolio_issues", "issues", t.issues),
    ):
        write_csv(stage / f"{file}.csv", table, frame)
    for name in (name for o in f.map_parts for name in o.files if name not in (MAP_LAYER, EXCEPTION_TABLE)):
        _linked(folder / "out", stage, Path(name).name)
    progress("writing: map")
    _moved(folder / MAP_LAYER, stage / GEOPACKAGE)  # made again where a run is taken up after this
    exceptions = _linked(folder / "out", stage, Path(EXCEPTION_TABLE).name)
    finish_geopackage(
        stage / GEOPACKAGE, sum(o.facts["lots"] for o in f.second), tract_points(typed("portfolio_tracts", t.tracts)),
        {
            "divisions": _one("portfolio_divisions", t.divisions),
            "bill_of_materials": _one("portfolio_bill", t.bill),
            "needs_by_period": _one("portfolio_needs", t.needs),
            "packages": _one("portfolio_packages", t.packages),
            "cost_curve": _one("portfolio_curve", t.curve),
            "exceptions": ("portfolio_exceptions", exceptions),
            "issues": _one("portfolio_issues", t.issues),
            "run": ("run", typed("run", run_table(manifest))),
        },
    )  # fmt: skip
    exceptions.unlink()
    write_report(stage / "report.html", manifest, t)
    progress("writing: checksums")
    write_manifest(stage, manifest, {"seconds": dict(f.seconds), "lots": f.common.layout.lots})


def _one(table: str, frame: pd.DataFrame) -> tuple[str, pd.DataFrame]:
    return table, typed(table, frame)


def _linked(source: Path, stage: Path, name: str) -> Path:
    """A shard in the stage under its own name: linked, or copied where the disk can't link."""
    target = stage / name
    target.parent.mkdir(exist_ok=True)
    try:
        os.link(source / name, target)
    except OSError:
        shutil.copyfile(source / name, target)
    return target


def _moved(source: Path, target: Path) -> None:
    """A file in its new place, which may be on another disk."""
    try:
        os.replace(source, target)
    except OSError:
        copy_checked(source, target)


def _check_lots(parts: Sequence[Path], f: Finished, issues: pd.DataFrame) -> None:
    """Every row of the lots file was read, and every lot read is written; rows are more than lots only where a repeat
    was told."""
    written = sum(pq.read_metadata(part).num_rows for part in parts)
    read, rows = (sum(o.facts[key] for o in f.first) for key in ("lots", "rows"))
    repeats_told = bool((issues["code"] == "lot_repeated").any())
    if rows != f.common.layout.lots or written != read or (read != rows and not repeats_told):
        found = f"{f.common.layout.lots:,} rows of lots, {rows:,} read as {read:,} lots, {written:,} written"
        raise OutputError(f"{found}; a fault of ours")


# --- manifest -----------------------------------------------------------------------------------------------------


def _manifest(
    f: Finished, t: Tables, name: str, inputs: list[dict[str, Any]], options: Mapping[str, Any]
) -> dict[str, Any]:
    """run.json but for the outputs' checksums; without clock, host or path."""
    by_status: dict[str, int] = {}
    for outcome in f.second:
        for status, n in outcome.facts["by_status"].items():
            by_status[status] = by_status.get(status, 0) + n
    by_status = dict(sorted(by_status.items()))
    exceptions = int(t.reasons.lots.sum())
    code = exit_code(by_status, exceptions)
    wind = [v for o in f.first for v in o.facts["wind"]]
    about = basis(f.portfolio, wind)
    severities = {str(k): int(n) for k, n in t.issues["severity"].value_counts().items()} if len(t.issues) else {}
    return {
        "caution": CAUTION,
        "basis": about,
        "schema_version": SCHEMA_VERSION,
        "run_id": name,
        "portfolio": f.portfolio.name,
        "exit_code": code,
        "counts": {
            "lots": int(t.counts.by_status.sum()),
            "tracts": len(t.tracts),
            "divisions": len(t.divisions),
            "by_status": by_status,
            "issues_by_severity": dict(sorted(severities.items())),
            "demand_rows": sum(o.facts["rows"] for o in f.second),
        },
        "settings": f.portfolio.settings(),
        "defaults_taken": f.portfolio.base.defaults_taken(),
        "options": dict(options),
        "crs": f.common.crs,
        "units": "US customary; each column's unit is in its name or in gpkg_data_columns",
        "inputs": inputs,
        "versions": versions(),
        "recorded": {
            "provenance": _provenance(f),
            "packages": [{"shared_by": p.name, **p.facts} for p in f.plans],
            "houses": [v.key for v in f.common.variants],
            "chunks": len(f.common.layout.chunks),
            "most_lots_of_a_chunk": max(chunk.lots for chunk in f.common.layout.chunks),
        },
        "summary": _summary(f, t, about, by_status, exceptions, code, severities, name),
    }


def _provenance(f: Finished) -> dict[str, str]:
    out: dict[str, str] = {}
    for outcome in f.first:
        for key, text in outcome.facts["provenance"].items():
            out.setdefault(key, text)
    return dict(sorted(out.items()))


def _summary(
    f: Finished,
    t: Tables,
    about: str,
    by_status: Mapping[str, int],
    exceptions: int,
    code: int,
    severities: Mapping[str, int],
    name: str,
) -> dict[str, Any]:
    """The summary for people and machines; without path or clock."""
    hardware, total = (sum(o.facts[k] for o in f.second) for k in ("hardware_cents", "total_cents"))
    proven = sum(bool(p.facts.get("proven")) for p in f.plans)
    cost = sum(p.facts.get("cost_cents", 0) for p in f.plans)
    bound = sum(p.facts.get("lower_bound_cents", 0) for p in f.plans)
    return {
        "caution": CAUTION,
        "basis": about,
        "portfolio": f.portfolio.name,
        "lots": int(t.counts.by_status.sum()),
        "tracts": len(t.tracts),
        "divisions": len(t.divisions),
        "by_status": dict(by_status),
        "exceptions": exceptions,
        "exception_lots_by_reason": t.reasons.total(),
        "packages": int(len(t.packages.drop_duplicates(["shared_by", "tier"]))),
        "packages_shared_by": f.portfolio.packages.per,
        "package_groups": len(f.plans),
        "package_groups_proven": proven,
        "packages_cost": cost / 100,
        "packages_gap": round((cost - bound) / cost, 6) if cost else 0.0,
        "hardware_cost": hardware / 100,
        "total_cost": total / 100,
        "lots_costed": sum(o.facts["costed"] for o in f.second),
        "order_cost": float(np.round(t.divisions["order_cost"].sum(), 2)),
        "issues": dict(sorted(severities.items())),
        "demand_rows": sum(o.facts["rows"] for o in f.second),
        "run_id": name,
        "exit_code": code,
    }
