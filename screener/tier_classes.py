"""From lots to weighted classes, and from classes to a set of candidate packages that provably holds an optimum.

**Classes.** Two lots with the same lines, the same price of every option and the same passing options are one class
with weight two. Size then follows the variety of hazards and plans, not the number of lots.

**Why the candidates suffice.** Take any optimal set of packages, and let S be the lots that use one of them. Given S,
the package splits by line: on line l it may use any option in F_l(S), those that pass for every lot of S with that
line, and it should use one that is cheapest for S. Quantities differ between plans (a spacing and a count price
differently in each), so which is cheapest depends on who is in S. But an option of F_l(S) that costs every variant as
much as, or more than, another option of F_l(S) is never needed. Let N(F) be the options of F that remain (ties keep
the one listed first). Then some optimum uses on every line an option of N(F_l(S)). The vectors (F_1(S), F_2(S), ...)
over all S are the closure of the classes' own vectors under intersection, line by line. So the candidates are, for
every vector of that closure, the product over lines of N(F_l). Where the options of a line cost in the same order in
all variants N(F) is one option and the product adds nothing; where they do not, it is kept in full. A line that no lot
of S has is left out of the package.

An option that is in no N(F) is dropped before classes are formed, which merges more lots.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from screener.tier_bound import UNSERVED
from screener.unique_rows import unique_rows

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

FREE = 0  # state of a line that a class does not have; also "no option" in a candidate is -1
#: Cost of a line on which an option fails: far above real sums, and hundreds of them fit into int64.
BROKEN = np.int64(1) << 52
EMPTY = -1  # no option passes for all
NOT_USED = -1  # option index of a line that a package leaves out
LINES_KEPT, MASKS_KEPT = 512, 64  # states of lines kept for other calls, of lines with so many masks: small ones


@dataclass(frozen=True)
class LineStates:
    """The distinct sets of passing options of one line, closed under intersection. State 0 is 'line not there'."""

    masks: BoolArray  # (states, options); row 0 all true
    meet: IntArray  # (states, states) -> state, or EMPTY
    useful: tuple[tuple[int, ...], ...]  # per state: options that can be the cheapest for somebody


@dataclass(frozen=True)
class Classes:
    """Lots collapsed: equal variant costs, equal passing options."""

    weight: IntArray  # (classes,)
    variant: IntArray  # (classes,) row in `costs`
    state: IntArray  # (classes, lines)
    of_lot: IntArray  # (lots,) class of each lot that was given
    costs: tuple[IntArray, ...]  # per line (cost variants, options)
    has_line: BoolArray  # (cost variants, lines)
    lines: tuple[LineStates, ...]

    @property
    def count(self) -> int:
        return len(self.weight)

    @cached_property
    def wide(self) -> WideTable:
        """Useful options of all lines side by side."""
        return _wide_table(self)

    @cached_property
    def by_option(self) -> tuple[IntArray, ...]:
        """Per line (options + 1, classes): cost at the class's weight, BROKEN where it fails; last row: left out."""
        tables = []
        for line, states in enumerate(self.lines):
            there = self.state[:, line] != FREE
            cost = self.costs[line][self.variant].T * self.weight
            table = np.where(states.masks[self.state[:, line]].T, cost, BROKEN)
            tables.append(np.vstack([np.where(there, table, 0), np.where(there, BROKEN, 0)]))
        return tuple(tables)


