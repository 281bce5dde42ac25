"""Does a plan's footprint fit its lot? The footprint is a rectangle, width along the front by depth.

The lot less its setbacks is what may be built on: each edge of the lot holds the house off by the setback of its side.
The rectangle keeps square to the front and may slide. The answer is exact for any outline of straight edges; for a
rectangular lot it is the subtraction that everybody does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from screener.lot_edges import FRONT, LEFT, REAR, RIGHT, Edges, outer_edges, side_of
from screener.lot_shapes import largest_parts

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Geometries = NDArray[np.object_]

TOLERANCE_FT = 0.01  # about 1/8 in: an exact fit fits
RECTANGLE_SHARE = 0.9999  # a lot that fills its box to this share is a rectangle
MANY_CORNERS = 1000
SQUARE_DEG = 2.0  # a bearing this near to the front lot line means the line
_STEPS = 13  # halvings of the search for what is missing: 80 ft to within 0.01 ft
_TURNS = (np.arange(16) + 0.5) * np.pi / 8  # flats, not corners, face along the axes
_DISC = np.column_stack([np.cos(_TURNS), np.sin(_TURNS)]) / np.cos(np.pi / 16)


@dataclass(frozen=True)
class Setbacks:
    """Setbacks in feet, one value a lot. `street_sides` holds the letters of the sides on a street (L, R)."""

    front_ft: Floats
    rear_ft: Floats
    side_ft: Floats
    street_side_ft: Floats
    street_sides: NDArray[np.object_]


@dataclass(frozen=True)
class Fit:
    """The answer, one value a lot. Not checked where bearing, setbacks, footprint or shape are unknown."""

    checked: Bools
    fits: Bools
    short_ft: Floats  # what the footprint must lose to fit; 0 where it fits; NaN unchecked
    room_width_ft: Floats  # what a rectangular lot leaves along the front; NaN for other outlines
    room_depth_ft: Floats


def fit(
    shapes_ft: Geometries, front_bearing_deg: Floats, width_ft: Floats, depth_ft: Floats, setbacks: Setbacks
) -> Fit:
    """Whether rectangles of width (along the front) by depth fit lots less their setbacks.

    `shapes_ft`: lots in feet, y to the north (None where there is none); all other arrays have one value a lot.
    """
    lots = len(shapes_ft)
    limits = _limits(setbacks)
    checked = ~shapely.is_missing(shapes_ft) & can_be_checked(front_bearing_deg, width_ft, depth_ft, setbacks)
    used = np.array(shapes_ft, dtype=object, copy=True)
    used[~checked] = None
    parts = _few_corners(largest_parts(used))
    checked &= ~shapely.is_missing(parts)
    turned = _front_down(parts, _square_bearing(parts, front_bearing_deg))
    west, south, east, north = np.where(checked[:, None], shapely.bounds(turned), np.nan).T
    rectangle = checked & (shapely.area(turned) >= RECTANGLE_SHARE * (east - west) * (north - south))
    room_width = np.where(rectangle, east - west - limits[:, LEFT] - limits[:, RIGHT], np.nan)
    room_depth = np.where(rectangle, north - south - limits[:, FRONT] - limits[:, REAR], np.nan)
    short = np.full(lots, np.nan)
    beyond = np.maximum(width_ft - room_width, depth_ft - room_depth)
    short[rectangle] = np.where(beyond[rectangle] <= TOLERANCE_FT, 0.0, beyond[rectangle])
    other = np.flatnonzero(checked & ~rectangle)
    if len(other):
        buildable = _buildable(turned[other], limits[other])
        short[other] = _shortage(buildable, width_ft[other], depth_ft[other])
    return Fit(checked, checked & (short == 0), short, room_width, room_depth)


def can_be_checked(front_bearing_deg: Floats, width_ft: Floats, depth_ft: Floats, setbacks: Setbacks) -> Bools:
    """Lots (lots,) whose numbers are all known, so that only the shape may be missing for the fit."""
    numbers = np.column_stack([front_bearing_deg, width_ft, depth_ft, _limits(setbacks)])
    return np.asarray(np.isfinite(numbers).all(axis=1))


def _few_corners(parts: Geometries) -> Geometries:
    """Lots with very many corners are simplified for the fit alone, by a plat's own 0.01 ft where that is enough.

    A strip is laid along every edge, so that 100,000 of them would take many minutes. None where 1 ft is not enough.
    """
    out: Geometries = np.array(parts, dtype=object, copy=True)
    for tolerance_ft in (0.01, 0.1, 1.0):
        many = shapely.get_num_coordinates(out) > MANY_CORNERS
        out[many] = shapely.simplify(out[many], tolerance_ft)
    out[shapely.get_num_coordinates(out) > MANY_CORNERS] = None
    return out


def _limits(setbacks: Setbacks) -> Floats:
    """Setbacks (n, 4) by side: front, right, rear, left. A side on a street takes the larger of its two."""
    place, letters = pd.factorize(setbacks.street_sides)
    on_right = np.array(["R" in each for each in letters], dtype=bool)[place]
    on_left = np.array(["L" in each for each in letters], dtype=bool)[place]
    street = np.fmax(setbacks.street_side_ft, setbacks.side_ft)
    right = np.where(on_right, street, setbacks.side_ft)
    left = np.where(on_left, street, setbacks.side_ft)
    return np.column_stack([setbacks.front_ft, right, setbacks.rear_ft, left])


def _square_bearing(parts: Geometries, front_bearing_deg: Floats) -> Floats:
    """The front's bearing, moved to that of the lot's own front line where the two are nearly the same.

    Houses stand parallel to the lot line, and bearings are rounded: over 125 ft half a degree is a foot.
    """
    edges = outer_edges(parts)
    off = (edges.bearing_deg - front_bearing_deg[edges.lot] + 180.0) % 360.0 - 180.0
    near = np.flatnonzero(np.abs(off) <= SQUARE_DEG)
    order = near[np.lexsort((-np.round(edges.length[near], 3), edges.lot[near]))]
    first = order[np.r_[True, np.diff(edges.lot[order]) > 0]] if len(order) else order
    square = front_bearing_deg.copy()
    square[edges.lot[first]] = edges.bearing_deg[first]
    return square


def _front_down(shapes: Geometries, front_bearing_deg: Floats) -> Geometries:
    """Lots turned so that the front faces -y (bearing 180), about their own middle."""
    xy, owner = shapely.get_coordinates(shapes, return_index=True)
    middle = shapely.centroid(shapes)
    centre = np.column_stack([shapely.get_x(middle), shapely.get_y(middle)])
    turn = np.radians(front_bearing_deg[owner] - 180.0)  # bearings grow clockwise, so this turns anticlockwise
    from_centre = xy - centre[owner]
    cos, sin = np.cos(turn), np.sin(turn)
    x = from_centre[:, 0] * cos - from_centre[:, 1] * sin
    y = from_centre[:, 0] * sin + from_centre[:, 1] * cos
    turned: Geometries = shapely.set_coordinates(np.array(shapes, dtype=object, copy=True), np.column_stack([x, y]))
    return turned


def _buildable(turned: Geometries, limits: Floats) -> Geometries:
    """Lots (front down) less a strip along each edge, as wide as the setback of the edge's side.

    At corners that point inwards the strips leave a gap; a disc closes it, as wide as the smaller of the two setbacks
    (sixteen sides, outside the circle).
    """
    edges = outer_edges(turned)
    side = side_of(edges.bearing_deg, np.full(len(edges.lot), 180.0))
    reach = limits[edges.lot, side]
    lines = shapely.linestrings(np.stack([edges.start, edges.end], axis=1))
    strips = shapely.buffer(lines, reach, cap_style="flat")
    inward, following = _inward_corners(edges)
    radius = np.minimum(reach[inward], reach[following])
    discs = shapely.polygons(edges.end[inward, None, :] + radius[:, None, None] * _DISC[None, :, :])
    shapes = np.concatenate([strips, discs])
    lot = np.concatenate([edges.lot, edges.lot[inward]])
    return np.asarray(shapely.difference(turned, _union_by_lot(shapes, lot, len(turned))))


def _inward_corners(edges: Edges) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Corners that point into their lot: the edge that ends there, and the edge that starts there."""
    count = len(edges.lot)
    if not count:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    following = np.arange(1, count + 1)
    last = np.r_[np.diff(edges.lot) > 0, True]
    following[last] = np.flatnonzero(np.r_[True, np.diff(edges.lot) > 0])
    turn = (edges.bearing_deg[following] - edges.bearing_deg + 180.0) % 360.0 - 180.0
    # Along an outline that runs anticlockwise outward bearings fall at outward corners, else they rise.
    total = np.bincount(edges.lot, turn)
    inward = np.flatnonzero(turn * np.sign(total)[edges.lot] < -1.0)
    return inward, following[inward]


