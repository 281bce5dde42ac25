"""Wind at one lot, step by step: speed, exposure, terrain, height, velocity pressures, from the run's own arrays."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hazard.layers import conversion_factor, quantity
from hazard.standards import asce7_ch26_wind as ch26
from screener.derivation import Part, Step
from screener.pipeline import stance
from screener.plan_winds import face_bearings_deg, onto_faces
from screener.wind_states import FACES

if TYPE_CHECKING:
    from hazard.sampling import LotValues
    from screener.pipeline import Prepared
    from screener.site_hazards import SiteHazards

Directions = list[tuple[str, ...]]
WAYS = 16


def read_step(what: str, values: LotValues, lot: int, unit: str, source: str) -> Step:
    """A value as it was read: the raster cells with their weights, or the constant or column it came from."""
    result = float(values.values[lot])
    cells = values.samples.cells(lot) if values.samples is not None else []
    if not cells or values.samples is None:
        return Step(what, "read", {}, result, unit, f"{source}; {values.explain(lot)}")
    logarithmic = values.samples.rule == "ln_bilinear"
    parts = tuple(
        Part(
            f"ln of {cell.value:.6g} {unit}" if logarithmic else "cell value",
            cell.weight,
            float(np.log(cell.value)) if logarithmic else cell.value,
            "" if logarithmic else unit,
            where=f"row {cell.row}, column {cell.column}",
        )
        for cell in cells
    )
    formula = {
        "bilinear": "sum of weight x cell, between the nearest cell centres",
        "ln_bilinear": "exp(sum of weight x ln(cell)), between the nearest cell centres",
        "nearest": "the cell the lot lies in",
    }[values.samples.rule]
    return Step(what, formula, {}, result, unit, f"{source}; {values.explain(lot)}", _units(values), parts)


def _units(values: LotValues) -> str:
    """How the file's unit became ours."""
    window = values.samples.window if values.samples is not None else None
    own = quantity(values.quantity).own_unit
    if window is None or window.units_given in ("", own):
        return ""
    return f"cells as 1 {window.units_given} = {conversion_factor(window.units_given, own):.7g} {own}"


def wind_steps(p: Prepared, lot: int) -> list[Step]:
    """From speed and ground to the velocity pressures: main system (one, or one a face) and components."""
    site, edition = p.site, p.tract.design.loads
    steps = [
        read_step("basic wind speed V", site.speed, lot, "mph", f"{edition} 26.5.1"),
        _height(p, lot),
        *_ground(site, lot, edition),
        Step(
            "exposure by direction from north, clockwise",
            "worse of two sectors",
            {},
            str(site.columns["exposure_by_direction"][lot]),
            "",
            f"{edition} 26.7; {site.provenance['exposure']}; ground state: {site.columns['ground_state'][lot]}",
        ),
        *exposure_steps(site, lot, edition),
        *terrain_steps(p, lot),
    ]
    if p.tract.design.wind_procedure == "directional":
        steps += face_steps(p, lot)
        components = "Chapter 30"
    else:
        steps += _pressure(
            p, lot, "Chapter 28", int(site.envelope_direction[lot]), float(site.q_envelope_psf[lot]), True
        )
        components = "Chapters 27 and 30"
    way, q = int(site.components_direction[lot]), float(site.q_components_psf[lot])
    return [*steps, *_pressure(p, lot, components, way, q, False), *_internal(p, lot)]


def face_ways(p: Prepared, lot: int) -> list[tuple[str, float, float, int]]:
    """Each face of the plan as drawn: the bearing it looks at (NaN unknown), the velocity pressure on to it and the
    wind that governs it (place of its direction, -1 unknown); nothing by the envelope procedure."""
    if p.tract.design.wind_procedure != "directional":
        return []
    bearing, mirrored = stance(p.lots.iloc[p.usable[[lot]]])
    looks = face_bearings_deg(bearing, mirrored)[0]
    onto, ways = onto_faces(p.site.q_by_direction_psf[[lot]], bearing, mirrored)
    found = zip(FACES, looks, onto[0], ways[0], strict=True)
    return [(face, float(look), float(q), int(way)) for face, look, q, way in found]


def face_steps(p: Prepared, lot: int) -> list[Step]:
    """Velocity pressure of the wind on to each face of the plan: the worst direction of its quadrant."""
    steps: list[Step] = []
    for face, look, q, way in face_ways(p, lot):
        where = f"looks at {look:g} deg" if np.isfinite(look) else "bearing not known: every direction"
        found = _pressure(p, lot, f"Chapter 27, on to the {face} ({where})", way, q, False)
        known = {step.line() for step in steps}
        steps += [step for step in found if step.line() not in known]
    return steps


