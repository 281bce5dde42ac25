"""Exposure category of every lot, by wind direction, from the ground upwind. ASCE 7-16 and 7-22, 26.7.

`hazard.fetch` measures how far rough, smooth and known ground reach; here the letters B, C, D follow for the mean roof
height of each lot's plan, with the numbers that show how close the call was.

Rules (26.7.1 to 26.7.4; the two-sector rule, the 600 ft / 20 h rule and 26.7.4 from memory, the rest read in public
transcriptions):

* Direction k is wind FROM bearing 22.5 k degrees. It has the 45 degree sectors k-2 (left) and k (right), and the worse
  of the two governs.
* A sector is D when roughness D prevails over 5,000 ft or 20 h, beginning within 600 ft or 20 h of the lot; B when
  roughness B prevails over 1,500 ft (h <= 30 ft), or over 2,600 ft or 20 h (taller); else C.
* A sector with ground that is not known within its search distance has no letter ('?'): neither B nor C is a safe guess
  beside unknown ground. A lot is then D if another, complete direction says so; otherwise it needs a person.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from hazard.crs import METRES_PER_FOOT
from hazard.exposure_rules import ExposureRules
from hazard.fetch import N_WEDGES, WEDGE_DEG, Fetch, measure_fetch, measure_fetch_states

__all__ = [
    "EXPO_UNKNOWN",
    "ExposureResult",
    "ExposureRules",
    "Fetch",
    "Flips",
    "exposure_at_height",
    "flipping_lots",
    "letters",
    "lots_columns",
    "measure_fetch",
    "measure_fetch_states",
    "pick_per_lot",
    "sector_layer",
]

EXPO_UNKNOWN = "EXPO_UNKNOWN"
N_DIRECTIONS = 16
# How exposed a letter is; unknown ground could be anything up to D.
_RANKED = np.array(["B", "C", "?", "D"])
_B, _C, _UNKNOWN, _D = range(4)


@dataclass(frozen=True)
class ExposureResult:
    """Exposure of n lots at their plans' mean roof heights. Directions and sectors as in the module's text."""

    letters: np.ndarray  # (n, 16) '<U1' by wind direction
    sector_letters: np.ndarray  # (n, 16) '<U1' by 45 degree sector
    exposure: np.ndarray  # (n,) '<U1' the worst direction, as 26.7.4 asks for the envelope procedure
    by_direction: np.ndarray  # (n,) '<U16' the sixteen letters from north clockwise
    sector_rough_share: np.ndarray  # (n, 16) share of roughness B within the distance of B
    sector_rough_run_ft: np.ndarray  # (n, 16) how far B prevails
    sector_open_gap_ft: np.ndarray  # (n, 16) longest open stretch within the distance of B
    sector_smooth_start_ft: np.ndarray  # (n, 16) where D begins that is long enough; inf = nowhere
    sector_smooth_length_ft: np.ndarray  # (n, 16)
    sector_unknown_from_ft: np.ndarray  # (n, 16) nearest unknown ground; inf = none
    rough_share_min: np.ndarray  # (n,) share of rough ground in the deciding sector; NaN = unknown
    share_margin: np.ndarray  # (n,) the same less the share that prevails
    margin_ft: np.ndarray  # (n,) least change of a distance that would change the lot's letter; NaN = unknown
    governing_sector: np.ndarray  # (n,) int, -1 = off the raster
    governing_bearing_deg: np.ndarray  # (n,) bearing of the middle of the deciding sector
    missing_ft: np.ndarray  # (n,) how much more ground upwind must be known (R16); 0 = complete
    scope_code: np.ndarray  # (n,) 'EXPO_UNKNOWN' or ''

    @property
    def left_letters(self) -> np.ndarray:
        """(n, 16) letter of the sector to the left (counter-clockwise) of each direction."""
        return np.asarray(np.roll(self.sector_letters, 2, axis=1))

    @property
    def right_letters(self) -> np.ndarray:
        """(n, 16) letter of the sector to the right (clockwise) of each direction."""
        return self.sector_letters


@dataclass(frozen=True)
class _Sectors:
    """Fetch quantities per lot and sector at the lot's height: each (n, 16), the needed distances (n, 1)."""

    share: np.ndarray
    run_ft: np.ndarray
    gap_ft: np.ndarray
    start_ft: np.ndarray
    length_ft: np.ndarray
    long_start_ft: np.ndarray
    long_length_ft: np.ndarray
    unknown_from_ft: np.ndarray
    rough_need_ft: np.ndarray
    inland_ft: np.ndarray
    smooth_need_ft: np.ndarray
    missing_ft: np.ndarray  # ground that must be known and is not


