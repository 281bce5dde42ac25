"""What the report says, section by section, as plain values for the template: no markup here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from hazard.seismic import code_meanings, code_severities
from screener.columns import by_name
from screener.labels import label
from screener.report.colouring import package_names
from screener.report.text import cents_as_dollars, counted, plain, texts, whole_dollars
from screener.scope import codes

if TYPE_CHECKING:
    from screener.config import Tract

SEVERITY_WORDS = {
    "stop": "no package",
    "refer": "engineer must confirm",
    "skip": "no numbers",
    "note": "note",
}
STATUS_WORDS = {
    "screened": "screened",
    "refer": "engineer to confirm",
    "no_hardware": "no package holds",
    "skipped": "skipped, no numbers",
}
STATUS_COUNT_WORDS = {
    "screened": "screened",
    "refer": "for an engineer to confirm",
    "no_hardware": "without a package that holds",
    "skipped": "skipped",
}
_SEVERITY_ORDER = {"stop": 0, "skip": 1, "refer": 2, "note": 3}
DROPS = ("foundation", "walls", "floor", "roof")
MOST_PHASE_COLUMNS = 8
MOST_PACKAGES_ABREAST = 6
MISSING = "–"  # no house of the package has the connection
MOST_ISSUE_ROWS = 80
MOST_NAMED = 10
"""Lots named beside a reason before it is opened."""


@dataclass(frozen=True)
class Facts:
    """What the report needs to know of the project beside the result tables."""

    name: str
    settings: Mapping[str, Any]
    defaults: Mapping[str, Any]
    inputs: tuple[Mapping[str, Any], ...] = ()
    versions: Mapping[str, str] = field(default_factory=dict)
    run_id: str = ""

    def setting(self, section: str, key: str) -> Any:
        found = self.settings.get(section) or {}
        return found.get(key) if isinstance(found, Mapping) else None


def facts_of_tract(tract: Tract) -> Facts:
    """Facts from the project itself, its input files and their checksums included."""
    from screener.files.manifest import input_records, versions

    return Facts(tract.name, tract.settings(), tract.defaults_taken(), tuple(input_records(tract)), versions())


def facts_of_manifest(manifest: Mapping[str, Any]) -> Facts:
    """The same facts from a run's manifest."""
    return Facts(
        str(manifest.get("tract", "")),
        manifest.get("settings") or {},
        manifest.get("defaults_taken") or {},
        tuple(manifest.get("inputs") or ()),
        manifest.get("versions") or {},
        str(manifest.get("run_id", "")),
    )


# --- summary ------------------------------------------------------------------------------------------------------


def summary(results: Any, facts: Facts) -> dict[str, Any]:
    """Counts, money and the comparison of package counts, in words."""
    lots = results.lots
    statuses = _counts(lots, "status")
    material, total = _sum(lots, "hardware_cost"), _sum(lots, "total_cost")
    bill = results.bill_of_materials
    return {
        "lots": len(lots),
        "statuses": [(name, statuses[name]) for name in _STATUSES if name in statuses],
        "packages": [(name, _counts(lots, "tier")[name]) for name in package_names(lots)],
        "exceptions": int(results.exceptions["lot_id"].nunique()) if len(results.exceptions) else 0,
        "material": whole_dollars(material),
        "labour_hours": f"{_sum(lots, 'labour_hours'):,.0f}",
        "total": whole_dollars(total),
        "boxes": whole_dollars(float(bill["cost"].sum())) if "cost" in bill and len(bill) else "–",
        "bought": results.summary.get("lots_bought", 0),
        "bought_material": whole_dollars(results.summary.get("bought_hardware_cost", 0.0)),
        "no_plan": sum(not p for p in texts(lots["plan"])) if "plan" in lots else 0,
        "outside_permit": int(sum(w == "no" for w in texts(lots["inside_permit"], yes_no=True)))
        if "inside_permit" in lots
        else 0,
        "comparison": comparison(results.run.get("packages") or {}),
        "without_package": sum(not t for t in texts(lots["tier"])) if "tier" in lots else 0,
        "headings": headings(results, facts),
    }


_STATUSES = ("screened", "refer", "no_hardware", "skipped")


