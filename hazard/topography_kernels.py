"""Compiled kernels of one terrain profile: find its features and measure them.

Order along a profile: index 0 is farthest upwind, the index grows downwind, `site` is the lot's index. Elevations and
distances in ft. `z` is the ground as sampled, `s` the same lightly smoothed: features are found on `s` and measured
on `z`. Nothing here knows files, lots or exposure letters; the rules come in as numbers. See `hazard.topography` for
the words.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from hazard.topography_lines import Floats, Ints, borrowing

SLOTS = 5  # kept per direction: best at three heights, best of the high features, best near miss
MOST_ROWS = 96  # candidates looked at on one profile
MORE_TURNS = 8  # room for turning points beyond the number of samples
BLOCK = 4  # samples looked at together for turning points

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


@borrowing
def extremes(s: Floats, i: int) -> tuple[float, float]:
    """Least and greatest of the BLOCK samples from an index on."""
    k, one, two, three = np.uint64(i), np.uint64(1), np.uint64(2), np.uint64(3)
    a, b, c, d = s[k], s[k + one], s[k + two], s[k + three]
    return min(min(a, b), min(c, d)), max(max(a, b), max(c, d))


@borrowing
def turning_points(s: Floats, lo: int, hi: int, prominence: float, out: Ints) -> int:
    """Alternating feet and tops whose swings are at least `prominence`; the last one is pending, not confirmed.

    Of equal feet the most downwind is taken, of equal tops the most upwind: the ones that face each other. `out` must
    have room for as many as there are samples. Samples are looked at one by one only in blocks that may hold a swing.
    """
    top = foot = lo
    highest = lowest = s[lo]
    heading = 0
    i = lo + 1
    while i <= hi and heading == 0:
        if s[i] > highest:
            top, highest = i, s[i]
        if s[i] <= lowest:
            foot, lowest = i, s[i]
        if highest - s[i] >= prominence:
            heading = -1
        elif s[i] - lowest >= prominence:
            heading = 1
        else:
            i += 1
    if heading == 0:
        return 0
    out[0] = top if heading < 0 else foot
    count = 1
    top = foot = i
    highest = lowest = s[i]
    i += 1
    while i <= hi:
        stop = min(i + BLOCK, hi + 1)
        if i + BLOCK <= hi + 1:
            # a top or a foot is noted as the block's end that equals are looked for from
            least, most = extremes(s, i)
            if heading > 0 and max(highest, most) - least < prominence:
                if most > highest:
                    top, highest = i, most
                i = stop
                continue
            if heading < 0 and most - min(lowest, least) < prominence:
                if least <= lowest:
                    foot, lowest = stop - 1, least
                i = stop
                continue
        while i < stop:
            here = s[i]
            if heading > 0:
                if here > highest:
                    top, highest = i, here
                elif highest - here >= prominence:
                    out[count] = first_at(s, top, highest)
                    count += 1
                    heading, foot, lowest = -1, i, here
            elif here <= lowest:
                foot, lowest = i, here
            elif here - lowest >= prominence:
                out[count] = last_at(s, foot, lowest)
                count += 1
                heading, top, highest = 1, i, here
            i += 1
    out[count] = first_at(s, top, highest) if heading > 0 else last_at(s, foot, lowest)
    return count + 1


@borrowing
def first_at(s: Floats, i: int, value: float) -> int:
    """First index from `i` on that has a value which is known to be there."""
    while s[i] != value:
        i += 1
    return i


@borrowing
def last_at(s: Floats, i: int, value: float) -> int:
    """Last index up to `i` that has a value which is known to be there."""
    while s[i] != value:
        i -= 1
    return i


@borrowing
def slope_ends(s: Floats, foot: int, top: int, slack: float) -> tuple[int, int]:
    """The two ends of a slope that face each other: nearest points within `slack` of the foot and of the top."""
    low, high = s[foot] + slack, s[top] - slack
    toe = brow = foot
    while brow < top and s[brow] < high:
        if s[brow] <= low:
            toe = brow
        brow += 1
    return (brow if s[brow] <= low else toe), brow


@borrowing
def off_chord(s: Floats, a: int, b: int, end: int) -> tuple[int, float, int, float]:
    """Index in (a, b] farthest above the chord from a to `end`, and how far; and the same below the chord.

    The chord never slopes down: a drop behind a top must not pull the crest towards the lee side.
    """
    start = s[a]
    slope = max(0.0, s[end] - start) / max(1, end - a)
    above = below = a
    most, least = 0.0, 0.0
    for i in range(a + 1, b + 1):
        off = s[i] - start - slope * (i - a)
        if off > most:
            above, most = i, off
        elif off < least:
            below, least = i, off
    return above, most, below, -least


@borrowing
def half_point(z: Floats, crest: int, foot: int, level: float) -> float:
    """Fractional index of the first crossing of `level` going upwind from the crest; -1 where there is none."""
    for j in range(crest, foot - 1, -1):
        if z[j] < level:
            if j == crest:
                return -1.0
            return float(j + (level - z[j]) / (z[j + 1] - z[j]))
    return -1.0


@borrowing
def within_reach(height: float, first: int, last: int, site: int, rules: Rules) -> bool:
    """False only where no crest of at most `height`, from index `first` to `last`, can pass `measure`.

    A feature that isn't too gentle has a half length of at most height / least slope, and its Kzt reaches a fixed
    number of half lengths. A sample more each side, for a crest is placed between samples or moved within the window.
    """
    longest = 1.000001 * height / ((1.0 - rules.near) * rules.least_slope)
    slack = (rules.window + 1) * rules.step_ft
    downwind_ft, upwind_ft = (first - site) * rules.step_ft - slack, (site - last) * rules.step_ft - slack
    return not (downwind_ft > rules.reach_upwind * longest or upwind_ft > rules.reach_downwind * longest)


@borrowing
def highest_near(z: Floats, at: int, hi: int, window: int) -> float:
    """Greatest value within the window about an index; it is only looked for from index 0 to `hi`."""
    greatest = z[at]
    for i in range(max(0, at - window), min(hi, at + window) + 1):
        greatest = max(greatest, z[i])
    return float(greatest)


@borrowing
def lowest_foot(s: Floats, turns: Ints, t: int, share: float) -> float:
    """Lowest base that any crest of the slope up to turn `t` may stand over: see the last step of `find_features`.

    A crest lower than the top meets a higher top before it at the latest where the top does.
    """
    top, base = s[turns[t]], s[turns[t - 1]]
    p = t - 2
    while p >= 1 and s[turns[p]] <= top + share * (top - base):
        base = min(base, s[turns[p - 1]])
        p -= 2
    return float(base)


@borrowing
def foot_place(s: Floats, crest: int, foot: int, share: float) -> int:
    """The foot's place: the nearest point within a small share of the relief above the base."""
    near_foot = crest
    level = s[foot] + share * (s[crest] - s[foot])
    while near_foot > foot and s[near_foot] > level:
        near_foot -= 1
    return near_foot


