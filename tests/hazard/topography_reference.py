"""The terrain reading of `hazard.topography` once more in plain Python and numpy, one lot and direction at a time.

Written from the rules in words (module docstring of `hazard.topography`), to hold the compiled kernels against. It
shares with them only the settings and the standard's tables.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from hazard.topography_kernels import Rules

RIDGE, ESCARPMENT, HILL, UNCLEAR = range(4)


@dataclass(frozen=True)
class Found:
    """One crest over one foot, as the lot sees it."""

    height: float
    length: float
    x: float
    form: int
    upper: float
    foot: float
    base: float
    open_end: bool
    isolation: int = 1


@dataclass(frozen=True)
class Line:
    """A profile cut to its known run; index 0 farthest upwind."""

    z: np.ndarray
    s: np.ndarray
    site: int
    rules: Rules

    @property
    def last(self) -> int:
        return len(self.z) - 1


def bilinear(grid: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Values at fractional cell-centre indices."""
    inside = (rows >= 0) & (cols >= 0) & (rows <= grid.shape[0] - 1) & (cols <= grid.shape[1] - 1)
    r, c = np.where(inside, rows, 0.0), np.where(inside, cols, 0.0)
    i = np.minimum(r.astype(int), grid.shape[0] - 2)
    j = np.minimum(c.astype(int), grid.shape[1] - 2)
    a, b = r - i, c - j
    upper = grid[i, j] * (1 - b) + grid[i, j + 1] * b
    lower = grid[i + 1, j] * (1 - b) + grid[i + 1, j + 1] * b
    return np.where(inside, upper * (1 - a) + lower * a, np.nan)


def known_run(z: np.ndarray, site: int) -> tuple[int, int]:
    """First and last index of the unbroken known ground around the lot."""
    missing = np.flatnonzero(np.isnan(z))
    before, after = missing[missing <= site], missing[missing >= site]
    return (int(before[-1]) + 1 if len(before) else 0), (int(after[0]) - 1 if len(after) else len(z) - 1)


def smoothed(z: np.ndarray, window: int) -> np.ndarray:
    """Mean over a symmetric window that shrinks towards the ends."""
    out = z.copy()
    for i in range(len(z)):
        w = min(window, i, len(z) - 1 - i)
        out[i] = z[i] + np.sum(z[i - w : i + w + 1] - z[i]) / (2 * w + 1)
    return out


def swings(s: np.ndarray, prominence: float) -> list[int]:
    """Zig-zag filter: alternating feet and tops with swings of at least `prominence`."""
    turns: list[int] = []
    high = low = 0
    up: bool | None = None
    for i in range(1, len(s)):
        if up is not False and s[i] > s[high]:
            high = i
        if up is not True and s[i] <= s[low]:
            low = i
        if up is not False and s[high] - s[i] >= prominence:
            turns.append(high)
            up, low = False, i
        elif up is not True and s[i] - s[low] >= prominence:
            turns.append(low)
            up, high = True, i
    if up is not None:
        turns.append(high if up else low)
    return turns


def off_chord(s: np.ndarray, start: int, stop: int, end: int, sign: int) -> tuple[int, float]:
    """Farthest point in (start, stop] above or below the chord start-end, which never slopes down."""
    rise = max(0.0, s[end] - s[start]) / max(1, end - start)
    indices = np.arange(start + 1, stop + 1)
    if not len(indices):
        return start, 0.0
    off = sign * (s[indices] - s[start] - rise * (indices - start))
    best = int(np.argmax(off))
    return (int(indices[best]), float(off[best])) if off[best] > 0 else (start, 0.0)


def crossing(z: np.ndarray, crest: int, foot: int, level: float) -> float | None:
    """First crossing of a level going upwind from the crest."""
    below = [j for j in range(crest, foot - 1, -1) if z[j] < level]
    if not below or below[0] == crest:
        return None
    j = below[0]
    return j + (level - z[j]) / (z[j + 1] - z[j])


