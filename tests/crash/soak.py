"""Many runs in one process leave nothing behind: memory, open files, temporary files, threads.

    nice -n 15 python -m tests.crash.soak --runs 500 [--record]

Run it from the repository's folder. The real command is called in this process on a project of two lots, results
published each time. Memory is judged by the slope of resident memory over runs, after the first ones in which caches
fill. `--record` keeps the result in tests/benchmarks/results_crash.md.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
import tempfile
import threading
import time
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path

import numpy as np

from tests.crash.record import keep_section
from tests.crash.small_project import faults_of, hidden_names, small_project

WARM_UP = 25
MOST_KIB_A_RUN = 20.0
"""Bound of the slope of resident memory: 10 MB in 500 runs."""


def state(temporary: Path, runs: Path) -> tuple[float, int, int, int, int]:
    """Resident KiB, open descriptors, threads, temporary files, entries of the hidden folder."""
    resident = int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1024
    descriptors = len(os.listdir("/proc/self/fd"))
    threads = len(os.listdir("/proc/self/task"))
    files = sum(1 for _ in temporary.rglob("*"))
    return resident, descriptors, threads, files, len(list(runs.iterdir())) if runs.exists() else 0


def soak(runs: int, folder: Path, minutes: float = 1e6) -> np.ndarray:
    """One row of `state` after each run."""
    from screener.cli.main import run

    temporary = folder / "tmp"
    temporary.mkdir()
    os.environ["TMPDIR"] = str(temporary)
    tempfile.tempdir = str(temporary)
    tract = small_project(folder / "project")
    output = tract.parent / "results"
    rows = []
    started = time.perf_counter()
    for number in range(runs):
        if time.perf_counter() - started > 60 * minutes:
            break
        said = StringIO()
        with redirect_stdout(said), redirect_stderr(said):
            code = run(["run", str(tract), "--allow-exceptions"])
        assert code == 0, said.getvalue()
        gc.collect()
        rows.append(state(temporary, output.parent / ".results-runs"))
        if number % 25 == 24:
            print(number + 1, *rows[-1], flush=True)
    assert not faults_of(output)
    assert not hidden_names(output)
    return np.array(rows)


def slope(values: np.ndarray) -> float:
    """Least-squares slope of values over runs."""
    return float(np.polyfit(np.arange(len(values)), values, 1)[0])


def verdict(rows: np.ndarray, seconds: float) -> tuple[list[str], bool]:
    """The result in words, and whether every bound holds."""
    kept = rows[WARM_UP:]
    rise = slope(kept[:, 0])
    half = slope(kept[len(kept) // 2 :, 0])
    names = ("open descriptors", "threads", "temporary files", "entries of the hidden folder")
    steady = [bool(kept[:, k].max() <= kept[0, k]) for k in range(1, 5)]
    lines = [
        f"{len(rows)} runs in one process, {seconds / 60:.1f} min; the first {WARM_UP} not judged.",
        "",
        "| what | after run 1 | after the warm-up | at the end | bound | holds |",
        "|---|---|---|---|---|---|",
        f"| resident memory, MiB | {rows[0, 0] / 1024:.1f} | {kept[0, 0] / 1024:.1f} | {kept[-1, 0] / 1024:.1f} | "
        f"slope {rise:.2f} KiB a run (second half {half:.2f}), at most {MOST_KIB_A_RUN:g} | "
        f"{_yes(rise <= MOST_KIB_A_RUN)} |",
        *(
            f"| {name} | {rows[0, k]:.0f} | {kept[0, k]:.0f} | {kept[-1, k]:.0f} | never more than after the warm-up "
            f"| {_yes(steady[k - 1])} |"
            for k, name in enumerate(names, 1)
        ),
    ]
    return lines, rise <= MOST_KIB_A_RUN and all(steady)


def _yes(holds: bool) -> str:
    return "yes" if holds else "**no**"


def main() -> int:
    """Run, say, and keep where asked."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=500)
    parser.add_argument("--minutes", type=float, default=1e6, help="stop then, with what is done")
    parser.add_argument("--record", action="store_true")
    given = parser.parse_args()
    started = time.perf_counter()
    assert threading.active_count() == 1
    with tempfile.TemporaryDirectory() as folder:
        rows = soak(given.runs, Path(folder), given.minutes)
    if len(rows) <= 2 * WARM_UP:
        print(f"only {len(rows)} runs: nothing to judge")
        return 2
    lines, holds = verdict(rows, time.perf_counter() - started)
    print("\n".join(lines))
    if given.record:
        keep_section("Soak", f"python -m tests.crash.soak --runs {given.runs}", lines)
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
