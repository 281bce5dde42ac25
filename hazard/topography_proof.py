"""Whether a profile can hold a crest that matters to the lot at all: a quick proof that it can't, for most profiles.

A crest that counts stands on a slope that is steep enough over its upper half, and the farther it is from the lot the
higher it must be. Both are necessary whatever crest and foot `hazard.topography_kernels` would find, and both can be
looked for with least and greatest elevations of blocks of samples, which grow with the distance from the lot. Where no
pair of blocks can hold such an upper half the profile needs no smoothing, no turning points and no measuring. The
answer stays the same to the last bit: a profile that is passed over would have given no feature.

Near the lot the blocks are read sample by sample. Farther out, where only large features count, they take the least and
greatest elevations of squares of the raster, which are found once for all lots.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from hazard.topography_kernels import Rules, extremes
from hazard.topography_lines import Floats, Ints, borrowing, compiled, sample_line

CALLED = "c27527c5a7ddc47f"
"""Digest of the modules whose compiled code is called here, so that a change there compiles this module anew."""
FINENESS = 4  # a block is at most this part of its distance from the lot
SEGMENT = 8  # samples of a far block that are looked up together
SAFE = 0.9999  # of a limit, so that rounding can't matter
ROUNDING_FT = 0.01


class Blocks(NamedTuple):
    """Blocks of a line through a lot, outermost upwind to outermost downwind; the same for the wind from either end.

    ends: offsets from the lot at which the blocks of one side begin, and one past the last. first, last (blocks,):
    their samples. need_ft: least rise of the upper half of a slope whose crest is in a block. begin, end: blocks of a
    profile. rise_ft: least rise a step. near: blocks of one side that are read sample by sample.
    """

    ends: Ints
    first: Floats
    last: Floats
    need_ft: Floats
    begin: int
    end: int
    rise_ft: float
    near: int


class Relief(NamedTuple):
    """Least and greatest elevation around squares of `cells` cells of a raster: bounds (rows, columns, 2).

    Around: with every cell that a segment whose middle is in the square may touch. Minus and plus infinity where one of
    them is missing, so that nothing is ever proven there.
    """

    bounds: Floats
    cells: int


def blocks_of(up: int, down: int, rules: Rules) -> Blocks:
    """Blocks of a profile of so many steps up and down the wind, and what a crest needs in each.

    A crest passes `measure` only with H >= (1 - near) of the least height, H / Lh >= (1 - near) of the least slope, and
    |x| within a number of the greater of Lh and H over the greatest slope: the conditions of ASCE 7-16 Section 26.8.1
    and the multipliers of Figure 26.8-1, as the rules hold them. The half point lies between two samples and
    a peak at most half a sample off the highest.
    """
    far = max(up, down)
    ends = [0]
    while ends[-1] <= far:
        size = 1
        while 2 * size * FINENESS <= ends[-1]:
            size *= 2
        ends.append(min(ends[-1] + size, far + 1))
    inner, outer = np.array(ends[:-1]), np.array(ends[1:])
    first = np.concatenate([(far + 1 - outer)[::-1], far + inner]).astype(np.float64)
    last = np.concatenate([(far - inner)[::-1], far - 1 + outer]).astype(np.float64)
    least_slope = (1.0 - rules.near) * rules.least_slope
    flattest = min(least_slope, rules.greatest_slope)
    upwind_ft, downwind_ft = (far - last - 0.5) * rules.step_ft, (first - far - 0.5) * rules.step_ft
    by_distance = flattest * np.maximum(upwind_ft / rules.reach_downwind, downwind_ft / rules.reach_upwind)
    height_ft = np.maximum((1.0 - rules.near) * rules.least_height_ft, by_distance)
    begin, end = np.flatnonzero(last >= far - up)[0], np.flatnonzero(first <= far + down)[-1] + 1
    # what the look for a valley needs is near, and blocks of whole segments only are far
    least_near = max(rules.valley_search_ft / rules.step_ft + 1.0, SEGMENT * FINENESS)
    near = next((n for n, first_off in enumerate(ends) if first_off > least_near), len(ends) - 1)
    return Blocks(
        np.array(ends, dtype=np.int64), first, last, 0.5 * SAFE * height_ft, int(begin), int(end),
        0.5 * SAFE * least_slope * rules.step_ft, near,
    )  # fmt: skip


def relief_of(grid: Floats, step_cells: float) -> Relief:
    """Squares of about a segment's length; `step_cells`: the most rows or columns that a step of any lot goes."""
    cells = max(2, round(SEGMENT * step_cells))
    margin = math.ceil(0.5 * (SEGMENT - 1) * step_cells) + 1
    rows, columns = grid.shape
    bounds = np.empty((rows // cells + 1, columns // cells + 1, 2))
    around_squares(grid, cells, margin, bounds)
    return Relief(bounds, cells)


@compiled
def around_squares(grid: Floats, cells: int, margin: int, bounds: Floats) -> None:
    """Least and greatest around squares, `margin` cells to each side; a missing cell is below and above all others."""
    rows, columns = grid.shape
    least, most = np.empty(columns), np.empty(columns)
    for i in range(bounds.shape[0]):
        least[:], most[:] = np.inf, -np.inf
        for r in range(max(0, cells * i - margin), min(rows - 1, cells * (i + 1) + margin) + 1):
            for c in range(columns):
                z = grid[r, c]
                least[c] = min(least[c], z if z == z else -np.inf)
                most[c] = max(most[c], z if z == z else np.inf)
        for j in range(bounds.shape[1]):
            first, last = max(0, cells * j - margin), min(columns - 1, cells * (j + 1) + margin)
            bounds[i, j, 0], bounds[i, j, 1] = least[first : last + 1].min(), most[first : last + 1].max()


@borrowing
def bounds_along(
    grid: Floats,
    relief: Relief,
    row: float,
    col: float,
    d_row: float,
    d_col: float,
    blocks: Blocks,
    near: Floats,
    low: Floats,
    top: Floats,
    scratch: Floats,
) -> bool:
    """Bounds of all blocks of the line through a lot; False where it leaves the grid or ground near the lot is missing.

    near (2 n + 1): is filled with the samples of the near blocks, from upwind. A step upwind goes (d_row, d_col) cells.
    """
    site, ends = near.size // 2, blocks.ends
    side = ends.size - 1
    far = np.float64(ends[side] - 1)
    high_row, high_col = grid.shape[0] - 2.0, grid.shape[1] - 2.0
    for way in (-far, far):  # a straight line: what lies between its ends is inside if they are
        if not (1.0 <= row + way * d_row <= high_row and 1.0 <= col + way * d_col <= high_col):
            return False
    sample_line(grid, row, col, d_row, d_col, site, near, scratch)
    missing = 0
    for i in range(near.size):
        missing += near[i] != near[i]
    if missing > 0:
        return False
    for s in range(blocks.near):
        size = ends[s + 1] - ends[s]
        low[side + s], top[side + s] = span(near, site + ends[s], size)
        low[side - 1 - s], top[side - 1 - s] = span(near, site + 1 - ends[s + 1], size)
    for s in range(blocks.near, side):
        first, last = ends[s], ends[s + 1]
        low[side + s], top[side + s] = span_far(relief, row, col, -d_row, -d_col, first, last, far)
        low[side - 1 - s], top[side - 1 - s] = span_far(relief, row, col, d_row, d_col, first, last, far)
    add_peaks(low, top)
    return True


@borrowing
def span_far(
    relief: Relief, row: float, col: float, d_row: float, d_col: float, first: int, last: int, far: float
) -> tuple[float, float]:
    """Bounds of the samples of a far block, from segment to segment."""
    least, most = np.inf, -np.inf
    half, per_cell = 0.5 * (SEGMENT - 1), 1.0 / relief.cells
    for start in range(first, last, SEGMENT):
        middle = min(start + half, far - half)
        i, j = int((row + middle * d_row) * per_cell), int((col + middle * d_col) * per_cell)
        least, most = min(least, relief.bounds[i, j, 0]), max(most, relief.bounds[i, j, 1])
    return least, most


@borrowing
def add_peaks(low: Floats, top: Floats) -> None:
    """From the greatest elevation of each block to the most that a crest in it may have.

    A peak by a parabola is an eighth of the greater fall to its two neighbours above its sample at most.
    """
    blocks = low.size
    before = low[0]
    for b in range(blocks):
        lowest = min(before, min(low[b], low[min(b + 1, blocks - 1)]))
        before = low[b]
        top[b] += 0.125 * (top[b] - lowest) + ROUNDING_FT


@borrowing
def span(line: Floats, start: int, size: int) -> tuple[float, float]:
    """Least and greatest of some samples."""
    least = most = line[start]
    i, stop = start + 1, start + size
    while i + 4 <= stop:
        lower, upper = extremes(line, i)
        least, most = min(least, lower), max(most, upper)
        i += 4
    while i < stop:
        least, most = min(least, line[i]), max(most, line[i])
        i += 1
    return least, most


@borrowing
def may_matter(low: Floats, top: Floats, blocks: Blocks) -> bool:
    """False only where no crest of the profile can pass `measure`. low, top: of its blocks, from upwind to downwind."""
    first, last, rate = blocks.first, blocks.last, blocks.rise_ft
    begin, one = np.uint64(blocks.begin), np.uint64(1)
    base = low[begin]
    for b in range(blocks.begin, blocks.end):
        crest = np.uint64(b)
        base = min(base, low[crest])
        half = 0.5 * (top[crest] - base)  # no upper half of a slope up to here is higher
        need = blocks.need_ft[crest]
        if half < need:
            continue
        # the half point is a sample and a half nearer to the crest's block at most than the block it is in
        start = first[crest] - 1.5
        enough, farthest = top[crest] - need, start - half / rate
        at = crest
        while last[at] >= farthest:
            if low[at] <= enough and top[crest] - low[at] >= rate * (start - last[at]):
                return True
            if at == begin:
                break
            at -= one
    return False
