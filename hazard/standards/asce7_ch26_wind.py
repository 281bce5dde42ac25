"""Wind: velocity pressure, height, elevation and topographic factors, as pure functions over arrays.

ASCE 7-16 and ASCE 7-22 (Minimum Design Loads), Chapter 26. Editions are rows of the reference tables.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hazard.standards.tables import Table, load_table, value

Floats = NDArray[np.float64]

EXPOSURES = ("B", "C", "D")
UNKNOWN_EXPOSURE = "?"
FEATURES = ("ridge", "escarpment", "hill")


def kz(z_ft: ArrayLike, exposure: ArrayLike, edition: str, floor: bool = False) -> Floats:
    """Velocity pressure exposure coefficient Kz (or Kh).

    ASCE 7-16 and 7-22, Section 26.10.1, Table 26.10-1 with the constants of Table 26.11-1. Heights in ft above
    ground; heights below 15 ft count as 15 ft. Exposure letters B, C, D; "?" gives NaN. Shapes broadcast.

    `floor=True` is for Chapter 28 only: Exposure B is then not less than 0.70. The table's note speaks of heights
    below 30 ft; the 7-22 law itself gives 0.689 at 30 ft, so 0.70 is held until the law passes it, and Kz never
    falls with height.
    """
    coefficient, alpha, zg_ft, least_z_ft, least_kz = kz_constants(exposure, edition)
    z = np.maximum(_heights(z_ft, "z_ft"), least_z_ft)
    law: Floats = coefficient * (z / zg_ft) ** (2.0 / alpha)
    if not floor:
        return law
    return np.where(np.isnan(least_kz), law, np.maximum(law, least_kz))


def kz_constants(exposure: ArrayLike, edition: str) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Coefficient, alpha, zg (ft), least z (ft) and Chapter 28's least Kz (NaN: none) of each exposure letter.

    ASCE 7-16 and 7-22, Tables 26.10-1 and 26.11-1. Shape of `exposure`; "?" gives NaN.
    """
    table, places = load_table("asce7_kz.csv"), _exposure_places(exposure)
    columns = ("coefficient", "alpha", "zg_ft", "least_z_ft", "least_kz_ch28")
    found = [_by_exposure(table, column, places, edition=edition) for column in columns]
    return found[0], found[1], found[2], found[3], found[4]


def kd(edition: str) -> float:
    """Wind directionality factor of buildings, main system and components.

    ASCE 7-16 and 7-22, Section 26.6, Table 26.6-1.
    """
    return float(value(load_table("asce7_velocity_pressure.csv"), "kd_buildings", edition=edition))


def kd_in_pressure(edition: str) -> float:
    """The directionality factor that a pressure equation must still apply: 1.0 where Kd is inside q.

    ASCE 7-16 Eq. 26.10-1 has Kd inside q; ASCE 7-22 moved it to the pressure equations of Chapters 27 to 30.
    """
    return 1.0 if _kd_inside(edition) else kd(edition)


def ke(ground_elevation_ft: ArrayLike, edition: str = "ASCE 7-16") -> Floats:
    """Ground elevation factor Ke, from the elevation of the ground above sea level in ft.

    ASCE 7-16 and 7-22, Section 26.9, Table 26.9-1 note: the exponential. Ke = 1.0 is always permitted instead.
    """
    rate_per_ft = float(value(load_table("asce7_velocity_pressure.csv"), "ke_per_ft", edition=edition))
    elevation: Floats = np.asarray(ground_elevation_ft, dtype=np.float64)
    return np.exp(-rate_per_ft * elevation)


def velocity_pressure_psf(
    kz: ArrayLike, kzt: ArrayLike, kd: ArrayLike, ke: ArrayLike, v_mph: ArrayLike, edition: str
) -> Floats:
    """Velocity pressure q, psf, at the height of `kz`, from the 3-second gust speed in mph.

    ASCE 7-16 and 7-22, Section 26.10.2, Eq. 26.10-1. In 7-16 Kd is part of q. In 7-22 it is not: `kd` is then left
    out here and the pressure equations multiply by `kd_in_pressure(edition)`.
    """
    constant = float(value(load_table("asce7_velocity_pressure.csv"), "constant", edition=edition))
    directionality = np.asarray(kd, dtype=np.float64) if _kd_inside(edition) else 1.0
    speed: Floats = np.asarray(v_mph, dtype=np.float64)
    return np.asarray(constant * np.asarray(kz) * np.asarray(kzt) * directionality * np.asarray(ke) * speed**2)


