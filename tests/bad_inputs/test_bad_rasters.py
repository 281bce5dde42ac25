"""Bad inputs, table `rasters.csv`: each row's damage, and the row's outcome.

A damage writes a raster that is wrong in one way around the two lots of the good project, or spoils a copy of the
sample's land cover or elevation.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from bad_cases import Damage, rows_to_do, run_case
from case_table import Case, cases
from damaged_project import Project
from pyproj import Transformer
from rasterio.enums import ColorInterp
from tract_helpers import SAMPLE

SYSTEM = "EPSG:26913"
WIND = "wind_speed_mph"
CELLS, CELL_M = 40, 25.0  # a square of 1 km around the two lots


def _corner(p: Project) -> tuple[float, float]:
    """Upper left corner of a square of cells in whose middle the lots lie."""
    west, south, east, north = p.lots.to_crs(SYSTEM).total_bounds
    return (west + east) / 2.0 - CELLS * CELL_M / 2.0, (south + north) / 2.0 + CELLS * CELL_M / 2.0


def _grid(p: Project, column: int = 0, row: int = 0, cell: float = CELL_M) -> Affine:
    """The grid of those cells, or one that begins some cells into it."""
    x, y = _corner(p)
    return Affine(cell, 0.0, x + column * cell, 0.0, -cell, y - row * cell)


def _wind(shape: tuple[int, int] = (CELLS, CELLS), top: float = 115.5) -> np.ndarray:
    """Wind speeds that fall slowly from the first row on."""
    rows = np.arange(shape[0])[:, None] + np.zeros(shape)
    return (top - 0.01 * rows).astype("float32")


def _cell_of(p: Project, lot: int, grid: Affine) -> tuple[int, int]:
    """Row and column of the cell that a lot's middle lies in."""
    at = p.lots.to_crs(SYSTEM).geometry.iloc[lot].centroid
    column, row = ~grid @ (at.x, at.y)
    return int(row), int(column)


def _write(
    p: Project,
    name: str,
    cells: np.ndarray,
    grid: Affine | None,
    quantity: str = WIND,
    given: dict[str, Any] | None = None,
    crs: str | None = SYSTEM,
    unit: str = "",
    tags: dict[str, str] | None = None,
    **profile: Any,
) -> Path:
    """A GeoTIFF (or another format) beside the project file, named by it as the source of a quantity."""
    bands = cells[None] if cells.ndim == 2 else cells
    described = {"driver": "GTiff", "count": bands.shape[0], "dtype": bands.dtype, "crs": crs, **profile}
    if grid is not None:
        described["transform"] = grid
    file = p.folder / name
    with rasterio.open(file, "w", height=bands.shape[1], width=bands.shape[2], **described) as target:
        target.write(bands)
        if unit:
            target.units = (unit,) * bands.shape[0]
        if tags:
            target.update_tags(**tags)
    p.changes[f"hazards.{quantity}"] = {"file": name, **(given or {})}
    return file


def _whole(**more: Any) -> Damage:
    """A wind speed raster that is wrong as a whole: what `_write` is told."""

    def damage(p: Project) -> None:
        top = more.pop("top", 115.5)
        _write(p, "v.tif", _wind(top=top), **{"grid": _grid(p), **more})

    return damage


def _at_lot(value: float, lots: tuple[int, ...] = (0,), **more: Any) -> Damage:
    """Wind speeds with one value in the cells of some lots."""

    def damage(p: Project) -> None:
        cells, grid = _wind(), _grid(p)
        for lot in lots:
            row, column = _cell_of(p, lot, grid)
            cells[row, column] = value
        _write(p, "v.tif", cells, grid, **more)

    return damage


def _cells(change: Callable[[np.ndarray], np.ndarray], **more: Any) -> Damage:
    """Wind speeds changed as a whole."""
    return lambda p: _write(p, "v.tif", change(_wind()), _grid(p), **more) and None


def _fine(step: float, given: dict[str, Any] | None = None, hole: bool = False) -> Damage:
    """Wind speeds in cells of half a metre that fall by `step` a row; `hole` without data away from a lot's middle."""

    def damage(p: Project) -> None:
        grid = _grid(p, 0, 0, 0.5)
        cells = (150.0 - step * np.arange(2000)[:, None] + np.zeros((2000, 2000))).astype("float32")
        if hole:
            row, column = _cell_of(p, 0, grid)
            cells[row + 20 : row + 24, column : column + 4] = np.nan
        _write(p, "v.tif", cells, grid, given=given)

    return damage


