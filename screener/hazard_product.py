"""Hazards alone: exposure, Kzt, wind and ground motion of every lot, for a planner with no plans and no hardware yet.

The lots, the ground and the numbers are those of a full run; what is left out is the house. Nothing is written here.
"""

from __future__ import annotations

import difflib
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hazard.issues import InputError, Issue, Issues
from screener import columns
from screener.ages import ground_age_findings
from screener.hazard_pictures import pictures_of_lot
from screener.houses import HEIGHT_WITHOUT_PLAN_FT, NO_HOUSE, choose_houses
from screener.keeping import Keep, anew
from screener.lot_problems import problem_layer
from screener.lots import SKIPPED, read_lots, spread
from screener.plan_files import load_plans
from screener.scope import Findings, hazard_limits
from screener.site_hazards import SiteHazards, site_hazards
from screener.site_limits import site_limits

if TYPE_CHECKING:
    import geopandas as gpd

    from screener.config import HazardProject

Floats = NDArray[np.float64]
SCREENED, REFER = "screened", "refer"
READINGS = {
    "share_stricter": "rough_share {up:g} instead of {share:g}",
    "share_looser": "rough_share {down:g} instead of {share:g}",
    "distance_stricter": "every distance {distance:g} ft more exposed",
    "distance_looser": "every distance {distance:g} ft less exposed",
}


@dataclass(frozen=True)
class Wish:
    """Lots to draw, and the bearing that the wind of the profile comes from (None: each lot's governing one)."""

    lot_ids: tuple[str, ...] = ()
    bearing_deg: float | None = None


@dataclass
class HazardResults:
    """The tables of one hazard product (columns in `screener.columns`), map layers and pictures (name -> content)."""

    lots: gpd.GeoDataFrame
    flips: pd.DataFrame
    exceptions: pd.DataFrame
    issues: pd.DataFrame
    layers: dict[str, gpd.GeoDataFrame]
    pictures: dict[str, str]
    run: dict[str, Any]
    summary: dict[str, Any]
    timings: dict[str, Any] = field(default_factory=dict)


def hazards_alone(
    project: HazardProject,
    *,
    height_ft: float = HEIGHT_WITHOUT_PLAN_FT,
    wish: Wish | None = None,
    progress: Callable[[str], None] = lambda _: None,
    workers: int = 1,
    tell: Callable[[str], None] = lambda _: None,
    keep: Keep = anew,
) -> HazardResults:
    """Every hazard of every lot, at the mean roof height of its plan, or at `height_ft` where it has none."""
    started = time.perf_counter()
    wish = wish or Wish()
    issues = Issues(project.noticed)
    progress("reading lots")
    lots = read_lots(project, issues)
    where = project.shown(project.lots.file)
    height, planned = _heights(project, lots, height_ft, issues)
    usable = np.flatnonzero((lots["status"] != SKIPPED) & lots.geometry.notna())
    if not len(usable):
        issues.add("no_usable_lot", "stop", where, "no lot can be used", "at least one", "see the issues before this")
        raise InputError(issues.stops())
    findings = Findings(len(usable))
    site = site_hazards(
        project, lots.iloc[usable], height[usable], issues, findings, workers, progress, tell=tell, keep=keep
    )
    issues.raise_stops()
    hazard_limits(project, site, findings)
    site_limits(project, lots.iloc[usable], site, issues, findings)
    ground_age_findings(project, findings)
    progress("tables")
    table = _lots_table(lots, usable, site, findings)
    flips = flip_rows(project, site)
    exceptions = _exceptions(lots, site, findings)
    pictures = _pictures(lots, site, wish, project.name, where, issues)
    frame = issues.frame().reindex(columns=columns.names("issues"))
    results = HazardResults(
        table,
        flips,
        exceptions,
        frame,
        {**site.map_layers(lots.crs), **problem_layer(issues, lots)},
        pictures,
        _run(project, site, height_ft, planned[usable]),
        _summary(table, flips),
    )
    results.timings = {"seconds": {"all": time.perf_counter() - started}, "lots": len(lots)}
    return results


# --- heights ------------------------------------------------------------------------------------------------------


def _heights(
    project: HazardProject, lots: gpd.GeoDataFrame, height_ft: float, issues: Issues
) -> tuple[Floats, NDArray[np.bool_]]:
    """Mean roof height of each lot, and whether a plan gave it. A plan that can't be matched is no reason to skip."""
    plain = np.full(len(lots), height_ft), np.zeros(len(lots), dtype=bool)
    if project.plans is None:
        return plain
    folder = project.plans.folder
    if not folder.is_dir():
        found = f"no folder {project.shown(folder)}"
        issues.add("plans_missing", "warn", "project file [plans]", found, "plans, or no [plans]", f"{height_ft:g} ft")
        return plain
    trial, unmatched = lots.copy(), Issues()
    houses = choose_houses(trial, load_plans(folder, issues), True, unmatched, project.shown(project.lots.file))
    for issue in unmatched:
        if issue.severity == "skip":
            done = f"hazards at {height_ft:g} ft mean roof height"
            issues.add(issue.code, "warn", issue.where, issue.found, issue.expected, done, issue.lot_id)
    lots["plan"] = trial["plan"]
    return houses.mean_roof_height_ft(height_ft), houses.of_lot != NO_HOUSE


