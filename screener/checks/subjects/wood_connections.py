"""Nails, screws, lag screws, bolts, bearing, withdrawal: NDS 2018; strap and rod steel: AISI S100-16, AISC 360-16."""

from __future__ import annotations

from collections.abc import Iterator

from screener.checks.published import Row, published
from screener.checks.rows import DERIVED, MEMORY, Check, Source, obtained_of
from screener.checks.single_values import single_values
from screener.standards import aisi_straps as aisi
from screener.standards import irc_fastening as irc
from screener.standards import nds_connections as nds

TITLE = "Wood connections and steel straps (NDS 2018, AISI S100-16)"

_NAILS = {"8d": "8d common", "10d": "10d common", "16d": "16d common", "20d": "20d common"}
_NAILS |= {"16dbox": "16d box", "10dbox": "10d box", "8dbox": "8d box"}


def gravity(code: str) -> float:
    """Specific gravity of a species code of the tables; G0.36 stands for itself."""
    return 0.36 if code == "G0.36" else nds.species(code).specific_gravity


def nail_z(name: str, side_in: float, code: str, side_bearing_psi: float | None = None) -> tuple[float, str]:
    """Lateral value and mode of a nail that goes in far enough, as the printed tables have it."""
    nail, g = nds.fastener(name), gravity(code)
    bearing = side_bearing_psi or float(nds.dowel_bearing_psi(g, nail.diameter_in))
    d, deep = nail.diameter_in, 20 * nail.diameter_in
    return nds.dowel_lateral_lb("nail", d, d, nail.bending_yield_psi, side_in, bearing, deep, g)


def bolt_z(diameter_in: float, sill_in: float, code: str, angle_deg: float) -> float:
    """An anchor bolt through a sill, 6 in. into concrete."""
    return float(nds.single_shear_lb(nds.sill_bolt_modes_lb(diameter_in, sill_in, gravity(code), angle_deg, 6.0)))


def checks() -> Iterator[Check]:
    """Printed cells, then whole tables computed elsewhere from the same equations, then single values."""
    for row in published("wood_check_cells.csv"):
        yield from _printed_cell(row)
    yield from _nails()
    yield from _withdrawal()
    yield from _screws()
    yield from _sill_bolts()
    yield from _species()
    yield from _group_action()
    yield from single_values("wood_single_values.csv", _ours())


def _printed_cell(row: Row) -> Iterator[Check]:
    """A printed cell within its rounding (2 percent), and the independent calculation that stands beside it."""
    obtained = obtained_of(row["ref_tag"])
    ours, table = check_cell(row["table"], row["cell"]), row["table"].replace("NDS ", "Table ")
    value = float(row["ref"])
    yield Check(
        Source("NDS", "2018", f"{table}, printed cells", obtained), row["cell"], value, ours, 0.02 * value, "lb"
    )
    calculated = float(row["calc"])
    beside = Source("NDS", "2018", f"{table}, independent calculation", DERIVED)
    yield Check(beside, row["cell"], calculated, ours, max(5e-4 * calculated, 0.01), "lb")


def check_cell(table: str, cell: str) -> float:
    """Our value for one cell as the check table words it."""
    words = cell.split()
    if table in ("NDS 12N", "AWC E2.2 nail"):
        name, side, code = words
        if side == "3/4":  # the booklet's example does not round Fe to 50 psi
            fe, terms = nds.small_dowel_bearing_psi(gravity(code)), nds.reduction_terms(0.148)
            return float(nds.single_shear_lb(nds.yield_modes_lb(0.148, 1.48, 0.75, fe, fe, 90e3, terms)))
        return nail_z(_NAILS[name], float(side), code)[0]
    if table == "NDS 12R (WSP)":
        return nail_z(_NAILS[words[0]], float(words[1]), words[2], 4650.0)[0]
    if table == "NDS 12.2C":
        return _w("nail", gravity(words[2]), nds.fastener(_NAILS[words[1]]).diameter_in)
    if table.startswith("Eng. handbook"):
        return _w("nail", 0.45, 0.203)
    if table == "AWC E2.3":
        return _w("lag screw", 0.55, 0.5) * 2.1875
    if table in ("NDS 12.2A", "NDS 12.2B"):
        kind = "lag screw" if table == "NDS 12.2A" else "wood screw"
        return _w(kind, gravity(words[-1]), float(words[-2]))
    if table == "NDS 12E":
        diameter, sill, code, direction = words
        return bolt_z(float(diameter), float(sill), code, 0.0 if direction == "par" else 90.0)
    raise ValueError(f"wood_check_cells.csv: table {table!r} is not known")


def _w(kind: str, g: float, diameter_in: float) -> float:
    return float(nds.withdrawal_lb_per_in(kind, g, diameter_in))


