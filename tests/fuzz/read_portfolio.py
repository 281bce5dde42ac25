"""Portfolios. First byte: 0 the portfolio file, 1 the project file with its rules, 2 a listed tract's project (TOML all
three), 3 the lots as GeoParquet, 4 as GeoJSON: laid out in chunks and read site by site."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Iterable
from functools import cache
from pathlib import Path

import numpy as np

from hazard.issues import Issue, Issues
from screener.config import Tract, load_tract
from screener.portfolio.config import PortfolioFile, PortfolioLots, load_portfolio
from screener.portfolio.layout import lay_out, spool, spooled
from screener.portfolio.lot_stream import TRACT, open_stream
from screener.portfolio.reading import stream_lots
from tests.fuzz import mutators, seeds
from tests.fuzz.harness import Reader, folder, one_in

PORTFOLIO = b"""name = "two tracts"
base = "rules.toml"
[lots]
file = "lots.gpkg"
tract_column = "tract"
division_column = "division"
hazards_together = "area"
[packages]
per = "division"
most = 3
[output]
folder = "results"
"""
LISTED = b"""name = "listed"
base = "rules.toml"
[[tracts]]
project = "tract.toml"
name = "Alder"
division = "West"
[[tracts]]
project = "other.toml"
[output]
folder = "results"
"""
RULES = seeds.PROJECT
INLINE = b'name = "x"\n[output]\nfolder = "results"\n' + RULES.partition(b"[output]")[0].replace(
    b'[lots]\nfile = "lots.gpkg"\n', b'[lots]\nfile = "lots.gpkg"\ntract_column = "phase"\n'
)
OTHER = RULES.replace(b'name = "x"', b'name = "other"')
FILES = ("portfolio.toml", "rules.toml", "tract.toml", "other.toml", "lots.parquet", "lots.geojson")


@cache
def place() -> Path:
    """A folder with all that the files name; of the other files only that they are there is looked at."""
    made = folder("portfolio")
    (made / "plans").mkdir()
    for name in ("lots.gpkg", "phases.gpkg", "hardware.csv"):
        (made / name).touch()
    _sound(made)
    return made


def _sound(made: Path) -> None:
    contents = {"portfolio.toml": PORTFOLIO, "rules.toml": RULES, "tract.toml": RULES, "other.toml": OTHER}
    for name, content in contents.items():
        (made / name).write_bytes(content)


@cache
def base() -> Tract:
    _sound(place())
    return load_tract(place() / "rules.toml")


def read(data: bytes) -> Iterable[Issue]:
    """The portfolio with one of its files put in place of a sound one; or its lots, to the rows of every site."""
    kind, content = (data[0] % 5 if data else 0), data[1:]
    if kind > 2:
        return _lots("lots.parquet" if kind == 3 else "lots.geojson", content, data)
    made = place()
    _sound(made)
    if kind == 2:
        (made / "portfolio.toml").write_bytes(LISTED)
    (made / ("portfolio.toml", "rules.toml", "tract.toml")[kind]).write_bytes(content)
    found = load_portfolio(made / "portfolio.toml")
    if one_in(8, data):
        found.settings()
        found.input_files()
    return []


def _lots(name: str, content: bytes, data: bytes) -> list[Issue]:
    """A lots file as a run takes it: looked at, laid out, its rows spooled; every row must be there again."""
    file = place() / name
    file.write_bytes(content)
    issues = Issues()
    named = PortfolioLots.model_validate({"file": name, "division_column": "division"}, context={"folder": place()})
    stream = open_stream(base(), named, issues)
    layout, place_of_row = lay_out(stream, "area", 1, issues, lambda *_: None)
    if not one_in(4, data):
        return issues.stops()
    rows = place() / "spool"
    shutil.rmtree(rows, ignore_errors=True)
    spool(stream, layout, place_of_row, rows, lambda *_: None)
    seen = 0
    for chunk in layout.chunks:
        table = spooled(rows, chunk)
        of_row = table.column(TRACT).to_numpy()
        for places in layout.sites(chunk):
            first, last = np.searchsorted(of_row, [places.start, places.stop])
            site = stream_lots(table.slice(first, last - first), stream, base(), layout.places, Issues())
            assert (site.lots.loc[site.lots["status"] == "skipped", "skip_reason"] != "").all()
            assert site.rows == last - first
            seen += site.rows
    assert seen == layout.lots == len(place_of_row), "a row got lost"
    return issues.stops()


@cache
def parquet() -> bytes:
    file = io.BytesIO()
    _frame().to_parquet(file, compression=None)
    return file.getvalue()


@cache
def geojson() -> bytes:
    text: str = _frame().to_json(drop_id=True, indent=0, to_wgs84=True, default=str)
    return json.dumps(json.loads(text), separators=(",", ":")).replace('{"id"', '\n{"id"').encode()


def _frame():  # type: ignore[no-untyped-def]
    return seeds.lots().assign(tract=["Alder", "Birch"], division=["West", "East"], kzt=1.0)


def _seeds() -> list[bytes]:
    files = [b"\x00" + PORTFOLIO, b"\x00" + LISTED, b"\x00" + INLINE, b"\x01" + RULES, b"\x02" + RULES]
    return [*files, b"\x03" + parquet(), b"\x04" + geojson()]


def _words() -> Iterable[str]:
    yield from (*FILES, "[[tracts]]\n", 'tract":"', 'division":"', "(no tract)", "\\u001f", "\\u0000")
    for name, field in (*PortfolioFile.model_fields.items(), *Tract.model_fields.items()):
        yield f"[{name}]\n"
        yield from (f"{inner} = " for inner in getattr(field.annotation, "model_fields", {}))
    yield from (f"{name} = " for name in PortfolioLots.model_fields)


WORDS = (
    *mutators.words("toml"),
    *mutators.words("project"),
    *mutators.words("lots"),
    *(word.encode() for word in _words()),
)
_toml = mutators.of_text(WORDS, lambda: [PORTFOLIO, LISTED, INLINE, RULES])
_json = mutators.of_text(WORDS, lambda: [geojson()])
READER = Reader("portfolio", read, FILES, _seeds, WORDS, mutators.tagged([_toml, _toml, _toml, None, _json]))
