"""House plans: the sections of the TOML an author writes, and the one buildable variant they resolve into.

A *plan* holds every style and option; a *variant* is the one house that stands on a lot: the elements of its style and
built options, mirrored or not. All lengths are feet in plan coordinates: the front wall faces -y, x runs to the right.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Axis = Literal["x", "y"]
Coordinate = Annotated[float, Field(ge=-1000, le=1000, allow_inf_nan=False)]
Rect = Annotated[list[Coordinate], Field(min_length=4, max_length=4)]
XY = Annotated[list[Coordinate], Field(min_length=2, max_length=2)]
Positive = Annotated[float, Field(ge=0.01, le=1000, allow_inf_nan=False)]
Psf = Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]
Spacing = Annotated[float, Field(ge=4, le=120, allow_inf_nan=False)]
Name = Annotated[str, Field(min_length=1, max_length=100)]
Names = Annotated[list[Name], Field(max_length=50)]
Words = Annotated[str, Field(max_length=2000)]
"""Limits no house comes near: they stop slips of the pen and sizes that would fill the memory."""

TOUCH_FT = 0.05
"""Two coordinates closer than this are the same: plans are drawn to about half an inch."""

STACK_FT = 0.5
"""An upper wall stands on a lower one when their lines are no further apart than half a stud wall's reach."""


class _Strict(BaseModel):
    """No text is taken for a number, no number for a text."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, strict=True)


class Chosen(_Strict):
    """An element that may belong to some styles, need some options, or vanish with others."""

    styles: Names = []
    options: Names = []
    without: Names = []

    def built(self, style: str, options: frozenset[str]) -> bool:
        return (
            (not self.styles or style in self.styles)
            and options.issuperset(self.options)
            and options.isdisjoint(self.without)
        )


class Area(Chosen):
    rect: Rect


class Opening(Chosen):
    name: Name
    from_ft: NotNegative
    width_ft: Positive
    height_ft: Positive
    sill_ft: NotNegative = 0.0


class Wall(Chosen):
    name: Name
    storey: Name
    from_: XY = Field(alias="from")
    to: XY
    line: Name
    exterior: bool = True
    shear: bool = True
    floor_tributary_ft: NotNegative = 0.0
    stands_on: Words = ""
    method: Literal["segmented", "perforated"] = "segmented"
    openings: Annotated[list[Opening], Field(max_length=100)] = []


class Bearing(_Strict):
    at_ft: NotNegative
    wall: Name


class Girder(Chosen):
    at_ft: NotNegative
    from_ft: NotNegative
    to_ft: Positive


class Roof(Chosen):
    name: Name
    storey: Name
    shape: Literal["gable", "hip"]
    rect: Rect
    ridge: Axis
    ridge_at_ft: Positive | None = None
    pitch_in_12: Positive
    heel_ft: NotNegative = 0.5
    eave_overhang_ft: NotNegative
    rake_overhang_ft: NotNegative = 0.0
    truss_spacing_in: Spacing = 24.0
    bearings: Annotated[list[Bearing], Field(min_length=2, max_length=20)]
    girders: Annotated[list[Girder], Field(max_length=20)] = []
    end_walls: Annotated[list[Name], Field(min_length=2, max_length=2)]
    hip_setback_ft: Positive | None = None


class Porch(Chosen):
    name: Name
    rect: Rect
    pitch_in_12: NotNegative = 2.0
    posts: Annotated[int, Field(ge=2, le=100)]
    attached_wall: Words = ""
    roof_dead_psf: Positive = 8.0
    post_height_ft: Positive = 8.0
    fascia_depth_ft: Positive = 1.0
    footing_weight_lb: Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)] = 0.0


class Weight(_Strict):
    least_psf: Psf
    greatest_psf: Psf


class Weights(_Strict):
    roof: Weight
    exterior_wall: Weight
    interior_wall: Weight
    floor: Weight


class WeightChange(Chosen):
    assembly: Literal["roof", "exterior_wall", "interior_wall", "floor"]
    add_psf: Positive


class Storey(_Strict):
    name: Name
    wall_height_ft: Positive
    floor_depth_ft: NotNegative = 0.0
    interior_wall_ft: NotNegative = 0.0
    areas: Annotated[list[Area], Field(min_length=1, max_length=50)]


class Permit(_Strict):
    """The envelope the plan's sealed master set was approved for."""

    wind_speed_mph: Positive
    exposure: Literal["B", "C", "D"]
    kzt: Positive = 1.0
    sds_g: Positive


