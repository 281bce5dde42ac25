"""What a damaged project may do, whatever the damage: the rules, and the two calls that they judge."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import Any

from tests.corruption.damage import damaged
from tests.corruption.projects import PROJECTS

CODES = (0, 2, 3)
RESULTS = ("results", ".results-runs")


def made(folder: Path, project: str, seed: int) -> list[str]:
    """The good project in `folder`, then damaged; what was done. A seed below 0 leaves it good."""
    shutil.rmtree(folder, ignore_errors=True)
    PROJECTS[project](folder)
    return damaged(folder, seed) if seed >= 0 else []


def both_calls(folder: Path) -> list[tuple[int, str, str]]:
    """`screener check --json` and `screener run`, in this process."""
    from tract_helpers import command

    file = folder / "tract.toml"
    return [command("check", file, "--json"), command("run", file, "--quiet", "--workers", "1")]


def faults(folder: Path, done: list[str], calls: list[Any], before: list[str]) -> list[str]:
    """Every rule that the two calls broke; empty where all hold."""
    found = []
    (check, check_out, check_err), (run, out, err) = calls
    for name, code, text in (("check", check, check_out + check_err), ("run", run, out + err)):
        if code not in CODES:
            found.append(f"{name} ended with {code}")
        if "Traceback (most recent call last)" in text:
            found.append(f"{name} shows a traceback")
    if (check == 2) != (run == 2):
        found.append(f"check ended with {check}, run with {run}")
    if run == 2 and not names_a_file(err, done):
        found.append("the message names no damaged file")
    after = listing(folder)
    if run == 2 and after != before:
        found.append(f"a run that stops left {sorted(set(after) ^ set(before))[:5]}")
    if run in (0, 3):
        found += _whole(folder)
    try:
        json.loads(check_out)
    except ValueError:
        found.append("check --json printed no JSON")
    return found


def names_a_file(text: str, done: list[str]) -> bool:
    """Whether a message names one of the files that were damaged; "project file" is a name of tract.toml."""
    names = {Path(each.split(": ")[0]).name for each in done}
    return any(name in text for name in names) or ("tract.toml" in names and "project file" in text)


def listing(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))


def _whole(folder: Path) -> list[str]:
    from screener.files.manifest import is_complete

    places = sorted(p.parent for p in folder.rglob("run.json") if not p.is_symlink())
    if not places:
        return ["finished, but there are no results"]
    return [] if all(is_complete(p) for p in places) else ["the results are not whole"]


def work(requests: Any, answers: Any, most_bytes: int) -> None:
    """A worker: takes (folder, project, seed) lines, writes one JSON line of what it saw."""
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
    os.environ["NUMBA_NUM_THREADS"] = "1"
    for line in requests:
        folder, project, seed = json.loads(line)
        done = made(Path(folder), project, seed)
        before = listing(Path(folder))
        try:
            calls = both_calls(Path(folder))
            seen = faults(Path(folder), done, calls, before)
            codes = [call[0] for call in calls]
            texts = [call[1][-3000:] + call[2][-3000:] for call in calls]
        except BaseException as error:  # what even the command lets through is what we look for
            seen, codes, texts = [f"{type(error).__name__}: {error} came through"], [None, None], ["", ""]
        answers.write(json.dumps({"done": done, "faults": seen, "codes": codes, "texts": texts if seen else []}) + "\n")
        answers.flush()
