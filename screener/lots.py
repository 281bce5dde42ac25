"""Lots: read, matched to our columns, checked. Every lot that came in goes out once, with its row and a status.

A lot that can't be used is skipped: it keeps its row and gets the reason. Nothing is repaired without an issue.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from hazard.crs import check_coordinates, choose_working_crs, metres_per_unit, transform_xy
from hazard.issues import InputError, Issues
from hazard.table_cells import clean_text
from screener.config import Site
from screener.config_faults import nearest
from screener.files.vectors import VectorFile, VectorLayer, read_layer
from screener.lot_attributes import LotReader, note_cut_texts, read_attributes, split_options
from screener.lot_columns import match_columns
from screener.lot_neighbours import note_neighbours
from screener.lot_places import check_ground, proposal_text
from screener.lot_shapes import Shapes, lot_points, read_shapes, repair
from screener.units import SQUARE_FOOT_M2

SKIPPED = "skipped"
WIDE_M = 50_000.0  # wider than any tract
NEXT_STEPS: dict[str, str] = {
    "no_geometry": "draw the lot, then run again",
    "empty_geometry": "draw the lot, then run again",
    "not_a_polygon": "draw the lot as a closed polygon",
    "vertex_not_finite": "correct the vertex in the lots file",
    "hole_outside": "redraw the lot in the lots file",
    "shape_broken": "redraw the lot in the lots file",
    "lot_too_small": "correct or remove the lot in the lots file",
    "lot_id_missing": "give the lot an id",
    "lot_id_twice": "give each lot its own id, or remove the wrong one",
    "mirrored_unclear": "write yes or no",
    "bearing_unusable": "give degrees from 0 to 360, clockwise from true north",
    "number_unusable": "write a plain number in the column's unit",
    "plan_missing": "choose a plan for the lot, or give [purchase] plan_mix",
    "plan_unknown": "correct the plan's name, or add the plan to the library",
    "style_unknown": "correct the style, or add it to the plan",
    "option_unknown": "correct the option, or add it to the plan",
}


class PlanChoices(NamedTuple):
    """What a lot may ask of a plan: its styles and its options."""

    styles: tuple[str, ...]
    options: tuple[str, ...]


def read_lots(tract: Site, issues: Issues) -> gpd.GeoDataFrame:
    """The lots of a project, one row each, in file order and in their own coordinate system.

    Columns: those of `columns.LOTS_INPUT` (the file's `status` as `lot_status`), `source_row` from 1, `status` ("" or
    "skipped") with `skip_reason`, `skip_detail`, `skip_next_step`, `area_sqft`, `front_bearing_from` ("given",
    "street", "unknown") and `street_sides` (which of L, R, B, seen from the street, also face one). Missing numbers
    are NaN, missing texts "". Skipped lots keep what could be read.

    Every finding goes into `issues`. Raises InputError, with stops that are in `issues` too, where nothing can be done.
    """
    file = VectorFile(
        tract.lots.file,
        tract.shown(tract.lots.file),
        tract.lots.layer,
        tract.lots.crs,
        tract.lots.encoding,
        "[lots]",
        tract.lots.columns,
        tract.lots.axes,
        lambda shapes: proposal_text(tract, shapes),
    )
    before = len(issues.stops())
    layer = read_layer(file, issues)
    columns = match_columns(layer, tract, issues) if layer is not None else {}
    if layer is None or len(issues.stops()) > before:
        raise InputError(issues.stops())
    return lots_of_layer(layer, columns, tract, issues)


def lots_of_layer(
    layer: VectorLayer,
    columns: Mapping[str, str],
    tract: Site,
    issues: Issues,
    row_numbers: NDArray[np.int64] | None = None,
) -> gpd.GeoDataFrame:
    """The same from a layer in memory, its columns matched. `row_numbers` (rows,): the rows' places in their file."""
    before = len(issues.stops())
    reader = LotReader(layer, issues, row_numbers)
    frame = read_attributes(reader, columns, tract)
    note_cut_texts(reader, columns, layer.cut)
    shapes = read_shapes(layer.frame.geometry.to_numpy())
    if shapely.has_z(layer.frame.geometry.to_numpy()).any() or shapely.has_m(layer.frame.geometry.to_numpy()).any():
        issues.add("heights_dropped", "note", layer.where, "vertices with heights or measures", "", "not used")
    if not shapes.usable.any():
        kinds = pd.Series(shapely.get_type_id(layer.frame.geometry.to_numpy())).map(_KINDS).value_counts().to_dict()
        found = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
        issues.add("no_polygons", "stop", layer.where, found, "lots as polygons", "check the file and the layer")
        raise InputError(issues.stops())
    crs = layer.frame.crs
    _check_place(shapes, crs, layer.where, tract, issues)
    if len(issues.stops()) > before:
        raise InputError(issues.stops())
    working = choose_working_crs(_corners(shapes), crs, layer.where)
    measured = repair(shapes, lambda g: _moved(g, crs, working.crs))
    for f in shapes.findings:
        reader.tell(f.position, f.severity, f.code, f.found, f.expected, f.done)
    frame["area_sqft"] = np.where(shapes.usable, shapely.area(measured) / SQUARE_FOOT_M2, np.nan)
    lots = gpd.GeoDataFrame(frame, geometry=_kept_shapes(shapes, layer), crs=crs)
    lots, measured = _one_row_a_lot(lots, measured, reader)
    note_neighbours(measured, reader, lambda g: _moved(g, working.crs, crs))
    _note_strays(measured, reader)
    lots["status"] = np.where(reader.reason != "", SKIPPED, "")
    lots["skip_reason"], lots["skip_detail"] = reader.reason, reader.detail
    lots["skip_next_step"] = [
        NEXT_STEPS.get(code, "correct the lot in the lots file") if code else "" for code in reader.reason
    ]
    lots["lot_id"] = reader.ids
    _fronts(lots, measured, working.crs, tract, issues)
    if len(issues.stops()) > before:
        raise InputError(issues.stops())
    return lots


