"""The files of the hazard product, into one folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from screener.files.csv_tables import write_csv
from screener.files.geopackage import write_geopackage
from screener.files.manifest import run_table, write_manifest
from screener.files.results import with_formula_notes
from screener.hazard_product import write_pictures

if TYPE_CHECKING:
    from screener.hazard_product import HazardResults

GEOPACKAGE = "hazards.gpkg"
BYTES_A_LOT = 8_000  # lots, sixteen sectors and the tables, a generous figure


def space_needed(results: HazardResults) -> int:
    """Bytes to have free before writing: three times what is expected."""
    return 3 * (BYTES_A_LOT * len(results.lots) + 5_000_000)


def write_hazards(folder: Path, results: HazardResults, manifest: Mapping[str, Any]) -> None:
    """Write GeoPackage, CSV tables, pictures, and the manifest last."""
    tables: dict[str, pd.DataFrame] = {
        "hazards": pd.DataFrame(results.lots.drop(columns=results.lots.geometry.name)),
        "flips": results.flips,
        "exceptions": results.exceptions,
    }
    tables["issues"] = with_formula_notes(results.issues, tables, GEOPACKAGE)
    attributes = {name: table for name, table in tables.items() if name != "hazards"}
    tables_too = {**attributes, "run": run_table(manifest)}
    write_geopackage(folder / GEOPACKAGE, results.lots, tables_too, results.layers, "hazards")
    for name, table in tables.items():
        write_csv(folder / f"{name}.csv", name, table)
    write_pictures(folder, results.pictures)
    write_manifest(folder, manifest, results.timings)