def _nails() -> Iterator[Check]:
    """Tables 12N (wood to wood), 12R (panels) and 12P (steel)."""
    wood = Source("NDS", "2018", "Table 12N, whole", DERIVED)
    for row in published("wood_nail_lateral_12N.csv"):
        z, mode = nail_z(row["nail"], float(row["ts"]), row["species"])
        nail, what = nds.fastener(row["nail"]), f"{row['nail']}, side {row['ts']} in., {row['species']}"
        yield Check(wood, what, float(row["Z_calc"]), z, 0.006, "lb")
        yield Check(wood, f"{what}: mode", row["mode"], mode)
        yield Check(wood, f"{row['nail']}: diameter", float(row["D"]), nail.diameter_in, unit="in")
        yield Check(wood, f"{row['nail']}: length", float(row["L"]), nail.length_in, unit="in")
        if row["Z_ref"]:
            printed = Source("NDS", "2018", "Table 12N, printed cells", obtained_of(row["ref_tag"]))
            yield Check(printed, what, float(row["Z_ref"]), z, 0.02 * float(row["Z_ref"]), "lb")
    side = Source("NDS", "2018", "Tables 12R and 12P, whole", DERIVED)
    for row in published("wood_nail_side_plate.csv"):
        z, mode = nail_z(row["nail"], float(row["ts"]), row["species"], float(row["Fes"]))
        what = f"{row['nail']}, {row['side']}, {row['species']}"
        yield Check(side, what, float(row["Z_calc"]), round(z, 1), 0.06, "lb")
        yield Check(side, f"{what}: mode", row["mode"], mode)
        wind = z * nds.factor("load_duration_wind_seismic")
        yield Check(side, f"{what}, CD 1.6", float(row["Z_CD1.6"]), wind, 0.6, "lb")


def _withdrawal() -> Iterator[Check]:
    kinds = {
        "nail smooth": "nail",
        "wood screw": "wood screw",
        "lag screw": "lag screw",
        "post-frame / roof ring shank": "ring shank nail",
    }
    source = Source("NDS", "2018", "Tables 12.2A to 12.2E, whole", DERIVED)
    for row in published("wood_withdrawal_12_2.csv"):
        ours = _w(kinds[row["type"]], float(row["G"]), float(row["D"]))
        yield Check(
            source, f"{row['type']} {row['size']}, {row['species']}", float(row["W_calc"]), ours, 0.006, "lb/in"
        )


def _screws() -> Iterator[Check]:
    source = Source("NDS", "2018", "Tables 12L and 12J, whole", DERIVED)
    for row in published("wood_screw_lag_lateral.csv"):
        size = nds.fastener(f"{row['size']} {row['type']}".replace("#", "No. "))
        angle, g = 90.0 if row["direction"] == "perp_both" else 0.0, gravity(row["species"])
        d, root, side = size.diameter_in, size.root_diameter_in, float(row["ts"])
        bearing = float(nds.dowel_bearing_psi(g, d, angle))
        z, mode = nds.dowel_lateral_lb(size.kind, d, root, size.bending_yield_psi, side, bearing, 10.0, g, angle)
        what = f"{row['type']} {row['size']}, side {row['ts']} in., {row['species']}, {row['direction']}"
        yield Check(source, what, float(row["Z_calc"]), z, 0.06, "lb")
        yield Check(source, f"{what}: mode", row["mode"], mode)
        yield Check(source, f"{row['type']} {row['size']}: D", float(row["D"]), d, unit="in")
        yield Check(source, f"{row['type']} {row['size']}: root", float(row["Dr"]), root, unit="in")


def _sill_bolts() -> Iterator[Check]:
    whole = Source("NDS", "2018", "Table 12E, whole", DERIVED)
    printed = Source("NDS", "2018", "Table 12E, printed cells", MEMORY)
    for row in published("wood_sill_bolt_12E.csv"):
        for angle, name in ((0.0, "Zpar"), (90.0, "Zperp")):
            z = bolt_z(float(row["D"]), float(row["sill_t"]), row["species"], angle)
            what = f"{row['D']} in. bolt, {row['sill_t']} in. sill, {row['species']}, {name}"
            yield Check(whole, what, float(row[f"{name}_calc"]), z, 0.06, "lb")
            yield Check(whole, f"{what}, CD 1.6", float(row[f"{name}_CD1.6"]), 1.6 * z, 0.6, "lb")
            if row[f"{name}_ref"]:  # printed to 10 lb
                value = float(row[f"{name}_ref"])
                yield Check(printed, what, value, z, 0.02 * value, "lb")


def _species() -> Iterator[Check]:
    remembered = Source("NDS and Supplement", "2018", "Tables 12.3.3A and 4A", MEMORY)
    derived = Source("NDS", "2018", "Table 12.3.3", DERIVED)
    for row in published("wood_species.csv"):
        wood = nds.species(row["code"])
        g = wood.specific_gravity
        yield Check(remembered, f"{row['code']}: G", float(row["G"]), g)
        yield Check(remembered, f"{row['code']}: Fc-perp", float(row["Fc_perp_memory"]), wood.fc_perp_psi, unit="psi")
        for column, diameter, angle in (
            ("Fe_D_lt_0.25", 0.131, 0.0),
            ("Fe_par_D_ge_0.25", 0.5, 0.0),
            ("Fe_perp_0.5in", 0.5, 90.0),
            ("Fe_perp_0.625in", 0.625, 90.0),
        ):
            ours = float(nds.dowel_bearing_psi(g, diameter, angle))
            yield Check(derived, f"{row['code']}: {column}", float(row[column]), ours, 1e-9, "psi")


