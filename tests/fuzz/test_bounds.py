"""The bounds of drawings and LandXML count what is drawn and kept, and honest files stay below them."""

from __future__ import annotations

from pathlib import Path

import pytest

from hazard.issues import Issues
from screener.files import dxf_bounds, landxml_parts
from screener.files.vectors import VectorFile, read_layer
from tests.fuzz import seeds
from tests.fuzz.hostile import drawing_of_blocks

LINE = [(0, "LINE"), (8, "LOT"), (10, 0.0), (20, 0.0), (11, 1.0), (21, 1.0)]


@pytest.mark.parametrize(
    ("inserts", "drawn"),
    [
        ([("A", 1, 1)], 2),  # a block of two lines
        ([("A", 3, 3)], 18),  # three rows of three
        ([("B", 1, 1)], 8),  # three of A, each two lines, and two lines of its own
        ([("A", 1, 1), ("B", 2, 1)], 18),
        ([("a", 1, 1)], 2),  # names of blocks know no case
        ([("unknown", 9, 9)], 0),
    ],
)
def test_what_blocks_draw_is_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, inserts: list[tuple[str, int, int]], drawn: int
) -> None:
    """Exactly: at the bound a drawing passes, one below it does not. The drawing has one line of its own."""
    blocks = {"A": (LINE * 2, []), "B": (LINE * 2, [("A", 1, 3)])}
    file = tmp_path / "a.dxf"
    file.write_bytes(drawing_of_blocks(LINE, inserts, blocks))
    own = 1 + drawn + _frame(file)
    monkeypatch.setattr(dxf_bounds, "MOST_DRAWN", own)
    assert dxf_bounds.read_drawing(file)[1] == ""
    monkeypatch.setattr(dxf_bounds, "MOST_DRAWN", own - 1)
    assert "entities once its blocks are put in" in dxf_bounds.read_drawing(file)[1]


def _frame(file: Path) -> int:
    """Sections and the end of the file, which are counted with the drawing's own entities."""
    return file.read_bytes().count(b"\nSECTION\n") + 1


def test_depth_and_cycles_of_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dxf_bounds, "DEEPEST", 3)
    file = tmp_path / "a.dxf"
    for depth, fault in ((2, False), (4, True)):
        blocks = {f"B{i}": (LINE, [(f"B{i - 1}", 1, 1)] if i else []) for i in range(depth + 1)}
        file.write_bytes(drawing_of_blocks(LINE, [(f"B{depth}", 1, 1)], blocks))
        assert bool(dxf_bounds.read_drawing(file)[1]) is fault
    file.write_bytes(drawing_of_blocks(LINE, [("A", 1, 1)], {"A": ([], [("A", 1, 1)])}))
    assert "without end" in dxf_bounds.read_drawing(file)[1]


def test_windows_line_ends_hide_no_block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dxf_bounds, "MOST_DRAWN", 50)
    file = tmp_path / "a.dxf"
    file.write_bytes(drawing_of_blocks(LINE, [("A", 9, 9)], {"A": (LINE, [])}).replace(b"\n", b"\r\n"))
    assert "more than 50 entities" in dxf_bounds.read_drawing(file)[1]


@pytest.mark.parametrize("end", [b"", b"\r", b"\r\r\r", b"\n\0\0\0", b"\r\0", b"\x1a", b"\n\x1a"])
def test_a_drawing_is_read_whatever_stands_after_its_end(tmp_path: Path, end: bytes) -> None:
    """The drawing library would never come back from some of these."""
    file = tmp_path / "lots.dxf"
    file.write_bytes(seeds.dxf().rstrip() + end)
    content, fault = dxf_bounds.read_drawing(file)
    assert (content.rstrip(), fault, content[-1:]) == (seeds.dxf().rstrip(), "", b"\n")


def test_zero_bytes_inside_a_drawing_are_refused(tmp_path: Path) -> None:
    file = tmp_path / "lots.dxf"
    file.write_bytes(seeds.dxf().replace(b"SECTION", b"SEC\0ION", 1))
    assert "a zero byte at place" in dxf_bounds.read_drawing(file)[1]


def test_a_drawing_under_another_name_is_not_opened(tmp_path: Path) -> None:
    """The drawing library goes by what a file holds; bounds are looked at for drawings only."""
    issues = Issues()
    for n, head in enumerate((b"", b"999\na comment\r\n")):
        file = tmp_path / f"lots{n}.dat"
        file.write_bytes(head + seeds.dxf())
        assert read_layer(VectorFile(file, file.name), issues) is None
    assert [issue.code for issue in issues] == ["file_misnamed"] * 2


def test_landxml_keeps_units_points_and_parcels_alone(tmp_path: Path) -> None:
    file = tmp_path / "a.xml"
    surface = b"<Surfaces><Surface><Definition><Pnts><P>1 2 3</P></Pnts></Definition></Surface></Surfaces>"
    file.write_bytes(seeds.landxml().replace(b"<Parcels>", surface + b"<Parcels>"))
    parts = landxml_parts.read_parts(file)
    assert [part.tag.rpartition("}")[2] for part in parts] == ["Units", "CgPoint", "CgPoint", "Parcel"]
    assert sum(1 for each in parts.iter() if each.tag.endswith("}Line")) == 2


@pytest.mark.parametrize(
    ("bound", "value", "words"),
    [
        ("LARGEST_BYTES", 500, "bytes"),
        ("MOST_ELEMENTS", 5, "elements"),
        ("MOST_TEXT", 20, "characters"),
        ("DEEPEST", 3, "nested"),
    ],
)
def test_each_bound_of_landxml_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bound: str, value: int, words: str
) -> None:
    file = tmp_path / "a.xml"
    file.write_bytes(seeds.landxml())
    landxml_parts.read_parts(file)
    monkeypatch.setattr(landxml_parts, bound, value)
    with pytest.raises(landxml_parts.LandXmlError, match=words):
        landxml_parts.read_parts(file)
