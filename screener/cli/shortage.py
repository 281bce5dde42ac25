"""`screener shortage`: how likely a proposed order falls short."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener shortage results --order order.csv
  screener shortage results --order order.xlsx --phase 2 --json

\b
The list has a column item, and quantity (pieces) or boxes."""


@click.command(epilog=EPILOG)
@click.argument("results", type=click.Path(file_okay=False))
@click.option("--order", required=True, type=click.Path(dir_okay=False), help="The proposed order: CSV or XLSX.")
@click.option("--phase", default="", help="Only the lots of this phase.")
@click.option("--json", "as_json", is_flag=True, help="Print every item as JSON.")
def command(results: str, order: str, phase: str, as_json: bool) -> int:
    """Show, item by item, how likely the need of RESULTS exceeds a proposed order, and by how many pieces."""
    from hazard.issues import Issues
    from screener.count_lists import read_counts
    from screener.purchase_case import read_case
    from screener.shortage import shortage

    noticed = Issues()
    listed = read_counts(Path(order), ("quantity", "boxes"), noticed)
    for line in printing.issue_lines(noticed):
        printing.tell(line)
    rows = shortage(read_case(Path(results)), listed, phase)
    if as_json:
        printing.say_json({"items": rows})
        return errors.OK
    for line in shortage_lines(rows):
        printing.say(line)
    return errors.OK


def shortage_lines(rows: list[dict[str, Any]]) -> list[str]:
    """One line an ordered item, the likeliest shortage first; those that can't fall short are counted; then what is
    needed and not in the order at all."""
    ordered = [r for r in rows if r["in_order"]]
    risky = [r for r in ordered if r["probability_short"] > 5e-4]
    lines = [f"{printing.counted(len(risky), 'ordered item')} may fall short, {len(ordered) - len(risky)} will not"]
    for r in risky:
        lines.append(
            f"{r['item']}: short with probability {100 * r['probability_short']:.1f} %, "
            f"{r['expected_short']:,.1f} pieces expected; have {r['ordered'] + r['stock']:,}, "
            f"need P50 {r['p50_need']:,.0f}, P90 {r['p90_need']:,.0f}"
        )
    absent = [r["item"] for r in rows if not r["in_order"] and r["probability_short"] > 5e-4]
    if absent:
        lines.append(f"needed and not in the order: {'; '.join(sorted(absent))}")
    return lines
