"""Perforated shear walls: sheathed above and below openings, hold-downs at the two ends of the wall only.

SDPWS 2015 4.3.3.5 and 4.3.5.3. The factor Co is checked against its table (`checks/data/wood_perforated_Co.csv`,
read); the rules for chords, uplift between the ends and narrow pieces are from memory. The factor of SDPWS 2021 could
not be read: with that edition the wall is refused. Dead load helps a hold-down only as far as the end piece carries it.
"""

from __future__ import annotations

from collections.abc import Sequence

from screener.derivation import Recorder, Step
from screener.editions import SDPWS_EDITION
from screener.house_loads import HouseLoads, Segment, WallLoads
from screener.line_loads import Effect, LineLoad
from screener.plans import Span, WallLine
from screener.points import Member
from screener.standards import sdpws_shear_walls as sdpws


def perforated_factor(house: HouseLoads, wall: WallLine, pieces: Sequence[Span]) -> float:
    """Co of a wall with these full-height pieces, 1.0 for a segmented one.

    Where the edition's rule is unknown the house gets a stop, and the wall is dealt with in pieces.
    """
    if wall.method != "perforated" or not pieces:
        return 1.0
    try:
        co = _co(wall, pieces, SDPWS_EDITION[house.frame.edition])[0]
    except NotImplementedError as error:
        house.scope.append(("PERFORATED", f"wall {wall.name}: {error}"))
        return 1.0
    house.perforated.add(wall.name)
    return co


def _co(wall: WallLine, pieces: Sequence[Span], edition: str) -> tuple[float, dict[str, float]]:
    lo, hi = pieces[0].lo, pieces[-1].hi
    inside = [o for o in wall.openings if lo <= o.lo and o.hi <= hi]
    area = sum(o.length * (o.head_ft - o.sill_ft) for o in inside)
    counted = sum(p.length * float(sdpws.strength_share_factor(wall.height_ft, p.length)) for p in pieces)
    ratio = float(sdpws.perforated_ratio(area, wall.height_ft, counted))
    co = min(1.0, float(sdpws.perforated_co(ratio, hi - lo, counted, edition)))
    return co, {"Ao_sqft": area, "h_ft": wall.height_ft, "sum_Li_ft": counted, "Ltot_ft": hi - lo, "r": ratio}


def end_uplift(house: HouseLoads, wall: WallLine, couple: Effect, loads: WallLoads) -> tuple[list[Member], list[Step]]:
    """Tension at the two ends of the wall: T = V h / (Co sum Li), with the net vertical load of the end pieces."""
    own = own_segments(house, wall)
    first, last = own[0].span, own[-1].span
    single = LineLoad(house.frame.zero(), [], loads.foot.points)
    members = []
    for span, end, sign, name in ((first, 0, 1.0, "low end"), (last, 1, -1.0, "high end")):
        vertical = loads.foot.to_ends(span.lo, span.hi)[end]
        packs = single.to_ends(span.lo, span.hi)[end]
        force = sign * couple
        members.append(Member({"tension_lb": force + vertical}, name, {"tension_lb": force + packs}))
    rec = Recorder()
    co, values = _co(wall, [s.span for s in own], SDPWS_EDITION[house.frame.edition])
    rec.note(
        "perforated wall, Co",
        "r / (3 - 2 r) Ltot / sum(Li), r = 1 / (1 + Ao / (h sum(Li)))",
        values,
        co,
        "",
        "SDPWS 2015 4.3.3.5 (factor read; Li 2b/h of its length beyond 2:1, from memory)",
    )
    rec.note(
        "tension at its ends", "V h / (Co sum Li)", {}, 1.0, "of the line's unit shear times h", "SDPWS 2015 4.3.6.1"
    )
    return members, rec.steps


def own_segments(house: HouseLoads, wall: WallLine) -> list[Segment]:
    """The wall's own pieces that count, along the wall."""
    return [s for s in house.segments.get((wall.storey, wall.line), []) if s.wall.name == wall.name]


def whole_label(house: HouseLoads, wall: WallLine) -> str:
    """How the wall's ends are named: one wall, not its pieces."""
    own = own_segments(house, wall)
    return f"{wall.name}, perforated ({own[-1].span.hi - own[0].span.lo:.1f} ft)"
