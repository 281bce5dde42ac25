"""The tables of a run, from a prepared tract and its selection: every lot once, columns as in ``screener.columns``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from screener import columns
from screener.houses import NO_HOUSE
from screener.kits import FIRM
from screener.lever_tables import suggestion
from screener.lot_problems import problem_layer
from screener.lots import SKIPPED, spread
from screener.order_dates import lot_dates
from screener.pipeline import Prepared, Results
from screener.points import Point
from screener.purchase_case import PurchaseCase, case_of_run
from screener.purchase_tables import Purchase, lot_money, purchase_of
from screener.rounding import rounding_costs
from screener.selection import PointResult, Selection
from screener.tiers import CurvePoint
from screener.unsold import open_lots

SCREENED, REFER, NO_HARDWARE = "screened", "refer", "no_hardware"
COMBINED = "combined"


def build_results(p: Prepared, s: Selection) -> Results:
    """Every table of the run; ``p.findings`` gains what the choice found (no hardware, a kept package too weak)."""
    choice_findings(p, s)
    governing = _Governing(len(p.usable))
    demands = _demands(p, s, governing)
    case = case_of_run(p, s, open_lots(p, s))
    bought = purchase_of(case)
    _note_undated(p, case)
    lots = _lots(p, s, governing, case)
    exceptions = _exceptions(p)
    issues = p.issues.frame().reindex(columns=columns.names("issues"))
    layers = {**p.site.map_layers(p.lots.crs), **problem_layer(p.issues, lots)}
    purchase = {
        "orders": bought.orders,
        "forecast": bought.forecast,
        "kits": case.kits,
        "lot_kits": case.lot_kits,
        "prices": case.prices.frame(),
    }
    run = {**_run(p, s), "forecast": bought.facts, "rounding_cents": rounding_costs(case)}
    summary = {**_summary(s), **_purchase_summary(bought), **_bought_summary(p, lots)}
    return Results(lots, demands, bought.bill, exceptions, issues, _packages(s), run, {}, summary, layers, purchase)


def _note_undated(p: Prepared, case: PurchaseCase) -> None:
    """Lots to be bought for without a start date: their orders have no date."""
    lots = case.lots_of(FIRM)
    undated = int((lots["start"] == "").sum())
    if undated and undated < len(lots):  # where no lot has a date, nobody expects one
        p.issues.add(
            "start_missing",
            "note",
            p.tract.shown(p.tract.lots.file),
            f"{undated} lots without a start date",
            "a date",
            "their orders stand in a bucket of their own, without a date",
        )


def choice_findings(p: Prepared, s: Selection) -> None:
    """Lots that no item serves, that are left over, whose kept package falls short, or whose footing is too light."""
    _footings(p, s)
    _finishes(p, s)
    for lot in sorted(s.reasons):
        p.findings.one(lot, "NO_HARDWARE", _no_item(p, s, lot))
    left = {lot_id for lot_id in s.plan.unserved}
    short: dict[str, list[str]] = {}
    for lot_id, line in s.plan.kept_failures:
        short.setdefault(lot_id, []).append(line)
    for i, lot_id in enumerate(p.site.points.lot_id):
        if str(lot_id) in left:
            p.findings.one(i, "LEFT_OVER", f"{p.tract.tiers.most} packages are in use")
        if str(lot_id) in short:
            p.findings.one(i, "KEPT_SHORT", ", ".join(short[str(lot_id)]))


def _no_item(p: Prepared, s: Selection, lot: int) -> str:
    """Every connection that no item of the list holds, worst first, with the demands of the case that decides."""
    house = s.houses[int(p.houses.of_lot[p.usable[lot]])]
    at = int(np.flatnonzero(house.lots == lot)[0])
    failing: list[tuple[float, str]] = []
    for r in house.points:
        if r.point.schedule not in s.lines:
            continue
        if not r.ratio.shape[1]:
            failing.append((np.inf, f"{r.point.name}: the list has no item of family {r.point.family}"))
            continue
        best = int(r.ratio[at].argmin())
        ratio, case = float(r.ratio[at, best]), int(r.ratio_case[at, best])
        if ratio <= 1.0:
            continue
        values = r.point.values(house.basis[at : at + 1])[0, case]
        demand = ", ".join(f"{c} {v:.0f}" for c, v in zip(r.point.components, values, strict=True) if v > 0.5)
        option = s.options[s.line_of(r.point)][best]
        told = (
            f"best {option.item or option.arrangement} at ratio {ratio:.2f}" if np.isfinite(ratio) else "no item usable"
        )
        failing.append((ratio, f"{r.point.name}: {demand}; {told}"))
    return " | ".join(text for _, text in sorted(failing, key=lambda f: (-f[0], f[1])))


# --- demands ------------------------------------------------------------------------------------------------------


class _Governing:
    """The hardest-worked connection of each lot, kept while the demands are laid out."""

    def __init__(self, lots: int) -> None:
        self.ratio = np.full(lots, -1.0)
        self.point = np.full(lots, "", dtype=object)
        self.hazard = np.full(lots, "", dtype=object)

    def offer(
        self, lots: NDArray[np.intp], ratio: NDArray[np.float64], point: str, hazard: NDArray[np.object_]
    ) -> None:
        more = np.nan_to_num(ratio, nan=-1.0) > self.ratio[lots]
        self.ratio[lots[more]], self.point[lots[more]], self.hazard[lots[more]] = ratio[more], point, hazard[more]


def _demands(p: Prepared, s: Selection, governing: _Governing) -> pd.DataFrame:
    """Lot x connection x component, sorted by lot, then in load-path order."""
    blocks: list[dict[str, Any]] = []
    for number, house in enumerate(s.houses):
        for order, r in enumerate(house.points):
            blocks.extend(_point_rows(s, number, r, order, governing))
    if not blocks:
        return pd.DataFrame(columns=columns.names("demands"))
    stacked = {name: np.concatenate([b[name] for b in blocks]) for name in blocks[0]}
    rank = np.lexsort((stacked.pop("part"), stacked.pop("order"), p.site.points.lot_id[stacked["lot"]]))
    frame = pd.DataFrame({name: values[rank] for name, values in stacked.items()})
    frame["lot_id"] = p.site.points.lot_id[frame.pop("lot").to_numpy()]
    return frame.reindex(columns=columns.names("demands"))


def _point_rows(s: Selection, number: int, r: PointResult, order: int, governing: _Governing) -> list[dict[str, Any]]:
    """Rows of one connection on all its lots: one block a component, and one for their combination."""
    house = s.houses[number]
    point, n = r.point, len(house.lots)
    judged = r.ratio.shape[1] > 0
    tier = s.tier_of_lot[house.lots]
    option = np.full(n, -1)
    if judged:
        by_tier = np.array([package.get(point.schedule, -1) for package in s.plan.packages] + [-1], dtype=np.int64)
        option = by_tier[tier]
    lots = np.arange(n)
    shown = np.where(option >= 0, option, r.ratio.argmin(axis=1) if judged else 0)
    ratio = r.ratio[lots, shown] if judged else np.full(n, np.nan)
    case = r.ratio_case[lots, shown] if judged else np.full(n, -1)
    hazards, cases = np.array([*point.case_hazards, ""], dtype=object), np.array([*point.case_names, ""], dtype=object)
    first = np.where(case >= 0, case, r.case[:, 0])
    governing.offer(house.lots, ratio, point.name, hazards[first])
    names, quantity = _items(s, number, r, option)
    base = {
        "lot": house.lots,
        "order": np.full(n, order),
        "point": np.full(n, point.name, dtype=object),
        "item": names,
        "quantity": quantity,
    }
    wind, seismic = (_held_table(r, hazard, point.components) for hazard in ("wind", "seismic"))
    alone = len(point.components) == 1
    out = []
    for k, component in enumerate(point.components):
        of_case = r.case[:, k]
        shaken = hazards[of_case] == "seismic"
        capacity = np.where(shaken, seismic[r.held_of, option, k], wind[r.held_of, option, k])
        demand = r.largest[:, k]
        with np.errstate(divide="ignore", invalid="ignore"):
            own = np.where(capacity > 0, demand / capacity, np.where(demand > 0, np.nan, 0.0))
        if alone and judged:  # over all cases: another hazard's smaller demand may work its own capacity harder
            own = np.where(np.isfinite(ratio), ratio, np.nan)
        own = np.where(option >= 0, own, np.nan)
        out.append(
            {
                **base,
                "part": np.full(n, k),
                "component": np.full(n, component, dtype=object),
                "unit": np.full(n, component.rsplit("_", 1)[-1], dtype=object),
                "demand": demand,
                "capacity": capacity,
                "ratio": own,
                "case": cases[of_case],
            }
        )
    if len(point.components) > 1 and judged:
        out.append(
            {
                **base,
                "part": np.full(n, len(point.components)),
                "component": np.full(n, COMBINED, dtype=object),
                "unit": np.full(n, "ratio", dtype=object),
                "demand": np.where(np.isfinite(ratio), ratio, np.nan),
                "capacity": np.where(option >= 0, 1.0, np.nan),
                "ratio": np.where((option >= 0) & np.isfinite(ratio), ratio, np.nan),
                "case": cases[case],
            }
        )
    return out


def _held_table(r: PointResult, hazard: str, components: tuple[str, ...]) -> NDArray[np.float64]:
    """Allowable (categories, options + 1, components) under one hazard; the last option is none at all: NaN."""
    none = [np.nan] * len(components)
    rows = [[*([cap.allowable[hazard].get(c, np.nan) for c in components] for cap in caps), none] for caps in r.held]
    return np.array(rows, dtype=np.float64).reshape(len(rows), r.ratio.shape[1] + 1, len(components))


def _items(
    s: Selection, house: int, r: PointResult, option: NDArray[np.int64]
) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """Chosen item with its arrangement, and pieces at this connection."""
    if not r.ratio.shape[1]:
        return np.full(len(option), "", dtype=object), np.full(len(option), np.nan)
    line = s.line_of(r.point)
    names = [f"{o.item}, {o.arrangement}" if o.item else o.arrangement for o in s.options[line]]
    pieces = [q.at_point(r.point.name) for q in s.quantities[house][line]]
    return np.array([*names, ""], dtype=object)[option], np.array([*pieces, np.nan])[option]


def _footings(p: Prepared, s: Selection) -> None:
    """Porch footings are judged by their own weight, which the demand already counts."""
    for house in s.houses:
        for r in house.points:
            if r.point.family == "post_footing":
                for at in np.flatnonzero(r.largest[:, 0] > 0):
                    p.findings.one(int(house.lots[at]), "FOOTING", f"{r.point.name}: {r.largest[at, 0]:.0f} lb short")


TREATED_SILL = ("sill_anchor", "retrofit_anchor", "post_base", "stud_to_plate")
"""Families whose pieces touch preservative-treated wood or concrete where concrete lies below."""
PLAIN_FINISHES = ("", "bright", "none", "black")


def treated_lines(points: Sequence[Point]) -> set[str]:
    """Package lines of a house whose pieces touch treated wood or concrete."""
    own = [q for q in points if q.family in TREATED_SILL]
    return {q.schedule for q in own if q.family != "stud_to_plate" or q.facts.get("below") == "concrete"}


def _finishes(p: Prepared, s: Selection) -> None:
    """Pieces of a lot's package without a coating, at treated sills and posts (IRC R317.3, from memory)."""
    for house in s.houses:
        lines = treated_lines([r.point for r in house.points])
        tiers = s.tier_of_lot[house.lots]
        for tier in np.unique(tiers[tiers >= 0]):
            package = s.plan.packages[tier]
            chosen = [s.options[s.lines.index(line)][package[line]] for line in sorted(lines) if line in package]
            rows = [p.hardware.rows[o.row] for o in chosen if o.row >= 0]
            bare = sorted({r.item for r in rows if r.text("corrosion").strip().casefold() in PLAIN_FINISHES})
            here = np.zeros(len(p.usable), dtype=bool)
            here[house.lots[tiers == tier]] = bool(bare)
            p.findings.add("CORROSION", here, ", ".join(bare))


