"""Two sets of results side by side: what differs, and which inputs, settings or versions could be why."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import pandas as pd

from hazard.issues import InputError, Issue
from screener.comparison_reasons import package_changes
from screener.files.manifest import read_manifest, refuse_changed

_NOT_COMPARED = ("source_row",)  # where a lot stands in its file says nothing about the lot


def compare(before: Path, after: Path) -> dict[str, Any]:
    """Every change from one results folder to another: lots, bill, exceptions, money, and possible causes.

    Values are compared as they were written, to their declared decimals. Raises InputError for what are no results.
    """
    _refuse_strangers(before, after)
    lots = [_read(folder, "lots").set_index("lot_id") for folder in (before, after)]
    changed = _changed_lots(*lots)
    columns: dict[str, int] = {}
    for lot in changed:
        for name in lot["changes"]:
            columns[name] = columns.get(name, 0) + 1
    money = [sum((Decimal(v) for v in table["total_cost"] if v), Decimal(0)) for table in lots]
    gone, new = _exceptions(before, after)
    return {
        "causes": _causes(before, after),
        "total_cost": {
            "before": f"{money[0]:.2f}",
            "after": f"{money[1]:.2f}",
            "change": f"{money[1] - money[0]:+.2f}",
        },
        "lots_added": sorted(set(lots[1].index) - set(lots[0].index)),
        "lots_removed": sorted(set(lots[0].index) - set(lots[1].index)),
        "columns_changed": dict(sorted(columns.items())),
        "lots_changed": changed,
        "bill_changed": _changed_bill(before, after),
        "package_changes": package_changes(before, after),
        "items": item_changes(*(_orders(folder) for folder in (before, after))),
        "exceptions_gone": gone,
        "exceptions_new": new,
    }


def _refuse_strangers(*folders: Path) -> None:
    faults = [
        Issue("no_results", "stop", str(folder), "no results of screener", "a folder with run.json and lots.csv")
        for folder in folders
        if read_manifest(folder) is None or not (folder / "lots.csv").is_file()
    ]
    if faults:
        raise InputError(faults)
    for folder in folders:
        refuse_changed(folder)


def _read(folder: Path, table: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{table}.csv", dtype="str", keep_default_na=False, encoding="utf-8")


def _changed_lots(before: pd.DataFrame, after: pd.DataFrame) -> list[dict[str, Any]]:
    columns = [name for name in after.columns if name in before.columns and name not in _NOT_COMPARED]
    both = sorted(set(before.index) & set(after.index))
    first, second = before.loc[both, columns], after.loc[both, columns]
    differs = first.to_numpy() != second.to_numpy()
    return [
        {
            "lot_id": both[i],
            "changes": {columns[j]: [first.iat[i, j], second.iat[i, j]] for j in range(len(columns)) if differs[i, j]},
        }
        for i in range(len(both))
        if differs[i].any()
    ]


def _changed_bill(before: Path, after: Path) -> list[dict[str, Any]]:
    """Items whose pieces or cost changed, over all phases, months and deliveries."""
    sums = [_item_sums(_read(folder, "bill_of_materials")) for folder in (before, after)]
    nothing = (Decimal(0), Decimal(0))
    rows = []
    for item in sorted(set(sums[0]) | set(sums[1])):
        first, second = sums[0].get(item, nothing), sums[1].get(item, nothing)
        if first != second:
            pieces, cost = zip(first, second, strict=True)
            rows.append({"item": item, "quantity_with_waste": [str(v) for v in pieces], "cost": [str(v) for v in cost]})
    return rows


def _orders(folder: Path) -> dict[str, tuple[float, float, float]]:
    """Pieces with waste, boxes and dollars of each item of a run."""
    bill = _read(folder, "bill_of_materials")
    names = ("quantity_with_waste", "purchase_units", "cost")
    values = {name: [float(v or 0) for v in bill[name]] for name in names}
    sums: dict[str, tuple[float, float, float]] = {}
    for item, *numbers in zip(bill["item"], *(values[name] for name in names), strict=True):
        had = sums.get(item, (0.0, 0.0, 0.0))
        sums[item] = (had[0] + numbers[0], had[1] + numbers[1], had[2] + numbers[2])
    return sums


def item_changes(
    before: Mapping[str, tuple[float, float, float]], after: Mapping[str, tuple[float, float, float]]
) -> list[dict[str, Any]]:
    """Items whose pieces, boxes or dollars differ, as differences; the largest in money first."""
    rows = []
    for item in sorted(set(before) | set(after)):
        change = [b - a for a, b in zip(before.get(item, (0.0,) * 3), after.get(item, (0.0,) * 3), strict=True)]
        if any(abs(each) > 1e-9 for each in change):
            rows.append({"item": item, "pieces": change[0], "boxes": change[1], "cost": round(change[2], 2)})
    return sorted(rows, key=lambda row: (-abs(row["cost"]), row["item"]))


def _item_sums(bill: pd.DataFrame) -> dict[str, tuple[Decimal, Decimal]]:
    sums: dict[str, tuple[Decimal, Decimal]] = {}
    for item, pieces, cost in zip(bill["item"], bill["quantity_with_waste"], bill["cost"], strict=True):
        had = sums.get(item, (Decimal(0), Decimal(0)))
        sums[item] = (had[0] + Decimal(pieces or 0), had[1] + Decimal(cost or 0))
    return sums


def _exceptions(before: Path, after: Path) -> tuple[list[dict[str, str]], list[dict[str, str]]]:
    sets = []
    for folder in (before, after):
        table = _read(folder, "exceptions")
        sets.append(set(zip(table["lot_id"], table["reason"], strict=True)))
    gone, new = sorted(sets[0] - sets[1]), sorted(sets[1] - sets[0])
    return [{"lot_id": a, "reason": b} for a, b in gone], [{"lot_id": a, "reason": b} for a, b in new]


def _causes(before: Path, after: Path) -> list[str]:
    first, second = read_manifest(before) or {}, read_manifest(after) or {}
    causes = []
    files = [{(r["key"], r["file"]): r["sha256"] for r in m.get("inputs", [])} for m in (first, second)]
    for key in sorted(set(files[0]) | set(files[1])):
        if files[0].get(key) != files[1].get(key) and key[0] != "project file":
            what = "changed" if key in files[0] and key in files[1] else ("added" if key in files[1] else "removed")
            causes.append(f"input {key[1]} ({key[0]}) {what}")
    for section, word in (("settings", "setting"), ("versions", "version of")):
        flat = [_flat(m.get(section, {})) for m in (first, second)]
        for name in sorted(set(flat[0]) | set(flat[1])):
            a, b = flat[0].get(name, "none"), flat[1].get(name, "none")
            if a != b and name != "output.folder":
                causes.append(f"{word} {name}: {a} -> {b}")
    return causes


def _flat(value: Any, prefix: str = "") -> dict[str, str]:
    if isinstance(value, dict):
        return {k: v for key in value for k, v in _flat(value[key], f"{prefix}.{key}" if prefix else str(key)).items()}
    return {prefix: str(value)}
