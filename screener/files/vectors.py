"""Reading one layer of a vector file, in any format GDAL reads. The only place that opens vector files.

Files are opened read-only, after `vector_checks` and `archives`: nothing is repaired on disk or fetched, and nothing is
unpacked but the one file of an archive. Every fault is added to the issues; where one forbids going on, the result is
None.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

from hazard.crs import parse_crs
from hazard.issues import InputError, Issue, Issues
from screener.config_faults import nearest
from screener.files.archives import archive_target, check_archive, is_one_file, unpacked
from screener.files.dbf_texts import cut_texts
from screener.files.vector_checks import DATABASE_FAULTS, check_file, check_layer_is_table, open_read_only

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

# Curved polygons in a GeoPackage (OGC 12-128r17, 2.1.3): WKB types 10 and 12, little endian, with their Z and M kinds,
# after a header of 8 bytes and an envelope of none or 32 bytes.
_CURVED_WKB = tuple(
    f"{(kind + kilo) & 0xFF:02X}{(kind + kilo) >> 8:02X}0000" for kind in (10, 12) for kilo in (0, 1000, 2000, 3000)
)
# Nothing is fetched, whatever a file names; no code of a file runs.
_CLOSED = {"GML_DOWNLOAD_WFS_SCHEMA": "NO", "GML_SKIP_RESOLVE_ELEMS": "ALL", "OGR_SQLITE_LOAD_EXTENSIONS": ""}


@dataclass(frozen=True)
class VectorFile:
    """A vector file as the project names it. `name` is what messages show."""

    path: Path
    name: str
    layer: str | None = None
    crs: str | None = None
    encoding: str | None = None
    key: str = "file"
    columns: Mapping[str, str] = field(default_factory=dict)  # our name = the file's, for formats that need some
    axes: str = "xy"  # "yx": the file gives the northing (latitude) first
    proposals: Callable[[NDArray[np.object_]], str] | None = None  # systems that its shapes may be in, as lines


@dataclass(frozen=True)
class VectorLayer:
    """A layer in memory: features in file order, its coordinate system, and how messages name it."""

    frame: GeoDataFrame
    where: str
    cut: Mapping[str, NDArray[np.bool_]] = field(default_factory=dict)  # column: rows whose text may be cut off


def read_layer(file: VectorFile, issues: Issues) -> VectorLayer | None:
    """Read one layer with all its columns. None, with the reason among the issues, where that can't be done."""
    if not file.path.exists():
        if not any(issue.code == "file_missing" and file.name in issue.expected for issue in issues):
            issues.add("file_missing", "stop", file.name, "nothing there", f"a file at {file.name}", "check the path")
        return None
    before = len(issues.stops())
    if _is_archive(file):
        check_archive(file, issues)
        if len(issues.stops()) > before:
            return None
        if is_one_file(file.path):
            with unpacked(file, issues) as alone:
                return read_layer(alone, issues) if alone is not None else None
    else:
        check_file(file, issues)
        if len(issues.stops()) > before:
            return None
    with _closed_options():
        reader = _own_reader(file)
        if reader is not None:
            return _with_crs(reader(file, issues), file, file.name, issues)
        layer = _choose_layer(file, issues)
        if layer is None:
            return None
        where = file.name if layer.only else f"{file.name}:{layer.name}"
        frame = _read(file, layer.name, where, issues)
    read = _with_crs(frame, file, where, issues)
    if read is None:
        return None
    names = [str(name) for name in read.frame.columns if name != read.frame.geometry.name]
    return replace(read, cut=cut_texts(file.path, layer.name, names, len(read.frame)))


def _own_reader(file: VectorFile) -> Callable[[VectorFile, Issues], GeoDataFrame | None] | None:
    """The reader of a format that GDAL does not read as lots; None for those that it does."""
    suffix = file.path.suffix.lower()
    if file.path.is_dir():
        return None
    if suffix == ".dxf":
        from screener.files.dxf import read_dxf

        return read_dxf
    if suffix in (".xml", ".landxml") and _is_landxml(file.path):
        from screener.files.landxml import read_landxml

        return read_landxml
    if suffix in (".parquet", ".geoparquet"):
        from screener.files.parquet import read_parquet

        return read_parquet
    if suffix == ".csv":
        from screener.files.lot_points import has_shapes, read_lot_points

        return None if has_shapes(file.path) else read_lot_points
    return None


