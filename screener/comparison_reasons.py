"""Why a lot has another package after a change: its house, its ground, its demands, the list, or the choice itself.

Read from the tables of two runs. The first of these that changed is the reason; the words name what changed and the
connection whose demand or capacity moved most.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

HOUSE = ("plan", "style", "options", "mirrored")
GROUND = (
    "ground_state", "wind_speed_mph", "exposure", "kzt", "ke", "sds_g", "sd1_g", "sdc", "sdc_irc", "ground_snow_psf",
    "q_envelope_psf", "q_components_psf",
)  # fmt: skip
KINDS = {
    "house": "another house",
    "ground": "other hazards",
    "demand": "other demands (edition or method)",
    "capacity": "other capacities (hardware list or edition)",
    "served": "served or no longer served",
    "packages": "packages chosen anew (prices, number of packages, other lots)",
}
SHOWN_ITEMS = 3


def package_changes(before: Path, after: Path) -> list[dict[str, Any]]:
    """Lots whose package changed its name or whose items changed, with the reason; in order of lots.

    Keys: lot_id, tier (before, after), reason (a key of KINDS), why, items (count of connections with another item),
    cost (before, after; None where there is none), change.
    """
    lots = [_read(folder, "lots").set_index("lot_id") for folder in (before, after)]
    demands = [_read(folder, "demands") for folder in (before, after)]
    both = demands[0].merge(demands[1], on=["lot_id", "point", "component"], suffixes=("_a", "_b"), how="inner")
    by_lot = dict(list(both.groupby("lot_id", sort=False)))
    nothing = both.iloc[:0]
    rows = []
    for lot_id in sorted(set(lots[0].index) & set(lots[1].index)):
        first, second = lots[0].loc[lot_id], lots[1].loc[lot_id]
        found = by_lot.get(lot_id, nothing)
        items = found[found["item_a"] != found["item_b"]].drop_duplicates("point")
        if first["tier"] == second["tier"] and not len(items):
            continue
        kind, why = _reason(first, second, found)
        cost = [float(row["total_cost"]) if row["total_cost"] else None for row in (first, second)]
        rows.append(
            {
                "lot_id": str(lot_id),
                "tier": [str(first["tier"]), str(second["tier"])],
                "reason": kind,
                "why": why + _items_words(items),
                "items": len(items),
                "cost": cost,
                "change": round((cost[1] or 0.0) - (cost[0] or 0.0), 2),
            }
        )
    return rows


def _read(folder: Path, table: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{table}.csv", dtype="str", keep_default_na=False, encoding="utf-8")


def _reason(first: Any, second: Any, found: pd.DataFrame) -> tuple[str, str]:
    house = [f"{n} {first[n] or '(none)'} to {second[n] or '(none)'}" for n in HOUSE if first[n] != second[n]]
    if house:
        return "house", "; ".join(house)
    ground = [f"{n} {first[n] or '?'} to {second[n] or '?'}" for n in GROUND if first[n] != second[n]]
    demand = _largest(found, "demand")
    if ground:
        return "ground", "; ".join(ground) + (f"; {demand}" if demand else "")
    if demand:
        return "demand", demand
    capacity = _largest(found[found["item_a"] == found["item_b"]], "capacity")
    if capacity:
        return "capacity", capacity
    if bool(first["tier"]) != bool(second["tier"]):
        return "served", f"status {first['status']} to {second['status']}"
    return "packages", "house, hazards, demands and capacities are the same"


def _largest(found: pd.DataFrame, name: str) -> str:
    """The connection whose number moved most against what holds there; those with another item before all others."""
    changed = found[(found[f"{name}_a"] != found[f"{name}_b"]) & (found["component"] != "combined")]
    swapped = changed[changed["item_a"] != changed["item_b"]]
    changed = swapped if len(swapped) else changed
    if not len(changed):
        return ""
    a, b, held = (
        pd.to_numeric(changed[column], errors="coerce").to_numpy(dtype=float)
        for column in (f"{name}_a", f"{name}_b", "capacity_a")
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        moved = np.nan_to_num(np.abs(b - a) / np.where(held > 0, held, np.inf))
    row = changed.iloc[int(moved.argmax())]
    unit = f" {row['unit_b']}" if row["unit_b"] else ""
    return f"{name} at {row['point']} {row[f'{name}_a'] or '?'} to {row[f'{name}_b'] or '?'}{unit}"


def _items_words(items: pd.DataFrame) -> str:
    if not len(items):
        return ""
    pairs = items.groupby(["item_a", "item_b"], sort=False).size().sort_values(ascending=False, kind="stable")
    counted = zip(pairs.index.tolist(), pairs.tolist(), strict=True)
    shown = [f"{pair[0] or 'none'} to {pair[1] or 'none'} (at {n})" for pair, n in counted]
    more = f"; {len(shown) - SHOWN_ITEMS} more" if len(shown) > SHOWN_ITEMS else ""
    return "; items: " + "; ".join(shown[:SHOWN_ITEMS]) + more
