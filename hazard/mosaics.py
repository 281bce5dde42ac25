"""Tiles of one raster: how they lie on one grid, and one window of cells out of several files.

Tiles must share coordinate system, cell size and grid: nothing is resampled, so a window of tiles holds the very cells
of the raster they were cut from. Where two overlap, the tile whose name comes first counts; values that differ by more
than the quantity's tolerance stop. The order in which tiles are given never matters.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import ArrayLike, NDArray

from hazard.issues import InputError, Issue, Issues
from hazard.layers import Layer, Quantity
from hazard.raster_files import RasterFile

GRID_TOLERANCE_CELLS = 0.01
"""How far a tile's corner may lie from a corner of the common grid: the rounding of stored origins."""


@dataclass(frozen=True)
class Sheet:
    """One file of a layer, as it describes itself. `shape` is (rows, columns); `says_unit` False: unit by default."""

    layer: Layer
    file: RasterFile
    band: int
    transform: Affine
    shape: tuple[int, int]
    crs: pyproj.CRS
    units: str
    says_unit: bool
    categories: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Part:
    """A rectangle of cells: first row and column, how many rows and columns."""

    row: int
    column: int
    rows: int
    columns: int


@dataclass(frozen=True)
class Patch:
    """Cells of one file, `values` in the quantity's own unit; `place` is where they lie in the common grid."""

    name: str
    place: Part
    values: NDArray[Any]
    valid: NDArray[np.bool_]


@dataclass(frozen=True)
class Grid:
    """The common grid of the files of a layer, and where each of them begins in it (row, column) by its path."""

    transform: Affine
    shape: tuple[int, int]
    crs: pyproj.CRS
    origin: Mapping[str, tuple[int, int]]

    def part_of(self, sheet: Sheet, window: Part) -> Part | None:
        """The part of a file, counted in that file, that lies in a window of the grid; None where none does."""
        row, column = self.origin[sheet.file.path]
        first_row, first_column = max(window.row, row), max(window.column, column)
        last_row = min(window.row + window.rows, row + sheet.shape[0])
        last_column = min(window.column + window.columns, column + sheet.shape[1])
        if last_row <= first_row or last_column <= first_column:
            return None
        return Part(first_row - row, first_column - column, last_row - first_row, last_column - first_column)

    def placed(self, sheet: Sheet, part: Part) -> Part:
        """A part of a file, counted in the grid."""
        row, column = self.origin[sheet.file.path]
        return Part(part.row + row, part.column + column, part.rows, part.columns)