def comparison(packages: Mapping[str, Any]) -> list[str]:
    """One package against the chosen ones against one for every lot, and how sure that is: plain sentences."""
    chosen = packages.get("cost_cents")
    if chosen is None:
        return []
    beside = [
        f"{cents_as_dollars(packages[key])} for {words}"
        for key, words in (("packages_cents", "handling and mix-ups"), ("stock_cents", "kinds of items in stock"))
        if packages.get(key)
    ]
    of_it = f", {' and '.join(beside)} among it" if beside else " in material and labour"
    out = [f"The packages chosen cost {cents_as_dollars(chosen)}{of_it}."]
    one, own = packages.get("one_package_cents"), packages.get("every_lot_its_own_cents")
    if one is None:
        out.append("No single package can serve every lot.")
    else:
        out.append(f"One package for every lot would cost {cents_as_dollars(one)}, {_difference(one - chosen)}.")
    if own is not None:
        out.append(
            f"Every lot fitted on its own would cost {cents_as_dollars(own)}, {_difference(own - chosen)}: "
            "the least that any set of packages could come to."
        )
    if packages.get("proven"):
        out.append("Proven: no other set of as many packages costs less with these inputs.")
    else:
        bound, gap = packages.get("lower_bound_cents"), float(packages.get("gap") or 0.0)
        out.append(
            f"Not proven cheapest: no set of as many packages can cost less than {cents_as_dollars(bound)}, "
            f"so at most {100 * gap:.2g} % could still be saved."
        )
    return out


def suggested_packages(packages: Mapping[str, Any]) -> str:
    """The suggested number of packages with its reason, in a sentence; blank where none was worked."""
    advice = packages.get("suggested") or {}
    if not advice:
        return ""
    each = " for each plan" if packages.get("scope") == "plan" else ""
    return f"Suggested: {counted(int(advice['most']), 'package')}{each}: {plain(advice['reason'])}."


MOST_FORCING_ROWS = 24


def forcing_rows(results: Any) -> list[dict[str, Any]]:
    """Lots that force a package up, as table rows."""
    frame = (getattr(results, "levers", None) or {}).get("forcing_lots")
    if frame is None or not len(frame):
        return []
    return [
        {
            "tier": plain(row["tier"]),
            "lots": plain(row["lots"]).replace(";", ", "),
            "ground": plain(row["ground"]),
            "plans": plain(row["plans"]).replace(";", ", "),
            "others": int(row["other_lots"]),
            "saved": whole_dollars(float(row["saved"])),
            "saved_at_least": whole_dollars(float(row["saved_at_least"])),
        }
        for row in frame.head(MOST_FORCING_ROWS).to_dict("records")
    ]


def tolerance_rows(results: Any) -> list[dict[str, Any]]:
    """How many lots change package at each end of each band, and at what cost, as table rows."""
    frame = (getattr(results, "levers", None) or {}).get("tolerance")
    if frame is None or not len(frame):
        return []
    rows = []
    for (what, by), found in frame.groupby(["what", "by"], sort=True):
        words = f"{by:+.2f}" if what == "rough_share" else f"{by:+.0%}"
        names = [plain(lot) for lot in found["lot_id"]]
        rows.append(
            {
                "what": plain(what).replace("_", " ").replace("kzt", "Kzt"),
                "by": words,
                "lots": len(found),
                "none": int((found["to_tier"] == "none").sum()),
                "change": whole_dollars(float(found["cost_change"].sum())),
                "some": ", ".join(names[:MOST_NAMED]) + (" ..." if len(names) > MOST_NAMED else ""),
            }
        )
    return rows


def _difference(cents: int) -> str:
    if cents == 0:
        return "the same"
    return f"{cents_as_dollars(abs(cents))} {'more' if cents > 0 else 'less'}"


