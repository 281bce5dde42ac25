"""Compiled loops over lots of one house: what passes, what is demanded, and how hard the chosen pieces work.

Lots that are alike are taken together (blocks of at most 64, cut out of slices of the lots as they come), and every
form is first bounded over the block's box of basis numbers. Rounding keeps order: a product or a sum of greater numbers
is never smaller, so a form's bound, summed in the form's own order, holds to the last bit. Cases that are below another
case's least value everywhere in the block, and options that hold (or fail) everywhere in it, are settled without a look
at its lots. What is left is worked out lot by lot with the same sums and quotients as the plain way. The order of lots
decides how much is left, never what comes out.

An option with demand v and capacity a passes where v / a <= 1. In IEEE arithmetic that is v <= a: for v > a the
quotient is at least 1 + 2^-52 / a' with a' < 2 the capacity's significand, above the midpoint of 1 and its successor.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from screener.house_arrays import FAILS, JUDGED, LEFT, Blocks, Forms, JudgeArrays, PassArrays, Words
from screener.house_tables import Floats, Ints

Shorts = NDArray[np.int16]

SLICE_LOTS = 4096  # worked on by one thread at a time
BLOCK_LOTS = 64
SURE = 1e-9  # beyond it the approximate sums with reciprocals are right: their error is a few units of 1e-16

compiled = numba.njit(cache=True, nogil=True, error_model="numpy")


# --- lots that are alike, together --------------------------------------------------------------------------------


@compiled  # type: ignore[untyped-decorator]
def _sorted_by(order: Ints, key: Ints, start: int, stop: int) -> None:
    """Sort order[start:stop] by a small whole number of each lot, keeping the order of equals."""
    least = key[order[start]]
    most = least
    for i in range(start, stop):
        least = min(least, key[order[i]])
        most = max(most, key[order[i]])
    if least == most:
        return
    count = np.zeros(most - least + 2, np.int64)
    for i in range(start, stop):
        count[key[order[i]] - least + 1] += 1
    for k in range(1, len(count)):
        count[k] += count[k - 1]
    old = order[start:stop].copy()
    for i in range(len(old)):
        place = key[old[i]] - least
        order[start + count[place]] = old[i]
        count[place] += 1


@compiled  # type: ignore[untyped-decorator]
def _box(basis: Floats, order: Ints, a: int, b: int, low: Floats, high: Floats) -> None:
    for d in range(basis.shape[1]):
        low[d] = basis[order[a], d]
        high[d] = low[d]
    for i in range(a + 1, b):
        row = basis[order[i]]
        for d in range(len(row)):
            v = row[d]
            low[d] = v if v < low[d] else low[d]
            high[d] = v if v > high[d] else high[d]


@compiled  # type: ignore[untyped-decorator]
def _widest(weight: Floats, low: Floats, high: Floats) -> int:
    """The basis number whose spread matters most, -1 where all lots are the same."""
    found, most = -1, 0.0
    for d in range(len(weight)):
        spread = weight[d] * (high[d] - low[d])
        if spread > most:
            found, most = d, spread
    return found


@compiled  # type: ignore[untyped-decorator]
def _split(order: Ints, key: Floats, a: int, b: int, middle: int) -> None:
    """Rearrange order[a:b], and key with it, so that no key before `middle` is greater than one from it on."""
    left, right = a, b - 1
    while left < right:
        pivot = key[(left + right) // 2]
        i, j = left, right
        while i <= j:
            while key[i] < pivot:
                i += 1
            while key[j] > pivot:
                j -= 1
            if i <= j:
                key[i], key[j] = key[j], key[i]
                order[i], order[j] = order[j], order[i]
                i += 1
                j -= 1
        if middle <= j:
            right = j
        elif middle >= i:
            left = i
        else:
            return


@compiled  # type: ignore[untyped-decorator]
def _halved(
    basis: Floats, weight: Floats, order: Ints, start: int, stop: int, ends: Ints, found: int, key: Floats
) -> int:
    """Cut order[start:stop] into blocks by halving at the median of the widest number; block ends go into `ends`.

    Returns how many ends there are after `found` earlier ones. Blocks end in ascending order.
    """
    low, high = np.empty(basis.shape[1]), np.empty(basis.shape[1])
    stack = np.empty((64, 2), np.int64)
    stack[0, 0], stack[0, 1] = start, stop
    depth = 1
    while depth > 0:
        depth -= 1
        a, b = stack[depth, 0], stack[depth, 1]
        if b - a > BLOCK_LOTS:
            _box(basis, order, a, b, low, high)
            d = _widest(weight, low, high)
            blocks = (b - a + BLOCK_LOTS - 1) // BLOCK_LOTS
            middle = a + (blocks // 2) * BLOCK_LOTS
            if d >= 0:
                for i in range(a, b):
                    key[i] = basis[order[i], d]
                _split(order, key, a, b, middle)
            stack[depth, 0], stack[depth, 1] = middle, b
            stack[depth + 1, 0], stack[depth + 1, 1] = a, middle
            depth += 2
        else:
            ends[found] = b
            found += 1
    return found


@compiled  # type: ignore[untyped-decorator]
def _blocks_of(basis: Floats, weight: Floats, order: Ints, key: Ints, ends: Ints) -> int:
    """Put the lots of `order` that are alike together; lots of one block have one key. Returns the number of blocks."""
    n = len(order)
    _sorted_by(order, key, 0, n)
    numbers = np.empty(n)
    found = a = 0
    while a < n:
        b = a + 1
        while b < n and key[order[b]] == key[order[a]]:
            b += 1
        found = _halved(basis, weight, order, a, b, ends, found, numbers)
        a = b
    return found


@compiled  # type: ignore[untyped-decorator]
def _gathered(basis: Floats, order: Ints, a: int, b: int, low: Floats, high: Floats, columns: Floats) -> None:
    """The block's basis numbers by column, and its box."""
    _box(basis, order, a, b, low, high)
    for i in range(a, b):
        row = basis[order[i]]
        for d in range(len(row)):
            columns[d, i - a] = row[d]


