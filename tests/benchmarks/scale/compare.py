"""Whether the comparison scripts do the same job: their letters, Kzt, demands and choices beside the tool's.

The tool's side is `pipeline.prepare` and `selection.judge` on the same lots as one tract (a portfolio run gives the
same bits, which tests hold it to). The elevation differs a little by intent: the scripts take its zonal mean over the
lot, the tool the value at its middle. So demands are compared given the tool's hazards, choices both ways.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from screener import config
from screener.editions import SDPWS_EDITION
from screener.pipeline import Prepared, prepare
from screener.selection import house_lines, judge
from tests.benchmarks.scale.assembly_data import Data
from tests.benchmarks.scale.vectorised import Evaluated, Outcome, basis_of, groups

Floats = NDArray[np.float64]


@dataclass
class Ours:
    """The tool's answers in the order of the lots."""

    outcome: Outcome
    largest: dict[tuple[int, str], tuple[NDArray[np.intp], Floats]]  # (house, point) -> lots, demands
    designs: list[tuple[str, str, str]]
    basis_difference: float = 0.0


def tract_of(folder: Path, lots: slice) -> Path:
    """A project of some lots as one tract, ids made of tract and lot; its lots file beside the project file."""
    frame = gpd.read_parquet(folder / "lots.parquet").iloc[lots].reset_index(drop=True)
    frame["lot_id"] = frame["tract"].astype(str) + "-" + frame["lot_id"].astype(str)
    for name in ("tract", "division", "plan", "style", "options"):
        frame[name] = frame[name].astype(str)
    file = folder / f"tract_{len(frame)}.toml"
    lots_file = folder / f"lots_{len(frame)}.gpkg"
    lots_file.unlink(missing_ok=True)
    frame.drop(columns="bbox", errors="ignore").to_file(lots_file, layer="lots")
    text = (folder / "tract.toml").read_text(encoding="utf-8")
    file.write_text(text.replace('file = "lots.gpkg"', f'file = "{lots_file.name}"'), encoding="utf-8")
    return file


def ours(folder: Path, data: Data, lots: slice) -> Ours:
    """The tool on the same lots."""
    p = prepare(config.load_tract(tract_of(folder, lots)), workers=2)
    if len(p.usable) != len(p.lots):
        raise ValueError(f"{len(p.lots) - len(p.usable)} of {len(p.lots)} lots were skipped; expected none")
    lines, _, options = house_lines(p.models, p.hardware)
    if tuple(lines) != data.lines:
        raise ValueError("package lines differ: these lots have not all designs of the benchmark")
    by_line = dict(zip(lines, options, strict=True))
    cheapest = np.full((len(p.lots), len(lines)), -2)
    largest = {}
    place_of_design = list(zip(*(p.lots[c].astype(str) for c in ("plan", "style", "options")), strict=True))
    for h, model in enumerate(p.models):
        rows = p.houses.lots_of(h)
        house = data.houses[place_of_design[rows[0]]]
        result = judge(
            model, rows, p.hazards.take(rows), p.categories[rows], by_line, p.hardware,
            SDPWS_EDITION[p.tract.design.loads],
        )  # fmt: skip
        holds: dict[int, NDArray[np.bool_]] = {}
        for point in result.points:
            largest[h, point.point.name] = (rows, point.largest)
            if point.point.schedule in by_line:
                line = lines.index(point.point.schedule)
                passes = point.ratio <= 1.0
                holds[line] = holds[line] & passes if line in holds else passes
        for line, passes in holds.items():
            order = np.lexsort((np.arange(passes.shape[1]), house.costs[line]))
            cheapest[rows, line] = np.where(passes.any(axis=1), order[passes[:, order].argmax(axis=1)], -1)
    return Ours(Outcome(p.site.letters, p.site.kzt, numbers(p), cheapest), largest, place_of_design)


def numbers(p: Prepared) -> dict[str, Any]:
    """The tool's hazards under the scripts' names."""
    return {
        "speed": p.site.speed.values, "elevation_ft": p.site.elevation.elevation_ft,
        "q_envelope_psf": p.hazards.q_envelope_psf, "q_components_psf": p.hazards.q_components_psf,
        "sds_g": p.hazards.sds_g, "sd1_g": p.hazards.sd1_g, "s1_g": p.hazards.s1_g,
        "roof_snow_psf": p.hazards.roof_snow_psf, "sdc": p.site.seismic.sdc, "category": p.categories,
    }  # fmt: skip


def given_our_hazards(mine: Ours, data: Data) -> tuple[float, float]:
    """The scripts' demands and choices from the tool's hazards: largest relative difference of demands over 1e-3 of
    their unit, and the share of lines with the same cheapest option."""
    worst, same, of = 0.0, 0, 0
    hazards, wanted = mine.outcome.hazards, mine.outcome.cheapest
    for house, rows, category in groups(mine.designs, hazards["category"], data):
        part = Evaluated(house, rows, basis_of(house, hazards, rows), category)
        chosen = part.choose(len(data.lines))
        same, of = same + int((chosen == wanted[rows]).sum()), of + chosen.size
        for n, point in enumerate(house.points):
            where, demands = next(v for (_, name), v in mine.largest.items() if name == point.name and rows[0] in v[0])
            own = demands[np.searchsorted(where, rows)]
            off = np.abs(part.largest[n] - own) / np.maximum(np.abs(own), 1e-3)
            worst = max(worst, float(off.max()))
    return worst, same / of


def agreement(name: str, theirs: Outcome, mine: Ours, step: slice = slice(None)) -> list[str]:
    """One row of the table of agreement."""
    outcome = mine.outcome
    letters = outcome.letters[step]
    same = theirs.letters == letters
    kzt = outcome.kzt[step]
    off = np.abs(theirs.kzt / kzt - 1.0)
    off = np.where(np.isnan(theirs.kzt) & np.isnan(kzt), 0.0, off)
    alike = same & np.isfinite(off)
    speed = np.abs(theirs.hazards["speed"] / outcome.hazards["speed"][step] - 1.0).max()
    sds = np.abs(theirs.hazards["sds_g"] / outcome.hazards["sds_g"][step] - 1.0).max()
    choice = (theirs.cheapest == outcome.cheapest[step]).mean()
    return [
        name, f"{len(letters):,}", f"{same.mean():.4%}", f"{(off[alike] <= 0.005).mean():.4%}",
        f"{100 * float(off[alike].max()):.3f} %", f"{100 * float(speed):.3f} %", f"{100 * float(sds):.3f} %",
        f"{choice:.4%}",
    ]  # fmt: skip


HEADER = [
    "script", "lots", "letters equal (lot x 16)", "Kzt within 0.5 %", "Kzt, largest difference, same letter",
    "speed", "SDS", "cheapest option equal (own hazards)",
]  # fmt: skip

__all__ = ["HEADER", "Ours", "agreement", "given_our_hazards", "ours", "tract_of"]
