"""The calculation sheet as one page that needs no other file, no script and no network."""

from __future__ import annotations

import base64
import hashlib
import math
from collections import Counter
from functools import cache
from importlib.resources import files

import jinja2
from markupsafe import Markup

from screener.calculation.sheet import Sheet
from screener.derivation import number
from screener.report.text import plain

READING = (
    "Every number is followed by its formula, the values that went in, and its source. L1, L2 ... are loads: follow "
    "the link to see what each is the sum of.",
    "A sum is written factor × value = product. Where a load lies on a line, its factor is the length (ft) that "
    "reaches the place, weighted by its lever; where it is a pressure, an area or a width.",
    "x runs across the front of the plan as drawn, y from front to rear, in ft. “corner low” is the reference corner "
    "with the end zone at the low coordinate; “on to the front” is the wind that meets that face. Uplift and outward "
    "pressure are positive; weights are negative.",
    "q is at strength level in both editions; the combination brings the factor on it. The four cells behind a raster "
    "value stand with their weights.",
    "Demands are of one connection (lb), of one foot (plf) or of one square foot (psf).",
)


def sheet_html(sheet: Sheet) -> str:
    """The page. Nothing in it depends on the clock, the machine or a path."""
    style = _part("sheet.css")
    times = Counter(one for c in sheet.connections for one in c.uses)
    shared = [one for one in sheet.loads if times[one] > 1]
    own = {c.name: [one for one in c.uses if times[one] == 1] for c in sheet.connections}
    return _template().render(
        policy=_policy(style),
        style=Markup(style),  # our own file, never a user's text
        sheet=sheet,
        keys={c.key for c in sheet.connections},
        shared=shared,
        own=own,
        reading=READING,
        pictures=[(name.removesuffix(".svg"), _data(svg)) for name, svg in sheet.pictures],
        number=number,
        infinity=math.inf,
        plain=plain,
    )


def _data(svg: str) -> str:
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def _policy(style: str) -> str:
    """Nothing runs, nothing is fetched; only the page's own style and pictures count."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; form-action 'none'"


@cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=jinja2.FunctionLoader(_part),
    )
    return environment.get_template("sheet.html.j2")


@cache
def _part(name: str) -> str:
    return files("screener.calculation").joinpath("templates", name).read_text(encoding="utf-8").replace("\r\n", "\n")
