"""Every check value that ships with the tool: the same rows that `screener verify` prints."""

from __future__ import annotations

import math
from functools import cache

import pytest

from screener.checks import Check, Status, outside, subjects
from screener.checks.registry import run_subject

LEAST = {
    "exposure_rasters": 50,
    "hold_downs": 7,
    "screws": 720,
    "seismic_forces": 459,
    "seismic_ground": 957,
    "shear_walls": 926,
    "terrain_profiles": 42,
    "terrain_rasters": 42,
    "truss_uplift": 280,
    "wind_components": 6934,
    "wind_envelope": 239,
    "wind_velocity": 252,
    "wood_connections": 3567,
    "wood_fastening": 432,
}
"""Checks of each subject that were there once and may not get lost."""

KNOWN_AT_MOST = {
    "seismic_forces": 3,
    "seismic_ground": 10,
    "terrain_rasters": 16,
    "truss_uplift": 149,
    "wind_components": 4,
    "wind_directional": 4,
    "wood_connections": 5,
}
"""Known differences of each subject: one more must be looked at."""


@cache
def rows_of(name: str) -> list[Check]:
    return run_subject(next(s for s in subjects() if s.name == name))


@pytest.mark.parametrize("name", [s.name for s in subjects()])
def test_every_value_within_its_precision_or_a_known_difference(name: str) -> None:
    rows = rows_of(name)
    assert outside(rows) == []
    assert len(rows) >= LEAST.get(name, 1)


@pytest.mark.parametrize("name", [s.name for s in subjects()])
def test_known_differences_are_few_bounded_and_told(name: str) -> None:
    known = [row for row in rows_of(name) if row.status is Status.KNOWN]
    assert len(known) <= KNOWN_AT_MOST.get(name, 0)
    for row in known:
        assert row.known is not None
        assert len(row.known.reason) > 10
        assert math.isfinite(row.known.low)
        assert math.isfinite(row.known.high)
