"""The workers of a Dask cluster as a scheduler of portfolio chunks. Dask is imported here alone, and only when used.

Start the scheduler and the workers yourself, all with this package in the same version, one thread a worker, on
machines that see the output folder under the same path::

    dask scheduler --port 8786
    MALLOC_TRIM_THRESHOLD_=268435456 MALLOC_MMAP_THRESHOLD_=67108864 MALLOC_ARENA_MAX=1 \\
        dask worker tcp://HOST:8786 --nthreads 1 --nworkers 2

The three variables belong in front of the command because the launcher of workers sets a trim threshold of 65,536
bytes of its own before it starts them, unless the environment names one; that made array code 5 to 10 times slower
here. A worker that has it nevertheless is told of, and its allocator is set by ``mallopt`` where the C library has it.

Before the first task every worker is asked for its versions, its threads, a fingerprint of this package's code, and
whether it can read a file in the shared folder: different code or libraries could give different bytes.
"""

from __future__ import annotations

import hashlib
import os
import queue
import time
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self, TypeVar

from hazard.issues import InputError, Issue
from screener.portfolio.schedulers import ATTEMPTS, Loss, Progress, Record, WorkerLostError
from screener.portfolio.worker_setup import keep_memory, one_numba_thread, slow_allocator

if TYPE_CHECKING:
    from distributed import Client, Future  # type: ignore[import-not-found,import-untyped,unused-ignore]

Task = TypeVar("Task")
Outcome = TypeVar("Outcome")

CONNECT_S = 15.0
NO_WORKER_S = 60.0
"""How long tasks may wait while not one worker is connected, before the run gives up."""

LIBRARIES = ("numpy", "pandas", "pyarrow", "numba", "scipy", "shapely", "geopandas", "pyproj", "pyogrio", "rasterio")
"""Libraries whose version may show in the last bits or in the bytes of a file."""


