"""Components and cladding: ASCE 7 Chapter 30 figures, the residential code's pressures and adjustments."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from hazard.standards.asce7_ch26_wind import kz
from screener.checks.published import Row, published
from screener.checks.rows import DERIVED, MEMORY, READ, Check, Source, known_value
from screener.standards import asce7_ch30_components as ch30

TITLE = "Wind on components and cladding (ASCE 7 Chapter 30, IRC R301.2)"

READING_ERROR = 0.05
"""Stated accuracy of the graph readings."""

_ANGLES = {
    "Walls": 20.0,
    "slope <= 7deg": 5.0,
    "7deg < slope <= 20deg": 15.0,
    "20deg < slope <= 27deg": 23.0,
    "27deg < slope <= 45deg": 35.0,
    "slope = 45deg": 45.0,
}
_SURFACES = {"30_3_1": "wall", "30_3_2A": "flat", "30_3_2B": "gable", "30_3_2C": "gable", "30_3_2D": "gable"}
_RESIDENTIAL = {
    "wall": ("wall", 20.0, None),
    "gable 7-20": ("gable", 15.0, None),
    "gable 20-27": ("gable", 23.0, None),
    "gable 27-45": ("gable", 35.0, None),
    "hip 7-20 (h/B>=0.8 set)": ("hip", 15.0, 0.8),
    "hip 20-27": ("hip", 23.0, None),
}


def checks() -> Iterator[Check]:
    """Every reading of the figures, the curves' ends, and four sets of published pressures."""
    yield from _readings()
    yield from _ends_of_7_22()
    yield from _hip_equations()
    yield from _residential_pressures()
    yield from _rows_of_2018()
    yield from _adjustments()


def _readings() -> Iterator[Check]:
    """All readings within their accuracy; the left end of each curve without rounding."""
    rows = published("wind_gcp_cc.csv")
    first: dict[tuple[str, ...], Row] = {}
    for row in rows:
        curve = tuple(row[k] for k in ("edition", "figure", "range", "surface", "zone"))
        if curve not in first or float(row["area_ft2"]) < float(first[curve]["area_ft2"]):
            first[curve] = row
    for row in rows:
        exact = any(row is end for end in first.values())
        figure = row["figure"].replace("_", "-").replace("30-3", "30.3")
        source = Source("ASCE/SEI 7", row["edition"], f"Figure {figure}{' left ends' if exact else ''}", READ)
        what = f"{row['range']}, {row['surface']}, zone {row['zone']}, {row['area_ft2']} sq ft"
        value = float(row["gcp"])
        known = None
        if (row["figure"], row["zone"], row["area_ft2"], row["gcp"]) == ("30_3_2A", "2", "10", "-2.5"):
            reason = "this transcription has -2.5; a second one and its own other readings have -2.3"
            known = known_value(reason, value, "-2.3")
        yield Check(source, what, value, reading_of(row), 0.0 if exact else READING_ERROR, known=known)


def reading_of(row: Row) -> float:
    """Our coefficient for one row of the readings."""
    ratio = 0.5 if "h/B<=0.5" in row["range"] else 0.8 if "h/B>=0.8" in row["range"] else None
    angle = _ANGLES[row["range"].split(" h/B")[0]]
    sign = "pressure" if row["surface"].endswith("+") else "suction"
    surface, overhang = _SURFACES.get(row["figure"], "hip"), row["surface"] == "overhang"
    edition, area = f"ASCE {row['edition']}", float(row["area_ft2"])
    return float(ch30.gcp(surface, row["zone"], sign, angle, area, edition, ratio, overhang))


def _ends_of_7_22() -> Iterator[Check]:
    source = Source("ASCE/SEI 7", "7-22", "Figures 30.3-2B to -2G, ends of the curves", READ)
    for row in published("wind_gcp_7_22_ends.csv"):
        last = float(row["last_area_sqft"])
        cells = ((1.0, "gcp_10_sqft"), (10.0, "gcp_10_sqft"), (last, "gcp_last"), (1000.0, "gcp_last"))
        for area, column in cells:
            args = (row["surface"], row["zone"], "suction", float(row["angle_deg"]), area, "ASCE 7-22")
            what = f"{row['surface']} {row['angle_deg']} degrees, zone {row['zone']}, {area:g} sq ft"
            yield Check(source, what, float(row[column]), float(ch30.gcp(*args)), 1e-9)


