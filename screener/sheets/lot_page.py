"""One page for one lot: what a crew needs to set the right hardware on the right house, with no training."""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup

from screener.bill import house_items
from screener.design_method import METHOD_WORDS
from screener.drawings.house_drawings import model_of
from screener.drawings.layout_drawing import layout_panels
from screener.drawings.section import section
from screener.drawings.shapes import Shape, box
from screener.drawings.svg import style_sheet, svg_picture
from screener.drawings.swing import bearing_words, garage_side, north_arrow, side_bearings, swing_picture
from screener.families import families
from screener.files.manifest import CAUTION
from screener.report.content import DROPS
from screener.report.text import plain, texts
from screener.scope import codes
from screener.sheets.notes import fastening, install_notes
from screener.sheets.source import LotFacts, Source
from screener.sheets.write import file_stem

MISSING = "–"
MOST_REASONS = 5
WHOLE_UNITS = ("nail", "each", "set")


@dataclass(frozen=True)
class Row:
    """One line of the page's table: a kind of piece at one kind of connection."""

    mark: str
    where: str
    item: str
    how: str
    fastening: str
    count: int
    unit: str


@dataclass(frozen=True)
class Kit:
    """One delivery: its rows, its pieces by bill item, and those items whose pieces stand in several rows."""

    number: int
    drop: str
    label: str
    rows: tuple[Row, ...]
    items: tuple[tuple[str, int], ...]
    together: tuple[tuple[str, int], ...]


def lot_pages(source: Source, lots: Iterable[LotFacts], layouts: Mapping[str, str] | None = None) -> str:
    """One page a lot as HTML that needs no other file. ``layouts``: lot id -> name of its anchor layout's file."""
    style = page_style()
    pages = [page_facts(source, lot, (layouts or {}).get(lot.lot_id, "")) for lot in lots]
    title = f"Lot {pages[0]['lot']['id']}, " if len(pages) == 1 else "Lot sheets, "
    return template("lot.html.j2").render(
        policy=policy(style),
        style=Markup(style),  # our own files, never a user's text
        caution=CAUTION,
        tract=plain(source.tract.name),
        title=title + plain(source.tract.name),
        most_reasons=MOST_REASONS,
        pages=pages,
    )


def page_facts(source: Source, lot: LotFacts, layout: str = "") -> dict[str, Any]:
    """Everything that one page says."""
    numbers = family_numbers(lot)
    deliveries, notes, found = kits(lot, numbers), install_notes(lot), reasons(lot)
    return {
        "lot": head(source, lot),
        "hazards": hazards(lot),
        "sides": sides(lot),
        "swing": _swing(lot),
        "garage": garage_side(lot.variant, lot.mirrored) if lot.variant else "",
        "plan": Markup(foundation_picture(source, lot)),
        "section": Markup(section_picture(lot, numbers)),
        "kits": deliveries,
        "density": density(deliveries, notes, found),
        "notes": notes,
        "checks": checks(lot),
        "reasons": found,
        "layout": layout,
    }


PAGE_PX, SLACK_PX = 990.0, 28.0
DENSITIES = (
    ("roomy", 515.5, 0.052, 11.63, 0.030, 0.64, -70.0),
    ("usual", 433.5, 0.113, 4.67, 0.114, 0.30, -21.0),
    ("dense", 442.4, 0.043, 4.00, 0.172, 0.08, 12.0),
)
"""Sizes of type, largest first, and the height of a page set in each: a constant, then px for each letter and row of
the table, letter of the notes, letter and item of the findings. Fitted to 60 printed pages, within 25 px. A page that
fits none is set in the smallest; what would not fit one page even then goes on to a second and is never cut off."""


def density(deliveries: Sequence[Kit], notes: Sequence[str], found: Sequence[tuple[str, str, str]]) -> str:
    """The largest type in which the page is likely to stay one page."""
    rows = [r for k in deliveries for r in k.rows]
    letters = sum(len(r.item) + len(r.how) + len(r.where) + len(r.fastening) for r in rows)
    shown = found[:MOST_REASONS]
    findings = sum(len(" ".join(row)) for row in shown)
    for name, base, letter, row, note, finding, each in DENSITIES:
        height = base + letter * letters + row * (len(rows) + 2 * len(deliveries)) + note * sum(map(len, notes))
        if height + finding * findings + each * len(shown) + SLACK_PX <= PAGE_PX:
            return name
    return "tight"


@cache
def template(name: str) -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=jinja2.FunctionLoader(part),
    )
    return environment.get_template(name)


@cache
def part(name: str) -> str:
    return files("screener.sheets").joinpath("templates", name).read_text(encoding="utf-8").replace("\r\n", "\n")


@cache
def page_style() -> str:
    return part("sheet.css") + style_sheet()


