"""Reading a piece of a raster, of one file or of several tiles: the only module that reads cells.

Values come out masked, scaled and in our own unit. A file that can't be trusted is refused with every reason at once.
Nothing here resamples: points go to the raster's system, never the raster to theirs. What may be opened is decided in
`raster_files`, how tiles lie beside each other in `mosaics`.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import ArrayLike, NDArray

from hazard import crs as crs_tools
from hazard.elevation_faults import without_spikes
from hazard.issues import InputError, Issue, Issues
from hazard.layers import Layer, Quantity, likely_units, quantity, to_own_unit, unit_name
from hazard.legends import category_names
from hazard.mosaics import Grid, Part, Patch, Sheet, apply_affine, join_grids, join_patches, shifted
from hazard.raster_files import RasterFile, interpolates, raster_file

PICTURE_DRIVERS = ("PNG", "JPEG", "GIF", "BMP")

LARGEST_FILE_BYTES = 1 << 40
LARGEST_BLOCK_BYTES = 1 << 30  # of cells that can only be read together
LARGEST_WINDOW_CELLS = 100_000_000
MARGIN_CELLS = 2
DENSIFY = 21
SURFACE_WORDS = re.compile(
    r"(?<![a-z])(dsm|surface[ _-]*model|digital[ _-]*surface|first[ _-]*return|highest[ _-]*hit|canopy)(?![a-z])",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class RasterWindow:
    """A piece of a raster in memory, north-up or not.

    `values` (rows, cols) are float64 in our own unit, or int32 for classes; `valid` is False for nodata, NaN and
    infinity. `transform` takes (column, row) of this piece, counted from its first cell's corner, to `crs`.
    `row_off`, `col_off` place the piece in its file, `file_shape` is the whole file's (rows, columns).
    """

    values: NDArray[Any]
    valid: NDArray[np.bool_]
    transform: Affine
    crs: pyproj.CRS
    source: str
    quantity: str = ""
    units_given: str = ""
    row_off: int = 0
    col_off: int = 0
    file_shape: tuple[int, int] = (0, 0)
    categories: Mapping[int, str] = field(default_factory=dict)  # names that the file gives to its classes

    def pixel(self, xy: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Fractional (column, row) of points given in the raster's own system; cell centres are at halves."""
        points = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
        return apply_affine(~self.transform, points[:, 0], points[:, 1])

    def centres(self, rows: ArrayLike, columns: ArrayLike) -> NDArray[np.float64]:
        """Centres (n, 2) of cells of this piece in the raster's own system."""
        return np.column_stack(apply_affine(self.transform, np.asarray(columns) + 0.5, np.asarray(rows) + 0.5))

    def cell_size(self) -> tuple[float, float]:
        """Lengths of a cell's sides in the raster's own unit (degrees for a geographic one)."""
        t = self.transform
        return float(np.hypot(t.a, t.d)), float(np.hypot(t.b, t.e))


def read_window(
    layer: Layer,
    bounds_xy: tuple[float, float, float, float],
    crs_of_bounds: pyproj.CRS,
    pad_ft: float = 0.0,
    issues: Issues | None = None,
) -> RasterWindow:
    """Read the part of a raster that covers a box (west, south, east, north) and `pad_ft` around it.

    Raises InputError with every reason against the file. Lesser findings go to `issues`. Where box and raster do not
    meet, the nearest cells are read, so that a caller can say how far away they are.
    """
    notes = issues if issues is not None else Issues()
    sheets = describe(layer, notes)
    grid = join_grids(sheets, notes)
    shift = crs_tools.check_transform(
        crs_of_bounds, grid.crs, layer.name, np.reshape([float(v) for v in bounds_xy], (2, 2))
    )
    notes.extend(issue for issue in shift if issue.severity != "stop")
    _stop_on([issue for issue in shift if issue.severity == "stop"])
    window = _window(grid, _padded(bounds_xy, crs_of_bounds, pad_ft), crs_of_bounds, layer)
    patches, found = [], []
    for sheet in sheets:
        if (part := grid.part_of(sheet, window)) is None:
            continue
        try:
            patches.append(_patch(sheet, part, grid.placed(sheet, part), notes))
        except InputError as error:
            found += error.issues
    _stop_on(found)
    if len(sheets) > 1:
        _tell_tiles(sheets, patches, layer, notes)
    declared = quantity(layer.quantity)
    values, valid = join_patches(patches, window, declared, layer.name, notes)
    if layer.quantity == "elevation_ft":
        ground = without_spikes(values, valid, _cell_ft(grid), layer.name, notes)
        if ground is not valid:
            values, valid = np.where(ground, values, np.nan), ground
    _tell_constant(_known_cells(values, valid), declared, layer, notes)
    return RasterWindow(
        values,
        valid,
        shifted(grid.transform, window.column, window.row),
        grid.crs,
        layer.name,
        layer.quantity,
        " and ".join(dict.fromkeys(sheet.units for sheet in sheets)),
        window.row,
        window.column,
        grid.shape,
        next((sheet.categories for sheet in sheets if sheet.categories), {}),
    )