class DaskScheduler:
    """Runs tasks on the workers of the Dask scheduler at ``address`` (tcp://host:port).

    ``shared``: folder through which files are handed on; every worker must read it under this path. Connects and
    checks the workers at once; raises InputError that says what is wrong with which worker.
    """

    def __init__(
        self, address: str, shared: Path | None = None, attempts: int = ATTEMPTS, connect_s: float = CONNECT_S
    ) -> None:
        self.address, self.attempts = address, attempts
        self.record = Record()
        self._client = _connect(address, connect_s)
        self._settled = False
        try:
            self.record.notes += _check_workers(self._client, address, shared)
        except BaseException:
            self.close()
            raise

    def run(
        self, function: Callable[[Task], Outcome], tasks: Sequence[Task], progress: Progress
    ) -> Iterator[tuple[int, Outcome]]:
        self.record.attempts = dict.fromkeys(range(len(tasks)), 1)
        if not self._settled:
            self._settled = True
            for note in self.record.notes:
                progress(0, len(tasks), note)
        if not tasks:
            return
        finished: queue.Queue[Future] = queue.Queue()
        run, here = uuid.uuid4().hex[:8], describe(LIBRARIES)
        futures = [
            self._client.submit(
                on_worker, function, task, here, key=f"chunk-{place}-{run}", pure=False, priority=-place, retries=0
            )
            for place, task in enumerate(tasks)
        ]
        places = {future.key: place for place, future in enumerate(futures)}
        for future in futures:
            future.add_done_callback(finished.put)
        try:
            yield from self._outcomes(futures, places, finished, progress)
        finally:
            self._note_losses(places)
            self._let_go(futures)

    def _outcomes(
        self, futures: list[Future], places: Mapping[str, int], finished: queue.Queue[Future], progress: Progress
    ) -> Iterator[tuple[int, Any]]:
        waiting = set(range(len(futures)))
        failed: tuple[int, BaseException] | None = None
        done, lost_before, alone_since = 0, 0, 0.0
        while waiting:
            try:
                future = finished.get(timeout=2.0)
            except queue.Empty:
                alone_since = self._still_there(alone_since)
                lost = self._losses_so_far(places)
                if lost > lost_before:
                    lost_before = lost
                    progress(done, len(futures), "a worker was lost; its chunk runs again on another one")
                continue
            alone_since = 0.0
            place = places[future.key]
            waiting.discard(place)
            if future.status == "finished":
                if failed is None:
                    done += 1
                    progress(done, len(futures), "")
                    yield place, future.result()
            elif failed is None or place < failed[0]:
                failed = (place, self._error_of(future, place))
                later = [n for n in waiting if n > place]
                self._let_go([futures[n] for n in later])
                waiting.difference_update(later)
        if failed is not None:
            raise failed[1]

    def _error_of(self, future: Future, place: int) -> BaseException:
        """What the task raised; a loss told as one."""
        from distributed.scheduler import KilledWorker  # type: ignore[import-not-found,import-untyped,unused-ignore]

        if future.status in ("cancelled", "lost"):
            return WorkerLostError(f"the scheduler at {self.address} let go of task {place + 1}; is it still running?")
        error: BaseException = future.exception()
        if isinstance(error, KilledWorker):
            self.record.losses.append(Loss(place, self.attempts, "lost by the cluster"))
            return WorkerLostError(
                f"task {place + 1} ended every worker of the cluster that tried it, the last one"
                f" {error.last_worker.address if error.last_worker else 'unknown'}: given up; out of memory?"
            )
        return error

    def _still_there(self, alone_since: float) -> float:
        """When the workers were first seen to be gone (0: some are there); raises once that is too long ago."""
        if self._client.status not in ("running", "newly-created"):
            raise WorkerLostError(f"the scheduler at {self.address} went away")
        if self._client.scheduler_info(n_workers=-1)["workers"]:
            return 0.0
        now = time.monotonic()
        if alone_since and now - alone_since > NO_WORKER_S:
            raise WorkerLostError(f"no worker is left at {self.address} since {NO_WORKER_S:.0f} s")
        return alone_since or now

    def _losses_so_far(self, places: Mapping[str, int]) -> int:
        return sum(self._suspicious(places).values())

    def _suspicious(self, places: Mapping[str, int]) -> dict[str, int]:
        """By task: how many workers the cluster lost while they had it."""
        keys = list(places)

        def count(dask_scheduler: Any = None) -> dict[str, int]:
            known = dask_scheduler.tasks
            return {key: known[key].suspicious for key in keys if key in known and known[key].suspicious}

        try:
            found: dict[str, int] = self._client.run_on_scheduler(count)
        except Exception:  # only a count for the record; the run itself will tell if the scheduler is gone
            return {}
        return found

    def _note_losses(self, places: Mapping[str, int]) -> None:
        for key, times in self._suspicious(places).items():
            place = places[key]
            self.record.attempts[place] = 1 + times
            self.record.losses += [Loss(place, n + 1, "lost by the cluster") for n in range(times)]

    def _let_go(self, futures: Sequence[Future]) -> None:
        """Cancel what still runs and forget the rest; a cluster that is gone has nothing left to cancel."""
        try:
            self._client.cancel([f for f in futures if not f.done()], force=True, msg="no longer wanted")
        except Exception:
            return

    def close(self) -> None:
        self._client.close(timeout=5)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def on_worker(function: Callable[[Task], Outcome], task: Task, expected: Mapping[str, str]) -> Outcome:
    """One task on a worker of the cluster, set up like the processes of ``LocalScheduler``.

    A worker that joined after the others were asked, or whose files changed since, is compared here: raises InputError
    where its versions differ.
    """
    _same_versions(tuple(expected.items()))
    keep_memory()
    one_numba_thread()
    return function(task)


@lru_cache(maxsize=4)
def _same_versions(expected: tuple[tuple[str, str], ...]) -> None:
    """Once a process."""
    issues = _version_faults("a worker of the cluster, by now", describe(LIBRARIES), dict(expected))
    if issues:
        raise InputError(issues)


def _stop(code: str, where: str, found: str, expected: str, done: str = "") -> Issue:
    return Issue(code, "stop", where, found, expected, done)


def _connect(address: str, connect_s: float) -> Client:
    where = f"--scheduler {address}"
    try:
        from distributed import Client
    except ImportError as error:
        expected = "the optional part 'cluster': pip install 'tract-screener[cluster]'"
        raise InputError(_stop("cluster_library", where, f"Dask is not installed here ({error})", expected)) from error
    try:
        return Client(address, timeout=connect_s, set_as_default=False, name="screener")
    except (OSError, TimeoutError, ValueError) as error:
        expected = "a running Dask scheduler, written tcp://host:port"
        raise InputError(
            _stop("cluster_unreachable", where, f"no answer within {connect_s:.0f} s ({error})", expected)
        ) from error


