"""`screener run`: the main job."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from screener import errors
from screener.cli import printing
from screener.cli.job_options import done_already, finish, job_options, may_resume, tell_place, what_to_do
from screener.cli.progress import progress_bar, silent

if TYPE_CHECKING:
    from screener.keeping import Keep
    from screener.publish import Destination

EPILOG = """\b
Examples:
  screener run tract.toml
  screener run tract.toml --allow-exceptions --json > summary.json
  screener run tract.toml --resume

\b
Exit code 3 means finished, with lots that need a person; see exceptions.csv
and `screener explain`. --allow-exceptions makes it 0."""


@click.command(epilog=EPILOG)
@click.argument("tract", type=click.Path(dir_okay=False))
@job_options
def command(tract: str, **options: Any) -> int:
    """Screen TRACT, a project file (TOML), and write all results.

    Results appear all together or not at all; a run replaces its own earlier results.
    """
    summary = run_tract(Path(tract), **what_to_do(options))
    return finish(summary, options, summary_lines)


def run_tract(
    path: Path,
    *,
    quiet: bool = False,
    workers: int | None = None,
    strict: bool = False,
    resume: bool = False,
    overwrite: bool = False,
    allow_remote: bool = False,
) -> dict[str, Any]:
    """Do the job and return the summary. Raises InputError and OutputError, having written nothing."""
    from screener.cli.resuming import kept_parts
    from screener.config import load_tract
    from screener.files.manifest import about_run, input_records
    from screener.publish import LEAST_FREE_BYTES, open_destination

    project = load_tract(path, allow_remote=allow_remote)
    inputs = input_records(project)
    options = {"strict": strict}
    about = about_run(project, inputs, options)
    with open_destination(project.output.folder, overwrite=overwrite) as destination:
        resume = may_resume(project, resume)
        earlier = done_already(destination, about, resume)
        if earlier is not None:
            return earlier
        destination.require_free(LEAST_FREE_BYTES)
        tell_place(destination)
        tell = silent if quiet else printing.tell
        with progress_bar(quiet) as progress, kept_parts(destination, about, resume) as keep:
            name = about["run_id"]
            return _screen_and_write(project, inputs, options, name, destination, progress, workers, tell, keep)


def _screen_and_write(
    project: Any,
    inputs: Any,
    options: Any,
    name: str,
    destination: Destination,
    progress: Any,
    workers: int | None,
    tell: Callable[[str], None],
    keep: Keep,
) -> dict[str, Any]:
    from screener.files.manifest import build_manifest
    from screener.files.results import space_needed, write_results
    from screener.pipeline import screen

    results = screen(project, progress=progress, workers=workers or default_workers(), tell=tell, keep=keep)
    if options["strict"]:
        refuse_warnings(results.issues)
    code = exit_code(results)
    manifest = build_manifest(project, inputs, options, results.lots, results.issues, code, results.run)
    summary = summarise(project.name, results, manifest)
    manifest["summary"] = summary
    destination.require_free(space_needed(results))
    progress("writing")
    with destination.stage(name) as folder:
        write_results(folder, results, manifest, extra_files(results, manifest))
    return {**summary, "results": str(destination.output)}


def default_workers() -> int:
    """The cores this process may use."""
    import os

    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def refuse_warnings(issues: Any) -> None:
    """With --strict: raise where anything was worth a warning."""
    from hazard.issues import InputError, Issue

    keys = ("code", "severity", "where", "found", "expected", "done", "lot_id")
    rows = issues[issues["severity"] == "warn"]
    if len(rows):
        cells = [{key: str(row[key]) for key in keys} for row in rows.to_dict("records")]
        raise InputError([Issue(**found, place=None) for found in cells])


def exit_code(results: Any) -> int:
    """0 where every lot was screened, 3 where some are exceptions."""
    unscreened = (results.lots["status"] != "screened").any()
    return errors.EXCEPTIONS if bool(unscreened) or len(results.exceptions) else errors.OK


def extra_files(results: Any, manifest: Mapping[str, Any]) -> Mapping[str, Callable[[Path], None]]:
    """Further files of a run, name -> writer: what `screener.report` offers under `files`."""
    from screener import report

    maker = getattr(report, "files", None)
    found: Mapping[str, Callable[[Path], None]] = maker(results, manifest) if maker is not None else {}
    return found


def summarise(name: str, results: Any, manifest: Mapping[str, Any]) -> dict[str, Any]:
    """The summary for people and machines; without path or clock. The pipeline's own facts stand under their names."""
    lots = results.lots
    tiers = lots["tier"].dropna().astype("str") if "tier" in lots.columns else lots["status"].iloc[:0]
    reasons = results.exceptions["reason"].value_counts().to_dict() if len(results.exceptions) else {}
    own = {
        "caution": manifest["caution"],
        "basis": manifest["basis"],
        "tract": name,
        "lots": len(lots),
        "by_status": manifest["counts"]["by_status"],
        "tiers": dict(sorted(tiers[tiers != ""].value_counts().to_dict().items())),
        "exceptions": results.exceptions["lot_id"].nunique() if len(results.exceptions) else 0,
        "exceptions_by_reason": dict(sorted(reasons.items())),
        "exception_lots_by_reason": _lots_by_reason(results.exceptions),
        "hardware_cost": _dollars(lots, "hardware_cost"),
        "labour_hours": round(float(lots["labour_hours"].sum()), 2) if "labour_hours" in lots.columns else 0.0,
        "total_cost": _dollars(lots, "total_cost"),
        "lots_costed": int((lots["total_cost"].fillna(0) > 0).sum()) if "total_cost" in lots.columns else 0,
        "issues": manifest["counts"]["issues_by_severity"],
        "run_id": manifest["run_id"],
        "exit_code": manifest["exit_code"],
    }
    return {**results.summary, **own}


