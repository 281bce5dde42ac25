"""Bad inputs, table `lots.csv`: each row's damage, and the row's outcome."""

from __future__ import annotations

from pathlib import Path

import pytest
from bad_cases import Damage, run_case
from case_table import Case, cases

DAMAGES: dict[str, Damage] = {}
"""Row id -> what is done to a good project."""


@pytest.mark.parametrize("case", [c for c in cases("L") if not c.test], ids=lambda c: c.id)
def test_the_row_holds(case: Case, tmp_path: Path) -> None:
    run_case(case, DAMAGES[case.id], tmp_path)