# ---------------------------------------------------------------- the sample's own ground


def _ground(p: Project, name: str, quantity: str, given: dict[str, Any]) -> tuple[np.ndarray, dict[str, Any]]:
    """The sample's land cover or elevation, for a damage to change, and its profile."""
    with rasterio.open(SAMPLE / name) as source:
        cells, profile = source.read(1), dict(source.profile)
    if quantity == "land_cover":
        p.changes["hazards.exposure"] = None
    else:
        p.changes["hazards.kzt"] = None
    p.changes[f"hazards.{quantity}"] = {"file": name, **given}
    return cells, profile


def _cover(change: Callable[[np.ndarray], np.ndarray], aux: str = "", **given: Any) -> Damage:
    """The sample's land cover with its classes changed."""

    def damage(p: Project) -> None:
        shutil.copy(SAMPLE / "classes.csv", p.folder / "classes.csv")
        cells, profile = _ground(p, "land_cover.tif", "land_cover", {"classes": "classes.csv", **given})
        changed = change(cells)
        with rasterio.open(p.folder / "land_cover.tif", "w", **{**profile, "dtype": changed.dtype}) as target:
            target.write(changed, 1)
        if aux:
            (p.folder / "land_cover.tif.aux.xml").write_text(aux)

    return damage


def _elevation(change: Callable[[Project, np.ndarray, Affine], np.ndarray], name: str = "", **given: Any) -> Damage:
    """The sample's elevation with its heights changed."""

    def damage(p: Project) -> None:
        cells, profile = _ground(p, "elevation.tif", "elevation_ft", {"units": "m", **given})
        with rasterio.open(p.folder / (name or "elevation.tif"), "w", **profile) as target:
            target.write(change(p, cells, profile["transform"]), 1)
        p.changes["hazards.elevation_ft"]["file"] = name or "elevation.tif"

    return damage


def _same(p: Project, cells: np.ndarray, grid: Affine) -> np.ndarray:
    return cells


def _near_first_lot(value: float, size: int, away: int = 12) -> Callable[[Project, np.ndarray, Affine], np.ndarray]:
    """A square of one height some cells from the first lot."""

    def change(p: Project, cells: np.ndarray, grid: Affine) -> np.ndarray:
        row, column = _cell_of(p, 0, grid)
        cells[row + away : row + away + size, column : column + size] = value
        return cells

    return change


def _short(name: str, quantity: str, keep_cells: int, given: dict[str, Any]) -> Damage:
    """The sample's ground cut off a few cells north of the first lot."""

    def damage(p: Project) -> None:
        shutil.copy(SAMPLE / "classes.csv", p.folder / "classes.csv")
        cells, profile = _ground(p, name, quantity, given)
        grid = profile["transform"]
        row, _ = _cell_of(p, 0, grid)
        first = row - keep_cells
        profile |= {"height": cells.shape[0] - first, "transform": grid @ Affine.translation(0, first)}
        with rasterio.open(p.folder / name, "w", **profile) as target:
            target.write(cells[first:], 1)

    return damage


# ---------------------------------------------------------------- formats and places


def _turned(degrees: float, shear: float = 0.0) -> Damage:
    def damage(p: Project) -> None:
        middle = _grid(p) @ (CELLS / 2, CELLS / 2)
        grid = Affine.translation(*middle) @ Affine.rotation(degrees) @ Affine.shear(shear)
        grid = grid @ Affine.scale(CELL_M, -CELL_M) @ Affine.translation(-CELLS / 2, -CELLS / 2)
        _write(p, "v.tif", _wind(), grid)

    return damage


def _south_up(p: Project) -> None:
    x, y = _corner(p)
    _write(p, "v.tif", _wind()[::-1], Affine(CELL_M, 0.0, x, 0.0, CELL_M, y - CELLS * CELL_M))


def _in_degrees(p: Project) -> None:
    west, south, east, north = p.lots.to_crs("EPSG:4269").total_bounds
    grid = Affine(0.01, 0.0, (west + east) / 2 - 0.2, 0.0, -0.01, (south + north) / 2 + 0.2)
    _write(p, "v.tif", _wind(), grid, crs="EPSG:4269")


