"""Lots of one site of a portfolio: the same reading, repair and checks as for one tract, ids unique in each tract.

While lots of several tracts are read together an id is `tract/lot`, so that equal ids in two tracts are no repetition;
afterwards each lot has its own id again, and rows stand by tract and id: the order of all outputs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from hazard.issues import InputError, Issue, Issues
from screener.config import Site, Tract
from screener.files.vectors import VectorLayer
from screener.lot_attributes import LotReader, clean_all, read_attributes, texts
from screener.lot_columns import match_columns
from screener.lots import NEXT_STEPS, SKIPPED, lots_of_layer, read_lots, skip_lot
from screener.portfolio.layout import NO_TRACT, TractPlace
from screener.portfolio.lot_stream import ROW, TRACT, LotStream, shapes_of

JOINT = "/"
NEXT_STEPS.setdefault("tract_missing", "name the lot's tract")


@dataclass(frozen=True)
class SiteLots:
    """Lots of a site in order: `lots` as `read_lots` gives them, ids `tract/lot`; own id and place of the tract.

    `rows`: rows of the lots file that they came from; more than lots where the same lot stood twice.
    """

    lots: gpd.GeoDataFrame
    own_id: NDArray[np.object_]
    place: NDArray[np.int64]
    rows: int


def stream_lots(
    table: pa.Table, stream: LotStream, base: Tract, places: Sequence[TractPlace], issues: Issues
) -> SiteLots:
    """Lots of a site from rows of the lots file. Raises InputError where none of them can be used."""
    place = table.column(TRACT).to_numpy().astype(np.int64)
    rows = table.column(ROW).to_numpy().astype(np.int64)
    names = np.array([p.name for p in places], dtype=object)
    plain = [n for n in stream.names if n != stream.shape]
    frame = table.select(plain).to_pandas()
    own, id_column = _own_ids(frame, rows, stream, issues)
    blank = own == ""
    named = own.copy()
    named[blank] = [f"row-{n}" for n in rows[blank]]
    joint = names[place] + JOINT + named
    frame[id_column] = joint
    layer = VectorLayer(gpd.GeoDataFrame(frame, geometry=shapes_of(table, stream.shape), crs=stream.crs), stream.where)
    columns = match_columns(layer, base, Issues())
    try:
        lots = lots_of_layer(layer, columns, base, issues, rows)
    except InputError as error:
        lots = _unusable(layer, columns, base, rows, error, issues)
    at = pd.Index(rows).get_indexer(lots["source_row"])
    place_of = place[at]
    for i in np.flatnonzero(blank[at]):
        skip_lot(lots, int(i), "lot_id_missing", "no lot id", "a lot id", issues, stream.where)
    for i in np.flatnonzero(names[place_of] == NO_TRACT):
        skip_lot(lots, int(i), "tract_missing", "no tract", f"a name in column {stream.tract_column}", issues)
    return _ordered(lots, place_of, names, named[at], joint[at], len(table))


def _unusable(
    layer: VectorLayer,
    columns: Mapping[str, str],
    base: Tract,
    rows: NDArray[np.int64],
    error: InputError,
    issues: Issues,
) -> gpd.GeoDataFrame:
    """Lots of a site that can't be used at all (no shape among them, places outside their system), all skipped.

    What stops a tract by itself is one site's fault here: it becomes an issue that skips lots, and the rest goes on.
    """
    issues.extend(replace(i, severity="skip" if i.severity == "stop" else i.severity) for i in error.issues)
    reader = LotReader(layer, Issues(), rows)
    lots = gpd.GeoDataFrame(read_attributes(reader, columns, base), geometry=layer.frame.geometry.to_numpy())
    lots = lots.set_crs(layer.frame.crs, allow_override=True)
    first = next(i for i in error.issues if i.severity == "stop")
    lots["area_sqft"] = np.nan
    lots["front_bearing_from"], lots["street_sides"] = "unknown", ""
    lots["status"], lots["skip_reason"], lots["skip_detail"] = SKIPPED, first.code, first.found
    lots["skip_next_step"] = "see the issue of the same code"
    lots["lot_id"] = reader.ids
    return lots


def _own_ids(
    frame: pd.DataFrame, rows: NDArray[np.int64], stream: LotStream, issues: Issues
) -> tuple[NDArray[np.object_], str]:
    """Clean ids of the rows; a row without one is named by its number and is told later."""
    column = stream.columns["lot_id"]
    raw = texts(frame[column])
    own = clean_all(raw)
    if pd.api.types.is_numeric_dtype(frame[column]):
        done = "read as text; leading zeros, if there were any, were lost before"
        issues.add("lot_id_number", "warn", stream.where, f"column {column} holds numbers", "text", done)
    for i in np.flatnonzero((own != raw) & (own != "")):
        issues.add(
            "lot_id_cleaned", "fix", f"{stream.where} row {rows[i]}", f"lot id {raw[i]!r}",
            "an id without blanks around it and without unseen characters", "taken without them", str(own[i]),
        )  # fmt: skip
    return own, column


def project_lots(project: Site, place: int, issues: Issues) -> SiteLots:
    """Lots of a tract that has a project of its own."""
    lots = read_lots(project, issues)
    own = lots["lot_id"].to_numpy(dtype=object)
    order = np.argsort(own.astype(str), kind="stable")
    places = np.full(len(own), place, dtype=np.int64)
    return SiteLots(lots.iloc[order].reset_index(drop=True), own[order], places, len(own))


def _ordered(
    lots: gpd.GeoDataFrame,
    place: NDArray[np.int64],
    names: NDArray[np.object_],
    named: NDArray[np.object_],
    joint: NDArray[np.object_],
    rows: int,
) -> SiteLots:
    """Lots by tract and own id. `named` (lots,): own ids as given, `joint` with the tract; some were changed since."""
    ids = lots["lot_id"].to_numpy(dtype=object)
    own = named.copy()
    changed = np.flatnonzero(ids != joint)
    own[changed] = [ids[i][len(names[place[i]]) + len(JOINT) :] for i in changed]
    order = np.lexsort((lots["source_row"].to_numpy(), own.astype(str), place))
    return SiteLots(lots.iloc[order].reset_index(drop=True), own[order], place[order], rows)


def own_issue(issue: Issue, names: Sequence[str]) -> tuple[str, str]:
    """Tract and own id of the lot that an issue of jointly read lots is about; blanks where it is about none."""
    if not issue.lot_id:
        return "", ""
    for name in names:
        if issue.lot_id.startswith(name + JOINT):
            return name, issue.lot_id[len(name) + len(JOINT) :]
    return (names[0] if len(names) == 1 else ""), issue.lot_id


def skipped_all(site: SiteLots, code: str, found: str, expected: str) -> SiteLots:
    """The same lots, all skipped for one reason that concerns the site (a raster that does not reach it)."""
    lots = site.lots.copy()
    fresh = (lots["status"] != SKIPPED).to_numpy()
    lots.loc[fresh, "skip_reason"] = code
    lots.loc[fresh, "skip_detail"] = f"{found}; expected {expected}" if expected else found
    lots.loc[fresh, "skip_next_step"] = "see the issue of the same code"
    lots.loc[fresh, "status"] = SKIPPED
    return replace(site, lots=lots)