@dataclass(frozen=True)
class WideTable:
    """Per class and useful option of every line, side by side: cost at the class's weight, and 1 where it fails."""

    cost: IntArray  # (classes, columns)
    fails: IntArray  # (classes, columns)
    there: IntArray  # (classes, lines with options): 1 where the class has the line
    starts: IntArray  # first column of each line with options
    lines: IntArray  # the lines with options
    option: IntArray  # option of each column

    def cheapest(self, sums: IntArray, fails: IntArray) -> IntArray:
        """Cost of a group per row: on every line the cheapest option that fails nobody, BROKEN where there is none."""
        if len(self.starts) == 0:
            return np.zeros(len(sums), dtype=np.int64)
        best = np.minimum.reduceat(np.where(fails == 0, sums, BROKEN), self.starts, axis=1)
        return np.asarray(best.sum(axis=1))

    def choose(self, sums: IntArray, fails: IntArray) -> tuple[IntArray, IntArray]:
        """Per row and line: the cheapest option that fails nobody (first listed wins a tie), and its cost."""
        if len(self.starts) == 0:
            none = np.zeros((len(sums), 0), dtype=np.int64)
            return none, none
        usable = np.where(fails == 0, sums, BROKEN)
        best = np.minimum.reduceat(usable, self.starts, axis=1)
        columns = len(self.option)
        widths = np.diff(np.append(self.starts, columns))
        place = np.where(usable == np.repeat(best, widths, axis=1), np.arange(columns), columns)
        return self.option[np.minimum.reduceat(place, self.starts, axis=1)], best


@dataclass(frozen=True)
class Candidates:
    """Packages to choose from: an option for each line, -1 where the line is left out."""

    options: IntArray  # (candidates, lines)
    complete: bool  # true: provably holds an optimum for any number of packages

    @property
    def count(self) -> int:
        return len(self.options)


def collapse(
    lot_variant: IntArray,
    passes: Sequence[BoolArray],
    costs: Sequence[IntArray],
    has_line: BoolArray,
    lot_weight: IntArray | None = None,
    always: Sequence[Sequence[int]] | None = None,
    most_states: int = 4096,
) -> Classes:
    """Lots to weighted classes, in an order that depends on their content only (not on lot order or names).

    `lot_weight` (lots,) counts a row more than once; by default every row is one lot. `always` names options of each
    line that are in use already and must be told apart even where a cheaper one would do.
    """
    variant_of, variant_costs, variant_lines = _merge_variants(costs, has_line)
    lot_row = variant_of[lot_variant] if len(lot_variant) else np.zeros(0, dtype=np.int64)
    lines: list[LineStates] = []
    lot_state = np.zeros((len(lot_row), len(costs)), dtype=np.int64)
    for line, mask in enumerate(passes):
        there = variant_lines[lot_row, line]
        masks, which = _unique_rows(np.asarray(mask, dtype=bool)[there])
        in_use = always[line] if always is not None else ()
        states, own = _line_states(masks, variant_costs[line][variant_lines[:, line]], in_use, most_states)
        lines.append(states)
        lot_state[there, line] = own[which]
    keyed = np.column_stack([lot_row, lot_state]) if len(lot_row) else np.zeros((0, len(costs) + 1), dtype=np.int64)
    rows, of_lot = unique_rows(keyed)
    weight = np.zeros(len(rows), dtype=np.int64)
    np.add.at(weight, of_lot, 1 if lot_weight is None else lot_weight)
    return Classes(
        weight=weight,
        variant=rows[:, 0],
        state=rows[:, 1:],
        of_lot=of_lot,
        costs=variant_costs,
        has_line=variant_lines,
        lines=tuple(lines),
    )


def _wide_table(classes: Classes) -> WideTable:
    costs: list[Any] = []
    fails: list[Any] = []
    there: list[Any] = []
    starts: list[Any] = []
    lines: list[Any] = []
    options: list[Any] = []
    for line, states in enumerate(classes.lines):
        useful = sorted({option for choices in states.useful for option in choices})
        if not useful:
            continue
        own = classes.state[:, line]
        has = own != FREE
        costs.append(np.where(has, (classes.costs[line][classes.variant][:, useful] * classes.weight[:, None]).T, 0).T)
        fails.append((has & ~states.masks[own][:, useful].T).T.astype(np.int64))
        there.append(has.astype(np.int64)[:, None])
        starts.append(len(options))
        lines.append(line)
        options.extend(useful)
    empty = np.zeros((classes.count, 0), dtype=np.int64)
    return WideTable(
        np.hstack([empty, *costs]),
        np.hstack([empty, *fails]),
        np.hstack([empty, *there]),
        np.array(starts, dtype=np.int64),
        np.array(lines, dtype=np.int64),
        np.array(options, dtype=np.int64),
    )


