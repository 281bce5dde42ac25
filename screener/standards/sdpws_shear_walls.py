"""Sheathed shear walls and diaphragms: Special Design Provisions for Wind and Seismic (SDPWS), 2008, 2015, 2021.

An edition is a row of `reference/sdpws_editions.csv`. Pounds per foot, feet, inches. Hazards are "wind" and
"seismic". Tables as tagged in their own headers; formulas from memory unless their docstring says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from screener.standards.wood_tables import Array, Number, find_row, named_value, rows_by

HAZARDS: tuple[str, ...] = ("wind", "seismic")


def edition_row(edition: str) -> Mapping[str, str]:
    """The rules of one edition; an unknown edition is an error that lists the known ones."""
    editions = rows_by("sdpws_editions.csv", "edition")
    if edition not in editions:
        raise LookupError(f"SDPWS edition {edition!r} is unknown; expected one of {', '.join(editions)}")
    return editions[edition]


def nominal_column(edition: str, hazard: str) -> str:
    """Which nominal column an edition reads for a hazard: vs, vw (to 2015) or vn (2021)."""
    return edition_row(edition)[f"{hazard}_column"]


def allowable_divisor(edition: str, hazard: str) -> float:
    """Divisor from nominal to allowable unit shear: SDPWS 2015 4.2.3, 4.3.3 (2.0); 2021 4.1.4 (2.8, 2.0)."""
    return float(edition_row(edition)[f"{hazard}_divisor"])


def allowable_unit_shear_plf(nominal_plf: Number, edition: str, hazard: str) -> Array:
    """Allowable unit shear of a nominal one: SDPWS 2015 4.3.3, SDPWS 2021 4.1.4."""
    return np.asarray(nominal_plf, dtype=np.float64) / allowable_divisor(edition, hazard)


def resistance_factor(edition: str, hazard: str) -> float:
    """Factor phi_D from nominal to design unit shear: SDPWS 2015 4.2.3, 4.3.3 (0.80); 2021 4.1.4 (0.50, 0.80)."""
    return float(edition_row(edition)[f"{hazard}_phi"])


def design_unit_shear_plf(nominal_plf: Number, edition: str, hazard: str, method: str) -> Array:
    """Unit shear that may be used: nominal over the divisor ("ASD") or times phi_D ("LRFD")."""
    if method == "LRFD":
        return np.asarray(nominal_plf, dtype=np.float64) * resistance_factor(edition, hazard)
    return allowable_unit_shear_plf(nominal_plf, edition, hazard)


def method_words(edition: str, hazard: str, method: str) -> str:
    """What follows a nominal unit shear: "/ 2" or "x phi 0.8"."""
    if method == "LRFD":
        return f"x phi {resistance_factor(edition, hazard):g}"
    return f"/ {allowable_divisor(edition, hazard):g}"


def method_symbol(method: str) -> str:
    """How a formula writes it: "/ divisor" or "x phi_D"."""
    return "x phi_D" if method == "LRFD" else "/ divisor"


def method_values(edition: str, hazard: str, method: str) -> dict[str, float]:
    """The divisor or the resistance factor by its symbol."""
    if method == "LRFD":
        return {"phi_D": resistance_factor(edition, hazard)}
    return {"divisor": allowable_divisor(edition, hazard)}


def specific_gravity_factor(specific_gravity: Number) -> Array:
    """Reduction for framing lighter than G 0.50, 1 - (0.5 - G), at most 1: SDPWS 2015 Table 4.3A note 3."""
    return np.minimum(1.0, 1.0 - (0.5 - np.asarray(specific_gravity, dtype=np.float64)))


# --- tables -------------------------------------------------------------------------------------------------


def shear_wall_nominal_plf(
    grade: str,
    thickness: str,
    nail: str,
    edge_spacing_in: float,
    edition: str,
    hazard: str,
    raise_to_15_32: bool = False,
) -> float:
    """Nominal unit shear of a blocked panel shear wall, one face: SDPWS Table 4.3A.

    `raise_to_15_32`: 3/8 and 7/16 panels on studs at most 16 in. apart (or with the long side across the studs)
    may take the value of 15/32 panels with the same nails (note 2, from memory).
    """
    read_as = "15/32" if raise_to_15_32 and thickness in ("3/8", "7/16") else thickness
    row = find_row(
        "sdpws_shear_walls.csv", grade=grade, thickness=read_as, nail=nail, edge_spacing_in=f"{edge_spacing_in:g}"
    )
    return float(row[nominal_column(edition, hazard)])


def diaphragm_nominal_plf(
    blocking: str,
    case: str,
    thickness: str,
    nail: str,
    framing_nominal_in: float,
    nail_spacing: str,
    edition: str,
    hazard: str,
) -> float:
    """Nominal unit shear of a horizontal diaphragm: SDPWS 2015 Tables 4.2A (blocked) and 4.2C (unblocked).

    `case` is the load case of an unblocked layout, "1" or "other"; `nail_spacing` boundary / other edges.
    """
    row = find_row(
        "sdpws_diaphragms.csv",
        blocking=blocking,
        case="any" if blocking == "blocked" else case,
        thickness=thickness,
        nail=nail,
        framing_nominal_in=f"{framing_nominal_in:g}",
        nail_spacing=nail_spacing,
    )
    return float(row[nominal_column(edition, hazard)])


def gypsum_nominal_plf(
    material: str, fastener_spacing_in: float, blocking: str, stud_spacing_in: float, edition: str, hazard: str
) -> float:
    """Nominal unit shear of a gypsum wallboard shear wall: SDPWS 2015 Table 4.3C."""
    row = find_row(
        "sdpws_gypsum.csv",
        material=material,
        fastener_spacing_in=f"{fastener_spacing_in:g}",
        blocking=blocking,
        stud_spacing_in=f"{stud_spacing_in:g}",
    )
    return float(row[nominal_column(edition, hazard)])


def unblocked_factor(edge_spacing_in: float, field_spacing_in: float, stud_spacing_in: float) -> float:
    """Factor Cub of an unblocked panel wall, on the blocked 24 in. stud, 6 in. edge value: SDPWS Table 4.3.3.2."""
    row = find_row(
        "sdpws_unblocked.csv",
        edge_spacing_in=f"{edge_spacing_in:g}",
        field_spacing_in=f"{field_spacing_in:g}",
        stud_spacing_in=f"{stud_spacing_in:g}",
    )
    return float(row["factor"])


def inside_hold_down_factor(nail: str, edition: str, hold_down_inside: bool) -> float:
    """8 percent less for 10d nails with hold-downs on the inside face of the end posts: SDPWS 2021 4.3.3 (read)."""
    return 0.92 if edition == "2021" and hold_down_inside and nail.startswith("10d") else 1.0


def thick_framing_needed(edition: str, nominal_plf: float, nail: str, edge_spacing_in: float, category_d: bool) -> bool:
    """Whether abutting panel edges need 3 in. nominal framing: SDPWS 2015 4.3.7.1.

    Edge nails at 2 in.; 10d nails at 3 in. or less; in seismic design categories D to F a nominal unit shear above
    700 plf seismic (980 plf of the single 2021 value, derived). `nominal_plf` is the edition's seismic nominal.
    """
    trigger = float(edition_row(edition)["thick_framing_trigger_plf"])
    by_nail = edge_spacing_in <= 2.0 or (nail.startswith("10d") and edge_spacing_in <= 3.0)
    return by_nail or (category_d and nominal_plf > trigger)


# --- aspect ratio -------------------------------------------------------------------------------------------


def aspect_ratio_limit(sheathing: str) -> float:
    """Greatest height to width ratio of a shear wall: SDPWS 2015 Table 4.3.4."""
    return float(find_row("sdpws_aspect_limits.csv", sheathing=sheathing)["limit"])


def strength_share_factor(height_ft: Number, width_ft: Number) -> Array:
    """2b/h for walls narrower than h/2, where a line's shear is shared by strength: SDPWS 2015 4.3.3.4.1.

    NaN beyond 3.5:1.
    """
    ratio = np.asarray(height_ft, dtype=np.float64) / np.asarray(width_ft, dtype=np.float64)
    limit = aspect_ratio_limit("wood structural panel blocked")
    return np.where(ratio > limit * (1 + 1e-9), np.nan, np.minimum(1.0, 2.0 / ratio))


def aspect_strength_factor(height_ft: Number, width_ft: Number) -> Array:
    """1.25 - 0.125 h/b for walls narrower than h/2, with equal-deflection sharing: SDPWS 2015 4.3.4.2.

    NaN beyond 3.5:1.
    """
    ratio = np.asarray(height_ft, dtype=np.float64) / np.asarray(width_ft, dtype=np.float64)
    limit = aspect_ratio_limit("wood structural panel blocked")
    return np.where(ratio > limit * (1 + 1e-9), np.nan, np.minimum(1.0, 1.25 - 0.125 * ratio))


# --- perforated walls and overturning -----------------------------------------------------------------------


def perforated_ratio(opening_area_sqft: Number, height_ft: Number, full_height_ft: Number) -> Array:
    """Sheathing area ratio r = 1 / (1 + Ao / (h sum Li)): SDPWS 2015 eq. 4.3-6."""
    area = np.asarray(opening_area_sqft, dtype=np.float64)
    return 1.0 / (1.0 + area / (np.asarray(height_ft, dtype=np.float64) * np.asarray(full_height_ft, dtype=np.float64)))


def perforated_co(ratio: Number, total_length_ft: Number, full_height_ft: Number, edition: str) -> Array:
    """Shear capacity adjustment factor Co = r / (3 - 2r) x Ltot / sum Li: SDPWS 2008 and 2015 eq. 4.3-5.

    The 2021 equation could not be read and is refused.
    """
    if edition_row(edition)["perforated_co"] != "yes":
        raise NotImplementedError(
            f"the perforated wall factor of SDPWS {edition} is not available; use segmented walls or SDPWS 2015"
        )
    r = np.asarray(ratio, dtype=np.float64)
    return (
        r
        / (3.0 - 2.0 * r)
        * np.asarray(total_length_ft, dtype=np.float64)
        / np.asarray(full_height_ft, dtype=np.float64)
    )


def perforated_co_by_opening_height(full_height_share: Number, opening_height_share: Number) -> Array:
    """Co when every opening has one height: 1 / (B (1 - 3A) + 3A), SDPWS 2015 Table 4.3.3.5.

    A is opening height over wall height; the table counts openings up to a third of the height as none.
    """
    b = np.asarray(full_height_share, dtype=np.float64)
    a = np.maximum(np.asarray(opening_height_share, dtype=np.float64), 1.0 / 3.0)
    return np.minimum(1.0, 1.0 / (b * (1.0 - 3.0 * a) + 3.0 * a))


def perforated_unit_shear_plf(shear_lb: Number, co: Number, full_height_ft: Number) -> Array:
    """Greatest unit shear of a perforated wall, v = V / (Co sum Li): SDPWS 2015 eq. 4.3-9."""
    return np.asarray(shear_lb, dtype=np.float64) / (
        np.asarray(co, dtype=np.float64) * np.asarray(full_height_ft, dtype=np.float64)
    )


def perforated_chord_lb(shear_lb: Number, height_ft: Number, co: Number, full_height_ft: Number) -> Array:
    """Chord force at the ends of a perforated wall, T = C = V h / (Co sum Li): SDPWS 2015 eq. 4.3-8."""
    return perforated_unit_shear_plf(shear_lb, co, full_height_ft) * np.asarray(height_ft, dtype=np.float64)


def segment_tension_lb(
    shear_lb: Number,
    height_ft: Number,
    length_ft: Number,
    dead_plf: Number = 0.0,
    dead_factor: Number = 0.6,
    arm_ft: Number | None = None,
) -> Array:
    """Hold-down tension of one segment about its far end, less the counted dead load: SDPWS 2015 4.3.6.4.2, statics.

    `arm_ft` is the distance from hold-down to compression post, the segment's length when not given. Not below 0.
    """
    length = np.asarray(length_ft, dtype=np.float64)
    arm = length if arm_ft is None else np.asarray(arm_ft, dtype=np.float64)
    overturning = np.asarray(shear_lb, dtype=np.float64) * np.asarray(height_ft, dtype=np.float64)
    resisting = np.asarray(dead_factor, dtype=np.float64) * np.asarray(dead_plf, dtype=np.float64) * length**2 / 2.0
    return np.maximum(0.0, (overturning - resisting) / arm)


# --- uplift through sheathing, washers, toe nails -----------------------------------------------------------


def sheathing_uplift_nominal_plf(nail_lateral_lb: Number, extra_nails_per_ft: Number) -> Array:
    """Nominal uplift by plate nails beyond those used for shear, 2.0 x 1.6 Z a nail: SDPWS 2015 4.4.1, Table 4.4.1.

    No credit for fewer nails than shear needs.
    """
    extra = np.maximum(0.0, np.asarray(extra_nails_per_ft, dtype=np.float64))
    return 2.0 * 1.6 * np.asarray(nail_lateral_lb, dtype=np.float64) * extra


def sheathing_uplift_limit_plf(thickness: str) -> float:
    """Greatest nominal uplift of a panel used for shear and uplift: SDPWS 2008 4.4.1 (read in a public article)."""
    name = "uplift_nominal_panel_3_8" if thickness == "3/8" else "uplift_nominal_panel_7_16"
    return named_value("wood_rules.csv", name)


def sheathing_uplift_design_plf(nominal_plf: Number, edition: str, hazard: str, method: str) -> Array:
    """Uplift by plate nails that may be used: SDPWS 2015 4.4.1, nominal / 2.0 ("ASD") or x 0.65 ("LRFD").

    Never more generous than the edition is in shear under the same hazard (2021: seismic / 2.8, x 0.50).
    """
    if method == "LRFD":
        return np.asarray(nominal_plf, dtype=np.float64) * _uplift_phi(edition, hazard)
    return allowable_unit_shear_plf(nominal_plf, edition, hazard)


def _uplift_phi(edition: str, hazard: str) -> float:
    return min(named_value("wood_rules.csv", "uplift_nails_phi"), resistance_factor(edition, hazard))


def uplift_values(edition: str, hazard: str, method: str) -> dict[str, float]:
    """The divisor or the resistance factor of uplift by plate nails by its symbol: see `method_values`."""
    if method == "LRFD":
        return {"phi_D": _uplift_phi(edition, hazard)}
    return method_values(edition, hazard, method)


def toe_nail_seismic_limit_plf(method: str = "ASD") -> float:
    """Greatest seismic shear through toe nails in categories D to F: SDPWS 2015 4.1.7, 150 (ASD), 205 (LRFD)."""
    return named_value("wood_rules.csv", "toe_nail_seismic_limit" + ("_strength" if method == "LRFD" else ""))
