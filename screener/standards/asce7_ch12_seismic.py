"""Earthquake forces on houses: ASCE 7-16 and 7-22, Chapter 12, equivalent lateral force and simplified procedures.

Units: g for spectral values, seconds, feet; weights and forces in any one unit of force. Arrays run over lots first;
where levels are spoken of they are the last axis, lowest level first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hazard.standards.tables import load_table, value, where
from screener.standards._editions import edition_value

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SystemFactors:
    """Response factors of a seismic force-resisting system; height limit None = not permitted in that category."""

    system: str
    item: str
    r: float
    omega0: float
    cd: float
    height_limit_ft: Mapping[str, float | None]


def _height_limit_ft(text: str) -> float | None:
    """A height limit of the table: NL = infinite, NP = None."""
    if text == "NP":
        return None
    return float("inf") if text == "NL" else float(text)


@cache
def system_factors(system: str) -> SystemFactors:
    """R, overstrength, deflection amplification and height limits of one system.

    ASCE 7-16 and 7-22, Tables 12.2-1 and 12.14-1; names as in `reference/seismic_systems.csv`.
    """
    heights = tuple(f"height_{category.lower()}_ft" for category in "BCDEF")
    table = load_table("seismic_systems.csv", "screener", heights)
    rows = where(table, system=system)
    if not len(rows):
        raise ValueError(f"seismic system {system!r}; expected one of {', '.join(table['system'])}")
    row = rows[0]
    limits = {category: _height_limit_ft(str(table[key][row])) for category, key in zip("BCDEF", heights, strict=True)}
    r, omega0, cd = (float(table[key][row]) for key in ("r", "omega0", "cd"))
    return SystemFactors(system, str(table["item"][row]), r, omega0, cd, limits)


def overstrength(system: str, flexible_diaphragm: bool) -> float:
    """Overstrength factor, 0.5 less with flexible diaphragms but not under 2.0 (Table 12.2-1, note; from memory)."""
    factors = system_factors(system)
    return max(factors.omega0 - 0.5, 2.0) if flexible_diaphragm else factors.omega0


# --- 12.8 equivalent lateral force -----------------------------------------------------------------------------------


def approximate_period_s(hn_ft: ArrayLike, ct: float = 0.02, x: float = 0.75) -> Floats:
    """Approximate period Ta = Ct hn^x; defaults are the table's "all other systems".

    ASCE 7-16 and 7-22, Eq. 12.8-7 and Table 12.8-2. hn: structural height, ft.
    """
    return np.asarray(ct * np.asarray(hn_ft, dtype=float) ** x)[()]


def capped_sds(sds: ArrayLike, qualifies: ArrayLike) -> Floats:
    """SDS that Cs and Ev may use for regular low buildings: 1.0, but not less than 0.7 SDS.

    ASCE 7-16 and 7-22, Sec. 12.8.1.3. `qualifies`: regular, five storeys or fewer, T up to 0.5 s, redundancy 1.0,
    risk category I or II, site class not E or F. Elsewhere SDS stays, and diaphragm bounds never use the cap.
    """
    value = np.asarray(sds, dtype=float)
    capped = np.minimum(value, np.maximum(1.0, 0.7 * value))
    return np.asarray(np.where(np.asarray(qualifies, dtype=bool), capped, value))[()]


def cs_short_period(sds: ArrayLike, r: ArrayLike, ie: ArrayLike) -> Floats:
    """Cs = SDS / (R / Ie). ASCE 7-16 Eq. 12.8-2 (renumbered in 7-22)."""
    return np.asarray(np.asarray(sds, dtype=float) * np.asarray(ie, dtype=float) / np.asarray(r, dtype=float))[()]


def cs_upper_bound(
    sd1: ArrayLike, r: ArrayLike, ie: ArrayLike, t_s: ArrayLike, tl_s: ArrayLike, factor: ArrayLike = 1.0
) -> Floats:
    """Value that Cs need not exceed: SD1 / (T R / Ie) to TL, SD1 TL / (T² R / Ie) beyond.

    ASCE 7-16 Eq. 12.8-3 and 12.8-4. `factor` 1.5 where the exception of Sec. 11.4.8 for site class D is used.
    """
    t, tl = np.asarray(t_s, dtype=float), np.asarray(tl_s, dtype=float)
    base = np.asarray(sd1, dtype=float) * np.asarray(ie, dtype=float) / (t * np.asarray(r, dtype=float))
    return np.asarray(np.asarray(factor, dtype=float) * np.where(t <= tl, base, base * tl / t))[()]


def cs_lower_bound(sds: ArrayLike, ie: ArrayLike) -> Floats:
    """Cs not less than 0.044 SDS Ie and 0.01. ASCE 7-16 Eq. 12.8-5."""
    return np.asarray(np.maximum(0.044 * np.asarray(sds, dtype=float) * np.asarray(ie, dtype=float), 0.01))[()]


def cs_near_fault_bound(s1: ArrayLike, r: ArrayLike, ie: ArrayLike) -> Floats:
    """Cs not less than 0.5 S1 / (R / Ie) where S1 is 0.6 g or more, else 0. ASCE 7-16 Eq. 12.8-6."""
    value = np.asarray(s1, dtype=float)
    bound = 0.5 * value * np.asarray(ie, dtype=float) / np.asarray(r, dtype=float)
    return np.asarray(np.where(np.isnan(value), np.nan, np.where(value >= 0.6, bound, 0.0)))[()]


def seismic_response_coefficient(
    sds: ArrayLike,
    sd1: ArrayLike,
    s1: ArrayLike,
    r: ArrayLike,
    ie: ArrayLike,
    t_s: ArrayLike,
    tl_s: ArrayLike,
    upper_bound_factor: ArrayLike = 1.0,
) -> Floats:
    """Seismic response coefficient Cs with its upper and lower bounds.

    ASCE 7-16 Sec. 12.8.1.1, Eq. 12.8-2 to 12.8-6; ASCE 7-22 the same limits renumbered. Arrays broadcast; NaN in any
    ground-motion value gives NaN. `upper_bound_factor` 1.5 for the site class D exception of Sec. 11.4.8.
    """
    capped = np.minimum(cs_short_period(sds, r, ie), cs_upper_bound(sd1, r, ie, t_s, tl_s, upper_bound_factor))
    floor = np.maximum(cs_lower_bound(sds, ie), cs_near_fault_bound(s1, r, ie))
    return np.asarray(np.maximum(capped, floor))[()]


def base_shear(cs: ArrayLike, effective_weight: ArrayLike) -> Floats:
    """Base shear V = Cs W, unit of W. ASCE 7-16 and 7-22, Eq. 12.8-1."""
    return np.asarray(np.asarray(cs, dtype=float) * np.asarray(effective_weight, dtype=float))[()]


def distribution_exponent(t_s: ArrayLike) -> Floats:
    """Exponent k of the vertical distribution: 1 to 0.5 s, 2 from 2.5 s, linear between. Sec. 12.8.3."""
    return np.asarray(np.interp(np.asarray(t_s, dtype=float), [0.5, 2.5], [1.0, 2.0]))[()]


def cvx(weights: ArrayLike, heights_ft: ArrayLike, t_s: ArrayLike) -> Floats:
    """Share of the base shear at each level: w h^k / sum(w h^k).

    ASCE 7-16 and 7-22, Eq. 12.8-12. weights and heights (levels,) or (n, levels), period scalar or (n,); the
    result has levels last and sums to 1 over them.
    """
    w, h = np.asarray(weights, dtype=float), np.asarray(heights_ft, dtype=float)
    moment = w * h ** np.asarray(distribution_exponent(t_s))[..., np.newaxis]
    return np.asarray(moment / moment.sum(axis=-1, keepdims=True))


def storey_forces(v: ArrayLike, weights: ArrayLike, heights_ft: ArrayLike, t_s: ArrayLike) -> Floats:
    """Force at each level, Fx = Cvx V (ASCE 7-16 and 7-22, Eq. 12.8-11); V scalar or (n,), levels last."""
    return np.asarray(cvx(weights, heights_ft, t_s) * np.asarray(v, dtype=float)[..., np.newaxis])


def storey_shears(forces: ArrayLike) -> Floats:
    """Shear below each level: the sum of its force and those above (Eq. 12.8-13); levels last, lowest first."""
    return np.asarray(np.cumsum(np.asarray(forces, dtype=float)[..., ::-1], axis=-1)[..., ::-1])


# --- 12.3.4, 12.4.2, 12.7.2 ------------------------------------------------------------------------------------------


def redundancy_factor(category: ArrayLike, declared: ArrayLike) -> Floats:
    """Redundancy factor by seismic design category: 1.0 in A to C, the plan's declared value in D to F.

    ASCE 7-16 and 7-22, Sec. 12.3.4. `category` one letter or an array of letters; unknown letters give NaN.
    """
    letters = np.asarray(category, dtype=str)
    high = np.isin(letters, ["D", "E", "F"])
    low = np.isin(letters, ["A", "B", "C"])
    return np.asarray(np.where(high, np.asarray(declared, dtype=float), np.where(low, 1.0, np.nan)))[()]


def vertical_effect(sds: ArrayLike, dead: ArrayLike) -> Floats:
    """Vertical seismic effect Ev = 0.2 SDS D (ASCE 7-16 and 7-22, Eq. 12.4-4a), strength level, unit of D."""
    return np.asarray(0.2 * np.asarray(sds, dtype=float) * np.asarray(dead, dtype=float))[()]


def snow_share_psf(flat_roof_snow_psf: ArrayLike, edition: str) -> Floats:
    """Snow that counts in the effective seismic weight, psf of roof plan.

    ASCE 7-16 Sec. 12.7.2: 20 % where the flat roof snow load is over 30 psf; ASCE 7-22: 15 % where over 45 psf.
    """
    snow = np.asarray(flat_roof_snow_psf, dtype=float)
    share = edition_value(edition, "seismic_snow_share") * snow
    counted = np.where(snow > edition_value(edition, "seismic_snow_over_psf"), share, 0.0)
    return np.asarray(np.where(np.isnan(snow), np.nan, counted))[()]


# --- 12.10 diaphragms, 12.11 walls -----------------------------------------------------------------------------------


def diaphragm_force(forces: ArrayLike, weights: ArrayLike, sds: ArrayLike, ie: ArrayLike) -> Floats:
    """Diaphragm design force Fpx at each level, strength level.

    ASCE 7-16 and 7-22, Eq. 12.10-1 to -3: (sum F above / sum w above) w, not less than 0.2 SDS Ie w and not more than
    0.4 SDS Ie w, with the full SDS. forces and weights (..., levels), lowest first; sds and ie scalar or (n,).
    """
    w = np.asarray(weights, dtype=float)
    calculated = storey_shears(forces) / storey_shears(w) * w
    unit = (np.asarray(sds, dtype=float) * np.asarray(ie, dtype=float))[..., np.newaxis] * w
    return np.asarray(np.clip(calculated, 0.2 * unit, 0.4 * unit))


def wall_out_of_plane_psf(sds: ArrayLike, wall_weight_psf: ArrayLike, ie: ArrayLike) -> Floats:
    """Seismic force normal to a wall, psf, strength level: 0.4 SDS Ie w, not less than 0.1 w. Sec. 12.11.1."""
    w = np.asarray(wall_weight_psf, dtype=float)
    force = 0.4 * np.asarray(sds, dtype=float) * np.asarray(ie, dtype=float) * w
    return np.asarray(np.maximum(force, 0.1 * w))[()]


def anchorage_ka(flexible_diaphragm_span_ft: ArrayLike) -> Floats:
    """Amplification of wall anchorage for diaphragm flexibility: 1.0 + Lf / 100, not over 2.0 (Eq. 12.11-2).

    Lf: span of the flexible diaphragm that gives the wall its lateral support, ft; 0 for a rigid one.
    """
    return np.asarray(np.minimum(1.0 + np.asarray(flexible_diaphragm_span_ft, dtype=float) / 100.0, 2.0))[()]


def wall_anchorage_psf(sds: ArrayLike, wall_weight_psf: ArrayLike, ka: ArrayLike, ie: ArrayLike) -> Floats:
    """Wall anchorage force per area of wall tributary to the anchor, psf, strength level.

    ASCE 7-16 and 7-22, Eq. 12.11-1 (from memory): 0.4 SDS ka Ie w, not less than 0.2 ka Ie w.
    """
    unit = np.asarray(ka, dtype=float) * np.asarray(ie, dtype=float) * np.asarray(wall_weight_psf, dtype=float)
    return np.asarray(np.maximum(0.4 * np.asarray(sds, dtype=float), 0.2) * unit)[()]


# --- 12.14 simplified procedure (cross-check) ------------------------------------------------------------------------


@cache
def simplified_storey_factor(storeys: int) -> float:
    """Factor F of the simplified base shear by number of storeys (ASCE 7-16 and 7-22, Sec. 12.14.8.1)."""
    return float(value(load_table("seismic_simplified.csv", "screener"), "f", storeys=storeys))


def simplified_sds(ss: ArrayLike, fa: ArrayLike) -> Floats:
    """SDS of the simplified procedure: 2/3 Fa SS, SS not taken over 1.5 g; Fa 1.0 on rock, 1.4 on soil."""
    return np.asarray(2.0 / 3.0 * np.asarray(fa, dtype=float) * np.minimum(np.asarray(ss, dtype=float), 1.5))[()]


def simplified_base_shear(sds: ArrayLike, r: ArrayLike, effective_weight: ArrayLike, storeys: int) -> Floats:
    """Base shear of the simplified procedure, V = F SDS W / R; a cross-check, not an envelope of Sec. 12.8.

    ASCE 7-16 and 7-22, Eq. 12.14-12 (from memory); forces by level are V w / W.
    """
    factor = simplified_storey_factor(storeys)
    return np.asarray(factor * cs_short_period(sds, r, 1.0) * np.asarray(effective_weight, dtype=float))[()]
