"""Lists of counts from outside: a supplier's or framer's takeoff, a proposed order, as-built counts. CSV or XLSX."""

from __future__ import annotations

import csv
import math
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hazard.issues import InputError, Issue

COLUMNS: dict[str, tuple[str, ...]] = {
    "item": ("item", "description", "hardware"),
    "quantity": ("quantity", "qty", "count", "pieces"),
    "boxes": ("boxes", "purchase_units"),
    "plan": ("plan",),
    "phase": ("phase",),
    "lot_id": ("lot_id", "lot"),
    "bought": ("bought",),
    "used": ("used",),
    "returned": ("returned",),
}
"""Our name of each column, and the headings taken for it (upper or lower case)."""

NUMBERS = ("quantity", "boxes", "bought", "used", "returned")


@dataclass(frozen=True)
class CountRow:
    """One row: texts "" and numbers NaN where not given."""

    row: int
    item: str
    plan: str = ""
    phase: str = ""
    lot_id: str = ""
    quantity: float = math.nan
    boxes: float = math.nan
    bought: float = math.nan
    used: float = math.nan
    returned: float = math.nan


def read_counts(path: Path, needed: tuple[str, ...]) -> list[CountRow]:
    """Rows of a list that has `item` and at least one of the `needed` number columns. InputError lists every fault."""
    rows = _cells(path)
    name = path.name
    if not rows:
        raise InputError([Issue("counts_empty", "stop", name, "no rows", "a heading and rows", "")])
    heads = [str(cell or "").strip().casefold() for cell in rows[0]]
    place = {ours: heads.index(word) for ours, words in COLUMNS.items() for word in reversed(words) if word in heads}
    faults = []
    if "item" not in place:
        faults.append(Issue("counts_column", "stop", name, f"columns {', '.join(heads)}", "a column item", ""))
    if not set(needed) & set(place):
        faults.append(Issue("counts_column", "stop", name, f"columns {', '.join(heads)}", " or ".join(needed), ""))
    if faults:
        raise InputError(faults)
    made = []
    for number, cells in enumerate(rows[1:], 2):
        texts = {
            k: str(cells[at]).strip() if at < len(cells) and cells[at] is not None else "" for k, at in place.items()
        }
        if not any(texts.values()):
            continue
        where = f"{name} row {number}"
        if not texts["item"]:
            faults.append(Issue("counts_item", "stop", where, "no item", "the name of an item", ""))
            continue
        numbers: dict[str, Any] = {}
        for key in NUMBERS:
            value = _number(texts.get(key, ""))
            if value is None:
                faults.append(Issue("counts_number", "stop", where, f"{key} {texts[key]!r}", "a number from 0", ""))
            else:
                numbers[key] = value
        words: dict[str, Any] = {key: texts.get(key, "") for key in ("item", "plan", "phase", "lot_id")}
        made.append(CountRow(number, **words, **numbers))
    if faults:
        raise InputError(faults)
    return made


def _number(text: str) -> float | None:
    """A number from 0, NaN for blank, None for what is neither."""
    if not text:
        return math.nan
    try:
        value = float(text.replace(",", "").removeprefix("$"))
    except ValueError:
        return None
    return value if math.isfinite(value) and value >= 0 else None


def _cells(path: Path) -> list[list[Any]]:
    try:
        return _from_workbook(path) if path.suffix.lower() in (".xlsx", ".xlsm") else _from_csv(path)
    except (OSError, UnicodeDecodeError, csv.Error, zipfile.BadZipFile, KeyError, ValueError) as error:
        found = getattr(error, "strerror", None) or str(error) or type(error).__name__
        raise InputError([Issue("counts_unreadable", "stop", path.name, found, "a CSV or XLSX file", "")]) from error


def _from_csv(path: Path) -> list[list[Any]]:
    text = path.read_text(encoding="utf-8-sig")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if not lines:
        return []
    comma = max(",;\t", key=lines[0].count)
    return [list(row) for row in csv.reader(lines, delimiter=comma)]


def _from_workbook(path: Path) -> list[list[Any]]:
    """Values of the first sheet that has a heading `item` in its first row, else of the first sheet."""
    from openpyxl import load_workbook

    book = load_workbook(path, read_only=True, data_only=True)
    try:
        sheets = [[list(row) for row in sheet.iter_rows(values_only=True)] for sheet in book.worksheets]
    finally:
        book.close()
    heads = set(COLUMNS["item"])
    for rows in sheets:
        if rows and heads & {str(cell or "").strip().casefold() for cell in rows[0]}:
            return rows
    return sheets[0] if sheets else []
