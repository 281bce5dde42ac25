"""From demands to packages: which options hold on which lots, what they cost, and the cheapest few packages.

For each house design the demands of all its lots are evaluated at once; options are judged connection by connection,
and a package line holds only if its option passes at every connection of that line.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from screener import capacities
from screener.capacities import Capacity
from screener.capacity_case import CapacityContext, Option
from screener.choice import Interaction, option_ratios
from screener.demands import DemandModel, LotHazards, load_basis
from screener.hardware import Hardware
from screener.joint_lines import ANCHOR, CAST_IN, Pair, anchors_itself, join, pairs_of, partner, split
from screener.keeping import Keep, anew
from screener.points import Point
from screener.quantities import HouseQuantities, house_quantities
from screener.tier_design import (
    LotPools,
    allowed,
    bill_name,
    choice_cents,
    item_cents,
    lot_pools,
    option_items,
    package_prices,
)
from screener.tier_search import Limits
from screener.tiers import CurvePoint, NoOption, TierPlan, TierProblem, plan_tiers

if TYPE_CHECKING:
    from screener.config_sections import TiersSection

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NOT_CHOSEN_FAMILIES = ("post_footing",)
"""Points whose resistance is not bought from the list: judged by their own weight (see ``footing_shortfall``)."""

MAY_BE_NONE = frozenset(
    {
        "gable_end_tie",
        "girder_tie",
        "header_end",
        "hold_down",
        "hold_down_anchor",
        "ledger",
        "plate_splice",
        "plate_to_stud",
        "roof_boundary",
        "storey_strap",
        "stud_to_plate",
        "truss_hanger",
    }
)
"""Connections that need no hardware of their own where nothing pulls: the option "none" serves them at no cost."""

NONE = Option("", -1, "none needed", 0, math.nan)
CHUNK_LOTS = 2048


@dataclass
class PointResult:
    """One connection point on the lots of its house: largest demand and case by component, ratio by option."""

    point: Point
    largest: Floats
    case: Ints
    ratio: Floats
    ratio_case: Ints
    held: list[list[Capacity]]
    held_of: Ints  # which list of `held` a lot takes: capacities may depend on its seismic design category
    contexts: list[CapacityContext] = field(default_factory=list)  # what each list of `held` was found for


@dataclass
class HouseResult:
    """All connections of one house design on its lots (``lots``: their places in the tract)."""

    model: DemandModel
    lots: NDArray[np.intp]
    basis: Floats
    points: list[PointResult]


@dataclass
class Selection:
    """Options by package line, results by house, and the packages chosen."""

    lines: tuple[str, ...]
    families: tuple[str, ...]
    options: tuple[tuple[Option, ...], ...]
    houses: list[HouseResult]
    quantities: list[list[list[HouseQuantities]]]
    plan: TierPlan
    tried: NDArray[np.intp]
    tier_of_lot: Ints
    package_names: tuple[str, ...] = ()
    reasons: Mapping[int, str] = field(default_factory=dict)
    problem: TierProblem | None = None
    pools: LotPools | None = None
    may_use: tuple[NDArray[np.bool_], ...] = ()  # per line: options that the project allows
    pairs: tuple[Pair, ...] = ()  # lines that the search sees as one

    def line_of(self, point: Point) -> int:
        return self.lines.index(point.schedule)

    def chosen(self, lot: int, point: Point) -> int:
        """Index of the option that the lot's package has for this connection, -1 without a package."""
        tier = self.tier_of_lot[lot]
        return -1 if tier < 0 else self.plan.packages[tier].get(point.schedule, -1)


def house_lines(
    models: Sequence[DemandModel], hardware: Hardware
) -> tuple[list[str], list[str], list[tuple[Option, ...]]]:
    """Package lines of a tract in load-path order, the family of each, and its options in fixed order."""
    from screener.families import families

    order = {key: n for n, key in enumerate(families())}
    found: dict[str, str] = {}
    for model in models:
        for point in model.points:
            if point.family not in NOT_CHOSEN_FAMILIES:
                known = found.setdefault(point.schedule, point.family)
                if known != point.family:
                    raise ValueError(f"package line {point.schedule!r} holds families {known} and {point.family}")
    lines = sorted(found, key=lambda line: (order[found[line]], line))
    options = []
    for line in lines:
        listed = capacities.options_for(found[line], hardware)
        first = (NONE, CAST_IN) if found[line] == ANCHOR else (NONE,) if found[line] in MAY_BE_NONE else ()
        options.append((*first, *listed))
    return lines, [found[line] for line in lines], options


