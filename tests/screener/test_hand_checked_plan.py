"""The house "abacus" against a calculation by hand (hand_check/calculation.md and arithmetic.py), at every point kind.

The arithmetic knows nothing of the tool; the plan file is all they share. ASCE 7-16, allowable stress design.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from demand_houses import ABACUS, demand, lots, model_of_file, named, plan_file

from screener.demands import DemandModel, LotHazards, build_model, load_basis

TOLERANCE = 0.001
"""A tenth of a percent. The largest difference is 0.07 %: the tool spreads trusses, the hand sets them one by one."""


def _load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / "hand_check" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


hand = _load("arithmetic")
EXPECTED: dict[tuple[str, str, str], float] = hand.expected()

LOTS = {
    # no shaking to speak of; the hand check counts none
    "wind": lots(q_envelope_psf=hand.Q, q_components_psf=hand.QC, sds_g=0.01, sd1_g=0.005, roof_snow_psf=hand.SNOW),
    # no wind; the least wind loads of the standard remain and nowhere govern what is checked
    "quake": lots(sds_g=hand.SDS, sd1_g=hand.SD1, s1_g=hand.S1, rho=hand.RHO, roof_snow_psf=hand.SNOW),
}


@pytest.fixture(scope="module")
def model() -> DemandModel:
    return model_of_file(ABACUS)


def differs(value: float, truth: float) -> bool:
    return abs(value - truth) > TOLERANCE * abs(truth)


CHECKS = [pytest.param(*k, id=" | ".join(k)) for k in EXPECTED]


@pytest.mark.parametrize(("lot", "point", "component"), CHECKS)
def test_demand_agrees_with_the_hand_calculation(model: DemandModel, lot: str, point: str, component: str) -> None:
    assert demand(model, LOTS[lot], point, component) == pytest.approx(
        EXPECTED[lot, point, component], rel=TOLERANCE, abs=1e-9
    )


def test_every_kind_of_point_is_checked_by_hand(model: DemandModel) -> None:
    checked = {p.family for _, point, _ in EXPECTED for p in named(model, point)}
    assert {p.family for p in model.points} - checked == set()


def boundaries(model: DemandModel) -> set[str]:
    return {p.name.removeprefix("roof boundary: ") for p in model.points if p.family == "roof_boundary"}


def under_blocking() -> DemandModel:
    plan = plan_file(ABACUS)
    blocking = plan.model_copy(update={"plan": plan.plan.model_copy(update={"roof_boundary_by": "blocking"})})
    return build_model(blocking.variant(), "ASCE 7-16", "ASD")


def test_roof_boundaries_stand_only_under_a_roof(model: DemandModel) -> None:
    """Under ties: lines without trusses that a roof stands on. Under blocking: every line that a roof stands on."""
    assert boundaries(model) == {"line M, storey 1", "line R, storey 1"}
    upper = {f"line {n}, storey 2" for n in "FBLM"}
    blocked = under_blocking()
    assert boundaries(blocked) == upper | {f"line {n}, storey 1" for n in "FBMR"}
    # front 1 (36 ft) stands under the floor, wing front 1 (20 ft) under the wing's roof
    assert blocked.by_name["roof boundary: line F, storey 1"].runs_ft == (20.0,)


def test_lines_with_trusses_need_no_roof_boundary_under_ties(model: DemandModel) -> None:
    """Trusses or hip jacks stand on F, B, L, M of storey 2 and on the wing's F and B: their ties carry the shear."""
    assert not boundaries(model) & {f"line {n}, storey 2" for n in "FBLM"}
    assert not boundaries(model) & {f"line {n}, storey 1" for n in "FB"}
    assert {"line M, storey 1", "line R, storey 1"} <= boundaries(model)


def test_roof_boundary_under_blocking() -> None:
    model = under_blocking()
    wind = LOTS["wind"]
    assert demand(model, wind, "roof boundary: line R, storey 1", "shear_plf") == pytest.approx(
        hand.V1_R / 28, rel=TOLERANCE
    )
    assert demand(model, wind, "roof boundary: line L, storey 2", "shear_plf") == pytest.approx(
        hand.V2_L / 28, rel=TOLERANCE
    )
    # then nothing along the plate is left to the ties
    assert demand(model, wind, "truss tie: main on front 2, interior", "parallel_lb") == 0.0


