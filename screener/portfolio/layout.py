"""Which lots are worked on together: tracts in order of their place on the map, sites, and chunks of whole sites.

One light pass over the lots file reads tracts, houses and boxes of shapes; per lot only the number of its tract stays
in memory (4 bytes), and while the pass runs the middle of its box (8 bytes). A *site* is what shares raster windows and
a working system: a tract, or the tracts of one area of a quarter of a degree. It follows from the lots alone, so
results do not depend on the size of chunks, on workers or on the order of rows. Tracts are never split.

A second pass writes the rows of each chunk into files of its own (the spool), since rows of a chunk may stand anywhere
in the lots file.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import shapely
from numpy.typing import NDArray

from hazard.crs import lon_lat
from hazard.issues import Issues
from screener.lot_attributes import clean
from screener.portfolio.lot_stream import ROW, TRACT, LotStream, shapes_of

AREA_DEG = 0.25
NO_TRACT = "(no tract)"
MOST_TRACT_LOTS = 100_000
LEAST_CHUNK_LOTS, MOST_CHUNK_LOTS = 2_500, 25_000
OPEN_FILES = 200
HOUSE = ("plan", "style", "options")
Ints = NDArray[np.int64]
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class TractPlace:
    """A tract: name, division, number of rows, and the site that it belongs to."""

    name: str
    division: str
    lots: int
    site: int


@dataclass(frozen=True)
class Chunk:
    """A run of whole tracts: places from `first` to before `last`."""

    number: int
    first: int
    last: int
    lots: int


@dataclass(frozen=True)
class Layout:
    """Tracts in the order of all outputs, chunks of them, and the houses that lots ask for (plan, style, options)."""

    places: tuple[TractPlace, ...]
    chunks: tuple[Chunk, ...]
    houses: tuple[tuple[str, str, str], ...]
    together: str

    @property
    def lots(self) -> int:
        return sum(place.lots for place in self.places)

    @property
    def divisions(self) -> tuple[str, ...]:
        """Names of the divisions in order."""
        return tuple(sorted({place.division for place in self.places}))

    def division_of_places(self) -> Ints:
        """The number of every tract's division (tracts,)."""
        number = {name: n for n, name in enumerate(self.divisions)}
        return np.array([number[place.division] for place in self.places], dtype=np.int64)

    def sites(self, chunk: Chunk) -> Iterator[range]:
        """Places of each site of a chunk."""
        first = chunk.first
        for place in range(chunk.first, chunk.last):
            if place + 1 == chunk.last or self.places[place + 1].site != self.places[place].site:
                yield range(first, place + 1)
                first = place + 1


@dataclass
class _Scan:
    """What the light pass finds."""

    tracts: dict[str, int] = field(default_factory=dict)
    divisions: dict[int, set[str]] = field(default_factory=dict)
    houses: set[tuple[str, str, str]] = field(default_factory=set)
    codes: list[NDArray[np.int32]] = field(default_factory=list)
    middles: list[NDArray[np.float32]] = field(default_factory=list)


def lay_out(
    stream: LotStream, together: str, chunk_lots: int, issues: Issues, progress: Progress
) -> tuple[Layout, NDArray[np.int32]]:
    """The layout of a lots file, and the place of every row's tract (rows,)."""
    scan = _Scan()
    rows = 0
    for batch in stream.batches(_light_columns(stream)):
        _look_at(batch, stream, scan)
        rows += len(batch)
        progress(f"looking at the lots, {rows:,}", 0, 0)
    if not rows:
        issues.add("no_features", "stop", stream.where, "0 features", "at least one", "check the file")
        issues.raise_stops()
    codes = np.concatenate(scan.codes)
    cells = _cells(codes, np.concatenate(scan.middles), len(scan.tracts), stream)
    names = list(scan.tracts)
    order = sorted(range(len(names)), key=lambda t: (names[t] == NO_TRACT, cells[t], names[t]))
    counts = np.bincount(codes, minlength=len(names))
    places = _places(order, names, cells, counts, scan, together, stream, issues)
    rank = np.empty(len(names), dtype=np.int32)
    rank[order] = np.arange(len(names), dtype=np.int32)
    houses = tuple(sorted(scan.houses))
    return Layout(tuple(places), tuple(packed(places, chunk_lots)), houses, together), rank[codes]


