"""One tract from files to tables: lots -> hazards -> demands -> choices -> bill. Pure inside: nothing is written here.

``prepare`` reads and joins, ``screen`` goes all the way, ``check`` reads everything and reports every problem.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from hazard.crs import METRES_PER_FOOT, transform_xy
from hazard.issues import InputError, Issues
from screener.ages import age_findings
from screener.demands import DemandModel, LotHazards, build_model
from screener.design_method import note_unlisted
from screener.editions import SDPWS_EDITION
from screener.hardware import Hardware, read_hardware
from screener.houses import NO_HOUSE, Houses, choose_houses
from screener.irregularities import Redundancy, judge_redundancy, regularity_findings, tell_redundancy
from screener.keeping import Keep, anew
from screener.lots import SKIPPED, read_lots
from screener.packages import read_kept_packages
from screener.plan_files import load_plans
from screener.plan_winds import onto_faces
from screener.plans import Permit, Plan, Variant
from screener.scope import (
    DEBRIS_COAST_SPEED_MPH,
    DEBRIS_SPEED_MPH,
    Findings,
    hazard_limits,
    plan_findings,
)
from screener.selection import Selection, select
from screener.site_hazards import SiteHazards, at_height, site_hazards
from screener.site_limits import site_limits
from screener.siting import Setbacks, can_be_checked, fit
from screener.standards.asce7_ch07_snow import flat_roof_snow_psf
from screener.standards.asce7_ch12_seismic import capped_sds, redundancy_factor
from screener.standards.asce7_ch28_envelope import gcpi
from screener.tier_design import check_items
from screener.wind_states import VELOCITIES, Procedure

if TYPE_CHECKING:
    import geopandas as gpd

    from screener.config import Tract

Progress = Callable[[str], None]
MOST_MODELS = 128
"""Houses kept for what else this process screens (scenarios, swaps, orders of phases): half a megabyte to two each."""


@dataclass
class Prepared:
    """A tract read and joined: lots with their hazards and houses, plans, hardware, and what was found on the way."""

    tract: Tract
    lots: gpd.GeoDataFrame
    plans: Mapping[str, Plan]
    hardware: Hardware
    houses: Houses
    models: list[DemandModel]
    redundancy: list[Redundancy]
    usable: NDArray[np.intp]
    site: SiteHazards
    hazards: LotHazards
    categories: NDArray[np.str_]
    findings: Findings
    issues: Issues
    timings: dict[str, float] = field(default_factory=dict)

    def place_of(self, lot_id: str) -> int:
        """Place of a lot among the usable ones; ``KeyError`` names near ids."""
        ids = self.site.points.lot_id
        found = np.flatnonzero(ids == lot_id)
        if not len(found):
            raise KeyError(lot_id)
        return int(found[0])


@dataclass
class Results:
    """The tables of one run (columns in ``screener.columns``), map layers, and what goes into the manifest."""

    lots: gpd.GeoDataFrame
    demands: pd.DataFrame
    bill_of_materials: pd.DataFrame
    exceptions: pd.DataFrame
    issues: pd.DataFrame
    packages: pd.DataFrame
    run: dict[str, Any]
    timings: dict[str, Any]
    summary: dict[str, Any]
    layers: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)
    purchase: dict[str, pd.DataFrame] = field(default_factory=dict)  # orders, forecast, kits, lot_kits, prices
    levers: dict[str, pd.DataFrame] = field(default_factory=dict)


class _Clock:
    """Stage times, kept apart from results."""

    def __init__(self) -> None:
        self.times: dict[str, float] = {}
        self._last = time.perf_counter()

    def lap(self, name: str) -> None:
        now = time.perf_counter()
        self.times[name] = self.times.get(name, 0.0) + now - self._last
        self._last = now


def prepare(
    tract: Tract,
    *,
    progress: Progress = lambda _: None,
    workers: int = 1,
    issues: Issues | None = None,
    edit: Callable[[gpd.GeoDataFrame], None] | None = None,
    tell: Progress = lambda _: None,
    keep: Keep = anew,
) -> Prepared:
    """Read lots, plans and hardware, resolve houses, join the hazards. ``InputError`` carries all stops together.

    ``edit`` may change the lots as read (another plan on one of them, say) before anything follows from them.
    """
    clock = _Clock()
    issues = Issues() if issues is None else issues
    issues.extend(tract.noticed)
    progress("reading lots, plans and hardware")
    stops = Issues()
    lots = _collect(stops, lambda: read_lots(tract, issues))
    plans = _collect(stops, lambda: load_plans(tract.plans.folder, issues))
    hardware = _collect(stops, lambda: hardware_of(tract, issues))
    _collect(stops, lambda: read_kept_packages(tract, issues))  # a faulty file stops here; it is used later
    if stops.has_stop() or lots is None or plans is None or hardware is None:
        raise InputError(list(dict.fromkeys([*stops, *issues.stops()])))
    if edit is not None:
        edit(lots)
    clock.lap("read")
    houses = choose_houses(lots, plans, bool(tract.purchase.plan_mix), issues, tract.shown(tract.lots.file))
    usable = np.flatnonzero((lots["status"] != SKIPPED) & lots.geometry.notna())
    if not len(usable):
        issues.add(
            "no_usable_lot",
            "stop",
            tract.shown(tract.lots.file),
            "no lot can be screened",
            "at least one",
            "see the issues before this one",
        )
        raise InputError(issues.stops())
    _check_mix(tract, plans, issues)
    check_items(tract.tiers, hardware, "project file", issues)
    issues.raise_stops()
    progress("demand models")
    models = [model_of(tract, variant) for variant in houses.variants]
    clock.lap("demand models")
    redundancy = [judge_redundancy(model) for model in models]
    tell_redundancy(zip((v.plan.name for v in houses.variants), redundancy, strict=True), issues)
    prepared = join(
        tract, lots, plans, hardware, houses, models, redundancy, usable, Findings(len(usable)), issues, workers,
        progress, clock.lap, tell, keep,
    )  # fmt: skip
    prepared.timings = clock.times
    return prepared


def join(
    tract: Tract,
    lots: gpd.GeoDataFrame,
    plans: Mapping[str, Plan],
    hardware: Hardware,
    houses: Houses,
    models: list[DemandModel],
    redundancy: list[Redundancy],
    usable: NDArray[np.intp],
    findings: Findings,
    issues: Issues,
    workers: int = 1,
    progress: Progress = lambda _: None,
    lap: Callable[[str], None] = lambda _: None,
    tell: Progress = lambda _: None,
    keep: Keep = anew,
) -> Prepared:
    """Hazards of the usable lots at their houses, and what follows from both. Raises InputError."""
    kept = lots.iloc[usable]
    height = houses.mean_roof_height_ft()[usable]
    site = site_hazards(tract, kept, height, issues, findings, workers, progress, tell=tell, keep=keep)
    lap("hazards")
    issues.raise_stops()
    hazards, categories = lot_hazards(tract, site, kept, houses, usable, findings, redundancy)
    site.columns |= {name: hazards.q_onto_psf[:, k] for k, name in enumerate(VELOCITIES["directional"])}
    prepared = Prepared(
        tract,
        lots,
        plans,
        hardware,
        houses,
        models,
        redundancy,
        usable,
        site,
        hazards,
        categories,
        findings,
        issues,
    )
    _scope(prepared)
    lap("scope")
    return prepared


def _collect(stops: Issues, read: Callable[[], Any]) -> Any:
    try:
        return read()
    except InputError as error:
        stops.extend(error.issues)
        return None


def hardware_of(tract: Tract, issues: Issues) -> Hardware:
    """The project's hardware list. Raises InputError."""
    try:
        hardware, found = read_hardware(tract.hardware.file)
    except OSError as error:
        issues.add(
            "hardware_unreadable",
            "stop",
            tract.shown(tract.hardware.file),
            str(error.strerror or error),
            "a readable CSV file",
            "",
        )
        raise InputError(issues.stops()) from error
    issues.extend(found)
    if found.has_stop():
        raise InputError(found.stops())
    note_unlisted(hardware, tract.design.method, issues)
    return hardware