def measured(line: Line, crest: int, foot: int, knee: bool) -> Found | None:
    """H, Lh, x, form of one crest over one foot, or None where it can't matter."""
    z, s, r = line.z, line.s, line.rules
    relief = s[crest] - s[foot]
    if relief < r.prominence_ft:
        return None
    above = [i for i in range(foot + 1, crest + 1) if s[i] <= s[foot] + r.foot_share * relief]
    near_foot = max(above, default=foot)
    tilt = 0.5 * (s[crest] - s[near_foot]) / max(1, crest - near_foot) if knee else 0.0
    around = np.arange(max(foot + 1, crest - r.window), min(line.last, crest + r.window) + 1)
    best = int(around[np.argmax(z[around] - tilt * around)])
    at, top = float(best), float(z[best])
    if not knee and 1 < best < line.last - 1:
        left, right = z[best - 1] - z[best - 2], z[best + 1] - z[best + 2]
        bend = z[best - 1] - 2 * z[best] + z[best + 1]
        peak = z[best] >= max(z[best - 1], z[best + 1])
        if bend < 0 and peak and min(left, right) >= 0.5 * max(left, right):
            off = 0.5 * (z[best - 1] - z[best + 1]) / bend
            at, top = best + off, z[best] - 0.25 * (z[best - 1] - z[best + 1]) * off
    base = float(z[foot])
    height = top - base
    if height < (1 - r.near) * r.least_height_ft:
        return None
    half = crossing(z, best, foot, base + 0.5 * height)
    if half is None:
        return None
    length = (at - half) * r.step_ft
    if height < (1 - r.near) * r.least_slope * length:
        return None
    if np.any(s[foot : int(half) + 1] > base + (0.5 + r.knee_share) * height):
        return None
    effective = max(length, height / r.greatest_slope)
    x = (line.site - at) * r.step_ft
    if not -r.reach_upwind * effective <= x <= r.reach_downwind * effective:
        return None
    lee_end = best + math.ceil(r.lee_reach * effective / r.step_ft)
    lee = z[best + 1 : min(lee_end, line.last) + 1]
    if np.any(lee <= top - 0.5 * height):
        form = RIDGE
    else:
        form = ESCARPMENT if lee_end <= line.last else UNCLEAR
    upper = (z[line.site] - base) / (0.5 * height)
    still_falls = foot <= 2 and near_foot <= 4.0 * r.foot_share * best + 2.0
    return Found(height, length, x, form, upper, (at - near_foot) * r.step_ft, base, still_falls)


def standing(line: Line, foot: int, knee: int, top: int, sure: bool, end: int) -> int | None:
    """The knee if it is a crest of its own, the rounded top that it is the shoulder of, or None."""
    s, r = line.s, line.rules
    height = s[knee] - s[foot]
    half = crossing(s, knee, foot, s[foot] + 0.5 * height)
    if half is None:
        return None
    length = knee - half
    if s[top] - s[knee] < r.knee_share * (s[top] - s[foot]):
        flat = s[top] - s[knee] <= r.flat_share * 0.5 * height / length * (top - knee)
        return knee if not sure or (flat and top - knee > 0.5 * length) else None
    stop = min(end, knee + math.ceil(2.5 * length))
    highest = knee + int(np.argmax(s[knee : stop + 1]))
    rise = s[highest] - s[knee]
    if highest < stop and rise > 0.05 * height:
        return None if highest == top and sure else highest
    return knee if rise <= r.bench_share * 1.25 * height else None


def candidates(line: Line) -> list[Found]:
    """Every crest-and-foot pair of a profile."""
    s, r = line.s, line.rules
    turns = swings(s, r.prominence_ft)
    found: list[Found | None] = []
    for t in range(1, len(turns)):
        if s[turns[t]] <= s[turns[t - 1]]:
            continue
        confirmed = t < len(turns) - 1
        crests: list[tuple[int, bool]] = []
        slopes = [(turns[t - 1], turns[t], confirmed, turns[t + 1] if confirmed else line.last)]
        read = 0
        while slopes and read < 8:
            foot, summit, sure, end = slopes.pop()
            read += 1
            relief = s[summit] - s[foot]
            if relief < r.prominence_ft:
                continue
            brow = foot + int(np.argmax(s[foot : summit + 1] >= s[summit] - r.foot_share * relief))
            toes = np.flatnonzero(s[foot : brow + 1] <= s[foot] + r.foot_share * relief)
            toe = foot + int(toes[-1])
            ridge_top = summit if sure else brow
            mine: list[tuple[int, bool]] = [(summit, False)] if sure else []
            least = max(r.knee_share * relief, r.knee_ft)
            knees: list[int] = []
            far_end = min(ridge_top + int(r.chord_reach * relief / r.step_ft), end)
            for chord_end, stop in ((far_end, min(summit, far_end)), (ridge_top, ridge_top)):
                knee, off = off_chord(s, toe, stop, chord_end, 1)
                if off < least or (sure and knee == summit) or knee in knees[:1] or knee == chord_end:
                    continue
                stands = knee if knee == summit else standing(line, foot, knee, summit, sure, min(end, line.last))
                if stands is not None:
                    knees.append(stands)
                    mine.append((stands, True))
            found += [measured(line, crest, foot, is_knee) for crest, is_knee in mine]
            if read == 1:
                crests = mine
            main = ridge_top if sure or not knees else knees[0]
            bend, off = off_chord(s, toe, main, main, -1)
            if off >= least:
                found.append(measured(line, main, bend, not (sure and main == summit)))
                slopes.append((foot, bend, False, main))
            if knees and knees[0] < summit:
                slopes.append((knees[0], summit, sure, end))
        for crest, is_knee in crests:
            base = s[turns[t - 1]]
            for p in range(t - 2, 0, -2):
                if s[turns[p]] > s[crest] + r.knee_share * (s[crest] - base):
                    break
                if s[turns[p - 1]] < base:
                    base = s[turns[p - 1]]
                    found.append(measured(line, crest, turns[p - 1], is_knee))
    return [one for one in found if one is not None]


