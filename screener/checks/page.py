"""The verification as a page: HTML in one file, and Markdown for a repository."""

from __future__ import annotations

from collections.abc import Iterable
from importlib.resources import files

import jinja2

from screener.checks import gaps, summary
from screener.checks.registry import Subject
from screener.checks.rows import Check, Status
from screener.files.manifest import CAUTION

INTRODUCTION = (
    "Every check value that ships with the tool, beside what the tool says. A value was read in a public text, "
    "remembered (from memory), or derived: computed independently from the standard's text. None was read in a bought "
    "copy of the standard; values from memory must be confirmed there. \"Worst\" is the difference that comes nearest "
    "to what is allowed: half a unit of the last printed digit, or the accuracy that the source itself states."
)  # fmt: skip
KNOWN_TEXT = (
    "A known difference is one that is understood and bounded: the tool follows the standard where a page errs or "
    "simplifies, or a raster sets the limit. It is reported here, never tuned away; beyond its bounds it fails."
)

Checked = list[tuple[Subject, list[Check]]]


def counts_line(checks: Iterable[Check]) -> str:
    """How many checks, obtained how, and how many hold."""
    n = summary.totals(checks)
    return (
        f"{n['checks']:,} checks: {n['read']:,} values read, {n['from memory']:,} from memory, "
        f"{n['derived']:,} derived; "
        f"{n[Status.WITHIN.value]:,} within their precision, {n[Status.KNOWN.value]:,} known differences, "
        f"{n[Status.OUTSIDE.value]:,} outside."
    )


def failures(checks: Iterable[Check]) -> list[Check]:
    """The checks that do not hold."""
    return [check for check in checks if check.status is Status.OUTSIDE]


def html(checked: Checked, left_out: list[Subject]) -> str:
    """The page, whole in one file; nothing in it depends on the clock, the machine or a path."""
    folder = files("screener.checks").joinpath("templates")
    environment = jinja2.Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    template = environment.from_string(folder.joinpath("page.html.j2").read_text("utf-8"))
    rows = [check for _, checks in checked for check in checks]
    return template.render(
        style=folder.joinpath("page.css").read_text("utf-8"),
        caution=CAUTION,
        introduction=INTRODUCTION,
        known_text=KNOWN_TEXT,
        counts=counts_line(rows),
        totals=summary.totals(rows),
        subjects=[(subject.title, summary.by_source(checks)) for subject, checks in checked],
        failures=[check.line() for check in failures(rows)],
        reasons=summary.reasons(rows),
        left_out=[subject.title for subject in left_out],
        features=gaps.features(),
        memory=gaps.from_memory(),
    )


def markdown(checked: Checked, left_out: list[Subject]) -> str:
    """The same for a repository."""
    rows = [check for _, checks in checked for check in checks]
    lines = ["# Verification", "", "Written by `screener verify --long --markdown FILE`.", "", f"**{CAUTION}**", ""]
    lines += [INTRODUCTION, "", f"**{counts_line(rows)}**", ""]
    for subject, checks in checked:
        lines += [f"## {subject.title}", "", "| source | value | checks | worst | verdict |", "|---|---|---|---|---|"]
        for s in summary.by_source(checks):
            verdict = f"{s.verdict}: {s.known_range}" if s.known else s.verdict
            lines.append(f"| {_cell(s.source.words)} | {s.source.obtained} | {s.checks} | {s.worst} | {verdict} |")
        lines.append("")
    for title, entries in _lists(rows, left_out):
        lines += [f"## {title}", "", *(entries or ["None."]), ""]
    return "\n".join(lines).rstrip("\n") + "\n"


def _lists(rows: list[Check], left_out: list[Subject]) -> list[tuple[str, list[str]]]:
    known = [
        f"- {_cell(s.words)}: {reason} ({count}; ours {span} of the source's value)"
        for s, reason, count, span in summary.reasons(rows)
    ]
    lists = [
        ("Outside", [f"- {check.line()}" for check in failures(rows)]),
        ("Known differences", [KNOWN_TEXT, "", *known] if known else []),
        ("Not verified: features", [f"- {gap.what}: {gap.why}." for gap in gaps.features()]),
        ("Not verified: from memory", [f"- {gap.what}: {gap.why}." for gap in gaps.from_memory()]),
    ]
    if left_out:
        lists.append(("Left out of this run", [f"- {subject.title}: with `--long`" for subject in left_out]))
    return lists


def _cell(text: str) -> str:
    return text.replace("|", "/")
