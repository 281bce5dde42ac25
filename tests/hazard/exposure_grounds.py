"""Grounds with known answers for the exposure tests, and a plain numpy count to hold the compiled one against."""

from __future__ import annotations

import math

import numpy as np

from hazard.fetch import ExposureRules
from hazard.ground_axes import ground_axes_ft
from hazard.land_cover import RoughnessMap, pixel_coordinates
from screener.checks.grounds import CODES as CODES
from screener.checks.grounds import FT as FT
from screener.checks.grounds import LOCAL as LOCAL
from screener.checks.grounds import Cover as Ground
from screener.checks.grounds import codes_of as codes_of
from screener.checks.grounds import half_plane as half_plane
from screener.checks.grounds import map_of as map_of
from screener.checks.grounds import uniform as uniform
from screener.checks.grounds import wedge as wedge
from screener.checks.grounds import window_of as window_of


def patches(seed: int, letters: str = "BBBCD", size_ft: float = 400.0) -> Ground:
    """Square patches of random roughness."""
    picked = np.random.default_rng(seed).choice(list(letters), size=(64, 64))

    def ground(east: np.ndarray, north: np.ndarray) -> np.ndarray:
        col = np.clip(np.floor(east / size_ft).astype(int) + 32, 0, 63)
        row = np.clip(np.floor(north / size_ft).astype(int) + 32, 0, 63)
        return picked[row, col]

    return ground


def count_plainly(
    ground: RoughnessMap, xy: tuple[float, float], rules: ExposureRules, n_rings: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Counts (16 wedges, rings, 4 roughness numbers) around one point, twice the number of cell parts; and the nearest
    smooth and nearest unknown part, (16, rings) ft. Every part of every cell is looked at; no tables, no blocks."""
    axes = ground_axes_ft(ground.crs, *xy)
    pixel = np.array([[ground.transform.a, ground.transform.b], [ground.transform.d, ground.transform.e]])
    cell_ft = np.hypot(*(axes @ pixel)).max()
    parts = max(1, math.ceil(cell_ft / rules.sub_cell_ft - 1e-9))
    fine = np.kron(ground.roughness, np.ones((parts, parts), dtype=np.uint8))
    col, row = pixel_coordinates(ground.transform, *xy)
    here_col, here_row = math.floor(col * parts + 1e-9), math.floor(row * parts + 1e-9)
    reach = math.ceil(n_rings * rules.ring_ft / (cell_ft / parts) * 1.1) + 2
    padded = np.pad(fine, reach, constant_values=0)
    cut = padded[here_row : here_row + 2 * reach + 1, here_col : here_col + 2 * reach + 1]
    d_col, d_row = np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1))
    step = axes @ pixel / parts
    east = step[0, 0] * d_col + step[0, 1] * d_row
    north = step[1, 0] * d_col + step[1, 1] * d_row
    distance = np.hypot(east, north)
    turns = (np.degrees(np.arctan2(east, north)) % 360.0) / 22.5
    counts = np.zeros((16, n_rings, 4), dtype=np.int64)
    near = np.full((2, 16, n_rings), np.inf)
    ring = np.floor(distance / rules.ring_ft + 1e-8).astype(int)
    keep = (distance > 0.0) & (distance < n_rings * rules.ring_ft - 1e-6)
    for r, q, t, c in zip(distance[keep], ring[keep], turns[keep], cut[keep], strict=True):
        line = round(t)
        wedges = (line % 16, (line - 1) % 16) if abs(t - line) * 22.5 < 1e-6 else (math.floor(t) % 16,) * 2
        for w in wedges:
            counts[w, q, c] += 1
            if c == 3:
                near[0, w, q] = min(near[0, w, q], r)
            if c == 0:
                near[1, w, q] = min(near[1, w, q], r)
    return counts, near[0], near[1]


def sector_of_counts(counts: np.ndarray, sector: int) -> np.ndarray:
    """Counts of one 45 degree sector: (rings, 4)."""
    return counts[sector] + counts[(sector + 1) % 16]


def rough_fetch_plainly(sector: np.ndarray, rules: ExposureRules, need_ft: float) -> tuple[float, float, float]:
    """Share, run and longest gap of rough ground of one sector, straight from the definition."""
    rough, total = sector[:, 1], sector.sum(axis=1)
    open_ring = rough < rules.rough_ring_share * total

    def longest_gap(rings: int) -> float:
        longest = run = 0
        for ring in open_ring[:rings]:
            run = run + 1 if ring else 0
            longest = max(longest, run)
        return longest * rules.ring_ft

    def share(rings: int) -> float:
        return float(rough[:rings].sum() / total[:rings].sum())

    met = [
        share(edge) >= rules.rough_share and longest_gap(edge) <= rules.open_gap_ft for edge in range(1, total.size + 1)
    ]
    need = round(need_ft / rules.ring_ft)
    if met[need - 1]:
        run = next((edge for edge in range(need, total.size) if not met[edge]), total.size)
    else:
        run = max([edge for edge in range(1, need) if met[edge - 1]], default=0)
    return share(need), run * rules.ring_ft, longest_gap(need)
