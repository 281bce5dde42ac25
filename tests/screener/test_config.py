"""The project file: every fault is found, said in its author's words, and all are said at once."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from project_helpers import grid, project, write_project

from hazard.issues import InputError, Issues
from screener.config import load_tract, read_tract
from screener.config_faults import nearest


def faults(folder: Path, **options: str) -> list[str]:
    """Messages of the stops that a project gives."""
    issues = Issues()
    read_tract(write_project(folder, grid(), **options), issues)
    return [issue.message() for issue in issues.stops()]


def edited(folder: Path, old: str, new: str) -> list[str]:
    """Messages after one edit of a good project file."""
    path = write_project(folder, grid())
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    issues = Issues()
    read_tract(path, issues)
    return [issue.message() for issue in issues.stops()]


def test_a_good_project_loads_with_absolute_paths_and_defaults(tmp_path: Path) -> None:
    tract = project(tmp_path, grid())
    assert tract.lots.file == tmp_path / "lots.gpkg"
    assert tract.output.folder == tmp_path / "results"
    assert (tract.design.loads, tract.design.method, tract.design.wind_procedure) == ("ASCE 7-16", "ASD", "envelope")
    assert (tract.tiers.most, tract.purchase.order_level, tract.tract.ground_state) == (4, "phase", "worst")


def test_relative_paths_start_from_the_file_and_not_from_where_we_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_project(tmp_path / "deep" / "down", grid())
    monkeypatch.chdir(tmp_path)
    assert load_tract(os.path.relpath(path)).lots.file == tmp_path / "deep" / "down" / "lots.gpkg"


def test_settings_and_defaults_show_no_machine_path(tmp_path: Path) -> None:
    tract = project(tmp_path, grid())
    shown = str(tract.settings()) + str(tract.defaults_taken())
    assert str(tmp_path) not in shown
    assert tract.settings()["lots"]["file"] == "lots.gpkg"
    assert tract.defaults_taken()["design.method"] == "ASD"
    assert "purchase.labour_usd_per_h" not in tract.defaults_taken()


def test_a_project_is_frozen(tmp_path: Path) -> None:
    tract = project(tmp_path, grid())
    with pytest.raises(ValueError, match="frozen"):
        tract.tiers.most = 3  # type: ignore[misc]


# O1: unknown keys, wrong types
@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('folder = "results"', 'foldr = "results"', ["[output]: unknown key foldr; expected folder (the nearest"]),
        ("[purchase]", "[purchases]", ["unknown table [purchases]; expected [purchase] (the nearest"]),
        ("[purchase]", "[purchase]\nwaste = 1.5", ["[purchase] waste: 1.5; expected at most 1"]),
        ("[purchase]", '[purchase]\nwaste = "5%"', ["[purchase] waste: '5%'; expected a number"]),
        ("[purchase]", "[purchase]\nwaste = nan", ["[purchase] waste: nan; expected a number"]),
        ("[purchase]", '[purchase]\norder_level = "week"', ['expected "phase", "drop" or "house"']),
        ("[tract]", '[tract]\nground_state = "later"', ['[tract] ground_state: "later"; expected one of "worst"']),
        ("[tract]", "[tiers]\nmost = 0\n[tract]", ["[tiers] most: 0; expected at least 1"]),
        ("{ value = 115 }", '{ value = 115, file = "lots.gpkg" }', ["file and value; expected exactly one of"]),
        ("{ value = 115 }", "{ }", ["none of file, value, column; expected exactly one of"]),
        ("{ value = 115 }", '{ value = "115" }', ["[hazards] wind_speed_mph.value: '115'; expected a number"]),
        ('{ value = "C" }', "{ value = 3 }", ["[hazards] exposure.value: 3.0; expected a text"]),
        ('exposure = { value = "C" }', "", ["neither land_cover nor exposure"]),
        ("kzt = { value = 1.0 }", "", ["neither elevation_ft nor kzt"]),
        ("s1_g = { value = 0.2 }", "", ["ASCE 7-16 without s1_g; expected ss_g, s1_g, or sds_g and sd1_g"]),
        ("[tract]", '[design]\nloads = "ASCE 7-22"\n[tract]', ["ASCE 7-22 without sms_g, sm1_g; expected sms_g"]),
        ("[tract]", '[design]\nloads = "ASCE 7-10"\n[tract]', ['expected "ASCE 7-16" or "ASCE 7-22"']),
        ("[purchase]", "[purchase]\nplan_mix = { thimble = 0.5, kettle = 0.4 }", ["shares sum to 0.9; expected a sum"]),
        (
            'file = "lots.gpkg"',
            'file = "lots.gpkg"\ncolumns = { lotid = "LOT" }',
            ["unknown name lotid; expected lot_id"],
        ),
        ('file = "lots.gpkg"', 'file = "lots.gpk"', ["expected a file at lots.gpk; did you mean lots.gpkg?"]),
        ('folder = "plans"', 'folder = "hardware.csv"', ["hardware.csv is a file; expected a folder with one TOML"]),
        ('file = "hardware.csv"', 'file = "plans"', ["plans is a folder; expected a file"]),
    ],
)
def test_faults_are_named_with_what_would_be_right(tmp_path: Path, old: str, new: str, words: list[str]) -> None:
    found = edited(tmp_path, old, new)
    for text in words:
        assert any(text in message for message in found), found


# L48, R30: nothing is fetched
@pytest.mark.parametrize("name", ["https://example.org/lots.gpkg", "/vsicurl/http://example.org/x", "s3://a/b"])
def test_remote_names_are_refused(tmp_path: Path, name: str) -> None:
    found = edited(tmp_path, 'file = "lots.gpkg"', f'file = "{name}"')
    assert any("expected a local file; nothing is fetched from elsewhere" in message for message in found), found


def test_a_virtual_file_that_points_elsewhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / "lots.vrt").write_text("<OGRVRTDataSource/>")
    found = edited(tmp_path, 'file = "lots.gpkg"', 'file = "lots.vrt"')
    assert any("points at other files" in message for message in found), found


# O7
@pytest.mark.parametrize("folder", [".", "plans"])
def test_an_output_folder_that_holds_an_input_is_refused(tmp_path: Path, folder: str) -> None:
    found = edited(tmp_path, 'folder = "results"', f'folder = "{folder}"')
    assert any("holds the input" in message for message in found), found


def test_all_faults_come_at_once(tmp_path: Path) -> None:
    path = write_project(tmp_path, grid())
    text = (
        path.read_text().replace("lots.gpkg", "missing.gpkg").replace("[tract]", "[tiers]\nmost = 0\nless = 1\n[tract]")
    )
    path.write_text(text.replace("labour_usd_per_h = 58", ""))
    with pytest.raises(InputError) as raised:
        load_tract(path)
    text = str(raised.value)
    for words in ("most: 0", "unknown key less", "labour_usd_per_h: the key is missing", "missing.gpkg"):
        assert words in text


def test_a_faulty_key_does_not_hide_the_rest_of_the_project(tmp_path: Path) -> None:
    path = write_project(tmp_path, grid())
    path.write_text(path.read_text() + "colour = 1\n")
    issues = Issues()
    tract = read_tract(path, issues)
    assert len(issues.stops()) == 1
    assert tract is not None
    assert tract.lots.file.name == "lots.gpkg"


# O14 and T14: encodings; T33: a key that stands twice
@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xef\xbb\xbf", None),
        (b"# caf\xe9\n", "byte 5 is not UTF-8"),
        (b"[tract]\n", "Cannot declare"),
        (b"x = \n", "expected TOML"),
    ],
)
def test_encodings_and_syntax(tmp_path: Path, content: bytes, words: str | None) -> None:
    path = write_project(tmp_path, grid())
    path.write_bytes(content + path.read_bytes())
    issues = Issues()
    read_tract(path, issues)
    messages = [issue.message() for issue in issues.stops()]
    if words is None:
        assert messages == []
    else:
        assert any(words in message for message in messages), messages


def test_a_missing_project_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="expected a project file"):
        load_tract(tmp_path / "none.toml")


def test_phases_may_be_numbers_and_stand_once(tmp_path: Path) -> None:
    grid().to_file(tmp_path / "phases.gpkg")
    ground = 'phases = { file = "phases.gpkg", order = [1, 2, "2"] }'
    assert any("a phase stands twice" in message for message in faults(tmp_path, ground=ground))
    tract = project(tmp_path, grid(), ground='phases = { file = "phases.gpkg", order = [1, 2] }')
    assert tract.ground.phases is not None
    assert tract.ground.phases.order == ("1", "2")


def test_nearest_word() -> None:
    assert nearest("wind_sped_mph", ("wind_speed_mph", "kzt")) == "wind_speed_mph"
    assert nearest("zzz", ("wind_speed_mph", "kzt")) == ""
