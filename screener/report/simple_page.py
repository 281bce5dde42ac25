"""Small pages of their own: a heading, sentences, tables, bars. Everything is escaped here; nothing is fetched or
run."""

from __future__ import annotations

import base64
import hashlib
import html
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from screener.files.manifest import CAUTION
from screener.report.text import plain

_STYLE = """
:root { color-scheme: light dark; --ink: #1d2733; --quiet: #5a6672; --paper: #fbfbf8; --rule: #cdd3d8; --bar: #0a6a70;
  --other: #b3541e; --same: #d9dee2; }
@media (prefers-color-scheme: dark) { :root { --ink: #e3e8ea; --quiet: #9dabb5; --paper: #12171c; --rule: #35414b;
  --bar: #67c5c4; --other: #f0a070; --same: #35414b; } }
body { margin: 0 auto; max-width: 84rem; padding: 0 1.25rem 3rem; background: var(--paper); color: var(--ink);
  font: 15px/1.5 system-ui, "Liberation Sans", sans-serif; font-variant-numeric: tabular-nums; }
.caution { background: #fff1c9; color: #4d3800; border-bottom: 2px solid #c98a00; padding: .5rem 1rem;
  font-weight: 600; }
h1 { font-size: 1.8rem; margin: 1.2rem 0 .2rem; } h2 { font-size: 1.2rem; margin: 2rem 0 .5rem; }
p { max-width: 70rem; margin: .5rem 0; }
.wide { overflow-x: auto; } table { border-collapse: collapse; margin: .4rem 0; }
th, td { border-bottom: 1px solid var(--rule); padding: .25rem .7rem; text-align: left; vertical-align: top; }
th { color: var(--quiet); font-weight: 600; } .n { text-align: right; white-space: nowrap; }
tr.mark td { font-weight: 700; }
svg { max-width: 100%; height: auto; display: block; } svg text { fill: var(--ink); font-size: 13px; }
.bar { fill: var(--bar); } .other { fill: var(--other); } .same { fill: var(--same); stroke: var(--quiet); }
path.other, path.bar { stroke: var(--paper); stroke-width: 2; } path.changed { stroke: var(--ink); stroke-width: 8; }
"""


def page(title: str, under: str, parts: Sequence[str]) -> str:
    """The whole page from parts that are markup already (`sentence`, `table`, `bars`, ...)."""
    digest = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><title>{escape(title)}</title>'
        f'<style>{_STYLE}</style></head><body><p class="caution">{escape(CAUTION)}</p>'
        f"<h1>{escape(title)}</h1><p>{escape(under)}</p>{''.join(parts)}</body></html>\n"
    )


def write_page(path: Path, title: str, under: str, parts: Sequence[str]) -> None:
    """Write a page."""
    path.write_text(page(title, under, parts), encoding="utf-8", newline="\n")


def escape(value: Any) -> str:
    """A value as text for a page."""
    return html.escape(plain(value))


def heading(text: str) -> str:
    return f"<h2>{escape(text)}</h2>"


def sentence(text: str) -> str:
    return f"<p>{escape(text)}</p>"


def table(
    rows: Sequence[Mapping[str, Any]], columns: Mapping[str, str], numbers: Sequence[str] = (), mark: str = ""
) -> str:
    """Rows as a table: `columns` name -> heading; `numbers` stand right; rows where `mark` is true stand out."""
    kind = {name: ' class="n"' if name in numbers else "" for name in columns}
    head = "".join(f'<th scope="col"{kind[name]}>{escape(words)}</th>' for name, words in columns.items())
    marked = ' class="mark"'
    body = "".join(
        f"<tr{marked if mark and row.get(mark) else ''}>"
        + "".join(f"<td{kind[name]}>{escape(row.get(name, ''))}</td>" for name in columns)
        + "</tr>"
        for row in rows
    )
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'


def bars(rows: Sequence[tuple[str, float, str]], label: str) -> str:
    """Horizontal bars from a common zero, negative ones to the left: (name, value, words beside it)."""
    if not rows:
        return ""
    low, high = min(0.0, *(v for _, v, _ in rows)), max(0.0, *(v for _, v, _ in rows))
    span = high - low or 1.0
    left, width, step = 300, 420, 22
    zero = left + width * -low / span
    out = []
    for n, (name, value, words) in enumerate(rows):
        y = 8 + n * step
        length = width * abs(value) / span
        x = zero if value >= 0 else zero - length
        kind = "other" if value > 0 else "bar"  # dearer or more, cheaper or less
        out.append(f'<text x="{left - 10}" y="{y + 13}" text-anchor="end">{escape(name[:44])}</text>')
        out.append(f'<rect class="{kind}" x="{x:.1f}" y="{y}" width="{max(length, 0.5):.1f}" height="16"/>')
        out.append(f'<text x="{left + width + 12}" y="{y + 13}">{escape(words)}</text>')
    height = 16 + step * len(rows)
    return f'<svg viewBox="0 0 960 {height}" width="960" role="img" aria-label="{escape(label)}">{"".join(out)}</svg>'
