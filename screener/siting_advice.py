"""Which house on which lot costs least in hardware: the houses of the free lots are dealt out again, rules kept.

Every free lot may take any of the houses (plan, style, options) that the free lots have now, each as often as now
unless told otherwise, where the house fits the lot and a package of the run holds. The same plan and style may not
stand next door or across the street. Packages stay those of the run, so that costs add up lot by lot and the best
assignment is one programme (HiGHS), with its bound. Mirroring or turning a house changes nothing here: every wind
direction counts for it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from hazard.issues import InputError, Issue, Issues
from screener.editions import SDPWS_EDITION
from screener.houses import Houses
from screener.integer_programs import Rows, least_cost
from screener.pipeline import Prepared, lot_hazards, setbacks_of, to_feet
from screener.scope import Findings
from screener.selection import NOT_CHOSEN_FAMILIES, Selection, judge
from screener.site_hazards import SiteHazards, site_hazards
from screener.siting import fit

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
NO_PACKAGE = -1
SHARED_FT = 5.0  # so much common boundary makes neighbours
ACROSS_FT = 100.0  # a lot within this of the front lot line is across the street
REAR_DEG = 135.0  # a neighbour so far off the front bearing lies behind
NODES = 20_000
ROUNDING = 1e-6
COLUMNS = (
    "lot_id", "plan_now", "style_now", "options_now", "plan", "style", "options", "tier_now", "tier", "cost_now",
    "cost", "change", "permit_now", "permit",
)  # fmt: skip


@dataclass(frozen=True)
class Choices:
    """Free lots (usable places) and houses: cheapest package of the run and its cost, -1 where none holds or fits."""

    lots: Ints
    houses: Ints  # numbers of the houses that may be dealt out
    counts: Ints  # how often each stands on the free lots now
    cost_cents: Ints  # (lots, houses)
    package: Ints  # (lots, houses)
    covered: Bools  # (lots, houses): the plan's permit envelope covers the lot


@dataclass(frozen=True)
class Advice:
    """The best assignment: house of each free lot (index into `houses`), its cost and lower bound in cents."""

    choices: Choices
    now: Ints
    best: Ints
    cost_now: int
    cost: int
    lower_bound: int
    pairs: tuple[tuple[int, int], ...]
    clashes_now: int

    @property
    def proven(self) -> bool:
        """Whether nothing cheaper exists under the rules."""
        return self.lower_bound >= self.cost


def siting_advice(
    p: Prepared,
    s: Selection,
    names: Sequence[str] = (),
    *,
    keep_counts: bool = True,
    progress: Callable[[str], None] = lambda _: None,
) -> Advice:
    """The cheapest assignment for the named lots (default: those whose column may_change says plan).

    Raises InputError where no lot is free, a name is unknown, or no assignment keeps the rules.
    """
    lots = _free_lots(p, s, names)
    choices = _choices(p, s, lots, progress)
    house = p.houses.of_lot[p.usable]
    now = np.searchsorted(choices.houses, house[lots])
    pairs = neighbours(p)
    best, bound = _solve(p, choices, house, pairs, keep_counts)
    at = np.arange(len(lots))
    costs = [int(choices.cost_cents[at, each].sum()) for each in (now, best)]
    return Advice(choices, now, best, costs[0], costs[1], min(bound, costs[1]), pairs, _clashes(p, house, pairs))


def _free_lots(p: Prepared, s: Selection, names: Sequence[str]) -> Ints:
    ids = [str(each) for each in p.site.points.lot_id]
    unknown = sorted(set(names) - set(ids))
    if unknown:
        raise InputError(Issue("lot_unknown", "stop", "--lots", ", ".join(unknown), "lots of the project", ""))
    if names:
        free = np.isin(ids, list(names))
    else:
        words = p.lots["may_change"].to_numpy(dtype=str)[p.usable]
        free = np.array(["plan" in text.replace(";", " ").split() for text in words], dtype=bool)
    free &= (s.tier_of_lot >= 0) & (s.tier_of_lot < len(s.plan.packages))
    free &= p.lots["package"].to_numpy(dtype=str)[p.usable] == ""
    if free.sum() < 2:
        expected = "two lots with a package, named by --lots or by the lots column may_change = plan"
        raise InputError(Issue("siting_lots", "stop", "lots", f"{int(free.sum())} lots to deal out", expected, ""))
    return np.flatnonzero(free).astype(np.int64)


def _choices(p: Prepared, s: Selection, lots: Ints, progress: Callable[[str], None]) -> Choices:
    house = p.houses.of_lot[p.usable][lots]
    houses, counts = np.unique(house, return_counts=True)
    cost = np.full((len(lots), len(houses)), -1, dtype=np.int64)
    package = np.full_like(cost, NO_PACKAGE)
    covered = np.zeros(cost.shape, dtype=bool)
    sites: dict[float, SiteHazards] = {}
    for n, number in enumerate(houses.tolist()):
        variant = p.houses.variants[number]
        height = round(float(variant.mean_roof_height_ft), 6)
        if height not in sites:
            progress(f"hazards at {height:.1f} ft")
            sites[height] = _at_height(p, height)
        progress(f"house {variant.key} on {len(lots)} lots")
        cost[:, n], package[:, n] = _on_lots(p, s, number, sites[height], lots)
        covered[:, n] = _covered(variant.plan.permit, sites[height], lots)
        fits = _fits(p, variant, lots)
        mine = house == number  # what stands there now is not taken away for a setback
        cost[~fits & ~mine, n] = -1
    return Choices(lots, houses.astype(np.int64), counts.astype(np.int64), cost, package, covered)


def _at_height(p: Prepared, height_ft: float) -> SiteHazards:
    heights = np.full(len(p.usable), height_ft)
    return site_hazards(p.tract, p.lots.iloc[p.usable], heights, Issues(), Findings(len(p.usable)))


def _on_lots(p: Prepared, s: Selection, number: int, site: SiteHazards, lots: Ints) -> tuple[Ints, Ints]:
    """Cheapest package of the run that holds with this house on each lot, and its cost; -1 where none does."""
    assert s.problem is not None
    everywhere = Houses(p.houses.variants, np.full(len(p.lots), number, dtype=np.int64))
    hazards, categories = lot_hazards(
        p.tract, site, p.lots.iloc[p.usable], everywhere, p.usable, Findings(len(p.usable)), p.redundancy
    )
    options = dict(zip(s.lines, s.options, strict=True))
    found = judge(
        p.models[number], lots, hazards.take(lots), categories[lots], options, p.hardware,
        SDPWS_EDITION[p.tract.design.loads],
    )  # fmt: skip
    best_cost, best = np.full(len(lots), -1, dtype=np.int64), np.full(len(lots), NO_PACKAGE, dtype=np.int64)
    pool_of = s.problem.lot_pool if s.problem.lot_pool is not None else np.zeros(len(s.tried), dtype=np.int64)
    same_pool = {int(pool_of[i]) for i in np.flatnonzero(s.problem.lot_variant == number)}
    for k, held in enumerate(s.plan.packages):
        if k < s.plan.n_chosen and int(s.plan.package_pool[k]) not in same_pool:
            continue
        holds, cost = np.ones(len(lots), dtype=bool), 0
        for n, line in enumerate(s.lines):
            if s.problem.has_line[number, n]:
                option = held.get(line, -1)
                holds &= option >= 0
                cost += int(s.problem.costs_cents[n][number, option]) if option >= 0 else 0
        for r in found.points:
            if r.point.family not in NOT_CHOSEN_FAMILIES:
                option = held.get(r.point.schedule, -1)
                holds &= (r.ratio[:, option] <= 1.0) & (option >= 0)
        better = holds & ((best_cost < 0) | (cost < best_cost))
        best_cost[better], best[better] = cost, k
    return best_cost, best


def _covered(permit: Any, site: SiteHazards, lots: Ints) -> Bools:
    if permit is None:
        return np.zeros(len(lots), dtype=bool)
    order = {"": 3, "B": 0, "C": 1, "D": 2}
    letters = np.array([order[str(e)] for e in site.columns["exposure"][lots]])
    checks = (
        (site.speed.values[lots], permit.wind_speed_mph),
        (letters, order[permit.exposure]),
        (site.columns["kzt"][lots], permit.kzt),
        (site.seismic.sds_g[lots], permit.sds_g),
    )
    return np.asarray(np.logical_and.reduce([np.asarray(value) <= most + 1e-9 for value, most in checks]))


def _fits(p: Prepared, variant: Any, lots: Ints) -> Bools:
    """Where the house fits, or can't be checked."""
    frame = p.lots.iloc[p.usable[lots]]
    n = len(lots)
    found = fit(
        to_feet(frame, p.site.working.crs),
        frame["front_bearing_deg"].to_numpy(dtype=float),
        np.full(n, variant.width_ft),
        np.full(n, variant.depth_ft),
        setbacks_of(frame, p.tract),
    )
    return np.asarray(found.fits | ~found.checked)


