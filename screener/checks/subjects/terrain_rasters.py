"""Hills and steps of exact shape cut into rasters, for all sixteen directions of the wind."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from hazard.topography_settings import TopographySettings
from screener.checks import grounds
from screener.checks.rows import DERIVED, Check, Known, Source
from screener.checks.subjects.terrain_profiles import GROUND, SITE, cases, number

TITLE = "Topographic factor on rasters (ASCE 7 Section 26.8)"
LONG = True

STATED = (
    ("T6", 10.0, -2.0, 2.0),
    ("T7", 10.0, -2.0, 2.0),
    ("T9", 10.0, -2.0, 2.0),
    ("T10", 10.0, -2.0, 2.0),
    ("T1", 10.0, -7.0, 1.0),
    ("T3", 10.0, -5.0, 1.0),
    ("T6", 30.0, -10.0, 2.0),
    ("T7", 30.0, -10.0, 2.0),
    ("T9", 30.0, -10.0, 2.0),
    ("T10", 30.0, -10.0, 2.0),
    ("T1", 30.0, -20.0, 5.0),
    ("T3", 30.0, -20.0, 5.0),
)
"""Case, cell in metres, and the stated accuracy in percent of Kzt: within 2 % on 10 m cells where the half length is
400 ft or more; a sharp crest between cell centres loses height, the more the larger the cells."""

_SMALL = TopographySettings(search_upwind_ft=2500.0, search_downwind_ft=2500.0, beyond_ft=0.0)


def checks() -> Iterator[Check]:
    """Kzt over all directions within the accuracy that the README states, and the cases that must not count."""
    yield from _stated_accuracy()
    yield from _not_counting()
    yield from _by_exposure()
    yield from _isolation()


def _stated_accuracy() -> Iterator[Check]:
    for case, cell_m, low, high in STATED:
        row = cases()[case]
        place = f"Figure 26.8-1 on {cell_m:g} m cells"
        source, want = Source("ASCE/SEI 7", "7-16", place, DERIVED), number(row, "Kzt")
        site, z = SITE.get(case, 0.0), number(row, "z", "inputs")
        turned = [grounds.on_ground(GROUND[case], site, k, cell_m, 0.33).kzt(z, "C")[0] for k in range(16)]
        values = [float(kzt[0, k]) for k, kzt in enumerate(turned)]
        reason = f"the raster's own limit, stated: {low:+g} to {high:+g} % on {cell_m:g} m cells"
        both = 0.02 * want if (low, high) == (-2.0, 2.0) else 0.0
        for name, ours in (("least", min(values)), ("greatest", max(values))):
            known = None if both else Known(reason, low / 100.0 * want, high / 100.0 * want)
            yield Check(source, f"{case}: {name} Kzt over 16 directions", want, ours, both, known=known)


def _not_counting() -> Iterator[Check]:
    """Too low, below mid-height, a 12 ft wall, a plane: Kzt 1."""
    source = Source("ASCE/SEI 7", "7-16", "Section 26.8.1 on 10 m cells", DERIVED)
    for case in ("T12", "T15", "T18", "T19"):
        result = grounds.on_ground(GROUND[case], SITE.get(case, 0.0), 0, 10.0, 0.33)
        for exposure in "BCD":
            values = result.kzt(20.0, exposure)[0]
            yield Check(source, f"{case}: greatest Kzt, Exposure {exposure}", 1.0, float(values.max()))


def _by_exposure() -> Iterator[Check]:
    """T13: H 16 ft counts in C (15 ft) and not in B (60 ft); cells of 2 m, for Lh is 32 ft."""
    source = Source("ASCE/SEI 7", "7-16", "Section 26.8.1 on 2 m cells", DERIVED)
    result = grounds.on_ground(GROUND["T13"], cell_m=2.0, half_ft=2800, shift=0.5, settings=_SMALL)
    expected = cases()["T13"]["expected"]
    want = float(expected.split("C: Kzt=")[1].split(";")[0])
    ours = float(result.kzt(20.0, "C")[0][0, 0])
    yield Check(source, "T13: Kzt in Exposure C", want, ours, 0.01 * want)
    letters: np.ndarray = np.full((1, 16), "B")
    yield Check(source, "T13: greatest Kzt in Exposure B", 1.0, float(result.kzt(20.0, letters)[0].max()))


def _isolation() -> Iterator[Check]:
    """T16: a like ridge 3,000 ft upwind denies the factor by the letter of 26.8.1; 11,000 ft upwind it does not."""
    source = Source("ASCE/SEI 7", "7-16", "Section 26.8.1, condition 1, on 10 m cells", DERIVED)
    want = float(cases()["T16"]["expected"].split("screening: ")[1])
    far = grounds.plus(grounds.triangle(100, 400), grounds.moved(grounds.triangle(100, 400), -11_000))
    for name, ground, strict_want in (("3,000 ft", GROUND["T16"], 1.0), ("11,000 ft", far, want)):
        screening, strict = grounds.on_ground(ground).kzt(20.0, "C")
        yield Check(source, f"T16: screening, second ridge at {name}", want, float(screening[0, 0]), 0.06 * want)
        yield Check(
            source, f"T16: strict, second ridge at {name}", strict_want, float(strict[0, 0]), 0.06 * strict_want
        )
