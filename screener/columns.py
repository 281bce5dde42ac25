"""The data dictionary: every column that goes in or comes out, with its unit, precision and meaning.

Readers, writers, `screener schema` and the GeoPackage's own column descriptions all take names, order and decimals
from here. Column names are a public interface: add to the end of a table, do not rename.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

Kind = Literal["text", "number", "integer", "yes_no", "date"]
SCHEMA_VERSION = 1


@dataclass(frozen=True)
class Column:
    """One column of one table. `decimals` is what is written; `required` means an input is refused without it."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    decimals: int = 0
    required: bool = False
    default: str = ""


def _text(name: str, meaning: str, **more: Any) -> Column:
    return Column(name, "text", meaning, **more)


def _number(name: str, unit: str, decimals: int, meaning: str, **more: Any) -> Column:
    return Column(name, "number", meaning, unit, decimals, **more)


def _whole(name: str, meaning: str, unit: str = "", **more: Any) -> Column:
    return Column(name, "integer", meaning, unit, **more)


HAZARD_COLUMNS: tuple[Column, ...] = (
    _number("wind_speed_mph", "mph", 1, "basic wind speed, 3-second gust, Risk Category II"),
    _text("exposure", "exposure category (B, C or D) in every direction; replaces the land-cover method"),
    _number("kzt", "", 3, "topographic factor in every direction; replaces the terrain method"),
    _number("elevation_ft", "ft", 1, "ground elevation above sea level"),
    _text("land_cover", "land-cover class of the ground at the lot"),
    _number("ss_g", "g", 3, "mapped spectral acceleration at short period, SS"),
    _number("s1_g", "g", 3, "mapped spectral acceleration at 1 s, S1"),
    _number("sms_g", "g", 3, "SMS for the site class"),
    _number("sm1_g", "g", 3, "SM1 for the site class"),
    _number("sds_g", "g", 3, "design spectral acceleration at short period, SDS"),
    _number("sd1_g", "g", 3, "design spectral acceleration at 1 s, SD1"),
    _text("site_class", "site class"),
    _number("ground_snow_psf", "psf", 1, "ground snow load"),
)

SETBACK_COLUMNS: tuple[Column, ...] = (
    _number("front_setback_ft", "ft", 2, "least distance from the front lot line", default="[lots] setbacks.front_ft"),
    _number("rear_setback_ft", "ft", 2, "least distance from the rear lot line", default="[lots] setbacks.rear_ft"),
    _number("side_setback_ft", "ft", 2, "least distance from a side lot line", default="[lots] setbacks.side_ft"),
    _number(
        "street_side_setback_ft",
        "ft",
        2,
        "least distance from a side lot line on a street",
        default="[lots] setbacks.street_side_ft, else the side setback",
    ),
)

LOTS_INPUT: tuple[Column, ...] = (
    _text("lot_id", "name of the lot, unique in the file; read as text always", required=True),
    _text("block", "block of the plat"),
    _text("phase", "phase (filing, section, unit) the lot is built in"),
    _text("status", "where the lot stands (open, sold, building, closed ...); carried through as lot_status"),
    _text("plan", "plan of the plan library", default="none: hazards and forecast only, not in the bill"),
    _text("style", "the plan's front style, which may change the roof", default="the plan's first style"),
    _text("options", "built options of the plan, separated by ;", default="none"),
    Column("mirrored", "yes_no", "whether the plan is built mirrored: yes or no", default="no"),
    _number(
        "front_bearing_deg",
        "degrees",
        1,
        "compass bearing that the front faces, clockwise from true north",
        default="from the nearest street; without streets the worst of all directions",
    ),
    Column("start", "date", "date of the start of building, as YYYY-MM-DD"),
    _number("pad_elevation_ft", "ft", 2, "elevation of the graded pad"),
    _text("package", "package the lot must keep, by name (its hardware is bought already)"),
    _text("may_change", "what siting advice may change on the lot: plan; blank: nothing"),
    *SETBACK_COLUMNS,
    *HAZARD_COLUMNS,
    _number("salt_water_distance_ft", "ft", 0, "distance to salt water", default="[design] salt_water_distance_ft"),
    _text("flood_zone", "flood zone as the flood map names it: X, AE, VE, floodway ...", default="not judged"),
    Column(
        "special_wind",
        "yes_no",
        "whether the lot lies in a special wind region: yes or no",
        default="[design] special_wind_region",
    ),
    _text("lot", "lot number in its block; without lot_id the ids are made of block and lot, such as 3-12"),
)

