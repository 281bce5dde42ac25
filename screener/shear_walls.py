"""Shear walls: segments of each line, racking, overturning, hold-downs and the posts at their ends."""

from __future__ import annotations

import math

import numpy as np

from screener.derivation import Recorder, Step
from screener.house_loads import HouseLoads, Segment, WallLoads
from screener.line_loads import SAME_FT, Effect, LineLoad
from screener.perforated_walls import end_uplift, own_segments, perforated_factor, whole_label
from screener.plans import TOUCH_FT, Span, WallLine, wall_below
from screener.points import Member
from screener.standards.sdpws_shear_walls import strength_share_factor

GREATEST_ASPECT = 3.5
"""Height to length of a full-height wood-panel segment that may count (SDPWS 2015 Table 4.3.4)."""

HOLD_DOWN_RANKS = ((1000.0, "light"), (2200.0, "medium"), (3800.0, "heavy"), (math.inf, "very heavy"))
WALL_RANKS = ((230.0, "usual"), (340.0, "hard-worked"), (math.inf, "hardest-worked"))
SAME_PACK_FT = 0.02

STACKED_WITHIN_DEPTHS = 4.0
"""Upper segments further than this many floor depths from the one below count as not stacked (IRC R301.2.2.6, read in a
public copy)."""


def find_segments(house: HouseLoads) -> None:
    for wall in house.variant.walls:
        if not wall.shear:
            continue
        pieces = [s for s in wall.solids() if wall.height_ft / s.length <= GREATEST_ASPECT + 1e-9]
        co = perforated_factor(house, wall, pieces)
        for solid in pieces:
            factor = co * float(strength_share_factor(wall.height_ft, solid.length))
            key = (wall.storey, wall.line)
            house.segments.setdefault(key, []).append(Segment(wall, solid, solid.length * factor))
    for (storey, axis), level in house.lateral.items():
        for line in level.lines:
            if storey >= 0 and not house.segments.get((storey, line.name)):
                house.scope.append(
                    (
                        "SEG",
                        f"shear line {line.name} of storey {storey + 1} (parallel to {axis}) has no "
                        f"full-height piece within {GREATEST_ASPECT}:1",
                    )
                )


def hand_down_couples(house: HouseLoads, wall: WallLine, loads: WallLoads, gaps: list[tuple[float, float]]) -> None:
    if wall.name in house.perforated:
        _perforated(house, wall, loads)
        return
    arriving = loads.couples.levered(gaps)
    own = [s for s in house.segments.get((wall.storey, wall.line), []) if s.wall.name == wall.name]
    taken: set[int] = set()
    for n, segment in enumerate(own, 1):
        inside = [
            k
            for k, (s, _) in enumerate(arriving.points)
            if k not in taken and segment.span.lo - SAME_FT <= s <= segment.span.hi + SAME_FT
        ]
        taken.update(inside)
        here = LineLoad(house.frame.zero(), [], [arriving.points[k] for k in inside])
        _segment(house, wall, loads, segment, here, n)
    for k, (s, e) in enumerate(arriving.points):
        if k not in taken:
            loads.foot_couples.point(s, e)
            _transfer_post(house, wall, loads, s, e)


def _line_shear(house: HouseLoads, storey: int, wall: WallLine) -> tuple[Effect, float]:
    """Force of the wall's line (signed) and the length its segments share it over (SDPWS sharing by strength)."""
    total = sum(s.share for s in house.segments[storey, wall.line])
    return house.lateral[storey, wall.axis].line_force[wall.line], total


