"""The load path as a section from ridge to footing, each kind of connection with its number.

A diagram of the house's own storeys, pitch and foundation, not of one cut: everything that is connected stands where a
framer expects it, the numbers are those of the table beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from screener.drawings.shapes import Disc, Label, Shape, Stroke, line, rectangle
from screener.plans import Variant

SPAN_FT = 26.0
STOREY_FT, FLOOR_FT, PLATE_FT, STUD_FT = 9.0, 1.4, 0.5, 0.5
BALLOON_FT, STEP_FT = 1.05, 2.5
LEFT, RIGHT = -9.0, SPAN_FT + 11.0


@dataclass(frozen=True)
class _Frame:
    """Heights of the diagram: grade, first floor, and the top plate of each storey."""

    floor: float
    plates: tuple[float, ...]
    bases: tuple[float, ...]
    ridge: float
    raised: bool

    @property
    def top(self) -> float:
        return self.plates[-1]


def _frame(variant: Variant) -> _Frame:
    raised = variant.plan.plan.foundation == "stem_wall"
    floor = 2.6 if raised else 0.8
    plates, bases, y = [], [], floor
    for n in range(len(variant.levels)):
        y += FLOOR_FT if n else 0.0
        bases.append(y)
        y += STOREY_FT
        plates.append(y)
    pitch = max(r.pitch_in_12 for r in variant.roofs) / 12.0
    return _Frame(floor, tuple(plates), tuple(bases), plates[-1] + 0.8 + min(pitch, 0.6) * SPAN_FT / 2.0, raised)


def section(variant: Variant, numbers: Mapping[str, str]) -> list[Shape]:
    """``numbers``: family -> number on its balloon; families that the house lacks are left out."""
    f = _frame(variant)
    has_porch = bool(variant.porches)
    out = [*_ground(f), *_walls(f), *_roof(f), *(_porch(f) if has_porch else ())]
    places = {k: v for k, v in _targets(f, has_porch).items() if k in numbers}
    left = {k: v for k, v in places.items() if v[0] == "left"}
    right = {k: v for k, v in places.items() if v[0] == "right"}
    return [*out, *_balloons(left, numbers, LEFT, f), *_balloons(right, numbers, RIGHT, f)]


def _ground(f: _Frame) -> list[Shape]:
    out: list[Shape] = [line("ground", LEFT + 2.0, 0.0, RIGHT - 2.0, 0.0)]
    for x in (0.0, SPAN_FT):
        out.append(rectangle("concrete", x - 0.45, -1.6, x + 0.45, f.floor - (1.2 if f.raised else 0.0)))
        out.append(rectangle("concrete", x - 1.1, -2.4, x + 1.1, -1.6))
    if f.raised:
        out.append(rectangle("timber", -0.35, f.floor - 1.2, SPAN_FT + 0.35, f.floor))
    else:
        out.append(rectangle("concrete", 0.45, f.floor - 0.5, SPAN_FT - 0.45, f.floor))
    return out


def _walls(f: _Frame) -> list[Shape]:
    out: list[Shape] = []
    for n, (base, plate) in enumerate(zip(f.bases, f.plates, strict=True)):
        for x in (0.0, SPAN_FT):
            out += [
                rectangle("timber", x - 0.35, base, x + 0.35, base + PLATE_FT),
                rectangle("timber", x - 0.28, base + PLATE_FT, x + 0.28, plate - 2.0 * PLATE_FT),
                rectangle("timber", x - 0.35, plate - 2.0 * PLATE_FT, x + 0.35, plate - PLATE_FT),
                rectangle("timber", x - 0.35, plate - PLATE_FT, x + 0.35, plate),
            ]
        sheath = -0.6
        out.append(rectangle("opening", sheath, base - 0.2, sheath + 0.22, plate))
        x0, x1 = SPAN_FT * 0.42, SPAN_FT * 0.66
        head = plate - 2.6
        out += [rectangle("timber", x0 - 0.9, head, x1 + 0.9, head + 0.9)]
        out += [rectangle("timber", x, base, x + 0.5, head) for x in (x0 - 0.9, x0 - 0.4, x1 - 0.1, x1 + 0.4)]
        if n:
            out.append(rectangle("timber", -0.35, base - FLOOR_FT, SPAN_FT + 0.35, base))
    return out


def _roof(f: _Frame) -> list[Shape]:
    y, middle, over = f.top, SPAN_FT / 2.0, 1.6
    slope = (f.ridge - y - 0.8) / middle
    eave = y + 0.8 - over * slope
    outer = ((-over, eave), (middle, f.ridge), (SPAN_FT + over, eave))
    out: list[Shape] = [
        Stroke(
            "timber",
            ((-0.4, y), (-0.4, y + 0.8), (middle, f.ridge), (SPAN_FT + 0.4, y + 0.8), (SPAN_FT + 0.4, y)),
            True,
        )
    ]
    out.append(Stroke("gable_truss", outer))
    for x, top in ((middle * 0.5, 0.5), (middle, 1.0), (middle * 1.5, 0.5)):
        out.append(
            line(
                "truss",
                x,
                y + 0.1,
                middle if x == middle else (middle * 0.62 if x < middle else middle * 1.38),
                y + 0.8 + slope * middle * top,
            )
        )
    return out


def _porch(f: _Frame) -> list[Shape]:
    x0, x1, y = SPAN_FT + 0.6, SPAN_FT + 6.0, f.bases[0] + 7.2
    return [
        rectangle("timber", x1 - 0.3, 0.3, x1 + 0.3, y),
        rectangle("concrete", x1 - 0.8, -1.4, x1 + 0.8, 0.3),
        Stroke("timber", ((x0, y + 1.3), (x1 + 0.9, y), (x1 + 0.9, y + 0.5), (x0, y + 1.8)), True),
    ]


Target = tuple[str, float, float]


def _targets(f: _Frame, has_porch: bool) -> dict[str, Target]:
    """Side of the balloon, and the place its leader points to."""
    w, y, base, floor = SPAN_FT, f.top, f.bases[0], f.floor
    upper = f.bases[-1]
    joint = upper - FLOOR_FT / 2.0 if len(f.bases) > 1 else floor - 0.6
    head = f.plates[0] - 2.1
    slope = (f.ridge - y - 0.8) / (w / 2.0)
    out: dict[str, Target] = {
        "roof_sheathing": ("left", w * 0.3, y + 0.8 + slope * w * 0.3),
        "roof_diaphragm": ("right", w * 0.66, y + 0.8 + slope * w * 0.34),
        "girder_tie": ("left", w * 0.18, y + 0.25),
        "truss_hanger": ("left", w * 0.25, y + 0.25),
        "truss_tie": ("left", 0.0, y + 0.05),
        "gable_end_tie": ("right", w + 0.3, y + 0.35),
        "roof_boundary": ("right", w, y + 0.1),
        "plate_splice": ("left", 0.0, y - PLATE_FT),
        "plate_to_stud": ("left", 0.0, y - 2.0 * PLATE_FT),
        "stud_nailing": ("right", w, f.plates[-1] - 2.0 * PLATE_FT),
        "header_end": ("right", w * 0.66 + 0.5, head),
        "wall_sheathing": ("left", -0.5, base + STOREY_FT * 0.55),
        "storey_strap": ("left", 0.0, joint),
        "floor_diaphragm": ("right", w * 0.8, joint + 0.6),
        "plate_to_floor": ("right", w, joint),
        "stud_to_plate": ("left", 0.0, base + PLATE_FT),
        "end_post": ("right", w, base + STOREY_FT * 0.3),
        "hold_down": ("right", w, base + PLATE_FT + 0.6),
        "hold_down_anchor": ("right", w, -0.7),
        "sill_anchor": ("left", 0.0, floor - (1.4 if f.raised else 0.4)),
    }
    if has_porch:
        top = f.bases[0] + 7.2
        out |= {
            "post_beam": ("right", w + 6.0, top),
            "post_base": ("right", w + 6.0, 0.3),
            "ledger": ("right", w + 0.6, top + 1.5),
        }
    return out


def _balloons(places: Mapping[str, Target], numbers: Mapping[str, str], x: float, f: _Frame) -> list[Shape]:
    """Numbers in a column in the order of their targets, none nearer than a step to the next."""
    order = sorted(places.items(), key=lambda item: (-item[1][2], item[0]))
    heights = _spread([t[2] for _, t in order], f.ridge + 1.0)
    out: list[Shape] = []
    for (family, (side, tx, ty)), y in zip(order, heights, strict=True):
        edge = x + (BALLOON_FT if side == "left" else -BALLOON_FT)
        elbow = edge + (1.6 if side == "left" else -1.6)
        out += [
            Stroke("leader", ((edge, y), (elbow, y), (tx, ty))),
            Disc("target", tx, ty, 0.26),
            Disc("balloon", x, y, BALLOON_FT),
            Label("balloon_number", x, y, numbers[family], 1.25),
        ]
    return out


def _spread(wanted: list[float], top: float) -> list[float]:
    """Heights near the wanted ones (given from high to low), at least a step apart."""
    out = list(wanted)
    for _ in range(200):
        moved = False
        for i in range(len(out) - 1):
            gap = out[i] - out[i + 1]
            if gap < STEP_FT - 1e-6:
                push = (STEP_FT - gap) / 2.0
                out[i] += push
                out[i + 1] -= push
                moved = True
        if not moved:
            break
    over = max(0.0, out[0] - top) if out else 0.0
    return [y - over for y in out]
