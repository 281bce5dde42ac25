"""Kz, Ke, Kd and the topographic expressions: ASCE 7 Chapter 26."""

from __future__ import annotations

import math
from collections.abc import Iterator

from hazard.standards import asce7_ch26_wind as ch26
from screener.checks.published import Row, published
from screener.checks.rows import DERIVED, READ, Check, Source

TITLE = "Velocity pressure and topography (ASCE 7 Chapter 26)"


def _source(edition: str, place: str, obtained: str) -> Source:
    return Source("ASCE/SEI 7", edition, place, obtained)


def checks() -> Iterator[Check]:
    """Every height of Kz, every parameter of Figure 26.8-1, printed values and hand calculations."""
    yield from _kz()
    yield from _parameters()
    for row in published("wind_printed_values.csv"):
        yield from _printed(row)


def _kz() -> Iterator[Check]:
    """The power laws, to the three digits given; below 15 ft the law stays."""
    for row in published("wind_kz.csv"):
        for edition in ("7-16", "7-22"):
            source = _source(edition, "Table 26.10-1 power law", DERIVED)
            for exposure in ch26.EXPOSURES:
                ours = float(ch26.kz(float(row["z_ft"]), exposure, f"ASCE {edition}"))
                value = float(row[f"{exposure}_{edition.replace('-', '_')}"])
                yield Check(source, f"Kz at {row['z_ft']} ft, Exposure {exposure}", value, ours, 0.0005)


def _parameters() -> Iterator[Check]:
    """Each cell of Figure 26.8-1, read back out of the functions of one feature 100 ft high, Lh 400 ft."""
    height, length = 100.0, 400.0
    for row in published("wind_kzt.csv"):
        feature = row["feature"].split()[-1]
        for edition in ("7-16", "7-22"):
            source = _source(edition, "Figure 26.8-1 parameters", READ)
            for exposure in ch26.EXPOSURES:
                place = (feature, exposure, height, length)
                rate = float(ch26.k1(*place)) / 0.25
                yield Check(source, f"{feature}: K1/(H/Lh), Exposure {exposure}", _f(row, f"K1_coef_{exposure}"), rate)
                gamma = -math.log(float(ch26.k3(*place, 40.0))) / 0.1
                yield Check(source, f"{feature}: gamma, Exposure {exposure}", _f(row, "gamma"), gamma)
                for side, x in (("upwind", -200.0), ("downwind", 200.0)):
                    mu = 200.0 / length / (1.0 - float(ch26.k2(*place, x)))
                    yield Check(source, f"{feature}: mu {side}, Exposure {exposure}", _f(row, f"mu_{side}"), mu)


def _f(row: Row, column: str) -> float:
    return float(row[column])


def _printed(row: Row) -> Iterator[Check]:
    """One row of single values: a number, a yes or no, or the four topographic factors together."""
    source = _source(row["edition"], row["place"], row["obtained"])
    edition, words = f"ASCE {row['edition']}", row["inputs"].split()
    within, what = float(row["within"]), f"{row['quantity']} of {row['inputs']}"
    if row["quantity"] == "counts":
        ours = bool(ch26.topography_counts(edition, words[0], float(words[1]), float(words[2])))
        yield Check(source, f"feature counts: {row['inputs']}", row["published"], "yes" if ours else "no")
    elif row["quantity"].startswith("k1"):
        feature, *numbers = words
        h, lh, x, z = (float(n) for n in numbers)
        found = (
            ch26.k1(feature, "C", h, lh),
            ch26.k2(feature, "C", h, lh, x),
            ch26.k3(feature, "C", h, lh, z),
            ch26.kzt(feature, "C", h, lh, x, z),
        )
        for name, value, text in zip(("K1", "K2", "K3", "Kzt"), found, row["published"].split(), strict=True):
            yield Check(source, f"{name} of {row['inputs']}", float(text), float(value), within)
    else:
        yield Check(source, what, float(row["published"]), _single(row["quantity"], words, edition), within)


def _single(quantity: str, words: list[str], edition: str) -> float:
    if quantity == "kz":
        return float(ch26.kz(float(words[0]), words[1], edition))
    if quantity == "ke":
        return float(ch26.ke(float(words[0]), edition))
    if quantity == "kd":
        return ch26.kd(edition)
    if quantity == "isolation_ft":
        return float(ch26.isolation_distance_ft(edition, float(words[0])))
    raise ValueError(f"wind_printed_values.csv: quantity {quantity!r} is not known")
