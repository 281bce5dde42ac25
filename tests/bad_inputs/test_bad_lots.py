"""Bad inputs, table `lots.csv`: each row's damage, and the row's outcome."""

from __future__ import annotations

import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from bad_cases import Damage, rows_to_do, run_case
from case_table import Case
from damaged_lots import (
    FEET,
    SQUARE_FT,
    archive,
    both,
    box_of,
    cells,
    corners,
    drawing,
    dropped,
    east_edge,
    encrypted,
    file,
    geojson,
    given,
    good_drawing_with,
    landxml,
    link,
    moved,
    neighbours,
    open_lots,
    renamed,
    shape,
    sql,
    system,
    three_lots,
    wind_raster,
    written,
    zipped,
)
from damaged_project import Project
from narrow_columns import narrowed
from shapely.geometry import GeometryCollection, LineString, MultiPolygon, Polygon

NAN_POINT = (float("nan"), 4_200_000.0)
BOMB = '<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>'
VIEW = (
    'CREATE VIEW shown AS SELECT * FROM "lots"',
    "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
    "SELECT 'shown', 'features', 'shown', srs_id FROM gpkg_contents WHERE table_name = 'lots'",
    "INSERT INTO gpkg_geometry_columns SELECT 'shown', column_name, geometry_type_name, srs_id, z, m "
    "FROM gpkg_geometry_columns WHERE table_name = 'lots'",
)
OPEN_FT = ((65.0, 0.0), (130.0, 0.0), (130.0, 125.0), (65.0, 125.0), (65.0, 0.3))
VIRTUAL_SOURCE = (
    '<OGRVRTDataSource><OGRVRTLayer name="lots"><SrcDataSource>/etc/lots.gpkg</SrcDataSource></OGRVRTLayer>'
    "</OGRVRTDataSource>"
)


def two_layers(p: Project) -> None:
    written("two.gpkg", lambda path: p.lots.to_file(path, layer="draft"))(p)


def cut_file(p: Project) -> None:
    written("cut.gpkg", lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 3]))(p)


def other_plan_twice(p: Project) -> None:
    again = p.lots.iloc[[0]].assign(plan="kettle")
    p.lots = gpd.GeoDataFrame(pd.concat([p.lots, again], ignore_index=True), crs=p.lots.crs)


def same_lot_twice(p: Project) -> None:
    p.lots = gpd.GeoDataFrame(pd.concat([p.lots, p.lots.iloc[[0]]], ignore_index=True), crs=p.lots.crs)


def raster_over_one_lot(p: Project) -> None:
    """A wind raster whose east edge runs between the two lots."""
    middle = (box_of(p, 0)[2] + box_of(p, 1)[0]) / 2.0
    x = p.lots.total_bounds[0]
    p.raster("wind_speed_mph", 115.0, size=6, cell=200.0, off=middle - x - 600.0)


def open_ring(p: Project) -> None:
    west, south, east, north = box_of(p)
    ring = [[west, south], [east, south], [east, north], [west, north]]
    geojson({"type": "Polygon", "coordinates": [ring]})(p)


def shell_as_hole(p: Project) -> None:
    """A hole that is written as a second shell inside the first."""
    west, south, east, north = box_of(p)
    inner = [[west + 2, south + 2], [east - 2, south + 2], [east - 2, north - 2], [west + 2, north - 2]]
    outer = [[west, south], [east, south], [east, north], [west, north]]
    geojson({"type": "MultiPolygon", "coordinates": [[[*r, r[0]]] for r in (outer, inner)]})(p)


def clockwise(p: Project) -> None:
    west, south, east, north = box_of(p)
    ring = [[west, south], [west, north], [east, north], [east, south], [west, south]]
    geojson({"type": "Polygon", "coordinates": [ring]})(p)


def many_vertices(lot: Polygon) -> Polygon:
    turn = np.linspace(0.0, 2.0 * np.pi, 101_000, endpoint=False)
    x, y = lot.centroid.coords[0]
    return Polygon(np.column_stack([x + 9.0 * np.cos(turn), y + 9.0 * np.sin(turn)]))


def across_the_date_line(p: Project) -> None:
    """Lots on both sides of 180 degrees, the second written with negative longitudes."""
    west = [shapely.box(179.9996, 52.0, 179.9998, 52.0004), shapely.box(-179.9998, 52.0, -179.9996, 52.0004)]
    p.lots = p.lots.set_geometry(gpd.GeoSeries(west, crs="EPSG:4269"), crs="EPSG:4269")


