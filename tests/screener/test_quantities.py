"""How many pieces a house takes: counts worked by hand, and laws of counting.

Anchor bolts: IRC R403.1.6 (read in a public copy): a bolt within 12 in. of each end of every plate piece, spacing held
between. Nails by panel: common practice, counted on a drawn sheet; no source prints them.
"""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from demand_houses import SAMPLE_PLANS, model_of_file
from hypothesis import given
from hypothesis import strategies as st
from tract_helpers import SAMPLE

from screener.capacities import options_for
from screener.hardware import Hardware, read_hardware
from screener.quantities import (
    bolts_per_piece,
    can_be_loaded,
    house_quantities,
    nails_per_panel,
    pieces_at,
    spaced_pieces,
)


@pytest.fixture(scope="module")
def hardware() -> Hardware:
    return read_hardware(SAMPLE / "hardware.csv")[0]


def test_bolts_of_a_perimeter_go_by_plate_piece() -> None:
    """188 ft of sill in pieces of at most 16 ft at 6 ft: eleven of 16 ft with 4 bolts, one of 12 ft with 3 = 47.
    Perimeter over spacing gives 32 and must fail."""
    pieces = [16.0] * 11 + [12.0]
    assert sum(pieces) == 188.0
    assert sum(bolts_per_piece(length, 72.0) for length in pieces) == 47
    assert math.ceil(188.0 / 6.0) == 32


@pytest.mark.parametrize(
    ("length_ft", "spacing_in", "bolts"),
    [
        (0.9, 72.0, 0),  # no bolt needed up to 12 in.
        (2.0, 72.0, 1),  # one up to 24 in.
        (2.1, 72.0, 2),  # one near each end
        (8.0, 72.0, 2),  # 6 ft between the outer two
        (8.1, 72.0, 3),
        (14.0, 48.0, 4),  # 12 ft between: three bays of 4 ft
        (16.0, 24.0, 8),
    ],
)
def test_bolts_of_one_piece_by_hand(length_ft: float, spacing_in: float, bolts: int) -> None:
    assert bolts_per_piece(length_ft, spacing_in) == bolts


@given(st.floats(2.01, 40.0), st.sampled_from([16.0, 24.0, 32.0, 48.0, 72.0]))
def test_bolts_hold_the_spacing_and_none_is_spare(length_ft: float, spacing_in: float) -> None:
    """The bays between the outer bolts are no wider than the spacing, and one bolt fewer would be too few."""
    count = bolts_per_piece(length_ft, spacing_in)
    bays = length_ft - 2.0
    assert count >= 2
    assert bays / (count - 1) <= spacing_in / 12.0 + 1e-6
    if count > 2:
        assert bays / (count - 2) > spacing_in / 12.0 - 1e-6


@given(st.floats(0.0, 60.0), st.floats(0.0, 20.0), st.sampled_from([16.0, 24.0, 48.0]))
def test_longer_runs_never_take_fewer(length_ft: float, more_ft: float, spacing_in: float) -> None:
    assert bolts_per_piece(length_ft + more_ft, spacing_in) >= bolts_per_piece(length_ft, spacing_in)
    assert spaced_pieces(length_ft + more_ft, spacing_in) >= spaced_pieces(length_ft, spacing_in)


def test_spaced_pieces_have_one_at_each_end() -> None:
    """40 ft at 48 in.: eleven, not ten; 41 ft: twelve."""
    assert spaced_pieces(40.0, 48.0) == 11
    assert spaced_pieces(41.0, 48.0) == 12


@pytest.mark.parametrize(
    ("edge_in", "field_in", "framing_in", "along", "nails"),
    [
        # 24 ft of edge at 6 in. = 48; studs at 16 in.: two inside, 7 nails between the edge nails each = 14
        (6.0, 12.0, 16.0, True, 62),
        # at 3 in.: 96; the studs between stay at 12 in.
        (3.0, 12.0, 16.0, True, 110),
        # roof trusses at 24 in. across the sheet's 8 ft: three inside, 48 / 12 - 1 = 3 nails each
        (6.0, 12.0, 24.0, False, 57),
        (6.0, 6.0, 24.0, False, 69),
    ],
)
def test_nails_of_one_sheet_by_hand(
    edge_in: float, field_in: float, framing_in: float, along: bool, nails: int
) -> None:
    assert nails_per_panel(edge_in, field_in, framing_in, along) == nails