# --- forms --------------------------------------------------------------------------------------------------------


@compiled  # type: ignore[untyped-decorator]
def _bound(first: Ints, column: Ints, coefficient: Floats, f: int, low: Floats, high: Floats) -> tuple[float, float]:
    """Least and greatest value of a form over a box, in the form's own order of sums."""
    least = most = 0.0
    for k in range(first[f], first[f + 1]):
        c, d = coefficient[k], column[k]
        if c > 0.0:
            least += low[d] * c
            most += high[d] * c
        else:
            least += high[d] * c
            most += low[d] * c
    return least, most


@compiled  # type: ignore[untyped-decorator]
def _bounds(
    forms: Forms, f0: int, f1: int, has_top: bool, low: Floats, high: Floats, least: Floats, most: Floats
) -> None:
    """Bounds of forms f0 to f1, the lesser of form and ceiling, into the beginning of `least` and `most`."""
    for f in range(f0, f1):
        lo, hi = _bound(forms.first, forms.column, forms.coefficient, f, low, high)
        if has_top:
            top_lo, top_hi = _bound(forms.top_first, forms.top_column, forms.top_coefficient, f, low, high)
            lo, hi = min(lo, top_lo), min(hi, top_hi)
        least[f - f0] = lo
        most[f - f0] = hi


@compiled  # type: ignore[untyped-decorator]
def _form(first: Ints, column: Ints, coefficient: Floats, f: int, columns: Floats, n: int, out: Floats) -> None:
    """Values of a form on the lots of a block: zero, plus one product after the other."""
    a, b = first[f], first[f + 1]
    if b == a:
        for i in range(n):
            out[i] = 0.0
        return
    c0, x0 = coefficient[a], columns[column[a]]
    if b == a + 1:
        for i in range(n):
            out[i] = 0.0 + x0[i] * c0
        return
    c1, x1 = coefficient[a + 1], columns[column[a + 1]]
    if b == a + 2:
        for i in range(n):
            out[i] = (0.0 + x0[i] * c0) + x1[i] * c1
        return
    c2, x2 = coefficient[a + 2], columns[column[a + 2]]
    for i in range(n):
        out[i] = ((0.0 + x0[i] * c0) + x1[i] * c1) + x2[i] * c2
    for k in range(a + 3, b):
        c, x = coefficient[k], columns[column[k]]
        for i in range(n):
            out[i] += x[i] * c