# --- lots ---------------------------------------------------------------------------------------------------------


def _lots(p: Prepared, s: Selection, governing: _Governing, case: PurchaseCase) -> gpd.GeoDataFrame:
    """Every lot that came in, once, in order of id: skipped ones with what could be read and no numbers."""
    lots, n = p.lots, len(p.lots)
    out: dict[str, Any] = {}
    for name in (
        "lot_id",
        "source_row",
        "block",
        "phase",
        "lot_status",
        "plan",
        "style",
        "options",
        "mirrored",
        "front_bearing_deg",
        "front_bearing_from",
        "start",
        "pad_elevation_ft",
        "area_sqft",
    ):
        out[name] = lots[name].to_numpy()
    for name, values in p.site.lot_columns().items():
        out[name] = _spread(p, values, n)
    totals = lot_money(case).reindex(p.site.points.lot_id)
    for name in ("hardware_cost", "labour_hours", "total_cost"):
        out[name] = _spread(p, np.where(s.tier_of_lot >= 0, totals[name].fillna(0.0).to_numpy(), np.nan), n)
    dates = lot_dates(case)
    for name in ("freeze_date", "first_order_by"):
        out[name] = _spread(p, dates[name].to_numpy(dtype=object), n)
    out["tier"] = _spread(p, np.array([*s.package_names, ""], dtype=object)[s.tier_of_lot], n)
    known = governing.ratio >= 0
    out["governing_point"] = _spread(p, np.where(known, governing.point, ""), n)
    out["governing_hazard"] = _spread(p, np.where(known, governing.hazard, ""), n)
    finite = known & np.isfinite(governing.ratio)
    out["governing_ratio"] = _spread(p, np.where(finite, governing.ratio, np.nan), n)
    out["flags"] = _spread(p, p.findings.flags(), n)
    out["status"] = _statuses(p, s)
    frame = pd.DataFrame(out).reindex(columns=columns.names("lots"))
    made = gpd.GeoDataFrame(frame, geometry=lots.geometry.to_numpy(), crs=lots.crs)
    return made.iloc[np.argsort(frame["lot_id"].to_numpy(dtype=str), kind="stable")].reset_index(drop=True)


