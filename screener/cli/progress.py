"""Progress on standard error, only where that is a terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from screener.cli.printing import plain


class Progress(Protocol):
    """What long work calls: the stage's name, how much is done, and of how much (0: not known)."""

    def __call__(self, stage: str, done: int = 0, total: int = 0) -> None: ...


def silent(stage: str, done: int = 0, total: int = 0) -> None:
    """Say nothing."""


@contextmanager
def progress_bar(quiet: bool) -> Iterator[Progress]:
    """A bar on standard error; silent where that is no terminal or the user wants quiet."""
    if quiet or not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("starting", total=None)

        def show(stage: str, done: int = 0, total: int = 0) -> None:
            bar.update(task, description=plain(stage), completed=done, total=total or None)

        yield show