# --- tables -------------------------------------------------------------------------------------------------------


def _lots_table(
    lots: gpd.GeoDataFrame, usable: NDArray[np.intp], site: SiteHazards, findings: Findings
) -> gpd.GeoDataFrame:
    import geopandas as gpd

    out: dict[str, Any] = {
        name: lots[name].to_numpy()
        for name in ("lot_id", "source_row", "block", "phase", "plan", "pad_elevation_ft", "area_sqft")
    }
    for name, values in {**site.lot_columns(), "flags": findings.flags()}.items():
        out[name] = spread(values, usable, len(lots))
    status = np.where(findings.stopped() | findings.referred(), REFER, SCREENED).astype(object)
    status[~site.known] = SKIPPED
    out["status"] = np.full(len(lots), SKIPPED, dtype=object)
    out["status"][usable] = status
    frame = pd.DataFrame(out).reindex(columns=columns.names("hazards"))
    made = gpd.GeoDataFrame(frame, geometry=lots.geometry.to_numpy(), crs=lots.crs)
    return made.iloc[np.argsort(frame["lot_id"].to_numpy(dtype=str), kind="stable")].reset_index(drop=True)


def _exceptions(lots: gpd.GeoDataFrame, site: SiteHazards, findings: Findings) -> pd.DataFrame:
    skipped = lots[lots["status"] == SKIPPED]
    named = {"reason": "skip_reason", "detail": "skip_detail", "next_step": "skip_next_step"}
    rows = pd.DataFrame({"lot_id": skipped["lot_id"], **{to: skipped[of] for to, of in named.items()}}).astype(object)
    both = pd.concat([rows, findings.frame(site.points.lot_id)], ignore_index=True)
    return both.sort_values(["lot_id", "reason", "detail"], kind="stable").reset_index(drop=True)


def flip_rows(project: HazardProject, site: SiteHazards) -> pd.DataFrame:
    """One row a lot and reading that changes its exposure or its Kzt, with the margin that makes it so close."""
    parts = [_exposure_flips(project, site), _kzt_flips(project, site)]
    frames = [pd.DataFrame(part) for part in parts if len(part["lot_id"])]
    if not frames:
        return pd.DataFrame(columns=columns.names("flips"))
    return pd.concat(frames, ignore_index=True).reindex(columns=columns.names("flips"))


def _exposure_flips(project: HazardProject, site: SiteHazards) -> dict[str, Any]:
    out: dict[str, list[Any]] = {name: [] for name in columns.names("flips")}
    if site.exposure is None:
        return out
    section, result, flips = project.exposure, site.exposure.result, site.exposure.flips
    words = {
        "share": section.rough_share,
        "up": min(1.0, section.rough_share + section.flip_share),
        "down": max(0.0, section.rough_share - section.flip_share),
        "distance": section.flip_distance_ft,
    }
    for name, text in READINGS.items():
        other, by_share = getattr(flips, name), name.startswith("share")
        margin = result.share_margin if by_share else result.margin_ft
        for i in np.flatnonzero(other != flips.as_is):
            out["lot_id"].append(str(site.points.lot_id[i]))
            out["what"].append("exposure")
            out["now"].append(str(flips.as_is[i]))
            out["would_be"].append(str(other[i]))
            out["reading"].append(text.format(**words))
            out["margin"].append(float(margin[i]) if np.isfinite(margin[i]) else np.nan)
            out["margin_unit"].append("share of rough ground" if by_share else "ft")
            out["bearing_deg"].append(float(getattr(flips, f"{name}_deg")[i]))
    return out


def _kzt_flips(project: HazardProject, site: SiteHazards) -> dict[str, Any]:
    out: dict[str, list[Any]] = {name: [] for name in columns.names("flips")}
    if site.terrain is None:
        return out
    band, seen, share = site.terrain.band, site.terrain.assessment, 100.0 * project.terrain.flip_share
    now = seen.kzt_screening.max(axis=1)
    for word, by_direction, leads, margin, of in (
        ("harder", band.least, seen.kzt_screening, seen.condition_margin, seen.condition_of),
        ("easier", band.greatest, band.greatest, band.missed_by, band.missed_of),
    ):
        other = by_direction.max(axis=1)
        for i in np.flatnonzero(np.abs(other - now) > 1e-9):  # NaN, an unknown direction, is no flip
            way = int(np.argmax(leads[i]))
            out["lot_id"].append(str(site.points.lot_id[i]))
            out["what"].append("Kzt")
            out["now"].append(f"{now[i]:.3f}")
            out["would_be"].append(f"{other[i]:.3f}")
            out["reading"].append(f"conditions of 26.8.1 {share:g} % {word} to meet")
            out["margin"].append(float(margin[i, way]))
            out["margin_unit"].append(f"share of the limit of {of[i, way]}")
            out["bearing_deg"].append(22.5 * way)
    return out


