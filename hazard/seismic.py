"""Earthquake values of each lot: from mapped or stated accelerations to SDS, SD1 and design categories."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from hazard import crs as crs_tools
from hazard.issues import InputError, Issue, Issues
from hazard.layers import Column, Constant, Layer, Source
from hazard.sampling import LotPoints, LotValues, read_values
from hazard.site_class_values import CLASS_QUANTITIES, values_of_classes
from hazard.standards import asce7_ch11_seismic as ch11
from hazard.standards.tables import load_table, where

Floats = NDArray[np.float64]

QUANTITIES = ("ss_g", "s1_g", "sms_g", "sm1_g", "sds_g", "sd1_g")
DEFAULT_CLASS = "default"
NOT_GIVEN = ""
UNREADABLE_CLASS = "?"
NEAR_BOUNDARY = 0.02
ENGINEERED_CATEGORIES = ("E", "F")


@dataclass(frozen=True)
class Seismic:
    """Earthquake values per lot, g; NaN or "" where unknown.

    `codes` holds one tuple of scope codes per lot, in sorted order (their severities: `code_severities()`).
    `provenance` says for each value where it came from.
    """

    edition: str
    site_class: NDArray[np.str_]
    ss_g: Floats
    s1_g: Floats
    fa: Floats
    fv: Floats
    sms_g: Floats
    sm1_g: Floats
    sds_g: Floats
    sd1_g: Floats
    sdc: NDArray[np.str_]
    sdc_sds_only: NDArray[np.str_]
    sdc_irc: NDArray[np.str_]
    codes: NDArray[np.object_]
    provenance: dict[str, str]
    sources: dict[str, LotValues] = field(default_factory=dict)


def seismic(
    edition: str,
    sources: Mapping[str, Source],
    site_class: Source | None,
    lots: LotPoints,
    issues: Issues,
    by_class: Mapping[str, Mapping[str, Source]] | None = None,
) -> Seismic:
    """Earthquake values of each lot from its sources by quantity name ("ss_g", "s1_g", ...).

    ASCE 7-16 Section 11.4 (SS and S1 with site coefficients) or ASCE 7-22 Section 11.4.3 (SMS, SM1 and S1 for the
    site class), or SDS and SD1 as a jurisdiction states them. Section 11.6 for the categories. `by_class`: SMS and SM1
    of each site class in place of one for all lots (ASCE 7-22): see `hazard.site_class_values`.
    """
    check_sources(edition, {**sources, **(CLASS_QUANTITIES if by_class else {})})
    stated = "sds_g" in sources
    classes, class_text = _site_classes(edition, site_class, stated, lots, issues)
    read = {
        name: read_values(with_survey_rule(sources[name], edition, lots), lots, issues)
        for name in QUANTITIES
        if name in sources
    }
    unknown = np.full(len(lots), np.nan)
    values = {name: read[name].values if name in read else unknown for name in QUANTITIES}
    if by_class:
        read |= values_of_classes(edition, classes, by_class, lots, issues)
        values |= {name: read[name].values for name in CLASS_QUANTITIES}
    fa = fv = unknown
    if "ss_g" in read:
        fa, fv = coefficients(edition, classes, values["ss_g"], values["s1_g"])
        values["sms_g"], values["sm1_g"] = ch11.adjusted_g(fa, values["ss_g"]), ch11.adjusted_g(fv, values["s1_g"])
    if "sds_g" not in read:
        values["sds_g"] = ch11.design_g(values["sms_g"], edition)
        values["sd1_g"] = ch11.design_g(values["sm1_g"], edition)
    values = _hide_class_f(classes, values)
    sds_g, sd1_g, s1_g = values["sds_g"], values["sd1_g"], values["s1_g"]
    sdc = ch11.design_category(edition, sds_g, sd1_g, s1_g)
    masks = _site_study(edition, classes, values["ss_g"], s1_g)
    masks |= _category_flags(edition, sdc, sds_g, sd1_g, s1_g)
    masks["site_class_default"] = classes == DEFAULT_CLASS
    masks["seismic_unknown"] = np.isnan(sds_g) | np.isnan(sd1_g)
    provenance = {name: found.provenance for name, found in read.items()} | {"site_class": class_text}
    return Seismic(
        edition,
        classes,
        values["ss_g"],
        s1_g,
        fa,
        fv,
        values["sms_g"],
        values["sm1_g"],
        sds_g,
        sd1_g,
        sdc,
        ch11.design_category_sds_only(edition, sds_g, s1_g),
        ch11.residential_category(sds_g),
        _tuples(masks, len(lots)),
        provenance,
        read,
    )


def check_sources(edition: str, given: Mapping[str, object]) -> None:
    """Refuse values of another edition, two ways of stating the same thing, or an incomplete set.

    ASCE 7-16 takes SS and S1; ASCE 7-22 takes SMS, SM1 and S1 for the site class; either takes SDS and SD1 as stated.
    """
    table = load_table("asce7_seismic_inputs.csv")
    rows = where(table, edition=edition)
    if not len(rows):
        known = ", ".join(dict.fromkeys(str(e) for e in table["edition"]))
        raise InputError(_bad_set("edition_unknown", f"loads = {edition!r}", known, "correct [design] loads"))
    sets: dict[str, dict[str, str]] = {}
    for row in rows:
        sets.setdefault(str(table["set"][row]), {})[str(table["quantity"][row])] = str(table["need"][row])
    names = {name for name in QUANTITIES if name in given}
    for members in sets.values():
        required = {name for name, need in members.items() if need == "required"}
        if required <= names <= set(members):
            return
    legal = " or ".join(
        ", ".join(name if need == "required" else f"{name} (optional)" for name, need in members.items())
        for members in sets.values()
    )
    found = f"{edition} with {', '.join(sorted(names)) or 'no seismic values'}"
    foreign = sorted(names - {name for members in sets.values() for name in members})
    if foreign:
        fix = f"{', '.join(foreign)} belong to another edition: change loads or give that edition's values"
        raise InputError(_bad_set("seismic_editions_mixed", found, legal, fix))
    raise InputError(_bad_set("seismic_set_incomplete", found, legal, "give one complete set and nothing of another"))


def coefficients(edition: str, site_class: NDArray[np.str_], ss_g: Floats, s1_g: Floats) -> tuple[Floats, Floats]:
    """Fa and Fv, with the permitted exception for class E at high SS (Fa of class C). NaN where none is tabulated.

    ASCE 7-16 Sections 11.4.4 and 11.4.8.
    """
    fa = ch11.site_coefficient("Fa", edition, site_class, ss_g)
    fv = ch11.site_coefficient("Fv", edition, site_class, s1_g)
    table = load_table("asce7_site_study.csv")
    for row in where(table, edition=edition, parameter="SS"):
        instead = str(table["fa_of_class"][row])
        if instead:
            applies = (site_class == table["site_class"][row]) & (ss_g >= table["at_least_g"][row])
            fa = np.where(applies, ch11.site_coefficient("Fa", edition, instead, ss_g), fa)
    return fa, fv


def with_survey_rule(source: Source, edition: str, lots: LotPoints) -> Source:
    """A raster without an interpolation rule of its own, given the rule that the national survey uses at the lots.

    Values are interpolated for Alaska, Hawaii, Puerto Rico and the Virgin Islands, logarithms elsewhere.
    """
    if not isinstance(source, Layer) or source.interpolation:
        return source
    lon, lat = crs_tools.lon_lat(np.median(lots.xy, axis=0), lots.crs)[0]
    table = load_table("survey_ground_motion_grids.csv")
    here = (
        (table["edition"] == edition)
        & (table["lat_least"] <= lat)
        & (lat <= table["lat_greatest"])
        & (table["lon_least"] <= lon % 360.0)
        & (lon % 360.0 <= table["lon_greatest"])
    )
    return replace(source, interpolation=str(table["interpolation"][here][0])) if here.any() else source


def code_severities() -> dict[str, str]:
    """Severity ("stop", "refer" or "note") of every scope code that seismic values may set."""
    table = load_table("seismic_scope_codes.csv")
    return {str(code): str(severity) for code, severity in zip(table["code"], table["severity"], strict=True)}


def code_meanings() -> dict[str, str]:
    """What every scope code that seismic values may set means."""
    table = load_table("seismic_scope_codes.csv")
    return {str(code): str(meaning) for code, meaning in zip(table["code"], table["meaning"], strict=True)}


def _site_classes(
    edition: str, source: Source | None, stated: bool, lots: LotPoints, issues: Issues
) -> tuple[NDArray[np.str_], str]:
    """The site class of each lot by the edition's names; the default class where none is given.

    Design values that a jurisdiction states need no class.
    """
    size = len(lots)
    if source is None and stated:
        return np.full(size, NOT_GIVEN, dtype="<U12"), "not given, not needed for stated design values"
    if source is None:
        issues.add(
            "site_class_default", "note", "project file", "no site class", "hazards.site_class", "default class taken"
        )
        return np.full(size, DEFAULT_CLASS, dtype="<U12"), "default class, none given"
    if isinstance(source, Constant):
        return np.full(size, _class_of_constant(edition, str(source.value)), dtype="<U12"), "constant, project file"
    if not isinstance(source, Column):
        raise InputError(_bad_set("site_class_raster", "site class from a raster", "a value or a lots column", ""))
    return _classes_of_column(edition, source, lots, issues), f"lots column {source.name}"


def _class_of_constant(edition: str, written: str) -> str:
    """The edition's name of the project file's site class."""
    try:
        return ch11.site_class_name(edition, written)
    except ValueError as error:
        found, _, expected = str(error).partition("; expected ")
        raise InputError(Issue("site_class_unknown", "stop", "project file", found, expected, "correct it")) from error


def _classes_of_column(edition: str, column: Column, lots: LotPoints, issues: Issues) -> NDArray[np.str_]:
    """The edition's names of a column of site classes; a blank takes the default, an unknown one skips the lot."""
    written = np.asarray([str(v).strip() if v is not None and v == v else "" for v in column.values], dtype=np.str_)
    classes = np.full(len(written), UNREADABLE_CLASS, dtype="<U12")
    for text in np.unique(written):
        chosen = written == text
        try:
            classes[chosen] = ch11.site_class_name(edition, str(text)) if text else DEFAULT_CLASS
        except ValueError as error:
            found, _, expected = str(error).partition("; expected ")
            for lot in lots.lot_id[chosen]:
                where_ = f"lots column {column.name} lot {lot}"
                done = "no seismic value is shown for it"
                issues.add("site_class_unknown", "skip", where_, found, expected, done, str(lot))
    blank = int((written == "").sum())
    if blank:
        found = f"{blank:,} lots have no site class"
        issues.add("site_class_default", "note", f"lots column {column.name}", found, "", "default class taken")
    return classes


