"""A small invented scene that can be turned by quarter turns and mirrored: lots, streets' bearings, ground and cover.

Everything is drawn around the point 0, 0 of a local system in true metres. Rasters are square with that point on a
corner of four cells, so a quarter turn or a mirror moves whole cells onto whole cells.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from rasterio.transform import from_origin
from tract_helpers import NOTHING, write_tract

LOCAL = "+proj=tmerc +lat_0=40 +lon_0=-120.5 +k=1 +x_0=0 +y_0=0 +datum=NAD83 +units=m +type=crs"
Ground = Callable[[np.ndarray, np.ndarray], np.ndarray]  # metres east and north -> elevation (m) or class
ELEVATION = (20.0, 460)  # cell (m), cells
COVER = (30.0, 170)
TOWN, GRASS, WATER = 22, 71, 11

# id -> middle (m), bearing of the front, plan, style, options, mirrored
LOTS: Mapping[str, tuple[float, float, float, str, str, str, bool]] = {
    "S-1": (-261.7, 41.3, 0.0, "thimble", "B", "", False),
    "S-2": (-88.3, 108.7, 90.0, "thimble", "B", "", True),
    "S-3": (21.1, -163.1, 180.0, "anvil", "A", "", False),
    "S-4": (151.3, -58.9, 270.0, "anvil", "A", "", True),
    "S-5": (261.7, 163.1, 0.0, "kettle", "A", "", False),
}
RECTANGLE_M = (22.0, 40.0)


def hills(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """A ridge across the north-east and a round hill in the west: no axis of symmetry."""
    along = (east - north) / np.sqrt(2.0)
    ridge = 30.0 * np.exp(-(((along - 130.0) / 140.0) ** 2))
    hill = 26.0 * np.exp(-((east + 290.0) ** 2 + (north - 60.0) ** 2) / (2.0 * 130.0**2))
    return 300.0 + ridge + hill


def patchwork(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Town, a wide meadow to the west and a lake in the south-east."""
    codes = np.full(east.shape, TOWN)
    codes = np.where((east < -420.0) & (north > -300.0), GRASS, codes)
    return np.where((east > 250.0) & (north < -160.0), WATER, codes)


def write_raster(file: Path, values: np.ndarray, cell_m: float, unit: str = "", crs: str = LOCAL) -> None:
    half = values.shape[0] * cell_m / 2.0
    with rasterio.open(
        file,
        "w",
        driver="GTiff",
        height=values.shape[0],
        width=values.shape[1],
        count=1,
        dtype=values.dtype,
        crs=crs,
        transform=from_origin(-half, half, cell_m, cell_m),
    ) as target:
        target.write(values, 1)
        if unit:
            target.units = (unit,)


def drawn(ground: Ground, cell_m: float, cells: int) -> np.ndarray:
    along = (np.arange(cells) + 0.5 - cells / 2.0) * cell_m
    return ground(*np.meshgrid(along, -along))


def lots(quarter_turns: int = 0, mirror: bool = False, table: Mapping[str, Any] = LOTS) -> gpd.GeoDataFrame:
    """The lots, the scene mirrored east-west first where asked, then turned clockwise."""
    rows, shapes = [], []
    for name, (x, y, bearing, plan, style, options, mirrored) in table.items():
        wide, deep = RECTANGLE_M if bearing % 180.0 == 0.0 else RECTANGLE_M[::-1]
        shape = shapely.box(x - wide / 2, y - deep / 2, x + wide / 2, y + deep / 2)
        matrix = np.array([[-1.0, 0.0], [0.0, 1.0]]) if mirror else np.eye(2)
        for _ in range(quarter_turns):
            matrix = np.array([[0.0, 1.0], [-1.0, 0.0]]) @ matrix
        shapes.append(shapely.transform(shape, lambda xy, m=matrix: xy @ m.T))
        rows.append(
            {
                "lot_id": name,
                "phase": "1",
                "plan": plan,
                "style": style,
                "options": options,
                "mirrored": mirrored != mirror,
                "front_bearing_deg": ((-bearing if mirror else bearing) + 90.0 * quarter_turns) % 360.0,
            }
        )
    return gpd.GeoDataFrame(rows, geometry=shapes, crs=LOCAL)


def write_scene(
    folder: Path,
    quarter_turns: int = 0,
    mirror: bool = False,
    elevation: Ground = hills,
    cover: Ground = patchwork,
    changes: Mapping[str, Any] = NOTHING,
    table: Mapping[str, Any] = LOTS,
) -> Path:
    """The scene as a project in a folder; the path of its file."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, ground, (cell, cells), kind, unit in (
        ("elevation.tif", elevation, ELEVATION, np.float64, "m"),
        ("cover.tif", cover, COVER, np.uint8, ""),
    ):
        values = drawn(ground, cell, cells)
        values = np.fliplr(values) if mirror else values
        write_raster(folder / name, np.rot90(values, -quarter_turns).astype(kind), cell, unit)
    given = {
        "ground": {},
        "tiers.most": 1,
        "hazards.wind_speed_mph": {"value": 115.0},
        "hazards.elevation_ft": {"file": "elevation.tif", "units": "m"},
        "hazards.land_cover": {"file": "cover.tif"},
        "hazards.ss_g": {"value": 0.62},
        "hazards.s1_g": {"value": 0.18},
        **changes,
    }
    return write_tract(folder, lots(quarter_turns, mirror, table), given)
