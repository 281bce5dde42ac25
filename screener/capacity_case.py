"""What a capacity depends on: the connection, one row of the hardware list in one arrangement, and the rules."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from screener.derivation import Recorder
from screener.families import Family
from screener.hardware import HardwareRow
from screener.standards import irc_fastening as irc
from screener.standards import nds_connections as nds

CONCRETE_NOT_CHECKED = "concrete not checked"


class ConnectionPoint(Protocol):
    """What a capacity needs to know of a connection point."""

    @property
    def family(self) -> str: ...
    @property
    def components(self) -> tuple[str, ...]: ...
    @property
    def drop(self) -> str: ...
    @property
    def species(self) -> str: ...
    @property
    def facts(self) -> Mapping[str, float | str | bool]: ...


@dataclass(frozen=True)
class CapacityContext:
    """What capacities depend on besides hardware and plan."""

    method: str = "ASD"  # or "LRFD"
    sdpws_edition: str = "2015"
    sdc: str = "D0"  # seismic design category, letters of IRC (D0, D1, D2) or ASCE 7

    @property
    def category_d(self) -> bool:
        """Seismic design category D or above."""
        return self.sdc[:1] in ("D", "E", "F")

    @property
    def rules_of_category(self) -> tuple[bool, bool]:
        """All that capacities depend on of the category: categories with the same rules have the same capacities."""
        return self.category_d, irc.plate_washers_needed(self.sdc)


@dataclass(frozen=True)
class Option:
    """One row of the hardware list in one arrangement."""

    item: str
    row: int  # index into Hardware.rows
    arrangement: str  # "1 each", "at 48 in", "6/12"
    pieces: int = 1
    spacing_in: float = math.nan


@dataclass
class Piece:
    """What one piece (or one foot, or one square foot) holds by direction, with how it was found."""

    loads: dict[str, float] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    steps: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Case:
    """One row at one point under one hazard."""

    row: HardwareRow
    family: Family
    facts: Mapping[str, float | str | bool]
    wood: nds.Species
    context: CapacityContext
    hazard: str
    record: Recorder | None = None

    def note(
        self,
        what: str,
        formula: str,
        values: Mapping[str, float | str],
        result: float,
        unit: str,
        source: str,
        note: str = "",
    ) -> None:
        """A step of the derivation, kept only where one is asked for (``capacity_steps``)."""
        if self.record is not None:
            self.record.note(what, formula, values, result, unit, source, note)

    def fact(self, name: str, default: float = math.nan) -> float:
        """A number of the point; an error where it is needed and missing."""
        value = self.facts.get(name, default)
        if isinstance(value, str) or (isinstance(value, float) and math.isnan(value)):
            raise LookupError(f"the plan gives no {name} at this connection")
        return float(value)
