"""What each hazard source holds: its quantity, unit, band, date and how to interpolate it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hazard.standards.tables import load_table, value

Floats = NDArray[np.float64]

INTERPOLATIONS = ("bilinear", "ln_bilinear", "nearest")
OVER_LOT = ("middle", "mean", "governing")


@dataclass(frozen=True)
class Quantity:
    """A kind of value: the unit used inside, its physical range, and the interpolation rule of its rasters.

    `governs` says whether the greatest or the least value gives the larger load ("" for classes).
    """

    name: str
    own_unit: str
    least: float
    greatest: float
    zero_possible: bool
    interpolation: str
    tile_tolerance: float
    lot_tolerance: float
    governs: str
    meaning: str

    @property
    def is_class(self) -> bool:
        """Whether values are class codes, which must never be averaged."""
        return self.interpolation == "nearest"

    def in_range(self, values: ArrayLike) -> NDArray[np.bool_]:
        """Which values (own unit) are physically possible."""
        given: Floats = np.asarray(values, dtype=np.float64)
        possible = (given >= self.least) & (given <= self.greatest)
        return possible if self.zero_possible else possible & (given != 0)

    def range_text(self) -> str:
        """The range in words."""
        return f"{self.least:g} to {self.greatest:g} {self.own_unit}".rstrip()


@dataclass(frozen=True)
class Layer:
    """A raster as the project file declares it: one file, or tiles of one raster in any order.

    `units` "" means the file's own unit tag, else the quantity's own unit. `band` None is right for one-band files.
    `interpolation` "" means the quantity's own rule. `dated` and `edition` are echoed, not interpreted. `model`
    "bare earth" or "surface" is what the project file says of an elevation; "" where it does not say. `over_lot` says
    which value a lot takes that is far larger than a cell: the one at its middle, the mean, or the governing one.
    """

    file: str | Path | tuple[str | Path, ...]
    quantity: str
    units: str = ""
    band: int | None = None
    dated: str = ""
    edition: str = ""
    interpolation: str = ""
    allow_remote: bool = False
    model: str = ""
    over_lot: str = "middle"

    def __post_init__(self) -> None:
        if not self.files:
            raise ValueError(f"{self.quantity} has an empty list of files; expected at least one")
        _check(self.quantity, self.units)
        if self.interpolation and self.interpolation not in INTERPOLATIONS:
            raise ValueError(f"interpolation {self.interpolation!r}; expected one of {', '.join(INTERPOLATIONS)}")
        if quantity(self.quantity).is_class and self.interpolation not in ("", "nearest"):
            raise ValueError(f"{self.quantity} holds classes and can't be interpolated; expected nearest")
        if self.over_lot not in OVER_LOT:
            raise ValueError(f"over_lot {self.over_lot!r}; expected one of {', '.join(OVER_LOT)}")

    @property
    def files(self) -> tuple[str | Path, ...]:
        """Its files, each once, sorted by name: the order in which they were given never matters."""
        given = self.file if isinstance(self.file, tuple) else (self.file,)
        return tuple(sorted(dict.fromkeys(given), key=lambda file: (file_name(file), str(file))))

    @property
    def name(self) -> str:
        """The file's name, for messages; of several tiles the first one's, and how many more there are."""
        files = self.files
        return file_name(files[0]) + (f" and {len(files) - 1} more" if len(files) > 1 else "")

    def tiles(self) -> list[Layer]:
        """One layer a file."""
        return [replace(self, file=file) for file in self.files]

    def rule(self) -> str:
        """The interpolation rule that applies."""
        return self.interpolation or quantity(self.quantity).interpolation


@dataclass(frozen=True)
class Constant:
    """One value for every lot, as the project file states it (a number, or text such as a site class)."""

    value: float | str
    quantity: str
    units: str = ""

    def __post_init__(self) -> None:
        if self.quantity != "site_class":
            _check(self.quantity, self.units)


@dataclass(frozen=True)
class Column:
    """One value per lot, from a column of the lots layer; NaN or "" where a lot has none."""

    values: NDArray[Any]
    name: str
    quantity: str
    units: str = ""

    def __post_init__(self) -> None:
        if self.quantity != "site_class":
            _check(self.quantity, self.units)


Source = Layer | Constant | Column


def file_name(file: str | Path) -> str:
    """The last part of a path or address, without the query of an address (it may hold a secret)."""
    text = str(file).replace("\\", "/")
    return (text.partition("?")[0] if "://" in text else text).rsplit("/", 1)[-1]


def quantity(name: str) -> Quantity:
    """The declaration of a quantity by its name."""
    table = load_table("quantities.csv")
    cell = partial(value, table, quantity=name)
    unit, rule, governs, meaning = (str(cell(key)) for key in ("own_unit", "interpolation", "governs", "meaning"))
    least, greatest = float(cell("least")), float(cell("greatest"))
    tolerances = float(cell("tile_tolerance")), float(cell("lot_tolerance"))
    return Quantity(name, unit, least, greatest, cell("zero_possible") == "yes", rule, *tolerances, governs, meaning)


def unit_name(written: str) -> str:
    """Our name of a unit however it is written ("metre", "M/S", "US survey foot"); "" if not known."""
    wanted = written.strip().casefold()
    table = load_table("units.csv")
    for unit, also in zip(table["unit"], table["also_written"], strict=True):
        if wanted in {str(unit).casefold(), *str(also).casefold().split("|")} - {""}:
            return str(unit)
    return ""


def conversion_factor(units: str, own_unit: str) -> float:
    """What to multiply a value in `units` by to have it in `own_unit`; an error if they measure different things."""
    name = unit_name(units)
    table = load_table("units.csv")
    legal = [str(unit) for unit, own in zip(table["unit"], table["own_unit"], strict=True) if own == own_unit]
    if name not in legal:
        raise ValueError(f"unit {units!r}; expected one of {', '.join(legal) or 'no unit'}")
    return float(value(table, "numerator", unit=name)) / float(value(table, "denominator", unit=name))


def to_own_unit(values: ArrayLike, quantity_name: str, units: str) -> Floats:
    """Values in the unit given ("" = already the quantity's own), in the quantity's own unit."""
    given: Floats = np.asarray(values, dtype=np.float64)
    own_unit = quantity(quantity_name).own_unit
    if not units or unit_name(units) == own_unit:
        return given
    return given * conversion_factor(units, own_unit)


def likely_units(values: ArrayLike, quantity_name: str, units: str) -> list[str]:
    """Other units in which raw values would all be physically possible, if the unit given was wrong."""
    declared = quantity(quantity_name)
    table = load_table("units.csv")
    raw: Floats = np.asarray(values, dtype=np.float64)
    current = unit_name(units) or declared.own_unit
    others = [str(u) for u, own in zip(table["unit"], table["own_unit"], strict=True) if own == declared.own_unit]
    return [
        unit
        for unit in others
        if unit != current and declared.in_range(raw * conversion_factor(unit, declared.own_unit)).all()
    ]


def _check(quantity_name: str, units: str) -> None:
    """Refuse an unknown quantity, or a unit that does not measure it."""
    declared = quantity(quantity_name)
    if units:
        conversion_factor(units, declared.own_unit)
