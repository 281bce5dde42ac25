"""How far rough ground, smooth ground and known ground reach upwind of each lot.

The ground around a lot is counted cell by cell in 16 wedges of 22.5 degrees and rings of 100 ft; two neighbouring
wedges make one 45 degree sector, as ASCE 7-16 26.7.2 asks. Kept per sector are distances and shares, not letters: the
letter also depends on the mean roof height of the plan, which changes more often than the ground.

Method and choices (all of them fields of `ExposureRules`)

* Distances and bearings are true ones: the raster's own axes are turned and stretched by the local relation between
  its CRS and the ground, so a CRS with grid convergence or with a scale other than one gives the same answer.
* A raster cell larger than `sub_cell_ft` is counted as several equal parts, and a lot stands at the centre of the part
  it falls in. Lots in the same part share one count. Cells much smaller are summed into blocks first.
* A part whose centre lies exactly on the line between two wedges counts half in each, so mirrored ground gives mirrored
  answers.
* `prevails` has no number in the standard. Rough ground prevails over a distance L when its share of the ground in the
  sector from 0 to L is at least `rough_share` and no run of mostly open rings is longer than `open_gap_ft`. A tall
  plan needs that over the short distance too, so that a taller plan is never less exposed than a lower one.
* Smooth ground (roughness D) is a run of rings with at least `smooth_ring_share` of it; gaps up to `smooth_gap_ft` are
  bridged. It begins at the nearest smooth cell that touches the run, less one cell; it ends with the last ring.
* Ground that is not known (outside the raster, no data, a class code without a roughness) is never guessed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from hazard.crs import transform_xy
from hazard.exposure_rules import ExposureRules
from hazard.ground_axes import ground_axes_over_ft
from hazard.land_cover import ROUGH_B, ROUGH_D, UNKNOWN, RoughnessMap, pixel_coordinates

if TYPE_CHECKING:
    import pyproj

N_WEDGES = 16
WEDGE_DEG = 360.0 / N_WEDGES

# Counts of three classes travel together in one word: 21 bits each of 64, or 10 bits each of 32 where that suffices.
_LANES_PER_WORD = 3
_LANE_BITS, _SHORT_LANE_BITS = 64 // _LANES_PER_WORD, 32 // _LANES_PER_WORD
_LANE_MASK, _SHORT_LANE_MASK = (1 << _LANE_BITS) - 1, (1 << _SHORT_LANE_BITS) - 1
_LANE_ROUGH, _LANE_SMOOTH, _LANE_UNKNOWN, _FIRST_PHASE_LANE = 0, 1, 2, 3

_COARSEST_CELL_FT = 350.0
_ON_A_LINE_DEG = 1e-6
_ON_A_RING_FT = 1e-6
_COS_SECTOR = math.cos(math.radians(45.0))


@dataclass(frozen=True)
class Fetch:
    """Fetch quantities of m places by 16 sectors; `place` says which place each lot stands on (-1: off the raster).

    Sector s covers the bearings 22.5 s to 22.5 s + 45 degrees, clockwise from true north, looking upwind.
    The last axis of the `rough_*` arrays is the distance of B: 0 for h <= 30 ft (1,500 ft), 1 for taller (2,600 ft).
    """

    rules: ExposureRules
    greatest_height_ft: float
    place: np.ndarray  # (n,) int64
    rough_share: np.ndarray  # (m, 16, 2) share of roughness B from 0 to the distance of B
    rough_run_ft: np.ndarray  # (m, 16, 2) how far B prevails: at least the distance when met, less when not
    open_gap_ft: np.ndarray  # (m, 16, 2) longest run of open rings within the distance of B
    smooth_start_ft: np.ndarray  # (m, 16) nearest run of D that is long enough; inf = none
    smooth_length_ft: np.ndarray  # (m, 16) its length within the search; 0 = none
    longest_smooth_start_ft: np.ndarray  # (m, 16) the longest run of D, long enough or not; inf = no D
    longest_smooth_length_ft: np.ndarray  # (m, 16)
    unknown_from_ft: np.ndarray  # (m, 16) nearest ground that is not known; inf = all known
    cell_ft: float
    position_slack_ft: float  # a lot may stand this far from the place it is counted at

    @property
    def n_lots(self) -> int:
        """Number of lots, in the order of the points that were given."""
        return int(self.place.shape[0])


@dataclass(frozen=True)
class _CellPlan:
    """Which cells, with which weight, make up each (wedge, ring) bin around a place."""

    n_rings: int
    parts: int  # a cell is counted as parts x parts
    reach_cells: int  # farthest cell, in rows or columns
    cell_row: np.ndarray  # (entries,) offsets from the cell the place lies in
    cell_col: np.ndarray
    weight: np.ndarray  # (entries,) uint64: twice the number of parts of the cell in the bin
    distance_ft: np.ndarray  # (entries,) nearest such part
    start: np.ndarray  # (tables, bins + 1) first entry of each bin
    total: np.ndarray  # (tables, bins) sum of weights


def _lattice(step_ft: np.ndarray, radius_ft: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Part centres within the radius: column and row steps from the place, distance, bearing from true north."""
    reach = math.ceil(radius_ft / np.linalg.svd(step_ft, compute_uv=False).min()) + 1
    steps = np.arange(-reach, reach + 1)
    cols, rows = (a.ravel() for a in np.meshgrid(steps, steps))
    east = step_ft[0, 0] * cols + step_ft[0, 1] * rows
    north = step_ft[1, 0] * cols + step_ft[1, 1] * rows
    distance = np.hypot(east, north)
    inside = (distance > 0.0) & (distance < radius_ft - _ON_A_RING_FT)
    bearing = np.degrees(np.arctan2(east[inside], north[inside])) % 360.0
    return cols[inside], rows[inside], distance[inside], bearing