# -- adjacency -----------------------------------------------------------------------------------------------------


def neighbours(p: Prepared) -> tuple[tuple[int, int], ...]:
    """Pairs of usable lots that stand side by side or face each other across the street, each once, in order."""
    lots = p.lots.iloc[p.usable]
    shapes = to_feet(lots, p.site.working.crs)
    front = lots["front_bearing_deg"].to_numpy(dtype=float)
    middle = shapely.centroid(shapes)
    xy = np.column_stack([shapely.get_x(middle), shapely.get_y(middle)])
    tree = shapely.STRtree(shapes)
    first, second = tree.query(shapely.buffer(shapes, 1.0), predicate="intersects")
    keep = first < second
    first, second = first[keep], second[keep]
    shared = shapely.length(shapely.intersection(shapely.buffer(shapes[first], 0.5), shapely.boundary(shapes[second])))
    beside = shared >= SHARED_FT
    for a, b in ((first, second), (second, first)):
        beside &= ~_behind(xy[b] - xy[a], front[a])
    pairs = set(zip(first[beside].tolist(), second[beside].tolist(), strict=True))
    return tuple(sorted(pairs | _across(shapes, xy, front, tree, pairs)))


def _behind(step: NDArray[np.float64], front_deg: NDArray[np.float64]) -> Bools:
    bearing = np.degrees(np.arctan2(step[:, 0], step[:, 1]))
    off = np.abs((bearing - front_deg + 180.0) % 360.0 - 180.0)
    return np.asarray(np.nan_to_num(off, nan=0.0) > REAR_DEG)


