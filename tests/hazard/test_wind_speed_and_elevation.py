"""Wind speed and ground elevation per lot."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from raster_helpers import EAST, NORTH, UTM, plane, write

from hazard.ground_elevation import ground_elevation
from hazard.issues import Issues
from hazard.layers import Constant, Layer
from hazard.sampling import LotPoints
from hazard.wind_speed import wind_speed_mph

XY = np.array([[EAST + 300.0, NORTH - 300.0], [EAST + 450.0, NORTH - 500.0], [EAST + 480.0, NORTH - 200.0]])
LOTS = LotPoints(XY, UTM, np.array(["a", "b", "c"]))
SHAPE = (20, 20)


def test_wind_speed_in_metres_per_second_and_miles_per_hour_agree(tmp_path: Path) -> None:
    mph = write(tmp_path / "mph.tif", plane(SHAPE, a=115.0))
    ms = write(tmp_path / "ms.tif", plane(SHAPE, a=115.0) * 0.44704)
    a = wind_speed_mph(Layer(mph, "wind_speed_mph"), LOTS, Issues())
    b = wind_speed_mph(Layer(ms, "wind_speed_mph", units="m/s"), LOTS, Issues())
    np.testing.assert_allclose(a.values, b.values, rtol=1e-12)
    with pytest.raises(ValueError, match="expected wind_speed_mph"):
        wind_speed_mph(Constant(0.5, "ss_g"), LOTS, Issues())


def test_ke_from_elevation_in_feet_and_metres(tmp_path: Path) -> None:
    """ASCE 7-16 Table 26.9-1: 0.83 at 5,000 ft (exponential 0.834)."""
    feet = ground_elevation(
        Layer(write(tmp_path / "ft.tif", np.full(SHAPE, 5000.0)), "elevation_ft"), LOTS, Issues(), "ASCE 7-16"
    )
    metres = ground_elevation(
        Layer(write(tmp_path / "m.tif", np.full(SHAPE, 1524.0)), "elevation_ft", units="m"), LOTS, Issues(), "ASCE 7-22"
    )
    np.testing.assert_allclose(feet.ke, 0.834, atol=5e-4)
    np.testing.assert_allclose(metres.ke, feet.ke, rtol=1e-12)
    assert not feet.defaulted.any()


def test_ke_is_one_where_nothing_is_known(tmp_path: Path) -> None:
    """ASCE 7-16 Section 26.9: Ke = 1.0 is always permitted."""
    issues = Issues()
    none = ground_elevation(None, LOTS, issues, "ASCE 7-16")
    assert none.ke.tolist() == [1.0, 1.0, 1.0]
    assert [i.severity for i in issues] == ["note"]
    cells = np.full(SHAPE, 5000.0)
    cells[5:8, 14:18] = -9999
    path = write(tmp_path / "e.tif", cells, nodata=-9999)
    issues = Issues()
    found = ground_elevation(Layer(path, "elevation_ft"), LOTS, issues, "ASCE 7-16")
    assert found.defaulted.tolist() == [False, False, True]
    assert found.ke[2] == 1.0
    assert np.isnan(found.elevation_ft[2])
    assert [(i.code, i.severity, i.lot_id) for i in issues if i.lot_id] == [("ke_default", "warn", "c")]
