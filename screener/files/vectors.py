"""Reading one layer of a vector file, in any format GDAL reads. The only place that opens vector files.

Files are opened read-only and in place: nothing is unpacked, repaired on disk or fetched. Every fault is added to the
issues; where one forbids going on, the result is None.
"""

from __future__ import annotations

import re
import sqlite3
import warnings
import zipfile
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

from hazard.crs import parse_crs
from hazard.issues import InputError, Issues
from screener.config import nearest

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

LARGEST_ZIP_BYTES = 2 * 1024**3
GREATEST_ZIP_RATIO = 100
LARGEST_SHAPEFILE_BYTES = 2 * 1024**3  # the format's own limit
# Curved polygons in a GeoPackage (OGC 12-128r17, 2.1.3): WKB types 10 and 12, little endian, with their Z and M kinds,
# after a header of 8 bytes and an envelope of none or 32 bytes.
_CURVED_WKB = tuple(
    f"{(kind + kilo) & 0xFF:02X}{(kind + kilo) >> 8:02X}0000" for kind in (10, 12) for kilo in (0, 1000, 2000, 3000)
)
_XML = (".gml", ".kml", ".xml")
_DOCTYPE = re.compile(rb"<!\s*(DOCTYPE|ENTITY)", re.IGNORECASE)


@dataclass(frozen=True)
class VectorFile:
    """A vector file as the project names it. `name` is what messages show."""

    path: Path
    name: str
    layer: str | None = None
    crs: str | None = None
    encoding: str | None = None
    key: str = "file"


@dataclass(frozen=True)
class VectorLayer:
    """A layer in memory: features in file order, its coordinate system, and how messages name it."""

    frame: GeoDataFrame
    where: str


def read_layer(file: VectorFile, issues: Issues) -> VectorLayer | None:
    """Read one layer with all its columns. None, with the reason among the issues, where that can't be done."""
    if not file.path.exists():
        if not any(issue.code == "file_missing" and file.name in issue.expected for issue in issues):
            issues.add("file_missing", "stop", file.name, "nothing there", f"a file at {file.name}", "check the path")
        return None
    suffix = file.path.suffix.lower()
    if suffix == ".dxf":
        from screener.files.dxf import read_dxf

        return _with_crs(read_dxf(file, issues), file, file.name, issues)
    if suffix in (".xml", ".landxml") and _is_landxml(file.path):
        from screener.files.landxml import read_landxml

        return _with_crs(read_landxml(file, issues), file, file.name, issues)
    before = len(issues.stops())
    _check_file(file, issues)
    if len(issues.stops()) > before:
        return None
    layer = _choose_layer(file, issues)
    if layer is None:
        return None
    where = file.name if layer.only else f"{file.name}:{layer.name}"
    frame = _read(file, layer.name, where, issues)
    return _with_crs(frame, file, where, issues)


# ---------------------------------------------------------------- before opening


def _check_file(file: VectorFile, issues: Issues) -> None:
    suffix = file.path.suffix.lower()
    if suffix == ".zip":
        _check_zip(file, issues)
    elif suffix == ".shp":
        _check_shapefile(file, issues)
    elif suffix == ".gpkg":
        _check_journal(file, issues)
    elif suffix in _XML:
        refuse_doctype(file, issues)


def _check_zip(file: VectorFile, issues: Issues) -> None:
    try:
        with zipfile.ZipFile(file.path) as archive:
            members = archive.infolist()
    except (zipfile.BadZipFile, OSError) as error:
        issues.add("file_unreadable", "stop", file.name, f"{error}", "a zip archive", "make it again")
        return
    for member in members:
        parts = member.filename.replace("\\", "/").split("/")
        if ".." in parts or member.filename.startswith(("/", "\\")) or ":" in parts[0]:
            found = f"member {member.filename!r} points outside the archive"
            issues.add("zip_path", "stop", file.name, found, "plain names", "make the archive again")
        if member.filename.lower().endswith(".zip"):
            issues.add(
                "zip_nested", "stop", file.name, f"member {member.filename!r} is an archive", "files", "unpack it"
            )
    size, packed = sum(m.file_size for m in members), max(1, sum(m.compress_size for m in members))
    if size > LARGEST_ZIP_BYTES or size / packed > GREATEST_ZIP_RATIO:
        found = f"declares {size:,} bytes from {packed:,} packed ones"
        limit = f"at most {LARGEST_ZIP_BYTES:,} bytes and {GREATEST_ZIP_RATIO} times the packed size"
        issues.add("zip_too_large", "stop", file.name, found, limit, "unpack it yourself if you trust it")


def _check_shapefile(file: VectorFile, issues: Issues) -> None:
    names = {entry.name.lower() for entry in file.path.parent.iterdir()}
    stem = file.path.stem.lower()
    missing = [suffix for suffix in (".shx", ".dbf") if stem + suffix not in names]
    if missing:
        parts = ", ".join(file.path.stem + suffix for suffix in missing)
        fix = "copy the missing parts beside it (GDAL can rebuild an index: SHAPE_RESTORE_SHX)"
        issues.add("shapefile_parts", "stop", file.name, f"{parts} missing", "a shapefile with all its parts", fix)
    for part in (file.path, file.path.with_suffix(".dbf")):
        if part.exists() and part.stat().st_size >= LARGEST_SHAPEFILE_BYTES:
            found = f"{part.name} is at the format's limit of 2 GB"
            issues.add("shapefile_size", "stop", file.name, found, "a smaller file", "give a GeoPackage instead")


