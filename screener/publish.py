"""Results appear all together or not at all.

The output folder's path is a link to one run in a hidden folder beside it: `results` -> `.results-runs/000007-ab12cd`.
A run is written to a staging folder on the same file system, flushed, renamed, and only then does the link move, in
one rename. A killed run leaves the earlier link and what it leads to. An operating-system lock, which dies with its
process, keeps two runs apart.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import re
import shutil
import socket
import sqlite3
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from screener.errors import FolderInUseError, OutputError
from screener.file_systems import network_file_system
from screener.files.journal import copy_checked, flush

if sys.platform != "win32":
    import fcntl

KEPT_RUNS = 2
LEAST_FREE_BYTES = 16 * 2**20
"""Free before anything is computed: three times the least set of results; the exact need is asked before writing."""

_RUN_NAME = re.compile(r"^(\d{6,})-[0-9a-z]+$")
_HELD_OPEN = (32, 33)  # Windows: ERROR_SHARING_VIOLATION, ERROR_LOCK_VIOLATION
_AT_FDCWD, _RENAME_EXCHANGE = -100, 2  # renameat2(2) of Linux


class Destination:
    """An output folder that is locked for this run. Made by `open_destination`."""

    def __init__(self, output: Path, overwrite: bool) -> None:
        self.output = output
        self.runs = runs_folder(output)
        self.network = ""  # the network file system that the output lies on, if it does
        self._overwrite = overwrite

    def current(self) -> Path | None:
        """The folder of the run that the output path leads to, None where there is none."""
        return current_run(self.output)

    def require_free(self, needed_bytes: int) -> None:
        """Refuse now rather than half way when the disk is too full."""
        free = shutil.disk_usage(self.runs).free
        if free < needed_bytes:
            raise OutputError(
                f"{self.output}: {free // 2**20:,} MiB are free; about {needed_bytes // 2**20:,} MiB are needed; "
                "make room or name another folder"
            )

    @contextmanager
    def stage(self, run_id: str) -> Iterator[Path]:
        """A folder to write results in. Leaving the block publishes it; an exception throws it away.

        Where the output lies on a network file system, results are written on a local disk and copied.
        """
        stage = self.runs / f".stage-{run_id}-{os.getpid()}"
        try:
            stage.mkdir()
            if self.network:
                with tempfile.TemporaryDirectory(prefix="screener-") as local:
                    yield Path(local)
                    _copy_all(Path(local), stage)
            else:
                yield stage
            _flush_folder(stage)
            run = self._name_run(stage, run_id)
            self._publish(run)
        except (OSError, sqlite3.Error) as error:
            _remove(stage)
            raise OutputError(f"{self.output}: {_reason(error)}; the earlier results are untouched") from error
        except OutputError as error:
            _remove(stage)
            raise OutputError(f"{self.output}: {error}; the earlier results are untouched") from error
        except BaseException:
            _remove(stage)
            raise
        with suppress(OSError):  # the new results are in place; what could not be removed goes with the next run
            self._prune()

    def _name_run(self, stage: Path, run_id: str) -> Path:
        last = max((number for number, _ in self._numbered()), default=0)
        run = self.runs / f"{last + 1:06d}-{run_id[:12]}"
        os.rename(stage, run)
        flush(self.runs)
        return run

    def _publish(self, run: Path) -> None:
        link = self.runs / f".link-{os.getpid()}"
        with suppress(FileNotFoundError):
            link.unlink()
        os.symlink(os.path.join(self.runs.name, run.name), link)
        if self.output.is_dir() and not self.output.is_symlink():
            self._replace_folder(link)
        else:
            os.replace(link, self.output)
        # The new results are in place; a flush that fails here can't take them back.
        with suppress(OSError):
            flush(self.output.parent)

    def _replace_folder(self, link: Path) -> None:
        """Put the link where a foreign folder stands; the folder moves into the hidden one and is not deleted."""
        aside = self.runs / f"replaced-{datetime.now(UTC):%Y%m%dT%H%M%S}-{os.getpid()}"
        if _exchange(link, self.output):
            os.rename(link, aside)
            return
        os.rename(self.output, aside)
        try:
            os.replace(link, self.output)
        except OSError:
            os.rename(aside, self.output)
            raise

    def _numbered(self) -> list[tuple[int, Path]]:
        found = ((_RUN_NAME.match(entry.name), entry) for entry in self.runs.iterdir())
        return sorted((int(match[1]), entry) for match, entry in found if match)

    def _prune(self) -> None:
        """Keep this run and the one before it."""
        current = self.current()
        older = [entry for _, entry in self._numbered() if entry != current]
        for entry in older[: len(older) - (KEPT_RUNS - 1)]:
            _remove(entry)

    def clean(self) -> None:
        """Remove what killed runs left: stages, links, and runs that were never published. Needs the lock."""
        for entry in self.runs.iterdir():
            if entry.name.startswith((".stage-", ".link-")):
                _remove(entry)
        current = self.current()
        if current is not None:
            for _, entry in self._numbered():
                if entry.name > current.name:
                    _remove(entry)


def runs_folder(output: Path) -> Path:
    """The hidden folder beside an output path that holds its runs."""
    return output.parent / f".{output.name}-runs"


def current_run(output: Path) -> Path | None:
    """The folder an output path leads to, when `screener` made it."""
    if not output.is_symlink():
        return None
    target = Path(os.readlink(output))
    run = output.parent / target
    ours = target.parent == Path(runs_folder(output).name) and _RUN_NAME.match(target.name)
    return run if ours and run.is_dir() else None


@contextmanager
def open_destination(output: Path, *, overwrite: bool = False) -> Iterator[Destination]:
    """Lock an output folder and make sure that it can be written, before anything is computed.

    Raises OutputError where the path is a folder that `screener` did not make (unless `overwrite`), where it can't be
    written, and FolderInUseError where another run holds it.
    """
    output = Path(os.path.abspath(output))
    _refuse_foreign(output, overwrite)
    runs = runs_folder(output)
    try:
        runs.mkdir(parents=True, exist_ok=True)
        lock = _lock(runs / ".lock", output)
    except FolderInUseError:
        raise
    except OSError as error:
        raise OutputError(f"{output}: {_reason(error)}; name a folder that can be written") from error
    destination = Destination(output, overwrite)
    destination.network = network_file_system(runs)
    try:
        _probe(runs, output)
        try:
            destination.clean()
        except OSError as error:
            raise OutputError(f"{output}: {_reason(error)}; name a folder that can be read and written") from error
        yield destination
    finally:
        _unlock(lock, runs)


def _refuse_foreign(output: Path, overwrite: bool) -> None:
    if output.is_symlink():
        target = Path(os.readlink(output))
        if target.parent == Path(runs_folder(output).name) or overwrite:
            return
        raise OutputError(
            f"{output}: is a link to {target} that screener did not make; "
            "name another folder, or give --overwrite to replace the link"
        )
    if output.is_dir() and not overwrite:
        raise OutputError(
            f"{output}: is a folder that screener did not make; name another folder, or give --overwrite to put the "
            f"results in its place (it is kept in {runs_folder(output).name})"
        )
    if output.exists() and not output.is_dir():
        raise OutputError(f"{output}: is a file; name a folder")


def _lock(path: Path, output: Path) -> int:
    """The lock file's descriptor, held until closed or until this process dies."""
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o644)
        try:
            _take(descriptor)
        except OSError as error:
            holder = _holder(descriptor)
            os.close(descriptor)
            if error.errno in (errno.EACCES, errno.EAGAIN, errno.EDEADLK):
                raise FolderInUseError(
                    f"{output}: another run is writing here ({holder}); wait for it, or name another folder"
                ) from error
            raise
        try:
            same = os.path.samestat(os.fstat(descriptor), os.stat(path))
        except FileNotFoundError:
            same = False
        if same:  # else another process removed the file between our opening and locking it
            break
        os.close(descriptor)
    about = {"pid": os.getpid(), "host": socket.gethostname(), "started": f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"}
    try:
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, json.dumps(about).encode(), 0)
    except OSError:
        os.close(descriptor)  # else this process would hold the lock until it ends
        raise
    return descriptor


