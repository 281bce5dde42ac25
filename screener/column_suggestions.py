"""Which columns of a lots file are likely ours under another name: told as a line to paste, never taken by itself."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

SUGGESTED = ("block", "phase", "status", "plan", "mirrored", "front_bearing_deg", "start")
"""Our columns, beside the id, that are looked for under other names."""

LONGEST_ID = 24
UNIQUE_SHARE = 0.95
SHORTEST_CUT = 8  # a shapefile cuts names to ten letters; eight are enough to know one again
MOST = 3

_NUMBER = re.compile(r"^-?\d+\.\d+$")
_BLOCK, _LOT, _GAP = r"(?:block|blk|bk)[\s.#:]*", r"(?:lot|lt)[\s.#:]*", r"[\s,;/_-]*"
_NAME = r"(\d+[a-z]?|[a-z]{1,2}\d*)"
_BLOCK_THEN_LOT = re.compile(
    rf"^{_BLOCK}{_NAME}{_GAP}{_LOT}{_NAME}$|^b{_GAP}(\d+[a-z]?){_GAP}l{_GAP}(\d+[a-z]?)$", re.I
)
_LOT_THEN_BLOCK = re.compile(
    rf"^{_LOT}{_NAME}{_GAP}{_BLOCK}{_NAME}$|^l{_GAP}(\d+[a-z]?){_GAP}b{_GAP}(\d+[a-z]?)$", re.I
)
_TWO_NUMBERS = re.compile(r"^(\d+)\s*[-/]\s*(\d+[a-z]?)$", re.I)


def block_and_lot(text: str) -> tuple[str, str] | None:
    """Block and lot of an id such as "BLK 3 LOT 12", "L12 B3" or "3-12"; None where it holds no two."""
    for pattern, turned in ((_BLOCK_THEN_LOT, False), (_TWO_NUMBERS, False), (_LOT_THEN_BLOCK, True)):
        match = pattern.match(text.strip())
        if match:
            first, second = (group.upper() for group in match.groups() if group is not None)
            return (second, first) if turned else (first, second)
    return None


def bare_number(text: str) -> str:
    """A block or lot without the word before it: "BLK 3" -> "3", "Lot 12A" -> "12A"."""
    match = re.match(rf"^(?:{_BLOCK}|{_LOT})(.+)$", text.strip(), re.I)
    return match[1].strip() if match else text.strip()


def likely(frame: pd.DataFrame, ours: str) -> list[str]:
    """The file's columns that may be one of ours, likeliest first: by name, and by what is in them."""
    found = [(rank, name) for name in _columns(frame) if (rank := _name_rank(ours, name)) is not None]
    return [name for _, name in sorted(found) if _may_hold(frame, name, ours)][:MOST]


def likely_ids(frame: pd.DataFrame, taken: Iterable[str] = ()) -> tuple[list[str], list[str]]:
    """Columns that may name the lots: those that are called so, and others short and different on every lot.

    `taken` are columns known to be something else.
    """
    called = [name for name in likely(frame, "lot_id") if name not in taken]
    known = {name for name in _columns(frame) for ours in SUGGESTED if _name_rank(ours, name) is not None}
    free = [name for name in _columns(frame) if name not in {*called, *known, *taken}]
    others = [name for name in free if _is_unique(_texts(frame[name]))]
    return called, others[:MOST]


def unique_together(frame: pd.DataFrame, first: str, second: str) -> bool:
    """Whether two columns, neither of which does alone, tell every lot from every other."""
    pairs = pd.DataFrame({"first": _texts(frame[first]), "second": _texts(frame[second])})
    alone = pairs["first"].duplicated().any() and pairs["second"].duplicated().any()
    return bool(alone and not pairs.duplicated().any() and (pairs["second"] != "").all())


def mapping_line(mapping: Mapping[str, str]) -> str:
    """A line for the project file: columns = { lot_id = "LOT_NO" }."""
    pairs = ", ".join(f"{ours} = {_quoted(theirs)}" for ours, theirs in mapping.items())
    return f"columns = {{ {pairs} }}"


def _quoted(name: str) -> str:
    """A TOML text."""
    shown = name.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub(r"[\x00-\x1f\x7f]", lambda m: f"\\u{ord(m[0]):04X}", shown) + '"'


# ---------------------------------------------------------------- names and contents


@cache
def _words() -> dict[str, tuple[str, ...]]:
    """Our name -> the names it goes by, likeliest first."""
    path = Path(__file__).parent / "reference" / "column_words.csv"
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if line and not line.startswith("#")]
    found: dict[str, list[str]] = {}
    for row in csv.DictReader(lines):
        found.setdefault(row["ours"], []).append(row["name"])
    return {ours: tuple(names) for ours, names in found.items()}


def _name_rank(ours: str, name: str) -> tuple[int, int] | None:
    """How well a name fits, the smaller the better; None for not at all."""
    bare = re.sub(r"[^a-z0-9]", "", name.casefold())
    for place, word in enumerate(_words().get(ours, ())):
        if bare == word:
            return 0, place
        if len(bare) >= SHORTEST_CUT and len(word) > len(bare) and word.startswith(bare):
            return 1, place
    return None


def _columns(frame: pd.DataFrame) -> Sequence[str]:
    geometry = getattr(frame, "_geometry_column_name", None)
    return [str(name) for name in frame.columns if name != geometry]


def _texts(values: pd.Series[Any]) -> NDArray[np.object_]:
    return np.array(["" if v is None or v != v else str(v).strip() for v in values.to_numpy(object)], dtype=object)


def _is_unique(texts: NDArray[np.object_]) -> bool:
    """Whether texts could be ids: short, hardly ever blank or repeated, and no measurements."""
    given = [text for text in texts if text]
    if len(given) < max(2, UNIQUE_SHARE * len(texts)) or max(map(len, given)) > LONGEST_ID:
        return False
    measured = sum(bool(_NUMBER.match(text)) and not text.endswith(".0") for text in given)
    return measured < 0.5 * len(given) and len(set(given)) >= UNIQUE_SHARE * len(given)


def _may_hold(frame: pd.DataFrame, name: str, ours: str) -> bool:
    """Whether a column's content allows what its name promises."""
    texts = [text for text in _texts(frame[name]) if text]
    if not texts:
        return False
    if ours == "front_bearing_deg":
        numbers = pd.to_numeric(pd.Series(texts), errors="coerce").to_numpy(float)
        return bool(np.mean((numbers >= 0) & (numbers <= 360)) >= 0.9)
    if ours in ("lot_id", "lot"):
        return max(map(len, texts)) <= 2 * LONGEST_ID
    return True
