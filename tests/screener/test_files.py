"""Result files: exact texts, the same values in every format, the same bytes each time, nothing that a program runs."""

from __future__ import annotations

import csv
import json
import sqlite3
from pathlib import Path
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from project_helpers import CRS, grid, project, results

from hazard.issues import InputError
from screener.columns import CSV_TABLES, TABLES, by_name, names
from screener.errors import OutputError
from screener.files.csv_tables import formula_cells, write_csv
from screener.files.geopackage import check_geopackage, write_geopackage
from screener.files.manifest import (
    build_manifest,
    input_records,
    is_complete,
    read_manifest,
    run_id,
    run_table,
    to_json,
    versions,
)
from screener.files.results import space_needed, write_results
from screener.files.tables import prepare


def written(path: Path, table: str, frame: pd.DataFrame) -> str:
    write_csv(path / "t.csv", table, frame)
    return (path / "t.csv").read_bytes().decode("utf-8")


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


# The columns that checks from outside rely on; additive changes only.
CONTRACT = {
    "lots": "lot_id source_row status plan tier ground_state wind_speed_mph exposure exposure_by_direction "
    "rough_share_min exposure_margin_ft kzt kzt_strict ke sds_g sd1_g sdc sdc_sds_only sdc_irc governing_point "
    "governing_hazard inside_permit hardware_cost labour_hours total_cost flags",
    "demands": "lot_id point component unit demand capacity ratio case item quantity",
    "bill_of_materials": "item phase month drop quantity quantity_with_waste purchase_units cost labour_hours",
    "exceptions": "lot_id reason detail next_step",
}


@pytest.mark.parametrize("table", sorted(CONTRACT))
def test_the_columns_that_others_rely_on_are_there(table: str) -> None:
    assert set(CONTRACT[table].split()) <= set(names(table))


def test_the_data_dictionary_says_what_each_column_means() -> None:
    for table in TABLES:
        assert len(set(names(table))) == len(names(table))
        assert all(column.meaning for column in TABLES[table])
        assert all(0 <= column.decimals <= 6 for column in TABLES[table])


# ---------------------------------------------------------------- CSV


def test_a_table_as_text(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {
            "lot_id": ["B", "A"],
            "point": ['tie, "end"', "line\nbreak"],
            "component": ["uplift_lb", "uplift_lb"],
            "demand": [1234.5, -0.001],
            "ratio": [np.nan, 0.12344],
            "quantity": [3, 54],
        }
    )
    assert written(tmp_path, "demands", frame) == (
        "lot_id,point,component,unit,demand,capacity,ratio,case,item,quantity\n"
        'A,"line\nbreak",uplift_lb,,0.00,,0.1234,,,54.00\n'
        'B,"tie, ""end""",uplift_lb,,1234.50,,,,,3.00\n'
    )


def test_kinds_of_cells(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {
            "lot_id": ["1"],
            "source_row": [7],
            "mirrored": [True],
            "inside_permit": [None],
            "start": [pd.NaT],
            "tier": [2.0],
        }
    )
    (row,) = csv.DictReader(written(tmp_path, "lots", frame).splitlines())
    assert [row[k] for k in ("lot_id", "source_row", "mirrored", "inside_permit", "start", "tier")] == [
        "1", "7", "true", "", "", "2",
    ]  # fmt: skip


def test_columns_that_are_not_declared_come_last_and_are_kept(tmp_path: Path) -> None:
    frame = pd.DataFrame({"zeal": [1.23456789], "lot_id": ["A"], "reason": ["x"]})
    assert written(tmp_path, "exceptions", frame).splitlines()[0] == "lot_id,reason,detail,next_step,zeal"


def test_an_empty_table_has_its_header(tmp_path: Path) -> None:
    assert written(tmp_path, "exceptions", pd.DataFrame()) == "lot_id,reason,detail,next_step\n"


def test_infinity_is_never_written(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="table demands, column capacity: a value is infinite"):
        written(tmp_path, "demands", pd.DataFrame({"lot_id": ["A"], "capacity": [np.inf]}))


# T28 and its like: a spreadsheet must not run a name
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_formulas_are_made_harmless_and_numbers_are_left_alone(tmp_path: Path, start: str) -> None:
    frame = pd.DataFrame({"lot_id": [f"{start}1+1"], "point": ["a-b"], "demand": [-5.0]})
    write_csv(tmp_path / "t.csv", "demands", frame)
    (row,) = rows(tmp_path / "t.csv")
    assert row["lot_id"] == f"'{start}1+1"
    assert (row["point"], row["demand"]) == ("a-b", "-5.00")
    assert formula_cells("demands", frame) == {"lot_id": 1}


text = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=12)


@given(st.lists(st.tuples(text, text, st.floats(-1e9, 1e9) | st.just(float("nan"))), max_size=8))
@settings(max_examples=60, deadline=None)
def test_any_text_survives_a_reader_of_rfc_4180(
    tmp_path_factory: pytest.TempPathFactory, cells: list[tuple[str, str, float]]
) -> None:
    frame = pd.DataFrame(cells, columns=["lot_id", "item", "demand"]).astype({"demand": "float64"})
    path = tmp_path_factory.mktemp("csv") / "t.csv"
    write_csv(path, "demands", frame)
    prepared = prepare("demands", frame)
    found = rows(path)
    assert len(found) == len(cells)
    for row, (_, expected) in zip(found, prepared.iterrows(), strict=True):
        for name in ("lot_id", "item"):
            given_text = expected[name] if isinstance(expected[name], str) else ""
            safe = f"'{given_text}" if given_text[:1] and given_text[0] in "=+-@\t\r\n" else given_text
            assert row[name] == safe
        assert row["demand"] == ("" if np.isnan(expected["demand"]) else f"{expected['demand']:.2f}")


@given(st.lists(st.integers(-(10**12), 10**12), min_size=1, max_size=20))
@settings(max_examples=60, deadline=None)
def test_declared_decimals_are_exact(tmp_path_factory: pytest.TempPathFactory, cents: list[int]) -> None:
    path = tmp_path_factory.mktemp("csv") / "t.csv"
    frame = pd.DataFrame({"item": [f"{i:03d}" for i in range(len(cents))], "cost": [c / 100 for c in cents]})
    write_csv(path, "bill_of_materials", frame)
    assert [round(float(row["cost"]) * 100) for row in rows(path)] == cents
    assert all(len(row["cost"].split(".")[1]) == 2 for row in rows(path))


@given(st.randoms(use_true_random=False))
@settings(max_examples=20, deadline=None)
def test_the_order_of_rows_does_not_matter(tmp_path_factory: pytest.TempPathFactory, random: object) -> None:
    path = tmp_path_factory.mktemp("csv")
    frame = results(30).demands
    order = list(range(30))
    random.shuffle(order)  # type: ignore[attr-defined]
    assert written(path, "demands", frame) == written(path, "demands", frame.iloc[order])


# ---------------------------------------------------------------- GeoPackage


def write_all(folder: Path, found: SimpleNamespace, tag: str = "x") -> Path:
    folder.mkdir(parents=True)
    write_results(folder, found, {"run_id": tag, "caution": "for planning", "nested": {"a": [1, 2]}})
    return folder


def test_the_geopackage_holds_the_same_values_as_the_csv(tmp_path: Path) -> None:
    folder = write_all(tmp_path / "a", results())
    for table in CSV_TABLES:
        stored = pyogrio.read_dataframe(folder / "tract.gpkg", layer=table, read_geometry=False)
        texts = pd.read_csv(folder / f"{table}.csv", dtype="str", keep_default_na=False)
        assert list(stored.columns) == list(texts.columns)
        assert len(stored) == len(texts)
        for name in texts.columns:
            column = by_name(table)[name]
            if column.kind == "number":
                assert pd.to_numeric(texts[name]).to_numpy() == pytest.approx(
                    pd.to_numeric(stored[name]).to_numpy(np.float64), abs=0, nan_ok=True
                )


def test_the_map_layer_and_its_tables(tmp_path: Path) -> None:
    folder = write_all(tmp_path / "a", results())
    lots = gpd.read_file(folder / "tract.gpkg", layer="lots")
    assert len(lots) == 6
    assert lots.crs.to_epsg() == 26913
    assert set(lots.geom_type) == {"MultiPolygon"}
    layers = {str(name) for name, _ in pyogrio.list_layers(folder / "tract.gpkg")}
    assert layers == {*CSV_TABLES, "run", "layer_styles"}
    run = pyogrio.read_dataframe(folder / "tract.gpkg", layer="run")
    assert dict(zip(run["key"], run["value"], strict=True)) == {
        "run_id": "x",
        "caution": "for planning",
        "nested.a": "[1, 2]",
    }


