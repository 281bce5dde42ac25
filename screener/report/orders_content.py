"""What to order by when, and the forecast, as plain values for the report's template."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from screener.report.text import counted, plain, texts, whole_dollars

DROPS = ("foundation", "walls", "floor", "roof")
OPEN_PERIODS, LATER_PERIODS = 2, 4
"""Periods whose items are open at first; periods with a forecast alone that are shown before the rest is folded."""

MOST_PERIODS = 60
MOST_FORECAST_ROWS = 120


def orders(results: Any) -> dict[str, Any]:
    """Order periods in time order with their items; `periods` is empty where there is nothing to order."""
    frame = getattr(results, "purchase", {}).get("orders", pd.DataFrame())
    if not len(frame):
        return {"periods": [], "rows": 0}
    clean = pd.DataFrame(
        {c: texts(frame[c]) for c in ("order_period", "order_by", "needed_on", "item", "drop", "phase", "status")}
    )
    clean["unit"] = texts(frame["purchase_unit"])
    clean["late"] = [word == "yes" for word in texts(frame["late"], yes_no=True)]
    for name in ("purchase_units", "cost", "units_for_break", "from_stock", "quantity_with_waste", "leftover_pieces"):
        clean[name] = frame[name].fillna(0.0).to_numpy(dtype=float)
    names = sorted(p for p in set(clean["order_period"]) if p)
    undated = [""] if "" in set(clean["order_period"]) else []
    periods = [_period(clean[clean["order_period"] == name], name) for name in (*names[:MOST_PERIODS], *undated)]
    firm = [p for p in periods if p["firm"]]
    for p in firm[:OPEN_PERIODS]:
        p["open"] = True
    guesses = [p for p in periods if not p["firm"] and p["name"] in names]
    for p in guesses[LATER_PERIODS:]:
        p["later"] = True
    breaks = clean[(clean["units_for_break"] > 0) & (clean["status"] == "firm")]
    return {
        "periods": periods,
        "rows": len(frame),
        "later": len(guesses[LATER_PERIODS:]),
        "more": max(0, len(names) - MOST_PERIODS),
        "late": int(((clean["status"] == "firm") & clean["late"]).sum()),
        "firm": whole_dollars(float(clean.loc[clean["status"] == "firm", "cost"].sum())),
        "forecast": whole_dollars(float(clean.loc[clean["status"] == "forecast", "cost"].sum()))
        if (clean["status"] == "forecast").any()
        else "",
        "breaks": ", ".join(dict.fromkeys(breaks["item"])),
        "rounding": rounding((getattr(results, "run", None) or {}).get("rounding_cents") or {}),
    }


def rounding(cents: Mapping[str, int]) -> str:
    """What whole boxes cost over the pieces themselves, by where they are rounded up; blank where not worked."""
    pieces = float(cents.get("pieces", 0))
    if not pieces:
        return ""
    words = {
        "with_waste": "with waste",
        "tract": "in boxes rounded once",
        "phase": "by phase",
        "drop": "by delivery and month",
        "house": "by house",
    }
    parts = [f"{words[k]} {100 * (float(cents[k]) / pieces - 1):+.1f} %" for k in words if k in cents]
    return f"Against {whole_dollars(pieces / 100)} of bare pieces at list price: {', '.join(parts)} (breaks counted)."


def _period(rows: pd.DataFrame, name: str) -> dict[str, Any]:
    firm = rows[rows["status"] == "firm"]
    guess = rows[rows["status"] == "forecast"]
    shown = firm if len(firm) else guess
    return {
        "name": name or "no start date",
        "order_by": min((d for d in shown["order_by"] if d), default=""),
        "late": bool(firm["late"].any()),
        "drops": [whole_dollars(s) if s else "–" for s in (_sum(rows, firm, d) for d in DROPS)],
        "firm": whole_dollars(float(firm["cost"].sum())) if len(firm) else "",
        "forecast": whole_dollars(float(guess["cost"].sum())) if len(guess) else "",
        "items": _items(firm),
        "open": False,
        "later": False,
    }


def _sum(rows: pd.DataFrame, firm: pd.DataFrame, drop: str) -> float:
    """Cost of a delivery: of firm orders, of forecast ones where none is firm."""
    own = firm if len(firm) else rows
    return float(own.loc[own["drop"] == drop, "cost"].sum())


def _items(rows: pd.DataFrame) -> list[dict[str, Any]]:
    """Items of a period's firm orders over all phases, by delivery, the earliest day first."""
    order = {d: n for n, d in enumerate(DROPS)}
    out = []
    for (drop, item), found in rows.groupby(["drop", "item"], sort=True):
        out.append(
            {
                "rank": (order.get(str(drop), 9), min(found["order_by"]), item),
                "item": item,
                "drop": drop,
                "phases": ", ".join(sorted({p for p in found["phase"] if p})),
                "order_by": min(found["order_by"]),
                "late": bool(found["late"].any()),
                "needed_on": min(found["needed_on"]),
                "pieces": _count(found["quantity_with_waste"].sum()),
                "stock": _count(found["from_stock"].sum()),
                "units": f"{found['purchase_units'].sum():,.0f}",
                "unit": found["unit"].iloc[0],
                "left": _count(found["leftover_pieces"].sum(), down=True),
                "cost": whole_dollars(float(found["cost"].sum())),
            }
        )
    return sorted(out, key=lambda r: r["rank"])


