"""Coordinate systems: true distances and bearings, the two feet, and layers that are not where they claim to be."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hazard import crs
from hazard.issues import InputError

LON, LAT = -122.33, 47.60
GEOD = pyproj.Geod(ellps="GRS80")
SYSTEMS = {
    "geographic NAD83": "EPSG:4269",
    "geographic WGS 84": "EPSG:4326",
    "web Mercator": "EPSG:3857",
    "UTM metres": "EPSG:26910",
    "state plane US survey feet": "EPSG:2285",
    "state plane metres": "EPSG:32148",
    "Albers metres": "EPSG:5070",
    "compound": "EPSG:26910+5703",
}


def tract(system: pyproj.CRS) -> np.ndarray:
    """Points of a tract about 2 km across, in a system: a centre and four corners, from true offsets."""
    lon, lat, _ = GEOD.fwd([LON] * 5, [LAT] * 5, [0, 45, 135, 225, 315], [0, 1400, 1400, 1400, 1400])
    geographic = pyproj.CRS("EPSG:4269")
    return crs.transform_xy(np.column_stack([lon, lat]), geographic, system)


@pytest.mark.parametrize("name", list(SYSTEMS))
def test_working_system_has_true_distances_from_any_lot_system(name: str) -> None:
    """Against geodesics on the ellipsoid: 1,400 m to each corner within 0.1 mm."""
    system = crs.parse_crs(SYSTEMS[name], "lots.gpkg")
    points = tract(system)
    working = crs.choose_working_crs(points, system)
    local = working.from_other(points, system)
    np.testing.assert_allclose(np.linalg.norm(local[1:] - local[0], axis=1), 1400.0, rtol=0, atol=2e-4)
    assert crs.metres_per_unit(working.crs) == 1.0
    assert working.crs.to_wkt() == pyproj.CRS(working.wkt()).to_wkt()


@pytest.mark.parametrize("name", list(SYSTEMS))
def test_working_system_has_true_north_up(name: str) -> None:
    """A point due north (geodesic azimuth 0) lies at +y: within 0.01 degrees anywhere in the tract."""
    system = crs.parse_crs(SYSTEMS[name], "lots.gpkg")
    points = tract(system)
    working = crs.choose_working_crs(points, system)
    local = working.from_other(points, system)
    assert np.abs(crs.convergence_deg(working, local)).max() < 0.011
    north = crs.true_north(working.crs, local)
    np.testing.assert_allclose(north, np.broadcast_to([0.0, 1.0], north.shape), rtol=0, atol=2e-4)


@settings(max_examples=20, deadline=None)
@given(st.floats(-130, -66), st.floats(25, 48))
def test_convergence_and_scale_are_as_documented(lon: float, lat: float) -> None:
    """5 km off the centre: convergence (longitude difference) sin(latitude), distances long by x^2 / 2R^2 at most."""
    geographic = pyproj.CRS("EPSG:4269")
    working = crs.choose_working_crs([[lon, lat]], geographic)
    assert np.abs(crs.convergence_deg(working, [[5000.0, 0.0]])[0]) < 0.055
    a, b = working.to_lon_lat([[5000.0, 0.0], [5000.0, 100.0]])
    true_m = GEOD.inv(a[0], a[1], b[0], b[1])[2]
    assert 100.0 / true_m - 1.0 == pytest.approx(5000.0**2 / (2 * 6.371e6**2), abs=2e-8)


def test_true_north_in_albers_is_turned() -> None:
    """In EPSG:5070 at 122.33 W grid north lies well off true north (n = 0.6029 times 26.33 degrees, derived)."""
    system = pyproj.CRS("EPSG:5070")
    vector = crs.true_north(system, tract(system))[0]
    assert np.degrees(np.arctan2(vector[0], vector[1])) == pytest.approx(0.6029 * 26.33, abs=0.3)


def test_centre_does_not_depend_on_the_order_of_points() -> None:
    system = pyproj.CRS("EPSG:2285")
    points = tract(system)
    assert crs.choose_working_crs(points, system).wkt() == crs.choose_working_crs(points[::-1], system).wkt()


def test_tract_on_the_180th_meridian() -> None:
    geographic = pyproj.CRS("EPSG:4269")
    points = np.array([[179.995, 52.0], [-179.995, 52.0]])
    local = crs.choose_working_crs(points, geographic).from_other(points, geographic)
    expected = GEOD.inv(179.995, 52.0, -179.995, 52.0)[2]
    assert np.linalg.norm(local[1] - local[0]) == pytest.approx(expected, abs=1e-3)


def test_two_feet() -> None:
    """1 US survey foot = 1200/3937 m, 1 foot = 0.3048 m: 4 ft apart at 2,000,000 ft (85 FR 62698)."""
    survey, international = (crs.metres_per_unit(pyproj.CRS(code)) for code in ("EPSG:2285", "EPSG:2222"))
    assert survey == pytest.approx(1200 / 3937, abs=1e-15)
    assert international == 0.3048
    assert 2_000_000 * (survey - international) / 0.3048 == pytest.approx(4.0, abs=0.01)
    assert crs.feet(crs.metres([1.0, 100.0])) == pytest.approx([1.0, 100.0])
    with pytest.raises(ValueError, match="no length unit"):
        crs.metres_per_unit(pyproj.CRS("EPSG:4326"))


def test_axis_order_of_the_authority_is_ignored() -> None:
    """EPSG:4326 lists latitude first; points are always longitude first here."""
    assert crs.lon_lat(
        crs.transform_xy([[LON, LAT]], pyproj.CRS("EPSG:4326"), pyproj.CRS("EPSG:3857")), pyproj.CRS("EPSG:3857")
    )[0] == pytest.approx([LON, LAT])


def codes(xy: object, system: str, area: float | None = None) -> dict[str, str]:
    found = crs.check_coordinates(np.asarray(xy), crs.parse_crs(system, "x"), "lots.gpkg:lots", area)
    return {issue.code: issue.severity for issue in found}


@pytest.mark.parametrize("name", list(SYSTEMS))
def test_honest_layers_pass(name: str) -> None:
    system = crs.parse_crs(SYSTEMS[name], "x")
    found = codes(tract(system), SYSTEMS[name], 7200.0 if system.is_projected else None)
    assert set(found.values()) <= {"note"}


def test_missing_and_unusable_systems_stop() -> None:
    for given_ in (None, "", "EPSG:999999", 'LOCAL_CS["site",UNIT["metre",1],AXIS["E",EAST],AXIS["N",NORTH]]'):
        with pytest.raises(InputError) as caught:
            crs.parse_crs(given_, "lots.shp")
        assert caught.value.issues[0].message().startswith("lots.shp: ")
        assert caught.value.issues[0].code == ("crs_missing" if not given_ else "crs_unusable")
        assert "project file" in caught.value.issues[0].done


def test_feet_labelled_metres_stop_by_place() -> None:
    """US-foot coordinates of North Carolina labelled with the metre twin land in the Atlantic."""
    feet_system = pyproj.CRS("EPSG:2264")
    xy = crs.transform_xy([[-79.0, 35.4]], pyproj.CRS("EPSG:4269"), feet_system)
    issues = crs.check_coordinates(xy, pyproj.CRS("EPSG:32119"), "lots.shp")
    assert [i.code for i in issues] == ["length_unit_mislabelled"]
    assert "38.15 N, 63.09 W" in issues[0].found
    assert "inside it as feet" in issues[0].found


def test_metres_labelled_feet_stop_by_lot_area() -> None:
    """Where the place proves nothing, a 669 sq ft median lot that would be 7,200 in the other unit does."""
    xy = tract(pyproj.CRS("EPSG:2285"))
    assert codes(xy, "EPSG:2285", 7200 / 3.28083333**2)["length_unit_mislabelled"] == "stop"
    assert codes(xy, "EPSG:2285", 7200.0) == {"crs_us_survey_feet": "note"}
    metre = tract(pyproj.CRS("EPSG:32148"))
    assert codes(metre, "EPSG:32148", 7200 / 0.3048**2)["length_unit_doubtful"] == "warn"


def test_swapped_axes_stop() -> None:
    assert codes([[47.6, -122.3]], "EPSG:4269") == {"axis_order_swapped": "stop"}
    utm = tract(pyproj.CRS("EPSG:26910"))
    assert codes(utm[:, ::-1], "EPSG:26910") == {"axis_order_swapped": "stop"}


def test_impossible_and_faraway_coordinates_stop() -> None:
    assert codes([[1e9, 0.0]], "EPSG:2285") == {"coordinates_impossible": "stop"}
    assert codes([[4_000_000.0, 9_000_000.0]], "EPSG:2285") == {"outside_area_of_use": "stop"}
    assert codes([[-170.0, 40.0], [170.0, 40.0], [0.0, 40.0]], "EPSG:4326")["wider_than_half_the_globe"] == "stop"


def test_odd_systems_are_noted() -> None:
    assert codes(tract(pyproj.CRS("EPSG:3857")), "EPSG:3857") == {"crs_web_mercator": "note"}
    assert codes(tract(pyproj.CRS("EPSG:4269")), "EPSG:4269") == {"crs_geographic": "note"}
    wide = np.array([[-122.3, 47.6], [-121.0, 47.6]])
    assert codes(wide, "EPSG:4269") == {"tract_wide": "warn", "crs_geographic": "note"}


def test_datum_changes() -> None:
    """NAD83 and WGS 84 agree closely enough; NAD27 needs a grid that may be absent: never silent."""
    nad83, wgs84, nad27 = (pyproj.CRS(c) for c in ("EPSG:2285", "EPSG:4326", "EPSG:26710"))
    assert crs.check_transform(nad83, pyproj.CRS("EPSG:26910"), "r.tif") == []
    assert all(i.severity == "note" for i in crs.check_transform(nad83, wgs84, "r.tif", tract(nad83)))
    assert any(i.severity in ("warn", "stop") for i in crs.check_transform(nad27, wgs84, "r.tif", [[500000, 5300000]]))
