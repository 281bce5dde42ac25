"""Who does the chunks of a portfolio: this process, processes of this machine, or the workers of a Dask cluster.

All do the same: a pure function of a task, tasks and outcomes small and picklable, everything large in files of a
shared folder. A scheduler yields (task's place, outcome) as tasks finish; nothing else may depend on who finished
first, so use ``in_order`` where the order matters. Rules that hold for all of them:

* A worker that dies costs nothing but time: its task runs again, in three attempts at most.
* An error that a task raises comes back as itself, with the worker's traceback as a note. Of several, the one of the
  first task in order is raised, whoever failed first.
* Leaving the loop, by an error or by Ctrl-C, ends the workers or cancels the tasks.

Nothing here imports Dask unless an address is given (``screener.portfolio.cluster``).
"""

from __future__ import annotations

import heapq
import os
import pickle
import signal
import threading
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from importlib import import_module
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Protocol, Self, TypeVar, cast

from screener.portfolio.worker_setup import WORKER_ENVIRONMENT, environment, keep_memory, one_numba_thread

if TYPE_CHECKING:
    from multiprocessing.context import SpawnProcess

Task = TypeVar("Task")
Outcome = TypeVar("Outcome")
Progress = Callable[[int, int, str], None]

ATTEMPTS = 3


class WorkerLostError(RuntimeError):
    """A task ended every worker that tried it (killed for memory, most often), or no worker is left to try it."""


@dataclass(frozen=True)
class Loss:
    """One worker that died at a task: the task's place, which attempt it was, and how the process ended."""

    task: int
    attempt: int
    how: str


@dataclass
class Record:
    """What happened besides the outcomes: attempts of each task of the last run, and every worker lost so far."""

    attempts: dict[int, int] = field(default_factory=dict)
    losses: list[Loss] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


class Scheduler(Protocol):
    """Runs one function over tasks. Keep it open over several runs: workers have imported everything by then."""

    record: Record

    def run(
        self, function: Callable[[Task], Outcome], tasks: Sequence[Task], progress: Progress
    ) -> Iterator[tuple[int, Outcome]]:
        """Outcomes with the places of their tasks, as they finish. progress(done, of, what is worth telling)."""
        ...

    def close(self) -> None:
        """End the workers, or let go of the cluster."""
        ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


def scheduler_for(workers: int, address: str = "", shared: Path | None = None) -> Scheduler:
    """The scheduler that the options ask for. ``shared``: the folder through which a cluster's workers hand on files.

    Raises InputError where the cluster can't do the job, before any task is sent.
    """
    if not address:
        return LocalScheduler(workers)
    from screener.portfolio.cluster import DaskScheduler

    return DaskScheduler(address, shared)


def in_order(
    scheduler: Scheduler,
    function: Callable[[Task], Outcome],
    tasks: Sequence[Task],
    progress: Progress = lambda done, of, told: None,
) -> list[Outcome]:
    """All outcomes, in the order of the tasks."""
    found = dict(scheduler.run(function, tasks, progress))
    return [found[place] for place in range(len(tasks))]


