"""Demands of one connection taken apart: the loads of a case, and the named effects behind each of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache

import numpy as np
from numpy.typing import NDArray

from screener.calculation.sheet import Combination, Demand, Form, RunnerUp
from screener.demands import DemandModel
from screener.derivation import Part, Step
from screener.line_loads import Effect
from screener.load_states import GRAVITY, Frame
from screener.points import Point
from screener.trace import Item, Place, Term, node_of
from screener.wind_states import FACES, Procedure, internal_column

Floats = NDArray[np.float64]

RUNNERS_UP = 3
NOTHING = 1e-9
"""Terms smaller than this (lb, plf, psf) are what rounding leaves of nothing, and not shown."""

BASIS_WORDS = {
    "q_envelope_psf": ("q, Chapter 28", "psf"),
    "q_envelope_gcpi_psf": ("GCpi q, Chapter 28", "psf"),
    "q_components_psf": ("q, Chapters 27 and 30", "psf"),
    "q_components_gcpi_psf": ("GCpi q, Chapters 27 and 30", "psf"),
    "sds_g": ("SDS", "g"),
    "sds_vertical_g": ("SDS of vertical shaking", "g"),
    "roof_snow_psf": ("roof snow pf", "psf"),
    "rho_cs": ("rho Cs", ""),
    **{f"q_onto_{face}_psf": (f"q on to the {face}", "psf") for face in FACES},
    **{internal_column(f"q_onto_{face}_psf"): (f"GCpi q on to the {face}", "psf") for face in FACES},
}
COMPONENTS_ALONE = {
    "q_components_psf": ("q, Chapter 30", "psf"),
    "q_components_gcpi_psf": ("GCpi q, Chapter 30", "psf"),
}
"""The same where porches take the pressures of the main system's own directions."""


@cache
def basis_words(name: str, procedure: Procedure = "envelope") -> tuple[str, str]:
    """Words and unit of one hazard number; an unknown name stands for itself."""
    if procedure == "directional" and name in COMPONENTS_ALONE:
        return COMPONENTS_ALONE[name]
    for stem, words in (("rho_storey_force_lb_", "rho F"), ("diaphragm_force_lb_", "Fp")):
        if name.startswith(stem):
            return words + name.removeprefix(stem), "lb"
    return BASIS_WORDS.get(name, (name, ""))


BEING_MADE = Step("", "", {}, math.nan, "", "")


class LoadBook:
    """Steps of the named effects of one house on one lot: each effect in each load state once, with its own id."""

    def __init__(self, frame: Frame, basis: Floats) -> None:
        self.frame, self.basis = frame, basis
        self.steps: dict[str, Step] = {}
        self._ids: dict[tuple[int, int], str] = {}
        self._leaves: dict[object, str] = {}
        self._held: list[Item] = []  # an id() is only a name while its object lives

    def step(self, item: Item, row: int) -> str:
        """Id of the step of an effect in one state (a row of the frame), made with all it needs if it is new."""
        key = (id(item), row)
        if key not in self._ids:
            self._held.append(item)
            alike = self._alike(item, row)
            if alike in self._leaves:
                self._ids[key] = self._leaves[alike]
                return self._ids[key]
            self._ids[key] = self._leaves[alike] = name = f"L{len(self.steps) + 1}"
            self.steps[name] = BEING_MADE
            self.steps[name] = self._made(name, item, row)
        return self._ids[key]

    def _alike(self, item: Item, row: int) -> object:
        """What two starting effects must share to be told once: everything that would be printed of them."""
        if item.of is not None and item.parts(row):
            return id(item), row
        numbers = tuple(item.value[row]) if row < len(item.value) else ()
        return item.what, item.formula, tuple(item.values.items()), row, item.state(row), numbers

    def _made(self, name: str, item: Item, row: int) -> Step:
        value = item.at(row, self.basis)
        below = item.parts(row)
        parts = [self._part(t, row) for t in below if abs(t.weight * t.item.at(row, self.basis)) > NOTHING]
        if not below:
            parts = self.linear(item.value[row]) if row < len(item.value) else []
        state = self.frame.row_names[row]
        note = item.state(row)
        return Step(
            f"{item.what} ({state})", item.formula, item.values, value, item.unit, item.source, note, tuple(parts), name
        )

    def _part(self, term: Term, row: int) -> Part:
        item = term.item
        value = item.at(row, self.basis)
        return Part(item.what, term.weight, value, item.unit, self.step(item, row), term.where)

    def linear(self, coefficients: Floats, keep_constant: bool = False) -> list[Part]:
        """A row of coefficients as a sum over the lot's hazard numbers; a constant alone needs no sum."""
        out, places = [], np.flatnonzero(coefficients)
        for k in places:
            name = self.frame.basis[k]
            words, unit = ("constant", "") if name == "one" else basis_words(name, self.frame.procedure)
            if name != "one" or len(places) > 1 or keep_constant:
                out.append(Part(words, float(coefficients[k]), float(self.basis[k]), unit))
        return out

    def needs(self, ids: list[str]) -> list[str]:
        """These steps and all that they name, in the order in which they are reached."""
        seen: dict[str, None] = {}
        stack = list(reversed(ids))
        while stack:
            one = stack.pop()
            if one in seen or not one:
                continue
            seen[one] = None
            stack += [p.step for p in reversed(self.steps[one].parts) if p.step]
        return list(seen)