def apply_affine(transform: Affine, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """An affine transform of coordinate arrays."""
    first, second = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    t = transform
    return t.a * first + t.b * second + t.c, t.d * first + t.e * second + t.f


def shifted(transform: Affine, columns: float, rows: float) -> Affine:
    """The transform of a piece that begins some columns and rows into its grid."""
    x, y = apply_affine(transform, columns, rows)
    return Affine(transform.a, transform.b, float(x), transform.d, transform.e, float(y))


def join_grids(sheets: Sequence[Sheet], notes: Issues) -> Grid:
    """The grid that all files share. Raises InputError with every file that does not fit the first (by name)."""
    first = sheets[0]
    if len(sheets) == 1:
        return Grid(first.transform, first.shape, first.crs, {first.file.path: (0, 0)})
    found: list[Issue] = []
    origins: dict[str, tuple[int, int]] = {}
    for sheet in sheets:
        if not first.crs.equals(sheet.crs, ignore_axis_order=True):
            what = f"coordinate system {sheet.crs.name}"
            expected = f"{first.crs.name}, as {first.layer.name} has"
            fix = "bring the tiles into one system first"
            found.append(Issue("raster_tiles_system", "stop", sheet.layer.name, what, expected, fix))
        elif (misfit := _misfit(first, sheet)) is not None:
            fix = "bring the tiles onto one grid first"
            expected = f"the grid of {first.layer.name}"
            found.append(Issue("raster_tiles_grid", "stop", sheet.layer.name, misfit, expected, fix))
        else:
            columns, rows = _corners(first, sheet)
            origins[sheet.file.path] = (int(np.rint(rows[0])), int(np.rint(columns[0])))
    found += _check_units(sheets, notes)
    if found:
        raise InputError(found)
    top = min(row for row, _ in origins.values())
    left = min(column for _, column in origins.values())
    bottom = max(origins[sheet.file.path][0] + sheet.shape[0] for sheet in sheets)
    right = max(origins[sheet.file.path][1] + sheet.shape[1] for sheet in sheets)
    return Grid(
        shifted(first.transform, left, top),
        (bottom - top, right - left),
        first.crs,
        {path: (row - top, column - left) for path, (row, column) in origins.items()},
    )


def _corners(first: Sheet, sheet: Sheet) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Columns and rows of a file's first and last corner and of the two others, in the grid of the first file."""
    rows, columns = sheet.shape
    x, y = apply_affine(sheet.transform, [0, columns, columns, 0], [0, rows, 0, rows])
    return apply_affine(~first.transform, x, y)


def _misfit(first: Sheet, sheet: Sheet) -> str | None:
    """Why a file is not on the grid of the first; None where it is."""
    columns, rows = _corners(first, sheet)
    sizes = np.array([columns[1] - columns[0], columns[2] - columns[0], rows[1] - rows[0], rows[3] - rows[0]])
    wanted = np.array([sheet.shape[1], sheet.shape[1], sheet.shape[0], sheet.shape[0]])
    if np.abs(sizes - wanted).max() > 2 * GRID_TOLERANCE_CELLS:
        t, u = first.transform, sheet.transform
        own, other = (float(np.hypot(each.a, each.d)) for each in (u, t))
        if abs(own / other - 1.0) > 1e-6:
            return f"cells of {own:g}, where {first.layer.name} has {other:g}"
        return "cells that lie another way round (turned, sheared or south-up)"
    off = max(float(np.abs(each - np.rint(each)).max()) for each in (columns, rows))
    if off > GRID_TOLERANCE_CELLS:
        return f"cells shifted by {off:.2f} of a cell"
    return None


def _check_units(sheets: Sequence[Sheet], notes: Issues) -> list[Issue]:
    """Tiles in different units are each read in their own; a tile that says none beside others that do is refused."""
    told = {sheet.units: sheet for sheet in sheets if sheet.says_unit}
    silent = [sheet for sheet in sheets if not sheet.says_unit and sheet.units not in told]
    if told and silent:
        unit, other = next(iter(told.items()))
        what = f"states no unit, where {other.layer.name} states {unit}"
        fix = "set units in the project file"
        return [Issue("raster_tiles_unit", "stop", s.layer.name, what, "one unit", fix) for s in silent]
    if len(told) > 1:
        what = "tiles state different units: " + ", ".join(f"{s.layer.name} {unit}" for unit, s in told.items())
        notes.add("raster_tiles_unit", "warn", sheets[0].layer.name, what, "one unit", "each read in its own")
    return []


def join_patches(
    patches: Sequence[Patch], window: Part, declared: Quantity, where: str, notes: Issues
) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Values and validity of a window (its rows, its columns); cells that no file holds are not valid.

    Raises InputError where overlapping files differ by more than the quantity's tolerance.
    """
    size = (window.rows, window.columns)
    if len(patches) == 1 and patches[0].valid.shape == size:
        return patches[0].values, patches[0].valid
    values = np.zeros(size, dtype=np.int32) if declared.is_class else np.full(size, np.nan)
    valid = np.zeros(size, dtype=np.bool_)
    owner = np.full(size, -1, dtype=np.int16)
    found: list[Issue] = []
    for number, patch in enumerate(patches):
        row, column = patch.place.row - window.row, patch.place.column - window.column
        here = np.s_[row : row + patch.place.rows, column : column + patch.place.columns]
        both = valid[here] & patch.valid
        if both.any():
            names = [patches[k].name for k in np.unique(owner[here][both])]
            found += _compare(values[here][both], patch.values[both], patch.name, names, declared, notes)
        new = patch.valid & ~valid[here]
        values[here][new] = patch.values[new]
        owner[here][new] = number
        valid[here] |= patch.valid
    if found:
        raise InputError(found)
    return values, valid


def _compare(
    kept: NDArray[Any], other: NDArray[Any], name: str, names: list[str], declared: Quantity, notes: Issues
) -> list[Issue]:
    """What speaks against two tiles that hold the same cells; lesser differences are noted."""
    unlike = kept != other
    if not unlike.any():
        return []
    others = " and ".join(names)
    if declared.is_class:
        share = float(unlike.mean())
        beyond = share > declared.tile_tolerance
        how = f"another class than {others} in {int(unlike.sum()):,} of {unlike.size:,} common cells"
        expected = f"{declared.tile_tolerance:.0%} at most"
    else:
        worst = float(np.abs(kept - other).max())
        beyond = worst > declared.tile_tolerance
        how = f"other values than {others} in {int(unlike.sum()):,} of {unlike.size:,} common cells"
        how += f", by up to {worst:.3g} {declared.own_unit}".rstrip()
        expected = f"{declared.tile_tolerance:g} {declared.own_unit}".rstrip() + " at most"
    if beyond:
        fix = "give tiles of one survey, or cut the overlap away"
        return [Issue("raster_tiles_differ", "stop", name, how, expected, fix)]
    notes.add("raster_tiles_differ", "warn", name, how, "the same values", f"{names[0]} counts there")
    return []
