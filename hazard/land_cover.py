"""Surface roughness of the ground, from land-cover classes.

ASCE 7-16 26.7.2 has three roughness categories: B (towns, suburbs, woods), C (open ground) and D (water, mud flats,
ice). A table turns class codes into them. Building footprints, where given, decide the developed classes: one-family
houses give the roughness length of category B (0.5 ft) up to about 15,000 sq ft of ground per house (derived:
0.5 x 20 ft x 750 sq ft of front / ground, the rule in the commentary of ASCE 7). Ground whose class is not known stays
unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from hazard.ground_axes import FT_PER_M, ground_axes_ft
from hazard.issues import InputError, Issue, Issues
from hazard.table_cells import CellError, read_number, shortened
from hazard.table_rows import Rows, TableForm, read_rows, read_table

if TYPE_CHECKING:
    import affine
    import pyproj
    from shapely.geometry.base import BaseGeometry

UNKNOWN, ROUGH_B, ROUGH_C, ROUGH_D = 0, 1, 2, 3
LETTERS = np.array(["?", "B", "C", "D"])
_NUMBER_OF = {"B": ROUGH_B, "C": ROUGH_C, "D": ROUGH_D, "UNKNOWN": UNKNOWN, "?": UNKNOWN}
_TABLE = "land_cover_roughness.csv"
_FORM = TableForm(
    "LAND_COVER_TABLE",
    {"code": "class code of the raster", "roughness": "B, C, D or unknown"},
    ("code", "roughness", "rule"),
    "a heading and one row per class code",
    remarks_anywhere=True,
)


class ClassWindow(Protocol):
    """What is needed of a raster window of class codes (see `hazard.rasters.RasterWindow`)."""

    @property
    def values(self) -> np.ndarray:
        """(rows, cols) class codes."""

    @property
    def valid(self) -> np.ndarray:
        """(rows, cols) bool, False = no data."""

    @property
    def transform(self) -> affine.Affine:
        """Pixel corner (column, row) -> CRS coordinates."""

    @property
    def crs(self) -> pyproj.CRS:
        """The raster's CRS."""

    @property
    def source(self) -> str:
        """File name for messages."""


@dataclass(frozen=True)
class FootprintRules:
    """How building footprints decide the developed classes. Project choices; the break-even is derived (see module)."""

    ground_per_house_sqft: float = 15_000.0  # more ground than this per house is open (C)
    window_m: float = 90.0  # side of the square around a cell in which houses are counted: 3 x 3 cells of 30 m
    least_house_sqft: float = 500.0  # smaller footprints are sheds and do not count


