"""`screener phase-orders`: what every order of the phases does to exposure, packages and money."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from screener import errors
from screener.cli import printing
from screener.cli.progress import progress_bar

EPILOG = """\b
Examples:
  screener phase-orders tract.toml
  screener phase-orders tract.toml --out orders"""


@click.command(epilog=EPILOG)
@click.argument("tract", type=click.Path(dir_okay=False))
@click.option("--out", default=None, help="Folder for phase_orders.csv and .html; default phase_orders.")
@click.option("--json", "as_json", is_flag=True, help="Print the table as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
def command(tract: str, out: str | None, as_json: bool, quiet: bool) -> int:
    """Compare all orders of the phases of TRACT: earlier phases shelter later ones.

    Every lot is designed for the ground at its permit. Up to five phases: all orders; beyond, those that move one.
    """
    from screener.config import load_tract
    from screener.phase_orders import order_table, phase_orders, summary
    from screener.pipeline import prepare

    project = load_tract(Path(tract))
    with progress_bar(quiet) as progress:
        prepared = prepare(project, progress=progress)
        orders, own = phase_orders(prepared, progress)
    frame = order_table(orders, own)
    folder = Path(out) if out else project.folder / "phase_orders"
    _write(folder, project.name, frame, summary(orders, own))
    if as_json:
        printing.say_json(frame.to_dict("records"))
        return errors.OK
    for line in summary(orders, own):
        printing.say(line)
    for row in frame.to_dict("records"):
        printing.say(
            f"  {row['order']}{' (the project)' if row['project_order'] else ''}: ${row['cost']:,.0f}; "
            f"B {row['lots_b']}, C {row['lots_c']}, D {row['lots_d']}; packages {row['packages']}"
        )
    printing.say(f"written: {folder / 'phase_orders.csv'}, phase_orders.html")
    return errors.OK


def _write(folder: Path, name: str, frame: Any, lines: list[str]) -> None:
    from screener.report import simple_page as web

    folder.mkdir(parents=True, exist_ok=True)
    frame.to_csv(folder / "phase_orders.csv", index=False, lineterminator="\n")
    picture = [
        (
            row["order"] + (" (project)" if row["project_order"] else ""),
            row["change_common"],
            f"{row['change_common']:+,.0f} $; {row['without_package']} lots without",
        )
        for row in frame.to_dict("records")
    ]
    rows = [
        {
            **row,
            "cost": f"${row['cost']:,.0f}",
            "change": f"{row['change_common']:+,.0f}",
            "bound": f"${row['lower_bound']:,.0f}",
        }
        | {"proven": "yes" if row["proven"] else "no"}
        for row in frame.to_dict("records")
    ]
    heads = {
        "order": "Order", "lots_b": "B", "lots_c": "C", "lots_d": "D", "packages": "Lots by package",
        "without_package": "Without", "cost": "Cost", "change": "Same lots, against the project's, $",
        "bound": "Costs at least",
        "proven": "Proven", "by_phase": "Material and labour by phase, $",
    }  # fmt: skip
    web.write_page(
        folder / "phase_orders.html",
        f"Orders of phases: {name}",
        "Each lot for the ground at its permit: earlier phases stand and shelter, later ones are bare.",
        [
            *(web.sentence(line) for line in lines),
            web.heading("Material and labour against the project's order, lots with a package in every order"),
            web.bars(picture, "Cost of each order against the project's"),
            web.heading("Side by side"),
            web.table(
                rows,
                heads,
                ("lots_b", "lots_c", "lots_d", "without_package", "cost", "change", "bound"),
                "project_order",
            ),
        ],
    )
