"""Brings real plots and real ground together in one folder, ready to be screened.

    python sample_data/real_ground/make_real_ground.py FOLDER

The plots are 407 cadastral parcels of Bubenec, Prague, shipped with momepy; the ground is a piece of the Cumberland
Plateau in Tennessee, shipped with matplotlib as a 3 arc-second grid. **They come from different continents and are
brought together artificially**: every plot keeps its true size, shape and bearing and is set down on ground it has
never seen. Odd plots (concave, with courtyards, far too small or large) and ridges in every direction are what this
example is for; its results say nothing about either place. Wind, earthquake, exposure, plans and prices are invented.

Nothing of the two data sets is part of this repository: the script reads them from the installed packages, which the
`test` extra brings.
"""

from __future__ import annotations

import shutil
import sys
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.transform import from_origin
from shapely import affinity

Floats = NDArray[np.float64]

NOTE = "Real plots of Prague set down artificially on real ground of Tennessee; plans and hazards invented."
PLACE_LON, PLACE_LAT = -84.25, 36.59  # where the middle of the plots is put
LOTS_CRS = "EPSG:2274"  # NAD83 / Tennessee, US survey feet
SIDE_FT = 5.0  # the plan must stand this far inside its plot
SAMPLE = Path(__file__).parent.parent

TRACT_TOML = """\
# Real plots of Prague (momepy) set down artificially on real ground of Tennessee (matplotlib). Wind, earthquake,
# exposure, plans and prices are invented. The two places have nothing to do with each other.
[tract]
name = "Prague plots on Tennessee ground (an artificial pairing)"
as_of = 2026-10-31

[lots]
file = "lots.gpkg"
layer = "lots"
setbacks = { front_ft = 10, rear_ft = 5, side_ft = 5 }

[ground]
streets = { file = "streets.gpkg" }

[hazards]
wind_speed_mph = { value = 115 }
exposure = { value = "C" }
elevation_ft = { file = "elevation.tif", units = "m" }
sds_g = { value = 0.45 }
sd1_g = { value = 0.18 }
site_class = { value = "D" }
ground_snow_psf = { value = 10 }

[plans]
folder = "plans"

[hardware]
file = "hardware.csv"

[purchase]
labour_usd_per_h = 58
plan_mix = { thimble = 0.5, lantern = 0.5 }

[output]
folder = "results"
"""


def main() -> None:
    """Write the example into the folder named on the command line."""
    if len(sys.argv) != 2:
        sys.exit("usage: make_real_ground.py FOLDER")
    make(Path(sys.argv[1]))


def make(folder: Path) -> None:
    """Write lots, streets, ground and project file, and copy the sample's plans and hardware list beside them."""
    folder.mkdir(parents=True, exist_ok=True)
    write_layer(lot_table(), folder / "lots.gpkg", "lots")
    write_layer(street_table(), folder / "streets.gpkg", "streets")
    write_elevation(folder / "elevation.tif")
    (folder / "tract.toml").write_text(TRACT_TOML, encoding="utf-8")
    shutil.copytree(SAMPLE / "plans", folder / "plans", dirs_exist_ok=True)
    if (SAMPLE / "hardware.csv").exists():
        shutil.copyfile(SAMPLE / "hardware.csv", folder / "hardware.csv")


def local_crs(lon: float, lat: float) -> str:
    """A map grid in true metres around a place."""
    return f"+proj=tmerc +lat_0={lat} +lon_0={lon} +k=1 +x_0=0 +y_0=0 +datum=NAD83 +units=m +type=crs"


def moved(layer: str) -> gpd.GeoDataFrame:
    """A layer of the Prague data, true to size (its own web-mercator grid is 1.56 times too long), put in Tennessee."""
    import momepy  # type: ignore[import-untyped]

    file = momepy.datasets.get_path("bubenec")
    plots = gpd.read_file(file, layer="plots").to_crs("EPSG:4326")
    west, south, east, north = plots.total_bounds
    here = local_crs(round((west + east) / 2.0, 4), round((south + north) / 2.0, 4))
    frame = gpd.read_file(file, layer=layer).to_crs(here)
    return frame.set_crs(local_crs(PLACE_LON, PLACE_LAT), allow_override=True)


