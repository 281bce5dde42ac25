"""Look-ups in the reference tables of the wood standards."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib import resources

import numpy as np
import numpy.typing as npt

Number = float | npt.ArrayLike
Array = npt.NDArray[np.float64]


@cache
def table_rows(name: str) -> tuple[Mapping[str, str], ...]:
    """The rows of one of this package's reference tables, as text by column.

    Sizes such as 15/32 or 6/6 are keys here, so every cell stays text (`hazard.standards.tables` reads numbers).
    """
    content = resources.files("screener").joinpath("reference", name).read_text("utf-8")
    return tuple(csv.DictReader(line for line in content.splitlines() if line.strip() and not line.startswith("#")))


@cache
def rows_by(name: str, key: str) -> Mapping[str, Mapping[str, str]]:
    """The rows of a reference table by the value of one column."""
    return {row[key]: row for row in table_rows(name)}


def find_row(table: str, /, **wanted: str) -> Mapping[str, str]:
    """The one row of a reference table with the wanted values.

    Raises LookupError, with the values that the table has, when there is none: a table is never extrapolated.
    """
    rows = [row for row in table_rows(table) if all(row[key] == value for key, value in wanted.items())]
    if len(rows) == 1:
        return rows[0]
    asked = ", ".join(f"{key} {value}" for key, value in wanted.items())
    have = "; ".join(f"{key} " + ", ".join(dict.fromkeys(row[key] for row in table_rows(table))) for key in wanted)
    raise LookupError(f"{table} has {len(rows)} rows for {asked}; it holds {have}")


def named_value(name: str, key: str) -> float:
    """One number of a table of named values (columns `name` and `value`)."""
    return float(find_row(name, name=key)["value"])
