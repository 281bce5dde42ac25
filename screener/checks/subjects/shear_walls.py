"""Sheathed walls and diaphragms: SDPWS 2008, 2015, 2021."""

from __future__ import annotations

from collections.abc import Iterator

from screener.checks.published import published
from screener.checks.rows import DERIVED, MEMORY, READ, Check, Source
from screener.checks.single_values import single_values
from screener.standards import irc_fastening as irc
from screener.standards import nds_connections as nds
from screener.standards import sdpws_shear_walls as sdpws

TITLE = "Shear walls and diaphragms (SDPWS)"

_HEIGHTS = {"h/3": 1 / 3, "h/2": 1 / 2, "2h/3": 2 / 3, "5h/6": 5 / 6, "h": 1.0}


def checks() -> Iterator[Check]:
    """Tables 4.3A, 4.2, 4.3C, 4.4.1, 4.3.3.5 and worked walls."""
    yield from _wood_panels()
    yield from _diaphragms()
    yield from _gypsum()
    yield from _uplift()
    yield from _perforated()
    yield from single_values("shear_wall_values.csv", _ours())


def _wood_panels() -> Iterator[Check]:
    for row in published("wood_sdpws_43A.csv"):
        key = (row["grade"], row["thickness"], row["nail"], float(row["edge_spacing_in"]))
        words = f"{row['grade']} {row['thickness']}, {row['nail']} at {row['edge_spacing_in']} in."
        for edition, hazard, nominal, allowable in (
            ("2015", "seismic", "vs_2015", "ASD_seis_2015"),
            ("2015", "wind", "vw_2015", "ASD_wind_2015"),
            ("2021", "seismic", "vn_2021", "ASD_seis_2021"),
            ("2021", "wind", "vn_2021", "ASD_wind_2021"),
        ):
            source = Source("SDPWS", edition, "Table 4.3A", READ if edition == "2015" else DERIVED)
            v = sdpws.shear_wall_nominal_plf(*key, edition, hazard)
            yield Check(source, f"{words}, {hazard}", float(row[nominal]), v, unit="plf")
            ours = float(sdpws.allowable_unit_shear_plf(v, edition, hazard))
            yield Check(source, f"{words}, {hazard}, allowable", float(row[allowable]), ours, 0.06, "plf")


def _diaphragms() -> Iterator[Check]:
    for row in published("wood_sdpws_diaphragm.csv"):
        kind, case = row["type"].split()[0].lower(), "1" if "case 1" in row["type"] else "other"
        key = (kind, case, row["thickness"], row["nail"], float(row["framing_nominal_in"]), row["nail_spacing"])
        what = (
            f"{row['type']} {row['thickness']}, {row['nail']}, {row['framing_nominal_in']} in., {row['nail_spacing']}"
        )
        for edition, hazard, column in (
            ("2015", "seismic", "vs_nominal_2015"),
            ("2015", "wind", "vw_nominal_2015_or_vn_2021"),
            ("2021", "seismic", "vw_nominal_2015_or_vn_2021"),
            ("2021", "wind", "vw_nominal_2015_or_vn_2021"),
        ):
            source = Source("SDPWS", edition, "Tables 4.2A and 4.2C", DERIVED)
            ours = sdpws.diaphragm_nominal_plf(*key, edition, hazard)
            yield Check(source, f"{what}, {hazard}", float(row[column]), ours, unit="plf")
        asd = sdpws.allowable_unit_shear_plf(sdpws.diaphragm_nominal_plf(*key, "2015", "seismic"), "2015", "seismic")
        source = Source("building code diaphragm table", "before 2015", "allowable stress values", MEMORY)
        yield Check(source, what, float(row["ASD_seismic"]), float(asd), unit="plf")


def _gypsum() -> Iterator[Check]:
    for row in published("wood_sdpws_gypsum.csv"):
        key = (row["material"], float(row["fastener_spacing_in"]), row["blocking"], float(row["stud_spacing_in"]))
        what = f"{row['material']} at {row['fastener_spacing_in']} in., {row['blocking']}, "
        what += f"studs {row['stud_spacing_in']} in."
        for edition, hazard, column in (
            ("2015", "wind", "ASD_2015"),
            ("2015", "seismic", "ASD_2015"),
            ("2021", "seismic", "ASD_seis_2021"),
            ("2021", "wind", "ASD_wind_2021"),
        ):
            source = Source("SDPWS", edition, "Table 4.3C", MEMORY)
            v = sdpws.gypsum_nominal_plf(*key, edition, hazard)
            yield Check(source, f"{what}, {hazard}", float(row["v_nominal"]), v, unit="plf")
            ours = float(sdpws.allowable_unit_shear_plf(v, edition, hazard))
            yield Check(source, f"{what}, {hazard}, allowable", float(row[column]), ours, 0.06, "plf")


