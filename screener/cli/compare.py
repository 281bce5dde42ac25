"""`screener compare`: what changed between two runs."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener compare results_before results
  screener compare results_before results --json > changes.json
  screener compare results_before results --html changes.html"""

_SHOWN_LOTS = 40


@click.command(epilog=EPILOG)
@click.argument("results_a", type=click.Path(file_okay=False))
@click.argument("results_b", type=click.Path(file_okay=False))
@click.option("--html", "page", default=None, help="Write a page: map of changed lots, reasons, items up and down.")
@click.option("--json", "as_json", is_flag=True, help="Print every change as JSON.")
def command(results_a: str, results_b: str, page: str | None, as_json: bool) -> int:
    """Show what changed from RESULTS_A to RESULTS_B: inputs and settings, lot by lot, and in the bill."""
    from screener.comparison import compare

    changes = compare(Path(results_a), Path(results_b))
    if page is not None:
        from screener.report.comparison_page import write_comparison

        write_comparison(Path(page), Path(results_a), Path(results_b), changes)
    if as_json:
        printing.say_json(changes)
        return errors.OK
    for line in change_lines(changes):
        printing.say(line)
    return errors.OK


def change_lines(changes: dict[str, Any]) -> list[str]:
    """The changes for a reader: money, causes, packages, the bill, exceptions; lot by lot at the end."""
    cost = changes["total_cost"]
    lines = [
        f"total cost: {_dollars(cost['before'])} -> {_dollars(cost['after'])} ({_change(cost['change'])})",
        f"lots: {len(changes['lots_added'])} added, {len(changes['lots_removed'])} removed, "
        f"{len(changes['lots_changed'])} changed",
    ]
    lines += [f"cause: {text}" for text in changes["causes"]]
    lines += _moves(changes["lots_changed"])
    lines += _reasons(changes["package_changes"])
    lines += [f"column {name}: {printing.counted(count, 'lot')}" for name, count in changes["columns_changed"].items()]
    for row in changes["bill_changed"]:
        (had, has), (was, now) = row["quantity_with_waste"], row["cost"]
        lines.append(f"bill {row['item']}: pieces {_number(had)} -> {_number(has)}, {_dollars(was)} -> {_dollars(now)}")
    lines += [f"exception gone: {row['lot_id']} {row['reason']}" for row in changes["exceptions_gone"]]
    lines += [f"exception new: {row['lot_id']} {row['reason']}" for row in changes["exceptions_new"]]
    lines += [f"lot added: {lot}" for lot in changes["lots_added"][:_SHOWN_LOTS]]
    lines += [f"lot removed: {lot}" for lot in changes["lots_removed"][:_SHOWN_LOTS]]
    for lot in changes["lots_changed"][:_SHOWN_LOTS]:
        what = "; ".join(f"{k} {a or '(blank)'} -> {b or '(blank)'}" for k, (a, b) in lot["changes"].items())
        lines.append(f"lot {lot['lot_id']}: {what}")
    if len(changes["lots_changed"]) > _SHOWN_LOTS:
        lines.append(f"... and {len(changes['lots_changed']) - _SHOWN_LOTS} lots more (--json lists all)")
    return lines


def _moves(lots: list[dict[str, Any]]) -> list[str]:
    """How many lots went from one package to another, the most first."""
    counts = Counter((a or "none", b or "none") for lot in lots for a, b in [lot["changes"].get("tier", ("", ""))])
    del counts["none", "none"]
    ordered = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return [
        f"package {a} -> {b}: {printing.counted(n, 'lot')}".replace("package package", "package")
        for (a, b), n in ordered
    ]


def _reasons(lots: list[dict[str, Any]]) -> list[str]:
    """Why lots have another package or other items: counts by reason, then lot by lot."""
    from screener.comparison_reasons import KINDS

    counts = Counter(row["reason"] for row in lots)
    lines = [f"why: {printing.counted(n, 'lot')}: {KINDS[kind]}" for kind, n in counts.most_common()]
    for row in lots[:_SHOWN_LOTS]:
        a, b = (tier or "none" for tier in row["tier"])
        lines.append(f"why {row['lot_id']}: {a} -> {b}: {row['why']}")
    return lines


def _dollars(text: str) -> str:
    return f"${_number(text)}" if not text.startswith("-") else f"-${_number(text[1:])}"


def _change(text: str) -> str:
    return f"{text[:1]}${_number(text[1:])}"


def _number(text: str) -> str:
    """A decimal text with thousands apart, its decimals as they are."""
    whole, dot, rest = text.partition(".")
    return f"{int(whole):,}{dot}{rest}" if whole.lstrip("-").isdecimal() else text
