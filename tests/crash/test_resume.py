"""A killed run goes on from the parts that it had finished, and its results are those of a run that nothing stopped."""

from __future__ import annotations

import json
import os
import shutil
import signal
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from crash_helpers import Made, command, ended, in_fork
from damaged_project import Project
from tract_helpers import cut, write_tract

from hazard.issues import Issue, Issues
from screener.files.kept_parts import KeptParts
from screener.files.plain_values import NotPlainError, from_bytes, to_bytes
from tests.crash.small_project import checksums, hidden_names

ABOUT = {"run_id": "r1", "work": "w1", "versions": {"numpy": "2"}}


@dataclass(frozen=True)
class Pair:
    """A data class as results hold them."""

    name: str
    values: np.ndarray


# --- the whole run ----------------------------------------------------------------------------------------------------


def two_lots(folder: Path) -> Path:
    """With every band, so that each lever is worked out."""
    made = Project(folder)
    made.changes["tiers.tolerance"] = {"wind": 0.05, "kzt": 0.05, "rough_share": 0.0, "price": 0.1}
    return made.write()


def two_lots_of_ground(folder: Path) -> Path:
    """With the sample's land cover and terrain."""
    return write_tract(folder, cut(("A-02", "A-44")))


@pytest.mark.parametrize(
    ("job", "project", "parts"),
    [
        ("run", two_lots, ("packages", "forcing lots", "tolerance")),
        pytest.param("hazards", two_lots_of_ground, ("fetch of the ground", "terrain"), marks=pytest.mark.long),
    ],
)
def test_killed_after_each_part_and_resumed_it_gives_the_same_bytes(
    job: str, project: Any, parts: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command is killed as soon as a part is kept, resumed, killed after the next ... and at last left alone.
    Nothing is made twice."""
    broken = project(tmp_path / "broken")
    shutil.copytree(broken.parent, tmp_path / "whole")
    words = (job, broken, "--quiet", "--allow-exceptions")
    assert ended(in_fork(lambda: command(job, tmp_path / "whole" / "tract.toml", *words[2:])[0])) == 0
    real = KeptParts._write
    made_by = tmp_path / "made"

    def note_and_die(self: KeptParts, name: str, content: bytes) -> None:
        real(self, name, content)
        with made_by.open("a") as file:
            file.write(f"{name}\n")
        os.kill(os.getpid(), signal.SIGKILL)

    output = "results" if job == "run" else "results-hazards"
    with monkeypatch.context() as patch:
        patch.setattr(KeptParts, "_write", note_and_die)
        for number in range(1, len(parts) + 1):
            assert ended(in_fork(lambda: command(*words, "--resume")[0])) == -signal.SIGKILL
            assert made_by.read_text().split("\n")[:-1] == list(parts[:number]), "a part is made once"
            assert not (broken.parent / output).exists()
    assert ended(in_fork(lambda: command(*words, "--resume")[0])) == 0
    assert checksums(broken.parent / output) == checksums(tmp_path / "whole" / output)
    assert not hidden_names(broken.parent / output)


def test_parts_go_when_the_run_is_published_or_its_inputs_are_bad(made: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    assert made.run()[0] == 0
    assert hidden_names(made.output) == []

    def fail(*_: Any, **__: Any) -> Any:
        raise ZeroDivisionError("oh")

    monkeypatch.setattr("screener.pipeline.screen", fail)
    assert made.run()[0] == 1
    assert hidden_names(made.output) == []


def test_parts_of_other_inputs_are_not_taken_up(made: Made) -> None:
    old = made.runs / ".resume-0123"
    old.mkdir()
    (old / "journal.jsonl").write_text("what is this\n")
    code, said = made.run("--resume")
    assert code == 0
    assert "starting from the beginning" in said
    assert made.there() == "new"
    assert hidden_names(made.output) == []


# --- the parts --------------------------------------------------------------------------------------------------------


def kept(folder: Path, resume: bool = True, about: dict[str, Any] = ABOUT) -> KeptParts:
    parts = KeptParts(folder / ".resume-r1", about)
    parts.open(resume)
    return parts


def test_a_part_is_made_once_and_its_issues_come_again(tmp_path: Path) -> None:
    issues = Issues()

    def make() -> Pair:
        issues.add("odd", "note", "there", "a thing")
        return Pair("a", np.array([[1.0, np.nan], [np.inf, -0.0]]))

    first = kept(tmp_path)("Some part", make, (Pair,), issues)
    again = Issues([Issue("earlier", "note", "", "")])
    parts = kept(tmp_path)
    second = parts("Some part", pytest.fail, (Pair,), again)  # type: ignore[arg-type]
    assert parts.reused == ["Some part"]
    assert first.values.tobytes() == second.values.tobytes()
    assert [i.code for i in again] == ["earlier", "odd"]
    assert len(issues) == 1


@pytest.mark.parametrize("damage", ["byte", "cut", "gone", "swapped", "journal"])
def test_a_damaged_part_is_made_again(tmp_path: Path, damage: str) -> None:
    parts = kept(tmp_path)
    for name in ("one", "two"):
        parts(name, lambda name=name: [name] * 100)  # type: ignore[misc]
    file, other = (parts.folder / f"{name}.npz" for name in ("one", "two"))
    content = file.read_bytes()
    if damage == "byte":
        file.write_bytes(content[:50] + bytes([content[50] ^ 1]) + content[51:])
    elif damage == "cut":
        file.write_bytes(content[:-1])
    elif damage == "gone":
        file.unlink()
    elif damage == "swapped":
        file.write_bytes(other.read_bytes())
    else:
        journal = parts.folder / "journal.jsonl"
        journal.write_bytes(journal.read_bytes().replace(b'"one"', b'"onf"'))
    again = kept(tmp_path)
    assert again("one", lambda: ["new"]) == ["new"]
    assert again.reused == []


def test_other_versions_or_no_resume_begin_anew(tmp_path: Path) -> None:
    for resume, about in ((True, {**ABOUT, "versions": {"numpy": "3"}}), (False, ABOUT)):
        kept(tmp_path)("one", lambda: 1)
        parts = kept(tmp_path, resume, about)
        assert parts("one", lambda: 2) == 2
        parts.remove()


def test_where_nothing_can_be_kept_the_run_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    parts = kept(tmp_path)
    parts("one", lambda: 1)
    calls = []

    def full(descriptor: int) -> None:
        calls.append(descriptor)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    assert parts("two", lambda: 2) == 2
    assert parts("three", lambda: 3) == 3
    assert len(calls) == 1, "a flush that failed is not tried again, and nothing is kept from there on"
    assert not parts.folder.exists()


# --- values as bytes --------------------------------------------------------------------------------------------------


def test_values_come_back_as_they_were() -> None:
    shared = Pair("s", np.arange(3))
    value = {
        "floats": [0.1, float("nan"), float("inf"), -0.0, 1e-320],
        "array": np.arange(6, dtype=np.int16).reshape(2, 3).T,
        "texts": np.array(["B", "?"]),
        "scalar": np.int64(7),
        "both": (shared, shared, None, True, "é\u2028"),
        3: [],
    }
    back = from_bytes(to_bytes(value, (Pair,)), (Pair,))
    assert repr(back["floats"]) == repr(value["floats"])
    assert back["array"].dtype == np.int16
    assert back["array"].tolist() == value["array"].tolist()  # type: ignore[attr-defined]
    assert type(back["scalar"]) is np.int64
    assert back["both"][0] is back["both"][1]
    assert back["both"][2:] == (None, True, "é\u2028")
    assert list(back) == list(value)


@pytest.mark.parametrize("value", [{1, 2}, object(), np.array([object()]), Pair("x", np.zeros(1)), len])
def test_what_is_not_plain_is_refused(value: Any) -> None:
    with pytest.raises(NotPlainError, match="can't be kept"):
        to_bytes(value)


def test_bytes_that_name_other_classes_build_nothing() -> None:
    content = to_bytes(Pair("x", np.zeros(1)), (Pair,))
    with pytest.raises(NotPlainError):
        from_bytes(content, ())
    with pytest.raises(NotPlainError):
        from_bytes(b"not at all")


def test_nothing_is_unpickled(tmp_path: Path) -> None:
    """An array file with a pickled object inside is refused, not run."""
    path = tmp_path / "bad.npz"
    tree = np.frombuffer(json.dumps({"array": 0}).encode(), dtype=np.uint8)
    np.savez(path, tree=tree, a0=np.array([{"x": 1}], dtype=object))
    with pytest.raises(NotPlainError, match="allow_pickle"):
        from_bytes(path.read_bytes())