# --- demands that stand together in one case -------------------------------------------------------------------------


def cases_of(model: DemandModel, hazards: LotHazards, point: str, hazard: str, *components: str) -> np.ndarray:
    """Values of some components in every case of one hazard kept for a point: (cases, components)."""
    found = model.by_name[point]
    values = found.values(load_basis(model, hazards))[0]
    chosen = values[np.array(found.case_hazards) == hazard]
    return np.stack([chosen[:, found.components.index(c)] for c in components], axis=1)


@pytest.mark.parametrize(
    ("point", "shear", "push", "suction"),
    [
        ("sill anchor: right 1", hand.SHEET_R_1, hand.SILL_PUSH_1, hand.SILL_SUCTION_1),
        ("bottom plate to floor: front 2", hand.SHEET_F_2, hand.PLATE_PUSH_2, hand.PLATE_SUCTION_2),
    ],
)
def test_plates_take_the_shear_and_the_push_of_one_wind(
    model: DemandModel, point: str, shear: float, push: float, suction: float
) -> None:
    """Wind along the wall: its line's shear with the side wall's suction. Wind across it: local pressure, no shear."""
    rows = cases_of(model, LOTS["wind"], point, "wind", "shear_plf", "perpendicular_plf")
    along = rows[rows[:, 0] > shear * (1 - TOLERANCE)]
    assert along[:, 0].max() == pytest.approx(shear, rel=TOLERANCE)
    assert along[:, 1].max() == pytest.approx(suction, rel=TOLERANCE)
    across = rows[rows[:, 1] > suction * (1 + TOLERANCE)]
    assert across[:, 1].max() == pytest.approx(push, rel=TOLERANCE)
    assert across[:, 0].max() == pytest.approx(0.0, abs=1e-9)


def test_least_local_pressure_in_a_gentle_wind(model: DemandModel) -> None:
    """16 psf (ASCE 7-16 Sec. 30.2.2, from memory), also beside the uplift of the same wind."""
    gentle = lots(q_envelope_psf=hand.Q_GENTLE, q_components_psf=hand.Q_GENTLE)
    assert demand(model, gentle, "stud nailing: wing rear 1, end zone", "perpendicular_lb") == pytest.approx(
        hand.LEAST_STUD_1, rel=TOLERANCE
    )
    assert demand(model, gentle, "header ends: front 1, medium openings", "perpendicular_lb") == pytest.approx(
        hand.LEAST_HEADER_1, rel=TOLERANCE
    )
    assert demand(model, gentle, "sill anchor: right 1", "perpendicular_plf") == pytest.approx(
        hand.LEAST_PER_FT_1, rel=TOLERANCE
    )
    ends = cases_of(model, gentle, "gable end tie: wing on right 1", "wind", "uplift_plf", "perpendicular_plf")
    together = ends[ends[:, 1] > hand.LEAST_PER_FT_1 * (1 - TOLERANCE)]
    assert together[:, 0].max() == pytest.approx(hand.GABLE_GENTLE, rel=TOLERANCE)


def test_ties_anchor_their_wall_in_an_earthquake(model: DemandModel) -> None:
    """The two forms of ASCE 7-16 Sec. 12.11.2.1 (from memory): 0.4 SDS ka w, and the least one when SDS is small."""
    tie = "truss tie: main on front 2, interior"
    for sds, force in ((hand.SDS, hand.TIE_ANCHORAGE), (0.1, hand.TIE_ANCHORAGE_LEAST)):
        shaken = lots(sds_g=sds, sd1_g=0.5 * sds, s1_g=0.3 * sds)
        rows = cases_of(model, shaken, tie, "seismic", "perpendicular_lb")
        assert rows.max() == pytest.approx(force, rel=TOLERANCE)


