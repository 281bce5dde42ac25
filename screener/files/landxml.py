"""Lots from LandXML parcels: lines and arcs, northing before easting, the unit as the file declares it.

Only the file itself is read; a DOCTYPE or entity is refused. Arcs become chords of at most 2 degrees.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from hazard.crs import parse_crs
from hazard.issues import InputError, Issue, Issues
from screener.files.landxml_parts import Element, LandXmlError, read_parts
from screener.units import FOOT_M, SURVEY_FOOT_M

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from screener.files.vectors import VectorFile

Floats = NDArray[np.float64]

CHORD_DEG = 2.0
CLOSES_M = 0.01 * FOOT_M
# LandXML 1.2, types impLinear and metLinear.
UNIT_METRES = {
    "foot": FOOT_M,
    "ussurveyfoot": SURVEY_FOOT_M,
    "meter": 1.0,
    "millimeter": 0.001,
    "centimeter": 0.01,
    "kilometer": 1000.0,
    "inch": 0.0254,
    "mile": 1609.344,
}


def read_landxml(file: VectorFile, issues: Issues) -> GeoDataFrame | None:
    """Parcels as lots, `lot_id` being the parcel's name. None, with the reason, where the file can't be used."""
    from screener.files.vector_checks import refuse_doctype

    if refuse_doctype(file, issues):
        return None
    try:
        root = read_parts(file.path)
    except LandXmlError as error:
        issues.add(error.code, "stop", file.name, error.found, error.expected, error.fix)
        return None
    unit_m = _unit(root, file, issues)
    if unit_m is None:
        return None
    points = {p.get("name", ""): _place(p.text) for p in _all(root, "CgPoint")}
    names, shapes = [], []
    for parcel in _all(root, "Parcel"):
        if _child(parcel, "CoordGeom") is not None:
            names.append(parcel.get("name", ""))
            shapes.append(_outline(parcel, points, unit_m, file, issues))
    if not shapes:
        issues.add("no_features", "stop", file.name, "0 parcels with geometry", "Parcel elements", "check the file")
        return None
    if not _check_crs(unit_m, np.array(shapes, dtype=object), file, issues):
        return None
    import geopandas as gpd

    return gpd.GeoDataFrame({"lot_id": names}, geometry=np.array(shapes, dtype=object))


def _unit(root: Element, file: VectorFile, issues: Issues) -> float | None:
    units = next(_all(root, "Units"), None)
    declared = next((child.get("linearUnit", "") for child in units), "") if units is not None else ""
    if declared.lower() in UNIT_METRES:
        return UNIT_METRES[declared.lower()]
    found = f"linear unit {declared!r}" if declared else "no Units element"
    issues.add("unit_missing", "stop", file.name, found, "a linear unit", "export the file again with its units")
    return None


def _check_crs(unit_m: float, shapes: NDArray[np.object_], file: VectorFile, issues: Issues) -> bool:
    """The coordinate system comes from the project file; its unit must be the file's."""
    from screener.files.vectors import with_proposals

    try:
        crs = parse_crs(file.crs, file.name)
    except InputError as error:
        issues.extend(with_proposals(error.issues, file, shapes))
        return False
    own_m = float(crs.axis_info[0].unit_conversion_factor)
    if not crs.is_projected or abs(unit_m / own_m - 1) > 1e-4:
        found = f"the file is in units of {unit_m:g} m, {crs.name} is not"
        issue = Issue("drawing_unit", "stop", file.name, found, "one unit", f"correct {file.key} crs")
        issues.extend(with_proposals([issue], file, shapes))
        return False
    if abs(unit_m / own_m - 1) > 1e-9:
        found = f"the file's foot and that of {crs.name} differ by 2 in a million"
        issues.add("drawing_unit", "warn", file.name, found, "one foot", "taken by the coordinate system's")
    return True


