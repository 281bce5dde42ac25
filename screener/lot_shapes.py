"""What may be wrong with lot polygons, and what is done about it.

Geometry stays in the lots' own coordinate system; areas and lengths are measured in the tract's working system. A shape
is repaired only where the repair changes nothing that matters (area within 1 %, no new parts), or where its outline
crosses itself and one piece is nearly all of what it bounds; else the lot is skipped.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from screener.units import SQUARE_FOOT_M2

Geometries = NDArray[np.object_]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

LEAST_AREA_M2 = 50.0
LARGEST_AREA_M2 = 100_000.0  # 10 ha
GREATEST_ASPECT = 50.0
GREATEST_AREA_CHANGE = 0.01
DOMINANT_SHARE = 0.99  # of all that a crossed outline bounds, in one piece: the rest is a slip of the pen
MANY_VERTICES = 100_000

_POLYGON, _MULTIPOLYGON, _COLLECTION = 3, 6, 7


@dataclass(frozen=True)
class Finding:
    """Something about the lot at one position; `severity` as in an Issue."""

    position: int
    severity: str
    code: str
    found: str
    expected: str = ""
    done: str = ""


@dataclass
class Shapes:
    """Lot shapes as far as they can be used: None where they can't."""

    geometry: Geometries
    findings: list[Finding] = field(default_factory=list)

    def add(
        self, where: Bools, severity: str, code: str, found: Callable[[int], str] | str, expected: str, done: str
    ) -> None:
        """Record one thing for every lot where it holds; `found` may say it lot by lot."""
        for position in np.flatnonzero(where):
            text = found if isinstance(found, str) else found(int(position))
            self.findings.append(Finding(int(position), severity, code, text, expected, done))

    def drop(self, where: Bools, code: str, found: Callable[[int], str] | str, expected: str, done: str) -> None:
        """Skip lots: their shape is not used."""
        self.add(where, "skip", code, found, expected, done)
        self.geometry[where] = None

    @property
    def usable(self) -> Bools:
        """Lots that still have a shape."""
        return np.asarray(~shapely.is_missing(self.geometry))


def read_shapes(geometries: Geometries) -> Shapes:
    """The first look, which needs no coordinate system: is there a polygon with places for vertices?"""
    shapes = Shapes(np.array(geometries, dtype=object, copy=True))
    given = shapes.geometry.copy()
    fix = "draw the lot as a closed polygon"
    shapes.drop(shapely.is_missing(given), "no_geometry", "no geometry", "a polygon", fix)
    shapes.drop(shapes.usable & shapely.is_empty(given), "empty_geometry", "empty geometry", "a polygon", fix)
    _keep_polygons(shapes)
    kinds = shapely.get_type_id(shapes.geometry)
    wrong = shapes.usable & ~np.isin(kinds, (_POLYGON, _MULTIPOLYGON))
    shapes.drop(wrong, "not_a_polygon", lambda i: f"a {given[i].geom_type}", "a polygon", fix)
    _drop_placeless(shapes)
    deep = shapely.has_z(shapes.geometry) | shapely.has_m(shapes.geometry)
    shapes.geometry[deep] = shapely.force_2d(shapes.geometry[deep])
    return shapes


def _keep_polygons(shapes: Shapes) -> None:
    """Collections become their polygons; other members are dropped and named."""
    for position in np.flatnonzero(shapely.get_type_id(shapes.geometry) == _COLLECTION):
        parts = shapely.get_parts(shapes.geometry[position])
        polygons = [part for part in parts if part.geom_type == "Polygon"]
        if polygons:
            shapes.geometry[position] = polygons[0] if len(polygons) == 1 else shapely.MultiPolygon(polygons)
            found = f"a collection of {len(parts)} shapes"
            done = f"kept its {len(polygons)} polygon(s)"
            shapes.findings.append(Finding(int(position), "fix", "collection", found, "a polygon", done))


def _drop_placeless(shapes: Shapes) -> None:
    coordinates, owner = shapely.get_coordinates(shapes.geometry, return_index=True)
    bad_rows = np.flatnonzero(~np.isfinite(coordinates).all(axis=1))
    if not len(bad_rows):
        return
    owners, first = np.unique(owner[bad_rows], return_index=True)
    start = np.searchsorted(owner, owners)
    vertex = dict(zip(owners.tolist(), (bad_rows[first] - start + 1).tolist(), strict=True))
    where = np.zeros(len(shapes.geometry), dtype=bool)
    where[owners] = True
    shapes.drop(
        where, "vertex_not_finite", lambda i: f"vertex {vertex[i]} has no finite coordinates", "numbers", "correct it"
    )


