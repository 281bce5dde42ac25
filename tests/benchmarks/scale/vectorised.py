"""Comparison (b): the same job as an assembly of general libraries, vectorised as far as a day's work goes.

geopandas and exactextract for lots and zonal means (of rasters finer than a lot); scipy.sparse for the exposure counts
(cells of a window times a table of their wedge and ring, many lots at once); scipy.ndimage.map_coordinates for the
terrain profiles; numpy for filters, pressures, demands (matrix products) and option ratios; pyarrow and pyogrio for the
files. No kernel of the tool and no compiled code of its own. The rules are those the tool states in words.

Where numpy does not go: a profile on which some ground is steep and high enough to matter to the lot is searched for
crests by a plain reading (`tests.hazard.topography_reference`), one profile at a time; numpy tests first leave out all
others. That search is most of the time on hilly ground, so the benchmark also gives the ratio without it.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import pyproj
import rasterio
from exactextract import exact_extract
from numpy.typing import NDArray
from rasterio.windows import Window
from scipy import ndimage, sparse

from hazard.topography import _rules, _shape
from hazard.topography_settings import TopographySettings
from tests.benchmarks.scale.assembly_data import Data, HouseData, PointData
from tests.hazard import topography_reference as reading

sys.path.insert(0, str(Path(__file__).parents[2] / "recompute"))
import plain_tables as tables

Floats = NDArray[np.float64]
FOOT_M = 0.3048
RINGS, RING_FT, ROUGH_RINGS, SHARE, OPEN_GAP_RINGS, HALF = 56, 100.0, 15, 0.75, 6, 0.5
PART_FT = 35.0
RANK = {"B": 0, "C": 1, "?": 2, "D": 3}
LETTERS = np.array(["B", "C", "?", "D"])
SETTINGS = TopographySettings()
BATCH = 1000
SEARCH = "of it: search of crests"


@dataclass
class Outcome:
    """What the benchmark compares: per lot, in the order of the file."""

    letters: NDArray[np.str_]  # (n, 16)
    kzt: Floats  # (n, 16)
    hazards: dict[str, Floats]
    cheapest: NDArray[np.int64]  # (n, lines), -1 none holds, -2 the house has no such line
    seconds: dict[str, float] = field(default_factory=dict)
    apart: tuple[float, float] = (0.0, 0.0)  # wall and CPU seconds shown apart: the search of crests, or set-up


class Clock:
    """Wall and CPU seconds by stage."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self.cpu: dict[str, float] = {}

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        start, used = time.perf_counter(), time.process_time()
        yield
        self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start
        self.cpu[name] = self.cpu.get(name, 0.0) + time.process_time() - used


def run(folder: Path, data: Data, output: Path, lots: slice) -> Outcome:
    """Some lots of a portfolio from files to files."""
    clock = Clock()
    with clock.stage("read lots"):
        frame = gpd.read_parquet(folder / "lots.parquet").iloc[lots].reset_index(drop=True)
        shapes = frame.geometry.to_crs(frame.estimate_utm_crs())
        middle = shapes.centroid
        valid = shapes.is_valid.to_numpy()
        if not valid.all():
            raise ValueError(f"{(~valid).sum()} invalid lots")
        design = list(zip(*(frame[c].astype(str) for c in ("plan", "style", "options")), strict=True))
        height = np.array([data.houses[d].height_ft for d in design])
    with clock.stage("zonal means"):
        means = zonal_means(folder, frame)
    with clock.stage("exposure"):
        letters = exposure(folder, middle)
    with clock.stage("Kzt: profiles and filters"):
        ground = Terrain(folder / "elevation.tif", middle)
        found = ground.features(clock)
        kzt = ground.kzt(found, letters, height)
    with clock.stage("pressures"):
        hazards = pressures(means, letters, kzt, height, data.tract.hazards.ground_snow_psf.value)
    cheapest = np.full((len(frame), len(data.lines)), -2)
    governing = np.full(len(frame), -1)
    worst = np.zeros(len(frame))
    with clock.stage("demands, ratios, choice"):
        parts = []
        for house, rows, category in groups(design, hazards["category"], data):
            part = Evaluated(house, rows, basis_of(house, hazards, rows), category)
            cheapest[rows] = part.choose(len(data.lines))
            worst[rows], governing[rows] = part.governing()
            parts.append(part)
    with clock.stage("write"):
        write(output, frame, parts, data, hazards, letters, kzt, cheapest, worst)
    apart = (clock.seconds.get(SEARCH, 0.0), clock.cpu.get(SEARCH, 0.0))
    return Outcome(letters, kzt, hazards, cheapest, clock.cpu, apart)


