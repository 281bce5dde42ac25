"""What stands against a demand: the options of a connection, what the chosen one holds and how hard it works."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from screener import capacities
from screener.calculation.sheet import OptionRow
from screener.capacities import NOT_LISTED
from screener.derivation import Part, Step
from screener.design_method import RESISTANCE_WORDS
from screener.joint_lines import CAST_IN, partner

if TYPE_CHECKING:
    from screener.capacities import Capacity
    from screener.pipeline import Prepared
    from screener.selection import HouseResult, PointResult, Selection


def option_name(s: Selection, r: PointResult, n: int) -> str:
    """An option as the demands table names it."""
    option = s.options[s.line_of(r.point)][n]
    return f"{option.item}, {option.arrangement}" if option.item else option.arrangement


def shown_option(s: Selection, r: PointResult, lot: int, at: int) -> int:
    """The option that a lot's results speak of: the chosen one, else the one that works least hard; -1 without any."""
    chosen = s.chosen(lot, r.point)
    if chosen >= 0:
        return chosen
    return int(r.ratio[at].argmin()) if r.ratio.shape[1] else -1


def line_costs_usd(p: Prepared, s: Selection, house: int, line: int) -> list[float]:
    """What each option of a package line costs for one house, labour included."""
    labour = p.tract.purchase.labour_usd_per_h
    return [q.cost_cents(labour) / 100.0 for q in s.quantities[house][line]]


def option_rows(s: Selection, r: PointResult, lot: int, at: int, costs: Sequence[float]) -> tuple[OptionRow, ...]:
    """Every option of the connection in order of cost (``line_costs_usd``), with its verdict."""
    if not r.ratio.shape[1]:
        return ()
    chosen, line = s.chosen(lot, r.point), s.line_of(r.point)
    limit = costs[chosen] if chosen >= 0 else math.nan
    rows = []
    for n in range(len(costs)):
        held, ratio, case = r.held[int(r.held_of[at])][n], float(r.ratio[at, n]), int(r.ratio_case[at, n])
        governs = r.point.case_names[case] if case >= 0 and math.isfinite(ratio) else ""
        option = s.options[line][n]
        words = _verdict(held, ratio, costs[n], limit, n == chosen, not option.item)
        if option is CAST_IN and n != chosen:
            words = "only beside a hold-down that is its own anchor"
        rows.append(
            (costs[n], n, OptionRow(option_name(s, r, n), n == chosen, costs[n], ratio, governs, words, held.allowable))
        )
    return tuple(row for *_, row in sorted(rows, key=lambda row: row[:2]))


def _verdict(held: Capacity, ratio: float, cost: float, limit: float, chosen: bool, none: bool) -> str:
    if not held.usable:
        return f"not usable: {held.reason}"
    if chosen:
        return "chosen"
    if math.isinf(ratio):
        if none:
            return "not enough here"
        unlisted = [note for note in held.notes if note in NOT_LISTED.values()]
        return unlisted[0] if unlisted else "no capacity in a direction that is needed"
    if not ratio <= 1.0:
        return f"fails: {ratio:.3f}"
    if math.isnan(limit):
        return "holds"
    if cost < limit:
        return f"holds here, ${limit - cost:,.2f} cheaper; must hold wherever the package uses it"
    return f"holds, ${cost - limit:,.2f} dearer" if cost > limit else "holds, same cost"


def ratio_step(
    p: Prepared, s: Selection, r: PointResult, held: Capacity, values: np.ndarray, at: int, n: int
) -> Step | None:
    """The usage ratio as demand over what is held, direction by direction, in the case that gives it."""
    words = RESISTANCE_WORDS[p.tract.design.method]
    case, ratio = int(r.ratio_case[at, n]), float(r.ratio[at, n])
    if case < 0 or not math.isfinite(ratio):
        return None
    hazard = "seismic" if r.point.case_hazards[case] == "seismic" else "wind"
    parts = []
    for k, component in enumerate(r.point.components):
        demand, allowable = float(values[case, k]), held.allowable[hazard].get(component, math.nan)
        if demand > 0 and allowable > 0:
            parts.append(Part(f"{component}: {demand:.6g} / {allowable:.6g}", 1.0, demand / allowable))
    if s.options[s.line_of(r.point)][n] is CAST_IN:
        what, where = "ratio of the least-worked hold-down that is its own anchor", r.point.case_names[case]
        return Step("usage ratio", what, {}, ratio, "", "its own anchor: nothing else is loaded", where)
    alone = held.interaction == "none"
    formula = f"greatest of demand / {words}" if alone else f"sum of demand / {words}"
    source = "hardware list: directions apart" if alone else "NDS 2018 12.4; sum of ratios"
    note = f"{r.point.case_names[case]}; {words} under {hazard}"
    return Step("usage ratio", formula, {}, ratio, "", source, note, tuple(parts))


def capacity_steps(p: Prepared, s: Selection, r: PointResult, n: int, hazard: str, held: int) -> tuple[Step, ...]:
    """How the option's allowable loads come about under a hazard; ``held``: for which of the point's contexts."""
    option = s.options[s.line_of(r.point)][n]
    if option.row < 0 or not r.contexts:
        return ()
    return tuple(capacities.capacity_steps(option, r.point, p.hardware, r.contexts[held], hazard))


def cast_in_step(s: Selection, result: HouseResult, r: PointResult, lot: int) -> Step:
    """What holds where no anchor is bought: the hold-down of the same place, cast into the concrete."""
    held = next(one for one in result.points if one.point.name == partner(r.point.name))
    n = s.chosen(lot, held.point)
    values = {"hold-down": option_name(s, held, n) if n >= 0 else "none chosen"}
    words, source = "no capacity of its own: see the hold-down", "hardware list: needs concrete below"
    return Step("anchor", "cast into the concrete with the hold-down, nothing bought", values, words, "", source)
