"""What is wanted of a LandXML file: its units, points and parcels, read piece by piece within bounds.

Surfaces and alignments, which make such files large, are passed over and never held. A DOCTYPE is refused whatever the
file's encoding (a search of its bytes sees it in some encodings only). The bounds keep memory below 1 GiB.
"""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from pathlib import Path

Element = ElementTree.Element

LARGEST_BYTES = 200 * 1024**2
MOST_ELEMENTS = 1_000_000  # kept; a lot of four lines has about 14
MOST_TEXT = 32 * 1024**2  # characters kept
DEEPEST = 100  # LandXML nests about ten deep
_PIECE_BYTES = 1 << 20
# Some versions of the parser look at an unfinished tag again from its start whenever more of the file arrives, which
# takes quadratic time for a tag of hundreds of megabytes.
_LONGEST_TAG_PIECES = 16
_WANTED = ("Units", "CgPoint", "Parcel")


class LandXmlError(ValueError):
    """Why a LandXML file is not read, in words for an issue."""

    def __init__(self, found: str, expected: str = "LandXML", fix: str = "check the file", code: str = "") -> None:
        super().__init__(found)
        self.found, self.expected, self.fix, self.code = found, expected, fix, code or "file_unreadable"


def read_parts(path: Path) -> Element:
    """An element that holds all Units, CgPoint and Parcel elements of the file in order. Raises LandXmlError."""
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        raise LandXmlError(f"{size:,} bytes", f"at most {LARGEST_BYTES:,}", "export the parcels alone")
    parts = _Parts()
    parser = ElementTree.XMLParser(target=parts)
    try:
        with path.open("rb") as stream:
            silent = 0
            while piece := stream.read(_PIECE_BYTES):
                before = parts.events
                parser.feed(piece)
                silent = silent + 1 if parts.events == before else 0
                if silent > _LONGEST_TAG_PIECES:
                    raise LandXmlError(f"a tag of more than {_LONGEST_TAG_PIECES} megabytes")
        parser.close()
    except ElementTree.ParseError as error:
        raise LandXmlError(str(error)) from None
    except (LookupError, ValueError, OSError) as error:  # an encoding that is not known or not supported; reading
        if isinstance(error, LandXmlError):
            raise
        raise LandXmlError(str(error)) from None
    return parts.root


class _Parts:
    """A target for the parser: builds the wanted elements and counts what is kept."""

    def __init__(self) -> None:
        self.root: Element = ElementTree.Element("parts")
        self.events = 0
        self._depth = 0
        self._kept = 0
        self._text = 0
        self._opened = 0
        self._builder: ElementTree.TreeBuilder | None = None

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.events += 1
        self._depth += 1
        if self._depth > DEEPEST:
            raise LandXmlError(f"elements nested more than {DEEPEST} deep")
        if self._builder is None and tag.rpartition("}")[2] in _WANTED:
            self._builder, self._opened = ElementTree.TreeBuilder(), self._depth
        if self._builder is not None:
            self._builder.start(tag, attributes)
            self._kept += 1
            self._keep_text(sum(map(len, attributes.values())))
            if self._kept > MOST_ELEMENTS:
                found = f"more than {MOST_ELEMENTS:,} elements of points and parcels"
                raise LandXmlError(found, "fewer", "export the parcels alone, or in parts")

    def end(self, tag: str) -> None:
        self.events += 1
        if self._builder is not None:
            self._builder.end(tag)
            if self._depth == self._opened:
                self.root.append(self._builder.close())
                self._builder = None
        self._depth -= 1

    def data(self, text: str) -> None:
        self.events += 1
        if self._builder is not None:
            self._builder.data(text)
            self._keep_text(len(text))

    def doctype(self, name: str, public: str | None, system: str | None) -> None:
        raise LandXmlError("a DOCTYPE or ENTITY", "plain XML", "remove the DOCTYPE and its entities", "xml_doctype")

    def close(self) -> None:
        pass

    def _keep_text(self, length: int) -> None:
        self._text += length
        if self._text > MOST_TEXT:
            raise LandXmlError(f"more than {MOST_TEXT:,} characters of points and parcels", "fewer", "export in parts")
