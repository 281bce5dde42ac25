"""The code's nail counts and what they are worth by NDS 2018 (wood_irc_fastening_capacity.csv, derived)."""

import csv
from pathlib import Path

import numpy as np
import pytest

from screener.standards import irc_fastening as irc
from screener.standards.wood_tables import table_rows

PUBLISHED = Path(__file__).parents[2] / "published"
CD = 1.6


def published(name):
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def test_every_line_of_the_fastening_schedule():
    rows = published("wood_irc_fastening_capacity.csv")
    assert {(r["connection"], r["fasteners"]) for r in rows} == {
        (r["connection"], r["fasteners"]) for r in table_rows("irc_fastening.csv")
    }
    for row in rows:
        key = (row["connection"], row["fasteners"], row["species"], CD)
        ours = irc.prescriptive_capacity(*key, rule="length")
        if row["Z_per_nail_CD1"]:
            assert ours.nail_lateral_lb == pytest.approx(float(row["Z_per_nail_CD1"]), abs=0.06), row
            assert ours.mode == row["mode"], row
            assert ours.lateral_lb == pytest.approx(float(row["lateral_CD1.6"]), abs=0.6), row
        uplift = row["uplift_withdrawal_CD1.6"]
        if uplift.startswith("table way"):
            shared = irc.prescriptive_capacity(*key, rule="share")
            assert shared.lateral_lb == pytest.approx(float(uplift.split()[-1]), abs=0.6), row
            assert shared.lateral_lb < ours.lateral_lb
        elif uplift == "0":
            assert np.isnan(ours.withdrawal_lb), row  # end grain: no design value at all
        elif uplift:
            assert ours.withdrawal_lb == pytest.approx(float(uplift), abs=0.6), row
        if row["p_lateral"] and row["type"] != "face":
            assert ours.penetration_in == pytest.approx(float(row["p_lateral"]), abs=0.001)


def test_toe_nails_hold_more_than_a_permit_note_claims():
    # A permit plan note (110 mph guide) counts 225 lb lateral for 3-8d toe nails; NDS gives 296 (SPF) and 383 (DF-L).
    for species, expected in (("SPF", 296), ("DF-L", 383)):
        ours = irc.prescriptive_capacity("Older codes rafter to plate toe nail", "3-8d common", species, CD)
        assert ours.lateral_lb == pytest.approx(expected, abs=0.6)
        assert ours.lateral_lb > 225


def test_anchor_rules():
    # IRC 2018 R403.1.6 and R602.11.1.
    assert irc.anchor_spacing_most_in("D0", 1) == irc.anchor_spacing_most_in("B", 3) == 72.0
    assert irc.anchor_spacing_most_in("D1", 3) == 48.0
    assert [irc.plate_washers_needed(s) for s in ("A", "B", "C", "D0", "D1", "D2", "D")] == [False] * 3 + [True] * 4


def test_unknown_fastening():
    with pytest.raises(LookupError, match="no fastening"):
        irc.prescriptive_capacity("Rafter", "3 staples", "SPF", CD)
