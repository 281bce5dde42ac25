"""Equivalent lateral force, simplified procedure, diaphragm forces, system factors: ASCE 7 Chapter 12."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike

from screener.checks.published import Row, published
from screener.checks.rows import DERIVED, Check, Source, obtained_of
from screener.checks.single_values import single_values
from screener.standards import asce7_ch12_seismic as ch12

TITLE = "Earthquake forces (ASCE 7 Chapter 12)"

TL_S = 8.0
HOUSES = {
    "A1": ([45.06], [9.0]),
    "B2": ([35.26, 32.52], [10.0, 19.0]),
    "C3": ([23.60, 23.60, 21.60], [10.0, 20.0, 29.0]),
    "D2": ([41.91, 53.62], [10.0, 19.0]),
    "S1-722": ([45.06 + 18.28], [9.0]),
}
"""Weights in kips and heights in ft, lowest level first, as the check cases state them."""

_SYSTEMS = {
    "A.15": "bearing wall wood panels",
    "A.17": "bearing wall other panels",
    "B.22": "building frame wood panels",
    "B.24": "building frame other panels",
}


def checks() -> Iterator[Check]:
    """Derived cases of both editions, archived pages, hand calculations, system factors."""
    for row in published("seismic_check_cases.csv"):
        yield from _case(row)
    yield from single_values("seismic_force_values.csv", _ours())
    for row in published("seismic_system_factors.csv"):
        yield from _system(row)


def _case(row: Row) -> Iterator[Check]:
    """Every computed column of one case, four decimals for ratios and three for forces."""
    place = "Sections 12.8, 12.10.1.1 and 12.14, derived cases"
    source = Source("ASCE/SEI 7", row["edition"], place, DERIVED)
    s1, r, ie = float(row["S1"]), float(row["R"]), float(row["Ie"])
    sds = 2.0 / 3.0 * (float(row["Fa"]) * float(row["SS"]) if row["Fa"] else float(row["SMS"]))
    sd1 = 2.0 / 3.0 * (float(row["Fv"]) * s1 if row["Fv"] else float(row["SM1"]))
    capped = "12.8.1.3" in row["note"]
    used, t = ch12.capped_sds(sds, capped), ch12.approximate_period_s(float(row["hn_ft"]))
    cs = ch12.seismic_response_coefficient(used, sd1, s1, r, ie, t, TL_S)
    storeys = int(row["stories"])
    simple = ch12.simplified_sds(float(row["SS"]), float(row["simplified_12.14_Fa"]))
    rho = ch12.redundancy_factor(row["SDC"], 1.0 if capped else 1.3)  # Sec. 12.8.1.3 asks for redundancy 1.0
    four: dict[str, ArrayLike] = {
        "SDS_used_for_Cs": used,
        "Ta_s": t,
        "TS_s": sd1 / sds,
        "Cs_12.8-2": ch12.cs_short_period(used, r, ie),
        "Cs_max_12.8-3": ch12.cs_upper_bound(sd1, r, ie, t, TL_S),
        "Cs_min_12.8-5": ch12.cs_lower_bound(used, ie),
        "Cs_min_12.8-6": ch12.cs_near_fault_bound(s1, r, ie),
        "Cs": cs,
        "rho": rho,
        "simplified_SDS": simple,
        "simplified_F": ch12.simplified_storey_factor(storeys),
    }
    for name, value in four.items():
        within = 0.0 if name in ("rho", "simplified_F") else 0.5e-4 * (1 + 1e-6)
        yield Check(source, f"{row['case']}: {name}", float(row[name]), float(np.asarray(value)), within)
    governs = "12.8-2" if cs == ch12.cs_short_period(used, r, ie) else "a bound"
    yield Check(source, f"{row['case']}: governs", row["governs"], governs)

    weights, heights = HOUSES[row["house"]]
    v = ch12.base_shear(cs, sum(weights))
    forces = ch12.storey_forces(v, weights, heights, t)
    three: dict[str, ArrayLike] = {
        "V_kip": [v],
        "F_levels_kip_bottom_to_top": forces,
        "story_shears_kip_bottom_to_top": ch12.storey_shears(forces),
        "Fpx_kip_bottom_to_top": ch12.diaphragm_force(forces, weights, sds, ie),
        "E_ASD_base_kip_(0.7*rho*V)": [0.7 * rho * v],
        "simplified_V_kip": [ch12.simplified_base_shear(simple, r, sum(weights), storeys)],
    }
    for name, values in three.items():
        for level, (text, value) in enumerate(zip(row[name].split(";"), np.asarray(values), strict=True), start=1):
            what = f"{row['case']}: {name.split('_kip')[0]}" + (f", level {level}" if ";" in row[name] else "")
            yield Check(source, what, float(text), float(value), 0.5e-3 * (1 + 1e-6), "kip")


def _ours() -> dict[str, float | str]:
    """What this tool says to each row of seismic_force_values.csv."""
    w, h = np.array([41.40, 20.90]), np.array([8.0, 17.0])
    cs = float(ch12.cs_short_period(ch12.capped_sds(1.064, True), 6.5, 1.0))
    v = float(ch12.base_shear(cs, w.sum()))
    f = ch12.storey_forces(v, w, h, 0.2)
    share, fpx = ch12.cvx(w, h, 0.2), ch12.diaphragm_force(f, w, 1.064, 1.0)
    greatest = ch12.diaphragm_force(10.0 * f, w, 1.064, 1.0)
    unbounded = ch12.storey_shears(f) / ch12.storey_shears(w) * w
    t25, t24, t8 = (float(ch12.approximate_period_s(x)) for x in (25.0, 24.0, 8.0))
    open_frame = float(ch12.seismic_response_coefficient(1.110, 0.594, 0.45, 1.25, 1.0, t8, 6.0))
    roof_ksf = 34.0 * 64.0 / 1000.0
    return {
        "WE1 Cs": cs,
        "WE1 Cs lower bound": float(ch12.cs_lower_bound(ch12.capped_sds(1.064, True), 1.0)),
        "WE1 V": v,
        "WE1 sum w h": float((w * h).sum()),
        "WE1 Cvx level 1": float(share[0]),
        "WE1 Cvx level 2": float(share[1]),
        "WE1 F level 1": float(f[0]),
        "WE1 F level 2": float(f[1]),
        "WE1 base moment": float((f * h).sum()),
        "WE1 Fpx level 1": float(fpx[0]),
        "WE1 Fpx level 2": float(fpx[1]),
        "WE1 Fpx level 1 without bounds": float(unbounded[0]),
        "WE1 Fpx greatest level 1": float(greatest[0]),
        "WE1 Fpx greatest level 2": float(greatest[1]),
        "WE3 Ta": t25,
        "WE3 Cs": float(ch12.cs_short_period(0.90, 6.5, 1.0)),
        "WE3 Cs upper bound": float(ch12.cs_upper_bound(0.49, 6.5, 1.0, t25, 6.0)),
        "WE3 Cs lower bound": float(ch12.cs_lower_bound(0.90, 1.0)),
        "WE4 Ta": t24,
        "WE4 Cs": float(ch12.seismic_response_coefficient(1.20, 0.60, 0.45, 6.5, 1.0, t24, 6.0)),
        "WE4 Cs upper bound": float(ch12.cs_upper_bound(0.60, 6.5, 1.0, t24, 6.0)),
        "WE4 Cs upper bound times 1.5": float(ch12.cs_upper_bound(0.60, 6.5, 1.0, t24, 6.0, 1.5)),
        "WE4 Cs lower bound": float(ch12.cs_lower_bound(1.20, 1.0)),
        "WE4 SDS of the printed SMS 1.60": 2.0 / 3.0 * 1.60,
        "WE10 Cs": float(ch12.cs_short_period(0.430, 6.5, 1.0)),
        "WE10 Cs with the printed R": float(ch12.cs_short_period(0.430, 6.0, 1.0)),
        "WE11 Ta": t8,
        "WE11 Cs": open_frame,
        "WE11 Cs upper bound": float(ch12.cs_upper_bound(0.594, 1.25, 1.0, t8, 6.0)),
        "WE11 Eh": float(ch12.redundancy_factor("D", 1.3)) * open_frame * 1426.16,
        "WE16 Cs": float(ch12.cs_short_period(0.817, 6.5, 1.0)),
        "overstrength with flexible diaphragms": ch12.overstrength("bearing wall wood panels", True),
        "overstrength with rigid diaphragms": ch12.overstrength("bearing wall wood panels", False),
        **{f"Ta of {x} ft": float(ch12.approximate_period_s(x)) for x in (12, 22, 32)},
        "Cs upper bound beyond TL": float(ch12.cs_upper_bound(0.6, 2.0, 1.0, 8.0, 4.0)),
        "Cs near a fault at S1 0.6": float(ch12.cs_near_fault_bound(0.6, 2.5, 1.0)),
        "Cs near a fault at S1 0.59": float(ch12.cs_near_fault_bound(0.59, 2.5, 1.0)),
        "Cs least": float(ch12.cs_lower_bound(0.1, 1.0)),
        **{f"exponent k at {x} s": float(ch12.distribution_exponent(x)) for x in (0.5, 1.5, 2.5)},
        "snow weight at 35 psf": float(ch12.snow_share_psf(35.0, "ASCE 7-16")),
        "snow weight at 30 psf": float(ch12.snow_share_psf(30.0, "ASCE 7-16")),
        "snow weight of house A1": roof_ksf * float(ch12.snow_share_psf(35.0, "ASCE 7-16")),
        "snow weight of house A1 by 7-22": roof_ksf * float(ch12.snow_share_psf(56.0, "ASCE 7-22")),
        "snow weight at 45 psf by 7-22": float(ch12.snow_share_psf(45.0, "ASCE 7-22")),
        "wall out of plane at SDS 1.0": float(ch12.wall_out_of_plane_psf(1.0, 15.0, 1.0)),
        "wall out of plane at SDS 0.1": float(ch12.wall_out_of_plane_psf(0.1, 15.0, 1.0)),
        "anchorage ka of 40 ft": float(ch12.anchorage_ka(40.0)),
        "anchorage ka of 300 ft": float(ch12.anchorage_ka(300.0)),
        "wall anchorage at SDS 1.0": float(ch12.wall_anchorage_psf(1.0, 15.0, 1.4, 1.0)),
        "wall anchorage at SDS 0.1": float(ch12.wall_anchorage_psf(0.1, 15.0, 1.4, 1.0)),
        "vertical effect": float(ch12.vertical_effect(1.0, 100.0)),
    }


def _system(row: Row) -> Iterator[Check]:
    """R, overstrength, Cd and height limits of one system."""
    place = "Table 12.14-1" if row["item"].startswith("12.14") else "Table 12.2-1"
    read = row["tag"].startswith("R, Omega0, Cd read")
    source = Source("ASCE/SEI 7", "7-16", place, "read" if read else obtained_of(row["tag"]))
    simplified = "simplified wood panels" if row["R"] == "6.5" else "simplified other panels"
    factors = ch12.system_factors(_SYSTEMS.get(row["item"], simplified))
    for name, value in (("R", factors.r), ("Omega0", factors.omega0), ("Cd", factors.cd)):
        yield Check(source, f"{row['item']} {row['system']}: {name}", float(row[name] or "nan"), value)
    if not row["Cd"]:
        return  # the simplified table has no height limits
    limits = Source("ASCE/SEI 7", "7-16", f"{place} height limits", "from memory")
    for category in "BCDEF":
        limit = factors.height_limit_ft[category]
        ours = "NP" if limit is None else "NL" if limit == float("inf") else f"{limit:g}"
        yield Check(limits, f"{row['item']}: height limit in {category}", row[f"SDC_{category}"], ours, unit="ft")