def _shortage(buildable: Geometries, width_ft: Floats, depth_ft: Floats) -> Floats:
    """What a rectangle must lose to fit, 0 where it fits: in width or in depth, whichever is less, else in both."""
    short = np.where(_holds(buildable, width_ft, depth_ft), 0.0, np.inf)
    rows = np.flatnonzero(short > 0)
    for lose_width, lose_depth in ((1.0, 0.0), (0.0, 1.0), (1.0, 1.0)):
        if lose_width and lose_depth:  # only where losing one alone is not enough
            rows = np.flatnonzero(np.isinf(short))
        if len(rows):
            least = _least_loss(buildable[rows], width_ft[rows], depth_ft[rows], lose_width, lose_depth)
            short[rows] = np.minimum(short[rows], least)
    return np.asarray(short)


def _least_loss(buildable: Geometries, width: Floats, depth: Floats, lose_width: float, lose_depth: float) -> Floats:
    low = np.zeros(len(buildable))
    most = np.minimum(width if lose_width else np.inf, depth if lose_depth else np.inf) - 2 * TOLERANCE_FT
    high = most.copy()
    possible = _holds(buildable, width - lose_width * high, depth - lose_depth * high)
    for _ in range(_STEPS):
        middle = (low + high) / 2.0
        held = _holds(buildable, width - lose_width * middle, depth - lose_depth * middle)
        low, high = np.where(held, low, middle), np.where(held, middle, high)
    return np.where(possible, high, np.where(lose_width and lose_depth, most, np.inf))


