"""`screener schema`: the keys or columns of an input, with unit, meaning and default."""

from __future__ import annotations

from typing import Any

import click

from screener import errors
from screener.cli import printing

EPILOG = """\b
Examples:
  screener schema lots
  screener schema tract --json"""


@click.command(epilog=EPILOG)
@click.argument("what", type=click.Choice(["lots", "plan", "hardware", "tract"]))
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def command(what: str, as_json: bool) -> int:
    """Show the keys or columns of lots, plan, hardware or tract: units, meanings, defaults."""
    rows = schema_rows(what)
    if as_json:
        printing.say_json({"what": what, "rows": rows})
        return errors.OK
    for row in rows:
        unit = f" ({row['unit']})" if row["unit"] else ""
        default = "required" if row["required"] else f"default: {row['default'] or 'none'}"
        printing.say(f"{row['name']}{unit}: {row['type']}; {default}")
        if row["meaning"]:
            printing.say(f"    {row['meaning']}")
    return errors.OK


def schema_rows(what: str) -> list[dict[str, Any]]:
    """One row a key or column."""
    if what in ("lots", "hardware"):
        return _column_rows(f"{what}_input")
    if what == "tract":
        from screener.config import Tract

        return model_rows(Tract)
    from screener.plans import Plan

    return model_rows(Plan)


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


_UNITS = {"_ft": "ft", "_in": "in", "_psf": "psf", "_lb": "lb", "_mph": "mph", "_g": "g", "_deg": "degrees"}


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
                "unit": next((unit for ending, unit in _UNITS.items() if key.endswith(ending)), ""),
                "required": field.is_required(),
                "default": "" if default is None or inner is not None else str(default),
                "meaning": meaning,
            }
        )
        if inner is not None:
            rows += model_rows(inner, f"{name}[]." if listed else f"{name}.")
    return rows


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
        return _type_name(get_args(annotation)[0])
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
