"""The loader of reference tables, and that every table says where it comes from."""

from __future__ import annotations

from importlib import resources

import numpy as np
import pytest

from hazard.standards import tables

NAMES = sorted(p.name for p in resources.files("hazard").joinpath("reference").iterdir() if p.name.endswith(".csv"))


def test_columns_are_numbers_or_text_with_blanks() -> None:
    table = tables.parse_table('# source\na,b,c\n1,x,\n,"y, z",2\n')
    assert table["a"].tolist()[0] == 1.0
    assert np.isnan(table["a"][1])
    assert table["b"].tolist() == ["x", "y, z"]
    assert np.isnan(table["c"][0])
    with pytest.raises(ValueError, match="read-only"):
        table["a"][0] = 2.0
    assert tables.parse_table("id\n007\n", text=("id",))["id"].tolist() == ["007"]


def test_faulty_tables_are_refused() -> None:
    with pytest.raises(ValueError, match="row 1: 3 cells; expected 2"):
        tables.parse_table("a,b\n1,2,3\n")
    with pytest.raises(ValueError, match="same name"):
        tables.parse_table("a,a\n1,2\n")
    with pytest.raises(ValueError, match="no header row"):
        tables.parse_table("# nothing\n")


def test_value_names_what_would_be_legal() -> None:
    table = tables.parse_table("edition,x\nold,1\nnew,2\n")
    assert tables.value(table, "x", edition="new") == 2.0
    with pytest.raises(ValueError, match="0 rows for edition = newer; expected edition one of old, new"):
        tables.value(table, "x", edition="newer")


@pytest.mark.parametrize("name", NAMES)
def test_every_reference_table_loads_and_names_its_source(name: str) -> None:
    assert len(next(iter(tables.load_table(name).values()))) > 0
    assert tables.source_lines(name), f"{name} has no source line"
    assert name == "sources.csv" or name in set(tables.load_table("sources.csv")["file"])


def test_loaded_once() -> None:
    assert tables.load_table("asce7_kz.csv") is tables.load_table("asce7_kz.csv")
