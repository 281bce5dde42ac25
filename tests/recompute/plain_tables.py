"""Numbers of the standards for the plain recomputation, typed anew: nothing is read from the tool's own tables.

Every block names document, edition and table. Where no printed copy was at hand the tag says so, as the project's
notes do: "transcription" = read in a public transcription, "from memory" = not read.
"""

from __future__ import annotations

import itertools

Curve = list[tuple[float, float]]

# --- ASCE 7-16 Figure 28.3-1, envelope procedure (transcription): GCpf by roof angle 5, 20, 30-45, 90 degrees ---
ANGLES = [5.0, 20.0, 30.0, 45.0, 90.0]
CASE_A: dict[str, list[float]] = {
    "1": [0.40, 0.53, 0.56, 0.56, 0.56],
    "2": [-0.69, -0.69, 0.21, 0.21, 0.56],
    "3": [-0.37, -0.48, -0.43, -0.43, -0.37],
    "4": [-0.29, -0.43, -0.37, -0.37, -0.37],
    "1E": [0.61, 0.80, 0.69, 0.69, 0.69],
    "2E": [-1.07, -1.07, 0.27, 0.27, 0.69],
    "3E": [-0.53, -0.69, -0.53, -0.53, -0.48],
    "4E": [-0.43, -0.64, -0.48, -0.48, -0.48],
}
CASE_B: dict[str, float] = {
    "1": -0.45,
    "2": -0.69,
    "3": -0.37,
    "4": -0.45,
    "5": 0.40,
    "6": -0.29,
    "1E": -0.48,
    "2E": -1.07,
    "3E": -0.53,
    "4E": -0.48,
    "5E": 0.61,
    "6E": -0.43,
}
GCPI_ENCLOSED = 0.18  # ASCE 7-16 Table 26.13-1
SOFFIT = 0.70  # ASCE 7-16 28.3.3 (from memory)
LEAST_WALL_PSF, LEAST_ROOF_PSF = 16.0, 8.0  # ASCE 7-16 28.3.4 (from memory)
LEAST_CLADDING_PSF = 16.0  # ASCE 7-16 30.2.2 (from memory)
GUST = 0.85  # ASCE 7-16 26.11.1
PORCH_SIDE_CN = 1.3  # project choice: 0.8 windward and 0.5 leeward on fascia and rise of an open porch
ROOF_LIVE_PSF = 20.0  # ASCE 7-16 Table 4.3-1

# --- ASCE 7-16 Figure 30.3-1, walls (transcription): GCp at 10 and 500 sq ft, linear in the logarithm of the area ---
WALL_GCP: dict[tuple[str, str], Curve] = {
    ("4", "suction"): [(10, -1.1), (500, -0.8)],
    ("5", "suction"): [(10, -1.4), (500, -0.8)],
    ("4", "pressure"): [(10, 1.0), (500, 0.7)],
    ("5", "pressure"): [(10, 1.0), (500, 0.7)],
}

