"""Topographic factor of a lot from its own reading of the elevation cells: one profile for each wind direction.

The sample's ground is one bell-shaped ridge on level ground, so a profile is read in the plainest way: the crest is
its highest point, the foot the lowest ground upwind of it. (The tool's search copes with any ground; this one does not
and says so: a profile with a second top is refused.) ASCE 7-16 26.8.
"""

from __future__ import annotations

import math
from typing import Any

import plain_ground as pg
import plain_site as ps

Thing = dict[str, Any]
UPWIND_FT, DOWNWIND_FT = 10560.0 + 2640.0, 3300.0 + 2640.0  # 2 miles (26.8.1), and what is read beyond


def profile(raster: pg.Raster, x: float, y: float, axes: Any, bearing_deg: float, step_ft: float) -> tuple[list, int]:
    """Ground (ft) along the wind, farthest upwind first, and the index of the lot."""
    (ex, nx), (ey, ny) = axes  # true feet of a metre of the map's x and of its y
    turn = math.radians(bearing_deg)
    east, north = step_ft * math.sin(turn), step_ft * math.cos(turn)
    det = ex * ny - ey * nx
    dx, dy = (east * ny - north * ey) / det, (north * ex - east * nx) / det
    row, column = raster.place(x, y)
    up, down = math.ceil(UPWIND_FT / step_ft), math.ceil(DOWNWIND_FT / step_ft)
    d_row, d_column = dy / raster.dy, dx / raster.dx
    ground = [
        raster.at_centres(row - 0.5 + k * d_row, column - 0.5 + k * d_column) / pg.FOOT_M
        for k in range(up, -down - 1, -1)
    ]
    return ground, up


def feature(ground: list[float], lot: int, step_ft: float) -> Thing | None:
    """The ridge of a profile: H, Lh, x of the lot, and the lot's ground over half height; None where it is level."""
    top = max(range(len(ground)), key=lambda i: ground[i])
    base = min(ground[: top + 1])
    if ground[top] - base < 10.0 or top in (0, len(ground) - 1):
        return None
    place, crest = float(top), ground[top]
    # a round crest stands between samples: the parabola through three of them
    back, ahead = ground[top - 1] - ground[top - 2], ground[top + 1] - ground[top + 2]
    bend = ground[top - 1] - 2.0 * ground[top] + ground[top + 1]
    if bend < 0.0 and min(back, ahead) >= 0.5 * max(back, ahead):
        off = 0.5 * (ground[top - 1] - ground[top + 1]) / bend
        place, crest = top + off, ground[top] - 0.25 * (ground[top - 1] - ground[top + 1]) * off
    height = crest - base
    level = base + height / 2.0
    k = top
    while ground[k] >= level:
        k -= 1
    half = k + (level - ground[k]) / (ground[k + 1] - ground[k])
    if any(g > level + 0.1 * height for g in ground[:k]):
        raise ValueError("a second top upwind: this plain reading knows one ridge only")
    length = (place - half) * step_ft
    lee = 4.0 * max(length, 2.0 * height) / step_ft
    falls = any(g <= crest - height / 2.0 for g in ground[top + 1 : top + math.ceil(lee) + 1])
    return {
        "form": "ridge" if falls else "escarpment",
        "height": height,
        "half": length,
        "x": (lot - place) * step_ft,
        "upper": ground[lot] >= base + height / 2.0,
    }


def by_direction(raster: pg.Raster, x: float, y: float, z_ft: float, ways: str, step_m: float) -> list[Thing]:
    """Kzt of the 16 wind directions with what was found: 1 where nothing counts."""
    axes = pg.true_axes_ft(x, y)
    out = []
    for k in range(16):
        ground, lot = profile(raster, x, y, axes, 22.5 * k, step_m / pg.FOOT_M)
        found = feature(ground, lot, step_m / pg.FOOT_M)
        value = 1.0
        if found is not None:
            counts = ps.meets_conditions(ways[k], found["height"], found["half"])
            if counts and (found["upper"] or found["form"] == "escarpment"):
                value = ps.kzt(found["form"], ways[k], found["height"], found["half"], found["x"], z_ft)
        out.append({"kzt": value, **(found or {})})
    return out