def _spread(p: Prepared, values: Any, n: int) -> NDArray[Any]:
    return spread(values, p.usable, n)


def _statuses(p: Prepared, s: Selection) -> NDArray[np.object_]:
    out = np.full(len(p.lots), SKIPPED, dtype=object)
    stopped, referred = p.findings.stopped(), p.findings.referred()
    none = np.zeros(len(p.usable), dtype=bool)
    none[list(s.reasons)] = True
    left = {f.lot for f in p.findings.items if f.code == "LEFT_OVER"}
    none[list(left)] = True
    missing = (p.houses.of_lot[p.usable] == NO_HOUSE) | ~p.site.known
    status = np.where(stopped | referred, REFER, SCREENED).astype(object)
    status[none] = NO_HARDWARE
    status[missing] = SKIPPED
    out[p.usable] = status
    return out


def _exceptions(p: Prepared) -> pd.DataFrame:
    """Lots that need a person: skipped ones first by their own reason, then scope stops and referrals."""
    skipped = p.lots[p.lots["status"] == SKIPPED]
    rows = pd.DataFrame(
        {
            "lot_id": skipped["lot_id"],
            "reason": skipped["skip_reason"],
            "detail": skipped["skip_detail"],
            "next_step": skipped["skip_next_step"],
        }
    ).astype(object)
    found = p.findings.frame(p.site.points.lot_id)
    both = pd.concat([rows, found], ignore_index=True)
    return both.sort_values(["lot_id", "reason", "detail"], kind="stable").reset_index(drop=True)