def describe(layer: Layer, notes: Issues) -> list[Sheet]:
    """The files of a layer by what they say of themselves, no cell read. Raises InputError with every file's faults."""
    sheets, found = [], []
    for tile in layer.tiles():
        try:
            sheets.append(_sheet(tile, notes))
        except InputError as error:
            found += error.issues
    _stop_on(found)
    return sheets


def _sheet(tile: Layer, notes: Issues) -> Sheet:
    """One file, checked as far as that can be without reading a cell."""
    file = raster_file(tile)
    with _opened(file, tile) as dataset:
        band = _check_dataset(dataset, tile, notes)
        if file.drivers == ("VRT",) and quantity(tile.quantity).is_class and (how := interpolates(Path(file.path))):
            what = f"a virtual raster that asks for {how} resampling of class codes"
            _stop_on([Issue("raster_class_resampled", "stop", tile.name, what, "the nearest cell", "write it anew")])
        if not file.remote:
            notes.extend(_sidecar_notes(dataset, tile, file))
        if tile.quantity == "elevation_ft":
            notes.extend(_model_notes(dataset, band, tile))
        return Sheet(
            tile,
            file,
            band,
            dataset.transform,
            (dataset.height, dataset.width),
            crs_tools.horizontal(pyproj.CRS.from_wkt(dataset.crs.to_wkt())),
            _units(dataset, band, tile),
            bool(tile.units or _unit_tag(dataset, band)),
            {} if file.remote or not quantity(tile.quantity).is_class else category_names(Path(file.path)),
        )


@contextmanager
def _opened(file: RasterFile, layer: Layer) -> Iterator[Any]:
    """An open dataset, closed afterwards. Raises InputError where it can't be opened."""
    import rasterio
    from rasterio.errors import RasterioError
    from rasterio.io import DatasetReader

    with warnings.catch_warnings(), rasterio.Env(**file.settings()):
        warnings.simplefilter("ignore")
        try:
            dataset = DatasetReader(file.path, driver=list(file.drivers))
        except (RasterioError, MemoryError) as error:
            raise InputError(_unreadable(layer, f"can't be opened as a raster ({_first_line(error)})")) from error
        with dataset:
            yield dataset


def _patch(sheet: Sheet, part: Part, place: Part, notes: Issues) -> Patch:
    """The cells of a part of one file, in our own unit; `place` is where they lie in the common grid."""
    declared = quantity(sheet.layer.quantity)
    with _opened(sheet.file, sheet.layer) as dataset:
        raw, valid = _read_cells(dataset, sheet.band, part, sheet.layer)
        values = _values(dataset, sheet.band, raw, valid, sheet.units, declared, sheet.layer, notes)
    _stop_on(_check_values(_known_cells(values, valid), declared, sheet.units, sheet.layer))
    return Patch(sheet.layer.name, place, values, valid)


def _tell_tiles(sheets: list[Sheet], patches: list[Patch], layer: Layer, notes: Issues) -> None:
    """Which tiles gave cells."""
    names = ", ".join(patch.name for patch in patches) or "none"
    found = f"{len(patches)} of {len(sheets)} tiles lie around the lots: {names}"
    notes.add("raster_tiles", "note", layer.name, found, "", "joined; where two overlap, the first by name counts")


def _cell_ft(grid: Grid) -> float:
    """The longer side of a cell, ft."""
    unit_m = 110_574.0 if grid.crs.is_geographic else crs_tools.metres_per_unit(grid.crs)
    t = grid.transform
    return float(max(np.hypot(t.a, t.d), np.hypot(t.b, t.e)) * unit_m / crs_tools.METRES_PER_FOOT)