@contextmanager
def _closed_options() -> Iterator[None]:
    before = {name: pyogrio.get_gdal_config_option(name) for name in _CLOSED}
    pyogrio.set_gdal_config_options(_CLOSED)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def _is_landxml(path: Path) -> bool:
    with path.open("rb") as stream:
        return b"LandXML" in stream.read(4096).replace(b"\0", b"")  # in UTF-16 too


def _is_archive(file: VectorFile) -> bool:
    """Whether a file is a zip by its content, or calls itself one."""
    if file.path.is_dir():
        return False
    with file.path.open("rb") as stream:
        return stream.read(2) == b"PK" or file.path.suffix.lower() == ".zip"


# ---------------------------------------------------------------- opening


@dataclass(frozen=True)
class _Layer:
    name: str
    only: bool  # the file's format holds one layer, which need not be named in messages


def _target(file: VectorFile) -> str:
    return archive_target(file.path) if _is_archive(file) else str(file.path)


def _choose_layer(file: VectorFile, issues: Issues) -> _Layer | None:
    try:
        found = [(str(name), kind) for name, kind in pyogrio.list_layers(_target(file))]
    except DataSourceError as error:
        reason = str(error).splitlines()[0].replace(_target(file), file.name)
        fix = "check the file; any vector format that GDAL reads will do"
        issues.add("file_unreadable", "stop", file.name, reason, "a vector file", fix)
        return None
    maps = [name for name, kind in found if kind is not None]
    if file.layer is None:
        if len(maps) == 1:
            if not check_layer_is_table(file, maps[0], issues):
                return None
            return _Layer(maps[0], len(found) == 1 and file.path.suffix.lower() not in (".gpkg", ".gdb"))
        _no_layer(file, found, maps, issues)
        return None
    if file.layer in (name for name, _ in found):
        return _Layer(file.layer, False) if check_layer_is_table(file, file.layer, issues) else None
    names = [name for name, _ in found]
    close = nearest(file.layer, names)
    expected = f"{close} (the nearest)" if close else "one of " + ", ".join(names)
    fix = f"correct {file.key} layer in the project file"
    issues.add("layer_missing", "stop", file.name, f"no layer {file.layer}", expected, fix)
    return None


def _no_layer(file: VectorFile, found: list[tuple[str, Any]], maps: list[str], issues: Issues) -> None:
    if not maps:
        what = "no map layer" if found else "no layer"
        issues.add("layer_missing", "stop", file.name, what, "a layer with geometry", "check the file")
        return
    about = []
    for name, kind in found:
        if kind is not None:
            count = pyogrio.read_info(_target(file), layer=name, force_feature_count=True)["features"]
            about.append(f"{name} ({kind}, {count})")
    fix = f"name one: {file.key} layer in the project file"
    issues.add("layer_not_named", "stop", file.name, f"{len(maps)} layers: {', '.join(about)}", "one", fix)


def _read(file: VectorFile, layer: str, where: str, issues: Issues) -> GeoDataFrame | None:
    try:
        info = pyogrio.read_info(_target(file), layer=layer, force_feature_count=True)
        if info["features"] == 0:
            issues.add("no_features", "stop", where, "0 features", "at least one", "check the file and the layer")
            return None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what GDAL warns of is checked and reported here in our own words
            frame = pyogrio.read_dataframe(_target(file), layer=layer, encoding=file.encoding, on_invalid="ignore")
            if frame.columns.is_unique:
                _close_rings(frame, file, layer, where, issues)
    except UnicodeDecodeError as error:
        fix = f"give the file's encoding: {file.key} encoding in the project file"
        issues.add("encoding", "stop", where, f"byte {error.start} of a text is not {error.encoding}", "text", fix)
        return None
    except (DataSourceError, DataLayerError, FeatureError, ValueError, LookupError) as error:
        reason = str(error).splitlines()[0].replace(_target(file), file.name)
        issues.add("file_unreadable", "stop", where, reason, "a vector file", "check the file and the encoding")
        return None
    if not _columns_once(frame, where, issues):
        return None
    curved = _curved_rows(file, layer)
    if curved:
        done = "arcs became chords of at most 4 degrees: an arc's sector loses less than 0.1 % of its area"
        issues.add("curves", "warn", where, f"{curved} shapes with arcs", "straight edges", done)
    _check_text(frame, where, issues)
    return frame


