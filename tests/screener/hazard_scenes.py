"""Invented scenes written as files: ground cover, ground height and lots, turned or mirrored as a whole.

A ground is a function of true feet east and north of the point 0, 0 of LOCAL, as in the `hazard` tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine

from screener.config import HazardProject, load_hazard_project
from screener.hazard_product import HazardResults, hazards_alone
from tests.hazard.exposure_grounds import FT, LOCAL, codes_of

Ground = Callable[[np.ndarray, np.ndarray], np.ndarray]
COVER_FT, HEIGHT_FT = 7500.0, 14_600.0
SEISMIC = "ss_g = { value = 0.3 }\ns1_g = { value = 0.1 }\n"
LIKE_THE_SCENE = """
[tract]
name = "Scene (invented)"
{tract}
[lots]
file = "lots.gpkg"
{ground}
[hazards]
wind_speed_mph = {{ value = 115 }}
{hazards}
{more}
"""


def turned(ground: Ground, steps: float) -> Ground:
    """The ground turned clockwise by steps of 22.5 degrees."""
    c, s = math.cos(math.radians(22.5 * steps)), math.sin(math.radians(22.5 * steps))
    return lambda east, north: ground(c * east - s * north, s * east + c * north)


def turned_points(points_ft: np.ndarray, steps: float) -> np.ndarray:
    c, s = math.cos(math.radians(22.5 * steps)), math.sin(math.radians(22.5 * steps))
    return np.column_stack([c * points_ft[:, 0] + s * points_ft[:, 1], -s * points_ft[:, 0] + c * points_ft[:, 1]])


def mirrored(ground: Ground) -> Ground:
    """East and west exchanged."""
    return lambda east, north: ground(-east, north)


def level(value: float = 0.0) -> Ground:
    return lambda east, north: np.full(east.shape, value)


def letter(name: str) -> Ground:
    return lambda east, north: np.full(east.shape, name)


def write_raster(path: Path, ground: Ground, cell_m: float, reach_ft: float, classes: bool = False) -> None:
    """A raster of a ground around 0, 0; land cover as class codes, heights in ft."""
    half = math.ceil(reach_ft * FT / cell_m)
    along = (np.arange(2 * half) + 0.5) * cell_m - half * cell_m
    east, north = np.meshgrid(along / FT, -along / FT)
    values = ground(east, north)
    data = codes_of(values).astype("uint8") if classes else np.asarray(values, dtype="float32")
    transform = Affine(cell_m, 0.0, -half * cell_m, 0.0, -cell_m, half * cell_m)
    nodata: dict[str, Any] = {} if classes else {"nodata": -9999.0}
    with rasterio.open(
        path, "w", driver="GTiff", height=2 * half, width=2 * half, count=1, dtype=data.dtype, crs=LOCAL.to_wkt(),
        transform=transform, **nodata,
    ) as target:  # fmt: skip
        target.write(np.where(np.isnan(data), -9999.0, data) if not classes else data, 1)


def write_lots(folder: Path, points_ft: np.ndarray, **columns: Any) -> None:
    """Square lots of 60 ft about points, A-01, A-02 and so on."""
    at = np.asarray(points_ft, dtype=float).reshape(-1, 2) * FT
    half = 30.0 * FT
    shapes = [shapely.box(x - half, y - half, x + half, y + half) for x, y in at]
    ids = [f"A-{n + 1:02d}" for n in range(len(at))]
    gpd.GeoDataFrame({"lot_id": ids, **columns}, geometry=shapes, crs=LOCAL.to_wkt()).to_file(
        folder / "lots.gpkg", layer="lots"
    )


def scene(
    folder: Path,
    points_ft: Any,
    cover: Ground | None = None,
    heights: Ground | None = None,
    *,
    cell_m: float = 30.0,
    height_cell_m: float = 10.0,
    cover_ft: float = COVER_FT,
    heights_ft: float = HEIGHT_FT,
    tract: str = "",
    hazards: str = SEISMIC,
    ground: str = "",
    more: str = "",
    columns: dict[str, Any] | None = None,
) -> HazardProject:
    """A project of one scene, without plans, hardware or purchase. No cover: exposure C; no heights: Kzt 1."""
    folder.mkdir(parents=True, exist_ok=True)
    write_lots(folder, points_ft, **(columns or {}))
    if cover is not None:
        write_raster(folder / "land_cover.tif", cover, cell_m, cover_ft, classes=True)
        hazards += 'land_cover = { file = "land_cover.tif" }\n'
    elif "exposure" not in hazards:
        hazards += 'exposure = { value = "C" }\n'
    if heights is not None:
        write_raster(folder / "elevation.tif", heights, height_cell_m, heights_ft)
        hazards += 'elevation_ft = { file = "elevation.tif", units = "ft" }\n'
    elif "kzt" not in hazards:
        hazards += "kzt = { value = 1.0 }\n"
    text = LIKE_THE_SCENE.format(tract=tract, hazards=hazards, ground=ground, more=more)
    (folder / "tract.toml").write_text(text, encoding="utf-8")
    return load_hazard_project(folder / "tract.toml")


def screened(folder: Path, points_ft: Any, *grounds: Any, height_ft: float = 25.0, **options: Any) -> HazardResults:
    """The hazards of a scene."""
    return hazards_alone(scene(folder, points_ft, *grounds, **options), height_ft=height_ft)


def kzt_matrix(results: HazardResults) -> np.ndarray:
    """(n, 16) as shown, two decimals; "?" is NaN."""
    rows = [[np.nan if t == "?" else float(t) for t in text.split()] for text in results.lots["kzt_by_direction"]]
    return np.array(rows)


def codes(results: HazardResults, lot_id: str) -> set[str]:
    """Exceptions of one lot."""
    rows = results.exceptions
    return set(rows.loc[rows["lot_id"] == lot_id, "reason"])
