"""`screener swap`: what another plan on one lot, or a cancellation, does to money, stock and paper."""

from __future__ import annotations

from pathlib import Path

import click

from screener import errors
from screener.cli import printing
from screener.cli.progress import progress_bar

EPILOG = """\b
Examples:
  screener swap tract.toml --lot B-07 --plan anvil --style A
  screener swap tract.toml --lot B-07 --mirrored
  screener swap tract.toml --cancel B-07"""


@click.command(epilog=EPILOG)
@click.argument("tract", type=click.Path(dir_okay=False))
@click.option("--lot", default=None, help="Lot that gets another plan, or is mirrored.")
@click.option("--plan", default="", help="Its new plan.")
@click.option("--style", default="", help="Front style; default the plan's first.")
@click.option("--options", default=None, help="Built options, separated by ;")
@click.option("--mirrored/--not-mirrored", default=None, help="Build it mirrored, or not.")
@click.option("--cancel", default=None, help="Lot whose buyer cancels: it has no plan then.")
@click.option("--json", "as_json", is_flag=True, help="Print the difference as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
def command(
    tract: str,
    lot: str | None,
    plan: str,
    style: str,
    options: str | None,
    mirrored: bool | None,
    cancel: str | None,
    as_json: bool,
    quiet: bool,
) -> int:
    """Change one lot of TRACT and show the difference: two full runs, nothing is written."""
    from screener.config import load_tract
    from screener.swap import Change, difference, lines_of, run_with

    if bool(lot) == bool(cancel) or (lot and not plan and mirrored is None):
        raise click.UsageError("expected --lot with --plan or --mirrored, or --cancel")
    change = Change(str(lot or cancel), plan, style, options, mirrored, bool(cancel))
    project = load_tract(Path(tract))
    with progress_bar(quiet) as progress:
        found = difference(run_with(project, None, progress), run_with(project, change, progress), change)
    if as_json:
        printing.say_json(found)
        return errors.OK
    for line in lines_of(found):
        printing.say(line)
    return errors.OK
