"""Lots from files that GDAL reads. First byte: 0 GeoJSON, 1 CSV with outlines as text, 2 CSV of points, 3 the bytes of
a GeoPackage, 4 a shape's bytes inside a sound GeoPackage, 5 GeoParquet, 6 a zip."""

from __future__ import annotations

import io
import sqlite3
import zipfile
from collections.abc import Iterable
from contextlib import closing
from functools import cache

from hazard.issues import Issue
from screener.config import HazardProject
from tests.fuzz import mutators, seeds
from tests.fuzz.harness import Reader, folder, one_in
from tests.fuzz.lots_project import layer_of, project
from tests.fuzz.lots_project import read as read_again

UTM = "EPSG:26913"


@cache
def tracts() -> tuple[HazardProject, ...]:
    place = folder("lots")
    return (
        project(place, "lots.geojson"),
        project(place, "lots.csv", UTM),
        project(place, "lots_points.csv", UTM),
        project(place, "lots.gpkg"),
        project(place, "lots_shapes.gpkg"),
        project(place, "lots.parquet"),
        project(place, "lots.zip"),
    )


@cache
def geopackage() -> bytes:
    """A GeoPackage of two lots, small: no index of places."""
    import geopandas as gpd

    frame = gpd.read_file(seeds.SAMPLE / "lots.gpkg", layer="lots", rows=2)[["lot_id", "plan", "mirrored", "geometry"]]
    file = folder("lots-seed") / "seed.gpkg"
    frame.to_file(file, layer="lots", driver="GPKG", SPATIAL_INDEX="NO")
    return file.read_bytes()


@cache
def shape() -> bytes:
    """One outline as a GeoPackage stores it, header and all."""
    file = folder("lots-shape") / "seed.gpkg"
    file.write_bytes(geopackage())
    with closing(sqlite3.connect(file)) as database:
        return bytes(database.execute("SELECT geom FROM lots LIMIT 1").fetchone()[0])


def with_shape(blob: bytes) -> bytes:
    """The GeoPackage with other bytes for its first outline."""
    with closing(sqlite3.connect(":memory:")) as database:
        database.deserialize(geopackage())
        for trigger in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{trigger[0]}"')
        database.execute("UPDATE lots SET geom = ? WHERE fid = 1", (blob,))
        database.commit()
        return database.serialize()


@cache
def parquet() -> bytes:
    file = io.BytesIO()
    seeds.lots().to_parquet(file, compression=None)
    return file.getvalue()


@cache
def zipped() -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr(zipfile.ZipInfo("lots.geojson"), seeds.geojson())
    return file.getvalue()


def read(data: bytes) -> Iterable[Issue]:
    """The layer of every input; of one in eight of those that are read the lots as well, which takes longer."""
    kind = data[0] % 7 if data else 0
    content = with_shape(data[1:]) if kind == 4 else data[1:]
    stops = layer_of(tracts()[kind], content)
    if not stops and one_in(8, data):
        stops = read_again(tracts()[kind])
    return stops


def _seeds_of(kind: int) -> list[bytes]:
    match kind:
        case 0:
            return [seeds.geojson()]
        case 1:
            return [seeds.wkt_csv()]
        case 2:
            return [seeds.points_csv()]
        case 3:
            return [geopackage()]
        case 4:
            return [shape()]
        case 5:
            return [parquet()]
        case _:
            return [zipped()]


def _seeds() -> list[bytes]:
    return [bytes([kind]) + seed for kind in range(7) for seed in _seeds_of(kind)]


WORDS = mutators.words("lots")
_MUTATIONS = [mutators.of_text(WORDS, cache(lambda kind=kind: _seeds_of(kind))) for kind in range(3)]
READER = Reader(
    "lots",
    read,
    tuple(f"lots{end}" for end in (".geojson", ".csv", "_points.csv", ".gpkg", "_shapes.gpkg", ".parquet", ".zip")),
    _seeds,
    WORDS,
    mutators.tagged([*_MUTATIONS, None, None, None, None]),
)
