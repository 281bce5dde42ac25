"""Demands and choice for batches of lots of one house: what passes, what is demanded, how hard the chosen piece works.

Two ways give the same bits: compiled loops (`screener.house_loops`) for many lots, and plain numpy
(`screener.house_reference`) for few, and to test the kernels against. Neither looks at lots in any order that shows in
the results. Basis numbers must be finite, not negative, and the first of them 1: a lot without hazards is not judged,
and one that comes in is an error that names its row.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from screener.house_tables import WORD_BITS, HouseTable
from screener.unique_rows import unique_rows

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
    governing connection is the first with the greatest ratio, -1 (and NaN) where no connection has one. On request the
    demands too, as in `HouseDemands`.
    """

    ratio: Floats
    ratio_case: Shorts
    governing_point: Shorts
    governing_ratio: Floats
    largest: Floats | None = None
    case: Shorts | None = None


def evaluate_house(
    table: HouseTable,
    basis: ArrayLike,
    category: ArrayLike,
    *,
    demands: bool = False,
    compiled: bool | None = None,
    threads: int = 1,
) -> HouseDemands:
    """Judge every option of every line on lots of one house.

    ``basis`` (lots, basis) from ``demands.load_basis``; ``category`` (lots,) places in ``table.categories``.
    ``demands`` asks for the largest demands and their cases too. ``compiled`` forces one of the two ways; lots are
    shared among ``threads``.
    """
    rows, held = checked_lots(table, basis, category)
    if not (compiled if compiled is not None else len(rows) >= COMPILED_FROM_LOTS):
        from screener.house_reference import evaluate_plainly

        return evaluate_plainly(table, rows, held, demands)
    from screener.house_loops import all_passes

    passes = np.empty((len(rows), int(table.first_word[-1])), dtype=np.uint64)
    arrays = table.pass_arrays
    _in_threads(threads, len(rows), lambda a, b: all_passes(arrays, rows, held, a, b, passes))
    if not demands:
        return HouseDemands(passes)
    none = np.zeros((0, len(table.lines)), dtype=np.int64)
    tier = np.full(len(rows), NO_TIER, dtype=np.int64)
    _, largest, case = _judged(table, rows, held, none, tier, threads, ratios=False, demands=True)
    return HouseDemands(passes, largest, case)


def judge_packages(
    table: HouseTable,
    basis: ArrayLike,
    category: ArrayLike,
    packages: ArrayLike,
    tier: ArrayLike | None = None,
    *,
    demands: bool = False,
    compiled: bool | None = None,
    threads: int = 1,
    out: HouseRatios | None = None,
) -> HouseRatios:
    """Usage ratio at every connection of lots that have packages.

    ``packages`` (packages, lines) names the option of every line, -1 where a package leaves the line out, and ``tier``
    (lots,) the package of each lot, -1 for none; without ``tier`` there is one package row for each lot. ``out``: an
    earlier result of as many lots of the same house whose arrays the compiled way may write over (new pages cost more
    than the arithmetic).
    """
    rows, held = checked_lots(table, basis, category)
    chosen, of_lot = checked_packages(table, packages, tier, len(rows))
    if not (compiled if compiled is not None else len(rows) >= COMPILED_FROM_LOTS):
        from screener.house_reference import judge_plainly

        return judge_plainly(table, rows, held, chosen, of_lot, demands)
    ratios, largest, case = _judged(table, rows, held, chosen, of_lot, threads, ratios=True, demands=demands, out=out)
    assert ratios is not None
    return replace(ratios, largest=largest, case=case)


def _judged(
    table: HouseTable,
    basis: Floats,
    held: Ints,
    packages: Ints,
    tier: Ints,
    threads: int,
    *,
    ratios: bool,
    demands: bool,
    out: HouseRatios | None = None,
) -> tuple[HouseRatios | None, Floats | None, Shorts | None]:
    from screener.house_loops import all_judged

    n, m, points = len(basis) if ratios else 0, len(basis) if demands else 0, len(table.points)
    if out is None or out.largest is None or out.case is None:
        largest, case = np.empty((m, table.rows)), np.empty((m, table.rows), dtype=np.int16)
    else:
        largest, case = _fitting(out.largest, (m, table.rows)), _fitting(out.case, (m, table.rows))
    found = out
    if found is None:
        found = HouseRatios(
            np.empty((n, points)), np.empty((n, points), dtype=np.int16), np.empty(n, dtype=np.int16), np.empty(n)
        )
    _fitting(found.ratio, (n, points))
    into = (found.ratio, found.ratio_case, found.governing_point, found.governing_ratio, largest, case)
    arrays = table.judge_arrays
    _in_threads(threads, len(basis), lambda a, b: all_judged(arrays, basis, held, packages, tier, a, b, *into))
    return found if ratios else None, largest if demands else None, case if demands else None


def _fitting(array: NDArray[Any], shape: tuple[int, int]) -> NDArray[Any]:
    if array.shape != shape:
        raise ValueError(f"arrays to write over have shape {array.shape}; expected {shape}")
    return array


def _in_threads(threads: int, lots: int, work: Callable[[int, int], None]) -> None:
    """Do work(start, stop) on contiguous parts of the lots, one a thread: the loops hold no interpreter lock."""
    parts = np.linspace(0, lots, max(1, min(threads, lots // COMPILED_FROM_LOTS)) + 1).astype(int).tolist()
    if len(parts) == 2:
        work(0, lots)
        return
    with ThreadPoolExecutor(len(parts) - 1) as pool:
        for done in [pool.submit(work, a, b) for a, b in itertools.pairwise(parts)]:
            done.result()


def requirement_classes(passes: Words) -> tuple[Ints, Words, Ints]:
    """Lots of one house that need the same: class of each lot, what passes in each class, and its number of lots.

    Classes stand in ascending order of their words, so they depend on what the lots need and not on their order.
    """
    if len(passes) < COMPILED_FROM_LOTS:
        found, kind = passes, np.arange(len(passes))
    else:
        from screener.house_loops import distinct_rows

        kind = np.empty(len(passes), dtype=np.int64)
        found = passes[distinct_rows(np.ascontiguousarray(passes), kind)]
    rows, place = unique_rows(found)
    of_lot = place[kind]
    return of_lot, rows, np.bincount(of_lot, minlength=len(rows)).astype(np.int64)


def option_mask(table: HouseTable, passes: Words, line: int) -> Bools:
    """(lots, options) of one line: which options hold."""
    option = np.arange(table.options[line])
    word = passes[:, table.first_word[line] + option // WORD_BITS]
    return np.asarray((word >> (option % WORD_BITS).astype(np.uint64)) & np.uint64(1) != 0)


def governing(ratio: Floats) -> tuple[Shorts, Floats]:
    """First connection with the greatest ratio on each lot, -1 and NaN where all are NaN; infinite is greatest."""
    if ratio.shape[1] == 0:
        return np.full(len(ratio), -1, dtype=np.int16), np.full(len(ratio), np.nan)
    known = np.where(np.isnan(ratio), -1.0, ratio)
    point = known.argmax(axis=1)
    found = known[np.arange(len(point)), point]
    return np.where(found >= 0.0, point, -1).astype(np.int16), np.where(found >= 0.0, found, np.nan)


# --- what comes in ------------------------------------------------------------------------------------------------


def checked_lots(table: HouseTable, basis: ArrayLike, category: ArrayLike) -> tuple[Floats, Ints]:
    """Basis rows, and each lot's set of capacity rules; ``ValueError`` names the first row that can't be judged."""
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
