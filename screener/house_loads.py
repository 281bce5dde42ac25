"""What every part of a house's load path works on: states, loads wall by wall, and the points found so far."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from screener import components_pressure as cladding
from screener.lateral_loads import LevelForces, SeismicMass, lateral_forces, seismic_mass
from screener.line_loads import Effect, LineLoad
from screener.load_states import Frame
from screener.plans import Span, Variant, WallLine
from screener.points import Member, Point, make_point, rank_demand
from screener.roof_loads import roof_context
from screener.standards import asce7_ch30_components as components
from screener.trace import Item, named, node_of, states_of
from screener.wind_pressures import RoofContext, Side, other, slope_angle_deg
from screener.wind_states import Axis, Procedure

STUD_THICKNESS_IN = 1.5
RANKING_METHOD = "ASD"
"""Rank limits are allowable-stress loads; which line a connection joins does not depend on the design method."""


@dataclass
class WallLoads:
    """Vertical loads and racking couples on one wall: at its top plate, and at its foot."""

    wall: WallLine
    top: LineLoad
    couples: LineLoad
    foot: LineLoad
    foot_couples: LineLoad


@dataclass
class Segment:
    """A full-height piece of a shear line that takes part in racking."""

    wall: WallLine
    span: Span
    share: float

    @property
    def aspect(self) -> float:
        return self.wall.height_ft / self.span.length


@dataclass
class Books:
    """What entered the house and what left it, as effects; the two sides must balance."""

    entered: dict[str, Effect] = field(default_factory=dict)
    arrived: dict[str, Effect] = field(default_factory=dict)
    shear_entered: dict[str, Effect] = field(default_factory=dict)
    shear_arrived: dict[str, Effect] = field(default_factory=dict)


class HouseLoads:
    """One variant under load: states, lateral forces and masses, wall loads, and the connection points found."""

    def __init__(
        self,
        variant: Variant,
        edition: str,
        method: str,
        procedure: Procedure = "envelope",
        roof_ties: str = "main",
        traced: bool = False,
    ) -> None:
        self.variant = variant
        self.roof_ties = roof_ties
        self.frame = Frame(len(variant.levels), edition, method, procedure, traced=traced)
        self.ranking = self.frame if method == RANKING_METHOD else replace(self.frame, method=RANKING_METHOD)
        self.ctx: RoofContext = roof_context(self.frame, variant)
        self.mass: SeismicMass = seismic_mass(variant)
        self.lateral: dict[tuple[int, Axis], LevelForces] = lateral_forces(self.ctx, self.mass)
        self.books = Books()
        self.points: list[Point] = []
        self.segments: dict[tuple[int, str], list[Segment]] = {}
        self.perforated: set[str] = set()  # walls that count as perforated ones
        self.loads: dict[str, WallLoads] = {
            w.name: WallLoads(w, *(LineLoad(self.frame.zero()) for _ in range(4))) for w in variant.walls
        }
        self.scope: list[tuple[str, str]] = []
        self.truss_spacing: dict[str, float] = {}
        self._pushes: dict[str, list[Effect]] = {}

    def add(self, name: str, family: str, members: list[Member], components_: tuple[str, ...], **how: object) -> None:
        keys = {"species": self.variant.plan.plan.species, "facts": self.facts()}
        keys["facts"] = {**keys["facts"], **how.pop("facts", {})}  # type: ignore[dict-item]
        self.points.append(
            make_point(self.frame, name, family, members=members, components=components_, **{**keys, **how})  # type: ignore[arg-type]
        )

    def facts(self) -> dict[str, float | str | bool]:
        about = self.variant.plan.plan
        return {
            "stud_spacing_in": about.stud_spacing_in,
            "stud_depth_in": about.stud_depth_in,
            "stud_width_in": STUD_THICKNESS_IN,
            "sill_thickness_in": about.sill_thickness_in,
            "plate_thickness_in": 3.0,
            "rafter_over_stud": about.rafter_over_stud,
            "plate_piece_ft": about.plate_piece_ft,
            "below": "plate",
            "storeys": float(len(self.variant.levels)),
            "gypsum_shares": about.gypsum_shares,
        }

    def zone_name(self, zone: str) -> str:
        return "interior" if zone == "interior" else "end zone"

    @property
    def longest_ft(self) -> float:
        """The longer plan dimension: no diaphragm of the house spans further."""
        return max(self.variant.width_ft, self.variant.extent[3] - self.variant.extent[1])

    @property
    def roof_angle(self) -> float:
        sides: tuple[Side, ...] = ("low", "high")
        return max(slope_angle_deg(r, side) for r in self.variant.roofs for side in sides)

    def stud_pressure(self, wall: WallLine, zone: str, spacing_ft: float) -> Effect:
        """C&C pressure (psf) on a stud: zone 5 near corners, effective area by the third-of-span rule (26.2)."""
        if not wall.exterior:
            return self.frame.zero()
        area = float(components.effective_wind_area_sqft(wall.height_ft, spacing_ft))
        return cladding.wall_pressure(self.frame, "4" if zone == "interior" else "5", area, self.roof_angle)

    def out_of_plane(self, wall: WallLine, zone: str, spacing_ft: float) -> list[Effect]:
        """Pressure normal to a wall (psf): wind with each form of the seismic rule, and the least wind pressure."""
        if not wall.exterior:
            return [self.frame.zero()]
        wind = self.stud_pressure(wall, zone, spacing_ft)
        inertia = cladding.wall_inertia(self.frame, self.variant.weights["exterior_wall"][1], self.longest_ft)
        return [*(wind + part for part in inertia), cladding.least_pressure(self.frame)]

    def push_beside_shear(self, wall: WallLine) -> list[Effect]:
        """Pressure (psf) on a wall whose plate carries shear in the same case.

        Wind across the wall brings the local (C&C) pressure; wind along it, which brings the shear, the main system's
        pressure on it: a local peak and the whole building's shear do not stand together.
        """
        if self.frame.traced:  # each derivation tells its own
            return self._push_beside_shear(wall)
        if wall.name not in self._pushes:
            self._pushes[wall.name] = self._push_beside_shear(wall)
        return [push.copy() for push in self._pushes[wall.name]]

    def _push_beside_shear(self, wall: WallLine) -> list[Effect]:
        pushes = self.out_of_plane(wall, "end zone", wall.height_ft)
        if not wall.exterior:
            return pushes
        texts = self._push_texts(wall) if self.frame.traced else [[] for _ in pushes]
        for push in pushes:
            for i, state in enumerate(self.frame.wind):
                if state.acts_along(wall.axis):
                    push[i] = 0.0
                    if not state.minimum:
                        net = self.ctx.pressures.wall_beside_shear(self.ctx, wall.axis, state)
                        push[i] = self.ctx.outward(state, net, other(wall.axis))
        what = f"push on wall {wall.name} beside the shear of its line"
        formula = "local pressure across the wall, main system's along it, or the seismic anchorage of the wall"
        source = f"{self.frame.edition} 30.3, {self.ctx.pressures.figure}, 12.11.2"
        values = {"Kd": self.ctx.kd}
        return [named(p, what, formula, values, "psf", source, t) for p, t in zip(pushes, texts, strict=True)]

    def _push_texts(self, wall: WallLine) -> list[list[str]]:
        """What enters each state of the pushes beside a shear, in words: local wind across, the main system along."""
        local = states_of(self.stud_pressure(wall, "end zone", wall.height_ft))
        least = [f"least pressure, {self.frame.edition} 30.2.2"] * len(local)
        shaken = [
            f"{i.what}: {i.formula}, " + ", ".join(f"{k} {v}" for k, v in i.values.items()) for i in self._forms()
        ]
        return [
            [*self._wind_texts(wall, across), *[form] * len(self.frame.seismic)]
            for across, form in ((local, shaken[0]), (local, shaken[1]), (least, "no shaking"))
        ]

    def _wind_texts(self, wall: WallLine, across: list[str]) -> list[str]:
        told = []
        for text, state in zip(across, self.frame.wind, strict=True):
            if not state.acts_along(wall.axis):
                told.append(text)
            elif state.minimum:
                told.append("")
            else:
                net = self.ctx.pressures.wall_beside_shear(self.ctx, wall.axis, state)
                told.append(f"main system on the wall: {self.ctx.told(state, net)}")
        return told

    def _forms(self) -> list[Item]:
        """The two forms of the seismic wall anchorage as named items."""
        inertia = cladding.wall_inertia(self.frame, self.variant.weights["exterior_wall"][1], self.longest_ft)
        return [node for node in map(node_of, inertia) if isinstance(node, Item)]

    def rank(self, component: str, members: list[Member], ranks: tuple[tuple[float, str], ...]) -> str:
        """The first rank whose limit holds the demand at the reference hazards: which package line the members join."""
        demand = self.reference_demand(component, members)
        return next(name for limit, name in ranks if demand <= limit)

    def reference_demand(self, component: str, members: list[Member]) -> float:
        """Largest demand of members at the reference hazards: for ranking only."""
        probe = make_point(
            self.ranking,
            "",
            "",
            place="",
            schedule="",
            drop="",
            measure="each",
            components=(component,),
            members=members,
        )
        return rank_demand(probe, self.ranking, self.mass.level_lb)

    def enter(self, what: str, effect: Effect) -> None:
        self.books.entered[what] = self.books.entered.get(what, self.frame.zero()) + effect
