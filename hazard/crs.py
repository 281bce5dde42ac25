"""Coordinate systems: a local one with true distances for a tract, transforms, and checks of what a file claims.

The working system is a transverse Mercator centred on the lots, in metres, scale 1 at its centre, on the lots' own
datum, so that going there from the lots is pure projection. Distances are then long by x^2 / (2 R^2): 3e-7 at 5 km
from the central meridian, 8e-6 at 25 km. Grid north differs from true north by (longitude difference) * sin(latitude):
0.04 degrees at 5 km and 0.2 degrees at 25 km from the centre at 40 degrees north, so +y is true north for a tract.
"""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray
from pyproj.aoi import AreaOfInterest
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion
from pyproj.exceptions import CRSError
from pyproj.network import set_network_enabled  # type: ignore[attr-defined]
from pyproj.transformer import TransformerGroup

from hazard.issues import InputError, Issue

Floats = NDArray[np.float64]

# No transform may depend on files that only some machines have fetched.
set_network_enabled(active=False)

METRES_PER_FOOT = 0.3048
SQFT_PER_SQUARE_METRE = 1.0 / METRES_PER_FOOT**2

LARGEST_COORDINATE = 1e8
LARGEST_DEGREES = 720.0  # beyond any way to write a longitude
OUTSIDE_AREA_KM = 50.0
WIDE_TRACT_KM = 50.0
WORST_BALLPARK_M = 10.0
NOTED_ACCURACY_M = 2.0

# Median lot areas, sq ft, that no subdivision has, and that most have.
IMPOSSIBLE_LOT_SQFT = (1_000.0, 1.0e6)
ORDINARY_LOT_SQFT = (1_500.0, 50_000.0)
DOUBTFUL_LOT_SQFT = (1_500.0, 60_000.0)

# Where the United States is, in degrees (west, south, east, north).
UNITED_STATES = (
    (-125.5, 24.0, -66.5, 49.7),
    (-180.0, 51.0, -129.5, 72.0),
    (172.0, 51.0, 180.0, 54.0),
    (-161.0, 18.5, -154.5, 22.5),
    (-68.0, 17.5, -64.3, 18.7),
    (144.0, 13.0, 146.5, 20.7),
    (-171.5, -14.8, -168.0, -10.9),
)
# Frames that agree with one another to about two metres.
MODERN_DATUM_PATTERN = re.compile(r"ITRF|ITRS|IGS\d|NATRF|WGS_?1984|WGS ?84|NAD[ _]?83|1983", re.IGNORECASE)


@dataclass(frozen=True)
class WorkingCRS:
    """The tract's working system (metres, true distances, +y north) and how it was chosen."""

    crs: pyproj.CRS
    centre_lon_degree: float
    centre_lat_degree: float
    description: str

    def wkt(self) -> str:
        """The system as WKT2, for the run record."""
        return str(self.crs.to_wkt())

    def from_other(self, xy: ArrayLike, crs: pyproj.CRS) -> Floats:
        """Points (n, 2) of another system in this one, metres."""
        return transform_xy(xy, crs, self.crs)

    def to_lon_lat(self, xy: ArrayLike) -> Floats:
        """Points (n, 2) of this system in degrees of longitude and latitude on its own datum."""
        return lon_lat(xy, self.crs)


def parse_crs(given: object, where: str) -> pyproj.CRS:
    """A usable horizontal system from an EPSG code, WKT, PROJ string or object; InputError if there is none.

    `where` names the file (and layer) in the message.
    """
    if given is None or (isinstance(given, str) and not given.strip()):
        raise InputError(
            Issue(
                "crs_missing",
                "stop",
                where,
                "no coordinate reference system",
                "one, such as EPSG:2285",
                "set crs for this file in the project file",
            )
        )
    try:
        crs = pyproj.CRS.from_user_input(given)
    except CRSError as error:
        raise InputError(_unusable(where, f"coordinate reference system {str(given)[:80]!r}", str(error))) from error
    flat = horizontal(crs)
    if not (flat.is_projected or flat.is_geographic):
        raise InputError(_unusable(where, f"coordinate reference system {crs.name!r} ({crs.type_name})", "")) from None
    try:  # a system may be read in one notation and be refused in the one that points are turned by
        for system in (flat, _geographic(flat)):
            pyproj.CRS(system.to_wkt())
    except (CRSError, ValueError) as error:
        raise InputError(_unusable(where, f"coordinate reference system {crs.name!r}", str(error))) from error
    return flat


