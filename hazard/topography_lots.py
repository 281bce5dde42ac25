"""Compiled kernels of the terrain around a lot: all 16 profiles, hills told from ridges, isolation, what is kept."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from hazard.topography_kernels import (
    BASE,
    ESCARPMENT,
    FIELDS,
    FOOT,
    FORM,
    HEIGHT,
    HILL,
    IS_ISOLATED,
    ISOLATED,
    ISOLATION_UNSEEN,
    LENGTH,
    MORE_TURNS,
    MOST_ROWS,
    NOT_ISOLATED,
    RIDGE,
    SLOTS,
    UNCLEAR,
    UPPER,
    Rules,
    X,
    find_features,
)
from hazard.topography_lines import (
    DIRECTIONS,
    OPPOSITE,
    Floats,
    Ints,
    borrowing,
    compiled,
    read_line,
    reverse,
    sample,
    sample_line,
    smooth,
    smooth_ends,
    unevenness,
    valid_run,
)
from hazard.topography_proof import Blocks, Relief, bounds_along, may_matter

CALLED = "6071af7db8c10601"
"""Digest of the modules whose compiled code is called here, so that a change there compiles this module anew."""


@borrowing
def falls_all_round(
    grid: Floats,
    row: float,
    col: float,
    steps: Floats,
    wind: int,
    crest_z: float,
    height: float,
    reach_ft: float,
    step_ft: float,
) -> bool:
    """Whether the ground falls to half height within `reach_ft` of the crest along all 16 bearings.

    All of them, not just the two across the wind: a ridge met at 45 degrees falls on both of those too. Those across
    the wind, where a ridge mostly goes on, are looked at first.
    """
    level = crest_z - 0.5 * height
    n = int(reach_ft / step_ft)
    for turn in range(DIRECTIONS):
        k = (wind + 4 + turn * 9) % DIRECTIONS
        fell = False
        for i in range(1, n + 1):
            value = sample(grid, row + i * steps[k, 0], col + i * steps[k, 1])
            if math.isnan(value):
                return False
            if value <= level:
                fell = True
                break
        if not fell:
            return False
    return True


@borrowing
def isolation(read: Floats, runs: Ints, site: int, k: int, row: Floats, rules: Rules) -> int:
    """Whether other ground above half height stands upwind of the feature, within the quadrant about the wind.

    Measured from the crest, over the lesser of `isolation_heights` times H and `isolation_ft`. Each of the five
    profiles of the quadrant is followed upwind from beyond the foot; ground of the feature itself is left first. read:
    the eight lines, see `hazard.topography_lines.read_line`.
    """
    height, x, foot_ft = row[HEIGHT], row[X], row[FOOT]
    level = row[BASE] + 0.5 * height
    reach_ft = min(rules.isolation_heights * height, rules.isolation_ft)
    seen = True
    for turn in range(-2, 3):
        p = (k + turn) % DIRECTIONS
        lo, hi = runs[p, 0], runs[p, 1]
        start_ft = (x + foot_ft) / math.cos(turn * math.pi / 8.0)
        i = site - int(math.ceil(max(0.0, start_ft) / rules.step_ft))
        last = site - int((x + reach_ft) / rules.step_ft)
        line, end, way = read[p % OPPOSITE], 0, 1
        if p >= OPPOSITE:
            end, way = line.size - 1, -1
        while i >= max(last, lo) and line[end + way * i] > level:
            i -= 1
        while i >= max(last, lo):
            if line[end + way * i] > level:
                return NOT_ISOLATED
            i -= 1
        if last < lo or hi < lo:
            seen = False
    return IS_ISOLATED if seen else ISOLATION_UNSEEN


@borrowing
def speed_up(form: int, rows: Floats, i: int, z_ft: float, shape: Floats, rules: Rules) -> float:
    """K1 K2 K3 of one feature row as one form (for ranking only); `shape` rows: k1 rate, gamma, mu up, mu down."""
    height, length, x = rows[i, HEIGHT], rows[i, LENGTH], rows[i, X]
    effective = max(length, height / rules.greatest_slope)
    mu = shape[form, 3] if x >= 0.0 else shape[form, 2]
    k2 = 1.0 - abs(x) / (mu * effective)
    if k2 <= 0.0:
        return 0.0
    k1 = shape[form, 0] * min(height / length, rules.greatest_slope)
    return float(k1 * k2 * math.exp(-shape[form, 1] * z_ft / effective))


@borrowing
def score(rows: Floats, i: int, z_ft: float, shape: Floats, rules: Rules, strictly: bool) -> float:
    """Best K1 K2 K3 the row can give; `strictly` applies the slope, height and upper-half conditions."""
    form = int(rows[i, FORM])
    height, upper_by = rows[i, HEIGHT], rows[i, UPPER]
    if strictly and (height < rules.least_height_ft or height < rules.least_slope * rows[i, LENGTH]):
        return 0.0
    upper = upper_by >= 1.0 or (not strictly and upper_by >= 1.0 - rules.near)
    if form == UNCLEAR:
        value = speed_up(ESCARPMENT, rows, i, z_ft, shape, rules)
        return max(value, speed_up(RIDGE, rows, i, z_ft, shape, rules)) if upper else value
    if form == ESCARPMENT or upper:
        return speed_up(form, rows, i, z_ft, shape, rules)
    return 0.0


@borrowing
def choose(rows: Floats, count: int, shape: Floats, rules: Rules, chosen: Ints, values: Floats) -> int:
    """Rows to keep: best at z = 0, 30 and 60 ft, best of those high enough for rough ground, best near miss.

    `chosen` and `values` (2 * SLOTS each) are written over; the first of `chosen` are the answer.
    """
    for slot in range(SLOTS):
        chosen[SLOTS + slot], values[SLOTS + slot] = -1, 0.0
    for i in range(count):
        for slot in range(SLOTS):
            values[slot] = 0.0
        values[0] = score(rows, i, 0.0, shape, rules, True)
        if values[0] > 0.0:
            values[1] = score(rows, i, 30.0, shape, rules, True)
            values[2] = score(rows, i, 60.0, shape, rules, True)
            values[3] = values[1] if rows[i, HEIGHT] >= rules.rough_height_ft else 0.0
        if values[1] <= 0.0:
            values[4] = score(rows, i, 30.0, shape, rules, False)
        for slot in range(SLOTS):
            if values[slot] > values[SLOTS + slot]:
                chosen[SLOTS + slot], values[SLOTS + slot] = i, values[slot]
    kept = 0
    for slot in range(SLOTS):
        best = chosen[SLOTS + slot]
        known = best < 0
        for j in range(kept):
            known = known or chosen[j] == best
        if not known:
            chosen[kept] = best
            kept += 1
    return kept


@borrowing
def steep_higher_ground(z: Floats, lo: int, site: int, rules: Rules) -> bool:
    """Whether steep higher ground stands upwind of the lot: on both sides along an axis, a valley or a pass."""
    for i in range(site - 1, max(lo, site - int(rules.valley_search_ft / rules.step_ft)) - 1, -1):
        rise = z[i] - z[site]
        if rise >= rules.valley_rise_ft and rise >= rules.valley_slope * (site - i) * rules.step_ft:
            return True
    return False


@compiled
def run_lots(
    grid: Floats,
    places: Floats,
    jacobians: Floats,
    bearings: Floats,
    upwind_ft: float,
    downwind_ft: float,
    shape: Floats,
    rules: Rules,
    fine: Rules,
    blocks: Blocks,
    relief: Relief,
    out: Floats,
    owners: Ints,
    reach: Floats,
    valley: Any,
    ground: Floats,
) -> int:
    """All 16 directions of each lot: features one after the other, and known reach up and down.

    out: (n x 16 x SLOTS, FIELDS), owners: (n x 16 x SLOTS, 2) lot and direction; returns how many rows were written.
    A line is worked through for both winds along it before the next is read: what is at hand then, with the cells that
    the next lot's lines share with this one's, stays within a processor's own cache. Most profiles are passed over by
    `hazard.topography_proof` before their line is read. blocks: those of a profile at the step. relief: of the grid.
    """
    up, down = int(math.ceil(upwind_ft / rules.step_ft)), int(math.ceil(downwind_ft / rules.step_ft))
    site = max(up, down)
    size = 2 * site + 1
    read, runs = np.empty((OPPOSITE, size)), np.empty((DIRECTIONS, 2), dtype=np.int64)
    back, mean, back_mean = np.empty(size), np.empty(size), np.empty(size)
    fine_site = int(math.ceil(upwind_ft / fine.step_ft))
    fine_z = np.empty(fine_site + int(math.ceil(downwind_ft / fine.step_ft)) + 1)
    smoothed = np.empty(fine_z.size)
    scratch = np.empty(4 * max(fine_z.size, size))
    turns = np.empty(max(fine_z.size, size) + MORE_TURNS, dtype=np.int64)
    stack = np.empty((8, 4), dtype=np.int64)
    rows = np.empty((MOST_ROWS, FIELDS))
    kept, count_of = np.empty((DIRECTIONS, SLOTS, FIELDS)), np.empty(DIRECTIONS, dtype=np.int64)
    chosen, values = np.empty(2 * SLOTS, dtype=np.int64), np.empty(2 * SLOTS)
    steps = np.empty((DIRECTIONS, 2))
    n_blocks = blocks.first.size
    low, top = np.empty((2, n_blocks)), np.empty((2, n_blocks))
    matters, is_read = np.empty(DIRECTIONS, dtype=np.bool_), np.empty(OPPOSITE, dtype=np.bool_)
    reach_near = blocks.ends[blocks.near] - 1
    near, near_back = np.empty(2 * reach_near + 1), np.empty(2 * reach_near + 1)
    begin_near = max(0, reach_near - up)
    written = 0
    for lot in range(places.shape[0]):
        r0, c0 = places[lot, 0], places[lot, 1]
        ground[lot] = sample(grid, r0, c0)
        for k in range(DIRECTIONS):
            east, north = bearings[k, 0] * rules.step_ft, bearings[k, 1] * rules.step_ft
            steps[k, 0] = jacobians[lot, 0, 0] * east + jacobians[lot, 0, 1] * north
            steps[k, 1] = jacobians[lot, 1, 0] * east + jacobians[lot, 1, 1] * north
        valley[lot] = False
        for axis in range(OPPOSITE):
            line, d_row, d_col = read[axis], steps[axis, 0], steps[axis, 1]
            matters[axis] = matters[axis + OPPOSITE] = True
            rough = 0.0
            bounded = bounds_along(grid, relief, r0, c0, d_row, d_col, blocks, near, low[0], top[0], scratch)
            if bounded:
                if steep_higher_ground(near, begin_near, reach_near, rules):
                    reverse(near, near_back)
                    valley[lot] |= steep_higher_ground(near_back, begin_near, reach_near, rules)
                reverse(low[0], low[1])
                reverse(top[0], top[1])
                matters[axis] = may_matter(low[0], top[0], blocks)
                matters[axis + OPPOSITE] = may_matter(low[1], top[1], blocks)
            is_read[axis] = matters[axis] or matters[axis + OPPOSITE]
            if is_read[axis]:
                lo, hi = read_line(grid, r0, c0, steps, axis, up, down, line, runs, scratch)
                if lo <= hi:
                    smooth(line, lo, hi, rules.window, mean)
                    rough = unevenness(line, mean, lo, hi, scratch)
                reverse(line, back)
                reverse(mean, back_mean)
                if not bounded and steep_higher_ground(line, runs[axis, 0], site, rules):
                    valley[lot] |= steep_higher_ground(back, runs[axis + OPPOSITE, 0], site, rules)
            else:  # bounds of all its blocks are finite: all of it is known
                runs[axis, 0], runs[axis, 1] = site - up, site + down
                runs[axis + OPPOSITE, 0], runs[axis + OPPOSITE, 1] = site - up, site + down
            for k in (axis, axis + OPPOSITE):
                lo, hi = runs[k, 0], runs[k, 1]
                reach[lot, k, 0] = max(0, site - lo) * rules.step_ft
                reach[lot, k, 1] = max(0, hi - site) * rules.step_ft
                count_of[k] = 0
                if hi - lo < 8 or not matters[k]:
                    continue
                z, s = (line, mean) if k == axis else (back, back_mean)
                # a mean is the same from either end of the line, but for the ends of a profile that is shorter
                most = max(rough, smooth_ends(z, lo, hi, rules.window, s))
                count = find_features(z, s, lo, hi, site, most, rules, turns, stack, rows)
                if count == 0:
                    continue
                if fine.step_ft < 0.99 * rules.step_ft and shortest(rows, count) < rules.fine_below_ft:
                    part = fine.step_ft / rules.step_ft
                    between_samples(grid, r0, c0, steps[k], part, z, fine_site, fine_z, scratch)
                    lo, hi = valid_run(fine_z, fine_site)
                    smooth(fine_z, lo, hi, fine.window, smoothed)
                    most = unevenness(fine_z, smoothed, lo, hi, scratch)
                    count = find_features(fine_z, smoothed, lo, hi, fine_site, most, fine, turns, stack, rows)
                mark_hills(grid, r0, c0, steps, k, rows, count, shape, rules)
                count_of[k] = choose(rows, count, shape, rules, chosen, values)
                for j in range(count_of[k]):
                    kept[k, j] = rows[chosen[j]]
        for k in range(DIRECTIONS):
            for turn in range(-2, 3):  # the profiles of the quadrant that isolation looks at
                axis = (k + turn) % OPPOSITE
                if count_of[k] > 0 and not is_read[axis]:
                    read_line(grid, r0, c0, steps, axis, up, down, read[axis], runs, scratch)
                    is_read[axis] = True
            for j in range(count_of[k]):
                kept[k, j, ISOLATED] = isolation(read, runs, site, k, kept[k, j], rules)
                out[written] = kept[k, j]
                owners[written, 0], owners[written, 1] = lot, k
                written += 1
    return written


@borrowing
def shortest(rows: Floats, count: int) -> float:
    """Least half length of some rows."""
    least = np.inf
    for i in range(count):
        least = min(least, rows[i, LENGTH])
    return least


@borrowing
def between_samples(
    grid: Floats,
    row: float,
    col: float,
    step: Floats,
    part: float,
    line: Floats,
    fine_site: int,
    out: Floats,
    scratch: Floats,
) -> None:
    """A profile at `part` of the step; at half the step every other sample is on `line` already."""
    d_row, d_col = step[0] * part, step[1] * part
    if part != 0.5:
        sample_line(grid, row, col, d_row, d_col, fine_site, out, scratch)
        return
    begin = (fine_site + 1) % 2  # an odd number of half steps from the lot
    sample_line(grid, row, col, d_row, d_col, fine_site, out, scratch, begin, 2)
    first = line.size // 2 - (fine_site - (1 - begin)) // 2
    for i in range((out.size - (1 - begin) + 1) // 2):
        out[2 * i + 1 - begin] = line[first + i]


@borrowing
def mark_hills(
    grid: Floats,
    row: float,
    col: float,
    steps: Floats,
    k: int,
    rows: Floats,
    count: int,
    shape: Floats,
    rules: Rules,
) -> None:
    """Make hills of the ridges whose crest falls away on all sides, where it matters to the lot."""
    for i in range(count):
        if rows[i, FORM] != RIDGE or not score(rows, i, 0.0, shape, rules, False) > 0.0:
            continue
        back = rows[i, X] / rules.step_ft
        crest_row, crest_col = row + back * steps[k, 0], col + back * steps[k, 1]
        height, reach_ft = rows[i, HEIGHT], rules.hill_reach * rows[i, LENGTH]
        crest_z = rows[i, BASE] + height
        if falls_all_round(grid, crest_row, crest_col, steps, k, crest_z, height, reach_ft, rules.step_ft):
            rows[i, FORM] = HILL
