"""What a lot map may be coloured by, and the classes of each view: colour, pattern, short mark, words, count.

Every class has a colour *and* a pattern (categories) or an ordered lightness (numbers), and a mark that is written on
the lot where there is room, so that no reader depends on hue. The palettes are published ones that were made for
colour-blind readers: "light" by P. Tol (categories) and YlGnBu by C. Brewer (numbers); both from memory.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from screener.columns import by_name
from screener.report.text import plain, texts

if TYPE_CHECKING:
    import pandas as pd

CATEGORY_COLOURS = ("#77aadd", "#ee8866", "#eedd88", "#ffaabb", "#44bb99", "#bbcc33", "#99ddff", "#aaaa00")
NUMBER_COLOURS = ("#ffffcc", "#c7e9b4", "#7fcdbb", "#41b6c4", "#2c7fb8", "#253494")
NOTHING_COLOUR = "#dddddd"
PATTERNS = 8
NOTHING_PATTERN = PATTERNS
PILE_SHARE = 0.2
"""A least value that this share of the lots has (level ground, say) is a class of its own."""


@dataclass(frozen=True)
class LotClass:
    """One class of a view. `pattern` 0 is plain; `dark` means that marks on it are written in white.

    A class of texts holds the lots whose column is `value` (blank: none), a class of numbers those from `low` up to,
    not including, `high`; NaN in a class of numbers: the lots without one.
    """

    words: str
    mark: str
    colour: str
    pattern: int
    count: int
    dark: bool = False
    value: str = ""
    low: float = math.nan
    high: float = math.nan

    @property
    def paint(self) -> str:
        """The SVG paint of the class."""
        return self.colour if self.pattern == 0 else f"url(#{self.pattern_id})"

    @property
    def pattern_id(self) -> str:
        return f"p{self.pattern}-{self.colour[1:]}"


@dataclass(frozen=True)
class View:
    """One way to colour the lots: classes, and the class of every lot (n,)."""

    key: str
    column: str
    name: str
    explains: str
    classes: tuple[LotClass, ...]
    of_lot: NDArray[np.int64]
    marks: tuple[str, ...] | None = None  # a mark of its own for every lot, else the class's

    @property
    def numbers(self) -> bool:
        """Whether the classes are ranges of numbers."""
        return self.key in _SHOW


_Category = tuple[str, str, int]  # words, mark, place in the palette
_EXPOSURE: dict[str, _Category] = {
    "B": ("B: rough ground all round", "B", 4),
    "C": ("C: open ground in at least one direction", "C", 2),
    "D": ("D: water or flat open ground in at least one direction", "D", 0),
}
_HAZARD: dict[str, _Category] = {
    "wind": ("wind", "W", 0),
    "seismic": ("seismic", "S", 1),
    "gravity": ("gravity", "G", 5),
}
_STATUS: dict[str, _Category] = {
    "screened": ("screened", "", 4),
    "refer": ("refer: package shown, an engineer must confirm", "R", 2),
    "no_hardware": ("no hardware: nothing on the list holds", "X", 1),
    "skipped": ("skipped: input unusable, no numbers", "–", 6),
}
_PERMIT: dict[str, _Category] = {
    "yes": ("inside the plan's master permit envelope", "", 4),
    "no": ("outside it: needs other paper", "O", 1),
}
_VIEWS: dict[str, tuple[str, str, str]] = {
    # key: (column, name, what it explains)
    "package": ("tier", "Package", "hardware package chosen for the lot"),
    "exposure": ("exposure", "Exposure", "screening exposure, worst wind direction, in the ground state assumed"),
    "kzt": ("kzt", "Kzt", "topographic factor, worst wind direction"),
    "wind": ("wind_speed_mph", "Wind speed", "basic wind speed in mph, Risk Category II"),
    "exposure margin": (
        "exposure_margin_ft",
        "Exposure margin",
        "feet by which the fetch limit behind the exposure is met or missed: the less, the nearer to another letter",
    ),
    "terrain margin": (
        "terrain_margin",
        "Terrain margin",
        "share by which the nearest condition for hill speed-up is met, or missed where negative; none on level ground",
    ),
    "sds": ("sds_g", "SDS", "design spectral acceleration at short period, in g"),
    "hazard": ("governing_hazard", "Governing hazard", "what drives the hardest-worked connection"),
    "status": ("status", "Status", "how far the lot could be screened"),
    "permit": ("inside_permit", "Master permit", "whether the envelope of the plan's sealed master set covers the lot"),
    "cost": ("total_cost", "Cost", "hardware material and labour of the lot, dollars"),
}
_FIXED: dict[str, dict[str, _Category]] = {
    "exposure": _EXPOSURE,
    "hazard": _HAZARD,
    "status": _STATUS,
    "permit": _PERMIT,
}
VIEW_KEYS = tuple(_VIEWS)


def view(lots: pd.DataFrame, by: str) -> View:
    """The classes of one view. `by` is one of `VIEW_KEYS` or the name of its column; ValueError names them."""
    key = next((k for k, (column, _, _) in _VIEWS.items() if by in (k, column)), None)
    if key is None:
        raise ValueError(f"no map by {by!r}; expected one of {', '.join(VIEW_KEYS)}")
    column, name, explains = _VIEWS[key]
    if key in _SHOW:
        values = lots[column].to_numpy(dtype=np.float64) if column in lots else np.full(len(lots), np.nan)
        values = values.round(by_name("lots")[column].decimals)  # as the tables hold it, so that all classes agree
        classes, of_lot = _number_classes(values, _SHOW[key], key in _LESS_IS_DARKER)
        marks = tuple(_MARK[key](v) if math.isfinite(v) else "" for v in values)
        return View(key, column, name, explains, classes, of_lot, marks)
    words = texts(lots[column], yes_no=key == "permit") if column in lots else [""] * len(lots)
    return View(key, column, name, explains, *_category_classes(words, _FIXED.get(key)))


def package_names(lots: pd.DataFrame) -> list[str]:
    """Packages in use, "package 2" before "package 10", then those with names of their own."""
    return sorted({t for t in texts(lots["tier"]) if t}, key=_package_order) if "tier" in lots else []


def _package_order(name: str) -> tuple[int, int, str]:
    number = re.fullmatch(r"package (\d{1,6})", name)
    return (0, int(number[1]), name) if number else (1, 0, name)


def _package_mark(name: str) -> str:
    number = re.search(r"(\d{1,3})$", name)
    if number:
        return number[1]
    initials = "".join(word[0] for word in re.findall(r"\w+", name)).upper()
    return initials[:2] or "?"


def _category_classes(
    words: list[str], fixed: dict[str, _Category] | None
) -> tuple[tuple[LotClass, ...], NDArray[np.int64]]:
    """Classes in a fixed order and their lots. Package colours repeat after eight, with another pattern."""
    counts: dict[str, int] = {}
    for word in words:
        counts[word] = counts.get(word, 0) + 1
    names = sorted((w for w in counts if w), key=_package_order)
    if fixed is not None:
        names = [w for w in fixed if w in counts] + [w for w in names if w not in fixed]
    classes: list[LotClass] = []
    place: dict[str, int] = {}
    for number, word in enumerate(names):
        shown, mark, at = (fixed or {}).get(word, (word, _package_mark(word), number))
        colour = CATEGORY_COLOURS[at % len(CATEGORY_COLOURS)]
        pattern = (at + at // len(CATEGORY_COLOURS)) % PATTERNS
        place[word] = len(classes)
        classes.append(LotClass(plain(shown), plain(mark), colour, pattern, counts[word], value=word))
    if "" in counts:
        place[""] = len(classes)
        classes.append(_nothing(counts[""]))
    return tuple(classes), np.array([place[w] for w in words], dtype=np.int64)


def _nothing(count: int) -> LotClass:
    return LotClass("none", "", NOTHING_COLOUR, NOTHING_PATTERN, count)


def _number_classes(
    values: NDArray[np.float64], show: Callable[[float, float], str], less_is_darker: bool = False
) -> tuple[tuple[LotClass, ...], NDArray[np.int64]]:
    """At most six classes by lightness: single values where there are few, else even steps of round numbers."""
    known = np.isfinite(values)
    of_lot = np.zeros(len(values), dtype=np.int64)
    edges, words = _steps(values[known], show)
    if len(edges):
        of_lot[known] = np.searchsorted(edges, np.round(values[known], 6), side="right") - 1
    of_lot[~known] = len(words)
    spread = np.linspace(0, len(NUMBER_COLOURS) - 1, max(len(words), 2)).round().astype(int)
    if less_is_darker:
        spread = spread[: max(len(words), 1)][::-1]
    counts = np.bincount(of_lot, minlength=len(words) + 1)
    ends = [*edges[1:], math.inf]
    classes = [
        LotClass(w, "", NUMBER_COLOURS[spread[k]], 0, int(counts[k]), bool(spread[k] >= 4), low=edges[k], high=ends[k])
        for k, w in enumerate(words)
    ]
    if not known.all():
        classes.append(_nothing(int(counts[len(words)])))
    return tuple(classes), of_lot


def _steps(values: NDArray[np.float64], show: Callable[[float, float], str]) -> tuple[list[float], list[str]]:
    """Lower edges of the classes, and their words."""
    if not len(values):
        return [], []
    distinct, count = np.unique(np.round(values, 6), return_counts=True)
    if len(distinct) <= len(NUMBER_COLOURS):
        finest = float(np.diff(distinct).min()) if len(distinct) > 1 else 1.0
        return [float(v) for v in distinct], [show(float(v), finest) for v in distinct]
    pile = count[0] >= PILE_SHARE * len(values)
    low, high = float(distinct[1] if pile else distinct[0]), float(distinct[-1])
    step = _round_step((high - low) / (len(NUMBER_COLOURS) - 1 - pile))
    first = math.floor(low / step + 1e-9) * step
    edges = [round(first + k * step, 9) for k in range(math.ceil((high - first) / step + 1e-9))]
    words = [f"{show(e, step)} to {show(e + step, step)}" for e in edges]
    if pile:
        least = float(distinct[0])
        edges = [least, *[max(e, math.nextafter(least, math.inf)) for e in edges if e + step > least]]
        words = [show(least, step), *words[len(words) - len(edges) + 1 :]]
        words[1] = f"over {show(max(least, first), step)} to {show(first + step, step)}"
    return edges, words


def _round_step(wanted: float) -> float:
    """The least of 1, 2, 2.5, 5 times a power of ten that is not below `wanted`."""
    power = 10.0 ** math.floor(math.log10(wanted))
    return next(m * power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * power >= wanted * (1 - 1e-9))


def _decimals(step: float, most: int) -> int:
    return next((d for d in range(most) if abs(round(step, d) - step) < 1e-9), most)


_SHOW: dict[str, Callable[[float, float], str]] = {
    "kzt": lambda v, step: f"{v:.{max(2, _decimals(step, 3))}f}",
    "wind": lambda v, step: f"{v:.{_decimals(step, 1)}f} mph",
    "cost": lambda v, step: f"${v:,.{0 if step >= 1 else 2}f}",
    "sds": lambda v, step: f"{v:.{max(2, _decimals(step, 3))}f} g",
    "exposure margin": lambda v, step: f"{v:,.0f} ft",
    "terrain margin": lambda v, step: f"{100 * v:.{0 if step >= 0.01 else 1}f} %",
}
_LESS_IS_DARKER = ("exposure margin", "terrain margin")
_MARK: dict[str, Callable[[float], str]] = {
    "kzt": lambda v: f"{v:.2f}",
    "wind": lambda v: f"{v:.0f}",
    "cost": lambda v: f"{v / 1000:.1f}k",
    "sds": lambda v: f"{v:.2f}",
    "exposure margin": lambda v: f"{v:.0f}",
    "terrain margin": lambda v: f"{100 * v:.0f}%",
}


def all_views(lots: pd.DataFrame) -> list[View]:
    """Every view of the lots, the package first."""
    return [view(lots, key) for key in VIEW_KEYS]


def patterns(views: list[View]) -> list[LotClass]:
    """One class for every pattern that the views need, in a fixed order."""
    found: dict[str, Any] = {c.pattern_id: c for v in views for c in v.classes if c.pattern}
    return [found[key] for key in sorted(found)]