def usual_chunk(lots: int) -> int:
    """Lots worked on together where nobody says: a tenth of them, so that no worker waits long for the last chunk.

    At most 25,000, beyond which nothing is saved, and at least 2,500, for each chunk reads the ground around it anew.
    """
    return min(MOST_CHUNK_LOTS, max(LEAST_CHUNK_LOTS, lots // 10))


def packed(places: list[TractPlace], chunk_lots: int = 0) -> Iterator[Chunk]:
    """Whole sites, one after the other, as long as a chunk has at most so many lots (0: the usual number)."""
    chunk_lots = chunk_lots or usual_chunk(sum(place.lots for place in places))
    first, lots, number = 0, 0, 0
    for n, place in enumerate(places):
        lots += place.lots
        last = n + 1 == len(places)
        ends_site = last or places[n + 1].site != place.site
        if ends_site and (last or lots + _next_site(places, n + 1) > chunk_lots):
            yield Chunk(number, first, n + 1, lots)
            first, lots, number = n + 1, 0, number + 1


def _next_site(places: list[TractPlace], first: int) -> int:
    """Lots of the site that begins at a place."""
    lots, site = 0, places[first].site
    for place in places[first:]:
        if place.site != site:
            break
        lots += place.lots
    return lots


def _light_columns(stream: LotStream) -> list[str]:
    houses = [stream.columns[name] for name in HOUSE if name in stream.columns]
    own = [stream.tract_column, *([stream.division_column] if stream.division_column else [])]
    return list(dict.fromkeys([*own, *houses, stream.shape]))


def _look_at(batch: pa.RecordBatch, stream: LotStream, scan: _Scan) -> None:
    place, names = _coded(batch.column(stream.tract_column))
    own = np.array([scan.tracts.setdefault(n or NO_TRACT, len(scan.tracts)) for n in names], dtype=np.int32)
    codes = own[place]
    scan.codes.append(codes)
    bounds = shapely.bounds(shapes_of(batch, stream.shape))
    scan.middles.append(((bounds[:, :2] + bounds[:, 2:]) / 2.0).astype(np.float32))
    if stream.division_column:
        where, divisions = _coded(batch.column(stream.division_column))
        for code in np.unique(codes.astype(np.int64) * len(divisions) + where):
            scan.divisions.setdefault(int(code // len(divisions)), set()).add(divisions[code % len(divisions)])
    asked = [_texts(batch.column(stream.columns[n])) if n in stream.columns else None for n in HOUSE]
    given = [a for a in asked if a is not None]
    if given:
        joined = pc.unique(pc.binary_join_element_wise(*given, pa.scalar("\x1f", pa.large_string())))
        for row in joined.to_pylist():
            cells = iter(row.split("\x1f"))
            plan, style, options = (clean(next(cells)) if a is not None else "" for a in asked)
            scan.houses.add((plan, style, options))


def _texts(column: pa.Array) -> pa.Array:
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    return pc.fill_null(column.cast(pa.large_string()), pa.scalar("", pa.large_string()))


def _coded(column: pa.Array) -> tuple[NDArray[np.int64], list[str]]:
    """Place of each row's text among the distinct ones, cleaned."""
    coded = _texts(column).dictionary_encode()
    return coded.indices.to_numpy().astype(np.int64), [clean(t) for t in coded.dictionary.to_pylist()]


def _cells(codes: NDArray[np.int32], middles: NDArray[np.float32], tracts: int, stream: LotStream) -> list[int]:
    """The area of each tract, as a number along a curve that keeps neighbours together: by its lots' median place.

    A lot that stands far off does not move its tract. A tract without any place comes last.
    """
    order = np.argsort(codes, kind="stable")
    starts = np.searchsorted(codes[order], np.arange(tracts + 1))
    median = np.full((tracts, 2), np.nan)
    for t in range(tracts):
        own = middles[order[starts[t] : starts[t + 1]]]
        own = own[np.isfinite(own).all(axis=1)]
        if len(own):
            median[t] = np.median(own.astype(np.float64), axis=0)
    with np.errstate(invalid="ignore"):
        degrees = np.where(np.isfinite(median), lon_lat(median, stream.crs), np.nan)
    return [_along_curve(lon, lat) for lon, lat in degrees.tolist()]


def _along_curve(lon: float, lat: float) -> int:
    """Bits of both coordinates in turn (a Z curve)."""
    if not (np.isfinite(lon) and np.isfinite(lat)):
        return 1 << 40
    x, y = int(np.floor((lon + 360.0) / AREA_DEG)), int(np.floor((lat + 180.0) / AREA_DEG))
    return sum(((x >> b) & 1) << (2 * b) | ((y >> b) & 1) << (2 * b + 1) for b in range(14))


def _places(
    order: list[int],
    names: list[str],
    cells: list[int],
    counts: Ints,
    scan: _Scan,
    together: str,
    stream: LotStream,
    issues: Issues,
) -> list[TractPlace]:
    places: list[TractPlace] = []
    site, before = -1, None
    for t in order:
        key = names[t] if together == "tract" or names[t] == NO_TRACT else cells[t]
        site, before = (site, before) if key == before else (site + 1, key)
        held = sorted(scan.divisions.get(t, {""}))
        if len(held) > 1 and names[t] != NO_TRACT:
            found = f"tract {names[t]} stands in divisions {', '.join(map(repr, held))}"
            issues.add("tract_divided", "stop", stream.where, found, "one division for each tract", "correct the lots")
        if counts[t] > MOST_TRACT_LOTS:
            found = f"tract {names[t]} has {counts[t]:,} lots"
            issues.add(
                "tract_too_large", "stop", stream.where, found, f"at most {MOST_TRACT_LOTS:,}", "split it in the file"
            )
        places.append(TractPlace(names[t], "" if names[t] == NO_TRACT else held[0], int(counts[t]), site))
    issues.raise_stops()
    return places


# --- the spool ----------------------------------------------------------------------------------------------------


def spool(stream: LotStream, layout: Layout, place_of_row: NDArray[np.int32], folder: Path, progress: Progress) -> None:
    """Write the rows of every chunk into files of its own, with their row number and tract."""
    chunk_of_place = np.concatenate([np.full(c.last - c.first, c.number) for c in layout.chunks])
    folder.mkdir(parents=True, exist_ok=True)
    done = 0
    with _Writers(folder) as writers:
        for batch in stream.batches([n for n in stream.names]):
            place = place_of_row[done : done + len(batch)]
            numbered = batch.append_column(ROW, pa.array(np.arange(done + 1, done + 1 + len(batch)), pa.int64()))
            numbered = numbered.append_column(TRACT, pa.array(place, pa.int32()))
            chunk = chunk_of_place[place]
            for number in np.unique(chunk).tolist():
                here = np.flatnonzero(chunk == number)
                whole = len(here) == len(batch)
                writers.write(number, numbered if whole else numbered.take(pa.array(here)))
            done += len(batch)
            progress("laying lots out by place", done, layout.lots)


class _Writers:
    """Open files of chunks; the one that was used longest ago is closed when there are too many."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.open: OrderedDict[int, pa.ipc.RecordBatchFileWriter] = OrderedDict()
        self.parts: dict[int, int] = {}

    def write(self, number: int, batch: pa.RecordBatch) -> None:
        writer = self.open.pop(number, None)
        if writer is None:
            part = self.parts[number] = self.parts.get(number, 0) + 1
            writer = pa.ipc.new_file(self.folder / f"{number:06d}-{part:04d}.arrow", batch.schema)
        self.open[number] = writer
        writer.write_batch(batch)
        if len(self.open) > OPEN_FILES:
            self.open.popitem(last=False)[1].close()

    def __enter__(self) -> _Writers:
        return self

    def __exit__(self, *_: object) -> None:
        for writer in self.open.values():
            writer.close()


def spooled(folder: Path, chunk: Chunk) -> pa.Table:
    """All rows of a chunk, sorted by tract and row."""
    tables = [
        pa.ipc.open_file(pa.memory_map(str(file))).read_all() for file in sorted(folder.glob(f"{chunk.number:06d}-*"))
    ]
    whole = pa.concat_tables(tables)
    return whole.take(pc.sort_indices(whole, sort_keys=[(TRACT, "ascending"), (ROW, "ascending")]))
