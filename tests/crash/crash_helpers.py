"""What the tests of crashes share: the command in this process or in a fork, and projects with an old and a new set."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

from tests.crash.small_project import checksums


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
