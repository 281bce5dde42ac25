"""Where the time of a portfolio run goes: CPU time, system time and page faults of its parts, in one process.

    python -m tests.benchmarks.scale.stages PORTFOLIO.toml [--profile]

The run is the command's own with one worker; functions that stand for a part are wrapped, and each is charged with the
time that is not spent in another wrapped one. ``--profile`` prints the functions with the most time of their own too.
"""

from __future__ import annotations

import argparse
import cProfile
import functools
import importlib
import pstats
import resource
import sys
from collections.abc import Callable
from typing import Any

from tests.benchmarks.scale.measure import table

PARTS = {
    # part: module and names there, as the callers look them up
    "layout: look at the lots file": [("screener.portfolio.run", "lay_out")],
    "layout: rows of each chunk to a file": [("screener.portfolio.run", "spool")],
    "houses: demand models": [("screener.portfolio.common", "build_house")],
    "houses: tables of options": [("screener.portfolio.common", "lay_out_house")],
    "first: read and check lots": [("screener.portfolio.first_pass", "stream_lots")],
    "first: houses of the lots": [("screener.portfolio.first_pass", "choose_houses")],
    "first: points, rasters, speed, elevation, shaking": [("screener.pipeline", "site_hazards")],
    "first: exposure": [("screener.site_hazards", "_exposure")],
    "first: terrain": [("screener.site_hazards", "_terrain")],
    "first: pressures": [("screener.site_hazards", "_pressures")],
    "first: scope": [("screener.pipeline", "_scope")],
    "first: basis": [("screener.portfolio.first_pass", "load_basis")],
    "first: what passes": [("screener.portfolio.first_pass", "evaluate_house")],
    "first: lots table": [("screener.portfolio.first_pass", "_lots_table")],
    "first: classes": [("screener.portfolio.first_pass", "_classes")],
    "first: write shards": [("screener.portfolio.first_pass", "_shards")],
    "first: the rest": [("screener.portfolio.run", "first_pass")],
    "packages": [("screener.portfolio.run", "plan_groups")],
    "second: basis": [("screener.portfolio.second_pass", "load_basis")],
    "second: demands": [("screener.portfolio.second_pass", "evaluate_house")],
    "second: ratios": [("screener.portfolio.second_pass", "judge_packages")],
    "second: demand rows": [("screener.portfolio.second_pass", "fill_rows")],
    "second: lots table": [("screener.portfolio.second_pass", "_lots_table")],
    "second: write shards": [("screener.portfolio.second_pass", "_shards")],
    "second: exceptions": [("screener.portfolio.second_pass", "_exceptions")],
    "second: the rest": [("screener.portfolio.run", "second_pass")],
    "end: tables": [("screener.portfolio.assembly", "tables_of")],
    "end: map layer of the lots": [("screener.portfolio.map_parts", "write_lots_layer")],
    "end: exceptions, for the map and as a file": [("screener.portfolio.run", "map_part")],
    "end: GeoPackage": [("screener.portfolio.assembly", "finish_geopackage")],
    "end: checksums": [("screener.portfolio.assembly", "write_manifest")],
    "end: checksums of the inputs": [("screener.portfolio.run", "input_records")],
}


class Clock:
    """Charges every moment to the innermost part that is running."""

    def __init__(self) -> None:
        self.spent: dict[str, list[float]] = {}
        self.stack = ["start and the rest"]
        self.last = self._now()

    @staticmethod
    def _now() -> tuple[float, float, float]:
        use = resource.getrusage(resource.RUSAGE_SELF)
        return use.ru_utime, use.ru_stime, float(use.ru_minflt)

    def switch(self) -> None:
        now = self._now()
        row = self.spent.setdefault(self.stack[-1], [0.0, 0.0, 0.0])
        for k in range(3):
            row[k] += now[k] - self.last[k]
        self.last = now

    def wrapped(self, part: str, function: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(function)
        def call(*args: Any, **kwargs: Any) -> Any:
            self.switch()
            self.stack.append(part)
            try:
                found = function(*args, **kwargs)
                # a generator works while it is read: read it here, where its time belongs
                return iter(list(found)) if hasattr(found, "__next__") else found
            finally:
                self.switch()
                self.stack.pop()

        return call


class AtOnce:
    """In place of a thread beside the main one: the work is done when it is asked for, so parts do not overlap."""

    def __init__(self, _: int) -> None: ...

    def __enter__(self) -> AtOnce:
        return self

    def __exit__(self, *_: object) -> None: ...

    def submit(self, function: Callable[..., Any], *args: Any) -> AtOnce:
        self.found = function(*args)
        return self

    def result(self) -> Any:
        return self.found


def watched() -> Clock:
    """Wrap every part that is there; a part that is gone is told, not passed over."""
    importlib.import_module("screener.portfolio.run").ThreadPoolExecutor = AtOnce  # type: ignore[attr-defined]
    clock = Clock()
    for part, places in PARTS.items():
        for module_name, name in places:
            module = importlib.import_module(module_name)
            if not hasattr(module, name):
                print(f"not there: {module_name}.{name} ({part})", file=sys.stderr)
                continue
            setattr(module, name, clock.wrapped(part, getattr(module, name)))
    return clock


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("portfolio")
    parser.add_argument("--profile", action="store_true")
    parser.add_argument("--lots", type=int, default=0, help="lots of the portfolio, for times a lot")
    options = parser.parse_args()
    from screener.cli.main import run

    clock, recorder = watched(), cProfile.Profile()
    if options.profile:
        recorder.enable()
    words = ["portfolio", options.portfolio, "--allow-exceptions", "--overwrite", "--quiet", "--workers", "1"]
    code = run(words)
    recorder.disable()
    clock.switch()
    if code:
        raise SystemExit(code)
    lots = options.lots or 1
    rows = [
        [part, f"{user + system:.2f}", f"{1e6 * (user + system) / lots:.1f}", f"{system:.2f}", f"{faults / lots:.2f}"]
        for part, (user, system, faults) in clock.spent.items()
    ]
    total = [sum(row[k] for row in clock.spent.values()) for k in range(3)]
    cpu = total[0] + total[1]
    rows.append(["all", f"{cpu:.2f}", f"{1e6 * cpu / lots:.1f}", f"{total[1]:.2f}", f"{total[2] / lots:.2f}"])
    header = ["part", "CPU s", "CPU us a lot", "of it system s", "page faults a lot"]
    print("\n".join(table(header, rows)), flush=True)
    if options.profile:
        pstats.Stats(recorder).sort_stats("tottime").print_stats(50)


if __name__ == "__main__":
    main()
