"""Which column of a lots file is which of ours: by the project's mapping, by name, else asked for with a suggestion."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping

from hazard.issues import Issues
from screener.column_suggestions import SUGGESTED, likely, likely_ids, mapping_line, unique_together
from screener.columns import HAZARD_COLUMNS, LOTS_INPUT, Column
from screener.config import Site
from screener.config_faults import nearest
from screener.files.vectors import VectorLayer

_IDS = ("lot_id", "lot")


def match_columns(layer: VectorLayer, tract: Site, issues: Issues) -> dict[str, str]:
    """Our name -> the file's column, for every input column that the file has."""
    theirs = [str(name) for name in layer.frame.columns if name != layer.frame.geometry.name]
    wanted = {**tract.lots.columns, **tract.hazard_columns()}
    found: dict[str, str] = {}
    for ours, named in wanted.items():
        if named in theirs:
            found[ours] = named
            continue
        close = nearest(named, theirs)
        expected = f"{close} (the nearest)" if close else f"one of {', '.join(theirs) or 'none'}"
        fix = "correct it in the project file"
        issues.add("column_missing", "stop", layer.where, f"no column {named} (for {ours})", expected, fix)
    skip = {column.name for column in HAZARD_COLUMNS}  # a hazard is taken from the lots only where the project says so
    for column in LOTS_INPUT:
        if column.name not in wanted and column.name not in skip and column.name not in _IDS:
            _match_by_name(column, theirs, layer.where, found, issues)
    _match_ids(layer, tract, wanted, found, issues)
    _suggest(layer, tract, wanted, found, issues)
    _note_misspelt(theirs, found, layer.where, issues)
    _check_cut_names(theirs, found, tract, layer.where, issues)
    _note_unused_hazards(theirs, wanted, layer.where, issues)
    return found


def _match_by_name(column: Column, theirs: list[str], where: str, found: dict[str, str], issues: Issues) -> None:
    same = [name for name in theirs if name.casefold() == column.name.casefold()]
    if column.name in same and len(same) == 1:
        found[column.name] = column.name
    elif len(same) == 1:
        found[column.name] = same[0]
        done = f"took it for {column.name}"
        issues.add("column_case", "note", where, f"column {same[0]}", column.name, done)
    elif len(same) > 1:
        fix = f'say which in the project file: [lots] columns = {{ {column.name} = "..." }}'
        issues.add("column_ambiguous", "stop", where, f"columns {' and '.join(same)}", f"one {column.name}", fix)


def _match_ids(
    layer: VectorLayer, tract: Site, wanted: Mapping[str, str], found: dict[str, str], issues: Issues
) -> None:
    """The column of ids; or those of lot and block, where the project names a lot column or the file has both."""
    if "lot_id" in wanted or "lot" in wanted:
        return
    theirs = [str(name) for name in layer.frame.columns if name != layer.frame.geometry.name]
    before = len(issues.stops())
    by_name = {column.name: column for column in LOTS_INPUT}
    _match_by_name(by_name["lot_id"], theirs, layer.where, found, issues)
    if "lot_id" in found or len(issues.stops()) > before:
        return
    if "block" in found:
        _match_by_name(by_name["lot"], theirs, layer.where, found, issues)
    if "lot" not in found:
        _no_ids(layer, tract, theirs, found, issues)


def _no_ids(layer: VectorLayer, tract: Site, theirs: list[str], found: dict[str, str], issues: Issues) -> None:
    """The stop for a file without ids: the likeliest columns, by name and by content, and the line to paste."""
    called, others = likely_ids(layer.frame, found.values())
    best = [*called, *others]
    hint = best[0] if best else nearest("lot_id", theirs)
    text = f"no column lot_id among {', '.join(theirs) or 'none'}" + (f"; nearest is {hint}" if hint else "")
    told = [f"by name {', '.join(called)}"] if called else []
    told += [f"by content (short, different on every lot) {', '.join(others)}"] if others else []
    lines = []
    blocks = [*filter(None, [found.get("block")]), *likely(layer.frame, "block")]
    for block, lot in ((b, n) for n in called for b in blocks if b != n):
        if unique_together(layer.frame, block, lot):
            lines.append(mapping_line({**tract.lots.columns, "block": block, "lot": lot}))
            break
    lines.append(mapping_line({**tract.lots.columns, "lot_id": hint or "..."}))
    fix = f"likeliest {'; '.join(told)}; " if told else ""
    issues.add(
        "column_missing", "stop", layer.where, text, "a column lot_id", f"{fix}under [lots]: {' or: '.join(lines)}"
    )


def _suggest(layer: VectorLayer, tract: Site, wanted: Mapping[str, str], found: dict[str, str], issues: Issues) -> None:
    """One note on columns that go by other names than ours, with the whole line to paste."""
    pairs: dict[str, str] = {}
    for ours in SUGGESTED:
        if ours in found or ours in wanted:
            continue
        free = [name for name in likely(layer.frame, ours) if name not in {*found.values(), *pairs.values()}]
        if free:
            pairs[ours] = free[0]
    if pairs:
        text = ", ".join(f"{theirs} (for {ours})" for ours, theirs in pairs.items())
        line = mapping_line({**tract.lots.columns, **pairs})
        done = f"not used; to use them, under [lots]: {line}"
        issues.add("columns_suggested", "note", layer.where, f"columns that may be ours: {text}", "", done)


def _note_misspelt(theirs: list[str], found: dict[str, str], where: str, issues: Issues) -> None:
    """A column of no use to us whose name is close to one that the file lacks."""
    hazards = {column.name for column in HAZARD_COLUMNS}  # these are told of on their own
    absent = [c.name for c in LOTS_INPUT if c.name not in found and c.name not in hazards and c.name not in _IDS]
    taken = set(found.values())
    for name in theirs:
        near = difflib.get_close_matches(name.casefold(), absent, 1, 0.8) if name not in taken else []
        if near:
            done = "kept as a free column, not used"
            issues.add("column_unknown", "warn", where, f"column {name}", f"perhaps {near[0]}", done)


def _check_cut_names(theirs: list[str], found: dict[str, str], tract: Site, where: str, issues: Issues) -> None:
    """Shapefiles cut names to ten characters; two that become one are told apart by a number only."""
    if tract.lots.file.suffix.lower() not in (".shp", ".zip") and not tract.lots.file.is_dir():
        return
    cut = [
        name
        for name in theirs
        if re.fullmatch(r".{8}_\d", name) and any(t[:8] == name[:8] for t in theirs if t != name)
    ]
    if not cut:
        return
    stem = cut[0][:8]
    both = [name for name in theirs if name.startswith(stem)]
    used = [name for name in both if name in found.values()]
    severity, done = ("stop", "give a GeoPackage, or rename the columns") if used else ("warn", "not used here")
    text = f"columns {' and '.join(both)} are cut to ten characters and can't be told apart"
    issues.add("column_cut", severity, where, text, "full names", done)


def _note_unused_hazards(theirs: list[str], wanted: Mapping[str, str], where: str, issues: Issues) -> None:
    for column in HAZARD_COLUMNS:
        if column.name in theirs and column.name not in wanted and column.name not in wanted.values():
            fix = f'to use it: [hazards] {column.name} = {{ column = "{column.name}" }}'
            issues.add("column_unused", "note", where, f"column {column.name} is not used", "", fix)
