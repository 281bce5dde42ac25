"""Reference tables: CSV files with their source in `#` lines, loaded once and handed out as read-only arrays."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

Table = Mapping[str, NDArray[Any]]


@cache
def load_table(name: str, package: str = "hazard", text: tuple[str, ...] = ()) -> Table:
    """Columns of `<package>/reference/<name>` by header name, as read-only arrays of equal length.

    Lines that begin with `#` are the source and are skipped. A column whose filled cells are all numbers becomes
    float64 with NaN for blanks; any other column, and those named in `text`, stays text with "" for blanks.
    """
    return parse_table(resources.files(package).joinpath("reference", name).read_text("utf-8"), name, text)


def parse_table(content: str, name: str = "table", text: tuple[str, ...] = ()) -> Table:
    """The same for CSV text already in hand."""
    lines = [line for line in content.splitlines() if line.strip() and not line.startswith("#")]
    rows = list(csv.reader(lines))
    if not rows:
        raise ValueError(f"{name}: no header row")
    header = [cell.strip() for cell in rows[0]]
    if len(set(header)) != len(header):
        raise ValueError(f"{name}: two columns have the same name; found {header}")
    for number, row in enumerate(rows[1:], start=1):
        if len(row) != len(header):
            raise ValueError(f"{name} row {number}: {len(row)} cells; expected {len(header)}")
    columns = {key: _column([row[place].strip() for row in rows[1:]], key in text) for place, key in enumerate(header)}
    return MappingProxyType(columns)


def source_lines(name: str, package: str = "hazard") -> list[str]:
    """The `#` lines of a reference table: document, edition, table and how it was obtained."""
    content = resources.files(package).joinpath("reference", name).read_text("utf-8")
    return [line.lstrip("# ").rstrip() for line in content.splitlines() if line.startswith("#")]


def where(table: Table, **equal: str | float) -> NDArray[np.intp]:
    """Row numbers at which every named column equals the given value, in file order."""
    size = len(next(iter(table.values())))
    found = np.ones(size, dtype=bool)
    for column, value in equal.items():
        found &= table[column] == value
    return np.flatnonzero(found)


def value(table: Table, column: str, **equal: str | float) -> Any:
    """The one cell of `column` in the row that the named columns point at; an error says what would be legal."""
    key = (id(table), column, tuple(sorted(equal.items())))
    known = _FOUND.get(key)
    if known is None or known[0] is not table:
        known = _FOUND[key] = (table, _one_cell(table, column, equal))
    return known[1]


_FOUND: dict[tuple[int, str, tuple[tuple[str, str | float], ...]], tuple[Table, Any]] = {}
"""Cells asked for before: a demand model asks for the same few thousands of times. The table is kept with its cell, so
that its number can't go to another."""


def _one_cell(table: Table, column: str, equal: Mapping[str, str | float]) -> Any:
    rows = where(table, **equal)
    if len(rows) != 1:
        legal = "; ".join(f"{key} one of {', '.join(str(v) for v in dict.fromkeys(table[key]))}" for key in equal)
        asked = ", ".join(f"{key} = {given}" for key, given in equal.items())
        raise ValueError(f"{len(rows)} rows for {asked}; expected {legal}")
    cell = table[column][rows[0]]
    return float(cell) if isinstance(cell, np.floating) else str(cell)


def _column(cells: list[str], as_text: bool) -> NDArray[Any]:
    """One column as a read-only array: numbers where every filled cell is one."""
    array: NDArray[Any]
    try:
        if as_text or not any(cells):
            raise ValueError
        array = np.array([float(cell) if cell else np.nan for cell in cells], dtype=np.float64)
    except ValueError:
        array = np.array(cells, dtype=np.str_)
    array.setflags(write=False)
    return array
