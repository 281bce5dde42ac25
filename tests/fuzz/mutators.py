"""Mutations that know a little of a text's structure: lines, numbers, words of the format, depth, other seeds.

A mutation is a function of (data, largest size, seed) alone, so a run with the same seeds and seed number repeats.
Two times in five the fuzzer's own mutation of bytes (`own`) does the work; it learns from the code's comparisons.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence
from pathlib import Path

WORDS = Path(__file__).parent / "words"


def words(name: str) -> tuple[bytes, ...]:
    """The words of one list, a line each; what can't be seen is written as \\x00."""
    lines = (WORDS / f"{name}.txt").read_text(encoding="ascii").splitlines()
    return tuple(line.encode("ascii").decode("unicode_escape").encode("latin-1") for line in lines)


NUMBER = re.compile(rb"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")
NUMBERS = (*words("numbers"), b"", b"9" * 400, b"9" * 5000)
TEXTS = (*words("texts"), b"A" * 300, b"A" * 5000)
Own = Callable[[bytes, int], bytes]
Mutate = Callable[[bytes, int, int, Own], bytes]


def text(data: bytes, largest: int, seed: int, pieces: Sequence[bytes], seeds: Sequence[bytes], own: Own) -> bytes:
    """One to four mutations of a text."""
    chance = random.Random(seed)
    for _ in range(chance.choice((1, 1, 2, 4))):
        if chance.random() < 0.4:
            data = own(data, largest)
        else:
            data = chance.choice((_number, _number, _word, _word, _lines, _splice, _repeat, _cut))(
                data, chance, pieces, seeds
            )
    return data[:largest]


def _number(data: bytes, chance: random.Random, pieces: Sequence[bytes], seeds: Sequence[bytes]) -> bytes:
    """Another number in place of one that stands there."""
    found = list(NUMBER.finditer(data))
    if not found:
        return _word(data, chance, pieces, seeds)
    match = chance.choice(found)
    return data[: match.start()] + chance.choice(NUMBERS) + data[match.end() :]


def _word(data: bytes, chance: random.Random, pieces: Sequence[bytes], seeds: Sequence[bytes]) -> bytes:
    """A word of the format, or an awkward text, put in or over what stands there."""
    piece = chance.choice(pieces if pieces and chance.random() < 0.7 else TEXTS)
    at = chance.randrange(len(data) + 1)
    return data[:at] + piece + data[at + chance.choice((0, 0, 1, len(piece))) :]


def _lines(data: bytes, chance: random.Random, pieces: Sequence[bytes], seeds: Sequence[bytes]) -> bytes:
    """A line removed, doubled, or moved elsewhere."""
    lines = data.split(b"\n")
    at, to = chance.randrange(len(lines)), chance.randrange(len(lines))
    line = lines[at]
    if chance.random() < 0.6:
        del lines[at]
    if chance.random() < 0.6:
        lines.insert(to, line)
    return b"\n".join(lines)


def _splice(data: bytes, chance: random.Random, pieces: Sequence[bytes], seeds: Sequence[bytes]) -> bytes:
    """Some lines of another seed."""
    if not seeds:
        return data
    other, lines = chance.choice(list(seeds)).split(b"\n"), data.split(b"\n")
    start = chance.randrange(len(other))
    at = chance.randrange(len(lines) + 1)
    lines[at : at + chance.choice((0, 1, 3))] = other[start : start + chance.randrange(1, 8)]
    return b"\n".join(lines)


def _repeat(data: bytes, chance: random.Random, pieces: Sequence[bytes], seeds: Sequence[bytes]) -> bytes:
    """A short piece many times over: depth, length, count."""
    start = chance.randrange(len(data) + 1)
    piece = data[start : start + chance.choice((1, 1, 2, 5, 20))]
    return data[:start] + piece * chance.choice((2, 10, 100, 2000)) + data[start + len(piece) :]


def _cut(data: bytes, chance: random.Random, pieces: Sequence[bytes], seeds: Sequence[bytes]) -> bytes:
    """A piece left out, or the end."""
    start = chance.randrange(len(data) + 1)
    return data[:start] + (b"" if chance.random() < 0.3 else data[start + chance.choice((1, 4, 16, 200)) :])


def of_text(pieces: Sequence[bytes], seeds: Callable[[], Sequence[bytes]]) -> Mutate:
    """The mutation of one text format."""

    def mutate(data: bytes, largest: int, seed: int, own: Own) -> bytes:
        return text(data, largest, seed, pieces, seeds(), own)

    return mutate


def tagged(kinds: Sequence[Mutate | None]) -> Mutate:
    """For inputs whose first byte says how the rest is read. None: bytes that only the fuzzer's own mutation knows."""

    def mutate(data: bytes, largest: int, seed: int, own: Own) -> bytes:
        kind = data[0] % len(kinds) if data else 0
        inner = kinds[kind]
        rest = inner(data[1:], largest - 1, seed, own) if inner else own(data[1:], largest - 1)
        return bytes([kind]) + rest

    return mutate
