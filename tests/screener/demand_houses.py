"""Houses and lots for the tests of the demand model: plans from text or file, models built once, hazards by name."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

from screener.checks.houses import lots as lots
from screener.checks.houses import named as named
from screener.checks.houses import worst_of as worst_of
from screener.demands import DemandModel, LotHazards, build_model, evaluate, load_basis
from screener.plan_files import load_plan
from screener.plans import Plan
from screener.wind_states import Procedure

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


def demand(model: DemandModel, hazards: LotHazards, point: str, component: str) -> float:
    """Largest demand of one component on the only lot."""
    basis = load_basis(model, hazards)
    return max(float(evaluate(p, basis).largest[0, p.components.index(component)]) for p in named(model, point))
