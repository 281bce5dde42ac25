"""What a vector file must pass before it is opened: nothing that points elsewhere or runs. Every fault is an issue.

Archives have checks of their own, in `archives`.
"""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import IO, TYPE_CHECKING

from hazard.issues import Issues
from screener.files.dxf_bounds import is_drawing

if TYPE_CHECKING:
    from screener.files.vectors import VectorFile

LARGEST_SHAPEFILE_BYTES = 2 * 1024**3  # the format's own limit

_XML = (".gml", ".kml", ".xml")
_DOCTYPE = re.compile(rb"<!\s*(DOCTYPE|ENTITY)", re.IGNORECASE)
# Files that are only references: GDAL would open what they name, on this machine or elsewhere.
_REFERENCES = re.compile(
    rb"<\s*(OGRVRTDataSource|VRTDataset|OGRWFSDataSource|OGRWFS3DataSource|GDAL_W[MC][ST]+|WFS_Capabilities|"
    rb"OGRCSWDataSource)|\"gdal_streamed_alg\"",
    re.IGNORECASE,
)
_REFERENCE_BYTES = 8192
_SQLITE = b"SQLite format 3\x00"
# Tables of a GeoPackage that say what it holds (OGC 12-128r17, 2.1 and 2.2): a view in their place would be code.
_GEOPACKAGE_TABLES = ("gpkg_contents", "gpkg_geometry_columns", "gpkg_spatial_ref_sys", "gpkg_ogr_contents")


def check_file(file: VectorFile, issues: Issues) -> None:
    """Everything that speaks against opening a file, as stops."""
    if file.path.is_dir():
        for shape in sorted(file.path.glob("*.[sS][hH][pP]")):
            _check_shapefile(shape, file.name, issues)
        return
    suffix = file.path.suffix.lower()
    head = _head(file.path, _REFERENCE_BYTES)
    if suffix == ".shp":
        _check_shapefile(file.path, file.name, issues)
    elif suffix == ".gpkg" or head.startswith(_SQLITE):
        _check_journal(file, issues)
        _check_database(file, issues)
    elif suffix in _XML:
        refuse_doctype(file, issues)
    elif suffix != ".dxf" and is_drawing(file.path):
        fix = "rename it, so that it is read as one"
        issues.add(
            "file_misnamed", "stop", file.name, f"a drawing under a name in {suffix or 'no suffix'}", ".dxf", fix
        )
    refuse_references(head, file.name, issues)


def refuse_references(head: bytes, name: str, issues: Issues) -> None:
    """A stop where a file, by its first bytes, is only a list of what to open elsewhere."""
    if _REFERENCES.search(head[:_REFERENCE_BYTES]):
        found = "a file that points at other files or addresses"
        issues.add("file_virtual", "stop", name, found, "the data itself", "save the layer to a file of its own")


def _head(path: Path, count: int) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(count)
    except OSError:
        return b""


# ---------------------------------------------------------------- shapefiles


def _check_shapefile(path: Path, name: str, issues: Issues) -> None:
    beside = {entry.name.lower() for entry in path.parent.iterdir()}
    missing = [path.stem + suffix for suffix in (".shx", ".dbf") if path.stem.lower() + suffix not in beside]
    tell_missing_parts(name, missing, issues)
    for part in (path, path.with_suffix(".dbf")):
        if part.exists() and part.stat().st_size >= LARGEST_SHAPEFILE_BYTES:
            found = f"{part.name} is at the format's limit of 2 GB"
            issues.add("shapefile_size", "stop", name, found, "a smaller file", "give a GeoPackage instead")


def tell_missing_parts(name: str, parts: list[str], issues: Issues) -> None:
    """A stop where a shapefile lacks parts."""
    if parts:
        fix = "copy the missing parts beside it (GDAL can rebuild an index: SHAPE_RESTORE_SHX)"
        found = f"{', '.join(parts)} missing"
        issues.add("shapefile_parts", "stop", name, found, "a shapefile with all its parts", fix)


# ---------------------------------------------------------------- databases

DATABASE_FAULTS = (sqlite3.Error, UnicodeError)
"""What reading a damaged database raises: its own errors, and where the words of one quote bytes that are no text, the
fault of turning them into text."""


def _check_journal(file: VectorFile, issues: Issues) -> None:
    for suffix in ("-journal", "-wal"):
        journal = file.path.with_name(file.path.name + suffix)
        if journal.exists() and journal.stat().st_size:
            found = f"{journal.name} beside it: the file is open, or was not closed"
            fix = "close it in the other program (or open and close it once), then run again"
            issues.add("geopackage_journal", "stop", file.name, found, "a closed file", fix)


def _check_database(file: VectorFile, issues: Issues) -> None:
    """Views and virtual tables where a table must stand: their SQL would run on reading."""
    for name in _GEOPACKAGE_TABLES:
        kind = table_kind(file.path, name)
        if kind not in ("", "table"):
            found = f"{name} is a {kind}"
            issues.add("layer_is_view", "stop", file.name, found, "a table", "export the layer to a new GeoPackage")


def check_layer_is_table(file: VectorFile, layer: str, issues: Issues) -> bool:
    """Whether a database's layer is a table; a stop otherwise. Files of other formats pass."""
    kind = table_kind(file.path, layer) if not file.path.is_dir() else ""
    if kind in ("", "table"):
        return True
    found = f"layer {layer} is a {kind}"
    issues.add("layer_is_view", "stop", file.name, found, "a table", "export it to a layer of its own")
    return False


def table_kind(path: Path, name: str) -> str:
    """ "table", "view" or "virtual table"; "" where the file is no database or lacks the name. Runs none of its SQL."""
    if _head(path, len(_SQLITE)) != _SQLITE:
        return ""
    try:
        with closing(open_read_only(path)) as database:
            row = database.execute(
                "SELECT type, sql FROM sqlite_master WHERE name = ? COLLATE NOCASE AND type IN ('table', 'view')",
                (name,),
            ).fetchone()
    except DATABASE_FAULTS:
        return ""
    if row is None:
        return ""
    return "virtual table" if re.match(r"\s*create\s+virtual", str(row[1]), re.IGNORECASE) else str(row[0])


def open_read_only(path: Path) -> sqlite3.Connection:
    """A database as it lies on disk: read only, no journal played back, nothing in its schema trusted."""
    database = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)
    database.execute("PRAGMA trusted_schema = OFF")
    return database


# ---------------------------------------------------------------- XML


def refuse_doctype(file: VectorFile, issues: Issues) -> bool:
    """Whether an XML file holds a DOCTYPE or entity, which can expand without end or fetch other files."""
    with file.path.open("rb") as stream:
        return refuse_doctype_in(stream, file.name, issues)


def refuse_doctype_in(stream: IO[bytes], name: str, issues: Issues) -> bool:
    """The same for an open file."""
    tail = b""
    while block := stream.read(1 << 20):
        block = block.replace(b"\0", b"")  # UTF-16 and UTF-32 become plain letters
        if _DOCTYPE.search(tail + block):
            fix = "remove the DOCTYPE and its entities"
            issues.add("xml_doctype", "stop", name, "a DOCTYPE or ENTITY", "plain XML", fix)
            return True
        tail = block[-16:]
    return False
