"""All the files of one run, into one folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import pandas as pd

from screener.columns import CSV_TABLES, PURCHASE_TABLES
from screener.files.csv_tables import formula_cells, write_csv
from screener.files.geopackage import write_geopackage
from screener.files.manifest import run_table, write_manifest
from screener.files.workbook import WORKBOOK, write_workbook

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

GEOPACKAGE = "tract.gpkg"
BYTES_A_LOT = 3_500  # of tables, map and workbook, a generous figure: 0.6 KB in the map layer, 0.3 to 0.7 KB in CSV
BYTES_A_DEMAND = 400


class ResultTables(Protocol):
    """What the pipeline hands over (see `screener.pipeline.Results`)."""

    @property
    def lots(self) -> GeoDataFrame: ...
    @property
    def demands(self) -> pd.DataFrame: ...
    @property
    def bill_of_materials(self) -> pd.DataFrame: ...
    @property
    def exceptions(self) -> pd.DataFrame: ...
    @property
    def issues(self) -> pd.DataFrame: ...
    @property
    def packages(self) -> pd.DataFrame: ...
    @property
    def timings(self) -> Mapping[str, Any]: ...


def space_needed(results: ResultTables) -> int:
    """Bytes to have free before writing: three times what is expected."""
    return 3 * (BYTES_A_LOT * len(results.lots) + BYTES_A_DEMAND * len(results.demands) + 5_000_000)


def write_results(
    folder: Path,
    results: ResultTables,
    manifest: Mapping[str, Any],
    extra: Mapping[str, Callable[[Path], None]] | None = None,
) -> None:
    """Write GeoPackage, CSV tables, whatever `extra` adds (file name -> writer), and the manifest last."""
    tables: dict[str, pd.DataFrame] = {
        "lots": pd.DataFrame(results.lots.drop(columns=results.lots.geometry.name)),
        "demands": results.demands,
        "bill_of_materials": results.bill_of_materials,
        "exceptions": results.exceptions,
        "packages": results.packages,
    }
    purchase: Mapping[str, pd.DataFrame] = getattr(results, "purchase", {})
    tables |= {name: purchase.get(name, pd.DataFrame()) for name in PURCHASE_TABLES}
    tables["issues"] = with_formula_notes(results.issues, tables)
    levers: Mapping[str, pd.DataFrame] = getattr(results, "levers", {})
    tables |= levers
    layers: Mapping[str, GeoDataFrame] = getattr(results, "layers", {})
    attributes = {name: table for name, table in tables.items() if name != "lots"}
    write_geopackage(folder / GEOPACKAGE, results.lots, {**attributes, "run": run_table(manifest)}, layers)
    for name in (*CSV_TABLES, *levers):
        write_csv(folder / f"{name}.csv", name, tables[name])
    write_workbook(folder / WORKBOOK, tables, manifest)
    for name, write in (extra or {}).items():
        write(folder / name)
    write_manifest(folder, manifest, results.timings)


def with_formula_notes(
    issues: pd.DataFrame, tables: Mapping[str, pd.DataFrame], unchanged_in: str = GEOPACKAGE
) -> pd.DataFrame:
    """The issues, and one note for each column with text that a spreadsheet would run as a formula."""
    notes = [
        {
            "severity": "note",
            "code": "formula_text",
            "lot_id": "",
            "where": f"{table}.csv {column}",
            "found": f"{count} text(s) begin like a formula",
            "expected": "text that a spreadsheet leaves alone",
            "done": f"written with an apostrophe in front; unchanged in {unchanged_in}",
        }
        for table, frame in {**tables, "issues": issues}.items()
        for column, count in formula_cells(table, frame).items()
    ]
    return pd.concat([issues, pd.DataFrame(notes)], ignore_index=True) if notes else issues