def on_two_continents(p: Project) -> None:
    three_lots(p)
    spots = [shapely.box(x, 38.0, x + 0.0002, 38.0004) for x in (-100.0, 20.0, 140.0)]
    p.lots = p.lots.set_geometry(gpd.GeoSeries(spots, crs="EPSG:4326"), crs="EPSG:4326")


def shapefile_without(part: str) -> Damage:
    return written("lots.shp", lambda path: path.with_suffix(part).unlink())


def journal(path: Path) -> None:
    path.with_name(path.name + "-journal").write_bytes(b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7" + b"\0" * 504)


def encrypted_archive(p: Project) -> None:
    archive(("lots.geojson", b"{}"))(p)
    encrypted(p.folder / "lots.zip")


def wrong_bytes(p: Project) -> None:
    """An archive whose one member is other bytes than it says: its first byte, packed, is changed."""
    archive(("lots.geojson", b"{}"))(p)
    path = p.folder / "lots.zip"
    path.write_bytes(path.read_bytes().replace(b"\xab\xae\x05\x00", b"\xab\xad\x05\x00", 1))


def names_of_sql(p: Project) -> None:
    renamed(plan='select "x"; drop table lots')(p)
    p.changes["lots.columns"] = {"plan": 'select "x"; drop table lots'}


def bare_numbers(p: Project) -> None:
    """Lot numbers that start anew in every block, the block under a name of its own."""
    p.lots = p.lots.drop(columns="block").assign(lot_id=["1", "1"], BLK=["A", "B"])


def block_and_number(p: Project) -> None:
    p.lots = p.lots.drop(columns=["block", "lot_id"]).assign(LOT_NO=["1", "1"], BLK=["A", "B"])


def wrong_encoding(p: Project) -> None:
    p.lots["note"] = "caf\u00e9"
    written("lots.shp", encoding="ISO-8859-1")(p)
    (p.folder / "lots.cpg").unlink()
    p.changes["lots.encoding"] = "utf-8"


def columns_by_case(p: Project) -> None:
    """Two columns that differ in case only, which GeoJSON can hold."""
    good = p.lots
    p.lots = good.rename(columns={"plan": "Plan"}).assign(PLAN="x")
    written("l.geojson")(p)
    p.lots = good


def cut_names(p: Project) -> None:
    p.lots = p.lots.assign(phase_number="1", phase_number_of_plat="2")
    written("lots.shp")(p)
    p.changes["lots.columns"] = {"phase": "phase_numb"}


def bow_tie(west: float, south: float, east: float, north: float) -> list[tuple[float, float]]:
    return [(west, south), (east, north), (east, south), (west, north)]


def small_loop(west: float, south: float, east: float, north: float) -> list[tuple[float, float]]:
    """The last corner overshot by a hand: the outline crosses itself in a loop of 0.02 m2."""
    return [(west, south), (east, south), (east, north), (west + 0.2, north), (west - 0.2, north + 0.2),
            (west, north + 0.2), (west, north - 0.2)]  # fmt: skip


def large_loop(west: float, south: float, east: float, north: float) -> list[tuple[float, float]]:
    """The same with a loop of a tenth of the lot."""
    side = math.sqrt(0.1 * (east - west) * (north - south))
    return [(west, south), (east, south), (east, north), (west - side, north), (west - side, north + side),
            (west, north + side)]  # fmt: skip


def spike(west: float, south: float, east: float, north: float) -> list[tuple[float, float]]:
    middle = (south + north) / 2.0
    return [
        (west, south),
        (east, south),
        (east, middle),
        (east + 3, middle),
        (east, middle),
        (east, north),
        (west, north),
    ]


DAMAGES: dict[str, Damage] = {
    "L1a": given(file="lotz.gpkg"),
    "L1b": file("bad.gpkg", "nothing that is a GeoPackage"),
    "L1c": cut_file,
    "L1d": file("lots.dat", b"\x00\x01nothing"),
    "L2": lambda p: setattr(p, "lots", p.lots.iloc[:0]),
    "L3": two_layers,
    "L4": shape(lambda lot: None),
    "L5": shape(lambda lot: Polygon()),
    "L6a": lambda p: setattr(p, "lots", p.lots.set_geometry(p.lots.geometry.centroid)),
    "L6b": shape(lambda lot: lot.exterior),
    "L7a": shape(corners(bow_tie)),
    "L7b": shape(corners(small_loop)),
    "L7c": shape(corners(large_loop)),
    "L8": shape(corners(spike)),
    "L9": open_ring,
    "L10a": clockwise,
    "L10b": shell_as_hole,
    "L11": shape(
        lambda lot: Polygon(lot.exterior, [shapely.transform(lot, lambda xy: np.add(xy, (0, 60))).exterior.coords])
    ),
    "L12a": shape(corners(lambda w, s, e, n: [(w, s), (w + 5, s), (w + 5, s + 5), (w, s + 5)])),
    "L12b": shape(corners(lambda w, s, e, n: [(w, s), (e, s), ((w + e) / 2, s)])),
    "L13a": shape(lambda lot: shapely.box(*np.add(lot.bounds, [0, 500, 400, 900]))),
    "L13b": shape(lambda lot: shapely.box(*np.add(lot.bounds, [0, 100, 300, 65]))),
    "L14": shape(lambda lot: MultiPolygon([lot, shapely.transform(lot, lambda xy: np.add(xy, (0, 100)))])),
    "L15": shape(lambda lot: GeometryCollection([lot, LineString(lot.exterior.coords[:2])])),
    "L16": lambda p: setattr(p, "lots", p.lots.set_geometry(shapely.force_3d(p.lots.geometry.to_numpy(), 250.0))),
    "L18": shape(corners(lambda w, s, e, n: [(w, s), (e, s), (NAN_POINT[0], n), (w, n)])),
    "L19a": moved(9e9, 0.0),
    "L19b": moved(9e6, 0.0),
    "L20": shape(lambda lot: Polygon([lot.exterior.coords[0], *lot.exterior.coords])),
    "L21": shape(many_vertices),
    "L22a": renamed(lot_id="LOT_NO"),
    "L22b": renamed(lot_id="ZAHL"),
    "L22c": block_and_number,
    "L22d": given(columns={"lot_id": "LOT_NO"}),
    "L22e": both(renamed(plan="MODEL", block="BLK", front_bearing_deg="Azimuth"), dropped("phase")),
    "L23": cells("lot_id", None, "A-04"),
    "L24": same_lot_twice,
    "L25a": other_plan_twice,
    "L25b": bare_numbers,
    "L25c": both(block_and_number, given(columns={"block": "BLK", "lot": "LOT_NO"})),
    "L26a": cells("lot_id", "A-02", "a 02"),
    "L26b": cells("lot_id", "BLK 3 LOT 12", "L12 B3"),
    "L27a": cells("lot_id", 2, 4),
    "L27b": cells("lot_id", "007", "1E5"),
    "L28a": both(neighbours, shape(east_edge(3.0))),
    "L28b": both(neighbours, shape(east_edge(-0.1))),
    "L29": both(neighbours, lambda p: shape(lambda lot: p.lots.geometry.iloc[0], 1)(p)),
    "L30": raster_over_one_lot,
    "L31a": both(wind_raster, system(None, None)),
    "L31b": both(wind_raster, system(FEET, None)),
    "L31c": both(wind_raster, system("EPSG:4269", None)),
    "L31d": both(wind_raster, system("EPSG:3857", None)),
    "L31e": system(None, None),
    "L32a": both(system(None, None), given(crs="EPSG:999999")),
    "L32b": given(crs='LOCAL_CS["site grid",UNIT["metre",1]]'),
    "L33": system("EPSG:4269"),
    "L34": system("EPSG:3857"),
    "L35a": both(wind_raster, system("EPSG:4269", turned=True)),
    "L35b": both(wind_raster, system(FEET, None, turned=True)),
    "L35c": both(system(FEET, None, turned=True), given(crs=FEET, axes="yx")),
    "L36a": both(wind_raster, system(FEET, "EPSG:26955")),
    "L36b": both(wind_raster, system("EPSG:26955", FEET)),
    "L36c": both(wind_raster, system("EPSG:4269", "EPSG:26913")),
    "L36d": both(wind_raster, system(None, "EPSG:4269")),
    "L36e": both(wind_raster, system(None, "EPSG:26912")),
    "L37": system(FEET),
    "L38a": both(wind_raster, system("EPSG:26713")),
    "L39": system(None, "EPSG:26913+5703"),
    "L40a": across_the_date_line,
    "L40b": on_two_continents,
    "L41": both(three_lots, moved(80_000.0, 0.0, 2)),
    "L42a": wrong_encoding,
    "L42b": cells("note", "caf\ufffd", ""),
    "L43a": shapefile_without(".dbf"),
    "L43b": shapefile_without(".shx"),
    "L43c": shapefile_without(".prj"),
    "L44a": both(open_lots, cut_names),
    "L44b": both(open_lots, cells("phase", "filing " * 50, "1"), written("lots.shp")),
    "L44c": both(open_lots, cells("phase", "filing 1", "filing 2 north"), written("lots.shp", narrowed("phase", 14))),
    "L45a": archive(("../../lots.geojson", b"{}")),
    "L45b": archive(("/etc/lots.geojson", b"{}")),
    "L45c": archive((link("lots.geojson"), b"/etc/hostname")),
    "L46a": archive(("lots.geojson", b"\0" * 5_000_000)),
    "L46b": archive(("inner.zip", b"PK")),
    "L46c": encrypted_archive,
    "L46d": archive(("plat/lots.shp", b""), ("plat/lots.shx", b"")),
    "L46e": archive(("a.csv", b"lot_id"), ("b.csv", b"lot_id"), ("notes.xml", b"<metadata/>")),
    "L46f": wrong_bytes,
    "L47a": file("lots.kml", f'<?xml version="1.0"?>{BOMB}<kml>&b;</kml>'),
    "L47b": landxml("USSurveyFoot", head=BOMB),
    "L47c": archive(("lots.kml", f'<?xml version="1.0"?>{BOMB}<kml>&b;</kml>'.encode())),
    "L48a": given(file="https://example.com/lots.gpkg"),
    "L48b": given(file="/vsicurl/https://example.com/lots.gpkg"),
    "L48c": file("lots.dat", VIRTUAL_SOURCE),
    "L48d": file("lots.kml", '<kml><!DOCTYPE kml SYSTEM "http://example.com/kml.dtd"></kml>'),
    "L48e": archive(("lots.json", VIRTUAL_SOURCE.encode())),
    "L49a": drawing((SQUARE_FT, True), texts=[("A-01", 30, 60)], unit=0, crs=None),
    "L49b": drawing((SQUARE_FT, True), (OPEN_FT, False), texts=[("A-01", 30, 60), ("A-02", 95, 60)], unit=21),
    "L49c": drawing((SQUARE_FT, True), texts=[("A-01", 30, 60)], unit=6),
    "L49d": drawing(texts=[("A-01", 30, 60)], unit=21),
    "L49e": drawing((SQUARE_FT, True), texts=[("A-01", 30, 60)], unit=0),
    "L49f": drawing(((*SQUARE_FT, (0.0, 0.005)), False), texts=[("A-01", 30, 60)], unit=21),
    "L49g": good_drawing_with(lambda content: content, "lots.dat"),
    "L49h": good_drawing_with(lambda content: content.replace(b"SECTION", b"SEC\0ION", 1)),
    "L50a": landxml(""),
    "L50b": landxml("USSurveyFoot"),
    "L50c": landxml("meter"),
    "L51a": both(written("view.gpkg", sql(*VIEW)), given(layer="shown")),
    "L51b": both(
        written(
            "view.gpkg", sql("ALTER TABLE gpkg_contents RENAME TO c", "CREATE VIEW gpkg_contents AS SELECT * FROM c")
        )
    ),
    "L51c": written("t.gpkg", sql("CREATE TRIGGER t AFTER INSERT ON lots BEGIN DELETE FROM lots; END")),
    "L51d": both(written("view.gpkg", sql(*VIEW)), zipped("view.gpkg"), given(layer="shown")),
    "L52": written("open.gpkg", journal),
    "L53a": cells("plan", "thimbel", "thimble"),
    "L53b": cells("mirrored", "perhaps", "no"),
    "L53c": cells("plan", None, "thimble"),
    "L54a": dropped("front_bearing_deg"),
    "L54b": cells("front_bearing_deg", "NE", "0"),
    "L54c": cells("front_bearing_deg", 361.0, 0.0),
    "L55a": columns_by_case,
    "L55b": names_of_sql,
}
"""Row id -> what is done to a good project."""


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("case", rows_to_do("L"))
def test_the_row_holds(case: Case, tmp_path: Path) -> None:
    run_case(case, DAMAGES[case.id], tmp_path)