def _merge_variants(costs: Sequence[IntArray], has_line: BoolArray) -> tuple[IntArray, tuple[IntArray, ...], BoolArray]:
    """Variants with the same lines and the same costs (a mirrored plan, say) become one, ordered by content."""
    blank = [np.where(has_line[:, line, None], cost, 0) for line, cost in enumerate(costs)]
    keyed = np.column_stack([has_line.astype(np.int64), *blank])
    rows, variant_of = unique_rows(keyed)
    n_lines = has_line.shape[1]
    ends = np.cumsum([n_lines, *(cost.shape[1] for cost in costs)])
    merged = tuple(rows[:, ends[line] : ends[line + 1]] for line in range(n_lines))
    return variant_of, merged, rows[:, :n_lines].astype(bool)


def _unique_rows(mask: BoolArray) -> tuple[BoolArray, IntArray]:
    return unique_rows(mask) if len(mask) else (mask, np.zeros(0, dtype=np.int64))


def _line_states(
    masks: BoolArray, costs: IntArray, in_use: Sequence[int], most_states: int
) -> tuple[LineStates, IntArray]:
    """States of one line from the distinct pass masks of lots that have it, and the state of each mask.

    Kept for the next call: where prices of one family move, all other lines stay as they are. Which variant has which
    costs does not matter.
    """
    distinct = np.unique(np.asarray(costs, dtype=np.int64), axis=0) if costs.size else costs[:1]
    use = tuple(sorted(int(option) for option in in_use))
    shapes = len(masks), len(distinct), masks.shape[1]
    states = _states_of if len(masks) <= MASKS_KEPT else _states_of.__wrapped__
    found: tuple[LineStates, IntArray] = states(masks.tobytes(), distinct.tobytes(), shapes, use, most_states)
    return found


@lru_cache(LINES_KEPT)
def _states_of(
    mask_bytes: bytes, cost_bytes: bytes, shapes: tuple[int, int, int], in_use: tuple[int, ...], most_states: int
) -> tuple[LineStates, IntArray]:
    """`_line_states` of masks and distinct costs as bytes; shapes: rows of each, options."""
    n_masks, n_costs, n_options = shapes
    masks = np.frombuffer(mask_bytes, dtype=bool).reshape(n_masks, n_options)
    costs = np.frombuffer(cost_bytes, dtype=np.int64).reshape(n_costs, n_options)
    closed = _close_masks(masks, most_states)
    used = np.zeros(n_options, dtype=bool)
    used[list(in_use)] = True
    for row in closed:
        used[list(cheapest_for_somebody(row, costs))] = True
    # Only options that can be cheapest for somebody matter; masks that differ elsewhere become one.
    kept, which = _unique_rows(masks & used)
    closed = _close_masks(kept, most_states)
    table = np.vstack([np.ones((1, n_options), dtype=bool), closed])
    index = {row.tobytes(): number for number, row in enumerate(closed, start=1)}
    meet = np.full((len(table), len(table)), EMPTY, dtype=np.int64)
    for first in range(len(table)):
        both = table[first] & table
        for second in range(len(table)):
            if first == FREE or second == FREE:
                meet[first, second] = max(first, second)
            elif both[second].any():
                meet[first, second] = index[both[second].tobytes()]
    useful = tuple(cheapest_for_somebody(row, costs) if number else () for number, row in enumerate(table))
    own = np.array([index[row.tobytes()] for row in kept], dtype=np.int64)
    state = own[which] if len(which) else which
    for shared in (table, meet, state):
        shared.setflags(write=False)
    return LineStates(table, meet, useful), state


def _close_masks(masks: BoolArray, most_states: int) -> BoolArray:
    """All non-empty intersections of the masks, sorted: more options first."""
    found = {row.tobytes(): row for row in masks if row.any()}
    queue = list(found.values())
    while queue:
        row = queue.pop()
        for other in masks:
            both = row & other
            if both.any() and both.tobytes() not in found:
                if len(found) >= most_states:
                    raise ValueError(
                        f"more than {most_states} different sets of passing options on one schedule line; "
                        "expected fewer: shorten the list of options for that line"
                    )
                found[both.tobytes()] = both
                queue.append(both)
    rows = sorted(found.values(), key=lambda row: (-int(row.sum()), tuple(~row)))
    return np.array(rows, dtype=bool).reshape(len(rows), masks.shape[1])


