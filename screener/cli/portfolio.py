"""`screener portfolio`: every lot of many tracts as one job."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from screener.cli import printing
from screener.cli.job_options import finish, job_options, what_to_do
from screener.cli.progress import progress_bar

EPILOG = """\b
Examples:
  screener portfolio portfolio.toml --allow-exceptions
  screener portfolio portfolio.toml --resume              go on after a kill
  screener portfolio portfolio.toml --scheduler tcp://10.0.0.5:8786

\b
Exit code 3 means finished, with lots that need a person; see exceptions.csv.
--allow-exceptions makes it 0."""


@click.command(epilog=EPILOG)
@click.argument("portfolio", type=click.Path(dir_okay=False))
@job_options
@click.option(
    "--scheduler", default="", metavar="ADDRESS", help="Dask cluster that does the chunks, as tcp://host:port."
)
@click.option(
    "--chunk-lots", type=click.IntRange(1), default=None,
    help="Lots worked on together; by default a tenth of all, from 2500 to 25000.",
)  # fmt: skip
def command(portfolio: str, scheduler: str, chunk_lots: int | None, **options: Any) -> int:
    """Screen all tracts of PORTFOLIO, a portfolio file (TOML; see `screener schema portfolio`).

    Every lot gets its hazards, demands, package and cost; packages are shared by division, tract or portfolio.
    """
    from screener.cli.run import default_workers
    from screener.portfolio.config import load_portfolio
    from screener.portfolio.schedulers import LocalScheduler, scheduler_for

    wanted = what_to_do(options)
    if wanted["allow_remote"]:
        raise click.UsageError("a portfolio reads local rasters only: each chunk reads them again; fetch them first")
    workers = wanted["workers"] or default_workers()
    asked = load_portfolio(Path(portfolio))
    with LocalScheduler(workers) as here, progress_bar(wanted["quiet"]) as progress:
        if not scheduler:
            here.start("screener.portfolio.run")  # while this process imports the same
        from screener.portfolio.run import run_portfolio
        from screener.publish import open_destination

        summary = run_portfolio(
            asked,
            lambda p: open_destination(p.output, overwrite=wanted["overwrite"]),
            progress,
            crew=lambda folder: scheduler_for(workers, scheduler, folder) if scheduler else here,
            chunk_lots=chunk_lots or 0,
            strict=wanted["strict"],
            resume=wanted["resume"],
        )
    return finish(summary, options, summary_lines)


def summary_lines(summary: Mapping[str, Any]) -> list[str]:
    """The summary for a reader."""
    lots = printing.counted(summary["lots"], "lot")
    lines = [summary["caution"], summary["basis"]]
    lines.append(f"{summary['portfolio']}: {lots} in {printing.counted(summary['tracts'], 'tract')}")
    lines += [f"  {n:>9,}  {status}" for status, n in summary["by_status"].items()]
    lines.append(f"exceptions: {printing.counted(summary['exceptions'], 'lot needs', 'lots need')} a person")
    lines.append(
        f"packages: {summary['packages']}, shared by {summary['packages_shared_by']}; "
        f"at most {100 * summary['packages_gap']:.2f} % above the cheapest possible"
    )
    lines.append(
        f"cost of {printing.counted(summary['lots_costed'], 'lot')}: ${summary['total_cost']:,.2f} with labour; "
        f"boxes ordered ${summary['order_cost']:,.2f}"
    )
    issues = ", ".join(f"{n} {name}" for name, n in summary["issues"].items()) or "none"
    lines.append(f"issues: {issues}" + (" (issues.csv)" if summary["issues"] else ""))
    if "note" in summary:
        lines.append(summary["note"])
    lines.append(f"results: {summary['results']}")
    lines.append("  report.html first; portfolio.gpkg for a GIS; lots/ and demands/ as Parquet; every table as CSV")
    return lines
