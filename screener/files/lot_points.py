"""Lots from a CSV of points with sizes: each lot becomes the rectangle that its row describes.

The rectangle is centred on the point, `width_ft` wide along the front, `depth_ft` deep, its front turned to
`front_bearing_deg` (clockwise from true north). Lengths are true: it is drawn in a local system about the tract.
"""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from hazard.crs import choose_working_crs, metres, parse_crs, transform_xy
from hazard.issues import InputError, Issues
from screener.columns import LOT_POINTS_INPUT
from screener.config_faults import nearest

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from screener.files.vectors import VectorFile

Floats = NDArray[np.float64]
Rows = list[dict[str, str]]

LARGEST_BYTES = 256 * 1024**2
_SEPARATORS = ",;\t"
_WIDTH, _DEPTH, _BEARING = "width_ft", "depth_ft", "front_bearing_deg"


def has_shapes(path: Path) -> bool:
    """Whether a CSV file has a column of shapes as text, which GDAL reads (its name begins with WKT)."""
    with path.open("rb") as stream:
        head = stream.readline(65_536)
    names = re.split(r"[,;\t]", head.decode("utf-8-sig", errors="replace").casefold())
    return any(name.strip(' "\r\n') == "wkt" or name.strip(' "').startswith("_wkt") for name in names)


def read_lot_points(file: VectorFile, issues: Issues) -> GeoDataFrame | None:
    """One row a lot, every column as text. None, with the reason among the issues, where the file can't be used.

    A row whose place, size or bearing can't be read has no geometry, and its issue says why.
    """
    import geopandas as gpd
    import pandas as pd

    rows = _rows(file, issues)
    if rows is None:
        return None
    names = list(rows[0])
    columns = _columns(file, names, issues)
    if columns is None:
        return None
    x, y = columns[:2]
    place = np.column_stack([_numbers(rows, x), _numbers(rows, y)])
    frame = gpd.GeoDataFrame(pd.DataFrame(rows, columns=names, dtype="object"))
    try:
        crs = parse_crs(file.crs, file.name)
    except InputError as error:
        from screener.files.vectors import with_proposals

        shapes = shapely.points(place[np.isfinite(place).all(axis=1)])
        issues.extend(with_proposals(error.issues, file, shapes))
        return None
    size = np.column_stack([_numbers(rows, name) for name in columns[2:4]])
    bearing = _numbers(rows, columns[4])
    usable = np.isfinite(place).all(axis=1) & (np.isfinite(size) & (size > 0)).all(axis=1)
    usable &= np.isfinite(bearing) & (bearing >= 0) & (bearing <= 360)
    for i in np.flatnonzero(~usable):
        cells = ", ".join(f"{name} {rows[i][name]!r}" for name in columns)
        wanted = "numbers: a place, sizes above 0, a bearing from 0 to 360"
        issues.add("lot_point_unusable", "warn", f"{file.name} row {i + 1}", cells, wanted, "no shape made")
    shapes = np.full(len(rows), None, dtype=object)
    if usable.any():
        points = place[usable][:, ::-1] if file.axes == "yx" else place[usable]
        local = choose_working_crs(points, crs, file.name)
        drawn = rectangles(local.from_other(points, crs), metres(size[usable]), bearing[usable])
        back = shapely.transform(drawn, lambda xy: transform_xy(xy, local.crs, crs))
        shapes[usable] = shapely.transform(back, lambda xy: xy[:, ::-1]) if file.axes == "yx" else back
    done = "each became the rectangle of its width and depth, centred on its point, front turned to its bearing"
    issues.add("lots_assumed_shape", "note", file.name, f"{len(rows)} lots as points with sizes", "", done)
    return frame.set_geometry(gpd.GeoSeries(shapes, crs=crs))


