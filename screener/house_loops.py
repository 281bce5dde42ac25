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

from typing import NamedTuple

import numba
import numpy as np
from numpy.typing import NDArray

from screener.house_arrays import FAILS, JUDGED, LEFT, Blocks, Forms, JudgeArrays, PassArrays, Words
from screener.house_tables import Floats, Ints

Shorts = NDArray[np.int16]
Bytes = NDArray[np.uint8]

SLICE_LOTS = 4096  # worked on by one thread at a time
BLOCK_LOTS = 64
NODE_BLOCKS = 8  # blocks that share a first look at what passes
SURE = 1e-9  # beyond it the approximate sums with reciprocals are right: their error is a few units of 1e-16

compiled = numba.njit(cache=True, nogil=True, error_model="numpy")
# for loops that make no array: without counting references to the arrays they are lent
borrowing = numba.njit(cache=True, nogil=True, error_model="numpy", _nrt=False)


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


@borrowing  # type: ignore[untyped-decorator]
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


@borrowing  # type: ignore[untyped-decorator]
def _widest(weight: Floats, low: Floats, high: Floats) -> int:
    """The basis number whose spread matters most, -1 where all lots are the same."""
    found, most = -1, 0.0
    for d in range(len(weight)):
        spread = weight[d] * (high[d] - low[d])
        if spread > most:
            found, most = d, spread
    return found


@borrowing  # type: ignore[untyped-decorator]
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


@borrowing  # type: ignore[untyped-decorator]
def _gathered(basis: Floats, order: Ints, a: int, b: int, low: Floats, high: Floats, columns: Floats) -> None:
    """The block's basis numbers by column, and its box. A block that is not full is filled up with its first lot: loops
    over a fixed number of lots are the faster ones."""
    _box(basis, order, a, b, low, high)
    for i in range(a, b):
        row = basis[order[i]]
        for d in range(len(row)):
            columns[d, i - a] = row[d]
    for d in range(len(low)):
        for i in range(b - a, BLOCK_LOTS):
            columns[d, i] = columns[d, 0]


# --- forms --------------------------------------------------------------------------------------------------------


@borrowing  # type: ignore[untyped-decorator]
def _bound(first: Ints, column: Ints, coefficient: Floats, f: int, low: Floats, high: Floats) -> tuple[float, float]:
    """Least and greatest value of a form over a box, in the form's own order of sums."""
    least = most = 0.0
    for k in range(first[f], first[f + 1]):
        one, other = low[column[k]] * coefficient[k], high[column[k]] * coefficient[k]
        least += one if one < other else other
        most += other if one < other else one
    return least, most


@borrowing  # type: ignore[untyped-decorator]
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


@borrowing  # type: ignore[untyped-decorator]
def _form(first: Ints, column: Ints, coefficient: Floats, f: int, columns: Floats, out: Floats) -> None:
    """Values of a form on the lots of a block: zero, plus one product after the other."""
    a, b = first[f], first[f + 1]
    if b == a:
        for i in range(BLOCK_LOTS):
            out[i] = 0.0
        return
    c0, x0 = coefficient[a], columns[column[a]]
    if b == a + 1:
        for i in range(BLOCK_LOTS):
            out[i] = 0.0 + x0[i] * c0
        return
    c1, x1 = coefficient[a + 1], columns[column[a + 1]]
    if b == a + 2:
        for i in range(BLOCK_LOTS):
            out[i] = (0.0 + x0[i] * c0) + x1[i] * c1
        return
    c2, x2 = coefficient[a + 2], columns[column[a + 2]]
    for i in range(BLOCK_LOTS):
        out[i] = ((0.0 + x0[i] * c0) + x1[i] * c1) + x2[i] * c2
    for k in range(a + 3, b):
        c, x = coefficient[k], columns[column[k]]
        for i in range(BLOCK_LOTS):
            out[i] += x[i] * c


@borrowing  # type: ignore[untyped-decorator]
def _values(forms: Forms, f: int, has_top: bool, columns: Floats, out: Floats, spare: Floats) -> None:
    """Values of one form on a block, the lesser of it and its ceiling."""
    _form(forms.first, forms.column, forms.coefficient, f, columns, out)
    if has_top:
        _form(forms.top_first, forms.top_column, forms.top_coefficient, f, columns, spare)
        for i in range(BLOCK_LOTS):
            out[i] = spare[i] if spare[i] < out[i] else out[i]


