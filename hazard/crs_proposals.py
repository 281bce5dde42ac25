"""Which coordinate systems would put coordinates on a piece of ground: proposals for a person, never a choice.

Candidates come from the database of PROJ: every projected system whose area of use meets the ground, degrees, and the
system of web maps, each with the axes as given and turned. One stays where the points then lie on the ground and their
shapes have the size of lots. Systems that agree to ten metres are one proposal.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pyproj
from numpy.typing import NDArray
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError, ProjError

from hazard.crs import IMPOSSIBLE_LOT_SQFT, METRES_PER_FOOT, ORDINARY_LOT_SQFT, UNITED_STATES

Floats = NDArray[np.float64]

MARGIN_KM = 2.0
ALIKE_KM = 0.01
MOST = 5
OUTSIDE_AREA_KM = 50.0
LARGEST_UNIT_M2 = 1e7  # of a system of lengths: a square kilometre, and room for what a projection stretches
MANY_CANDIDATES = 400  # more of them: the realisations of one frame are left out, they agree to some decimetres
_REALISATIONS = re.compile(r"HARN|NSRS2007|CORS96|FBN|\(2011\)|\(PA11\)|\(MA11\)", re.IGNORECASE)
DEGREES = ("EPSG:4326", "EPSG:4269", "EPSG:4267")
WEB_MERCATOR = "EPSG:3857"
# Systems that lots are usually drawn in: state plane zones carry the state's name and nothing else sets them apart, so
# the others are named here: grids of the world or of half a continent.
_WIDE = re.compile(r"EASE|World|Albers|Equal|Equi|GLANCE|Conus|BLM|PDC|Atlas|grid system|Lambert|LAEA", re.IGNORECASE)
_OLD = re.compile(r"NAD27|WGS 72|NAD83\(CSRS\)|ETRS|ED50|Old|Clarke", re.IGNORECASE)
_GEOD = pyproj.Geod(ellps="WGS84")
# Of systems that agree, the one to show: the plain frame before its realisations.
_PREFERRED = ("EPSG:4326", "EPSG:4269", "NAD83 /", "WGS 84 /", "NAD83(2011) /", "NAD83")


@dataclass(frozen=True)
class Ground:
    """A box in degrees that points are expected on, and its name."""

    name: str
    west: float
    south: float
    east: float
    north: float

    def meets(self, other: Ground) -> Ground | None:
        """The part of both, None where they do not meet."""
        west, south = max(self.west, other.west), max(self.south, other.south)
        east, north = min(self.east, other.east), min(self.north, other.north)
        return Ground(self.name, west, south, east, north) if west < east and south < north else None

    def km_away(self, lon: float, lat: float) -> float:
        """Distance of a point from the box, 0 inside."""
        if not (np.isfinite(lon) and np.isfinite(lat)) or abs(lat) > 90.0:
            return np.inf
        x, y = min(max(lon, self.west), self.east), min(max(lat, self.south), self.north)
        return float(_GEOD.inv(lon, lat, x, y)[2]) / 1000.0


@dataclass(frozen=True)
class Proposal:
    """A system that fits: where it puts the points' middle, what a median lot then measures (NaN: no shapes)."""

    code: str
    name: str
    lon: float
    lat: float
    lot_sqft: float
    axes: str = "xy"
    alike: tuple[str, ...] = ()

    @property
    def ordinary(self) -> bool:
        """Whether the lots have an ordinary size (or none is known)."""
        return not np.isfinite(self.lot_sqft) or ORDINARY_LOT_SQFT[0] <= self.lot_sqft <= ORDINARY_LOT_SQFT[1]

    def line(self) -> str:
        """Lines to paste into a project file, with what the system would mean as a comment."""
        turned = 'axes = "yx"\n' if self.axes == "yx" else ""
        place = (
            f"{abs(self.lat):.3f} {'N' if self.lat >= 0 else 'S'}, {abs(self.lon):.3f} {'E' if self.lon >= 0 else 'W'}"
        )
        size = f", median lot {self.lot_sqft:,.0f} sq ft" if np.isfinite(self.lot_sqft) else ""
        alike = f"; within 10 m of it {', '.join(self.alike[:4])}" if self.alike else ""
        return f'{turned}crs = "{self.code}"  # {self.name}: {place}{size}{alike}'


