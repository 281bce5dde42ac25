"""Writing files under names that any system takes, whatever a lot is called."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from pathlib import Path

from screener.errors import OutputError

SLUG_LENGTH = 32


def slug(text: str) -> str:
    """Small letters, digits and hyphens of a text; ``x`` where none is left."""
    return re.sub(r"[^a-z0-9]+", "-", text.casefold()).strip("-")[:SLUG_LENGTH].strip("-") or "x"


def file_stem(index: int, lot_id: str) -> str:
    """`<index>-<slug>-<hash8>`: sorted as the lots are, and its own for every id."""
    digest = hashlib.sha256(lot_id.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{index:04d}-{slug(lot_id)}-{digest}"


def write_text(target: Path, text: str) -> None:
    """Write a file whole or not at all."""
    part = target.with_name(f".{target.name}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(text, encoding="utf-8", newline="\n")
        os.replace(part, target)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise OutputError(f"{target}: {error.strerror or error}; nothing was written there") from error
