"""Snow on flat roofs: ASCE 7, Chapter 7, only as far as the load path of a house needs it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

FLAT_ROOF_FACTOR = 0.7
"""Leading constant of Eq. 7.3-1."""

EXPOSURE_FACTOR = 1.0
"""Partially exposed roof, Table 7.3-1 (from memory)."""

THERMAL_FACTOR = 1.1
"""Ventilated roof over a cold attic, Table 7.3-2 (from memory)."""


def flat_roof_snow_psf(ground_snow_psf: ArrayLike) -> Floats:
    """Flat-roof snow load pf, psf, of a house (importance factor 1.0); shape as given.

    ASCE 7-16 and 7-22, Section 7.3, Eq. 7.3-1 (from memory): pf = 0.7 Ce Ct Is pg. In 7-22 the ground snow itself is at
    strength level. Drifts and sliding snow are not included: they do not drive uplift or racking.
    """
    ground = np.asarray(ground_snow_psf, dtype=np.float64)
    return np.asarray(FLAT_ROOF_FACTOR * EXPOSURE_FACTOR * THERMAL_FACTOR * ground)