class About(_Strict):
    name: Name
    title: Words = ""
    note: Words = ""
    species: Name
    foundation: Literal["slab", "stem_wall"]
    first_floor_height_ft: NotNegative
    stud_spacing_in: Spacing = 16.0
    stud_depth_in: Positive = 3.5
    plate_piece_ft: Positive = 16.0
    sill_thickness_in: Positive = 1.5
    hold_down_offset_ft: NotNegative = 0.5
    mean_roof_height_ft: Positive | None = None
    redundancy: Annotated[float, Field(ge=1.0, le=1.3)] | None = None
    glazing_protected: bool = False
    roof_boundary_by: Literal["blocking", "ties"] = "blocking"
    rafter_over_stud: bool = False
    gypsum_shares: Literal["no", "to C", "to D"] = "no"
    floor_live_psf: NotNegative = 40.0
    seal_date: date | None = None
    code_edition: Words = ""


class Plan(_Strict):
    """One plan file, checked key by key; see ``plan_files.load_plan``."""

    schema_: Literal[1] = Field(alias="schema")
    plan: About
    permit: Permit | None = None
    styles: Annotated[dict[Name, Words], Field(max_length=40)] = {}
    options: Annotated[dict[Name, Words], Field(max_length=40)] = {}
    weights: Weights
    weight_change: Annotated[list[WeightChange], Field(max_length=100)] = []
    storey: Annotated[list[Storey], Field(min_length=1, max_length=3)]
    wall: Annotated[list[Wall], Field(min_length=4, max_length=400)]
    roof: Annotated[list[Roof], Field(min_length=1, max_length=40)]
    porch: Annotated[list[Porch], Field(max_length=40)] = []

    @property
    def name(self) -> str:
        return self.plan.name

    def variant(self, style: str = "", options: Iterable[str] = (), mirrored: bool = False) -> Variant:
        """The house as built: elements of this style and these options; ``ValueError`` names what the plan lacks."""
        built = frozenset(options)
        style = style or (next(iter(self.styles)) if self.styles else "")
        if self.styles and style not in self.styles:
            raise ValueError(f"plan {self.name}: no style '{style}'; expected one of {', '.join(self.styles)}")
        if unknown := sorted(built - set(self.options)):
            raise ValueError(
                f"plan {self.name}: no option '{unknown[0]}'; expected any of {', '.join(self.options) or 'none'}"
            )
        return _resolve(self, style, built, mirrored)


# --- the resolved house ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Span:
    """An opening or a solid piece along a wall, in the wall's own axis coordinate (ft)."""

    lo: float
    hi: float
    name: str = ""
    sill_ft: float = 0.0
    head_ft: float = 0.0

    @property
    def length(self) -> float:
        return self.hi - self.lo


@dataclass(frozen=True)
class WallLine:
    """One straight wall of one storey: parallel to ``axis``, standing at ``at`` on the other axis, from lo to hi."""

    name: str
    storey: int
    axis: Axis
    at: float
    lo: float
    hi: float
    line: str
    exterior: bool
    shear: bool
    floor_tributary_ft: float
    stands_on: str
    height_ft: float
    openings: tuple[Span, ...]
    drawn_from: Literal["low", "high"] = "low"
    method: Literal["segmented", "perforated"] = "segmented"

    @property
    def length(self) -> float:
        return self.hi - self.lo

    def solids(self, doors_only: bool = False) -> tuple[Span, ...]:
        """The pieces between openings; with ``doors_only``, only openings that cut the bottom plate part them."""
        pieces, start = [], self.lo
        for gap in self.openings:
            if doors_only and gap.sill_ft > 0:
                continue
            if gap.lo - start > TOUCH_FT:
                pieces.append(Span(start, gap.lo))
            start = gap.hi
        if self.hi - start > TOUCH_FT:
            pieces.append(Span(start, self.hi))
        return tuple(pieces)


