"""Topographic factor Kzt of every lot for 16 wind directions, from a bare-earth elevation raster.

ASCE 7-16 and 7-22, Section 26.8. One terrain profile per lot and wind direction gives the hills, ridges and
escarpments that may matter to that lot: height H, half length Lh, distance x from the crest, form. They are found
once; Kzt at any height and in any exposure follows from them by `TopographyResult.kzt`, without new profiles.

How a profile is read (the wind blows along it; all numbers are fields of `TopographySettings`)

1. The ground is sampled bilinearly every min(cell, 10 m) along the true bearing; every 5 m on a profile that has a
   feature with Lh below 300 ft. Features are *found* on the mean of 5 samples and *measured* on the samples.
2. A zig-zag filter leaves feet and tops whose swings are at least 10 ft. It is lower than the standard's 15 ft on
   purpose: smoothing takes some height off a short feature, and features that just miss 15 ft must be reported as
   near the threshold. The 15 or 60 ft test itself is made on the measured H, in the exposure of the same direction.
3. A crest is a top, or a knee: the point farthest above the chord from the foot to a point 8 reliefs behind the top,
   or from the foot to the top. A knee counts only if the ground behind it says so: a rounded shoulder is not an edge
   (see `knee_stands`). Benches on a slope are searched by halving the slope at its bends.
4. A crest may stand over several feet: the foot of its own slope, the bend where the slope steepens (a ridge on
   tilted ground), and lower feet farther upwind past lower tops, as long as the ground stays below half height once it
   has fallen below it. Every pair is a candidate; the greatest Kzt counts.
5. H is crest less foot; Lh is the distance from the crest upwind to the first crossing of half height.
6. Ridge where the ground falls by H/2 within 4 Lh downwind, else escarpment; if the known ground ends before that,
   the larger of the two. Hill only where the ground falls by H/2 within 2 Lh of the crest along all 16 bearings (two
   cross-wind bearings do not suffice: a ridge met at 45 degrees falls along both).
7. Conditions: H/Lh at least 0.2; H at least 15 ft (C, D) or 60 ft (B); for ridges and hills the lot's ground at or
   above half height. `strict` adds the isolation conditions of 7-16: no other ground above half height upwind, from
   beyond the foot to the lesser of 100 H and 2 miles from the crest, along the five profiles of the quadrant about
   the wind. Isolation that can't be seen to its end leaves the screening value in `strict` and sets a flag.

What must be known. A direction is known when the ground is known without a gap from `search_downwind_ft` (3,300 ft)
downwind to `search_upwind_ft` (10,560 ft, 2 miles) upwind of the lot; otherwise its Kzt is unknown (NaN), never 1. A
raster that reaches 2 miles beyond the lots, plus a few cells, is enough. `beyond_ft` more is read where there is any,
for feet, lee sides and isolation, but isn't needed. A smaller search distance may be set; `TopographySettings.limits`
says in words what can then be missed.

Unknown exposure ("?") gives NaN only where a feature counts in some exposure; without a feature Kzt is 1 in any.

What makes it fast changes no answer: a line through a lot is read once for the winds along it from both ends, a fine
profile takes every other sample from the coarse one, lines that are proven to hold nothing are read near the lot only
(`hazard.topography_proof`), and slopes whose height, bounded from above, can't reach the lot are passed over. Lots do
not share profiles: a line set beside the lot would move the crest by part of a cell.

A jurisdiction's own Kzt map replaces all this: sample it like any other raster and leave this module out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray

from hazard import topography_kernels as kernels
from hazard import topography_lines as lines
from hazard import topography_lots as around
from hazard import topography_proof as proof
from hazard.crs import METRES_PER_FOOT as FOOT_M
from hazard.crs import horizontal, lon_lat, transform_xy
from hazard.standards import asce7_ch26_wind as wind
from hazard.standards.tables import load_table, value, where
from hazard.topography_settings import TopographySettings

if TYPE_CHECKING:
    from hazard.rasters import RasterWindow

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

DIRECTIONS = lines.DIRECTIONS
FORMS = ("ridge", "escarpment", "hill", "ridge or escarpment")
CONDITIONS = ("H", "H/Lh", "upper half")  # of 26.8.1; each is a step of Kzt
CHUNK = 256
REACH_OF_AXES_M = 1000.0  # arm of the geodesics that give a raster's axes at a lot

NOT_ISOLATED = "NOT_ISOLATED"
NEAR_THRESHOLD = "NEAR_THRESHOLD"
MAN_MADE_STEP = "MAN_MADE_STEP"
VALLEY_OR_PASS = "VALLEY_OR_PASS"
PROFILE_TRUNCATED = "PROFILE_TRUNCATED"
ISOLATION_UNSEEN = "ISOLATION_UNSEEN"
BASE_BEYOND_PROFILE = "BASE_BEYOND_PROFILE"
FLAGS = (
    PROFILE_TRUNCATED,
    NOT_ISOLATED,
    NEAR_THRESHOLD,
    MAN_MADE_STEP,
    VALLEY_OR_PASS,
    ISOLATION_UNSEEN,
    BASE_BEYOND_PROFILE,
)


@dataclass(frozen=True)
class Features:
    """Terrain features that may matter to a lot, one row each, sorted by lot, then direction."""

    lot: Ints
    direction: Ints
    height_ft: Floats
    half_length_ft: Floats
    x_ft: Floats  # of the lot from the crest, positive downwind
    form: NDArray[np.int8]  # index into FORMS
    upper: Floats  # lot's ground above the base / half of H; 1 or more is the upper half
    foot_ft: Floats  # crest to foot, upwind
    base_ft: Floats  # elevation of the foot
    base_open: Bools  # the ground was still falling where the profile ended
    isolation: NDArray[np.int8]  # 0 not isolated, 1 isolated, 2 not seen to the end

    def __len__(self) -> int:
        return len(self.lot)


Searched = tuple[Features, Floats, Bools, Floats]
"""Of n lots: features, known reach (n, 16, 2), valley flag (n,), ground elevation (n,)."""


@dataclass(frozen=True)
class Profile:
    """One terrain profile, ready to plot: distances in ft from the lot, positive downwind (wind blows to the right)."""

    lot: int
    direction: int
    bearing_deg: float
    known: bool
    distance_ft: Floats
    elevation_ft: Floats
    height_ft: float
    half_length_ft: float
    x_ft: float
    form: str
    crest_distance_ft: float
    crest_elevation_ft: float
    half_height_distance_ft: float
    foot_distance_ft: float
    base_elevation_ft: float
    isolated: bool | None


@dataclass(frozen=True)
class Assessment:
    """Kzt of a tract at given heights and exposures, with the feature behind each value."""

    kzt_screening: Floats  # (n, 16)
    kzt_strict: Floats  # (n, 16)
    height_ft: Floats  # (n, 16), governing feature; NaN where there is none
    half_length_ft: Floats
    x_ft: Floats
    crest_distance_ft: Floats  # from the lot, positive upwind: where to look for the crest
    form: NDArray[np.str_]  # (n, 16), "" where there is none
    condition_margin: Floats  # (n, 16) relative distance of the governing feature to its nearest condition
    condition_of: NDArray[np.str_]  # (n, 16) one of CONDITIONS
    governing_direction: Ints  # (n,), of the greatest screening Kzt; of the nearest miss where all are 1; else -1
    margin: Floats  # (n,) relative distance of that feature to its nearest condition; NaN where nothing comes near
    margin_of: NDArray[np.str_]  # (n,) "H", "H/Lh", "upper half", "x"
    flags: dict[str, Bools]  # name -> (n,)

    def flag_names(self) -> list[tuple[str, ...]]:
        """The flags of each lot."""
        return [tuple(name for name in FLAGS if self.flags[name][i]) for i in range(len(self.margin))]


@dataclass(frozen=True)
class KztBand:
    """Screening Kzt with every condition moved either way, and the nearest feature that misses one: (n, 16) each."""

    least: Floats
    greatest: Floats
    missed_by: Floats  # relative distance of that feature to its condition, negative; NaN = no such feature
    missed_of: NDArray[np.str_]  # one of CONDITIONS, "" = no such feature


@dataclass(frozen=True)
class TopographyResult:
    """Terrain features of every lot and direction, and how much of each profile was known."""

    settings: TopographySettings
    features: Features
    known: Bools  # (n, 16)
    known_upwind_ft: Floats  # (n, 16) unbroken known ground
    known_downwind_ft: Floats
    valley: Bools  # (n,)
    ground_ft: Floats  # (n,) elevation at the lot
    lot_xy_m: Floats
    step_ft: float
    filled_cells: int
    _ground: _Ground = field(repr=False)

    def __len__(self) -> int:
        return len(self.ground_ft)

    def kzt(self, z_ft: ArrayLike, exposure: ArrayLike) -> tuple[Floats, Floats]:
        """Kzt by direction, screening and strict, (n, 16) each; NaN = unknown.

        ASCE 7-16 and 7-22, Section 26.8. `z_ft` (n,) or a number: height above the lot's ground, usually the mean roof
        height. `exposure` (n, 16), (16,) or one letter: B, C, D or ?. Strict applies the isolation conditions too.
        """
        screening, strict, _ = self._values(z_ft, exposure)
        n = len(self)
        return self._greatest(screening, n), self._greatest(strict, n)

    def kzt_band(self, z_ft: ArrayLike, exposure: ArrayLike, share: float) -> KztBand:
        """Screening Kzt if every condition were harder or easier to meet by a share of its limit.

        A feature that meets a condition by less than `share` is left out of `least`; one that misses its conditions by
        less is in `greatest`. Features that miss by more than `settings.keep_near` are not known here.
        """
        if not 0.0 <= share <= self.settings.keep_near:
            raise ValueError(f"share is {share:g}; expected 0 to {self.settings.keep_near:g} (settings.keep_near)")
        f, n = self.features, len(self)
        screening, _, anyway = self._values(z_ft, exposure)
        conditions = _margins(self, exposure)[:, :3]
        jumps = np.min(conditions, axis=1)
        least = np.where((jumps >= 0.0) & (jumps < share), np.minimum(screening, 1.0), screening)
        greatest = np.where((jumps < 0.0) & (jumps >= -share), np.maximum(screening, anyway), screening)
        missed = np.flatnonzero(jumps < 0.0)
        rank = missed[np.lexsort((jumps[missed], f.direction[missed], f.lot[missed]))]  # the nearest is written last
        missed_by, missed_of = _by_direction(f, rank, conditions, n)
        return KztBand(self._greatest(least, n), self._greatest(greatest, n), missed_by, missed_of)

    def assess(self, z_ft: ArrayLike, exposure: ArrayLike) -> Assessment:
        """Kzt with the governing feature of each direction, margins and flags."""
        return _assess(self, z_ft, exposure)

    def ground_slope(self, arm_m: float = 10.0) -> tuple[Floats, Floats]:
        """Slope of the ground at each lot (rise over run) and the bearing it falls towards: see `ground_slope`."""
        return _slope(self._ground, arm_m)

    def profile(self, lot: int, direction: int, z_ft: float = 0.0, exposure: str = "C") -> Profile:
        """One profile with the feature that governs it at this height and exposure (or comes nearest to counting)."""
        return _profile(self, lot, direction, z_ft, exposure)

    def crests(self, assessment: Assessment, lines: bool = False) -> dict[str, Any]:
        """Map layer of the crests that raise Kzt; see `crest_layer`."""
        return crest_layer(self, assessment, lines)

    def _values(self, z_ft: ArrayLike, exposure: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Per feature: screening Kzt, strict Kzt, and Kzt as if every condition held."""
        n = len(self)
        f = self.features
        z = np.broadcast_to(np.asarray(z_ft, dtype=np.float64), (n,))[f.lot]
        letters = np.broadcast_to(np.asarray(exposure, dtype=np.str_), (n, DIRECTIONS))
        letter = letters[f.lot, f.direction]
        if not set(np.unique(letters)) <= {*wind.EXPOSURES, wind.UNKNOWN_EXPOSURE}:
            raise ValueError(f"exposure letters {sorted(set(np.unique(letters)))}; expected B, C, D or ?")
        counts = wind.topography_counts(self.settings.edition, letter, f.height_ft, f.half_length_ft)
        upper = f.upper >= 1.0
        screening: Floats = np.ones(len(f))
        anyway: Floats = np.ones(len(f))
        for name, codes, needs_upper in (
            ("ridge", (kernels.RIDGE, kernels.UNCLEAR), True),
            ("escarpment", (kernels.ESCARPMENT, kernels.UNCLEAR), False),
            ("hill", (kernels.HILL,), True),
        ):
            rows = np.isin(f.form, codes)
            if not rows.any():
                continue
            factor = wind.kzt(name, letter[rows], f.height_ft[rows], f.half_length_ft[rows], f.x_ft[rows], z[rows])
            allowed = counts[rows] & (upper[rows] | (not needs_upper))
            screening[rows] = np.maximum(screening[rows], np.where(allowed, factor, 1.0))
            anyway[rows] = np.maximum(anyway[rows], factor)
        strict = np.where(f.isolation == kernels.NOT_ISOLATED, 1.0, screening)
        return screening, strict, anyway

    def _greatest(self, values: Floats, n: int) -> Floats:
        """Greatest feature value per lot and direction; 1 where there is none, NaN where the direction is unknown."""
        dense: Floats = np.ones((n, DIRECTIONS))
        np.maximum.at(dense, (self.features.lot, self.features.direction), values)  # NaN spreads, as it should
        dense[~self.known] = np.nan
        return dense


