"""From compass directions to the faces of a house: the velocity pressure of the wind on to each, by how it stands.

The wind on to a face stands for every wind from within 45 degrees of its normal, so the worst of those directions is
taken, each with its own exposure and Kzt (ASCE 7 26.7.4, 26.8). A house whose bearing is not known may stand any way:
every face then takes the worst of all directions.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from screener.wind_states import FACES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

QUADRANT_DEG = 45.0
TURN_DEG = {"front": 0.0, "rear": 180.0, "left": 90.0, "right": -90.0}
"""Bearing of each face's normal less the front's, for a house as drawn; left and right as seen from the street."""


def face_bearings_deg(front_bearing_deg: Floats, mirrored: NDArray[np.bool_]) -> Floats:
    """Compass bearing that each face of the plan as drawn looks at, (lots, 4); NaN where the front's is not known.

    A mirrored house has the face drawn at the left on its right.
    """
    hand = np.where(np.asarray(mirrored, dtype=bool), -1.0, 1.0)[:, None]
    turns = np.array([TURN_DEG[face] for face in FACES])
    return np.asarray((np.asarray(front_bearing_deg, dtype=float)[:, None] + hand * turns) % 360.0)


def onto_faces(
    q_by_direction_psf: Floats, front_bearing_deg: Floats, mirrored: NDArray[np.bool_]
) -> tuple[Floats, Ints]:
    """Velocity pressure of the wind on to each face, psf (lots, 4), and the direction it comes from; -1 unknown.

    `q_by_direction_psf` (lots, n) by direction from north, clockwise, evenly spaced. NaN in any direction of a face's
    quadrant makes the face unknown, for it may govern. The first of equal directions is given.
    """
    count = q_by_direction_psf.shape[1]
    bearings = face_bearings_deg(front_bearing_deg, mirrored)
    direction = np.arange(count) * 360.0 / count
    off = np.abs((direction - bearings[:, :, None] + 180.0) % 360.0 - 180.0)
    inside = np.isnan(bearings)[:, :, None] | (off <= QUADRANT_DEG + 1e-6)
    q = np.where(inside, q_by_direction_psf[:, None, :], -np.inf)
    missing = np.isnan(q).any(axis=2)
    filled = np.where(np.isnan(q), -np.inf, q)
    chosen = filled.argmax(axis=2).astype(np.int64)
    worst = np.take_along_axis(filled, chosen[:, :, None], axis=2)[:, :, 0]
    return np.where(missing, np.nan, worst), np.where(missing, -1, chosen)
