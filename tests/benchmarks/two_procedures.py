"""The two main wind procedures side by side on the sample: spread of directional over envelope demand by connection.

    python tests/benchmarks/two_procedures.py [--record]

Twice over: at one velocity pressure for everything, which compares the coefficients of Chapters 27 and 28 alone; and
with each lot's own pressures, where the directional procedure takes each face's winds and knows no least Kz. Only wind
cases count. The sample is invented. ``--record`` writes results_two_procedures.md beside this file, with the date.
"""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT)]

from hazard.standards import asce7_ch26_wind as ch26  # noqa: E402
from screener.config import load_tract  # noqa: E402
from screener.demands import DemandModel, LotHazards, build_model, load_basis  # noqa: E402
from screener.families import families  # noqa: E402
from screener.load_path import trace_load_path  # noqa: E402
from screener.pipeline import Prepared, prepare  # noqa: E402
from screener.plans import Variant  # noqa: E402
from screener.standards import asce7_ch27_directional as ch27  # noqa: E402
from screener.wind_pressures import other  # noqa: E402
from screener.wind_states import AXES, FACES, Procedure  # noqa: E402

PROCEDURES: tuple[Procedure, Procedure] = ("envelope", "directional")
EQUAL_Q_PSF = 26.0
WORTH_COMPARING = {"lb": 50.0, "plf": 5.0, "psf": 1.0}
Spread = dict[tuple[str, str], np.ndarray]


def models_of(p: Prepared) -> list[tuple[DemandModel, DemandModel]]:
    """Each house of a tract by both procedures."""
    design = p.tract.design
    pairs = []
    for variant in p.houses.variants:
        envelope, directional = (build_model(variant, design.loads, design.method, one) for one in PROCEDURES)
        pairs.append((envelope, directional))
    return pairs


def wind_demands(model: DemandModel, hazards: LotHazards) -> dict[tuple[str, str, str], np.ndarray]:
    """Largest demand of the wind cases by family, point and component, (lots,)."""
    basis, out = load_basis(model, hazards), {}
    for point in model.points:
        wind = np.array([h == "wind" for h in point.case_hazards])
        if not wind.any():
            continue
        values = point.values(basis)[:, wind].max(axis=1)
        for k, component in enumerate(point.components):
            out[point.family, point.name, component] = np.maximum(values[:, k], 0.0)
    return out


def ratios(pairs: list[tuple[DemandModel, DemandModel]], hazards: list[LotHazards]) -> Spread:
    """Directional over envelope by family and component, over the houses' points of one name and their lots."""
    found: dict[tuple[str, str], list[np.ndarray]] = {}
    for (first, second), here in zip(pairs, hazards, strict=True):
        if not len(here):
            continue
        envelope, directional = wind_demands(first, here), wind_demands(second, here)
        for key in envelope.keys() & directional.keys():
            worth = envelope[key] > WORTH_COMPARING[key[2].rsplit("_", 1)[1]]
            found.setdefault((key[0], key[2]), []).append((directional[key] / np.maximum(envelope[key], 1e-9))[worth])
    spread = {key: np.concatenate(parts) for key, parts in found.items()}
    return {key: values for key, values in spread.items() if len(values)}


def equal_hazards(count: int = 1) -> LotHazards:
    """Lots with one velocity pressure for every procedure and direction, no snow, no shaking."""
    q, none = np.full(count, EQUAL_Q_PSF), np.zeros(count)
    return LotHazards(q, q, np.full(count, 0.18), none, none, none, none + 1.0, none, np.tile(q[:, None], len(FACES)))


def own_hazards(p: Prepared) -> list[LotHazards]:
    house = p.houses.of_lot[p.usable]
    return [p.hazards.take(np.flatnonzero((house == h) & p.site.known)) for h in range(len(p.houses.variants))]


def base_shears(pairs: list[tuple[DemandModel, DemandModel]]) -> dict[str, np.ndarray]:
    """Directional over envelope: whole base shear by axis, largest whole uplift of the roofs; at equal pressure."""
    here, out = equal_hazards(), {"base shear along x": [], "base shear along y": [], "whole roof uplift": []}
    for pair in pairs:
        totals = []
        for model in pair:
            basis = load_basis(model, here)[0]
            rows = slice(0, len(model.frame.wind))
            shear = [np.abs(model.books.shear_entered[axis][rows] @ basis).max() for axis in AXES]
            roofs = sum(e for name, e in model.books.entered.items() if name.startswith("roof "))
            totals.append([*shear, (roofs[rows] @ basis).max()])
        for name, ratio in zip(out, np.array(totals[1]) / np.array(totals[0]), strict=True):
            out[name].append(ratio)
    return {name: np.array(values) for name, values in out.items()}


