"""The report as a file: self-contained, escaped, complete, and with its caution. No browser is needed."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import report_results as made
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from screener import report
from screener.files.manifest import CAUTION
from screener.report import content
from screener.report.colouring import VIEW_KEYS, all_views, view
from screener.report.curve_svg import cost_curve, curve_rows
from screener.report.html import report_html, write_report, write_report_of_manifest
from screener.report.map_svg import draw, tract_map
from screener.report.text import plain, script_json

HOSTILE = (
    "<script>alert(1)</script>",
    '"onload=alert(1) x="',
    "</script><img src=x onerror=alert(1)>",
    "javascript:alert(1)",
    "'><svg onload=alert(1)>",
    "{{ 7 * 7 }}",
    "--><!--<script>",
    "\u2028line\u2029",
    "a\x1b[31m\x00b",
)
MUST_NOT_SAY = ("code compliant", "approved", "safe", "not required", "no wind risk", "insurance", "determination")
RUNS = ("onload", "onerror", "onclick", "style", "srcdoc", "formaction")


class Page(HTMLParser):
    """Elements, their attributes, and the text of scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.blocks: list[tuple[str, dict[str, str | None], str]] = []
        self.words: list[str] = []
        self._open: tuple[str, dict[str, str | None]] | None = None
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("script", "style"):
            self._open = (tag, dict(attrs))
            self.blocks.append((tag, dict(attrs), ""))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._open = None

    def handle_data(self, data: str) -> None:
        if self._open is None:
            self.words.append(data)
        else:
            tag, attrs, before = self.blocks[-1]
            self.blocks[-1] = (tag, attrs, before + data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))

    @property
    def data(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(next(t for _, a, t in self.blocks if a.get("id") == "data"))
        return found


def page_of(results: Any, name: str = "Test Rise (invented)") -> tuple[str, Page]:
    text = report_html(results, content.facts_of_manifest(made.manifest(name)))
    return text, Page(text)


@pytest.fixture(scope="module")
def page() -> tuple[str, Page]:
    return page_of(made.results(40))


# --- one file, nothing from elsewhere -----------------------------------------------------------------------------


def test_nothing_is_fetched_from_elsewhere(page: tuple[str, Page]) -> None:
    text, parsed = page
    for tag, attrs in parsed.tags:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base", "form action")
        for key, value in attrs.items():
            assert key not in ("src", "srcset", "action", "data", "poster", "ping")
            if key in ("href", "xlink:href"):
                assert (value or "").startswith("#")
    assert "@import" not in text
    assert set(re.findall(r"url\(([^)]*)\)", text)) <= set(re.findall(r"url\((#p\d-[0-9a-f]{6})\)", text))
    allowed = {"http://www.w3.org/2000/svg"}  # a name, not an address
    assert set(re.findall(r"(?:https?:)?//[\w.]+[\w./]*", text)) - allowed == set()


def test_every_pattern_that_is_used_is_defined(page: tuple[str, Page]) -> None:
    text, _ = page
    assert set(re.findall(r"url\(#([^)]*)\)", text)) <= set(re.findall(r'<pattern id="([^"]*)"', text))


def test_policy_names_the_one_script_and_style_by_hash(page: tuple[str, Page]) -> None:
    _, parsed = page
    policy = next(a["content"] for t, a in parsed.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    assert policy.startswith("default-src 'none';")
    assert "unsafe" not in policy
    runs = [(tag, text) for tag, attrs, text in parsed.blocks if attrs.get("type") != "application/json"]
    assert sorted(tag for tag, _ in runs) == ["script", "style"]
    for tag, text in runs:
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy


def test_no_attribute_runs_or_styles(page: tuple[str, Page]) -> None:
    """A policy by hash forbids them, so the page must not count on any."""
    _, parsed = page
    assert not [(t, k) for t, attrs in parsed.tags for k in attrs if k.startswith("on") or k == "style"]


def test_written_bytes_keep_the_hashed_line_ends(tmp_path: Path) -> None:
    write_report_of_manifest(tmp_path / "report.html", made.results(), made.manifest())
    raw = (tmp_path / "report.html").read_bytes()
    assert b"\r" not in raw
    assert raw.decode("utf-8") == page_of(made.results())[0]


def test_same_results_same_bytes() -> None:
    assert page_of(made.results(30))[0] == page_of(made.results(30))[0]


# --- hostile names ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_stay_text(text: str) -> None:
    calm_text, calm = page_of(made.results(24))
    results = made.results(24, names={0: text, 5: text + "2"}, text=text)
    raw, parsed = page_of(results, name=text)
    assert len(parsed.blocks) == len(calm.blocks) == 3
    assert [t for _, a, t in parsed.blocks if a.get("id") != "data"] == [
        t for _, a, t in calm.blocks if a.get("id") != "data"
    ]
    for tag, attrs in parsed.tags:
        assert tag != "img"
        assert not [k for k in attrs if k in RUNS]
        assert not (attrs.get("href") or "#").startswith("javascript")
    assert parsed.data["ids"][0] == plain(text)
    assert parsed.data["ids"][5] == plain(text + "2")
    assert re.sub(r"\s+", " ", plain(text)).strip() in parsed.text
    assert raw.count("<script") == calm_text.count("<script")


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_stay_text_in_the_picture(text: str) -> None:
    results = made.results(12, names={0: text})
    results.lots["tier"] = text
    root = ET.fromstring(tract_map(results, "package", title=text))
    assert not [e for e in root.iter() if e.tag.endswith("script")]
    assert not [k for e in root.iter() for k in e.attrib if k in RUNS]
    assert plain(text).split()[0] in "".join(root.itertext())


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60))
def test_data_block_holds_any_text(text: str) -> None:
    """Nothing that could end the block or start markup, and the same value back."""
    block = str(script_json({"name": plain(text)}))
    assert not set("<>&'\u2028\u2029") & set(block)
    assert json.loads(block) == {"name": plain(text)}


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet=st.characters(), max_size=60))  # lone surrogates too
def test_plain_text_can_be_written(text: str) -> None:
    shown = plain(text)
    shown.encode("utf-8")
    assert not re.search("[\x00-\x08\x0e-\x1f\x7f\u202a-\u202e]", shown)


