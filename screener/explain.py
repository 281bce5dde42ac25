"""`screener explain`: one lot's numbers from raster cell to chosen item, as text, a page or a record.

Nothing is worked out again by another road: see ``screener.calculation``. Change a number there and the run and this
sheet change together.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import TYPE_CHECKING

from hazard.issues import InputError, Issue
from screener.calculation.build import build_sheet
from screener.calculation.text import sheet_lines
from screener.pipeline import Prepared, choose, prepare
from screener.result_tables import choice_findings

if TYPE_CHECKING:
    from screener.calculation.sheet import Sheet
    from screener.config import Tract
    from screener.selection import Selection


def explain(tract: Tract, lot_id: str, point: str | None = None) -> str:
    """Text of one lot's derivation; with ``point`` (a name or part of one) that connection in full."""
    return "\n".join(lines_of(*_screened(tract, lot_id), point))


def explained(tract: Tract, lot_id: str, point: str | None = None) -> Sheet:
    """The whole sheet of one lot, every connection taken apart, or those of a name."""
    return build_sheet(*_screened(tract, lot_id), point, pictures=True)


def lines_of(p: Prepared, s: Selection, lot: int, point: str | None) -> Iterator[str]:
    """The text, line by line. ``lot``: place among the usable lots."""
    return sheet_lines(build_sheet(p, s, lot, point, hardest_only=point is None), overview=point is None)


def _screened(tract: Tract, lot_id: str) -> tuple[Prepared, Selection, int]:
    prepared = prepare(tract)
    place = _place(prepared, lot_id)
    selection = choose(prepared)
    choice_findings(prepared, selection)
    return prepared, selection, place


def _place(p: Prepared, lot_id: str) -> int:
    try:
        return p.place_of(lot_id)
    except KeyError:
        every = [str(x) for x in p.lots["lot_id"]]
        where = p.tract.shown(p.tract.lots.file)
        if lot_id in every:
            row = p.lots.iloc[every.index(lot_id)]
            raise InputError(
                Issue(
                    "lot_skipped",
                    "stop",
                    f"{where} {lot_id}",
                    f"lot was skipped: {row['skip_detail']}",
                    "a lot with numbers",
                    str(row["skip_next_step"]),
                    lot_id,
                )
            ) from None
        near = difflib.get_close_matches(lot_id, every, n=3)
        raise InputError(
            Issue(
                "lot_unknown",
                "stop",
                where,
                f"no lot '{lot_id}'",
                f"one of its lot ids{', such as ' + ', '.join(near) if near else ''}",
                "",
            )
        ) from None
