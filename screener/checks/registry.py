"""Which subjects there are, and their checks."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from screener.checks import subjects as folder
from screener.checks.rows import DERIVED, Check, Source


@dataclass(frozen=True)
class Subject:
    """One module of checks."""

    name: str
    title: str
    long: bool
    checks: Callable[[], Iterator[Check]]


def subjects() -> list[Subject]:
    """Every module of the folder `subjects`, by name."""
    found = []
    for name in sorted(module.name for module in pkgutil.iter_modules(folder.__path__)):
        module = importlib.import_module(f"{folder.__name__}.{name}")
        found.append(Subject(name, module.TITLE, getattr(module, "LONG", False), module.checks))
    return found


def checks_of(name: str, place: str = "") -> list[Check]:
    """The checks of one subject whose place in its document begins with `place`; an error where there are none."""
    module = importlib.import_module(f"{folder.__name__}.{name}")
    chosen = [check for check in module.checks() if check.source.place.startswith(place)]
    if not chosen:
        raise LookupError(f"subject {name} has no check at {place!r}")
    return chosen


def run_subject(subject: Subject) -> list[Check]:
    """Its checks; a fault on the way is a check that fails, so that the rest still runs."""
    rows: list[Check] = []
    try:
        rows.extend(subject.checks())
    except Exception as error:  # the report must say so and go on
        source = Source("this tool", "", f"subject {subject.name}", DERIVED)
        rows.append(Check(source, "the checks run to their end", "to the end", f"{type(error).__name__}: {error}"))
    return rows
