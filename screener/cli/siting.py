"""`screener siting`: which house on which lot costs least in hardware."""

from __future__ import annotations

from pathlib import Path

import click

from screener import errors
from screener.cli import printing
from screener.cli.progress import progress_bar

EPILOG = """\b
Examples:
  screener siting tract.toml --lots "A-29;A-30;B-31;C-14"
  screener siting tract.toml --all-lots --out siting.csv"""


@click.command(epilog=EPILOG)
@click.argument("tract", type=click.Path(dir_okay=False))
@click.option("--lots", default="", help="Lots that may take another house, separated by ;")
@click.option("--all-lots", is_flag=True, help="Every lot with a package may.")
@click.option("--any-counts", is_flag=True, help="Plans need not stand as often as now.")
@click.option("--out", default=None, help="File for the table; default siting.csv beside TRACT.")
@click.option("--json", "as_json", is_flag=True, help="Print the table as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
def command(
    tract: str, lots: str, all_lots: bool, any_counts: bool, out: str | None, as_json: bool, quiet: bool
) -> int:
    """Deal the houses of the free lots of TRACT out again, at least cost, with the packages of the run.

    Without --lots, those whose lots column may_change says plan. The same plan and style never stand side by side or
    across the street. A house's hand and heading do not change its hardware here: every wind direction counts.
    """
    from screener.config import load_tract
    from screener.pipeline import choose, prepare
    from screener.siting_advice import advice_table, siting_advice

    project = load_tract(Path(tract))
    with progress_bar(quiet) as progress:
        prepared = prepare(project, progress=progress)
        selection = choose(prepared, progress=progress)
        names = [name.strip() for name in lots.split(";") if name.strip()]
        if all_lots:
            names = [str(prepared.site.points.lot_id[i]) for i in selection.tried if selection.tier_of_lot[i] >= 0]
        advice = siting_advice(prepared, selection, names, keep_counts=not any_counts, progress=progress)
    frame = advice_table(prepared, selection, advice)
    file = Path(out) if out else project.folder / "siting.csv"
    frame.to_csv(file, index=False, lineterminator="\n")
    if as_json:
        printing.say_json(frame.to_dict("records"))
        return errors.OK
    saved = (advice.cost_now - advice.cost) / 100
    moved = int((advice.now != advice.best).sum())
    printing.say(f"{printing.counted(len(frame), 'lot')} dealt out again: {moved} change, {saved:,.2f} dollars saved")
    printing.say(
        f"cost {advice.cost_now / 100:,.2f} -> {advice.cost / 100:,.2f}; no assignment costs less than "
        f"{advice.lower_bound / 100:,.2f}" + (": proven" if advice.proven else "")
    )
    printing.say(f"same plan and style side by side or face to face now: {advice.clashes_now} times")
    for row in frame[frame["change"] != 0].to_dict("records")[:40]:
        printing.say(
            f"  {row['lot_id']}: {row['plan_now']} {row['style_now']} -> {row['plan']} {row['style']}, "
            f"{row['tier_now']} -> {row['tier']}, {row['change']:+,.2f}"
        )
    printing.say(f"written: {file}")
    return errors.OK