def horizontal(crs: pyproj.CRS) -> pyproj.CRS:
    """The two-dimensional part: a compound system's first part, a bound system's source, without a third axis."""
    if crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    return crs.to_2d() if len(crs.axis_info) == 3 else crs


def vertical_unit(crs: pyproj.CRS) -> str:
    """The name of the height unit of a compound or three-dimensional system; "" if it has no height."""
    parts = crs.sub_crs_list if crs.is_compound else [crs]
    for part in parts:
        for axis in part.axis_info:
            if axis.direction in ("up", "down"):
                return str(axis.unit_name)
    return ""


def metres_per_unit(crs: pyproj.CRS) -> float:
    """Length of the system's unit in metres, by its own factor (US survey foot 1200/3937, international foot 0.3048).

    Only for projected systems: a degree has no length.
    """
    if not crs.is_projected:
        raise ValueError(f"{crs.name} has no length unit; expected a projected system")
    return float(crs.axis_info[0].unit_conversion_factor)


def feet(metres: ArrayLike) -> Floats:
    """Metres in international feet."""
    return np.asarray(np.asarray(metres, dtype=np.float64) / METRES_PER_FOOT)


def metres(feet: ArrayLike) -> Floats:
    """International feet in metres."""
    return np.asarray(np.asarray(feet, dtype=np.float64) * METRES_PER_FOOT)


def transform_xy(xy: ArrayLike, from_crs: pyproj.CRS, to_crs: pyproj.CRS) -> Floats:
    """Points (n, 2), x or longitude first whatever the systems' own axis order, in another system."""
    points: Floats = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
    if from_crs == to_crs or not len(points):
        return points.copy()
    x, y = _transformer(from_crs.to_wkt(), to_crs.to_wkt()).transform(points[:, 0], points[:, 1])
    return np.column_stack([x, y])


def lon_lat(xy: ArrayLike, crs: pyproj.CRS) -> Floats:
    """Points (n, 2) in degrees of longitude and latitude on the system's own datum."""
    if crs.is_geographic:
        turn = np.degrees(crs.axis_info[0].unit_conversion_factor)
        return np.asarray(np.asarray(xy, dtype=np.float64).reshape(-1, 2) * turn)
    return transform_xy(xy, crs, _geographic(crs))


def choose_working_crs(xy: ArrayLike, crs: pyproj.CRS, where: str = "lots") -> WorkingCRS:
    """The working system of a tract, from any points of it (its lots' representative points or corners).

    The centre is the middle of the points' box in degrees, to four decimals, so it does not depend on their order.
    InputError, naming `where`, if no point has a place on the earth.
    """
    degrees = _unwrapped(lon_lat(xy, crs))
    degrees = degrees[np.isfinite(degrees).all(axis=1)]
    if not len(degrees):
        raise InputError(Issue("no_coordinates", "stop", where, "no usable coordinate", "points in the lots' system"))
    low, high = degrees.min(axis=0), degrees.max(axis=0)
    lon, lat = (round(float(v), 4) for v in (low + high) / 2)
    lon = (lon + 180.0) % 360.0 - 180.0
    base = _geographic(crs)
    local = ProjectedCRS(
        conversion=TransverseMercatorConversion(
            latitude_natural_origin=lat, longitude_natural_origin=lon, scale_factor_natural_origin=1.0
        ),
        name=f"Transverse Mercator centred on the tract at {lat:.4f}, {lon:.4f}",
        geodetic_crs=base,
    )
    description = f"transverse Mercator, metres, scale 1 at longitude {lon:.4f}, latitude {lat:.4f}, datum {base.name}"
    return WorkingCRS(pyproj.CRS(local.to_wkt()), lon, lat, description)


