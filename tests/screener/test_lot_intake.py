"""What is told of lots whose system, columns or neighbours are wrong: proposals to paste, and a map of the problems."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from damaged_project import Project
from project_helpers import CRS, WIDTH_M, box, grid, project
from shapely.geometry import LineString, Polygon
from tract_helpers import SAMPLE, command, cut, sample_lots

from hazard.crs_proposals import Ground, common_ground, propose
from hazard.issues import DrawnPlace, InputError, Issue, Issues
from screener.column_suggestions import block_and_lot, likely, likely_ids, mapping_line, unique_together
from screener.config import load_tract
from screener.files.vectors import VectorFile, read_layer
from screener.lot_neighbours import doubtful_lots, gaps, overlaps
from screener.lot_problems import KINDS, problem_layer
from screener.lots import read_lots

# ---------------------------------------------------------------- proposals of systems

DENVER = Ground("a county", -105.2, 39.6, -104.8, 39.9)


@pytest.mark.parametrize(
    ("given", "code", "axes"),
    [
        # 39.7392 N 104.9849 W in each system, by PROJ 9.5; what is tested is that the system is found again.
        ((-104.9849, 39.7392), "EPSG:4326", "xy"),
        ((39.7392, -104.9849), "EPSG:4326", "yx"),
        ((3144858.4, 1694544.0), "EPSG:2232", "xy"),
        ((1694544.0, 3144858.4), "EPSG:2232", "yx"),
        ((958554.8, 516498.1), "EPSG:26954", "xy"),
        ((501293.8, 4398811.7), "EPSG:26913", "xy"),
        ((-11686865.6, 4828115.6), "EPSG:3857", "xy"),
    ],
)
def test_the_system_of_a_known_place_is_proposed_first(given: tuple[float, float], code: str, axes: str) -> None:
    units = {"EPSG:4326": 7.98e-8, "EPSG:2232": 8125.0, "EPSG:3857": 8125 * 0.3048**2 * 1.691}
    area = units.get(code, 8125 * 0.3048**2)
    best = propose(given, area, DENVER)[0]
    assert (best.code, best.axes) == (code, axes)
    assert best.lot_sqft == pytest.approx(8125, rel=0.01)
    assert (best.lon, best.lat) == pytest.approx((-104.9849, 39.7392), abs=1e-5)
    assert f'crs = "{code}"' in best.line()


def test_a_system_with_lots_of_no_possible_size_is_not_proposed() -> None:
    assert propose((3144858.4, 1694544.0), 3.0e7, DENVER) == []


def test_no_system_of_lengths_is_made_for_lots_of_a_millionth_of_a_unit(monkeypatch: pytest.MonkeyPatch) -> None:
    """Degrees are told by the size of a lot alone; the database is then not asked for systems of lengths."""

    def asked(*_: object, **__: object) -> None:
        raise AssertionError("the database was asked")

    monkeypatch.setattr("hazard.crs_proposals.query_crs_info", asked)
    nation = Ground("wind.tif", -125.0, 24.0, -66.0, 50.0)
    found = propose((-105.0, 37.95), 7.7e-8, nation)
    assert [p.code for p in found] == ["EPSG:4326", "EPSG:4267"]
    assert found[0].lot_sqft == pytest.approx(8086, rel=1e-3)


def test_the_common_ground_is_what_all_rasters_share() -> None:
    other = Ground("a state", -110.0, 39.7, -100.0, 45.0)
    shared = common_ground([DENVER, other])
    assert shared is not None
    assert (shared.west, shared.south, shared.east, shared.north) == (-105.2, 39.7, -104.8, 39.9)
    apart = Ground("elsewhere", 10.0, 10.0, 30.0, 30.0)
    assert common_ground([DENVER, apart]) == DENVER, "where they do not meet, the smallest"
    assert common_ground([]) is None


def test_a_pasted_proposal_makes_the_project_run(tmp_path: Path) -> None:
    """The first line that a stop offers is pasted, and the lots come out as those of the good file."""
    streets = 'streets = { file = "streets.gpkg" }'
    road = gpd.GeoDataFrame(geometry=[LineString(grid().total_bounds.reshape(2, 2))], crs=CRS)
    tmp_path.joinpath("a").mkdir()
    road.to_file(tmp_path / "a" / "streets.gpkg")
    feet = grid().to_crs("EPSG:2233").set_crs(None, allow_override=True)
    with pytest.warns(UserWarning, match="crs"), pytest.raises(InputError) as raised:
        read_lots(project(tmp_path / "a", feet, ground=streets), Issues())
    message = raised.value.issues[0].message()
    assert "on streets.gpkg, best first" in message
    line = next(part.strip() for part in message.splitlines() if part.strip().startswith("crs = "))
    lots = read_lots(project(tmp_path / "a", None, ground=streets, lots=line), Issues())
    assert lots.crs.to_epsg() == 2233
    assert lots["area_sqft"].to_numpy() == pytest.approx(760 / 0.9996**2 / 0.3048**2, rel=1e-6)


# ---------------------------------------------------------------- columns


@pytest.mark.parametrize(
    ("text", "pair"),
    [
        ("BLK 3 LOT 12", ("3", "12")),
        ("Block 3, Lot 12A", ("3", "12A")),
        ("L12 B3", ("3", "12")),
        ("B3 L12", ("3", "12")),
        ("Lot 12 Block C", ("C", "12")),
        ("3-12", ("3", "12")),
        ("A-01", None),
        ("1234", None),
        ("LOT 12", None),
        ("2026-03-04", None),
    ],
)
def test_block_and_lot_of_an_id(text: str, pair: tuple[str, str] | None) -> None:
    assert block_and_lot(text) == pair


def test_likely_columns_by_name_and_by_content() -> None:
    frame = pd.DataFrame(
        {
            "OBJECT": ["x", "x", "x"],
            "LOT_NO": ["1", "1", "2"],
            "BLK": ["A", "B", "A"],
            "PIN": ["771-1", "771-2", "771-3"],
            "SHAPE_Area": [756.25, 811.5, 799.125],
            "Azimuth": [10.0, 350.0, 90.0],
            "BEARING": ["N", "E", "S"],
            "MODEL": ["thimble", "kettle", "thimble"],
        }
    )
    called, others = likely_ids(frame)
    assert called == ["LOT_NO", "PIN"]
    assert others == [], "areas differ on every lot, but they are measurements"
    assert likely(frame, "front_bearing_deg") == ["Azimuth"], "letters are no degrees"
    assert likely(frame, "plan") == ["MODEL"]
    assert unique_together(frame, "BLK", "LOT_NO")
    assert not unique_together(frame, "OBJECT", "LOT_NO")


def test_a_line_to_paste_is_toml_whatever_the_name() -> None:
    import tomllib

    hostile = {"lot_id": 'a "b" \\ c\x1b[31m', "plan": "täg = 1"}
    assert tomllib.loads(mapping_line(hostile))["columns"] == hostile


def test_a_pasted_mapping_makes_the_project_run(tmp_path: Path) -> None:
    frame = grid().drop(columns="lot_id").assign(LOT_NO=["1", "2", "1", "2"], BLK=["BLK 1", "BLK 1", "BLK 2", "BLK 2"])
    with pytest.raises(InputError) as raised:
        read_lots(project(tmp_path, frame), Issues())
    message = raised.value.issues[0].message()
    line = message.partition("under [lots]: ")[2].partition(" or: ")[0]
    assert line == 'columns = { block = "BLK", lot = "LOT_NO" }'
    lots = read_lots(project(tmp_path, None, lots=line), Issues())
    assert list(lots["lot_id"]) == ["1-1", "1-2", "2-1", "2-2"]


def test_blocks_are_read_from_ids_where_no_column_gives_them(tmp_path: Path) -> None:
    issues = Issues()
    lots = read_lots(project(tmp_path, grid(2).assign(lot_id=["BLK 3 LOT 12", "BLK 4 LOT 12"])), issues)
    assert list(lots["lot_id"]) == ["BLK 3 LOT 12", "BLK 4 LOT 12"], "an id stays what it is"
    assert list(lots["block"]) == ["3", "4"]
    assert "block_from_lot_id" in [issue.code for issue in issues]


# ---------------------------------------------------------------- neighbours

FOOT = 0.3048


def row_of(*widths_ft: float, between_ft: float = 0.0, turn_deg: float = 0.0) -> Any:
    """Lots 125 ft deep side by side, with ground between them, turned about a corner."""
    shapes, x = [], 0.0
    for width in widths_ft:
        shapes.append(shapely.box(x * FOOT, 0.0, (x + width) * FOOT, 125 * FOOT))
        x += width + between_ft
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return shapely.transform(np.array(shapes, dtype=object), lambda xy: xy @ np.array([[c, s], [-s, c]]))


@pytest.mark.parametrize("turn", [0.0, 37.0, 90.0])
@pytest.mark.parametrize(
    ("between", "found"), [(0.0, 0), (0.015, 0), (0.03, 2), (0.5, 2), (0.99, 2), (1.2, 0), (10.0, 0)]
)
def test_slivers_are_found_by_their_width(between: float, found: int, turn: float) -> None:
    """Between 0.02 ft (two lines rounded to 0.01 ft) and 1 ft; the ground has the area that it was drawn with."""
    lots = row_of(60, 60, 60, between_ft=between, turn_deg=turn)
    first, second, ground = gaps(lots, doubtful_lots(lots))
    assert len(ground) == found
    assert list(zip(first, second, strict=True)) == [(0, 1), (1, 2)][:found]
    assert shapely.area(ground) / FOOT**2 == pytest.approx([125 * between] * found, rel=1e-6)


def test_a_wedge_between_lots_is_a_sliver_and_a_wide_one_is_not() -> None:
    """One lot line drawn to a wrong corner: 0 ft apart at the street, some feet at the back."""
    lots = row_of(60, 60)

    def between(back_ft: float) -> Any:
        moved = lots.copy()
        corner = np.array([[60, 0], [120, 0], [120, 125], [60 + back_ft, 125]]) * FOOT
        moved[1] = Polygon(corner)
        return gaps(moved, doubtful_lots(moved))[2]

    ground = between(0.8)
    assert shapely.area(ground) / FOOT**2 == pytest.approx([0.8 * 125 / 2])
    assert len(between(8.0)) == 0, "less than 1 ft wide over 16 ft only"


def test_lots_that_meet_at_unlike_corners_leave_no_sliver() -> None:
    """Lots back to back with unlike widths: no corner of one row is a corner of the other."""
    front, back = row_of(60, 60, 60), row_of(50, 70, 45)
    behind = shapely.transform(back, lambda xy: np.add(xy, (7 * FOOT, 125 * FOOT)))
    turned = shapely.transform(np.concatenate([front, behind]), lambda xy: xy @ np.array([[0.8, 0.6], [-0.6, 0.8]]))
    assert len(gaps(turned, doubtful_lots(turned))[0]) == 0
    assert len(overlaps(turned, doubtful_lots(turned))[0]) == 0


def test_missing_and_single_shapes_are_no_neighbours() -> None:
    for lots in (np.array([None, None], dtype=object), row_of(60)):
        doubtful = doubtful_lots(lots)
        assert len(gaps(lots, doubtful)[0]) == len(overlaps(lots, doubtful)[0]) == 0


def test_of_two_lots_that_share_ground_one_is_doubtful() -> None:
    """Random shapes on a grid: contained, repeated, crossing at corners, along one line. The quick look is enough."""
    rng = np.random.default_rng(20)
    turn = np.array([[0.8, 0.6], [-0.6, 0.8]])
    found = 0
    for _ in range(150):
        low = rng.integers(0, 12, (10, 2)) * 10.0
        high = low + rng.integers(1, 5, (10, 2)) * 10.0
        boxes = shapely.box(*low.T, *high.T)
        corners = [Polygon(rng.integers(0, 10, (4, 2)) * 12.0) for _ in range(10)]
        lots = np.array([*boxes, *(c for c in corners if c.is_valid and c.area > 50)], dtype=object)
        lots = np.asarray(shapely.transform(lots, lambda xy: xy @ turn))
        every = overlaps(lots, np.ones(len(lots), dtype=bool))
        quick = overlaps(lots, doubtful_lots(lots))
        assert [a.tolist() for a in every[:2]] == [a.tolist() for a in quick[:2]]
        found += len(every[0])
    assert found > 1000


def test_the_sample_has_no_problem_between_lots() -> None:
    """The clean tract, in its own system and in degrees: nothing is listed."""
    issues = Issues()
    lots = read_lots(load_tract(SAMPLE / "tract.toml"), issues)
    assert problem_layer(issues, lots) == {}
    assert len(sample_lots()) == len(lots) == 180


# ---------------------------------------------------------------- the layer


def damaged_grid() -> gpd.GeoDataFrame:
    """Six lots: two overlap by 3 m, a sliver of 0.2 m, a bow-tie, a good pair."""
    frame = grid(6)
    shapes = frame.geometry.to_numpy().copy()
    shapes[1] = box(1, width=WIDTH_M + 3.0)
    shapes[3] = box(3, width=WIDTH_M - 0.2)
    west, south, east, north = box(5).bounds
    shapes[5] = Polygon([(west, south), (east, north), (east, south), (west, north)])
    return frame.set_geometry(gpd.GeoSeries(shapes, crs=CRS))


def layer_of(folder: Path, frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    issues = Issues()
    lots = read_lots(project(folder, frame), issues)
    return problem_layer(issues, lots)["lot_problems"]


def test_problems_are_drawn_where_they_are(tmp_path: Path) -> None:
    layer = layer_of(tmp_path, damaged_grid())
    assert layer.crs.to_epsg() == 26913
    assert [(r.kind, r.code, r.lot_ids) for r in layer.itertuples()] == [
        ("gap", "lots_gap", "A-04;A-05"),
        ("overlap", "lots_overlap", "A-02;A-03"),
        ("shape", "shape_broken", "A-06"),
    ]
    gap, overlap, broken = layer.geometry
    assert overlap.bounds == pytest.approx((*box(2).bounds[:2], box(2).bounds[0] + 3.0, box(2).bounds[3]), abs=1e-5)
    assert gap.bounds == pytest.approx(
        (box(4).bounds[0] - 0.2, *box(4).bounds[1:2], box(4).bounds[0], box(4).bounds[3])
    )
    assert box(5).buffer(1.0).contains(broken)
    true = 1 / 0.9996**2 / FOOT**2
    assert layer["area_sqft"].tolist()[:2] == pytest.approx([0.2 * 38 * true, 3 * 38 * true], abs=0.06)
    assert layer["length_ft"].tolist()[:2] == pytest.approx([38 / 0.9996 / FOOT] * 2, abs=0.06)
    assert set(layer.geometry.geom_type) == {"MultiPolygon"}
    assert layer.geometry.is_valid.all()


def test_the_layer_does_not_depend_on_the_order_of_the_lots(tmp_path: Path) -> None:
    frame = damaged_grid()
    ahead = layer_of(tmp_path / "a", frame)
    behind = layer_of(tmp_path / "b", frame.iloc[::-1].reset_index(drop=True))
    pd.testing.assert_frame_equal(ahead.drop(columns="geometry"), behind.drop(columns="geometry"))
    assert (ahead.geometry.to_wkb() == behind.geometry.to_wkb()).all()


def test_a_run_writes_the_layer_and_a_clean_one_does_not(tmp_path: Path) -> None:
    """The whole way: two neighbours with a sliver between them, and the same two as they were drawn."""
    for name, step, there in (("a", -0.1, True), ("b", 0.0, False)):
        p = Project(tmp_path / name)
        p.lots = cut(("A-02", "A-03")).assign(plan="thimble", style="A", options=None)
        shapes = p.lots.geometry.to_numpy().copy()
        east = shapes[0].bounds[2]
        moved = np.where(shapely.get_coordinates(shapes[0])[:, :1] > east - 1, [[step, 0.0]], 0.0)
        shapes[0] = shapely.set_coordinates(shapes[0], shapely.get_coordinates(shapes[0]) + moved)
        p.lots = p.lots.set_geometry(gpd.GeoSeries(shapes, crs=p.lots.crs))
        assert command("run", p.write(), "--quiet")[0] in (0, 3)
        file = p.folder / "results" / "tract.gpkg"
        layers = [str(layer) for layer, _ in pyogrio.list_layers(file)]
        assert ("lot_problems" in layers) == there
        if there:
            found = gpd.read_file(file, layer="lot_problems")
            assert found["lot_ids"].tolist() == ["A-02;A-03"]
            assert "0.33 ft wide and 125 ft long" in found["words"].iat[0]


def test_a_problem_without_a_place_is_not_drawn_and_each_kind_has_a_style() -> None:
    from screener.files.styles import PROBLEM_KINDS

    lots = gpd.GeoDataFrame({"lot_id": ["A"]}, geometry=[None], crs=CRS)
    assert problem_layer([Issue("lot_far_away", "warn", "f", "x", lot_id="A")], lots) == {}
    assert problem_layer([Issue("plan_missing", "skip", "f", "x", lot_id="A")], lots) == {}
    spot = Issue("hole_outside", "skip", "f", "x", place=DrawnPlace(shapely.Point(5e5, 4.2e6), ("A",)))
    layer = problem_layer([spot], lots)["lot_problems"]
    assert layer.geometry.area.iat[0] == pytest.approx(np.pi, rel=0.02), "a point is widened to be seen"
    assert set(KINDS) == set(PROBLEM_KINDS)


# ---------------------------------------------------------------- attacks


def file_of(path: Path, **more: Any) -> VectorFile:
    return VectorFile(path, path.name, **more)


def test_a_file_that_names_another_is_not_followed(tmp_path: Path) -> None:
    """By content, whatever its name; GDAL alone opens it and hands over the other file's layer."""
    shutil.copy(SAMPLE / "lots.gpkg", tmp_path / "secret.gpkg")
    source = f"<SrcDataSource>{tmp_path / 'secret.gpkg'}</SrcDataSource>"
    text = f'<OGRVRTDataSource><OGRVRTLayer name="lots">{source}</OGRVRTLayer></OGRVRTDataSource>'
    for name in ("lots.vrt", "lots.geojson", "lots.shapes"):
        (tmp_path / name).write_text(text)
        issues = Issues()
        assert read_layer(file_of(tmp_path / name), issues) is None
        assert [issue.code for issue in issues] == ["file_virtual"]


