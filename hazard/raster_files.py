"""Which files a raster may be made of: local files of plain formats, or one address that the project file names.

A raster format can lead a reader elsewhere: a virtual raster names its sources, a file beside a raster names overviews,
a text file that looks like a raster describes a web service. Here such references are read before the raster library
sees the file, and whatever is not plainly harmless is refused. The virtual format is taken by a list of what may stand
in it (GDAL's reader takes an attribute for an element and any case of letters, so a list of what may not would miss
some). Sizes and depths have limits, so that a small file can't cost much time or memory.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from hazard.issues import InputError, Issue
from hazard.layers import Layer

# Formats that hold their own cells in local files. Others may fetch from elsewhere.
PLAIN_DRIVERS = ("GTiff", "AAIGrid", "EHdr", "HFA", "ENVI", "SRTMHGT", "USGSDEM", "GSAG", "GSBG", "GS7BG")
DRIVERS = (
    *PLAIN_DRIVERS, "GPKG", "netCDF", "RRASTER", "SAGA", "XYZ", "PNG", "JPEG", "GIF", "BMP", "JP2OpenJPEG",
)  # fmt: skip
REMOTE_DRIVERS = ("GTiff",)

MOST_VIRTUAL_BYTES = 10 << 20
MOST_SIDECAR_BYTES = 20 << 20
DEEPEST_VIRTUAL = 3  # virtual rasters over virtual rasters over files
DEEPEST_ELEMENT = 8  # of a virtual raster's text
MOST_SOURCES = 20_000  # counted as often as they are read

REMOTE = re.compile(r"^\s*(?:[a-z][a-z0-9+.-]+://|/vsi|[a-z]+:/vsi|\\\\|//)", re.IGNORECASE)
_SCHEME = re.compile(r"^[A-Za-z0-9_]{2,}:")
_MARKUP = re.compile(r"<!(?!--)|<\?(?!xml\s)|xmlns", re.IGNORECASE)
_VIRTUAL = b"<vrtdataset"
_HEAD_BYTES = 1 << 16

# What may stand in a virtual raster, by element: its attributes. Names of files stand in SourceFilename alone.
_SOURCE_PARTS = ("SourceFilename", "SourceBand", "SourceProperties", "SrcRect", "DstRect", "NODATA", "ScaleOffset",
                 "ScaleRatio", "UseMaskBand")  # fmt: skip
_ATTRIBUTES: dict[str, set[str]] = {
    "VRTDataset": {"rasterXSize", "rasterYSize"},
    "SRS": {"dataAxisToSRSAxisMapping", "coordinateEpoch"},
    "VRTRasterBand": {"dataType", "band", "blockXSize", "blockYSize"},
    "Metadata": {"domain"},
    "MDI": {"key"},
    "SimpleSource": {"resampling", "name"},
    "ComplexSource": {"resampling", "name"},
    "SourceFilename": {"relativeToVRT", "relativetoVRT", "shared"},
    "SourceProperties": {"RasterXSize", "RasterYSize", "DataType", "BlockXSize", "BlockYSize"},
    "SrcRect": {"xOff", "yOff", "xSize", "ySize"},
    "DstRect": {"xOff", "yOff", "xSize", "ySize"},
    "Entry": {"c1", "c2", "c3", "c4"},
    "OverviewList": {"resampling"},
    **{
        name: set()
        for name in (
            "GeoTransform", "BlockXSize", "BlockYSize", "NoDataValue", "HideNoDataValue", "ColorInterp", "ColorTable",
            "Description", "UnitType", "Offset", "Scale", "CategoryNames", "Category", "SourceBand", "NODATA",
            "ScaleOffset", "ScaleRatio", "UseMaskBand", "Histograms", "HistItem", "HistMin", "HistMax", "BucketCount",
            "IncludeOutOfRange", "Approximate", "HistCounts", "MaskBand",
        )
    },
}  # fmt: skip
_SOURCES = ("SimpleSource", "ComplexSource")


@dataclass(frozen=True)
class RasterFile:
    """A file that may be opened: its path or address, and the formats it may be opened as."""

    path: str
    drivers: tuple[str, ...]
    remote: bool = False

    def settings(self) -> dict[str, object]:
        """Settings of the raster library for it: a local file fetches nothing, a remote one only itself."""
        common: dict[str, object] = {"GDAL_PAM_ENABLED": True, "VRT_SHARED_SOURCE": False}
        if not self.remote:
            return {**common, "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": "{nothing}"}
        waits = {"GDAL_HTTP_CONNECTTIMEOUT": 10, "GDAL_HTTP_TIMEOUT": 120, "GDAL_HTTP_MAX_RETRY": 2}
        return {**common, **waits, "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR", "GDAL_PAM_ENABLED": False}


def raster_file(layer: Layer) -> RasterFile:
    """The one file of a layer, fit to be opened. Raises InputError with every reason against it."""
    given = str(layer.file)
    if REMOTE.match(given):
        return _remote(given, layer)
    try:
        path = Path(given).resolve(strict=True)
    except (OSError, RuntimeError) as error:
        kind = "no such file" if isinstance(error, FileNotFoundError) else "a link that leads nowhere"
        raise InputError(_unreadable(layer, f"{kind}: {layer.name}")) from error
    if not path.is_file():
        raise InputError(_unreadable(layer, f"not a file: {layer.name}"))
    found = check_sidecars(path, layer.name)
    virtual = is_virtual(path)
    if virtual:
        found += _Walk(path.parent, layer.name).check(path)
    if found:
        raise InputError(list(dict.fromkeys(found)))
    return RasterFile(str(path), ("VRT",) if virtual else DRIVERS)


def _remote(address: str, layer: Layer) -> RasterFile:
    """An https address, where the run allows it; the formats are those that hold their cells themselves."""
    shown = re.sub(r"//[^/@]*@", "//", address.partition("?")[0])
    if layer.allow_remote and re.fullmatch(r"https://[^\s/@\\]+/[^\s\\]+", address):
        return RasterFile(address, REMOTE_DRIVERS, remote=True)
    if layer.allow_remote:
        expected, fix = "an https:// address of one GeoTIFF, without a user name", "correct the address"
    else:
        expected, fix = "a local file", "fetch it first and name the local file, or allow remote rasters for this run"
    raise InputError(Issue("raster_remote", "stop", layer.name, f"remote path {shown!r}", expected, fix))


def referenced_files(path: Path) -> list[Path]:
    """Every file a virtual raster is made of, sorted; none for another file. Raises InputError as reading would."""
    try:
        if not path.is_file() or not is_virtual(path):
            return []
    except OSError:  # reading says why
        return []
    walk = _Walk(path.resolve().parent, path.name)
    found = walk.check(path.resolve())
    if found:
        raise InputError(list(dict.fromkeys(found)))
    return sorted(walk.sources)


def is_virtual(path: Path) -> bool:
    """Whether a file is, or could be taken for, a virtual raster: by content, whatever it is called."""
    with path.open("rb") as file:
        return _VIRTUAL in file.read(_HEAD_BYTES).lower()


# -- virtual rasters ----------------------------------------------------------------------------------------------


class _Walk:
    """Reads a virtual raster and all that it is made of; each file once, however often it is named."""

    def __init__(self, folder: Path, where: str) -> None:
        self.folder = folder
        self.where = where
        self.sources: set[Path] = set()
        self._reads: dict[Path, int] = {}  # how many files reading this one takes
        self._open: list[Path] = []

    def check(self, path: Path) -> list[Issue]:
        """Every reason against a virtual raster in the folder."""
        if path in self._reads:
            return []
        if path in self._open:
            return [self._stop("raster_outside_folder", f"virtual raster {path.name} refers to itself", "files")]
        if len(self._open) >= DEEPEST_VIRTUAL:
            expected = f"{DEEPEST_VIRTUAL} at most"
            return [self._stop("raster_unsafe", f"virtual rasters nested more than {DEEPEST_VIRTUAL} deep", expected)]
        root, found = self._parse(path)
        if root is None or found:
            return found
        self._open.append(path)
        reads = 0
        for source in (element for element in root.iter() if element.tag in _SOURCES):
            issue, target = self._target(source, path)
            if issue is not None:
                found.append(issue)
            elif target is not None:
                found += self._source(target)
                reads += self._reads.get(target, 1)
        self._open.pop()
        self._reads[path] = reads
        if reads > MOST_SOURCES:
            what = f"virtual raster {path.name} reads {reads:,} sources"
            found.append(self._stop("raster_unsafe", what, f"{MOST_SOURCES:,} at most"))
        return found

    def _source(self, target: Path) -> list[Issue]:
        """Reasons against one file that a virtual raster names."""
        if target in self.sources:
            return []
        self.sources.add(target)
        if not target.is_file():  # reading says so where it matters
            return []
        if is_virtual(target):
            return self.check(target)
        found = check_sidecars(target, target.name)
        if not _plain(target):
            what = f"virtual raster refers to {target.name!r}, which does not hold cells itself"
            found.append(self._stop("raster_unsafe", what, "files of plain raster formats"))
        return found

    def _parse(self, path: Path) -> tuple[ElementTree.Element | None, list[Issue]]:
        """The virtual raster's tree, or why it is refused."""
        if path.stat().st_size > MOST_VIRTUAL_BYTES:
            what = f"virtual raster {path.name} of {path.stat().st_size / 2**20:,.0f} MiB"
            return None, [self._stop("raster_unsafe", what, f"{MOST_VIRTUAL_BYTES >> 20} MiB at most")]
        try:
            text = path.read_bytes().decode("utf-8-sig")
        except UnicodeDecodeError:
            return None, [self._stop("raster_unsafe", f"virtual raster {path.name} is not UTF-8 text", "UTF-8 text")]
        if (unsafe := _MARKUP.search(text)) is not None:
            what = f"virtual raster {path.name} with a document type, entities or instructions ({unsafe.group()!r})"
            return None, [self._stop("raster_unsafe", what, "plain references to local files")]
        try:
            root = ElementTree.fromstring(text)
        except (ElementTree.ParseError, RecursionError, ValueError) as error:
            return None, [self._stop("raster_unsafe", f"virtual raster {path.name}: {error}", "well-formed XML")]
        return root, self._foreign(root, path)

    def _foreign(self, root: ElementTree.Element, path: Path) -> list[Issue]:
        """Elements and attributes that do not belong to a plain mosaic of files."""
        foreign = []
        if root.tag != "VRTDataset":
            foreign.append(root.tag)
        for element, depth in _with_depth(root):
            known = _ATTRIBUTES.get(element.tag)
            if known is None or depth > DEEPEST_ELEMENT:
                foreign.append(str(element.tag))
                break
            foreign += [f"{element.tag} {name}" for name in element.attrib if name not in known]
            if element.tag in _SOURCES:
                foreign += [f"{element.tag}/{part.tag}" for part in element if part.tag not in _SOURCE_PARTS]
            elif any(part.tag == "SourceFilename" for part in element):
                foreign.append(f"{element.tag}/SourceFilename")
        if not foreign:
            return []
        shown = ", ".join(dict.fromkeys(name[:60] for name in foreign[:5]))
        what = f"virtual raster {path.name} holds {shown}"
        fix = "make the raster itself, or a plain mosaic of its files"
        return [
            Issue("raster_unsafe", "stop", self.where, what, "a plain mosaic: no warping, computing or options", fix)
        ]

    def _target(self, source: ElementTree.Element, path: Path) -> tuple[Issue | None, Path | None]:
        """The file that one source names, or why the name is refused."""
        names = source.findall("SourceFilename")
        if len(names) != 1 or not (names[0].text or "").strip():
            return self._stop("raster_unsafe", f"virtual raster {path.name}: a source without one file", "one"), None
        text = names[0].text or ""
        relative = next((v for k, v in names[0].attrib.items() if k.casefold() == "relativetovrt"), "0")
        base = path.parent if relative.strip() == "1" else Path()
        problem = _target_problem(text, base, self.folder)
        if problem:
            fix = "put the tiles beside the virtual raster"
            return (
                Issue(
                    "raster_outside_folder", "stop", self.where, problem, "files in the raster's own folder", fix
                ),
                None,
            )  # fmt: skip
        return None, (base / text).resolve()

    def _stop(self, code: str, found: str, expected: str) -> Issue:
        return Issue(code, "stop", self.where, found, expected, "use the data itself")


