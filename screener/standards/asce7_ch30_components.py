"""Wind on components and cladding of low-rise buildings: ASCE 7-16 and 7-22, Chapter 30, Part 1.

Surfaces are "wall", "flat" (roofs to 7 degrees), "gable" and "hip"; a gable or hip roof to 7 degrees is read as flat.
Zones carry the figure's names, which differ between editions: see `zones_for`.
"""

from __future__ import annotations

import itertools
import math
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hazard.standards.asce7_ch26_wind import kd_in_pressure
from hazard.standards.tables import load_table, where
from screener.standards._editions import edition_value
from screener.standards.asce7_ch28_envelope import end_zone_a_ft

Floats = NDArray[np.float64]
Curve = tuple[Floats, Floats]  # areas in sq ft, coefficients
Point = tuple[float, float]

FLAT_TO_DEG = 7.0
GREATEST_ROOF_ANGLE_DEG = 45.0
SIGNS = ("suction", "pressure")
PARTS = ("all", "inside", "overhang")


# --- external pressure coefficients ----------------------------------------------------------------------------------


def _figure_surface(surface: str, roof_angle_deg: float) -> str:
    """Surface whose figure applies; roofs to 7 degrees are flat whatever their shape."""
    if surface not in ("wall", "flat", "gable", "hip"):
        raise ValueError(f"surface {surface!r}; expected 'wall', 'flat', 'gable' or 'hip'")
    if not 0.0 <= roof_angle_deg <= GREATEST_ROOF_ANGLE_DEG:
        raise ValueError(f"roof angle {roof_angle_deg} degrees; expected 0 to 45: the figures stop there")
    if surface == "flat" and roof_angle_deg > FLAT_TO_DEG:
        raise ValueError(f"flat roof at {roof_angle_deg} degrees; expected 7 or less, or shape 'gable' or 'hip'")
    return "flat" if surface in ("gable", "hip") and roof_angle_deg <= FLAT_TO_DEG else surface


@cache
def _curves(
    edition: str, surface: str, kind: str, zone: str
) -> tuple[tuple[float, float, float, float, Floats, Floats], ...]:
    """Curves of one zone: angle over, angle to, at angle (NaN), h/B (NaN), areas, coefficients."""
    table = load_table("components_gcp.csv", "screener", ("zone",))
    rows = where(table, edition=edition, surface=surface, kind=kind, zone=zone)
    keys = ("angle_over_deg", "angle_to_deg", "at_angle_deg", "h_over_b")
    groups: dict[str, list[int]] = {}
    for row in rows:
        groups.setdefault("/".join(str(table[key][row]) for key in keys), []).append(int(row))
    result = []
    for members in groups.values():
        over, to, at, ratio = (float(table[key][members[0]]) for key in keys)
        result.append((over, to, at, ratio, table["area_sqft"][members], table["gcp"][members]))
    return tuple(result)


def _on_curve(area_sqft: Floats, areas: Floats, values: Floats) -> Floats:
    """Coefficient at an area: linear in log10(area) between break points, constant beyond them."""
    return np.asarray(np.interp(np.log10(area_sqft), np.log10(areas), values))


def _in_range(
    edition: str, surface: str, kind: str, zone: str, roof_angle_deg: float, area_sqft: Floats, h_over_b: float
) -> Floats | None:
    """Coefficient of a zone at a roof angle, or None where the edition has no such curve at this angle."""
    curves = _curves(edition, surface, kind, zone)
    here = [c for c in curves if c[0] < roof_angle_deg <= c[1]]
    if not here:
        return None
    if not math.isnan(here[0][2]):  # curves that hold at one angle: linear in roof angle between two of them
        steep = max(here, key=lambda c: c[2])
        over = here[0][0]
        flat = min(here, key=lambda c: c[2]) if len(here) > 1 else next(c for c in curves if c[1] == over)
        share = (roof_angle_deg - over) / (steep[2] - over)
        low, high = _on_curve(area_sqft, *flat[4:]), _on_curve(area_sqft, *steep[4:])
        return np.asarray(low + share * (high - low))
    if len(here) > 1:  # curve sets by h/B: linear between the two ratios
        low_set, high_set = sorted(here, key=lambda c: c[3])
        share = float(np.clip((h_over_b - low_set[3]) / (high_set[3] - low_set[3]), 0.0, 1.0))
        low, high = _on_curve(area_sqft, *low_set[4:]), _on_curve(area_sqft, *high_set[4:])
        return np.asarray(low + share * (high - low))
    return _on_curve(area_sqft, *here[0][4:])


def _need(value: Floats | None, what: str) -> Floats:
    """The coefficient, or an error that says which one is missing."""
    if value is None:
        raise ValueError(f"no component and cladding coefficient for {what}")
    return value


