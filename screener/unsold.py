"""Lots with no plan yet: with each plan of the library, does it fit, and which of the chosen packages holds there?

The packages are those that lots with plans have led to; nothing here changes them. Where none of them holds, a person
must add one; until then the lot is counted with the cheapest hardware that holds on it alone, and said to be so. A plan
stands for its first style without options. Every open lot is looked at with every plan, so that another mix needs no
new demands.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from screener.demands import DemandModel
from screener.editions import SDPWS_EDITION
from screener.houses import NO_HOUSE
from screener.joint_lines import Pair, pairs_of
from screener.kits import (
    BEYOND_PACKAGES,
    LOT_KITS,
    NO_FIT,
    NO_HARDWARE,
    NO_HAZARD,
    OPEN,
    OWN_HARDWARE,
    KitRow,
    fitted_shares,
    kit_name,
    kit_rows,
)
from screener.quantities import HouseQuantities, house_quantities
from screener.selection import NOT_CHOSEN_FAMILIES, HouseResult, Selection, allowed_options, house_lines, judge
from screener.siting import Setbacks, fit

if TYPE_CHECKING:
    from screener.pipeline import Prepared
    from screener.plans import Variant

NOT_HELD = np.iinfo(np.int64).max // 2
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class OpenLots:
    """What the lots without a plan would take: their rows of `lot_kits`, and the rows of the kits these name."""

    lots: int = 0
    lot_kits: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(LOT_KITS)))
    kit_rows: tuple[KitRow, ...] = ()


def open_lots(p: Prepared, s: Selection, progress: Callable[[str], None] = lambda _: None) -> OpenLots:
    """Look at every open lot with every plan of the library. Nothing to do without a plan mix."""
    lots = np.flatnonzero(p.houses.of_lot[p.usable] == NO_HOUSE)
    if not p.tract.purchase.plan_mix or not len(lots):
        return OpenLots()
    shares = {name.casefold(): share for name, share in p.tract.purchase.plan_mix.items()}
    from screener.pipeline import model_of

    frames: list[pd.DataFrame] = []
    rows: list[KitRow] = []
    checked = np.zeros(len(lots), dtype=bool)
    for plan in sorted(p.plans.values(), key=lambda each: each.name):
        variant = plan.variant("", ())
        progress(f"lots without a plan as {variant.key}, {len(lots):,} lots")
        model = model_of(p.tract, variant)
        fits, known = fits_on(p, variant, lots)
        checked |= known
        kit, why, found = kits_for(p, s, model, lots, fits)
        rows += found
        frames.append(
            pd.DataFrame(
                {
                    "lot_id": p.site.points.lot_id[lots].astype(object),
                    "state": OPEN,
                    "plan": plan.name,
                    "share": shares.get(plan.name.casefold(), 0.0),
                    "kit": kit,
                    "why": why,
                }
            )
        )
    table = fitted_shares(pd.concat(frames, ignore_index=True))
    _note_tall(p)
    _note_unchecked(p, int((~checked).sum()))
    return OpenLots(len(lots), table, tuple(rows))


def fits_on(p: Prepared, variant: Variant, lots: NDArray[np.intp]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether the plan's footprint fits each lot, and whether that could be checked; unchecked counts as fitting."""
    from screener.pipeline import setbacks_of, to_feet

    here = p.lots.iloc[p.usable[lots]]
    wide, deep = np.full(len(lots), variant.width_ft), np.full(len(lots), variant.depth_ft)
    sides: Setbacks = setbacks_of(here, p.tract)
    result = fit(to_feet(here, p.site.working.crs), here["front_bearing_deg"].to_numpy(dtype=float), wide, deep, sides)
    return result.fits | ~result.checked, result.checked


def kits_for(
    p: Prepared, s: Selection, model: DemandModel, lots: NDArray[np.intp], fits: NDArray[np.bool_]
) -> tuple[NDArray[np.object_], NDArray[np.object_], list[KitRow]]:
    """The kit of each lot with one house ("" where it has none), why it has none or is not of a chosen package, and
    the rows of these kits. Hazards are taken at the house's own mean roof height.
    """
    from screener.pipeline import hazards_as_if

    variant = model.variant
    site, hazards, categories = hazards_as_if(p, model)
    able = site.known[lots] & ~_stopped(p)[lots]
    kit = np.full(len(lots), "", dtype=object)
    why = np.where(~able, NO_HAZARD, np.where(~fits, NO_FIT, "")).astype(object)
    at = np.flatnonzero(why == "")
    if not len(at):
        return kit, why, []
    lines, families, options = house_lines([model], p.hardware)
    by_line = dict(zip(lines, options, strict=True))
    edition = SDPWS_EDITION[p.tract.design.loads]
    here = lots[at]
    house = judge(model, here, hazards.take(here), categories[here], by_line, p.hardware, edition)
    quantities = [
        [house_quantities(model, line, option, p.hardware, p.tract.purchase.waste) for option in by_line[line]]
        for line in lines
    ]
    may = allowed_options(p.tract.tiers, lines, by_line, p.hardware)
    pairs = pairs_of(lines, families, options, p.hardware)
    chosen, package = choose_for(
        s, house, lines, quantities, p.tract.purchase.labour_usd_per_h, may, pairs, open_packages(p, s, variant)
    )
    sets, which = np.unique(np.column_stack([package, chosen]), axis=0, return_inverse=True)
    rows: list[KitRow] = []
    names: list[str] = []
    for number, (tier, *picks) in enumerate(sets.tolist(), 1):
        if min(picks) < 0:
            names.append("")
            continue
        bundle = s.package_names[tier] if tier >= 0 else f"{OWN_HARDWARE} {number}"
        names.append(kit_name(variant.key, bundle))
        taken = [(line, quantities[n][picks[n]]) for n, line in enumerate(lines)]
        rows += kit_rows(variant.key, variant.plan.name, bundle, taken)
    kit[at] = np.array(names, dtype=object)[which.ravel()]
    why[at] = np.where(package >= 0, "", np.where((chosen < 0).any(axis=1), NO_HARDWARE, BEYOND_PACKAGES))
    return kit, why, rows


