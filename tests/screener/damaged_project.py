"""A good project of two lots, its files beside it, for tests to damage."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
from rasterio.transform import from_origin
from tract_helpers import SAMPLE, cut, write_tract

NAMES = ("A-02", "A-04")
PLAIN: dict[str, Any] = {
    "hazards.exposure": {"column": "exposure_from_drawing"},
    "hazards.kzt": {"column": "kzt_from_drawing"},
    "hazards.land_cover": None,
    "hazards.elevation_ft": None,
    "hazards.wind_speed_mph": {"value": 115.0},
    "hazards.ss_g": {"value": 0.62},
    "hazards.s1_g": {"value": 0.18},
    "ground": {},
    "purchase.plan_mix": None,
    "tiers.most": 1,
}


class Project:
    """A good project of two lots, its files beside it, for a test to damage."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.changes: dict[str, Any] = {**PLAIN, "plans.folder": "plans", "hardware.file": "hardware.csv"}
        self.lots: gpd.GeoDataFrame = cut(NAMES).assign(plan="thimble", style="A", options=None)
        (folder / "plans").mkdir(parents=True)
        (folder / "plans" / "thimble.toml").write_bytes((SAMPLE / "plans" / "thimble.toml").read_bytes())
        (folder / "hardware.csv").write_bytes((SAMPLE / "hardware.csv").read_bytes())

    def write(self) -> Path:
        return write_tract(self.folder, self.lots, self.changes)

    def edit(self, name: str, old: str, new: str, count: int = -1) -> None:
        file = self.folder / name
        text = file.read_text(encoding="utf-8")
        assert old in text, old
        file.write_text(text.replace(old, new, count), encoding="utf-8")

    def raster(self, quantity: str, value: float, *, size: int = 6, cell: float = 1000.0, **more: Any) -> None:
        """A raster of one value around the lots, under the project's key of that name."""
        x, y = self.lots.total_bounds[:2]
        file = self.folder / f"{quantity}.tif"
        profile = {
            "driver": "GTiff",
            "height": size,
            "width": size,
            "count": more.get("count", 1),
            "dtype": more.get("dtype", "float32"),
            "crs": more.get("crs", "EPSG:26913"),
            "transform": from_origin(x - size * cell / 2 + more.get("off", 0.0), y + size * cell / 2, cell, cell),
        }
        with rasterio.open(file, "w", **profile) as target:
            for band in range(1, profile["count"] + 1):
                target.write(np.full((size, size), value, dtype=profile["dtype"]), band)
            if "unit" in more:
                target.units = (more["unit"],) * profile["count"]
        self.changes[f"hazards.{quantity}"] = {"file": file.name, **more.get("given", {})}
