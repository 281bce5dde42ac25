"""The hardware list: what is accepted, what is refused, and in which words."""

import contextlib
import resource
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hazard.table_cells import CellError, clean_text, read_number, read_size, size_in
from screener.capacities import options_for
from screener.families import families
from screener.hardware import COLUMNS, parse_hardware, read_hardware
from screener.hardware_columns import BY_NAME
from screener.standards.nds_connections import fastener_names

SAMPLE = Path(__file__).parents[2] / "sample_data" / "hardware.csv"
HEADER = (
    "item,family,unit,purchase_unit_qty,unit_cost,price_breaks,labour_min,waste,stock,lead_time_days,"
    "uplift_lb,parallel_lb,perpendicular_lb,basis,load_duration_included,source,source_date,corrosion"
)
GOOD = {
    "item": "light rafter tie",
    "family": "truss_tie",
    "unit": "each",
    "purchase_unit_qty": "200",
    "unit_cost": "0.82",
    "price_breaks": "10:-6%; 60:-11%",
    "labour_min": "1.6",
    "waste": "0.05",
    "stock": "0",
    "lead_time_days": "14",
    "uplift_lb": "420",
    "parallel_lb": "126",
    "perpendicular_lb": "126",
    "basis": "listed",
    "load_duration_included": "yes",
    "source": "invented",
    "source_date": "2026-01",
    "corrosion": "galvanised",
}


def line(**changes):
    row = GOOD | changes
    return ",".join('"' + v.replace('"', '""') + '"' if any(c in v for c in ',"') else v for v in row.values())


def parse(*lines, header=HEADER):
    return parse_hardware("\n".join((header, *lines)).encode() + b"\n")


def found(issues, code):
    return [issue for issue in issues if issue.code == code]


def only(issues, code, severity):
    hits = found(issues, code)
    assert len(hits) == 1, [i.message() for i in issues]
    assert hits[0].severity == severity
    return hits[0].message()


def test_good_row():
    hardware, issues = parse(line())
    assert len(issues) == 0
    row = hardware["light rafter tie"]
    assert (row.line, row.families, row.purchase_unit_qty, row.drop) == (2, ("truss_tie",), 200, "roof")
    assert row.unit_cost_usd == Decimal("0.82")
    assert [(b.from_units, b.off) for b in row.price.breaks] == [(10, Decimal("0.06")), (60, Decimal("0.11"))]
    assert row.listed_lb("uplift", "df_sp") == row.listed_lb("tension", "spf_hf") == 420.0
    assert row.bill_item == "light rafter tie"
    assert row.load_duration_included is True


def test_free_columns_are_kept_and_a_misspelt_one_is_named():
    hardware, issues = parse(line() + ",A-12,blue,0.06", header=HEADER + ",bin,colour,concrete_upift_lb")
    assert hardware.rows[0].extra == {"bin": "A-12", "colour": "blue", "concrete_upift_lb": "0.06"}
    assert "perhaps `concrete_uplift_lb`" in only(issues, "HARDWARE_COLUMN_UNKNOWN", "warn")


def test_species_groups_and_one_row_for_two_families():
    header = HEADER + ",uplift_lb_spf_hf"
    hardware, issues = parse(line(family="plate_to_stud; stud_to_plate") + ",360", header=header)
    assert not issues.has_stop()
    row = hardware.rows[0]
    assert (row.listed_lb("uplift", "df_sp"), row.listed_lb("uplift", "spf_hf")) == (420.0, 360.0)
    assert row.listed_lb("lateral", "df_sp") == 126.0
    assert len(options_for("plate_to_stud", hardware)) == len(options_for("stud_to_plate", hardware)) == 2


# --- refused rows, by the case list of the tool's own test plan ----------------------------------------------


@pytest.mark.parametrize("column", ["item", "family", "unit", "purchase_unit_qty", "labour_min", "basis"])
def test_blank_required_cell(column):
    _, issues = parse(line(**{column: ""}))
    message = only(issues, "HARDWARE_BLANK", "stop")
    assert message.startswith("hardware.csv row 2")
    assert f"{column} is blank" in message


@pytest.mark.parametrize("cell", ["inf", "-inf", "1e999", "1.#INF", "nan", "Infinity"])
@pytest.mark.parametrize("column", ["uplift_lb", "unit_cost", "labour_min", "purchase_unit_qty"])
def test_infinite_numbers_are_never_accepted(column, cell):
    hardware, issues = parse(line(**{column: cell}))
    assert cell in only(issues, "HARDWARE_NOT_FINITE", "stop")
    assert hardware.rows == ()


