"""Columns of the map layers beside the lots: meaning and unit, for those who open the GeoPackage."""

from __future__ import annotations

from collections.abc import Sequence

from screener.columns import Column

LAYER_COLUMNS: dict[str, tuple[Column, ...]] = {
    "exposure_sectors": (
        Column("lot_id", "text", "name of the lot the wedge is seen from"),
        Column("bearing_deg", "number", "direction the wind comes from, clockwise from true north", "degrees", 1),
        Column("exposure", "text", "exposure in this direction: the worse of its two 45 degree sectors"),
        Column("left", "text", "exposure of the sector on the left, looking upwind"),
        Column("right", "text", "exposure of the sector on the right, looking upwind"),
        Column("rough_share", "number", "share of rough ground in the worse sector over the distance of B", "", 3),
        Column("rough_run_ft", "number", "how far from the lot rough ground prevails: the wedge's length", "ft"),
        Column("smooth_start_ft", "number", "where smooth ground begins that is long enough for D; blank: none", "ft"),
        Column("smooth_length_ft", "number", "its length within the search", "ft"),
        Column("unknown_from_ft", "number", "nearest ground without known cover; blank: all known", "ft"),
    ),
    "terrain_crests": (
        Column("direction", "integer", "wind direction in steps of 22.5 degrees from true north, clockwise"),
        Column("H_ft", "number", "height H above the foot upwind", "ft"),
        Column("Lh_ft", "number", "Lh, from the crest upwind to half the height", "ft"),
        Column("form", "text", "ridge, escarpment or hill"),
        Column("kzt", "number", "greatest Kzt that this crest gives a lot", "", 3),
        Column("lots", "integer", "lots whose Kzt it raises"),
    ),
    "lot_problems": (
        Column("kind", "text", "overlap, gap, repeated (an id), shape, place"),
        Column("code", "text", "the issue's code, as in the issues table"),
        Column("lot_ids", "text", "the lots it is about, separated by ;"),
        Column("area_sqft", "number", "area drawn: shared, between the lots, or of the whole lot", "sq ft", 1),
        Column("length_ft", "number", "length of ground shared or between lots; blank for whole lots", "ft", 1),
        Column("words", "text", "what was found and what was done"),
    ),
}


def columns_of_layer(layer: str, names: Sequence[str]) -> list[Column]:
    """The columns that a layer has, in its order; one that is not known carries its name alone."""
    known = {column.name: column for column in LAYER_COLUMNS.get(layer, ())}
    return [known.get(name) or Column(name, "text", "") for name in names]
