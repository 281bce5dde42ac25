"""Lot sheets and the engineer's packet: counts that equal the bill, the right hand and bearings, nothing injected."""

from __future__ import annotations

import html
import json
import re
from collections import Counter
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest

from screener.bill import lot_rows
from screener.config import load_tract
from screener.drawings.layout import place_layout
from screener.hardware import HardwareRow
from screener.pipeline import choose, prepare
from screener.sheets import job, pdf
from screener.sheets.lot_page import density, family_numbers, kits, lot_pages
from screener.sheets.notes import fastening, install_notes, number
from screener.sheets.source import Source, finished_tables, open_source
from screener.sheets.write import file_stem, slug
from tests.screener.tract_helpers import TWELVE, command, cut, write_tract

HOSTILE = '<script>alert(1)</script>"&/../=cmd'


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve lots of the sample, run by the command."""
    file = write_tract(tmp_path_factory.mktemp("sheets"))
    assert command("run", file, "--allow-exceptions", "--quiet")[0] == 0
    return file


@pytest.fixture(scope="module")
def source(project: Path) -> Source:
    return open_source(project)


@pytest.fixture(scope="module")
def written(project: Path) -> Path:
    assert command("sheets", project, "--layouts", "--quiet")[0] == 0
    return project.parent / "sheets"


def page_of(folder: Path, lot_id: str) -> str:
    (file,) = folder.glob(f"[0-9]*-{slug(lot_id)}-*.html")
    return file.read_text(encoding="utf-8")


def text_of(page: str) -> str:
    """What a reader reads: no style, no tags."""
    body = re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", body)))


# --- counts ---------------------------------------------------------------------------------------------------------


def test_kits_of_all_lots_add_up_to_the_bill(project: Path, source: Source) -> None:
    bill = pd.read_csv(project.parent / "results" / "bill_of_materials.csv")
    bought = bill.groupby(["item", "drop"])["quantity"].sum().to_dict()
    packed: Counter[tuple[str, str]] = Counter()
    for lot_id in source.lot_ids():
        lot = source.lot(lot_id)
        for kit in kits(lot, family_numbers(lot)):
            packed.update({(item, kit.drop): count for item, count in kit.items})
    assert dict(packed) == bought


def test_kits_of_one_lot_are_the_bills_own_rows_for_it(project: Path, source: Source) -> None:
    prepared = prepare(load_tract(project))
    rows = lot_rows(prepared, choose(prepared))
    for lot_id in ("A-03", "C-45", "D-45"):
        here = rows[rows["lot_id"] == lot_id]
        wanted = {(i, d): int(q) for i, d, q in zip(here["item"], here["drop"], here["quantity"], strict=True)}
        lot = source.lot(lot_id)
        assert {(i, k.drop): n for k in kits(lot, family_numbers(lot)) for i, n in k.items} == wanted


def test_rows_of_a_kit_add_up_to_its_items(source: Source) -> None:
    lot = source.lot("A-03")
    pooled = {r.item: r.bill_item for r in source.hardware.rows}
    for kit in kits(lot, family_numbers(lot)):
        added: Counter[str] = Counter()
        for row in kit.rows:
            added[pooled[row.item]] += row.count
        assert dict(added) == dict(kit.items)


def test_the_layout_places_the_pieces_of_the_demands_table(source: Source) -> None:
    for lot_id in ("A-03", "C-45"):
        lot = source.lot(lot_id)
        assert lot.house is not None
        placed: Counter[str] = Counter()
        for p in place_layout(lot.house, lot.chosen, source.hardware):
            placed[p.point] += p.pieces
        table = lot.demands.dropna(subset="quantity").groupby("point")["quantity"].first()
        assert len(placed) > 50
        for point, count in placed.items():
            assert table[point] == count, point


# --- what a page says -----------------------------------------------------------------------------------------------


def test_every_lot_has_its_page_and_every_house_its_layout(written: Path, source: Source) -> None:
    pages = sorted(f.name for f in written.glob("[0-9]*.html"))
    assert pages == [f"{file_stem(n, lot)}.html" for n, lot in enumerate(source.lot_ids(), 1)]
    assert sorted(source.lot_ids()) == sorted(TWELVE)
    named = set(re.findall(r"anchor layout (layout-[-a-z0-9]+)", text_of((written / job.ALL_PAGES).read_text())))
    assert named
    assert {f.stem for f in (written / "layouts").glob("*.svg")} == named
    assert {f.stem for f in (written / "layouts").glob("*.dxf")} == named


def test_a_page_names_hand_side_and_bearings(written: Path) -> None:
    straight, reverse = text_of(page_of(written, "A-03")), text_of(page_of(written, "D-45"))
    assert "As drawn : garage right" in straight
    assert "MIRRORED : garage left" in reverse
    assert "anchor plan on site is MIRRORED, garage left" in reverse
    assert "front faces N 0°" in straight  # row A fronts north, row D south
    assert "left faces E 90°" in straight
    assert "front faces S 180°" in reverse
    assert "left faces W 270°" in reverse


@pytest.mark.parametrize("lot_id", TWELVE)
def test_every_page_carries_caution_place_to_call_and_its_own_id(written: Path, source: Source, lot_id: str) -> None:
    words = text_of(page_of(written, lot_id))
    assert "Not sealed, not for construction: for pricing." in words
    assert "licensed design professional decides" in words
    assert "Stop and call" in words
    assert file_stem(source.lot(lot_id).index, lot_id) in words
    assert f"run {source.tables.run[:8]}" in words
    for never in ("code compliant", "approved", " safe ", "engineer not required"):
        assert never not in words.casefold()


def test_a_lot_without_a_package_says_so_and_shows_no_kit(written: Path, source: Source) -> None:
    without = [i for i in source.lot_ids() if not source.lot(i).text("tier")]
    assert without
    for lot_id in without:
        page = page_of(written, lot_id)
        assert "No package: do not build from this page." in text_of(page)
        assert "kit label" not in text_of(page)
        assert "NO_HARDWARE" in page


def test_notes_follow_from_the_package_and_the_house(source: Source) -> None:
    slab, raised = source.lot("A-01"), source.lot("A-03")
    notes = {lot.lot_id: " ".join(install_notes(lot)) for lot in (slab, raised)}
    assert all("Truss not over a stud is normal" in n for n in notes.values())
    assert "Short screw over concrete" in notes["A-01"]
    assert "Short screw over concrete" not in notes["A-03"]  # on a raised floor the plate lies on wood
    assert "4-3/8 in" in notes["A-01"]  # seven diameters of its 5/8 in bolts
    assert "start 3 in (± 1/4)" in notes["A-01"]
    assert "22° from the stud (10° to 30°)" in notes["A-01"]


def test_fastening_words(source: Source) -> None:
    row = source.hardware.by_item
    assert fastening(row["toe nails 3-10d"]) == "3 x 10d common toe-nailed"
    assert fastening(row["wall nail 8d at 6/12"]) == "8d common"
    assert fastening(row["roof diaphragm blocked 6/6"]) == "8d common, 6 in edges, 12 in field"
    assert fastening(row["anchor bolt 5/8 in with plate washer"]) == "7 in deep, 3 x 3 in washer"
    assert fastening(row["plate splice strap 16 gauge"]) == "9 x 10d common at each end"
    assert fastening(row["girder tie"]) == ""
    assert [number(v) for v in (0.625, 4.375, 7.0, 0.25, 2.3)] == ["5/8", "4-3/8", "7", "1/4", "2.3"]


def test_numbers_in_the_table_are_those_of_the_section(source: Source) -> None:
    lot = source.lot("C-45")
    numbers = family_numbers(lot)
    page = lot_pages(source, [lot])
    drawn = set(re.findall(r'class="balloon_number"[^>]*>(\d+)<', page))
    assert {row.mark for kit in kits(lot, numbers) for row in kit.rows} == drawn


# --- injection and names --------------------------------------------------------------------------------------------


def test_hostile_names_stay_text_and_stay_in_the_folder(tmp_path: Path) -> None:
    lots = cut(["A-01", "B-02"])
    lots.loc[0, "lot_id"] = HOSTILE
    lots.loc[1, "block"] = '"><img src=x onerror=alert(2)>'
    file = write_tract(tmp_path / "t", lots)
    out = tmp_path / "out"
    code, said, _ = command("sheets", file, "--out", out, "--layouts", "--json")
    assert code == 0
    names = json.loads(said)["files"]
    assert all(re.fullmatch(r"(layouts/)?[a-z0-9][-a-z0-9]*\.(html|svg|dxf)", name) for name in names)
    assert {f.relative_to(out).as_posix() for f in out.rglob("*") if f.is_file()} == set(names)
    for name in names:
        if name.endswith(".html"):
            text = (out / name).read_text(encoding="utf-8")
            assert "<script" not in text
            assert "<img" not in text
    assert any(HOSTILE in text_of((out / n).read_text(encoding="utf-8")) for n in names if n.endswith("html"))
    code, _, _ = command("sheets", file, "--packet", HOSTILE, "--out", out, "--quiet")
    assert code == 0
    (packet,) = out.glob("packet-*.html")
    assert "<script" not in packet.read_text(encoding="utf-8")


def test_file_names_differ_for_ids_that_look_alike() -> None:
    stems = {file_stem(1, i) for i in ("A-1", "a 1", "A/1", "", "..", "\ud800")}
    assert len(stems) == 6
    assert all(re.fullmatch(r"0001-[a-z0-9-]+-[0-9a-f]{8}", s) for s in stems)


# --- where numbers come from ----------------------------------------------------------------------------------------


@pytest.mark.long
def test_pages_are_the_same_from_a_results_folder_and_from_a_run_made_now(project: Path, tmp_path: Path) -> None:
    fresh = write_tract(tmp_path / "fresh")
    words = []
    for file in (project.parent / "results", fresh):
        opened = open_source(file, ["A-03"])
        page = text_of(lot_pages(opened, [opened.lot("A-03")]))
        words.append(re.sub(r", run [0-9a-f]{8}", "", page))
    assert words[0] == words[1]


def test_results_of_other_inputs_are_not_used(tmp_path: Path) -> None:
    file = write_tract(tmp_path / "t", cut(["A-01", "A-02"]))
    assert command("run", file, "--allow-exceptions", "--quiet")[0] == 0
    assert finished_tables(load_tract(file)) is not None
    file.write_text(file.read_text().replace("labour_usd_per_h = 58", "labour_usd_per_h = 59"))
    assert finished_tables(load_tract(file)) is None
    code, _, err = command("sheets", file.parent / "results", "--quiet")
    assert code == 2
    assert "run the project again" in err
    assert command("sheets", file, "--lot", "A-01", "--quiet", "--out", tmp_path / "o")[0] == 0


def test_a_folder_without_a_project_is_refused(tmp_path: Path) -> None:
    (tmp_path / "results").mkdir()
    code, _, err = command("sheets", tmp_path / "results")
    assert code == 2
    assert "give the project file instead" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--lot", "A-3"), "such as A-"),
        (("--packet", "A-01", "--lot", "A-01"), "leave out --lot"),
        (("--packet", "Q"), "'Q'"),
    ],
)
def test_sheets_says_what_it_cannot_use(project: Path, words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    code, _, err = command("sheets", project, *words, "--out", tmp_path / "o")
    assert code == 2
    assert said in err
    assert not (tmp_path / "o").exists()


def test_a_folder_that_cannot_be_written_is_exit_4(project: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    assert command("sheets", project, "--lot", "A-01", "--out", tmp_path / "file" / "x")[0] == 4


# --- packet ---------------------------------------------------------------------------------------------------------


def test_the_packet_holds_geometry_hazards_loads_limits_and_the_derivation(project: Path, tmp_path: Path) -> None:
    assert command("sheets", project, "--packet", "A-29", "--out", tmp_path, "--quiet")[0] == 0
    (file,) = tmp_path.glob("packet-*.html")
    page = file.read_text(encoding="utf-8")
    words = text_of(page)
    _, explained, _ = command("explain", project, "--lot", "A-29")
    for line in explained.splitlines():
        assert re.sub(r"\s+", " ", line).strip() in words, line
    demands = pd.read_csv(project.parent / "results" / "demands.csv")
    for point in demands.loc[demands["lot_id"] == "A-29", "point"].unique():
        assert point in words
    assert "Kzt" in words
    assert "sealed set" in words
    assert page.count("data:image/svg+xml;base64,") == 2  # exposure rose and terrain profile
    assert set(re.findall(r"https?://[^\"' <)]*", page)) == {"http://www.w3.org/2000/svg"}
    assert "default-src 'none'" in html.unescape(page)


def test_the_packet_of_a_lot_without_a_plan_or_with_no_numbers(tmp_path: Path) -> None:
    lots = cut(["A-01", "B-41"])
    lots.loc[1, "plan"] = None
    file = write_tract(tmp_path / "t", lots)
    assert command("sheets", file, "--packet", "B-41", "--out", tmp_path / "o", "--quiet")[0] == 0
    (page,) = (tmp_path / "o").glob("packet-*.html")
    assert "No plan is chosen for this lot." in text_of(page.read_text(encoding="utf-8"))
    assert command("sheets", file, "--out", tmp_path / "o", "--quiet")[0] == 0
    assert "No package" in page_of(tmp_path / "o", "B-41")


# --- print ----------------------------------------------------------------------------------------------------------


def test_without_a_browser_the_command_says_so(project: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "BROWSERS", ())
    code, _, err = command("sheets", project, "--lot", "A-01", "--pdf", "--out", tmp_path)
    assert code == 0
    assert "no PDF: chromium is not installed" in err
    assert not list(tmp_path.glob("*.pdf"))


@pytest.mark.skipif(pdf.browser() is None, reason="chromium is not installed")
def test_every_lot_prints_on_one_page(project: Path, tmp_path: Path) -> None:
    code, _, err = command("sheets", project, "--pdf", "--out", tmp_path, "--quiet")
    assert (code, err) == (0, "")
    printed = (tmp_path / job.ALL_PAGES).with_suffix(".pdf").read_bytes()
    assert len(re.findall(rb"/Type\s*/Page[^s]", printed)) == len(TWELVE)


def test_fuller_pages_are_set_smaller() -> None:
    row = SimpleNamespace(item="x" * 20, how="", where="y" * 30, fastening="z" * 10)
    sizes = [density([SimpleNamespace(rows=[row] * n)], ["note"] * 8, []) for n in (5, 40, 70, 200)]  # type: ignore[list-item]
    assert sizes == ["roomy", "usual", "dense", "tight"]


def test_rows_of_the_list_keep_their_free_columns(source: Source) -> None:
    row = source.hardware.by_item["hold-down cast strap"]
    assert isinstance(row, HardwareRow)
    assert row.extra["note"] == "cast in at the slab edge"
