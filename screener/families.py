"""Families of hardware: which connection each serves, in which directions it is loaded, how it may be arranged."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from screener.standards.wood_tables import table_rows

SERVES_ALSO: dict[str, str] = {"retrofit_anchor": "sill_anchor"}
"""A row of the first family is also an option where the second is needed."""


@dataclass(frozen=True)
class Component:
    """One load component of a connection: `uplift_lb`, `shear_plf` ...

    `direction` is the load column of a listed row that resists it; `action` what a computed fastener does then;
    `angle_deg` the angle of that load to the grain.
    """

    name: str
    direction: str
    action: str
    angle_deg: float = 0.0


@dataclass(frozen=True)
class Family:
    """A kind of connection. `measure` is "each", "per_ft" or "area" (or "each" with no components: an accessory)."""

    key: str
    words: str
    measure: str
    components: tuple[Component, ...]
    pieces: tuple[int, ...]  # choices of pieces per connection; (1,) where spaced or scheduled
    spacings_in: tuple[float, ...]  # choices of spacing, widest first; empty unless per_ft
    default_drop: str
    concrete: bool  # the connection ends in concrete
    code_spacing_in: float  # greatest spacing of the code; NaN where there is none
    source: str

    @property
    def component_names(self) -> tuple[str, ...]:
        """The load components in order."""
        return tuple(component.name for component in self.components)


@cache
def families() -> dict[str, Family]:
    """Every family by its key, in load-path order from roof to foundation."""
    return {row["key"]: _family(dict(row)) for row in table_rows("families.csv")}


def family(key: str) -> Family:
    """One family; an unknown key is an error that lists the known ones."""
    try:
        return families()[key]
    except KeyError:
        raise LookupError(f"hardware family {key!r} is unknown; expected one of {', '.join(families())}") from None


def _family(row: dict[str, str]) -> Family:
    choices = () if row["choices"] == "schedule" else tuple(float(c) for c in row["choices"].split(";"))
    spaced = row["measure"] == "per_ft"
    return Family(
        row["key"],
        row["words"],
        row["measure"],
        tuple(_component(text) for text in row["components"].split()),
        (1,) if spaced or not choices else tuple(int(c) for c in choices),
        choices if spaced else (),
        row["default_drop"],
        row["concrete"] == "yes",
        float(row["code_spacing_in"] or np.nan),
        row["source"],
    )


def _component(text: str) -> Component:
    name, how = text.split("=")
    direction, action = how.split(":")
    action, _, angle = action.partition("@")
    return Component(name, direction, action, float(angle or 0.0))