def _heights(fetch: Fetch, height_ft: np.ndarray | float) -> np.ndarray:
    h = np.broadcast_to(np.asarray(height_ft, dtype=np.float64), (fetch.n_lots,))
    if h.size and np.nanmax(np.where(np.isnan(h), 0.0, h)) > fetch.greatest_height_ft:
        raise ValueError(
            f"height_ft: {np.nanmax(h):g} ft; expected at most {fetch.greatest_height_ft:g} ft, "
            "for which the ground was measured"
        )
    if (h <= 0.0).any():
        raise ValueError(f"height_ft: {np.nanmin(h):g} ft; expected more than 0")
    return h


def _sectors(fetch: Fetch, height_ft: np.ndarray | float) -> _Sectors:
    """Gather the measured places for the lots. A lot off the raster or without a height knows nothing."""
    rules = fetch.rules
    h = _heights(fetch, height_ft)
    known = (fetch.place >= 0) & ~np.isnan(h)
    distance = (h > rules.low_height_ft).astype(np.int64)

    def of(values: np.ndarray, missing: float) -> np.ndarray:
        out = np.full((h.size, N_WEDGES), missing)
        if values.ndim == 3:
            out[known] = values[fetch.place[known], :, distance[known]]
        else:
            out[known] = values[fetch.place[known]]
        return out

    # A tall plan must meet the short distance as well as its own.
    low_run, tall_run = fetch.rough_run_ft[..., 0], fetch.rough_run_ft[..., 1]
    run = np.stack([low_run, np.where(low_run < rules.rough_distance_low_ft, low_run, tall_run)], axis=-1)
    share = np.minimum.accumulate(fetch.rough_share, axis=-1)
    unknown_from = of(fetch.unknown_from_ft, 0.0)
    radius = np.where(known, rules.search_radius_ft(h), np.nan)[:, None]
    # The lot may stand a little off the place it was counted at, so a raster that reaches exactly far enough does.
    short = unknown_from + fetch.position_slack_ft < radius
    missing = np.where(short, radius - unknown_from, np.where(np.isnan(radius), np.nan, 0.0))
    return _Sectors(
        of(share, np.nan), of(run, np.nan), of(fetch.open_gap_ft, np.nan),
        of(fetch.smooth_start_ft, np.inf), of(fetch.smooth_length_ft, 0.0),
        of(fetch.longest_smooth_start_ft, np.inf), of(fetch.longest_smooth_length_ft, 0.0),
        unknown_from, rules.rough_need_ft(h)[:, None], rules.inland_ft(h)[:, None], rules.smooth_need_ft(h)[:, None],
        missing,
    )  # fmt: skip


def _rank_sectors(s: _Sectors, rules: ExposureRules, share: float, band_ft: float = 0.0) -> np.ndarray:
    """Letter of every sector as a rank: (n, 16). band_ft > 0 judges every distance more exposed by that much."""
    inland, need = s.inland_ft + band_ft, s.smooth_need_ft - band_ft
    smooth = (s.start_ft <= inland) & (s.length_ft >= need)
    smooth |= (s.long_start_ft <= inland) & (s.long_length_ft >= need)
    if band_ft == 0.0:
        rough = (s.share >= share) & (s.gap_ft <= rules.open_gap_ft)
    else:
        rough = s.run_ft >= s.rough_need_ft + band_ft
    rank = np.where(smooth, _D, np.where(rough, _B, _C))
    return np.where(s.missing_ft == 0.0, rank, _UNKNOWN)  # NaN, no height or off the raster, is unknown too