def _packages(s: Selection) -> pd.DataFrame:
    rows = [
        (name, line, s.options[n][package[line]].item, s.options[n][package[line]].arrangement)
        for name, package in zip(s.package_names, s.plan.packages, strict=True)
        for n, line in enumerate(s.lines)
        if line in package
    ]
    return pd.DataFrame(rows, columns=columns.names("packages")).astype(object)


# --- run record, summary ----------------------------------------------------------------------------------


def _curve_point(c: CurvePoint) -> dict[str, Any]:
    return {
        "most": c.most,
        "cost_cents": c.cost_cents,
        "lower_bound_cents": c.lower_bound_cents,
        "proven": c.proven,
        "lots_unserved": c.lots_unserved,
    }


def _run(p: Prepared, s: Selection) -> dict[str, Any]:
    plan, advice = s.plan, suggestion(p, s)
    return {
        "working_crs": p.site.working.description,
        "working_crs_wkt": p.site.working.wkt(),
        "lots_crs": str(p.lots.crs.to_string()) if p.lots.crs else "",
        "units": "US customary; feet of 0.3048 m in the working system",
        "provenance": dict(sorted(p.site.provenance.items())),
        "defaults": p.tract.defaults_taken(),
        "packages": {
            "method": plan.method,
            "proven": plan.proven,
            "cost_cents": plan.cost_cents,
            "lower_bound_cents": plan.lower_bound_cents,
            "gap": round(plan.gap, 6),
            "one_package_cents": plan.one_package_cents,
            "every_lot_its_own_cents": plan.every_lot_own_cents,
            "scope": p.tract.tiers.scope,
            "packages_cents": plan.packages_cents,
            "stock_cents": plan.stock_cents,
            "curve": [_curve_point(c) for c in plan.curve],
            "beyond": [_curve_point(c) for c in plan.beyond],
            "suggested": {"most": advice.most, "reason": advice.reason},
            "lot_classes": plan.n_classes,
        },
        "houses": {
            m.variant.key: {
                "mean_roof_height_ft": round(m.variant.mean_roof_height_ft, 3),
                "seismic_weight_lb": [round(w, 1) for w in m.mass.level_lb],
                "connections": len(m.points),
            }
            for m in p.models
        },
    }


