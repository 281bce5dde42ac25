"""The hand calculation of the house "abacus" as plain arithmetic: numbers in, numbers out, nothing from the tool.

Read beside calculation.md, whose section numbers stand at the steps. Two lots: "wind" (strong wind, hardly any shaking)
and "quake" (strong shaking, hardly any wind; the standard's least wind loads remain). Allowable stress design,
ASCE 7-16. Pounds, feet, psf, plf. Net wind pressure is positive outward (roof, uplift); dead load enters with a minus.
"""

from __future__ import annotations

from math import atan, degrees, log10

Expected = dict[tuple[str, str, str], float]

# --- 0 Hazards and weights -------------------------------------------------------------------------------------------
Q, QC, GCPI = 32.0, 30.0, 0.18  # lot "wind": Chapter 28 and Chapter 27/30 velocity pressures, internal coefficient
SDS, SD1, S1, RHO = 1.2, 0.7, 0.45, 1.3  # lot "quake"
SNOW = 25.0  # flat roof snow on both lots; 30 psf or less: none in the seismic weight
W_, D_ = 0.6, 0.6  # 0.6D + 0.6W
E_ = 0.7  # 0.6D - 0.7Ev + 0.7Eh
DQ = 0.6 - 0.14 * SDS  # dead load factor in that combination: 0.7 x 0.2 SDS = 0.14 SDS
ROOF, EXT, INT, FLOOR = 12.0, 9.0, 6.0, 8.0  # least weights, psf
ROOF_G, EXT_G, INT_G, FLOOR_G = 15.0, 11.0, 8.0, 10.0  # greatest weights, psf


def share(x: float, lo: float, hi: float) -> tuple[float, float]:
    """Lever: what a unit load at x gives to supports at lo and hi."""
    return (hi - x) / (hi - lo), (x - lo) / (hi - lo)


# --- 1 End zone and pressure coefficients ----------------------------------------------------------------------------
# mean roof height: main 1 + 9 + 1 + 8 + heel 0.5 + half the rise 14 x 5/12 (over 10 deg)
H_MEAN = 1 + 9 + 1 + 8 + 0.5 + 14 * 5 / 12 / 2
A = max(min(0.1 * 28, 0.4 * H_MEAN), max(0.04 * 28, 3.0))
assert A == 3.0
TWO_A = 2 * A
TM, TW = 5 / 12, 4 / 12  # slopes: main, wing
F_M = (degrees(atan(TM)) - 20) / 10  # 22.62 deg: between the columns 20 and 30 deg of Figure 28.3-1
F_W = (degrees(atan(TW)) - 5) / 15  # 18.43 deg: between 5 and 20 deg
# main, case A (wind across the ridge): windward wall, windward slope, leeward slope, leeward wall; E: end zone
M1, M1E = 0.53 + F_M * (0.56 - 0.53), 0.80 + F_M * (0.69 - 0.80)
M2, M2E = -0.69 + F_M * (0.21 + 0.69), -1.07 + F_M * (0.27 + 1.07)
M3, M3E = -0.48 + F_M * (-0.43 + 0.48), -0.69 + F_M * (-0.53 + 0.69)
M4, M4E = -0.43 + F_M * (-0.37 + 0.43), -0.64 + F_M * (-0.48 + 0.64)
# wing, case A
W1, W1E = 0.40 + F_W * (0.53 - 0.40), 0.61 + F_W * (0.80 - 0.61)
W2, W2E = -0.69, -1.07
W3, W3E = -0.37 + F_W * (-0.48 + 0.37), -0.53 + F_W * (-0.69 + 0.53)
W4, W4E = -0.29 + F_W * (-0.43 + 0.29), -0.43 + F_W * (-0.64 + 0.43)
# case B (wind along the ridge), any slope
B1, B2, B3, B5, B6 = -0.45, -0.69, -0.37, 0.40, -0.29
B1E, B2E, B3E, B5E, B6E = -0.48, -1.07, -0.53, 0.61, -0.43
SOFFIT = 0.70


def out(gcpf: float) -> float:
    """Net outward pressure with the house blown up inside."""
    return Q * (-gcpf + GCPI)


def over(gcpf: float) -> float:
    """Windward overhang: suction above and the soffit's push below, no inside pressure.

    Also the eave at the reference corner's side with the wind along the ridge: case B stands for quartering winds too.
    """
    return Q * (-gcpf + SOFFIT)


# --- 2 Wing trusses: bearings at 0, 16, 28 ft, ridge at 14 ft, overhangs 1.5 ft --------------------------------------
def wing_truss(o_lo: float, p_lo: float, p_hi: float, o_hi: float, heel: float = 0.25) -> tuple[float, float, float]:
    """Uplift per foot of ridge at the three bearings for outward pressures on the four stretches."""
    # span 0-16: overhang, 14 ft of low slope (middle at 7), 2 ft of high slope (middle at 15)
    low = o_lo * 1.5 * (16 + 0.75) / 16 + p_lo * 14 * (16 - 7) / 16 + p_hi * 2 * (16 - 15) / 16
    mid = -o_lo * 1.5 * 0.75 / 16 + p_lo * 14 * 7 / 16 + p_hi * 2 * 15 / 16
    # span 16-28: 12 ft of high slope, overhang beyond
    mid += p_hi * 12 * 6 / 12 - o_hi * 1.5 * 0.75 / 12
    high = p_hi * 12 * 6 / 12 + o_hi * 1.5 * (12 + 0.75) / 12
    # horizontal parts, pressure x slope, at their mean height above the plate: a couple on the outer bearings
    z_slope, z_over = heel + TW * 7, heel - TW * 0.75
    couple = TW * ((p_hi - p_lo) * 14 * z_slope + (o_hi - o_lo) * 1.5 * z_over) / 28
    return low + couple, mid, high - couple


def wing_dead(psf: float) -> tuple[float, float, float]:
    """Dead load per foot of ridge at the bearings: no horizontal part."""
    low = psf * (1.5 * 16.75 / 16 + 14 * 9 / 16 + 2 * 1 / 16)
    mid = psf * (-1.5 * 0.75 / 16 + 14 * 7 / 16 + 2 * 15 / 16 + 6 - 1.5 * 0.75 / 12)
    high = psf * (6 + 1.5 * 12.75 / 12)
    return low, mid, high