@dataclass(frozen=True)
class _Ground:
    """What the kernels read: the grid, where the lots are in it, which way its axes lie."""

    grid: Floats
    places: Floats  # (n, 2) fractional row and column of cell centres
    jacobians: Floats  # (n, 2, 2) d(row, col) / d(east, north), per ft
    cell_m: float
    filled_cells: int


def topography(
    elevation: RasterWindow,
    lot_xy_m: ArrayLike,
    working_crs: pyproj.CRS,
    settings: TopographySettings | None = None,
    workers: int = 1,
    keep: Callable[[Callable[[], Searched]], Searched] = lambda make: make(),
) -> TopographyResult:
    """Terrain features of every lot in 16 wind directions.

    ASCE 7-16 and 7-22, Section 26.8. `elevation`: bare earth at finished grade, values in ft, any CRS. `lot_xy_m`
    (n, 2): representative points in `working_crs`, metres. Bearings and distances are true ones, whatever the CRS of
    either. Results do not depend on `workers` (threads) nor on the order or number of the lots. `keep` gets the
    search of the profiles, the long part, and gives its result: made, or kept from the same search earlier.
    """
    rules_in_words = settings or TopographySettings()
    xy: Floats = np.ascontiguousarray(lot_xy_m, dtype=np.float64).reshape(-1, 2)
    ground = _prepare(elevation, xy, working_crs, rules_in_words)
    step_ft = rules_in_words.step_ft(ground.cell_m)
    rest = _rest(rules_in_words, step_ft)
    parts = [slice(start, min(start + CHUNK, len(xy))) for start in range(0, len(xy), CHUNK)]

    def search() -> Searched:
        relief = _relief(ground, step_ft)

        def run(part: slice) -> Searched:
            return _run(ground, relief, part, rest, rules_in_words)

        if workers > 1 and len(parts) > 1:
            with ThreadPoolExecutor(workers) as pool:
                done = list(pool.map(run, parts))
        else:
            done = [run(part) for part in parts]
        return (
            _joined_features([part[0] for part in done]),
            _joined([part[1] for part in done], (0, DIRECTIONS, 2), np.float64),
            _joined([part[2] for part in done], (0,), np.bool_),
            _joined([part[3] for part in done], (0,), np.float64),
        )

    features, reach, valley, ground_ft = keep(search)
    slack = step_ft * 1.001
    known = (reach[:, :, 0] >= rules_in_words.search_upwind_ft - slack) & (
        reach[:, :, 1] >= rules_in_words.search_downwind_ft - slack
    )
    return TopographyResult(
        settings=rules_in_words,
        features=features,
        known=known,
        known_upwind_ft=reach[:, :, 0],
        known_downwind_ft=reach[:, :, 1],
        valley=valley,
        ground_ft=ground_ft,
        lot_xy_m=xy,
        step_ft=step_ft,
        filled_cells=ground.filled_cells,
        _ground=ground,
    )


