"""What the cells of IRC Table R802.11 say together; cell by cell: `screener.checks`, subject truss_uplift."""

from __future__ import annotations

import numpy as np
import pytest

from screener.checks import checks_of
from screener.checks.published import published
from screener.checks.subjects.truss_uplift import uplift_lb


def test_the_grid_is_whole_for_exposure_b_and_holds_no_exposure_c() -> None:
    rows = published("wind_irc_r802_11.csv")
    assert {r["exposure"] for r in rows} == {"B"}  # with Exposure C rows in the data, a check of them belongs here
    assert len(rows) == 240
    assert sum(r["pitch_class"] == "lt5" for r in rows) == sum(r["pitch_class"] == "ge5" for r in rows) == 120


def test_below_5_in_12_within_two_pounds() -> None:
    """All 120 cells at 4:12, end zone, rounded to the pound: at most 2 lb off."""
    off = np.array([check.difference for check in checks_of("truss_uplift", "Table R802.11 below 5:12")])
    assert len(off) == 120
    assert abs(off).max() <= 2.0


@pytest.mark.parametrize("bound", published("wind_irc_r802_11_steep.csv"), ids=lambda b: b["pitch_in_12"])
def test_steeper_roofs_differ_from_the_table_as_reported(bound: dict[str, str]) -> None:
    """At 5:12 and steeper the table's 0.955 factor has no published coefficient set: the tool follows ASCE 7.

    Case B, which does not change with the slope, governs there, while the couple of the horizontal parts grows with
    the slope; the table has one column for all of these slopes. The stated range must be the one that is found.
    """
    place = f"Table R802.11 5:12 and over, our {bound['pitch_in_12']}:12"
    percent = [check.percent for check in checks_of("truss_uplift", place)]
    assert len(percent) == 40
    stated = (float(bound["least_percent"]), float(bound["greatest_percent"]))
    assert (min(percent), max(percent)) == pytest.approx(stated, abs=0.06)


def test_interior_trusses_get_less_than_the_tables_three_quarters() -> None:
    """The table gives interior trusses 0.75 of the corner's; zones 2 and 3 alone give less (the tool follows them)."""
    corner, inner = (uplift_lb("24", "28", 4.0, [130.0], zone)[0] for zone in ("end zone", "interior"))
    assert 0.0 < inner < 0.75 * corner
