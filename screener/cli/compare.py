"""`screener compare`: what changed between two runs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener compare results_before results
  screener compare results_before results --json > changes.json"""

_SHOWN_LOTS = 40


@click.command(epilog=EPILOG)
@click.argument("results_a", type=click.Path(file_okay=False))
@click.argument("results_b", type=click.Path(file_okay=False))
@click.option("--json", "as_json", is_flag=True, help="Print every change as JSON.")
def command(results_a: str, results_b: str, as_json: bool) -> int:
    """Show what changed from RESULTS_A to RESULTS_B: inputs and settings, lot by lot, and in the bill."""
    from screener.comparison import compare

    changes = compare(Path(results_a), Path(results_b))
    if as_json:
        printing.say_json(changes)
        return errors.OK
    for line in change_lines(changes):
        printing.say(line)
    return errors.OK


def change_lines(changes: dict[str, Any]) -> list[str]:
    """The changes for a reader, the money first."""
    cost = changes["total_cost"]
    lines = [
        f"total cost: ${cost['before']} -> ${cost['after']} ({cost['change']})",
        f"lots: {len(changes['lots_added'])} added, {len(changes['lots_removed'])} removed, "
        f"{len(changes['lots_changed'])} changed",
    ]
    lines += [f"cause: {text}" for text in changes["causes"]]
    lines += [f"column {name}: {count} lots" for name, count in changes["columns_changed"].items()]
    for lot in changes["lots_changed"][:_SHOWN_LOTS]:
        what = "; ".join(f"{k} {a or '(blank)'} -> {b or '(blank)'}" for k, (a, b) in lot["changes"].items())
        lines.append(f"lot {lot['lot_id']}: {what}")
    if len(changes["lots_changed"]) > _SHOWN_LOTS:
        lines.append(f"... and {len(changes['lots_changed']) - _SHOWN_LOTS} lots more (--json lists all)")
    for row in changes["bill_changed"]:
        lines.append(
            f"bill {row['item']}: pieces {row['quantity_with_waste'][0]} -> {row['quantity_with_waste'][1]}, "
            f"cost {row['cost'][0]} -> {row['cost'][1]}"
        )
    lines += [f"exception gone: {row['lot_id']} {row['reason']}" for row in changes["exceptions_gone"]]
    lines += [f"exception new: {row['lot_id']} {row['reason']}" for row in changes["exceptions_new"]]
    return lines
