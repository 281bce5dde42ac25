"""Names of result columns for people: short, with the unit where a heading or a field list needs it.

The report, the map styles and the GeoPackage's own column names take them from here, so that all say the same.
"""

from __future__ import annotations

from screener.columns import Column

_LABELS: dict[str, str] = {
    "lot_id": "Lot",
    "source_row": "Row in the lots file",
    "tier": "Package",
    "start": "Start of building",
    "front_bearing_deg": "Front faces",
    "front_bearing_from": "Bearing from",
    "area_sqft": "Lot area",
    "fits": "Plan fits the lot",
    "fit_short_ft": "Fit short by",
    "ground_state": "State of the ground that governs",
    "wind_speed_mph": "Wind speed",
    "exposure_by_direction": "Exposure by direction",
    "rough_share_min": "Rough ground, share that decided",
    "exposure_margin_ft": "Exposure limit met or missed by",
    "exposure_by_state": "Exposure in every state",
    "exposure_today": "Exposure today",
    "exposure_built_out": "Exposure when built out",
    "exposure_depends_on": "Exposure waits for phases",
    "exposure_flips": "Exposure is near a change",
    "exposure_governing_bearing_deg": "Ground that decided lies toward",
    "kzt": "Kzt",
    "kzt_strict": "Kzt, every condition met",
    "kzt_screening": "Kzt without isolation conditions",
    "kzt_by_direction": "Kzt by direction",
    "kzt_flips": "Kzt is near a change",
    "terrain_form": "Terrain form",
    "terrain_h_ft": "Its height H",
    "terrain_lh_ft": "Its half length Lh",
    "terrain_x_ft": "Distance from its crest",
    "terrain_bearing_deg": "Its wind comes from",
    "terrain_margin": "Terrain condition met or missed by, share",
    "terrain_margin_of": "Nearest terrain condition",
    "governing_wind_envelope_deg": "Worst wind, whole house, from",
    "governing_wind_components_deg": "Worst wind, components, from",
    "q_envelope_psf": "Velocity pressure, whole house",
    "q_components_psf": "Velocity pressure, components",
    "q_onto_front_psf": "Velocity pressure, front",
    "q_onto_rear_psf": "Velocity pressure, rear",
    "q_onto_left_psf": "Velocity pressure, left as drawn",
    "q_onto_right_psf": "Velocity pressure, right as drawn",
    "mean_roof_height_ft": "Mean roof height",
    "ke": "Ke",
    "elevation_ft": "Ground elevation",
    "ss_g": "SS",
    "s1_g": "S1",
    "sds_g": "SDS",
    "sd1_g": "SD1",
    "sdc": "Seismic design category",
    "sdc_sds_only": "Category by SDS alone",
    "sdc_irc": "Category, residential code",
    "ground_snow_psf": "Ground snow",
    "governing_point": "Hardest-worked connection",
    "governing_hazard": "Driven by",
    "governing_ratio": "Demand over capacity",
    "inside_permit": "In master permit envelope",
    "hardware_cost": "Material",
    "labour_hours": "Labour",
    "total_cost": "Material and labour",
    "flags": "Codes",
    "quantity_with_waste": "Pieces with waste",
    "quantity": "Pieces, net",
    "purchase_units": "Boxes or units",
    "schedule": "Package line",
    "units_for_break": "Of these for a price break",
    "p90_units": "Boxes or units for P90",
    "firm": "Firm pieces",
    "p10": "P10",
    "p50": "P50",
    "p90": "P90",
    "freeze_date": "Package frozen from",
    "first_order_by": "First order by",
}

UNIT_ENDINGS: dict[str, str] = {
    "_ft": "ft",
    "_in": "in",
    "_psf": "psf",
    "_lb": "lb",
    "_mph": "mph",
    "_g": "g",
    "_deg": "degrees",
    "_sqft": "sq ft",
    "_plf": "lb per ft",
}
"""What the ending of a name says about its unit."""


def label(name: str) -> str:
    """A column's name for people, without unit."""
    known = _LABELS.get(name)
    if known:
        return known
    words = name[: -max(map(len, _endings(name)))] if _endings(name) else name
    return words.replace("_", " ").strip().capitalize() or name


def _endings(name: str) -> list[str]:
    return [ending for ending in UNIT_ENDINGS if name.lower().endswith(ending) and len(name) > len(ending)]


def unit_of(name: str) -> str:
    """The unit that a name ends with, blank where it names none. The longest ending counts."""
    endings = _endings(name)
    return UNIT_ENDINGS[max(endings, key=len)] if endings else ""


def label_with_unit(column: Column) -> str:
    """A column's name for people with its unit: "Wind speed (mph)"."""
    unit = "" if column.unit == "see unit" else column.unit or unit_of(column.name)
    return f"{label(column.name)} ({unit})" if unit else label(column.name)