@pytest.mark.parametrize(
    ("cell", "suggestion"),
    [
        ("1250 lb", "write 1250 if it is in the unit of the column's name"),
        ('5/8"', "no fractions here: write 0.625"),
        ("8'-6\"", "write 102 in the unit of the column's name"),
        ("1,250", "write 1250 if the comma parts thousands"),
        ("1,25", "write 1.25 if the comma is a decimal comma"),
        ("5%", "write 0.05"),
        ("=A1*2", "paste the value"),
        ("about 400", "write a number, or leave the cell blank"),
    ],
)
def test_numbers_with_decoration(cell, suggestion):
    _, issues = parse(line(uplift_lb=cell))
    message = only(issues, "HARDWARE_NOT_A_NUMBER", "stop")
    assert f"uplift_lb `{cell}`" in message
    assert "expected a plain number of lb" in message
    assert suggestion in message


def test_size_that_a_spreadsheet_made_a_date():
    for item in ("8-Mar", "Mar-08"):
        _, issues = parse(line(item=item))
        assert "made a date of a size" in only(issues, "HARDWARE_DATE", "stop")
    _, issues = parse(
        line(uplift_lb="", parallel_lb="", perpendicular_lb="") + ",8-Mar", header=HEADER + ",panel_thickness_in"
    )
    assert "expected a size such as 3/8" in only(issues, "HARDWARE_DATE", "stop")


def test_item_that_looks_like_a_number_stays_text():
    hardware, issues = parse(line(item="1E5"))
    assert hardware.rows[0].item == "1E5"
    assert "read as text" in only(issues, "HARDWARE_ITEM_NUMBER", "warn")


def test_encodings():
    text = HEADER + "\n" + line(corrosion="galvanisé") + "\n"
    for encoding in ("utf-8", "utf-8-sig", "utf-16"):
        hardware, issues = parse_hardware(text.encode(encoding))
        assert hardware.rows[0].corrosion == "galvanisé"
        assert not issues.has_stop()
    hardware, issues = parse_hardware(text.encode("cp1252"))
    offset = text.encode("cp1252").index(b"\xe9")
    assert f"byte 0xe9 at offset {offset}" in only(issues, "HARDWARE_ENCODING", "stop")
    assert hardware.rows == ()


@pytest.mark.parametrize(("sign", "words"), [(";", "semicolons"), ("\t", "tabs")])
def test_other_separators(sign, words):
    _, issues = parse_hardware((HEADER + "\n" + line(price_breaks="")).replace(",", sign).encode())
    message = only(issues, "HARDWARE_SEPARATOR", "stop")
    assert "1 column" in message
    assert words in message


def test_column_twice_and_column_missing():
    _, issues = parse(line() + ",9", header=HEADER + ",uplift_lb")
    assert "column `uplift_lb` 2 times" in only(issues, "HARDWARE_COLUMN_TWICE", "stop")
    _, issues = parse(line(), header=HEADER.replace("labour_min", "labor_min"))
    assert "no column `labour_min` (nearest: `labor_min`)" in only(issues, "HARDWARE_COLUMN_MISSING", "stop")


def test_long_and_short_rows():
    hardware, issues = parse(line(), line(item="b") + ",more", "c,truss_tie,each")
    assert [i.where for i in found(issues, "HARDWARE_ROW_LENGTH")] == ["hardware.csv row 3", "hardware.csv row 4"]
    assert "expected 18, as in the header" in found(issues, "HARDWARE_ROW_LENGTH")[0].message()
    assert len(hardware.rows) == 1


def test_line_breaks_and_open_quotes():
    _, issues = parse(line(corrosion="x").replace(",x", ',"two\nlines"'), line(item="b"))
    assert "row 2: a line break inside a cell" in only(issues, "HARDWARE_LINE_BREAK", "stop")
    _, issues = parse(line(), line(item="b").replace("galvanised", '"galvanised'))
    assert "row 3: a quote that is not closed" in only(issues, "HARDWARE_QUOTE", "stop")


def test_item_twice():
    hardware, issues = parse(line(), line())
    assert "the same row as row 2" in only(issues, "HARDWARE_ITEM_TWICE", "fix")
    assert len(hardware.rows) == 1
    _, issues = parse(line(), line(uplift_lb="500"))
    assert "with other values" in only(issues, "HARDWARE_ITEM_TWICE", "stop")


@pytest.mark.parametrize("cell", ["0", "-5", "1000001"])
def test_loads_out_of_range(cell):
    _, issues = parse(line(parallel_lb=cell))
    assert "expected lb above 0, at most 1,000,000" in only(issues, "HARDWARE_LOAD_RANGE", "stop")


