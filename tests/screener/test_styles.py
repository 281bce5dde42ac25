"""Styles in the GeoPackage: what a GIS that knows `layer_styles` would draw is what the report draws."""

from __future__ import annotations

import sqlite3
import xml.etree.ElementTree as ET
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import report_results as made
import shapely

from screener.columns import by_name
from screener.files.geopackage import STAMP, write_geopackage
from screener.files.layer_columns import LAYER_COLUMNS
from screener.files.styles import LOT_STYLES, layer_styles
from screener.labels import label, label_with_unit, unit_of
from screener.report.colouring import view

SLD = "{http://www.opengis.net/sld}"
OGC = "{http://www.opengis.net/ogc}"


def layers() -> dict[str, gpd.GeoDataFrame]:
    square, spot = shapely.box(0, 0, 9, 9), shapely.Point(0, 0)
    sectors = {"lot_id": ["A-0001"] * 3, "bearing_deg": [0.0, 22.5, 45.0], "exposure": list("BCD"), "rough_run_ft": 9.0}
    return {
        "exposure_sectors": gpd.GeoDataFrame(sectors, geometry=[square] * 3, crs=made.CRS),
        "terrain_crests": gpd.GeoDataFrame({"form": ["ridge"], "H_ft": [74.9]}, geometry=[spot], crs=made.CRS),
    }


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("styles") / "tract.gpkg"
    write_geopackage(path, made.lots(120), {}, layers())
    return path


def styles_of(path: Path) -> list[dict[str, Any]]:
    with closing(sqlite3.connect(path)) as database:
        database.row_factory = sqlite3.Row
        return [dict(row) for row in database.execute("SELECT * FROM layer_styles ORDER BY id")]


def test_every_layer_has_one_default_style(package: Path) -> None:
    rows = styles_of(package)
    assert [(r["f_table_name"], r["styleName"], r["useAsDefault"]) for r in rows] == [
        ("lots", "by package", 1),
        ("lots", "by exposure", 0),
        ("lots", "by Kzt", 0),
        ("lots", "by status", 0),
        ("exposure_sectors", "exposure roses", 1),
        ("exposure_sectors", "exposure by direction", 0),
        ("terrain_crests", "terrain forms", 1),
    ]
    for row in rows:  # the convention: no catalogue, no schema, the geometry's column, names of at most 30 letters
        assert (row["f_table_catalog"], row["f_table_schema"], row["f_geometry_column"]) == ("", "", "geom")
        assert len(row["styleName"]) <= 30
        assert row["update_time"] == STAMP  # no clock: the same results give the same bytes


def test_the_table_is_registered_and_readable_by_gdal(package: Path) -> None:
    assert "layer_styles" in {str(name) for name, _ in pyogrio.list_layers(package)}
    assert len(pyogrio.read_dataframe(package, layer="layer_styles")) == 7
    assert list(gpd.read_file(package, layer="lots").columns[:2]) == ["lot_id", "source_row"]  # aliases rename nothing


@pytest.mark.parametrize("key", LOT_STYLES)
def test_rules_pick_the_lots_of_the_report_s_classes(package: Path, key: str) -> None:
    """A rule's condition is also valid SQL: run on the layer it finds as many lots as the report counts."""
    found = view(made.lots(120), key)
    qml = next(r["styleQML"] for r in styles_of(package) if r["styleName"].lower() == f"by {key}")
    rules = ET.fromstring(qml).findall("renderer-v2/rules/rule")
    with closing(sqlite3.connect(package)) as database:
        counts = [
            database.execute(f"SELECT count(*) FROM lots WHERE {rule.get('filter')}").fetchone()[0] for rule in rules
        ]
    assert counts == [kind.count for kind in found.classes]
    assert sum(counts) == 120
    words = [rule.get("label") or "" for rule in rules]
    assert all(w.endswith(kind.words) for w, kind in zip(words, found.classes, strict=True))


