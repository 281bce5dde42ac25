"""The table of bad inputs is whole: every case has a row, every row can be carried out, the page shows the rows."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from case_table import COUNTS, DOES, HERE, TABLES, cases
from write_table import page

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("letter", TABLES)
def test_every_case_has_a_row(letter: str) -> None:
    rows = cases(letter)
    assert {row.number for row in rows} == {f"{letter}{n}" for n in range(1, COUNTS[letter] + 1)}
    assert len({row.id for row in rows}) == len(rows)
    for row in rows:
        assert row.does in DOES, row
        assert row.input, row
        if not row.test:
            assert row.exit in {"0", "2", "3"}, row
            assert row.code or row.does == "silent", row


@pytest.mark.parametrize("letter", TABLES)
def test_a_test_that_is_named_exists(letter: str) -> None:
    for row in cases(letter):
        for name in filter(None, row.test.split("|")):
            file, _, function = name.partition("::")
            tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
            assert function in {n.name for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)}, row


def test_the_page_shows_the_table() -> None:
    assert (HERE / "TABLE.md").read_text(encoding="utf-8") == page(), "python tests/bad_inputs/write_table.py"