def _with_depth(root: ElementTree.Element) -> Iterator[tuple[ElementTree.Element, int]]:
    """Every element with its depth, the root's being 1."""
    rest = [(root, 1)]
    while rest:
        element, depth = rest.pop()
        yield element, depth
        rest.extend((part, depth + 1) for part in element)


def interpolates(path: Path) -> str:
    """The interpolation that a (checked) virtual raster asks of its sources; "" for none or the nearest cell."""
    for file in (path, *referenced_files(path)):
        if file.is_file() and is_virtual(file):
            root = ElementTree.fromstring(file.read_bytes().decode("utf-8-sig"))
            for element in root.iter():
                how = element.attrib.get("resampling", "").casefold()
                if element.tag in _SOURCES and how not in ("", "near", "nearest"):
                    return how
    return ""


def _target_problem(target: str, base: Path, folder: Path) -> str:
    """Why a virtual raster's reference is refused; "" if it is a file inside the folder."""
    if REMOTE.match(target) or _SCHEME.match(target) or re.search(r"[<&\x00-\x1f]", target) or target != target.strip():
        return f"virtual raster refers to {target!r}, which is not a plain local file"
    try:
        real = (base / target).resolve()
    except (OSError, RuntimeError, ValueError):
        return f"virtual raster refers to {target!r}, a link that leads nowhere"
    if not real.is_relative_to(folder):
        return f"virtual raster refers to {target!r}, outside its own folder"
    return ""