def _beside(columns: float) -> Damage:
    """A raster that begins east of the first lot, so many cells from its middle."""

    def damage(p: Project) -> None:
        at = p.lots.to_crs(SYSTEM).geometry.centroid
        left, right = sorted((at.x.iloc[0], at.x.iloc[1]))
        x = (left + right) / 2.0 + columns * CELL_M
        _write(p, "v.tif", _wind(), Affine(CELL_M, 0.0, x, 0.0, -CELL_M, _corner(p)[1]))

    return damage


def _picture(kind: str) -> Damage:
    def damage(p: Project) -> None:
        cells = np.full((CELLS, CELLS), 120, dtype="uint8")
        if kind == "rgb":
            _write(p, "v.tif", np.stack([cells] * 3), _grid(p), photometric="RGB")
        elif kind == "png":
            _write(p, "v.png", cells, _grid(p), driver="PNG")
        else:
            with rasterio.open(_write(p, "v.tif", cells, _grid(p)), "r+") as target:
                target.colorinterp = [ColorInterp.palette]
                target.write_colormap(1, {120: (255, 0, 0, 255)})

    return damage


def _cut_short(p: Project) -> None:
    file = _write(p, "v.tif", np.tile(_wind(), (8, 8)), _grid(p, -140, -140))
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])


def _scaled(p: Project) -> None:
    file = _write(p, "v.tif", (_wind() * 10).astype("int16"), _grid(p))
    with rasterio.open(file, "r+") as target:
        target.scales = (0.1,)


def _virtual(p: Project, source: str, size: int = CELLS, data: str = "Float32", before: str = "") -> str:
    grid = _grid(p)
    six = ",".join(str(v) for v in (grid.c, grid.a, 0.0, grid.f, 0.0, grid.e))
    return (
        f'<VRTDataset rasterXSize="{size}" rasterYSize="{size}">{before}<SRS>{SYSTEM}</SRS>'
        f'<GeoTransform>{six}</GeoTransform><VRTRasterBand dataType="{data}" band="1">{source}</VRTRasterBand>'
        "</VRTDataset>"
    )


def _source(target: str, **attributes: str) -> str:
    more = "".join(f' {k}="{v}"' for k, v in attributes.items())
    box = f'xOff="0" yOff="0" xSize="{CELLS}" ySize="{CELLS}"'
    return (
        f'<SimpleSource{more}><SourceFilename relativeToVRT="1">{target}</SourceFilename><SourceBand>1</SourceBand>'
        f"<SrcRect {box}/><DstRect {box}/></SimpleSource>"
    )


def _vrt(source: str, before: str = "", outside: bool = False, **more: Any) -> Damage:
    """A virtual raster over `tile.tif`, which lies beside it (or beside its folder)."""

    def damage(p: Project) -> None:
        _write(p, "tile.tif", _wind(), _grid(p))
        folder = p.folder / "virtual" if outside else p.folder
        folder.mkdir(exist_ok=True)
        (folder / "v.vrt").write_text(_virtual(p, source, before=before, **more))
        p.changes[f"hazards.{WIND}"] = {"file": "virtual/v.vrt" if outside else "v.vrt"}

    return damage


def _one_block(p: Project) -> None:
    _write(p, "v.tif", _wind(), _grid(p))
    with rasterio.open(
        p.folder / "v.tif", "w", driver="GTiff", width=40_000, height=40_000, count=1, dtype="float32", crs=SYSTEM,
        transform=_grid(p), blockysize=40_000, compress="deflate", sparse_ok=True, BIGTIFF="YES",
    ):  # fmt: skip
        pass


def _too_fine(p: Project) -> None:
    with rasterio.open(
        p.folder / "c.tif", "w", driver="GTiff", width=20_000, height=20_000, count=1, dtype="uint8", crs=SYSTEM,
        transform=_grid(p, -80, -80, 0.25) @ Affine.translation(-8000, -8000), tiled=True, sparse_ok=True,
    ):  # fmt: skip
        pass
    p.changes |= {"hazards.exposure": None, "hazards.land_cover": {"file": "c.tif"}}


