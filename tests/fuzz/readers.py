"""The readers that are fuzzed, by name."""

from __future__ import annotations

import importlib

from tests.fuzz.harness import Reader, judge

NAMES = ("project", "plans", "tables", "landxml", "dxf", "lots", "portfolio")


def reader(name: str) -> Reader:
    """A reader by its name; its module is read only now, so that a fuzzer can watch its imports."""
    found: Reader = importlib.import_module(f"tests.fuzz.read_{name}").READER
    return found


def warm(target: Reader) -> None:
    """What is loaded late, or looked up once a process, is not to be taken for the time of the first input."""
    judge(target, target.seeds()[0])
    if target.name in ("landxml", "dxf", "lots", "portfolio"):
        from tests.fuzz.lots_project import misplaced

        misplaced()
