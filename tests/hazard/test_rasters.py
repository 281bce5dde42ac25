"""Reading rasters: what is refused, with which words, and what comes out of odd but honest files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine
from raster_helpers import CELL, EAST, NORTH, NORTH_UP, UTM, plane, turned, write

from hazard import rasters
from hazard.issues import InputError, Issues
from hazard.layers import Layer
from hazard.mosaics import Part
from hazard.rasters import RasterWindow, read_window

BOX = (EAST + 100, NORTH - 400, EAST + 400, NORTH - 100)
SHAPE = (20, 20)


def read(path: Any, quantity: str = "wind_speed_mph", issues: Issues | None = None, **layer: Any) -> RasterWindow:
    return read_window(Layer(path, quantity, **layer), BOX, UTM, 0.0, issues)


def stops(path: Any, quantity: str = "wind_speed_mph", **layer: Any) -> dict[str, str]:
    """The stop codes and messages that reading a file gives."""
    with pytest.raises(InputError) as caught:
        read(path, quantity, **layer)
    return {issue.code: issue.message() for issue in caught.value.issues}


def test_window_holds_the_box_with_its_place_in_the_file(tmp_path: Path) -> None:
    values = plane(SHAPE)
    piece = read(write(tmp_path / "v.tif", values))
    rows, columns = piece.values.shape
    np.testing.assert_array_equal(
        piece.values, values[piece.row_off : piece.row_off + rows, piece.col_off : piece.col_off + columns]
    )
    assert piece.valid.all()
    assert piece.file_shape == SHAPE
    assert (rows, columns) < SHAPE
    x, y = piece.centres([0], [0])[0]
    assert x == pytest.approx(EAST + (piece.col_off + 0.5) * CELL)
    assert y == pytest.approx(NORTH - (piece.row_off + 0.5) * CELL)
    assert piece.values.dtype == np.float64


def test_pad_widens_the_window_by_feet(tmp_path: Path) -> None:
    path = write(tmp_path / "v.tif", np.full((400, 400), 110.5), Affine(1, 0, EAST, 0, -1, NORTH))
    box = (EAST + 200, NORTH - 210, EAST + 210, NORTH - 200)
    bare, padded = (read_window(Layer(path, "wind_speed_mph"), box, UTM, pad) for pad in (0.0, 100.0))
    assert padded.values.shape[1] - bare.values.shape[1] == pytest.approx(2 * 100 * 0.3048, abs=2)


# -- masks, scale and units (R1, R3, R4, R5, R19, R29, R32) ------------------------------------------------------


def test_nodata_nan_and_infinity_are_not_valid(tmp_path: Path) -> None:
    values = plane(SHAPE).astype("float32")
    values[5, 5], values[6, 6], values[7, 7] = -9999, np.nan, np.inf
    piece = read(write(tmp_path / "v.tif", values, nodata=-9999))
    bad = {(5 - piece.row_off, 5 - piece.col_off), (6 - piece.row_off, 6 - piece.col_off)}
    bad.add((7 - piece.row_off, 7 - piece.col_off))
    assert {(int(r), int(c)) for r, c in np.argwhere(~piece.valid)} == bad
    assert np.isnan(piece.values[~piece.valid]).all()


@pytest.mark.parametrize(
    ("kind", "nodata"),
    [
        ("float32", -9999.0),
        ("float32", float(np.finfo("float32").min)),
        ("float32", 1.1),
        ("float32", 0.0),
        ("float32", 1e-38),
        ("float64", -9999.0),
        ("int16", -9999.0),
        ("uint8", 255.0),
        ("int64", 9007199254740992.0),
    ],
)
def test_cells_without_data_are_those_of_the_raster_library(tmp_path: Path, kind: str, nodata: float) -> None:
    """Whether found by comparison or by the library's mask; numbers next to the no-data value too."""
    values = np.random.default_rng(3).integers(1, 200, (40, 40)).astype(kind)
    values[:12, ::3] = nodata
    if values.dtype.kind == "f":
        near = values.dtype.type(nodata)
        for row in range(12):
            values[row, 1::3] = near
            near = np.nextafter(near, values.dtype.type(1))
        values[13, :3] = np.nan, np.inf, np.finfo(kind).max
    path = write(tmp_path / "v.tif", values, nodata=nodata)
    with rasterio.open(path) as dataset:
        whole = Part(0, 0, 40, 40)
        raw, valid = rasters._read_cells(dataset, 1, whole, Layer(path, "wind_speed_mph"))
        expected = dataset.read_masks(1) > 0
    np.testing.assert_array_equal(valid, expected & np.isfinite(raw))
    assert not valid.all()


