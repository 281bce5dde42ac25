"""From rasters, constants and columns to one value per lot, with the reason where there is none.

Bilinear means between the four nearest cell centres (in the raster's own grid, so any orientation is right); on a line
of centres only two count, on a centre one, and nodata with no weight does no harm. In the outermost half cell of a
raster the missing neighbours are replaced by the edge cells, and the lot is flagged. For the national survey's ground
motion grids the cell centres are the survey's nodes.

That is the value at a lot's middle. Over a lot of many cells values may differ: it is said where that matters, and a
layer may ask for the mean or the governing value of such lots instead.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import ArrayLike, NDArray

from hazard import crs as crs_tools
from hazard.issues import InputError, Issue, Issues
from hazard.layers import Column, Constant, Layer, Source, likely_units, quantity, to_own_unit
from hazard.lot_means import lot_means
from hazard.rasters import RasterWindow, read_window

Floats = NDArray[np.float64]

OK, OUTSIDE, NODATA, EDGE, NOT_POSITIVE, NO_VALUE, OUT_OF_RANGE = (
    "",
    "outside",
    "nodata",
    "edge",
    "not_positive",
    "no_value",
    "out_of_range",
)
REASONS = {
    OUTSIDE: "the lot lies outside the raster",
    NODATA: "the raster has no data at the lot",
    EDGE: "the lot lies in the raster's outermost half cell",
    NOT_POSITIVE: "a cell that is not above zero can't be interpolated in its logarithm",
    NO_VALUE: "the lots column is empty",
    OUT_OF_RANGE: "the value is physically impossible",
}
# Lots may be no closer than this to a cell centre, in cells, before the next cell counts.
SNAP_CELLS = 1e-6
LEAST_SHARE_COVERED = 0.5
# How far around the tract the nearest data are looked for, to say how far they are.
SEARCH_FT = 5_280.0
# A lot of this many cells is looked at as a whole (4 by 4); the value at the middle of a smaller one stands on 2 by 2.
LARGE_LOT_CELLS = 16.0
WHOLE = 1.0 - 1e-6  # share of a lot's area that must be known to speak of all of it


@dataclass(frozen=True)
class LotPoints:
    """Where the lots are: one representative point (n, 2) each, in one system, their ids, and outlines where known."""

    xy: Floats
    crs: pyproj.CRS
    lot_id: NDArray[np.str_]
    shapes: NDArray[np.object_] | None = None

    def some(self, places: NDArray[np.intp]) -> LotPoints:
        """Some of the lots."""
        shapes = self.shapes[places] if self.shapes is not None else None
        return LotPoints(self.xy[places], self.crs, self.lot_id[places], shapes)

    def __len__(self) -> int:
        return len(self.xy)

    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north."""
        (west, south), (east, north) = self.xy.min(axis=0), self.xy.max(axis=0)
        return float(west), float(south), float(east), float(north)


@dataclass(frozen=True)
class Samples:
    """Values at points, and per point: why there is none ("" = fine, "edge" = given but flagged), the cell of the file
    it lies in (row, column; -1 outside) and how far the nearest cell with data is, ft (0 where it lies in one).

    `lot_cells` (n,): how many cells of the whole lot gave its value, 0 where the cells at its middle did.
    """

    values: Floats
    reason: NDArray[np.str_]
    row: NDArray[np.intp]
    column: NDArray[np.intp]
    distance_ft: Floats
    rule: str
    source: str
    window: RasterWindow | None = field(default=None, repr=False)
    place: Floats | None = field(default=None, repr=False)  # (n, 2) fractional column and row in the window
    lot_cells: NDArray[np.int64] | None = None

    def cells(self, lot: int) -> list[Cell]:
        """The cells that gave the value of one lot, with their weights; empty where it has none, or the whole lot's."""
        if self.window is None or self.place is None or np.isnan(self.values[lot]):
            return []
        if self.lot_cells is not None and self.lot_cells[lot]:
            return []
        column, row = self.place[lot : lot + 1, 0], self.place[lot : lot + 1, 1]
        if self.rule == "nearest":
            r, c = _cell_at(self.window, row, column, np.array([True]))
            return [self._cell(int(r[0]), int(c[0]), 1.0)]
        low_c, high_c, share_c, _ = _neighbours(column, self.window.valid.shape[1])
        low_r, high_r, share_r, _ = _neighbours(row, self.window.valid.shape[0])
        found = [
            self._cell(int(r[0]), int(c[0]), float(weight_r[0] * weight_c[0]))
            for r, weight_r in ((low_r, 1.0 - share_r), (high_r, share_r))
            for c, weight_c in ((low_c, 1.0 - share_c), (high_c, share_c))
        ]
        return [cell for cell in found if cell.weight > 0]

    def _cell(self, row: int, column: int, weight: float) -> Cell:
        assert self.window is not None
        value = float(self.window.values[row, column])
        return Cell(row + self.window.row_off, column + self.window.col_off, value, weight)