def _purchase_summary(bought: Purchase) -> dict[str, Any]:
    """Orders of firm lots whose day has passed, and how many lots the forecast stands for."""
    orders = bought.orders
    firm = orders[orders["status"] == "firm"] if len(orders) else orders
    return {
        "orders_late": int(sum(v is True or v == True for v in firm["late"])) if len(firm) else 0,  # noqa: E712
        "lots_in_forecast": int(bought.facts.get("open_lots", 0)),
    }


def _bought_summary(p: Prepared, lots: gpd.GeoDataFrame) -> dict[str, Any]:
    """Lots whose hardware is bought already: they are in the costs of the lots and not in the bill."""
    ids = p.lots.loc[p.lots["package"] != "", "lot_id"]
    bought = lots["lot_id"].isin(ids) & (lots["hardware_cost"].fillna(0) > 0)
    return {
        "lots_bought": int(bought.sum()),
        "bought_hardware_cost": round(float(lots.loc[bought, "hardware_cost"].sum()), 2),
    }


def _summary(s: Selection) -> dict[str, Any]:
    """What the command's own summary can't know: how the packages compare with one for all and one for each."""
    one = s.plan.one_package_cents
    return {
        "one_package_cost": None if one is None else one / 100,
        "every_lot_its_own_cost": s.plan.every_lot_own_cents / 100,
        "packages_cost": s.plan.cost_cents / 100,
        "packages_proven_cheapest": s.plan.proven,
    }