def _rank_directions(sector_rank: np.ndarray) -> np.ndarray:
    """The worse of the two sectors beside each wind direction. ASCE 7-16 26.7.1 [memory]."""
    return np.asarray(np.maximum(np.roll(sector_rank, 2, axis=1), sector_rank))


def letters(fetch: Fetch, height_ft: np.ndarray | float, *, rough_share: float | None = None) -> np.ndarray:
    """Exposure letters by wind direction: (n, 16) '<U1' of B, C, D, '?'. ASCE 7-16 26.7.3.

    height_ft: mean roof height of each lot's plan, (n,) or one number. rough_share: another share that 'prevails' than
    the one in the rules.
    """
    share = fetch.rules.rough_share if rough_share is None else rough_share
    return np.asarray(_RANKED[_rank_directions(_rank_sectors(_sectors(fetch, height_ft), fetch.rules, share))])


def exposure_at_height(fetch: Fetch, height_ft: np.ndarray | float) -> ExposureResult:
    """Exposure of every lot at its plan's mean roof height, with the distances and shares that decided."""
    share = fetch.rules.rough_share
    s = _sectors(fetch, height_ft)
    rank = _rank_sectors(s, fetch.rules, share)
    direction_letters = _RANKED[_rank_directions(rank)]
    worst = rank.max(axis=1)
    sector = _deciding_sector(s, rank, worst)
    lots = np.arange(fetch.n_lots)
    decided = worst != _UNKNOWN
    share_min = np.where(decided, s.share[lots, sector], np.nan)
    off = (fetch.place < 0) | np.isnan(s.missing_ft).any(axis=1)
    return ExposureResult(
        letters=direction_letters,
        sector_letters=_RANKED[rank],
        exposure=_RANKED[worst],
        by_direction=_joined(direction_letters),
        sector_rough_share=s.share,
        sector_rough_run_ft=s.run_ft,
        sector_open_gap_ft=s.gap_ft,
        sector_smooth_start_ft=s.start_ft,
        sector_smooth_length_ft=s.length_ft,
        sector_unknown_from_ft=s.unknown_from_ft,
        rough_share_min=share_min,
        share_margin=share_min - share,
        margin_ft=np.where(decided, _margin_ft(s, rank, worst), np.nan),
        governing_sector=np.where(off, -1, sector),
        governing_bearing_deg=np.where(off, np.nan, (sector + 1) % N_WEDGES * WEDGE_DEG),
        missing_ft=s.missing_ft.max(axis=1),
        scope_code=np.where(decided, "", EXPO_UNKNOWN),
    )


def _joined(direction_letters: np.ndarray) -> np.ndarray:
    """(n, 16) letters -> (n,) strings of sixteen."""
    return np.asarray(np.ascontiguousarray(direction_letters.astype("<U1")).view(f"<U{N_DIRECTIONS}").ravel())


def _deciding_sector(s: _Sectors, rank: np.ndarray, worst: np.ndarray) -> np.ndarray:
    """Among the sectors with the lot's worst letter: least rough share; for D and '?' the nearest of it."""
    by_share = np.where(np.isnan(s.share), np.inf, s.share)
    key = np.where((worst == _D)[:, None], s.start_ft, by_share)
    key = np.where((worst == _UNKNOWN)[:, None], s.unknown_from_ft, key)
    key = np.where(rank == worst[:, None], key, np.inf)
    fallback = np.where(rank == worst[:, None], 0.0, 1.0)  # all keys infinite: still take one with the worst letter
    infinite = np.isinf(key).all(axis=1)
    return np.asarray(np.where(infinite, fallback.argmin(axis=1), key.argmin(axis=1)))