class LocalScheduler:
    """This process (one worker) or that many processes of this machine, started anew and not forked.

    Processes start at the first run and stay until ``close``. Each uses one numba and one GDAL thread and keeps its
    memory (``worker_setup``); one worker in this process is given the same settings for the time of a run.
    """

    def __init__(self, workers: int = 1, attempts: int = ATTEMPTS) -> None:
        if workers < 1 or attempts < 1:
            raise ValueError(f"{workers} workers, {attempts} attempts; expected at least 1 of each")
        self.workers, self.attempts = workers, attempts
        self.record = Record()
        self._crew: list[_Worker] = []

    def run(
        self, function: Callable[[Task], Outcome], tasks: Sequence[Task], progress: Progress
    ) -> Iterator[tuple[int, Outcome]]:
        self.record.attempts = {}
        if self.workers == 1:
            yield from self._run_here(function, tasks, progress)
        elif tasks:
            yield from _Batch(self, function, tasks, progress).outcomes()

    def _run_here(
        self, function: Callable[[Task], Outcome], tasks: Sequence[Task], progress: Progress
    ) -> Iterator[tuple[int, Outcome]]:
        keep_memory()
        for place, task in enumerate(tasks):
            self.record.attempts[place] = 1
            with _one_thread():
                outcome = function(task)
            progress(place + 1, len(tasks), "")
            yield place, outcome

    def crew(self, size: int) -> list[_Worker]:
        """Living workers, as many as asked for (at most ``workers``)."""
        self._crew = [worker for worker in self._crew if worker.alive()]
        while len(self._crew) < min(size, self.workers):
            self._crew.append(_Worker())
        return self._crew

    def start(self, module: str) -> None:
        """Start the workers now and let them import a module, so that they are ready when the first task comes.

        Not with one worker, which is this process.
        """
        if self.workers > 1:
            for worker in self.crew(self.workers):
                worker.prepare(module)

    def close(self) -> None:
        for worker in self._crew:
            worker.end()
        for worker in self._crew:
            worker.process.join(5.0)
        self._crew = []

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


@contextmanager
def _one_thread() -> Iterator[None]:
    """One numba thread inside the block."""
    import numba

    before = one_numba_thread()
    try:
        yield
    finally:
        numba.set_num_threads(before)


class _Batch:
    """One run over processes: who has which task, what is waiting, what failed."""

    def __init__(
        self, owner: LocalScheduler, function: Callable[[Any], Any], tasks: Sequence[Any], progress: Progress
    ) -> None:
        self.owner, self.tasks, self.progress = owner, tasks, progress
        self.function = pickle.dumps(function)
        self.waiting = list(range(len(tasks)))  # a heap: a lost task goes to its old place in the queue
        self.busy: dict[_Worker, int] = {}
        self.failed: tuple[int, BaseException] | None = None
        self.done = 0

    def outcomes(self) -> Iterator[tuple[int, Any]]:
        finished = False
        try:
            while self._hand_out():
                for worker in self._ready():
                    place = self.busy.pop(worker)
                    answer = worker.answer()
                    if answer is None:
                        self._lost(worker, place)
                    elif answer[0]:
                        self.done += 1
                        self.progress(self.done, len(self.tasks), "")
                        yield place, pickle.loads(answer[1])
                    else:
                        self._fail(place, _as_raised(answer[1], answer[2]))
            finished = True
        finally:
            if not finished:  # left in the middle: what still runs would be thrown away
                self.owner.close()
        if self.failed is not None:
            raise self.failed[1]

    def _hand_out(self) -> bool:
        """Give every idle worker a task; False when nothing is waiting and nobody works.

        After a failure only tasks before the failed one still count.
        """
        if self.failed is not None:
            self.waiting = [place for place in self.waiting if place < self.failed[0]]
            heapq.heapify(self.waiting)
            for worker in [w for w, place in self.busy.items() if place > self.failed[0]]:
                del self.busy[worker]
                worker.end()
        idle = [w for w in self.owner.crew(len(self.busy) + len(self.waiting)) if w not in self.busy]
        for worker in idle:
            if not self.waiting:
                break
            place = heapq.heappop(self.waiting)
            self.owner.record.attempts[place] = self.owner.record.attempts.get(place, 0) + 1
            self.busy[worker] = place
            worker.give(self.function, pickle.dumps(self.tasks[place]))
        return bool(self.busy)

    def _ready(self) -> list[_Worker]:
        """Workers that have answered or died, waited for."""
        by_link = {worker.link: worker for worker in self.busy}
        return [by_link[cast(Connection, link)] for link in wait(list(by_link))]

    def _lost(self, worker: _Worker, place: int) -> None:
        how, attempt = worker.how_it_ended(), self.owner.record.attempts[place]
        self.owner.record.losses.append(Loss(place, attempt, how))
        told = f"a worker was lost ({how}) at task {place + 1}, attempt {attempt} of {self.owner.attempts}"
        if attempt >= self.owner.attempts:
            memory = "; killed from outside: out of memory? fewer workers or smaller chunks need less"
            hint = memory if "9" in how else ""
            self._fail(place, WorkerLostError(f"{told}: given up{hint}"))
            return
        self.progress(self.done, len(self.tasks), told)
        heapq.heappush(self.waiting, place)

    def _fail(self, place: int, error: BaseException) -> None:
        if self.failed is None or place < self.failed[0]:
            self.failed = (place, error)


