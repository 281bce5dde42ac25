"""Compiled kernels of the terrain profile: sample, find features, measure them, test isolation.

Order along a profile: index 0 is farthest upwind, the index grows downwind, `site` is the lot's index. Elevations and
distances in ft. `z` is the ground as sampled, `s` the same lightly smoothed: features are found on `s` and measured
on `z`. Nothing here knows files, lots or exposure letters; the rules come in as numbers. See `hazard.topography` for
the words.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Function = TypeVar("Function")

if TYPE_CHECKING:

    def compiled(function: Function) -> Function: ...

else:
    compiled = njit(cache=True, nogil=True)

DIRECTIONS = 16
SLOTS = 5  # kept per direction: best at three heights, best of the high features, best near miss
MOST_ROWS = 96  # candidates looked at on one profile
MOST_TURNS = 2048

RIDGE, ESCARPMENT, HILL, UNCLEAR = 0, 1, 2, 3
STILL_FALLING = 4.0  # at the mean slope the last 2 % of the relief take 2 % of the way; at a quarter of it, 8 %
HEIGHT, LENGTH, X, FORM, UPPER, FOOT, BASE, OPEN, ISOLATED = range(9)  # columns of a feature row
FIELDS = 9
NOT_ISOLATED, IS_ISOLATED, ISOLATION_UNSEEN = 0, 1, 2


class Rules(NamedTuple):
    """Numbers that the kernels need; distances in ft, shares without unit."""

    step_ft: float
    window: int
    prominence_ft: float
    least_height_ft: float
    rough_height_ft: float
    least_slope: float
    greatest_slope: float
    near: float
    foot_share: float
    knee_share: float
    knee_ft: float
    chord_reach: float
    bench_share: float
    flat_share: float
    lee_reach: float
    hill_reach: float
    fine_step_ft: float
    fine_below_ft: float
    reach_upwind: float
    reach_downwind: float
    isolation_heights: float
    isolation_ft: float
    valley_search_ft: float
    valley_rise_ft: float
    valley_slope: float


@compiled
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


@compiled
def sample_points(grid: Floats, places: Floats, out: Floats) -> None:
    """Bilinear values at many (row, col) places."""
    for i in range(out.size):
        out[i] = sample(grid, places[i, 0], places[i, 1])


@compiled
def sample_line(grid: Floats, row: float, col: float, d_row: float, d_col: float, site: int, out: Floats) -> None:
    """Fill `out` along a line: `out[site]` at (row, col); one index more is one step of (-d_row, -d_col) downwind.

    A line that lies inside the grid with both ends, as most do, is read without looking at the edges again.
    """
    rows, cols = grid.shape
    last = out.size - 1
    r0, c0 = row + site * d_row, col + site * d_col
    r1, c1 = row + (site - last) * d_row, col + (site - last) * d_col
    inside = min(r0, r1) >= 0.0 and min(c0, c1) >= 0.0 and max(r0, r1) < rows - 1.0 and max(c0, c1) < cols - 1.0
    if not inside:
        for i in range(last + 1):
            out[i] = sample(grid, row + (site - i) * d_row, col + (site - i) * d_col)
        return
    for i in range(last + 1):
        r, c = row + (site - i) * d_row, col + (site - i) * d_col
        p, q = np.uint64(r), np.uint64(c)
        a, b = r - np.float64(p), c - np.float64(q)
        p1, q1 = p + np.uint64(1), q + np.uint64(1)
        upper = grid[p, q] * (1.0 - b) + grid[p, q1] * b
        lower = grid[p1, q] * (1.0 - b) + grid[p1, q1] * b
        out[i] = upper * (1.0 - a) + lower * a


@compiled
def valid_run(z: Floats, site: int) -> tuple[int, int]:
    """First and last index of the unbroken known ground around the lot; (site, site - 1) where the lot has none."""
    if math.isnan(z[site]):
        return site, site - 1
    lo = site
    while lo > 0 and not math.isnan(z[lo - 1]):
        lo -= 1
    hi = site
    while hi < z.size - 1 and not math.isnan(z[hi + 1]):
        hi += 1
    return lo, hi


@compiled
def smooth(z: Floats, lo: int, hi: int, window: int, out: Floats) -> None:
    """Mean of 2 * window + 1 samples, with fewer (still symmetric) near the ends.

    Sums of differences, so that the height of the ground above sea level has no part in the rounding.
    """
    inner = max(0, hi - lo + 1 - 2 * window)
    first = lo + window
    mean, centre = out[first : first + inner], z[first : first + inner]
    mean[:] = 0.0
    for shift in range(-window, window + 1):
        moved = z[first + shift : first + shift + inner]
        for i in range(inner):
            mean[i] += moved[i] - centre[i]
    for i in range(inner):
        mean[i] = centre[i] + mean[i] / (2 * window + 1)
    for i in range(lo, hi + 1):
        w = min(i - lo, hi - i)
        if w >= window:
            continue
        total = 0.0
        for j in range(i - w, i + w + 1):
            total += z[j] - z[i]
        out[i] = z[i] + total / (2 * w + 1)


@compiled
def turning_points(s: Floats, lo: int, hi: int, prominence: float, out: Ints) -> int:
    """Alternating feet and tops whose swings are at least `prominence`; the last one is pending, not confirmed.

    Of equal feet the most downwind is taken, of equal tops the most upwind: the ones that face each other.
    """
    top = foot = lo
    heading = 0
    count = 0
    for i in range(lo + 1, hi + 1):
        if heading >= 0 and s[i] > s[top]:
            top = i
        if heading <= 0 and s[i] <= s[foot]:
            foot = i
        if heading >= 0 and s[top] - s[i] >= prominence and count < out.size - 1:
            out[count] = top
            count += 1
            heading = -1
            foot = i
        elif heading <= 0 and s[i] - s[foot] >= prominence and count < out.size - 1:
            out[count] = foot
            count += 1
            heading = 1
            top = i
    if heading != 0:
        out[count] = top if heading > 0 else foot
        count += 1
    return count


@compiled
def slope_ends(s: Floats, foot: int, top: int, slack: float) -> tuple[int, int]:
    """The two ends of a slope that face each other: nearest points within `slack` of the foot and of the top."""
    brow = foot
    while brow < top and s[brow] < s[top] - slack:
        brow += 1
    toe = brow
    while toe > foot and s[toe] > s[foot] + slack:
        toe -= 1
    return toe, brow


@compiled
def above_chord(s: Floats, a: int, b: int, end: int, sign: float) -> tuple[int, float]:
    """Index in (a, b] farthest above (sign 1) or below (sign -1) the chord from a to `end`, and how far.

    The chord never slopes down: a drop behind a top must not pull the crest towards the lee side.
    """
    slope = max(0.0, s[end] - s[a]) / max(1, end - a)
    best = a
    most = 0.0
    for i in range(a + 1, b + 1):
        off = sign * (s[i] - s[a] - slope * (i - a))
        if off > most:
            most = off
            best = i
    return best, most


@compiled
def half_point(z: Floats, crest: int, foot: int, level: float) -> float:
    """Fractional index of the first crossing of `level` going upwind from the crest; -1 where there is none."""
    for j in range(crest, foot - 1, -1):
        if z[j] < level:
            if j == crest:
                return -1.0
            return float(j + (level - z[j]) / (z[j + 1] - z[j]))
    return -1.0


@compiled
def measure(
    z: Floats, s: Floats, lo: int, hi: int, site: int, crest: int, foot: int, knee: bool, rules: Rules, row: Floats
) -> bool:
    """Height, half length, position and form of one crest over one foot; False where it can't matter to this lot."""
    step = rules.step_ft
    if s[crest] - s[foot] < rules.prominence_ft:
        return False
    # the foot's place: the nearest point within a small share of the relief above the base
    near_foot = crest
    level = s[foot] + rules.foot_share * (s[crest] - s[foot])
    while near_foot > foot and s[near_foot] > level:
        near_foot -= 1
    # the crest on the ground as sampled: of equal heights the most upwind, the front edge of a flat top; for a knee a
    # line of half the front slope is taken off first
    tilt = 0.5 * (s[crest] - s[near_foot]) / max(1, crest - near_foot) if knee else 0.0
    best = max(foot + 1, crest - rules.window)
    for i in range(best + 1, min(hi, crest + rules.window) + 1):
        if z[i] - tilt * i > z[best] - tilt * best:
            best = i
    place, crest_z = float(best), z[best]
    if not knee and lo + 1 < best < hi - 1:
        place, crest_z = rounded_peak(z, best)
    height = crest_z - z[foot]
    if height < (1.0 - rules.near) * rules.least_height_ft:
        return False
    half = half_point(z, best, foot, z[foot] + 0.5 * height)
    if half < 0.0:
        return False
    length = (place - half) * step
    if height < (1.0 - rules.near) * rules.least_slope * length:
        return False
    # one hill only: once below half height the ground stays below it down to the foot (but for unevenness)
    for j in range(int(half), foot - 1, -1):
        if s[j] > z[foot] + (0.5 + rules.knee_share) * height:
            return False
    effective = max(length, height / rules.greatest_slope)
    x = (site - place) * step
    if x > rules.reach_downwind * effective or x < -rules.reach_upwind * effective:
        return False
    row[HEIGHT] = height
    row[LENGTH] = length
    row[X] = x
    row[FORM] = lee_form(z, best, hi, crest_z - 0.5 * height, rules.lee_reach * effective / step)
    row[UPPER] = (z[site] - z[foot]) / (0.5 * height)
    row[FOOT] = (place - near_foot) * step
    row[BASE] = z[foot]
    # open: the base is where the profile ends, and the ground there still falls at a quarter or more of the mean slope
    ends_there = foot <= lo + 2 and near_foot - lo <= STILL_FALLING * rules.foot_share * (best - lo) + 2.0
    row[OPEN] = 1.0 if ends_there else 0.0
    row[ISOLATED] = IS_ISOLATED
    return True