@pytest.mark.parametrize("missing", [None, float("nan"), pd.NA, pd.NaT, np.nan])
def test_missing_is_blank(missing: Any) -> None:
    assert plain(missing) == ""


# --- what it says -------------------------------------------------------------------------------------------------


def test_caution_stands_first_and_stays(page: tuple[str, Page]) -> None:
    text, parsed = page
    assert parsed.text.split("To the exceptions", 1)[1].strip().startswith(CAUTION)  # only the skip link is before it
    assert "position: sticky" in text


def test_must_not_say(page: tuple[str, Page]) -> None:
    _, parsed = page
    everything = (parsed.text + json.dumps(parsed.data)).lower()
    assert [w for w in MUST_NOT_SAY if w in everything] == []


def test_must_say(page: tuple[str, Page]) -> None:
    """Edition, ground state, wind speed with its source, local rules, who decides, whose loads, ages."""
    _, parsed = page
    for words in ("ASCE 7-16", "worst (governs: today)", "115 mph (raster wind_speed.tif)", "local amendments",
                  "licensed design professional decides both", "hardware list that was given",
                  "not for construction", "age"):  # fmt: skip
        assert words in parsed.text


def test_ages_are_judged_only_at_a_date() -> None:
    facts = content.facts_of_manifest(made.manifest())
    assert any("ages of the inputs were not judged" in c for c in content.cautions(made.results(), facts))
    old = made.results()
    old.lots["flags"] = "CONCRETE;OLD_PRICE"
    assert any("older than their age limit: OLD_PRICE" in c for c in content.cautions(old, facts))