def _uplift() -> Iterator[Check]:
    """Nails at the plate beyond those that shear needs."""
    source, g = Source("SDPWS", "2015", "Table 4.4.1", DERIVED), nds.species("SPF").specific_gravity
    for row in published("wood_sdpws_uplift_shear.csv"):
        size, thickness = row["panel_nail"].rsplit(" ", 1)
        nail, side = nds.fastener(size), {"7/16": 0.4375, "15/32": 0.46875}[thickness]
        d = nail.diameter_in
        z, _ = nds.dowel_lateral_lb("nail", d, d, nail.bending_yield_psi, side, 4650.0, 2.0, g)
        extra = float(row["rows_of_nails"]) * 12 / float(row["plate_edge_spacing"])
        extra -= 12 / float(row["shear_edge_spacing"])
        nominal = float(sdpws.sheathing_uplift_nominal_plf(z, extra))
        what = f"{row['panel_nail']}, {row['shear_edge_spacing']} in., "
        what += f"{row['rows_of_nails']} rows at {row['plate_edge_spacing']} in."
        value, allowable = float(row["nominal_uplift_plf"]), float(row["ASD_uplift_plf"])
        yield Check(source, what, value, nominal, max(0.005 * value, 0.6), "plf")
        yield Check(source, f"{what}, allowable", allowable, nominal / 2.0, max(0.006 * allowable, 0.6), "plf")


def _perforated() -> Iterator[Check]:
    table = Source("SDPWS", "2015", "Table 4.3.3.5", MEMORY)
    equation = Source("SDPWS", "2015", "Eq. 4.3-5", DERIVED)
    for row in published("wood_perforated_Co.csv"):
        b, a = float(row["B_full_height"]), _HEIGHTS[row["max_opening_height"]]
        ours = float(sdpws.perforated_co_by_opening_height(b, a))
        what = f"full height {b:g}, openings {row['max_opening_height']}"
        yield Check(table, what, float(row["Co_table"]), ours, 0.00501)
        if row["Co_calc"]:
            yield Check(equation, what, float(row["Co_calc"]), ours, 6e-5)
            # openings of height a h over the rest of a wall of length 1 and height 1
            r = sdpws.perforated_ratio((1 - b) * a, 1.0, b)
            co = float(sdpws.perforated_co(r, 1.0, b, "2015"))
            yield Check(equation, f"{what}, by areas", float(row["Co_calc"]), min(1.0, co), 6e-5)


def _ours() -> dict[str, float | str]:
    """What this tool says to each row of shear_wall_values.csv."""
    r = sdpws.perforated_ratio(50.0, 8.0, 10.0)
    co = sdpws.perforated_co(r, 20.0, 10.0, "2015")

    def framing(species: str) -> float:
        return float(sdpws.specific_gravity_factor(nds.species(species).specific_gravity))

    return {
        "perforated ratio r": float(r),
        "perforated factor Co": float(co),
        "perforated greatest unit shear": float(sdpws.perforated_unit_shear_plf(2000, co, 10)),
        "perforated chord force": float(sdpws.perforated_chord_lb(2000, 8, co, 10)),
        "segment tension without dead load": float(sdpws.segment_tension_lb(1000, 8, 4)),
        "segment tension with 0.6 D": float(sdpws.segment_tension_lb(1000, 8, 4, 100)),
        "segment tension with a shorter arm": float(sdpws.segment_tension_lb(1000, 8, 4, 100, 0.6, 3.625)),
        "2b/h at 3.5:1": float(sdpws.strength_share_factor(8.75, 2.5)),
        "1.25 - 0.125 h/b at 3.5:1": float(sdpws.aspect_strength_factor(8.75, 2.5)),
        "2b/h at 2:1": float(sdpws.strength_share_factor(8, 4)),
        "gypsum aspect limit": sdpws.aspect_ratio_limit("gypsum"),
        "wood panel aspect limit": sdpws.aspect_ratio_limit("wood structural panel blocked"),
        "factor for HF framing": framing("HF"),
        "factor for SPF framing": framing("SPF"),
        "factor for SP framing": framing("SP"),
        "10d with inside hold-downs by 2021": sdpws.inside_hold_down_factor("10d", "2021", True),
        "10d with inside hold-downs by 2015": sdpws.inside_hold_down_factor("10d", "2015", True),
        "toe-nail limit in D to F": sdpws.toe_nail_seismic_limit_plf(),
        "unblocked 6/12 on studs at 16 in.": sdpws.unblocked_factor(6, 12, 16),
        "uplift limit of 3/8 panels": sdpws.sheathing_uplift_limit_plf("3/8"),
        "anchor spacing": irc.anchor_spacing_most_in("D0", 1),
        "anchor spacing of three storeys in D1": irc.anchor_spacing_most_in("D1", 3),
    }
