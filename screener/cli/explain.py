"""`screener explain`: how every number of one lot came about."""

from __future__ import annotations

from pathlib import Path

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener explain tract.toml --lot B-07
  screener explain tract.toml --lot B-07 --point 'truss tie, end zone'"""


@click.command(epilog=EPILOG)
@click.argument("tract", type=click.Path(dir_okay=False))
@click.option("--lot", required=True, help="Lot id.")
@click.option("--point", default=None, help="Only this connection point.")
@click.option("--json", "as_json", is_flag=True, help="Print the text inside JSON.")
def command(tract: str, lot: str, point: str | None, as_json: bool) -> int:
    """Derive every number of one lot of TRACT: formula, values with units, source section, governing case."""
    from screener.config import load_tract
    from screener.explain import explain

    text = explain(load_tract(Path(tract)), lot, point)
    if as_json:
        printing.say_json({"lot_id": lot, "point": point, "text": text})
    else:
        printing.say(text)
    return errors.OK