def _lots_by_reason(exceptions: Any) -> dict[str, int]:
    """How many lots stand under each reason; a lot may stand under several."""
    if not len(exceptions):
        return {}
    found = exceptions.groupby("reason")["lot_id"].nunique()
    return {str(reason): int(count) for reason, count in sorted(found.items())}


def _dollars(lots: Any, column: str) -> float:
    """A sum of money, each lot's to the cent."""
    from screener.units import cents

    values = lots[column].dropna() if column in lots.columns else []
    return sum(cents(float(value)) for value in values) / 100


_STATUS = {
    "screened": "screened",
    "refer": "refer: package shown, an engineer must confirm",
    "no_hardware": "no_hardware: no package holds",
    "skipped": "skipped: no numbers, input unusable",
}


def summary_lines(summary: Mapping[str, Any]) -> list[str]:
    """The summary for a reader: the caution, the lots, who needs a person, the packages, the money, where to look."""
    lots = printing.counted(summary["lots"], "lot")
    statuses = summary["by_status"]
    lines = [summary["caution"], summary["basis"], f"{summary['tract']}: {lots}: {_counted(statuses)}"]
    if set(statuses) - {"screened"}:
        lines[-1] = f"{summary['tract']}: {lots}"
        lines += [f"  {statuses[s]:>6,}  {words}" for s, words in _STATUS.items() if s in statuses]
    lines += _exception_lines(summary)
    lines.append("packages" if summary["tiers"] else "packages: none")
    lines += [f"  {count:>6,}  {name}" for name, count in summary["tiers"].items()]
    lines += _money_lines(summary)
    lines.append(f"issues: {_counted(summary['issues'])}" + (" (issues.csv)" if summary["issues"] else ""))
    if "note" in summary:
        lines.append(summary["note"])
    lines.append(f"results: {summary['results']}")
    lines.append("  report.html first; tract.gpkg for a GIS; tract.xlsx for a spreadsheet; every table as CSV too")
    return lines


def _counted(counts: Mapping[str, Any]) -> str:
    return ", ".join(f"{count} {name}" for name, count in counts.items()) or "none"


def _exception_lines(summary: Mapping[str, Any]) -> list[str]:
    if not summary["exceptions"]:
        return []
    from screener.report.content import code_table

    known = code_table()
    by_reason = summary.get("exception_lots_by_reason") or summary["exceptions_by_reason"]
    lines = [f"exceptions: {printing.counted(summary['exceptions'], 'lot needs', 'lots need')} a person"]
    for reason, count in sorted(by_reason.items(), key=lambda item: (-item[1], item[0])):
        words = known.get(reason, ("", "", ""))[1]
        lines.append(f"  {count:>6,}  {reason}" + (f": {words}" if words else ""))
    return lines


def _money_lines(summary: Mapping[str, Any]) -> list[str]:
    from screener.units import cents, dollars_text

    hardware, total = (dollars_text(cents(summary[key])) for key in ("hardware_cost", "total_cost"))
    lines = [f"cost: hardware {hardware}, labour {summary['labour_hours']:,.1f} h, together {total}"]
    if summary.get("lots_costed", summary["lots"]) < summary["lots"]:
        lines[0] += f" for {summary['lots_costed']:,} of {summary['lots']:,} lots"
    if summary.get("lots_bought"):
        bought = dollars_text(cents(summary["bought_hardware_cost"]))
        lines.append(
            f"  {printing.counted(summary['lots_bought'], 'lot')} of them bought already ({bought}): not in the bill"
        )
    chosen, one = summary.get("packages_cost"), summary.get("one_package_cost")
    if chosen is not None and one is not None and one > chosen:
        lines.append(f"  one package for every lot would cost {dollars_text(cents(one - chosen))} more")
    elif chosen is not None and "one_package_cost" in summary and one is None:
        lines.append("  no single package can serve every lot")
    if summary.get("packages_proven_cheapest"):
        lines.append("  proven: no other set of as many packages costs less")
    late, waiting = summary.get("orders_late", 0), summary.get("lots_in_forecast", 0)
    if late:
        lines.append(
            f"  {printing.counted(late, 'order line is', 'order lines are')} late: the day to order by has passed"
        )
    if waiting:
        lines.append(f"  {printing.counted(waiting, 'lot')} with no plan yet: in the forecast, not in these costs")
    return lines