# --- what passes --------------------------------------------------------------------------------------------------


@borrowing  # type: ignore[untyped-decorator]
def _verdict(
    blocks: Blocks, g: int, k: int, rules: int, cases: Ints, count: int, least: Floats, most: Floats, hint: int
) -> tuple[int, int]:
    """Whether option k holds on a whole box: 1 it does, 0 it fails everywhere, -1 lots may differ.

    `least` and `most` are the bounds of the group's `count` listed cases. Worked with reciprocals, so what is near 1
    counts as "may". The second number is the place of the case that told, a good one to begin with for the next option.
    """
    j0, comps = blocks.first_case[g], blocks.components[g]
    at = blocks.first_number[g] + k * comps
    alone = blocks.alone[rules, blocks.first_option[g] + k] != 0
    verdict, told = 1, hint
    for step in range(count):
        q = hint + step
        if q >= count:
            q -= count
        held = blocks.reciprocal[rules, blocks.seismic[j0 + cases[q]]]
        upper = lower = 0.0
        for c in range(comps):
            hi, lo = most[q * comps + c], least[q * comps + c]
            if hi > 0.0:
                r = held[at + c]
                up, down = hi * r, (lo * r if lo > 0.0 else 0.0)
                if alone:
                    upper, lower = max(upper, up), max(lower, down)
                else:
                    upper += up
                    lower += down
        if lower > 1.0 + SURE:
            return 0, q
        if upper > 1.0 - SURE:
            verdict, told = -1, q
    return verdict, told


@borrowing  # type: ignore[untyped-decorator]
def _mark_deciding(
    blocks: Blocks, g: int, k: int, rules: int, cases: Ints, count: int, most: Floats, marked: Bytes
) -> None:
    """Mark the listed cases in which option k may fail."""
    j0, comps = blocks.first_case[g], blocks.components[g]
    at = blocks.first_number[g] + k * comps
    for q in range(count):
        held = blocks.reciprocal[rules, blocks.seismic[j0 + cases[q]]]
        upper = 0.0
        for c in range(comps):
            if most[q * comps + c] > 0.0:
                upper += most[q * comps + c] * held[at + c]
        marked[q] |= upper > 1.0 - SURE


@borrowing  # type: ignore[untyped-decorator]
def _box_of_cases(
    forms: Forms,
    blocks: Blocks,
    g: int,
    cases: Ints,
    count: int,
    low: Floats,
    high: Floats,
    least: Floats,
    most: Floats,
) -> None:
    """Bounds of the listed cases of a group."""
    comps = blocks.components[g]
    for q in range(count):
        f = blocks.first_form[g] + cases[q] * comps
        at = q * comps
        _bounds(forms, f, f + comps, blocks.has_top[g], low, high, least[at : at + comps], most[at : at + comps])


class Open(NamedTuple):
    """What a node of many lots leaves open, group by group: options that may fail on some lots, and in which cases."""

    group: Ints
    first_option: Ints
    first_case: Ints
    option: Ints
    case: Ints
    straps: Bytes  # by group: whether a cast-in anchor waits for its options


@borrowing  # type: ignore[untyped-decorator]
def _settle_node(
    arrays: PassArrays,
    rules: int,
    low: Floats,
    high: Floats,
    least: Floats,
    most: Floats,
    every: Ints,
    marked: Bytes,
    whole: Words,
    left: Open,
) -> int:
    """Clear the options that fail on every lot of a node; what may differ goes into `left`. Returns its groups."""
    blocks = arrays.blocks
    found = options = cases = 0
    for g in range(len(blocks.components)):
        count = blocks.first_case[g + 1] - blocks.first_case[g]
        _box_of_cases(arrays.forms, blocks, g, every, count, low, high, least, most)
        marked[:count] = 0
        looked_at = arrays.first_anchor[g + 1] > arrays.first_anchor[g]
        begun, hint, holds = options, 0, False
        for k in range(blocks.first_option[g + 1] - blocks.first_option[g]):
            o = blocks.first_option[g] + k
            word, bit, state = arrays.word[o], arrays.bit[o], blocks.state[rules, o]
            strap = looked_at and arrays.own[o] != 0
            if state == LEFT or (not strap and whole[word] & bit == 0):
                continue
            verdict = 0
            if state == JUDGED:
                verdict, hint = _verdict(blocks, g, k, rules, every, count, least, most, hint)
            if verdict == 1:
                holds |= strap
            elif verdict == 0:
                whole[word] &= ~bit
            else:
                _mark_deciding(blocks, g, k, rules, every, count, most, marked)
                left.option[options] = k
                options += 1
        waits = False
        if looked_at and not holds:
            for q in range(begun, options):
                waits |= arrays.own[blocks.first_option[g] + left.option[q]] != 0
            if not waits:  # no strap holds anywhere
                for a in range(arrays.first_anchor[g], arrays.first_anchor[g + 1]):
                    whole[arrays.anchor_word[a]] &= ~arrays.anchor_bit[a]
        if options > begun:
            left.group[found], left.first_option[found], left.first_case[found] = g, begun, cases
            left.straps[found] = waits
            for j in range(count):
                if marked[j]:
                    left.case[cases] = j
                    cases += 1
            found += 1
            left.first_option[found], left.first_case[found] = options, cases
    return found