def height_above_ground_ft(h_ft: ArrayLike, ground_ft: ArrayLike, pad_elevation_ft: ArrayLike | None = None) -> Floats:
    """z for Kzt: mean roof height, plus what a finished pad lies above the ground of the elevation model.

    ASCE 7-16 Figure 26.8-1 measures z from the local ground. h (n,), ground (n,) and pad (n,) in ft; NaN pad = not
    given. A pad cut below the ground lowers z, which raises Kzt; z is not taken below 0. The crest's H, Lh and x stay
    those of the elevation model.
    """
    h: Floats = np.asarray(h_ft, dtype=np.float64)
    if pad_elevation_ft is None:
        return h.copy()
    lift = np.asarray(pad_elevation_ft, dtype=np.float64) - np.asarray(ground_ft, dtype=np.float64)
    return np.asarray(np.maximum(0.0, h + np.where(np.isnan(lift), 0.0, lift)))


def worst_product(kz: ArrayLike, kzt: ArrayLike, known_only: bool = False) -> tuple[Floats, Ints]:
    """Greatest Kz x Kzt of the 16 directions, (n,), and its direction; the pair of one direction, not two maxima.

    Arrays (n, 16) or broadcastable. A lot with an unknown direction (NaN) is unknown: NaN and direction -1, since the
    unknown one may govern. `known_only=True` takes the greatest of the known directions instead; say so where shown.
    The first of equal directions is given.
    """
    product: Floats = np.atleast_2d(np.asarray(kz, dtype=np.float64) * np.asarray(kzt, dtype=np.float64))
    missing = np.isnan(product)
    unknown = missing.all(axis=1) if known_only else missing.any(axis=1)
    filled = np.where(missing, -np.inf, product)
    direction: Ints = np.argmax(filled, axis=1).astype(np.int64)
    best = filled[np.arange(len(filled)), direction]
    return np.where(unknown, np.nan, best), np.where(unknown, -1, direction)


