"""Package lines that are chosen together: a hold-down at the foundation and its anchor.

A bracket needs an anchor of its own, as many as there are brackets; a strap cast into the concrete is its own anchor.
Each keeps its line in packages, sheets and the bill, but the search must see them as one line: only then does a cast-in
strap not pay for an anchor beside it. `join` makes one line of two for the search, `split` puts its answer apart again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from screener.capacity_case import Option
from screener.hardware import Hardware
from screener.tiers import TierPlan, TierProblem

HOLD_DOWN, ANCHOR = "hold_down", "hold_down_anchor"
CAST_IN = Option("", -1, "cast in with the hold-down", 0, float("nan"))
"""The anchor of a hold-down that anchors itself: nothing is bought for it."""


@dataclass(frozen=True)
class Pair:
    """Two lines of a package, by number, and the choices of both that go together."""

    first: int
    second: int
    choices: tuple[tuple[int, int], ...]


def anchors_itself(option: Option, hardware: Hardware) -> bool:
    """Whether a hold-down is cast into the concrete: the list says that it needs concrete below."""
    return option.row >= 0 and hardware.rows[option.row].text("needs_below", "any") == "concrete"


def partner(point_name: str) -> str:
    """Name of the hold-down that a hold-down anchor belongs to."""
    return point_name.replace("hold-down anchor:", "hold-down:", 1)


def pairs_of(
    lines: Sequence[str],
    families: Sequence[str],
    options: Sequence[Sequence[Option]],
    hardware: Hardware,
    kept: Sequence[Mapping[str, int]] = (),
) -> list[Pair]:
    """Every anchor line with the hold-down line of the same rank, and what of both goes together.

    Nothing with nothing, a cast-in piece with `CAST_IN`, any other with as many anchors; and what a kept package holds,
    whatever it is.
    """
    out = []
    for second, line in enumerate(lines):
        if families[second] != ANCHOR:
            continue
        name = line.replace("hold-down anchor,", "hold-down at the foundation,", 1)
        first = lines.index(name)
        choices = [
            (i, j)
            for i, held in enumerate(options[first])
            for j, anchor in enumerate(options[second])
            if _together(held, anchor, hardware)
        ]
        bought = [(k[lines[first]], k[line]) for k in kept if line in k and lines[first] in k]
        out.append(Pair(first, second, tuple(dict.fromkeys([*choices, *bought]))))
    return out


def _together(held: Option, anchor: Option, hardware: Hardware) -> bool:
    if held.row < 0:
        return anchor.row < 0 and anchor is not CAST_IN
    if anchors_itself(held, hardware):
        return anchor is CAST_IN
    return anchor.row >= 0 and anchor.pieces == held.pieces


def join(problem: TierProblem, pairs: Sequence[Pair]) -> TierProblem:
    """The problem with one line for each pair, under the first one's name, its options the pair's choices."""
    by_first = {pair.first: pair for pair in pairs}
    passes, items = list(problem.passes), list(problem.items)
    for pair in pairs:
        one, other = (np.array([c[k] for c in pair.choices], dtype=np.int64) for k in (0, 1))
        passes[pair.first] = problem.passes[pair.first][:, one] & problem.passes[pair.second][:, other]
        if items:
            both = zip(one.tolist(), other.tolist(), strict=True)
            held, anchors = problem.items[pair.first], problem.items[pair.second]
            items[pair.first] = tuple(tuple(sorted({*held[i], *anchors[j]})) for i, j in both)
    left = _left(len(problem.lines), pairs)
    return replace(
        problem,
        lines=tuple(problem.lines[n] for n in left),
        has_line=problem.has_line[:, left],
        passes=tuple(passes[n] for n in left),
        costs_cents=join_costs(problem.costs_cents, pairs),
        items=tuple(items[n] for n in left) if items else (),
        kept=tuple(_joined(package, problem.lines, by_first) for package in problem.kept),
    )


def join_costs(costs_cents: Sequence[NDArray[np.int64]], pairs: Sequence[Pair]) -> tuple[NDArray[np.int64], ...]:
    """Costs of every option, (variants, options) a line, on the joined lines."""
    costs = list(costs_cents)
    for pair in pairs:
        one, other = (np.array([c[k] for c in pair.choices], dtype=np.int64) for k in (0, 1))
        costs[pair.first] = costs_cents[pair.first][:, one] + costs_cents[pair.second][:, other]
    return tuple(costs[n] for n in _left(len(costs), pairs))


def _left(lines: int, pairs: Sequence[Pair]) -> list[int]:
    """Lines that stay after joining."""
    dropped = {pair.second for pair in pairs}
    return [n for n in range(lines) if n not in dropped]


def _joined(package: Mapping[str, int], lines: Sequence[str], by_first: Mapping[int, Pair]) -> dict[str, int]:
    """A kept package on the joined lines; a pair of which it lacks one line is left out."""
    out = dict(package)
    for pair in by_first.values():
        one, other = lines[pair.first], lines[pair.second]
        anchor, held = out.pop(other, None), out.pop(one, None)
        if anchor is not None and held is not None:
            out[one] = pair.choices.index((held, anchor))
    return out


def split(plan: TierPlan, lines: Sequence[str], pairs: Sequence[Pair]) -> TierPlan:
    """The plan on the lines as they were."""
    packages = []
    for package in plan.packages:
        out = dict(package)
        for pair in pairs:
            if (chosen := out.get(lines[pair.first])) is not None:
                out[lines[pair.first]], out[lines[pair.second]] = pair.choices[chosen]
        packages.append(out)
    return replace(plan, packages=tuple(packages))
