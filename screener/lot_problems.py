"""The layer `lot_problems`: what is wrong with lots, drawn where it is, so that a person can go and look.

Made of the issues alone: those that carry a place (overlaps, slivers), and those that are about the shape or the place
of a whole lot, which get the lot's outline as drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from hazard.crs import choose_working_crs, transform_xy
from hazard.issues import Issue
from screener.units import SQUARE_FOOT_M2

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj

Geometries = NDArray[np.object_]

LAYER = "lot_problems"
SPOT_M = 1.0  # how far lines and points are widened, to be seen as areas
KINDS: dict[str, tuple[str, ...]] = {
    "overlap": ("lots_overlap", "lot_drawn_twice"),
    "gap": ("lots_gap",),
    "repeated": ("lot_id_twice", "lot_repeated"),
    "shape": (
        "shape_broken", "shape_mended", "hole_outside", "not_a_polygon", "collection", "lot_too_small", "several_parts",
        "lot_very_large", "lot_very_thin", "many_vertices",
    ),
    "place": ("lot_far_away", "hazard_outside", "hazard_nodata"),
}  # fmt: skip
"""Kind of problem -> the codes of the issues that are of it."""
KIND_OF: Mapping[str, str] = {code: kind for kind, codes in KINDS.items() for code in codes}


def problem_layer(issues: Iterable[Issue], lots: gpd.GeoDataFrame) -> dict[str, gpd.GeoDataFrame]:
    """The layer by its name, in the lots' system; nothing where nothing is wrong.

    Columns: `kind`, `code`, `lot_ids` (separated by ;), `area_sqft`, `length_ft` (NaN where it says nothing), `words`.
    """
    import geopandas as gpd

    shape_of = dict(zip(lots["lot_id"].astype(str), lots.geometry.to_numpy(), strict=True))
    rows: dict[tuple[str, str, str], dict[str, Any]] = {}
    for issue in issues:
        row = _row(issue, shape_of)
        if row is not None:
            rows.setdefault((row["code"], row["lot_ids"], row["words"]), row)
    if not rows or lots.crs is None:
        return {}
    frame = pd.DataFrame([rows[key] for key in sorted(rows)])
    shapes = np.array(list(frame.pop("shape")), dtype=object)
    drawn, area_sqft = _as_areas(shapes, lots.crs)
    kept = ~shapely.is_missing(drawn)
    frame["area_sqft"] = frame["area_sqft"].where(frame["area_sqft"].notna(), area_sqft).round(1)
    frame["length_ft"] = frame["length_ft"].round(1)
    if not kept.any():
        return {}
    return {LAYER: gpd.GeoDataFrame(frame[kept].reset_index(drop=True), geometry=drawn[kept], crs=lots.crs)}


def _row(issue: Issue, shape_of: Mapping[str, Any]) -> dict[str, Any] | None:
    """One problem with its shape as drawn; None for what is no problem of place or shape, or has none."""
    kind, place = KIND_OF.get(issue.code), issue.place
    if place is not None:
        shape, ids = place.shape, ";".join(place.lots)
        length_ft, area_sqft = place.length_ft, place.area_sqft
    elif kind not in (None, "overlap", "gap") and issue.lot_id in shape_of:
        shape, ids, length_ft, area_sqft = shape_of[issue.lot_id], issue.lot_id, np.nan, np.nan
    else:
        return None
    words = "; ".join(filter(None, [f"{issue.lot_id}: {issue.found}" if issue.lot_id else issue.found, issue.done]))
    row = {"kind": kind or "shape", "code": issue.code, "lot_ids": ids, "area_sqft": area_sqft}
    return {**row, "length_ft": length_ft, "words": words, "shape": shape}


def _as_areas(shapes: Geometries, crs: pyproj.CRS) -> tuple[Geometries, NDArray[np.float64]]:
    """Shapes as valid multipolygons (lines and points widened to be seen; None where none can be drawn); sq ft."""
    flat: Geometries = np.array(shapely.force_2d(shapes), dtype=object)
    flat[~_has_place(shapes)] = None
    some = ~shapely.is_missing(flat)
    area_sqft = np.full(len(flat), np.nan)
    if not some.any():
        return flat, area_sqft
    working = choose_working_crs(shapely.get_coordinates(flat[some]), crs).crs
    moved = shapely.transform(flat[some], lambda xy: transform_xy(xy, crs, working))
    broken = np.isin(shapely.get_type_id(moved), (3, 6, 7)) & ~shapely.is_valid(moved)
    moved[broken] = shapely.make_valid(moved[broken], method="structure", keep_collapsed=False)
    wide = np.isin(shapely.get_type_id(moved), (3, 6, 7)) & (shapely.area(moved) > 0)
    area_sqft[some] = np.where(wide, shapely.area(moved) / SQUARE_FOOT_M2, np.nan)
    empty = ~wide | shapely.is_empty(moved) | ~np.isin(shapely.get_type_id(moved), (3, 6))
    moved[empty] = shapely.buffer(moved[empty], SPOT_M)
    back = shapely.transform(moved, lambda xy: transform_xy(xy, working, crs))
    out: Geometries = np.full(len(flat), None, dtype=object)
    out[some] = [shapely.MultiPolygon(list(shapely.get_parts(s))) if not s.is_empty else None for s in back]
    return out, area_sqft


def _has_place(shapes: Geometries) -> NDArray[np.bool_]:
    """Shapes with coordinates, all of them finite."""
    coordinates, owner = shapely.get_coordinates(shapes, return_index=True)
    ok: NDArray[np.bool_] = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    ok[owner[~np.isfinite(coordinates).all(axis=1)]] = False
    return np.asarray(ok)