def test_every_lot_is_there_once(page: tuple[str, Page]) -> None:
    text, parsed = page
    expected = made.results(40).lots["lot_id"].tolist()
    assert parsed.data["ids"] == expected
    lots = text.split('<g id="lots"')[1].split("</g>")[0]
    assert lots.count("<path ") == len(expected)
    for column in parsed.data["columns"]:
        assert len(column["numbers"] if "numbers" in column else column["places"]) == len(expected)
    for colours in parsed.data["views"]:
        assert len(colours["of"]) == len(expected)
        assert sum(c["count"] for c in colours["classes"]) == len(expected)


def test_data_is_that_of_the_table(page: tuple[str, Page]) -> None:
    _, parsed = page
    lots = made.results(40).lots
    columns = {c["name"]: c for c in parsed.data["columns"]}
    tier = columns["tier"]
    assert [tier["words"][k] for k in tier["places"]] == lots["tier"].tolist()
    kzt = np.array(columns["kzt"]["numbers"], dtype=float)
    np.testing.assert_allclose(kzt, lots["kzt"].to_numpy(dtype=float), atol=0.005)
    assert columns["total_cost"]["numbers"][12] is None  # no hardware, no cost


def test_exceptions_come_before_the_map_and_lead_to_lots(page: tuple[str, Page]) -> None:
    text, parsed = page
    assert text.index('id="exceptions"') < text.index('id="map"') < text.index('id="bill"')
    exceptions, results = parsed.data["exceptions"], made.results(40)
    named = [(parsed.data["ids"][lot], exceptions["reasons"][r]) for lot, r, _, _ in exceptions["rows"]]
    assert named == list(zip(results.exceptions["lot_id"], results.exceptions["reason"], strict=True))
    groups = content.exception_groups(results)
    assert [g["code"] for g in groups] == ["NO_HARDWARE", "KZT_VALLEY"]  # what stops a lot first
    assert sum(g["lots"] for g in groups) == results.exceptions["lot_id"].nunique()


def test_comparison_in_words() -> None:
    said = content.comparison(made.run_record()["packages"])
    assert said[0] == "The packages chosen cost $50,500 in material and labour."
    assert said[1] == "One package for every lot would cost $60,200, $9,700 more."
    assert "$48,700, $1,800 less" in said[2]
    assert said[3].startswith("Proven")


def test_comparison_without_proof_or_single_package() -> None:
    packages = made.run_record()["packages"] | {
        "proven": False,
        "gap": 0.0123,
        "lower_bound_cents": 4_987_900,
        "one_package_cents": None,
    }
    said = " ".join(content.comparison(packages))
    assert "No single package can serve every lot." in said
    assert "$49,879" in said
    assert "1.2 %" in said
    assert "Proven" not in said


def test_package_cards_show_differences_once() -> None:
    cards = content.package_cards(made.results(30))
    assert [c["name"] for c in cards["cards"]] == list(made.PACKAGES)
    assert cards["cards"][2]["differing"] == [("truss tie, end zone", "truss tie heavy, one at each")]
    assert [c["changed"] for c in cards["table"][0]["cells"]] == [False, False, True]
    assert ("sill anchor", "sill anchor 5/8 in, every 48 in") in cards["shared"]
    assert ("plate splice", "none needed") in cards["shared"]


def test_connection_that_some_packages_lack_is_no_difference() -> None:
    results = made.results(30)
    results.packages = results.packages.drop(index=[1, 4])  # the first's sill anchor, the second's truss tie
    cards = content.package_cards(results)
    assert ("sill anchor", "sill anchor 5/8 in, every 48 in") in cards["shared"]
    assert [c["words"] for c in cards["table"][0]["cells"]][1] == content.MISSING
    assert [c["changed"] for c in cards["table"][0]["cells"]] == [False, False, True]


