"""Cells of an elevation that no ground can be: spikes, pits, and holes filled with one number.

A cell is suspect where the ground jumps from it to a neighbour by more than `jump_ft`. From there all ground is
gathered that can be reached without such a jump. What is cut off on every side is a fault if it is a few cells (a bird,
a tower, a marker such as 9,999), or if it is one number all over (a void filled with zero). A real cliff is no fault:
the ground on its top and at its foot goes on. All limits are this tool's own.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from hazard.issues import Issues

LEAST_JUMP_FT = 100.0
JUMP_SLOPE = 4.0  # rise over run from cell to cell that ground is not believed to have on all sides at once
MOST_SPIKE_CELLS = 9
MOST_GATHERED = 250_000  # cells; ground that is larger goes on


def jump_ft(cell_ft: float) -> float:
    """The least jump between neighbouring cells that is looked at."""
    return max(LEAST_JUMP_FT, JUMP_SLOPE * cell_ft)


def without_spikes(
    elevation_ft: NDArray[np.float64], valid: NDArray[np.bool_], cell_ft: float, where: str, notes: Issues
) -> NDArray[np.bool_]:
    """Which cells (rows, columns) hold ground; spikes, pits and filled voids are told and left out."""
    limit = jump_ft(cell_ft)
    if not _has_jump(elevation_ft, limit):
        return valid
    start = _beside_jumps(elevation_ft, valid, limit)
    if not start.any():
        return valid
    state = np.zeros(valid.shape, dtype=np.uint8)
    rows, columns = np.nonzero(start)
    _gather(elevation_ft, valid, rows, columns, limit, MOST_SPIKE_CELLS, MOST_GATHERED, state)
    fault = state == _FAULT
    count = int(fault.sum())
    if not count:
        return valid
    row, column = (int(place[0]) for place in np.nonzero(fault))
    found = f"{count:,} cells stand more than {limit:,.0f} ft above or below all ground around them, such as "
    found += f"{elevation_ft[row, column]:,.0f} ft"
    notes.add("elevation_spikes", "warn", where, found, "ground", "taken as cells without data")
    return np.asarray(valid & ~fault)


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _has_jump(z: NDArray[np.float64], limit: float) -> bool:
    """Whether there is any jump at all: most ground has none, and needs no arrays then."""
    rows, columns = z.shape
    for r in range(rows):
        here, count = z[r], 0
        for c in range(columns - 1):
            count += abs(here[c + 1] - here[c]) > limit
        if r + 1 < rows:
            below = z[r + 1]
            for c in range(columns):
                count += abs(below[c] - here[c]) > limit
        if count > 0:
            return True
    return False


def _beside_jumps(z: NDArray[np.float64], valid: NDArray[np.bool_], limit: float) -> NDArray[np.bool_]:
    """Cells with a jump to the next cell in their row or column."""
    out = np.zeros(valid.shape, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        jump = np.abs(np.diff(z, axis=0)) > limit
        out[1:] |= jump
        out[:-1] |= jump
        jump = np.abs(np.diff(z, axis=1)) > limit
        out[:, 1:] |= jump
        out[:, :-1] |= jump
    return np.asarray(out & valid)


_GROUND, _FAULT = 1, 2


@njit(cache=True, nogil=True)
def _gather(z, valid, rows, columns, limit, most_cells, most_gathered, state):  # type: ignore[no-untyped-def]
    """From each start, gather what hangs together; mark it ground (1) or fault (2) in `state`."""
    n_rows, n_columns = z.shape
    places = np.empty(most_gathered + 8, dtype=np.int64)
    for start in range(rows.size):
        if state[rows[start], columns[start]] != 0:
            continue
        places[0] = rows[start] * n_columns + columns[start]
        state[rows[start], columns[start]] = 3
        count, done = 1, 0
        goes_on, alike = False, True
        first = z[rows[start], columns[start]]
        while done < count and not goes_on:
            r, c = places[done] // n_columns, places[done] % n_columns
            done += 1
            if r == 0 or c == 0 or r == n_rows - 1 or c == n_columns - 1:
                goes_on = True
                break
            for dr in range(-1, 2):
                for dc in range(-1, 2):
                    i, j = r + dr, c + dc
                    if not valid[i, j] or abs(z[i, j] - z[r, c]) > limit:
                        continue
                    if state[i, j] == 1:
                        goes_on = True
                    elif state[i, j] == 0 and count < most_gathered:
                        state[i, j] = 3
                        places[count] = i * n_columns + j
                        count += 1
                        if z[i, j] != first:
                            alike = False
            if count >= most_gathered:
                goes_on = True
        mark = 2 if not goes_on and (count <= most_cells or alike) else 1
        for k in range(count):
            state[places[k] // n_columns, places[k] % n_columns] = mark