def _plain(path: Path) -> bool:
    """Whether a file is a raster of a plain format, and can't be taken for a description of something elsewhere."""
    from rasterio import Env
    from rasterio.errors import RasterioError
    from rasterio.io import DatasetReader

    with path.open("rb") as file:
        head = file.read(_HEAD_BYTES).lstrip(b"\xef\xbb\xbf \t\r\n")
    if head[:1] in (b"<", b"{", b"["):
        return False
    try:
        with Env(**RasterFile(str(path), PLAIN_DRIVERS).settings()), DatasetReader(str(path), driver=PLAIN_DRIVERS):
            return True
    except RasterioError:
        return False


# -- files beside a raster ----------------------------------------------------------------------------------------


def check_sidecars(path: Path, where: str) -> list[Issue]:
    """Files beside a raster that the raster library opens by itself: they must hold data or plain settings only."""
    found = []
    for beside in sorted({*_named(path, ".aux.xml")}):
        problem = _bad_settings(beside)
        if problem:
            what, fix = f"{beside.name} beside the file {problem}", "remove it, or write it anew"
            found.append(Issue("raster_unsafe", "stop", where, what, "statistics, nodata, names and the like", fix))
    for beside in sorted({*_named(path, ".ovr"), *_named(path, ".msk"), *_named(path, ".rrd"), *_named(path, ".aux")}):
        if not _binary_raster(beside):
            what = f"{beside.name} beside the file holds no cells of its own"
            found.append(Issue("raster_unsafe", "stop", where, what, "overviews or a mask", "remove it"))
    return found


