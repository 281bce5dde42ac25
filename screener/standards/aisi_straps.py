"""Steel of straps and rods: AISI S100-16 (cold-formed members) and AISC 360-16 (threaded parts), by either method.

Inches, pounds, psi; arrays in, arrays out. From memory; strap values checked in `tests/screener/standards`.
"""

from __future__ import annotations

import numpy as np

from screener.standards.wood_tables import Array, Number, find_row

ROD_TENSION_SHARE = 0.75  # AISC 360-16 Table J3.2
GROSS_YIELD, NET_RUPTURE, ROD = "gross yielding of sheet", "net rupture of sheet", "tension of threaded part"
"""Limit states of `steel_factors.csv`."""


def available_lb(nominal_lb: Number, limit: str, method: str) -> Array:
    """Nominal strength over its safety factor ("ASD") or times its resistance factor ("LRFD"), by limit state."""
    row, nominal = find_row("steel_factors.csv", limit=limit), np.asarray(nominal_lb, dtype=np.float64)
    return nominal * float(row["phi"]) if method == "LRFD" else nominal / float(row["divisor"])


def method_words(method: str, *limits: str) -> str:
    """The safety or resistance factors of some limit states: "Omega 1.67, 2" or "phi 0.9, 0.75"."""
    symbol, column = ("phi", "phi") if method == "LRFD" else ("Omega", "divisor")
    factors = [float(find_row("steel_factors.csv", limit=limit)[column]) for limit in limits]
    return f"{symbol} {', '.join(f'{factor:g}' for factor in factors)}"


def sheet_thickness_in(gauge: str) -> float:
    """Thickness of galvanised sheet of a gauge as a side plate: NDS 2018 Table 12P."""
    return float(find_row("steel_sheets.csv", gauge=gauge)["thickness_in"])


def strap_thickness_in(gauge: str) -> float:
    """Least thickness of galvanised sheet of a gauge, for tension; an error where the table has none."""
    text = find_row("steel_sheets.csv", gauge=gauge)["base_thickness_in"]
    if not text:
        raise LookupError(f"no least thickness of {gauge} gauge in the table; give the strap's own thickness")
    return float(text)


def steel_strength_psi(grade: str) -> tuple[float, float]:
    """Least yield and tensile strength of a sheet or rod steel."""
    row = find_row("steel_grades.csv", grade=grade)
    return float(row["fy_psi"]), float(row["fu_psi"])


def sheet_bearing_psi(grade: str) -> float:
    """Dowel bearing strength of cold-formed sheet, 1.375 Fu: NDS 2018 Table 12P."""
    return float(find_row("steel_grades.csv", grade=grade, use="sheet")["bearing_psi"])


def gross_yield_lb(fy_psi: Number, gross_area_sqin: Number, method: str = "ASD") -> Array:
    """Tension by yielding of the gross section: AISI S100-16 D2."""
    nominal = np.asarray(fy_psi, dtype=np.float64) * np.asarray(gross_area_sqin, dtype=np.float64)
    return available_lb(nominal, GROSS_YIELD, method)


def net_rupture_lb(fu_psi: Number, net_area_sqin: Number, method: str = "ASD") -> Array:
    """Tension by rupture of the net section: AISI S100-16 D3."""
    nominal = np.asarray(fu_psi, dtype=np.float64) * np.asarray(net_area_sqin, dtype=np.float64)
    return available_lb(nominal, NET_RUPTURE, method)


def strap_tension_lb(
    width_in: Number,
    thickness_in: Number,
    hole_diameter_in: Number,
    fy_psi: Number,
    fu_psi: Number,
    holes_across: Number = 1,
    method: str = "ASD",
) -> Array:
    """Tension of a strap's steel, the lesser of gross yield and net rupture: AISI S100-16 D2, D3."""
    width, thickness = np.asarray(width_in, dtype=np.float64), np.asarray(thickness_in, dtype=np.float64)
    net = (
        width - np.asarray(holes_across, dtype=np.float64) * np.asarray(hole_diameter_in, dtype=np.float64)
    ) * thickness
    return np.minimum(gross_yield_lb(fy_psi, width * thickness, method), net_rupture_lb(fu_psi, net, method))


def rod_tension_lb(diameter_in: Number, fu_psi: Number, method: str = "ASD") -> Array:
    """Tension of a threaded rod or bolt on its nominal area: AISC 360-16 J3.6, Table J3.2."""
    area = np.pi / 4 * np.asarray(diameter_in, dtype=np.float64) ** 2
    nominal = ROD_TENSION_SHARE * np.asarray(fu_psi, dtype=np.float64) * area
    return available_lb(nominal, ROD, method)
