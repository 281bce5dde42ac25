"""The invented sample tract Pennywort Rise: its lots, phases and ground cover. All of it is invented.

Feet, x east, y north, from the tract's south-west corner, which stands at 0, 0 of a local CRS with true distances.
"""

from __future__ import annotations

import numpy as np
import shapely
from affine import Affine

from hazard.ground_states import PhasePlan, phase_plan
from hazard.land_cover import RoughnessMap, roughness_map
from hazard.rasters import RasterWindow
from tests.hazard.exposure_grounds import FT, LOCAL, codes_of

ROWS_Y = {"A": (60, 185), "B": (235, 360), "C": (380, 505), "D": (555, 680)}
GROUPS = ((80, 12, "2"), (930, 12, "1"), (1780, 12, "3"), (2630, 9, "4"))  # first x, lots, phase
PHASE_X = {"2": (55, 905), "1": (905, 1755), "3": (1755, 2605), "4": (2605, 3260)}
BUILD_ORDER = ("1", "2", "3", "4")


def lots() -> tuple[list[str], np.ndarray, np.ndarray]:
    """Lot ids, centre points (180, 2) in metres, and phases."""
    ids, points, phases = [], [], []
    for row, (south, north) in ROWS_Y.items():
        number = 0
        for first_x, count, phase in GROUPS:
            x = float(first_x)
            for place in range(count):
                width = 75.0 if place in (0, count - 1) else 65.0
                number += 1
                ids.append(f"{row}-{number:02d}")
                points.append(((x + width / 2) * FT, (south + north) / 2 * FT))
                phases.append(phase)
                x += width
    return ids, np.array(points), np.array(phases)


def phases(order: tuple[str, ...] = BUILD_ORDER, built: tuple[str, ...] = ()) -> PhasePlan:
    """The four phases, in a build order."""
    shapes = [shapely.box(x0 * FT, 0.0, x1 * FT, 860 * FT) for x0, x1 in PHASE_X.values()]
    return phase_plan(shapes, list(PHASE_X), order, built=built, crs=LOCAL)


def ground(cell_m: float) -> RoughnessMap:
    """Farm, woods, town, greenbelt and reservoir as described; ground the description leaves open is town."""
    x0, x1, y0, y1 = -6500 * FT, 11_600 * FT, -6500 * FT, 7500 * FT
    cols, rows = int((x1 - x0) // cell_m), int((y1 - y0) // cell_m)
    east = (x0 + (np.arange(cols) + 0.5) * cell_m) / FT
    north = (y1 - (np.arange(rows) + 0.5) * cell_m) / FT
    x, y = np.meshgrid(east, north)
    letters = np.full(x.shape, "B")  # town, woods and greenbelt
    letters[(x < 900) & (y > 860)] = "C"  # farm
    letters[(x >= 0) & (x < 3260) & (y >= 0) & (y <= 860)] = "C"  # the tract itself, graded
    letters[(x >= 3560) & (x <= 11_000) & (y >= -1800) & (y <= 3200)] = "D"  # reservoir
    values = codes_of(letters)
    transform = Affine(cell_m, 0.0, x0, 0.0, -cell_m, y1)
    window = RasterWindow(values, np.ones(values.shape, dtype=bool), transform, LOCAL, "land_cover.tif")
    return roughness_map(window)
