"""Houses and lots for the tests of the demand model: plans from text or file, models built once, hazards by name."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

import numpy as np

from screener.demands import DemandModel, LotHazards, build_model, evaluate, load_basis
from screener.plans import Plan, load_plan
from screener.points import Point
from screener.wind_states import FACES, Procedure

HERE = Path(__file__).parent
ABACUS = HERE / "hand_check" / "abacus.toml"
SAMPLE_PLANS = sorted((HERE.parents[1] / "sample_data" / "plans").glob("*.toml"))


@cache
def plan_file(path: Path) -> Plan:
    return load_plan(path)


@cache
def plan_text(text: str) -> Plan:
    """A plan written in a test, through the same door as any plan file."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "house.toml"
        file.write_text(text, encoding="utf-8")
        return load_plan(file)


@cache
def model_of_file(
    path: Path,
    style: str = "",
    options: tuple[str, ...] = (),
    mirrored: bool = False,
    edition: str = "ASCE 7-16",
    procedure: Procedure = "envelope",
) -> DemandModel:
    return build_model(plan_file(path).variant(style, options, mirrored), edition, "ASD", procedure)


@cache
def model_of_text(
    text: str, mirrored: bool = False, method: str = "ASD", procedure: Procedure = "envelope"
) -> DemandModel:
    return build_model(plan_text(text).variant(mirrored=mirrored), "ASCE 7-16", method, procedure)


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


def demand(model: DemandModel, hazards: LotHazards, point: str, component: str) -> float:
    """Largest demand of one component on the only lot."""
    basis = load_basis(model, hazards)
    return max(float(evaluate(p, basis).largest[0, p.components.index(component)]) for p in named(model, point))


def worst_of(model: DemandModel, basis: np.ndarray, point: str, component: str, hazard: str) -> float:
    """Largest value of one component over the cases of one hazard, signed, for one basis row."""
    found = model.by_name[point]
    values = found.values(basis[None, :])[0, :, found.components.index(component)]
    return float(values[np.array(found.case_hazards) == hazard].max())
