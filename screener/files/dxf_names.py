"""Lot numbers of a drawing: which of the texts inside the outlines name the lots.

Texts are taken by drawing layer, by tag (attributes of blocks) and, where a layer holds several kinds of text, by their
pattern ("12", "LOT 12", "8,125 SF"). The group that names the most outlines, one text each, gives the lot ids.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from hazard.issues import Issues
from screener.files.dxf_attributes import BlockAttribute

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from screener.files.vectors import VectorFile

Geometries = NDArray[np.object_]
Words = list[str]


class _Group(NamedTuple):
    """Texts that may name the lots: how messages call them, the name each outline gets of them, and their rank."""

    called: str
    names: Words
    plain: bool  # all texts of a layer, not only those of one pattern or tag

    def rank(self) -> tuple[int, int, bool, float]:
        """More outlines named, more different names, no pattern needed, shorter names."""
        given = [name for name in self.names if name]
        mean = sum(map(len, given)) / max(1, len(given))
        return len(given), len(set(given)), self.plain, -mean


def names_in_outlines(
    shapes: Geometries,
    texts: GeoDataFrame,
    attributes: Sequence[BlockAttribute],
    file: VectorFile,
    issues: Issues,
) -> dict[str, Words]:
    """`lot_id` for each outline ("" where no text or several), and a column for each tag of the blocks' attributes."""
    closed = np.array([s if s.geom_type != "LineString" else shapely.Polygon(_ring(s)) for s in shapes], dtype=object)
    written = _written(texts, attributes)
    columns = {
        str(tag): _names(closed, group) for tag, group in written[written["tag"] != ""].groupby("tag", sort=True)
    }
    groups = []
    for (layer, tag), group in written.groupby(["layer", "tag"], sort=True):
        called = f"the attribute {tag}" if tag else f"the texts on layer {layer}"
        groups.append(_Group(called, _names(closed, group), not tag))
        for pattern, part in group.groupby("pattern", sort=True):
            if len(part) < len(group):
                groups.append(_Group(f"{called} that look like {pattern}", _names(closed, part), False))
    best = max(groups, key=_Group.rank, default=_Group("", [""] * len(shapes), True))
    if not best.plain:
        done = f"{len([n for n in best.names if n])} of {len(shapes)} outlines named"
        issues.add("lot_ids_from", "note", file.name, f"lot ids are {best.called}", "", done)
    columns.pop("lot_id", None)
    return {"lot_id": best.names, **columns}


def _written(texts: GeoDataFrame, attributes: Sequence[BlockAttribute]) -> pd.DataFrame:
    """All texts, one row a line, with place, layer, tag and pattern; attributes once, with their tags."""
    known = {(a.text, round(a.x, 6), round(a.y, 6)) for a in attributes}
    rows: list[tuple[str, str, str, float, float]] = []
    for layer, text, point in zip(texts["Layer"], texts["Text"], texts.geometry, strict=True):
        if point.is_empty or (str(text).strip(), round(point.x, 6), round(point.y, 6)) in known:
            continue
        rows += [(str(layer), "", line.strip(), point.x, point.y) for line in str(text).splitlines() if line.strip()]
    rows += [(a.layer, a.tag, a.text, a.x, a.y) for a in attributes]
    frame = pd.DataFrame(rows, columns=["layer", "tag", "text", "x", "y"])
    frame["pattern"] = [_pattern(text) for text in frame["text"]]
    return frame


def _pattern(text: str) -> str:
    """A text with runs of digits as 9 and runs of letters as A: "LOT 12" -> "A 9"."""
    return re.sub(r"[^\W\d_]+", "A", re.sub(r"\d+", "9", text))


def _names(closed: Geometries, group: pd.DataFrame) -> Words:
    """The one text in each outline; "" where none or several."""
    tree = shapely.STRtree(shapely.points(group["x"].to_numpy(float), group["y"].to_numpy(float)))
    lot, text = tree.query(closed, predicate="intersects")
    single = pd.Series(text, index=lot).groupby(level=0).agg(["size", "first"])
    single = single[single["size"] == 1]
    words = group["text"].to_numpy(object)
    names = [""] * len(closed)
    for i, number in zip(single.index, single["first"], strict=True):
        names[int(i)] = str(words[int(number)])
    return names


def _ring(line: Any) -> NDArray[np.float64]:
    xy = shapely.get_coordinates(line)
    return np.vstack([xy, xy[:1]]) if len(xy) > 2 else np.vstack([xy, xy[:1], xy[:1]])
