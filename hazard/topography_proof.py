"""Whether a profile can hold a crest that matters to the lot at all: a quick proof that it can't, for most profiles.

A crest that counts stands on a slope that is steep enough over its upper half, and the farther it is from the lot the
higher it must be. Both are necessary whatever crest and foot `hazard.topography_kernels` would find, and both can be
looked for with least and greatest elevations of blocks of samples, which grow with the distance from the lot. Where no
pair of blocks can hold such an upper half the profile needs no smoothing, no turning points and no measuring. The
answer stays the same to the last bit: a profile that is passed over would have given no feature.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from hazard.topography_kernels import Rules, extremes
from hazard.topography_lines import Floats, Ints, borrowing

FINENESS = 4  # a block is at most this part of its distance from the lot
SAFE = 0.9999  # of a limit, so that rounding can't matter
ROUNDING_FT = 0.01


class Blocks(NamedTuple):
    """Blocks of a line through a lot, outermost upwind to outermost downwind; the same for the wind from either end.

    ends: offsets from the lot at which the blocks of one side begin, and one past the last. first, last (blocks,):
    their samples. need_ft: least rise of the upper half of a slope whose crest is in a block. begin, end: blocks of a
    profile. rise_ft: least rise a step.
    """

    ends: Ints
    first: Floats
    last: Floats
    need_ft: Floats
    begin: int
    end: int
    rise_ft: float


def blocks_of(up: int, down: int, rules: Rules) -> Blocks:
    """Blocks of a profile of so many steps up and down the wind, and what a crest needs in each.

    A crest passes `measure` only with H >= (1 - near) of the least height, H / Lh >= (1 - near) of the least slope, and
    |x| within a number of the greater of Lh and H over the greatest slope. The half point lies between two samples and
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
    return Blocks(
        np.array(ends, dtype=np.int64), first, last, 0.5 * SAFE * height_ft, int(begin), int(end),
        0.5 * SAFE * least_slope * rules.step_ft,
    )  # fmt: skip


@borrowing
def block_bounds(line: Floats, blocks: Blocks, low: Floats, top: Floats) -> None:
    """Least elevation of each block, and the most that a crest in it may have: a peak may lie above its samples.

    A peak by a parabola is an eighth of the greater fall to its two neighbours above its sample at most.
    """
    site, ends = line.size // 2, blocks.ends
    side = ends.size - 1
    for s in range(side):
        size = ends[s + 1] - ends[s]
        low[side + s], top[side + s] = span(line, site + ends[s], size)
        low[side - 1 - s], top[side - 1 - s] = span(line, site + 1 - ends[s + 1], size)
    before = low[0]
    for b in range(2 * side):
        lowest = min(before, min(low[b], low[min(b + 1, 2 * side - 1)]))
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
