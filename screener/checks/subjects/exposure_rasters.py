"""Exposure letters on land-cover rasters with known answers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from hazard.exposure import ExposureRules, letters, measure_fetch
from hazard.land_cover import RoughnessMap
from screener.checks.grounds import FT, LOCAL, Cover, Floats, half_plane, map_of, uniform, wedge
from screener.checks.rows import DERIVED, Check, Source

TITLE = "Exposure on rasters (ASCE 7 Section 26.7)"
LONG = True

_CELLS_M = (10.0, 30.0)


def checks() -> Iterator[Check]:
    """The cases E1 to E13 of exposure_cases.csv that one lot and one ground can state."""
    for cell_m in _CELLS_M:
        source = Source("ASCE/SEI 7", "7-16", f"Sections 26.7.1 and 26.7.3 on {cell_m:g} m cells", DERIVED)
        for what, want, ours in _answers(cell_m):
            yield Check(source, what, want, ours)


def _letters(ground: Cover | RoughnessMap, cell_m: float, height_ft: float = 25.0, reach_ft: float = 6400.0,
             rules: ExposureRules | None = None) -> str:  # fmt: skip
    """The sixteen letters of the lot at 0, 0, from north clockwise."""
    roughness = ground if isinstance(ground, RoughnessMap) else map_of(ground, cell_m, reach_ft)
    fetch = measure_fetch(roughness, np.zeros((1, 2)), LOCAL, rules, greatest_height_ft=max(30.0, height_ft))
    return "".join(letters(fetch, height_ft)[0])


def _answers(cell_m: float) -> Iterator[tuple[str, str, str]]:
    """What is asked, the known answer, ours."""
    for letter in "BCD":
        for height in (15.0, 31.0):
            found = _letters(uniform(letter), cell_m, height)
            yield f"E1, E2: everything {letter}, h = {height:g} ft", letter * 16, found
    step = half_plane(0.0, 1600.0, "B", "C")
    yield "E4: B to 1,600 ft north, then C, h = 30 ft", "B" * 16, _letters(step, cell_m, 30.0)
    yield "E4: the same, h = 31 ft, wind from north", "C", _letters(step, cell_m, 31.0)[0]
    for height, limit_ft in ((25.0, 600.0), (40.0, 800.0)):
        for inland_ft, letter in ((limit_ft - 10.0, "D"), (limit_ft + cell_m / FT + 1.0, "C")):
            found = _letters(half_plane(0.0, inland_ft, "C", "D"), cell_m, height, 6500.0)
            where = "inside" if letter == "D" else "one cell beyond"
            yield f"E5: water from {where} {limit_ft:g} ft on, h = {height:g} ft, wind from north", letter, found[0]
    yield "E7: lake 5,100 ft wide at 100 ft, wind from north", "D", _letters(_lake(5100.0), cell_m)[0]
    yield "E8: pond 400 ft wide at 700 ft in B", "B" * 16, _letters(_pond, cell_m)
    strict = ExposureRules(open_gap_ft=200.0)
    found = "C" if "C" in _letters(_pond, cell_m, rules=strict) else "B"
    yield "E8: the same where gaps of 200 ft are allowed, worst direction", "C", found
    water = map_of(wedge(0.0, 45.0, "D", "C"), cell_m)
    plain = _letters(water, cell_m)
    for k, letter in ((0, "D"), (2, "D"), (4, "C"), (14, "C")):
        yield f"E10: water between bearings 0 and 45, wind from {22.5 * k:g}", letter, plain[k]
    for turns in (1, 2, 3):
        turned = RoughnessMap(np.rot90(water.roughness, -turns), water.transform, LOCAL, "turned")
        steps = 4 * turns
        yield f"E11: E10 turned by {90 * turns}", plain[-steps:] + plain[:-steps], _letters(turned, cell_m)
    for letter in "BCD":
        found = _letters(uniform(letter), cell_m, reach_ft=2000.0)
        yield f"E13: raster of {letter} that ends at 2,000 ft", "?" * 16, found


def _lake(width_ft: float) -> Cover:
    return lambda east, north: np.where((north > 100.0) & (north <= 100.0 + width_ft), "D", "C")


def _pond(east: Floats, north: Floats) -> np.ndarray:
    return np.where((np.abs(east) <= 200.0) & (north > 700.0) & (north <= 1100.0), "D", "B")