def _wedges(bearing_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The wedge of each bearing, and the second one it shares when it lies on the line between two (else the same)."""
    turns = bearing_deg / WEDGE_DEG
    line = np.round(turns)
    on_line = np.abs(turns - line) * WEDGE_DEG < _ON_A_LINE_DEG
    first = np.where(on_line, line, np.floor(turns)).astype(np.int64) % N_WEDGES
    second = np.where(on_line, first - 1, first) % N_WEDGES
    return first, second


def _cell_plan(step_ft: np.ndarray, parts: int, n_rings: int, ring_ft: float, tables: np.ndarray) -> _CellPlan:
    """Cells of every bin for each place within a cell that `tables` names (row part * parts + column part).

    step_ft: (2, 2) true east and north of one part to the right and one part down, ft.
    """
    cols, rows, distance, bearing = _lattice(step_ft, n_rings * ring_ft)
    ring = np.floor(distance / ring_ft + _ON_A_RING_FT / ring_ft).astype(np.int64)
    first, second = _wedges(bearing)
    shared = np.flatnonzero(second != first)
    part = np.concatenate([np.arange(first.size), shared])
    bins = np.concatenate([first * n_rings + ring, (second * n_rings + ring)[shared]])
    share = np.where(second != first, 1, 2)[part]  # halves of the part
    order = np.lexsort((distance[part], bins))  # the same for every table: the first part of a cell is the nearest
    part, bins, share = part[order], bins[order], share[order]
    reach = int(np.ceil(max(np.abs(cols).max(), np.abs(rows).max()) / parts)) + 1
    n_bins = N_WEDGES * n_rings

    starts = np.zeros((parts * parts, n_bins + 1), dtype=np.int64)
    totals = np.zeros((parts * parts, n_bins), dtype=np.int64)
    most = part.size * len(tables)
    cell, weight, nearest = np.empty(most, dtype=np.int64), np.empty(most, dtype=np.uint64), np.empty(most)
    size = _join_parts(
        cols[part], rows[part], distance[part], bins, share, tables.astype(np.int64), parts, reach,
        starts, totals, cell, weight, nearest,
    )  # fmt: skip
    cell_row, cell_col = np.divmod(cell[:size], 2 * reach + 1)
    return _CellPlan(
        n_rings, parts, reach, cell_row - reach, cell_col - reach,
        weight[:size].copy(), nearest[:size].copy(), starts, totals,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _join_parts(  # type: ignore[no-untyped-def]
    cols, rows, distance_ft, bins, share, tables, parts, reach, starts, totals, cell, weight, nearest
):
    """Join the parts of each cell and bin to one entry, table after table; returns how many there are.

    Parts come by bin, then distance; entries too, and those of a bin at the same distance by cell: the first smooth
    cell of a bin is then the nearest. The last five arguments are filled.
    """
    width = 2 * reach + 1
    place_of = np.full(width * width, -1, dtype=np.int64)  # the last entry of each cell
    size = 0
    for table in tables:
        row_part, col_part = table // parts, table % parts
        begin, current = size, 0
        starts[table, 0] = size
        for i in range(bins.size):
            while current < bins[i]:
                current += 1
                begin = starts[table, current] = size
            totals[table, current] += share[i]
            here = ((rows[i] + row_part) // parts + reach) * width + (cols[i] + col_part) // parts + reach
            if place_of[here] >= begin:
                weight[place_of[here]] += np.uint64(share[i])
                continue
            at = size
            while at > begin and nearest[at - 1] == distance_ft[i] and cell[at - 1] > here:
                cell[at], weight[at], nearest[at] = cell[at - 1], weight[at - 1], nearest[at - 1]
                place_of[cell[at]] = at
                at -= 1
            cell[at], weight[at], nearest[at] = here, np.uint64(share[i]), distance_ft[i]
            place_of[here] = at
            size += 1
        starts[table, current + 1 :] = size
    return size


@dataclass(frozen=True)
class _Blocks:
    """The roughness map as words of class counts, summed in blocks of `factor` cells where cells are small."""

    words: np.ndarray  # (n_words, rows, cols) uint64
    factor: int
    step_ft: np.ndarray  # (2, 2) true east, north of one block right, one block down
    unknown_word: np.ndarray  # (n_words,) what ground outside counts as


def _class_words(roughness: np.ndarray, phase: np.ndarray | None, n_phases: int) -> np.ndarray:
    """One-hot counts of B, D, unknown and each phase, three to a 64-bit word: (n_words, rows, cols).

    A cell of a phase belongs to the phase, whatever the land cover says, unless it is water: a pond stays a pond.
    """
    lane = np.full(roughness.shape, -1, dtype=np.int64)  # open ground, C, is what is left over
    lane[roughness == ROUGH_B] = _LANE_ROUGH
    lane[roughness == UNKNOWN] = _LANE_UNKNOWN
    if phase is not None:
        lane = np.where(phase >= 0, _FIRST_PHASE_LANE + phase.astype(np.int64), lane)
    lane[roughness == ROUGH_D] = _LANE_SMOOTH
    n_words = -(-(_FIRST_PHASE_LANE + n_phases) // _LANES_PER_WORD)
    words = np.zeros((n_words, *roughness.shape), dtype=np.uint64)
    for one in range(_FIRST_PHASE_LANE + n_phases):
        word, place = divmod(one, _LANES_PER_WORD)
        words[word][lane == one] = np.uint64(1 << (_LANE_BITS * place))
    return words


def _blocks(ground: RoughnessMap, phase: np.ndarray | None, n_phases: int, axes: np.ndarray, part_ft: float) -> _Blocks:
    transform = ground.transform
    pixel = np.array([[transform.a, transform.b], [transform.d, transform.e]])
    step = axes @ pixel
    cell_ft = np.hypot(step[0], step[1]).max()
    factor = max(1, int(part_ft // cell_ft))
    words = _class_words(ground.roughness, phase, n_phases)
    unknown = np.zeros(words.shape[0], dtype=np.uint64)
    unknown[0] = np.uint64(factor * factor << (_LANE_BITS * _LANE_UNKNOWN))
    if factor > 1:
        rows, cols = (-(-size // factor) for size in words.shape[1:])
        full = np.zeros((words.shape[0], rows * factor, cols * factor), dtype=np.uint64)
        full[0] = np.uint64(1 << (_LANE_BITS * _LANE_UNKNOWN))
        full[:, : words.shape[1], : words.shape[2]] = words
        words = full.reshape(words.shape[0], rows, factor, cols, factor).sum(axis=(2, 4), dtype=np.uint64)
    return _Blocks(words, factor, step * factor, unknown)


def _crop(blocks: _Blocks, rows: np.ndarray, cols: np.ndarray, reach: int) -> tuple[np.ndarray, np.ndarray, int]:
    """The part of the map that the places need, unknown outside; flat index of each place's cell, row width."""
    top, left = int(rows.min()) - reach, int(cols.min()) - reach
    height, width = int(rows.max()) + reach + 1 - top, int(cols.max()) + reach + 1 - left
    cropped = np.empty((blocks.words.shape[0], height, width), dtype=np.uint64)
    cropped[:] = blocks.unknown_word[:, None, None]
    map_rows, map_cols = blocks.words.shape[1:]
    r0, r1 = max(0, top), min(map_rows, top + height)
    c0, c1 = max(0, left), min(map_cols, left + width)
    cropped[:, r0 - top : r1 - top, c0 - left : c1 - left] = blocks.words[:, r0:r1, c0:c1]
    return cropped.reshape(cropped.shape[0], -1), (rows - top) * width + (cols - left), width


def _shortened(words: np.ndarray) -> np.ndarray:
    """The same counts in words of 32 bits, which halve what the sums read."""
    short = np.zeros(words.shape, dtype=np.uint32)
    for lane in range(_LANES_PER_WORD):
        count = words >> np.uint64(lane * _LANE_BITS) & np.uint64(_LANE_MASK)
        short |= count.astype(np.uint32) << np.uint32(lane * _SHORT_LANE_BITS)
    return short


@njit(cache=True, nogil=True)
def _count_bins(  # type: ignore[no-untyped-def]
    words, origin, start, offset, weight, distance_ft, counts, near_smooth_ft, near_unknown_ft
):
    """Count the classes of every bin around one place; note the nearest smooth and the nearest unknown part.

    Unsigned places (an offset below 0 wraps round, as it should) and slices let the sum compile to wide instructions.
    """
    bits = np.uint64(words.itemsize * 8 // _LANES_PER_WORD)
    mask = (np.uint64(1) << bits) - np.uint64(1)
    here = np.uint64(origin)
    for b in range(start.shape[0] - 1):
        for w in range(words.shape[0]):
            row = words[w]
            total = np.uint64(0)
            cells, shares = offset[start[b] : start[b + 1]], weight[start[b] : start[b + 1]]
            for e in range(cells.size):
                total += shares[e] * row[here + cells[e]]
            for lane in range(_LANES_PER_WORD):
                counts[w * _LANES_PER_WORD + lane, b] = np.int64((total >> np.uint64(lane) * bits) & mask)
        near_smooth_ft[b] = np.inf
        near_unknown_ft[b] = np.inf
        if counts[_LANE_SMOOTH, b] > 0:
            for e in range(start[b], start[b + 1]):
                if (words[0, here + offset[e]] >> np.uint64(_LANE_SMOOTH) * bits) & mask:
                    near_smooth_ft[b] = distance_ft[e]
                    break
        if counts[_LANE_UNKNOWN, b] > 0:
            for e in range(start[b], start[b + 1]):
                if (words[0, here + offset[e]] >> np.uint64(_LANE_UNKNOWN) * bits) & mask:
                    near_unknown_ft[b] = distance_ft[e]
                    break


@njit(cache=True, nogil=True)
def _rough_fetch(rough, total, ring_ft, need_rings, share, gap_ft, ring_share, out_share, out_run, out_gap):  # type: ignore[no-untyped-def]
    """Share, run and longest gap of rough ground in one sector, judged at each distance of `need_rings`."""
    n = rough.shape[0]
    for j in range(need_rings.shape[0]):
        need = need_rings[j]
        rough_sum, total_sum = 0, 0
        open_rings, longest = 0, 0
        below, reached, run = 0, False, 0
        for q in range(n):
            rough_sum += rough[q]
            total_sum += total[q]
            open_rings = open_rings + 1 if rough[q] < ring_share * total[q] else 0
            longest = max(longest, open_rings)
            met = rough_sum / total_sum >= share and longest * ring_ft <= gap_ft
            edge = q + 1
            if edge < need:
                if met:
                    below = edge
            elif edge == need:
                out_share[j] = rough_sum / total_sum
                out_gap[j] = longest * ring_ft
                reached = met
                run = edge if met else below
            elif reached:
                if not met:
                    break
                run = edge
            else:
                break
        out_run[j] = run * ring_ft


@njit(cache=True, nogil=True)
def _smooth_fetch(smooth, total, near_ft, ring_ft, ring_share, gap_ft, need_ft, edge_ft, out):  # type: ignore[no-untyped-def]
    """Nearest long-enough run of smooth ground, and the longest, in one sector: out = start, length, start, length."""
    out[0], out[1], out[2], out[3] = np.inf, 0.0, np.inf, 0.0
    n = smooth.shape[0]
    q = 0
    while q < n:
        if smooth[q] == 0 or smooth[q] < ring_share * total[q]:
            q += 1
            continue
        first, last, ahead = q, q, q + 1
        while ahead < n and (ahead - last - 1) * ring_ft <= gap_ft:
            if smooth[ahead] > 0 and smooth[ahead] >= ring_share * total[ahead]:
                last = ahead
            ahead += 1
        edge = first
        while edge > 0 and smooth[edge - 1] > 0:
            edge -= 1
        start = max(0.0, near_ft[edge] - edge_ft)
        # A shore across the sector, even at a slant, fills half of a ring not far beyond its nearest point (1.08 times
        # when it meets the sector's edge square, 1.41 times when the sector looks 27 degrees past the square). Where
        # the lead is longer it is a creek, which says that D is near but not that D is long.
        counted_from = max(start, (first * ring_ft - ring_ft) * _COS_SECTOR)
        length = (last + 1) * ring_ft - counted_from
        if length >= need_ft and start < out[0]:
            out[0], out[1] = start, length
        if length > out[3]:
            out[2], out[3] = start, length
        q = last + 1


@njit(cache=True, nogil=True)
def _measure_places(  # type: ignore[no-untyped-def]
    words, origins, tables, start, total, offset, weight, distance_ft, built, ring_ft, need_rings,
    share, gap_ft, rough_ring_share, smooth_ring_share, smooth_gap_ft, smooth_need_ft, edge_ft, half_part_ft,
    rough_share, rough_run, open_gap, smooth_out, unknown_from,
):  # fmt: skip
    """Fetch of every sector, for every place and every state of the ground. Fills the last five arguments.

    total: (tables, 16, rings) cells of each sector's rings.
    """
    n_bins = start.shape[1] - 1
    n_rings = n_bins // 16
    n_states, n_phases = built.shape
    counts = np.zeros((words.shape[0] * _LANES_PER_WORD, n_bins), dtype=np.int64)
    near_smooth = np.empty(n_bins)
    near_unknown = np.empty(n_bins)
    sector_class = np.empty(n_rings, dtype=np.int64)
    sector_near = np.empty(n_rings)
    for i in range(origins.shape[0]):
        t = tables[i]
        _count_bins(words, origins[i], start[t], offset, weight, distance_ft, counts, near_smooth, near_unknown)
        for s in range(16):
            one, two = s * n_rings, ((s + 1) % 16) * n_rings
            sector_total = total[t, s]
            unknown_ft = np.inf
            for q in range(n_rings):
                sector_class[q] = counts[_LANE_SMOOTH, one + q] + counts[_LANE_SMOOTH, two + q]
                sector_near[q] = min(near_smooth[one + q], near_smooth[two + q])
                unknown_ft = min(unknown_ft, min(near_unknown[one + q], near_unknown[two + q]))
            unknown_from[i, s] = max(0.0, unknown_ft - half_part_ft)
            _smooth_fetch(
                sector_class, sector_total, sector_near, ring_ft, smooth_ring_share, smooth_gap_ft, smooth_need_ft,
                edge_ft, smooth_out[i, s],
            )  # fmt: skip
            for state in range(n_states):
                for q in range(n_rings):
                    rough = counts[_LANE_ROUGH, one + q] + counts[_LANE_ROUGH, two + q]
                    for p in range(n_phases):
                        if built[state, p]:
                            lane = _FIRST_PHASE_LANE + p
                            rough += counts[lane, one + q] + counts[lane, two + q]
                    sector_class[q] = rough
                _rough_fetch(
                    sector_class, sector_total, ring_ft, need_rings, share, gap_ft, rough_ring_share,
                    rough_share[state, i, s], rough_run[state, i, s], open_gap[state, i, s],
                )  # fmt: skip


def measure_fetch(
    ground: RoughnessMap,
    points_xy: np.ndarray,
    points_crs: pyproj.CRS,
    rules: ExposureRules | None = None,
    *,
    greatest_height_ft: float = 30.0,
    workers: int = 1,
) -> Fetch:
    """Fetch quantities around every lot point, for ground as it is mapped. points_xy: (n, 2) in points_crs."""
    nothing_built = np.zeros((1, 0), dtype=np.bool_)
    return measure_fetch_states(
        ground,
        None,
        nothing_built,
        points_xy,
        points_crs,
        rules,
        greatest_height_ft=greatest_height_ft,
        workers=workers,
    )[0]


def measure_fetch_states(
    ground: RoughnessMap,
    phase_of_cell: np.ndarray | None,
    built: np.ndarray,
    points_xy: np.ndarray,
    points_crs: pyproj.CRS,
    rules: ExposureRules | None = None,
    *,
    greatest_height_ft: float = 30.0,
    workers: int = 1,
) -> list[Fetch]:
    """Fetch quantities for several states of the ground from one count of the cells.

    phase_of_cell: (rows, cols) number of the phase a cell lies in, -1 for none. built: (states, phases) is it built
    then; a built phase is roughness B, an unbuilt one bare C. greatest_height_ft: the tallest plan's mean roof height.
    """
    rules = rules or ExposureRules()
    if not 0.0 < greatest_height_ft <= rules.greatest_height_ft:
        raise ValueError(
            f"greatest_height_ft: {greatest_height_ft}; expected above 0 and up to {rules.greatest_height_ft:g} ft"
        )
    points = np.asarray(points_xy, dtype=np.float64).reshape(-1, 2)
    built = np.ascontiguousarray(built, dtype=np.bool_)
    n_rings = math.ceil(float(rules.search_radius_ft(greatest_height_ft)) / rules.ring_ft - 1e-9)
    raster_xy = transform_xy(points, points_crs, ground.crs)  # the points are moved, never the classes
    inside = _inside(raster_xy, ground)
    if not inside.any():
        return [_no_fetch(rules, greatest_height_ft, points.shape[0]) for _ in range(built.shape[0])]

    axes = ground_axes_over_ft(ground.crs, raster_xy[inside])
    blocks = _blocks(ground, phase_of_cell, built.shape[1], axes, rules.sub_cell_ft)
    cell_ft = float(np.hypot(blocks.step_ft[0], blocks.step_ft[1]).max())
    if cell_ft > _COARSEST_CELL_FT:
        raise ValueError(
            f"{ground.source}: land-cover cells of {cell_ft:.0f} ft; expected {_COARSEST_CELL_FT:.0f} or less"
        )
    parts = max(1, math.ceil(cell_ft / rules.sub_cell_ft - 1e-9))
    rows, cols, tables, place = _places(raster_xy, inside, ground, blocks.factor, parts)
    plan = _cell_plan(blocks.step_ft / parts, parts, n_rings, rules.ring_ft, np.unique(tables))
    if int(plan.total.max()) * blocks.factor**2 > _LANE_MASK:
        raise ValueError(
            f"{ground.source}: land-cover cells of {cell_ft / blocks.factor:.2f} ft are too small to count"
        )

    arrays = _run(blocks, plan, rows, cols, tables, built, rules, greatest_height_ft, cell_ft, workers)
    rough_share, rough_run, open_gap, smooth, unknown_from = arrays
    part_ft = cell_ft / parts
    return [
        Fetch(
            rules, greatest_height_ft, place, rough_share[state], rough_run[state], open_gap[state],
            smooth[:, :, 0], smooth[:, :, 1], smooth[:, :, 2], smooth[:, :, 3], unknown_from,
            cell_ft / blocks.factor, part_ft * math.sqrt(0.5),
        )
        for state in range(built.shape[0])
    ]  # fmt: skip


def _inside(raster_xy: np.ndarray, ground: RoughnessMap) -> np.ndarray:
    """Which points fall on the map at all."""
    cols, rows = pixel_coordinates(ground.transform, raster_xy[:, 0], raster_xy[:, 1])
    n_rows, n_cols = ground.roughness.shape
    with np.errstate(invalid="ignore"):
        return np.asarray(
            np.isfinite(cols) & np.isfinite(rows) & (rows >= 0) & (rows < n_rows) & (cols >= 0) & (cols < n_cols)
        )


def _places(
    raster_xy: np.ndarray, inside: np.ndarray, ground: RoughnessMap, factor: int, parts: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Unique places: row, column, part of the cell; and the place of each lot (-1 off the raster)."""
    cols, rows = pixel_coordinates(ground.transform, raster_xy[inside, 0], raster_xy[inside, 1])
    part_col = np.floor(cols / factor * parts + 1e-9).astype(np.int64)
    part_row = np.floor(rows / factor * parts + 1e-9).astype(np.int64)
    width = int(part_col.max()) + 1  # no place lies left of the map
    unique, which = np.unique(part_row * width + part_col, return_inverse=True)
    row, row_part = np.divmod(unique // width, parts)
    col, col_part = np.divmod(unique % width, parts)
    place = np.full(inside.shape[0], -1, dtype=np.int64)
    place[inside] = which.ravel()
    return row, col, row_part * parts + col_part, place


def _run(
    blocks: _Blocks, plan: _CellPlan, rows: np.ndarray, cols: np.ndarray, tables: np.ndarray, built: np.ndarray,
    rules: ExposureRules, greatest_height_ft: float, cell_ft: float, workers: int,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:  # fmt: skip
    """Run the compiled count over all places, in `workers` threads."""
    words, origins, width = _crop(blocks, rows, cols, plan.reach_cells)
    if int(plan.total.max()) * blocks.factor**2 <= _SHORT_LANE_MASK:
        words = _shortened(words)
    weight = plan.weight.astype(words.dtype)
    by_wedge = plan.total.reshape(len(plan.total), N_WEDGES, plan.n_rings) * blocks.factor**2
    by_sector = by_wedge + np.roll(by_wedge, -1, axis=1)
    offset = (plan.cell_row * width + plan.cell_col).astype(np.uint64)
    needs = np.array([rules.rough_distance_low_ft, rules.rough_distance_tall_ft])
    need_rings = np.round(needs / rules.ring_ft).astype(np.int64)
    part_ft = cell_ft / plan.parts
    n_states, n = built.shape[0], rows.shape[0]
    rough = [np.full((n_states, n, N_WEDGES, 2), np.nan) for _ in range(3)]
    smooth, unknown_from = np.empty((n, N_WEDGES, 4)), np.empty((n, N_WEDGES))

    def part(piece: slice) -> None:
        _measure_places(
            words, origins[piece], tables[piece], plan.start, by_sector, offset, weight, plan.distance_ft, built,
            rules.ring_ft, need_rings, rules.rough_share, rules.open_gap_ft, rules.rough_ring_share,
            rules.smooth_ring_share, rules.smooth_gap_ft, float(rules.smooth_need_ft(greatest_height_ft)),
            (cell_ft + part_ft) / 2.0, part_ft / 2.0,
            rough[0][:, piece], rough[1][:, piece], rough[2][:, piece], smooth[piece], unknown_from[piece],
        )  # fmt: skip

    pieces = _pieces(n, workers)
    if len(pieces) == 1:
        part(pieces[0])
    else:
        with ThreadPoolExecutor(max_workers=workers) as pool:
            list(pool.map(part, pieces))
    return rough[0], rough[1], rough[2], smooth, unknown_from


def _pieces(n: int, workers: int) -> Sequence[slice]:
    edges = np.linspace(0, n, max(1, min(workers, n)) + 1).astype(int)
    return [slice(int(a), int(b)) for a, b in pairwise(edges)]


def _no_fetch(rules: ExposureRules, greatest_height_ft: float, n: int) -> Fetch:
    """Fetch of lots that are all off the raster."""
    none = np.empty((0, N_WEDGES))
    pairs = np.empty((0, N_WEDGES, 2))
    place = np.full(n, -1, dtype=np.int64)
    return Fetch(rules, greatest_height_ft, place, pairs, pairs, pairs, none, none, none, none, none, math.nan, 0.0)
