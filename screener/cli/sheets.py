"""`screener sheets`: a page for each lot, anchor layouts, and the engineer's packet of one lot."""

from __future__ import annotations

from pathlib import Path

import click

from screener import errors
from screener.cli import printing
from screener.cli.progress import progress_bar

EPILOG = """\b
Examples:
  screener sheets tract.toml --lot B-07
  screener sheets results --out sheets --layouts
  screener sheets tract.toml --lot A-29 --lot A-30 --pdf
  screener sheets tract.toml --packet A-29 --pdf

\b
A results folder is used while it is of the project's present inputs;
otherwise the tract is screened now. Pages are HTML and need no other file.
PDF is printed by chromium, where the machine has it."""


@click.command(epilog=EPILOG)
@click.argument("results_or_tract", type=click.Path())
@click.option("--lot", "lots", multiple=True, help="Lot id; may be repeated. Default: every lot.")
@click.option("--packet", default=None, help="Write the engineer's packet of this lot instead.")
@click.option("--layouts", is_flag=True, help="Also anchor and strap layouts (SVG, DXF) of the houses on these lots.")
@click.option("--pdf", is_flag=True, help="Also PDF.")
@click.option("--out", type=click.Path(file_okay=False), default=None, help="Folder; default sheets by the project.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="No summary and no progress.")
def command(
    results_or_tract: str,
    lots: tuple[str, ...],
    packet: str | None,
    layouts: bool,
    pdf: bool,
    out: str | None,
    as_json: bool,
    quiet: bool,
) -> int:
    """Write lot sheets of RESULTS_OR_TRACT: one page a lot with its anchors, load path, items, counts and checks."""
    from screener.sheets.job import write_packet, write_sheets

    if packet is not None and (lots or layouts):
        raise click.UsageError("--packet writes the packet of one lot: leave out --lot and --layouts")
    folder = Path(out) if out else None
    with progress_bar(quiet) as progress:
        if packet is not None:
            done = write_packet(Path(results_or_tract), packet, folder, pdf=pdf, progress=progress)
        else:
            done = write_sheets(Path(results_or_tract), lots, folder, layouts=layouts, pdf=pdf, progress=progress)
    names = [file.relative_to(done.folder).as_posix() for file in done.files]
    if as_json:
        printing.say_json({"folder": str(done.folder), "files": names, "run_id": done.run, "remarks": done.remarks})
    elif not quiet:
        printing.say(f"{len(names)} files in {done.folder}" + (f": {names[0]}" if len(names) == 1 else ""))
    for remark in done.remarks:
        printing.tell(remark)
    return errors.OK