def test_connections_are_counted_one_by_one(hardware: Hardware) -> None:
    """Thimble, gable, 54 ft of eave with trusses at 24 in.: 28 trusses on each side wall, gable ends on top of the end
    walls apart; what the points count adds up to what trusses there are, interior and end zones together."""
    model = model_of_file(next(p for p in SAMPLE_PLANS if p.stem == "thimble"), "A")
    ties = [p for p in model.points if p.family == "truss_tie"]
    left = sum(p.count for p in ties if "left 1" in p.name)
    right = sum(p.count for p in ties if "right 1" in p.name)
    assert left == right
    assert left in (26, 28)  # with or without the two gable trusses
    single, double = (
        next(o for o in options_for("truss_tie", hardware) if o.item == "truss tie light" and o.pieces == n)
        for n in (1, 2)
    )
    row = hardware.rows[single.row]
    assert sum(pieces_at(p, single, row) for p in ties) == sum(p.count for p in ties)
    assert sum(pieces_at(p, double, row) for p in ties) == 2 * sum(p.count for p in ties)


def test_sill_bolts_of_a_house_by_plate_piece(hardware: Hardware) -> None:
    """The bolts of each sill point are those of its own pieces, no piece is longer than the plan's plates, and the
    washers that an anchor brings along are one a bolt."""
    model = model_of_file(next(p for p in SAMPLE_PLANS if p.stem == "thimble"), "A")
    points = [p for p in model.points if p.family == "sill_anchor"]
    assert points
    options = [o for o in options_for("sill_anchor", hardware) if hardware.rows[o.row].accessory]
    assert options, "the sample's list must hold an anchor with a washer"
    assert max(max(p.runs_ft) for p in points) <= 16.0 + 1e-9
    for option in options:
        lines = {p.schedule for p in points}
        for line in lines:
            taken = house_quantities(model, line, option, hardware, 0.05)
            bolts = sum(bolts_per_piece(r, option.spacing_in) for p in points if p.schedule == line for r in p.runs_ft)
            assert taken.pieces[0].net == bolts
            washers = taken.pieces[1]
            assert washers.net == math.ceil(bolts * (hardware.rows[option.row].accessory_pieces or 1.0))


def test_waste_is_the_items_own_or_the_projects(hardware: Hardware) -> None:
    """Truss ties waste 5 %, girder ties 2 %; labour goes by net pieces."""
    model = model_of_file(next(p for p in SAMPLE_PLANS if p.stem == "thimble"), "A")
    point = next(p for p in model.points if p.family == "truss_tie")
    option = next(o for o in options_for("truss_tie", hardware) if o.item == "truss tie light" and o.pieces == 1)
    taken = house_quantities(model, point.schedule, option, hardware, 0.30)
    net = taken.pieces[0].net
    assert taken.with_waste(taken.pieces[0]) == net * Decimal("1.05")
    assert taken.material_cents() == int((net * Decimal("1.05") * Decimal("0.82") * 100).quantize(Decimal(1)))
    assert taken.labour_hours() == net * Decimal("1.6") / 60


def test_nothing_needed_costs_nothing(hardware: Hardware) -> None:
    from screener.selection import NONE

    model = model_of_file(next(p for p in SAMPLE_PLANS if p.stem == "thimble"), "A")
    taken = house_quantities(model, model.points[0].schedule, NONE, hardware, 0.05)
    assert taken.cost_cents(58.0) == 0
    assert taken.at_point(model.points[0].name) == 0


def test_a_connection_that_dead_load_alone_presses_takes_nothing(hardware: Hardware) -> None:
    """Lantern's inner wall carries a floor and no roof: 0.6D - 0.14 SDS D never turns to uplift below SDS = 4.29 g.

    ASCE 7-16 2.4.5 (10) with Ev = 0.2 SDS D. The outer walls on the same package line do take their pieces.
    """
    model = model_of_file(next(p for p in SAMPLE_PLANS if p.stem == "lantern"), "A")
    line = "stud to bottom plate, interior"
    option = next(o for o in options_for("stud_to_plate", hardware) if o.item == "plate strap" and o.pieces == 1)
    taken = house_quantities(model, line, option, hardware, 0.05).pieces[0]
    inner, outer = "stud to bottom plate: middle 1, interior", "stud to bottom plate: left 1, interior"
    assert inner in model.by_name
    assert inner not in taken.by_point
    assert taken.by_point[outer] > 0
    assert not can_be_loaded(model.by_name[inner], model.frame.column)
