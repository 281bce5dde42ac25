"""Texts of a shapefile that may have lost their end: its .dbf gives every column a width, and longer texts are cut.

Widths and bytes are read from the .dbf itself (dBASE III table: a header, 32 bytes a column, records of one length),
since GDAL hands over neither. A text that fills its column may be whole by chance; these columns say nothing:
those whose texts all have one length, narrow ones, which hold codes, and those that were made to fit their texts.
"""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import numpy as np
from numpy.typing import NDArray

Bools = NDArray[np.bool_]

WIDEST = 254  # bytes: the widest column that shapefiles are written with; no text fits it by chance
NARROW = 10  # bytes: a narrower column holds codes
_GDAL_WIDTH = 80  # of a column that nobody gave a width; GDAL widens it to its longest text
_BLANKS = np.array([0x00, 0x20], dtype=np.uint8)
_LONGEST_LETTER = 4  # bytes in UTF-8; a text is cut before a letter that does not fit


@dataclass(frozen=True)
class _Column:
    """One text column: its width in bytes, how many bytes each row fills, its distinct full texts, its full rows."""

    width: int
    lengths: NDArray[np.int64]
    full: Bools
    distinct_full: int

    @property
    def one_length(self) -> bool:
        return len(np.unique(self.lengths[self.lengths > 0])) < 2


def cut_texts(path: Path, layer: str, names: list[str], rows: int) -> dict[str, Bools]:
    """Column -> rows (rows,) whose text fills it and may be cut, for one shapefile by itself, in a folder or a zip.

    `names` are the layer's columns in file order. Empty where there is no .dbf of `rows` records and those columns.
    """
    try:
        columns = _of_file(path, layer, rows)
    except (OSError, ValueError, IndexError, zipfile.BadZipFile, NotImplementedError):
        return {}
    if len(columns) != len(names):
        return {}
    texts = [column for column in columns if column is not None and column.lengths.any()]
    fitted = all(column.full.any() for column in texts)
    plain = any(column.width == _GDAL_WIDTH and not column.full.any() for column in texts)
    return {
        name: column.full
        for name, column in zip(names, columns, strict=True)
        if column is not None and column.full.any() and (column.width >= WIDEST or _tells(column, fitted, plain))
    }


def _tells(column: _Column, fitted: bool, plain: bool) -> bool:
    """Whether full texts of a column below the widest speak of a cut. `fitted`: every column fits its longest text;
    `plain`: the file has a column of GDAL's own width."""
    widened = plain and column.width > _GDAL_WIDTH and column.distinct_full == 1
    return column.width >= NARROW and not column.one_length and not fitted and not widened


def _of_file(path: Path, layer: str, rows: int) -> list[_Column | None]:
    if path.is_dir() or path.suffix.lower() == ".shp":
        folder = path if path.is_dir() else path.parent
        found = [p for p in folder.iterdir() if p.name.lower() == f"{layer.lower()}.dbf"]
        return _columns(found[0].read_bytes(), rows)
    if not zipfile.is_zipfile(path):
        return []
    with zipfile.ZipFile(path) as archive:
        found_names = [n for n in archive.namelist() if PurePosixPath(n).name.lower() == f"{layer.lower()}.dbf"]
        return _columns(archive.read(found_names[0]), rows) if len(found_names) == 1 else []


def _columns(content: bytes, rows: int) -> list[_Column | None]:
    """The text columns of a table, None in place of the others; nothing where its records are not the layer's rows."""
    count, start, length = (int.from_bytes(content[a:b], "little") for a, b in ((4, 8), (8, 10), (10, 12)))
    records = np.frombuffer(content, np.uint8, count * length, start).reshape(count, length)
    records = records[records[:, 0] != ord("*")]  # deleted ones are no rows of the layer
    if len(records) != rows:
        return []
    found: list[_Column | None] = []
    place = 1  # after the mark of a deleted record
    for at in range(32, start - 1, 32):
        if content[at] == 0x0D:
            break
        kind, width = chr(content[at + 11]), content[at + 16]
        if kind == "C":
            width += 256 * content[at + 17]
        found.append(_text_column(records[:, place : place + width]) if kind == "C" else None)
        place += width
    return found


def _text_column(cells: NDArray[np.uint8]) -> _Column:
    """One column from its bytes (rows, width)."""
    width = cells.shape[1]
    filled = ~np.isin(cells, _BLANKS)
    lengths = np.where(filled.any(axis=1), width - np.argmax(filled[:, ::-1], axis=1), 0)
    last = cells[np.arange(len(cells)), np.maximum(lengths - 1, 0)]
    full = (lengths == width) | ((lengths > max(0, width - _LONGEST_LETTER)) & (last >= 0x80))
    return _Column(width, lengths, full, len(np.unique(cells[full], axis=0)))