def repair(shapes: Shapes, to_working: Callable[[Geometries], Geometries]) -> Geometries:
    """Repair what can be repaired without changing the lot; the usable shapes in metres of the working system."""
    _drop_repeated_points(shapes)
    working = to_working(shapes.geometry)
    broken = shapes.usable & ~shapely.is_valid(shapes.geometry)
    if broken.any():
        _repair_broken(shapes, working, broken, to_working)
    area_m2 = np.where(shapes.usable, shapely.area(working), np.nan)
    small = shapes.usable & (area_m2 < LEAST_AREA_M2)
    least = f"at least {LEAST_AREA_M2 / SQUARE_FOOT_M2:,.0f} sq ft"
    shapes.drop(small, "lot_too_small", lambda i: _square_feet(area_m2[i]), least, "correct or remove the lot")
    working[~shapes.usable] = None
    _note_odd(shapes, working, area_m2)
    return working


def _drop_repeated_points(shapes: Shapes) -> None:
    """Vertices that stand twice in a row go; the shape is the same."""
    xy, owner = shapely.get_coordinates(shapes.geometry, return_index=True)
    twice = (xy[1:] == xy[:-1]).all(axis=1) & (owner[1:] == owner[:-1])
    suspects = np.unique(owner[1:][twice])
    before = shapely.get_num_coordinates(shapes.geometry)
    shapes.geometry[suspects] = _without_repeated_points(shapes.geometry[suspects])
    after = shapely.get_num_coordinates(shapes.geometry)
    shapes.add(
        after < before,
        "fix",
        "repeated_vertices",
        lambda i: f"{before[i] - after[i]} vertices stand twice in a row",
        "each once",
        "kept one of each; the shape is the same",
    )


def _without_repeated_points(geometries: Geometries) -> Geometries:
    """The shapes with no vertex twice in a row; one that would lose its ring is kept, to be judged by area."""
    try:
        thinned: Geometries = shapely.remove_repeated_points(geometries, 0.0)
        return thinned
    except shapely.errors.GEOSException:
        if len(geometries) == 1:
            return geometries
        return np.concatenate([_without_repeated_points(geometries[i : i + 1]) for i in range(len(geometries))])


def _repair_broken(shapes: Shapes, working: Geometries, broken: Bools, to_working: Any) -> None:
    reasons = {int(i): _reason(shapes.geometry[i]) for i in np.flatnonzero(broken)}
    outside = np.zeros_like(broken)
    outside[[i for i, reason in reasons.items() if reason.startswith(("hole lies outside", "holes are nested"))]] = True
    shapes.drop(outside, "hole_outside", lambda i: reasons[i], "holes inside the lot", "redraw the lot")
    broken = broken & ~outside
    mended = np.full(len(broken), None, dtype=object)
    mended[broken] = shapely.make_valid(shapes.geometry[broken], method="structure", keep_collapsed=False)
    for i in np.flatnonzero(shapely.get_type_id(mended) == _COLLECTION):
        polygons = [p for p in shapely.get_parts(mended[i]) if p.geom_type in ("Polygon", "MultiPolygon")]
        mended[i] = shapely.union_all(polygons)
    mended_working = to_working(mended)
    before, after = shapely.area(working), np.nan_to_num(shapely.area(mended_working))
    parts_before, parts_after = shapely.get_num_geometries(working), shapely.get_num_geometries(mended_working)
    change = np.abs(after - before) > GREATEST_AREA_CHANGE * np.maximum(before, 1e-9)
    unfit = broken & (change | (parts_after > parts_before) | (after <= 0))

    def both(i: int) -> str:
        return f"{reasons[i]}: {_square_feet(before[i])} as drawn, {_square_feet(after[i])} mended"

    kept = _keep_dominant(
        shapes, working, mended, unfit, to_working, lambda i: f"{reasons[i]}: {_square_feet(before[i])}"
    )
    broken, unfit = broken & ~kept, unfit & ~kept
    shapes.drop(unfit, "shape_broken", both, "a simple outline", "redraw the lot: mending it would change it")
    fixed = broken & ~unfit
    shapes.add(fixed, "fix", "shape_mended", both, "a simple outline", "mended; area within 1 %")
    shapes.geometry[fixed] = mended[fixed]
    working[fixed] = mended_working[fixed]


