"""What the hazard benchmarks share: lots at subdivision density, timing by wall and CPU clock, tables, the machine."""

from __future__ import annotations

import os
import platform
import resource
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from tests.hazard.exposure_grounds import FT

CORES = os.cpu_count() or 1


@dataclass(frozen=True)
class Timing:
    """Medians over some runs."""

    wall_s: float
    cpu_s: float
    runs: int

    def rates(self, lots: int, cores: int = CORES) -> list[str]:
        """Lots a second by the wall clock; and by CPU time, as if all cores were free for this work alone."""
        return [f"{lots / self.wall_s:,.0f}", f"{cores * lots / self.cpu_s:,.0f}"]


def timed(work: Callable[[], Any], runs: int = 5) -> tuple[Timing, Any]:
    """Medians of wall and CPU time (all threads of this process), and the last answer."""
    wall, cpu = [], []
    answer = None
    for _ in range(runs):
        at, used = time.perf_counter(), time.process_time()
        answer = work()
        cpu.append(time.process_time() - used)
        wall.append(time.perf_counter() - at)
    return Timing(statistics.median(wall), statistics.median(cpu), runs), answer


def lots_in_rows(count: int, turn_deg: float = 7.0) -> np.ndarray:
    """Points of lots 60 ft wide and 110 ft deep side by side in a near-square tract, turned; metres about 0, 0."""
    across = int(np.ceil(np.sqrt(count * 110.0 / 60.0)))
    number = np.arange(count)
    x = (number % across - across / 2) * 60.0 * FT
    y = (number // across - across * 60.0 / 110.0 / 2) * 110.0 * FT
    turn = np.radians(turn_deg)
    return np.column_stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)])


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Lines of a Markdown table."""
    return [f"| {' | '.join(row)} |" for row in (header, ["---"] * len(header), *rows)]


def peak_mib() -> float:
    """Greatest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def copy_bytes_per_s() -> float:
    """What a plain copy of a large array moves, read and written, on one core; best of five, by CPU time."""
    source, target = np.ones(16_000_000), np.zeros(16_000_000)
    took = []
    for _ in range(5):
        start = time.process_time()
        np.copyto(target, source)
        took.append(time.process_time() - start)
    return 2 * source.nbytes / min(took)


def machine() -> str:
    """Processor, system and the libraries that matter, in one line."""
    model = platform.processor()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        names = [line.split(":", 1)[1].strip() for line in cpuinfo.read_text().splitlines() if "model name" in line]
        model = names[0] if names else model
    libraries = ", ".join(f"{name} {version(name)}" for name in ("numpy", "numba", "scipy", "exactextract"))
    return f"{CORES} cores, {platform.machine()}, {model}, Python {platform.python_version()}, {libraries}"


def load() -> str:
    """How busy the machine was when asked."""
    return f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "unknown"