@dataclass(frozen=True)
class Cell:
    """One cell of a file that a value came from: its place in the file, its value in our unit, its weight."""

    row: int
    column: int
    value: float
    weight: float


@dataclass(frozen=True)
class LotValues:
    """One value per lot in the quantity's own unit (NaN = none, see `reason`), and where it came from."""

    values: Floats
    reason: NDArray[np.str_]
    provenance: str
    quantity: str
    samples: Samples | None = None

    def explain(self, lot: int) -> str:
        """Where the value of one lot (by its place) came from, with the cell if a raster gave it."""
        if self.samples is None or self.samples.row[lot] < 0:
            return self.provenance
        if self.samples.lot_cells is not None and self.samples.lot_cells[lot]:
            return f"{self.provenance}, {self.samples.lot_cells[lot]:,} cells in the lot"
        return f"{self.provenance}, cell row {self.samples.row[lot]}, column {self.samples.column[lot]}"


def sample(window: RasterWindow, xy: ArrayLike, crs: pyproj.CRS, rule: str) -> Samples:
    """Values of a raster piece at points (n, 2) of another system, by "bilinear", "ln_bilinear" or "nearest"."""
    if rule != "nearest" and window.values.dtype.kind in "iu":
        raise ValueError(f"{window.source} holds classes and can't be interpolated; expected nearest")
    points = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
    column, row = window.pixel(crs_tools.transform_xy(points, crs, window.crs))
    inside = _inside(window, column, row)
    if rule == "nearest":
        values, reason = _nearest(window, column, row, inside)
    elif rule in ("bilinear", "ln_bilinear"):
        values, reason = _bilinear(window, column, row, inside, logarithmic=rule == "ln_bilinear")
    else:
        raise ValueError(f"interpolation {rule!r}; expected bilinear, ln_bilinear or nearest")
    distance_ft = np.zeros(len(points))
    lost = np.isnan(values)
    if lost.any():
        distance_ft[lost] = distance_to_data_ft(window, points[lost], crs)
    rows, columns = (
        np.where(inside, np.floor(np.where(inside, place, 0)) + offset, -1).astype(np.intp)
        for place, offset in ((row, window.row_off), (column, window.col_off))
    )
    place = np.column_stack([column, row])
    return Samples(values, reason, rows, columns, distance_ft, rule, window.source, window, place)


def read_values(source: Source, lots: LotPoints, issues: Issues) -> LotValues:
    """One value per lot from a raster, a constant or a lots column; every lot without one gets an issue.

    Raises InputError if the source can't be used at all, or if a raster covers less than half of the lots.
    """
    if isinstance(source, Layer):
        found = _from_raster(source, lots, issues)
    elif isinstance(source, Constant):
        found = _from_constant(source, len(lots))
    else:
        found = _from_column(source, len(lots))
    _report(found, source, lots, issues)
    return found


