"""Hold-down tension of shear wall segments through the whole tool, against cases worked by hand.

A box house whose front wall is one segment of the case's length. The arm is the segment's length less 6 in., as one
city's published example takes it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from screener.checks.houses import model_of_text, worst_of
from screener.checks.published import published
from screener.checks.rows import DERIVED, Check, Source

TITLE = "Hold-downs through the whole tool (statics of stacked segments)"

_BOX = """
schema = 1
plan = {{ name = "box", species = "SPF", foundation = "slab", first_floor_height_ft = 0, hold_down_offset_ft = {off} }}
weights.roof = {{ least_psf = 1e-9, greatest_psf = 1e-9 }}
weights.exterior_wall = {{ least_psf = {psf}, greatest_psf = {psf} }}
weights.interior_wall = {{ least_psf = 1.0, greatest_psf = 1.0 }}
weights.floor = {{ least_psf = 10.0, greatest_psf = 10.0 }}
storey = [
    {{ name = "1", wall_height_ft = {h1}, areas = [{{ rect = [0, 0, {width}, 20] }}] }},{upper_storey}
]
wall = [{walls}
]

[[roof]]
name = "top"
storey = "{top}"
shape = "gable"
rect = [0, 0, {width}, 20]
ridge = "y"
pitch_in_12 = 4
eave_overhang_ft = 0
bearings = [{{ at_ft = 0, wall = "left {top}" }}, {{ at_ft = {width}, wall = "right {top}" }}]
end_walls = ["front {top}", "rear {top}"]
"""


def box(r: dict[str, str]) -> tuple[str, str]:
    """A box whose front wall is one segment of the case's length, and that segment's hold-down at the foundation.

    A dead load P at the far end stands on a jamb: half of an opening 6 ft wide on each side, with wall and floor above
    its head weighing 2 P.
    """
    b, w_dn, p = float(r["b_ft"]), float(r["w_lower_plf"]), float(r["P_lb"])
    h_up, w_up = float(r["h_upper_ft"]), float(r["w_upper_plf"])
    two = bool(w_dn)
    psf = w_up / h_up
    side = 6.0 if p else 0.0
    width = b + 2 * side

    def walls(storey: str, h: float, tributary: float) -> str:
        head = h - (p / 3.0 - tributary * 10.0) / psf if p else 0.0  # 6 ft/2 x (wall above the head + floor) = P
        gaps = ", ".join(
            f'{{ name = "{storey}{i}", from_ft = {at}, width_ft = 6, height_ft = {head} }}'
            for i, at in enumerate((0.0, side + b) if p else ())
        )
        along = "".join(
            f'\n    {{ name = "{n} {storey}", storey = "{storey}", from = [0, {y}], to = [{width}, {y}], line = "{n}", '
            f"floor_tributary_ft = {tributary}, openings = [{gaps}] }},"
            for n, y in (("front", 0), ("rear", 20))
        )
        return along + "".join(
            f'\n    {{ name = "{n} {storey}", storey = "{storey}", from = [{x}, 0], to = [{x}, 20], line = "{n}" }},'
            for n, x in (("left", 0), ("right", width))
        )

    h_lo = float(r["h_lower_ft"])
    if two:
        text = walls("1", h_lo, (w_dn - psf * h_lo) / 10.0) + walls("2", h_up, 0.0)
        upper = f'\n    {{ name = "2", wall_height_ft = {h_up}, areas = [{{ rect = [0, 0, {width}, 20] }}] }},'
    else:
        text, upper = walls("1", h_up, 0.0), ""
    plan = _BOX.format(
        off=r["off_ft"],
        psf=psf,
        h1=h_lo if two else h_up,
        width=width,
        upper_storey=upper,
        walls=text,
        top="2" if two else "1",
    )
    return plan, f"segment 1 ({b:.1f} ft)"


def checks() -> Iterator[Check]:
    """Every storey of every case, to half a pound."""
    for row in published("seismic_holddown_cases.csv"):
        factors = "Sections 2.4.5 and 12.8" if row["format"] == "ASD" else "Sections 2.3.6 and 12.8"
        source = Source("ASCE/SEI 7", "7-16", f"{factors}, derived hold-down cases", DERIVED)
        for storey, tension in _tensions(row).items():
            column = "T_lower_lb" if storey == "1" and row["T_lower_lb"] else "T_upper_lb"
            what = f"{row['case']}, {'lower' if column == 'T_lower_lb' else 'upper'} storey"
            yield Check(source, what, float(row[column]), tension, 0.6, "lb")


def _tensions(row: dict[str, str]) -> dict[str, float]:
    """Tension by storey; one segment on each of two like lines: unit shear times length, twice."""
    text, label = box(row)
    model = model_of_text(text, row["format"])
    column, two = model.frame.column, len(model.variant.levels) == 2
    if two and row["sumL_lower_ft"] != row["sumL_upper_ft"]:
        raise ValueError(f"{row['case']}: lines of different length; the lower one's sums take the upper force too")
    basis = np.zeros(len(model.frame.basis))
    basis[0] = 1.0
    basis[column["sds_g"]] = basis[column["sds_vertical_g"]] = float(row["SDS"])
    twice = 2000.0 * float(row["rho"]) * float(row["b_ft"])
    top = "2" if two else "1"
    basis[column[f"rho_storey_force_lb_{top}"]] = twice * float(row["Vline_upper_kip"]) / float(row["sumL_upper_ft"])
    if two:
        added = float(row["Vline_lower_added_kip"]) / float(row["sumL_lower_ft"])
        basis[column["rho_storey_force_lb_1"]] = twice * added
    return {
        storey: worst_of(model, basis, f"hold-down: front {storey}, {label}", "tension_lb", "seismic")
        for storey in (("1", "2") if two else ("1",))
    }
