"""The engineer's packet of one lot: geometry, hazards with their sources, loads, limits, derivations; one file."""

from __future__ import annotations

import base64
import math
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from screener.calculation.build import build_sheet
from screener.calculation.text import sheet_lines
from screener.derivation import Step, number
from screener.drawings.house_drawings import layout_sheet, plan_sheet
from screener.drawings.svg import svg_picture
from screener.explain import lines_of
from screener.files.manifest import CAUTION
from screener.report.text import plain, texts
from screener.scope import codes
from screener.sheets.lot_page import family_numbers as numbers_of
from screener.sheets.lot_page import hazards, head, page_style, policy, section_picture, sides, template
from screener.sheets.source import LotFacts, Source

if TYPE_CHECKING:
    from screener.pipeline import Prepared
    from screener.selection import Selection

WINDS = tuple(f"{22.5 * k:g}" for k in range(16))
EVERY_CONNECTION = ""
"""A part of every connection's name: the derivation of all of them."""


def packet_page(source: Source, lot: LotFacts, p: Prepared, s: Selection) -> str:
    """The packet as HTML that needs no other file."""
    style = page_style()
    place = _place(p, lot.lot_id)
    house = int(p.houses.of_lot[p.usable[place]]) if place is not None else -1
    sheet = None if place is None else build_sheet(p, s, place, hardest_only=True)
    return template("packet.html.j2").render(
        policy=policy(style) + "; img-src data:",
        style=Markup(style),  # our own files, never a user's text
        caution=CAUTION,
        tract=plain(source.tract.name),
        lot=head(source, lot),
        hazards=hazards(lot),
        sides=sides(lot),
        findings=_findings(p, place, lot),
        geometry=_geometry(lot),
        drawings=_drawings(source, lot),
        section=Markup(section_picture(lot, numbers_of(lot))),
        families=_families(lot),
        steps=[] if sheet is None else [step for section in sheet.sections for step in section.steps],
        step_values=_values,
        winds=_winds(lot),
        pictures=_pictures(p, place),
        demands=_demands(lot),
        permit=_permit(lot),
        explained="" if sheet is None else plain_lines("\n".join(sheet_lines(sheet, overview=True))),
        derived=plain_lines("\n".join(lines_of(p, s, place, EVERY_CONNECTION)))
        if place is not None and house >= 0
        else "",
        provenance=sorted(p.site.provenance.items()),
    )


def _place(p: Prepared, lot_id: str) -> int | None:
    try:
        return p.place_of(lot_id)
    except KeyError:
        return None


def plain_lines(text: str) -> str:
    """A text of several lines with each line made plain."""
    return "\n".join(plain(line) for line in text.split("\n"))


def _findings(p: Prepared, place: int | None, lot: LotFacts) -> list[dict[str, str]]:
    """Every scope finding of the lot with its meaning; a lot that was skipped has its reason only."""
    if place is None:
        rows = zip(*(texts(lot.exceptions[n]) for n in ("reason", "detail", "next_step")), strict=True)
        return [{"code": c, "severity": "skip", "words": "", "detail": d, "next": n} for c, d, n in rows]
    found = dict.fromkeys(f for f in p.findings.items if f.lot == place)
    order = {"stop": 0, "refer": 1, "note": 2}
    out = []
    for f in sorted(found, key=lambda f: (order.get(f.severity, 3), f.code, f.detail)):
        words = codes()[f.code].words if f.code in codes() else ""
        detail = "" if plain(f.detail) == words else plain(f.detail).removeprefix(words).lstrip(": ")
        out.append(
            {"code": f.code, "severity": f.severity, "words": words, "detail": detail, "next": plain(f.next_step)}
        )
    return out


def _geometry(lot: LotFacts) -> list[tuple[str, str]]:
    if lot.house is None or lot.model is None:
        return []
    v, about = lot.house.variant, lot.house.variant.plan.plan
    weights = "; ".join(f"{k.replace('_', ' ')} {lo:g} to {hi:g} psf" for k, (lo, hi) in v.weights.items())
    masses = "; ".join(
        f"storey {level.name} {w:,.0f} lb" for level, w in zip(v.levels, lot.model.mass.level_lb, strict=False)
    )
    return [
        ("footprint", f"{v.width_ft:g} ft wide, {v.depth_ft:g} ft deep with porches"),
        ("mean roof height", f"{v.mean_roof_height_ft:.1f} ft"),
        ("eave height", f"{v.eave_height_ft:.1f} ft"),
        ("end zone 2a", f"{lot.house.ctx.end_zone_ft:.1f} ft"),
        ("storeys", "; ".join(f"{lv.name}: walls {lv.wall_height_ft:g} ft" for lv in v.levels)),
        (
            "foundation",
            f"{about.foundation.replace('_', ' ')}, first floor {about.first_floor_height_ft:g} ft above grade",
        ),
        ("studs", f"{about.species}, {about.stud_depth_in:g} in at {about.stud_spacing_in:g} in"),
        ("weights, least to greatest", weights),
        ("seismic weight at each level", masses),
        ("redundancy declared", f"{about.redundancy:g}"),
        ("plan sealed", f"{about.seal_date or 'date not given'}; {about.code_edition or 'edition not given'}"),
    ]


