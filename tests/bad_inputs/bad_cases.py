"""Carries out a row of the table of bad inputs: a good project is damaged, checked and run."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from case_table import Case, cases
from damaged_project import Project
from tract_helpers import command

Damage = Callable[[Project], None]
LATER_ROWS = tuple("bcdefghijklmnopqrstuvwxyz")
"""Rows of a case after its first: `check` alone, since `run` stops by the same reading; the suite's time is bounded."""


def rows_to_do(letter: str) -> list[Any]:
    """Rows of one table that a damaged project shows. The third and later ones of a case are for `make long`."""
    rows = [case for case in cases(letter) if not case.test]
    return [pytest.param(c, id=c.id, marks=[pytest.mark.long] if c.id[-1] in LATER_ROWS[1:] else []) for c in rows]


def run_case(case: Case, damage: Damage, folder: Path) -> None:
    """Damage a good project, check and run it, and compare what is said and done with the row."""
    project = Project(folder / "p")
    damage(project)
    file = project.write()
    before = _files(project.folder)
    code, out, err = command("check", file, "--json")
    assert "Traceback" not in out + err
    told = json.loads(out)
    assert code == int(case.exit), (case, out, err)
    if case.code:
        _said(case, told["issues"])
    assert _files(project.folder) == before, "check writes nothing"
    if case.does == "stop" and not case.id.endswith(LATER_ROWS):
        code, out, err = command("run", file)
        assert code == 2, (code, out, err)
        assert out == ""
        assert _files(project.folder) == before, "a run that stops writes nothing"
        assert all(word in err for word in _words(case)), (case, err)


def _said(case: Case, issues: list[dict[str, str]]) -> None:
    found = [i for i in issues if i["code"] == case.code]
    assert found, (case, issues)
    fitting = [
        i
        for i in found
        if i["severity"] == case.does
        and case.where in i["where"]
        and all(word in f"{i['where']}: {i['found']}; expected {i['expected']}; {i['done']}" for word in _words(case))
    ]
    assert fitting, (case, found)


def _words(case: Case) -> list[str]:
    return [word for word in case.words.split("|") if word]


def _files(folder: Path) -> list[tuple[str, int]]:
    return sorted((str(p.relative_to(folder)), p.stat().st_size) for p in folder.rglob("*") if p.is_file())