LOT_POINTS_INPUT: tuple[Column, ...] = (
    _number("x", "", 3, "x or easting of the lot's middle, in [lots] crs", required=True),
    _number("y", "", 3, "y or northing of the lot's middle", required=True),
    _number("lon", "degrees", 6, "longitude, in place of x"),
    _number("lat", "degrees", 6, "latitude, in place of y"),
    _number("width_ft", "ft", 2, "width of the lot along its front", required=True),
    _number("depth_ft", "ft", 2, "depth of the lot, across its front", required=True),
    _number(
        "front_bearing_deg", "degrees", 1, "which way the front faces: the rectangle is turned to it", required=True
    ),
)
"""Columns of a CSV of points with sizes, beside those of any lots file."""

HARDWARE_INPUT: tuple[Column, ...] = (
    _text("item", "name of the item, unique in the list", required=True),
    _text("family", "which connection it serves", required=True),
    _text("unit", "what one is: each, ft, lb", required=True),
    _number("purchase_unit_qty", "", 0, "how many in the box that is bought", required=True),
    _number("unit_cost", "dollars", 4, "price of one", required=True),
    _text("price_breaks", "boxes:discount pairs separated by ;, for example 10:6%;60:11%", default="none"),
    _number("labour_min", "minutes", 2, "carpenter's time to install one", required=True),
    _number("waste", "", 3, "share added for waste", default="[purchase] waste"),
    _number("stock", "", 0, "pieces in hand", default="0"),
    _number("lead_time_days", "days", 0, "days from order to delivery"),
    _number("uplift_lb", "lb", 0, "allowable load upwards, by species group with a suffix where it differs"),
    _number("parallel_lb", "lb", 0, "allowable load along the wall"),
    _number("perpendicular_lb", "lb", 0, "allowable load across the wall"),
    _text("basis", "listed (loads from the source) or computed (from the fastener's geometry)", required=True),
    _text("load_duration_included", "load duration factor that the listed loads already hold"),
    _text("source", "document the loads come from", required=True),
    Column("source_date", "date", "date of that document"),
    _text("corrosion", "finish"),
)