def windward_low(p2: float, p3: float) -> tuple[float, float, float]:
    return wing_truss(over(p2), out(p2), out(p3), out(p3))


def windward_high(p2: float, p3: float) -> tuple[float, float, float]:
    return wing_truss(out(p3), out(p3), out(p2), over(p2))


def along_low(p2: float, p3: float) -> tuple[float, float, float]:
    return wing_truss(over(p2), out(p2), out(p3), out(p3))


def along_high(p2: float, p3: float) -> tuple[float, float, float]:
    return wing_truss(out(p3), out(p3), out(p2), over(p2))


# the four winds that can govern a truss, end zone and elsewhere: across either way (A), along with either corner (B)
WING_E = [windward_low(W2E, W3E), windward_high(W2E, W3E), along_low(B2E, B3E), along_high(B2E, B3E)]
WING_I = [windward_low(W2, W3), windward_high(W2, W3), along_low(B2, B3), along_high(B2, B3)]
WING_D = wing_dead(ROOF)
assert abs(sum(WING_D) - ROOF * 31) < 1e-9


def net(states: list[tuple[float, float, float]], bearing: int) -> list[float]:
    """0.6W - 0.6D per foot in each of the four winds."""
    return [W_ * s[bearing] - D_ * WING_D[bearing] for s in states]


FRONT_E, FRONT_I = net(WING_E, 0), net(WING_I, 0)
MIDDLE_E, MIDDLE_I = net(WING_E, 1), net(WING_I, 1)
REAR_E, REAR_I = net(WING_E, 2), net(WING_I, 2)

# --- 3 Girder over the garage door, 36.5 to 53.5: hung trusses at 38, 40, ... 52 -------------------------------------
HANGER = 2 * max(FRONT_E)
# end zone trusses (strip touches 36-42 or 50-56): 38, 40, 42 with the low corner, 50, 52 with the high one
GIRDER_CASES = []
for k in range(4):
    e, i = 2 * FRONT_E[k], 2 * FRONT_I[k]
    low_corner = [e, e, e, i, i, i, i, i]
    high_corner = [i, i, i, i, i, i, e, e]
    for loads in (low_corner, high_corner):
        at_low = sum(u * (53.5 - x) / 17 for u, x in zip(loads, range(38, 53, 2), strict=True))
        at_high = sum(u * (x - 36.5) / 17 for u, x in zip(loads, range(38, 53, 2), strict=True))
        GIRDER_CASES.append(max(at_low, at_high))
GIRDER = max(GIRDER_CASES)


# --- 4 Hip roof: commons from 9 to 27 ft, hip girders at 8 and 28 ft, span 28, overhang 1.5 --------------------------
def main_truss(o_lo: float, p_lo: float, p_hi: float, o_hi: float) -> tuple[float, float]:
    """Uplift per foot of ridge of the common trusses at front and rear."""
    low = o_lo * 1.5 * 28.75 / 28 + p_lo * 14 * 21 / 28 + p_hi * 14 * 7 / 28 - o_hi * 1.5 * 0.75 / 28
    total = o_lo * 1.5 + p_lo * 14 + p_hi * 14 + o_hi * 1.5
    couple = TM * ((p_hi - p_lo) * 14 * (0.5 + TM * 7) + (o_hi - o_lo) * 1.5 * (0.5 - TM * 0.75)) / 28
    return low + couple, total - low - couple


# no common truss touches an end zone (0-6, 30-36): the first stands at 10
MAIN_A_FRONT = main_truss(over(M2), out(M2), out(M3), out(M3))  # wind on the front
MAIN_A_REAR = main_truss(out(M3), out(M3), out(M2), over(M2))  # wind on the rear
MAIN_B_LOW = main_truss(over(B2), out(B2), out(B3), out(B3))  # wind along, zone 2 on the front slope
MAIN_B_HIGH = main_truss(out(B3), out(B3), out(B2), over(B2))
# half a bay at the hip girder: end-zone values when the end zone is at its end (convention, safe side)
HALF_A_E = main_truss(over(M2E), out(M2E), out(M3E), out(M3E))
HALF_B_E = main_truss(over(B2E), out(B2E), out(B3E), out(B3E))
MAIN_D = ROOF * 15.5  # half of 31 ft of plan
MAIN_FRONT = max(W_ * s[0] - D_ * MAIN_D for s in (MAIN_A_FRONT, MAIN_A_REAR, MAIN_B_LOW, MAIN_B_HIGH))


def jack(p: float, o: float) -> tuple[float, float]:
    """Uplift per foot of end wall at the wall and at the hip girder: span 8 ft, overhang 1.5 ft, corners shared out."""
    widen = (28 + 2 * 1.5) / 28
    wall = (p * 8 / 2 + o * 1.5 * (8 + 0.75) / 8) * widen
    girder = (p * 8 / 2 - o * 1.5 * 0.75 / 8) * widen
    return wall, girder


JACK_D = jack(ROOF, ROOF)
JACK_WINDWARD = jack(out(B2E), over(B2E))  # wind along the ridge on to this end
JACK_END_ZONE = jack(out(B2E), out(B2E))  # wind across the ridge, reference corner at this end
JACK_PLAIN = jack(out(B2), out(B2))  # everything else
JACK_TIE = 2 * (W_ * JACK_WINDWARD[0] - D_ * JACK_D[0])
# hip girder at each bearing wall: half the jacks over 28 ft, and one foot (half a bay) of common truss
HIP_WINDWARD = JACK_WINDWARD[1] * 14 + HALF_B_E[0]  # wind along the ridge on to this end, zone 2 on the front slope
HIP_ACROSS = JACK_END_ZONE[1] * 14 + HALF_A_E[0]
HIP_ACROSS_FAR = JACK_PLAIN[1] * 14 + MAIN_A_FRONT[0]
HIP_FAR = JACK_PLAIN[1] * 14 + MAIN_B_LOW[0]  # wind along the ridge on to the other end
HIP_D = JACK_D[1] * 14 + MAIN_D
HIP_GIRDER = W_ * max(HIP_WINDWARD, HIP_ACROSS) - D_ * HIP_D
# nothing lost: all the roof's weight arrives
assert abs(2 * (JACK_D[0] * 28 + 2 * HIP_D) + 18 * 2 * MAIN_D - ROOF * 39 * 31) < 1e-9

