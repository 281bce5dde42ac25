"""Two runs as one page: a map of the lots whose package changed, why, and items up and down."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pyogrio

from screener.comparison_reasons import KINDS
from screener.report import simple_page as web
from screener.report.map_svg import draw

MOST_BARS = 40


def write_comparison(path: Path, before: Path, after: Path, changes: Mapping[str, Any]) -> None:
    """Write the page of `compare` between two results folders."""
    lots = changes["package_changes"]
    cost = changes["total_cost"]
    kinds = Counter(row["reason"] for row in lots)
    items = [
        (row["item"], row["cost"], f"{row['cost']:+,.0f} $, {row['pieces']:+,.0f} pieces") for row in changes["items"]
    ]
    reasons = [{"why": KINDS[k], "lots": n} for k, n in kinds.most_common()]
    parts = [
        web.sentence(
            f"Material and labour {_dollars(cost['before'])} to {_dollars(cost['after'])}, {cost['change']}. "
            f"{len(lots)} lots have other items or another package."
        ),
        *(web.sentence(f"Cause: {text}") for text in changes["causes"]),
        web.heading("Lots that changed"),
        _map(after, lots),
        web.sentence(
            "Teal: cheaper than before. Orange: dearer, or no package any more. Grey: as before. "
            "Thick edge: the package has another name."
        ),
        web.heading("Why"),
        web.table(reasons, {"why": "Reason", "lots": "Lots"}, ("lots",)),
        web.table(
            [{**row, "from": row["tier"][0] or "none", "to": row["tier"][1] or "none", "kind": KINDS[row["reason"]]}
             | {"money": f"{row['change']:+,.2f}"} for row in lots],
            {"lot_id": "Lot", "from": "From", "to": "To", "kind": "Reason", "why": "What changed", "money": "Cost, $"},
            ("money",),
        ),
        web.heading("Items up and down, $ in boxes"),
        web.bars(items[:MOST_BARS], "Items up and down"),
        web.sentence(f"{len(items) - MOST_BARS} smaller changes are not drawn." if len(items) > MOST_BARS else ""),
    ]  # fmt: skip
    web.write_page(path, "What changed between two runs", f"{_named(before)} to {_named(after)}", parts)


def _named(folder: Path) -> str:
    return "/".join(folder.absolute().parts[-2:])


def _map(results: Path, rows: Sequence[Mapping[str, Any]]) -> str:
    lots = pyogrio.read_dataframe(results / "tract.gpkg", layer="lots")
    drawing = draw(lots)
    by_lot = {row["lot_id"]: row for row in rows}
    out = []
    for lot_id, shape in zip(lots["lot_id"].astype(str), drawing.paths, strict=True):
        row = by_lot.get(lot_id)
        words = web.escape(lot_id if row is None else f"{lot_id}: {row['tier'][0]} to {row['tier'][1]}")
        kind = "same" if row is None else "other" if _worse(row) else "bar"
        kind += " changed" if row is not None and row["tier"][0] != row["tier"][1] else ""
        out.append(f'<path class="{kind}" d="{shape}"><title>{words}</title></path>')
    size = f"0 0 {drawing.width} {drawing.height}"
    return f'<svg viewBox="{size}" role="img" aria-label="Map of changed lots">{"".join(out)}</svg>'


def _worse(row: Mapping[str, Any]) -> bool:
    return bool(row["change"] > 0 or not row["tier"][1])


def _dollars(text: str) -> str:
    return f"${float(text):,.0f}"
