"""One change on one lot: another plan, its mirror image, or a cancellation, and what it does to money, stock and paper.

Both sides are full runs, so the difference is that of two runs of the project. Beside it stands what happens if the
packages of the first run stay as they are, which is the question on a site where they are bought.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from hazard.issues import InputError, Issue
from screener.comparison import item_changes
from screener.config import Tract
from screener.config_faults import nearest
from screener.pipeline import Prepared, Results, choose, prepare
from screener.result_tables import build_results
from screener.selection import Selection

if TYPE_CHECKING:
    import geopandas as gpd


@dataclass(frozen=True)
class Change:
    """What is changed on a lot; `cancel` takes its plan away (the lot is undecided again)."""

    lot_id: str
    plan: str = ""
    style: str = ""
    options: str | None = None
    mirrored: bool | None = None
    cancel: bool = False

    def apply(self, lots: gpd.GeoDataFrame) -> None:
        """Change the lot in the frame of lots as read. Raises InputError where there is no such lot."""
        ids = [str(each) for each in lots["lot_id"]]
        if self.lot_id not in ids:
            close = nearest(self.lot_id, ids)
            expected = f"{close} (the nearest known)" if close else "a lot of the project"
            raise InputError(Issue("lot_unknown", "stop", "lots", f"no lot '{self.lot_id}'", expected, ""))
        row = lots.index[ids.index(self.lot_id)]
        if self.cancel:
            for name in ("plan", "style", "options"):
                lots.at[row, name] = ""
            lots.at[row, "start"] = None
            return
        if self.plan:
            same = str(lots.at[row, "plan"]).casefold() == self.plan.casefold()
            lots.at[row, "plan"] = self.plan
            # what is not asked for stays with the same plan; another plan may not have it
            lots.at[row, "style"] = self.style or (lots.at[row, "style"] if same else "")
            lots.at[row, "options"] = self.options or (lots.at[row, "options"] if same else "")
        if self.mirrored is not None:
            lots.at[row, "mirrored"] = self.mirrored


@dataclass(frozen=True)
class Run:
    """A run in memory."""

    prepared: Prepared
    selection: Selection
    results: Results

    def lot(self, lot_id: str) -> dict[str, Any]:
        """The lot's row of the lots table."""
        lots = self.results.lots
        row = lots[lots["lot_id"] == lot_id].iloc[0]
        return {str(name): row[name] for name in lots.columns if name != "geometry"}


def run_with(tract: Tract, change: Change | None, progress: Callable[[str], None] = lambda _: None) -> Run:
    """A full run with a change, or without."""
    prepared = prepare(tract, progress=progress, edit=None if change is None else change.apply)
    selection = choose(prepared, progress=progress)
    return Run(prepared, selection, build_results(prepared, selection))


LOT_COLUMNS = (
    "plan", "style", "options", "mirrored", "status", "tier", "ground_state", "exposure", "inside_permit", "fits",
    "hardware_cost", "labour_hours", "total_cost", "flags",
)  # fmt: skip


def difference(before: Run, after: Run, change: Change) -> dict[str, Any]:
    """Money, stock and paper of two runs: the lot, the tract, items up and down, exceptions, packages kept."""
    first, second = before.lot(change.lot_id), after.lot(change.lot_id)
    totals = [float(run.results.lots["total_cost"].fillna(0).sum()) for run in (before, after)]
    orders = [_orders(run.results.bill_of_materials) for run in (before, after)]
    exceptions = [_exceptions(run.results.exceptions) for run in (before, after)]
    return {
        "lot": change.lot_id,
        "changed": {
            n: [_plain(first[n]), _plain(second[n])] for n in LOT_COLUMNS if _plain(first[n]) != _plain(second[n])
        },
        "lot_cost": [_money(first["total_cost"]), _money(second["total_cost"])],
        "tract_cost": [round(totals[0], 2), round(totals[1], 2)],
        "order_cost": [round(sum(c for _, _, c in each.values()), 2) for each in orders],
        "permit": [_permit(first), _permit(second)],
        "packages_kept": packages_kept(before.selection, after, change.lot_id),
        "items": item_changes(orders[0], orders[1]),
        "exceptions_new": sorted(exceptions[1] - exceptions[0]),
        "exceptions_gone": sorted(exceptions[0] - exceptions[1]),
        "other_lots_changed": _others(before, after, change.lot_id),
    }


