"""From demands and allowable loads to usage ratios, and from ratios to the cheapest option that holds.

A usage ratio is the sum over load components of demand / allowable within one load case, then the greatest over
load cases: directions are never combined from their separate maxima. An option passes at ratio <= 1.0, without a
tolerance. "No option passes" is -1, never the first item.

The compiled kernel and the plain numpy reference add in the same order and give the same bits; the reference is for
tests.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numba
import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

#: How the components of one case act together: added up, or each for itself (a list row may say `none`).
Interaction = Literal["sum", "none"]

CHUNK_LOTS = 1024  # bounds the temporaries of the numpy reference
NONE_PASSES = -1


def usage_ratios(
    values: ArrayLike,
    allowable_wind: ArrayLike,
    allowable_seismic: ArrayLike,
    case_hazards: Sequence[str],
    *,
    gravity_allowable: Literal["wind", "seismic"] = "wind",
    interaction: Interaction = "sum",
) -> tuple[FloatArray, IntArray]:
    """Usage ratio of one option at one connection point, and the load case that governs, for every lot.

    `values` (n_lots, cases, components) are demands, in the units of the allowables; a negative demand is no demand.
    An allowable that is missing (NaN) or zero is no capacity: any positive demand on it gives an infinite ratio, and no
    demand gives 0. A missing demand (NaN) makes the ratio NaN, which never passes. Returns `ratio` (n_lots,) and
    `governing_case` (n_lots,): the first case with the greatest ratio, -1 where nothing is demanded or the ratio is
    NaN.
    """
    ratio, case = option_ratios(
        values,
        np.asarray(allowable_wind, dtype=np.float64)[None, :],
        np.asarray(allowable_seismic, dtype=np.float64)[None, :],
        case_hazards,
        gravity_allowable=gravity_allowable,
        interactions=(interaction,),
    )
    return ratio[:, 0], case[:, 0]


def option_ratios(
    values: ArrayLike,
    allowable_wind: ArrayLike,
    allowable_seismic: ArrayLike,
    case_hazards: Sequence[str],
    *,
    gravity_allowable: Literal["wind", "seismic"] = "wind",
    interactions: Sequence[Interaction] | None = None,
    compiled: bool = True,
) -> tuple[FloatArray, IntArray]:
    """`usage_ratios` for many options of one connection point at once.

    Allowables are (options, components); returns two arrays (n_lots, options). `compiled=False` takes
    the numpy reference.
    """
    demand = np.ascontiguousarray(values, dtype=np.float64)
    if demand.ndim != 3:
        raise ValueError(f"demands have shape {demand.shape}; expected (lots, cases, components)")
    wind = _checked_allowable(allowable_wind, demand.shape[2])
    seismic = _checked_allowable(allowable_seismic, demand.shape[2])
    if wind.shape != seismic.shape:
        raise ValueError(f"wind allowables have shape {wind.shape}, seismic {seismic.shape}; expected the same")
    uses_seismic = _case_uses_seismic(case_hazards, demand.shape[1], gravity_allowable)
    each_alone = np.array([kind == "none" for kind in interactions or ("sum",) * len(wind)], dtype=np.bool_)
    if len(each_alone) != len(wind):
        raise ValueError(f"{len(each_alone)} interaction rules for {len(wind)} options; expected one for each option")
    if compiled:
        ratio, governing = _option_ratios_compiled(demand, wind, seismic, uses_seismic, each_alone)
        return ratio, governing
    return _option_ratios_numpy(demand, wind, seismic, uses_seismic, each_alone)


def line_passes(
    ratios_by_point: Sequence[FloatArray],
) -> tuple[BoolArray, FloatArray, IntArray]:
    """Which options pass at ALL points of one schedule line, their worst ratio, and the point that gives it.

    Each array of `ratios_by_point` is (n_lots, options), all with the same options. Returns pass mask, worst ratio and
    index of the worst point, each (n_lots, options). An unknown ratio (NaN) at any point makes the worst ratio NaN.
    """
    if not ratios_by_point:
        raise ValueError("a schedule line without connection points; expected at least one")
    worst = np.array(ratios_by_point[0], dtype=np.float64, copy=True)
    point = np.zeros(worst.shape, dtype=np.int64)
    for index, ratio in enumerate(ratios_by_point[1:], start=1):
        greater = (ratio > worst) | (np.isnan(ratio) & ~np.isnan(worst))
        worst = np.where(greater, ratio, worst)
        point[greater] = index
    return worst <= 1.0, worst, point


def cheapest_passing(ratios: ArrayLike, costs: ArrayLike, order: ArrayLike | None = None) -> IntArray:
    """Index of the cheapest option with ratio <= 1.0 for every lot, or -1 where none passes.

    `ratios` (n_lots, options); `costs` (options,); ties go to the option that stands first in `order` (options,), a
    rank for each option, by default its place in the list. So neither lot order nor sorting details matter.
    """
    ratio = np.asarray(ratios, dtype=np.float64)
    cost = np.asarray(costs)
    if ratio.ndim != 2 or cost.shape != (ratio.shape[1],):
        raise ValueError(f"ratios {ratio.shape} and costs {cost.shape}; expected (lots, options) and (options,)")
    if np.isnan(cost.astype(np.float64)).any():
        raise ValueError("an option has no cost (NaN); expected a cost for every option, or leave the option out")
    rank = np.arange(len(cost)) if order is None else np.asarray(order)
    if rank.shape != cost.shape:
        raise ValueError(f"order has shape {rank.shape}; expected one rank for each of {len(cost)} options")
    sequence = np.lexsort((np.arange(len(cost)), rank, cost))
    if len(sequence) == 0:
        return np.full(len(ratio), NONE_PASSES, dtype=np.int64)
    passes = ratio[:, sequence] <= 1.0
    # argmax of a row without a pass is 0: the mask, not argmax, decides whether there is an answer.
    return np.where(passes.any(axis=1), sequence[passes.argmax(axis=1)], NONE_PASSES).astype(np.int64)


def _checked_allowable(allowable: ArrayLike, components: int) -> FloatArray:
    """Allowables as (options, components), with zero turned into NaN: no capacity in that direction."""
    array = np.ascontiguousarray(allowable, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != components:
        raise ValueError(f"allowables have shape {array.shape}; expected (options, {components} components)")
    if np.isinf(array).any() or (array < 0.0).any():
        raise ValueError("an allowable load is infinite or negative; expected a positive number, or NaN for none")
    return np.where(array == 0.0, np.nan, array)


def _case_uses_seismic(case_hazards: Sequence[str], cases: int, gravity_allowable: str) -> BoolArray:
    if len(case_hazards) != cases:
        raise ValueError(f"{len(case_hazards)} case hazards for {cases} load cases; expected one for each case")
    known = {"wind": False, "seismic": True, "gravity": gravity_allowable == "seismic"}
    unknown = sorted(set(case_hazards) - set(known))
    if unknown:
        raise ValueError(f"case hazard {unknown[0]!r} is not known; expected wind, seismic or gravity")
    return np.array([known[hazard] for hazard in case_hazards], dtype=np.bool_)


def _option_ratios_numpy(
    demand: FloatArray, wind: FloatArray, seismic: FloatArray, uses_seismic: BoolArray, each_alone: BoolArray
) -> tuple[FloatArray, IntArray]:
    """Reference: chunks of lots, one option at a time, components added in their stated order."""
    n_lots, _, components = demand.shape
    ratio = np.zeros((n_lots, len(wind)))
    governing = np.full((n_lots, len(wind)), -1, dtype=np.int64)
    if demand.shape[1] == 0:
        return ratio, governing
    for start in range(0, n_lots, CHUNK_LOTS):
        part = slice(start, start + CHUNK_LOTS)
        for option in range(len(wind)):
            total = np.zeros(demand[part].shape[:2])
            for component in range(components):
                allowable = np.where(uses_seismic, seismic[option, component], wind[option, component])
                term = _component_ratio(demand[part, :, component], allowable)
                total = np.maximum(total, term) if each_alone[option] else total + term
            worst = total.max(axis=1)
            ratio[part, option] = worst
            governing[part, option] = np.where(worst > 0.0, total.argmax(axis=1), -1)
    return ratio, governing


def _component_ratio(demand: FloatArray, allowable: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore"):
        term = np.where(demand > 0.0, demand / allowable, 0.0)
    term = np.where(np.isnan(term), np.inf, term)
    return np.where(np.isnan(demand), np.nan, term)


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _option_ratios_compiled(
    demand: FloatArray, wind: FloatArray, seismic: FloatArray, uses_seismic: BoolArray, each_alone: BoolArray
) -> tuple[FloatArray, IntArray]:
    n_lots, cases, components = demand.shape
    ratio = np.zeros((n_lots, len(wind)))
    governing = np.full((n_lots, len(wind)), -1, dtype=np.int64)
    for lot in range(n_lots):
        for option in range(len(wind)):
            worst = 0.0
            worst_case = -1
            for case in range(cases):
                total = 0.0
                for component in range(components):
                    value = demand[lot, case, component]
                    if np.isnan(value):
                        total = np.nan
                        break
                    if value > 0.0:
                        allowable = seismic[option, component] if uses_seismic[case] else wind[option, component]
                        term = np.inf if np.isnan(allowable) else value / allowable
                        if each_alone[option]:
                            total = max(total, term)
                        else:
                            total += term
                if np.isnan(total):
                    worst = np.nan
                    worst_case = -1
                    break
                if total > worst:
                    worst = total
                    worst_case = case
            ratio[lot, option] = worst
            governing[lot, option] = worst_case
    return ratio, governing