def _height(p: Prepared, lot: int) -> Step:
    h, source = float(p.site.height_ft[lot]), "plan file"
    house = int(p.houses.of_lot[p.usable[lot]])
    if house < 0:
        return Step("mean roof height h", "taken where no plan is chosen", {}, h, "ft", "project choice")
    v = p.houses.variants[house]
    values: dict[str, float | str] = {"computed_ft": v.computed_mean_roof_height_ft, "eave_ft": v.eave_height_ft}
    if v.plan.plan.mean_roof_height_ft:
        values["declared_ft"] = v.plan.plan.mean_roof_height_ft
    values |= {f"rise_ft, {r.name}": r.rise_ft for r in v.roofs}
    formula = "larger of declared and computed (eave + rise / 2, greatest of the roofs)"
    return Step("mean roof height h", formula, values, h, "ft", f"{p.tract.design.loads} 26.2; {source}")


def _ground(site: SiteHazards, lot: int, edition: str) -> list[Step]:
    steps, zg = [], float(site.elevation.elevation_ft[lot])
    if site.elevation.source is not None and np.isfinite(zg):
        steps.append(read_step("ground elevation zg", site.elevation.source, lot, "ft", f"{edition} 26.9"))
    formula = "exp(-0.0000362 zg)" if np.isfinite(zg) else "1.0, always permitted"
    values: dict[str, float | str] = {"zg_ft": zg} if np.isfinite(zg) else {}
    where = f"{edition} 26.9; {site.elevation.provenance}"
    return [*steps, Step("ground elevation factor Ke", formula, values, float(site.elevation.ke[lot]), "", where)]


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


def terrain_steps(p: Prepared, lot: int) -> list[Step]:
    """The feature that governs Kzt, or comes nearest to counting, and those of the winds that govern q."""
    site, edition = p.site, p.tract.design.loads
    columns = site.columns
    if site.terrain is None or "terrain_form" not in columns or not columns["terrain_form"][lot]:
        given = site.read.get("Kzt")
        return [] if given is None else [read_step("topographic factor Kzt", given, lot, "", f"{edition} 26.8")]
    way = round(float(columns["terrain_bearing_deg"][lot]) / 22.5) % WAYS
    about: dict[str, float | str] = {
        "margin": float(columns["terrain_margin"][lot]),
        "margin_of": str(columns["terrain_margin_of"][lot]),
        "Kzt_strict": float(columns["kzt_strict"][lot]),
    }
    steps = [_kzt(site, lot, way, edition, float(columns["kzt_screening"][lot]), about)]
    others = {k for _, k in _governing(p, lot)} - {way, -1}
    steps += [
        _kzt(site, lot, k, edition, float(site.kzt[lot, k]), {})
        for k in sorted(others)
        if site.terrain.assessment.form[lot, k]
    ]
    return steps


def _kzt(site: SiteHazards, lot: int, way: int, edition: str, result: float, about: dict[str, float | str]) -> Step:
    assert site.terrain is not None
    a, letter, z = site.terrain.assessment, str(site.terrain.letters[lot, way]), float(site.terrain.z_ft[lot])
    form, height, length, x = (
        str(a.form[lot, way]),
        float(a.height_ft[lot, way]),
        float(a.half_length_ft[lot, way]),
        float(a.x_ft[lot, way]),
    )
    values: dict[str, float | str] = {"H_ft": height, "Lh_ft": length, "x_ft": x, "z_ft": z, "from_deg": 22.5 * way}
    note = ""
    if form in ch26.FEATURES and letter in ch26.EXPOSURES:
        shape = (form, letter, height, length)
        values |= {
            "exposure": letter,
            "K1": float(ch26.k1(*shape)),
            "K2": float(ch26.k2(*shape, x)),
            "K3": float(ch26.k3(*shape, z)),
        }
        values |= ch26.kzt_constants(form, letter)
        note = "K1 = k1_per_slope H/Lh, K2 = 1 - |x| / (mu Lh), K3 = exp(-gamma z / Lh), Lh not less than 2H"
        if not ch26.topography_counts(edition, letter, height, length):
            note = "the feature misses a condition of 26.8.1: Kzt = 1"
    return Step(
        f"terrain, wind from {22.5 * way:g} deg: {form}, screening Kzt",
        "(1 + K1 K2 K3)^2",
        values | about,
        result,
        "",
        f"{edition} 26.8.2, Figure 26.8-1; {site.provenance['kzt']}",
        note,
    )


