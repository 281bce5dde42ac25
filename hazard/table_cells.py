"""Reading single cells of tables from outside: numbers, sizes, yes or no, text; and where in a file a cell stands.

A number cell holds a plain decimal number and nothing else. What a spreadsheet or a habit adds (units, thousands
separators, percent and currency signs, dates made of sizes, formulas) is refused with a suggestion, never guessed.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from hazard.issues import Issues

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
THICKEST_IN = 4
LONGEST_NUMBER = 60
"""Characters of a number: a double has 17 digits; longer texts are no numbers that anybody measured."""
_INFINITE = re.compile(r"[+-]?(?:inf(?:inity)?|nan|1\.#(?:inf|ind|qnan)\w*)", re.IGNORECASE)
_MONTH = (
    "(?:jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?"
    "|nov(?:ember)?|dec(?:ember)?)"
)
_DATE = re.compile(
    rf"\d{{1,2}}[-/ .]{_MONTH}(?:[-/ .]\d{{2,4}})?|{_MONTH}[-/ .]\d{{1,4}}|"
    r"(?:19|20)\d\d-\d{1,2}-\d{1,2}(?: 0{1,2}:00(?::00)?)?|\d{1,2}/\d{1,2}/(?:19|20)?\d\d",
    re.IGNORECASE | re.ASCII,
)
"""`8-Mar`, `Mar-08`, `8-Mar-24`, `2024-03-08`, `3/8/2024`: what spreadsheets make of `3/8`. Whole cells only."""
_FRACTION = re.compile(r"(?:(?P<whole>\d{1,4})[ -])?(?P<top>\d{1,4})/(?P<bottom>[1-9]\d{0,3})", re.ASCII)
_FEET_INCHES = re.compile(r"(?P<feet>\d{1,6})'\s*-?\s*(?P<inches>\d{1,6}(?:\.\d{1,6})?)?\"?", re.ASCII)
_SERIAL = re.compile(r"[34]\d{4}", re.ASCII)
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

# Letters of other alphabets that look like Latin ones: the pairs most often met in names typed on mixed keyboards.
_LOOK_ALIKES = str.maketrans("АВЕКМНОРСТУХаеорсухіјѕΑΒΕΖΗΙΚΜΝΟΡΤΥΧο", "ABEKMHOPCTYXaeopcyxijsABEZHIKMNOPTYXo")
_INVISIBLE = {"Cf", "Cc", "Zl", "Zp"}


class CellError(ValueError):
    """A cell that can't be read: what was found, what was expected, how to mend it. `code` lacks the table's prefix."""

    def __init__(self, code: str, found: str, expected: str, fix: str = "write it so and run again") -> None:
        super().__init__(found)
        self.code, self.found, self.expected, self.fix = code, found, expected, fix


def clean_text(cell: str) -> str:
    """Text without control and zero-width characters, in one Unicode form, look-alike letters made Latin."""
    text = re.sub(r"\s", " ", unicodedata.normalize("NFKC", cell))
    text = "".join(c for c in text if unicodedata.category(c) not in _INVISIBLE)
    return " ".join(text.translate(_LOOK_ALIKES).split())


def looks_like_date(text: str) -> bool:
    """Whether a spreadsheet seems to have made a date of a size: `3/8` becomes `8-Mar`."""
    return _DATE.fullmatch(text.strip()) is not None


def looks_like_number(text: str) -> bool:
    """Whether a name would be taken for a number by a spreadsheet: `1E5`."""
    return _NUMBER.fullmatch(text.strip()) is not None


def looks_like_serial(text: str) -> bool:
    """Whether a spreadsheet may have made a day number of a size or name: `45359` is 2024-03-08."""
    return _SERIAL.fullmatch(text.strip()) is not None


def shortened(text: str, most: int = 60) -> str:
    """A text for a message: its beginning, where it is long."""
    return text if len(text) <= most else f"{text[: most - 3]}..."


def read_number(cell: str, unit: str) -> float:
    """A finite number, or a CellError that says what the cell may have meant."""
    text = cell.strip()
    expected = f"a plain number{f' of {unit}' if unit else ''}"
    if len(text) > LONGEST_NUMBER:
        raise CellError("NOT_A_NUMBER", f"`{shortened(text)}`, {len(text):,} characters", expected)
    if _NUMBER.fullmatch(text):
        value = float(text)
        if math.isfinite(value):
            return value
        raise CellError("NOT_FINITE", f"`{text}` is too large for a number", "a finite number")
    if _INFINITE.fullmatch(text):
        raise CellError("NOT_FINITE", f"`{text}`", "a finite number", "leave the cell blank for no capacity")
    raise CellError("NOT_A_NUMBER", f"`{text}`", expected, _suggestion(text))


def read_size(cell: str) -> str:
    """A panel thickness as the fraction that names it: `7/16`, also from `0.4375` or `0.4375 `."""
    text = cell.strip()
    if looks_like_date(text) or looks_like_serial(text):
        raise CellError(
            "DATE",
            f"`{text}`: a spreadsheet made a date of a size",
            "a size such as 3/8",
            "format the column as text, or write the size as a decimal",
        )
    is_fraction = _FRACTION.fullmatch(text) is not None
    size = _fraction(text) if is_fraction else Fraction(read_number(text, "in")).limit_denominator(64)
    if not 0 < size <= THICKEST_IN:
        raise CellError("RANGE", f"`{text}`", f"inches above 0, at most {THICKEST_IN}")
    return text if is_fraction else str(size)


def _fraction(text: str) -> Fraction:
    """`7/16`, or with a whole number before it, `1 1/8` and `1-1/8`."""
    match = _FRACTION.match(text)
    assert match is not None
    return int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"]))


def size_in(size: str) -> float:
    """A size in inches: `15/32` is 0.46875, `1 1/8` is 1.125."""
    return float(_fraction(size) if _FRACTION.fullmatch(size) else Fraction(size))


def read_yes_no(cell: str) -> bool:
    """Yes or no, written `yes`, `no`, `y`, `n`, `true` or `false`."""
    text = cell.strip().lower()
    if text in ("yes", "y", "true"):
        return True
    if text in ("no", "n", "false"):
        return False
    raise CellError("CHOICE", f"`{cell.strip()}`", "yes or no")


def _suggestion(text: str) -> str:
    """What to write instead of a cell that is nearly a number."""
    if text.endswith("%"):
        rest = text[:-1].strip()
        if _NUMBER.fullmatch(rest):
            return f"no percent signs here: write {float(rest) / 100:g} if {text} is meant"
    if text[:1] in "=@":
        return "formulas are not read: paste the value"
    if text[:1] in "$€£":
        return f"no currency signs: write {text[1:].strip()}"
    if re.fullmatch(r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?", text):
        return (
            f"ambiguous: write {text.replace(',', '')} if the comma parts thousands, a point if it is a decimal comma"
        )
    if re.fullmatch(r"[+-]?\d+,\d+", text):
        return (
            f"ambiguous: write {text.replace(',', '.')} if the comma is a decimal comma, {text.replace(',', '')} if not"
        )
    if _FEET_INCHES.fullmatch(text):
        match = _FEET_INCHES.fullmatch(text)
        inches = 12 * float(match["feet"]) + float(match["inches"] or 0) if match else 0.0
        return f"no feet and inches: write {inches:g} in the unit of the column's name"
    if _FRACTION.match(text):
        return f"no fractions here: write {float(_fraction(text)):g}"
    number = _NUMBER.match(text)
    if number:
        return f"no units in the cell: write {number.group()} if it is in the unit of the column's name"
    return "write a number, or leave the cell blank for none"


@dataclass(frozen=True)
class Place:
    """Where in the file something was found, for the issues reported about it."""

    where: str
    issues: Issues
    prefix: str = "HARDWARE"  # of the codes of cell errors

    def stop(self, code: str, found: str, expected: str, done: str) -> None:
        """Report a fault that forbids going on."""
        self.issues.add(code, "stop", self.where, found, expected, done)

    def cell(self, name: str, error: CellError) -> None:
        """Report a cell that can't be read."""
        self.stop(f"{self.prefix}_{error.code}", f"{name} {error.found}", error.expected, error.fix)

    def skip(self, code: str, found: str, expected: str, done: str) -> None:
        """Report a row that is left out."""
        self.issues.add(code, "skip", self.where, found, expected, done)

    def fix(self, code: str, found: str, expected: str, done: str) -> None:
        """Report a repair."""
        self.issues.add(code, "fix", self.where, found, expected, done)

    def warn(self, code: str, found: str, expected: str, done: str) -> None:
        """Report something used with doubt."""
        self.issues.add(code, "warn", self.where, found, expected, done)

    def note(self, code: str, found: str, expected: str, done: str) -> None:
        """Report something worth knowing."""
        self.issues.add(code, "note", self.where, found, expected, done)


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word that is nearest, or all of them: what a misspelt name was probably meant to be."""
    words = tuple(known)
    near = difflib.get_close_matches(word, words, 1)
    return f"`{near[0]}`" if near else f"one of {', '.join(words)}"
