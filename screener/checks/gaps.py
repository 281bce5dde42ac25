"""What is not verified: tables and values from memory, and features that no check from outside covers."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from importlib import resources

from screener.checks.published import published


@dataclass(frozen=True)
class Gap:
    """Something a reader must not take as verified."""

    what: str
    why: str


def features() -> list[Gap]:
    """Features without a check from outside."""
    return [Gap(row["feature"], row["why"]) for row in published("not_verified.csv")]


def from_memory() -> list[Gap]:
    """Reference tables whose source lines say that they, or some of their rows, are from memory."""
    found = []
    for package in ("hazard", "screener"):
        folder = resources.files(package).joinpath("reference")
        files = sorted((f for f in folder.iterdir() if f.name.endswith(".csv")), key=lambda f: f.name)
        for file in files:
            rows = _rows(file.read_text("utf-8"))
            if file.name.startswith("sources"):
                found += [_stated(row) for row in rows if "memory" in _tag(row)]
            elif rows and any(_tag(row) for row in rows):
                count = sum(_tag(row).startswith(("memory", "from memory")) for row in rows)
                found += [Gap(f"{file.name}, row by row", f"{count} of {len(rows)} rows from memory")] if count else []
    return found


def _tag(row: dict[str, str]) -> str:
    return (row.get("obtained") or row.get("tag") or "").strip()


def _stated(row: dict[str, str]) -> Gap:
    place = row.get("place") or row.get("table") or ""
    name = ": ".join(part for part in (f"{row['document']} {row['edition']}".strip(), place) if part)
    return Gap(name, f"{_tag(row)} ({row['file']})")


def _rows(text: str) -> list[dict[str, str]]:
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return [dict(row) for row in csv.DictReader(lines)]