def _named(path: Path, ending: str) -> list[Path]:
    """Files called like the raster with an ending added, or in place of its own."""
    beside = (path.with_name(path.name + ending), path.with_suffix(ending))
    return [file for file in beside if file != path and (file.is_file() or file.is_symlink())]


def _binary_raster(path: Path) -> bool:
    """Whether a file begins as the two formats of overviews and masks do."""
    try:
        with path.open("rb") as file:
            return file.read(15)[:15].startswith((b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"EHFA_HEADER_TAG"))
    except OSError:
        return False


def _bad_settings(path: Path) -> str:
    """Why an .aux.xml file is refused; "" if it is plain."""
    try:
        if path.stat().st_size > MOST_SIDECAR_BYTES:
            return f"is larger than {MOST_SIDECAR_BYTES >> 20} MiB"
        text = path.read_bytes().decode("utf-8", errors="replace")
    except OSError:
        return "can't be read"
    if "\0" in text or re.search(r"<!(?!--)", text):
        return "has a document type or entities"
    if re.search(r"OVERVIEW_FILE|SourceFilename|SourceDataset", text, re.IGNORECASE):
        return "names another file"
    return ""


def _unreadable(layer: Layer, found: str) -> Issue:
    return Issue("raster_unreadable", "stop", layer.name, found, "a readable raster", "check the path and the file")
