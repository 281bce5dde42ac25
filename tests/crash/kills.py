"""Kills at random moments of a real run, with earlier results in place: the path must always lead to a whole set.

    nice -n 15 python -m tests.crash.kills --count 200 [--record]

Run it from the repository's folder. Half of the kills fall anywhere in the life of a process of its own, from its start
to its end; the other half into the writing of results (a forked process that writes results computed beforehand,
through the real command). After each: the path leads to the complete old set or the complete new one (manifest
checksums, the database's own check, row counts); the next run, with --resume, succeeds and leaves nothing behind.
`--record` keeps the result in tests/benchmarks/results_crash.md.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.crash.crash_helpers import command, ended, in_fork
from tests.crash.record import keep_section
from tests.crash.small_project import HELPERS, faults_of, hidden_names, set_labour, small_project

RATES = (58.0, 61.0)


@dataclass
class Tally:
    """What the kills of one kind found."""

    outcomes: Counter[str] = field(default_factory=Counter)
    left_by_kill: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    ended_before: int = 0

    @property
    def kills(self) -> int:
        return self.outcomes["old set"] + self.outcomes["new set"]


def run_id_of(output: Path) -> str:
    return str(json.loads((output / "run.json").read_text(encoding="utf-8"))["run_id"])


class Trial:
    """One project whose results are replaced again and again, now and then only half way."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.tract = small_project(folder / "project")
        self.output = self.tract.parent / "results"
        self.random = random.Random(seed)
        code, said = command("run", str(self.tract))
        assert code == 0, said
        self.turn = 0

    def other_inputs(self) -> None:
        """From here on a run gives other results than those that are there."""
        self.turn = 1 - self.turn
        set_labour(self.tract, RATES[self.turn])

    def judge(self, tally: Tally, old: str, next_run: Callable[[], int]) -> None:
        """Look at what a kill left, then let the next run do its work and look again."""
        found = faults_of(self.output)
        outcome = "old set" if run_id_of(self.output) == old else "new set"
        tally.outcomes[outcome] += 1
        tally.faults += [f"after a kill: {fault}" for fault in found]
        for name in hidden_names(self.output):
            tally.left_by_kill[name.split("-")[0]] += 1
        code = next_run()
        if code != 0:
            tally.faults.append(f"the next run ended with {code}")
        tally.faults += [f"after the next run: {fault}" for fault in faults_of(self.output)]
        tally.faults += [f"left behind by the next run: {name}" for name in hidden_names(self.output)]
        if run_id_of(self.output) == old:
            tally.faults.append("the next run left the old set")

    def spread(self, seconds: float) -> float:
        return self.random.uniform(0.0, seconds)


def kill_processes(
    trial: Trial, count: int, tell: Callable[[str], None], late: Callable[[], bool]
) -> tuple[Tally, float]:
    """Kills anywhere in the life of a process."""
    words = [sys.executable, "-m", "screener.cli.main", "run", str(trial.tract), "--quiet"]
    trial.other_inputs()
    started = time.perf_counter()
    subprocess.run(words, check=True)
    whole = time.perf_counter() - started
    tally = Tally()
    while tally.kills < count and not late():
        old = run_id_of(trial.output)
        trial.other_inputs()
        victim = subprocess.Popen(words)
        time.sleep(trial.spread(whole))
        victim.kill()
        if victim.wait() == 0:
            tally.ended_before += 1
            whole *= 0.9  # the machine is quieter than it was
            continue
        trial.judge(tally, old, lambda: ended(in_fork(lambda: command("run", str(trial.tract), "--resume")[0])))
        tell(f"life {tally.kills}: {dict(tally.outcomes)} {len(tally.faults)} faults")
    return tally, whole