def falling_pressure(p: Prepared, exposure: str) -> np.ndarray:
    """Share of the base shear that q falling with height on windward walls would take away, by house and axis."""
    edition, out = p.tract.design.loads, []
    for variant in p.houses.variants:
        house = trace_load_path(variant, edition, "ASD", "directional")
        basis = np.zeros(len(house.frame.basis))
        basis[[house.frame.column[name] for name in house.frame.velocities]] = EQUAL_Q_PSF
        at_roof = float(ch26.kz(variant.mean_roof_height_ft, exposure, edition))
        for axis in AXES:
            lee = float(ch27.leeward_wall_cp(house.ctx.along(axis) / house.ctx.along(other(axis))))
            windward = ch27.windward_wall_cp() / (ch27.windward_wall_cp() - lee)
            state = next(i for i, s in enumerate(house.frame.wind) if s.axis == axis and not s.roof and not s.minimum)
            levels = {storey: level for (storey, a), level in house.lateral.items() if a == axis}
            force = {storey: abs(float(level.own.total()[state] @ basis)) for storey, level in levels.items()}
            less = sum(
                force[storey] * windward * (1.0 - min(float(ch26.kz(top, exposure, edition)) / at_roof, 1.0))
                for storey, top in _tops_of_bands(variant, levels)
            )
            out.append(less / sum(force.values()))
    return np.array(out)


def _tops_of_bands(variant: Variant, storeys: Iterable[int]) -> Iterator[tuple[int, float]]:
    """Top of the wall that loads each level which has a storey above: the middle of that storey's walls."""
    for storey in storeys:
        if storey + 1 < len(variant.levels):
            yield storey, variant.floor_height_ft(storey + 1) + variant.levels[storey + 1].wall_height_ft / 2.0


def table(spread: Spread) -> Iterator[str]:
    words = {key: n for n, key in enumerate(families())}
    yield "| connection | component | compared | least | 5 % | median | 95 % | most |"
    yield "|---|---|---|---|---|---|---|---|"
    for family, component in sorted(spread, key=lambda key: (words.get(key[0], len(words)), key[1])):
        values = spread[family, component]
        cells = [f"{v:.2f}" for v in np.quantile(values, [0.0, 0.05, 0.5, 0.95, 1.0])]
        yield f"| {family.replace('_', ' ')} | {component} | {len(values):,} | {' | '.join(cells)} |"


def report(p: Prepared) -> Iterator[str]:
    pairs, design = models_of(p), p.tract.design
    yield "# Directional over envelope procedure on the sample (two_procedures.py)\n"
    yield from prose(
        f"Run on {date.today().isoformat()}. Invented lots and ground; {design.loads}, {design.method},",
        f"{len(p.usable)} lots, {len(pairs)} house designs.",
        "Ratio of the largest demand over all wind cases, connection by connection.",
        "Demands below 50 lb, 5 plf or 1 psf by the envelope procedure are left out, and so are groups of trusses that",
        "only one procedure has. Small uplifts have large ratios: they are differences of wind and dead load.",
    )
    yield "## Coefficients alone: one velocity pressure everywhere\n"
    yield "| whole house | houses | least | median | most |"
    yield "|---|---|---|---|---|"
    for name, values in base_shears(pairs).items():
        cells = " | ".join(f"{v:.2f}" for v in np.quantile(values, [0.0, 0.5, 1.0]))
        yield f"| {name} | {len(values)} | {cells} |"
    yield ""
    yield from table(ratios(pairs, [equal_hazards() for _ in pairs]))
    yield "\n## Each lot's own pressures\n"
    onto = p.hazards.q_onto_psf[p.site.known]
    over, evenness = onto / p.hazards.q_envelope_psf[p.site.known, None], onto.min(axis=1) / onto.max(axis=1)
    least, median, most = np.quantile(over, [0.0, 0.5, 1.0])
    yield from prose(
        "Pressure of the wind on to a face over the envelope procedure's:",
        f"{least:.2f} to {most:.2f}, median {median:.2f}. Least over most face of one lot:",
        f"{evenness.min():.2f} and up, median {np.median(evenness):.2f}.",
    )
    yield from table(ratios(pairs, own_hazards(p)))
    yield "\n## Pressure falling with height on windward walls\n"
    yield from prose(
        "The model takes the pressure at the mean roof height on the whole windward wall. Kz at the top of each",
        "level's band of wall instead would lower the base shear, over houses and axes, by",
    )
    for exposure in ("B", "C", "D"):
        less = falling_pressure(p, exposure)
        yield f"- Exposure {exposure}: {less.min():.1%} to {less.max():.1%}, median {np.median(less):.1%}"


def prose(*parts: str) -> Iterator[str]:
    yield textwrap.fill(" ".join(parts), 118)
    yield ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--record", action="store_true", help="write results_two_procedures.md")
    asked = parser.parse_args()
    tract = load_tract(ROOT / "sample_data" / "tract.toml")
    text = "\n".join(report(prepare(tract))) + "\n"
    print(text)
    if asked.record:
        (HERE / "results_two_procedures.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