def policy(style: str) -> str:
    """Nothing runs, nothing is fetched; only the page's own style counts."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


# --- head -----------------------------------------------------------------------------------------------------------


def head(source: Source, lot: LotFacts) -> dict[str, Any]:
    """Names of the lot, its house and its package."""
    v = lot.variant
    options = [v.plan.options[o] for o in sorted(v.options)] if v else []
    return {
        "id": plain(lot.lot_id),
        "block": lot.text("block"),
        "phase": lot.text("phase"),
        "start": lot.text("start"),
        "stem": file_stem(lot.index, lot.lot_id),
        "run": source.tables.run[:8],
        "plan": (v.plan.plan.title or v.plan.plan.name) if v else "no plan chosen",
        "plan_note": v.plan.plan.note if v else "",
        "style": f"{v.style} ({v.plan.styles[v.style]})" if v and v.style else "",
        "options": options,
        "mirrored": lot.mirrored,
        "package": lot.text("tier"),
        "status": lot.text("status"),
        "ground": lot.text("ground_state"),
        "permit": {"yes": "inside", "no": "OUTSIDE"}.get(
            texts([lot.row.get("inside_permit")], yes_no=True)[0], "not known"
        ),
        "species": v.plan.plan.species if v else "",
        "design": source.tract.design.loads,
        "method": METHOD_WORDS[source.tract.design.method],
        "has_house": v is not None,
    }


def hazards(lot: LotFacts) -> list[tuple[str, str]]:
    def shown(name: str, form: str, unit: str = "") -> str:
        value = lot.number(name)
        return MISSING if math.isnan(value) else f"{value:{form}}{unit}"

    snow = shown("ground_snow_psf", ".0f", " psf")
    return [
        ("wind", shown("wind_speed_mph", ".0f", " mph")),
        ("exposure", f"{lot.text('exposure') or MISSING} ({lot.text('ground_state') or MISSING})"),
        ("Kzt", shown("kzt", ".2f")),
        ("SDS", shown("sds_g", ".2f", " g")),
        ("seismic category", lot.text("sdc_irc") or lot.text("sdc") or MISSING),
        ("ground snow", snow),
    ]


def sides(lot: LotFacts) -> list[tuple[str, str]]:
    """Which side of the house faces which bearing; empty where the front's bearing is not known."""
    front = lot.number("front_bearing_deg")
    return [] if math.isnan(front) else [(name, bearing_words(b)) for name, b in side_bearings(front)]


def reasons(lot: LotFacts) -> list[tuple[str, str, str]]:
    """What stands against this lot: code, finding, next step; stops first."""
    rows = zip(*(texts(lot.exceptions[n]) for n in ("reason", "detail", "next_step")), strict=True)
    order = {"stop": 0, "refer": 1}

    def rank(row: tuple[str, ...]) -> tuple[int, str]:
        code = codes().get(row[0])
        return (order.get(code.severity, 2) if code else 2, row[0])

    return sorted(((r[0], r[1], r[2]) for r in rows), key=rank)


# --- pictures -------------------------------------------------------------------------------------------------------


def _swing(lot: LotFacts) -> Markup:
    if lot.variant is None:
        return Markup("")
    words = "mirrored" if lot.mirrored else "as drawn"
    return Markup(svg_picture(swing_picture(lot.variant, lot.mirrored), f"hand of the house: {words}", 2.0, 1.0))


def foundation_picture(source: Source, lot: LotFacts) -> str:
    """The foundation with its anchors, as this lot's hand has it, with true north."""
    if lot.house is None or not lot.chosen:
        return ""
    panels, _ = layout_panels(lot.house, lot.chosen, source.hardware, lot.mirrored, ["foundation"], small=True)
    shapes: list[Shape] = list(panels[0].shapes) if panels else []
    if not shapes:
        return ""
    front = lot.number("front_bearing_deg")
    _, _, x1, y1 = box(shapes)
    if not math.isnan(front):
        shapes += north_arrow(front, x1 + 5.0, y1 - 6.0, 3.4)
    hand = "mirrored" if lot.mirrored else "as drawn"
    return svg_picture(shapes, f"anchor plan of the foundation, {hand}, street below", 8.0, 0.6)


def family_numbers(lot: LotFacts) -> dict[str, str]:
    """Number of each family of connection of this house, from the roof down."""
    if lot.house is None:
        return {}
    present = {p.family for p in lot.house.points if p.schedule in lot.quantities and lot.quantities[p.schedule].pieces}
    return {key: str(n) for n, key in enumerate((k for k in families() if k in present), 1)}


def section_picture(lot: LotFacts, numbers: Mapping[str, str]) -> str:
    if lot.variant is None or not numbers:
        return ""
    return svg_picture(section(lot.variant, numbers), "load path, ridge to footing, numbered as in the table", 8.0, 0.6)


# --- kits -----------------------------------------------------------------------------------------------------------


