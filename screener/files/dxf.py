"""Lots from a drawing (DXF): closed outlines of one drawing layer, named by the text inside them.

The drawing's layer is what the project file calls `layer`. A drawing has no coordinate system: the project file gives
one, and its unit must be the drawing's. Arcs arrive as chords. Outlines open by less than 0.01 ft are closed.
"""

from __future__ import annotations

import re
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pyogrio
import pyproj
import shapely
from numpy.typing import NDArray
from pyogrio.errors import DataLayerError, DataSourceError

from hazard.crs import parse_crs
from hazard.issues import InputError, Issue, Issues
from screener.config_faults import nearest
from screener.files.dxf_attributes import block_attributes
from screener.files.dxf_bounds import read_drawing
from screener.files.dxf_names import names_in_outlines
from screener.units import FOOT_M, SURVEY_FOOT_M

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from screener.files.vectors import VectorFile

Geometries = NDArray[np.object_]

CLOSES_FT = 0.01
# Metres in a drawing unit, by the header's $INSUNITS code (DXF reference, header section).
UNIT_METRES = {1: 0.0254, 2: FOOT_M, 4: 0.001, 5: 0.01, 6: 1.0, 21: SURVEY_FOOT_M}
_HEADER_UNIT = re.compile(rb"\$INSUNITS\s+70\s+(\d{1,9})")
_HEADER_BYTES = 1 << 20
_IN_MEMORY = re.compile(r"/vsimem/[^\s']+")
_SOURCE_LINE = re.compile(r"^\S+\.cpp, \d+: ")  # where in its own source the drawing library stood


def read_dxf(file: VectorFile, issues: Issues) -> GeoDataFrame | None:
    """Lots of a drawing, one row an outline, with `lot_id` from the text inside. None, with the reason, if unusable."""
    content, fault = read_drawing(file.path)
    if fault:
        expected = "a drawing as text (ASCII DXF) of at most a million entities"
        issues.add("file_unreadable", "stop", file.name, fault, expected, "save it so, without what is not needed")
        return None
    entities = _entities(content, file, issues)
    if entities is None:
        return None
    kinds = shapely.get_type_id(entities.geometry.to_numpy())
    outlines = _with_places(entities[np.isin(kinds, (1, 3, 5, 6))], file, issues)
    unit = _unit_metres(file, outlines.geometry.to_numpy(), issues)
    layer = _outline_layer(file, outlines, issues)
    if layer is None or unit is None:
        return None
    drawn = outlines[outlines["Layer"] == layer]
    shapes = _polygons(drawn, CLOSES_FT * FOOT_M / unit, file, unit, issues)
    if not len(shapes):
        issues.add(
            "no_features", "stop", file.name, f"no outlines on layer {layer}", "closed outlines", "check the layer"
        )
        return None
    texts = entities[(kinds == 0) & entities["Text"].notna()]
    import geopandas as gpd

    return gpd.GeoDataFrame(
        names_in_outlines(shapes, texts, block_attributes(file.path), file, issues), geometry=shapes
    )


def _entities(content: bytes, file: VectorFile, issues: Issues) -> GeoDataFrame | None:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            frame = pyogrio.read_dataframe(content, layer="entities", encoding=file.encoding, on_invalid="ignore")
    except (DataSourceError, DataLayerError, UnicodeDecodeError, ValueError) as error:
        reason = _IN_MEMORY.sub(file.name, _SOURCE_LINE.sub("", str(error).splitlines()[0]))
        issues.add("file_unreadable", "stop", file.name, reason, "a drawing (DXF)", "check the file")
        return None
    if frame.empty:
        issues.add("no_features", "stop", file.name, "0 entities", "closed outlines", "check the file")
        return None
    with np.errstate(invalid="ignore"):  # vertices without numbers are told of later
        frame["geometry"] = shapely.force_2d(frame.geometry.to_numpy())
    return frame.dropna(subset=["geometry"]).reset_index(drop=True)


def _with_places(outlines: GeoDataFrame, file: VectorFile, issues: Issues) -> GeoDataFrame:
    """Outlines that have vertices, all with finite coordinates; the others are told of and left out."""
    xy, owner = shapely.get_coordinates(outlines.geometry.to_numpy(), return_index=True)
    bad = np.unique(owner[~np.isfinite(xy).all(axis=1)])
    for row in bad:
        found = f"{_handle(outlines, int(row))} has a vertex without finite coordinates"
        issues.add("vertex_not_finite", "warn", file.name, found, "numbers", "skipped")
    empty = np.flatnonzero(outlines.geometry.is_empty.to_numpy())
    for row in empty:
        found = f"{_handle(outlines, int(row))} has no vertex"
        issues.add("empty_geometry", "warn", file.name, found, "a closed outline", "skipped")
    return outlines.drop(outlines.index[np.union1d(bad, empty)])