def factor(one: Found, form: int, z_ft: float, shape: np.ndarray, rules: Rules) -> float:
    """K1 K2 K3 in exposure C."""
    effective = max(one.length, one.height / rules.greatest_slope)
    rate, gamma, up, down = shape[form]
    k2 = max(0.0, 1 - abs(one.x) / ((down if one.x >= 0 else up) * effective))
    return rate * min(one.height / one.length, rules.greatest_slope) * k2 * math.exp(-gamma * z_ft / effective)


def worth(one: Found, z_ft: float, shape: np.ndarray, rules: Rules, strictly: bool) -> float:
    """The best K1 K2 K3 that a feature can give."""
    if strictly and (one.height < rules.least_height_ft or one.height < rules.least_slope * one.length):
        return 0.0
    upper = one.upper >= (1.0 if strictly else 1.0 - rules.near)
    forms = {RIDGE: [RIDGE], HILL: [HILL], ESCARPMENT: [], UNCLEAR: [RIDGE]}[one.form] if upper else []
    forms += [ESCARPMENT] if one.form in (ESCARPMENT, UNCLEAR) else []
    return max((factor(one, form, z_ft, shape, rules) for form in forms), default=0.0)


def kept(found: list[Found], shape: np.ndarray, rules: Rules) -> list[Found]:
    """The few features that any height and exposure could need, first come first where equal."""
    lists = [(found, z_ft, True) for z_ft in (0.0, 30.0, 60.0)]
    lists.append(([one for one in found if one.height >= rules.rough_height_ft], 30.0, True))
    lists.append(([one for one in found if not worth(one, 30.0, shape, rules, True) > 0], 30.0, False))
    out: list[Found] = []
    for some, z_ft, strictly in lists:
        values = [worth(one, z_ft, shape, rules, strictly) for one in some]
        if values and max(values) > 0:
            best = some[int(np.argmax(values))]
            if not any(best is one for one in out):
                out.append(best)
    return out


class Reader:
    """Reads one lot on a grid: 16 profiles, their features, hills and isolation."""

    def __init__(
        self,
        grid: np.ndarray,
        place: np.ndarray,
        jacobian: np.ndarray,
        bearings: np.ndarray,
        reach: tuple[float, float],
    ) -> None:
        self.grid, self.place, self.per_ft, self.reach = grid, place, bearings @ jacobian.T, reach

    def line(self, k: int, step: float) -> tuple[np.ndarray, int]:
        """Samples of direction k from upwind to downwind, and the lot's index."""
        site, behind = (math.ceil(distance / step) for distance in self.reach)
        far = (site - np.arange(site + behind + 1)) * step
        return bilinear(
            self.grid, self.place[0] + far * self.per_ft[k, 0], self.place[1] + far * self.per_ft[k, 1]
        ), site

    def features(self, k: int, shape: np.ndarray, rules: Rules) -> list[Found]:
        """What counts or nearly counts in direction k."""
        found: list[Found] = []
        for step in (rules.step_ft, rules.fine_step_ft):
            z, site = self.line(k, step)
            lo, hi = known_run(z, site)
            if hi - lo < 8:
                return []
            cut = z[lo : hi + 1]
            stepped = rules._replace(step_ft=step)
            found = candidates(Line(cut, smoothed(cut, rules.window), site - lo, stepped))
            short = any(one.length < rules.fine_below_ft for one in found)
            if not short or rules.fine_step_ft >= 0.99 * rules.step_ft:
                break
        hills = [
            replace(one, form=HILL)
            if one.form == RIDGE and worth(one, 0.0, shape, rules, False) > 0 and self.round_about(one, k, rules)
            else one
            for one in found
        ]
        return [replace(one, isolation=self.isolated(one, k, rules)) for one in kept(hills, shape, rules)]

    def round_about(self, one: Found, k: int, rules: Rules) -> bool:
        """Whether the ground falls by H/2 within reach along all bearings from the crest."""
        crest = self.place + one.x * self.per_ft[k]
        far = np.arange(1, int(rules.hill_reach * one.length / rules.step_ft) + 1) * rules.step_ft
        level = one.base + 0.5 * one.height
        for per_ft in self.per_ft:
            z = bilinear(self.grid, crest[0] + far * per_ft[0], crest[1] + far * per_ft[1])
            fallen = np.flatnonzero((z <= level) | np.isnan(z))
            if not len(fallen) or np.isnan(z[fallen[0]]):
                return False
        return True

    def isolated(self, one: Found, k: int, rules: Rules) -> int:
        """0 other ground above half height upwind in the quadrant, 1 none, 2 none as far as known."""
        level = one.base + 0.5 * one.height
        reach = min(rules.isolation_heights * one.height, rules.isolation_ft)
        seen = True
        for turn in range(-2, 3):
            z, site = self.line((k + turn) % 16, rules.step_ft)
            lo, _ = known_run(z, site)
            first = site - math.ceil(max(0.0, one.x + one.foot) / math.cos(turn * math.pi / 8) / rules.step_ft)
            last = site - int((one.x + reach) / rules.step_ft)
            high = [bool(z[i] > level) for i in range(first, max(last, lo) - 1, -1)]
            if False in high and True in high[high.index(False) :]:
                return 0
            seen = seen and last >= lo
        return 1 if seen else 2
