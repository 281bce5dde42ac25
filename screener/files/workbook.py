"""The results as one spreadsheet workbook: a sheet for each question, typed cells, filters, no macros.

Texts are written as texts (never as formulas or links), lot ids too; dates and numbers are cells of their kind. Rows go
to the disk as they are written (constant memory). Dates of creation are fixed, so the same results give the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xlsxwriter
from xlsxwriter.exceptions import FileCreateError
from xlsxwriter.worksheet import Worksheet

from screener.columns import TABLE_MEANINGS, Column
from screener.files.manifest import CAUTION
from screener.files.tables import columns_of, prepare
from screener.labels import label_with_unit

WORKBOOK = "tract.xlsx"
CREATED = datetime(2000, 1, 1)
MOST_ROWS = 1_048_576 - 3
"""Rows of a sheet, less the heading's and two to spare (ECMA-376 sheets end at row 1,048,576; from memory)."""

MOST_TEXT = 32_767
SHEETS: tuple[tuple[str, str], ...] = (
    ("lots", "lots"),
    ("bill", "bill_of_materials"),
    ("orders", "orders"),
    ("forecast", "forecast"),
    ("exceptions", "exceptions"),
)
_WIDE, _NARROW = 60, 9


def write_workbook(path: Path, tables: Mapping[str, pd.DataFrame], manifest: Mapping[str, Any]) -> None:
    """Write the workbook: summary, the tables there are, assumptions."""
    options = {
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": False,
        "default_date_format": "yyyy-mm-dd",
    }
    try:
        _write(path, options, tables, manifest)
    except FileCreateError as error:  # the writer's own, not the system's: it wraps that
        raise error.args[0] if isinstance(error.args[0], OSError) else OSError(str(error)) from error


def _write(
    path: Path, options: Mapping[str, Any], tables: Mapping[str, pd.DataFrame], manifest: Mapping[str, Any]
) -> None:
    with xlsxwriter.Workbook(str(path), dict(options)) as book:
        book.set_properties({"title": _text(manifest.get("tract", "")), "comments": CAUTION, "created": CREATED})
        looks = _Looks(book)
        _pairs(book.add_worksheet("summary"), _summary_rows(manifest), looks, ("What", "Value"))
        for sheet, table in SHEETS:
            _table(book.add_worksheet(sheet), table, tables.get(table, pd.DataFrame()), looks)
        _pairs(book.add_worksheet("assumptions"), _assumption_rows(manifest), looks, ("Key", "Value"))