@compiled
def rounded_peak(z: Floats, best: int) -> tuple[float, float]:
    """Place and height of a peak between samples, by the parabola through three of them.

    Only where the ground falls alike on both sides; across an edge a parabola would move the crest to the flat side.
    """
    back, ahead = z[best - 1] - z[best - 2], z[best + 1] - z[best + 2]
    bend = z[best - 1] - 2.0 * z[best] + z[best + 1]
    if bend >= 0.0 or min(back, ahead) < 0.5 * max(back, ahead) or z[best] < z[best - 1] or z[best] < z[best + 1]:
        return float(best), z[best]
    off = 0.5 * (z[best - 1] - z[best + 1]) / bend
    return best + off, z[best] - 0.25 * (z[best - 1] - z[best + 1]) * off


@compiled
def lee_form(z: Floats, crest: int, hi: int, level: float, reach: float) -> int:
    """Ridge where the ground falls to `level` within `reach` steps downwind; unclear where the profile ends first."""
    last = crest + int(math.ceil(reach))
    for i in range(crest + 1, min(last, hi) + 1):
        if z[i] <= level:
            return RIDGE
    return ESCARPMENT if last <= hi else UNCLEAR


@compiled
def knee_stands(s: Floats, foot: int, knee: int, top: int, confirmed: bool, hi: int, rules: Rules) -> int:
    """Whether a break in slope is a crest of its own; returns its index (moved to a rounded top) or -1.

    The ground behind it decides. Nearly as high as the top: an edge if the ground between is flat against the front
    slope and longer than half an Lh, else the top speaks for it. Rounded over within 2.5 half lengths: the shoulder of
    a hill, not an edge. Rising at less than `bench_share` of the front slope: an edge with a bench or a rising plateau
    behind it.
    """
    height = s[knee] - s[foot]
    half = half_point(s, knee, foot, s[foot] + 0.5 * height)
    if half < 0.0:
        return -1
    length = knee - half
    if s[top] - s[knee] < rules.knee_share * (s[top] - s[foot]):
        between = top - knee
        flat = s[top] - s[knee] <= rules.flat_share * 0.5 * height / length * between
        return knee if not confirmed or (flat and between > 0.5 * length) else -1
    last = min(hi, knee + int(math.ceil(2.5 * length)))
    highest = knee
    for i in range(knee + 1, last + 1):
        if s[i] > s[highest]:
            highest = i
    rise = s[highest] - s[knee]
    if highest < last and rise > 0.05 * height:
        return -1 if highest == top and confirmed else highest
    return knee if rise <= rules.bench_share * 1.25 * height else -1