def headings(results: Any, facts: Facts) -> list[tuple[str, str]]:
    """The facts that every reader must see beside the numbers."""
    lots = results.lots
    wind = _span(lots, "wind_speed_mph", "{:.0f}", " mph")
    source = (results.run.get("provenance") or {}).get("wind_speed_mph", "")
    states = sorted({s for s in texts(lots["ground_state"]) if s}) if "ground_state" in lots else []
    asked = plain(facts.setting("tract", "ground_state"))
    design = [plain(facts.setting("design", key)) for key in ("loads", "method", "wind_procedure")]
    state = f"{asked} (governs: {', '.join(states)})" if asked and states else asked or ", ".join(states)
    return [
        ("Load standard", ", ".join(w for w in (*design[:2], design[2] and f"{design[2]} procedure") if w)),
        ("State of the ground", state),
        ("Design wind speed", wind + (f" ({plain(source).split(',')[0]})" if source and wind else "")),
        ("Exposure, lots", ", ".join(f"{k} {v:,}" for k, v in sorted(_counts(lots, "exposure").items()) if k)),
        ("Kzt", _span(lots, "kzt", "{:.2f}", "")),
        ("SDS", _span(lots, "sds_g", "{:.2f}", " g")),
        ("Most packages", plain(facts.setting("tiers", "most"))),
    ]


def _span(lots: pd.DataFrame, column: str, form: str, unit: str) -> str:
    values = lots[column].dropna().to_numpy(dtype=float) if column in lots else np.empty(0)
    if not len(values):
        return ""
    low, high = form.format(values.min()), form.format(values.max())
    return f"{low}{unit}" if low == high else f"{low} to {high}{unit}"


def _counts(frame: pd.DataFrame, column: str) -> dict[str, int]:
    counts: dict[str, int] = {}
    for word in texts(frame[column]) if column in frame else []:
        counts[word] = counts.get(word, 0) + 1
    return counts


def _sum(frame: pd.DataFrame, column: str) -> float:
    return float(frame[column].fillna(0).sum()) if column in frame else 0.0


# --- exceptions, flags, issues ------------------------------------------------------------------------------------


def code_table() -> dict[str, tuple[str, str, str]]:
    """Every scope code: severity, meaning, next step."""
    ours = {c.code: (c.severity, c.words, c.next_step) for c in codes().values()}
    severities = code_severities()
    theirs = {c.upper(): (severities.get(c, "note"), words, "") for c, words in code_meanings().items()}
    return {**theirs, **ours}


def exception_groups(results: Any) -> list[dict[str, Any]]:
    """Exceptions by reason, what stops a lot first, then by number of lots."""
    frame, known = results.exceptions, code_table()
    groups = []
    if not len(frame):
        return []
    for reason, rows in frame.groupby("reason", sort=True):
        code = plain(reason)
        severity, meaning, step = known.get(code, ("skip", "", ""))
        details = texts(rows["detail"])
        steps = [s for s in texts(rows["next_step"]) if s]
        groups.append(
            {
                "code": code,
                "severity": severity,
                "word": SEVERITY_WORDS.get(severity, severity),
                "meaning": meaning or details[0],
                "lots": int(rows["lot_id"].nunique()),
                "some": list(dict.fromkeys(texts(rows["lot_id"])))[:MOST_NAMED],
                "next_step": steps[0] if steps else step,
            }
        )
    return sorted(groups, key=lambda g: (_SEVERITY_ORDER.get(g["severity"], 9), -g["lots"], g["code"]))


def note_groups(results: Any) -> list[dict[str, Any]]:
    """Flags of the lots that are no exception: code, meaning, lots."""
    known = code_table()
    raised = set(texts(results.exceptions["reason"])) if len(results.exceptions) else set()
    counts: dict[str, int] = {}
    for flags in texts(results.lots["flags"]) if "flags" in results.lots else []:
        for code in dict.fromkeys(f for f in flags.split(";") if f):
            counts[code] = counts.get(code, 0) + 1
    rows = [
        {"code": c, "meaning": known.get(c, ("", "", ""))[1], "next_step": known.get(c, ("", "", ""))[2], "lots": n}
        for c, n in counts.items()
        if c not in raised
    ]
    return sorted(rows, key=lambda r: (-r["lots"], r["code"]))


def issue_groups(issues: pd.DataFrame) -> list[dict[str, Any]]:
    """Repairs, defaults and warnings by kind: how often, and the first of each."""
    if not len(issues):
        return []
    order = {"stop": 0, "skip": 1, "fix": 2, "warn": 3, "note": 4}
    rows: list[dict[str, Any]] = [
        {
            "severity": plain(severity),
            "code": plain(code),
            "count": len(found),
            "where": plain(found["where"].iloc[0]),
            "found": plain(found["found"].iloc[0]),
            "done": plain(found["done"].iloc[0]),
        }
        for (severity, code), found in issues.groupby(["severity", "code"], sort=True)
    ]
    return sorted(rows, key=lambda r: (order.get(r["severity"], 9), r["code"]))[:MOST_ISSUE_ROWS]


