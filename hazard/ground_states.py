"""The ground upwind as a tract is built: today, after each phase, built out; and which of them a lot is designed for.

Roughness is a matter of time (ASCE 7-16 26.7 speaks of the ground as it is; whether houses that are not yet there may
count is the authority's decision). Phase polygons are laid over the land cover: a phase that is built is roughness B,
one that is not is a bare graded pad, C, whatever the land cover shows there now. Water inside a phase stays water.

A lot of phase p is designed when phase p is being built: the phases before it stand, its own and later ones do not.
That is its state `at permit`. `worst` is the most exposed of all named states, for a builder who may still change the
order of the phases.

All states come from one count of the cells: the cells of each phase are counted apart and added where the phase stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING

import numpy as np

from hazard.exposure import (
    ExposureResult,
    ExposureRules,
    Fetch,
    Flips,
    exposure_at_height,
    flipping_lots,
    measure_fetch_states,
    pick_per_lot,
)
from hazard.issues import InputError, Issue
from hazard.land_cover import RoughnessMap, cells_within, shapes_into

if TYPE_CHECKING:
    import pyproj
    from shapely.geometry.base import BaseGeometry

TODAY, BUILT_OUT, WORST, AT_PERMIT = "today", "built out", "worst", "at permit"
_AFTER = "after "
_SEVERITY = {"B": 0, "C": 1, "?": 2, "D": 3}


@dataclass(frozen=True)
class PhasePlan:
    """Phases of a tract in the order they are built, with the ground each covers.

    shapes: the polygons of each phase. built: does it stand today. crs: CRS of the polygons (None: the raster's).
    """

    names: tuple[str, ...] = ()
    shapes: tuple[tuple[BaseGeometry, ...], ...] = ()
    built: tuple[bool, ...] = ()
    crs: pyproj.CRS | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        """Refuse a plan whose parts do not fit together."""
        if not len(self.names) == len(self.shapes) == len(self.built):
            raise ValueError("PhasePlan: names, shapes and built differ in length")


def phase_plan(
    polygons: Iterable[BaseGeometry],
    phases: Iterable[str],
    order: Sequence[str] | None = None,
    *,
    built: Iterable[str] = (),
    crs: pyproj.CRS | None = None,
    where: str = "phases",
) -> PhasePlan:
    """A phase plan from rows of a layer: polygon and phase name, and the build order (default: sorted names).

    Raises InputError with every fault: a phase that is not in the order, an order name without ground, names twice.
    """
    rows = [(str(name), polygon) for polygon, name in zip(polygons, phases, strict=True)]
    present = sorted({name for name, _ in rows})
    ordered = [str(name) for name in order] if order is not None else present
    stands = {str(name) for name in built}
    faults = [
        *_named(where, sorted(set(present) - set(ordered)), "phases that the build order does not name", ordered),
        *_named(where, sorted(set(ordered) - set(present)), "phases in the build order without a polygon", present),
        *_named(
            where, sorted({n for n in ordered if ordered.count(n) > 1}), "phases twice in the build order", present
        ),
        *_named(where, sorted(stands - set(ordered)), "built phases that the build order does not name", ordered),
    ]
    if faults:
        raise InputError(faults)
    shapes = tuple(tuple(polygon for name, polygon in rows if name == phase) for phase in ordered)
    return PhasePlan(tuple(ordered), shapes, tuple(name in stands for name in ordered), crs)


def _named(where: str, names: list[str], what: str, legal: Sequence[str]) -> list[Issue]:
    if not names:
        return []
    expected = f"phases among {', '.join(legal)}"
    return [Issue("PHASE_ORDER", "stop", where, f"{what}: {', '.join(names)}", expected, "nothing was computed")]


def state_names(plan: PhasePlan) -> tuple[str, ...]:
    """Names of the states, from today to built out."""
    return (TODAY, *(f"{_AFTER}{name}" for name in plan.names), BUILT_OUT)


def built_in_states(plan: PhasePlan) -> np.ndarray:
    """Which phases stand in each state, in the order of `state_names`: (states, phases) bool."""
    n = len(plan.names)
    today = np.array(plan.built, dtype=np.bool_).reshape(n)
    after = [today | (np.arange(n) <= last) for last in range(n)]
    return np.array([today, *after, np.ones(n, dtype=np.bool_)], dtype=np.bool_).reshape(n + 2, n)


def phase_of_cells(ground: RoughnessMap, plan: PhasePlan) -> np.ndarray:
    """Number of the phase whose ground a cell's centre lies on, -1 for none: (rows, cols). Overlap: the later phase."""
    phase = np.full(ground.roughness.shape, -1, dtype=np.int16)
    for number, shapes in enumerate(plan.shapes):
        for shape in shapes_into(shapes, plan.crs, ground.crs):
            phase[cells_within(shape, ground.transform, phase.shape)] = number
    return phase


@dataclass(frozen=True)
class StateFetch:
    """Fetch of every lot in every state of the ground, and with one phase left out at build-out."""

    plan: PhasePlan
    fetch: Mapping[str, Fetch]  # state -> fetch
    without: Mapping[str, Fetch]  # phase -> fetch of the tract built out but for that phase


def measure_states(
    ground: RoughnessMap,
    plan: PhasePlan,
    points_xy: np.ndarray,
    points_crs: pyproj.CRS,
    rules: ExposureRules | None = None,
    *,
    greatest_height_ft: float = 30.0,
    workers: int = 1,
) -> StateFetch:
    """Count the ground around every lot once and measure its fetch in every state. points_xy: (n, 2) in points_crs."""
    n = len(plan.names)
    states = built_in_states(plan)
    left_out = ~np.eye(n, dtype=np.bool_)
    built, which = np.unique(np.vstack([states, left_out]), axis=0, return_inverse=True)
    fetch = measure_fetch_states(
        ground, phase_of_cells(ground, plan) if n else None, built, points_xy, points_crs, rules,
        greatest_height_ft=greatest_height_ft, workers=workers,
    )  # fmt: skip
    each = [fetch[row] for row in which.ravel()]
    names = state_names(plan)
    return StateFetch(
        plan,
        dict(zip(names, each[: len(names)], strict=True)),
        dict(zip(plan.names, each[len(names) :], strict=True)),
    )


def exposure_states(states: StateFetch, height_ft: np.ndarray | float) -> dict[str, ExposureResult]:
    """Exposure of every lot in every state, from today to built out, at the mean roof height of its plan."""
    done: dict[int, ExposureResult] = {}
    results: dict[str, ExposureResult] = {}
    for name, fetch in states.fetch.items():
        if id(fetch) not in done:
            done[id(fetch)] = exposure_at_height(fetch, height_ft)
        results[name] = done[id(fetch)]
    return results


def resolve_state(plan: PhasePlan, ground_state: str) -> str:
    """The state a user's word means: 'worst', 'at permit', 'today', 'built out', or a phase (after it is built)."""
    if ground_state in (WORST, AT_PERMIT, *state_names(plan)):
        return ground_state
    if ground_state in plan.names:
        return f"{_AFTER}{ground_state}"
    legal = ", ".join((WORST, AT_PERMIT, TODAY, *plan.names, BUILT_OUT))
    raise ValueError(f"ground_state: {ground_state!r}; expected one of {legal}")


def permit_state(plan: PhasePlan, lot_phase: Sequence[str] | np.ndarray) -> np.ndarray:
    """Number (in `state_names`) of the state in which each lot is built: (n,). Lots of no listed phase: today.

    Phase p is built when the phases before it in the order stand: after the one before, or today for the first.
    A phase flagged as built has no permit ahead; its lots see the ground of today.
    """
    number = {name: place for place, name in enumerate(plan.names) if not plan.built[place]}
    return np.array([number.get(str(phase), 0) for phase in lot_phase], dtype=np.int64)


def design_exposure(
    results: Mapping[str, ExposureResult],
    plan: PhasePlan,
    ground_state: str = WORST,
    lot_phase: Sequence[str] | np.ndarray | None = None,
) -> tuple[ExposureResult, np.ndarray]:
    """Exposure in the design state, and the name of the state each lot got: (result, (n,) text).

    'worst': for each lot the most exposed of all states; at a tie the one with less rough ground, then the earlier one.
    'at permit': for each lot the state in which its phase is built (needs lot_phase).
    """
    state = resolve_state(plan, ground_state)
    names = list(results)
    ordered = [results[name] for name in names]
    n = ordered[0].exposure.shape[0]
    if state == WORST:
        which = _most_exposed(ordered)
    elif state == AT_PERMIT:
        if lot_phase is None:
            raise ValueError("ground_state 'at permit' needs the phase of every lot")
        which = permit_state(plan, lot_phase)
    else:
        which = np.full(n, names.index(state), dtype=np.int64)
    return pick_per_lot(ordered, which), np.array(names)[which]


def _severity(letters: np.ndarray) -> np.ndarray:
    out = np.zeros(letters.shape)
    for letter, rank in _SEVERITY.items():
        out[letters == letter] = rank
    return out


def _most_exposed(results: Sequence[ExposureResult]) -> np.ndarray:
    """Number of the most exposed result for each lot: (n,)."""
    severity = np.stack([_severity(result.exposure) for result in results])
    share = np.stack([np.nan_to_num(result.rough_share_min, nan=0.0) for result in results])
    # The share is at most 1, so it only orders results with the same letter.
    return np.asarray(np.argmax(np.round(severity * 2.0 - share, 12), axis=0))


def letters_by_state(results: Mapping[str, ExposureResult]) -> dict[str, np.ndarray]:
    """The worst letter of every lot in each state: state -> (n,)."""
    return {name: result.exposure for name, result in results.items()}


def state_texts(results: Mapping[str, ExposureResult]) -> np.ndarray:
    """The worst letter in every state as one text, "today C; after 1 C; built out B": (n,)."""
    names = list(results)
    letters = np.stack([result.exposure.astype("<U1") for result in results.values()], axis=1)
    distinct, place = np.unique(letters.view(f"<U{letters.shape[1]}")[:, 0], return_inverse=True)
    rows = [row.ljust(len(names)) for row in distinct.tolist()]  # an empty letter at the end is cut off
    words = ["; ".join(f"{n} {c.strip(chr(0))}" for n, c in zip(names, row, strict=True)) for row in rows]
    return np.array(words, dtype=object)[place]


def design_flips(
    states: StateFetch,
    height_ft: np.ndarray | float,
    ground_state: str,
    named: np.ndarray,
    *,
    share_band: float = 0.10,
    distance_band_ft: float = 100.0,
) -> Flips:
    """Design letters under stricter and looser readings (see `flipping_lots`), each reading with its own worst state.

    named: (n,) the state each lot got from `design_exposure`; it stays that of the lot unless ground_state is 'worst'.
    """
    done: dict[int, Flips] = {}
    for fetch in states.fetch.values():
        if id(fetch) not in done:
            done[id(fetch)] = flipping_lots(fetch, height_ft, share_band=share_band, distance_band_ft=distance_band_ft)
    each = [done[id(fetch)] for fetch in states.fetch.values()]
    names = list(states.fetch)
    lots = np.arange(named.shape[0])
    kept = np.array([names.index(str(name)) for name in named], dtype=np.int64)

    def reading(name: str) -> dict[str, np.ndarray]:
        letters = np.stack([getattr(flips, name) for flips in each])
        bearings = np.stack([getattr(flips, f"{name}_deg") for flips in each])
        which = np.argmax(_severity(letters), axis=0) if ground_state == WORST else kept
        return {name: letters[which, lots], f"{name}_deg": bearings[which, lots]}

    names_of_readings = [item.name for item in fields(Flips) if not item.name.endswith("_deg")]
    return Flips(**{key: values for name in names_of_readings for key, values in reading(name).items()})


def depends_on_phase(
    states: StateFetch,
    height_ft: np.ndarray | float,
    lot_phase: Sequence[str] | np.ndarray,
    results: Mapping[str, ExposureResult] | None = None,
) -> np.ndarray:
    """Other phases that a lot's letter depends on, in build order, joined by a comma: (n,) text, '' = none.

    A phase counts when building it, in the order, changes the lot's letter, or when leaving it out of the built-out
    tract does. The lot's own phase is not named.
    """
    plan = states.plan
    results = exposure_states(states, height_ft) if results is None else results
    own = np.array([str(phase) for phase in lot_phase], dtype=object)
    names = state_names(plan)
    depends = np.full(own.shape, "", dtype=object)
    for number, phase in enumerate(plan.names):
        before, after = results[names[number]].exposure, results[names[number + 1]].exposure
        without = exposure_at_height(states.without[phase], height_ft).exposure
        changed = ((before != after) | (without != results[BUILT_OUT].exposure)) & (own != phase)
        depends[changed] = [f"{text},{phase}" if text else phase for text in depends[changed]]
    return depends.astype(str)