@compiled
def out_of_reach(relief: float, foot: int, top: int, site: int, rules: Rules) -> bool:
    """Whether no crest between foot and top can matter to the lot, for want of height (on the safe side)."""
    height = 1.5 * relief + rules.prominence_ft
    length = height / (rules.least_slope * (1.0 - rules.near))
    upwind, downwind = (foot - site) * rules.step_ft, (site - top) * rules.step_ft
    window = (rules.window + 1) * rules.step_ft
    return upwind > rules.reach_upwind * length + window or downwind > rules.reach_downwind * length + window


@compiled
def find_features(
    z: Floats, s: Floats, lo: int, hi: int, site: int, rules: Rules, turns: Ints, stack: Ints, rows: Floats
) -> int:
    """Every crest-and-foot pair of the profile that may matter to the lot; returns how many rows were filled."""
    count = 0
    n_turns = turning_points(s, lo, hi, rules.prominence_ft, turns)
    crests = np.empty(3, dtype=np.int64)
    kinds = np.empty(3, dtype=np.int64)
    deepest = np.inf
    for t in range(1, n_turns):
        top = turns[t]
        deepest = min(deepest, s[turns[t - 1]])
        if s[top] <= s[turns[t - 1]] or out_of_reach(s[top] - deepest, turns[t - 1], top, site, rules):
            continue
        confirmed = t < n_turns - 1
        n_crests = 0
        stack[0, 0] = turns[t - 1]
        stack[0, 1] = top
        stack[0, 2] = 1 if confirmed else 0
        stack[0, 3] = turns[t + 1] if confirmed else hi
        depth = 1
        taken = 0
        while depth > 0 and taken < 8:
            depth -= 1
            foot, summit, sure, end = stack[depth, 0], stack[depth, 1], stack[depth, 2] == 1, stack[depth, 3]
            outer = taken == 0
            taken += 1
            relief = s[summit] - s[foot]
            if relief < rules.prominence_ft:
                continue
            toe, brow = slope_ends(s, foot, summit, rules.foot_share * relief)
            main = summit if sure else brow
            if sure:
                if count < MOST_ROWS and measure(z, s, lo, hi, site, summit, foot, False, rules, rows[count]):
                    count += 1
                if outer:
                    crests[n_crests], kinds[n_crests] = summit, 0
                    n_crests += 1
            first_knee = -1
            for mode in range(2):
                chord_end = summit if sure else brow
                stop = chord_end
                if mode == 0:
                    chord_end = min(chord_end + int(rules.chord_reach * relief / rules.step_ft), end)
                    stop = min(summit, chord_end)
                knee, off = above_chord(s, toe, stop, chord_end, 1.0)
                if (
                    off < max(rules.knee_share * relief, rules.knee_ft)
                    or (sure and knee == summit)
                    or knee == first_knee
                ):
                    continue
                if knee == chord_end:
                    continue
                if knee != summit:
                    knee = knee_stands(s, foot, knee, summit, sure, min(end, hi), rules)
                    if knee < 0:
                        continue
                if count < MOST_ROWS and measure(z, s, lo, hi, site, knee, foot, True, rules, rows[count]):
                    count += 1
                if outer:
                    crests[n_crests], kinds[n_crests] = knee, 1
                    n_crests += 1
                if first_knee < 0:
                    first_knee = knee
                    if not sure:
                        main = knee
            # the steep part of a long slope: where the ground bends up most
            bend, off = above_chord(s, toe, main, main, -1.0)
            if off >= max(rules.knee_share * relief, rules.knee_ft):
                knee_main = not (sure and main == summit)
                if count < MOST_ROWS and measure(z, s, lo, hi, site, main, bend, knee_main, rules, rows[count]):
                    count += 1
                if depth < stack.shape[0]:
                    stack[depth, 0], stack[depth, 1], stack[depth, 2], stack[depth, 3] = foot, bend, 0, main
                    depth += 1
            if first_knee >= 0 and first_knee < summit and depth < stack.shape[0]:
                stack[depth, 0], stack[depth, 1], stack[depth, 3] = first_knee, summit, end
                stack[depth, 2] = 1 if sure else 0
                depth += 1
        # lower feet farther upwind, past lower tops: the same crest over a deeper base
        for c in range(n_crests):
            base = s[turns[t - 1]]
            p = t - 2
            while p >= 1:
                if s[turns[p]] > s[crests[c]] + rules.knee_share * (s[crests[c]] - base):
                    break
                if s[turns[p - 1]] < base:
                    base = s[turns[p - 1]]
                    if count < MOST_ROWS and measure(
                        z, s, lo, hi, site, crests[c], turns[p - 1], kinds[c] == 1, rules, rows[count]
                    ):
                        count += 1
                p -= 2
    return count


