"""Hazards of whole scenes, from files to numbers: what the wind chapters ask for, joined lot by lot.

Sources stand beside the checks: ASCE/SEI 7-16 Chapter 26 (tables and figures as in `hazard.standards`), derived cases
of `screener/checks/data/exposure_cases.csv` and `topography_cases.csv`, and laws.
"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hazard_scenes import (
    HEIGHT_FT,
    SEISMIC,
    codes,
    kzt_matrix,
    letter,
    level,
    mirrored,
    scene,
    screened,
    turned,
    turned_points,
    write_raster,
)

from hazard.issues import InputError
from hazard.standards import asce7_ch26_wind as ch26
from screener.config import load_hazard_project
from screener.hazard_product import HazardResults, hazards_alone
from screener.site_hazards import SiteHazards, _pressures, bounded_letters
from tests.hazard.exposure_grounds import FT, LOCAL, half_plane, wedge

SAMPLE = Path(__file__).parents[2] / "sample_data"
LOTS_FT = np.array([[11.0, 7.0], [150.0, 40.0], [-220.0, 130.0], [60.0, -300.0]])


def cover(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Woods, with a lake to the north-east and farmland to the south-west: more than a cell off every threshold."""
    letters = np.where(0.6 * east + 0.8 * north > 300.0, "D", "B")
    return np.where(-0.8 * east - 0.6 * north > 500.0, "C", letters)