def common_ground(boxes: Sequence[Ground]) -> Ground | None:
    """The ground that all boxes share; where they do not meet, the smallest. None without any."""
    if not boxes:
        return None
    shared: Ground | None = boxes[0]
    for box in boxes[1:]:
        shared = shared.meets(box) if shared is not None else None
    smallest = min(boxes, key=lambda b: ((b.east - b.west) * (b.north - b.south), b.name))
    return shared if shared is not None else smallest


def propose(
    middle: tuple[float, float], lot_area: float, ground: Ground, named: str = "", *, only_alike: bool = False
) -> list[Proposal]:
    """Systems that put a point on the ground, best first.

    `middle` is the points' middle as the file gives it, `lot_area` the median lot in square units of the file (NaN
    unknown). `named`: what the file calls its system; likelier are those of nearly that name, and with `only_alike`
    they alone are looked at (the same zone in another unit or frame).
    """
    found = []
    box = (round(ground.west, 2), round(ground.south, 2), round(ground.east, 2), round(ground.north, 2))
    lengths = not lot_area * LARGEST_UNIT_M2 / METRES_PER_FOOT**2 < IMPOSSIBLE_LOT_SQFT[0]
    candidates = _candidates(*box, _bare(named) if only_alike else "", lengths)
    for axes, point in (("xy", middle), ("yx", middle[::-1])):
        if axes == "yx" and middle[0] == middle[1]:
            continue
        for candidate in candidates:
            place = _degrees(candidate, point)
            if place is None or ground.km_away(*place) > MARGIN_KM or not _in_use(candidate.crs, *place):
                continue
            lot_sqft = lot_area * _unit_area_m2(candidate, point) / METRES_PER_FOOT**2
            if np.isfinite(lot_sqft) and not IMPOSSIBLE_LOT_SQFT[0] <= lot_sqft <= IMPOSSIBLE_LOT_SQFT[1]:
                continue
            if _OLD.search(candidate.name):
                place = _shifted(candidate.crs, *place)
            found.append(Proposal(candidate.code, candidate.name, *place, lot_sqft, axes))
    centre = ((ground.west + ground.east) / 2, (ground.south + ground.north) / 2)
    return sorted(_grouped(found), key=lambda p: _order(p, centre, named))[:MOST]


def degrees_in_the_us(middle: tuple[float, float]) -> list[Proposal]:
    """Degrees, where no ground is known and the point as it is, or turned, lies in the United States."""
    found = []
    for axes, (lon, lat) in (("xy", middle), ("yx", middle[::-1])):
        if any(w <= lon <= e and s <= lat <= n for w, s, e, n in UNITED_STATES):
            name = pyproj.CRS(DEGREES[0]).name
            found.append(Proposal(DEGREES[0], f"{name}, degrees", lon, lat, np.nan, axes, DEGREES[1:2]))
    return found


@dataclass(frozen=True)
class _Candidate:
    """A system from the database: what it is called, and its way to degrees on its own frame (None: it is degrees)."""

    code: str
    name: str
    crs: pyproj.CRS
    to_degrees: pyproj.Transformer | None


@lru_cache(maxsize=8)
def _candidates(
    west: float, south: float, east: float, north: float, alike: str, lengths: bool
) -> tuple[_Candidate, ...]:
    """Every candidate for a box (of a bare name only, if given; degrees alone without `lengths`); asked once a box.

    Making systems and their transformers is what a search costs: 0.2 s for a county, a second for the United States.
    """
    codes = list(DEGREES)
    if lengths:
        area = AreaOfInterest(west, south, east, north)
        found = query_crs_info("EPSG", pj_types=[PJType.PROJECTED_CRS], area_of_interest=area, contains=False)
        known = [info for info in found if not info.deprecated and (not alike or _bare(info.name) == alike)]
        if len(known) > MANY_CANDIDATES:
            known = [info for info in known if not _REALISATIONS.search(info.name)]
        codes += [WEB_MERCATOR, *(f"EPSG:{info.code}" for info in known)]
    made = []
    for code in dict.fromkeys(codes):
        try:
            crs = pyproj.CRS(code)
            if crs.is_geographic:
                made.append(_Candidate(code, f"{crs.name}, degrees", crs, None))
            else:
                own = crs.geodetic_crs
                made.append(_Candidate(code, crs.name, crs, pyproj.Transformer.from_crs(crs, own, always_xy=True)))
        except (CRSError, ProjError):  # not known to this version, or a family of zones and no system
            continue
    return tuple(made)