LOTS: tuple[Column, ...] = (
    _text("lot_id", "name of the lot"),
    _whole("source_row", "row of the lot in its file, the first being 1"),
    _text("status", "screened, refer (an engineer must confirm), skipped (input unusable), no_hardware"),
    _text("block", "block of the plat"),
    _text("phase", "phase the lot is built in"),
    _text("lot_status", "the lot's own status column, as given"),
    _text("plan", "plan screened on this lot; blank where none is chosen"),
    _text("style", "front style of the plan"),
    _text("options", "built options, separated by ;"),
    Column("mirrored", "yes_no", "whether the plan is built mirrored"),
    _number("front_bearing_deg", "degrees", 1, "compass bearing that the front faces; blank: all directions screened"),
    _text("front_bearing_from", "where the bearing comes from: given, street, or unknown"),
    Column("start", "date", "date of the start of building"),
    _number("pad_elevation_ft", "ft", 2, "elevation of the graded pad"),
    _number("area_sqft", "sq ft", 0, "area of the lot"),
    Column("fits", "yes_no", "whether the plan's footprint fits the lot less its setbacks; blank: not checked"),
    _number("fit_short_ft", "ft", 2, "how much too wide or too deep the footprint is; 0 where it fits"),
    _text("tier", "hardware package of the lot; blank where it has none"),
    _text(
        "ground_state",
        "state of the ground the exposure is for: today, after a phase (it and those before it stand), built out; "
        "as given where the letters were given",
    ),
    _number("wind_speed_mph", "mph", 1, "basic wind speed, 3-second gust, Risk Category II"),
    _text("exposure", "exposure category used: the worst direction's"),
    _text("exposure_by_direction", "exposure by wind direction: sixteen letters from north, clockwise"),
    _number("rough_share_min", "", 3, "share of rough ground that decided the exposure"),
    _number("exposure_margin_ft", "ft", 0, "distance by which the exposure's fetch limit was met or missed"),
    _number("kzt", "", 3, "topographic factor that drives the loads ([terrain] kzt_isolation): the worst direction's"),
    _number("kzt_strict", "", 3, "topographic factor where every condition of the standard is met, else 1"),
    _number("ke", "", 4, "ground elevation factor"),
    _number("elevation_ft", "ft", 1, "ground elevation above sea level"),
    _number("ss_g", "g", 3, "mapped spectral acceleration at short period, SS"),
    _number("s1_g", "g", 3, "mapped spectral acceleration at 1 s, S1"),
    _text("site_class", "site class"),
    _number("sds_g", "g", 3, "design spectral acceleration at short period, SDS"),
    _number("sd1_g", "g", 3, "design spectral acceleration at 1 s, SD1"),
    _text("sdc", "seismic design category, by both spectral values"),
    _text("sdc_sds_only", "seismic design category by SDS alone"),
    _text("sdc_irc", "seismic design category of the residential code"),
    _number("ground_snow_psf", "psf", 1, "ground snow load"),
    _text("governing_point", "connection with the greatest ratio of demand to capacity"),
    _text("governing_hazard", "wind or seismic: what drives that connection"),
    _number("governing_ratio", "", 3, "its ratio of demand to capacity"),
    Column("inside_permit", "yes_no", "whether the envelope of the plan's sealed master set covers this lot"),
    _number("hardware_cost", "dollars", 2, "material, waste included"),
    _number("labour_hours", "h", 3, "labour to install it"),
    _number("total_cost", "dollars", 2, "material and labour"),
    _text("flags", "scope codes that apply, separated by ;"),
    _number("mean_roof_height_ft", "ft", 1, "mean roof height at which exposure and Kzt were taken"),
    _text("exposure_by_state", "exposure in every state of the ground, from today to built out"),
    _text("exposure_today", "exposure on the ground as it is today: phases that do not stand are bare"),
    _text("exposure_built_out", "exposure with every phase built"),
    _text("exposure_depends_on", "other phases whose building changes the exposure of the lot, in build order"),
    Column("exposure_flips", "yes_no", "whether the exposure changes within the flip bands of [exposure]"),
    _number("exposure_governing_bearing_deg", "degrees", 1, "bearing, seen from the lot, of the ground that decided"),
    _number("kzt_screening", "", 3, "topographic factor with the isolation conditions of 26.8.1 not applied"),
    _text("kzt_by_direction", "topographic factor used, by wind direction: sixteen numbers from north, clockwise"),
    Column("kzt_flips", "yes_no", "whether Kzt changes within the flip band of [terrain]"),
    _text("terrain_form", "ridge, escarpment or hill behind kzt_screening; where that is 1, what came nearest to it"),
    _number("terrain_h_ft", "ft", 1, "its height H above the foot upwind"),
    _number("terrain_lh_ft", "ft", 1, "its Lh: from the crest upwind to half the height"),
    _number("terrain_x_ft", "ft", 1, "distance x of the lot from the crest along the wind, positive downwind of it"),
    _number("terrain_bearing_deg", "degrees", 1, "bearing that its wind comes from"),
    _number("terrain_margin", "", 3, "how far it is from its nearest condition, as a share; negative: missed"),
    _text("terrain_margin_of", "that condition: H, H/Lh, upper half, or x (distance from the crest)"),
    _number("governing_wind_envelope_deg", "degrees", 1, "wind direction of the greatest Kz Kzt, envelope procedure"),
    _number("governing_wind_components_deg", "degrees", 1, "the same for components and cladding"),
    _number("q_envelope_psf", "psf", 2, "velocity pressure at mean roof height, envelope procedure"),
    _number("q_components_psf", "psf", 2, "the same for components and cladding"),
    _number("q_onto_front_psf", "psf", 2, "that of the wind on to the front: what the directional procedure takes"),
    _number("q_onto_rear_psf", "psf", 2, "the same, on to the rear"),
    _number("q_onto_left_psf", "psf", 2, "the same, on to the side drawn at the left (a mirrored house has it right)"),
    _number("q_onto_right_psf", "psf", 2, "the same, on to the side drawn at the right"),
    Column("freeze_date", "date", "foundation release, from which the lot's package can't change: its start"),
    Column("first_order_by", "date", "day to order the first of its hardware by; a change of package after it is late"),
    _number("ground_slope", "", 3, "slope of the ground at the lot's middle, rise over run, over 66 ft"),
    _number("salt_water_distance_ft", "ft", 0, "distance from the lot to salt water; blank: not given"),
    _text("flood_zone", "flood zone as given; blank: not given"),
)

