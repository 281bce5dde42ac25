"""How long work asks for a part of it: kept by an earlier, killed run of the same inputs, or made now.

The pipeline knows no files; `screener.files.kept_parts` keeps parts on the disk. `anew` keeps nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol, TypeVar

from hazard.issues import Issues

T = TypeVar("T")


class Keep(Protocol):
    """Gives the value of a part, by `make` where no earlier run has kept it.

    `name` is unique in a run. A part depends on nothing but the run's inputs, settings and versions. `classes`: the
    data classes that its value may hold, beside plain values and arrays. `issues`: where `make` adds what it finds;
    a kept part adds the same again.
    """

    def __call__(
        self, name: str, make: Callable[[], T], classes: Sequence[type[Any]] = (), issues: Issues | None = None
    ) -> T: ...


def anew(name: str, make: Callable[[], T], classes: Sequence[type[Any]] = (), issues: Issues | None = None) -> T:
    """Keep nothing: make every part."""
    return make()
