"""From the bytes of a hardware list to rows of cells: encoding, quotes, separators, header."""

from __future__ import annotations

import csv
import difflib
import io

from hazard.issues import Issues
from screener.hardware_cells import Place, clean_text
from screener.hardware_columns import BY_NAME, COLUMNS

MEND = "mend the row and run again"
_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}


def read_cells(content: bytes, name: str, issues: Issues) -> list[tuple[int, dict[str, str]]]:
    """Rows with their line numbers, cells by column name. Empty, with the faults reported, if the file is no table."""
    lines = _csv_lines(_decoded(content, name, issues), name, issues)
    if not lines:
        return []
    header = [clean_text(cell) for cell in lines[0][1]]
    _check_header(header, lines[0][1][0], Place(f"{name} row 1", issues))
    if issues.has_stop():
        return []
    rows = []
    for line, cells in lines[1:]:
        if len(cells) == len(header):
            rows.append((line, dict(zip(header, cells, strict=True))))
        else:
            expected = f"{len(header)}, as in the header"
            Place(f"{name} row {line}", issues).stop("HARDWARE_ROW_LENGTH", f"{len(cells)} cells", expected, MEND)
    return rows


def _decoded(content: bytes, name: str, issues: Issues) -> str:
    """The file's text: UTF-8, with or without a byte order mark, or UTF-16 with one."""
    place, encoding = Place(name, issues), "utf-8-sig"
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        place.note("HARDWARE_ENCODING", "UTF-16 text", "UTF-8", "read as UTF-16")
        encoding = "utf-16"
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as error:
        words = encoding.removesuffix("-sig").upper()
        found = f"byte {error.object[error.start]:#04x} at offset {error.start} is not {words} text"
        place.stop("HARDWARE_ENCODING", found, "UTF-8", "save the file as CSV UTF-8")
        return ""


def _csv_lines(text: str, name: str, issues: Issues) -> list[tuple[int, list[str]]]:
    """Rows with their line numbers; blank lines are left out."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    lines: list[tuple[int, list[str]]] = []
    start = 1
    while True:
        place = Place(f"{name} row {start}", issues)
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            found = "a quote that is not closed" if "unexpected end" in str(error) else str(error)
            place.stop("HARDWARE_QUOTE", found, "quotes in pairs", MEND)
            break
        if any("\n" in cell or "\r" in cell for cell in cells):
            found = "a line break inside a cell (a quote not closed?)"
            place.stop("HARDWARE_LINE_BREAK", found, "one row a line", MEND)
        elif any(cell.strip() for cell in cells):
            lines.append((start, cells))
        start = reader.line_num + 1
    if not lines and not issues.has_stop():
        Place(name, issues).stop("HARDWARE_EMPTY", "an empty file", "a header row and one row an item", MEND)
    return lines


def _check_header(header: list[str], first: str, place: Place) -> None:
    """One table, separated by commas, each column once, the required ones there. `first`: the first cell as written."""
    if len(header) == 1:
        seen = next((words for sign, words in _SEPARATORS.items() if sign in first), "")
        hint = f"; it looks separated by {seen}" if seen else ""
        found = f'1 column "{header[0][:60]}"{hint}'
        place.stop("HARDWARE_SEPARATOR", found, "commas between columns", "save the file as comma-separated")
        return
    for twice in sorted({h for h in header if header.count(h) > 1}):
        found = f"column `{twice}` {header.count(twice)} times" if twice else "columns without a name"
        place.stop("HARDWARE_COLUMN_TWICE", found, "each column once, with a name", "rename or remove one")
    strange = [h for h in header if h not in BY_NAME]
    missing = [c for c in COLUMNS if c.required and c.name not in header]
    for column in missing:
        near = difflib.get_close_matches(column.name, strange, 1)
        found = f"no column `{column.name}`" + (f" (nearest: `{near[0]}`)" if near else "")
        place.stop("HARDWARE_COLUMN_MISSING", found, f"`{column.name}`: {column.meaning}", "add it")
    absent = [n for n in BY_NAME if n not in header and not BY_NAME[n].required]
    for name in strange:
        near = difflib.get_close_matches(name, absent, 1, 0.8)
        if near:
            place.warn("HARDWARE_COLUMN_UNKNOWN", f"column `{name}`", f"perhaps `{near[0]}`", "kept as a free column")
