"""What is mutated, and which checks may kill a mutant.

Only two kinds of check count: rows of `screener.checks` (values from outside: read, remembered, or derived
independently), and test modules that hold laws, rules of the standard, or sums worked by hand beside their source.

Left out, because they compare the tool with itself or only with its own wording: `test_asce7_reference_sources.py`
and `test_reference_tables.py` (checksums and source lines of our own tables), `test_families.py` (our own count rules),
the kept page `VERIFICATION.md`, the sample, report and pipeline tests (snapshots and whole runs of our own output).
"""

from __future__ import annotations

from dataclasses import dataclass

SAMPLE = 300
"""Mutants of a module beyond which a random sample of this size is taken, the same one every time."""


@dataclass(frozen=True)
class Target:
    """One module, the subjects of checks that look at it (the quick ones first), and its test modules."""

    module: str
    subjects: tuple[str, ...]
    tests: tuple[str, ...]


_HAZARD, _SCREENER = "tests/hazard", "tests/screener/standards"

TARGETS = (
    Target("hazard.standards.tables", ("wind_velocity", "seismic_ground"), (f"{_HAZARD}/test_tables.py",)),
    Target("hazard.standards.asce7_ch26_wind", ("wind_velocity",), (f"{_HAZARD}/test_asce7_ch26_wind.py",)),
    Target("hazard.standards.asce7_ch11_seismic", ("seismic_ground",), (f"{_HAZARD}/test_asce7_ch11_seismic.py",)),
    Target("screener.standards._editions", ("wind_envelope", "seismic_forces"), ()),
    Target("screener.standards.wood_tables", ("wood_fastening",), (f"{_SCREENER}/test_sdpws_shear_walls.py",)),
    Target(
        "screener.standards.asce7_ch02_combinations",
        ("wind_envelope",),
        (f"{_SCREENER}/test_asce7_ch02_combinations.py",),
    ),
    Target("screener.standards.asce7_ch07_snow", ("seismic_forces",), (f"{_SCREENER}/test_asce7_ch07_snow.py",)),
    Target("screener.standards.asce7_ch12_seismic", ("seismic_forces",), (f"{_SCREENER}/test_asce7_ch12_seismic.py",)),
    Target("screener.standards.asce7_ch27_open_roofs", (), (f"{_SCREENER}/test_asce7_ch27_open_roofs.py",)),
    Target("screener.standards.asce7_ch28_envelope", ("wind_envelope",), (f"{_SCREENER}/test_asce7_ch28_envelope.py",)),
    Target(
        "screener.standards.asce7_ch30_components",
        ("wind_envelope", "wind_components"),
        (f"{_SCREENER}/test_asce7_ch30_components.py",),
    ),
    Target("screener.standards.aisi_straps", ("wood_connections",), (f"{_SCREENER}/test_aisi_straps.py",)),
    Target(
        "screener.standards.irc_fastening",
        ("wood_fastening", "wood_connections", "shear_walls"),
        (f"{_SCREENER}/test_irc_fastening.py",),
    ),
    Target(
        "screener.standards.nds_connections",
        ("wood_fastening", "wood_connections"),
        (f"{_SCREENER}/test_nds_connections.py",),
    ),
    Target("screener.standards.sdpws_shear_walls", ("shear_walls",), (f"{_SCREENER}/test_sdpws_shear_walls.py",)),
)
