"""How far and how finely the ground around a lot is read for Kzt, and when a feature counts as near a condition."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hazard.crs import METRES_PER_FOOT
from hazard.standards.tables import load_table, value


@dataclass(frozen=True)
class TopographySettings:
    """How far and how finely the ground is read. The defaults are this tool's choice except where a clause is named."""

    edition: str = "ASCE 7-16"
    search_upwind_ft: float = 10560.0  # 2 miles, ASCE 7-16 Section 26.8.1
    search_downwind_ft: float = 3300.0
    beyond_ft: float = 2640.0  # read past both search distances where the raster has it
    coarsest_step_m: float = 10.0
    finest_step_m: float = 3.0
    fine_step_m: float = 5.0
    fine_below_ft: float = 300.0
    smoothing_points: int = 5  # odd; 1 = none
    prominence_ft: float = 10.0
    foot_share: float = 0.02  # the foot is the nearest point within this share of the relief above the base
    knee_share: float = 0.10  # least height of a knee above its chord, and of the top above a knee, as share of relief
    knee_ft: float = 5.0  # and its least height above (of a bend: below) the chord in ft
    chord_reach: float = 8.0  # reliefs behind the top at which the chord ends
    bench_share: float = 0.4  # slope behind an edge, as a share of the front slope
    flat_share: float = 0.2  # slope of a flat top behind its front edge, likewise
    lee_reach: float = 4.0  # Lh downwind within which a ridge has fallen by H/2
    hill_reach: float = 2.0  # Lh around the crest within which a hill has fallen by H/2
    keep_near: float = 0.10  # features that miss a condition by up to this share are kept, to be reported
    near_threshold: float = 0.05
    step_below_ft: float = 50.0  # Lh of a man-made step
    valley_search_ft: float = 3300.0
    valley_rise_ft: float = 60.0
    valley_slope: float = 0.1
    largest_hole_cells: int = 4  # holes of missing cells up to this size, inside the raster, are filled

    def __post_init__(self) -> None:
        if self.smoothing_points < 1 or self.smoothing_points % 2 == 0:
            raise ValueError(f"smoothing_points is {self.smoothing_points}; expected 1, 3, 5 or another odd number")
        for name in ("search_upwind_ft", "search_downwind_ft", "coarsest_step_m", "finest_step_m", "fine_step_m"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} is {getattr(self, name)}; expected a distance above 0")
        if self.beyond_ft < 0:
            raise ValueError(f"beyond_ft is {self.beyond_ft}; expected 0 or more")

    def step_ft(self, cell_m: float) -> float:
        """Distance between samples for a raster of this cell size.

        Rounded to a whole metre, so that two pieces of one tract on a raster in degrees are read alike.
        """
        return min(max(float(round(cell_m)), self.finest_step_m), self.coarsest_step_m) / METRES_PER_FOOT

    def limits(self) -> str:
        """What the search distances leave out, in words."""
        # Kzt reaches mu * Lh, and a feature that counts has Lh of at most H / 0.2
        conditions, shapes = load_table("asce7_kzt_conditions.csv"), load_table("asce7_kzt.csv")
        least_slope = float(value(conditions, "least_slope", edition=self.edition, exposure="C"))
        upwind_h = self.search_upwind_ft * least_slope / float(np.max(shapes["mu_downwind"]))
        downwind_h = self.search_downwind_ft * least_slope / float(np.max(shapes["mu_upwind"]))
        return (
            f"Terrain is read {self.search_upwind_ft:,.0f} ft upwind and {self.search_downwind_ft:,.0f} ft downwind"
            f" of a lot. Not seen: crests farther upwind (they matter only if higher than {upwind_h:,.0f} ft) and"
            f" crests farther downwind (only if higher than {downwind_h:,.0f} ft)."
        )
