"""First pass over a chunk of lots: read, checked, joined with hazards, and what each lot needs of every package line.

Leaves shards: `lots` (all that is known of every lot, shapes too), `numbers` (what demands are made of again), classes
of equal need with their lots counted by tract, exceptions so far, and issues. A pure function of its task.
"""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import shapely
from numpy.typing import NDArray

from hazard.crs import lon_lat
from hazard.issues import InputError, Issue, Issues
from screener.columns import LOTS
from screener.config import Tract
from screener.demands import LotHazards, load_basis
from screener.files.tables import arrow_column
from screener.house_kernels import evaluate_house, requirement_classes
from screener.houses import NO_HOUSE, choose_houses
from screener.lots import SKIPPED, spread
from screener.pipeline import Prepared, join
from screener.portfolio.common import COMMON, Common, category_place, house_in, model_in
from screener.portfolio.layout import Chunk
from screener.portfolio.reading import SiteLots, own_issue, project_lots, skipped_all, stream_lots
from screener.portfolio.work_folder import Outcome, Task, read_pickle, write_table, written
from screener.scope import CodeFindings

SPOOL = "spool"
NUMBERS = [name for name in LotHazards.__dataclass_fields__ if name != "q_onto_psf"]
SITE_FAULTS = ("raster_misses_lots", "raster_elsewhere", "raster_too_large")
"""Stops of one tract that are faults of one site in a portfolio: its lots are skipped, the rest goes on."""
TOLD_ONCE = ("plan_unused", "plan_open", "lot_id_look_alike")
GIVEN = (
    *("source_row", "block", "phase", "lot_status", "plan", "style", "options", "mirrored", "front_bearing_deg"),
    *("front_bearing_from", "start", "pad_elevation_ft", "area_sqft"),
)
LATER: tuple[str, ...] = (
    "tier",
    "governing_point",
    "governing_hazard",
    "governing_ratio",
    "hardware_cost",
    "labour_hours",
)
LATER += ("total_cost", "flags", "status", "freeze_date", "first_order_by")
NOT_JUDGED = -1
OF_ONE_PART = struct.pack("<BII", 1, 6, 1)
"""Before the bytes of a polygon: a multipolygon with that one part (well-known binary, low byte first)."""


@dataclass
class _Gathered:
    """Parts of a chunk, site by site."""

    lots: list[pa.Table] = field(default_factory=list)
    numbers: list[dict[str, NDArray[Any]]] = field(default_factory=list)
    needs: list[NDArray[np.uint64]] = field(default_factory=list)
    rows: int = 0  # of the lots file
    skipped: list[pd.DataFrame] = field(default_factory=list)
    issues: Counter[tuple[str, ...]] = field(default_factory=Counter)
    provenance: dict[str, str] = field(default_factory=dict)


def first_pass(task: Task) -> Outcome:
    """Task "first": one chunk. Facts: counts, and where hazards came from."""
    folder = Path(task.folder)
    common: Common = read_pickle(folder, COMMON)
    chunk = common.layout.chunks[task.number]
    found = _Gathered()
    for places, site, issues in _sites(folder, common, chunk):
        _one_site(folder, common, places, site, issues, found)
    files = dict(_shards(folder, task.number, found))
    numbers = found.numbers
    facts = {
        "rows": found.rows,
        "lots": sum(len(n["place"]) for n in numbers),
        "tried": int(sum((n["class"] != NOT_JUDGED).sum() for n in numbers)),
        "provenance": found.provenance,
        "wind": _range([n["_wind"] for n in numbers]),
    }
    return Outcome("first", task.number, files, facts)


def _range(parts: list[NDArray[Any]]) -> list[float]:
    known = np.concatenate(parts) if parts else np.zeros(0)
    known = known[np.isfinite(known)]
    return [float(known.min()), float(known.max())] if len(known) else []


def _sites(folder: Path, common: Common, chunk: Chunk) -> Iterator[tuple[range, SiteLots, Issues]]:
    """Lots of each site of a chunk, read."""
    if common.stream is None:
        for n in range(chunk.first, chunk.last):
            issues = Issues()
            yield range(n, n + 1), project_lots(common.portfolio.listed[n].project, n, issues), issues
        return
    from screener.portfolio.layout import spooled
    from screener.portfolio.lot_stream import TRACT

    table = spooled(folder / SPOOL, chunk)
    place = table.column(TRACT).to_numpy()
    for places in common.layout.sites(chunk):
        first, last = np.searchsorted(place, [places.start, places.stop])
        issues = Issues()
        rows = table.slice(first, last - first)
        yield (
            places,
            stream_lots(rows, common.stream, common.portfolio.base, common.layout.places, issues),
            issues,
        )


