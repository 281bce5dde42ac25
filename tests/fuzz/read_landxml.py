"""Lots from LandXML parcels."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from hazard.issues import Issue
from screener.config import HazardProject
from tests.fuzz import mutators, seeds
from tests.fuzz.harness import Reader, folder, one_in
from tests.fuzz.lots_project import FEET, layer_of, project
from tests.fuzz.lots_project import read as read_again


@cache
def tract() -> HazardProject:
    return project(folder("landxml"), "lots.xml", FEET)


def read(data: bytes) -> Iterable[Issue]:
    """The layer of every input; of one in 32 of those that are read the lots as well, which takes longer."""
    stops = layer_of(tract(), data)
    if not stops and one_in(32, data):
        stops = read_again(tract())
    return stops


def _seeds() -> list[bytes]:
    plain = seeds.landxml()
    short = plain.replace(b' encoding="UTF-8"', b"").replace(b"\n", b"")
    return [plain, short, plain.decode().replace("UTF-8", "UTF-16").encode("utf-16")]


WORDS = (*mutators.words("landxml"), b"<a>" * 50)
READER = Reader("landxml", read, ("lots.xml",), _seeds, WORDS, mutators.of_text(WORDS, _seeds))
