"""Lots as SVG: outlines in half feet, and a map that stands by itself with title, legend, scale and caution.

``python -m screener.report.map_svg RESULTS_FOLDER OUT.svg [--by package]`` draws the map of a finished run.
"""

from __future__ import annotations

import html
import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from screener.files.manifest import CAUTION
from screener.report.colouring import LotClass, View, patterns, view
from screener.report.text import plain, texts

if TYPE_CHECKING:
    import geopandas as gpd

METRES_PER_FOOT = 0.3048
UNITS_PER_FOOT = 2  # coordinates are whole half feet
SIMPLIFY_FT = 0.5
MARKED_LOTS = 1500
"""Up to so many lots carry a written mark; beyond, marks would be too small and too many."""
WIDEST, NARROWEST = 3.2, 0.9
"""Limits of the drawing's width over height: a long tract gets margins, where north arrow and scale have room."""


@dataclass(frozen=True)
class Drawing:
    """Outlines of n lots in half feet, y down. `paths` is blank where a lot can't be drawn."""

    paths: list[str]
    centres: NDArray[np.int64]
    width: int
    height: int
    lot_size: float

    @property
    def drawn(self) -> int:
        return sum(bool(path) for path in self.paths)

    @property
    def tile(self) -> float:
        """Width of a pattern's tile."""
        return max(round(self.lot_size / 7, 1), 1.0)


def draw(lots: gpd.GeoDataFrame, working_crs: str = "") -> Drawing:
    """Outlines of the lots, in their own projected coordinates; in `working_crs` where theirs are degrees.

    Simplified to half a foot and rounded to half feet.
    """
    shapes, feet = _in_feet(lots, working_crs)
    parts, lot = _polygons(shapes)
    if not len(parts):
        return Drawing([""] * len(lots), np.zeros((len(lots), 2), dtype=np.int64), 200, 100, 20.0)
    simpler = shapely.simplify(parts, SIMPLIFY_FT / feet, preserve_topology=True)
    parts = np.where(shapely.is_empty(simpler), parts, simpler)
    west, south, east, north = shapely.total_bounds(parts)
    scale = feet * UNITS_PER_FOOT
    size = float(np.sqrt(np.median(shapely.area(parts)))) * scale
    width, height = (east - west) * scale, (north - south) * scale
    margin = max(0.6 * size, 0.02 * max(width, height))
    high = max(height + 2 * margin + 0.13 * (width + 2 * margin), (width + 2 * margin) / WIDEST)
    wide = max(width + 2 * margin, high * NARROWEST)
    left, top = (wide - width) / 2, (high - height) / 2

    def page(xy: NDArray[np.float64]) -> NDArray[np.int64]:
        moved = np.column_stack([left + (xy[:, 0] - west) * scale, top + (north - xy[:, 1]) * scale])
        return np.asarray(np.rint(moved), dtype=np.int64)

    centres = np.zeros((len(lots), 2), dtype=np.int64)
    largest = _largest_part(parts, lot)
    centres[lot[largest]] = page(shapely.get_coordinates(_middles(parts[largest])))
    return Drawing(_paths(parts, lot, len(lots), page), centres, round(wide), round(high), size)


def _in_feet(lots: gpd.GeoDataFrame, working_crs: str) -> tuple[NDArray[np.object_], float]:
    """Shapes in a plane, and the feet in one of its units."""
    import pyproj

    series = lots.geometry.force_2d()
    crs = pyproj.CRS(lots.crs) if lots.crs is not None else None
    # the map projection of web maps is a plane whose feet are not feet
    false_plane = crs is not None and (crs.is_geographic or "Pseudo-Mercator" in crs.name)
    if false_plane and working_crs:
        crs = pyproj.CRS.from_user_input(working_crs)
        series = series.to_crs(crs)
    if crs is None or crs.is_geographic:
        return series.to_numpy(), 1.0 if crs is None else 365_000.0  # degrees without a working system: a sketch
    return series.to_numpy(), float(crs.axis_info[0].unit_conversion_factor) / METRES_PER_FOOT


