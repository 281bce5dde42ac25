"""Loads along a line, in scalars: stretches (from, to, load at from, load at to) and single forces (place, force)."""

from __future__ import annotations

import math

SAME = 1e-6


class Line:
    """One line of loads of one load case."""

    def __init__(self) -> None:
        self.stretches: list[tuple[float, float, float, float]] = []
        self.forces: list[tuple[float, float]] = []

    def spread(self, a: float, b: float, w: float, w_end: float | None = None) -> None:
        if b - a > SAME:
            self.stretches.append((a, b, w, w if w_end is None else w_end))

    def force(self, s: float, p: float) -> None:
        self.forces.append((s, p))

    def put(self, other: Line) -> None:
        self.stretches.extend(other.stretches)
        self.forces.extend(other.forces)

    def copy(self) -> Line:
        out = Line()
        out.put(self)
        return out

    def cut(self, lo: float, hi: float) -> list[tuple[float, float, float, float]]:
        """The stretches between lo and hi."""
        out = []
        for a, b, wa, wb in self.stretches:
            p, q = max(a, lo), min(b, hi)
            if q - p > SAME:
                slope = (wb - wa) / (b - a)
                out.append((p, q, wa + slope * (p - a), wa + slope * (q - a)))
        return out

    def resultant(self, lo: float, hi: float, ends: bool = True) -> tuple[float, float]:
        """Force, and moment about lo (0 where lo is infinite), of what lies between; forces at the ends if asked."""
        about = lo if math.isfinite(lo) else 0.0
        total = moment = 0.0
        for a, b, wa, wb in self.cut(lo, hi):
            force = (b - a) * (wa + wb) / 2.0
            total += force
            moment += force * (a - about) + (b - a) ** 2 * (wa + 2.0 * wb) / 6.0
        for s, p in self.forces:
            inside = lo - SAME <= s <= hi + SAME if ends else lo + SAME < s < hi - SAME
            if inside:
                total += p
                moment += p * (s - about)
        return total, moment

    def total(self) -> float:
        return self.resultant(-math.inf, math.inf)[0]

    def lever(self, lo: float, hi: float, ends: bool = True) -> tuple[float, float]:
        """What a beam from lo to hi hands to its two ends."""
        total, moment = self.resultant(lo, hi, ends)
        at_hi = moment / (hi - lo)
        return total - at_hi, at_hi

    def at(self, s: float) -> float:
        """Spread load at one place."""
        return sum(wa + (wb - wa) * (s - a) / (b - a) for a, b, wa, wb in self.stretches if a - SAME <= s <= b + SAME)

    def edges(self) -> list[float]:
        return sorted({round(v, 9) for a, b, _, _ in self.stretches for v in (a, b)})

    def bridged(self, gaps: list[tuple[float, float]]) -> Line:
        """The same loads where each gap carries nothing and hands its own to its two ends."""
        out = Line()
        reach = -math.inf
        for a, b in [*sorted(gaps), (math.inf, math.inf)]:
            out.stretches.extend(self.cut(reach, a))
            reach = b
        out.forces = [(s, p) for s, p in self.forces if not any(a + SAME < s < b - SAME for a, b in gaps)]
        for a, b in sorted(gaps):
            at_a, at_b = self.lever(a, b, ends=False)
            out.force(a, at_a)
            out.force(b, at_b)
        return out

    def on_spans(self, supports: list[float]) -> list[float]:
        """Reactions of simple spans between neighbouring supports; what lies beyond hangs on the outer spans."""
        if len(supports) == 1:
            return [self.total()]
        out = [0.0] * len(supports)
        last = len(supports) - 2
        for k in range(last + 1):
            a, b = supports[k], supports[k + 1]
            lo = -math.inf if k == 0 else a
            hi = math.inf if k == last else b
            force = moment = 0.0
            for p, q, wp, wq in self.cut(lo, hi):
                whole = (q - p) * (wp + wq) / 2.0
                force += whole
                moment += whole * (p - a) + (q - p) ** 2 * (wp + 2.0 * wq) / 6.0
            for s, single in self.forces:
                # a force on an inner support belongs to the span on its right
                if s >= lo - SAME and (s < hi - SAME or k == last):
                    force += single
                    moment += single * (s - a)
            out[k] += force - moment / (b - a)
            out[k + 1] += moment / (b - a)
        return out

    def inside_span(self, supports: list[float], k: int, s: float) -> tuple[float, float]:
        """Shear and bending moment at s in the simple span k."""
        a, b = supports[k], supports[k + 1]
        lo = -math.inf if k == 0 else a
        hi = math.inf if k == len(supports) - 2 else b
        force = moment = before = before_moment = 0.0
        for p, q, wp, wq in self.cut(lo, hi):
            whole = (q - p) * (wp + wq) / 2.0
            force += whole
            moment += whole * (p - a) + (q - p) ** 2 * (wp + 2.0 * wq) / 6.0
        for p, q, wp, wq in self.cut(lo, min(hi, s)):
            whole = (q - p) * (wp + wq) / 2.0
            before += whole
            before_moment += whole * (s - p) - (q - p) ** 2 * (wp + 2.0 * wq) / 6.0
        for p, single in self.forces:
            if lo + SAME < p < hi - SAME and abs(p - a) > SAME and abs(p - b) > SAME:
                force += single
                moment += single * (p - a)
                if p < s:
                    before += single
                    before_moment += single * (s - p)
        support = force - moment / (b - a)
        return support - before, support * (s - a) - before_moment
