"""Reports for people: one page for the tract, and a map as a picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

REPORT = "report.html"


def files(results: Any, manifest: Mapping[str, Any]) -> dict[str, Callable[[Path], None]]:
    """Files that a run adds to its results: name -> writer."""
    from screener.report.html import write_report_of_manifest

    return {REPORT: lambda path: write_report_of_manifest(path, results, manifest)}
