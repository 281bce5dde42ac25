"""What sheathing and its nails hold: shear walls and diaphragms by SDPWS, panels that tie plates down."""

from __future__ import annotations

from hazard.table_cells import size_in
from screener.capacity_case import Case, Piece
from screener.capacity_dowels import dowel_of, lateral_lb, tell_lateral
from screener.hardware import HardwareRow
from screener.sheathing_limits import PERFORATED_NOMINAL_MOST_PLF
from screener.standards import sdpws_shear_walls as sdpws

PANEL_BEARING_PSI = 4650.0  # NDS 2018 Table 12R: wood structural panels, G 0.50


def wall_sheathing_piece(case: Case) -> Piece:
    """Unit shear that a sheathed wall may carry: SDPWS Table 4.3A or 4.3C, species, faces, blocking."""
    row, context = case.row, case.context
    thickness, edge = row.text("panel_thickness_in"), row.number("edge_spacing_in")
    blocking = row.text("blocking", "blocked")
    stud = case.fact("stud_spacing_in", 16.0)
    if row.text("panel_grade", "Sheathing") == "Gypsum":
        material = {"1/2": "1/2 GWB 5d cooler", "5/8": "5/8 GWB 6d cooler"}.get(thickness, thickness)
        nominal = sdpws.gypsum_nominal_plf(material, edge, blocking, stud, context.sdpws_edition, case.hazard)
        factor, table = 1.0, "4.3C"
    else:
        nominal = panel_nominal_plf(case, thickness, edge)
        factor, table = float(sdpws.specific_gravity_factor(case.wood.specific_gravity)), "4.3A"
        if blocking == "unblocked":
            factor *= sdpws.unblocked_factor(edge, row.number("field_spacing_in", 12.0), stud)
        inside = bool(case.facts.get("hold_down_inside", False))
        factor *= sdpws.inside_hold_down_factor(panel_nail(row), context.sdpws_edition, inside)
    faces = row.number("faces", 1.0)
    if case.facts.get("perforated", False):
        nominal = min(nominal, PERFORATED_NOMINAL_MOST_PLF[case.hazard] / faces)
    by = (context.sdpws_edition, case.hazard, context.method)
    held = float(sdpws.design_unit_shear_plf(nominal, *by)) * factor * faces
    most = PERFORATED_NOMINAL_MOST_PLF[case.hazard]
    case.note(
        "unit shear of the sheathed wall",
        f"nominal {sdpws.method_symbol(context.method)} x factors (species, blocking, hold-down) x faces",
        {
            "nominal_plf": nominal,
            **sdpws.method_values(*by),
            "factors": factor,
            "faces": faces,
            "panel_in": thickness,
            "edge_in": edge,
            "G": case.wood.specific_gravity,
        },
        held,
        "plf",
        f"SDPWS {context.sdpws_edition} Table {table}",
        f"perforated wall: nominal not more than {most:g} plf" if case.facts.get("perforated", False) else "",
    )
    step = (
        f"parallel: nominal {nominal:g} plf {sdpws.method_words(*by)} x "
        f"{factor:.3f} (species, blocking) x {faces:g} faces; SDPWS {context.sdpws_edition} Table {table}"
    )
    return Piece({"parallel": held}, [], [step])


def panel_nail(row: HardwareRow) -> str:
    """The nail as Table 4.3A names it: `8d` for an 8d common nail."""
    return row.text("fastener").removesuffix(" common")


def panel_nominal_plf(case: Case, thickness: str, edge: float) -> float:
    """Nominal unit shear of one face of a wood panel wall, at 16 in. studs or less where it is raised."""
    row = case.row
    raised = row.flag("raise_to_15_32") and case.fact("stud_spacing_in", 16.0) <= 16.0
    return sdpws.shear_wall_nominal_plf(
        row.text("panel_grade", "Sheathing"),
        thickness,
        panel_nail(row),
        edge,
        case.context.sdpws_edition,
        case.hazard,
        raised,
    )


def diaphragm_piece(case: Case) -> Piece:
    """Unit shear that a roof or floor diaphragm may carry: SDPWS Tables 4.2A and 4.2C with the species factor."""
    row, context = case.row, case.context
    edge = row.number("edge_spacing_in")
    blocking, layout = row.text("blocking", "unblocked"), row.text("diaphragm_case", "other")
    nominal = sdpws.diaphragm_nominal_plf(
        blocking,
        layout,
        row.text("panel_thickness_in"),
        panel_nail(row),
        row.number("framing_nominal_in", 2.0),
        f"{row.number('boundary_spacing_in', edge):g}/{edge:g}",
        context.sdpws_edition,
        case.hazard,
    )
    factor = float(sdpws.specific_gravity_factor(case.wood.specific_gravity))
    by = (context.sdpws_edition, case.hazard, context.method)
    held = float(sdpws.design_unit_shear_plf(nominal, *by)) * factor
    case.note(
        "unit shear of the diaphragm",
        f"nominal {sdpws.method_symbol(context.method)} x species factor",
        {
            "nominal_plf": nominal,
            **sdpws.method_values(*by),
            "factor": factor,
            "blocking": blocking,
            "edge_in": edge,
            "G": case.wood.specific_gravity,
        },
        held,
        "plf",
        f"SDPWS {context.sdpws_edition} Table {'4.2A' if blocking == 'blocked' else '4.2C'}",
    )
    step = (
        f"parallel: nominal {nominal:g} plf {sdpws.method_words(*by)} x "
        f"{factor:.3f} (species); SDPWS {context.sdpws_edition} Table {'4.2A' if blocking == 'blocked' else '4.2C'}"
    )
    return Piece({"parallel": held}, [], [step])


def sheathing_tie_piece(case: Case) -> Piece:
    """Uplift by plate nails beyond those for shear, for one stud: SDPWS 2015 4.4.1."""
    row, context = case.row, case.context
    dowel, thickness = dowel_of(row), row.text("panel_thickness_in")
    panel = size_in(thickness)
    z, _ = lateral_lb(dowel, panel, PANEL_BEARING_PSI, dowel.length_in - panel, case.wood.specific_gravity)
    extra = row.number("extra_nails_per_ft")
    nominal = min(float(sdpws.sheathing_uplift_nominal_plf(z, extra)), sdpws.sheathing_uplift_limit_plf(thickness))
    plf = float(sdpws.sheathing_uplift_design_plf(nominal, context.sdpws_edition, case.hazard, context.method))
    width_ft = 1.0 if case.family.measure == "per_ft" else case.fact("stud_spacing_in") / 12.0
    tell_lateral(case, dowel, panel, PANEL_BEARING_PSI, dowel.length_in - panel, 0.0)
    by = (context.sdpws_edition, case.hazard, context.method)
    case.note(
        "uplift through the sheathing",
        f"lesser of 3.2 Z x extra nails a foot and the panel's limit, {sdpws.method_symbol(context.method)}, x width",
        {
            "Z_lb": z,
            "nails_per_ft": extra,
            "limit_plf": sdpws.sheathing_uplift_limit_plf(thickness),
            **sdpws.uplift_values(*by),
            "width_ft": width_ft,
        },
        plf * width_ft,
        "lb",
        f"SDPWS {context.sdpws_edition} 4.4.1",
    )
    share = f"x {plf / nominal:g} " if context.method == "LRFD" and nominal > 0 else ""
    step = (
        f"uplift: {extra:g} extra nails a foot x 3.2 Z ({z:.1f} lb) nominal {share}over {width_ft:.2f} ft; SDPWS 4.4.1"
    )
    return Piece({"uplift": plf * width_ft}, [], [step])
