"""Whatever stops a run, the output path leads to the old set or the new one, byte for byte, and a reader is told why.

The command is the real one on a real project; where a test does not need the computing, its results are at hand. Long
versions: `tests.crash.kills`, `tests.crash.fault_sweep`, `tests.crash.soak`.
"""

from __future__ import annotations

import json
import os
import re
import resource
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from crash_helpers import Made, Source, command, ended, in_fork

from screener.publish import open_destination
from tests.crash.fault_sweep import build_shim, start_under
from tests.crash.small_project import faults_of, hidden_names

ROOT = Path(__file__).parents[2]
UNTOUCHED = "the earlier results are untouched"


def no_computing(*_: object, **__: object) -> None:
    raise AssertionError("computed before it was clear that results can be written")


def wait_for(found: object, seconds: float = 60.0) -> None:
    """Wait until `found()` is true."""
    until = time.monotonic() + seconds
    while not found():  # type: ignore[operator]
        assert time.monotonic() < until, "never happened"
        time.sleep(0.002)


@contextmanager
def small_disk(place: Path, size: str) -> Iterator[None]:
    """A file system of its own in memory, where this process may mount one; else the test is skipped."""
    place.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)]
    if not sys.platform.startswith("linux") or shutil.which("mount") is None:
        pytest.skip("no mount here")
    if subprocess.run(words, capture_output=True, check=False).returncode:
        pytest.skip("this process may not mount a file system")
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)


# --- kills ----------------------------------------------------------------------------------------------------------


def test_killed_at_any_moment(made: Made) -> None:
    """SIGKILL at moments spread over the writing; 200 of them in `tests.crash.kills`."""
    started = time.perf_counter()
    assert ended(in_fork(lambda: made.run()[0])) == 0
    whole = time.perf_counter() - started
    begun = 0
    for share in (0.3, 0.6, 0.9):
        victim = in_fork(lambda: made.run()[0])
        time.sleep(share * whole)
        os.kill(victim, signal.SIGKILL)
        ended(victim)
        begun += bool(hidden_names(made.output))
        assert made.there() == "new"
        assert not faults_of(made.output)
    assert begun, "no kill fell into a run"
    assert made.run()[0] == 0
    assert not hidden_names(made.output)
    assert not faults_of(made.output)


def test_interrupt_leaves_the_old_results(made: Made) -> None:
    """Ctrl-C while results are written, and while the computing of a process of its own has begun: exit 130."""
    writer = in_fork(lambda: made.run()[0])
    wait_for(lambda: list(made.runs.glob(".stage-*")))
    os.kill(writer, signal.SIGINT)
    assert ended(writer) == 130
    assert made.there() == "old"
    assert not list(made.runs.glob(".stage-*"))
    words = [sys.executable, "-m", "screener.cli.main", "run", str(made.tract)]
    shutil.rmtree(next(made.runs.glob(".resume-*")))
    real = subprocess.Popen(words, env={**os.environ, "PYTHONPATH": str(ROOT)}, stderr=subprocess.PIPE, text=True)
    wait_for(lambda: list(made.runs.glob(".resume-*/journal.jsonl")))
    real.send_signal(signal.SIGINT)
    _, said = real.communicate()
    assert real.returncode == 130, said
    assert said.strip() == "interrupted; earlier results are untouched"
    assert made.there() == "old"
    assert made.run("--resume")[0] == 0
    assert made.there() == "new"
    assert not hidden_names(made.output)


# --- locks ----------------------------------------------------------------------------------------------------------


