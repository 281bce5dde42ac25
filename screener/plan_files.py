"""Plan files read and checked: their form key by key, then the geometry of every style and option.

The geometry is tried on each style with no option, with each one, and with all; see `screener.plans` for the sections
and for the resolved house.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from hazard.issues import InputError, Issue, Issues
from hazard.table_cells import shortened
from screener.files.toml_files import OTHER_FORMS, read_toml
from screener.plans import (
    STACK_FT,
    TOUCH_FT,
    Axis,
    Chosen,
    Plan,
    Roof,
    RoofPart,
    Variant,
    Wall,
    WallLine,
    stands_on,
    wall_below,
)
from screener.standards.nds_connections import species_names

MOST_FAULTS = 200  # told one by one for each plan


def load_plans(folder: Path, issues: Issues | None = None) -> dict[str, Plan]:
    """Every plan of a folder by lower-case name; ``InputError`` lists all faults of all files together.

    What was doubtful but usable goes into `issues`.
    """
    faults: list[Issue] = []
    plans: dict[str, Plan] = {}
    entries = sorted(folder.iterdir()) if folder.is_dir() else []
    files = [entry for entry in entries if entry.suffix.lower() in (".toml", *OTHER_FORMS)]
    if not files:
        raise InputError([Issue("NO_PLANS", "stop", folder.name, "no plan files", "one .toml file a plan", "")])
    for file in files:
        try:
            plan = load_plan(file, issues)
        except InputError as error:
            faults.extend(error.issues)
            continue
        if plan.name.lower() in plans:
            faults.append(
                Issue(
                    "PLAN_TWICE",
                    "stop",
                    f"{file.name} plan.name",
                    f"'{plan.name}' stands in two files",
                    "each plan once",
                    "rename one",
                )
            )
        plans[plan.name.lower()] = plan
    if faults:
        raise InputError(faults)
    return plans


def load_plan(file: Path, issues: Issues | None = None) -> Plan:
    """One plan file, checked in form and in geometry; ``InputError`` names plan, key and what would be legal."""
    issues = Issues() if issues is None else issues
    found = Issues()
    raw = read_toml(file, found, "PLAN", "a plan (TOML)")
    if raw is None:
        raise InputError(found.stops())
    issues.extend(found)
    try:
        plan = Plan.model_validate(raw)
    except ValidationError as error:
        wrong = error.errors()
        faults = [_form_issue(file, raw, e) for e in wrong[:MOST_FAULTS]]
        if len(wrong) > MOST_FAULTS:
            more = f"{len(wrong) - MOST_FAULTS:,} more faults"
            faults.append(Issue("PLAN_KEY", "stop", file.name, more, "none", "plan not used"))
        raise InputError(faults) from error
    faults = [
        Issue("PLAN_GEOMETRY", "stop", f"{file.name} {key}", found, expected, "plan not used")
        for key, found, expected in _geometry_faults(plan)
    ]
    if faults:
        raise InputError(list(dict.fromkeys(faults)))
    return plan


def _form_issue(file: Path, raw: dict[str, Any], error: Any) -> Issue:
    loc = [part for part in error["loc"]]
    where = ".".join(f"[{p}]" if isinstance(p, int) else str(p) for p in loc).replace(".[", "[")
    named = _element_name(raw, loc)
    if named:
        where += f" ({named})"
    expected, found = error["msg"], repr(error.get("input"))[:60]
    if error["type"] == "extra_forbidden":
        known = _known_keys(loc[:-1])
        near = difflib.get_close_matches(str(loc[-1]), known, n=1)
        found, expected = (
            f"unknown key '{loc[-1]}'",
            (f"'{near[0]}'?" if near else f"one of {', '.join(sorted(known))}"),
        )
    elif error["type"] == "missing":
        found = "nothing"
        expected = "this key"
    return Issue("PLAN_KEY", "stop", f"{file.name} {where}", found, expected, "plan not used")


def _element_name(raw: dict[str, Any], loc: list[Any]) -> str:
    node: Any = raw
    name = ""
    for part in loc:
        try:
            node = node[part]
        except (KeyError, IndexError, TypeError):
            break
        if isinstance(node, dict) and isinstance(node.get("name"), str):
            name = node["name"]
    return name


def _known_keys(loc: list[Any]) -> list[str]:
    model: Any = Plan
    for part in loc:
        if isinstance(part, int) or not hasattr(model, "model_fields"):
            continue
        field = next((f for n, f in model.model_fields.items() if part in (n, f.alias)), None)
        if field is None:
            return []
        model = field.annotation
        for inner in getattr(model, "__args__", ()):
            model = next((m for m in (inner, *getattr(inner, "__args__", ())) if hasattr(m, "model_fields")), model)
    fields = getattr(model, "model_fields", {})
    return [f.alias or n for n, f in fields.items()]


def _geometry_faults(plan: Plan) -> Iterator[tuple[str, str, str]]:
    """Every rule of the plan's geometry that a variant must hold, tried on each style with no, one and all options."""
    yield from _name_faults(plan)
    combos = [frozenset[str](), *(frozenset([o]) for o in plan.options), frozenset(plan.options)]
    seen: set[tuple[str, str, str]] = set()
    for style in plan.styles or [""]:
        for built in combos:
            try:
                variant = plan.variant(style, built)
            except (KeyError, ValueError) as error:
                yield (
                    "plan",
                    f"style {style or '-'} cannot be resolved: {error}",
                    "storeys, walls and roofs that fit together",
                )
                return
            for fault in _variant_faults(variant):
                if fault not in seen:
                    seen.add(fault)
                    yield fault


