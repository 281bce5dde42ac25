"""Envelope coefficients, minimum loads, internal pressure, end zones, load combinations: ASCE 7 Chapters 2, 26, 28."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from screener.checks.published import published
from screener.checks.rows import READ, Check, Source
from screener.checks.single_values import single_values
from screener.standards import asce7_ch28_envelope as ch28
from screener.standards import asce7_ch30_components as ch30
from screener.standards.asce7_ch02_combinations import combinations

TITLE = "Envelope wind loads and load combinations (ASCE 7 Chapters 2, 26, 28, 30)"


def checks() -> Iterator[Check]:
    """Every cell of Figure 28.3-1 with its torsion zones, then single values."""
    yield from _figure()
    yield from single_values("wind_pressure_values.csv", _ours())


def _figure() -> Iterator[Check]:
    for row in published("wind_gcpf.csv"):
        turning = "torsion" in row["case"]
        any_angle = row["theta_deg"] == "0-90"
        angles = [20.0] if turning and any_angle else [0.0, 20.0, 90.0] if any_angle else [float(row["theta_deg"])]
        for edition in ("7-16", "7-22"):
            source = Source("ASCE/SEI 7", edition, f"Figure 28.3-1{' torsion zones' if turning else ''}", READ)
            for angle in angles:
                case, zone = row["case"][0], row["zone"].rstrip("T")
                if turning:
                    ours = float(ch28.torsion_gcpf(case, zone, angle, f"ASCE {edition}"))
                else:
                    ours = float(ch28.gcpf(case, zone, angle))
                what = f"case {row['case']}, zone {row['zone']}, {angle:g} degrees"
                yield Check(source, what, float(row["gcpf"]), ours, 0.005 if turning else 0.0)


def _dead_factor(method: str, use: str, name: str, sds: float) -> float:
    rows = combinations("ASCE 7-16", method, use)
    return float(next(c for c in rows if c.name == name).dead_factor(sds))


def _ours() -> dict[str, float | str]:
    """What this tool says to each row of wind_pressure_values.csv."""
    qh = 0.00256 * 2.01 * (30.0 / 1200.0) ** (2.0 / 7.0) * 0.85 * 140.0**2  # the page takes Kz at 30 ft
    page = [("wall pressure", 0.5, -0.18), ("roof zone 1", -0.9, 0.18)]
    page += [("roof zone 2", -1.7, 0.18), ("roof zone 3", -2.6, 0.18)]
    hip = ("hip", "1", "suction", 15.0, 10.0, "ASCE 7-16")
    roof = 40.0 * 20.0 * np.tan(np.radians(23.0))
    enclosures = ("enclosed", "partially enclosed", "partially open", "open")
    editions = ("7-16", "7-22")
    return {
        "least load of a 40 by 40 ft gable house at 23 degrees": float(
            ch28.minimum_lateral_lb(40.0 * 8.0, roof, "ASCE 7-16") / 1000.0
        ),
        "zone 3E at 4:12 between 5 and 20 degrees": float(ch28.gcpf("A", "3E", 18.435)),
        "zone 2E at 25 degrees": float(ch28.gcpf("A", "2E", 25.0)),
        **{
            f"a of {least} by {height} ft": float(ch28.end_zone_a_ft(least, height))
            for least, height in ((40, 12.24), (30, 10), (24, 12), (60, 10), (120, 10))
        },
        "zone 2 reaches half of 40 ft": float(ch28.zone2_extent_ft(40.0, 9.0)),
        "zone 2 reaches 2.5 times 9 ft": float(ch28.zone2_extent_ft(60.0, 9.0)),
        **{f"GCpi {kind} {e}": ch28.gcpi(kind, f"ASCE {e}") for kind in enclosures for e in editions},
        "soffit under a windward overhang": ch28.windward_overhang_soffit_gcp("ASCE 7-16"),
        "least wall pressure": ch28.minimum_wall_psf("ASCE 7-16"),
        "least roof pressure": ch28.minimum_roof_psf("ASCE 7-16"),
        "least component pressure": ch30.minimum_pressure_psf("ASCE 7-16"),
        "effective area of 9 by 1.333 ft": float(ch30.effective_wind_area_sqft(9.0, 16.0 / 12.0)),
        "effective area of 30 by 2 ft": float(ch30.effective_wind_area_sqft(30.0, 2.0)),
        "effective area of 4 by 2 ft": float(ch30.effective_wind_area_sqft(4.0, 2.0)),
        **{f"permit page {n}": float(ch30.components_pressure_psf(qh, c, i, "ASCE 7-16")) for n, c, i in page},
        # q 19.75 psf with Kd is 23.23 without: (-1.4 - 0.18) x 19.75 = -31.2 psf either way
        "7-22 pressure from q without Kd": float(ch30.components_pressure_psf(19.75 / 0.85, -1.4, 0.18, "ASCE 7-22")),
        "gable 15 degrees zone 3 overhang 7-22": float(
            ch30.gcp("gable", "3", "suction", 15.0, 10.0, "ASCE 7-22", overhang=True)
        ),
        "hip 36 degrees zone 3 7-22": float(ch30.gcp("hip", "3", "suction", 36.0, 10.0, "ASCE 7-22")),
        "hip 45 degrees zone 3 7-22": float(ch30.gcp("hip", "3", "suction", 45.0, 10.0, "ASCE 7-22")),
        **{f"hip zone 1 15 degrees h/B {x}": float(ch30.gcp(*hip, h_over_b=x)) for x in (0.3, 0.65, 0.9)},
        "wall zone 5 under a roof of 10 degrees": float(ch30.gcp("wall", "5", "suction", 10.0, 10.0, "ASCE 7-16")),
        "wall zone 5 under a roof of 10.1 degrees": float(ch30.gcp("wall", "5", "suction", 10.1, 10.0, "ASCE 7-16")),
        "0.6D - 0.7Ev: dead factor at SDS 0.857": _dead_factor("ASD", "uplift", "0.6D - 0.7Ev + 0.7Eh", 0.857),
        "1.0D + 0.7Ev: dead factor at SDS 0.857": _dead_factor("ASD", "compression", "1.0D + 0.7Ev + 0.7Eh", 0.857),
        "1.0D + 0.525Ev: dead factor at SDS 0.857": _dead_factor(
            "ASD", "compression", "1.0D + 0.525Ev + 0.525Eh + 0.75L + 0.75S", 0.857
        ),
        "1.2D + Ev: dead factor at SDS 1": _dead_factor("LRFD", "compression", "1.2D + Ev + Eh + L + 0.2S", 1.0),
        "0.9D - Ev: dead factor at SDS 1": _dead_factor("LRFD", "uplift", "0.9D - Ev + Eh", 1.0),
    }