@borrowing  # type: ignore[untyped-decorator]
def _option_fails(
    arrays: PassArrays,
    g: int,
    k: int,
    rules: int,
    cases: Ints,
    count: int,
    most: Floats,
    columns: Floats,
    values: Floats,
    known: Bytes,
    total: Floats,
    fails: Bytes,
) -> None:
    """Lots of the block on which option k fails in a listed case, by the same sums and quotients as `choice`."""
    blocks = arrays.blocks
    j0, comps = blocks.first_case[g], blocks.components[g]
    at, f0 = blocks.first_number[g] + k * comps, blocks.first_form[g]
    alone = blocks.alone[rules, blocks.first_option[g] + k] != 0
    for i in range(BLOCK_LOTS):
        fails[i] = 0
    for q in range(count):
        shaken = blocks.seismic[j0 + cases[q]]
        upper = 0.0
        for c in range(comps):
            if most[q * comps + c] > 0.0:
                upper += most[q * comps + c] * blocks.reciprocal[rules, shaken, at + c]
        if upper <= 1.0 - SURE:
            continue
        for c in range(comps):  # before the total is begun: the values of ceilings pass through it
            m = q * comps + c
            if most[m] > 0.0 and known[m] == 0:
                f = f0 + cases[q] * comps + c
                _values(arrays.forms, f, blocks.has_top[g], columns, values[m], total)
                known[m] = 1
        first = True
        for c in range(comps):
            m = q * comps + c
            if most[m] > 0.0:
                _add_ratio(values[m], blocks.allowable[rules, shaken, at + c], first, alone, total)
                first = False
        if not first:
            for i in range(BLOCK_LOTS):
                fails[i] |= total[i] > 1.0


@borrowing  # type: ignore[untyped-decorator]
def _add_ratio(v: Floats, a: float, first: bool, alone: bool, total: Floats) -> None:
    """One component's demand over what is held, into the case's total; nothing is demanded at or below zero.

    What holds nothing has a capacity of 0 here: any demand on it is infinite.
    """
    if first:
        for i in range(BLOCK_LOTS):
            term = v[i] / a
            total[i] = term if v[i] > 0.0 else 0.0
    elif alone:
        for i in range(BLOCK_LOTS):
            term = v[i] / a if v[i] > 0.0 else 0.0
            total[i] = term if term > total[i] else total[i]
    else:
        for i in range(BLOCK_LOTS):
            term = v[i] / a
            total[i] += term if v[i] > 0.0 else 0.0