def k1(feature: ArrayLike, exposure: ArrayLike, height_ft: ArrayLike, half_length_ft: ArrayLike) -> Floats:
    """Shape factor K1 of a topographic feature: grows with its slope H/Lh, up to H/Lh = 0.5.

    ASCE 7-16 and 7-22, Section 26.8.2, Figure 26.8-1. H is the feature's height and Lh the distance upwind from the
    crest to half that height, both in ft.
    """
    rate, greatest = (_by_feature(column, feature, exposure) for column in ("k1_per_slope", "greatest_slope"))
    return rate * np.minimum(_slope(height_ft, half_length_ft), greatest)


def k2(
    feature: ArrayLike, exposure: ArrayLike, height_ft: ArrayLike, half_length_ft: ArrayLike, x_ft: ArrayLike
) -> Floats:
    """Distance factor K2 of a topographic feature: 1 at the crest, falling to 0 at mu * Lh from it.

    ASCE 7-16 and 7-22, Section 26.8.2, Figure 26.8-1. `x_ft` is the distance of the site from the crest, positive
    downwind. Where H/Lh exceeds 0.5, Lh is taken as 2H.
    """
    x: Floats = np.asarray(x_ft, dtype=np.float64)
    upwind, downwind = (_by_feature(column, feature, exposure) for column in ("mu_upwind", "mu_downwind"))
    reach_ft = np.where(x < 0, upwind, downwind) * _effective_length_ft(feature, exposure, height_ft, half_length_ft)
    return np.asarray(np.maximum(0.0, 1.0 - np.abs(x) / reach_ft))


def k3(
    feature: ArrayLike, exposure: ArrayLike, height_ft: ArrayLike, half_length_ft: ArrayLike, z_ft: ArrayLike
) -> Floats:
    """Height factor K3 of a topographic feature: 1 at the ground, falling with height above it.

    ASCE 7-16 and 7-22, Section 26.8.2, Figure 26.8-1. `z_ft` is the height above the ground at the site. Where H/Lh
    exceeds 0.5, Lh is taken as 2H.
    """
    gamma = _by_feature("gamma", feature, exposure)
    length_ft = _effective_length_ft(feature, exposure, height_ft, half_length_ft)
    return np.asarray(np.exp(-gamma * _heights(z_ft, "z_ft") / length_ft))


def kzt(
    feature: ArrayLike,
    exposure: ArrayLike,
    height_ft: ArrayLike,
    half_length_ft: ArrayLike,
    x_ft: ArrayLike,
    z_ft: ArrayLike,
) -> Floats:
    """Topographic factor Kzt of a feature that qualifies (see `topography_counts`).

    ASCE 7-16 and 7-22, Section 26.8.2, Eq. 26.8-1, by the expressions of Figure 26.8-1 in the actual exposure.
    """
    product = (
        k1(feature, exposure, height_ft, half_length_ft)
        * k2(feature, exposure, height_ft, half_length_ft, x_ft)
        * k3(feature, exposure, height_ft, half_length_ft, z_ft)
    )
    return np.asarray((1.0 + product) ** 2)


def kzt_constants(feature: str, exposure: str) -> dict[str, float]:
    """The constants of Figure 26.8-1 for one feature and exposure letter, by name.

    K1 per H/Lh, mu upwind and downwind, gamma, and the greatest H/Lh; ASCE 7-16 and 7-22.
    """
    columns = ("k1_per_slope", "mu_upwind", "mu_downwind", "gamma", "greatest_slope")
    return {column: float(_by_feature(column, feature, exposure)) for column in columns}


def topography_counts(
    edition: str, exposure: ArrayLike, height_ft: ArrayLike, half_length_ft: ArrayLike
) -> NDArray[np.bool_]:
    """Whether a feature is steep and high enough for Kzt: H/Lh at least 0.2, H at least 15 ft (C, D) or 60 ft (B).

    ASCE 7-16 and 7-22, Section 26.8.1, the height and slope conditions only. Unknown exposure counts as not known:
    the height limit of C and D (the lower one) is then used.
    """
    table = load_table("asce7_kzt_conditions.csv")
    places = _exposure_places(exposure)
    known = np.where(places < 0, EXPOSURES.index("C"), places)
    least_slope, least_height_ft = (
        _by_exposure(table, column, known, edition=edition) for column in ("least_slope", "least_height_ft")
    )
    height: Floats = np.asarray(height_ft, dtype=np.float64)
    return np.asarray((_slope(height_ft, half_length_ft) >= least_slope) & (height >= least_height_ft))


