"""The project file and the file of scenarios (TOML). First byte: 0 project, 1 scenarios."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path

from hazard.issues import Issue, Issues
from screener.columns import LOTS_INPUT
from screener.config import Tract, load_changed_tract, load_hazard_project, read_tract
from screener.scenarios import read_scenarios
from tests.fuzz import mutators, seeds
from tests.fuzz.harness import Reader, folder, one_in

FILES = ("lots.gpkg", "phases.gpkg", "streets.gpkg", "water.gpkg", "hardware.csv", "classes.csv", "lots.dxf")
RASTERS = ("wind_speed.tif", "land_cover.tif", "elevation.tif", "ss.tif", "s1.tif")
SCENARIOS = b"""[[scenario]]
name = "faster wind"
hazards.wind_speed_mph = { value = 120 }
design.loads = "ASCE 7-22"
remove = ["hazards.ss_g", "hazards.s1_g"]

[[scenario]]
name = "another mix"
purchase.plan_mix = { anvil = 0.5, ladder = 0.5 }
ground.tree_belt = { file = "water.gpkg" }
lots.setbacks = { front_ft = 20, rear_ft = 10, side_ft = 5 }
"""


@cache
def place() -> Path:
    """A folder with all that the sample's project file names, empty: only that it is there is looked at."""
    made = folder("project")
    (made / "plans").mkdir()
    for name in (*FILES, *RASTERS):
        (made / name).touch()
    (made / "sample.toml").write_bytes(seeds.PROJECT)
    return made


def read(data: bytes) -> Iterable[Issue]:
    """Both ways of reading a project, and what every command asks of it; or the scenarios, applied to the sample."""
    file = place() / "tract.toml"
    file.write_bytes(data[1:])
    if data[:1] and data[0] % 2:
        for each in read_scenarios(file):
            load_changed_tract(place() / "sample.toml", each.changes, each.remove)
        return []
    issues = Issues()
    tract = read_tract(file, issues)
    assert tract is not None or issues.has_stop(), "no project and no reason"
    if tract is not None and one_in(8, data):
        _ask(tract)
    if not issues.has_stop() and one_in(8, data):
        load_hazard_project(file)
    return issues.stops()


def _ask(tract: Tract) -> None:
    tract.settings()
    tract.defaults_taken()
    tract.input_files()
    tract.hazard_columns()
    tract.exposure.rules()
    tract.terrain.settings_for(tract.design.loads)


def _seeds() -> list[bytes]:
    names = ("tract.toml", "tract_dxf.toml", "tract_columns.toml", "tract_month8.toml", "tract_strength.toml")
    projects = [b"\x00" + seeds.sample(name) for name in names]
    return [b"\x00" + seeds.PROJECT, *projects, b"\x01" + SCENARIOS]


def _words() -> Iterable[str]:
    yield from (*FILES, *RASTERS, *(column.name for column in LOTS_INPUT))
    for section, field in Tract.model_fields.items():
        yield f"[{section}]\n"
        inner = getattr(field.annotation, "model_fields", {})
        yield from (f"{name} = " for name in inner)


WORDS = (*mutators.words("toml"), *mutators.words("project"), *(word.encode() for word in _words()))
_text = mutators.of_text(WORDS, lambda: [seed[1:] for seed in _seeds()])
READER = Reader("project", read, ("tract.toml", "sample.toml"), _seeds, WORDS, mutators.tagged([_text, _text]))
