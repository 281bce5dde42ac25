"""The tables of a project file: their keys, units, ranges and defaults."""

from __future__ import annotations

import math
import os
from dataclasses import fields as dataclass_fields
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from hazard.exposure_rules import ExposureRules
from hazard.topography_settings import TopographySettings

REMOTE_RASTER = "a local file; nothing is fetched from elsewhere unless the run allows it"


def shown_path(path: Path, folder: Path) -> str:
    """A path as results may show it: relative to the project file, or only its name."""
    return path.relative_to(folder).as_posix() if path.is_relative_to(folder) else path.name


def _path(value: Any, info: ValidationInfo) -> Path:
    """A path beside the project file; remote names and GDAL's virtual file systems are refused."""
    if not isinstance(value, str) or not value.strip():
        raise ValueError("a path in quotes")
    if "://" in value or value.startswith("/vsi") or "\0" in value:
        raise ValueError("a local file; nothing is fetched from elsewhere")
    folder = (info.context or {}).get("folder", Path())
    return Path(os.path.abspath(folder / value))


def _raster(value: Any, info: ValidationInfo) -> Path | str | tuple[Path | str, ...]:
    """A raster's path or address; a list of them, or a name with * in it, are the tiles of one raster."""
    if not isinstance(value, list | tuple):
        found = _raster_files(value, info)
        return found[0] if len(found) == 1 else found
    if not value:
        raise ValueError("at least one path in quotes")
    return tuple(file for each in value for file in _raster_files(each, info))


def _raster_files(value: Any, info: ValidationInfo) -> tuple[Path | str, ...]:
    """The files that one name stands for, sorted; a pattern that fits none stands for itself."""
    if isinstance(value, str) and value.casefold().startswith("https://"):
        if (info.context or {}).get("allow_remote", False):
            return (value,)
        raise ValueError(REMOTE_RASTER)
    path = _path(value, info)
    if "*" not in path.name:
        return (path,)
    return tuple(sorted(file for file in path.parent.glob(path.name) if file.is_file())) or (path,)


def _texts(value: Any) -> tuple[str, ...]:
    """A list of texts; whole numbers are taken as their digits (phase 1 and "1" are the same phase)."""
    if not isinstance(value, list | tuple) or not all(isinstance(v, str | int) and v is not True for v in value):
        raise ValueError('a list of texts, such as ["1", "2"]')
    return tuple(str(v) for v in value)


def _text_or_number(value: Any) -> str | float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError("a number, or a text in quotes")
    if isinstance(value, str):
        return value.strip()
    if not math.isfinite(value):
        raise ValueError("a finite number")
    return float(value)


InputPath = Annotated[Path, BeforeValidator(_path)]
RasterFiles = Annotated[Path | str | tuple[Path | str, ...], BeforeValidator(_raster), "path or list of paths"]
Texts = Annotated[tuple[str, ...], BeforeValidator(_texts)]
TextOrNumber = Annotated[str | float, BeforeValidator(_text_or_number)]
Share = Annotated[float, Field(ge=0, le=1)]
Feet = Annotated[float, Field(ge=0, le=1000)]