_OF_THE_HOUSE = {
    *("lot_id", "source_row", "status", "lot_status", "style", "options", "mirrored", "start", "fits", "fit_short_ft"),
    *("front_bearing_deg", "front_bearing_from", "tier", "governing_point", "governing_hazard", "governing_ratio"),
    *("q_onto_front_psf", "q_onto_rear_psf", "q_onto_left_psf", "q_onto_right_psf"),
    *("inside_permit", "hardware_cost", "labour_hours", "total_cost", "freeze_date", "first_order_by"),
}
HAZARDS: tuple[Column, ...] = (
    _text("lot_id", "name of the lot"),
    _whole("source_row", "row of the lot in its file, the first being 1"),
    _text("status", "screened (every hazard known), refer (a person must look), skipped (input or hazard missing)"),
    *(column for column in LOTS if column.name not in _OF_THE_HOUSE),
)

FLIPS: tuple[Column, ...] = (
    _text("lot_id", "name of the lot"),
    _text("what", "exposure or Kzt"),
    _text("now", "its value as screened"),
    _text("would_be", "its value under the other reading"),
    _text("reading", "which limit was moved, and by how much"),
    _number("margin", "see margin_unit", 3, "how far the lot is from the limit that decides; negative: missed"),
    _text("margin_unit", "ft, or the share of which condition"),
    _number("bearing_deg", "degrees", 1, "bearing, seen from the lot, of the ground to look at"),
)

DEMANDS: tuple[Column, ...] = (
    _text("lot_id", "name of the lot"),
    _text("point", "connection point of the plan"),
    _text("component", "direction of the load, or combined"),
    _text("unit", "unit of demand and capacity"),
    _number("demand", "see unit", 2, "governing demand"),
    _number("capacity", "see unit", 2, "what the chosen item carries in that direction; blank: nothing listed"),
    _number("ratio", "", 4, "demand over capacity"),
    _text("case", "load case that governs"),
    _text("item", "hardware chosen"),
    _number("quantity", "", 2, "pieces at this point, net of waste"),
)

BILL_OF_MATERIALS: tuple[Column, ...] = (
    _text("item", "hardware item"),
    _text("phase", "phase of the tract"),
    _text("month", "month of the start, as YYYY-MM; blank where no date is given"),
    _text("drop", "delivery: foundation, walls, floor or roof"),
    _number("quantity", "", 2, "pieces, net of waste"),
    _number("quantity_with_waste", "", 2, "pieces with waste"),
    _number("purchase_units", "", 2, "boxes (or units, see purchase_unit) at the order level"),
    _number("cost", "dollars", 2, "what those boxes cost"),
    _number("labour_hours", "h", 3, "labour to install the net pieces"),
    _text("purchase_unit", "what one purchase unit is: box of N, each, sq ft"),
    _number("from_stock", "", 2, "pieces with waste that come from stock in hand"),
    _number("units_for_break", "", 2, "of the purchase units those bought only because a price break makes it cheaper"),
)

