"""Ways to damage the lots of a good project: by cell, by shape, by coordinate system, and as files of other formats."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from collections.abc import Callable, Iterable
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from bad_cases import Damage
from damaged_project import Project
from tract_helpers import cut

FEET = "EPSG:2233"  # Colorado South, US survey feet: the zone of the sample's invented ground


def both(*damages: Damage) -> Damage:
    def damage(p: Project) -> None:
        for each in damages:
            each(p)

    return damage


def given(**keys: Any) -> Damage:
    """Keys of the project's [lots]; None drops one."""
    return lambda p: p.changes.update({f"lots.{key}": value for key, value in keys.items()})


def cells(name: str, *values: Any) -> Damage:
    def damage(p: Project) -> None:
        p.lots[name] = list(values)

    return damage


def renamed(**names: str) -> Damage:
    """Our columns under other names."""

    def damage(p: Project) -> None:
        p.lots = p.lots.rename(columns=names)

    return damage


def dropped(*names: str) -> Damage:
    def damage(p: Project) -> None:
        p.lots = p.lots.drop(columns=list(names))

    return damage


def shape(make: Callable[[shapely.Geometry], Any], row: int = 0) -> Damage:
    """One lot's shape made from its good one."""

    def damage(p: Project) -> None:
        shapes = p.lots.geometry.to_numpy().copy()
        shapes[row] = make(shapes[row])
        p.lots = p.lots.set_geometry(gpd.GeoSeries(shapes, crs=p.lots.crs))

    return damage


def corners(make: Callable[[float, float, float, float], Iterable[tuple[float, float]]]) -> Callable[[Any], Any]:
    """A polygon made from the box of a lot: west, south, east, north."""
    return lambda lot: shapely.Polygon(list(make(*lot.bounds)))


def neighbours(p: Project) -> None:
    """Two lots side by side in place of two that are not."""
    p.lots = cut(("A-02", "A-03")).assign(plan="thimble", style="A", options=None)


def three_lots(p: Project) -> None:
    p.lots = cut(("A-02", "A-03", "A-04")).assign(plan="thimble", style="A", options=None)


def east_edge(step_m: float) -> Callable[[Any], Any]:
    """A lot whose east edge is moved."""

    def make(lot: Any) -> Any:
        east = lot.bounds[2]
        moved = lambda xy: np.column_stack([xy[:, 0] + np.where(xy[:, 0] > east - 1, step_m, 0.0), xy[:, 1]])  # noqa: E731
        return shapely.transform(lot, moved)

    return make


def system(code: str | None, label: str | None = "", turned: bool = False) -> Damage:
    """Lots in another system; `label` what the file calls it (None nothing); `turned` with the axes swapped."""

    def damage(p: Project) -> None:
        lots = p.lots.to_crs(code) if code else p.lots
        if turned:
            lots = lots.set_geometry(shapely.transform(lots.geometry.to_numpy(), lambda xy: xy[:, ::-1]), crs=lots.crs)
        p.lots = lots if label == "" else lots.set_crs(label, allow_override=True)

    return damage


def moved(x: float, y: float, row: int | None = None) -> Damage:
    def damage(p: Project) -> None:
        shapes = p.lots.geometry.to_numpy().copy()
        rows = range(len(shapes)) if row is None else [row]
        for i in rows:
            shapes[i] = shapely.transform(shapes[i], lambda xy: np.add(xy, (x, y)))
        p.lots = p.lots.set_geometry(gpd.GeoSeries(shapes, crs=p.lots.crs))

    return damage


def wind_raster(p: Project) -> None:
    """A raster of wind speeds about the lots: the ground that proposals are made for."""
    p.raster("wind_speed_mph", 115.0)


# ---------------------------------------------------------------- files


