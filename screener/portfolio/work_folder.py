"""The folder through which tasks of one portfolio run hand on what they make, and the journal of what is done.

It stands in the hidden runs folder beside the results, named by the run. Every file appears whole or not at all and is
journalled with its checksum, so that a run that was killed goes on from there: what the journal names and what is
there unchanged is not made again. Tasks and outcomes that travel between processes hold names and numbers only.

Pickles in here were written by the same run; the journal's checksums are compared before one of an earlier process is
read.
"""

from __future__ import annotations

import pickle
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import pyarrow as pa

from screener.files.journal import DamagedJournalError, Journal, checksum, write_aside

JOURNAL = "journal.jsonl"


@dataclass(frozen=True)
class Task:
    """A piece of work: what kind, its number, and the work folder."""

    kind: str
    number: int
    folder: str


@dataclass(frozen=True)
class Outcome:
    """What a task made: files by name with their checksums, and small facts."""

    kind: str
    number: int
    files: Mapping[str, str] = field(default_factory=dict)
    facts: Mapping[str, Any] = field(default_factory=dict)


def write_pickle(folder: Path, name: str, value: object) -> str:
    """Write a value into the work folder; its checksum."""
    return written(folder, name, lambda path: _dump(path, value))[1]


def _dump(path: Path, value: object) -> None:
    path.write_bytes(pickle.dumps(value, protocol=5))


@lru_cache(maxsize=256)
def _pickled(path: str, stamp: int) -> Any:
    return pickle.loads(Path(path).read_bytes())


def read_pickle(folder: Path | str, name: str) -> Any:
    """A value of the work folder; read once a process as long as the file is the same."""
    path = Path(folder) / name
    return _pickled(str(path), path.stat().st_mtime_ns)


def write_table(table: pa.Table, path: Path) -> None:
    """A table as the work folder keeps it, in one piece: it is read once and thrown away, so time counts, not size."""
    options = pa.ipc.IpcWriteOptions(compression="lz4")
    with pa.OSFile(str(path), "wb") as file, pa.ipc.new_file(file, table.schema, options=options) as writer:
        writer.write_table(table.combine_chunks())


def read_table(path: Path) -> pa.Table:
    """The table again."""
    with pa.OSFile(str(path)) as file:
        return pa.ipc.open_file(file).read_all()


def read_rows(path: Path) -> int:
    """How many rows the table has."""
    with pa.OSFile(str(path)) as file:
        return int(pa.ipc.open_file(file).count_rows())


def written(folder: Path, name: str, writer: Callable[[Path], None]) -> tuple[str, str]:
    """Let `writer` write a file of the work folder; its name and checksum."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    write_aside(path, writer)
    return name, checksum(path)


class Done:
    """Outcomes of a run so far, by kind and number, kept in its journal."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.journal = Journal(folder / JOURNAL)
        self.outcomes: dict[tuple[str, int], Outcome] = {}

    def take_up(self) -> int:
        """Read the journal and keep what is there unchanged; the number of outcomes kept.

        A damaged journal is worth nothing: everything is then made again.
        """
        try:
            records = self.journal.read()
        except DamagedJournalError:
            shutil.rmtree(self.folder, ignore_errors=True)
            self.folder.mkdir(parents=True)
            return 0
        for record in records:
            outcome = Outcome(record["kind"], record["number"], record["files"], record["facts"])
            if all(self._unchanged(name, own) for name, own in outcome.files.items()):
                self.outcomes[outcome.kind, outcome.number] = outcome
        return len(self.outcomes)

    def _unchanged(self, name: str, own: str) -> bool:
        path = self.folder / name
        return path.is_file() and checksum(path) == own

    def add(self, outcome: Outcome) -> None:
        """Journal an outcome."""
        self.outcomes[outcome.kind, outcome.number] = outcome
        self.journal.append(
            {
                "kind": outcome.kind,
                "number": outcome.number,
                "files": dict(outcome.files),
                "facts": dict(outcome.facts),
            }
        )

    def has(self, kind: str, number: int) -> bool:
        return (kind, number) in self.outcomes

    def of(self, kind: str) -> list[Outcome]:
        """Outcomes of a kind in order of their numbers."""
        return [self.outcomes[key] for key in sorted(self.outcomes) if key[0] == kind]