def _name_faults(plan: Plan) -> Iterator[tuple[str, str, str]]:
    if plan.plan.species not in species_names():
        yield "plan.species", f"'{plan.plan.species}'", f"one of {', '.join(species_names())}"
    for option in plan.options:
        if any(mark in option for mark in ";,|"):
            yield (
                f"options.{shortened(option)}",
                "a ; , or |, which parts options in the lots file",
                "a name without it",
            )
    storeys = [s.name for s in plan.storey]
    stacked: list[tuple[str, Sequence[Wall | Roof]]] = [("wall", plan.wall), ("roof", plan.roof)]
    for kind, elements in stacked:
        for part in elements:
            if part.storey not in storeys:
                yield f"{kind} ({part.name}).storey", f"'{part.storey}'", f"one of {', '.join(storeys)}"
    for assembly, weight in plan.weights:
        if weight.greatest_psf < weight.least_psf:
            yield (
                f"weights.{assembly}",
                f"greatest {weight.greatest_psf} below least {weight.least_psf}",
                "greatest >= least",
            )
    picks: list[tuple[str, Chosen]] = [(f"wall ({w.name})", w) for w in plan.wall]
    picks += [(f"wall ({w.name}).openings ({o.name})", o) for w in plan.wall for o in w.openings]
    picks += [(f"roof ({r.name})", r) for r in plan.roof] + [(f"porch ({p.name})", p) for p in plan.porch]
    picks += [(f"storey ({s.name}).areas", a) for s in plan.storey for a in s.areas]
    picks += [("weight_change", c) for c in plan.weight_change]
    for key, e in picks:
        for style in e.styles:
            if style not in plan.styles:
                yield (
                    f"{key}.styles",
                    f"'{style}'",
                    f"one of {', '.join(plan.styles) or 'none (the plan has no styles)'}",
                )
        for option in [*e.options, *e.without]:
            if option not in plan.options:
                yield (
                    f"{key}.options",
                    f"'{option}'",
                    f"one of {', '.join(plan.options) or 'none (the plan has no options)'}",
                )
    for w in plan.wall:
        if abs(w.from_[0] - w.to[0]) > TOUCH_FT and abs(w.from_[1] - w.to[1]) > TOUCH_FT:
            yield f"wall ({w.name})", f"runs from {w.from_} to {w.to}", "a wall parallel to x or y"


def _variant_faults(v: Variant) -> Iterator[tuple[str, str, str]]:
    names: set[str] = set()
    for w in v.walls:
        key = f"wall ({w.name})"
        if w.name in names:
            yield key, "name stands twice", "each wall of a house once"
        names.add(w.name)
        yield from _wall_faults(v, w, key)
    for roof in v.roofs:
        yield from _roof_faults(v, roof)
    for porch in v.porches:
        if porch.attached_wall and porch.attached_wall not in names:
            yield (
                f"porch ({porch.name}).attached_wall",
                f"'{porch.attached_wall}'",
                f"one of {', '.join(sorted(names))}",
            )
    for level in v.levels[1:]:
        below = v.levels[level.index - 1]
        for r in level.areas:
            from shapely.geometry import box
            from shapely.ops import unary_union

            over = box(*r).difference(unary_union([box(*b) for b in below.areas]).buffer(TOUCH_FT)).area
            if over > 1.0:
                yield (
                    f"storey ({level.name}).areas",
                    f"{over:.0f} sq ft beyond the storey below",
                    "areas over lower ones",
                )
    for level in v.levels:
        for axis in ("x", "y"):
            lines = {w.line for w in v.walls_of(level.index, axis) if w.shear}
            if len(lines) < 2:
                yield (
                    f"storey ({level.name})",
                    f"{len(lines)} shear line(s) parallel to {axis} in style "
                    f"{v.style or '-'} with options {', '.join(sorted(v.options)) or 'none'}",
                    "at least two in each axis",
                )


