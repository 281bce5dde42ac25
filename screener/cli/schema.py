"""`screener schema`: the keys or columns of an input, with unit, meaning and default."""

from __future__ import annotations

import math
import textwrap
from typing import Any

import click

from screener import errors
from screener.cli import printing
from screener.labels import unit_of

EPILOG = """\b
Examples:
  screener schema lots                what a lots file may hold
  screener schema plan | less         every key of a plan file
  screener schema hardware --required the columns without which a list is refused
  screener schema tract --json        for a program"""

HEADS = {
    "lots": "Columns of the lots file. Other columns are left alone; [lots] columns renames them.",
    "plan": "Keys of a plan file (TOML, one a plan). x[] is a list of tables, written [[x]]. Lengths in plan "
    "coordinates: the front wall faces -y, x runs to the right seen from the street.",
    "hardware": "Columns of the hardware list (CSV). A blank cell takes the default. An item with loads of its own "
    "says basis = listed; one that is computed says basis = computed and describes its fasteners.",
    "tract": "Keys of the project file (TOML). Paths are relative to it.",
}
GROUP_OF_POINTS = (
    "only in a CSV of points with sizes (no column WKT): each lot becomes the rectangle centred on its point, width_ft "
    "along the front, turned to front_bearing_deg"
)
HEADS["portfolio"] = (
    "Keys of the portfolio file (TOML). Paths are relative to it. Without `base` the tables of a project file stand in "
    "it too, all but [lots] and [output]: see `screener schema tract`. tracts[] is a list of tables: [[tracts]]."
)
WIDTH, INDENT = 100, "    "


