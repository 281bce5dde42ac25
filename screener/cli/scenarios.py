"""`screener scenarios`: named changes of the project, run in one call into one table."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from screener import errors
from screener.cli import printing
from screener.cli.progress import progress_bar

EPILOG = """\b
Examples:
  screener scenarios tract.toml scenarios.toml
  screener scenarios tract.toml scenarios.toml --out compared

\b
A scenarios file:
  [[scenario]]
  name = "wind 120 mph"
  hazards.wind_speed_mph = { value = 120 }

\b
  [[scenario]]
  name = "tree belt on the east side"
  ground.tree_belt = { file = "belt.gpkg" }

\b
  [[scenario]]
  name = "edition 7-22"
  design.loads = "ASCE 7-22"
  remove = ["hazards.ss_g"]
  hazards.sms_g = { value = 0.5 }
  hazards.sm1_g = { value = 0.3 }"""


@click.command(epilog=EPILOG)
@click.argument("tract", type=click.Path(dir_okay=False))
@click.argument("scenarios", type=click.Path(dir_okay=False))
@click.option("--out", default=None, help="Folder for scenarios.csv and .html; default scenarios beside TRACT.")
@click.option("--json", "as_json", is_flag=True, help="Print the table as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
def command(tract: str, scenarios: str, out: str | None, as_json: bool, quiet: bool) -> int:
    """Run TRACT as it is and with each of the SCENARIOS: lots, packages and money side by side."""
    from screener.scenarios import read_scenarios, run_scenarios

    wanted = read_scenarios(Path(scenarios))
    with progress_bar(quiet) as progress:
        frame = run_scenarios(Path(tract), wanted, progress)
    folder = Path(out) if out else Path(tract).parent / "scenarios"
    _write(folder, frame)
    if as_json:
        printing.say_json(frame.to_dict("records"))
        return errors.OK
    for row in frame.to_dict("records"):
        printing.say(
            f"{row['scenario']}: ${row['total_cost']:,.0f} ({row['change']:+,.0f}); B {row['exposure_b']}, "
            f"C {row['exposure_c']}, D {row['exposure_d']}; no package {row['no_hardware'] + row['skipped']}; "
            f"outside permit {row['outside_permit']}; {row['packages']}"
        )
    printing.say(f"written: {folder / 'scenarios.csv'}, scenarios.html")
    return errors.OK


def _write(folder: Path, frame: Any) -> None:
    from screener.report import simple_page as web

    folder.mkdir(parents=True, exist_ok=True)
    frame.to_csv(folder / "scenarios.csv", index=False, lineterminator="\n")
    rows = [
        {**row, "total": f"${row['total_cost']:,.0f}", "difference": f"{row['change']:+,.0f}"}
        | {"orders": f"${row['order_cost']:,.0f}", "sure": "yes" if row["proven"] else f"no, gap {row['gap']:.2%}"}
        for row in frame.to_dict("records")
    ]
    heads = {
        "scenario": "Scenario", "changes": "Changes", "total": "Material and labour", "difference": "Change, $",
        "orders": "Orders in boxes", "exposure_b": "B", "exposure_c": "C", "exposure_d": "D",
        "kzt_max": "Kzt up to", "refer": "For an engineer", "no_hardware": "No package", "skipped": "Skipped",
        "outside_permit": "Outside permit", "not_fitting": "Do not fit", "packages": "Lots by package",
        "sure": "Proven",
    }  # fmt: skip
    numbers = ("total", "difference", "orders", "exposure_b", "exposure_c", "exposure_d", "kzt_max", "refer",
               "no_hardware", "skipped", "outside_permit", "not_fitting")  # fmt: skip
    picture = [(row["scenario"], row["change"], f"{row['change']:+,.0f}") for row in frame.to_dict("records")[1:]]
    web.write_page(
        folder / "scenarios.html",
        "Scenarios",
        "The project as it stands, and with some of its keys changed; packages are chosen again for each.",
        [
            web.heading("Cost against the project, $"),
            web.bars(picture, "Cost of each scenario against the project"),
            web.sentence(
                "A scenario that gives more lots a package costs more for that alone: see No package and Skipped."
            ),
            web.heading("Side by side"),
            web.table(rows, heads, numbers),
        ],
    )
