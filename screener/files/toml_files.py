"""The one way from a TOML file to its values: encoding, size, depth, numbers and unseen characters looked at first.

Project, plans and scenarios are read here, so that each gets the same rules. What TOML's own text allows but no
reader of ours can use (numbers beyond 64 bits, tables inside tables without end, texts of megabytes) is a stop that
names the key. Characters that are not seen, and letters that only look Latin in a name, are told.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from hazard.issues import Issues
from hazard.table_cells import clean_text, shortened

MOST_BYTES = 2**20
"""A plan of a house is some 10 KB. The parser's cost grows with the square of how deep a key is dotted."""

DEEPEST = 24
LONGEST_TEXT = 10_000
LONGEST_KEY = 200
GREATEST_WHOLE = 2**63
_PART = r"(?:[\w-]++|\"[^\"\n]*+\"|'[^'\n]*+')"
_DOTTED = re.compile(rf"(?<![\w-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{50}}")
"""A key of more than fifty parts: refused before the parser takes gigabytes for it."""

OTHER_FORMS = (".yaml", ".yml", ".json", ".ini", ".xml")
UNSEEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u200b-\u200f\u2028-\u202e\u2060-\u2064\u2066-\u2069\ufeff]")
"""Control characters but tab and line end, and characters that take no room or turn the writing direction."""

Values = dict[str, Any]


def read_toml(path: Path, issues: Issues, prefix: str, what: str, name: str = "") -> Values | None:
    """The values of a file, or None with the fault reported. `prefix` begins the issues' codes; `what` is expected.

    Texts and keys lose unseen characters, with a warning.
    """
    shown = name or path.name

    def stop(code: str, found: str, expected: str, done: str) -> None:
        issues.add(f"{prefix}_{code}", "stop", shown, found, expected, done)

    if path.suffix.lower() in OTHER_FORMS:
        found = f"a {path.suffix.lower()[1:].upper()} file"
        stop("syntax", found, what, "write it as TOML; no other form is read")
        return None
    try:
        if path.exists() and not path.is_file():
            stop("unreadable", "no ordinary file", what, "check the path")
            return None
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            found = f"{path.stat().st_size / 2**20:,.0f} MiB"
            stop("too_large", found, f"at most {MOST_BYTES // 2**20} MiB", "is this the right file?")
            return None
        text = path.read_bytes().decode("utf-8-sig")
        if _DOTTED.search(text):
            stop("syntax", "a key of more than 50 parts", f"at most {DEEPEST}", "correct it")
            return None
        values = tomllib.loads(text)
    except OSError as error:
        stop("unreadable", error.strerror or "can't be read", what, "check the path")
        return None
    except UnicodeDecodeError as error:
        stop("encoding", f"byte {error.start} is not UTF-8", "UTF-8 text", "save the file as UTF-8")
        return None
    except RecursionError:
        stop("syntax", "brackets inside brackets without end", f"at most {DEEPEST} deep", "correct it")
        return None
    except ValueError as error:  # TOML's own faults, and numbers of thousands of digits
        stop("syntax", shortened(str(error), 200), "TOML", "correct the line named")
        return None
    return _seen(values, shown, issues, prefix)


def _seen(values: Values, name: str, issues: Issues, prefix: str) -> Values | None:
    """The values without unseen characters; None where one can't be used at all."""
    before = len(issues.stops())
    for key, found, expected in _faults(values):
        issues.add(f"{prefix}_value", "stop", f"{name} {key}", found, expected, "correct it")
    if len(issues.stops()) > before:
        return None
    for key, found, done in _strange(values, ""):
        issues.add(f"{prefix}_characters", "warn", f"{name} {key}", found, "plain letters", done)
    try:
        cleaned: Values = _cleaned(values)
    except KeyError as error:
        found = f"keys that differ only in characters that are not seen: {shortened(str(error.args[0]))}"
        issues.add(f"{prefix}_value", "stop", name, found, "each key once", "correct it")
        return None
    return cleaned


def _faults(values: Values) -> Iterator[tuple[str, str, str]]:
    """Values that nothing can take; an own stack, since they may lie deeper than calls can go."""
    stack: list[tuple[str, Any, int]] = [("", values, 0)]
    while stack:
        key, value, depth = stack.pop()
        if depth > DEEPEST:
            yield _key(key), f"tables inside tables, more than {DEEPEST} deep", "a plan or project key"
            return
        if isinstance(value, dict):
            for inner in value:
                if len(inner) > LONGEST_KEY:
                    yield _key(key), f"a key of {len(inner):,} characters", f"at most {LONGEST_KEY}"
                    return
                stack.append((f"{key}.{inner}" if key else inner, value[inner], depth + 1))
        elif isinstance(value, list):
            stack.extend((f"{key}[{k}]", each, depth + 1) for k, each in enumerate(value))
        elif isinstance(value, str) and len(value) > LONGEST_TEXT:
            yield _key(key), f"a text of {len(value):,} characters", f"at most {LONGEST_TEXT:,}"
        elif isinstance(value, int) and not isinstance(value, bool) and abs(value) >= GREATEST_WHOLE:
            yield _key(key), "a whole number beyond 64 bits", "a smaller one (TOML's own limit)"


def _key(key: str) -> str:
    return shortened(UNSEEN.sub("\ufffd", key), 120) or "top"


def _strange(value: Any, key: str) -> Iterator[tuple[str, str, str]]:
    """Texts and keys with unseen characters, and names of mixed alphabets."""
    if isinstance(value, dict):
        for inner, each in value.items():
            here = f"{key}.{inner}" if key else inner
            if UNSEEN.search(inner):
                yield _key(here), f"key {shortened(ascii(inner))} holds characters that are not seen", "read without"
            yield from _strange(each, here)
    elif isinstance(value, list):
        for k, each in enumerate(value):
            yield from _strange(each, f"{key}[{k}]")
    elif isinstance(value, str):
        if UNSEEN.search(value):
            yield _key(key), f"{shortened(ascii(value))} holds characters that are not seen", "read without them"
        elif value != clean_text(value) and _mixed(value):
            yield _key(key), f"{shortened(ascii(value))} mixes letters of two alphabets", "kept as written"


def _mixed(text: str) -> bool:
    """Whether one word has Latin letters and Greek or Cyrillic ones: they look alike and are not the same."""
    for word in text.split():
        alphabets = {unicodedata.name(c, "").partition(" ")[0] for c in word if c.isalpha()}
        if "LATIN" in alphabets and alphabets & {"CYRILLIC", "GREEK"}:
            return True
    return False


def _cleaned(value: Any) -> Any:
    if isinstance(value, dict):
        out: Values = {}
        for key, each in value.items():
            plain = UNSEEN.sub("", key)
            if plain in out:
                raise KeyError(plain)
            out[plain] = _cleaned(each)
        return out
    if isinstance(value, list):
        return [_cleaned(each) for each in value]
    return unicodedata.normalize("NFC", UNSEEN.sub("", value)) if isinstance(value, str) else value
