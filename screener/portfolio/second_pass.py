"""Second pass over a chunk: each lot's package looked up, its demands laid out again, its row finished, pieces counted.

Leaves the chunk's parts of the `lots` and `demands` data sets, its exceptions, and counts by tract. A pure function of
its task: nothing depends on other chunks but the packages.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyproj
from numpy.typing import NDArray

from screener.columns import DEMANDS, LOTS, by_name
from screener.demands import load_basis
from screener.files.tables import arrow_column
from screener.house_kernels import HouseDemands, HouseRatios, evaluate_house, judge_packages, requirement_classes
from screener.lots import SKIPPED
from screener.order_dates import NO_DATE, day_numbers, day_texts
from screener.portfolio.common import COMMON, LINES, Common, House, Lines, Texts, house_in, model_in
from screener.portfolio.demand_rows import LARGEST_RATIO, RowPlan, empty_rows, fill_rows, row_plan
from screener.portfolio.first_pass import LATER, NOT_JUDGED, hazards_in
from screener.portfolio.kits import labour_cents
from screener.portfolio.needs import LEFT_OVER, NO_HARDWARE, NO_PACKAGE, Grouping
from screener.portfolio.tables import EXCEPTION_ROWS
from screener.portfolio.work_folder import Outcome, Task, read_pickle, read_table, write_table, written
from screener.result_tables import NO_HARDWARE as STATUS_NO_HARDWARE
from screener.result_tables import PLAIN_FINISHES, REFER, SCREENED
from screener.scope import SEVERITIES, CodeFindings, codes

GROUPS, TEXTS, WORDS = "groups.pickle", "texts.pickle", "words.pickle"
ROWS_AT_ONCE = 1 << 19
PAGE_ROWS, PAGE_BYTES = 1 << 16, 4 << 20
"""Rows that the writer encodes in one go, and bytes of a page: larger than its own, which cost it a sixth more time."""
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Choice:
    """Packages of the groups of one chunk, one below the other."""

    name: NDArray[np.object_]  # (packages,)
    options: Ints  # (packages, lines)
    tier: Ints  # (lots,) package of each lot, -1 none
    no_hardware: NDArray[np.bool_]  # (lots,)
    left_over: NDArray[np.bool_]
    short: NDArray[np.bool_]
    group: Ints  # (packages,) group of each package
    local: Ints  # (packages,) its place in the group


@dataclass
class _Judged:
    """What the houses of a chunk showed, lot by lot."""

    point: NDArray[np.object_]
    hazard: NDArray[np.object_]
    ratio: NDArray[np.float64]
    cents: Ints
    minutes: Ints
    order_day: Ints


def second_pass(task: Task) -> Outcome:
    """Task "second": one chunk. Facts: lots, rows of demands, money."""
    folder = Path(task.folder)
    common: Common = read_pickle(folder, COMMON)
    lines: Lines = read_pickle(folder, LINES)
    stem = f"first/{task.number:06d}"
    numbers = _numbers(folder / f"{stem}.numbers.arrow")
    lots = read_table(folder / f"{stem}.lots.arrow")
    choice = _choice(folder, numbers, f"{stem}.classes.npz", lines)
    found = CodeFindings(len(lots))
    found.masks = _flags(numbers)
    judged = _Judged(
        np.full(len(lots), "", dtype=object),
        np.full(len(lots), "", dtype=object),
        np.full(len(lots), np.nan),
        *(np.zeros(len(lots), dtype=np.int64) for _ in range(3)),
    )
    rows = _rows_of_houses(folder, common, lines, numbers, choice, judged, found)
    for code, mask in (
        ("NO_HARDWARE", choice.no_hardware),
        ("LEFT_OVER", choice.left_over),
        ("KEPT_SHORT", choice.short),
    ):
        found.add(code, mask, "")
    status = _status(numbers, choice, found)
    finished, money = _lots_table(common, lots, numbers, choice, judged, found, status)
    texts: Texts = read_pickle(folder, TEXTS)
    words: dict[bytes, bytes] = read_pickle(folder, WORDS)
    finished = finished.replace_schema_metadata({**words, b"geo": _geo(common.crs)})
    files = dict(_shards(folder, task.number, finished, rows, texts, words))
    files |= dict(_exceptions(folder, task.number, lots, numbers, found, status))
    counted = _counts(numbers, status, money, choice, common.layout.division_of_places())
    files |= dict([written(folder, f"second/{task.number:06d}.counts.npz", lambda p: _write_npz(p, counted))])
    facts = {
        "lots": len(lots),
        "rows": int(rows[1][-1]) if len(rows[1]) else 0,
        "by_status": {name: int(n) for name, n in zip(*np.unique(status.astype(str), return_counts=True), strict=True)},
        "hardware_cents": int(money["hardware_cents"].sum()),
        "total_cents": int(money["total_cents"].sum()),
        "costed": int((money["total_cents"] > 0).sum()),
    }
    return Outcome("second", task.number, files, facts)


def _numbers(path: Path) -> dict[str, NDArray[Any]]:
    table = read_table(path)
    return {name: table.column(name).to_numpy() for name in table.column_names}


def _flags(numbers: Mapping[str, NDArray[Any]]) -> dict[tuple[str, str], NDArray[np.bool_]]:
    out = {}
    for name, mask in numbers.items():
        if name.startswith("f_"):
            severity, _, code = name[2:].partition("_")
            out[severity, code] = np.array(mask, dtype=bool)
    return out


# --- packages -----------------------------------------------------------------------------------------------------


def _choice(folder: Path, numbers: Mapping[str, NDArray[Any]], classes_name: str, lines: Lines) -> Choice:
    """Look up the package of every lot of the chunk."""
    grouping: Grouping = read_pickle(folder, GROUPS)
    group_of_place = grouping.of_place
    with np.load(folder / classes_name, allow_pickle=False) as held:
        rows, counts = held["classes"], held["counts"]
    own, place = numbers["class"], numbers["place"]
    n = len(own)
    keys = [row.tobytes() for row in np.ascontiguousarray(rows)]
    tier, what = np.full(n, -1, dtype=np.int64), np.full(n, NO_PACKAGE, dtype=np.int64)
    short = np.zeros(n, dtype=bool)
    names: list[str] = []
    options: list[Ints] = [np.zeros((0, len(lines.lines)), dtype=np.int64)]
    group: list[int] = []
    local: list[int] = []
    for g in np.unique(group_of_place[counts[:, 0]]).tolist() if len(counts) else []:
        plan = grouping.plan_in(folder, g)
        at = {row.tobytes(): k for k, row in enumerate(np.ascontiguousarray(grouping.group_in(folder, g).rows))}
        in_group = group_of_place[counts[:, 0]] == g
        of_class = np.full(len(keys), NO_PACKAGE, dtype=np.int64)
        falls = np.zeros(len(keys), dtype=bool)
        for c in np.unique(counts[in_group, 1]).tolist():
            of_class[c], falls[c] = plan.of_class[at[keys[c]]], plan.short[at[keys[c]]]
        here = np.flatnonzero((own != NOT_JUDGED) & (group_of_place[place] == g))
        what[here] = of_class[own[here]]
        short[here] = falls[own[here]]
        tier[here] = np.where(what[here] >= 0, what[here] + len(names), -1)
        names += plan.names
        options.append(plan.options)
        group += [g] * len(plan.names)
        local += range(len(plan.names))
    return Choice(
        np.array(names, dtype=object),
        np.vstack(options),
        tier,
        what == NO_HARDWARE,
        what == LEFT_OVER,
        short,
        np.array(group, dtype=np.int64),
        np.array(local, dtype=np.int64),
    )


# --- houses -------------------------------------------------------------------------------------------------------


def _rows_of_houses(
    folder: Path,
    common: Common,
    lines: Lines,
    numbers: Mapping[str, NDArray[Any]],
    choice: Choice,
    judged: _Judged,
    found: CodeFindings,
) -> tuple[dict[str, NDArray[Any]], Ints]:
    """Demand rows of all modelled lots in the order of the lots, and where each lot's rows begin (lots + 1,)."""
    texts: Texts = read_pickle(folder, TEXTS)
    house, modelled = numbers["house"], numbers["modelled"]
    present = np.unique(house[modelled]).tolist()
    held = {h: house_in(folder, h) for h in present}
    plans = {h: row_plan(held[h], lines, texts) for h in present}
    count = np.zeros(len(house), dtype=np.int64)
    for h in present:
        count[modelled & (house == h)] = plans[h].slots
    start = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    out = empty_rows(int(start[-1]))
    for h in present:
        here = np.flatnonzero(modelled & (house == h))
        _one_house(folder, common, lines, h, held[h], plans[h], here, start[here], numbers, choice, judged, found, out)
    return out, start


