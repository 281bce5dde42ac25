"""Whether the classes of a land-cover raster are those that the table of roughness speaks of.

Codes alone do not tell: 5 is one thing in one legend and another in the next. Two signs are looked at: how many cells
hold codes that the table does not list, and what the raster's own names of its classes say of water.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from hazard.issues import Issue
from hazard.land_cover import ROUGH_D, UNKNOWN, RoughnessTable

if TYPE_CHECKING:
    from hazard.rasters import RasterWindow

MOST_UNLISTED = 0.10
"""Share of the cells with data; this tool's own. A few unlisted cells are left unknown, each by itself."""
FEWEST_STRANGE = 2
"""Unlisted codes that make another legend: one alone is a mark for ground that was not classed, and is left unknown."""
BACKGROUND = (0, 255)
"""Codes that often mean "nothing here": unknown where the table does not list them, and no sign of another legend."""
_WATER = re.compile(r"\b(?:open )?water\b|\bocean\b|\blake\b", re.IGNORECASE)
_DRY = re.compile(r"\bforest|\bdeveloped|\bgrass|\bcrop|\bshrub|\bpasture|\burban", re.IGNORECASE)


def check_legend(window: RasterWindow, table: RoughnessTable) -> list[Issue]:
    """The stops for a raster whose classes are another legend's than the table's; empty where nothing speaks so."""
    return [*_unlisted(window, table), *_contradicted(window, table)]


def _unlisted(window: RasterWindow, table: RoughnessTable) -> list[Issue]:
    codes, cells = np.unique(window.values[window.valid & ~np.isin(window.values, BACKGROUND)], return_counts=True)
    if not codes.size:
        return []
    strange = ~table.look_up(codes)[2]
    share = float(cells[strange].sum() / cells.sum())
    if share <= MOST_UNLISTED or strange.sum() < FEWEST_STRANGE:
        return []
    shown = ", ".join(str(int(code)) for code in codes[strange][:8])
    found = f"{share:.0%} of the cells hold codes that {table.source} does not list ({shown})"
    fix = "the raster has another legend: name its table as classes in the project file"
    return [Issue("land_cover_legend", "stop", window.source, found, f"{MOST_UNLISTED:.0%} at most", fix)]


def _contradicted(window: RasterWindow, table: RoughnessTable) -> list[Issue]:
    found = []
    for code, name in sorted(window.categories.items()):
        roughness = int(table.look_up(np.array([code]))[0][0])
        wet = _WATER.search(name) is not None and "wetland" not in name.casefold()
        dry = _DRY.search(name) is not None
        if roughness == UNKNOWN or wet == dry or wet == (roughness == ROUGH_D):
            continue
        letter = "?BCD"[roughness]
        what = f"class {code} is {name!r} in the raster, roughness {letter} in {table.source}"
        expected = "D for water" if wet else "B or C for land"
        fix = "the raster has another legend: name its table as classes in the project file"
        found.append(Issue("land_cover_legend", "stop", window.source, what, expected, fix))
    return found


def category_names(path: Path) -> Mapping[int, str]:
    """Names of classes that stand in the settings file beside a (checked) raster, by code; empty where there are none.

    Two forms are read: a list of names by place, and an attribute table with a value and a name on each row.
    """
    beside = path.with_name(path.name + ".aux.xml")
    if not beside.is_file():
        return {}
    try:
        root = ElementTree.fromstring(beside.read_text("utf-8", errors="replace"))
    except (ElementTree.ParseError, ValueError):
        return {}
    band = root.find("PAMRasterBand")
    if band is None:
        return {}
    listed = [element.text or "" for element in band.findall("CategoryNames/Category")]
    names = {code: name.strip() for code, name in enumerate(listed) if name.strip()}
    return names | _attribute_names(band)


def _attribute_names(band: ElementTree.Element) -> dict[int, str]:
    table = band.find("GDALRasterAttributeTable")
    if table is None:
        return {}
    usage = {
        int(field.get("index", "-1")): (field.findtext("Usage") or "").strip() for field in table.findall("FieldDefn")
    }
    # 2: name, 5: value, as the raster library numbers the uses of a column
    value = next((place for place, use in usage.items() if use == "5"), None)
    name = next((place for place, use in usage.items() if use == "2"), None)
    if value is None or name is None:
        return {}
    names = {}
    for row in table.findall("Row"):
        cells = [(cell.text or "").strip() for cell in row.findall("F")]
        if len(cells) > max(value, name) and re.fullmatch(r"\d{1,6}(\.0*)?", cells[value]) and cells[name]:
            names[int(float(cells[value]))] = cells[name]
    return names
