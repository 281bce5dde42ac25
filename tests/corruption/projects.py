"""Two small good projects that the corruption tests damage: all files in one folder, none outside it."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "screener"))

from damaged_project import NAMES, PLAIN
from tract_helpers import SAMPLE, as_toml, cut, settings

COMMON: dict[str, Any] = {
    **PLAIN,
    "plans.folder": "plans",
    "hardware.file": "hardware.csv",
    "tiers.tolerance": {"price": 0.0, "kzt": 0.0, "rough_share": 0.0},  # the slowest part, and it reads no file
}


def _files(folder: Path) -> None:
    (folder / "plans").mkdir(parents=True)
    shutil.copy(SAMPLE / "plans" / "thimble.toml", folder / "plans")
    shutil.copy(SAMPLE / "hardware.csv", folder)


def plain(folder: Path) -> None:
    """Hazards as values and columns, one wind raster, lots as a GeoPackage."""
    _files(folder)
    shutil.copy(SAMPLE / "wind_speed.tif", folder)
    changes = {**COMMON, "hazards.wind_speed_mph": {"file": "wind_speed.tif", "units": "mph"}}
    cut(NAMES).assign(plan="thimble", style="A", options=None).to_file(folder / "lots.gpkg", layer="lots")
    (folder / "tract.toml").write_text(as_toml(settings(changes)), encoding="utf-8")


def rich(folder: Path) -> None:
    """Every hazard from a raster, a class table, kept packages, lots as GeoJSON: more kinds of files to damage."""
    _files(folder)
    for name in ("wind_speed.tif", "land_cover.tif", "elevation.tif", "ss.tif", "s1.tif", "classes.csv"):
        shutil.copy(SAMPLE / name, folder)
    changes = {
        **COMMON,
        "hazards.exposure": None,
        "hazards.kzt": None,
        "hazards.wind_speed_mph": {"file": "wind_speed.tif", "units": "mph"},
        "hazards.land_cover": {"file": "land_cover.tif", "classes": "classes.csv"},
        "hazards.elevation_ft": {"file": "elevation.tif", "units": "m"},
        "hazards.ss_g": {"file": "ss.tif"},
        "hazards.s1_g": {"file": "s1.tif"},
        "lots.file": "lots.geojson",
        "lots.layer": None,
        "tiers.kept": "kept.csv",
    }
    lots = cut(NAMES).assign(plan="thimble", style="A", options=None, package=["package 1", None])
    lots.to_crs("EPSG:4326").to_file(folder / "lots.geojson", driver="GeoJSON")
    (folder / "kept.csv").write_text(
        "tier,schedule,item,arrangement\n"
        "package 1,truss tie,truss tie light,1\n"
        "package 1,sill anchor,anchor bolt 5/8 in,48\n",
        encoding="utf-8",
    )
    (folder / "tract.toml").write_text(as_toml(settings(changes)), encoding="utf-8")


PROJECTS = {"plain": plain, "rich": rich}