@compiled
def falls_all_round(
    grid: Floats, row: float, col: float, steps: Floats, crest_z: float, height: float, reach_ft: float, step_ft: float
) -> bool:
    """Whether the ground falls to half height within `reach_ft` of the crest along all 16 bearings.

    All of them, not just the two across the wind: a ridge met at 45 degrees falls on both of those too.
    """
    level = crest_z - 0.5 * height
    n = int(reach_ft / step_ft)
    for turn in range(DIRECTIONS):
        k = (turn * 5) % DIRECTIONS
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


@compiled
def isolation(profiles: Floats, runs: Ints, site: int, k: int, row: Floats, rules: Rules) -> int:
    """Whether other ground above half height stands upwind of the feature, within the quadrant about the wind.

    Measured from the crest, over the lesser of `isolation_heights` times H and `isolation_ft`. Each of the five
    profiles of the quadrant is followed upwind from beyond the foot; ground of the feature itself is left first.
    """
    level = row[BASE] + 0.5 * row[HEIGHT]
    reach_ft = min(rules.isolation_heights * row[HEIGHT], rules.isolation_ft)
    seen = True
    for turn in range(-2, 3):
        p = (k + turn) % DIRECTIONS
        lo, hi = runs[p, 0], runs[p, 1]
        start_ft = (row[X] + row[FOOT]) / math.cos(turn * math.pi / 8.0)
        i = site - int(math.ceil(max(0.0, start_ft) / rules.step_ft))
        last = site - int((row[X] + reach_ft) / rules.step_ft)
        while i >= max(last, lo) and profiles[p, i] > level:
            i -= 1
        while i >= max(last, lo):
            if profiles[p, i] > level:
                return NOT_ISOLATED
            i -= 1
        if last < lo or hi < lo:
            seen = False
    return IS_ISOLATED if seen else ISOLATION_UNSEEN


