"""Writing sheets, layouts and packets of a tract into a folder."""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from hazard.issues import InputError, Issue
from screener.drawings.house_drawings import layout_dxf, layout_sheet
from screener.drawings.svg import svg_file
from screener.sheets.lot_page import lot_pages
from screener.sheets.pdf import print_pdf
from screener.sheets.source import LotFacts, Progress, Source, open_source, screened_source
from screener.sheets.write import file_stem, slug, write_text

ALL_PAGES = "all-lots.html"


@dataclass
class Written:
    """What was written, and what could not be."""

    folder: Path
    files: list[Path] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    run: str = ""

    def text(self, name: str, content: str) -> Path:
        path = self.folder / name
        write_text(path, content)
        self.files.append(path)
        return path

    def pdf(self, page: Path) -> None:
        target = page.with_suffix(".pdf")
        remark = print_pdf(page, target)
        if remark:
            self.remarks.append(remark)
        else:
            self.files.append(target)


def write_sheets(
    path: Path,
    lots: Sequence[str],
    out: Path | None,
    *,
    layouts: bool = False,
    pdf: bool = False,
    progress: Progress = lambda _: None,
) -> Written:
    """One page for each lot asked for (all where none is), all pages in one file, and layouts where asked."""
    source = open_source(path, lots, progress)
    wanted = _known(source, lots)
    done = Written(out or source.tract.folder / "sheets", run=source.tables.run)
    facts = [source.lot(lot_id) for lot_id in wanted]
    names = {lot.lot_id: layout_name(lot) for lot in facts if lot.house and lot.chosen}
    for lot in facts:
        progress(f"sheet of lot {lot.lot_id}")
        done.text(f"{file_stem(lot.index, lot.lot_id)}.html", lot_pages(source, [lot], names))
    if layouts:
        _write_layouts(source, facts, done, progress)
    if len(facts) > 1:
        done.text(ALL_PAGES, lot_pages(source, facts, names))
    if pdf:
        progress("printing")
        done.pdf(done.folder / (ALL_PAGES if len(facts) > 1 else done.files[0].name))
    return done


def write_packet(
    path: Path, lot_id: str, out: Path | None, *, pdf: bool = False, progress: Progress = lambda _: None
) -> Written:
    """The engineer's packet of one lot; the tract is screened again, since a derivation needs its arrays."""
    from screener.sheets.packet import packet_page

    source, prepared, selection = screened_source(path, progress)
    _known(source, [lot_id])
    lot = source.lot(lot_id)
    done = Written(out or source.tract.folder / "sheets")
    page = done.text(f"packet-{file_stem(lot.index, lot_id)}.html", packet_page(source, lot, prepared, selection))
    if pdf:
        progress("printing")
        done.pdf(page)
    return done


def _known(source: Source, lots: Iterable[str]) -> list[str]:
    """The lots asked for, each once; all lots where none is named. ``InputError`` names those that are not there."""
    every = source.lot_ids()
    wanted = list(dict.fromkeys(lots)) or every
    where = source.tract.shown(source.tract.lots.file)
    faults = []
    for lot in wanted:
        if lot not in every:
            near = ", ".join(difflib.get_close_matches(lot, every, n=3))
            expected = f"one of its lot ids{', such as ' + near if near else ''}"
            faults.append(Issue("lot_unknown", "stop", where, f"no lot '{lot}'", expected, "", lot))
    if faults:
        raise InputError(faults)
    return wanted


def layout_name(lot: LotFacts) -> str:
    """Name of the anchor layout that a lot shares with every lot of its house, package and hand."""
    assert lot.variant is not None
    hand = "mirrored" if lot.mirrored else "as-drawn"
    key = f"{lot.variant.key}|{lot.text('tier')}|{hand}"
    digest = hashlib.sha256(key.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"layout-{slug(lot.variant.key)}-{slug(lot.text('tier'))}-{hand}-{digest}"


def _write_layouts(source: Source, facts: Sequence[LotFacts], done: Written, progress: Progress) -> None:
    made: set[str] = set()
    for lot in facts:
        if lot.house is None or not lot.chosen or (name := layout_name(lot)) in made:
            continue
        made.add(name)
        progress(name)
        what = (lot.house, lot.chosen, source.hardware, lot.mirrored, lot.text("tier"))
        done.text(f"layouts/{name}.svg", svg_file(layout_sheet(*what)[0], name))
        done.text(f"layouts/{name}.dxf", layout_dxf(*what))
