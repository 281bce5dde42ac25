"""Law: renaming lots, plans, items, phases only renames rows. And where a name stands, an output holds only text."""

from __future__ import annotations

import csv
import json
import sqlite3
import xml.etree.ElementTree as ElementTree
from collections import Counter
from contextlib import closing
from html.parser import HTMLParser
from pathlib import Path

import ezdxf
import hostile
import openpyxl
import pandas as pd
import pytest
from hostile import ITEMS, LOTS, NAMES, PHASES, PLANS
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tract_helpers import Screened, command, screened

RENAMED = (*LOTS, *PLANS, *ITEMS, *PHASES)
COLUMNS = {
    "lots": ("lot_id", "plan", "phase", "tier", "status", "governing_ratio", "governing_point", "total_cost", "kzt"),
    "demands": ("lot_id", "point", "component", "demand", "capacity", "ratio", "case", "item", "quantity"),
    "bill_of_materials": ("item", "phase", "drop", "quantity", "quantity_with_waste", "cost", "labour_hours"),
    "packages": ("tier", "schedule", "item", "arrangement"),
}


def _rows(run: Screened, names: dict[str, str]) -> dict[str, list[tuple[str, ...]]]:
    """Every table as sorted rows, with names put back to the old ones."""
    old = {new: name for name, new in names.items()}
    tables = {"lots": pd.DataFrame(run.results.lots.drop(columns="geometry")), "demands": run.results.demands}
    tables |= {"bill_of_materials": run.results.bill_of_materials, "packages": run.results.packages}
    found = {}
    for name, wanted in COLUMNS.items():
        frame = tables[name][[c for c in wanted if c in tables[name].columns]]
        found[name] = sorted(
            tuple(old.get(str(v), f"{v:.6f}" if isinstance(v, float) else str(v)) for v in row)
            for row in frame.itertuples(index=False)
        )
        assert found[name], name
    return found


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[tuple[str, ...]]]:
    return _rows(screened(hostile.write(tmp_path_factory.mktemp("plain") / "p", {})), {})


CHOSEN = st.one_of(
    st.sampled_from([name for name in NAMES if hostile.usable(name)]),
    st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=20).filter(hostile.usable),
)


