"""Bad input at the level of a whole project: `check` and `run` tell what is wrong, and where, and never stumble.

What every reader does with every bad cell is tested beside that reader. Here each kind of damage goes through the
command once, in a project that is otherwise good: exit code 2 where nothing can be done (and nothing is written), 3
where lots drop out, 0 where it is only said; never 1, never a traceback. The damage is numbered as in the list of bad
inputs that the project promises to handle (L lots, R rasters, T plans and hardware, O project and output).
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from damaged_project import NAMES, Project
from tract_helpers import SAMPLE, as_toml, command, screened, settings

MESSAGE = re.compile(r"^(stop|skip|fix |warn|note) ?(?P<where>[^:]+(:[^:]+)?): (?P<found>.+)$")


def _set(**changes: Any) -> Callable[[Project], None]:
    return lambda p: p.changes.update({k.replace("__", "."): v for k, v in changes.items()})


def _column(name: str, *values: Any) -> Callable[[Project], None]:
    def damage(p: Project) -> None:
        p.lots[name] = list(values)

    return damage


def _plan(old: str, new: str) -> Callable[[Project], None]:
    return lambda p: p.edit("plans/thimble.toml", old, new, 1)


def _hardware(old: str, new: str, count: int = 1) -> Callable[[Project], None]:
    return lambda p: p.edit("hardware.csv", old, new, count)


def _both(*damages: Callable[[Project], None]) -> Callable[[Project], None]:
    def damage(p: Project) -> None:
        for each in damages:
            each(p)

    return damage


def _kept(content: bytes) -> Callable[[Project], None]:
    def damage(p: Project) -> None:
        (p.folder / "kept.csv").write_bytes(content)
        p.changes["tiers.kept"] = "kept.csv"
        p.lots["package"] = "package 1"

    return damage


def _remove(name: str) -> Callable[[Project], None]:
    return lambda p: (p.folder / name).unlink()


def _raw(name: str, content: bytes) -> Callable[[Project], None]:
    return lambda p: (p.folder / name).write_bytes(content)


def _points(p: Project) -> None:
    p.lots["geometry"] = p.lots.geometry.centroid


def _no_crs(p: Project) -> None:
    p.lots = p.lots.set_crs(None, allow_override=True)


def _overlap(p: Project) -> None:
    x = p.lots.geometry.iloc[0].bounds[2] - p.lots.geometry.iloc[1].bounds[0] - 3.0
    p.lots.loc[p.lots.index[1], "geometry"] = shapely.transform(
        p.lots.geometry.iloc[1], lambda xy: np.add(xy, (x, 0.0))
    )


def _swapped(p: Project) -> None:
    degrees = p.lots.to_crs("EPSG:4269")
    p.lots = degrees.set_geometry(shapely.transform(degrees.geometry.to_numpy(), lambda xy: xy[:, ::-1])).set_crs(
        "EPSG:4269"
    )


def _truncated(p: Project) -> None:
    p.raster("wind_speed_mph", 115.0, size=300, cell=20.0)
    file = p.folder / "wind_speed_mph.tif"
    file.write_bytes(file.read_bytes()[: 300 * 300 * 2])


STOPS: dict[str, tuple[Callable[[Project], None], tuple[str, ...]]] = {
    # project file
    "O1 unknown key": (_set(tiers__mots=4), ("tract.toml [tiers]", "mots", "most (the nearest known)")),
    "O1 unknown table": (_set(hazard={"kzt": 1}), ("[hazard]", "[hazards]")),
    "O1 wrong type": (_set(tiers__most="four"), ("[tiers] most", "'four'", "a number")),
    "O1 unknown edition": (_set(design__loads="ASCE 7-10"), ("ASCE 7-10", "ASCE 7-16")),
    "O7 output is an input": (_set(output__folder="plans"), ("[output] folder", "plans")),
    "missing lots": (_set(lots__file="lotz.gpkg"), ("[lots] file", "lots.gpkg")),
    "missing plans": (_set(plans__folder="plan"), ("[plans] folder", "plans")),
    "missing raster": (_set(hazards__kzt={"file": "kzt.tif"}), ("[hazards] kzt.file", "nothing there")),
    "hazard twice": (_set(hazards__kzt={"value": 1.0, "column": "kzt"}), ("[hazards] kzt", "exactly one")),
    "no exposure at all": (_set(hazards__exposure=None), ("land_cover", "exposure")),
    "unknown ground state": (_set(tract__ground_state="soon"), ("ground_state", '"built out"')),
    "mix names no plan": (_set(purchase__plan_mix={"thimbel": 1.0}), ("plan_mix", "thimbel", "thimble")),
    "mix is not 1": (_set(purchase__plan_mix={"thimble": 0.7}), ("plan_mix", "0.7")),
    # lots
    "L1 not a layer at all": (_both(_raw("lots.dat", b"nothing"), _set(lots__file="lots.dat")), ("lots.dat",)),
    "L3 unknown layer": (_set(lots__layer="lot"), ("lots.gpkg", "lots")),
    "L6 points": (_points, ("lots.gpkg", "polygon")),
    "L22 unknown mapping": (_set(lots__columns={"lot_id": "LOT_NO"}), ("LOT_NO", "lot_id")),
    "L22 unknown name of ours": (_set(lots__columns={"lotid": "lot_id"}), ("lotid", "lot_id")),
    "L31 no system": (_no_crs, ("coordinate", "EPSG")),
    "L32 unknown system": (_both(_no_crs, _set(lots__crs="EPSG:999999")), ("EPSG:999999",)),
    "L35 axes swapped": (_swapped, ("lots.gpkg",)),
    "hazard column missing": (_set(hazards__kzt={"column": "ktz_from_drawing"}), ("ktz_from_drawing", "kzt_from")),
    # rasters
    "R4 wind in m/s": (lambda p: p.raster("wind_speed_mph", 51.4), ("wind_speed_mph.tif", "51.4", "85")),
    "R4 SS in percent": (lambda p: p.raster("ss_g", 62.0), ("ss_g.tif", "62")),
    "R5 tag against project": (
        lambda p: p.raster("wind_speed_mph", 51.4, unit="m/s", given={"units": "mph"}),
        ("wind_speed_mph.tif", "m/s", "mph"),
    ),
    "unknown unit": (lambda p: p.raster("wind_speed_mph", 115.0, given={"units": "furlongs"}), ("furlongs",)),
    "R6 two bands": (lambda p: p.raster("wind_speed_mph", 115.0, count=2), ("wind_speed_mph.tif", "band")),
    "R11 no system": (lambda p: p.raster("wind_speed_mph", 115.0, crs=None), ("wind_speed_mph.tif", "coordinate")),
    "R15 far away": (
        lambda p: p.raster("wind_speed_mph", 115.0, off=90_000.0),
        ("wind_speed_mph.tif", "0% of the lots"),
    ),
    "R17 truncated": (_truncated, ("wind_speed_mph.tif",)),
    "R32 negative": (lambda p: p.raster("ss_g", -0.5), ("ss_g.tif", "-0.5")),
    "value out of range": (_set(hazards__wind_speed_mph={"value": 51.4}), ("51.4", "85")),
    # plans
    "T plan syntax": (_plan('name = "thimble"', 'name = "thimble'), ("thimble.toml",)),
    "T plan unknown key": (
        _plan("stud_spacing_in", "stud_spacin_in"),
        ("thimble.toml", "stud_spacin_in", "stud_spacing_in"),
    ),
    "T plan illegal value": (_plan('shape = "gable"', 'shape = "gambrel"'), ("thimble.toml", "gambrel", "hip")),
    "T3 dangling wall": (_plan('wall = "left 1"', 'wall = "lefft 1"'), ("thimble.toml", "lefft 1")),
    "T6 negative length": (_plan("wall_height_ft = 9.1", "wall_height_ft = -9.1"), ("thimble.toml", "wall_height_ft")),
    "T7 missing key": (_plan("pitch_in_12 = 5\n", ""), ("thimble.toml", "pitch_in_12")),
    "T8 infinite": (_plan("pitch_in_12 = 5", "pitch_in_12 = inf"), ("thimble.toml", "pitch_in_12")),
    "T9 unit in a number": (
        _plan("wall_height_ft = 9.1", 'wall_height_ft = "9\'-1"'),
        ("thimble.toml", "wall_height_ft"),
    ),
    "T species unknown": (_plan('species = "DF-L"', 'species = "Oak"'), ("thimble.toml", "species", "DF-L")),
    "T5 opening past its wall": (_plan("from_ft = 21, width_ft = 16", "from_ft = 31, width_ft = 16"), ("garage door",)),
    "no plan in the folder": (_remove("plans/thimble.toml"), ("plans",)),
    "two plans of one name": (
        lambda p: (p.folder / "plans" / "b.toml").write_bytes((SAMPLE / "plans" / "thimble.toml").read_bytes()),
        ("thimble",),
    ),
    # hardware
    "T15 semicolons": (
        lambda p: (p.folder / "hardware.csv").write_text("item;family;unit\na;b;c\n"),
        ("hardware.csv", "semicolon"),
    ),
    "T14 not UTF-8": (_raw("hardware.csv", b"item,family\n\xff\xe9,x\n"), ("hardware.csv",)),
    "T17 short row": (
        lambda p: p.edit("hardware.csv", "\ntruss tie light,truss_tie,each,200", "\ntruss tie light"),
        ("hardware.csv row 3",),
    ),
    "T19 item twice": (
        _hardware("\ntruss tie medium,", "\ntruss tie light,"),
        ("hardware.csv row 4", "truss tie light"),
    ),
    "T8 infinite load": (_hardware(",420,360,", ",inf,360,"), ("hardware.csv row 3", "inf")),
    "T10 thousands": (_hardware(",1020,875,", ',"1,020",875,'), ("hardware.csv row 5", "1,020")),
    "T unknown family": (
        _hardware("truss tie light,truss_tie", "truss tie light,trus_tie"),
        ("hardware.csv row 3", "trus_tie", "truss_tie"),
    ),
    "T empty list": (_raw("hardware.csv", b""), ("hardware.csv",)),
    "T column missing": (_hardware("unit_cost", "price"), ("hardware.csv", "unit_cost")),
    # kept packages
    "kept missing": (_set(tiers__kept="kept.csv"), ("[tiers] kept", "nothing there")),
}


@pytest.mark.parametrize("name", STOPS)
def test_what_can_not_be_used_stops(tmp_path: Path, name: str) -> None:
    """Exit code 2 from both commands, the file, what was found and what is right in one line; nothing is written."""
    damage, words = STOPS[name]
    project = Project(tmp_path / "p")
    damage(project)
    file = project.write()
    before = sorted(path.relative_to(project.folder) for path in project.folder.rglob("*"))
    code, out, err = command("check", file)
    assert code == 2, (code, out, err)
    stops = [line for line in out.splitlines() if line.startswith("stop")]
    assert stops
    for word in words:
        assert any(word in line for line in stops), (word, stops)
    assert all(MESSAGE.match(line) for line in stops), stops
    assert all("; expected " in line or ": " in line for line in stops)
    code, out, err = command("run", file)
    assert code == 2, (code, out, err)
    assert "Traceback" not in out + err
    for word in words:
        assert word in err, (word, err)
    assert out == ""
    assert sorted(path.relative_to(project.folder) for path in project.folder.rglob("*")) == before


GOES_ON: dict[str, tuple[Callable[[Project], None], int, str, str]] = {
    "L4 no geometry": (
        lambda p: p.lots.__setitem__("geometry", [None, p.lots.geometry.iloc[1]]),
        3,
        "A-02",
        "no geometry",
    ),
    "L28 overlap": (_overlap, 0, "A-02", "shares"),
    "L53 plan unknown": (_column("plan", "thimbel", "thimble"), 3, "A-02", "thimble (the nearest)"),
    "L53 style unknown": (_column("style", "Z", "A"), 3, "A-02", "no style 'Z'"),
    "L53 option unknown": (_column("options", "pation", None), 3, "A-02", "no option 'pation'"),
    "L53 mirrored unclear": (_column("mirrored", "perhaps", "no"), 3, "A-02", "yes or no"),
    "L54 bearing as text": (_column("front_bearing_deg", "NE", "0"), 3, "A-02", "degrees"),
    "no plan and no mix": (_column("plan", None, "thimble"), 3, "A-02", "no plan"),
    "exposure letter": (_column("exposure_from_drawing", "Q", "C"), 3, "A-02", "'Q'"),
    "Kzt blank": (_column("kzt_from_drawing", np.nan, 1.0), 3, "A-02", ""),
    "Kzt as text": (_column("kzt_from_drawing", "1,25", "1.0"), 3, "A-02", "1,25"),
    "start unclear": (_column("start", "3/4/26", "2026-09-01"), 0, "A-02", "date"),
    "T22 price with a sign": (_hardware("each,200,0.82", "each,200,$0.82"), 0, "", "$0.82"),
}


@pytest.mark.parametrize("name", GOES_ON)
def test_what_can_be_left_out_is_left_out_and_said(tmp_path: Path, name: str) -> None:
    """The lot (or row) is named by `check` with what would be right; `run` goes on with the rest, and every lot that is
    left out has a row among the exceptions. Codes: 3 where something is left out, 0 where it is only said."""
    damage, least, lot, word = GOES_ON[name]
    project = Project(tmp_path / "p")
    damage(project)
    file = project.write()
    code, out, err = command("check", file)
    assert code in {least, 3}, (code, out, err)
    lines = [line for line in out.splitlines() if line[:5] in {"skip ", "warn ", "fix  "} or "scope stop" in line]
    assert any(lot in line and word in line for line in lines), out
    assert not (project.folder / "results").exists()
    code, out, err = command("run", file, "--quiet")
    assert code in {0, 3}, (code, out, err)
    assert "Traceback" not in err
    lots = pd.read_csv(project.folder / "results" / "lots.csv", dtype=str, keep_default_na=False)
    assert list(lots["lot_id"]) == list(NAMES)
    exceptions = pd.read_csv(project.folder / "results" / "exceptions.csv", dtype=str, keep_default_na=False)
    assert set(lots.loc[lots["status"] != "screened", "lot_id"]) == set(exceptions["lot_id"])
    if lot and least == 3:
        skipped = lots.set_index("lot_id").loc[lot]
        assert skipped["status"] == "skipped"
        assert skipped[["tier", "governing_ratio", "total_cost"]].eq("").all()
    elif least == 0:
        assert (lots["status"] != "skipped").all()


@pytest.mark.parametrize("content", [b"", b"tier,schedule\n", b"\xff\xfe\x00", b"\x00\x00", b"a\nb\n"])
def test_a_packages_file_that_is_none_stops(tmp_path: Path, content: bytes) -> None:
    """[tiers] kept: empty, cut, binary: both commands say so and nothing is written."""
    project = Project(tmp_path / "p")
    _kept(content)(project)
    file = project.write()
    code, out, err = command("run", file)
    assert code == 2, (code, out, err)
    assert "kept.csv" in err
    code, out, err = command("check", file)
    assert code == 2, "check must find what makes run stop"
    assert not (project.folder / "results").exists()


def test_no_number_for_a_lot_whose_snow_could_not_be_read(tmp_path: Path) -> None:
    """A blank in the snow column is not zero snow. Would fail where the lot is screened as if there were none."""
    project = Project(tmp_path / "p")
    project.lots["snow"] = [np.nan, 30.0]
    project.changes["hazards.ground_snow_psf"] = {"column": "snow"}
    run = screened(project.write())
    assert run.lots.loc["A-02", "status"] == "skipped"
    assert np.isnan(run.lots.loc["A-02", "governing_ratio"])
    assert "A-02" in set(run.results.exceptions["lot_id"])
    assert run.lots.loc["A-04", "status"] in {"screened", "refer"}


def test_a_lot_in_a_hole_of_the_elevation_is_told(tmp_path: Path) -> None:
    """Kzt given, elevation for Ke without data at one lot: Ke = 1.0 may be taken (ASCE 7-16 26.9), and it is said."""
    project = Project(tmp_path / "p")
    with rasterio.open(SAMPLE / "elevation.tif") as old:
        profile, values = dict(old.profile), old.read(1)
        where = project.lots.geometry.centroid.iloc[0]
        row, column = old.index(where.x, where.y)
    values[row - 1 : row + 2, column - 1 : column + 2] = profile["nodata"]
    with rasterio.open(project.folder / "holes.tif", "w", **profile) as new:
        new.write(values, 1)
    project.changes["hazards.elevation_ft"] = {"file": "holes.tif", "units": "m"}
    run = screened(project.write())
    assert run.lots.loc["A-02", "ke"] == 1.0
    assert run.lots.loc["A-04", "ke"] < 1.0
    assert "A-02" in set(run.results.issues.loc[run.results.issues["severity"].isin(["warn", "skip"]), "lot_id"])


def test_all_problems_come_in_one_go(tmp_path: Path) -> None:
    """A project file, a plan, a hardware row and a lot, each with a fault: one call of `check` names them all."""
    project = Project(tmp_path / "p")
    for damage in (
        _set(tiers__mots=3),
        _plan("pitch_in_12 = 5", "pitch_in_12 = -5"),
        _hardware("each,200,0.82", "each,200,$0.82"),
        _column("mirrored", "perhaps", "no"),
        lambda p: p.raster("wind_speed_mph", 51.4),
    ):
        damage(project)
    code, out, _ = command("check", project.write())
    assert code == 2
    for word in ("mots", "pitch_in_12", "$0.82", "'perhaps'"):
        assert word in out, (word, out)


def test_a_project_without_one_lot_that_can_be_served_is_no_crash(tmp_path: Path) -> None:
    """Every lot beyond the list: all are no_hardware, the bill is empty, the exit code is 3."""
    project = Project(tmp_path / "p")
    project.changes["hazards.wind_speed_mph"] = {"value": 205.0}
    code, out, err = command("run", project.write())
    assert code == 3, (code, out, err)
    lots = pd.read_csv(project.folder / "results" / "lots.csv", dtype=str, keep_default_na=False)
    assert (lots["status"] == "no_hardware").all()
    assert len(pd.read_csv(project.folder / "results" / "bill_of_materials.csv")) == 0


def test_a_project_with_no_plan_on_any_lot_is_no_crash(tmp_path: Path) -> None:
    """All lots open, a plan mix given: hazards are shown, nothing is promised, the exit code is 3."""
    project = Project(tmp_path / "p")
    project.lots["plan"] = None
    project.lots["style"] = None
    project.changes["purchase.plan_mix"] = {"thimble": 1.0}
    code, out, err = command("run", project.write())
    assert code == 3, (code, out, err)
    lots = pd.read_csv(project.folder / "results" / "lots.csv", dtype=str, keep_default_na=False)
    assert (lots["tier"] == "").all()
    assert (lots["exposure"] != "").all()


def test_hostile_names_are_only_names(tmp_path: Path) -> None:
    """O8, O10, O13, T28: ids with markup, paths, quotes and formulas change rows' names and nothing else."""
    hostile = ("=cmd|'/c calc'!A0", '"><script>alert(1)</script>')
    project = Project(tmp_path / "p")
    project.lots["lot_id"] = hostile
    plain = Project(tmp_path / "q")
    assert command("run", project.write(), "--quiet", "--allow-exceptions")[0] == 0
    assert command("run", plain.write(), "--quiet", "--allow-exceptions")[0] == 0
    ours, theirs = (pd.read_csv(p.folder / "results" / "lots.csv", dtype=str) for p in (project, plain))
    assert set(ours["lot_id"]) == {"'" + hostile[0], hostile[1]}
    assert sorted(ours["total_cost"]) == sorted(theirs["total_cost"])
    report = (project.folder / "results" / "report.html").read_text(encoding="utf-8")
    assert "<script>alert(1)" not in report
    assert not (project.folder / "results" / hostile[1]).exists()
    with_id = gpd.read_file(project.folder / "results" / "tract.gpkg", layer="lots")
    assert set(with_id["lot_id"]) == set(hostile)