@compiled  # type: ignore[untyped-decorator]
def _values(forms: Forms, f: int, has_top: bool, columns: Floats, n: int, out: Floats, spare: Floats) -> None:
    """Values of one form on a block, the lesser of it and its ceiling."""
    _form(forms.first, forms.column, forms.coefficient, f, columns, n, out)
    if has_top:
        _form(forms.top_first, forms.top_column, forms.top_coefficient, f, columns, n, spare)
        for i in range(n):
            out[i] = spare[i] if spare[i] < out[i] else out[i]


# --- what passes --------------------------------------------------------------------------------------------------


@compiled  # type: ignore[untyped-decorator]
def _verdict(blocks: Blocks, g: int, k: int, rules: int, least: Floats, most: Floats, hint: int) -> tuple[int, int]:
    """Whether option k holds on a whole block: 1 it does, 0 it fails on every lot, -1 the lots differ (or may).

    Worked with reciprocals, so what is near 1 counts as "may". The second number is the case that told.
    """
    j0, cases, comps = blocks.first_case[g], blocks.first_case[g + 1] - blocks.first_case[g], blocks.components[g]
    at = blocks.first_number[g] + k * comps
    alone = blocks.alone[rules, blocks.first_option[g] + k] != 0
    verdict, told = 1, hint
    for step in range(cases):
        j = hint + step
        if j >= cases:
            j -= cases
        shaken = blocks.seismic[j0 + j]
        upper = lower = 0.0
        for c in range(comps):
            hi = most[j * comps + c]
            if hi > 0.0:
                r = blocks.reciprocal[rules, shaken, at + c]
                lo = least[j * comps + c]
                up, down = hi * r, (lo * r if lo > 0.0 else 0.0)
                if alone:
                    upper, lower = max(upper, up), max(lower, down)
                else:
                    upper += up
                    lower += down
        if lower > 1.0 + SURE:
            return 0, j
        if upper > 1.0 - SURE:
            verdict, told = -1, j
    return verdict, told


@compiled  # type: ignore[untyped-decorator]
def _option_fails(
    arrays: PassArrays,
    g: int,
    k: int,
    rules: int,
    most: Floats,
    columns: Floats,
    n: int,
    values: Floats,
    known: NDArray[np.uint8],
    total: Floats,
    fails: NDArray[np.uint8],
) -> None:
    """Lots of the block on which option k fails in some case, by the same sums and quotients as `choice`."""
    blocks = arrays.blocks
    j0, cases, comps = blocks.first_case[g], blocks.first_case[g + 1] - blocks.first_case[g], blocks.components[g]
    at, f0 = blocks.first_number[g] + k * comps, blocks.first_form[g]
    alone = blocks.alone[rules, blocks.first_option[g] + k] != 0
    for i in range(n):
        fails[i] = 0
    for j in range(cases):
        shaken = blocks.seismic[j0 + j]
        upper = 0.0
        for c in range(comps):
            if most[j * comps + c] > 0.0:
                upper += most[j * comps + c] * blocks.reciprocal[rules, shaken, at + c]
        if upper <= 1.0 - SURE:
            continue
        first = True
        for c in range(comps):
            m = j * comps + c
            if most[m] <= 0.0:
                continue
            if known[m] == 0:
                _values(arrays.forms, f0 + m, blocks.has_top[g], columns, n, values[m], total)
                known[m] = 1
            v, a = values[m], blocks.allowable[rules, shaken, at + c]
            if first:
                for i in range(n):
                    total[i] = v[i] / a if v[i] > 0.0 else 0.0
                first = False
            elif alone:
                for i in range(n):
                    term = v[i] / a if v[i] > 0.0 else 0.0
                    total[i] = term if term > total[i] else total[i]
            else:
                for i in range(n):
                    total[i] += v[i] / a if v[i] > 0.0 else 0.0
        if not first:
            for i in range(n):
                fails[i] |= total[i] > 1.0


