"""Steps of a derivation, recorded where a number is computed and shown later without being worked out again."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

_DOCUMENT = re.compile(r"^(ASCE 7|SDPWS|NDS|IRC|AISI S100|AISC 360)[- ](\d{2,4}),? ?(.*)$")


@dataclass(frozen=True)
class Source:
    """Where a formula or value comes from: a document with its edition and section or table, or plain words."""

    document: str
    edition: str
    section: str


def source_of(text: str) -> Source:
    """A source as its parts: ``ASCE 7-16 26.9`` is document ASCE 7, edition 16, section 26.9."""
    found = _DOCUMENT.match(text)
    return Source(*found.groups()) if found else Source(text, "", "")


@dataclass(frozen=True)
class Part:
    """One term of a step's sum: ``factor`` times a value, which another step (``step``) explains where it has an id."""

    what: str
    factor: float
    value: float
    unit: str = ""
    step: str = ""
    where: str = ""

    @property
    def product(self) -> float:
        return self.factor * self.value

    def line(self) -> str:
        place = f", {self.where}" if self.where else ""
        see = f" [{self.step}]" if self.step else ""
        unit = f" {self.unit}" if self.unit else ""
        return f"{number(self.factor)} x {number(self.value)}{unit} = {number(self.product)}: {self.what}{place}{see}"


@dataclass(frozen=True)
class Step:
    """One computed number: what it is, its formula in symbols, the values that went in, the result and its source.

    ``note``: what else is to be known of it; ``parts``: the terms it is the sum of; ``id``: how other steps name it.
    """

    what: str
    formula: str
    values: Mapping[str, float | str]
    result: float | str
    unit: str
    source: str
    note: str = ""
    parts: tuple[Part, ...] = ()
    id: str = ""

    def line(self) -> str:
        given = ", ".join(f"{k} = {number(v)}" for k, v in self.values.items())
        unit = f" {self.unit}" if self.unit else ""
        return (
            (f"[{self.id}] " if self.id else "")
            + f"{self.what}: {self.formula or 'sum'} = {number(self.result)}{unit}"
            + (f"   [{given}]" if given else "")
            + (f"   {self.note}" if self.note else "")
            + (f"   ({self.source})" if self.source else "")
        )

    def lines(self) -> list[str]:
        """The step, and each term of its sum below it."""
        return [self.line(), *(f"    {part.line()}" for part in self.parts)]


@dataclass
class Recorder:
    """Collects steps in order; one for each connection point or chain of hazards."""

    steps: list[Step] = field(default_factory=list)

    def note(
        self,
        what: str,
        formula: str,
        values: Mapping[str, float | str],
        result: float | str,
        unit: str = "",
        source: str = "",
        note: str = "",
    ) -> None:
        self.steps.append(Step(what, formula, dict(values), result, unit, source, note))


def number(value: float | str) -> str:
    """A number as a derivation prints it: six figures, enough to work on with."""
    return value if isinstance(value, str) else f"{value:.6g}"
