"""Zip archives of lots: what they must pass before they are opened, and how their layer is read.

An archive is looked at by our own eyes first. A layer of several files (a shapefile, a file geodatabase) is then read
in place by GDAL. One that is a single file is unpacked alone, into a folder of its own outside the project, and passes
all that a file by itself must pass. Every fault is an issue.
"""

from __future__ import annotations

import lzma
import re
import shutil
import stat
import tempfile
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from hazard.issues import Issues
from screener.files.vector_checks import refuse_doctype_in, refuse_references, tell_missing_parts

if TYPE_CHECKING:
    from screener.files.vectors import VectorFile

LARGEST_ZIP_BYTES = 2 * 1024**3
GREATEST_ZIP_RATIO = 100
MOST_ZIP_MEMBERS = 10_000

_OF_SEVERAL_FILES = (".shp", ".tab", ".mif", ".gml")  # read in place; a GML's schema lies beside it
_OF_ONE_FILE = (".gpkg", ".geojson", ".json", ".fgb", ".kml")
# What may be lots, or the notes that came with them: looked at where nothing else in the archive is a layer.
_PERHAPS_LOTS = (".dxf", ".parquet", ".geoparquet", ".landxml", ".xml", ".csv")
_JOURNALS = ("-journal", "-wal")  # of a GeoPackage: unpacked beside it, to be told of
_HEAD_BYTES = 8192
_FAULTS = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, OSError, EOFError, ValueError, RuntimeError)
_AGAIN = "make the archive again"
_TRUSTED = "unpack it yourself if you trust it"


def check_archive(file: VectorFile, issues: Issues) -> None:
    """Names that lead out of the archive, links, archives in it, encryption, sizes as declared, then what is in it."""
    before = len(issues.stops())
    try:
        with zipfile.ZipFile(file.path) as archive:
            _check_members(archive.infolist(), file, issues)
            if len(issues.stops()) == before:
                _check_layers(archive, file, issues)
    except _FAULTS as error:
        issues.add("file_unreadable", "stop", file.name, f"{error}", "a zip archive", _AGAIN)


def _check_members(members: list[zipfile.ZipInfo], file: VectorFile, issues: Issues) -> None:
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


# ---------------------------------------------------------------- what is in it


def layer_files(path: Path) -> list[str]:
    """The layers in an archive by their main files: those that can be nothing else, or where there are none, all that
    may be lots. Folders of a file geodatabase stand for it."""
    with zipfile.ZipFile(path) as archive:
        names = [n for n in archive.namelist() if not _is_clutter(n)]
        databases = {
            str(PurePosixPath(*PurePosixPath(n).parts[: k + 1]))
            for n in names
            for k, part in enumerate(PurePosixPath(n).parts)
            if part.endswith(".gdb")
        }
        sure = sorted(databases) or sorted(n for n in names if n.lower().endswith((*_OF_SEVERAL_FILES, *_OF_ONE_FILE)))
        perhaps = sorted(n for n in names if n.lower().endswith(_PERHAPS_LOTS))
        return sure or [n for n in perhaps if not n.lower().endswith(".xml") or b"LandXML" in _head(archive, n)]


def archive_target(path: Path) -> str:
    """What GDAL opens of an archive: the one layer in it, the one folder of layers, else its root."""
    root = f"/vsizip/{{{path}}}"
    layers = layer_files(path)
    if len(layers) == 1:
        return f"{root}/{layers[0]}"
    folders = {str(PurePosixPath(name).parent) for name in layers}
    return f"{root}/{folders.pop()}" if len(folders) == 1 and folders != {"."} else root


def _check_layers(archive: zipfile.ZipFile, file: VectorFile, issues: Issues) -> None:
    """A shapefile needs its parts, nothing that is read in place points elsewhere, one file alone may be lots."""
    names = [n for n in archive.namelist() if not _is_clutter(n)]
    lower = {n.lower() for n in names}
    for name in names:
        stem, _, suffix = name.lower().rpartition(".")
        if suffix == "shp":
            missing = [end for end in (".shx", ".dbf") if stem + end not in lower]
            tell_missing_parts(file.name, [PurePosixPath(name).stem + end for end in missing], issues)
        if f".{suffix}" in _OF_SEVERAL_FILES:
            refuse_references(_head(archive, name), f"{file.name}/{name}", issues)
        if suffix == "gml":
            with archive.open(name) as stream:
                refuse_doctype_in(stream, f"{file.name}/{name}", issues)
    layers = layer_files(file.path)
    if len(layers) > 1 and all(n.lower().endswith((*_OF_ONE_FILE, *_PERHAPS_LOTS)) for n in layers):
        found = f"{len(layers)} files that may be lots: {', '.join(layers[:5])}"
        issues.add("zip_content", "stop", file.name, found, "one", "unpack it and name the file")


def is_one_file(path: Path) -> bool:
    """Whether an archive's layer is a single file."""
    layers = layer_files(path)
    return len(layers) == 1 and layers[0].lower().endswith((*_OF_ONE_FILE, *_PERHAPS_LOTS))


@contextmanager
def unpacked(file: VectorFile, issues: Issues) -> Iterator[VectorFile | None]:
    """The one file that an archive's layer is, alone in a folder that goes away; None, with a stop, where it is broken.

    It gets a plain name made of its own. No more bytes are written than the archive declares.
    """
    member = layer_files(file.path)[0]
    stem, dot, suffix = PurePosixPath(member).name.rpartition(".")
    name = re.sub(r"[^\w .()-]", "_", stem)[:100] + dot + suffix.lower()
    with tempfile.TemporaryDirectory(prefix="lots-") as folder:
        try:
            with zipfile.ZipFile(file.path) as archive:
                for end in ("", *(end for end in _JOURNALS if member + end in archive.namelist())):
                    with archive.open(member + end) as packed, (Path(folder) / (name + end)).open("xb") as target:
                        shutil.copyfileobj(packed, target, 1 << 20)
        except _FAULTS as error:
            issues.add("file_unreadable", "stop", file.name, f"{member}: {error}", "a sound archive", _AGAIN)
            yield None
            return
        yield replace(file, path=Path(folder) / name, name=f"{file.name}/{member}")


def _head(archive: zipfile.ZipFile, name: str) -> bytes:
    with archive.open(name) as stream:
        return stream.read(_HEAD_BYTES).replace(b"\0", b"")  # in UTF-16 too


def _is_clutter(name: str) -> bool:
    """What archiving programs add of their own."""
    parts = PurePosixPath(name).parts
    return not parts or parts[0] == "__MACOSX" or parts[-1].startswith(".")
