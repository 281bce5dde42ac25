"""Lots files: each bad input gets what was promised, every lot comes out once, and good lots do not notice bad ones."""

from __future__ import annotations

import json
import math
import shutil
import sqlite3
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from project_helpers import CRS, EAST, NORTH, WIDTH_M, box, grid, project, write_project
from shapely.geometry import GeometryCollection, LineString, MultiPolygon, Polygon

from hazard.issues import InputError, Issue, Issues
from screener.config import load_tract
from screener.lot_attributes import clean, split_options
from screener.lots import PlanChoices, match_plans, read_lots, skip_lot

X, Y = EAST, NORTH
PLANS = {
    "thimble": PlanChoices(("A", "B"), ("patio", "third_bay")),
    "kettle": PlanChoices((), ()),
}


def read(folder: Path, frame: gpd.GeoDataFrame | None, **options: Any) -> tuple[gpd.GeoDataFrame, list[Issue]]:
    """Lots and issues of a project around a frame."""
    issues = Issues()
    return read_lots(project(folder, frame, **options), issues), list(issues)


def stops(folder: Path, frame: gpd.GeoDataFrame | None, **options: Any) -> list[str]:
    """Messages of the stops that reading gives."""
    with pytest.raises(InputError) as raised:
        read(folder, frame, **options)
    return [issue.message() for issue in raised.value.issues]


def codes(issues: list[Issue], severity: str | None = None) -> list[str]:
    return [issue.code for issue in issues if severity in (None, issue.severity)]


def with_shape(shape: Any, row: int = 1) -> gpd.GeoDataFrame:
    """Good lots, but for one shape."""
    frame = grid()
    shapes = frame.geometry.to_numpy().copy()
    shapes[row] = shape
    return frame.set_geometry(gpd.GeoSeries(shapes, crs=CRS))


def polygon(*points: tuple[float, float]) -> Polygon:
    return Polygon([(X + WIDTH_M + x, Y + y) for x, y in points])


def test_good_lots_come_out_as_they_went_in(tmp_path: Path) -> None:
    lots, issues = read(tmp_path, grid())
    assert list(lots["lot_id"]) == ["A-01", "A-02", "A-03", "A-04"]
    assert list(lots["source_row"]) == [1, 2, 3, 4]
    assert (lots["status"] == "").all()
    assert codes(issues) == []
    # 20 m x 38 m; the map grid is 0.9996 of true length here, so the true area is larger by 1 / 0.9996^2.
    assert lots["area_sqft"].to_numpy() == pytest.approx(760 / 0.9996**2 / 0.3048**2, rel=1e-6)
    assert (lots["front_bearing_from"] == "given").all()


BOW_TIE = polygon((0, 0), (20, 38), (20, 0), (0, 38))
SPIKE = polygon((0, 0), (20, 0), (20, 20), (21, 20), (20, 20), (20, 38), (0, 38))
HOLE_OUTSIDE = Polygon(box(1).exterior, [[(X + 25, Y + 50), (X + 30, Y + 50), (X + 30, Y + 55)]])
OVERLAPPING_PARTS = MultiPolygon([box(1), shapely.box(X + 22, Y + 5, X + 38, Y + 60)])
with np.errstate(invalid="ignore"):
    NAN_VERTEX = polygon((0, 0), (20, 0), (float("nan"), 38), (0, 38))


@pytest.mark.parametrize(
    ("name", "shape", "reason", "words"),
    [
        ("L4", None, "no_geometry", "no geometry"),
        ("L5", Polygon(), "empty_geometry", "empty geometry"),
        ("L6", LineString([(X, Y), (X + 1, Y)]), "not_a_polygon", "a LineString"),
        ("L7", BOW_TIE, "shape_broken", "self-intersection at"),
        ("L10", OVERLAPPING_PARTS, "shape_broken", "sq ft mended"),
        ("L11", HOLE_OUTSIDE, "hole_outside", "hole lies outside shell at"),
        ("L12", polygon((0, 0), (20, 0), (20, 1), (0, 1)), "lot_too_small", "expected at least 538 sq ft"),
        ("L12 flat", polygon((0, 0), (20, 0), (10, 0)), "shape_broken", "0 sq ft mended"),
        ("L18", NAN_VERTEX, "vertex_not_finite", "vertex 3 has no finite"),
    ],
)
@pytest.mark.filterwarnings("ignore")
def test_unusable_shapes_are_skipped_with_the_reason(
    tmp_path: Path, name: str, shape: Any, reason: str, words: str
) -> None:
    lots, issues = read(tmp_path, with_shape(shape))
    assert list(lots["lot_id"]) == ["A-01", "A-02", "A-03", "A-04"], name
    assert list(lots["status"]) == ["", "skipped", "", ""]
    assert lots["skip_reason"].iat[1] == reason
    assert lots["skip_next_step"].iat[1]
    found = [issue for issue in issues if issue.severity == "skip"]
    assert [issue.lot_id for issue in found] == ["A-02"]
    assert words in found[0].message()
    assert found[0].message().startswith("lots.gpkg:lots A-02: ")
    assert lots["skip_detail"].iat[1]


COLLECTION = GeometryCollection([box(1), LineString([(X, Y), (X + 1, Y)])])
TWO_PARTS = MultiPolygon([box(1), shapely.box(X + 22, Y + 50, X + 30, Y + 80)])


