"""Schedulers of portfolio chunks: nothing is lost, nothing depends on who finishes first, errors come back whole."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import toy_tasks
from toy_tasks import Square

from hazard.issues import InputError, Issue
from screener.portfolio import cluster, worker_setup
from screener.portfolio.schedulers import LocalScheduler, Scheduler, WorkerLostError, in_order, scheduler_for

SQUARES = [0, 1, 4, 9, 16, 25]


def tasks(folder: Path | str = "", wait_s: float = 0.0) -> list[Square]:
    return [Square(n, str(folder), wait_s) for n in range(6)]


class Told:
    """A progress callback that remembers."""

    def __init__(self) -> None:
        self.done: list[int] = []
        self.words: list[str] = []

    def __call__(self, done: int, of: int, told: str) -> None:
        assert of == 6
        self.done.append(done)
        self.words += [told] if told else []


@pytest.fixture(scope="module")
def two() -> Iterator[LocalScheduler]:
    """Two processes, shared by tests that leave them alive."""
    with LocalScheduler(2) as scheduler:
        yield scheduler


def test_workers_start_early_and_import_what_they_are_told() -> None:
    """A module that the tasks' own does not import is there; one that does not exist spoils nothing; none is left."""
    with LocalScheduler(2) as scheduler:
        scheduler.start("colorsys")
        scheduler.start("no_such_module")
        processes = [worker.process for worker in scheduler.crew(2)]
        found = in_order(scheduler, toy_tasks.has_module, ["colorsys", "no_such_module", "colorsys"])
    assert found == [True, False, True]
    assert not any(process.is_alive() for process in processes)
    with LocalScheduler(1) as alone:
        alone.start("colorsys")
        assert alone.crew(0) == []


def test_one_worker_is_this_process() -> None:
    told = Told()
    scheduler = LocalScheduler(1)
    found = list(scheduler.run(toy_tasks.square, tasks(), told))
    assert [place for place, _ in found] == list(range(6))
    assert [out.square for _, out in found] == SQUARES
    assert {out.process for _, out in found} == {os.getpid()}
    assert told.done == [1, 2, 3, 4, 5, 6]
    assert scheduler.record.attempts == dict.fromkeys(range(6), 1)


def test_two_processes_give_the_same_and_both_work(two: LocalScheduler) -> None:
    told = Told()
    found = in_order(two, toy_tasks.square, tasks(wait_s=0.1), told)
    assert [out.square for out in found] == SQUARES
    processes = {out.process for out in found}
    assert len(processes) == 2
    assert os.getpid() not in processes
    assert told.done == [1, 2, 3, 4, 5, 6]
    again = in_order(two, toy_tasks.square, tasks(wait_s=0.1), told)
    assert {out.process for out in again} == processes  # they stay for the next run


def test_processes_keep_their_memory_and_use_one_thread(two: LocalScheduler) -> None:
    [out] = in_order(two, toy_tasks.square, [Square(1)])
    assert dict(out.environ) == {
        "MALLOC_TRIM_THRESHOLD_": "268435456",
        "MALLOC_MMAP_THRESHOLD_": "67108864",
        "NUMBA_NUM_THREADS": "1",
        "GDAL_NUM_THREADS": "1",
    }
    assert "MALLOC_TRIM_THRESHOLD_" not in os.environ  # only theirs


def test_one_numba_thread_here_too_and_as_before_afterwards() -> None:
    import numba

    before = numba.get_num_threads()
    assert in_order(LocalScheduler(1), toy_tasks.numba_threads, tasks()) == [1] * 6
    assert numba.get_num_threads() == before


def test_a_killed_worker_loses_nothing(tmp_path: Path) -> None:
    told = Told()
    with LocalScheduler(2) as scheduler:
        found = in_order(scheduler, toy_tasks.killed_once, tasks(tmp_path, 0.05), told)
    assert [out.square for out in found] == SQUARES
    assert scheduler.record.attempts == {0: 1, 1: 1, 2: 1, 3: 2, 4: 1, 5: 1}
    [loss] = scheduler.record.losses
    assert (loss.task, loss.attempt, loss.how) == (3, 1, "signal 9, SIGKILL")
    assert told.words == ["a worker was lost (signal 9, SIGKILL) at task 4, attempt 1 of 3"]


def test_a_task_that_kills_every_worker_is_given_up_after_three(tmp_path: Path) -> None:
    with LocalScheduler(2) as scheduler, pytest.raises(WorkerLostError, match="task 3, attempt 3 of 3: given up"):
        in_order(scheduler, toy_tasks.always_killed, tasks(tmp_path))
    assert len(list(tmp_path.iterdir())) == 3
    assert [loss.attempt for loss in scheduler.record.losses] == [1, 2, 3]


