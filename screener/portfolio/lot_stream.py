"""The lots file of a portfolio as a stream of batches: never all of it in memory.

GeoParquet is read by its row groups; any other format that GDAL streams, by Arrow batches. What can only be read as a
whole (drawings, land XML, CSV points) is refused here: such a tract is listed with a project of its own.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import pyproj
import shapely

from hazard.crs import parse_crs
from hazard.issues import InputError, Issue, Issues
from screener.config import Tract
from screener.files.parquet import LARGEST_BYTES
from screener.files.vector_checks import check_file, check_layer_is_table
from screener.files.vectors import VectorFile, VectorLayer
from screener.lot_columns import match_columns
from screener.portfolio.config import PortfolioLots

BATCH_ROWS = 65_536
ROW, TRACT = "__row", "__tract"
UNREADABLE = (
    ValueError,
    TypeError,
    OSError,
    LookupError,
    pa.ArrowException,
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
)
"""What libraries raise on files that are damaged or are something else."""
NOT_STREAMED = (".dxf", ".xml", ".landxml", ".csv", ".zip")


@dataclass(frozen=True)
class LotStream:
    """A lots file, opened and looked at, not read: its columns matched to ours. `shape` names its geometry column."""

    path: Path
    where: str
    layer: str | None
    crs: pyproj.CRS
    shape: str
    names: tuple[str, ...]
    columns: dict[str, str]
    tract_column: str
    division_column: str | None

    def batches(self, names: list[str]) -> Iterator[pa.RecordBatch]:
        """Record batches of some columns in file order, texts plain, the geometry as WKB under its own name.

        Raises InputError where the file is damaged further on than its head.
        """
        try:
            for batch in self._batches(names):
                batch.validate(full=True)  # texts that are none would fail anywhere
                yield batch
        except UNREADABLE as error:
            raise _unreadable(error, self.path, self.where) from error

    def _batches(self, names: list[str]) -> Iterator[pa.RecordBatch]:
        if _is_parquet(self.path):
            for batch in pq.ParquetFile(self.path).iter_batches(BATCH_ROWS, columns=names):
                yield _plain(batch).select(names)  # a column that the head names may be missing
            return
        wanted = [name for name in names if name != self.shape]
        with pyogrio.open_arrow(
            self.path,
            layer=self.layer,
            columns=wanted,
            read_geometry=self.shape in names,
            batch_size=BATCH_ROWS,
            use_pyarrow=True,
        ) as (about, reader):
            own = about["geometry_name"] or "wkb_geometry"
            for batch in reader:
                fields = [self.shape if n == own else n for n in batch.schema.names]
                yield pa.RecordBatch.from_arrays(batch.columns, names=fields).select(names)

    def empty(self) -> gpd.GeoDataFrame:
        """A frame with the file's columns and no rows."""
        names = [n for n in self.names if n != self.shape]
        return gpd.GeoDataFrame({n: np.empty(0, dtype=object) for n in names}, geometry=[], crs=self.crs)


def open_stream(base: Tract, lots: PortfolioLots, issues: Issues) -> LotStream:
    """Look at the lots file's schema. Raises InputError where it can't be streamed or lacks a column."""
    path, where = lots.file, base.shown(lots.file)
    if path.suffix.lower() in NOT_STREAMED or path.is_dir():
        raise InputError(
            Issue(
                "lots_not_streamed", "stop", where, f"a {path.suffix or 'folder'} file",
                "GeoParquet, GeoPackage or another format that is read in pieces",
                "convert it, or list its tract's project in [[tracts]]",
            )
        )  # fmt: skip
    file = VectorFile(path, where, lots.layer)
    check_file(file, issues)
    issues.raise_stops()
    try:
        names, shape, own_crs = _parquet_schema(path) if _is_parquet(path) else _gdal_schema(file, issues)
    except UNREADABLE as error:
        raise _unreadable(error, path, where) from error
    issues.raise_stops()
    crs = parse_crs(lots.crs or own_crs, where)
    frame = gpd.GeoDataFrame({n: np.empty(0, dtype=object) for n in names if n != shape}, geometry=[], crs=crs)
    layer = VectorLayer(frame, where)
    matched = match_columns(layer, base, issues)
    for key, column in (("tract_column", lots.tract_column), ("division_column", lots.division_column)):
        if column is not None and column not in names:
            issues.add(
                "column_missing", "stop", where, f"no column {column} ([lots] {key})",
                f"one of {', '.join(n for n in names if n != shape)}", "correct the portfolio file",
            )  # fmt: skip
    issues.raise_stops()
    return LotStream(path, where, lots.layer, crs, shape, names, matched, lots.tract_column, lots.division_column)


def _unreadable(error: Exception, path: Path, where: str) -> InputError:
    reason = (str(error).splitlines() or [type(error).__name__])[0].replace(str(path), where)[:200]
    return InputError(Issue("file_unreadable", "stop", where, reason, "a vector file with lots", "write it again"))


def _plain(batch: pa.RecordBatch) -> pa.RecordBatch:
    """The same without dictionaries: those of one batch may differ from those of the next."""
    kinds = [f.type.value_type if pa.types.is_dictionary(f.type) else f.type for f in batch.schema]
    return batch.cast(pa.schema([pa.field(f.name, kind) for f, kind in zip(batch.schema, kinds, strict=True)]))


def _is_parquet(path: Path) -> bool:
    return path.suffix.lower() in (".parquet", ".geoparquet")


def _parquet_schema(path: Path) -> tuple[tuple[str, ...], str, object]:
    """Column names, the geometry column and its coordinate system, by the GeoParquet 1.1 metadata."""
    footer = pq.read_metadata(path)
    largest = max((footer.row_group(i).total_byte_size for i in range(footer.num_row_groups)), default=0)
    if largest > LARGEST_BYTES:
        raise ValueError(f"a row group of {largest:,} bytes; expected at most {LARGEST_BYTES:,}")
    schema = footer.schema.to_arrow_schema()
    geo = json.loads((schema.metadata or {}).get(b"geo", b"null"))
    if not isinstance(geo, dict):
        raise ValueError("a Parquet file without GeoParquet metadata")
    shape = str(geo["primary_column"])
    about = geo["columns"][shape]
    if str(about.get("encoding", "")).upper() != "WKB":
        raise ValueError(f"geometry in encoding {about.get('encoding')!r}; expected WKB")
    crs = about.get("crs", "OGC:CRS84")
    names = tuple(f.name for f in schema if not pa.types.is_struct(f.type))  # a covering box is a struct
    return names, shape, json.dumps(crs) if isinstance(crs, dict) else crs


def _gdal_schema(file: VectorFile, issues: Issues) -> tuple[tuple[str, ...], str, object]:
    """The same by GDAL; a stop where the layer is no table."""
    found = [str(name) for name, kind in pyogrio.list_layers(file.path) if kind is not None]
    if file.layer is None and len(found) != 1:
        raise ValueError(f"layers {', '.join(found) or 'none'}; expected one, or [lots] layer")
    check_layer_is_table(file, file.layer or found[0], issues)
    info = pyogrio.read_info(file.path, layer=file.layer)
    return (*map(str, info["fields"]), "geometry"), "geometry", info["crs"]


def shapes_of(batch: pa.RecordBatch | pa.Table, name: str) -> np.ndarray:
    """Geometries of a batch; None for nothing, and for bytes that are no geometry."""
    cells = batch.column(name).to_numpy(zero_copy_only=False) if len(batch) else np.empty(0, dtype=object)
    return np.asarray(shapely.from_wkb(cells, on_invalid="ignore"))
