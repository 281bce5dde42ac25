"""Connection points: groups of identical connections of one house, each with its cases of simultaneous demand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numba
import numpy as np
from numpy.typing import NDArray

from screener.derivation import Step
from screener.line_loads import Effect
from screener.load_states import Case, Frame
from screener.wind_states import VELOCITIES, internal_column

Facts = Mapping[str, float | str | bool]

REFERENCE = {
    "one": 1.0,
    "q_envelope_psf": 26.0,
    "q_envelope_gcpi_psf": 26.0 * 0.18,
    **{name: 26.0 for name in VELOCITIES["directional"]},
    **{internal_column(name): 26.0 * 0.18 for name in VELOCITIES["directional"]},
    "q_components_psf": 26.0,
    "q_components_gcpi_psf": 26.0 * 0.18,
    "sds_g": 0.5,
    "sds_vertical_g": 0.5,
    "roof_snow_psf": 0.0,
    "rho_cs": 0.1,
}
"""Hazards at which connections of one plan are ranked light to heavy for a package's lines: about 115 mph in open
country two storeys up, and moderate shaking. Only the ranking uses them; no demand does."""


@dataclass(frozen=True)
class Point:
    """One group of identical connections of a house.

    ``coefficients`` is (cases, components, basis): demand of a component in a case is the row times the lot's basis.
    ``ceiling``, where given, is a second such form for the same cases: the demand is the lesser of the two.
    ``measure``: "each" uses ``count``; "per_ft" uses ``runs_ft`` (plate pieces or straight runs); "area" ``area_sqft``.
    """

    name: str
    family: str
    place: str
    schedule: str
    drop: str
    measure: str
    components: tuple[str, ...]
    case_names: tuple[str, ...]
    case_hazards: tuple[str, ...]
    coefficients: NDArray[np.float64]
    ceiling: NDArray[np.float64] | None = None
    count: int = 0
    runs_ft: tuple[float, ...] = ()
    area_sqft: float = 0.0
    species: str = ""
    facts: Facts = field(default_factory=dict)
    steps: tuple[Step, ...] = ()
    trace: PointTrace | None = None

    def values(self, basis: NDArray[np.float64]) -> NDArray[np.float64]:
        """Demands (lots, cases, components) for basis rows (lots, basis); negative means none in that direction."""
        values = forms(self.coefficients, basis)
        return values if self.ceiling is None else np.minimum(values, forms(self.ceiling, basis))


def forms(rows: NDArray[np.float64], basis: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rows times bases, column by column: the last bits of a matrix product depend on how many lots share a batch."""
    flat = rows.reshape(-1, rows.shape[-1])
    out = np.zeros((len(basis), len(flat)))
    for k in np.flatnonzero(flat.any(axis=0)):
        out += basis[:, k, None] * flat[:, k]
    return out.reshape(len(basis), *rows.shape[:2])


@dataclass(frozen=True)
class Member:
    """One connection of a group: the effect of each component, and the sense in which it is a demand."""

    effects: Mapping[str, Effect]
    label: str = ""
    ceiling: Mapping[str, Effect] | None = None


@dataclass(frozen=True)
class PointTrace:
    """What each case of a traced point came from: its member, and the place of its load case among the frame's."""

    use: str
    sign: float
    members: tuple[Member, ...]
    origin: tuple[tuple[int, int], ...]

    def of(self, frame: Frame, case: int) -> tuple[Member, Case, int]:
        """Member, load case and the case's place for one of the point's cases."""
        member, place = self.origin[case]
        return self.members[member], frame.cases(self.use)[place], place