def _check_mix(tract: Tract, plans: Mapping[str, Plan], issues: Issues) -> None:
    mix = tract.purchase.plan_mix
    known = {p.name.casefold() for p in plans.values()}
    for name in mix:
        if name.casefold() not in known:
            issues.add(
                "mix_plan_unknown",
                "stop",
                "project file purchase.plan_mix",
                f"'{name}'",
                f"one of {', '.join(sorted(known))}",
                "",
            )
    if mix and abs(sum(mix.values()) - 1.0) > 0.005:
        issues.add("mix_sum", "stop", "project file purchase.plan_mix", f"shares sum to {sum(mix.values()):g}", "1", "")
    issues.raise_stops()


def model_of(tract: Tract, variant: Variant) -> DemandModel:
    """Demand model of a house by the project's edition, method and wind procedure; kept for a next time."""
    design = tract.design
    house = _House(repr(variant), variant)
    return _built(house, design.loads, design.method, design.wind_procedure, design.roof_ties)


@dataclass(frozen=True)
class _House:
    """A variant known by all that it says of itself."""

    said: str
    variant: Variant = field(compare=False)


def new_model_of(tract: Tract, variant: Variant) -> DemandModel:
    """The same, not kept."""
    design = tract.design
    return build_model(variant, design.loads, design.method, design.wind_procedure, design.roof_ties)


