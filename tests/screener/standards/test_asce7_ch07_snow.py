"""Flat roof snow of ASCE 7 Chapter 7. The factors are from memory; the sum is worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from screener.standards.asce7_ch07_snow import flat_roof_snow_psf


def test_flat_roof_snow_by_hand() -> None:
    """ASCE 7-16 Eq. 7.3-1 (from memory): 0.7 Ce Ct Is pg, Ce 1.0, Ct 1.1 over a cold attic, Is 1.0: 25 gives 19.25."""
    assert flat_roof_snow_psf(25.0) == pytest.approx(19.25, abs=1e-9)
    assert flat_roof_snow_psf([0.0, 50.0]).tolist() == pytest.approx([0.0, 38.5])
    assert np.isnan(flat_roof_snow_psf(np.nan))