@borrowing  # type: ignore[untyped-decorator]
def _settle_lots(
    arrays: PassArrays,
    rules: int,
    left: Open,
    at: int,
    low: Floats,
    high: Floats,
    columns: Floats,
    least: Floats,
    most: Floats,
    values: Floats,
    known: Bytes,
    total: Floats,
    fails: Bytes,
    straps: Bytes,
    whole: Words,
    lots: Words,
    touched: Bytes,
) -> None:
    """Settle what a node left open in one group, for a block of its lots: as a block, else lot by lot."""
    blocks, g = arrays.blocks, left.group[at]
    cases = left.case[left.first_case[at] : left.first_case[at + 1]]
    count = len(cases)
    _box_of_cases(arrays.forms, blocks, g, cases, count, low, high, least, most)
    known[: count * blocks.components[g]] = 0
    hint, holds, waits = 0, False, left.straps[at] != 0
    if waits:
        for i in range(BLOCK_LOTS):
            straps[i] = 0
    for q in range(left.first_option[at], left.first_option[at + 1]):
        k = left.option[q]
        o = blocks.first_option[g] + k
        word, bit = arrays.word[o], arrays.bit[o]
        strap = waits and arrays.own[o] != 0
        if not strap and whole[word] & bit == 0:
            continue
        verdict, hint = _verdict(blocks, g, k, rules, cases, count, least, most, hint)
        if verdict == 1:
            holds |= strap
        elif verdict == 0:
            whole[word] &= ~bit
        else:
            _option_fails(arrays, g, k, rules, cases, count, most, columns, values, known, total, fails)
            _clear(fails, word, bit, lots, touched)
            if strap:
                for i in range(BLOCK_LOTS):
                    straps[i] |= 1 - fails[i]
    if waits and not holds:
        for i in range(BLOCK_LOTS):
            fails[i] = 1 - straps[i]
        for a in range(arrays.first_anchor[g], arrays.first_anchor[g + 1]):
            _clear(fails, arrays.anchor_word[a], arrays.anchor_bit[a], lots, touched)


@borrowing  # type: ignore[untyped-decorator]
def _clear(fails: Bytes, word: int, bit: int, lots: Words, touched: Bytes) -> None:
    """Clear one bit of a word on the lots that fail."""
    row = lots[word]
    if touched[word] == 0:
        touched[word] = 1
        for i in range(BLOCK_LOTS):
            row[i] = np.uint64(0xFFFFFFFFFFFFFFFF)
    for i in range(BLOCK_LOTS):
        row[i] &= ~(np.uint64(fails[i]) * bit)


@borrowing  # type: ignore[untyped-decorator]
def _write_words(whole: Words, lots: Words, touched: Bytes, order: Ints, a: int, b: int, out: Words) -> None:
    """Words of a block's lots: those of the whole block, less what fails on single lots."""
    for i in range(a, b):
        row = out[order[i]]
        for w in range(len(whole)):
            row[w] = whole[w]
    for w in range(len(whole)):
        if touched[w]:
            for i in range(a, b):
                out[order[i], w] &= lots[w, i - a]


@compiled  # type: ignore[untyped-decorator]
def _passes_slice(arrays: PassArrays, basis: Floats, rules: Ints, start: int, stop: int, out: Words) -> None:
    n = stop - start
    blocks = arrays.blocks
    order = np.arange(start, stop)
    ends = np.empty(n, np.int64)
    count = _blocks_of(basis, arrays.weight, order, rules, ends)
    groups, words = len(blocks.components), len(arrays.start)
    widest = most_cases = 1
    for g in range(groups):
        cases = blocks.first_case[g + 1] - blocks.first_case[g]
        most_cases, widest = max(most_cases, cases), max(widest, cases * blocks.components[g])
    low, high = np.empty(basis.shape[1]), np.empty(basis.shape[1])
    columns = np.empty((basis.shape[1], BLOCK_LOTS))
    least, most = np.empty(widest), np.empty(widest)
    values, known = np.empty((widest, BLOCK_LOTS)), np.empty(widest, np.uint8)
    every, marked = np.arange(most_cases), np.empty(most_cases, np.uint8)
    total, fails, straps = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS, np.uint8), np.empty(BLOCK_LOTS, np.uint8)
    settled, whole = np.empty(words, np.uint64), np.empty(words, np.uint64)
    lots, touched = np.empty((words, BLOCK_LOTS), np.uint64), np.empty(words, np.uint8)
    left = Open(
        np.empty(groups + 1, np.int64),
        np.zeros(groups + 1, np.int64),
        np.zeros(groups + 1, np.int64),
        np.empty(len(arrays.word) + 1, np.int64),
        np.empty(len(blocks.seismic) + 1, np.int64),
        np.empty(groups + 1, np.uint8),
    )
    a = block = 0
    while block < count:
        held = rules[order[a]]
        last = block + 1
        while last < count and last < block + NODE_BLOCKS and rules[order[ends[last - 1]]] == held:
            last += 1
        _box(basis, order, a, ends[last - 1], low, high)
        settled[:] = arrays.start
        opened = _settle_node(arrays, held, low, high, least, most, every, marked, settled, left)
        for block_of_node in range(block, last):
            b = ends[block_of_node]
            whole[:] = settled
            touched[:] = 0
            if opened > 0:
                _gathered(basis, order, a, b, low, high, columns)
                for at in range(opened):
                    _settle_lots(
                        arrays, held, left, at, low, high, columns, least, most, values, known, total, fails,
                        straps, whole, lots, touched,
                    )  # fmt: skip
            _write_words(whole, lots, touched, order, a, b, out)
            a = b
        block = last