def _count(number: Any, down: bool = False) -> str:
    whole = np.floor(float(number) + 1e-9) if down else np.ceil(float(number) - 1e-9)
    return f"{whole:,.0f}" if whole else "–"


def forecast(results: Any) -> dict[str, Any]:
    """The tract's forecast, item by item, with what must be said beside it; no rows without undecided lots."""
    frame = getattr(results, "purchase", {}).get("forecast", pd.DataFrame())
    facts: Mapping[str, Any] = results.run.get("forecast") or {}
    if not len(frame):
        return {"rows": [], "said": said(facts)}
    tract = frame[frame["level"] == "tract"]
    rows = []
    for r in tract.to_dict("records")[:MOST_FORECAST_ROWS]:
        wide = r["p90"] - r["expected"]
        rows.append(
            {
                "item": plain(r["item"]),
                "drop": plain(r["drop"]),
                "firm": f"{r['firm']:,.0f}",
                "expected": f"{r['expected']:,.0f}",
                "p50": f"{r['p50']:,.0f}",
                "p90": f"{r['p90']:,.0f}",
                "more": f"{100 * wide / r['expected']:+.1f} %" if r["expected"] else "–",
                "units": f"{r['p90_units']:,.0f}",
                "unit": plain(r["purchase_unit"]),
                "driver": plain(r["driver"]),
            }
        )
    return {"rows": rows, "said": said(facts)}


def said(facts: Mapping[str, Any]) -> list[str]:
    """Sentences on the undecided lots."""
    lots = int(facts.get("open_lots", 0))
    if not lots:
        return []
    mix = ", ".join(f"{plain(name)} {100 * float(share):.0f} %" for name, share in facts.get("plan_mix", {}).items())
    out = [
        f"{counted(lots, 'lot')} {'has' if lots == 1 else 'have'} no plan yet. Each may get any plan of the mix that "
        f"fits it ({mix}), in its first style without options, with the cheapest chosen package that holds there.",
        f"Method: {plain(facts.get('method'))}.",
    ]
    for key, words in (
        (
            "expected_lots_beyond_packages",
            "would need a package that is not among the chosen ones: a person must add one. They are counted with the "
            "cheapest hardware that holds on each.",
        ),
        ("expected_lots_nothing_holds", "would find nothing on the hardware list that holds. They are not counted."),
        ("expected_lots_not_counted", "have no hazards or are out of scope. They are not counted."),
    ):
        number = float(facts.get(key, 0.0))
        if number > 0.05:
            out.append(f"About {number:,.1f} of them {words}")
    none = int(facts.get("lots_no_plan_fits", 0))
    if none:
        out.append(f"No plan of the mix fits {counted(none, 'lot')}: nothing is counted there.")
    return out