@pytest.mark.parametrize("key", LOT_STYLES)
def test_colours_are_the_report_s(package: Path, key: str) -> None:
    found = view(made.lots(120), key)
    row = next(r for r in styles_of(package) if r["styleName"].lower() == f"by {key}")
    qml, sld = ET.fromstring(row["styleQML"]), ET.fromstring(row["styleSLD"])
    fills = []
    for symbol in qml.findall("renderer-v2/symbols/symbol"):
        colour = symbol.find("layer/Option/Option[@name='color']")
        assert colour is not None
        red, green, blue, alpha = (int(part) for part in str(colour.get("value")).split(","))
        assert alpha == 255
        fills.append(f"#{red:02x}{green:02x}{blue:02x}")
    assert fills == [kind.colour for kind in found.classes]
    hatched = [len(s.findall("layer")) == 2 for s in qml.findall("renderer-v2/symbols/symbol")]
    assert hatched == [kind.pattern > 0 for kind in found.classes]
    plain_fills = [e.text for e in sld.iter(f"{SLD}CssParameter") if e.get("name") == "fill"]
    assert plain_fills == fills


def test_sld_filters_say_the_same_as_the_rules(package: Path) -> None:
    row = next(r for r in styles_of(package) if r["styleName"] == "by Kzt")
    for rule, sld_rule in zip(
        ET.fromstring(row["styleQML"]).findall("renderer-v2/rules/rule"),
        ET.fromstring(row["styleSLD"]).iter(f"{SLD}Rule"),
        strict=True,
    ):
        numbers = [e.text for e in sld_rule.iter(f"{OGC}Literal")]
        assert numbers
        assert all(str(n) in str(rule.get("filter")) for n in numbers)
        assert {e.text for e in sld_rule.iter(f"{OGC}PropertyName")} == {"kzt"}
        assert [child.tag for child in sld_rule] == [
            f"{SLD}Name",
            f"{SLD}Title",
            f"{OGC}Filter",
            f"{SLD}PolygonSymbolizer",
        ]


def test_sector_letters_have_the_lots_colours(package: Path) -> None:
    of_lots = {kind.value: kind.colour for kind in view(made.lots(30), "exposure").classes}
    sld = ET.fromstring(next(r["styleSLD"] for r in styles_of(package) if r["f_table_name"] == "exposure_sectors"))
    letters = [e.text for e in sld.iter(f"{OGC}Literal")]
    fills = [e.text for e in sld.iter(f"{SLD}CssParameter") if e.get("name") == "fill"]
    assert letters == ["B", "C", "D", "?"]
    assert {k: fills[n] for n, k in enumerate("BCD")} == of_lots


def test_the_default_of_the_sectors_is_small_roses_and_the_full_fetch_is_beside_it(package: Path) -> None:
    """Whole wedges of many lots cover each other; a fiftieth of each stays on its lot. Opened in a GIS by hand."""
    roses, full = (ET.fromstring(r["styleQML"]) for r in styles_of(package) if r["f_table_name"] == "exposure_sectors")
    made_of = [layer.get("class") for layer in roses.findall("renderer-v2/symbols/symbol/layer")]
    inner = [layer.get("class") for layer in roses.findall("renderer-v2/symbols/symbol/layer/symbol/layer")]
    assert (made_of, inner) == (["GeometryGenerator"] * 4, ["SimpleFill"] * 4)
    assert [layer.get("class") for layer in full.findall("renderer-v2/symbols/symbol/layer")] == ["SimpleFill"] * 4


