"""Hazards of every lot of a tract, at the mean roof height of its plan: the join of `hazard`'s products to a project.

Nothing here is engineering of its own: sources are taken from the project file, read by `hazard`, and put side by side
as arrays with one entry a lot, with the reason wherever a lot has none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from hazard import crs as crs_tools
from hazard.coverage import reach, reach_issues
from hazard.exposure import ExposureResult, Flips, sector_layer
from hazard.exposure_rules import ExposureRules
from hazard.fetch import Fetch
from hazard.ground_elevation import GroundElevation, ground_elevation
from hazard.ground_states import (
    PhasePlan,
    StateFetch,
    depends_on_phase,
    design_exposure,
    design_flips,
    exposure_states,
    measure_states,
    phase_plan,
    resolve_state,
    state_texts,
)
from hazard.issues import InputError, Issue, Issues
from hazard.land_cover import RoughnessMap, read_roughness_table, roughness_map
from hazard.layers import Column, Constant, Layer, Source
from hazard.legends import check_legend
from hazard.rasters import RasterWindow, read_window
from hazard.sampling import LotPoints, LotValues, read_values
from hazard.seismic import Seismic, code_meanings, code_severities, seismic
from hazard.standards import asce7_ch26_wind as ch26
from hazard.topography import (
    Assessment,
    Features,
    KztBand,
    TopographyResult,
    height_above_ground_ft,
    topography,
    worst_product,
)
from hazard.wind_speed import wind_speed_mph
from screener.files.vectors import VectorFile, read_layer
from screener.keeping import Keep, anew
from screener.scope import Findings

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from screener.config import Site
    from screener.config_sections import HazardSource

Floats = NDArray[np.float64]
DIRECTIONS = 16
GIVEN_STATE = "as given"
EXPOSURE_NEAR_SHARE = 0.10
LETTERS = ("B", "C", "D")
TERRAIN_CELLS_FT = 400.0
"""Read past the terrain search's own distances: a few cells."""


@dataclass(frozen=True)
class ExposureView:
    """What a picture or a list of close calls needs of the exposure: absent where letters were given."""

    result: ExposureResult
    flips: Flips


@dataclass(frozen=True)
class TerrainView:
    """The same of the terrain: absent where Kzt was given. Kzt is the screening value; z and letters are those used."""

    result: TopographyResult
    assessment: Assessment
    z_ft: Floats
    letters: NDArray[np.str_]
    band: KztBand


@dataclass
class SiteHazards:
    """Hazard numbers of n lots. Letters, Kzt and q: (n, 16) by direction, clockwise from north; NaN or "?" unknown.

    `q_by_direction_psf` has the Kz of Chapters 27 and 30, without the least value of Chapter 28.
    """

    points: LotPoints
    working: crs_tools.WorkingCRS
    height_ft: Floats
    speed: LotValues
    elevation: GroundElevation
    seismic: Seismic
    snow_psf: Floats
    letters: NDArray[np.str_]
    kzt: Floats
    kzt_strict: Floats
    q_envelope_psf: Floats
    q_components_psf: Floats
    envelope_direction: NDArray[np.int64]
    components_direction: NDArray[np.int64]
    columns: dict[str, Any] = field(default_factory=dict)
    layers: dict[str, tuple[Callable[[], dict[str, Any]], Any]] = field(
        default_factory=dict
    )  # table on demand, its CRS
    provenance: dict[str, str] = field(default_factory=dict)
    read: dict[str, LotValues] = field(default_factory=dict)
    exposure: ExposureView | None = None
    terrain: TerrainView | None = None
    q_by_direction_psf: Floats = field(default_factory=lambda: np.empty((0, DIRECTIONS)))
    letters_at: Callable[[Floats], NDArray[np.str_]] | None = None  # letters for other heights; None: as given

    @property
    def known(self) -> NDArray[np.bool_]:
        """Lots that have every hazard number a demand needs."""
        numbers = (self.q_envelope_psf, self.q_components_psf, self.seismic.sds_g, self.seismic.sd1_g, self.snow_psf)
        return np.asarray(np.logical_and.reduce([np.isfinite(a) for a in numbers]))

    def lot_columns(self) -> dict[str, Any]:
        """Hazard columns of the lots table by name, one entry for each of these lots."""
        return {
            "wind_speed_mph": self.speed.values,
            "ke": self.elevation.ke,
            "elevation_ft": self.elevation.elevation_ft,
            "ss_g": self.seismic.ss_g,
            "s1_g": self.seismic.s1_g,
            "site_class": self.seismic.site_class,
            "sds_g": self.seismic.sds_g,
            "sd1_g": self.seismic.sd1_g,
            "sdc": self.seismic.sdc,
            "sdc_sds_only": self.seismic.sdc_sds_only,
            "sdc_irc": self.seismic.sdc_irc,
            "ground_snow_psf": self.snow_psf,
            "mean_roof_height_ft": self.height_ft,
            **self.columns,
        }

    def map_layers(self, crs: Any) -> dict[str, gpd.GeoDataFrame]:
        """Map layers that help (exposure sectors, terrain crests), in the system `crs`."""
        import geopandas as gpd
        import pandas as pd

        made = {}
        for name, (table_of, own) in self.layers.items():
            table = table_of()
            frame = pd.DataFrame({k: v for k, v in table.items() if k != "geometry"})
            if "lot" in frame:
                frame.insert(0, "lot_id", self.points.lot_id[frame.pop("lot").to_numpy()])
            made[name] = gpd.GeoDataFrame(frame, geometry=table["geometry"], crs=own).to_crs(crs)
        return made


