"""Demand models: a house's connection points as linear forms over hazard numbers, and their batched evaluation.

Statics is done once a house (``build_model``); a tract is then one matrix product a house design over all its lots.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from screener.house_loads import Books
from screener.lateral_loads import SeismicMass
from screener.load_path import trace_load_path
from screener.load_states import Frame
from screener.plans import Variant
from screener.points import Point
from screener.standards import asce7_ch12_seismic as seismic
from screener.wind_states import FACES, Procedure, internal_column

Floats = NDArray[np.float64]

PANEL_WALLS, GYPSUM_WALLS = "bearing wall wood panels", "bearing wall other panels"
IMPORTANCE = 1.0
LONG_PERIOD_S = 8.0
"""Long-period transition: no house is slow enough for it to matter; any value beyond 1 s gives the same result."""


@dataclass(frozen=True)
class LotHazards:
    """Hazard numbers of the lots that share one house design; every array has one entry a lot.

    ``q_envelope_psf`` and ``q_components_psf`` are velocity pressures at the mean roof height with the Kz rule of
    Chapter 28 and of Chapters 27 and 30, each at its own worst direction; ``q_onto_psf`` (lots, 4) those of the winds
    on to the plan's faces (``wind_states.FACES``) for the directional procedure; ``gcpi`` the internal pressure
    coefficient's size; ``rho`` the redundancy factor; ``roof_snow_psf`` the flat-roof snow; ``sds_capped_g`` the SDS of
    base shear and vertical shaking where 12.8.1.3 caps it (None: SDS itself).
    """

    q_envelope_psf: Floats
    q_components_psf: Floats
    gcpi: Floats
    sds_g: Floats
    sd1_g: Floats
    s1_g: Floats
    rho: Floats
    roof_snow_psf: Floats
    q_onto_psf: Floats
    sds_capped_g: Floats | None = None

    def __len__(self) -> int:
        return len(self.q_envelope_psf)

    def take(self, index: NDArray[np.intp] | slice) -> LotHazards:
        given = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return replace(self, **{name: values[index] for name, values in given.items() if values is not None})

    def velocity_psf(self, name: str) -> Floats:
        """One velocity pressure by its basis name."""
        onto = {f"q_onto_{face}_psf": self.q_onto_psf[:, k] for k, face in enumerate(FACES)}
        return onto[name] if name in onto else np.asarray(getattr(self, name))


@dataclass(frozen=True)
class DemandModel:
    """Everything about one house design that does not depend on the lot."""

    variant: Variant
    frame: Frame
    points: tuple[Point, ...]
    books: Books
    mass: SeismicMass
    scope: tuple[tuple[str, str], ...]
    roof_ties: str = "main"

    @cached_property
    def by_name(self) -> Mapping[str, Point]:
        return {p.name: p for p in self.points}

    @cached_property
    def loaded(self) -> frozenset[str]:
        """Connections that some hazard can load (`quantities.can_be_loaded`)."""
        from screener.quantities import can_be_loaded

        return frozenset(p.name for p in self.points if can_be_loaded(p, self.frame.column))

    def traced(self) -> DemandModel:
        """The same model built again by the same code, its effects remembering what they are made of."""
        frame = self.frame
        return build_model(self.variant, frame.edition, frame.method, frame.procedure, self.roof_ties, traced=True)

    @property
    def period_s(self) -> float:
        """Approximate period from the height above the base (12.8.2.1)."""
        return float(seismic.approximate_period_s(self.mass.height_ft[-1]))


def build_model(
    variant: Variant,
    edition: str,
    method: str,
    procedure: Procedure = "envelope",
    roof_ties: str = "main",
    traced: bool = False,
) -> DemandModel:
    """Demand model of one variant for one edition ("ASCE 7-16", "ASCE 7-22"), method ("ASD") and wind procedure.

    roof_ties: "main" (ties by the main wind system) or "components" (by the larger of it and Chapter 30). traced: its
    effects remember what they are made of (`screener.trace`).
    """
    path = trace_load_path(variant, edition, method, procedure, roof_ties, traced)
    scope = tuple(dict.fromkeys(path.scope))
    return DemandModel(variant, path.frame, tuple(path.points), path.books, path.mass, scope, roof_ties)


def seismic_system(variant: Variant) -> str:
    """The weakest system whose walls may share the plan's shear: its R holds for the house (12.2.3.3, from memory).

    The standard lets light-frame houses of two storeys take R line by line; the least of all lines is taken here.
    """
    return PANEL_WALLS if variant.plan.plan.gypsum_shares == "no" else GYPSUM_WALLS


def load_basis(model: DemandModel, hazards: LotHazards) -> Floats:
    """Basis rows (lots, basis): the hazard numbers, with storey and diaphragm forces of ASCE 7 12.8.3 and 12.10."""
    n, levels = len(hazards), len(model.mass.level_lb)
    system = seismic.system_factors(seismic_system(model.variant))
    capped = hazards.sds_g if hazards.sds_capped_g is None else hazards.sds_capped_g
    cs = seismic.seismic_response_coefficient(
        capped, hazards.sd1_g, hazards.s1_g, system.r, IMPORTANCE, model.period_s, LONG_PERIOD_S
    )
    share = seismic.snow_share_psf(hazards.roof_snow_psf, model.frame.edition)
    weights = np.array(model.mass.level_lb)[None, :] + np.array(model.mass.snow_area_sqft)[None, :] * np.reshape(
        share, (n, 1)
    )
    forces = seismic.storey_forces(cs * weights.sum(axis=1), weights, np.array(model.mass.height_ft), model.period_s)
    diaphragm = seismic.diaphragm_force(forces, weights, hazards.sds_g, IMPORTANCE)
    out = np.empty((n, len(model.frame.basis)))
    out[:, 0] = 1.0
    column = model.frame.column
    for name in model.frame.velocities:
        q = hazards.velocity_psf(name)
        out[:, column[name]] = q
        out[:, column[internal_column(name)]] = q * hazards.gcpi
    out[:, column["sds_g"]] = hazards.sds_g
    out[:, column["sds_vertical_g"]] = capped
    out[:, column["roof_snow_psf"]] = hazards.roof_snow_psf
    out[:, column["rho_cs"]] = hazards.rho * cs
    first = column["rho_storey_force_lb_1"]
    out[:, first : first + levels] = hazards.rho[:, None] * forces
    first = column["diaphragm_force_lb_1"]
    out[:, first : first + levels] = diaphragm
    return out


@dataclass(frozen=True)
class PointDemand:
    """Demands of one point on many lots: the largest of each component over all cases, and which case gave it."""

    largest: Floats
    case: NDArray[np.intp]


def evaluate(point: Point, basis: Floats) -> PointDemand:
    """Largest demand (lots, components), at least zero, and its case index, for basis rows (lots, basis)."""
    values = point.values(basis)
    case = values.argmax(axis=1)
    largest = np.maximum(np.take_along_axis(values, case[:, None, :], axis=1)[:, 0, :], 0.0)
    return PointDemand(largest, case)
