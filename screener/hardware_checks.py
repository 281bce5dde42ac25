"""One row of the hardware list: its cells read by the kind of their column, and the rules between them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from hazard.table_cells import (
    FORMULA_STARTS,
    CellError,
    Place,
    clean_text,
    looks_like_date,
    looks_like_number,
    nearest,
    read_number,
    read_size,
    read_yes_no,
)
from screener.families import families
from screener.hardware_columns import (
    ALL_LOADS,
    ALLOWABLE_LOADS,
    BY_NAME,
    COLUMNS,
    CONCRETE_LOADS,
    GENERIC_FASTENERS,
    GEOMETRY,
    GREATEST_LOAD_LB,
    LISTED_LOADS,
    LOAD_COLUMNS,
    SPECIES_GROUPS,
    HardwareColumn,
    load_column,
)
from screener.prices import Price, decimal, parse_price_breaks
from screener.standards.nds_connections import fastener_names

CURRENCY_SIGNS = ("$", "€", "£")
GREATEST_COST_USD = 1e6
LONGEST_NAME = 200
STRENGTH_OF_ALLOWABLE = (1.0, 2.4)
"""A design strength below its allowable load, or above 2.4 times it, is likely a slip (an ultimate load is about three
times; from steel to nails the methods' factors give 1.35 to 2.16). Common practice, no source."""
Values = dict[str, Any]


def read_values(cells: Mapping[str, str], place: Place) -> Values:
    """The declared columns of a row that are not blank, each by its kind; faults reported. The price has its own."""
    _note_text(cells, place)
    values: Values = {}
    for column in COLUMNS:
        cell = cells.get(column.name, "")
        if column.name == "unit_cost" or not cell.strip():
            continue
        try:
            values[column.name] = _value(column, cell)
        except CellError as error:
            place.cell(column.name, error)
    return values


def serving(values: Values, place: Place) -> tuple[str, ...]:
    """The families that a row serves."""
    keys = tuple(dict.fromkeys(part.strip() for part in values.get("family", "").split(";") if part.strip()))
    for key in keys:
        if key not in families():
            place.stop("HARDWARE_FAMILY", f"family `{key}`", nearest(key, families()), "correct the name")
    return keys


def read_price(cells: Mapping[str, str], values: Values, place: Place) -> Price | None:
    """The price with its breaks; an unusable price takes the row out of the choice, with a warning."""
    text = cells.get("unit_cost", "").strip()
    expected, done = "dollars for one, above 0", "left out of the choice"
    if not text or text.startswith(CURRENCY_SIGNS):
        found = f"unit_cost `{text}`" if text else "unit_cost is blank"
        place.warn("HARDWARE_NO_PRICE", found, expected, done)
        return None
    try:
        cost = read_number(text, "dollars")
    except CellError as error:
        place.cell("unit_cost", error)
        return None
    if cost > GREATEST_COST_USD:
        place.stop("HARDWARE_RANGE", f"unit_cost {cost:g}", f"dollars, at most {GREATEST_COST_USD:,.0f}", "correct it")
        return None
    if cost <= 0:
        place.warn("HARDWARE_NO_PRICE", f"unit_cost {text}", expected, done)
        return None
    try:
        breaks = parse_price_breaks(values.get("price_breaks"))
        return Price(decimal(text.lstrip("+")), int(values.get("purchase_unit_qty", 1)), breaks)
    except ValueError as error:
        place.stop("HARDWARE_PRICE_BREAK", str(error), "boxes:discount, as 10:-6%; 60:-11%", "correct it")
        return None


def check_row(cells: Mapping[str, str], values: Values, serves: Iterable[str], place: Place) -> None:
    """Every rule between the cells of one row."""
    keys = [key for key in serves if key in families()]
    _check_blanks(cells, keys, place)
    _check_loads(cells, values, keys, place)
    _check_strengths(values, place)
    _check_names(values, place)
    _check_geometry(values, keys, place)
    if not values.get("source"):
        expected = "the document that the numbers come from"
        place.skip("HARDWARE_NO_SOURCE", "source is blank", expected, "row left out")


def _note_text(cells: Mapping[str, str], place: Place) -> None:
    """Text that a spreadsheet could run, dates made of sizes, characters that can't be seen."""
    for name, cell in cells.items():
        column = BY_NAME.get(name)
        if column is not None and column.kind not in ("text", "size"):
            continue
        if cell.startswith(FORMULA_STARTS):
            place.note("HARDWARE_FORMULA_TEXT", f"{name} begins with {cell[0]!r}", "", "kept as text, never run")
        if name in ("item", "fastener", "unit") and looks_like_date(cell):
            found = f"{name} `{cell.strip()}`: a spreadsheet made a date of a size"
            place.stop("HARDWARE_DATE", found, "the size as text, such as 3/8 in", "format the column as text")
        if name == "item" and len(clean_text(cell)) > LONGEST_NAME:
            found = f"item of {len(cell):,} characters"
            place.stop("HARDWARE_CELL_LENGTH", found, f"at most {LONGEST_NAME}", "shorten the name")
        if name == "item" and looks_like_number(cell):
            place.warn("HARDWARE_ITEM_NUMBER", f"item `{cell.strip()}` looks like a number", "a name", "read as text")
        if name in ("item", "family", "accessory", "bill_item") and clean_text(cell) != " ".join(cell.split()):
            found = f"{name} {cell!a} holds characters that are not seen or not Latin"
            place.warn("HARDWARE_CHARACTERS", found, "plain letters", f"read as `{clean_text(cell)}`")


def _value(column: HardwareColumn, cell: str) -> float | int | str | bool:
    """The value of one cell by the kind of its column."""
    if column.name == "load_duration_included" and looks_like_number(cell):
        return read_number(cell, "") > 1.0  # the factor itself: 1.6 or 1.33 is included, 1.0 is not
    if column.kind == "yes/no":
        return read_yes_no(cell)
    if column.kind == "size":
        return read_size(cell)
    if column.kind == "text":
        return clean_text(cell)
    return _choice(column, clean_text(cell)) if column.kind == "choice" else _number(column, cell)


def _choice(column: HardwareColumn, text: str) -> str:
    """One of the column's choices, whatever its case."""
    found = next((choice for choice in column.choices if choice.lower() == text.lower()), None)
    if found is not None:
        return found
    ultimate = column.name == "basis" and text.lower() in ("ultimate", "strength", "lrfd", "nominal", "tested")
    listing = "list the allowable (ASD) load of the source and its design strength (LRFD), not its ultimate"
    fix = listing if ultimate else "choose one"
    raise CellError("CHOICE", f"`{text}`", f"one of {', '.join(column.choices)}", fix)


def _number(column: HardwareColumn, cell: str) -> float:
    """A number within the column's limits."""
    value = read_number(cell, column.unit)
    if not column.least <= value <= column.most:
        limits = f"from {column.least:g}" + (f" to {column.most:g}" if math.isfinite(column.most) else "")
        raise CellError("RANGE", f"{value:g}", f"{column.unit or 'a number'} {limits}")
    if column.kind == "integer" and value != int(value):
        raise CellError("RANGE", f"{value:g}", "a whole number")
    return int(value) if column.kind == "integer" else value


def _check_blanks(cells: Mapping[str, str], keys: Iterable[str], place: Place) -> None:
    """Blank cells of required columns. The source has its own rule; an accessory needs no basis."""
    exempt = {"source", "unit_cost"} | ({"basis"} if "accessory" in keys else set())
    for column in COLUMNS:
        if column.required and column.name not in exempt and not cells[column.name].strip():
            place.stop("HARDWARE_BLANK", f"{column.name} is blank", column.meaning, "fill it in")


def _check_loads(cells: Mapping[str, str], values: Values, keys: list[str], place: Place) -> None:
    """Loads that can't be: zero, negative, beyond reason; listed on a computed row; no word on load duration."""
    for name in ALL_LOADS:
        value = values.get(name)
        if value is not None and not 0 < value <= GREATEST_LOAD_LB:
            expected = f"lb above 0, at most {GREATEST_LOAD_LB:,.0f}"
            fix = "leave the cell blank where the item has no capacity in that direction"
            place.stop("HARDWARE_LOAD_RANGE", f"{name} {value:g}", expected, fix)
    loads, basis = [name for name in LISTED_LOADS if name in values], values.get("basis")
    if basis == "computed":
        if loads:
            found = f"a computed row with {loads[0]} {values[loads[0]]:g}"
            fix = "blank the load, or make the basis listed"
            place.stop("HARDWARE_BASIS", found, "either listed loads or geometry", fix)
        if values.get("load_duration_included"):
            found = "load_duration_included on a computed row: the factor would count twice"
            place.stop("HARDWARE_DURATION_TWICE", found, "blank or no", "computed rows take the factor themselves")
    elif basis == "listed" and "accessory" not in keys:
        if not loads:
            done = "holds nothing: serves only where nothing is demanded"
            place.warn("HARDWARE_NO_LOAD", "a listed row without any load", "a load in one direction at least", done)
        elif any(name in values for name in ALLOWABLE_LOADS) and not cells.get("load_duration_included", "").strip():
            found = "load_duration_included is blank on a listed row"
            place.stop("HARDWARE_DURATION", found, "yes or no", "say whether the loads hold the increase for wind")


def _check_strengths(values: Values, place: Place) -> None:
    """A design strength that does not go with the allowable load beside it: too small, or an ultimate load."""
    low, high = STRENGTH_OF_ALLOWABLE
    for name in LOAD_COLUMNS:
        for group in SPECIES_GROUPS:
            own, twin = f"{name}_{group}", load_column(f"{name}_{group}", "LRFD")
            if own in values and twin not in values and load_column(name, "LRFD") in values:
                done = f"no design strength in {SPECIES_GROUPS[group]} framing"
                place.warn("HARDWARE_STRENGTH", f"{own} without {twin}", "both, or neither", done)
    for name in (*ALLOWABLE_LOADS, *CONCRETE_LOADS):
        allowable, strength = values.get(name), values.get(load_column(name, "LRFD"))
        if allowable and strength and allowable > 0 and not low <= strength / allowable <= high:
            found = f"{load_column(name, 'LRFD')} {strength:g} beside {name} {allowable:g}"
            expected = f"a design strength of {low:g} to {high:g} times the allowable load"
            place.warn("HARDWARE_STRENGTH", found, expected, "used as given; is it an ultimate load?")


def _check_names(values: Values, place: Place) -> None:
    """Fastener names and lists of arrangements."""
    fastener, known = values.get("fastener", ""), (*fastener_names(), *GENERIC_FASTENERS)
    if fastener and fastener not in known:
        place.stop("HARDWARE_FASTENER", f"fastener `{fastener}`", nearest(fastener, known), "correct the name")
    for part in str(values.get("arrangements", "")).split(";"):
        if part.strip() and not (looks_like_number(part) and 0.1 <= float(part) <= 1000):
            place.stop("HARDWARE_ARRANGEMENT", f"arrangements `{part.strip()}`", "numbers, as 48;24", "correct it")


def _check_geometry(values: Values, keys: Iterable[str], place: Place) -> None:
    """What a computed row must give; sheathing is always computed."""
    basis, area = values.get("basis"), [key for key in keys if families()[key].measure == "area"]
    if area and basis == "listed":
        fix = "give panel, nail and spacings, and no loads"
        place.stop("HARDWARE_BASIS", f"a listed row of {area[0]}", "basis computed", fix)
    if basis != "computed":
        return
    needed = ["panel_thickness_in", "edge_spacing_in"] if area else []
    if area and values.get("panel_grade") != "Gypsum":
        needed.append("fastener")
    for name in needed:
        if name not in values:
            place.stop("HARDWARE_BLANK", f"{name} is blank on a sheathing row", BY_NAME[name].meaning, "fill it in")
    if not any(name in values for name in GEOMETRY):
        expected = f"one of {', '.join(GEOMETRY)}"
        place.stop("HARDWARE_BLANK", "a computed row without geometry", expected, "fill it in")
