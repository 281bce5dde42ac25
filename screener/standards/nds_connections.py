"""Dowel connections and bearing in wood: National Design Specification for Wood Construction (NDS), 2018.

Numbers or arrays in, the same shape out. Inches, pounds, psi, degrees. Values are reference design values (load
duration 1.0) unless a function says otherwise. Formulas are from memory, confirmed by the cells in
`screener/checks/data/wood_*.csv`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from screener.standards.wood_tables import Array, Number, find_row, named_value, rows_by, table_rows

MODES: tuple[str, ...] = ("Im", "Is", "II", "IIIm", "IIIs", "IV")
CONCRETE_BEARING_PSI = 7500.0  # NDS 2018 Table 12E: concrete of 2,500 psi or more
BOLT_BENDING_YIELD_PSI = 45000.0  # NDS 2018 Table I1: bolts
SMALL_DOWEL_IN = 0.25  # NDS 2018 12.3.3: below it, bearing does not depend on grain direction


@dataclass(frozen=True)
class Species:
    """A species combination: NDS 2018 Table 12.3.3A and NDS Supplement Table 4A."""

    code: str
    name: str  # as it is written on drawings: DF-L, SPF
    words: str
    specific_gravity: float
    fc_perp_psi: float
    load_group: str  # "df_sp", "spf_hf", or "" where listed loads do not reach


@dataclass(frozen=True)
class Fastener:
    """A standard fastener: NDS 2018 Appendix L and Table I1. NaN where the table has no value."""

    name: str
    kind: str
    diameter_in: float
    length_in: float
    root_diameter_in: float
    head_diameter_in: float
    bending_yield_psi: float
    ring_length_in: float


def species_code(text: str) -> str:
    """The table code of a species combination, whatever its dashes and brackets: `DF-L (N)` is `DFLN`."""
    code = "".join(c for c in text.upper() if c.isalnum())
    if code not in rows_by("wood_species.csv", "code"):
        known = ", ".join(rows_by("wood_species.csv", "code"))
        raise LookupError(f"species {text!r} is not in the table; expected one of {known}")
    return code


@cache
def species(text: str) -> Species:
    """The reference properties of a species combination."""
    row = rows_by("wood_species.csv", "code")[species_code(text)]
    return Species(
        row["code"],
        row["name"],
        row["words"],
        float(row["specific_gravity"]),
        float(row["fc_perp_psi"]),
        row["load_group"],
    )


def species_names() -> tuple[str, ...]:
    """The species combinations by name, as plans give them."""
    return tuple(row["name"] for row in table_rows("wood_species.csv"))


@cache
def fastener(name: str) -> Fastener:
    """The dimensions and bending yield strength of a standard fastener, by its name in the table."""
    row = find_row("fasteners.csv", name=name)
    return Fastener(
        row["name"],
        row["kind"],
        *(
            float(row[key]) if row[key] else np.nan
            for key in (
                "diameter_in",
                "length_in",
                "root_diameter_in",
                "head_diameter_in",
                "bending_yield_psi",
                "ring_length_in",
            )
        ),
    )


def fastener_names() -> tuple[str, ...]:
    """The names of the standard fasteners."""
    return tuple(row["name"] for row in table_rows("fasteners.csv"))


def factor(name: str) -> float:
    """An adjustment factor of connections: NDS 2018 Tables 2.3.2 and 11.3.1, sections 12.5.2 to 12.5.4."""
    return named_value("nds_factors.csv", name)


METHOD_FACTORS: dict[str, dict[str, tuple[tuple[str, str], ...]]] = {
    "connection": {
        "ASD": (("load duration", "load_duration_wind_seismic"),),
        "LRFD": (
            ("KF", "format_conversion_connection"),
            ("phi", "resistance_connection"),
            ("lambda", "time_effect_wind_seismic"),
        ),
    },
    "bearing": {"ASD": (), "LRFD": (("KF", "format_conversion_bearing"), ("phi", "resistance_bearing"))},
}
"""What multiplies a reference value by design method: symbol and name in `nds_factors.csv`.

