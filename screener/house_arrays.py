"""A `HouseTable` as flat arrays for the compiled loops (`screener.house_loops`).

Forms stand in compressed rows: `first[f]` to `first[f + 1]` are the nonzero coefficients of form f with their basis
columns, in the order of the columns; `top_*` are the ceilings of the same forms (empty where there is none). Sums run
in that order and leave out nothing but zeros, so that they have the same bits as `points.forms`.

For what passes, connections of one line that hold the same are one group with the cases of all of them, less those that
can never decide: every basis number is at least zero, and rounding keeps order, so a case whose every coefficient is at
most another's of the same hazard never exceeds it, to the last bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from screener.house_tables import WORD_BITS, Bools, Floats, HouseTable, Ints, PointTable

Words = NDArray[np.uint64]
Bytes = NDArray[np.uint8]

FAILS, JUDGED, LEFT = 0, 1, 2  # what to do with an option: never holds, to be judged, decided elsewhere


class Forms(NamedTuple):
    """Linear forms in compressed rows, and their ceilings."""

    first: Ints
    column: Ints
    coefficient: Floats
    top_first: Ints
    top_column: Ints
    top_coefficient: Floats


class Blocks(NamedTuple):
    """Groups of connections (or single ones): where their cases, forms, options and capacities stand.

    ``allowable`` and ``reciprocal`` (sets, 2 hazards, numbers): 0 and infinity where nothing is held; ``options`` of
    block b start at ``first_option[b]``, their numbers at ``first_number[b]``, one for each option and component.
    """

    first_case: Ints  # (blocks + 1,)
    first_form: Ints  # (blocks,)
    has_top: Bools
    components: Ints
    seismic: Bytes  # (cases,)
    first_option: Ints  # (blocks + 1,)
    first_number: Ints  # (blocks + 1,)
    allowable: Floats
    reciprocal: Floats
    state: Bytes  # (sets, options)
    alone: Bytes  # (sets, options)


class PassArrays(NamedTuple):
    """What the loops over passing options read."""

    forms: Forms
    blocks: Blocks
    word: Ints  # (options,): column of `passes`
    bit: Words  # (options,)
    own: Bytes  # (options,): hold-downs that anchor themselves
    first_anchor: Ints  # (blocks + 1,): into the two below
    anchor_word: Ints  # cast-in options that hold where one of the block's own options does
    anchor_bit: Words
    start: Words  # (words,): every option of the house's lines
    weight: Floats  # (basis,): how much a basis number matters, for the order of lots only


class JudgeArrays(NamedTuple):
    """What the loops over usage ratios read; blocks are the connections themselves."""

    forms: Forms
    blocks: Blocks
    line: Ints  # (points,)
    first_row: Ints  # (points + 1,)
    cast_in: Ints  # (points,): number of the cast-in option, or -1
    partner: Ints  # (points,)
    first_own: Ints  # (points + 1,)
    own: Ints
    weight: Floats


@dataclass
class _Group:
    """Cases of connections that hold the same."""

    rows: Floats  # (cases, components, basis)
    tops: Floats | None
    seismic: Bytes
    of: PointTable
    anchors: list[PointTable] = field(default_factory=list)


def pass_arrays(table: HouseTable) -> PassArrays:
    """Arrays for what passes."""
    groups = _groups(table)
    own, first_anchor, anchors = [], [0], []
    words, bits = [], []
    for g in groups:
        number = np.arange(g.of.options)
        words.append(table.first_word[g.of.line] + number // WORD_BITS)
        bits.append(np.uint64(1) << (number % WORD_BITS).astype(np.uint64))
        straps = {n for a in g.anchors for n in a.own}
        own.append(np.array([n in straps for n in number], dtype=np.uint8))
        anchors += [
            (int(table.first_word[a.line]) + a.cast_in // WORD_BITS, 1 << a.cast_in % WORD_BITS) for a in g.anchors
        ]
        first_anchor.append(len(anchors))
    return PassArrays(
        _forms([(g.rows, g.tops) for g in groups], len(table.basis)),
        _blocks([(len(g.rows), g.tops is not None, g.seismic, g.of) for g in groups], True),
        _joined(words, np.int64),
        _joined(bits, np.uint64),
        _joined(own, np.uint8),
        np.array(first_anchor, dtype=np.int64),
        np.array([a[0] for a in anchors], dtype=np.int64),
        np.array([a[1] for a in anchors], dtype=np.uint64),
        _start(table),
        _weight(table),
    )


def judge_arrays(table: HouseTable) -> JudgeArrays:
    """Arrays for usage ratios and demands."""
    points = table.points
    blocks = [(len(p.case_names), p.ceiling is not None, _seismic(p), p) for p in points]
    return JudgeArrays(
        _forms([(p.coefficients, p.ceiling) for p in points], len(table.basis)),
        _blocks(blocks, False),
        np.array([p.line for p in points], dtype=np.int64),
        _starts([len(p.components) for p in points]),
        np.array([p.cast_in for p in points], dtype=np.int64),
        np.array([p.partner for p in points], dtype=np.int64),
        _starts([len(p.own) for p in points]),
        np.array([n for p in points for n in p.own], dtype=np.int64),
        _weight(table),
    )


def _starts(counts: Sequence[int]) -> Ints:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def _joined(parts: Sequence[NDArray[Any]], kind: type) -> NDArray[Any]:
    return np.concatenate([np.zeros(0, dtype=kind), *parts]).astype(kind)


def _seismic(point: PointTable) -> Bytes:
    return np.array([hazard == "seismic" for hazard in point.case_hazards], dtype=np.uint8)


def _start(table: HouseTable) -> Words:
    """Words with every option of the house's lines, and every bit of the others."""
    out = np.full(int(table.first_word[-1]), np.iinfo(np.uint64).max, dtype=np.uint64)
    for line in np.flatnonzero(table.has_line):
        first = int(table.first_word[line])
        for word in range(first, int(table.first_word[line + 1])):
            bits = min(max(table.options[line] - (word - first) * WORD_BITS, 0), WORD_BITS)
            out[word] = np.uint64((1 << bits) - 1)
    return out