def site_hazards(
    tract: Site,
    lots: gpd.GeoDataFrame,
    height_ft: Floats,
    issues: Issues,
    findings: Findings,
    workers: int = 1,
    progress: Callable[[str], None] = lambda _: None,
    tell: Callable[[str], None] = lambda _: None,
    keep: Keep = anew,
) -> SiteHazards:
    """Every hazard of every lot that has a shape. `height_ft` (n,): mean roof height of each lot's house.

    `tell` hears at once where a raster of the ground does not reach far enough, before anything is computed from it.
    """
    points, working = lot_points(lots)
    edition, given = tract.design.loads, tract.hazards
    progress("ground around the lots")
    around = read_ground(tract, points, height_ft, issues, tell)
    progress("wind speed, elevation, ground motion")
    speed = wind_speed_mph(source(given.wind_speed_mph, "wind_speed_mph", lots), points, issues)
    elevation = ground_elevation(
        source(given.elevation_ft, "elevation_ft", lots) if given.elevation_ft else None, points, issues, edition
    )
    shaken = seismic(
        edition, _seismic_sources(tract, lots), _site_class(tract, lots), points, issues, _class_sources(tract, lots)
    )
    snow, read = np.zeros(len(points)), {"wind speed": speed, **shaken.sources}
    if given.ground_snow_psf:
        read["ground snow"] = read_values(source(given.ground_snow_psf, "ground_snow_psf", lots), points, issues)
        snow = read["ground snow"].values
    else:
        issues.add("snow_none", "note", "project file", "no ground snow", "hazards.ground_snow_psf", "0 psf taken")
    out = SiteHazards(
        points,
        working,
        height_ft,
        speed,
        elevation,
        shaken,
        snow,
        *(np.empty(0) for _ in range(7)),  # type: ignore[arg-type]
    )
    out.read = read
    progress("exposure")
    _exposure(tract, lots, out, around, issues, findings, workers, keep)
    progress("terrain")
    _terrain(tract, lots, out, around, issues, findings, workers, keep)
    _pressures(out, edition)
    _missing(out, findings)
    out.provenance |= {"wind_speed_mph": speed.provenance, "ke": elevation.provenance, **shaken.provenance}
    return out


@dataclass(frozen=True)
class GroundAround:
    """The rasters that are read far around the lots; None where the project takes that hazard from elsewhere."""

    cover: RasterWindow | None
    elevation: RasterWindow | None


def read_ground(
    tract: Site, points: LotPoints, height_ft: Floats, issues: Issues, tell: Callable[[str], None] = lambda _: None
) -> GroundAround:
    """Read land cover and elevation as far as they are needed, and say what is missing, by direction.

    Raises InputError with the faults of both rasters.
    """
    stops: list[Issue] = []
    windows: list[RasterWindow | None] = []
    for read, wanted in ((_read_cover, _needs_cover(tract)), (_read_elevation, _needs_elevation(tract))):
        if not wanted:
            windows.append(None)
            continue
        try:
            window, told = read(tract, points, height_ft, issues)
        except InputError as error:
            stops += error.issues
            continue
        windows.append(window)
        issues.extend(told)
        stops += [issue for issue in told if issue.severity == "stop"]
        for issue in told:
            if issue.severity == "warn":
                tell(f"{issue.severity} {issue.message()}")
    if stops:
        raise InputError(stops)
    return GroundAround(*windows)