@compiled
def speed_up(form: int, row: Floats, z_ft: float, shape: Floats, rules: Rules) -> float:
    """K1 K2 K3 of one feature row as one form (for ranking only); `shape` rows: k1 rate, gamma, mu up, mu down."""
    height, length, x = row[HEIGHT], row[LENGTH], row[X]
    effective = max(length, height / rules.greatest_slope)
    mu = shape[form, 3] if x >= 0.0 else shape[form, 2]
    k2 = max(0.0, 1.0 - abs(x) / (mu * effective))
    k1 = shape[form, 0] * min(height / length, rules.greatest_slope)
    return float(k1 * k2 * math.exp(-shape[form, 1] * z_ft / effective))


@compiled
def score(row: Floats, z_ft: float, shape: Floats, rules: Rules, strictly: bool) -> float:
    """Best K1 K2 K3 the row can give; `strictly` applies the slope, height and upper-half conditions."""
    form = int(row[FORM])
    if strictly and (row[HEIGHT] < rules.least_height_ft or row[HEIGHT] < rules.least_slope * row[LENGTH]):
        return 0.0
    upper = row[UPPER] >= 1.0 or (not strictly and row[UPPER] >= 1.0 - rules.near)
    if form == UNCLEAR:
        value = speed_up(ESCARPMENT, row, z_ft, shape, rules)
        return max(value, speed_up(RIDGE, row, z_ft, shape, rules)) if upper else value
    if form == ESCARPMENT or upper:
        return speed_up(form, row, z_ft, shape, rules)
    return 0.0


@compiled
def choose(rows: Floats, count: int, shape: Floats, rules: Rules, chosen: Ints) -> int:
    """Rows to keep: best at z = 0, 30 and 60 ft, best of those high enough for rough ground, best near miss."""
    kept = 0
    for slot in range(SLOTS):
        best = -1
        most = 0.0
        z_ft = 60.0 if slot == 2 else (0.0 if slot == 0 else 30.0)
        for i in range(count):
            if slot == 3 and rows[i, HEIGHT] < rules.rough_height_ft:
                continue
            value = score(rows[i], z_ft, shape, rules, slot < 4)
            if slot == 4 and score(rows[i], z_ft, shape, rules, True) > 0.0:
                continue
            if value > most:
                most = value
                best = i
        known = best < 0
        for j in range(kept):
            known = known or chosen[j] == best
        if not known:
            chosen[kept] = best
            kept += 1
    return kept


