"""Integer programs, solved by a library that is loaded with the first of them: half a second that few runs need."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike


class Rows(NamedTuple):
    """Linear conditions: `value` stands in row `row` and column `column` (one entry each); low <= sum <= high."""

    value: ArrayLike
    row: ArrayLike
    column: ArrayLike
    low: ArrayLike
    high: ArrayLike


def least_cost(
    costs: ArrayLike,
    integral: ArrayLike,
    bounds: tuple[ArrayLike, ArrayLike],
    conditions: Sequence[Rows],
    options: Mapping[str, Any],
) -> Any:
    """Values of least cost under the conditions, as `scipy.optimize.milp` answers."""
    from scipy import sparse
    from scipy.optimize import Bounds, LinearConstraint, milp

    width = len(np.asarray(costs))
    return milp(
        np.asarray(costs, dtype=float),
        integrality=integral,
        bounds=Bounds(*bounds),
        constraints=[
            LinearConstraint(
                sparse.csr_array((c.value, (c.row, c.column)), shape=(np.broadcast(c.low, c.high).size, width)),
                c.low,
                c.high,
            )
            for c in conditions
        ],
        options=dict(options),
    )
