"""report.html of a portfolio: small, one file, no network: counts, money by division and package, a map, the tracts."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from hazard.table_cells import shortened
from screener.report.content import code_table
from screener.report.simple_page import bars, escape, heading, sentence, table, write_page
from screener.report.text import counted

if TYPE_CHECKING:
    from screener.portfolio.assembly import Tables

MOST_TRACTS = 500
COLOURS = ("#fde0a6", "#f6b26b", "#e0793f", "#b5452b", "#7a1f1f")
NOT_KNOWN = "#9aa5ad"
WIDTH = 860.0
MOST_PERIODS, MOST_DIVISIONS, NO_PERIOD = 60, 8, "no start date"
FEW_TRACTS, LONGEST_NAME = 20, 28
_COUNTS = {"screened": "screened", "refer": "refer", "no_hardware": "no hardware", "skipped": "skipped"}


def write_report(path: Path, manifest: Mapping[str, Any], t: Tables) -> None:
    """Write the page. Nothing in it depends on the clock, the machine or a path."""
    s = manifest["summary"]
    parts = [
        sentence(manifest["basis"]),
        heading("Lots"),
        table(
            [{"what": words, "n": f"{s['by_status'].get(k, 0):,}"} for k, words in _STATUS_WORDS.items()],
            {"what": "status", "n": "lots"},
            ["n"],
        ),
        sentence(
            f"{s['lots']:,} lots in {s['tracts']:,} tracts; {s['exceptions']:,} need a person "
            "(exceptions.csv, or exceptions.parquet where there are very many)."
        ),
        heading("Exceptions by reason"),
        bars(_reasons(s["exception_lots_by_reason"]), "exceptions by reason"),
        table(_meanings(s["exception_lots_by_reason"]), _MEANING, []),
        heading("Tracts by package cost of a lot"),
        _map(t.tracts),
        heading("Divisions"),
        table(*_divisions(t.divisions)),
        heading("What to order when"),
        *_periods(t.needs),
        heading("Packages"),
        sentence(_proof(s)),
        table(*_packages(t.packages)),
        heading("Tracts"),
        sentence(f"The first {MOST_TRACTS} of {len(t.tracts):,}; all stand in tracts.csv.")
        if len(t.tracts) > MOST_TRACTS
        else "",
        table(*_tracts(t.tracts.head(MOST_TRACTS))),
    ]
    under = f"{s['lots']:,} lots, {s['tracts']:,} tracts; package cost {_money(s['total_cost'])}"
    write_page(path, manifest["portfolio"], under, parts)


_STATUS_WORDS = {
    "screened": "screened",
    "refer": "refer: package shown, an engineer must confirm",
    "no_hardware": "no hardware: no package holds",
    "skipped": "skipped: no numbers, input unusable",
}


def _reasons(reasons: Mapping[str, int]) -> list[tuple[str, float, str]]:
    """The most frequent ones as bars."""
    most = sorted(reasons.items(), key=lambda r: (-r[1], r[0]))[:15]
    return [(code, float(n), counted(n, "lot")) for code, n in most]


_MEANING = {"code": "code", "what": "what it means", "next": "next step"}


def _meanings(reasons: Mapping[str, int]) -> list[dict[str, Any]]:
    """What the codes say, and what to do."""
    known = code_table()
    rows = [(code, known.get(code, ("", "", ""))) for code, _, _ in _reasons(reasons)]
    return [{"code": code, "what": words, "next": step} for code, (_, words, step) in rows]


def _money(dollars: float) -> str:
    return f"${dollars:,.0f}" if dollars == dollars else ""


def _proof(s: Mapping[str, Any]) -> str:
    shared = {"division": "each division", "tract": "each tract", "portfolio": "the whole portfolio"}
    searches = counted(s["package_groups"], "search", "searches")
    return (
        f"Packages are shared by the lots of {shared[s['packages_shared_by']]}. Of {searches} "
        f"{s['package_groups_proven']:,} proven cheapest; together they could cost at most "
        f"{100 * s['packages_gap']:.2f} % less."
    )


def _divisions(frame: pd.DataFrame) -> tuple[list[dict[str, Any]], dict[str, str], list[str]]:
    names = {"division": "division", "tracts": "tracts", "lots": "lots", **_COUNTS, "cost": "package cost"}
    names |= {"each": "per lot", "order": "boxes ordered"}
    rows = [
        {
            **{k: f"{int(row[k]):,}" for k in ("tracts", "lots", *_COUNTS)},
            "division": row["division"] or "(none)",
            "cost": _money(row["total_cost"]),
            "each": _money(row["cost_per_lot"]),
            "order": _money(row["order_cost"]),
        }
        for row in frame.to_dict("records")
    ]
    return rows, names, [n for n in names if n != "division"]


def _periods(needs: pd.DataFrame) -> list[str]:
    """Material by the period in which to order it: bars of the whole, and divisions beside one another."""
    whole = needs[needs["level"] == "portfolio"]
    if not (whole["order_period"] != "").any():
        return [sentence("No lot that is still to be bought for has a start date, so nothing can be told by month.")]
    cost = whole.groupby("order_period", sort=False)["cost"].sum()
    shown = cost.head(MOST_PERIODS)
    by_division = needs[needs["level"] == "division"].groupby(["order_period", "division"])["cost"].sum()
    divisions = sorted({name for _, name in by_division.index})
    rows = [
        {
            "period": period or NO_PERIOD,
            "cost": _money(value),
            **{f"d{n}": _money(by_division.get((period, name), 0.0)) for n, name in enumerate(divisions)},
        }
        for period, value in shown.items()
    ]
    names = {"period": "order in", "cost": "all"} | {f"d{n}": name or "(none)" for n, name in enumerate(divisions)}
    apart = 1 < len(divisions) <= MOST_DIVISIONS  # else the bars say it all
    told = sentence(
        "Material at list prices with waste, by the period in which it must be ordered (start, delivery, the item's "
        "lead time and the project's margin); pieces by item and division: needs_by_period.csv. Boxes are rounded up "
        "on each tract's bill and cost more."
    )
    more = f"The first {MOST_PERIODS} of {len(cost)} periods." if len(cost) > MOST_PERIODS else ""
    return [
        told,
        sentence(more) if more else "",
        bars([(str(p or NO_PERIOD), float(v), _money(v)) for p, v in shown.items()], "material by order period"),
        table(rows, names, [n for n in names if n != "period"]) if apart else "",
    ]


def _packages(frame: pd.DataFrame) -> tuple[list[dict[str, Any]], dict[str, str], list[str]]:
    own = frame.drop_duplicates(["shared_by", "tier"]).head(200)
    rows = [
        {"shared_by": r["shared_by"] or "(all)", "tier": r["tier"], "lots": f"{int(r['lots']):,}"}
        for r in own.to_dict("records")
    ]
    return rows, {"shared_by": "shared by", "tier": "package", "lots": "lots"}, ["lots"]


def _tracts(frame: pd.DataFrame) -> tuple[list[dict[str, Any]], dict[str, str], list[str]]:
    names = {"tract": "tract", "division": "division", "lots": "lots", **_COUNTS, "packages": "packages"}
    names |= {"each": "cost per lot", "cost": "package cost"}
    rows = [
        {
            **{k: f"{int(row[k]):,}" for k in ("lots", *_COUNTS)},
            "tract": row["tract"],
            "division": row["division"],
            "packages": row["packages"].replace(";", "; "),
            "each": _money(row["cost_per_lot"]),
            "cost": _money(row["total_cost"]),
        }
        for row in frame.to_dict("records")
    ]
    return rows, names, ["lots", *_COUNTS, "each", "cost"]


# --- the map ------------------------------------------------------------------------------------------------------


def _map(frame: pd.DataFrame) -> str:
    """Tracts as dots at their place, coloured by cost per lot in five classes of equal number; dearest on top.

    A few tracts are named on it, and their map is kept low.
    """
    known = frame[np.isfinite(frame["longitude_deg"].to_numpy(dtype=float))]
    if not len(known):
        return sentence("No tract has a place.")
    lon, lat = known["longitude_deg"].to_numpy(float), known["latitude_deg"].to_numpy(float)
    squeeze = np.cos(np.radians(lat.mean()))
    x, y = (lon - lon.min()) * squeeze, lat.max() - lat
    few = len(known) <= FEW_TRACTS
    span = max(float(np.ptp(x)), float(np.ptp(y)) * (3.0 if few else 1.6), 1e-3)
    scale = (WIDTH - 60.0) / span
    left = 30.0 + (WIDTH - 60.0 - float(np.ptp(x)) * scale) / 2.0
    height = float(np.ptp(y)) * scale + 60.0
    cost = np.round(known["cost_per_lot"].to_numpy(dtype=float), 2)
    limits = _limits(cost)
    kind = np.where(np.isfinite(cost), np.searchsorted(limits, np.nan_to_num(cost), side="left"), -1)
    radius = 3.0 if len(known) > 1000 else 5.0 if len(known) > 50 else 8.0
    order = np.lexsort((known["tract"].to_numpy(dtype=str), kind))
    dots = []
    for i in order.tolist():
        row = known.iloc[i]
        colour = COLOURS[kind[i]] if kind[i] >= 0 else NOT_KNOWN
        words = f"{row['tract']}: {int(row['lots']):,} lots, {_money(cost[i]) or 'no package'} a lot"
        dots.append(
            f'<circle cx="{left + x[i] * scale:.1f}" cy="{30.0 + y[i] * scale:.1f}" r="{radius:g}" fill="{colour}" '
            f'stroke="#3a2a20" stroke-width="0.6"><title>{escape(words)}</title></circle>'
        )
        if few:
            at_right = left + x[i] * scale < WIDTH * 0.75
            name = escape(shortened(str(row["tract"]), LONGEST_NAME))
            side = radius + 4.0 if at_right else -radius - 4.0
            dots.append(
                f'<text x="{left + x[i] * scale + side:.1f}" y="{34.0 + y[i] * scale:.1f}" '
                f'text-anchor="{"start" if at_right else "end"}">{name}</text>'
            )
    key = _key(cost, kind, height + 8.0)
    whole = height + 40.0
    return (
        f'<svg viewBox="0 0 {WIDTH:.0f} {whole:.0f}" width="{WIDTH:.0f}" role="img" '
        f'aria-label="tracts by package cost per lot">{"".join(dots)}{key}</svg>'
    )


def _limits(cost: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Greatest cost of each class but the last; fewer classes where costs are alike."""
    known = np.unique(cost[np.isfinite(cost)])
    if len(known) <= len(COLOURS):
        return known[:-1]
    values = np.sort(cost[np.isfinite(cost)])
    return np.unique(np.quantile(values, np.arange(1, len(COLOURS)) / len(COLOURS)))


def _key(cost: np.ndarray[Any, Any], kind: np.ndarray[Any, Any], y: float) -> str:
    """Colour and range of every class that some tract is in."""
    out = []
    classes = np.unique(kind[kind >= 0]).tolist()
    ranges = [(cost[kind == n].min(), cost[kind == n].max()) for n in classes]
    told = [[_money(least), _money(most)] for least, most in ranges]
    if any(before[1] == after[0] for before, after in itertools.pairwise(told)):  # a dollar apart or less
        told = [[f"${least:,.2f}", f"${most:,.2f}"] for least, most in ranges]
    for place, (n, (least, most)) in enumerate(zip(classes, told, strict=True)):
        x = 30.0 + place * 165.0
        words = least if least == most else f"{least} to {most}"
        out.append(f'<rect x="{x:.0f}" y="{y:.0f}" width="14" height="14" fill="{COLOURS[n]}" stroke="#3a2a20"/>')
        out.append(f'<text x="{x + 20:.0f}" y="{y + 12:.0f}">{escape(words)}</text>')
    return "".join(out)