def _needs_cover(tract: Site) -> bool:
    given = tract.hazards.land_cover
    return tract.hazards.exposure is None and given is not None and given.file is not None


def _needs_elevation(tract: Site) -> bool:
    given = tract.hazards.elevation_ft
    return tract.hazards.kzt is None and given is not None and given.file is not None


def _read_cover(tract: Site, points: LotPoints, height_ft: Floats, issues: Issues) -> tuple[RasterWindow, list[Issue]]:
    """Land cover as far as the exposure of the tallest house needs it, and what each lot lacks of its own need."""
    cover, rules = tract.hazards.land_cover, tract.exposure.rules()
    assert cover is not None
    layer = raster(cover, "land_cover")
    pad_ft = rules.raster_pad_ft(_tallest_ft(height_ft))
    window = read_window(layer, points.bounds(), points.crs, pad_ft, issues)
    need_ft = rules.search_radius_ft(np.where(np.isnan(height_ft), 30.0, height_ft))
    return window, reach_issues(reach(window, points.xy, points.crs, need_ft), layer.name, "exposure", points.lot_id)


def _read_elevation(
    tract: Site, points: LotPoints, height_ft: Floats, issues: Issues
) -> tuple[RasterWindow, list[Issue]]:
    """Elevation as far as the terrain search goes, and what each lot lacks of the part that must be known."""
    given = tract.hazards.elevation_ft
    assert given is not None
    layer = raster(given, "elevation_ft")
    settings = tract.terrain.settings_for(tract.design.loads)
    need_ft = max(settings.search_upwind_ft, settings.search_downwind_ft)
    window = read_window(layer, points.bounds(), points.crs, need_ft + settings.beyond_ft + TERRAIN_CELLS_FT, issues)
    return window, reach_issues(reach(window, points.xy, points.crs, need_ft), layer.name, "Kzt", points.lot_id)


def _tallest_ft(height_ft: Floats) -> float:
    return float(max(30.0, np.nanmax(height_ft)))


def lot_points(lots: gpd.GeoDataFrame) -> tuple[LotPoints, crs_tools.WorkingCRS]:
    """A representative point of each lot (the middle of its largest part, or a point inside) in the working system."""
    crs = crs_tools.horizontal(crs_tools.parse_crs(lots.crs, "lots"))
    corners = lots.total_bounds.reshape(2, 2)
    working = crs_tools.choose_working_crs(corners, crs)
    shapes = lots.geometry.force_2d().to_crs(working.crs)
    chosen = shapes.centroid.to_numpy()
    outside = ~shapely.within(chosen, shapes.to_numpy())
    chosen[outside] = shapely.point_on_surface(shapes.to_numpy()[outside])
    xy = np.column_stack([shapely.get_x(chosen), shapely.get_y(chosen)])
    return LotPoints(xy, working.crs, lots["lot_id"].to_numpy(dtype=str), shapes.to_numpy()), working


def source(given: HazardSource | None, quantity: str, lots: pd.DataFrame) -> Source:
    """The project's source of one hazard as `hazard` takes it."""
    assert given is not None
    try:
        if given.file is not None:
            return raster(given, quantity)
        if given.value is not None:
            return Constant(given.value, quantity, given.units or "")
        return Column(lots[quantity].to_numpy(), given.column or quantity, quantity, given.units or "")
    except ValueError as error:  # a unit that does not measure it
        where = f"project file [hazards] {quantity}.units"
        found, _, expected = str(error).partition("; expected ")
        raise InputError(Issue("hazard_unit", "stop", where, found, expected, "correct the project file")) from error


def raster(given: HazardSource, quantity: str) -> Layer:
    """The project's raster of one hazard. An address stands there only where the run allows it."""
    assert given.file is not None
    remote = any(isinstance(file, str) for file in given.files)
    return Layer(
        given.file,
        quantity,
        given.units or "",
        given.band,
        str(given.dated or ""),
        allow_remote=remote,
        model=given.model or "",
        over_lot=given.over_lot or "middle",
    )


