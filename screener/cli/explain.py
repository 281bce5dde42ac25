"""`screener explain`: how every number of one lot came about."""

from __future__ import annotations

from pathlib import Path

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener explain tract.toml --lot B-07
  screener explain tract.toml --lot B-07 --point 'truss tie, end zone'
  screener explain tract.toml --lot B-07 --html B-07.html"""


@click.command(epilog=EPILOG)
@click.argument("tract", type=click.Path(dir_okay=False))
@click.option("--lot", required=True, help="Lot id.")
@click.option("--point", default=None, help="Only this connection point.")
@click.option("--html", "page", type=click.Path(dir_okay=False), default=None, help="Write it as a page to FILE.")
@click.option("--json", "as_json", is_flag=True, help="Print the sheet as JSON, every connection in full.")
def command(tract: str, lot: str, point: str | None, page: str | None, as_json: bool) -> int:
    """The calculation sheet of one lot of TRACT, from raster cell to chosen item.

    Each step has its formula, values with units and source; each connection its governing case, the next ones, the
    dead load counted, the options and what each holds. As text the hardest-worked connection is taken apart; the page
    and the JSON hold every one; with --point all three hold those of that name.
    """
    from screener.config import load_tract

    loaded = load_tract(Path(tract))
    if page is None and not as_json:
        from screener.explain import explain

        printing.say(explain(loaded, lot, point))
        return errors.OK
    from screener.calculation.html import sheet_html
    from screener.calculation.sheet import to_record
    from screener.explain import explained
    from screener.sheets.write import write_text

    sheet = explained(loaded, lot, point)
    if page is not None:
        write_text(Path(page), sheet_html(sheet))
        printing.tell(f"{page}: {printing.counted(len(sheet.connections), 'connection')}")
    if as_json:
        printing.say_json(to_record(sheet))
    return errors.OK
