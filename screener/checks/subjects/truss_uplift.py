"""Truss uplift against IRC Table R802.11, cell by cell, through the whole tool: plan, statics, combinations.

What the table stands for was derived from its own cells: corner truss of a gable, end zone, envelope procedure,
enclosed, 33 ft mean roof height, 2 ft overhangs, 15 psf dead load on plan area. The footnotes are from memory. Kz at
33 ft by the constants of ASCE 7-16 Table 26.11-1. The table is a prescriptive answer beside the tool's; nothing is
tuned to it. The data hold Exposure B alone.
"""

from __future__ import annotations

from collections.abc import Iterator

from screener.checks.houses import demands, lots, model_of_text
from screener.checks.published import Row, published
from screener.checks.rows import READ, Check, Known, Source

TITLE = "Truss uplift through the whole tool (IRC Table R802.11)"

HOUSE = """
schema = 1
plan = {{ name = "gable", species = "SPF", foundation = "slab", first_floor_height_ft = 1, mean_roof_height_ft = 33 }}
weights.roof = {{ least_psf = 15.0, greatest_psf = 15.0 }}
weights.exterior_wall = {{ least_psf = 9.0, greatest_psf = 10.0 }}
weights.interior_wall = {{ least_psf = 6.0, greatest_psf = 7.0 }}
weights.floor = {{ least_psf = 8.0, greatest_psf = 9.0 }}
storey = [{{ name = "1", wall_height_ft = 9, areas = [{{ rect = [0, 0, {span}, 60] }}] }}]
wall = [
    {{ name = "front", storey = "1", from = [0, 0], to = [{span}, 0], line = "F" }},
    {{ name = "rear", storey = "1", from = [0, 60], to = [{span}, 60], line = "B" }},
    {{ name = "left", storey = "1", from = [0, 0], to = [0, 60], line = "L" }},
    {{ name = "right", storey = "1", from = [{span}, 0], to = [{span}, 60], line = "R" }},
]

[[roof]]
name = "roof"
storey = "1"
shape = "gable"
rect = [0, 0, {span}, 60]
ridge = "y"
pitch_in_12 = {pitch}
heel_ft = 0
eave_overhang_ft = 2
rake_overhang_ft = 1
truss_spacing_in = {spacing}
bearings = [{{ at_ft = 0, wall = "left" }}, {{ at_ft = {span}, wall = "right" }}]
end_walls = ["front", "rear"]
"""

ZG_FT, ALPHA = 1200.0, 7.0  # Exposure B, ASCE 7-16 Table 26.11-1


def velocity_pressure_psf(speed_mph: float) -> float:
    """ASCE 7-16 Eq. 26.10-1 at 33 ft in Exposure B, Kd 0.85, Kzt and Ke 1."""
    return float(0.00256 * 2.01 * (33.0 / ZG_FT) ** (2.0 / ALPHA) * 0.85 * speed_mph**2)


def uplift_lb(
    spacing_in: str, span_ft: str, pitch: float, speeds_mph: list[float], zone: str = "end zone"
) -> list[float]:
    """Uplift of the tie of one truss at each wind speed."""
    model = model_of_text(HOUSE.format(span=span_ft, pitch=pitch, spacing=spacing_in))
    q = [velocity_pressure_psf(speed) for speed in speeds_mph]
    hazards = lots(q_envelope_psf=q, q_components_psf=q)
    return [float(v) for v in demands(model, hazards, f"truss tie: roof on left, {zone}", "uplift_lb")]


def checks() -> Iterator[Check]:
    """All cells below 5:12 at 4:12, within 2 lb; the cells of 5:12 and steeper at four slopes, as known differences."""
    rows = published("wind_irc_r802_11.csv")
    gentle = Source("IRC", "2015, 2018, 2021", "Table R802.11 below 5:12, Exposure B", READ)
    for row, ours in _cells([r for r in rows if r["pitch_class"] == "lt5"], 4.0):
        yield Check(gentle, _words(row), float(row["uplift_lb"]), float(round(ours)), 2.0, "lb")
    steep = [r for r in rows if r["pitch_class"] == "ge5" and r["spacing_in"] == "12"]
    for bound in published("wind_irc_r802_11_steep.csv"):
        pitch = bound["pitch_in_12"]
        source = Source("IRC", "2015, 2018, 2021", f"Table R802.11 5:12 and over, our {pitch}:12, Exposure B", READ)
        least, greatest = float(bound["least_percent"]), float(bound["greatest_percent"])
        low, high = least - 0.06, greatest + 0.06
        reason = f"one column for every steep roof; ASCE 7 depends on the slope: {least:+.1f} to {greatest:+.1f} %"
        for row, ours in _cells(steep, float(pitch)):
            value = float(row["uplift_lb"])
            known = Known(reason, low / 100.0 * value, high / 100.0 * value)
            yield Check(source, _words(row), value, float(round(ours)), 0.0, "lb", known)


def _words(row: Row) -> str:
    return f"span {row['span_ft']} ft, {row['spacing_in']} in. spacing, {row['speed_mph']} mph"


def _cells(rows: list[Row], pitch: float) -> Iterator[tuple[Row, float]]:
    """Each row with our uplift; one model serves all speeds of a span and spacing."""
    groups: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        groups.setdefault((row["spacing_in"], row["span_ft"]), []).append(row)
    for (spacing, span), members in groups.items():
        speeds = [float(row["speed_mph"]) for row in members]
        yield from zip(members, uplift_lb(spacing, span, pitch, speeds), strict=True)