def _hip_equations() -> Iterator[Check]:
    source = Source("ASCE/SEI 7", "7-16", "Figures 30.3-2H and -2I, equations", READ)
    for row in published("wind_gcp_7_16_hip_equations.csv"):
        for angle in (30.0, 36.0, 45.0):
            value = float(row["c0"]) + float(row["c1"]) * angle
            ours = ch30.gcp("hip", row["zone"], "suction", angle, float(row["area_sqft"]), "ASCE 7-16")
            what = f"zone {row['zone']}, {angle:g} degrees, {row['area_sqft']} sq ft"
            yield Check(source, what, value, float(ours), 1e-9)


def _residential_pressures() -> Iterator[Check]:
    """0.6 qh (GCp - GCpi), at least 10 psf, at 30 ft in Exposure B: with the reading itself, and with our curve.

    With the reading every cell must agree to its printed digit; our straight lines may differ by its accuracy.
    """
    readings = {
        (
            _ANGLES[r["range"].split(" h/B")[0]],
            _SURFACES.get(r["figure"], "hip"),
            r["zone"],
            r["surface"][-1],
            r["area_ft2"],
        ): float(r["gcp"])
        for r in published("wind_gcp_cc.csv")
        if r["edition"] == "7-16" and r["surface"] != "overhang" and "h/B<=0.5" not in r["range"]
    }
    place = "Table R301.2.1(1), substitute"
    by_reading = Source("IRC", "2021", f"{place}, by the reading", DERIVED)
    by_curve = Source("IRC", "2021", f"{place}, by our curve", DERIVED)
    for row in published("wind_irc_cc_derived.csv"):
        figure, angle, ratio = _RESIDENTIAL[row["surface"]]
        q = 0.6 * 0.00256 * 0.70 * 0.85 * float(row["V_mph"]) ** 2
        for sign, internal, column in (("pressure", -0.18, "p_pos_psf"), ("suction", 0.18, "p_neg_psf")):
            key = (angle, figure, row["zone"], "+" if sign == "pressure" else "-")
            # one curve has no reading at 100 sq ft; it is level from 50 to 200
            reading = readings.get((*key, row["area_ft2"]), readings.get((*key, "200"), np.nan))
            curve = ch30.gcp(figure, row["zone"], sign, angle, float(row["area_ft2"]), "ASCE 7-16", ratio)
            what = f"{row['surface']}, zone {row['zone']}, {row['area_ft2']} sq ft, {row['V_mph']} mph, {sign}"
            for source, coefficient, slack in ((by_reading, reading, 0.0), (by_curve, curve, READING_ERROR * q)):
                p = _at_least_10(float(ch30.components_pressure_psf(q, coefficient, internal, "ASCE 7-16")), sign)
                yield Check(source, what, float(row[column]), p, 0.05 + slack + 1e-6, "psf")


def _at_least_10(pressure_psf: float, sign: str) -> float:
    return min(pressure_psf, -10.0) if sign == "suction" else max(pressure_psf, 10.0)


def _rows_of_2018() -> Iterator[Check]:
    source = Source("IRC", "2018", "Table R301.2(2), rows at 10 sq ft", READ)
    for row in published("wind_irc_2018_rows.csv"):
        coefficient, internal = float(row["coefficient"]), float(row["internal"])
        for speed in ("110", "130", "150", "180"):
            q = 0.6 * 0.00256 * 0.70 * 0.85 * float(speed) ** 2
            p = float(ch30.components_pressure_psf(q, coefficient, internal, "ASCE 7-16"))
            p = _at_least_10(p, "suction" if p < 0 else "pressure")
            yield Check(source, f"GCp {coefficient:g} at {speed} mph", float(row[speed]), p, 0.95, "psf")


def _adjustments() -> Iterator[Check]:
    """Kz over 0.70: components carry no floor in Exposure B, so pressures follow Kz alone."""
    base = ch30.components_pressure_psf(0.70, -1.4, 0.18, "ASCE 7-16")
    for row in published("wind_irc_cc_adjust.csv"):
        for exposure in "BCD":
            height = kz(float(row["height_ft"]), exposure, "ASCE 7-16")
            ours = float(ch30.components_pressure_psf(height, -1.4, 0.18, "ASCE 7-16") / base)
            for column, within, obtained in (("printed_memory", 0.0101, MEMORY), ("ratio", 6e-4, DERIVED)):
                source = Source("IRC", "2021", "Table R301.2.1(2)", obtained)
                what = f"adjustment at {row['height_ft']} ft, Exposure {exposure}"
                yield Check(source, what, float(row[f"{exposure}_{column}"]), ours, within)
