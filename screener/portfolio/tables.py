"""Small tables of a portfolio, from the counts that chunks left: tracts, divisions, packages, curve, issues."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from hazard.issues import SEVERITIES
from screener import columns
from screener.portfolio.common import Lines
from screener.portfolio.layout import Layout, TractPlace
from screener.portfolio.needs import GroupPlan
from screener.portfolio.work_folder import Outcome, read_table
from screener.unique_rows import unique_rows

Ints = NDArray[np.int64]
STATUS_COLUMNS = ("screened", "refer", "no_hardware", "skipped")


@dataclass(frozen=True)
class Counts:
    """By tract (tracts, ...): lots by status and money; middle in degrees; kits: rows (tract, house, group, package,
    lots to buy for, lots); starts: rows (division, house, group, package, day of the start, lots to buy for)."""

    by_status: Ints
    cents: Ints
    total_cents: Ints
    minutes: Ints
    middle_deg: NDArray[np.float64]
    kits: Ints
    starts: Ints


def gather_counts(folder: Path, second: Sequence[Outcome], tracts: int) -> Counts:
    """Counts of all chunks; every tract is in one of them."""
    places = np.zeros((tracts, 7), dtype=np.int64)
    middle = np.full((tracts, 2), np.nan)
    kits = [np.zeros((0, 6), dtype=np.int64)]
    starts = [np.zeros((0, 6), dtype=np.int64)]
    for outcome in second:
        with np.load(folder / f"second/{outcome.number:06d}.counts.npz", allow_pickle=False) as held:
            own = held["places"]
            places[own[:, 0]] = own[:, 1:]
            kits.append(held["kits"])
            starts.append(held["starts"])
        with np.load(folder / f"first/{outcome.number:06d}.classes.npz", allow_pickle=False) as held:
            middle[held["places"]] = held["middles"]
    return Counts(
        places[:, :4], places[:, 4], places[:, 5], places[:, 6], middle, np.vstack(kits), _summed(np.vstack(starts))
    )


def _summed(starts: Ints) -> Ints:
    """Rows of all chunks that differ in nothing but the number of lots become one."""
    rows, which = unique_rows(starts[:, :-1])
    lots = np.zeros(len(rows), dtype=np.int64)
    np.add.at(lots, which, starts[:, -1])
    return np.column_stack([rows, lots])


EXCEPTION_ROWS = "second/{:06d}.exceptions.arrow"


def exceptions_in(folder: Path, chunks: Sequence[int], layout: Layout) -> Iterator[pd.DataFrame]:
    """The exceptions table chunk by chunk, in the order of the lots."""
    names = np.array([p.name for p in layout.places], dtype=object)
    for number in chunks:
        rows = read_table(folder / EXCEPTION_ROWS.format(number)).to_pandas()
        rows.insert(0, "tract", names[rows.pop("place").to_numpy(dtype=np.int64)])
        yield rows.reindex(columns=columns.names("portfolio_exceptions"))


@dataclass
class ReasonCounts:
    """Exceptions counted: lots by tract, lots by tract and reason, rows."""

    lots: Ints
    reasons: list[dict[str, int]]
    rows: int = 0

    @staticmethod
    def of(folder: Path, second: Sequence[Outcome], tracts: int) -> ReasonCounts:
        found = ReasonCounts(np.zeros(tracts, dtype=np.int64), [{} for _ in range(tracts)])
        for outcome in second:
            rows = read_table(folder / EXCEPTION_ROWS.format(outcome.number)).to_pandas()
            found.rows += len(rows)
            lots = rows.drop_duplicates(["place", "lot_id"])["place"].value_counts()
            found.lots[lots.index.to_numpy(dtype=np.int64)] = lots.to_numpy()
            each = rows.drop_duplicates(["place", "lot_id", "reason"]).groupby(["place", "reason"]).size()
            for (place, reason), n in each.items():
                found.reasons[int(place)][str(reason)] = int(n)
        return found

    def total(self) -> dict[str, int]:
        out: dict[str, int] = {}
        for own in self.reasons:
            for reason, n in own.items():
                out[reason] = out.get(reason, 0) + n
        return dict(sorted(out.items()))


def tract_table(
    places: Sequence[TractPlace], c: Counts, reasons: ReasonCounts, plans: Sequence[GroupPlan]
) -> pd.DataFrame:
    """The table `portfolio_tracts`, in the order of all outputs."""
    used: list[dict[str, int]] = [{} for _ in places]
    for tract, _, group, package, _, lots in c.kits.tolist():
        name = plans[group].names[package]
        used[tract][name] = used[tract].get(name, 0) + lots
    served = np.zeros(len(places), dtype=np.int64)
    np.add.at(served, c.kits[:, 0], c.kits[:, 5])
    frame = pd.DataFrame(
        {
            "tract": [p.name for p in places],
            "division": [p.division for p in places],
            "lots": c.by_status.sum(axis=1),
            **{name: c.by_status[:, k] for k, name in enumerate(STATUS_COLUMNS)},
            "exceptions": reasons.lots,
            "packages": [_counted(own) for own in used],
            "reasons": [_counted(own) for own in reasons.reasons],
            **_money(c.cents, c.minutes, c.total_cents, served),
            "longitude_deg": c.middle_deg[:, 0],
            "latitude_deg": c.middle_deg[:, 1],
        }
    )
    return frame.reindex(columns=columns.names("portfolio_tracts"))


def _counted(own: Mapping[str, int]) -> str:
    return ";".join(f"{name}: {n}" for name, n in sorted(own.items()))


def _money(cents: Any, minutes: Any, total: Any, served: Any) -> dict[str, Any]:
    with np.errstate(invalid="ignore", divide="ignore"):
        each = np.where(served > 0, total / 100 / served, np.nan)
    return {
        "hardware_cost": cents / 100,
        "labour_hours": minutes / 60_000_000,
        "total_cost": total / 100,
        "cost_per_lot": each,
    }


def division_table(places: Sequence[TractPlace], c: Counts, reasons: ReasonCounts, bill: pd.DataFrame) -> pd.DataFrame:
    """The table `portfolio_divisions`, by name."""
    served = np.zeros(len(places), dtype=np.int64)
    np.add.at(served, c.kits[:, 0], c.kits[:, 5])
    frame = pd.DataFrame(
        {
            "division": [p.division for p in places],
            "tracts": 1,
            "lots": c.by_status.sum(axis=1),
            **{name: c.by_status[:, k] for k, name in enumerate(STATUS_COLUMNS)},
            "exceptions": reasons.lots,
            "cents": c.cents,
            "minutes": c.minutes,
            "total": c.total_cents,
            "served": served,
        }
    )
    sums = frame.groupby("division", sort=True, as_index=False).sum()
    sums = sums.assign(**_money(*(sums[k].to_numpy() for k in ("cents", "minutes", "total", "served"))))
    own = bill[bill["level"] == "division"]
    cost = (own["cost"] * 100).round().groupby(own["division"]).sum() / 100
    sums["order_cost"] = sums["division"].map(cost).fillna(0.0)
    return sums.reindex(columns=columns.names("portfolio_divisions"))


def package_table(plans: Sequence[GroupPlan], lines: Lines, kits: Ints) -> pd.DataFrame:
    """The table `portfolio_packages`."""
    rows = []
    lots: dict[tuple[int, int], int] = {}
    for _, _, group, package, _, n in kits.tolist():
        lots[group, package] = lots.get((group, package), 0) + n
    for g, plan in enumerate(plans):
        for k, name in enumerate(plan.names):
            for n, line in enumerate(lines.lines):
                option = plan.options[k, n]
                if option >= 0:
                    own = lines.options[n][option]
                    rows.append((plan.name, name, lots.get((g, k), 0), line, own.item, own.arrangement))
    return pd.DataFrame(rows, columns=columns.names("portfolio_packages"))


def curve_table(plans: Sequence[GroupPlan]) -> pd.DataFrame:
    """The table `portfolio_curve`: cost by number of packages for each group."""
    rows = []
    for plan in plans:
        for point in plan.facts.get("curve", ()):
            cost, bound = point["cost_cents"], point["lower_bound_cents"]
            gap = 0.0 if not cost else (cost - min(bound, cost)) / cost
            rows.append(
                (
                    plan.name,
                    point["most"],
                    point["packages_used"],
                    np.nan if cost is None else cost / 100,
                    bound / 100,
                    gap,
                    point["proven"],
                    point["lots_unserved"],
                    plan.facts["lot_classes"],
                )
            )
    return pd.DataFrame(rows, columns=columns.names("portfolio_curve"))


def issue_table(folder: Path, first: Sequence[Outcome], own: pd.DataFrame) -> pd.DataFrame:
    """Issues of all chunks and of the portfolio itself: those about a lot by lot, the others once with their number.

    Notes whose words differ from area to area only in a count (cells, lots) stand once, in the words met first.
    """
    tables = [read_table(folder / f"first/{o.number:06d}.issues.arrow") for o in first]
    told = pa.concat_tables(tables).to_pandas() if tables else pd.DataFrame(columns=columns.names("portfolio_issues"))
    both = pd.concat([own.assign(tract="", times=1), told], ignore_index=True) if len(own) else told
    both = both.assign(rank=both["severity"].map({s: n for n, s in enumerate(SEVERITIES)}).astype(np.int64))
    both = both.sort_values(["rank", "code", "tract", "lot_id", "where", "found", "expected", "done"], kind="stable")
    general = both["lot_id"] == ""
    keys = ["rank", "severity", "code", "where", "expected", "done"]
    joined = (
        both[general].groupby(keys, sort=True, as_index=False).agg(found=("found", "first"), times=("times", "sum"))
    )
    rows = pd.concat([joined.assign(tract="", lot_id=""), both[~general]], ignore_index=True)
    rows = rows.sort_values(["rank", "code", "tract", "lot_id", "where", "found"], kind="stable", ignore_index=True)
    out: pd.DataFrame = rows.reindex(columns=columns.names("portfolio_issues"))
    return out