# -- what the file says of itself ---------------------------------------------------------------------------------


def _check_dataset(dataset: Any, layer: Layer, notes: Issues) -> int:
    """Every reason to refuse an opened file, before a cell is read; returns the band to read."""
    found: list[Issue] = []
    if dataset.count == 0:
        names = ", ".join(str(name) for name in dataset.subdatasets[:10]) or "none"
        _stop_on([_unreadable(layer, f"holds no band itself; parts: {names}")])
    found += _check_picture(dataset, layer)
    band, problems = _band(dataset, layer)
    found += problems
    if dataset.transform.is_identity:
        points, _ = dataset.gcps
        kind = "ground control points only, no geotransform" if points or dataset.rpcs else "no geotransform"
        fix = "georeference it (cells' positions are not known)"
        found.append(Issue("raster_no_geotransform", "stop", layer.name, kind, "a geotransform", fix))
    elif dataset.transform.is_degenerate:
        found.append(Issue("raster_no_geotransform", "stop", layer.name, "cells of zero size", "a usable geotransform"))
    if dataset.crs is None or not dataset.crs.to_wkt():
        fix = "store one in the file"
        found.append(
            Issue("raster_no_crs", "stop", layer.name, "no coordinate reference system", "one, such as EPSG:5070", fix)
        )
    else:
        found += _check_crs(dataset, layer)
    if not found or band:
        found += _check_metadata(dataset, max(band, 1), layer, notes)
    size = dataset.width * dataset.height * np.dtype(dataset.dtypes[max(band, 1) - 1]).itemsize
    if size > LARGEST_FILE_BYTES:
        what = f"declares {dataset.width:,} x {dataset.height:,} cells ({size / 2**40:,.1f} TiB)"
        found.append(Issue("raster_too_large", "stop", layer.name, what, f"{LARGEST_FILE_BYTES >> 40} TiB or less"))
    found += _check_blocks(dataset, max(band, 1), layer)
    _stop_on(found)
    return band


def _check_blocks(dataset: Any, band: int, layer: Layer) -> list[Issue]:
    """Cells are stored in blocks that are read whole; a block of absurd size would need absurd memory."""
    rows, columns = dataset.block_shapes[band - 1]
    together = dataset.count if dataset.interleaving is not None and dataset.interleaving.name == "pixel" else 1
    size = rows * columns * np.dtype(dataset.dtypes[band - 1]).itemsize * together
    if size <= LARGEST_BLOCK_BYTES:
        return []
    what = f"stores cells in blocks of {columns:,} x {rows:,} ({size / 2**30:,.1f} GiB)"
    fix = "write it anew in tiles"
    return [
        Issue("raster_too_large", "stop", layer.name, what, f"blocks of {LARGEST_BLOCK_BYTES >> 30} GiB or less", fix)
    ]


def _check_picture(dataset: Any, layer: Layer) -> list[Issue]:
    """Pictures of maps hold colours, not values."""
    from rasterio.enums import ColorInterp

    colours = set(dataset.colorinterp)
    is_rgb = {ColorInterp.red, ColorInterp.green, ColorInterp.blue} <= colours
    palette = ColorInterp.palette in colours and not quantity(layer.quantity).is_class
    if not (is_rgb or palette or dataset.driver in PICTURE_DRIVERS):
        return []
    kind = "red, green and blue bands" if is_rgb else "a colour table" if palette else f"a {dataset.driver} picture"
    found = f"a picture of a map ({kind})"
    return [Issue("raster_picture", "stop", layer.name, found, f"cells that hold {layer.quantity}")]


def _band(dataset: Any, layer: Layer) -> tuple[int, list[Issue]]:
    """The band to read (0 if unclear) and what is unclear about it."""
    names = ", ".join(f"{i} {d or '(no name)'}" for i, d in enumerate(dataset.descriptions[:20], start=1))
    if layer.band is None and dataset.count > 1:
        fix = "name the band in the project file"
        found = f"{dataset.count} bands ({names})"
        return 0, [Issue("raster_band_unnamed", "stop", layer.name, found, "one band", fix)]
    band = 1 if layer.band is None else layer.band
    if not 1 <= band <= dataset.count:
        found = f"band {band} asked of {dataset.count} ({names})"
        return 0, [Issue("raster_band_absent", "stop", layer.name, found, f"1 to {dataset.count}")]
    if np.dtype(dataset.dtypes[band - 1]).kind == "c":
        return 0, [Issue("raster_type", "stop", layer.name, "complex numbers", "real numbers")]
    return band, []


