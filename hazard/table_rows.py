"""The one way from the bytes of a CSV file to rows of cells: encoding, quotes, separator, heading, lengths of rows.

Every table that comes from outside (hardware list, kept packages, class table, lists of counts) is read here, so
that each gets the same rules: UTF-8 with or without a byte order mark, or UTF-16 with one; commas; each column once,
with a name; every row as long as the heading; no line break inside a cell. A workbook or another binary file is named
as what it is. Faults become issues; nothing is guessed.
"""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from hazard.issues import Issues
from hazard.table_cells import Place, clean_text, shortened

MEND = "mend the row and run again"
MOST_BYTES = 64 * 2**20
MOST_COLUMNS = 2_000
MOST_FAULTS = 50
LONGEST_CELL = 10_000
_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}
_BINARY: dict[bytes, str] = {
    b"PK\x03\x04": "a workbook (XLSX) or another zip file",
    b"\xd0\xcf\x11\xe0": "an old workbook (XLS)",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a gzip file",
    b"SQLite format 3": "a database",
    b"{\\rtf": "a word processor's text",
}

Rows = list[tuple[int, dict[str, str]]]


@dataclass(frozen=True)
class TableForm:
    """What a table must look like. `prefix` begins the codes of its issues; `rows` says what its rows are."""

    prefix: str
    required: Mapping[str, str]  # column -> its meaning
    known: tuple[str, ...]  # all columns that mean something
    rows: str = "a heading and rows"
    headings: Mapping[str, str] = field(default_factory=dict)  # other headings, folded -> our name of the column
    remarks_anywhere: bool = False  # lines that begin with # are remarks below the heading too
    most_rows: int = 100_000


def read_table(path: Path, form: TableForm, issues: Issues, name: str = "") -> Rows:
    """The rows of a file, as `read_rows`; a file that can't be opened or is far too large is a stop too."""
    shown = name or path.name
    place = Place(shown, issues, form.prefix)
    try:
        size = path.stat().st_size
        if not path.is_file():
            place.stop(f"{form.prefix}_UNREADABLE", "no ordinary file", "a readable CSV file", "check the path")
            return []
        if size > MOST_BYTES:
            found, most = f"{size / 2**20:,.0f} MiB", f"at most {MOST_BYTES // 2**20} MiB"
            place.stop(f"{form.prefix}_TOO_LARGE", found, most, "is this the right file?")
            return []
        content = path.read_bytes()
    except OSError as error:
        place.stop(f"{form.prefix}_UNREADABLE", error.strerror or str(error), "a readable CSV file", "check the path")
        return []
    return read_rows(content, shown, form, issues)


def read_rows(content: bytes, name: str, form: TableForm, issues: Issues) -> Rows:
    """Rows with their line numbers, cells by column name. Empty, with the faults reported, if the file is no table."""
    before = len(issues.stops())
    text = _without_remarks(decoded(content, name, form, issues), form.remarks_anywhere)
    number, heading = next(((k, line) for k, line in enumerate(text.split("\n"), 1) if line.strip()), (1, ""))
    if "," not in heading and any(sign in heading for sign in _SEPARATORS):
        place = Place(f"{name} row {number}", issues, form.prefix)
        _check_header([shortened(heading.strip())], heading, form, place)  # before its quotes, which may not fit commas
        return []
    lines = _csv_lines(text, name, form, issues)
    return [] if len(issues.stops()) > before else named_rows(lines, name, form, issues)


def named_rows(lines: list[tuple[int, list[str]]], name: str, form: TableForm, issues: Issues) -> Rows:
    """Rows by column name from lines of cells, the heading first; its rules and those of the rows' lengths."""
    if not lines:
        return []
    before = len(issues.stops())
    place = Place(f"{name} row {lines[0][0]}", issues, form.prefix)
    if len(lines[0][1]) > MOST_COLUMNS:
        found = f"{len(lines[0][1]):,} columns"
        place.stop(f"{form.prefix}_TOO_LARGE", found, f"at most {MOST_COLUMNS:,}", "is this the right file?")
        return []
    header, lines = _named_columns(_headings(lines[0][1], form), lines, place)
    _check_header(header, lines[0][1][0], form, place)
    if len(lines) - 1 > form.most_rows:
        found = f"{len(lines) - 1:,} rows"
        place.stop(f"{form.prefix}_TOO_LARGE", found, f"at most {form.most_rows:,}", "is this the right file?")
    if len(issues.stops()) > before:
        return []
    rows = []
    for line, cells in lines[1:]:
        here = Place(f"{name} row {line}", issues, form.prefix)
        long = next((k for k, cell in enumerate(cells) if len(cell) > LONGEST_CELL), None)
        if len(cells) != len(header):
            expected = f"{len(header)}, as in the header"
            here.stop(f"{form.prefix}_ROW_LENGTH", f"{len(cells)} cells", expected, MEND)
        elif long is not None:
            found = f"{shortened(header[long])} of {len(cells[long]):,} characters"
            here.stop(f"{form.prefix}_CELL_LENGTH", found, f"at most {LONGEST_CELL:,}", MEND)
        else:
            rows.append((line, dict(zip(header, cells, strict=True))))
    return rows


def _headings(cells: list[str], form: TableForm) -> list[str]:
    """Names of the columns; another heading stands for our name only where that name itself is not there."""
    names = [clean_text(cell) for cell in cells]
    folded = {name.casefold() for name in names}
    ours = [form.headings.get(name.casefold(), name) for name in names]
    same = [name.casefold() == our.casefold() for name, our in zip(names, ours, strict=True)]
    return [
        our if is_it or our.casefold() not in folded else name
        for name, our, is_it in zip(names, ours, same, strict=True)
    ]