def _permit(lot: LotFacts) -> list[tuple[str, str, str]]:
    """Limits of the sealed set against the lot: quantity, lot, set."""
    permit = lot.house.variant.plan.permit if lot.house else None
    if permit is None:
        return []
    return [
        ("wind speed", f"{lot.number('wind_speed_mph'):.1f} mph", f"{permit.wind_speed_mph:g} mph"),
        ("exposure", lot.text("exposure"), permit.exposure),
        ("Kzt", f"{lot.number('kzt'):.2f}", f"{permit.kzt:g}"),
        ("SDS", f"{lot.number('sds_g'):.3f} g", f"{permit.sds_g:g} g"),
    ]


def _drawings(source: Source, lot: LotFacts) -> list[tuple[str, Markup]]:
    if lot.house is None:
        return []
    hand = "mirrored" if lot.mirrored else "as drawn"
    plan = svg_picture(plan_sheet(lot.house, lot.mirrored), f"plan, {hand}", 8.0, 1.0)
    out = [("Plan as it was understood", Markup(plan))]
    if lot.chosen:
        shapes, _ = layout_sheet(lot.house, lot.chosen, source.hardware, lot.mirrored, lot.text("tier"))
        out.append(("Anchor and strap layout", Markup(svg_picture(shapes, f"layout, {hand}", 8.0, 1.0))))
    return out


def _families(lot: LotFacts) -> list[tuple[str, str]]:
    from screener.families import families

    return [(n, families()[key].words) for key, n in numbers_of(lot).items()]


def _values(step: Step) -> str:
    shown = [f"{k} = {number(v)}" for k, v in step.values.items()]
    return ", ".join([*shown, *(part.line() for part in step.parts), *([step.note] if step.note else [])])


def _winds(lot: LotFacts) -> list[tuple[str, str, str]]:
    """Bearing, exposure and Kzt of the sixteen winds, where the run has them."""
    letters, kzt = lot.text("exposure_by_direction"), lot.text("kzt_by_direction").split()
    if len(letters) != len(WINDS):
        return []
    return list(zip(WINDS, letters, kzt if len(kzt) == len(WINDS) else [""] * len(WINDS), strict=True))


def _pictures(p: Prepared, place: int | None) -> list[tuple[str, str]]:
    """Terrain profile and exposure rose as images that can run nothing: (name, address of the data)."""
    if place is None:
        return []
    from screener.hazard_pictures import pictures_of_lot

    made = pictures_of_lot(p.site, place, None, p.tract.name)
    return [
        (name.removesuffix(".svg"), "data:image/svg+xml;base64," + base64.b64encode(text.encode()).decode())
        for name, text in sorted(made.items())
        if name.endswith(".svg")
    ]


def _demands(lot: LotFacts) -> list[dict[str, Any]]:
    """Rows of the demand table, hardest-worked connection first, its components together."""
    rows = lot.demands
    worst = rows.groupby("point", sort=False)["ratio"].transform(lambda r: np.nan_to_num(r.to_numpy(), nan=-1.0).max())
    out = []
    for _, row in rows.assign(worst=worst).sort_values("worst", ascending=False, kind="stable").iterrows():
        ratio = float(row["ratio"])
        out.append(
            {
                "point": plain(row["point"]),
                "component": plain(row["component"]).rsplit("_", 1)[0].replace("_", " "),
                "demand": _amount(float(row["demand"]), plain(row["unit"])),
                "capacity": _amount(float(row["capacity"]), plain(row["unit"])),
                "ratio": "–" if math.isnan(ratio) else f"{ratio:.2f}",
                "case": plain(row["case"]),
                "item": plain(row["item"]),
                "quantity": "" if math.isnan(float(row["quantity"])) else f"{float(row['quantity']):,.0f}",
            }
        )
    return out


def _amount(value: float, unit: str) -> str:
    if math.isnan(value):
        return "–"
    return f"{value:.2f}" if unit == "ratio" else f"{value:,.0f} {unit}"