# --- 5 Gable end of the wing: half a bay and the rake overhang, 1 + 1 ft of roof -------------------------------------
GABLE_RIGHT = W_ * (out(B2E) * 1 + over(B2E) * 1) - D_ * ROOF * 2


# --- 6 Pressures on walls --------------------------------------------------------------------------------------------
def wall_gcp(zone5: bool, area: float) -> float:
    """Suction of zones 4 and 5, from 10 to 500 sq ft, linear in the logarithm of the area."""
    at_10 = 1.4 if zone5 else 1.1
    return at_10 - (at_10 - 0.8) * log10(area / 10) / log10(50)


def wall_push(zone5: bool, area: float) -> float:
    """0.6W out of plane, psf: suction with inside pressure is larger than the push in."""
    return W_ * QC * (wall_gcp(zone5, area) + GCPI)


STUD = 16 / 12
# a stud's effective area is at least height x height / 3
STUD_PUSH_1_END, STUD_PUSH_1_IN = wall_push(True, 9 * 3) * STUD * 4.5, wall_push(False, 9 * 3) * STUD * 4.5
STUD_PUSH_2_END, STUD_PUSH_2_IN = wall_push(True, 8 * 8 / 3) * STUD * 4, wall_push(False, 8 * 8 / 3) * STUD * 4
HEADER_PUSH_1 = wall_push(False, 9 * 3) * 3 * 4.5  # 6 ft window of storey 1, zone 4, half its width
GABLE_PUSH = wall_push(True, 9 * 3) * 4.5  # per foot of gable wall
# sills: a height square of wall acts, per foot; local pressure with the wind across the wall, and with the wind along
# it (which brings the shear) the main system's suction on a side wall, case B zone 1E
SILL_PUSH_1 = wall_push(True, 9 * 9) * 4.5
SILL_SUCTION_1 = W_ * out(B1E) * 4.5
PLATE_PUSH_2, PLATE_SUCTION_2 = wall_push(True, 8 * 8) * 4, W_ * out(B1E) * 4
# ties: main system; windward wall with the inside at suction, leeward wall or side wall with the inside at pressure
TIE_PUSH_WING_E = W_ * Q * max(W1E + GCPI, -W4E + GCPI, -B1E + GCPI) * 2 * 9 / 2
TIE_PUSH_MAIN = W_ * Q * max(M1 + GCPI, -M4 + GCPI, -B1 + GCPI) * 2 * 8 / 2
# a hip end shows a slope to every wind: case A there too; end zone at the windward end, or at the reference corner
TIE_PUSH_JACK = W_ * Q * max(M1E + GCPI, -M4 + GCPI, -B1E + GCPI) * 2 * 8 / 2

# --- 7 Storey 2: what arrives at the front wall's openings and foot --------------------------------------------------
HEAD_2 = EXT * (8 - 7) * 6 / 2  # wall above the head of a 6 ft window of storey 2, half to each end
WEIGHT_2 = EXT * 8  # plf of storey 2 wall


def front2_top(common: float, low_girder: float, high_girder: float) -> tuple[float, float, float, float, float]:
    """Opening ends 6, 12, 22, 28 under commons 9-27 and the girder at 8; and 28 with the girder that stands on it."""
    at_6 = low_girder * share(8, 6, 12)[0] + common * 3 * share(10.5, 6, 12)[0]
    at_12 = low_girder * share(8, 6, 12)[1] + common * 3 * share(10.5, 6, 12)[1]
    at_22 = common * 5 * share(24.5, 22, 28)[0]
    at_28 = common * 5 * share(24.5, 22, 28)[1]
    return at_6, at_12, at_22, at_28, at_28 + high_girder


HIP_WINDS = [  # (commons at the front, low girder, high girder) in the winds that can govern
    (MAIN_B_LOW[0], HIP_WINDWARD, HIP_FAR),  # toward +x
    (MAIN_B_LOW[0], HIP_FAR, HIP_WINDWARD),  # toward -x
    (MAIN_A_FRONT[0], HIP_ACROSS, HIP_ACROSS_FAR),  # toward +y, corner low
    (MAIN_A_FRONT[0], HIP_ACROSS_FAR, HIP_ACROSS),  # toward +y, corner high
]
FRONT2_D = front2_top(MAIN_D, HIP_D, HIP_D)
# header ends (the girder at 28 is not over the opening) and stud packs (it is part of them)
FRONT2 = [[W_ * u - D_ * (d + HEAD_2) for u, d in zip(front2_top(*w), FRONT2_D, strict=True)] for w in HIP_WINDS]
HEADER_FRONT_2 = max(max(f[:4]) for f in FRONT2)
PACK_FRONT_2 = max(max(f) for f in FRONT2)
STRAP_FRONT_2 = MAIN_FRONT - D_ * WEIGHT_2  # foot of the solid stretch 12-22: commons less wall

# --- 8 Horizontal wind -----------------------------------------------------------------------------------------------
MAIN_WALL, MAIN_WALL_E = M1 - M4, M1E - M4E
WING_WALL, WING_WALL_E = W1 - W4, W1E - W4E
MAIN_ROOF, MAIN_ROOF_E = M2 - M3, M2E - M3E
WING_ROOF, WING_ROOF_E = W2 - W3, W2E - W3E
END_WALL, END_WALL_E = B5 - B6, B5E - B6E
assert max(MAIN_ROOF_E, WING_ROOF, WING_ROOF_E) < 0
RISE_M, RISE_W = 14 * TM, 14 * TW

