"""Records of what was found wrong, repaired or assumed, in the reader's words.

Every repair, default, skipped lot and refused input is one `Issue`. Readers collect all the problems of a stage
in an `Issues` list and raise one `InputError` at its end, so that a user sees every fault at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from pandas import DataFrame

SEVERITIES: tuple[str, ...] = ("stop", "skip", "fix", "warn", "note")
COLUMNS: tuple[str, ...] = ("severity", "code", "lot_id", "where", "found", "expected", "done")

Severity = Literal["stop", "skip", "fix", "warn", "note"]


@dataclass(frozen=True)
class DrawnPlace:
    """Where on the ground something is wrong: a shape in the lots' own system, the lots it is about, and its size."""

    shape: Any
    lots: tuple[str, ...]
    area_sqft: float = float("nan")
    length_ft: float = float("nan")


@dataclass(frozen=True)
class Issue:
    """One thing a reader should know: where it is, what was found, what was expected and what was done.

    `severity` is "stop" (nothing is computed), "skip" (this lot gets no numbers), "fix" (repaired), "warn"
    (computed, flagged) or "note". `where` is `<file>[:<layer>] <lot id or row n>`. `place` shows it on a map, where it
    is more or less than the whole lot.
    """

    code: str
    severity: str
    where: str
    found: str
    expected: str = ""
    done: str = ""
    lot_id: str = ""
    place: DrawnPlace | None = field(default=None, compare=False, repr=False)

    def __post_init__(self) -> None:
        if self.severity not in SEVERITIES:
            raise ValueError(f"severity is {self.severity!r}; expected one of {', '.join(SEVERITIES)}")

    def message(self) -> str:
        """The issue in one line: `<where>: <found>; expected <what>; <what was done or how to fix>`."""
        parts = [self.found]
        if self.expected:
            parts.append(f"expected {self.expected}")
        if self.done:
            parts.append(self.done)
        return f"{self.where}: " + "; ".join(parts)


class Issues:
    """A list of issues that only grows."""

    def __init__(self, issues: Iterable[Issue] = ()) -> None:
        self._issues: list[Issue] = list(issues)

    def add(
        self,
        code: str | Issue,
        severity: str = "note",
        where: str = "",
        found: str = "",
        expected: str = "",
        done: str = "",
        lot_id: str = "",
    ) -> Issue:
        """Append an issue, given ready-made or by its parts; return it."""
        issue = code if isinstance(code, Issue) else Issue(code, severity, where, found, expected, done, lot_id)
        self._issues.append(issue)
        return issue

    def extend(self, issues: Iterable[Issue]) -> None:
        """Append several issues."""
        self._issues.extend(issues)

    def stops(self) -> list[Issue]:
        """The issues that forbid going on."""
        return [issue for issue in self._issues if issue.severity == "stop"]

    def has_stop(self) -> bool:
        """Whether anything found so far forbids going on."""
        return any(issue.severity == "stop" for issue in self._issues)

    def raise_stops(self) -> None:
        """Raise one InputError with every stop collected so far, if there is any."""
        stops = self.stops()
        if stops:
            raise InputError(stops)

    def warnings_as_stops(self) -> Issues:
        """A copy in which every warning forbids going on (for `--strict`)."""
        return Issues(replace(i, severity="stop") if i.severity == "warn" else i for i in self._issues)

    def frame(self) -> DataFrame:
        """The issues as a table, sorted so that the order in which they were met does not matter."""
        import pandas as pd

        rank = {severity: number for number, severity in enumerate(SEVERITIES)}
        ordered = sorted(
            self._issues, key=lambda i: (rank[i.severity], i.code, i.lot_id, i.where, i.found, i.expected, i.done)
        )
        return pd.DataFrame({name: [getattr(i, name) for i in ordered] for name in COLUMNS}, columns=list(COLUMNS))

    def __iter__(self) -> Iterator[Issue]:
        return iter(self._issues)

    def __len__(self) -> int:
        return len(self._issues)

    def __repr__(self) -> str:
        return f"Issues({len(self._issues)}, stops={len(self.stops())})"


class InputError(Exception):
    """An input can't be used. Carries every issue found at that stage, not just the first."""

    def __init__(self, issues: Issue | Iterable[Issue]) -> None:
        self.issues: list[Issue] = [issues] if isinstance(issues, Issue) else list(issues)
        super().__init__("\n".join(issue.message() for issue in self.issues))

    def __reduce__(self) -> tuple[type[InputError], tuple[list[Issue]]]:
        """Carried between processes with its issues, not with its text alone."""
        return type(self), (self.issues,)
