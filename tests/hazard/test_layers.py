"""Declarations of sources and the one table of unit conversions."""

from __future__ import annotations

import numpy as np
import pytest

from hazard import layers


@pytest.mark.parametrize(
    ("given", "unit", "own", "value"),
    [
        (1.0, "m", "ft", 1 / 0.3048),
        (3937.0, "us-ft", "ft", 1200 / 0.3048),
        (1.609344, "km/h", "mph", 1.0),
        (0.44704, "m/s", "mph", 1.0),
        (1.852, "kn", "mph", 1.852 * 1852 / 1609.344),
        (150.0, "%g", "g", 1.5),
        (9.80665, "m/s2", "g", 1.0),
        (980.665, "gal", "g", 1.0),
        (1.0, "kPa", "psf", 20.885434233),
        (47.88025898, "Pa", "psf", 1.0),
    ],
)
def test_conversions_by_definition(given: float, unit: str, own: str, value: float) -> None:
    """Exact definitions: foot 0.3048 m, survey foot 1200/3937 m, mile 1609.344 m, g 9.80665 m/s2, lbf 4.448221615 N."""
    assert given * layers.conversion_factor(unit, own) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize(
    ("written", "unit"),
    [("Metre", "m"), ("US survey foot", "us-ft"), ("M/S", "m/s"), ("MPH", "mph"), ("pct g", "%g"), ("furlong", ""),
     ("", "")],
)  # fmt: skip
def test_unit_names(written: str, unit: str) -> None:
    assert layers.unit_name(written) == unit


def test_units_that_do_not_measure_the_quantity_are_refused() -> None:
    with pytest.raises(ValueError, match="unit 'psf'; expected one of mph, m/s, km/h, kn"):
        layers.Layer("v.tif", "wind_speed_mph", units="psf")
    with pytest.raises(ValueError, match="expected quantity one of wind_speed_mph"):
        layers.Layer("v.tif", "temperature")


def test_classes_can_not_be_interpolated() -> None:
    with pytest.raises(ValueError, match="holds classes"):
        layers.Layer("c.tif", "land_cover", interpolation="bilinear")
    assert layers.Layer("c.tif", "land_cover").rule() == "nearest"
    assert layers.Layer("v.tif", "wind_speed_mph").rule() == "bilinear"
    assert layers.Layer("s.tif", "ss_g").rule() == "ln_bilinear"


def test_physical_ranges() -> None:
    """Design wind 85 to 210 mph, SS 0 to 4 g, elevation -300 to 15,000 ft; a stored zero g is no value."""
    assert layers.quantity("wind_speed_mph").in_range([84.9, 85, 210, 211, np.nan]).tolist() == [
        False, True, True, False, False,
    ]  # fmt: skip
    assert layers.quantity("ss_g").in_range([0.0, 0.02, 4.0, 4.1]).tolist() == [False, True, True, False]
    assert layers.quantity("elevation_ft").in_range([-301, -300, 0, 15000]).tolist() == [False, True, True, True]


def test_likely_units() -> None:
    assert layers.likely_units([40.0, 55.0], "wind_speed_mph", "mph") == ["m/s"]
    assert layers.likely_units([120.0], "ss_g", "g")[0] == "%g"
    assert layers.likely_units([-50.0], "wind_speed_mph", "mph") == []
