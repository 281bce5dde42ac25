"""Exposure letters of a lot in 16 wind directions, by counting cells in wedges and rings (ASCE 7-16 26.7).

The rules are those the tool states: 22.5 degree wedges two of which make a sector, rings of 100 ft, rough ground
prevails at 75 percent with no open stretch above 600 ft; B over 1,500 ft, D over 5,000 ft beginning within 600 ft.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import plain_ground as pg

Thing = dict[str, Any]
RING_FT, RINGS, RADIUS_FT = 100.0, 56, 5600.0  # 600 ft and 5,000 ft, for mean roof heights to 30 ft
ROUGH_RINGS, ROUGH_SHARE, OPEN_GAP_FT = 15, 0.75, 600.0
SMOOTH_GAP_FT, SMOOTH_FT, SMOOTH_WITHIN_FT, HALF = 200.0, 5000.0, 600.0, 0.5
PART_FT = 35.0
OPEN, ROUGH, SMOOTH, FIRST_PHASE = 0, 1, 2, 3
SEVERITY = {"B": 0, "C": 1, "D": 2}


class Ground:
    """Cell classes of the land cover with phases and water burnt in, and the lattice of parts around a lot."""

    def __init__(self, folder: Path, axes: tuple[tuple[float, float], tuple[float, float]]) -> None:
        self.cover = pg.Raster(folder / "land_cover.tif")
        letters = {}
        with (folder / "classes.csv").open(encoding="utf-8") as lines:
            for row in csv.DictReader(line for line in lines if not line.startswith("#")):
                letters[int(row["code"])] = row["roughness"]
        phases = sorted(pg.read_layer(folder / "phases.gpkg"), key=lambda row: int(row["phase"]))
        water = pg.read_layer(folder / "water.gpkg")
        self.phases = [row["phase"] for row in phases]
        self.cells = []
        for i, line in enumerate(self.cover.rows):
            y = self.cover.top + (i + 0.5) * self.cover.dy
            classes = []
            for j, code in enumerate(line):
                x = self.cover.left + (j + 0.5) * self.cover.dx
                kind = {"B": ROUGH, "C": OPEN, "D": SMOOTH}[letters[code]]
                if kind != SMOOTH:
                    for p, row in enumerate(phases):
                        if pg.inside(row["rings"], x, y):
                            kind = FIRST_PHASE + p
                if any(pg.inside(row["rings"], x, y) for row in water):
                    kind = SMOOTH
                classes.append(kind)
            self.cells.append(classes)
        (ex, nx), (ey, ny) = axes
        right, down = (self.cover.dx * ex, self.cover.dx * nx), (self.cover.dy * ey, self.cover.dy * ny)
        self.cell_ft = max(math.hypot(right[0], down[0]), math.hypot(right[1], down[1]))
        self.parts = math.ceil(self.cell_ft / PART_FT - 1e-9)
        self.lattice = self._lattice(right, down)

    def _lattice(self, right: tuple[float, float], down: tuple[float, float]) -> list[tuple[int, int, float, int, int]]:
        """Parts within the radius: column and row steps, distance, and the bins of their wedge (two on a line)."""
        k, out = self.parts, []
        reach = math.ceil(RADIUS_FT / (self.cell_ft / k)) + 2
        for i in range(-reach, reach + 1):
            for j in range(-reach, reach + 1):
                east = (j * right[0] + i * down[0]) / k
                north = (j * right[1] + i * down[1]) / k
                far = math.hypot(east, north)
                if not 0.0 < far < RADIUS_FT - 1e-6:
                    continue
                ring = math.floor(far / RING_FT + 1e-8)
                turns = math.degrees(math.atan2(east, north)) % 360.0 / 22.5
                line = round(turns)
                if abs(turns - line) * 22.5 < 1e-6:
                    one, two = line % 16, (line - 1) % 16
                else:
                    one = two = math.floor(turns) % 16
                out.append((j, i, far, one * RINGS + ring, two * RINGS + ring))
        return sorted(out, key=lambda part: part[2])

    def count(self, x: float, y: float) -> tuple[list[list[int]], list[float]]:
        """Half parts of each class in every bin about a lot, and the nearest smooth part of the bin."""
        row, column = self.cover.place(x, y)
        k = self.parts
        i0, j0 = math.floor(row * k + 1e-9), math.floor(column * k + 1e-9)
        counts = [[0] * (16 * RINGS) for _ in range(FIRST_PHASE + len(self.phases))]
        nearest = [math.inf] * (16 * RINGS)
        cells = self.cells
        for j, i, far, one, two in self.lattice:
            kind = cells[(i0 + i) // k][(j0 + j) // k]
            bins = counts[kind]
            bins[one] += 1
            bins[two] += 1
            if kind == SMOOTH:
                nearest[one] = min(nearest[one], far)
                nearest[two] = min(nearest[two], far)
        return counts, nearest

    def letters(self, x: float, y: float) -> dict[str, Thing]:
        """By state of the ground: letter of each direction, the worst, and the least share of its deciding sectors."""
        counts, nearest = self.count(x, y)
        total = [sum(c[b] for c in counts) for b in range(16 * RINGS)]
        n = len(self.phases)
        states = [("today", 0), *((f"after {name}", k + 1) for k, name in enumerate(self.phases)), ("built out", n)]
        out = {}
        for state, built in states:
            sectors, shares = [], []
            for s in range(16):
                one, two = s * RINGS, (s + 1) % 16 * RINGS
                whole = [total[one + q] + total[two + q] for q in range(RINGS)]
                rough = [
                    sum(counts[kind][one + q] + counts[kind][two + q] for kind in (ROUGH, *range(3, 3 + built)))
                    for q in range(RINGS)
                ]
                smooth = [counts[SMOOTH][one + q] + counts[SMOOTH][two + q] for q in range(RINGS)]
                near = [min(nearest[one + q], nearest[two + q]) for q in range(RINGS)]
                share = sum(rough[:ROUGH_RINGS]) / sum(whole[:ROUGH_RINGS])
                d = self.is_smooth(smooth, whole, near)
                b = share >= ROUGH_SHARE and longest_open(rough, whole) * RING_FT <= OPEN_GAP_FT
                sectors.append("D" if d else "B" if b else "C")
                shares.append(share)
            ways = [max(sectors[k - 2], sectors[k], key=lambda v: SEVERITY[v]) for k in range(16)]
            worst = max(ways, key=lambda v: SEVERITY[v])
            out[state] = {"ways": "".join(ways), "worst": worst, "sectors": sectors, "shares": shares}
        return out

    def is_smooth(self, smooth: list[int], whole: list[int], near: list[float]) -> bool:
        """Whether smooth ground begins within 600 ft and runs on for 5,000 ft."""
        part_ft = self.cell_ft / self.parts
        q = 0
        while q < RINGS:
            if not smooth[q] or smooth[q] < HALF * whole[q]:
                q += 1
                continue
            first = last = q
            for k in range(q + 1, RINGS):
                if (k - last - 1) * RING_FT > SMOOTH_GAP_FT:
                    break
                if smooth[k] and smooth[k] >= HALF * whole[k]:
                    last = k
            edge = first
            while edge > 0 and smooth[edge - 1]:
                edge -= 1
            start = max(0.0, near[edge] - (self.cell_ft + part_ft) / 2.0)
            counted = max(start, (first - 1) * RING_FT * math.cos(math.radians(45.0)))
            if start <= SMOOTH_WITHIN_FT and (last + 1) * RING_FT - counted >= SMOOTH_FT:
                return True
            q = last + 1
        return False


def longest_open(rough: list[int], whole: list[int]) -> int:
    """Longest run of rings mostly not rough within the distance of B."""
    run = most = 0
    for r, w in zip(rough[:ROUGH_RINGS], whole[:ROUGH_RINGS], strict=True):
        run = run + 1 if r < HALF * w else 0
        most = max(most, run)
    return most


def worst_state(states: dict[str, Thing]) -> str:
    """The most exposed state; at a tie the one with less rough ground in its deciding sectors, then the earlier."""

    def key(name: str) -> tuple[int, float]:
        s = states[name]
        share = min(v for v, letter in zip(s["shares"], s["sectors"], strict=True) if letter == s["worst"])
        return SEVERITY[s["worst"]], -share

    best = None
    for name in states:
        if best is None or key(name) > key(best):
            best = name
    assert best is not None
    return best