def fingerprint() -> str:
    """Hash of this package's code and tables; pure function of the files' names and bytes."""
    import hazard
    import screener

    digest = hashlib.sha256()
    for package in (hazard, screener):
        root = Path(str(package.__file__)).parent
        files = [p for p in root.rglob("*") if p.suffix in (".py", ".csv") and "__pycache__" not in p.parts]
        for file in sorted(files, key=lambda p: p.relative_to(root).as_posix()):
            digest.update(f"{root.name}/{file.relative_to(root).as_posix()}\0".encode())
            digest.update(hashlib.sha256(file.read_bytes()).digest())
    return digest.hexdigest()


def describe(libraries: Sequence[str]) -> dict[str, str]:
    """Versions and code of this process, by name."""
    import platform
    from importlib.metadata import PackageNotFoundError, version

    found = {"Python": ".".join(platform.python_version_tuple()[:2])}
    for name in libraries:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "none"
    return {**found, "code of hazard and screener": fingerprint()[:16]}


def _check_workers(client: Client, address: str, shared: Path | None) -> list[str]:
    """Ask every worker; InputError with all that is wrong, else what is worth telling."""
    threads = {name: info["nthreads"] for name, info in client.scheduler_info(n_workers=-1)["workers"].items()}
    if not threads:
        raise InputError(
            _stop("cluster_empty", f"--scheduler {address}", "a scheduler without workers", "at least one worker")
        )
    token = uuid.uuid4().hex
    probe = None if shared is None else shared.resolve() / f".probe-{token}"
    if probe is not None:
        probe.write_text(token, encoding="ascii")
    try:
        told = client.run(_probe(str(probe or ""), LIBRARIES), on_error="return")
    finally:
        if probe is not None:
            probe.unlink(missing_ok=True)
    here = describe(LIBRARIES)
    issues, notes = [], []
    for name in sorted(told):
        issues += _faults(f"worker {name}", told[name], here, threads.get(name, 1), token if probe else "", shared)
        slow = slow_allocator(told[name]["environ"]) if isinstance(told[name], dict) else ""
        if slow:
            notes.append(
                f"worker {name}: {slow}: arrays would be 5 to 10 times slower; set by mallopt for these tasks where the"
                " C library can, but better start it with the MALLOC_ variables (see screener.portfolio.cluster)"
            )
    if issues:
        raise InputError(issues)
    return notes


def _probe(probe: str, libraries: Sequence[str]) -> Callable[[], dict[str, Any]]:
    """A function that a worker without this package can run too, since it is sent by value: all imports inside."""

    def look() -> dict[str, Any]:

        found: dict[str, Any] = {"environ": {k: v for k, v in os.environ.items() if k.startswith("MALLOC_")}}
        try:
            with open(probe, encoding="ascii") as file:
                found["token"] = file.read()
        except OSError as error:
            found["token"] = f"{type(error).__name__}: {error}"
        try:
            from screener.portfolio.cluster import describe

            found["versions"] = describe(libraries)
        except Exception as error:
            found["lacks"] = f"{type(error).__name__}: {error}"
        return found

    return look


def _faults(
    where: str, told: Any, here: Mapping[str, str], threads: int, token: str, shared: Path | None
) -> list[Issue]:
    if isinstance(told, BaseException):
        return [_stop("cluster_worker", where, f"does not answer ({told})", "an answer")]
    issues = []
    if "lacks" in told:
        expected = "this package and its libraries on every worker"
        issues.append(_stop("cluster_package", where, f"can't import it: {told['lacks']}", expected))
    else:
        issues += _version_faults(where, told["versions"], here)
    if threads != 1:
        expected = "1: start it with --nthreads 1, and more workers instead"
        issues.append(_stop("cluster_threads", where, f"{threads} threads", expected))
    if token and told["token"] != token:
        found = f"can't read {shared} ({told['token']})"
        issues.append(_stop("cluster_folder", where, found, "the output folder under the same path on every worker"))
    return issues


def _version_faults(where: str, there: Mapping[str, str], here: Mapping[str, str]) -> list[Issue]:
    return [
        _stop("cluster_version", where, f"{name} {there.get(name, 'none')}", f"{name} {version}, as here")
        for name, version in here.items()
        if there.get(name, "none") != version
    ]
