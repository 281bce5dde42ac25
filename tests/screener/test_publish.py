"""Whole or nothing: whatever happens while results are written, the output path leads to the old set or the new one."""

from __future__ import annotations

import errno
import json
import multiprocessing
import os
import resource
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path
from typing import Any

import pytest

from screener.errors import FolderInUseError, OutputError
from screener.publish import current_run, open_destination, runs_folder


def publish(output: Path, content: str, run_id: str = "abc123", overwrite: bool = False, files: int = 3) -> None:
    with open_destination(output, overwrite=overwrite) as destination, destination.stage(run_id) as folder:
        for number in range(files):
            (folder / f"part{number}.txt").write_text(content)


def fail_half_way(output: Path, error: BaseException) -> None:
    with open_destination(output) as destination, destination.stage("new") as folder:
        (folder / "part0.txt").write_text("new")
        raise error


def state(output: Path) -> set[str]:
    """The contents found in a published set; one means that the set is whole."""
    return {path.read_text() for path in output.glob("part*.txt")}


def hidden(output: Path) -> list[str]:
    folder = runs_folder(output)
    return sorted(path.name for path in folder.iterdir()) if folder.exists() else []


def test_results_appear_behind_a_link_beside_a_hidden_folder(tmp_path: Path) -> None:
    output = tmp_path / "results"
    publish(output, "one")
    assert output.is_symlink()
    assert os.readlink(output) == ".results-runs/000001-abc123"
    assert state(output) == {"one"}
    assert hidden(output) == [".lock", "000001-abc123"]


def test_a_run_replaces_its_own_and_the_last_two_are_kept(tmp_path: Path) -> None:
    output = tmp_path / "results"
    for number in range(4):
        publish(output, f"run {number}", run_id=f"id{number}")
    assert state(output) == {"run 3"}
    assert hidden(output) == [".lock", "000003-id2", "000004-id3"]


def test_the_folder_may_be_moved_with_its_link(tmp_path: Path) -> None:
    publish(tmp_path / "here" / "results", "one")
    (tmp_path / "here").rename(tmp_path / "there")
    assert state(tmp_path / "there" / "results") == {"one"}


def test_a_foreign_folder_is_refused_and_untouched(tmp_path: Path) -> None:
    output = tmp_path / "results"
    output.mkdir()
    (output / "mine.txt").write_text("precious")
    with pytest.raises(OutputError, match="is a folder that screener did not make"):
        publish(output, "one")
    assert (output / "mine.txt").read_text() == "precious"
    assert hidden(output) == []


def test_overwrite_puts_results_in_its_place_and_keeps_it_aside(tmp_path: Path) -> None:
    output = tmp_path / "results"
    output.mkdir()
    (output / "mine.txt").write_text("precious")
    publish(output, "one", overwrite=True)
    assert state(output) == {"one"}
    (aside,) = runs_folder(output).glob("replaced-*")
    assert (aside / "mine.txt").read_text() == "precious"
    publish(output, "two")
    assert (aside / "mine.txt").exists()


def test_overwrite_without_an_exchanging_rename(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("screener.publish._exchange", lambda first, second: False)
    test_overwrite_puts_results_in_its_place_and_keeps_it_aside(tmp_path)


def test_a_file_and_a_foreign_link_are_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="is a file; name a folder"):
        publish(tmp_path / "file", "one")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "link").symlink_to("elsewhere")
    with pytest.raises(OutputError, match="is a link to elsewhere"):
        publish(tmp_path / "link", "one")
    publish(tmp_path / "link", "one", overwrite=True)
    assert state(tmp_path / "link") == {"one"}
    assert list((tmp_path / "elsewhere").iterdir()) == []