@compiled  # type: ignore[untyped-decorator]
def _group_passes(
    arrays: PassArrays,
    g: int,
    rules: int,
    low: Floats,
    high: Floats,
    columns: Floats,
    n: int,
    least: Floats,
    most: Floats,
    values: Floats,
    known: NDArray[np.uint8],
    total: Floats,
    fails: NDArray[np.uint8],
    straps: NDArray[np.uint8],
    whole: Words,
    lots: Words,
    touched: NDArray[np.uint8],
) -> None:
    """What one group lets pass: bits cleared for the whole block, or lot by lot where lots differ."""
    blocks = arrays.blocks
    comps = blocks.components[g]
    count = (blocks.first_case[g + 1] - blocks.first_case[g]) * comps
    f0 = blocks.first_form[g]
    _bounds(arrays.forms, f0, f0 + count, blocks.has_top[g], low, high, least, most)
    known[:count] = 0
    looked_at = arrays.first_anchor[g + 1] > arrays.first_anchor[g]
    holds = False
    for i in range(n):
        straps[i] = 0
    hint = 0
    for k in range(blocks.first_option[g + 1] - blocks.first_option[g]):
        o = blocks.first_option[g] + k
        state, word, bit = blocks.state[rules, o], arrays.word[o], arrays.bit[o]
        strap = looked_at and arrays.own[o] != 0
        if state == LEFT or (not strap and whole[word] & bit == 0):
            continue
        verdict = 0
        if state == JUDGED:
            verdict, hint = _verdict(blocks, g, k, rules, least, most, hint)
        if verdict == 1:
            holds |= strap
        elif verdict == 0:
            whole[word] &= ~bit
        else:
            _option_fails(arrays, g, k, rules, most, columns, n, values, known, total, fails)
            _clear(fails, n, word, bit, lots, touched)
            if strap:
                for i in range(n):
                    straps[i] |= 1 - fails[i]
    if looked_at and not holds:
        for i in range(n):
            fails[i] = 1 - straps[i]
        for a in range(arrays.first_anchor[g], arrays.first_anchor[g + 1]):
            _clear(fails, n, arrays.anchor_word[a], arrays.anchor_bit[a], lots, touched)


@compiled  # type: ignore[untyped-decorator]
def _clear(fails: NDArray[np.uint8], n: int, word: int, bit: int, lots: Words, touched: NDArray[np.uint8]) -> None:
    """Clear one bit of a word on the lots that fail."""
    row = lots[word]
    if touched[word] == 0:
        touched[word] = 1
        for i in range(n):
            row[i] = np.uint64(0xFFFFFFFFFFFFFFFF)
    for i in range(n):
        row[i] &= ~(np.uint64(fails[i]) * bit)


@compiled  # type: ignore[untyped-decorator]
def _passes_slice(arrays: PassArrays, basis: Floats, rules: Ints, start: int, stop: int, out: Words) -> None:
    n = stop - start
    order = np.arange(start, stop)
    ends = np.empty(n, np.int64)
    count = _blocks_of(basis, arrays.weight, order, rules, ends)
    groups, words = len(arrays.blocks.components), len(arrays.start)
    widest = 1
    for g in range(groups):
        cases = arrays.blocks.first_case[g + 1] - arrays.blocks.first_case[g]
        widest = max(widest, cases * arrays.blocks.components[g])
    low, high = np.empty(basis.shape[1]), np.empty(basis.shape[1])
    columns = np.empty((basis.shape[1], BLOCK_LOTS))
    least, most = np.empty(widest), np.empty(widest)
    values, known = np.empty((widest, BLOCK_LOTS)), np.empty(widest, np.uint8)
    total, fails, straps = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS, np.uint8), np.empty(BLOCK_LOTS, np.uint8)
    whole, lots, touched = (
        np.empty(words, np.uint64),
        np.empty((words, BLOCK_LOTS), np.uint64),
        np.empty(words, np.uint8),
    )
    a = 0
    for block in range(count):
        b = ends[block]
        _gathered(basis, order, a, b, low, high, columns)
        whole[:] = arrays.start
        touched[:] = 0
        for g in range(groups):
            _group_passes(
                arrays, g, rules[order[a]], low, high, columns, b - a, least, most, values, known, total, fails,
                straps, whole, lots, touched,
            )  # fmt: skip
        for i in range(a, b):
            row = out[order[i]]
            for w in range(words):
                row[w] = whole[w] & lots[w, i - a] if touched[w] else whole[w]
        a = b