def _loop(p: Project) -> None:
    (p.folder / "a.tif").symlink_to("b.tif")
    (p.folder / "b.tif").symlink_to("a.tif")
    p.changes[f"hazards.{WIND}"] = {"file": "a.tif"}


def _mask_elsewhere(p: Project) -> None:
    _write(p, "v.tif", _wind(), _grid(p))
    (p.folder / "v.tif.msk").write_text(_virtual(p, _source("/vsicurl/https://127.0.0.1:9/m.tif"), data="Byte"))


def _sidecar(text: str, **more: Any) -> Damage:
    def damage(p: Project) -> None:
        cells = _wind()
        cells[0, 0] = 114.0
        _write(p, "v.tif", cells, _grid(p), **more)
        (p.folder / "v.tif.aux.xml").write_text(text)

    return damage


def _named(file: Any) -> Damage:
    return lambda p: p.changes.update({f"hazards.{WIND}": {"file": file}})


# ---------------------------------------------------------------- tiles


def _tiles(
    change: Callable[[np.ndarray], np.ndarray] = lambda cells: cells,
    overlap: int = 0,
    order: tuple[str, ...] = ("e.tif", "w.tif"),
    grid: Callable[[Project], Affine] | None = None,
    unit: tuple[str, str] = ("", ""),
    crs: str = SYSTEM,
) -> Damage:
    """Wind speeds in a western and an eastern tile; the eastern one is changed."""

    def damage(p: Project) -> None:
        cells, half = _wind(), CELLS // 2
        _write(p, "w.tif", cells[:, : half + overlap], _grid(p), unit=unit[0])
        place = _grid(p, half) if grid is None else grid(p)
        _write(p, "e.tif", change(cells[:, half:].copy()), place, unit=unit[1], crs=crs)
        p.changes[f"hazards.{WIND}"] = {"file": list(order)}

    return damage


