"""The project file: one TOML a tract, checked as a whole, every fault reported at once.

Relative paths are relative to the file. An unknown key is an error that names the nearest known one. Only local files
are read: a name that asks for the network is refused, but for the https address of a raster where the caller allows it.
"""

from __future__ import annotations

import difflib
import math
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields as dataclass_fields
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PrivateAttr, ValidationError, ValidationInfo
from pydantic.fields import FieldInfo

from hazard.exposure_rules import ExposureRules
from hazard.issues import Issue, Issues
from hazard.table_cells import shortened
from hazard.topography_settings import TopographySettings
from screener.columns import HAZARD_COLUMNS, LOT_POINTS_INPUT, LOTS_INPUT
from screener.files.toml_files import read_toml

REMOTE_RASTER = "a local file; nothing is fetched from elsewhere unless the run allows it"
_MOST_FAULTS = 200  # told one by one
GROUND_STATES = ("worst", "at permit", "today", "built out")
TEXT_HAZARDS = frozenset(c.name for c in HAZARD_COLUMNS if c.kind == "text")


# ---------------------------------------------------------------- small types


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


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


# ---------------------------------------------------------------- the sections


class TractSection(_Section):
    """What is screened."""

    name: str = Field(min_length=1, max_length=200, description="name of the tract")
    ground_state: str = Field(
        "worst",
        description='which state of the ground governs: "worst" of all states for each lot, "at permit" (the phases '
        'before the lot\'s own stand), "today", a phase (it and those before it stand), or "built out"',
    )
    as_of: date | None = Field(None, description="date at which the ages of inputs are judged; none: not judged")


class DesignSection(_Section):
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


class Setbacks(_Section):
    """Least distances from the lot lines, where the lots file gives none of its own."""

    front_ft: Feet = Field(description="from the front lot line")
    rear_ft: Feet = Field(description="from the rear lot line")
    side_ft: Feet = Field(description="from a side lot line")
    street_side_ft: Feet | None = Field(None, description="from a side on a street; default: side_ft")


class LotsSection(_Section):
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


class GroundFile(_Section):
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


class GroundSection(_Section):
    """What stands on the ground, now and later."""

    phases: PhasesFile | None = Field(None, description="ground of each phase")
    streets: GroundFile | None = Field(None, description="street lines, for fronts and corner lots")
    footprints: GroundFile | None = Field(None, description="buildings that stand")
    water: WaterFile | None = Field(None, description="open water")
    tree_belt: GroundFile | None = Field(
        None, description="trees that are bound to stay (easement, preserve): counted as rough ground"
    )


class HazardSource(_Section):
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


class HazardsSection(_Section):
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


class ClassValues(_Section):
    """SMS and SM1 mapped for one site class (ASCE 7-22)."""

    sms_g: HazardSource = Field(description="SMS for this class: a raster or a value")
    sm1_g: HazardSource = Field(description="SM1 for this class: a raster or a value")


_RULES, _TERRAIN = ExposureRules(), TopographySettings()


class ExposureSection(_Section):
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


class TerrainSection(_Section):
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


class PlansSection(_Section):
    """The plan library."""

    folder: InputPath = Field(description="folder with one TOML a plan")


class HardwareSection(_Section):
    """The hardware list."""

    file: InputPath = Field(description="CSV, one row an item")


class ToleranceSection(_Section):
    """How far an input is moved either way to list the lots whose package changes; as a share, 0 leaves it out."""

    wind: Annotated[float, Field(ge=0, le=0.5)] = Field(0.03, description="wind speed, as a share of it")
    rough_share: Annotated[float, Field(ge=0, le=0.5)] = Field(
        0.10, description="[exposure] rough_share, the share of rough ground that prevails: points either way"
    )
    kzt: Annotated[float, Field(ge=0, le=0.5)] = Field(
        0.05, description="topographic factor, as a share; never below 1"
    )
    price: Annotated[float, Field(ge=0, le=0.9)] = Field(0.10, description="prices of one family of items at a time")