def test_many_packages_are_not_put_abreast() -> None:
    results = made.results(60)
    results.lots["tier"] = [f"package {1 + n % 9}" for n in range(60)]
    rows = [(f"package {n}", "truss tie, end zone", f"tie {n}", "1 each") for n in range(1, 10)]
    results.packages = pd.DataFrame(rows, columns=["tier", "schedule", "item", "arrangement"])
    cards = content.package_cards(results)
    assert cards["table"] == []
    assert [c["differing"][0][1] for c in cards["cards"]] == [f"tie {n}, one at each" for n in range(1, 10)]
    assert "tie 7, one at each" in page_of(results)[1].text


@pytest.mark.parametrize(
    ("item", "arrangement", "words"),
    [
        ("truss tie light", "2 each", "truss tie light, two at each"),
        ("sill anchor", "at 16 in", "sill anchor, every 16 in"),
        ("roof nail 8d at 6/12", "6/12", "roof nail 8d at 6/12"),
        ("roof nail", "6/12", "roof nail, nails at 6 in along panel edges and 12 in between"),
        ("", "none needed", "none needed"),
    ],
)
def test_package_lines_in_words(item: str, arrangement: str, words: str) -> None:
    assert content.in_words(item, arrangement) == words


def test_bill_adds_up_and_phases_count_like_numbers() -> None:
    results = made.results(24)
    bill = content.bill(results)
    assert bill["phases"] == ["1", "2", "10"]
    assert [d["name"] for d in bill["drops"]] == ["foundation", "roof"]
    anchor = bill["drops"][0]["items"][0]
    assert anchor["quantity"] == "1,620"
    assert anchor["phases"] == ["567", "567", "567"]
    assert bill["cost"] == "$2,331"
    assert [(m["month"], m["cost"]) for m in bill["months"]] == [("2026-05", "$777"), ("2026-06", "$1,554")]


def test_lots_without_plan_are_said_not_to_be_counted() -> None:
    results = made.results(24)
    results.lots.loc[0:2, "plan"] = ""
    _, parsed = page_of(results)
    assert "3 lots have no plan yet and are not in the bill, only in the forecast" in parsed.text
    assert "3 lots without a plan are not counted" in parsed.text


def test_curve_marks_what_is_not_proven() -> None:
    svg = cost_curve(made.run_record()["packages"], 3)
    ET.fromstring(svg)
    assert svg.count('class="proven"') == 2
    assert svg.count('class="open"') == 1
    assert svg.count('class="ring"') == 1
    assert "3 lots left over" in svg
    rows = curve_rows(made.run_record()["packages"])
    assert [r["saved"] for r in rows] == ["–", "–", "$3,500", "$500"]


# --- the map ------------------------------------------------------------------------------------------------------


def _points(path: str) -> list[tuple[int, int]]:
    """Corners of a one-ring path of relative steps."""
    numbers = [int(n) for n in re.findall(r"-?\d+", path)]
    x, y = numbers[0], numbers[1]
    out = [(x, y)]
    for dx, dy in zip(numbers[2::2], numbers[3::2], strict=True):
        x, y = x + dx, y + dy
        out.append((x, y))
    return out


def test_outlines_keep_size_in_half_feet() -> None:
    """A 20 m x 35 m lot is 65.6 ft x 114.8 ft, within the half foot of rounding."""
    corners = np.array(_points(draw(made.lots(1)).paths[0]))
    assert len(corners) == 4
    np.testing.assert_allclose(np.ptp(corners, axis=0) / 2, [20 / 0.3048, 35 / 0.3048], atol=0.5)


def test_survey_feet_are_drawn_in_their_own_plane() -> None:
    """EPSG:2276 counts US survey feet: a 100 ft square is 200 half feet."""
    lots = gpd.GeoDataFrame({"lot_id": ["A"]}, geometry=[shapely.box(0, 0, 100, 100)], crs="EPSG:2276")
    corners = np.array(_points(draw(lots).paths[0]))
    assert np.ptp(corners, axis=0).tolist() == [200, 200]