# --- hazards --------------------------------------------------------------------------------------------------------


def zonal_means(folder: Path, frame: gpd.GeoDataFrame) -> dict[str, Floats]:
    """Area-weighted mean of the elevation over the lots; between the cells of the rasters coarser than a lot."""
    with rasterio.open(folder / "elevation.tif") as data:
        shapes = frame[["geometry"]].to_crs(data.crs)
    table = exact_extract(str(folder / "elevation.tif"), shapes, "mean", output="pandas")
    out = {"elevation": table["mean"].to_numpy()}
    middle = shapes.centroid
    for name, logarithm in (("wind", False), ("ss", True), ("s1", True)):
        with rasterio.open(folder / f"{name}.tif") as data:
            cells, t = data.read(1).astype(np.float64), data.transform
        at = [(middle.y - t.f) / t.e - 0.5, (middle.x - t.c) / t.a - 0.5]
        between = ndimage.map_coordinates(np.log(cells) if logarithm else cells, at, order=1)
        out[name] = np.exp(between) if logarithm else between
    return out


def true_axes(file: Path, middle: gpd.GeoSeries) -> tuple[Any, Floats, NDArray[np.float64]]:
    """The raster's transform, places (n, 2) as row and column, and cells (row, col) per true ft east and north."""
    with rasterio.open(file) as data:
        transform, crs = data.transform, data.crs
    lonlat = middle.to_crs("EPSG:4269")
    lon, lat = lonlat.x.to_numpy(), lonlat.y.to_numpy()
    to_map = pyproj.Transformer.from_crs("EPSG:4269", crs, always_xy=True)
    geod, ahead = pyproj.Geod(ellps="GRS80"), np.full(len(lon), 1000.0)
    x, y = to_map.transform(lon, lat)
    per_ft = np.empty((len(lon), 2, 2))
    for axis, bearing in enumerate((90.0, 0.0)):
        ends = []
        for turn in (0.0, 180.0):
            far_lon, far_lat, _ = geod.fwd(lon, lat, np.full(len(lon), bearing + turn), ahead)
            ends.append(np.stack(to_map.transform(far_lon, far_lat)))
        per_m = (ends[0] - ends[1]) / 2000.0
        per_ft[:, 0, axis] = per_m[1] / transform.e * FOOT_M
        per_ft[:, 1, axis] = per_m[0] / transform.a * FOOT_M
    places = np.stack([(y - transform.f) / transform.e, (x - transform.c) / transform.a], axis=1)
    return transform, places, per_ft


def window_around(file: Path, places: Floats, cells: int) -> tuple[NDArray[Any], int, int]:
    """The cells that the lots need, and the row and column they begin at."""
    low, high = np.floor(places.min(axis=0)).astype(int) - cells, np.ceil(places.max(axis=0)).astype(int) + cells
    with rasterio.open(file) as data:
        window = Window(low[1], low[0], high[1] - low[1], high[0] - low[0])
        return data.read(1, window=window, boundless=True, fill_value=data.nodata), int(low[0]), int(low[1])