class TiersSection(_Section):
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


class AgesSection(_Section):
    """Greatest age of dated inputs, in years at [tract] as_of; older ones are noted on every lot they touch."""

    land_cover_years: Annotated[float, Field(gt=0)] = Field(5.0, description="land cover")
    elevation_years: Annotated[float, Field(gt=0)] = Field(10.0, description="elevation")
    capacity_years: Annotated[float, Field(gt=0)] = Field(5.0, description="documents of the hardware loads")
    price_years: Annotated[float, Field(gt=0)] = Field(0.5, description="hardware prices (column price_date)")
    seal_years: Annotated[float, Field(gt=0)] = Field(6.0, description="seals of the plan sets")


class DropDays(_Section):
    """Days from foundation release (the lot's start) to the day a delivery is needed (common practice, no source)."""

    foundation: Annotated[int, Field(ge=0, le=365)] = Field(3, description="foundation hardware; practice: day 3 to 7")
    walls: Annotated[int, Field(ge=0, le=365)] = Field(14, description="first floor walls; practice: day 14 to 21")
    floor: Annotated[int, Field(ge=0, le=365)] = Field(20, description="floor, second storey; practice: day 20 to 28")
    roof: Annotated[int, Field(ge=0, le=365)] = Field(25, description="roof; practice: day 25 to 35")


Days = Annotated[int, Field(ge=0, le=730)]


class PurchaseSection(_Section):
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


class OutputSection(_Section):
    """Where the results go."""

    folder: InputPath = Field(description="folder of the results; its path leads to the last complete run")


class Site(_Section):
    """The lots of a tract and their ground: what hazards need. `source` is the file itself; every path is absolute."""

    tract: TractSection
    design: DesignSection = DesignSection()  # type: ignore[call-arg]
    lots: LotsSection
    ground: GroundSection = GroundSection()  # type: ignore[call-arg]
    hazards: HazardsSection
    site_classes: dict[str, ClassValues] = Field(
        default_factory=dict,
        description="ASCE 7-22: values for each site class, as [site_classes.C]; a lot takes its own class's, the "
        "default class the greater of C, CD and D, each value by itself; in place of hazards.sms_g and sm1_g",
    )
    exposure: ExposureSection = ExposureSection()  # type: ignore[call-arg]
    terrain: TerrainSection = TerrainSection()  # type: ignore[call-arg]
    ages: AgesSection = AgesSection()  # type: ignore[call-arg]
    _source: Path = PrivateAttr(default=Path("tract.toml"))
    _noticed: tuple[Issue, ...] = PrivateAttr(default=())

    @property
    def source(self) -> Path:
        """The project file."""
        return self._source

    @property
    def noticed(self) -> tuple[Issue, ...]:
        """What was repaired or doubtful in the project file itself: it belongs among the issues of every run."""
        return self._noticed

    @property
    def folder(self) -> Path:
        """The folder that relative paths start from."""
        return self._source.parent

    @property
    def name(self) -> str:
        """The tract's name."""
        return self.tract.name

    def shown(self, path: Path | str | tuple[Path | str, ...]) -> str:
        """A path as results may show it: relative to the project file, or only its name; never the machine's.

        An address is shown without its query, which may hold a secret; of several tiles the names, one after another.
        """
        if isinstance(path, tuple):
            return ", ".join(self.shown(each) for each in path)
        return _shown(path, self.folder) if isinstance(path, Path) else path.partition("?")[0]

    def remote_inputs(self) -> dict[str, str]:
        """Addresses that are read, as results may show them, by the key that names them."""
        given = (f"hazards.{name}" for name in HazardsSection.model_fields)
        found = {f"{key}.file": getattr(self.hazards, key.partition(".")[2]) for key in given}
        for name, values in self.site_classes.items():
            for key in ClassValues.model_fields:
                found[f"site_classes.{name}.{key}.file"] = getattr(values, key)
        return {
            key if len(files) == 1 else f"{key}.{number}": self.shown(file)
            for key, source in found.items()
            if source is not None
            for files in [source.files]
            for number, file in enumerate(files, start=1)
            if isinstance(file, str)
        }

    def input_files(self) -> dict[str, Path]:
        """Every file and folder that is read, by the key that names it, the project file first."""
        return {"project file": self.source, **{key: path for key, path in _paths(self) if key != "output.folder"}}

    def hazard_columns(self) -> dict[str, str]:
        """Hazards given per lot: our name -> the lots file's column."""
        given = ((name, getattr(self.hazards, name)) for name in HazardsSection.model_fields)
        return {name: source.column for name, source in given if source is not None and source.column is not None}

    def settings(self) -> dict[str, Any]:
        """The project after defaults, with paths as results may show them."""
        shown: dict[str, Any] = _shown_values(self.model_dump(mode="python", exclude_none=True), self)
        return shown

    def defaults_taken(self) -> dict[str, Any]:
        """Settings the file left out, and the value taken for each: "design.method" -> "ASD"."""
        return dict(_defaults(self, ""))


