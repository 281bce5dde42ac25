"""The derivation of one lot's numbers, from raster cell to chosen item, printed from the engine's own arrays.

Nothing is worked out again by another road: hazards come from the run's arrays, coefficients from the demand model,
capacities from the functions that chose the item. Change one of them and both the run and this text change.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from hazard.issues import InputError, Issue
from hazard.standards import asce7_ch26_wind as ch26
from screener.demands import IMPORTANCE, LONG_PERIOD_S, seismic_system
from screener.derivation import Step
from screener.design_method import METHOD_WORDS, RESISTANCE_WORDS
from screener.files.manifest import CAUTION, basis_words
from screener.irregularities import judge_redundancy
from screener.pipeline import Prepared, choose, prepare, stance
from screener.plan_winds import face_bearings_deg, onto_faces
from screener.result_tables import choice_findings
from screener.selection import HouseResult, PointResult, Selection
from screener.standards import asce7_ch12_seismic as ch12
from screener.wind_states import FACES

if TYPE_CHECKING:
    from screener.config import Tract
    from screener.site_hazards import SiteHazards

RUNNERS_UP = 3


def explain(tract: Tract, lot_id: str, point: str | None = None) -> str:
    """Text of one lot's derivation; with ``point`` (a name or part of one) that connection in full."""
    prepared = prepare(tract)
    place = _place(prepared, lot_id)
    selection = choose(prepared)
    choice_findings(prepared, selection)
    return "\n".join(lines_of(prepared, selection, place, point))


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


def lines_of(p: Prepared, s: Selection, lot: int, point: str | None) -> Iterator[str]:
    """The text, line by line. ``lot``: place among the usable lots."""
    house = int(p.houses.of_lot[p.usable[lot]])
    row = p.lots.iloc[p.usable[lot]]
    yield CAUTION
    yield basis_words(p.tract, p.site.speed.values[lot : lot + 1])
    yield ""
    design = p.tract.design
    by = f"{design.loads}, {design.method} ({METHOD_WORDS[design.method]})"
    yield f"Lot {row['lot_id']} of {p.tract.name}, design by {by}"
    if house >= 0:
        yield _house_line(p, house, row)
    yield from _section("Wind at the lot", wind_steps(p, lot))
    yield from _section("Ground motion at the lot", seismic_steps(p, lot, house))
    flags = [f for f in p.findings.items if f.lot == lot]
    if flags:
        yield from _titled("Scope")
        yield from (f"  {f.severity:5s} {f.code}: {f.detail}. Next: {f.next_step}" for f in dict.fromkeys(flags))
    if house < 0:
        yield from ("", "No plan is chosen for this lot: no demands.")
        return
    result = s.houses[house]
    at = np.flatnonzero(result.lots == lot)
    if not len(at):
        yield from ("", "A hazard is missing at this lot: no demands.")
        return
    chosen = _matching(result, point)
    if point is None:
        yield from overview(s, result, lot, int(at[0]))
        chosen = [_governing(s, result, lot, int(at[0]))]
    for item in chosen:
        yield from point_lines(p, s, result, item, lot, int(at[0]))


def _house_line(p: Prepared, house: int, row: object) -> str:
    v = p.houses.variants[house]
    hand = "mirrored (left and right below are those of the plan as drawn)" if row["mirrored"] else "as drawn"  # type: ignore[index]
    options = ", ".join(sorted(v.options)) or "none"
    return f"Plan {v.plan.name}, style {v.style or '-'}, options {options}, {hand}"


def _titled(title: str) -> Iterator[str]:
    yield from ("", title, "-" * len(title))


def _section(title: str, steps: list[Step]) -> Iterator[str]:
    yield from _titled(title)
    yield from (f"  {step.line()}" for step in steps)


# --- hazards ------------------------------------------------------------------------------------------------------


def wind_steps(p: Prepared, lot: int) -> list[Step]:
    """From speed and ground to the velocity pressures: main system (one, or one a face) and components."""
    site, edition = p.site, p.tract.design.loads
    h, ke = float(site.height_ft[lot]), float(site.elevation.ke[lot])
    v = float(site.speed.values[lot])
    columns = site.columns
    steps = [
        Step("basic wind speed V", "read", {}, v, "mph", site.speed.explain(lot)),
        Step("mean roof height h", "larger of declared and computed", {}, h, "ft", "plan file"),
        Step(
            "ground elevation factor Ke",
            "exp(-0.0000362 zg)",
            {"zg_ft": float(site.elevation.elevation_ft[lot])},
            ke,
            "",
            f"{edition} 26.9; {site.elevation.provenance}",
        ),
        Step(
            "exposure by direction from north, clockwise",
            "worse of two sectors",
            {},
            str(columns["exposure_by_direction"][lot]),
            "",
            f"{edition} 26.7; {site.provenance['exposure']}; ground state: {columns['ground_state'][lot]}",
        ),
    ]
    steps += [*exposure_steps(site, lot, edition), *terrain_steps(site, lot, edition)]
    components = "Chapter 27 and 30"
    if p.tract.design.wind_procedure == "directional":
        steps += face_steps(p, lot)
        components = "Chapter 30"
    else:
        way = int(site.envelope_direction[lot])
        steps.append(_pressure_step(p, lot, "Chapter 28", way, float(site.q_envelope_psf[lot]), True))
    way = int(site.components_direction[lot])
    steps.append(_pressure_step(p, lot, components, way, float(site.q_components_psf[lot]), False))
    return steps