def ground_slope(
    elevation: RasterWindow, lot_xy_m: ArrayLike, working_crs: pyproj.CRS, arm_m: float = 10.0
) -> tuple[Floats, Floats]:
    """Slope of the ground at each lot (rise over run) and the bearing it falls towards, degrees from true north.

    Central differences over 2 * `arm_m` east-west and north-south. NaN where the ground is not known; bearing NaN
    where it is level.
    """
    xy: Floats = np.asarray(lot_xy_m, dtype=np.float64).reshape(-1, 2)
    return _slope(_prepare(elevation, xy, working_crs, TopographySettings()), arm_m)


def _slope(ground: _Ground, arm_m: float) -> tuple[Floats, Floats]:
    arm_ft = arm_m / FOOT_M
    rise = []
    for axis in range(2):
        shift = ground.jacobians[:, :, axis] * arm_ft
        ahead, behind = (_sample_many(ground.grid, ground.places + sign * shift) for sign in (1.0, -1.0))
        rise.append((ahead - behind) / (2.0 * arm_ft))
    slope = np.hypot(rise[0], rise[1])
    bearing = np.degrees(np.arctan2(-rise[0], -rise[1])) % 360.0
    return slope, np.where(slope > 0, bearing, np.nan)


def crest_layer(result: TopographyResult, assessment: Assessment, lines: bool = False) -> dict[str, Any]:
    """Crests that raise Kzt, in the working CRS: points, or lines from foot to crest, with their numbers.

    Crests that several lots share (same direction, same 10 m square) are one row, with the number of lots, and sorted
    by direction, then place. Columns: geometry, direction, H_ft, Lh_ft, form, kzt, lots.
    """
    import shapely

    f = result.features
    raising = (assessment.kzt_screening[f.lot, f.direction] > 1.0) & (assessment.x_ft[f.lot, f.direction] == f.x_ft)
    rows = np.flatnonzero(raising & (assessment.height_ft[f.lot, f.direction] == f.height_ft))
    upwind = bearing_vectors()[f.direction[rows]]
    crest = result.lot_xy_m[f.lot[rows]] + upwind * (f.x_ft[rows] * FOOT_M)[:, None]
    foot = crest + upwind * (f.foot_ft[rows] * FOOT_M)[:, None]
    kzt = assessment.kzt_screening[f.lot[rows], f.direction[rows]]
    keys = np.column_stack([f.direction[rows], np.floor(crest / 10.0).astype(np.int64)]).reshape(-1, 3)
    order = np.lexsort((f.lot[rows], -kzt, keys[:, 2], keys[:, 1], keys[:, 0]))
    _, first, lots = np.unique(keys[order], axis=0, return_index=True, return_counts=True)
    pick = order[first]
    geometry = (
        shapely.linestrings(np.stack([foot[pick], crest[pick]], axis=1)) if lines else shapely.points(crest[pick])
    )
    return {
        "geometry": geometry,
        "direction": f.direction[rows][pick],
        "H_ft": f.height_ft[rows][pick],
        "Lh_ft": f.half_length_ft[rows][pick],
        "form": np.array(FORMS)[f.form[rows][pick]],
        "kzt": kzt[pick],
        "lots": lots,
    }


