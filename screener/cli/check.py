"""`screener check`: every problem in one go, nothing written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from screener import errors
from screener.cli import printing

if TYPE_CHECKING:
    from hazard.issues import Issues

EPILOG = """\b
Examples:
  screener check tract.toml
  screener check tract.toml --strict --json

\b
What a line begins with:
  stop   a run ends here, nothing is written
  skip   the lot or row gets no numbers
  fix    repaired, and how
  warn   computed, but look at it
  note   worth knowing
  scope  the same for lots: stop (no package), refer (an engineer), note"""


@click.command(epilog=EPILOG)
@click.argument("tract", type=click.Path(dir_okay=False))
@click.option("--json", "as_json", is_flag=True, help="Print the problems as JSON.")
@click.option("--quiet", "-q", is_flag=True, help="Only the exit code.")
@click.option("--strict", is_flag=True, help="Warnings count as stops.")
@click.option("--allow-remote", is_flag=True, help="Fetch rasters that the project names by an https address.")
def command(tract: str, as_json: bool, quiet: bool, strict: bool, allow_remote: bool) -> int:
    """Read everything TRACT names and report every problem; write nothing.

    Exits with 0 where a run would screen every lot, 3 where it would skip some, 2 where it would stop.
    """
    issues, scope = check_tract(Path(tract), allow_remote)
    if strict:
        issues = issues.warnings_as_stops()
    code = verdict(issues, scope)
    if as_json:
        printing.say_json({"exit_code": code, "issues": printing.issue_records(issues), "scope": scope})
    elif not quiet:
        for line in printing.issue_lines(issues):
            printing.say(line)
        for entry in scope:
            lots = printing.counted(entry["lots"], "lot")
            printing.say(f"scope {entry['severity']} {entry['code']}: {lots}, such as {entry['example']}")
        printing.say(closing_line(issues, scope, code))
    return code


def check_tract(path: Path, allow_remote: bool = False) -> tuple[Issues, list[dict[str, Any]]]:
    """Every problem of a project and of all that it names, each once; and the scope codes with their counts of lots."""
    from hazard.issues import InputError, Issues
    from screener.config import read_tract

    issues = Issues()
    findings = None
    project = read_tract(path, issues, allow_remote=allow_remote)
    if project is not None:
        from screener.file_systems import network_file_system
        from screener.pipeline import check

        network = network_file_system(project.output.folder)
        if network:
            where, found_there = f"{project.source.name} [output] folder", f"a network file system ({network})"
            issues.add("output_network", "warn", where, found_there, "a local disk", "written there all the same")
        try:
            found, findings = check(project)
            issues.extend(found)
        except InputError as error:
            issues.extend(error.issues)
    return Issues(dict.fromkeys(issues)), scope_codes(findings)


def scope_codes(findings: Any) -> list[dict[str, Any]]:
    """Scope findings by code, the gravest first: on how many lots, and one of them in words."""
    if findings is None:
        return []
    rank = {"stop": 0, "refer": 1, "note": 2}
    by_code: dict[tuple[str, str], dict[str, Any]] = {}
    for item in findings.items:
        entry = by_code.setdefault(
            (item.severity, item.code),
            {"severity": item.severity, "code": item.code, "lots": set(), "example": item.detail},
        )
        entry["lots"].add(item.lot)
    ordered = sorted(by_code.values(), key=lambda entry: (rank[entry["severity"]], entry["code"]))
    return [{**entry, "lots": len(entry["lots"])} for entry in ordered]


def verdict(issues: Issues, scope: list[dict[str, Any]]) -> int:
    """The exit code that fits what was found."""
    if issues.has_stop():
        return errors.INPUT
    left_out = any(issue.severity == "skip" for issue in issues) or any(s["severity"] == "stop" for s in scope)
    return errors.EXCEPTIONS if left_out else errors.OK


def closing_line(issues: Issues, scope: list[dict[str, Any]], code: int) -> str:
    """What a run would do."""
    counts: dict[str, Any] = {}
    for issue in issues:
        counts[issue.severity] = counts.get(issue.severity, 0) + 1
    words = {"stop": "stop", "skip": "skip", "fix": "repair", "warn": "warning", "note": "note"}
    found = ", ".join(printing.counted(counts[s], word) for s, word in words.items() if s in counts) or "nothing"
    would = {errors.OK: "screen every lot", errors.EXCEPTIONS: "leave some lots out", errors.INPUT: "stop"}[code]
    if code != errors.INPUT and any(entry["severity"] == "refer" for entry in scope):
        would += "; some lots need an engineer's word"
    return f"found {found}; a run would {would}"