def _one_house(
    folder: Path,
    common: Common,
    lines: Lines,
    number: int,
    house: House,
    plan: RowPlan,
    here: NDArray[np.intp],
    start: Ints,
    numbers: Mapping[str, NDArray[Any]],
    choice: Choice,
    judged: _Judged,
    found: CodeFindings,
    out: dict[str, NDArray[Any]],
) -> None:
    table = house.table
    basis = load_basis(model_in(folder, number), hazards_in(dict(numbers), here))
    category = numbers["category"][here].astype(np.int64)
    demands = evaluate_house(table, basis, category, demands=True)
    tier = choice.tier[here]
    ratios = judge_packages(table, basis, category, choice.options, tier)
    none = np.full((1, choice.options.shape[1]), -1, dtype=np.int64)
    options = np.vstack([choice.options, none])[tier]
    fill_rows(out, start, plan, table, demands, ratios, category, options)
    _governing(table, demands, ratios, here, judged)
    _footings(table, demands, here, found)
    _finishes(common, lines, house, here, tier, choice, found)
    money, minutes, day = house.worth.of_packages(choice.options)
    served = tier >= 0
    for own, values in ((judged.cents, money), (judged.minutes, minutes), (judged.order_day, day)):
        own[here[served]] = values[tier[served]]


