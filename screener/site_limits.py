"""Limits of a lot's site beyond wind pressure and ground motion: slope, flood, salt water, special wind regions.

None of these changes a load. Each only says that a person must look, by a code of `reference/scope_codes.csv`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from hazard.crs import METRES_PER_FOOT
from hazard.issues import Issues
from screener.lot_attributes import NO, YES, clean, texts
from screener.scope import Findings
from screener.site_hazards import SiteHazards, ground_layer

if TYPE_CHECKING:
    import geopandas as gpd

    from screener.config import Site

Floats = NDArray[np.float64]

STEEP_RISE_OVER_RUN = 1.0 / 3.0
"""Beyond it footings on or beside a slope have rules of their own (IRC R403.1.7, from memory)."""

STEEP_FEATURE = 0.5
"""H/Lh beyond which Fig. 26.8-1 takes 0.5 (from memory; read in part)."""

SALT_WATER_FT = 3000.0
"""Distance from salt water within which fasteners need a better finish (residential practice, from memory)."""

NO_FLOOD_ZONES = ("X", "B", "C", "X500", "0.2 PCT", "NONE", "NO")
WAVE_ZONES = ("V", "COASTAL A", "CAZ", "LIMWA")
"""Flood map names (from memory): X, B and C lie outside the 100-year flood; every zone that begins with V has waves;
coastal A is the part of an A zone behind it with smaller ones."""


def site_limits(tract: Site, lots: gpd.GeoDataFrame, site: SiteHazards, issues: Issues, findings: Findings) -> None:
    """Findings and columns `ground_slope`, `salt_water_distance_ft`, `flood_zone` of lots with a shape (n,)."""
    _steep(site, findings)
    _steep_feature(site, findings)
    _flood(lots, site, issues, findings)
    _salt(tract, lots, site, issues, findings)
    special = lots["special_wind"].to_numpy(dtype=bool) | tract.design.special_wind_region
    findings.add("SPECIAL_WIND", special, "")


def _steep(site: SiteHazards, findings: Findings) -> None:
    if site.terrain is None:
        return
    slope, _ = site.terrain.result.ground_slope()
    site.columns["ground_slope"] = slope
    findings.add(
        "SLOPE_LOT", np.nan_to_num(slope) > STEEP_RISE_OVER_RUN, lambda i: f"slope {slope[i]:.2f} over 66 ft of ground"
    )


def _steep_feature(site: SiteHazards, findings: Findings) -> None:
    """The feature behind a lot's Kzt is steeper than the figure knows: it takes H/Lh as 0.5 then (26.8.1)."""
    if site.terrain is None:
        return
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.asarray(site.columns["terrain_h_ft"]) / np.asarray(site.columns["terrain_lh_ft"])
    raised = np.nan_to_num(np.asarray(site.columns["kzt_screening"]), nan=1.0) > 1.0
    findings.add("KZT_STEEP", raised & (np.nan_to_num(ratio) > STEEP_FEATURE), lambda i: f"H/Lh {ratio[i]:.2f}")


def _flood(lots: gpd.GeoDataFrame, site: SiteHazards, issues: Issues, findings: Findings) -> None:
    zones = lots["flood_zone"].to_numpy(dtype=object)
    site.columns["flood_zone"] = zones
    if not any(zones):
        issues.add("flood_none", "note", "lots", "no flood zones", "a column flood_zone", "flood is not judged")
        return
    plain = np.array([str(z).upper().removeprefix("ZONE ").strip() for z in zones], dtype=object)
    waves = np.array([z.startswith(WAVE_ZONES) for z in plain], dtype=bool)
    dry = np.isin(plain, ["", *NO_FLOOD_ZONES]) | np.array([z.startswith("X ") for z in plain], dtype=bool)
    findings.add("FLOOD", waves, lambda i: f"zone {zones[i]}")
    findings.add("FLOOD_A", ~waves & ~dry, lambda i: f"zone {zones[i]}")
    blank = int((plain == "").sum())
    if blank:
        issues.add(
            "flood_blank",
            "warn",
            "lots column flood_zone",
            f"{blank:,} blank",
            "a zone a lot",
            "flood is not judged there",
        )


def _salt(tract: Site, lots: gpd.GeoDataFrame, site: SiteHazards, issues: Issues, findings: Findings) -> None:
    """Distance to salt water: the lot's own, else to the salt water of [ground], else the project's."""
    distance = lots["salt_water_distance_ft"].to_numpy(dtype=float).copy()
    for other in (_to_salt_water(tract, lots, site, issues), tract.design.salt_water_distance_ft):
        if other is not None:
            distance = np.where(np.isnan(distance), other, distance)
    site.columns["salt_water_distance_ft"] = np.where(np.isfinite(distance), distance, np.nan)
    if np.isnan(distance).all():
        expected = "lots column or [design] salt_water_distance_ft, or [ground] water.salt_column"
        issues.add(
            "salt_water_none", "note", "project file", "no distance to salt water", expected, "SALT is not judged"
        )
    findings.add("SALT", np.nan_to_num(distance, nan=np.inf) <= SALT_WATER_FT, lambda i: f"{distance[i]:,.0f} ft")


def _to_salt_water(tract: Site, lots: gpd.GeoDataFrame, site: SiteHazards, issues: Issues) -> Floats | None:
    """Distance from each lot's outline to the nearest salt water of [ground] water, ft; None where it tells none."""
    given = tract.ground.water
    if given is None or given.salt_column is None:
        return None
    layer = ground_layer(tract, "water", site, issues)
    assert layer is not None
    where, column = tract.shown(given.file), given.salt_column
    if column not in layer.columns:
        known = ", ".join(str(c) for c in layer.columns if c != "geometry")
        issues.add("salt_column", "stop", where, f"no column {column}", f"one of {known}", "set water.salt_column")
        issues.raise_stops()
    words = np.array([clean(text).casefold() for text in texts(layer[column])], dtype=object)
    for word in sorted(set(words) - YES - NO):
        issues.add("salt_unclear", "warn", where, f"{column} {word!r}", "yes or no", "taken as salt")
    salt = layer.geometry.to_numpy()[~np.isin(words, list(NO))]
    if not len(salt):
        return np.full(len(lots), np.inf)
    tree = shapely.STRtree(salt)
    shapes = lots.geometry.force_2d().to_crs(site.working.crs).to_numpy()
    (at, _), metres = tree.query_nearest(shapes, return_distance=True, all_matches=False)
    out = np.full(len(lots), np.nan)
    out[at] = metres / METRES_PER_FOOT
    return out
