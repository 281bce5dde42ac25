"""Better groups by moving one class at a time: what exchanging whole packages cannot see.

A package must serve its most demanding member on every line. Moving that member elsewhere makes the package lighter for
all others, so groups are judged by their members, not by packages at hand. All moves of all classes are priced at once
from two sums of every group: what each option would cost its members, and how many of them it fails.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from screener.tier_classes import BROKEN, Classes

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def regroup(
    classes: Classes, base: IntArray, package_cents: int, group: IntArray, groups: int, most_moves: int
) -> tuple[IntArray, int]:
    """Move the class that helps most, again and again: (group of each class, -1 for staying; moves made).

    Ties go to the first class and the first group, so the outcome depends on the order of classes only.
    """
    group = group.copy()
    wide = classes.wide
    everyone = np.arange(len(group))
    sums = np.array([wide.cost[group == each].sum(axis=0) for each in range(groups)])
    fails = np.array([wide.fails[group == each].sum(axis=0) for each in range(groups)])
    sizes = np.array([(group == each).sum() for each in range(groups)], dtype=np.int64)
    moves = 0
    with_class = np.zeros((groups, len(group)), dtype=np.int64)  # cost of the group with the class in it
    without = np.zeros((groups, len(group)), dtype=np.int64)
    stale = list(range(groups))
    while moves < most_moves and len(group):
        for each in stale:
            inside = group == each
            other = _with_one_moved(wide.cost, wide.fails, wide.starts, inside, sums[each], fails[each])
            now = wide.cheapest(sums[[each]], fails[[each]])[0]
            lone = np.where(sizes[each] - inside > 0, package_cents, 0)
            with_class[each] = np.where(inside, now, other) + package_cents
            without[each] = np.where(inside, other, now) + lone
        held = group >= 0
        leave = np.where(held, with_class[group, everyone] - without[group, everyone], base)
        join = np.vstack([with_class - without, base])
        gain = join - leave
        gain[np.where(held, group, groups), everyone] = 0
        spot = int(gain.argmin())
        target, member = divmod(spot, len(group))
        if gain[target, member] >= 0:
            break
        stale = []
        for touched, step in ((int(group[member]), -1), (target if target < groups else -1, 1)):
            if touched >= 0:
                sums[touched] += step * wide.cost[member]
                fails[touched] += step * wide.fails[member]
                sizes[touched] += step
                stale.append(touched)
        group[member] = target if target < groups else -1
        moves += 1
    return group, moves


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _with_one_moved(
    cost: IntArray, fails: IntArray, starts: IntArray, inside: BoolArray, sums: IntArray, failed: IntArray
) -> IntArray:
    """Cost (classes,) of one group after each class's own move, out of it or into it: see `WideTable.cheapest`."""
    classes, columns = cost.shape
    live = np.empty(columns, np.int64)  # options that fail at most one class: a class's move can't mend the others
    stops = np.empty(len(starts), np.int64)
    count = 0
    for line in range(len(starts)):
        for k in range(starts[line], starts[line + 1] if line + 1 < len(starts) else columns):
            if failed[k] <= 1:
                live[count] = k
                count += 1
        stops[line] = count
    total = np.zeros(classes, np.int64)
    for i in range(classes):
        sign = -1 if inside[i] else 1
        first = 0
        for line in range(len(starts)):
            best = BROKEN
            for place in range(first, stops[line]):
                k = live[place]
                if failed[k] + sign * fails[i, k] == 0:
                    best = min(best, sums[k] + sign * cost[i, k])
            total[i] += best
            first = stops[line]
    return total
