"""Result tables as they are written: declared columns, order, rounding and types, the same for every format."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from screener.columns import TABLES, Column, by_name

UNDECLARED_DECIMALS = 4  # of a number in a column that the data dictionary does not know

# Rows stand in the order of these columns, so that the order of the lots in their file does not matter.
KEYS: dict[str, tuple[str, ...]] = {
    "lots": ("lot_id",),
    "hazards": ("lot_id",),
    "flips": ("lot_id", "what", "reading", "would_be"),
    "demands": ("lot_id",),  # within a lot in the order they came: down the load path
    "bill_of_materials": ("item", "phase", "month", "drop"),
    "exceptions": ("lot_id", "reason", "detail"),
    "packages": ("tier", "schedule", "item", "arrangement"),
    "forecast": ("level", "item", "phase", "month", "drop"),
    "kits": ("kit", "schedule", "item", "drop"),
    "lot_kits": ("lot_id", "plan"),
    "cost_curve": ("most",),
    "forcing_lots": ("tier", "count"),
    "tolerance": ("lot_id", "what", "by"),
}


def columns_of(table: str, frame: pd.DataFrame, geometry: str = "geometry") -> list[Column]:
    """The declared columns of a table in their order, then those of the frame that are not declared."""
    declared = by_name(table) if table in TABLES else {}
    extra = [_undeclared(str(name), frame[name]) for name in frame.columns if name not in (*declared, geometry)]
    return [*declared.values(), *extra]


def _undeclared(name: str, values: pd.Series[Any]) -> Column:
    if pd.api.types.is_bool_dtype(values):
        return Column(name, "yes_no", "")
    if pd.api.types.is_integer_dtype(values):
        return Column(name, "integer", "")
    if pd.api.types.is_float_dtype(values):
        return Column(name, "number", "", decimals=UNDECLARED_DECIMALS)
    return Column(name, "text", "")


def prepare(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """The table as every file holds it, rows in key order. Missing stays missing; infinity is a fault."""
    return typed(table, frame.iloc[_order(table, frame)])


def typed(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """The same with the rows as they stand."""
    prepared = {
        column.name: _values(table, column, frame[column.name]) if column.name in frame else _blank(column, len(frame))
        for column in columns_of(table, frame)
    }
    return pd.DataFrame(prepared, index=pd.RangeIndex(len(frame)))


def arrow_column(table: str, column: Column, values: Any) -> pa.Array:
    """One column (rows,) as `typed` makes it, as Arrow has it: NaN and blank text are null."""
    if column.kind in ("number", "integer", "yes_no"):
        kind = {"number": pa.float64(), "integer": pa.int64(), "yes_no": pa.bool_()}[column.kind]
        return pa.array(_values(table, column, pd.Series(values)), kind, from_pandas=True)
    try:
        texts = pa.array(values, pa.string(), from_pandas=True)
    except (pa.ArrowTypeError, pa.ArrowInvalid):  # not all are texts
        return pa.array(_text(pd.Series(values)), pa.string(), from_pandas=True)
    whole = texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts
    return pc.if_else(pc.equal(whole, ""), pa.scalar(None, pa.string()), whole)


def row_order(table: str, frame: pd.DataFrame) -> NDArray[np.int64]:
    """Positions of the rows in the order they are written."""
    return _order(table, frame)


def _order(table: str, frame: pd.DataFrame) -> NDArray[np.int64]:
    keys = [name for name in KEYS.get(table, ()) if name in frame.columns]
    if not keys or len(frame) < 2:
        return np.arange(len(frame), dtype=np.int64)
    names = [f"k{number}" for number in range(len(keys))]
    numbers = {column.name for column in columns_of(table, frame) if column.kind == "integer"}
    columns = [
        pa.array(pd.to_numeric(frame[key]).to_numpy(np.float64, na_value=np.nan))
        if key in numbers
        else pa.array(_text(frame[key]), type=pa.large_string(), from_pandas=True)
        for key in keys
    ]
    # The position is the last key: equal rows keep the order in which they came.
    table_of_keys = pa.table([*columns, pa.array(np.arange(len(frame)))], names=[*names, "position"])
    order = pc.sort_indices(table_of_keys, sort_keys=[(name, "ascending") for name in (*names, "position")])
    positions: NDArray[np.int64] = order.to_numpy().astype(np.int64)
    return positions


def _values(table: str, column: Column, values: pd.Series[Any]) -> Any:
    match column.kind:
        case "number":
            return _rounded(table, column, pd.to_numeric(values, errors="raise").to_numpy(np.float64, na_value=np.nan))
        case "integer":
            return pd.array(pd.to_numeric(values, errors="raise").to_numpy(np.float64, na_value=np.nan)).astype("Int64")
        case "yes_no":
            return _yes_no(values)
        case _:
            return _text(values)


def _blank(column: Column, rows: int) -> Any:
    match column.kind:
        case "number":
            return np.full(rows, np.nan)
        case "integer":
            return pd.array([pd.NA] * rows, dtype="Int64")
        case "yes_no":
            return pd.array([pd.NA] * rows, dtype="boolean")
        case _:
            return np.full(rows, None, dtype=object)


def _rounded(table: str, column: Column, values: NDArray[np.float64]) -> NDArray[np.float64]:
    if np.isinf(values).any():
        raise ValueError(f"table {table}, column {column.name}: a value is infinite")
    power = 10.0**column.decimals
    rounded: NDArray[np.float64] = np.rint(values * power) / power + 0.0  # + 0.0: no negative zero
    return rounded


def _text(values: pd.Series[Any]) -> NDArray[np.object_]:
    """Text with None where there is none. Whole numbers lose no digits, dates are ISO, lists join with ;."""
    if pd.api.types.is_datetime64_any_dtype(values):
        dates = values.dt.strftime("%Y-%m-%d")
        values = dates
    cells = values.to_numpy(dtype=object)
    if pd.api.types.infer_dtype(cells, skipna=True) in ("string", "empty"):  # most columns: nothing to turn into text
        plain: NDArray[np.object_] = np.array(cells, dtype=object)
        plain[np.asarray(pd.isna(plain)) | (plain == "")] = None
        return plain
    texts: NDArray[np.object_] = np.empty(len(values), dtype=object)
    texts[:] = [_cell(value) for value in cells]
    return texts


def _yes_no(values: pd.Series[Any]) -> Any:
    cells = values.to_numpy(dtype=object)
    missing = np.asarray(pd.isna(cells))
    known = np.zeros(len(cells), dtype=bool)
    known[~missing] = cells[~missing].astype(bool)
    return pd.arrays.BooleanArray(known, missing)


def _cell(value: Any) -> str | None:
    if isinstance(value, str):
        return value if value else None
    if isinstance(value, list | tuple | set | frozenset):
        return ";".join(str(v) for v in (sorted(value) if isinstance(value, set | frozenset) else value)) or None
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return None
    if isinstance(value, float | np.floating) and float(value).is_integer():
        return str(int(value))
    return str(value)