def test_strict_makes_a_warning_a_stop(tmp_path: Path) -> None:
    project = Project(tmp_path / "p")
    _overlap(project)
    file = project.write()
    assert command("check", file, "--strict")[0] == 2
    assert command("run", file, "--strict")[0] == 2
    assert not (project.folder / "results").exists()


# ---------------------------------------------------------------- the defective twin


def _says(out: str, *words: str) -> bool:
    return any(all(word in line for word in words) for line in out.splitlines())


def test_check_finds_every_planted_defect_of_the_twin(tmp_path: Path) -> None:
    """sample_data/defective: one call names them all, exits with 3 (some lots would be skipped) and writes nothing."""
    before = sorted(path for path in (SAMPLE / "defective").rglob("*"))
    code, out, err = command("check", SAMPLE / "defective" / "tract.toml")
    assert code == 3, err
    assert _says(out, "skip", "B-07", "rows 52, 53", "each id once")
    assert _says(out, "skip", "C-12", "self-intersection")
    assert _says(out, "skip", "B-02", "'Kettel'", "kettle (the nearest)")
    assert _says(out, "FIT", "30.0 ft too large")
    assert _says(out, "elevation.tif", "B-34", "no data")
    assert _says(out, "OLD_LAND_COVER", "8.0 years")
    assert _says(out, "hardware.csv row 4", "source is blank")
    assert sorted(path for path in (SAMPLE / "defective").rglob("*")) == before


