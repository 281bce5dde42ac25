"""Area-weighted lot means: closed forms, laws, and the same numbers as a general-purpose zonal library."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from shapely import affinity

from hazard.lot_means import lot_means
from hazard.rasters import RasterWindow
from tests.hazard.exposure_grounds import LOCAL


def window(values: np.ndarray, cell_m: float = 10.0) -> RasterWindow:
    """A raster whose south-west corner is 0, 0."""
    top = values.shape[0] * cell_m
    return RasterWindow(values, np.isfinite(values), Affine(cell_m, 0, 0, 0, -cell_m, top), LOCAL, "values.tif")


def odd_shapes(count: int, seed: int, reach_m: float) -> list[shapely.Geometry]:
    """Concave stars, some with a hole, some in two parts, either way round."""
    rng = np.random.default_rng(seed)
    made: list[shapely.Geometry] = []
    for n in range(count):
        x, y = rng.uniform(60.0, reach_m - 60.0, 2)
        angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, 11))
        radius = rng.uniform(8.0, 50.0, 11)
        star = shapely.Polygon(np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])).buffer(0)
        if n % 3 == 0:
            star = star.difference(shapely.Point(x, y).buffer(6.0, quad_segs=3))
        if n % 4 == 0:
            star = shapely.union(star, affinity.translate(star, 75.0 if x < reach_m / 2 else -75.0, 3.0))
        made.append(star if n % 2 else shapely.reverse(star))
    return made


def test_a_plane_has_the_value_of_the_middle() -> None:
    """Z1 (derived): the exact mean of a plane given at cell centres, over a lot of whole cells, is its middle's value;
    over any lot it differs by less than half a cell of slope."""
    rows, columns = np.mgrid[0:60, 0:80]
    plane = 5.0 + 0.3 * (columns + 0.5) * 10.0 - 0.1 * (60.0 - rows - 0.5) * 10.0
    whole = shapely.box(100.0, 200.0, 180.0, 260.0)
    found = lot_means(window(plane), [whole], LOCAL)
    assert found.mean[0] == pytest.approx(5.0 + 0.3 * 140.0 - 0.1 * 230.0, rel=1e-12)
    turned = affinity.rotate(shapely.box(300.0, 300.0, 318.3, 336.6), 7.0)
    middle = turned.centroid
    assert abs(lot_means(window(plane), [turned], LOCAL).mean[0] - (5.0 + 0.3 * middle.x - 0.1 * middle.y)) < 2.0


def test_a_lot_smaller_than_a_cell_has_the_cell_s_value() -> None:
    """Z3: 60 x 120 ft inside a cell of 98.4 ft cells' width and more; and nothing is lost between cell centres."""
    values = np.arange(16.0).reshape(4, 4)
    lot = shapely.box(61.0, 61.0, 61.0 + 18.3, 61.0 + 27.0)
    assert lot_means(window(values, 30.0), [lot], LOCAL).mean[0] == values[1, 2]


def test_unknown_cells_and_lots_off_the_raster() -> None:
    values = np.ones((10, 10))
    values[:, 5:] = np.nan
    lots = [shapely.box(30, 30, 70, 70), shapely.box(60, 60, 80, 80), shapely.box(200, 0, 210, 9), shapely.Polygon()]
    lots += [None, shapely.box(-20, 20, 20, 60), shapely.Polygon([(10, 10), (20, 10), (np.nan, 20), (10, 10)])]
    lots += [shapely.box(-1e9, -1e9, 1e9, 1e9)]
    found = lot_means(window(values), np.array(lots, dtype=object), LOCAL)
    nan = np.nan
    np.testing.assert_allclose(found.mean, [1.0, nan, nan, nan, nan, 1.0, nan, nan])
    np.testing.assert_allclose(found.covered, [0.5, 0.0, 0.0, 0.0, 0.0, 0.5, 0.0, 0.0])


def test_covered_area_is_the_area_of_the_shape() -> None:
    """Law: over a raster of ones with one known cell strip the weights are areas; whatever the direction of a ring."""
    shapes = odd_shapes(60, 1, 800.0)
    left = np.full((80, 80), 7.0)
    left[:, 40:] = np.nan
    found = lot_means(window(left), shapes, LOCAL)
    half = shapely.box(0.0, 0.0, 400.0, 800.0)
    want = shapely.area(shapely.intersection(shapes, half)) / shapely.area(shapes)
    np.testing.assert_allclose(found.covered, want, atol=1e-9)
    assert np.allclose(found.mean[want > 1e-6], 7.0)


def test_the_same_numbers_as_a_zonal_library() -> None:
    """The C++ library for raster zones, on concave lots with holes and parts: to 1e-6."""
    exact = pytest.importorskip("exactextract")
    from exactextract.raster import NumPyRasterSource

    values = np.random.default_rng(3).normal(200.0, 40.0, (80, 80))
    shapes = odd_shapes(300, 2, 800.0)
    frame = gpd.GeoDataFrame(geometry=shapes, crs=LOCAL)
    source = NumPyRasterSource(values, 0.0, 0.0, 800.0, 800.0, srs_wkt=LOCAL.to_wkt())
    theirs = np.array([f["properties"]["mean"] for f in exact.exact_extract(source, frame, ["mean"])], dtype=float)
    np.testing.assert_allclose(lot_means(window(values), shapes, LOCAL).mean, theirs, rtol=0, atol=1e-6)


def test_extremes_are_those_of_the_cells_that_lie_in_the_lot_by_half() -> None:
    """A lot of whole cells and one cut through cells at 0.4 and 0.6: the first column is not in it, the last is."""
    values = np.arange(100.0).reshape(10, 10)
    lots = [shapely.box(20, 20, 50, 50), shapely.box(26, 20, 46, 50), shapely.box(1, 1, 3, 3), None]
    found = lot_means(window(values), np.array(lots, dtype=object), LOCAL)
    np.testing.assert_array_equal(found.cells, [9, 6, 0, 0])
    np.testing.assert_array_equal(found.least, [52.0, 53.0, np.nan, np.nan])
    np.testing.assert_array_equal(found.greatest, [74.0, 74.0, np.nan, np.nan])


def test_extremes_hold_the_mean_whatever_the_shape() -> None:
    """Law: over holes, parts and any turn of the rings, the cells in the lot span the mean of a smooth raster."""
    across, down = np.meshgrid(np.arange(80.0), np.arange(80.0))
    shapes = odd_shapes(100, 5, 800.0)
    found = lot_means(window(across + 0.5 * down), shapes, LOCAL)
    large = found.cells >= 16
    assert large.sum() > 50
    assert (found.least[large] <= found.mean[large] + 1e-9).all()
    assert (found.mean[large] <= found.greatest[large] + 1e-9).all()
    area = shapely.area(shapes) / 100.0
    np.testing.assert_allclose(found.cells[large], area[large], rtol=0.35)
