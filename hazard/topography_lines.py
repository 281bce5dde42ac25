"""Compiled kernels that read the ground along straight lines: bilinear samples, known runs, light smoothing.

The wind from bearing k and the wind from the opposite bearing see the same line through a lot, so a line is sampled
once, from the search distance on one side to the search distance on the other, and read from both ends.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Function = TypeVar("Function")

if TYPE_CHECKING:

    def compiled(function: Function) -> Function: ...

    def borrowing(function: Function) -> Function: ...

else:
    compiled = njit(cache=True, nogil=True)
    # for kernels that make no array: without counting references to the arrays they are lent, an eighth of all time
    borrowing = njit(cache=True, nogil=True, _nrt=False)

DIRECTIONS = 16
OPPOSITE = DIRECTIONS // 2


@borrowing
def sample(grid: Floats, row: float, col: float) -> float:
    """Bilinear value at fractional cell-centre indices; NaN outside or beside a missing cell."""
    rows, cols = grid.shape
    if not (row >= 0.0 and col >= 0.0 and row <= rows - 1.0 and col <= cols - 1.0):
        return np.nan
    i = min(int(row), rows - 2)
    j = min(int(col), cols - 2)
    a = row - i
    b = col - j
    upper = grid[i, j] * (1.0 - b) + grid[i, j + 1] * b
    lower = grid[i + 1, j] * (1.0 - b) + grid[i + 1, j + 1] * b
    return float(upper * (1.0 - a) + lower * a)


@borrowing
def sample_points(grid: Floats, places: Floats, out: Floats) -> None:
    """Bilinear values at many (row, col) places."""
    for i in range(out.size):
        out[i] = sample(grid, places[i, 0], places[i, 1])


@borrowing
def surely_inside(at: float, step: float, site: int, last: int, limit: float) -> tuple[int, int]:
    """First and last index of a line whose coordinate at + (site - i) * step is surely within 0 and `limit`.

    One sample short of the edges on both sides, so that rounding can't matter; (0, -1) where there are none.
    """
    if not (abs(at) < 1e12 and abs(step) < 1e12):
        return 0, -1
    if step == 0.0:
        return (0, last) if 0.0 <= at < limit else (0, -1)
    one, two = site - (0.0 - at) / step, site - (limit - at) / step
    first, final = max(0.0, math.ceil(min(one, two)) + 1.0), min(float(last), math.floor(max(one, two)) - 1.0)
    return (int(first), int(final)) if first <= final else (0, -1)


@borrowing
def sample_line(
    grid: Floats,
    row: float,
    col: float,
    d_row: float,
    d_col: float,
    site: int,
    out: Floats,
    scratch: Floats,
    begin: int = 0,
    stride: int = 1,
) -> None:
    """Fill `out` along a line: `out[site]` at (row, col); one index more is one step of (-d_row, -d_col) downwind.

    Only every `stride`-th index from `begin` is written. The part of the line that lies inside the grid, most often all
    of it, is read without looking at the edges: first where the cells lie, which compiles to wide instructions, then
    the cells. scratch: 4 times as long as `out`.
    """
    rows, cols = grid.shape
    first, last = surely_inside(row, d_row, site, out.size - 1, rows - 1.0)
    left, right = surely_inside(col, d_col, site, out.size - 1, cols - 1.0)
    first, last = max(first, left), min(last, right)
    if first > last:
        first, last = out.size, out.size - 1
    start = begin
    while start < first and start < out.size:
        out[start] = sample(grid, row + (site - start) * d_row, col + (site - start) * d_col)
        start += stride
    count = max(0, (last - start) // stride + 1)
    down, across = scratch[:count], scratch[count : 2 * count]
    cell = scratch[2 * count : 3 * count].view(np.int32)
    # numbers of 32 bits, enough for 2^31 cells: no wide instruction makes 64-bit whole numbers of fractions
    ahead, by, width = np.int32(site - start), np.int32(stride), np.int32(cols)
    for j in range(count):
        back = np.float64(ahead - np.int32(j) * by)
        r, c = row + back * d_row, col + back * d_col
        p, q = np.int32(r), np.int32(c)
        down[j], across[j], cell[j] = r - np.float64(p), c - np.float64(q), np.int32(p * width + q)
    one, by_stride = np.uint64(1), np.uint64(stride)
    upper_cells, lower_cells = grid.reshape(-1), grid.reshape(-1)[cols:]
    inner = out[start:]
    for j in range(count):
        k, a, b = np.uint64(np.uint32(cell[j])), down[j], across[j]
        upper = upper_cells[k] * (1.0 - b) + upper_cells[k + one] * b
        lower = lower_cells[k] * (1.0 - b) + lower_cells[k + one] * b
        inner[np.uint64(j) * by_stride] = upper * (1.0 - a) + lower * a
    for at in range(start + count * stride, out.size, stride):
        out[at] = sample(grid, row + (site - at) * d_row, col + (site - at) * d_col)


@borrowing
def valid_run(z: Floats, site: int) -> tuple[int, int]:
    """First and last index of the unbroken known ground around the lot; (site, site - 1) where the lot has none."""
    missing = 0
    for i in range(z.size):
        missing += z[i] != z[i]
    if missing == 0:
        return 0, z.size - 1
    if math.isnan(z[site]):
        return site, site - 1
    lo = site
    while lo > 0 and not math.isnan(z[lo - 1]):
        lo -= 1
    hi = site
    while hi < z.size - 1 and not math.isnan(z[hi + 1]):
        hi += 1
    return lo, hi


@borrowing
def balanced_mean(z: Floats, i: int, w: int) -> float:
    """Mean of 2 w + 1 samples as sums of differences, the same from either end of the line."""
    total = 0.0
    for shift in range(1, w + 1):
        total += (z[i - shift] - z[i]) + (z[i + shift] - z[i])
    return float(z[i] + total / (2 * w + 1))


@borrowing
def smooth(z: Floats, lo: int, hi: int, window: int, out: Floats) -> None:
    """Mean of 2 * window + 1 samples, with fewer (still symmetric) near the ends.

    Sums of differences, so that the height of the ground above sea level has no part in the rounding.
    """
    inner = hi - lo + 1 - 2 * window
    if inner > 0 and window == 2:
        mean, z2 = out[lo + 2 : lo + 2 + inner], z[lo + 2 : lo + 2 + inner]
        z0, z1, z3, z4 = z[lo : lo + inner], z[lo + 1 :], z[lo + 3 :], z[lo + 4 :]
        for i in range(inner):
            centre = z2[i]
            mean[i] = centre + (((z1[i] - centre) + (z3[i] - centre)) + ((z0[i] - centre) + (z4[i] - centre))) / 5
    elif inner > 0:
        for i in range(lo + window, hi - window + 1):
            out[i] = balanced_mean(z, i, window)
    smooth_ends(z, lo, hi, window, out)


@borrowing
def smooth_ends(z: Floats, lo: int, hi: int, window: int, out: Floats) -> float:
    """The part of `smooth` where the mean has fewer samples; returns the most by which a sample differs from it."""
    head = min(hi + 1, lo + window)
    off = 0.0
    for i in range(lo, head):
        out[i] = balanced_mean(z, i, min(i - lo, hi - i))
        off = max(off, abs(z[i] - out[i]))
    for i in range(max(head, hi - window + 1), hi + 1):
        out[i] = balanced_mean(z, i, min(i - lo, hi - i))
        off = max(off, abs(z[i] - out[i]))
    return off


@borrowing
def unevenness(z: Floats, s: Floats, lo: int, hi: int, scratch: Floats) -> float:
    """Most that samples differ from their smoothed values, or that a parabola's peak lies above its samples.

    The greatest of non-negative floats is found on their bits, which compile to wide comparisons. `scratch`: as long as
    z.
    """
    n = hi - lo + 1
    if n < 1:
        return 0.0
    off, ground, mean = scratch[:n], z[lo : hi + 1], s[lo : hi + 1]
    off[0], off[n - 1] = abs(ground[0] - mean[0]), abs(ground[n - 1] - mean[n - 1])
    middle, before, here, after, light = off[1:], ground, ground[1:], ground[2:], mean[1:]
    for i in range(n - 2):
        # off the middle by at most half a sample, a peak is at most an eighth of the bend above it
        peak = 0.125 * abs(before[i] - 2.0 * here[i] + after[i])
        middle[i] = max(abs(here[i] - light[i]), peak)
    bits = off.view(np.int64)
    greatest = np.int64(0)
    for i in range(n):
        greatest = max(greatest, bits[i])
    off[0:1].view(np.int64)[0] = greatest
    return float(off[0])


@borrowing
def reverse(line: Floats, out: Floats) -> None:
    """A line from its other end. Unsigned places, which can't mean a place from the end, let it compile well."""
    last = line.size - 1
    for i in range(line.size):
        out[i] = line[np.uint64(last - i)]


@borrowing
def read_line(
    grid: Floats,
    row: float,
    col: float,
    steps: Floats,
    k: int,
    up: int,
    down: int,
    line: Floats,
    runs: Ints,
    scratch: Floats,
) -> tuple[int, int]:
    """The line of the profiles k and k + 8 through a lot, and its known run; fills the run of both profiles too.

    line (2 far + 1), the lot at index `far`, from far upwind of wind k; the other profile is the same from its other
    end. steps (16, 2) cells per step towards where the wind is from. runs (16, 2): within `up` and `down` steps of the
    lot, counted along the profile. scratch: 4 (2 far + 1) numbers.
    """
    far = line.size // 2
    sample_line(grid, row, col, steps[k, 0], steps[k, 1], far, line, scratch)
    lo, hi = valid_run(line, far)
    runs[k, 0], runs[k, 1] = max(lo, far - up), min(hi, far + down)
    runs[k + OPPOSITE, 0], runs[k + OPPOSITE, 1] = max(2 * far - hi, far - up), min(2 * far - lo, far + down)
    return lo, hi
