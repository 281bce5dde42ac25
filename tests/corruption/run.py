"""Corrupt whole projects at random and see that the tool ends as it must: the long run.

    python -m tests.corruption.run --examples 1000            about half an hour on one core
    python -m tests.corruption.run --examples 1000 --write    also keep the result in tests/benchmarks/
    python -m tests.corruption.run --only rich:4711           one example, its messages shown, its folder kept

Each example is a seed: the good project is written, one to three places of its files are damaged, then `check` and
`run` are called. They must end with 0, 2 or 3, without a traceback, within the time and memory allowed; check and run
agree on what stops; a stop names a file and leaves no trace; results are whole. See `damage.py` and `judge.py`.
A worker process does the examples, so that a crash or a hang costs one example.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import select
import subprocess
import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.corruption.projects import PROJECTS

RESULTS = Path(__file__).parents[1] / "benchmarks" / "results_corruption.md"
LIMIT_S = 60.0  # of the worker's own computing time, so that a busy machine fails nothing
STUCK_S = 900.0  # of waiting, where it computes nothing either
MOST_BYTES = 6 * 2**30
_WORKER = "import sys; from tests.corruption.judge import work; work(sys.stdin, sys.__stdout__, int(sys.argv[1]))"


class Worker:
    """A process that does examples; ended and started again where one takes too long or kills it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.process = self._start()
        self.warm_up()

    def _start(self) -> subprocess.Popen[str]:
        words = [sys.executable, "-c", _WORKER, str(MOST_BYTES)]
        pipe = subprocess.PIPE
        return subprocess.Popen(words, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL, text=True)

    def warm_up(self) -> None:
        """Both good projects once: what is imported and compiled is no example's fault. They must be clean."""
        for project in PROJECTS:
            answer = self.do(project, -1, 10 * LIMIT_S)
            assert not answer["faults"], answer

    def do(self, project: str, seed: int, limit_s: float = LIMIT_S) -> dict[str, Any]:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps([str(self.folder), project, seed]) + "\n")
        self.process.stdin.flush()
        begun, used = time.perf_counter(), self.seconds()
        ready: list[Any] = []
        while not ready and self.seconds() - used < limit_s and time.perf_counter() - begun < STUCK_S:
            ready, _, _ = select.select([self.process.stdout], [], [], 1.0)
        line = self.process.stdout.readline() if ready else ""
        if line:
            answer: dict[str, Any] = json.loads(line)
            return answer
        code = self.process.poll()
        self.end()
        self.process = self._start()
        if seed >= 0:
            self.warm_up()
        what = f"computed over {limit_s:.0f} s, or hung" if code is None else f"the process died ({code})"
        return {"done": [], "faults": [what], "codes": [None, None], "texts": []}

    def seconds(self) -> float:
        """Computing time of the worker so far (Linux)."""
        try:
            fields = Path(f"/proc/{self.process.pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
        except OSError:
            return 0.0
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def end(self) -> None:
        self.process.kill()
        self.process.wait()


def main() -> int:
    words = argparse.ArgumentParser()
    words.add_argument("--examples", type=int, default=200)
    words.add_argument("--first", type=int, default=0, help="first seed")
    words.add_argument("--only", default="", help="project:seed")
    words.add_argument("--write", action="store_true")
    given = words.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        if given.only:
            return one(given.only)
        return many(given.first, given.examples, Path(temporary) / "p", given.write)


def one(name: str) -> int:
    from tests.corruption.judge import both_calls, faults, listing, made

    project, _, seed = name.partition(":")
    folder = Path(tempfile.mkdtemp()) / "p"
    done = made(folder, project, int(seed))
    print(folder, *done, sep="\n")
    before = listing(folder)
    calls = both_calls(folder)
    for code, out, err in calls:
        print(code, out[-4000:], err[-4000:], sep="\n")
    found = faults(folder, done, calls, before)
    print("faults:", found)
    return 1 if found else 0


def many(first: int, examples: int, folder: Path, write: bool) -> int:
    worker, codes, bad = Worker(folder), Counter[str](), []
    kinds: Counter[str] = Counter()
    times: list[float] = []
    started = time.perf_counter()
    for seed in range(first, first + examples):
        project = "rich" if seed % 3 == 0 else "plain"
        before = worker.seconds()
        answer = worker.do(project, seed)
        times.append(max(worker.seconds() - before, 0.0))
        codes[" ".join(str(c) for c in answer["codes"])] += 1
        kinds.update(each.split(": ")[1] for each in answer["done"])
        if answer["faults"]:
            bad.append((f"{project}:{seed}", answer))
            print(f"{project}:{seed}", answer["done"], answer["faults"], flush=True)
            for text in answer["texts"]:
                print("    " + text.strip()[-900:].replace("\n", "\n    "), flush=True)
        done = seed + 1 - first
        if write and (done % 10 == 0 or done == examples):  # so that an interrupted run leaves what it has
            lines = _page(first, done, codes, kinds, times, time.perf_counter() - started, bad)
            RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")
    worker.end()
    print("\n".join(_page(first, examples, codes, kinds, times, time.perf_counter() - started, bad)))
    return 1 if bad else 0


def _page(
    first: int, examples: int, codes: Counter[str], kinds: Counter[str], times: list[float], seconds: float, bad: Any
) -> list[str]:
    import numpy as np

    return [
        "# Whole projects, corrupted at random",
        "",
        f"`python -m tests.corruption.run --examples {examples} --first {first} --write`, "
        f"{datetime.now(UTC):%Y-%m-%d}; {platform.machine()}, {os.cpu_count()} cores shared with other work, "
        f"Python {platform.python_version()}.",
        "",
        f"{examples:,} examples in {seconds / 60:.0f} minutes ({np.median(times):.1f} s the median, "
        f"{max(times):.1f} s the longest of computing, limit {LIMIT_S:.0f} s; memory limit {MOST_BYTES // 2**30} GiB). "
        f"Rules broken in {len(bad)} of them" + (f": {', '.join(name for name, _ in bad)}." if bad else "."),
        "",
        "| `check` `run` ended with | examples |",
        "|---|---|",
        *(f"| {code} | {count:,} |" for code, count in sorted(codes.items())),
        "",
        "Damages: " + ", ".join(f"{name.replace('_', ' ')} {count:,}" for name, count in sorted(kinds.items())) + ".",
    ]


if __name__ == "__main__":
    sys.exit(main())