@pytest.mark.parametrize("workers", [1, 2])
def test_the_error_of_the_first_task_in_order_comes_back_as_itself(workers: int) -> None:
    with LocalScheduler(workers) as scheduler, pytest.raises(InputError) as caught:
        in_order(scheduler, toy_tasks.refuses, tasks())
    assert [issue.code for issue in caught.value.issues] == ["two", "more"]  # though four failed sooner
    assert caught.value.issues[0].expected == "another number"
    if workers == 2:
        assert "in refuses" in "".join(caught.value.__notes__)


def test_input_errors_can_be_carried() -> None:
    error = InputError([Issue("a", "stop", "here", "this"), Issue("b", "note", "there", "that")])
    assert pickle.loads(pickle.dumps(error)).issues == error.issues


def test_an_error_that_cannot_be_carried_is_told(two: LocalScheduler) -> None:
    with pytest.raises(RuntimeError, match="Awkward: an error with a lock in it"):
        in_order(two, toy_tasks.awkward, tasks())


def test_leaving_in_the_middle_ends_the_processes() -> None:
    scheduler = LocalScheduler(2)
    for _ in scheduler.run(toy_tasks.square, tasks(wait_s=0.2), Told()):
        crew = [worker.process for worker in scheduler.crew(2)]
        break
    else:
        raise AssertionError("no outcome")
    scheduler.close()
    assert len(crew) == 2
    assert not any(process.is_alive() for process in crew)


ORPHANS = """
import sys, toy_tasks
from screener.portfolio.schedulers import LocalScheduler
if __name__ == "__main__":
    with LocalScheduler(2) as scheduler:
        tasks = [toy_tasks.Square(n, "", 0.0 if n < 2 else 60.0) for n in range(4)]
        for _, out in scheduler.run(toy_tasks.square, tasks, lambda *a: None):
            print(out.process, flush=True)
"""


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_no_process_outlives_the_main_one(tmp_path: Path, how: signal.Signals) -> None:
    script = tmp_path / "main.py"
    script.write_text(ORPHANS, encoding="utf-8")
    path = os.pathsep.join(
        [str(Path(__file__).parent), str(Path(__file__).parents[2]), os.environ.get("PYTHONPATH", "")]
    )
    main = subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        env={**os.environ, "PYTHONPATH": path},
    )  # fmt: skip
    assert main.stdout is not None
    workers = {int(main.stdout.readline()) for _ in range(2)}
    main.send_signal(how)
    main.wait(20)
    main.stdout.close()
    end = time.monotonic() + 20
    while time.monotonic() < end and any(running(pid) for pid in workers):
        time.sleep(0.05)
    assert not any(running(pid) for pid in workers)


def running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def test_no_dask_without_an_address() -> None:
    code = (
        "import sys; from screener.portfolio.schedulers import scheduler_for; s = scheduler_for(1);"
        "unwanted = {'dask', 'distributed', 'tornado'};"
        "print(list(s.run(len, ['ab'], lambda *a: None)), sorted(unwanted & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[(0, 2)] []"


def test_no_tasks_no_processes() -> None:
    with LocalScheduler(2) as scheduler:
        assert in_order(scheduler, toy_tasks.square, []) == []


# --- a cluster on this machine ------------------------------------------------------------------------------------

needs_dask = pytest.mark.skipif(
    __import__("importlib.util").util.find_spec("distributed") is None,
    reason="needs the optional part 'cluster' (distributed)",
)


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """A cluster of two one-thread processes, with the launcher's own environment."""
    distributed: Any = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, memory_limit=None, silence_logs=50
    ) as made:
        yield made.scheduler_address


@needs_dask
def test_a_cluster_gives_the_same(address: str, tmp_path: Path) -> None:
    told = Told()
    with scheduler_for(1, address, tmp_path) as scheduler:
        found = in_order(scheduler, toy_tasks.square, tasks(wait_s=0.1), told)
        assert in_order(scheduler, toy_tasks.numba_threads, tasks(), told) == [1] * 6
    assert [out.square for out in found] == SQUARES
    assert len({out.process for out in found} - {os.getpid()}) == 2
    assert told.done[-6:] == [1, 2, 3, 4, 5, 6]
    assert scheduler.record.attempts == dict.fromkeys(range(6), 1)
    assert list(tmp_path.iterdir()) == []  # the probe is gone
    # the launcher's own threshold is told of, once for each worker
    assert sum("MALLOC_TRIM_THRESHOLD_ is 65,536 bytes" in words for words in told.words) == 2