class _Looks:
    """Formats of a workbook, made once."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self.head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        self.text = book.add_format({"num_format": "@"})
        self.wrapped = book.add_format({"num_format": "@", "text_wrap": True, "valign": "top"})
        self.date = book.add_format({"num_format": "yyyy-mm-dd"})
        self.numbers = [
            book.add_format({"num_format": "#,##0" + (f".{'0' * decimals}" if decimals else "")})
            for decimals in range(7)
        ]


def _table(sheet: Worksheet, table: str, frame: pd.DataFrame, looks: _Looks) -> None:
    """One result table: headings frozen, filters on, cells of their kind, the key column frozen too."""
    prepared = prepare(table, frame)
    columns = columns_of(table, prepared)
    if len(prepared) > MOST_ROWS:
        raise ValueError(f"table {table} has {len(prepared):,} rows; a sheet holds {MOST_ROWS:,}")
    cells = [_cells(column, prepared[column.name]) for column in columns]
    for k, (column, values) in enumerate(zip(columns, cells, strict=True)):
        sheet.set_column(k, k, _width(column, values))
    for k, column in enumerate(columns):
        sheet.write_string(0, k, label_with_unit(column), looks.head)
    forms = [_form(column, looks) for column in columns]
    kinds = [column.kind for column in columns]
    for row, line in enumerate(zip(*cells, strict=True), 1):
        for k, value in enumerate(line):
            if value is None:
                continue
            if kinds[k] == "date":
                sheet.write_datetime(row, k, value, forms[k])
            elif isinstance(value, bool):
                sheet.write_boolean(row, k, value)
            elif isinstance(value, str):
                sheet.write_string(row, k, value, forms[k])
            else:
                sheet.write_number(row, k, value, forms[k])
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, max(len(prepared), 1), max(len(columns) - 1, 0))
    sheet.set_header(f"&C{_text(TABLE_MEANINGS.get(table, table))}")
    sheet.set_landscape()
    sheet.repeat_rows(0)


def _cells(column: Column, values: pd.Series[Any]) -> list[Any]:
    """Values as the writer takes them; None for blanks. What is no date in a date column stays blank."""
    match column.kind:
        case "number":
            return [None if v != v else float(v) for v in values.to_numpy(np.float64, na_value=np.nan)]
        case "integer":
            return [None if v is pd.NA else int(v) for v in values]
        case "yes_no":
            return [None if v is pd.NA else bool(v) for v in values]
        case "date":
            return [_date(v) for v in values]
        case _:
            return [_text(v) if isinstance(v, str) and v else None for v in values]


def _date(value: Any) -> date | None:
    try:
        return datetime.fromisoformat(str(value)[:10]) if isinstance(value, str) and value else None
    except ValueError:
        return None


def _text(value: Any) -> str:
    """Text that the format can hold: no control characters, no longer than a cell."""
    from screener.report.text import plain

    return plain(value)[:MOST_TEXT]


def _form(column: Column, looks: _Looks) -> Any:
    match column.kind:
        case "number":
            return looks.numbers[min(column.decimals, 6)]
        case "integer":
            return looks.numbers[0]
        case "date":
            return looks.date
        case _:
            return looks.text


def _width(column: Column, values: Sequence[Any]) -> float:
    """Characters for the column: its longest text, within bounds; headings wrap."""
    if column.kind in ("number", "integer", "yes_no", "date"):
        return _NARROW + 2
    longest = max((len(v) for v in values[:2000] if isinstance(v, str)), default=0)
    return float(min(max(longest + 1, _NARROW), _WIDE))


def _pairs(sheet: Worksheet, rows: Sequence[tuple[str, Any]], looks: _Looks, heads: tuple[str, str]) -> None:
    sheet.set_column(0, 0, 44)
    sheet.set_column(1, 1, 90)
    for k, head in enumerate(heads):
        sheet.write_string(0, k, head, looks.head)
    for row, (key, value) in enumerate(rows, 1):
        sheet.write_string(row, 0, _text(key), looks.wrapped)
        if isinstance(value, bool | str) or value is None:
            words = ("yes" if value else "no") if isinstance(value, bool) else value
            sheet.write_string(row, 1, _text(words), looks.wrapped)
        else:
            decimals = 0 if float(value).is_integer() else 2
            sheet.write_number(row, 1, value, looks.numbers[decimals])
    sheet.freeze_panes(1, 0)


def _summary_rows(manifest: Mapping[str, Any]) -> list[tuple[str, Any]]:
    """Caution first, then the summary's facts and what stands beside the forecast."""
    facts = manifest.get("recorded", {}).get("forecast", {})
    return [
        ("caution", CAUTION),
        ("tract", manifest.get("tract", "")),
        ("run", manifest.get("run_id", "")),
        *flat(manifest.get("summary", {})),
        *flat(facts, "forecast"),
    ]


def _assumption_rows(manifest: Mapping[str, Any]) -> list[tuple[str, Any]]:
    recorded = manifest.get("recorded", {})
    inputs = [(f"input {r.get('key')}: {r.get('file')}", r.get("sha256")) for r in manifest.get("inputs", [])]
    return [
        *flat(manifest.get("settings", {}), "setting"),
        *flat(manifest.get("defaults_taken", {}), "default taken"),
        *flat(recorded.get("provenance", {}), "hazard"),
        *inputs,
        *flat(manifest.get("versions", {}), "version"),
    ]


def flat(value: Any, prefix: str = "") -> list[tuple[str, Any]]:
    """Nested facts as rows: "a b" -> value; lists as one text."""
    if isinstance(value, Mapping):
        return [row for key in value for row in flat(value[key], f"{prefix} {key}".strip())]
    if isinstance(value, list | tuple):
        return [(prefix, ", ".join(str(v) for v in value))]
    return [(prefix, value if isinstance(value, bool | int | float | str) or value is None else str(value))]
