"""Builds the calculation sheet of one lot from a prepared tract and its selection: nothing is run again.

Hazards and demands are read from the run's arrays, loads from the house's own model built once more with its effects
remembering what they are made of, capacities from the functions that chose the item.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from hazard.issues import InputError, Issue
from screener.calculation import ground_motion, resistance, wind
from screener.calculation.loads import Demands
from screener.calculation.sheet import Connection, Demand, OverviewRow, Section, Sheet
from screener.derivation import Part, Step
from screener.design_method import METHOD_WORDS, RESISTANCE_WORDS
from screener.families import family
from screener.files.manifest import CAUTION, basis_words
from screener.joint_lines import CAST_IN
from screener.quantities import PLATE_FAMILIES, bolts_per_piece, spaced_pieces
from screener.standards import asce7_ch27_directional as directional
from screener.standards import asce7_ch28_envelope as envelope

if TYPE_CHECKING:
    import pandas as pd

    from screener.demands import DemandModel
    from screener.pipeline import Prepared
    from screener.selection import HouseResult, PointResult, Selection

WIND_TITLE = "Exposure and terrain by wind direction"
TOE_LIMIT = "toe-nail limit"


class Memo:
    """What does not depend on the lot, kept between the sheets of one house: its traced model, capacities, costs."""

    def __init__(self, model: DemandModel) -> None:
        self.traced = model.traced()
        self.capacity: dict[tuple[str, int, str, int], tuple[Step, ...]] = {}
        self.costs: dict[str, list[float]] = {}


def build_sheet(
    p: Prepared,
    s: Selection,
    lot: int,
    point: str | None = None,
    hardest_only: bool = False,
    pictures: bool = False,
    memo: Memo | None = None,
) -> Sheet:
    """The sheet of one lot (its place among the usable ones).

    ``point``: only connections of this name, or with it in their name. ``hardest_only``: the hardest-worked one.
    ``pictures``: with the terrain profile and the exposure rose as SVG. ``memo``: what the sheets of one house share,
    where many are built.
    """
    house, row = int(p.houses.of_lot[p.usable[lot]]), p.lots.iloc[p.usable[lot]]
    model = p.models[house] if house >= 0 else None
    result = s.houses[house] if house >= 0 else None
    at = np.flatnonzero(result.lots == lot) if result is not None else np.empty(0, dtype=np.intp)
    sections = [
        Section("wind", "Wind at the lot", tuple(wind.wind_steps(p, lot))),
        Section("directions", WIND_TITLE, (), wind.direction_columns(p), tuple(wind.directions(p, lot))),
        Section("ground-motion", "Ground motion at the lot", tuple(ground_motion.seismic_steps(p, lot, house))),
        Section("snow", "Snow at the lot", tuple(ground_motion.snow_steps(p, lot))),
    ]
    flags = dict.fromkeys(f for f in p.findings.items if f.lot == lot)
    tier = s.tier_of_lot[lot]
    sheet = Sheet(
        str(row["lot_id"]),
        p.tract.name,
        _design_words(p),
        _house_words(model, row),
        CAUTION,
        s.package_names[tier] if tier >= 0 else "no package",
        tuple(sections),
        tuple((f.severity, f.code, f.detail, f.next_step) for f in flags),
        basis=basis_words(p.tract, p.site.speed.values[lot : lot + 1]),
        resistance=RESISTANCE_WORDS[p.tract.design.method],
        pictures=_pictures(p, lot) if pictures else (),
    )
    if model is None or result is None:
        return _with(sheet, no_demands="No plan is chosen for this lot: no demands.")
    sections.insert(0, Section("house", "The house", tuple(house_steps(p, model))))
    if not len(at):
        return _with(sheet, sections=tuple(sections), no_demands="A hazard is missing at this lot: no demands.")
    forces = ground_motion.force_steps(p, lot, model, result.basis[int(at[0])])
    sections.append(Section("forces", "Seismic forces of the house", tuple(forces)))
    return _Lot(p, s, result, house, lot, int(at[0]), sections, memo or Memo(model)).fill(sheet, point, hardest_only)


def _pictures(p: Prepared, lot: int) -> tuple[tuple[str, str], ...]:
    from screener.hazard_pictures import pictures_of_lot

    made = pictures_of_lot(p.site, lot, None, p.tract.name)
    return tuple((name, text) for name, text in sorted(made.items()) if name.endswith(".svg"))


def _with(sheet: Sheet, **changes: object) -> Sheet:
    from dataclasses import replace

    return replace(sheet, **changes)  # type: ignore[arg-type]


def _design_words(p: Prepared) -> str:
    """Edition, method and wind procedure, and by what roof ties are sized."""
    design = p.tract.design
    ties = "; roof ties by the larger of main system and components" if design.roof_ties == "components" else ""
    words = f"{design.loads}, {design.method} ({METHOD_WORDS[design.method]})"
    return f"{words}, {design.wind_procedure} wind procedure{ties}"


def _house_words(model: DemandModel | None, row: pd.Series) -> str:
    if model is None:
        return ""
    v = model.variant
    hand = "mirrored (left and right below are those of the plan as drawn)" if row["mirrored"] else "as drawn"
    options = ", ".join(sorted(v.options)) or "none"
    return f"Plan {v.plan.name}, style {v.style or '-'}, options {options}, {hand}"


def house_steps(p: Prepared, model: DemandModel) -> list[Step]:
    """The dimensions and weights of the house that several loads take up."""
    v, edition = model.variant, p.tract.design.loads
    envelope_procedure = model.frame.procedure == "envelope"
    a = float(envelope.end_zone_a_ft(v.least_dimension_ft, v.mean_roof_height_ft))
    steps = [
        Step(
            "dimension a",
            "lesser of 0.1 x least dimension and 0.4 h, not less than 0.04 x least dimension and 3 ft",
            {"least_ft": v.least_dimension_ft, "h_ft": v.mean_roof_height_ft},
            a,
            "ft",
            f"{edition} Figure 28.3-1, 30.2" if envelope_procedure else f"{edition} 30.2",
        )
    ]
    if envelope_procedure:
        steps.append(Step("width of the end zone", "2a", {"a_ft": a}, 2.0 * a, "ft", f"{edition} Figure 28.3-1"))
    else:
        steps += _directional_steps(model, edition)
    for r in v.roofs:
        values = {
            "span_ft": r.span,
            "length_ft": r.length,
            "pitch_in_12": r.pitch_in_12,
            "rise_ft": r.rise_ft,
            "heel_ft": r.heel_ft,
            "eave_overhang_ft": r.eave_overhang_ft,
            "rake_overhang_ft": r.rake_overhang_ft,
            "truss_spacing_ft": r.spacing_ft,
            "ridge along": r.along,
        }
        bearings = ", ".join(f"{name} at {at:g} ft" for at, name in r.bearings)
        steps.append(Step(f"roof {r.name}, {r.shape}", "as drawn", values, bearings, "", "plan file"))
    for level in v.levels:
        about = {"wall_height_ft": level.wall_height_ft, "floor_depth_ft": level.floor_depth_ft}
        steps.append(Step(f"storey {level.name}", "as drawn", about, level.area_sqft, "sq ft", "plan file"))
    for name, (least, greatest) in v.weights.items():
        words = f"weight of {name.replace('_', ' ')}"
        formula = "least resists uplift; greatest presses and shakes"
        steps.append(Step(words, formula, {"greatest_psf": greatest}, least, "psf", "plan file"))
    return steps


def _directional_steps(model: DemandModel, edition: str) -> list[Step]:
    """The ratios that Figure 27.3-1 is entered with, by axis of the wind, and the gust effect factor."""
    v, gust = model.variant, directional.gust_effect_factor(edition)
    x0, y0, x1, y1 = v.extent
    sizes = {"x": (x1 - x0, y1 - y0), "y": (y1 - y0, x1 - x0)}
    steps = [Step("gust effect factor G", "rigid building", {}, gust, "", f"{edition} 26.11.1")]
    for axis, (along, across) in sizes.items():
        values: dict[str, float | str] = {"h_ft": v.mean_roof_height_ft, "L_ft": along, "B_ft": across}
        values["L/B"] = along / across
        what = f"h/L for wind along {axis}"
        steps.append(Step(what, "h / L", values, v.mean_roof_height_ft / along, "", f"{edition} Figure 27.3-1"))
    return steps


class _Lot:
    """What every connection of one lot is taken apart with."""

    def __init__(
        self,
        p: Prepared,
        s: Selection,
        result: HouseResult,
        house: int,
        lot: int,
        at: int,
        sections: list[Section],
        memo: Memo,
    ) -> None:
        self.p, self.s, self.result, self.house, self.lot, self.at = p, s, result, house, lot, at
        self.sections, self.memo = sections, memo
        self.basis = result.basis[at]
        self.demands = Demands(result.model, memo.traced, self.basis)

    def fill(self, sheet: Sheet, point: str | None, hardest_only: bool) -> Sheet:
        overview = self._overview()
        if point is None:
            order = {row.name: n for n, row in enumerate(overview)}
            chosen = sorted(self.result.points, key=lambda r: order.get(r.point.name, len(order)))
            chosen = chosen[:1] if hardest_only else chosen
        else:
            chosen = matching(self.result, point)
            names = {r.point.name for r in chosen}
            overview = [row for row in overview if row.name in names]
        connections = tuple(self.connection(r) for r in chosen)
        book = self.demands.book
        used = [one for c in connections for one in c.uses]
        return _with(
            sheet,
            sections=tuple(self.sections),
            overview=tuple(overview),
            connections=connections,
            loads={one: book.steps[one] for one in dict.fromkeys(used)},
        )

    def _ratio(self, r: PointResult) -> float:
        n = resistance.shown_option(self.s, r, self.lot, self.at)
        return float(r.ratio[self.at, n]) if n >= 0 else math.nan

    def _overview(self) -> list[OverviewRow]:
        rows = []
        for r in self.result.points:
            if not r.ratio.shape[1]:
                continue
            n, ratio = self.s.chosen(self.lot, r.point), self._ratio(r)
            parts = zip(r.point.components, r.largest[self.at], strict=True)
            demand = ", ".join(f"{c} {v:.0f}" for c, v in parts if v > 0)
            best = "-" if math.isfinite(ratio) else "no item holds"
            item = resistance.option_name(self.s, r, n) if n >= 0 else best
            rows.append(OverviewRow(r.point.name, slug(r.point.name), ratio, demand or "nothing pulls", item))
        return sorted(rows, key=lambda row: (-row.ratio, row.name))

    def connection(self, r: PointResult) -> Connection:
        """One connection from its demands to the chosen item."""
        point, at = r.point, self.at
        values = point.values(self.basis[None, :])[0]
        n, chosen = resistance.shown_option(self.s, r, self.lot, at), self.s.chosen(self.lot, point)
        held = r.held[int(r.held_of[at])][n] if n >= 0 else None
        case, ratio = (int(r.ratio_case[at, n]), float(r.ratio[at, n])) if n >= 0 else (-1, math.nan)
        demands = tuple(
            self.demands.demand(point, values, k, int(r.case[at, k]), float(r.largest[at, k]), self._held(r, k, chosen))
            for k in range(len(point.components))
        )
        together: tuple[Demand, ...] = ()
        if case >= 0 and len(point.components) > 1:
            together = tuple(
                self.demands.demand(point, values, k, case, float(values[case, k]), others=False)
                for k in range(len(point.components))
                if values[case, k] > 0 and case != int(r.case[at, k])
            )
        capacity = self._capacity(r, n) if n >= 0 else ()
        if n >= 0 and self.s.options[self.s.line_of(point)][n] is CAST_IN:
            capacity = (resistance.cast_in_step(self.s, self.result, r, self.lot),)
        item = resistance.option_name(self.s, r, chosen) if chosen >= 0 else ""
        pieces = self._pieces(r, chosen) if chosen >= 0 else None
        uses = self.demands.book.needs([p.step for d in (*demands, *together) for f in d.forms for p in f.parts])
        return Connection(
            point.name,
            slug(point.name),
            f"{point.family}: {family(point.family).words}" if point.family != "post_footing" else "post_footing",
            point.place,
            _size(r),
            point.schedule,
            demands,
            together,
            resistance.option_rows(self.s, r, self.lot, at, self._costs(point.schedule)),
            item,
            math.nan if pieces is None or isinstance(pieces.result, str) else pieces.result,
            ratio,
            point.case_names[case] if case >= 0 and math.isfinite(ratio) else "",
            resistance.ratio_step(self.p, self.s, r, held, values, at, n) if held is not None else None,
            (*capacity, *([pieces] if pieces is not None else ())),
            held.notes if held is not None else (),
            self._limits(demands, together, capacity, uses),
            point.steps,
            tuple(uses),
        )

    def _costs(self, line: str) -> list[float]:
        """Cost of every option of a package line, counted once a sheet."""
        costs = self.memo.costs
        if line not in costs:
            known = line in self.s.lines
            place = self.s.lines.index(line) if known else -1
            costs[line] = resistance.line_costs_usd(self.p, self.s, self.house, place) if known else []
        return costs[line]

    def _capacity(self, r: PointResult, n: int) -> tuple[Step, ...]:
        """Steps of the option's capacity under the hazard of the case that gives its ratio."""
        case, held = int(r.ratio_case[self.at, n]), int(r.held_of[self.at])
        hazard = "seismic" if case >= 0 and r.point.case_hazards[case] == "seismic" else "wind"
        key = (r.point.name, n, hazard, held)
        if key not in self.memo.capacity:
            self.memo.capacity[key] = resistance.capacity_steps(self.p, self.s, r, n, hazard, held)
        return self.memo.capacity[key]

    def _held(self, r: PointResult, k: int, chosen: int) -> tuple[float, float]:
        """Capacity and usage ratio of one component as the demands table states them."""
        if chosen < 0:
            return math.nan, math.nan
        point, at, component = r.point, self.at, r.point.components[k]
        hazard = "seismic" if point.case_hazards[int(r.case[at, k])] == "seismic" else "wind"
        capacity = r.held[int(r.held_of[at])][chosen].allowable[hazard].get(component, math.nan)
        demand, whole = float(r.largest[at, k]), float(r.ratio[at, chosen])
        if len(point.components) == 1:
            return capacity, whole if math.isfinite(whole) else math.nan
        return capacity, demand / capacity if capacity > 0 else math.nan if demand > 0 else 0.0

    def _pieces(self, r: PointResult, n: int) -> Step | None:
        """How many pieces this connection takes."""
        line = self.s.line_of(r.point)
        option, point = self.s.options[line][n], r.point
        count = float(self.s.quantities[self.house][line][n].at_point(point.name))
        if option.row < 0:
            return Step("pieces", option.arrangement, {}, count, "", "")
        if point.measure == "each":
            values = {"connections": float(point.count), "each": float(option.pieces)}
            return Step("pieces", "connections x pieces each", values, count, "", "plan file")
        if point.measure != "per_ft":
            values = {"area_sqft": point.area_sqft}
            return Step("pieces", "by panel and nail schedule", values, count, "", "common practice, no source")
        plate = point.family in PLATE_FAMILIES
        rule = bolts_per_piece if plate else spaced_pieces
        parts = tuple(Part(f"run of {run:.2f} ft", 1.0, float(rule(run, option.spacing_in))) for run in point.runs_ft)
        about = {"spacing_in": option.spacing_in}
        if not plate:
            formula = "sum over runs of ceil(L / spacing) + 1"
            return Step("pieces", formula, about, count, "", "common practice, no source", "", parts)
        two = sum(1 for part in parts if part.value == 2.0)
        note = f"two a piece, within 12 in. of its ends, govern on {two} of {len(parts)} plate pieces" if two else ""
        formula = "sum over plate pieces of max(2, ceil((L - 2 ft) / spacing) + 1)"
        return Step("pieces", formula, about, count, "", "IRC 2018 R403.1.6", note, parts)

    def _limits(
        self, demands: Sequence[Demand], together: Sequence[Demand], capacity: Sequence[Step], uses: Sequence[str]
    ) -> tuple[str, ...]:
        """The limits and least values of the standards that decided a number here."""
        found: list[str] = []
        hazards = {d.combination.name: d for d in (*demands, *together) if d.combination and d.demand > 0}
        shaken = any("E" in name for name in hazards)
        blown = any("W" in name for name in hazards)
        steps = {step.what: step for section in self.sections for step in section.steps}
        for what, step in steps.items():
            wind_step = what.startswith("exposure coefficient Kz")
            force_step = what.startswith(("seismic response", "diaphragm force"))
            held = "least" in step.note or "most" in step.note
            if held and ((wind_step and blown) or (force_step and shaken)):
                found.append(f"{what}: {step.note} ({step.source})")
        for one in uses:
            step = self.demands.book.steps[one]
            if step.note.startswith("least") and step.result:
                found.append(f"{step.what}: {step.note}")
            elif step.what.startswith("least"):
                found.append(f"{step.what} ({step.source})")
        for d in demands:
            if len(d.forms) > 1 and d.demand > 0:
                found.append(f"{d.component}: the lesser of two sums governs: {d.governing_form.what}")
        found += [f"{step.what}: {step.note}" for step in capacity if TOE_LIMIT in step.note]
        return tuple(dict.fromkeys(found))


def _size(r: PointResult) -> str:
    point = r.point
    if point.count:
        return f"{point.count} connections"
    return f"{sum(point.runs_ft):.1f} ft" if point.runs_ft else f"{point.area_sqft:.0f} sq ft"


def slug(name: str) -> str:
    """A connection's name as an address inside a page."""
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")


def matching(result: HouseResult, point: str) -> list[PointResult]:
    """The connections of a name, or those with it in their name; ``InputError`` with near names where there is none."""
    names = [r.point.name for r in result.points]
    exact = [r for r in result.points if r.point.name == point]
    found = exact or [r for r in result.points if point.casefold() in r.point.name.casefold()]
    if not found:
        near = difflib.get_close_matches(point, names, n=5, cutoff=0.3)
        raise InputError(
            Issue(
                "point_unknown",
                "stop",
                f"plan {result.model.variant.key}",
                f"no connection '{point}'",
                f"one of its connections, such as {'; '.join(near or names[:5])}",
                "",
            )
        )
    return found