def file(name: str, content: bytes | str) -> Damage:
    """The lots file is this one."""

    def damage(p: Project) -> None:
        (p.folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
        given(file=name, layer=None)(p)

    return damage


def written(name: str, change: Callable[[Path], None] | None = None, **options: Any) -> Damage:
    """The project's lots in another file, which may then be changed."""

    def damage(p: Project) -> None:
        path = p.folder / name
        if name.endswith(".parquet"):
            p.lots.to_parquet(path)
        else:
            p.lots.to_file(path, **({"layer": "lots"} if name.endswith(".gpkg") else {}), **options)
        if change is not None:
            change(path)
        given(file=name, layer=None)(p)

    return damage


def sql(*statements: str) -> Callable[[Path], None]:
    """Statements run on a GeoPackage, its triggers taken out of the way."""

    def change(path: Path) -> None:
        with closing(sqlite3.connect(path)) as database:
            for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                database.execute(f'DROP TRIGGER "{name}"')
            for statement in statements:
                database.execute(statement)
            database.commit()

    return change


def archive(*members: tuple[str | zipfile.ZipInfo, bytes]) -> Damage:
    def damage(p: Project) -> None:
        with zipfile.ZipFile(p.folder / "lots.zip", "w", zipfile.ZIP_DEFLATED) as target:
            for name, content in members:
                target.writestr(name, content)
        given(file="lots.zip", layer=None)(p)

    return damage


def zipped(name: str) -> Damage:
    """A file of the project in an archive, which is then the lots file."""
    return lambda p: archive((name, (p.folder / name).read_bytes()))(p)


def link(name: str) -> zipfile.ZipInfo:
    """A symbolic link as an archive keeps it: its kind stands in the upper half of the attributes."""
    member = zipfile.ZipInfo(name)
    member.external_attr = 0o120777 << 16
    return member


def encrypted(path: Path) -> None:
    """Mark every member of an archive as encrypted, in both of its headers (bit 0 of the general flags)."""
    content = bytearray(path.read_bytes())
    for sign, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = content.find(sign)
        while place >= 0:
            content[place + at] |= 1
            place = content.find(sign, place + 1)
    path.write_bytes(bytes(content))


def geojson(*geometries: dict[str, Any]) -> Damage:
    """Shapes as they are written, without a library that mends them."""

    def damage(p: Project) -> None:
        shapes = [*geometries, shapely.geometry.mapping(p.lots.geometry.iloc[1])]  # the second lot stays good
        features = [
            {"type": "Feature", "properties": {"lot_id": name, "plan": "thimble"} | _hazards(p), "geometry": shape}
            for name, shape in zip(p.lots["lot_id"], shapes, strict=True)
        ]
        system = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26913"}}
        text = json.dumps({"type": "FeatureCollection", "crs": system, "features": features})
        (p.folder / "lots.geojson").write_text(text)
        given(file="lots.geojson", layer=None)(p)

    return damage


def _hazards(p: Project) -> dict[str, Any]:
    row = pd.DataFrame(p.lots.drop(columns="geometry")).iloc[0]
    keys = ("exposure_from_drawing", "kzt_from_drawing", "front_bearing_deg")
    return {key: row[key] for key in keys}


def box_of(p: Project, row: int = 0) -> tuple[float, float, float, float]:
    west, south, east, north = p.lots.geometry.iloc[row].bounds
    return west, south, east, north


# ---------------------------------------------------------------- drawings and LandXML


def open_lots(p: Project) -> None:
    """Lots of a drawing have neither plan nor hazards: constants, and a mix of plans to forecast from."""
    p.changes |= {
        "hazards.exposure": {"value": "C"},
        "hazards.kzt": {"value": 1.0},
        "purchase.plan_mix": {"thimble": 1.0},
    }


def drawing(
    *outlines: Any, texts: Iterable[tuple[str, float, float]] = (), unit: int = 2, crs: str | None = FEET
) -> Damage:
    """Outlines (points, closed) in feet about a corner of the ground, and texts, as a drawing."""

    def damage(p: Project) -> None:
        import ezdxf

        document = ezdxf.new("R2000")
        document.header["$INSUNITS"] = unit
        space = document.modelspace()
        x, y = EAST_FT, NORTH_FT
        for points, closed in outlines:
            space.add_lwpolyline([(x + a, y + b) for a, b in points], close=closed, dxfattribs={"layer": "LOT"})
        for text, a, b in texts:
            space.add_text(text, dxfattribs={"layer": "LOT_TEXT", "insert": (x + a, y + b)})
        document.saveas(p.folder / "lots.dxf")
        given(file="lots.dxf", layer=None, crs=crs)(p)
        open_lots(p)

    return damage


def good_drawing_with(change: Callable[[bytes], bytes], name: str = "lots.dxf") -> Damage:
    """A good drawing whose bytes are changed, under a name."""

    def damage(p: Project) -> None:
        drawing((SQUARE_FT, True), texts=[("A-01", 30, 60)], unit=21)(p)
        good = p.folder / "lots.dxf"
        content = good.read_bytes()
        good.unlink()
        (p.folder / name).write_bytes(change(content))
        given(file=name, layer=None, crs=FEET)(p)

    return damage


EAST_FT, NORTH_FT = 3_144_300.0, 1_466_800.0
SQUARE_FT = ((0.0, 0.0), (65.0, 0.0), (65.0, 125.0), (0.0, 125.0))


def landxml(unit: str, head: str = "", points: Iterable[tuple[float, float]] = SQUARE_FT) -> Damage:
    """One parcel, northing first, as surveyors' files have it."""
    ring = [(NORTH_FT + b, EAST_FT + a) for a, b in points]
    edges = "".join(
        f"<Line><Start>{a[0]} {a[1]}</Start><End>{b[0]} {b[1]}</End></Line>"
        for a, b in zip(ring, [*ring[1:], ring[0]], strict=True)
    )
    units = f'<Units><Imperial linearUnit="{unit}"/></Units>' if unit else ""
    text = (
        f'<?xml version="1.0"?>{head}<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">{units}'
        f'<Parcels><Parcel name="A-01"><CoordGeom>{edges}</CoordGeom></Parcel></Parcels></LandXML>'
    )
    return both(file("lots.xml", text), given(crs=FEET), open_lots)
