"""The scale benchmark: whole portfolios of up to a million lots, beside two scripts that do the same job.

    python -m tests.benchmarks.scale [--lots 1000 10000 100000 1000000] [--runs 5] [--part PART ...] [--record]

Parts: `whole` (the portfolio run at every size: rate, memory, cost a lot, stages), `compare` (a plain per-lot script
and a vectorised assembly of general libraries on lots of the same files, with their agreement), `kernel` (demands and
choice alone), `stages` (CPU time of the parts of one run), `cluster` (one and two one-thread Dask workers, bytes
compared with the run of one process). Without --part, all. The portfolios are invented, made once and kept in --folder.
Runs of all sizes take turns, and medians are given, so that other work on the machine falls on all alike. Not a test:
it passes no judgement. ``--record`` puts the parts that were run into tests/benchmarks/results_scale.md, with date,
machine and load.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from tests.benchmarks.scale import make_portfolio, measure
from tests.benchmarks.scale.measure import Usage, median, table

if TYPE_CHECKING:
    from tests.benchmarks.scale.vectorised import Outcome

RESULTS = Path(__file__).parents[1] / "results_scale.md"
ROOT = Path(__file__).parents[3]
SIZES = (1_000, 10_000, 100_000, 1_000_000)
PLAIN_LOTS, VECTORISED_LOTS = 40, 2_000
CLUSTER_LOTS = STAGES_LOTS = 100_000
GUESS = {"make": 9_000.0, "whole": 4_000.0}  # lots a second, for the estimate that is printed at the start
START_S = 20.0  # of every run: imports, houses, search of packages
TITLES = {
    "whole": "Whole portfolio",
    "stages": "Where the time goes",
    "compare": "Beside other ways of doing the same job",
    "kernel": "Demands and choice alone",
    "cluster": "Cluster",
}


@dataclass
class Plan:
    """What was asked for."""

    sizes: tuple[int, ...]
    runs: int
    folder: Path
    workers: int
    chunk_lots: int
    plain_lots: int
    vectorised_lots: int
    cluster_lots: int
    tool_lots: int

    def project(self, lots: int) -> Path:
        return make_portfolio.make(self.folder / str(lots), lots)


def environment() -> dict[str, str]:
    """Subprocesses find the package in this working copy, and Dask where this process finds it."""
    return {"PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])}


def results_of(project: Path) -> Path:
    return project.parent / "results"


def screened(project: Path, plan: Plan, workers: int, scheduler: str = "") -> Usage:
    """One portfolio run as a user starts it, its stages read from what it left."""
    command = [
        sys.executable, "-m", "screener.cli.main", "portfolio", str(project), "--allow-exceptions", "--overwrite",
        "--json", "--quiet", "--workers", str(workers),
    ]  # fmt: skip
    if plan.chunk_lots:
        command += ["--chunk-lots", str(plan.chunk_lots)]
    if scheduler:
        command += ["--scheduler", scheduler]
    shutil.rmtree(results_of(project), ignore_errors=True)
    for left in project.parent.glob(".results*"):
        shutil.rmtree(left, ignore_errors=True)
    usage = measure.run(command, environment())
    if usage.code != 0:
        raise RuntimeError(f"{' '.join(command)} ended with {usage.code}:\n{usage.tail}\n{usage.output[-2000:]}")
    timings = next(iter(results_of(project).rglob("timings.json")), None)
    if timings is not None:
        found = json.loads(timings.read_text(encoding="utf-8"))
        usage.stages = {k: float(v) for k, v in found.get("seconds", found).items() if isinstance(v, int | float)}
    return usage


# --- parts ----------------------------------------------------------------------------------------------------------


def whole(plan: Plan) -> list[str]:
    """All sizes in turn, as often as asked."""
    projects = {lots: plan.project(lots) for lots in plan.sizes}
    screened(projects[min(projects)], plan, plan.workers)  # compiles, or loads what is compiled; not counted
    usages: dict[int, list[Usage]] = {lots: [] for lots in plan.sizes}
    for run in range(plan.runs):
        for lots, project in projects.items():
            usages[lots].append(screened(project, plan, plan.workers))
            say(f"run {run + 1} of {plan.runs}: {lots:,} lots in {usages[lots][-1].wall_s:.1f} s")
    return whole_tables(usages, plan)


def whole_tables(usages: dict[int, list[Usage]], plan: Plan) -> list[str]:
    rows, base = [], None
    for lots, found in usages.items():
        wall, cpu = median([u.wall_s for u in found]), median([u.cpu_s for u in found])
        if lots == 100_000:
            base = (wall / lots, cpu / lots)
        growth = (
            [f"{x / b - 1:+.0%}" for x, b in zip((wall / lots, cpu / lots), base, strict=True)] if base else ["", ""]
        )
        rows.append(
            [
                f"{lots:,}", f"{wall:.1f}", f"{lots / wall:,.0f}", f"{1e6 * cpu / lots:.0f}", *growth,
                f"{median([u.system_s for u in found]) / cpu:.0%}",
                f"{median([u.faults for u in found]) / lots:.1f}", f"{median([u.peak_mib for u in found]):,.0f}",
                f"{max(u.own_peaks_mib for u in found):,.0f}",
            ]
        )  # fmt: skip
    header = [
        "lots", "s", "lots/s", "CPU us a lot", "wall a lot against 100,000", "CPU a lot against 100,000",
        "system time", "page faults a lot", "peak MiB, all processes", "sum of own peaks MiB",
    ]  # fmt: skip
    lines = [
        f"`screener portfolio` from files to published files, {plan.workers} workers, medians of {plan.runs} runs in"
        f" turn, start of the program included. {size_words(usages)}",
        "",
        *table(header, rows),
        "",
        "Wall seconds by stage (medians), as the run itself notes them:",
        "",
    ]
    names = list(dict.fromkeys(name for found in usages.values() for u in found for name in u.stages))
    stages = [
        [name, *(f"{median([u.stages.get(name, 0.0) for u in found]):.2f}" for found in usages.values())]
        for name in names
    ]
    shown = [median([u.wall_s - sum(u.stages.values()) for u in found]) for found in usages.values()]
    stages.append(["start, publishing and the rest", *(f"{rest:.2f}" for rest in shown)])
    return [*lines, *table(["stage", *(f"{lots:,} lots" for lots in usages)], stages)]


def size_words(usages: dict[int, list[Usage]]) -> str:
    """What the largest of them holds, by the run's own summary."""
    found = usages[max(usages)][-1]
    try:
        summary = json.loads(found.output)
    except ValueError:
        return ""
    status = ", ".join(f"{n:,} {name}" for name, n in summary.get("by_status", {}).items())
    return f"The largest: {summary.get('tracts', 0):,} tracts; {status}; packages {summary.get('packages', '?')}."


