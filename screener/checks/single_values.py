"""Single published values: a table of what the world says by key, and a mapping of what this tool says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from screener.checks.published import published
from screener.checks.rows import Check, Source, known_value, printed


def single_values(name: str, ours: Mapping[str, float | str]) -> Iterator[Check]:
    """A check for each row of `data/<name>`.

    Columns: key, document, edition, place, obtained, published, within, unit, ours, known. A blank `within` is half a
    unit of the printed digit. `ours` states the value this tool gives where it is known to differ, and `known` why.
    A key without a value here, or a value without a row, is an error.
    """
    rows = published(name)
    if {row["key"] for row in rows} != set(ours):
        raise ValueError(f"{name}: keys without a partner: {sorted({row['key'] for row in rows} ^ set(ours))}")
    for row in rows:
        source = Source(row["document"], row["edition"], row["place"], row["obtained"])
        value = ours[row["key"]]
        if isinstance(value, str):
            yield Check(source, row["key"], row["published"], value, unit=row["unit"])
            continue
        given, half = printed(row["published"])
        within = float(row["within"]) if row["within"] else half
        known = known_value(row["known"], given, row["ours"]) if row["known"] else None
        yield Check(source, row["key"], given, float(value), within, row["unit"], known)