def _margin_ft(s: _Sectors, rank: np.ndarray, worst: np.ndarray) -> np.ndarray:
    """Least change of a distance that would change the lot's letter, ft: (n,).

    B: one sector falls short of B or becomes D. C: every C sector becomes B, or one becomes D. D: every D sector stops
    being D.
    """

    def to_smooth(start: np.ndarray, length: np.ndarray) -> np.ndarray:
        change = np.maximum(np.maximum(start - s.inland_ft, s.smooth_need_ft - length), 0.0)
        return np.asarray(change)

    becomes_d = np.minimum(to_smooth(s.start_ft, s.length_ft), to_smooth(s.long_start_ft, s.long_length_ft))
    becomes_d = np.where(rank == _D, np.inf, becomes_d).min(axis=1)
    spare = np.where(rank == _B, s.run_ft - s.rough_need_ft, np.inf).min(axis=1)
    short = np.where(rank == _C, s.rough_need_ft - s.run_ft, -np.inf).max(axis=1)
    leaves_d = np.minimum(s.inland_ft - s.start_ft, s.length_ft - s.smooth_need_ft)
    leaves_d = np.where(rank == _D, leaves_d, -np.inf).max(axis=1)
    margins = [np.minimum(spare, becomes_d), np.minimum(short, becomes_d), leaves_d]
    return np.asarray(np.select([worst == _B, worst == _C, worst == _D], margins, np.nan))


def pick_per_lot(results: list[ExposureResult], which: np.ndarray) -> ExposureResult:
    """A result made of lot i of results[which[i]]: for design states that differ from lot to lot."""
    lots = np.arange(which.shape[0])
    return ExposureResult(
        **{
            item.name: np.stack([getattr(result, item.name) for result in results])[which, lots]
            for item in fields(ExposureResult)
        }
    )


def lots_columns(result: ExposureResult) -> dict[str, np.ndarray]:
    """The columns of the lots table that come from here."""
    return {
        "exposure": result.exposure,
        "exposure_by_direction": result.by_direction,
        "rough_share_min": result.rough_share_min,
        "exposure_margin_ft": result.margin_ft,
        "exposure_governing_bearing_deg": result.governing_bearing_deg,
    }


@dataclass(frozen=True)
class Flips:
    """Worst letters of n lots under stricter and looser readings, and which lots they flip.

    Each `*_deg` is the bearing of the sector that decides under that reading, or decided before it, whichever is the
    more exposed: where to look.
    """

    as_is: np.ndarray  # (n,) '<U1'
    share_stricter: np.ndarray
    share_looser: np.ndarray
    distance_stricter: np.ndarray
    distance_looser: np.ndarray
    as_is_deg: np.ndarray  # (n,) degrees
    share_stricter_deg: np.ndarray
    share_looser_deg: np.ndarray
    distance_stricter_deg: np.ndarray
    distance_looser_deg: np.ndarray

    @property
    def flips(self) -> np.ndarray:
        """(n,) bool: any of the four readings gives another letter."""
        others = (self.share_stricter, self.share_looser, self.distance_stricter, self.distance_looser)
        return np.asarray(np.logical_or.reduce([other != self.as_is for other in others]))


