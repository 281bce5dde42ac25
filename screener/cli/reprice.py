"""`screener reprice`: bill, orders and forecast again for another plan mix or price list."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener reprice results --mix thimble=0.5,kettle=0.5
  screener reprice results --hardware new_prices.csv --out repriced
  screener reprice results --certainty 60

\b
Packages stay as chosen; at other prices `screener run` might choose others."""

_SHOWN = 25


def read_mix(ctx: click.Context, param: click.Parameter, value: str | None) -> dict[str, float] | None:
    """Shares written as plan=share,plan=share."""
    if value is None:
        return None
    mix: dict[str, float] = {}
    for part in value.split(","):
        plan, equals, share = part.partition("=")
        try:
            number = float(share)
        except ValueError:
            number = float("nan")
        if not equals or not plan.strip() or not 0 <= number <= 1 or plan.strip() in mix:
            raise click.BadParameter(f"'{part}' is not understood; expected plan=share, each once, shares from 0 to 1")
        mix[plan.strip()] = number
    return mix


@click.command(epilog=EPILOG)
@click.argument("results", type=click.Path(file_okay=False))
@click.option("--mix", callback=read_mix, metavar="PLAN=SHARE,...", help="Shares of plans on lots with no plan yet.")
@click.option("--hardware", type=click.Path(dir_okay=False), help="A hardware list with other prices, boxes, stock.")
@click.option("--certainty", type=click.FloatRange(0, 1e6, min_open=True), help="Houses sold that the mix rests on.")
@click.option("--out", type=click.Path(), help="A new folder for bill, orders and forecast as CSV.")
@click.option("--json", "as_json", is_flag=True, help="Print every change as JSON.")
def command(
    results: str,
    mix: dict[str, float] | None,
    hardware: str | None,
    certainty: float | None,
    out: str | None,
    as_json: bool,
) -> int:
    """Price RESULTS again for another plan mix or hardware list, without working demands again."""
    began = time.perf_counter()
    from screener.purchase_case import read_case
    from screener.purchase_tables import purchase_of
    from screener.repricing import changed_case, changes, stored_purchase, write_tables

    case = read_case(Path(results))
    changed = changed_case(case, mix, Path(hardware) if hardware else None, certainty)
    after = purchase_of(changed)
    seconds = time.perf_counter() - began
    before = stored_purchase(Path(results))
    if out is not None:
        try:
            write_tables(Path(out), after)
        except OSError as error:
            raise errors.OutputError(
                f"{out}: {error.strerror or error}; name a folder that is not there yet"
            ) from error
    found = changes(before, after)
    if as_json:
        printing.say_json({**found, "forecast": after.facts})
        return errors.OK
    for line in change_lines(found):
        printing.say(line)
    if out is not None:
        printing.say(f"written: {out}")
    printing.tell(f"priced again in {seconds:.2f} s")
    return errors.OK


def change_lines(found: dict[str, Any]) -> list[str]:
    """Money, then the items that changed most."""
    (firm, firm_now), (open_, open_now) = found["cost"]["firm"], found["cost"]["forecast"]
    lines = [
        f"firm orders, in boxes: ${firm:,.2f} -> ${firm_now:,.2f} ({firm_now - firm:+,.2f})",
        f"forecast orders, in boxes: ${open_:,.2f} -> ${open_now:,.2f} ({open_now - open_:+,.2f})",
    ]
    rows = sorted(found["items"], key=lambda r: -abs(_more(r, "firm_cost") + _more(r, "forecast_cost")))
    for row in rows[:_SHOWN]:
        p50, p90 = row["p50"], row["p90"]
        money = _more(row, "firm_cost") + _more(row, "forecast_cost")
        parts = [f"{row['item']}: {money:+,.2f} $"]
        if p90 != [0.0, 0.0]:
            parts.append(f"P50 {p50[0]:,.0f} -> {p50[1]:,.0f}, P90 {p90[0]:,.0f} -> {p90[1]:,.0f} pieces")
        lines.append("; ".join(parts))
    if len(rows) > _SHOWN:
        lines.append(f"... and {len(rows) - _SHOWN} items more (--json lists all)")
    return lines if rows else [*lines, "no item changed"]


def _more(row: dict[str, Any], name: str) -> float:
    return float(row[name][1] - row[name][0])