def _governing(table: Any, demands: HouseDemands, ratios: HouseRatios, here: NDArray[np.intp], judged: _Judged) -> None:
    """The hardest-worked connection of each lot, its ratio, and what drives it."""
    assert demands.case is not None
    at = ratios.governing_point.astype(np.int64)
    known = at >= 0
    lots = np.flatnonzero(known)
    names = np.array([p.name for p in table.points], dtype=object)
    first_row = np.concatenate([[0], np.cumsum([len(p.components) for p in table.points])])[:-1]
    case = ratios.ratio_case[lots, at[lots]].astype(np.int64)
    case = np.where(case >= 0, case, demands.case[lots, first_row[at[lots]]])
    offset = np.concatenate([[0], np.cumsum([len(p.case_hazards) for p in table.points])])[:-1]
    hazards = np.array([h for p in table.points for h in p.case_hazards], dtype=object)
    judged.point[here[lots]] = names[at[lots]]
    judged.hazard[here[lots]] = hazards[offset[at[lots]] + case]
    ratio = ratios.governing_ratio[lots]
    judged.ratio[here[lots]] = np.where(np.isfinite(ratio), ratio, np.nan)


def _footings(table: Any, demands: HouseDemands, here: NDArray[np.intp], found: CodeFindings) -> None:
    """Porch footings are judged by their own weight, which the demand already counts."""
    assert demands.largest is not None
    row = 0
    for p in table.points:
        if p.family == "post_footing":
            lots = np.zeros(found.lots, dtype=bool)
            lots[here] = demands.largest[:, row] > 0
            found.add("FOOTING", lots, "")
        row += len(p.components)