@compiled  # type: ignore[untyped-decorator]
def all_passes(arrays: PassArrays, basis: Floats, rules: Ints, start: int, stop: int, out: Words) -> None:
    """Which options hold on lots `start` to `stop`, as `house_kernels.HouseDemands.passes`, into `out` (lots, words).

    `rules` (lots,) is each lot's set of capacities.
    """
    for a in range(start, stop, SLICE_LOTS):
        _passes_slice(arrays, basis, rules, a, min(a + SLICE_LOTS, stop), out)


# --- demands and ratios -------------------------------------------------------------------------------------------


@compiled  # type: ignore[untyped-decorator]
def _ratios(
    arrays: JudgeArrays,
    p: int,
    k: int,
    rules: int,
    low: Floats,
    high: Floats,
    columns: Floats,
    n: int,
    least: Floats,
    most: Floats,
    values: Floats,
    known: NDArray[np.uint8],
    upper: Floats,
    total: Floats,
    ratio: Floats,
    case: Floats,
) -> None:
    """Usage ratio of option k of point p on a block, and the first case that gives it (-1: nothing is demanded).

    `least`, `most`, `values` and `known` are the point's, as `_bounds` and `_values` left them. Cases whose greatest
    total in the block is below another's least can't govern.
    """
    blocks = arrays.blocks
    j0, cases, comps = blocks.first_case[p], blocks.first_case[p + 1] - blocks.first_case[p], blocks.components[p]
    at, f0 = blocks.first_number[p] + k * comps, blocks.first_form[p]
    o = blocks.first_option[p] + k
    alone = blocks.alone[rules, o] != 0
    floor = 0.0
    for j in range(cases):
        shaken = blocks.seismic[j0 + j]
        up = down = 0.0
        for c in range(comps):
            lo, hi, a = least[j * comps + c], most[j * comps + c], blocks.allowable[rules, shaken, at + c]
            more, less = hi / a if hi > 0.0 else 0.0, lo / a if lo > 0.0 else 0.0
            if alone:
                up, down = max(up, more), max(down, less)
            else:
                up += more
                down += less
        upper[j] = up
        floor = max(floor, down)
    for i in range(n):
        ratio[i] = 0.0
        case[i] = -1.0
    for j in range(cases):
        if upper[j] <= 0.0 or upper[j] < floor:
            continue
        shaken = blocks.seismic[j0 + j]
        first = True
        for c in range(comps):
            m = j * comps + c
            if most[m] <= 0.0:
                continue
            if known[m] == 0:
                _values(arrays.forms, f0 + m, blocks.has_top[p], columns, n, values[m], total)
                known[m] = 1
            v, a = values[m], blocks.allowable[rules, shaken, at + c]
            if first:
                for i in range(n):
                    total[i] = v[i] / a if v[i] > 0.0 else 0.0
                first = False
            elif alone:
                for i in range(n):
                    term = v[i] / a if v[i] > 0.0 else 0.0
                    total[i] = term if term > total[i] else total[i]
            else:
                for i in range(n):
                    total[i] += v[i] / a if v[i] > 0.0 else 0.0
        number = float(j)
        for i in range(n):
            more_here = total[i] > ratio[i]
            ratio[i] = total[i] if more_here else ratio[i]
            case[i] = number if more_here else case[i]
    if blocks.state[rules, o] == FAILS:
        for i in range(n):
            ratio[i] = np.inf


