"""What the command says: results on standard output, everything else on standard error, never a control character."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterable
from typing import Any

import click

# Everything that could move the cursor, colour the text or turn its direction, but for line ends and tabs.
_UNSAFE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2064\u2066-\u2069\ufeff]")


def plain(text: object) -> str:
    """Text that a terminal shows and does not obey."""
    return _UNSAFE.sub("\ufffd", str(text))


def counted(number: int, one: str, many: str = "") -> str:
    """1 lot, 2 lots."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def say(text: object = "") -> None:
    """A line of the result, to standard output."""
    click.echo(plain(text))


def tell(text: object) -> None:
    """A line about the run, to standard error."""
    click.echo(plain(text), err=True)


def say_json(value: Any) -> None:
    """The result for machines: one JSON document on standard output."""
    from screener.files.manifest import to_json

    click.echo(_escaped(to_json(value)), nl=False)


def _escaped(text: str) -> str:
    """JSON text in which what could move a terminal stands as an escape: the same values, no control character."""
    return _UNSAFE.sub(lambda match: f"\\u{ord(match[0]):04x}", text)


def issue_lines(issues: Iterable[Any]) -> list[str]:
    """One line an issue, the gravest first."""
    rank = {"stop": 0, "skip": 1, "fix": 2, "warn": 3, "note": 4}
    ordered = sorted(issues, key=lambda issue: rank[issue.severity])
    return [f"{issue.severity:<5}{issue.message()}" for issue in ordered]


def issue_records(issues: Iterable[Any]) -> list[dict[str, str]]:
    """Issues for machines."""
    keys = ("severity", "code", "lot_id", "where", "found", "expected", "done")
    return [{key: getattr(issue, key) for key in keys} for issue in issues]


def fail_json(exit_code: int, message: str, issues: Iterable[Any] = ()) -> None:
    """A failure for machines."""
    about = {"exit_code": exit_code, "error": message, "issues": issue_records(issues)}
    click.echo(_escaped(json.dumps(about, ensure_ascii=False, indent=2)))


def use_utf8() -> None:
    """Write UTF-8 whatever the locale says."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