@compiled  # type: ignore[untyped-decorator]
def all_passes(arrays: PassArrays, basis: Floats, rules: Ints, start: int, stop: int, out: Words) -> None:
    """Which options hold on lots `start` to `stop`, as `house_kernels.HouseDemands.passes`, into `out` (lots, words).

    `rules` (lots,) is each lot's set of capacities.
    """
    for a in range(start, stop, SLICE_LOTS):
        _passes_slice(arrays, basis, rules, a, min(a + SLICE_LOTS, stop), out)


# --- demands and ratios -------------------------------------------------------------------------------------------


@borrowing  # type: ignore[untyped-decorator]
def _take_greater(v: Floats, number: int, top: Floats, of: Ints, spare: Floats, spare_of: Ints) -> None:
    """Where v is greater than top, it and its number take the place. By way of `spare`: stores in place would be
    masked, which costs several times as much."""
    for i in range(BLOCK_LOTS):
        more = v[i] > top[i]
        spare[i] = v[i] if more else top[i]
        spare_of[i] = number if more else of[i]
    for i in range(BLOCK_LOTS):
        top[i] = spare[i]
        of[i] = spare_of[i]


@borrowing  # type: ignore[untyped-decorator]
def _total(
    arrays: JudgeArrays,
    p: int,
    j: int,
    at: int,
    rules: int,
    alone: bool,
    columns: Floats,
    most: Floats,
    values: Floats,
    known: Bytes,
    spare: Floats,
    total: Floats,
) -> None:
    """Ratio of one case on the lots of a block; some component of it is demanded somewhere."""
    blocks = arrays.blocks
    comps = blocks.components[p]
    shaken = blocks.seismic[blocks.first_case[p] + j]
    first = True
    for c in range(comps):
        m = j * comps + c
        if most[m] <= 0.0:
            continue
        if known[m] == 0:
            _values(arrays.forms, blocks.first_form[p] + m, blocks.has_top[p], columns, values[m], spare)
            known[m] = 1
        _add_ratio(values[m], blocks.allowable[rules, shaken, at + c], first, alone, total)
        first = False


@borrowing  # type: ignore[untyped-decorator]
def _ratios(
    arrays: JudgeArrays,
    p: int,
    k: int,
    rules: int,
    columns: Floats,
    least: Floats,
    most: Floats,
    values: Floats,
    known: Bytes,
    upper: Floats,
    total: Floats,
    spare: Floats,
    spare_of: Ints,
    ratio: Floats,
    case: Ints,
) -> float:
    """Usage ratio of option k of point p on a block, and the first case that gives it (-1: nothing is demanded).

    `least`, `most`, `values` and `known` are the point's, as `_bounds` and `_values` left them. Cases whose greatest
    total in the block is below another's least can't govern. Returns a number that no ratio of the block exceeds.
    """
    blocks = arrays.blocks
    j0, cases, comps = blocks.first_case[p], blocks.first_case[p + 1] - blocks.first_case[p], blocks.components[p]
    at = blocks.first_number[p] + k * comps
    o = blocks.first_option[p] + k
    alone = blocks.alone[rules, o] != 0
    floor = ceiling = 0.0
    for j in range(cases):
        held = blocks.allowable[rules, blocks.seismic[j0 + j]]
        up = down = 0.0
        for c in range(comps):
            lo, hi, a = least[j * comps + c], most[j * comps + c], held[at + c]
            more, less = hi / a if hi > 0.0 else 0.0, lo / a if lo > 0.0 else 0.0
            if alone:
                up, down = max(up, more), max(down, less)
            else:
                up += more
                down += less
        upper[j] = up
        floor, ceiling = max(floor, down), max(ceiling, up)
    found = 0
    for j in range(cases):
        if upper[j] <= 0.0 or upper[j] < floor:
            continue
        if found == 0:
            _total(arrays, p, j, at, rules, alone, columns, most, values, known, spare, ratio)
            if floor > 0.0:
                for i in range(BLOCK_LOTS):
                    case[i] = j
            else:
                for i in range(BLOCK_LOTS):
                    case[i] = j if ratio[i] > 0.0 else -1
        else:
            _total(arrays, p, j, at, rules, alone, columns, most, values, known, spare, total)
            _take_greater(total, j, ratio, case, spare, spare_of)
        found += 1
    if found == 0:
        for i in range(BLOCK_LOTS):
            ratio[i] = 0.0
            case[i] = -1
    if blocks.state[rules, o] == FAILS:
        for i in range(BLOCK_LOTS):
            ratio[i] = np.inf
        return float(np.inf)
    return ceiling


