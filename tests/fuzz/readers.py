"""The readers that are fuzzed, by name."""

from __future__ import annotations

import importlib

from tests.fuzz.harness import Reader

NAMES = ("project", "plans", "tables", "landxml", "dxf", "lots")


def reader(name: str) -> Reader:
    """A reader by its name; its module is read only now, so that a fuzzer can watch its imports."""
    found: Reader = importlib.import_module(f"tests.fuzz.read_{name}").READER
    return found