def _check_crs(dataset: Any, layer: Layer) -> list[Issue]:
    """The file's system must be one in which points can be located."""
    try:
        crs_tools.parse_crs(dataset.crs.to_wkt(), layer.name)
    except InputError as error:
        return error.issues
    return []


def _check_metadata(dataset: Any, band: int, layer: Layer, notes: Issues) -> list[Issue]:
    """Unit tag, risk category and return period against what was asked for."""
    found = []
    tag = _unit_tag(dataset, band)
    if tag and layer.units and unit_name(tag) and unit_name(tag) != unit_name(layer.units):
        fix = "correct units in the project file, or the file's tag"
        what = f"the file says its unit is {tag!r}"
        found.append(Issue("raster_unit_contradicted", "stop", layer.name, what, f"{layer.units!r}", fix))
    declared = quantity(layer.quantity)
    if tag and not layer.units and unit_name(tag):
        try:
            to_own_unit(0.0, layer.quantity, tag)
        except ValueError as error:
            what = f"the file says its unit is {tag!r}"
            found.append(Issue("raster_unit_contradicted", "stop", layer.name, what, str(error).split("expected ")[-1]))
    for key, text in {**dataset.tags(), **dataset.tags(band)}.items():
        name = key.casefold().replace(" ", "_")
        if name in ("risk_category", "riskcategory"):
            if str(text).strip().upper() not in ("II", "2"):
                what = f"{key} = {text}"
                found.append(Issue("raster_risk_category", "stop", layer.name, what, "Risk Category II"))
        elif name in ("return_period", "mri", "mean_recurrence_interval"):
            notes.add("raster_return_period", "note", layer.name, f"{key} = {text} ({declared.meaning})")
    return found


def _unit_tag(dataset: Any, band: int) -> str:
    """The unit that the file itself states for a band: its unit tag, or the height unit of a compound system."""
    tag = dataset.units[band - 1] if dataset.units and dataset.units[band - 1] else ""
    if not tag and dataset.crs is not None:
        full = pyproj.CRS.from_wkt(dataset.crs.to_wkt())
        tag = crs_tools.vertical_unit(full) if full.is_compound else ""
    return str(tag).strip()


def _units(dataset: Any, band: int, layer: Layer) -> str:
    """The unit that applies: the project file's, else the file's own tag, else the quantity's own."""
    tag = unit_name(_unit_tag(dataset, band))
    return layer.units or tag or quantity(layer.quantity).own_unit


def _model_notes(dataset: Any, band: int, layer: Layer) -> list[Issue]:
    """Whether an elevation is of the bare earth: what the project file says, and what the file's own words say."""
    own_words = [layer.name, *(f"{k} {v}" for k, v in {**dataset.tags(), **dataset.tags(band)}.items())]
    own_words.append(dataset.descriptions[band - 1] or "")
    word = next((m.group() for m in map(SURFACE_WORDS.search, own_words) if m is not None), "")
    says = f"the file calls itself {word!r}" if word else ""
    expected = "bare earth: roofs and trees would count as ground"
    if layer.model == "surface":
        return [Issue("elevation_surface", "warn", layer.name, "a surface model, as the project says", expected)]
    if word:
        said = " although the project says bare earth" if layer.model else ""
        fix = 'give bare earth, or say model = "surface"'
        return [Issue("elevation_surface", "warn", layer.name, says + said, expected, fix)]
    if layer.model:
        return []
    fix = 'taken as bare earth; say so with model = "bare earth"'
    return [Issue("elevation_model", "note", layer.name, "nothing says whether this is the bare earth", "", fix)]


