"""Loads along a straight line and the simple spans that carry them: truss tops, wall plates, diaphragms.

A load is worth an *effect*: an array of any shape (in the demand model: load state x basis), so that one pass of
statics serves every load state at once. Spans between supports are simple (each carries its own load); what lies
beyond the outer supports is a cantilever of the outer span. Lengths in feet; the effect's unit is what was put in.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from screener.trace import Traced, named, placed

Effect = NDArray[np.float64]

SAME_FT = 1e-6
"""Points closer than this stand at one place."""

STATICS = "statics"
"""Source of what follows from equilibrium alone."""


def hat(supports: Sequence[float], j: int, s: float) -> float:
    """Share of a unit load at ``s`` that simple spans hand to support ``j`` (shares sum to one everywhere)."""
    n = len(supports)
    if n == 1:
        return 1.0
    k = min(max(int(np.searchsorted(supports, s, side="right")) - 1, 0), n - 2)
    right = (s - supports[k]) / (supports[k + 1] - supports[k])
    if j == k:
        return 1.0 - right
    return right if j == k + 1 else 0.0


@dataclass
class LineLoad:
    """Piecewise-linear distributed loads ``(lo, hi, at lo, at hi)`` per foot, and point loads ``(s, effect)``."""

    zero: Effect
    pieces: list[tuple[float, float, Effect, Effect]] = field(default_factory=list)
    points: list[tuple[float, Effect]] = field(default_factory=list)

    def spread(self, lo: float, hi: float, per_ft: Effect, per_ft_at_hi: Effect | None = None) -> None:
        if hi - lo <= SAME_FT:
            return
        at_lo, at_hi = per_ft, per_ft if per_ft_at_hi is None else per_ft_at_hi
        if isinstance(per_ft, Traced) and per_ft_at_hi is None:
            at_lo = at_hi = placed(per_ft, f"{lo:g}-{hi:g} ft")
        elif isinstance(per_ft, Traced):
            at_lo, at_hi = (placed(e, f"{lo:g}-{hi:g} ft, value at {s:g}") for e, s in ((at_lo, lo), (at_hi, hi)))
        self.pieces.append((lo, hi, at_lo, at_hi))

    def point(self, s: float, effect: Effect) -> None:
        self.points.append((s, placed(effect, f"at {s:.2f} ft") if isinstance(effect, Traced) else effect))

    def add(self, other: LineLoad) -> None:
        self.pieces += other.pieces
        self.points += other.points

    def total(self) -> Effect:
        return self.within(-np.inf, np.inf)

    def within(self, lo: float, hi: float, ends: bool = True) -> Effect:
        """Sum of what lies from lo to hi; point loads at lo and hi count only with ``ends``."""
        out = self.zero.copy()
        for a, b, ea, eb in self._cut(lo, hi):
            out += 0.5 * (b - a) * (ea + eb)
        for s, e in self.points:
            if lo - SAME_FT <= s <= hi + SAME_FT and (ends or lo + SAME_FT < s < hi - SAME_FT):
                out += e
        return out

    def moment(self, about: float, lo: float = -np.inf, hi: float = np.inf, ends: bool = True) -> Effect:
        """Sum of effect x (s - about) from lo to hi."""
        out = self.zero.copy()
        for a, b, ea, eb in self._cut(lo, hi):
            # a linear load times a linear arm is quadratic: the three-point rule is exact
            out += (b - a) / 6.0 * (ea * (a - about) + 2.0 * (ea + eb) * (0.5 * (a + b) - about) + eb * (b - about))
        for s, e in self.points:
            if lo - SAME_FT <= s <= hi + SAME_FT and (ends or lo + SAME_FT < s < hi - SAME_FT):
                out += e * (s - about)
        return out

    def to_ends(self, lo: float, hi: float, ends: bool = True) -> tuple[Effect, Effect]:
        """What lies from lo to hi, handed by lever to its two ends."""
        total, moment = self.within(lo, hi, ends), self.moment(lo, lo, hi, ends)
        at_hi = moment / (hi - lo)
        return total - at_hi, at_hi

    def reactions(self, supports: Sequence[float]) -> list[Effect]:
        """Reaction of each support under simple spans, ends cantilevering; sums to ``total()``."""
        if len(supports) == 1:
            return [self.total()]
        out = [self.zero.copy() for _ in supports]
        n = len(supports) - 1
        for k in range(n):
            lo = -np.inf if k == 0 else supports[k]
            hi = np.inf if k == n - 1 else supports[k + 1]
            a, b = supports[k], supports[k + 1]
            # a point load on an inner support goes straight into it: counted once, with the span on its right
            total, moment = self._span(lo, hi, a, last=k == n - 1)
            out[k + 1] += moment / (b - a)
            out[k] += total - moment / (b - a)
        return out

    def _span(self, lo: float, hi: float, about: float, last: bool) -> tuple[Effect, Effect]:
        total, moment = self.zero.copy(), self.zero.copy()
        for a, b, ea, eb in self._cut(lo, hi):
            total += 0.5 * (b - a) * (ea + eb)
            moment += (b - a) / 6.0 * (ea * (a - about) + 2.0 * (ea + eb) * (0.5 * (a + b) - about) + eb * (b - about))
        for s, e in self.points:
            if lo - SAME_FT <= s and (s < hi - SAME_FT or last):
                total += e
                moment += e * (s - about)
        return total, moment

    def shear_and_moment(self, supports: Sequence[float], k: int, s: float) -> tuple[Effect, Effect]:
        """Internal shear and moment at ``s`` inside span ``k`` (between supports k and k+1), simple spans."""
        n = len(supports) - 1
        lo = -np.inf if k == 0 else supports[k]
        hi = np.inf if k == n - 1 else supports[k + 1]
        a, b = supports[k], supports[k + 1]
        total, moment = self.zero.copy(), self.zero.copy()
        left, left_arm = self.zero.copy(), self.zero.copy()
        for p, q, ep, eq in self._cut(lo, hi):
            total += 0.5 * (q - p) * (ep + eq)
            moment += (q - p) / 6.0 * (ep * (p - a) + 2.0 * (ep + eq) * (0.5 * (p + q) - a) + eq * (q - a))
        for p, q, ep, eq in self._cut(lo, min(hi, s)):
            left += 0.5 * (q - p) * (ep + eq)
            left_arm += (q - p) / 6.0 * (ep * (s - p) + 2.0 * (ep + eq) * (s - 0.5 * (p + q)) + eq * (s - q))
        for p, e in self.points:
            if lo + SAME_FT < p < hi - SAME_FT and abs(p - a) > SAME_FT and abs(p - b) > SAME_FT:
                total, moment = total + e, moment + e * (p - a)
                if p < s:
                    left, left_arm = left + e, left_arm + e * (s - p)
        reaction = total - moment / (b - a)
        return reaction - left, reaction * (s - a) - left_arm

    def density_at(self, s: float) -> Effect:
        """Distributed load per foot at ``s`` (points not counted)."""
        out = self.zero.copy()
        for a, b, ea, eb in self.pieces:
            if a - SAME_FT <= s <= b + SAME_FT and b - a > SAME_FT:
                out += ea + (eb - ea) * (s - a) / (b - a)
        return out

    def part(self, lo: float, hi: float) -> LineLoad:
        """The distributed load from lo to hi (points left out)."""
        return LineLoad(self.zero, list(self._cut(lo, hi)))

    def breaks(self) -> list[float]:
        return sorted({round(x, 9) for a, b, _, _ in self.pieces for x in (a, b)})

    def levered(self, gaps: Iterable[tuple[float, float]]) -> LineLoad:
        """The same load where each gap (an opening) carries nothing: its load goes by lever to its two ends."""
        out = LineLoad(self.zero)
        spans = sorted(gaps)
        edges = [-np.inf, *[x for gap in spans for x in gap], np.inf]
        for k in range(0, len(edges), 2):
            for a, b, ea, eb in self._cut(edges[k], edges[k + 1]):
                out.pieces.append((a, b, ea, eb))
        out.points = [p for p in self.points if not any(lo + SAME_FT < p[0] < hi - SAME_FT for lo, hi in spans)]
        for lo, hi in spans:
            at_lo, at_hi = self.to_ends(lo, hi, ends=False)
            words = f"what lies over the opening {lo:g}-{hi:g} ft, handed to its"
            formula = "sum of load x length x lever to the other end / width"
            out.points += [
                (lo, named(at_lo, f"{words} low end", formula, {"width_ft": hi - lo}, "lb", STATICS)),
                (hi, named(at_hi, f"{words} high end", formula, {"width_ft": hi - lo}, "lb", STATICS)),
            ]
        return out

    def _cut(self, lo: float, hi: float) -> Iterable[tuple[float, float, Effect, Effect]]:
        for a, b, ea, eb in self.pieces:
            p, q = max(a, lo), min(b, hi)
            if q - p <= SAME_FT:
                continue
            if p == a and q == b:
                yield a, b, ea, eb
            else:
                yield p, q, ea + (eb - ea) * (p - a) / (b - a), ea + (eb - ea) * (q - a) / (b - a)


@dataclass(frozen=True)
class Profile:
    """A piecewise-linear height along a line (a roof seen from the side), zero outside its ends."""

    s: tuple[float, ...]
    height: tuple[float, ...]

    def at(self, s: float) -> float:
        if s < self.s[0] - SAME_FT or s > self.s[-1] + SAME_FT:
            return 0.0
        return float(np.interp(s, self.s, self.height))

    def crossings(self, other: Profile) -> list[float]:
        """Where the two heights are equal, so that the higher of them is linear between breaks."""
        marks = sorted({*self.s, *other.s})
        out = []
        for a, b in itertools.pairwise(marks):
            da, db = self.at(a) - other.at(a), self.at(b) - other.at(b)
            if da * db < 0:
                out.append(a + (b - a) * da / (da - db))
        return out