# --- record -------------------------------------------------------------------------------------------------------


def _run(project: HazardProject, site: SiteHazards, height_ft: float, planned: NDArray[np.bool_]) -> dict[str, Any]:
    return {
        "product": "hazards alone",
        "working_crs": site.working.description,
        "working_crs_wkt": site.working.wkt(),
        "units": "US customary; feet of 0.3048 m in the working system",
        "provenance": dict(sorted(site.provenance.items())),
        "mean_roof_height": {
            "by_plan_lots": int(planned.sum()),
            "default_lots": int((~planned).sum()),
            "default_ft": height_ft,
        },
        "flip_bands": {
            "rough_share": project.exposure.flip_share,
            "distance_ft": project.exposure.flip_distance_ft,
            "kzt_conditions": project.terrain.flip_share,
        },
    }


def _summary(lots: gpd.GeoDataFrame, flips: pd.DataFrame) -> dict[str, Any]:
    kzt = lots["kzt"].to_numpy(dtype=float)
    exposure = lots["exposure"].replace("", "unknown").value_counts().to_dict()
    return {
        "exposure": dict(sorted(exposure.items())),
        "ground_state": dict(sorted(lots["ground_state"].replace("", "unknown").value_counts().to_dict().items())),
        "kzt_above_1_lots": int((np.nan_to_num(kzt) > 1.0).sum()),
        "kzt_greatest": None if np.isnan(kzt).all() else round(float(np.nanmax(kzt)), 3),
        "flips": {
            what: int(flips.loc[flips["what"] == what, "lot_id"].nunique()) if len(flips) else 0
            for what in ("exposure", "Kzt")
        },
    }


# --- pictures -----------------------------------------------------------------------------------------------------


def _pictures(
    lots: gpd.GeoDataFrame, site: SiteHazards, wish: Wish, tract: str, where: str, issues: Issues
) -> dict[str, str]:
    """Profiles and roses of the lots that were asked for; names are safe for any file system."""
    places = _places(lots, site, wish.lot_ids, where)
    way = None if wish.bearing_deg is None else round(wish.bearing_deg / 22.5) % 16
    if way is not None and wish.bearing_deg != 22.5 * way:
        found, done = f"{wish.bearing_deg:g} degrees", f"profile for wind from {22.5 * way:g} degrees"
        issues.add("bearing_rounded", "note", "--bearing", found, "one of the sixteen directions", done)
    for name, view, what in (("exposure", site.exposure, "rose"), ("terrain", site.terrain, "profile")):
        if places and view is None:
            issues.add("no_picture", "note", "--profile", f"{name} was given, not read from a raster", "", f"no {what}")
    made: dict[str, str] = {}
    for number, place in enumerate(places):
        lot = str(site.points.lot_id[place])
        stem = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in lot).strip(".") or "lot"
        if any(name.startswith(f"pictures/{stem}-") for name in made):
            stem = f"{stem}_{number + 1}"
        made |= {f"pictures/{stem}-{name}": text for name, text in pictures_of_lot(site, place, way, tract).items()}
    return made


def _places(lots: gpd.GeoDataFrame, site: SiteHazards, wanted: Sequence[str], where: str) -> list[int]:
    """Places of lots among the usable ones. Raises InputError that names near ids, or why a lot was skipped."""
    at = {str(name): place for place, name in enumerate(site.points.lot_id)}
    faults = []
    for name in wanted:
        if name in at:
            continue
        row = lots[lots["lot_id"].astype(str) == name]
        if len(row):
            found, expected = f"lot {name} was skipped: {row['skip_detail'].iloc[0]}", "a lot with numbers"
        else:
            near = difflib.get_close_matches(name, list(at), n=3)
            found, expected = f"no lot '{name}'", f"a lot id{', such as ' + ', '.join(near) if near else ''}"
        faults.append(Issue("lot_unknown", "stop", f"{where} --profile", found, expected, "", name))
    if faults:
        raise InputError(faults)
    return [at[name] for name in dict.fromkeys(wanted)]


def write_pictures(folder: Path, pictures: dict[str, str]) -> None:
    """Write pictures (name -> content) below a folder."""
    for name, text in pictures.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
