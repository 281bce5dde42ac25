"""Coverage-guided fuzzing of the readers of inputs.

    python -m tests.fuzz.run --reader landxml --minutes 10       one reader
    python -m tests.fuzz.run --all --minutes 10 --record         each in turn; the result in results_fuzz.md
    python -m tests.fuzz.run --reader dxf --minimise FILE        the smallest input that shows the same finding

Needs atheris (Python 3.11 or 3.12; not among the tool's or the tests' requirements). One process at low priority.
Inputs that taught something stay in `.fuzz/<reader>/corpus`, so a run goes on where the last one stopped (`--fresh`
forgets them); findings are in `.fuzz/<reader>/findings`, each with what was said. Exit code 1 where there is one.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import re
import shutil
import subprocess
import sys
import time
from dataclasses import asdict, dataclass, field
from datetime import date
from pathlib import Path

from tests.fuzz.harness import MEMORY_MIB, ROOT, SECONDS, judge
from tests.fuzz.readers import NAMES, reader

STORE = ROOT / ".fuzz"
RESULTS = ROOT / "tests" / "benchmarks" / "results_fuzz.md"
REPLAY = """
import resource, sys, time
from pathlib import Path
from tests.fuzz.harness import judge, thorough
from tests.fuzz.readers import reader, warm
thorough()
target = reader(sys.argv[1])
warm(target)
before, data = time.process_time(), Path(sys.argv[2]).read_bytes()
finding = judge(target, data)
kibibytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(finding.key if finding else "", time.process_time() - before, kibibytes, sep="|")
"""


@dataclass
class Result:
    """One reader's run: what was tried, how far it reached, what was found."""

    reader: str
    executions: int = 0
    seconds: float = 0.0
    coverage: int = 0
    features: int = 0
    corpus: int = 0
    restarts: int = 0
    findings: list[str] = field(default_factory=list)


def fuzz(name: str, seconds: float, seed: int) -> Result:
    """Fuzz one reader for so long, starting again where an input ended the process."""
    store, result = STORE / name, Result(name)
    (store / "findings").mkdir(parents=True, exist_ok=True)
    for old in (store / "findings").iterdir():
        old.unlink()
    began = time.monotonic()
    while (left := int(seconds - (time.monotonic() - began))) > 0:
        done = _process(name, store, left, seed + result.restarts)
        said = done.stderr
        result.executions += _last(r"stat::number_of_executed_units:\s*(\d+)", said)
        result.coverage = max(result.coverage, _last(r" cov: (\d+)", said))
        result.features = max(result.features, _last(r" ft: (\d+)", said))
        if done.returncode == 0 and "Done " in said:
            continue
        result.restarts += 1
        (store / f"stopped-{result.restarts}.log").write_text(said, encoding="utf-8")
        _judge_artifacts(name, store, said, result)
        if result.restarts > 50:
            break
    result.seconds = time.monotonic() - began
    result.corpus = sum(1 for _ in (store / "corpus").iterdir())
    keys = (note.read_text(encoding="utf-8").splitlines()[0] for note in (store / "findings").glob("*.txt"))
    result.findings += sorted(keys)
    return result


def _process(name: str, store: Path, seconds: int, seed: int) -> subprocess.CompletedProcess[str]:
    words = [sys.executable, "-m", "tests.fuzz.one", name, str(store), str(seconds), str(seed)]
    return subprocess.run(words, cwd=ROOT, stderr=subprocess.PIPE, text=True, errors="replace", preexec_fn=_gently)


def _gently() -> None:
    os.nice(15)


def _last(pattern: str, text: str) -> int:
    found = re.findall(pattern, text)
    return int(found[-1]) if found else 0


def _judge_artifacts(name: str, store: Path, said: str, result: Result) -> None:
    """An input that ended the process is tried again alone: a slow machine is not a slow reader."""
    artifacts = sorted((store / "artifacts").iterdir()) if (store / "artifacts").exists() else []
    if not artifacts:
        result.findings.append(f"the process ended: {said.strip().splitlines()[-1][:200] if said.strip() else '?'}")
    for file in artifacts:
        fault = replay(name, file)
        if fault:
            result.findings.append(f"{file.name}: {fault}")
            file.rename(store / "findings" / file.name)
        else:
            file.unlink()