# --- ASCE 7-16 Figures 30.3-2C, -2D, -2G, -2H/-2I, roofs steeper than 20 degrees (transcription of the graphs) ---
GABLE_20_27: dict[str, Curve] = {
    "1": [(20, -1.5), (300, -0.8)],
    "2e": [(20, -1.5), (300, -0.8)],
    "2n": [(10, -2.5), (150, -1.2)],
    "2r": [(10, -2.5), (150, -1.2)],
    "3e": [(10, -2.5), (150, -1.2)],
    "3r": [(4, -3.6), (10, -2.73), (50, -1.8)],
}
GABLE_20_27_OVERHANG: dict[str, Curve] = {
    "1": [(10, -2.0), (350, -1.8)],
    "2e": [(10, -2.0), (350, -1.8)],
    "2n": [(10, -3.0), (150, -2.2)],
    "2r": [(10, -3.0), (150, -2.2)],
    "3e": [(10, -3.6), (50, -2.4), (150, -1.7)],
    "3r": [(4, -4.7), (10, -3.6), (50, -2.4)],
}
GABLE_27_45: dict[str, Curve] = {
    "1": [(10, -1.8), (100, -0.8)],
    "2e": [(10, -1.8), (100, -0.8)],
    "2r": [(10, -1.8), (100, -0.8)],
    "2n": [(10, -2.0), (200, -1.0)],
    "3r": [(10, -2.0), (200, -1.0)],
    "3e": [(2, -3.2), (300, -1.0)],
}
GABLE_27_45_OVERHANG: dict[str, Curve] = {
    "1": [(10, -2.6), (100, -1.6)],
    "2e": [(10, -2.6), (100, -1.6)],
    "2r": [(10, -2.6), (100, -1.6)],
    "2n": [(10, -2.8), (50, -2.36), (200, -1.8)],
    "3r": [(10, -2.8), (50, -2.36), (200, -1.8)],
    "3e": [(2, -4.0), (300, -1.8)],
}
HIP_20_27: dict[str, Curve] = {
    "1": [(10, -1.4), (100, -0.8)],
    "2e": [(10, -2.0), (200, -1.0)],
    "2r": [(10, -2.0), (200, -1.0)],
    "3": [(10, -2.0), (200, -1.0)],
}
HIP_20_27_OVERHANG: dict[str, Curve] = {
    "1": [(7, -1.9), (100, -1.81)],
    "2e": [(7, -2.5), (200, -2.0)],
    "2r": [(7, -2.5), (200, -2.0)],
    "3": [(7, -3.1), (10, -2.8), (200, -1.5)],
}


def hip_27_45(zone: str, angle_deg: float) -> Curve:
    """Figure 30.3-2H/-2I: end values as equations in the roof angle (one transcription, unconfirmed)."""
    t = angle_deg
    return {
        "1": [(10, -0.6175 - 0.02 * t), (200, -0.095 - 0.0135 * t)],
        "2e": [(3, 0.2 - 0.067 * t), (50, -0.8)],
        "2r": [(7, 1.0 - 0.082 * t), (100, -1.0)],
        "3": [(5, 1.25 - 0.108 * t), (50, -1.0)],
    }[zone]


# --- ASCE 7-16 Figures 27.3-4 and 27.3-7, open monoslope roofs (from memory): the most upward CN over both flows, both
# load cases, both halves and all three wind directions, by roof angle; below 7.5 degrees the level roof ---
OPEN_ROOF_LEVEL = [-0.5, -1.2, -1.1, -0.1, -1.1, -0.6]  # the upward ones
OPEN_ROOF_ALONG = [-0.8, -1.2, -0.6, -0.9, -0.3, -0.6]  # wind along, to h, to 2h, beyond; clear and obstructed
OPEN_ROOF_CN: dict[float, list[float]] = {
    # each list: wind on the high edge, clear A (w, l), obstructed A (w, l), clear B (w, l), obstructed B (w, l);
    # then wind on the low edge, obstructed leeward A and B
    7.5: [-0.6, -1.0, -1.0, -1.5, -1.4, 0.0, -1.7, -0.8, -1.2, -0.3],
    15.0: [-0.9, -1.3, -1.1, -1.5, -1.9, 0.0, -2.1, -0.6, -1.1, -0.3],
    22.5: [-1.5, -1.6, -1.5, -1.7, -2.4, -0.3, -2.3, -0.9, -1.0, 0.0],
    30.0: [-1.8, -1.8, -1.5, -1.8, -2.5, -0.5, -2.3, -1.1, -1.0, 0.1],
}

