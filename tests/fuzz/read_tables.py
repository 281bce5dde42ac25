"""The tables that come as CSV or XLSX.

First byte: 0 hardware and price list, 1 class table, 2 packages kept, 3 counts, 4 counts in a workbook.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

from hazard.issues import Issue, Issues
from hazard.land_cover import read_roughness_table
from screener.count_lists import NUMBERS, read_counts
from screener.hardware import read_hardware
from screener.hardware_columns import COLUMNS
from screener.packages import read_kept_packages
from screener.price_list import of_hardware
from tests.fuzz import mutators, seeds
from tests.fuzz.harness import Reader, folder, one_in

PACKAGES = b"""tier,schedule,item,arrangement,note
T1,truss_tie,truss tie light,1,
T1,hold_down,hold-down medium,"1",x
T2,truss_tie,"tie, heavy",2,
"""
COUNTS = b"""item,quantity,boxes,plan,phase,lot,bought,used,returned
truss tie light,1200,6,anvil,1,A-01,1300,1200,100
"10d common, bright",25,,,,,,,
"""


@cache
def place() -> Path:
    return folder("tables")


def read(data: bytes) -> Iterable[Issue]:
    """One of the tables, as the commands read it."""
    file = place() / "table.csv"
    file.write_bytes(data[1:])
    match data[0] % 5 if data else 0:
        case 0:
            hardware, issues = read_hardware(file)
            if one_in(8, data):
                of_hardware(hardware).frame()
            return issues.stops()
        case 1:
            read_roughness_table(file).look_up([11, -1, 2**40])  # type: ignore[arg-type]
        case 2:
            tract = SimpleNamespace(tiers=SimpleNamespace(kept=file), shown=lambda path: path.name)
            packages = read_kept_packages(cast(Any, tract), Issues())
            for lines in packages.values():
                assert all(isinstance(text, str) for pair in lines.values() for text in pair), packages
        case 3:
            read_counts(file, NUMBERS)
        case _:
            book = place() / "table.xlsx"
            book.write_bytes(data[1:])
            read_counts(book, NUMBERS)
    return []


def _hardware_seeds() -> list[bytes]:
    lines = [line for line in seeds.sample("hardware.csv").splitlines() if not line.startswith(b"#")]
    at = lines[0].split(b",").index(b"accessory")
    alone = [line for line in lines[1:] if len(line.split(b",")) <= at or not line.split(b",")[at]]
    return [b"\n".join([lines[0], *alone[i : i + 2]]) + b"\n" for i in range(0, len(alone), 6)]


def _seeds_of(kind: int) -> list[bytes]:
    match kind:
        case 0:
            return _hardware_seeds()
        case 1:
            return [seeds.rows("classes.csv", 4), b"code,roughness,rule\n21,C,houses\n11,D,\n95,unknown,\n"]
        case 2:
            return [PACKAGES]
        case 4:
            return [workbook()]
        case _:
            return [COUNTS, b"Item,Qty\nnail,5\n"]


@cache
def workbook() -> bytes:
    """The counts as a workbook, its members unpacked, so that a mutation changes cells and not only checksums."""
    from openpyxl import Workbook

    book, file, plain = Workbook(), io.BytesIO(), io.BytesIO()
    for row in (["item", "quantity"], ["nail", 5], ["tie", 7]):
        book.active.append(row)
    book.save(file)
    with zipfile.ZipFile(file) as packed, zipfile.ZipFile(plain, "w", zipfile.ZIP_STORED) as stored:
        for member in packed.infolist():
            if "theme" not in member.filename:
                stored.writestr(zipfile.ZipInfo(member.filename), packed.read(member))
    return plain.getvalue()


def _seeds() -> list[bytes]:
    return [bytes([kind]) + seed for kind in range(5) for seed in _seeds_of(kind)]


_NAMES = [column.name for column in COLUMNS] + [choice for column in COLUMNS for choice in column.choices]
WORDS = (*mutators.words("tables"), *(name.encode() for name in _NAMES))
READER = Reader(
    "tables",
    read,
    ("table.csv", "table.xlsx"),
    _seeds,
    WORDS,
    mutators.tagged([mutators.of_text(WORDS, cache(lambda kind=kind: _seeds_of(kind))) for kind in range(4)] + [None]),
)