def face_steps(p: Prepared, lot: int) -> list[Step]:
    """Velocity pressure of the wind on to each face of the plan as drawn: the worst direction of its quadrant."""
    bearing, mirrored = stance(p.lots.iloc[p.usable[[lot]]])
    looks = face_bearings_deg(bearing, mirrored)[0]
    onto, ways = onto_faces(p.site.q_by_direction_psf[[lot]], bearing, mirrored)
    steps = []
    for face, look, q, way in zip(FACES, looks, onto[0], ways[0], strict=True):
        where = f"looks at {look:g} deg" if np.isfinite(look) else "bearing not known: every direction"
        steps.append(_pressure_step(p, lot, f"Chapter 27, on to the {face} ({where})", int(way), float(q), False))
    return steps


def _pressure_step(p: Prepared, lot: int, what: str, way: int, q: float, floor: bool) -> Step:
    site, edition = p.site, p.tract.design.loads
    if way < 0:
        return Step(f"velocity pressure, {what}", "unknown", {}, "not known", "", "see scope")
    letter = "D" if site.letters[lot, way] == "?" else str(site.letters[lot, way])
    inside = ch26.kd_in_pressure(edition) == 1.0
    return Step(
        f"velocity pressure q, {what}, worst wind from {22.5 * way:g} deg",
        "0.00256 Kz Kzt Kd Ke V^2" if inside else "0.00256 Kz Kzt Ke V^2 (Kd in the pressures)",
        {
            "Kz": float(np.asarray(ch26.kz(float(site.height_ft[lot]), letter, edition, floor))),
            "exposure": letter,
            "Kzt": float(site.kzt[lot, way]),
            "Kd": ch26.kd(edition),
            "Ke": float(site.elevation.ke[lot]),
            "V_mph": float(site.speed.values[lot]),
        },
        q,
        "psf",
        f"{edition} Eq. 26.10-1",
    )


def exposure_steps(site: SiteHazards, lot: int, edition: str) -> list[Step]:
    """The fetch of the sector that decided, how close the call was, and the letter in every state of the ground."""
    if site.exposure is None:
        return []
    result, columns = site.exposure.result, site.columns
    sector = int(result.governing_sector[lot])
    if sector < 0:
        return []
    measured = {
        "share": float(result.sector_rough_share[lot, sector]),
        "rough_run_ft": float(result.sector_rough_run_ft[lot, sector]),
        "open_gap_ft": float(result.sector_open_gap_ft[lot, sector]),
        "water_from_ft": float(result.sector_smooth_start_ft[lot, sector]),
        "water_length_ft": float(result.sector_smooth_length_ft[lot, sector]),
        "unknown_from_ft": float(result.sector_unknown_from_ft[lot, sector]),
    }
    flips = "changes within the flip bands" if columns["exposure_flips"][lot] else "holds within the flip bands"
    return [
        Step(
            f"fetch of the deciding sector, 45 deg about {float(result.governing_bearing_deg[lot]):g} deg",
            "area shares in rings of 100 ft",
            {name: value for name, value in measured.items() if np.isfinite(value)},
            str(columns["exposure"][lot]) or "not known",
            "",
            f"{edition} 26.7.3 (share: project choice)",
        ),
        Step(
            "margin to another letter",
            f"least change of a distance; the letter {flips}",
            {},
            float(columns["exposure_margin_ft"][lot]),
            "ft",
            f"{edition} 26.7.3; [exposure] flip bands",
        ),
        Step(
            "exposure in every state of the ground",
            "phases built in order; an unbuilt phase is bare ground",
            {"depends_on_phase": str(columns["exposure_depends_on"][lot]) or "none"},
            str(columns["exposure_by_state"][lot]),
            "",
            "phases file",
        ),
    ]