# --- what the ground costs ----------------------------------------------------------------------------------------

_HOUSE = ["plan", "style", "options"]


def ground_costs(lots: pd.DataFrame) -> list[dict[str, Any]]:
    """What hill speed-up and a rougher or smoother exposure cost: lots against the same house where there is none.

    A lot is compared with the mean of the same plan, style and options; lots without a like or a package are left out.
    """
    needed = {*_HOUSE, "exposure", "kzt", "total_cost"}
    if not needed <= set(lots.columns):
        return []
    frame = pd.DataFrame({name: texts(lots[name]) for name in (*_HOUSE, "exposure")})
    frame["cost"] = lots["total_cost"].to_numpy(dtype=np.float64)
    kzt = lots["kzt"].to_numpy(dtype=np.float64)
    frame = frame.assign(level=kzt < LEVEL_KZT, hill=kzt >= LEVEL_KZT)
    level = frame[frame["level"]]
    if not len(frame):
        return []
    rows = [_against("hill speed-up, Kzt over 1", "level ground, same exposure", frame[frame["hill"]], level)]
    for worse, better in (("D", "C"), ("C", "B")):
        there = level[level["exposure"] == worse]
        like = level[level["exposure"] == better].assign(exposure=worse)
        rows.append(_against(f"exposure {worse}, level ground", f"exposure {better}, level ground", there, like))
    return [row for row in rows if row["compared"]]


LEVEL_KZT = 1.0005


def _against(cause: str, reference: str, there: pd.DataFrame, like: pd.DataFrame) -> dict[str, Any]:
    """Cost of some lots against the mean of the same houses elsewhere."""
    keys = [*_HOUSE, "exposure"]
    mean = like.groupby(keys, as_index=False)["cost"].mean()
    named = pd.DataFrame(mean).rename(columns={"cost": "like"})
    both = there.merge(named, on=keys, how="left", validate="many_to_one")
    more = (both["cost"] - both["like"]).dropna()
    return {
        "cause": cause,
        "against": reference,
        "lots": len(there),
        "compared": len(more),
        "each": whole_dollars(float(more.mean())) if len(more) else "–",
        "all": whole_dollars(float(more.sum())) if len(more) else "–",
    }


# --- packages -----------------------------------------------------------------------------------------------------


def package_cards(results: Any) -> dict[str, Any]:
    """What each package holds: the lines on which packages differ, and those that all share."""
    table = results.packages
    held: dict[str, dict[str, str]] = {}
    items = texts(table["item"]) if "item" in table else [""] * len(table)
    arranged = texts(table["arrangement"]) if "arrangement" in table else [""] * len(table)
    for tier, line, item, how in zip(texts(table["tier"]), texts(table["schedule"]), items, arranged, strict=True):
        held.setdefault(tier, {})[line] = in_words(item, how)
    lines = list(dict.fromkeys(line for package in held.values() for line in package))
    found = {line: [package[line] for package in held.values() if line in package] for line in lines}
    shared = [line for line in lines if len(set(found[line])) == 1]
    names = [n for n in package_names(results.lots) if n in held] + [n for n in held if not _used(results.lots, n)]
    cards = [_card(results.lots, name, held[name], [line for line in lines if line not in shared]) for name in names]
    return {
        "cards": cards,
        "shared": [(line, found[line][0]) for line in shared],
        "several": len(held) > 1,
        "table": _side_by_side(cards) if 1 < len(cards) <= MOST_PACKAGES_ABREAST else [],
    }


