"""Mutation testing of the standards modules: do the checks notice when a formula is wrong?

    python -m tests.mutation.run                       every module, about 15 minutes on two cores
    python -m tests.mutation.run nds_connections       modules whose name has this text
    python -m tests.mutation.run --write               also keep the result in tests/benchmarks/results_mutation.md

Run it from the repository's folder. It goes on where it was stopped (`.mutation/`): a mutant of an unchanged module
that was killed stays killed, survivors are tried again. `--fresh` forgets. Two processes, at low priority.
See `targets.py` for what may kill a mutant, `equivalents.csv` for mutants that no check can tell from the original.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import json
import os
import platform
import random
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tests.mutation import one
from tests.mutation.mutator import Mutant, mutants_of
from tests.mutation.targets import SAMPLE, TARGETS, Target

HERE = Path(__file__).parent
STORE = Path(".mutation")
RESULTS = HERE.parent / "benchmarks" / "results_mutation.md"
PROCESSES = 2


@dataclass(frozen=True)
class Outcome:
    """One module's mutants by fate, keys as in the equivalents list."""

    target: Target
    made: int
    killed: list[str]
    survived: list[str]
    equivalent: list[str]

    @property
    def tried(self) -> int:
        return len(self.killed) + len(self.survived) + len(self.equivalent)

    @property
    def score(self) -> float:
        """Killed of those that can be, in percent."""
        return 100.0 * len(self.killed) / max(len(self.killed) + len(self.survived), 1)


def source_path(module: str) -> Path:
    return Path(*module.split(".")).with_suffix(".py")


def equivalents() -> dict[tuple[str, str], str]:
    """Mutants that give the same answers as the original, by module and key, each with its reason."""
    with (HERE / "equivalents.csv").open(encoding="utf-8", newline="") as file:
        return {(row["module"], row["mutant"]): row["reason"] for row in csv.DictReader(file)}


def sampled(target: Target, mutants: list[Mutant]) -> list[Mutant]:
    """All of them, or the same random sample every time."""
    if len(mutants) <= SAMPLE:
        return mutants
    chosen = set(random.Random(target.module).sample(range(len(mutants)), SAMPLE))
    return [mutant for i, mutant in enumerate(mutants) if i in chosen]


def try_module(target: Target, fresh: bool) -> Outcome:
    """Every mutant of one module; killed ones of an earlier run of the same source are not tried again."""
    source = source_path(target.module).read_text("utf-8")
    digest = hashlib.sha256(source.encode()).hexdigest()
    kept = STORE / f"{target.module}.json"
    before = json.loads(kept.read_text("utf-8")) if kept.exists() and not fresh else {}
    killed = set(before["killed"]) if before.get("source") == digest else set()
    if not one.survives(target.module, source, target.subjects, target.tests):
        raise SystemExit(f"{target.module}: its checks fail without any change; nothing can be said of mutants")
    known = equivalents()
    made = mutants_of(source)
    tried = sampled(target, made)
    fates: dict[str, list[str]] = {"killed": [], "survived": [], "equivalent": []}
    for number, mutant in enumerate(tried, start=1):
        if (target.module, mutant.key) in known:
            fates["equivalent"].append(mutant.key)
            continue
        alive = mutant.key not in killed and one.survives(target.module, mutant.source, target.subjects, target.tests)
        fates["survived" if alive else "killed"].append(mutant.key)
        if alive:
            print(f"{target.module} line {mutant.line}: {mutant.key}", file=sys.stderr, flush=True)
        if number % 20 == 0 or number == len(tried):
            kept.write_text(json.dumps({"source": digest, "killed": fates["killed"]}), "utf-8")
    return Outcome(target, len(made), **fates)


def report(outcomes: list[Outcome], seconds: float) -> str:
    """The result as Markdown."""
    killed, survived, same = (sum(len(getattr(o, k)) for o in outcomes) for k in ("killed", "survived", "equivalent"))
    lines = [
        "# Mutation testing of the standards modules",
        "",
        f"`python -m tests.mutation.run --write`, {time.strftime('%Y-%m-%d')}, {platform.machine()}, "
        f"{os.cpu_count()} cores, Python {platform.python_version()}, {PROCESSES} processes; {seconds / 60:.0f} "
        "minutes of the last run (it goes on where it was stopped; other work ran on the machine).",
        "",
        f"**{killed} of {killed + survived} mutants killed: {100.0 * killed / max(killed + survived, 1):.1f} %**, by "
        f"values from outside and by laws only; {same} more are equivalent (`tests/mutation/equivalents.csv`, with "
        f"reasons). A module with more than {SAMPLE} mutants is sampled.",
        "",
        "| module | mutants made | tried | killed | survived | equivalent | score |",
        "|---|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {o.target.module} | {o.made} | {o.tried} | {len(o.killed)} | {len(o.survived)} | {len(o.equivalent)} "
        f"| {o.score:.0f} % |"
        for o in outcomes
    ]
    lines += ["", "## Survivors", ""]
    for o in outcomes:
        lines += [f"- {o.target.module}, `{key}`" for key in o.survived]
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("modules", nargs="*", help="text of module names; default all")
    parser.add_argument("--fresh", action="store_true", help="forget earlier results")
    parser.add_argument("--write", action="store_true", help=f"keep the result in {RESULTS.name}")
    options = parser.parse_args()
    chosen = [t for t in TARGETS if not options.modules or any(m in t.module for m in options.modules)]
    os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1", PYTEST_DISABLE_PLUGIN_AUTOLOAD="1")
    os.nice(5)
    STORE.mkdir(exist_ok=True)
    start = time.monotonic()
    with ProcessPoolExecutor(PROCESSES, initializer=one.warm_up) as pool:
        jobs = [pool.submit(try_module, target, options.fresh) for target in chosen]
        outcomes = [job.result() for job in jobs]
    text = report(outcomes, time.monotonic() - start)
    print(text)
    if options.write:
        RESULTS.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