def terrain_steps(site: SiteHazards, lot: int, edition: str) -> list[Step]:
    """The feature that governs Kzt, or comes nearest to counting, with both readings of isolation."""
    columns = site.columns
    if "terrain_form" not in columns or not columns["terrain_form"][lot]:
        return []
    values: dict[str, float | str] = {
        "H_ft": float(columns["terrain_h_ft"][lot]),
        "Lh_ft": float(columns["terrain_lh_ft"][lot]),
        "x_ft": float(columns["terrain_x_ft"][lot]),
        "from_deg": float(columns["terrain_bearing_deg"][lot]),
        "margin": float(columns["terrain_margin"][lot]),
        "margin_of": str(columns["terrain_margin_of"][lot]),
        "Kzt_strict": float(columns["kzt_strict"][lot]),
    }
    return [
        Step(
            f"terrain: {columns['terrain_form'][lot]}, screening Kzt",
            "(1 + K1 K2 K3)^2",
            values,
            float(columns["kzt_screening"][lot]),
            "",
            f"{edition} 26.8; {site.provenance['kzt']}",
        )
    ]


def seismic_steps(p: Prepared, lot: int, house: int) -> list[Step]:
    """From the mapped values to the design category, Cs and storey forces."""
    e, edition = p.site.seismic, p.tract.design.loads
    given = {n: float(getattr(e, n)[lot]) for n in ("ss_g", "s1_g", "fa", "fv") if np.isfinite(getattr(e, n)[lot])}
    where = "; ".join(f"{n}: {v.explain(lot)}" for n, v in e.sources.items())
    steps = [
        Step(
            "SDS",
            "2/3 Fa SS" if "fa" in given else "as given",
            {**given, "site_class": str(e.site_class[lot])},
            float(e.sds_g[lot]),
            "g",
            f"{edition} 11.4; {where}",
        ),
        Step("SD1", "2/3 Fv S1" if "fv" in given else "as given", {}, float(e.sd1_g[lot]), "g", f"{edition} 11.4"),
        Step(
            "seismic design category",
            "11.6 by both values; by SDS alone; residential code",
            {"SDS alone": str(e.sdc_sds_only[lot]), "residential": str(e.sdc_irc[lot])},
            str(e.sdc[lot]),
            "",
            f"{edition} 11.6, IRC R301.2.2.1.1",
        ),
    ]
    if house < 0 or not np.isfinite(e.sds_g[lot]):
        return steps
    model = p.models[house]
    system = ch12.system_factors(seismic_system(model.variant))
    capped = float(e.sds_g[lot]) if p.hazards.sds_capped_g is None else float(p.hazards.sds_capped_g[lot])
    redundancy = judge_redundancy(model)
    cs = float(
        ch12.seismic_response_coefficient(
            capped, e.sd1_g[lot], np.nan_to_num(e.s1_g[lot]), system.r, IMPORTANCE, model.period_s, LONG_PERIOD_S
        )
    )
    weights = {f"w{i + 1}_lb": w for i, w in enumerate(model.mass.level_lb)}
    steps.append(
        Step(
            "seismic response coefficient Cs",
            "SDS / (R/Ie) within its bounds",
            {"R": system.r, "T_s": model.period_s, "SDS_g": capped},
            cs,
            "",
            f"{edition} 12.8.1.1",
        )
    )
    steps.append(
        Step(
            "redundancy factor rho",
            "1.0 to category C; in D to F declared, else counted by perimeter walls",
            {
                "declared": "no" if redundancy.declared is None else redundancy.declared,
                "counted": redundancy.counted,
                "because": redundancy.why,
            },
            float(p.hazards.rho[lot]),
            "",
            f"{edition} 12.3.4, plan file",
        )
    )
    steps.append(
        Step(
            "base shear V, strength level",
            "Cs W",
            weights,
            cs * sum(model.mass.level_lb),
            "lb",
            f"{edition} 12.8.1; snow share added where it applies",
        )
    )
    return steps


# --- connections --------------------------------------------------------------------------------------------------


def _matching(result: HouseResult, point: str | None) -> list[PointResult]:
    if point is None:
        return []
    names = [r.point.name for r in result.points]
    exact = [r for r in result.points if r.point.name == point]
    found = exact or [r for r in result.points if point.casefold() in r.point.name.casefold()]
    if not found:
        near = difflib.get_close_matches(point, names, n=5, cutoff=0.3)
        raise InputError(
            Issue(
                "point_unknown",
                "stop",
                f"plan {result.model.variant.key}",
                f"no connection '{point}'",
                f"one of its connections, such as {'; '.join(near or names[:5])}",
                "",
            )
        )
    return found


def _ratio(s: Selection, r: PointResult, lot: int, at: int) -> float:
    n = s.chosen(lot, r.point)
    return float(r.ratio[at, n]) if n >= 0 else float(r.ratio[at].min()) if r.ratio.shape[1] else float("nan")


def _governing(s: Selection, result: HouseResult, lot: int, at: int) -> PointResult:
    judged = [r for r in result.points if r.ratio.shape[1]]
    return max(judged, key=lambda r: _ratio(s, r, lot, at))