_KINDS = {-1: "without geometry", 0: "points", 1: "lines", 2: "rings", 3: "polygons", 4: "multipoints"}
_KINDS |= {5: "multilines", 6: "multipolygons", 7: "collections"}


# ---------------------------------------------------------------- place and shape


def _corners(shapes: Shapes) -> NDArray[np.float64]:
    bounds = shapely.bounds(shapes.geometry[shapes.usable])
    return np.concatenate([bounds[:, :2], bounds[:, 2:]])


def _check_place(shapes: Shapes, crs: pyproj.CRS, where: str, tract: Site, issues: Issues) -> None:
    """What speaks against the lots' coordinate system; a stop comes with the systems that would fit."""
    area_sqft = None
    if crs.is_projected:
        areas = shapely.area(shapes.geometry[shapes.usable]) * metres_per_unit(crs) ** 2 / SQUARE_FOOT_M2
        area_sqft = float(np.median(areas))
    found = check_coordinates(_corners(shapes), crs, where, area_sqft)
    if any(issue.severity == "stop" for issue in found):
        lines = proposal_text(tract, shapes.geometry[shapes.usable], crs)
        found = [replace(i, done=f"{i.done}{lines}") if i.severity == "stop" else i for i in found]
    else:
        found += check_ground(tract, shapes.geometry[shapes.usable], crs, where)
    issues.extend(found)


def _moved(geometries: NDArray[np.object_], crs: pyproj.CRS, other: pyproj.CRS) -> NDArray[np.object_]:
    moved: NDArray[np.object_] = shapely.transform(geometries, lambda xy: transform_xy(xy, crs, other))
    return moved


def _kept_shapes(shapes: Shapes, layer: VectorLayer) -> NDArray[np.object_]:
    """Shapes as used; a lot that is skipped keeps its own drawing, so that it can be seen."""
    return np.where(shapes.usable, shapes.geometry, layer.frame.geometry.to_numpy())


def _one_row_a_lot(
    lots: gpd.GeoDataFrame, measured: NDArray[np.object_], reader: LotReader
) -> tuple[gpd.GeoDataFrame, NDArray[np.object_]]:
    """Settle ids that stand twice: the same lot twice is one; two different lots with one id are both skipped."""
    rows_of: dict[str, list[int]] = {}
    for i in np.flatnonzero(pd.Series(reader.ids).duplicated(keep=False)).tolist():
        rows_of.setdefault(reader.ids[i], []).append(i)
    drop: list[int] = []
    for name, rows in rows_of.items():
        if len(rows) > 1:
            drop += _settle(lots, measured, reader, name, rows)
    if not drop:
        return lots, measured
    keep = np.setdiff1d(np.arange(reader.rows), drop)
    for attribute in ("ids", "reason", "detail", "row_numbers"):
        setattr(reader, attribute, getattr(reader, attribute)[keep])
    reader.rows = len(keep)
    return lots.iloc[keep].reset_index(drop=True), measured[keep]


