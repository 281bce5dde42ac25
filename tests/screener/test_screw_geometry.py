"""Angled screws: rules drawn from trigonometry. The whole grid: `screener.checks`, subject screws."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.screw_geometry import exit_depth_in, screw_path


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