@pytest.mark.parametrize("marker", [-9999.0, -3.4e38, 0.0])
def test_undeclared_nodata_stops_with_value_and_count(tmp_path: Path, marker: float) -> None:
    values = plane(SHAPE).astype("float32")
    values[5, 5:8] = marker
    message = stops(write(tmp_path / "v.tif", values))["raster_nodata_undeclared"]
    assert f"3 of {read_count(tmp_path / 'v.tif')} cells read hold {np.float32(marker):g}" in message
    assert "declare it as the file's nodata value" in message


def read_count(path: Path) -> int:
    """How many cells a read of the box takes in."""
    import rasterio

    with rasterio.open(path) as dataset:
        values = dataset.read(1)
    clean = np.where((values > 85) & (values < 210), values, 120.0)
    other = write(path.with_name("clean.tif"), clean)
    return int(read(other).values.size)


def test_unit_255_undeclared_in_an_elevation_in_bytes_is_in_range(tmp_path: Path) -> None:
    """255 ft is a possible elevation, so it can't be refused by range; it must be declared by the file."""
    piece = read(write(tmp_path / "e.tif", np.full(SHAPE, 255, dtype="uint8"), nodata=255), "elevation_ft")
    assert not piece.valid.any()


@pytest.mark.parametrize(
    ("quantity", "values", "units", "likely"),
    [
        ("wind_speed_mph", 51.0, "", "m/s"),
        ("ss_g", 120.0, "", "%g"),
        ("s1_g", 40.0, "g", "%g"),
        ("elevation_ft", 6000.0, "m", "ft"),
        ("wind_speed_mph", -20.0, "", ""),
    ],
)
def test_wrong_units_stop_by_range(tmp_path: Path, quantity: str, values: float, units: str, likely: str) -> None:
    field = np.full(SHAPE, values)
    field[8, 8] += 0.25
    message = stops(write(tmp_path / "r.tif", field), quantity, units=units)["raster_out_of_range"]
    assert message.startswith("r.tif: ")
    assert f"from {values:g} to {values + 0.25:g}" in message
    assert (f"likely in {likely}" in message) if likely else ("check the file" in message)


def test_unit_tag_against_project_file_stops(tmp_path: Path) -> None:
    path = write(tmp_path / "e.tif", plane(SHAPE), unit="metre")
    message = stops(path, "elevation_ft", units="ft")["raster_unit_contradicted"]
    assert "the file says its unit is 'metre'" in message
    assert "expected 'ft'" in message
    assert read(path, "elevation_ft", units="m").units_given == "m"
    assert read(path, "elevation_ft").units_given == "m"
    assert "raster_unit_contradicted" in stops(path, "wind_speed_mph")


@pytest.mark.parametrize(
    ("quantity", "unit", "factor"),
    [
        ("elevation_ft", "m", 1 / 0.3048),
        ("elevation_ft", "us-ft", 1200 / 3937 / 0.3048),
        ("wind_speed_mph", "m/s", 3600 / 1609.344),
        ("wind_speed_mph", "km/h", 1 / 1.609344),
        ("ss_g", "%g", 0.01),
        ("ground_snow_psf", "kPa", 1000 * 0.3048**2 / 4.4482216152605),
    ],
)
def test_units_give_the_same_values_either_way(tmp_path: Path, quantity: str, unit: str, factor: float) -> None:
    """A raster in another unit and one in ours hold the same hazard: within 1e-12."""
    ours = plane(SHAPE, a=1.0) if quantity == "ss_g" else plane(SHAPE, a=110.0)
    own = read(write(tmp_path / "own.tif", ours), quantity)
    other = read(write(tmp_path / "other.tif", ours / factor), quantity, units=unit)
    np.testing.assert_allclose(other.values, own.values, rtol=1e-12)