def kits(lot: LotFacts, numbers: Mapping[str, str]) -> list[Kit]:
    """The deliveries in their order, each with its rows; the counts are those of the bill."""
    if lot.house is None or not lot.quantities:
        return []
    family_of = {p.schedule: p.family for p in model_of(lot.house).points}
    rows = _rows(lot, numbers, family_of)
    items = house_items(list(lot.quantities.values()))
    out = []
    for n, drop in enumerate(DROPS, 1):
        here = tuple(r for d, r in rows if d == drop)
        totals = items[items["drop"] == drop]
        counted = tuple((str(i), int(q)) for i, q in zip(totals["item"], totals["quantity"], strict=True))
        if here:
            shown = {(r.item, r.count) for r in here}
            together = tuple((i, q) for i, q in counted if (i, q) not in shown)
            out.append(Kit(n, drop, f"{plain(lot.lot_id)} / {n} {drop}", here, counted, together))
    return out


def _rows(lot: LotFacts, numbers: Mapping[str, str], family_of: Mapping[str, str]) -> list[tuple[str, Row]]:
    """Pieces gathered by drop, family, item and arrangement, in load-path order from the roof down."""
    gathered: dict[tuple[str, str, str, str], list[Any]] = {}
    order = list(families())
    family_of = {line: family_of[line] for line in lot.quantities}
    for line, q in lot.quantities.items():
        family = family_of[line]
        for n, p in enumerate(q.pieces):
            if not p.net:
                continue
            how = lot.chosen[line].arrangement if n == 0 else "with it"
            entry = gathered.setdefault((p.drop, family, p.row.item, how), [p.row, [], Decimal(0)])
            entry[1].append(line)
            entry[2] += p.net
    out = []
    for (drop, family, item, how), (row, lines, net) in sorted(gathered.items(), key=lambda kv: order.index(kv[0][1])):
        unit = "" if row.unit in WHOLE_UNITS else f" {row.unit}"
        area = families()[family].measure == "area"
        words = "" if how in ("1 each",) or area else how
        out.append(
            (
                drop,
                Row(
                    numbers.get(family, ""),
                    _where(lines, [k for k, f in family_of.items() if f == family]),
                    item,
                    words,
                    fastening(row),
                    int(net),
                    unit,
                ),
            )
        )
    return out


def _where(lines: Sequence[str], of_family: Sequence[str]) -> str:
    """Package lines in few words: what they share once, then what parts them; "all" where nothing else is left."""
    lines = list(dict.fromkeys(lines))
    if len(lines) == 1:
        return lines[0]
    first, *_ = lines[0].split(", ")
    if all(line.split(", ")[0] == first for line in lines):
        if all(line in lines for line in of_family if line.split(", ")[0] == first):
            return f"{first}: all"
        rest = [line[len(first) :].lstrip(", ") for line in lines]
        return f"{first}: {'; '.join(r for r in rest if r) or 'all'}"
    return "; ".join(lines)


# --- what to tick off -----------------------------------------------------------------------------------------------


def checks(lot: LotFacts) -> list[tuple[str, list[str]]]:
    """Boxes for the field, by delivery, with this lot's own counts."""
    if lot.house is None or not lot.quantities:
        return []
    counts = _family_counts(lot)
    side = garage_side(lot.house.variant, lot.mirrored)
    hand = "is MIRRORED" if lot.mirrored else "is not mirrored"
    before = [
        f"anchor plan on site {hand}{f', garage {side}' if side else ''}",
    ]
    before += _counted(counts, (("sill_anchor", "anchor bolts"), ("hold_down_anchor", "hold-down anchors")))
    walls = [f"plates and studs are {lot.house.variant.plan.plan.species}"]
    walls += _counted(counts, (("hold_down", "hold-downs, tight"), ("header_end", "straps at headers and stud packs")))
    walls += ["sheathing nails seen before the wrap; nuts and washers on"]
    roof = _counted(counts, (("truss_tie", "truss ties, none left out"), ("girder_tie", "girder ties")))
    roof += _counted(counts, (("gable_end_tie", "gable end ties"), ("truss_hanger", "truss hangers")))
    floor = _counted(counts, (("storey_strap", "straps across the floor"),))
    return [
        (name, boxes)
        for name, boxes in (("before the pour", before), ("walls", walls), ("floor", floor), ("roof", roof))
        if boxes
    ]


def _family_counts(lot: LotFacts) -> dict[str, int]:
    assert lot.house is not None
    family_of = {p.schedule: p.family for p in lot.house.points}
    out: dict[str, int] = {}
    for line, q in lot.quantities.items():
        if q.pieces:
            out[family_of[line]] = out.get(family_of[line], 0) + q.pieces[0].net
    return out


def _counted(counts: Mapping[str, int], wanted: Sequence[tuple[str, str]]) -> list[str]:
    return [f"{counts[f]} {words}" for f, words in wanted if counts.get(f)]
