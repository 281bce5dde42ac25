"""Packages that exist already: a ``packages.csv`` of an earlier run, kept for lots whose hardware is bought."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hazard.issues import InputError, Issues
from hazard.table_cells import Place, clean_text
from hazard.table_rows import TableForm, read_table

if TYPE_CHECKING:
    from screener.config import Tract

FORM = TableForm(
    "PACKAGES",
    {
        "tier": "name of the package",
        "schedule": "line of the package",
        "item": "item of the hardware list",
        "arrangement": "pieces or spacing",
    },
    ("tier", "schedule", "item", "arrangement"),
    "packages.csv of an earlier run",
)
Packages = dict[str, dict[str, tuple[str, str]]]


def read_kept_packages(tract: Tract, issues: Issues) -> Packages:
    """Package name -> line -> (item, arrangement); empty where the project names no file."""
    path = tract.tiers.kept
    if path is None:
        return {}
    name, found = tract.shown(path), Issues()
    rows = read_table(path, FORM, found, name)
    packages: Packages = {}
    for line, row in rows:
        place = Place(f"{name} row {line}", found, FORM.prefix)
        tier, schedule, item, arrangement = (_name(row[column]) for column in FORM.known)
        if not (tier and schedule and (item or arrangement)):  # cast in with the strap: no item of its own
            blank = next(column for column in FORM.known if not _name(row[column]))
            place.stop("PACKAGES_BLANK", f"{blank} is blank", FORM.required[blank], "fill it in")
        elif packages.get(tier, {}).get(schedule, (item, arrangement)) != (item, arrangement):
            found_twice = f"package {tier} has `{schedule}` a second time, with another item"
            place.stop("PACKAGES_LINE_TWICE", found_twice, "each line of a package once", "remove the wrong one")
        else:
            packages.setdefault(tier, {})[schedule] = (item, arrangement)
    if not packages and not found.has_stop():
        Place(name, found).stop("PACKAGES_EMPTY", "no rows", FORM.rows, "name the right file")
    if found.has_stop():
        raise InputError(found.stops())
    issues.extend(issue for issue in found if issue not in set(issues))
    return packages


def _name(cell: str) -> str:
    """A name as it was before it was written: without the apostrophe that guards a formula in our own tables."""
    text = clean_text(cell)
    return text[1:] if text[:1] == "'" and text[1:2] in ("=", "+", "-", "@") else text