def overview(s: Selection, result: HouseResult, lot: int, at: int) -> Iterator[str]:
    """Every connection with its largest demand, what was chosen and the ratio, hardest-worked first."""
    tier = s.tier_of_lot[lot]
    yield from _titled(f"Connections ({s.package_names[tier] if tier >= 0 else 'no package'}), by ratio")
    judged = sorted(
        (r for r in result.points if r.ratio.shape[1]), key=lambda r: (-_ratio(s, r, lot, at), r.point.name)
    )
    for r in judged:
        n = s.chosen(lot, r.point)
        demand = ", ".join(f"{c} {v:.0f}" for c, v in zip(r.point.components, r.largest[at], strict=True) if v > 0)
        label = _option_name(s, r, n) if n >= 0 else "no item holds" if not np.isfinite(_ratio(s, r, lot, at)) else "-"
        yield f"  {_ratio(s, r, lot, at):6.2f}  {r.point.name}: {demand or 'nothing pulls'}; {label}"


def _option_name(s: Selection, r: PointResult, n: int) -> str:
    option = s.options[s.line_of(r.point)][n]
    return f"{option.item}, {option.arrangement}" if option.item else option.arrangement


def point_lines(p: Prepared, s: Selection, result: HouseResult, r: PointResult, lot: int, at: int) -> Iterator[str]:
    """One connection: how its coefficients came about, its governing case term by term, runners-up, and the options."""
    point, basis = r.point, result.basis[at]
    yield from _titled(point.name)
    size = (
        f"{point.count} connections"
        if point.count
        else f"{sum(point.runs_ft):.1f} ft"
        if point.runs_ft
        else f"{point.area_sqft:.0f} sq ft"
    )
    yield f"  {point.place}; {size}; package line '{point.schedule}'"
    yield from (f"  {step.line()}" for step in point.steps)
    values = point.values(basis[None, :])[0]
    for k, component in enumerate(point.components):
        case = int(r.case[at, k])
        yield f"  {component}: governing case {point.case_names[case]}"
        forms = [point.coefficients] if point.ceiling is None else [point.coefficients, point.ceiling]
        if len(forms) > 1:
            yield "      the lesser of two forms (whole segment by lever; couple and end studs alone):"
        for form in forms:
            yield from _terms(form[case, k], result.model.frame.basis, basis, float(r.largest[at, k]), component)
        others = [i for i in np.argsort(-values[:, k], kind="stable") if i != case][:RUNNERS_UP]
        for i in others:
            if values[i, k] > 0:
                yield f"      next: {values[i, k]:.1f} in {point.case_names[i]}"
    if r.ratio.shape[1]:
        yield from _option_lines(s, r, lot, at, RESISTANCE_WORDS[p.tract.design.method])


def _terms(
    coefficients: np.ndarray, names: tuple[str, ...], basis: np.ndarray, total: float, component: str
) -> Iterator[str]:
    parts = [(c, n, b) for c, n, b in zip(coefficients, names, basis, strict=True) if c != 0.0]
    text = " + ".join(f"{c:.6g}" if n == "one" else f"{c:.6g} x {n} {b:.6g}" for c, n, b in parts) or "0"
    yield f"      {text} = {float(coefficients @ basis):.2f}; demand {total:.2f} {component.rsplit('_', 1)[-1]}"


def _option_lines(s: Selection, r: PointResult, lot: int, at: int, resistance: str) -> Iterator[str]:
    chosen = s.chosen(lot, r.point)
    options = s.options[s.line_of(r.point)]
    yield f"  options (ratio = largest over cases of the sum of demand / {resistance}):"
    for n in range(len(options)):
        cap = r.held[int(r.held_of[at])][n]
        mark = "->" if n == chosen else "  "
        if not cap.usable:
            yield f"   {mark} {_option_name(s, r, n)}: not usable: {cap.reason}"
            continue
        limits = "; ".join(
            f"{hazard} " + ", ".join(f"{c} {v:.0f}" for c, v in cap.allowable[hazard].items() if np.isfinite(v))
            for hazard in ("wind", "seismic")
        )
        ratio = r.ratio[at, n]
        if not options[n].item and not np.isfinite(ratio):
            yield f"   {mark} none: not enough here"
            continue
        case = r.ratio_case[at, n]
        governs = f", {r.point.case_names[case]}" if case >= 0 and np.isfinite(ratio) else ""
        held = f"; {resistance} {limits}" if options[n].item else ""
        yield f"   {mark} {_option_name(s, r, n)}: ratio {ratio:.3f}{governs}{held}"
        if n == chosen:
            yield from (f"         {text}" for text in (*cap.derivation, *cap.notes))
        elif options[n].item and not any(np.isfinite(v) for held in cap.allowable.values() for v in held.values()):
            yield from (f"         {text}" for text in cap.notes)