def test_stored_scale_and_offset_are_applied_and_noted(tmp_path: Path) -> None:
    issues = Issues()
    raw = np.full(SHAPE, 1150, dtype="int16")
    raw[5, 5] = -1
    piece = read(write(tmp_path / "v.tif", raw, scale=0.1, offset=5.0, nodata=-1), issues=issues)
    np.testing.assert_allclose(piece.values[piece.valid], 120.0)
    assert (~piece.valid).sum() == 1
    assert any(i.code == "raster_scaled" and "scale 0.1 and offset 5" in i.found for i in issues)


# -- orientation (R8, R9) -----------------------------------------------------------------------------------------


def test_south_up_holds_the_same_cells(tmp_path: Path) -> None:
    values = plane(SHAPE)
    north_up = read(write(tmp_path / "n.tif", values))
    flipped = Affine(CELL, 0, EAST, 0, CELL, NORTH - CELL * SHAPE[0])
    south_up = read(write(tmp_path / "s.tif", values[::-1], flipped))
    np.testing.assert_array_equal(south_up.values[::-1], north_up.values)


def test_rotated_raster_window_covers_the_box(tmp_path: Path) -> None:
    rotated = turned(30.0, EAST - 200, NORTH)
    piece = read(write(tmp_path / "r.tif", plane((60, 60), rotated), rotated))
    corners = [(BOX[0], BOX[1]), (BOX[2], BOX[1]), (BOX[2], BOX[3]), (BOX[0], BOX[3])]
    columns, rows = piece.pixel(corners)
    assert (columns > 0).all()
    assert (rows > 0).all()
    assert (columns < piece.values.shape[1]).all()
    assert (rows < piece.values.shape[0]).all()


# -- refusals (R6, R7, R10, R11, R17, R18, R20, R21, R30) ---------------------------------------------------------


def test_no_geotransform_and_no_crs_are_both_said(tmp_path: Path) -> None:
    found = stops(write(tmp_path / "v.tif", plane(SHAPE), transform=None, crs=None))
    assert "no geotransform" in found["raster_no_geotransform"]
    assert "no coordinate reference system" in found["raster_no_crs"]


def test_local_engineering_crs_stops(tmp_path: Path) -> None:
    wkt = 'LOCAL_CS["site grid",UNIT["metre",1],AXIS["Easting",EAST],AXIS["Northing",NORTH]]'
    assert "site grid" in stops(write(tmp_path / "v.tif", plane(SHAPE), crs=wkt))["crs_unusable"]


def test_several_bands_stop_unless_named(tmp_path: Path) -> None:
    import rasterio

    path = write(tmp_path / "v.tif", np.stack([plane(SHAPE), plane(SHAPE) + 10]))
    with rasterio.open(path, "r+") as dataset:
        dataset.set_band_description(1, "300 years")
        dataset.set_band_description(2, "700 years")
    assert "2 bands (1 300 years, 2 700 years)" in stops(path)["raster_band_unnamed"]
    assert "band 3 asked of 2" in stops(path, band=3)["raster_band_absent"]
    np.testing.assert_allclose(read(path, band=2).values, read(path, band=1).values + 10)


@pytest.mark.parametrize("kind", ["rgb", "palette", "png"])
def test_pictures_of_maps_stop(tmp_path: Path, kind: str) -> None:
    import rasterio
    from rasterio.enums import ColorInterp

    cells = np.full(SHAPE, 120, dtype="uint8")
    path = tmp_path / ("v.png" if kind == "png" else "v.tif")
    if kind == "rgb":
        write(path, np.stack([cells] * 3), photometric="RGB")
    elif kind == "png":
        write(path, cells, driver="PNG")
    else:
        write(path, cells)
        with rasterio.open(path, "r+") as dataset:
            dataset.colorinterp = [ColorInterp.palette]
            dataset.write_colormap(1, {120: (255, 0, 0, 255)})
    assert "picture of a map" in stops(path)["raster_picture"]


def test_a_colour_table_on_classes_is_ordinary(tmp_path: Path) -> None:
    import rasterio

    path = write(tmp_path / "c.tif", np.full(SHAPE, 22, dtype="uint8"))
    with rasterio.open(path, "r+") as dataset:
        dataset.write_colormap(1, {22: (255, 0, 0, 255)})
    issues = Issues()
    piece = read(path, "land_cover", issues)
    assert piece.values.dtype == np.int32
    assert any(i.code == "raster_constant" and i.severity == "warn" for i in issues)


