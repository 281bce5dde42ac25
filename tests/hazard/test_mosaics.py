"""Tiles of one raster: joined, they are the raster they were cut from; what does not fit is refused or told."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from raster_helpers import CELL, EAST, NORTH, NORTH_UP, UTM, plane, turned, write

from hazard.issues import InputError, Issues
from hazard.layers import Layer
from hazard.rasters import RasterWindow, read_window
from hazard.sampling import sample

SHAPE = (24, 30)
BOX = (EAST + 4.2 * CELL, NORTH - 17.3 * CELL, EAST + 22.1 * CELL, NORTH - 3.4 * CELL)


def read(files: Any, quantity: str = "wind_speed_mph", issues: Issues | None = None, **layer: Any) -> RasterWindow:
    given = tuple(files) if isinstance(files, list) else files
    return read_window(Layer(given, quantity, **layer), BOX, UTM, 0.0, issues)


def stops(files: Any, quantity: str = "wind_speed_mph", **layer: Any) -> dict[str, str]:
    with pytest.raises(InputError) as caught:
        read(files, quantity, **layer)
    return {issue.code: issue.message() for issue in caught.value.issues}


def cut(folder: Path, cells: np.ndarray, grid: Affine, edges: tuple[list[int], list[int]], grow: int) -> list[Path]:
    """Tiles between row and column edges, each grown by some cells over its neighbours; nodata is -1."""
    files = []
    nodata = -1 if cells.dtype.kind == "f" else None
    for first_row, last_row in zip(edges[0], edges[0][1:], strict=False):
        for first, last in zip(edges[1], edges[1][1:], strict=False):
            rows = slice(max(0, first_row - grow), min(cells.shape[0], last_row + grow))
            columns = slice(max(0, first - grow), min(cells.shape[1], last + grow))
            place = grid @ Affine.translation(columns.start, rows.start)
            # names in no order of place
            name = f"t{(7 * first_row + 11 * first) % 97:02d}_{first_row}_{first}.tif"
            files.append(write(folder / name, cells[rows, columns], place, nodata=nodata))
    return files


inner_edges = st.sets(st.integers(1, 23), max_size=3), st.sets(st.integers(1, 29), max_size=3)


@given(*inner_edges, st.integers(0, 2), st.randoms(use_true_random=False), st.sampled_from(["plane", "turned"]))
@settings(max_examples=25)
def test_tiles_hold_the_very_cells_of_the_raster_they_were_cut_from(
    tmp_path_factory: pytest.TempPathFactory, rows: set[int], columns: set[int], grow: int, random: Any, how: str
) -> None:
    """Law: cut at random edges, with or without overlap, in any order, holes and all: the same window bit for bit."""
    folder = tmp_path_factory.mktemp("tiles")
    grid = NORTH_UP if how == "plane" else turned(20.0, EAST - 3 * CELL, NORTH + 2 * CELL)
    cells = np.random.default_rng(random.randrange(1 << 30)).uniform(100, 160, SHAPE).astype("float32")
    cells[::5, ::7] = -1
    whole = read(write(folder / "whole.tif", cells, grid, nodata=-1))
    edges = [0, *sorted(rows), SHAPE[0]], [0, *sorted(columns), SHAPE[1]]
    files = cut(folder, cells, grid, edges, grow)
    random.shuffle(files)
    issues = Issues()
    tiled = read(files, issues=issues)
    assert tiled.values.tobytes() == whole.values.tobytes()
    assert tiled.valid.tobytes() == whole.valid.tobytes()
    assert (tiled.row_off, tiled.col_off, tiled.file_shape) == (whole.row_off, whole.col_off, whole.file_shape)
    np.testing.assert_allclose(tuple(tiled.transform), tuple(whole.transform), rtol=0, atol=1e-7)
    assert not [issue for issue in issues if issue.severity == "warn"]


@given(st.integers(2, 4), st.integers(0, 1 << 30))
@settings(max_examples=15)
def test_repeated_cells_give_the_same_nearest_values(
    tmp_path_factory: pytest.TempPathFactory, times: int, seed: int
) -> None:
    """Law: every cell split into times x times equal ones, cut into tiles: the nearest value of any point stays."""
    folder = tmp_path_factory.mktemp("fine")
    random = np.random.default_rng(seed)
    codes = random.integers(11, 96, SHAPE).astype("uint8")
    fine_grid = NORTH_UP @ Affine.scale(1.0 / times)
    fine = np.repeat(np.repeat(codes, times, axis=0), times, axis=1)
    coarse_window = read(write(folder / "coarse.tif", codes), "land_cover")
    files = cut(folder, fine, fine_grid, ([0, 20, fine.shape[0]], [0, 33, fine.shape[1]]), 0)
    points = np.column_stack([random.uniform(BOX[0], BOX[2], 300), random.uniform(BOX[1], BOX[3], 300)])
    nearest = [sample(w, points, UTM, "nearest").values for w in (coarse_window, read(files, "land_cover"))]
    np.testing.assert_array_equal(*nearest)


def two(folder: Path, change: float = 0.0, overlap: int = 4, quantity: str = "float64") -> list[Path]:
    cells = plane(SHAPE).astype(quantity)
    west = write(folder / "a_west.tif", cells[:, : 15 + overlap])
    east = write(
        folder / "b_east.tif", cells[:, 15:] + np.asarray(change, cells.dtype), NORTH_UP @ Affine.translation(15, 0)
    )
    return [west, east]


def test_the_order_of_the_tiles_does_not_matter(tmp_path: Path) -> None:
    """Even where overlapping tiles differ a little: the first by name counts, whichever was given first."""
    files = two(tmp_path, change=0.25)
    one, other = read(files), read(files[::-1])
    assert one.values.tobytes() == other.values.tobytes()
    assert one.source == other.source == "a_west.tif and 1 more"
    alone = read(files[0])
    np.testing.assert_array_equal(one.values[:, : alone.values.shape[1]], alone.values)


def test_overlaps_are_told_within_the_tolerance_and_refused_beyond(tmp_path: Path) -> None:
    """Tolerance of wind speed: 0.5 mph (our own rule, quantities.csv)."""
    issues = Issues()
    read(two(tmp_path, change=0.5), issues=issues)
    told = [issue for issue in issues if issue.code == "raster_tiles_differ"]
    assert [issue.severity for issue in told] == ["warn"]
    assert "by up to 0.5 mph" in told[0].found
    assert "by up to 0.51 mph" in stops(two(tmp_path, change=0.51))["raster_tiles_differ"]
    assert not [i for i in Issues() if i.code == "raster_tiles_differ"]


def test_classes_that_differ_in_more_than_one_cell_in_a_hundred_stop(tmp_path: Path) -> None:
    codes = np.full(SHAPE, 41, dtype="uint8")
    write(tmp_path / "a.tif", codes[:, :20])
    east = codes[:, 10:].copy()
    east[8, 2] = 11
    write(tmp_path / "b.tif", east, NORTH_UP @ Affine.translation(10, 0))
    files = [tmp_path / "a.tif", tmp_path / "b.tif"]
    issues = Issues()
    piece = read(files, "land_cover", issues=issues)
    assert {i.severity for i in issues if i.code == "raster_tiles_differ"} == {"warn"}
    assert (piece.values == 41).all()
    east[5:9, 0:6] = 11
    write(tmp_path / "b.tif", east, NORTH_UP @ Affine.translation(10, 0))
    assert "another class than a.tif" in stops(files, "land_cover")["raster_tiles_differ"]


def test_a_gap_between_tiles_holds_no_data(tmp_path: Path) -> None:
    cells = plane(SHAPE)
    west = write(tmp_path / "w.tif", cells[:, :10])
    east = write(tmp_path / "e.tif", cells[:, 14:], NORTH_UP @ Affine.translation(14, 0))
    piece = read([west, east])
    gap = ~piece.valid
    assert set(np.nonzero(gap)[1] + piece.col_off) == {10, 11, 12, 13}
    assert gap.sum() == 4 * piece.valid.shape[0]
    assert np.isnan(piece.values[gap]).all()


def test_tiles_that_do_not_lie_around_the_lots_are_named_but_not_read(tmp_path: Path) -> None:
    """A tile far off need not hold sound cells: it is looked at, not read."""
    files = two(tmp_path)
    far = write(tmp_path / "far.tif", np.full((4, 4), -77.0), NORTH_UP @ Affine.translation(600, 600))
    issues = Issues()
    piece = read([*files, far], issues=issues)
    told = next(issue for issue in issues if issue.code == "raster_tiles")
    assert told.found == "2 of 3 tiles lie around the lots: a_west.tif, b_east.tif"
    assert piece.values.tobytes() == read(files).values.tobytes()


@pytest.mark.parametrize(
    ("grid", "words"),
    [
        (NORTH_UP @ Affine.translation(15.3, 0), "shifted by 0.30 of a cell"),
        (NORTH_UP @ Affine.translation(15, 0) @ Affine.scale(0.5), "cells of 15, where a_west.tif has 30"),
        (NORTH_UP @ Affine.translation(15, 24) @ Affine.scale(1, -1), "another way round"),
    ],
)
def test_tiles_on_other_grids_stop(tmp_path: Path, grid: Affine, words: str) -> None:
    files = two(tmp_path)
    write(tmp_path / "b_east.tif", plane((24, 15)), grid)
    assert words in stops(files)["raster_tiles_grid"]


def test_the_rounding_of_stored_origins_is_no_other_grid(tmp_path: Path) -> None:
    files = two(tmp_path, overlap=0)
    wanted = read(files)
    write(tmp_path / "b_east.tif", plane(SHAPE)[:, 15:], NORTH_UP @ Affine.translation(15.0005, -0.0005))
    assert read(files).values.tobytes() == wanted.values.tobytes()


def test_every_tile_with_a_fault_is_named(tmp_path: Path) -> None:
    files = two(tmp_path)
    write(files[0], plane((24, 19)), crs=None)
    with rasterio.open(files[1], "r+") as dataset:
        dataset.update_tags(RISK_CATEGORY="IV")
    found = stops(files)
    assert found["raster_no_crs"].startswith("a_west.tif")
    assert found["raster_risk_category"].startswith("b_east.tif")


def test_a_file_named_twice_is_one_file(tmp_path: Path) -> None:
    file = write(tmp_path / "v.tif", plane(SHAPE))
    assert Layer((file, file), "wind_speed_mph").files == (file,)
    assert read([file, file]).source == "v.tif"
    with pytest.raises(ValueError, match="at least one"):
        Layer((), "wind_speed_mph")


def test_tiles_as_cloud_optimised_files_and_as_a_virtual_raster(tmp_path: Path) -> None:
    """Tiled files with overviews, and a virtual raster over them as the usual tool writes it: the same cells."""
    cells = np.random.default_rng(5).uniform(100, 160, (600, 700)).astype("float32")
    whole = read(write(tmp_path / "whole.tif", cells))
    files = []
    for name, first in (("w", 0), ("e", 350)):
        path = tmp_path / f"{name}.tif"
        write(path, cells[:, first : first + 350], NORTH_UP @ Affine.translation(first, 0), driver="COG", blocksize=128)
        with rasterio.open(path) as dataset:
            assert dataset.overviews(1)
            assert dataset.block_shapes == [(128, 128)]
        files.append(path)
    assert read(files).values.tobytes() == whole.values.tobytes()
    sources = "".join(
        f'<ComplexSource><SourceFilename relativeToVRT="1">{name}.tif</SourceFilename><SourceBand>1</SourceBand>'
        '<SourceProperties RasterXSize="350" RasterYSize="600" DataType="Float32" BlockXSize="128" BlockYSize="128" />'
        '<SrcRect xOff="0" yOff="0" xSize="350" ySize="600" />'
        f'<DstRect xOff="{first}" yOff="0" xSize="350" ySize="600" />'
        "<NODATA>-1</NODATA></ComplexSource>"
        for name, first in (("w", 0), ("e", 350))
    )
    (tmp_path / "all.vrt").write_text(
        f'<VRTDataset rasterXSize="700" rasterYSize="600"><SRS dataAxisToSRSAxisMapping="1,2">EPSG:26910</SRS>'
        f"<GeoTransform>{EAST}, {CELL}, 0, {NORTH}, 0, {-CELL}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-1</NoDataValue><ColorInterp>Gray</ColorInterp>'
        f"{sources}</VRTRasterBand></VRTDataset>"
    )
    assert read(tmp_path / "all.vrt").values.tobytes() == whole.values.tobytes()
