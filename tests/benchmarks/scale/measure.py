"""Runs a command and watches it: wall and CPU time, page faults, and the memory of all its processes from /proc."""

from __future__ import annotations

import contextlib
import glob
import os
import platform
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path

TICKS = os.sysconf("SC_CLK_TCK")
EVERY_S = 0.4  # looking costs time of the same cores


@dataclass
class Usage:
    """What one run of a command took; its processes and all their children together."""

    wall_s: float
    user_s: float
    system_s: float
    faults: int
    peak_mib: float  # greatest sum of the proportional shares of memory, sampled
    own_peaks_mib: float  # sum of every process' own greatest resident memory: never less than the true peak
    code: int
    output: str = ""
    tail: str = ""
    stages: dict[str, float] = field(default_factory=dict)

    @property
    def cpu_s(self) -> float:
        return self.user_s + self.system_s


PLAIN = """
import time
import numpy as np
x, y = np.full({size}, 1.0001), np.empty({size})
for _ in range({times} // 10):
    np.multiply(x, x, out=y)
began = time.perf_counter()
for _ in range({times}):
    np.multiply(x, x, out=y)
print(time.perf_counter() - began)
"""


def two_at_once(size: int, times: int) -> float:
    """How much more work two processes do together than one does alone: plain products of so many numbers."""

    def seconds(processes: int) -> float:
        command = [sys.executable, "-c", PLAIN.format(size=size, times=times)]
        running = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(processes)]
        return max(float(process.communicate()[0]) for process in running)

    found = [(seconds(1), seconds(2)) for _ in range(3)]
    return 2.0 * median([one for one, _ in found]) / median([two for _, two in found])


class Watch:
    """Samples the memory of processes and all that descend from them, in a thread, until told to stop."""

    def __init__(self, roots: Sequence[int]) -> None:
        self.roots, self.peak_kib = list(roots), 0
        self.own_peaks_kib: dict[int, int] = {}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._sample, daemon=True)
        self._thread.start()

    def _sample(self) -> None:
        while not self._stop.wait(EVERY_S):
            total = 0
            for pid in descendants(self.roots):
                share, peak = memory_kib(pid)
                total += share
                self.own_peaks_kib[pid] = max(peak, self.own_peaks_kib.get(pid, 0))
            self.peak_kib = max(self.peak_kib, total)

    def stop(self) -> tuple[float, float]:
        """Greatest sum seen and sum of own peaks, MiB."""
        self._stop.set()
        self._thread.join()
        return self.peak_kib / 1024.0, sum(self.own_peaks_kib.values()) / 1024.0


def descendants(roots: Sequence[int]) -> list[int]:
    """The processes themselves and all their children's children (of any of their threads)."""
    found, queue = [], list(roots)
    while queue:
        pid = queue.pop()
        found.append(pid)
        for thread in glob.glob(f"/proc/{pid}/task/*/children"):
            with contextlib.suppress(OSError):  # gone meanwhile
                queue += [int(child) for child in Path(thread).read_text(encoding="ascii").split()]
    return found


def memory_kib(pid: int) -> tuple[int, int]:
    """Proportional share (shared pages divided among their users) and greatest resident memory of a process."""
    share = peak = 0
    try:
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii").splitlines():
            if line.startswith("Pss:"):
                share = int(line.split()[1])
        for line in Path(f"/proc/{pid}/status").read_text(encoding="utf-8").splitlines():
            if line.startswith("VmHWM:"):
                peak = int(line.split()[1])
    except OSError:  # gone meanwhile
        return share, peak
    return share, peak


def times_of(pids: Sequence[int]) -> tuple[float, float, int]:
    """User and system seconds and page faults so far of living processes."""
    user = system = 0.0
    faults = 0
    for pid in pids:
        try:
            stat = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
        except OSError:
            continue
        fields = stat.rsplit(")", 1)[1].split()
        user += int(fields[11]) / TICKS
        system += int(fields[12]) / TICKS
        faults += int(fields[7])
    return user, system, faults


def run(command: Sequence[str], environ: Mapping[str, str] | None = None, cwd: Path | None = None) -> Usage:
    """Run a command to its end. Its output is kept whole; of what it says on stderr the end."""
    start = time.perf_counter()
    process = subprocess.Popen(
        list(command), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=cwd,
        env={**os.environ, **(environ or {})},
    )  # fmt: skip
    watch = Watch([process.pid])
    said: list[str] = []
    assert process.stderr is not None
    assert process.stdout is not None
    reader = threading.Thread(target=lambda stream=process.stderr: said.append(stream.read()), daemon=True)
    reader.start()
    output = process.stdout.read()
    _, status, used = os.wait4(process.pid, 0)
    wall = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    reader.join()
    peak, own = watch.stop()
    return Usage(
        wall, used.ru_utime, used.ru_stime, used.ru_minflt, peak, own, process.returncode, output, said[0][-2000:]
    )


def median(values: Sequence[float]) -> float:
    return float(statistics.median(values))


def machine() -> str:
    """Cores, processor, memory, libraries, in one line."""
    model = platform.processor() or platform.machine()
    cpuinfo, meminfo = Path("/proc/cpuinfo"), Path("/proc/meminfo")
    if cpuinfo.exists():
        names = [x.split(":", 1)[1].strip() for x in cpuinfo.read_text().splitlines() if x.startswith("model name")]
        model = names[0] if names else model
    memory = int(meminfo.read_text().split()[1]) / 1024**2 if meminfo.exists() else 0.0
    names = ("numpy", "numba", "scipy", "pyarrow", "geopandas", "pyogrio", "rasterio", "exactextract")
    libraries = ", ".join(f"{name} {version(name)}" for name in names)
    return f"{os.cpu_count()} cores, {model}, {memory:.0f} GiB, Python {platform.python_version()}, {libraries}"


def load() -> str:
    return f"{os.getloadavg()[0]:.1f}"


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Lines of a Markdown table."""
    return [f"| {' | '.join(row)} |" for row in (header, ["---"] * len(header), *rows)]