def cheapest_for_somebody(mask: BoolArray, costs: IntArray) -> tuple[int, ...]:
    """Options of the mask that no other option of the mask undercuts or equals in every variant (first listed wins)."""
    options = np.flatnonzero(mask)
    kept = []
    for option in options:
        cheaper_or_equal = (costs[:, options] <= costs[:, [option]]).all(axis=0)
        equal = (costs[:, options] == costs[:, [option]]).all(axis=0)
        beaten = cheaper_or_equal & (~equal | (options < option))
        if not beaten.any():
            kept.append(int(option))
    return tuple(kept)


def closure(states: IntArray, lines: Sequence[LineStates], most: int) -> tuple[IntArray, bool]:
    """Distinct line-by-line intersections of any of the classes' state vectors; stops when more than `most`.

    Returns the vectors sorted, and whether all of them are there. Vectors with an empty line are left out, for every
    further intersection of an empty line is empty too.
    """
    words = Words([len(line.masks) for line in lines])
    distinct = np.unique(states, axis=0)
    found = distinct[:0]
    keys = words.keys(found)
    for row in distinct:
        joined = meet_rows(found, row, lines)
        fresh = np.vstack([joined[(joined != EMPTY).all(axis=1)], row[None, :]])
        fresh_keys, first = np.unique(words.keys(fresh), return_index=True)
        new = ~np.isin(fresh_keys, keys, assume_unique=True)
        found = np.vstack([found, fresh[first[new]]])
        keys = np.concatenate([keys, fresh_keys[new]])
        if len(found) > most:
            return found[np.argsort(keys)][:most], False
    return found[np.argsort(keys)], True


def meet_rows(rows: IntArray, other: IntArray, lines: Sequence[LineStates]) -> IntArray:
    return np.column_stack([line.meet[rows[:, index], other[index]] for index, line in enumerate(lines)])


class Words:
    """Packs a vector of small numbers into one sortable key, exactly (wider than 63 bits: bytes)."""

    def __init__(self, sizes: Sequence[int]) -> None:
        self.sizes = [max(size, 2) for size in sizes]
        total = 1
        for size in self.sizes:
            total *= size
        self.fits = total < 2**63

    def keys(self, rows: IntArray) -> NDArray[np.generic]:
        if self.fits:
            key = np.zeros(len(rows), dtype=np.int64)
            for column, size in enumerate(self.sizes):
                key = key * size + rows[:, column]
            return key
        packed = np.ascontiguousarray(rows.astype(">u2"))
        return packed.view(np.dtype((np.void, packed.shape[1] * 2))).reshape(-1)


def expand(states: IntArray, lines: Sequence[LineStates], most: int) -> tuple[IntArray, bool]:
    """State vectors to option vectors: the product over lines of the options that can be cheapest; sorted, distinct."""
    parts = states
    complete = True
    for index, line in enumerate(lines):
        choices = [line.useful[state] or (NOT_USED,) for state in range(len(line.masks))]
        counts = np.array([len(each) for each in choices])[states[:, index]]
        if int(counts.sum()) > most:
            counts, complete = np.minimum(counts, 1), False
        repeat = np.repeat(np.arange(len(states)), counts)
        place = np.arange(len(repeat)) - np.repeat(np.cumsum(counts) - counts, counts)
        width = max(len(each) for each in choices)
        table = np.array([[*each, *[NOT_USED] * (width - len(each))] for each in choices], dtype=np.int64)
        column = table[states[repeat, index], place]
        states, parts = states[repeat], parts[repeat].copy()
        parts[:, index] = column
    return np.unique(parts, axis=0), complete


