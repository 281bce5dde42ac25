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
MANY_CANDIDATES = 400  # more of them: the realisations of one frame are left out, they agree to some decimetres
_REALISATIONS = re.compile(r"HARN|NSRS2007|CORS96|FBN|\(2011\)|\(PA11\)|\(MA11\)", re.IGNORECASE)
DEGREES = ("EPSG:4326", "EPSG:4269", "EPSG:4267")
WEB_MERCATOR = "EPSG:3857"
# Systems that lots are usually drawn in: state plane zones carry the state's name and nothing else sets them apart, so
# the others are named here: grids of the world or of half a continent.
_WIDE = re.compile(r"EASE|World|Albers|Equal|Equi|GLANCE|Conus|BLM|PDC|Atlas|grid system|Lambert|LAEA", re.IGNORECASE)
_OLD = re.compile(r"NAD27|WGS 72|NAD83\(CSRS\)|ETRS|ED50|Old|Clarke", re.IGNORECASE)
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
        return float(pyproj.Geod(ellps="WGS84").inv(lon, lat, x, y)[2]) / 1000.0


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
    candidates = _candidates(*box, _bare(named) if only_alike else "")
    for axes, point in (("xy", middle), ("yx", middle[::-1])):
        if axes == "yx" and middle[0] == middle[1]:
            continue
        for code, name, crs in candidates:
            place = _place(crs, point)
            if place is None or ground.km_away(*place[:2]) > MARGIN_KM or not _in_use(crs, *place[:2]):
                continue
            if _OLD.search(name):
                place = (*_shifted(crs, *place[:2]), place[2])
            lot_sqft = lot_area * place[2] / METRES_PER_FOOT**2
            if np.isfinite(lot_sqft) and not IMPOSSIBLE_LOT_SQFT[0] <= lot_sqft <= IMPOSSIBLE_LOT_SQFT[1]:
                continue
            found.append(Proposal(code, name, place[0], place[1], lot_sqft, axes))
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


@lru_cache(maxsize=8)
def _candidates(
    west: float, south: float, east: float, north: float, alike: str
) -> tuple[tuple[str, str, pyproj.CRS], ...]:
    """Code, name and system of every candidate for a box (of a bare name only, if given); asked once a box."""
    area = AreaOfInterest(west, south, east, north)
    found = query_crs_info("EPSG", pj_types=[PJType.PROJECTED_CRS], area_of_interest=area, contains=False)
    known = [info for info in found if not info.deprecated and (not alike or _bare(info.name) == alike)]
    if len(known) > MANY_CANDIDATES:
        known = [info for info in known if not _REALISATIONS.search(info.name)]
    codes = [*DEGREES, WEB_MERCATOR, *(f"EPSG:{info.code}" for info in known)]
    made = []
    for code in dict.fromkeys(codes):
        try:
            crs = pyproj.CRS(code)
        except CRSError:
            continue
        made.append((code, f"{crs.name}, degrees" if crs.is_geographic else crs.name, crs))
    return tuple(made)


def _place(crs: pyproj.CRS, point: tuple[float, float]) -> tuple[float, float, float] | None:
    """Longitude and latitude of a point on a system's own frame, and the true area in m2 of one square unit there."""
    step = 1e-4 if crs.is_geographic else 1.0
    xy = np.array([point, (point[0] + step, point[1]), (point[0], point[1] + step)])
    if crs.is_geographic and (np.abs(xy[:, 1]).max() > 90.0 or np.abs(xy[:, 0]).max() > 360.0):
        return None
    try:
        degrees = xy if crs.is_geographic else np.column_stack(_to_degrees(crs).transform(xy[:, 0], xy[:, 1]))
    except (ProjError, CRSError, AttributeError):
        return None
    if not np.isfinite(degrees).all():
        return None
    geod = pyproj.Geod(ellps="WGS84")
    first, second = (geod.inv(*degrees[0], *degrees[k]) for k in (1, 2))
    area = first[2] * second[2] * abs(np.sin(np.radians(first[0] - second[0]))) / step**2
    return float(degrees[0, 0]), float(degrees[0, 1]), float(area)


def _in_use(crs: pyproj.CRS, lon: float, lat: float) -> bool:
    """Whether a place lies where a system is meant to be used, or near it."""
    area = crs.area_of_use
    if area is None or area.west > area.east:
        return True
    return Ground("", area.west, area.south, area.east, area.north).km_away(lon, lat) <= OUTSIDE_AREA_KM


@lru_cache(maxsize=512)
def _to_degrees(crs: pyproj.CRS) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)


def _shifted(crs: pyproj.CRS, lon: float, lat: float) -> tuple[float, float]:
    """A place of an old frame on the frame of satellites, some 100 m away; as it is where the shift is not known."""
    try:
        x, y = pyproj.Transformer.from_crs(crs.geodetic_crs, "EPSG:4326", always_xy=True).transform(lon, lat)
    except (ProjError, CRSError):
        return lon, lat
    return (float(x), float(y)) if np.isfinite([x, y]).all() else (lon, lat)


def _grouped(found: Iterable[Proposal]) -> list[Proposal]:
    """Proposals that put the points at one place to ten metres become one, with the others' codes."""
    groups: list[list[Proposal]] = []
    geod = pyproj.Geod(ellps="WGS84")
    for proposal in sorted(found, key=_preference):
        for group in groups:
            first = group[0]
            near = geod.inv(first.lon, first.lat, proposal.lon, proposal.lat)[2] / 1000.0 <= ALIKE_KM
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
    away = pyproj.Geod(ellps="WGS84").inv(p.lon, p.lat, *centre)[2]
    alike = bool(named) and _bare(named) == _bare(p.name)
    old, wide = bool(_OLD.search(p.name)), bool(_WIDE.search(p.name))
    return not p.ordinary, p.axes == "yx", not alike, old, wide, round(away, 0), p.code


def _bare(name: str) -> str:
    """A system's name without frame and unit: "NAD83 / North Carolina (ftUS)" -> "north carolina"."""
    return re.sub(r"\(.*?\)", "", name.rpartition("/")[2]).strip().casefold()
