"""The table of bad inputs: each row of the CSV files beside this module is a damaged project and its outcome.

A row names the case, what is wrong (`input`), what must be done (`does`: stop, skip, fix, warn, note or silent), the
exit code of `screener check`, the issue's code, and words that its line must hold (`words`, separated by `|`; `where`
must stand in the part that says where). A case that no damaged project can show (a full disk, a kill) names the test
that shows it (`test`: file::function, several separated by `|`). Several rows may belong to one case: L7a, L7b.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
TABLES = {"L": "lots.csv", "R": "rasters.csv", "T": "tables.csv", "O": "outputs.csv"}
COUNTS = {"L": 55, "R": 33, "T": 33, "O": 23}
DOES = ("stop", "skip", "fix", "warn", "note", "silent")


@dataclass(frozen=True)
class Case:
    """One row of the table."""

    id: str
    input: str
    does: str
    exit: str
    code: str
    where: str
    words: str
    test: str

    @property
    def number(self) -> str:
        """The case that the row belongs to: L7 for L7b."""
        return re.match(r"[LRTO]\d+", self.id)[0]  # type: ignore[index]


def cases(letter: str) -> list[Case]:
    """Rows of one table, in file order."""
    with (HERE / TABLES[letter]).open(encoding="utf-8", newline="") as file:
        return [Case(**row) for row in csv.DictReader(file)]
