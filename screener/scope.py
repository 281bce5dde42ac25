"""What is out of scope, lot by lot: stable codes with a severity, words and a next step.

"stop" gives no package, "refer" shows one that an engineer must confirm, "note" is for the reader. Codes are data
(`reference/scope_codes.csv`); those of ground motion come with `hazard`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from hazard.standards.tables import load_table
from screener.standards.asce7_ch27_directional import torsion_exempt

if TYPE_CHECKING:
    import pandas as pd

    from screener.config import Site
    from screener.demands import DemandModel
    from screener.site_hazards import SiteHazards

SEVERITIES = ("stop", "refer", "note")


@dataclass(frozen=True)
class Code:
    code: str
    severity: str
    words: str
    next_step: str


@cache
def codes() -> dict[str, Code]:
    """Every scope code this package sets, by name."""
    table = load_table("scope_codes.csv", "screener", ("code", "severity", "words", "next_step"))
    rows = zip(table["code"], table["severity"], table["words"], table["next_step"], strict=True)
    return {str(c): Code(str(c), str(s), str(w), str(n)) for c, s, w, n in rows}


@dataclass(frozen=True)
class Finding:
    lot: int
    code: str
    severity: str
    detail: str
    next_step: str


@dataclass
class Findings:
    """Scope findings of a tract, by place of the lot; order of finding does not matter to what is written."""

    lots: int
    items: list[Finding] = field(default_factory=list)

    def add(self, code: str, mask: Any, detail: str | Callable[[int], Any]) -> None:
        """One finding for each lot of a mask (lots,); ``detail`` is a text, or puts the lot's numbers in words."""
        known = codes()[code]
        for i in np.flatnonzero(mask):
            text = detail if isinstance(detail, str) else str(detail(int(i)))
            self.items.append(Finding(int(i), code, known.severity, _sentence(known.words, text), known.next_step))

    def one(self, lot: int, code: str, detail: str, severity: str = "", next_step: str = "") -> None:
        known = codes().get(code)
        self.items.append(
            Finding(
                lot,
                code,
                severity or (known.severity if known else "note"),
                _sentence(known.words if known else "", detail),
                next_step or (known.next_step if known else "see the code's meaning in the documentation"),
            )
        )

    def stopped(self) -> NDArray[np.bool_]:
        return self._mask("stop")

    def referred(self) -> NDArray[np.bool_]:
        return self._mask("refer")

    def _mask(self, severity: str) -> NDArray[np.bool_]:
        out = np.zeros(self.lots, dtype=bool)
        out[[f.lot for f in self.items if f.severity == severity]] = True
        return out

    def flags(self) -> NDArray[np.object_]:
        """Codes of each lot, worst first, joined by ";"."""
        by_lot: list[set[tuple[int, str]]] = [set() for _ in range(self.lots)]
        for f in self.items:
            by_lot[f.lot].add((SEVERITIES.index(f.severity), f.code))
        out = np.empty(self.lots, dtype=object)
        for i, held in enumerate(by_lot):
            out[i] = ";".join(dict.fromkeys(code for _, code in sorted(held)))
        return out

    def frame(self, lot_id: NDArray[Any], severities: Iterable[str] = ("stop", "refer")) -> pd.DataFrame:
        """The exceptions table: one row a lot and code, lots in order of id."""
        import pandas as pd

        rows = [(str(lot_id[f.lot]), f.code, f.detail, f.next_step) for f in self.items if f.severity in severities]
        frame = pd.DataFrame(sorted(set(rows)), columns=["lot_id", "reason", "detail", "next_step"])
        return frame.astype(object)


def _sentence(words: str, detail: str) -> str:
    return f"{words}: {detail}" if words and detail else words or detail