def _sidecar_notes(dataset: Any, layer: Layer, file: RasterFile) -> list[Issue]:
    """What an .aux.xml file beside the raster adds to it or changes in it."""
    if not Path(file.path + ".aux.xml").is_file():
        return []
    import rasterio
    from rasterio.errors import RasterioError
    from rasterio.io import DatasetReader

    def stated(source: Any) -> dict[str, Any]:
        wkt = source.crs.to_wkt() if source.crs else ""
        return {"nodata": source.nodatavals, "system": wkt, "scale": source.scales, "offset": source.offsets}

    try:
        with rasterio.Env(GDAL_PAM_ENABLED=False), DatasetReader(file.path, driver=list(file.drivers)) as bare:
            own, used = stated(bare), stated(dataset)
    except RasterioError:
        return []
    changed = [key for key in own if str(own[key]) != str(used[key])]
    found = f"{layer.name}.aux.xml beside the file sets its {' and '.join(changed) or 'statistics only'}"
    return [Issue("raster_sidecar", "note", layer.name, found, "", "the sidecar's values were used" if changed else "")]


# -- reading ------------------------------------------------------------------------------------------------------


def _padded(
    bounds_xy: tuple[float, float, float, float], crs: pyproj.CRS, pad_ft: float
) -> tuple[float, float, float, float]:
    """A box grown by a distance on every side, in its own system."""
    west, south, east, north = (float(v) for v in bounds_xy)
    if crs.is_projected:
        pad_x = pad_y = pad_ft * crs_tools.METRES_PER_FOOT / crs_tools.metres_per_unit(crs)
    else:
        pad_y = pad_ft * crs_tools.METRES_PER_FOOT / 110_574.0
        pad_x = pad_y / max(float(np.cos(np.radians(max(abs(south), abs(north))))), 0.01)
    return west - pad_x, south - pad_y, east + pad_x, north + pad_y


def _window(grid: Grid, bounds: tuple[float, float, float, float], crs: pyproj.CRS, layer: Layer) -> Part:
    """The cells under a box, by the inverse geotransform of its outline, so that any orientation is right."""
    outline = crs_tools.transform_xy(_outline(bounds), crs, grid.crs)
    outline = outline[np.isfinite(outline).all(axis=1)]
    if not len(outline):
        found = "the lots can't be expressed in the raster's coordinate system"
        raise InputError(Issue("raster_elsewhere", "stop", layer.name, found, "a raster of the same region"))
    columns, rows = apply_affine(~grid.transform, outline[:, 0], outline[:, 1])
    col_off, width = _span(columns, grid.shape[1])
    row_off, height = _span(rows, grid.shape[0])
    if width * height > LARGEST_WINDOW_CELLS:
        found = f"{width * height:,} cells are needed around the lots"
        fix = "use a coarser raster, or split the tract"
        raise InputError(
            Issue("raster_too_large", "stop", layer.name, found, f"{LARGEST_WINDOW_CELLS:,} or fewer", fix)
        )
    return Part(row_off, col_off, height, width)


def _outline(bounds: tuple[float, float, float, float]) -> NDArray[np.float64]:
    """Points along a box's edges and inside it, since a straight edge is curved in another system."""
    x, y = np.linspace(bounds[0], bounds[2], DENSIFY), np.linspace(bounds[1], bounds[3], DENSIFY)
    return np.column_stack([grid.ravel() for grid in np.meshgrid(x, y)])


def _span(places: NDArray[np.float64], size: int) -> tuple[int, int]:
    """First cell and count that cover fractional places along one axis, with a margin, inside the file."""
    first = int(np.clip(np.floor(places.min()) - MARGIN_CELLS, 0, max(size - MARGIN_CELLS, 0)))
    last = int(np.clip(np.ceil(places.max()) + MARGIN_CELLS, min(MARGIN_CELLS, size), size))
    return first, max(last - first, 1)