def _unit_metres(file: VectorFile, outlines: Geometries, issues: Issues) -> float | None:
    """Metres in a drawing unit: the coordinate system's, which the drawing's own unit code must not contradict."""
    with file.path.open("rb") as stream:
        match = _HEADER_UNIT.search(stream.read(_HEADER_BYTES))
    code = int(match[1]) if match else 0
    drawn = UNIT_METRES.get(code)
    if not file.crs:
        unit = f"unit code {code}" if drawn else "no unit"
        fix = f"set {file.key} crs in the project file; its unit is taken for the drawing's"
        found = f"a drawing has no coordinate system ({unit})"
        _tell(Issue("crs_missing", "stop", file.name, found, "one", fix), file, outlines, issues)
        return None
    try:
        crs: pyproj.CRS = parse_crs(file.crs, file.name)
    except InputError as error:
        issues.extend(error.issues)
        return None
    if not crs.is_projected:
        fix = f"set {file.key} crs to a projected one"
        found = f"{crs.name} is in degrees"
        _tell(Issue("crs_unusable", "stop", file.name, found, "lengths for a drawing", fix), file, outlines, issues)
        return None
    unit_m = float(crs.axis_info[0].unit_conversion_factor)
    if drawn is None:
        done = f"taken as {crs.axis_info[0].unit_name}, the unit of {crs.name}"
        issues.add("drawing_unit", "warn", file.name, f"the drawing names no unit (code {code})", "one", done)
    elif abs(drawn / unit_m - 1) > 1e-4:
        found = f"the drawing is in units of {drawn:g} m, {crs.name} in {unit_m:g} m"
        fix = f"correct {file.key} crs in the project file"
        _tell(Issue("drawing_unit", "stop", file.name, found, "one unit", fix), file, outlines, issues)
        return None
    elif abs(drawn / unit_m - 1) > 1e-9:
        found = f"the drawing is in {'US survey' if code == 21 else 'international'} feet, {crs.name} is not"
        issues.add("drawing_unit", "warn", file.name, found, "one foot", "taken by the coordinate system's")
    return unit_m


def _tell(issue: Issue, file: VectorFile, outlines: Geometries, issues: Issues) -> None:
    from screener.files.vectors import with_proposals

    issues.extend(with_proposals([issue], file, outlines))


def _outline_layer(file: VectorFile, outlines: GeoDataFrame, issues: Issues) -> str | None:
    counts = outlines["Layer"].value_counts()
    names = sorted(str(name) for name in counts.index)
    if file.layer is not None:
        if file.layer in names:
            return file.layer
        close = nearest(file.layer, names)
        expected = f"{close} (the nearest)" if close else f"one of {', '.join(names) or 'none'}"
        fix = f"correct {file.key} layer in the project file"
        issues.add("layer_missing", "stop", file.name, f"no outlines on a layer {file.layer}", expected, fix)
        return None
    if len(names) == 1:
        return names[0]
    if not names:
        issues.add("no_polygons", "stop", file.name, "no outlines, only texts or points", "closed outlines", "")
        return None
    about = ", ".join(f"{name} ({counts[name]})" for name in names)
    fix = f"name one: {file.key} layer in the project file"
    issues.add("layer_not_named", "stop", file.name, f"outlines on {len(names)} layers: {about}", "one", fix)
    return None


def _polygons(drawn: GeoDataFrame, gap: float, file: VectorFile, unit_m: float, issues: Issues) -> Geometries:
    """Outlines as polygons. Where nothing is closed, single lines are joined into faces. Open ones stay lines."""
    shapes: list[Any] = []
    open_rows: list[int] = []
    for row, shape in enumerate(drawn.geometry):
        if shape.geom_type in ("Polygon", "MultiPolygon"):
            shapes.append(shape)
            continue
        for line in shapely.get_parts(shape):
            xy = shapely.get_coordinates(line)
            away = float(np.hypot(*(xy[-1] - xy[0])))
            if away <= gap and len(xy) >= (4 if away == 0 else 3):
                shapes.append(shapely.Polygon(np.vstack([xy[:-1], xy[:1]]) if away == 0 else np.vstack([xy, xy[:1]])))
                if away > 0:
                    found = f"{_handle(drawn, row)} is open by {away * unit_m / FOOT_M:.4f} ft"
                    issues.add("outline_closed", "fix", file.name, found, "a closed outline", "closed it")
            else:
                open_rows.append(row)
                shapes.append(line)
    if open_rows and len(open_rows) == len(shapes):
        faces = shapely.get_parts(shapely.polygonize(np.array(shapes, dtype=object)))
        done = f"joined into {len(faces)} faces"
        issues.add("outlines_joined", "warn", file.name, f"{len(shapes)} single lines", "closed outlines", done)
        return np.array(list(faces), dtype=object)
    for row in open_rows:
        xy = shapely.get_coordinates(drawn.geometry.iloc[row])
        away_ft = float(np.hypot(*(xy[-1] - xy[0]))) * unit_m / FOOT_M
        found = f"{_handle(drawn, row)} is open by {away_ft:.2f} ft"
        done = f"skipped: only gaps up to {CLOSES_FT} ft are closed"
        issues.add("outline_open", "warn", file.name, found, "a closed outline", done)
    return np.array(shapes, dtype=object)


def _handle(drawn: GeoDataFrame, row: int) -> str:
    handle = drawn["EntityHandle"].iloc[row] if "EntityHandle" in drawn.columns else None
    return f"outline {handle}" if isinstance(handle, str) and handle else f"outline {row + 1}"
