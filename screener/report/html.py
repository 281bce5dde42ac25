"""report.html: one file that opens from a folder with no network.

Texts of lots, lists and projects reach the page in two ways only: through the template, which escapes everything, and
as JSON in a data block (``text.script_json``), from where the script writes them as text. A content policy in the page
lets nothing run or load but its own style and script, which it names by their hashes.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import jinja2
from markupsafe import Markup

from screener.files.manifest import CAUTION
from screener.report import content, orders_content
from screener.report.colouring import LotClass, View, all_views
from screener.report.curve_svg import cost_curve, curve_rows
from screener.report.map_svg import (
    MARKED_LOTS,
    UNITS_PER_FOOT,
    Drawing,
    draw,
    lot_marks,
    lot_paths,
    mark_size,
    pattern_defs,
    scale_and_north,
)
from screener.report.text import counted, plain, script_json, texts

if TYPE_CHECKING:
    from screener.config import Tract
    from screener.pipeline import Results


def write_report(path: Path, results: Results, tract: Tract) -> None:
    """Write the report of a run to `path`."""
    _write(path, report_html(results, content.facts_of_tract(tract)))


def write_report_of_manifest(path: Path, results: Results, manifest: Mapping[str, Any]) -> None:
    """The same, with the project's facts from the run's manifest."""
    _write(path, report_html(results, content.facts_of_manifest(manifest)))


def _write(path: Path, page: str) -> None:
    path.write_text(page, encoding="utf-8", newline="\n")  # hashes in the page are of text with these line ends


def report_html(results: Results, facts: content.Facts) -> str:
    """The page. Nothing in it depends on the clock, the machine or a path."""
    drawing = draw(results.lots, str(results.run.get("working_crs_wkt") or ""))
    views = all_views(results.lots)
    style, script = _part("report.css"), _part("report.js")
    packages = results.run.get("packages") or {}
    marked = len(results.lots) <= MARKED_LOTS
    data = _data(results, drawing, views, marked)
    return _template().render(
        caution=CAUTION,
        policy=content_policy(style, script),
        style=Markup(style),  # our own files, never a user's text
        script=Markup(script),
        name=plain(facts.name) or "Tract",
        summary=content.summary(results, facts),
        exceptions=content.exception_groups(results),
        notes=content.note_groups(results),
        issues=content.issue_groups(results.issues),
        map=_map(drawing, views, marked),
        views=views,
        swatches=_swatches(drawing, views[0]),
        packages=content.package_cards(results),
        ground=content.ground_costs(results.lots),
        curve=Markup(cost_curve(packages, _in_use(packages, results, facts))),
        curve_rows=curve_rows(packages),
        suggested=content.suggested_packages(packages),
        forcing=content.forcing_rows(results),
        tolerance=content.tolerance_rows(results),
        bill=content.bill(results),
        orders=orders_content.orders(results),
        forecast=orders_content.forecast(results),
        months=data["bill"]["months"],
        status_words=content.STATUS_COUNT_WORDS,
        assumptions=content.assumptions(results, facts),
        cautions=content.cautions(results, facts),
        counted=counted,
        data=script_json(data),
    )


def content_policy(style: str, script: str) -> str:
    """A policy under which only this style and this script count, and nothing is fetched or sent."""
    return (
        f"default-src 'none'; script-src '{_hash(script)}'; style-src '{_hash(style)}'; "
        "base-uri 'none'; form-action 'none'"
    )


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


@cache
def _part(name: str) -> str:
    return files("screener.report").joinpath("templates", name).read_text(encoding="utf-8").replace("\r\n", "\n")


def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(_part("report.html.j2"))


def _in_use(packages: Mapping[str, Any], results: Results, facts: content.Facts) -> int | None:
    """The point of the curve that the run took: the most packages allowed, as far as the curve goes."""
    reached = [p["most"] for p in packages.get("curve") or [] if p.get("cost_cents") is not None]
    most = facts.setting("tiers", "most")
    return min(int(most), max(reached)) if most and reached else None


# --- the map ------------------------------------------------------------------------------------------------------


def _map(drawing: Drawing, views: list[View], marked: bool) -> dict[str, Any]:
    return {
        "width": drawing.width,
        "height": drawing.height,
        "defs": Markup(pattern_defs(views, drawing.tile)),
        "paths": Markup(lot_paths(drawing, views[0])),
        "marks": Markup(lot_marks(drawing, views[0]) if marked else ""),
        "mark_size": mark_size(drawing, views[0]),
        "furniture": Markup(scale_and_north(drawing)),
        "undrawn": len(drawing.paths) - drawing.drawn,
    }


def _swatches(drawing: Drawing, colours: View) -> dict[str, Markup]:
    """A swatch for each package, by its name."""
    return {c.words: Markup(swatch(c, drawing.tile)) for c in colours.classes}


def swatch(kind: LotClass, tile: float) -> str:
    """A small picture of a class: its colour and pattern as on the map."""
    return (
        f'<svg class="swatch" viewBox="0 0 {4 * tile:g} {2.4 * tile:g}" aria-hidden="true">'
        f'<rect width="{4 * tile:g}" height="{2.4 * tile:g}" fill="{kind.paint}"/></svg>'
    )


# --- data for the script ------------------------------------------------------------------------------------------


def _data(results: Results, drawing: Drawing, views: list[View], marked: bool) -> dict[str, Any]:
    columns = content.lot_columns(results.lots)
    return {
        "ids": texts(results.lots["lot_id"]),
        "columns": columns,
        "groups": content.lot_groups(columns),
        "hardest": content.hardest(results),
        "bill": content.bill_data(results),
        "table": [{"name": n, "label": label} for n, label in content.TABLE if n in results.lots],
        "views": [_view_data(v, drawing) for v in views],
        "centres": drawing.centres.tolist(),
        "status_words": content.STATUS_WORDS,
        "map": {
            "width": drawing.width,
            "height": drawing.height,
            "tile": drawing.tile,
            "marked": marked,
            "per_foot": UNITS_PER_FOOT,
        },
        "exceptions": content.exception_data(results),
    }


def _view_data(colours: View, drawing: Drawing) -> dict[str, Any]:
    classes = [
        {"words": c.words, "mark": c.mark, "paint": c.paint, "dark": c.dark, "count": c.count} for c in colours.classes
    ]
    return {
        "key": colours.key,
        "explains": colours.explains,
        "classes": classes,
        "of": colours.of_lot.tolist(),
        "marks": list(colours.marks) if colours.marks else None,
        "size": mark_size(drawing, colours),
    }