ORDERS: tuple[Column, ...] = (
    _text("order_period", "month (2026-11) or ISO week (2026-W45) in which to order; blank: lots without a start date"),
    Column("order_by", "date", "day to order by: first need, less the item's lead time and the project's margin"),
    Column("late", "yes_no", "whether that day had passed at [tract] as_of; blank: not judged"),
    _text("item", "hardware item"),
    _text("phase", "phase of the tract"),
    _text("drop", "delivery: foundation, walls, floor or roof"),
    Column("needed_on", "date", "first day of need: a start, and the days of [purchase] drop_day"),
    _text("status", "firm (lots with plan and package) or forecast (lots with no plan yet, from the plan mix)"),
    _whole("lots", "lots concerned"),
    _number("quantity", "", 2, "pieces, net of waste; of a forecast the percentile in sized_at"),
    _number("quantity_with_waste", "", 2, "pieces with waste"),
    _number("from_stock", "", 2, "of these from stock in hand"),
    _text("purchase_unit", "what one purchase unit is: box of N, each, sq ft"),
    _number("purchase_units", "", 2, "purchase units to order; rounded up once at the order level"),
    _number("units_for_break", "", 2, "of these those bought only because a price break makes it cheaper"),
    _number("leftover_pieces", "", 2, "pieces left in open boxes once this need is met; later orders use them"),
    _number("unit_price", "dollars", 5, "price of one piece after the price break of its order"),
    _number("cost", "dollars", 2, "what the purchase units cost"),
    _text("sized_at", "forecast only: p50, or p90 where the lead is long ([purchase] long_lead_days)"),
)

FORECAST: tuple[Column, ...] = (
    _text("level", "tract, phase, or month (of the start, in a phase); parts do not add up to the whole's percentiles"),
    _text("item", "hardware item"),
    _text("phase", "phase of the tract"),
    _text("month", "month of the start, as YYYY-MM; blank where no date is given"),
    _text("drop", "delivery: foundation, walls, floor or roof"),
    _whole("firm", "pieces of lots with plan and package, net of waste"),
    _number("expected", "", 2, "expected pieces of firm lots and of lots with no plan yet"),
    _whole("p10", "pieces that are enough with a probability of 10 %"),
    _whole("p50", "the same, 50 %"),
    _whole("p90", "the same, 90 %"),
    _number("open_expected", "", 2, "expected pieces of the lots with no plan yet alone"),
    _whole("open_p90", "their P90"),
    _whole("p90_units", "purchase units that hold P90 with waste, bought at once"),
    _text("purchase_unit", "what one purchase unit is: box of N, each, sq ft"),
    _text("method", "exact (convolution) or simulated"),
    _text("driver", "what makes it uncertain"),
)

KITS: tuple[Column, ...] = (
    _text("kit", "name of the kit: house and package"),
    _text("plan", "plan"),
    _text("house", "plan, style and options"),
    _text("package", "hardware package"),
    _text("schedule", "line of the package: the connections it covers"),
    _text("item", "item of the hardware list"),
    _text("bill_item", "item as the bill names it"),
    _text("drop", "delivery: foundation, walls, floor or roof"),
    _whole("quantity", "pieces of one house, net of waste"),
)

LOT_KITS: tuple[Column, ...] = (
    _text("lot_id", "name of the lot"),
    _text("state", "bought (has its hardware), firm (plan and package chosen), open (no plan yet: one row a plan)"),
    _text("plan", "plan"),
    _number("share", "", 6, "probability of the plan on this lot: the mix, over the plans that fit; 1 where chosen"),
    _text("kit", "kit the lot takes with it; blank: see why"),
    _text(
        "why",
        "no_fit; no_hardware (nothing listed holds); no_hazard (unknown or out of scope); beyond_packages (no chosen "
        "package holds, a person must add one: counted with the cheapest hardware that holds on this lot)",
    ),
)

PRICES: tuple[Column, ...] = (
    _text("item", "item of the hardware list"),
    _text("bill_item", "item as the bill names it"),
    _text("unit", "what one is"),
    _whole("purchase_unit_qty", "how many in the box that is bought"),
    _text("unit_cost", "price of one in dollars, as written"),
    _text("price_breaks", "boxes and discount"),
    _text("waste", "share added for waste; blank: the project's"),
    _whole("stock", "pieces in hand"),
    _whole("lead_time_days", "days from order to delivery; blank: the project's"),
    _text("labour_min", "minutes to install one, as written"),
)

