"""Finished parts of a run, kept beside the output until the run is published, so that `--resume` goes on from there.

`.results-runs/.resume-<run id>/` holds one file a part and a journal. The journal's first record says what the run is;
each further one names a part, its file and its checksum. A part counts when its record is whole and its bytes have that
checksum; everything else is made again. The run id covers inputs, settings, options and versions, so a part never
meets other inputs. Where a part can't be kept (a full disk, say), the run goes on without keeping any.

Every value goes through bytes and back, also when it was just made: a resumed run works on the very same arrays.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from hazard.issues import Issue, Issues
from screener.files.journal import DamagedJournalError, Journal, write_aside
from screener.files.plain_values import NotPlainError, from_bytes, to_bytes
from screener.keeping import T

JOURNAL = "journal.jsonl"
PREFIX = ".resume-"


class KeptParts:
    """The parts of one run (a `screener.keeping.Keep`). Needs the lock of the output folder."""

    def __init__(self, folder: Path, about: Mapping[str, Any]) -> None:
        self.folder = folder
        self.reused: list[str] = []
        self._about = dict(about)
        self._journal = Journal(folder / JOURNAL)
        self._known: dict[str, dict[str, Any]] = {}
        self._keeps = False

    def open(self, resume: bool) -> None:
        """Take up what a killed run of the same inputs kept, or begin with nothing."""
        records = _records(self._journal) if resume else []
        if records and records[0] == self._about:
            self._known = {str(r.get("part")): r for r in records[1:]}
            self._keeps = True
            return
        self.remove()
        try:
            self.folder.mkdir()
            self._journal.append(self._about)
            self._keeps = True
        except OSError:
            self.remove()

    def __call__(
        self, name: str, make: Callable[[], T], classes: Sequence[type[Any]] = (), issues: Issues | None = None
    ) -> T:
        """The part's value: kept by an earlier run, or made now and kept."""
        allowed: tuple[type[Any], ...] = (Issue, *classes)
        content = self._read(name)
        if content is not None:
            with suppress(NotPlainError):
                value, found = from_bytes(content, allowed)
                self.reused.append(name)
                if issues is not None:
                    issues.extend(found)
                return value  # type: ignore[no-any-return]
        before = 0 if issues is None else len(issues)
        made = make()
        content = to_bytes((made, [] if issues is None else list(issues)[before:]), allowed)
        self._write(name, content)
        return from_bytes(content, allowed)[0]  # type: ignore[no-any-return]

    def remove(self) -> None:
        """Forget everything."""
        self._known, self._keeps = {}, False
        shutil.rmtree(self.folder, ignore_errors=True)

    def _read(self, name: str) -> bytes | None:
        record = self._known.get(name)
        if record is None or record.get("file") != _file_of(name):
            return None
        try:
            content = (self.folder / _file_of(name)).read_bytes()
        except OSError:
            return None
        return content if hashlib.sha256(content).hexdigest() == record.get("sha256") else None

    def _write(self, name: str, content: bytes) -> None:
        if not self._keeps:
            return
        try:
            write_aside(self.folder / _file_of(name), _writer(content))
            self._journal.append(
                {
                    "part": name,
                    "file": _file_of(name),
                    "bytes": len(content),
                    "sha256": hashlib.sha256(content).hexdigest(),
                }
            )
        except OSError:  # nothing half-kept is ever taken up; keeping is a comfort, the run is not
            self.remove()


def kept_folders(runs: Path) -> list[Path]:
    """Folders of kept parts under the hidden folder of an output."""
    return sorted(runs.glob(f"{PREFIX}*"))


def about_kept(folder: Path) -> dict[str, Any] | None:
    """What a folder of kept parts says of its run; None where it says nothing that can be read."""
    records = _records(Journal(folder / JOURNAL))
    return records[0] if records else None


def _records(journal: Journal) -> list[dict[str, Any]]:
    try:
        return journal.read()
    except (OSError, DamagedJournalError, ValueError):
        return []


def _writer(content: bytes) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        path.write_bytes(content)

    return write


def _file_of(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") + ".npz"
