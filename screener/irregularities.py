"""Irregularities that the plan's own geometry shows, and the redundancy that its perimeter walls give.

ASCE 7-16 and 7-22 Table 12.3-1 (re-entrant corners) and 12.3.4.2; the open front is residential practice. Flexible
diaphragms: torsional irregularity does not apply (12.3.3). Nothing here changes a force but the redundancy factor.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hazard.issues import Issues
from screener.plans import TOUCH_FT, Axis, Level, Variant

if TYPE_CHECKING:
    from shapely import Polygon

    from screener.demands import DemandModel

AXES: tuple[Axis, ...] = ("x", "y")
CORNER_SHARE = 0.15
"""Both projections beyond a re-entrant corner over this share of the dimension in that direction: ASCE 7-16 Table
12.3-1 type 2 (from memory)."""

OPEN_FRONT_FT = 6.0
"""A floor or roof that reaches further beyond the last shear line than this is an open front (IRC R301.2.2.6, from
memory)."""

GREATEST_ASPECT = 3.5
"""Height to length of a full-height panel piece that may count (SDPWS 2015 Table 4.3.4)."""

BAYS = 2.0
"""Bays of perimeter wall on each side for a redundancy factor of 1.0; a light-frame wall has 2 L / h of them
(12.3.4.2 b, read in a public calculation)."""


CAP_PERIOD_S = 0.5
"""Greatest period for the SDS cap of 12.8.1.3 (read in a public local code text)."""


def horizontal_irregularities(variant: Variant) -> list[str]:
    """What makes a house irregular in plan, in words; empty where nothing does."""
    out = [text for level in variant.levels for text in _corners(level)]
    return out + [text for level in variant.levels for text in _open_fronts(variant, level)]


def _corners(level: Level) -> Iterator[str]:
    """Notches of a storey's outline whose both sides are long (any notch, at a corner or along a side)."""
    from shapely.geometry import box
    from shapely.ops import unary_union

    outline = unary_union([box(*r) for r in level.areas])
    x0, y0, x1, y1 = outline.bounds
    rest = box(x0, y0, x1, y1).difference(outline.buffer(TOUCH_FT, join_style="mitre"))
    notches: list[Polygon] = [g for g in getattr(rest, "geoms", [rest]) if not g.is_empty]
    for notch in sorted(notches, key=lambda g: g.bounds):
        a0, b0, a1, b1 = notch.bounds
        wide, deep = (a1 - a0) / (x1 - x0), (b1 - b0) / (y1 - y0)
        if wide > CORNER_SHARE and deep > CORNER_SHARE:
            yield (
                f"re-entrant corner of storey {level.name}: {100 * wide:.0f} % of the width by {100 * deep:.0f} % of "
                f"the depth"
            )


def _open_fronts(variant: Variant, level: Level) -> Iterator[str]:
    """Sides of a storey that reach far beyond the last shear line parallel to them."""
    for axis in AXES:
        across: Axis = "y" if axis == "x" else "x"
        places = [w.at for w in variant.walls_of(level.index, axis) if w.shear]
        if not places:
            continue
        lo, hi = level.extent(across)
        for beyond, side in ((min(places) - lo, "low"), (hi - max(places), "high")):
            if beyond > OPEN_FRONT_FT:
                where = f"{side} {across} side of storey {level.name}"
                yield f"open front, {where}: {beyond:.1f} ft beyond the last shear line"


def perimeter_bays(variant: Variant) -> dict[tuple[int, Axis, str], float]:
    """Bays 2 L / h of each side of each storey: L the full-height pieces of its exterior shear walls that may count.

    Keys (storey, axis of the walls, "low" or "high" side). 12.3.4.2, light-frame construction.
    """
    out: dict[tuple[int, Axis, str], float] = {}
    for level in variant.levels:
        for axis in AXES:
            lo, hi = level.extent("y" if axis == "x" else "x")
            for side in ("low", "high"):
                out[level.index, axis, side] = 0.0
            for wall in variant.walls_of(level.index, axis):
                if not (wall.shear and wall.exterior):
                    continue
                side = "low" if wall.at < 0.5 * (lo + hi) else "high"
                length = sum(s.length for s in wall.solids() if wall.height_ft <= GREATEST_ASPECT * s.length + 1e-9)
                out[level.index, axis, side] += 2.0 * length / wall.height_ft
    return out


@dataclass(frozen=True)
class Redundancy:
    """What the plan declares (None: nothing), what its geometry gives with the reason, and whether 12.8.1.3 may."""

    declared: float | None
    counted: float
    why: str
    qualifies: bool

    @property
    def used(self) -> float:
        """The plan's declaration, where it makes one, else what its geometry gives."""
        return self.counted if self.declared is None else self.declared


def tell_redundancy(judged: Iterable[tuple[str, Redundancy]], issues: Issues) -> None:
    """Declarations on the safe side of the count, one note a plan; those below it are findings at their lots.

    ``judged``: name of the plan and redundancy of each of its houses.
    """
    by_plan: dict[str, list[Redundancy]] = {}
    for plan, one in judged:
        by_plan.setdefault(plan, []).append(one)
    for plan, houses in sorted(by_plan.items()):
        high = [r for r in houses if r.declared is not None and r.declared > r.counted + 1e-9]
        if high:
            found = f"redundancy = {high[0].declared:g}"
            expected = f"{high[0].counted:g} by 12.3.4.2 (b) for {len(high)} of its {len(houses)} houses: {high[0].why}"
            issues.add("redundancy_high", "note", f"plan {plan}", found, expected, "kept as declared")


def judge_redundancy(model: DemandModel) -> Redundancy:
    """Redundancy of one house, and whether the conditions of 12.8.1.3 that its geometry shows are met."""
    stacked = not any(code == "IRREG_V" for code, _ in model.scope)
    counted, why = counted_redundancy(model.variant, stacked)
    return Redundancy(
        model.variant.plan.plan.redundancy, counted, why, counted <= 1.0 and model.period_s <= CAP_PERIOD_S
    )


def regularity_findings(model: DemandModel) -> list[tuple[str, str]]:
    """Findings of one house that hold in categories D to F: (code, detail)."""
    out = [("IRREG_H", text) for text in horizontal_irregularities(model.variant)]
    judged = judge_redundancy(model)
    if judged.used < judged.counted - 1e-9:
        out.append(("RHO_LOW", f"declared {judged.used:g}, counted {judged.counted:g}: {judged.why}"))
    return out


def counted_redundancy(variant: Variant, stacked: bool) -> tuple[float, str]:
    """Redundancy factor that the plan's geometry gives in categories D to F, and why.

    1.0 by 12.3.4.2 (b): regular in plan and at least two bays of perimeter walls on each side of every storey; else
    1.3. The rule asks only storeys with over 35 % of the base shear; every storey is asked here. Condition (a), loss of
    a single wall, is not tried. ``stacked``: no shear wall of the house stands off the one below.
    """
    if irregular := horizontal_irregularities(variant):
        return 1.3, irregular[0]
    if not stacked:
        return 1.3, "shear walls do not stack"
    bays = perimeter_bays(variant)
    (storey, axis, side), least = min(bays.items(), key=lambda item: (item[1], item[0]))
    text = f"least {least:.1f} bays, storey {storey + 1}, walls along {axis}, {side} side"
    return (1.0 if least >= BAYS - 1e-9 else 1.3), text