def _as_raised(pickled: bytes, trace: str) -> BaseException:
    """An error from a worker, with the worker's traceback as a note; its text where it can't be carried over."""
    error: BaseException
    try:
        error = pickle.loads(pickled)
    except Exception as unreadable:
        error = RuntimeError(f"a task failed, and its error can't be carried between processes ({unreadable!r})")
    error.add_note(f"in a worker process:\n{trace}")
    return error


class _Worker:
    """One process and the two pipes to it: tasks and answers, and one that closes when this process is gone."""

    def __init__(self) -> None:
        context = get_context("spawn")
        self.link, theirs = context.Pipe()
        watched, self._lifeline = context.Pipe(duplex=False)
        self.process: SpawnProcess = context.Process(target=_serve, args=(theirs, watched), daemon=True)
        with environment(WORKER_ENVIRONMENT):
            self.process.start()
        theirs.close()
        watched.close()
        self._function: bytes | None = None

    def alive(self) -> bool:
        return self.process.is_alive()

    def prepare(self, module: str) -> None:
        """Ask for an import. A dead worker is noticed later."""
        with suppress(OSError):
            self.link.send_bytes(b"i" + module.encode())

    def give(self, function: bytes, task: bytes) -> None:
        """Send a task, and the function before it where it is another one. A dead worker is noticed by ``answer``."""
        with suppress(OSError):
            if function != self._function:
                self.link.send_bytes(b"f" + function)
                self._function = function
            self.link.send_bytes(b"t" + task)

    def answer(self) -> tuple[bool, bytes, str] | None:
        """(True, pickled outcome, "") or (False, pickled error, traceback); None from a dead worker."""
        try:
            good, payload, trace = self.link.recv()
        except (EOFError, OSError):
            return None
        return bool(good), payload, trace

    def how_it_ended(self) -> str:
        self.process.join(10.0)
        code = self.process.exitcode
        if code is not None and code < 0:
            return f"signal {-code}, {signal.Signals(-code).name}"
        return f"exit code {code}"

    def end(self) -> None:
        if self.process.is_alive():
            self.process.terminate()
        for end in (self.link, self._lifeline):
            end.close()


def _serve(link: Connection, lifeline: Connection) -> None:
    """A worker's life: take tasks until the pipe closes. Ctrl-C is for the main process, which ends its workers."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with, args=(lifeline,), daemon=True).start()
    function: Callable[[Any], Any] | None = None
    while True:
        try:
            message = link.recv_bytes()
        except (EOFError, OSError):
            return
        if message[:1] == b"i":
            with suppress(Exception):  # a task that needs it will say what is wrong
                import_module(message[1:].decode())
            continue
        try:
            loaded = pickle.loads(message[1:])
            if message[:1] == b"f":
                function = loaded
                continue
            assert function is not None
            answer = (True, pickle.dumps(function(loaded)), "")
        except BaseException as error:  # a task may raise anything; SystemExit too is its answer
            answer = (False, _pickled(error), traceback.format_exc())
            if message[:1] == b"f":  # the function itself can't be loaded: answer the task that comes next with that
                link.recv_bytes()
        try:
            link.send(answer)
        except OSError:  # nobody waits for it
            return


def _pickled(error: BaseException) -> bytes:
    try:
        carried = pickle.dumps(error)
        pickle.loads(carried)
    except Exception:
        return pickle.dumps(RuntimeError(f"{type(error).__name__}: {error}"))
    return carried


def _leave_with(lifeline: Connection) -> None:
    """End this process once the main process is gone: an orphan would go on writing into a folder nobody wants."""
    try:
        lifeline.recv_bytes()
    except (EOFError, OSError):
        os._exit(1)