def test_sill_uplift_is_asked_stretch_by_stretch_and_piece_by_piece(model: DemandModel) -> None:
    """The mean over the whole wall would hide what the end zone's trusses bring, or a pier under a girder."""
    wing_rear = demand(model, LOTS["wind"], "sill anchor: wing rear 1", "uplift_plf")
    assert wing_rear > 1.5 * hand.SILL_MEAN_WING_REAR
    pieces = model.by_name["sill anchor: wing rear 1"].runs_ft
    assert pieces == pytest.approx((16.0, 4.0))


def test_either_form_of_the_hold_down_governs_somewhere(model: DemandModel) -> None:
    """Piece 12-22 of front 2 is lifted as a whole: its studs hold the spread uplift. Piece 0-6 has weight left over."""
    assert hand.DENSE > 0 > hand.BARE
    basis = load_basis(model, LOTS["wind"])
    for segment, lifted in (("2 (10.0 ft)", True), ("1 (6.0 ft)", False)):
        point = model.by_name[f"hold-down: front 2, segment {segment}"]
        assert point.ceiling is not None
        whole, single = (
            replace(point, coefficients=rows, ceiling=None).values(basis)[0, :, 0]
            for rows in (point.coefficients, point.ceiling)
        )
        governing = int(np.argmax(np.minimum(whole, single)))
        assert (single[governing] < whole[governing]) is np.bool_(lifted)


def test_header_ends_and_stud_packs_are_parted(model: DemandModel) -> None:
    """By width of opening: entry 4 ft, window 6 ft, garage door 16 ft. A garage door must not size every window."""
    counts = {p.name: p.count for p in model.points if p.name.startswith("header ends")}
    assert counts["header ends: front 1, narrow openings"] == 2
    assert counts["header ends: front 1, medium openings"] == 2
    assert counts["header ends: wing front 1, wide openings"] == 2
    assert counts["header ends: front 2, medium openings"] == 4
    ranks = {p.name.rsplit(", ", 1)[1] for p in model.points if p.name.startswith("stud packs")}
    assert ranks == {"light", "heavy"}


def test_mean_roof_height_and_end_zone_by_hand(model: DemandModel) -> None:
    assert model.variant.mean_roof_height_ft == pytest.approx(hand.H_MEAN, rel=1e-12)


def test_seismic_weights_by_hand(model: DemandModel) -> None:
    assert model.mass.level_lb == pytest.approx((hand.W1_LEVEL, hand.W2), rel=1e-12)
    assert model.mass.height_ft == pytest.approx((hand.H1, hand.H2))


# --- the usual errors must not pass ----------------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", ["HALF_SPAN_OF_HOUSE", "HALF_SPAN_OF_TRUSS", "ONE_UPLIFT"])
def test_usual_errors_of_truss_uplift_are_told_apart(model: DemandModel, wrong: str) -> None:
    """Half a span times the pressure, or one uplift for all bearings: off by far more than the tolerance."""
    for bearing in ("front", "middle", "rear"):
        found = demand(model, LOTS["wind"], f"truss tie: wing on wing {bearing} 1, end zone", "uplift_lb")
        assert differs(getattr(hand, wrong), found), bearing


def test_the_bearings_of_one_truss_differ(model: DemandModel) -> None:
    three = [
        demand(model, LOTS["wind"], f"truss tie: wing on wing {b} 1, end zone", "uplift_lb")
        for b in ("front", "middle", "rear")
    ]
    assert all(differs(a, b) for a, b in zip(three, [*three[1:], three[0]], strict=True))


def test_sill_is_counted_by_plate_pieces_not_by_perimeter(model: DemandModel) -> None:
    outer = ["front 1", "wing front 1", "rear 1", "wing rear 1", "left 1", "right 1"]
    pieces: Iterable[float] = [r for w in outer for r in model.by_name[f"sill anchor: {w}"].runs_ft]
    assert sorted(pieces) == pytest.approx(sorted(hand.PIECES))
    assert hand.BOLTS_PIECES == 41
    assert pytest.approx(28.0) == hand.BOLTS_PERIMETER


def test_the_comparison_sees_two_parts_in_a_thousand() -> None:
    assert all(differs(1.002 * truth, truth) and differs(0.998 * truth, truth) for truth in EXPECTED.values() if truth)