def _overhang(edition: str, surface: str, zone: str, angle_deg: float, area: Floats, h_over_b: float) -> Floats:
    """Net suction on an overhang, top and underside together.

    ASCE 7-16 has curves of its own. Where there is none (ASCE 7-22 gable and hip; 7-16 hip over 27 degrees, not read):
    the roof zone's suction above and the wall's pressure below (from memory, Sec. 30.7 of 7-22).
    """
    net = _in_range(edition, surface, "overhang", zone, angle_deg, area, h_over_b)
    if net is not None:
        return net
    top = _need(
        _in_range(edition, surface, "suction", zone, angle_deg, area, h_over_b), f"{edition} {surface} zone {zone}"
    )
    below = _need(_in_range(edition, "wall", "pressure", "4", angle_deg, area, h_over_b), f"{edition} wall")
    return np.asarray(top - below)


def gcp(
    surface: str,
    zone: str,
    sign: str,
    roof_angle_deg: float,
    effective_area_sqft: ArrayLike,
    edition: str,
    h_over_b: float | None = None,
    overhang: bool = False,
) -> Floats:
    """External pressure coefficient GCp of a zone; minus acts away from the surface.

    ASCE 7-16 and 7-22, Figures 30.3-1 and 30.3-2A to -2I; walls take 0.9 of it on buildings with roofs to 10 degrees.
    sign "suction" or "pressure"; effective_area_sqft scalar or array, the shape of the result. h_over_b (mean roof
    height to plan dimension; the least dimension is the safe one) picks the curve set of ASCE 7-16 hip roofs, the more
    severe where None.
    overhang True: net suction of top and underside, to which no internal pressure is added.
    """
    figure = _figure_surface(surface, roof_angle_deg)
    if sign not in SIGNS:
        raise ValueError(f"sign {sign!r}; expected 'suction' or 'pressure'")
    area = np.asarray(effective_area_sqft, dtype=float)
    if np.any(area <= 0.0):
        raise ValueError("effective wind area must be greater than 0 sq ft")
    ratio = math.inf if h_over_b is None else h_over_b
    if overhang and sign == "suction" and figure != "wall":
        return np.asarray(_overhang(edition, figure, zone, roof_angle_deg, area, ratio))[()]
    value = _need(
        _in_range(edition, figure, sign, zone, roof_angle_deg, area, ratio),
        f"{edition}, {figure}, zone {zone!r}, {sign}, {roof_angle_deg} degrees; zones {_names(edition, figure)}",
    )
    reduced = figure == "wall" and roof_angle_deg <= edition_value(edition, "wall_reduction_to_roof_angle_deg")
    return np.asarray(value * (edition_value(edition, "wall_reduction") if reduced else 1.0))[()]


def _names(edition: str, surface: str) -> tuple[str, ...]:
    """Every zone name the edition's table has for a surface."""
    table = load_table("components_gcp.csv", "screener", ("zone",))
    return tuple(sorted({str(zone) for zone in table["zone"][where(table, edition=edition, surface=surface)]}))


def zones_for(surface: str, roof_angle_deg: float, edition: str) -> tuple[str, ...]:
    """Names of the zones of a surface in one edition, in order (ASCE 7-16 and 7-22, Figures 30.3-1, 30.3-2)."""
    figure = _figure_surface(surface, roof_angle_deg)
    area = np.asarray(10.0)
    names = tuple(
        zone
        for zone in _names(edition, figure)
        if _in_range(edition, figure, "suction", zone, roof_angle_deg, area, math.inf) is not None
    )
    if not names:
        raise ValueError(f"no zones for {surface!r} in {edition!r}")
    return names


# --- pressures and areas ---------------------------------------------------------------------------------------------


def effective_wind_area_sqft(span_ft: ArrayLike, width_ft: ArrayLike) -> Floats:
    """Effective wind area: span times the larger of the tributary width and a third of the span.

    ASCE 7-16 and 7-22, Sec. 26.2 (from memory); a fastener's is never more than the area tributary to it.
    """
    span = np.asarray(span_ft, dtype=float)
    return np.asarray(span * np.maximum(np.asarray(width_ft, dtype=float), span / 3.0))[()]


def wall_zone5_width_ft(least_horizontal_ft: ArrayLike, mean_roof_height_ft: ArrayLike) -> Floats:
    """Width of wall zone 5 from a vertical corner: a (ASCE 7-16 and 7-22, Figure 30.3-1)."""
    return end_zone_a_ft(least_horizontal_ft, mean_roof_height_ft)


def minimum_pressure_psf(edition: str) -> float:
    """Least component and cladding pressure, either direction, strength level (ASCE 7-16 and 7-22, Sec. 30.2.2)."""
    return edition_value(edition, "components_minimum_psf")