def features_on_profile(
    elevation_ft: ArrayLike, step_ft: float, lot_index: int, settings: TopographySettings | None = None
) -> Features:
    """Features of one profile given as elevations from upwind to downwind, without a raster.

    The same search as for lots, except that a hill can't be told from a ridge, isolation is judged on the profile
    alone and no slot limit applies.
    """
    words = settings or TopographySettings()
    z: Floats = np.ascontiguousarray(elevation_ft, dtype=np.float64)
    rules = _rules(words, step_ft)
    lo, hi = lines.valid_run(z, lot_index)
    rows = np.empty((kernels.MOST_ROWS, kernels.FIELDS))
    smoothed = np.empty_like(z)
    count = 0
    if hi - lo >= 8:
        lines.smooth(z, lo, hi, rules.window, smoothed)
        turns = np.empty(z.size + kernels.MORE_TURNS, dtype=np.int64)
        stack = np.empty((8, 4), dtype=np.int64)
        rough = lines.unevenness(z, smoothed, lo, hi, np.empty_like(z))
        count = kernels.find_features(z, smoothed, lo, hi, lot_index, rough, rules, turns, stack, rows)
        read = np.tile(np.where(np.isnan(z), np.nan, -np.inf), (lines.OPPOSITE, 1))
        read[0] = z
        runs = np.tile(np.array([lo, hi], dtype=np.int64), (DIRECTIONS, 1))
        for i in range(count):
            rows[i, kernels.ISOLATED] = around.isolation(read, runs, lot_index, 0, rows[i], rules)
    zeros: Ints = np.zeros(count, dtype=np.int64)
    return _features(zeros, zeros, rows[:count])


