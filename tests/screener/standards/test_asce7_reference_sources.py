"""Every wind, seismic and combination table names its source, and the list of sources knows its bytes."""

from __future__ import annotations

import hashlib
from importlib import resources

import pytest

from hazard.standards.tables import load_table, source_lines

SOURCES = load_table("sources_wind_seismic.csv", "screener")


@pytest.mark.parametrize("place", range(len(SOURCES["file"])), ids=list(SOURCES["file"]))
def test_table_is_the_one_whose_source_is_stated(place: int) -> None:
    name = str(SOURCES["file"][place])
    content = resources.files("screener").joinpath("reference", name).read_bytes()
    assert hashlib.sha256(content).hexdigest() == SOURCES["sha256"][place], f"{name} changed: renew its row"
    assert source_lines(name, "screener")
    assert SOURCES["obtained"][place]