def test_columns_are_described_and_the_lot_id_is_unique(tmp_path: Path) -> None:
    folder = write_all(tmp_path / "a", results())
    with sqlite3.connect(folder / "tract.gpkg") as database:
        query = (
            "SELECT name, title, description FROM gpkg_data_columns "
            "WHERE table_name = 'lots' AND column_name = 'wind_speed_mph'"
        )
        name, title, description = database.execute(query).fetchone()
        assert name == title == "Wind speed (mph)"
        assert description == by_name("lots")["wind_speed_mph"].meaning
        described = {row[0] for row in database.execute("SELECT DISTINCT table_name FROM gpkg_data_columns")}
        assert described == {*CSV_TABLES, "run"}
        extensions = database.execute("SELECT count(*) FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'")
        assert extensions.fetchone()[0] == 2
        duplicate = "INSERT INTO demands (lot_id) SELECT lot_id FROM lots"
        database.execute(duplicate)
        with pytest.raises(sqlite3.Error):
            database.execute("UPDATE lots SET lot_id = 'A-01'")
        database.rollback()
        assert database.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
    database.close()


def test_what_can_not_be_drawn_has_no_geometry_and_keeps_its_row(tmp_path: Path) -> None:
    found = results()
    shapes = found.lots.geometry.to_numpy().copy()
    shapes[0], shapes[1] = None, shapely.LineString([(0, 0), (1, 1)])
    shapes[2] = shapely.Polygon([(0, 0), (1, 0), (1, 1)])
    found.lots = found.lots.set_geometry(gpd.GeoSeries(shapes, crs=CRS))
    lots = gpd.read_file(write_all(tmp_path / "a", found) / "tract.gpkg", layer="lots")
    assert lots.geometry.isna().tolist() == [True, True, False, False, False, False]


def test_further_map_layers(tmp_path: Path) -> None:
    found = results()
    found.layers = {"crests": gpd.GeoDataFrame({"h": [1]}, geometry=[shapely.LineString([(0, 0), (9, 9)])], crs=CRS)}
    folder = write_all(tmp_path / "a", found)
    assert len(gpd.read_file(folder / "tract.gpkg", layer="crests")) == 1
    with sqlite3.connect(folder / "tract.gpkg") as database:
        styled = database.execute("SELECT DISTINCT f_table_name FROM layer_styles").fetchall()
        named = database.execute("SELECT name FROM gpkg_data_columns WHERE table_name = 'crests'").fetchall()
    database.close()
    assert styled == [("lots",)]  # no style for a layer that nobody knows
    assert named == [("H",)]


def test_o13_names_with_quotes_are_quoted(tmp_path: Path) -> None:
    frame = pd.DataFrame({"lot_id": ["A"], 'x"; DROP TABLE lots; --': [1]})
    write_geopackage(tmp_path / "t.gpkg", results().lots, {'we"ird': frame})
    with sqlite3.connect(tmp_path / "t.gpkg") as database:
        assert database.execute('SELECT count(*) FROM "we""ird"').fetchone()[0] == 1
    database.close()


def test_a_file_that_is_not_what_was_given_does_not_pass(tmp_path: Path) -> None:
    write_geopackage(tmp_path / "t.gpkg", results().lots, {})
    with pytest.raises(OutputError, match="table lots holds 6 rows; expected 7"):
        check_geopackage(tmp_path / "t.gpkg", {"lots": 7})
    (tmp_path / "t.gpkg-journal").write_bytes(b"x")
    with pytest.raises(OutputError, match="was left beside it"):
        check_geopackage(tmp_path / "t.gpkg", {"lots": 6})


# ---------------------------------------------------------------- a whole set


def test_the_same_results_give_the_same_bytes_whatever_their_order(tmp_path: Path) -> None:
    first = write_all(tmp_path / "a", results())
    turned = results()
    for name in ("lots", "demands"):
        setattr(turned, name, getattr(turned, name).iloc[::-1].reset_index(drop=True))
    second = write_all(tmp_path / "b", turned)
    files = sorted(path.name for path in first.iterdir())
    assert files == sorted([*(f"{t}.csv" for t in CSV_TABLES), "run.json", "timings.json", "tract.gpkg", "tract.xlsx"])
    for name in set(files) - {"timings.json"}:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name


def test_further_files_and_their_checksums(tmp_path: Path) -> None:
    extra = {"report.html": lambda path: path.write_text("<p>hello</p>")}
    write_results(tmp_path, results(), {"run_id": "x"}, extra)  # type: ignore[arg-type]
    manifest = read_manifest(tmp_path)
    assert manifest is not None
    assert "report.html" in manifest["outputs"]
    assert "timings.json" not in manifest["outputs"]
    assert is_complete(tmp_path)
    (tmp_path / "report.html").write_text("changed")
    assert not is_complete(tmp_path)
    assert not is_complete(tmp_path / "nowhere")


HOSTILE = [
    "=cmd|' /C calc'!A0",
    "../../etc/passwd",
    "CON",
    "<script>alert(1)</script>",
    "x" * 300,
    "'); DROP TABLE lots; --",
]


