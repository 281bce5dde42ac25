"""Pieces, material and labour of one house with one package, from the plan's own counts and lengths."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

Thing = dict[str, Any]


def pieces_at(point: Thing, row: Thing, arrangement: str, about: Thing) -> int:
    """Pieces of an item at one connection."""
    if point["measure"] == "each":
        return point["count"] * int(arrangement.removesuffix(" each"))
    if point["measure"] == "per_ft":
        spacing_ft = float(arrangement.removeprefix("at ").removesuffix(" in")) / 12.0
        return sum(along(run, spacing_ft, point["family"] == "sill_anchor") for run in point["runs"])
    if row["unit"] != "nail":
        return math.ceil(point["area"] - 1e-9)
    # nails of 4 by 8 ft sheets: wall panels on end, roof panels across the framing
    on_end = point["family"] == "wall_sheathing"
    framing = about["stud_spacing_in"] if on_end else point["framing_in"]
    edge, inner = float(row["edge_spacing_in"]), float(row["field_spacing_in"] or 12.0)
    width, height = (48.0, 96.0) if on_end else (96.0, 48.0)
    rows = max(0, math.ceil(width / framing - 1e-9) - 1)
    sheet = round(2.0 * (48.0 + 96.0) / edge) + rows * max(0, math.ceil(height / inner - 1e-9) - 1)
    return math.ceil(point["area"] / 32.0 * sheet - 1e-9)


def along(length_ft: float, spacing_ft: float, bolts: bool) -> int:
    """Pieces along a run, one at each end; bolts within a foot of each end of a plate (IRC R403.1.6)."""
    if not bolts:
        return math.ceil(length_ft / spacing_ft - 1e-9) + 1
    if length_ft <= 1.0 + 1e-9:
        return 0
    if length_ft <= 2.0 + 1e-9:
        return 1
    return max(2, math.ceil((length_ft - 2.0) / spacing_ft - 1e-9) + 1)


def cents(dollars: Decimal) -> int:
    return int((dollars * 100).to_integral_value(rounding=ROUND_HALF_UP))


def bill(
    points: dict[str, Thing], loaded: set[str], package: Thing, hardware: Thing, about: Thing, job: Thing
) -> Thing:
    """Pieces by connection, and material (cents), labour (hours) and total (dollars) of the house."""
    by_point: dict[str, int] = {}
    material, hours = 0, Decimal(0)
    for line, (item, arrangement) in package.items():
        mine = {n: p for n, p in points.items() if p["line"] == line}
        if not mine:
            continue
        if not item:
            by_point |= dict.fromkeys(mine, 0)
            continue
        row = hardware[item]
        counts = {n: pieces_at(p, row, arrangement, about) if n in loaded else 0 for n, p in mine.items()}
        by_point |= counts
        orders = [(row, sum(counts.values()))]
        if row["accessory"] and orders[0][1]:
            share = float(row["accessory_pieces"] or 1.0)
            orders.append((hardware[row["accessory"]], math.ceil(orders[0][1] * share - 1e-9)))
        for what, count in orders:
            waste = Decimal(what["waste"]) if what["waste"] else Decimal(str(job["waste"]))
            material += cents(count * (1 + waste) * Decimal(what["unit_cost"]))
            hours += count * Decimal(what["labour_min"]) / 60
    labour = cents(hours * Decimal(str(job["labour_usd_per_h"])))
    return {
        "pieces": by_point,
        "hardware_cost": material / 100,
        "labour_hours": float(hours),
        "total_cost": (material + labour) / 100,
    }
