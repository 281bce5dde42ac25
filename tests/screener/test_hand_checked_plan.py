"""The house "abacus" against a calculation by hand (hand_check/calculation.md and arithmetic.py), at every point kind.

The arithmetic knows nothing of the tool; the plan file is all they share. ASCE 7-16, allowable stress design.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Iterable
from pathlib import Path
from types import ModuleType

import pytest
from demand_houses import ABACUS, demand, lots, model_of_file, named, plan_file

from screener.demands import DemandModel, build_model

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


OPEN = "hold-down: lever of the floor depth left out; vertical loads levered over the segment, not over the arm"
"""Open disagreement (calculation.md, 15): the hand follows statics and the published hold-down cases."""

STILL_OPEN = {
    (lot, f"hold-down{kind}: {segment}", "tension_lb")
    for lot, kind, segment in (
        ("wind", "", "right 1, segment 2 (5.0 ft)"),
        ("wind", " anchor", "right 1, segment 2 (5.0 ft)"),
        ("wind", "", "front 2, segment 1 (6.0 ft)"),
        ("wind", "", "front 2, segment 3 (8.0 ft)"),
        ("wind", "", "front 1, segment 1 (4.0 ft)"),
        ("wind", "", "front 1, segment 2 (6.0 ft)"),
        ("wind", "", "wing front 1, segment 1 (3.0 ft)"),
        ("quake", "", "right 1, segment 2 (5.0 ft)"),
        ("quake", "", "front 2, segment 1 (6.0 ft)"),
        ("quake", "", "front 1, segment 1 (4.0 ft)"),
    )
}

CHECKS = [
    pytest.param(*k, id=" | ".join(k), marks=[pytest.mark.xfail(strict=True, reason=OPEN)] if k in STILL_OPEN else [])
    for k in EXPECTED
]


@pytest.mark.parametrize(("lot", "point", "component"), CHECKS)
def test_demand_agrees_with_the_hand_calculation(model: DemandModel, lot: str, point: str, component: str) -> None:
    assert demand(model, LOTS[lot], point, component) == pytest.approx(
        EXPECTED[lot, point, component], rel=TOLERANCE, abs=1e-9
    )


def test_every_kind_of_point_is_checked_by_hand(model: DemandModel) -> None:
    """Roof boundaries appear only where blocking carries the roof's shear; they have their own check below."""
    checked = {p.family for _, point, _ in EXPECTED for p in named(model, point)}
    assert {p.family for p in model.points} - checked == set()


def test_roof_boundary_under_blocking() -> None:
    plan = plan_file(ABACUS)
    blocking = plan.model_copy(update={"plan": plan.plan.model_copy(update={"roof_boundary_by": "blocking"})})
    model = build_model(blocking.variant(), "ASCE 7-16", "ASD")
    wind = LOTS["wind"]
    assert demand(model, wind, "roof boundary: line R, storey 1", "shear_plf") == pytest.approx(
        hand.V1_R / 28, rel=TOLERANCE
    )
    assert demand(model, wind, "roof boundary: line L, storey 2", "shear_plf") == pytest.approx(
        hand.V2_L / 28, rel=TOLERANCE
    )
    # then nothing along the plate is left to the ties
    assert demand(model, wind, "truss tie: main on front 2, interior", "parallel_lb") == 0.0


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
