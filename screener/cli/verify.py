"""`screener verify`: every published check, run on this machine."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from screener import errors
from screener.cli import printing
from screener.cli.progress import progress_bar

if TYPE_CHECKING:
    from screener.checks.page import Checked
    from screener.checks.registry import Subject
    from screener.checks.rows import Check

EPILOG = """\b
Examples:
  screener verify
  screener verify --long --html verification.html
  screener verify --source "SDPWS 2015" --all

\b
Exit codes: 0 every check holds within its precision or is a known, bounded
difference; 1 some check does not hold on this machine."""


@click.command(epilog=EPILOG)
@click.option("--source", default="", metavar="TEXT", help="Only sources with these words.")
@click.option("--all", "show_all", is_flag=True, help="Print each check, not only the summary.")
@click.option("--long", "long", is_flag=True, help="Also the checks on rasters: half a minute.")
@click.option("--json", "as_json", is_flag=True, help="Print every check as JSON.")
@click.option("--html", type=click.Path(dir_okay=False), default=None, help="Also write the page to this file.")
@click.option("--markdown", type=click.Path(dir_okay=False), default=None, help="Also write it as Markdown.")
def command(source: str, show_all: bool, long: bool, as_json: bool, html: str | None, markdown: str | None) -> int:
    """Run every published check of this tool and print how far its answers are from each source.

    A value was read in a public text, remembered, or derived (computed independently from the standard's text). What
    is not verified is listed at the end.
    """
    from screener.checks import page
    from screener.sheets.write import write_text

    checked, left_out = run_checks(source, long)
    rows = [check for _, checks in checked for check in checks]
    if not rows:
        raise click.UsageError(f"no source has '{source}' in its document, edition or place")
    if html:
        write_text(Path(html), page.html(checked, left_out))
    if markdown:
        write_text(Path(markdown), page.markdown(checked, left_out))
    failed = bool(page.failures(rows))
    if as_json:
        printing.say_json(_document(checked, left_out, failed))
    else:
        _print(checked, left_out, show_all)
    return errors.FAULT if failed else errors.OK


def run_checks(source: str = "", long: bool = False) -> tuple[Checked, list[Subject]]:
    """Checks by subject of the sources that have `source` in their words, and the subjects left out as too long."""
    from screener.checks.registry import run_subject, subjects

    wanted = source.casefold().split()
    chosen = [subject for subject in subjects() if long or not subject.long]
    checked = []
    with progress_bar(quiet=False) as progress:
        for done, subject in enumerate(chosen):
            progress(subject.title, done, len(chosen))
            rows = [check for check in run_subject(subject) if _has(check, wanted)]
            if rows:
                checked.append((subject, rows))
    return checked, [subject for subject in subjects() if subject not in chosen]


def _has(check: Check, wanted: list[str]) -> bool:
    words = check.source.words.casefold()
    return all(word in words for word in wanted)


def _document(checked: Checked, left_out: list[Subject], failed: bool) -> dict[str, Any]:
    """Everything for machines."""
    from screener.checks import gaps, summary
    from screener.files.manifest import CAUTION

    rows = [check for _, checks in checked for check in checks]
    return {
        "caution": CAUTION,
        "exit_code": errors.FAULT if failed else errors.OK,
        "totals": summary.totals(rows),
        "checks": [summary.as_record(check, subject.name) for subject, checks in checked for check in checks],
        "left_out": [subject.name for subject in left_out],
        "not_verified": [{"what": gap.what, "why": gap.why} for gap in (*gaps.features(), *gaps.from_memory())],
    }


def _print(checked: Checked, left_out: list[Subject], show_all: bool) -> None:
    from rich.console import Console

    from screener.checks import gaps, page, summary
    from screener.files.manifest import CAUTION

    console = Console(highlight=False, width=None if sys.stdout.isatty() else 150)
    rows = [check for _, checks in checked for check in checks]
    for subject, checks in checked:
        console.print(_table(subject, checks, show_all))
    printing.say(page.counts_line(rows))
    for check in page.failures(rows):
        printing.say(check.line())
    reasons = summary.reasons(rows)
    if reasons:
        printing.say("\nKnown differences (ours less the source's):")
    for source, reason, count, span in reasons:
        printing.say(f"  {source.words}: {count}, {span}: {reason}")
    printing.say("\nNot verified:")
    for gap in (*gaps.features(), *gaps.from_memory()):
        printing.say(f"  {gap.what}: {gap.why}")
    if left_out:
        printing.say("\nLeft out, run with --long: " + "; ".join(subject.title for subject in left_out))
    printing.say(f"\n{CAUTION}")


def _table(subject: Subject, checks: list[Check], show_all: bool) -> Any:
    """The sources of a subject, or each of its checks."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    from screener.checks import summary

    table = Table(title=subject.title, title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False)
    columns = ("source", "value", "what", "published", "ours", "within", "verdict") if show_all else (
        "source", "value", "checks", "worst difference", "verdict")  # fmt: skip
    for name in columns:
        table.add_column(name, justify="right" if name in ("checks", "published", "ours", "within") else "left")
    if show_all:
        for c in checks:
            numbers = (_number(v) for v in (c.published, c.ours, c.within))
            cells = [c.source.words, c.source.obtained, c.what, *numbers, c.status]
            table.add_row(*(Text(printing.plain(cell)) for cell in cells))
        return table
    for s in summary.by_source(checks):
        style = "bold red" if s.outside else "yellow" if s.known else "green"
        verdict = f"{s.verdict}, {s.known_range}" if s.known else s.verdict
        table.add_row(Text(s.source.words), s.source.obtained, f"{s.checks:,}", s.worst, Text(verdict, style))
    return table


def _number(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.5g}"