@settings(max_examples=5, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(data=st.data())
def test_renaming_only_renames(
    data: st.DataObject, plain: dict[str, list[tuple[str, ...]]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Hostile names for lots, plans, items and phases: the same numbers, row by row, once names are put back."""
    new = data.draw(
        st.lists(CHOSEN, min_size=len(RENAMED), max_size=len(RENAMED), unique_by=lambda name: name.casefold())
    )
    names = dict(zip(RENAMED, new, strict=True))
    found = _rows(screened(hostile.write(tmp_path_factory.mktemp("renamed") / "p", names)), names)
    for table, rows in plain.items():
        assert found[table] == rows, (table, names)


# ---------------------------------------------------------------- every output

HOSTILE_RUN = {
    **dict(zip((*LOTS, *PLANS), (NAMES[0], NAMES[3], NAMES[5], NAMES[1], NAMES[2]), strict=True)),
    **dict(
        zip((*ITEMS, *PHASES), (NAMES[4], NAMES[8], NAMES[6], NAMES[10], NAMES[14], NAMES[9], NAMES[13]), strict=True)
    ),
    "tract": NAMES[8] + NAMES[0],
    "front 1": NAMES[1] + NAMES[10],
    "title": NAMES[8] + NAMES[6],
    "source": NAMES[3] + NAMES[0] + "{{7*7}}",
    "block": NAMES[1],
}
CLEAN_RUN = {"tract": "Plain", "front 1": "front 1", "title": "Title", "source": "invented", "block": "1"}


class Tags(HTMLParser):
    """Tags and attributes of a page, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: Counter[str] = Counter()
        self.attributes: Counter[str] = Counter()
        self.links: list[str] = []
        self.said: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes.update(name for name, _ in attrs)
        self.links += [value or "" for name, value in attrs if name in ("href", "src", "action", "xlink:href")]

    def handle_data(self, data: str) -> None:
        self.said.append(data)


def _everything(folder: Path, names: dict[str, str]) -> Path:
    """Every command that writes pages, drawings or tables, on one project; the folder with all outputs."""
    file = hostile.write(folder / "p", names)
    lot = names.get("A-02", "A-02")
    calls = [
        ("run", file, "--quiet", "--allow-exceptions"),
        ("sheets", file.parent / "results", "--lot", lot, "--layouts", "--out", folder / "sheets", "--quiet"),
        ("draw", file.parent / "plans" / "thimble.toml", "--out", folder / "plan.svg"),
        ("draw", file.parent / "plans" / "thimble.toml", "--out", folder / "plan.dxf"),
        ("explain", file, "--lot", lot, "--html", folder / "lot.html"),
        ("compare", file.parent / "results", file.parent / "results", "--html", folder / "changed.html"),
    ]
    for words in calls:
        code, out, err = command(*words)
        assert code == 0, (words, out, err)
        assert not set("\x1b\x9b\u202e") & set(out + err)
    return folder


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    base = tmp_path_factory.mktemp("outputs")
    return _everything(base / "clean", CLEAN_RUN), _everything(base / "hostile", HOSTILE_RUN)


def test_every_output_carries_hostile_texts_as_texts_only(runs: tuple[Path, Path]) -> None:
    """Each page, picture, drawing, workbook, table and database has the same structure as its clean twin: the same
    tags, cells, tables and files; and the names stand in it as texts."""
    clean, bad = runs
    kinds = Counter(f.suffix for f in _files(bad))
    assert kinds == Counter(f.suffix for f in _files(clean))
    assert set(kinds) >= {".html", ".svg", ".dxf", ".xlsx", ".csv", ".gpkg", ".json"}
    assert sorted(f.name for f in bad.parent.iterdir()) == ["clean", "hostile"], "nothing outside the folders"
    for suffix, check in CHECKS.items():
        files = [[f for f in _files(folder) if f.suffix == suffix] for folder in runs]
        check(*files)


def _files(folder: Path) -> list[Path]:
    found = {p.resolve() for p in folder.rglob("*") if p.is_file() and not p.name.startswith(".")}
    return sorted(found, key=lambda p: (p.suffix, len(p.parts), p.name))


def _pages(clean: list[Path], bad: list[Path]) -> None:
    pages = [[Tags(f.read_text(encoding="utf-8")) for f in files] for files in (clean, bad)]
    tags, attributes = (
        [sum((getattr(p, what) for p in each), Counter()) for each in pages] for what in ("tags", "attributes")
    )
    more = {"tr", "td", "code", "bdi"}  # a row of the issues table tells of formulas in texts
    assert set(tags[0]) == set(tags[1])
    assert {t: n for t, n in tags[0].items() if t not in more} == {t: n for t, n in tags[1].items() if t not in more}
    assert all(0 <= tags[1][t] - tags[0][t] < 40 for t in more)
    assert set(attributes[0]) == set(attributes[1])
    assert not [name for name in attributes[1] if name.startswith("on")]
    links = [link for page in pages[1] for link in page.links]
    assert not [link for link in links if not link.startswith(("#", "data:"))], links
    text = "".join(piece for page in pages[1] for piece in page.said)
    for name in (HOSTILE_RUN["A-02"], HOSTILE_RUN["thimble"], HOSTILE_RUN["tract"]):
        assert name in text, name
    assert "{{7*7}}" in text
    assert all(b"Content-Security-Policy" in f.read_bytes() for f in bad)


def _pictures(clean: list[Path], bad: list[Path]) -> None:
    trees = [[list(ElementTree.parse(f).getroot().iter()) for f in files] for files in (clean, bad)]
    assert [Counter(e.tag for e in tree) for tree in trees[0]] == [Counter(e.tag for e in tree) for tree in trees[1]]
    for tree in trees[1]:
        assert not [e.tag for e in tree if e.tag.rpartition("}")[2] in ("script", "foreignObject", "image", "a")]
        assert not [k for e in tree for k in e.attrib if k.startswith("on") or k.endswith("href")]


def _drawings(clean: list[Path], bad: list[Path]) -> None:
    counts = [[Counter(e.dxftype() for e in ezdxf.readfile(f).modelspace()) for f in files] for files in (clean, bad)]
    assert counts[0] == counts[1]


def _workbooks(clean: list[Path], bad: list[Path]) -> None:
    books = [openpyxl.load_workbook(files[0]) for files in (clean, bad)]
    assert books[0].sheetnames == books[1].sheetnames
    cells = [cell for sheet in books[1] for row in sheet.iter_rows() for cell in row]
    assert not [cell.coordinate for cell in cells if cell.data_type == "f" or cell.hyperlink]
    assert [s.dimensions for s in books[0]] == [s.dimensions for s in books[1]]
    values = {cell.value for cell in cells}
    assert {HOSTILE_RUN[lot] for lot in LOTS} <= values


def _tables(clean: list[Path], bad: list[Path]) -> None:
    for one, other in zip(clean, bad, strict=True):
        with one.open(encoding="utf-8", newline="") as a, other.open(encoding="utf-8", newline="") as b:
            ours, theirs = list(csv.reader(a)), list(csv.reader(b))
        if other.parent.name == "p":
            continue  # an input
        assert ours[0] == theirs[0], other.name
        if other.name != "issues.csv":  # which tells of formulas
            assert len(ours) == len(theirs), other.name
        assert {len(row) for row in theirs} == {len(theirs[0])}, other.name
        for row in theirs[1:]:
            for cell in row:
                assert cell[:1] not in "=+@\t\r" or not cell, (other.name, cell)
                assert not cell.startswith("-") or _is_number(cell), (other.name, cell)


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _databases(clean: list[Path], bad: list[Path]) -> None:
    counts = []
    for file in (clean[-1], bad[-1]):
        assert file.name == "tract.gpkg"
        with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True)) as database:
            assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            names = [
                n for (n,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
            ]
            sizes = {n: database.execute(f'SELECT count(*) FROM "{n}"').fetchone()[0] for n in names}
            counts.append({n: size for n, size in sizes.items() if n not in ("issues", "run")})
            ids = {i for (i,) in database.execute("SELECT lot_id FROM lots")}
    assert counts[0] == counts[1]
    assert ids == {HOSTILE_RUN[lot] for lot in LOTS}


def _records(clean: list[Path], bad: list[Path]) -> None:
    for one, other in zip(clean, bad, strict=True):
        ours, theirs = (json.loads(f.read_text(encoding="utf-8")) for f in (one, other))
        assert set(ours) == set(theirs)


CHECKS = {
    ".html": _pages,
    ".svg": _pictures,
    ".dxf": _drawings,
    ".xlsx": _workbooks,
    ".csv": _tables,
    ".gpkg": _databases,
    ".json": _records,
}


def _spoil(file: Path) -> None:
    """What a name that got through would leave in a file."""
    match file.suffix:
        case ".html":
            file.write_text(file.read_text(encoding="utf-8") + "<img src=x onerror=canary(1)>", encoding="utf-8")
        case ".svg":
            text = file.read_text(encoding="utf-8")
            file.write_text(text.replace("</svg>", "<script>canary(1)</script></svg>"), encoding="utf-8")
        case ".dxf":
            drawing = ezdxf.readfile(file)
            drawing.modelspace().add_text("x")
            drawing.saveas(file)
        case ".xlsx":
            book = openpyxl.load_workbook(file)
            book.worksheets[1]["A3"] = "=1+1"
            book.save(file)
        case ".csv":
            lines = file.read_text(encoding="utf-8").split("\n")
            lines[1] = "=" + lines[1]
            file.write_text("\n".join(lines), encoding="utf-8")
        case ".gpkg":
            with closing(sqlite3.connect(file)) as database, database:
                database.execute("DELETE FROM exceptions")
                database.execute("CREATE TABLE owned (n)")
        case ".json":
            file.write_text('{"owned": 1}', encoding="utf-8")


@pytest.mark.parametrize("suffix", CHECKS)
def test_the_checks_see_what_got_through(runs: tuple[Path, Path], tmp_path: Path, suffix: str) -> None:
    """One file of each kind spoilt: its check fails. So the test above can fail."""
    clean, bad = ([f for f in _files(folder) if f.suffix == suffix] for folder in runs)
    place = next(k for k, f in reversed(list(enumerate(bad))) if f.parent.name != "p")
    spoilt = tmp_path / bad[place].name
    spoilt.write_bytes(bad[place].read_bytes())
    _spoil(spoilt)
    with pytest.raises(AssertionError):
        CHECKS[suffix](clean, [*bad[:place], spoilt, *bad[place + 1 :]])
