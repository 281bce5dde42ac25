"""How many pieces many undecided lots take together: exact where lots are independent, simulated where they are not.

A lot takes one of a few whole numbers, each with a probability. Independent lots: the distribution of their sum is the
convolution of theirs, worked term by term where that is little work, else by the discrete Fourier transform.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_SUPPORT = 1 << 22
"""Greatest range of a sum (in steps) that is convolved; beyond it the sum is simulated."""

DIRECT_WORK = 60_000_000
"""Multiplications up to which the convolution is done term by term."""

TINY = 1e-9
"""Slack on a probability when a percentile is read off: rounding of sums, not of pieces."""


@dataclass(frozen=True)
class LotClass:
    """Lots alike: so many of them, each taking `pieces[k]` with probability `chance[k]`, independently."""

    lots: int
    pieces: tuple[int, ...]
    chance: tuple[float, ...]

    def __post_init__(self) -> None:
        if self.lots < 1 or len(self.pieces) != len(self.chance) or not self.pieces:
            raise ValueError(f"{self.lots} lots with {len(self.pieces)} amounts; expected at least one of each")
        if min(self.chance) < 0 or abs(sum(self.chance) - 1.0) > 1e-6:
            raise ValueError(f"chances sum to {sum(self.chance):g}; expected chances of 0 or more that sum to 1")


@dataclass(frozen=True)
class Distribution:
    """Chance of each total `least + step * k`."""

    least: int
    step: int
    chance: Floats

    @property
    def totals(self) -> Ints:
        return self.least + self.step * np.arange(len(self.chance), dtype=np.int64)

    def mean(self) -> float:
        return float(self.totals @ self.chance)

    def quantile(self, share: float) -> int:
        """The least total that is enough with at least this probability."""
        return self.quantiles([share])[0]

    def quantiles(self, shares: Sequence[float]) -> list[int]:
        """The same for several probabilities."""
        reached = np.cumsum(self.chance)
        places = np.searchsorted(reached, np.asarray(shares) - TINY)
        return [int(self.totals[min(int(at), len(reached) - 1)]) for at in places]

    def above(self, amount: float) -> float:
        """Probability of a total greater than an amount."""
        return float(np.clip(self.chance[self.totals > amount].sum(), 0.0, 1.0))

    def shortfall(self, amount: float) -> float:
        """Expected pieces by which the total exceeds an amount, 0 where it does not."""
        return float(np.maximum(self.totals - amount, 0.0) @ self.chance)


def mean_of(classes: Sequence[LotClass]) -> float:
    """Expected total."""
    return math.fsum(c.lots * x * p for c in classes for x, p in zip(c.pieces, c.chance, strict=True))


def support_steps(classes: Sequence[LotClass]) -> tuple[int, int, int]:
    """Least total, step and number of steps of the sum: every total is least + step * k, k from 0 to steps."""
    least = sum(c.lots * min(c.pieces) for c in classes)
    gaps = [x - min(c.pieces) for c in classes for x in c.pieces]
    step = math.gcd(*gaps) or 1
    return least, step, sum(c.lots * (max(c.pieces) - min(c.pieces)) for c in classes) // step


def total_of(classes: Sequence[LotClass]) -> Distribution:
    """The exact distribution of the total of independent lots. Raises ValueError where its range is too wide."""
    if not classes:
        return Distribution(0, 1, np.ones(1))
    least, step, steps = support_steps(classes)
    if steps > MOST_SUPPORT:
        raise ValueError(f"totals range over {steps:,} steps; expected at most {MOST_SUPPORT:,}: simulate")
    ordered = sorted(classes, key=lambda c: (c.pieces, c.chance))
    small = [(_own(c, step), c.lots) for c in ordered if max(c.pieces) > min(c.pieces)]
    chance = _direct(small) if _direct_work(small) <= DIRECT_WORK else _transformed(small, steps)
    chance = np.maximum(chance, 0.0)
    return Distribution(least, step, chance / chance.sum())


def _own(c: LotClass, step: int) -> dict[int, float]:
    """Chance of each number of steps above the least that a lot of the class takes."""
    low, out = min(c.pieces), dict[int, float]()
    for x, p in zip(c.pieces, c.chance, strict=True):
        out[(x - low) // step] = out.get((x - low) // step, 0.0) + p
    return dict(sorted(out.items()))


def _direct_work(small: list[tuple[dict[int, float], int]]) -> int:
    work = length = 0
    for own, lots in small:
        reach = max(own)
        work += len(own) * (lots * length + reach * lots * (lots + 1) // 2)
        length += lots * reach
    return work


def _direct(small: list[tuple[dict[int, float], int]]) -> Floats:
    total = np.ones(1)
    for own, lots in small:
        reach = max(own)
        for _ in range(lots):
            more = np.zeros(len(total) + reach)
            for at, p in own.items():
                more[at : at + len(total)] += p * total
            total = more
    return total


def _transformed(small: list[tuple[dict[int, float], int]], steps: int) -> Floats:
    from scipy.fft import next_fast_len

    size = next_fast_len(steps + 1, real=True)
    product = np.ones(size // 2 + 1, dtype=np.complex128)
    for own, lots in small:
        one = np.zeros(size)
        one[list(own)] = list(own.values())
        product *= np.fft.rfft(one) ** lots
    return np.fft.irfft(product, size)[: steps + 1]


def simulated_totals(lots: Sequence[int], shares: Sequence[Floats], pieces: Sequence[Ints], seed: int) -> Ints:
    """Totals (draws, items) of groups of lots: each lot takes one of its group's columns.

    `shares[g]`: (draws, plans) or (plans,) probabilities; `pieces[g]`: (plans, items) what a lot takes.
    """
    random = np.random.default_rng(seed)
    total: Ints | None = None
    for n, share, taken in zip(lots, shares, pieces, strict=True):
        counts = random.multinomial(n, share)
        part = counts @ taken
        total = part if total is None else total + part
    if total is None:
        raise ValueError("no lots; expected at least one group")
    return np.asarray(total, dtype=np.int64)


def uncertain_shares(mix: Floats, certainty: float, draws: int, seed: int) -> Floats:
    """Shares (draws, plans) of a mix known as well as from `certainty` houses sold: a Dirichlet around it."""
    out = np.zeros((draws, len(mix)))
    known = mix > 0
    if known.sum() == 1:
        out[:, known] = 1.0
        return out
    out[:, known] = np.random.default_rng(seed).dirichlet(certainty * mix[known], size=draws)
    return out
