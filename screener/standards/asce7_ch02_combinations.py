"""Load combinations: ASCE 7-16 and 7-22, Chapter 2, as rows of a table."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hazard.standards.tables import load_table

Floats = NDArray[np.float64]

EV_PER_SDS_D = 0.2  # Sec. 12.4.2.2: Ev = 0.2 SDS D


@dataclass(frozen=True)
class Combination:
    """Factors of one load combination; `use` is "uplift" or "compression", `hazard` "wind", "seismic" or "gravity"."""

    edition: str
    method: str
    name: str
    use: str
    hazard: str
    d: float
    w: float
    eh: float
    ev: float
    l: float  # noqa: E741 (the standard's symbol)
    lr: float
    s: float
    clause: str

    @property
    def sds_d(self) -> float:
        """Factor on the product SDS × D, from Ev = 0.2 SDS D (Sec. 12.4.2.2)."""
        return EV_PER_SDS_D * self.ev

    def dead_factor(self, sds_g: ArrayLike) -> Floats:
        """Whole factor on D for given SDS: d + 0.2 SDS × ev."""
        return np.asarray(self.d + self.sds_d * np.asarray(sds_g, dtype=float))[()]


@cache
def _all_combinations() -> tuple[Combination, ...]:
    numbers = ("d", "w", "eh", "ev", "l", "lr", "s")
    words = ("edition", "method", "name", "use", "hazard", "clause")
    table = load_table("load_combinations.csv", "screener")
    return tuple(
        Combination(**{k: str(table[k][i]) for k in words}, **{k: float(table[k][i]) for k in numbers})  # type: ignore[arg-type]
        for i in range(len(table["name"]))
    )


@cache
def combinations(edition: str, method: str, use: str) -> tuple[Combination, ...]:
    """Combinations of one edition, method ("ASD", "LRFD") and use ("uplift", "compression"), in the clause's order.

    ASCE 7-16 and 7-22, Sec. 2.3.1 and 2.3.6 (LRFD), 2.4.1 and 2.4.5 (ASD).
    """
    chosen = tuple(c for c in _all_combinations() if (c.edition, c.method, c.use) == (edition, method, use))
    if not chosen:
        raise ValueError(f"no load combinations for {edition!r}, {method!r}, {use!r}")
    return chosen