def flipping_lots(
    fetch: Fetch,
    height_ft: np.ndarray | float,
    *,
    share_band: float = 0.10,
    distance_band_ft: float = 100.0,
) -> Flips:
    """Lots whose letter changes when the share that prevails, or the distances, move by the given band either way."""
    share = fetch.rules.rough_share
    s = _sectors(fetch, height_ft)

    as_is = _rank_sectors(s, fetch.rules, share)

    def reading(at_share: float, band_ft: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        rank = _rank_sectors(s, fetch.rules, at_share, band_ft)
        worse = (rank.max(axis=1) > as_is.max(axis=1))[:, None]
        looked_at = np.where(worse, rank, as_is)
        sector = _deciding_sector(s, looked_at, looked_at.max(axis=1))
        return _RANKED[rank.max(axis=1)], (sector + 1) % N_WEDGES * WEDGE_DEG

    readings = (
        reading(share),
        reading(min(1.0, share + share_band)),
        reading(max(0.0, share - share_band)),
        reading(share, distance_band_ft),
        reading(share, -distance_band_ft),
    )
    return Flips(*(letter for letter, _ in readings), *(bearing for _, bearing in readings))


def sector_layer(
    points_xy: np.ndarray, result: ExposureResult, height_ft: np.ndarray | float, rules: ExposureRules | None = None
) -> dict[str, np.ndarray]:
    """Columns of a map layer: one wedge of 22.5 degrees per lot and wind direction, n x 16 rows, lot after lot.

    points_xy: lot points in the working CRS (metres, north up). The wedge reaches as far as rough ground prevails, at
    least one ring so that it can be seen, at most the distance that B needs. Shares and distances are those of the
    governing one of the direction's two sectors. `lot` is the row number of the lot.
    """
    rules = rules or ExposureRules()
    points = np.asarray(points_xy, dtype=np.float64).reshape(-1, 2)
    n = points.shape[0]
    sector = _governing_sector_of_direction(result)
    lots = np.arange(n)[:, None]
    need = np.broadcast_to(
        rules.rough_need_ft(np.broadcast_to(np.asarray(height_ft, dtype=np.float64), (n,)))[:, None], (n, 16)
    )
    run = result.sector_rough_run_ft[lots, sector]
    reach_ft = np.clip(
        np.where(np.isnan(run), rules.ring_ft, run), rules.ring_ft, np.nan_to_num(need, nan=rules.ring_ft)
    )
    return {
        "lot": np.repeat(np.arange(n), N_DIRECTIONS),
        "bearing_deg": np.tile(np.arange(N_DIRECTIONS) * WEDGE_DEG, n),
        "exposure": result.letters.ravel(),
        "left": result.left_letters.ravel(),
        "right": result.right_letters.ravel(),
        "rough_share": result.sector_rough_share[lots, sector].ravel(),
        "rough_run_ft": run.ravel(),
        "smooth_start_ft": _none_is_nan(result.sector_smooth_start_ft[lots, sector]).ravel(),
        "smooth_length_ft": result.sector_smooth_length_ft[lots, sector].ravel(),
        "unknown_from_ft": _none_is_nan(result.sector_unknown_from_ft[lots, sector]).ravel(),
        "geometry": _wedge_polygons(points, reach_ft * METRES_PER_FOOT).ravel(),
    }


def _none_is_nan(values: np.ndarray) -> np.ndarray:
    return np.where(np.isinf(values), np.nan, values)


def _governing_sector_of_direction(result: ExposureResult) -> np.ndarray:
    """The sector, left or right of each direction, whose letter is worse; at a tie the one with less rough ground."""
    order = {letter: rank for rank, letter in enumerate(_RANKED)}
    rank = np.vectorize(order.__getitem__, otypes=[np.int64])(result.sector_letters)
    right = np.broadcast_to(np.arange(N_DIRECTIONS), rank.shape)
    left = (right - 2) % N_WEDGES
    left_rank, left_share = np.roll(rank, 2, axis=1), np.roll(result.sector_rough_share, 2, axis=1)
    take_left = (left_rank > rank) | ((left_rank == rank) & (left_share < result.sector_rough_share))
    return np.where(take_left, left, right)


def _wedge_polygons(points: np.ndarray, reach_m: np.ndarray) -> np.ndarray:
    """Wedges of 22.5 degrees about each direction: (n, 16) polygons of six points."""
    import shapely

    n = points.shape[0]
    bearing = np.arange(N_DIRECTIONS)[:, None] * WEDGE_DEG + np.linspace(-0.5, 0.5, 4)[None, :] * WEDGE_DEG
    unit = np.stack([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))], axis=-1)  # (16, 4, 2)
    ring = np.empty((n, N_DIRECTIONS, 6, 2))
    ring[:, :, [0, 5]] = points[:, None, None, :]
    ring[:, :, 1:5] = points[:, None, None, :] + reach_m[:, :, None, None] * unit[None]
    return np.asarray(shapely.polygons(ring.reshape(-1, 6, 2))).reshape(n, N_DIRECTIONS)
