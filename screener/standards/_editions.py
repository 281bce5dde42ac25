"""Values that belong to an edition of the standard, from the editions table."""

from __future__ import annotations

from functools import cache

from hazard.standards.tables import load_table, value


@cache
def edition_value(edition: str, item: str) -> float:
    """One number of one edition (`reference/editions.csv`)."""
    return float(value(load_table("editions.csv", "screener"), "value", edition=edition, item=item))
