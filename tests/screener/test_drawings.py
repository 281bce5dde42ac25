"""Plan drawings and anchor layouts: the bill's counts, exact mirror images, files that other programs read."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections import Counter
from functools import cache
from io import StringIO
from pathlib import Path

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from screener.capacities import options_for
from screener.capacity_case import Option
from screener.demands import evaluate, load_basis
from screener.drawings import load_labels
from screener.drawings.dxf import dxf_text, layer_name
from screener.drawings.house_drawings import layout_dxf, layout_sheet, model_of, plan_panels, plan_sheet
from screener.drawings.layout import LEAST_END_DISTANCE_FT, bolt_places, place_layout, strap_places
from screener.drawings.layout_drawing import LAYER_OF_FAMILY, counts_by_item, feet_inches, layout_panels
from screener.drawings.plan_drawing import twice_axis
from screener.drawings.section import BALLOON_FT, section
from screener.drawings.shapes import Disc, Label, Stroke, mirrored
from screener.drawings.svg import svg_file, svg_picture
from screener.drawings.swing import bearing_words, garage_side, north_arrow, side_bearings
from screener.families import families
from screener.hardware import Hardware, read_hardware
from screener.house_loads import HouseLoads
from screener.load_path import trace_load_path
from screener.plan_files import load_plan
from screener.quantities import bolts_per_piece, can_be_loaded, pieces_at, spaced_pieces
from tests.screener.tract_helpers import SAMPLE, command, plan_text

PLANS = ("anvil", "kettle", "ladder", "lantern", "thimble")
HOSTILE = '</text><script>alert("x")</script>\n0\nLINE\n8\nEVIL'


@cache
def hardware() -> Hardware:
    return read_hardware(SAMPLE / "hardware.csv")[0]


@cache
def house(name: str, style: str = "A", every_option: bool = False) -> HouseLoads:
    plan = load_plan(SAMPLE / "plans" / f"{name}.toml")
    return trace_load_path(plan.variant(style, plan.options if every_option else ()), "ASCE 7-16", "ASD")


def package(h: HouseLoads, pick: int) -> dict[str, Option]:
    """One option for each line of a house: the list's first, last ... for its family."""
    listed = {p.schedule: options_for(p.family, hardware()) for p in h.points if p.family in LAYER_OF_FAMILY}
    return {line: options[pick] for line, options in listed.items() if options}


# --- counts ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("style", ["A", "B", "C"])
@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("every_option", [False, True])
def test_a_layout_places_what_the_bill_counts_at_every_connection(name: str, style: str, every_option: bool) -> None:
    h = house(name, style, every_option)
    for pick in (0, -1):
        chosen = package(h, pick)
        placed = Counter[str]()
        for p in place_layout(h, chosen, hardware()):
            placed[p.point] += p.pieces
        for point in h.points:
            if point.family in LAYER_OF_FAMILY:
                option = chosen[point.schedule]
                counted = pieces_at(point, option, hardware().rows[option.row])
                wanted = counted if can_be_loaded(point, h.frame.column) else 0
                assert placed[point.name] == wanted, point.name


def test_every_placed_piece_stands_on_the_house_or_its_porches() -> None:
    h = house("ladder", "C", True)
    ground = shapely.unary_union(
        [shapely.box(*r) for level in h.variant.levels for r in level.areas]
        + [shapely.box(*p.rect) for p in h.variant.porches]
    ).buffer(1e-6)
    for p in place_layout(h, package(h, 0), hardware()):
        assert ground.covers(shapely.Point(p.x, p.y)), p


@given(st.floats(0.05, 40.0), st.sampled_from([72.0, 48.0, 36.0, 32.0, 24.0, 16.0]))
def test_bolts_keep_the_rules_of_a_plate_piece(length_ft: float, spacing_in: float) -> None:
    """IRC R403.1.6 (read in a public copy): a bolt within 12 in. of each end of a piece, not nearer than 7 diameters
    (from memory: 4.375 in. for 5/8 in.), none needed to 12 in., one to 24 in.; between them the spacing is held."""
    places = bolt_places(length_ft, spacing_in)
    assert len(places) == bolts_per_piece(length_ft, spacing_in)
    assert all(0 < s < length_ft for s in places)
    if len(places) < 2:
        return
    assert LEAST_END_DISTANCE_FT <= places[0] <= 1.0 + 1e-9
    assert length_ft - places[-1] == pytest.approx(places[0])
    assert max(np.diff(places)) <= spacing_in / 12.0 + 1e-6