def _from_raster(layer: Layer, lots: LotPoints, issues: Issues) -> LotValues:
    """Sample a raster at the lots."""
    window = read_window(layer, lots.bounds(), lots.crs, issues=issues)
    rule = layer.rule()
    samples = sample(window, lots.xy, lots.crs, rule)
    covered = ~np.isnan(samples.values)
    if not covered.all():
        samples = _search_further(samples, layer, lots)
    if covered.mean() < LEAST_SHARE_COVERED:
        nearest = np.nanmin(samples.distance_ft[~covered]) if np.isfinite(samples.distance_ft[~covered]).any() else None
        how_far = f"; data begin {nearest:,.0f} ft from the nearest such lot" if nearest is not None else ""
        found = f"covers {covered.mean():.0%} of the lots{how_far}"
        expected = f"at least {LEAST_SHARE_COVERED:.0%}"
        fix = "check the raster's extent and the lots' coordinate system"
        raise InputError(Issue("raster_misses_lots", "stop", layer.name, found, expected, fix))
    cells = len(np.unique(samples.row[covered].astype(np.int64) * window.file_shape[1] + samples.column[covered]))
    name = {"bilinear": "bilinear", "ln_bilinear": "bilinear in ln(value)", "nearest": "nearest cell"}[rule]
    issues.add("raster_cells", "note", layer.name, f"{layer.quantity}: lots lie in {cells:,} cells, {name}")
    samples = _over_lots(samples, layer, lots, issues)
    if samples.lot_cells is not None:
        name += f", {_OVER_LOT[layer.over_lot]} of lots of {LARGE_LOT_CELLS:g} cells or more"
    by_default = not layer.units and window.units_given == quantity(layer.quantity).own_unit
    said = " (unit taken by default)" if by_default else ""
    dated = f", dated {layer.dated}" if layer.dated else ""
    provenance = f"raster {layer.name}, band {layer.band or 1}, {window.units_given or 'no unit'}{said}, {name}{dated}"
    return LotValues(samples.values, samples.reason, provenance, layer.quantity, samples)


_OVER_LOT = {"mean": "mean over the whole", "governing": "governing value in the whole"}


def _over_lots(samples: Samples, layer: Layer, lots: LotPoints, issues: Issues) -> Samples:
    """The lots of many cells taken as a whole: by the layer's rule, else only told where the middle says too little."""
    large = _large_lots(samples, lots)
    if not len(large) or lots.shapes is None:
        return samples
    shapes = lots.shapes[large]
    try:
        window = read_window(layer, tuple(shapely.total_bounds(shapes).tolist()), lots.crs)
    except InputError:
        if layer.over_lot == "middle":  # the piece around the lots' middles was fit to use
            return samples
        raise
    found = lot_means(window, shapes, lots.crs)
    middle = samples.values[large]
    least = quantity(layer.quantity).governs == "least"
    governing = np.fmin(middle, found.least) if least else np.fmax(middle, found.greatest)
    if layer.over_lot == "middle":
        _tell_varying(layer, lots.some(large), middle, governing, found.cells, issues)
        return samples
    chosen = governing if layer.over_lot == "governing" else found.mean
    known = ~np.isnan(middle) & (found.covered >= WHOLE) & (found.cells > 0)
    values, reason, cells = samples.values.copy(), samples.reason.copy(), np.zeros(len(lots), dtype=np.int64)
    values[large] = np.where(known, chosen, np.nan)
    reason[large] = np.where(known | np.isnan(middle), reason[large], NODATA)
    cells[large] = np.where(known, found.cells, 0)
    told = f"{layer.quantity}: {_OVER_LOT[layer.over_lot]} of {len(large):,} lots, {cells.sum():,} cells"
    issues.add("raster_over_lots", "note", layer.name, told)
    return replace(samples, values=values, reason=reason, lot_cells=cells)


def _large_lots(samples: Samples, lots: LotPoints) -> NDArray[np.intp]:
    """Lots of at least LARGE_LOT_CELLS cells; a cell as large as in the middle of the lots."""
    if lots.shapes is None or samples.window is None or samples.window.values.dtype.kind in "iu":
        return np.empty(0, dtype=np.intp)
    step = np.sqrt(np.nanmedian(shapely.area(lots.shapes)))
    around = np.median(lots.xy, axis=0) + np.array([[0.0, 0.0], [step, 0.0], [0.0, step]])
    column, row = samples.window.pixel(crs_tools.transform_xy(around, lots.crs, samples.window.crs))
    cells = abs((column[1] - column[0]) * (row[2] - row[0]) - (column[2] - column[0]) * (row[1] - row[0]))
    return np.flatnonzero(shapely.area(lots.shapes) / step**2 * cells >= LARGE_LOT_CELLS - 1e-6)


