"""Site coefficients, design values and design category: ASCE 7 Chapter 11 and the residential code."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Literal, cast

import numpy as np

from hazard.standards import asce7_ch11_seismic as ch11
from screener.checks.published import Row, number, published
from screener.checks.rows import DERIVED, MEMORY, READ, Check, Source, known_value, obtained_of, printed

TITLE = "Site coefficients, ground motion and design category (ASCE 7 Chapter 11, IRC)"

Coefficient = Literal["Fa", "Fv"]
_OUR_CLASS = {"B-estimated": "B-unmeasured", "D-default": "default"}
_MAPPED: tuple[tuple[Coefficient, str, str], ...] = (("Fa", "SMS", "SS"), ("Fv", "SM1", "S1"))
_ROUNDING_G = 0.0006
"""The survey's values have three decimals (0.0005), and S of a point is itself only known through such a value."""


def checks() -> Iterator[Check]:
    """Tables 11.4-1 and -2, the survey's own points, Tables 11.6, worked pages, derived cases."""
    yield from _tables()
    yield from _survey_points()
    yield from _categories()
    for row in published("seismic_ground_values.csv"):
        yield from _site(row)
    for row in published("seismic_check_cases.csv"):
        yield from _case(row)


def _class(name: str) -> str:
    return _OUR_CLASS.get(name, name)


def _tables() -> Iterator[Check]:
    """Every cell; blank cells have no value (Section 11.4.8)."""
    for row in published("seismic_site_coefficients.csv"):
        source = Source("ASCE/SEI 7", row["edition"], "Tables 11.4-1 and 11.4-2", READ)
        name, mapped = cast(Coefficient, row["coef"]), float(row["SS_or_S1"])
        ours = ch11.site_coefficient(name, f"ASCE {row['edition']}", _class(row["site_class"]), mapped)
        yield Check(source, f"{name}, class {row['site_class']}, at {mapped:g} g", number(row["value"]), float(ours))


def _survey_points() -> Iterator[Check]:
    """The survey's check points: its class B points as they are, its points of several classes against each other."""
    points: dict[tuple[str, str, str], dict[str, Row]] = {}
    for row in published("seismic_survey_qc_points_asce7_16.csv"):
        points.setdefault((row["place"], row["lat"], row["lon"]), {})[row["site_class"]] = row
    for point, classes in points.items():
        if "B-estimated" in classes:
            yield from _unmeasured_b(point, classes["B-estimated"])
        if len(classes) >= 6:
            yield from _several_classes(point, classes)


def _unmeasured_b(point: tuple[str, str, str], row: Row) -> Iterator[Check]:
    source = Source("national survey's check points", "for 7-16", "class B not measured", READ)
    for name, adjusted, mapped in _MAPPED:
        value = float(row[adjusted])
        factor = ch11.site_coefficient(name, "ASCE 7-16", "B-unmeasured", value)
        yield Check(source, f"{' '.join(point)}: {adjusted} = {mapped}", value, float(ch11.adjusted_g(factor, value)))


def _several_classes(point: tuple[str, str, str], classes: dict[str, Row]) -> Iterator[Check]:
    """S of a point is not given, only that its classes share one: the one within class A's rounding that fits best."""
    source = Source("national survey's check points", "for 7-16", "classes A to E of one point", READ)
    for name, adjusted, mapped in _MAPPED:
        trial = number(classes["A"][adjusted]) / 0.8 + np.linspace(-1, 1, 2001) * 0.0005 / 0.8
        values = {
            letter: ch11.adjusted_g(ch11.site_coefficient(name, "ASCE 7-16", _class(letter), trial), trial)
            for letter in classes
        }
        given = {letter: number(row[adjusted]) for letter, row in classes.items()}
        errors = [np.abs(values[letter] - g) for letter, g in given.items() if np.isfinite(g)]
        best = int(np.argmin(np.fmax.reduce(errors)))
        for letter, value in given.items():
            what = f"{' '.join(point)}, class {letter}: {adjusted}"
            if np.isnan(value):  # Section 11.4.8 must be the reason that the survey gives none
                reason = letter in ("D", "D-default", "E") and trial.max() >= (1.0 if name == "Fa" else 0.2)
                yield Check(source, f"{what} left to a study from {mapped} on", "yes", "yes" if reason else "no")
            else:
                yield Check(source, what, value, float(values[letter][best]), _ROUNDING_G, "g")