def test_degrees_are_drawn_in_the_working_system() -> None:
    near = made.lots(3)
    turned = near.to_crs("EPSG:4326")
    corners = np.array(_points(draw(turned, made.CRS).paths[0]))
    np.testing.assert_allclose(np.ptp(corners, axis=0) / 2, [65.6, 114.8], atol=1.0)


def test_north_is_up() -> None:
    lots = gpd.GeoDataFrame(
        {"lot_id": ["south", "north"]}, geometry=[shapely.box(0, 0, 9, 9), shapely.box(0, 90, 9, 99)], crs=made.CRS
    )
    assert draw(lots).centres[0, 1] > draw(lots).centres[1, 1]


def test_curves_are_thinned_and_holes_kept() -> None:
    circle = shapely.Point(0, 0).buffer(30, quad_segs=64)
    ring = circle.difference(shapely.Point(0, 0).buffer(10))
    lots = gpd.GeoDataFrame({"lot_id": ["round", "ring"]}, geometry=[circle, ring], crs=made.CRS)
    paths = draw(lots).paths
    assert paths[0].count(" ") < 120  # 257 corners to begin with
    assert paths[1].count("M") == 2


@pytest.mark.parametrize(
    "shape",
    [
        None,
        shapely.Polygon(),
        shapely.Point(1, 1),
        shapely.LineString([(0, 0), (1, 1)]),
        shapely.GeometryCollection(),
        shapely.Polygon([(0, 0), (np.inf, 0), (0, 1)]),
    ],
)
def test_shapes_that_cannot_be_drawn_leave_a_lot_in_the_table(shape: Any) -> None:
    results = made.results(12)
    results.lots.geometry = [shape, *results.lots.geometry[1:]]
    _, parsed = page_of(results)
    assert len(parsed.data["ids"]) == 12
    assert "1 lot without a usable outline is not on the map but in the table." in parsed.text


def test_crossed_outline_and_parts_are_drawn() -> None:
    crossed = shapely.Polygon([(0, 0), (40, 40), (40, 0), (0, 40)])
    parts = shapely.MultiPolygon([shapely.box(50, 0, 90, 40), shapely.box(50, 60, 60, 70)])
    lots = gpd.GeoDataFrame({"lot_id": ["x", "m"]}, geometry=[crossed, parts], crs=made.CRS)
    drawing = draw(lots)
    assert drawing.drawn == 2
    assert drawing.paths[1].count("M") == 2


def test_tract_without_any_outline() -> None:
    results = made.results(2)
    results.lots.geometry = [None, None]
    _, parsed = page_of(results)
    assert "2 lots without a usable outline" in parsed.text


@pytest.mark.parametrize("by", VIEW_KEYS)
def test_picture_is_complete(by: str) -> None:
    svg = tract_map(made.results(30), by, title="Test Rise (invented)")
    root = ET.fromstring(svg)
    said = " ".join("".join(root.itertext()).split())
    assert "Test Rise (invented): 30 lots by" in said
    assert all(part in said for part in CAUTION.split(", "))
    assert svg.count("<path fill=") == 30
    assert set(re.findall(r"url\(#([^)]*)\)", svg)) <= set(re.findall(r'<pattern id="([^"]*)"', svg))
    for kind in view(made.lots(30), by).classes:
        assert kind.words in said


def test_picture_by_something_unknown_names_what_there_is() -> None:
    with pytest.raises(ValueError, match="package, exposure, kzt"):
        tract_map(made.results(3), "colour of the door")


def test_view_takes_column_names_too() -> None:
    assert view(made.lots(5), "tier").key == view(made.lots(5), "package").key == "package"


# --- colours ------------------------------------------------------------------------------------------------------


