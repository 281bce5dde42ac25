"""Hills and steps read off profiles sampled every foot: H, Lh, x and the factors that follow."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from hazard.standards import asce7_ch26_wind as ch26
from hazard.topography import features_on_profile
from screener.checks import grounds
from screener.checks.published import Row, published
from screener.checks.rows import DERIVED, Check, Source

TITLE = "Topographic features on profiles (ASCE 7 Figure 26.8-1)"

GROUND = {
    "T1": grounds.triangle(100, 400),
    "T3": grounds.triangle(100, 400),
    "T6": grounds.ramp(100, 800),
    "T7": grounds.ramp(100, 800),
    "T9": grounds.agnesi_hill(150, 500),
    "T10": grounds.gaussian_hill(150, 400),
    "T12": grounds.triangle(14, 56),
    "T13": grounds.triangle(16, 64),
    "T15": grounds.triangle(100, 400),
    "T16": grounds.plus(grounds.triangle(100, 400), grounds.moved(grounds.triangle(100, 400), -3000)),
    "T18": grounds.slope(0.05),
    "T19": grounds.polyline((0.0, 0.0), (1.0, 12.0)),
}
SITE = {"T3": -90.0, "T7": 800.0, "T15": -240.0, "T19": 60.0}
"""Where the lot stands, ft along the wind from the crest; 0 where not named."""


def cases() -> dict[str, Row]:
    """The published cases by id."""
    return {row["id"]: row for row in published("topography_cases.csv")}


def number(row: Row, name: str, column: str = "expected") -> float:
    """One number of a case, such as Kzt or Lh."""
    found = re.search(rf"\b{name}=\+?(-?[\d.]*\d)", row[column])
    if not found:
        raise ValueError(f"topography_cases.csv {row['id']}: no {name} in {row[column]!r}")
    return float(found.group(1))


def checks() -> Iterator[Check]:
    """The feature that governs, and K1, K2, K3, Kzt of what was found."""
    source = Source("ASCE/SEI 7", "7-16", "Figure 26.8-1 on a profile sampled every foot", DERIVED)
    s = np.arange(-60_000.0, 15_001.0)
    for case in ("T1", "T3", "T6", "T7", "T9", "T10"):
        row = cases()[case]
        site = int(np.flatnonzero(s == SITE.get(case, 0.0))[0])
        found = features_on_profile(GROUND[case](s, 0.0 * s), 1.0, site)
        form, z = row["inputs"].split("type=")[1].split(";")[0], number(row, "z", "inputs")
        values = ch26.kzt(form, "C", found.height_ft, found.half_length_ft, found.x_ft, z)
        i = int(np.argmax(values))
        h, lh, x = (float(v[i]) for v in (found.height_ft, found.half_length_ft, found.x_ft))
        want = {name: number(row, name, "inputs") for name in ("H", "Lh", "x")}
        want |= {name: number(row, name) for name in ("K1", "K2", "K3", "Kzt")}
        for name, ours, within in (
            ("H", h, 2e-3 * want["H"]),
            ("Lh", lh, 3e-3 * want["Lh"]),
            ("x", x, 1.0),
            ("K1", float(ch26.k1(form, "C", h, lh)), 1.5e-3 * want["K1"]),
            ("K2", float(ch26.k2(form, "C", h, lh, x)), 1.5e-3),
            ("K3", float(ch26.k3(form, "C", h, lh, z)), 5e-4),
            ("Kzt", float(values[i]), 1e-3 * want["Kzt"]),
        ):
            unit = "ft" if name in ("H", "Lh", "x") else ""
            yield Check(source, f"{case}: {name}", want[name], ours, within, unit)
