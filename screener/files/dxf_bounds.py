"""What a drawing must be before the drawing library sees it: text that ends, and within bounds once blocks are put in.

Where a carriage return is followed by a zero byte, or by nothing, that library may never come back: so zero bytes are
refused, but for padding at the end, which is cut, and the text is handed over with a line feed at its end. Blocks of
blocks multiply, rows and columns too: counted from the text, with group codes as in the DXF reference (0 begins an
entity, 2 is a block's name, 70 and 71 the columns and rows of an insert).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

MOST_DRAWN = 1_000_000  # entities after all blocks are put in
DEEPEST = 32  # blocks within blocks
LARGEST_BYTES = 1024**3
BINARY = b"Binary DXF"  # within the first bytes
HEAD_BYTES = 8192
# How a drawing begins: comments (999), then a section.
_BEGINS = re.compile(
    rb"^(?:\s*999[ \t]*(?:\r\n?|\n)[^\r\n]*(?:\r\n?|\n))*\s*0[ \t]*(?:\r\n?|\n)\s*SECTION", re.IGNORECASE
)
# The whole lines of a group code 0 and its value, a name. A value that is itself "0" can't be followed by a name.
_ENTITY = re.compile(rb"^[ \t]*0[ \t]*\r?\n[ \t]*([A-Za-z_][A-Za-z0-9_]*)[ \t]*\r?$", re.MULTILINE)
_PAIR = re.compile(rb"^[ \t]*(\d{1,4})[ \t]*\r?\n([^\r\n]*)\r?$", re.MULTILINE)


@dataclass
class _Block:
    """What one block draws: entities of its own, and how many times it puts in which others."""

    own: int = 0
    inserts: list[tuple[bytes, int]] = field(default_factory=list)


def is_drawing(path: Path) -> bool:
    """Whether a file is a drawing, by its name or by how it begins: the drawing library goes by the latter."""
    if path.suffix.lower() == ".dxf":
        return True
    if not path.is_file():
        return False
    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    return BINARY in head[:22] or _BEGINS.search(head) is not None


def read_drawing(path: Path) -> tuple[bytes, str]:
    """The text of a drawing as it can be handed over, or why it can't be drawn within bounds."""
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        return b"", f"{size:,} bytes; at most {LARGEST_BYTES:,} are read"
    content = path.read_bytes()
    if BINARY in content[:22]:
        return b"", "a binary drawing"
    if not content.endswith(b"\n"):
        content = content.rstrip(b"\0\x1a\r") + b"\n"
    if (at := content.find(b"\0")) >= 0:
        return b"", f"a zero byte at place {at:,}, which no text holds"
    return content, _too_much(content)


def _too_much(content: bytes) -> str:
    """Why a drawing is too large once its blocks are put in; "" where it is not."""
    if b"INSERT" not in content:
        return ""
    drawn = _drawn(_blocks(content), b"", [], {})
    if drawn is None:
        return f"blocks within one another without end, or more than {DEEPEST} deep"
    return f"more than {MOST_DRAWN:,} entities once its blocks are put in" if drawn > MOST_DRAWN else ""


def _blocks(content: bytes) -> dict[bytes, _Block]:
    """Blocks by folded name; the drawing itself is the one without a name."""
    blocks: dict[bytes, _Block] = {b"": _Block()}
    into = blocks[b""]
    for kind, body in _entities(content):
        if kind == b"BLOCK":
            into = blocks.setdefault(_groups(body).get(b"2", b"").strip().upper(), _Block())
        elif kind in (b"ENDBLK", b"ENDSEC"):
            into = blocks[b""]
        elif kind == b"INSERT":
            groups = _groups(body)
            times = _count(groups.get(b"70")) * _count(groups.get(b"71"))
            into.inserts.append((groups.get(b"2", b"").strip().upper(), times))
        else:
            into.own += 1
    return blocks


def _entities(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Names of entities; the text after them only where it is looked at."""
    last: re.Match[bytes] | None = None
    for match in _ENTITY.finditer(content):
        if last is not None:
            yield last[1], content[last.end() : match.start()] if last[1] in (b"BLOCK", b"INSERT") else b""
        last = match
    if last is not None:
        yield last[1], content[last.end() : last.end() + 10_000]


def _groups(body: bytes) -> dict[bytes, bytes]:
    return {match[1]: match[2] for match in _PAIR.finditer(body.lstrip(b"\r\n"))}


def _count(text: bytes | None) -> int:
    """Rows or columns; 1 where none is given."""
    try:
        return max(1, int(text or 1))
    except ValueError:
        return 1


def _drawn(blocks: dict[bytes, _Block], name: bytes, above: list[bytes], known: dict[bytes, int]) -> int | None:
    """Entities that a block draws in all; None for blocks within themselves or too deep."""
    if name in known:
        return known[name]
    if name in above or len(above) > DEEPEST:
        return None
    total = blocks[name].own
    for inner, times in blocks[name].inserts:
        if inner not in blocks or inner == b"":
            continue
        drawn = _drawn(blocks, inner, [*above, name], known)
        if drawn is None:
            return None
        total += times * max(1, drawn)
    known[name] = total
    return total
