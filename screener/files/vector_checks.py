"""What a vector file must pass before it is opened: nothing that unpacks without end, points elsewhere or runs.

Archives are looked at by our own eyes and then read in place by GDAL; nothing is unpacked. Every fault is an issue.
"""

from __future__ import annotations

import re
import sqlite3
import stat
import zipfile
from collections import Counter
from contextlib import closing
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from hazard.issues import Issues

if TYPE_CHECKING:
    from screener.files.vectors import VectorFile

LARGEST_ZIP_BYTES = 2 * 1024**3
GREATEST_ZIP_RATIO = 100
MOST_ZIP_MEMBERS = 10_000
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
# Layers in an archive, by how their names end; what GDAL or our own readers can't read in place is named apart.
_READ_IN_PLACE = (".shp", ".gpkg", ".geojson", ".json", ".fgb", ".gml", ".kml", ".tab", ".mif")
_NOT_IN_PLACE = (".dxf", ".parquet", ".geoparquet", ".xml", ".csv")
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
    if head.startswith(b"PK"):
        check_archive(file, issues)
    elif suffix == ".zip":
        issues.add("file_unreadable", "stop", file.name, "no zip archive", "a zip archive", "make it again")
    elif suffix == ".shp":
        _check_shapefile(file.path, file.name, issues)
    elif suffix == ".gpkg" or head.startswith(_SQLITE):
        _check_journal(file, issues)
        _check_database(file, issues)
    elif suffix in _XML:
        refuse_doctype(file, issues)
    if _REFERENCES.search(head):
        found = "a file that points at other files or addresses"
        issues.add("file_virtual", "stop", file.name, found, "the data itself", "save the layer to a file of its own")


def _head(path: Path, count: int) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(count)
    except OSError:
        return b""


# ---------------------------------------------------------------- archives


def check_archive(file: VectorFile, issues: Issues) -> None:
    """Names that lead out of the archive, links, archives in it, encryption, and sizes as declared."""
    try:
        with zipfile.ZipFile(file.path) as archive:
            members = archive.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        issues.add("file_unreadable", "stop", file.name, f"{error}", "a zip archive", "make it again")
        return
    for member in members:
        _check_member(member, file, issues)
    twice = sorted(name for name, count in Counter(m.filename for m in members).items() if count > 1)
    if twice:
        issues.add("zip_path", "stop", file.name, f"member {twice[0]!r} stands twice", "each name once", _AGAIN)
    if len(members) > MOST_ZIP_MEMBERS:
        found = f"{len(members):,} members"
        issues.add("zip_too_large", "stop", file.name, found, f"at most {MOST_ZIP_MEMBERS:,}", _TRUSTED)
    size, packed = sum(m.file_size for m in members), max(1, sum(m.compress_size for m in members))
    if size > LARGEST_ZIP_BYTES or size / packed > GREATEST_ZIP_RATIO:
        found = f"declares {size:,} bytes from {packed:,} packed ones"
        limit = f"at most {LARGEST_ZIP_BYTES:,} bytes and {GREATEST_ZIP_RATIO} times the packed size"
        issues.add("zip_too_large", "stop", file.name, found, limit, _TRUSTED)


_AGAIN = "make the archive again"
_TRUSTED = "unpack it yourself if you trust it"


def _check_member(member: zipfile.ZipInfo, file: VectorFile, issues: Issues) -> None:
    name = member.filename
    parts = name.replace("\\", "/").split("/")
    if ".." in parts or name.startswith(("/", "\\")) or ":" in parts[0]:
        found = f"member {name!r} points outside the archive"
        issues.add("zip_path", "stop", file.name, found, "plain names", _AGAIN)
    if name.lower().endswith((".zip", ".kmz", ".7z", ".rar", ".gz", ".tar", ".tgz")):
        issues.add("zip_nested", "stop", file.name, f"member {name!r} is an archive", "files", "unpack it")
    if stat.S_ISLNK(member.external_attr >> 16):
        issues.add("zip_link", "stop", file.name, f"member {name!r} is a link", "files", _AGAIN)
    if member.flag_bits & 0x1:
        issues.add("zip_encrypted", "stop", file.name, f"member {name!r} is encrypted", "an open archive", _AGAIN)


def archive_target(path: Path) -> str:
    """What GDAL opens of an archive: the one layer file in it, the one folder of layer files, else its root."""
    root = f"/vsizip/{{{path}}}"
    try:
        with zipfile.ZipFile(path) as archive:
            names = [PurePosixPath(n) for n in archive.namelist() if not _is_clutter(n)]
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return root
    bases = {str(PurePosixPath(*n.parts[: k + 1])) for n in names for k, p in enumerate(n.parts) if p.endswith(".gdb")}
    layers = sorted(bases) or sorted(str(n) for n in names if n.suffix.lower() in _READ_IN_PLACE)
    if len(layers) == 1:
        return f"{root}/{layers[0]}"
    folders = {str(PurePosixPath(name).parent) for name in layers}
    return f"{root}/{folders.pop()}" if len(folders) == 1 and folders != {"."} else root


def check_archive_layers(file: VectorFile, issues: Issues) -> None:
    """What is in an archive: a shapefile needs its parts, and some formats can't be read in place."""
    with zipfile.ZipFile(file.path) as archive:
        names = [n for n in archive.namelist() if not _is_clutter(n)]
    lower = {n.lower() for n in names}
    for name in names:
        stem, dot, suffix = name.rpartition(".")
        if dot and suffix.lower() == "shp":
            missing = [end for end in (".shx", ".dbf") if stem.lower() + end not in lower]
            _tell_missing(file.name, [PurePosixPath(stem).name + end for end in missing], issues)
    if not any(n.endswith(_READ_IN_PLACE) or ".gdb/" in n for n in lower):
        apart = sorted(n for n in names if n.lower().endswith(_NOT_IN_PLACE))
        if apart:
            found = f"{apart[0]} in an archive"
            issues.add("zip_content", "stop", file.name, found, "the file itself", "unpack it and name it")


def _is_clutter(name: str) -> bool:
    """What archiving programs add of their own."""
    parts = PurePosixPath(name).parts
    return not parts or parts[0] == "__MACOSX" or parts[-1].startswith(".")


# ---------------------------------------------------------------- shapefiles


def _check_shapefile(path: Path, name: str, issues: Issues) -> None:
    beside = {entry.name.lower() for entry in path.parent.iterdir()}
    missing = [path.stem + suffix for suffix in (".shx", ".dbf") if path.stem.lower() + suffix not in beside]
    _tell_missing(name, missing, issues)
    for part in (path, path.with_suffix(".dbf")):
        if part.exists() and part.stat().st_size >= LARGEST_SHAPEFILE_BYTES:
            found = f"{part.name} is at the format's limit of 2 GB"
            issues.add("shapefile_size", "stop", name, found, "a smaller file", "give a GeoPackage instead")


def _tell_missing(name: str, parts: list[str], issues: Issues) -> None:
    if parts:
        fix = "copy the missing parts beside it (GDAL can rebuild an index: SHAPE_RESTORE_SHX)"
        found = f"{', '.join(parts)} missing"
        issues.add("shapefile_parts", "stop", name, found, "a shapefile with all its parts", fix)


# ---------------------------------------------------------------- databases


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
    except sqlite3.Error:
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
        tail = b""
        while block := stream.read(1 << 20):
            if _DOCTYPE.search(tail + block):
                fix = "remove the DOCTYPE and its entities"
                issues.add("xml_doctype", "stop", file.name, "a DOCTYPE or ENTITY", "plain XML", fix)
                return True
            tail = block[-16:]
    return False