@compiled  # type: ignore[untyped-decorator]
def _largest(
    arrays: JudgeArrays,
    p: int,
    columns: Floats,
    n: int,
    least: Floats,
    most: Floats,
    values: Floats,
    known: NDArray[np.uint8],
    spare: Floats,
    largest: Floats,
    case: Floats,
) -> None:
    """Greatest demand of every component of point p on a block, at least zero, and the first case that gives it."""
    blocks = arrays.blocks
    cases, comps = blocks.first_case[p + 1] - blocks.first_case[p], blocks.components[p]
    for c in range(comps):
        floor = least[c]
        for j in range(1, cases):
            floor = max(floor, least[j * comps + c])
        top, of = largest[c], case[c]
        first = True
        for j in range(cases):
            m = j * comps + c
            if most[m] < floor:
                continue
            if known[m] == 0:
                _values(arrays.forms, blocks.first_form[p] + m, blocks.has_top[p], columns, n, values[m], spare)
                known[m] = 1
            v, number = values[m], float(j)
            if first:
                for i in range(n):
                    top[i] = v[i]
                    of[i] = number
                first = False
            else:
                for i in range(n):
                    more = v[i] > top[i]
                    top[i] = v[i] if more else top[i]
                    of[i] = number if more else of[i]
        for i in range(n):
            top[i] = top[i] if top[i] > 0.0 else 0.0


