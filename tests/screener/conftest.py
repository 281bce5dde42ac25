"""Runs that several test modules look at, made once: the whole sample through the command, a small tract in memory."""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path

import pytest
from tract_helpers import SampleRun, Screened, screened, write_tract

from screener.cli.main import run
from screener.sample import write_sample


@pytest.fixture(scope="session")
def sample_run(tmp_path_factory: pytest.TempPathFactory) -> SampleRun:
    """The sample tract, written and run by the command as a user does it; once, also with several test processes."""
    base = tmp_path_factory.getbasetemp()
    root = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "sample_run"
    root.mkdir(exist_ok=True)
    note = root / "said.json"
    with _alone(root):
        if not note.exists():
            write_sample(root / "sample")
            out, err = StringIO(), StringIO()
            with redirect_stdout(out), redirect_stderr(err):
                code = run(["run", str(root / "sample" / "tract.toml"), "--allow-exceptions"])
            note.write_text(json.dumps({"code": code, "out": out.getvalue(), "err": err.getvalue()}))
    said = json.loads(note.read_text())
    return SampleRun(root / "sample", said["code"], said["out"], said["err"])


@contextmanager
def _alone(root: Path) -> Iterator[None]:
    with (root / "lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


@pytest.fixture(scope="session")
def twelve(tmp_path_factory: pytest.TempPathFactory) -> Screened:
    """Twelve lots of the sample, at most two packages, in memory."""
    return screened(write_tract(tmp_path_factory.mktemp("twelve")))
