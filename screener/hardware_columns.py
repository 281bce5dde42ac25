"""The data dictionary of the hardware list: every column with its unit, meaning, default and limits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

Kind = Literal["text", "number", "integer", "yes/no", "size", "choice"]
GREATEST_LOAD_LB = 1e6
SPECIES_GROUPS: dict[str, str] = {"df_sp": "DF-L and SP", "spf_hf": "SPF and HF"}
LOAD_COLUMNS: tuple[str, ...] = ("uplift_lb", "parallel_lb", "perpendicular_lb", "compression_lb")
STRENGTH_LOAD_COLUMNS: tuple[str, ...] = tuple(name.replace("_lb", "_strength_lb") for name in LOAD_COLUMNS)
GENERIC_FASTENERS: tuple[str, ...] = ("nail", "ring shank nail")
GEOMETRY: tuple[str, ...] = ("fastener", "panel_thickness_in", "bolt_diameter_in", "steel_width_in", "member_count")


@dataclass(frozen=True)
class HardwareColumn:
    """One column of the hardware list. `least` and `most` are the limits of a number."""

    name: str
    kind: Kind
    unit: str
    meaning: str
    default: str = ""
    required: bool = False
    choices: tuple[str, ...] = ()
    least: float = -math.inf
    most: float = math.inf


def _c(name: str, kind: Kind, unit: str, meaning: str, default: str = "", **more: Any) -> HardwareColumn:
    return HardwareColumn(name, kind, unit, meaning, default, **more)


def _choice(name: str, meaning: str, default: str, *choices: str, **more: Any) -> HardwareColumn:
    return HardwareColumn(name, "choice", "", meaning, default, choices=choices, **more)


def _inches(name: str, meaning: str, default: str = "", least: float = 0.0, most: float = math.inf) -> HardwareColumn:
    return HardwareColumn(name, "number", "in", meaning, default, least=least, most=most)


def _load(name: str, meaning: str, default: str = "none") -> HardwareColumn:
    return HardwareColumn(name, "number", "lb", meaning, default)


def load_column(name: str, method: str) -> str:
    """The column of a load under a design method: `uplift_lb` (ASD) or `uplift_strength_lb` (LRFD)."""
    return name.replace("_lb", "_strength_lb", 1) if method == "LRFD" else name


PURCHASE: tuple[HardwareColumn, ...] = (
    _c("item", "text", "", "plain name, unique in the list", required=True),
    _c("family", "text", "", "connection it serves; several with ; between", required=True),
    _c("unit", "text", "", "what one is: each, nail, sq ft (of sheathed area)", required=True),
    _c("purchase_unit_qty", "integer", "", "pieces in the box that is bought", required=True, least=1, most=1e6),
    _c("unit_cost", "number", "dollars", "price of one; a row without a usable price is never chosen", required=True),
    _c("price_breaks", "text", "", "boxes and discount, as 10:-6%; 60:-11%", "none"),
    _c("labour_min", "number", "minutes", "carpenter's time to install one", required=True, least=0, most=1e5),
    _c("waste", "number", "share", "share added for waste", "[purchase] waste", least=0, most=1),
    _c("stock", "integer", "", "pieces in hand", "0", least=0, most=1e9),
    _c("lead_time_days", "number", "days", "from order to delivery", "unknown", least=0, most=3650),
    _c("bill_item", "text", "", "name under which the bill pools rows that buy the same thing", "item"),
    _choice("drop", "delivery it comes with", "the family's", "foundation", "floor", "walls", "roof"),
    _c("accessory", "text", "", "another item of the list that is bought with it", "none"),
    _c("accessory_pieces", "number", "", "pieces of the accessory for each piece", "1", least=0, most=1000),
)
LISTED: tuple[HardwareColumn, ...] = (
    _load("uplift_lb", "allowable (ASD) uplift or tension of one; blank is none"),
    _load("parallel_lb", "allowable load along the wall of one; blank is none"),
    _load("perpendicular_lb", "allowable load across the wall of one; blank is none"),
    _load("compression_lb", "allowable compression of one; blank is none"),
    *(
        _load(f"{load}_{group}", f"the same in {words} framing", load)
        for load in LOAD_COLUMNS
        for group, words in SPECIES_GROUPS.items()
    ),
    _load("uplift_strength_lb", "design strength (LRFD) in uplift or tension of one; blank is none by LRFD"),
    _load("parallel_strength_lb", "design strength along the wall of one; blank is none by LRFD"),
    _load("perpendicular_strength_lb", "design strength across the wall of one; blank is none by LRFD"),
    _load("compression_strength_lb", "design strength in compression of one; blank is none by LRFD"),
    *(
        _load(f"{load}_{group}", f"the same in {words} framing; give it where the allowable load has its own", load)
        for load in STRENGTH_LOAD_COLUMNS
        for group, words in SPECIES_GROUPS.items()
    ),
    _choice("basis", "loads as listed, or from the geometry", "", "listed", "computed", required=True),
    _c("load_duration_included", "yes/no", "", "whether listed loads hold the increase for wind; never added here"),
    _c("source", "text", "", "document that loads or geometry come from", required=True),
    _c("source_date", "text", "", "its date or edition", "unknown"),
    _c("corrosion", "text", "", "finish", "not stated"),
    _choice("interaction", "how directions act together", "sum", "sum", "none"),
    _c("concrete_included", "yes/no", "", "whether listed loads cover the concrete they end in", "no"),
)
NEEDS: tuple[HardwareColumn, ...] = (
    _c("arrangements", "text", "", "pieces, or spacings in inches, it may be used at, as 48;24", "the family's"),
    _c("needs_rafter_over_stud", "yes/no", "", "whether the truss must stand over a stud", "no"),
    _choice("needs_below", "what must lie below", "any", "any", "concrete", "wood"),
)
FASTENERS: tuple[HardwareColumn, ...] = (
    _c("fastener", "text", "", "a standard fastener of the table, or nail or ring shank nail of its own size"),
    _inches("fastener_diameter_in", "shank diameter", "the standard fastener's", 0.05, 1.25),
    _inches("fastener_length_in", "length", "the standard fastener's", 0.5, 24),
    _inches("thread_length_in", "threaded or ringed length", "all of it; the table's for roof ring nails", 0.1, 24),
    _c(
        "fastener_count",
        "number",
        "",
        "fasteners of one piece, of one end of a strap or splice",
        "1",
        least=1,
        most=1000,
    ),
    _choice("placement", "how it is driven", "face", "face", "toe", "end"),
    _inches("side_thickness_in", "member under the head", "1.5", 0.02, 12),
    _inches("gap_thickness_in", "layer between the members that does not count", "0", 0, 2),
    _inches("main_thickness_in", "member with the point, where it may come out", "thick", 0.5, 100),
)
SHEATHING: tuple[HardwareColumn, ...] = (
    _choice("panel_grade", "sheathing", "Sheathing", "Sheathing", "Structural I", "Plywood siding", "Gypsum"),
    _c("panel_thickness_in", "size", "in", "panel thickness as a fraction, 7/16"),
    _c("panel_specific_gravity", "number", "", "for nail heads pulling through", "0.42", least=0.3, most=0.7),
    _inches("boundary_spacing_in", "nails at diaphragm boundaries", "edge_spacing_in", 1, 12),
    _inches("edge_spacing_in", "nails at panel edges", "", 1, 12),
    _inches("field_spacing_in", "nails elsewhere", "12", 1, 24),
    _choice("blocking", "panel edges", "walls blocked, roofs and floors unblocked", "blocked", "unblocked"),
    _choice("diaphragm_case", "panel layout of an unblocked diaphragm", "other", "1", "other"),
    _inches("framing_nominal_in", "nominal width of diaphragm framing", "2", 2, 4),
    _inches("abutting_framing_in", "nominal width of studs where panels meet", "2", 2, 4),
    _c("faces", "integer", "", "faces sheathed alike", "1", least=1, most=2),
    _c("raise_to_15_32", "yes/no", "", "take the 15/32 value for thinner panels on studs at 16 in", "no"),
    _c(
        "extra_nails_per_ft",
        "number",
        "per ft",
        "plate nails beyond those for shear",
        "0",
        least=0,
        most=12,
    ),
)
BOLTS: tuple[HardwareColumn, ...] = (
    _inches("bolt_diameter_in", "anchor bolt or rod", "", 0.25, 1.25),
    _inches("embedment_in", "length in concrete", "7", 2, 48),
    _choice("washer", "under the nut", "cut", "plate", "cut"),
    _choice("rod_grade", "steel of bolt or rod", "A307", "A307", "36"),
    _load("concrete_uplift_lb", "listed value of the concrete for one", "not checked"),
    _load("concrete_parallel_lb", "listed value of the concrete for one", "not checked"),
    _load("concrete_perpendicular_lb", "listed value of the concrete for one", "not checked"),
    _load("concrete_uplift_strength_lb", "listed design strength (LRFD) of the concrete for one", "not checked"),
    _load("concrete_parallel_strength_lb", "listed design strength of the concrete for one", "not checked"),
    _load("concrete_perpendicular_strength_lb", "listed design strength of the concrete for one", "not checked"),
)
STRAPS: tuple[HardwareColumn, ...] = (
    _inches("steel_width_in", "strap width", "", 0.5, 12),
    _choice("steel_gauge", "strap gauge", "", "20", "18", "16"),
    _inches("steel_thickness_in", "strap thickness", "the gauge's", 0.02, 0.5),
    _choice("steel_grade", "sheet steel", "33", "33", "40"),
    _inches("hole_diameter_in", "nail hole", "the nail's", 0.05, 1),
)
LONG_SCREWS: tuple[HardwareColumn, ...] = (
    _inches("screw_length_in", "length of a long structural screw (its loads are tested and listed)", "", 2, 24),
    _inches("start_height_in", "from the plate's face to the entry in the stud", "3; 0 with min_embedment_in", 0, 12),
    _inches("start_tolerance_in", "on the start height", "0.25", 0, 2),
    _c("angle_deg", "number", "degrees", "from the stud's axis", "22", least=0, most=60),
    _c("angle_min_deg", "number", "degrees", "least angle of the tested value", "10", least=0, most=60),
    _c("angle_max_deg", "number", "degrees", "greatest angle of the tested value", "30", least=0, most=60),
    _choice("driven_from", "stud face it enters", "edge", "edge", "wide face"),
    _inches("min_embedment_in", "least depth in the truss, where driven through the plates", "none", 0, 24),
)
POSTS: tuple[HardwareColumn, ...] = (
    _c("member_count", "integer", "", "studs of an end post", "1", least=1, most=8),
    _inches("member_width_in", "width of one", "1.5", 1, 12),
    _inches("member_depth_in", "depth of one", "the wall's stud depth", 2, 12),
)
COLUMNS: tuple[HardwareColumn, ...] = (
    *PURCHASE, *LISTED, *NEEDS, *FASTENERS, *SHEATHING, *BOLTS, *STRAPS, *LONG_SCREWS, *POSTS
)  # fmt: skip
BY_NAME: dict[str, HardwareColumn] = {column.name: column for column in COLUMNS}
ALLOWABLE_LOADS: tuple[str, ...] = tuple(name for name in BY_NAME if name.startswith(LOAD_COLUMNS))
STRENGTH_LOADS: tuple[str, ...] = tuple(load_column(name, "LRFD") for name in ALLOWABLE_LOADS)
LISTED_LOADS: tuple[str, ...] = (*ALLOWABLE_LOADS, *STRENGTH_LOADS)
CONCRETE_LOADS: tuple[str, ...] = ("concrete_uplift_lb", "concrete_parallel_lb", "concrete_perpendicular_lb")
CONCRETE_STRENGTHS: tuple[str, ...] = tuple(load_column(name, "LRFD") for name in CONCRETE_LOADS)
ALL_LOADS: tuple[str, ...] = (*LISTED_LOADS, *CONCRETE_LOADS, *CONCRETE_STRENGTHS)
