"""Tables around the packages of a run: the cost curve with its suggestion, and the lots that force a package up."""

from __future__ import annotations

from typing import Any

import pandas as pd

from screener import columns
from screener.joint_lines import join
from screener.keeping import Keep, anew
from screener.pipeline import Prepared
from screener.selection import Selection
from screener.tier_advice import Forcing, Suggestion, forcing_lots, suggested
from screener.tiers import CurvePoint


def lever_tables(p: Prepared, s: Selection, keep: Keep = anew) -> dict[str, pd.DataFrame]:
    """Every table around the packages, by name."""
    from screener.tolerance import tolerance_table

    return {
        "cost_curve": cost_curve(p, s),
        "forcing_lots": forcing_table(p, s, keep),
        "tolerance": tolerance_table(p, s, keep),
    }


def suggestion(p: Prepared, s: Selection) -> Suggestion:
    """The number of packages that the curve suggests."""
    tiers = p.tract.tiers
    return suggested(
        s.plan, bool(tiers.handling_usd or tiers.stocking_usd_per_item or tiers.mixup_usd * tiers.mixup_rate)
    )


def cost_curve(p: Prepared, s: Selection) -> pd.DataFrame:
    """Tract cost by number of packages, from one to every lot its own, with the saving against one point before."""
    advice = suggestion(p, s)
    rows: list[dict[str, Any]] = []
    before: CurvePoint | None = None
    houses = max(1, len(s.tried))
    for point in (*s.plan.curve, *s.plan.beyond):
        cost = point.cost_cents
        saved = None if before is None or before.cost_cents is None or cost is None else before.cost_cents - cost
        rows.append(
            {
                "most": point.most,
                "packages_used": point.packages_used,
                "cost": None if cost is None else cost / 100,
                "lots_cost": point.lots_cents / 100,
                "packages_cost": point.packages_cents / 100,
                "stock_cost": point.stock_cents / 100,
                "saved": None if saved is None else saved / 100,
                "saved_a_lot": None if saved is None else saved / 100 / houses,
                "lower_bound": point.lower_bound_cents / 100,
                "gap": None if not cost else (cost - point.lower_bound_cents) / cost,
                "proven": point.proven,
                "lots_unserved": point.lots_unserved,
                "suggested": point.most == advice.most,
                "note": advice.reason if point.most == advice.most else _note(point, p.tract.tiers.most),
            }
        )
        before = point
    return pd.DataFrame(rows, columns=list(columns.names("cost_curve")))


def _note(point: CurvePoint, most: int) -> str:
    if point.most <= most:
        return ""
    return "beyond the most allowed: quick answer, at least this good can be had"


def forcing_table(p: Prepared, s: Selection, keep: Keep = anew) -> pd.DataFrame:
    """Lots that force a package up, by package, and what the others would save without them."""
    problem = s.problem
    if problem is None:
        return pd.DataFrame(columns=list(columns.names("forcing_lots")))
    found = keep("forcing lots", lambda: forcing_lots(join(problem, s.pairs), s.plan), (Forcing,))
    rows = [_forcing_row(p, s, each) for each in found]
    return pd.DataFrame(rows, columns=list(columns.names("forcing_lots")))


def _forcing_row(p: Prepared, s: Selection, each: Forcing) -> dict[str, Any]:
    lots = [int(s.tried[lot]) for lot in each.lots]
    words = []
    for name, form in (("exposure", "{}"), ("kzt", "Kzt {:.2f}")):
        values = [p.site.columns[name][lot] for lot in lots]
        words.append(", ".join(dict.fromkeys(form.format(value) for value in sorted(values))))
    plans = sorted({s.houses[int(p.houses.of_lot[p.usable[lot]])].model.variant.plan.name for lot in lots})
    return {
        "tier": s.package_names[each.package],
        "lots": ";".join(str(p.site.points.lot_id[lot]) for lot in lots),
        "count": len(lots),
        "saved": each.saves_cents / 100,
        "saved_at_least": each.saves_at_least_cents / 100,
        "other_lots": each.others,
        "plans": ";".join(plans),
        "ground": f"exposure {words[0]}; {words[1]}",
        "lines": ";".join(each.lines),
        "next_step": "another plan on them, or a sealed sheet of their own from the engineer",
    }