def _take(descriptor: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
    else:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _holder(descriptor: int) -> str:
    try:
        about = json.loads(os.pread(descriptor, 1000, 0))
        return f"process {about['pid']} on {about['host']} since {about['started']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "its process did not say who it is"


def _unlock(descriptor: int, runs: Path) -> None:
    """Release the lock; where nothing was published and nothing is kept, leave no trace."""
    with suppress(OSError):
        if [entry.name for entry in runs.iterdir()] == [".lock"]:
            (runs / ".lock").unlink()
            runs.rmdir()
    os.close(descriptor)


def _probe(runs: Path, output: Path) -> None:
    """Write and remove a small file and a link: better now than after the computing."""
    probe = runs / f".link-probe-{os.getpid()}"
    try:
        probe.write_bytes(b"probe")
        probe.unlink()
        os.symlink("nowhere", probe)
        probe.unlink()
    except (OSError, NotImplementedError) as error:
        _remove(probe)
        reason = _reason(error) if isinstance(error, OSError) else "links can't be made here"
        raise OutputError(f"{output}: {reason}; name a folder that can be written and that allows links") from error


def _exchange(first: Path, second: Path) -> bool:
    """Swap two names in one step, where the system can; False where it can't and nothing has changed."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    done = renameat2(_AT_FDCWD, os.fsencode(first), _AT_FDCWD, os.fsencode(second), _RENAME_EXCHANGE)
    return bool(done == 0)


DISK_FAULTS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS)


@contextmanager
def told_of_disk(output: Path, every: bool = False) -> Iterator[None]:
    """Tell a disk that takes no more as what it is, an OutputError; with `every` any fault of files or databases."""
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        if not every and getattr(error, "errno", None) not in DISK_FAULTS:
            raise
        raise OutputError(f"{output}: {_reason(error)}; the earlier results are untouched") from error


def _copy_all(source: Path, target: Path) -> None:
    """Copy a folder's files and read them again: what arrived must be what was sent."""
    for file in sorted(entry for entry in source.rglob("*") if entry.is_file()):
        copy = target / file.relative_to(source)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy_checked(file, copy)


def _flush_folder(folder: Path) -> None:
    """Force a folder and all that is in it to the disk. An error means that the folder must be thrown away."""
    for place, _, files in os.walk(folder):
        for name in sorted(files):
            flush(Path(place) / name)
        flush(Path(place))


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        with suppress(OSError):
            path.unlink()


def _reason(error: Exception) -> str:
    """What the system said, in plain words."""
    if isinstance(error, OSError) and error.errno is not None:
        words = {
            errno.ENOSPC: "the disk is full",
            errno.EDQUOT: "the disk quota is used up",
            errno.EFBIG: "a file grew past the limit set for it",
            errno.EROFS: "the disk is read-only",
            errno.EACCES: "no permission to write here",
            errno.EPERM: "no permission to write here",
        }
        if sys.platform == "win32" and getattr(error, "winerror", 0) in _HELD_OPEN:
            return "another program holds a file there open: close it"
        return words.get(error.errno, error.strerror or str(error))
    return str(error) or type(error).__name__