def _hide_class_f(classes: NDArray[np.str_], values: dict[str, Floats]) -> dict[str, Floats]:
    """No design value stands for class F, or for a class that could not be read."""
    none = (classes == "F") | (classes == UNREADABLE_CLASS)
    hidden = ("sms_g", "sm1_g", "sds_g", "sd1_g")
    return {name: np.where(none, np.nan, array) if name in hidden else array for name, array in values.items()}


def _site_study(edition: str, classes: NDArray[np.str_], ss_g: Floats, s1_g: Floats) -> dict[str, NDArray[np.bool_]]:
    """Which lots meet a site-study trigger, by scope code."""
    table = load_table("asce7_site_study.csv")
    masks: dict[str, NDArray[np.bool_]] = {}
    by_name = {"SS": ss_g, "S1": s1_g, "any": np.zeros(len(classes))}
    for row in where(table, edition=edition):
        code = str(table["code"][row])
        given = by_name[str(table["parameter"][row])]
        met = (classes == table["site_class"][row]) & (given >= table["at_least_g"][row])
        masks[code] = masks.get(code, np.zeros(len(classes), dtype=bool)) | met
    return masks


def _category_flags(
    edition: str, sdc: NDArray[np.str_], sds_g: Floats, sd1_g: Floats, s1_g: Floats
) -> dict[str, NDArray[np.bool_]]:
    """Scope codes that follow from the categories."""
    near = np.zeros(len(sds_g), dtype=bool)
    for document, parameter, values in ((edition, "SDS", sds_g), (edition, "SD1", sd1_g), ("IRC", "SDS", sds_g)):
        for bound in ch11.category_bounds_g(document, "SDS" if parameter == "SDS" else "SD1"):
            near |= np.abs(values - bound) <= NEAR_BOUNDARY * bound
    return {
        "sdc_e": np.isin(sdc, ENGINEERED_CATEGORIES),
        "s1_not_given": np.isnan(s1_g) & ch11.s1_matters(edition, sd1_g),
        "sdc_near_boundary": near,
    }


def _tuples(masks: Mapping[str, NDArray[np.bool_]], size: int) -> NDArray[np.object_]:
    """One sorted tuple of codes per lot, from one mask per code."""
    names = sorted(masks)
    pattern = np.zeros(size, dtype=np.int64)
    for number, name in enumerate(names):
        pattern |= masks[name].astype(np.int64) << number
    codes = np.empty(size, dtype=object)
    for bits in np.unique(pattern):
        held = tuple(name for number, name in enumerate(names) if bits >> number & 1)
        for lot in np.flatnonzero(pattern == bits):
            codes[lot] = held
    return codes


def _bad_set(code: str, found: str, expected: str, fix: str) -> Issue:
    """The stop for a wrong set of seismic sources."""
    return Issue(code, "stop", "project file [hazards]", found, expected, fix)
