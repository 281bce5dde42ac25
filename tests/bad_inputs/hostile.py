"""Names that try to be something else: markup, scripts, paths, SQL, formulas, templates, drawing codes, numbers."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from damaged_project import PLAIN, Project
from tract_helpers import SAMPLE, cut

from hazard.table_cells import clean_text, looks_like_date
from screener.lot_attributes import clean

NAMES = (
    "<script>canary(1)</script>",
    '"><img src=x onerror=canary(2)>',
    "'); DROP TABLE lots; --",
    '=HYPERLINK("http://x.invalid","y")',
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "../../../tmp/owned",
    "{{7*7}}{% for x in y %}",
    "%s%n{0}${IFS}`touch owned`$(touch owned)",
    "]]></style></title><svg/onload=canary(3)>",
    "&lt;b&gt;&#x41;&amp",
    "\\P%%c\\U+0041{\\C1;x}^J",
    "a/b\\c:d*e?",
    "CON",
    "-1",
    "javascript:canary(4)",
    "--><!-- x",
    "NaN",
    "None",
    "[/red][link=http://x.invalid]",
    "\u0928\u092e\u0938\u094d\u0924\u0947 \U0001f3e0 \u0645\u0631\u062d\u0628\u0627",
    "'quoted'",
    "x" * 90,
)
LOTS = ("A-02", "A-04", "C-14")
PLANS = ("thimble", "kettle")
ITEMS = ("truss tie light", "truss tie medium", "wall nail", "anchor bolt 1/2 in", "plate washer")
PHASES = ("1", "3")


def usable(name: str) -> bool:
    """Whether every reader takes a name as it stands (what they clean or refuse is tested elsewhere)."""
    plain = clean_text(name) == name == clean(name) == unicodedata.normalize("NFC", name)
    return plain and 0 < len(name) <= 90 and not looks_like_date(name) and not set(name) & set(";,|")


def write(folder: Path, names: Mapping[str, str]) -> Path:
    """A project of three lots and two plans in which names are exchanged by `names`: old -> new, wherever they stand.

    Lots, plans, items and phases keep their numbers.
    """
    project = Project(folder)
    new = {**{name: name for name in (*LOTS, *PLANS, *ITEMS, *PHASES)}, **names}
    lots = cut(LOTS)
    lots["lot_id"] = [new[each] for each in lots["lot_id"]]
    plans = [new["thimble"], new["kettle"], new["thimble"]]
    project.lots = lots.assign(plan=plans, style=None, options=None, phase=[new[p] for p in ("1", "1", "3")])
    project.lots["block"] = [names.get("block", "1")] * 3
    for plan in PLANS:
        text = (SAMPLE / "plans" / f"{plan}.toml").read_text(encoding="utf-8")
        old = f'name = "{plan}"'
        assert old in text
        text = text.replace(old, f"name = {toml_text(new[plan])}", 1)
        text = text.replace('name = "front 1"', f"name = {toml_text(names.get('front 1', 'front 1'))}")
        text = text.replace('"front 1"', toml_text(names.get("front 1", "front 1")))
        text = text.replace('title = "', f'title = {toml_text(names.get("title", "Title"))} # "', 1)
        (project.folder / "plans" / f"{plan}.toml").write_text(text, encoding="utf-8")
    _hardware(project.folder / "hardware.csv", new, names.get("source", ""))
    project.changes |= {
        **PLAIN,
        "tract.name": names.get("tract", "Test Rise (invented)"),
        "plans.folder": "plans",
        "hardware.file": "hardware.csv",
        "tiers.most": 2,
        "tiers.tolerance": {"price": 0.0},
    }
    return project.write()


def toml_text(name: str) -> str:
    return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _hardware(file: Path, new: Mapping[str, str], source: str) -> None:
    import csv

    with file.open(encoding="utf-8", newline="") as text:
        rows: list[dict[str, Any]] = list(csv.DictReader(text))
    for row in rows:
        for column in ("item", "accessory", "bill_item"):
            row[column] = new.get(row[column], row[column])
        row["source"] = source or row["source"]
    with file.open("w", encoding="utf-8", newline="") as text:
        writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