def test_ultimate_loads_and_the_duration_factor():
    _, issues = parse(line(basis="ultimate"))
    assert "list the allowable (ASD) load" in only(issues, "HARDWARE_CHOICE", "stop")
    _, issues = parse(line(load_duration_included=""))
    assert "load_duration_included is blank on a listed row" in only(issues, "HARDWARE_DURATION", "stop")
    computed = line(basis="computed", uplift_lb="", parallel_lb="", perpendicular_lb="") + ",10d common"
    _, issues = parse(computed, header=HEADER + ",fastener")
    assert "would count twice" in only(issues, "HARDWARE_DURATION_TWICE", "stop")
    _, issues = parse(line(basis="computed", load_duration_included="no") + ",10d common", header=HEADER + ",fastener")
    assert "a computed row with uplift_lb 420" in only(issues, "HARDWARE_BASIS", "stop")
    for text, included in (("1.6", True), ("1.0", False), ("no", False)):
        hardware, issues = parse(line(load_duration_included=text))
        assert hardware.rows[0].load_duration_included is included


@pytest.mark.parametrize("cell", ["", "0", "-1.20", "$0.82"])
def test_without_a_usable_price_an_item_is_never_chosen(cell):
    hardware, issues = parse(line(unit_cost=cell), line(item="other"))
    assert "left out of the choice" in only(issues, "HARDWARE_NO_PRICE", "warn")
    assert {option.item for option in options_for("truss_tie", hardware)} == {"other"}
    assert hardware.rows[0].price is None


def test_a_dominated_item_is_noted():
    _, issues = parse(line(), line(item="dear tie", unit_cost="0.95"))
    assert "costs no less than `light rafter tie`" in only(issues, "HARDWARE_DOMINATED", "note")
    _, issues = parse(line(), line(item="stronger tie", unit_cost="0.95", uplift_lb="500"))
    assert not found(issues, "HARDWARE_DOMINATED")


@pytest.mark.parametrize("text", ["=HYPERLINK(1)", "+1 tie", "-tie", "@tie", "\ttie"])
def test_formula_text_is_kept_as_text(text):
    hardware, issues = parse(line(source=text))
    assert hardware.rows[0].source == clean_text(text)
    assert "never run" in only(issues, "HARDWARE_FORMULA_TEXT", "note")


def test_invisible_and_look_alike_characters():
    for written in ("light\u200b rafter tie", "light rafter ti\u0435", "light\u00a0rafter tie\u0007"):
        hardware, issues = parse(line(item=written))
        assert hardware.rows[0].item == "light rafter tie"
        assert "read as `light rafter tie`" in only(issues, "HARDWARE_CHARACTERS", "warn")


def test_no_source_leaves_the_row_out():
    hardware, issues = parse(line(source=""), line(item="other"))
    assert "row left out" in only(issues, "HARDWARE_NO_SOURCE", "skip")
    assert [row.item for row in hardware.rows] == ["other"]


def test_unknown_names_have_neighbours():
    _, issues = parse(line(family="trus_tie"))
    assert "expected `truss_tie`" in only(issues, "HARDWARE_FAMILY", "stop")
    computed = line(basis="computed", uplift_lb="", parallel_lb="", perpendicular_lb="", load_duration_included="")
    _, issues = parse(computed + ",10d comon", header=HEADER + ",fastener")
    assert "expected `10d common`" in only(issues, "HARDWARE_FASTENER", "stop")
    _, issues = parse(computed + ",", header=HEADER + ",fastener")
    assert "a computed row without geometry" in only(issues, "HARDWARE_BLANK", "stop")
    _, issues = parse(line(family="wall_sheathing"))
    assert "expected basis computed" in only(issues, "HARDWARE_BASIS", "stop")
    _, issues = parse(line() + ",lots", header=HEADER + ",arrangements")
    assert "arrangements `lots`" in only(issues, "HARDWARE_ARRANGEMENT", "stop")


def test_accessories_and_pooled_prices():
    header = HEADER + ",accessory,bill_item"
    _, issues = parse(line() + ",plate wsher,", line(item="plate washer", family="accessory") + ",,", header=header)
    assert "expected `plate washer`" in only(issues, "HARDWARE_ACCESSORY", "stop")
    _, issues = parse(line() + ",,tie", line(item="b", unit_cost="0.9") + ",,tie", header=header)
    assert "at another price than in row 2" in only(issues, "HARDWARE_POOL_PRICE", "stop")
    # An unpriced accessory takes the item that needs it out of the choice, too.
    hardware, _ = parse(
        line() + ",washer,", line(item="washer", family="accessory", unit_cost="") + ",,", header=header
    )
    assert options_for("truss_tie", hardware) == []


def test_all_faults_come_at_once():
    _, issues = parse(line(item="a", uplift_lb="inf"), line(item="b", unit=""), line(item="c", family="x"))
    assert len(issues.stops()) == 3
    assert [i.where for i in issues] == [f"hardware.csv row {n} ({c})" for n, c in ((2, "a"), (3, "b"), (4, "c"))]


