"""The calculation sheet of one lot as plain data: what text, HTML and JSON show, each number once."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from screener.derivation import Part, Step, source_of

SCHEMA = 1


@dataclass(frozen=True)
class Combination:
    """The load combination of a governing case: its name in symbols and the clause it stands in."""

    name: str
    clause: str
    edition: str
    method: str
    state: str


@dataclass(frozen=True)
class Form:
    """One sum whose value is a demand: loads of the case times their factors; ``coefficients``: the batch's form."""

    what: str
    parts: tuple[Part, ...]
    total: float
    coefficients: tuple[Part, ...]


@dataclass(frozen=True)
class RunnerUp:
    """A case that governs less, or as much."""

    case: str
    value: float


@dataclass(frozen=True)
class Demand:
    """One component in one case: its forms (the least of them is the demand), and the dead load counted in it.

    ``capacity`` and ``ratio`` are those of the chosen item, as the demands table has them; NaN without one.
    """

    component: str
    unit: str
    demand: float
    capacity: float
    ratio: float
    case: str
    combination: Combination | None
    forms: tuple[Form, ...]
    dead: tuple[Part, ...] = ()
    runners_up: tuple[RunnerUp, ...] = ()
    equal_cases: int = 0

    @property
    def governing_form(self) -> Form:
        return min(self.forms, key=lambda form: form.total)


@dataclass(frozen=True)
class OptionRow:
    """One option at this connection: what it costs for this house's package line, how hard it works, the verdict."""

    name: str
    chosen: bool
    cost_usd: float
    ratio: float
    case: str
    verdict: str
    allowable: Mapping[str, Mapping[str, float]]


@dataclass(frozen=True)
class Connection:
    """One connection of the lot's house, from its demands to the chosen item."""

    name: str
    key: str
    family: str
    place: str
    size: str
    line: str
    demands: tuple[Demand, ...]
    together: tuple[Demand, ...]
    options: tuple[OptionRow, ...]
    item: str
    quantity: float
    ratio: float
    ratio_case: str
    ratio_step: Step | None
    capacity: tuple[Step, ...]
    notes: tuple[str, ...]
    limits: tuple[str, ...]
    about: tuple[Step, ...] = ()
    uses: tuple[str, ...] = ()

    @property
    def margin(self) -> float:
        return 1.0 - self.ratio


@dataclass(frozen=True)
class OverviewRow:
    """One connection in the list of all of them, hardest-worked first."""

    name: str
    key: str
    ratio: float
    demand: str
    item: str


@dataclass(frozen=True)
class Section:
    """A chain of steps under one title, with at most one table."""

    key: str
    title: str
    steps: tuple[Step, ...] = ()
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class Sheet:
    """Everything known of one lot.

    ``loads``: load steps that connections name, by id, each once. ``basis``: what the numbers rest on, in one sentence.
    ``resistance``: how the design method calls what an item holds.
    """

    lot_id: str
    tract: str
    design: str
    house: str
    caution: str
    package: str
    sections: tuple[Section, ...]
    scope: tuple[tuple[str, str, str, str], ...] = ()
    overview: tuple[OverviewRow, ...] = ()
    connections: tuple[Connection, ...] = ()
    loads: Mapping[str, Step] = field(default_factory=dict)
    no_demands: str = ""
    basis: str = ""
    resistance: str = "allowable"
    pictures: tuple[tuple[str, str], ...] = ()


def to_record(sheet: Sheet) -> dict[str, Any]:
    """The sheet for machines: stable keys, numbers as they are, sources in their parts; no NaN (null instead)."""
    return {
        "schema": SCHEMA,
        "lot_id": sheet.lot_id,
        "tract": sheet.tract,
        "design": sheet.design,
        "house": sheet.house,
        "caution": sheet.caution,
        "basis": sheet.basis,
        "resistance": sheet.resistance,
        "package": sheet.package,
        "sections": [
            {
                "key": s.key,
                "title": s.title,
                "steps": [_step(step) for step in s.steps],
                "columns": list(s.columns),
                "rows": [list(row) for row in s.rows],
            }
            for s in sheet.sections
        ],
        "scope": [dict(zip(("severity", "code", "detail", "next_step"), row, strict=True)) for row in sheet.scope],
        "overview": [
            {"name": r.name, "ratio": _number(r.ratio), "demand": r.demand, "item": r.item} for r in sheet.overview
        ],
        "connections": [_connection(c) for c in sheet.connections],
        "loads": {key: _step(step) for key, step in sheet.loads.items()},
        "no_demands": sheet.no_demands,
    }


def _number(value: float | str) -> float | str | None:
    return value if isinstance(value, str) or math.isfinite(value) else None


def _source(text: str) -> list[dict[str, str]]:
    parts = (source_of(piece.strip()) for piece in text.split(";") if piece.strip())
    return [{"document": s.document, "edition": s.edition, "section": s.section} for s in parts]


def _part(part: Part) -> dict[str, Any]:
    return {
        "what": part.what,
        "where": part.where,
        "factor": _number(part.factor),
        "value": _number(part.value),
        "unit": part.unit,
        "product": _number(part.product),
        "step": part.step,
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "id": step.id,
        "what": step.what,
        "formula": step.formula,
        "values": {key: _number(value) for key, value in step.values.items()},
        "value": _number(step.result),
        "unit": step.unit,
        "source": _source(step.source),
        "note": step.note,
        "parts": [_part(part) for part in step.parts],
    }


def _demand(d: Demand) -> dict[str, Any]:
    c = d.combination
    return {
        "component": d.component,
        "unit": d.unit,
        "demand": _number(d.demand),
        "capacity": _number(d.capacity),
        "ratio": _number(d.ratio),
        "case": d.case,
        "combination": None
        if c is None
        else {"name": c.name, "clause": c.clause, "edition": c.edition, "method": c.method, "state": c.state},
        "forms": [
            {
                "what": f.what,
                "parts": [_part(p) for p in f.parts],
                "total": _number(f.total),
                "coefficients": [_part(p) for p in f.coefficients],
            }
            for f in d.forms
        ],
        "dead_load_counted": [_part(p) for p in d.dead],
        "runners_up": [{"case": r.case, "value": _number(r.value)} for r in d.runners_up],
        "equal_cases": d.equal_cases,
    }


def _connection(c: Connection) -> dict[str, Any]:
    return {
        "name": c.name,
        "family": c.family,
        "place": c.place,
        "size": c.size,
        "line": c.line,
        "demands": [_demand(d) for d in c.demands],
        "together": [_demand(d) for d in c.together],
        "item": c.item,
        "quantity": _number(c.quantity),
        "ratio": _number(c.ratio),
        "ratio_case": c.ratio_case,
        "margin": _number(c.margin),
        "ratio_step": None if c.ratio_step is None else _step(c.ratio_step),
        "capacity": [_step(step) for step in c.capacity],
        "notes": list(c.notes),
        "limits": list(c.limits),
        "about": [_step(step) for step in c.about],
        "uses": list(c.uses),
        "options": [
            {
                "name": o.name,
                "chosen": o.chosen,
                "cost_usd": _number(o.cost_usd),
                "ratio": _number(o.ratio),
                "case": o.case,
                "verdict": o.verdict,
                "allowable": {h: {k: _number(v) for k, v in held.items()} for h, held in o.allowable.items()},
            }
            for o in c.options
        ],
    }