@borrowing  # type: ignore[untyped-decorator]
def _largest(
    arrays: JudgeArrays,
    p: int,
    c: int,
    columns: Floats,
    least: Floats,
    most: Floats,
    values: Floats,
    known: Bytes,
    spare: Floats,
    spare_of: Ints,
    top: Floats,
    of: Ints,
) -> None:
    """Greatest demand of one component of point p on a block, at least zero, and the first case that gives it."""
    blocks = arrays.blocks
    cases, comps = blocks.first_case[p + 1] - blocks.first_case[p], blocks.components[p]
    floor = least[c]
    for j in range(1, cases):
        floor = max(floor, least[j * comps + c])
    found = 0
    for j in range(cases):
        m = j * comps + c
        if most[m] < floor:
            continue
        if known[m] == 0:
            _values(arrays.forms, blocks.first_form[p] + m, blocks.has_top[p], columns, values[m], spare)
            known[m] = 1
        if found == 0:
            v = values[m]
            for i in range(BLOCK_LOTS):
                top[i] = v[i]
                of[i] = j
        else:
            _take_greater(values[m], j, top, of, spare, spare_of)
        found += 1
    if floor < 0.0:
        for i in range(BLOCK_LOTS):
            spare[i] = top[i] if top[i] > 0.0 else 0.0
        for i in range(BLOCK_LOTS):
            top[i] = spare[i]


@borrowing  # type: ignore[untyped-decorator]
def _take_less(v: Floats, of_v: Ints, all_of_it: bool, top: Floats, of: Ints, spare: Floats, spare_of: Ints) -> None:
    """Where v is less than top (or everywhere), it and its case take the place."""
    if all_of_it:
        for i in range(BLOCK_LOTS):
            top[i] = v[i]
            of[i] = of_v[i]
        return
    for i in range(BLOCK_LOTS):
        less = v[i] < top[i]
        spare[i] = v[i] if less else top[i]
        spare_of[i] = of_v[i] if less else of[i]
    for i in range(BLOCK_LOTS):
        top[i] = spare[i]
        of[i] = spare_of[i]


