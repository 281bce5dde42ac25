"""Angled screws: the whole grid of the trigonometry table and the rules drawn from it (derived, no source needed)."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.screw_geometry import exit_depth_in, screw_path, stays_within

PUBLISHED = Path(__file__).parents[1] / "published"


def published(name):
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def yes(condition):
    return "yes" if condition else "no"


def test_whole_grid():
    for row in published("wood_screw_geometry.csv"):
        path = screw_path(float(row["L"]), float(row["s"]), float(row["theta"]))
        assert float(path.tip_depth_in) == pytest.approx(float(row["tip_depth_in_plate"]), abs=6e-4)
        assert float(path.tip_offset_in) == pytest.approx(float(row["tip_x"]), abs=6e-4)
        assert float(path.joint_offset_in) == pytest.approx(float(row["x_at_joint"]), abs=6e-4)
        assert float(path.length_in_stud_in) == pytest.approx(float(row["len_in_stud"]), abs=6e-4)
        assert float(path.length_in_plate_in) == pytest.approx(float(row["len_in_plate"]), abs=6e-4)
        assert yes(exit_depth_in(path, 1.5) == 0) == row["inside_1.5_plate"]
        assert yes(path.tip_depth_in > 1.5) == row["past_1.5_ply"]
        assert yes(exit_depth_in(path, 3.0) == 0) == row["inside_3.0_plate"]
        assert yes(stays_within(path.tip_offset_in, 3.5)) == row["tip_inside_3.5_width"]
        assert 3.5 - float(path.tip_offset_in) == pytest.approx(float(row["far_edge_dist_3.5"]), abs=6e-4)
        assert yes(stays_within(path.joint_offset_in, 1.5)) == row["joint_inside_1.5_stud"]
        assert yes(stays_within(path.tip_offset_in, 1.5)) == row["tip_inside_1.5"]


def test_six_inch_screw_leaves_a_bottom_plate_and_suits_a_double_one():
    # 6 in., 22 degrees, start 3.25 in.: out of a 1.5 in. plate by 0.81 in.; inside a 3 in. one.
    path = screw_path(6.0, 3.25, 22.0)
    assert float(exit_depth_in(path, 1.5)) == pytest.approx(0.81, abs=0.005)
    assert float(exit_depth_in(path, 3.0)) == 0.0


@given(st.floats(3, 10), st.floats(2, 3.5), st.floats(0, 40))
def test_start_height_goes_one_to_one_into_depth(length, start, angle):
    low, high = screw_path(length, start, angle), screw_path(length, start + 0.25, angle)
    assert float(low.tip_depth_in - high.tip_depth_in) == pytest.approx(0.25, abs=1e-9)
    assert float(low.length_in_stud_in + low.length_in_plate_in) == pytest.approx(length)
