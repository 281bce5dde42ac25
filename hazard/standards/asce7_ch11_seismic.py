"""Earthquake: site coefficients, design values and design category, as pure functions over arrays.

ASCE 7-16 and ASCE 7-22 (Minimum Design Loads), Chapter 11, and the residential code's category letters (IRC Table
R301.2.2.1.1). Editions are rows of the reference tables. Accelerations are in g.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hazard.standards.tables import load_table, value, where

Floats = NDArray[np.float64]
Letters = NDArray[np.str_]

# Class names that stand for none.
NO_CLASS = ("", "?")
# Category letters in rising order, for "the more severe of".
ORDER = ("", "A", "B", "C", "D", "E", "F")


def site_class_name(edition: str, written: str) -> str:
    """The edition's name of a site class as a user may write it; an error lists the classes the edition knows.

    ASCE 7-16 Section 11.4.3; ASCE 7-22 Section 11.4.2. "default" is a class of its own.
    """
    table = load_table("asce7_site_classes.csv")
    rows = where(table, edition=edition)
    wanted = written.strip().casefold()
    for row in rows:
        if str(table["written"][row]).casefold() == wanted:
            return str(table["site_class"][row])
    known = list(dict.fromkeys(str(table["site_class"][row]) for row in rows))
    raise ValueError(f"site class {written!r}; expected one of {', '.join(known)} ({edition})")


def site_coefficient(
    coefficient: Literal["Fa", "Fv"], edition: str, site_class: ArrayLike, mapped_g: ArrayLike
) -> Floats:
    """Site coefficient Fa (from SS) or Fv (from S1) by site class.

    ASCE 7-16 Section 11.4.4, Tables 11.4-1 and 11.4-2: linear between the columns, held beyond the end columns; the
    default class is D with Fa not less than 1.2; B without measured shear-wave velocity takes 1.0. NaN where the
    table sends the site to a study (class F, and the blank cells of class E), which starts at the blank column, and
    for the class names "" (not given) and "?" (not readable).
    """
    classes, mapped = np.broadcast_arrays(np.asarray(site_class, dtype=np.str_), _accelerations(mapped_g))
    result: Floats = np.full(mapped.shape, np.nan)
    for name in np.unique(classes):
        if str(name) in NO_CLASS:
            continue
        chosen = classes == name
        result[chosen] = _coefficient_of_class(coefficient, edition, str(name), mapped[chosen])
    return result


def coefficient_columns(
    coefficient: Literal["Fa", "Fv"], edition: str, site_class: str, mapped_g: float
) -> dict[float, float]:
    """The columns of a site coefficient's table that a mapped value lies between: mapped value -> coefficient.

    ASCE 7-16 Tables 11.4-1 and 11.4-2. Empty where the edition has no such row.
    """
    names = load_table("asce7_site_classes.csv")
    known = where(names, edition=edition, site_class=site_class)
    row_name = str(names["coefficient_row"][known[0]]) if len(known) else site_class
    table = load_table("asce7_site_coefficients.csv")
    rows = where(table, edition=edition, coefficient=coefficient, site_class=row_name)
    columns, cells = table["mapped_g"][rows], table["value"][rows]
    k = int(np.searchsorted(columns, mapped_g, side="right"))
    near = [i for i in (k - 1, k) if 0 <= i < len(rows)]
    return {float(columns[i]): float(cells[i]) for i in near}


def adjusted_g(coefficient: ArrayLike, mapped_g: ArrayLike) -> Floats:
    """Acceleration adjusted for site class: SMS = Fa SS, SM1 = Fv S1, g.

    ASCE 7-16 Section 11.4.4, Eq. 11.4-1 and 11.4-2.
    """
    return np.asarray(np.asarray(coefficient, dtype=np.float64) * np.asarray(mapped_g, dtype=np.float64))


def design_g(adjusted_g: ArrayLike, edition: str) -> Floats:
    """Design acceleration: SDS = 2/3 SMS, SD1 = 2/3 SM1, g.

    ASCE 7-16 Section 11.4.5, Eq. 11.4-3 and 11.4-4; ASCE 7-22 Section 11.4.4, Eq. 11.4-1 and 11.4-2.
    """
    table = load_table("asce7_seismic_rules.csv")
    numerator, denominator = (
        float(value(table, f"design_{part}", edition=edition)) for part in ("numerator", "denominator")
    )
    return np.asarray(np.asarray(adjusted_g, dtype=np.float64) * numerator / denominator)


def default_class_g(*adjusted_by_class_g: ArrayLike) -> Floats:
    """Value of the default site class: the greatest over classes C, CD and D, each parameter by itself, g.

    ASCE 7-22 Section 11.4.2.
    """
    return np.asarray(np.maximum.reduce([np.asarray(values, dtype=np.float64) for values in adjusted_by_class_g]))


def transition_period_s(sds_g: ArrayLike, sd1_g: ArrayLike) -> Floats:
    """Period TS = SD1/SDS at which the flat part of the design spectrum ends, s.

    ASCE 7-16 Section 11.4.6.
    """
    return np.asarray(np.asarray(sd1_g, dtype=np.float64) / np.asarray(sds_g, dtype=np.float64))


def category_by_value(document: str, parameter: Literal["SDS", "SD1", "S1"], value_g: ArrayLike) -> Letters:
    """Category letter of one parameter by its own table; "" where the value is unknown.

    ASCE 7-16 and 7-22 Tables 11.6-1 (SDS) and 11.6-2 (SD1), Section 11.6 (S1), Risk Category I to III: a value at a
    bound belongs to the category above. IRC Table R301.2.2.1.1 (SDS): a value at a bound belongs to the one below.
    """
    table = load_table("asce7_seismic_design_category.csv")
    rows = where(table, document=document, parameter=parameter)
    if not len(rows):
        value(table, "category", document=document, parameter=parameter)  # raises, naming what would be legal
    bounds = table["lower_g"][rows]
    side: Literal["left", "right"] = "right" if table["reached"][rows[0]] == "at" else "left"
    given = _accelerations(value_g)
    step = np.clip(np.searchsorted(bounds, given, side=side) - 1, 0, len(rows) - 1)
    letters: Letters = table["category"][rows].astype("<U2")
    return np.where(np.isnan(given), "", letters[step])


def design_category(edition: str, sds_g: ArrayLike, sd1_g: ArrayLike, s1_g: ArrayLike) -> Letters:
    """Seismic design category by both tables: the more severe, and E where S1 is 0.75 g or more.

    ASCE 7-16 and 7-22 Section 11.6, Risk Category I to III. "" where SDS or SD1 is unknown, unless S1 decides. An
    unknown S1 can't raise the category: flag it with `s1_matters`.
    """
    by_sds = category_by_value(edition, "SDS", sds_g)
    by_sd1 = category_by_value(edition, "SD1", sd1_g)
    by_table = np.where((by_sds == "") | (by_sd1 == ""), "", more_severe(by_sds, by_sd1))
    return _with_s1(edition, by_table, s1_g)


def design_category_sds_only(edition: str, sds_g: ArrayLike, s1_g: ArrayLike) -> Letters:
    """Seismic design category by SDS alone, where Section 11.6 permits that; E where S1 is 0.75 g or more.

    ASCE 7-16 and 7-22 Section 11.6, Table 11.6-1. Whether the building qualifies (short period, flexible diaphragms
    with walls not more than 40 ft apart) is for the plan to say.
    """
    return _with_s1(edition, category_by_value(edition, "SDS", sds_g), s1_g)


def residential_category(sds_g: ArrayLike) -> Letters:
    """The residential code's category letter, from SDS alone: A, B, C, D0, D1, D2 or E.

    IRC Table R301.2.2.1.1 (2015 and later).
    """
    return category_by_value("IRC", "SDS", sds_g)


def more_severe(first: ArrayLike, second: ArrayLike) -> Letters:
    """The more severe of two category letters (A to F), place by place."""
    order: Letters = np.asarray(ORDER, dtype="<U2")  # rising, so that places can be searched
    ranks = [np.searchsorted(order, np.asarray(letters, dtype="<U2")) for letters in (first, second)]
    return order[np.maximum(*ranks)]


def s1_matters(edition: str, sd1_g: ArrayLike) -> NDArray[np.bool_]:
    """Whether an unknown S1 could be 0.75 g or more, given SD1.

    Derived from ASCE 7-16 Table 11.4-2: its least Fv is 0.8, so SD1 below 0.4 g excludes it.
    """
    bound = float(value(load_table("asce7_seismic_rules.csv"), "s1_needed_from_sd1_g", edition=edition))
    return np.asarray(np.asarray(sd1_g, dtype=np.float64) >= bound)


def category_bounds_g(document: str, parameter: Literal["SDS", "SD1", "S1"]) -> Floats:
    """The bounds between categories of one parameter, g, rising."""
    table = load_table("asce7_seismic_design_category.csv")
    bounds: Floats = np.asarray(table["lower_g"][where(table, document=document, parameter=parameter)], np.float64)
    return bounds[1:]


def _coefficient_of_class(coefficient: str, edition: str, site_class: str, mapped_g: Floats) -> Floats:
    """The coefficient of one class over many mapped values."""
    names = load_table("asce7_site_classes.csv")
    known = where(names, edition=edition, site_class=site_class)
    row_name = str(names["coefficient_row"][known[0]]) if len(known) else site_class
    if len(known) and not row_name:
        if not len(where(load_table("asce7_site_coefficients.csv"), edition=edition)):
            raise ValueError(f"{edition} has no site coefficients; expected values given for the site class")
        return np.full(mapped_g.shape, np.nan)
    table = load_table("asce7_site_coefficients.csv")
    rows = where(table, edition=edition, coefficient=coefficient, site_class=row_name)
    if not len(rows):
        raise ValueError(f"no {coefficient} for site class {site_class!r} in {edition}")
    columns, cells = table["mapped_g"][rows], table["value"][rows]
    filled = ~np.isnan(cells)
    result: Floats = np.interp(mapped_g, columns[filled], cells[filled])
    if not filled.all():
        # The last filled cell holds up to the first blank column, as the survey's own code has it.
        result = np.where(mapped_g >= columns[~filled].min(), np.nan, result)
    return np.where(np.isnan(mapped_g), np.nan, result)


def _with_s1(edition: str, letters: Letters, s1_g: ArrayLike) -> Letters:
    """Raise letters to what S1 alone asks for, where that is more than category A."""
    by_s1 = category_by_value(edition, "S1", s1_g)
    raised = (by_s1 != "") & (by_s1 != "A")
    return np.where(raised, more_severe(letters, by_s1), letters)


def _accelerations(given_g: ArrayLike) -> Floats:
    """Accelerations as an array; a negative one is an error."""
    values: Floats = np.asarray(given_g, dtype=np.float64)
    if np.any(values < 0):
        raise ValueError(f"acceleration {np.nanmin(values):g} g; expected 0 or more")
    return values
