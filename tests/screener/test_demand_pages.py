"""Demand rows as Parquet hold nothing but their values: no memory that happened to lie there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from screener.portfolio.second_pass import repeated


def dictionary_bytes(file: Path, array: pa.DictionaryArray) -> int:
    """Room that the dictionary page of a written column takes, header included, uncompressed."""
    with pq.ParquetWriter(file, pa.schema([("lot_id", array.type)]), compression="none") as writer:
        writer.write_table(pa.table({"lot_id": array}))
    column = pq.ParquetFile(file).metadata.row_group(0).column(0)
    return int(column.data_page_offset - column.dictionary_page_offset)


def test_equal_lot_ids_of_two_tracts_leave_no_unset_memory(tmp_path: Path) -> None:
    ids = pa.array(["A-01", "A-02", "A-01", "A-02", "A-03"])
    count = np.array([2, 1, 3, 1, 2])
    made = repeated(ids, count)
    assert made.to_pylist() == ["A-01", "A-01", "A-02", "A-01", "A-01", "A-01", "A-02", "A-03", "A-03"]
    assert made.dictionary.to_pylist() == ["A-01", "A-02", "A-03"]
    # a length of four bytes and four letters for each of the three, and a header
    least = 3 * (4 + 4)
    assert least < dictionary_bytes(tmp_path / "a.parquet", made) < least + 40 - 16
    # the reason: a dictionary that repeats itself takes a page with room for all five
    plain = pa.DictionaryArray.from_arrays(np.repeat(np.arange(5, dtype=np.int32), count), ids)
    wide = dictionary_bytes(tmp_path / "b.parquet", plain) - dictionary_bytes(tmp_path / "a.parquet", made)
    assert wide in (0, 2 * (4 + 4))  # 0 once the library has mended it
