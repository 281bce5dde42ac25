"""Small houses whose answers are known, through the whole tool: plan text, statics, combinations."""

from __future__ import annotations

import tomllib
from functools import cache

import numpy as np

from screener.demands import DemandModel, Floats, LotHazards, build_model, evaluate, load_basis
from screener.plans import Plan
from screener.points import Point
from screener.wind_states import FACES


@cache
def model_of_text(text: str, method: str = "ASD", edition: str = "ASCE 7-16") -> DemandModel:
    """Demand model of a plan written as TOML text."""
    return build_model(Plan.model_validate(tomllib.loads(text)).variant(), edition, method)


def lots(q_onto_psf: object = 0.0, **numbers: float | list[float]) -> LotHazards:
    """Hazards of one or more lots; what is not named is a calm, still lot. `q_onto_psf`: one number, or (lots, 4)."""
    given = {
        "q_envelope_psf": 0.0,
        "q_components_psf": 0.0,
        "gcpi": 0.18,
        "sds_g": 0.0,
        "sd1_g": 0.0,
        "s1_g": 0.0,
        "rho": 1.0,
        "roof_snow_psf": 0.0,
        **numbers,
    }
    onto = np.asarray(q_onto_psf, dtype=float)
    n = max([np.size(v) for v in given.values()] + ([len(onto)] if onto.ndim == 2 else []))
    arrays = {k: np.broadcast_to(np.asarray(v, dtype=float), n).copy() for k, v in given.items()}
    return LotHazards(**arrays, q_onto_psf=np.broadcast_to(onto, (n, len(FACES))).copy())


def named(model: DemandModel, name: str) -> list[Point]:
    """The point of this name, or the groups it is parted into for package lines ("name, light", "name, heavy")."""
    if name in model.by_name:
        return [model.by_name[name]]
    parts = [p for p in model.points if p.name.startswith(f"{name},")]
    if not parts:
        raise KeyError(f"no point named {name!r}")
    return parts


def demands(model: DemandModel, hazards: LotHazards, point: str, component: str) -> Floats:
    """Largest demand of one component on every lot."""
    basis = load_basis(model, hazards)
    values = [evaluate(p, basis).largest[:, p.components.index(component)] for p in named(model, point)]
    return np.asarray(np.max(values, axis=0))


def worst_of(model: DemandModel, basis: Floats, point: str, component: str, hazard: str) -> float:
    """Largest value of one component over the cases of one hazard, signed, for one basis row."""
    found = model.by_name[point]
    values = found.values(basis[None, :])[0, :, found.components.index(component)]
    return float(values[np.array(found.case_hazards) == hazard].max())
