"""Tables as CSV: RFC 4180 with LF line ends, UTF-8, declared decimals, safe to open in a spreadsheet.

Text cells that a spreadsheet would take for a formula get an apostrophe in front; numbers are untouched. The GeoPackage
keeps such texts as they were.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from screener.columns import Column
from screener.files.tables import columns_of, prepare

FORMULA_STARTS = r"^[=+\-@\t\r\n]"
_NEEDS_QUOTES = '[",\r\n]'
_ROWS_AT_ONCE = 65_536


def write_csv(path: Path, table: str, frame: pd.DataFrame) -> None:
    """Write one result table; the frame may hold a geometry, which is left out."""
    write_csv_parts(path, table, [prepare(table, frame)])


def write_csv_parts(path: Path, table: str, frames: Iterable[pd.DataFrame]) -> None:
    """Write one table from frames as `tables.typed` makes them, one after the other; at least one."""
    comma = pa.scalar(",", pa.large_string())
    with path.open("wb") as file:
        for n, frame in enumerate(frames):
            columns = columns_of(table, frame)
            if n == 0:
                file.write((",".join(_quoted_name(column.name) for column in columns) + "\n").encode())
            for start in range(0, len(frame), _ROWS_AT_ONCE):
                part = frame.iloc[start : start + _ROWS_AT_ONCE]
                lines = pc.binary_join_element_wise(*[_cells(column, part) for column in columns], comma)
                file.write(("\n".join(lines.to_pylist()) + "\n").encode())


def formula_cells(table: str, frame: pd.DataFrame) -> dict[str, int]:
    """How many cells of each text column a spreadsheet would take for a formula."""
    counts = {}
    for column in columns_of(table, frame):
        if column.kind in ("text", "date") and column.name in frame.columns:
            texts = pa.array([v for v in frame[column.name] if isinstance(v, str)], type=pa.large_string())
            found = pc.sum(pc.match_substring_regex(texts, FORMULA_STARTS)).as_py() or 0
            if found:
                counts[column.name] = int(found)
    return counts


def _quoted_name(name: str) -> str:
    safe = f"'{name}" if name[:1] in "=+-@\t\r\n" else name
    return '"' + safe.replace('"', '""') + '"' if any(c in safe for c in '",\r\n') else safe


def _cells(column: Column, frame: pd.DataFrame) -> pa.Array:
    values = frame[column.name]
    match column.kind:
        case "number":
            return _numbers(values.to_numpy(np.float64, na_value=np.nan), column.decimals)
        case "integer":
            return _blank_for_null(pa.array(values, from_pandas=True).cast(pa.large_string()))
        case "yes_no":
            return _blank_for_null(pa.array(values, from_pandas=True).cast(pa.large_string()))
        case _:
            return _texts(pa.array(values.to_numpy(dtype=object), type=pa.large_string(), from_pandas=True))


def _blank_for_null(texts: pa.Array) -> pa.Array:
    return pc.fill_null(texts, pa.scalar("", pa.large_string()))


def _numbers(values: NDArray[np.float64], decimals: int) -> pa.Array:
    """Numbers with exactly their declared decimals, through whole numbers so that no digit depends on a formatter."""
    missing = np.isnan(values)
    scaled = np.rint(np.where(missing, 0.0, values) * 10.0**decimals).astype(np.int64)
    whole = pa.array(scaled, mask=missing).cast(pa.decimal128(19, 0))
    exact = pa.Array.from_buffers(pa.decimal128(19, decimals), len(values), whole.buffers())
    return _blank_for_null(exact.cast(pa.large_string()))


def _texts(texts: pa.Array) -> pa.Array:
    safe = pc.replace_substring_regex(_blank_for_null(texts), r"^([=+\-@\t\r\n])", r"'\1")
    nothing, quote = pa.scalar("", pa.large_string()), pa.scalar('"', pa.large_string())
    quoted = pc.binary_join_element_wise(nothing, pc.replace_substring(safe, '"', '""'), nothing, quote)
    return pc.if_else(pc.match_substring_regex(safe, _NEEDS_QUOTES), quoted, safe)