# 8a Level 2, wind along y, lines L (0) and M (36): 4 ft of wall and 0.5 ft of heel; end zone at 0-6 (line L worst).
# roof: hip profile 0 at x = 0, full rise from x = 14 to 22; its push M2 - M3 is +0.0127, in the end zone -0.0709
WALL_2_L = Q * 4.5 * (MAIN_WALL * 18 + (MAIN_WALL_E - MAIN_WALL) * 6 * (36 - 3) / 36)
ROOF_2_L = Q * (
    MAIN_ROOF_E * (TM * 6 * 6 / 2) * (36 - 4) / 36
    + MAIN_ROOF
    * (
        (TM * 6 * 8) * (36 - 10) / 36
        + (TM * 8 * 8 / 2) * (36 - (6 + 8 * 2 / 3)) / 36
        + RISE_M * 8 * 0.5
        + (RISE_M * 14 / 2) * (36 - (22 + 14 / 3)) / 36
    )
)
LEAST_2_L = 16 * 4.5 * 18 + 8 * (RISE_M * 14 + RISE_M * 8) / 2
V2_L = W_ * max(WALL_2_L, WALL_2_L + ROOF_2_L, LEAST_2_L)
TIE_ALONG_JACK = V2_L / 28 * 2  # hip jacks at 2 ft stand on all of left 2
SHEET_L_2 = V2_L / (8 + 16)  # left 2: pieces 8 and 16 ft, height 8: no reduction

# 8b Level 2, wind along x, lines F (0) and B (28): the hip shows a slope, so case A; roof push near zero: neglected
V2_F = W_ * Q * 4.5 * (MAIN_WALL * 14 + (MAIN_WALL_E - MAIN_WALL) * 6 * 25 / 28)
V2_F_ROOF = W_ * Q * (MAIN_ROOF * RISE_M * 28 / 2 / 2 + (MAIN_ROOF_E - MAIN_ROOF) * (TM * 6 * 6 / 2) * (28 - 4) / 28)
assert V2_F_ROOF < 0
assert W_ * (16 * 4.5 * 14 + 8 * RISE_M * 7) < V2_F
SHEET_F_2 = V2_F / (6 + 10 + 8)

# 8c Level 1, wind along x: half of both storeys and the floor, 4.5 + 1 + 4 = 9.5 ft, with the larger wall coefficient
# (the main's slope, case A). The wing's heel 0.25 ft and gable are added in full although they stand before the upper
# wall (convention, safe side)
V1_F_OWN = (
    W_
    * Q
    * (
        9.75 * (MAIN_WALL * 14 + (MAIN_WALL_E - MAIN_WALL) * 6 * 25 / 28)
        + END_WALL * RISE_W * 28 / 2 / 2
        + (END_WALL_E - END_WALL) * (TW * 6 * 6 / 2) * (28 - 4) / 28
    )
)
V1_F = V2_F + V1_F_OWN
BF_F_1 = 4 * (2 * 4 / 9) + 6 + 16 + 3 * (2 * 3 / 9)  # 4 ft and 3 ft pieces narrower than half the height; 1 ft: none
SHEET_F_1 = V1_F / BF_F_1
# where ties carry the roof's shear: the level's own force on line F over the 20 ft of its plate that have trusses
TIE_ALONG_WING = V1_F_OWN / 20 * 2
# the porch hangs on line B: half of its wind goes in there, as a point. Net 1.3 (0.8 + 0.5) x G on a face of fascia
# and rise over the 10 ft of depth (the rise as a rectangle: safe side)
PORCH_HALF_X = 0.5 * 1.3 * 0.85 * QC * 10 * (1 + 10 * 2 / 12)
SHEET_B_1 = (V1_F + W_ * PORCH_HALF_X) / (8 + 10 + 6 + 8 + 8)  # line B is line F's mirror image but for this

# 8d Level 1, wind along y. Span L-M: 9.5 ft of wall, end zone 0-6; span M-R: 4.5 ft of wall and 0.25 of heel, 50-56
# and half of the porch's wind along its ledger, 6-18
PORCH_HALF_Y = 0.5 * 1.3 * 0.85 * QC * 12 * (1 + 10 * 2 / 12)
V1_L_OWN = W_ * (Q * 9.5 * (MAIN_WALL * 18 + (MAIN_WALL_E - MAIN_WALL) * 6 * 33 / 36) + PORCH_HALF_Y * (36 - 12) / 36)
V1_L = W_ * WALL_2_L + V1_L_OWN  # roof neglected on both levels or counted on both: see below
V1_L = max(V1_L, W_ * (WALL_2_L + ROOF_2_L) + V1_L_OWN)
V1_R = W_ * Q * 4.75 * (WING_WALL * 10 + (WING_WALL_E - WING_WALL) * 6 * 17 / 20)
assert W_ * (16 * 4.75 * 10 + 8 * RISE_W * 10) < V1_R
SHEET_R_1 = V1_R / (20 + 5)

# 8e Diaphragms: reaction of a level's own load over the depth
ROOF_DIAPHRAGM_2 = max(V2_L / 28, V2_F / 36)
FLOOR_DIAPHRAGM_1 = max(V1_L_OWN / 28, V1_F_OWN / 56)


# --- 9 Hold-downs under wind -----------------------------------------------------------------------------------------
# T = couple + (moment of the vertical loads about the compression end) / arm. Where the piece is lifted as a whole its
# studs and sill hold the spread uplift (they are asked for it): then only the loads at single places (jambs, girders,
# posts above) pull at the hold-down. Both forms over the same arm; they differ by the spread loads alone.
def tension(couple: float, spread: float, points: float, arm: float) -> float:
    """Couple, and moments of the spread loads and of the loads at single places, all about the compression end."""
    return couple + min(spread + points, points) / arm


# 9a right 1, piece 23-28 (5 ft, arm 4.5, height 9), one storey; gable strip of 2 ft, end zone (reference corner high)
COUPLE_R = 5 / 25 * V1_R * 9 / 4.5
WALL_1 = D_ * EXT * 9  # plf
# wind toward -y lifts the end at 28: rear slope windward, eave corner beyond the wall 1.5 x 2 ft on the wall's end
R_TOP = 2 * (W_ * out(W2E) - D_ * ROOF)
R_CORNER = 2 * 1.5 * (W_ * over(W2E) - D_ * ROOF)
HOLD_R_28 = tension(COUPLE_R, (R_TOP - WALL_1) * 5 * 2.5, R_CORNER * 5, 4.5)
# wind toward +y lifts the end at 23: rear slope leeward; the door's half of roof and wall stands at 23
R_TOP = 2 * (W_ * out(W3E) - D_ * ROOF)
R_DOOR = R_TOP * 3 / 2 - D_ * EXT * 2 * 3 / 2
HOLD_R_23 = tension(COUPLE_R, (R_TOP - WALL_1) * 5 * 2.5, R_DOOR * 5, 4.5)
HOLD_R_WIND = max(HOLD_R_28, HOLD_R_23)