@given(st.floats(0.5, 60.0), st.sampled_from([48.0, 32.0, 16.0]))
def test_straps_stand_at_both_ends_and_hold_their_spacing(length_ft: float, spacing_in: float) -> None:
    places = strap_places(length_ft, spacing_in)
    assert len(places) == spaced_pieces(length_ft, spacing_in)
    assert (places[0], places[-1]) == (0.0, pytest.approx(length_ft))
    assert max(np.diff(places)) <= spacing_in / 12.0 + 1e-6


def test_a_layout_that_would_differ_from_the_bill_is_refused() -> None:
    h = house("thimble")
    chosen = package(h, 0)
    other = trace_load_path(load_plan(SAMPLE / "plans" / "thimble.toml").variant("A"), "ASCE 7-16", "ASD")
    other.segments[0, "F"] = other.segments[0, "F"][:-1]
    placed = {p.point for p in place_layout(h, chosen, hardware()) if p.family == "hold_down"}
    assert {p.point for p in place_layout(other, chosen, hardware()) if p.family == "hold_down"} < placed
    object.__setattr__(next(p for p in other.points if p.family == "truss_tie"), "count", 1)
    with pytest.raises(ValueError, match="in the bill"):
        place_layout(other, chosen, hardware())


# --- mirror ---------------------------------------------------------------------------------------------------------


def test_mirroring_twice_changes_nothing() -> None:
    shapes = plan_panels(house("ladder", "B", True), False)[0].shapes
    back = mirrored(mirrored(shapes, 45.0), 45.0)
    for a, b in zip(shapes, back, strict=True):
        if isinstance(a, Stroke):
            assert isinstance(b, Stroke)
            assert np.allclose(a.points, b.points)
        else:
            assert isinstance(b, Disc | Label)
            assert (a.y, a.layer) == (b.y, b.layer)
            assert a.x == pytest.approx(b.x)


@pytest.mark.parametrize("name", PLANS)
def test_mirrored_drawings_are_exact_mirror_images(name: str) -> None:
    h = house(name, "C", True)
    axis = twice_axis(h.variant)
    chosen = package(h, 0)
    for straight, reverse in (
        (plan_panels(h, False), plan_panels(h, True)),
        (layout_panels(h, chosen, hardware(), False)[0], layout_panels(h, chosen, hardware(), True)[0]),
    ):
        assert [p.title for p in straight] == [p.title for p in reverse]
        for a, b in zip(straight, reverse, strict=True):
            assert mirrored(a.shapes, axis) == list(b.shapes)


@pytest.mark.parametrize("name", PLANS)
def test_the_mirror_is_that_of_the_plan_itself(name: str) -> None:
    """The plan module mirrors a house on its own; walls and openings of the drawing must lie where it puts them."""
    h = house(name, "B", True)
    other = h.variant.plan.variant("B", h.variant.options, mirrored=True)
    drawn = [s for p in plan_panels(h, True) for s in p.shapes if isinstance(s, Stroke) and s.layer == "opening"]
    for wall in other.walls:
        for o in wall.openings:
            middle = (o.lo + o.hi) / 2.0
            x, y = (middle, wall.at) if wall.axis == "x" else (wall.at, middle)
            assert any(np.allclose(np.mean(s.points, axis=0), (x, y), atol=1e-6) for s in drawn), (wall.name, o.name)


def test_the_mirrored_drawing_file_has_every_bolt_at_the_mirrored_place(tmp_path: Path) -> None:
    """Read back with GDAL, which knows nothing of our writer."""
    h = house("kettle")
    chosen = package(h, 0)
    found = {}
    for flip in (False, True):
        file = tmp_path / f"{flip}.dxf"
        file.write_text(layout_dxf(h, chosen, hardware(), flip, "a package"), encoding="utf-8")
        entities = pyogrio.read_dataframe(file, layer="entities")
        bolts = entities[entities["Layer"] == "ANCHOR_BOLT"].geometry
        found[flip] = sorted((round(g.centroid.x, 3), round(g.centroid.y, 3)) for g in bolts)
        assert {"HOLD_DOWN", "HOLD_DOWN_ANCHOR", "WALL", "SEGMENT", "OPENING"} <= set(entities["Layer"])
        drawing = ezdxf.readfile(file)
        assert (drawing.dxfversion, drawing.header["$INSUNITS"]) == ("AC1015", 21)
        assert not drawing.audit().has_issues
        assert file.read_text(encoding="utf-8") == layout_dxf(h, chosen, hardware(), flip, "a package")
    counted = counts_by_item(place_layout(h, chosen, hardware()))
    assert len(found[False]) == sum(n for (_, item), n in counted.items() if item.startswith("anchor bolt"))
    axis = twice_axis(h.variant)
    assert np.allclose(sorted((axis - x, y) for x, y in found[False]), found[True], atol=2e-3)