class Tract(Site):
    """A project file, checked: a site with its plans, hardware and purchase."""

    plans: PlansSection
    hardware: HardwareSection
    tiers: TiersSection = TiersSection()  # type: ignore[call-arg]
    purchase: PurchaseSection
    output: OutputSection


class HazardProject(Site):
    """A project file read for its hazards alone: plans may be missing; hardware and prices are not looked at."""

    plans: PlansSection | None = None
    hardware: HardwareSection | None = None
    tiers: TiersSection | None = None
    purchase: PurchaseSection | None = None
    output: OutputSection | None = None

    def input_files(self) -> dict[str, Path]:
        """Every file and folder that is read, by the key that names it; plans only where they are there."""
        unread = ("hardware", "tiers", "purchase")
        found = {key: path for key, path in super().input_files().items() if key.partition(".")[0] not in unread}
        if self.plans is not None and not os.path.isdir(self.plans.folder):
            del found["plans.folder"]
        return found


def _shown(path: Path, folder: Path) -> str:
    return path.relative_to(folder).as_posix() if path.is_relative_to(folder) else path.name


def _paths(model: BaseModel, prefix: str = "") -> Iterator[tuple[str, Path]]:
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, Path):
            yield prefix + name, value
        elif isinstance(value, tuple):
            yield from ((f"{prefix}{name}.{n}", v) for n, v in enumerate(value, start=1) if isinstance(v, Path))
        elif isinstance(value, BaseModel):
            yield from _paths(value, f"{prefix}{name}.")
        elif isinstance(value, dict):
            for key, inner in value.items():
                if isinstance(inner, BaseModel):
                    yield from _paths(inner, f"{prefix}{name}.{key}.")


def _defaults(model: BaseModel, prefix: str) -> Iterator[tuple[str, Any]]:
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            yield from _defaults(value, f"{prefix}{name}.")
        elif name not in model.model_fields_set and value not in (None, {}, ()):
            yield prefix + name, value


def _shown_values(value: Any, tract: Site) -> Any:
    if isinstance(value, dict):
        return {k: _shown_values(v, tract) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_shown_values(v, tract) for v in value]
    if isinstance(value, Path) or (isinstance(value, str) and value.casefold().startswith("https://")):
        return tract.shown(value)
    return value.isoformat() if isinstance(value, date) else value


# ---------------------------------------------------------------- reading


def load_tract(path: str | os.PathLike[str], *, allow_remote: bool = False) -> Tract:
    """Read and check a project file. Raises InputError with every fault found in it.

    `allow_remote`: rasters may be named by an https address, and are fetched from there.
    """
    return _loaded(path, Tract, allow_remote)