@borrowing
def measure(
    z: Floats,
    s: Floats,
    lo: int,
    hi: int,
    site: int,
    crest: int,
    foot: int,
    knee: bool,
    rules: Rules,
    rows: Floats,
    at: int,
) -> bool:
    """Height, half length, position and form of one crest over one foot; False where it can't matter to this lot."""
    step = rules.step_ft
    if s[crest] - s[foot] < rules.prominence_ft:
        return False
    if knee and not within_reach(highest_near(z, crest, hi, rules.window) - z[foot], crest, crest, site, rules):
        return False
    # the crest on the ground as sampled: of equal heights the most upwind, the front edge of a flat top; for a knee a
    # line of half the front slope is taken off first
    near_foot = foot_place(s, crest, foot, rules.foot_share) if knee else crest
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
    if not within_reach(height, best, best, site, rules):
        return False
    half = half_point(z, best, foot, z[foot] + 0.5 * height)
    if half < 0.0:
        return False
    length = (place - half) * step
    if height < (1.0 - rules.near) * rules.least_slope * length:
        return False
    effective = max(length, height / rules.greatest_slope)
    x = (site - place) * step
    if x > rules.reach_downwind * effective or x < -rules.reach_upwind * effective:
        return False
    # one hill only: once below half height the ground stays below it down to the foot (but for unevenness)
    for j in range(int(half), foot - 1, -1):
        if s[j] > z[foot] + (0.5 + rules.knee_share) * height:
            return False
    if not knee:
        near_foot = foot_place(s, crest, foot, rules.foot_share)
    rows[at, HEIGHT] = height
    rows[at, LENGTH] = length
    rows[at, X] = x
    rows[at, FORM] = lee_form(z, best, hi, crest_z - 0.5 * height, rules.lee_reach * effective / step)
    rows[at, UPPER] = (z[site] - z[foot]) / (0.5 * height)
    rows[at, FOOT] = (place - near_foot) * step
    rows[at, BASE] = z[foot]
    # open: the base is where the profile ends, and the ground there still falls at a quarter or more of the mean slope
    ends_there = foot <= lo + 2 and near_foot - lo <= STILL_FALLING * rules.foot_share * (best - lo) + 2.0
    rows[at, OPEN] = 1.0 if ends_there else 0.0
    rows[at, ISOLATED] = IS_ISOLATED
    return True