def candidates(classes: Classes, most: int) -> Candidates:
    """The sufficient candidate set (see the module's text), or a part of it when it has more than `most` members."""
    vectors, all_vectors = closure(classes.state, classes.lines, most)
    options, all_options = expand(vectors, classes.lines, most)
    return Candidates(options, all_vectors and all_options)


def weighted_costs(classes: Classes, options: IntArray) -> IntArray:
    """Cost in cents (candidates, classes) of serving a whole class by each package; UNSERVED where it can't."""
    total = np.zeros((len(options), classes.count), dtype=np.int64)
    for line, table in enumerate(classes.by_option):
        total += table[options[:, line]]  # -1 is the last row: the package leaves the line out
    total[total >= BROKEN] = UNSERVED
    return total


def own_costs(classes: Classes) -> IntArray:
    """Weighted cost in cents of each class with its own cheapest options: the bound that no package can beat."""
    total = np.zeros(classes.count, dtype=np.int64)
    for line, states in enumerate(classes.lines):
        cost = classes.costs[line]
        for state in range(1, len(states.masks)):
            who = np.flatnonzero(classes.state[:, line] == state)
            if len(who):
                total[who] += cost[classes.variant[who]][:, list(states.useful[state])].min(axis=1)
    return total * classes.weight


def heaviness(classes: Classes) -> IntArray:
    """How heavy a package each class asks for: what its cheapest options would cost over all houses of the tract.

    Lines that the class lacks count at their least cost, so that classes of different plans compare.
    """
    houses = np.bincount(classes.variant, weights=classes.weight, minlength=len(classes.has_line)).astype(np.int64)
    total = np.zeros(classes.count, dtype=np.int64)
    for line, states in enumerate(classes.lines):
        sums = (np.where(classes.has_line[:, [line]], classes.costs[line], 0) * houses[:, None]).sum(axis=0)
        least = [int(sums[list(choices)].min()) if choices else int(sums.min(initial=0)) for choices in states.useful]
        total += np.array(least, dtype=np.int64)[classes.state[:, line]]
    return total


def group_packages(classes: Classes, group: IntArray, groups: int) -> IntArray:
    """The cheapest package of each group of classes (group number per class, -1 in none), line by line.

    Groups without members, or without an option for all of them on some line, are left out. Ties go to the option
    listed first.
    """
    wide = classes.wide
    order = np.argsort(group, kind="stable")
    own = group[order]
    kept = (own >= 0) & (own < groups)
    order, first = order[kept], np.flatnonzero(np.diff(own[kept], prepend=-1))
    cost, fails, there = (np.add.reduceat(table[order], first, axis=0) for table in (wide.cost, wide.fails, wide.there))
    chosen, best = wide.choose(cost, fails)
    packages = np.full((len(first), len(classes.lines)), NOT_USED, dtype=np.int64)
    packages[:, wide.lines] = np.where(there > 0, chosen, NOT_USED)
    return np.asarray(packages[(best < BROKEN).all(axis=1)])


def group_package(classes: Classes, members: IntArray) -> IntArray | None:
    """The cheapest package for a group of classes; None when some line has no option for all of them."""
    group = np.full(classes.count, -1, dtype=np.int64)
    group[members] = 0
    rows = group_packages(classes, group, 1)
    return rows[0] if len(rows) else None