def test_check_finds_the_defects_of_the_drawing() -> None:
    """The drawing of the twin: an outline open by 0.3 ft is named with its gap, and the number A-1 stays what it is."""
    code, out, err = command("check", SAMPLE / "defective" / "tract_dxf.toml")
    assert code == 3, err
    assert _says(out, "lots.dxf", "open by 0.30 ft")
    assert _says(out, "A-03")
    assert _says(out, "A-1:")


def test_check_as_json_says_the_same(tmp_path: Path) -> None:
    project = Project(tmp_path / "p")
    _column("plan", "thimbel", "thimble")(project)
    code, out, _ = command("check", project.write(), "--json")
    answer = json.loads(out)
    assert code == answer["exit_code"] == 3
    assert {"severity", "code", "lot_id", "where", "found", "expected", "done"} <= set(answer["issues"][0])
    assert any(issue["code"] == "plan_unknown" and issue["lot_id"] == "A-02" for issue in answer["issues"])
    assert any(entry["code"] == "CONCRETE" for entry in answer["scope"])


def test_the_good_twin_is_clean(tmp_path: Path) -> None:
    """The undamaged project of this file: no stop, no skip, no warning; its settings survive being written out."""
    project = Project(tmp_path / "p")
    code, out, err = command("check", project.write())
    assert code == 0, (out, err)
    assert not [line for line in out.splitlines() if line.startswith(("stop", "skip", "warn"))]
    assert "[tiers]" in as_toml(settings(project.changes))
