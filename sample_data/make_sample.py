"""Writes the sample tract 'Pennywort Rise'. Tract, ground, hazards, plans, people and prices are all invented.

    python sample_data/make_sample.py [FOLDER]

Everything follows from closed-form rules and two irrational numbers: no random generator, no clock, no network, so the
same libraries give the same bytes. Lengths below are feet in the tract's own axes (x east, y north, origin at the
south-west corner) unless a name says otherwise.

The corner is put at E 500,000 N 4,200,000 m of EPSG:26913 (NAD83 / UTM zone 13N), a synthetic origin. Those coordinates
fall on real ground that has nothing to do with the tract: use them with the rasters written here and with no others.
Civil drawings are made at ground scale and the map grid is not: at this origin, on the zone's central meridian, a
ground metre is 0.9996 m of grid. Coordinates are scaled by it, so true distances between them are those of the drawing.
"""

from __future__ import annotations

import csv
import io
import sys
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import rasterio
import shapely
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.transform import Affine, from_origin, rowcol
from shapely.geometry import LineString, Polygon, box

Floats = NDArray[np.float64]

NOTE = "Pennywort Rise: an invented tract. Not real ground, not a real design; only for trying the tool."
CRS = "EPSG:26913"
GEOGRAPHIC_CRS = "EPSG:4269"  # NAD83 too, so that no change of datum enters
ORIGIN_E_M, ORIGIN_N_M = 500_000.0, 4_200_000.0
GRID_SCALE = 0.9996  # scale of the UTM grid on its central meridian
FOOT_M = 0.3048
SURVEY_FOOT_M = 1200.0 / 3937.0

TRACT = (0.0, 0.0, 3260.0, 860.0)
ROWS = {"A": (60.0, 185.0, 0.0), "B": (235.0, 360.0, 180.0), "C": (380.0, 505.0, 0.0), "D": (555.0, 680.0, 180.0)}
GROUPS = ((80.0, 12, "2"), (930.0, 12, "1"), (1780.0, 12, "3"), (2630.0, 9, "4"))  # first x, lots a row, phase
LOT_WIDTH, END_LOT_WIDTH = 65.0, 75.0
PHASES = {"1": (905.0, 1755.0), "2": (55.0, 905.0), "3": (1755.0, 2605.0), "4": (2605.0, 3260.0)}  # in building order
SETBACKS = {"front_setback_ft": 20.0, "rear_setback_ft": 15.0, "side_setback_ft": 5.0, "street_side_setback_ft": 15.0}

BASE_FT, CREST_X, RIDGE_H, RIDGE_LH = 812.0, 2180.0, 75.0, 330.0
WATER = (3560.0, -1800.0, 11000.0, 3200.0)
GREENBELT = (3260.0, -1800.0, 3560.0, 3200.0)
FARM_EAST_EDGE, NORTH_EDGE = 900.0, 860.0

PLAN_MIX = {"thimble": 0.22, "lantern": 0.26, "kettle": 0.18, "anvil": 0.20, "ladder": 0.14}  # in drawing order
PLAN_COUNTS = {"thimble": 40, "lantern": 47, "kettle": 32, "anvil": 36, "ladder": 25}
STYLE_COUNTS = {"A": 71, "B": 63, "C": 46}
MEAN_ROOF_HEIGHT_FT = {"thimble": 15.0, "kettle": 16.0, "lantern": 24.0, "anvil": 24.0, "ladder": 19.0}
WIDTH_FT = {"thimble": 40.0, "kettle": 45.0, "lantern": 36.0, "anvil": 42.0, "ladder": 45.0}
THIRD_BAY_FT = 10.0
DEFECTIVE_NARROW_FT = 30.0