@pytest.mark.parametrize(
    ("name", "shape", "code", "severity"),
    [
        ("L8", SPIKE, "shape_mended", "fix"),
        ("L14", TWO_PARTS, "several_parts", "warn"),
        ("L15", COLLECTION, "collection", "fix"),
        ("L20", polygon((0, 0), (20, 0), (20, 0), (20, 38), (0, 38)), "repeated_vertices", "fix"),
        ("L13 large", box(1, 2, 400.0, 400.0), "lot_very_large", "warn"),
        ("L13 thin", box(1, 2, 200.0, 3.0), "lot_very_thin", "warn"),
        ("L28", box(1, 0, WIDTH_M + 0.5), "lots_overlap", "warn"),
        ("L29", box(0), "lot_drawn_twice", "warn"),
    ],
)
def test_shapes_that_can_be_used_are_used_and_said(
    tmp_path: Path, name: str, shape: Any, code: str, severity: str
) -> None:
    lots, issues = read(tmp_path, with_shape(shape))
    assert (lots["status"] == "").all(), name
    assert lots.geometry.is_valid.all()
    assert (code, severity) in [(issue.code, issue.severity) for issue in issues]


def test_l8_a_mended_lot_shows_both_areas(tmp_path: Path) -> None:
    _, issues = read(tmp_path, with_shape(SPIKE))
    message = next(issue for issue in issues if issue.code == "shape_mended").message()
    assert "8,187 sq ft as drawn, 8,187 sq ft mended" in message


def overshot(slip: float) -> Polygon:
    """A lot whose last corner is overshot: the outline crosses itself, a square of side `slip` beyond the corner."""
    return polygon((0, 0), (20, 0), (20, 38), (0, 38), (-slip, 38), (-slip, 38 + slip), (0, 38 + slip), (0, 0))


def lopsided(share: float) -> Polygon:
    """A bow-tie of 20 m by 38 m whose smaller triangle holds this share of what both bound."""
    half = 10.0 * math.sqrt(share / (1.0 - share))  # the triangles are alike
    return polygon((0, 0), (20, 0), (10 - half, 38), (10 + half, 38))


@pytest.mark.parametrize(
    ("shape", "kept_m2", "left_out_m2"),
    [
        (overshot(1.0), 760.0, 1.0),
        (overshot(2.7), 760.0, 7.29),  # 0.95 % of all
        (lopsided(0.009), None, None),
        (polygon((0, 0), (20, 0), (20, 38), (0, 38), (0, 20), (1, 19), (1, 20), (0, 19)), 760.0, 0.25),
    ],
    ids=["overshot corner", "0.95 percent", "lopsided bow-tie", "knot in an edge"],
)
@pytest.mark.filterwarnings("ignore")
def test_l7_one_piece_that_is_nearly_all_is_the_lot(
    tmp_path: Path, shape: Polygon, kept_m2: float | None, left_out_m2: float | None
) -> None:
    lots, issues = read(tmp_path, with_shape(shape))
    assert (lots["status"] == "").all()
    kept = lots.geometry.iat[1]
    pieces = shapely.get_parts(shapely.make_valid(shape))
    assert kept.is_valid
    assert kept.geom_type == "Polygon"
    assert kept.area == pytest.approx(kept_m2 or max(shapely.area(pieces)), rel=1e-3)
    told = next(issue for issue in issues if issue.code == "shape_mended" and issue.lot_id == "A-02")
    assert told.severity == "fix"
    left_out = left_out_m2 if left_out_m2 is not None else min(shapely.area(pieces))
    if "left out" in told.done:
        said = float(told.done.split()[-5].replace(",", ""))
        assert said == pytest.approx(left_out / 0.3048**2, rel=2e-3, abs=0.051)


@pytest.mark.parametrize(
    "shape",
    [
        overshot(3.0),  # 1.2 % of all
        lopsided(0.015),
        lopsided(0.5),
        MultiPolygon([box(1), overshot(1.0)]),
        polygon((0, 0), (20, 0), (20, 38), (0, 38), (0, 20), (15, 10), (15, 20), (0, 10)),  # a bay of another lot
    ],
    ids=["corner of 1.2 percent", "bow-tie of 1.5 percent", "even bow-tie", "two parts", "deep loop"],
)
@pytest.mark.filterwarnings("ignore")
def test_l7_where_the_readings_differ_the_lot_is_skipped(tmp_path: Path, shape: Any) -> None:
    lots, issues = read(tmp_path, with_shape(shape))
    assert list(lots["status"]) == ["", "skipped", "", ""]
    assert lots["skip_reason"].iat[1] == "shape_broken"
    told = next(issue for issue in issues if issue.severity == "skip")
    assert "as drawn" in told.found
    assert "mended" in told.found


def test_l16_heights_are_dropped(tmp_path: Path) -> None:
    frame = grid()
    frame["geometry"] = shapely.force_3d(frame.geometry.to_numpy(), 250.0)
    lots, _ = read(tmp_path, frame)
    assert not lots.geometry.has_z.any()


def curved_blob(x: float, y: float, radius: float) -> bytes:
    """A circle as a GeoPackage geometry: header, envelope, then a curve polygon of one circular string."""
    turn = [(-1, 0), (0, 1), (1, 0), (0, -1), (-1, 0)]
    points = [value for a, b in turn for value in (x + radius * a, y + radius * b)]
    header = b"GP" + bytes([0, 3]) + struct.pack("<i4d", 26913, x - radius, x + radius, y - radius, y + radius)
    return header + struct.pack("<BIIBII10d", 1, 10, 1, 1, 8, 5, *points)


