"""A hold-down and its anchor are chosen together: statics of buying, no published source.

The search's own proof stands on the joined lines; here the joining is checked against every combination by hand.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tract_helpers import SampleRun, Screened, screened, write_tract

from screener.capacities import options_for
from screener.capacity_case import Option
from screener.hardware import Hardware, read_hardware
from screener.joint_lines import CAST_IN, Pair, anchors_itself, join, pairs_of, partner, split
from screener.selection import NONE
from screener.tiers import TierProblem, plan_tiers

SAMPLE = Path(__file__).parents[2] / "sample_data" / "hardware.csv"
LINES = ("hold-down at the foundation, light", "truss tie", "hold-down anchor, light")
FAMILIES = ("hold_down", "truss_tie", "hold_down_anchor")


@pytest.fixture(scope="module")
def hardware() -> Hardware:
    return read_hardware(SAMPLE)[0]


def options(hardware: Hardware) -> list[tuple[Option, ...]]:
    held, ties, anchors = (options_for(family, hardware) for family in FAMILIES)
    return [(NONE, *held), tuple(ties), (NONE, CAST_IN, *anchors)]


def test_what_goes_together(hardware: Hardware) -> None:
    """Nothing with nothing; the cast-in strap with no anchor; every other piece with as many anchors as itself."""
    (pair,) = pairs_of(LINES, FAMILIES, options(hardware), hardware)
    held, _, anchors = options(hardware)
    assert (pair.first, pair.second) == (0, 2)
    for i, j in pair.choices:
        one, other = held[i], anchors[j]
        if one is NONE:
            assert other is NONE
        elif one.item == "hold-down cast strap":
            assert other is CAST_IN
        else:
            assert other.row >= 0
            assert other.pieces == one.pieces
    named = {held[i].item for i, _ in pair.choices}
    assert named == {"", *(o.item for o in held)}  # none is lost
    assert [o.item for o in held if anchors_itself(o, hardware)] == ["hold-down cast strap"]


def test_what_is_bought_already_may_hold_anything(hardware: Hardware) -> None:
    """A kept package with an anchor beside the cast-in strap stays what it is."""
    held, _, anchors = options(hardware)
    strap = next(n for n, o in enumerate(held) if o.item == "hold-down cast strap")
    bought = {LINES[0]: strap, LINES[2]: 2}
    (pair,) = pairs_of(LINES, FAMILIES, options(hardware), hardware, [bought])
    assert (strap, 2) in pair.choices
    assert anchors[2].row >= 0


@given(data=st.data())
@settings(max_examples=60)
def test_the_joined_search_finds_the_cheapest_of_all_that_goes_together(data: st.DataObject) -> None:
    """One package for a few lots, against every combination of choices: same cost, and the answer keeps the pairing."""
    n = data.draw(st.integers(1, 4))
    sizes = (3, 2, 3)
    number = st.integers(0, 500)
    costs = [np.array([data.draw(st.lists(number, min_size=k, max_size=k))], dtype=np.int64) for k in sizes]
    passes = [np.array([data.draw(st.lists(st.booleans(), min_size=k, max_size=k)) for _ in range(n)]) for k in sizes]
    choices = tuple(data.draw(st.sets(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=1)))
    pairs = [Pair(0, 2, choices)]
    problem = TierProblem(
        tuple(f"L{i}" for i in range(n)),
        np.zeros(n, dtype=np.int64),
        ("house",),
        LINES,
        np.ones((1, 3), dtype=bool),
        tuple(passes),
        tuple(costs),
        1,
    )
    plan = split(plan_tiers(join(problem, pairs)), LINES, pairs)
    served = np.flatnonzero(plan.assignment >= 0)
    best: tuple[int, float] = (0, 0.0)
    for (i, j), t in itertools.product(choices, range(2)):
        fits = passes[0][:, i] & passes[1][:, t] & passes[2][:, j]
        price = int(costs[0][0, i] + costs[1][0, t] + costs[2][0, j])
        best = max(best, (int(fits.sum()), -price * int(fits.sum())))
    assert len(served) == best[0]
    if len(served):
        package = plan.packages[int(plan.assignment[served[0]])]
        assert (package[LINES[0]], package[LINES[2]]) in choices
        assert plan.cost_cents == -best[1]


def test_no_cast_in_strap_of_the_sample_pays_for_an_anchor(sample_run: SampleRun) -> None:
    """Every package: a strap with "cast in with the hold-down", a bracket with an anchor; as many of each."""
    packages = sample_run.table("packages")
    for tier, lines in packages.groupby("tier"):
        item = dict(zip(lines["schedule"], zip(lines["item"], lines["arrangement"], strict=True), strict=True))
        ranks = [line.removeprefix("hold-down anchor, ") for line in item if line.startswith("hold-down anchor, ")]
        assert ranks, tier
        for rank in ranks:
            held, anchor = item[f"hold-down at the foundation, {rank}"], item[f"hold-down anchor, {rank}"]
            assert (held[0] == "hold-down cast strap") == (anchor[1] == "cast in with the hold-down")
            assert bool(anchor[0]) == ("bracket" in held[0])
    bill = sample_run.table("bill_of_materials")
    pieces = bill.groupby("item")["quantity"].apply(lambda q: q.astype(float).sum())
    of = {kind: sum(n for item, n in pieces.items() if kind in item) for kind in ("bracket", "anchor")}
    assert of["bracket"] == sum(n for item, n in pieces.items() if item.startswith("hold-down anchor"))


def test_an_anchor_alone_that_nothing_holds_is_named(tmp_path: Path) -> None:
    """A list without anchors but for a weak strap: the lot has no hardware and the anchor stands among the reasons."""
    table = pd.read_csv(SAMPLE, dtype=str, keep_default_na=False, comment="#")
    weak = table[table["family"] != "hold_down_anchor"].copy()
    strap = weak["item"] == "hold-down cast strap"
    weak.loc[strap, ["uplift_lb", "uplift_lb_spf_hf"]] = "5"
    weak.to_csv(tmp_path / "hardware.csv", index=False)
    run = screened(write_tract(tmp_path / "t", changes={"hardware.file": str(tmp_path / "hardware.csv")}))
    assert set(run.lots["status"]) == {"no_hardware"}
    details = run.results.exceptions.query("reason == 'NO_HARDWARE'")["detail"]
    assert details.str.contains("hold-down anchor").all()


def test_a_cast_in_anchor_works_as_hard_as_its_strap(twelve: Screened) -> None:
    """Same demand, same cases: the list has one strap that anchors itself, and the anchor's ratio is that strap's."""
    seen = 0
    for house in twelve.selection.houses:
        by_name = {r.point.name: r for r in house.points}
        for r in house.points:
            if r.point.family != "hold_down_anchor":
                continue
            held = by_name[partner(r.point.name)]
            assert held.point.case_names == r.point.case_names
            options = twelve.selection.options[twelve.selection.line_of(held.point)]
            own = [n for n, o in enumerate(options) if anchors_itself(o, twelve.prepared.hardware)]
            at = twelve.selection.options[twelve.selection.line_of(r.point)].index(CAST_IN)
            np.testing.assert_array_equal(r.ratio[:, at], held.ratio[:, own].min(axis=1))
            seen += 1
    assert seen


def test_a_cast_in_anchor_shows_the_ratio_of_the_strap_that_its_lot_has(tmp_path: Path) -> None:
    """Two straps that anchor themselves, the cheaper one half as strong: where it is chosen, its own ratio is shown."""
    table = pd.read_csv(SAMPLE, dtype=str, keep_default_na=False, comment="#")
    light = table[table["item"] == "hold-down cast strap"].assign(
        item="hold-down cast strap light", unit_cost="1.00", uplift_lb="1400", uplift_lb_spf_hf="1300"
    )
    pd.concat([table, light]).to_csv(tmp_path / "hardware.csv", index=False)
    run = screened(write_tract(tmp_path / "t", changes={"hardware.file": str(tmp_path / "hardware.csv")}))
    s, differs = run.selection, 0
    for house in s.houses:
        by_name = {r.point.name: r for r in house.points}
        for r in house.points:
            if r.point.family != "hold_down_anchor":
                continue
            held = by_name[partner(r.point.name)]
            for at, lot in enumerate(house.lots.tolist()):
                if s.tier_of_lot[lot] < 0 or s.options[s.line_of(r.point)][s.chosen(lot, r.point)] is not CAST_IN:
                    continue
                shown = r.ratio[at, s.chosen(lot, r.point)]
                assert shown == held.ratio[at, s.chosen(lot, held.point)] <= 1.0
                own = [
                    n
                    for n, o in enumerate(s.options[s.line_of(held.point)])
                    if anchors_itself(o, run.prepared.hardware)
                ]
                differs += shown != held.ratio[at, own].min()
    assert differs
