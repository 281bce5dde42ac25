"""Where the point of a long angled screw ends up: trigonometry, no capacity.

Wood standards do not cover a screw nearly along the grain of a stud, so what such a screw holds is tested and listed.
What can be computed is whether it stays in the wood. Angles are from the stud's axis, lengths in inches; the screw
enters the stud at a start height above (or below) the plate's face. Arrays in, arrays out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ScrewPath:
    """The path of one screw, or of an array of screws."""

    tip_depth_in: Array  # below the plate's face; negative: the plate is not reached
    tip_offset_in: Array  # sideways from the entry
    joint_offset_in: Array  # sideways where the axis meets the plate's face
    length_in_stud_in: Array
    length_in_plate_in: Array


def screw_path(length_in: ArrayLike, start_height_in: ArrayLike, angle_deg: ArrayLike) -> ScrewPath:
    """Path of a screw from the face of a stud into the plate: depth L cos t - s, offset L sin t."""
    length, start = np.asarray(length_in, dtype=np.float64), np.asarray(start_height_in, dtype=np.float64)
    angle = np.radians(np.asarray(angle_deg, dtype=np.float64))
    in_stud = start / np.cos(angle)
    return ScrewPath(
        length * np.cos(angle) - start,
        length * np.sin(angle),
        start * np.tan(angle),
        in_stud,
        length - in_stud,
    )


def exit_depth_in(path: ScrewPath, plate_thickness_in: ArrayLike) -> Array:
    """How far the point comes out of the far face of the plate; 0 when it stays inside."""
    return np.maximum(0.0, path.tip_depth_in - np.asarray(plate_thickness_in, dtype=np.float64))


def stays_within(offset_in: ArrayLike, member_width_in: ArrayLike) -> NDArray[np.bool_]:
    """Whether a sideways offset stays within a member of that width, entered at its edge."""
    return np.asarray(np.asarray(offset_in, dtype=np.float64) <= np.asarray(member_width_in, dtype=np.float64) + 1e-9)
