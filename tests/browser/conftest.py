"""A real browser for the pages that people look at: the Chromium of the system, without network, no download."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "screener"))  # made-up results live beside the report's own tests

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
OPTIONS = (
    "--no-sandbox",  # a build machine's root has no sandbox
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND",  # no name leads anywhere
)


def chromium() -> str | None:
    """The browser's path: CHROMIUM names it, else the first that is found."""
    named = os.environ.get("CHROMIUM")
    return named or next((found for name in BROWSERS if (found := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """A headless Chromium for the session; without one the test is skipped with the reason."""
    path = chromium()
    if path is None:
        pytest.skip("no Chromium on this machine: install the package chromium, or name one in CHROMIUM")
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=list(OPTIONS))
        yield opened
        opened.close()