def _tell_varying(
    layer: Layer, lots: LotPoints, middle: Floats, governing: Floats, cells: NDArray[np.int64], issues: Issues
) -> None:
    """Lots in which the value at the middle is not near the one that governs."""
    declared = quantity(layer.quantity)
    unit = f" {declared.own_unit}".rstrip()
    for i in np.flatnonzero(np.abs(governing - middle) > declared.lot_tolerance):
        found = f"{layer.quantity}: {middle[i]:.4g}{unit} at the lot's middle, {governing[i]:.4g}{unit} within its "
        expected = f"within {declared.lot_tolerance:g}{unit}"
        done = 'the middle counts; over_lot = "governing" or "mean" beside the file takes the whole lot'
        lot = str(lots.lot_id[i])
        where = f"{layer.name} lot {lot}"
        issues.add("hazard_varies", "warn", where, f"{found}{cells[i]:,} cells", expected, done, lot)


def _search_further(samples: Samples, layer: Layer, lots: LotPoints) -> Samples:
    """The same samples with the distance to the nearest data looked for in a wider piece of the raster."""
    lost = np.isnan(samples.values)
    try:
        wide = read_window(layer, lots.bounds(), lots.crs, SEARCH_FT)
    except InputError:  # only the distance is wanted, and the piece around the lots was fit to use
        return samples
    distance_ft = samples.distance_ft.copy()
    distance_ft[lost] = np.minimum(distance_ft[lost], distance_to_data_ft(wide, lots.xy[lost], lots.crs))
    return replace(samples, distance_ft=distance_ft)


def _from_constant(constant: Constant, size: int) -> LotValues:
    """Spread one value over the lots."""
    try:
        given = float(constant.value)
    except ValueError:
        given = np.nan
    declared = quantity(constant.quantity)
    one = float(to_own_unit(given, constant.quantity, constant.units))
    if not bool(declared.in_range(one)):
        others = likely_units([given], constant.quantity, constant.units) if np.isfinite(given) else []
        fix = f"the value is likely in {' or '.join(others)}" if others else "correct it"
        found = f"value {constant.value} {constant.units or declared.own_unit}".rstrip()
        where = f"project file hazards.{constant.quantity}"
        raise InputError(Issue("value_out_of_range", "stop", where, found, declared.range_text(), fix))
    provenance = f"constant {constant.value} {constant.units or declared.own_unit}".rstrip() + ", project file"
    return LotValues(np.full(size, one), np.full(size, OK, dtype="<U12"), provenance, constant.quantity)


def _from_column(column: Column, size: int) -> LotValues:
    """Take a column, lot by lot."""
    given = np.asarray(column.values, dtype=np.float64)
    if given.shape != (size,):
        raise ValueError(f"column {column.name} has shape {given.shape}; expected ({size},)")
    declared = quantity(column.quantity)
    values = to_own_unit(given, column.quantity, column.units)
    empty = np.isnan(values)
    filled = values[~empty]
    if filled.size and not declared.in_range(filled).any():
        others = likely_units([given[~empty].min(), given[~empty].max()], column.quantity, column.units)
        fix = f"the values are likely in {' or '.join(others)}" if others else "check the column and its units"
        found = f"values {filled.min():g} to {filled.max():g} {declared.own_unit}".rstrip()
        raise InputError(
            Issue("value_out_of_range", "stop", f"lots column {column.name}", found, declared.range_text(), fix)
        )
    wrong = ~empty & ~declared.in_range(np.where(empty, declared.greatest, values))
    reason = np.where(empty, NO_VALUE, np.where(wrong, OUT_OF_RANGE, OK)).astype("<U12")
    provenance = f"lots column {column.name}, {column.units or declared.own_unit}".rstrip(", ")
    return LotValues(np.where(wrong, np.nan, values), reason, provenance, column.quantity)


def _report(found: LotValues, source: Source, lots: LotPoints, issues: Issues) -> None:
    """One issue for each lot without a value, and one for each at a raster's edge."""
    where = source.name if isinstance(source, Layer | Column) else "project file"
    for place in np.flatnonzero(found.reason != OK):
        lot, reason = str(lots.lot_id[place]), str(found.reason[place])
        text = f"{found.quantity}: {REASONS[reason]}"
        if reason == EDGE:
            issues.add(
                "hazard_edge", "warn", f"{where} lot {lot}", text, "cells on all sides", "edge cells held outward", lot
            )
            continue
        if found.samples is not None and np.isfinite(found.samples.distance_ft[place]):
            text += f", {found.samples.distance_ft[place]:,.0f} ft from the nearest cell with data"
        issues.add(f"hazard_{reason}", "skip", f"{where} lot {lot}", text, "a value", "no number is shown for it", lot)


