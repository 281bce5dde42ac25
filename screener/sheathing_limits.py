"""Where sheathing may not be used whatever it holds: narrow walls, slender diaphragms, gypsum in high categories.

Each answer is the reason in words, or "" where there is none.
"""

from __future__ import annotations

from collections.abc import Mapping

from screener.hardware import HardwareRow
from screener.standards.sdpws_shear_walls import aspect_ratio_limit

Facts = Mapping[str, float | str | bool]

GYPSUM_TO = {"no": "", "to C": "ABC", "to D": "ABCD"}
"""Seismic design categories in which gypsum walls may share a plan's shear, by its key `gypsum_shares`."""


PERFORATED_NOMINAL_MOST_PLF = {"seismic": 1740.0, "wind": 2435.0}
"""Greatest nominal unit shear of the sheathing of a perforated wall (SDPWS 2015 4.3.5.3, from memory)."""


def sheathing_refused(family: str, row: HardwareRow, facts: Facts, sdc: str) -> str:
    """The first rule that refuses a row as sheathing of a wall or diaphragm of this plan and category."""
    if family == "wall_sheathing":
        gypsum = row.text("panel_grade", "Sheathing") == "Gypsum"
        refused = _gypsum(str(facts.get("gypsum_shares", "no")), sdc[:1]) if gypsum else ""
        return refused or _narrow_wall(row, facts, gypsum)
    if family in ("roof_diaphragm", "floor_diaphragm") and row.basis == "computed":
        return _slender_diaphragm(row, facts)
    return ""


def _gypsum(shares: str, category: str) -> str:
    """Gypsum counts only where the plan says so, because the whole house then takes the R of gypsum walls."""
    if category in ("E", "F"):
        return "gypsum walls may not resist earthquakes in categories E and F"
    if shares == "no":
        return "the plan does not count gypsum walls (gypsum_shares)"
    return "" if category in GYPSUM_TO[shares] else f"the plan counts gypsum walls only {shares} (gypsum_shares)"


def _narrow_wall(row: HardwareRow, facts: Facts, gypsum: bool) -> str:
    """The narrowest piece that counts in the line, against what its sheathing may be: SDPWS 2015 Table 4.3.4."""
    if "least_segment_ft" not in facts or row.basis != "computed":
        return ""
    sheathing = "gypsum" if gypsum else f"wood structural panel {row.text('blocking', 'blocked')}"
    limit, aspect = aspect_ratio_limit(sheathing), float(facts["wall_height_ft"]) / float(facts["least_segment_ft"])
    return f"a piece of {aspect:.1f}:1 is over {limit:g}:1 for {sheathing}" if aspect > limit + 1e-6 else ""


def _slender_diaphragm(row: HardwareRow, facts: Facts) -> str:
    """Span between shear lines over depth: SDPWS 2015 Table 4.2.4."""
    blocking = row.text("blocking", "unblocked")
    limit, aspect = aspect_ratio_limit(f"diaphragm {blocking}"), float(facts.get("diaphragm_aspect", 0.0))
    return f"{blocking} diaphragm of {aspect:.1f}:1 is over {limit:g}:1" if aspect > limit + 1e-6 else ""