FIRST_MONTH = (2026, 3)  # month 1 of the schedule; the snapshot is the end of month 8
START_DAYS = (3, 9, 15, 21, 27)  # five starts a month
STATUS_RUNS = {
    "1": (("closed", 8), ("building", 26), ("foundation", 6), ("sold", 5), ("spec", 3)),
    "2": (("sold", 8), ("spec", 6), ("open", 34)),
    "3": (("open", 48),),
    "4": (("open", 36),),
}
DECIDED = ("closed", "building", "foundation", "sold", "spec")
RELEASED = ("closed", "building", "foundation")

WIND_MPH = 115.0
SDS_G, SD1_G = 0.54, 0.27
ELEVATION_REACH = 10_560.0 + 3_300.0  # two miles upwind, and the downwind part of a profile
LAND_COVER_REACH = 6_600.0
LAND_COVER_DATED, LAND_COVER_OLD = "2026:02:01 00:00:00", "2018:10:31 00:00:00"


def main() -> None:
    """Write the sample and its defective twin into a folder (default: the folder of this script)."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    make(folder)
    make_defective(folder, folder / "defective")


def make(folder: Path) -> None:
    """Write layers, rasters and the drawing of the good sample."""
    folder.mkdir(parents=True, exist_ok=True)
    lots = lot_table()
    check_counts(lots)
    write_layer(lots, folder / "lots.gpkg", "lots")
    write_layer(phase_table(), folder / "phases.gpkg", "phases")
    write_layer(street_table(), folder / "streets.gpkg", "streets")
    write_layer(water_table(), folder / "water.gpkg", "water")
    write_elevation(folder / "elevation.tif")
    write_land_cover(folder / "land_cover.tif", LAND_COVER_DATED)
    write_wind(folder / "wind_speed.tif")
    write_acceleration(folder / "ss.tif", "SS", short_period_ss())
    write_acceleration(folder / "s1.tif", "S1", one_second_s1())
    write_dxf(folder / "lots.dxf", drawing_rings(lots))


def make_defective(good: Path, folder: Path) -> None:
    """Write the damaged twins of the files that carry a planted defect; the rest is used from the good sample."""
    folder.mkdir(parents=True, exist_ok=True)
    write_layer(defective_lots(lot_table()), folder / "lots.gpkg", "lots")
    write_elevation(folder / "elevation.tif", void_at=(2400.0, 297.5))
    write_land_cover(folder / "land_cover.tif", LAND_COVER_OLD)
    rings = drawing_rings(lot_table())
    rings["A-1"] = rings.pop("A-01")  # the lot number stored as 1, not 01
    x, y = rings["A-03"][-1]
    rings["A-03"][-1] = (x + 0.3 * FOOT_M / SURVEY_FOOT_M, y)  # its last corner misses the first by 0.3 ft
    write_dxf(folder / "lots.dxf", rings)
    if (good / "hardware.csv").exists():
        (folder / "hardware.csv").write_text(without_source(good / "hardware.csv"), encoding="utf-8", newline="")


# --- coordinates ----------------------------------------------------------------------------------------------------


def to_grid(x_ft: float | Floats, y_ft: float | Floats) -> tuple[Floats, Floats]:
    """Tract feet to metres of the map grid."""
    scale = FOOT_M * GRID_SCALE
    return ORIGIN_E_M + np.asarray(x_ft) * scale, ORIGIN_N_M + np.asarray(y_ft) * scale


def to_tract(east_m: Floats, north_m: Floats) -> tuple[Floats, Floats]:
    """Metres of the map grid to tract feet."""
    scale = FOOT_M * GRID_SCALE
    return (east_m - ORIGIN_E_M) / scale, (north_m - ORIGIN_N_M) / scale


def on_grid(shape: shapely.Geometry) -> shapely.Geometry:
    """A shape in tract feet as a shape in the map grid."""
    return shapely.transform(shape, lambda xy: np.column_stack(to_grid(xy[:, 0], xy[:, 1])))


def ground_ft(x_ft: Floats) -> Floats:
    """Elevation in feet: a bell-shaped ridge along y on flat ground."""
    return BASE_FT + RIDGE_H / (1.0 + ((x_ft - CREST_X) / RIDGE_LH) ** 2)


# --- lots -----------------------------------------------------------------------------------------------------------


def lot_table() -> gpd.GeoDataFrame:
    """The 180 lots: geometry, schedule, status, and the plan drawn for each."""
    lots = pd.DataFrame(lot_rows())
    k = np.arange(1, len(lots) + 1)
    plan = drawn(0.5, 0.61803398875, k, PLAN_MIX)
    style = drawn(0.3, 0.41421356, k, {"A": 0.40, "B": 0.35, "C": 0.25})
    lots["plan"], lots["style"] = plan, style
    lots["options"] = option_lists(plan, k)
    lots["mirrored"] = k % 2 == 0
    lots = lots.join(schedule(lots["phase"]))
    x = (numbers(lots["x0"]) + numbers(lots["x1"])) / 2.0
    lots["pad_elevation_ft"] = ground_ft(x).round(1)
    decided = lots["status"].isin(DECIDED)
    for name in ("plan", "style", "options"):
        lots[f"{name}_chosen"] = lots[name].mask(~decided)
    lots["package_bought"] = pd.Series("as bought", index=lots.index).where(lots["status"].isin(RELEASED))
    for name, value in SETBACKS.items():
        lots[name] = value
    corners = (numbers(lots[name]) for name in ("x0", "y0", "x1", "y1"))
    shapes = [box(*rect) for rect in zip(*corners, strict=True)]
    lots["exposure_from_drawing"] = exposure_letters(shapes, built=False)
    lots["exposure_built_out_from_drawing"] = exposure_letters(shapes, built=True)
    lots["kzt_from_drawing"] = ridge_kzt(x, lots["plan"]).round(3)
    lots["note"] = "invented"
    columns = [
        "lot_id",
        "block",
        "phase",
        "status",
        "plan",
        "style",
        "options",
        "mirrored",
        "front_bearing_deg",
        "start",
    ]
    columns += ["pad_elevation_ft", *SETBACKS, "plan_chosen", "style_chosen", "options_chosen", "package_bought"]
    columns += ["exposure_from_drawing", "exposure_built_out_from_drawing", "kzt_from_drawing", "note"]
    return gpd.GeoDataFrame(lots[columns], geometry=[on_grid(s) for s in shapes], crs=CRS)


def numbers(column: pd.Series) -> Floats:
    """A column as plain numbers."""
    return np.asarray(column, dtype=np.float64)


def lot_rows() -> list[dict[str, object]]:
    """Name, place and front of each lot, row by row from the west."""
    rows: list[dict[str, object]] = []
    for block, (y0, y1, bearing) in ROWS.items():
        number = 0
        for first_x, count, phase in GROUPS:
            x = first_x
            for place in range(count):
                width = END_LOT_WIDTH if place in (0, count - 1) else LOT_WIDTH
                number += 1
                rows.append(
                    {
                        "lot_id": f"{block}-{number:02d}",
                        "block": block,
                        "phase": phase,
                        "x0": x,
                        "y0": y0,
                        "y1": y1,
                        "x1": x + width,
                        "front_bearing_deg": bearing,
                    }
                )
                x += width
    return rows


def fraction(offset: float, step: float, k: NDArray[np.int64]) -> Floats:
    """An evenly spread number in [0, 1) for each k: the fractional part of offset + step k."""
    return np.asarray((offset + step * k) % 1.0, dtype=np.float64)


def drawn(offset: float, step: float, k: NDArray[np.int64], shares: dict[str, float]) -> NDArray[np.str_]:
    """One name for each k, by shares that add up to 1."""
    edges = np.cumsum(list(shares.values()))[:-1]
    return np.array(list(shares))[np.searchsorted(edges, fraction(offset, step, k), side="right")]


def option_lists(plan: NDArray[np.str_], k: NDArray[np.int64]) -> list[str]:
    """Built options of each lot, separated by ';'. Every third bay fits: the widest house is 55 ft on 55 ft."""
    picks = {
        "patio": (fraction(0.6, 0.56984029, k) < 0.55) & (plan != "anvil"),
        "third_bay": fraction(0.1, 0.75487767, k) < 0.18,
        "bonus": (fraction(0.2, 0.81917251, k) < 0.30) & (plan == "ladder"),
        "tile": (fraction(0.4, 0.67104361, k) < 0.40) & (plan == "kettle"),
    }
    return [";".join(name for name, built in picks.items() if built[i]) for i in range(len(k))]


def schedule(phase: pd.Series) -> pd.DataFrame:
    """Start date and status at the end of month 8: phases in building order, five starts a month."""
    order = phase.map({name: i for i, name in enumerate(PHASES)}).to_numpy()
    rank = np.empty(len(phase), dtype=int)
    rank[np.argsort(order, kind="stable")] = np.arange(len(phase))
    runs = [status for name in PHASES for status, count in STATUS_RUNS[name] for _ in range(count)]
    month = FIRST_MONTH[1] - 1 + rank // len(START_DAYS)
    starts = [
        date(FIRST_MONTH[0] + m // 12, m % 12 + 1, START_DAYS[r % len(START_DAYS)])
        for m, r in zip(month, rank, strict=True)
    ]
    return pd.DataFrame({"start": pd.to_datetime(starts).astype("datetime64[ms]"), "status": [runs[r] for r in rank]})


def check_counts(lots: gpd.GeoDataFrame) -> None:
    """The counts that the rules must give; a change here changes the sample for every reader."""
    assert len(lots) == 180
    assert lots["plan"].value_counts().to_dict() == PLAN_COUNTS
    assert lots["style"].value_counts().to_dict() == STYLE_COUNTS
    assert lots["phase"].value_counts().to_dict() == {"1": 48, "2": 48, "3": 48, "4": 36}
    assert lots["status"].isin(RELEASED).sum() == 40
    assert lots["plan_chosen"].notna().sum() == 62
    same = (lots["plan"] == lots["plan"].shift()) & (lots["style"] == lots["style"].shift())
    assert not (same & (lots["block"] == lots["block"].shift())).any()
    months = lots["start"].dt.to_period("M").value_counts()
    assert len(months) == 36
    assert (months == 5).all()


# --- exposure and ridge worked from the drawing ---------------------------------------------------------------------


def rough_ground(built: bool) -> shapely.Geometry:
    """Woods, greenbelt and town, and the phases where built: roughness B."""
    far = 50_000.0
    woods = box(FARM_EAST_EDGE, NORTH_EDGE, far, far)
    east = box(GREENBELT[0], -far, far, NORTH_EDGE)
    town = shapely.union_all([box(-far, -far, TRACT[2], 0.0), box(-far, -far, 0.0, NORTH_EDGE)])
    rough = [woods, east, town] + ([box(lo, TRACT[1], hi, TRACT[3]) for lo, hi in PHASES.values()] if built else [])
    return shapely.union_all(rough).difference(box(*WATER))


def sector(x: float, y: float, start_deg: float, near: float, far: float) -> Polygon:
    """A 45 degree sector of compass bearings from start_deg, between two distances."""
    bearings = np.radians(np.linspace(start_deg, start_deg + 45.0, 46))
    sine, cosine = np.sin(bearings), np.cos(bearings)
    outer = np.column_stack([x + far * sine, y + far * cosine])
    inner = np.column_stack([x + near * sine, y + near * cosine])[::-1] if near > 0 else np.array([[x, y]])
    return Polygon(np.vstack([outer, inner]))


def exposure_letters(shapes: list[Polygon], built: bool) -> list[str]:
    """Exposure of the worst direction (ASCE 7-16 26.7.3, h <= 30 ft), by exact areas of the drawn regions.

    Choices of this script, not of the standard: B prevails where it covers at least 0.75 of the sector out to 1,500 ft;
    D where the nearest water of the sector lies within 600 ft and covers at least half of the next 5,000 ft.
    """
    rough, water = rough_ground(built), box(*WATER)
    letters = []
    for shape in shapes:
        x, y = shape.centroid.x, shape.centroid.y
        worst = "B"
        for start in np.arange(16) * 22.5:
            near = sector(x, y, start, 0.0, 1500.0)
            if rough.intersection(near).area < 0.75 * near.area:
                worst = max(worst, "C")
            reach = sector(x, y, start, 0.0, 600.0)
            if reach.intersects(water):
                d = float(shapely.Point(x, y).distance(reach.intersection(water)))
                ring = sector(x, y, start, d, d + 5000.0)
                if water.intersection(ring).area >= 0.5 * ring.area:
                    worst = "D"
        letters.append(worst)
    return letters


def ridge_kzt(x_ft: Floats, plan: pd.Series) -> Floats:
    """Kzt of ASCE 7-16 26.8 for the drawn ridge, wind across it, exposure C, at the plan's mean roof height.

    Two-dimensional ridge: K1 = 1.45 H/Lh, gamma = 3, mu = 1.5; upper half of the ridge only. Wind across the ridge is
    the worst here: a slanting wind lowers K1 by more than it raises K3.
    """
    off = np.abs(x_ft - CREST_X)
    k1 = 1.45 * RIDGE_H / RIDGE_LH
    k2 = np.maximum(0.0, 1.0 - off / (1.5 * RIDGE_LH))
    k3 = np.exp(-3.0 * numbers(plan.map(MEAN_ROOF_HEIGHT_FT)) / RIDGE_LH)
    return np.where(ground_ft(x_ft) - BASE_FT >= RIDGE_H / 2.0, (1.0 + k1 * k2 * k3) ** 2, 1.0)


# --- other layers ---------------------------------------------------------------------------------------------------


def phase_table() -> gpd.GeoDataFrame:
    """Ground of each phase, in building order."""
    rows = [
        {"phase": name, "order": i + 1, "status": "building" if name == "1" else "open", "note": "invented"}
        for i, name in enumerate(PHASES)
    ]
    shapes = [on_grid(box(lo, TRACT[1], hi, TRACT[3])) for lo, hi in PHASES.values()]
    return gpd.GeoDataFrame(rows, geometry=shapes, crs=CRS)


def street_table() -> gpd.GeoDataFrame:
    """Centre lines of the streets."""
    lines = {
        "Speedwell Lane": ((55, 210), (3247.5, 210)),
        "Catchfly Lane": ((55, 530), (3247.5, 530)),
        "Sorrel Street": ((55, 0), (55, 700)),
        "Tansy Street": ((905, 0), (905, 700)),
        "Yarrow Street": ((1755, 0), (1755, 700)),
        "Burdock Street": ((2605, 0), (2605, 700)),
        "Dropwort Street": ((3247.5, 0), (3247.5, 700)),
    }
    rows = [{"name": name, "note": "invented"} for name in lines]
    return gpd.GeoDataFrame(rows, geometry=[on_grid(LineString(line)) for line in lines.values()], crs=CRS)


def water_table() -> gpd.GeoDataFrame:
    """The reservoir."""
    return gpd.GeoDataFrame([{"name": "reservoir", "note": "invented"}], geometry=[on_grid(box(*WATER))], crs=CRS)


def write_layer(frame: gpd.GeoDataFrame, file: Path, layer: str) -> None:
    """One layer to a GeoPackage of its own, with the note that it is invented."""
    file.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-10-31T00:00:00.000Z"})  # the file holds no clock
    out = frame.assign(start=[day.date() for day in frame["start"]]) if "start" in frame else frame
    pyogrio.write_dataframe(
        out,
        file,
        layer=layer,
        driver="GPKG",
        use_arrow=True,  # keeps dates as dates
        layer_options={"DESCRIPTION": NOTE, "IDENTIFIER": layer},
    )
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


# --- rasters --------------------------------------------------------------------------------------------------------


def write_raster(
    file: Path,
    values: NDArray[np.generic],
    transform: Affine,
    crs: str,
    nodata: float,
    unit: str,
    what: str,
    dated: str = "",
) -> None:
    """A compressed one-band raster that says what it is and that it is invented."""
    predictor = 3 if values.dtype.kind == "f" else 1
    with rasterio.open(
        file,
        "w",
        driver="GTiff",
        height=values.shape[0],
        width=values.shape[1],
        count=1,
        dtype=values.dtype,
        crs=crs,
        transform=transform,
        nodata=nodata,
        compress="deflate",
        zlevel=9,
        predictor=predictor,
        tiled=True,
        blockxsize=256,
        blockysize=256,
    ) as target:
        target.write(values, 1)
        target.set_band_description(1, what)
        if unit:
            target.units = (unit,)
        target.update_tags(TIFFTAG_IMAGEDESCRIPTION=f"{what}. {NOTE}", **({"TIFFTAG_DATETIME": dated} if dated else {}))


def cell_centres(transform: Affine, rows: int, columns: int) -> tuple[Floats, Floats]:
    """Coordinates of the middle of each cell, both of shape (rows, columns)."""
    column, row = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    return transform.c + transform.a * column, transform.f + transform.e * row


def grid_window(reach_ft: float, cell_m: float, snap: tuple[float, float]) -> tuple[Affine, int, int]:
    """Transform, rows and columns of a grid over the tract and reach_ft around it, with a cell corner at snap."""
    (west, east), (south, north) = to_grid(
        np.array([TRACT[0] - reach_ft, TRACT[2] + reach_ft]), np.array([TRACT[1] - reach_ft, TRACT[3] + reach_ft])
    )
    left = snap[0] + np.floor((west - snap[0]) / cell_m) * cell_m
    top = snap[1] + np.ceil((north - snap[1]) / cell_m) * cell_m
    columns, rows = int(np.ceil((east - left) / cell_m)), int(np.ceil((top - south) / cell_m))
    return from_origin(left, top, cell_m, cell_m), rows, columns


def write_elevation(file: Path, void_at: tuple[float, float] | None = None) -> None:
    """Bare ground in metres, 10 m cells; `void_at` (tract feet) leaves one cell without a value."""
    transform, rows, columns = grid_window(ELEVATION_REACH, 10.0, (ORIGIN_E_M, ORIGIN_N_M))
    east, north = cell_centres(transform, rows, columns)
    x_ft, _ = to_tract(east, north)
    metres = (ground_ft(x_ft) * FOOT_M).round(3).astype(np.float32)
    if void_at:
        void_e, void_n = to_grid(*void_at)
        row, column = rowcol(transform, float(void_e), float(void_n))
        metres[row, column] = -9999.0
    write_raster(file, metres, transform, CRS, -9999.0, "m", "Elevation of bare ground, m")


def write_land_cover(file: Path, dated: str) -> None:
    """Land-cover classes, 30 m cells, the tract bare (31). Cell edges are laid on the shore and the woods' edge."""
    (shore, _), (_, edge) = to_grid(np.array([WATER[0], 0.0]), np.array([0.0, NORTH_EDGE]))
    transform, rows, columns = grid_window(LAND_COVER_REACH, 30.0, (float(shore), float(edge)))
    east, north = cell_centres(transform, rows, columns)
    x, y = to_tract(east, north)
    j, i = np.meshgrid(np.arange(columns), np.arange(rows))
    scatter = (i * 7919 + j * 104729 + (i * j) * 31) % 100
    codes = np.where(scatter < 55, 22, np.where(scatter < 92, 23, 24))  # town
    woods = np.array([41, 42, 43])[((i // 4) * 2 + (j // 5) + (i // 7) * (j // 3)) % 3]
    farm = np.array([82, 82, 81])[((i // 9) + (j // 13) * 2) % 3]
    codes = np.where((y > NORTH_EDGE) | (x > TRACT[2]), woods, codes)
    codes = np.where((y > NORTH_EDGE) & (x < FARM_EAST_EDGE), farm, codes)
    codes = np.where(inside(x, y, TRACT), 31, codes)
    codes = np.where(inside(x, y, GREENBELT), 43, codes)
    codes = np.where(inside(x, y, WATER), 11, codes).astype(np.uint8)
    write_raster(file, codes, transform, CRS, 0, "", "Land-cover classes, see classes.csv", dated)


def inside(x: Floats, y: Floats, rect: tuple[float, float, float, float]) -> NDArray[np.bool_]:
    """Which points lie in a rectangle."""
    return (x > rect[0]) & (x < rect[2]) & (y > rect[1]) & (y < rect[3])


def geographic_grid(cell_deg: float, reach_deg: float) -> tuple[Affine, Floats, Floats]:
    """Transform of a grid in degrees around the tract, and the distance of each cell east and north of it (km)."""
    back = Transformer.from_crs(CRS, GEOGRAPHIC_CRS, always_xy=True)
    middle_e, middle_n = to_grid(TRACT[2] / 2.0, TRACT[3] / 2.0)
    lon, lat = back.transform(float(middle_e), float(middle_n))
    left, top = np.floor((lon - reach_deg) / cell_deg) * cell_deg, np.ceil((lat + reach_deg) / cell_deg) * cell_deg
    n = int(2.0 * reach_deg / cell_deg) + 1
    transform = from_origin(round(left, 6), round(top, 6), cell_deg, cell_deg)
    cell_lon, cell_lat = cell_centres(transform, n, n)
    return transform, (cell_lon - lon) * 111.32 * np.cos(np.radians(lat)), (cell_lat - lat) * 110.99


def write_wind(file: Path) -> None:
    """Basic wind speed in mph: 115 out to 20 km from the tract, then 1 mph more for each further 20 km."""
    transform, east_km, north_km = geographic_grid(0.05, 0.5)
    beyond = np.maximum(0.0, np.hypot(east_km, north_km) - 20.0)
    mph = (WIND_MPH + beyond / 20.0).round(2).astype(np.float32)
    write_raster(
        file, mph, transform, GEOGRAPHIC_CRS, -9999.0, "mph", "Basic wind speed, 3 s gust, Risk Category II, mph"
    )


def short_period_ss() -> float:
    """SS whose site class D value gives SDS 0.54 g: Fa = 1.4 at 0.5 g, 1.2 at 0.75 g (ASCE 7-16 Table 11.4-1)."""
    return float(min(np.roots([-0.8, 1.8, -1.5 * SDS_G]).real))


def one_second_s1() -> float:
    """S1 whose site class D value gives SD1 0.27 g: Fv = 2.4 at 0.1 g, 2.2 at 0.2 g (ASCE 7-16 Table 11.4-2)."""
    return float(min(np.roots([-2.0, 2.6, -1.5 * SD1_G]).real))


def write_acceleration(file: Path, name: str, at_tract_g: float) -> None:
    """A spectral acceleration in g that falls gently to the east: 0.1 % of its value each km."""
    transform, east_km, _ = geographic_grid(0.01, 0.1)
    g = (at_tract_g * (1.0 - 0.001 * east_km)).astype(np.float32)
    write_raster(file, g, transform, GEOGRAPHIC_CRS, -9999.0, "g", f"{name}, 5 % damped, site class B/C boundary, g")


# --- drawing --------------------------------------------------------------------------------------------------------


def drawing_rings(lots: gpd.GeoDataFrame) -> dict[str, list[tuple[float, float]]]:
    """Corners of each lot in US survey feet from the tract's south-west corner."""
    scale = GRID_SCALE * SURVEY_FOOT_M
    return {
        lot_id: [((e - ORIGIN_E_M) / scale, (n - ORIGIN_N_M) / scale) for e, n in shape.exterior.coords]
        for lot_id, shape in zip(lots["lot_id"], lots.geometry, strict=True)
    }


def write_dxf(file: Path, rings: dict[str, list[tuple[float, float]]]) -> None:
    """A drawing of the lots as a drafter sends it: closed outlines on LOT, lot numbers as text on LOT_TEXT."""
    out = [
        (999, NOTE),
        (999, "US survey feet, local origin at the tract's south-west corner"),
        (0, "SECTION"),
        (2, "HEADER"),
        (9, "$ACADVER"),
        (1, "AC1009"),
        (9, "$INSUNITS"),
        (70, 21),
        (0, "ENDSEC"),
        (0, "SECTION"),
        (2, "ENTITIES"),
    ]
    for lot_id, ring in rings.items():
        closed = np.hypot(ring[0][0] - ring[-1][0], ring[0][1] - ring[-1][1]) < 0.001
        out += [(0, "POLYLINE"), (8, "LOT"), (66, 1), (10, 0.0), (20, 0.0), (30, 0.0), (70, int(closed))]
        for x, y in ring[:-1] if closed else ring:
            out += [(0, "VERTEX"), (8, "LOT"), (10, round(x, 3)), (20, round(y, 3)), (30, 0.0)]
        out += [(0, "SEQEND"), (8, "LOT")]
        middle = np.mean(ring[:4], axis=0)
        out += [
            (0, "TEXT"),
            (8, "LOT_TEXT"),
            (10, round(float(middle[0]), 3)),
            (20, round(float(middle[1]), 3)),
            (30, 0.0),
            (40, 8.0),
            (1, lot_id),
        ]
    out += [(0, "ENDSEC"), (0, "EOF")]
    file.write_text("".join(f"{code:>3}\n{value}\n" for code, value in out), encoding="ascii", newline="")


# --- the defective twin ---------------------------------------------------------------------------------------------


def defective_lots(lots: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The lots with the planted defects of the README, each on a lot of its own."""
    bad = lots.copy()
    row = {lot_id: i for i, lot_id in enumerate(bad["lot_id"])}
    bad.loc[row["A-01"], "lot_id"] = "A-1"  # number stored as 1, not 01
    bad.loc[row["B-08"], "lot_id"] = "B-07"  # the name used twice
    a, b, c, d = list(bad.geometry.iloc[row["C-12"]].exterior.coords)[:4]
    bad.loc[row["C-12"], "geometry"] = Polygon([a, c, b, d])  # two corners in the wrong order: a bow-tie
    assert bad["plan"].iloc[row["B-02"]] == "kettle"
    bad.loc[row["B-02"], "plan"] = "Kettel"
    place = row["D-44"]  # cut until the third bay is 30 ft wider than the buildable width
    house = WIDTH_FT["kettle"] + THIRD_BAY_FT
    width = house - DEFECTIVE_NARROW_FT + 2.0 * SETBACKS["side_setback_ft"]
    x, y = to_tract(*(v for v in np.array(bad.geometry.iloc[place].exterior.coords).T))
    bad.loc[place, "geometry"] = on_grid(box(x.min(), y.min(), x.min() + width, y.max()))
    bad.loc[place, ["plan", "options"]] = ["kettle", "third_bay"]
    return bad


def without_source(hardware: Path) -> str:
    """The hardware list with the source of its third item left blank; comment lines stay."""
    lines = hardware.read_text(encoding="utf-8").splitlines()
    comments = [line for line in lines if line.startswith("#")]
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    rows[3][rows[0].index("source")] = ""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return "\n".join([*comments, ""] if comments else []) + text.getvalue()


if __name__ == "__main__":
    main()