def _settle(
    lots: gpd.GeoDataFrame, measured: NDArray[np.object_], reader: LotReader, name: str, rows: list[int]
) -> list[int]:
    numbers = reader.row_numbers
    shown = ", ".join(str(numbers[i]) for i in rows)
    first = rows[0]
    attributes = lots.drop(columns=["geometry", "source_row"]).iloc[rows]
    same = len(attributes.astype("str").drop_duplicates()) == 1 and all(
        shapely.equals(measured[first], measured[i]) for i in rows[1:]
    )
    if same:
        done = f"kept row {numbers[first]}"
        reader.tell(first, "fix", "lot_repeated", f"rows {shown} are the same lot", "each lot once", done)
        return rows[1:]
    for i in rows[1:]:
        reader.ids[i] = f"{name} (row {numbers[i]})"
    for i in rows:
        found = f"lot id {name} stands in rows {shown}, which differ"
        reader.tell(i, "skip", "lot_id_twice", found, "each id once", "none was chosen: all of them are skipped")
    return []


def _note_strays(measured: NDArray[np.object_], reader: LotReader) -> None:
    """Lots far from all others, where the tract is wider than any tract."""
    bounds = shapely.bounds(measured)
    if (
        not np.isfinite(bounds).any()
        or (np.nanmax(bounds[:, 2:], axis=0) - np.nanmin(bounds[:, :2], axis=0)).max() < WIDE_M
    ):
        return
    points = lot_points(measured)
    usable = np.isfinite(points).all(axis=1)
    if not usable.any() or np.ptp(points[usable], axis=0).max() < WIDE_M:
        return
    away = np.hypot(*(points - np.median(points[usable], axis=0)).T)
    for i in np.flatnonzero(np.nan_to_num(away) > 25_000.0)[:20]:
        found = f"{away[i] / 1609.344:,.0f} miles from the middle of the lots"
        reader.tell(int(i), "warn", "lot_far_away", found, "one tract", "computed; check its coordinates")


# ---------------------------------------------------------------- fronts


def _fronts(
    lots: gpd.GeoDataFrame, measured: NDArray[np.object_], working: pyproj.CRS, tract: Site, issues: Issues
) -> None:
    from screener.streets import add_fronts, read_streets

    streets = read_streets(tract, working, issues)
    add_fronts(lots, measured, streets, issues, _where_of(tract))


def _where_of(tract: Site) -> str:
    name = tract.shown(tract.lots.file)
    return f"{name}:{tract.lots.layer}" if tract.lots.layer else name


# ---------------------------------------------------------------- after reading


def match_plans(
    lots: gpd.GeoDataFrame, plans: Mapping[str, PlanChoices], has_mix: bool, issues: Issues, where: str = "lots"
) -> None:
    """Check plan, style and options of each lot against the library; names become the library's own spelling.

    `plans` is plan name -> its styles and options. Lots without a plan stay blank where there is a plan mix to forecast
    from, and are skipped where there is none. Changes `lots` in place.
    """
    by_fold = {name.casefold(): name for name in plans}
    by_look = {clean_text(name).casefold(): name for name in plans}
    place, distinct = wishes(lots)
    chosen = [by_fold.get(wish.plan.casefold(), "") for wish in distinct]
    for k, wish in enumerate(distinct):
        alike = by_look.get(clean_text(wish.plan).casefold(), "") if wish.plan and not chosen[k] else ""
        if alike:
            chosen[k] = alike
            _note_look_alike(lots, np.flatnonzero(place == k), wish.plan, alike, issues, where)
    faults = [_plan_fault(w, p, plans, has_mix) for w, p in zip(distinct, chosen, strict=True)]
    for i in np.flatnonzero(np.array([fault is not None for fault in faults], dtype=bool)[place]):
        code, found, expected = faults[place[i]] or ("", "", "")
        skip_lot(lots, int(i), code, found, expected, issues, where)
    matched = [
        Wish(
            p,
            _spelled(w.style, plans[p].styles),
            ";".join(sorted(_spelled(o, plans[p].options) for o in split_options(w.options))),
        )
        if p
        else w
        for w, p in zip(distinct, chosen, strict=True)
    ]
    for k, name in enumerate(Wish._fields):
        lots[name] = np.array([wish[k] for wish in matched], dtype=object)[place] if len(lots) else lots[name]
    blank = int(((lots["plan"] == "") & (lots["status"] != SKIPPED)).sum())
    if blank:
        done = "their hazards are shown; they are in the forecast, from the mix, and not in the bill"
        issues.add("plan_open", "note", where, f"{blank} lots have no plan yet", "", done)


