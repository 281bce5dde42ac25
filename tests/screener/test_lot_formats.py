"""One set of lots in every format that lots come in: from file to lots table the lots are the same."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import geopandas as gpd
import numpy as np
import pytest
import shapely
from project_helpers import CRS, grid, project

from hazard.issues import InputError, Issue, Issues
from screener.files.dxf_names import names_in_outlines
from screener.lots import read_lots

COUNT = 4
FEET = "EPSG:2232"  # Colorado Central, US survey feet
METRES_A_SURVEY_FOOT = 1200.0 / 3937.0  # its definition, 1893


def read(folder: Path, file: str, lots: str = "") -> tuple[gpd.GeoDataFrame, list[Issue]]:
    issues = Issues()
    return read_lots(project(folder, None, file=file, lots=lots), issues), list(issues)


def frame() -> gpd.GeoDataFrame:
    return grid(COUNT).assign(plan="thimble")


def zipped(folder: Path, target: Path) -> None:
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in sorted(folder.iterdir()):
            archive.write(part, f"plat 3/{part.name}")
        archive.writestr("__MACOSX/plat 3/._lots.shp", "clutter")


def as_shapefile(folder: Path) -> str:
    (folder / "shapes").mkdir(parents=True)
    frame().rename(columns={"front_bearing_deg": "bearing"}).to_file(folder / "shapes" / "lots.shp")
    return "shapes"


def in_a_zip(folder: Path) -> str:
    zipped(folder / as_shapefile(folder), folder / "lots.zip")
    return "lots.zip"


def alone_in_a_zip(write: Callable[[Path], str]) -> Callable[[Path], str]:
    """One file of another format in an archive, beside a note."""

    def write_zip(folder: Path) -> str:
        name = write(folder / "plat")
        with zipfile.ZipFile(folder / "lots.zip", "w", zipfile.ZIP_DEFLATED) as archive:
            archive.write(folder / "plat" / name, f"plat 3/{name}")
            archive.writestr("read me.txt", "lots of filing 3")
            archive.writestr("plat 3/metadata.xml", "<metadata/>")
        return "lots.zip"

    return write_zip


def as_kind(name: str) -> Callable[[Path], str]:
    def write(folder: Path) -> str:
        folder.mkdir(parents=True, exist_ok=True)
        if name.endswith("parquet"):
            frame().to_parquet(folder / name)
        else:
            frame().to_file(folder / name)
        return name

    return write


def as_points(folder: Path) -> str:
    """Sizes in true feet: the map grid is 0.9996 of true length on its central meridian, where these lots lie."""
    folder.mkdir(parents=True, exist_ok=True)
    middle = frame().geometry.centroid
    rows = ["lot_id,plan,x,y,width_ft,depth_ft,front_bearing_deg"]
    for name, point in zip(frame()["lot_id"], middle, strict=True):
        size = f"{20 / 0.9996 / 0.3048:.9f},{38 / 0.9996 / 0.3048:.9f}"
        rows.append(f"{name},thimble,{point.x:.6f},{point.y:.6f},{size},180")
    (folder / "lots.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return "lots.csv"


SHORT = 'columns = { front_bearing_deg = "bearing" }\n'
FORMATS: dict[str, tuple[Callable[[Path], str], str]] = {
    "GeoPackage": (as_kind("lots.gpkg"), ""),
    "shapefile": (lambda folder: as_shapefile(folder) + "/lots.shp", SHORT),
    "folder of a shapefile": (as_shapefile, SHORT),
    "zipped shapefile": (in_a_zip, SHORT),
    "GeoJSON": (as_kind("lots.geojson"), ""),
    "FlatGeobuf": (as_kind("lots.fgb"), ""),
    "GeoParquet": (as_kind("lots.parquet"), ""),
    "CSV of points": (as_points, f'crs = "{CRS}"\n'),
    "zipped GeoPackage": (alone_in_a_zip(as_kind("lots.gpkg")), ""),
    "zipped GeoJSON": (alone_in_a_zip(as_kind("lots.geojson")), ""),
    "zipped GeoParquet": (alone_in_a_zip(as_kind("lots.parquet")), ""),
    "zipped CSV of points": (alone_in_a_zip(as_points), f'crs = "{CRS}"\n'),
}


@pytest.mark.parametrize("kind", FORMATS)
def test_every_format_gives_the_same_lots(tmp_path: Path, kind: str) -> None:
    """Names, plans, bearings and areas exactly; corners to a micron.

    Rectangles made of points are turned to true north: at the middle of the lots, 40 m east of the zone's meridian, it
    is 5e-6 rad from grid north, which moves a corner 21 m from the lot's middle by 0.11 mm.
    """
    write, lots = FORMATS[kind]
    found, issues = read(tmp_path, write(tmp_path), lots)
    assert not [issue for issue in issues if issue.severity in ("stop", "skip", "fix")]
    found = found.sort_values("lot_id").reset_index(drop=True)
    expected = frame()
    assert list(found["lot_id"]) == list(expected["lot_id"])
    assert list(found["plan"]) == ["thimble"] * COUNT
    assert found["front_bearing_deg"].tolist() == [180.0] * COUNT
    assert found["area_sqft"].to_numpy() == pytest.approx(760 / 0.9996**2 / 0.3048**2, rel=1e-6)
    apart = shapely.hausdorff_distance(found.geometry.to_crs(CRS).to_numpy(), expected.geometry.to_numpy())
    assert apart.max() < (1.2e-4 if kind.endswith("CSV of points") else 1e-6)
    assert sorted(p.name for p in tmp_path.iterdir()) != []
    assert not (tmp_path / "plat 3").exists(), "nothing is unpacked here"


def test_points_become_rectangles_turned_to_their_front(tmp_path: Path) -> None:
    """A lot 60 by 100 ft that fronts 90 degrees is 100 ft from west to east; the issues say the shape is assumed."""
    (tmp_path / "lots.csv").write_text(
        "lot_id,lon,lat,width_ft,depth_ft,front_bearing_deg\nA-1,-105.0,37.95,60,100,90\nA-2,-105.0,37.96,60,100,45\n"
        "A-3,-105.0,37.97,60,,45\n"
    )
    lots, issues = read(tmp_path, "lots.csv", 'crs = "EPSG:4269"')
    assert lots["area_sqft"].iloc[:2].to_numpy() == pytest.approx([6000, 6000], rel=1e-6)
    feet = lots.geometry.iloc[[0, 1]].to_crs(lots.geometry.iloc[[0, 1]].estimate_utm_crs())
    west, south, east, north = (v / 0.9996 / 0.3048 for v in feet.iloc[0].bounds)
    assert east - west == pytest.approx(100, abs=2.5), "the map grid is turned by a degree or so from true north"
    assert north - south == pytest.approx(60, abs=3.5)
    assert lots["status"].tolist() == ["", "", "skipped"]
    assert "assumed" in next(i.code for i in issues if i.code == "lots_assumed_shape")
    assert "row 3" in next(i for i in issues if i.code == "lot_point_unusable").message()


def test_points_without_a_size_or_place_stop_with_the_columns_they_need(tmp_path: Path) -> None:
    (tmp_path / "lots.csv").write_text("lot_id,easting,y,width_ft,depth_ft,front_bearing_deg\nA-1,1,2,3,4,5\n")
    with pytest.raises(InputError, match="points with sizes: x, x or easting") as raised:
        read(tmp_path, "lots.csv", 'crs = "EPSG:4269"')
    assert len(raised.value.issues) == 1
    (tmp_path / "lots.csv").write_text("lot_id,x,y,width_ft,depth_ft,front_bearing_deg\nA-1,1,2,3,4\n")
    with pytest.raises(InputError, match="row 1: 5 cells; expected 6"):
        read(tmp_path, "lots.csv", 'crs = "EPSG:4269"')


@pytest.mark.parametrize("content", [b"", b"PAR1", b"PAR1" + b"\0" * 100 + b"PAR1"])
def test_a_parquet_file_that_is_none_stops(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "lots.parquet").write_bytes(content)
    with pytest.raises(InputError, match="expected a GeoParquet file"):
        read(tmp_path, "lots.parquet")


def test_a_table_without_shapes_is_no_geoparquet(tmp_path: Path) -> None:
    frame().drop(columns="geometry").to_parquet(tmp_path / "lots.parquet")
    with pytest.raises(InputError, match="expected a GeoParquet file"):
        read(tmp_path, "lots.parquet")


# ---------------------------------------------------------------- drawings


def drawing(folder: Path, add: Callable[[Any, Any], None]) -> None:
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 21  # US survey feet
    add(document, document.modelspace())
    document.saveas(folder / "lots.dxf")


EAST_FT, NORTH_FT = 3_000_000.0, 1_500_000.0


def outline(space: Any, column: int) -> None:
    x, y = EAST_FT + 65 * column, NORTH_FT
    space.add_lwpolyline(
        [(x, y), (x + 65, y), (x + 65, y + 125), (x, y + 125)], close=True, dxfattribs={"layer": "LOT"}
    )


def tags(document: Any, space: Any) -> None:
    """Lot and block numbers as attributes of a block, both on one layer."""
    mark = document.blocks.new("MARK")
    mark.add_circle((0, 0), 3)
    for i in range(3):
        outline(space, i)
        at = (EAST_FT + 65 * i + 30, NORTH_FT + 60)
        reference = space.add_blockref("MARK", at, dxfattribs={"layer": "TAG"})
        reference.add_attrib("LOT", f"{i + 1}", at, {"layer": "TAG"})
        reference.add_attrib("BLOCK", "3", (at[0], at[1] - 9), {"layer": "TAG"})


def paragraphs(document: Any, space: Any) -> None:
    """Number and area in one text of several lines, with codes for font and height."""
    for i in range(3):
        outline(space, i)
        text = f"{{\\fArial|b0;LOT \\H2x;{i + 1}}}\\P8,125 SF"
        space.add_mtext(text, dxfattribs={"layer": "TEXT", "insert": (EAST_FT + 65 * i + 30, NORTH_FT + 60)})


def blocks(document: Any, space: Any) -> None:
    """Each lot a reference to one block that holds the outline; its number beside an area on one layer."""
    lot = document.blocks.new("LOT65")
    lot.add_lwpolyline([(0, 0), (65, 0), (65, 125), (0, 125)], close=True)
    for i in range(3):
        space.add_blockref("LOT65", (EAST_FT + 65 * i, NORTH_FT), dxfattribs={"layer": "LOT"})
        for text, y in ((f"{i + 1}", 60), ("8,125 SF", 40)):
            space.add_text(text, dxfattribs={"layer": "TEXT", "insert": (EAST_FT + 65 * i + 30, NORTH_FT + y)})


@pytest.mark.parametrize(
    ("add", "names"),
    [(tags, ["1", "2", "3"]), (paragraphs, ["LOT 1", "LOT 2", "LOT 3"]), (blocks, ["1", "2", "3"])],
    ids=["attributes", "paragraphs", "blocks"],
)
def test_lot_numbers_of_a_drawing(tmp_path: Path, add: Any, names: list[str]) -> None:
    drawing(tmp_path, add)
    lots, issues = read(tmp_path, "lots.dxf", f'layer = "LOT"\ncrs = "{FEET}"')
    assert list(lots["lot_id"]) == names
    assert lots["area_sqft"].to_numpy() == pytest.approx(65 * 125, rel=1e-3)
    told = [issue.message() for issue in issues if issue.code == "lot_ids_from"]
    assert len(told) == 1
    assert "3 of 3 outlines named" in told[0]


def test_blocks_of_a_drawing_make_ids(tmp_path: Path) -> None:
    """Attributes are columns by their tags."""
    drawing(tmp_path, tags)
    lots, _ = read(tmp_path, "lots.dxf", f'layer = "LOT"\ncrs = "{FEET}"\ncolumns = {{ block = "BLOCK", lot = "LOT" }}')
    assert list(lots["lot_id"]) == ["3-1", "3-2", "3-3"]
    assert list(lots["block"]) == ["3"] * 3


def test_an_outline_with_two_numbers_is_not_named() -> None:
    """Would fail where one of the two were picked."""
    square = np.array([shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)], dtype=object)
    texts = gpd.GeoDataFrame(
        {"Layer": ["T"] * 3, "Text": ["1", "2", "3"]}, geometry=gpd.points_from_xy([3, 6, 15], [5, 5, 5])
    )
    found = names_in_outlines(square, texts, [], None, Issues())  # type: ignore[arg-type]
    assert found["lot_id"] == ["", "3"]


def test_a_block_that_holds_itself_ends(tmp_path: Path) -> None:
    """Two blocks that insert one another: read without end by who follows them blindly."""

    def add(document: Any, space: Any) -> None:
        first, second = document.blocks.new("A"), document.blocks.new("B")
        first.add_blockref("B", (0, 0))
        second.add_blockref("A", (0, 0))
        outline(space, 0)
        space.add_blockref("A", (EAST_FT, NORTH_FT))
        space.add_text("1", dxfattribs={"layer": "TEXT", "insert": (EAST_FT + 30, NORTH_FT + 60)})

    drawing(tmp_path, add)
    with pytest.raises(InputError, match="blocks within one another without end"):
        read(tmp_path, "lots.dxf", f'layer = "LOT"\ncrs = "{FEET}"')


# ---------------------------------------------------------------- LandXML


def test_landxml_and_drawing_give_the_same_lot(tmp_path: Path) -> None:
    """A rectangle of 65 by 125 survey feet, northing first in the one, easting first in the other."""
    ring = [(NORTH_FT, EAST_FT), (NORTH_FT, EAST_FT + 65), (NORTH_FT + 125, EAST_FT + 65), (NORTH_FT + 125, EAST_FT)]
    edges = "".join(
        f"<Line><Start>{a[0]} {a[1]}</Start><End>{b[0]} {b[1]}</End></Line>"
        for a, b in zip(ring, [*ring[1:], ring[0]], strict=True)
    )
    (tmp_path / "lots.xml").write_text(
        '<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2">'
        '<Units><Imperial linearUnit="USSurveyFoot"/></Units>'
        f'<Parcels><Parcel name="1"><CoordGeom>{edges}</CoordGeom></Parcel></Parcels></LandXML>'
    )
    parcels, _ = read(tmp_path, "lots.xml", f'crs = "{FEET}"')

    def add(document: Any, space: Any) -> None:
        outline(space, 0)
        space.add_text("1", dxfattribs={"layer": "TEXT", "insert": (EAST_FT + 30, NORTH_FT + 60)})

    drawing(tmp_path, add)
    drawn, _ = read(tmp_path, "lots.dxf", f'layer = "LOT"\ncrs = "{FEET}"')
    assert list(parcels["lot_id"]) == list(drawn["lot_id"]) == ["1"]
    assert shapely.equals(parcels.geometry.iat[0], drawn.geometry.iat[0])
    true_sqft = 65 * 125 * (METRES_A_SURVEY_FOOT / 0.3048) ** 2
    assert parcels["area_sqft"].iat[0] == pytest.approx(true_sqft, rel=2e-4)  # the zone's scale is within 1 in 10,000
    for name, lots in (("lots.xml", f'crs = "{FEET}"'), ("lots.dxf", f'layer = "LOT"\ncrs = "{FEET}"')):
        with zipfile.ZipFile(tmp_path / "lots.zip", "w") as archive:
            archive.write(tmp_path / name, f"plat 3/{name}")
        again, _ = read(tmp_path, "lots.zip", lots)
        assert shapely.equals(again.geometry.iat[0], parcels.geometry.iat[0]), name


def test_an_archive_leaves_nothing_behind_and_names_its_member(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The one file is unpacked into a folder of its own, which goes; names that a disk may not take do no harm."""
    (tmp_path / "scratch").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "scratch"))
    as_kind("lots.geojson")(tmp_path)
    for name in ("a" * 400 + ".GeoJSON", "caf\u00e9 \x1b[31m;rm.geojson", "con.geojson", " .geojson"):
        with zipfile.ZipFile(tmp_path / "lots.zip", "w") as archive:
            archive.writestr(name, (tmp_path / "lots.geojson").read_bytes())
        assert len(read(tmp_path, "lots.zip")[0]) == COUNT
        assert list((tmp_path / "scratch").iterdir()) == []


def test_a_full_disk_while_unpacking_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    as_kind("lots.geojson")(tmp_path)
    with zipfile.ZipFile(tmp_path / "lots.zip", "w") as archive:
        archive.write(tmp_path / "lots.geojson", "lots.geojson")

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("screener.files.archives.shutil.copyfileobj", full)
    with pytest.raises(InputError, match=r"lots.zip: lots.geojson: .*No space left"):
        read(tmp_path, "lots.zip")