@dataclass(frozen=True)
class RoofPart:
    """One gable or hip roof: ``across`` is the span axis, ``along`` the ridge axis; coordinates are plan feet."""

    name: str
    storey: int
    shape: str
    along: Axis
    across_lo: float
    across_hi: float
    along_lo: float
    along_hi: float
    ridge_at: float
    pitch_in_12: float
    heel_ft: float
    eave_overhang_ft: float
    rake_overhang_ft: float
    spacing_ft: float
    bearings: tuple[tuple[float, str], ...]
    girders: tuple[tuple[float, float, float], ...]
    end_walls: tuple[str, str]
    hip_setback_ft: float
    laid_from: Literal["low", "high"] = "low"

    @property
    def span(self) -> float:
        return self.across_hi - self.across_lo

    @property
    def length(self) -> float:
        return self.along_hi - self.along_lo

    @property
    def rise_ft(self) -> float:
        return self.pitch_in_12 / 12.0 * (self.ridge_at - self.across_lo)


@dataclass(frozen=True)
class PorchRoof:
    name: str
    rect: tuple[float, float, float, float]
    pitch_in_12: float
    posts: int
    attached_wall: str
    roof_dead_psf: float
    post_height_ft: float
    fascia_depth_ft: float
    footing_weight_lb: float


@dataclass(frozen=True)
class Level:
    """One storey of the variant: 0 is the lowest; ``areas`` are rectangles whose union is its outline."""

    index: int
    name: str
    wall_height_ft: float
    floor_depth_ft: float
    interior_wall_ft: float
    areas: tuple[tuple[float, float, float, float], ...]

    def extent(self, axis: Axis) -> tuple[float, float]:
        i = 0 if axis == "x" else 1
        return min(r[i] for r in self.areas), max(r[i + 2] for r in self.areas)

    @cached_property
    def area_sqft(self) -> float:
        from shapely.geometry import box
        from shapely.ops import unary_union

        return float(unary_union([box(*r) for r in self.areas]).area)

    def depth_at(self, axis: Axis, s: float) -> float:
        """Length of the outline measured across ``axis`` where the axis coordinate is ``s`` (union of rectangles)."""
        i, j = (0, 1) if axis == "x" else (1, 0)
        spans = sorted((r[j], r[j + 2]) for r in self.areas if r[i] - 1e-9 <= s <= r[i + 2] + 1e-9)
        total, reach = 0.0, float("-inf")
        for lo, hi in spans:
            total += max(0.0, hi - max(lo, reach))
            reach = max(reach, hi)
        return total

    def covers(self, axis: Axis, s: float) -> bool:
        return self.depth_at(axis, s) > TOUCH_FT


