"""Reads hostile inputs, each in a process of its own with bounds: `python -m tests.fuzz.attacked FOLDER`.

A line of JSON on standard input names the next attack; a line comes back: what the reader said, the processor time it
took, its memory. Each attack runs in a fork of this process, after the libraries are loaded: at most `MEMORY_MIB` more
than that (RLIMIT_AS), at most `SECONDS` of processor time (RLIMIT_CPU), no Python socket at all. Sockets of C libraries
are not stopped here: the tests give them an address to call and see that nobody calls. Linux only.
"""

from __future__ import annotations

import json
import os
import resource
import socket
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

from hazard.issues import InputError, Issue, Issues
from hazard.land_cover import read_roughness_table
from screener.config import read_tract
from screener.count_lists import NUMBERS, read_counts
from screener.hardware import read_hardware
from screener.plan_files import load_plans
from tests.fuzz import seeds
from tests.fuzz.harness import MEMORY_MIB, Reader, judge
from tests.fuzz.lots_project import FEET, project, read

SECONDS = 20  # of processor time; the slowest honest file of a hundred megabytes takes about eight
SHOWN = 2000


def lots(file: Path) -> list[Issue]:
    return read(project(file.parent, file.name, FEET, keep=True))


def tract(file: Path) -> list[Issue]:
    issues = Issues()
    read_tract(file, issues)
    return issues.stops()


def plans(file: Path) -> list[Issue]:
    load_plans(file.parent)
    return []


def hardware(file: Path) -> list[Issue]:
    return read_hardware(file)[1].stops()


def classes(file: Path) -> list[Issue]:
    read_roughness_table(file)
    return []


def counts(file: Path) -> list[Issue]:
    read_counts(file, NUMBERS)
    return []


READERS: dict[str, Callable[[Path], list[Issue]]] = {
    each.__name__: each for each in (lots, tract, plans, hardware, classes, counts)
}


def attack(reader: str, file: Path) -> dict[str, Any]:
    """What the reader makes of the file, within bounds."""
    _bound()
    told: list[Issue] = []

    def whole(_: bytes) -> list[Issue]:
        try:
            told.extend(READERS[reader](file))
        except InputError as error:
            told.extend(error.issues)
        return told

    began = time.process_time()
    finding = judge(Reader(reader, whole, (file.name,), list, (), lambda *_: b""), b"")
    return {
        "finding": finding.text[-SHOWN:] if finding else "",
        "codes": [issue.code for issue in told],
        "messages": [issue.message()[:SHOWN] for issue in told[:20]],
        "longest": max((len(issue.message()) for issue in told), default=0),
        "seconds": time.process_time() - began,
        "mib": _status("VmHWM"),
    }


def _bound() -> None:
    address_mib = _status("VmSize") + MEMORY_MIB
    resource.setrlimit(resource.RLIMIT_AS, (int(address_mib * 2**20),) * 2)
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 1))
    socket.socket = socket.create_connection = socket.getaddrinfo = _no_network  # type: ignore[assignment,misc]


def _no_network(*_: Any, **__: Any) -> NoReturn:
    raise AssertionError("a socket was asked for")


def _status(key: str) -> float:
    """A size of this process in MiB, from /proc."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(float(line.split()[1]) / 1024 for line in lines if line.startswith(key + ":"))


def in_a_fork(reader: str, file: Path) -> dict[str, Any]:
    """The same in a child; a child that dies says how."""
    ours, theirs = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            os.close(ours)
            with os.fdopen(theirs, "w", encoding="utf-8") as out:
                json.dump(attack(reader, file), out)
        finally:
            os._exit(0)
    os.close(theirs)
    with os.fdopen(ours, encoding="utf-8") as said:
        text = said.read()
    _, status = os.waitpid(pid, 0)
    if not text:
        return {"finding": f"the process ended with status {status}", "codes": [], "messages": [], "longest": 0}
    answer: dict[str, Any] = json.loads(text)
    return answer


def main() -> None:
    warm = Path(sys.argv[1]) / "warm.xml"
    warm.write_bytes(seeds.landxml())
    assert not lots(warm), "the good file is read"
    for line in sys.stdin:
        case = json.loads(line)
        print(json.dumps({"name": case["name"], **in_a_fork(case["reader"], Path(case["file"]))}), flush=True)


if __name__ == "__main__":
    main()
