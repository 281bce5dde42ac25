"""Exit codes of the command, and the exceptions that carry them.

Inputs that can't be used raise `hazard.issues.InputError`, which both packages share; this module adds what only the
command knows: results that can't be written.
"""

from __future__ import annotations

OK = 0
FAULT = 1
INPUT = 2
EXCEPTIONS = 3
OUTPUT = 4
INTERRUPTED = 130


class OutputError(Exception):
    """The results can't be written where they were asked for. Earlier results stay as they were."""

    exit_code = OUTPUT


class FolderInUseError(OutputError):
    """Another run holds the output folder."""