class Section(BaseModel):
    """A table of the file: unknown keys, other types and values that are not finite are faults."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class TractSection(Section):
    """What is screened."""

    name: str = Field(min_length=1, max_length=200, description="name of the tract")
    ground_state: str = Field(
        "worst",
        description='which state of the ground governs: "worst" of all states for each lot, "at permit" (the phases '
        'before the lot\'s own stand), "today", a phase (it and those before it stand), or "built out"',
    )
    as_of: date | None = Field(None, description="date at which the ages of inputs are judged; none: not judged")


class DesignSection(Section):
    """Which standard, which method."""

    loads: Literal["ASCE 7-16", "ASCE 7-22"] = Field("ASCE 7-16", description="edition of the load standard")
    method: Literal["ASD", "LRFD"] = Field("ASD", description="allowable stress design (ASD) or strength design (LRFD)")
    wind_procedure: Literal["envelope", "directional"] = Field(
        "envelope",
        description='main wind procedure: "envelope" (Chapter 28, the worst direction for every house) or '
        '"directional" (Chapter 27, each face by the winds that meet it: give the lots\' front bearings)',
    )
    roof_ties: Literal["main", "components"] = Field(
        "main",
        description="which wind sizes truss ties and the studs under them: the main system, or the larger of it and "
        "components and cladding",
    )
    hurricane_prone: bool | None = Field(
        None, description="whether the tract lies in a hurricane-prone region; none: judged by speed alone"
    )
    within_a_mile_of_coast: bool = Field(False, description="lowers the debris-region speed to 130 mph")
    sds_cap: bool = Field(
        False,
        description="take SDS as 1.0 (not under 0.7 SDS) for base shear and vertical shaking, 12.8.1.3: your statement "
        "that every house is regular; applied only where the plan's geometry shows no irregularity and gives rho 1.0, "
        "to five storeys, to 0.5 s, site class not E or F",
    )
    special_wind_region: bool = Field(False, description="whether the whole tract lies in a special wind region")
    salt_water_distance_ft: Annotated[float, Field(ge=0, le=1e7)] | None = Field(
        None, description="distance to salt water, where neither the lots nor [ground] water tell; none: not judged"
    )


class Setbacks(Section):
    """Least distances from the lot lines, where the lots file gives none of its own."""

    front_ft: Feet = Field(description="from the front lot line")
    rear_ft: Feet = Field(description="from the rear lot line")
    side_ft: Feet = Field(description="from a side lot line")
    street_side_ft: Feet | None = Field(None, description="from a side on a street; default: side_ft")


class LotsSection(Section):
    """The lots file."""

    file: InputPath = Field(
        description="any vector format GDAL reads; DXF, LandXML, GeoParquet, CSV of points too; a zip of one of these"
    )
    layer: str | None = Field(None, description="layer of the file; needed where it holds several")
    columns: dict[str, str] = Field(default_factory=dict, description="our name = the file's name, where they differ")
    crs: str | None = Field(None, description="coordinate system, only where the file lacks one")
    axes: Literal["xy", "yx"] = Field("xy", description='"yx" where the file gives northing (latitude) first')
    encoding: str | None = Field(None, description="text encoding, only where the file does not say")
    setbacks: Setbacks | None = Field(None, description="setbacks where the lots give none")


class GroundFile(Section):
    """A vector layer of the ground."""

    file: InputPath = Field(description="vector file")
    layer: str | None = Field(None, description="layer of the file; needed where it holds several")
    crs: str | None = Field(None, description="coordinate system, only where the file lacks one")


class PhasesFile(GroundFile):
    """Polygons of the phases, and the order in which they are built."""

    column: str = Field("phase", description="column that names the phase")
    order: Texts = Field(description="phases in the order they are built")
    built: Texts = Field((), description="phases that stand today")


class WaterFile(GroundFile):
    """Polygons of open water."""

    salt_column: str | None = Field(None, description="column that says yes where the water is salt")


class GroundSection(Section):
    """What stands on the ground, now and later."""

    phases: PhasesFile | None = Field(None, description="ground of each phase")
    streets: GroundFile | None = Field(None, description="street lines, for fronts and corner lots")
    footprints: GroundFile | None = Field(None, description="buildings that stand")
    water: WaterFile | None = Field(None, description="open water")
    tree_belt: GroundFile | None = Field(
        None, description="trees that are bound to stay (easement, preserve): counted as rough ground"
    )


class HazardSource(Section):
    """Where one hazard comes from: a raster (file), a constant (value) or a column of the lots."""

    file: RasterFiles | None = Field(
        None,
        description='raster; or its tiles, as ["n36.tif", "n37.tif"] or "tiles/*.tif", in any order: all on one grid, '
        "where two overlap the first by name counts; or a GeoTIFF's https address, fetched only with --allow-remote",
    )
    value: TextOrNumber | None = Field(None, description="one value for every lot")
    column: str | None = Field(None, description="column of the lots file")
    units: str | None = Field(None, description="unit of the raster or value, where it is not the name's")
    band: Annotated[int, Field(ge=1)] | None = Field(None, description="band of the raster, where it has several")
    classes: InputPath | None = Field(None, description="land cover only: table from class to roughness")
    dated: date | None = Field(None, description="date of the data, for notes on its age")
    model: Literal["bare earth", "surface"] | None = Field(
        None, description="elevation only: of the bare earth, or with roofs and trees; none: taken as bare earth, noted"
    )
    over_lot: Literal["middle", "mean", "governing"] | None = Field(
        None,
        description="which value of a raster a lot of 16 cells or more takes: at its middle (also if none is given; "
        "said where the lot holds a value that loads more), the mean of its cells, or the governing one (the greatest; "
        "of elevation, for Ke, the least)",
    )

    @property
    def files(self) -> tuple[Path | str, ...]:
        """Its rasters: none, one, or several tiles."""
        if self.file is None:
            return ()
        return self.file if isinstance(self.file, tuple) else (self.file,)


class HazardsSection(Section):
    """Each hazard: a raster, a constant, or a lots column."""

    wind_speed_mph: HazardSource = Field(description="basic wind speed, Risk Category II")
    land_cover: HazardSource | None = Field(None, description="land-cover classes, for the exposure")
    elevation_ft: HazardSource | None = Field(None, description="bare-earth elevation, for Kzt and Ke")
    ss_g: HazardSource | None = Field(None, description="SS")
    s1_g: HazardSource | None = Field(None, description="S1")
    sms_g: HazardSource | None = Field(None, description="SMS for the site class (ASCE 7-22)")
    sm1_g: HazardSource | None = Field(None, description="SM1 for the site class (ASCE 7-22)")
    sds_g: HazardSource | None = Field(None, description="SDS, where the jurisdiction states it")
    sd1_g: HazardSource | None = Field(None, description="SD1, where the jurisdiction states it")
    site_class: HazardSource | None = Field(None, description="site class")
    exposure: HazardSource | None = Field(None, description="replaces the land-cover method")
    kzt: HazardSource | None = Field(None, description="replaces the terrain method")
    ground_snow_psf: HazardSource | None = Field(None, description="ground snow load")


class ClassValues(Section):
    """SMS and SM1 mapped for one site class (ASCE 7-22)."""

    sms_g: HazardSource = Field(description="SMS for this class: a raster or a value")
    sm1_g: HazardSource = Field(description="SM1 for this class: a raster or a value")


_RULES, _TERRAIN = ExposureRules(), TopographySettings()


class ExposureSection(Section):
    """How the exposure is judged from land cover. Shares are this tool's choices: the standard only says 'prevails'."""

    rough_share: Annotated[float, Field(gt=0, le=1)] = Field(
        _RULES.rough_share, description="share of rough ground (B) in a 45 degree sector from which on it prevails"
    )
    open_gap_ft: Feet = Field(
        _RULES.open_gap_ft, description="longest stretch of mostly open rings inside ground that counts as rough"
    )
    rough_ring_share: Annotated[float, Field(gt=0, le=1)] = Field(
        _RULES.rough_ring_share, description="share of rough ground below which a 100 ft ring counts as open"
    )
    smooth_ring_share: Annotated[float, Field(gt=0, le=1)] = Field(
        _RULES.smooth_ring_share, description="share of water or the like (D) from which on a ring counts as smooth"
    )
    smooth_gap_ft: Feet = Field(_RULES.smooth_gap_ft, description="gap in smooth ground that is bridged")
    rough_distance_low_ft: Annotated[float, Field(ge=100, le=10_000, multiple_of=100)] = Field(
        _RULES.rough_distance_low_ft,
        description="fetch of B at mean roof heights up to 30 ft; local text may ask more than the standard",
    )
    rough_distance_tall_ft: Annotated[float, Field(ge=100, le=10_000, multiple_of=100)] = Field(
        _RULES.rough_distance_tall_ft, description="fetch of B above 30 ft (or 20 heights, if longer)"
    )
    flip_share: Share = Field(
        0.10, description="a lot is listed where its letter changes with rough_share moved by this either way"
    )
    flip_distance_ft: Feet = Field(
        100.0, description="and where it changes with every distance moved by this either way"
    )

    def rules(self) -> ExposureRules:
        """The same as `hazard` takes them."""
        own = {f.name for f in dataclass_fields(ExposureRules)}
        return ExposureRules(**{name: value for name, value in self.model_dump().items() if name in own})