def _luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("by", VIEW_KEYS)
def test_marks_stand_out_from_every_colour(by: str) -> None:
    """WCAG 2.1 asks for a contrast of 4.5 in text (3 in large text)."""
    for kind in view(made.lots(200), by).classes:
        ink = _luminance("#ffffff" if kind.dark else "#16202b")
        light, dark = sorted([ink, _luminance(kind.colour)], reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= (3.0 if kind.dark else 4.5), kind


def test_classes_differ_in_pattern_or_lightness_not_in_hue_alone() -> None:
    lots = made.lots(96)
    lots["tier"] = [f"package {1 + n % 20}" for n in range(96)]
    kinds = view(lots, "package").classes
    assert len({(k.colour, k.pattern) for k in kinds}) == 20
    assert len({k.pattern for k in kinds[:8]}) == 8
    assert [k.words for k in kinds[:3]] == ["package 1", "package 2", "package 3"]
    steps = [_luminance(k.colour) for k in view(lots, "kzt").classes]
    assert steps == sorted(steps, reverse=True)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.one_of(st.none(), st.floats(0.5, 3.0).map(lambda v: round(v, 3))), min_size=1, max_size=60))
def test_number_classes_hold_every_value(values: list[float | None]) -> None:
    """Every lot has one class; classes are in order; a value lies in the class it is given."""
    lots = pd.DataFrame({"kzt": np.array(values, dtype=float)})
    found = view(lots, "kzt")
    assert sum(k.count for k in found.classes) == len(values)
    assert len(found.classes) <= 7
    for value, k in zip(values, found.of_lot, strict=True):
        words = found.classes[k].words
        if value is None:
            assert words == "none"
            continue
        ends = [float(e) for e in re.findall(r"\d+\.\d+", words)]
        slack = 0.0051 if len(ends) == 1 else 0.0006
        assert ends[0] - slack <= value <= ends[-1] + slack
    known = [(v, k) for v, k in zip(values, found.of_lot, strict=True) if v is not None]
    assert [k for _, k in sorted(known)] == sorted(k for _, k in known)


def test_level_ground_has_a_class_of_its_own() -> None:
    kinds = view(made.lots(120), "kzt").classes
    assert kinds[0].words == "1.00"
    assert kinds[0].count >= 60
    assert kinds[1].words.startswith("over 1.00 to")


def test_unknown_values_keep_their_words() -> None:
    lots = made.lots(4)
    lots["governing_hazard"] = ["wind", "seismic", "", "something new"]
    assert [k.words for k in view(lots, "hazard").classes] == ["wind", "seismic", "something new", "none"]


# --- size and odd tracts ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [0, 1, 20])
def test_small_tracts(count: int) -> None:
    results = made.results(count)
    if count == 0:
        results.bill_of_materials = results.bill_of_materials.iloc[:0]
        results.packages = results.packages.iloc[:0]
    _, parsed = page_of(results)
    assert parsed.data["ids"] == results.lots["lot_id"].tolist()


def test_large_tract_stays_small_enough() -> None:
    """Five thousand lots: under 300 bytes a lot, no written marks, every id there."""
    text, parsed = page_of(made.results(5000))
    assert len(text) < 5000 * 300
    assert parsed.data["map"]["marked"] is False
    assert len(set(parsed.data["ids"])) == 5000


def test_results_with_little_in_them() -> None:
    """Tables that lack columns, and a run record that says nothing."""
    results = made.results(6)
    results.lots = results.lots[["lot_id", "status", "tier", "geometry"]]
    results.packages = results.packages[["tier", "schedule", "item"]]
    results.exceptions, results.issues = results.exceptions.iloc[:0], results.issues.iloc[:0]
    results.run = {}
    text = report_html(results, content.facts_of_manifest({}))
    assert CAUTION in text
    assert "No lot is an exception. Every lot has still only been screened." in Page(text).text


