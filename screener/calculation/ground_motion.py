"""Ground motion and snow at one lot, step by step, and the seismic forces of its house, from the run's own arrays."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from hazard.standards import asce7_ch11_seismic as ch11
from screener.calculation.wind import read_step
from screener.demands import IMPORTANCE, LONG_PERIOD_S, seismic_system
from screener.derivation import Part, Step
from screener.irregularities import judge_redundancy
from screener.standards import asce7_ch07_snow as ch07
from screener.standards import asce7_ch12_seismic as ch12

if TYPE_CHECKING:
    from screener.demands import DemandModel
    from screener.pipeline import Prepared

Values = dict[str, float | str]


def seismic_steps(p: Prepared, lot: int, house: int) -> list[Step]:
    """From the mapped values to the design category."""
    e, edition = p.site.seismic, p.tract.design.loads
    symbols = {"ss_g": "SS", "s1_g": "S1", "sms_g": "SMS", "sm1_g": "SM1", "sds_g": "SDS", "sd1_g": "SD1"}
    steps = [
        read_step(f"mapped or stated {symbols[name]}", found, lot, "g", f"{edition} 11.4")
        for name, found in e.sources.items()
    ]
    if np.isfinite(e.fa[lot]):
        for symbol, mapped, coefficient, factor, result in (
            ("SMS", "SS", "Fa", e.fa[lot], e.sms_g[lot]),
            ("SM1", "S1", "Fv", e.fv[lot], e.sm1_g[lot]),
        ):
            given = {coefficient: float(factor), mapped: float(e.ss_g[lot] if mapped == "SS" else e.s1_g[lot])}
            about: Values = {**given, "site_class": str(e.site_class[lot])}
            columns = ch11.coefficient_columns(
                "Fa" if coefficient == "Fa" else "Fv", edition, str(e.site_class[lot]), given[mapped]
            )
            about |= {f"table: {coefficient} at {mapped} {at:g}": value for at, value in columns.items()}
            table = "11.4-1" if coefficient == "Fa" else "11.4-2"
            where = f"{edition} 11.4.4, Table {table} (linear between its columns)"
            steps.append(Step(symbol, f"{coefficient} {mapped}", about, float(result), "g", where))
    for symbol, from_, result, given_g in (
        ("SDS", "SMS", e.sds_g[lot], e.sms_g[lot]),
        ("SD1", "SM1", e.sd1_g[lot], e.sm1_g[lot]),
    ):
        known = np.isfinite(given_g)
        formula, values = (f"2/3 {from_}", {from_: float(given_g)}) if known else ("as given", {})
        steps.append(Step(symbol, formula, values, float(result), "g", f"{edition} 11.4.5"))
    steps.append(
        Step(
            "seismic design category",
            "11.6 by both values; by SDS alone; residential code",
            {"SDS alone": str(e.sdc_sds_only[lot]), "residential": str(e.sdc_irc[lot])},
            str(e.sdc[lot]),
            "",
            f"{edition} 11.6; IRC R301.2.2.1.1",
        )
    )
    return steps


def snow_steps(p: Prepared, lot: int) -> list[Step]:
    """Ground snow to roof snow."""
    edition, read = p.tract.design.loads, p.site.read.get("ground snow")
    steps = [] if read is None else [read_step("ground snow pg", read, lot, "psf", f"{edition} 7.2")]
    values: Values = {"pg_psf": float(p.site.snow_psf[lot]), "Ce": ch07.EXPOSURE_FACTOR, "Ct": ch07.THERMAL_FACTOR}
    result = float(p.hazards.roof_snow_psf[lot])
    return [*steps, Step("flat-roof snow pf", "0.7 Ce Ct pg", values, result, "psf", f"{edition} 7.3, Eq. 7.3-1")]


def force_steps(p: Prepared, lot: int, model: DemandModel, basis: NDArray[np.float64]) -> list[Step]:
    """Cs with its bounds, the weights, storey forces and diaphragm forces of the house; ``basis``: the lot's row."""
    hazards, edition = p.hazards, p.tract.design.loads
    sds, sd1, s1 = (float(getattr(hazards, n)[lot]) for n in ("sds_g", "sd1_g", "s1_g"))
    rho = float(hazards.rho[lot])
    column, redundancy = model.frame.column, judge_redundancy(model)
    capped = sds if hazards.sds_capped_g is None else float(hazards.sds_capped_g[lot])
    cs = float(basis[column["rho_cs"]]) / rho
    steps = [
        Step(
            "approximate period T",
            "0.02 hn^0.75",
            {"hn_ft": model.mass.height_ft[-1]},
            model.period_s,
            "s",
            f"{edition} 12.8.2.1, Table 12.8-2",
        ),
        *_capped(edition, sds, capped),
        _cs(edition, cs, capped, sd1, s1, model),
        Step(
            "redundancy factor rho",
            "1.0 to category C; in D to F declared, else counted by perimeter walls",
            {
                "category": str(p.site.seismic.sdc[lot]),
                "declared": "no" if redundancy.declared is None else redundancy.declared,
                "counted": redundancy.counted,
                "because": redundancy.why,
            },
            rho,
            "",
            f"{edition} 12.3.4; plan file",
        ),
    ]
    share = float(ch12.snow_share_psf(hazards.roof_snow_psf[lot], edition))
    weights = np.array(model.mass.level_lb) + np.array(model.mass.snow_area_sqft) * share
    for level, weight in enumerate(weights):
        steps.append(_weight(model, level, float(weight), share, edition))
    if model.mass.first_floor_lb:
        steps.append(_weight(model, -1, model.mass.first_floor_lb, 0.0, edition))
    total = float(weights.sum())
    given: Values = {"Cs": cs, "W_lb": total}
    steps.append(Step("base shear V, strength level", "Cs W", given, cs * total, "lb", f"{edition} 12.8.1"))
    return steps + _levels(model, basis, weights, rho, cs * total, sds, edition)


