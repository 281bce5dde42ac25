"""Packages that exist already: a ``packages.csv`` of an earlier run, kept for lots whose hardware is bought."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

from hazard.issues import InputError, Issue, Issues

if TYPE_CHECKING:
    from screener.config import Tract

COLUMNS = ("tier", "schedule", "item", "arrangement")
Packages = dict[str, dict[str, tuple[str, str]]]


def read_kept_packages(tract: Tract, issues: Issues) -> Packages:
    """Package name -> line -> (item, arrangement); empty where the project names no file."""
    path = tract.tiers.kept
    if path is None:
        return {}
    name = tract.shown(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            Issue("packages_unreadable", "stop", name, str(error), "a packages.csv of an earlier run", "")
        ) from error
    try:
        rows = list(csv.DictReader(text.splitlines()))
    except csv.Error as error:
        raise InputError(Issue("packages_unreadable", "stop", name, str(error), "CSV", "mend the file")) from error
    missing = [c for c in COLUMNS if not rows or c not in rows[0]]
    if missing:
        raise InputError(
            Issue("packages_columns", "stop", name, f"no column {', '.join(missing)}", ", ".join(COLUMNS), "")
        )
    packages: Packages = {}
    for number, row in enumerate(rows, start=2):
        if any(row[column] is None for column in COLUMNS):
            raise InputError(
                Issue("packages_row", "stop", f"{name} row {number}", "too few cells", "as many as in the heading", "")
            )
        packages.setdefault(row["tier"], {})[row["schedule"]] = (row["item"], row["arrangement"])
    return packages