def _seismic_sources(tract: Site, lots: pd.DataFrame) -> dict[str, Source]:
    names = ("ss_g", "s1_g", "sms_g", "sm1_g", "sds_g", "sd1_g")
    return {n: source(getattr(tract.hazards, n), n, lots) for n in names if getattr(tract.hazards, n) is not None}


def _class_sources(tract: Site, lots: pd.DataFrame) -> dict[str, dict[str, Source]]:
    """SMS and SM1 by site class, as the project file writes the class."""
    return {
        written: {name: source(getattr(values, name), name, lots) for name in ("sms_g", "sm1_g")}
        for written, values in tract.site_classes.items()
    }


def _site_class(tract: Site, lots: pd.DataFrame) -> Source | None:
    return source(tract.hazards.site_class, "site_class", lots) if tract.hazards.site_class else None


# --- exposure -----------------------------------------------------------------------------------------------------


def _exposure(
    tract: Site,
    lots: gpd.GeoDataFrame,
    out: SiteHazards,
    around: GroundAround,
    issues: Issues,
    findings: Findings,
    workers: int,
    keep: Keep,
) -> None:
    if tract.hazards.exposure is not None:
        _exposure_as_given(tract, lots, out, issues, findings)
    elif around.cover is not None:
        _exposure_from_land_cover(tract, lots, out, around, issues, findings, workers, keep)
    else:
        issues.add(
            "exposure_missing", "stop", "project file [hazards]", "neither exposure nor land_cover", "one of them", ""
        )
        issues.raise_stops()
    _worst_letter(out)


def _exposure_as_given(
    tract: Site, lots: gpd.GeoDataFrame, out: SiteHazards, issues: Issues, findings: Findings
) -> None:
    """One letter a lot from the project file or a lots column; a cell that is no letter leaves its lot unknown."""
    given, n = tract.hazards.exposure, len(out.points)
    assert given is not None
    where = "project file [hazards] exposure"
    if given.file is not None:
        issues.add("exposure_raster", "stop", where, "a raster", "a value or a lots column; or land_cover instead", "")
    elif given.column is None and str(given.value).strip().upper() not in LETTERS:
        issues.add("exposure_letter", "stop", where, repr(given.value), "B, C or D", "correct the value")
    issues.raise_stops()
    written = lots["exposure"].to_numpy(dtype=object) if given.column else np.full(n, given.value, dtype=object)
    texts = np.array(["" if v is None or v != v else str(v).strip().upper() for v in written], dtype=object)
    unknown = ~np.isin(texts, LETTERS)
    for i in np.flatnonzero(unknown):
        issues.add(
            "exposure_letter",
            "skip",
            f"lots {out.points.lot_id[i]}",
            f"exposure {texts[i]!r}" if texts[i] else "no exposure",
            "B, C or D",
            "no numbers for it",
            str(out.points.lot_id[i]),
        )
    letters = np.where(unknown, "?", texts).astype("<U1")
    out.letters = np.repeat(letters[:, None], DIRECTIONS, axis=1)
    out.columns["ground_state"] = np.full(n, GIVEN_STATE, dtype=object)
    out.provenance["exposure"] = f"column {given.column}" if given.column else "constant, project file"
    findings.add("EXPO_UNKNOWN", unknown, "no letter is given")


def _worst_letter(out: SiteHazards) -> None:
    """The worst direction's letter (26.7.4): D if any direction is D, unknown if any is unknown, else C, else B."""
    letters = out.letters
    worst = np.where((letters == "C").any(axis=1), "C", "B")
    worst = np.where((letters == "?").any(axis=1), "", worst)
    worst = np.where((letters == "D").any(axis=1), "D", worst)
    out.columns["exposure"] = worst
    out.columns["exposure_by_direction"] = _joined(letters)


def bounded_letters(letters: NDArray[np.str_]) -> NDArray[np.str_]:
    """Letters for the loads, (n, 16): where one direction is D, an unknown one can be no worse than D."""
    some_d = (letters == "D").any(axis=1, keepdims=True)
    return np.where((letters == "?") & some_d, "D", letters)


