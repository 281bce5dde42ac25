"""What a reader may do with any input at all: read it, or refuse it with issues that name the file.

Anything else is a finding: another exception, a refusal without a reason, a message that names no file, more than
`SECONDS` or `MEMORY_MIB` for one input. Used by the fuzzer, by the replay of its corpus and by the attack tests.
"""

from __future__ import annotations

import atexit
import shutil
import tempfile
import traceback
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from hazard.issues import InputError, Issue
from tests.fuzz.mutators import Mutate

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_data"
CORPUS = Path(__file__).parent / "corpus"
SECONDS = 5
MEMORY_MIB = 1024


@dataclass(frozen=True)
class Reader:
    """A reader under test.

    `read` takes the bytes of an input, calls the reader as the command does and returns the stops it recorded; it may
    raise InputError. Every message must hold one of `names`. `seeds` are good inputs to start from, `words` pieces that
    a mutation may put in.
    """

    name: str
    read: Callable[[bytes], Iterable[Issue]]
    names: tuple[str, ...]
    seeds: Callable[[], list[bytes]]
    words: tuple[bytes, ...]
    mutate: Mutate


@dataclass(frozen=True)
class Finding:
    """What a reader must not do. `key` tells findings apart: the kind of error and the line that raised it."""

    key: str
    text: str


def judge(reader: Reader, data: bytes) -> Finding | None:
    """Give a reader one input; what it did that it must not, or None."""
    try:
        told = list(reader.read(data))
    except InputError as error:
        told = error.issues
        if not told:
            return Finding("InputError without an issue", "InputError without an issue")
    except Exception as error:
        return Finding(_key(error), "".join(traceback.format_exception(error)))
    for issue in told:
        message = issue.message()
        if not any(name in message for name in reader.names):
            return Finding(f"no file named: {issue.code}", message)
    return None


def _key(error: Exception) -> str:
    """The kind of the error and the last line of our own packages on its way."""
    frames = [f for f in traceback.extract_tb(error.__traceback__) if _ours(f.filename)]
    place = f"{Path(frames[-1].filename).name}:{frames[-1].name}" if frames else "?"
    return f"{type(error).__name__} in {place}"


def _ours(file: str) -> bool:
    return any(f"/{package}/" in file for package in ("screener", "hazard")) and "/site-packages/" not in file


def folder(name: str) -> Path:
    """A folder in memory (where the machine has one) for the files of one reader; gone at the end of the process."""
    memory = Path("/dev/shm")
    made = Path(tempfile.mkdtemp(prefix=f"fuzz-{name}-", dir=memory if memory.is_dir() else None))
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return made


def one_in(count: int, data: bytes) -> bool:
    """True for one input in so many, always the same ones; for what is slow beside the reading itself.

    Inputs of the corpus and seeds do it always: see `thorough`.
    """
    return _thorough or zlib.crc32(data) % count == 0


def thorough() -> None:
    """From now on every input gets the whole of its reader (for replays)."""
    global _thorough
    _thorough = True


_thorough = False


def corpus(name: str) -> list[Path]:
    """The kept inputs of a reader: what was once a finding."""
    return sorted((CORPUS / name).glob("*"))