def _one_site(folder: Path, common: Common, places: range, site: SiteLots, issues: Issues, found: _Gathered) -> None:
    project = common.portfolio.listed[places.start].project if common.portfolio.listed else common.portfolio.base
    base = common.portfolio.base
    where = base.shown(project.lots.file)
    houses = choose_houses(site.lots, common.plans, bool(base.purchase.plan_mix), issues, where)
    usable = np.flatnonzero((site.lots["status"] != SKIPPED) & site.lots.geometry.notna())
    prepared = None
    if len(usable):
        own = [common.house_of[v.key] for v in houses.variants]
        models = [model_in(folder, n) for n in own]
        redundancy = [house_in(folder, n).redundancy for n in own]
        try:
            prepared = join(
                project, site.lots, common.plans, common.hardware, houses, models, redundancy, usable,
                CodeFindings(len(usable)), issues,
            )  # fmt: skip
        except InputError as error:
            site = _set_aside(site, error, issues)
    _unknown_packages(site, common, issues)
    names = [common.layout.places[n].name for n in places]
    _keep_issues(issues, names if common.stream is not None else names[:1], found)
    lots, numbers, needs = _described(folder, common, site, prepared)
    found.rows += site.rows
    found.lots.append(lots)
    found.numbers.append(numbers)
    found.needs.append(needs)
    found.skipped.append(_skipped_rows(site))
    if prepared is not None:
        for key, text in prepared.site.provenance.items():
            found.provenance.setdefault(key, text)


def _unknown_packages(site: SiteLots, common: Common, issues: Issues) -> None:
    named = site.lots["package"].to_numpy(dtype=str)
    for i in np.flatnonzero((named != "") & ~np.isin(named, list(common.kept))):
        lot = str(site.lots["lot_id"].iat[i])
        expected = f"one of {', '.join(sorted(common.kept)) or 'none: no [tiers] kept file'}"
        done = "treated as bought but not checked"
        issues.add("package_unknown", "warn", f"lots {lot}", f"package '{named[i]}'", expected, done, lot)


def _set_aside(site: SiteLots, error: InputError, issues: Issues) -> SiteLots:
    """A site that the rasters do not serve: its lots are skipped. Any other stop is raised again."""
    stops = [issue for issue in error.issues if issue.severity == "stop"]
    if not stops or any(issue.code not in SITE_FAULTS for issue in stops):
        raise error
    first = stops[0]
    issues.add(first.code, "skip", first.where, first.found, first.expected, first.done)
    return skipped_all(site, first.code, first.found, first.expected)


def _keep_issues(issues: Issues, names: list[str], found: _Gathered) -> None:
    """Count issues by their words; those about no lot are told once for all chunks."""
    for issue in issues:
        if issue.code not in TOLD_ONCE and issue.severity != "stop":
            found.issues[_issue_key(issue, names)] += 1


def _issue_key(issue: Issue, names: list[str]) -> tuple[str, ...]:
    tract, lot = own_issue(issue, names)
    return (issue.severity, issue.code, tract, lot, issue.where, issue.found, issue.expected, issue.done)


def _described(
    folder: Path, common: Common, site: SiteLots, p: Prepared | None
) -> tuple[pa.Table, dict[str, NDArray[Any]], NDArray[np.uint64]]:
    """The lots table as far as it is known, the numbers demands are made of, and the needs of judged lots."""
    n = len(site.lots)
    usable = p.usable if p is not None else np.zeros(0, dtype=np.intp)
    house = np.full(n, NO_HOUSE, dtype=np.int64)
    numbers: dict[str, NDArray[Any]] = {
        "place": site.place,
        "usable": np.isin(np.arange(n), usable),
        "bought": (site.lots["package"] != "").to_numpy(),
        "start": site.lots["start"].to_numpy(dtype=object),
        "_wind": np.full(n, np.nan),
        "_middle": lon_lat(_box_middles(site.lots), site.lots.crs),
    }
    out: dict[str, Any] = {"lot_id": site.own_id} | {name: site.lots[name] for name in GIVEN}
    modelled, may = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    category = np.zeros(n, dtype=np.int8)
    outside = np.zeros(n, dtype=bool)
    values = {name: np.full(n, np.nan) for name in NUMBERS}
    onto = np.full((n, 4), np.nan)
    flags: dict[tuple[str, str], NDArray[np.bool_]] = {}
    if p is not None:
        for name, column in p.site.lot_columns().items():
            out[name] = spread(column, usable, n)
        local = p.houses.of_lot[usable]
        numbered = np.array([*(common.house_of[v.key] for v in p.houses.variants), NO_HOUSE], dtype=np.int64)
        house[usable] = numbered[local]
        modelled[usable] = (local >= 0) & p.site.known
        may[usable] = modelled[usable] & ~p.findings.stopped()
        category[usable] = [category_place(str(c)) for c in p.categories]
        inside = p.site.columns["inside_permit"]
        outside[usable] = [value is False or value is np.False_ for value in inside]
        for name in NUMBERS:
            own = getattr(p.hazards, name)
            values[name][usable] = p.hazards.sds_g if own is None else own
        onto[usable] = p.hazards.q_onto_psf
        numbers["_wind"][usable] = p.site.speed.values
        assert isinstance(p.findings, CodeFindings)
        for key, mask in p.findings.masks.items():
            flags[key] = np.zeros(n, dtype=bool)
            flags[key][usable[mask]] = True
    numbers |= {"house": house, "modelled": modelled, "may": may, "category": category, "outside": outside}
    numbers |= {f"h_{name}": own for name, own in values.items()}
    numbers |= {f"q_{k}": onto[:, k] for k in range(4)}
    numbers |= {f"f_{severity}_{code}": mask for (severity, code), mask in sorted(flags.items())}
    needs, rows = _needs(folder, common, site, numbers)
    numbers["class"] = np.full(n, NOT_JUDGED, dtype=np.int64)
    numbers["class"][rows] = np.arange(len(rows))  # places in `needs`; made classes once the chunk is whole
    return _lots_table(out, site, common), numbers, needs