def _across(shapes: Any, xy: Any, front_deg: Any, tree: Any, beside: set[tuple[int, int]]) -> set[tuple[int, int]]:
    """Lots met first by a line from the middle of a lot out of its front, within the width of a street."""
    known = np.flatnonzero(np.isfinite(front_deg))
    way = np.radians(front_deg[known])
    reach = np.sqrt(shapely.area(shapes[known])) + ACROSS_FT
    ends = xy[known] + np.column_stack([np.sin(way), np.cos(way)]) * reach[:, None]
    rays = shapely.linestrings(np.stack([xy[known], ends], axis=1))
    which, other = tree.query(rays, predicate="intersects")
    own = known[which]
    away = own != other
    which, own, other = which[away], own[away], other[away]
    gap = shapely.distance(shapes[own], shapes[other])
    far = shapely.distance(shapely.points(xy[own]), shapes[other])
    found: set[tuple[int, int]] = set()
    for lot in np.unique(own):
        mine = np.flatnonzero((own == lot) & (gap <= ACROSS_FT))
        if len(mine):
            hit = int(other[mine[far[mine].argmin()]])
            pair = (min(int(lot), hit), max(int(lot), hit))
            if pair not in beside:
                found.add(pair)
    return found


def _looks(p: Prepared) -> list[tuple[str, str]]:
    """Plan and style of every house: what may not stand beside itself."""
    return [(v.plan.name, v.style) for v in p.houses.variants]


def _clashes(p: Prepared, house: Ints, pairs: Sequence[tuple[int, int]]) -> int:
    looks = _looks(p)
    return sum(house[a] >= 0 and house[b] >= 0 and looks[house[a]] == looks[house[b]] for a, b in pairs)


# -- the programme -------------------------------------------------------------------------------------------------


