"""Steps of a derivation, recorded where a number is computed and shown later without being worked out again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Step:
    """One computed number: what it is, its formula in symbols, the values that went in, the result and its source."""

    what: str
    formula: str
    values: Mapping[str, float | str]
    result: float | str
    unit: str
    source: str

    def line(self) -> str:
        given = ", ".join(f"{k} = {_number(v)}" for k, v in self.values.items())
        unit = f" {self.unit}" if self.unit else ""
        return (
            f"{self.what}: {self.formula} = {_number(self.result)}{unit}"
            + (f"   [{given}]" if given else "")
            + (f"   ({self.source})" if self.source else "")
        )


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
    ) -> None:
        self.steps.append(Step(what, formula, dict(values), result, unit, source))


def _number(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.6g}"