def _capped(edition: str, sds: float, capped: float) -> list[Step]:
    """SDS of base shear and vertical shaking, where a rule caps it."""
    if capped == sds:
        return []
    what, values = "SDS of base shear and vertical shaking", {"SDS": sds}
    return [Step(what, "SDS as capped for regular low houses", {**values}, capped, "g", f"{edition} 12.8.1.3")]


def _cs(edition: str, cs: float, sds: float, sd1: float, s1: float, model: DemandModel) -> Step:
    name, period_s = seismic_system(model.variant), model.period_s
    system = ch12.system_factors(name)
    tries = {
        "SDS / (R/Ie)": float(ch12.cs_short_period(sds, system.r, IMPORTANCE)),
        "most: SD1 / (T R/Ie)": float(ch12.cs_upper_bound(sd1, system.r, IMPORTANCE, period_s, LONG_PERIOD_S)),
        "least: 0.044 SDS Ie, 0.01": float(ch12.cs_lower_bound(sds, IMPORTANCE)),
        "least where S1 is 0.6 or more: 0.5 S1 / (R/Ie)": float(ch12.cs_near_fault_bound(s1, system.r, IMPORTANCE)),
    }
    governs = next((name for name, value in tries.items() if abs(value - cs) <= 1e-12 + 1e-9 * cs), "another rule")
    values: Values = {
        "SDS": sds,
        "SD1": sd1,
        "S1": s1,
        "system": name,
        "R": system.r,
        "Ie": IMPORTANCE,
        "T_s": period_s,
    }
    return Step(
        "seismic response coefficient Cs",
        "SDS / (R/Ie) within its bounds",
        values | tries,
        cs,
        "",
        f"{edition} 12.8.1.1, Table 12.2-1",
        f"governs: {governs}",
    )


def _weight(model: DemandModel, level: int, weight: float, share: float, edition: str) -> Step:
    parts = [Part(w.what, w.area_sqft, w.psf, "psf") for w in model.mass.parts if w.storey == level]
    if share and level >= 0:
        parts.append(Part("share of roof snow", model.mass.snow_area_sqft[level], share, "psf"))
    what = f"seismic weight w{level + 1}" if level >= 0 else "seismic weight of the first floor"
    formula = "sum of area x greatest weight; half the walls above and below"
    return Step(what, formula, {}, weight, "lb", f"{edition} 12.7.2; plan file", "", tuple(parts))


def _levels(
    model: DemandModel,
    basis: NDArray[np.float64],
    weights: NDArray[np.float64],
    rho: float,
    v: float,
    sds: float,
    edition: str,
) -> list[Step]:
    """Storey force and diaphragm force of each level, with the bounds of the latter."""
    steps = []
    heights, k = model.mass.height_ft, float(ch12.distribution_exponent(model.period_s))
    shares = ch12.cvx(weights, np.array(heights), model.period_s)
    forces = [float(basis[model.frame.column[f"rho_storey_force_lb_{n + 1}"]]) / rho for n in range(len(weights))]
    for n, weight in enumerate(weights):
        values: Values = {"Cvx": float(shares[n]), "V_lb": v, "w_lb": float(weight), "h_ft": heights[n], "k": k}
        note = f"with redundancy rho Fx = {rho * forces[n]:.6g} lb"
        where, formula = f"{edition} 12.8.3, Eq. 12.8-11, 12.8-12", "Cvx V, Cvx = w h^k / sum(w h^k)"
        steps.append(Step(f"storey force F{n + 1}", formula, values, forces[n], "lb", where, note))
    for n, weight in enumerate(weights):
        above = sum(forces[n:]) / float(weights[n:].sum())
        least, most = 0.2 * sds * IMPORTANCE, 0.4 * sds * IMPORTANCE
        values = {"sum_F/sum_w": above, "w_lb": float(weight), "least 0.2 SDS Ie": least, "most 0.4 SDS Ie": most}
        governs = "the least value" if above < least else "the most value" if above > most else "the calculated value"
        result = float(basis[model.frame.column[f"diaphragm_force_lb_{n + 1}"]])
        where = f"{edition} 12.10.1.1, Eq. 12.10-1 to 12.10-3"
        formula = "(sum F above / sum w above) w within its bounds"
        steps.append(Step(f"diaphragm force Fp{n + 1}", formula, values, result, "lb", where, f"governs: {governs}"))
    return steps
