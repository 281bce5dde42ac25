"""The finished drawings of one house: plan with or without loads, and the anchor and strap layout."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from screener.capacities import options_for
from screener.capacity_case import Option
from screener.demands import DemandModel
from screener.drawings.dxf import dxf_text
from screener.drawings.layout import Placed
from screener.drawings.layout_drawing import (
    DROPS,
    LAYER_OF_FAMILY,
    LAYER_WORDS,
    counts_by_item,
    drafting_shapes,
    layout_panels,
)
from screener.drawings.load_labels import DrawnHazards, largest_of, roof_loads, wall_loads
from screener.drawings.plan_drawing import hand, roof_plan, storey_plan
from screener.drawings.shapes import Shape
from screener.drawings.sheet import HOUSE_WORDS, ROOF_WORDS, Panel, sheet
from screener.files.manifest import CAUTION
from screener.hardware import Hardware
from screener.house_loads import HouseLoads
from screener.plans import Variant

SHOWN_LAYERS = ("datum", "segment")


def model_of(house: HouseLoads) -> DemandModel:
    """The demand model of a traced house, without tracing it again."""
    scope = tuple(dict.fromkeys(house.scope))
    return DemandModel(house.variant, house.frame, tuple(house.points), house.books, house.mass, scope, house.roof_ties)


def house_words(variant: Variant, is_mirrored: bool) -> list[str]:
    """Style, options, hand and note of a house, for the head of a drawing."""
    about = variant.plan.plan
    style = variant.plan.styles.get(variant.style, "")
    options = "; ".join(variant.plan.options[o] for o in sorted(variant.options)) or "none"
    named = f"style {variant.style}{f' ({style})' if style else ''}, " if variant.style else ""
    out = [
        f"{named}options: {options}",
        "MIRRORED: left and right changed" if is_mirrored else "as drawn, not mirrored",
    ]
    out.append(f"{about.species}, studs at {about.stud_spacing_in:g} in, {about.foundation.replace('_', ' ')}")
    if about.note:
        out.append(about.note)
    return out


def plan_panels(house: HouseLoads, is_mirrored: bool, loads: DrawnHazards | None = None) -> list[Panel]:
    """Every storey and the roof."""
    largest = largest_of(model_of(house), loads) if loads else None
    panels = []
    for level in house.variant.levels:
        shapes = storey_plan(house, level.index)
        if largest:
            shapes += wall_loads(house, level.index, largest)
        panels.append(Panel(f"storey {level.name}", hand(shapes, house.variant, is_mirrored)))
    zone = house.ctx.pressures.end_zone(house.ctx)[0]
    roof = roof_plan(house) + (roof_loads(house, largest) if largest else [])
    return [*panels, Panel(f"roof, end zones {zone}", hand(roof, house.variant, is_mirrored))]


def plan_sheet(house: HouseLoads, is_mirrored: bool, loads: DrawnHazards | None = None) -> list[Shape]:
    words = house_words(house.variant, is_mirrored) + ([loads.words(house.frame.method)] if loads else [])
    panels = plan_panels(house, is_mirrored, loads)
    return sheet(f"Plan {house.variant.plan.name}", words, panels, _legend(panels, {**HOUSE_WORDS, **ROOF_WORDS}))


def layout_sheet(
    house: HouseLoads, chosen: Mapping[str, Option], hardware: Hardware, is_mirrored: bool, package: str
) -> tuple[list[Shape], list[Placed]]:
    """Layout of every drop, and what is placed."""
    panels, placed = layout_panels(house, chosen, hardware, is_mirrored)
    words = [*house_words(house.variant, is_mirrored), f"for {package}", *_count_lines(placed)]
    title = f"Anchor and strap layout, plan {house.variant.plan.name}"
    return sheet(title, words, panels, _legend(panels, LAYER_WORDS)), placed


def layout_dxf(
    house: HouseLoads, chosen: Mapping[str, Option], hardware: Hardware, is_mirrored: bool, package: str
) -> str:
    """The same for a drafter, in feet of the plan."""
    panels, placed = layout_panels(house, chosen, hardware, is_mirrored)
    words = [f"Plan {house.variant.plan.name}", *house_words(house.variant, is_mirrored), f"for {package}"]
    return dxf_text(drafting_shapes(panels), [CAUTION, *words, *_count_lines(placed), "unit: foot"])


def _count_lines(placed: Sequence[Placed]) -> list[str]:
    """What is placed, a line a drop."""
    counts = counts_by_item(placed)
    out = []
    for drop in DROPS:
        items = [f"{n} {item}" for (d, item), n in counts.items() if d == drop]
        if items:
            out.append(f"{drop}: {'; '.join(items)}")
    return out


def _legend(panels: Sequence[Panel], words: Mapping[str, str]) -> dict[str, str]:
    used = {s.layer for panel in panels for s in panel.shapes}
    return {layer: text for layer, text in words.items() if layer in used}


def placed_lines(house: HouseLoads) -> list[str]:
    """Package lines of a house that a layout can place."""
    return sorted({p.schedule for p in house.points if p.family in LAYER_OF_FAMILY})


def stock_options(
    house: HouseLoads, hardware: Hardware, anchors_at_in: float | None, straps_at_in: float | None
) -> dict[str, Option]:
    """Options for a layout without a package: the first item of the list for each anchor, hold-down and storey strap,
    at the spacing asked for or the widest the list allows."""
    wanted = {"sill_anchor": anchors_at_in, "storey_strap": straps_at_in, "hold_down": None, "hold_down_anchor": None}
    out = {}
    for point in house.points:
        if point.family in wanted and (listed := options_for(point.family, hardware)):
            spacing = wanted[point.family]
            usable = [o for o in listed if spacing is None or abs(o.spacing_in - spacing) < 1e-9]
            if not usable:
                choices = sorted({o.spacing_in for o in listed})
                raise ValueError(f"no {point.family} at {spacing:g} in; expected one of {choices}")
            out[point.schedule] = usable[0]
    return out