def _side_by_side(cards: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The lines on which packages differ, one row each; `changed` where a package differs from the one before it."""
    rows = []
    for n, (line, _) in enumerate(cards[0]["differing"]):
        cells, before = [], ""
        for card in cards:
            words = card["differing"][n][1]
            cells.append({"words": words, "changed": bool(before) and words not in (before, MISSING)})
            before = before if words == MISSING else words
        rows.append({"line": line, "cells": cells})
    return rows


def _used(lots: pd.DataFrame, name: str) -> bool:
    return name in package_names(lots)


def _card(lots: pd.DataFrame, name: str, package: Mapping[str, str], differing: list[str]) -> dict[str, Any]:
    mine = lots[np.array(texts(lots["tier"])) == name] if "tier" in lots else lots.iloc[:0]
    plans = [f"{plan} {count:,}" for plan, count in sorted(_counts(mine, "plan").items()) if plan]
    mean = _sum(mine, "total_cost") / len(mine) if len(mine) else float("nan")
    return {
        "name": name,
        "lots": len(mine),
        "plans": ", ".join(plans),
        "mean": whole_dollars(mean),
        "total": whole_dollars(_sum(mine, "total_cost")),
        "differing": [(line, package.get(line, MISSING)) for line in differing],
    }


def in_words(item: str, arrangement: str) -> str:
    """A package line as a person would say it: "truss tie light, two at each"."""
    if not item:
        return arrangement or "none needed"
    if arrangement.endswith(" each"):
        number = arrangement.removesuffix(" each")
        return f"{item}, {({'1': 'one', '2': 'two'}).get(number, number)} at each"
    if arrangement.startswith("at "):
        return f"{item}, every {arrangement.removeprefix('at ')}"
    edge, slash, field_spacing = arrangement.partition("/")
    if slash and arrangement not in item:
        return f"{item}, nails at {edge} in along panel edges and {field_spacing} in between"
    return item if not arrangement or arrangement in item else f"{item}, {arrangement}"


# --- the bill -----------------------------------------------------------------------------------------------------


def bill(results: Any) -> dict[str, Any]:
    """The bill by delivery and item, pieces with waste by phase, and money by month and delivery."""
    frame = results.bill_of_materials
    if not len(frame):
        return {"drops": [], "phases": [], "months": [], "rows": 0}
    clean = pd.DataFrame({c: texts(frame[c]) for c in ("item", "phase", "month", "drop") if c in frame})
    for name in ("quantity", "quantity_with_waste", "purchase_units", "cost", "labour_hours"):
        clean[name] = frame[name].fillna(0.0).to_numpy(dtype=float) if name in frame else 0.0
    clean["unit"] = texts(frame["purchase_unit"]) if "purchase_unit" in frame else ""
    phases = sorted(set(clean["phase"]), key=_natural)
    shown = phases if 1 < len(phases) <= MOST_PHASE_COLUMNS else []
    known = [d for d in DROPS if d in set(clean["drop"])]
    drops = [*known, *sorted(set(clean["drop"]) - set(known))]
    return {
        "phases": [p or "no phase" for p in shown],
        "drops": [_drop(clean[clean["drop"] == d], d, shown) for d in drops],
        "months": _months(clean, drops),
        "rows": len(frame),
        "cost": whole_dollars(float(clean["cost"].sum())),
        "labour_hours": f"{clean['labour_hours'].sum():,.0f}",
    }


def bill_data(results: Any) -> dict[str, Any]:
    """The bill's rows for the page's filter by month, as places in lists of distinct texts; blank without months."""
    frame = results.bill_of_materials
    if not len(frame) or "month" not in frame or not any(texts(frame["month"])):
        return {"months": [], "rows": []}
    lists: dict[str, list[str]] = {}
    places = []
    for name in ("item", "drop", "phase", "month"):
        codes, distinct = pd.factorize(pd.Series(texts(frame[name])), sort=True)
        lists[name] = [str(d) for d in distinct]
        places.append(codes.tolist())
    numbers = [
        frame[name].fillna(0.0).to_numpy(dtype=float).round(2).tolist()
        for name in ("quantity", "quantity_with_waste", "purchase_units", "cost", "labour_hours")
    ]
    rows = [list(row) for row in zip(*places, *numbers, strict=True)]
    unit = dict(
        zip(texts(frame["item"]), texts(frame.get("purchase_unit", frame["item"].map(lambda _: ""))), strict=True)
    )
    units = [unit[item] for item in lists["item"]]
    return {
        "units": units,
        "items": lists["item"],
        "drops": lists["drop"],
        "phases": lists["phase"],
        "months": lists["month"],
    } | {"rows": rows}


def _natural(word: str) -> tuple[int, float, str]:
    return (0, float(word), word) if word.isdecimal() else (1, 0.0, word)


def _drop(rows: pd.DataFrame, name: str, phases: list[str]) -> dict[str, Any]:
    items = []
    for item, found in rows.groupby("item", sort=True):
        by_phase = found.groupby("phase")["quantity_with_waste"].sum()
        items.append(
            {
                "item": item,
                "phases": [_pieces(float(by_phase.get(p, 0.0))) for p in phases],
                "quantity": _pieces(float(found["quantity"].sum())),
                "with_waste": _pieces(float(found["quantity_with_waste"].sum())),
                "boxes": _pieces(float(found["purchase_units"].sum())),
                "unit": found["unit"].iloc[0],
                "cost": whole_dollars(float(found["cost"].sum())),
                "labour_hours": f"{found['labour_hours'].sum():,.1f}",
            }
        )
    return {
        "name": name or "no delivery named",
        "items": items,
        "cost": whole_dollars(float(rows["cost"].sum())),
        "labour_hours": f"{rows['labour_hours'].sum():,.1f}",
    }


def _pieces(number: float) -> str:
    return f"{np.ceil(number - 1e-9):,.0f}" if number else "–"


def _months(rows: pd.DataFrame, drops: list[str]) -> list[dict[str, Any]]:
    if not any(rows["month"]):
        return []
    return [
        {
            "month": month or "no date",
            "drops": [whole_dollars(float(found.loc[found["drop"] == d, "cost"].sum())) for d in drops],
            "cost": whole_dollars(float(found["cost"].sum())),
        }
        for month, found in rows.groupby("month", sort=True)
    ]


# --- assumptions and cautions -------------------------------------------------------------------------------------


def assumptions(results: Any, facts: Facts) -> dict[str, Any]:
    """Settings, defaults, where each hazard comes from, houses, files with checksums, versions."""
    run = results.run
    return {
        "settings": _flat(facts.settings),
        "defaults": _flat(facts.defaults),
        "provenance": _flat(run.get("provenance") or {}),
        "houses": _houses(run.get("houses") or {}),
        "inputs": [(plain(r.get("key")), plain(r.get("file")), plain(r.get("sha256"))) for r in facts.inputs],
        "versions": _flat(facts.versions),
        "run": _flat({k: run.get(k) for k in ("working_crs", "lots_crs", "units") if run.get(k)}),
        "method": plain((run.get("packages") or {}).get("method")),
        "run_id": plain(facts.run_id),
    }


def _houses(houses: Mapping[str, Any]) -> list[tuple[str, str, str, str]]:
    return [
        (
            plain(name),
            plain(about.get("mean_roof_height_ft")),
            ", ".join(f"{float(w):,.0f}" for w in about.get("seismic_weight_lb") or []),
            plain(about.get("connections")),
        )
        for name, about in houses.items()
        if isinstance(about, Mapping)
    ]


def _flat(value: Any, prefix: str = "") -> list[tuple[str, str]]:
    if isinstance(value, Mapping):
        return [row for k in value for row in _flat(value[k], f"{prefix}.{plain(k)}" if prefix else plain(k))]
    if isinstance(value, list | tuple):
        return [(prefix, ", ".join(plain(v) for v in value))]
    return [(prefix, plain(value))]


def cautions(results: Any, facts: Facts) -> list[str]:
    """What must be said with every set of results."""
    lots = results.lots
    edition = plain(facts.setting("design", "loads")) or "the load standard named in the project"
    wind = _span(lots, "wind_speed_mph", "{:.0f}", " mph")
    flags = ";".join(texts(lots["flags"])) if "flags" in lots else ""
    old = [c for c in ("OLD_LAND_COVER", "OLD_ELEVATION", "OLD_PRICE", "OLD_CAPACITY", "OLD_SEAL") if c in flags]
    if old:
        ages = f"Some inputs are older than their age limit: {', '.join(old)}. See the notes on lots."
    elif "AGE_UNKNOWN" in flags or not facts.setting("tract", "as_of"):
        ages = "The ages of the inputs were not judged: the project gives no date to judge them at."
    else:
        ages = "Hazard layers, prices and loads age; check their dates under inputs."
    without_plan = sum(not p for p in texts(lots["plan"])) if "plan" in lots else 0
    out = [
        "This is a screening for planning and pricing. It is not for construction.",
        f"Loads follow {edition} as read by this tool"
        + (f", with a design wind speed of {wind}" if wind else "")
        + ". The building official sets the design criteria; local amendments and local wind rules come first.",
        "Exposure and Kzt are screening values. A licensed design professional decides both, and every detail.",
        "Loads that hardware holds and its prices come from the hardware list that was given, in that list's edition.",
        "Numbers hold for the state of the ground named above. If phases are built in another order, run it again.",
        "A lot that is no exception has been screened, no more: nobody has looked at it.",
        "Concrete at anchors, soils, fire and tornadoes (loads of risk categories III and IV) are not looked at;"
        " flood, salt water and special wind regions only where the lots or the project tell of them.",
        ages,
    ]
    if plain(facts.setting("design", "method")) == "LRFD":
        out.append("Strength design: demands and what hardware holds are at strength level, not allowable loads.")
    if without_plan:
        have = "has" if without_plan == 1 else "have"
        out.append(
            f"{counted(without_plan, 'lot')} {have} no plan yet and are not in the bill, only in the forecast: "
            "no count is final."
        )
    return out


# --- the lots as data for the page --------------------------------------------------------------------------------

TABLE: tuple[tuple[str, str], ...] = (
    ("lot_id", "Lot"),
    ("phase", "Phase"),
    ("plan", "Plan"),
    ("status", "Status"),
    ("tier", "Package"),
    ("exposure", "Exp."),
    ("kzt", "Kzt"),
    ("wind_speed_mph", "Wind, mph"),
    ("governing_point", "Hardest-worked connection"),
    ("governing_hazard", "Driven by"),
    ("governing_ratio", "Ratio"),
    ("inside_permit", "In master set"),
    ("total_cost", "Total, $"),
    ("flags", "Codes"),
)
_FEWER_DECIMALS = {"labour_hours": 1, "kzt": 2, "kzt_strict": 2, "kzt_screening": 2, "governing_ratio": 2}
_FEWER_DECIMALS |= {"fit_short_ft": 1, "pad_elevation_ft": 1, "q_envelope_psf": 1, "q_components_psf": 1, "ke": 3}
_FEWER_DECIMALS |= dict.fromkeys(("q_onto_front_psf", "q_onto_rear_psf", "q_onto_left_psf", "q_onto_right_psf"), 1)
"""A reader needs fewer figures than the tables carry."""

GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Three answers: package, paper, ground", ("tier", "inside_permit", "ground_state")),
    (
        "House and package",
        (
            "plan",
            "style",
            "options",
            "mirrored",
            "governing_point",
            "governing_hazard",
            "governing_ratio",
            "hardware_cost",
            "labour_hours",
            "total_cost",
            "mean_roof_height_ft",
        ),
    ),
    (
        "Lot",
        (
            "block",
            "phase",
            "lot_status",
            "start",
            "freeze_date",
            "first_order_by",
            "front_bearing_deg",
            "front_bearing_from",
            "fits",
            "fit_short_ft",
            "area_sqft",
            "pad_elevation_ft",
            "elevation_ft",
            "source_row",
        ),
    ),
    (
        "Wind and exposure",
        (
            "wind_speed_mph",
            "q_envelope_psf",
            "q_components_psf",
            "q_onto_front_psf",
            "q_onto_rear_psf",
            "q_onto_left_psf",
            "q_onto_right_psf",
            "governing_wind_envelope_deg",
            "governing_wind_components_deg",
            "ke",
            "exposure",
            "exposure_governing_bearing_deg",
            "rough_share_min",
            "exposure_margin_ft",
            "exposure_flips",
            "exposure_today",
            "exposure_built_out",
            "exposure_by_state",
            "exposure_depends_on",
        ),
    ),
    (
        "Terrain",
        (
            "kzt",
            "kzt_strict",
            "kzt_screening",
            "kzt_flips",
            "terrain_form",
            "terrain_h_ft",
            "terrain_lh_ft",
            "terrain_x_ft",
            "terrain_bearing_deg",
            "terrain_margin",
            "terrain_margin_of",
        ),
    ),
    (
        "Earthquake and snow",
        ("sds_g", "sd1_g", "sdc", "sdc_sds_only", "sdc_irc", "site_class", "ss_g", "s1_g", "ground_snow_psf"),
    ),
)
"""What is shown of a picked lot, in groups; columns named nowhere here come last."""
_SHOWN_OTHERWISE = ("lot_id", "status", "flags", "exposure_by_direction", "kzt_by_direction")


def lot_groups(columns: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The columns there are, in groups for the picked lot."""
    there = [c["name"] for c in columns if c["name"] not in _SHOWN_OTHERWISE]
    named = {name for _, names in GROUPS for name in names}
    rest = ("Further", tuple(name for name in there if name not in named))
    found = [{"title": title, "columns": [n for n in names if n in there]} for title, names in (*GROUPS, rest)]
    return [group for group in found if group["columns"]]


MOST_HARDEST, FEWER_HARDEST, MANY_LOTS = 6, 3, 3000
"""So many of a lot's connections are listed; fewer in a large tract, whose page must stay light."""


def hardest(results: Any) -> dict[str, Any]:
    """The hardest-worked connections of every lot, greatest ratio first, as places in lists of distinct texts."""
    lists: dict[str, list[str]] = {"point": [], "item": [], "case": []}
    frame, ids = results.demands, texts(results.lots["lot_id"])
    by_lot: list[list[list[float | int]]] = [[] for _ in ids]
    if len(frame) and {"lot_id", "ratio", *lists} <= set(frame.columns):
        keep = FEWER_HARDEST if len(ids) > MANY_LOTS else MOST_HARDEST
        judged = frame[frame["ratio"].notna()]
        if "component" in judged:  # loads that act together are judged together
            together = (judged["component"] == "combined").to_numpy()
            judged = judged.iloc[np.argsort(~together, kind="stable")].drop_duplicates(["lot_id", "point"])
        worst = judged.sort_values("ratio", ascending=False, kind="stable")
        worst = worst.drop_duplicates(["lot_id", "point"]).groupby("lot_id", sort=False).head(keep)
        places = []
        for name in lists:
            codes, distinct = pd.factorize(pd.Series(texts(worst[name])))
            lists[name] = [str(d) for d in distinct]
            places.append(codes.tolist())
        place = {lot: n for n, lot in enumerate(ids)}
        for lot, ratio, *at in zip(texts(worst["lot_id"]), worst["ratio"].round(2).tolist(), *places, strict=True):
            if lot in place:
                by_lot[place[lot]].append([ratio, *at])
    return {"points": lists["point"], "items": lists["item"], "cases": lists["case"], "lots": by_lot}


def lot_columns(lots: pd.DataFrame) -> list[dict[str, Any]]:
    """Columns of the lots as data: numbers as they are written, texts as places in a list of distinct ones.

    Columns that are blank throughout are left out, but for those of the table.
    """
    out, wanted = [], dict(TABLE)
    for name, column in by_name("lots").items():
        if name not in lots:
            continue
        about = {"name": name, "label": label(name), "meaning": column.meaning}
        if column.kind in ("number", "integer"):
            decimals = _FEWER_DECIMALS.get(name, column.decimals)
            values = pd.to_numeric(lots[name]).to_numpy(dtype=np.float64, na_value=np.nan).round(decimals)
            if not np.isfinite(values).any() and name not in wanted:
                continue
            numbers = [None if not np.isfinite(v) else int(v) if v == int(v) else float(v) for v in values]
            out.append({**about, "unit": column.unit, "decimals": decimals, "numbers": numbers})
        else:
            words = texts(lots[name], yes_no=column.kind == "yes_no")
            if column.kind == "date":
                words = [w[:10] for w in words]
            if not any(words) and name not in wanted:
                continue
            distinct = {w: n for n, w in enumerate(dict.fromkeys(words))}
            out.append({**about, "words": list(distinct), "places": [distinct[w] for w in words]})
    return out


def exception_data(results: Any) -> dict[str, Any]:
    """Exceptions by lot: places in lists of distinct reasons, details and steps."""
    frame = results.exceptions
    place = {lot_id: n for n, lot_id in enumerate(texts(results.lots["lot_id"]))}
    lists: dict[str, dict[str, int]] = {"reason": {}, "detail": {}, "next_step": {}}
    rows = []
    for lot, *cells in zip(*(texts(frame[c]) for c in ("lot_id", *lists)), strict=True) if len(frame) else []:
        row = [place.get(lot, -1)]
        row += [known.setdefault(c, len(known)) for known, c in zip(lists.values(), cells, strict=True)]
        rows.append(row)
    return {"rows": rows, **{f"{name}s": list(known) for name, known in lists.items()}}