def _outline(
    parcel: Element, points: dict[str, Floats | None], unit_m: float, file: VectorFile, issues: Issues
) -> shapely.Geometry | None:
    """A parcel's outline; a line where it does not close; None where it can't be followed."""
    name = parcel.get("name", "")
    geometry = _child(parcel, "CoordGeom")
    steps = [step for child in (geometry if geometry is not None else ()) for step in [_step(child, points)]]
    if not steps or any(step is None for step in steps):
        found = "an edge without usable points, or of a kind other than line and arc"
        issues.add("parcel_unreadable", "warn", f"{file.name} {name}", found, "lines and arcs", "no geometry taken")
        return None
    xy = np.vstack([step for step in steps if step is not None])
    gap_m = float(np.hypot(*(xy[-1] - xy[0]))) * unit_m
    if gap_m > CLOSES_M:
        found = f"the outline is open by {gap_m / FOOT_M:.2f} ft"
        issues.add("outline_open", "warn", f"{file.name} {name}", found, "a closed outline", "no polygon taken")
        return shapely.LineString(xy)
    apart = np.r_[True, (np.diff(xy, axis=0) != 0).any(axis=1)]  # an edge ends where the next begins
    xy = xy[apart]
    ring = np.vstack([xy[:-1], xy[:1]])
    return shapely.Polygon(ring) if len(np.unique(ring, axis=0)) >= 3 else None


def _step(edge: Element, points: dict[str, Floats | None]) -> Floats | None:
    """The points of one edge, first to last."""
    kind = _tag(edge)
    if kind == "IrregularLine":
        listed = _child(edge, "PntList2D")
        numbers = _numbers(listed.text if listed is not None else None)
        return numbers.reshape(-1, 2)[:, ::-1] if numbers is not None and _pairs(numbers) else None
    start, end = (_point(edge, name, points) for name in ("Start", "End"))
    if start is None or end is None:
        return None
    if kind == "Line":
        return np.vstack([start, end])
    centre = _point(edge, "Center", points) if kind == "Curve" else None
    if centre is None:
        return None
    return _arc(start, end, centre, clockwise=edge.get("rot", "ccw").lower() == "cw")


def _arc(start: Floats, end: Floats, centre: Floats, clockwise: bool) -> Floats:
    first = np.arctan2(*(start - centre)[::-1])
    last = np.arctan2(*(end - centre)[::-1])
    turn = (first - last) % (2 * np.pi) if clockwise else (last - first) % (2 * np.pi)
    count = max(2, int(np.ceil(np.degrees(turn) / CHORD_DEG)) + 1)
    angles = first + np.linspace(0.0, -turn if clockwise else turn, count)
    radius = float(np.hypot(*(start - centre)))
    xy = centre + radius * np.column_stack([np.cos(angles), np.sin(angles)])
    xy[0], xy[-1] = start, end
    return np.asarray(xy)


def _point(edge: Element, name: str, points: dict[str, Floats | None]) -> Floats | None:
    child = _child(edge, name)
    if child is None:
        return None
    reference = child.get("pntRef")
    return points.get(reference) if reference else _place(child.text)


def _place(text: str | None) -> Floats | None:
    """Easting and northing from "northing easting [height]"."""
    numbers = _numbers(text)
    return np.array([numbers[1], numbers[0]]) if numbers is not None and len(numbers) >= 2 else None


def _numbers(text: str | None) -> Floats | None:
    """Finite numbers of a text, None where any word is none."""
    try:
        numbers = np.array([float(word) for word in (text or "").split()])
    except ValueError:
        return None
    return numbers if np.isfinite(numbers).all() else None


def _pairs(numbers: Floats) -> bool:
    return len(numbers) >= 4 and len(numbers) % 2 == 0


def _tag(element: Element) -> str:
    return element.tag.rpartition("}")[2]


def _child(element: Element, name: str) -> Element | None:
    return next((child for child in element if _tag(child) == name), None)


def _all(root: Element, name: str) -> Iterator[Element]:
    return (element for element in root.iter() if _tag(element) == name)