def rectangles(centre_m: Floats, size_m: Floats, front_bearing_deg: Floats) -> NDArray[np.object_]:
    """Rectangles about centres (n, 2), of width and depth (n, 2), in a system whose y points north."""
    angle = np.radians(front_bearing_deg)
    out = np.column_stack([np.sin(angle), np.cos(angle)]) * size_m[:, 1:] / 2.0  # centre to the middle of the front
    side = np.column_stack([np.cos(angle), -np.sin(angle)]) * size_m[:, :1] / 2.0
    corners = np.stack([out + side, out - side, -out - side, -out + side], axis=1) + centre_m[:, None, :]
    made: NDArray[np.object_] = np.asarray(shapely.polygons(corners), dtype=object)
    return made


# ---------------------------------------------------------------- cells


def _rows(file: VectorFile, issues: Issues) -> Rows | None:
    """The rows under a header, each as column -> text."""

    def stop(code: str, found: str, expected: str, done: str, where: str = "") -> None:
        issues.add(code, "stop", where or file.name, found, expected, done)

    if file.path.stat().st_size > LARGEST_BYTES:
        stop("file_too_large", f"{file.path.stat().st_size:,} bytes", f"at most {LARGEST_BYTES:,}", "check the file")
        return None
    content = file.path.read_bytes()
    encoding = file.encoding or ("utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    try:
        text = content.decode(encoding)
    except (UnicodeDecodeError, LookupError) as error:
        at = f"byte {error.start} is not {error.encoding}" if isinstance(error, UnicodeDecodeError) else str(error)
        stop("encoding", at, "text", f"save it as UTF-8, or give {file.key} encoding in the project file")
        return None
    head = text.lstrip("\r\n").partition("\n")[0]
    separator = max(_SEPARATORS, key=head.count)
    try:
        lines = [
            cells for cells in csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True) if cells
        ]
    except csv.Error as error:
        stop("file_unreadable", str(error), "a CSV file", "check its quotes")
        return None
    if len(lines) < 2:
        stop("no_features", "0 features", "a header and one row a lot", "check the file")
        return None
    header = [cell.strip() for cell in lines[0]]
    twice = sorted({name for name in header if header.count(name) > 1})
    if twice:
        stop("column_ambiguous", f"column {twice[0]!r} stands twice", "each column once, with a name", "rename one")
        return None
    for number, cells in enumerate(lines[1:], 1):
        if len(cells) != len(header):
            found, wanted = f"{len(cells)} cells", f"{len(header)}, as in the header"
            stop("row_length", found, wanted, "check its commas and quotes", f"{file.name} row {number}")
            return None
    return [dict(zip(header, cells, strict=True)) for cells in lines[1:]]


def _columns(file: VectorFile, names: list[str], issues: Issues) -> list[str] | None:
    """The file's columns of x, y, width, depth and bearing. None, with a stop for each that is missing."""
    folded = {name.casefold(): name for name in names}

    def of(ours: str) -> str:
        named = file.columns.get(ours)
        return named if named in names else folded.get(ours, "") if named is None else ""

    degrees = bool(of("lon") or of("lat")) and not (of("x") and of("y"))
    wanted = [*(("lon", "lat") if degrees else ("x", "y")), _WIDTH, _DEPTH, _BEARING]
    found = [of(ours) for ours in wanted]
    if all(found):
        return found
    meanings = {column.name: column.meaning for column in LOT_POINTS_INPUT}
    for ours, theirs in zip(wanted, found, strict=True):
        if not theirs:
            close = nearest(ours, names)
            text = f"no column {ours} among {', '.join(names)}" + (f"; nearest is {close}" if close else "")
            fix = f'name it in the project file: [lots] columns = {{ {ours} = "{close or "..."}" }}'
            expected = f"shapes (a column WKT), or points with sizes: {ours}, {meanings[ours]}"
            issues.add("column_missing", "stop", file.name, text, expected, fix)
    return None


def _numbers(rows: Rows, name: str) -> Floats:
    """A column as numbers, NaN for what is none."""
    values = np.full(len(rows), np.nan)
    for i, row in enumerate(rows):
        try:
            values[i] = float(row[name])
        except ValueError:
            continue
    return np.where(np.isfinite(values), values, np.nan)