# --- ASCE 7-16 2.4.1 and 2.4.5, allowable stress design: name, hazard, D, W, Eh, Ev, L, Lr, S ---
UPLIFT_COMBINATIONS = [
    ("0.6D + 0.6W", "wind", 0.6, 0.6, 0.0, 0.0, 0.0, 0.0, 0.0),
    ("0.6D - 0.7Ev + 0.7Eh", "seismic", 0.6, 0.0, 0.7, -0.7, 0.0, 0.0, 0.0),
]
COMPRESSION_COMBINATIONS = [
    ("D", "gravity", 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    ("D + L", "gravity", 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0),
    ("D + Lr", "gravity", 1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0),
    ("D + S", "gravity", 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0),
    ("D + 0.75L + 0.75Lr", "gravity", 1.0, 0.0, 0.0, 0.0, 0.75, 0.75, 0.0),
    ("D + 0.75L + 0.75S", "gravity", 1.0, 0.0, 0.0, 0.0, 0.75, 0.0, 0.75),
    ("D + 0.6W", "wind", 1.0, 0.6, 0.0, 0.0, 0.0, 0.0, 0.0),
    ("D + 0.75L + 0.75(0.6W) + 0.75Lr", "wind", 1.0, 0.45, 0.0, 0.0, 0.75, 0.75, 0.0),
    ("D + 0.75L + 0.75(0.6W) + 0.75S", "wind", 1.0, 0.45, 0.0, 0.0, 0.75, 0.0, 0.75),
    ("1.0D + 0.7Ev + 0.7Eh", "seismic", 1.0, 0.0, 0.7, 0.7, 0.0, 0.0, 0.0),
    ("1.0D + 0.525Ev + 0.525Eh + 0.75L + 0.75S", "seismic", 1.0, 0.0, 0.525, 0.525, 0.75, 0.0, 0.75),
]

# --- wind, Chapter 26 ---
# ASCE 7-16 Table 26.11-1: alpha, zg; Table 26.10-1 note: Kz = 2.01 (z/zg)^(2/alpha), z at least 15 ft
KZ = {"B": (7.0, 1200.0), "C": (9.5, 900.0), "D": (11.5, 700.0)}
KZ_LEAST_B_CHAPTER_28 = 0.70  # note of Table 26.10-1 (from memory)
KD = 0.85  # Table 26.6-1
KE_PER_FT = 0.0000362  # Table 26.9-1
# Figure 26.8-1: K1 over H/Lh by exposure, gamma, mu upwind, mu downwind
KZT = {
    "ridge": ({"B": 1.30, "C": 1.45, "D": 1.55}, 3.0, 1.5, 1.5),
    "escarpment": ({"B": 0.75, "C": 0.85, "D": 0.95}, 2.5, 1.5, 4.0),
    "hill": ({"B": 0.95, "C": 1.05, "D": 1.15}, 4.0, 1.5, 1.5),
}

# --- earthquake ---
FA_D: Curve = [(0.25, 1.6), (0.5, 1.4), (0.75, 1.2), (1.0, 1.1), (1.25, 1.0), (1.5, 1.0)]  # ASCE 7-16 Table 11.4-1
FV_D: Curve = [(0.1, 2.4), (0.2, 2.2), (0.3, 2.0), (0.4, 1.9), (0.5, 1.8), (0.6, 1.7)]  # ASCE 7-16 Table 11.4-2
SDC_BY_SDS = [(0.50, "D"), (0.33, "C"), (0.167, "B"), (0.0, "A")]  # ASCE 7-16 Table 11.6-1
SDC_BY_SD1 = [(0.20, "D"), (0.133, "C"), (0.067, "B"), (0.0, "A")]  # ASCE 7-16 Table 11.6-2
# IRC Table R301.2.2.1.1 (from memory): the category above each SDS
SDC_RESIDENTIAL = [(1.25, "E"), (0.83, "D2"), (0.67, "D1"), (0.50, "D0"), (0.33, "C"), (0.17, "B"), (-1.0, "A")]
R_WOOD_PANELS = 6.5  # ASCE 7-16 Table 12.2-1, A.15
CT, PERIOD_POWER = 0.02, 0.75  # ASCE 7-16 Table 12.8-2, all other systems
TL_S = 8.0  # long-period transition: of no account for a house

# --- wood: NDS 2018, from memory unless said ---
GRAVITY = {"DF-L": 0.50}  # Table 12.3.3A
FC_PERP_PSI = {"DF-L": 625.0}  # NDS Supplement 2018 Table 4A
LISTED_GROUP = {"DF-L": ""}  # listed loads are for DF-L and SP; the columns for lighter wood are not taken
LOAD_DURATION = 1.6  # Table 2.3.2, wind and earthquake
TOE_LATERAL, TOE_WITHDRAWAL, END_GRAIN = 0.83, 0.67, 0.67  # 12.5.4, 12.5.2
# Appendix L and Table I1: kind, diameter, length, root diameter, head, bending yield, ring length
FASTENERS: dict[str, tuple[str, float, float | None, float, float | None, float, float | None]] = {
    "8d common": ("nail", 0.131, 2.5, 0.131, 0.281, 100000.0, None),
    "10d common": ("nail", 0.148, 3.0, 0.148, 0.312, 90000.0, None),
    "16d common": ("nail", 0.162, 3.5, 0.162, 0.344, 90000.0, None),
    "8d box": ("nail", 0.113, 2.5, 0.113, 0.297, 100000.0, None),
    "RSRS-01": ("ring shank nail", 0.113, 2.375, 0.113, 0.281, 100000.0, 1.5),  # ASTM F1667
    "1/2 lag screw": ("lag screw", 0.5, None, 0.371, None, 45000.0, None),
}
SILL_CONCRETE_PSI, BOLT_YIELD_PSI = 7500.0, 45000.0  # Table 12E, Table I1
# SDPWS 2015 Table 4.3A, sheathing grade, 7/16 and 15/32 panels: (vs, vw) plf
SHEAR_WALL = {
    ("7/16", "8d", 6): (480.0, 670.0),
    ("7/16", "8d", 4): (700.0, 980.0),
    ("7/16", "8d", 3): (900.0, 1260.0),
    ("7/16", "8d", 2): (1170.0, 1640.0),
    ("15/32", "10d", 2): (1540.0, 2155.0),
}
# SDPWS 2015 Tables 4.2C (unblocked, not case 1) and 4.2A (blocked): panel, nail, boundary / edges -> (vs, vw) plf
DIAPHRAGM = {
    ("unblocked", "15/32", "8d", "6/6"): (360.0, 505.0),
    ("unblocked", "19/32", "10d", "6/6"): (430.0, 600.0),
    ("blocked", "15/32", "8d", "6/6"): (540.0, 755.0),
    ("blocked", "15/32", "8d", "4/6"): (720.0, 1010.0),
    ("blocked", "19/32", "10d", "6/6"): (640.0, 895.0),
}
TOE_NAIL_SEISMIC_PLF = 150.0  # SDPWS 2015 4.1.7, categories D to F
# steel: AISI S100-16 D2, D3; sheet ASTM A653 grade 33; 16 gauge least thickness; AISC 360-16 J3.6
SHEET_FY_PSI, SHEET_FU_PSI, SHEET_BEARING_PSI = 33000.0, 45000.0, 61850.0
SHEET_LEAST_IN = {"20": 0.0356, "18": 0.0466, "16": 0.0575}
ROD_FU_PSI = {"A307": 60000.0, "36": 58000.0}
PLATE_WASHER_IN, CUT_WASHER_IN = 3.0, {0.5: 1.375, 0.625: 1.75}  # SDPWS 2015 4.3.6.4.3; common flat washers


def on_curve(curve: Curve, x: float) -> float:
    """Straight between the points of a curve, level beyond its ends."""
    if x <= curve[0][0]:
        return curve[0][1]
    for (x0, y0), (x1, y1) in itertools.pairwise(curve):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return curve[-1][1]
