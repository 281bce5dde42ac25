"""One check: a value from outside, ours, and how far apart they may be."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

READ, MEMORY, DERIVED = "read", "from memory", "derived"
OBTAINED = (READ, MEMORY, DERIVED)
"""How a value was obtained: read in a public text, remembered, or computed independently from the standard's text."""


class Status(StrEnum):
    """Whether a check holds."""

    WITHIN = "within"
    KNOWN = "known difference"
    OUTSIDE = "OUTSIDE"


@dataclass(frozen=True)
class Source:
    """Where a value comes from, and how it was obtained (one of OBTAINED)."""

    document: str
    edition: str
    place: str
    obtained: str

    def __post_init__(self) -> None:
        if self.obtained not in OBTAINED:
            raise ValueError(f"{self.document} {self.place}: obtained {self.obtained!r}; expected one of {OBTAINED}")

    @property
    def words(self) -> str:
        """Document, edition and place in one line."""
        return f"{self.document} {self.edition}".strip() + f", {self.place}"


@dataclass(frozen=True)
class Known:
    """Why a difference stands, and the range in which it does (ours less the source's value, in the check's unit)."""

    reason: str
    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True)
class Check:
    """A value and ours. `within` is the printed or stated precision; texts and whole answers must be equal.

    NaN stands for "the source gives no value", and then ours must be NaN too.
    """

    source: Source
    what: str
    published: float | str
    ours: float | str
    within: float = 0.0
    unit: str = ""
    known: Known | None = field(default=None)

    @property
    def difference(self) -> float:
        """Ours less the source's value; infinite where one is missing or texts differ."""
        if isinstance(self.published, str) or isinstance(self.ours, str):
            return 0.0 if self.published == self.ours else math.inf
        if math.isnan(self.published) or math.isnan(self.ours):
            return 0.0 if math.isnan(self.published) and math.isnan(self.ours) else math.inf
        return float(self.ours) - float(self.published)

    @property
    def percent(self) -> float:
        """The difference in percent of the source's value; NaN where that says nothing."""
        if isinstance(self.published, str) or not self.published or not math.isfinite(self.difference):
            return math.nan
        return 100.0 * self.difference / abs(self.published)

    @property
    def status(self) -> Status:
        """Within the precision, a known difference inside its stated range, or outside."""
        if abs(self.difference) <= self.within + 1e-9 * max(1e-3, self.within):
            return Status.WITHIN
        if self.known and self.known.low <= self.difference <= self.known.high:
            return Status.KNOWN
        return Status.OUTSIDE

    def line(self) -> str:
        """One line for a reader."""
        shown = " ".join(f"{v:.6g}" if isinstance(v, float) else str(v) for v in (self.published, self.ours))
        return f"{self.status}: {self.source.words}: {self.what}: published and ours {shown}"


def outside(checks: Iterable[Check]) -> list[str]:
    """The checks that hold neither within their precision nor as a known difference, a line each."""
    return [check.line() for check in checks if check.status is Status.OUTSIDE]


def printed(text: str) -> tuple[float, float]:
    """A printed number, and half a unit of its last digit."""
    digits = len(text.split(".")[1]) if "." in text else 0
    return float(text), 0.5 * 10.0**-digits


def known_value(reason: str, value: float, ours: str) -> Known:
    """A known difference from `value`: ours is the number `ours`, to the digits it is written with."""
    stated, half = printed(ours)
    slack = half * (1.0 + 1e-6)
    return Known(reason, stated - value - slack, stated - value + slack)


def obtained_of(tag: str) -> str:
    """One of OBTAINED from the tag of a table's row, such as "found" or "memory (1.17 before 2015)"."""
    for start, obtained in (("found", READ), ("read", READ), ("memory", MEMORY), ("from memory", MEMORY)):
        if tag.startswith(start):
            return obtained
    if tag.startswith("derived"):
        return DERIVED
    raise ValueError(f"tag {tag!r}; expected one that begins with found, read, memory or derived")