def judge(
    model: DemandModel,
    lots: NDArray[np.intp],
    hazards: LotHazards,
    categories: NDArray[np.str_],
    options: Mapping[str, Sequence[Option]],
    hardware: Hardware,
    sdpws_edition: str,
) -> HouseResult:
    """Demands and option ratios at every connection of a house, for its lots.

    ``categories``: seismic design category of each lot, which decides some capacity rules. Lots are taken in chunks;
    nothing loops over single lots.
    """
    basis = load_basis(model, hazards)
    results = []
    for point in model.points:
        listed = options.get(point.schedule, ()) if point.family not in NOT_CHOSEN_FAMILIES else ()
        method = model.frame.method
        results.append(_judge_point(point, basis, categories, listed, hardware, sdpws_edition, method))
    _judge_cast_in(results, options, hardware)
    return HouseResult(model, lots, basis, results)


def _judge_cast_in(results: Sequence[PointResult], options: Mapping[str, Sequence[Option]], hardware: Hardware) -> None:
    """Before a choice, an anchor cast in with its hold-down works as hard as the best hold-down that anchors itself."""
    by_name = {r.point.name: r for r in results}
    for r in results:
        if r.point.family != ANCHOR:
            continue
        held = by_name[partner(r.point.name)]
        own = [n for n, o in enumerate(options[held.point.schedule]) if anchors_itself(o, hardware)]
        at = list(options[r.point.schedule]).index(CAST_IN)
        r.ratio[:, at] = np.inf
        if own:  # both points have the same members, so the same cases
            best = np.array(own)[held.ratio[:, own].argmin(axis=1)]
            lots = np.arange(len(best))
            r.ratio[:, at], r.ratio_case[:, at] = held.ratio[lots, best], held.ratio_case[lots, best]


def _cast_in_as_chosen(
    houses: Sequence[HouseResult],
    options: Mapping[str, Sequence[Option]],
    packages: Sequence[Mapping[str, int]],
    tier_of_lot: Ints,
    hardware: Hardware,
) -> None:
    """Once packages are chosen, an anchor cast in with its hold-down works as hard as the one that its lot has."""
    for house in houses:
        by_name = {r.point.name: r for r in house.points}
        for r in house.points:
            if r.point.family != ANCHOR:
                continue
            held = by_name[partner(r.point.name)]
            at = list(options[r.point.schedule]).index(CAST_IN)
            for tier, package in enumerate(packages):
                chosen = package.get(held.point.schedule, -1)
                if package.get(r.point.schedule) != at or chosen < 0:
                    continue
                if anchors_itself(options[held.point.schedule][chosen], hardware):
                    here = np.flatnonzero(tier_of_lot[house.lots] == tier)
                    r.ratio[here, at], r.ratio_case[here, at] = held.ratio[here, chosen], held.ratio_case[here, chosen]


def _judge_point(
    point: Point,
    basis: Floats,
    categories: NDArray[np.str_],
    options: Sequence[Option],
    hardware: Hardware,
    sdpws_edition: str,
    method: str,
) -> PointResult:
    n, comps = len(basis), len(point.components)
    largest, case = np.empty((n, comps)), np.empty((n, comps), dtype=np.int64)
    ratio, ratio_case = np.empty((n, len(options))), np.full((n, len(options)), -1, dtype=np.int64)
    held: list[list[Capacity]] = []
    contexts: list[CapacityContext] = []
    held_of = np.zeros(n, dtype=np.int64)
    for category in np.unique(categories):
        context = CapacityContext(method, sdpws_edition, str(category))
        caps = [capacities.known_capacity(option, point, hardware, context) for option in options]
        held.append(caps)
        contexts.append(context)
        wind, seismic = (allowables(caps, hazard, point.components) for hazard in ("wind", "seismic"))
        usable = np.array([c.usable for c in caps], dtype=bool)
        interactions: list[Interaction] = ["none" if c.interaction == "none" else "sum" for c in caps]
        here = np.flatnonzero(categories == category)
        held_of[here] = len(held) - 1
        for start in range(0, len(here), CHUNK_LOTS):
            part = here[start : start + CHUNK_LOTS]
            values = point.values(basis[part])
            case[part] = values.argmax(axis=1)
            largest[part] = np.maximum(values.max(axis=1), 0.0)
            if len(options):
                r, c = option_ratios(
                    values,
                    wind,
                    seismic,
                    point.case_hazards,
                    interactions=interactions,
                )
                ratio[part], ratio_case[part] = np.where(usable[None, :], r, np.inf), c
    return PointResult(point, largest, case, ratio, ratio_case, held, held_of, contexts)


