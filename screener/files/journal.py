"""Work that survives a kill: files that appear whole or not at all, and a journal of what is done.

A file is written beside its place, flushed and renamed. A journal is a text file of one JSON record a line; each line
carries the checksum of its record and is flushed before `append` returns. A process killed while it appends leaves a
torn last line, which readers ignore and the next writer cuts off. An error of flushing is never answered by flushing
again: the system may have dropped the pages that it could not write.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

_SUM_DIGITS = 16


class DamagedJournalError(Exception):
    """A line before the last one is not what was written: the journal can't be trusted."""


class Journal:
    """Records of what is done, in the order in which it was done.

    One process at a time may append; keep it under the lock of the folder that it stands in.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    def append(self, record: Mapping[str, Any]) -> None:
        """Add a record and force it to the disk. The record must be plain JSON. Raises OSError; then give up."""
        line = _line(record)
        fresh = not self.path.exists()
        descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o644)
        try:
            end = _whole_bytes(descriptor)
            os.ftruncate(descriptor, end)
            os.lseek(descriptor, end, os.SEEK_SET)
            _write_all(descriptor, line)
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        if fresh:
            flush_folder_entry(self.path.parent)

    def read(self) -> list[dict[str, Any]]:
        """All whole records; none where there is no journal. A torn last line is ignored.

        Raises DamagedJournalError where an earlier line is damaged, which no kill can do.
        """
        try:
            content = self.path.read_bytes()
        except FileNotFoundError:
            return []
        lines = content.split(b"\n")
        records = [_record(line) for line in lines[:-1]]  # what follows the last line end was torn
        for number, record in enumerate(records[:-1], 1):
            if record is None:
                raise DamagedJournalError(f"{self.path.name}: line {number} is damaged")
        return [record for record in records if record is not None]


def write_aside(path: Path, writer: Callable[[Path], None]) -> None:
    """Let `writer` write a file beside `path`, flush it, and rename it into place: a whole file or none.

    The folder's entry is flushed too. Whatever fails, the half-written file is removed and an earlier one stays.
    """
    aside = path.with_name(f".{path.stem}.{os.getpid()}.part{path.suffix}")  # some writers look at the suffix
    # a database would go on in a file that a killed process of the same number left
    own = [aside, *(aside.with_name(aside.name + suffix) for suffix in ("-journal", "-wal", "-shm"))]
    _remove_all(own)
    try:
        writer(aside)
        flush(aside)
        os.replace(aside, path)
    except BaseException:
        _remove_all(own)
        raise
    flush_folder_entry(path.parent)


def copy_checked(source: Path, target: Path) -> None:
    """Copy a file and read it again: what arrived must be what was sent. Raises OSError."""
    shutil.copyfile(source, target)
    if checksum(target) != checksum(source):
        raise OSError(errno.EIO, f"{target.name} arrived damaged")


def _remove_all(files: Iterable[Path]) -> None:
    for file in files:
        with suppress(OSError):
            file.unlink()


def flush(path: Path) -> None:
    """Force a file or a folder to the disk. Raises OSError; what it holds must then be given up."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def flush_folder_entry(folder: Path) -> None:
    """Force a folder's list of names to the disk, where the system can do that."""
    if os.name == "nt":  # folders can't be opened there; renames are on the disk when they return
        return
    flush(folder)


def checksum(path: Path) -> str:
    """SHA-256 of a file's content, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _line(record: Mapping[str, Any]) -> bytes:
    text = json.dumps(record, ensure_ascii=True, allow_nan=False, sort_keys=True, separators=(",", ":"))
    return f"{_sum_of(text.encode())} {text}\n".encode()


def _record(line: bytes) -> dict[str, Any] | None:
    """The record of a line; None where the line is not one that was written whole."""
    given, _, text = line.partition(b" ")
    if given != _sum_of(text).encode():
        return None
    record = json.loads(text)
    return record if isinstance(record, dict) else None


def _sum_of(text: bytes) -> str:
    return hashlib.sha256(text).hexdigest()[:_SUM_DIGITS]


def _whole_bytes(descriptor: int) -> int:
    """Length of the journal up to the end of its last whole line."""
    size = os.fstat(descriptor).st_size
    content = os.pread(descriptor, size, 0)
    end = content.rfind(b"\n") + 1
    last = content[content.rfind(b"\n", 0, max(end - 1, 0)) + 1 : end - 1] if end else b""
    if end and _record(last) is None:  # its line end reached the disk, an earlier block of it did not
        return end - 1 - len(last)
    return end


def _write_all(descriptor: int, data: bytes) -> None:
    while data:
        data = data[os.write(descriptor, data) :]