EXCEPTIONS: tuple[Column, ...] = (
    _text("lot_id", "name of the lot"),
    _text("reason", "short stable code"),
    _text("detail", "what was found"),
    _text("next_step", "what to do about it"),
)

ISSUES: tuple[Column, ...] = (
    _text("severity", "stop, skip (the lot has no numbers), fix (repaired), warn (computed, flagged) or note"),
    _text("code", "short stable code"),
    _text("lot_id", "lot concerned, where there is one"),
    _text("where", "file, layer and lot or row"),
    _text("found", "what was found"),
    _text("expected", "what was expected"),
    _text("done", "what was done, or how to put it right"),
)

PACKAGES: tuple[Column, ...] = (
    _text("tier", "name of the package"),
    _text("schedule", "line of the package: the connections it covers"),
    _text("item", "hardware item"),
    _text("arrangement", "pieces at each connection, or spacing"),
)

COST_CURVE: tuple[Column, ...] = (
    _whole("most", "packages allowed at most, in the tract or for each plan ([tiers] scope)"),
    _whole("packages_used", "packages that the answer uses"),
    _number("cost", "dollars", 2, "least cost found: lots, packages, stock; blank where not every lot can be served"),
    _number("lots_cost", "dollars", 2, "of it material and labour of the lots"),
    _number("packages_cost", "dollars", 2, "of it handling and mix-ups"),
    _number("stock_cost", "dollars", 2, "of it kinds of items to stock"),
    _number("saved", "dollars", 2, "what is saved against the row before"),
    _number("saved_a_lot", "dollars", 2, "the same for one lot"),
    _number("lower_bound", "dollars", 2, "no set of as many packages costs less"),
    _number("gap", "", 4, "how much of the cost could still be saved at most"),
    Column("proven", "yes_no", "whether nothing cheaper exists"),
    _whole("lots_unserved", "lots left over"),
    Column("suggested", "yes_no", "the suggested number of packages"),
    _text("note", "why it is suggested, or what the row is"),
)

FORCING_LOTS: tuple[Column, ...] = (
    _text("tier", "package that the lots force up"),
    _text("lots", "lots left out together, separated by ;"),
    _whole("count", "how many they are"),
    _number("saved", "dollars", 2, "what the package's other lots would cost less without them: material and labour"),
    _number("saved_at_least", "dollars", 2, "the same with lots and packages regrouped: at least this much"),
    _whole("other_lots", "lots that stay in the package"),
    _text("plans", "their plans"),
    _text("ground", "their exposure and Kzt"),
    _text("lines", "lines of the package that become cheaper, separated by ;"),
    _text("next_step", "what can be done"),
)

TOLERANCE: tuple[Column, ...] = (
    _text("lot_id", "name of the lot"),
    _text("what", "input that was moved: wind, rough_share, kzt, or price of a family of items"),
    _number("by", "", 4, "how far it was moved, as a share (rough_share: in points)"),
    _text("from_tier", "package of the lot now"),
    _text("to_tier", "cheapest package that then holds; none: no package of the run does"),
    _number("cost_change", "dollars", 2, "material and labour of the lot, then less now; blank where none holds"),
    _text("detail", "what changed on the way"),
)

RUN: tuple[Column, ...] = (
    _text("key", "what is recorded"),
    _text("value", "its value"),
)