@compiled
def between_higher_ground(profiles: Floats, runs: Ints, site: int, rules: Rules) -> bool:
    """Whether steep higher ground stands on both sides of the lot along any axis: a valley or a pass."""
    reach = int(rules.valley_search_ft / rules.step_ft)
    for k in range(DIRECTIONS // 2):
        sides = 0
        for p in (k, k + DIRECTIONS // 2):
            lo = max(runs[p, 0], site - reach)
            for i in range(site - 1, lo - 1, -1):
                rise = profiles[p, i] - profiles[p, site]
                if rise >= rules.valley_rise_ft and rise >= rules.valley_slope * (site - i) * rules.step_ft:
                    sides += 1
                    break
        if sides == 2:
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
    out: Floats,
    counts: Ints,
    reach: Floats,
    valley: Any,
    ground: Floats,
) -> None:
    """All 16 directions of each lot. Writes features (lot, direction, slot, field), counts and known reach up/down."""
    site = int(math.ceil(upwind_ft / rules.step_ft))
    n = site + int(math.ceil(downwind_ft / rules.step_ft)) + 1
    fine_site = int(math.ceil(upwind_ft / fine.step_ft))
    fine_n = fine_site + int(math.ceil(downwind_ft / fine.step_ft)) + 1
    profiles = np.empty((DIRECTIONS, n))
    runs = np.empty((DIRECTIONS, 2), dtype=np.int64)
    smoothed = np.empty(fine_n)
    fine_z = np.empty(fine_n)
    turns = np.empty(MOST_TURNS, dtype=np.int64)
    stack = np.empty((8, 4), dtype=np.int64)
    rows = np.empty((MOST_ROWS, FIELDS))
    chosen = np.empty(SLOTS, dtype=np.int64)
    steps = np.empty((DIRECTIONS, 2))
    for lot in range(places.shape[0]):
        r0, c0 = places[lot, 0], places[lot, 1]
        ground[lot] = sample(grid, r0, c0)
        for k in range(DIRECTIONS):
            east, north = bearings[k, 0] * rules.step_ft, bearings[k, 1] * rules.step_ft
            steps[k, 0] = jacobians[lot, 0, 0] * east + jacobians[lot, 0, 1] * north
            steps[k, 1] = jacobians[lot, 1, 0] * east + jacobians[lot, 1, 1] * north
            sample_line(grid, r0, c0, steps[k, 0], steps[k, 1], site, profiles[k])
            runs[k, 0], runs[k, 1] = valid_run(profiles[k], site)
            reach[lot, k, 0] = max(0, site - runs[k, 0]) * rules.step_ft
            reach[lot, k, 1] = max(0, runs[k, 1] - site) * rules.step_ft
            counts[lot, k] = 0
        valley[lot] = between_higher_ground(profiles, runs, site, rules)
        for k in range(DIRECTIONS):
            lo, hi = runs[k, 0], runs[k, 1]
            if hi - lo < 8:
                continue
            smooth(profiles[k], lo, hi, rules.window, smoothed)
            count = find_features(profiles[k], smoothed, lo, hi, site, rules, turns, stack, rows)
            if count == 0:
                continue
            shortest = np.inf
            for i in range(count):
                shortest = min(shortest, rows[i, LENGTH])
            if shortest < rules.fine_below_ft and fine.step_ft < 0.99 * rules.step_ft:
                part = fine.step_ft / rules.step_ft
                sample_line(grid, r0, c0, steps[k, 0] * part, steps[k, 1] * part, fine_site, fine_z)
                lo, hi = valid_run(fine_z, fine_site)
                smooth(fine_z, lo, hi, fine.window, smoothed)
                count = find_features(fine_z, smoothed, lo, hi, fine_site, fine, turns, stack, rows)
            for i in range(count):
                if rows[i, FORM] == RIDGE and score(rows[i], 0.0, shape, rules, False) > 0.0:
                    back = rows[i, X] / rules.step_ft
                    if falls_all_round(
                        grid,
                        r0 + back * steps[k, 0],
                        c0 + back * steps[k, 1],
                        steps,
                        rows[i, BASE] + rows[i, HEIGHT],
                        rows[i, HEIGHT],
                        rules.hill_reach * rows[i, LENGTH],
                        rules.step_ft,
                    ):
                        rows[i, FORM] = HILL
            kept = choose(rows, count, shape, rules, chosen)
            for j in range(kept):
                row = rows[chosen[j]]
                row[ISOLATED] = isolation(profiles, runs, site, k, row, rules)
                for f in range(FIELDS):
                    out[lot, k, j, f] = row[f]
            counts[lot, k] = kept
