"""Fronts from streets, and whether a footprint fits: hand-made lots whose answers can be read off."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from project_helpers import CRS, EAST, NORTH, box, grid, project
from shapely import affinity
from shapely.geometry import LineString, Polygon

from hazard.issues import Issues
from screener.lot_edges import FRONT, LEFT, REAR, RIGHT, angle_between, side_of
from screener.lots import read_lots
from screener.siting import Fit, Setbacks, fit


def test_sides_as_seen_from_the_street() -> None:
    # A house that fronts south: its right-hand side, seen from the street, is the east.
    bearings = np.array([180.0, 90.0, 0.0, 270.0])
    assert side_of(bearings, np.full(4, 180.0)).tolist() == [FRONT, RIGHT, REAR, LEFT]
    assert side_of(np.array([0.0, 270.0]), np.zeros(2)).tolist() == [FRONT, RIGHT]
    assert angle_between(np.array([350.0]), np.array([10.0])).tolist() == [20.0]


# ---------------------------------------------------------------- fronts


def lots_with_streets(
    folder: Path, streets: list[Any], frame: gpd.GeoDataFrame | None = None
) -> tuple[gpd.GeoDataFrame, Issues]:
    folder.mkdir(exist_ok=True)
    gpd.GeoDataFrame(geometry=streets, crs=CRS).to_file(folder / "streets.gpkg")
    issues = Issues()
    frame = grid().drop(columns="front_bearing_deg") if frame is None else frame
    tract = project(folder, frame, ground='streets = { file = "streets.gpkg" }')
    return read_lots(tract, issues), issues


SOUTH_STREET = LineString([(EAST - 50, NORTH - 7), (EAST + 150, NORTH - 7)])
WEST_STREET = LineString([(EAST - 7, NORTH - 50), (EAST - 7, NORTH + 100)])


def test_the_front_faces_the_nearest_street_and_the_issues_say_so(tmp_path: Path) -> None:
    lots, issues = lots_with_streets(tmp_path, [SOUTH_STREET])
    # The synthetic tract lies by its zone's central meridian, so grid and true bearings agree.
    assert lots["front_bearing_deg"].to_numpy() == pytest.approx([180.0] * 4, abs=0.01)
    assert (lots["front_bearing_from"] == "street").all()
    assert [i.message() for i in issues] == [
        "lots.gpkg: 4 lots have no front_bearing_deg; taken from the nearest street"
    ]


def test_bearings_are_true_not_those_of_the_grid(tmp_path: Path) -> None:
    # 2.9 degrees east of the zone's central meridian at 38 degrees north the grid is turned by 1.8 degrees.
    frame = grid().drop(columns="front_bearing_deg")
    frame["geometry"] = frame.geometry.translate(255_000, 0)
    lots, _ = lots_with_streets(tmp_path, [affinity.translate(SOUTH_STREET, 255_000)], frame)
    turned = lots["front_bearing_deg"].to_numpy() - 180.0
    assert turned == pytest.approx([np.sin(np.radians(37.9)) * 2.9] * 4, abs=0.02)


def test_a_corner_lot_fronts_on_its_narrower_side(tmp_path: Path) -> None:
    lots, issues = lots_with_streets(tmp_path, [SOUTH_STREET, WEST_STREET])
    assert lots["front_bearing_deg"].to_numpy() == pytest.approx([180.0] * 4, abs=0.01)
    assert lots["street_sides"].tolist() == ["L", "", "", ""]
    warned = [i for i in issues if i.code == "front_of_corner_lot"]
    assert [i.lot_id for i in warned] == ["A-01"]
    assert "took the narrower side, 180 degrees" in warned[0].done


def test_given_bearings_stay_and_streets_only_show_the_corner(tmp_path: Path) -> None:
    frame = grid().assign(front_bearing_deg=[180, None, 90, 0])
    lots, _ = lots_with_streets(tmp_path, [SOUTH_STREET, WEST_STREET], frame)
    assert lots["front_bearing_deg"].to_numpy() == pytest.approx([180, 180, 90, 0], abs=0.01)
    assert lots["front_bearing_from"].tolist() == ["given", "street", "given", "given"]
    assert lots["street_sides"].tolist() == ["L", "", "L", "B"]


def wedge(middle_deg: float, width_deg: float = 38.0, near: float = 15.0, far: float = 48.0) -> Polygon:
    """A lot about the end of a cul-de-sac: between two circles, its front the shorter arc."""
    turn = np.radians(middle_deg + np.linspace(-width_deg / 2, width_deg / 2, 7))
    arc = np.column_stack([np.sin(turn), np.cos(turn)])
    return Polygon(np.add(np.vstack([near * arc, far * arc[::-1]]), (EAST, NORTH)))


def test_lots_about_a_cul_de_sac_face_its_end(tmp_path: Path) -> None:
    """Five lots about the end of a street that comes from the south: each front looks at the end, none is a corner."""
    around = [-100.0, -50.0, 0.0, 50.0, 100.0]
    frame = gpd.GeoDataFrame({"lot_id": [f"A-{i}" for i in range(5)]}, geometry=[wedge(a) for a in around], crs=CRS)
    street = LineString([(EAST, NORTH - 200), (EAST, NORTH)])
    lots, issues = lots_with_streets(tmp_path, [street], frame)
    inward = (np.array(around) + 180.0) % 360.0
    assert angle_between(lots["front_bearing_deg"].to_numpy(), inward).max() < 1.0
    assert (lots["front_bearing_from"] == "street").all()
    assert lots["street_sides"].tolist() == [""] * 5
    assert [i.code for i in issues if i.severity == "warn"] == []


def test_a_lot_between_two_streets_says_so(tmp_path: Path) -> None:
    """A street before and one behind, equally near: one is taken, the other is named as the rear, and it is said."""
    behind = LineString([(EAST - 50, NORTH + 38 + 7), (EAST + 150, NORTH + 38 + 7)])
    lots, issues = lots_with_streets(tmp_path, [SOUTH_STREET, behind])
    fronts = lots["front_bearing_deg"].to_numpy()
    assert fronts == pytest.approx([fronts[0]] * 4, abs=0.01), "all four the same way"
    assert min(angle_between(fronts[:1], np.array([0.0]))[0], angle_between(fronts[:1], np.array([180.0]))[0]) < 0.01
    assert lots["street_sides"].tolist() == ["B"] * 4
    assert [i.code for i in issues if i.severity == "warn"] == ["front_of_corner_lot"] * 4


def test_a_lot_behind_another_has_no_street_of_its_own(tmp_path: Path) -> None:
    """A second row 100 m from the street: its lots stay unknown, the first row's do not."""
    frame = grid(2).drop(columns="front_bearing_deg")
    frame.loc[1, "geometry"] = box(1, row=1)
    lots, issues = lots_with_streets(tmp_path, [SOUTH_STREET], frame)
    assert lots["front_bearing_from"].tolist() == ["street", "unknown"]
    assert np.isnan(lots["front_bearing_deg"].iat[1])
    assert "1 lots have no front_bearing_deg and no street near (A-02)" in next(
        i.found for i in issues if i.code == "front_unknown"
    )