# 9b the stack, wind along x, zone 2 on the front slope, corner at the front. Own couples of storey 2 (pieces 0-6,
# 12-22, 28-36): up at the windward end, down at the other
C21 = 6 / 24 * V2_F * 8 / 5.5
C22 = 10 / 24 * V2_F * 8 / 9.5
C23 = 8 / 24 * V2_F * 8 / 7.5
P6, P12, P22, _, P28 = FRONT2[1]  # wind toward -x: right ends lift
Q6, Q12, Q22, _, Q28 = FRONT2[0]  # wind toward +x: left ends lift
DENSE = W_ * MAIN_B_LOW[0] - D_ * MAIN_D - D_ * WEIGHT_2  # foot of wall under commons, plf
BARE = -D_ * WEIGHT_2  # foot of wall with nothing on it
HOLD_F21 = max(tension(C21, BARE * 6 * 3, P6 * 6, 5.5), tension(C21, BARE * 6 * 3, 0.0, 5.5))
HOLD_F22 = max(tension(C22, DENSE * 10 * 5, P22 * 10, 9.5), tension(C22, DENSE * 10 * 5, Q12 * 10, 9.5))
HOLD_F23 = max(tension(C23, BARE * 8 * 4, 0.0, 7.5), tension(C23, BARE * 8 * 4, Q28 * 8, 7.5))
# storey 1, own couples of 0-4 and 10-16
# (the shear enters at the top of the floor, 1 ft above the plate: lever 9 + 1 ft)
C11 = 4 * (2 * 4 / 9) / BF_F_1 * V1_F * 10 / 3.5
C12 = 6 / BF_F_1 * V1_F * 10 / 5.5
U = D_ * FLOOR * 8  # floor on front 1, plf
SILL = D_ * EXT * 3  # wall under a window sill of storey 2, plf
HEAD_1 = D_ * EXT * (9 - 7)
# what the window 4-10 hands to its ends: wall 4-6, the point at 6, sill 6-10, floor, own head
WINDOW = [
    [
        BARE * 2 * share(5, 4, 10)[end]
        + point * share(6, 4, 10)[end]
        - SILL * 4 * share(8, 4, 10)[end]
        - (U + HEAD_1) * 3
        for end in (0, 1)
    ]
    for point in (P6, Q6)
]
SEG_0_4 = (BARE - U - WALL_1) * 4
# piece 0-4. toward -x, end 4 lifts: two thirds of C21 from 6; toward +x, end 0 lifts: C21 stands on it
HOLD_F11 = max(
    tension(C11 + C21 * share(6, 4, 10)[0], SEG_0_4 * 2, WINDOW[0][0] * 4, 3.5),
    tension(C11 + C21, SEG_0_4 * 2, 0.0, 3.5),
)
# piece 10-16: sill 10-12, point at 12, wall under commons 12-16, floor, own wall; entry 16-20: commons, floor, head
ENTRY = (DENSE - U - HEAD_1) * 4 / 2
SPREAD_10 = -SILL * 2 * 1 + DENSE * 4 * 4 - (U + WALL_1) * 6 * 3  # about 10
SPREAD_16 = -SILL * 2 * 5 + DENSE * 4 * 2 - (U + WALL_1) * 6 * 3  # about 16
# toward -x, end 16 lifts: C22 pushes down at 12. Toward +x, end 10 lifts: C22 pulls at 12, C21 pushes at 6
HOLD_F12 = max(
    tension(C12 - C22 * share(12, 10, 16)[1], SPREAD_10, ENTRY * 6 + P12 * 2, 5.5),
    tension(
        C12 + C22 * share(12, 10, 16)[0] - C21 * share(6, 4, 10)[1],
        SPREAD_16,
        WINDOW[1][1] * 6 + Q12 * 4,
        5.5,
    ),
)
# 9c wing front, piece 53-56 (arm 2.5): the garage girder's end at 53.5, trusses beyond it 53.5-55 taken as spread
FE, FI = FRONT_E[2], FRONT_I[2]  # wind along the ridge, zone 2 on the front slope
C14 = 3 * (2 * 3 / 9) / BF_F_1 * V1_F * 9 / 2.5
JAMB = -D_ * EXT * 1.5 * 16 / 2  # wall over the garage door's 7.5 ft head
END_53_NEAR = FI * 12 * (43 - 36.5) / 17 + FE * 4.5 * (51.25 - 36.5) / 17  # end zone at the right, 49-55
END_53_FAR = FE * 6 * (40 - 36.5) / 17 + FI * 10.5 * (48.25 - 36.5) / 17  # end zone at the left, 37-43
HOLD_WING = max(
    # toward -x, end 56 lifts
    tension(C14, FE * 1.5 * 1.25 - WALL_1 * 3 * 1.5, END_53_NEAR * 0.5, 2.5),
    # toward +x, end 53 lifts; the girder's end and the garage door's head pull there
    tension(C14, FI * 1.5 * 1.75 - WALL_1 * 3 * 1.5, JAMB * 3 + END_53_FAR * 2.5, 2.5),
)
# 9d Sills, by plate piece: the larger of its mean (loads at single places on it counted) and its worst stretch.
# wing front, the 1 ft pier 36-37: it holds the garage girder's other end alone
SILL_WING_FRONT = max(
    e * 6 * (53.5 - 40) / 17 + i * 10.5 * (53.5 - 48.25) / 17 + JAMB - WALL_1
    for e, i in zip(FRONT_E, FRONT_I, strict=True)
)
# wing rear: laid from 36 in pieces 36-52 and 52-56; trusses on 37-55, end zone 37-43 or 49-55; a window 4 x 4 ft
SILL_WING_REAR = max(
    p
    for e, i in zip(REAR_E, REAR_I, strict=True)
    for p in (
        (6 * e + 9 * i - D_ * EXT * (16 * 9 - 4 * 4)) / 16,  # mean of 36-52, end zone at its low end
        (3 * e - D_ * EXT * 4 * 9) / 4,  # mean of 52-56, end zone at the high end
        e - WALL_1,  # a stretch under trusses of the end zone
    )
)
SILL_MEAN_WING_REAR = max(
    (6 * e + 12 * i - D_ * EXT * (20 * 9 - 4 * 4)) / 20 for e, i in zip(REAR_E, REAR_I, strict=True)
)
# interior bearing wall of the wing: no shear, but the middle bearings lift it (interior wall 9 ft)
SILL_MIDDLE = max(max(MIDDLE_E), (3 * max(MIDDLE_E) - D_ * INT * 9) / 4) - D_ * INT * 9
# cross wall: hip jacks on right 2, that wall, and the wing's gable stand on it; passage 12-16, head at 7; piece 0-12
TOP_CROSS_D = D_ * (JACK_D[0] + EXT * 8)
CROSS = []
for jacks, low, high, corner in (  # winds: hip end; half bay and rake on the low and the high slope, and at the corner
    (JACK_WINDWARD[0], 2 * out(B2), 2 * out(B3), 2 * over(B2)),  # toward -x, zone 2 on the low slope
    (JACK_PLAIN[0], out(B2E) + over(B2E), out(B3E) + over(B3E), 2 * over(B2E)),  # toward +x
    (JACK_END_ZONE[0], 2 * out(W2), 2 * out(W3), 2 * over(W2)),  # toward +y, main's end zone here
    (JACK_PLAIN[0], 2 * out(W2E), 2 * out(W3E), 2 * over(W2E)),  # toward +y, the wing's end zone here
):
    at_low, at_high, at_corner = (W_ * p - D_ * ROOF * 2 for p in (low, high, corner))
    upper = W_ * jacks - TOP_CROSS_D
    stretch = upper + at_low - D_ * INT * 9
    passage = (upper - D_ * INT * 2) * 2 + at_low * 2 * 3 / 4 + at_high * 2 * 1 / 4
    CROSS += [stretch, (stretch * 12 + passage + at_corner * 1.5) / 12]
