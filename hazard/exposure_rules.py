"""The numbers that turn ground upwind into exposure letters: the standard's distances and this tool's choices."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class ExposureRules:
    """The numbers of the exposure method: distances of ASCE 7-16 26.7.3, and project choices where it has none.

    Distances: ASCE/SEI 7-16 (and 7-22) 26.7.3, [memory; 1,500, 2,600, 5,000 ft and 20 h also read in public
    transcriptions]. All `*_ft` in feet, shares from 0 to 1.
    """

    rough_share: float = 0.75  # project choice: share of rough ground that 'prevails'; the standard gives none
    open_gap_ft: float = 600.0  # project choice: longest stretch of not-rough ground inside a run of B
    rough_ring_share: float = 0.5  # project choice: a ring below this share of B counts as open in the gap rule
    smooth_ring_share: float = 0.5  # project choice: a ring from this share of D on counts as smooth
    smooth_gap_ft: float = 200.0  # project choice: gaps in D up to this length are bridged (the safe side)
    low_height_ft: float = 30.0  # 26.7.3: the mean roof height up to which the shorter distance of B holds
    rough_distance_low_ft: float = 1500.0  # 26.7.3: B, h <= 30 ft
    rough_distance_tall_ft: float = 2600.0  # 26.7.3: B, h > 30 ft: this or 20 h, the larger
    smooth_distance_ft: float = 5000.0  # 26.7.3: D: this or 20 h, the larger
    inland_distance_ft: float = 600.0  # 26.7.3: D carried over B or C: this or 20 h, the larger
    heights: float = 20.0  # 26.7.3: the 20 of '20 h'
    ring_ft: float = 100.0  # project choice: width of a ring
    sub_cell_ft: float = 35.0  # project choice: cells larger than this are counted in parts

    def __post_init__(self) -> None:
        """Refuse numbers that the method can't use."""
        for name in ("rough_share", "rough_ring_share", "smooth_ring_share"):
            if not 0.0 < getattr(self, name) <= 1.0:
                raise ValueError(f"ExposureRules.{name}: {getattr(self, name)}; expected a share above 0 and up to 1")
        for name in ("ring_ft", "sub_cell_ft", "rough_distance_low_ft", "smooth_distance_ft", "inland_distance_ft"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"ExposureRules.{name}: {getattr(self, name)}; expected more than 0 ft")
        if self.sub_cell_ft > self.ring_ft / 2:
            raise ValueError(f"ExposureRules.sub_cell_ft: {self.sub_cell_ft}; expected at most half of ring_ft")
        for name in ("rough_distance_low_ft", "rough_distance_tall_ft"):
            rings = getattr(self, name) / self.ring_ft
            if abs(rings - round(rings)) > 1e-9:
                raise ValueError(f"ExposureRules.{name}: {getattr(self, name)}; expected a multiple of ring_ft")

    def inland_ft(self, height_ft: np.ndarray | float) -> np.ndarray:
        """Distance over which smooth ground is carried inland. ASCE 7-16 26.7.3 (Exposure D). (n,) ft -> (n,) ft."""
        return np.asarray(np.maximum(self.inland_distance_ft, self.heights * np.asarray(height_ft, dtype=np.float64)))

    def smooth_need_ft(self, height_ft: np.ndarray | float) -> np.ndarray:
        """Length of smooth ground that makes Exposure D. ASCE 7-16 26.7.3. (n,) ft -> (n,) ft."""
        return np.asarray(np.maximum(self.smooth_distance_ft, self.heights * np.asarray(height_ft, dtype=np.float64)))

    def rough_need_ft(self, height_ft: np.ndarray | float) -> np.ndarray:
        """Distance over which rough ground must prevail for Exposure B. ASCE 7-16 26.7.3. (n,) ft -> (n,) ft."""
        h = np.asarray(height_ft, dtype=np.float64)
        tall = np.maximum(self.rough_distance_tall_ft, self.heights * h)
        return np.asarray(np.where(h <= self.low_height_ft, self.rough_distance_low_ft, tall))

    def search_radius_ft(self, height_ft: np.ndarray | float) -> np.ndarray:
        """How far the ground must be known: D begins inland and runs its length. 5,600 ft for h <= 30 ft."""
        reach = self.inland_ft(height_ft) + self.smooth_need_ft(height_ft)
        return np.asarray(np.maximum(reach, self.rough_need_ft(height_ft)))

    @property
    def greatest_height_ft(self) -> float:
        """The mean roof height up to which two stored distances of B suffice (130 ft)."""
        return self.rough_distance_tall_ft / self.heights

    def raster_pad_ft(self, height_ft: float) -> float:
        """How far beyond the lots a land-cover raster should be read: the search radius and two rings."""
        return float(self.search_radius_ft(height_ft)) + 2.0 * self.ring_ft