def decoded(content: bytes, name: str, form: TableForm, issues: Issues) -> str:
    """The file's text: UTF-8, with or without a byte order mark, or UTF-16 with one."""
    place, encoding, code = Place(name, issues, form.prefix), "utf-8-sig", f"{form.prefix}_ENCODING"
    binary = next((what for start, what in _BINARY.items() if content.startswith(start)), "")
    if binary:
        place.stop(f"{form.prefix}_NOT_CSV", binary, "text: a CSV file", "save the table as CSV UTF-8")
        return ""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        place.note(code, "UTF-16 text", "UTF-8", "read as UTF-16")
        encoding = "utf-16"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        words = encoding.removesuffix("-sig").upper()
        found = f"byte {error.object[error.start]:#04x} at offset {error.start} is not {words} text"
        place.stop(code, found, "UTF-8", "save the file as CSV UTF-8")
        return ""
    if "\0" in text:
        found = f"a zero byte in line {text.count(chr(10), 0, text.index(chr(0))) + 1}"
        place.stop(code, found, "text in UTF-8", "save the file as CSV UTF-8")
        return ""
    return text


def _csv_lines(text: str, name: str, form: TableForm, issues: Issues) -> list[tuple[int, list[str]]]:
    """Rows with their line numbers; blank lines and remarks are left out."""
    if not text:
        if not issues.has_stop():
            _say_empty(name, form, issues)
        return []
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    lines: list[tuple[int, list[str]]] = []
    start, before = 1, len(issues.stops())
    while True:
        place = Place(f"{name} row {start}", issues, form.prefix)
        if len(issues.stops()) - before >= MOST_FAULTS:
            found = f"{MOST_FAULTS} faults of form above this row"
            place.stop(f"{form.prefix}_FAULTS", found, "a table", "further ones are not listed; is it the right file?")
            break
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            unclosed = "unexpected end" in str(error) or "expected after" in str(error)
            found = "a quote that is not closed, or text after one that is" if unclosed else str(error)
            place.stop(f"{form.prefix}_QUOTE", found, "quotes in pairs", MEND)
            break
        if any("\n" in cell or "\r" in cell for cell in cells):
            found = "a line break inside a cell (a quote not closed?)"
            place.stop(f"{form.prefix}_LINE_BREAK", found, "one row a line", MEND)
        elif any(cell.strip() for cell in cells):
            lines.append((start, cells))
        start = reader.line_num + 1
    if not lines and len(issues.stops()) == before:
        _say_empty(name, form, issues)
    return lines


def _without_remarks(text: str, anywhere: bool) -> str:
    """The text with lines that begin with # made blank: those above the heading, or all. Line numbers stay."""
    lines = text.split("\n")
    if not anywhere and not lines[0].startswith("#"):
        return text
    above = True
    for k, line in enumerate(lines):
        above = above and (line.startswith("#") or not line.strip())
        if not above and not anywhere:
            break
        if line.startswith("#"):
            lines[k] = ""
    return "\n".join(lines)


def _say_empty(name: str, form: TableForm, issues: Issues) -> None:
    Place(name, issues).stop(f"{form.prefix}_EMPTY", "an empty file", form.rows, MEND)


def _named_columns(
    header: list[str], lines: list[tuple[int, list[str]]], place: Place
) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Heading and rows without the last columns that have neither a name nor a cell: spreadsheets leave such behind."""
    width = len(header)
    while width > 1 and not header[width - 1]:
        width -= 1
    if width == len(header) or any(cell.strip() for _, cells in lines[1:] for cell in cells[width:]):
        return header, lines
    place.note(f"{place.prefix}_BLANK_COLUMNS", f"{len(header) - width} blank columns at the end", "", "left out")
    return header[:width], [(line, cells[:width]) for line, cells in lines]


def _check_header(header: list[str], first: str, form: TableForm, place: Place) -> None:
    """One table, separated by commas, each column once, the required ones there. `first`: the first cell as written."""
    seen = next((words for sign, words in _SEPARATORS.items() if sign in first), "")
    if len(header) == 1 and (seen or len(form.required) > 1):
        hint = f"; it looks separated by {seen}" if seen else ""
        found = f'1 column "{shortened(header[0])}"{hint}'
        place.stop(f"{form.prefix}_SEPARATOR", found, "commas between columns", "save the file as comma-separated")
        return
    for twice in sorted({h for h in header if header.count(h) > 1 or not h}):
        found = f"column `{shortened(twice)}` {header.count(twice)} times" if twice else "a column without a name"
        place.stop(f"{form.prefix}_COLUMN_TWICE", found, "each column once, with a name", "rename or remove one")
    strange = [h for h in header if h not in form.known]
    for name, meaning in form.required.items():
        if name in header:
            continue
        near = difflib.get_close_matches(name, [h for h in strange if len(h) < 100], 1)
        found = f"no column `{name}`" + (f" (nearest: `{near[0]}`)" if near else "")
        place.stop(f"{form.prefix}_COLUMN_MISSING", found, f"`{name}`: {meaning}", "add it")
    absent = [n for n in form.known if n not in header and n not in form.required]
    for name in strange:
        near = difflib.get_close_matches(name, absent, 1, 0.8) if len(name) < 100 else []
        if near:
            found = f"column `{shortened(name)}`"
            place.warn(f"{form.prefix}_COLUMN_UNKNOWN", found, f"perhaps `{near[0]}`", "kept as a free column")
