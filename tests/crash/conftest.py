"""The helpers of the project tests serve here too; a real project with old results and new ones at hand, made once."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

sys.path[:0] = [str(Path(__file__).parents[1] / "screener"), str(Path(__file__).parents[2])]

from tests.crash.small_project import checksums, set_labour, small_project  # noqa: E402


def command(*words: str | Path) -> tuple[int, str]:
    """The command in this process: exit code and all that it said."""
    from screener.cli.main import run

    said = StringIO()
    with redirect_stdout(said), redirect_stderr(said):
        code = run([str(word) for word in words])
    return code, said.getvalue()


def in_fork(work: Callable[[], int]) -> int:
    """Start work in a forked process; its id."""
    pid = os.fork()
    if pid:
        return pid
    code = 99
    try:
        code = work()
    finally:
        os._exit(code)


def ended(pid: int) -> int:
    """Wait for a forked process; its exit code, or minus the signal that ended it."""
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


@dataclass
class Made:
    """A project whose output path leads to an old set, while its inputs now give the new one."""

    tract: Path
    old: dict[str, str]
    new: dict[str, str]

    @property
    def output(self) -> Path:
        return self.tract.parent / "results"

    @property
    def runs(self) -> Path:
        return self.tract.parent / ".results-runs"

    def there(self) -> str:
        """Which set the path leads to."""
        found = checksums(self.output)
        return "old" if found == self.old else "new" if found == self.new else "neither"

    def run(self, *options: str) -> tuple[int, str]:
        return command("run", self.tract, "--quiet", *options)


@dataclass
class Source:
    """Where copies come from: a project as it was after its old run, its new results in memory."""

    folder: Path
    results: Any
    old: dict[str, str]
    new: dict[str, str]

    def copy(self, into: Path) -> Made:
        shutil.copytree(self.folder, into, symlinks=True)
        return Made(into / "tract.toml", self.old, self.new)


@pytest.fixture(scope="session")
def source(tmp_path_factory: pytest.TempPathFactory) -> Source:
    """The real job, done twice: with one labour rate and another."""
    import screener.pipeline as pipeline
    from screener.config import load_tract

    folder = tmp_path_factory.mktemp("crash") / "project"
    tract = small_project(folder, 58.0)
    assert command("run", tract)[0] == 0
    old = checksums(folder / "results")
    set_labour(tract, 61.0)
    results = pipeline.screen(load_tract(tract))
    other = folder.with_name("other")
    shutil.copytree(folder, other, symlinks=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pipeline, "screen", lambda *_, **__: results)
        assert command("run", other / "tract.toml")[0] == 0
    return Source(folder, results, old, checksums(other / "results"))


@pytest.fixture
def made(source: Source, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Made:
    """A copy for one test. The command takes the new results as computed; all else it does itself."""
    import screener.pipeline as pipeline

    monkeypatch.setattr(pipeline, "screen", lambda *_, **__: source.results)
    return source.copy(tmp_path / "project")
