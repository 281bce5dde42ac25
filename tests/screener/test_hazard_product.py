"""`screener hazards`: hazards alone as a product, its files, pictures, exit codes, and what it does not need."""

from __future__ import annotations

import io
import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hazard_scenes import letter, scene, screened

from hazard.issues import Issues
from screener.cli.main import run
from screener.columns import by_name, names
from screener.config import load_hazard_project
from screener.hazard_pictures import CAUTION, profile_marks
from screener.hazard_product import Wish, hazards_alone
from screener.houses import HEIGHT_WITHOUT_PLAN_FT
from screener.lots import read_lots
from screener.publish import open_destination
from screener.scope import Findings
from screener.site_hazards import site_hazards
from tests.hazard.exposure_grounds import half_plane

SAMPLE = Path(__file__).parents[2] / "sample_data"
FILES = {"hazards.gpkg", "hazards.csv", "flips.csv", "exceptions.csv", "issues.csv", "run.json", "timings.json"}
POINTS = [[0.0, 0.0], [200.0, 0.0], [0.0, 900.0]]


def hill(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """A ridge across the winds from north and south: H 200 ft, Lh 700 ft, crest 300 ft south of the first lot."""
    return 500.0 + 200.0 / (1.0 + ((north + 300.0) / 700.0) ** 2)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A scene without plans, hardware, prices or output: woods to 1,300 ft north, open beyond, and a ridge."""
    folder = tmp_path_factory.mktemp("scene")
    scene(folder, POINTS, half_plane(0.0, 1300.0, "B", "C"), hill)
    return folder


@pytest.fixture
def tract(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "scene")
    return tmp_path / "scene" / "tract.toml"


def test_lots_and_ground_are_all_it_needs(tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["hazards", str(tract)]) == 3  # a Kzt of 1.5 and more must be seen by a person
    said = capsys.readouterr()
    assert said.out.splitlines()[0] == CAUTION
    assert "3 lots" in said.out
    assert "look there first" in said.out
    output = tract.parent / "results-hazards"
    assert output.is_symlink()
    assert {path.name for path in output.iterdir()} == FILES
    table = pd.read_csv(output / "hazards.csv", dtype={"lot_id": str})
    assert tuple(table.columns) == names("hazards")
    assert table["mean_roof_height_ft"].tolist() == [HEIGHT_WITHOUT_PLAN_FT] * 3
    manifest = json.loads((output / "run.json").read_text())
    assert manifest["recorded"]["mean_roof_height"] == {"by_plan_lots": 0, "default_lots": 3, "default_ft": 25.0}
    assert manifest["recorded"]["flip_bands"] == {"rough_share": 0.1, "distance_ft": 100.0, "kzt_conditions": 0.05}
    assert str(tract.parent) not in (output / "run.json").read_text()
    assert run(["hazards", str(tract), "--allow-exceptions", "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")


def test_the_geopackage_holds_map_layers_and_explained_columns(tract: Path) -> None:
    run(["hazards", str(tract), "--quiet"])
    file = tract.parent / "results-hazards" / "hazards.gpkg"
    lots = gpd.read_file(file, layer="lots")
    assert tuple(lots.columns.drop("geometry")) == names("hazards")
    assert "tier" not in lots.columns
    sectors = gpd.read_file(file, layer="exposure_sectors")
    assert len(sectors) == 3 * 16
    assert set(sectors["lot_id"]) == {"A-01", "A-02", "A-03"}
    crests = gpd.read_file(file, layer="terrain_crests")
    assert len(crests) > 0
    assert crests.crs == sectors.crs == lots.crs
    with closing(sqlite3.connect(file)) as database:
        rows = database.execute("SELECT column_name, description FROM gpkg_data_columns WHERE table_name = 'lots'")
        described = dict(rows.fetchall())
    assert described["kzt_strict"] == by_name("hazards")["kzt_strict"].meaning


def test_lots_that_flip_are_listed_with_their_margin(tmp_path: Path) -> None:
    """Woods to 1,600 ft: at 1,300 and 1,240 ft from their edge the share is near 0.75 (the step is at 1,265 ft, closed
    form of `tests/hazard/test_exposure.py`), at 1,600 and 700 ft it is not."""
    points = [[0.0, 0.0], [0.0, 300.0], [0.0, 360.0], [0.0, 900.0]]
    results = screened(tmp_path, points, half_plane(0.0, 1600.0, "B", "C"), None, cell_m=10.0, cover_ft=8000.0)
    lots, flips = results.lots, results.flips
    assert lots["exposure"].tolist() == ["B", "B", "C", "C"]
    assert lots["exposure_flips"].tolist() == [False, True, True, False]
    assert set(flips["lot_id"]) == {"A-02", "A-03"}
    stricter = flips[(flips["lot_id"] == "A-02") & flips["reading"].str.startswith("rough_share")].iloc[0]
    assert (stricter["now"], stricter["would_be"], stricter["reading"]) == (
        "B",
        "C",
        "rough_share 0.85 instead of 0.75",
    )
    assert 0.0 <= stricter["margin"] <= 0.10
    assert stricter["bearing_deg"] == 0.0
    looser = flips[(flips["lot_id"] == "A-03") & flips["reading"].str.startswith("rough_share")].iloc[0]
    assert (looser["now"], looser["would_be"]) == ("C", "B")
    assert -0.10 <= looser["margin"] < 0.0
    nothing = screened(
        tmp_path / "none",
        points,
        half_plane(0.0, 1600.0, "B", "C"),
        None,
        cell_m=10.0,
        cover_ft=8000.0,
        more="[exposure]\nflip_share = 0\nflip_distance_ft = 0\n",
    )
    assert len(nothing.flips) == 0


@pytest.mark.parametrize(("ratio", "reading"), [(0.193, "easier"), (0.206, "harder")])
def test_a_kzt_near_its_condition_is_listed(tmp_path: Path, ratio: float, reading: str) -> None:
    """26.8.1: H/Lh of at least 0.2. Ridges 3 % on either side of it flip within 5 %; within 1 % they do not."""
    ridge = lambda e, n: 150.0 / (1.0 + (n * ratio / 150.0) ** 2)  # noqa: E731
    results = screened(tmp_path, [[0.0, 0.0]], None, ridge)
    row = results.flips.iloc[0]
    assert len(results.flips) == 1
    assert (row["what"], row["margin_unit"]) == ("Kzt", "share of the limit of H/Lh")
    assert row["reading"] == f"conditions of 26.8.1 5 % {reading} to meet"
    assert row["margin"] == pytest.approx(ratio / 0.2 - 1.0, abs=0.012)
    assert (float(row["now"]) > 1.0) == (reading == "harder")
    assert (float(row["would_be"]) > 1.0) == (reading == "easier")
    assert row["bearing_deg"] in (0.0, 180.0)
    assert bool(results.lots["kzt_flips"][0])
    clear = screened(tmp_path / "clear", [[0.0, 0.0]], None, ridge, more="[terrain]\nflip_share = 0.01\n")
    assert len(clear.flips) == 0


def test_heights_come_from_plans_where_there_are_any(tract: Path) -> None:
    """A lot whose plan is known is screened at that plan's height; another at --height, with a word about why."""
    gpd.read_file(tract.parent / "lots.gpkg").assign(plan=["anvil", None, "nobody"]).to_file(
        tract.parent / "lots.gpkg", layer="lots"
    )
    with tract.open("a") as file:
        file.write('\n[plans]\nfolder = "plans"\n')
    assert run(["hazards", str(tract), "--quiet", "--allow-exceptions", "--height", "16"]) == 0  # no folder yet
    issues = pd.read_csv(tract.parent / "results-hazards" / "issues.csv")
    assert issues.loc[issues["code"] == "plans_missing", "severity"].tolist() == ["warn"]
    shutil.copytree(SAMPLE / "plans", tract.parent / "plans")
    assert run(["hazards", str(tract), "--quiet", "--allow-exceptions", "--height", "16"]) == 0
    table = pd.read_csv(tract.parent / "results-hazards" / "hazards.csv")
    assert table["mean_roof_height_ft"].tolist()[1:] == [16.0, 16.0]
    assert table["mean_roof_height_ft"][0] > 20.0
    assert (table["status"] != "skipped").all()
    issues = pd.read_csv(tract.parent / "results-hazards" / "issues.csv")
    assert issues.loc[issues["code"] == "plan_unknown", "lot_id"].tolist() == ["A-03"]
    assert run(["hazards", str(tract), "--quiet", "--strict"]) == 2


def test_a_full_project_file_serves_too(tmp_path: Path) -> None:
    """The same file as for a run; hardware and prices are not read, so they may be missing."""
    for path in SAMPLE.iterdir():
        if path.is_file() and path.suffix != ".csv":
            shutil.copy(path, tmp_path / path.name)
    shutil.copy(SAMPLE / "classes.csv", tmp_path)
    shutil.copytree(SAMPLE / "plans", tmp_path / "plans")
    assert run(["hazards", str(tmp_path / "tract.toml"), "--quiet", "--allow-exceptions"]) == 0
    table = pd.read_csv(tmp_path / "results-hazards" / "hazards.csv")
    assert len(table) == 180
    assert table["mean_roof_height_ft"].nunique() == 6  # five plans, one of them also with a second storey
    manifest = json.loads((tmp_path / "results-hazards" / "run.json").read_text())
    keys = {record["key"] for record in manifest["inputs"]}
    assert "plans.folder" in keys
    assert not any(key.startswith("hardware") for key in keys)


# --- pictures --------------------------------------------------------------------------------------------------------


def test_pictures_of_a_lot(tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["hazards", str(tract), "--allow-exceptions", "--profile", "A-01", "--profile", "A-03", "--bearing", "178"]
    assert run([*words, "--json"]) == 0
    summary = json.loads(capsys.readouterr().out)
    assert summary["pictures"] == [
        *(f"pictures/A-01-{name}" for name in ("exposure.svg", "profile-from-180.csv", "profile-from-180.svg")),
        *(f"pictures/A-03-{name}" for name in ("exposure.svg", "profile-from-180.csv", "profile-from-180.svg")),
    ]
    folder = tract.parent / "results-hazards"
    issues = pd.read_csv(folder / "issues.csv")
    assert issues.loc[issues["code"] == "bearing_rounded", "done"].tolist() == ["profile for wind from 180 degrees"]
    for name in summary["pictures"]:
        text = (folder / name).read_text("utf-8")
        if name.endswith(".svg"):
            root = ElementTree.fromstring(text)
            shown = "".join(root.itertext())
            assert CAUTION in shown
            assert "Scene (invented)" in shown
            assert "ft" in shown
            assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    profile = "".join(ElementTree.parse(folder / "pictures/A-01-profile-from-180.svg").getroot().itertext())
    for part in (
        "Lot A-01: ground along the wind from 180° (S)",
        "ridge: H 199 ft, Lh",
        "crest",
        "half height",
        "foot",
    ):
        assert part in profile
    table = pd.read_csv(folder / "pictures/A-01-profile-from-180.csv")
    assert list(table.columns) == ["distance_ft", "ground_ft", "mark"]
    assert table["distance_ft"].is_monotonic_increasing
    marks = table.dropna(subset="mark").set_index("mark")
    assert list(marks.index) == ["foot", "half height", "crest", "lot"]
    assert marks.loc["crest", "distance_ft"] == pytest.approx(-300.0, abs=15.0)  # upwind of the lot: to the left
    assert marks.loc["half height", "distance_ft"] == pytest.approx(-1000.0, abs=25.0)
    ground = 500.0 + 200.0 / (1.0 + (300.0 / 700.0) ** 2)
    assert marks.loc["lot", "ground_ft"] == pytest.approx(ground, abs=0.5)
    rose = "".join(ElementTree.parse(folder / "pictures/A-01-exposure.svg").getroot().itertext())
    assert "exposure by wind direction" in rose
    assert "1,500 ft" in rose


def test_pictures_need_a_lot_that_is_there(tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["hazards", str(tract), "--profile", "A-1"]) == 2
    assert "no lot 'A-1'; expected a lot id, such as A-01" in capsys.readouterr().err
    assert not (tract.parent / "results-hazards").exists()
    assert run(["hazards", str(tract), "--bearing", "90"]) == 2
    assert "--bearing needs --profile" in capsys.readouterr().err


def test_file_names_are_safe_and_texts_are_escaped(tmp_path: Path) -> None:
    project = scene(tmp_path, POINTS, letter("B"), hill)
    frame = gpd.read_file(tmp_path / "lots.gpkg")
    frame["lot_id"] = ["../A<1>", "..", "a/b"]
    frame.to_file(tmp_path / "lots.gpkg", layer="lots")
    made = hazards_alone(project, wish=Wish(("../A<1>", "..", "a/b"), 0.0)).pictures
    assert {name.split("/")[0] for name in made} == {"pictures"}
    assert all(name.count("/") == 1 and ".." not in name.split("/")[1][:2] for name in made)
    assert len(made) == 9
    for name, text in made.items():
        if name.endswith(".svg"):
            ElementTree.fromstring(text)


def test_a_given_kzt_has_no_profile(tmp_path: Path) -> None:
    results = hazards_alone(scene(tmp_path, POINTS), wish=Wish(("A-01",)))
    assert results.pictures == {}
    assert set(results.issues.loc[results.issues["code"] == "no_picture", "done"]) == {"no rose", "no profile"}


def test_a_profile_without_a_feature_or_with_a_hole_is_still_drawn(tmp_path: Path) -> None:
    def holed(east: np.ndarray, north: np.ndarray) -> np.ndarray:
        return np.where((np.abs(east) < 900.0) & (north > 2000.0) & (north < 2600.0), np.nan, 100.0)

    made = hazards_alone(scene(tmp_path, POINTS[:1], None, holed), wish=Wish(("A-01",), 0.0)).pictures
    svg = made["pictures/A-01-profile-from-0.svg"]
    assert svg.count("<polyline") == 2  # the ground on both sides of the hole
    assert "No ridge, escarpment or hill" in svg
    assert "Kzt not known" in svg
    assert ",\n" not in made["pictures/A-01-profile-from-0.csv"].splitlines()[1]


# --- the folder ------------------------------------------------------------------------------------------------------


def test_results_appear_all_together_or_not_at_all(tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    output = tract.parent / "mine"
    output.mkdir()
    (output / "precious.txt").write_text("precious")
    assert run(["hazards", str(tract), "--output", str(output)]) == 4
    assert [path.name for path in output.iterdir()] == ["precious.txt"]
    other = tract.parent / "other"
    assert run(["hazards", str(tract), "--output", str(other), "-q", "--allow-exceptions"]) == 0
    before = {path.name: path.read_bytes() for path in other.iterdir()}
    tract.write_text(tract.read_text().replace('"elevation.tif"', '"lots.gpkg"'))
    assert run(["hazards", str(tract), "--output", str(other)]) == 2
    assert {path.name: path.read_bytes() for path in other.iterdir()} == before
    with open_destination(other):
        assert run(["hazards", str(tract), "--output", str(other)]) in (2, 4)
    capsys.readouterr()


def test_the_same_inputs_give_the_same_bytes_and_can_be_resumed(
    tract: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whatever the order of the lots and the number of workers; run.json names the lots file, whose bytes differ."""
    output = tract.parent / "results-hazards"
    run(["hazards", str(tract), "--quiet", "--workers", "1"])
    first = {path.name: path.read_bytes() for path in output.iterdir()}
    capsys.readouterr()
    assert run(["hazards", str(tract), "--resume"]) == 3
    assert "nothing to do" in capsys.readouterr().out
    lots = gpd.read_file(tract.parent / "lots.gpkg")
    (tract.parent / "lots.gpkg").unlink()
    lots.iloc[::-1].to_file(tract.parent / "lots.gpkg", layer="lots")
    run(["hazards", str(tract), "--quiet", "--workers", "3"])
    second = {path.name: path.read_bytes() for path in output.iterdir()}
    for name in ("flips.csv", "exceptions.csv"):
        assert second[name] == first[name]
    one, two = (pd.read_csv(io.BytesIO(files["hazards.csv"])) for files in (first, second))
    pd.testing.assert_frame_equal(one.drop(columns="source_row"), two.drop(columns="source_row"))


def test_faults_of_the_project_are_said_as_for_a_run(tract: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = tract.read_text()
    for old, new, wanted in (
        ("[lots]", "[lotz]", "unknown table [lotz]; expected [lots]"),
        ("ss_g = { value = 0.3 }", "", "ASCE 7-16 without ss_g"),
        ('name = "Scene (invented)"', 'name = "x"\nground_state = "later"', "expected one of"),
    ):
        tract.write_text(text.replace(old, new))
        assert run(["hazards", str(tract)]) == 2
        assert wanted in capsys.readouterr().err
    assert not (tract.parent / "results-hazards").exists()


def test_schema_shows_the_rules_with_their_defaults(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema", "tract"]) == 0
    said = capsys.readouterr().out
    for line in (
        "exposure.rough_share: number; default: 0.75",
        "exposure.open_gap_ft (ft): number; default: 600.0",
        'terrain.kzt_isolation: "screening" or "strict"; default: screening',
        "terrain.search_upwind_ft (ft): number; default: 10560.0",
        "at permit",
    ):
        assert line in said


def test_marks_are_on_the_ground(made: Path) -> None:
    """Crest and half height of the governing feature lie on the sampled line, the lot on it by definition."""
    project = load_hazard_project(made / "tract.toml")
    assert project.plans is None
    lots = read_lots(project, Issues())
    site = site_hazards(project, lots, np.full(3, 25.0), Issues(), Findings(3))
    assert site.terrain is not None
    profile = site.terrain.result.profile(0, 8, 25.0, "C")
    for name, distance, elevation in profile_marks(profile):
        ground = float(np.interp(distance, profile.distance_ft, profile.elevation_ft))
        assert ground == pytest.approx(elevation, abs=5.0), name
