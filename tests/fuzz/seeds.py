"""Small good inputs cut from the sample: a fuzzer learns more from a few lines than from a whole file."""

from __future__ import annotations

import re
from functools import cache

from tests.fuzz.harness import SAMPLE


def sample(name: str) -> bytes:
    return (SAMPLE / name).read_bytes()


def rows(name: str, count: int, columns: int | None = None) -> bytes:
    """The header and the first rows of a CSV, without its notes."""
    lines = [line for line in sample(name).splitlines() if not line.startswith(b"#")]
    return b"\n".join(lines[: count + 1]) + b"\n"


@cache
def landxml() -> bytes:
    """A parcel each of lines, an arc, an irregular line and a named point; feet, northing first."""
    return b"""<?xml version="1.0" encoding="UTF-8"?>
<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">
<Units><Imperial linearUnit="USSurveyFoot" areaUnit="squareFoot"/></Units>
<CgPoints>
<CgPoint name="1">13784600.5 1641000.25 10</CgPoint>
<CgPoint name="2">13784600.5 1641060.25</CgPoint>
</CgPoints>
<Parcels>
<Parcel name="A-01" area="7200">
<CoordGeom>
<Line><Start pntRef="1"/><End pntRef="2"/></Line>
<Line><Start>13784600.5 1641060.25</Start><End>13784720.5 1641060.25</End></Line>
<Curve rot="cw"><Start>13784720.5 1641060.25</Start><Center>13784720.5 1641030.25</Center>
<End>13784720.5 1641000.25</End></Curve>
<IrregularLine><Start>13784720.5 1641000.25</Start><End>13784600.5 1641000.25</End>
<PntList2D>13784720.5 1641000.25 13784660.5 1641000.25 13784600.5 1641000.25</PntList2D></IrregularLine>
</CoordGeom>
</Parcel>
</Parcels>
</LandXML>
"""


@cache
def dxf() -> bytes:
    """The drawing's header, two lots and their texts."""
    whole = sample("lots.dxf").decode("ascii")
    head, _, body = whole.partition("ENTITIES\n")
    parts = re.split(r"(?=  0\nPOLYLINE\n)", body)
    return (head + "ENTITIES\n" + "".join(parts[:3]).rstrip("\n") + "\n  0\nENDSEC\n  0\nEOF\n").encode()


def dxf_of(entities: list[tuple[int, object]], unit: int = 21) -> bytes:
    """A drawing from (group code, value) pairs of its entities section."""
    head: list[tuple[int, object]] = [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1015")]
    head += [(9, "$INSUNITS"), (70, unit), (0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES")]
    tail: list[tuple[int, object]] = [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code:>3}\n{value}\n" for code, value in [*head, *entities, *tail]).encode()


def dxf_kinds() -> list[bytes]:
    """Drawings of light polylines with a bulge, lines, an arc and a hatch, a text of several lines."""
    box = [(100.0, 100.0), (200.0, 100.0), (200.0, 220.0), (100.0, 220.0)]
    light: list[tuple[int, object]] = [(0, "LWPOLYLINE"), (5, "2F"), (8, "LOT"), (90, 4), (70, 1)]
    for x, y in box:
        light += [(10, x), (20, y), (42, 0.2)]
    light += [(0, "MTEXT"), (8, "LOT_TEXT"), (10, 150.0), (20, 150.0), (40, 5.0), (1, "{\\fArial;A-01}")]
    lines: list[tuple[int, object]] = []
    for (x0, y0), (x1, y1) in zip(box, [*box[1:], box[0]], strict=True):
        lines += [(0, "LINE"), (8, "LOT"), (10, x0), (20, y0), (11, x1), (21, y1)]
    lines += [(0, "ARC"), (8, "LOT"), (10, 150.0), (20, 150.0), (40, 20.0), (50, 0.0), (51, 270.0)]
    lines += [(0, "CIRCLE"), (8, "LOT"), (10, 150.0), (20, 150.0), (40, 20.0)]
    lines += [(0, "INSERT"), (8, "LOT"), (2, "B"), (10, 0.0), (20, 0.0), (70, 2), (71, 2), (44, 5.0), (45, 5.0)]
    return [dxf_of(light), dxf_of(lines)]


@cache
def geojson() -> bytes:
    """Two lots of the sample with every column."""
    return lots().to_json(drop_id=True, indent=0, to_wgs84=True, default=str).encode()  # type: ignore[no-any-return]


@cache
def wkt_csv() -> bytes:
    """The same as a spreadsheet with the outline as text."""
    frame = lots()
    return frame.assign(WKT=frame.geometry.to_wkt()).drop(columns="geometry").to_csv(index=False).encode()  # type: ignore[no-any-return]


@cache
def points_csv() -> bytes:
    """The same as a spreadsheet of points with sizes."""
    frame = lots()
    place = frame.geometry.representative_point()
    sizes = {"width_ft": 60, "depth_ft": 120, "front_bearing_deg": 180}
    text: str = frame.assign(x=place.x, y=place.y, **sizes).drop(columns="geometry").to_csv(index=False)
    return text.encode()


@cache
def lots():  # type: ignore[no-untyped-def]
    import geopandas as gpd

    frame = gpd.read_file(SAMPLE / "lots.gpkg", layer="lots", rows=2)
    return frame[["lot_id", "block", "phase", "plan", "style", "options", "mirrored", "start", "geometry"]]


PLAN = b"""schema = 1
[plan]
name = "shed"
species = "DF-L"
foundation = "slab"
first_floor_height_ft = 0.7
mean_roof_height_ft = 12
[styles]
A = "gable"
[options]
more = "a window more"
[weights]
roof = { least_psf = 13.0, greatest_psf = 15.0 }
exterior_wall = { least_psf = 9.0, greatest_psf = 10.5 }
interior_wall = { least_psf = 6.0, greatest_psf = 7.0 }
floor = { least_psf = 8.5, greatest_psf = 10.0 }
[[storey]]
name = "1"
wall_height_ft = 9.1
areas = [{ rect = [0, 0, 20, 30] }]
[[wall]]
name = "f"
line = "F"
storey = "1"
from = [0, 0]
to = [20, 0]
openings = [{ name = "w", from_ft = 2, width_ft = 3, height_ft = 4, sill_ft = 3, options = ["more"] }]
[[wall]]
name = "b"
line = "B"
storey = "1"
from = [0, 30]
to = [20, 30]
[[wall]]
name = "l"
line = "L"
storey = "1"
from = [0, 0]
to = [0, 30]
[[wall]]
name = "r"
line = "R"
storey = "1"
from = [20, 0]
to = [20, 30]
[[roof]]
name = "g"
storey = "1"
shape = "gable"
rect = [0, 0, 20, 30]
ridge = "y"
pitch_in_12 = 5
heel_ft = 1.0
eave_overhang_ft = 1.0
bearings = [{ at_ft = 0, wall = "l" }, { at_ft = 20, wall = "r" }]
end_walls = ["f", "b"]
"""

PROJECT = b"""[tract]
name = "x"
as_of = 2026-02-02
[lots]
file = "lots.gpkg"
[ground]
phases = { file = "phases.gpkg", order = ["1", "2"] }
[hazards]
wind_speed_mph = { value = 115 }
exposure = { value = "C" }
kzt = { column = "kzt" }
sds_g = { value = 0.6 }
sd1_g = { value = 0.3 }
[plans]
folder = "plans"
[hardware]
file = "hardware.csv"
[purchase]
labour_usd_per_h = 58
plan_mix = { anvil = 0.5, ladder = 0.5 }
[output]
folder = "results"
"""
