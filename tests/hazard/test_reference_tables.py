"""Every reference table loads, once, and says where it comes from. The loader's rules: `test_tables.py`."""

from __future__ import annotations

from importlib import resources

import pytest

from hazard.standards import tables

NAMES = sorted(p.name for p in resources.files("hazard").joinpath("reference").iterdir() if p.name.endswith(".csv"))


@pytest.mark.parametrize("name", NAMES)
def test_every_reference_table_loads_and_names_its_source(name: str) -> None:
    assert len(next(iter(tables.load_table(name).values()))) > 0
    assert tables.source_lines(name), f"{name} has no source line"
    assert name == "sources.csv" or name in set(tables.load_table("sources.csv")["file"])


def test_loaded_once() -> None:
    assert tables.load_table("asce7_kz.csv") is tables.load_table("asce7_kz.csv")