@click.command(epilog=EPILOG)
@click.argument("what", type=click.Choice(["lots", "plan", "hardware", "tract", "portfolio"]))
@click.option("--required", "only_required", is_flag=True, help="Only what must be given.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def command(what: str, only_required: bool, as_json: bool) -> int:
    """Show the keys or columns of lots, plan, hardware, tract or portfolio: units, meanings, defaults."""
    rows = [row for row in schema_rows(what) if row["required"] or not only_required]
    served = family_words() if what == "hardware" else {}
    if as_json:
        printing.say_json({"what": what, "rows": rows, **({"families": served} if served else {})})
        return errors.OK
    lines = [*textwrap.wrap(HEADS[what], WIDTH), *schema_lines(rows)]
    if served:
        lines += ["", "# families, down the load path", *(f"{key}: {words}" for key, words in served.items())]
    for line in lines:
        printing.say(line)
    return errors.OK


def family_words() -> dict[str, str]:
    """The connections that a row of the hardware list may serve."""
    from screener.families import families

    return {key: family.words for key, family in families().items()}


def schema_lines(rows: list[dict[str, Any]]) -> list[str]:
    """Two lines a key, a blank one before every table and group."""
    lines: list[str] = []
    before, inside = "", False
    for row in rows:
        here, dot, _ = row["name"].partition(".")
        here = row.get("group") or here
        apart = inside or row.get("group") or row["type"] == "table"
        if not lines or (apart and here != before):
            lines += ["", *([f"# {row['group']}"] if row.get("group") else [])]
        before, inside = here, bool(dot)
        unit = f" ({row['unit']})" if row["unit"] else ""
        default = "required" if row["required"] else f"default: {row['default'] or 'none'}"
        lines.append(f"{row['name']}{unit}: {row['type']}; {default}")
        lines += textwrap.wrap(row["meaning"], WIDTH, initial_indent=INDENT, subsequent_indent=INDENT)
    return lines


def schema_rows(what: str) -> list[dict[str, Any]]:
    """One row a key or column."""
    if what == "lots":
        points = [{**row, "group": GROUP_OF_POINTS} for row in _column_rows("lot_points_input")]
        return [*_column_rows("lots_input"), *({**row, "required": False} for row in points)]
    if what == "hardware":
        return _hardware_rows()
    if what == "tract":
        from screener.config import Tract

        return model_rows(Tract)
    if what == "portfolio":
        from screener.portfolio.config import PortfolioFile

        return model_rows(PortfolioFile)
    from screener.plan_keys import meaning
    from screener.plans import Plan

    return [{**row, "meaning": meaning(row["name"]) or row["meaning"]} for row in model_rows(Plan)]


def _column_rows(table: str) -> list[dict[str, Any]]:
    from screener.columns import TABLES

    kinds = {"yes_no": "yes or no", "integer": "whole number"}
    return [
        {
            "name": column.name,
            "type": kinds.get(column.kind, column.kind),
            "unit": column.unit,
            "required": column.required,
            "default": column.default,
            "meaning": column.meaning,
        }
        for column in TABLES[table]
    ]


def _hardware_rows() -> list[dict[str, Any]]:
    """The columns that the reader of the list knows, in its groups, with choices and limits."""
    from screener import hardware_columns as known

    groups = (
        ("what is bought", known.PURCHASE),
        ("listed loads", known.LISTED),
        ("where it may be used", known.NEEDS),
        ("fasteners", known.FASTENERS),
        ("sheathing", known.SHEATHING),
        ("anchor bolts and rods", known.BOLTS),
        ("straps", known.STRAPS),
        ("long screws", known.LONG_SCREWS),
        ("end posts", known.POSTS),
    )
    return [
        {
            "name": column.name,
            "type": _hardware_type(column),
            "unit": column.unit,
            "required": column.required,
            "default": column.default,
            "meaning": column.meaning,
            "group": group,
        }
        for group, columns in groups
        for column in columns
    ]


def _hardware_type(column: Any) -> str:
    if column.kind == "choice":
        return " or ".join(f'"{choice}"' for choice in column.choices)
    word = {"yes/no": "yes or no", "integer": "whole number", "size": "size such as 7/16"}.get(column.kind, column.kind)
    low, high = column.least, column.most
    if math.isfinite(low) and math.isfinite(high):
        return f"{word}, {low:g} to {high:g}"
    if math.isfinite(low):
        return f"{word}, {low:g} or more"
    return f"{word}, {high:g} at most" if math.isfinite(high) else word


def model_rows(model: Any, prefix: str = "") -> list[dict[str, Any]]:
    """The keys of a pydantic model, tables within tables by their full name."""
    rows: list[dict[str, Any]] = []
    for key, field in model.model_fields.items():
        name = prefix + (field.alias or key)
        inner, listed = _inner_model(field.annotation)
        meaning = field.description or _first_line(inner)
        default = field.default if not field.is_required() and field.default_factory is None else None
        rows.append(
            {
                "name": f"{name}[]" if listed and inner is not None else name,
                "type": "table" if inner is not None else _type_name(field.annotation),
                "unit": unit_of(key),
                "required": field.is_required(),
                "default": "" if inner is not None else _default(default),
                "meaning": meaning,
            }
        )
        if inner is not None:
            rows += model_rows(inner, f"{name}[]." if listed else f"{name}.")
    return rows


def _default(value: Any) -> str:
    """A default as one would write it in the file; blank for nothing."""
    if value is None or value in ("", [], {}, ()):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return str(value)


def _inner_model(annotation: Any) -> tuple[Any, bool]:
    """The model inside an annotation, and whether it stands in a list."""
    from typing import Annotated, get_args, get_origin

    from pydantic import BaseModel

    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    origin = get_origin(annotation)
    if origin is dict:
        return None, False
    arguments = get_args(annotation)[:1] if origin is Annotated else get_args(annotation)
    for argument in arguments:
        inner, listed = _inner_model(argument)
        if inner is not None:
            return inner, listed or origin in (list, tuple)
    return None, False


def _type_name(annotation: Any) -> str:
    from typing import Annotated, Literal, get_args, get_origin

    origin = get_origin(annotation)
    if origin is Literal:
        return " or ".join(f'"{value}"' if isinstance(value, str) else str(value) for value in get_args(annotation))
    if origin is Annotated:
        words = [word for word in get_args(annotation)[1:] if isinstance(word, str)]
        return words[0] if words else _type_name(get_args(annotation)[0])
    names = {"str": "text", "int": "whole number", "float": "number", "bool": "true or false", "Path": "path"}
    if origin is None:
        word = getattr(annotation, "__name__", str(annotation))
        return names.get(word, word)
    inner = [_type_name(a) for a in get_args(annotation) if a not in (type(None), Ellipsis)]
    if origin in (list, tuple):
        return f"list of {' or '.join(dict.fromkeys(inner))}"
    if origin is dict:
        return f"table of {inner[-1]}"
    return " or ".join(dict.fromkeys(inner))


def _first_line(model: Any) -> str:
    return (model.__doc__ or "").strip().splitlines()[0] if model is not None and model.__doc__ else ""