def _read_cells(dataset: Any, band: int, part: Part, layer: Layer) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Raw cells and which of them hold data; the file's last block is touched so that a cut file can't slip by."""
    from rasterio.errors import RasterioError
    from rasterio.windows import Window

    window = Window(part.column, part.row, part.columns, part.rows)
    last = Window(dataset.width - 1, dataset.height - 1, 1, 1)
    try:
        raw = dataset.read(band, window=window)
        valid = _known(dataset, band, raw)
        if valid is None:
            valid = dataset.read_masks(band, window=window) > 0
        dataset.read(band, window=last)
    except (RasterioError, MemoryError) as error:
        found = f"cells can't be read; the file is cut short or damaged ({_first_line(error)})"
        raise InputError(_unreadable(layer, found)) from error
    if raw.dtype.kind == "f":
        valid &= np.isfinite(raw)
    return raw, valid


def _known(dataset: Any, band: int, raw: NDArray[Any]) -> NDArray[np.bool_] | None:
    """Cells that hold data, where the file's mask is no more than its no-data value; None where the library must say.

    The mask of the library reads every cell a second time. Numbers of 32 bits are compared as the library compares
    them: equal within a share of their sum.
    """
    from rasterio.enums import MaskFlags

    flags = dataset.mask_flag_enums[band - 1]
    if flags == [MaskFlags.all_valid]:
        return np.ones(raw.shape, dtype=np.bool_)
    nodata = dataset.nodatavals[band - 1]
    if flags != [MaskFlags.nodata] or nodata is None or not np.isfinite(nodata):
        return None
    if raw.dtype.kind in "iu" and raw.dtype.itemsize < 8:
        return np.asarray(raw != nodata) if float(nodata).is_integer() else None
    if raw.dtype != np.float32:
        return None
    value = np.float32(nodata)
    if not np.isfinite(value) or 0.0 < abs(value) < np.finfo(np.float32).tiny:
        return None
    near = 2.0 * np.finfo(raw.dtype).eps
    with np.errstate(over="ignore", invalid="ignore"):
        off = np.abs(raw - value) >= near * np.abs(raw + value)
    return np.asarray(off & (raw != value))


def _values(
    dataset: Any,
    band: int,
    raw: NDArray[Any],
    valid: NDArray[np.bool_],
    units: str,
    declared: Quantity,
    layer: Layer,
    notes: Issues,
) -> NDArray[Any]:
    """Cells in our own unit: stored scale and offset applied, then the unit."""
    scale, offset = float(dataset.scales[band - 1]), float(dataset.offsets[band - 1])
    scaled = (scale, offset) != (1.0, 0.0)
    if declared.is_class:
        return _classes(raw, valid, scaled, layer, notes)
    values = raw.astype(np.float64)
    if not valid.all():
        values[~valid] = np.nan
    if scaled:
        values = values * scale + offset
        notes.add("raster_scaled", "note", layer.name, f"stored scale {scale:g} and offset {offset:g}", "", "applied")
    elif raw.dtype.kind in "iub":
        found = f"whole numbers only ({raw.dtype}), so steps of 1 {units}"
        notes.add("raster_whole_numbers", "warn", layer.name, found, "values with decimals", "used as they are")
    return to_own_unit(values, layer.quantity, units)


def _classes(
    raw: NDArray[Any], valid: NDArray[np.bool_], scaled: bool, layer: Layer, notes: Issues
) -> NDArray[np.int32]:
    """Class codes as whole numbers."""
    if scaled:
        _stop_on([Issue("raster_class_scaled", "stop", layer.name, "a scale or offset on class codes", "plain codes")])
    if raw.dtype.kind == "f":
        broken = valid & (raw != np.round(raw))
        if broken.any():
            found = f"{int(broken.sum()):,} class cells are not whole numbers (such as {raw[broken][0]:g})"
            fix = "the raster was resampled by averaging: use the original"
            _stop_on([Issue("raster_class_fraction", "stop", layer.name, found, "class codes", fix)])
        notes.add("raster_class_float", "warn", layer.name, f"class codes stored as {raw.dtype}", "whole-number cells")
    return np.where(valid, raw, 0).astype(np.int32)


# -- what the cells say -------------------------------------------------------------------------------------------


def _known_cells(values: NDArray[Any], valid: NDArray[np.bool_]) -> NDArray[Any]:
    """The cells with data one after the other; most often these are all, and need no copy."""
    return values.ravel() if valid.all() else values[valid]


def _tell_constant(cells: NDArray[Any], declared: Quantity, layer: Layer, notes: Issues) -> None:
    """A raster that is the same everywhere is possible, and worth a look."""
    if cells.size > 1 and cells.min() == cells.max():
        severity = "warn" if declared.is_class else "note"
        notes.add("raster_constant", severity, layer.name, f"every cell read is {cells[0]:g}", "", "used as it is")


def _check_values(cells: NDArray[Any], declared: Quantity, units: str, layer: Layer) -> list[Issue]:
    """Cells outside the physical range: undeclared nodata, or the wrong unit."""
    if not cells.size or (declared.zero_possible and declared.in_range([cells.min(), cells.max()]).all()):
        return []
    wrong = ~declared.in_range(cells)
    if not wrong.any():
        return []
    return [_undeclared_nodata(cells, wrong, declared, units, layer) or _wrong_range(cells, declared, units, layer)]


def _undeclared_nodata(
    cells: NDArray[Any], wrong: NDArray[np.bool_], declared: Quantity, units: str, layer: Layer
) -> Issue | None:
    """The stop for one repeated impossible value among possible ones (or a marker nobody measures)."""
    strange, counts = np.unique(cells[wrong], return_counts=True)
    factor = float(to_own_unit(1.0, layer.quantity, units)) if not declared.is_class else 1.0
    stored = float(strange[0]) / factor
    marker = abs(stored) > 1e30 or any(abs(stored - m) < 0.5 for m in (-9999, -32768, -32767, -99999, 255, 65535))
    if len(strange) != 1 or not (marker or float(strange[0]) == 0.0 or (not wrong.all() and counts[0] > 1)):
        return None
    found = f"{int(counts[0]):,} of {cells.size:,} cells read hold {stored:g}, which no {declared.meaning} can be"
    fix = "if that means no data, declare it as the file's nodata value"
    return Issue("raster_nodata_undeclared", "stop", layer.name, found, declared.range_text(), fix)


def _wrong_range(cells: NDArray[Any], declared: Quantity, units: str, layer: Layer) -> Issue:
    """The stop for values outside the physical range, with the unit that would explain them."""
    factor = float(to_own_unit(1.0, layer.quantity, units)) if not declared.is_class else 1.0
    raw = np.array([cells.min(), cells.max()]) / factor
    low, high = (float(v) for v in raw)
    found = f"{declared.meaning} from {low:g} to {high:g} {units}"
    if unit_name(units) != declared.own_unit:
        found += f" ({cells.min():g} to {cells.max():g} {declared.own_unit})"
    likely = [] if declared.is_class else likely_units(raw, layer.quantity, units)
    if likely:
        fix = f"the values are likely in {' or '.join(likely)}: set units in the project file"
    else:
        fix = "check the file, its band and its units"
    return Issue("raster_out_of_range", "stop", layer.name, found, declared.range_text(), fix)


def _stop_on(found: list[Issue]) -> None:
    """Raise one InputError with all of these, if there are any."""
    if found:
        raise InputError(found)


def _unreadable(layer: Layer, found: str) -> Issue:
    """The stop for a file that can't be read."""
    return Issue("raster_unreadable", "stop", layer.name, found, "a readable raster", "check the path and the file")