def test_empty_file():
    _, issues = parse_hardware(b"")
    assert "an empty file" in only(issues, "HARDWARE_EMPTY", "stop")
    hardware, issues = parse_hardware(HEADER.encode())
    assert hardware.rows == ()
    assert len(issues) == 0


# --- cells and the dictionary ---------------------------------------------------------------------------------


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_any_finite_number_as_written_is_read(value):
    assert read_number(repr(float(value)), "") == float(value)


@given(st.text(max_size=12))
def test_any_text_is_a_finite_number_or_refused(text):
    with contextlib.suppress(CellError):
        assert abs(read_number(text, "lb")) < float("inf")


def test_sizes():
    assert [read_size(s) for s in ("7/16", "0.4375", "15/32", "0.46875")] == ["7/16", "7/16", "15/32", "15/32"]
    assert size_in("15/32") == 0.46875


def test_dictionary():
    assert len(BY_NAME) == len(COLUMNS)
    assert all(column.meaning for column in COLUMNS)
    for name in HEADER.split(","):
        assert name in BY_NAME


# --- the sample list --------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sample():
    return read_hardware(SAMPLE)


def test_sample_is_clean_and_says_that_it_is_invented(sample):
    hardware, issues = sample
    assert [issue.message() for issue in issues] == []
    assert len(hardware.rows) >= 40
    assert all("invented for the sample" in row.source for row in hardware.rows)


def test_sample_has_options_for_every_family(sample):
    hardware, _ = sample
    for key, serves in families().items():
        if serves.components:
            assert len(options_for(key, hardware)) >= 1, key


def test_sample_holds_the_scenario_numbers(sample):
    # The scenario of the sample tract: boxes, dollars, minutes, waste and uplift of its ties, straps and bolts.
    hardware, _ = sample
    for item, box, cost, minutes, waste, uplift in (
        ("truss tie light", 200, "0.82", 1.6, 0.05, 420),
        ("truss tie medium", 100, "1.35", 2.2, 0.05, 640),
        ("truss tie heavy", 50, "2.6", 3.2, 0.05, 1020),
        ("truss tie double", 25, "4.9", 5.0, 0.05, 1450),
        ("girder tie", 10, "14.5", 8, 0.02, 1900),
        ("girder tie heavy", 5, "31", 14, 0.02, 3400),
        ("plate clip", 100, "0.95", 1.8, 0.05, 455),
        ("plate strap", 50, "2.1", 2.8, 0.05, 900),
        ("header strap", 50, "2.9", 3.5, 0.05, 1000),
        ("floor strap", 50, "3.4", 4.5, 0.05, 1000),
        ("floor strap heavy", 25, "5.6", 6.0, 0.05, 1700),
        ("hold-down cast strap", 10, "12.4", 9, 0.02, 2800),
        ("hold-down bracket", 5, "29", 16, 0.02, 4500),
        ("hold-down heavy bracket", 2, "54", 22, 0.02, 7800),
    ):
        row = hardware[item]
        assert (row.purchase_unit_qty, row.labour_min, row.waste) == (box, minutes, waste)
        assert row.unit_cost_usd == Decimal(cost)
        assert row.listed_lb("uplift", "df_sp") == uplift
        assert [str(b.off) for b in row.price.breaks] == ["0.06", "0.11"]
    for item, box, cost, minutes in (
        ("anchor bolt 1/2 in", 50, "1.45", 3.0),
        ("anchor bolt 5/8 in", 25, "2.35", 3.0),
        ("plate washer", 50, "1.6", 0.5),
        ("wall nail 8d at 6/12", 2500, "0.021", 0.045),
        ("roof nail 8d at 6/12", 2500, "0.026", 0.035),
    ):
        row = hardware[item]
        assert (row.purchase_unit_qty, row.unit_cost_usd, row.labour_min) == (box, Decimal(cost), minutes)


def test_sample_uses_standard_fasteners(sample):
    hardware, _ = sample
    for row in hardware.rows:
        assert row.text("fastener", "10d common") in fastener_names()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"a," * 500_000, "columns; expected at most 2,000"),
        (HEADER.encode() + b'\n"' + b"x" * 3_000_000, "field larger than field limit"),
        (HEADER.encode() + b"\n" + b'"\n' * 200_000, "50 faults of form above this row"),
        (HEADER.encode() + b"\n" + b"x,y\n" * 20_000, "rows; expected at most 5,000"),
        (b"\x00" * 1_000_000, "a zero byte in line 1"),
    ],
    ids=["columns", "cell", "quotes", "rows", "zeros"],
)
def test_no_shape_of_a_list_costs_time(content, told):
    """Each of these took minutes or was read without end before sizes were looked at first."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_utime
    _, issues = parse_hardware(content)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_utime - before < 10.0
    assert any(told in issue.message() for issue in issues.stops()), [i.message()[:200] for i in issues.stops()][:3]
    assert len(issues) < 60