def test_averaged_classes_stop(tmp_path: Path) -> None:
    cells = np.full(SHAPE, 22.0)
    cells[8, 8] = 22.5
    assert (
        "1 class cells are not whole numbers"
        in stops(write(tmp_path / "c.tif", cells), "land_cover")["raster_class_fraction"]
    )


@pytest.mark.parametrize("tiled", [False, True])
def test_truncated_file_stops(tmp_path: Path, tiled: bool) -> None:
    """The head of the file, with all the cells asked for, is whole: the missing tail alone must stop it."""
    values = np.random.default_rng(1).uniform(100, 120, (400, 400))
    path = write(tmp_path / "v.tif", values, tiled=tiled, **({"blockxsize": 64, "blockysize": 64} if tiled else {}))
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.truncate(int(size * 0.6))
    assert "cut short or damaged" in stops(path)["raster_unreadable"]


def test_huge_declared_size_stops(tmp_path: Path) -> None:
    path = tmp_path / "huge.vrt"
    path.write_text(
        '<VRTDataset rasterXSize="2000000" rasterYSize="2000000"><SRS>EPSG:26910</SRS>'
        "<GeoTransform>500000,30,0,5300000,0,-30</GeoTransform>"
        '<VRTRasterBand dataType="Float64" band="1"/></VRTDataset>'
    )
    assert "declares 2,000,000 x 2,000,000 cells" in stops(path)["raster_too_large"]


def test_too_many_cells_around_the_lots_stop(tmp_path: Path) -> None:
    path = write(tmp_path / "v.tif", np.zeros((1, 1), dtype="uint8"), crs=UTM)
    import rasterio

    with rasterio.open(
        path, "w", driver="GTiff", width=40_000, height=40_000, count=1, dtype="uint8", crs=UTM.to_wkt(),
        transform=Affine(0.01, 0, EAST, 0, -0.01, NORTH), sparse_ok=True, tiled=True,
    ):  # fmt: skip
        pass
    with pytest.raises(InputError, match="cells are needed around the lots"):
        read_window(Layer(path, "elevation_ft"), (EAST, NORTH - 400, EAST + 400, NORTH), UTM)


@pytest.mark.parametrize(
    "name",
    ["https://example.org/v.tif", "http://example.org/v.tif", "s3://b/v.tif", "/vsicurl/https://example.org/v.tif",
     "/vsizip/a.zip/v.tif", "//server/share/v.tif", "\\\\server\\share\\v.tif", "ftp://example.org/v.tif"],
)  # fmt: skip
def test_remote_paths_stop(name: str) -> None:
    assert "remote path" in stops(name)["raster_remote"]


