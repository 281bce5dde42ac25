"""Counts in a workbook: formulas, dates, merged cells, hidden sheets, bombs. T29 and T30 of the table of bad inputs."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from hazard.issues import InputError, Issues
from screener.count_lists import CountRow, read_counts


def _book(path: Path, fill: Callable[[Any], None]) -> Path:
    book = openpyxl.Workbook()
    book.active.title = "counts"
    for row in (["item", "quantity"], ["bolt", 40], ["tie", 12.5]):
        book.active.append(row)
    fill(book)
    book.save(path)
    return path


def _told(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_counts(path, ("quantity",))
    return " | ".join(issue.message() for issue in caught.value.issues)


def _with_stored_value(path: Path, formula: str, value: str) -> None:
    """Put the value beside a formula, as a spreadsheet does when it saves."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    sheet = "xl/worksheets/sheet1.xml"
    old = f"<f>{formula}</f><v />".encode()
    assert old in members[sheet] or old.replace(b" />", b"/>") in members[sheet], members[sheet]
    new = f"<f>{formula}</f><v>{value}</v>".encode()
    members[sheet] = members[sheet].replace(old, new).replace(old.replace(b" />", b"/>"), new)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)


def test_a_formula_counts_by_its_stored_value_and_stops_without_one(tmp_path: Path) -> None:
    """T29: the library that wrote the file stores no value; a spreadsheet would."""
    path = _book(tmp_path / "list.xlsx", lambda b: b.active.__setitem__("B2", "=20+20"))
    assert "list.xlsx:counts cell B2: a formula without a stored value, =20+20; expected a value" in _told(path)
    _with_stored_value(path, "20+20", "40")
    noticed = Issues()
    rows = read_counts(path, ("quantity",), noticed)
    assert rows[0] == CountRow(2, "bolt", quantity=40.0)
    assert rows[1] == CountRow(3, "tie", quantity=12.5)
    assert [issue.code for issue in noticed] == ["COUNTS_FORMULAS"]


def _merge(book: Any) -> None:
    book.active.merge_cells("A2:A3")


def _second(book: Any) -> None:
    sheet = book.create_sheet("of May")
    sheet.append(["Item", "Qty"])
    sheet.append(["bolt", 1])


def _hide(book: Any) -> None:
    book.create_sheet("cover").append(["from the yard"])
    book["counts"].sheet_state = "hidden"
    book.active = 1


def _total(book: Any) -> None:
    book.active.append([None, 52.5])


def _date(book: Any) -> None:
    from datetime import datetime

    book.active["A2"] = datetime(2026, 3, 8)


def _error(book: Any) -> None:
    book.active["B2"] = "#REF!"


def _far(book: Any) -> None:
    book.active["XFD1048576"] = "x"


@pytest.mark.parametrize(
    ("fill", "told"),
    [
        (_merge, "merged cells A2:A3; expected one value a cell"),
        (_second, "2 sheets with such a list: counts, of May; expected one"),
        (_hide, "the list stands in a hidden sheet, counts; expected a visible sheet"),
        (_total, "list.xlsx row 4: no item; expected the name of an item; fill it in; remove rows of totals"),
        (_date, "cell A2: the date 2026-03-08"),
        (_error, "cell B2: the error #REF!"),
        (_far, "cells down to 1,048,576 rows and 16,384 columns"),
    ],
    ids=lambda v: getattr(v, "__name__", ""),
)
def test_what_is_hidden_merged_or_double_is_never_dropped_in_silence(
    tmp_path: Path, fill: Callable[[Any], None], told: str
) -> None:
    """T30, and T12 for a workbook."""
    assert told in _told(_book(tmp_path / "list.xlsx", fill))


def test_what_is_not_read_or_hidden_is_told(tmp_path: Path) -> None:
    def fill(book: Any) -> None:
        book.create_sheet("notes").append(["from the yard"])
        book.create_sheet("old").sheet_state = "hidden"
        book["counts"].row_dimensions[3].hidden = True
        book["counts"]["A2"] = "b\u043elt"

    noticed = Issues()
    rows = read_counts(_book(tmp_path / "list.xlsx", fill), ("quantity",), noticed)
    assert [row.item for row in rows] == ["bolt", "tie"]
    told = {issue.code: issue.found for issue in noticed}
    assert told["COUNTS_SHEETS"] == "sheets notes, old (hidden)"
    assert told["COUNTS_HIDDEN"] == "1 hidden rows and 0 hidden columns"
    assert "COUNTS_CHARACTERS" in told


def _zip(path: Path, members: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return path


def test_bombs_and_broken_files_are_refused(tmp_path: Path) -> None:
    """A zip of 40 MB of blanks, entities that multiply, a cut file, a text, another zip: all told, none unpacked."""
    bomb = _zip(tmp_path / "bomb.xlsx", {"xl/worksheets/sheet1.xml": b" " * 40_000_000})
    assert "38 MiB when unpacked" in _told(bomb)
    good = _book(tmp_path / "good.xlsx", lambda b: None)
    with zipfile.ZipFile(good) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    entity = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>'
    lol = _zip(tmp_path / "lol.xlsx", {**members, "xl/sharedStrings.xml": entity})
    assert "a document type in xl/sharedStrings.xml" in _told(lol)
    content = good.read_bytes()
    for number, damaged in enumerate((content[: len(content) // 2], b"no workbook", b"", content[:-10])):
        path = tmp_path / f"broken{number}.xlsx"
        path.write_bytes(damaged)
        assert f"broken{number}.xlsx" in _told(path)
    assert "can't be read as a workbook" in _told(_zip(tmp_path / "other.xlsx", {"a.txt": b"hello"}))
    assert "No such file" in _told(tmp_path / "none.xlsx")


def test_the_same_rules_hold_for_lists_as_text(tmp_path: Path) -> None:
    """T9 to T18 for a list of counts: no number is guessed."""
    path = tmp_path / "list.csv"
    cases: dict[bytes, str] = {
        b'item,quantity\nbolt,"1,250"\n': "ambiguous: write 1250 if the comma parts thousands",
        b'item,quantity\nbolt,"1,5"\n': "write 1.5 if the comma is a decimal comma",
        b"item,quantity\nbolt,12 pcs\n": "write 12 if it is in the unit",
        b"item,quantity\nbolt,=6*2\n": "formulas are not read",
        b"item,quantity\nbolt,inf\n": "a finite number",
        b"item,quantity\n8-Mar,3\n": "a spreadsheet made a date of a size",
        b"item;quantity\nbolt;3\n": "semicolons",
        b"item,quantity\nbolt\n": "1 cells; expected 2",
        b"item,quantity,item\nbolt,3,tie\n": "column `item` 2 times",
        b"item,quantity\n\xe9crou,3\n": "byte 0xe9 at offset 14",
        b'item,quantity\n"bolt,3\n': "a quote that is not closed",
    }
    for content, told in cases.items():
        path.write_bytes(content)
        assert told in _told(path), content