def _finishes(
    common: Common, lines: Lines, house: House, here: NDArray[np.intp], tier: Ints, choice: Choice, found: CodeFindings
) -> None:
    """Pieces of a lot's package without a coating, at treated sills and posts (IRC R317.3, from memory)."""
    model_points = house.treated_lines
    for t in np.unique(tier[tier >= 0]).tolist():
        chosen = [lines.options[n][choice.options[t, n]] for n in model_points if choice.options[t, n] >= 0]
        rows = [common.hardware.rows[o.row] for o in chosen if o.row >= 0]
        if any(r.text("corrosion").strip().casefold() in PLAIN_FINISHES for r in rows):
            lots = np.zeros(found.lots, dtype=bool)
            lots[here[tier == t]] = True
            found.add("CORROSION", lots, "")


# --- lots ---------------------------------------------------------------------------------------------------------


def _status(numbers: Mapping[str, NDArray[Any]], choice: Choice, found: CodeFindings) -> NDArray[np.object_]:
    usable = numbers["usable"].astype(bool)
    status = np.where(found.stopped() | found.referred(), REFER, SCREENED).astype(object)
    status[choice.no_hardware | choice.left_over] = STATUS_NO_HARDWARE
    status[~numbers["modelled"].astype(bool) | ~usable] = SKIPPED
    return status


def _lots_table(
    common: Common,
    lots: pa.Table,
    numbers: Mapping[str, NDArray[Any]],
    choice: Choice,
    judged: _Judged,
    found: CodeFindings,
    status: NDArray[np.object_],
) -> tuple[pa.Table, dict[str, Ints]]:
    """The finished lots table, and money and day of the start of each lot in whole numbers."""
    served = choice.tier >= 0
    usable = numbers["usable"].astype(bool)
    minutes, of_lot = np.unique(judged.minutes, return_inverse=True)
    labour = labour_cents(minutes, common.portfolio.base.purchase.labour_usd_per_h)[of_lot.reshape(-1)]
    total = np.where(served, judged.cents + labour, 0)
    start = day_numbers(numbers["start"])
    firm = served & ~numbers["bought"].astype(bool)
    first = np.where(firm & (start < NO_DATE), start + judged.order_day, NO_DATE)
    later = {
        "tier": np.append(choice.name, "")[choice.tier],
        "governing_point": judged.point,
        "governing_hazard": judged.hazard,
        "governing_ratio": judged.ratio,
        "hardware_cost": np.where(served, judged.cents / 100, np.nan),
        "labour_hours": np.where(served, judged.minutes / 60_000_000, np.nan),
        "total_cost": np.where(served, total / 100, np.nan),
        "flags": found.flags(),
        "status": status,
        "freeze_date": np.where(usable, numbers["start"], ""),
        "first_order_by": day_texts(first),
    }
    made = {name: arrow_column("lots", by_name("lots")[name], later[name]) for name in LATER}
    names = ["tract", "division", *(column.name for column in LOTS), "geometry"]
    columns = {name: made[name] if name in made else lots.column(name) for name in names}
    money = {
        "hardware_cents": np.where(served, judged.cents, 0),
        "total_cents": total,
        "minutes": np.where(served, judged.minutes, 0),
        "start_day": start,
    }
    return pa.table(columns), money


# --- shards -------------------------------------------------------------------------------------------------------


def _shards(
    folder: Path,
    number: int,
    finished: pa.Table,
    rows: tuple[dict[str, NDArray[Any]], Ints],
    texts: Texts,
    words: Mapping[bytes, bytes],
) -> Iterator[tuple[str, str]]:
    coded = ("tract", "division", *(c.name for c in LOTS if c.kind == "text" and c.name != "lot_id"))
    yield written(
        folder,
        f"out/lots/part-{number:06d}.parquet",
        lambda path: pq.write_table(
            finished, path, compression="zstd", compression_level=1, use_dictionary=list(coded), version="2.6"
        ),
    )
    yield written(
        folder,
        f"out/demands/part-{number:06d}.parquet",
        lambda path: write_demands(path, rows, texts, finished.column("tract"), finished.column("lot_id"), words),
    )