SILL_CROSS = max(CROSS)

# --- 10 Earthquake ---------------------------------------------------------------------------------------------------
HALF_2, HALF_1 = 4.0, 4.5
WALLS_2 = EXT_G * (2 * 36 + 2 * 28) * HALF_2
PART_2 = INT_G * 40 * HALF_2
ROOF_2 = ROOF_G * 39 * 31
W2 = ROOF_2 + WALLS_2 + PART_2
WALLS_1 = EXT_G * (2 * 56 + 2 * 28) * HALF_1 + INT_G * (28 + 36 + 20) * HALF_1
PART_1 = INT_G * 60 * HALF_1
PORCH = 8.0 * 12 * 10
W1_LEVEL = ROOF_G * 22 * 31 + FLOOR_G * 36 * 28 + WALLS_2 + PART_2 + WALLS_1 + PART_1 + PORCH
H1, H2 = 9.0, 18.0  # plates above the first floor
PERIOD = 0.02 * H2**0.75
CS = max(min(SDS / 6.5, SD1 / (PERIOD * 6.5)), 0.044 * SDS, 0.01)
V_BASE = CS * (W1_LEVEL + W2)
F2 = V_BASE * W2 * H2 / (W1_LEVEL * H1 + W2 * H2)
F1 = V_BASE - F2
VQ2 = E_ * RHO * F2 / 2  # level 2 is symmetric both ways: half to each line
SHEET_QUAKE_L2 = VQ2 / 24
TIE_ALONG_QUAKE = VQ2 / 36 * 2  # roof shear along the front plate, 36 ft, at a truss
# level 1 toward F and B: all but the interior walls at y = 16 and the porch (middle at 33, beyond B) is symmetric
INT_X = INT_G * (36 + 20) * HALF_1
SHARE_F = (0.5 * (W1_LEVEL - INT_X - PORCH) + INT_X * (28 - 16) / 28 + PORCH * (28 - 33) / 28) / W1_LEVEL
VQ1_F = VQ2 + E_ * RHO * F1 * SHARE_F
SHEET_QUAKE_F1 = VQ1_F / BF_F_1
# level 1 toward R: half of what lies on 36-56, the wing roof's last foot beyond R, the right wall itself
ROOF_R = ROOF_G * 31 * (20 * 0.5 + 1 * 20.5 / 20)
ALONG_R = (EXT_G * 2 + INT_G) * 20 * HALF_1 / 2
W_R = ROOF_R + ALONG_R + PART_1 * (20 / 56) / 2 + EXT_G * 28 * HALF_1
VQ1_R = E_ * RHO * F1 * W_R / W1_LEVEL
SHEET_QUAKE_R1 = VQ1_R / 25
COUPLE_RQ = 5 / 25 * VQ1_R * 9 / 4.5
HOLD_R_QUAKE = (
    COUPLE_RQ
    - DQ
    * min(
        (ROOF * 2 + EXT * 9) * 5 * 2.5 + 2 * 1.5 * ROOF * 5,  # end 28: the eave corner
        (ROOF * 2 + EXT * 9) * 5 * 2.5 + (ROOF * 2 * 1.5 + EXT * 2 * 1.5) * 5,  # end 23: half the door
    )
    / 4.5
)
QC21 = 6 / 24 * VQ2 * 8 / 5.5
HOLD_QUAKE_F21 = QC21 - DQ * WEIGHT_2 * 6 * 3 / 5.5  # end 0; the other end carries the girder's weight too
QC11 = 4 * (8 / 9) / BF_F_1 * VQ1_F * 10 / 3.5
HOLD_QUAKE_F11 = QC11 + QC21 - DQ * (EXT * 8 + FLOOR * 8 + EXT * 9) * 4 * 2 / 3.5  # end 0
# end post of right 1, piece 23-28, at 23: couple, half the door's roof and wall, one stud of roof and wall
POST_D = (ROOF_G * 2 * 1.5 + EXT_G * 2 * 1.5) + STUD * (ROOF_G * 2 + EXT_G * 9)
POST_SNOW = SNOW * 2 * (1.5 + STUD)
END_POST_R = max(
    (1 + 0.7 * 0.2 * SDS) * POST_D + COUPLE_RQ,
    (1 + 0.525 * 0.2 * SDS) * POST_D + 0.75 * COUPLE_RQ + 0.75 * POST_SNOW,
    POST_D + POST_SNOW,
)
# diaphragm force (12.10-1, at least 0.2 and at most 0.4 SDS w). What stands on a line or beyond it does not cross the
# diaphragm: the wall on the line goes straight down, the overhang to the line
FP2 = min(max(F2, 0.2 * SDS * W2), 0.4 * SDS * W2)
INSIDE_2 = ROOF_G * 31 * 36 + EXT_G * 2 * 36 * HALF_2 + PART_2
ROOF_DIAPHRAGM_QUAKE_2 = E_ * FP2 * INSIDE_2 / W2 / 2 / 28
# chord at mid-length: sagging of the inside load less hogging of 1.5 ft of overhang
OVERHANG_2 = ROOF_G * 31 * 1.5
SPLICE_2 = E_ * FP2 / W2 * (INSIDE_2 * 36 / 8 - OVERHANG_2 * 0.75) / 28