def allowables(caps: Sequence[Capacity], hazard: str, components: Sequence[str]) -> Floats:
    rows = [[cap.allowable[hazard].get(c, math.nan) for c in components] for cap in caps]
    return np.array(rows, dtype=np.float64).reshape(len(caps), len(components))


def select(
    models: Sequence[DemandModel],
    lots_of: Sequence[NDArray[np.intp]],
    hazards: LotHazards,
    categories: NDArray[np.str_],
    lot_ids: NDArray[np.str_],
    may_have_tier: NDArray[np.bool_],
    hardware: Hardware,
    *,
    tiers: TiersSection,
    labour_usd_per_h: float,
    waste: float,
    sdpws_edition: str,
    outside_permit: NDArray[np.bool_] | None = None,
    kept: Mapping[str, Mapping[str, tuple[str, str]]] | None = None,
    kept_of_lot: Sequence[str] = (),
    progress: Callable[[str], None] = lambda _: None,
    keep: Keep = anew,
) -> Selection:
    """Judge every house, then choose the packages for the lots that may have one, as ``tiers`` wants them.

    ``outside_permit``: lots that the sealed master set of their plan does not cover.
    ``kept``: packages already bought, name -> line -> (item, arrangement); ``kept_of_lot``: their name per lot or "".
    """
    lines, families, options = house_lines(models, hardware)
    by_line = dict(zip(lines, options, strict=True))
    houses = []
    for model, lots in zip(models, lots_of, strict=True):
        progress(f"demands of {model.variant.key}, {len(lots):,} lots")
        houses.append(judge(model, lots, hazards.take(lots), categories[lots], by_line, hardware, sdpws_edition))
    quantities = [
        [[house_quantities(model, line, option, hardware, waste) for option in by_line[line]] for line in lines]
        for model in models
    ]
    tried = np.flatnonzero(may_have_tier)
    outside = np.zeros(len(lot_ids), dtype=bool) if outside_permit is None else outside_permit
    plan_names = np.full(len(lot_ids), "", dtype=object)
    for house in houses:
        plan_names[house.lots] = house.model.variant.plan.name
    pools = lot_pools(tiers, list(plan_names[tried]), outside[tried])
    problem = package_problem(
        houses, lines, by_line, quantities, tried, lot_ids, tiers, labour_usd_per_h, kept or {}, kept_of_lot, pools,
        hardware,
    )  # fmt: skip
    progress(f"packages for {len(tried):,} lots")
    pairs = tuple(pairs_of(lines, families, options, hardware, problem.kept))
    found = keep("packages", lambda: plan_tiers(join(problem, pairs)), (TierPlan, CurvePoint, NoOption, Limits))
    plan = split(found, lines, pairs)
    tier_of_lot = np.full(len(lot_ids), -1, dtype=np.int64)
    tier_of_lot[tried] = plan.assignment
    _cast_in_as_chosen(houses, by_line, plan.packages, tier_of_lot, hardware)
    own = chosen_names(plan, pools)
    names = [f"new {name}" if name in (kept or {}) else name for name in own] + sorted(kept or {})
    reasons = {
        int(tried[np.flatnonzero(np.array(problem.lot_ids) == r.lot_id)[0]]): r.line for r in reversed(plan.no_option)
    }
    return Selection(
        tuple(lines),
        tuple(families),
        tuple(options),
        houses,
        quantities,
        plan,
        tried,
        tier_of_lot,
        tuple(names),
        reasons,
        problem,
        pools,
        tuple(allowed_options(tiers, lines, by_line, hardware)),
        pairs,
    )


