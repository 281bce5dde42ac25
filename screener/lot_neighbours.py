"""What may be wrong between lots: ground drawn twice, and slivers of ground that belong to none.

Our own rule for slivers. Plats give lengths to 0.01 ft, so two lines of one boundary, each rounded, differ by up to
0.02 ft: that is no gap. Ground that is kept on purpose between lots (a walk, a drain, an alley) is several feet wide
(common practice, no source). Ground narrower than 1 ft and longer than 20 ft between two lots is therefore a drawing
fault: nobody owns it, and a setback is measured from the wrong side of it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from hazard.issues import DrawnPlace
from screener.lot_attributes import LotReader
from screener.lot_edges import Edges, angle_between, outer_edges
from screener.lot_shapes import equivalent_aspect
from screener.units import FOOT_M, SQUARE_FOOT_M2

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Geometries = NDArray[np.object_]

OVERLAP_M2 = 1.0
OVERLAP_SHARE = 0.01
WIDEST_GAP_FT, NARROWEST_GAP_FT, SHORTEST_GAP_FT = 1.0, 0.02, 20.0
PARALLEL_DEG = 10.0  # edges that face one another along a boundary differ by less


def note_neighbours(measured: Geometries, reader: LotReader, to_own: Callable[[Geometries], Geometries]) -> None:
    """Overlaps, lots drawn twice, and slivers, each with its place. `measured` in metres; `to_own` goes back.

    Lots are taken in the order of their ids, so that their order in the file does not matter.
    """
    doubtful = doubtful_lots(measured)
    if not doubtful.any():
        return
    order = np.argsort(reader.ids.astype(str), kind="stable")
    measured_by_id, doubtful = measured[order], doubtful[order]
    first, second, shared = overlaps(measured_by_id, doubtful)
    first, second = order[first], order[second]
    for i, j, shape, own in zip(first, second, shared, to_own(shared), strict=True):
        area_sqft = float(shapely.area(shape)) / SQUARE_FOOT_M2
        same = bool(shapely.equals(measured[i], measured[j]))
        place = DrawnPlace(own, (str(reader.ids[i]), str(reader.ids[j])), area_sqft, _length_ft(shape))
        for a, b in ((i, j), (j, i)):
            found = f"shares {area_sqft:,.0f} sq ft with {reader.ids[b]}"
            found = f"the same outline as {reader.ids[b]}" if same else found
            code = "lot_drawn_twice" if same else "lots_overlap"
            done = "computed; the bill counts both"
            reader.tell(int(a), "warn", code, found, "lots side by side", done, place if a == i else None)
    first, second, between = gaps(measured_by_id, doubtful)
    first, second = order[first], order[second]
    for i, j, shape, own in zip(first, second, between, to_own(between), strict=True):
        area_sqft, length_ft = float(shapely.area(shape)) / SQUARE_FOOT_M2, _length_ft(shape)
        found = (
            f"ground {area_sqft / length_ft:.2f} ft wide and {length_ft:,.0f} ft long between it and {reader.ids[j]}"
        )
        done = "computed; no lot holds that ground"
        place = DrawnPlace(own, (str(reader.ids[i]), str(reader.ids[j])), area_sqft, length_ft)
        reader.tell(int(i), "warn", "lots_gap", found, "lots side by side", done, place)


def overlaps(measured: Geometries, doubtful: Bools) -> tuple[Ints, Ints, Geometries]:
    """Pairs of lots that share more than 1 % of the smaller or 1 m2: rows, the lower first, and what they share.

    Of two lots that share ground at least one is doubtful.
    """
    first, second = _pairs(measured, doubtful)
    shared = _shared(measured[first], measured[second])
    area = shapely.area(shared)
    smaller = np.minimum(shapely.area(measured[first]), shapely.area(measured[second]))
    bad = (area > OVERLAP_M2) | (area > OVERLAP_SHARE * smaller)
    return first[bad], second[bad], _polygons_of(shared[bad])


def _shared(one: Geometries, two: Geometries) -> Geometries:
    """What shapes share, pair by pair; of shapes that being turned into the working system tied into knots too."""
    try:
        found: Geometries = shapely.intersection(one, two)
    except shapely.errors.GEOSException:
        found = shapely.intersection(shapely.make_valid(one), shapely.make_valid(two))
    return found


def gaps(measured: Geometries, doubtful: Bools) -> tuple[Ints, Ints, Geometries]:
    """Pairs of lots with a sliver of ground between them: their rows, the lower first, and the sliver.

    Looked for edge by edge: two edges of different lots that face one another, less than the widest gap apart. The lots
    on both sides of a sliver are doubtful.
    """
    suspects = np.array(measured, dtype=object, copy=True)
    suspects[~doubtful] = None
    parts, owner = shapely.get_parts(suspects, return_index=True)
    edges = outer_edges(parts)
    lot = owner[edges.lot]
    strips = _strips(edges, lot)
    first, second = lot[strips.first], lot[strips.second]
    pair, at = np.unique(np.column_stack([first, second]), axis=0, return_inverse=True)
    at = np.asarray(at).reshape(-1)
    long = np.bincount(at, strips.length, len(pair)) >= SHORTEST_GAP_FT * FOOT_M
    shapes: Geometries = np.full(len(pair), None, dtype=object)
    order = np.argsort(at, kind="stable")
    for k, pieces in enumerate(np.split(strips.shape[order], np.flatnonzero(np.diff(at[order])) + 1)):
        if len(pair) and long[k]:
            shapes[k] = shapely.union_all(pieces)
    return pair[long, 0].astype(np.int64), pair[long, 1].astype(np.int64), shapes[long]


def doubtful_lots(measured: Geometries) -> Bools:
    """Lots (lots,) with an edge that does not meet its neighbour's exactly: a quick look before the slow ones.

    Such an edge lies in another lot, along one that has other corners, or less than the widest gap from one.
    """
    usable = np.flatnonzero(~shapely.is_missing(measured))
    out = np.zeros(len(measured), dtype=bool)
    if len(usable) > 1:
        try:
            edges = shapely.coverage_invalid_edges(measured[usable], gap_width=WIDEST_GAP_FT * FOOT_M)
        except shapely.errors.GEOSException:  # lots of absurd size, too much for the quick look
            out[usable] = True
        else:
            out[usable] = shapely.length(edges) > 0
    return out


class _Strips(NamedTuple):
    """Ground between pairs of facing edges: the edges, the strip, and its length along the first edge (m)."""

    first: Ints
    second: Ints
    shape: Geometries
    length: Floats


def _strips(edges: Edges, lot: Ints) -> _Strips:
    """The ground between edges of different lots that face one another, as far apart as a gap on the mean."""
    widest = WIDEST_GAP_FT * FOOT_M
    lines = shapely.linestrings(np.stack([edges.start, edges.end], axis=1)) if len(lot) else np.empty(0, dtype=object)
    low_xy, high_xy = np.minimum(edges.start, edges.end) - widest, np.maximum(edges.start, edges.end) + widest
    first, second = shapely.STRtree(lines).query(shapely.box(*low_xy.T, *high_xy.T))
    facing = angle_between(edges.bearing_deg[first], edges.bearing_deg[second]) >= 180.0 - PARALLEL_DEG
    keep = (lot[first] < lot[second]) & facing
    first, second = first[keep].astype(np.int64), second[keep].astype(np.int64)
    bearing = np.radians(edges.bearing_deg[first])
    out = np.column_stack([np.sin(bearing), np.cos(bearing)])
    start = edges.start[first]
    along = (edges.end[first] - start) / edges.length[first][:, None]
    t, h = (
        np.column_stack([((end[second] - start) * axis).sum(axis=1) for end in (edges.start, edges.end)])
        for axis in (along, out)
    )
    slope = (h[:, 1] - h[:, 0]) / (t[:, 1] - t[:, 0])  # never along one place: the edges are nearly parallel
    low, high = np.maximum(t.min(axis=1), 0.0), np.minimum(t.max(axis=1), edges.length[first])
    with np.errstate(divide="ignore", invalid="ignore"):
        at_zero, at_widest = (t[:, 0] + (level - h[:, 0]) / slope for level in (0.0, widest))
    level = np.abs(slope) < 1e-12
    inside = (h[:, 0] >= 0.0) & (h[:, 0] <= widest)
    low = np.where(level, low, np.maximum(low, np.minimum(at_zero, at_widest)))
    high = np.where(level, np.where(inside, high, low), np.minimum(high, np.maximum(at_zero, at_widest)))
    length = high - low
    with np.errstate(invalid="ignore"):
        area = length * (h[:, 0] + slope * ((low + high) / 2.0 - t[:, 0]))
    keep = (length > 0.0) & (area >= NARROWEST_GAP_FT * FOOT_M * length)
    first, second, low, high, length = first[keep], second[keep], low[keep], high[keep], length[keep]
    away = [h[keep, 0] + slope[keep] * (place - t[keep, 0]) for place in (low, high)]
    base = [start[keep] + along[keep] * place[:, None] for place in (low, high)]
    far = [b + out[keep] * a[:, None] for b, a in zip(base, away, strict=True)]
    shape = np.asarray(shapely.polygons(np.stack([base[0], base[1], far[1], far[0]], axis=1)), dtype=object)
    return _Strips(first, second, shape, length)


def _pairs(measured: Geometries, doubtful: Bools) -> tuple[Ints, Ints]:
    """Rows of lots that meet a doubtful one, each pair once, the lower first, in order."""
    usable = np.flatnonzero(~shapely.is_missing(measured))
    asked = np.flatnonzero(doubtful)
    if len(usable) < 2 or not len(asked):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    of_asked, of_usable = shapely.STRtree(measured[usable]).query(measured[asked], predicate="intersects")
    rows = np.sort(np.column_stack([asked[of_asked], usable[of_usable]]), axis=1)
    rows = np.unique(rows[rows[:, 0] < rows[:, 1]], axis=0)
    return rows[:, 0].astype(np.int64), rows[:, 1].astype(np.int64)


def _polygons_of(shapes: Geometries) -> Geometries:
    """Shapes without the lines and points that an intersection may leave beside areas."""
    out: Geometries = np.array(shapes, dtype=object, copy=True)
    for i in np.flatnonzero(shapely.get_type_id(shapes) == 7):
        parts = shapely.get_parts(shapes[i])
        out[i] = shapely.union_all(parts[np.isin(shapely.get_type_id(parts), (3, 6))])
    return out


def _length_ft(shape: shapely.Geometry) -> float:
    """Length of the rectangle of the shape's area and outline."""
    area, outline = np.array([shapely.area(shape)]), np.array([shapely.length(shape)])
    if area[0] <= 0:
        return float(outline[0] / 2.0 / FOOT_M)
    return float(np.sqrt(area[0] * equivalent_aspect(area, outline)[0]) / FOOT_M)
