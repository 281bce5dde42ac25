"""Ages of dated inputs against the limits of the project: land cover, terrain, prices, loads, seals.

Judged at the project's own ``as_of`` date, never by the clock, so that the same inputs give the same results.
"""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from screener.hardware import Hardware
from screener.houses import Houses
from screener.scope import Findings

if TYPE_CHECKING:
    from screener.config import Site, Tract
    from screener.config_sections import AgesSection

DAYS_A_YEAR = 365.25


def years_between(earlier: date, later: date) -> float:
    return (later - earlier).days / DAYS_A_YEAR


def age_findings(
    tract: Tract, hardware: Hardware, houses: Houses, house: NDArray[np.int64], findings: Findings
) -> None:
    """Notes for every lot that a too-old input touches."""
    ground_age_findings(tract, findings)
    as_of, limits = tract.tract.as_of, tract.ages
    if as_of is None:
        return
    _hardware_ages(hardware, as_of, limits, findings, house)
    for h, variant in enumerate(houses.variants):
        sealed = variant.plan.plan.seal_date
        if sealed is not None and (age := years_between(sealed, as_of)) > limits.seal_years:
            findings.add("OLD_SEAL", house == h, f"{age:.1f} years against {limits.seal_years:g}")


def ground_age_findings(tract: Site, findings: Findings) -> None:
    """The same for the ground alone: land cover and elevation."""
    everyone = np.ones(findings.lots, dtype=bool)
    as_of, limits = tract.tract.as_of, tract.ages
    if as_of is None:
        findings.add("AGE_UNKNOWN", everyone, "")
        return
    for code, source, limit in (
        ("OLD_LAND_COVER", tract.hazards.land_cover, limits.land_cover_years),
        ("OLD_ELEVATION", tract.hazards.elevation_ft, limits.elevation_years),
    ):
        if source is not None and source.dated is not None:
            age = years_between(source.dated, as_of)
            if age > limit:
                findings.add(code, everyone, f"{age:.1f} years against {limit:g}")


def _hardware_ages(
    hardware: Hardware, as_of: date, limits: AgesSection, findings: Findings, house: NDArray[np.int64]
) -> None:
    """The list's oldest source; prices share the list's own date where the rows give one (``price_date``)."""
    loads, prices = [], []
    for row in hardware.rows:
        if (found := _date(row.source_date)) is not None:
            loads.append((found, row.item))
        if (found := _date(row.extra.get("price_date", ""))) is not None:
            prices.append((found, row.item))
    for code, dated, limit in (
        ("OLD_CAPACITY", loads, limits.capacity_years),
        ("OLD_PRICE", prices, limits.price_years),
    ):
        if dated:
            oldest, item = min(dated)
            age = years_between(oldest, as_of)
            if age > limit:
                findings.add(code, house >= 0, f"{item}: {age:.1f} years against {limit:g}")


def _date(text: str) -> date | None:
    """A date written YYYY-MM-DD, YYYY-MM or as a bare year; None otherwise."""
    found = re.fullmatch(r"(\d{4})(?:-(\d{2}))?(?:-(\d{2}))?", text.strip())
    if not found:
        return None
    year, month, day = found.groups()
    return date(int(year), int(month or 1), int(day or 1))
