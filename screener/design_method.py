"""The design method in words, and what a hardware list holds by it: allowable stress (ASD) or strength (LRFD)."""

from __future__ import annotations

from hazard.issues import Issues
from screener.hardware import Hardware

METHOD_WORDS: dict[str, str] = {"ASD": "allowable stress design", "LRFD": "strength design"}
RESISTANCE_WORDS: dict[str, str] = {"ASD": "allowable", "LRFD": "design strength"}
COLUMN_WORDS: dict[str, str] = {"ASD": "uplift_lb, parallel_lb, ...", "LRFD": "uplift_strength_lb, ..."}
NAMED_MOST = 6


def note_unlisted(hardware: Hardware, method: str, issues: Issues) -> None:
    """Warn once of the listed items that give no load of the kind that the method asks for: they hold nothing."""
    listed = [row for row in hardware.rows if row.basis == "listed" and row.loads_lb]
    without = [row.item for row in listed if not row.lists_for(method)]
    if not without:
        return
    named = ", ".join(f"`{item}`" for item in without[:NAMED_MOST])
    more = f" and {len(without) - NAMED_MOST} more" if len(without) > NAMED_MOST else ""
    kind = "allowable load" if method == "ASD" else "design strength"
    issues.add(
        "HARDWARE_OTHER_METHOD",
        "warn",
        hardware.source,
        f"{len(without)} of {len(listed)} listed items without any {kind}: {named}{more}",
        f"{COLUMN_WORDS[method]} of the item's document, for design.method {method}",
        "they hold nothing: one kind of load is never turned into the other",
    )