@dataclass(frozen=True)
class RoughnessTable:
    """Roughness by class code. `houses`: codes that footprints decide."""

    codes: np.ndarray  # (k,) int64, ascending
    roughness: np.ndarray  # (k,) uint8
    houses: np.ndarray  # (k,) bool
    source: str

    def look_up(self, codes: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Roughness, whether footprints decide, and whether the code is in the table, for an array of codes."""
        values = np.asarray(codes, dtype=np.int64)
        place = np.clip(np.searchsorted(self.codes, values), 0, self.codes.size - 1)
        listed = self.codes[place] == values
        roughness = np.where(listed, self.roughness[place], np.uint8(UNKNOWN)).astype(np.uint8)
        return roughness, listed & self.houses[place], listed


@dataclass(frozen=True)
class RoughnessMap:
    """Roughness per cell of the land-cover raster: 0 unknown, 1 B, 2 C, 3 D."""

    roughness: np.ndarray  # (rows, cols) uint8
    transform: affine.Affine  # pixel corner -> CRS coordinates
    crs: pyproj.CRS
    source: str
    unlisted_codes: tuple[tuple[int, int], ...] = ()  # (code, cells) of classes that the table does not list
    issues: tuple[Issue, ...] = field(default=(), compare=False)


def read_roughness_table(path: Path | None = None) -> RoughnessTable:
    """The table `path` (columns code, roughness; optional: rule), or the one that comes with the tool.

    Raises InputError with every fault of the file.
    """
    found = Issues()
    if path is None:
        content, name = resources.files("hazard").joinpath("reference", _TABLE).read_bytes(), _TABLE
        rows = read_rows(content, name, _FORM, found)
    else:
        name = path.name
        rows = read_table(path, _FORM, found)
    if found.has_stop():
        raise InputError(found.stops())
    return _checked(rows, name)


def _fault(where: str, found: str, expected: str) -> Issue:
    return Issue("LAND_COVER_TABLE", "stop", where, found, expected, "nothing was computed")


def _checked(cells: Rows, name: str) -> RoughnessTable:
    """Codes as whole numbers, once each, with a legal roughness; all faults at once."""
    faults: list[Issue] = []
    rows: dict[int, tuple[int, bool]] = {}
    for line, row in cells:
        where, code, rule = f"{name} row {line}", row["code"].strip(), row.get("rule", "").strip()
        roughness = _NUMBER_OF.get(row["roughness"].strip().upper())
        if not _whole(code):
            faults.append(_fault(where, f"code {shortened(code)!r}", "a whole number from 0 to 65535"))
        elif int(float(code)) in rows:
            faults.append(_fault(where, f"code {code} a second time", "each code once"))
        elif roughness is None:
            faults.append(_fault(where, f"roughness {shortened(row['roughness'])!r}", "B, C, D or unknown"))
        elif rule not in ("", "houses"):
            faults.append(_fault(where, f"rule {shortened(rule)!r}", "houses, or blank"))
        else:
            rows[int(float(code))] = (roughness, rule == "houses")
    if not rows and not faults:
        faults.append(_fault(name, "no rows", "one row per class code"))
    if faults:
        raise InputError(faults)
    codes = np.array(sorted(rows), dtype=np.int64)
    return RoughnessTable(
        codes,
        np.array([rows[int(code)][0] for code in codes], dtype=np.uint8),
        np.array([rows[int(code)][1] for code in codes], dtype=np.bool_),
        name,
    )


def _whole(text: str) -> bool:
    """Whether a text is a whole number that a class code can be (64 bits)."""
    try:
        value = read_number(text, "")
    except CellError:
        return False
    return value.is_integer() and 0 <= value <= 65_535


def roughness_map(
    window: ClassWindow,
    table: RoughnessTable | None = None,
    *,
    footprints: Sequence[BaseGeometry] | None = None,
    water: Sequence[BaseGeometry] | None = None,
    trees: Sequence[BaseGeometry] | None = None,
    vector_crs: pyproj.CRS | None = None,
    rules: FootprintRules | None = None,
    pad_cells: int = 0,
) -> RoughnessMap:
    """Roughness of every cell of a land-cover window.

    footprints: building polygons (or points, one a house). water: polygons that are roughness D whatever the raster
    says; other ground without data stays unknown. trees: polygons that count as roughness B (26.7.2 names wooded
    areas), but for water. vector_crs: CRS of all (None: the raster's). pad_cells: widen the map by so many cells, so
    that water beyond the raster's edge counts.
    """
    table = table or read_roughness_table()
    values, valid, transform = _padded(window, pad_cells)
    roughness, by_houses, listed = table.look_up(values)
    roughness[~valid] = UNKNOWN
    unlisted = _unlisted(values[valid & ~listed])
    if footprints is not None:
        open_ground = _open_ground(
            shapes_into(footprints, vector_crs, window.crs), transform, window.crs, values.shape, rules
        )
        decided = valid & by_houses
        roughness[decided] = np.where(open_ground[decided], ROUGH_C, ROUGH_B)
    for polygon in shapes_into(trees or (), vector_crs, window.crs):
        roughness[cells_within(polygon, transform, values.shape)] = ROUGH_B
    if water is not None:
        for polygon in shapes_into(water, vector_crs, window.crs):
            roughness[cells_within(polygon, transform, values.shape)] = ROUGH_D
    issues = tuple(_unlisted_issue(window.source, code, cells, table.source) for code, cells in unlisted)
    return RoughnessMap(roughness, transform, window.crs, window.source, unlisted, issues)


def pixel_coordinates(transform: affine.Affine, x: Any, y: Any) -> tuple[Any, Any]:
    """Fractional column and row of CRS coordinates, numbers or arrays."""
    inverse = ~transform
    return inverse.a * x + inverse.b * y + inverse.c, inverse.d * x + inverse.e * y + inverse.f


def _middle(transform: affine.Affine, size: tuple[int, ...]) -> tuple[float, float]:
    col, row = size[1] / 2.0, size[0] / 2.0
    return (
        transform.a * col + transform.b * row + transform.c,
        transform.d * col + transform.e * row + transform.f,
    )


def _shifted(transform: affine.Affine, cells: int) -> affine.Affine:
    """The transform of a raster widened by so many cells on every side."""
    import affine

    return affine.Affine(
        transform.a,
        transform.b,
        transform.c - cells * (transform.a + transform.b),
        transform.d,
        transform.e,
        transform.f - cells * (transform.d + transform.e),
    )


def _padded(window: ClassWindow, pad: int) -> tuple[np.ndarray, np.ndarray, affine.Affine]:
    values, valid = np.asarray(window.values), np.asarray(window.valid, dtype=np.bool_)
    if np.issubdtype(values.dtype, np.floating):
        whole = np.where(valid, values, 0.0)
        if (whole != np.floor(whole)).any():
            found = f"a cell with {whole[whole != np.floor(whole)][0]}"
            raise InputError(
                Issue(
                    "raster_class_fraction", "stop", window.source, found, "whole class codes", "nothing was computed"
                )
            )
        values = whole
    if pad > 0:
        values, valid = np.pad(values, pad), np.pad(valid, pad)
    return values.astype(np.int64), valid, _shifted(window.transform, pad)


def _unlisted(codes: np.ndarray) -> tuple[tuple[int, int], ...]:
    found, cells = np.unique(codes, return_counts=True)
    return tuple((int(code), int(n)) for code, n in zip(found, cells, strict=True))


def _unlisted_issue(source: str, code: int, cells: int, table: str) -> Issue:
    return Issue(
        "land_cover_code_unlisted",
        "warn",
        source,
        f"land-cover code {code} in {cells} cells",
        f"a code listed in {table}",
        "these cells count as unknown; give the code a roughness in a classes file",
    )


def shapes_into(shapes: Iterable[BaseGeometry], of: pyproj.CRS | None, to: pyproj.CRS) -> list[BaseGeometry]:
    """Shapes in the raster's CRS; empty and missing ones left out."""
    import pyproj
    import shapely

    kept = [shape for shape in shapes if shape is not None and not shape.is_empty]
    if of is None or of == to or not kept:
        return kept
    move = pyproj.Transformer.from_crs(of, to, always_xy=True)

    def forward(xy: np.ndarray) -> np.ndarray:
        return np.column_stack(move.transform(xy[:, 0], xy[:, 1]))

    return list(shapely.transform(np.array(kept, dtype=object), forward))


def cells_within(shape: BaseGeometry, transform: affine.Affine, size: tuple[int, ...]) -> np.ndarray:
    """Cells whose centre lies in the shape: (rows, cols) bool. Works for rotated and south-up rasters too."""
    import shapely

    inside = np.zeros(size, dtype=np.bool_)
    left, bottom, right, top = shape.bounds
    corners = np.array([(left, bottom), (left, top), (right, bottom), (right, top)])
    columns, rows = pixel_coordinates(transform, corners[:, 0], corners[:, 1])
    c0, c1 = max(0, int(np.floor(columns.min()))), min(size[1], int(np.ceil(columns.max())) + 1)
    r0, r1 = max(0, int(np.floor(rows.min()))), min(size[0], int(np.ceil(rows.max())) + 1)
    if c0 >= c1 or r0 >= r1:
        return inside
    col, row = np.meshgrid(np.arange(c0, c1) + 0.5, np.arange(r0, r1) + 0.5)
    x = transform.a * col + transform.b * row + transform.c
    y = transform.d * col + transform.e * row + transform.f
    shapely.prepare(shape)
    inside[r0:r1, c0:c1] = shapely.contains_xy(shape, x, y)
    return inside


def _open_ground(
    houses: list[BaseGeometry],
    transform: affine.Affine,
    crs: pyproj.CRS,
    size: tuple[int, ...],
    rules: FootprintRules | None,
) -> np.ndarray:
    """Where houses stand too far apart for roughness B: (rows, cols) bool.

    A cell of the high-density classes with no footprint near is a car park or an apron: no house, so open as well.
    """
    import shapely
    from scipy.ndimage import uniform_filter

    rules = rules or FootprintRules()
    counts = np.zeros(size)
    axes = ground_axes_ft(crs, *_middle(transform, size))
    step_ft = axes @ np.array([[transform.a, transform.b], [transform.d, transform.e]])
    cell_sqft = abs(float(np.linalg.det(step_ft)))
    sqft_per_unit = abs(float(np.linalg.det(axes)))
    shapes = np.array(houses, dtype=object)
    area_sqft = shapely.area(shapes) * sqft_per_unit
    inner = shapely.point_on_surface(shapes[(area_sqft == 0.0) | (area_sqft >= rules.least_house_sqft)])
    cols, rows = pixel_coordinates(transform, shapely.get_x(inner), shapely.get_y(inner))
    cols, rows = np.floor(cols).astype(np.int64), np.floor(rows).astype(np.int64)
    on_map = (rows >= 0) & (rows < size[0]) & (cols >= 0) & (cols < size[1])
    np.add.at(counts, (rows[on_map], cols[on_map]), 1.0)
    half_window = max(1, round((rules.window_m * FT_PER_M / float(np.sqrt(cell_sqft)) - 1.0) / 2.0))
    side = 2 * half_window + 1
    near = uniform_filter(counts, side, mode="constant") * side**2
    cells = uniform_filter(np.ones(size), side, mode="constant") * side**2
    return np.asarray(cells * cell_sqft > (np.round(near) + 1e-9) * rules.ground_per_house_sqft)