def kill_writers(
    trial: Trial, count: int, tell: Callable[[str], None], late: Callable[[], bool]
) -> tuple[Tally, float]:
    """Kills inside the writing: results are at hand, the command only writes and publishes them."""
    import screener.pipeline as pipeline
    from screener.config import load_tract

    ready: list[Any] = []
    for rate in RATES:
        set_labour(trial.tract, rate)
        ready.append(pipeline.screen(load_tract(trial.tract)))
    real, trial.turn = pipeline.screen, len(RATES) - 1
    pipeline.screen = lambda *_, **__: ready[trial.turn]
    tally, seconds = Tally(), []
    try:
        for _ in range(3):
            trial.other_inputs()
            started = time.perf_counter()
            assert ended(in_fork(lambda: command("run", str(trial.tract))[0])) == 0
            seconds.append(time.perf_counter() - started)
        whole = sorted(seconds)[1]
        while tally.kills < count and not late():
            old = run_id_of(trial.output)
            trial.other_inputs()
            victim = in_fork(lambda: command("run", str(trial.tract))[0])
            time.sleep(trial.spread(whole))
            os.kill(victim, signal.SIGKILL)
            if ended(victim) == 0:
                tally.ended_before += 1
                whole *= 0.9  # the machine is quieter than it was
                continue
            trial.judge(tally, old, lambda: ended(in_fork(lambda: command("run", str(trial.tract))[0])))
            tell(f"writing {tally.kills}: {dict(tally.outcomes)} {len(tally.faults)} faults")
    finally:
        pipeline.screen = real
    return tally, whole


def report(kinds: list[tuple[str, Tally, float]], asked: int, seconds: float) -> list[str]:
    """The result in words."""
    lines = [
        f"{sum(tally.kills for _, tally, _ in kinds)} of {asked} kills (SIGKILL) at uniformly random moments, "
        f"{seconds / 60:.1f} min.",
        "",
        "| kills | count | spread over, s | old set | new set | neither, or damaged | left for the next run to clean | "
        "faults of the next run |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for what, tally, whole in kinds:
        left = ", ".join(f"{number} x {name}" for name, number in sorted(tally.left_by_kill.items())) or "nothing"
        damaged = sum(fault.startswith("after a kill") for fault in tally.faults)
        lines.append(
            f"| {what} | {tally.kills} | {whole:.1f} | {tally.outcomes['old set']} | {tally.outcomes['new set']} | "
            f"{damaged} | {left} | {len(tally.faults) - damaged} |"
        )
    early = sum(tally.ended_before for _, tally, _ in kinds)
    lines += ["", f"{early} further processes had ended by themselves before their kill came; they are not counted."]
    lines += [f"- {fault}" for _, tally, _ in kinds for fault in tally.faults[:20]]
    return lines


def main() -> int:
    """Kill, say, and keep where asked."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--minutes", type=float, default=1e6, help="stop then, with what is done")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--record", action="store_true")
    given = parser.parse_args()
    os.environ["PYTHONPATH"] = os.pathsep.join([os.getcwd(), HELPERS])
    started = time.perf_counter()

    def tell(line: str) -> None:
        print(f"{time.perf_counter() - started:7.0f} s  {line}", flush=True)

    half, until = given.count // 2, given.minutes * 60

    def late(share: float) -> bool:
        return time.perf_counter() - started > until * share

    with tempfile.TemporaryDirectory() as folder:
        trial = Trial(Path(folder), given.seed)
        writers, writing = kill_writers(trial, given.count - half, tell, lambda: late(0.4))
        processes, life = kill_processes(trial, half, tell, lambda: late(1.0))
    kinds = [("inside the writing", writers, writing), ("whole life of the process", processes, life)]
    lines = report(kinds, given.count, time.perf_counter() - started)
    print("\n".join(lines))
    if given.record:
        keep_section("Kills", f"python -m tests.crash.kills --count {given.count} --seed {given.seed}", lines)
    return 1 if any(tally.faults for _, tally, _ in kinds) else 0


if __name__ == "__main__":
    sys.exit(main())