def _categories() -> Iterator[Check]:
    """Each band at its bounds, just inside, and half way; ASCE 7 bounds belong upward, the residential code's down."""
    for row in published("seismic_sdc_tables.csv"):
        residential = row["table"].startswith("IRC")
        obtained = obtained_of(row["tag"])
        upper = float(row["upper"]) if row["upper"] else np.inf
        lower = float(row["lower"])
        top = upper if np.isfinite(upper) else lower + 1.0
        inside = [(lower + top) / 2, np.nextafter(lower, 9) if residential else lower]
        inside.append(top if residential or not np.isfinite(upper) else np.nextafter(top, 0))
        parameter = cast(Literal["SDS", "SD1", "S1"], row["parameter"])
        for edition in ("IRC",) if residential else ("ASCE 7-16", "ASCE 7-22"):
            how = obtained if edition != "ASCE 7-22" else MEMORY
            place = f"{'Section' if parameter == 'S1' else 'Table'} {row['table'].split()[-1]}"
            named = ("IRC", "2015 and later") if residential else ("ASCE/SEI 7", edition[5:])
            source = Source(*named, place, how)
            want = row["category_RC_I_II"]
            for value in inside:
                ours = str(ch11.category_by_value(edition, parameter, value))
                yield Check(source, f"category of {parameter} {value:.4g}", want, ours)
            if np.isfinite(upper):
                beyond = np.nextafter(upper, 9) if residential else upper
                ours = str(ch11.category_by_value(edition, parameter, beyond))
                yield Check(
                    source, f"{parameter} {beyond:.4g} is no longer {want}", "yes", "no" if ours == want else "yes"
                )


def _site(row: Row) -> Iterator[Check]:
    """One site: coefficients, adjusted and design values as printed."""
    edition = f"ASCE {row['edition']}"
    worked = row["id"].startswith("WE")
    place = f"{row['id']}: {row['place']}" if worked else row["place"]
    source = Source("worked page to ASCE/SEI 7" if worked else "ASCE/SEI 7", row["edition"], place, row["obtained"])
    ss, s1 = number(row["SS"]), number(row["S1"])
    fa, fv = (float(ch11.site_coefficient(c, edition, row["site_class"], m)) for c, m in (("Fa", ss), ("Fv", s1)))  # type: ignore[arg-type]
    sms, sm1 = float(ch11.adjusted_g(fa, ss)), float(ch11.adjusted_g(fv, s1))
    # ASCE 7-10 has the same two thirds (Eq. 11.4-3, 11.4-4); its tables alone are kept here
    sds, sd1 = (float(ch11.design_g(v, "ASCE 7-16")) for v in (sms, sm1))
    ours = {"Fa": fa, "Fv": fv, "SMS": sms, "SM1": sm1, "SDS": sds, "SD1": sd1}
    stated = dict(part.split() for part in row["ours"].split("; ") if part)
    for name, value in ours.items():
        if row[name]:
            given, half = printed(row[name])
            within = 2.0 * half * float(row["slack"])
            known = known_value(row["known"], given, stated[name]) if name in stated else None
            yield Check(source, f"{name}, class {row['site_class']}", given, value, within, known=known)
    if row["category"]:
        yield Check(source, "design category", row["category"], str(ch11.design_category(edition, sds, sd1, s1)))


def _case(row: Row) -> Iterator[Check]:
    """One derived case of both editions, to its four decimals."""
    edition = f"ASCE {row['edition']}"
    source = Source("ASCE/SEI 7", row["edition"], "Sections 11.4 and 11.6, derived cases", DERIVED)
    s1 = float(row["S1"])
    if edition == "ASCE 7-16":
        ss = float(row["SS"])
        fa, fv = (
            float(ch11.site_coefficient(c, edition, _class(row["site_class"]), m))
            for c, m in cast(tuple[tuple[Coefficient, float], ...], (("Fa", ss), ("Fv", s1)))
        )
        for name, value in (("Fa", fa), ("Fv", fv)):
            yield Check(source, f"{row['case']}: {name}", float(row[name]), value, 0.00005)
        sms, sm1 = float(ch11.adjusted_g(fa, ss)), float(ch11.adjusted_g(fv, s1))
    elif "default" in row["site_class"]:
        sms, sm1 = (float(ch11.default_class_g(*values)) for values in _by_class(row["note"]))
    else:
        sms, sm1 = float(row["SMS"]), float(row["SM1"])
    sds, sd1 = float(ch11.design_g(sms, edition)), float(ch11.design_g(sm1, edition))
    period = float(ch11.transition_period_s(sds, sd1))
    for name, value in (("SMS", sms), ("SM1", sm1), ("SDS", sds), ("SD1", sd1), ("TS_s", period)):
        yield Check(source, f"{row['case']}: {name}", float(row[name]), value, 0.000051)
    letters = {
        "SDC_from_SDS": ch11.category_by_value(edition, "SDS", sds),
        "SDC_from_SD1": ch11.category_by_value(edition, "SD1", sd1),
        "SDC": ch11.design_category(edition, sds, sd1, s1),
        "IRC_SDC_from_SDS": ch11.residential_category(sds),
    }
    for name, letter in letters.items():
        yield Check(source, f"{row['case']}: {name}", row[name], str(letter))


def _by_class(note: str) -> tuple[list[float], list[float]]:
    """SMS and SM1 of classes C, CD and D as the note of a case of the default class states them."""
    pairs = re.findall(r"\b(CD|C|D)=\(([\d.]+),\s*([\d.]+)\)", note)
    if {name for name, _, _ in pairs} != {"C", "CD", "D"}:
        raise ValueError(f"note {note!r}; expected (SMS, SM1) of classes C, CD and D")
    return [float(sms) for _, sms, _ in pairs], [float(sm1) for _, _, sm1 in pairs]