def bearing_vectors() -> Floats:
    """Unit vectors (east, north) towards the bearings the wind comes from, (16, 2); axes and opposites are exact."""
    angle = np.arange(DIRECTIONS // 2) * (2.0 * math.pi / DIRECTIONS)
    half: Floats = np.column_stack([np.sin(angle), np.cos(angle)])
    half[np.abs(half) < 1e-15] = 0.0
    return np.concatenate([half, -half]) + 0.0


def _prepare(elevation: RasterWindow, xy: Floats, working_crs: pyproj.CRS, settings: TopographySettings) -> _Ground:
    """Grid with small holes filled, lots in cell coordinates, and the raster's axes at each lot.

    A straight line on the ground is taken as straight in the raster's CRS over the length of a profile, with the scale
    and the turn of that CRS at the lot. Over 2 miles that is within about 2 m, less than a cell.
    """
    grid = np.ascontiguousarray(np.where(elevation.valid, elevation.values, np.nan), dtype=np.float64)
    filled = _fill_holes(grid, settings.largest_hole_cells)
    inverse = ~elevation.transform
    turn = np.array([[inverse.a, inverse.b], [inverse.d, inverse.e]], dtype=np.float64)
    centre, axes = _axes(xy, working_crs, elevation.crs)
    # plain sums, not a matrix product: its rounding would depend on the number of lots
    col = turn[0, 0] * centre[:, 0] + turn[0, 1] * centre[:, 1] + inverse.c - 0.5
    row = turn[1, 0] * centre[:, 0] + turn[1, 1] * centre[:, 1] + inverse.f - 0.5
    per_m = turn[:, :1] * axes[:, None, 0, :] + turn[:, 1:] * axes[:, None, 1, :]  # d(col, row) / d(east, north)
    finite = per_m[np.isfinite(per_m).all(axis=(1, 2))]
    cell_m = 1.0 / math.sqrt(abs(float(np.median(np.linalg.det(finite))))) if len(finite) else settings.coarsest_step_m
    return _Ground(
        grid=grid,
        places=np.column_stack([row, col]),
        jacobians=np.ascontiguousarray(per_m[:, ::-1, :]) * FOOT_M,
        cell_m=cell_m,
        filled_cells=filled,
    )


def _axes(xy: Floats, working_crs: pyproj.CRS, raster_crs: pyproj.CRS) -> tuple[Floats, Floats]:
    """Lots in the raster's CRS (n, 2), and its coordinates per true metre east and north at each lot (n, 2, 2).

    From geodesics of 1 km to the four sides, so convergence and scale of both CRS, and their units, are inside.
    """
    flat, raster = horizontal(pyproj.CRS.from_user_input(working_crs)), horizontal(raster_crs)
    ellipsoid = flat.get_geod()
    if ellipsoid is None:
        raise ValueError(f"{flat.name} has no ellipsoid; expected a working CRS with true distances")
    degrees = lon_lat(xy, flat)
    geographic = flat if flat.is_geographic else horizontal(flat.geodetic_crs or flat)
    arm = np.full(len(xy), REACH_OF_AXES_M)
    ends = []
    for bearing in (90.0, 270.0, 0.0, 180.0):
        lon, lat, _ = ellipsoid.fwd(degrees[:, 0], degrees[:, 1], np.full(len(xy), bearing), arm)
        ends.append(transform_xy(transform_xy(np.column_stack([lon, lat]), geographic, flat), flat, raster))
    span = 2.0 * REACH_OF_AXES_M
    axes: Floats = np.stack([(ends[0] - ends[1]) / span, (ends[2] - ends[3]) / span], axis=-1)
    return transform_xy(xy, flat, raster), axes


def _fill_holes(grid: Floats, most_cells: int) -> int:
    """Fill small holes that do not touch the raster's edge with the mean of the known cells around; return cells."""
    missing = np.isnan(grid)
    if most_cells <= 0 or not missing.any() or missing.all():
        return 0
    from scipy import ndimage

    square = np.ones((3, 3), dtype=bool)
    labels, count = ndimage.label(missing, structure=square)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    edge = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    small = np.setdiff1d(np.flatnonzero(sizes <= most_cells), np.append(edge, 0))
    boxes = ndimage.find_objects(labels)
    filled = 0
    for label in small:
        rows, cols = boxes[label - 1]
        box = (slice(rows.start - 1, rows.stop + 1), slice(cols.start - 1, cols.stop + 1))
        hole = labels[box] == label
        rim = ndimage.binary_dilation(hole, structure=square) & ~missing[box]
        r, c = np.nonzero(hole)
        rim_r, rim_c = np.nonzero(rim)
        weight = 1.0 / ((r[:, None] - rim_r) ** 2 + (c[:, None] - rim_c) ** 2)
        grid[box][hole] = (weight * grid[box][rim]).sum(axis=1) / weight.sum(axis=1)
        filled += len(r)
    return filled


def _rules(settings: TopographySettings, step_ft: float) -> kernels.Rules:
    """The kernels' numbers: settings, and the standard's limits from its tables."""
    conditions = load_table("asce7_kzt_conditions.csv")
    edition = settings.edition
    rough, open_ground = (
        {
            column: float(value(conditions, column, edition=edition, exposure=letter))
            for column in ("least_slope", "least_height_ft", "isolation_heights", "isolation_ft")
        }
        for letter in ("B", "C")
    )
    shapes = load_table("asce7_kzt.csv")
    return kernels.Rules(
        step_ft=step_ft,
        window=settings.smoothing_points // 2,
        prominence_ft=settings.prominence_ft,
        least_height_ft=open_ground["least_height_ft"],
        rough_height_ft=rough["least_height_ft"],
        least_slope=open_ground["least_slope"],
        greatest_slope=float(np.max(shapes["greatest_slope"])),
        near=settings.keep_near,
        foot_share=settings.foot_share,
        knee_share=settings.knee_share,
        knee_ft=settings.knee_ft,
        chord_reach=settings.chord_reach,
        bench_share=settings.bench_share,
        flat_share=settings.flat_share,
        lee_reach=settings.lee_reach,
        hill_reach=settings.hill_reach,
        fine_step_ft=min(step_ft, settings.fine_step_m / FOOT_M),
        fine_below_ft=settings.fine_below_ft,
        reach_upwind=float(np.max(shapes["mu_upwind"])),
        reach_downwind=float(np.max(shapes["mu_downwind"])),
        isolation_heights=open_ground["isolation_heights"],
        isolation_ft=open_ground["isolation_ft"],
        valley_search_ft=settings.valley_search_ft,
        valley_rise_ft=settings.valley_rise_ft,
        valley_slope=settings.valley_slope,
    )


def _shape() -> Floats:
    """K1 rate in exposure C, gamma, mu upwind, mu downwind of ridge, escarpment, hill: for ranking candidates."""
    table = load_table("asce7_kzt.csv")
    columns = ("k1_per_slope", "gamma", "mu_upwind", "mu_downwind")
    rows = [where(table, feature=name, exposure="C")[0] for name in FORMS[:3]]
    return np.array([[float(table[column][row]) for column in columns] for row in rows])


_Rest = tuple[Floats, Floats, kernels.Rules, kernels.Rules, proof.Blocks]


def _rest(settings: TopographySettings, step_ft: float) -> _Rest:
    """What the kernels need besides the ground: bearings, shapes, rules at the step and at the fine step, blocks."""
    rules = _rules(settings, step_ft)
    upwind_ft, downwind_ft = (d + settings.beyond_ft for d in (settings.search_upwind_ft, settings.search_downwind_ft))
    blocks = proof.blocks_of(math.ceil(upwind_ft / step_ft), math.ceil(downwind_ft / step_ft), rules)
    return bearing_vectors(), _shape(), rules, rules._replace(step_ft=rules.fine_step_ft), blocks


def _relief(ground: _Ground, step_ft: float) -> proof.Relief:
    """Squares of the grid, for the lot whose step goes over most cells."""
    per_ft = np.sqrt((ground.jacobians**2).sum(axis=2))  # most rows, most columns in any direction
    known = per_ft[np.isfinite(per_ft)]
    return proof.relief_of(ground.grid, 1.000001 * step_ft * float(known.max()) if len(known) else 1.0)


def _run(ground: _Ground, relief: proof.Relief, part: slice, rest: _Rest, settings: TopographySettings) -> Searched:
    """Features, known reach, valley flag and ground elevation of one chunk of lots."""
    places, jacobians = ground.places[part], ground.jacobians[part]
    bearings, shape, rules, fine, blocks = rest
    n = len(places)
    most = n * DIRECTIONS * kernels.SLOTS
    out, owners = np.empty((most, kernels.FIELDS)), np.empty((most, 2), dtype=np.int64)
    reach = np.empty((n, DIRECTIONS, 2))
    valley = np.zeros(n, dtype=np.bool_)
    elevation = np.empty(n)
    written = around.run_lots(
        ground.grid,
        places,
        jacobians,
        bearings,
        settings.search_upwind_ft + settings.beyond_ft,
        settings.search_downwind_ft + settings.beyond_ft,
        shape,
        rules,
        fine,
        blocks,
        relief,
        out,
        owners,
        reach,
        valley,
        elevation,
    )
    lot, direction = owners[:written].T
    return _features(lot + part.start, direction, out[:written]), reach, valley, elevation


def _features(lot: Ints, direction: Ints, rows: Floats) -> Features:
    """Feature rows of the kernels as named columns."""
    return Features(
        lot=lot.astype(np.int64),
        direction=direction.astype(np.int64),
        height_ft=rows[:, kernels.HEIGHT].copy(),
        half_length_ft=rows[:, kernels.LENGTH].copy(),
        x_ft=rows[:, kernels.X].copy(),
        form=rows[:, kernels.FORM].astype(np.int8),
        upper=rows[:, kernels.UPPER].copy(),
        foot_ft=rows[:, kernels.FOOT].copy(),
        base_ft=rows[:, kernels.BASE].copy(),
        base_open=rows[:, kernels.OPEN] > 0.5,
        isolation=rows[:, kernels.ISOLATED].astype(np.int8),
    )


def _joined_features(parts: Sequence[Features]) -> Features:
    """Chunks of features, one after the other."""
    if not parts:
        empty: Ints = np.zeros(0, dtype=np.int64)
        return _features(empty, empty, np.zeros((0, kernels.FIELDS)))
    names = Features.__dataclass_fields__
    return Features(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in names})