def _segment(house: HouseLoads, wall: WallLine, loads: WallLoads, segment: Segment, arriving: LineLoad, n: int) -> None:
    """Tension and compression at the two ends of one segment.

    Tension is the couple plus the net vertical load of the segment by lever to its ends, in the same case. Net uplift
    spread along the segment is held where it arrives, by its studs and sill anchors (they are asked for it), so the
    hold-down is never asked for more than the couple and what openings and girders hand to that end; dead load that is
    left over after the uplift does help it.
    """
    force, total = _line_shear(house, wall.storey, wall)
    span = segment.span
    arm = span.length - house.variant.plan.plan.hold_down_offset_ft
    # the shear enters at the top of the floor above, not at the plate under it
    lever = wall.height_ft + _floor_over_ft(house, wall, span)
    couple = force * (segment.share / total * lever / arm)
    at_lo, at_hi = arriving.to_ends(span.lo, span.hi)
    couple_lo, couple_hi = at_lo + couple, at_hi - couple
    loads.foot_couples.point(span.lo, couple_lo)
    loads.foot_couples.point(span.hi, couple_hi)
    # moment of the vertical loads about the compression end, over the arm to the hold-down
    up_lo, up_hi = (end * (span.length / arm) for end in loads.foot.to_ends(span.lo, span.hi))
    # what stands at single places on the piece (jambs, girders, posts above), over the same arm
    single = LineLoad(house.frame.zero(), [], loads.foot.points)
    packs_lo, packs_hi = (end * (span.length / arm) for end in single.to_ends(span.lo, span.hi))
    label = f"{wall.name}, segment {n} ({span.length:.1f} ft)"
    rec = Recorder()
    rec.note(
        "share of the line's force",
        "b f / sum(b f), f = 2b/h beyond 2:1",
        {"b_ft": span.length, "h_ft": wall.height_ft, "bf_ft": segment.share, "sum_bf_ft": total},
        segment.share / total,
        "",
        "SDPWS 2015 4.3.3.4.1, 4.3.4 (from memory)",
    )
    rec.note(
        "overturning couple",
        "share V h / arm",
        {"h_ft": lever, "arm_ft": arm},
        segment.share / total * lever / arm,
        "lb per lb of line force",
        "statics",
    )
    _hold_down(
        house,
        label,
        [
            Member({"tension_lb": couple_lo + up_lo}, "low end", {"tension_lb": couple_lo + packs_lo}),
            Member({"tension_lb": couple_hi + up_hi}, "high end", {"tension_lb": couple_hi + packs_hi}),
        ],
        wall,
        2,
        rec.steps,
    )
    _end_post(house, label, wall, loads, span, couple_lo, couple_hi)


def _perforated(house: HouseLoads, wall: WallLine, loads: WallLoads) -> None:
    """Hold-downs at the two ends of the wall; the same couple in compression at both ends of every piece."""
    force, total = _line_shear(house, wall.storey, wall)
    own = own_segments(house, wall)
    couple = force * ((wall.height_ft + _floor_over_ft(house, wall, own[0].span)) / total)
    loads.foot_couples.point(own[0].span.lo, couple)
    loads.foot_couples.point(own[-1].span.hi, -couple)
    members, steps = end_uplift(house, wall, couple, loads)
    _hold_down(house, whole_label(house, wall), members, wall, 2, steps)
    for n, segment in enumerate(own, 1):
        label = f"{wall.name}, segment {n} ({segment.span.length:.1f} ft)"
        _end_post(house, label, wall, loads, segment.span, couple, -couple)


def _packs_at(house: HouseLoads, loads: WallLoads, place: float) -> Effect:
    """What openings and girders hand to the studs at one place of the wall's foot."""
    return sum((e for s, e in loads.foot.points if abs(s - place) < SAME_PACK_FT), house.frame.zero())


def _floor_over_ft(house: HouseLoads, wall: WallLine, span: Span) -> float:
    """Depth of the framed floor that stands on this piece of wall; 0 under a roof."""
    if wall.storey + 1 >= len(house.variant.levels):
        return 0.0
    upper, middle = house.variant.levels[wall.storey + 1], 0.5 * (span.lo + span.hi)
    x, y = (middle, wall.at) if wall.axis == "x" else (wall.at, middle)
    over = any(r[0] - TOUCH_FT <= x <= r[2] + TOUCH_FT and r[1] - TOUCH_FT <= y <= r[3] + TOUCH_FT for r in upper.areas)
    return upper.floor_depth_ft if over else 0.0