_MONEY = (
    _number("hardware_cost", "dollars", 2, "material of its lots, waste included, at list prices"),
    _number("labour_hours", "h", 1, "labour to install it"),
    _number("total_cost", "dollars", 2, "material and labour of its lots"),
    _number("cost_per_lot", "dollars", 2, "the same for one lot that has a package"),
)
_BY_STATUS = (
    _whole("lots", "lots that came in"),
    _whole("screened", "lots with a package and nothing against it"),
    _whole("refer", "lots whose package an engineer must confirm"),
    _whole("no_hardware", "lots that no package holds on"),
    _whole("skipped", "lots without numbers: input or hazard unusable, no plan"),
    _whole("exceptions", "lots that need a person for any reason"),
)
PORTFOLIO_TRACTS: tuple[Column, ...] = (
    _text("tract", "name of the tract"),
    _text("division", "its division; blank: none given"),
    *_BY_STATUS,
    _text("packages", "packages that its lots use, with their lots, separated by ;"),
    _text("reasons", "exceptions by reason: code and lots, separated by ;"),
    *_MONEY,
    _number("longitude_deg", "degrees", 5, "middle of its lots, east of Greenwich"),
    _number("latitude_deg", "degrees", 5, "middle of its lots, north"),
)
PORTFOLIO_DIVISIONS: tuple[Column, ...] = (
    _text("division", "name of the division; blank: none given"),
    _whole("tracts", "its tracts"),
    *_BY_STATUS,
    *_MONEY,
    _number("order_cost", "dollars", 2, "what the boxes of its tracts' bills cost"),
)
PORTFOLIO_BILL: tuple[Column, ...] = (
    _text("level", "tract, or its sums: division, portfolio"),
    _text("division", "division; blank at the level portfolio"),
    _text("tract", "tract; blank at the other levels"),
    _text("item", "hardware item"),
    _text("drop", "delivery: foundation, walls, floor or roof"),
    _number("quantity", "", 0, "pieces, net of waste"),
    _number("quantity_with_waste", "", 2, "pieces with waste"),
    _text("purchase_unit", "what one purchase unit is: box of N, each, sq ft"),
    _number("purchase_units", "", 0, "boxes (or units), rounded up once for each item and tract"),
    _number("units_for_break", "", 0, "of these those bought only because a price break makes it cheaper"),
    _number("cost", "dollars", 2, "what those boxes cost"),
    _number("labour_hours", "h", 3, "labour to install the net pieces"),
)
PORTFOLIO_NEEDS: tuple[Column, ...] = (
    _text("level", "division, or the sum: portfolio"),
    _text("division", "division; blank at the level portfolio"),
    _text("order_period", "month (2026-11) or ISO week (2026-W45) in which to order; blank: lots without a start date"),
    _text("item", "hardware item"),
    _text("drop", "delivery: foundation, walls, floor or roof"),
    _number("quantity", "", 0, "pieces, net of waste"),
    _number("quantity_with_waste", "", 2, "pieces with waste; boxes are rounded up in bill_of_materials, by tract"),
    _number("cost", "dollars", 2, "material at list prices, waste included, not rounded up to boxes"),
    _number("labour_hours", "h", 3, "labour to install the net pieces"),
)
PORTFOLIO_PACKAGES: tuple[Column, ...] = (
    _text("shared_by", "division or tract whose lots share the package; blank: the whole portfolio"),
    _text("tier", "name of the package"),
    _whole("lots", "lots that have it"),
    _text("schedule", "line of the package: the connections it covers"),
    _text("item", "hardware item"),
    _text("arrangement", "pieces at each connection, or spacing"),
)
PORTFOLIO_CURVE: tuple[Column, ...] = (
    _text("shared_by", "division or tract; blank: the whole portfolio"),
    _whole("most", "packages allowed at most"),
    _whole("packages_used", "packages that the answer uses"),
    _number("cost", "dollars", 2, "least cost found: lots, packages, stock; blank where not every lot can be served"),
    _number("lower_bound", "dollars", 2, "no set of as many packages costs less"),
    _number("gap", "", 4, "how much of the cost could still be saved at most"),
    Column("proven", "yes_no", "whether nothing cheaper exists"),
    _whole("lots_unserved", "lots left over"),
    _whole("lot_classes", "kinds of lots by what they need"),
)
PORTFOLIO_EXCEPTIONS: tuple[Column, ...] = (_text("tract", "name of the tract"), *EXCEPTIONS)
PORTFOLIO_ISSUES: tuple[Column, ...] = (
    *ISSUES[:2],
    _text("tract", "tract of the lot concerned"),
    *ISSUES[2:],
    _whole("times", "how often it was met, in areas read apart"),
)
PORTFOLIO_LOTS: tuple[Column, ...] = (
    _text("tract", "name of the tract"),
    _text("division", "its division; blank: none given"),
    *LOTS,
)