def ridge(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """H 200 ft, Lh 700 ft (Agnesi), crest along N 20 E, 250 ft west of the lots; H/Lh 0.29 across, 0.20 at 45 degrees
    is avoided by the 16 directions: the nearest profile is 20, 42.5, 65 or 87.5 degrees off the normal."""
    turn = np.radians(20.0)
    across = east * np.cos(turn) - north * np.sin(turn) + 250.0
    return 200.0 / (1.0 + (across / 700.0) ** 2)


# --- whole scenes turned and mirrored: laws of the geometry ----------------------------------------------------------


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> HazardResults:
    return screened(tmp_path_factory.mktemp("plain"), LOTS_FT, cover, ridge)


def shifted(text: str, steps: int) -> str:
    return text[-steps:] + text[:-steps] if steps else text


@pytest.mark.parametrize("steps", [1, 3, 4, 8, 13])
def test_a_whole_scene_turned_by_22_5_degrees_moves_on_by_one_direction(
    tmp_path: Path, plain: HazardResults, steps: int
) -> None:
    """Ground cover, ground height and lots turned together: letters move on, pressures stay. Quarter turns to rounding;
    other angles as well as cells of 30 m (cover) and 10 m (height) can show: distances by a cell, Kzt by 3 %."""
    points = turned_points(LOTS_FT, steps)
    found = screened(tmp_path, points, turned(cover, steps), turned(ridge, steps))
    for before, after in zip(plain.lots["exposure_by_direction"], found.lots["exposure_by_direction"], strict=True):
        assert after == shifted(before, steps)
    quarter = steps % 4 == 0
    assert (kzt_matrix(plain) > 1.1).any()
    np.testing.assert_allclose(
        np.roll(kzt_matrix(found), -steps, axis=1), kzt_matrix(plain), atol=0.011 if quarter else 0.05
    )
    for name in ("q_envelope_psf", "q_components_psf"):
        np.testing.assert_allclose(found.lots[name], plain.lots[name], rtol=1e-5 if quarter else 0.03)
    moved = (plain.lots["governing_wind_envelope_deg"] + 22.5 * steps) % 360.0
    assert (found.lots["governing_wind_envelope_deg"] == moved).all()
    cell_ft = 30.0 / FT
    np.testing.assert_allclose(
        found.lots["exposure_margin_ft"], plain.lots["exposure_margin_ft"], atol=1e-6 if quarter else 1.5 * cell_ft
    )


def test_a_mirrored_scene_has_mirrored_directions(tmp_path: Path, plain: HazardResults) -> None:
    """East and west exchanged: direction k becomes -k. Law; exact but for the map projection's own scale."""
    found = screened(tmp_path, LOTS_FT * [-1.0, 1.0], mirrored(cover), mirrored(ridge))
    for before, after in zip(plain.lots["exposure_by_direction"], found.lots["exposure_by_direction"], strict=True):
        assert after == before[0] + before[:0:-1]
    flipped = np.roll(kzt_matrix(plain)[:, ::-1], 1, axis=1)
    np.testing.assert_allclose(kzt_matrix(found), flipped, atol=0.011)
    np.testing.assert_allclose(found.lots["q_envelope_psf"], plain.lots["q_envelope_psf"], rtol=1e-5)


def test_halving_the_cells_converges(tmp_path: Path) -> None:
    """Distance to an oblique shore and Kzt of a ridge, closed forms of 26.7.3 and Figure 26.8-1: errors shrink."""
    shore_ft, height, lh = 1000.0, 200.0, 700.0
    lake = half_plane(30.0, shore_ft, "C", "D")
    hill = lambda east, north: height / (1.0 + (east / lh) ** 2)  # noqa: E731
    points = np.array([[x, y] for x in (-151.0, 3.0, 77.0) for y in (-67.0, 0.0, 31.0)])
    kz_errors, shore_errors = [], []
    for cell_m in (40.0, 20.0, 10.0):
        terrain = screened(tmp_path / f"hill {cell_m:g}", points, None, hill, height_cell_m=cell_m).lots
        want = ch26.kzt("ridge", "C", height, lh, np.abs(points[:, 0]), 25.0)
        kz_errors.append(float(np.abs(terrain["kzt_screening"] / want - 1.0).max()))
        found = screened(tmp_path / f"lake {cell_m:g}", points, lake, cell_m=cell_m).lots
        assert set(found["exposure"]) == {"C"}
        true_ft = shore_ft - points @ [0.5, np.sqrt(0.75)]
        short_ft = true_ft - (found["exposure_margin_ft"].to_numpy() + 600.0)
        shore_errors.append(float(short_ft.max()))
        # On the unsafe side by no more than a lot may stand from the part of a cell it is counted at (10 m here).
        assert short_ft.min() >= -np.sqrt(0.5) * 10.0 / FT
    assert kz_errors[2] < kz_errors[0]
    assert kz_errors[2] < 0.005
    assert shore_errors[2] < shore_errors[1] < shore_errors[0]
    assert shore_errors[2] < 2.5 * 10.0 / FT


def test_ground_that_no_fetch_touches_changes_nothing(tmp_path: Path) -> None:
    """Land cover beyond 5,600 ft (600 + 5,000 ft, 26.7.3) and terrain beyond 2 miles and what is read past it."""
    points = np.array([[0.0, 0.0]])

    def far(ground, distance, other):  # type: ignore[no-untyped-def]
        return lambda e, n: np.where(np.hypot(e, n) > distance, other, ground(e, n))

    one = screened(tmp_path / "one", points, cover, ridge, heights_ft=16_000.0).lots
    other = screened(
        tmp_path / "other", points, far(cover, 5700.0, "D"), far(ridge, 13_500.0, 900.0), heights_ft=16_000.0
    ).lots
    for name in one.columns.drop(["geometry", "elevation_ft"]):
        assert list(one[name].astype(str)) == list(other[name].astype(str)), name


# --- joint worst case ------------------------------------------------------------------------------------------------


def stub(letters: list[str], kzt: list[list[float]], h: float = 25.0) -> SiteHazards:
    """Only what the pressures need: letters and Kzt by direction of a few lots."""
    n = len(letters)
    out = SiteHazards.__new__(SiteHazards)
    out.letters = np.array([list(text) for text in letters])
    out.kzt = np.array(kzt, dtype=float)
    out.height_ft = np.full(n, h)
    out.elevation = SimpleNamespace(ke=np.ones(n))  # type: ignore[assignment]
    out.speed = SimpleNamespace(values=np.full(n, 100.0))  # type: ignore[assignment]
    out.columns = {}
    return out


def test_the_worst_product_is_not_the_product_of_the_worst() -> None:
    """26.7.4 and 26.8: exposure and Kzt belong to one wind direction. Kz at 25 ft by Table 26.10-1 and its note
    (7-16): C 0.94, B 0.66, but not below 0.70 in Chapter 28. So B with Kzt 1.38 is 0.966 > 0.945 in Chapter 28, and
    0.918 < 0.945 for components: the two chapters look in different directions, and neither takes 0.945 x 1.38."""
    kzt = np.ones(16)
    kzt[3] = 1.38
    site = stub(["BBBBBBBBBBCBBBBB"], [kzt.tolist()])
    _pressures(site, "ASCE 7-16")
    kz_b_28, kz_b, kz_c = (
        float(ch26.kz(25.0, letter, "ASCE 7-16", floor)) for letter, floor in (("B", True), ("B", False), ("C", False))
    )
    assert kz_b_28 == 0.70
    assert (kz_b, kz_c) == (pytest.approx(0.66, abs=0.006), pytest.approx(0.94, abs=0.006))
    q = 0.00256 * 0.85 * 100.0**2
    assert site.q_envelope_psf[0] == pytest.approx(q * kz_b_28 * 1.38, rel=1e-12)
    assert site.q_components_psf[0] == pytest.approx(q * kz_c * 1.0, rel=1e-12)
    assert (site.columns["governing_wind_envelope_deg"][0], site.columns["governing_wind_components_deg"][0]) == (
        67.5,
        225.0,
    )
    both_maxima = q * kz_c * 1.38
    assert max(site.q_envelope_psf[0], site.q_components_psf[0]) < 0.75 * both_maxima


def test_unknown_directions_and_d() -> None:
    """An unknown letter or Kzt may be the worst: no number. Beside a direction that is D an unknown letter is taken as
    D, than which nothing is worse (law of Table 26.10-1); an unknown Kzt stays unknown."""
    flat = [1.0] * 16
    hole = [1.0] * 15 + [np.nan]
    steep = [1.0] * 15 + [1.5]
    site = stub(["B" * 15 + "?", "D" + "B" * 14 + "?", "D" + "B" * 15, "D" + "B" * 14 + "?"], [flat, flat, hole, steep])
    _pressures(site, "ASCE 7-16")
    kz_d = float(ch26.kz(25.0, "D", "ASCE 7-16", False))
    q = 0.00256 * 0.85 * 100.0**2
    assert np.isnan(site.q_envelope_psf[[0, 2]]).all()
    assert np.isnan(site.columns["governing_wind_envelope_deg"][[0, 2]]).all()
    assert site.q_components_psf[1] == pytest.approx(q * kz_d, rel=1e-12)
    assert site.q_components_psf[3] == pytest.approx(q * kz_d * 1.5, rel=1e-12)
    assert bounded_letters(np.array([["?", "C"], ["?", "D"]])).tolist() == [["?", "C"], ["D", "D"]]


def test_a_joint_case_from_rasters(tmp_path: Path) -> None:
    """Winds across the ridge come over woods (B), those from 315 to 22.5 degrees over a wedge of open ground (C), where
    the ridge is met at 45 degrees or not at all: from the files to the pressure (26.7.4, 26.8)."""
    woods = wedge(337.5, 360.0, "C", "B")

    def east_west_winds(east: np.ndarray, north: np.ndarray) -> np.ndarray:
        return 200.0 / (1.0 + (east / 700.0) ** 2)  # the crest runs north and south

    found = screened(tmp_path, [[0.0, 0.0]], woods, east_west_winds).lots.iloc[0]
    letters, kzt = found["exposure_by_direction"], np.array([float(t) for t in found["kzt_by_direction"].split()])
    assert (letters[0], letters[4], letters[12]) == ("C", "B", "B")
    assert kzt[0] == 1.0
    kzt_b = float(ch26.kzt("ridge", "B", 200.0, 700.0, 0.0, 25.0))
    assert found["kzt"] == pytest.approx(kzt_b, rel=0.01)
    q = 0.00256 * 0.85 * 115.0**2 * found["ke"]
    products = {
        "envelope": max(float(ch26.kz(25.0, s, "ASCE 7-16", True)) * k for s, k in zip(letters, kzt, strict=True)),
        "components": max(float(ch26.kz(25.0, s, "ASCE 7-16", False)) * k for s, k in zip(letters, kzt, strict=True)),
    }
    for name, product in products.items():
        assert found[f"q_{name}_psf"] == pytest.approx(q * product, rel=0.005)  # Kzt is shown with two decimals
    assert found["q_components_psf"] < 0.97 * q * float(ch26.kz(25.0, "C", "ASCE 7-16", False)) * found["kzt"]


# --- states of the ground --------------------------------------------------------------------------------------------


def phased(folder: Path, state: str, **options: object) -> HazardResults:
    """Two square phases in woods, a lot in each; the first phase lies south of the second. Today both are bare."""
    folder.mkdir(parents=True)
    shapes = [shapely.box(-1500, -3000, 1500, 0), shapely.box(-1500, 0, 1500, 3000)]
    moved = shapely.transform(np.array(shapes, dtype=object), lambda xy: xy * FT)
    gpd.GeoDataFrame({"phase": ["1", "2"]}, geometry=list(moved), crs=LOCAL.to_wkt()).to_file(folder / "phases.gpkg")
    return screened(
        folder,
        [[0.0, -1500.0], [0.0, 200.0]],
        letter("B"),
        tract=f'ground_state = "{state}"',
        ground='[ground]\nphases = { file = "phases.gpkg", order = ["1", "2"] }',
        columns={"phase": ["1", "2"]},
        **options,
    )


@pytest.mark.parametrize(
    ("state", "letters", "named"),
    [
        ("worst", "CC", ["today", "today"]),
        ("today", "CC", ["today", "today"]),
        ("1", "BC", ["after 1", "after 1"]),
        ("at permit", "CC", ["today", "after 1"]),
        ("built out", "BB", ["built out", "built out"]),
    ],
)
def test_before_and_after_build_out(tmp_path: Path, state: str, letters: str, named: list[str]) -> None:
    """Derived from 26.7.3: bare ground for 1,500 ft and more upwind is C; with the phases built all around is B. The
    first lot stands in the middle of phase 1, 1,500 ft from phase 2, so phase 1 alone shelters it."""
    found = phased(tmp_path / "scene", state).lots
    assert "".join(found["exposure"]) == letters
    assert list(found["ground_state"]) == named
    assert found["exposure_by_state"].tolist() == [
        "today C; after 1 B; after 2 B; built out B",
        "today C; after 1 C; after 2 B; built out B",
    ]
    assert "".join(found["exposure_today"]) == "CC"
    assert "".join(found["exposure_built_out"]) == "BB"
    assert found["exposure_depends_on"].tolist() == ["", "1"]  # never its own phase


# --- rules that can be set -------------------------------------------------------------------------------------------


def test_the_plan_height_step_at_30_ft(tmp_path: Path) -> None:
    """Case E4 (derived from 26.7.3): woods to 1,600 ft north, open beyond: B up to 30 ft, C above (2,600 ft)."""
    for height, wanted in ((30.0, "B"), (31.0, "C")):
        found = screened(
            tmp_path / f"{height:g}",
            [[0.0, 0.0]],
            half_plane(0.0, 1600.0, "B", "C"),
            height_ft=height,
            more="[exposure]\nrough_share = 0.95\n",  # the edge is met at its own distance, not by a share
        ).lots
        assert (found["exposure"][0], found["mean_roof_height_ft"][0]) == (wanted, height)


def test_exposure_settings_reach_the_letters(tmp_path: Path) -> None:
    """Local text may ask 2,600 ft of B at every height; the share that prevails is the project's choice."""
    ground = half_plane(0.0, 1600.0, "B", "C")
    for number, (more, wanted) in enumerate(
        (("", "B"), ("rough_distance_low_ft = 2600", "C"), ("rough_share = 1.0", "B"), ("open_gap_ft = 0", "B"))
    ):
        found = screened(tmp_path / str(number), [[0.0, 0.0]], ground, more=f"[exposure]\n{more}\n").lots
        assert found["exposure"][0] == wanted, more
    with pytest.raises(InputError, match="rough_share"):
        scene(tmp_path / "bad", [[0.0, 0.0]], ground, more="[exposure]\nrough_share = 0\n")
    with pytest.raises(InputError, match="multiple of 100"):
        scene(tmp_path / "bad", [[0.0, 0.0]], ground, more="[exposure]\nrough_distance_low_ft = 1550\n")
    with pytest.raises(InputError, match=r"open_gap_ft \(the nearest known\)"):
        scene(tmp_path / "bad", [[0.0, 0.0]], ground, more="[exposure]\nopen_gap = 1\n")


def test_isolation_decides_which_kzt_drives_the_loads(tmp_path: Path) -> None:
    """26.8.1, condition 1: a second ridge of equal height 3,000 ft upwind (case T16, derived): strict 1, screening as
    if alone. The choice moves `kzt` and the pressures; both values stay in sight and the lot stays referred."""
    twin = lambda e, n: sum(100.0 / (1.0 + ((n - at) / 300.0) ** 2) for at in (0.0, 3000.0, -3000.0))  # noqa: E731
    one, other = (
        screened(tmp_path / which, [[0.0, 0.0]], None, twin, more=f'[terrain]\nkzt_isolation = "{which}"\n')
        for which in ("screening", "strict")
    )
    a, b = one.lots.iloc[0], other.lots.iloc[0]
    assert a["kzt"] == a["kzt_screening"] == b["kzt_screening"] > 1.4
    assert b["kzt"] == b["kzt_strict"] == a["kzt_strict"] == 1.0
    assert a["q_envelope_psf"] / b["q_envelope_psf"] == pytest.approx(a["kzt"], rel=1e-9)
    assert "KZT_NOT_ISOLATED" in codes(one, "A-01") & codes(other, "A-01")


def test_the_terrain_search_can_be_shortened(tmp_path: Path) -> None:
    """A raster of 6,000 ft is unknown for 2 miles (26.8.1) and known for 5,000 ft; what that leaves out is said."""
    hill = lambda e, n: 200.0 / (1.0 + (n / 700.0) ** 2)  # noqa: E731
    full = screened(tmp_path / "full", [[0.0, 0.0]], None, hill, heights_ft=6000.0)
    assert np.isnan(full.lots["kzt"][0])
    assert full.lots["status"][0] == "skipped"
    assert "TERRAIN_UNKNOWN" in codes(full, "A-01")
    near = screened(
        tmp_path / "near", [[0.0, 0.0]], None, hill, heights_ft=6000.0, more="[terrain]\nsearch_upwind_ft = 5000\n"
    )
    assert near.lots["kzt"][0] == pytest.approx(float(ch26.kzt("ridge", "C", 200, 700, 0, 25.0)), rel=0.01)
    assert "5,000 ft upwind" in near.run["provenance"]["kzt"]
    assert "KZT_UNSEEN" in codes(near, "A-01")  # isolation could not be seen for 2 miles: said, not skipped


# --- what is not known -----------------------------------------------------------------------------------------------


def test_lots_at_a_raster_edge_are_unknown_and_never_c(tmp_path: Path) -> None:
    """E13 (derived from 26.7.3): known ground must reach 5,600 ft. Woods on the raster, nothing beyond it."""
    points = [[0.0, 0.0], [0.0, 1500.0], [0.0, 2500.0]]  # 7,500 ft of ground: 7,500, 6,000 and 5,000 ft to the edge
    found = screened(tmp_path, points, letter("B"))
    lots = found.lots
    assert lots["exposure"].tolist() == ["B", "B", ""]
    assert lots["status"].tolist() == ["screened", "screened", "skipped"]
    assert set(lots["exposure_by_direction"][2]) == {"B", "?"}
    assert np.isnan(lots["q_envelope_psf"][2])
    assert "EXPO_UNKNOWN" in codes(found, "A-03")
    assert lots["exposure_today"][2] == ""


def test_beside_d_an_unknown_direction_counts_as_d_for_kzt_too(tmp_path: Path) -> None:
    """A shore lot whose land cover ends inland: the unknown directions are taken as D in Kz and in Kzt (Figure 26.8-1
    gives D the greatest K1), so the ridge still has a number and it is no less than the true one."""

    def shore(east: np.ndarray, north: np.ndarray) -> np.ndarray:
        return np.where(north < -300.0, "D", np.where(north > 3000.0, "?", "B"))

    hill = lambda e, n: 200.0 / (1.0 + (n / 700.0) ** 2)  # noqa: E731
    row = screened(tmp_path, [[0.0, 0.0]], shore, hill).lots.iloc[0]
    assert row["exposure"] == "D"
    assert "?" in row["exposure_by_direction"]
    assert row["kzt"] == pytest.approx(float(ch26.kzt("ridge", "D", 200, 700, 0, 25.0)), rel=0.01)
    kz_d = float(ch26.kz(25.0, "D", "ASCE 7-16", True))
    assert row["q_envelope_psf"] == pytest.approx(0.00256 * 0.85 * kz_d * row["kzt"] * row["ke"] * 115**2, rel=1e-9)


def test_given_letters_are_read_whole(tmp_path: Path) -> None:
    """A cell that is no letter leaves its lot unknown with a reason; a word that begins with B is not B."""
    columns = {"exposure": ["b", "C", "", "Both", "D"]}
    points = np.column_stack([np.arange(5) * 80.0, np.zeros(5)])
    found = screened(tmp_path, points, hazards=SEISMIC + 'exposure = { column = "exposure" }\n', columns=columns)
    assert found.lots["exposure"].tolist() == ["B", "C", "", "", "D"]
    assert found.lots["status"].tolist() == ["screened", "screened", "skipped", "skipped", "screened"]
    assert codes(found, "A-03") == codes(found, "A-04") == {"EXPO_UNKNOWN"}
    with pytest.raises(InputError, match="expected B, C or D"):
        screened(tmp_path / "one", points, hazards=SEISMIC + 'exposure = { value = "E" }\n', columns=columns)


# --- other sources ---------------------------------------------------------------------------------------------------


def test_a_statutory_kzt_raster_replaces_the_terrain_method(tmp_path: Path) -> None:
    """A jurisdiction's own map of Kzt: sampled bilinearly like any raster, the elevation then only gives Ke (26.9)."""
    folder = tmp_path / "scene"
    folder.mkdir()
    write_raster(folder / "kzt.tif", lambda e, n: np.where(n > 450.0, np.nan, 1.0 + 0.0005 * (e + 400.0)), 10.0, 900.0)
    steep = lambda e, n: 500.0 / (1.0 + (n / 700.0) ** 2)  # noqa: E731
    points = [[0.0, 0.0], [400.0, 0.0], [0.0, 700.0]]
    found = screened(folder, points, None, steep, hazards=SEISMIC + 'kzt = { file = "kzt.tif" }\n')
    lots = found.lots
    np.testing.assert_allclose(lots["kzt"][:2], [1.2, 1.4], atol=1e-4)
    assert (lots["kzt"][:2] == lots["kzt_strict"][:2]).all()
    assert (lots["kzt"][:2] == lots["kzt_screening"][:2]).all()
    assert "raster kzt.tif" in found.run["provenance"]["kzt"]
    assert lots["terrain_form"].isna().all()
    assert (lots["ke"] < 1.0).all()
    assert np.isnan(lots["kzt"][2])
    assert lots["status"][2] == "skipped"
    assert codes(found, "A-03") == {"HAZARD_MISSING"}


def test_a_finished_pad_moves_the_height_above_the_ground(tmp_path: Path) -> None:
    """Figure 26.8-1: z is measured from the ground. A pad 10 ft above the mapped ground at the crest: z 35 ft; 10 ft
    below: 15 ft. H, Lh and x stay those of the map; Kz is still taken at the mean roof height."""
    hill = lambda e, n: 200.0 / (1.0 + (n / 700.0) ** 2)  # noqa: E731
    points = [[0.0, 0.0], [80.0, 0.0], [160.0, 0.0]]
    found = screened(tmp_path, points, None, hill, columns={"pad_elevation_ft": [np.nan, 210.0, 190.0]}).lots
    want = [float(ch26.kzt("ridge", "C", 200, 700, 0, z)) for z in (25.0, 35.0, 15.0)]
    np.testing.assert_allclose(found["kzt"], want, rtol=0.005)
    np.testing.assert_allclose(found["terrain_h_ft"], found["terrain_h_ft"][0], rtol=1e-9)
    np.testing.assert_allclose(found["q_envelope_psf"] / found["kzt"], found["q_envelope_psf"][0] / found["kzt"][0])


def test_a_missing_snow_value_is_a_missing_hazard(tmp_path: Path) -> None:
    """No number is no snow of 0 psf."""
    folder = tmp_path / "scene"
    folder.mkdir()
    write_raster(folder / "snow.tif", lambda e, n: np.where(n > 450.0, np.nan, 25.0), 10.0, 900.0)
    found = screened(folder, [[0.0, 0.0], [0.0, 700.0]], hazards=SEISMIC + 'ground_snow_psf = { file = "snow.tif" }\n')
    assert codes(found, "A-01") == set()
    assert codes(found, "A-02") == {"HAZARD_MISSING"}


# --- the sample tract ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", ["today", "built out"])
def test_sample_lots_against_their_drawing(tmp_path: Path, state: str) -> None:
    """180 invented lots: letters worked from the drawing's exact regions (`sample_data/make_sample.py`, no raster) and
    Kzt by the ridge's formula (Figure 26.8-1). A lot may differ only where it is listed as a close call, and Kzt by
    2 %. Reservoir lots are D, ridge lots have Kzt above 1, the farm edge is C in every state."""
    for path in SAMPLE.iterdir():
        if path.is_file():
            (tmp_path / path.name).write_bytes(path.read_bytes())
    text = (tmp_path / "tract.toml").read_text().replace('ground_state = "worst"', f'ground_state = "{state}"')
    (tmp_path / "plans").symlink_to(SAMPLE / "plans")
    (tmp_path / "tract.toml").write_text(text)
    found = hazards_alone(load_hazard_project(tmp_path / "tract.toml"))
    drawn = gpd.read_file(SAMPLE / "lots.gpkg").sort_values("lot_id").reset_index(drop=True)
    lots = found.lots
    assert list(lots["lot_id"]) == list(drawn["lot_id"])
    column = {"today": "exposure_from_drawing", "built out": "exposure_built_out_from_drawing"}[state]
    differ = lots["exposure"] != drawn[column]
    assert differ.sum() <= 5
    assert lots.loc[differ, "exposure_flips"].all()
    if state == "today":  # the drawing's Kzt is of open ground; built out, the ridge winds come over B
        np.testing.assert_allclose(lots["kzt"], drawn["kzt_from_drawing"], rtol=0.02)
    x_ft = (lots.geometry.centroid.x - 500_000.0) / FT / 0.9996
    assert set(lots.loc[x_ft > 2960.0, "exposure"]) == {"D"}  # water from x = 3,560 ft, less 600 ft (26.7.3)
    assert (lots.loc[(x_ft - 2180.0).abs() < 300.0, "kzt"] > 1.1).all()
    farm = (x_ft < 800.0) & lots["lot_id"].str.startswith("D")
    assert farm.sum() >= 10
    assert set(lots.loc[farm, "exposure_built_out"]) == {"C"}
    assert len(found.layers["exposure_sectors"]) == 180 * 16
    assert len(found.layers["terrain_crests"]) > 0


def test_heights_cover_what_the_terrain_reads() -> None:
    """The scenes here reach as far as the default search and the reading past it."""
    from hazard.topography import TopographySettings

    settings = TopographySettings()
    assert settings.search_upwind_ft + settings.beyond_ft + 400.0 <= HEIGHT_FT
    assert level()(np.zeros(1), np.zeros(1))[0] == 0.0