def choose_for(
    s: Selection,
    house: HouseResult,
    lines: Sequence[str],
    quantities: list[list[HouseQuantities]],
    usd_per_h: float,
    may: Sequence[NDArray[np.bool_]],
    pairs: Sequence[Pair],
    packages: Sequence[int],
) -> tuple[Ints, Ints]:
    """Options of a house on its lots, (lots, lines), and the package they are of (-1: none of the chosen holds).

    The cheapest of these chosen packages that holds every line; else line by line the cheapest option that holds (-1:
    none does), lines that go together as one. ``may``: options that the project allows. Ties go to the first.
    """
    n = len(house.lots)
    passes = [np.tile(allowed, (n, 1)) for allowed in may]
    for r in house.points:
        if r.point.family not in NOT_CHOSEN_FAMILIES:
            passes[lines.index(r.point.schedule)] &= r.ratio <= 1.0
    costs = [np.array([q.cost_cents(usd_per_h) for q in options], dtype=np.int64) for options in quantities]
    chosen = np.full((n, len(lines)), -1, dtype=np.int64)
    for k in range(len(lines)):
        if passes[k].shape[1]:
            cost = np.where(passes[k], costs[k], NOT_HELD)
            chosen[:, k] = np.where(passes[k].any(axis=1), cost.argmin(axis=1), -1)
    for pair in pairs:
        if not pair.choices:  # nothing on the list fits together
            chosen[:, [pair.first, pair.second]] = -1
            continue
        one, other = (np.array([c[k] for c in pair.choices], dtype=np.int64) for k in (0, 1))
        holds = passes[pair.first][:, one] & passes[pair.second][:, other]
        best = np.where(holds, costs[pair.first][one] + costs[pair.second][other], NOT_HELD).argmin(axis=1)
        for line, part in ((pair.first, one), (pair.second, other)):
            chosen[:, line] = np.where(holds.any(axis=1), part[best], -1)
    package, least = np.full(n, -1, dtype=np.int64), np.full(n, NOT_HELD, dtype=np.int64)
    for t in packages:
        held = s.plan.packages[t]
        picks = [held.get(line, -1) for line in lines]
        if min(picks, default=-1) < 0:
            continue
        holds = np.logical_and.reduce([passes[k][:, o] for k, o in enumerate(picks)])
        cost_of = sum(int(costs[k][o]) for k, o in enumerate(picks))
        better = holds & (cost_of < least)
        package[better], least[better] = t, cost_of
        chosen[better] = picks
    return chosen, package


def open_packages(p: Prepared, s: Selection, variant: Variant) -> list[int]:
    """Chosen packages that a house may use: all, or its plan's own where packages are by plan. Kept ones are not on
    offer."""
    chosen = range(s.plan.n_chosen)
    if p.tract.tiers.scope != "plan" or s.problem is None or s.problem.lot_pool is None:
        return list(chosen)
    plan_of = np.array([house.model.variant.plan.name for house in s.houses], dtype=object)
    own = set(s.problem.lot_pool[plan_of[s.problem.lot_variant] == variant.plan.name].tolist())
    return [t for t in chosen if int(s.plan.package_pool[t]) in own]


def _stopped(p: Prepared) -> NDArray[np.bool_]:
    """Lots out of scope for another reason than that they have no plan."""
    out = np.zeros(len(p.usable), dtype=bool)
    out[[f.lot for f in p.findings.items if f.severity == "stop" and f.code != "NO_PLAN"]] = True
    return out


def _note_unchecked(p: Prepared, lots: int) -> None:
    if lots:
        p.issues.add(
            "mix_fit_unknown",
            "note",
            p.tract.shown(p.tract.lots.file),
            f"{lots} lots with no plan whose fit can't be judged",
            "front bearing, setbacks and a usable shape",
            "every plan of the mix is taken to fit there",
        )


def _note_tall(p: Prepared) -> None:
    """Plans taller than what exposure was measured for have the letters of that height: said, not hidden."""
    tallest = max(30.0, float(np.nanmax(p.site.height_ft)))
    for plan in sorted(p.plans.values(), key=lambda each: each.name):
        height = plan.variant("", ()).mean_roof_height_ft
        if height > tallest and p.site.letters_at is not None:
            p.issues.add(
                "mix_plan_tall",
                "warn",
                f"plan {plan.name}",
                f"mean roof height {height:.1f} ft",
                f"at most {tallest:.1f} ft for lots without a plan",
                f"exposure letters of {tallest:.1f} ft taken in the forecast",
            )
