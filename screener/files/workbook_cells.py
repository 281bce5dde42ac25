"""Cells of a workbook (XLSX) that comes from outside, as texts; what can't be relied on is a stop, never a guess.

Formulas count by the value that was stored with them; one without a stored value stops, since nothing is computed
here. Merged cells stop: which row they belong to is not known. Hidden sheets are never read. Nothing outside the file
is opened, no macro is run, entities in its XML are refused, and its size when unpacked is limited.
"""

from __future__ import annotations

import zipfile
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from hazard.issues import Issues
from hazard.table_cells import Place, shortened

MOST_BYTES = 16 * 2**20
"""Of all members when unpacked: some hundred thousand cells; the library that reads them needs 50 times as much."""

GREATEST_RATIO = 100
MOST_CELLS = 500_000
Lines = list[tuple[int, list[str]]]


def read_workbook(path: Path, headings: set[str], prefix: str, issues: Issues) -> Lines:
    """Rows of the one visible sheet that has one of `headings` (folded) in its first row, with their row numbers.

    Where no sheet has one, the first visible sheet. Blank rows are left out. Empty, with the faults reported, where
    the workbook can't be used.
    """
    place = Place(path.name, issues, prefix)
    try:
        if not _safe(path, place, prefix):
            return []
        formulas, values = _load(path, False), _load(path, True)
        return _lines(formulas, values, headings, path.name, prefix, issues)
    except Exception as error:  # the reading library raises anything at all on a damaged file
        found = f"can't be read as a workbook ({type(error).__name__}: {shortened(str(error))})"
        place.stop(f"{prefix}_UNREADABLE", found, "an XLSX file", "save it again, or as CSV UTF-8")
        return []


def _load(path: Path, stored_values: bool) -> Any:
    from openpyxl import load_workbook

    return load_workbook(path, data_only=stored_values, keep_links=False)


def _safe(path: Path, place: Place, prefix: str) -> bool:
    """Whether unpacking and parsing the file is safe: sizes, ratio, no document type in any XML."""
    with zipfile.ZipFile(path) as archive:
        members = archive.infolist()
        size = sum(member.file_size for member in members)
        packed = max(sum(member.compress_size for member in members), 1)
        if size > MOST_BYTES or (size > 2**20 and size / packed > GREATEST_RATIO):
            found = f"{size / 2**20:,.0f} MiB when unpacked, {size / packed:,.0f} times its packed size"
            most = f"at most {MOST_BYTES // 2**20} MiB and {GREATEST_RATIO} times"
            place.stop(f"{prefix}_TOO_LARGE", found, most, "save the one sheet as CSV")
            return False
        for member in members:
            content = archive.read(member)
            if b"<!DOCTYPE" in content or "<!DOCTYPE".encode("utf-16-le") in content:
                found = f"a document type in {shortened(member.filename)}"
                place.stop(f"{prefix}_ENTITIES", found, "plain XML without entities", "save the sheet as CSV")
                return False
    return True


def _lines(formulas: Any, values: Any, headings: set[str], name: str, prefix: str, issues: Issues) -> Lines:
    place = Place(name, issues, prefix)
    title = _sheet_of(formulas, values, headings, place, prefix)
    if title is None:
        return []
    sheet, stored = formulas[title], values[title]
    where = f"{name}:{title}"
    place = Place(where, issues, prefix)
    if sheet.max_row * sheet.max_column > MOST_CELLS:
        found = f"cells down to {sheet.max_row:,} rows and {sheet.max_column:,} columns"
        place.stop(f"{prefix}_TOO_LARGE", found, f"at most {MOST_CELLS:,} cells", "delete what lies outside the table")
        return []
    merged = [str(each) for each in sheet.merged_cells.ranges]
    if merged:
        found = f"merged cells {shortened(', '.join(sorted(merged)))}"
        place.stop(f"{prefix}_MERGED", found, "one value a cell", "unmerge them and fill each cell")
    _tell_hidden(sheet, place, prefix)
    lines, computed = [], 0
    for cells, kept in zip(sheet.iter_rows(), stored.iter_rows(), strict=True):
        texts = []
        for cell, value in zip(cells, kept, strict=True):
            computed += cell.data_type == "f"
            texts.append(_text(cell, value, Place(f"{where} cell {cell.coordinate}", issues, prefix), prefix))
        if any(text.strip() for text in texts):
            lines.append((int(cells[0].row), texts))
    if computed:
        found = f"{computed:,} formulas"
        place.note(f"{prefix}_FORMULAS", found, "", "their stored values were read; nothing was computed")
    if not lines:
        place.stop(f"{prefix}_EMPTY", "no rows", "a heading and rows", "name the right file")
    return lines


def _sheet_of(formulas: Any, values: Any, headings: set[str], place: Place, prefix: str) -> str | None:
    """The title of the sheet to read; None, with the fault reported, where it is not clear which."""
    shown = [sheet.title for sheet in formulas.worksheets if sheet.sheet_state == "visible"]
    hidden = [sheet.title for sheet in formulas.worksheets if sheet.sheet_state != "visible"]
    fitting = [title for title in shown if _has_heading(values[title], headings)]
    in_hidden = [title for title in hidden if _has_heading(values[title], headings)]
    if len(fitting) > 1:
        found = f"{len(fitting)} sheets with such a list: {shortened(', '.join(fitting))}"
        place.stop(f"{prefix}_SHEETS", found, "one sheet with the list", "leave one, or save it as CSV")
        return None
    if not fitting and (in_hidden or not shown):
        found = f"the list stands in a hidden sheet, {shortened(', '.join(in_hidden or hidden))}"
        place.stop(f"{prefix}_HIDDEN", found, "a visible sheet", "show the sheet, or save it as CSV")
        return None
    title = str((fitting or shown)[0])
    others = [f"{t} (hidden)" if t in hidden else t for t in (*shown, *hidden) if t != title]
    if others:
        found = f"sheets {shortened(', '.join(others), 200)}"
        place.note(f"{prefix}_SHEETS", found, "", f"not read; the list is in {title}")
    return title


def _has_heading(sheet: Any, headings: set[str]) -> bool:
    first = next(sheet.iter_rows(min_row=1, max_row=1, max_col=min(sheet.max_column, 200), values_only=True), ())
    return bool(headings & {str(cell or "").strip().casefold() for cell in first})


def _tell_hidden(sheet: Any, place: Place, prefix: str) -> None:
    rows = sum(1 for each in sheet.row_dimensions.values() if each.hidden)
    columns = sum(1 for each in sheet.column_dimensions.values() if each.hidden)
    if rows or columns:
        found = f"{rows} hidden rows and {columns} hidden columns"
        place.warn(f"{prefix}_HIDDEN", found, "none", "read like the others")


def _text(cell: Any, stored: Any, place: Place, prefix: str) -> str:
    """A cell as text: whole numbers without a decimal point. Dates, errors and formulas without a value are stops."""
    value = stored.value
    if cell.data_type == "f" and value is None:
        found = f"a formula without a stored value, {shortened(str(cell.value))}"
        place.stop(f"{prefix}_FORMULA", found, "a value", "open it in a spreadsheet, save, or paste the values")
        return "?"
    if value is None:
        return ""
    if stored.data_type == "e":
        place.stop(f"{prefix}_CELL_ERROR", f"the error {shortened(str(value))}", "a value", "mend the formula")
        return "?"
    if isinstance(value, date | datetime | time):
        found = f"the date {value}: a spreadsheet makes dates of sizes and numbers"
        place.stop(f"{prefix}_DATE", found, "a text or a number", "format the column as text")
        return "?"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)
