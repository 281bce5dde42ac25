"""Ground elevation of each lot and the factor for thinner air that follows from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hazard.issues import Issues
from hazard.layers import Source
from hazard.sampling import LotPoints, LotValues, read_values
from hazard.standards import asce7_ch26_wind as ch26

Floats = NDArray[np.float64]

QUANTITY = "elevation_ft"
KE_ALWAYS_PERMITTED = 1.0


@dataclass(frozen=True)
class GroundElevation:
    """Ke per lot, the elevation behind it (NaN where Ke is the permitted 1.0), and where they came from."""

    ke: Floats
    elevation_ft: Floats
    defaulted: NDArray[np.bool_]
    provenance: str
    source: LotValues | None = None


def ground_elevation(source: Source | None, lots: LotPoints, issues: Issues, edition: str) -> GroundElevation:
    """Ground elevation factor Ke of each lot.

    ASCE 7-16 and 7-22 Section 26.9. Ke = 1.0 is always permitted: it is taken for every lot where no elevation is
    given (a note), and for a lot whose elevation can't be read (a warning for that lot).
    """
    if source is None:
        issues.add(
            "ke_default", "note", "project file", "no elevation", "hazards.elevation_ft", "Ke = 1.0 for all lots"
        )
        ones, unknown = np.ones(len(lots)), np.full(len(lots), np.nan)
        return GroundElevation(ones, unknown, np.ones(len(lots), dtype=bool), "Ke = 1.0, always permitted")
    if source.quantity != QUANTITY:
        raise ValueError(f"source holds {source.quantity}; expected {QUANTITY}")
    read = Issues()
    found = read_values(source, lots, read)
    for issue in read:
        if issue.severity == "skip":
            issues.add(
                "ke_default", "warn", issue.where, issue.found, issue.expected, "Ke = 1.0 for this lot", issue.lot_id
            )
        else:
            issues.add(issue)
    unknown_lot = np.isnan(found.values)
    ke = np.where(unknown_lot, KE_ALWAYS_PERMITTED, ch26.ke(found.values, edition))
    return GroundElevation(ke, found.values, unknown_lot, found.provenance, found)
