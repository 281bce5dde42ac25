"""Truss ties by components and cladding: ASCE 7-16 and 7-22 Chapter 30 on a truss as one component (26.2).

The reactions are worked out again here by adding up thin slices, with coefficients from the check table
`checks/data/wind_gcp_cc.csv` (a third party's graph reading) and zones by distance from the roof's edge (the zone
maps are from memory).
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from demand_houses import SAMPLE_PLANS, lots, plan_file, plan_text
from test_demand_laws import mixed_lots
from test_irregularities import BOX, WHOLE

from screener.checks.published import published
from screener.demands import DemandModel, build_model, evaluate, load_basis
from screener.plans import Variant
from screener.standards.asce7_ch30_components import gcp

Q, GCPI, KD = 30.0, 0.18, 0.85
EDITIONS = ("ASCE 7-16", "ASCE 7-22")


def gable() -> Variant:
    """30 ft span, 40 ft long, 5 in 12, 1 ft eaves, trusses at 2 ft; no rake overhang."""
    return plan_text(BOX.format(areas=WHOLE, openings="", more="")).variant()


def slices(model: DemandModel, at_end: bool, edition: str) -> tuple[float, float]:
    """Uplift at the two bearings of one truss by slices of 0.01 ft: wind with inside pressure, without dead load, lb.

    Area 30 x max(2, 30 / 3) = 300 sq ft; a = 3 ft. ASCE 7-16, 20 to 27 degrees at 300 sq ft (wind.md's break points):
    zones 1 and 2e -0.8, 2n, 2r and 3e -1.2, 3r -1.8; ASCE 7-22: zone 1 -0.8, 2 -1.2, 3 -1.4.
    """
    old = edition == "ASCE 7-16"
    field, ridge = -0.8, -1.2
    rake, rake_eave, rake_ridge = (-1.2, -1.2, -1.8) if old else (-1.2, -1.4, -1.4)
    tangent = 5.0 / 12.0
    over = overhang(edition, at_end)
    left = right = 0.0
    step = 0.01
    for u in np.arange(-1.0 + step / 2, 31.0, step):
        edge = min(u + 1.0, 31.0 - u)  # from the edge of the roof
        at_ridge = abs(u - 15.0) < 3.0
        at_eave = edge < 3.0
        if at_end:
            suction = rake_eave if at_eave else rake_ridge if at_ridge else rake
        else:
            suction = field if at_eave or not at_ridge else ridge
        outside = u < 0.0 or u > 30.0
        p = KD * Q * (-(over if outside else suction) + (0.0 if outside else GCPI))
        side = -1.0 if u < 15.0 else 1.0
        height = 0.5 + tangent * (min(u, 30.0 - u))
        moment = p * step * u + side * tangent * p * step * (-height)  # about the low bearing
        right += moment / 30.0
        left += p * step - moment / 30.0
    return 2.0 * left, 2.0 * right


def overhang(edition: str, at_end: bool) -> float:
    """Net coefficient of the eave: 7-16 has its own curve; 7-22 adds the wall's pressure below the roof's suction."""
    zone = {("ASCE 7-16", False): "2e", ("ASCE 7-16", True): "3e", ("ASCE 7-22", False): "1", ("ASCE 7-22", True): "3"}
    angle = math.degrees(math.atan(5 / 12))
    return float(gcp("gable", zone[edition, at_end], "suction", angle, 300.0, edition, overhang=True))


def uplift(model: DemandModel, name: str, label: str = "components and cladding") -> float:
    """Largest wind part of the uplift in the cases of one label, lb, strength level: the dead load taken out."""
    point = model.by_name[name]
    column = model.frame.column
    k = point.components.index("uplift_lb")
    rows = [i for i, c in enumerate(point.case_names) if label in c and "least" not in c]
    wind = point.coefficients[rows, k]
    got = Q * wind[:, column["q_components_psf"]] + Q * GCPI * wind[:, column["q_components_gcpi_psf"]]
    return float(got.max()) / 0.6  # 0.6 W


@pytest.mark.parametrize("edition", EDITIONS)
@pytest.mark.parametrize("at_end", [True, False])
def test_uplift_of_a_truss_by_slices(edition: str, at_end: bool) -> None:
    model = build_model(gable(), edition, "ASD", roof_ties="components")
    q = 1.0 if edition == "ASCE 7-16" else KD  # 7-16 holds Kd in q, 7-22 in the pressure
    left, right = slices(model, at_end, edition)
    zone = "end zone" if at_end else "interior"
    found = uplift(model, f"truss tie: main on front, {zone}")
    assert left == pytest.approx(right, rel=1e-6)
    assert found == pytest.approx(left / KD * q, rel=2e-3)
    assert uplift(model, f"plate to stud: main on front, {zone}") == pytest.approx(found)


@pytest.mark.parametrize("plan", SAMPLE_PLANS, ids=lambda p: p.stem)
@pytest.mark.parametrize("edition", EDITIONS)
def test_the_larger_of_both_and_only_at_ties_and_their_studs(plan: Path, edition: str) -> None:
    """Every style of every sample plan: the option lowers no demand and changes nothing else; gables' ties rise."""
    here, raised = mixed_lots(), set()
    for style in plan_file(plan).styles:
        v = plan_file(plan).variant(style)
        main, both = (build_model(v, edition, "ASD", roof_ties=ties) for ties in ("main", "components"))
        basis = load_basis(main, here)
        assert [p.name for p in main.points] == [p.name for p in both.points]
        for one, other in zip(main.points, both.points, strict=True):
            a, b = evaluate(one, basis).largest, evaluate(other, basis).largest
            if one.family in ("truss_tie", "plate_to_stud"):
                assert (b >= a - 1e-9).all(), one.name
                raised |= {one.family} if (b > a + 1.0).any() else set()
            else:
                np.testing.assert_array_equal(a, b, err_msg=one.name)
    assert raised == {"truss_tie", "plate_to_stud"}


def test_a_case_says_that_it_is_by_components() -> None:
    """Strong wind: the governing case of an end-zone tie carries the label that `explain` prints."""
    model = build_model(gable(), "ASCE 7-16", "ASD", roof_ties="components")
    point = model.by_name["truss tie: main on front, end zone"]
    here = lots(q_envelope_psf=30.0, q_components_psf=45.0)
    case = int(evaluate(point, load_basis(model, here)).case[0, 0])
    assert "components and cladding" in point.case_names[case]


@pytest.mark.parametrize(("zone", "gcp"), [("1", -0.8), ("2n", -1.2), ("2r", -1.2), ("3e", -1.2), ("3r", -1.8)])
def test_the_coefficients_of_the_slices_stand_in_the_check_table(zone: str, gcp: float) -> None:
    """ASCE 7-16, gable 20 to 27 degrees: the end of each suction curve, which holds at 300 sq ft and more."""
    rows = published("wind_gcp_cc.csv")
    here = [
        r for r in rows if (r["edition"], r["figure"], r["surface"], r["zone"]) == ("7-16", "30_3_2C", "roof-", zone)
    ]
    last = max(here, key=lambda r: float(r["area_ft2"]))
    assert float(last["gcp"]) == gcp


@pytest.mark.parametrize("plan", SAMPLE_PLANS, ids=lambda p: p.stem)
@pytest.mark.parametrize("edition", EDITIONS)
def test_sheathing_nails_are_counted_over_the_whole_roof_zone_by_zone(plan: Path, edition: str) -> None:
    """The zones of the roof sheathing, overhangs included, add up to the roof on the slope: plan area over the cosine.
    So nails counted by zone leave out nothing and count nothing twice."""
    for style in plan_file(plan).styles:
        v = plan_file(plan).variant(style)
        points = [p for p in build_model(v, edition, "ASD").points if p.family == "roof_sheathing"]
        for roof in v.roofs:
            along = roof.length + 2.0 * roof.rake_overhang_ft
            across = roof.span + 2.0 * roof.eave_overhang_ft
            on_slope = along * across * math.hypot(1.0, roof.pitch_in_12 / 12.0)
            mine = [p for p in points if p.name.startswith(f"roof sheathing: {roof.name} zone")]
            assert sum(p.area_sqft for p in mine) == pytest.approx(on_slope, abs=1.0), roof.name
            assert len({p.schedule for p in mine}) >= 3
