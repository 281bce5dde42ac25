"""Writes an invented portfolio of any size: lots in tracts in metros, hazard rasters, plans, hardware, project files.

    python -m tests.benchmarks.scale.make_portfolio FOLDER --lots 100000

Nothing here is real: ground, lots, speeds and spectral values follow from closed-form rules and a fixed noise.

* A tract is 100 lots of 65 x 125 ft in four rows, turned by an angle of its own.
* A metro is 400 tracts, 1 km apart, so 40,000 lots in a window of 20 km: neighbours share the windows of the rasters,
  as the lots of one builder around one city do. Lots strewn over a country would read more raster a lot than this.
* Metros lie 160 km apart in rows of five: up to 25 of them (a million lots) over 640 km by 640 km, several states.
  A division is a row of metros. Every metro has the same mixture of ground, so that the cost a lot may be compared
  between sizes: a belt of hills every 5 km (three tenths of the ground), the rest gently rolling; 85 % of the land
  cover rough; one lake.
* Elevation at 10 m, land cover at 30 m, wind at 500 m, SS and S1 at 5 km: tiled, compressed GeoTIFF in US Albers, empty
  between the metros. Lots are GeoParquet in degrees, as parcel files of a nation are, 10,000 lots a row group.
* Twelve house designs: the five plans of the sample in twelve styles and options.

Written metro by metro: memory does not grow with the number of lots.
"""

from __future__ import annotations

import argparse
import json
import shutil
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pyproj
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.transform import from_origin
from rasterio.windows import Window

Floats = NDArray[np.float64]

SAMPLE = Path(__file__).parents[3] / "sample_data"
FOOT_M = 0.3048
MAP_CRS, LOTS_CRS = "EPSG:5070", "EPSG:4269"  # both NAD83: no change of datum enters
WEST_M, SOUTH_M = -400_000.0, 1_300_000.0
LOTS_A_TRACT, TRACTS_ACROSS, PITCH_M = 100, 20, 1000.0
TRACTS_A_METRO = TRACTS_ACROSS**2
METRO_M, METRO_PITCH_M, METROS_A_ROW = TRACTS_ACROSS * PITCH_M, 160_000.0, 5
LOTS_A_METRO = LOTS_A_TRACT * TRACTS_A_METRO
MOST_LOTS = LOTS_A_METRO * METROS_A_ROW**2
REACH_M = 13_860.0 * FOOT_M + 600.0  # of the terrain search (two miles upwind, the downwind part), and a margin
LOT_WIDE_M, LOT_DEEP_M, STREET_M = 65.0 * FOOT_M, 125.0 * FOOT_M, 50.0 * FOOT_M
ELEVATION_M, COVER_M, WIND_M, SPECTRAL_M = 10.0, 30.0, 500.0, 5000.0
ROW_GROUP_TRACTS = 100
BELT_M = 5000.0  # from one belt of hills to the next
VERSION = 4  # of the rules below: another one makes a cached portfolio anew

DESIGNS = (
    ("thimble", "A", ""),
    ("thimble", "B", ""),
    ("thimble", "C", "patio"),
    ("kettle", "A", ""),
    ("kettle", "B", "tile"),
    ("lantern", "A", ""),
    ("lantern", "B", "patio"),
    ("lantern", "C", ""),
    ("anvil", "A", ""),
    ("anvil", "B", "third_bay"),
    ("ladder", "A", ""),
    ("ladder", "B", "bonus"),
)


