"""Spikes, pits and filled voids of an elevation are left out and told; cliffs, mesas and plains stay."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from raster_helpers import EAST, NORTH, NORTH_UP, UTM, write

from hazard.elevation_faults import jump_ft, without_spikes
from hazard.issues import Issues
from hazard.layers import Layer
from hazard.rasters import read_window

CELL_FT = 33.0
SIZE = 60


def hills() -> np.ndarray:
    rows, columns = np.mgrid[:SIZE, :SIZE]
    return 500.0 + 80.0 * np.sin(rows / 9.0) + 60.0 * np.cos(columns / 7.0)


def left_out(z: np.ndarray, valid: np.ndarray | None = None) -> tuple[set[tuple[int, int]], list[str]]:
    """Cells left out, and what was told."""
    known = np.ones(z.shape, dtype=bool) if valid is None else valid
    issues = Issues()
    kept = without_spikes(z, known, CELL_FT, "e.tif", issues)
    return {(int(r), int(c)) for r, c in np.argwhere(known & ~kept)}, [i.found for i in issues]


def test_ground_is_left_alone() -> None:
    assert left_out(hills()) == (set(), [])
    assert jump_ft(CELL_FT) == 132.0


@pytest.mark.parametrize("value", [9999.0, -250.0, 700.0 + 132.0])
@pytest.mark.parametrize("cells", [[(20, 30)], [(20, 30), (20, 31)], [(20, 30), (21, 31), (22, 32)]])
def test_a_few_cells_far_from_all_ground_are_left_out(value: float, cells: list[tuple[int, int]]) -> None:
    z = hills()
    for k, cell in enumerate(cells):
        z[cell] = value + k
    found, told = left_out(z)
    assert found == set(cells)
    assert told[0].startswith(f"{len(cells)} cells stand more than 132 ft above or below all ground around them")


def test_a_void_filled_with_one_number_is_left_out_whatever_its_size() -> None:
    z = hills()
    z[10:40, 15:50] = 0.0
    found, _ = left_out(z)
    assert found == {(r, c) for r in range(10, 40) for c in range(15, 50)}


def test_cliffs_and_mesas_stay() -> None:
    """Ground that goes on behind a cliff is ground; so is a mesa with cliffs on all sides, being uneven on top."""
    z = hills()
    z[:, 30:] += 400.0
    assert left_out(z) == (set(), [])
    z = hills()
    z[20:30, 20:30] += 400.0
    assert left_out(z) == (set(), [])


def test_what_meets_the_edge_of_the_piece_stays() -> None:
    """Beyond the edge it may go on."""
    z = hills()
    z[0, 5], z[30, SIZE - 1] = 9999.0, 9999.0
    assert left_out(z)[0] == set()


def test_a_spike_beside_cells_without_data() -> None:
    z, valid = hills(), np.ones((SIZE, SIZE), dtype=bool)
    valid[20:23, 20:23] = False
    z[~valid] = np.nan
    valid[21, 21], z[21, 23] = True, 9999.0
    z[21, 21] = 510.0
    assert left_out(z, valid)[0] == {(21, 23)}


def test_a_large_plateau_is_passed_over_quickly() -> None:
    """Cells are gathered once: a checkerboard of cliffs on a million cells is work of a second, not of an hour."""
    z = np.zeros((1000, 1000))
    z[::50] = 300.0
    z[:, ::50] = 300.0
    kept = without_spikes(z, np.ones(z.shape, dtype=bool), CELL_FT, "e.tif", Issues())
    assert not kept[25, 25]  # squares of 49 cells, all of one height, cut off on all sides
    assert kept[0, 0]


def test_read_rasters_are_looked_at(tmp_path: Path) -> None:
    z = hills()
    z[20, 20] = 9999.0
    issues = Issues()
    box = (EAST + 300, NORTH - 900, EAST + 900, NORTH - 300)
    piece = read_window(Layer(write(tmp_path / "e.tif", z, NORTH_UP), "elevation_ft"), box, UTM, 0.0, issues)
    assert [(i.code, i.severity) for i in issues if i.code == "elevation_spikes"] == [("elevation_spikes", "warn")]
    assert not piece.valid[20 - piece.row_off, 20 - piece.col_off]
    assert (~piece.valid).sum() == 1
    assert np.isnan(piece.values[~piece.valid]).all()