def _wall_faults(v: Variant, w: WallLine, key: str) -> Iterator[tuple[str, str, str]]:
    if w.length < 1.0:
        yield key, f"length {w.length:.2f} ft", "at least 1 ft"
    level = v.levels[w.storey]
    (x0, x1), (y0, y1) = level.extent("x"), level.extent("y")
    lo, hi, at0, at1 = (x0, x1, y0, y1) if w.axis == "x" else (y0, y1, x0, x1)
    if w.lo < lo - TOUCH_FT or w.hi > hi + TOUCH_FT or not at0 - TOUCH_FT <= w.at <= at1 + TOUCH_FT:
        yield key, f"reaches outside storey {level.name}", f"inside x {x0:g} to {x1:g}, y {y0:g} to {y1:g}"
    reach = w.lo
    for o in w.openings:
        if o.lo < w.lo - TOUCH_FT or o.hi > w.hi + TOUCH_FT:
            yield (
                f"{key}.openings ({o.name})",
                f"{o.lo:.2f} to {o.hi:.2f} ft",
                f"within the wall, {w.lo:.2f} to {w.hi:.2f} ft",
            )
        if o.lo < reach - TOUCH_FT:
            yield (
                f"{key}.openings ({o.name})",
                f"starts at {o.lo:.2f} ft inside the opening before it",
                f"from {reach:.2f} ft",
            )
        if o.head_ft > w.height_ft - 0.2:
            yield f"{key}.openings ({o.name})", f"head at {o.head_ft:g} ft", f"room for plates below {w.height_ft:g} ft"
        reach = o.hi
    if w.method == "perforated" and (w.storey or any(wall_below(v, u) == w for u in v.walls_of(1, w.axis))):
        found = "an upper storey" if w.storey else "a wall stands on it"
        yield f"{key}.method", f"perforated, but {found}", "segmented; perforated walls stand on the foundation alone"
    if w.storey and not stands_on(v, w):
        yield f"{key}.stands_on", "no wall of the storey below on its line", "stands_on = a wall of that storey"


def _roof_faults(v: Variant, r: RoofPart) -> Iterator[tuple[str, str, str]]:
    key = f"roof ({r.name})"
    across: Axis = "x" if r.along == "y" else "y"
    own = {w.name: w for w in v.walls_of(r.storey)}
    for at, name in r.bearings:
        if name not in own:
            yield f"{key}.bearings", f"wall '{name}'", f"one of {', '.join(sorted(own))}"
            continue
        w = own[name]
        if w.axis != r.along or abs(w.at - at) > STACK_FT:
            yield (
                f"{key}.bearings",
                f"wall '{name}' at {w.at:g} ft parallel to {w.axis}",
                f"a wall at {at:g} ft parallel to {r.along}",
            )
        elif w.lo > r.along_lo + STACK_FT or w.hi < r.along_hi - STACK_FT:
            yield (
                f"{key}.bearings",
                f"wall '{name}' runs {w.lo:g} to {w.hi:g} ft",
                f"cover the roof's {r.along_lo:g} to {r.along_hi:g} ft (openings are allowed)",
            )
    first, last = r.bearings[0][0], r.bearings[-1][0]
    if abs(first - r.across_lo) > STACK_FT or abs(last - r.across_hi) > STACK_FT:
        yield (
            f"{key}.bearings",
            f"outer bearings at {first:g} and {last:g} ft",
            f"{r.across_lo:g} and {r.across_hi:g} ft",
        )
    for at, name in ((r.along_lo, r.end_walls[0]), (r.along_hi, r.end_walls[1])):
        if name not in own:
            yield f"{key}.end_walls", f"'{name}'", f"one of {', '.join(sorted(own))}"
        elif own[name].axis != across or abs(own[name].at - at) > STACK_FT:
            yield (
                f"{key}.end_walls",
                f"'{name}' at {own[name].at:g} ft parallel to {own[name].axis}",
                f"a wall at {at:g} ft parallel to {across}",
            )
    if not r.across_lo < r.ridge_at < r.across_hi:
        yield f"{key}.ridge_at_ft", f"{r.ridge_at:g}", "between the eaves"
    for at, lo, hi in r.girders:
        if not any(abs(at - b) <= TOUCH_FT for b, _ in r.bearings):
            yield f"{key}.girders", f"girder at {at:g} ft", "at one of the bearings"
        if lo < r.along_lo - TOUCH_FT or hi > r.along_hi + TOUCH_FT or hi <= lo:
            yield f"{key}.girders", f"girder from {lo:g} to {hi:g} ft", f"within {r.along_lo:g} to {r.along_hi:g} ft"
    if r.shape == "hip" and not 0 < r.hip_setback_ft < r.length / 2:
        yield (
            f"{key}.hip_setback_ft",
            f"{r.hip_setback_ft:g}",
            f"more than 0 and less than half the length ({r.length / 2:g} ft)",
        )
