"""What a process that evaluates chunks must be like: one thread of each library, an allocator that keeps its memory.

The allocator matters more than it looks. glibc gives every temporary array above its trim threshold back to the system
and faults it in again. A distributed worker is launched with a threshold of 64 KiB, with which array code ran 5 to 10
times slower here; once any threshold is set, the one for mapped blocks stays at 128 KiB unless it is set too; and
threads other than the first use arenas of 64 MiB that are given back whole. Hence three settings, in the environment
before a process starts, or by ``mallopt`` afterwards (measured to do the same where the C library is glibc).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

TRIM_BYTES = 256 * 2**20
MMAP_BYTES = 64 * 2**20
LOW_TRIM_BYTES = 16 * 2**20
"""Below this a process that was told a threshold is called slow."""

ALLOCATOR = {
    "MALLOC_TRIM_THRESHOLD_": str(TRIM_BYTES),
    "MALLOC_MMAP_THRESHOLD_": str(MMAP_BYTES),
    "MALLOC_ARENA_MAX": "1",
}
ONE_THREAD = {
    "NUMBA_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "GDAL_NUM_THREADS": "1",
}
WORKER_ENVIRONMENT = {**ALLOCATOR, **ONE_THREAD}

_MALLOPT = {-1: TRIM_BYTES, -3: MMAP_BYTES, -8: 1}  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD, M_ARENA_MAX of malloc.h


@contextmanager
def environment(names: dict[str, str]) -> Iterator[None]:
    """Environment variables set while processes are started, then as they were."""
    before = {name: os.environ.get(name) for name in names}
    os.environ.update(names)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def keep_memory() -> bool:
    """Raise the allocator's thresholds of this process; False where the C library has no ``mallopt`` or refuses."""
    import ctypes

    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):  # not glibc, or not a system that can open itself
        return False
    return all(mallopt(ctypes.c_int(name), ctypes.c_int(value)) == 1 for name, value in _MALLOPT.items())


def one_numba_thread() -> int:
    """Let this thread's compiled loops use one core, and GDAL one thread; returns how many they used before."""
    import numba

    os.environ.setdefault("GDAL_NUM_THREADS", "1")
    before: int = numba.get_num_threads()
    numba.set_num_threads(1)
    return before


def slow_allocator(environ: dict[str, str]) -> str:
    """Why a process with these ``MALLOC_`` variables is slow with arrays; "" where nothing says so."""
    trim, mapped = environ.get("MALLOC_TRIM_THRESHOLD_", ""), environ.get("MALLOC_MMAP_THRESHOLD_", "")
    if trim.isdigit() and int(trim) < LOW_TRIM_BYTES:
        return f"MALLOC_TRIM_THRESHOLD_ is {int(trim):,} bytes"
    if trim.isdigit() and not mapped:
        return "MALLOC_MMAP_THRESHOLD_ is not set, so it stays at 128 KiB"
    if mapped.isdigit() and int(mapped) < LOW_TRIM_BYTES:
        return f"MALLOC_MMAP_THRESHOLD_ is {int(mapped):,} bytes"
    return ""
