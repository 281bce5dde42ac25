"""Money in whole cents, feet as the reference document gives them."""

from __future__ import annotations

import pytest

from screener.units import FOOT_M, SURVEY_FOOT_M, cents, dollars_text


def test_the_two_feet() -> None:
    # NIST Special Publication 811 (2008), appendix B.8 (from memory): 1 ft = 0.3048 m exactly; 1 ft (US survey) =
    # 1200/3937 m = 0.304 800 6 m to seven digits.
    assert FOOT_M == 0.3048
    assert round(SURVEY_FOOT_M, 7) == 0.3048006


@pytest.mark.parametrize(
    ("dollars", "expected"), [("12.34", 1234), (0.1 + 0.2, 30), (1e6, 10**8), (-1.5, -150), ("0.005", 0), ("0.015", 2)]
)
def test_cents(dollars: str | float, expected: int) -> None:
    assert cents(dollars) == expected


@pytest.mark.parametrize("dollars", ["", "ten", float("nan"), float("inf"), "1,250"])
def test_what_is_no_money(dollars: str | float) -> None:
    with pytest.raises(ValueError, match="not a sum of money"):
        cents(dollars)


def test_dollars_for_a_reader() -> None:
    assert dollars_text(123456789) == "$1,234,567.89"
    assert dollars_text(-5) == "-$0.05"