def _note_look_alike(
    lots: gpd.GeoDataFrame, rows: NDArray[np.intp], given: str, plan: str, issues: Issues, where: str
) -> None:
    """Lots whose plan is written with letters that only look right."""
    found = f"plan {given!a} has letters that only look like those of {plan!a}"
    for i in rows:
        name = str(lots["lot_id"].iat[i])
        issues.add("plan_look_alike", "warn", f"{where} {name}", found, "the plan's own letters", "taken for it", name)


class Wish(NamedTuple):
    """What a lot asks for."""

    plan: str
    style: str
    options: str


def wishes(lots: pd.DataFrame) -> tuple[NDArray[np.intp], list[Wish]]:
    """The distinct houses that lots ask for, in order of appearance, and which of them each lot (lots,) asks for."""
    columns = [pd.factorize(lots[name].astype(str)) for name in Wish._fields]
    asked = np.zeros(len(lots), dtype=np.int64)
    for codes, texts in columns:
        asked = asked * max(len(texts), 1) + codes
    place, _ = pd.factorize(asked)
    first = np.unique(place, return_index=True)[1]
    return place, [Wish(*(str(texts[codes[i]]) for codes, texts in columns)) for i in first.tolist()]


def _plan_fault(wish: Wish, plan: str, plans: Mapping[str, PlanChoices], has_mix: bool) -> tuple[str, str, str] | None:
    given, style, options = wish
    if not given:
        return None if has_mix else ("plan_missing", "no plan", f"one of {', '.join(sorted(plans))}, or a plan mix")
    if not plan:
        close = nearest(given, tuple(plans))
        known = f"{close} (the nearest)" if close else f"one of {', '.join(sorted(plans))}"
        return "plan_unknown", f"plan {given!r} is not in the library", known
    choices = plans[plan]
    if style and style.casefold() not in {s.casefold() for s in choices.styles}:
        known = f"one of {', '.join(choices.styles) or 'none'}"
        return "style_unknown", f"plan {plan} has no style {style!r}", known
    known_options = {o.casefold() for o in choices.options}
    for option in split_options(options):
        if option.casefold() not in known_options:
            known = f"any of {', '.join(choices.options) or 'none'}"
            return "option_unknown", f"plan {plan} has no option {option!r}", known
    return None


def _spelled(name: str, known: Sequence[str]) -> str:
    return next((k for k in known if k.casefold() == name.casefold()), name)


def spread(values: Any, places: NDArray[np.intp], lots: int) -> NDArray[Any]:
    """Values of some lots in the places of all `lots`; NaN or blank elsewhere."""
    values = np.asarray(values)
    out: NDArray[Any]
    if values.dtype.kind in "fiu":
        out = np.full(lots, np.nan)
    else:
        texts_only = values.dtype.kind != "O" or pd.api.types.infer_dtype(values, skipna=False) == "string"
        bare = not texts_only and any(isinstance(v, bool | np.bool_) or v is None for v in values)
        out = np.full(lots, None if bare else "", dtype=object)
    out[places] = values
    return out


def skip_lot(
    lots: gpd.GeoDataFrame, i: int, code: str, found: str, expected: str, issues: Issues, where: str = "lots"
) -> None:
    """Skip one more lot after reading, with the reason in the lots and among the issues. The first reason stays."""
    name = str(lots["lot_id"].iat[i])
    issues.add(code, "skip", f"{where} {name}", found, expected, "skipped", name)
    if lots["status"].iat[i] == SKIPPED:
        return
    row = lots.index[i]
    lots.loc[row, ["status", "skip_reason", "skip_detail", "skip_next_step"]] = [
        SKIPPED,
        code,
        f"{found}; expected {expected}" if expected else found,
        NEXT_STEPS.get(code, "correct the lot in the lots file"),
    ]
