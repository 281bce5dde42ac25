"""A project that reads one lots file, for the readers of lots."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from hazard.issues import InputError, Issue, Issues
from screener.config import HazardProject, load_hazard_project
from screener.files.vectors import VectorFile, read_layer
from screener.lots import read_lots
from tests.fuzz.harness import folder

# The grid of the sample's drawing: US survey feet.
FEET = "+proj=tmerc +lat_0=0 +lon_0=-105 +k=1 +x_0=0 +y_0=-4201680.672269 +datum=NAD83 +units=us-ft +type=crs"


def project(place: Path, lots: str, crs: str = "", layer: str = "", keep: bool = False) -> HazardProject:
    """A project whose lots file has this name; the file is there already (`keep`) or made, empty."""
    if not keep:
        (place / lots).touch()
    lines = ["[tract]", 'name = "x"', "[lots]", f'file = "{lots}"', *([f'crs = "{crs}"'] if crs else [])]
    lines += [f'layer = "{layer}"'] if layer else []
    file = place / f"{lots}.toml"
    values = {"wind_speed_mph": 115, "kzt": 1.0, "ss_g": 0.6, "s1_g": 0.2, "exposure": '"C"'}
    lines += ["[hazards]", *(f"{name} = {{ value = {value} }}" for name, value in values.items())]
    file.write_text("\n".join([*lines, ""]), encoding="utf-8")
    return load_hazard_project(file)


def misplaced() -> None:
    """The first lots in a wrong place take longer, once: the tool looks through all coordinate systems."""
    place = folder("warm")
    (place / "lots.csv").write_text('WKT,lot_id\n"POLYGON((1 1,2 1,2 2,1 1))",a\n', encoding="utf-8")
    with suppress(InputError):
        read(project(place, "lots.csv", "EPSG:26913", keep=True))


def read(tract: HazardProject) -> list[Issue]:
    """The lots of a project whose file is in place; each skipped lot must have a reason."""
    issues = Issues()
    lots = read_lots(tract, issues)
    skipped = lots["status"] == "skipped"
    assert (lots.loc[skipped, "skip_reason"] != "").all()
    assert lots["lot_id"].is_unique
    assert not issues.has_stop()
    return issues.stops()


def layer_of(tract: HazardProject, data: bytes) -> list[Issue]:
    """Write the lots file and read its layer alone: faster than with the lots' checks."""
    file = tract.lots.file
    file.write_bytes(data)
    issues = Issues()
    layer = read_layer(VectorFile(file, file.name, tract.lots.layer, tract.lots.crs, None, "[lots]"), issues)
    assert layer is not None or issues.has_stop(), "no layer and no reason"
    return issues.stops()