def _check_journal(file: VectorFile, issues: Issues) -> None:
    for suffix in ("-journal", "-wal"):
        journal = file.path.with_name(file.path.name + suffix)
        if journal.exists() and journal.stat().st_size:
            found = f"{journal.name} beside it: the file is open, or was not closed"
            fix = "close it in the other program (or open and close it once), then run again"
            issues.add("geopackage_journal", "stop", file.name, found, "a closed file", fix)


def refuse_doctype(file: VectorFile, issues: Issues) -> bool:
    """Whether an XML file holds a DOCTYPE or entity, which can expand without end or fetch other files."""
    with file.path.open("rb") as stream:
        tail = b""
        while block := stream.read(1 << 20):
            block = block.replace(b"\0", b"")  # UTF-16 and UTF-32 become plain letters
            if _DOCTYPE.search(tail + block):
                fix = "remove the DOCTYPE and its entities"
                issues.add("xml_doctype", "stop", file.name, "a DOCTYPE or ENTITY", "plain XML", fix)
                return True
            tail = block[-16:]
    return False


def _is_landxml(path: Path) -> bool:
    with path.open("rb") as stream:
        return b"LandXML" in stream.read(4096).replace(b"\0", b"")  # in UTF-16 too


# ---------------------------------------------------------------- opening


@dataclass(frozen=True)
class _Layer:
    name: str
    only: bool  # the file's format holds one layer, which need not be named in messages


def _target(file: VectorFile) -> str:
    return f"/vsizip/{file.path}" if file.path.suffix.lower() == ".zip" else str(file.path)


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
            return _Layer(maps[0], len(found) == 1 and file.path.suffix.lower() not in (".gpkg", ".gdb"))
        _no_layer(file, found, maps, issues)
        return None
    if file.layer in (name for name, _ in found):
        if _is_view(file):
            found_text = f"layer {file.layer} is a view"
            issues.add("layer_is_view", "stop", file.name, found_text, "a table", "export the view to a layer")
            return None
        return _Layer(file.layer, False)
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


def _is_view(file: VectorFile) -> bool:
    """Whether a GeoPackage layer is a view, whose SQL would run on reading."""
    if file.path.suffix.lower() != ".gpkg":
        return False
    try:
        with closing(sqlite3.connect(f"{file.path.as_uri()}?mode=ro&immutable=1", uri=True)) as database:
            row = database.execute("SELECT type FROM sqlite_master WHERE name = ?", (file.layer,)).fetchone()
    except sqlite3.Error:
        return False
    return row is not None and row[0] == "view"


def _read(file: VectorFile, layer: str, where: str, issues: Issues) -> GeoDataFrame | None:
    try:
        info = pyogrio.read_info(_target(file), layer=layer, force_feature_count=True)
        if info["features"] == 0:
            issues.add("no_features", "stop", where, "0 features", "at least one", "check the file and the layer")
            return None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what GDAL warns of is checked and reported here in our own words
            frame = pyogrio.read_dataframe(_target(file), layer=layer, encoding=file.encoding, on_invalid="ignore")
            _close_rings(frame, file, layer, where, issues)
    except UnicodeDecodeError as error:
        fix = f"give the file's encoding: {file.key} encoding in the project file"
        issues.add("encoding", "stop", where, f"byte {error.start} of a text is not {error.encoding}", "text", fix)
        return None
    except (DataSourceError, DataLayerError, FeatureError, ValueError, LookupError) as error:
        reason = str(error).splitlines()[0].replace(_target(file), file.name)
        issues.add("file_unreadable", "stop", where, reason, "a vector file", "check the file and the encoding")
        return None
    curved = _curved_rows(file, layer)
    if curved:
        done = "arcs became chords of at most 4 degrees: an arc's sector loses less than 0.1 % of its area"
        issues.add("curves", "warn", where, f"{curved} shapes with arcs", "straight edges", done)
    _check_text(frame, where, issues)
    return frame


def _curved_rows(file: VectorFile, layer: str) -> int:
    """How many shapes of a GeoPackage layer have arcs; GDAL hands them over as chords without a word."""
    if file.path.suffix.lower() != ".gpkg":
        return 0
    marks = ", ".join("?" for _ in _CURVED_WKB)
    try:
        with closing(sqlite3.connect(f"{file.path.as_uri()}?mode=ro&immutable=1", uri=True)) as database:
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
    except (sqlite3.Error, TypeError):
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
    own = frame.crs
    try:
        crs = parse_crs(file.crs if file.crs else own, where)
        if file.crs and own is not None and parse_crs(own, where) != crs:
            found = f"the file says {own.name}, the project file {crs.name}"
            issues.add("crs_overridden", "warn", where, found, "one coordinate system", "took the project file's")
    except InputError as error:
        issues.extend(error.issues)
        return None
    if own is not None and len(own.axis_info) > 2:
        issues.add("crs_vertical", "note", where, f"{own.name} has heights", "", "heights are not used")
    return VectorLayer(frame.set_crs(crs, allow_override=True), where)
