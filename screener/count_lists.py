"""Lists of counts from outside: a supplier's or framer's takeoff, a proposed order, as-built counts. CSV or XLSX.

Both kinds go through the rules of `hazard.table_rows` and `hazard.table_cells`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hazard.issues import Issues
from hazard.table_cells import CellError, Place, clean_text, looks_like_date, looks_like_number, read_number
from hazard.table_rows import Rows, TableForm, named_rows, read_table
from screener.files.workbook_cells import read_workbook

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
MOST_PIECES = 1e7
FORM = TableForm(
    "COUNTS",
    {"item": "the name of an item"},
    tuple(COLUMNS),
    headings={heading: ours for ours, words in COLUMNS.items() for heading in words},
)


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


def read_counts(path: Path, needed: tuple[str, ...], issues: Issues | None = None) -> list[CountRow]:
    """Rows of a list that has `item` and at least one of the `needed` number columns. InputError lists every fault.

    Notes and warnings go into `issues`.
    """
    issues = Issues() if issues is None else issues
    rows = _rows(path, issues)
    place = Place(path.name, issues, FORM.prefix)
    if not rows and not issues.has_stop():
        place.stop("COUNTS_EMPTY", "no rows", "a heading and rows", "name the right file")
    elif rows and not set(needed) & set(rows[0][1]):
        found = f"columns {', '.join(rows[0][1])}"
        place.stop("COUNTS_COLUMN_MISSING", found, f"{' or '.join(needed)}, a number", "add it, or rename a column")
    made = []
    if not issues.has_stop():
        made = [_row(line, cells, Place(f"{path.name} row {line}", issues, FORM.prefix)) for line, cells in rows]
    issues.raise_stops()
    return made


def _rows(path: Path, issues: Issues) -> Rows:
    if path.suffix.lower() in (".xlsx", ".xlsm") and path.is_file():
        lines = read_workbook(path, set(COLUMNS["item"]), FORM.prefix, issues)
        return [] if issues.has_stop() else named_rows(lines, path.name, FORM, issues)
    return read_table(path, FORM, issues)


def _row(line: int, cells: dict[str, str], place: Place) -> CountRow:
    words = {key: clean_text(cells.get(key, "")) for key in ("item", "plan", "phase", "lot_id")}
    item = words["item"]
    if not item:
        place.stop("COUNTS_ITEM", "no item", "the name of an item", "fill it in; remove rows of totals")
    elif looks_like_date(item):
        found = f"item `{item}`: a spreadsheet made a date of a size"
        place.stop("COUNTS_DATE", found, "the name as text", "format the column as text")
    elif looks_like_number(item):
        place.warn("COUNTS_ITEM_NUMBER", f"item `{item}` looks like a number", "a name", "read as text")
    if item != " ".join(cells["item"].split()):
        found = f"item {cells['item']!a} holds characters that are not seen or not Latin"
        place.warn("COUNTS_CHARACTERS", found, "plain letters", f"read as `{item}`")
    numbers: dict[str, Any] = {}
    for key in NUMBERS:
        text = cells.get(key, "").strip()
        if not text:
            continue
        try:
            numbers[key] = _number(text)
        except CellError as error:
            place.cell(key, error)
    return CountRow(line, words["item"], words["plan"], words["phase"], words["lot_id"], **numbers)


def _number(text: str) -> float:
    value = read_number(text, "pieces")
    if not 0 <= value <= MOST_PIECES:
        raise CellError("RANGE", f"`{text}`", f"a number from 0 to {MOST_PIECES:,.0f}")
    return value