def components_pressure_psf(qh_psf: ArrayLike, coefficient: ArrayLike, internal: ArrayLike, edition: str) -> Floats:
    """Design pressure p = qh Kd (GCp - GCpi), Kd as the edition places it; minus acts away from the surface.

    ASCE 7-16 and 7-22, Eq. 30.3-1, without the minimum. `internal` carries its sign.
    """
    net = np.asarray(coefficient, dtype=float) - np.asarray(internal, dtype=float)
    return np.asarray(kd_in_pressure(edition) * np.asarray(qh_psf, dtype=float) * net)[()]


def at_least_minimum_psf(pressure_psf: ArrayLike, sign: str, edition: str) -> Floats:
    """Pressure raised to the minimum of Sec. 30.2.2 in its own direction, strength level."""
    pressure, least = np.asarray(pressure_psf, dtype=float), minimum_pressure_psf(edition)
    raised = np.minimum(pressure, -least) if sign == "suction" else np.maximum(pressure, least)
    return np.asarray(raised)[()]


# --- zone geometry (from memory) -------------------------------------------------------------------------------------


@cache
def zone_of_place(edition: str, surface: str, roof_angle_deg: float) -> dict[str, str]:
    """Zone name by part of the roof: ASCE 7-16 and 7-22, Figures 30.3-2A to -2I (`reference/components_zone_map.csv`).

    surface "flat" (to 7 degrees), "gable" or "hip"; the parts are named in that table.
    """
    table = load_table("components_zone_map.csv", "screener", ("zone",))
    rows = [
        row
        for row in where(table, edition=edition, surface=surface)
        if table["angle_over_deg"][row] < roof_angle_deg <= table["angle_to_deg"][row]
    ]
    if not rows:
        raise ValueError(f"no zone map for {surface!r} at {roof_angle_deg} degrees in {edition!r}")
    return {str(table["place"][row]): str(table["zone"][row]) for row in rows}


def _cells(cuts: list[float], end: float) -> list[tuple[float, float]]:
    """Intervals of 0 to `end` between the cuts that fall inside: (midpoint, length)."""
    marks = sorted({0.0, end, *(cut for cut in cuts if 0.0 < cut < end)})
    return [((low + high) / 2.0, high - low) for low, high in itertools.pairwise(marks)]


def _wanted(part: str, in_overhang: bool) -> bool:
    """Whether a cell belongs to the part of the roof that is asked for."""
    return part == "all" or (part == "overhang") == in_overhang


def _gable_places(
    length: float, half: float, a: float, rake_overhang: float, eave_overhang: float, part: str
) -> dict[str, float]:
    """Plan area by place of a gable roof; both slopes, from one quarter of the roof (edges to mid-length and ridge)."""
    areas = dict.fromkeys(("field", "eave", "rake", "ridge", "rake_eave", "rake_ridge"), 0.0)
    for x, dx in _cells([a, rake_overhang], length / 2.0):
        for y, dy in _cells([a, half - a, eave_overhang], half):
            if not _wanted(part, x < rake_overhang or y < eave_overhang):
                continue
            band = "eave" if y < a else "ridge" if half - y < a else ""
            place = (f"rake_{band}" if band else "rake") if x < a else band or "field"
            areas[place] += 4.0 * dx * dy
    return areas


def _flat_places(
    length: float, half: float, h: float, rake_overhang: float, eave_overhang: float, part: str
) -> dict[str, float]:
    """Plan area by place of a flat roof, whose zones are measured in mean roof heights; from one quarter of it."""
    areas = dict.fromkeys(("field", "ring", "edge", "corner"), 0.0)
    cuts = [0.2 * h, 0.6 * h, 1.2 * h]
    for x, dx in _cells([*cuts, rake_overhang], length / 2.0):
        for y, dy in _cells([*cuts, eave_overhang], half):
            if not _wanted(part, x < rake_overhang or y < eave_overhang):
                continue
            near, far = min(x, y), max(x, y)
            corner = near < cuts[0] and far < cuts[1]
            place = "corner" if corner else "edge" if near < cuts[1] else "ring" if near < cuts[2] else "field"
            areas[place] += 4.0 * dx * dy
    return areas


def _clip(polygon: list[Point], nx: float, ny: float, offset: float) -> list[Point]:
    """Part of a convex polygon where nx x + ny y >= offset."""
    kept: list[Point] = []
    for (x0, y0), (x1, y1) in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        d0, d1 = nx * x0 + ny * y0 - offset, nx * x1 + ny * y1 - offset
        if d0 >= 0.0:
            kept.append((x0, y0))
        if (d0 > 0.0 > d1) or (d0 < 0.0 < d1):
            share = d0 / (d0 - d1)
            kept.append((x0 + share * (x1 - x0), y0 + share * (y1 - y0)))
    return kept


