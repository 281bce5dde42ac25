"""Demands and choice for batches of lots of one house: what passes, what is demanded, how hard the chosen piece works.

Two ways give the same bits: compiled loops (`screener.house_loops`) for many lots, and plain numpy
(`screener.house_reference`) for few, and to test the kernels against. Neither looks at lots in any order that shows in
the results. Basis numbers must be finite, not negative, and the first of them 1: a lot without hazards is not judged,
and one that comes in is an error that names its row.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from screener.house_tables import WORD_BITS, HouseTable

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Shorts = NDArray[np.int16]
Bools = NDArray[np.bool_]
Words = NDArray[np.uint64]

COMPILED_FROM_LOTS = 64
"""Below this the plain way is quick enough, and loading compiled code would cost more than it saves."""

NO_TIER = -1


@dataclass(frozen=True)
class HouseDemands:
    """What passes on every lot, and on request what is demanded.

    ``passes`` (lots, words): bit k of line l, in word ``first_word[l] + k // 64``, tells whether option k of the line
    holds at all of its connections; lines that the house lacks have every bit set. ``largest`` (lots, rows) in the
    components' units, at least zero, and ``case`` (lots, rows), the first case that gives it; rows are (point,
    component) in order.
    """

    passes: Words
    largest: Floats | None = None
    case: Shorts | None = None


@dataclass(frozen=True)
class HouseRatios:
    """How hard the chosen options work.

    ``ratio`` (lots, points): of the lot's own option, or of the best on the list where it has none; NaN where the list
    has nothing for the connection. ``ratio_case``: the first case that gives it, -1 where nothing is demanded. The
    governing connection is the first with the greatest ratio, -1 (and NaN) where no connection has one.
    """

    ratio: Floats
    ratio_case: Shorts
    governing_point: Shorts
    governing_ratio: Floats


def evaluate_house(
    table: HouseTable,
    basis: ArrayLike,
    category: ArrayLike,
    *,
    demands: bool = False,
    compiled: bool | None = None,
) -> HouseDemands:
    """Judge every option of every line on lots of one house.

    ``basis`` (lots, basis) from ``demands.load_basis``; ``category`` (lots,) places in ``table.categories``.
    ``demands`` asks for the largest demands and their cases too. ``compiled`` forces one of the two ways.
    """
    rows, held = checked_lots(table, basis, category)
    from screener.house_reference import evaluate_plainly

    return evaluate_plainly(table, rows, held, demands)


def judge_packages(
    table: HouseTable,
    basis: ArrayLike,
    category: ArrayLike,
    packages: ArrayLike,
    tier: ArrayLike | None = None,
    *,
    compiled: bool | None = None,
) -> HouseRatios:
    """Usage ratio at every connection of lots that have packages.

    ``packages`` (packages, lines) names the option of every line, -1 where a package leaves the line out, and ``tier``
    (lots,) the package of each lot, -1 for none; without ``tier`` there is one package row for each lot.
    """
    rows, held = checked_lots(table, basis, category)
    chosen, of_lot = checked_packages(table, packages, tier, len(rows))
    from screener.house_reference import judge_plainly

    return judge_plainly(table, rows, held, chosen, of_lot)


def requirement_classes(passes: Words) -> tuple[Ints, Words, Ints]:
    """Lots of one house that need the same: class of each lot, what passes in each class, and its number of lots.

    Classes stand in ascending order of their words, so they depend on what the lots need and not on their order.
    """
    rows, of_lot, counts = np.unique(passes, axis=0, return_inverse=True, return_counts=True)
    return of_lot.reshape(-1).astype(np.int64), rows, counts.astype(np.int64)


def option_mask(table: HouseTable, passes: Words, line: int) -> Bools:
    """(lots, options) of one line: which options hold."""
    option = np.arange(table.options[line])
    word = passes[:, table.first_word[line] + option // WORD_BITS]
    return (word >> (option % WORD_BITS).astype(np.uint64)) & np.uint64(1) != 0


def governing(ratio: Floats) -> tuple[Shorts, Floats]:
    """First connection with the greatest ratio on each lot, -1 and NaN where all are NaN; infinite counts as greatest."""
    if ratio.shape[1] == 0:
        return np.full(len(ratio), -1, dtype=np.int16), np.full(len(ratio), np.nan)
    known = np.where(np.isnan(ratio), -1.0, ratio)
    point = known.argmax(axis=1)
    found = known[np.arange(len(point)), point]
    return np.where(found >= 0.0, point, -1).astype(np.int16), np.where(found >= 0.0, found, np.nan)


# --- what comes in ------------------------------------------------------------------------------------------------


def checked_lots(table: HouseTable, basis: ArrayLike, category: ArrayLike) -> tuple[Floats, Ints]:
    """Basis rows, and the set of capacity rules of each lot; ``ValueError`` names the first row that can't be judged."""
    rows = np.ascontiguousarray(basis, dtype=np.float64)
    if rows.ndim != 2 or rows.shape[1] != len(table.basis):
        raise ValueError(f"basis has shape {rows.shape}; expected (lots, {len(table.basis)}) for {table.key}")
    places = np.asarray(category)
    if places.shape != (len(rows),):
        raise ValueError(f"categories have shape {places.shape}; expected one for each of {len(rows)} lots")
    if len(rows) and (places.min() < 0 or places.max() >= len(table.categories)):
        raise ValueError(f"a category's place is not among {len(table.categories)} categories")
    fine = np.isfinite(rows).all(axis=1) & (rows >= 0.0).all(axis=1) & (rows[:, 0] == 1.0)
    if not fine.all():
        at = int(np.flatnonzero(~fine)[0])
        shown = dict(zip(table.basis, rows[at].tolist(), strict=True))
        raise ValueError(f"row {at} of the basis can't be judged: {shown}; expected finite numbers, none negative")
    return rows, table.set_of_category[places]


def checked_packages(table: HouseTable, packages: ArrayLike, tier: ArrayLike | None, lots: int) -> tuple[Ints, Ints]:
    """Package rows and the row of each lot (-1: none)."""
    chosen = np.ascontiguousarray(packages, dtype=np.int64)
    if chosen.ndim != 2 or chosen.shape[1] != len(table.lines):
        raise ValueError(f"packages have shape {chosen.shape}; expected (packages, {len(table.lines)} lines)")
    if tier is None:
        chosen, of_lot = np.unique(chosen, axis=0, return_inverse=True)
        of_lot = of_lot.reshape(-1)
    else:
        of_lot = np.ascontiguousarray(tier, dtype=np.int64)
    if of_lot.shape != (lots,):
        raise ValueError(f"packages of lots have shape {of_lot.shape}; expected one for each of {lots} lots")
    if (chosen < -1).any() or (chosen >= np.array(table.options, dtype=np.int64)).any():
        raise ValueError("a package names an option that its line does not have")
    if lots and (of_lot.min() < NO_TIER or of_lot.max() >= len(chosen)):
        raise ValueError(f"a lot's package is not among {len(chosen)} packages")
    return chosen, of_lot.astype(np.int64)