def load_changed_tract(path: str | os.PathLike[str], changes: Mapping[str, Any], remove: Iterable[str] = ()) -> Tract:
    """The project with some keys changed: section -> key -> value. A value replaces the key's own as a whole.

    `remove` names keys to leave out, as "hazards.ss_g".

    Paths are relative to the project file. Raises InputError as `load_tract` does.
    """
    issues = Issues()
    project = _read(path, issues, Tract, changes, remove)
    issues.raise_stops()
    assert project is not None  # no stop was recorded, so there is a project
    return project


def load_hazard_project(path: str | os.PathLike[str], *, allow_remote: bool = False) -> HazardProject:
    """The same for hazards alone: no plans, hardware, prices or output need be named."""
    return _loaded(path, HazardProject, allow_remote)


def read_tract(path: str | os.PathLike[str], issues: Issues, *, allow_remote: bool = False) -> Tract | None:
    """Read a project file, adding every fault to `issues`; the tract as far as it can be understood, or None.

    Unknown keys are set aside, so that a caller who only checks can go on and look at the files too.
    """
    return _read(path, issues, Tract, allow_remote=allow_remote)


_Project = TypeVar("_Project", bound=Site)


def _loaded(path: str | os.PathLike[str], model: type[_Project], allow_remote: bool) -> _Project:
    issues = Issues()
    project = _read(path, issues, model, allow_remote=allow_remote)
    issues.raise_stops()
    assert project is not None  # no stop was recorded, so there is a project
    return project


def _read(
    path: str | os.PathLike[str],
    issues: Issues,
    model: type[_Project],
    changes: Mapping[str, Any] | None = None,
    remove: Iterable[str] = (),
    *,
    allow_remote: bool = False,
) -> _Project | None:
    source = Path(os.path.abspath(path))
    values = read_toml(source, issues, "config", "a project file (TOML)")
    if values is None:
        return None
    for place in remove:
        section, _, key = place.partition(".")
        if isinstance(values.get(section), dict):
            values[section].pop(key, None)
    for section, keys in (changes or {}).items():
        own = values.get(section)
        values[section] = {**(own if isinstance(own, dict) else {}), **keys} if isinstance(keys, Mapping) else keys
    project = _validate(values, source, issues, model, allow_remote)
    if project is None:
        return None
    _check_files(project.input_files().items(), source, issues)
    _check_output(project, issues)
    _check_together(project, issues)
    project._noticed = tuple(issue for issue in issues if issue.severity != "stop")
    return project


def _validate(
    values: dict[str, Any], source: Path, issues: Issues, model: type[_Project], allow_remote: bool
) -> _Project | None:
    context = {"folder": source.parent, "allow_remote": allow_remote}
    try:
        tract = model.model_validate(values, context=context)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        for fault in faults[:_MOST_FAULTS]:
            issues.add(_fault(fault, values, source.name))
        if len(faults) > _MOST_FAULTS:
            found = f"{len(faults) - _MOST_FAULTS:,} more faults"
            issues.add("config_value", "stop", source.name, found, "none", "correct those named first")
        rest = _without(values, {fault["loc"] for fault in faults})
        try:  # without the faulty keys the rest may still be understood
            tract = model.model_validate(rest, context=context)
        except ValidationError:
            _check_files(_paths_by_section(rest, context), source, issues)
            return None
    tract._source = source
    return tract


def _paths_by_section(values: dict[str, Any], context: dict[str, Any]) -> Iterator[tuple[str, Path]]:
    """The paths of those sections that can be understood by themselves."""
    for name, field in Tract.model_fields.items():
        model = field_model(field)
        if model is None or name not in values:
            continue
        try:
            yield from _paths(model.model_validate(values[name], context=context), f"{name}.")
        except ValidationError:
            continue


