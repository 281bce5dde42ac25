"""The load path of one house, from the roof sheathing to the foundation, as connection points.

Vertical forces go down wall by wall: what a wall receives at its plate, its openings hand by lever to their two ends,
its own weight joins, and the wall below receives the rest at the same place. Racking couples of shear segments travel
beside them as pairs of point forces. Nothing is dropped: ``Books`` holds what entered and what arrived.
"""

from __future__ import annotations

from screener.diaphragms import diaphragm_connections
from screener.house_loads import HouseLoads
from screener.plans import Variant
from screener.porch_connections import porch_connections
from screener.roof_connections import roof_connections
from screener.shear_walls import find_segments, racking_connections
from screener.wall_connections import wall_connections
from screener.wind_states import Axis, Procedure


def trace_load_path(
    variant: Variant, edition: str, method: str, procedure: Procedure = "envelope", roof_ties: str = "main"
) -> HouseLoads:
    """Every connection point of a variant, from the roof down; `points`, `books` and `mass` hold the result.

    roof_ties: "main" (ties by the main wind system) or "components" (by the larger of it and Chapter 30).
    """
    house = HouseLoads(variant, edition, method, procedure, roof_ties)
    roof_connections(house)
    porch_connections(house)
    find_segments(house)
    for storey in reversed(range(len(variant.levels))):
        for wall in variant.walls_of(storey):
            wall_connections(house, wall)
    diaphragm_connections(house)
    racking_connections(house)
    _lateral_books(house)
    return house


def _lateral_books(house: HouseLoads) -> None:
    """What the wind and the shaking put in, and what the lines hand to the ground."""
    axes: tuple[Axis, ...] = ("x", "y")
    for axis in axes:
        levels = [v for (_, a), v in house.lateral.items() if a == axis]
        house.books.shear_entered[axis] = sum((v.own.total() for v in levels), house.frame.zero())
        base = min(levels, key=lambda v: v.storey)
        house.books.shear_arrived[axis] = sum(base.line_force.values(), house.frame.zero())