class Demands:
    """Takes the demands of one lot's connections apart: the traced model beside the batch's points and basis."""

    def __init__(self, model: DemandModel, traced: DemandModel, basis: Floats) -> None:
        self.frame, self.basis = model.frame, basis
        self.book = LoadBook(traced.frame, basis)
        self._traced: Mapping[str, Point] = traced.by_name
        self._effects: dict[tuple[int, str], Item] = {}

    def demand(
        self,
        point: Point,
        values: Floats,
        k: int,
        case: int,
        demand: float,
        held: tuple[float, float] = (math.nan, math.nan),
        others: bool = True,
    ) -> Demand:
        """One component (place ``k``) of a point in one of its cases; ``values``: (cases, components) of this lot.

        ``held``: the chosen item's capacity and usage ratio.
        """
        component = point.components[k]
        traced = self._traced[point.name]
        forms, combination = list[Form](), None
        dead: tuple[Part, ...] = ()
        if traced.trace is not None:
            member, load_case, place = traced.trace.of(self.frame, case)
            c = load_case.combination
            combination = Combination(c.name, c.clause, c.edition, c.method, load_case.state_name)
            sides: list[tuple[str, Mapping[str, Effect], Floats]]
            sides = [("sum of the loads", member.effects, point.coefficients)]
            if point.ceiling is not None and member.ceiling is not None:
                sides = [
                    ("all loads of the piece, by lever", member.effects, point.coefficients),
                    ("not more than: the couple and what stands at that end", member.ceiling, point.ceiling),
                ]
            for what, effects, rows in sides:
                forms.append(self._form(what, effects.get(component), rows[case, k], traced, place, component))
            least = min(range(len(forms)), key=lambda i: forms[i].total)
            dead = self._dead(sides[least][1].get(component), traced, place)
        runners, equal = _runners_up(point, values[:, k], case) if others else ((), 0)
        unit = component.rsplit("_", 1)[-1]
        name = point.case_names[case]
        return Demand(component, unit, demand, *held, name, combination, tuple(forms), dead, runners, equal)

    def _form(self, what: str, effect: Effect | None, row: Floats, traced: Point, place: int, component: str) -> Form:
        coefficients = tuple(self.book.linear(row, keep_constant=True))
        total = sum(p.product for p in coefficients)
        if effect is None or traced.trace is None:
            return Form(what, (), total, coefficients)
        parts, sign = [], traced.trace.sign
        item = self._item(effect, component)
        for share in self.frame.shares(traced.trace.use, place):
            value = item.at(share.row, self.basis)
            if abs(value) <= NOTHING:
                continue
            step, words = self.book.step(item, share.row), self.frame.row_names[share.row]
            parts.append(Part(words, sign * share.factor, value, item.unit, step))
            if share.per_sds:
                sds = float(self.basis[self.frame.column["sds_vertical_g"]])
                text = f"vertical shaking, {share.per_sds:+.4g} SDS, on the {words}"
                parts.append(Part(text, sign * share.per_sds * sds, value, item.unit, step))
        left = total - sum(p.product for p in parts)
        if abs(left) > 1e-6 * max(1.0, abs(total)):
            parts.append(Part("not taken apart", 1.0, left))
        return Form(what, tuple(parts), total, coefficients)

    def _item(self, effect: Effect, component: str) -> Item:
        """The effect of one member as a named item, the same one each time it is asked for."""
        node = node_of(effect)
        if isinstance(node, Item):
            return node
        if isinstance(node, Place):
            return node.of
        key = (id(node), component)
        if key not in self._effects:
            unit = component.rsplit("_", 1)[-1]
            words = component.rsplit("_", 1)[0].replace("_", " ")
            value = np.array(effect, dtype=np.float64)
            self._effects[key] = Item(f"{words} on this connection", value, node, "sum of its parts", unit=unit)
        return self._effects[key]

    def _dead(self, effect: Effect | None, traced: Point, place: int) -> tuple[Part, ...]:
        """The dead load that a case counts, by assembly: weight per unit times how much of it."""
        if effect is None or traced.trace is None:
            return ()
        dead = {self.frame.row[name]: name for name in GRAVITY if name.startswith("dead")}
        out: dict[tuple[str, float, str], float] = {}
        for share in self.frame.shares(traced.trace.use, place):
            if share.row in dead:
                for t in self._item(effect, "").leaves(share.row):
                    value = t.item.at(share.row, self.basis)
                    key = (t.item.what, value, t.item.unit)
                    if value:
                        out[key] = out.get(key, 0.0) + t.weight
        parts = (Part(what, amount, value, unit) for (what, value, unit), amount in out.items())
        return tuple(part for part in parts if abs(part.product) > NOTHING)


def _runners_up(point: Point, values: Floats, case: int) -> tuple[tuple[RunnerUp, ...], int]:
    """The next cases after the governing one that differ from it and from each other, and how many give the same."""
    top = float(values[case])
    near = 1e-9 * max(1.0, abs(top))
    equal = int((np.abs(values - top) <= near).sum()) - 1
    out: dict[str, RunnerUp] = {}
    for i in np.argsort(-values, kind="stable"):
        value = float(values[i])
        if value <= 0 or len(out) == RUNNERS_UP:
            break
        if top - value > near:
            out.setdefault(f"{value:.6g}", RunnerUp(point.case_names[i], value))
    return tuple(out.values()), equal
