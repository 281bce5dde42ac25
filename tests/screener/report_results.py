"""Made-up results for the report's tests: a grid of lots with every status, and whatever names a test wants."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from hazard.issues import Issues
from screener import columns

CRS = "EPSG:26913"
EAST, NORTH, WIDTH_M, DEPTH_M = 500_000.0, 4_200_000.0, 20.0, 35.0
PLANS = ("anvil", "kettle", "thimble")
PACKAGES = ("package 1", "package 2", "package 3")


def lots(count: int = 24, names: dict[int, str] | None = None) -> gpd.GeoDataFrame:
    """Lots in rows of twelve, all numbers made by rule."""
    i = np.arange(count)
    ids = [(names or {}).get(int(n), f"{'ABCDEFGH'[(n // 12) % 8]}-{n + 1:04d}") for n in i]
    tier = np.array([*PACKAGES], dtype=object)[i % 3]
    status = np.where(i % 11 == 10, "refer", "screened").astype(object)
    status[i % 13 == 12], tier[i % 13 == 12] = "no_hardware", ""
    cost = np.where(tier == "", np.nan, 1800.0 + 37.5 * (i % 40))
    frame = pd.DataFrame(
        {
            "lot_id": ids,
            "source_row": i + 1,
            "status": status,
            "phase": [str(1 + n // 12 % 4) for n in i],
            "plan": [PLANS[n % 3] for n in i],
            "style": ["A"] * count,
            "options": ["patio"] * count,
            "mirrored": i % 2 == 0,
            "start": ["2026-05-04"] * count,
            "tier": tier,
            "ground_state": ["today"] * count,
            "wind_speed_mph": 115.0 + 0.1 * (i % 5),
            "exposure": np.array(["B", "C", "D"], dtype=object)[i % 3],
            "exposure_by_direction": ["BBCCDDCCBBBBCCCC"] * count,
            "rough_share_min": [0.62] * count,
            "kzt": np.where(i % 2 == 0, 1.0, 1.0 + 0.01 * (i % 60)),
            "sds_g": [0.54] * count,
            "sdc": ["D"] * count,
            "governing_point": ["truss tie, end zone"] * count,
            "governing_hazard": np.where(i % 4 == 3, "seismic", "wind"),
            "governing_ratio": [0.93] * count,
            "inside_permit": [None if n % 7 == 6 else bool(n % 3) for n in i],
            "hardware_cost": cost * 0.6,
            "labour_hours": cost / 140.0,
            "total_cost": cost,
            "flags": np.where(i % 11 == 10, "KZT_VALLEY;CONCRETE", "CONCRETE"),
        }
    ).reindex(columns=columns.names("lots"))
    row = max(12, int((2 * count) ** 0.5))
    boxes = [_box(int(n % row), int(n // row)) for n in i]
    return gpd.GeoDataFrame(frame, geometry=boxes, crs=CRS)


def _box(column: int, row: int) -> shapely.Polygon:
    x, y = EAST + column * WIDTH_M, NORTH - row * DEPTH_M - (row // 2) * 16.0
    return shapely.box(x, y, x + WIDTH_M, y + DEPTH_M)


def results(count: int = 24, names: dict[int, str] | None = None, text: str = "") -> Any:
    """Stand-in results. `text` is put into every free text a user can write."""
    table = lots(count, names)
    odd = table[table["status"] != "screened"]
    exceptions = pd.DataFrame(
        {
            "lot_id": odd["lot_id"],
            "reason": np.where(odd["status"] == "refer", "KZT_VALLEY", "NO_HARDWARE"),
            "detail": [f"what was found {text}"] * len(odd),
            "next_step": [f"ask an engineer {text}"] * len(odd),
        }
    )
    bill = pd.DataFrame(
        [
            (
                f"{item} {text}".strip(),
                phase,
                month,
                drop,
                540.0,
                567.0,
                3.0,
                388.5,
                12.25,
                f"box of 200 {text}".strip(),
                0.0,
                0.0,
            )
            for item, drop in (("truss tie medium", "roof"), ("sill anchor 5/8 in", "foundation"))
            for phase, month in (("1", "2026-05"), ("2", "2026-06"), ("10", "2026-06"))
        ],
        columns=list(columns.names("bill_of_materials")),
    )
    packages = pd.DataFrame(
        [
            (name, line, item if name != "package 3" or line != "truss tie, end zone" else "truss tie heavy", how)
            for name in PACKAGES
            for line, item, how in (
                ("truss tie, end zone", f"truss tie medium {text}".strip(), "1 each"),
                ("sill anchor", "sill anchor 5/8 in", "at 48 in"),
                ("roof sheathing, corner", "roof nail ring shank", "6/12"),
                ("plate splice", "", "none needed"),
            )
        ],
        columns=list(columns.names("packages")),
    )
    orders = pd.DataFrame(
        [
            {
                "order_period": period,
                "order_by": f"{period}-09",
                "late": period == "2026-04",
                "item": f"truss tie medium {text}".strip(),
                "phase": "1",
                "drop": "roof",
                "needed_on": "2026-06-01",
                "status": status,
                "lots": 2,
                "quantity": 540.0,
                "quantity_with_waste": 567.0,
                "from_stock": 0.0,
                "purchase_unit": f"box of 200 {text}".strip(),
                "purchase_units": 3.0,
                "units_for_break": 0.0,
                "leftover_pieces": 33.0,
                "unit_price": 1.295,
                "cost": 777.0,
            }
            for period, status in (("2026-04", "firm"), ("2026-05", "firm"), ("2026-06", "forecast"))
        ],
        columns=list(columns.names("orders")),
    )
    forecast = pd.DataFrame(
        [
            {
                "level": "tract",
                "item": f"truss tie medium {text}".strip(),
                "drop": "roof",
                "firm": 1080,
                "expected": 1600.5,
                "p10": 1500,
                "p50": 1600,
                "p90": 1700,
                "p90_units": 9,
                "purchase_unit": f"box of 200 {text}".strip(),
                "method": "exact",
                "driver": f"which plan {text}".strip(),
            }
        ],
        columns=list(columns.names("forecast")),
    )
    issues = Issues()
    issues.add("land_cover_old", "warn", f"land_cover.tif {text}", f"dated {text}", "newer", "used all the same")
    return SimpleNamespace(
        lots=table,
        demands=pd.DataFrame(columns=columns.names("demands")),
        bill_of_materials=bill,
        exceptions=exceptions,
        issues=issues.frame(),
        packages=packages,
        purchase={"orders": orders, "forecast": forecast},
        run=run_record(text),
        timings={},
        summary={},
        layers={},
    )


def run_record(text: str = "") -> dict[str, Any]:
    """A run record with a cost curve whose first point serves too few lots and whose last is not proven."""
    curve = [
        {"most": 1, "cost_cents": None, "lower_bound_cents": 5_000_000, "proven": False, "lots_unserved": 3},
        {"most": 2, "cost_cents": 5_400_000, "lower_bound_cents": 5_400_000, "proven": True, "lots_unserved": 0},
        {"most": 3, "cost_cents": 5_050_000, "lower_bound_cents": 5_050_000, "proven": True, "lots_unserved": 0},
        {"most": 4, "cost_cents": 5_000_000, "lower_bound_cents": 4_950_000, "proven": False, "lots_unserved": 0},
    ]
    return {
        "working_crs": "local transverse Mercator",
        "working_crs_wkt": "",
        "lots_crs": CRS,
        "units": "US customary",
        "provenance": {"wind_speed_mph": f"raster wind_speed.tif {text}".strip(), "kzt": "terrain"},
        "packages": {
            "method": "exact search",
            "proven": True,
            "cost_cents": 5_050_000,
            "lower_bound_cents": 5_050_000,
            "gap": 0.0,
            "one_package_cents": 6_020_000,
            "every_lot_its_own_cents": 4_870_000,
            "curve": curve,
        },
        "houses": {
            "anvil A": {"mean_roof_height_ft": 25.5, "seismic_weight_lb": [21_000.0, 14_000.0], "connections": 88}
        },
    }


def manifest(name: str = "Test Rise (invented)") -> dict[str, Any]:
    """The parts of a manifest that the report reads."""
    return {
        "tract": name,
        "settings": {
            "tract": {"name": name, "ground_state": "worst"},
            "design": {"loads": "ASCE 7-16", "method": "ASD", "wind_procedure": "envelope"},
            "tiers": {"most": 3},
        },
        "defaults_taken": {"design.hurricane_prone": "judged by speed alone"},
        "inputs": [{"key": "lots.file", "file": "lots.gpkg", "bytes": 1, "sha256": "ab" * 32}],
        "versions": {"python": "3"},
        "run_id": "0123456789abcdef",
    }
