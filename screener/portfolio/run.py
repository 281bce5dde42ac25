"""A portfolio from its file to its results: lay out, two passes over chunks with packages between, put together.

Every finished piece is kept in a work folder beside the results, so that a run that was killed goes on from there
(`resume`); nothing is published before all is done.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from hazard.issues import InputError, Issue, Issues
from screener.errors import EXCEPTIONS, OK
from screener.files.manifest import CAUTION, about_run, basis_words, input_records
from screener.irregularities import tell_redundancy
from screener.lots import SKIPPED, read_lots
from screener.packages import read_kept_packages
from screener.pipeline import hardware_of
from screener.plan_files import load_plans
from screener.portfolio import common as shared
from screener.portfolio.common import COMMON, LINES, Common, House, Lines, Texts, house_in
from screener.portfolio.config import Portfolio
from screener.portfolio.first_pass import SPOOL, first_pass
from screener.portfolio.layout import Layout, TractPlace, lay_out, packed, spool
from screener.portfolio.lot_stream import LotStream, open_stream
from screener.portfolio.map_parts import PARTS, map_part
from screener.portfolio.needs import Grouping, GroupPlan, Needs, groups_file, plan_groups
from screener.portfolio.schedulers import Scheduler
from screener.portfolio.second_pass import GROUPS, TEXTS, WORDS, second_pass
from screener.portfolio.work_folder import Done, Outcome, Task, read_pickle, write_pickle
from screener.publish import Destination, told_of_disk
from screener.tier_design import check_items

BYTES_A_LOT = 10_000
"""Disk that a lot takes while the run works and in its results, generously: shapes five times, 200 rows of demands."""
LAYOUT = "layout.pickle"
Progress = Callable[..., None]


@dataclass
class Job:
    """One run: what it works on, where, and what was found beside chunks."""

    portfolio: Portfolio
    folder: Path
    done: Done
    scheduler: Scheduler
    progress: Progress
    require_free: Callable[[int], None]
    issues: Issues = field(default_factory=Issues)
    seconds: dict[str, float] = field(default_factory=dict)
    attempts: dict[str, int] = field(default_factory=dict)

    def tasks(
        self, kind: str, count: int, function: Callable[[Task], Outcome], words: str, lots: Sequence[int] = ()
    ) -> list[Outcome]:
        """Do the tasks of a kind that are not done yet; all its outcomes in order.

        Those with most lots go first: the last to end are short, and no worker waits long for another.
        """
        began = time.perf_counter()
        left = [n for n in range(count) if not self.done.has(kind, n)]
        if lots:
            left.sort(key=lambda n: -lots[n])
        tasks = [Task(kind, n, str(self.folder)) for n in left]
        finished, total = count - len(left), sum(lots)
        worked = 0

        def told(done: int, of: int, note: str) -> None:
            spent = time.perf_counter() - began
            pace = f", {worked / spent:,.0f} lots/s" if lots and worked and spent > 1 else ""
            rest = f", {spent / done * (of - done):,.0f} s left" if done and spent > 1 else ""
            self.progress(f"{words} {finished + done} of {count}{pace}{rest} {note}".rstrip(), finished + done, count)

        told(0, max(len(tasks), 1), "")
        for place, outcome in self.scheduler.run(function, tasks, told):
            self.done.add(outcome)
            worked += lots[left[place]] if lots else 0
        self.attempts[kind] = sum(self.scheduler.record.attempts.values()) if tasks else 0
        self.seconds[kind] = round(time.perf_counter() - began, 3)
        assert not total or worked <= total
        return self.done.of(kind)


@dataclass
class Finished:
    """Everything that results are put together from."""

    portfolio: Portfolio
    common: Common
    lines: Lines
    houses: list[House]
    plans: list[GroupPlan]
    first: list[Outcome]
    second: list[Outcome]
    issues: pd.DataFrame
    seconds: Mapping[str, float]
    map_parts: Sequence[Outcome] = ()


def screen_portfolio(job: Job, chunk_lots: int) -> Finished:
    """Do both passes and choose packages between them."""
    portfolio = job.portfolio
    plans, hardware, kept = _library(portfolio, job.issues)
    layout, stream, crs = _laid_out(job, chunk_lots)
    variants = shared.houses_asked_for(layout, plans, bool(portfolio.base.purchase.plan_mix))
    job.require_free(BYTES_A_LOT * layout.lots + 100_000_000)
    common = Common(portfolio, layout, stream, plans, hardware, variants, kept, crs)
    write_pickle(job.folder, COMMON, common)
    lines = _houses(job, common)
    houses = [house_in(job.folder, n) for n in range(len(variants))]
    write_pickle(job.folder, TEXTS, Texts.of([h.table for h in houses], lines))
    tell_redundancy(((v.plan.name, h.redundancy) for v, h in zip(variants, houses, strict=True)), job.issues)
    _notes(job.issues, common)
    sizes = [c.lots for c in layout.chunks]
    first = job.tasks("first", len(sizes), first_pass, "first pass, chunk", sizes)
    words = {"caution": CAUTION, "basis": basis(portfolio, [v for o in first for v in o.facts["wind"]])}
    write_pickle(job.folder, WORDS, {key.encode(): text.encode() for key, text in words.items()})
    chosen = _packages(job, layout, first)
    second = job.tasks("second", len(sizes), second_pass, "second pass, chunk", sizes)
    return Finished(portfolio, common, lines, houses, chosen, first, second, job.issues.frame(), dict(job.seconds))


def _library(portfolio: Portfolio, issues: Issues) -> tuple[Any, Any, Any]:
    """Plans, hardware and kept packages. InputError carries every stop."""
    stops = Issues()
    found: list[Any] = []
    readers: tuple[Callable[[], Any], ...] = (
        lambda: load_plans(portfolio.base.plans.folder),
        lambda: hardware_of(portfolio.base, issues),
        lambda: read_kept_packages(portfolio.base, issues),
    )
    for read in readers:
        try:
            found.append(read())
        except InputError as error:
            stops.extend(error.issues)
    stops.raise_stops()
    check_items(portfolio.base.tiers, found[1], "portfolio", issues)
    issues.raise_stops()
    return found[0], found[1], found[2]


def _notes(issues: Issues, common: Common) -> None:
    """What concerns the portfolio as a whole."""
    used = {v.plan.name for v in common.variants}
    for name in sorted({p.name for p in common.plans.values()} - used):
        issues.add("plan_unused", "note", f"plan {name}", "no lot uses it", "", "nothing done")
    if any(row.number("stock", 0.0) > 0 for row in common.hardware.rows):
        done = "not drawn on: a list does not say in which division's yard it lies"
        issues.add("stock_unused", "note", common.portfolio.base.shown(common.portfolio.base.hardware.file),
                   "pieces in hand", "", done)  # fmt: skip
    if not common.variants:
        issues.add("no_house", "stop", "lots", "no lot has a plan of the library", "at least one", "")
        issues.raise_stops()


# --- laying out ---------------------------------------------------------------------------------------------------


def _laid_out(job: Job, chunk_lots: int) -> tuple[Layout, LotStream | None, str]:
    """Tracts, sites and chunks, and the rows of each chunk in a file of its own."""
    if job.done.has("layout", 0):
        found: tuple[Layout, LotStream | None, str, list[Issue]] = read_pickle(job.folder, LAYOUT)
        job.issues.extend(found[3])
        return found[:3]
    began = time.perf_counter()
    issues = Issues()
    by_file = job.portfolio.lots is not None
    laid = _from_file(job, chunk_lots, issues) if by_file else _from_projects(job, chunk_lots)
    layout, stream, crs = laid
    job.issues.extend(issues)
    own = write_pickle(job.folder, LAYOUT, (layout, stream, crs, list(issues)))
    from screener.files.journal import checksum

    files = {f"{SPOOL}/{f.name}": checksum(f) for f in sorted((job.folder / SPOOL).glob("*.arrow"))}
    job.done.add(Outcome("layout", 0, {LAYOUT: own, **files}))
    job.seconds["layout"] = round(time.perf_counter() - began, 3)
    return layout, stream, crs


def _from_file(job: Job, chunk_lots: int, issues: Issues) -> tuple[Layout, LotStream, str]:
    lots = job.portfolio.lots
    assert lots is not None
    stream = open_stream(job.portfolio.base, lots, issues)
    layout, place_of_row = lay_out(stream, lots.hazards_together, chunk_lots, issues, job.progress)
    shutil.rmtree(job.folder / SPOOL, ignore_errors=True)
    spool(stream, layout, place_of_row, job.folder / SPOOL, job.progress)
    return layout, stream, stream.crs.to_wkt()


def _from_projects(job: Job, chunk_lots: int) -> tuple[Layout, None, str]:
    """Tracts in the order of the list, each a site; the houses that their lots ask for."""
    places, systems = [], []
    houses: set[tuple[str, str, str]] = set()
    stops = Issues()
    for n, tract in enumerate(job.portfolio.listed):
        job.progress(f"looking at tract {n + 1} of {len(job.portfolio.listed)}", n, len(job.portfolio.listed))
        try:
            lots = read_lots(tract.project, Issues())
        except InputError as error:
            stops.extend(error.issues)
            continue
        asked = lots.loc[lots["status"] != SKIPPED, ["plan", "style", "options"]].drop_duplicates()
        houses |= set(asked.itertuples(index=False, name=None))
        systems.append(lots.crs)
        places.append(TractPlace(tract.name, tract.division, len(lots), n))
    stops.raise_stops()
    alike = all(crs == systems[0] for crs in systems)
    crs = systems[0].to_wkt() if alike else gpd.GeoSeries([], crs="EPSG:4326").crs.to_wkt()
    return Layout(tuple(places), tuple(packed(places, chunk_lots)), tuple(sorted(houses)), "tract"), None, crs


# --- houses and packages ------------------------------------------------------------------------------------------


def _houses(job: Job, common: Common) -> Lines:
    count = len(common.variants)
    if not count:
        _notes(job.issues, common)
    models = job.tasks("model", count, shared.build_house, "house")
    lines = shared.lines_of(models, common.hardware)
    write_pickle(job.folder, LINES, lines)
    job.tasks("house", count, shared.lay_out_house, "house table")
    return lines


def _packages(job: Job, layout: Layout, first: Sequence[Outcome]) -> list[GroupPlan]:
    """Packages of every group, from the classes of all chunks."""
    grouping = Grouping.of(layout, job.portfolio.packages.per)
    needs = Needs(grouping.names, grouping.of_place)
    for outcome in first:
        with np.load(job.folder / f"first/{outcome.number:06d}.classes.npz", allow_pickle=False) as held:
            needs.add(held["classes"], held["counts"])
    for task in range(grouping.tasks):
        write_pickle(job.folder, groups_file(task), [needs.group(n) for n in grouping.members(task)])
    write_pickle(job.folder, GROUPS, grouping)
    job.tasks("plan", grouping.tasks, plan_groups, "packages")
    return [grouping.plan_in(job.folder, n) for n in range(len(grouping.names))]


# --- the whole job ------------------------------------------------------------------------------------------------


def run_portfolio(
    portfolio: Portfolio,
    destination_of: Callable[[Portfolio], Any],
    progress: Progress,
    *,
    crew: Callable[[Path], Scheduler],
    chunk_lots: int = 0,
    strict: bool = False,
    resume: bool = False,
) -> dict[str, Any]:
    """Do the job and publish it; the summary. Raises InputError and OutputError, having published nothing.

    ``crew``: who does the chunks, made from the folder through which workers hand on files. ``chunk_lots``: 0 for a
    number that follows from that of the lots.
    """
    from screener.cli.job_options import done_already
    from screener.portfolio.assembly import publish, refuse_if_strict, tables_of

    progress("checksums of the inputs")
    inputs = input_records(portfolio)
    options = {"strict": strict, "chunk_lots": chunk_lots or None}
    about = about_run(portfolio, inputs, options)
    name = about["run_id"]
    with destination_of(portfolio) as destination:
        earlier = done_already(destination, about, resume)
        if earlier is not None:
            return earlier
        folder = _work_folder(destination, name, resume)
        done = Done(folder)
        if resume:
            kept = done.take_up()
            progress(f"taken up: {kept} pieces of an earlier run")
        with told_of_disk(destination.output), crew(folder) as scheduler, ThreadPoolExecutor(1) as beside:
            job = Job(portfolio, folder, done, scheduler, progress, destination.require_free)
            finished = screen_portfolio(job, chunk_lots)
            refuse_if_strict(finished, folder, strict)
            tables = beside.submit(tables_of, finished, folder)  # while the workers are busy
            with told_of_disk(destination.output, every=True):
                parts = job.tasks("map", PARTS, map_part, "map and exceptions, part")
        finished = replace(finished, map_parts=parts, seconds=dict(job.seconds))
        summary = publish(finished, tables.result(), destination, folder, name, inputs, options, progress)
        shutil.rmtree(folder, ignore_errors=True)
    return summary


def _work_folder(destination: Destination, name: str, resume: bool) -> Path:
    """The run's work folder; those of other runs, and its own unless it is taken up, are removed."""
    own = destination.runs / f".work-{name}"
    for entry in destination.runs.glob(".work-*"):
        if entry != own or not resume:
            shutil.rmtree(entry, ignore_errors=True)
    own.mkdir(exist_ok=True)
    return own


def exit_code(by_status: Mapping[str, int], exceptions: int) -> int:
    """0 where every lot was screened, 3 where some are exceptions."""
    others = sum(n for status, n in by_status.items() if status != "screened")
    return EXCEPTIONS if others or exceptions else OK


def basis(portfolio: Portfolio, wind: Sequence[float]) -> str:
    """What numbers rest on, in one sentence."""
    return basis_words(portfolio.base, wind)