def _exposure_from_land_cover(
    tract: Site,
    lots: gpd.GeoDataFrame,
    out: SiteHazards,
    around: GroundAround,
    issues: Issues,
    findings: Findings,
    workers: int,
    keep: Keep,
) -> None:
    rules = tract.exposure.rules()
    tallest = _tallest_ft(out.height_ft)
    upwind = ground_upwind(tract, out, issues, around.cover)
    window, ground, plan = upwind.window, upwind.ground, upwind.plan
    state = resolve_state(plan, tract.tract.ground_state)
    measured = keep(
        "fetch of the ground",
        lambda: _measured(
            measure_states(
                ground, plan, out.points.xy, out.points.crs, rules, greatest_height_ft=tallest, workers=workers
            )
        ),
        (Fetch, ExposureRules),
    )
    states = StateFetch(plan, *measured)
    results = exposure_states(states, out.height_ft)
    phase = lots["phase"].to_numpy(dtype=str)
    chosen, named = design_exposure(results, plan, state, phase)
    out.letters = chosen.letters
    out.letters_at = lambda height: (
        design_exposure(exposure_states(states, np.minimum(height, tallest)), plan, state, phase)[0].letters
    )
    out.columns |= {
        "ground_state": named.astype(object),
        "rough_share_min": chosen.rough_share_min,
        "exposure_margin_ft": np.where(np.isfinite(chosen.margin_ft), chosen.margin_ft, np.nan),
        "exposure_governing_bearing_deg": chosen.governing_bearing_deg,
    }
    for name in ("today", "built out"):
        out.columns[f"exposure_{name.replace(' ', '_')}"] = _shown(results[name].exposure)
    out.columns["exposure_by_state"] = state_texts(results)
    flips = design_flips(
        states,
        out.height_ft,
        state,
        named,
        share_band=tract.exposure.flip_share,
        distance_band_ft=tract.exposure.flip_distance_ft,
    )
    out.columns["exposure_flips"] = flips.flips.astype(object)
    out.exposure = ExposureView(chosen, flips)
    depends = depends_on_phase(states, out.height_ft, phase, results) if plan.names else np.full(len(phase), "")
    out.columns["exposure_depends_on"] = depends.astype(object)
    findings.add("EXPO_PHASE", depends != "", lambda i: f"letter depends on phase {depends[i]} being built")
    near = np.abs(chosen.rough_share_min - rules.rough_share) <= EXPOSURE_NEAR_SHARE
    near &= np.isin(chosen.exposure, ["B", "C"])
    findings.add(
        "EXPO_NEAR",
        near,
        lambda i: f"share of rough ground {chosen.rough_share_min[i]:.2f} against {rules.rough_share:.2f}",
    )
    blind = (chosen.letters == "?").any(axis=1) & (chosen.exposure != "D")
    findings.add("EXPO_UNKNOWN", blind, lambda i: f"{chosen.missing_ft[i]:,.0f} ft more ground must be known upwind")
    sectors = partial(sector_layer, out.points.xy, chosen, out.height_ft, rules)
    out.layers["exposure_sectors"] = (sectors, out.working.crs)
    out.provenance["exposure"] = f"land cover {window.source}, full sectors, share {rules.rough_share} prevails"


def _measured(states: StateFetch) -> tuple[dict[str, Fetch], dict[str, Fetch]]:
    return dict(states.fetch), dict(states.without)


@dataclass(frozen=True)
class GroundUpwind:
    """The land cover read around the lots, as roughness, with the phases laid over it."""

    window: RasterWindow
    ground: RoughnessMap
    plan: PhasePlan
    tallest_ft: float


def ground_upwind(tract: Site, out: SiteHazards, issues: Issues, window: RasterWindow | None = None) -> GroundUpwind:
    """The land cover, and what stands or floats on it, as far as the exposure needs it. Raises InputError.

    `window` is the land cover where it was read already.
    """
    cover = tract.hazards.land_cover
    assert cover is not None
    if window is None:
        window, _ = _read_cover(tract, out.points, out.height_ft, issues)
    table = read_roughness_table(cover.classes)
    if wrong := check_legend(window, table):
        raise InputError(wrong)
    shapes = {key: _shapes(tract, key, out, issues) for key in ("footprints", "water", "tree_belt")}
    ground = roughness_map(
        window,
        table,
        footprints=shapes["footprints"],
        trees=shapes["tree_belt"],
        water=shapes["water"],
        vector_crs=out.working.crs,
        pad_cells=0,
    )
    issues.extend(ground.issues)
    return GroundUpwind(window, ground, _phases(tract, out, issues), _tallest_ft(out.height_ft))


