"""Large parts of what is published, made by the workers once both passes are done: map layer, exceptions.

Each is a pure function of the work folder and takes one processor for seconds at a million lots; together they take as
long as the longest. The main process puts them into the published files (`screener.portfolio.assembly`).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from screener import columns
from screener.file_systems import network_file_system
from screener.files.csv_tables import write_csv_parts
from screener.files.geopackage import create_table, fill_table
from screener.files.journal import copy_checked
from screener.files.tables import typed
from screener.portfolio.common import COMMON, Common
from screener.portfolio.geopackage import write_lots_layer
from screener.portfolio.layout import Layout
from screener.portfolio.tables import EXCEPTION_ROWS, exceptions_in
from screener.portfolio.work_folder import Outcome, Task, read_pickle, read_rows, written

EXCEPTIONS = "portfolio_exceptions"
MOST_CSV_ROWS = 1_000_000
"""Exceptions beyond that many rows are written as Parquet alone: no spreadsheet opens more."""
MAP_LAYER, EXCEPTION_TABLE = "out/portfolio.gpkg", "out/exceptions.sqlite"
EXCEPTIONS_CSV, EXCEPTIONS_PARQUET = "out/exceptions.csv", "out/exceptions.parquet"


def map_part(task: Task) -> Outcome:
    """Task "map": 0 the lots as a map layer, 1 the exceptions as a file of their own, 2 as a table for the map."""
    folder = Path(task.folder)
    common: Common = read_pickle(folder, COMMON)
    chunks = range(len(common.layout.chunks))
    name, writer = _PARTS[task.number](folder, common, chunks)
    if name in (MAP_LAYER, EXCEPTION_TABLE) and network_file_system(folder):
        return Outcome("map", task.number, dict([written(folder, name, lambda path: _made_locally(path, writer))]))
    return Outcome("map", task.number, dict([written(folder, name, writer)]))


def _made_locally(path: Path, writer: Callable[[Path], None]) -> None:
    """Let a database be written on a local disk and copy it: none is opened where the network is."""
    with TemporaryDirectory(prefix="screener-") as local:
        own = Path(local) / path.name
        writer(own)
        copy_checked(own, path)


_Made = tuple[str, Callable[[Path], None]]


def _map_layer(folder: Path, common: Common, chunks: Sequence[int]) -> _Made:
    parts = [folder / f"out/lots/part-{n:06d}.parquet" for n in chunks]
    return MAP_LAYER, lambda path: write_lots_layer(path, parts, common.crs)


def _exceptions_file(folder: Path, common: Common, chunks: Sequence[int]) -> _Made:
    frames = exceptions_in(folder, chunks, common.layout)
    if sum(read_rows(folder / EXCEPTION_ROWS.format(n)) for n in chunks) <= MOST_CSV_ROWS:
        return EXCEPTIONS_CSV, lambda path: write_csv_parts(path, EXCEPTIONS, (typed(EXCEPTIONS, f) for f in frames))
    return EXCEPTIONS_PARQUET, lambda path: _as_parquet(path, frames)


def _as_parquet(path: Path, frames: Iterator[pd.DataFrame]) -> None:
    schema = pa.schema([pa.field(c, pa.string()) for c in columns.names(EXCEPTIONS)])
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        for frame in frames:
            writer.write_table(pa.Table.from_pandas(frame, schema=schema, preserve_index=False))


def _exceptions_table(folder: Path, common: Common, chunks: Sequence[int]) -> _Made:
    return EXCEPTION_TABLE, lambda path: _as_table(path, folder, chunks, common.layout)


def _as_table(path: Path, folder: Path, chunks: Sequence[int], layout: Layout) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("PRAGMA journal_mode = OFF")
        database.execute("PRAGMA synchronous = OFF")
        database.execute("BEGIN IMMEDIATE")
        own = list(columns.TABLES[EXCEPTIONS])
        create_table(database, "exceptions", own)
        fill_table(database, "exceptions", own, (typed(EXCEPTIONS, f) for f in exceptions_in(folder, chunks, layout)))
        database.execute("COMMIT")


_PARTS = (_map_layer, _exceptions_file, _exceptions_table)
PARTS = len(_PARTS)