@dataclass(frozen=True)
class Metro:
    """One metro: its number and the south-west corner of its window of tracts, metres of the map."""

    number: int

    @property
    def west_m(self) -> float:
        return WEST_M + METRO_PITCH_M * (self.number % METROS_A_ROW)

    @property
    def south_m(self) -> float:
        return SOUTH_M + METRO_PITCH_M * (self.number // METROS_A_ROW)

    @property
    def division(self) -> str:
        return f"Division {self.number // METROS_A_ROW + 1}"

    @property
    def name(self) -> str:
        return f"M{self.number + 1:02d}"


def metros_for(lots: int) -> list[Metro]:
    return [Metro(k) for k in range(-(-lots // LOTS_A_METRO))]


# --- lots -----------------------------------------------------------------------------------------------------------


def tract_lots(metro: Metro, tract: int) -> tuple[Floats, Floats]:
    """Corners (100, 5, 2) of a tract's lots on the map, and the bearings (100,) their fronts face."""
    turn = np.radians(7.0 * (tract % 13) - 42.0)
    row, column = np.divmod(np.arange(LOTS_A_TRACT), 25)
    x = (column - 12.5) * LOT_WIDE_M
    # rows 0 and 1 face one street, 2 and 3 another: backs meet in the middle
    y = np.array([0.0, LOT_DEEP_M + STREET_M, 2 * LOT_DEEP_M + STREET_M, 3 * LOT_DEEP_M + 2 * STREET_M])[row]
    y = y - 2.0 * (LOT_DEEP_M + STREET_M / 2.0)
    faces = np.where(row % 2 == 0, 0.0, 180.0)
    ring = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]) * [LOT_WIDE_M, LOT_DEEP_M]
    own = np.stack([x, y], axis=1)[:, None, :] + ring
    cos, sin = np.cos(turn), np.sin(turn)
    turned = np.stack([own[..., 0] * cos - own[..., 1] * sin, own[..., 0] * sin + own[..., 1] * cos], axis=-1)
    across, up = tract % TRACTS_ACROSS, tract // TRACTS_ACROSS
    middle = [metro.west_m + (across + 0.5) * PITCH_M, metro.south_m + (up + 0.5) * PITCH_M]
    return turned + middle, np.round((faces - np.degrees(turn)) % 360.0, 1)


def fraction(offset: float, step: float, k: NDArray[np.int64]) -> Floats:
    """An evenly spread number in [0, 1) for each k."""
    return np.asarray((offset + step * k) % 1.0)


def lot_batch(metro: Metro, tracts: range, to_degrees: pyproj.Transformer, first: int) -> pa.Table:
    """Some tracts of a metro as rows of the lots file; ``first`` is the number of the first lot of all."""
    corners, bearings = zip(*(tract_lots(metro, t) for t in tracts), strict=True)
    xy = np.concatenate(corners)
    n = len(xy)
    lon, lat = to_degrees.transform(xy[..., 0].ravel(), xy[..., 1].ravel())
    shapes = shapely.polygons(np.stack([lon, lat], axis=1).reshape(n, 5, 2))
    k = np.arange(first, first + n)
    design = np.floor(fraction(0.5, 0.61803398875, k) * len(DESIGNS)).astype(np.int64)
    plan, style, options = (np.array(column)[design] for column in zip(*DESIGNS, strict=True))
    number = np.tile(np.arange(1, LOTS_A_TRACT + 1), len(tracts))
    bounds = shapely.bounds(shapes)
    return pa.table(
        {
            "division": pa.array([metro.division] * n).dictionary_encode(),
            "tract": pa.array(
                np.repeat([f"{metro.name}-{t + 1:03d}" for t in tracts], LOTS_A_TRACT)
            ).dictionary_encode(),
            "lot_id": pa.array([f"{'ABCD'[(i - 1) // 25]}-{(i - 1) % 25 + 1:02d}" for i in number]),
            "phase": pa.array(np.where(number <= 50, "1", "2")),
            "plan": pa.array(plan).dictionary_encode(),
            "style": pa.array(style).dictionary_encode(),
            "options": pa.array(options).dictionary_encode(),
            "mirrored": pa.array(k % 2 == 0),
            "front_bearing_deg": pa.array(np.concatenate(bearings)),
            "geometry": pa.array(shapely.to_wkb(shapes), type=pa.binary()),
            "bbox": pa.StructArray.from_arrays(list(bounds.T.copy()), names=["xmin", "ymin", "xmax", "ymax"]),
        }
    )


def write_lots(file: Path, lots: int) -> None:
    """The GeoParquet file, one row group for a hundred tracts (the last tract of all may be cut short)."""
    to_degrees = pyproj.Transformer.from_crs(MAP_CRS, LOTS_CRS, always_xy=True)
    writer, first = None, 0
    for metro in metros_for(lots):
        for start in range(0, TRACTS_A_METRO, ROW_GROUP_TRACTS):
            needed = min(ROW_GROUP_TRACTS, -(-(lots - first) // LOTS_A_TRACT))
            if needed <= 0:
                break
            table = lot_batch(metro, range(start, start + needed), to_degrees, first).slice(0, lots - first)
            if writer is None:
                schema = table.schema.with_metadata({"geo": json.dumps(geo_metadata())})
                writer = pq.ParquetWriter(file, schema, compression="zstd")
            writer.write_table(table.cast(writer.schema), row_group_size=LOTS_A_TRACT * ROW_GROUP_TRACTS)
            first += len(table)
    if writer is not None:
        writer.close()


def geo_metadata() -> dict[str, Any]:
    """What GeoParquet 1.1 asks for: encoding, coordinate system, and where the boxes of the rows are."""
    box = {"bbox": {name: ["bbox", name] for name in ("xmin", "ymin", "xmax", "ymax")}}
    column = {
        "encoding": "WKB",
        "geometry_types": ["Polygon"],
        "crs": pyproj.CRS(LOTS_CRS).to_json_dict(),
        "covering": box,
    }
    return {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}


# --- ground ---------------------------------------------------------------------------------------------------------


def elevation_m(metro: Metro, x: Floats, y: Floats) -> NDArray[np.float32]:
    """Ground (rows y, columns x; metres from the metro's corner): rolling, with a belt of hills every 5 km."""
    phase = 1.7 * metro.number
    rolling = [(3.0, 6100.0, 900.0), (4.0, 2300.0, -2900.0), (2.0, 1500.0, 1900.0)]  # amplitude, wave lengths in x, y
    hills = [(14.0, 950.0, 2400.0), (11.0, 2600.0, -1050.0), (6.0, 700.0, 800.0)]
    ground = np.full((len(y), len(x)), 210.0) + 0.0008 * x[None, :]
    ground += waves(rolling, x, y, phase)
    share = np.clip(np.abs((x % BELT_M) / BELT_M - 0.5) * 10.0 - 3.0, 0.0, 1.0)
    share = share * share * (3.0 - 2.0 * share)
    ground += waves(hills, x, y, 0.6 * phase) * share[None, :]
    noise = np.random.default_rng(metro.number).normal(0.0, 0.08, ground.shape)
    return np.round(ground + noise, 2).astype(np.float32)


def waves(parts: list[tuple[float, float, float]], x: Floats, y: Floats, phase: float) -> Floats:
    """Sum of plane waves, each as two products of a row and a column."""
    total = np.zeros((len(y), len(x)))
    for k, (amplitude, in_x, in_y) in enumerate(parts):
        a, b = 2.0 * np.pi * x / in_x + phase + k, 2.0 * np.pi * y / in_y
        total += amplitude * (np.outer(np.cos(b), np.sin(a)) + np.outer(np.sin(b), np.cos(a)))
    return total


def cover(metro: Metro, x: Floats, y: Floats) -> NDArray[np.uint8]:
    """Classes in patches of 500 by 700 m: town and woods, meadows and fields between them, one lake."""
    i = np.floor(x / 500.0).astype(np.int64)[None, :] + 31 * metro.number
    j = np.floor(y / 700.0).astype(np.int64)[:, None]
    mixed = ((i * 73_856_093) ^ (j * 19_349_663)) % 100
    made = np.select([mixed < 50, mixed < 70, mixed < 85, mixed < 95], [22, 23, 41, 71], 21).astype(np.uint8)
    lake = (np.abs(y + 1200.0) < 1360.0)[:, None] & (np.abs(x - 7000.0) < 2000.0)[None, :]
    made[lake] = 11
    return made


def write_local(file: Path, metros: list[Metro], cell_m: float, make: Any, kind: str, nodata: float, unit: str) -> None:
    """A raster that has cells around the metros only, window by window."""
    low_x, low_y = min(m.west_m for m in metros) - REACH_M, min(m.south_m for m in metros) - REACH_M
    high_x, high_y = (max(getattr(m, side) for m in metros) + METRO_M + REACH_M for side in ("west_m", "south_m"))
    low_x, low_y = np.floor(low_x / 2560.0) * 2560.0, np.floor(low_y / 2560.0) * 2560.0
    columns, rows = int(np.ceil((high_x - low_x) / cell_m)), int(np.ceil((high_y - low_y) / cell_m))
    top = low_y + rows * cell_m
    profile = {
        "driver": "GTiff", "width": columns, "height": rows, "count": 1, "dtype": kind, "crs": MAP_CRS,
        "nodata": nodata, "transform": from_origin(low_x, top, cell_m, cell_m), "tiled": True, "blockxsize": 256,
        "blockysize": 256,
        "compress": "deflate", "zlevel": 6, "predictor": 3 if kind == "float32" else 1, "SPARSE_OK": "TRUE",
        "BIGTIFF": "YES",
    }  # fmt: skip
    with rasterio.open(file, "w", **profile) as target:
        target.update_tags(TIFFTAG_IMAGEDESCRIPTION="invented, for a benchmark")
        if unit:
            target.units = (unit,)
        for metro in metros:
            left = int((metro.west_m - REACH_M - low_x) / cell_m)
            right = min(columns, int(np.ceil((metro.west_m + METRO_M + REACH_M - low_x) / cell_m)))
            upper = int((top - metro.south_m - METRO_M - REACH_M) / cell_m)
            lower = min(rows, int(np.ceil((top - metro.south_m + REACH_M) / cell_m)))
            x = low_x + (np.arange(left, right) + 0.5) * cell_m - metro.west_m
            y = top - (np.arange(upper, lower) + 0.5) * cell_m - metro.south_m
            target.write(make(metro, x, y), 1, window=Window(left, upper, right - left, lower - upper))


def write_wide(file: Path, metros: list[Metro], cell_m: float, make: Any, unit: str) -> None:
    """A smooth raster over everything."""
    low_x, low_y = min(m.west_m for m in metros) - 20_000.0, min(m.south_m for m in metros) - 20_000.0
    high_x, high_y = (max(getattr(m, side) for m in metros) + METRO_M + 20_000.0 for side in ("west_m", "south_m"))
    columns, rows = int(np.ceil((high_x - low_x) / cell_m)), int(np.ceil((high_y - low_y) / cell_m))
    top = low_y + rows * cell_m
    x, y = low_x + (np.arange(columns) + 0.5) * cell_m, top - (np.arange(rows) + 0.5) * cell_m
    values = make((x - WEST_M)[None, :], (y - SOUTH_M)[:, None]).astype(np.float32)
    profile = {
        "driver": "GTiff", "width": columns, "height": rows, "count": 1, "dtype": "float32", "crs": MAP_CRS,
        "nodata": -9999.0, "transform": from_origin(low_x, top, cell_m, cell_m), "tiled": True, "blockxsize": 256,
        "blockysize": 256, "compress": "deflate", "predictor": 3,
    }  # fmt: skip
    with rasterio.open(file, "w", **profile) as target:
        target.update_tags(TIFFTAG_IMAGEDESCRIPTION="invented, for a benchmark")
        target.units = (unit,)
        target.write(values, 1)


def wind_mph(x: Floats, y: Floats) -> Floats:
    """105 to 128 mph, rising to the south-east, with a slow wave so that neighbours differ."""
    return 105.0 + 14.0 * x / 660_000.0 + 6.0 * (1.0 - y / 660_000.0) + 1.5 * np.sin(x / 9_000.0) * np.cos(y / 11_000.0)


def ss_g(x: Floats, y: Floats) -> Floats:
    return 0.28 + 0.22 * np.sin(x / 170_000.0) * np.cos(y / 130_000.0) + 0.06 * np.sin(x / 23_000.0)


def s1_g(x: Floats, y: Floats) -> Floats:
    return 0.36 * ss_g(x, y)


# --- project files --------------------------------------------------------------------------------------------------

PROJECT = """# Invented, for a benchmark.
[tract]
name = "benchmark (invented)"

[design]
loads = "ASCE 7-16"
method = "ASD"
wind_procedure = "envelope"

[lots]
file = "lots.gpkg"
layer = "lots"

[hazards]
wind_speed_mph = { file = "wind.tif", units = "mph" }
land_cover = { file = "cover.tif", classes = "classes.csv" }
elevation_ft = { file = "elevation.tif", units = "m" }
ss_g = { file = "ss.tif" }
s1_g = { file = "s1.tif" }
site_class = { value = "D" }
ground_snow_psf = { value = 15 }

[plans]
folder = "plans"

[hardware]
file = "hardware.csv"

[tiers]
most = 4

[purchase]
waste = 0.05
labour_usd_per_h = 58
order_level = "phase"

[output]
folder = "results"
"""

PORTFOLIO = """# Invented, for a benchmark.
name = "benchmark (invented)"
base = "tract.toml"

[lots]
file = "lots.parquet"
tract_column = "tract"
division_column = "division"

[packages]
per = "division"
most = 4

[output]
folder = "results"
"""


def make(folder: Path, lots: int) -> Path:
    """The portfolio of so many lots in ``folder``, made unless it is there already; its portfolio file."""
    if not 1 <= lots <= MOST_LOTS:
        raise ValueError(f"{lots:,} lots; expected 1 to {MOST_LOTS:,}")
    portfolio, stamp = folder / "portfolio.toml", {"lots": lots, "version": VERSION}
    done = folder / "made.json"
    if done.exists() and json.loads(done.read_text(encoding="utf-8")) == stamp:
        return portfolio
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    metros = metros_for(lots)
    write_lots(folder / "lots.parquet", lots)
    write_local(folder / "elevation.tif", metros, ELEVATION_M, elevation_m, "float32", -9999.0, "m")
    write_local(folder / "cover.tif", metros, COVER_M, cover, "uint8", 0, "")
    write_wide(folder / "wind.tif", metros, WIND_M, wind_mph, "mph")
    write_wide(folder / "ss.tif", metros, SPECTRAL_M, ss_g, "g")
    write_wide(folder / "s1.tif", metros, SPECTRAL_M, s1_g, "g")
    shutil.copytree(SAMPLE / "plans", folder / "plans")
    for name in ("hardware.csv", "classes.csv"):
        shutil.copy(SAMPLE / name, folder / name)
    (folder / "tract.toml").write_text(PROJECT, encoding="utf-8")
    portfolio.write_text(PORTFOLIO, encoding="utf-8")
    done.write_text(json.dumps(stamp), encoding="utf-8")
    return portfolio


def size_mb(folder: Path) -> float:
    return sum(f.stat().st_size for f in folder.rglob("*") if f.is_file()) / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--lots", type=int, default=100_000)
    options = parser.parse_args()
    start = time.perf_counter()
    file = make(options.folder, options.lots)
    print(f"{file}: {options.lots:,} lots, {size_mb(options.folder):,.0f} MB, {time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
