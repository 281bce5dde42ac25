"""`screener hazards`: exposure, Kzt and every other hazard of the lots, without plans or hardware."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from screener.cli import printing
from screener.cli.job_options import done_already, finish, job_options, may_resume, tell_place, what_to_do
from screener.cli.progress import progress_bar, silent

if TYPE_CHECKING:
    from screener.keeping import Keep
    from screener.publish import Destination

EPILOG = """\b
Examples:
  screener hazards tract.toml
  screener hazards tract.toml --height 16 --output hazards
  screener hazards tract.toml --profile B-07 --profile C-12 --bearing 270"""


@click.command(epilog=EPILOG)
@click.argument("tract", type=click.Path(dir_okay=False))
@click.option("--height", type=click.FloatRange(5, 130), default=25.0, show_default=True, metavar="FT",
              help="Mean roof height of lots without a plan, ft.")  # fmt: skip
@click.option("--output", type=click.Path(file_okay=False), default=None,
              help="Folder of the results; default: the project's output folder with '-hazards' added.")  # fmt: skip
@click.option("--profile", multiple=True, metavar="LOT",
              help="Also draw this lot's terrain profile and exposure by direction; may be given again.")  # fmt: skip
@click.option("--bearing", type=click.FloatRange(0, 360), default=None, metavar="DEG",
              help="Bearing the wind of the profiles comes from; default: each lot's governing one.")  # fmt: skip
@job_options
def command(tract: str, **options: Any) -> int:
    """Screen the ground of TRACT, a project file (TOML), and write the hazards of every lot.

    Needs [tract], [lots] and [hazards]; [plans] is used for roof heights where its folder is there. Results appear all
    together or not at all.
    """
    if options["bearing"] is not None and not options["profile"]:
        raise click.UsageError("--bearing needs --profile LOT")
    summary = run_hazards(Path(tract), **what_to_do(options))
    return finish(summary, options, summary_lines)


def run_hazards(
    path: Path,
    *,
    height: float = 25.0,
    output: str | None = None,
    profile: tuple[str, ...] = (),
    bearing: float | None = None,
    quiet: bool = False,
    workers: int | None = None,
    strict: bool = False,
    resume: bool = False,
    overwrite: bool = False,
    allow_remote: bool = False,
) -> dict[str, Any]:
    """Do the job and return the summary. Raises InputError and OutputError, having written nothing."""
    from screener.cli.resuming import kept_parts
    from screener.config import load_hazard_project
    from screener.files.manifest import about_run, input_records
    from screener.hazard_product import Wish
    from screener.publish import LEAST_FREE_BYTES, open_destination

    project = load_hazard_project(path, allow_remote=allow_remote)
    inputs = input_records(project)
    options = {"product": "hazards", "height_ft": height, "profile": list(profile), "bearing_deg": bearing,
               "strict": strict}  # fmt: skip
    about = about_run(project, inputs, options)
    with open_destination(output_folder(project, output), overwrite=overwrite) as destination:
        resume = may_resume(project, resume)
        earlier = done_already(destination, about, resume)
        if earlier is not None:
            return earlier
        destination.require_free(LEAST_FREE_BYTES)
        tell_place(destination)
        with progress_bar(quiet) as progress, kept_parts(destination, about, resume) as keep:
            wish = Wish(profile, bearing)
            name, tell = about["run_id"], silent if quiet else printing.tell
            return _compute_and_write(project, inputs, options, name, wish, destination, progress, workers, tell, keep)


def output_folder(project: Any, given: str | None) -> Path:
    """Where the results go: as given, else beside the full run's, else `results-hazards` beside the project file."""
    if given is not None:
        return Path(given)
    folder: Path = project.output.folder if project.output is not None else project.folder / "results"
    return folder.with_name(f"{folder.name}-hazards")


def _compute_and_write(
    project: Any, inputs: Any, options: dict[str, Any], name: str, wish: Any, destination: Destination, progress: Any,
    workers: int | None, tell: Callable[[str], None], keep: Keep,
) -> dict[str, Any]:  # fmt: skip
    from screener.cli.run import default_workers, exit_code, refuse_warnings
    from screener.files.hazard_files import space_needed, write_hazards
    from screener.files.manifest import build_manifest
    from screener.hazard_product import hazards_alone

    results = hazards_alone(
        project,
        height_ft=options["height_ft"],
        wish=wish,
        progress=progress,
        workers=workers or default_workers(),
        tell=tell,
        keep=keep,
    )
    if options["strict"]:
        refuse_warnings(results.issues)
    code = exit_code(results)
    manifest = build_manifest(project, inputs, options, results.lots, results.issues, code, results.run)
    summary = summarise(project.name, results, manifest)
    manifest["summary"] = summary
    destination.require_free(space_needed(results))
    progress("writing")
    with destination.stage(name) as folder:
        write_hazards(folder, results, manifest)
    return {**summary, "results": str(destination.output)}


def summarise(name: str, results: Any, manifest: Mapping[str, Any]) -> dict[str, Any]:
    """The summary for people and machines; without path or clock."""
    reasons = results.exceptions["reason"].value_counts().to_dict() if len(results.exceptions) else {}
    return {
        "caution": manifest["caution"],
        "basis": manifest["basis"],
        "tract": name,
        "lots": len(results.lots),
        "by_status": manifest["counts"]["by_status"],
        **results.summary,
        "exceptions": results.exceptions["lot_id"].nunique() if len(results.exceptions) else 0,
        "exceptions_by_reason": dict(sorted(reasons.items())),
        "pictures": sorted(results.pictures),
        "issues": manifest["counts"]["issues_by_severity"],
        "run_id": manifest["run_id"],
        "exit_code": manifest["exit_code"],
    }


def summary_lines(summary: Mapping[str, Any]) -> list[str]:
    """The summary in a few lines; the caution comes first."""

    def counted(counts: Mapping[str, Any]) -> str:
        return ", ".join(f"{count} {name}" for name, count in counts.items()) or "none"

    flips = summary["flips"]
    greatest = summary["kzt_greatest"]
    lines = [
        summary["caution"],
        summary["basis"],
        f"{summary['tract']}: {summary['lots']} lots: {counted(summary['by_status'])}",
        f"exposure (worst direction): {counted(summary['exposure'])}; ground: {counted(summary['ground_state'])}",
        f"Kzt: above 1 on {summary['kzt_above_1_lots']} lots"
        + (f", greatest {greatest:.2f}" if greatest is not None else ", not known anywhere"),
        f"close calls (flips.csv): exposure of {flips['exposure']} lots, Kzt of {flips['Kzt']} lots: look there first",
    ]
    if summary["exceptions"]:
        lines.append(f"exceptions: {summary['exceptions']} lots ({counted(summary['exceptions_by_reason'])})")
    lines.append(f"issues: {counted(summary['issues'])}")
    if "note" in summary:
        lines.append(summary["note"])
    lines += [f"picture: {name}" for name in summary["pictures"]]
    lines.append(f"results: {summary['results']} (hazards.gpkg, hazards.csv, flips.csv, run.json)")
    return lines
