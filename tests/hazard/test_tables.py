"""Rules of the loader of reference tables, on tables written here: what is a number, a text, a blank, a fault."""

from __future__ import annotations

import numpy as np
import pytest

from hazard.standards import tables


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


def test_what_stands_in_a_table_is_what_comes_out() -> None:
    """A table of ours against its own text: numbers as numbers, source lines left out and readable apart."""
    table = tables.load_table("asce7_kz.csv")
    assert set(table["edition"].tolist()) == {"ASCE 7-16", "ASCE 7-22"}
    assert table["alpha"].dtype == np.float64
    first = tables.source_lines("asce7_kz.csv")[0]
    assert first
    assert not first.startswith("#")
    assert "ASCE" in " ".join(tables.source_lines("asce7_kz.csv"))
    assert tables.load_table("components_gcp.csv", "screener")["gcp"].dtype == np.float64
    assert tables.load_table("seismic_simplified.csv", "screener")["storeys"].tolist()[0] == 1.0
    as_text = tables.load_table("components_gcp.csv", "screener", ("zone",))["zone"]
    assert "1" in as_text.tolist()


def test_a_blank_line_is_no_row_and_a_blank_column_is_text() -> None:
    table = tables.parse_table("a,b\n1,\n\n2,\n")
    assert table["a"].tolist() == [1.0, 2.0]
    assert table["b"].tolist() == ["", ""]


def test_the_row_that_is_wrong_is_named_by_its_number() -> None:
    with pytest.raises(ValueError, match="row 2: 1 cells; expected 2"):
        tables.parse_table("a,b\n1,2\n3\n")
    with pytest.raises(ValueError, match="hardware: no header row"):
        tables.parse_table("", "hardware")


def test_rows_are_found_by_every_named_column() -> None:
    table = tables.parse_table("edition,zone,x\nold,1,1\nold,2,2\nnew,2,3\n", text=("zone",))
    assert tables.where(table, edition="old").tolist() == [0, 1]
    assert tables.where(table, edition="old", zone="2").tolist() == [1]
    assert tables.where(table).tolist() == [0, 1, 2]
    assert tables.value(table, "zone", edition="new") == "2"
    assert isinstance(tables.value(table, "x", edition="new"), float)
    with pytest.raises(ValueError, match="2 rows for edition = old"):
        tables.value(table, "x", edition="old")
