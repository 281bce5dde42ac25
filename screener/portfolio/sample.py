"""A small portfolio made from the sample tract: three invented tracts of its lots side by side, in two divisions.

Nothing of it is stored: lots are the sample's, laid north and south of it and aside on the same invented ground, with
its five plans in one style, so that one command shows what a portfolio run gives.
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screener.errors import OutputError

TRACTS = (
    ("Pennywort Rise", "Hill", (0.0, 0.0)),
    ("Sorrel Bank", "Hill", (120.0, 200.0)),
    ("Teasel Side", "Shore", (-180.0, -200.0)),
)
"""Name, division, and how many metres east and north of the sample it lies. All invented. The ridge and the shore run
north, so that it is the way east or west that makes the tracts differ."""

LOTS = "portfolio_lots.parquet"
PORTFOLIO = """# Three invented tracts of the sample's lots on its invented ground. Keys: `screener schema portfolio`.
name = "Three tracts (invented)"
base = "portfolio_rules.toml"

[lots]
file = "portfolio_lots.parquet"
tract_column = "tract"
division_column = "division"

[packages]
per = "division"
most = 3

[output]
folder = "portfolio_results"
"""
RULES = """# Rules that all tracts of the portfolio share: a project file; its lots and output are the portfolio's.
[tract]
name = "rules"
as_of = 2026-02-02

[design]
loads = "ASCE 7-16"
method = "ASD"
wind_procedure = "envelope"

[ground]
water = { file = "water.gpkg" }

[hazards]
wind_speed_mph = { file = "wind_speed.tif", units = "mph" }
land_cover = { file = "land_cover.tif", classes = "classes.csv", dated = 2026-02-01 }
elevation_ft = { file = "elevation.tif", units = "m" }
ss_g = { file = "ss.tif" }
s1_g = { file = "s1.tif" }
site_class = { value = "D" }
ground_snow_psf = { value = 15 }

[plans]
folder = "plans"

[hardware]
file = "hardware.csv"

[purchase]
waste = 0.05
labour_usd_per_h = 58
"""


def add_portfolio(folder: Path) -> Path:
    """Write the portfolio beside the sample in a folder (see `screener.sample`); the path of its file."""
    own = gpd.read_file(folder / "lots.gpkg", layer="lots")
    kept = ["lot_id", "block", "phase", "status", "plan", "mirrored", "front_bearing_deg", "start"]
    setbacks = [name for name in own.columns if name.endswith("_setback_ft")]
    parts = []
    for name, division, moved_m in TRACTS:
        shapes = shapely.transform(own.geometry.to_numpy(), lambda xy, by=moved_m: xy + np.array(by))
        part = own[[*kept, *setbacks]].assign(tract=name, division=division, style="A")
        parts.append(gpd.GeoDataFrame(part, geometry=shapes, crs=own.crs))
    lots = gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), crs=own.crs)
    try:
        lots.to_parquet(folder / LOTS)
        for file, text in (("portfolio.toml", PORTFOLIO), ("portfolio_rules.toml", RULES)):
            (folder / file).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(f"{folder}: {error.strerror or error}") from error
    return folder / "portfolio.toml"