def _polygons(shapes: NDArray[np.object_]) -> tuple[NDArray[np.object_], NDArray[np.intp]]:
    """Every polygon with an area and real coordinates, and the lot it belongs to."""
    parts, lot = shapely.get_parts(shapes, return_index=True)
    parts, inner = shapely.get_parts(parts, return_index=True)  # a collection may hold multipolygons
    lot = lot[inner]
    kept = (shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)
    kept &= np.isfinite(shapely.bounds(parts)).all(axis=1)
    return parts[kept], lot[kept]


def _largest_part(parts: NDArray[np.object_], lot: NDArray[np.intp]) -> NDArray[np.intp]:
    """Place of each lot's largest polygon."""
    order = np.lexsort((-shapely.area(parts), lot))
    return np.asarray(order[np.unique(lot[order], return_index=True)[1]], dtype=np.intp)


def _middles(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
    """The centroid where it lies in the shape, else a point that does."""
    middle = shapely.centroid(shapes)
    sound = shapely.is_valid(shapes)
    inside = np.zeros(len(shapes), dtype=bool)
    inside[sound] = shapely.contains(shapes[sound], middle[sound])
    out = middle.copy()
    aside = sound & ~inside
    out[aside] = shapely.point_on_surface(shapes[aside])
    corner = shapely.get_point(shapely.get_exterior_ring(shapes), 0)
    return np.asarray(np.where(shapely.is_empty(out), corner, out), dtype=object)


def _paths(parts: NDArray[np.object_], lot: NDArray[np.intp], count: int, page: Any) -> list[str]:
    rings, part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    points = page(xy)
    starts = np.searchsorted(ring, np.arange(len(rings) + 1))
    paths = [""] * count
    for r in range(len(rings)):
        paths[lot[part[r]]] += _ring_path(points[starts[r] : starts[r + 1]])
    return paths


def _ring_path(points: NDArray[np.int64]) -> str:
    """One closed ring in relative steps; points that rounding made equal are dropped."""
    steps = np.diff(points, axis=0)
    steps = steps[(steps != 0).any(axis=1)][:-1]  # the last step closes the ring, which z does
    moves = " ".join(f"{x} {y}" for x, y in steps.tolist())
    return f"M{points[0, 0]} {points[0, 1]}l{moves}z" if moves else ""


# --- pieces that the report uses too ------------------------------------------------------------------------------


def pattern_defs(views: list[View], tile: float) -> str:
    """The `<pattern>` elements of the classes that have one."""
    return "".join(_pattern(c, tile) for c in patterns(views))


def _pattern(of: LotClass, t: float) -> str:
    h, w = t / 2, max(t / 9, 0.3)
    line = f'stroke="#000" stroke-opacity=".38" stroke-width="{w:.2g}" fill="none"'
    slash, back = f"M0 {t:g}L{t:g} 0", f"M0 0L{t:g} {t:g}"
    across, down = f"M0 {h:g}H{t:g}", f"M{h:g} 0V{t:g}"
    dot = f'<circle cx="{h:g}" cy="{h:g}" r="{t / 5:.3g}" fill="#000" fill-opacity=".38"/>'
    drawn = {
        1: f'<path d="{slash}" {line}/>',
        2: dot,
        3: f'<path d="{slash}{back}" {line}/>',
        4: f'<path d="{across}" {line}/>',
        5: f'<path d="{down}" {line}/>',
        6: f'<path d="{back}" {line}/>',
        7: f'<path d="{across}{down}" {line}/>',
        8: f'<path d="{slash}" stroke="#000" stroke-opacity=".22" stroke-width="{w:.2g}"/>',
    }[of.pattern]
    return (
        f'<pattern id="{of.pattern_id}" width="{t:g}" height="{t:g}" patternUnits="userSpaceOnUse">'
        f'<rect width="{t:g}" height="{t:g}" fill="{of.colour}"/>{drawn}</pattern>'
    )


def lot_paths(drawing: Drawing, colours: View) -> str:
    """One `<path>` a lot, in the lots' order."""
    paints = [c.paint for c in colours.classes]
    return "\n".join(
        f'<path fill="{paints[k]}" d="{d}"/>' for d, k in zip(drawing.paths, colours.of_lot.tolist(), strict=True)
    )


def lot_marks(drawing: Drawing, colours: View) -> str:
    """One `<text>` a lot, in the lots' order; blank where it has no mark."""
    rows = zip(drawing.centres.tolist(), colours.of_lot.tolist(), drawing.paths, strict=True)
    out = []
    for i, ((x, y), k, path) in enumerate(rows):
        kind = colours.classes[k]
        mark = (colours.marks[i] if colours.marks else kind.mark) if path else ""
        white = ' fill="#fff"' if kind.dark else ""
        out.append(f'<text x="{x}" y="{y}"{white}>{html.escape(mark)}</text>')
    return "\n".join(out)


def mark_size(drawing: Drawing, colours: View) -> float:
    """Height of the marks: single letters large, numbers smaller."""
    return round(drawing.lot_size * (0.24 if colours.marks else 0.36), 1)


def scale_and_north(drawing: Drawing) -> str:
    """Scale bar and north arrow, bottom left and top right."""
    unit = drawing.width / 85
    wanted = drawing.width / UNITS_PER_FOOT / 6
    feet = max(f for f in (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 10) if f <= max(wanted, 10))
    x, y, length = drawing.width * 0.02, drawing.height - 1.6 * unit, feet * UNITS_PER_FOOT
    right, top = drawing.width - 3.2 * unit, 1.0 * unit
    size = f'font-size="{1.5 * unit:.1f}"'
    return (
        f'<g class="furniture" fill="currentColor" stroke="none">'
        f'<path d="M{x:.0f} {y:.0f}h{length}v{-0.5 * unit:.1f}h{-length}z"/>'
        f'<text x="{x:.0f}" y="{y - 1.0 * unit:.0f}" {size}>{feet:,} ft</text>'
        f'<path d="M{right:.0f} {top:.0f}l{unit:.1f} {3 * unit:.1f}l{-unit:.1f} {-0.7 * unit:.1f}'
        f'l{-unit:.1f} {0.7 * unit:.1f}z"/>'
        f'<text x="{right:.0f}" y="{top + 4.6 * unit:.0f}" text-anchor="middle" {size}>N</text></g>'
    )


# --- a map that stands by itself ----------------------------------------------------------------------------------

_WIDTH, _EDGE, _ROW = 1200, 28, 24
_MIDDLE = 'dominant-baseline="central"'


def tract_map(results: Any, by: str = "package", title: str = "") -> str:
    """A static SVG map of the lots coloured `by` package, exposure, kzt, wind, hazard, status, permit or cost.

    `results` needs `lots` and `run` (for the working coordinate system). ValueError for an unknown `by`.
    """
    colours = view(results.lots, by)
    drawing = draw(results.lots, str(results.run.get("working_crs_wkt") or ""))
    name = title or str(getattr(results, "summary", {}).get("tract") or results.run.get("tract") or "Tract")
    heading = f"{plain(name)}: {len(results.lots):,} lots by {colours.name[0].lower() + colours.name[1:]}"
    if colours.key == "kzt":
        heading = heading.replace("by kzt", "by Kzt")
    inner = _WIDTH - 2 * _EDGE
    high = round(inner * drawing.height / drawing.width)
    legend, legend_high = _legend(colours, drawing, 96 + high)
    caution = textwrap.wrap(CAUTION, 150)
    total = 96 + high + legend_high + 22 * len(caution) + 14
    size = mark_size(drawing, colours)
    marks = f'<g font-size="{size}" {_MIDDLE} text-anchor="middle">{lot_marks(drawing, colours)}</g>'
    lines = "".join(
        f'<text x="{_EDGE}" y="{total - 14 - 20 * (len(caution) - 1 - n)}" font-size="15" font-weight="600">'
        f"{html.escape(line)}</text>"
        for n, line in enumerate(caution)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {total}" width="{_WIDTH}" height="{total}" '
        f'role="img" aria-labelledby="title" font-family="system-ui, sans-serif" fill="#1d2733" color="#1d2733">\n'
        f'<title id="title">{html.escape(heading)}</title>\n<defs>{pattern_defs([colours], drawing.tile)}</defs>\n'
        f'<rect width="{_WIDTH}" height="{total}" fill="#fbfbf8"/>\n'
        f'<text x="{_EDGE}" y="42" font-size="26" font-weight="700">{html.escape(heading)}</text>\n'
        f'<text x="{_EDGE}" y="68" font-size="16">{html.escape(colours.explains)}</text>\n'
        f'<svg x="{_EDGE}" y="84" width="{inner}" height="{high}" viewBox="0 0 {drawing.width} {drawing.height}">\n'
        f'<g stroke="#3d4a57" stroke-width="{max(drawing.width / 1600, 1):.1f}" stroke-linejoin="round" '
        f'fill-rule="evenodd">\n{lot_paths(drawing, colours)}\n</g>\n'
        f"{marks if len(results.lots) <= MARKED_LOTS else ''}\n{scale_and_north(drawing)}\n</svg>\n"
        f"{legend}\n{lines}\n</svg>\n"
    )


def _legend(colours: View, drawing: Drawing, top: int) -> tuple[str, int]:
    """Swatches in rows as wide as the page, and the height they take."""
    out, x, y = [], _EDGE, top + 14
    zoom = 26 / (drawing.tile * 4)
    for kind in colours.classes:
        words = f"{kind.words} ({kind.count:,})"
        wide = 46 + round(8.4 * len(words))
        if x > _EDGE and x + wide > _WIDTH - _EDGE:
            x, y = _EDGE, y + _ROW
        rect = f'<rect width="{26 / zoom:.1f}" height="{16 / zoom:.1f}" fill="{kind.paint}" stroke="#3d4a57" '
        out.append(
            f'<g transform="translate({x} {y - 8}) scale({zoom:.4f})">{rect}stroke-width="{1 / zoom:.1f}"/></g>'
            f'<text x="{x + 34}" y="{y}" font-size="15" {_MIDDLE}>{html.escape(words)}</text>'
        )
        x += wide
    return "".join(out), y + _ROW - top + 6


@dataclass(frozen=True)
class _Finished:
    lots: Any
    run: dict[str, Any]


def read_results(folder: Path) -> _Finished:
    """Lots and run record of a results folder, from its GeoPackage."""
    import pyogrio

    file = folder / "tract.gpkg"
    lots = pyogrio.read_dataframe(file, layer="lots")
    rows = pyogrio.read_dataframe(file, layer="run", read_geometry=False)
    run = dict(zip(texts(rows["key"]), rows["value"], strict=True))
    return _Finished(lots, {**run, "working_crs_wkt": run.get("recorded.working_crs_wkt", "")})


def main(arguments: list[str] | None = None) -> int:
    """Draw the map of a finished run."""
    import argparse

    from screener.report.colouring import VIEW_KEYS

    parser = argparse.ArgumentParser(prog="python -m screener.report.map_svg", description=main.__doc__)
    parser.add_argument("results", type=Path, help="results folder, with tract.gpkg")
    parser.add_argument("out", type=Path, help="SVG file to write")
    parser.add_argument("--by", choices=VIEW_KEYS, default="package")
    given = parser.parse_args(arguments)
    given.out.write_text(tract_map(read_results(given.results), given.by), encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
