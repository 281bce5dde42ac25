"""Load states of a house and the basis on which every effect is written.

An *effect* (a force at one place) is an array ``(rows, basis)``: one row for each wind state, each seismic direction,
and each gravity load; one column for each hazard number that differs from lot to lot. A *case* is a load combination
of ASCE 7 Chapter 2 applied to one state. Everything that acts together in a case comes from the same state.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from screener.line_loads import Effect
from screener.standards.asce7_ch02_combinations import Combination, combinations
from screener.wind_states import AXES, VELOCITIES, Axis, Procedure, WindState, internal_column, wind_states

GRAVITY = ("dead_least", "dead_greatest", "floor_live", "roof_live", "snow")


def basis_names(levels: int, procedure: Procedure = "envelope") -> tuple[str, ...]:
    """Hazard numbers of one lot, in the order of every effect's columns; levels count from the lowest storey."""
    velocities = (*VELOCITIES[procedure], "q_components_psf")
    return (
        "one",
        *(name for v in velocities for name in (v, internal_column(v))),
        "sds_g",
        "sds_vertical_g",
        "roof_snow_psf",
        "rho_cs",
        *(f"rho_storey_force_lb_{i + 1}" for i in range(levels)),
        *(f"diaphragm_force_lb_{i + 1}" for i in range(levels)),
    )


@dataclass(frozen=True)
class SeismicState:
    axis: Axis
    sense: int

    @property
    def name(self) -> str:
        return f"shaking toward {'+' if self.sense > 0 else '-'}{self.axis}"


@dataclass(frozen=True)
class Frame:
    """Rows and columns shared by all effects of one house, and the combinations that turn effects into cases."""

    levels: int
    edition: str
    method: str
    procedure: Procedure = "envelope"
    seismic: tuple[SeismicState, ...] = (
        SeismicState("x", 1),
        SeismicState("x", -1),
        SeismicState("y", 1),
        SeismicState("y", -1),
    )

    @cached_property
    def wind(self) -> tuple[WindState, ...]:
        return wind_states(self.procedure, self.edition)

    @property
    def velocities(self) -> tuple[str, ...]:
        """Basis names of the velocity pressures: those of the main wind system, and that of components."""
        return (*VELOCITIES[self.procedure], "q_components_psf")

    @cached_property
    def basis(self) -> tuple[str, ...]:
        return basis_names(self.levels, self.procedure)

    @cached_property
    def column(self) -> dict[str, int]:
        return {name: i for i, name in enumerate(self.basis)}

    @cached_property
    def row(self) -> dict[str, int]:
        """Row of each gravity load."""
        start = len(self.wind) + len(self.seismic)
        return {name: start + i for i, name in enumerate(GRAVITY)}

    @property
    def shape(self) -> tuple[int, int]:
        return len(self.wind) + len(self.seismic) + len(GRAVITY), len(self.basis)

    def zero(self) -> Effect:
        return np.zeros(self.shape)

    def gravity(self, **loads: float) -> Effect:
        """Effect of gravity loads given per unit (down is negative): dead_least=-13, snow=-1 (times roof snow), ..."""
        out = self.zero()
        for name, value in loads.items():
            out[self.row[name], self.column["roof_snow_psf" if name == "snow" else "one"]] = value
        return out

    def wind_effect(self, rows: np.ndarray) -> Effect:
        """Effect from wind rows ``(wind states, basis)`` alone."""
        out = self.zero()
        out[: len(self.wind)] = rows
        return out

    @cached_property
    def _senses(self) -> dict[Axis, np.ndarray]:
        ways: dict[Axis, list[int]] = {}
        for axis in AXES:
            ways[axis] = [s.sense_along(axis) for s in self.wind] + [s.sense for s in self.seismic] + [1] * len(GRAVITY)
        return {axis: np.array(signs, dtype=float)[:, None] for axis, signs in ways.items()}

    def sense_along(self, axis: Axis) -> np.ndarray:
        """(rows, 1): the direction sign of what each wind and seismic state brings along ``axis``, 1 for gravity."""
        return self._senses[axis]

    def cases(self, use: str) -> tuple[Case, ...]:
        """Every case of one use ("uplift" or "compression"), in a fixed order."""
        return self._combined(use)[0]

    @cached_property
    def _combination_tables(self) -> dict[str, tuple[tuple[Case, ...], np.ndarray, np.ndarray]]:
        return {}

    def _combined(self, use: str) -> tuple[tuple[Case, ...], np.ndarray, np.ndarray]:
        """Cases, their factors on each effect row ``(cases, rows)``, and their factor on SDS x dead load."""
        if use not in self._combination_tables:
            cases: list[Case] = []
            for combo in combinations(self.edition, self.method, use):
                if combo.hazard == "wind":
                    cases += [Case(combo, i, s.name) for i, s in enumerate(self.wind)]
                elif combo.hazard == "seismic":
                    cases += [Case(combo, len(self.wind) + i, s.name) for i, s in enumerate(self.seismic)]
                else:
                    cases.append(Case(combo, -1, "gravity"))
            factors = np.zeros((len(cases), self.shape[0]))
            dead = self.row["dead_least" if use == "uplift" else "dead_greatest"]
            for i, case in enumerate(cases):
                c = case.combination
                for row, factor in (
                    (dead, c.d),
                    (self.row["floor_live"], c.l),
                    (self.row["roof_live"], c.lr),
                    (self.row["snow"], c.s),
                ):
                    factors[i, row] = factor
                if case.state >= 0:
                    factors[i, case.state] = c.w if c.hazard == "wind" else c.eh
            vertical = np.array([case.combination.sds_d for case in cases])
            self._combination_tables[use] = (tuple(cases), factors, vertical)
        return self._combination_tables[use]

    def combine(self, effect: Effect, use: str, sign: float = 1.0) -> np.ndarray:
        """Rows of one component over all cases: ``(cases, basis)``; ``sign`` -1 asks for the opposite direction.

        Resisting dead load is the least weight with ``use`` "uplift", the greatest with "compression".
        """
        _, factors, vertical = self._combined(use)
        out = factors @ effect
        dead = effect[self.row["dead_least" if use == "uplift" else "dead_greatest"], self.column["one"]]
        # vertical shaking is a share of the dead load that grows with SDS
        out[:, self.column["sds_vertical_g"]] += vertical * dead
        return sign * out


@dataclass(frozen=True)
class Case:
    combination: Combination
    state: int
    state_name: str

    @property
    def hazard(self) -> str:
        return self.combination.hazard

    @property
    def name(self) -> str:
        return f"{self.combination.name}; {self.state_name}"
