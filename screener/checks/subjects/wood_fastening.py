"""The residential code's nailed connections: counts of nails, and what NDS 2018 makes of them."""

from __future__ import annotations

from collections.abc import Iterator

from screener.checks.published import published
from screener.checks.rows import DERIVED, Check, Source
from screener.standards import irc_fastening as irc

TITLE = "Prescriptive nailing (IRC Table R602.3(1) with NDS 2018)"

CD = 1.6


def checks() -> Iterator[Check]:
    """Lateral value, mode, withdrawal and penetration of every line of the schedule in every species."""
    source = Source("IRC with NDS", "2018", "Table R602.3(1), worth by NDS", DERIVED)
    for row in published("wood_irc_fastening_capacity.csv"):
        key = (row["connection"], row["fasteners"], row["species"], CD)
        ours = irc.prescriptive_capacity(*key, rule="length")
        what = f"{row['connection']}, {row['fasteners']}, {row['species']}"
        if row["Z_per_nail_CD1"]:
            yield Check(source, f"{what}: one nail", float(row["Z_per_nail_CD1"]), ours.nail_lateral_lb, 0.06, "lb")
            yield Check(source, f"{what}: mode", row["mode"], ours.mode)
            yield Check(source, f"{what}: lateral", float(row["lateral_CD1.6"]), ours.lateral_lb, 0.6, "lb")
        uplift = row["uplift_withdrawal_CD1.6"]
        if uplift.startswith("table way"):
            shared = irc.prescriptive_capacity(*key, rule="share").lateral_lb
            yield Check(source, f"{what}: by p/10D", float(uplift.split()[-1]), shared, 0.6, "lb")
        elif uplift == "0":  # end grain: no design value at all
            yield Check(source, f"{what}: withdrawal", float("nan"), ours.withdrawal_lb, 0.0, "lb")
        elif uplift:
            yield Check(source, f"{what}: withdrawal", float(uplift), ours.withdrawal_lb, 0.6, "lb")
        if row["p_lateral"] and row["type"] != "face":
            yield Check(source, f"{what}: penetration", float(row["p_lateral"]), ours.penetration_in, 0.001, "in")