def with_letters(out: SiteHazards, letters: NDArray[np.str_], edition: str, strict: bool) -> SiteHazards:
    """The same lots under other exposure letters (n, 16): Kzt from the same terrain, pressures anew."""
    again = replace(out, letters=letters, columns=dict(out.columns))
    _worst_letter(again)
    if out.terrain is not None:
        assessed = out.terrain.result.assess(out.terrain.z_ft, bounded_letters(letters))
        again.kzt = assessed.kzt_strict if strict else assessed.kzt_screening
        again.columns["kzt"] = again.kzt.max(axis=1)
    _pressures(again, edition)
    return again


def with_wind(out: SiteHazards, edition: str, speed: float = 1.0, kzt: float = 1.0) -> SiteHazards:
    """The same lots with wind speed, or Kzt (never below 1), times a factor."""
    again = replace(
        out, columns=dict(out.columns), kzt=np.fmax(out.kzt * kzt, np.where(np.isnan(out.kzt), np.nan, 1.0))
    )
    again.speed = replace(out.speed, values=out.speed.values * speed)
    again.columns["kzt"] = again.kzt.max(axis=1)
    _pressures(again, edition)
    return again


def _shown(letters: NDArray[np.str_]) -> NDArray[np.object_]:
    """Letters as a table shows them: blank where unknown."""
    return np.where(letters == "?", "", letters).astype(object)


def ground_layer(tract: Site, key: str, out: SiteHazards, issues: Issues) -> gpd.GeoDataFrame | None:
    """A vector layer of [ground] in the working system; None where the project names none. Raises where unreadable."""
    given = getattr(tract.ground, key)
    if given is None:
        return None
    layer = read_layer(
        VectorFile(given.file, tract.shown(given.file), given.layer, given.crs, key=f"[ground] {key}"), issues
    )
    if layer is None:
        raise InputError(issues.stops())
    frame = layer.frame[layer.frame.geometry.notna()]
    return frame.set_geometry(frame.geometry.force_2d()).to_crs(out.working.crs)


def _shapes(tract: Site, key: str, out: SiteHazards, issues: Issues) -> list[Any] | None:
    layer = ground_layer(tract, key, out, issues)
    return None if layer is None else list(layer.geometry)


def _phases(tract: Site, out: SiteHazards, issues: Issues) -> PhasePlan:
    given, layer = tract.ground.phases, ground_layer(tract, "phases", out, issues)
    if given is None or layer is None:
        return PhasePlan()
    where = tract.shown(given.file)
    if given.column not in layer.columns:
        issues.add(
            "phase_column",
            "stop",
            where,
            f"no column {given.column}",
            f"one of {', '.join(str(c) for c in layer.columns if c != 'geometry')}",
            "set ground.phases.column",
        )
        issues.raise_stops()
    return phase_plan(
        layer.geometry,
        layer[given.column].astype(str),
        given.order,
        crs=out.working.crs,
        built=given.built,
        where=where,
    )


# --- terrain ------------------------------------------------------------------------------------------------------


def _terrain(
    tract: Site,
    lots: gpd.GeoDataFrame,
    out: SiteHazards,
    around: GroundAround,
    issues: Issues,
    findings: Findings,
    workers: int,
    keep: Keep,
) -> None:
    given, n = tract.hazards.kzt, len(out.points)
    if given is not None:
        values = read_values(source(given, "kzt", lots), out.points, issues)
        out.read["Kzt"] = values
        out.kzt = np.repeat(values.values[:, None], DIRECTIONS, axis=1)
        screening = out.kzt_strict = out.kzt
        out.provenance["kzt"] = values.provenance
    elif around.elevation is not None:
        screening = _terrain_from_elevation(tract, lots, out, around.elevation, findings, workers, keep)
    else:
        issues.add(
            "kzt_none",
            "note",
            "project file [hazards]",
            "neither kzt nor an elevation raster",
            "one of them",
            "Kzt = 1.0 taken: level ground",
        )
        screening = out.kzt = out.kzt_strict = np.ones((n, DIRECTIONS))
        out.provenance["kzt"] = "1.0, no terrain given"
    for name, values_by_direction in (
        ("kzt", out.kzt),
        ("kzt_screening", screening),
        ("kzt_strict", out.kzt_strict),
    ):
        out.columns[name] = values_by_direction.max(axis=1)  # NaN spreads: one unknown direction may be the worst
    out.columns["kzt_by_direction"] = _sixteen_texts(out.kzt)
    findings.add("KZT", np.nan_to_num(out.kzt).max(axis=1) >= 1.5, lambda i: f"Kzt {np.nanmax(out.kzt[i]):.2f}")