def test_run_offers_the_report_as_a_file_of_its_own(tmp_path: Path) -> None:
    offered = report.files(made.results(), made.manifest())
    assert list(offered) == ["report.html"]
    offered["report.html"](tmp_path / "report.html")
    assert CAUTION in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_report_from_a_project(tmp_path: Path) -> None:
    from project_helpers import grid, project

    tract = project(tmp_path, grid())
    write_report(tmp_path / "report.html", made.results(), tract)
    parsed = Page((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert "Test Rise (invented)" in parsed.text
    assert "lots.gpkg" in parsed.text
    assert str(tmp_path) not in (tmp_path / "report.html").read_text(encoding="utf-8")


def test_every_view_has_a_class_for_every_lot() -> None:
    for colours in all_views(made.lots(50)):
        assert len(colours.of_lot) == 50
        assert colours.of_lot.max() < len(colours.classes)


# --- what the ground costs, what works hardest --------------------------------------------------------------------


def _priced(rows: list[tuple[str, str, float, float]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["plan", "exposure", "kzt", "total_cost"])
    return frame.assign(style="A", options="", lot_id=[f"L{n}" for n in range(len(frame))])


def test_ground_is_priced_against_the_same_house_elsewhere() -> None:
    """By hand: on the hill 1,300 and 1,500, on the level 1,000 and 1,100, mean 1,050: 250 and 450 more."""
    lots = _priced(
        [
            ("kettle", "C", 1.0, 1000.0),
            ("kettle", "C", 1.0, 1100.0),
            ("kettle", "C", 1.3, 1300.0),
            ("kettle", "C", 1.5, 1500.0),
            ("kettle", "D", 1.0, 1200.0),
            ("anvil", "C", 1.4, 9000.0),  # no such house on the level: not compared
            ("kettle", "C", 1.6, float("nan")),  # no package, no cost
        ]
    )
    hill, shore = content.ground_costs(lots)
    assert (hill["lots"], hill["compared"], hill["each"], hill["all"]) == (4, 2, "$350", "$700")
    assert (shore["cause"], shore["compared"], shore["all"]) == ("exposure D, level ground", 1, "$150")


def test_ground_without_comparison_is_not_priced() -> None:
    assert content.ground_costs(_priced([("kettle", "C", 1.0, 1000.0)])) == []
    assert content.ground_costs(pd.DataFrame({"lot_id": ["A"]})) == []
    assert content.ground_costs(made.lots(0)) == []


def test_hardest_worked_connections_of_a_lot() -> None:
    """Loads that act together count together; a connection stands once; the greatest ratio is first."""
    results = made.results(2)
    first, second = results.lots["lot_id"]
    rows = [
        (first, "sill anchor", "shear_plf", 0.95, "case a"),
        (first, "sill anchor", "combined", 0.70, "case b"),
        (first, "hold-down", "tension_lb", 0.80, "case c"),
        (second, "hold-down", "tension_lb", float("nan"), ""),
    ]
    table = pd.DataFrame(rows, columns=["lot_id", "point", "component", "ratio", "case"]).assign(item="anchor")
    results.demands = table
    found = content.hardest(results)
    named = [(ratio, found["points"][p], found["cases"][c]) for ratio, p, _, c in found["lots"][0]]
    assert named == [(0.8, "hold-down", "case c"), (0.7, "sill anchor", "case b")]
    assert found["lots"][1] == []


def test_picked_lot_shows_every_column_once() -> None:
    data = page_of(made.results(12))[1].data
    grouped = [name for group in data["groups"] for name in group["columns"]]
    assert len(grouped) == len(set(grouped))
    shown_otherwise = {"lot_id", "status", "flags", "exposure_by_direction", "kzt_by_direction"}
    assert set(grouped) == {c["name"] for c in data["columns"]} - shown_otherwise


def test_bill_rows_for_the_month_filter_add_up_to_the_bill() -> None:
    results = made.results(24)
    rows = content.bill_data(results)["rows"]
    assert sum(row[7] for row in rows) == pytest.approx(results.bill_of_materials["cost"].sum())
    results.bill_of_materials["month"] = ""
    assert content.bill_data(results) == {"months": [], "rows": []}