@borrowing  # type: ignore[untyped-decorator]
def _put(numbers: Floats, cases: Ints, n: int, column: int, into: Floats, cases_into: Shorts) -> None:
    """One column of a block's results."""
    for i in range(n):
        into[i, column] = numbers[i]
        cases_into[i, column] = np.int16(cases[i])


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
    points, cases_most, widest = len(blocks.components), 1, 1
    for p in range(points):
        cases = blocks.first_case[p + 1] - blocks.first_case[p]
        cases_most, widest = max(cases_most, cases), max(widest, cases * blocks.components[p])
    order, ends = np.arange(start, stop), np.empty(n, np.int64)
    count = _blocks_of(basis, arrays.weight, order, key, ends)
    low, high = np.empty(basis.shape[1]), np.empty(basis.shape[1])
    columns = np.empty((basis.shape[1], BLOCK_LOTS))
    least, most, upper = np.empty(widest), np.empty(widest), np.empty(cases_most)
    values, known = np.empty((widest, BLOCK_LOTS)), np.empty(widest, np.uint8)
    held_least, held_most = np.empty(widest), np.empty(widest)
    held_values, held_known = np.empty((widest, BLOCK_LOTS)), np.empty(widest, np.uint8)
    total, spare, spare_of = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS, np.int64)
    got, of = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS, np.int64)
    best, best_of = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS, np.int64)
    strap, strap_of = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS, np.int64)
    hardest, hardest_of = np.empty(BLOCK_LOTS), np.empty(BLOCK_LOTS, np.int64)
    wants_ratio, wants_demand = len(ratio) > 0, len(largest) > 0
    # written to the results lot by lot: stores scattered over the results themselves would miss the caches
    ratios, ratio_cases = np.empty((BLOCK_LOTS, points)), np.empty((BLOCK_LOTS, points), np.int16)
    rows = arrays.first_row[points]
    tops, top_cases = np.empty((BLOCK_LOTS, rows)), np.empty((BLOCK_LOTS, rows), np.int16)
    a = 0
    for block in range(count):
        b = ends[block]
        m = b - a
        set_, package = rules[order[a]], tier[order[a]]
        _gathered(basis, order, a, b, low, high, columns)
        for i in range(BLOCK_LOTS):
            hardest[i] = -1.0
            hardest_of[i] = -1
        least_hardest = -1.0
        for p in range(points):
            comps = blocks.components[p]
            forms = (blocks.first_case[p + 1] - blocks.first_case[p]) * comps
            f0 = blocks.first_form[p]
            _bounds(arrays.forms, f0, f0 + forms, blocks.has_top[p], low, high, least, most)
            known[:forms] = 0
            if wants_demand:
                for c in range(comps):
                    _largest(arrays, p, c, columns, least, most, values, known, spare, spare_of, got, of)
                    _put(got, of, m, arrays.first_row[p] + c, tops, top_cases)
            options = blocks.first_option[p + 1] - blocks.first_option[p]
            if not wants_ratio:
                continue
            if options == 0:
                for i in range(m):
                    ratios[i, p] = np.nan
                    ratio_cases[i, p] = -1
                continue
            chosen = packages[package, arrays.line[p]] if package >= 0 else -1
            strap_most = 0.0
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
                begun = False
                for s in range(arrays.first_own[p], arrays.first_own[p + 1]):
                    if among and chosen >= 0 and arrays.own[s] != has:
                        continue
                    strap_most = _ratios(
                        arrays, h, arrays.own[s], set_, columns, held_least, held_most, held_values, held_known,
                        upper, total, spare, spare_of, got, of,
                    )  # fmt: skip
                    _take_less(got, of, not begun, strap, strap_of, spare, spare_of)
                    begun = True
            begun, ceiling = False, 0.0
            for k in range(options):
                if chosen >= 0 and k != chosen:
                    continue
                if casts and k == arrays.cast_in[p]:
                    _take_less(strap, strap_of, not begun, best, best_of, spare, spare_of)
                    ceiling = max(ceiling, strap_most)
                else:
                    ceiling = max(
                        ceiling,
                        _ratios(
                            arrays, p, k, set_, columns, least, most, values, known, upper, total, spare, spare_of,
                            got, of,
                        ),
                    )  # fmt: skip
                    _take_less(got, of, not begun, best, best_of, spare, spare_of)
                begun = True
            _put(best, best_of, m, p, ratios, ratio_cases)
            if ceiling > least_hardest:
                _take_greater(best, p, hardest, hardest_of, spare, spare_of)
                least_hardest = hardest[0]
                for i in range(m):
                    least_hardest = min(least_hardest, hardest[i])
        for i in range(m):
            lot = order[a + i]
            if wants_demand:
                largest[lot] = tops[i]
                case[lot] = top_cases[i]
            if wants_ratio:
                ratio[lot] = ratios[i]
                ratio_case[lot] = ratio_cases[i]
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


# --- classes ------------------------------------------------------------------------------------------------------


@compiled  # type: ignore[untyped-decorator]
def distinct_rows(words: Words, of_row: Ints) -> Ints:
    """Place of the first of every kind of rows, in the order of the rows; `of_row` gets the kind of each."""
    n, width = words.shape
    size = 16
    while size < 2 * n:
        size *= 2
    slots = np.full(size, -1, np.int64)
    first = np.empty(n, np.int64)
    found = 0
    for i in range(n):
        mixed = np.uint64(14695981039346656037)
        for w in range(width):
            mixed = (mixed ^ words[i, w]) * np.uint64(0x9E3779B97F4A7C15)
            mixed ^= mixed >> np.uint64(32)
        slot = np.int64(mixed & np.uint64(size - 1))
        while True:
            kind = slots[slot]
            if kind < 0:
                slots[slot] = found
                first[found] = i
                of_row[i] = found
                found += 1
                break
            same = True
            for w in range(width):
                if words[first[kind], w] != words[i, w]:
                    same = False
                    break
            if same:
                of_row[i] = kind
                break
            slot = (slot + 1) & (size - 1)
    return first[:found].copy()