def _polygon_area(polygon: list[Point]) -> float:
    """Area of a polygon by the shoelace rule."""
    if len(polygon) < 3:
        return 0.0
    pairs = zip(polygon, polygon[1:] + polygon[:1], strict=True)
    return abs(math.fsum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs)) / 2.0


def _hip_face_places(face: list[Point], base: float, half: float, a: float, is_long: bool) -> dict[str, float]:
    """Plan area by place of one hip face, eave along y = 0 from x = 0 to `base`, hips at 45 degrees on plan."""
    diagonal = a * math.sqrt(2.0)
    strip = _clip(face, 0.0, -1.0, -a)
    corners = _polygon_area(_clip(strip, -1.0, 0.0, -a)) + _polygon_area(_clip(strip, 1.0, 0.0, base - a))
    corners = min(corners, _polygon_area(strip))
    field = _clip(face, 0.0, 1.0, a)
    field = _clip(field, 1.0, -1.0, diagonal)
    field = _clip(field, -1.0, -1.0, diagonal - base)
    if is_long:
        field = _clip(field, 0.0, -1.0, a - half)
    inner, edge = _polygon_area(field), _polygon_area(strip)
    return {
        "field": inner,
        "corner": corners,
        "eave": edge - corners,
        "ridge_hip": _polygon_area(face) - edge - inner,
    }


def _hip_places(length: float, width: float, a: float, inset: float) -> dict[str, float]:
    """Plan area by place of a hip roof of one slope, within the rectangle `inset` from every eave."""
    short, long = min(length, width), max(length, width)
    half = short / 2.0
    areas = dict.fromkeys(("field", "eave", "ridge_hip", "corner"), 0.0)
    for base, is_long in ((long, True), (short, False)):
        face = [(0.0, 0.0), (base, 0.0), (base - half, half), (half, half)]
        face = _clip(face, 0.0, 1.0, inset)  # hips run through the corners of the inset rectangle
        for place, area in _hip_face_places(face, base, half, a, is_long).items():
            areas[place] += 2.0 * area
    return areas


def _hip_part(length: float, width: float, a: float, overhang: float, part: str) -> dict[str, float]:
    """Plan area by place of the asked part of a hip roof."""
    whole = _hip_places(length, width, a, 0.0)
    if part == "all":
        return whole
    inside = _hip_places(length, width, a, overhang)
    return inside if part == "inside" else {place: whole[place] - inside[place] for place in whole}


def roof_zone_areas_sqft(
    shape: str,
    length_ft: float,
    width_ft: float,
    a_ft: float,
    roof_angle_deg: float,
    edition: str,
    eave_overhang_ft: float = 0.0,
    rake_overhang_ft: float | None = None,
    part: str = "all",
    mean_roof_height_ft: float | None = None,
) -> dict[str, float]:
    """Roof area by zone, measured on the slope, of a rectangular gable, hip or flat roof of one pitch.

    ASCE 7-16 and 7-22, Figures 30.3-2A to -2I; the zone maps are from memory. length_ft runs along the ridge, width_ft
    across it, both of the building below; overhangs are added outside and zones are measured from the roof's edge.
    rake_overhang_ft None: as the eaves (hip roofs always). part "all", "inside" (over the building) or "overhang".
    mean_roof_height_ft is needed to 7 degrees, where zones are measured in it. The values sum to the part's area.
    """
    figure = _figure_surface(shape, roof_angle_deg)
    if part not in PARTS:
        raise ValueError(f"part {part!r}; expected one of {', '.join(PARTS)}")
    rake = eave_overhang_ft if rake_overhang_ft is None or shape == "hip" else rake_overhang_ft
    length, width = length_ft + 2.0 * rake, width_ft + 2.0 * eave_overhang_ft
    if figure == "flat":
        if mean_roof_height_ft is None:
            raise ValueError("roof zones to 7 degrees are measured in mean roof heights; expected mean_roof_height_ft")
        places = _flat_places(length, width / 2.0, mean_roof_height_ft, rake, eave_overhang_ft, part)
    elif figure == "gable":
        places = _gable_places(length, width / 2.0, a_ft, rake, eave_overhang_ft, part)
    elif figure == "hip":
        places = _hip_part(length, width, a_ft, eave_overhang_ft, part)
    else:
        raise ValueError("walls have no roof zones; expected shape 'gable', 'hip' or 'flat'")
    on_slope = 1.0 / math.cos(math.radians(roof_angle_deg))
    result: dict[str, float] = {}
    for place, zone in zone_of_place(edition, figure, roof_angle_deg).items():
        result[zone] = result.get(zone, 0.0) + on_slope * places[place]
    return dict(sorted(result.items()))