@dataclass(frozen=True)
class Variant:
    """One buildable house: plan, style, options and hand, with geometry resolved and weights settled."""

    plan: Plan
    style: str
    options: frozenset[str]
    mirrored: bool
    levels: tuple[Level, ...]
    walls: tuple[WallLine, ...]
    roofs: tuple[RoofPart, ...]
    porches: tuple[PorchRoof, ...]
    weights: dict[str, tuple[float, float]]

    @property
    def key(self) -> str:
        """Name of the house whatever its hand: hand changes which wall faces which wind, not what is bought."""
        return "/".join(filter(None, [self.plan.name, self.style, "+".join(sorted(self.options))]))

    @cached_property
    def extent(self) -> tuple[float, float, float, float]:
        rects = [r for level in self.levels for r in level.areas]
        return min(r[0] for r in rects), min(r[1] for r in rects), max(r[2] for r in rects), max(r[3] for r in rects)

    @property
    def width_ft(self) -> float:
        return self.extent[2] - self.extent[0]

    @property
    def depth_ft(self) -> float:
        """Front to back, attached porches included: they too must stay behind the setback lines."""
        lows = [self.extent[1], *(p.rect[1] for p in self.porches)]
        highs = [self.extent[3], *(p.rect[3] for p in self.porches)]
        return max(highs) - min(lows)

    @property
    def least_dimension_ft(self) -> float:
        return min(self.extent[2] - self.extent[0], self.extent[3] - self.extent[1])

    def plate_height_ft(self, storey: int) -> float:
        """Height of the storey's top plate above grade."""
        base = self.plan.plan.first_floor_height_ft
        return base + sum(
            lv.wall_height_ft + (lv.floor_depth_ft if lv.index else 0.0) for lv in self.levels[: storey + 1]
        )

    def floor_height_ft(self, storey: int) -> float:
        return self.plate_height_ft(storey) - self.levels[storey].wall_height_ft

    @cached_property
    def computed_mean_roof_height_ft(self) -> float:
        """Largest over the roof parts: eave for slopes to 10 degrees, mid-height of the slope above (ASCE 7 26.2)."""
        heights = []
        for roof in self.roofs:
            eave = self.plate_height_ft(roof.storey) + roof.heel_ft
            heights.append(eave + (0.5 * roof.rise_ft if roof.pitch_in_12 / 12.0 > 0.17633 else 0.0))
        return max(heights)

    @cached_property
    def mean_roof_height_ft(self) -> float:
        return max(self.computed_mean_roof_height_ft, self.plan.plan.mean_roof_height_ft or 0.0)

    @cached_property
    def eave_height_ft(self) -> float:
        return max(self.plate_height_ft(r.storey) + r.heel_ft for r in self.roofs)

    def wall(self, name: str) -> WallLine:
        return next(w for w in self.walls if w.name == name)

    def walls_of(self, storey: int, axis: Axis | None = None) -> Iterator[WallLine]:
        return (w for w in self.walls if w.storey == storey and (axis is None or w.axis == axis))


def _resolve(plan: Plan, style: str, built: frozenset[str], mirrored: bool) -> Variant:
    chosen = {lv.name: [tuple(a.rect) for a in lv.areas if a.built(style, built)] for lv in plan.storey}
    levels = [lv for lv in plan.storey if chosen[lv.name]]
    index = {lv.name: i for i, lv in enumerate(levels)}
    rects = [r for lv in levels for r in chosen[lv.name]]
    middle = min(r[0] for r in rects) + max(r[2] for r in rects)

    def fx(x: float) -> float:
        return middle - x if mirrored else x

    def frect(r: Iterable[float]) -> tuple[float, float, float, float]:
        x0, y0, x1, y1 = r
        return (min(fx(x0), fx(x1)), y0, max(fx(x0), fx(x1)), y1)

    def picked(elements: list[Any]) -> list[Any]:
        return [e for e in elements if e.built(style, built) and getattr(e, "storey", levels[0].name) in index]

    weights = {}
    for name in ("roof", "exterior_wall", "interior_wall", "floor"):
        w: Weight = getattr(plan.weights, name)
        add = sum(c.add_psf for c in picked(plan.weight_change) if c.assembly == name)
        weights[name] = (w.least_psf + add, w.greatest_psf + add)
    return Variant(
        plan,
        style,
        built,
        mirrored,
        tuple(
            Level(
                i,
                lv.name,
                lv.wall_height_ft,
                lv.floor_depth_ft,
                lv.interior_wall_ft,
                tuple(sorted(frect(r) for r in chosen[lv.name])),
            )
            for i, lv in enumerate(levels)
        ),
        tuple(_wall(w, index, levels, style, built, fx) for w in picked(plan.wall)),
        tuple(_roof(r, index, style, built, fx, frect, mirrored) for r in picked(plan.roof)),
        tuple(
            PorchRoof(
                p.name,
                frect(p.rect),
                p.pitch_in_12,
                p.posts,
                p.attached_wall,
                p.roof_dead_psf,
                p.post_height_ft,
                p.fascia_depth_ft,
                p.footing_weight_lb,
            )
            for p in picked(plan.porch)
        ),
        weights,
    )