def _inside(window: RasterWindow, column: Floats, row: Floats) -> NDArray[np.bool_]:
    """Which fractional places lie on the piece's cells."""
    rows, columns = window.valid.shape
    return np.asarray((column >= 0) & (column <= columns) & (row >= 0) & (row <= rows))


def _cell_at(
    window: RasterWindow, row: Floats, column: Floats, inside: NDArray[np.bool_]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Row and column of the cell that each fractional place lies in."""
    rows, columns = window.valid.shape
    r, c = (
        np.clip(np.floor(np.where(inside, place, 0)).astype(np.intp), 0, size - 1)
        for place, size in ((row, rows), (column, columns))
    )
    return r, c


def _nearest(
    window: RasterWindow, column: Floats, row: Floats, inside: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.str_]]:
    """Value of the cell that a point lies in."""
    r, c = _cell_at(window, row, column, inside)
    good = inside & window.valid[r, c]
    values = np.where(good, window.values[r, c].astype(np.float64), np.nan)
    reason = np.where(good, OK, np.where(inside, NODATA, OUTSIDE)).astype("<U12")
    return values, reason


def _bilinear(
    window: RasterWindow, column: Floats, row: Floats, inside: NDArray[np.bool_], logarithmic: bool
) -> tuple[Floats, NDArray[np.str_]]:
    """Value between the four nearest cell centres, or its logarithm's."""
    low_c, high_c, share_c, edge_c = _neighbours(np.where(inside, column, 0.5), window.valid.shape[1])
    low_r, high_r, share_r, edge_r = _neighbours(np.where(inside, row, 0.5), window.valid.shape[0])
    total = np.zeros(len(column))
    known, positive = inside.copy(), np.ones(len(column), dtype=bool)
    for r, weight_r in ((low_r, 1.0 - share_r), (high_r, share_r)):
        for c, weight_c in ((low_c, 1.0 - share_c), (high_c, share_c)):
            weight = weight_r * weight_c
            counts = weight > 0
            cell = np.where(window.valid[r, c], window.values[r, c], np.nan)
            known &= ~counts | np.isfinite(cell)
            if logarithmic:
                positive &= ~(counts & (cell <= 0))
                cell = np.log(np.where(cell > 0, cell, 1.0))
            total += np.where(counts, weight * cell, 0.0)
    good = known & positive
    result = np.where(good, np.exp(total) if logarithmic else total, np.nan)
    reason: NDArray[Any] = np.select(
        [~inside, ~known, ~positive, edge_r | edge_c], [OUTSIDE, NODATA, NOT_POSITIVE, EDGE], default=OK
    )
    return result, reason.astype("<U12")


def _neighbours(place: Floats, size: int) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats, NDArray[np.bool_]]:
    """Cells on both sides of a fractional place, the share of the upper one, and whether one is missing."""
    from_first = place - 0.5
    low = np.floor(from_first)
    share = from_first - low
    low = np.where(share > 1.0 - SNAP_CELLS, low + 1.0, low)
    share = np.where((share < SNAP_CELLS) | (share > 1.0 - SNAP_CELLS), 0.0, share)
    edge = (low < 0) | ((low + 1 > size - 1) & (share > 0))
    low_cell, high_cell = (np.clip(cell, 0, size - 1).astype(np.intp) for cell in (low, low + 1))
    return low_cell, high_cell, share, edge


def distance_to_data_ft(window: RasterWindow, points: Floats, crs: pyproj.CRS) -> Floats:
    """Distance from points to the nearest cell with data of the piece read, ft; infinite if it has none."""
    from scipy.ndimage import binary_erosion
    from scipy.spatial import cKDTree

    if not window.valid.any():
        return np.full(len(points), np.inf)
    rim = window.valid & ~binary_erosion(window.valid, border_value=0)
    rows, columns = np.nonzero(rim)
    local = crs_tools.choose_working_crs(points, crs).crs
    cells = crs_tools.transform_xy(window.centres(rows, columns), window.crs, local)
    here = crs_tools.transform_xy(points, crs, local)
    good = np.isfinite(cells).all(axis=1)
    if not good.any():
        return np.full(len(points), np.inf)
    distance_m, _ = cKDTree(cells[good]).query(here)
    return crs_tools.feet(distance_m)