def _joined(texts: NDArray[np.str_]) -> NDArray[np.object_]:
    """Rows of short texts (n, m) as one text each."""
    whole = np.ascontiguousarray(texts)
    width = whole.dtype.itemsize // 4 * whole.shape[1]
    return whole.view(f"<U{width}").reshape(len(whole)).astype(object) if len(whole) else np.empty(0, dtype=object)


HUNDREDTHS = np.array([f"{k / 100:.2f} " for k in range(1000)])


def _sixteen_texts(values: Floats) -> NDArray[np.object_]:
    """Sixteen numbers as one text, "?" where unknown."""
    hundreds = np.where(np.isnan(values), -1.0, values) * 100.0
    nearest = np.rint(hundreds)
    # a table serves all but numbers that lie on the edge between two hundredths, and those it does not hold
    plain = ((nearest >= 0) & (nearest < len(HUNDREDTHS)) & (np.abs(hundreds - nearest) < 0.499)).all(axis=1)
    out = np.empty(len(values), dtype=object)
    out[plain] = [text[:-1] for text in _joined(HUNDREDTHS[nearest[plain].astype(np.int64)])]
    for i in np.flatnonzero(~plain):
        out[i] = " ".join("?" if np.isnan(v) else f"{v:.2f}" for v in values[i])
    return out


def _terrain_from_elevation(
    tract: Site,
    lots: gpd.GeoDataFrame,
    out: SiteHazards,
    window: RasterWindow,
    findings: Findings,
    workers: int,
    keep: Keep,
) -> Floats:
    """Kzt of every lot and direction from the terrain; returns the screening values."""
    settings = tract.terrain.settings_for(tract.design.loads)
    result = topography(
        window, out.points.xy, out.points.crs, settings, workers, keep=lambda make: keep("terrain", make, (Features,))
    )
    z = height_above_ground_ft(out.height_ft, result.ground_ft, lots["pad_elevation_ft"].to_numpy(dtype=float))
    letters = bounded_letters(out.letters)
    assessed = result.assess(z, letters)
    strict = tract.terrain.kzt_isolation == "strict"
    out.kzt = assessed.kzt_strict if strict else assessed.kzt_screening
    out.kzt_strict = assessed.kzt_strict
    band = result.kzt_band(z, letters, tract.terrain.flip_share)
    out.terrain = TerrainView(result, assessed, z, letters, band)
    _terrain_columns(out, out.terrain)
    _terrain_findings(out, out.terrain, findings)
    which = "conditions of isolation applied" if strict else "conditions of isolation not applied (screening)"
    out.provenance["kzt"] = f"elevation {window.source}, 16 profiles a lot, {which}; {settings.limits()}"
    out.layers["terrain_crests"] = (partial(result.crests, assessed), out.working.crs)
    return assessed.kzt_screening


def _terrain_columns(out: SiteHazards, view: TerrainView) -> None:
    """The feature that governs a lot's Kzt, or comes nearest to counting where Kzt is 1."""
    assessed = view.assessment
    lot, way = np.arange(len(out.points)), np.maximum(assessed.governing_direction, 0)
    none = assessed.governing_direction < 0
    for name, values in (
        ("terrain_h_ft", assessed.height_ft),
        ("terrain_lh_ft", assessed.half_length_ft),
        ("terrain_x_ft", assessed.x_ft),
    ):
        out.columns[name] = np.where(none, np.nan, values[lot, way])
    out.columns["terrain_form"] = np.where(none, "", assessed.form[lot, way])
    out.columns["terrain_bearing_deg"] = np.where(none, np.nan, 22.5 * way)
    out.columns["terrain_margin"] = assessed.margin
    out.columns["terrain_margin_of"] = assessed.margin_of
    low, now, high = (k.max(axis=1) for k in (view.band.least, assessed.kzt_screening, view.band.greatest))
    out.columns["kzt_flips"] = ((low < now - 1e-9) | (high > now + 1e-9)).astype(object)


