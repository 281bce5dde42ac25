"""The front of a lot, from the street lines: the side that faces the nearest street.

A corner lot faces two. Its front is then the narrower side, as zoning rules commonly have it, and the issues say so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from hazard.crs import transform_xy
from hazard.issues import Issues
from screener.files.vectors import VectorFile, read_layer
from screener.lot_edges import FRONT, SIDE_LETTERS, Edges, angle_between, outer_edges, side_of
from screener.lot_shapes import largest_parts

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from screener.config import Site

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Geometries = NDArray[np.object_]

FARTHEST_M = 60.0  # a street farther from the lot line than this is not the lot's own
FACING_DEG = 60.0  # how far off its square direction an edge may look and still face the street
NEAR_FACTOR, NEAR_M = 1.25, 3.0  # edges hardly farther from a street than the nearest one face a street too


def read_streets(tract: Site, working: pyproj.CRS, issues: Issues) -> Geometries | None:
    """The project's streets in a working system (metres); None where the project names none or they can't be read."""
    source = tract.ground.streets
    if source is None:
        return None
    file = VectorFile(source.file, tract.shown(source.file), source.layer, source.crs, key="[ground] streets")
    layer = read_layer(file, issues)
    if layer is None:
        return None
    shapes = layer.frame.geometry.to_numpy()
    shapes = shapes[~(shapely.is_missing(shapes) | shapely.is_empty(shapes))]
    crs = layer.frame.crs
    moved: Geometries = shapely.transform(shapely.force_2d(shapes), lambda xy: transform_xy(xy, crs, working))
    return moved


def add_fronts(
    lots: GeoDataFrame, measured: Geometries, streets: Geometries | None, issues: Issues, where: str
) -> None:
    """Fill `front_bearing_deg` where the lots give none, and `front_bearing_from` and `street_sides` everywhere.

    `measured` are the lots' shapes in metres of the working system. Where neither the lot nor a street says, the
    bearing stays NaN: every direction is then screened and the worst counts. Changes `lots` in place.
    """
    given = lots["front_bearing_deg"].to_numpy(np.float64)
    usable = ~shapely.is_missing(measured)
    drawn = streets is not None and len(streets) > 0
    edges = outer_edges(largest_parts(measured) if drawn else measured[:0])
    near = _facing_near(edges, len(lots), streets)
    found, corner = _fronts(edges, near, len(lots))
    bearing = np.where(np.isnan(given), found, given)
    lots["front_bearing_deg"] = bearing
    lots["front_bearing_from"] = np.where(~np.isnan(given), "given", np.where(np.isnan(found), "unknown", "street"))
    lots["street_sides"] = _street_sides(edges, near, bearing)
    _report(lots, usable & np.isnan(given), found, corner, issues, where)


def _facing_near(edges: Edges, lots: int, streets: Geometries | None) -> Bools:
    """Which edges face a street that is theirs."""
    if streets is None or not len(streets) or not len(edges.lot):
        return np.zeros(len(edges.lot), dtype=bool)
    middles = shapely.points(edges.middle)
    tree = shapely.STRtree(streets)
    query = tree.query_nearest(middles, max_distance=FARTHEST_M, return_distance=True, all_matches=False)
    (edge, street), away = query
    distance = np.full(len(edges.lot), np.inf)
    distance[edge] = away
    toward = np.full((len(edges.lot), 2), np.nan)
    toward[edge] = shapely.get_coordinates(
        shapely.get_point(shapely.shortest_line(middles[edge], streets[street]), 1)
    ) - shapely.get_coordinates(middles[edge])
    direction = np.degrees(np.arctan2(toward[:, 0], toward[:, 1]))
    with np.errstate(invalid="ignore"):
        facing = (distance < 0.01) | (angle_between(direction, edges.bearing_deg) <= FACING_DEG)
    distance = np.where(facing, distance, np.inf)
    least = np.full(lots, np.inf)
    np.minimum.at(least, edges.lot, distance)
    return np.asarray(np.isfinite(distance) & (distance <= NEAR_FACTOR * least[edges.lot] + NEAR_M))


def _fronts(edges: Edges, near: Bools, lots: int) -> tuple[Floats, Bools]:
    """The bearing of each lot's front (NaN where no street is near), and which lots face more than one street."""
    front = np.full(lots, np.nan)
    corner = np.zeros(lots, dtype=bool)
    rows = np.flatnonzero(near)
    if not len(rows):
        return front, corner
    lot, bearing, length = edges.lot[rows], edges.bearing_deg[rows], edges.length[rows]
    # The longest facing edge sets the quadrants, so that they do not depend on where the ring starts.
    order = np.lexsort((np.round(bearing, 3), -np.round(length, 2), lot))
    first = order[np.r_[True, np.diff(lot[order]) > 0]]
    axis = np.full(lots, np.nan)
    axis[lot[first]] = bearing[first]
    cell = lot * 4 + side_of(bearing, axis[lot])
    total = np.bincount(cell, length, lots * 4).reshape(lots, 4)
    east = np.bincount(cell, length * np.sin(np.radians(bearing)), lots * 4).reshape(lots, 4)
    north = np.bincount(cell, length * np.cos(np.radians(bearing)), lots * 4).reshape(lots, 4)
    width = np.where(total > 0, np.round(total, 1), np.inf)
    bearings = np.round(np.degrees(np.arctan2(east, north)) % 360.0, 6) % 360.0
    narrowest = np.where(width == width.min(axis=1, keepdims=True), bearings, np.inf).argmin(axis=1)
    any_street = total.sum(axis=1) > 0
    front[any_street] = bearings[np.arange(lots), narrowest][any_street]
    corner[:] = (total > 0).sum(axis=1) > 1
    return front, corner


def _street_sides(edges: Edges, near: Bools, front_bearing_deg: Floats) -> NDArray[np.object_]:
    """The letters of the sides, besides the front, that face a street: R, B (rear), L as seen from the street."""
    lots = len(front_bearing_deg)
    side = side_of(edges.bearing_deg, front_bearing_deg[edges.lot])
    known = near & np.isfinite(front_bearing_deg[edges.lot])
    faces = np.zeros((lots, 4), dtype=bool)
    faces[edges.lot[known], side[known]] = True
    faces[:, FRONT] = False
    letters: NDArray[np.object_] = np.full(lots, "", dtype=object)
    for number, letter in enumerate(SIDE_LETTERS):
        letters = letters + np.where(faces[:, number], letter, "").astype(object)
    return letters


def _report(lots: GeoDataFrame, wanted: Bools, found: Floats, corner: Bools, issues: Issues, where: str) -> None:
    ids = lots["lot_id"].to_numpy(object)
    taken = wanted & np.isfinite(found)
    if taken.any():
        text = f"{int(taken.sum())} lots have no front_bearing_deg"
        issues.add("front_from_street", "note", where, text, "", "taken from the nearest street")
    for i in np.flatnonzero(taken & corner):
        done = f"took the narrower side, {found[i]:.0f} degrees; give front_bearing_deg if that is wrong"
        issues.add("front_of_corner_lot", "warn", f"{where} {ids[i]}", "faces two streets", "", done, str(ids[i]))
    unknown = wanted & ~np.isfinite(found)
    if unknown.any():
        some = ", ".join(str(name) for name in ids[unknown][:5]) + (", ..." if unknown.sum() > 5 else "")
        text = f"{int(unknown.sum())} lots have no front_bearing_deg and no street near ({some})"
        done = "screened for the worst of all directions"
        issues.add("front_unknown", "warn", where, text, "a bearing or a street", done)
