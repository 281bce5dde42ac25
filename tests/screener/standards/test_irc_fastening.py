"""The code's nail counts: rules. What they are worth: `screener.checks`, subject wood_fastening."""

import pytest

from screener.checks.published import published
from screener.standards import irc_fastening as irc
from screener.standards.wood_tables import table_rows

CD = 1.6


def test_every_line_of_the_schedule_has_a_check():
    rows = published("wood_irc_fastening_capacity.csv")
    assert {(r["connection"], r["fasteners"]) for r in rows} == {
        (r["connection"], r["fasteners"]) for r in table_rows("irc_fastening.csv")
    }


def test_short_nails_are_worth_less_by_the_shared_rule():
    """NDS 2018 Table 12N note against 12.3.5: p/10D is the lower of the two ways wherever it cuts."""
    for row in published("wood_irc_fastening_capacity.csv"):
        if row["uplift_withdrawal_CD1.6"].startswith("table way"):
            key = (row["connection"], row["fasteners"], row["species"], CD)
            shared, by_length = (irc.prescriptive_capacity(*key, rule=r).lateral_lb for r in ("share", "length"))
            assert shared < by_length, row


def test_anchor_rules():
    # IRC 2018 R403.1.6 and R602.11.1.
    assert irc.anchor_spacing_most_in("D0", 1) == irc.anchor_spacing_most_in("B", 3) == 72.0
    assert irc.anchor_spacing_most_in("D1", 3) == 48.0
    assert [irc.plate_washers_needed(s) for s in ("A", "B", "C", "D0", "D1", "D2", "D")] == [False] * 3 + [True] * 4


def test_unknown_fastening():
    with pytest.raises(LookupError, match="no fastening"):
        irc.prescriptive_capacity("Rafter", "3 staples", "SPF", CD)