def _degrees(candidate: _Candidate, point: tuple[float, float]) -> tuple[float, float] | None:
    """Longitude and latitude of a point on a system's own frame; None where it has none."""
    if candidate.to_degrees is not None:
        x, y = candidate.to_degrees.transform(*point)
        return (float(x), float(y)) if np.isfinite(x) and np.isfinite(y) else None
    return point if abs(point[1]) <= 90.0 and abs(point[0]) <= 360.0 else None


def _unit_area_m2(candidate: _Candidate, point: tuple[float, float]) -> float:
    """The true area of one square unit of a system at a point, in m2; NaN where none can be told."""
    step = 1e-4 if candidate.to_degrees is None else 1.0
    corners = [point, (point[0] + step, point[1]), (point[0], point[1] + step)]
    degrees = [place for corner in corners if (place := _degrees(candidate, corner)) is not None]
    if len(degrees) < len(corners):
        return np.nan
    first, second = (_GEOD.inv(*degrees[0], *place) for place in degrees[1:])
    return float(first[2] * second[2] * abs(np.sin(np.radians(first[0] - second[0]))) / step**2)


def _in_use(crs: pyproj.CRS, lon: float, lat: float) -> bool:
    """Whether a place lies where a system is meant to be used, or near it."""
    area = crs.area_of_use
    if area is None or area.west > area.east:
        return True
    return Ground("", area.west, area.south, area.east, area.north).km_away(lon, lat) <= OUTSIDE_AREA_KM


@lru_cache(maxsize=64)
def _to_satellites(crs: pyproj.CRS) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(crs.geodetic_crs, "EPSG:4326", always_xy=True)


def _shifted(crs: pyproj.CRS, lon: float, lat: float) -> tuple[float, float]:
    """A place of an old frame on the frame of satellites, some 100 m away; as it is where the shift is not known."""
    try:
        x, y = _to_satellites(crs).transform(lon, lat)
    except (ProjError, CRSError):
        return lon, lat
    return (float(x), float(y)) if np.isfinite([x, y]).all() else (lon, lat)


def _grouped(found: Iterable[Proposal]) -> list[Proposal]:
    """Proposals that put the points at one place to ten metres become one, with the others' codes."""
    groups: list[list[Proposal]] = []
    for proposal in sorted(found, key=_preference):
        for group in groups:
            first = group[0]
            near = _GEOD.inv(first.lon, first.lat, proposal.lon, proposal.lat)[2] / 1000.0 <= ALIKE_KM
            if near and first.axes == proposal.axes:
                group.append(proposal)
                break
        else:
            groups.append([proposal])
    return [replace(group[0], alike=tuple(p.code for p in group[1:])) for group in groups]


def _preference(p: Proposal) -> tuple[bool, int, str, str]:
    rank = next(
        (i for i, start in enumerate(_PREFERRED) if p.code == start or p.name.startswith(start)), len(_PREFERRED)
    )
    return bool(_WIDE.search(p.name)), rank, p.name, p.code


def _order(p: Proposal, centre: tuple[float, float], named: str) -> tuple[bool, bool, bool, bool, bool, float, str]:
    """Best first: an ordinary size of lots, axes as given, a name like the file's, no old frame, no wide grid, near."""
    away = _GEOD.inv(p.lon, p.lat, *centre)[2]
    alike = bool(named) and _bare(named) == _bare(p.name)
    old, wide = bool(_OLD.search(p.name)), bool(_WIDE.search(p.name))
    return not p.ordinary, p.axes == "yx", not alike, old, wide, round(away, 0), p.code


def _bare(name: str) -> str:
    """A system's name without frame and unit: "NAD83 / North Carolina (ftUS)" -> "north carolina"."""
    return re.sub(r"\(.*?\)", "", name.rpartition("/")[2]).strip().casefold()