def _first_line(error: BaseException) -> str:
    """The first line of a library's message, without any folder names."""
    cause = error.__cause__ or error
    text = str(cause).strip().splitlines()[0] if str(cause).strip() else type(cause).__name__
    return re.sub(r"(?:/[^/\s'\"]+)+/", "", text)[:160]


def extent_in_degrees(path: Path) -> tuple[float, float, float, float] | None:
    """The box (west, south, east, north) that a local raster covers; None where it can't be told, for any reason."""
    import rasterio
    from rasterio.errors import RasterioError
    from rasterio.io import DatasetReader

    try:
        file = raster_file(Layer(path, "elevation_ft"))
        with warnings.catch_warnings(), rasterio.Env(**file.settings()):
            warnings.simplefilter("ignore")
            with DatasetReader(file.path, driver=list(file.drivers)) as dataset:
                if dataset.crs is None:
                    return None
                crs = crs_tools.horizontal(pyproj.CRS.from_wkt(dataset.crs.to_wkt()))
                rows, columns = dataset.height, dataset.width
                cells = _outline((0.0, 0.0, float(columns), float(rows)))
                xy = np.column_stack(apply_affine(dataset.transform, cells[:, 0], cells[:, 1]))
        degrees = crs_tools.lon_lat(xy, crs)
    except (InputError, RasterioError, pyproj.exceptions.CRSError, ValueError, OSError):
        return None
    if not np.isfinite(degrees).all():
        return None
    (west, south), (east, north) = degrees.min(axis=0), degrees.max(axis=0)
    return float(west), float(south), float(east), float(north)