def test_a_shape_that_claims_four_billion_points_costs_nothing(tmp_path: Path) -> None:
    """A geometry whose header promises more points than the file has bytes."""
    import sqlite3
    import struct
    import tracemalloc
    from contextlib import closing

    grid(2).to_file(tmp_path / "lots.gpkg", layer="lots")
    blob = b"GP" + bytes([0, 1]) + struct.pack("<i", 26913) + struct.pack("<BIII", 1, 3, 1, 0xFFFFFFFF)
    with closing(sqlite3.connect(tmp_path / "lots.gpkg")) as database:
        for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        database.execute("UPDATE lots SET geom = ? WHERE fid = 1", (blob,))
        database.commit()
    issues = Issues()
    tracemalloc.start()
    layer = read_layer(file_of(tmp_path / "lots.gpkg"), issues)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 50_000_000
    assert layer is None or layer.frame.geometry.isna().tolist() == [True, False]


def test_names_with_markup_are_only_text_in_the_layer(tmp_path: Path) -> None:
    frame = damaged_grid()
    frame["lot_id"] = ["<script>alert(1)</script>", "'; drop table lots --", "=cmd()", "a;b", '"><img src=x>', "&lt;"]
    layer = layer_of(tmp_path, frame)
    assert len(layer) == 3
    shared = layer[layer["kind"] == "overlap"]["lot_ids"].iat[0]
    assert set(shared.split(";")[:1]) <= {"'", "=cmd()"}
