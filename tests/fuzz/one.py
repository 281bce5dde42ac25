"""Fuzz one reader in this process until the time is over: `python -m tests.fuzz.one NAME STORE SECONDS SEED`.

Started by `tests.fuzz.run`. Needs atheris. A finding is kept and the fuzzer goes on, so that one fault does not hide
another; a hang, a crash of the process or too much memory ends it, and libFuzzer keeps the input.
"""

from __future__ import annotations

import hashlib
import importlib
import logging
import sys
import time
import warnings
from pathlib import Path

import atheris

from tests.fuzz.harness import MEMORY_MIB, SECONDS, Finding, Reader, corpus, judge
from tests.fuzz.readers import reader, warm

# Imported late by the readers themselves: they must be watched too.
LATE = (
    *(f"screener.files.{name}" for name in ("dxf", "landxml", "lot_points", "parquet", "workbook_cells")),
    *("screener.streets", "screener.lot_edges"),
)
PATIENCE = 8  # seconds by the clock to one of processor time: other work may run on the machine
LARGEST_BYTES = {"lots": 20_000, "portfolio": 20_000}


def keep(store: Path, data: bytes, finding: Finding) -> None:
    """The smallest input of each kind of finding, with what was said."""
    name = hashlib.sha256(finding.key.encode()).hexdigest()[:12]
    file = store / "findings" / name
    if not file.exists() or file.stat().st_size > len(data):
        file.write_bytes(data)
        file.with_suffix(".txt").write_text(f"{finding.key}\n\n{finding.text}\n", encoding="utf-8")


def write_dictionary(file: Path, words: tuple[bytes, ...]) -> None:
    lines = ("".join(f"\\x{byte:02x}" for byte in word) for word in dict.fromkeys(words) if 0 < len(word) <= 60)
    file.write_text("".join(f'"{line}"\n' for line in lines), encoding="ascii")


def prepare(store: Path, target: Reader) -> None:
    """Folders, seeds, kept inputs and the dictionary."""
    for name in ("corpus", "findings", "artifacts"):
        (store / name).mkdir(parents=True, exist_ok=True)
    for data in [*target.seeds(), *(file.read_bytes() for file in corpus(target.name))]:
        (store / "corpus" / hashlib.sha1(data).hexdigest()).write_bytes(data)
    write_dictionary(store / "words", target.words)


def main() -> None:
    name, store, seconds, seed = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
    with atheris.instrument_imports(include=["screener", "hazard", "tomllib"]):
        target = reader(name)
        for late in LATE:
            importlib.import_module(late)
    prepare(store, target)
    warm(target)
    warnings.simplefilter("ignore")
    logging.disable(logging.CRITICAL)

    def one_input(data: bytes) -> None:
        began = time.process_time()
        finding = judge(target, data)
        seconds = time.process_time() - began
        if seconds > SECONDS:
            finding = Finding("slow", f"{seconds:.1f} s of processor time")
        if finding is not None:
            keep(store, data, finding)

    def mutate(data: bytes, largest: int, number: int) -> bytes:
        return target.mutate(bytes(data), largest, number, atheris.Mutate)

    options = {
        "max_total_time": seconds,
        "timeout": SECONDS * PATIENCE,
        "rss_limit_mb": MEMORY_MIB,
        "max_len": LARGEST_BYTES.get(name, 8192),
        "artifact_prefix": f"{store / 'artifacts'}/",
        "dict": store / "words",
        "seed": seed,
        "print_final_stats": 1,
        "report_slow_units": SECONDS,
        "reload": 0,
        "len_control": 0,
    }
    arguments = [sys.argv[0], *(f"-{key}={value}" for key, value in options.items()), str(store / "corpus")]
    atheris.Setup(arguments, one_input, custom_mutator=mutate)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
