"""Basic wind speed of each lot."""

from __future__ import annotations

from hazard.issues import Issues
from hazard.layers import Source
from hazard.sampling import LotPoints, LotValues, read_values

QUANTITY = "wind_speed_mph"


def wind_speed_mph(source: Source, lots: LotPoints, issues: Issues) -> LotValues:
    """Basic wind speed V (3-second gust, Risk Category II) of each lot, mph.

    ASCE 7-16 and 7-22 Section 26.5.1: linear interpolation between contours is permitted, so rasters are bilinear.
    """
    if source.quantity != QUANTITY:
        raise ValueError(f"source holds {source.quantity}; expected {QUANTITY}")
    return read_values(source, lots, issues)