@pytest.mark.filterwarnings("ignore")
def test_l17_curves_are_said(tmp_path: Path) -> None:
    path = write_project(tmp_path, grid())
    with sqlite3.connect(tmp_path / "lots.gpkg") as database:
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f"DROP TRIGGER {name}")
        database.execute("UPDATE lots SET geom = ? WHERE fid = 2", (curved_blob(X + 60, Y + 150, 20.0),))
    database.close()
    issues = Issues()
    lots = read_lots(load_tract(path), issues)
    assert "1 shapes with arcs" in next(i for i in issues if i.code == "curves").message()
    exact = np.pi * 400 / 0.9996**2 / 0.3048**2
    assert exact * 0.999 < lots["area_sqft"].iat[1] < exact


def test_l17_curves_are_linearised(tmp_path: Path) -> None:
    wkt = f"CURVEPOLYGON(CIRCULARSTRING({X} {Y}, {X + 20} {Y + 20}, {X + 40} {Y}, {X + 20} {Y - 20}, {X} {Y}))"
    text = 'lot_id,WKT\nA-01,"' + wkt + '"\n'
    (tmp_path / "lots.csv").write_text(text)
    lots, _ = read(tmp_path, None, file="lots.csv", lots=f'crs = "{CRS}"')
    # A circle of 20 m radius: pi r^2; chords of at most 4 degrees lose less than 0.1 %.
    exact = np.pi * 400 / 0.9996**2 / 0.3048**2
    assert exact * 0.999 < lots["area_sqft"].iat[0] < exact


