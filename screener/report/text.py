"""Text from lots and lists as a report may show it. Escaping itself is left to one place for each format."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable
from typing import Any

import pandas as pd
from markupsafe import Markup

from screener.units import cents, dollars_text

# Control characters have no place in HTML or XML; characters that turn the reading direction could disguise a name.
_UNWANTED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069\ufffe\uffff]")


def plain(value: Any) -> str:
    """A value as text for a page: no control characters, nothing that can't be written as UTF-8; blank for missing."""
    if value is None or bool(pd.isna(value)):
        return ""
    return _UNWANTED.sub("", str(value)).encode("utf-8", "replace").decode("utf-8")


def texts(values: Iterable[Any], yes_no: bool = False) -> list[str]:
    """A column as texts, blank where missing; yes and no for truth values."""
    shown = [plain(v) for v in values]
    if not yes_no:
        return shown
    words = {"True": "yes", "False": "no", "1": "yes", "0": "no", "1.0": "yes", "0.0": "no"}
    return [words.get(v, v) for v in shown]


def whole_dollars(amount: float | None) -> str:
    """Dollars for a reader, without cents."""
    if amount is None or not math.isfinite(amount):
        return "–"
    return dollars_text(cents(round(amount)))[:-3]


def cents_as_dollars(amount: int | None) -> str:
    """Whole cents as dollars without cents."""
    return "–" if amount is None else whole_dollars(amount / 100)


def counted(number: int, one: str, many: str = "") -> str:
    """1 lot, 2 lots."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def script_json(value: Any) -> Markup:
    """JSON for a data block in HTML: nothing in it can end the block or begin markup."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for character in "<>&'":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)  # escaped above; this is the one place