def _without(values: dict[str, Any], places: set[tuple[int | str, ...]]) -> dict[str, Any]:
    def copy(value: Any, here: tuple[int | str, ...]) -> Any:
        if not isinstance(value, dict):
            return value
        return {k: copy(v, (*here, k)) for k, v in value.items() if (*here, k) not in places}

    result: dict[str, Any] = copy(values, ())
    return result


def model_at(loc: tuple[int | str, ...], root: type[BaseModel] = Tract) -> type[BaseModel] | None:
    """The pydantic model that stands at a place of the project file, None where there is none."""
    model: type[BaseModel] | None = root
    for part in loc:
        field = model.model_fields.get(str(part)) if model is not None else None
        model = field_model(field) if field is not None else None
    return model


def field_model(field: FieldInfo) -> type[BaseModel] | None:
    """The model of a field, also where it may be absent."""
    for kind in (field.annotation, *get_args(field.annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None


def nearest(word: str, known: Mapping[str, Any] | tuple[str, ...] | list[str]) -> str:
    """The known word most like this one, "" where none is close."""
    folded = {k.casefold(): k for k in known}
    close = difflib.get_close_matches(word.casefold(), list(folded), n=1, cutoff=0.5)
    return folded[close[0]] if close else ""


def _place(loc: tuple[int | str, ...]) -> str:
    """A key as its author wrote it: ("hazards", "kzt", "file") -> "[hazards] kzt.file"."""
    if len(loc) == 1:
        return f"[{shortened(str(loc[0]))}]"
    return f"[{shortened(str(loc[0]))}] " + ".".join(shortened(str(part)) for part in loc[1:])


def _fault(fault: Any, values: dict[str, Any], file: str) -> Issue:
    loc: tuple[int | str, ...] = fault["loc"]
    where = f"{file} {_place(loc)}"
    if fault["type"] == "extra_forbidden":
        return _unknown_key(loc, file)
    if fault["type"] == "missing":
        model = model_at(loc[:-1])
        meaning = model.model_fields[str(loc[-1])].description if model is not None else None
        what = "table" if len(loc) == 1 else "key"
        return Issue("config_missing_key", "stop", where, f"the {what} is missing", meaning or "it", "add it")
    found = shortened(f"{fault['input']!r}", 120)
    expected = str(fault["ctx"]["error"]) if fault["type"] == "value_error" else _expected(fault)
    if fault["type"] == "value_error" and expected.startswith("a local file"):
        fix = "save the file beside the project file"
        if expected == REMOTE_RASTER:
            found, fix = (
                repr(str(fault["input"]).partition("?")[0]),
                fix + ", or give check, run or hazards --allow-remote",
            )
        return Issue("config_remote_path", "stop", where, found, expected, fix)
    return Issue("config_value", "stop", where, found, expected, "correct the value")


def _expected(fault: Any) -> str:
    context = fault.get("ctx", {})
    match fault["type"]:
        case "literal_error":
            return str(context["expected"]).replace("'", '"')
        case "greater_than_equal":
            return f"at least {context['ge']:g}"
        case "less_than_equal":
            return f"at most {context['le']:g}"
        case "string_type" | "string_too_short":
            return "a text in quotes"
        case "string_too_long":
            return f"at most {context['max_length']} characters"
        case "float_type" | "int_type" | "finite_number":
            return "a number"
        case "model_type" | "dict_type" | "model_attributes_type":
            return "a table, such as { key = value }"
        case _:
            return str(fault["msg"]).removeprefix("Input should be ")


def _unknown_key(loc: tuple[int | str, ...], file: str) -> Issue:
    key = shortened(str(loc[-1]))
    model = model_at(loc[:-1])
    known = tuple(model.model_fields) if model is not None else ()
    close = nearest(key, known)
    if len(loc) == 1:
        found, close_shown = f"unknown table [{key}]", f"[{close}]"
    else:
        found, close_shown = f"unknown key {key}", close
    expected = f"{close_shown} (the nearest known)" if close else "one of " + ", ".join(known)
    where = f"{file} {_place(loc[:-1])}" if len(loc) > 1 else file
    return Issue("config_unknown_key", "stop", where, found, expected, "correct or remove it")


# ---------------------------------------------------------------- checks across keys


def _check_files(paths: Iterable[tuple[str, Path]], source: Path, issues: Issues) -> None:
    for key, path in paths:
        if key in ("output.folder", "project file"):
            continue
        section, _, rest = key.partition(".")
        where = f"{source.name} [{section}] {rest}"
        shown = shortened(_shown(path, source.parent))
        wants_folder = key == "plans.folder"
        if not os.path.exists(path):  # the one that takes a name too long for the system as not there
            close = nearest(path.name, _names_in(path.parent))
            what = f"a folder at {shown}" if wants_folder else f"a file at {shown}"
            hint = f"did you mean {close}?" if close else "paths are relative to the project file"
            issues.add("file_missing", "stop", where, "nothing there", what, hint)
        elif wants_folder and not path.is_dir():
            issues.add("file_missing", "stop", where, f"{shown} is a file", "a folder with one TOML a plan", "")
        elif not wants_folder and path.is_dir() and not _is_layer_folder(path):
            issues.add("file_missing", "stop", where, f"{shown} is a folder", "a file", "")
        elif not wants_folder and not path.is_dir() and not path.is_file():
            issues.add("file_missing", "stop", where, f"{shown} is no ordinary file", "a file on the disk", "")
        elif path.suffix.lower() == ".vrt" and section not in ("hazards", "site_classes"):
            issues.add("file_virtual", "stop", where, f"{shown} points at other files", "the data itself", "")


def _is_layer_folder(path: Path) -> bool:
    """A folder that GDAL opens as one source: a file geodatabase, or shapefiles."""
    return path.suffix.lower() == ".gdb" or any(name.lower().endswith(".shp") for name in _names_in(path))


def _names_in(folder: Path) -> list[str]:
    try:
        return sorted(entry.name for entry in folder.iterdir())
    except OSError:
        return []


def _check_output(tract: Site, issues: Issues) -> None:
    section: OutputSection | None = getattr(tract, "output", None)
    if section is None:
        return
    output = section.folder
    for key, path in tract.input_files().items():
        if path == output or path.is_relative_to(output):
            found = f"{tract.shown(output)} holds the input {tract.shown(path)} ({key})"
            where = f"{tract.source.name} [output] folder"
            issues.add("output_is_input", "stop", where, found, "a folder of its own", "name another folder")


def _check_together(tract: Site, issues: Issues) -> None:
    for place, found, expected in (
        *_ground_state_faults(tract),
        *_hazard_faults(tract),
        *_column_faults(tract),
        *_mix_faults(tract),
    ):
        issues.add("config_value", "stop", f"{tract.source.name} {place}", found, expected, "correct the project file")


_Fault = tuple[str, str, str]


def _ground_state_faults(tract: Site) -> Iterator[_Fault]:
    phases = tract.ground.phases
    order = phases.order if phases is not None else ()
    if len(set(order)) != len(order):
        yield "[ground] phases.order", shortened(f"a phase stands twice in {list(order)}", 200), "each phase once"
    state = tract.tract.ground_state
    if state not in (*GROUND_STATES, *order):
        known = ", ".join(f'"{s}"' for s in (*GROUND_STATES, *order))
        yield "[tract] ground_state", f'"{state}"', f"one of {known}"


def _hazard_faults(tract: Site) -> Iterator[_Fault]:
    hazards = tract.hazards
    for name in HazardsSection.model_fields:
        source = getattr(hazards, name)
        if source is not None:
            yield from _source_faults(name, source)
    if hazards.land_cover is None and hazards.exposure is None:
        yield "[hazards]", "neither land_cover nor exposure", "one of them: the exposure can't be guessed"
    if hazards.elevation_ft is None and hazards.kzt is None:
        yield "[hazards]", "neither elevation_ft nor kzt", "one of them: level ground is not assumed"
    stated = hazards.sds_g is not None and hazards.sd1_g is not None
    yield from _site_class_faults(tract)
    if tract.design.loads == "ASCE 7-16":
        wanted: tuple[str, ...] = ("ss_g", "s1_g")
    elif tract.site_classes:
        wanted = ("s1_g",)
    else:
        wanted = ("sms_g", "sm1_g", "s1_g")
    missing = [name for name in wanted if getattr(hazards, name) is None]
    if missing and not stated:
        needs = f"{', '.join(wanted)}, or sds_g and sd1_g where the jurisdiction states them"
        yield "[hazards]", f"{tract.design.loads} without {', '.join(missing)}", needs


def _site_class_faults(tract: Site) -> Iterator[_Fault]:
    """Values by site class stand alone, belong to ASCE 7-22, and come from rasters or constants."""
    if not tract.site_classes:
        return
    if tract.design.loads != "ASCE 7-22":
        yield "[site_classes]", f"given with {tract.design.loads}", "it only with ASCE 7-22"
    for name in ("sms_g", "sm1_g", "sds_g", "sd1_g"):
        if getattr(tract.hazards, name) is not None:
            yield f"[hazards] {name}", "given beside [site_classes]", "one of them"
    for key, values in tract.site_classes.items():
        for name in ClassValues.model_fields:
            source: HazardSource = getattr(values, name)
            if source.column is not None or (source.file is None) == (source.value is None):
                yield f"[site_classes] {key}.{name}", "a column, or not one source", "exactly one of file, value"


def _source_faults(name: str, source: HazardSource) -> Iterator[_Fault]:
    place = f"[hazards] {name}"
    given = [key for key in ("file", "value", "column") if getattr(source, key) is not None]
    if len(given) != 1:
        found = " and ".join(given) if given else "none of file, value, column"
        yield place, found, "exactly one of file, value, column"
    if source.classes is not None and name != "land_cover":
        yield f"{place}.classes", "a class table", "it only with land_cover"
    if name == "land_cover" and source.file is None and len(given) == 1:
        yield place, given[0], "a file: classes of the ground around the lots"
    if source.model is not None and name != "elevation_ft":
        yield f"{place}.model", repr(source.model), "it only with elevation_ft"
    if source.over_lot is not None and (source.file is None or name == "land_cover"):
        yield f"{place}.over_lot", repr(source.over_lot), "it only with a raster of values"
    if source.value is not None:
        wants_text = name in TEXT_HAZARDS and name != "land_cover"
        if wants_text != isinstance(source.value, str) and name != "land_cover":
            yield f"{place}.value", repr(source.value), "a text in quotes" if wants_text else "a number"


def _column_faults(tract: Site) -> Iterator[_Fault]:
    known = tuple(dict.fromkeys(column.name for column in (*LOTS_INPUT, *LOT_POINTS_INPUT)))
    for ours in tract.lots.columns:
        if ours not in known:
            close = nearest(ours, known)
            yield (
                "[lots] columns",
                f"unknown name {ours}",
                f"{close} (the nearest known)" if close else f"one of {', '.join(known)}",
            )
    theirs = list(tract.lots.columns.values())
    for name in sorted({t for t in theirs if theirs.count(t) > 1}):
        yield "[lots] columns", f"{name} is used for two names", "one column for each name"


def _mix_faults(tract: Site) -> Iterator[_Fault]:
    purchase: PurchaseSection | None = getattr(tract, "purchase", None)
    mix = purchase.plan_mix if purchase is not None else {}
    total = math.fsum(mix.values())
    if mix and abs(total - 1) > 0.001:
        yield "[purchase] plan_mix", f"shares sum to {total:g}", "a sum of 1"
