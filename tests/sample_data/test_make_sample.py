"""The sample tract: that it is what its rules say, that its files are what its script writes, and that its plans load.

Expected numbers come from the tract's own story (invented), worked by hand where 'derived' is said.
"""

from __future__ import annotations

import importlib.util
import itertools
import sys
from pathlib import Path
from types import ModuleType

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from geopandas.testing import assert_geodataframe_equal
from pyproj import Geod

from screener.plan_files import load_plans

SAMPLE = Path(__file__).parents[2] / "sample_data"


def script(file: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(file.stem, file)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules[file.stem] = module
    spec.loader.exec_module(module)
    return module


make_sample = script(SAMPLE / "make_sample.py")


@pytest.fixture(scope="module")
def lots() -> gpd.GeoDataFrame:
    return gpd.read_file(SAMPLE / "lots.gpkg")


@pytest.fixture(scope="module")
def rewritten(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sample")
    make_sample.make(folder)
    make_sample.make_defective(SAMPLE, folder / "defective")
    return folder


def test_mix_of_plans_and_styles(lots: gpd.GeoDataFrame) -> None:
    plans = {"thimble": 40, "lantern": 47, "kettle": 32, "anvil": 36, "ladder": 25}
    assert lots["plan"].value_counts().to_dict() == plans
    assert lots["style"].value_counts().to_dict() == {"A": 71, "B": 63, "C": 46}
    assert lots["mirrored"].tolist() == [k % 2 == 0 for k in range(1, 181)]


def test_first_lots_by_hand(lots: gpd.GeoDataFrame) -> None:
    """Derived: u(1) = frac(0.5 + 0.618) = 0.118, Thimble; v(1) = frac(0.3 + 0.414) = 0.714, B; u(2) = 0.736."""
    assert lots.loc[0, ["lot_id", "plan", "style"]].tolist() == ["A-01", "thimble", "B"]
    assert lots.loc[1, ["lot_id", "plan", "style"]].tolist() == ["A-02", "anvil", "A"]
    assert lots["lot_id"].iloc[-1] == "D-45"


def test_true_size_and_place(lots: gpd.GeoDataFrame) -> None:
    """Lots are 65 or 75 by 125 ft on the ground (ellipsoid), whatever the map grid's scale."""
    geod = Geod(ellps="GRS80")
    ground = lots.to_crs("EPSG:4269")
    width = [geod.inv(*g.exterior.coords[2], *g.exterior.coords[1])[2] / 0.3048 for g in ground.geometry]
    assert set(np.round(width, 2)) == {65.0, 75.0}
    assert sum(np.round(width, 2) == 75.0) == 2 * 4 * 4
    west, south, _, _ = lots.total_bounds
    assert west == pytest.approx(500_000 + 80 * 0.3048 * 0.9996)
    assert south == pytest.approx(4_200_000 + 60 * 0.3048 * 0.9996)


def test_status_at_month_8(lots: gpd.GeoDataFrame) -> None:
    count = lots.groupby(["phase", "status"]).size()
    first = {"closed": 8, "building": 26, "foundation": 6, "sold": 5, "spec": 3}
    assert count["1"].to_dict() == first
    assert count["2"].to_dict() == {"sold": 8, "spec": 6, "open": 34}
    assert set(lots[lots["phase"].isin(["3", "4"])]["status"]) == {"open"}
    assert lots["plan_chosen"].notna().sum() == 62
    assert (lots["package_bought"] == "as bought").sum() == 40


def test_ridge() -> None:
    """The story's figures: crest 887 ft; 842.4 ft at x = 1,780 and 2,580."""
    x = np.array([2180.0, 1780.0, 2580.0])
    assert make_sample.ground_ft(x).round(1).tolist() == [887.0, 842.4, 842.4]
    with rasterio.open(SAMPLE / "elevation.tif") as raster:
        east, north = make_sample.to_grid(x, np.full(3, 400.0))
        metres = [v[0] for v in raster.sample(np.column_stack([east, north]))]
        assert raster.nodata not in metres
    assert np.array(metres) / 0.3048 == pytest.approx([887.0, 842.4, 842.4], abs=2.5)  # half a cell on the slope


def test_spectral_values_at_the_tract() -> None:
    """SDS 0.54, SD1 0.27 by hand: Fa = 1.4 - 0.8 (SS - 0.5), Fv = 2.4 - 2 (S1 - 0.1) (ASCE 7-16 Tables 11.4-1, -2)."""
    ss, s1 = make_sample.short_period_ss(), make_sample.one_second_s1()
    assert 0.5 < ss < 0.75
    assert 0.1 < s1 < 0.2
    assert 2 / 3 * (1.4 - 0.8 * (ss - 0.5)) * ss == pytest.approx(0.54)
    assert 2 / 3 * (2.4 - 2.0 * (s1 - 0.1)) * s1 == pytest.approx(0.27)
    for name, value in (("ss", ss), ("s1", s1)):
        with rasterio.open(SAMPLE / f"{name}.tif") as raster:
            assert raster.sample([(-104.9943, 37.9487)]).__next__()[0] == pytest.approx(value, rel=0.002)


def test_wind_is_the_county_criterion_all_over_the_tract() -> None:
    """Every cell that bilinear interpolation may touch holds 115."""
    around = [(-104.9943 + dx, 37.9487 + dy) for dx, dy in itertools.product((-0.05, 0.0, 0.05), repeat=2)]
    with rasterio.open(SAMPLE / "wind_speed.tif") as raster:
        assert {float(v[0]) for v in raster.sample(around)} == {115.0}
        assert raster.read(1).max() > 115.0


@pytest.mark.parametrize("name", ["lots", "phases", "streets", "water", "defective/lots"])
def test_layers_are_what_the_script_writes(rewritten: Path, name: str) -> None:
    old, new = (gpd.read_file(folder / f"{name}.gpkg") for folder in (SAMPLE, rewritten))
    assert_geodataframe_equal(old, new, check_less_precise=True)


@pytest.mark.parametrize(
    "name", ["land_cover", "elevation", "wind_speed", "ss", "s1", "defective/land_cover", "defective/elevation"]
)
def test_rasters_are_what_the_script_writes(rewritten: Path, name: str) -> None:
    with rasterio.open(SAMPLE / f"{name}.tif") as old, rasterio.open(rewritten / f"{name}.tif") as new:
        assert old.crs == new.crs
        assert old.transform.almost_equals(new.transform, 1e-9)
        assert "invented" in old.tags()["TIFFTAG_IMAGEDESCRIPTION"]
        np.testing.assert_allclose(old.read(1), new.read(1), rtol=1e-6)


@pytest.mark.parametrize("name", ["lots.dxf", "defective/lots.dxf"])
def test_drawings_are_what_the_script_writes(rewritten: Path, name: str) -> None:
    assert (SAMPLE / name).read_text() == (rewritten / name).read_text()


def test_planted_defects(lots: gpd.GeoDataFrame) -> None:
    bad = gpd.read_file(SAMPLE / "defective" / "lots.gpkg")
    assert (bad["lot_id"] == "B-07").sum() == 2
    assert bad[~bad.is_valid]["lot_id"].tolist() == ["C-12"]
    assert bad[bad["plan"] == "Kettel"]["lot_id"].tolist() == ["B-02"]
    assert "A-1" in set(bad["lot_id"])
    narrow = bad[bad["lot_id"] == "D-44"]
    west, _, east, _ = narrow.total_bounds
    assert (east - west) / 0.3048 / 0.9996 - 10.0 == pytest.approx(55.0 - 30.0)
    with rasterio.open(SAMPLE / "defective" / "elevation.tif") as raster:
        void = np.argwhere(raster.read(1) == raster.nodata)
        assert len(void) == 1
        place = raster.xy(*void[0])
    x, _ = make_sample.to_tract(*np.array(place))
    assert x == pytest.approx(2400.0, abs=5.0 / 0.3048)
    assert not bad["lot_id"].isin(["A-01", "B-08"]).any()
    assert len(bad) == len(lots) == 180


def test_defective_hardware_list_follows_the_good_one() -> None:
    """If this fails, the good list has changed: run sample_data/make_sample.py."""
    good, bad = (SAMPLE / name / "hardware.csv" for name in ("", "defective"))
    assert bad.read_text(encoding="utf-8") == make_sample.without_source(good)
    assert sum(a != b for a, b in zip(good.open(), bad.open(), strict=True)) == 1


def test_every_house_that_can_be_built_is_sound(lots: gpd.GeoDataFrame) -> None:
    """Every style with every set of options, both hands; and the houses drawn on the lots among them."""
    plans = load_plans(SAMPLE / "plans")
    for plan in plans.values():
        for style, count, hand in itertools.product(plan.styles, range(len(plan.options) + 1), (False, True)):
            for options in itertools.combinations(plan.options, count):
                house = plan.variant(style, options, hand)
                assert house.width_ft <= 55.0 + 1e-9
                assert house.depth_ft <= 90.0
    for lot in lots.itertuples():
        built = [o for o in (lot.options or "").split(";") if o]
        plans[lot.plan].variant(lot.style, built, lot.mirrored)


@pytest.mark.parametrize(
    ("name", "width", "depth", "wide", "openings", "segments"),
    [
        ("thimble", 40, 54, 50, 7, 8),
        ("kettle", 45, 60, 55, 9, 8),
        ("lantern", 36, 46, 46, 10, 14),
        ("anvil", 42, 50, 52, 12, 16),
        ("ladder", 45, 62, 55, 10, 10),
    ],
)
def test_plans_match_the_story(
    name: str, width: float, depth: float, wide: float, openings: int, segments: int
) -> None:
    """Sizes, outer openings, and solid pieces of shear walls no narrower than 1 : 3.5, of the plain style."""
    plan = load_plans(SAMPLE / "plans")[name]
    house = plan.variant("A")
    assert (house.width_ft, house.depth_ft) == (width, depth)
    assert plan.variant("A", ["third_bay"]).width_ft == wide
    assert sum(len(w.openings) for w in house.walls if w.exterior) == openings
    pieces = [s for w in house.walls if w.shear for s in w.solids() if s.length >= w.height_ft / 3.5]
    assert len(pieces) == segments


def test_real_plots_on_real_ground(tmp_path: Path) -> None:
    """407 plots keep their true size: the data set's own true median is 381 sq m (measured in the national grid)."""
    pytest.importorskip("momepy")
    pytest.importorskip("matplotlib")
    script(SAMPLE / "real_ground" / "make_real_ground.py").make(tmp_path)
    plots = gpd.read_file(tmp_path / "lots.gpkg")
    assert len(plots) == plots["lot_id"].nunique() == 407
    assert plots.crs.axis_info[0].unit_name == "US survey foot"
    assert plots.area.median() * (1200 / 3937) ** 2 == pytest.approx(381, abs=1.0)
    assert 0 < plots["plan"].isna().sum() < 407
    assert set(plots["plan"].dropna()) == {"thimble", "kettle", "lantern", "anvil", "ladder"}
    with rasterio.open(tmp_path / "elevation.tif") as raster:
        assert raster.shape == (344, 403)
        assert raster.bounds.bottom < raster.bounds.top
        heights = [v[0] for v in raster.sample([(-84.25, 36.59), (-84.12, 36.66)])]
        assert min(heights) >= 236
        assert max(heights) <= 1076
