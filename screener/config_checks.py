"""Checks of a project file that look at several keys together, or at the disk."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from hazard.issues import Issues
from hazard.table_cells import shortened
from screener.columns import HAZARD_COLUMNS, LOT_POINTS_INPUT, LOTS_INPUT
from screener.config_faults import nearest
from screener.config_sections import (
    ClassValues,
    HazardSource,
    HazardsSection,
    OutputSection,
    PurchaseSection,
    shown_path,
)

if TYPE_CHECKING:
    from screener.config import Site

GROUND_STATES = ("worst", "at permit", "today", "built out")
TEXT_HAZARDS = frozenset(c.name for c in HAZARD_COLUMNS if c.kind == "text")


def check_files(paths: Iterable[tuple[str, Path]], source: Path, issues: Issues) -> None:
    """Every file and folder that is named is there and is one."""
    for key, path in paths:
        if key in ("output.folder", "project file"):
            continue
        section, _, rest = key.partition(".")
        where = f"{source.name} [{section}] {rest}"
        shown = shortened(shown_path(path, source.parent))
        wants_folder = key == "plans.folder"
        if not os.path.exists(path):  # the one that takes a name too long for the system as not there
            close = nearest(path.name, _names_in(path.parent))
            what = f"a folder at {shown}" if wants_folder else f"a file at {shown}"
            hint = f"did you mean {close}?" if close else "paths are relative to the project file"
            issues.add("file_missing", "stop", where, "nothing there", what, hint)
        elif wants_folder and not path.is_dir():
            issues.add("file_missing", "stop", where, f"{shown} is a file", "a folder with one TOML a plan", "")
        elif not wants_folder and path.is_dir() and not _is_layer_folder(path):
            issues.add("file_missing", "stop", where, f"{shown} is a folder", "a file", "")
        elif not wants_folder and not path.is_dir() and not path.is_file():
            issues.add("file_missing", "stop", where, f"{shown} is no ordinary file", "a file on the disk", "")
        elif path.suffix.lower() == ".vrt" and section not in ("hazards", "site_classes"):
            issues.add("file_virtual", "stop", where, f"{shown} points at other files", "the data itself", "")


def _is_layer_folder(path: Path) -> bool:
    """A folder that GDAL opens as one source: a file geodatabase, or shapefiles."""
    return path.suffix.lower() == ".gdb" or any(name.lower().endswith(".shp") for name in _names_in(path))


def _names_in(folder: Path) -> list[str]:
    try:
        return sorted(entry.name for entry in folder.iterdir())
    except OSError:
        return []


def check_output(tract: Site, issues: Issues) -> None:
    """The folder of results holds no input."""
    section: OutputSection | None = getattr(tract, "output", None)
    if section is None:
        return
    output = section.folder
    for key, path in tract.input_files().items():
        if path == output or path.is_relative_to(output):
            found = f"{tract.shown(output)} holds the input {tract.shown(path)} ({key})"
            where = f"{tract.source.name} [output] folder"
            issues.add("output_is_input", "stop", where, found, "a folder of its own", "name another folder")


def check_together(tract: Site, issues: Issues) -> None:
    """Keys that only make sense together, or not together."""
    for place, found, expected in (
        *_ground_state_faults(tract),
        *_hazard_faults(tract),
        *_column_faults(tract),
        *_mix_faults(tract),
    ):
        issues.add("config_value", "stop", f"{tract.source.name} {place}", found, expected, "correct the project file")


_Fault = tuple[str, str, str]


def _ground_state_faults(tract: Site) -> Iterator[_Fault]:
    phases = tract.ground.phases
    order = phases.order if phases is not None else ()
    if len(set(order)) != len(order):
        yield "[ground] phases.order", shortened(f"a phase stands twice in {list(order)}", 200), "each phase once"
    state = tract.tract.ground_state
    if state not in (*GROUND_STATES, *order):
        known = ", ".join(f'"{s}"' for s in (*GROUND_STATES, *order))
        yield "[tract] ground_state", f'"{state}"', f"one of {known}"


def _hazard_faults(tract: Site) -> Iterator[_Fault]:
    hazards = tract.hazards
    for name in HazardsSection.model_fields:
        source = getattr(hazards, name)
        if source is not None:
            yield from _source_faults(name, source)
    if hazards.land_cover is None and hazards.exposure is None:
        yield "[hazards]", "neither land_cover nor exposure", "one of them: the exposure can't be guessed"
    if hazards.elevation_ft is None and hazards.kzt is None:
        yield "[hazards]", "neither elevation_ft nor kzt", "one of them: level ground is not assumed"
    stated = hazards.sds_g is not None and hazards.sd1_g is not None
    yield from _site_class_faults(tract)
    if tract.design.loads == "ASCE 7-16":
        wanted: tuple[str, ...] = ("ss_g", "s1_g")
    elif tract.site_classes:
        wanted = ("s1_g",)
    else:
        wanted = ("sms_g", "sm1_g", "s1_g")
    missing = [name for name in wanted if getattr(hazards, name) is None]
    if missing and not stated:
        needs = f"{', '.join(wanted)}, or sds_g and sd1_g where the jurisdiction states them"
        yield "[hazards]", f"{tract.design.loads} without {', '.join(missing)}", needs


def _site_class_faults(tract: Site) -> Iterator[_Fault]:
    """Values by site class stand alone, belong to ASCE 7-22, and come from rasters or constants."""
    if not tract.site_classes:
        return
    if tract.design.loads != "ASCE 7-22":
        yield "[site_classes]", f"given with {tract.design.loads}", "it only with ASCE 7-22"
    for name in ("sms_g", "sm1_g", "sds_g", "sd1_g"):
        if getattr(tract.hazards, name) is not None:
            yield f"[hazards] {name}", "given beside [site_classes]", "one of them"
    for key, values in tract.site_classes.items():
        for name in ClassValues.model_fields:
            source: HazardSource = getattr(values, name)
            if source.column is not None or (source.file is None) == (source.value is None):
                yield f"[site_classes] {key}.{name}", "a column, or not one source", "exactly one of file, value"


def _source_faults(name: str, source: HazardSource) -> Iterator[_Fault]:
    place = f"[hazards] {name}"
    given = [key for key in ("file", "value", "column") if getattr(source, key) is not None]
    if len(given) != 1:
        found = " and ".join(given) if given else "none of file, value, column"
        yield place, found, "exactly one of file, value, column"
    if source.classes is not None and name != "land_cover":
        yield f"{place}.classes", "a class table", "it only with land_cover"
    if name == "land_cover" and source.file is None and len(given) == 1:
        yield place, given[0], "a file: classes of the ground around the lots"
    if source.model is not None and name != "elevation_ft":
        yield f"{place}.model", repr(source.model), "it only with elevation_ft"
    if source.over_lot is not None and (source.file is None or name == "land_cover"):
        yield f"{place}.over_lot", repr(source.over_lot), "it only with a raster of values"
    if source.value is not None:
        wants_text = name in TEXT_HAZARDS and name != "land_cover"
        if wants_text != isinstance(source.value, str) and name != "land_cover":
            yield f"{place}.value", repr(source.value), "a text in quotes" if wants_text else "a number"


def _column_faults(tract: Site) -> Iterator[_Fault]:
    known = tuple(dict.fromkeys(column.name for column in (*LOTS_INPUT, *LOT_POINTS_INPUT)))
    for ours in tract.lots.columns:
        if ours not in known:
            close = nearest(ours, known)
            yield (
                "[lots] columns",
                f"unknown name {ours}",
                f"{close} (the nearest known)" if close else f"one of {', '.join(known)}",
            )
    theirs = list(tract.lots.columns.values())
    for name in sorted({t for t in theirs if theirs.count(t) > 1}):
        yield "[lots] columns", f"{name} is used for two names", "one column for each name"


def _mix_faults(tract: Site) -> Iterator[_Fault]:
    purchase: PurchaseSection | None = getattr(tract, "purchase", None)
    mix = purchase.plan_mix if purchase is not None else {}
    total = math.fsum(mix.values())
    if mix and abs(total - 1) > 0.001:
        yield "[purchase] plan_mix", f"shares sum to {total:g}", "a sum of 1"
