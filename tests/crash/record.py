"""Keeps the last result of each long crash check in one page, with date and machine."""

from __future__ import annotations

import os
import platform
import re
from datetime import UTC, datetime
from pathlib import Path

PAGE = Path(__file__).parents[1] / "benchmarks" / "results_crash.md"
HEAD = (
    "# Kills, faults and many runs: last results\n\n"
    "Written by the commands named below, but for what is marked as noted by hand.\n"
)


def keep_section(title: str, command: str, lines: list[str]) -> None:
    """Replace the section of this title, or add it."""
    page = PAGE.read_text(encoding="utf-8") if PAGE.exists() else HEAD
    body = f"## {title}\n\n`{command}`, {datetime.now(UTC):%Y-%m-%d}, {machine()}.\n\n" + "\n".join(lines) + "\n"
    old = re.compile(rf"## {re.escape(title)}\n.*?(?=\n## |\Z)", re.DOTALL)
    if old.search(page):
        page = old.sub(lambda _: body, page)
    else:
        page = page.rstrip("\n") + "\n\n" + body
    PAGE.write_text(page, encoding="utf-8")


def machine() -> str:
    """Processors, system and Python, without a name."""
    return (
        f"{os.cpu_count()} shared cores, {platform.system()} {platform.machine()}, Python {platform.python_version()}"
    )