# O2: found before anything is computed
def test_o2_a_place_that_can_not_be_written_is_found_on_opening(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def read_only(*_: Any, **__: Any) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(Path, "mkdir", read_only)
    with pytest.raises(OutputError, match="the disk is read-only; name a folder that can be written"):
        publish(tmp_path / "results", "one")


def test_o2_a_parent_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError):
        publish(tmp_path / "file" / "results", "one")


def test_o2_links_that_can_not_be_made_are_found_on_opening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any, **__: Any) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "symlink", refuse)
    with pytest.raises(OutputError, match="allows links"):
        publish(tmp_path / "results", "one")
    assert hidden(tmp_path / "results") == []


def test_nothing_is_left_where_nothing_was_published(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), open_destination(tmp_path / "results"):
        raise RuntimeError("the input was bad")
    assert list(tmp_path.iterdir()) == []


# O3
def test_o3_a_disk_too_full_is_found_before_writing(tmp_path: Path) -> None:
    with (
        open_destination(tmp_path / "results") as destination,
        pytest.raises(OutputError, match="make room or name another folder"),
    ):
        destination.require_free(2**62)


@pytest.mark.parametrize(("number", "words"), [(errno.ENOSPC, "the disk is full"), (errno.EDQUOT, "quota")])
def test_o3_a_disk_that_fills_half_way_leaves_the_old_set(tmp_path: Path, number: int, words: str) -> None:
    output = tmp_path / "results"
    publish(output, "old")
    with pytest.raises(OutputError, match=f"{words}.*the earlier results are untouched"):
        fail_half_way(output, OSError(number, "no"))
    assert state(output) == {"old"}
    assert hidden(output) == [".lock", "000001-abc123"]


def test_o3_a_real_limit_on_file_size(tmp_path: Path) -> None:
    """The system itself refuses to write more: GeoPackage and CSV of a run, then the state of the old set."""
    output = tmp_path / "results"
    script = textwrap.dedent(
        f"""
        import resource, signal, sys
        from pathlib import Path
        sys.path.insert(0, {str(Path(__file__).parent)!r})
        from project_helpers import results
        from screener.errors import OutputError
        from screener.files.results import write_results
        from screener.publish import open_destination
        output = Path({str(output)!r})
        def publish(tag):
            with open_destination(output) as destination, destination.stage(tag) as folder:
                write_results(folder, results(400, tag), {{"run_id": tag}})
        publish("old")
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, resource.RLIM_INFINITY))
        try:
            publish("new")
        except OutputError as error:
            print(error)
            sys.exit(4)
        """
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 4, done.stderr
    assert "the earlier results are untouched" in done.stdout
    assert ",old," in (output / "lots.csv").read_text()
    assert (output / "run.json").exists()
    assert hidden(output) == [".lock", "000001-old"]
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] == resource.RLIM_INFINITY


# The sweep: a fault at the first, second, third ... call, until none fires.
CALLS = ("mkdir", "fsync", "rename", "replace", "symlink")


class Fault:
    """Lets `after` calls through, then fails once."""

    def __init__(self, after: int) -> None:
        self.left = after
        self.fired = False

    def wrap(self, call: Any) -> Any:
        def wrapped(*arguments: Any, **options: Any) -> Any:
            self.left -= 1
            if self.left == -1:
                self.fired = True
                raise OSError(errno.EIO, "Input/output error")
            return call(*arguments, **options)

        return wrapped


def test_a_fault_at_any_call_leaves_the_old_set_or_the_new_one(tmp_path: Path) -> None:
    fired = 0
    for after in range(100):
        output = tmp_path / f"case{after}" / "results"
        publish(output, "old", run_id="old")
        fault = Fault(after)
        with pytest.MonkeyPatch.context() as patch:
            for name in CALLS:
                patch.setattr(os, name, fault.wrap(getattr(os, name)))
            try:
                publish(output, "new", run_id="new")
                failed = False
            except OutputError:
                failed = True
        found = state(output)
        assert found == ({"old"} if failed else {"new"}), after
        assert len(list(output.iterdir())) == 3
        publish(output, "next", run_id="next")
        assert state(output) == {"next"}
        assert not [name for name in hidden(output) if name.startswith((".stage", ".link"))]
        fired += fault.fired
        if not fault.fired:
            break
    else:
        pytest.fail("the sweep never ended")
    assert fired >= 8