def test_l54_without_bearing_and_street_every_direction_counts_and_it_is_said(tmp_path: Path) -> None:
    far = affinity.translate(SOUTH_STREET, 0, -200)
    lots, issues = lots_with_streets(tmp_path, [far])
    assert lots["front_bearing_deg"].isna().all()
    assert (lots["front_bearing_from"] == "unknown").all()
    warned = next(i for i in issues if i.code == "front_unknown")
    assert warned.severity == "warn"
    assert "4 lots have no front_bearing_deg and no street near (A-01, A-02" in warned.found
    assert warned.done == "screened for the worst of all directions"


@given(turn=st.floats(0, 360), start=st.integers(0, 3), extra=st.integers(1, 5), backwards=st.booleans())
@settings(max_examples=30, deadline=None)
def test_the_front_does_not_depend_on_how_the_outline_is_written(
    turn: float, start: int, extra: int, backwards: bool
) -> None:
    from screener.lot_edges import outer_edges
    from screener.streets import _facing_near, _fronts

    lot = affinity.rotate(box(0), -turn, origin=(EAST, NORTH))
    street = affinity.rotate(SOUTH_STREET, -turn, origin=(EAST, NORTH))
    corners = list(lot.exterior.coords)[:-1]
    corners = corners[start:] + corners[:start]
    corners = corners[::-1] if backwards else corners
    dense = [
        tuple(np.array(a) + (np.array(b) - np.array(a)) * k / extra)
        for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)
        for k in range(extra)
    ]
    shapes = np.array([Polygon(dense)], dtype=object)
    edges = outer_edges(shapes)
    front, corner = _fronts(edges, _facing_near(edges, 1, np.array([street], dtype=object)), 1)
    assert angle_between(front, np.array([(180.0 + turn) % 360.0]))[0] < 1e-6
    assert not corner[0]