def _keep_dominant(
    shapes: Shapes, working: Geometries, mended: Geometries, unfit: Bools, to_working: Any, drawn: Callable[[int], str]
) -> Bools:
    """Which of the unfit lots are used by the one piece that is nearly all of them, with both areas said."""
    kept = np.zeros_like(unfit)
    for i in np.flatnonzero(unfit).tolist():
        piece, doubt = _dominant_piece(shapes.geometry[i], mended[i])
        if piece is None:
            continue
        kept[i], shapes.geometry[i] = True, piece
        working[i], left_out = to_working(np.array([piece, doubt], dtype=object))
        found = f"{drawn(i)} as drawn, {_square_feet(shapely.area(working[i]))} mended"
        done = f"kept the piece that is nearly all of it; {shapely.area(left_out) / SQUARE_FOOT_M2:,.1f} sq ft left out"
        shapes.findings.append(Finding(int(i), "fix", "shape_mended", found, "a simple outline", done))
    return kept


def _dominant_piece(drawn: shapely.Geometry, mended: shapely.Geometry) -> tuple[Any, Any]:
    """The piece of a lot, drawn as one outline, that is nearly all of it, and what is in doubt; None where none is.

    Both readings of a crossed outline must agree on it: the ground it runs around (mended, by its rings) and the ground
    that a count of its lines takes for inside.
    """
    if drawn.geom_type != "Polygon":
        return None, None
    pieces = shapely.get_parts(mended)
    piece = pieces[int(np.argmax(shapely.area(pieces)))] if len(pieces) else shapely.Polygon()
    counted = shapely.make_valid(drawn, method="linework")
    doubt = shapely.union(shapely.symmetric_difference(piece, counted), shapely.difference(mended, piece))
    whole = shapely.area(piece) + shapely.area(doubt)
    return (piece, doubt) if shapely.area(piece) >= DOMINANT_SHARE * whole > 0.0 else (None, None)


def _note_odd(shapes: Shapes, working: Geometries, area_m2: Floats) -> None:
    """Lots that are computed as they are, but look like something else."""
    usable = shapes.usable
    parts = np.where(usable, shapely.get_num_geometries(working), 0)
    many = usable & (parts > 1)
    done = "area of all parts; the largest part gives the lot's place"
    shapes.add(many, "warn", "several_parts", lambda i: f"{parts[i]} parts", "one", done)
    largest = f"up to {LARGEST_AREA_M2 / SQUARE_FOOT_M2:,.0f} sq ft"
    doubt = "computed; likely an outlot, a road or a wrong unit"
    with np.errstate(invalid="ignore"):
        large = usable & (area_m2 > LARGEST_AREA_M2)
        aspect = equivalent_aspect(area_m2, shapely.length(working))
        thin = usable & (aspect > GREATEST_ASPECT)
    shapes.add(large, "warn", "lot_very_large", lambda i: _square_feet(area_m2[i]), largest, doubt)
    limit = f"up to {GREATEST_ASPECT:g}"
    shapes.add(thin, "warn", "lot_very_thin", lambda i: f"{aspect[i]:.0f} times as long as wide", limit, doubt)
    vertices = shapely.get_num_coordinates(working)
    shapes.add(
        usable & (vertices > MANY_VERTICES),
        "warn",
        "many_vertices",
        lambda i: f"{vertices[i]:,} vertices",
        f"up to {MANY_VERTICES:,}",
        "computed as it is, slowly",
    )


def equivalent_aspect(area: Floats, perimeter: Floats) -> Floats:
    """Length over width of the rectangle that has this area and perimeter (1 where the shape is rounder)."""
    half = perimeter / 2.0
    root = np.sqrt(np.maximum(half**2 - 4.0 * area, 0.0))
    return np.asarray((half + root) / np.maximum(half - root, 1e-12))


def lot_points(geometries: Geometries) -> Floats:
    """A point (n, 2) inside each lot's largest part, in the shapes' own system; NaN where there is no shape."""
    largest = largest_parts(geometries)
    points = shapely.point_on_surface(largest)
    return np.column_stack([shapely.get_x(points), shapely.get_y(points)])


def largest_parts(geometries: Geometries) -> Geometries:
    """Each lot's largest part; None where there is no shape."""
    result: Geometries = np.array(geometries, dtype=object, copy=True)
    for i in np.flatnonzero(shapely.get_type_id(geometries) == _MULTIPOLYGON):
        parts = shapely.get_parts(geometries[i])
        result[i] = parts[int(np.argmax(shapely.area(parts)))]
    return result


def _reason(shape: shapely.Geometry) -> str:
    """Why an outline is not simple, and where: "self-intersection at 500256.69, 4200134.82"."""
    text, _, place = str(shapely.is_valid_reason(shape)).partition("[")
    numbers = [f"{float(v):.2f}" for v in place.rstrip("]").split()[:2]]
    return text.strip().lower() + (f" at {', '.join(numbers)}" if numbers else "")


def _square_feet(area_m2: float) -> str:
    return f"{area_m2 / SQUARE_FOOT_M2:,.0f} sq ft"