def convergence_deg(working: WorkingCRS, xy: ArrayLike) -> Floats:
    """Angle from true north to +y at points of the working system, degrees, positive clockwise."""
    degrees = working.to_lon_lat(xy)
    factors = pyproj.Proj(working.crs).get_factors(degrees[:, 0], degrees[:, 1])
    return np.asarray(factors.meridian_convergence, dtype=np.float64)


def true_north(crs: pyproj.CRS, xy: ArrayLike) -> Floats:
    """Unit vectors (n, 2) of true north in a system's own coordinates, at points of it."""
    degrees = lon_lat(xy, crs)
    step = 1e-4
    base = _geographic(crs)
    south, north = (transform_xy(degrees + np.array([0.0, s]), base, crs) for s in (-step, step))
    vector = north - south
    return np.asarray(vector / np.linalg.norm(vector, axis=1, keepdims=True))


def check_coordinates(
    xy: ArrayLike, crs: pyproj.CRS, where: str, median_lot_area_sqft: float | None = None
) -> list[Issue]:
    """What speaks against points (n, 2) being in the system their file claims. Nothing is guessed or changed.

    `median_lot_area_sqft` is the lots' median area as the claimed system gives it.
    """
    points: Floats = np.asarray(xy, dtype=np.float64).reshape(-1, 2)
    points = points[np.isfinite(points).all(axis=1)]
    if not len(points):
        return []
    found = _check_magnitude(points, where)
    if found:
        return found
    found = _check_kind(points, crs, where, median_lot_area_sqft)
    found = found or _check_axis_order(points, crs, where) or _check_area_of_use(points, crs, where)
    if not found:
        found = _check_lot_area(crs, where, median_lot_area_sqft)
        found += _check_spread(points, crs, where)
        found += _describe(points, crs, where)
    return found


def check_transform(from_crs: pyproj.CRS, to_crs: pyproj.CRS, where: str, xy: ArrayLike | None = None) -> list[Issue]:
    """Whether points can be carried from one system's datum to another's well enough to find a raster cell.

    `xy` are points in `from_crs`: the transform is then the best for their region.
    """
    first, second = _geographic(from_crs), _geographic(to_crs)
    if first == second or first.datum == second.datum:
        return []
    accuracy_m, ballpark = _accuracy_m(first.to_wkt(), second.to_wkt(), _region(xy, from_crs))
    names = f"{first.name} to {second.name}"
    modern = _is_modern(first) and _is_modern(second)
    if accuracy_m < 0 and ballpark and modern:
        return []
    if accuracy_m < 0 or accuracy_m > WORST_BALLPARK_M:
        known = f"good to {accuracy_m:g} m only" if accuracy_m >= 0 else "of unknown accuracy (a needed grid is absent)"
        fix = "give lots and rasters on one datum"
        expected = f"{WORST_BALLPARK_M:g} m or better"
        return [Issue("datum_shift_unknown", "stop", where, f"datum change {names} is {known}", expected, fix)]
    if accuracy_m > NOTED_ACCURACY_M:
        found = f"datum change {names} is good to {accuracy_m:g} m"
        expected = f"{NOTED_ACCURACY_M:g} m or better"
        return [Issue("datum_shift", "note" if modern else "warn", where, found, expected, "computed with it")]
    return []


def _check_magnitude(points: Floats, where: str) -> list[Issue]:
    """Coordinates that no system on the ground can have."""
    largest = float(np.abs(points).max())
    if largest <= LARGEST_COORDINATE:
        return []
    found = f"a coordinate of {largest:.6g}"
    return [Issue("coordinates_impossible", "stop", where, found, f"below {LARGEST_COORDINATE:g}", "check the file")]