def _group_action() -> Iterator[Check]:
    """Rows of 2 to 8 one-inch bolts 4 in. apart, wood or steel beside wood."""
    for row in published("wood_group_action.csv"):
        source = Source("NDS", "2018", f"Table {row['table']}", MEMORY)
        steel, area, ratio = row["table"].endswith("C"), float(row["area_sqin"]), float(row["area_ratio"])
        main = 1.4e6 * (area if steel else area / ratio)
        side = 30e6 * area / ratio if steel else 1.4e6 * area
        for n in range(2, 9):
            ours = float(nds.group_action_factor(n, 4.0, 1.0, main, side, steel))
            what = f"{n} bolts, area ratio {row['area_ratio']}, {row['area_sqin']} sq in."
            yield Check(source, what, float(row[f"c{n}"]), ours, 0.005)


def _ours() -> dict[str, float | str]:
    """What this tool says to each row of wood_single_values.csv."""
    nail = nds.fastener("16d common")
    fe16 = float(nds.dowel_bearing_psi(0.50, nail.diameter_in))
    short = ("nail", nail.diameter_in, nail.diameter_in, nail.bending_yield_psi, 1.5, fe16, 1.25, 0.50)
    by_modes = nds.yield_modes_lb(0.162, 1.25 - 2 * 0.162, 1.5, fe16, fe16, 90e3, nds.reduction_terms(0.162))
    fe55 = float(nds.small_dowel_bearing_psi(0.55))

    def screw(kd_diameter_in: float) -> float:
        kd = float(nds.small_dowel_reduction(kd_diameter_in))
        return float(nds.double_shear_lb(nds.yield_modes_lb(0.152, 3.0, 1.31, fe55, fe55, 80e3, (kd, kd, kd))))

    def toe(species: str) -> float:
        row = ("Older codes rafter to plate toe nail", "3-8d common", species, 1.6)
        return irc.prescriptive_capacity(*row).lateral_lb

    fy, fu = aisi.steel_strength_psi("33")
    straps = {g: aisi.strap_tension_lb(1.25, aisi.strap_thickness_in(g), 0.148, fy, fu) for g in ("20", "18", "16")}
    face = 1.5 * 3.5
    return {
        "8d withdrawal in SPF": 2.395 * _w("nail", 0.42, 0.131),
        "lag screw withdrawal in SP": 2.1875 * _w("lag screw", 0.55, 0.5),
        "10d nail single shear": nail_z("10d common", 0.75, "DFL")[0],
        "10d nail mode": nail_z("10d common", 0.75, "DFL")[1],
        "wood screw double shear as published": screw(0.152),
        "wood screw double shear with KD from the nominal diameter": screw(0.19),
        "16d through a subfloor": 1.6 * nds.dowel_lateral_lb(*short)[0],
        "16d through a subfloor by length": 1.6 * nds.dowel_lateral_lb(*short, rule="length")[0],
        "16d with lm = p - 2D": float(nds.single_shear_lb(by_modes)),
        "16d with lm = p - 2D mode": nds.governing_mode(by_modes),
        "16d in SPF": nail_z("16d common", 1.5, "SPF")[0],
        "10d in SPF": nail_z("10d common", 1.5, "SPF")[0],
        "1/2 in. bolt across an SP sill": bolt_z(0.5, 1.5, "SP", 90.0),
        "20d withdrawal at D 0.203": _w("nail", 0.45, 0.203),
        "20d withdrawal at D 0.192": _w("nail", 0.45, 0.192),
        "3-8d toe nails in SPF": toe("SPF"),
        "3-8d toe nails in DF-L": toe("DF-L"),
        "screw under combined load at 45 degrees": float(nds.screw_combined_lb(156.2, 71.4, 45)),
        "nail under combined load at 45 degrees": float(nds.nail_combined_lb(156.2, 71.4, 45)),
        "stud on a sill": float(nds.bearing_perpendicular_lb(425, face)),
        "stud on a sill with Cb": float(nds.bearing_perpendicular_lb(425, face, nds.bearing_area_factor(1.5))),
        "3 in. washer on SPF": float(nds.washer_bearing_lb(425, "plate", 0.625)),
        "3 in. washer on DF-L": float(nds.washer_bearing_lb(625, "plate", 0.625)),
        "head pull-through of 15/32": float(nds.head_pull_through_lb(0.281, 0.5, 0.46875)),
        "head pull-through of thick side": float(nds.head_pull_through_lb(0.281, 0.5, 1.5)),
        "bearing of sheet grade 33": aisi.sheet_bearing_psi("33"),
        "load duration wind and seismic": nds.factor("load_duration_wind_seismic"),
        **{f"strap {gauge} gauge": float(value) for gauge, value in straps.items()},
        "rod 5/8 in. Grade 36": float(aisi.rod_tension_lb(0.625, aisi.steel_strength_psi("36")[1])),
    }
