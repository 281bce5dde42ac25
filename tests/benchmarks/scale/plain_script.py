"""Comparison (a): the same job as a plain script, lot after lot.

A zonal statistics library for the lots' elevation (exactextract), loops over cells for the exposure sectors, a profile
of the ground for each of 16 winds read point by point (`tests.hazard.topography_reference`), loops over cases and
options for demands, ratios and choice, and csv.writer for the rows. Coefficients and allowable loads come in as data
(`assembly_data`), as nested lists.
"""

from __future__ import annotations

import csv
import itertools
import math
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import rasterio
from exactextract import exact_extract
from numpy.typing import NDArray

from hazard.topography import _rules, _shape
from hazard.topography_settings import TopographySettings
from tests.benchmarks.scale.assembly_data import Data, HouseData, PointData
from tests.benchmarks.scale.vectorised import FOOT_M, PART_FT, Clock, Outcome, tables, value, window_around
from tests.hazard import topography_reference as reading

RINGS, RING_FT, RADIUS_FT, ROUGH_RINGS = 56, 100.0, 5600.0, 15
UNKNOWN, OPEN, ROUGH, SMOOTH = range(4)
RANK = "BC?D"


def run(folder: Path, data: Data, output: Path, lots: slice) -> Outcome:
    """Some lots of a portfolio, one by one, from files to files."""
    clock = Clock()
    with clock.stage("set up"):
        frame = gpd.read_parquet(folder / "lots.parquet").iloc[lots].reset_index(drop=True)
        shapes = frame.geometry.to_crs(frame.estimate_utm_crs())
        places = list(zip(shapes.centroid.to_crs("EPSG:4269").x, shapes.centroid.to_crs("EPSG:4269").y, strict=True))
        cover = Cover(folder, places)
        terrain = Ground(folder / "elevation.tif", places)
        houses = {design: Lists(house) for design, house in data.houses.items()}
        output.mkdir(parents=True, exist_ok=True)
    with clock.stage("zonal means"):
        columns = {"elevation": lot_means(folder / "elevation.tif", frame)}
        for name in ("wind", "ss", "s1"):
            columns[name] = between_cells(folder / f"{name}.tif", places, name != "wind")
    letters, kzts, numbers, cheapest = [], [], [], []
    with (
        (output / "lots.csv").open("w", newline="", encoding="utf-8") as lots_file,
        (output / "demands.csv").open("w", newline="", encoding="utf-8") as demands_file,
    ):
        lot_rows, demand_rows = csv.writer(lots_file), csv.writer(demands_file)
        for i, (lon, lat) in enumerate(places):
            lot = frame.iloc[[i]]
            means = {name: column[i] for name, column in columns.items()}
            house = houses[tuple(str(lot[c].iloc[0]) for c in ("plan", "style", "options"))]  # type: ignore[index]
            with clock.stage("exposure"):
                ways = cover.letters(lon, lat)
            with clock.stage("Kzt"):
                kzt = terrain.kzt(lon, lat, ways, house.data.height_ft)
            with clock.stage("demands, ratios, choice"):
                snow = float(data.tract.hazards.ground_snow_psf.value)  # type: ignore[union-attr,arg-type]
                found = site_numbers(means, ways, kzt, house.data.height_ft, snow)
                basis = basis_of(house.data, found)
                rows, chosen, worst = house.evaluate(basis, found["category"], len(data.lines))
            with clock.stage("write"):
                name = f"{lot['tract'].iloc[0]}-{lot['lot_id'].iloc[0]}"
                lot_rows.writerow([name, ways, max(kzt), worst, found["speed"], found["sds_g"], *chosen])
                demand_rows.writerows([name, *row] for row in rows)
            letters.append(list(ways))
            kzts.append(kzt)
            numbers.append(found)
            cheapest.append(chosen)
    hazards = {name: np.array([n[name] for n in numbers]) for name in numbers[0]}
    apart = (clock.seconds["set up"], clock.cpu["set up"])
    return Outcome(np.array(letters), np.array(kzts), hazards, np.array(cheapest), clock.cpu, apart)


def lot_means(file: Path, frame: gpd.GeoDataFrame) -> list[float]:
    with rasterio.open(file) as data:
        shapes = frame[["geometry"]].to_crs(data.crs)
    return [float(row["properties"]["mean"]) for row in exact_extract(str(file), shapes, "mean")]