@borrowing
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


@borrowing
def lee_form(z: Floats, crest: int, hi: int, level: float, reach: float) -> int:
    """Ridge where the ground falls to `level` within `reach` steps downwind; unclear where the profile ends first."""
    last = crest + int(math.ceil(reach))
    for i in range(crest + 1, min(last, hi) + 1):
        if z[i] <= level:
            return RIDGE
    return ESCARPMENT if last <= hi else UNCLEAR


@borrowing
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


@borrowing
def find_features(
    z: Floats,
    s: Floats,
    lo: int,
    hi: int,
    site: int,
    unevenness: float,
    rules: Rules,
    turns: Ints,
    stack: Ints,
    rows: Floats,
) -> int:
    """Every crest-and-foot pair of the profile that may matter to the lot; returns how many rows were filled.

    unevenness: of the profile, see `hazard.topography_lines.unevenness`. With it the height of any crest of a slope is
    bounded from the smoothed ground, and slopes that can't matter are passed over without changing the answer.
    """
    count = 0
    crests, kinds = turns.size - 6, turns.size - 3  # the crests of one slope, three at most, are noted at the end
    n_turns = turning_points(s, lo, hi, rules.prominence_ft, turns[:crests])
    for t in range(1, n_turns):
        first, top = turns[t - 1], turns[t]
        if s[top] <= s[first]:
            continue
        # z is within the unevenness of s, and a peak between samples is that much above the samples at most
        highest = highest_near(s, top, hi, rules.window) + 3.0 * unevenness
        own = within_reach(highest - s[first], first, top, site, rules)
        if not own and not within_reach(highest - lowest_foot(s, turns, t, rules.knee_share), first, top, site, rules):
            continue
        confirmed = t < n_turns - 1
        n_crests = 0
        stack[0, 0] = turns[t - 1]
        stack[0, 1] = top
        stack[0, 2] = 1 if confirmed else 0
        stack[0, 3] = turns[t + 1] if confirmed else hi
        depth = 1
        taken = 0
        while depth > 0 and taken < (8 if own else 1):  # no row of its own: only its crests are needed
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
                if count < MOST_ROWS and measure(z, s, lo, hi, site, summit, foot, False, rules, rows, count):
                    count += 1
                if outer:
                    turns[crests + n_crests], turns[kinds + n_crests] = summit, 0
                    n_crests += 1
            first_knee = bend_of = bend = -1  # bend: of the chord to bend_of
            sag = 0.0
            for mode in range(2):
                chord_end = summit if sure else brow
                stop = chord_end
                if mode == 0:
                    chord_end = min(chord_end + int(rules.chord_reach * relief / rules.step_ft), end)
                    stop = min(summit, chord_end)
                knee, off, bend, sag = off_chord(s, toe, stop, chord_end)
                bend_of = stop if stop == chord_end else -1
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
                if count < MOST_ROWS and measure(z, s, lo, hi, site, knee, foot, True, rules, rows, count):
                    count += 1
                if outer:
                    turns[crests + n_crests], turns[kinds + n_crests] = knee, 1
                    n_crests += 1
                if first_knee < 0:
                    first_knee = knee
                    if not sure:
                        main = knee
            # the steep part of a long slope: where the ground bends up most
            if bend_of != main:
                _, _, bend, sag = off_chord(s, toe, main, main)
            if sag >= max(rules.knee_share * relief, rules.knee_ft):
                knee_main = not (sure and main == summit)
                if count < MOST_ROWS and measure(z, s, lo, hi, site, main, bend, knee_main, rules, rows, count):
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
            crest, is_knee = turns[crests + c], turns[kinds + c] == 1
            base = s[turns[t - 1]]
            p = t - 2
            while p >= 1:
                if s[turns[p]] > s[crest] + rules.knee_share * (s[crest] - base):
                    break
                if s[turns[p - 1]] < base:
                    base = s[turns[p - 1]]
                    foot = turns[p - 1]
                    if count < MOST_ROWS and measure(z, s, lo, hi, site, crest, foot, is_knee, rules, rows, count):
                        count += 1
                p -= 2
    return count
