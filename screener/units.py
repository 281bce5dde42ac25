"""Units of length, area and money. Everything inside is US customary; money is a whole number of cents.

Hazard quantities are converted in `hazard.layers`, once, where they are read.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation

FOOT_M = 0.3048  # international foot, exact: NIST Special Publication 811 (2008), appendix B.8
SURVEY_FOOT_M = 1200.0 / 3937.0  # US survey foot, exact: same place, footnote
SQUARE_FOOT_M2 = FOOT_M**2


def cents(dollars: str | float | int | Decimal) -> int:
    """A sum of money as whole cents, half cents to the even neighbour. Raises ValueError for what is no number."""
    try:
        amount = Decimal(str(dollars))
        if not amount.is_finite():
            raise ValueError(f"{dollars!r} is not a sum of money")
        return int((amount * 100).quantize(Decimal(1), rounding=ROUND_HALF_EVEN))
    except InvalidOperation as error:
        raise ValueError(f"{dollars!r} is not a sum of money") from error


def dollars_text(whole_cents: int) -> str:
    """Cents as dollars for a reader: 1234567 -> "$12,345.67"."""
    sign = "-" if whole_cents < 0 else ""
    whole, rest = divmod(abs(whole_cents), 100)
    return f"{sign}${whole:,}.{rest:02d}"