def exposure(folder: Path, middle: gpd.GeoSeries) -> NDArray[np.str_]:
    """Letters (n, 16): counts of rough, smooth and unknown ground in wedges and rings by a sparse product."""
    _, places, per_ft = true_axes(folder / "cover.tif", middle)
    classes = pd.read_csv(folder / "classes.csv", comment="#")
    kinds = np.zeros(256, dtype=np.uint8)  # 0 unknown, 1 open, 2 rough, 3 smooth
    kinds[classes["code"]] = classes["roughness"].map({"C": 1, "B": 2, "D": 3})
    step = np.linalg.inv(per_ft[len(per_ft) // 2])[:, ::-1]  # true ft (east, north) of a cell right, down
    cell_ft = float(np.hypot(step[0], step[1]).max())
    parts = max(1, math.ceil(cell_ft / PART_FT - 1e-9))
    reach = math.ceil(RINGS * RING_FT / np.linalg.svd(step, compute_uv=False).min()) + 2
    cover, top, left = window_around(folder / "cover.tif", places, reach + 1)
    kind = kinds[cover]
    fine = np.floor(places * parts + 1e-9).astype(int)
    table_of = (fine[:, 0] % parts) * parts + fine[:, 1] % parts
    out = np.empty((len(places), 16), dtype="<U1")
    views = np.lib.stride_tricks.sliding_window_view(kind, (2 * reach + 1, 2 * reach + 1))
    for table in np.unique(table_of):
        counts, totals, distance = ring_table(step / parts, parts, int(table), reach)
        lots = np.flatnonzero(table_of == table)
        corner = fine[lots] // parts - [top, left] - reach
        spots, where = np.unique(corner, axis=0, return_inverse=True)
        letters = np.empty((len(spots), 16), dtype="<U1")
        for start in range(0, len(spots), BATCH):
            at = spots[start : start + BATCH]
            cells = views[at[:, 0], at[:, 1]].reshape(len(at), -1)
            letters[start : start + BATCH] = letters_of(cells, counts, totals, distance, cell_ft, cell_ft / parts)
        out[lots] = letters[where.ravel()]
    return out


def ring_table(step: Floats, parts: int, table: int, reach: int) -> tuple[sparse.csr_matrix, Floats, Floats]:
    """Half parts of each window cell in each bin (wedge, ring), their totals, and each cell's nearest part by bin."""
    far = (reach - 1) * parts
    cols, rows = (a.ravel() for a in np.meshgrid(np.arange(-far, far + 1), np.arange(-far, far + 1)))
    east, north = step[0, 0] * cols + step[0, 1] * rows, step[1, 0] * cols + step[1, 1] * rows
    distance = np.hypot(east, north)
    keep = (distance > 0.0) & (distance < RINGS * RING_FT - 1e-6)
    cols, rows, east, north, distance = (a[keep] for a in (cols, rows, east, north, distance))
    turns = np.degrees(np.arctan2(east, north)) % 360.0 / 22.5
    line = np.round(turns)
    on_line = np.abs(turns - line) * 22.5 < 1e-6
    first = np.where(on_line, line, np.floor(turns)).astype(int) % 16
    second = np.where(on_line, first - 1, first) % 16
    ring = np.floor(distance / RING_FT + 1e-8).astype(int)
    row_part, col_part = divmod(table, parts)
    cell = ((rows + row_part) // parts + reach) * (2 * reach + 1) + (cols + col_part) // parts + reach
    bins = np.concatenate([first * RINGS + ring, second * RINGS + ring])
    cells = np.tile(cell, 2)
    shape = (16 * RINGS, (2 * reach + 1) ** 2)
    counts = sparse.csr_matrix((np.ones(len(bins)), (bins, cells)), shape=shape)
    counts.sum_duplicates()
    near = np.full(shape[1], np.inf)
    np.minimum.at(near, cell, distance)
    return counts, np.asarray(counts.sum(axis=1)).ravel().reshape(16, RINGS), near


def letters_of(
    cells: NDArray[np.uint8], counts: sparse.csr_matrix, totals: Floats, near: Floats, cell_ft: float, part_ft: float
) -> NDArray[np.str_]:
    """Letters by direction of lots whose windows are given, (n, cells)."""
    n = len(cells)
    whole = totals + np.roll(totals, -1, axis=0)

    def in_sectors(kind: int) -> Floats:
        found = (counts @ (kind == cells.T).astype(np.float64)).reshape(16, RINGS, n)
        return np.moveaxis(found + np.roll(found, -1, axis=0), 2, 0)

    rough = in_sectors(2)
    share = rough[:, :, :ROUGH_RINGS].sum(axis=2) / whole[:, :ROUGH_RINGS].sum(axis=1)
    open_ring = rough[:, :, :ROUGH_RINGS] < HALF * whole[:, :ROUGH_RINGS]
    run = longest = np.zeros((n, 16))
    for ring in range(ROUGH_RINGS):
        run = np.where(open_ring[:, :, ring], run + 1, 0)
        longest = np.maximum(longest, run)
    rank = np.where((share >= SHARE) & (longest <= OPEN_GAP_RINGS), 0, 1)
    if (cells == 0).any():
        rank[in_sectors(0).sum(axis=2) > 0] = 2
    if (cells == 3).any():
        smooth = in_sectors(3)
        enough = (smooth >= HALF * whole) & (smooth > 0)
        for lot, sector in zip(*np.nonzero(enough.sum(axis=2) >= 30), strict=True):
            if rank[lot, sector] != 2 and is_smooth(
                smooth[lot, sector], enough[lot, sector], cells[lot], counts, near, sector, cell_ft, part_ft
            ):
                rank[lot, sector] = 3
    return LETTERS[np.maximum(np.roll(rank, 2, axis=1), rank)]


def is_smooth(
    smooth: Floats, enough: NDArray[np.bool_], cells: NDArray[np.uint8], counts: sparse.csr_matrix, near: Floats,
    sector: int, cell_ft: float, part_ft: float,
) -> bool:  # fmt: skip
    """Whether smooth ground begins within 600 ft and runs on for 5,000 ft, gaps to 200 ft bridged."""
    ring = 0
    while ring < RINGS:
        if not enough[ring]:
            ring += 1
            continue
        last = ring
        for k in range(ring + 1, RINGS):
            if (k - last - 1) * RING_FT > 200.0:
                break
            if enough[k]:
                last = k
        edge = ring
        while edge > 0 and smooth[edge - 1]:
            edge -= 1
        nearest = math.inf
        for wedge in (sector, (sector + 1) % 16):
            row = counts.getrow(wedge * RINGS + edge).indices
            mine = row[cells[row] == 3]
            if len(mine):
                nearest = min(nearest, max(edge * RING_FT, float(near[mine].min())))
        start = max(0.0, nearest - (cell_ft + part_ft) / 2.0)
        counted = max(start, (ring - 1) * RING_FT * math.cos(math.radians(45.0)))
        if start <= 600.0 and (last + 1) * RING_FT - counted >= 5000.0:
            return True
        ring = last + 1
    return False


class Terrain:
    """Profiles of all lots on one window of elevation, by map_coordinates; crests searched where they can matter."""

    def __init__(self, file: Path, middle: gpd.GeoSeries) -> None:
        transform, places, self.per_ft = true_axes(file, middle)
        self.step_ft = min(max(float(round(transform.a)), SETTINGS.finest_step_m), SETTINGS.coarsest_step_m) / FOOT_M
        self.up = math.ceil((SETTINGS.search_upwind_ft + SETTINGS.beyond_ft) / self.step_ft)
        self.down = math.ceil((SETTINGS.search_downwind_ft + SETTINGS.beyond_ft) / self.step_ft)
        grid, top, left = window_around(file, places, self.up + 4)
        self.grid = np.where(grid == -9999.0, np.nan, grid.astype(np.float64)) / FOOT_M
        self.places = places - [top + 0.5, left + 0.5]
        angle = np.radians(22.5 * np.arange(16))
        self.bearings = np.stack([np.sin(angle), np.cos(angle)], axis=1)
        self.rules, self.shape = _rules(SETTINGS, self.step_ft), _shape()

    def features(self, clock: Clock) -> list[tuple[int, int, list[Any]]]:
        """(lot, direction, features) of every profile that has any."""
        out = []
        for start in range(0, len(self.places), BATCH // 2):
            lots = np.arange(start, min(start + BATCH // 2, len(self.places)))
            z = self.profiles(lots)
            s = smoothed(z)
            wanted = np.argwhere(self.may_matter(z, s))
            with clock.stage(SEARCH):
                for lot, k in wanted:
                    found = Search(self, int(lots[lot])).features(int(k), z[lot, k], s[lot, k])
                    if found:
                        out.append((int(lots[lot]), int(k), found))
        return out

    def profiles(self, lots: NDArray[np.int64]) -> Floats:
        """Ground along the wind (lots, 16, samples), farthest upwind first; a line serves the winds from both ends."""
        along = np.arange(self.up, -self.up - 1, -1) * self.step_ft
        per_step = np.einsum("nij,kj->nki", self.per_ft[lots], self.bearings[:8])
        at = self.places[lots][:, None, None, :] + per_step[:, :, None, :] * along[:, None]
        line = ndimage.map_coordinates(self.grid, np.moveaxis(at, 3, 0), order=1, mode="constant", cval=np.nan)
        size = self.up + self.down + 1
        return np.concatenate([line[:, :, :size], line[:, :, ::-1][:, :, :size]], axis=1)

    def may_matter(self, z: Floats, s: Floats) -> NDArray[np.bool_]:
        """Profiles (lots, 16) on which some ground is high, steep and near enough to be a feature of the lot."""
        rules, slack = self.rules, 3.0 * np.abs(z - s).max(axis=2, keepdims=True) + 1.0
        high = s - np.minimum.accumulate(s, axis=2) + slack  # above the lowest ground upwind of it
        least_slope = (1.0 - rules.near) * rules.least_slope
        from_lot = (self.up - np.arange(s.shape[2])) * self.step_ft
        reach = np.where(from_lot >= 0.0, rules.reach_downwind, rules.reach_upwind) / least_slope
        able = (high >= (1.0 - rules.near) * rules.least_height_ft) & (np.abs(from_lot) <= reach * high)
        # somewhere upwind, within the greatest half length, it rises at half of the least slope or more
        steep = np.diff(z, axis=2, prepend=z[:, :, :1]) >= 0.5 * least_slope * self.step_ft
        index = np.arange(s.shape[2])
        last = np.maximum.accumulate(np.where(steep, index, -10_000), axis=2)
        near = (index - last) * self.step_ft <= high / least_slope + 3.0 * self.step_ft
        return np.asarray((able & near).any(axis=2))

    def kzt(self, found: list[tuple[int, int, list[Any]]], letters: NDArray[np.str_], height: Floats) -> Floats:
        """Figure 26.8-1 by direction, the greatest of the features that meet the conditions; 1 where there is none."""
        out = np.ones(letters.shape)
        for lot, k, features in found:
            out[lot, k] = max([1.0, *(value(one, letters[lot, k], height[lot]) for one in features)])
        return out


def value(one: Any, letter: str, z_ft: float) -> float:
    """Kzt of one feature in one exposure (unknown counts as the worst that a feature of this size gives)."""
    known = "D" if letter == "?" else letter
    if one.height < (60.0 if letter == "B" else 15.0) or one.height < 0.2 * one.length:
        return 1.0
    length, best = max(one.length, 2.0 * one.height), 1.0
    kinds = {0: ("ridge",), 1: ("escarpment",), 2: ("hill",), 3: ("ridge", "escarpment")}[one.form]
    for kind in kinds:
        if kind != "escarpment" and one.upper < 1.0:
            continue
        rates, gamma, up, down = tables.KZT[kind]
        k2 = max(0.0, 1.0 - abs(one.x) / ((up if one.x < 0.0 else down) * length))
        k1 = rates[known] * min(one.height / one.length, 0.5)
        best = max(best, (1.0 + k1 * k2 * math.exp(-gamma * z_ft / length)) ** 2)
    return best


def smoothed(z: Floats) -> Floats:
    """Mean of five samples along the last axis, of three and one at the ends."""
    out = z.copy()
    centre = z[..., 2:-2]
    out[..., 2:-2] = (
        centre
        + ((z[..., :-4] - centre) + (z[..., 1:-3] - centre) + (z[..., 3:-1] - centre) + (z[..., 4:] - centre)) / 5.0
    )
    for i in (1, -2):
        out[..., i] = z[..., i] + ((z[..., i - 1] - z[..., i]) + (z[..., i + 1] - z[..., i])) / 3.0
    return out


class Search(reading.Reader):
    """The plain reading of one profile, with the samples and the smoothing done for it."""

    def __init__(self, ground: Terrain, lot: int) -> None:
        reach = (ground.up * ground.step_ft - 1e-6, ground.down * ground.step_ft - 1e-6)
        super().__init__(ground.grid, ground.places[lot], ground.per_ft[lot], ground.bearings, reach)
        self.ground = ground

    def features(self, k: int, z: Floats, s: Floats) -> list[Any]:  # type: ignore[override]
        rules, shape = self.ground.rules, self.ground.shape
        found = reading.candidates(reading.Line(z, s, self.ground.up, rules))
        if rules.fine_step_ft < 0.99 * rules.step_ft and any(one.length < rules.fine_below_ft for one in found):
            fine, site = self.line(k, rules.fine_step_ft)
            stepped = rules._replace(step_ft=rules.fine_step_ft)
            found = reading.candidates(reading.Line(fine, smoothed(fine), site, stepped))
        hills = []
        for one in found:
            ridge = one.form == reading.RIDGE and reading.worth(one, 0.0, shape, rules, False) > 0
            hills.append(reading.replace(one, form=reading.HILL) if ridge and self.round_about(one, k, rules) else one)
        return [
            reading.replace(one, isolation=self.isolated(one, k, rules)) for one in reading.kept(hills, shape, rules)
        ]


def kz(h: Floats, letters: NDArray[np.str_], chapter_28: bool) -> Floats:
    """Table 26.10-1 by its note; Chapter 28 takes at least 0.70 in exposure B."""
    out = np.full(letters.shape, np.nan)
    for letter, (alpha, zg) in tables.KZ.items():
        own = 2.01 * (np.maximum(h, 15.0) / zg) ** (2.0 / alpha)
        own = np.maximum(own, tables.KZ_LEAST_B_CHAPTER_28) if chapter_28 and letter == "B" else own
        out = np.where(letters == letter, own[:, None], out)
    return out


def pressures(means: dict[str, Floats], letters: NDArray[np.str_], kzt: Floats, h: Floats, snow: Any) -> dict[str, Any]:
    """Velocity pressures, spectral values, categories."""
    ke = np.exp(-tables.KE_PER_FT * means["elevation"] / FOOT_M)
    out: dict[str, Any] = {"speed": means["wind"], "elevation_ft": means["elevation"] / FOOT_M}
    for name, floor in (("q_envelope_psf", True), ("q_components_psf", False)):
        product = (kz(h, letters, floor) * kzt).max(axis=1)
        out[name] = 0.00256 * product * tables.KD * ke * means["wind"] ** 2
    for name, curve, mapped in (("sds_g", tables.FA_D, means["ss"]), ("sd1_g", tables.FV_D, means["s1"])):
        x, y = (np.array(column) for column in zip(*curve, strict=True))
        out[name] = 2.0 / 3.0 * np.interp(mapped, x, y) * mapped
    out["s1_g"] = means["s1"]
    out["roof_snow_psf"] = np.full(len(h), 0.7 * 1.1 * float(snow))
    by = [by_limits(out[name], limits) for name, limits in (("sds_g", tables.SDC_BY_SDS), ("sd1_g", tables.SDC_BY_SD1))]
    sdc = np.where(by[0] > by[1], by[0], by[1])
    irc = by_limits(np.nextafter(out["sds_g"], -1.0), tables.SDC_RESIDENTIAL)
    out["sdc"] = sdc
    out["category"] = np.where(np.char.startswith(irc, "D"), irc, sdc)
    return out


def by_limits(values: Floats, limits: list[tuple[float, str]]) -> NDArray[np.str_]:
    """The name of the greatest limit that each value reaches."""
    return np.select([values >= least for least, _ in limits], [name for _, name in limits], "?").astype("<U2")


# --- demands and choice ---------------------------------------------------------------------------------------------


def groups(design: list[Any], category: NDArray[np.str_], data: Data) -> Iterator[tuple[HouseData, Any, str]]:
    """Lots that share a house and a category."""
    key = np.array(["|".join(d) + "|" + c for d, c in zip(design, category, strict=True)])
    names, where = np.unique(key, return_inverse=True)
    for n in range(len(names)):
        rows = np.flatnonzero(where == n)
        yield data.houses[design[rows[0]]], rows, str(category[rows[0]])


def basis_of(house: HouseData, hazards: dict[str, Any], rows: Any) -> Floats:
    """The hazard numbers of a house's forms, (lots, basis): ASCE 7-16 12.8 and 12.10 for its masses."""
    of = {name: np.asarray(values)[rows] for name, values in hazards.items()}
    sds, weights = of["sds_g"], np.tile(house.levels_lb, (len(rows), 1))
    snow = np.where(of["roof_snow_psf"] > 30.0, 0.2 * of["roof_snow_psf"], 0.0)
    weights = weights + snow[:, None] * house.snow_sqft
    cs = np.minimum(sds / house.r, of["sd1_g"] / (house.period_s * house.r))
    cs = np.maximum.reduce([cs, 0.044 * sds, np.full(len(rows), 0.01)])
    cs = np.maximum(cs, np.where(of["s1_g"] >= 0.6, 0.5 * of["s1_g"] / house.r, 0.0))
    if house.period_s > 0.5:
        raise ValueError("a house slower than 0.5 s: the exponent k is no longer 1")
    moments = weights * house.heights_ft
    forces = (cs * weights.sum(axis=1))[:, None] * moments / moments.sum(axis=1, keepdims=True)
    above, over = (np.cumsum(a[:, ::-1], axis=1)[:, ::-1] for a in (forces, weights))
    unit = sds[:, None] * weights
    diaphragm = np.clip(above / over * weights, 0.2 * unit, 0.4 * unit)
    rho = np.where(np.isin(of["sdc"], ["D", "E", "F"]), house.rho, 1.0)
    inside = tables.GCPI_ENCLOSED
    if (of["speed"] >= 140.0).any():
        raise ValueError("wind-borne debris region: not typed here")
    numbers = {
        "one": np.ones(len(rows)), "q_envelope_psf": of["q_envelope_psf"],
        "q_envelope_gcpi_psf": of["q_envelope_psf"] * inside, "q_components_psf": of["q_components_psf"],
        "q_components_gcpi_psf": of["q_components_psf"] * inside, "sds_g": sds, "sds_vertical_g": sds,
        "roof_snow_psf": of["roof_snow_psf"], "rho_cs": rho * cs,
        **{f"rho_storey_force_lb_{i + 1}": rho * forces[:, i] for i in range(weights.shape[1])},
        **{f"diaphragm_force_lb_{i + 1}": diaphragm[:, i] for i in range(weights.shape[1])},
    }  # fmt: skip
    return np.stack([numbers[name] for name in house.basis], axis=1)


class Evaluated:
    """One house on its lots: largest demands, ratios of all options, the cheapest that hold."""

    def __init__(self, house: HouseData, rows: Any, basis: Floats, category: str) -> None:
        self.house, self.rows, self.category = house, rows, category
        self.largest: list[Floats] = []
        self.case: list[NDArray[np.int64]] = []
        self.ratio: list[Floats] = []
        for point in house.points:
            values = forms(point, basis)
            self.case.append(values.argmax(axis=1))
            self.largest.append(np.maximum(values.max(axis=1), 0.0))
            self.ratio.append(option_ratios(values, point, category))
        places = {point.name: n for n, point in enumerate(house.points)}
        for n, point in enumerate(house.points):
            if point.cast_in >= 0:  # as hard as the best hold-down that anchors itself
                own = self.ratio[places[point.held_by]][:, list(point.anchoring)]
                self.ratio[n][:, point.cast_in] = own.min(axis=1) if point.anchoring else np.inf

    def choose(self, lines: int) -> NDArray[np.int64]:
        """Cheapest option of each line that holds at all its connections; -1 none, -2 no such line in the house."""
        out = np.full((len(self.rows), lines), -2)
        holds: dict[int, NDArray[np.bool_]] = {}
        for point, ratio in zip(self.house.points, self.ratio, strict=True):
            if point.line >= 0:
                passes = ratio <= 1.0
                holds[point.line] = holds[point.line] & passes if point.line in holds else passes
        for line, passes in holds.items():
            order = np.lexsort((np.arange(passes.shape[1]), self.house.costs[line]))
            first = passes[:, order].argmax(axis=1)
            out[:, line] = np.where(passes.any(axis=1), order[first], -1)
        self.chosen = out
        return out

    def governing(self) -> tuple[Floats, NDArray[np.int64]]:
        """Greatest ratio of the chosen options over the connections, and which connection has it."""
        ratios = np.stack([self.used(n) for n in range(len(self.house.points))], axis=1)
        return ratios.max(axis=1), ratios.argmax(axis=1)

    def used(self, n: int) -> Floats:
        """Ratio of the chosen option at one connection; 0 where none is chosen."""
        point = self.house.points[n]
        if point.line < 0:
            return np.zeros(len(self.rows))
        chosen = self.chosen[:, point.line]
        return np.where(chosen >= 0, self.ratio[n][np.arange(len(self.rows)), np.maximum(chosen, 0)], 0.0)


def forms(point: PointData, basis: Floats) -> Floats:
    """Demands (lots, cases, components) as matrix products."""
    cases, components, size = point.coefficients.shape
    values = basis @ point.coefficients.reshape(-1, size).T
    if point.ceiling is not None:
        values = np.minimum(values, basis @ point.ceiling.reshape(-1, size).T)
    return values.reshape(len(basis), cases, components)


def option_ratios(values: Floats, point: PointData, category: str) -> Floats:
    """(lots, options): sum over components of demand / allowable within a case, the greatest over cases."""
    wind, seismic = point.wind.get(category), point.seismic.get(category)
    if wind is None or seismic is None or not len(wind):
        return np.empty((len(values), 0))
    demand = np.maximum(values, 0.0)
    out = np.empty((len(values), len(wind)))
    pulls = demand > 0.0
    for option in range(len(wind)):
        if not point.usable[category][option]:
            out[:, option] = np.inf
            continue
        allowed = np.where(point.seismic_case[:, None], seismic[option], wind[option])
        term = np.where(pulls, np.where(np.isnan(allowed), np.inf, demand / allowed), 0.0)
        total = term.max(axis=2) if point.alone[category][option] else term.sum(axis=2)
        out[:, option] = total.max(axis=1)
    return out


# --- files ----------------------------------------------------------------------------------------------------------


def write(
    output: Path, frame: gpd.GeoDataFrame, parts: list[Evaluated], data: Data, hazards: dict[str, Any],
    letters: NDArray[np.str_], kzt: Floats, cheapest: NDArray[np.int64], worst: Floats,
) -> None:  # fmt: skip
    """Demands as Parquet (a row a lot, connection and component), lots with their governing ratio as GeoPackage."""
    output.mkdir(parents=True, exist_ok=True)
    columns: dict[str, list[Any]] = {
        name: [] for name in ("row", "point", "component", "demand", "case", "ratio", "option")
    }
    for part in parts:
        for n, point in enumerate(part.house.points):
            used = part.used(n).astype(np.float32)
            option = part.chosen[:, point.line] if point.line >= 0 else np.full(len(part.rows), -1)
            for c, component in enumerate(point.components):
                size = len(part.rows)
                columns["row"].append(part.rows)
                for name, text in (("point", point.name), ("component", component)):
                    columns[name].append(pa.DictionaryArray.from_arrays(pa.array(np.zeros(size, np.int32)), [text]))
                columns["demand"].append(part.largest[n][:, c].astype(np.float32))
                columns["case"].append(part.case[n][:, c].astype(np.int16))
                columns["ratio"].append(used)
                columns["option"].append(option.astype(np.int16))
    arrays = {
        name: pa.chunked_array(found).unify_dictionaries() if name in ("point", "component") else np.concatenate(found)
        for name, found in columns.items()
    }
    pq.write_table(pa.table(arrays), output / "demands.parquet", compression="zstd")
    lots = frame[["division", "tract", "lot_id", "plan", "style", "geometry"]].copy()
    for name in ("division", "tract", "plan", "style"):
        lots[name] = lots[name].astype(str)
    lots["exposure"] = ["".join(row) for row in letters]
    lots["kzt"], lots["ratio"] = kzt.max(axis=1), worst
    for name in ("speed", "sds_g", "q_envelope_psf", "q_components_psf"):
        lots[name] = hazards[name]
    lots["package"] = [",".join(map(str, row)) for row in cheapest]
    (output / "lots.gpkg").unlink(missing_ok=True)
    pyogrio.write_dataframe(lots, output / "lots.gpkg", layer="lots", use_arrow=True)
