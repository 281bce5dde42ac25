"""Loads on the plan drawing: the demand model's own numbers at given hazards, written where they act."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from screener.demands import DemandModel, LotHazards, evaluate, load_basis
from screener.drawings.layout import segments_of
from screener.drawings.plan_drawing import in_rows, outward
from screener.drawings.shapes import Shape
from screener.house_loads import HouseLoads
from screener.irregularities import judge_redundancy
from screener.perforated_walls import whole_label
from screener.points import REFERENCE
from screener.roof_loads import truss_runs
from screener.wind_states import FACES

SIZE = 0.82
ROWS_FT = (3.3, 4.3, 5.3, 6.3)
ROOF_ROWS_FT = (1.2, 2.3, 3.4)
SD1_OF_SDS = 0.5
"""SD1 for a drawing's loads where only SDS is given: a house is so stiff that it seldom matters."""


@dataclass(frozen=True)
class DrawnHazards:
    """Hazards at which a plan is drawn with loads; the defaults are those at which connections are ranked."""

    q_psf: float = REFERENCE["q_envelope_psf"]
    sds_g: float = REFERENCE["sds_g"]

    def words(self, method: str) -> str:
        """What the written loads are, by the design method of the house that they were worked out for."""
        at = f"q = {self.q_psf:g} psf and SDS = {self.sds_g:g} g"
        return f"loads at {at}, {method}, largest over all cases; not of a lot"


Largest = Callable[[str, str], float]


def largest_of(model: DemandModel, hazards: DrawnHazards) -> Largest:
    """Largest demand of a connection in one direction; NaN where the house has none."""
    one = np.ones(1)
    internal = REFERENCE["q_envelope_gcpi_psf"] / REFERENCE["q_envelope_psf"]
    rho = judge_redundancy(model).used
    lot = LotHazards(
        one * hazards.q_psf,
        one * hazards.q_psf,
        one * internal,
        one * hazards.sds_g,
        one * hazards.sds_g * SD1_OF_SDS,
        one * 0.0,
        one * rho,
        one * 0.0,
        np.full((1, len(FACES)), hazards.q_psf),
    )
    basis = load_basis(model, lot)

    def largest(name: str, component: str) -> float:
        point = model.by_name.get(name)
        if point is None or component not in point.components:
            return float("nan")
        return float(evaluate(point, basis).largest[0, point.components.index(component)])

    return largest


def wall_loads(house: HouseLoads, storey: int, largest: Largest) -> list[Shape]:
    """Shear and end tension of each segment, uplift along each sill, on the room side of the wall."""
    out: list[Shape] = []
    for wall in house.variant.walls_of(storey):
        side = -outward(house.variant, wall) or 1.0
        shear = largest(f"wall sheathing: line {wall.line}, storey {storey + 1}", "shear_plf")
        texts = []
        for n, s in enumerate(segments_of(house, wall), 1):
            label = f"{wall.name}, segment {n} ({s.span.length:.1f} ft)"
            holes = wall.name in house.perforated
            pull = largest(f"hold-down: {whole_label(house, wall) if holes else label}", "tension_lb")
            ends = f", ends of wall {max(pull, 0.0):,.0f} lb" if n == 1 else ""
            ends = ends if holes else f", ends {max(pull, 0.0):,.0f} lb"
            texts.append(((s.span.lo + s.span.hi) / 2.0, f"{n}: {shear:,.0f} plf{ends}"))
        sill = largest(f"sill anchor: {wall.name}", "uplift_plf")
        if sill == sill:
            texts.append(((wall.lo + wall.hi) / 2.0, f"sill up {sill:,.0f} plf"))
        out += in_rows("load", wall, side, texts, ROWS_FT, SIZE)
    return out


def roof_loads(house: HouseLoads, largest: Largest) -> list[Shape]:
    """Uplift of one truss at each bearing by zone, of hip jacks, and of girder ends."""
    out: list[Shape] = []
    for part in house.variant.roofs:
        for at, wall_name in part.bearings:
            texts = []
            for zone, group in itertools.groupby(truss_runs(house.ctx, part), lambda run: run.zone):
                runs = list(group)
                up = largest(f"truss tie: {part.name} on {wall_name}, {house.zone_name(zone)}", "uplift_lb")
                if runs[0].at and up == up:
                    texts.append(((runs[0].lo + runs[-1].hi) / 2.0, f"up {up:,.0f} lb each"))
            inward = 1.0 if at < part.ridge_at else -1.0
            out += in_rows("load", house.variant.wall(wall_name), inward, texts, ROOF_ROWS_FT, SIZE)
        for end, sense in zip(part.end_walls, (1.0, -1.0), strict=True):
            up = largest(f"truss tie: {part.name} hip jacks on {end}", "uplift_lb")
            if up == up:
                text = [(part.ridge_at, f"jacks up {up:,.0f} lb each")]
                out += in_rows("load", house.variant.wall(end), sense, text, ROOF_ROWS_FT, SIZE)
    return out