def test_second_run_is_refused(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second run names the first's process, machine and start, and computes nothing."""

    def hold() -> int:
        with open_destination(made.output):
            (made.tract.parent / "held").touch()
            time.sleep(60)
        return 0

    holder = in_fork(hold)
    wait_for((made.tract.parent / "held").exists)
    monkeypatch.setattr("screener.pipeline.screen", no_computing)
    code, said = made.run()
    assert code == 4
    assert re.search(rf"process {holder} on {socket.gethostname()} since \d{{4}}-\d\d-\d\dT\d\d:\d\d:\d\dZ", said), said
    assert made.there() == "old"
    os.kill(holder, signal.SIGKILL)
    assert ended(holder) == -signal.SIGKILL
    monkeypatch.undo()
    assert command("run", made.tract, "--quiet")[0] == 0, "a killed holder holds nothing"


def test_stale_lock_is_no_lock(made: Made) -> None:
    """A lock file that a dead run left says who it was; it locks nothing. Nor does one that is not ours to read."""
    for words in (json.dumps({"pid": 1, "host": "elsewhere", "started": "2020-01-01T00:00:00Z"}), "\0\0{"):
        (made.runs / ".lock").write_text(words)
        code, said = made.run()
        assert (code, said) == (0, "")
    about = json.loads((made.runs / ".lock").read_text())
    assert about["pid"] == os.getpid()
    assert about["host"] == socket.gethostname()
    assert made.there() == "new"


# --- full and read-only disks -----------------------------------------------------------------------------------------


def test_disk_full_keeps_the_old_results(
    source: Source, made: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A real disk of 8 MiB (tmpfs, where this process may mount; else skipped, and the limit on file sizes below stands
    alone) that another program fills while we write: less and less is left."""
    with small_disk(tmp_path / "disk", "8m"):
        small = source.copy(tmp_path / "disk" / "project")
        with monkeypatch.context() as patch:
            patch.setattr("screener.pipeline.screen", no_computing)
            code, said = small.run()
        assert code == 4
        assert "MiB are free" in said, "too small to begin: told before anything is computed"
        monkeypatch.setattr("screener.publish.LEAST_FREE_BYTES", 0)
        monkeypatch.setattr("screener.files.results.space_needed", lambda _: 0)
        ballast = tmp_path / "disk" / "ballast"
        for left_kib in (4, 120, 340, 520):
            with ballast.open("wb") as file:
                file.write(b"\0" * max(0, shutil.disk_usage(ballast).free - left_kib * 1024))
            code, said = small.run()
            ballast.unlink()
            assert code == 4, (left_kib, said)
            assert small.there() == "old", left_kib
            assert UNTOUCHED in said or "room" in said or "name a folder" in said, said
            assert said.count("\n") == 1, said
        assert small.run()[0] == 0
        assert small.there() == "new"
        assert not hidden_names(small.output)


@pytest.mark.parametrize("most_bytes", [1_000, 98_304, 340_000])
def test_a_limit_on_file_sizes_keeps_the_old_results(made: Made, most_bytes: int) -> None:
    """The system refuses to let any file grow beyond a size: Python, SQLite and GDAL meet it at different places."""

    def limited() -> int:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, resource.RLIM_INFINITY))
        code, said = made.run()
        return code if UNTOUCHED in said and "Traceback" not in said else 98

    assert ended(in_fork(limited)) == 4
    assert made.there() == "old"
    assert made.run()[0] == 0
    assert made.there() == "new"
    assert not hidden_names(made.output)


def test_read_only_folder_is_refused_before_computing(
    source: Source, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A real read-only disk, where this process may mount one."""
    monkeypatch.setattr("screener.pipeline.screen", no_computing)
    with small_disk(tmp_path / "disk", "32m"):
        still = source.copy(tmp_path / "disk" / "project")
        subprocess.run(["mount", "-o", "remount,ro", str(tmp_path / "disk")], check=True)
        code, said = still.run()
        assert code == 4
        assert "the disk is read-only; name a folder that can be written" in said
        assert still.there() == "old"


# --- memory and workers -----------------------------------------------------------------------------------------------


def test_memory_limit_is_told(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """A real limit on memory, met where arrays are made: plain words, exit 4, and what was finished may be resumed."""

    def greedy(*_: object, **__: object) -> object:
        return [np.zeros(2**27) for _ in range(64)]  # 64 GiB, not touched: a limit is met, not the machine's end

    monkeypatch.setattr("screener.pipeline.screen", greedy)

    def limited() -> int:
        resource.setrlimit(resource.RLIMIT_AS, (8 * 2**30, resource.RLIM_INFINITY))
        code, said = made.run()
        (made.tract.parent / "said").write_text(said)
        return code

    assert ended(in_fork(limited)) == 4
    said = (made.tract.parent / "said").read_text()
    assert said.startswith("memory is short on this machine")
    assert said.count("\n") == 1
    assert "earlier results are untouched" in said
    assert made.there() == "old"


def test_worker_that_dies_is_retried(made: Made, source: Source, monkeypatch: pytest.MonkeyPatch) -> None:
    """Workers (`--workers`) are threads of compiled loops, not processes: none can die alone. What ends one (a kill,
    short memory) ends the run; the same command with --resume is the retry, from the parts that were finished, and it
    gives the same bytes. A fault that a thread raises ends the run as any fault does."""
    code = "\n".join(p.read_text() for top in ("hazard", "screener") for p in (ROOT / top).rglob("*.py"))
    assert "ThreadPoolExecutor" in code
    assert "ProcessPoolExecutor" not in code
    assert "import multiprocessing" not in code
    monkeypatch.undo()
    from screener.files.kept_parts import KeptParts

    kept = KeptParts._write

    def die(self: KeptParts, name: str, content: bytes) -> None:
        kept(self, name, content)
        os.kill(os.getpid(), signal.SIGKILL)

    with monkeypatch.context() as patch:
        patch.setattr(KeptParts, "_write", die)
        assert ended(in_fork(lambda: made.run("--workers", "2")[0])) == -signal.SIGKILL
    assert made.there() == "old"
    code_of_retry, said = made.run("--workers", "2", "--resume")
    assert code_of_retry == 0
    assert "going on from what a run of the same inputs had finished" in said
    assert made.there() == "new"
    assert not hidden_names(made.output)


# --- versions ---------------------------------------------------------------------------------------------------------


def test_resume_with_other_versions_stops(made: Made, source: Source, monkeypatch: pytest.MonkeyPatch) -> None:
    """O23: --resume over results, or over parts of a killed run, that other versions made stops and names them.

    There is no option to go on all the same: parts of different versions would be mixed. Without --resume everything is
    computed anew.
    """
    from screener.files import manifest

    assert made.run()[0] == 0
    now = manifest.versions()
    monkeypatch.setattr(manifest, "versions", lambda: {**now, "numpy": "9.9"})
    with monkeypatch.context() as patch:
        patch.setattr("screener.pipeline.screen", no_computing)
        code, said = made.run("--resume")
        assert code == 2
        assert f"made with numpy {now['numpy']} (now 9.9)" in said
        assert "leave out --resume" in said
        assert made.there() == "new"
        shutil.rmtree(made.runs)
        made.output.unlink()
        begun = made.runs / ".resume-0123"
        begun.mkdir(parents=True)
        from screener.config import load_tract
        from screener.files.journal import Journal

        project = load_tract(made.tract)
        about = manifest.about_run(project, manifest.input_records(project), {"strict": False})
        Journal(begun / "journal.jsonl").append({**about, "run_id": "0123", "versions": now})
        code, said = made.run("--resume")
        assert code == 2
        assert f"numpy {now['numpy']} (now 9.9)" in said
    assert made.run()[0] == 0
    assert not hidden_names(made.output)


# --- the sweep --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("error", "first", "every"), [("ENOSPC", 7, 61), ("EIO", 20, 71)])
def test_a_fault_at_any_call_leaves_the_old_set_or_the_new_one(
    tmp_path: Path, error: str, first: int, every: int
) -> None:
    """Some of the system calls of a real run's publishing fail in turn: Python's, SQLite's, GDAL's.

    All of them: `python -m tests.crash.fault_sweep`, last results in tests/benchmarks/results_crash.md. After a flush
    that failed no other flush of that file may follow.
    """
    shim = build_shim(tmp_path)
    if shim is None:
        pytest.skip("no gcc, or no Linux")
    done = start_under(shim, "--error", error, "--from", str(first), "--every", str(every), folder=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    tried = int(re.match(r"(\d+) of \d+ calls", done.stdout)[1])  # type: ignore[index]
    assert tried >= 5
    assert "x 4" in done.stdout, "no fault was met: " + done.stdout
