"""Better groups by moving one class at a time: what exchanging whole packages cannot see.

A package must serve its most demanding member on every line. Moving that member elsewhere makes the package lighter for
all others, so groups are judged by their members, not by packages at hand. All moves of all classes are priced at once
from two sums of every group: what each option would cost its members, and how many of them it fails.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from screener.tier_classes import FREE, Classes

IntArray = NDArray[np.int64]

#: Cost of a line on which no option serves the whole group: far above real sums, and a few hundred fit into int64.
BROKEN = np.int64(1) << 52


@dataclass(frozen=True)
class MoveTables:
    """Per class and useful option of every line, side by side: cost at the class's weight, and 1 where it fails."""

    cost: IntArray  # (classes, options of all lines)
    fails: IntArray
    starts: IntArray  # first column of each line
    base: IntArray  # (classes,) cost of staying in what is there anyway
    package_cents: int


def move_tables(classes: Classes, base: IntArray, package_cents: int) -> MoveTables:
    """Tables for `regroup`."""
    costs, fails, starts, width = [], [], [], 0
    for line, states in enumerate(classes.lines):
        useful = sorted({option for choices in states.useful for option in choices})
        if not useful:
            continue
        own = classes.state[:, line]
        there = (own != FREE)[:, None]
        costs.append(np.where(there, classes.costs[line][classes.variant][:, useful] * classes.weight[:, None], 0))
        fails.append(np.where(there, ~states.masks[own][:, useful], False).astype(np.int64))
        starts.append(width)
        width += len(useful)
    empty = np.zeros((classes.count, 0), dtype=np.int64)
    return MoveTables(
        np.hstack([empty, *costs]), np.hstack([empty, *fails]), np.array(starts, dtype=np.int64), base, package_cents
    )


def regroup(tables: MoveTables, group: IntArray, groups: int, most_moves: int) -> tuple[IntArray, int]:
    """Move the class that helps most, again and again: (group of each class, -1 for staying; moves made).

    Ties go to the first class and the first group, so the outcome depends on the order of classes only.
    """
    group = group.copy()
    if tables.cost.shape[1] == 0:
        return group, 0
    everyone = np.arange(len(group))
    sums = np.array([tables.cost[group == each].sum(axis=0) for each in range(groups)])
    fails = np.array([tables.fails[group == each].sum(axis=0) for each in range(groups)])
    sizes = np.array([(group == each).sum() for each in range(groups)], dtype=np.int64)
    moves = 0
    with_class = np.zeros((groups, len(group)), dtype=np.int64)  # cost of the group with the class in it
    without = np.zeros((groups, len(group)), dtype=np.int64)
    stale = list(range(groups))
    while moves < most_moves:
        for each in stale:
            inside = group == each
            sign = np.where(inside, -1, 1)[:, None]
            other = _cost(tables, sums[each] + sign * tables.cost, fails[each] + sign * tables.fails)
            now = _cost(tables, sums[[each]], fails[[each]])[0]
            lone = np.where(sizes[each] - inside > 0, tables.package_cents, 0)
            with_class[each] = np.where(inside, now, other) + tables.package_cents
            without[each] = np.where(inside, other, now) + lone
        held = group >= 0
        leave = np.where(held, with_class[group, everyone] - without[group, everyone], tables.base)
        join = np.vstack([with_class - without, tables.base])
        gain = join - leave
        gain[np.where(held, group, groups), everyone] = 0
        spot = int(gain.argmin())
        target, member = divmod(spot, len(group))
        if gain[target, member] >= 0:
            break
        stale = []
        for each, sign in ((int(group[member]), -1), (target if target < groups else -1, 1)):
            if each >= 0:
                sums[each] += sign * tables.cost[member]
                fails[each] += sign * tables.fails[member]
                sizes[each] += sign
                stale.append(each)
        group[member] = target if target < groups else -1
        moves += 1
    return group, moves


def _cost(tables: MoveTables, sums: IntArray, fails: IntArray) -> IntArray:
    """Cost of a group per row: on every line the cheapest option that fails nobody."""
    best = np.minimum.reduceat(np.where(fails == 0, sums, BROKEN), tables.starts, axis=1)
    return np.asarray(best.sum(axis=1))