def _pressure(p: Prepared, lot: int, what: str, way: int, q: float, floor: bool) -> list[Step]:
    """Kz and velocity pressure of one wind; ``floor``: with the least Kz of Chapter 28."""
    site, edition, chapter = p.site, p.tract.design.loads, what.split(",")[0]
    if way < 0:
        return [Step(f"velocity pressure, {what}", "unknown", {}, "not known", "", "see scope")]
    letter = "D" if site.letters[lot, way] == "?" else str(site.letters[lot, way])
    h = float(site.height_ft[lot])
    kz = float(np.asarray(ch26.kz(h, letter, edition, floor)))
    coefficient, alpha, zg_ft, least_z_ft, least = (float(c) for c in ch26.kz_constants(letter, edition))
    held = floor and kz > float(np.asarray(ch26.kz(h, letter, edition)))
    inside = ch26.kd_in_pressure(edition) == 1.0
    return [
        Step(
            f"exposure coefficient Kz, {chapter}",
            f"{coefficient:g} (z / zg)^(2 / alpha), z not less than {least_z_ft:g} ft"
            + (f", not less than {least:.2f}" if floor and np.isfinite(least) else ""),
            {"z_ft": max(h, least_z_ft), "zg_ft": zg_ft, "alpha": alpha, "exposure": letter},
            kz,
            "",
            f"{edition} Table 26.10-1, Table 26.11-1",
            f"the least value {least:.2f} of Chapter 28 governs" if held else "",
        ),
        Step(
            f"velocity pressure q, {what}, worst wind from {22.5 * way:g} deg",
            "0.00256 Kz Kzt Kd Ke V^2" if inside else "0.00256 Kz Kzt Ke V^2 (Kd in the pressures)",
            {
                "Kz": kz,
                "exposure": letter,
                "Kzt": float(site.kzt[lot, way]),
                "Kd": ch26.kd(edition),
                "Ke": float(site.elevation.ke[lot]),
                "V_mph": float(site.speed.values[lot]),
            },
            q,
            "psf",
            f"{edition} Eq. 26.10-1",
        ),
    ]


def _internal(p: Prepared, lot: int) -> list[Step]:
    gcpi = float(p.hazards.gcpi[lot])
    edition = p.tract.design.loads
    kind = "enclosed" if gcpi < 0.5 else "partially enclosed: debris region, glazing not protected"
    return [Step("internal pressure coefficient GCpi", f"both signs; {kind}", {}, gcpi, "", f"{edition} Table 26.13-1")]


def _governing(p: Prepared, lot: int) -> list[tuple[str, int]]:
    """What a wind governs, in words, and its place among the directions (-1 unknown)."""
    components = int(p.site.components_direction[lot])
    if p.tract.design.wind_procedure == "directional":
        return [*((f"on to the {face}", way) for face, _, _, way in face_ways(p, lot)), ("Ch. 30", components)]
    return [("Ch. 28", int(p.site.envelope_direction[lot])), ("Ch. 27 and 30", components)]


def direction_columns(p: Prepared) -> tuple[str, ...]:
    """Heads of the table by wind direction."""
    products = ["Kz Kzt, Ch. 27 and 30"]
    if p.tract.design.wind_procedure == "envelope":
        products.insert(0, "Kz Kzt, Ch. 28")
    return (
        "wind from, deg",
        "exposure",
        "rough share, sectors left / right",
        "B prevails to, ft",
        "water from, ft",
        "Kzt",
        *products,
        "",
    )


def directions(p: Prepared, lot: int) -> Directions:
    """Rows of the table by wind direction: bearing, exposure with the fetch of its two sectors, Kzt, Kz Kzt, remark.

    The sectors are the 45 degrees to the left and to the right of the wind: share of rough ground within the distance
    of Exposure B, how far it prevails, and where smooth ground begins that is long enough for D.
    """
    site, edition, h = p.site, p.tract.design.loads, float(p.site.height_ft[lot])
    floors = (True, False) if p.tract.design.wind_procedure == "envelope" else (False,)
    governing, rows = _governing(p, lot), []
    for k in range(WAYS):
        letter = str(site.letters[lot, k])
        cells = [f"{22.5 * k:g}", letter, *_sectors(site, lot, k), f"{site.kzt[lot, k]:.4f}"]
        for floor in floors:
            product = float(np.asarray(ch26.kz(h, letter, edition, floor))) * float(site.kzt[lot, k])
            cells.append(f"{product:.4f}" if np.isfinite(product) else "?")
        marks = [what for what, way in governing if way == k]
        rows.append((*cells, "governs " + ", ".join(marks) if marks else ""))
    return rows


def _sectors(site: SiteHazards, lot: int, k: int) -> tuple[str, str, str]:
    """Share of rough ground, its reach and where water begins in the sectors left and right of one wind."""
    if site.exposure is None:
        return "as given", "", ""
    result, out = site.exposure.result, []
    for values, form in (
        (result.sector_rough_share, "{:.3f}"),
        (result.sector_rough_run_ft, "{:,.0f}"),
        (result.sector_smooth_start_ft, "{:,.0f}"),
    ):
        both = (float(values[lot, (k - 2) % WAYS]), float(values[lot, k]))
        out.append(" / ".join(form.format(v) if np.isfinite(v) else "none" for v in both))
    return out[0], out[1], out[2]
