"""Where a project's ground is, by its rasters and map layers, and which systems would put the lots there.

Used where the lots' own coordinate system is missing or can't be right. The tool proposes; a person chooses.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pyogrio
import pyproj
import shapely
from numpy.typing import NDArray
from pyogrio.errors import DataLayerError, DataSourceError

from hazard.crs import horizontal, lon_lat
from hazard.crs_proposals import Ground, Proposal, common_ground, degrees_in_the_us, propose
from hazard.issues import Issue
from hazard.rasters import extent_in_degrees
from screener.files.dxf_bounds import is_drawing

if TYPE_CHECKING:
    from screener.config import Site

Geometries = NDArray[np.object_]

INDENT = "\n       "
FAR_KM = 5.0


def proposal_text(tract: Site, shapes: Geometries, named: pyproj.CRS | None = None) -> str:
    """What a stop says after its fix: a line to paste for each system that fits, best first, or that none does.

    `named` is the system that the file claims, if any: where nothing else says where the lots are, its area does.
    """
    polygons = _polygons(shapes)
    bounds = shapely.bounds(polygons[~(shapely.is_missing(polygons) | shapely.is_empty(polygons))])
    bounds = bounds[np.isfinite(bounds).all(axis=1)]
    if not len(bounds):
        return ""
    middle = float(np.median(bounds[:, [0, 2]])), float(np.median(bounds[:, [1, 3]]))
    areas = shapely.area(polygons)
    areas = areas[np.isfinite(areas) & (areas > 0)]
    lot_area = float(np.median(areas)) if len(areas) else np.nan
    ground = common_ground([*raster_grounds(tract), *_layer_grounds(tract)])
    told = f"on {ground.name}" if ground is not None else ""
    area = named.area_of_use if named is not None and named.is_projected else None
    alike = ground is None and area is not None
    if ground is None and area is not None and named is not None:
        ground = Ground(f"the area of {named.name}", area.west, area.south, area.east, area.north)
        told = f"in {ground.name}"
    if ground is None:
        return _lines(degrees_in_the_us(middle), "in the United States") or (
            "; nothing else in the project says where the lots are: ask who drew them"
        )
    found = propose(middle, lot_area, ground, named.name if named is not None else "", only_alike=alike)
    return _lines(found, told) or f"; no known system puts lots of a usual size {told}"


def _lines(found: list[Proposal], told: str) -> str:
    if not found:
        return ""
    lines = [line for proposal in found for line in proposal.line().splitlines()]
    return f"; these systems would put the lots {told}, best first (paste one under [lots]):" + "".join(
        INDENT + line for line in lines
    )


def check_ground(tract: Site, shapes: Geometries, crs: pyproj.CRS, where: str) -> list[Issue]:
    """A warning, with proposals, where the lots lie far from most of the project's rasters."""
    grounds = raster_grounds(tract)
    bounds = shapely.bounds(shapes[~shapely.is_missing(shapes)])
    if not grounds or not len(bounds):
        return []
    middle = np.array([[np.median(bounds[:, [0, 2]]), np.median(bounds[:, [1, 3]])]])
    lon, lat = lon_lat(middle, crs)[0]
    away = [ground.km_away(lon, lat) for ground in grounds]
    far = [(km, ground) for km, ground in zip(away, grounds, strict=True) if km > FAR_KM]
    if len(far) * 2 <= len(grounds):
        return []
    km, ground = min(far, key=lambda f: (f[0], f[1].name))
    how_far = f"{km:,.0f} km" if np.isfinite(km) else "no known distance"
    found = f"the lots are {how_far} from {ground.name}"
    done = f"check their coordinate system ({crs.name}){proposal_text(tract, shapes, crs)}"
    return [Issue("lots_elsewhere", "warn", where, found, "lots on the project's rasters", done)]


def raster_grounds(tract: Site) -> list[Ground]:
    """The grounds that the hazard rasters cover; those that can't be read are left to their own reader."""
    found = []
    for path in dict.fromkeys(_raster_files(tract)):
        box = _extent(path, path.stat().st_mtime_ns if path.exists() else 0)
        if box is not None:
            found.append(Ground(path.name, *box))
    return found


@lru_cache(maxsize=256)
def _extent(path: Path, stamp: int) -> tuple[float, float, float, float] | None:
    """The box of a raster, opened once as long as the file is the same: sites of a portfolio share their rasters."""
    return extent_in_degrees(path)


def _raster_files(tract: Site) -> Iterator[Path]:
    for name in type(tract.hazards).model_fields:
        source = getattr(tract.hazards, name)
        file = source.file if source is not None else None
        for one in file if isinstance(file, list | tuple) else [file]:
            if one is not None:
                yield Path(one)


def _layer_grounds(tract: Site) -> list[Ground]:
    """The grounds of the project's other map layers, where they say their system."""
    found = []
    for name in type(tract.ground).model_fields:
        given = getattr(tract.ground, name)
        if given is None or is_drawing(Path(given.file)):  # a drawing is read with its own guards only
            continue
        try:
            info = pyogrio.read_info(given.file, layer=given.layer, force_total_bounds=True)
            crs = horizontal(pyproj.CRS.from_user_input(given.crs or info["crs"]))
            west, south, east, north = info["total_bounds"]
            low, high = lon_lat(np.array([[west, south], [east, north]]), crs)
            box = (*low.tolist(), *high.tolist())
        except (DataSourceError, DataLayerError, pyproj.exceptions.CRSError, ValueError, TypeError):
            continue
        if np.isfinite(box).all():
            found.append(Ground(tract.shown(given.file), *box))
    return found


def _polygons(shapes: Geometries) -> Geometries:
    """Shapes, closed lines as the polygons that they bound."""
    given = np.asarray(shapes, dtype=object)
    lines = np.isin(shapely.get_type_id(given), (1, 2)) & (shapely.get_num_coordinates(given) >= 4)
    closed = lines & shapely.is_closed(given)
    out: Geometries = given.copy()
    out[closed] = [shapely.Polygon(shapely.get_coordinates(line)) for line in given[closed]]
    return out