def isolation_distance_ft(edition: str, height_ft: ArrayLike) -> Floats:
    """How far upwind a feature must stand alone: the lesser of 100 H and 2 miles, ft.

    ASCE 7-16, Section 26.8.1, condition 1.
    """
    table = load_table("asce7_kzt_conditions.csv")
    heights, limit_ft = (
        float(value(table, column, edition=edition, exposure="C")) for column in ("isolation_heights", "isolation_ft")
    )
    return np.asarray(np.minimum(heights * np.asarray(height_ft, dtype=np.float64), limit_ft))


def _kd_inside(edition: str) -> bool:
    """Whether this edition's velocity pressure contains Kd."""
    return bool(value(load_table("asce7_velocity_pressure.csv"), "kd_in_velocity_pressure", edition=edition))


def _places(names: NDArray[np.str_], known: tuple[str, ...], what: str) -> NDArray[np.intp]:
    """Where each name stands in `known`, -1 for "?"; any other name is an error."""
    places: NDArray[np.intp] = np.full(names.shape, -2, dtype=np.intp)
    for number, name in [(-1, UNKNOWN_EXPOSURE), *enumerate(known)]:
        places[names == name] = number
    if np.any(places == -2):
        strange = str(names[places == -2][0])
        raise ValueError(f"{what} {strange!r}; expected one of {', '.join(known)}, or ? for unknown")
    return places


def _exposure_places(exposure: ArrayLike) -> NDArray[np.intp]:
    """Exposure letters as places in B, C, D; -1 for unknown."""
    return _places(np.asarray(exposure, dtype=np.str_), EXPOSURES, "exposure")


def _by_exposure(table: Table, column: str, places: NDArray[np.intp], **equal: str) -> Floats:
    """One column of a table spread over exposures; NaN for an unknown exposure."""
    cells: Floats = np.array([*(value(table, column, exposure=letter, **equal) for letter in EXPOSURES), np.nan])
    return cells[places]


def _by_feature(column: str, feature: ArrayLike, exposure: ArrayLike) -> Floats:
    """One column of the topography table spread over features and exposures; NaN for an unknown one."""
    table = load_table("asce7_kzt.csv")
    cells: Floats = np.full((len(FEATURES) + 1, len(EXPOSURES) + 1), np.nan)
    for row, name in enumerate(FEATURES):
        cells[row, :-1] = [value(table, column, feature=name, exposure=letter) for letter in EXPOSURES]
    rows = _places(np.asarray(feature, dtype=np.str_), FEATURES, "topographic feature")
    return cells[rows, _exposure_places(exposure)]


def _slope(height_ft: ArrayLike, half_length_ft: ArrayLike) -> Floats:
    """H/Lh; lengths must be positive."""
    length: Floats = np.asarray(half_length_ft, dtype=np.float64)
    if np.any(length <= 0):
        raise ValueError("half length Lh is zero or negative; expected ft above 0")
    return np.asarray(np.asarray(height_ft, dtype=np.float64) / length)


def _effective_length_ft(
    feature: ArrayLike, exposure: ArrayLike, height_ft: ArrayLike, half_length_ft: ArrayLike
) -> Floats:
    """Lh, or 2H where the feature is steeper than H/Lh = 0.5."""
    greatest = _by_feature("greatest_slope", feature, exposure)
    height: Floats = np.asarray(height_ft, dtype=np.float64)
    return np.asarray(np.maximum(np.asarray(half_length_ft, dtype=np.float64), height / greatest))


def _heights(z_ft: ArrayLike, name: str) -> Floats:
    """Heights as an array; a negative height is an error."""
    z: Floats = np.asarray(z_ft, dtype=np.float64)
    if np.any(z < 0):
        raise ValueError(f"{name} is {np.nanmin(z):g}; expected a height of 0 ft or more")
    return z