@lru_cache(MOST_MODELS)
def _built(house: _House, edition: str, method: str, procedure: Procedure, roof_ties: str) -> DemandModel:
    return build_model(house.variant, edition, method, procedure, roof_ties)


def lot_hazards(
    tract: Tract,
    site: SiteHazards,
    lots: gpd.GeoDataFrame,
    houses: Houses,
    usable: NDArray[np.intp],
    findings: Findings,
    redundancy: Sequence[Redundancy],
) -> tuple[LotHazards, NDArray[np.str_]]:
    """Hazard numbers as the demand models take them, and the category that decides capacity rules."""
    house = houses.of_lot[usable]
    protected = np.array([*(v.plan.plan.glazing_protected for v in houses.variants), False])[house]
    debris = _debris(tract, site.speed.values) & ~protected
    findings.add("DEBRIS", debris & (house >= 0), lambda i: f"{site.speed.values[i]:.0f} mph")
    edition = tract.design.loads
    internal = np.where(debris, gcpi("partially enclosed", edition), gcpi("enclosed", edition))
    category = np.where(site.seismic.sdc == "", "D", site.seismic.sdc)
    declared = np.array([*(r.used for r in redundancy), 1.3])[house]
    rho = redundancy_factor(category, declared)
    regular = np.array([*(r.qualifies for r in redundancy), False])[house]
    capped = None
    if tract.design.sds_cap:
        qualifies = regular & ~np.isin(site.seismic.site_class, ["E", "F", "?"])
        capped = capped_sds(site.seismic.sds_g, qualifies)
        lowered = qualifies & (np.nan_to_num(site.seismic.sds_g) > capped)
        findings.add("SDS_CAP", lowered, lambda i: f"{site.seismic.sds_g[i]:.2f} g taken as {capped[i]:.2f} g")
    s1 = np.nan_to_num(site.seismic.s1_g, nan=0.0)
    onto = onto_faces(site.q_by_direction_psf, *stance(lots))[0]
    hazards = LotHazards(
        site.q_envelope_psf,
        site.q_components_psf,
        internal,
        site.seismic.sds_g,
        site.seismic.sd1_g,
        s1,
        np.asarray(rho, dtype=float),
        flat_roof_snow_psf(np.nan_to_num(site.snow_psf)),
        onto,
        capped,
    )
    # plate washers follow the residential code's letter, toe-nail limits ASCE 7's: the severer of the two is taken
    irc, sdc = site.seismic.sdc_irc, site.seismic.sdc
    return hazards, np.where(np.char.startswith(irc.astype(str), "D"), irc, sdc).astype(str)


def stance(lots: pd.DataFrame) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """How the houses stand: bearing of each front (NaN unknown) and whether each is built mirrored."""
    return lots["front_bearing_deg"].to_numpy(dtype=float), lots["mirrored"].to_numpy(dtype=bool)


def hazards_as_if(p: Prepared, model: DemandModel) -> tuple[SiteHazards, LotHazards, NDArray[np.str_]]:
    """Hazards of all usable lots as if this house stood on each, at its own mean roof height; nothing is recorded."""
    variant = model.variant
    n = len(p.usable)
    site = at_height(p.tract, p.lots.iloc[p.usable], p.site, np.full(n, variant.mean_roof_height_ft))
    everywhere = Houses((variant,), np.zeros(n, dtype=np.int64))
    lots = p.lots.iloc[p.usable]
    hazards, categories = lot_hazards(
        p.tract, site, lots, everywhere, np.arange(n), Findings(n), [judge_redundancy(model)]
    )
    return site, hazards, categories


def _debris(tract: Tract, speed_mph: NDArray[np.float64]) -> NDArray[np.bool_]:
    limit = DEBRIS_COAST_SPEED_MPH if tract.design.within_a_mile_of_coast else DEBRIS_SPEED_MPH
    return np.asarray((speed_mph >= limit) & (tract.design.hurricane_prone is not False))