# walls held by their ties against shaking out of plane (12.11.2): 0.4 SDS ka w, at least 0.2 ka w, ka = 1 + Lf/100
# with the longer plan dimension for Lf; upper half of an 8 ft wall at a truss spacing of 2 ft
KA = 1 + 56 / 100
TIE_ANCHORAGE = E_ * 0.4 * SDS * KA * EXT_G * 2 * 8 / 2
TIE_ANCHORAGE_LEAST = E_ * 0.2 * KA * EXT_G * 2 * 8 / 2

# --- 11 Porch: net suction on both faces, half to the ledger, half to three posts ------------------------------------
ANGLE_P = degrees(atan(2 / 12))
CN_UP = 1.7 + (ANGLE_P - 7.5) / 7.5 * (
    2.1 - 1.7
)  # monoslope, wind under the high edge, obstructed, case B, windward half
PORCH_PSF = W_ * QC * 0.85 * CN_UP - D_ * 8.0
PORCH_HALF = PORCH_PSF * 12 * 10 / 2
LEDGER = PORCH_HALF / 12
POST_CAP = PORCH_HALF / 2  # the middle post takes half of the beam
FOOTING = POST_CAP - D_ * 600
POST_PUSH = W_ * 1.3 * 0.85 * QC * 12 * (1 + 10 * 2 / 12) / 2 / 3  # fascia 1 ft and rise, half to three posts

# --- 12 Roof sheathing, 10 sq ft: wing 7 to 20 deg gable, main 20 to 27 deg hip --------------------------------------
SUCTION = {
    "wing zone 1": 2.0 + GCPI,
    "wing zone 2n": 3.0 + GCPI,
    "wing zone 3r": 3.6 + GCPI,
    "wing zone 2n overhang": 3.5,
    "wing zone 3e overhang": 4.1,
    "wing zone 3r overhang": 4.7,
    "main zone 1": 1.4 + GCPI,
    "main zone 2e": 2.0 + GCPI,
    "main zone 3": 2.0 + GCPI,
}

# 12b A gentle wind, q = 10 psf: the least local pressure of 16 psf (30.2.2), beside the uplift of any wind
Q_GENTLE = 10.0
LEAST_STUD_1 = W_ * 16 * STUD * 4.5
LEAST_HEADER_1 = W_ * 16 * 3 * 4.5
LEAST_PER_FT_1 = W_ * 16 * 4.5
assert W_ * Q_GENTLE * (wall_gcp(True, 9 * 3) + GCPI) < W_ * 16
GABLE_GENTLE = W_ * Q_GENTLE * ((-B2E + GCPI) * 1 + (-B2E + SOFFIT) * 1) - D_ * ROOF * 2