def _holds(areas: Geometries, width: Floats, depth: Floats) -> Bools:
    """Whether a rectangle, square to the axes, lies inside an area somewhere.

    Where its lower left corner may stand is the area less every place at which an edge of the area would cut through
    the rectangle: the edge swept by the rectangle turned about its corner. Exact for any outline.
    """
    w, d = np.maximum(width - TOLERANCE_FT, 0.0), np.maximum(depth - TOLERANCE_FT, 0.0)
    lines, lot_of_line = shapely.get_parts(shapely.boundary(areas), return_index=True)
    xy, line = shapely.get_coordinates(lines, return_index=True)
    same = line[:-1] == line[1:]
    start, end, lot = xy[:-1][same], xy[1:][same], lot_of_line[line[:-1][same]]
    offsets = np.array([[0.0, 0.0], [-1.0, 0.0], [0.0, -1.0], [-1.0, -1.0]])
    size = np.column_stack([w[lot], d[lot]])
    swept = np.stack([point + offset * size for point in (start, end) for offset in offsets], axis=1)
    blocked = shapely.convex_hull(shapely.multipoints(swept)) if len(lot) else np.empty(0, dtype=object)
    free = shapely.difference(areas, _union_by_lot(blocked, lot, len(areas)))
    return np.asarray(~shapely.is_empty(free) & ~shapely.is_missing(areas) & (shapely.area(free) > 0))


def _union_by_lot(shapes: Geometries, lot: NDArray[np.int64], lots: int) -> Geometries:
    """The union of the shapes of each lot; an empty shape where a lot has none."""
    order = np.argsort(lot, kind="stable")
    grouped: Geometries = np.full(lots, shapely.from_wkt("GEOMETRYCOLLECTION EMPTY"), dtype=object)
    if len(order):
        present = np.unique(lot)
        numbers = np.searchsorted(present, lot[order])
        grouped[present] = shapely.geometrycollections(shapes[order], indices=numbers)
    united: Geometries = shapely.union_all(grouped[:, None], axis=1)
    return united