def _check_kind(points: Floats, crs: pyproj.CRS, where: str, area_sqft: float | None) -> list[Issue]:
    """Lengths where the system has degrees, or degrees where it has lengths."""
    largest = float(np.abs(points).max())
    if crs.is_geographic and largest > LARGEST_DEGREES:
        found, fix = f"coordinates {_box(points)}", "the file holds feet or metres: set the right crs for it"
        return [Issue("lengths_in_degrees", "stop", where, found, f"degrees ({crs.name})", fix)]
    if crs.is_projected and largest <= 180.0 and area_sqft is not None and area_sqft < 1.0:
        found = f"coordinates {_box(points)}, and a median lot of {area_sqft:.2g} sq ft"
        fix = "the file seems to hold degrees: set the right crs for it"
        return [Issue("degrees_in_lengths", "stop", where, found, f"lengths ({crs.name})", fix)]
    return []


def _check_axis_order(points: Floats, crs: pyproj.CRS, where: str) -> list[Issue]:
    """Longitude and latitude, or easting and northing, the wrong way round."""
    swapped = points[:, ::-1]
    if crs.is_geographic:
        degrees, turned = lon_lat(points, crs), lon_lat(swapped, crs)
        wrong = bool(np.abs(degrees[:, 1]).max() > 90.0) or (
            not _share_in_us(degrees) > 0.5 and _share_in_us(turned) > 0.5
        )
    else:
        area = crs.area_of_use
        if area is None or _km_outside(points, crs, area) <= OUTSIDE_AREA_KM:
            return []
        wrong = _km_outside(swapped, crs, area) <= OUTSIDE_AREA_KM
    if not wrong:
        return []
    found = f"coordinates {_box(points)}, which fit only as {_box(swapped)}"
    return [
        Issue("axis_order_swapped", "stop", where, found, "x (longitude or easting) first", "swap the axes in the file")
    ]


def _check_area_of_use(points: Floats, crs: pyproj.CRS, where: str) -> list[Issue]:
    """Points far from where the system applies; if the other length unit would put them there, say so."""
    area = crs.area_of_use
    if area is None or _km_outside(points, crs, area) <= OUTSIDE_AREA_KM:
        return []
    bounds = f"{area.west:g} to {area.east:g} E, {area.south:g} to {area.north:g} N"
    found = f"coordinates {_box(points)} ({_box_degrees(points, crs)})"
    if crs.is_projected:
        unit, other, scale = _other_unit(crs)
        if _km_outside(points * scale, crs, area) <= OUTSIDE_AREA_KM:
            found += f" are outside the area of {crs.name} as {unit}, and inside it as {other}"
            fix = f"the file labels {other} as {unit}: set the right crs for it in the project file"
            return [Issue("length_unit_mislabelled", "stop", where, found, f"inside {bounds}", fix)]
    found += f" are more than {OUTSIDE_AREA_KM:g} km outside the area of {crs.name}"
    return [Issue("outside_area_of_use", "stop", where, found, f"inside {bounds}", "set the right crs for this file")]


def _check_lot_area(crs: pyproj.CRS, where: str, area_sqft: float | None) -> list[Issue]:
    """A median lot area that fits the other length unit only, or better."""
    if area_sqft is None or not np.isfinite(area_sqft) or not crs.is_projected:
        return []
    unit, other, scale = _other_unit(crs)
    other_sqft = area_sqft * scale**2
    ordinary = ORDINARY_LOT_SQFT[0] <= other_sqft <= ORDINARY_LOT_SQFT[1]
    found = f"the median lot is {area_sqft:,.0f} sq ft if the coordinates are {unit}, {other_sqft:,.0f} if {other}"
    expected = f"{ORDINARY_LOT_SQFT[0]:,.0f} to {ORDINARY_LOT_SQFT[1]:,.0f} sq ft"
    if ordinary and not IMPOSSIBLE_LOT_SQFT[0] <= area_sqft <= IMPOSSIBLE_LOT_SQFT[1]:
        fix = f"the file seems to label {other} as {unit}: set the right crs for it in the project file"
        return [Issue("length_unit_mislabelled", "stop", where, found, expected, fix)]
    if ordinary and not DOUBTFUL_LOT_SQFT[0] <= area_sqft <= DOUBTFUL_LOT_SQFT[1]:
        return [Issue("length_unit_doubtful", "warn", where, found, expected, f"computed as {unit}; check the crs")]
    return []