def _weight(table: HouseTable) -> Floats:
    return np.asarray(np.sum([np.abs(p.coefficients).sum(axis=(0, 1)) for p in table.points], axis=0))


# --- groups -------------------------------------------------------------------------------------------------------


def _groups(table: HouseTable) -> list[_Group]:
    """Connections of one line that hold the same, together; a hold-down whose anchor looks at it stays alone."""
    anchors: dict[int, list[PointTable]] = {}
    for point in table.points:
        if point.cast_in >= 0 and point.own:
            anchors.setdefault(point.partner, []).append(point)
    found: dict[object, list[PointTable]] = {}
    for number, point in enumerate(table.points):
        if point.line >= 0:
            alone = number if number in anchors else -1
            held = (point.allowable.tobytes(), point.usable.tobytes(), point.each_alone.tobytes())
            found.setdefault((alone, point.line, len(point.components), *held), []).append(point)
    return [_group(members, anchors.get(key[0], [])) for key, members in found.items()]  # type: ignore[index]


def _group(members: Sequence[PointTable], anchors: list[PointTable]) -> _Group:
    rows = np.concatenate([p.coefficients for p in members])
    seismic = np.concatenate([_seismic(p) for p in members])
    tops = None
    if any(p.ceiling is not None for p in members):
        tops = np.concatenate([_tops(p) for p in members])
    kept = undominated_exactly(rows, tops, seismic)
    return _Group(rows[kept], None if tops is None else tops[kept], seismic[kept], members[0], anchors)


def _tops(point: PointTable) -> Floats:
    """Ceilings of a point; where it has none, its own forms: the lesser of two equals is the form."""
    return point.coefficients if point.ceiling is None else point.ceiling


def undominated_exactly(rows: Floats, tops: Floats | None, seismic: Bytes) -> Ints:
    """Cases that may decide for some basis without negative numbers, heaviest first; of equal ones the first."""
    flat = rows.reshape(len(rows), -1)
    both = flat if tops is None else np.concatenate([flat, tops.reshape(len(rows), -1)], axis=1)
    there = np.flatnonzero((flat > 0.0).any(axis=1))
    weight = np.maximum(both[there], 0.0).sum(axis=1)
    order = there[np.lexsort((there, -weight))]
    kept: list[int] = []
    for shaken in (0, 1):
        mine = order[seismic[order] == shaken]
        ordered = both[mine]
        beaten = np.zeros(len(mine), dtype=bool)
        for i in range(len(mine)):
            if not beaten[i]:
                covered = (ordered[i] >= ordered).all(axis=1)
                same = (ordered[i] == ordered).all(axis=1)
                covered &= ~same | (np.arange(len(mine)) > i)
                beaten |= covered
        kept += mine[~beaten].tolist()
    return np.array(kept, dtype=np.int64)


# --- flat ---------------------------------------------------------------------------------------------------------


def _forms(pieces: Sequence[tuple[Floats, Floats | None]], basis: int) -> Forms:
    rows = [r.reshape(-1, basis) for r, _ in pieces]
    tops = [
        np.zeros((len(r), basis)) if t is None else t.reshape(-1, basis) for r, (_, t) in zip(rows, pieces, strict=True)
    ]
    none = np.zeros((0, basis))
    return Forms(*_compressed(np.concatenate([none, *rows])), *_compressed(np.concatenate([none, *tops])))


def _compressed(rows: Floats) -> tuple[Ints, Ints, Floats]:
    at, column = np.nonzero(rows)
    return _starts(np.bincount(at, minlength=len(rows)).tolist()), column.astype(np.int64), rows[at, column]


def _blocks(pieces: Sequence[tuple[int, bool, Bytes, PointTable]], passing: bool) -> Blocks:
    cases = _starts([n for n, _, _, _ in pieces])
    points = [p for _, _, _, p in pieces]
    components = np.array([len(p.components) for p in points], dtype=np.int64)
    numbers = [p.allowable.reshape(*p.allowable.shape[:2], -1) for p in points]
    listed = np.concatenate(numbers, axis=2)
    allowable = np.where(np.isnan(listed), 0.0, listed)
    with np.errstate(divide="ignore"):
        reciprocal = 1.0 / allowable
    return Blocks(
        cases,
        _starts([n * len(p.components) for n, _, _, p in pieces])[:-1],
        np.array([top for _, top, _, _ in pieces], dtype=bool),
        components,
        _joined([s for _, _, s, _ in pieces], np.uint8),
        _starts([p.options for p in points]),
        _starts([p.options * len(p.components) for p in points]),
        np.ascontiguousarray(allowable),
        reciprocal,
        np.ascontiguousarray(np.concatenate([_state(p, passing) for p in points], axis=1)),
        np.ascontiguousarray(np.concatenate([p.each_alone for p in points], axis=1).astype(np.uint8)),
    )


def _state(point: PointTable, passing: bool) -> Bytes:
    """What to do with each option; an anchor's cast-in option is judged at its hold-down, if a strap is listed."""
    out = point.usable.astype(np.uint8)
    if point.cast_in >= 0:
        out[:, point.cast_in] = (LEFT if passing else JUDGED) if point.own else FAILS
    return out