class TerrainSection(Section):
    """How Kzt is read from the elevation."""

    kzt_isolation: Literal["screening", "strict"] = Field(
        "screening",
        description="which Kzt drives the loads: with the isolation conditions of 26.8.1 not applied (screening, the "
        "safe side) or applied (strict); both are shown",
    )
    search_upwind_ft: Annotated[float, Field(ge=1000, le=50_000)] = Field(
        _TERRAIN.search_upwind_ft, description="how far upwind the ground must be known; 2 miles by 26.8.1"
    )
    search_downwind_ft: Annotated[float, Field(ge=500, le=50_000)] = Field(
        _TERRAIN.search_downwind_ft, description="how far downwind the ground must be known"
    )
    flip_share: Annotated[float, Field(ge=0, le=_TERRAIN.keep_near)] = Field(
        _TERRAIN.near_threshold,
        description="a lot is listed where its Kzt changes with a condition (H, H/Lh, upper half) moved by this share",
    )

    def settings_for(self, edition: str) -> TopographySettings:
        """The same as `hazard` takes them."""
        return TopographySettings(
            edition=edition,
            search_upwind_ft=self.search_upwind_ft,
            search_downwind_ft=self.search_downwind_ft,
            near_threshold=self.flip_share,
        )


class PlansSection(Section):
    """The plan library."""

    folder: InputPath = Field(description="folder with one TOML a plan")


