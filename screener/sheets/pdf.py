"""PDF of a page we wrote, through a headless browser of the machine where there is one; never without saying so."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

BROWSERS = ("chromium", "chromium-browser")
SECONDS = 600
_FLAGS = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
)


def browser() -> str | None:
    """The browser's program, None where the machine has none."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def print_pdf(page: Path, target: Path) -> str:
    """Print a page of ours to PDF; "" when done, else why not."""
    program = browser()
    if program is None:
        return "no PDF: chromium is not installed; print the HTML page from any browser instead"
    with tempfile.TemporaryDirectory() as scratch:
        made = Path(scratch) / "page.pdf"
        words = [program, *_FLAGS, *_as_root(), f"--user-data-dir={scratch}/profile", f"--print-to-pdf={made}"]
        try:
            subprocess.run([*words, page.absolute().as_uri()], capture_output=True, check=True, timeout=SECONDS)
            shutil.copyfile(made, target.with_name(f".{target.name}.part"))
            target.with_name(f".{target.name}.part").replace(target)
        except (OSError, subprocess.SubprocessError) as error:
            return f"no PDF: the browser failed ({type(error).__name__}); print the HTML page from any browser instead"
    return ""


def _as_root() -> tuple[str, ...]:
    """A browser run by the superuser refuses its own sandbox; our pages hold no script and fetch nothing."""
    import os

    return ("--no-sandbox",) if hasattr(os, "geteuid") and os.geteuid() == 0 else ()