def test_hostile_package_names_stay_text(tmp_path: Path) -> None:
    """Names with quotes and markup neither break the XML nor the condition."""
    names = ["it's", '<b>"bold"</b>', "a'; DROP TABLE lots; --", "x\x1b[31m", "back\\slash"]
    lots = made.lots(30)
    lots["tier"] = np.array(names, dtype=object)[np.arange(30) % 5]
    write_geopackage(tmp_path / "t.gpkg", lots, {})
    row = styles_of(tmp_path / "t.gpkg")[0]
    rules = ET.fromstring(row["styleQML"]).findall("renderer-v2/rules/rule")
    ET.fromstring(row["styleSLD"])
    assert len(rules) == 5
    with closing(sqlite3.connect(tmp_path / "t.gpkg")) as database:
        counts = [
            database.execute(f"SELECT count(*) FROM lots WHERE {rule.get('filter')}").fetchone()[0]
            for rule in rules
            if "\\" not in str(rule.get("label")) and "x[" not in str(rule.get("label"))
        ]
    assert counts == [6, 6, 6]  # a control character and a backslash are left to the GIS


def test_styles_are_the_same_every_time() -> None:
    lots = made.lots(60)
    columns = list(by_name("lots").values())
    assert layer_styles("lots", lots, columns) == layer_styles("lots", lots, columns)
    assert layer_styles("something else", lots, columns) == []


def test_columns_of_the_further_layers_are_described(package: Path) -> None:
    with closing(sqlite3.connect(package)) as database:
        rows = database.execute(
            "SELECT column_name, name, description FROM gpkg_data_columns WHERE table_name = 'exposure_sectors'"
        ).fetchall()
        extension = database.execute(
            "SELECT count(*) FROM gpkg_extensions WHERE table_name = 'gpkg_data_columns'"
        ).fetchone()
    assert ("rough_run_ft", "Rough run (ft)", LAYER_COLUMNS["exposure_sectors"][6].meaning) in rows
    assert all(description for _, _, description in rows)
    assert extension == (1,)


@pytest.mark.parametrize(
    ("name", "words", "unit"),
    [
        ("wind_speed_mph", "Wind speed", "mph"),
        ("some_length_ft", "Some length", "ft"),
        ("weight_psf", "Weight", "psf"),
        ("area_sqft", "Lot area", "sq ft"),
        ("kzt", "Kzt", ""),
        ("_ft", "Ft", ""),
        ("flag", "Flag", ""),
    ],
)
def test_names_for_people(name: str, words: str, unit: str) -> None:
    assert label(name) == words
    assert unit_of(name) == unit


def test_no_two_columns_of_the_lots_share_a_name() -> None:
    named = [label_with_unit(column) for column in by_name("lots").values()]
    assert len(set(named)) == len(named)


def test_problems_of_lots_are_a_styled_layer(tmp_path: Path) -> None:
    """Kinds that are there have a class each; slivers get an outline that is seen; GDAL reads the layer as areas."""
    square = shapely.MultiPolygon([shapely.box(0, 0, 9, 9)])
    table = {"kind": ["gap", "overlap"], "code": ["lots_gap", "lots_overlap"], "lot_ids": ["A;B", "<b>;C"]}
    layer = gpd.GeoDataFrame(
        {**table, "area_sqft": 9.0, "length_ft": 9.0, "words": "x"}, geometry=[square] * 2, crs=made.CRS
    )
    path = tmp_path / "tract.gpkg"
    write_geopackage(path, made.lots(3), {}, {"lot_problems": layer})
    style = next(r for r in styles_of(path) if r["f_table_name"] == "lot_problems")
    assert style["useAsDefault"] == 1
    root = ET.fromstring(style["styleQML"])
    assert [rule.get("filter") for rule in root.findall("renderer-v2/rules/rule")] == [
        "\"kind\" = 'overlap'",
        "\"kind\" = 'gap'",
    ]
    assert {o.get("value") for o in root.iter("Option") if o.get("name") == "outline_width"} == {"0.8"}
    assert {k: v for k, v in pyogrio.list_layers(path)}["lot_problems"] == "MultiPolygon"
    assert list(gpd.read_file(path, layer="lot_problems")["lot_ids"]) == ["A;B", "<b>;C"]