def _hold_down(
    house: HouseLoads, label: str, members: list[Member], wall: WallLine, count: int, steps: list[Step]
) -> None:
    foundation = wall_below(house.variant, wall) is None
    where = "at the foundation" if foundation else "between storeys"
    rank = house.rank("tension_lb", members, HOLD_DOWN_RANKS)
    # over a raised floor neither a cast-in strap nor a post-to-post strap reaches: a bracket and rod must
    slab = house.variant.plan.plan.foundation == "slab"
    below = ("concrete" if slab else "raised floor") if foundation else "wood"
    how = {"measure": "each", "count": count, "steps": steps, "facts": {"below": below}}
    house.add(
        f"hold-down: {label}",
        "hold_down",
        members,
        ("tension_lb",),
        place=f"ends of {label}, {where}",
        schedule=f"hold-down {where}, {rank}",
        drop="foundation" if foundation else "floor",
        **how,
    )
    if foundation:
        house.add(
            f"hold-down anchor: {label}",
            "hold_down_anchor",
            members,
            ("tension_lb",),
            place=f"anchor of each hold-down of {label}",
            schedule=f"hold-down anchor, {rank}",
            drop="foundation",
            **{**how, "facts": {"below": "concrete"}},
        )


def _transfer_post(house: HouseLoads, wall: WallLine, loads: WallLoads, s: float, e: Effect) -> None:
    """A hold-down above that lands where no segment stands: its couple goes straight down here."""
    if not np.any(e):
        return
    ends = [x for seg in house.segments.get((wall.storey, wall.line), []) for x in (seg.span.lo, seg.span.hi)]
    off = min((abs(x - s) for x in ends), default=math.inf)
    floor = house.variant.levels[wall.storey + 1].floor_depth_ft
    if off > STACKED_WITHIN_DEPTHS * floor:
        house.scope.append(
            (
                "IRREG_V",
                f"a shear segment above {wall.name} ends at {s:.1f} ft, {off:.1f} ft from the "
                f"nearest segment; more than {STACKED_WITHIN_DEPTHS:g} floor depths",
            )
        )
    _hold_down(house, f"{wall.name}, under the segment above at {s:.1f} ft", [Member({"tension_lb": e})], wall, 1, [])


def _end_post(
    house: HouseLoads, label: str, wall: WallLine, loads: WallLoads, span: Span, lo: Effect, hi: Effect
) -> None:
    """Compression at a segment's end: the couple, what openings hand over there, one stud's share of gravity."""
    stud = house.variant.plan.plan.stud_spacing_in / 12.0
    members = []
    for place, couple, inward, name in ((span.lo, lo, 0.1, "low end"), (span.hi, hi, -0.1, "high end")):
        packs = _packs_at(house, loads, place)
        members.append(Member({"compression_lb": couple + packs + stud * loads.foot.density_at(place + inward)}, name))
    house.add(
        f"end post: {label}",
        "end_post",
        members,
        ("compression_lb",),
        place=f"studs at the ends of {label}",
        schedule=f"end post, storey {wall.storey + 1}",
        drop="walls",
        measure="each",
        count=2,
        use="compression",
        sign=-1.0,
    )


def racking_connections(house: HouseLoads) -> None:
    """Sheathing of each shear line, and the bottom plates of upper storeys to their floor."""
    for (storey, line), segments in sorted(house.segments.items()):
        wall = segments[0].wall
        force, total = _line_shear(house, storey, wall)
        plf = house.frame.sense_along(wall.axis) * force / total
        members = [Member({"shear_plf": plf})]
        walls = [w for w in house.variant.walls_of(storey, wall.axis) if w.shear and w.line == line]
        area = sum(w.length * w.height_ft - sum(o.length * (o.head_ft - o.sill_ft) for o in w.openings) for w in walls)
        rank = house.rank("shear_plf", members, WALL_RANKS)
        rec = Recorder()
        rec.note(
            "unit shear",
            "V / sum(b f)",
            {"sum_bf_ft": total, "segments": float(len(segments))},
            1.0 / total,
            "1/ft",
            "SDPWS 2015 4.3.3 (from memory); flexible diaphragm, tributary width",
        )
        house.add(
            f"wall sheathing: line {line}, storey {storey + 1}",
            "wall_sheathing",
            members,
            ("shear_plf",),
            place=f"sheathing of shear line {line}, storey {storey + 1}",
            schedule=f"wall sheathing, {rank}",
            drop="walls",
            measure="area",
            area_sqft=area,
            steps=rec.steps,
            facts={
                "wall_height_ft": wall.height_ft,
                "least_segment_ft": min(s.span.length for s in segments),
                "perforated": any(s.wall.name in house.perforated for s in segments),
            },
        )