class CodeFindings(Findings):
    """The same findings without words: which codes apply to which lots. For a million lots, whose words nobody reads;
    `screener explain` gives them lot by lot."""

    def __init__(self, lots: int) -> None:
        super().__init__(lots)
        self.masks: dict[tuple[str, str], NDArray[np.bool_]] = {}  # (severity, code) -> lots

    def add(self, code: str, mask: Any, detail: str | Callable[[int], Any]) -> None:
        found = np.asarray(mask, dtype=bool)
        if found.any():
            self._of(codes()[code].severity, code)[found] = True

    def one(self, lot: int, code: str, detail: str, severity: str = "", next_step: str = "") -> None:
        known = codes().get(code)
        self._of(severity or (known.severity if known else "note"), code)[lot] = True

    def _of(self, severity: str, code: str) -> NDArray[np.bool_]:
        return self.masks.setdefault((severity, code), np.zeros(self.lots, dtype=bool))

    def _mask(self, severity: str) -> NDArray[np.bool_]:
        found = [mask for (own, _), mask in self.masks.items() if own == severity]
        return np.asarray(np.logical_or.reduce([np.zeros(self.lots, dtype=bool), *found]))

    def flags(self) -> NDArray[np.object_]:
        kind, texts = np.zeros(self.lots, dtype=np.int64), [""]  # lots with the same flags so far are of one kind
        for (_, code), mask in sorted(self.masks.items(), key=lambda m: (SEVERITIES.index(m[0][0]), m[0][1])):
            known, kind = np.unique(2 * kind + mask, return_inverse=True)
            texts = [_with_flag(texts[k // 2], code) if k % 2 else texts[k // 2] for k in known.tolist()]
        return np.array(texts, dtype=object)[kind]

    def frame(self, lot_id: NDArray[Any], severities: Iterable[str] = ("stop", "refer")) -> pd.DataFrame:
        """One row a lot and code, lots in order of id; the code's own words in place of details."""
        import pandas as pd

        known, wanted = codes(), set(severities)
        parts = []
        for (severity, code), mask in self.masks.items():
            if severity in wanted:
                about = known.get(code)
                words, step = (about.words, about.next_step) if about else ("", "")
                ids = lot_id[mask].astype(str)
                parts.append(pd.DataFrame({"lot_id": ids, "reason": code, "detail": words, "next_step": step}))
        names = ["lot_id", "reason", "detail", "next_step"]
        frame = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=names)
        return frame.sort_values(names[:2], kind="stable", ignore_index=True).astype(object)


def _with_flag(flags: str, code: str) -> str:
    """A code once: it stands first where it is gravest."""
    return flags if code in flags.split(";") else f"{flags};{code}".lstrip(";")


DEBRIS_SPEED_MPH, DEBRIS_COAST_SPEED_MPH = 140.0, 130.0
"""Wind-borne debris region, ASCE 7-16 26.12.3.1 (from memory): everywhere in hurricane-prone regions from 140 mph, from
130 mph within a mile of the coast. They are also the speeds at which prescriptive wood construction ends."""

PRESCRIPTIVE_HEIGHT_FT = 33.0
LOW_RISE_HEIGHT_FT = 60.0
PLAN_DIMENSION_FT = 80.0
PITCHES_IN_12 = (3.0, 12.0)
OVERHANG_FT = 2.0
WALL_HEIGHT_FT = 10.0
OVERHANG_SHARE = 1.0 / 3.0
ROOF_PSF, WALL_PSF, FLOOR_PSF = 25.0, 15.0, 10.0
"""Greatest weights of the prescriptive seismic provisions (IRC R301.2.2.2.1, from memory): roof and ceiling 15 psf, 25
with an adjustment; exterior light-frame walls 15; floors 10."""


def hazard_limits(tract: Site, site: SiteHazards, findings: Findings) -> None:
    """Hazards at which prescriptive construction, or this tool, ends whatever stands on the lot."""
    findings.add("SDC_E", np.isin(site.seismic.sdc, ["E", "F"]), lambda i: f"category {site.seismic.sdc[i]}")
    limit = DEBRIS_COAST_SPEED_MPH if tract.design.hurricane_prone else DEBRIS_SPEED_MPH
    findings.add("V_LIMIT", site.speed.values >= limit, lambda i: f"{site.speed.values[i]:.0f} mph")


def plan_findings(model: DemandModel) -> list[tuple[str, str]]:
    """Scope codes that follow from the house alone: (code, detail)."""
    v = model.variant
    out = list(model.scope)
    h, least, longest = v.mean_roof_height_ft, v.least_dimension_ft, max(v.width_ft, v.extent[3] - v.extent[1])
    if h > LOW_RISE_HEIGHT_FT or h > least:
        out.append(("HEIGHT60", f"mean roof height {h:.1f} ft, least plan dimension {least:.1f} ft"))
    if h > PRESCRIPTIVE_HEIGHT_FT:
        out.append(("H33", f"mean roof height {h:.1f} ft"))
    if not torsion_exempt(len(v.levels), h, True, True):
        out.append(("TORSION", f"{len(v.levels)} storeys"))
    if longest > PLAN_DIMENSION_FT or longest > 3.0 * least:
        out.append(("SIZE", f"{longest:.0f} by {least:.0f} ft"))
    for roof in v.roofs:
        if not PITCHES_IN_12[0] <= roof.pitch_in_12 <= PITCHES_IN_12[1]:
            out.append(("SLOPE_ROOF", f"roof {roof.name} {roof.pitch_in_12:g}:12"))
        most = max(roof.eave_overhang_ft, roof.rake_overhang_ft)
        if most > OVERHANG_FT or roof.eave_overhang_ft > OVERHANG_SHARE * roof.span:
            out.append(("OVERHANG", f"roof {roof.name} {most:g} ft on a span of {roof.span:g} ft"))
    for level in v.levels:
        if level.wall_height_ft > WALL_HEIGHT_FT:
            out.append(("WALL_H", f"storey {level.name} {level.wall_height_ft:g} ft"))
    w = v.weights
    if w["roof"][1] > ROOF_PSF or w["exterior_wall"][1] > WALL_PSF or w["floor"][1] > FLOOR_PSF:
        out.append(("WEIGHT", f"roof {w['roof'][1]:g}, walls {w['exterior_wall'][1]:g}, floor {w['floor'][1]:g} psf"))
    return list(dict.fromkeys(out))