class HardwareSection(Section):
    """The hardware list."""

    file: InputPath = Field(description="CSV, one row an item")


class ToleranceSection(Section):
    """How far an input is moved either way to list the lots whose package changes; as a share, 0 leaves it out."""

    wind: Annotated[float, Field(ge=0, le=0.5)] = Field(0.03, description="wind speed, as a share of it")
    rough_share: Annotated[float, Field(ge=0, le=0.5)] = Field(
        0.10, description="[exposure] rough_share, the share of rough ground that prevails: points either way"
    )
    kzt: Annotated[float, Field(ge=0, le=0.5)] = Field(
        0.05, description="topographic factor, as a share; never below 1"
    )
    price: Annotated[float, Field(ge=0, le=0.9)] = Field(0.10, description="prices of one family of items at a time")


class TiersSection(Section):
    """How many packages the crews can keep apart, what a package costs beside its items, and which items may be
    used."""

    most: Annotated[int, Field(ge=1, le=50)] = Field(
        4, description='greatest number of packages in the tract, or for each plan where scope is "plan"'
    )
    kept: InputPath | None = Field(
        None, description="packages.csv of an earlier run, for lots that keep a package (lots column package)"
    )
    scope: Literal["tract", "plan"] = Field(
        "tract", description="packages for the whole tract, or for each plan family by itself"
    )
    handling_usd: Annotated[float, Field(ge=0, le=1e6)] = Field(0.0, description="cost of every package on the site")
    stocking_usd_per_item: Annotated[float, Field(ge=0, le=1e6)] = Field(
        0.0, description="cost of having one kind of item on the site at all"
    )
    mixup_usd: Annotated[float, Field(ge=0, le=1e6)] = Field(
        0.0, description="cost of a house built with a wrong package"
    )
    mixup_rate: Share = Field(0.0, description="chance of that, a house and package beyond the first on the site")
    least_lots: Annotated[int, Field(ge=1, le=10_000)] = Field(
        1, description="least number of lots of a chosen package"
    )
    forbidden: Texts = Field((), description="items that no package may hold")
    preferred: Texts = Field((), description="items taken where they cost little more: see preferred_discount")
    preferred_discount: Share = Field(0.02, description="share by which preferred items count as cheaper in the choice")
    in_stock: Texts = Field((), description="items paid for already: only their labour counts in the choice")
    outside_permit: Literal["any", "own", "none"] = Field(
        "any",
        description='lots outside their plan\'s permit: any package, packages of their "own", or "none" at all',
    )
    tolerance: ToleranceSection = ToleranceSection()  # type: ignore[call-arg]