# ---------------------------------------------------------------- fit


def fitted(shape: Any, bearing: float, width: float, depth: float, streets: str = "") -> Fit:
    """One lot with setbacks of 20 front, 15 rear, 5 side, 15 on a street."""
    setbacks = Setbacks(*(np.array([v]) for v in (20.0, 15.0, 5.0, 15.0)), np.array([streets], dtype=object))
    shapes = np.array([shape], dtype=object)
    return fit(shapes, np.array([bearing]), np.array([width]), np.array([depth]), setbacks)


LOT = shapely.box(0, 0, 65, 125)  # fronts south: room of 55 x 90


@pytest.mark.parametrize(
    ("width", "depth", "fits", "short"),
    [
        (55.0, 90.0, True, 0.0),  # exact
        (54.9, 90.0, True, 0.0),
        (55.1, 90.0, False, 0.1),
        (55.0, 90.5, False, 0.5),
        (85.0, 60.0, False, 30.0),
    ],
)
@pytest.mark.parametrize("bearing", [180.0, 179.5])
def test_rectangular_lots_are_a_subtraction(
    width: float, depth: float, fits: bool, short: float, bearing: float
) -> None:
    answer = fitted(LOT, bearing, width, depth)
    assert answer.fits[0] == fits
    assert answer.short_ft[0] == pytest.approx(short, abs=1e-6)
    assert (answer.room_width_ft[0], answer.room_depth_ft[0]) == pytest.approx((55.0, 90.0))


def test_a_corner_lot_keeps_off_its_side_street() -> None:
    wide = shapely.box(0, 0, 75, 125)
    assert fitted(wide, 180.0, 65.0, 90.0).fits[0]
    assert fitted(wide, 180.0, 55.0, 90.0, "R").fits[0]
    assert fitted(wide, 180.0, 55.1, 90.0, "L").short_ft[0] == pytest.approx(0.1)


@given(turn=st.floats(0, 359), width=st.floats(20, 80), depth=st.floats(20, 120))
@settings(max_examples=40, deadline=None)
def test_turning_lot_and_front_together_changes_nothing(turn: float, width: float, depth: float) -> None:
    level = fitted(LOT, 180.0, width, depth)
    turned = fitted(affinity.rotate(LOT, -turn, origin=(0, 0)), (180.0 + turn) % 360.0, width, depth)
    assert turned.short_ft[0] == pytest.approx(level.short_ft[0], abs=0.02)


