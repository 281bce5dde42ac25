"""The fault sweep: one system call of a real run's publishing fails, the first, the second ... until none is left.

    nice -n 15 python -m tests.crash.fault_sweep [--error ENOSPC] [--from 1] [--every 1] [--record]

Run it from the repository's folder; it starts itself again under the shim (`fault_shim.c`, built with gcc). Each fault
hits the real command, which computes nothing here (its results are at hand) but locks, writes, checks and publishes as
always. After each: exit code 4 and the old set byte for byte, or 0 and the new one; a message in plain words; and after
one more run nothing is left over. `--every 7` tries each seventh call only.
"""

from __future__ import annotations

import argparse
import ctypes
import errno
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
SHIM = Path(__file__).with_name("fault_shim.c")
OLD, NEW = 58.0, 61.0


def build_shim(folder: Path) -> Path | None:
    """The shim as a library; None where there is no compiler for it or no such system."""
    if not sys.platform.startswith("linux") or shutil.which("gcc") is None:
        return None
    made = folder / "fault_shim.so"
    done = subprocess.run(
        ["gcc", "-shared", "-fPIC", "-O1", "-o", made, SHIM, "-ldl"], capture_output=True, check=False
    )
    return made if done.returncode == 0 else None


def start_under(shim: Path, *words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """This module's sweep in a process that has the shim."""
    environment = {**os.environ, "LD_PRELOAD": str(shim), "PYTHONPATH": str(ROOT), "FAULT_SHIM": str(shim)}
    words = (sys.executable, "-m", "tests.crash.fault_sweep", "--inside", str(folder), *words)
    return subprocess.run(words, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)


class Sweep:
    """A project with old results, new results at hand, and the armed shim."""

    def __init__(self, folder: Path, error: int) -> None:
        import screener.pipeline as pipeline
        from screener.config import load_tract
        from tests.crash.small_project import checksums, set_labour, small_project

        self.shim = ctypes.CDLL(os.environ["FAULT_SHIM"])
        self.shim.fault_arm.argtypes = (ctypes.c_char_p, ctypes.c_long, ctypes.c_int)
        self.shim.fault_calls.restype = ctypes.c_long
        self.shim.fault_fired.restype = ctypes.c_char_p
        self.error = error
        self.tract = small_project(folder.resolve() / "project", OLD)
        self.output = self.tract.parent / "results"
        self.runs = self.tract.parent / ".results-runs"
        code, said = self.command()
        assert code == 0, said
        self.saved = folder / "saved"
        shutil.copytree(self.runs, self.saved, symlinks=True)
        self.link = os.readlink(self.output)
        self.old = checksums(self.output)
        set_labour(self.tract, NEW)
        ready = pipeline.screen(load_tract(self.tract))
        pipeline.screen = lambda *_, **__: ready
        self.restore()
        self.code, self.said, self.calls, _ = self.fault(0)
        assert self.code == 0, self.said
        self.new = checksums(self.output)
        assert self.new != self.old
        self.kinds: Counter[str] = Counter()
        self.codes: Counter[int] = Counter()

    def command(self) -> tuple[int, str]:
        from screener.cli.main import run

        said = StringIO()
        with redirect_stdout(said), redirect_stderr(said):
            code = run(["run", str(self.tract), "--quiet"])
        return code, said.getvalue()

    def restore(self) -> None:
        """The state before the fault: old results, nothing else."""
        shutil.rmtree(self.runs, ignore_errors=True)
        self.output.unlink(missing_ok=True)
        shutil.copytree(self.saved, self.runs, symlinks=True)
        os.symlink(self.link, self.output)

    def fault(self, at: int) -> tuple[int, str, int, str]:
        """Run with the fault at this call: exit code, what was said, calls made, what failed."""
        self.shim.fault_arm(os.fsencode(self.tract.parent), at, self.error)
        code, said = self.command()
        self.shim.fault_disarm()
        return code, said, self.shim.fault_calls(), os.fsdecode(self.shim.fault_fired())

    def judge(self, at: int) -> list[str]:
        """What is wrong after a fault at this call; nothing where all is well."""
        self.restore()
        code, said, _, fired = self.fault(at)
        if not fired:
            return []
        self.kinds[fired.split()[0]] += 1
        self.codes[code] += 1
        wrong = [*self._answer(code, said), *self._set(code), *self._next_run()]
        if self.shim.fault_flushed_again():
            wrong.append("flushed again what could not be flushed")
        name = fired.replace(str(self.tract.parent), "")
        return [f"call {at}, {name}: {each}" for each in wrong]

    def _answer(self, code: int, said: str) -> list[str]:
        if code not in (0, 4):
            return [f"exit code {code}: {said[-300:]}"]
        if code == 0:
            return [f"said {said!r}"] if said else []
        plain = said.count("\n") == 1 and "Traceback" not in said and str(self.output) in said
        return [] if plain else [f"said {said!r}"]

    def _set(self, code: int) -> list[str]:
        from tests.crash.small_project import checksums

        there = checksums(self.output)
        if there not in (self.old, self.new):
            return ["neither the old set nor the new one"]
        return [] if (there == self.new) == (code == 0) else [f"exit code {code} with the other set"]

    def _next_run(self) -> list[str]:
        """A run of other inputs (that writes little, so that a sweep ends) must leave nothing over."""
        from screener.cli.resuming import kept_parts
        from screener.publish import open_destination
        from tests.crash.small_project import hidden_names

        about = {"run_id": "next", "work": "", "versions": {}}
        with open_destination(self.output) as place, kept_parts(place, about, False), place.stage("next") as folder:
            (folder / "next.txt").write_text("next")
        names = hidden_names(self.output)
        runs = [entry.name for entry in self.runs.iterdir() if entry.name[:6].isdigit()]
        left = names + (sorted(runs) if len(runs) > 2 else [])
        stray = {e.name for e in self.tract.parent.iterdir()} - self.usual
        return [f"left over: {', '.join([*left, *sorted(stray)])}"] if left or stray else []

    @property
    def usual(self) -> set[str]:
        return {"tract.toml", "lots.gpkg", "hardware.csv", "plans", "results", ".results-runs"}


def sweep(folder: Path, error: int, first: int, every: int) -> tuple[Sweep, list[str]]:
    """All faults asked for; what went wrong."""
    made = Sweep(folder, error)
    wrong: list[str] = []
    for at in range(first, made.calls + 2, every):
        wrong += made.judge(at)
        if at % 50 < every:
            print(f"{at} of {made.calls}: {len(wrong)} wrong", file=sys.stderr, flush=True)
    return made, wrong


def told(made: Sweep, wrong: list[str], seconds: float) -> list[str]:
    """The result in words."""
    kinds = ", ".join(f"{number} {name}" for name, number in sorted(made.kinds.items()))
    codes = ", ".join(f"{number} x {code}" for code, number in sorted(made.codes.items()))
    lines = [
        f"{sum(made.kinds.values())} of {made.calls} calls made to fail with {errno.errorcode[made.error]} "
        f"({kinds}), {seconds / 60:.1f} min. Exit codes: {codes}. Wrong: {len(wrong)}."
    ]
    return lines + [f"- {each}" for each in wrong[:30]]


def main() -> int:
    """Sweep; under the shim with --inside."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--error", default="ENOSPC")
    parser.add_argument("--from", dest="first", type=int, default=1)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--record", action="store_true")
    parser.add_argument("--inside", type=Path)
    given: Any = parser.parse_args()
    if given.inside is not None:
        started = time.perf_counter()
        made, wrong = sweep(given.inside, getattr(errno, given.error), given.first, given.every)
        print("\n".join(told(made, wrong, time.perf_counter() - started)))
        return 1 if wrong else 0
    from tests.crash.record import keep_section

    with tempfile.TemporaryDirectory() as folder:
        shim = build_shim(Path(folder))
        if shim is None:
            print("no gcc, or no Linux: nothing was tried")
            return 2
        words = ("--error", given.error, "--from", str(given.first), "--every", str(given.every))
        done = start_under(shim, *words, folder=Path(folder))
    print(done.stderr, done.stdout)
    if given.record:
        command = f"python -m tests.crash.fault_sweep --error {given.error}"
        command += f" --every {given.every}" if given.every > 1 else ""
        keep_section(f"Fault sweep, {given.error}", command, done.stdout.strip().splitlines())
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
