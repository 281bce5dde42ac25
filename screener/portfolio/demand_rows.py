"""Rows of the demands table, lot by lot in load-path order, laid out as plain arrays without any text.

What a row says is what `result_tables` says for a tract, value for value; texts are numbers into `common.Texts`.
Compiled, one loop without temporaries, since a lot has some two hundred rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from screener.house_kernels import HouseDemands, HouseRatios
from screener.house_tables import HouseTable
from screener.portfolio.common import House, Lines, Texts, place_in
from screener.result_tables import COMBINED

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
NOTHING = -1
LARGEST = 131_072.0
"""Loads below this keep their two decimals in single precision; a ratio its four below 1,024."""
LARGEST_RATIO = 1_024.0


@dataclass(frozen=True)
class RowPlan:
    """Rows of one lot of a house (slots), and flat tables that each slot looks its numbers up in.

    Per slot: place of its connection, its component (-1: the combination), its demand row, and numbers of its texts.
    Per connection: where its allowables, cases, items and pieces begin in the flat tables.
    """

    slot_point: Ints
    slot_component: Ints
    slot_row: Ints
    point: NDArray[np.int32]
    component: NDArray[np.int32]
    unit: NDArray[np.int32]
    allowable: Floats
    allowable_at: Ints
    options: Ints
    components: Ints
    seismic: NDArray[np.bool_]
    case: NDArray[np.int32]
    case_at: Ints
    item: NDArray[np.int32]
    pieces: NDArray[np.int32]
    option_at: Ints
    line: Ints

    @property
    def slots(self) -> int:
        return len(self.slot_point)


def row_plan(house: House, lines: Lines, texts: Texts) -> RowPlan:
    """The rows of one house."""
    table = house.table
    own = {name: place_in(getattr(texts, name)) for name in ("point", "component", "unit", "case", "item")}
    slots: list[tuple[int, ...]] = []
    row = 0
    for n, p in enumerate(table.points):
        for k, c in enumerate(p.components):
            unit = c.rsplit("_", 1)[-1]
            slots.append((n, k, row, own["point"][p.name], own["component"][c], own["unit"][unit]))
            row += 1
        if len(p.components) > 1 and p.judged:
            slots.append((n, -1, row - 1, own["point"][p.name], own["component"][COMBINED], own["unit"]["ratio"]))
    columns = np.array(slots, dtype=np.int64).reshape(len(slots), 6).T
    cases = [[own["case"][c] for c in p.case_names] for p in table.points]
    items, pieces = _items(house, lines, own["item"])
    point, component, units = (np.ascontiguousarray(c.astype(np.int32)) for c in columns[3:])
    return RowPlan(
        slot_point=np.ascontiguousarray(columns[0]),
        slot_component=np.ascontiguousarray(columns[1]),
        slot_row=np.ascontiguousarray(columns[2]),
        point=point,
        component=component,
        unit=units,
        allowable=np.concatenate([p.allowable.reshape(-1) for p in table.points]),
        allowable_at=_starts([p.allowable.size for p in table.points]),
        options=np.array([p.options for p in table.points], dtype=np.int64),
        components=np.array([len(p.components) for p in table.points], dtype=np.int64),
        seismic=np.array([h == "seismic" for p in table.points for h in p.case_hazards], dtype=np.bool_),
        case=np.array([c for own_cases in cases for c in own_cases], dtype=np.int32),
        case_at=_starts([len(c) for c in cases]),
        item=np.array([i for part in items for i in part], dtype=np.int32),
        pieces=np.array([i for part in pieces for i in part], dtype=np.int32),
        option_at=_starts([len(part) for part in items]),
        line=np.array([p.line if p.judged else NOTHING for p in table.points], dtype=np.int64),
    )


def _starts(sizes: list[int]) -> Ints:
    return np.concatenate([[0], np.cumsum(sizes)])[:-1].astype(np.int64)


def _items(house: House, lines: Lines, number: dict[str, int]) -> tuple[list[list[int]], list[list[int]]]:
    """Text and pieces of every option at every connection."""
    items: list[list[int]] = []
    pieces: list[list[int]] = []
    for p in house.table.points:
        if not p.judged:
            items.append([])
            pieces.append([])
            continue
        items.append([number[lines.item_text(p.line, k)] for k in range(p.options)])
        pieces.append([q.at_point(p.name) for q in house.quantities[p.line]])
    return items, pieces


def empty_rows(count: int) -> dict[str, NDArray[Any]]:
    """Columns of so many rows, to be filled."""
    kinds: dict[str, Any] = {name: np.int32 for name in ("point", "component", "unit", "case", "item", "quantity")}
    kinds |= {name: np.float32 for name in ("demand", "capacity", "ratio")}
    return {name: np.empty(count, dtype=kind) for name, kind in kinds.items()}


def fill_rows(
    out: dict[str, NDArray[Any]],
    start: Ints,
    plan: RowPlan,
    table: HouseTable,
    demands: HouseDemands,
    ratios: HouseRatios,
    category: Ints,
    options: Ints,
) -> None:
    """Write the rows of the lots of one house. `start` (lots,): first row of each; `options` (lots, lines)."""
    assert demands.largest is not None
    assert demands.case is not None
    top = max(float(np.max(demands.largest, initial=0.0)), float(np.nanmax(plan.allowable, initial=0.0)))
    if not top < LARGEST:
        raise ValueError(f"house {table.key}: a load of {top:,.0f}; expected less than {LARGEST:,.0f}")
    at_point = np.where(plan.line >= 0, options[:, plan.line], NOTHING)
    _fill(
        start, demands.largest, demands.case, ratios.ratio, ratios.ratio_case, at_point,
        table.set_of_category[category],
        plan.slot_point, plan.slot_component, plan.slot_row, plan.point, plan.component, plan.unit,
        plan.allowable, plan.allowable_at, plan.options, plan.components, plan.seismic, plan.case, plan.case_at,
        plan.item, plan.pieces, plan.option_at, plan.line,
        out["point"], out["component"], out["unit"], out["demand"], out["capacity"], out["ratio"], out["case"],
        out["item"], out["quantity"],
    )  # fmt: skip


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _fill(
    start: Ints,
    largest: Floats,
    case: NDArray[np.int16],
    ratio: Floats,
    ratio_case: NDArray[np.int16],
    at_point: Ints,
    held: Ints,
    slot_point: Ints,
    slot_component: Ints,
    slot_row: Ints,
    point: NDArray[np.int32],
    component: NDArray[np.int32],
    unit: NDArray[np.int32],
    allowable: Floats,
    allowable_at: Ints,
    options: Ints,
    components: Ints,
    seismic: NDArray[np.bool_],
    case_text: NDArray[np.int32],
    case_at: Ints,
    item: NDArray[np.int32],
    pieces: NDArray[np.int32],
    option_at: Ints,
    line: Ints,
    out_point: NDArray[np.int32],
    out_component: NDArray[np.int32],
    out_unit: NDArray[np.int32],
    out_demand: NDArray[np.float32],
    out_capacity: NDArray[np.float32],
    out_ratio: NDArray[np.float32],
    out_case: NDArray[np.int32],
    out_item: NDArray[np.int32],
    out_quantity: NDArray[np.int32],
) -> None:
    """One row for each lot and slot; `at_point` (lots, connections) is the chosen option, -1 none."""
    for i in range(len(start)):
        for s in range(len(slot_point)):
            r = start[i] + s
            p, k = slot_point[s], slot_component[s]
            chosen = at_point[i, p]
            own = ratio[i, p]
            judged = line[p] >= 0
            demand, capacity, share, text = np.nan, np.nan, np.nan, -1
            if k < 0:
                if np.isfinite(own):
                    demand = own
                if chosen >= 0:
                    capacity = 1.0
                    if np.isfinite(own):
                        share = own
                if ratio_case[i, p] >= 0:
                    text = case_text[case_at[p] + ratio_case[i, p]]
            else:
                c = case[i, slot_row[s]]
                demand = largest[i, slot_row[s]]
                text = case_text[case_at[p] + c]
                if chosen >= 0:
                    h = 1 if seismic[case_at[p] + c] else 0
                    n, m = options[p], components[p]
                    capacity = allowable[allowable_at[p] + ((held[i] * 2 + h) * n + chosen) * m + k]
                    if m == 1 and judged:
                        if np.isfinite(own):
                            share = own
                    elif capacity > 0.0:
                        share = demand / capacity
                    elif not demand > 0.0:
                        share = 0.0
            out_point[r], out_component[r], out_unit[r] = point[s], component[s], unit[s]
            out_demand[r] = np.rint(demand * 100.0) / 100.0 + 0.0
            out_capacity[r] = np.rint(capacity * 100.0) / 100.0 + 0.0
            out_ratio[r] = np.rint(share * 10000.0) / 10000.0 + 0.0
            out_case[r] = text
            if chosen >= 0:
                out_item[r], out_quantity[r] = item[option_at[p] + chosen], pieces[option_at[p] + chosen]
            else:
                out_item[r], out_quantity[r] = -1, -1