@given(width=st.floats(20, 80), depth=st.floats(20, 120))
@settings(max_examples=25, deadline=None)
def test_the_search_for_any_outline_agrees_with_the_subtraction(width: float, depth: float) -> None:
    with pytest.MonkeyPatch.context() as patch:
        exact = fitted(LOT, 180.0, width, depth)
        patch.setattr("screener.siting.RECTANGLE_SHARE", 2.0)
        searched = fitted(LOT, 180.0, width, depth)
    assert searched.fits[0] == exact.fits[0] or exact.short_ft[0] < 0.03
    over_width, over_depth = max(width - 55.0, 0.0), max(depth - 90.0, 0.0)
    if over_width and over_depth:
        assert searched.short_ft[0] >= min(over_width, over_depth) - 0.03
    else:
        assert searched.short_ft[0] == pytest.approx(max(over_width, over_depth), abs=0.03)


def test_a_wedge_holds_what_its_outline_holds() -> None:
    # 40 ft wide at the street, 90 ft at the rear, 125 ft deep; sides slope by atan(25 / 125) = 11.3 degrees.
    wedge = Polygon([(25, 0), (65, 0), (90, 125), (0, 125)])
    # Buildable from 20 ft to 110 ft. At 20 ft the lot is 48 ft wide; each side keeps 5 ft off, measured square to it:
    # 5 / cos(11.3) = 5.1 ft along the front. So 37.8 ft fit at full depth.
    room = 48.0 - 2 * 5 * np.hypot(25, 125) / 125
    assert fitted(wedge, 180.0, room - 0.02, 90.0).fits[0]
    assert fitted(wedge, 180.0, room + 0.1, 90.0).short_ft[0] == pytest.approx(0.1, abs=0.03)
    # 40 ft deep it may stand at the rear, where the lot is 68 to 84 ft wide.
    assert fitted(wedge, 180.0, 40.0 + 2 * 70 * 25 / 125 - 2 * 5 * np.hypot(25, 125) / 125 - 0.02, 40.0).fits[0]


def test_a_notch_counts_though_the_corners_would_miss_it() -> None:
    notched = shapely.difference(LOT, shapely.box(60, 60, 65, 70))  # 5 ft deep in the east side, half way
    assert fitted(notched, 180.0, 50.0, 90.0).fits[0]
    assert fitted(notched, 180.0, 55.0, 90.0).short_ft[0] == pytest.approx(5.0, abs=0.05)
    assert fitted(notched, 180.0, 55.0, 34.0).fits[0]  # beside the notch


def test_what_is_not_known_is_not_checked() -> None:
    for shape, bearing, width in ((None, 180.0, 40.0), (LOT, np.nan, 40.0), (LOT, 180.0, np.nan)):
        answer = fitted(shape, bearing, width, 40.0)
        assert not answer.checked[0]
        assert not answer.fits[0]
        assert np.isnan(answer.short_ft[0])


def test_a_footprint_larger_than_the_lot_is_short_by_a_finite_length() -> None:
    wedge = Polygon([(25, 0), (65, 0), (90, 125), (0, 125)])
    answer = fitted(wedge, 180.0, 300.0, 300.0)
    assert 100.0 < answer.short_ft[0] < 300.0


def test_a_lot_of_very_many_corners_is_checked_in_time() -> None:
    """A round lot of 60 ft radius written with 100,000 corners: the square that fits is that of the circle.

    Would run for many minutes where a strip is laid along each of its edges.
    """
    turn = np.linspace(0.0, 2 * np.pi, 100_000, endpoint=False)
    round_lot = Polygon(60.0 * np.column_stack([np.sin(turn), np.cos(turn)]))
    none = Setbacks(*(np.array([0.0]) for _ in range(4)), np.array([""], dtype=object))
    side = 60.0 * np.sqrt(2.0)
    shapes = np.array([round_lot], dtype=object)
    for width, fits in ((side - 0.5, True), (side + 0.5, False)):
        found = fit(shapes, np.array([180.0]), np.array([width]), np.array([width]), none)
        assert found.checked[0]
        assert found.fits[0] == fits