def packages_kept(before: Selection, after: Run, lot_id: str) -> dict[str, Any]:
    """The cheapest package of the first run that holds on the changed lot, and its cost; tier "" where none does."""
    s = after.selection
    assert s.problem is not None
    if lot_id not in s.problem.lot_ids:
        return {"tier": "", "cost": None}
    lot = s.problem.lot_ids.index(lot_id)
    variant = int(s.problem.lot_variant[lot])
    found = []
    for number, package in enumerate(before.plan.packages):
        named = {
            line: (before.options[n][package[line]].item, before.options[n][package[line]].arrangement)
            for n, line in enumerate(before.lines)
            if line in package
        }
        cost = _cost_on(s, named, lot, variant)
        if cost is not None:
            found.append((cost, number))
    if not found:
        return {"tier": "none", "cost": None}
    cost, number = min(found)
    return {"tier": before.package_names[number], "cost": cost / 100}


def _cost_on(s: Selection, package: dict[str, tuple[str, str]], lot: int, variant: int) -> int | None:
    """Cost of a package on a lot, None where it lacks a line or fails one."""
    assert s.problem is not None
    total = 0
    for n, line in enumerate(s.lines):
        if not s.problem.has_line[variant, n]:
            continue
        options = [o for o, each in enumerate(s.options[n]) if (each.item, each.arrangement) == package.get(line)]
        if not options or not s.problem.passes[n][lot, options[0]]:
            return None
        total += int(s.problem.costs_cents[n][variant, options[0]])
    return total


def _orders(bill: pd.DataFrame) -> dict[str, tuple[float, float, float]]:
    """Pieces with waste, boxes and dollars of each item."""
    if not len(bill):
        return {}
    sums = bill.groupby("item")[["quantity_with_waste", "purchase_units", "cost"]].sum()
    return {str(item): (float(a), float(b), float(c)) for item, a, b, c in sums.itertuples()}


def _exceptions(frame: pd.DataFrame) -> set[tuple[str, str]]:
    return {(str(a), str(b)) for a, b in zip(frame["lot_id"], frame["reason"], strict=True)}


def _others(before: Run, after: Run, lot_id: str) -> list[str]:
    """Other lots whose package changed its name or its contents' cost with the full second run."""
    first, second = (run.results.lots.set_index("lot_id")[["tier", "total_cost"]] for run in (before, after))
    return [
        str(name)
        for name in first.index
        if name != lot_id and [_plain(v) for v in first.loc[name]] != [_plain(v) for v in second.loc[name]]
    ]


def _permit(lot: dict[str, Any]) -> str:
    return {"True": "covered", "False": "not covered"}.get(_plain(lot["inside_permit"]), "no plan or no envelope")


def _money(value: Any) -> float:
    return 0.0 if pd.isna(value) else round(float(value), 2)


def _plain(value: Any) -> str:
    if value is None or value is pd.NaT or (isinstance(value, float) and pd.isna(value)):
        return ""
    return f"{value:.2f}" if isinstance(value, float) else str(value)


def lines_of(found: dict[str, Any]) -> list[str]:
    """The difference for a reader."""
    cost, tract, order = found["lot_cost"], found["tract_cost"], found["order_cost"]
    kept = found["packages_kept"]
    lines = [f"lot {found['lot']}"]
    lines += [f"  {name}: {a or '(blank)'} -> {b or '(blank)'}" for name, (a, b) in found["changed"].items()]
    lines += [
        f"money: lot {_dollars(cost[0])} -> {_dollars(cost[1])}; tract {_signed(tract[1] - tract[0])} with packages "
        f"chosen again; orders {_signed(order[1] - order[0])} in whole boxes",
        f"paper: master set {found['permit'][0]} -> {found['permit'][1]}",
    ]
    if kept["tier"] == "none":
        lines.append("packages as bought: none of them holds on the changed lot")
    elif kept["tier"]:
        lines.append(f"packages as bought: {kept['tier']} holds, {_dollars(kept['cost'])} for the lot")
    lines += [
        f"stock {row['item']}: {row['pieces']:+,.1f} pieces, {row['boxes']:+,.0f} boxes, {_signed(row['cost'])}"
        for row in found["items"]
    ]
    lines += [f"exception new: {a} {b}" for a, b in found["exceptions_new"]]
    lines += [f"exception gone: {a} {b}" for a, b in found["exceptions_gone"]]
    others = found["other_lots_changed"]
    if others:
        lines.append(f"other lots that change with packages chosen again: {', '.join(others[:20])}")
    return lines


def _dollars(value: float) -> str:
    return f"${value:,.2f}"


def _signed(value: float) -> str:
    return f"{'-' if value < 0 else '+'}${abs(value):,.2f}"