def compare(plan: Plan) -> list[str]:
    """Both scripts and the tool on lots of one portfolio, in one run of this program."""
    from tests.benchmarks.scale import assembly_data, plain_script, vectorised
    from tests.benchmarks.scale import compare as agreement

    lots = max(plan.vectorised_lots, 1_000)
    project = plan.project(next(n for n in (1_000, 10_000, 100_000, 1_000_000) if n >= lots))
    folder, many = project.parent, slice(0, lots)
    data = assembly_data.load(folder, list(make_portfolio.DESIGNS))
    mine = agreement.ours(folder, data, many)
    say("the tool's own answers are there")
    step = max(1, lots // plan.plain_lots)
    few = slice(0, step * plan.plain_lots, step)
    with tempfile.TemporaryDirectory() as name:
        plain, plain_took = taken(lambda: plain_script.run(folder, data, Path(name), few))
        say(f"plain script: {plan.plain_lots} lots in {plain_took.wall_s:.1f} s")
        fast, fast_took = taken(lambda: vectorised.run(folder, data, Path(name), many))
        say(f"vectorised: {lots:,} lots in {fast_took.wall_s:.1f} s")
    found = [screened(plan.project(plan.tool_lots), plan, plan.workers) for _ in range(min(plan.runs, 3))]
    tool = Taken(median([u.wall_s for u in found]), median([u.cpu_s for u in found]), plan.tool_lots)
    plain_took, rest = plain_took.without(plain.apart), fast_took.without(fast.apart)
    rows = [
        rate_row("plain script, one process", plan.plain_lots, plain_took, tool),
        rate_row("vectorised assembly, one process", lots, fast_took, tool),
        rate_row("the same, as if two processes took half the time", lots, fast_took.halved(), tool),
        rate_row("the same two without the search of crests", lots, rest.halved(), tool),
        rate_row(f"the tool: portfolio run, {plan.workers} workers", plan.tool_lots, tool, tool),
    ]
    worst, same = agreement.given_our_hazards(mine, data)
    return [
        "From the same files to demand rows (about 170 connections a lot) and lots with their governing ratio. Set-up"
        " that does not grow with the lots (models, allowable loads; for the plain script reading the rasters too) is"
        " not counted for the scripts; it is for the tool.",
        "",
        *table(["who", "lots", "lots/s", "CPU ms a lot", "the tool is faster by, wall", "by, CPU"], rows),
        "",
        "CPU seconds by stage, " + f"plain ({plan.plain_lots} lots) and vectorised ({lots:,} lots):",
        "",
        *table(
            ["plain", "s", "vectorised", "s"],
            [
                [*(left or ("", "")), *(right or ("", ""))]
                for left, right in zip_longest_rows(plain.seconds, fast.seconds)
            ],
        ),
        "",
        "Agreement with the tool:",
        "",
        *table(
            agreement.HEADER,
            [
                agreement.agreement("plain", plain, mine, few),
                agreement.agreement("vectorised", fast, mine),
            ],
        ),
        "",
        f"Given the tool's hazards, the vectorised script's demands differ by at most {worst:.1e} (relative; below 1e-3"
        f" of their unit absolute), and {same:.4%} of its choices of the cheapest option are the same.",
        "",
        *differences(),
    ]


@dataclass
class Taken:
    """Wall and CPU seconds of one piece of work."""

    wall_s: float
    cpu_s: float
    lots: int = 0

    def halved(self) -> Taken:
        return Taken(self.wall_s / 2.0, self.cpu_s)

    def without(self, apart: tuple[float, float]) -> Taken:
        return Taken(self.wall_s - apart[0], self.cpu_s - apart[1])


def taken(work: Callable[[], Outcome]) -> tuple[Outcome, Taken]:
    wall, cpu = time.perf_counter(), time.process_time()
    found = work()
    return found, Taken(time.perf_counter() - wall, time.process_time() - cpu)


def rate_row(who: str, lots: int, took: Taken, tool: Taken) -> list[str]:
    """Rates of one way, and how many times faster the tool does its own lots."""
    wall, cpu = took.wall_s / lots, took.cpu_s / lots
    times = [f"{wall * tool.lots / tool.wall_s:,.1f}", f"{cpu * tool.lots / tool.cpu_s:,.1f}"]
    times = ["", ""] if took is tool else times
    return [who, f"{lots:,}", f"{1.0 / wall:,.1f}", f"{1e3 * cpu:,.2f}", *times]


def zip_longest_rows(one: dict[str, float], two: dict[str, float]) -> list[tuple[tuple[str, str], tuple[str, str]]]:
    from itertools import zip_longest

    left, right = ([(name, f"{s:.2f}") for name, s in found.items()] for found in (one, two))
    return list(zip_longest(left, right, fillvalue=("", "")))


def differences() -> list[str]:
    return [
        "Why they may differ: the scripts take the zonal mean of the elevation over the lot where the tool takes the"
        " value at the lot's middle (a part of a foot; it enters the air's density only); and one direction of true"
        " north for all lots of a call where the tool takes the middle of its own batch, so a part of a cell may change"
        " its wedge or ring.",
    ]


def kernel(plan: Plan) -> list[str]:
    """The compiled evaluation alone, by its own benchmark."""
    if importlib.util.find_spec("tests.benchmarks.scale.bench_kernel") is None:
        return ["Not there: tests/benchmarks/scale/bench_kernel.py."]
    usage = measure.run([sys.executable, "-m", "tests.benchmarks.scale.bench_kernel"], environment())
    if usage.code != 0:
        raise RuntimeError(f"bench_kernel ended with {usage.code}:\n{usage.tail}")
    return usage.output.rstrip().splitlines()


def cluster(plan: Plan) -> list[str]:
    """One and two workers of one thread, beside the run of one process; all bytes compared."""
    if importlib.util.find_spec("distributed") is None:
        return ["Not run: Dask is not installed (the optional part `cluster`)."]
    from tests.benchmarks.scale.dask_cluster import measured

    project = plan.project(plan.cluster_lots)
    return measured(
        project, plan.cluster_lots, plan.runs, lambda workers, address: screened(project, plan, workers, address),
        results_of(project), environment(),
    )  # fmt: skip


def stages(plan: Plan) -> list[str]:
    """CPU time of the parts of one run in one process."""
    project = plan.project(STAGES_LOTS)
    command = [sys.executable, "-m", "tests.benchmarks.scale.stages", str(project), "--lots", str(STAGES_LOTS)]
    usage = measure.run(command, environment())
    if usage.code != 0:
        raise RuntimeError(f"{' '.join(command)} ended with {usage.code}:\n{usage.tail}")
    return [f"{STAGES_LOTS:,} lots, one worker in one process.", "", *usage.output.rstrip().splitlines()]


PARTS: dict[str, Callable[[Plan], list[str]]] = {
    "kernel": kernel,
    "stages": stages,
    "compare": compare,
    "cluster": cluster,
    "whole": whole,
}


# --- the command ----------------------------------------------------------------------------------------------------


def say(words: str) -> None:
    print(f"[{time.strftime('%H:%M:%S')}] {words}", file=sys.stderr, flush=True)


def expected_s(plan: Plan, parts: list[str]) -> float:
    """A guess of the whole time, from rates of a two-core machine."""
    missing = [n for n in plan.sizes if not (plan.folder / str(n) / "made.json").exists()]
    total = sum(n / GUESS["make"] for n in missing)
    if "whole" in parts:
        total += START_S + plan.runs * sum(START_S + n / GUESS["whole"] for n in plan.sizes)
    if "compare" in parts:
        total += 60.0 + plan.plain_lots / 5.0 + plan.vectorised_lots / 40.0 + 3 * (START_S + 1e5 / GUESS["whole"])
    if "cluster" in parts:
        total += 4 * plan.runs * (START_S + plan.cluster_lots / GUESS["whole"])
    return total + 90.0 * ("kernel" in parts) + 60.0 * ("stages" in parts)


def record(name: str, lines: list[str], head: str) -> None:
    """Replace one part of results_scale.md."""
    old = RESULTS.read_text(encoding="utf-8") if RESULTS.exists() else "# Results of the scale benchmark\n"
    top, *sections = old.split("\n## ")
    by_title = {section.split("\n", 1)[0]: section for section in sections}
    by_title[TITLES[name]] = "\n".join([TITLES[name], "", head, "", *lines])
    order = [*TITLES.values(), *(title for title in by_title if title not in TITLES.values())]
    kept = [by_title[title] for title in order if title in by_title]
    text = "\n## ".join([top.rstrip("\n") + "\n", *(body.rstrip("\n") + "\n" for body in kept)])
    RESULTS.write_text(text, encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.scale", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("--lots", type=int, nargs="+", default=list(SIZES), help="sizes of the whole run")
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--part", action="append", choices=list(PARTS), help="only this part; may be given again")
    parser.add_argument("--record", action="store_true", help=f"write {RESULTS.name}")
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "scale")
    parser.add_argument("--workers", type=int, default=len(os.sched_getaffinity(0)))
    parser.add_argument("--chunk-lots", type=int, default=0, help="lots a chunk; 0: the tool's own")
    parser.add_argument("--plain-lots", type=int, default=PLAIN_LOTS)
    parser.add_argument("--vectorised-lots", type=int, default=VECTORISED_LOTS)
    parser.add_argument("--cluster-lots", type=int, default=CLUSTER_LOTS)
    parser.add_argument("--tool-lots", type=int, default=100_000, help="lots of the run that `compare` sets beside")
    o = parser.parse_args()
    sizes = tuple(sorted(o.lots))
    counts = (o.plain_lots, o.vectorised_lots, o.cluster_lots, o.tool_lots)
    plan = Plan(sizes, o.runs, o.folder, o.workers, o.chunk_lots, *counts)
    parts = [name for name in PARTS if name in (o.part or PARTS)]
    began = time.perf_counter()
    say(f"{measure.machine()}; load {measure.load()}")
    say(f"parts {', '.join(parts)}; expected to take about {expected_s(plan, parts) / 60:.1f} min on two idle cores")
    failed = []
    for name in parts:
        where = f"{measure.machine()}; load at the start {measure.load()}"
        head = f"Run on {date.today():%Y-%m-%d}; {where}. Invented lots and ground."
        say(f"part {name}")
        try:
            lines = PARTS[name](plan)
        except Exception as error:  # the other parts still count
            failed.append(name)
            say(f"part {name} failed: {type(error).__name__}: {error}")
            continue
        print("\n".join(["", f"## {TITLES[name]}", "", head, "", *lines]), flush=True)
        if o.record:
            record(name, lines, head)
    say(f"done in {(time.perf_counter() - began) / 60:.1f} min{'; failed: ' + ', '.join(failed) if failed else ''}")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