def make_point(
    frame: Frame,
    name: str,
    family: str,
    *,
    place: str,
    schedule: str,
    drop: str,
    measure: str,
    components: Sequence[str],
    members: Sequence[Member],
    use: str = "uplift",
    sign: float = 1.0,
    count: int = 0,
    runs_ft: Sequence[float] = (),
    area_sqft: float = 0.0,
    species: str = "",
    facts: Facts | None = None,
    steps: Sequence[Step] = (),
) -> Point:
    """A point whose demand is the largest over its members; cases that can never govern are left out."""
    cases = frame.cases(use)
    blocks, ceilings = [], []
    for member in members:
        rows = [frame.combine(member.effects.get(c, frame.zero()), use, sign) for c in components]
        blocks.append(np.stack(rows, axis=1))
        if member.ceiling is not None:
            top = [frame.combine(member.ceiling.get(c, frame.zero()), use, sign) for c in components]
            ceilings.append(np.stack(top, axis=1))
    hazards = [case.hazard for case in cases] * len(members)
    rows_all = np.concatenate(blocks)
    tops_all = np.concatenate(ceilings) if ceilings else None
    _, chosen = undominated(rows_all if tops_all is None else np.concatenate([rows_all, tops_all], axis=1), hazards)
    return Point(
        name,
        family,
        place,
        schedule,
        drop,
        measure,
        tuple(components),
        tuple(_case_name(cases, members, i) for i in chosen),
        tuple(hazards[i] for i in chosen),
        rows_all[chosen],
        None if tops_all is None else tops_all[chosen],
        count,
        tuple(runs_ft),
        area_sqft,
        species,
        dict(facts or {}),
        tuple(steps),
        _trace(frame, members, use, sign, chosen),
    )


def _case_name(cases: Sequence[Case], members: Sequence[Member], number: int) -> str:
    """Name of a case counted through all members: its load case, and which member it is of."""
    member, place = divmod(number, len(cases))
    label = members[member].label
    return f"{cases[place].name} [{label}]" if label else cases[place].name


def _trace(frame: Frame, members: Sequence[Member], use: str, sign: float, chosen: Sequence[int]) -> PointTrace | None:
    if not frame.traced:
        return None
    return PointTrace(use, sign, tuple(members), tuple(divmod(i, len(frame.cases(use))) for i in chosen))


def undominated(rows: NDArray[np.float64], hazards: Sequence[str]) -> tuple[NDArray[np.float64], list[int]]:
    """Cases that can govern somewhere: every basis number is at least zero, so a case whose every coefficient is no
    larger than another's of the same hazard never exceeds it. A case that can never be positive is left out, unless
    none is left."""
    flat = rows.reshape(len(rows), -1)
    weight = np.maximum(flat, 0.0).sum(axis=1)
    number = {hazard: n for n, hazard in enumerate(dict.fromkeys(hazards))}
    hazard = np.array([number[h] for h in hazards], dtype=np.int64)
    positive = np.flatnonzero((flat > 0.0).any(axis=1))
    # heavier first: only those can cover; of equal cases the first stays
    order = positive[np.lexsort((positive, -weight[positive]))]
    beaten = _beaten(np.ascontiguousarray(flat[order][:, flat.any(axis=0)]), hazard[order])
    kept = sorted(int(i) for i in order[~beaten]) or [0]
    return rows[kept], kept


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _beaten(rows: NDArray[np.float64], hazard: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which rows one before them of the same hazard covers, but for 1e-12."""
    n, width = rows.shape
    out = np.zeros(n, dtype=np.bool_)
    tried = np.empty(n, dtype=np.int64)  # rows that no other covers exactly: what such a row covers, the other does too
    count = 0
    for j in range(n):
        exactly = False
        for t in range(count):
            i = tried[t]
            if hazard[i] != hazard[j]:
                continue
            covers, exactly = True, True
            for k in range(width):
                if rows[i, k] < rows[j, k]:
                    exactly = False
                    if rows[i, k] < rows[j, k] - 1e-12:
                        covers = False
                        break
            if covers:
                out[j] = True
                break
        if not exactly:
            tried[count] = j
            count += 1
    return out


def rank_demand(point: Point, frame: Frame, storey_weight_lb: Sequence[float]) -> float:
    """Largest component demand at the reference hazards, for ranking only."""
    basis = np.array(
        [
            REFERENCE.get(name, 0.1 * storey_weight_lb[int(name.rsplit("_", 1)[1]) - 1] if name[-1].isdigit() else 0.0)
            for name in frame.basis
        ]
    )
    return float(point.values(basis[None, :]).max())