class AgesSection(Section):
    """Greatest age of dated inputs, in years at [tract] as_of; older ones are noted on every lot they touch."""

    land_cover_years: Annotated[float, Field(gt=0)] = Field(5.0, description="land cover")
    elevation_years: Annotated[float, Field(gt=0)] = Field(10.0, description="elevation")
    capacity_years: Annotated[float, Field(gt=0)] = Field(5.0, description="documents of the hardware loads")
    price_years: Annotated[float, Field(gt=0)] = Field(0.5, description="hardware prices (column price_date)")
    seal_years: Annotated[float, Field(gt=0)] = Field(6.0, description="seals of the plan sets")


class DropDays(Section):
    """Days from foundation release (the lot's start) to the day a delivery is needed (common practice, no source)."""

    foundation: Annotated[int, Field(ge=0, le=365)] = Field(3, description="foundation hardware; practice: day 3 to 7")
    walls: Annotated[int, Field(ge=0, le=365)] = Field(14, description="first floor walls; practice: day 14 to 21")
    floor: Annotated[int, Field(ge=0, le=365)] = Field(20, description="floor, second storey; practice: day 20 to 28")
    roof: Annotated[int, Field(ge=0, le=365)] = Field(25, description="roof; practice: day 25 to 35")


Days = Annotated[int, Field(ge=0, le=730)]


class PurchaseSection(Section):
    """How hardware is bought."""

    labour_usd_per_h: Annotated[float, Field(ge=0, le=10_000)] = Field(
        description="cost of an hour of labour, burdened"
    )
    waste: Share = Field(0.05, description="share added for waste where an item gives none")
    order_level: Literal["phase", "drop", "house"] = Field("phase", description="where boxes are rounded up")
    plan_mix: dict[str, Share] = Field(default_factory=dict, description="shares of plans on lots with no plan yet")
    mix_certainty: Annotated[float, Field(gt=0, le=1e6)] | None = Field(
        None,
        description="how sure plan_mix is: as from that many houses sold (a Dirichlet); none: certain, so that "
        "lots are independent",
    )
    order_period: Literal["week", "month"] = Field("month", description="orders are gathered by week or by month")
    drop_day: DropDays = DropDays()  # type: ignore[call-arg]
    order_margin_days: Days = Field(0, description="calendar days kept in hand between delivery and need")
    lead_time_days: Days = Field(
        14, description="days from order to delivery where an item gives none (common practice, no source)"
    )
    long_lead_days: Days = Field(
        28, description="forecast orders of items with so long a lead are sized at P90, the others at P50"
    )
    buy_to_break: bool = Field(True, description="buy more boxes where a price break makes the whole order cheaper")


class OutputSection(Section):
    """Where the results go."""

    folder: InputPath = Field(description="folder of the results; its path leads to the last complete run")