def test_o8_o13_hostile_names_reach_every_file_and_do_nothing(tmp_path: Path) -> None:
    found = results(len(HOSTILE))
    found.lots["lot_id"] = found.demands["lot_id"] = HOSTILE
    folder = write_all(tmp_path / "a", found)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a"]
    stored = gpd.read_file(folder / "tract.gpkg", layer="lots")
    assert sorted(stored["lot_id"]) == sorted(HOSTILE)
    read_back = {row["lot_id"] for row in rows(folder / "lots.csv")}
    assert read_back == {f"'{name}" if name[0] == "=" else name for name in HOSTILE}
    notes = [row for row in rows(folder / "issues.csv") if row["code"] == "formula_text"]
    assert {row["where"] for row in notes} == {"lots.csv lot_id", "demands.csv lot_id"}
    assert len(pyogrio.read_dataframe(folder / "tract.gpkg", layer="issues")) == len(notes)


def test_space_needed_grows_with_the_work() -> None:
    assert space_needed(results(100)) > space_needed(results(10))


# ---------------------------------------------------------------- manifest


def test_the_run_id_follows_inputs_settings_options_and_nothing_else(tmp_path: Path) -> None:
    tract = project(tmp_path / "a", grid())
    name = run_id(tract, input_records(tract), {})
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "lots.gpkg").write_bytes((tmp_path / "a" / "lots.gpkg").read_bytes())
    moved = project(tmp_path / "b", None)
    assert run_id(moved, input_records(moved), {}) == name
    assert run_id(tract, input_records(tract), {"strict": True}) != name
    (tmp_path / "a" / "hardware.csv").write_text("item,family\nx,y\n")
    assert run_id(tract, input_records(tract), {}) != name


def test_every_input_file_is_recorded_with_its_checksum(tmp_path: Path) -> None:
    tract = project(tmp_path, grid())
    records = {record["file"]: record for record in input_records(tract)}
    assert set(records) == {"tract.toml", "lots.gpkg", "plans/thimble.toml", "hardware.csv"}
    plan = records["plans/thimble.toml"]
    # "schema = 1" and a line end, by the system's own sha256sum.
    assert (plan["bytes"], plan["sha256"]) == (11, "da93db77ebb07776dbd095f79fe28cbf4d42340c27bc33547ed7eeb2d3c93ea1")
    assert all(len(record["sha256"]) == 64 for record in records.values())


def test_an_input_that_can_not_be_read_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tract = project(tmp_path, grid())
    (tmp_path / "plans" / "gone.toml").symlink_to("nowhere")
    assert len(input_records(tract)) == 4  # a link to nothing is no file

    def refuse(path: Path) -> str:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr("screener.files.manifest.sha256", refuse)
    with pytest.raises(InputError, match=r"hardware\.csv: Permission denied; expected a file that can be read"):
        input_records(tract)


@pytest.mark.filterwarnings("ignore")
def test_parts_of_a_shapefile_are_inputs_too(tmp_path: Path) -> None:
    grid().to_file(tmp_path / "lots.shp")
    tract = project(tmp_path, None, file="lots.shp")
    names_found = {record["file"] for record in input_records(tract)}
    assert {"lots.shp", "lots.shx", "lots.dbf", "lots.prj"} <= names_found


def test_the_manifest_carries_no_clock_host_or_path(tmp_path: Path) -> None:
    import socket
    from datetime import UTC, datetime

    tract = project(tmp_path, grid())
    found = results()
    manifest = build_manifest(tract, input_records(tract), {}, found.lots, found.issues, 0, found.run)
    text = to_json(manifest)
    assert str(tmp_path) not in text
    assert f"{datetime.now(UTC):%Y-%m-%d}" not in text
    assert f'"{socket.gethostname()}"' not in text
    assert manifest["counts"]["by_status"] == {"screened": 6}
    assert manifest["crs"] == CRS
    assert manifest["defaults_taken"]["tiers.most"] == 4
    assert set(versions()) >= {"numpy", "GDAL for vectors", "GDAL for rasters", "PROJ", "GEOS"}


def test_json_has_no_number_that_is_none() -> None:
    value = {"a": np.float64("nan"), "b": np.int64(3), "c": np.array([1.5]), "d": {"z", "y"}, "e": float("inf")}
    assert json.loads(to_json(value)) == {"a": None, "b": 3, "c": [1.5], "d": ["y", "z"], "e": None}


def test_the_run_table_is_flat() -> None:
    table = run_table({"a": {"b": "x"}, "inputs": [{"file": "f"}], "n": 2.5})
    assert table.to_dict("list") == {"key": ["a.b", "inputs.1.file", "n"], "value": ["x", "f", "2.5"]}
