"""Attributes of block references in a drawing, with their tags, which GDAL's reader leaves out.

Read by a general drawing library, which holds the whole drawing in memory: only files that have attributes, up to a size.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from ezdxf.document import Drawing

LARGEST_BYTES = 256 * 1024**2


class BlockAttribute(NamedTuple):
    """One attribute: its tag ("LOT"), its text, and where it stands in drawing units."""

    tag: str
    text: str
    x: float
    y: float
    layer: str


def block_attributes(path: Path) -> list[BlockAttribute]:
    """Every attribute of the block references in model space; none where the library can't follow the file."""
    if path.stat().st_size > LARGEST_BYTES or b"ATTRIB" not in path.read_bytes():
        return []
    try:
        drawing = _drawing(path)
        return [
            BlockAttribute(
                str(a.dxf.tag).strip(), a.plain_text().strip(), a.dxf.insert.x, a.dxf.insert.y, str(a.dxf.layer)
            )
            for reference in drawing.modelspace().query("INSERT")
            for a in reference.attribs
            if str(a.dxf.text).strip()
        ]
    except Exception:  # a broken drawing may fail anywhere in the library; GDAL's texts then stand alone
        return []


def _drawing(path: Path) -> Drawing:
    import ezdxf
    from ezdxf import recover

    try:
        return ezdxf.readfile(path)
    except (ezdxf.DXFError, UnicodeDecodeError):
        return recover.readfile(path)[0]