def _box_middles(lots: gpd.GeoDataFrame) -> NDArray[np.float64]:
    bounds = shapely.bounds(lots.geometry.to_numpy())
    return np.asarray((bounds[:, :2] + bounds[:, 2:]) / 2.0)


def hazards_in(numbers: dict[str, NDArray[Any]], rows: NDArray[np.intp]) -> LotHazards:
    """Hazard numbers of some rows of the shard `numbers`."""
    own = {name: numbers[f"h_{name}"][rows] for name in NUMBERS}
    return LotHazards(**own, q_onto_psf=np.column_stack([numbers[f"q_{k}"][rows] for k in range(4)]))


def _needs(
    folder: Path, common: Common, site: SiteLots, numbers: dict[str, NDArray[Any]]
) -> tuple[NDArray[np.uint64], NDArray[np.intp]]:
    """For every lot that may have a package: house, outside its permit, kept package, and what passes, as one row."""
    kept_names = sorted(common.kept)
    named = site.lots["package"].to_numpy(dtype=object)
    kept = np.array([kept_names.index(k) + 1 if k in common.kept else 0 for k in named], dtype=np.uint64)
    house, may = numbers["house"], numbers["may"]
    parts, rows = [], []
    for h in np.unique(house[may]).tolist():
        here = np.flatnonzero(may & (house == h))
        table = house_in(folder, h).table
        basis = load_basis(model_in(folder, h), hazards_in(numbers, here))
        passes = evaluate_house(table, basis, numbers["category"][here].astype(np.int64)).passes
        head = np.column_stack([np.full(len(here), h), numbers["outside"][here], kept[here]]).astype(np.uint64)
        parts.append(np.hstack([head, passes]))
        rows.append(here)
    if not parts:
        return np.zeros((0, 3), dtype=np.uint64), np.zeros(0, dtype=np.intp)
    return np.vstack(parts), np.concatenate(rows)


def _lots_table(out: dict[str, Any], site: SiteLots, common: Common) -> pa.Table:
    """Columns of the lots table that are known before packages are, rounded as they are written, with the shape."""
    nothing = np.full(len(site.lots), np.nan)
    place = pa.array(site.place)
    columns: dict[str, pa.Array] = {
        "tract": pa.array([p.name for p in common.layout.places], pa.string()).take(place),
        "division": pa.array([p.division for p in common.layout.places], pa.string()).take(place),
    }
    known = (column for column in LOTS if column.name not in LATER)
    columns |= {column.name: arrow_column("lots", column, out.get(column.name, nothing)) for column in known}
    columns["geometry"] = pa.array(_drawn(site.lots, common.crs), pa.binary())
    return pa.table(columns)


def _drawn(lots: gpd.GeoDataFrame, crs: str) -> NDArray[np.object_]:
    """Shapes as the map layer takes them: multipolygons in two dimensions, as bytes; None where it can't hold one."""
    from screener.files.geopackage import drawable

    own = lots if lots.crs == crs else lots.to_crs(crs)
    shapes = drawable(own.geometry.to_numpy())
    single = shapely.get_type_id(shapes) == 3
    cells: NDArray[np.object_] = shapely.to_wkb(shapes, byte_order=1)
    cells[single] = [OF_ONE_PART + cell for cell in cells[single]]
    return cells