def _geo(crs: str) -> bytes:
    """The note that makes a Parquet file GeoParquet (1.1.0)."""
    column = {"encoding": "WKB", "geometry_types": ["MultiPolygon"], "crs": pyproj.CRS(crs).to_json_dict()}
    return json.dumps({"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}}).encode()


def write_demands(
    path: Path,
    rows: tuple[dict[str, NDArray[Any]], Ints],
    texts: Texts,
    tract: pa.ChunkedArray,
    lot_id: pa.ChunkedArray,
    words: Mapping[bytes, bytes],
) -> None:
    """Demand rows as Parquet: texts as dictionaries, numbers in single precision at their stated decimals."""
    columns, start = rows
    schema = demands_schema().with_metadata(dict(words))
    coded = [f.name for f in schema if pa.types.is_dictionary(f.type)]
    tracts, ids = tract.combine_chunks(), lot_id.combine_chunks()
    dictionaries = {
        name: pa.array(getattr(texts, name), pa.string()) for name in ("point", "component", "unit", "case", "item")
    }
    firsts = [0]
    while firsts[-1] < len(ids):
        last = int(np.searchsorted(start, start[firsts[-1]] + ROWS_AT_ONCE, side="right")) - 1
        firsts.append(min(max(last, firsts[-1] + 1), len(ids)))
    with pq.ParquetWriter(
        path, schema, compression="zstd", compression_level=1, use_dictionary=coded, version="2.6",
        write_statistics=["tract"], write_batch_size=PAGE_ROWS, data_page_size=PAGE_BYTES,
    ) as writer:  # fmt: skip
        for first, last in itertools.pairwise(firsts):
            part = slice(int(start[first]), int(start[last]))
            count = np.diff(start[first : last + 1])
            own = {name: values[part] for name, values in columns.items()}
            made: dict[str, pa.Array] = {
                "tract": repeated(tracts.slice(first, last - first), count),
                "lot_id": repeated(ids.slice(first, last - first), count),
            }
            for name, dictionary in dictionaries.items():
                made[name] = pa.DictionaryArray.from_arrays(_known(own[name], own[name] >= 0), dictionary)
            for name in ("demand", "capacity", "ratio"):
                made[name] = _known(own[name], ~np.isnan(own[name]))
            made["quantity"] = _known(own["quantity"], own["quantity"] >= 0)
            largest = np.fmax.reduce(own["ratio"], initial=0.0)
            if largest >= LARGEST_RATIO:
                raise ValueError(f"a ratio of {largest:,.0f}; expected less than {LARGEST_RATIO:,.0f}")
            writer.write_table(pa.table([made[f.name] for f in schema], schema=schema))


def repeated(texts: pa.Array, count: Ints) -> pa.DictionaryArray:
    """Each text as often as counted, as a dictionary that holds every text once.

    Lots of two tracts may have the same id. Of a dictionary that repeats a text the writer makes a page with room for
    all of it, fills in the distinct ones and leaves the rest as the memory happened to be.
    """
    coded = texts.dictionary_encode()
    return pa.DictionaryArray.from_arrays(pa.array(np.repeat(np.asarray(coded.indices), count)), coded.dictionary)


def _known(values: NDArray[Any], known: NDArray[np.bool_]) -> pa.Array:
    """Numbers as they lie in memory, null where they are not known."""
    if known.all():
        return pa.array(values)
    bits = pa.py_buffer(np.packbits(known, bitorder="little"))
    return pa.Array.from_buffers(pa.from_numpy_dtype(values.dtype), len(values), [bits, pa.py_buffer(values)])


def demands_schema() -> pa.Schema:
    """Columns of the demands data set: those of the table `demands`, with the tract before them."""
    kinds = {"text": pa.dictionary(pa.int32(), pa.string()), "number": pa.float32()}
    fields = [pa.field("tract", kinds["text"])]
    fields += [pa.field(c.name, pa.int32() if c.name == "quantity" else kinds[c.kind]) for c in DEMANDS]
    return pa.schema(fields)


def _exceptions(
    folder: Path,
    number: int,
    lots: pa.Table,
    numbers: Mapping[str, NDArray[Any]],
    found: CodeFindings,
    status: NDArray[np.object_],
) -> Iterator[tuple[str, str]]:
    """Lots that need a person."""
    place = numbers["place"]
    skipped = read_table(folder / f"first/{number:06d}.skipped.arrow").to_pandas()
    told = [
        (code, np.flatnonzero(mask))
        for (severity, code), mask in sorted(found.masks.items(), key=lambda m: (SEVERITIES.index(m[0][0]), m[0][1]))
        if severity != "note" and mask.any()
    ]
    kind = np.repeat(np.arange(len(told)), [len(own) for _, own in told])
    which = np.concatenate([np.zeros(0, dtype=np.intp), *(own for _, own in told)])
    known = [codes().get(code) for code, _ in told]
    texts = {
        "reason": [code for code, _ in told],
        "detail": [about.words if about else "" for about in known],
        "next_step": [about.next_step if about else "" for about in known],
    }
    ids = pd.Series(lots.column("lot_id").to_pandas(), dtype="str")
    flagged = pd.DataFrame({"place": place[which], "lot_id": ids.array.take(which)})
    flagged = flagged.assign(**{name: pd.array(words, dtype="str").take(kind) for name, words in texts.items()})
    rows = pd.concat([skipped, flagged], ignore_index=True).drop_duplicates()
    rows = rows.sort_values(["place", "lot_id", "reason", "detail"], kind="stable", ignore_index=True)
    table = pa.Table.from_pandas(rows, preserve_index=False)
    yield written(folder, EXCEPTION_ROWS.format(number), lambda path: write_table(table, path))


def _write_npz(path: Path, arrays: Mapping[str, NDArray[Any]]) -> None:
    with path.open("wb") as file:
        np.savez(file, **arrays)  # type: ignore[arg-type]


STATUSES = (SCREENED, REFER, STATUS_NO_HARDWARE, SKIPPED)


def _counts(
    numbers: Mapping[str, NDArray[Any]],
    status: NDArray[np.object_],
    money: Mapping[str, Ints],
    choice: Choice,
    division: Ints,
) -> dict[str, NDArray[Any]]:
    """Per tract of the chunk: lots by status and money. Per kit (tract, house, group, package): lots to buy, all.

    Per kit of a division and day of the start: lots to buy.
    """
    place = numbers["place"]
    places, of_lot = np.unique(place, return_inverse=True)
    by_status = np.stack([np.bincount(of_lot, status == s, len(places)) for s in STATUSES], axis=1).astype(np.int64)
    sums = [_sums(of_lot, money[name], len(places)) for name in ("hardware_cents", "total_cents", "minutes")]
    served = choice.tier >= 0
    tier = choice.tier[served]
    kit = np.column_stack([place[served], numbers["house"][served], choice.group[tier], choice.local[tier]])
    of_kit, kits, lots = requirement_classes(np.ascontiguousarray(kit.reshape(-1, 4).astype(np.uint64)))
    firm = ~numbers["bought"][served].astype(bool)
    to_buy = np.bincount(of_kit, firm, minlength=len(kits)).astype(np.int64)
    begun = np.column_stack([division[kit[:, 0]], kit[:, 1:], money["start_day"][served]])[firm]
    _, starts, wanted = requirement_classes(np.ascontiguousarray(begun.astype(np.uint64)))
    return {
        "places": np.column_stack([places, by_status, *sums]).astype(np.int64),
        "kits": np.column_stack([kits.astype(np.int64), to_buy, lots]),
        "starts": np.column_stack([starts.astype(np.int64), wanted]),
    }


def _sums(of_lot: NDArray[np.intp], values: Ints, size: int) -> Ints:
    out = np.zeros(size, dtype=np.int64)
    np.add.at(out, of_lot.reshape(-1), values)
    return out