def between_cells(file: Path, places: list[tuple[float, float]], logarithm: bool) -> list[float]:
    """Values between the four cell centres about each place, or their logarithm's, of a raster coarser than a lot."""
    with rasterio.open(file) as data:
        to_map, t, cells = (
            pyproj.Transformer.from_crs("EPSG:4269", data.crs, always_xy=True),
            data.transform,
            data.read(1),
        )
    out = []
    for lon, lat in places:
        x, y = to_map.transform(lon, lat)
        row, column = (y - t.f) / t.e - 0.5, (x - t.c) / t.a - 0.5
        i, j = math.floor(row), math.floor(column)
        total = 0.0
        for di, wr in ((0, i + 1 - row), (1, row - i)):
            for dj, wc in ((0, j + 1 - column), (1, column - j)):
                cell = float(cells[i + di, j + dj])
                total += wr * wc * (math.log(cell) if logarithm else cell)
        out.append(math.exp(total) if logarithm else total)
    return out


def cells_per_ft(data: Any, to_map: Any, lon: float, lat: float) -> tuple[tuple[float, float], list[list[float]]]:
    """Row and column of a place, and cells (row, column) per true ft east and north."""
    geod, t = pyproj.Geod(ellps="GRS80"), data.transform
    x, y = to_map.transform(lon, lat)
    per = [[0.0, 0.0], [0.0, 0.0]]
    for axis, bearing in enumerate((90.0, 0.0)):
        (ax, ay), (bx, by) = (
            to_map.transform(*geod.fwd(lon, lat, bearing + turn, 1000.0)[:2]) for turn in (0.0, 180.0)
        )
        per[0][axis] = (ay - by) / 2000.0 / t.e * FOOT_M
        per[1][axis] = (ax - bx) / 2000.0 / t.a * FOOT_M
    return ((y - t.f) / t.e, (x - t.c) / t.a), per