def replay(name: str, file: Path) -> str:
    """What one input does to a fresh process; "" where all is well."""
    try:
        words = [sys.executable, "-c", REPLAY, name, str(file)]
        done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=120)
    except subprocess.TimeoutExpired:
        return "hang: more than 120 s"
    if done.returncode != 0:
        return f"the process ended with {done.returncode}: {done.stderr.strip()[-300:]}"
    key, seconds, kibibytes = done.stdout.strip().splitlines()[-1].split("|")
    if float(seconds) > SECONDS:
        return f"{float(seconds):.1f} s of processor time"
    if int(kibibytes) / 1024 > MEMORY_MIB:
        return f"{int(kibibytes) // 1024} MiB"
    return key


def minimise(name: str, data: bytes, seconds: float = 120) -> bytes:
    """A smaller input that shows the same finding: ever smaller pieces are left out, first of lines, then of bytes."""
    target, end = reader(name), time.monotonic() + seconds
    first = judge(target, data)
    if first is None:
        raise SystemExit("this input shows no finding")

    def shows(pieces: list[bytes]) -> bool:
        found = judge(target, b"".join(pieces))
        return found is not None and found.key == first.key

    for pieces in (data.splitlines(keepends=True), None):
        pieces = [data[i : i + 1] for i in range(len(data))] if pieces is None else pieces
        size = max(1, len(pieces) // 2)
        while size and time.monotonic() < end:
            at = 0
            while at < len(pieces) and time.monotonic() < end:
                shorter = pieces[:at] + pieces[at + size :]
                if shows(shorter):
                    pieces = shorter
                else:
                    at += size
            size //= 2
        data = b"".join(pieces)
    return data


def table(results: list[Result]) -> str:
    """The results as Markdown, with date and machine."""
    total, minutes = sum(r.executions for r in results), sum(r.seconds for r in results) / 60
    lines = [
        "# Fuzzing of the readers",
        "",
        f"`python -m tests.fuzz.run --all --record`, {date.today()}, {platform.machine()}, {os.cpu_count()} cores, "
        f"Python {platform.python_version()}, one process at low priority (other work ran on the machine).",
        "",
        f"**{total:,} inputs in {minutes:.0f} minutes.** A finding is anything but a success or a refusal that names "
        f"the file: another exception, more than {SECONDS} s, more than {MEMORY_MIB} MiB. Coverage counts edges of our "
        "own Python (and of `tomllib`), features those with their counts, as libFuzzer gives them.",
        "",
        "| reader | inputs | minutes | inputs/s | coverage | features | corpus | findings |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for r in results:
        cells = [r.reader, f"{r.executions:,}", f"{r.seconds / 60:.1f}", f"{r.executions / max(r.seconds, 1):.0f}"]
        cells += [str(r.coverage), str(r.features), str(r.corpus), "; ".join(r.findings) or "none"]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def record(results: list[Result]) -> None:
    """Keep the last result of every reader, and write them all."""
    kept = STORE / "results.json"
    known = json.loads(kept.read_text(encoding="utf-8")) if kept.exists() else {}
    known |= {r.reader: asdict(r) for r in results}
    kept.write_text(json.dumps(known, indent=1), encoding="utf-8")
    RESULTS.write_text(table([Result(**known[name]) for name in NAMES if name in known]), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("--reader", choices=NAMES)
    which.add_argument("--all", action="store_true")
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--fresh", action="store_true", help="forget what earlier runs learnt")
    parser.add_argument("--record", action="store_true", help="write tests/benchmarks/results_fuzz.md")
    parser.add_argument("--minimise", type=Path, metavar="FILE")
    given = parser.parse_args()
    if given.minimise:
        smallest = minimise(given.reader, given.minimise.read_bytes())
        given.minimise.with_suffix(".min").write_bytes(smallest)
        print(smallest)
        return
    results = []
    for name in NAMES if given.all else (given.reader,):
        if given.fresh:
            shutil.rmtree(STORE / name, ignore_errors=True)
        results.append(fuzz(name, 60 * given.minutes, given.seed))
        print(results[-1], flush=True)
        if given.record:
            record(results)
    sys.exit(1 if any(r.findings for r in results) else 0)


if __name__ == "__main__":
    main()
