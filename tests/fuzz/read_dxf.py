"""Lots from a drawing (DXF)."""

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
    return project(folder("dxf"), "lots.dxf", FEET)


def read(data: bytes) -> Iterable[Issue]:
    """The layer of every input; of one in 32 of those that are read the lots as well, which takes longer."""
    stops = layer_of(tract(), data)
    if not stops and one_in(32, data):
        stops = read_again(tract())
    return stops


def _seeds() -> list[bytes]:
    return [seeds.dxf(), *seeds.dxf_kinds()]


WORDS = mutators.words("dxf")
READER = Reader("dxf", read, ("lots.dxf",), _seeds, WORDS, mutators.of_text(WORDS, _seeds))
