"""Random damage to the files of a project, the same for the same seed.

Texts lose, gain or swap lines and tokens, tokens become what people and programs leave in their place, bytes flip, the
end is cut off. Binary files get flipped bytes, zeroed stretches and cuts. One to three places a project.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path

TEXTS = (".toml", ".csv", ".geojson")
_TOKEN = re.compile(r'"[^"\n]*"|[\w.+-]+|[^\w\s]')
TOKENS = (
    *("", "0", "-1", "1e999", "-inf", "nan", "NaN", "1e308", "1e-308", "999999999999999999999999", "0x10", "1_000"),
    *("true", "false", "null", "None", "[]", "{}", '""', '"', "'", "[", "]", "{", "}", ",", ";", "=", "#", "\t", "\r"),
    *(
        '"=1+1"',
        '"../../x"',
        '"/dev/null"',
        '"/dev/zero"',
        '"/"',
        '"."',
        '".."',
        '"a\\u0000b"',
        '"\\u202e"',
        "2026-13-45",
    ),
    *(
        "1979-05-27T07:32:00Z",
        "07:32:00",
        '"NA"',
        "'8-Mar'",
        '"1,5"',
        '"1 250 lb"',
        "12%",
        "$5",
        "\x00",
        "\ufeff",
        "\u0661",
    ),
    *(
        '"EPSG:4326"',
        '"EPSG:0"',
        '"x" = 1',
        "a.b.c = 1",
        "[[wall]]",
        "[plan]",
        "-0.0",
        "1e-9",
        "100000",
        "yes",
        "C",
        "no",
    ),
)


def damaged(folder: Path, seed: int) -> list[str]:
    """Damage one to three places of the project in `folder`; what was done, one line each."""
    chance = random.Random(seed)
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    done = []
    for _ in range(chance.randint(1, 3)):
        file = chance.choice(files)
        kinds = TEXT_DAMAGES if file.suffix in TEXTS and chance.random() < 0.85 else BYTE_DAMAGES
        kind = chance.choice(kinds)
        before = file.read_bytes()
        file.write_bytes(kind(before, chance))
        done.append(f"{file.relative_to(folder).as_posix()}: {kind.__name__}")
    return done


# ---------------------------------------------------------------- texts


def _lines(content: bytes) -> list[bytes]:
    return content.split(b"\n")


def line_deleted(content: bytes, chance: random.Random) -> bytes:
    lines = _lines(content)
    del lines[chance.randrange(len(lines))]
    return b"\n".join(lines)


def line_doubled(content: bytes, chance: random.Random) -> bytes:
    lines = _lines(content)
    at = chance.randrange(len(lines))
    lines.insert(chance.randrange(len(lines) + 1), lines[at])
    return b"\n".join(lines)


def lines_swapped(content: bytes, chance: random.Random) -> bytes:
    lines = _lines(content)
    a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    return b"\n".join(lines)


def block_deleted(content: bytes, chance: random.Random) -> bytes:
    lines = _lines(content)
    at = chance.randrange(len(lines))
    del lines[at : at + chance.randint(2, 30)]
    return b"\n".join(lines)


def block_repeated(content: bytes, chance: random.Random) -> bytes:
    lines = _lines(content)
    at = chance.randrange(len(lines))
    block = lines[at : at + chance.randint(2, 30)]
    return b"\n".join([*lines[: at + len(block)], *block, *lines[at + len(block) :]])


def _tokens(content: bytes) -> list[re.Match[str]]:
    return list(_TOKEN.finditer(content.decode("utf-8", errors="replace")))


def _put(content: bytes, match: re.Match[str], text: str) -> bytes:
    whole = content.decode("utf-8", errors="replace")
    return (whole[: match.start()] + text + whole[match.end() :]).encode("utf-8", errors="surrogatepass")


def token_replaced(content: bytes, chance: random.Random) -> bytes:
    tokens = _tokens(content)
    return _put(content, chance.choice(tokens), chance.choice(TOKENS)) if tokens else content


def token_borrowed(content: bytes, chance: random.Random) -> bytes:
    tokens = _tokens(content)
    return _put(content, chance.choice(tokens), chance.choice(tokens).group()) if tokens else content


def token_doubled(content: bytes, chance: random.Random) -> bytes:
    tokens = _tokens(content)
    if not tokens:
        return content
    match = chance.choice(tokens)
    return _put(content, match, match.group() * 2)


def number_changed(content: bytes, chance: random.Random) -> bytes:
    numbers = [m for m in _tokens(content) if re.fullmatch(r"-?\d+(\.\d+)?", m.group())]
    if not numbers:
        return content
    match = chance.choice(numbers)
    factor = chance.choice((0.0, -1.0, 0.001, 0.5, 3.0, 1000.0, 1e9, 1e200))
    return _put(content, match, repr(float(match.group()) * factor))


# ---------------------------------------------------------------- bytes


def bytes_flipped(content: bytes, chance: random.Random) -> bytes:
    changed = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 8, 64))):
        if changed:
            changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
    return bytes(changed)


def head_bytes_changed(content: bytes, chance: random.Random) -> bytes:
    changed = bytearray(content)
    for _ in range(chance.randint(1, 6)):
        if changed:
            changed[chance.randrange(min(len(changed), 400))] = chance.randrange(256)
    return bytes(changed)


def stretch_zeroed(content: bytes, chance: random.Random) -> bytes:
    if not content:
        return content
    at, length = chance.randrange(len(content)), chance.choice((1, 16, 256, 4096))
    return content[:at] + bytes(min(length, len(content) - at)) + content[at + length :]


def stretch_moved(content: bytes, chance: random.Random) -> bytes:
    if not content:
        return content
    at, length = chance.randrange(len(content)), chance.choice((1, 16, 256, 4096))
    piece, rest = content[at : at + length], content[:at] + content[at + length :]
    to = chance.randrange(len(rest) + 1)
    return rest[:to] + piece + rest[to:]


def cut_off(content: bytes, chance: random.Random) -> bytes:
    return content[: chance.randrange(len(content) + 1)]


def emptied(content: bytes, chance: random.Random) -> bytes:
    return b""


def noise_added(content: bytes, chance: random.Random) -> bytes:
    return content + chance.randbytes(chance.choice((1, 10, 1000)))


Damage = Callable[[bytes, random.Random], bytes]
TEXT_DAMAGES: tuple[Damage, ...] = (
    *(line_deleted, line_doubled, lines_swapped, block_deleted, block_repeated),
    *(token_replaced, token_replaced, token_replaced, token_borrowed, token_borrowed, token_doubled),
    *(number_changed, number_changed, number_changed),
)
BYTE_DAMAGES: tuple[Damage, ...] = (
    *(bytes_flipped, bytes_flipped, head_bytes_changed, head_bytes_changed, stretch_zeroed, stretch_moved),
    *(cut_off, cut_off, emptied, noise_added),
)