@compiled  # type: ignore[untyped-decorator]
def _judge_slice(
    arrays: JudgeArrays,
    basis: Floats,
    rules: Ints,
    packages: Ints,
    tier: Ints,
    key: Ints,
    start: int,
    stop: int,
    ratio: Floats,
    ratio_case: Shorts,
    governing: Shorts,
    governing_ratio: Floats,
    largest: Floats,
    case: Shorts,
) -> None:
    n = stop - start
    blocks = arrays.blocks
    points, comps_most, cases_most, widest = len(blocks.components), 1, 1, 1
    for p in range(points):
        cases = blocks.first_case[p + 1] - blocks.first_case[p]
        comps_most, cases_most = max(comps_most, blocks.components[p]), max(cases_most, cases)
        widest = max(widest, cases * blocks.components[p])
    order, ends = np.arange(start, stop), np.empty(n, np.int64)
    count = _blocks_of(basis, arrays.weight, order, key, ends)
    low, high = np.empty(basis.shape[1]), np.empty(basis.shape[1])
    columns = np.empty((basis.shape[1], BLOCK_LOTS))
    least, most, upper = np.empty(widest), np.empty(widest), np.empty(cases_most)
    values, known = np.empty((widest, BLOCK_LOTS)), np.empty(widest, np.uint8)
    held_least, held_most = np.empty(widest), np.empty(widest)
    held_values, held_known = np.empty((widest, BLOCK_LOTS)), np.empty(widest, np.uint8)
    total, got, of = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS)
    best, best_of = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS)
    strap, strap_of = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS)
    top, top_of = np.empty((comps_most, BLOCK_LOTS)), np.empty((comps_most, BLOCK_LOTS))
    hardest, hardest_of = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS)
    wants_ratio, wants_demand = len(ratio) > 0, len(largest) > 0
    a = 0
    for block in range(count):
        b = ends[block]
        m = b - a
        set_, package = rules[order[a]], tier[order[a]]
        _gathered(basis, order, a, b, low, high, columns)
        for i in range(m):
            hardest[i] = -1.0
            hardest_of[i] = -1.0
        for p in range(points):
            comps = blocks.components[p]
            forms = (blocks.first_case[p + 1] - blocks.first_case[p]) * comps
            f0 = blocks.first_form[p]
            _bounds(arrays.forms, f0, f0 + forms, blocks.has_top[p], low, high, least, most)
            known[:forms] = 0
            if wants_demand:
                _largest(arrays, p, columns, m, least, most, values, known, total, top, top_of)
                for c in range(comps):
                    at = arrays.first_row[p] + c
                    for i in range(m):
                        largest[order[a + i], at] = top[c, i]
                        case[order[a + i], at] = np.int16(top_of[c, i])
            options = blocks.first_option[p + 1] - blocks.first_option[p]
            if not wants_ratio:
                continue
            if options == 0:
                for i in range(m):
                    ratio[order[a + i], p] = np.nan
                    ratio_case[order[a + i], p] = -1
                continue
            chosen = packages[package, arrays.line[p]] if package >= 0 else -1
            casts = arrays.cast_in[p] >= 0 and arrays.first_own[p + 1] > arrays.first_own[p]
            if casts and (chosen < 0 or chosen == arrays.cast_in[p]):
                h = arrays.partner[p]
                h_forms = (blocks.first_case[h + 1] - blocks.first_case[h]) * blocks.components[h]
                h0 = blocks.first_form[h]
                _bounds(arrays.forms, h0, h0 + h_forms, blocks.has_top[h], low, high, held_least, held_most)
                held_known[:h_forms] = 0
                has = packages[package, arrays.line[h]] if package >= 0 else -1
                among = False
                for s in range(arrays.first_own[p], arrays.first_own[p + 1]):
                    among |= arrays.own[s] == has
                for i in range(m):
                    strap[i] = np.inf
                for s in range(arrays.first_own[p], arrays.first_own[p + 1]):
                    if among and chosen >= 0 and arrays.own[s] != has:
                        continue
                    _ratios(
                        arrays, h, arrays.own[s], set_, low, high, columns, m, held_least, held_most, held_values,
                        held_known, upper, total, got, of,
                    )  # fmt: skip
                    begin = s == arrays.first_own[p] or (among and chosen >= 0)
                    for i in range(m):
                        less = begin or got[i] < strap[i]
                        strap[i] = got[i] if less else strap[i]
                        strap_of[i] = of[i] if less else strap_of[i]
            for k in range(options):
                if chosen >= 0 and k != chosen:
                    continue
                if casts and k == arrays.cast_in[p]:
                    for i in range(m):
                        got[i] = strap[i]
                        of[i] = strap_of[i]
                else:
                    _ratios(
                        arrays, p, k, set_, low, high, columns, m, least, most, values, known, upper, total, got, of
                    )
                begin = k == 0 or chosen >= 0
                for i in range(m):
                    less = begin or got[i] < best[i]
                    best[i] = got[i] if less else best[i]
                    best_of[i] = of[i] if less else best_of[i]
            number = float(p)
            for i in range(m):
                ratio[order[a + i], p] = best[i]
                ratio_case[order[a + i], p] = np.int16(best_of[i])
                more = best[i] > hardest[i]
                hardest[i] = best[i] if more else hardest[i]
                hardest_of[i] = number if more else hardest_of[i]
        if wants_ratio:
            for i in range(m):
                governing[order[a + i]] = np.int16(hardest_of[i])
                governing_ratio[order[a + i]] = hardest[i] if hardest_of[i] >= 0.0 else np.nan
        a = b


@compiled  # type: ignore[untyped-decorator]
def all_judged(
    arrays: JudgeArrays,
    basis: Floats,
    rules: Ints,
    packages: Ints,
    tier: Ints,
    start: int,
    stop: int,
    ratio: Floats,
    ratio_case: Shorts,
    governing: Shorts,
    governing_ratio: Floats,
    largest: Floats,
    case: Shorts,
) -> None:
    """Ratios of the chosen options on lots `start` to `stop`, as `house_kernels.HouseRatios`, and the largest demands.

    Arrays of results without rows are not asked for. `rules` (lots,) is each lot's set of capacities, `tier` its row of
    `packages` (packages, lines), -1 for none.
    """
    key = (tier + 1) * arrays.blocks.allowable.shape[0] + rules
    for a in range(start, stop, SLICE_LOTS):
        _judge_slice(
            arrays, basis, rules, packages, tier, key, a, min(a + SLICE_LOTS, stop), ratio, ratio_case, governing,
            governing_ratio, largest, case,
        )  # fmt: skip
