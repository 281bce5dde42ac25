"""How many pieces a house takes: counts from the plan's own geometry, never a length divided by a spacing.

Connections counted one by one; anchors by plate piece with one near each end; other spaced items with one at each end
of every run; nails by panel and schedule (common practice, no source; the panel counts are those of a 4 by 8 ft sheet).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np

from hazard.layers import quantity
from screener.capacity_case import Option
from screener.demands import DemandModel
from screener.hardware import Hardware, HardwareRow
from screener.points import Point
from screener.prices import cents, decimal

PLATE_FAMILIES = ("sill_anchor", "retrofit_anchor")
END_DISTANCE_FT = 1.0
"""A bolt within 12 in. of each end of a plate piece (IRC R403.1.6, read in a public copy)."""

NO_BOLT_FT, ONE_BOLT_FT = 1.0, 2.0
"""Pieces up to 12 in. need no bolt, up to 24 in. one (IRC R403.1.6, read in a public copy)."""

PANEL_FT = (4.0, 8.0)


@dataclass(frozen=True)
class Pieces:
    """Pieces of one item that a house takes for one package line: net, and by connection."""

    row: HardwareRow
    drop: str
    net: int
    by_point: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class HouseQuantities:
    """What one option of one package line means for one house; ``pieces`` is empty for "none needed"."""

    pieces: tuple[Pieces, ...] = ()
    waste: Decimal = Decimal(0)

    def at_point(self, name: str) -> int:
        """Pieces of the item itself (accessories apart) at one connection."""
        return self.pieces[0].by_point.get(name, 0) if self.pieces else 0

    def with_waste(self, p: Pieces) -> Decimal:
        """Pieces with the item's own waste, or the project's where the list gives none."""
        own = p.row.waste
        return p.net * (1 + (self.waste if math.isnan(own) else decimal(own)))

    def material_cents(self) -> int:
        """Pieces with waste at list prices, in whole cents."""
        return sum(cents(self.with_waste(p) * p.row.unit_cost_usd) for p in self.pieces)

    def labour_hours(self) -> Decimal:
        return sum((p.net * decimal(p.row.labour_min) / 60 for p in self.pieces), Decimal(0))

    def cost_cents(self, labour_usd_per_h: float) -> int:
        """Material with waste and labour, in whole cents."""
        return self.material_cents() + cents(self.labour_hours() * decimal(labour_usd_per_h))


def bolts_per_piece(length_ft: float, spacing_in: float) -> int:
    """Anchor bolts of one plate piece: one within 12 in. of each end, the spacing between them held."""
    if length_ft <= NO_BOLT_FT + 1e-9:
        return 0
    if length_ft <= ONE_BOLT_FT + 1e-9:
        return 1
    between = math.ceil((length_ft - 2.0 * END_DISTANCE_FT) / (spacing_in / 12.0) - 1e-9)
    return max(2, between + 1)


def spaced_pieces(length_ft: float, spacing_in: float) -> int:
    """Pieces along a run at a spacing, one at each end."""
    return math.ceil(length_ft / (spacing_in / 12.0) - 1e-9) + 1


def nails_per_panel(edge_in: float, field_in: float, framing_in: float, framing_along: bool) -> int:
    """Nails of one 4 by 8 ft sheet: all edges, and the framing between them.

    ``framing_along``: framing runs the long way (a wall panel on end: 6/12 on studs at 16 in. takes 62).
    """
    across_ft, along_ft = PANEL_FT if framing_along else PANEL_FT[::-1]
    inner = max(0, math.ceil(across_ft * 12.0 / framing_in - 1e-9) - 1)
    edge = round(2.0 * sum(PANEL_FT) * 12.0 / edge_in)
    return edge + inner * max(0, math.ceil(along_ft * 12.0 / field_in - 1e-9) - 1)


def pieces_at(point: Point, option: Option, row: HardwareRow) -> int:
    """Net pieces of an option at one connection point of one house."""
    if point.measure == "each":
        return point.count * option.pieces
    if point.measure == "per_ft":
        count = bolts_per_piece if point.family in PLATE_FAMILIES else spaced_pieces
        return sum(count(run, option.spacing_in) for run in point.runs_ft)
    if row.unit != "nail":
        return math.ceil(point.area_sqft - 1e-9)
    wall = point.family == "wall_sheathing"
    framing = float(point.facts["stud_spacing_in" if wall else "framing_spacing_in"])
    nails = nails_per_panel(row.number("edge_spacing_in"), row.number("field_spacing_in", 12.0), framing, wall)
    return math.ceil(point.area_sqft / (PANEL_FT[0] * PANEL_FT[1]) * nails - 1e-9)


def can_be_loaded(point: Point, column: Mapping[str, int]) -> bool:
    """Whether any hazard the tool admits loads a connection.

    Every hazard number may be as large as it likes, but SDS, in wall anchorage as in vertical shaking, no larger than
    its physical range: without that bound the vertical shaking, which lightens dead load, would "load" every
    connection that dead load alone presses together.
    """
    rows, one = point.coefficients, column["one"]
    sds = [column["sds_g"], column["sds_vertical_g"]]
    positive = np.asarray((rows > 0.0).any(axis=(0, 1)))
    positive[[one, *sds]] = False
    shaken = rows[..., one] + quantity("sds_g").greatest * np.maximum(rows[..., sds], 0.0).sum(axis=-1)
    return bool(positive.any() or (shaken > 0.0).any())


def house_quantities(
    model: DemandModel, line: str, option: Option, hardware: Hardware, waste: float
) -> HouseQuantities:
    """Pieces of an option over every connection of a package line in one house, with what it brings along."""
    if option.row < 0:
        return HouseQuantities()
    row = hardware.rows[option.row]
    # a connection that no case can ever load takes nothing, whatever its package line holds
    loaded = [p for p in model.points if p.schedule == line and p.name in model.loaded]
    by_point = {p.name: pieces_at(p, option, row) for p in loaded}
    drop = row.drop or next((p.drop for p in model.points if p.schedule == line), "")
    own = Pieces(row, drop, sum(by_point.values()), by_point)
    extra = hardware.by_item.get(row.accessory) if row.accessory else None
    if extra is None or not own.net:
        return HouseQuantities((own,), decimal(waste))
    needed = math.ceil(own.net * (row.accessory_pieces if not math.isnan(row.accessory_pieces) else 1.0) - 1e-9)
    return HouseQuantities((own, Pieces(extra, extra.drop or drop, needed)), decimal(waste))
