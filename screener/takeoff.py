"""A count list from outside against ours, and waste learnt from as-built counts.

Net pieces are compared: per house of a plan where the list names plans, for one lot where it names lots, else for all
lots with a package. As-built rows (bought, used, returned) say what was used; beyond our net count that is waste.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from hazard.issues import InputError, Issue, Issues
from hazard.table_rows import TableForm, decoded, read_table
from screener.count_lists import CountRow
from screener.kits import BOUGHT, FIRM
from screener.price_list import MILLION, millionths
from screener.shortage import bill_item_of, suggestion

if TYPE_CHECKING:
    from screener.purchase_case import PurchaseCase

TOLERANCE = 0.02
ITEMS = TableForm("HARDWARE", {"item": "name of the item"}, ("item", "bill_item", "waste"))
Scope = tuple[str, str, str]
"""Plan, phase and lot that a row counts; blanks: all."""


class OurCounts:
    """Our net pieces by kit, and how many houses of each scope take which kit."""

    def __init__(self, case: PurchaseCase) -> None:
        self.lots = pd.concat([case.lots_of(FIRM), case.lots_of(BOUGHT)], ignore_index=True)
        items = case.kit_items.groupby(["kit", "item"], sort=True)["quantity"].sum()
        self.by_kit: dict[str, dict[str, int]] = {}
        counts: dict[Any, Any] = items.to_dict()
        for (kit, item), n in counts.items():
            self.by_kit.setdefault(str(kit), {})[str(item)] = int(n)

    def kits(self, scope: Scope) -> dict[str, int]:
        """Houses by kit in a scope."""
        plan, phase, lot = scope
        here = self.lots
        if plan:
            here = here[here["plan"].str.casefold() == plan.casefold()]
        if phase:
            here = here[here["phase"] == phase]
        if lot:
            here = here[here["lot_id"] == lot]
        return {str(k): int(n) for k, n in here["kit"].value_counts().sort_index().items()}

    def items(self, kits: Mapping[str, int]) -> set[str]:
        return {item for kit in kits for item in self.by_kit.get(kit, {})}

    def range_of(self, kits: Mapping[str, int], item: str) -> tuple[int, int, float, int]:
        """Least, most and mean of one house, and the total, of an item."""
        each = [self.by_kit.get(kit, {}).get(item, 0) for kit in kits]
        houses = sum(kits.values())
        total = sum(n * kits[kit] for n, kit in zip(each, kits, strict=True))
        return min(each, default=0), max(each, default=0), total / houses if houses else 0.0, total


def compare_counts(case: PurchaseCase, rows: Sequence[CountRow], tolerance: float = TOLERANCE) -> list[dict[str, Any]]:
    """Their counts against ours, row by row of (scope, item), and what they left out. Counts of one item are added."""
    ours = OurCounts(case)
    given: dict[Scope, dict[str, float]] = {}
    out = []
    for row in rows:
        if math.isnan(row.quantity):
            continue
        scope = (row.plan, row.phase, row.lot_id)
        item = bill_item_of(case, row.item)
        if item is None:
            near = suggestion(case, row.item)
            advice = f"did you mean '{near}'?" if near else "no item of the list is like it"
            out.append(_said(scope, row.item, row.quantity, 0.0, "unknown item", advice))
            continue
        counts = given.setdefault(scope, {})
        counts[item] = counts.get(item, 0.0) + row.quantity
    for scope, counts in given.items():
        kits = ours.kits(scope)
        if not kits:
            out += [
                _said(scope, i, n, 0.0, "no such lots", "no lot of ours has this plan, phase or id")
                for i, n in counts.items()
            ]
            continue
        for item in sorted(ours.items(kits) | set(counts)):
            out.append(_verdict(case, ours, scope, kits, item, counts.get(item), tolerance))
    rank = {"unknown item": 0, "no such lots": 1, "short": 2, "missing": 3, "over": 4, "not in ours": 5}
    return sorted(out, key=lambda r: (rank.get(r["verdict"], 9), r["plan"], r["phase"], r["lot_id"], r["item"]))


def _verdict(
    case: PurchaseCase,
    ours: OurCounts,
    scope: Scope,
    kits: Mapping[str, int],
    item: str,
    theirs: float | None,
    tolerance: float,
) -> dict[str, Any]:
    least, most, mean, total = ours.range_of(kits, item)
    per_house = bool(scope[0]) and not scope[2]
    own = mean if per_house else float(total)
    words = f"{least:,} to {most:,} a house" if per_house and least != most else ""
    low, high = (least, most) if per_house else (total, total)
    if theirs is None:
        return _said(scope, item, 0.0, own, "missing", words or "not on their list")
    waste = 1.0 + millionths(case.prices.waste(item, case.project_waste)) / MILLION
    if high == 0:
        return _said(scope, item, theirs, own, "not in ours" if theirs else "agrees", words)
    if low * (1 - tolerance) - 1e-9 <= theirs <= high * (1 + tolerance) + 1e-9:
        return _said(scope, item, theirs, own, "agrees", words)
    if low * waste * (1 - tolerance) - 1e-9 <= theirs <= math.ceil(high * waste) * (1 + tolerance) + 1e-9:
        return _said(scope, item, theirs, own, "agrees with waste", words or "ours with its waste")
    return _said(scope, item, theirs, own, "short" if theirs < low else "over", words)


def _said(scope: Scope, item: str, theirs: float, ours: float, verdict: str, detail: str) -> dict[str, Any]:
    plan, phase, lot = scope
    return {
        "plan": plan,
        "phase": phase,
        "lot_id": lot,
        "item": item,
        "theirs": theirs,
        "ours": ours,
        "difference": theirs - ours,
        "share": (theirs - ours) / ours if ours else None,
        "verdict": verdict,
        "detail": detail,
    }


def learnt_waste(case: PurchaseCase, rows: Sequence[CountRow]) -> list[dict[str, Any]]:
    """Waste of each item with as-built counts: used over our net count, less one; used = bought - returned if not said.

    Rows of one item are added over their scopes. A use below our count is no waste below 0: it is flagged.
    """
    ours = OurCounts(case)
    used: dict[str, float] = {}
    net: dict[str, float] = {}
    unknown = []
    for row in rows:
        amount = (
            row.used if not math.isnan(row.used) else row.bought - (0.0 if math.isnan(row.returned) else row.returned)
        )
        if math.isnan(amount):
            continue
        item = bill_item_of(case, row.item)
        if item is None:
            near = suggestion(case, row.item)
            expected = f"'{near}' (the nearest)" if near else "an item of the hardware list"
            unknown.append(Issue("counts_item", "stop", f"counts row {row.row}", f"'{row.item}'", expected, ""))
            continue
        kits = ours.kits((row.plan, row.phase, row.lot_id))
        used[item] = used.get(item, 0.0) + amount
        net[item] = net.get(item, 0.0) + ours.range_of(kits, item)[3]
    if unknown:
        raise InputError(unknown)
    out = []
    for item in sorted(used):
        learnt = used[item] / net[item] - 1.0 if net[item] else None
        verdict = (
            "no house of ours takes it" if learnt is None else "used less than counted" if learnt < 0 else "learnt"
        )
        if learnt is not None and learnt > 1.0:
            verdict = "more than twice the count: not learnt"
        out.append(
            {
                "item": item,
                "net": net[item],
                "used": used[item],
                "listed_waste": float(case.prices.waste(item, case.project_waste)),
                "learnt_waste": None if learnt is None or learnt > 1.0 else round(max(0.0, learnt), 4),
                "verdict": verdict,
            }
        )
    return out


def write_learnt(source: Path, target: Path, learnt: Sequence[Mapping[str, Any]]) -> int:
    """Copy a hardware list with the learnt waste in its column `waste`; every other cell stays. Rows changed."""
    found = {str(r["item"]): r["learnt_waste"] for r in learnt if r["learnt_waste"] is not None}
    issues = Issues()
    read_table(source, ITEMS, issues)  # a list that is no table is refused with its faults
    issues.raise_stops()
    lines = decoded(source.read_bytes(), source.name, ITEMS, issues).splitlines(keepends=True)
    notes = [line for line in lines if line.startswith("#")]
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    head = [name.strip() for name in rows[0]]
    if "waste" not in head:
        head.append("waste")
        rows[0] = [*rows[0], "waste"]
    item, bill, waste = head.index("item"), head.index("bill_item") if "bill_item" in head else -1, head.index("waste")
    changed = 0
    for row in rows[1:]:
        row += [""] * (len(head) - len(row))
        name = (row[bill].strip() if bill >= 0 else "") or row[item].strip()
        if name in found:
            row[waste] = f"{found[name]:g}"
            changed += 1
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    target.write_text("".join(notes) + text.getvalue(), encoding="utf-8", newline="")
    return changed
