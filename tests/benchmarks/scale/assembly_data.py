"""What both comparison scripts take from the tool as data: coefficients of the houses, allowable loads, costs.

Statics and capacities are done once a house design, whatever the number of lots, and are not what is compared. Nothing
that runs once a lot is taken: hazards, demands, ratios and choices are worked by the scripts' own code.
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hazard.issues import Issues
from screener.capacities import capacity
from screener.capacity_case import CapacityContext
from screener.config import Tract, load_changed_tract
from screener.demands import seismic_system
from screener.editions import SDPWS_EDITION
from screener.hardware import read_hardware
from screener.houses import choose_houses
from screener.irregularities import judge_redundancy
from screener.joint_lines import ANCHOR, CAST_IN, anchors_itself, partner
from screener.pipeline import model_of
from screener.plan_files import load_plans
from screener.portfolio.cluster import fingerprint
from screener.quantities import house_quantities
from screener.selection import NOT_CHOSEN_FAMILIES, allowables, house_lines
from screener.standards.asce7_ch12_seismic import system_factors
from screener.tier_design import choice_cents

Floats = NDArray[np.float64]
CATEGORIES = ("B", "C", "D0")  # those that the benchmark's first metro has


@dataclass(frozen=True)
class PointData:
    """One connection: forms (cases, components, basis) and, by category, allowables (options, components)."""

    name: str
    line: int  # -1: nothing is chosen for it
    components: tuple[str, ...]
    coefficients: Floats
    ceiling: Floats | None
    seismic_case: NDArray[np.bool_]
    wind: dict[str, Floats]
    seismic: dict[str, Floats]
    usable: dict[str, NDArray[np.bool_]]
    alone: dict[str, NDArray[np.bool_]]
    cast_in: int  # place of the option "cast in with the hold-down"; -1 where there is none
    held_by: str  # the hold-down of an anchor
    anchoring: tuple[int, ...]  # options of that hold-down that anchor themselves


@dataclass(frozen=True)
class HouseData:
    """One house design: its connections, the cost of each option of each line, its masses."""

    basis: tuple[str, ...]
    points: tuple[PointData, ...]
    costs: dict[int, NDArray[np.int64]]
    height_ft: float
    period_s: float
    levels_lb: Floats
    snow_sqft: Floats
    heights_ft: Floats
    rho: float
    r: float  # response modification of the weakest system of the house


@dataclass(frozen=True)
class Data:
    """All designs by (plan, style, options); lines with the names of their options."""

    houses: dict[tuple[str, str, str], HouseData]
    lines: tuple[str, ...]
    options: tuple[tuple[str, ...], ...]
    tract: Tract


def load(folder: Path, designs: list[tuple[str, str, str]]) -> Data:
    """Models and option tables of a project's designs, kept in the folder for the same code."""
    kept = folder / f"assembly-{fingerprint()[:16]}.pickle"
    if not kept.exists():
        kept.write_bytes(pickle.dumps(_load(folder, designs)))
    data: Data = pickle.loads(kept.read_bytes())
    return data


def _load(folder: Path, designs: list[tuple[str, str, str]]) -> Data:
    tract, issues = load_changed_tract(folder / "tract.toml", {"lots": {"file": "lots.parquet"}}), Issues()
    frame: Any = pd.DataFrame(designs, columns=["plan", "style", "options"])
    frame = frame.assign(lot_id=[str(n) for n in range(len(frame))], status="")
    houses = choose_houses(frame, load_plans(tract.plans.folder), False, issues, "designs")
    hardware, _ = read_hardware(tract.hardware.file)
    models = [model_of(tract, variant) for variant in houses.variants]
    lines, _, options = house_lines(models, hardware)
    by_line = dict(zip(lines, options, strict=True))
    made = [_house(model, lines, by_line, hardware, tract) for model in models]
    by_design = {design: made[int(houses.of_lot[n])] for n, design in enumerate(designs)}
    named = tuple(tuple(f"{o.item}|{o.arrangement}" for o in listed) for listed in options)
    return Data(by_design, tuple(lines), named, tract)


def _house(model: Any, lines: list[str], by_line: Any, hardware: Any, tract: Tract) -> HouseData:
    method, edition = tract.design.method, SDPWS_EDITION[tract.design.loads]
    points = []
    for point in model.points:
        chosen = point.family not in NOT_CHOSEN_FAMILIES
        listed = by_line[point.schedule] if chosen else ()
        tables: dict[str, dict[str, Any]] = {"wind": {}, "seismic": {}, "usable": {}, "alone": {}}
        for category in CATEGORIES:
            context = CapacityContext(method, edition, category)
            held = [capacity(option, point, hardware, context) for option in listed]
            for hazard in ("wind", "seismic"):
                allowed = allowables(held, hazard, point.components)
                tables[hazard][category] = np.where(allowed == 0.0, np.nan, allowed)
            tables["usable"][category] = np.array([c.usable for c in held], dtype=bool)
            tables["alone"][category] = np.array([c.interaction == "none" for c in held], dtype=bool)
        anchor = point.family == ANCHOR
        held_by = partner(point.name) if anchor else ""
        own: tuple[int, ...] = ()
        if anchor:
            straps = by_line[model.by_name[held_by].schedule]
            own = tuple(n for n, o in enumerate(straps) if anchors_itself(o, hardware))
        points.append(
            PointData(
                point.name, lines.index(point.schedule) if chosen else -1, point.components, point.coefficients,
                point.ceiling, np.array([h == "seismic" for h in point.case_hazards]), tables["wind"],
                tables["seismic"], tables["usable"], tables["alone"], list(listed).index(CAST_IN) if anchor else -1,
                held_by, own,
            )
        )  # fmt: skip
    labour, waste = tract.purchase.labour_usd_per_h, tract.purchase.waste
    costs = {
        n: np.array(
            [
                choice_cents(tract.tiers, house_quantities(model, line, o, hardware, waste), labour)
                for o in by_line[line]
            ]
        )
        for n, line in enumerate(lines)
    }
    mass = model.mass
    return HouseData(
        model.frame.basis, tuple(points), costs, model.variant.mean_roof_height_ft, model.period_s,
        np.array(mass.level_lb), np.array(mass.snow_area_sqft), np.array(mass.height_ft), judge_redundancy(model).used,
        float(system_factors(seismic_system(model.variant)).r),
    )  # fmt: skip