def _columns_once(frame: GeoDataFrame, where: str, issues: Issues) -> bool:
    """Whether no two columns share a name, as they may in a CSV."""
    twice = sorted({str(name) for name in frame.columns[frame.columns.duplicated()]})
    if twice:
        found = f"column {', '.join(twice)} more than once"
        issues.add("column_twice", "stop", where, found, "each column once", "rename or remove one")
    return not twice


def _curved_rows(file: VectorFile, layer: str) -> int:
    """How many shapes of a GeoPackage layer have arcs; GDAL hands them over as chords without a word."""
    if file.path.suffix.lower() != ".gpkg":
        return 0
    marks = ", ".join("?" for _ in _CURVED_WKB)
    try:
        with closing(open_read_only(file.path)) as database:
            column = database.execute(
                "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (layer,)
            ).fetchone()[0]
            shape = '"' + column.replace('"', '""') + '"'
            table = '"' + layer.replace('"', '""') + '"'
            query = (
                f"SELECT count(*) FROM {table} WHERE hex(substr({shape}, CASE hex(substr({shape}, 4, 1)) "
                f"WHEN '01' THEN 10 WHEN '03' THEN 42 END, 4)) IN ({marks})"
            )
            return int(database.execute(query, _CURVED_WKB).fetchone()[0])
    except (*DATABASE_FAULTS, TypeError):
        return 0


def _close_rings(frame: GeoDataFrame, file: VectorFile, layer: str, where: str, issues: Issues) -> None:
    """Read again the shapes that could not be built: a ring whose last point is not its first gets closed."""
    missing = frame.geometry.isna().to_numpy()
    if not missing.any():
        return
    try:
        again = pyogrio.read_dataframe(
            _target(file), layer=layer, encoding=file.encoding, columns=[], on_invalid="fix", fid_as_index=False
        )
    except ValueError:  # a shapely that can't mend on reading: the lots stay without geometry and are skipped
        return
    closed = missing & again.geometry.notna().to_numpy()
    if closed.any():
        frame.loc[closed, frame.geometry.name] = again.geometry[closed]
        for row in closed.nonzero()[0]:
            issues.add("ring_closed", "fix", f"{where} row {row + 1}", "a ring is open", "a closed ring", "closed it")


def _check_text(frame: GeoDataFrame, where: str, issues: Issues) -> None:
    for name in frame.columns:
        if name == frame.geometry.name or not (frame[name].dtype == object or str(frame[name].dtype) == "str"):
            continue
        bad = frame[name].astype("str").str.contains("\ufffd", regex=False, na=False)
        if bad.any():
            rows = ", ".join(str(i + 1) for i in bad.to_numpy().nonzero()[0][:5])
            found = f"column {name}: {int(bad.sum())} texts with replaced characters (rows {rows})"
            issues.add("encoding_damage", "warn", where, found, "readable text", "give the right encoding")


def _with_crs(frame: GeoDataFrame | None, file: VectorFile, where: str, issues: Issues) -> VectorLayer | None:
    """The layer with a usable horizontal coordinate system: the project file's where it gives one, else the file's."""
    if frame is None:
        return None
    if file.axes == "yx":
        frame = frame.set_geometry(shapely.transform(frame.geometry.to_numpy(), lambda xy: xy[:, ::-1]), crs=frame.crs)
        issues.add(
            "axes_turned", "note", where, "the northing (latitude) first", "", "turned, as the project file says"
        )
    own = frame.crs
    try:
        crs = parse_crs(file.crs if file.crs else own, where)
        if file.crs and own is not None and parse_crs(own, where) != crs:
            found = f"the file says {own.name}, the project file {crs.name}"
            issues.add("crs_overridden", "warn", where, found, "one coordinate system", "took the project file's")
    except InputError as error:
        issues.extend(with_proposals(error.issues, file, frame.geometry.to_numpy()))
        return None
    if own is not None and len(own.axis_info) > 2:
        issues.add("crs_vertical", "note", where, f"{own.name} has heights", "", "heights are not used")
    return VectorLayer(frame.set_crs(crs, allow_override=True), where)


def with_proposals(found: list[Issue], file: VectorFile, shapes: NDArray[np.object_]) -> list[Issue]:
    """Stops about the coordinate system, with the systems that the shapes may be in."""
    lines = file.proposals(shapes) if file.proposals is not None else ""
    return [replace(issue, done=f"{issue.done}{lines}") for issue in found] if lines else found
