"""What is wrong with a key of a project file, in words: where it stands, what was found, what was expected."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from hazard.issues import Issue
from hazard.table_cells import shortened
from screener.config_sections import REMOTE_RASTER


def nearest(word: str, known: Mapping[str, Any] | tuple[str, ...] | list[str]) -> str:
    """The known word most like this one, "" where none is close."""
    folded = {k.casefold(): k for k in known}
    close = difflib.get_close_matches(word.casefold(), list(folded), n=1, cutoff=0.5)
    return folded[close[0]] if close else ""


def field_model(field: FieldInfo) -> type[BaseModel] | None:
    """The model of a field, also where it may be absent."""
    for kind in (field.annotation, *get_args(field.annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None


def model_at(loc: tuple[int | str, ...], root: type[BaseModel]) -> type[BaseModel] | None:
    """The pydantic model that stands at a place of the project file, None where there is none."""
    model: type[BaseModel] | None = root
    for part in loc:
        field = model.model_fields.get(str(part)) if model is not None else None
        model = field_model(field) if field is not None else None
    return model


def place_of(loc: tuple[int | str, ...]) -> str:
    """A key as its author wrote it: ("hazards", "kzt", "file") -> "[hazards] kzt.file"."""
    if len(loc) == 1:
        return f"[{shortened(str(loc[0]))}]"
    return f"[{shortened(str(loc[0]))}] " + ".".join(shortened(str(part)) for part in loc[1:])


def fault_issue(fault: Any, file: str, root: type[BaseModel]) -> Issue:
    """One fault that the model's validation found, as an issue; `root` is the model of the whole file."""
    loc: tuple[int | str, ...] = fault["loc"]
    where = f"{file} {place_of(loc)}"
    if fault["type"] == "extra_forbidden":
        return _unknown_key(loc, file, root)
    if fault["type"] == "missing":
        model = model_at(loc[:-1], root)
        meaning = model.model_fields[str(loc[-1])].description if model is not None else None
        what = "table" if len(loc) == 1 else "key"
        return Issue("config_missing_key", "stop", where, f"the {what} is missing", meaning or "it", "add it")
    found = shortened(f"{fault['input']!r}", 120)
    expected = str(fault["ctx"]["error"]) if fault["type"] == "value_error" else expected_by(fault)
    if fault["type"] == "value_error" and expected.startswith("a local file"):
        fix = "save the file beside the project file"
        if expected == REMOTE_RASTER:
            found, fix = (
                repr(str(fault["input"]).partition("?")[0]),
                fix + ", or give check, run or hazards --allow-remote",
            )
        return Issue("config_remote_path", "stop", where, found, expected, fix)
    return Issue("config_value", "stop", where, found, expected, "correct the value")


def expected_by(fault: Any) -> str:
    """What the key takes."""
    context = fault.get("ctx", {})
    match fault["type"]:
        case "literal_error":
            return str(context["expected"]).replace("'", '"')
        case "greater_than_equal":
            return f"at least {context['ge']:g}"
        case "less_than_equal":
            return f"at most {context['le']:g}"
        case "string_type" | "string_too_short":
            return "a text in quotes"
        case "string_too_long":
            return f"at most {context['max_length']} characters"
        case "float_type" | "int_type" | "finite_number":
            return "a number"
        case "model_type" | "dict_type" | "model_attributes_type":
            return "a table, such as { key = value }"
        case _:
            return str(fault["msg"]).removeprefix("Input should be ")


def _unknown_key(loc: tuple[int | str, ...], file: str, root: type[BaseModel]) -> Issue:
    key = shortened(str(loc[-1]))
    model = model_at(loc[:-1], root)
    known = tuple(model.model_fields) if model is not None else ()
    close = nearest(key, known)
    if len(loc) == 1:
        found, close_shown = f"unknown table [{key}]", f"[{close}]"
    else:
        found, close_shown = f"unknown key {key}", close
    expected = f"{close_shown} (the nearest known)" if close else "one of " + ", ".join(known)
    where = f"{file} {place_of(loc[:-1])}" if len(loc) > 1 else file
    return Issue("config_unknown_key", "stop", where, found, expected, "correct or remove it")