def _check_spread(points: Floats, crs: pyproj.CRS, where: str) -> list[Issue]:
    """Layers too wide to be one tract."""
    degrees = _unwrapped(lon_lat(points, crs))
    low, high = degrees.min(axis=0), degrees.max(axis=0)
    if high[0] - low[0] > 180.0:
        found = f"longitudes from {low[0]:.4f} to {high[0]:.4f}"
        return [Issue("wider_than_half_the_globe", "stop", where, found, "one tract", "split or correct the file")]
    _, _, length_m = pyproj.Geod(ellps="WGS84").inv(low[0], low[1], high[0], high[1])
    if length_m / 1000.0 > WIDE_TRACT_KM:
        found = f"lots spread over {length_m / 1000.0:,.0f} km"
        return [Issue("tract_wide", "warn", where, found, f"within {WIDE_TRACT_KM:g} km", "a stray lot is likely")]
    return []


def _describe(points: Floats, crs: pyproj.CRS, where: str) -> list[Issue]:
    """Notes on systems whose own lengths or directions are not used as they are."""
    notes = []
    if crs.is_geographic:
        found = f"geographic coordinates ({crs.name})"
        notes.append(Issue("crs_geographic", "note", where, found, "", "measured in the tract's working system"))
    elif crs.to_epsg() == 3857 or "pseudo-mercator" in crs.name.casefold():
        lat = float(np.median(lon_lat(points, crs)[:, 1]))
        found = f"{crs.name}: lengths are {1.0 / np.cos(np.radians(lat)):.3f} times too long here"
        notes.append(Issue("crs_web_mercator", "note", where, found, "", "measured in the tract's working system"))
    elif "us survey" in crs.axis_info[0].unit_name.casefold():
        found = f"{crs.name} in US survey feet"
        notes.append(Issue("crs_us_survey_feet", "note", where, found, "", "read by the system's own factor 1200/3937"))
    return notes


def _unusable(where: str, found: str, detail: str) -> Issue:
    """The stop for a system that nothing can be located in."""
    reason = f" ({detail[:120]})" if detail else ""
    return Issue(
        "crs_unusable",
        "stop",
        where,
        found + reason,
        "a geographic or projected system",
        "set crs for this file in the project file",
    )


@lru_cache(maxsize=64)
def _transformer(from_wkt: str, to_wkt: str) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(pyproj.CRS(from_wkt), pyproj.CRS(to_wkt), always_xy=True)


@lru_cache(maxsize=64)
def _accuracy_m(from_wkt: str, to_wkt: str, region: tuple[float, float, float, float] | None) -> tuple[float, bool]:
    """Accuracy (m, -1 unknown) of the best transform that needs nothing fetched, and whether it is only a guess."""
    area = AreaOfInterest(*region) if region else None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a better transform needs a grid that is not on this machine
        group = TransformerGroup(pyproj.CRS(from_wkt), pyproj.CRS(to_wkt), always_xy=True, area_of_interest=area)  # type: ignore[arg-type]
    if not group.transformers:
        return -1.0, True
    best = group.transformers[0]
    return float(best.accuracy), "ballpark" in best.description.casefold()


