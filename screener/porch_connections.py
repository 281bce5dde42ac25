"""Open porches and patios on posts: what the wind lifts, what the posts and the house wall carry."""

from __future__ import annotations

import math

import numpy as np

from screener.house_loads import HouseLoads
from screener.lateral_loads import porch_push_rows
from screener.line_loads import Effect, LineLoad
from screener.plans import PorchRoof
from screener.points import Member
from screener.standards import asce7_ch27_open_roofs as open_roofs
from screener.wind_states import AXES, Axis


def porch_connections(house: HouseLoads) -> None:
    for porch in house.variant.porches:
        _porch(house, porch)


def _porch(house: HouseLoads, porch: PorchRoof) -> None:
    x0, y0, x1, y1 = porch.rect
    wall = house.variant.wall(porch.attached_wall) if porch.attached_wall else None
    along: Axis = wall.axis if wall else "x"
    lo, hi = (x0, x1) if along == "x" else (y0, y1)
    depth = (y1 - y0) if along == "x" else (x1 - x0)
    psf = _porch_pressure(house, porch)
    beam = LineLoad(house.frame.zero())
    beam.spread(lo, hi, psf * (depth / 2.0))
    places = [float(p) for p in np.linspace(lo, hi, porch.posts)]
    posts = beam.reactions(places)
    both = np.sum([porch_push_rows(house.ctx, porch, axis) for axis in AXES], axis=0)
    # winds along both axes at once: the resultant where they are alike (where they are not, one axis alone is more)
    both *= [[math.sqrt(0.5) if all(s.acts_along(a) for a in AXES) else 1.0] for s in house.frame.wind]
    push = house.frame.wind_effect(both) * (0.5 / porch.posts)
    lines = 1 if wall else 2
    count = porch.posts * lines
    members = [Member({"uplift_lb": p, "lateral_lb": push}) for p in posts[: (len(posts) + 1) // 2]]
    for family, what, schedule, drop in (
        ("post_beam", "beam to post top", "post cap", "roof"),
        ("post_base", "post to its base", "post base", "foundation"),
    ):
        house.add(
            f"{schedule}: {porch.name}",
            family,
            members,
            ("uplift_lb", "lateral_lb"),
            place=f"{what}, {porch.name}",
            schedule=schedule,
            drop=drop,
            measure="each",
            count=count,
        )
    footing = house.frame.gravity(dead_least=-porch.footing_weight_lb, dead_greatest=-porch.footing_weight_lb)
    house.add(
        f"post footing: {porch.name}",
        "post_footing",
        [Member({"uplift_lb": p + footing}) for p in posts],
        ("uplift_lb",),
        place=f"footing of each post, {porch.name} (its own weight counted)",
        schedule="post footing",
        drop="foundation",
        measure="each",
        count=count,
    )
    house.enter(f"porch {porch.name}", psf * ((hi - lo) * depth))
    house.books.arrived[f"posts of {porch.name}"] = lines * beam.total()
    if wall:
        ledger = LineLoad(house.frame.zero())
        ledger.spread(
            max(lo, wall.lo),
            min(hi, wall.hi),
            psf * (depth / 2.0) * (hi - lo) / (min(hi, wall.hi) - max(lo, wall.lo)),
        )
        house.loads[wall.name].top.add(ledger)
        house.add(
            f"porch ledger: {porch.name} on {wall.name}",
            "ledger",
            [Member({"uplift_plf": psf * (depth / 2.0)})],
            ("uplift_plf",),
            place=f"ledger or rafters of {porch.name} to wall {wall.name}",
            schedule="porch ledger",
            drop="roof",
            measure="per_ft",
            runs_ft=(hi - lo,),
        )


def _porch_pressure(house: HouseLoads, porch: PorchRoof) -> Effect:
    """Net uplift of an open roof per square foot, all wind states alike (Ch. 27 open buildings), and its weight."""
    angle = math.degrees(math.atan2(porch.pitch_in_12, 12.0))
    up, _ = open_roofs.net_uplift_cn(angle, "monoslope")
    gust = open_roofs.gust_effect_factor(house.frame.edition)
    out = house.ctx.dead_and_live(porch.roof_dead_psf, porch.roof_dead_psf)
    for i, state in enumerate(house.frame.wind):
        if not state.minimum:
            out[i, house.frame.column[state.porch_velocity(state.axis)]] = -up * gust * house.ctx.kd * state.share
    return out
