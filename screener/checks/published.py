"""The published values that ship with the tool, as rows of text by column."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources

Row = dict[str, str]


def text_of(name: str) -> str:
    """The whole file, with its source lines."""
    return resources.files("screener.checks").joinpath("data", name).read_text("utf-8")


@cache
def _rows(name: str) -> tuple[Row, ...]:
    lines = [line for line in text_of(name).splitlines() if line.strip() and not line.startswith("#")]
    return tuple(csv.DictReader(lines))


def published(name: str) -> list[Row]:
    """Rows of `data/<name>`; lines that begin with # are its source."""
    return [dict(row) for row in _rows(name)]


def number(text: str) -> float:
    """A cell as a number; a blank one is NaN: the source gives no value."""
    return float(text) if text.strip() else float("nan")
