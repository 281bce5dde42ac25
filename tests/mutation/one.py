"""One mutant against its checks, in a process of its own.

`Server` imports what every check needs and nothing that is mutated, and forks for each mutant: the child loads the
wrong source in place of the module, runs the checks, and says by its exit code whether one of them noticed.
"""

from __future__ import annotations

import contextlib
import importlib.abc
import importlib.machinery
import importlib.util
import io
import os
import resource
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType

KILLED, SURVIVED = 0, 7
SECONDS = 100
"""Processor time of one mutant, beyond which it counts as one that never ends: ten times what any check takes."""
EXAMPLES = 40


class _WrongSource(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Loads one module from the given source and leaves every other to Python."""

    def __init__(self, module: str, source: str) -> None:
        self.module, self.source = module, source

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        return importlib.util.spec_from_loader(name, self) if name == self.module else None

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self.source, f"<mutant of {self.module}>", "exec"), module.__dict__)


def warm_up() -> None:
    """Import what takes long and holds none of the mutated modules."""
    import hypothesis
    import hypothesis.strategies
    import numpy  # noqa: F401
    import pytest  # noqa: F401

    phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)  # no need for the smallest example
    hypothesis.settings.register_profile(
        "mutation", deadline=None, max_examples=EXAMPLES, derandomize=True, database=None, phases=phases
    )
    hypothesis.settings.load_profile("mutation")
    loaded = [name for name in sys.modules if ".standards" in name and name.startswith(("hazard", "screener"))]
    if loaded:
        raise RuntimeError(f"loaded before the mutants: {loaded}")


def survives(module: str, source: str, subjects: Sequence[str], tests: Sequence[str]) -> bool:
    """Whether no check notices the wrong source; a check that never ends or a crash is noticed."""
    child = os.fork()
    if child == 0:
        code = KILLED
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))  # its own work, not the clock of a busy machine
            with open(os.devnull, "w") as nowhere:
                os.dup2(nowhere.fileno(), 1)
                os.dup2(nowhere.fileno(), 2)
            code = _run(module, source, subjects, tests)
        except BaseException:  # whatever it is, the mutant was noticed
            code = KILLED
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return os.WIFEXITED(status) and os.WEXITSTATUS(status) == SURVIVED


def _run(module: str, source: str, subjects: Sequence[str], tests: Sequence[str]) -> int:
    sys.meta_path.insert(0, _WrongSource(module, source))
    from screener.checks.registry import checks_of
    from screener.checks.rows import outside

    for name in subjects:
        if outside(checks_of(name)):
            return KILLED
    present = [test for test in tests if Path(test).exists()]
    if not present:
        return SURVIVED
    import pytest

    plain = ["-x", "-q", "--noconftest", "-p", "no:cacheprovider", "-p", "no:warnings", "-c", os.devnull]
    plain += ["--rootdir", os.getcwd(), "--override-ini", "addopts="]
    with contextlib.redirect_stdout(io.StringIO()):
        return SURVIVED if pytest.main([*plain, *present]) == 0 else KILLED