def _scope(p: Prepared) -> None:
    """Findings that follow from lot, plan and project together."""
    tract, lots = p.tract, p.lots.iloc[p.usable]
    house = p.houses.of_lot[p.usable]
    p.findings.add("NO_PLAN", house == NO_HOUSE, lambda i: f"hazards at {p.site.height_ft[i]:.0f} ft mean roof height")
    hazard_limits(tract, p.site, p.findings)
    site_limits(tract, lots, p.site, p.issues, p.findings)
    shaken = np.isin(p.site.seismic.sdc, ["D", "E", "F"])
    for h, model in enumerate(p.models):
        for code, detail in plan_findings(model):
            p.findings.add(code, house == h, detail)
        high = (house == h) & shaken
        for code, detail in regularity_findings(model):
            p.findings.add(code, high, detail)
    bearing = lots["front_bearing_deg"].to_numpy(dtype=float)
    p.findings.add("BEARING_UNKNOWN", np.isnan(bearing), "every direction screened")
    if tract.design.wind_procedure == "directional" and p.site.exposure is None and p.site.terrain is None:
        alike = (house >= 0) & p.site.known
        p.findings.add("DIRECTIONAL_ONE", alike, lambda i: _alike(p.site, i))
    p.findings.add("CONCRETE", house >= 0, "every lot, unless the list gives a concrete value")
    _permit(p, house)
    _fit(p, lots, house)
    age_findings(tract, p.hardware, p.houses, house, p.findings)


def _alike(site: SiteHazards, lot: int) -> str:
    return f"exposure {site.columns['exposure'][lot]}, Kzt {site.columns['kzt'][lot]:.2f}: how the house stands is idle"


def _permit(p: Prepared, house: NDArray[np.int64]) -> None:
    """Whether the plan's sealed master set covers each lot: speed, exposure, Kzt and SDS together."""
    order = {"": 3, "B": 0, "C": 1, "D": 2}
    place, letters = pd.factorize(np.asarray(p.site.columns["exposure"], dtype=object))
    exposure = np.array([order[str(e)] for e in letters])[place]
    inside = np.zeros(len(house), dtype=bool)
    stated = np.zeros(len(house), dtype=bool)

    def checks(permit: Permit) -> tuple[tuple[str, Any, float, str], ...]:
        return (
            ("wind speed", p.site.speed.values, permit.wind_speed_mph, "{:.1f} mph"),
            ("exposure", exposure, order[permit.exposure], ""),
            ("Kzt", p.site.columns["kzt"], permit.kzt, "{:.2f}"),
            ("SDS", p.site.seismic.sds_g, permit.sds_g, "{:.3f} g"),
        )

    def beyond(i: int) -> str:
        permit = p.houses.variants[house[i]].plan.permit
        assert permit is not None
        told = []
        for name, value, most, form in checks(permit):
            if not value[i] <= most + 1e-9:
                shown = p.site.columns["exposure"][i] if name == "exposure" else form.format(value[i])
                allowed = permit.exposure if name == "exposure" else form.format(most)
                told.append(f"{name} {shown} over {allowed}")
        return ", ".join(told)

    for h, variant in enumerate(p.houses.variants):
        here, permit = house == h, variant.plan.permit
        if permit is not None:
            stated |= here
            fine = [np.asarray(value) <= most + 1e-9 for _, value, most, _ in checks(permit)]
            inside |= np.logical_and.reduce([here, *fine])
    p.site.columns["inside_permit"] = yes_no(stated & p.site.known, inside)
    p.findings.add("PERMIT", stated & ~inside & (house >= 0) & p.site.known, beyond)
    if p.tract.tiers.outside_permit == "none":
        p.findings.add("PERMIT_LEFT", stated & ~inside & (house >= 0) & p.site.known, "[tiers] outside_permit is none")
    p.findings.add("PERMIT_UNKNOWN", ~stated & (house >= 0), "")


def _fit(p: Prepared, lots: gpd.GeoDataFrame, house: NDArray[np.int64]) -> None:
    width = np.array([*(v.width_ft for v in p.houses.variants), np.nan])[house]
    depth = np.array([*(v.depth_ft for v in p.houses.variants), np.nan])[house]
    bearing, setbacks = lots["front_bearing_deg"].to_numpy(dtype=float), setbacks_of(lots, p.tract)
    asked = can_be_checked(bearing, width, depth, setbacks)
    shapes = np.full(len(lots), None, dtype=object)
    shapes[asked] = to_feet(lots[asked], p.site.working.crs)
    result = fit(shapes, bearing, width, depth, setbacks)
    p.site.columns["fits"] = yes_no(result.checked, result.fits)
    p.site.columns["fit_short_ft"] = result.short_ft
    p.findings.add(
        "FIT",
        result.checked & ~result.fits & (house >= 0),
        lambda i: f"{width[i]:.1f} by {depth[i]:.1f} ft is {result.short_ft[i]:.1f} ft too large",
    )
    p.findings.add("FIT_UNKNOWN", ~result.checked & (house >= 0), "")