class Cover:
    """Classes of the land cover, and the lattice of cell parts around a lot with their bins."""

    def __init__(self, folder: Path, places: list[tuple[float, float]]) -> None:
        kinds = {}
        with (folder / "classes.csv").open(encoding="utf-8") as lines:
            for row in csv.DictReader(line for line in lines if not line.startswith("#")):
                kinds[int(row["code"])] = {"B": ROUGH, "C": OPEN, "D": SMOOTH}[row["roughness"]]
        file = folder / "cover.tif"
        with rasterio.open(file) as data:
            self.to_map = pyproj.Transformer.from_crs("EPSG:4269", data.crs, always_xy=True)
            self.transform, middle = data.transform, places[len(places) // 2]
            per = np.array(cells_per_ft(data, self.to_map, *middle)[1])
        step = np.linalg.inv(per)[:, ::-1]  # true ft (east, north) of a cell right, down
        self.cell_ft = float(np.hypot(step[0], step[1]).max())
        self.parts = math.ceil(self.cell_ft / PART_FT - 1e-9)
        spots = np.array([self.place(*place) for place in places])
        cells, self.top, self.left = window_around(file, spots, int(RADIUS_FT / self.cell_ft) + 4)
        self.kinds = [[kinds.get(code, UNKNOWN) for code in row] for row in cells.tolist()]
        self.lattice = self._lattice(step.tolist())
        self.total = [0] * (16 * RINGS)
        for _, _, _, one, two in self.lattice:
            self.total[one] += 1
            self.total[two] += 1

    def place(self, lon: float, lat: float) -> tuple[float, float]:
        x, y = self.to_map.transform(lon, lat)
        return (y - self.transform.f) / self.transform.e, (x - self.transform.c) / self.transform.a

    def _lattice(self, step: list[list[float]]) -> list[tuple[int, int, float, int, int]]:
        """Parts within the radius: row and column steps, distance, and the bins of their wedge (two on a line)."""
        k, out = self.parts, []
        reach = math.ceil(RADIUS_FT / (self.cell_ft / k)) + 2
        for i, j in itertools.product(range(-reach, reach + 1), repeat=2):
            east, north = (j * step[0][0] + i * step[0][1]) / k, (j * step[1][0] + i * step[1][1]) / k
            far = math.hypot(east, north)
            if 0.0 < far < RADIUS_FT - 1e-6:
                ring = math.floor(far / RING_FT + 1e-8)
                turns = math.degrees(math.atan2(east, north)) % 360.0 / 22.5
                line = round(turns)
                on_line = abs(turns - line) * 22.5 < 1e-6
                one, two = (line % 16, (line - 1) % 16) if on_line else (math.floor(turns) % 16,) * 2
                out.append((i, j, far, one * RINGS + ring, two * RINGS + ring))
        return out

    def letters(self, lon: float, lat: float) -> str:
        """Letters of the 16 winds."""
        row, column = self.place(lon, lat)
        k = self.parts
        i0 = math.floor(row * k + 1e-9) - self.top * k
        j0 = math.floor(column * k + 1e-9) - self.left * k
        counts = [[0] * (16 * RINGS) for _ in range(4)]
        nearest = [math.inf] * (16 * RINGS)
        for i, j, far, one, two in self.lattice:
            kind = self.kinds[(i0 + i) // k][(j0 + j) // k]
            counts[kind][one] += 1
            counts[kind][two] += 1
            if kind == SMOOTH:
                nearest[one] = min(nearest[one], far)
                nearest[two] = min(nearest[two], far)
        sectors = [self._sector(s, counts, nearest) for s in range(16)]
        return "".join(RANK[max(sectors[k - 2], sectors[k])] for k in range(16))

    def _sector(self, s: int, counts: list[list[int]], nearest: list[float]) -> int:
        one, two = s * RINGS, (s + 1) % 16 * RINGS
        if sum(counts[UNKNOWN][b + q] for b in (one, two) for q in range(RINGS)):
            return 2
        whole = [self.total[one + q] + self.total[two + q] for q in range(RINGS)]
        smooth = [counts[SMOOTH][one + q] + counts[SMOOTH][two + q] for q in range(RINGS)]
        if self._is_smooth(smooth, whole, [min(nearest[one + q], nearest[two + q]) for q in range(RINGS)]):
            return 3
        rough = [counts[ROUGH][one + q] + counts[ROUGH][two + q] for q in range(ROUGH_RINGS)]
        run = longest = 0
        for r, w in zip(rough, whole[:ROUGH_RINGS], strict=True):
            run = run + 1 if r < 0.5 * w else 0
            longest = max(longest, run)
        return 0 if sum(rough) >= 0.75 * sum(whole[:ROUGH_RINGS]) and longest <= 6 else 1

    def _is_smooth(self, smooth: list[int], whole: list[int], near: list[float]) -> bool:
        """Whether smooth ground begins within 600 ft and runs on for 5,000 ft."""
        q = 0
        while q < RINGS:
            if not smooth[q] or smooth[q] < 0.5 * whole[q]:
                q += 1
                continue
            last = q
            for k in range(q + 1, RINGS):
                if (k - last - 1) * RING_FT > 200.0:
                    break
                if smooth[k] and smooth[k] >= 0.5 * whole[k]:
                    last = k
            edge = q
            while edge > 0 and smooth[edge - 1]:
                edge -= 1
            start = max(0.0, near[edge] - (self.cell_ft + self.cell_ft / self.parts) / 2.0)
            counted = max(start, (q - 1) * RING_FT * math.cos(math.radians(45.0)))
            if start <= 600.0 and (last + 1) * RING_FT - counted >= 5000.0:
                return True
            q = last + 1
        return False


class Ground:
    """The elevation around the lots, read wind by wind."""

    def __init__(self, file: Path, places: list[tuple[float, float]]) -> None:
        self.words = TopographySettings()
        self.data = rasterio.open(file)
        self.to_map = pyproj.Transformer.from_crs("EPSG:4269", self.data.crs, always_xy=True)
        step_m = min(max(float(round(self.data.transform.a)), self.words.finest_step_m), self.words.coarsest_step_m)
        self.rules, self.shape = _rules(self.words, step_m / FOOT_M), _shape()
        self.reach = tuple(
            d + self.words.beyond_ft for d in (self.words.search_upwind_ft, self.words.search_downwind_ft)
        )
        spots = np.array([cells_per_ft(self.data, self.to_map, *place)[0] for place in places])
        cells, self.top, self.left = window_around(file, spots, math.ceil(self.reach[0] * FOOT_M / step_m) + 4)
        self.grid = np.where(cells == self.data.nodata, np.nan, cells.astype(np.float64)) / FOOT_M

    def kzt(self, lon: float, lat: float, ways: str, z_ft: float) -> list[float]:
        (row, column), per = cells_per_ft(self.data, self.to_map, lon, lat)
        place = np.array([row - self.top - 0.5, column - self.left - 0.5])
        angle = np.radians(22.5 * np.arange(16))
        bearings = np.stack([np.sin(angle), np.cos(angle)], axis=1)
        reader = reading.Reader(self.grid, place, np.array(per), bearings, self.reach)  # type: ignore[arg-type]
        out = []
        for k in range(16):
            found = reader.features(k, self.shape, self.rules)
            out.append(max([1.0, *(value(one, ways[k], z_ft) for one in found)]))
        return out


def site_numbers(means: dict[str, float], ways: str, kzt: list[float], h: float, snow: float) -> dict[str, Any]:
    """Pressures, spectral values, categories of one lot."""
    elevation_ft = means["elevation"] / FOOT_M
    ke = math.exp(-tables.KE_PER_FT * elevation_ft)
    out: dict[str, Any] = {"speed": means["wind"], "elevation_ft": elevation_ft, "s1_g": means["s1"]}
    for name, floor in (("q_envelope_psf", True), ("q_components_psf", False)):
        best = max(kz(h, letter, floor) * k for letter, k in zip(ways, kzt, strict=True))
        out[name] = 0.00256 * best * tables.KD * ke * means["wind"] ** 2
    out["sds_g"] = 2.0 / 3.0 * tables.on_curve(tables.FA_D, means["ss"]) * means["ss"]
    out["sd1_g"] = 2.0 / 3.0 * tables.on_curve(tables.FV_D, means["s1"]) * means["s1"]
    out["roof_snow_psf"] = 0.7 * 1.1 * snow
    by = [
        next(c for least, c in limits if out[name] >= least)
        for name, limits in (("sds_g", tables.SDC_BY_SDS), ("sd1_g", tables.SDC_BY_SD1))
    ]
    irc = next(c for above, c in tables.SDC_RESIDENTIAL if out["sds_g"] > above)
    out["sdc"] = max(by)
    out["category"] = irc if irc.startswith("D") else out["sdc"]
    return out


def kz(h: float, letter: str, chapter_28: bool) -> float:
    if letter == "?":
        return math.nan
    alpha, zg = tables.KZ[letter]
    own = 2.01 * (max(h, 15.0) / zg) ** (2.0 / alpha)
    return max(own, tables.KZ_LEAST_B_CHAPTER_28) if chapter_28 and letter == "B" else own


def basis_of(house: HouseData, n: dict[str, Any]) -> list[float]:
    """The hazard numbers of a house's forms, by its masses (ASCE 7-16 12.8, 12.10)."""
    sds, inside = n["sds_g"], tables.GCPI_ENCLOSED
    snow = 0.2 * n["roof_snow_psf"] if n["roof_snow_psf"] > 30.0 else 0.0
    weights = [w + snow * a for w, a in zip(house.levels_lb.tolist(), house.snow_sqft.tolist(), strict=True)]
    cs = min(sds / house.r, n["sd1_g"] / (house.period_s * house.r))
    cs = max(cs, 0.044 * sds, 0.01, 0.5 * n["s1_g"] / house.r if n["s1_g"] >= 0.6 else 0.0)
    moments = [w * h for w, h in zip(weights, house.heights_ft.tolist(), strict=True)]
    forces = [cs * sum(weights) * m / sum(moments) for m in moments]
    rho = house.rho if n["sdc"] in "DEF" else 1.0
    floors = [
        min(max(sum(forces[i:]) / sum(weights[i:]) * w, 0.2 * sds * w), 0.4 * sds * w) for i, w in enumerate(weights)
    ]
    numbers = {
        "one": 1.0, "q_envelope_psf": n["q_envelope_psf"], "q_envelope_gcpi_psf": n["q_envelope_psf"] * inside,
        "q_components_psf": n["q_components_psf"], "q_components_gcpi_psf": n["q_components_psf"] * inside,
        "sds_g": sds, "sds_vertical_g": sds, "roof_snow_psf": n["roof_snow_psf"], "rho_cs": rho * cs,
        **{f"rho_storey_force_lb_{i + 1}": rho * f for i, f in enumerate(forces)},
        **{f"diaphragm_force_lb_{i + 1}": f for i, f in enumerate(floors)},
    }  # fmt: skip
    return [numbers[name] for name in house.basis]


class Lists:
    """A house as nested lists: only the coefficients that are not zero."""

    def __init__(self, house: HouseData) -> None:
        self.data = house
        self.forms = [sparse_rows(point.coefficients) for point in house.points]
        self.tops = [None if p.ceiling is None else sparse_rows(p.ceiling) for p in house.points]
        self.costs = {line: cost.tolist() for line, cost in house.costs.items()}
        self.seismic_case = [p.seismic_case.tolist() for p in house.points]
        self.allowed = [
            {c: (p.wind[c].tolist(), p.seismic[c].tolist(), p.usable[c].tolist(), p.alone[c].tolist()) for c in p.wind}
            for p in house.points
        ]

    def evaluate(self, basis: list[float], category: str, lines: int) -> tuple[list[list[Any]], list[int], float]:
        """Demand rows of the connections, the cheapest option of each line, the greatest ratio."""
        points = self.data.points
        demands, ratios = [], []
        for n in range(len(points)):
            values = self.values(n, basis)
            demands.append(values)
            ratios.append(self.ratios(n, values, category))
        places = {point.name: n for n, point in enumerate(points)}
        for n, point in enumerate(points):
            if point.cast_in >= 0:
                own = [ratios[places[point.held_by]][o] for o in point.anchoring]
                ratios[n][point.cast_in] = min(own, default=math.inf)
        chosen = self.choose(ratios, lines)
        rows, worst = [], 0.0
        for n, point in enumerate(points):
            option = chosen[point.line] if point.line >= 0 else -1
            ratio = ratios[n][option] if option >= 0 else 0.0
            worst = max(worst, ratio)
            for c, component in enumerate(point.components):
                column = [case[c] for case in demands[n]]
                largest = max(column)
                rows.append([point.name, component, max(largest, 0.0), column.index(largest), ratio, option])
        return rows, chosen, worst

    def values(self, n: int, basis: list[float]) -> list[list[float]]:
        """Demands of one connection by case and component."""
        out, tops = [], self.tops[n]
        for i, case in enumerate(self.forms[n]):
            row = [sum(a * basis[k] for k, a in form) for form in case]
            if tops is not None:
                row = [min(v, sum(a * basis[k] for k, a in form)) for v, form in zip(row, tops[i], strict=True)]
            out.append(row)
        return out

    def ratios(self, n: int, values: list[list[float]], category: str) -> list[float]:
        """Ratio of every option at one connection."""
        allowed = self.allowed[n].get(category)
        if allowed is None:
            return []
        wind, seismic, usable, alone = allowed
        out = []
        for option in range(len(wind)):
            worst = 0.0 if usable[option] else math.inf
            if usable[option]:
                for case, quakes in zip(values, self.seismic_case[n], strict=True):
                    total = 0.0
                    for value_, holds in zip(case, (seismic if quakes else wind)[option], strict=True):
                        if value_ > 0.0:
                            term = math.inf if holds != holds else value_ / holds
                            total = max(total, term) if alone[option] else total + term
                    worst = max(worst, total)
            out.append(worst)
        return out

    def choose(self, ratios: list[list[float]], lines: int) -> list[int]:
        """Cheapest option of each line that holds at all its connections; -1 none, -2 no such line."""
        out = [-2] * lines
        for line, cost in self.costs.items():
            mine = [ratios[n] for n, point in enumerate(self.data.points) if point.line == line]
            if mine:
                holding = [o for o in range(len(cost)) if all(ratio[o] <= 1.0 for ratio in mine)]
                out[line] = min(holding, key=lambda o: (cost[o], o), default=-1)
        return out


def sparse_rows(coefficients: NDArray[np.float64]) -> list[list[list[tuple[int, float]]]]:
    """Forms by case and component as lists of (place in the basis, coefficient)."""
    return [[[(k, a) for k, a in enumerate(form) if a] for form in case] for case in coefficients.tolist()]


__all__ = ["Lists", "PointData", "run"]