def _skipped_rows(site: SiteLots) -> pd.DataFrame:
    skipped = (site.lots["status"] == SKIPPED).to_numpy()
    rows = site.lots[skipped]
    return pd.DataFrame(
        {
            "place": site.place[skipped],
            "lot_id": site.own_id[skipped],
            "reason": rows["skip_reason"].to_numpy(),
            "detail": rows["skip_detail"].to_numpy(),
            "next_step": rows["skip_next_step"].to_numpy(),
        }
    )


# --- shards -------------------------------------------------------------------------------------------------------


def _shards(folder: Path, number: int, found: _Gathered) -> Iterator[tuple[str, str]]:
    stem = f"first/{number:06d}"
    lots = pa.concat_tables(found.lots)
    yield written(folder, f"{stem}.lots.arrow", lambda path: write_table(lots, path))
    numbers = _joined(found.numbers)
    classes, counts = _classes(found, numbers)
    table = pa.table({k: _column(v) for k, v in numbers.items() if not k.startswith("_")})
    yield written(folder, f"{stem}.numbers.arrow", lambda path: write_table(table, path))
    places, middles = np.unique(numbers["place"]), numbers["_middle"]
    each = np.stack([_middle(middles[numbers["place"] == p]) for p in places]) if len(places) else middles
    arrays = {"classes": classes, "counts": counts, "places": places, "middles": each}
    yield written(folder, f"{stem}.classes.npz", lambda path: _write_npz(path, **arrays))
    skipped = pd.concat(found.skipped, ignore_index=True).astype({"place": np.int64})
    rows = pa.Table.from_pandas(skipped, preserve_index=False)
    yield written(folder, f"{stem}.skipped.arrow", lambda path: write_table(rows, path))
    names = ("severity", "code", "tract", "lot_id", "where", "found", "expected", "done")
    told = sorted(found.issues.items())
    issues = {name: pa.array([key[k] for key, _ in told], pa.string()) for k, name in enumerate(names)}
    issues["times"] = pa.array([times for _, times in told], pa.int64())
    yield written(folder, f"{stem}.issues.arrow", lambda path: write_table(pa.table(issues), path))


def _middle(points: NDArray[np.float64]) -> NDArray[np.float64]:
    known = points[np.isfinite(points).all(axis=1)]
    return np.median(known, axis=0) if len(known) else np.full(2, np.nan)


def _joined(parts: list[dict[str, NDArray[Any]]]) -> dict[str, NDArray[Any]]:
    """Columns of all sites one below the other; flags that a site does not know are False there."""
    names = list(dict.fromkeys(sorted(name for part in parts for name in part)))
    sizes = [len(part["place"]) for part in parts]
    starts = np.cumsum([0, *(int((part["class"] != NOT_JUDGED).sum()) for part in parts)])
    out = {}
    for name in names:
        pieces = [p.get(name, np.zeros(n, dtype=bool)) for p, n in zip(parts, sizes, strict=True)]
        if name == "class":
            pieces = [np.where(c == NOT_JUDGED, c, c + s) for c, s in zip(pieces, starts[:-1], strict=True)]
        out[name] = np.concatenate(pieces)
    return out


def _classes(found: _Gathered, numbers: dict[str, NDArray[Any]]) -> tuple[NDArray[np.uint64], NDArray[np.int64]]:
    """Distinct needs of a chunk in ascending order, and (place, class, lots) counted; `numbers` gets the classes."""
    width = max(part.shape[1] for part in found.needs)
    stacked = np.vstack([part if len(part) else np.zeros((0, width), np.uint64) for part in found.needs])
    if not len(stacked):
        return stacked, np.zeros((0, 3), dtype=np.int64)
    of_row, rows, _ = requirement_classes(stacked)
    judged = numbers["class"] != NOT_JUDGED
    own = of_row[numbers["class"][judged]]
    numbers["class"][judged] = own
    pairs, lots = np.unique(numbers["place"][judged] * len(rows) + own, return_counts=True)
    return rows, np.column_stack([*np.divmod(pairs, len(rows)), lots]).astype(np.int64)


def _column(values: NDArray[Any]) -> pa.Array:
    return pa.array(values, pa.string()) if values.dtype == object else pa.array(values)


def _write_npz(path: Path, **arrays: NDArray[Any]) -> None:
    with path.open("wb") as file:
        np.savez(file, **arrays)  # type: ignore[arg-type]


def project_of(common: Common, place: int) -> Tract:
    """The project by whose rules a tract's lots are read."""
    return common.portfolio.listed[place].project if common.portfolio.listed else common.portfolio.base