def test_l9_an_unclosed_ring_is_closed_and_said(tmp_path: Path) -> None:
    ring = [[X, Y], [X + 20, Y], [X + 20, Y + 38], [X, Y + 38]]
    feature = {"type": "Feature", "properties": {"lot_id": "A-01"}}
    feature["geometry"] = {"type": "Polygon", "coordinates": [ring]}  # type: ignore[assignment]
    (tmp_path / "lots.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    lots, issues = read(tmp_path, None, file="lots.geojson", lots=f'crs = "{CRS}"')
    assert lots["area_sqft"].iat[0] == pytest.approx(8187, abs=1)
    assert "lots.geojson row 1: a ring is open" in next(i for i in issues if i.code == "ring_closed").message()


def test_l21_a_lot_with_very_many_vertices_is_said(tmp_path: Path) -> None:
    turn = np.linspace(0, 2 * np.pi, 120_000, endpoint=False)
    round_lot = Polygon(np.column_stack([X + 30 + 15 * np.cos(turn), Y + 150 + 15 * np.sin(turn)]))
    lots, issues = read(tmp_path, with_shape(round_lot))
    assert (lots["status"] == "").all()
    assert "many_vertices" in codes(issues, "warn")


# ---------------------------------------------------------------- files and layers


def test_l1_files_that_are_none(tmp_path: Path) -> None:
    (tmp_path / "lots.gpkg").write_text("not a GeoPackage")
    assert any("lots.gpkg" in m and "expected a vector file" in m for m in stops(tmp_path, None))


def test_l1_a_truncated_file(tmp_path: Path) -> None:
    path = write_project(tmp_path, grid(200))
    data = (tmp_path / "lots.gpkg").read_bytes()
    (tmp_path / "lots.gpkg").write_bytes(data[: len(data) // 3])
    with pytest.raises(InputError):
        read_lots(load_tract(path), Issues())


def test_l2_no_features(tmp_path: Path) -> None:
    assert any("0 features; expected at least one" in m for m in stops(tmp_path, grid().iloc[:0]))


def test_l3_several_layers_and_none_named(tmp_path: Path) -> None:
    path = write_project(tmp_path, grid())
    grid(2).to_file(tmp_path / "lots.gpkg", layer="draft")
    with pytest.raises(InputError, match=r"2 layers: lots \(Polygon, 4\), draft \(Polygon, 2\); expected one"):
        read_lots(load_tract(path), Issues())


def test_a_layer_that_is_not_there_names_the_nearest(tmp_path: Path) -> None:
    assert any(
        "no layer Lotz; expected lots (the nearest)" in m for m in stops(tmp_path, grid(), lots='layer = "Lotz"')
    )


def test_l6_a_layer_of_points_stops(tmp_path: Path) -> None:
    frame = grid().set_geometry(grid().geometry.centroid)
    assert any("4 points; expected lots as polygons" in m for m in stops(tmp_path, frame))


def test_l31_no_crs(tmp_path: Path) -> None:
    frame = pd.DataFrame(grid().drop(columns="geometry"))
    plain = gpd.GeoDataFrame(frame, geometry=list(grid().geometry))
    with pytest.warns(UserWarning, match="crs"):
        plain.to_file(tmp_path / "lots.gpkg", layer="lots")
    assert any("no coordinate reference system" in m and "set crs" in m for m in stops(tmp_path, None))
    lots, _ = read(tmp_path, None, lots=f'crs = "{CRS}"')
    assert lots.crs.to_epsg() == 26913


def test_l32_a_local_engineering_system_stops(tmp_path: Path) -> None:
    wkt = 'LOCAL_CS[\\"site grid\\",UNIT[\\"metre\\",1]]'
    assert any("site grid" in m for m in stops(tmp_path, grid(), lots=f'crs = "{wkt}"'))


def test_l33_geographic_lots_are_measured_in_true_distances(tmp_path: Path) -> None:
    lots, issues = read(tmp_path, grid().to_crs("EPSG:4269"))
    assert lots["area_sqft"].to_numpy() == pytest.approx(760 / 0.9996**2 / 0.3048**2, rel=1e-6)
    assert "crs_geographic" in codes(issues)


def test_l34_web_mercator_lots_are_measured_in_true_distances(tmp_path: Path) -> None:
    lots, issues = read(tmp_path, grid().to_crs("EPSG:3857"))
    assert lots["area_sqft"].to_numpy() == pytest.approx(760 / 0.9996**2 / 0.3048**2, rel=1e-4)
    assert "crs_web_mercator" in codes(issues)


def test_l35_swapped_axes_stop(tmp_path: Path) -> None:
    frame = grid().to_crs("EPSG:4269")
    frame["geometry"] = shapely.transform(frame.geometry.to_numpy(), lambda xy: xy[:, ::-1])
    assert any("fit only as" in m for m in stops(tmp_path, frame.set_crs("EPSG:4269")))


def test_l36_feet_labelled_metres_stop(tmp_path: Path) -> None:
    feet = grid().to_crs("EPSG:2264").set_crs("EPSG:32119", allow_override=True)
    moved = feet.set_geometry(feet.geometry.translate(6_000_000, 0))
    assert any("crs" in m for m in stops(tmp_path, moved))


def test_l37_survey_feet_are_said(tmp_path: Path) -> None:
    lots, issues = read(tmp_path, grid().to_crs("EPSG:2232"))
    assert "crs_us_survey_feet" in codes(issues, "note")
    assert lots["area_sqft"].to_numpy() == pytest.approx(760 / 0.9996**2 / 0.3048**2, rel=1e-4)


def test_l19_coordinates_far_outside_the_system_stop(tmp_path: Path) -> None:
    frame = grid().set_geometry(grid().geometry.translate(9e6, 0))
    assert stops(tmp_path, frame)
    frame = grid().set_geometry(grid().geometry.translate(9e9, 0))
    assert any("expected below 1e+08" in m for m in stops(tmp_path / "b", frame))


def test_l41_a_stray_lot_is_named(tmp_path: Path) -> None:
    _, issues = read(tmp_path, with_shape(box(4000)))
    assert [issue.lot_id for issue in issues if issue.code == "lot_far_away"] == ["A-02"]


def test_l42_damaged_text_is_said(tmp_path: Path) -> None:
    frame = grid()
    frame["plan"] = ["thimble", "caf\ufffd", "thimble", "thimble"]
    _, issues = read(tmp_path, frame)
    message = next(issue for issue in issues if issue.code == "encoding_damage").message()
    assert "column plan: 1 texts with replaced characters (rows 2)" in message


@pytest.mark.filterwarnings("ignore")
def test_l42_a_wrong_encoding_stops(tmp_path: Path) -> None:
    frame = grid().rename(columns={"front_bearing_deg": "front"})
    frame["plan"] = "caf\u00e9"
    frame.to_file(tmp_path / "lots.shp", encoding="ISO-8859-1")
    (tmp_path / "lots.cpg").unlink()
    found = stops(tmp_path, None, file="lots.shp", lots='encoding = "utf-8"')
    assert any("is not utf-8" in m for m in found), found
    assert read(tmp_path, None, file="lots.shp", lots='encoding = "ISO-8859-1"')[0]["plan"].iat[0] == "caf\u00e9"


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(("part", "words"), [(".shx", "lots.shx"), (".dbf", "lots.dbf"), (".prj", "no coordinate")])
def test_l43_missing_parts_of_a_shapefile(tmp_path: Path, part: str, words: str) -> None:
    grid().to_file(tmp_path / "lots.shp")
    (tmp_path / f"lots{part}").unlink()
    assert any(words in m for m in stops(tmp_path, None, file="lots.shp"))


@pytest.mark.filterwarnings("ignore")
def test_l44_names_cut_to_the_same_stop(tmp_path: Path) -> None:
    frame = grid().rename(columns={"lot_id": "lot_identifier", "plan": "lot_identification"})
    frame.to_file(tmp_path / "lots.shp")
    found = stops(tmp_path, None, file="lots.shp", lots='columns = { lot_id = "lot_identi" }')
    assert any("cut to ten characters and can't be told apart" in m for m in found), found


def zipped(folder: Path, name: str, content: bytes) -> None:
    with zipfile.ZipFile(folder / "lots.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, content)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("../../lots.geojson", b"{}", "points outside the archive"),  # L45
        ("lots.geojson", b"\0" * 5_000_000, "times the packed size"),  # L46
        ("inner.zip", b"{}", "is an archive"),  # L46
    ],
)
def test_l45_l46_archives_that_are_not_opened(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    zipped(tmp_path, name, content)
    assert any(words in m for m in stops(tmp_path, None, file="lots.zip"))


def test_a_good_archive_is_read_in_place(tmp_path: Path) -> None:
    grid().to_file(tmp_path / "lots.geojson")
    zipped(tmp_path, "lots.geojson", (tmp_path / "lots.geojson").read_bytes())
    before = sorted(p.name for p in tmp_path.iterdir())
    lots, _ = read(tmp_path, None, file="lots.zip")
    assert len(lots) == 4
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([*before, "plans", "hardware.csv", "tract.toml"])


@pytest.mark.parametrize("name", ["lots.gml", "lots.kml", "lots.xml"])
def test_l47_entities_are_refused(tmp_path: Path, name: str) -> None:
    bomb = '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><LandXML>&b;</LandXML>'
    (tmp_path / name).write_text(bomb)
    assert any("a DOCTYPE or ENTITY; expected plain XML" in m for m in stops(tmp_path, None, file=name))


def test_l51_a_view_is_refused(tmp_path: Path) -> None:
    path = write_project(tmp_path, grid(), lots='layer = "shown"')
    with sqlite3.connect(tmp_path / "lots.gpkg") as database:
        database.execute('CREATE VIEW shown AS SELECT * FROM "lots"')
        database.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
            "SELECT 'shown', 'features', 'shown', srs_id FROM gpkg_contents WHERE table_name = 'lots'"
        )
        database.execute(
            "INSERT INTO gpkg_geometry_columns SELECT 'shown', column_name, geometry_type_name, srs_id, z, m "
            "FROM gpkg_geometry_columns WHERE table_name = 'lots'"
        )
    database.close()
    with pytest.raises(InputError, match="layer shown is a view"):
        read_lots(load_tract(path), Issues())


def test_l52_a_journal_beside_the_file_stops(tmp_path: Path) -> None:
    path = write_project(tmp_path, grid())
    (tmp_path / "lots.gpkg-journal").write_bytes(b"hot")
    with pytest.raises(InputError, match="the file is open, or was not closed"):
        read_lots(load_tract(path), Issues())


# ---------------------------------------------------------------- ids and columns


def test_l22_no_lot_id_lists_columns_and_the_nearest(tmp_path: Path) -> None:
    frame = grid().rename(columns={"lot_id": "LOT_NO"})
    found = stops(tmp_path, frame)
    assert any("no column lot_id among LOT_NO, plan, front_bearing_deg; nearest is LOT_NO" in m for m in found), found
    lots, _ = read(tmp_path / "b", frame, lots='columns = { lot_id = "LOT_NO" }')
    assert lots["lot_id"].iat[0] == "A-01"


def test_l22_a_mapped_column_that_is_not_there(tmp_path: Path) -> None:
    found = stops(tmp_path, grid(), lots='columns = { phase = "lot" }', hazards="")
    assert any("no column lot (for phase); expected lot_id (the nearest)" in m for m in found), found


def test_l23_blank_ids_are_named_by_their_row(tmp_path: Path) -> None:
    frame = grid()
    frame["lot_id"] = ["A-01", None, "  ", "row-2"]
    lots, issues = read(tmp_path, frame)
    assert list(lots["lot_id"]) == ["A-01", "row-2-", "row-3", "row-2"]
    assert list(lots["status"]) == ["", "skipped", "skipped", ""]
    assert codes(issues, "skip") == ["lot_id_missing"] * 2


def test_l24_the_same_lot_twice_is_one(tmp_path: Path) -> None:
    frame = pd.concat([grid(), grid().iloc[[1]]], ignore_index=True)
    lots, issues = read(tmp_path, frame)
    assert list(lots["lot_id"]) == ["A-01", "A-02", "A-03", "A-04"]
    assert (lots["status"] == "").all()
    assert "rows 2, 5 are the same lot" in next(i for i in issues if i.code == "lot_repeated").message()


@pytest.mark.parametrize("other", ["shape", "plan"])
def test_l25_two_lots_with_one_id_are_both_skipped(tmp_path: Path, other: str) -> None:
    frame = grid()
    frame.loc[2, "lot_id"] = "A-02"
    if other == "plan":
        shapes = frame.geometry.to_numpy().copy()
        shapes[2] = shapes[1]
        frame = frame.set_geometry(gpd.GeoSeries(shapes, crs=CRS))
        frame.loc[2, "plan"] = "kettle"
    lots, issues = read(tmp_path, frame)
    assert list(lots["lot_id"]) == ["A-01", "A-02", "A-02 (row 3)", "A-04"]
    assert list(lots["status"]) == ["", "skipped", "skipped", ""]
    assert lots["lot_id"].is_unique
    assert all("rows 2, 3" in i.message() for i in issues if i.code == "lot_id_twice")


def test_l26_ids_that_look_alike_are_said(tmp_path: Path) -> None:
    frame = grid()
    frame["lot_id"] = ["A-01", "a 01", "caf\u00e9", "cafe\u0301"]
    lots, issues = read(tmp_path, frame)
    assert codes(issues, "warn").count("lot_id_look_alike") == 1
    # The two forms of one name are one name after composing them, and then one id that stands twice.
    assert list(lots["status"]) == ["", "", "skipped", "skipped"]
    assert Issues(issues).warnings_as_stops().has_stop()


@pytest.mark.parametrize(
    ("ids", "expected"),
    [
        (["007", "NA", "None", "1E5"], ["007", "NA", "None", "1E5"]),
        ([1, 2, 3, 40000000], ["1", "2", "3", "40000000"]),
        ([1.0, 2.0, 3.0, 4.5], ["1", "2", "3", "4.5"]),
    ],
)
def test_l27_ids_are_text_always(tmp_path: Path, ids: list[Any], expected: list[str]) -> None:
    frame = grid()
    frame["lot_id"] = ids
    lots, issues = read(tmp_path, frame)
    assert list(lots["lot_id"]) == expected
    assert ("lot_id_number" in codes(issues)) == (not isinstance(ids[0], str))


def test_l27_whole_number_ids_with_a_blank_keep_their_digits(tmp_path: Path) -> None:
    frame = grid()
    frame["lot_id"] = pd.array([101, None, 103, 104], dtype="Int64")
    lots, _ = read(tmp_path, frame)
    assert list(lots["lot_id"]) == ["101", "row-2", "103", "104"]


def test_a_misspelt_column_is_told_with_the_one_it_may_be(tmp_path: Path) -> None:
    _, issues = read(tmp_path, grid().assign(mirored="yes", owner="-"))
    told = [i.message() for i in issues if i.code == "column_unknown"]
    assert len(told) == 1
    assert "column mirored" in told[0]
    assert "perhaps mirrored" in told[0]


def test_l55_columns_that_differ_by_case_only_stop(tmp_path: Path) -> None:
    frame = grid()
    frame["LOT_ID"] = "x"
    frame = frame.drop(columns="lot_id").assign(Lot_Id="y")
    frame.to_file(tmp_path / "lots.geojson")
    found = stops(tmp_path, None, file="lots.geojson")
    assert any("columns LOT_ID and Lot_Id; expected one lot_id" in m for m in found), found


def test_l55_columns_with_words_of_sql_are_read(tmp_path: Path) -> None:
    frame = grid().rename(columns={"plan": 'select "x"; drop table'})
    lots, _ = read(tmp_path, frame, lots="columns = { plan = 'select \"x\"; drop table' }")
    assert list(lots["plan"]) == ["thimble"] * 4


# ---------------------------------------------------------------- cells


@pytest.mark.parametrize(
    ("column", "value", "reason"),
    [
        ("mirrored", "perhaps", "mirrored_unclear"),  # L53
        ("front_bearing_deg", "NE", "bearing_unusable"),  # L54
        ("front_bearing_deg", "-5", "bearing_unusable"),
        ("front_bearing_deg", "361", "bearing_unusable"),
        ("pad_elevation_ft", "1,250", "number_unusable"),
        ("pad_elevation_ft", "1250 ft", "number_unusable"),
        ("pad_elevation_ft", "1e999", "number_unusable"),
        ("side_setback_ft", "-1", "number_unusable"),
    ],
)
def test_cells_that_can_not_be_used_skip_their_lot(tmp_path: Path, column: str, value: str, reason: str) -> None:
    frame = grid()
    frame[column] = ["180" if "bearing" in column else "", value, "", ""]
    lots, issues = read(tmp_path, frame)
    assert list(lots["status"]) == ["", "skipped", "", ""]
    assert lots["skip_reason"].iat[1] == reason
    assert repr(value) in next(i for i in issues if i.code == reason).message()


@pytest.mark.parametrize(("given", "meant"), [("yes", True), ("Y", True), ("1", True), ("No", False), ("", False)])
def test_yes_and_no(tmp_path: Path, given: str, meant: bool) -> None:
    lots, _ = read(tmp_path, grid().assign(mirrored=given))
    assert lots["mirrored"].tolist() == [meant] * 4


@pytest.mark.parametrize("values", [[True, False, True, False], [1, 0, 1, 0]])
def test_yes_and_no_as_the_file_has_them(tmp_path: Path, values: list[Any]) -> None:
    lots, _ = read(tmp_path, grid().assign(mirrored=values))
    assert lots["mirrored"].tolist() == [True, False, True, False]


def test_dates_in_one_style_only(tmp_path: Path) -> None:
    frame = grid().assign(start=["2026-03-04", "2026-03", "3/4/26", "2026-13-01"])
    lots, issues = read(tmp_path, frame)
    assert list(lots["start"]) == ["2026-03-04", "2026-03-01", "", ""]
    assert codes(issues, "warn") == ["date_unclear"] * 2
    assert (lots["status"] == "").all()


def test_dates_typed_as_dates(tmp_path: Path) -> None:
    frame = grid().assign(start=pd.to_datetime(["2026-03-04", None, "2026-12-31", "2027-01-01"]))
    assert list(read(tmp_path, frame)[0]["start"]) == ["2026-03-04", "", "2026-12-31", "2027-01-01"]


def test_360_degrees_is_north(tmp_path: Path) -> None:
    assert read(tmp_path, grid().assign(front_bearing_deg=360))[0]["front_bearing_deg"].tolist() == [0.0] * 4


def test_hazards_come_from_columns_only_where_the_project_says_so(tmp_path: Path) -> None:
    frame = grid().assign(sds_g=[0.5, 0.6, np.nan, 0.7], my_class=["d", "C", "", "D"])
    lots, issues = read(tmp_path / "a", frame)
    assert lots["sds_g"].isna().all()
    assert "column_unused" in codes(issues, "note")
    lots, _ = read(tmp_path / "b", frame, hazards='sds_g = { column = "sds_g" }\nsite_class = { column = "my_class" }')
    assert lots["sds_g"].tolist()[:2] == [0.5, 0.6]
    assert lots["site_class"].tolist() == ["D", "C", "", "D"]


HOSTILE = [
    "=1+2",
    "../../x",
    "CON",
    "<script>alert(1)</script>",
    "a\x1b[31mb",
    "x" * 300,
    "'; drop table lots --",
    "\u202eabc",
]


def test_hostile_names_are_only_names(tmp_path: Path) -> None:
    frame = grid(len(HOSTILE))
    frame["lot_id"] = HOSTILE
    lots, issues = read(tmp_path, frame)
    assert list(lots["lot_id"]) == [clean(name) for name in HOSTILE]
    assert (lots["status"] == "").all()
    assert codes(issues, "fix") == ["lot_id_cleaned"] * 2  # the escape code and the turned writing direction
    assert len(lots) == len(HOSTILE)


# ---------------------------------------------------------------- plans


def test_l53_plans_styles_and_options_are_matched(tmp_path: Path) -> None:
    frame = grid(6)
    frame["plan"] = ["Thimble", "Kettel", "thimble", "thimble", "", "kettle"]
    frame["style"] = ["a", "", "Z", "B", "", ""]
    frame["options"] = ["Third_Bay; patio", "", "", "pool", "", ""]
    lots, _ = read(tmp_path, frame)
    issues = Issues()
    match_plans(lots, PLANS, has_mix=True, issues=issues)
    assert list(lots["status"]) == ["", "skipped", "skipped", "skipped", "", ""]
    assert list(lots["skip_reason"]) == ["", "plan_unknown", "style_unknown", "option_unknown", "", ""]
    assert (lots["plan"].iat[0], lots["style"].iat[0], lots["options"].iat[0]) == ("thimble", "A", "patio;third_bay")
    assert "kettle (the nearest)" in next(i for i in issues if i.code == "plan_unknown").message()
    assert any(i.code == "plan_open" and i.found.startswith("1 lots") for i in issues)


def test_l53_a_lot_without_plan_and_without_plan_mix_is_skipped(tmp_path: Path) -> None:
    lots, _ = read(tmp_path, grid().assign(plan=["thimble", None, "thimble", "thimble"]))
    match_plans(lots, PLANS, has_mix=False, issues=Issues())
    assert list(lots["skip_reason"]) == ["", "plan_missing", "", ""]


def test_the_first_reason_to_skip_stays(tmp_path: Path) -> None:
    lots, _ = read(tmp_path, with_shape(None))
    skip_lot(lots, 1, "plan_unknown", "later", "", Issues())
    assert lots["skip_reason"].iat[1] == "no_geometry"


def test_options_are_split_and_sorted() -> None:
    assert split_options(" third_bay ;patio;; ") == ["patio", "third_bay"]


# ---------------------------------------------------------------- drawings


def dxf(
    entities: list[tuple[str, list[tuple[float, float]], bool]], texts: dict[str, tuple[float, float]], unit: int
) -> str:
    """A small ASCII drawing: light-weight polylines (layer, points, closed) and texts on layer LOT_TEXT."""
    lines = ["0", "SECTION", "2", "HEADER", "9", "$INSUNITS", "70", str(unit), "0", "ENDSEC"]
    lines += ["0", "SECTION", "2", "ENTITIES"]
    for layer, points, closed in entities:
        lines += ["0", "LWPOLYLINE", "8", layer, "90", str(len(points)), "70", "1" if closed else "0"]
        for x, y in points:
            lines += ["10", str(x), "20", str(y)]
    for text, (x, y) in texts.items():
        lines += ["0", "TEXT", "8", "LOT_TEXT", "10", str(x), "20", str(y), "40", "2", "1", text]
    return "\n".join([*lines, "0", "ENDSEC", "0", "EOF", ""])


def square(column: int, gap: float = 0.0) -> list[tuple[float, float]]:
    x = 3_000_000.0 + column * 65
    corners = [(x, 1_500_000.0), (x + 65, 1_500_000.0), (x + 65, 1_500_125.0), (x, 1_500_125.0)]
    return corners if gap == 0 else [*corners, (x, 1_500_000.0 + gap)]


TEXTS = {f"A-0{i + 1}": (3_000_000.0 + i * 65 + 30, 1_500_060.0) for i in range(3)}
SURVEY_FEET = "EPSG:2232"  # Colorado Central, US survey feet


def test_l49_a_drawing_is_read_and_gaps_are_closed_or_said(tmp_path: Path) -> None:
    outlines = [("LOT", square(0), True), ("LOT", square(1, 0.005), False), ("LOT", square(2, 0.3), False)]
    (tmp_path / "lots.dxf").write_text(dxf(outlines, TEXTS, 21))
    lots, issues = read(tmp_path, None, file="lots.dxf", lots=f'layer = "LOT"\ncrs = "{SURVEY_FEET}"')
    assert list(lots["lot_id"]) == ["A-01", "A-02", "A-03"]
    assert list(lots["status"]) == ["", "", "skipped"]
    assert lots["area_sqft"].iloc[:2].to_numpy() == pytest.approx(65 * 125, rel=1e-3)
    assert "is open by 0.0050 ft" in next(i for i in issues if i.code == "outline_closed").found
    assert "is open by 0.30 ft" in next(i for i in issues if i.code == "outline_open").found


def test_l49_a_drawing_without_system_unit_or_layer_stops(tmp_path: Path) -> None:
    (tmp_path / "lots.dxf").write_text(dxf([("LOT", square(0), True), ("ROAD", square(1), True)], TEXTS, 0))
    assert any("no coordinate system (no unit)" in m for m in stops(tmp_path, None, file="lots.dxf"))
    found = stops(tmp_path, None, file="lots.dxf", lots=f'crs = "{SURVEY_FEET}"')
    assert any("outlines on 2 layers: LOT (1), ROAD (1); expected one" in m for m in found), found
    (tmp_path / "lots.dxf").write_text(dxf([("LOT", square(0), True)], TEXTS, 6))
    found = stops(tmp_path, None, file="lots.dxf", lots=f'crs = "{SURVEY_FEET}"')
    assert any("in units of 1 m" in m for m in found), found


def test_l49_single_lines_are_joined(tmp_path: Path) -> None:
    corners = square(0)
    sides = [("LOT", [corners[i], corners[(i + 1) % 4]], False) for i in range(4)]
    (tmp_path / "lots.dxf").write_text(dxf(sides, {"A-01": TEXTS["A-01"]}, 21))
    lots, issues = read(tmp_path, None, file="lots.dxf", lots=f'crs = "{SURVEY_FEET}"')
    assert list(lots["lot_id"]) == ["A-01"]
    assert "outlines_joined" in codes(issues, "warn")


def landxml(unit: str, outline: str) -> str:
    units = f'<Units><Imperial linearUnit="{unit}"/></Units>' if unit else ""
    return (
        '<?xml version="1.0"?><LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">'
        f'{units}<Parcels><Parcel name="A-01"><CoordGeom>{outline}</CoordGeom></Parcel></Parcels></LandXML>'
    )


def line(a: tuple[float, float], b: tuple[float, float]) -> str:
    return f"<Line><Start>{a[1]} {a[0]}</Start><End>{b[1]} {b[0]}</End></Line>"


def test_l50_parcels_with_arcs_north_first(tmp_path: Path) -> None:
    a, b, c, d = square(0)
    centre = ((c[0] + d[0]) / 2, c[1])
    arc = (
        f'<Curve rot="ccw"><Start>{c[1]} {c[0]}</Start><Center>{centre[1]} {centre[0]}</Center>'
        f"<End>{d[1]} {d[0]}</End></Curve>"
    )
    (tmp_path / "lots.xml").write_text(landxml("USSurveyFoot", line(a, b) + line(b, c) + arc + line(d, a)))
    lots, _ = read(tmp_path, None, file="lots.xml", lots=f'crs = "{SURVEY_FEET}"')
    assert list(lots["lot_id"]) == ["A-01"]
    # The rectangle and half a disc of 32.5 ft radius on its far side.
    assert lots["area_sqft"].iat[0] == pytest.approx(65 * 125 + np.pi * 32.5**2 / 2, rel=2e-3)


@pytest.mark.parametrize(("unit", "words"), [("", "no Units element"), ("cubit", "linear unit 'cubit'")])
def test_l50_no_unit_stops(tmp_path: Path, unit: str, words: str) -> None:
    (tmp_path / "lots.xml").write_text(landxml(unit, line(*square(0)[:2])))
    assert any(words in m for m in stops(tmp_path, None, file="lots.xml", lots=f'crs = "{SURVEY_FEET}"'))


def test_l50_an_open_parcel_is_skipped(tmp_path: Path) -> None:
    a, b, c, d = square(0)
    (tmp_path / "lots.xml").write_text(
        landxml("USSurveyFoot", line(a, b) + line(b, c) + line(c, d)).replace(
            "</Parcels>",
            "<Parcel name='A-02'><CoordGeom>"
            + line(a, b)
            + line(b, c)
            + line(c, a)
            + "</CoordGeom></Parcel></Parcels>",
        )
    )
    lots, issues = read(tmp_path, None, file="lots.xml", lots=f'crs = "{SURVEY_FEET}"')
    assert list(lots["status"]) == ["skipped", ""]
    assert "outline_open" in codes(issues)


# ---------------------------------------------------------------- laws


def damaged(kind: int, row: int) -> Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame]:
    def apply(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        frame = frame.copy()
        if kind == 0:
            frame.loc[row, "lot_id"] = None
        elif kind == 1:
            frame.loc[row, "lot_id"] = frame["lot_id"].iat[(row + 1) % len(frame)]
        elif kind == 2:
            frame.loc[row, "mirrored"] = "perhaps"
        else:
            shapes = frame.geometry.to_numpy().copy()
            shapes[row] = None
            frame = frame.set_geometry(gpd.GeoSeries(shapes, crs=CRS))
        return frame

    return apply


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 7)), max_size=4), st.randoms(use_true_random=False))
@settings(max_examples=25, deadline=None)
def test_every_lot_comes_out_once_and_good_lots_do_not_notice(
    tmp_path_factory: pytest.TempPathFactory, damage: list[tuple[int, int]], random: Any
) -> None:
    folder = tmp_path_factory.mktemp("law")
    frame = grid(8).assign(mirrored="no")
    for kind, row in damage:
        frame = damaged(kind, row)(frame)
    try:
        lots, issues = read(folder / "a", frame)
        order = list(range(8))
        random.shuffle(order)
        shuffled, _ = read(folder / "b", frame.iloc[order].reset_index(drop=True))
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    assert lots["lot_id"].is_unique
    assert sorted(lots["source_row"]) == list(range(1, 9))
    assert set(lots.loc[lots["status"] == "skipped", "lot_id"]) <= {issue.lot_id for issue in issues}
    good = lots[lots["status"] == ""].set_index("lot_id").drop(columns=["source_row", "geometry"])
    again = shuffled[shuffled["status"] == ""].set_index("lot_id").drop(columns=["source_row", "geometry"])
    pd.testing.assert_frame_equal(good.sort_index(), again.sort_index())
    clean_lots, _ = read(folder / "c", grid(8).assign(mirrored="no"))
    whole = clean_lots.set_index("lot_id").loc[good.index].drop(columns=["source_row", "geometry"])
    # Lots that stand beside a skipped one keep every number, to the last bit but for the working system's centre.
    pd.testing.assert_frame_equal(good, whole, rtol=1e-9)