# O4: killed at some moment of writing, ten times
KILLED = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from project_helpers import results
from screener.files.results import write_results
from screener.publish import open_destination
output = Path({output!r})
new = results(2000, "new")
print("ready", flush=True)
while True:
    with open_destination(output) as destination, destination.stage("new") as folder:
        write_results(folder, new, {{"run_id": "new"}})
"""


def test_o4_a_killed_run_leaves_a_whole_set(tmp_path: Path) -> None:
    import csv
    import sqlite3

    from project_helpers import results

    from screener.files.manifest import is_complete
    from screener.files.results import write_results

    output = tmp_path / "results"
    script = KILLED.format(tests=str(Path(__file__).parent), output=str(output))
    with open_destination(output) as destination, destination.stage("old") as folder:
        write_results(folder, results(2000, "old"), {"run_id": "old"})
    half_way = 0
    for moment in (0.02, 0.05, 0.09, 0.13, 0.17, 0.21, 0.26, 0.31, 0.37, 0.44):
        victim = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE)
        assert victim.stdout is not None
        victim.stdout.readline()
        time.sleep(moment)
        os.kill(victim.pid, signal.SIGKILL)
        victim.wait()
        victim.stdout.close()
        half_way += any(name.startswith(".stage") for name in hidden(output))
        current = current_run(output)
        assert current is not None
        assert is_complete(current)
        tag = json.loads((output / "run.json").read_text())["run_id"]
        with (output / "lots.csv").open(newline="") as file:
            assert {row["flags"] for row in csv.DictReader(file)} == {tag}
        with sqlite3.connect(f"file:{output / 'tract.gpkg'}?mode=ro", uri=True) as database:
            assert database.execute("SELECT DISTINCT flags FROM lots").fetchall() == [(tag,)]
        database.close()
    assert half_way >= 3, "too few kills fell into the writing to prove anything"
    publish(output, "next")
    assert not [name for name in hidden(output) if name.startswith((".stage", ".link"))]


# O5
def hold(output: str, ready: Any, leave: Any) -> None:
    with open_destination(Path(output)):
        ready.set()
        leave.wait(30)


def test_o5_a_second_run_is_refused_with_the_holders_name_and_a_dead_holder_is_not(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    ready, leave = context.Event(), context.Event()
    holder = context.Process(target=hold, args=(str(tmp_path / "results"), ready, leave))
    holder.start()
    assert ready.wait(30)
    with pytest.raises(FolderInUseError, match=rf"another run is writing here \(process {holder.pid} on .* since "):
        publish(tmp_path / "results", "one")
    assert holder.pid is not None
    os.kill(holder.pid, signal.SIGKILL)
    holder.join()
    publish(tmp_path / "results", "one")
    assert state(tmp_path / "results") == {"one"}


# O16
def test_o16_an_interrupted_run_leaves_the_old_set(tmp_path: Path) -> None:
    output = tmp_path / "results"
    publish(output, "old")
    with pytest.raises(KeyboardInterrupt):
        fail_half_way(output, KeyboardInterrupt())
    assert state(output) == {"old"}
    assert hidden(output) == [".lock", "000001-abc123"]


def test_a_run_that_was_never_published_is_removed_by_the_next(tmp_path: Path) -> None:
    output = tmp_path / "results"
    publish(output, "one")
    orphan = runs_folder(output) / "000002-orphan"
    orphan.mkdir()
    (runs_folder(output) / ".stage-x-1").mkdir()
    publish(output, "two")
    assert hidden(output) == [".lock", "000001-abc123", "000002-abc123"]
    assert state(output) == {"two"}
