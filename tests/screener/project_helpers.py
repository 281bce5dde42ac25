"""Small made-up projects for tests: a few rectangular lots on a grid, a project file, and stand-in results."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hazard.issues import Issues
from screener.config import Tract, load_tract

CRS = "EPSG:26913"
EAST, NORTH = 500_000.0, 4_200_000.0
WIDTH_M, DEPTH_M = 20.0, 38.0

TOML = """
[tract]
name = "Test Rise (invented)"
[lots]
file = "{file}"
{lots}
[hazards]
wind_speed_mph = {{ value = 115 }}
exposure = {{ value = "C" }}
kzt = {{ value = 1.0 }}
ss_g = {{ value = 0.5 }}
s1_g = {{ value = 0.2 }}
{hazards}
[ground]
{ground}
[plans]
folder = "plans"
[hardware]
file = "hardware.csv"
[purchase]
labour_usd_per_h = 58
{purchase}
[output]
folder = "results"
"""


def box(column: int, row: int = 0, width: float = WIDTH_M, depth: float = DEPTH_M) -> shapely.Polygon:
    """A rectangular lot on the grid; lots of one row touch."""
    x, y = EAST + column * WIDTH_M, NORTH + row * 100.0
    return shapely.box(x, y, x + width, y + depth)


def grid(count: int = 4) -> gpd.GeoDataFrame:
    """Good lots in one row: A-01, A-02 ..., front to the south."""
    ids = [f"A-{i + 1:02d}" for i in range(count)]
    columns = {"lot_id": ids, "plan": ["thimble"] * count, "front_bearing_deg": [180.0] * count}
    return gpd.GeoDataFrame(columns, geometry=[box(i) for i in range(count)], crs=CRS)


def write_project(
    folder: Path,
    frame: gpd.GeoDataFrame | None = None,
    file: str = "lots.gpkg",
    lots: str = "",
    hazards: str = "",
    ground: str = "",
    purchase: str = "",
    **write: Any,
) -> Path:
    """A project in a folder; the path of its file. `frame` None leaves the lots file to the test."""
    (folder / "plans").mkdir(parents=True, exist_ok=True)
    (folder / "plans" / "thimble.toml").write_text("schema = 1\n")
    (folder / "hardware.csv").write_text("item,family\n")
    if frame is not None:
        frame.to_file(folder / file, **({"layer": "lots"} if file.endswith(".gpkg") else {}), **write)
    text = TOML.format(file=file, lots=lots, hazards=hazards, ground=ground, purchase=purchase)
    (folder / "tract.toml").write_text(text, encoding="utf-8")
    return folder / "tract.toml"


def project(folder: Path, frame: gpd.GeoDataFrame | None = None, **options: Any) -> Tract:
    """A loaded project."""
    return load_tract(write_project(folder, frame, **options))


def results(lots: int = 6, tag: str = "a", status: str = "screened") -> SimpleNamespace:
    """Stand-in results with the tables that a pipeline hands over."""
    ids = [f"A-{i + 1:02d}" for i in range(lots)]
    table = gpd.GeoDataFrame(
        {
            "lot_id": ids,
            "source_row": np.arange(1, lots + 1),
            "status": [status] * lots,
            "plan": ["thimble"] * lots,
            "tier": ["T1"] * lots,
            "kzt": np.linspace(1, 1.2, lots),
            "inside_permit": [True, False] * (lots // 2) + [True] * (lots % 2),
            "hardware_cost": [100.10] * lots,
            "labour_hours": [3.25] * lots,
            "total_cost": [288.60] * lots,
            "flags": [tag] * lots,
        },
        geometry=[box(i) for i in range(lots)],
        crs=CRS,
    )
    demands = pd.DataFrame(
        {
            "lot_id": ids,
            "point": ["truss tie, end zone"] * lots,
            "component": ["uplift_lb"] * lots,
            "unit": ["lb"] * lots,
            "demand": np.linspace(300, 420, lots),
            "capacity": [640.0] * lots,
            "ratio": np.linspace(300, 420, lots) / 640,
            "case": ["0.6D + 0.6W"] * lots,
            "item": ["light rafter tie"] * lots,
            "quantity": [54] * lots,
        }
    )
    bill = pd.DataFrame(
        {"item": ["light rafter tie"], "phase": ["1"], "month": [""], "drop": ["roof"], "quantity": [54 * lots]}
    ).assign(quantity_with_waste=57.0 * lots, purchase_units=2, cost=288.60 * lots, labour_hours=3.25 * lots)
    exceptions = pd.DataFrame({"lot_id": [], "reason": [], "detail": [], "next_step": []}, dtype="str")
    return SimpleNamespace(
        lots=table,
        demands=demands,
        bill_of_materials=bill,
        exceptions=exceptions,
        issues=Issues().frame(),
        packages=pd.DataFrame({"tier": ["T1"], "schedule": ["truss tie"], "item": ["light rafter tie"]}),
        run={"working_crs": "local"},
        timings={"total_s": 0.1},
        summary={},
    )


def fake_pipeline(answer: Any = None, issues: Issues | None = None, findings: Any = None) -> ModuleType:
    """A module that stands for `screener.pipeline`: `screen` gives an answer, or raises it; `check` gives issues."""
    module = ModuleType("screener.pipeline")

    def screen(tract: Tract, *, progress: Any, workers: int, tell: Any) -> Any:
        progress("screening")
        if isinstance(answer, BaseException):
            raise answer
        return answer if answer is not None else results()

    module.screen = screen  # type: ignore[attr-defined]
    module.check = lambda tract: (issues or Issues(), findings)  # type: ignore[attr-defined]
    return module