def _joined(parts: Sequence[Any], empty_shape: tuple[int, ...], dtype: Any) -> Any:
    """Chunks of an array, one after the other."""
    return np.concatenate(parts) if parts else np.zeros(empty_shape, dtype=dtype)


def _sample_many(grid: Floats, places: Floats) -> Floats:
    """Bilinear values at cell coordinates (n, 2)."""
    out: Floats = np.empty(len(places))
    lines.sample_points(grid, np.ascontiguousarray(places), out)
    return out


def _assess(result: TopographyResult, z_ft: ArrayLike, exposure: ArrayLike) -> Assessment:
    """Values by direction, governing features, margins and flags."""
    f, n = result.features, len(result)
    settings = result.settings
    screening, strict, anyway = result._values(z_ft, exposure)
    kzt_screening, kzt_strict = result._greatest(screening, n), result._greatest(strict, n)
    margins = _margins(result, exposure)
    jumps = np.min(margins[:, :3], axis=1)
    # governing feature of each direction: greatest screening value, then nearest to counting, then greatest value
    rank = np.lexsort((-anyway, -jumps, -np.nan_to_num(screening, nan=np.inf), f.direction, f.lot))
    _, first = np.unique(f.lot[rank] * DIRECTIONS + f.direction[rank], return_index=True)
    governs = rank[first]
    dense = {name: np.full((n, DIRECTIONS), np.nan) for name in ("height_ft", "half_length_ft", "x_ft")}
    for name, array in dense.items():
        array[f.lot[governs], f.direction[governs]] = getattr(f, name)[governs]
    form = np.full((n, DIRECTIONS), "", dtype="<U19")
    form[f.lot[governs], f.direction[governs]] = np.array(FORMS)[f.form[governs]]
    # and of each lot
    by_lot = governs[
        np.lexsort(
            (f.direction[governs], -jumps[governs], -np.nan_to_num(screening[governs], nan=np.inf), f.lot[governs])
        )
    ]
    lots, first = np.unique(f.lot[by_lot], return_index=True)
    leads = by_lot[first]
    direction = np.full(n, -1, dtype=np.int64)
    direction[lots] = f.direction[leads]
    margin = np.full(n, np.nan)
    margin_of = np.full(n, "", dtype="<U10")
    margin[lots] = np.min(margins[leads], axis=1)
    margin_of[lots] = np.array((*CONDITIONS, "x"))[np.argmin(margins[leads], axis=1)]
    condition_margin, condition_of = _by_direction(f, governs, margins[:, :3], n)
    return Assessment(
        condition_margin=condition_margin,
        condition_of=condition_of,
        kzt_screening=kzt_screening,
        kzt_strict=kzt_strict,
        crest_distance_ft=dense["x_ft"].copy(),
        form=form,
        governing_direction=direction,
        margin=margin,
        margin_of=margin_of,
        flags=_flags(result, screening, anyway, jumps, settings),
        **dense,
    )


def _by_direction(f: Features, rows: Ints, conditions: Floats, n: int) -> tuple[Floats, NDArray[np.str_]]:
    """Nearest condition of some features laid out by lot and direction, the later rows over the earlier ones."""
    margin = np.full((n, DIRECTIONS), np.nan)
    of = np.full((n, DIRECTIONS), "", dtype="<U10")
    margin[f.lot[rows], f.direction[rows]] = np.min(conditions[rows], axis=1)
    of[f.lot[rows], f.direction[rows]] = np.array(CONDITIONS)[np.argmin(conditions[rows], axis=1)]
    return margin, of