def vrt(target: str, relative: int = 1) -> str:
    """A virtual raster over one file."""
    return (
        '<VRTDataset rasterXSize="20" rasterYSize="20"><SRS>EPSG:26910</SRS>'
        "<GeoTransform>500000,30,0,5300000,0,-30</GeoTransform>"
        '<VRTRasterBand dataType="Float64" band="1"><SimpleSource>'
        f'<SourceFilename relativeToVRT="{relative}">{target}</SourceFilename><SourceBand>1</SourceBand>'
        '<SrcRect xOff="0" yOff="0" xSize="20" ySize="20"/><DstRect xOff="0" yOff="0" xSize="20" ySize="20"/>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )


def test_virtual_raster_over_a_file_beside_it_is_read(tmp_path: Path) -> None:
    write(tmp_path / "tile.tif", plane(SHAPE))
    (tmp_path / "v.vrt").write_text(vrt("tile.tif"))
    np.testing.assert_array_equal(read(tmp_path / "v.vrt").values, read(tmp_path / "tile.tif").values)


@pytest.mark.parametrize("target", ["/vsicurl/https://example.org/t.tif", "https://example.org/t.tif", "../t.tif"])
@pytest.mark.parametrize("name", ["v.vrt", "v.tif"])
def test_virtual_raster_that_reaches_elsewhere_stops(tmp_path: Path, target: str, name: str) -> None:
    """By content, whatever the file is called, and through a second virtual raster as well."""
    folder = tmp_path / "data"
    folder.mkdir()
    write(tmp_path / "t.tif", plane(SHAPE))
    (folder / name).write_text(vrt(target))
    assert target in stops(folder / name)["raster_outside_folder"]
    (folder / "outer.vrt").write_text(vrt(name))
    assert target in stops(folder / "outer.vrt")["raster_outside_folder"]


def test_virtual_raster_through_a_link_out_of_the_folder_stops(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    write(tmp_path / "t.tif", plane(SHAPE))
    (folder / "link.tif").symlink_to(tmp_path / "t.tif")
    (folder / "v.vrt").write_text(vrt("link.tif"))
    assert "outside its own folder" in stops(folder / "v.vrt")["raster_outside_folder"]


def test_virtual_raster_with_entities_stops(tmp_path: Path) -> None:
    (tmp_path / "v.vrt").write_text(vrt("t.tif").replace("<SRS>", "<!DOCTYPE x><SRS>"))
    assert "raster_unsafe" in stops(tmp_path / "v.vrt")


def test_missing_looping_and_strange_files_stop(tmp_path: Path) -> None:
    assert "no such file" in stops(tmp_path / "none.tif")["raster_unreadable"]
    (tmp_path / "a.tif").symlink_to(tmp_path / "b.tif")
    (tmp_path / "b.tif").symlink_to(tmp_path / "a.tif")
    assert "raster_unreadable" in stops(tmp_path / "a.tif")
    (tmp_path / "text.tif").write_text("not a raster")
    message = stops(tmp_path / "text.tif")["raster_unreadable"]
    assert "can't be opened as a raster" in message
    assert str(tmp_path) not in message


def test_risk_category_and_return_period_tags(tmp_path: Path) -> None:
    wrong = write(tmp_path / "w.tif", plane(SHAPE), tags={"RISK_CATEGORY": "III"})
    assert "expected Risk Category II" in stops(wrong)["raster_risk_category"]
    issues = Issues()
    read(write(tmp_path / "r.tif", plane(SHAPE), tags={"RISK_CATEGORY": "II", "RETURN_PERIOD": "700"}), issues=issues)
    assert next(i.found for i in issues if i.code == "raster_return_period").startswith("RETURN_PERIOD = 700")


def test_sidecar_file_that_sets_nodata_is_noted(tmp_path: Path) -> None:
    path = write(tmp_path / "v.tif", np.where(np.eye(20) > 0, -5.0, 120.5))
    sidecar = '<PAMDataset><PAMRasterBand band="1"><NoDataValue>-5</NoDataValue></PAMRasterBand></PAMDataset>'
    Path(f"{path}.aux.xml").write_text(sidecar)
    issues = Issues()
    assert not read(path, issues=issues).valid.all()
    assert [i.found for i in issues if i.code == "raster_sidecar"] == ["v.tif.aux.xml beside the file sets its nodata"]


def test_whole_numbers_in_a_continuous_hazard_warn(tmp_path: Path) -> None:
    issues = Issues()
    read(write(tmp_path / "v.tif", np.full(SHAPE, 115, dtype="uint8")), issues=issues)
    assert {i.code: i.severity for i in issues} == {"raster_whole_numbers": "warn", "raster_constant": "note"}


def test_elevation_unit_from_a_compound_crs(tmp_path: Path) -> None:
    """EPSG:26910+5703 states heights in metres, so they are read so unless the project file says otherwise."""
    path = write(tmp_path / "e.tif", plane(SHAPE), crs="EPSG:26910+5703")
    piece = read(path, "elevation_ft")
    assert piece.units_given == "m"
    assert piece.crs == pyproj.CRS("EPSG:26910")


def test_every_reason_is_given_at_once(tmp_path: Path) -> None:
    path = write(tmp_path / "v.tif", np.stack([plane(SHAPE)] * 2), transform=None, crs=None)
    assert set(stops(path)) == {"raster_band_unnamed", "raster_no_geotransform", "raster_no_crs"}


def test_box_beside_the_raster_reads_its_nearest_cells(tmp_path: Path) -> None:
    path = write(tmp_path / "v.tif", plane(SHAPE), NORTH_UP)
    far = (EAST + 5000, NORTH - 100, EAST + 5100, NORTH)
    piece = read_window(Layer(path, "wind_speed_mph"), far, UTM)
    assert piece.col_off + piece.values.shape[1] == SHAPE[1]
