"""SMS and SM1 mapped for each site class: ASCE 7-22 has no site coefficients, so a lot takes its own class's values.

Section 11.4.2: where the soil is not known well enough the default class takes the most critical of C, CD and D, each
parameter by itself (read in slides on the 2024 maps; C often governs SMS and D SM1).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hazard.issues import InputError, Issue, Issues
from hazard.layers import Column, Source
from hazard.sampling import LotPoints, LotValues, read_values
from hazard.standards import asce7_ch11_seismic as ch11

Floats = NDArray[np.float64]

CLASS_QUANTITIES = {"sms_g": "by class", "sm1_g": "by class"}
DEFAULT_OF = ("C", "CD", "D")
WHERE = "project file [site_classes]"
WITHOUT_VALUES = ("F", "?", "")
"""Classes for which nothing can be mapped: a site study, or none that could be read."""


def values_of_classes(
    edition: str,
    site_class: NDArray[np.str_],
    by_class: Mapping[str, Mapping[str, Source]],
    lots: LotPoints,
    issues: Issues,
) -> dict[str, LotValues]:
    """SMS and SM1 of each lot (n,) for its own class, by quantity; each source is read at the lots that need it.

    by_class: class as written -> {"sms_g": source, "sm1_g": source}. Raises InputError for a class that the edition
    does not know, and for a class of some lot that no values are given for.
    """
    named = {_name(edition, written): dict(sources) for written, sources in by_class.items()}
    _check_all_there(site_class, named)
    return {quantity: _chosen(quantity, site_class, named, lots, issues) for quantity in CLASS_QUANTITIES}


def _chosen(
    quantity: str,
    site_class: NDArray[np.str_],
    named: Mapping[str, Mapping[str, Source]],
    lots: LotPoints,
    issues: Issues,
) -> LotValues:
    """One quantity: the greatest over the classes that a lot needs; unknown where one of them is unknown."""
    values, reason = np.full(len(lots), -np.inf), np.full(len(lots), "", dtype=object)
    told = []
    for name, sources in sorted(named.items()):
        used = np.flatnonzero([name in _parts(str(c)) for c in site_class])
        if not len(used):
            continue
        found = _read_at(sources[quantity], used, lots, issues)
        values[used] = ch11.default_class_g(values[used], found.values)
        reason[used] = np.where(reason[used] == "", found.reason, reason[used])
        told.append(f"class {name}: {found.provenance}")
    values[np.isinf(values)] = np.nan
    reason[np.isin(site_class, WITHOUT_VALUES)] = "site class"
    return LotValues(values, reason.astype(str), f"by site class, {'; '.join(told)}", quantity)


def _read_at(source: Source, used: NDArray[np.intp], lots: LotPoints, issues: Issues) -> LotValues:
    """A source at some of the lots only: what it lacks elsewhere is no fault of theirs."""
    if isinstance(source, Column):
        source = replace(source, values=np.asarray(source.values)[used])
    return read_values(source, lots.some(used), issues)


def _parts(name: str) -> tuple[str, ...]:
    """The classes whose values a lot of this class needs."""
    return () if name in WITHOUT_VALUES else DEFAULT_OF if name == "default" else (name,)


def _name(edition: str, written: str) -> str:
    try:
        name = ch11.site_class_name(edition, written)
    except ValueError as error:
        found, _, expected = str(error).partition("; expected ")
        raise InputError(Issue("site_class_unknown", "stop", WHERE, found, expected, "correct it")) from error
    if name in ("default", "F"):
        found, expected = f"site class {written}", "classes with values of their own"
        raise InputError(Issue("site_class_unknown", "stop", WHERE, found, expected, "leave it out"))
    return name


def _check_all_there(site_class: NDArray[np.str_], named: Mapping[str, object]) -> None:
    missing: dict[str, int] = {}
    for name in np.unique(site_class):
        for part in _parts(str(name)):
            if part not in named:
                missing[part] = missing.get(part, 0) + int((site_class == name).sum())
    if missing:
        found = ", ".join(f"{count:,} lots need class {name}" for name, count in sorted(missing.items()))
        expected = f"values for it beside {', '.join(sorted(named))}"
        done = "add [site_classes.X] with sms_g and sm1_g; the default class needs C, CD and D"
        raise InputError(Issue("site_class_values", "stop", WHERE, found, expected, done))