def _margins(result: TopographyResult, exposure: ArrayLike) -> Floats:
    """Relative distance of each feature to its conditions: H, H/Lh, upper half, x; negative = missed.

    H against 15 or 60 ft, H/Lh against 0.2, ground of the lot against half height (ridges and hills only), 1 -
    |x| / (mu Lh). Unknown exposure is judged by the limit of C and D.
    """
    f, n = result.features, len(result)
    conditions = load_table("asce7_kzt_conditions.csv")
    letters = np.broadcast_to(np.asarray(exposure, dtype=np.str_), (n, DIRECTIONS))[f.lot, f.direction]
    limits = {
        letter: float(value(conditions, "least_height_ft", edition=result.settings.edition, exposure=letter))
        for letter in wind.EXPOSURES
    }
    limit = np.array([limits.get(letter, limits["C"]) for letter in letters.tolist()], dtype=np.float64)
    slope_limit = float(value(conditions, "least_slope", edition=result.settings.edition, exposure="C"))
    rules, shape = _rules(result.settings, result.step_ft), _shape()
    effective = np.maximum(f.half_length_ft, f.height_ft / rules.greatest_slope)
    reach = shape[np.where(f.form == kernels.UNCLEAR, kernels.ESCARPMENT, f.form)]
    mu = np.where(f.x_ft >= 0, reach[:, 3], reach[:, 2])
    upper = np.where(np.isin(f.form, (kernels.ESCARPMENT, kernels.UNCLEAR)), np.inf, f.upper - 1.0)
    return np.column_stack(
        [
            f.height_ft / limit - 1.0,
            f.height_ft / f.half_length_ft / slope_limit - 1.0,
            upper,
            1.0 - np.abs(f.x_ft) / (mu * effective),
        ]
    )


def _flags(
    result: TopographyResult, screening: Floats, anyway: Floats, jumps: Floats, settings: TopographySettings
) -> dict[str, Bools]:
    """Lots with something to say about; NEAR_THRESHOLD where a jump of Kzt is within the set share of its condition.

    That is: a feature that gives the lot its greatest Kzt nearly fails a condition, or one that nearly meets its
    conditions would raise the lot's greatest Kzt.
    """
    f, n = result.features, len(result)
    greatest = np.ones(n)
    np.maximum.at(greatest, f.lot, np.nan_to_num(screening, nan=1.0))
    counts = np.nan_to_num(screening, nan=2.0) > 1.0
    leads = counts & ~(screening < greatest[f.lot])
    close = np.abs(jumps) <= settings.near_threshold
    near = close & (leads | (~counts & (anyway > greatest[f.lot])))

    def lots(rows: Bools) -> Bools:
        mask = np.zeros(n, dtype=np.bool_)
        mask[f.lot[rows]] = True
        return mask

    return {
        PROFILE_TRUNCATED: np.asarray(~result.known.all(axis=1)),
        NOT_ISOLATED: lots(counts & (f.isolation == kernels.NOT_ISOLATED)),
        NEAR_THRESHOLD: lots(near),
        MAN_MADE_STEP: lots(counts & (f.half_length_ft < settings.step_below_ft)),
        VALLEY_OR_PASS: result.valley.copy(),
        ISOLATION_UNSEEN: lots(counts & (f.isolation == kernels.ISOLATION_UNSEEN)),
        BASE_BEYOND_PROFILE: lots(leads & f.base_open),
    }


def _profile(result: TopographyResult, lot: int, direction: int, z_ft: float, exposure: str) -> Profile:
    """Sample one line again and pair it with its governing feature."""
    ground, step = result._ground, result.step_ft
    settings = result.settings
    site = math.ceil((settings.search_upwind_ft + settings.beyond_ft) / step)
    size = site + math.ceil((settings.search_downwind_ft + settings.beyond_ft) / step) + 1
    line = np.empty(size)
    d_row, d_col = ground.jacobians[lot] @ (bearing_vectors()[direction] * step)
    row, col = ground.places[lot]
    lines.sample_line(ground.grid, row, col, d_row, d_col, site, line, np.empty(4 * size))
    f = result.features
    mine = np.flatnonzero((f.lot == lot) & (f.direction == direction))
    nan = math.nan
    numbers = {name: nan for name in ("height_ft", "half_length_ft", "x_ft", "foot_ft", "base_ft")}
    form, isolated = "", None
    if len(mine):
        screening, _, anyway = result._values(z_ft, exposure)
        best = max(mine.tolist(), key=lambda i: (screening[i], anyway[i]))
        numbers = {name: float(getattr(f, name)[best]) for name in numbers}
        form = FORMS[int(f.form[best])]
        isolated = {kernels.NOT_ISOLATED: False, kernels.IS_ISOLATED: True}.get(int(f.isolation[best]))
    return Profile(
        lot=lot,
        direction=direction,
        bearing_deg=direction * 360.0 / DIRECTIONS,
        known=bool(result.known[lot, direction]),
        distance_ft=np.asarray((np.arange(size) - site) * step, dtype=np.float64),
        elevation_ft=line,
        height_ft=numbers["height_ft"],
        half_length_ft=numbers["half_length_ft"],
        x_ft=numbers["x_ft"],
        form=form,
        crest_distance_ft=-numbers["x_ft"],
        crest_elevation_ft=numbers["base_ft"] + numbers["height_ft"],
        half_height_distance_ft=-numbers["x_ft"] - numbers["half_length_ft"],
        foot_distance_ft=-numbers["x_ft"] - numbers["foot_ft"],
        base_elevation_ft=numbers["base_ft"],
        isolated=isolated,
    )
