"""Money in integer cents: unit prices, price breaks, and the cheapest whole number of purchase units.

Prices on a hardware list may be finer than a cent (a nail at $0.021), so a price is kept as a decimal and rounded
once, half up, where an amount of money arises. A price break takes its share off every unit of an order that reaches
it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

_BREAK = re.compile(
    r"^\s*(?P<units>\d+)\s*(?:boxes|box|units|unit)?\s*:\s*(?:-\s*)?(?P<off>\d+(?:\.\d+)?)\s*(?P<percent>%)?\s*$"
)


@dataclass(frozen=True, order=True)
class PriceBreak:
    """From `from_units` purchase units (boxes) in one order, every unit costs the share `off` less."""

    from_units: int
    off: Decimal

    def __post_init__(self) -> None:
        if self.from_units < 1 or not 0 <= self.off < 1:
            raise ValueError(
                f"price break from {self.from_units} units with {self.off} off; "
                "expected at least 1 unit and a share from 0 to below 1"
            )


@dataclass(frozen=True)
class Price:
    """What an item costs: dollars a piece, pieces in a purchase unit (box), and the breaks by boxes ordered."""

    unit_cost_usd: Decimal
    purchase_unit_qty: int = 1
    breaks: tuple[PriceBreak, ...] = ()

    def __post_init__(self) -> None:
        if not self.unit_cost_usd.is_finite() or self.unit_cost_usd < 0:
            raise ValueError(f"unit cost {self.unit_cost_usd}; expected dollars, not below 0")
        if self.purchase_unit_qty < 1:
            raise ValueError(f"{self.purchase_unit_qty} pieces in a purchase unit; expected a whole number from 1")
        units = [each.from_units for each in self.breaks]
        offs = [each.off for each in self.breaks]
        if units != sorted(set(units)) or offs != sorted(offs):
            raise ValueError("price breaks out of order; expected more units first to last, with more off each time")

    @property
    def box_usd(self) -> Decimal:
        """Dollars for one purchase unit before any break."""
        return self.unit_cost_usd * self.purchase_unit_qty


def decimal(value: float | int | str | Decimal) -> Decimal:
    """A decimal as written: 0.021 stays 0.021, not its binary neighbour."""
    return value if isinstance(value, Decimal) else Decimal(str(value).strip())


def cents(dollars: float | int | str | Decimal) -> int:
    """Dollars to whole cents, half a cent up (away from zero)."""
    return int((decimal(dollars) * 100).to_integral_value(rounding=ROUND_HALF_UP))


def parse_price_breaks(text: str | float | None) -> tuple[PriceBreak, ...]:
    """Price breaks as written in a hardware list: `10: 6%; 60: 11%` (or `10:0.06|60:0.11`); empty is none."""
    if text is None or (isinstance(text, float) and math.isnan(text)) or not str(text).strip():
        return ()
    breaks = []
    for part in re.split(r"[;|]", str(text)):
        if not part.strip():
            continue
        match = _BREAK.match(part)
        if match is None:
            raise ValueError(
                f"price break {part.strip()!r} is not understood; expected boxes: percent off, as 10: 6%; 60: 11%"
            )
        off = Decimal(match["off"])
        breaks.append(PriceBreak(int(match["units"]), off / 100 if match["percent"] or off >= 1 else off))
    return tuple(sorted(breaks))


def piece_cents(pieces: int | Decimal, price: Price) -> int:
    """Cost of so many pieces (with waste, may be a fraction) at the list price: no boxes, no breaks."""
    return cents(decimal(pieces) * price.unit_cost_usd)


def share_off(units: int, breaks: Sequence[PriceBreak]) -> Decimal:
    """The share taken off every unit in an order of `units` purchase units."""
    return max((each.off for each in breaks if units >= each.from_units), default=Decimal(0))


def order_cents(units: int, price: Price) -> int:
    """Cost of one order of whole purchase units, with its price break."""
    return cents(units * price.box_usd * (1 - share_off(units, price.breaks)))


def cheapest_order(units_needed: int, price: Price) -> tuple[int, int]:
    """The cheapest order that covers the need: (purchase units, cents). Ties go to the fewer units.

    Between two breaks the cost rises with the units, so only the need itself and each break above it can be cheapest:
    looking at those few is the proof.
    """
    if units_needed <= 0:
        return 0, 0
    candidates = [units_needed, *(each.from_units for each in price.breaks if each.from_units > units_needed)]
    best = min((order_cents(units, price), units) for units in candidates)
    return best[1], best[0]


def share_out(total_cents: int, weights: Sequence[int]) -> list[int]:
    """Split an amount in proportion to whole weights, exactly: largest remainders get the odd cents, first come first.

    All weights zero: the whole amount goes to the first row.
    """
    if not weights:
        if total_cents:
            raise ValueError("an amount to share out among no rows; expected at least one row")
        return []
    whole = sum(weights)
    if whole == 0:
        return [total_cents] + [0] * (len(weights) - 1)
    parts = [total_cents * weight // whole for weight in weights]
    remainders = [total_cents * weight % whole for weight in weights]
    odd = total_cents - sum(parts)
    for row in sorted(range(len(weights)), key=lambda index: (-remainders[index], index))[:odd]:
        parts[row] += 1
    return parts
