"""Projects corrupted at random end as they must; what the long run (`run.py`) once found is kept here as its own case.

Seeds are fixed: the same damage every time. The long run takes thousands of other seeds.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.corruption.damage import BYTE_DAMAGES, TEXT_DAMAGES, damaged
from tests.corruption.judge import both_calls, faults, listing, made
from tests.corruption.projects import PROJECTS

EXAMPLES = [("plain", seed) for seed in range(10)] + [("rich", seed) for seed in range(4)]


@pytest.mark.parametrize(("project", "seed"), EXAMPLES)
def test_a_corrupted_project_ends_as_it_must(tmp_path: Path, project: str, seed: int) -> None:
    folder = tmp_path / "p"
    done = made(folder, project, seed)
    before = listing(folder)
    assert faults(folder, done, both_calls(folder), before) == [], done


def test_damage_is_the_same_for_the_same_seed(tmp_path: Path) -> None:
    contents = []
    for name in ("a", "b"):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "x.toml").write_text('a = 1\nb = "two"\nc = 3.5\n' * 20)
        (folder / "x.tif").write_bytes(bytes(range(256)) * 8)
        done = [damaged(folder, seed) for seed in range(40)]
        contents.append((done, [f.read_bytes() for f in sorted(folder.iterdir())]))
    assert contents[0] == contents[1]
    assert {line.partition(": ")[2] for each in contents[0][0] for line in each} == {
        kind.__name__ for kind in (*TEXT_DAMAGES, *BYTE_DAMAGES)
    }


def test_the_judge_sees_what_is_wrong(tmp_path: Path) -> None:
    """Each rule broken once."""
    good = [(0, "{}", ""), (2, "", "stop a.csv: x")]
    assert faults(tmp_path, ["a.csv: cut_off"], good, []) == ["check ended with 0, run with 2"]
    crash = [(0, "{}", ""), (1, "", "Traceback (most recent call last):\n")]
    assert faults(tmp_path, ["a.csv: cut_off"], crash, []) == ["run ended with 1", "run shows a traceback"]
    silent = [(2, "{}", ""), (2, "", "stop: something")]
    assert faults(tmp_path, ["a.csv: cut_off"], silent, []) == ["the message names no damaged file"]
    left = [(2, "{}", ""), (2, "", "stop a.csv: x")]
    assert faults(tmp_path, ["a.csv: cut_off"], left, ["a.csv"]) == ["a run that stops left ['a.csv']"]
    done = [(0, "no json", ""), (0, "", "")]
    found = faults(tmp_path, [], done, [])
    assert found == ["finished, but there are no results", "check --json printed no JSON"]


# ---------------------------------------------------------------- found by the long run


def _without_family(folder: Path, family: str) -> None:
    file = folder / "hardware.csv"
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if f",{family}," not in line]
    assert len(kept) < len(lines)
    file.write_text("".join(kept), encoding="utf-8")


@pytest.mark.parametrize("family", ["truss_tie", "hold_down"])
def test_a_kept_package_beside_a_list_without_any_item_for_one_of_its_lines(tmp_path: Path, family: str) -> None:
    """Was an IndexError: a line with no option at all, and a lot that keeps a package."""
    folder = tmp_path / "p"
    PROJECTS["rich"](folder)
    _without_family(folder, family)
    before = listing(folder)
    calls = both_calls(folder)
    assert faults(folder, ["hardware.csv: family gone"], calls, before) == []
    assert calls[1][0] == 3


def test_a_database_whose_faults_quote_bytes_that_are_no_text(tmp_path: Path) -> None:
    """Was a UnicodeDecodeError: the database library's own message quotes the damaged place."""
    folder = tmp_path / "p"
    PROJECTS["plain"](folder)
    file = folder / "lots.gpkg"
    content = file.read_bytes()
    at = content.index(b"NOT NULL", content.index(b"CREATE TABLE gpkg_tile_matrix_set"))
    file.write_bytes(content[: at + 5] + b"\xd5" + content[at + 6 :])
    before = listing(folder)
    calls = both_calls(folder)
    assert faults(folder, ["lots.gpkg: schema"], calls, before) == []
    assert [code for code, *_ in calls] == [2, 2]
    assert "lots.gpkg" in calls[1][2]