def chosen_names(plan: TierPlan, pools: LotPools) -> list[str]:
    """Names of the chosen packages: numbered from the lightest within their pool."""
    counts: dict[int, int] = {}
    names = []
    for pool in plan.package_pool.tolist():
        counts[pool] = counts.get(pool, 0) + 1
        names.append(f"{pools.names[pool]} package {counts[pool]}".strip())
    return names


def allowed_options(
    tiers: TiersSection, lines: Sequence[str], by_line: Mapping[str, Sequence[Option]], hardware: Hardware
) -> list[NDArray[np.bool_]]:
    """Per line: options without a forbidden item."""
    return [np.array([allowed(tiers, option, hardware) for option in by_line[line]], dtype=bool) for line in lines]


def package_problem(
    houses: Sequence[HouseResult],
    lines: list[str],
    by_line: Mapping[str, Sequence[Option]],
    quantities: list[list[list[HouseQuantities]]],
    tried: NDArray[np.intp],
    lot_ids: NDArray[np.str_],
    tiers: TiersSection,
    labour_usd_per_h: float,
    kept: Mapping[str, Mapping[str, tuple[str, str]]],
    kept_of_lot: Sequence[str],
    pools: LotPools,
    hardware: Hardware,
) -> TierProblem:
    """What passes on which lot and what it costs, under the user's rules for packages."""
    place = np.full(len(lot_ids), -1, dtype=np.int64)
    place[tried] = np.arange(len(tried))
    may_use = allowed_options(tiers, lines, by_line, hardware)
    passes = [np.tile(mask, (len(tried), 1)) for mask in may_use]
    has_line = np.zeros((len(houses), len(lines)), dtype=bool)
    variant = np.zeros(len(tried), dtype=np.int64)
    for h, house in enumerate(houses):
        rows = place[house.lots]
        inside = rows >= 0
        variant[rows[inside]] = h
        for result in house.points:
            if result.point.family in NOT_CHOSEN_FAMILIES:
                continue
            line = lines.index(result.point.schedule)
            has_line[h, line] = True
            passes[line][rows[inside]] &= result.ratio[inside] <= 1.0
    costs = [
        np.array(
            [[choice_cents(tiers, q, labour_usd_per_h) for q in quantities[h][n]] for h in range(len(houses))],
            dtype=np.int64,
        ).reshape(len(houses), len(by_line[line]))
        for n, line in enumerate(lines)
    ]
    names = sorted(kept)
    packages = tuple(kept_options(kept[name], lines, by_line) for name in names)
    lot_kept = None
    if names:
        lot_kept = np.array(
            [names.index(kept_of_lot[i]) if kept_of_lot[i] in kept else -1 for i in tried], dtype=np.int64
        )
    stays = np.zeros(len(tried), dtype=bool) if lot_kept is None else lot_kept >= 0
    prices = package_prices(tiers, pools, stays)
    items, item_names = option_items([by_line[line] for line in lines], quantities)
    in_use = {
        bill_name(p.row)
        for package in packages
        for line, option in package.items()
        for house in quantities
        for p in house[lines.index(line)][option].pieces
    }
    return TierProblem(
        lot_ids=tuple(str(lot_ids[i]) for i in tried),
        lot_variant=variant,
        variants=tuple(h.model.variant.key for h in houses),
        lines=tuple(lines),
        has_line=has_line,
        passes=tuple(passes),
        costs_cents=tuple(costs),
        most=tiers.most,
        kept=packages,
        lot_kept=lot_kept,
        lot_pool=pools.of_lot,
        pool_group=pools.group,
        group_package_cents=prices.package,
        first_package_cents=prices.first,
        least_lots=tiers.least_lots,
        items=items,
        item_cents=item_cents(tiers, item_names, in_use),
        curve_beyond=True,
    )


def kept_options(
    package: Mapping[str, tuple[str, str]], lines: Sequence[str], by_line: Mapping[str, Sequence[Option]]
) -> dict[str, int]:
    """Option numbers of a package that exists already; a line it does not name is left out."""
    out = {}
    for line in lines:
        for n, option in enumerate(by_line[line]):
            if (option.item, option.arrangement) == package.get(line):
                out[line] = n
    return out
