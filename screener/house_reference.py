"""The plain way through a house and its lots: numpy, connection by connection, for few lots and for tests.

It follows `screener.selection.judge` and `screener.result_tables` step by step, in the same order of sums.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from screener.choice import option_ratios
from screener.house_kernels import HouseDemands, HouseRatios, governing
from screener.house_tables import SEISMIC, WIND, WORD_BITS, HouseTable, PointTable
from screener.points import forms

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Words = NDArray[np.uint64]

CHUNK_LOTS = 1024
EVERY_BIT = np.uint64(0xFFFFFFFFFFFFFFFF)


def evaluate_plainly(table: HouseTable, basis: Floats, held: Ints, demands: bool) -> HouseDemands:
    """`house_kernels.evaluate_house` for lots whose sets of capacity rules are ``held`` (lots,)."""
    n = len(basis)
    passes = np.full((n, int(table.first_word[-1])), EVERY_BIT, dtype=np.uint64)
    largest = np.empty((n, table.rows)) if demands else None
    case = np.empty((n, table.rows), dtype=np.int16) if demands else None
    for start in range(0, n, CHUNK_LOTS):
        part = slice(start, start + CHUNK_LOTS)
        ratios = _all_ratios(table, basis[part], held[part])
        for point, (ratio, _) in zip(table.points, ratios, strict=True):
            if point.line >= 0:
                first = int(table.first_word[point.line])
                words = _packed(ratio <= 1.0, int(table.first_word[point.line + 1]) - first)
                passes[part, first : first + words.shape[1]] &= words
        if largest is not None and case is not None:
            largest[part], case[part] = _largest(table, basis[part])
    return HouseDemands(passes, largest, case)


def judge_plainly(table: HouseTable, basis: Floats, held: Ints, packages: Ints, tier: Ints) -> HouseRatios:
    """`house_kernels.judge_packages` for lots whose sets of capacity rules are ``held`` (lots,)."""
    n = len(basis)
    chosen = np.vstack([packages, np.full((1, len(table.lines)), -1, dtype=np.int64)])[tier]
    ratio = np.full((n, len(table.points)), np.nan)
    case = np.full((n, len(table.points)), -1, dtype=np.int16)
    for start in range(0, n, CHUNK_LOTS):
        part = slice(start, start + CHUNK_LOTS)
        for k, (r, c) in enumerate(_chosen_ratios(table, basis[part], held[part], chosen[part])):
            ratio[part, k], case[part, k] = r, c
    return HouseRatios(ratio, case, *governing(ratio))


def point_values(point: PointTable, basis: Floats) -> Floats:
    """Demands (lots, cases, components), as `points.Point.values`."""
    values = forms(point.coefficients, basis)
    return values if point.ceiling is None else np.minimum(values, forms(point.ceiling, basis))


def _packed(mask: NDArray[np.bool_], words: int) -> Words:
    """Bits of (lots, options) in (lots, words)."""
    out = np.zeros((len(mask), words), dtype=np.uint64)
    for k in range(mask.shape[1]):
        out[:, k // WORD_BITS] |= mask[:, k].astype(np.uint64) << np.uint64(k % WORD_BITS)
    return out


def _largest(table: HouseTable, basis: Floats) -> tuple[Floats, NDArray[np.int16]]:
    values = [point_values(p, basis) for p in table.points]
    largest = np.concatenate([np.maximum(v.max(axis=1), 0.0) for v in values], axis=1)
    return largest, np.concatenate([v.argmax(axis=1) for v in values], axis=1).astype(np.int16)


def _all_ratios(table: HouseTable, basis: Floats, held: Ints) -> list[tuple[Floats, Ints]]:
    """Ratio and case by option at every connection; a cast-in anchor's is that of the best self-anchored hold-down."""
    out = [_point_ratios(p, basis, held) for p in table.points]
    lots = np.arange(len(basis))
    for point, (ratio, case) in zip(table.points, out, strict=True):
        if point.cast_in < 0:
            continue
        ratio[:, point.cast_in] = np.inf
        if point.own:
            of_held, case_held = out[point.partner]
            best = np.array(point.own)[of_held[:, point.own].argmin(axis=1)]
            ratio[:, point.cast_in], case[:, point.cast_in] = of_held[lots, best], case_held[lots, best]
    return out


def _point_ratios(point: PointTable, basis: Floats, held: Ints) -> tuple[Floats, Ints]:
    n = len(basis)
    ratio, case = np.empty((n, point.options)), np.full((n, point.options), -1, dtype=np.int64)
    if not point.judged:
        return ratio, case
    for rules in np.unique(held):
        here = held == rules
        r, c = option_ratios(
            point_values(point, basis[here]),
            point.allowable[rules, WIND],
            point.allowable[rules, SEISMIC],
            point.case_hazards,
            interactions=["none" if alone else "sum" for alone in point.each_alone[rules]],
            compiled=False,
        )
        ratio[here], case[here] = np.where(point.usable[rules], r, np.inf), c
    return ratio, case


def _chosen_ratios(table: HouseTable, basis: Floats, held: Ints, chosen: Ints) -> list[tuple[Floats, Ints]]:
    """Ratio and case of the chosen option at every connection, or of the best one where none is chosen."""
    every = _all_ratios(table, basis, held)
    lots = np.arange(len(basis))
    out = []
    for point, (ratio, case) in zip(table.points, every, strict=True):
        if not point.judged:
            out.append((np.full(len(basis), np.nan), np.full(len(basis), -1)))
            continue
        option = chosen[:, point.line]
        shown = np.where(option >= 0, option, ratio.argmin(axis=1))
        r, c = ratio[lots, shown], case[lots, shown]
        if point.cast_in >= 0:
            # the anchor is the hold-down itself: it works as hard as the one that the lot has
            of_held, case_held = every[point.partner]
            strap = chosen[:, table.points[point.partner].line]
            same = (option == point.cast_in) & np.isin(strap, point.own)
            r[same], c[same] = of_held[lots, strap][same], case_held[lots, strap][same]
        out.append((r, c))
    return out