def yes_no(known: NDArray[np.bool_], values: NDArray[np.bool_]) -> NDArray[np.object_]:
    """True or False where known, None elsewhere."""
    out = np.full(len(known), None, dtype=object)
    out[known] = values[known]
    return out


def to_feet(lots: gpd.GeoDataFrame, working: Any) -> NDArray[np.object_]:
    """Lot shapes in feet of the working system, y to true north."""
    flat, crs = shapely.force_2d(lots.geometry.to_numpy()), lots.crs
    return np.asarray(
        shapely.transform(flat, lambda xy: transform_xy(xy, crs, working) / METRES_PER_FOOT), dtype=object
    )


def setbacks_of(lots: gpd.GeoDataFrame, tract: Tract) -> Setbacks:
    """Setbacks of each lot: its own column, else the project's, else unknown (NaN)."""
    given = tract.lots.setbacks

    def of(side: str, default: float | None) -> NDArray[np.float64]:
        own = lots[f"{side}_setback_ft"].to_numpy(dtype=float)
        return np.where(np.isnan(own), np.nan if default is None else default, own)

    sides = of("side", given.side_ft if given else None)
    street = of("street_side", given.street_side_ft if given else None)
    return Setbacks(
        of("front", given.front_ft if given else None),
        of("rear", given.rear_ft if given else None),
        sides,
        np.where(np.isnan(street), sides, street),
        lots["street_sides"].to_numpy(dtype=object),
    )


# --- the whole way ------------------------------------------------------------------------------------------------


def screen(
    tract: Tract,
    *,
    progress: Progress = lambda _: None,
    workers: int = 1,
    tell: Progress = lambda _: None,
    keep: Keep = anew,
) -> Results:
    """Screen a tract: every lot's hazards, demands, package and cost, and the bill. Writes nothing.

    `tell` hears at once what a user should know before the long work begins. `keep` may hold long parts of the work
    for a run that goes on after a kill.
    """
    from screener.lever_tables import lever_tables
    from screener.result_tables import build_results

    prepared = prepare(tract, progress=progress, workers=workers, tell=tell, keep=keep)
    clock = _Clock()
    selection = choose(prepared, progress=progress, keep=keep)
    clock.lap("demands and choice")
    progress("curve, forcing lots, tolerance")
    levers = lever_tables(prepared, selection, keep)
    clock.lap("levers")
    progress("tables")
    results = build_results(prepared, selection)
    results.levers = levers
    clock.lap("tables")
    results.timings = {"seconds": {**prepared.timings, **clock.times}, "lots": len(prepared.lots)}
    return results


def choose(p: Prepared, *, progress: Progress = lambda _: None, keep: Keep = anew) -> Selection:
    """Demands of every lot and the packages for those that may have one."""
    house = p.houses.of_lot[p.usable]
    modelled = (house >= 0) & p.site.known
    may = modelled & ~p.findings.stopped()
    kept = read_kept_packages(p.tract, p.issues)
    names = p.lots["package"].to_numpy(dtype=str)[p.usable]
    for i in np.flatnonzero((names != "") & ~np.isin(names, list(kept))):
        p.issues.add(
            "package_unknown",
            "warn",
            f"lots {p.site.points.lot_id[i]}",
            f"package '{names[i]}'",
            f"one of {', '.join(sorted(kept)) or 'none: no [tiers] kept file'}",
            "treated as bought but not checked",
            str(p.site.points.lot_id[i]),
        )
    return select(
        p.models,
        [np.flatnonzero(modelled & (house == h)) for h in range(len(p.models))],
        p.hazards,
        p.categories,
        p.site.points.lot_id,
        may,
        p.hardware,
        tiers=p.tract.tiers,
        labour_usd_per_h=p.tract.purchase.labour_usd_per_h,
        waste=p.tract.purchase.waste,
        sdpws_edition=SDPWS_EDITION[p.tract.design.loads],
        outside_permit=np.array([value is False or value is np.False_ for value in p.site.columns["inside_permit"]]),
        kept=kept,
        kept_of_lot=list(names),
        progress=progress,
        keep=keep,
    )


def check(tract: Tract, *, workers: int = 1) -> tuple[Issues, Findings | None]:
    """Read everything and join it; every problem found, and the scope findings where the tract could be joined."""
    found = Issues()
    try:
        return (prepared := prepare(tract, workers=workers, issues=found)).issues, prepared.findings
    except InputError as error:
        return Issues(dict.fromkeys([*found, *error.issues])), None