def _solve(
    p: Prepared, c: Choices, house: Ints, pairs: Sequence[tuple[int, int]], keep_counts: bool
) -> tuple[Ints, int]:
    lot, kind = np.nonzero(c.cost_cents >= 0)
    column = np.full(c.cost_cents.shape, -1, dtype=np.int64)
    column[lot, kind] = np.arange(len(lot))
    rows: list[tuple[list[int], float, float]] = []
    for n in range(len(c.lots)):
        rows.append((column[n][column[n] >= 0].tolist(), 1.0, 1.0))
    if keep_counts:
        for h, count in enumerate(c.counts):
            rows.append((column[:, h][column[:, h] >= 0].tolist(), float(count), float(count)))
    rows += _apart(p, c, house, pairs, column)
    at = np.repeat(np.arange(len(rows)), [len(r[0]) for r in rows])
    cells = np.array([cell for r in rows for cell in r[0]], dtype=np.int64)
    conditions = Rows(np.ones(len(cells)), at, cells, [r[1] for r in rows], [r[2] for r in rows])
    now = np.searchsorted(c.houses, house[c.lots])
    moved = (kind != now[lot]) * (0.5 / (len(c.lots) + 1))  # less than a cent together: of equals, the fewest moves
    limits = {"mip_rel_gap": 0.0, "node_limit": NODES}
    result = least_cost(c.cost_cents[lot, kind] + moved, np.ones(len(lot)), (0, 1), (conditions,), limits)
    if result.x is None:
        expected = "an assignment in which the same plan and style never stand side by side or face each other"
        raise InputError(
            Issue("siting_none", "stop", "siting", "no assignment keeps the rules", expected, "free more lots")
        )
    best = np.full(len(c.lots), -1, dtype=np.int64)
    chosen = np.flatnonzero(result.x > 0.5)
    best[lot[chosen]] = kind[chosen]
    solved = int(result.status) == 0
    bound = float(result.mip_dual_bound)
    cost = int(c.cost_cents[np.arange(len(c.lots)), best].sum())
    return best, cost if solved and bound >= cost - 0.5 else int(np.floor(bound * (1.0 - ROUNDING) - 0.5))


def _apart(
    p: Prepared, c: Choices, house: Ints, pairs: Sequence[tuple[int, int]], column: Ints
) -> list[tuple[list[int], float, float]]:
    """Rows: of two neighbours at most one has a given plan and style."""
    looks = _looks(p)
    place = {int(lot): n for n, lot in enumerate(c.lots)}
    rows: list[tuple[list[int], float, float]] = []
    for a, b in pairs:
        if a not in place and b not in place:
            continue
        for look in sorted(set(looks)):
            cells: list[int] = []
            fixed = 0
            for lot in (a, b):
                if lot in place:
                    own = [h for h, number in enumerate(c.houses) if looks[int(number)] == look]
                    cells += [int(column[place[lot], h]) for h in own if column[place[lot], h] >= 0]
                else:
                    fixed += bool(house[lot] >= 0 and looks[house[lot]] == look)
            if cells:
                rows.append((cells, 0.0, float(1 - fixed)))
    return rows


def advice_table(p: Prepared, s: Selection, a: Advice) -> pd.DataFrame:
    """One row for each free lot: what stands there, what would, package and cost of both."""
    c, rows = a.choices, []
    for n, lot in enumerate(c.lots):
        old, new = int(a.now[n]), int(a.best[n])
        variants = [p.houses.variants[int(c.houses[h])] for h in (old, new)]
        looks = [_looks(p)[int(c.houses[h])] for h in (old, new)]
        costs = [int(c.cost_cents[n, h]) / 100 for h in (old, new)]
        tiers = [s.package_names[int(c.package[n, h])] if c.package[n, h] >= 0 else "" for h in (old, new)]
        options = [";".join(sorted(v.options)) for v in variants]
        rows.append(
            (
                str(p.site.points.lot_id[lot]), *looks[0], options[0], *looks[1], options[1], *tiers, *costs,
                round(costs[1] - costs[0], 2), *("yes" if c.covered[n, h] else "no" for h in (old, new)),
            )
        )  # fmt: skip
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    return frame.sort_values("lot_id", kind="stable", ignore_index=True)