TABLES: dict[str, tuple[Column, ...]] = {
    "portfolio_lots": PORTFOLIO_LOTS,
    "portfolio_tracts": PORTFOLIO_TRACTS,
    "portfolio_divisions": PORTFOLIO_DIVISIONS,
    "portfolio_bill": PORTFOLIO_BILL,
    "portfolio_needs": PORTFOLIO_NEEDS,
    "portfolio_packages": PORTFOLIO_PACKAGES,
    "portfolio_curve": PORTFOLIO_CURVE,
    "portfolio_exceptions": PORTFOLIO_EXCEPTIONS,
    "portfolio_issues": PORTFOLIO_ISSUES,
    "lots_input": LOTS_INPUT,
    "lot_points_input": LOT_POINTS_INPUT,
    "hardware_input": HARDWARE_INPUT,
    "lots": LOTS,
    "hazards": HAZARDS,
    "flips": FLIPS,
    "demands": DEMANDS,
    "bill_of_materials": BILL_OF_MATERIALS,
    "exceptions": EXCEPTIONS,
    "issues": ISSUES,
    "packages": PACKAGES,
    "orders": ORDERS,
    "forecast": FORECAST,
    "kits": KITS,
    "lot_kits": LOT_KITS,
    "prices": PRICES,
    "cost_curve": COST_CURVE,
    "forcing_lots": FORCING_LOTS,
    "tolerance": TOLERANCE,
    "run": RUN,
}
PURCHASE_TABLES: tuple[str, ...] = ("orders", "forecast", "kits", "lot_kits", "prices")
CSV_TABLES: tuple[str, ...] = (
    *("lots", "demands", "bill_of_materials", "exceptions", "issues", "packages"),
    *PURCHASE_TABLES,
)
LEVER_TABLES: tuple[str, ...] = ("cost_curve", "forcing_lots", "tolerance")
"""Tables around the packages; written as CSV and into the GeoPackage as the others are."""

TABLE_MEANINGS: dict[str, str] = {
    "lots": "every lot of the tract: hazards, governing demand, package, cost, flags",
    "hazards": "every lot of the tract: wind, ground and earthquake, with margins",
    "flips": "lots whose exposure or Kzt changes within the flip bands: where a person should look",
    "exposure_sectors": "a wedge for each lot and wind direction, as far as rough ground prevails",
    "terrain_crests": "crests that raise Kzt, by wind direction (0 from north, clockwise in steps of 22.5 degrees)",
    "lot_problems": "what is wrong with lots or between them, drawn where it is; no layer where nothing is",
    "demands": "every lot, connection point and load direction",
    "bill_of_materials": "what to buy, by item, phase, month and delivery",
    "exceptions": "lots that need a person, with the reason",
    "issues": "every repair, default and warning",
    "packages": "what each hardware package holds",
    "orders": "what to order by when, by delivery: firm, and forecast for lots with no plan yet",
    "forecast": "pieces of firm and of undecided lots: expected, P10, P50, P90",
    "kits": "the pieces of one house with one package",
    "lot_kits": "which kit each lot takes; of a lot with no plan yet, with each plan",
    "prices": "how each item is bought: price, breaks, box, waste, stock, lead time",
    "cost_curve": "cost by number of packages, from one to every lot its own, and the suggested number",
    "forcing_lots": "lots that force a package up, and what the others would save without them",
    "tolerance": "lots that need another package when an input moves within its band",
    "run": "how these results came about",
}


@cache
def by_name(table: str) -> dict[str, Column]:
    """The columns of a table by name, in their fixed order."""
    return {column.name: column for column in TABLES[table]}


def names(table: str) -> tuple[str, ...]:
    """The column names of a table in their fixed order."""
    return tuple(column.name for column in TABLES[table])