def lot_table() -> gpd.GeoDataFrame:
    """The plots in US survey feet; the largest one-storey or two-storey plan that fits stands on each, or none."""
    plots = moved("plots")
    sizes = plan_sizes()
    plan = [largest_plan(shape, sizes) for shape in shapely.transform(plots.geometry.values, lambda xy: xy / 0.3048)]
    ids = [f"P-{number}" for number in plots["ID"]]
    frame = gpd.GeoDataFrame({"lot_id": ids, "plan": plan, "note": NOTE}, geometry=plots.geometry, crs=plots.crs)
    return frame.to_crs(LOTS_CRS)


def street_table() -> gpd.GeoDataFrame:
    """Street lines, moved with the plots."""
    streets = moved("streets")
    return streets[["geometry"]].assign(note=NOTE).to_crs(LOTS_CRS)


def plan_sizes() -> dict[str, tuple[float, float]]:
    """Width and depth (ft) of each sample plan as first drawn, largest floor first."""
    sizes = {}
    for file in sorted((SAMPLE / "plans").glob("*.toml")):
        plan = tomllib.loads(file.read_text(encoding="utf-8"))
        x0, y0, x1, y1 = plan["storey"][0]["areas"][0]["rect"]
        sizes[plan["plan"]["name"]] = (x1 - x0, y1 - y0)
    return dict(sorted(sizes.items(), key=lambda item: (-item[1][0] * item[1][1], item[0])))


def largest_plan(shape_ft: shapely.Geometry, sizes: dict[str, tuple[float, float]]) -> str | None:
    """The largest plan that stands inside the plot less a margin, along the plot's own long side."""
    yard = shape_ft.buffer(-SIDE_FT)
    if yard.is_empty:
        return None
    (x0, y0), (x1, y1) = list(yard.minimum_rotated_rectangle.exterior.coords)[:2]
    turn = float(np.degrees(np.arctan2(y1 - y0, x1 - x0)))
    middle = yard.representative_point()
    centre = yard.centroid if yard.contains(yard.centroid) else middle
    for name, (width, depth) in sizes.items():
        for quarter in (0.0, 90.0):
            for at in (centre, middle):
                house = shapely.box(at.x - width / 2, at.y - depth / 2, at.x + width / 2, at.y + depth / 2)
                if yard.contains(affinity.rotate(house, turn + quarter, origin=(at.x, at.y))):
                    return name
    return None


def write_layer(frame: gpd.GeoDataFrame, file: Path, layer: str) -> None:
    """One layer to a GeoPackage of its own, with the note on where it comes from."""
    file.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-10-31T00:00:00.000Z"})  # the file holds no clock
    pyogrio.write_dataframe(frame, file, layer=layer, driver="GPKG", layer_options={"DESCRIPTION": NOTE})
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def write_elevation(file: Path) -> None:
    """The ground in metres on its own grid of degrees; in the data `ymin` is the north edge and `ymax` the south."""
    from matplotlib.cbook import get_sample_data

    with np.load(str(get_sample_data("jacksboro_fault_dem.npz", asfileobj=False))) as data:
        metres = np.asarray(data["elevation"], dtype=np.int16)
        west, east = float(data["xmin"]), float(data["xmax"])
        north, south = float(data["ymin"]), float(data["ymax"])
    rows, columns = metres.shape
    transform = from_origin(west, north, (east - west) / columns, (north - south) / rows)
    with rasterio.open(
        file,
        "w",
        driver="GTiff",
        height=rows,
        width=columns,
        count=1,
        dtype="int16",
        crs="EPSG:4269",
        transform=transform,
        nodata=-32768,
        compress="deflate",
        predictor=2,
        zlevel=9,
    ) as target:
        target.write(metres, 1)
        target.units = ("m",)
        target.set_band_description(1, "Elevation, m")
        target.update_tags(TIFFTAG_IMAGEDESCRIPTION=NOTE)


if __name__ == "__main__":
    main()
