"""The cluster part of the scale benchmark: one and two one-thread workers on this machine, and the same bytes."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from screener.portfolio.worker_setup import ALLOCATOR
from tests.benchmarks.scale import measure
from tests.benchmarks.scale.measure import Usage, median, table

PASSES = ("first", "second")


@dataclass
class Crew:
    """A running scheduler with its workers."""

    address: str
    pids: list[int]


@contextmanager
def started(workers: int, environ: Mapping[str, str]) -> Iterator[Crew]:
    """A scheduler and workers of one thread each, started as the module `screener.portfolio.cluster` says."""
    processes: list[subprocess.Popen[bytes]] = []
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "scheduler.json"
        env = {**os.environ, **environ, **ALLOCATOR}
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        start = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
                 "--no-dashboard", "--scheduler-file", str(file)]  # fmt: skip
        try:
            processes.append(subprocess.Popen(start, env=env, **quiet))  # type: ignore[call-overload]
            wait_for(file.exists, "the scheduler")
            from distributed import Client  # type: ignore[import-not-found,import-untyped,unused-ignore]

            for _ in range(workers):
                one = [sys.executable, "-m", "distributed.cli.dask_worker", "--scheduler-file", str(file),
                       "--nthreads", "1", "--no-dashboard", "--memory-limit", "0",
                       "--local-directory", name]  # fmt: skip
                processes.append(subprocess.Popen(one, env=env, **quiet))  # type: ignore[call-overload]
            with Client(scheduler_file=str(file), set_as_default=False) as client:
                client.wait_for_workers(workers, timeout=120)
                address = client.scheduler.address
            yield Crew(address, [p.pid for p in processes[1:]])
        finally:
            for process in reversed(processes):
                process.terminate()
            for process in processes:
                try:
                    process.wait(20)
                except subprocess.TimeoutExpired:
                    process.kill()


def wait_for(there: Callable[[], bool], what: str, at_most_s: float = 60.0) -> None:
    end = time.monotonic() + at_most_s
    while not there():
        if time.monotonic() > end:
            raise RuntimeError(f"{what} did not start within {at_most_s:.0f} s")
        time.sleep(0.1)


@dataclass
class OnWorkers:
    """One run on a cluster: the main process' usage, and what its workers took."""

    main: Usage
    worker_cpu_s: float
    worker_system_s: float
    worker_faults: int
    worker_peak_mib: float
    digest: str

    @property
    def passes_s(self) -> float:
        return sum(self.main.stages.get(name, 0.0) for name in PASSES)


def measured(
    project: Path,
    lots: int,
    runs: int,
    screened: Callable[[int, str], Usage],
    results: Path,
    environ: Mapping[str, str],
) -> list[str]:
    """Tables of the cluster part. Runs of one and of two workers take turns, each on a cluster that ran once before."""
    in_cache, in_memory = measure.two_at_once(1_000, 2_000_000), measure.two_at_once(4_000_000, 250)
    single = screened(1, "")
    wanted = digest(results)
    found: dict[int, list[OnWorkers]] = {1: [], 2: []}
    for _ in range(runs):
        for workers in found:
            with started(workers, environ) as crew:
                screened(1, crew.address)  # imports and compiled code; not counted
                before = measure.times_of(measure.descendants(crew.pids))
                watch = measure.Watch(crew.pids)
                main = screened(1, crew.address)
                after = measure.times_of(measure.descendants(crew.pids))
                peak, _ = watch.stop()
                user, system, faults = (b - a for a, b in zip(before, after, strict=True))
                found[workers].append(OnWorkers(main, user + system, system, int(faults), peak, digest(results)))
    rows = [["one process, no cluster", f"{single.wall_s:.1f}", f"{sum(single.stages.get(n, 0.0) for n in PASSES):.1f}",
             f"{single.cpu_s:.1f}", f"{single.system_s:.1f}", f"{single.faults / lots:.1f}",
             f"{single.peak_mib:,.0f}", "the standard"]]  # fmt: skip
    for workers, some in found.items():
        same = all(one.digest == wanted for one in some)
        rows.append([
            f"{workers} worker{'s' if workers > 1 else ''} of one thread",
            f"{median([o.main.wall_s for o in some]):.1f}", f"{median([o.passes_s for o in some]):.1f}",
            f"{median([o.worker_cpu_s for o in some]):.1f}", f"{median([o.worker_system_s for o in some]):.1f}",
            f"{median([o.worker_faults for o in some]) / lots:.1f}",
            f"{median([o.worker_peak_mib for o in some]):,.0f}",
            "identical" if same else "DIFFERENT",
        ])  # fmt: skip
    one, two = (median([o.passes_s for o in found[n]]) for n in (1, 2))
    header = ["who", "s, whole", "s, both passes", "CPU s of the workers", "system s", "page faults a lot", "peak MiB",
              "bytes of the results"]  # fmt: skip
    return [
        f"{lots:,} lots; scheduler, workers and main process on this machine; medians of {runs} runs, each on a cluster"
        " that has done one before (imports and compiled code are not counted). Final assembly is the main process'.",
        "",
        *table(header, rows),
        "",
        f"Two workers do both passes {one / two if two else float('nan'):.2f} times as fast as one. What two processes"
        f" can do together here, with nothing of ours in them: products of 1,000 numbers {in_cache:.2f} times, of"
        f" 4,000,000 numbers {in_memory:.2f} times what one does alone (medians of three, same run).",
    ]


def digest(results: Path) -> str:
    """Hash of the names and bytes of all result files but the one with times."""
    files = sorted(p for p in results.rglob("*") if p.is_file() and p.name != "timings.json")
    total = hashlib.sha256()
    for file in files:
        total.update(file.relative_to(results).as_posix().encode() + b"\0")
        with file.open("rb") as stream:
            total.update(hashlib.file_digest(stream, "sha256").digest())
    return total.hexdigest()
