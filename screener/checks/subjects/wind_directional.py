"""Directional procedure (ASCE 7 Chapter 27): coefficients of its figure, and the standard's table made from them."""

from __future__ import annotations

from collections.abc import Iterator

from hazard.standards.asce7_ch26_wind import kz, velocity_pressure_psf
from screener.checks.published import Row, published
from screener.checks.rows import READ, Check, Known, Source
from screener.standards import asce7_ch27_directional as ch27

TITLE = "Directional wind loads (ASCE 7 Chapter 27)"
EDITION = "ASCE 7-16"
FIGURE = Source("ASCE/SEI 7", "7-16", "Figure 27.3-1", READ)
TABLE = Source("ASCE/SEI 7", "7-16", "Table 27.5-2", READ)
TABLE_PSF = 0.15
WIDE_SQFT = 1e4  # the table is for whole roofs: the least area factor
UNEXPLAINED = "the table's number does not follow from Part 1 at any h/L; the reason was not found"


def checks() -> Iterator[Check]:
    """Every cell of the figure, then Part 2's roof pressures made from Part 1."""
    for row in published("wind_directional_cp.csv"):
        yield from _cell(row)
    for row in published("wind_directional_table_27_5_2.csv"):
        yield _pressure(row)


def _cell(row: Row) -> Iterator[Check]:
    at, first, slope = float(row["at"]), float(row["first"]), row["slope"]
    what = " ".join(
        word for word in (row["table"], slope, row["h_over_l"] and f"h/L {row['h_over_l']}", f"at {at:g}") if word
    )
    if row["table"] == "wall":
        leeward = float(ch27.leeward_wall_cp(at))
        one = {"windward": ch27.windward_wall_cp(), "side": ch27.side_wall_cp(), "leeward": leeward}
        yield Check(FIGURE, what, first, one[slope], 1e-9)
        return
    if row["table"] == "area factor":
        yield Check(FIGURE, what, first, float(ch27.area_factor(at)), 1e-9)
        return
    ratio = float(row["h_over_l"])
    if row["table"] == "strip":
        yield Check(FIGURE, f"{what}, suction", first, float(ch27.strip_cp("suction", at, ratio)), 1e-9)
        yield Check(
            FIGURE, f"{what}, pressure", float(row["second"]), float(ch27.strip_cp("pressure", at, ratio)), 1e-9
        )
    elif slope == "leeward":
        yield Check(FIGURE, what, first, float(ch27.roof_cp("leeward", at, ratio)), 1e-9)
    else:
        yield from _windward(row, what, at, ratio)


def _windward(row: Row, what: str, at: float, ratio: float) -> Iterator[Check]:
    """Where the figure prints one value it is the pressure; the suction case beside it, 0, is a choice of this tool."""
    suction, pressure = (float(ch27.roof_cp(f"windward {case}", at, ratio)) for case in ("suction", "pressure"))
    first = float(row["first"])
    if row["second"]:
        yield Check(FIGURE, f"{what}, suction", first, suction, 1e-9)
        yield Check(FIGURE, f"{what}, pressure", float(row["second"]), pressure, 1e-9)
    else:
        yield Check(FIGURE, f"{what}, pressure", first, pressure, 1e-9)


def _pressure(row: Row) -> Check:
    q = velocity_pressure_psf(kz(160.0, "C", EDITION), 1.0, 0.85, 1.0, 160.0, EDITION)
    ratio, internal = float(row["h_over_l"]), 0.18 if row["case"] == "1" else -0.18
    if row["roof_angle_deg"] == "any":
        cp = ch27.strip_cp("suction", 0.6 if row["zone"] == "5" else 0.0, ratio, WIDE_SQFT)
    else:
        slope = {"11": "windward suction", "21": "windward pressure"}.get(row["case"] + row["zone"], "leeward")
        cp = ch27.roof_cp(slope, float(row["roof_angle_deg"]), ratio, WIDE_SQFT)
    ours, printed = float(ch27.directional_pressure_psf(q, cp, q, internal, EDITION)), float(row["printed_psf"])
    known = None
    if row["computed_psf"]:
        apart = float(row["computed_psf"]) - printed
        known = Known(UNEXPLAINED, apart - TABLE_PSF, apart + TABLE_PSF)
    what = f"roof {row['roof_angle_deg']} degrees, zone {row['zone']}, case {row['case']}"
    return Check(TABLE, what, printed, ours, TABLE_PSF, "psf", known)