# --- pictures -------------------------------------------------------------------------------------------------------


def test_a_plan_drawing_names_what_the_plan_holds() -> None:
    h = house("kettle", "B", True)
    words = " | ".join(s.text for s in plan_sheet(h, False) if isinstance(s, Label))
    for wall in h.variant.walls:
        assert f"{wall.name}, line {wall.line}" in words
        for o in wall.openings:
            assert o.name in words
    for part in h.variant.roofs:
        assert part.name in words
    assert f"2a = {h.ctx.end_zone_ft:.2f}".rstrip("0").rstrip(".") in words
    assert "invented" in words
    assert "licensed design professional" in words


def test_a_plan_traced_by_the_directional_procedure_shows_its_own_end_zones() -> None:
    """Trusses within a mean roof height of an end are drawn as end trusses, and the zone is that deep."""
    variant = load_plan(SAMPLE / "plans" / "thimble.toml").variant("A")
    h = trace_load_path(variant, "ASCE 7-16", "ASD", "directional")
    shapes = plan_sheet(h, False)
    words = " | ".join(s.text for s in shapes if isinstance(s, Label))
    assert f"h = {variant.mean_roof_height_ft:.2f}".rstrip("0").rstrip(".") in words
    assert "2a = " not in words
    ends = sum(1 for s in shapes if s.layer == "truss_end")
    assert ends > sum(1 for s in plan_sheet(house("thimble", "A"), False) if s.layer == "truss_end")


def test_segments_carry_the_numbers_of_the_demand_model() -> None:
    h = house("lantern", "A")
    numbers = Counter(
        s.text
        for panel in plan_panels(h, False)
        for s in panel.shapes
        if isinstance(s, Label) and s.layer == "segment_number"
    )
    names = [m[1] for p in h.points if (m := re.match(r"end post: .*, segment (\d+) ", p.name))]
    assert numbers == Counter(names)


def test_loads_on_the_drawing_are_those_of_the_demand_model() -> None:
    h = house("thimble")
    model = model_of(h)
    hazards = load_labels.DrawnHazards(30.0, 0.8)
    one = np.ones(1)
    alike = (30 * one, 30 * one, 0.18 * one, 0.8 * one, 0.4 * one, 0 * one, 1.3 * one, 0 * one)
    lot = load_labels.LotHazards(*alike, np.full((1, 4), 30.0))
    point = next(p for p in model.points if p.name.startswith("truss tie:") and p.name.endswith("end zone"))
    value = evaluate(point, load_basis(model, lot)).largest[0, 0]
    words = [s.text for s in plan_sheet(h, False, hazards) if isinstance(s, Label)]
    assert f"up {value:,.0f} lb each" in words
    assert any("30 psf" in w and "not of a lot" in w for w in words)


@pytest.mark.parametrize("name", PLANS)
def test_pictures_are_well_formed_and_hold_no_other_address(name: str) -> None:
    h = house(name, "C", True)
    for shapes in (plan_sheet(h, True), layout_sheet(h, package(h, 0), hardware(), True, "a package")[0]):
        text = svg_file(shapes, f"{name} & more")
        ElementTree.fromstring(text)
        assert set(re.findall(r"https?://[^\"' ]*", text)) == {"http://www.w3.org/2000/svg"}


def test_texts_of_a_plan_cannot_become_markup_or_drawing_entities() -> None:
    shapes = [Label("wall_name", 0.0, 0.0, HOSTILE), Disc("anchor_bolt", 1.0, 1.0, 0.3)]
    picture = svg_picture(shapes, HOSTILE)
    assert "<script" not in picture
    assert [e.tag.rpartition("}")[2] for e in ElementTree.fromstring(picture)] == ["title", "text", "circle"]
    text = dxf_text(shapes, [HOSTILE])
    lines = text.splitlines()
    assert len(lines) % 2 == 0
    assert all(code.strip().isdigit() for code in lines[::2])
    assert "EVIL" not in lines
    drawing = ezdxf.read(StringIO(text))
    assert [e.dxftype() for e in drawing.modelspace()] == ["TEXT", "CIRCLE"]
    assert layer_name('a"b\nc') == "A_B_C"


