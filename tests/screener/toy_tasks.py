"""Tasks for the tests of schedulers, importable by worker processes: small pure functions of a dataclass."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from hazard.issues import InputError, Issue


@dataclass(frozen=True)
class Square:
    number: int
    folder: str = ""
    wait_s: float = 0.0


@dataclass(frozen=True)
class Squared:
    number: int
    square: int
    process: int
    environ: tuple[tuple[str, str], ...] = ()


def has_module(name: str) -> bool:
    return name in sys.modules


def square(task: Square) -> Squared:
    time.sleep(task.wait_s)
    kept = ("MALLOC_TRIM_THRESHOLD_", "MALLOC_MMAP_THRESHOLD_", "NUMBA_NUM_THREADS", "GDAL_NUM_THREADS")
    environ = tuple((name, os.environ.get(name, "")) for name in kept)
    return Squared(task.number, task.number**2, os.getpid(), environ)


def tries(folder: str, number: int) -> int:
    """How often a task was tried before; this try is counted in the folder."""
    before = len(list(Path(folder).glob(f"{number}-*")))
    (Path(folder) / f"{number}-{before}").touch()
    return before


def killed_once(task: Square) -> Squared:
    """The third task kills its worker, the first time; every task leaves a file, as shards do."""
    if task.number == 3 and tries(task.folder, 3) == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    return square(task)


def always_killed(task: Square) -> Squared:
    if task.number == 2:
        tries(task.folder, 2)
        os.kill(os.getpid(), signal.SIGKILL)
    return square(task)


def refuses(task: Square) -> Squared:
    """Tasks 2 and 4 raise; the later one sooner."""
    if task.number == 4:
        raise InputError(Issue("four", "stop", "task 4", "a four"))
    if task.number == 2:
        time.sleep(0.5)
        raise InputError(
            [Issue("two", "stop", "task 2", "a two", "another number"), Issue("more", "note", "task 2", "more")]
        )
    return square(task)


class Awkward(Exception):
    """Can't be pickled."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.lock = threading.Lock()


def awkward(task: Square) -> Squared:
    raise Awkward("an error with a lock in it")


def numba_threads(task: Square) -> int:
    import numba

    return int(numba.get_num_threads())