def _other_system(p: Project) -> Affine:
    x, y = Transformer.from_crs(SYSTEM, "EPSG:26912", always_xy=True).transform(*_corner(p))
    return Affine(CELL_M, 0.0, x + CELLS // 2 * CELL_M, 0.0, -CELL_M, y)


LEGEND = (
    '<PAMDataset><PAMRasterBand band="1"><CategoryNames>'
    + "".join(f"<Category>{'Open water' if code == 41 else ''}</Category>" for code in range(43))
    + "</CategoryNames></PAMRasterBand></PAMDataset>"
)
NODATA_BESIDE = '<PAMDataset><PAMRasterBand band="1"><NoDataValue>114</NoDataValue></PAMRasterBand></PAMDataset>'
ENTITIES = '<!DOCTYPE a [<!ENTITY b "cc">]><PAMDataset><Metadata><MDI key="k">&b;</MDI></Metadata></PAMDataset>'


DAMAGES: dict[str, Damage] = {
    "R1a": _at_lot(-9999.0, nodata=-9999.0),
    "R1b": _at_lot(-9999.0, lots=(0, 1), nodata=-9999.0),
    "R2a": _at_lot(-9999.0),
    "R2b": _at_lot(-3.4e38),
    "R2c": _at_lot(0.0),
    "R2d": _elevation(_near_first_lot(-8888.0, 3)),
    "R3a": _at_lot(np.nan),
    "R3b": _at_lot(np.inf),
    "R4a": _whole(top=51.4),
    "R4b": lambda p: _write(p, "ss.tif", _wind(top=62.0), _grid(p), "ss_g") and None,
    "R4c": lambda p: _write(p, "e.tif", _wind(top=6000.0), _grid(p), "elevation_ft", {"units": "m"}) and None,
    "R5": _whole(unit="m/s", given={"units": "mph"}),
    "R6a": _cells(lambda v: np.stack([v, v + 9])),
    "R6b": _cells(lambda v: np.stack([v, v + 9]), given={"band": 3}),
    "R7a": _whole(tags={"RISK_CATEGORY": "III"}),
    "R7b": _whole(tags={"RETURN_PERIOD": "700"}),
    "R8a": _turned(30.0),
    "R8b": _turned(0.0, shear=20.0),
    "R9a": _south_up,
    "R10": _whole(grid=None),
    "R11": _whole(crs=None),
    "R12a": _in_degrees,
    "R13": lambda p: _write(p, "v.tif", _wind((4, 4)), _grid(p, -1, -1, 2000.0)) and None,
    "R14a": _fine(0.01),
    "R14b": _fine(0.03),
    "R14c": _fine(0.03, {"over_lot": "governing"}),
    "R14d": _fine(0.01, {"over_lot": "mean"}, hole=True),
    "R14e": _cover(lambda c: c, over_lot="mean"),
    "R15a": _beside(4000.0),
    "R15b": _beside(0.0),
    "R16a": _short("land_cover.tif", "land_cover", 30, {"classes": "classes.csv"}),
    "R16b": _short("elevation.tif", "elevation_ft", 200, {"units": "m"}),
    "R17": _cut_short,
    "R18a": _cells(lambda v: v.astype("uint8")),
    "R18b": _cover(lambda c: np.where(c == 41, 41.5, c).astype("float32")),
    "R18c": _cover(lambda c: c.astype("float32")),
    "R18d": lambda p: _write(p, "e.tif", np.arange(1600, dtype="int16").reshape(40, 40), _grid(p), "elevation_ft")
    and None,
    "R19": _scaled,
    "R20a": _picture("rgb"),
    "R20b": _picture("palette"),
    "R20c": _picture("png"),
    "R21a": _vrt("", size=2_000_000, data="Float64"),
    "R21b": _too_fine,
    "R21c": _one_block,
    "R22b": lambda p: (
        _vrt(_source("tile.tif", resampling="bilinear"))(p),
        p.changes.update(
            {f"hazards.{WIND}": {"value": 115.0}, "hazards.exposure": None, "hazards.land_cover": {"file": "v.vrt"}}
        ),
    )[0],
    "R23": _cover(lambda c: np.where((np.arange(c.size) % 40 == 0).reshape(c.shape), 200, c).astype("uint8")),
    "R24a": _cover(lambda c: (c // 10).astype("uint8")),
    "R24b": _cover(lambda c: c, aux=LEGEND),
    "R25a": _tiles(crs="EPSG:26912", grid=_other_system),
    "R25b": _tiles(grid=lambda p: _grid(p, CELLS // 4, 0, 2 * CELL_M)),
    "R25c": _tiles(grid=lambda p: _grid(p, CELLS // 2) @ Affine.translation(0.4, 0.0)),
    "R25d": _tiles(lambda v: v * np.float32(0.44704), unit=("mph", "m/s")),
    "R25e": _tiles(unit=("m/s", "")),
    "R25f": _tiles(lambda v: v + 2, overlap=3),
    "R25g": _tiles(lambda v: v + np.float32(0.25), overlap=3),
    "R27a": _elevation(_same, name="city_dsm.tif"),
    "R27b": _elevation(_same, model="surface"),
    "R27c": _elevation(_same),
    "R28a": _elevation(_near_first_lot(3047.0, 1)),
    "R28b": _elevation(_near_first_lot(0.0, 12)),
    "R30a": _named("https://127.0.0.1:9/v.tif"),
    "R30b": _named("/vsicurl/http://127.0.0.1:9/v.tif"),
    "R30c": _loop,
    "R30d": _vrt(_source("../tile.tif"), outside=True),
    "R30e": _vrt(_source("/vsicurl/https://127.0.0.1:9/t.tif")),
    "R30f": _vrt('<SimpleSource SourceFilename="/vsicurl/http://127.0.0.1:9/t.tif"><SourceBand>1</SourceBand></SimpleSource>'),
    "R30g": _vrt(_source("tile.tif"), before="<!DOCTYPE a>"),
    "R30h": _mask_elsewhere,
    "R31a": _sidecar(NODATA_BESIDE),
    "R31b": _sidecar(ENTITIES),
    "R32": _whole(top=-20.0),
    "R33a": _cells(lambda v: np.full_like(v, 115.5)),
    "R33b": _cover(lambda c: np.full_like(c, 41)),
}  # fmt: skip
"""Row id -> what is done to a good project."""


@pytest.mark.parametrize("case", rows_to_do("R"))
def test_the_row_holds(case: Case, tmp_path: Path) -> None:
    run_case(case, DAMAGES[case.id], tmp_path)


def test_every_damage_has_its_row() -> None:
    assert set(DAMAGES) == {c.id for c in cases("R") if not c.test}