def blocks(rows: int, columns: int, cells: int = 2_000_000) -> Iterator[slice]:
    """Slices of rows so that a block holds about `cells` cells: bounded memory."""
    step = max(1, cells // max(columns, 1))
    for start in range(0, rows, step):
        yield slice(start, min(start + step, rows))


def relaxed(classes: Classes, base: IntArray, most: int) -> tuple[Classes, IntArray, IntArray]:
    """Fewer, easier classes: the least cost of serving these is never above that of serving the given ones.

    Two classes of one variant become one that accepts every option that either accepts. Any set of packages for the
    given classes serves it, each at the cheaper of what the two use, so costs can only fall. Neighbours in heaviness
    whose own cost falls least go first. `base` falls to the lesser cost a lot for the same reason. Also returns the
    easier class of every given class.
    """
    order = np.lexsort((np.arange(classes.count), heaviness(classes), classes.variant))
    groups = [[int(each)] for each in order]
    merging = _Merging.of(classes, order)
    losses = merging.losses().tolist()
    while len(groups) > most and min(losses, default=UNSERVED) < UNSERVED:
        first = losses.index(min(losses))
        groups[first] = groups[first] + groups[first + 1]
        merging.merge(first)
        del groups[first + 1], losses[first]
        for place in (first - 1, first):
            if 0 <= place < len(groups) - 1:
                losses[place] = int(merging.losses(place, place + 2)[0])
    variant, weight = merging.variant[merging.left], merging.weight[merging.left]
    ends = np.cumsum([cost.shape[1] for cost in classes.costs])
    passes = np.split(merging.masks[merging.left], ends[:-1], axis=1)
    easier = collapse(variant, passes, classes.costs, classes.has_line, weight)
    lesser = np.array([min(int(base[each]) // int(classes.weight[each]) for each in group) for group in groups])
    least = np.full(easier.count, UNSERVED)
    np.minimum.at(least, easier.of_lot, lesser)
    easier_of = np.zeros(classes.count, dtype=np.int64)
    for group, which in zip(groups, easier.of_lot, strict=True):
        easier_of[group] = which
    return easier, least * easier.weight, easier_of


@dataclass
class _Merging:
    """Classes in order, of which neighbours become one: what each accepts, all lines side by side, and what it costs.

    masks (classes, options of all lines); house_costs (variants, the same), 0 on lines that a variant lacks; starts:
    of the lines that have options; left: rows that are still there. A merged class stands in the row of its first
    member.
    """

    masks: BoolArray
    house_costs: IntArray
    starts: IntArray
    variant: IntArray
    weight: IntArray
    cheapest: IntArray  # of one house
    left: list[int]

    @staticmethod
    def of(classes: Classes, order: IntArray) -> _Merging:
        masks = [line.masks[classes.state[order, n]] for n, line in enumerate(classes.lines)]
        costs = [np.where(classes.has_line[:, [n]], cost, 0) for n, cost in enumerate(classes.costs)]
        widths = np.array([cost.shape[1] for cost in costs], dtype=np.int64)
        starts = (np.cumsum(widths) - widths)[widths > 0]  # a line without options costs nobody anything
        weight = classes.weight[order].copy()
        no_line = np.zeros((len(order), 0), dtype=bool), np.zeros((len(classes.has_line), 0), dtype=np.int64)
        return _Merging(
            np.hstack([no_line[0], *masks]), np.hstack([no_line[1], *costs]), starts, classes.variant[order], weight,
            own_costs(classes)[order] // weight, list(range(len(order))),
        )  # fmt: skip

    def _cheapest(self, masks: BoolArray, variant: IntArray) -> IntArray:
        """Cost of one house with the cheapest options of some masks."""
        usable = np.where(masks, self.house_costs[variant], BROKEN)
        return np.asarray(np.minimum.reduceat(usable, self.starts, axis=1).sum(axis=1))

    def losses(self, first: int = 0, last: int | None = None) -> IntArray:
        """How much the own cost of each class and the next falls when they become one; UNSERVED across variants.

        Of all classes, or of those at the places from `first` to before `last`.
        """
        left = np.array(self.left[first:last], dtype=np.int64)
        one, two = left[:-1], left[1:]
        if not len(self.starts):
            return np.where(self.variant[one] == self.variant[two], 0, UNSERVED)
        cheapest = self._cheapest(self.masks[one] | self.masks[two], self.variant[one])
        saved = [self.weight[each] * (self.cheapest[each] - cheapest) for each in (one, two)]
        return np.where(self.variant[one] == self.variant[two], saved[0] + saved[1], UNSERVED)

    def merge(self, place: int) -> None:
        """The class at a place and the next become one."""
        one, two = self.left[place], self.left.pop(place + 1)
        self.masks[one] |= self.masks[two]
        self.weight[one] += self.weight[two]
        if len(self.starts):
            self.cheapest[one] = self._cheapest(self.masks[[one]], self.variant[[one]])[0]
