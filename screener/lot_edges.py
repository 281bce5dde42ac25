"""Edges of lots with their outward directions: the shared ground of fronts (`streets`) and fit (`siting`)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Geometries = NDArray[np.object_]

# Sides of a lot as seen from the street in front of it.
FRONT, RIGHT, REAR, LEFT = 0, 1, 2, 3
SIDE_LETTERS = np.array(["F", "R", "B", "L"])


@dataclass(frozen=True)
class Edges:
    """The outer edges of lots, flattened: lot of each edge, its ends (e, 2), length, and outward bearing."""

    lot: Ints
    start: Floats
    end: Floats
    length: Floats
    bearing_deg: Floats

    @property
    def middle(self) -> Floats:
        """The edges' midpoints (e, 2)."""
        return np.asarray((self.start + self.end) / 2.0)


def outer_edges(parts: Geometries) -> Edges:
    """Edges of single-part polygons (None allowed) in a system whose y points north."""
    rings = shapely.get_exterior_ring(parts)
    xy, owner = shapely.get_coordinates(rings, return_index=True)
    same = owner[:-1] == owner[1:]
    start, end, lot = xy[:-1][same], xy[1:][same], owner[:-1][same]
    step = end - start
    length = np.hypot(step[:, 0], step[:, 1])
    turn = np.where(shapely.is_ccw(rings), 1.0, -1.0)[lot]
    bearing = np.degrees(np.arctan2(turn * step[:, 1], -turn * step[:, 0])) % 360.0
    long = length > 0
    return Edges(lot[long].astype(np.int64), start[long], end[long], length[long], bearing[long])


def side_of(bearing_deg: Floats, front_bearing_deg: Floats) -> Ints:
    """Which side of a lot an outward bearing belongs to, by quadrants about the front: FRONT, RIGHT, REAR or LEFT.

    Seen from the street the right-hand side faces 90 degrees less than the front: a house that fronts south has its
    right-hand side to the east.
    """
    turned = (front_bearing_deg - bearing_deg + 45.0) % 360.0
    return np.nan_to_num(np.floor(turned / 90.0), nan=0.0).astype(np.int64) % 4


def angle_between(first_deg: Floats, second_deg: Floats) -> Floats:
    """The angle between two bearings, 0 to 180 degrees."""
    return np.asarray(np.abs((first_deg - second_deg + 180.0) % 360.0 - 180.0))