def test_the_section_numbers_every_family_once_and_apart() -> None:
    numbers = {key: str(n) for n, key in enumerate(families(), 1)}
    for name in ("lantern", "thimble"):
        shapes = section(house(name, "C", True).variant, numbers)
        drawn = [s for s in shapes if isinstance(s, Label) and s.layer == "balloon_number"]
        assert len({s.text for s in drawn}) == len(drawn) >= 20
        for a in drawn:
            for b in drawn:
                assert a is b or abs(a.y - b.y) + abs(a.x - b.x) >= 2.0 * BALLOON_FT


def test_every_family_that_is_chosen_has_a_place_in_the_section() -> None:
    not_bought = {"accessory", "retrofit_anchor"}
    shapes = section(house("lantern", "C", True).variant, {key: key for key in families()})
    drawn = {s.text for s in shapes if isinstance(s, Label) and s.layer == "balloon_number"}
    assert drawn == set(families()) - not_bought


# --- hand and compass -----------------------------------------------------------------------------------------------


def test_sides_face_where_a_person_on_the_street_sees_them() -> None:
    """Front to the south: standing south of the house and looking north, the left hand points west."""
    assert dict(side_bearings(180.0)) == {"front": 180.0, "left": 270.0, "rear": 0.0, "right": 90.0}
    assert bearing_words(359.9) == "N 360°"
    assert bearing_words(45.0) == "NE 45°"


@pytest.mark.parametrize(("front", "way"), [(180.0, (0, 1)), (0.0, (0, -1)), (90.0, (1, 0)), (270.0, (-1, 0))])
def test_north_arrow_on_a_plan_with_its_front_below(front: float, way: tuple[int, int]) -> None:
    """Front to the south: north is up. Front to the east (down the sheet): north is to the right."""
    letter = next(s for s in north_arrow(front) if isinstance(s, Label))
    assert np.allclose(np.array([letter.x, letter.y]) / np.hypot(letter.x, letter.y), way, atol=1e-9)


def test_the_garage_changes_sides_with_the_hand() -> None:
    v = house("thimble").variant
    assert (garage_side(v, False), garage_side(v, True)) == ("right", "left")


def test_distances_read_as_a_carpenter_reads_them() -> None:
    assert feet_inches(5.0 + 6.5 / 12.0) == "5'-6 1/2\""
    assert feet_inches(1.0) == "1'-0\""
    assert feet_inches(0.99999) == "1'-0\""


# --- the command ----------------------------------------------------------------------------------------------------


def test_draw_writes_a_plan_and_a_layout(tmp_path: Path) -> None:
    plan = SAMPLE / "plans" / "lantern.toml"
    svg, dxf = tmp_path / "a.svg", tmp_path / "b.dxf"
    assert command("draw", plan, "--style", "C", "--options", "patio", "--loads", "--out", svg)[0] == 0
    ElementTree.parse(svg)
    code, out, _ = command(
        "draw", plan, "--mirrored", "--layout", SAMPLE / "hardware.csv", "--anchors-at", "48", "--out", dxf
    )
    assert (code, out.strip()) == (0, f"written: {dxf}")
    assert set(pyogrio.read_dataframe(dxf, layer="entities")["Layer"]) >= {"ANCHOR_BOLT", "STOREY_STRAP"}
    assert not list(tmp_path.glob("*.part"))


def test_draw_names_its_file_after_the_house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert command("draw", SAMPLE / "plans" / "thimble.toml", "--options", "third_bay;patio", "--mirrored")[0] == 0
    assert [f.name for f in tmp_path.iterdir()] == ["thimble-a-patio-third-bay-mirrored.svg"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--style", "Z"), "no style 'Z'"),
        (("--options", "pool"), "no option 'pool'"),
        (("--out", "house.pdf"), ".svg or .dxf"),
        (("--layout", str(SAMPLE / "hardware.csv"), "--anchors-at", "55"), "55 in"),
        (("--layout", "nowhere.csv"), "readable CSV"),
    ],
)
def test_draw_says_what_it_cannot_use(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    out = () if "--out" in words else ("--out", tmp_path / "x.svg")
    code, _, err = command("draw", SAMPLE / "plans" / "thimble.toml", *words, *out)
    assert code == 2
    assert said in err
    assert not list(tmp_path.iterdir())


def test_draw_of_a_faulty_plan_names_plan_and_key(tmp_path: Path) -> None:
    file = tmp_path / "bad.toml"
    file.write_text(plan_text("thimble", ('line = "B"', 'lime = "B"')))
    code, _, err = command("draw", file, "--out", tmp_path / "x.svg")
    assert code == 2
    assert "bad.toml" in err
    assert "lime" in err
