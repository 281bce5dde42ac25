"""The tool's own checks: published and derived values beside ours, for `screener verify` and for the tests.

A subject is a module of `screener.checks.subjects` with a `TITLE` and a function `checks()` that yields `Check` rows;
a subject that takes long says `LONG = True`. A new module in that folder is found without being listed anywhere. Values
stand in `data/*.csv`; each names its document, edition and table, and how the value was obtained.
"""

from screener.checks.registry import checks_of, subjects
from screener.checks.rows import Check, Source, Status, outside

__all__ = ["Check", "Source", "Status", "checks_of", "outside", "subjects"]
