"""TOML that comes from outside: parsed within bounds of size and depth, every fault one kind of error."""

from __future__ import annotations

import re
import tomllib
from typing import Any

LARGEST_BYTES = 1024**2  # a plan of the sample has 7,000; the parser takes about a second for a million
DEEPEST = 40  # tables within tables; a plan has five
_TOO_DEEP = f"lists or tables nested more than {DEEPEST} deep"
_PART = r"""(?>[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')"""
_LONG_KEY = re.compile(rf"(?<![A-Za-z0-9_-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{DEEPEST}}}")


def parse_toml(text: str) -> dict[str, Any]:
    """The tables of a TOML text. Raises tomllib.TOMLDecodeError for whatever is wrong with it.

    The standard parser says so itself for most faults; nested beyond the recursion limit, or with a number of thousands
    of digits, it raises errors of other kinds.
    """
    if len(text) > LARGEST_BYTES:
        raise tomllib.TOMLDecodeError(f"{len(text):,} characters; at most {LARGEST_BYTES:,} are read")
    if _LONG_KEY.search(text):  # the parser takes quadratic time and memory for such
        raise tomllib.TOMLDecodeError(_TOO_DEEP)
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except RecursionError:
        raise tomllib.TOMLDecodeError(_TOO_DEEP) from None
    except ValueError as error:
        raise tomllib.TOMLDecodeError(str(error)) from None
    if _deeper(values, DEEPEST):
        raise tomllib.TOMLDecodeError(_TOO_DEEP)
    return values


def _deeper(values: dict[str, Any], most: int) -> bool:
    """Whether lists and tables are nested more than so deep. Dotted keys nest without any recursion of the parser."""
    level: list[Any] = [values]
    for _ in range(most):
        level = [inner for value in level for inner in (value.values() if isinstance(value, dict) else value)]
        level = [value for value in level if isinstance(value, dict | list)]
        if not level:
            return False
    return True
