"""The hand calculation of the house "abacus" (hand_check) once more by strength design: its factors changed, no more.

The arithmetic writes every load with its factor, so ASCE 7-16 2.3.1 and 2.3.6 stand in for 2.4.1 and 2.4.5 by replacing
four lines. It knows nothing of the tool; each kind of connection is checked under wind and under earthquake.
"""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import pytest
from demand_houses import ABACUS, demand, lots, plan_file

from screener.demands import DemandModel, build_model

TOLERANCE = 0.001  # as for allowable stress design: test_hand_checked_plan.py
ALLOWABLE_TO_STRENGTH = (
    ("W_, D_ = 0.6, 0.6", "W_, D_ = 1.0, 0.9"),  # 0.9D + 1.0W
    ("E_ = 0.7 ", "E_ = 1.0 "),  # 0.9D - Ev + Eh
    ("DQ = 0.6 - 0.14 * SDS", "DQ = 0.9 - 0.2 * SDS"),
    (
        "(1 + 0.7 * 0.2 * SDS) * POST_D + COUPLE_RQ,\n"
        "    (1 + 0.525 * 0.2 * SDS) * POST_D + 0.75 * COUPLE_RQ + 0.75 * POST_SNOW,\n"
        "    POST_D + POST_SNOW,",
        "(1.2 + 0.2 * SDS) * POST_D + COUPLE_RQ + 0.2 * POST_SNOW,\n"  # 1.2D + Ev + Eh + L + 0.2S
        "    1.2 * POST_D + 1.6 * POST_SNOW,\n"  # 1.2D + 1.6S
        "    1.4 * POST_D,",
    ),
)


def _by_strength() -> ModuleType:
    file = ABACUS.parent / "arithmetic.py"
    text = file.read_text(encoding="utf-8")
    for old, new in ALLOWABLE_TO_STRENGTH:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    module = ModuleType("arithmetic_by_strength")
    exec(compile(text, Path(file).name, "exec"), module.__dict__)
    return module


hand = _by_strength()
EXPECTED: dict[tuple[str, str, str], float] = hand.expected()
LOTS = {
    "wind": lots(q_envelope_psf=hand.Q, q_components_psf=hand.QC, sds_g=0.01, sd1_g=0.005, roof_snow_psf=hand.SNOW),
    "quake": lots(sds_g=hand.SDS, sd1_g=hand.SD1, s1_g=hand.S1, rho=hand.RHO, roof_snow_psf=hand.SNOW),
}


@pytest.fixture(scope="module")
def model() -> DemandModel:
    return build_model(plan_file(ABACUS).variant(), "ASCE 7-16", "LRFD")


@pytest.mark.parametrize(("lot", "point", "component"), [pytest.param(*k, id=" | ".join(k)) for k in EXPECTED])
def test_strength_demand_agrees_with_the_hand_calculation(
    model: DemandModel, lot: str, point: str, component: str
) -> None:
    truth = EXPECTED[lot, point, component]
    assert demand(model, LOTS[lot], point, component) == pytest.approx(truth, rel=TOLERANCE, abs=1e-9)