Connections: NDS 2018 11.3.1, under wind or earthquake. Compression perpendicular to grain takes neither load duration
nor time effect: Table 4.3.1 (that the time effect does not apply: read in a university's table of it).
"""


def method_factor(resistance: str, method: str) -> float:
    """Factor from a reference value of "connection" or "bearing" to its allowable ("ASD") or design value ("LRFD")."""
    return math.prod(factor(name) for _, name in METHOD_FACTORS[resistance][method])


def method_words(resistance: str, method: str) -> str:
    """The same factors as words, "KF 3.32 x phi 0.65 x lambda 1"; "" where there are none."""
    return " x ".join(f"{symbol} {factor(name):g}" for symbol, name in METHOD_FACTORS[resistance][method])


# --- dowel bearing, bending yield and reduction terms -------------------------------------------------------


def round_to_50_psi(stress_psi: Number) -> Array:
    """Round to the nearest 50 psi, as the printed bearing strengths are: NDS 2018 Table 12.3.3."""
    return np.floor(np.asarray(stress_psi, dtype=np.float64) / 50.0 + 0.5) * 50.0


def small_dowel_bearing_psi(specific_gravity: Number) -> Array:
    """Dowel bearing strength, diameter below 1/4 in., any grain direction: NDS 2018 Table 12.3.3 note 2."""
    return np.asarray(16600.0 * np.asarray(specific_gravity, dtype=np.float64) ** 1.84)


def parallel_bearing_psi(specific_gravity: Number) -> Array:
    """Dowel bearing strength parallel to grain, diameter 1/4 in. or more: NDS 2018 Table 12.3.3 note 2."""
    return 11200.0 * np.asarray(specific_gravity, dtype=np.float64)


def perpendicular_bearing_psi(specific_gravity: Number, diameter_in: Number) -> Array:
    """Dowel bearing strength perpendicular to grain, diameter 1/4 in. or more: NDS 2018 Table 12.3.3 note 2."""
    g = np.asarray(specific_gravity, dtype=np.float64)
    return np.asarray(6100.0 * g**1.45 / np.sqrt(np.asarray(diameter_in, dtype=np.float64)))


def hankinson(parallel: Number, perpendicular: Number, angle_deg: Number) -> Array:
    """A strength at an angle to grain between its two principal values: NDS 2018 Appendix J, 12.3.4."""
    par, perp = np.asarray(parallel, dtype=np.float64), np.asarray(perpendicular, dtype=np.float64)
    angle = np.radians(np.asarray(angle_deg, dtype=np.float64))
    return np.asarray(par * perp / (par * np.sin(angle) ** 2 + perp * np.cos(angle) ** 2))


def dowel_bearing_psi(
    specific_gravity: Number, diameter_in: Number, angle_deg: Number = 0.0, rounded: bool = True
) -> Array:
    """Dowel bearing strength of wood by diameter and angle of load to grain: NDS 2018 12.3.3, 12.3.4.

    `rounded` rounds the principal values to 50 psi as the printed tables do.
    """
    diameter = np.asarray(diameter_in, dtype=np.float64)
    values = (
        small_dowel_bearing_psi(specific_gravity),
        parallel_bearing_psi(specific_gravity),
        perpendicular_bearing_psi(specific_gravity, diameter),
    )
    small, parallel, perpendicular = (round_to_50_psi(v) for v in values) if rounded else values
    return np.asarray(np.where(diameter < SMALL_DOWEL_IN, small, hankinson(parallel, perpendicular, angle_deg)))


def small_dowel_reduction(diameter_in: Number) -> Array:
    """Reduction term KD of dowels below 1/4 in.: NDS 2018 Table 12.3.1B."""
    diameter = np.asarray(diameter_in, dtype=np.float64)
    return np.where(diameter <= 0.17, 2.2, 10.0 * diameter + 0.5)


def reduction_terms(
    yield_diameter_in: Number, nominal_diameter_in: Number | None = None, angle_deg: Number = 0.0
) -> tuple[Array, Array, Array]:
    """Reduction terms Rd of modes I, II and III-IV: NDS 2018 Table 12.3.1B.

    `yield_diameter_in` is the diameter used in the yield equations (the root where threads lie in the shear
    plane); `angle_deg` the greatest angle of load to grain of either member.
    """
    d = np.asarray(yield_diameter_in, dtype=np.float64)
    nominal = d if nominal_diameter_in is None else np.asarray(nominal_diameter_in, dtype=np.float64)
    k_angle = 1.0 + 0.25 * np.asarray(angle_deg, dtype=np.float64) / 90.0
    # A nominal 1/4 in. screw with a smaller root takes KD times the angle term; below 1/4 in. nominal, KD alone.
    small = small_dowel_reduction(d) * np.where(nominal < SMALL_DOWEL_IN, 1.0, k_angle)
    return (
        np.where(d < SMALL_DOWEL_IN, small, 4.0 * k_angle),
        np.where(d < SMALL_DOWEL_IN, small, 3.6 * k_angle),
        np.where(d < SMALL_DOWEL_IN, small, 3.2 * k_angle),
    )


def nail_bending_yield_psi(diameter_in: Number) -> Array:
    """Bending yield strength of common, box and sinker nails by diameter: NDS 2018 Table I1 (from memory)."""
    diameter = np.asarray(diameter_in, dtype=np.float64)
    bands = [diameter <= 0.142, diameter <= 0.177, diameter <= 0.236, diameter <= 0.273]
    return np.select(bands, [100e3, 90e3, 80e3, 70e3], default=np.nan)


# --- yield limit equations ----------------------------------------------------------------------------------


def _k1(re: Array, rt: Array) -> Array:
    """Coefficient of mode II: NDS 2018 Table 12.3.1A note."""
    return (np.sqrt(re + 2 * re**2 * (1 + rt + rt**2) + rt**2 * re**3) - re * (1 + rt)) / (1 + re)


def _k2(re: Array, slenderness: Array) -> Array:
    """Coefficient of mode IIIm; slenderness = Fyb D^2 / (Fem lm^2): NDS 2018 Table 12.3.1A note."""
    return -1 + np.sqrt(2 * (1 + re) + 2 * (1 + 2 * re) * slenderness / 3)


def _k3(re: Array, slenderness: Array) -> Array:
    """Coefficient of mode IIIs; slenderness = Fyb D^2 / (Fem ls^2): NDS 2018 Table 12.3.1A note."""
    return -1 + np.sqrt(2 * (1 + re) / re + 2 * (2 + re) * slenderness / 3)


def yield_modes_lb(
    diameter_in: Number,
    main_length_in: Number,
    side_length_in: Number,
    main_bearing_psi: Number,
    side_bearing_psi: Number,
    bending_yield_psi: Number,
    reduction: tuple[Number, Number, Number],
) -> Array:
    """The six yield-limit values of a single shear connection, last axis in the order of MODES.

    NDS 2018 12.3.1 and Table 12.3.1A. Lengths are dowel bearing lengths; `reduction` from `reduction_terms`.
    """
    d, lm, ls, fem, fes, fyb, r1, r2, r3 = np.broadcast_arrays(
        *(
            np.asarray(v, dtype=np.float64)
            for v in (
                diameter_in,
                main_length_in,
                side_length_in,
                main_bearing_psi,
                side_bearing_psi,
                bending_yield_psi,
                *reduction,
            )
        )
    )
    re, rt = fem / fes, lm / ls
    modes = (
        d * lm * fem / r1,
        d * ls * fes / r1,
        _k1(re, rt) * d * ls * fes / r2,
        _k2(re, fyb * d**2 / (fem * lm**2)) * d * lm * fem / ((1 + 2 * re) * r3),
        _k3(re, fyb * d**2 / (fem * ls**2)) * d * ls * fem / ((2 + re) * r3),
        d**2 / r3 * np.sqrt(2 * fem * fyb / (3 * (1 + re))),
    )
    return np.stack(modes, axis=-1)


def single_shear_lb(modes_lb: Array) -> Array:
    """Reference lateral design value Z, single shear: the least of the six modes. NDS 2018 12.3.1."""
    return np.asarray(np.min(modes_lb, axis=-1))


def double_shear_lb(modes_lb: Array) -> Array:
    """Reference lateral design value Z, double shear: modes Im, 2 Is, 2 IIIs, 2 IV. NDS 2018 Table 12.3.1A."""
    im, is_, iiis, iv = (modes_lb[..., MODES.index(m)] for m in ("Im", "Is", "IIIs", "IV"))
    return np.asarray(np.min(np.stack((im, 2 * is_, 2 * iiis, 2 * iv), axis=-1), axis=-1))


def governing_mode(modes_lb: Array) -> str:
    """The name of the least mode of one connection."""
    return MODES[int(np.argmin(modes_lb))]


def full_penetration_diameters(kind: str) -> float:
    """Penetration, in diameters, for the whole lateral value: 10 (nails, wood screws), 8 (lag screws).

    NDS 2018 Tables 12J, 12L, 12N notes.
    """
    return 8.0 if kind == "lag screw" else 10.0


def least_penetration_diameters(kind: str) -> float:
    """Least penetration, in diameters, of a lateral connection: NDS 2018 12.1.4.7, 12.1.5.6, 12.1.6.5."""
    return 4.0 if kind == "lag screw" else 6.0


def penetration_factor(penetration_in: Number, diameter_in: Number, kind: str = "nail") -> Array:
    """Share of the lateral value left by a short penetration: p/10D (lag screws p/8D), at most 1.

    NDS 2018 Tables 12J, 12L, 12N notes. The tool takes this way, which gives the lower value, rather than the
    yield equations with the shorter bearing length, except where a nail goes right through the main member and
    its point is not in the wood. NaN (no capacity) below the least penetration.
    """
    p, d = np.asarray(penetration_in, dtype=np.float64), np.asarray(diameter_in, dtype=np.float64)
    # A hundredth of a per mille of slack, so that a penetration of exactly 6D or 10D is not lost to rounding.
    share = np.minimum(1.0, p / (full_penetration_diameters(kind) * d) * (1 + 1e-9))
    return np.where(p * (1 + 1e-9) >= least_penetration_diameters(kind) * d, share, np.nan)


def short_bearing_length_in(penetration_in: Number, diameter_in: Number, kind: str = "nail") -> Array:
    """Bearing length of a short nail, p less half its point of 2D; all of 10D or more. NDS 2018 12.3.5.3."""
    p, d = np.asarray(penetration_in, dtype=np.float64), np.asarray(diameter_in, dtype=np.float64)
    full = full_penetration_diameters(kind) * d
    return np.where(p >= full, full, p - d)


def dowel_lateral_lb(
    kind: str,
    diameter_in: float,
    yield_diameter_in: float,
    bending_yield_psi: float,
    side_thickness_in: float,
    side_bearing_psi: float,
    penetration_in: float,
    main_specific_gravity: float,
    angle_deg: float = 0.0,
    through: bool = False,
    rule: str = "share",
) -> tuple[float, str]:
    """Reference lateral value of one nail, wood screw or lag screw in single shear, and its yield mode.

    NDS 2018 12.3 and the notes of Tables 12J, 12L, 12N. `rule` says how a short penetration is counted: "share"
    (p/10D of the full value, the tool's way) or "length" (yield equations with p less half the point). `through`:
    the point comes out of the main member, so the whole of it bears. NaN below the least penetration.
    """
    full = full_penetration_diameters(kind) * diameter_in
    share = float(penetration_factor(penetration_in, diameter_in, kind))
    main_length = full
    if through:
        main_length = min(full, penetration_in)
    elif rule == "length":
        main_length = float(short_bearing_length_in(penetration_in, diameter_in, kind))
    modes = yield_modes_lb(
        yield_diameter_in,
        main_length,
        side_thickness_in,
        dowel_bearing_psi(main_specific_gravity, diameter_in, angle_deg),
        side_bearing_psi,
        bending_yield_psi,
        reduction_terms(yield_diameter_in, diameter_in, angle_deg),
    )
    if np.isfinite(share) and (through or rule == "length"):
        share = 1.0  # the shorter bearing length is already in the modes
    return float(single_shear_lb(modes)) * share, governing_mode(modes)


# --- withdrawal ---------------------------------------------------------------------------------------------


def withdrawal_lb_per_in(kind: str, specific_gravity: Number, diameter_in: Number) -> Array:
    """Reference withdrawal value W per inch of (threaded or ringed) penetration in side grain: NDS 2018 12.2."""
    row = find_row("nds_withdrawal.csv", kind=kind)
    g, d = np.asarray(specific_gravity, dtype=np.float64), np.asarray(diameter_in, dtype=np.float64)
    return np.asarray(float(row["coefficient"]) * g ** float(row["g_power"]) * d ** float(row["d_power"]))


def head_pull_through_lb(head_diameter_in: Number, specific_gravity: Number, side_thickness_in: Number) -> Array:
    """Reference head pull-through value of a round-headed fastener: NDS 2018 12.2.5 (eq. 12.2-6a and 6b)."""
    dh, g = np.asarray(head_diameter_in, dtype=np.float64), np.asarray(specific_gravity, dtype=np.float64)
    t = np.asarray(side_thickness_in, dtype=np.float64)
    thin, thick = 690.0 * np.pi * dh * g**2 * t, 1725.0 * np.pi * dh**2 * g**2
    return np.where(t <= 2.5 * dh, thin, thick)


# --- toe nails, combined loads, groups ----------------------------------------------------------------------


def toe_nail_lengths_in(length_in: Number) -> tuple[Array, Array, Array]:
    """Side bearing length, lateral penetration and withdrawal length of a toe nail.

    NDS 2018 12.1.6.3 and Figure 12A: driven at 30 degrees to the toe-nailed member, a third of its length from
    the member's end.
    """
    length = np.asarray(length_in, dtype=np.float64)
    cos30 = np.cos(np.radians(30.0))
    return length / 3.0, length * cos30 - length / 3.0, length - length / 3.0 / cos30


def screw_combined_lb(lateral_lb: Number, withdrawal_lb: Number, angle_deg: Number) -> Array:
    """Lag or wood screw loaded at an angle to the wood surface: NDS 2018 eq. 12.4-1."""
    z, w = np.asarray(lateral_lb, dtype=np.float64), np.asarray(withdrawal_lb, dtype=np.float64)
    a = np.radians(np.asarray(angle_deg, dtype=np.float64))
    return np.asarray(w * z / (w * np.cos(a) ** 2 + z * np.sin(a) ** 2))


def nail_combined_lb(lateral_lb: Number, withdrawal_lb: Number, angle_deg: Number) -> Array:
    """Nail loaded at an angle to the wood surface: NDS 2018 eq. 12.4-2."""
    z, w = np.asarray(lateral_lb, dtype=np.float64), np.asarray(withdrawal_lb, dtype=np.float64)
    a = np.radians(np.asarray(angle_deg, dtype=np.float64))
    return w * z / (w * np.cos(a) + z * np.sin(a))


def screw_combined_ratio(lateral_demand: Number, withdrawal_demand: Number, z: Number, w: Number) -> Array:
    """Demand over capacity of a lag or wood screw under lateral and withdrawal load: eq. 12.4-1 rearranged.

    With R the resultant, R cos^2 a / Z + R sin^2 a / W = (V^2 / Z + T^2 / W) / R.
    """
    v, t = np.asarray(lateral_demand, dtype=np.float64), np.asarray(withdrawal_demand, dtype=np.float64)
    resultant = np.hypot(v, t)
    with np.errstate(invalid="ignore", divide="ignore"):
        lateral = np.where(v > 0, v**2 / np.asarray(z, dtype=np.float64), 0.0)
        axial = np.where(t > 0, t**2 / np.asarray(w, dtype=np.float64), 0.0)
        return np.where(resultant > 0, (lateral + axial) / resultant, 0.0)


def group_action_factor(
    count: Number,
    spacing_in: Number,
    diameter_in: Number,
    main_stiffness_lb: Number,
    side_stiffness_lb: Number,
    metal_side: bool = False,
) -> Array:
    """Group action factor Cg of a row of fasteners: NDS 2018 eq. 11.3-1. Stiffness is E times area.

    1.0 for dowels below 1/4 in. and for a single fastener.
    """
    n, s, d, em, es = np.broadcast_arrays(
        *(
            np.asarray(v, dtype=np.float64)
            for v in (count, spacing_in, diameter_in, main_stiffness_lb, side_stiffness_lb)
        )
    )
    slip = (270000.0 if metal_side else 180000.0) * d**1.5
    rea = np.minimum(em / es, es / em)
    u = 1.0 + slip * s / 2.0 * (1.0 / em + 1.0 / es)
    m = u - np.sqrt(u**2 - 1.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        cg = (m * (1 - m ** (2 * n))) / (n * ((1 + rea * m**n) * (1 + m) - 1 + m ** (2 * n))) * (1 + rea) / (1 - m)
    return np.where((d < SMALL_DOWEL_IN) | (n <= 1), 1.0, cg)


# --- bolts in sills, bearing --------------------------------------------------------------------------------


def sill_bolt_modes_lb(
    diameter_in: Number, sill_thickness_in: Number, specific_gravity: Number, angle_deg: Number, embedment_in: Number
) -> Array:
    """Yield-limit values of an anchor bolt from a sill into concrete, last axis as MODES: NDS 2018 Table 12E.

    `angle_deg` is the angle of the load to the sill's grain (0 along the wall, 90 out of it). Full body diameter:
    the threads stay clear of the shear plane. The concrete's own strength is not in it.
    """
    fes = dowel_bearing_psi(specific_gravity, diameter_in, angle_deg)
    terms = reduction_terms(diameter_in, None, angle_deg)
    return yield_modes_lb(
        diameter_in, embedment_in, sill_thickness_in, CONCRETE_BEARING_PSI, fes, BOLT_BENDING_YIELD_PSI, terms
    )


def bearing_area_factor(bearing_length_in: Number) -> Array:
    """Bearing area factor Cb of a bearing shorter than 6 in. and 3 in. or more from the end: NDS 2018 3.10.4."""
    length = np.asarray(bearing_length_in, dtype=np.float64)
    return np.where(length < 6.0, (length + 0.375) / length, 1.0)


def bearing_perpendicular_lb(fc_perp_psi: Number, area_sqin: Number, area_factor: Number = 1.0) -> Array:
    """Bearing perpendicular to grain; no load duration factor applies: NDS 2018 Table 4.3.1, 3.10.2."""
    stress, area = np.asarray(fc_perp_psi, dtype=np.float64), np.asarray(area_sqin, dtype=np.float64)
    return stress * area * np.asarray(area_factor, dtype=np.float64)


def washer_area_sqin(washer: str, bolt_diameter_in: float) -> float:
    """Net bearing area of a washer on wood: its face less a hole 1/16 in. larger than the bolt."""
    row = find_row("washers.csv", washer=washer, bolt_diameter_in=f"{bolt_diameter_in:g}")
    size = float(row["size_in"])
    gross = size**2 if row["shape"] == "square" else np.pi / 4 * size**2
    return float(gross - np.pi / 4 * (bolt_diameter_in + 0.0625) ** 2)


def washer_bearing_lb(fc_perp_psi: Number, washer: str, bolt_diameter_in: float) -> Array:
    """Uplift that a washer can pass to the sill in bearing: NDS 2018 3.10.2."""
    return bearing_perpendicular_lb(fc_perp_psi, washer_area_sqin(washer, bolt_diameter_in))