def _terrain_findings(out: SiteHazards, view: TerrainView, findings: Findings) -> None:
    flags, assessed = view.assessment.flags, view.assessment
    raised = np.nan_to_num(assessed.kzt_screening, nan=1.0).max(axis=1) > 1.0
    form = out.columns["terrain_form"]
    for code, flag in (
        ("KZT_NOT_ISOLATED", "NOT_ISOLATED"),
        ("KZT_STEP", "MAN_MADE_STEP"),
        ("KZT_UNSEEN", "ISOLATION_UNSEEN"),
        ("KZT_FOOT", "BASE_BEYOND_PROFILE"),
    ):
        findings.add(code, flags[flag] & raised, lambda i: form[i])
    findings.add(
        "KZT_NEAR",
        flags["NEAR_THRESHOLD"],
        lambda i: f"margin {assessed.margin[i]:.3f} of {assessed.margin_of[i]}",
    )
    findings.add("KZT_VALLEY", flags["VALLEY_OR_PASS"], "higher ground on two sides")
    findings.add("TERRAIN_UNKNOWN", flags["PROFILE_TRUNCATED"], "a profile leaves the elevation raster")


# --- pressures ----------------------------------------------------------------------------------------------------


def _pressures(out: SiteHazards, edition: str) -> None:
    """Velocity pressures at the mean roof height: the worst direction's Kz x Kzt, for each chapter's own Kz rule.

    ASCE 7-16 and 7-22, 26.7.4, 26.8.2, 26.10: exposure and Kzt belong to one wind direction, so their product is
    taken before the maximum; Chapter 28 has its own least Kz, so its worst direction may be another one.
    """
    letters, h = bounded_letters(out.letters), out.height_ft[:, None]
    product = ch26.kz(h, letters, edition) * out.kzt
    ke, v = out.elevation.ke[:, None], out.speed.values[:, None]
    out.q_by_direction_psf = ch26.velocity_pressure_psf(product, 1.0, ch26.kd(edition), ke, v, edition)
    for floor, name in ((True, "envelope"), (False, "components")):
        product, direction = worst_product(ch26.kz(h, letters, edition, floor), out.kzt)
        q = ch26.velocity_pressure_psf(product, 1.0, ch26.kd(edition), out.elevation.ke, out.speed.values, edition)
        setattr(out, f"q_{name}_psf", q)
        setattr(out, f"{name}_direction", direction)
        out.columns[f"q_{name}_psf"] = q
        known = direction >= 0
        out.columns[f"governing_wind_{name}_deg"] = np.where(known, 22.5 * np.maximum(direction, 0), np.nan)


def at_height(tract: Site, lots: gpd.GeoDataFrame, site: SiteHazards, height_ft: Floats) -> SiteHazards:
    """The same lots with houses of other mean roof heights (n,): letters, Kzt and pressures; all else stays.

    Letters above the tallest house that was measured (at least 30 ft) are those of that height.
    """
    out = replace(site, height_ft=height_ft, columns=dict(site.columns))
    if site.letters_at is not None:
        out.letters = site.letters_at(height_ft)
    if site.terrain is not None:
        ground = site.terrain.result
        z = height_above_ground_ft(height_ft, ground.ground_ft, lots["pad_elevation_ft"].to_numpy(dtype=float))
        screening, out.kzt_strict = ground.kzt(z, bounded_letters(out.letters))
        out.kzt = out.kzt_strict if tract.terrain.kzt_isolation == "strict" else screening
    _pressures(out, tract.design.loads)
    return out


def _why_missing(name: str, values: LotValues) -> Callable[[int], str]:
    return lambda i: f"{name}: {values.reason[i]} ({values.provenance})"


def _missing(out: SiteHazards, findings: Findings) -> None:
    for name, values in out.read.items():
        lost = np.isnan(values.values)
        findings.add("HAZARD_MISSING", lost, _why_missing(name, values))
    findings.add(
        "SITE_F", np.isin(out.seismic.site_class, ["F", "?"]), lambda i: f"site class {out.seismic.site_class[i]}"
    )
    findings.add("SNOW70", np.asarray(out.snow_psf > 70.0), lambda i: f"ground snow {out.snow_psf[i]:.0f} psf")
    severities, meanings = code_severities(), code_meanings()
    for i, codes in enumerate(out.seismic.codes):
        for code in codes:
            if code in ("seismic_unknown", "sdc_e", "site_class_f"):  # told under this package's own codes
                continue
            findings.one(i, code.upper(), meanings[code], severity=severities[code])
