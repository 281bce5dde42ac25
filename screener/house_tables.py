"""One house design laid out as arrays for batches of lots: forms of its demands, and what each option holds where.

A `HouseTable` is made once a house and portfolio (`house_table`) and holds all that `screener.house_kernels` needs to
judge any number of lots: no texts are looked at, and no capacity is computed, while lots are judged. Its lines and
options are those of the whole portfolio, so that an option number means the same piece for every house.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from screener import capacities
from screener.capacities import Capacity
from screener.capacity_case import CapacityContext, Option
from screener.demands import DemandModel
from screener.hardware import Hardware
from screener.joint_lines import ANCHOR, CAST_IN, anchors_itself, partner
from screener.points import Point
from screener.selection import NOT_CHOSEN_FAMILIES, allowables

if TYPE_CHECKING:
    from screener.house_arrays import JudgeArrays, PassArrays

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

WIND, SEISMIC = 0, 1
WORD_BITS = 64
NO_LINE = NO_PARTNER = NO_OPTION = -1


@dataclass(frozen=True)
class PointTable:
    """One connection of a house: its forms, and what the options of its package line hold, by set of capacity rules.

    ``allowable`` (sets, 2 hazards, options, components) as stated, NaN where there is none; ``usable`` and
    ``each_alone`` (sets, options). ``line`` is -1 where nothing is chosen from the list. ``cast_in`` is the number of
    the option "cast in with the hold-down" of an anchor's line, ``partner`` the place of its hold-down among the
    house's points and ``own`` the hold-down's options that anchor themselves; else -1, -1 and none.
    """

    name: str
    family: str
    schedule: str
    line: int
    components: tuple[str, ...]
    case_names: tuple[str, ...]
    case_hazards: tuple[str, ...]
    coefficients: Floats
    ceiling: Floats | None
    allowable: Floats
    usable: Bools
    each_alone: Bools
    cast_in: int = NO_OPTION
    partner: int = NO_PARTNER
    own: tuple[int, ...] = ()

    @property
    def options(self) -> int:
        return int(self.usable.shape[1])

    @property
    def judged(self) -> bool:
        """Whether there is any option to judge."""
        return self.options > 0


@dataclass(frozen=True)
class HouseTable:
    """A house design with the options of every package line, ready for batches of lots.

    ``options`` is the number of options by line; ``set_of_category`` which set of capacity rules each of ``categories``
    takes (categories that decide nothing share one).
    """

    key: str
    basis: tuple[str, ...]
    lines: tuple[str, ...]
    options: tuple[int, ...]
    categories: tuple[str, ...]
    set_of_category: Ints
    points: tuple[PointTable, ...]

    @cached_property
    def first_word(self) -> Ints:
        """First column of each line among the columns of ``passes``, and their number at the end.

        A line takes one column for every 64 options or part of it: where no line has more than 64, columns are lines.
        """
        words = [max(1, -(-n // WORD_BITS)) for n in self.options]
        return np.concatenate([[0], np.cumsum(words)]).astype(np.int64)

    @cached_property
    def has_line(self) -> Bools:
        """(lines,): whether a connection of the house is on the line."""
        out = np.zeros(len(self.lines), dtype=bool)
        out[[p.line for p in self.points if p.line >= 0]] = True
        return out

    @cached_property
    def row_point(self) -> Ints:
        """Connection of each demand row: rows are (point, component) in order."""
        return np.repeat(np.arange(len(self.points)), [len(p.components) for p in self.points])

    @cached_property
    def row_component(self) -> Ints:
        return np.concatenate([np.arange(len(p.components)) for p in self.points])

    @property
    def rows(self) -> int:
        return len(self.row_point)

    @cached_property
    def pass_arrays(self) -> PassArrays:
        from screener.house_arrays import pass_arrays

        return pass_arrays(self)

    @cached_property
    def judge_arrays(self) -> JudgeArrays:
        from screener.house_arrays import judge_arrays

        return judge_arrays(self)


def house_table(
    model: DemandModel,
    lines: Sequence[str],
    options_by_line: Mapping[str, Sequence[Option]],
    hardware: Hardware,
    sdpws_edition: str,
    categories: Sequence[str],
) -> HouseTable:
    """Lay out one house for the lines and options of a portfolio (``selection.house_lines`` gives both).

    ``categories``: every seismic design category that its lots may have, without repetition; lots name theirs by place.
    ``ValueError`` for a repeated category, or a connection whose line is not among ``lines``.
    """
    if len(set(categories)) != len(categories) or not categories:
        raise ValueError(f"categories {list(categories)}; expected at least one, each once")
    place = {line: n for n, line in enumerate(lines)}
    held = [_held(model, options_by_line, hardware, sdpws_edition, c) for c in categories]
    sets, set_of_category = _distinct(held)
    by_name = {p.name: n for n, p in enumerate(model.points)}
    points = [
        _point_table(n, model.points, place, by_name, options_by_line, hardware, [s[n] for s in sets])
        for n in range(len(model.points))
    ]
    counts = tuple(len(options_by_line[line]) for line in lines)
    return HouseTable(
        model.variant.key,
        model.frame.basis,
        tuple(lines),
        counts,
        tuple(categories),
        set_of_category,
        tuple(points),
    )


_Held = tuple[Floats, Bools, Bools]  # allowable (2, options, components), usable (options,), each alone (options,)


def _held(
    model: DemandModel,
    options_by_line: Mapping[str, Sequence[Option]],
    hardware: Hardware,
    sdpws_edition: str,
    category: str,
) -> list[_Held]:
    """What every option holds at every connection under one seismic design category."""
    context = CapacityContext(model.frame.method, sdpws_edition, category)
    out = []
    for point in model.points:
        caps = [capacities.known_capacity(o, point, hardware, context) for o in _options_at(point, options_by_line)]
        out.append(_held_arrays(caps, point.components))
    return out


def _options_at(point: Point, options_by_line: Mapping[str, Sequence[Option]]) -> Sequence[Option]:
    return () if point.family in NOT_CHOSEN_FAMILIES else options_by_line.get(point.schedule, ())


def _held_arrays(caps: Sequence[Capacity], components: Sequence[str]) -> _Held:
    listed = np.stack([allowables(caps, hazard, components) for hazard in ("wind", "seismic")])
    if np.isinf(listed).any() or (listed < 0.0).any():
        raise ValueError("an allowable load is infinite or negative; expected a positive number, or NaN for none")
    usable = np.array([c.usable for c in caps], dtype=bool)
    alone = np.array([c.interaction == "none" for c in caps], dtype=bool)
    return listed, usable, alone


def _distinct(held: Sequence[list[_Held]]) -> tuple[list[list[_Held]], Ints]:
    """Sets of capacities that differ, and which of them each category takes."""
    sets: list[list[_Held]] = []
    found: dict[bytes, int] = {}
    of_category = []
    for one in held:
        content = b"".join(part.tobytes() for point in one for part in point)
        if content not in found:
            found[content] = len(sets)
            sets.append(one)
        of_category.append(found[content])
    return sets, np.array(of_category, dtype=np.int64)


def _point_table(
    number: int,
    points: Sequence[Point],
    place: Mapping[str, int],
    by_name: Mapping[str, int],
    options_by_line: Mapping[str, Sequence[Option]],
    hardware: Hardware,
    sets: Sequence[_Held],
) -> PointTable:
    point = points[number]
    chosen = point.family not in NOT_CHOSEN_FAMILIES
    if chosen and point.schedule not in place:
        raise ValueError(f"package line {point.schedule!r} of {point.name!r} is not among the portfolio's lines")
    cast_in, held = NO_OPTION, NO_PARTNER
    own: tuple[int, ...] = ()
    if point.family == ANCHOR:
        cast_in = list(options_by_line[point.schedule]).index(CAST_IN)
        held = by_name[partner(point.name)]
        served = options_by_line[points[held].schedule]
        own = tuple(n for n, option in enumerate(served) if anchors_itself(option, hardware))
    return PointTable(
        point.name,
        point.family,
        point.schedule,
        place[point.schedule] if chosen else NO_LINE,
        point.components,
        point.case_names,
        point.case_hazards,
        point.coefficients,
        point.ceiling,
        np.stack([s[0] for s in sets]),
        np.stack([s[1] for s in sets]),
        np.stack([s[2] for s in sets]),
        cast_in,
        held,
        own,
    )
