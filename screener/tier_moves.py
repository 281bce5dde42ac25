"""Better groups by moving one class at a time: what exchanging whole packages cannot see.

A package must serve its most demanding member on every line. Moving that member elsewhere makes the package lighter for
all others, so groups are judged by their members, not by packages at hand. All moves of all classes are priced at once
from two sums of every group: what each option would cost its members, and how many of them it fails.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from screener.tier_classes import Classes

IntArray = NDArray[np.int64]


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
            sign = np.where(inside, -1, 1)[:, None]
            other = wide.cheapest(sums[each] + sign * wide.cost, fails[each] + sign * wide.fails)
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
