"""Prescriptive fastening and anchorage of the International Residential Code (IRC) 2018/2021, chapters 4 and 6.

The code prints counts of nails, not capacities: what a count is worth is computed here with NDS 2018.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from screener.standards import nds_connections as nds
from screener.standards.wood_tables import named_value, table_rows


@dataclass(frozen=True)
class NailedConnection:
    """What one group of nails is worth, pounds at the given load duration; NaN where it has no value."""

    lateral_lb: float
    withdrawal_lb: float
    nail_lateral_lb: float  # one nail, reference value at load duration 1.0, full penetration
    mode: str
    penetration_in: float
    withdrawal_length_in: float


def toe_nailed(nail: nds.Fastener, specific_gravity: float, count: float, load_duration: float) -> NailedConnection:
    """Toe nails from one member into another of the same wood: NDS 2018 12.1.6.3, 12.5.4."""
    side, penetration, withdrawn = (float(v) for v in nds.toe_nail_lengths_in(nail.length_in))
    bearing = float(nds.dowel_bearing_psi(specific_gravity, nail.diameter_in))
    z, mode = _nail_lateral(nail, side, bearing, penetration, specific_gravity)
    per_in = float(nds.withdrawal_lb_per_in(nail.kind, specific_gravity, nail.diameter_in))
    lateral = z * count * load_duration * nds.factor("toe_nail_lateral")
    withdrawal = per_in * withdrawn * count * load_duration * nds.factor("toe_nail_withdrawal")
    return NailedConnection(lateral, withdrawal, z, mode, penetration, withdrawn)


def end_nailed(
    nail: nds.Fastener, specific_gravity: float, count: float, load_duration: float, side_thickness_in: float
) -> NailedConnection:
    """Nails through a side member into end grain: NDS 2018 12.5.2.2; no withdrawal value there, 12.2.3.3."""
    bearing = float(nds.dowel_bearing_psi(specific_gravity, nail.diameter_in))
    penetration = nail.length_in - side_thickness_in
    z, mode = _nail_lateral(nail, side_thickness_in, bearing, penetration, specific_gravity)
    lateral = z * count * load_duration * nds.factor("end_grain_lateral")
    return NailedConnection(lateral, float("nan"), z, mode, penetration, 0.0)


def face_nailed(
    nail: nds.Fastener,
    specific_gravity: float,
    count: float,
    load_duration: float,
    side_thickness_in: float,
    gap_thickness_in: float = 0.0,
    main_thickness_in: float = float("nan"),
    rule: str = "share",
    side_bearing_psi: float | None = None,
    ring_length_in: float = float("nan"),
) -> NailedConnection:
    """Nails through a side member, and a layer between that does not count, into side grain: NDS 2018 12.2, 12.3.

    `main_thickness_in` limits the penetration where the nail would come out. `rule` as in
    `nds_connections.dowel_lateral_lb`. A blank ring length counts the whole penetration as ringed.
    """
    if side_bearing_psi is None:
        side_bearing_psi = float(nds.dowel_bearing_psi(specific_gravity, nail.diameter_in))
    driven = nail.length_in - side_thickness_in - gap_thickness_in
    through = bool(np.isfinite(main_thickness_in) and driven > main_thickness_in)
    penetration = main_thickness_in if through else driven
    z, mode = _nail_lateral(nail, side_thickness_in, side_bearing_psi, penetration, specific_gravity, through, rule)
    withdrawn = penetration if np.isnan(ring_length_in) else min(penetration, ring_length_in)
    per_in = float(nds.withdrawal_lb_per_in(nail.kind, specific_gravity, nail.diameter_in))
    lateral, withdrawal = z * count * load_duration, per_in * withdrawn * count * load_duration
    return NailedConnection(lateral, withdrawal, z, mode, penetration, withdrawn)


def prescriptive_capacity(
    connection: str, fasteners: str, species: str, load_duration: float, rule: str = "share"
) -> NailedConnection:
    """Worth of one line of the fastening schedule in a species: IRC Table R602.3(1), NDS 2018."""
    row = next(
        (r for r in table_rows("irc_fastening.csv") if (r["connection"], r["fasteners"]) == (connection, fasteners)),
        None,
    )
    if row is None:
        raise LookupError(f"no fastening {fasteners!r} for {connection!r}")
    nail, g, count = nds.fastener(row["nail"]), nds.species(species).specific_gravity, float(row["count"])
    if row["type"] == "toe":
        return toe_nailed(nail, g, count, load_duration)
    side = float(row["side_thickness_in"])
    if row["type"] == "end grain":
        return end_nailed(nail, g, count, load_duration, side)
    gap = float(row["gap_thickness_in"] or 0.0)
    main = float(row["main_thickness_in"] or "nan")
    return face_nailed(nail, g, count, load_duration, side, gap, main, rule)


def anchor_spacing_most_in(sdc_irc: str, storeys: int) -> float:
    """Greatest spacing of sill anchors: 6 ft; 4 ft above two storeys in categories D0 to D2. IRC 2018 R403.1.6."""
    tall = sdc_irc.startswith("D") and storeys > 2
    return named_value("wood_rules.csv", "anchor_spacing_most_tall_d" if tall else "anchor_spacing_most")


def plate_washers_needed(sdc_irc: str) -> bool:
    """Whether sill anchors need plate washers: categories D0 to D2 (and above). IRC 2018 R602.11.1, SDPWS 4.3.6.4.3."""
    return sdc_irc[:1] in ("D", "E", "F")


def _nail_lateral(
    nail: nds.Fastener,
    side_thickness_in: float,
    side_bearing_psi: float,
    penetration_in: float,
    specific_gravity: float,
    through: bool = False,
    rule: str = "share",
) -> tuple[float, str]:
    return nds.dowel_lateral_lb(
        nail.kind,
        nail.diameter_in,
        nail.root_diameter_in,
        nail.bending_yield_psi,
        side_thickness_in,
        side_bearing_psi,
        penetration_in,
        specific_gravity,
        through=through,
        rule=rule,
    )
