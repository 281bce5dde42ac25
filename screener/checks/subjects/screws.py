"""Where an angled screw goes: trigonometry."""

from __future__ import annotations

from collections.abc import Iterator

from screener.checks.published import published
from screener.checks.rows import DERIVED, Check, Source
from screener.screw_geometry import exit_depth_in, screw_path, stays_within

TITLE = "Angled screws (geometry)"


def _yes(condition: object) -> str:
    return "yes" if condition else "no"


def checks() -> Iterator[Check]:
    """The whole grid of lengths, start heights and angles."""
    source = Source("trigonometry", "", "grid of screws from stud to plate", DERIVED)
    for row in published("wood_screw_geometry.csv"):
        path = screw_path(float(row["L"]), float(row["s"]), float(row["theta"]))
        what = f"{row['L']} in., start {row['s']} in., {row['theta']} degrees"
        numbers = {
            "tip_depth_in_plate": path.tip_depth_in,
            "tip_x": path.tip_offset_in,
            "x_at_joint": path.joint_offset_in,
            "len_in_stud": path.length_in_stud_in,
            "len_in_plate": path.length_in_plate_in,
            "far_edge_dist_3.5": 3.5 - path.tip_offset_in,
        }
        for name, value in numbers.items():
            yield Check(source, f"{what}: {name}", float(row[name]), float(value), 6e-4, "in")
        answers = {
            "inside_1.5_plate": exit_depth_in(path, 1.5) == 0,
            "past_1.5_ply": path.tip_depth_in > 1.5,
            "inside_3.0_plate": exit_depth_in(path, 3.0) == 0,
            "tip_inside_3.5_width": stays_within(path.tip_offset_in, 3.5),
            "joint_inside_1.5_stud": stays_within(path.joint_offset_in, 1.5),
            "tip_inside_1.5": stays_within(path.tip_offset_in, 1.5),
        }
        for name, answer in answers.items():
            yield Check(source, f"{what}: {name}", row[name], _yes(answer))