# --- 13 The usual errors ---------------------------------------------------------------------------------------------
# half the span times the pressure, each way a hurried count would take it, for the end-zone truss at the wing's front:
HALF_SPAN_OF_HOUSE = 2 * (W_ * out(W2E) - D_ * ROOF) * (28 / 2 + 1.5)
HALF_SPAN_OF_TRUSS = 2 * (W_ * out(W2E) - D_ * ROOF) * (16 / 2 + 1.5)
# one uplift for all bearings: the whole truss's uplift over its three bearings
ONE_UPLIFT = 2 * max(sum(W_ * s[b] - D_ * WING_D[b] for b in range(3)) for s in WING_E) / 3
# perimeter over spacing: bolts of the outer sills at 6 ft, against two or more in every plate piece (16 ft at most),
# 1 ft from each end
BOLTS_PERIMETER = 2 * (56 + 28) / 6
PIECES = [16, 16, 1, 3, 8, 16, 4, 16, 4, 16, 12, 16, 4, 5]  # front, wing front, rear, wing rear, left, right
BOLTS_PIECES = sum(max(2, -(-(p - 2) // 6) + 1) for p in PIECES)


def expected() -> Expected:
    """Largest demand of each checked point and component on the two lots."""
    up, push, along = "uplift_lb", "perpendicular_lb", "parallel_lb"
    plf, tension = "shear_plf", "tension_lb"
    garage = "wing girder over wing front 1 36.5-53.5"
    wind = {
        ("truss tie: wing on wing front 1, end zone", up): 2 * max(FRONT_E),
        ("truss tie: wing on wing front 1, end zone", push): TIE_PUSH_WING_E,
        ("truss tie: wing on wing middle 1, end zone", up): 2 * max(MIDDLE_E),
        ("truss tie: wing on wing middle 1, end zone", push): 0.0,
        ("truss tie: wing on wing middle 1, interior", up): 2 * max(MIDDLE_I),
        ("truss tie: wing on wing rear 1, end zone", up): 2 * max(REAR_E),
        ("truss tie: wing on wing rear 1, interior", up): 2 * max(REAR_I),
        ("truss tie: main on front 2, interior", up): 2 * MAIN_FRONT,
        ("truss tie: main on front 2, interior", push): TIE_PUSH_MAIN,
        ("truss tie: main on front 2, interior", along): V2_F / 36 * 2,
        ("truss tie: main hip jacks on left 2", up): JACK_TIE,
        ("truss tie: main hip jacks on left 2", push): TIE_PUSH_JACK,
        ("truss tie: main hip jacks on left 2", along): TIE_ALONG_JACK,
        ("truss tie: wing on wing front 1, end zone", along): TIE_ALONG_WING,
        ("truss tie: wing on wing middle 1, interior", along): 0.0,
        ("roof boundary: line R, storey 1", plf): V1_R / 28,
        (f"truss hanger: {garage}", up): HANGER,
        (f"girder tie: {garage}", up): GIRDER,
        (f"girder post: {garage}", up): GIRDER,
        ("girder tie: main hip girder, low end", up): HIP_GIRDER,
        ("gable end tie: wing on right 1", "uplift_plf"): GABLE_RIGHT,
        ("gable end tie: wing on right 1", "perpendicular_plf"): GABLE_PUSH,
        ("plate to stud: wing on wing rear 1, end zone", up): 2 * max(REAR_E),
        ("plate to stud: right 1", up): STUD * GABLE_RIGHT,
        ("stud nailing: front 2, end zone", push): STUD_PUSH_2_END,
        ("stud nailing: front 2, interior", push): STUD_PUSH_2_IN,
        ("stud to bottom plate: wing rear 1, end zone", up): 2 * (max(REAR_E) - WALL_1),
        ("stud nailing: wing rear 1, end zone", push): STUD_PUSH_1_END,
        ("stud nailing: wing rear 1, interior", push): STUD_PUSH_1_IN,
        ("header ends: front 2, medium openings", up): HEADER_FRONT_2,
        ("header ends: front 1, medium openings", push): HEADER_PUSH_1,
        ("stud packs: front 2, heavy", up): PACK_FRONT_2,
        ("storey strap: front 2", "uplift_plf"): STRAP_FRONT_2,
        ("wall sheathing: line L, storey 2", plf): SHEET_L_2,
        ("wall sheathing: line F, storey 2", plf): SHEET_F_2,
        ("wall sheathing: line F, storey 1", plf): SHEET_F_1,
        ("wall sheathing: line R, storey 1", plf): SHEET_R_1,
        ("wall sheathing: line B, storey 1", plf): SHEET_B_1,
        ("bottom plate to floor: front 2", plf): SHEET_F_2,
        ("bottom plate to floor: front 2", "uplift_plf"): 0.0,
        ("bottom plate to floor: front 2", "perpendicular_plf"): PLATE_PUSH_2,
        ("bottom plate to floor: left 2", plf): SHEET_L_2,
        ("floor rim to plate: line L, storey 1", plf): V1_L / 28,
        ("roof diaphragm: storey 2", plf): ROOF_DIAPHRAGM_2,
        ("floor diaphragm: storey 1", plf): FLOOR_DIAPHRAGM_1,
        ("sill anchor: right 1", plf): SHEET_R_1,
        ("sill anchor: right 1", "perpendicular_plf"): SILL_PUSH_1,
        ("sill anchor: wing front 1", "uplift_plf"): SILL_WING_FRONT,
        ("sill anchor: wing rear 1", "uplift_plf"): SILL_WING_REAR,
        ("sill anchor: wing middle 1", "uplift_plf"): SILL_MIDDLE,
        ("sill anchor: wing middle 1", plf): 0.0,
        ("sill anchor: wing middle 1", "perpendicular_plf"): 0.0,
        ("sill anchor: cross 1", "uplift_plf"): SILL_CROSS,
        ("hold-down: right 1, segment 2 (5.0 ft)", tension): HOLD_R_WIND,
        ("hold-down anchor: right 1, segment 2 (5.0 ft)", tension): HOLD_R_WIND,
        ("hold-down: front 2, segment 1 (6.0 ft)", tension): HOLD_F21,
        ("hold-down: front 2, segment 2 (10.0 ft)", tension): HOLD_F22,
        ("hold-down: front 2, segment 3 (8.0 ft)", tension): HOLD_F23,
        ("hold-down: front 1, segment 1 (4.0 ft)", tension): HOLD_F11,
        ("hold-down: front 1, segment 2 (6.0 ft)", tension): HOLD_F12,
        ("hold-down: wing front 1, segment 1 (3.0 ft)", tension): HOLD_WING,
        ("porch ledger: patio on rear 1", "uplift_plf"): LEDGER,
        ("post cap: patio", up): POST_CAP,
        ("post cap: patio", "lateral_lb"): POST_PUSH,
        ("post base: patio", up): POST_CAP,
        ("post footing: patio", up): FOOTING,
        **{(f"roof sheathing: {zone}", "suction_psf"): W_ * QC * gcp for zone, gcp in SUCTION.items()},
    }
    quake = {
        ("wall sheathing: line L, storey 2", plf): SHEET_QUAKE_L2,
        ("wall sheathing: line F, storey 1", plf): SHEET_QUAKE_F1,
        ("wall sheathing: line R, storey 1", plf): SHEET_QUAKE_R1,
        ("truss tie: main on front 2, interior", along): TIE_ALONG_QUAKE,
        ("roof diaphragm: storey 2", plf): ROOF_DIAPHRAGM_QUAKE_2,
        ("plate splice: storey 2", tension): SPLICE_2,
        ("hold-down: right 1, segment 2 (5.0 ft)", tension): HOLD_R_QUAKE,
        ("hold-down: front 2, segment 1 (6.0 ft)", tension): HOLD_QUAKE_F21,
        ("hold-down: front 1, segment 1 (4.0 ft)", tension): HOLD_QUAKE_F11,
        ("end post: right 1, segment 2 (5.0 ft)", "compression_lb"): END_POST_R,
    }
    return {("wind", *k): v for k, v in wind.items()} | {("quake", *k): v for k, v in quake.items()}


if __name__ == "__main__":
    for (lot, point, component), value in expected().items():
        print(f"{lot:6} {point:55} {component:18} {value:10.2f}")
