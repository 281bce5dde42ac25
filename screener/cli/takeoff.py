"""`screener takeoff`: a supplier's or framer's counts against ours; waste learnt from as-built counts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener takeoff results --counts framer.xlsx
  screener takeoff results --counts phase1_used.csv --hardware hardware.csv --learn-waste learnt.csv

\b
Columns: item and quantity (net pieces), with plan (counts of one house), phase or
lot_id where they say so; as-built: item and used, or bought and returned."""


@click.command(epilog=EPILOG)
@click.argument("results", type=click.Path(file_okay=False))
@click.option("--counts", required=True, type=click.Path(dir_okay=False), help="The count list: CSV or XLSX.")
@click.option(
    "--tolerance", type=click.FloatRange(0, 1), default=0.02, show_default=True, help="Share that still agrees."
)
@click.option("--hardware", type=click.Path(dir_okay=False), help="The hardware list that learnt waste is put into.")
@click.option("--learn-waste", "learn", type=click.Path(dir_okay=False), help="Where to write that list.")
@click.option("--json", "as_json", is_flag=True, help="Print every row as JSON.")
def command(results: str, counts: str, tolerance: float, hardware: str | None, learn: str | None, as_json: bool) -> int:
    """Compare a count list with the counts of RESULTS, by item and by plan, phase or lot; learn waste."""
    from hazard.issues import Issues
    from screener.count_lists import read_counts
    from screener.purchase_case import read_case
    from screener.takeoff import compare_counts, learnt_waste, write_learnt

    if (learn is None) != (hardware is None):
        raise click.UsageError("--learn-waste and --hardware go together: the list to copy, and where to")
    case = read_case(Path(results))
    noticed = Issues()
    rows = read_counts(Path(counts), ("quantity", "used", "bought"), noticed)
    for line in printing.issue_lines(noticed):
        printing.tell(line)
    compared, learnt = compare_counts(case, rows, tolerance), learnt_waste(case, rows)
    changed = None
    if learn is not None and hardware is not None:
        if Path(learn).exists():
            raise errors.OutputError(f"{learn}: is there already; name a new file")
        try:
            changed = write_learnt(Path(hardware), Path(learn), learnt)
        except OSError as error:
            raise errors.OutputError(f"{learn}: {error.strerror or error}") from error
    if as_json:
        printing.say_json({"counts": compared, "waste": learnt, "rows_changed": changed})
        return errors.OK
    for line in takeoff_lines(compared, learnt):
        printing.say(line)
    if changed is not None:
        printing.say(f"{printing.counted(changed, 'row')} of {Path(str(hardware)).name} with learnt waste: {learn}")
    return errors.OK


def takeoff_lines(compared: list[dict[str, Any]], learnt: list[dict[str, Any]]) -> list[str]:
    """What differs, one line each; what agrees is counted; learnt waste at the end."""
    agree = [r for r in compared if r["verdict"].startswith("agrees")]
    lines = []
    if compared:
        lines.append(
            f"{printing.counted(len(compared), 'count')}: {len(agree)} agree, {len(compared) - len(agree)} do not"
        )
    missing: dict[str, list[str]] = {}
    for r in compared:
        where = ", ".join(f"{k.replace('_id', '')} {r[k]}" for k in ("plan", "phase", "lot_id") if r[k])
        if r["verdict"] == "missing":
            missing.setdefault(where, []).append(str(r["item"]))
        elif r not in agree:
            share = "" if r["share"] is None else f" ({100 * r['share']:+.1f} %)"
            detail = f"; {r['detail']}" if r["detail"] else ""
            lines.append(
                f"{r['verdict']}: {r['item']}{f' [{where}]' if where else ''}: "
                f"theirs {r['theirs']:,.6g}, ours {r['ours']:,.6g}{share}{detail}"
            )
    for where, items in missing.items():
        lines.append(f"not on their list{f' [{where}]' if where else ''}: {'; '.join(items)}")
    for r in learnt:
        now = "none" if r["learnt_waste"] is None else f"{100 * r['learnt_waste']:.1f} %"
        lines.append(
            f"waste {r['item']}: used {r['used']:,.6g} of {r['net']:,.6g} counted, listed "
            f"{100 * r['listed_waste']:.1f} %, learnt {now}"
            + ("" if r["verdict"] == "learnt" else f" ({r['verdict']})")
        )
    return lines or ["nothing to compare"]