def _region(xy: ArrayLike | None, crs: pyproj.CRS) -> tuple[float, float, float, float] | None:
    """Bounds of points in whole degrees, outward, so that neighbouring tracts share one look-up."""
    if xy is None:
        return None
    degrees = lon_lat(xy, crs)
    degrees = degrees[np.isfinite(degrees).all(axis=1)]
    if not len(degrees) or np.ptp(degrees[:, 0]) > 180.0:
        return None
    (west, south), (east, north) = np.floor(degrees.min(axis=0)), np.ceil(degrees.max(axis=0))
    return float(west), float(south), float(east), float(north)


def _geographic(crs: pyproj.CRS) -> pyproj.CRS:
    """The geographic system under a projected one (degrees, its own datum)."""
    if crs.is_geographic:
        return crs.to_2d() if len(crs.axis_info) == 3 else crs
    base = crs.geodetic_crs
    if base is None:
        raise ValueError(f"{crs.name} has no datum; expected a geographic or projected system")
    return base.to_2d() if len(base.axis_info) == 3 else base


def _is_modern(crs: pyproj.CRS) -> bool:
    """Whether a datum is one of the satellite-age frames."""
    datum = crs.datum.name if crs.datum is not None else ""
    return bool(MODERN_DATUM_PATTERN.search(f"{crs.name} {datum}"))


def _unwrapped(degrees: Floats) -> Floats:
    """Longitudes on one side of the 180th meridian when a layer straddles it."""
    lon = degrees[:, 0]
    finite = lon[np.isfinite(lon)]
    if len(finite) and finite.max() - finite.min() > 180.0:
        shifted = np.where(lon < 0, lon + 360.0, lon)
        if np.nanmax(shifted) - np.nanmin(shifted) < finite.max() - finite.min():
            return np.column_stack([shifted, degrees[:, 1]])
    return degrees


def _km_outside(points: Floats, crs: pyproj.CRS, area: Any) -> float:
    """Distance from the points' middle to the area where a system applies, km; infinite if it can't be located."""
    degrees = lon_lat(np.median(points, axis=0), crs)[0]
    if crs.is_geographic:
        degrees = np.median(_unwrapped(lon_lat(points, crs)), axis=0)
    lon, lat = degrees
    if not np.isfinite(degrees).all() or abs(lat) > 90.0:
        return np.inf
    west, east = area.west, area.east
    if west > east:
        east += 360.0
    lon = west + (lon - west) % 360.0
    if lon > east:
        lon = east if lon - east < west + 360.0 - lon else west
    nearest_lat = min(max(lat, area.south), area.north)
    return float(pyproj.Geod(ellps="WGS84").inv(degrees[0], lat, lon, nearest_lat)[2]) / 1000.0


def _share_in_us(degrees: Floats) -> float:
    """Share of points in the United States, roughly."""
    inside = np.zeros(len(degrees), dtype=bool)
    for west, south, east, north in UNITED_STATES:
        inside |= (
            (degrees[:, 0] >= west) & (degrees[:, 0] <= east) & (degrees[:, 1] >= south) & (degrees[:, 1] <= north)
        )
    return float(inside.mean())


def _other_unit(crs: pyproj.CRS) -> tuple[str, str, float]:
    """The system's unit, the one it is confused with, and the factor that re-reads a coordinate in the other."""
    unit_m = metres_per_unit(crs)
    if abs(unit_m - 1.0) < 1e-9:
        return "metres", "feet", METRES_PER_FOOT
    return "feet", "metres", 1.0 / unit_m


def _box(points: Floats) -> str:
    """Bounds of points, in words."""
    (west, south), (east, north) = points.min(axis=0), points.max(axis=0)
    return f"x {west:.10g} to {east:.10g}, y {south:.10g} to {north:.10g}"


def _box_degrees(points: Floats, crs: pyproj.CRS) -> str:
    """The middle of points in degrees, in words."""
    lon, lat = lon_lat(np.median(points, axis=0), crs)[0]
    if not (np.isfinite(lon) and np.isfinite(lat)):
        return "nowhere on Earth"
    return f"about {abs(lat):.2f} {'N' if lat >= 0 else 'S'}, {abs(lon):.2f} {'E' if lon >= 0 else 'W'}"