@needs_dask
def test_a_cluster_loses_nothing_with_a_worker(address: str, tmp_path: Path) -> None:
    with scheduler_for(1, address) as scheduler:
        found = in_order(scheduler, toy_tasks.killed_once, tasks(tmp_path, 0.05))
    assert [out.square for out in found] == SQUARES
    assert scheduler.record.attempts[3] == 2
    assert [(loss.task, loss.attempt) for loss in scheduler.record.losses if loss.task == 3] == [(3, 1)]


@needs_dask
def test_errors_come_back_from_a_cluster(address: str) -> None:
    with scheduler_for(1, address) as scheduler, pytest.raises(InputError) as caught:
        in_order(scheduler, toy_tasks.refuses, tasks())
    assert [issue.code for issue in caught.value.issues] == ["two", "more"]


@needs_dask
def test_workers_that_cannot_do_the_job_are_named(address: str, tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr(cluster, "fingerprint", lambda: "another version of the code")
    with pytest.raises(InputError) as caught:
        scheduler_for(1, address, tmp_path)
    assert {issue.code for issue in caught.value.issues} == {"cluster_version"}
    assert "code of hazard and screener" in str(caught.value)
    faults = cluster._faults(
        "worker w", {"token": "FileNotFoundError", "lacks": "ModuleNotFoundError"}, {}, 4, "t", tmp_path
    )
    assert [issue.code for issue in faults] == ["cluster_package", "cluster_threads", "cluster_folder"]


def test_a_worker_that_joins_later_is_compared_too() -> None:
    here = cluster.describe(cluster.LIBRARIES)
    assert cluster.on_worker(toy_tasks.square, Square(3), here).square == 9
    with pytest.raises(InputError, match="numpy"):
        cluster.on_worker(toy_tasks.square, Square(3), {**here, "numpy": "0.1"})


@needs_dask
def test_a_worker_that_cannot_see_the_folder_is_named(address: str, tmp_path: Path, monkeypatch: Any) -> None:
    probe = cluster._probe
    monkeypatch.setattr(cluster, "_probe", lambda path, libraries: probe(path + "-elsewhere", libraries))
    with pytest.raises(InputError) as caught:
        scheduler_for(1, address, tmp_path)
    assert {issue.code for issue in caught.value.issues} == {"cluster_folder"}
    assert str(tmp_path) in str(caught.value)


@needs_dask
def test_an_address_that_does_not_answer_is_told() -> None:
    with pytest.raises(InputError) as caught:
        cluster.DaskScheduler("tcp://127.0.0.1:9", connect_s=1.0)
    [issue] = caught.value.issues
    assert issue.code == "cluster_unreachable"
    assert issue.where == "--scheduler tcp://127.0.0.1:9"


def test_without_dask_the_optional_part_is_named(monkeypatch: Any) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"tract-screener\[cluster\]"):
        scheduler_for(1, "tcp://127.0.0.1:9")


@pytest.mark.parametrize(
    ("environ", "told"),
    [
        ({}, ""),
        (worker_setup.ALLOCATOR, ""),
        ({"MALLOC_TRIM_THRESHOLD_": "65536"}, "MALLOC_TRIM_THRESHOLD_ is 65,536 bytes"),
        ({"MALLOC_TRIM_THRESHOLD_": "268435456"}, "MALLOC_MMAP_THRESHOLD_ is not set, so it stays at 128 KiB"),
        ({"MALLOC_MMAP_THRESHOLD_": "131072"}, "MALLOC_MMAP_THRESHOLD_ is 131,072 bytes"),
    ],
)
def test_slow_allocators_are_known(environ: dict[str, str], told: str) -> None:
    assert worker_setup.slow_allocator(environ) == told


FAULTS = """
import resource, sys, threading, numpy as np
from screener.portfolio.worker_setup import keep_memory
if sys.argv[1] == "kept": assert keep_memory()
def work():
    a = np.ones(1_000_000); a + 1
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for _ in range(20): a * 2.0 + 1.0
    print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
thread = threading.Thread(target=work); thread.start(); thread.join()
"""


@pytest.mark.skipif(sys.platform != "linux", reason="mallopt is glibc's")
def test_the_allocator_of_a_launched_worker_is_mended() -> None:
    def faults(how: str) -> int:
        environ = {**os.environ, "MALLOC_TRIM_THRESHOLD_": "65536"}
        done = subprocess.run(
            [sys.executable, "-c", FAULTS, how], capture_output=True, text=True, check=True, env=environ
        )
        return int(done.stdout)

    assert faults("kept") * 5 < faults("as launched")


def test_schedulers_fit_the_protocol() -> None:
    def takes(scheduler: Scheduler) -> None:
        scheduler.close()

    takes(LocalScheduler(1))
    with pytest.raises(ValueError, match="0 workers"):
        LocalScheduler(0)