def _wall(w: Wall, index: dict[str, int], levels: list[Storey], style: str, built: frozenset[str], fx: Any) -> WallLine:
    (x0, y0), (x1, y1) = w.from_, w.to
    axis: Axis = "x" if abs(y1 - y0) <= TOUCH_FT else "y"
    start, end = (fx(x0), fx(x1)) if axis == "x" else (y0, y1)
    sense = 1.0 if end >= start else -1.0
    spans = []
    for o in w.openings:
        if o.built(style, built):
            a, b = start + sense * o.from_ft, start + sense * (o.from_ft + o.width_ft)
            spans.append(Span(min(a, b), max(a, b), o.name, o.sill_ft, o.sill_ft + o.height_ft))
    return WallLine(
        w.name,
        index[w.storey],
        axis,
        fx(x0) if axis == "y" else y0,
        min(start, end),
        max(start, end),
        w.line,
        w.exterior,
        w.shear,
        w.floor_tributary_ft,
        w.stands_on,
        levels[index[w.storey]].wall_height_ft,
        tuple(sorted(spans, key=lambda s: s.lo)),
        "low" if end >= start else "high",
        w.method,
    )


def _roof(
    r: Roof, index: dict[str, int], style: str, built: frozenset[str], fx: Any, frect: Any, mirrored: bool
) -> RoofPart:
    x0, y0, _x1, y1 = r.rect
    mx0, _, mx1, _ = frect(r.rect)
    across_x = r.ridge == "y"
    lo, hi = (mx0, mx1) if across_x else (y0, y1)
    a_lo, a_hi = (y0, y1) if across_x else (mx0, mx1)

    def across(at: float) -> float:
        return fx(x0 + at) if across_x else y0 + at

    def along(at: float) -> float:
        return y0 + at if across_x else fx(x0 + at)

    ridge_from_low = r.ridge_at_ft if r.ridge_at_ft is not None else (hi - lo) / 2.0
    ridge = across(ridge_from_low)
    # pitch belongs to the low side as drawn; an off-centre ridge keeps its height when the house is mirrored
    rise = r.pitch_in_12 / 12.0 * ridge_from_low
    girders = []
    for g in r.girders:
        if g.built(style, built):
            a, b = along(g.from_ft), along(g.to_ft)
            girders.append((across(g.at_ft), min(a, b), max(a, b)))
    ends = tuple(r.end_walls)
    if mirrored and not across_x:
        ends = ends[::-1]
    return RoofPart(
        r.name,
        index[r.storey],
        r.shape,
        r.ridge,
        lo,
        hi,
        a_lo,
        a_hi,
        ridge,
        12.0 * rise / (ridge - lo),
        r.heel_ft,
        r.eave_overhang_ft,
        r.rake_overhang_ft if r.shape == "gable" else r.eave_overhang_ft,
        r.truss_spacing_in / 12.0,
        tuple(sorted((across(b.at_ft), b.wall) for b in r.bearings)),
        tuple(sorted(girders)),
        (ends[0], ends[1]),
        r.hip_setback_ft or 0.0,
        "high" if mirrored and not across_x else "low",
    )


def stands_on(v: Variant, w: WallLine) -> WallLine | None:
    """The wall below: the one named, else the one on the same line that overlaps it most."""
    below = list(v.walls_of(w.storey - 1, w.axis))
    if w.stands_on:
        return next((b for b in below if b.name == w.stands_on), None)
    near = [(min(b.hi, w.hi) - max(b.lo, w.lo), b.name, b) for b in below if abs(b.at - w.at) <= STACK_FT]
    near = [n for n in near if n[0] > TOUCH_FT]
    return max(near)[2] if near else None


def wall_below(v: Variant, w: WallLine) -> WallLine | None:
    """The wall that carries most of ``w``, or None on the foundation."""
    return stands_on(v, w) if w.storey else None


def walls_below(v: Variant, w: WallLine) -> list[WallLine]:
    """Every wall of the storey below that stands on the line of ``w`` and under some of it."""
    if w.stands_on:
        named = stands_on(v, w)
        return [named] if named else []
    near = [b for b in v.walls_of(w.storey - 1, w.axis) if abs(b.at - w.at) <= STACK_FT]
    return [b for b in near if min(b.hi, w.hi) - max(b.lo, w.lo) > TOUCH_FT]
