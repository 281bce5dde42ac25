"""Usage ratios and the cheapest option that holds: hand numbers, brute force, and equality of the two kernels."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from screener.choice import cheapest_passing, line_passes, option_ratios, usage_ratios

FEW = settings(max_examples=200, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
NAN = math.nan


def ratio_by_hand(values, wind, seismic, hazards, alone=False):
    """The rule in plain Python, one lot: (ratio, case)."""
    worst, governing = 0.0, -1
    for case, hazard in enumerate(hazards):
        total = 0.0
        for component, demand in enumerate(values[case]):
            if math.isnan(demand):
                return NAN, -1
            if demand <= 0.0:
                continue
            allowable = (seismic if hazard == "seismic" else wind)[component]
            term = math.inf if math.isnan(allowable) or allowable == 0.0 else demand / allowable
            total = max(total, term) if alone else total + term
        if total > worst:
            worst, governing = total, case
    return worst, governing


def test_sum_of_ratios_within_a_case_then_the_greatest_case():
    """300/600 + 50/200 = 0.75 in one case, 100/600 + 120/200 = 0.7667 in the other; never 300/600 + 120/200 = 1.1."""
    values = np.array([[[300.0, 50.0], [100.0, 120.0]]])
    ratio, case = usage_ratios(values, [600.0, 200.0], [600.0, 200.0], ["wind", "wind"])
    assert ratio[0] == pytest.approx(100 / 600 + 120 / 200, rel=1e-15)
    assert case[0] == 1


def test_seismic_cases_use_seismic_allowables_and_gravity_those_of_wind_unless_told():
    values = np.array([[[100.0]]])
    assert usage_ratios(values, [200.0], [50.0], ["wind"])[0][0] == 0.5
    assert usage_ratios(values, [200.0], [50.0], ["seismic"])[0][0] == 2.0
    assert usage_ratios(values, [200.0], [50.0], ["gravity"])[0][0] == 0.5
    assert usage_ratios(values, [200.0], [50.0], ["gravity"], gravity_allowable="seismic")[0][0] == 2.0


def test_no_capacity_in_a_direction():
    """No allowable: infinite where something is demanded, nothing where not. Zero is no capacity either."""
    values = np.array([[[100.0, 0.0]], [[100.0, 1e-9]], [[100.0, -50.0]]])
    for missing in (NAN, 0.0):
        ratio, case = usage_ratios(values, [200.0, missing], [200.0, missing], ["wind"])
        assert ratio.tolist() == [0.5, math.inf, 0.5]
        assert case.tolist() == [0, 0, 0]


def test_no_demand_has_no_governing_case_and_an_unknown_demand_never_passes():
    values = np.array([[[-5.0], [0.0]], [[10.0], [NAN]]])
    ratio, case = usage_ratios(values, [100.0], [100.0], ["wind", "seismic"])
    assert ratio[0] == 0.0
    assert math.isnan(ratio[1])
    assert case.tolist() == [-1, -1]
    assert cheapest_passing(ratio[:, None], [5]).tolist() == [0, -1]


def test_a_ratio_of_one_passes_and_the_next_number_does_not():
    values = np.array([[[500.0]], [[np.nextafter(500.0, 600.0)]]])
    ratio, _ = usage_ratios(values, [500.0], [500.0], ["wind"])
    assert cheapest_passing(ratio[:, None], [1]).tolist() == [0, -1]


def test_components_that_do_not_interact():
    values = np.array([[[60.0, 80.0]]])
    ratio, _ = usage_ratios(values, [100.0, 100.0], [100.0, 100.0], ["wind"], interaction="none")
    assert ratio[0] == 0.8


@FEW
@given(
    seed=st.integers(0, 2**31),
    n_lots=st.integers(0, 8),
    cases=st.integers(1, 5),
    components=st.integers(1, 3),
    options=st.integers(1, 4),
)
def test_both_kernels_vs_plain_python(seed, n_lots, cases, components, options):
    rng = np.random.default_rng(seed)
    values = rng.normal(100.0, 150.0, (n_lots, cases, components))
    values[rng.random(values.shape) < 0.03] = NAN
    wind, seismic = rng.uniform(50.0, 900.0, (2, options, components))
    wind[rng.random(wind.shape) < 0.1] = NAN
    seismic[rng.random(seismic.shape) < 0.1] = 0.0
    hazards = rng.choice(["wind", "seismic", "gravity"], cases).tolist()
    rules = rng.choice(["sum", "none"], options).tolist()
    one = option_ratios(values, wind, seismic, hazards, interactions=rules, compiled=False)
    other = option_ratios(values, wind, seismic, hazards, interactions=rules, compiled=True)
    assert one[0].tobytes() == other[0].tobytes()  # bit for bit
    assert (one[1] == other[1]).all()
    for lot in range(n_lots):
        for option in range(options):
            ratio, case = ratio_by_hand(values[lot], wind[option], seismic[option], hazards, rules[option] == "none")
            assert np.array_equal(one[0][lot, option], ratio, equal_nan=True)
            assert one[1][lot, option] == case


def test_lots_in_chunks_are_lots_one_by_one():
    rng = np.random.default_rng(1)
    values = rng.normal(100.0, 100.0, (2500, 4, 2))
    whole = usage_ratios(values, [200.0, 90.0], [150.0, 80.0], ["wind", "wind", "seismic", "gravity"])
    for part in (slice(0, 1), slice(1000, 1100), slice(2490, 2500)):
        piece = usage_ratios(values[part], [200.0, 90.0], [150.0, 80.0], ["wind", "wind", "seismic", "gravity"])
        assert whole[0][part].tobytes() == piece[0].tobytes()
        assert (whole[1][part] == piece[1]).all()


@FEW
@given(seed=st.integers(0, 2**31), n_lots=st.integers(0, 8), options=st.integers(0, 6))
def test_cheapest_passing_vs_brute_force(seed, n_lots, options):
    rng = np.random.default_rng(seed)
    ratios = rng.choice([0.2, 1.0 - 1e-12, 1.0, 1.0 + 1e-12, 3.0, NAN, math.inf], (n_lots, options))
    costs = rng.integers(0, 4, options)
    order = rng.permutation(options)
    found = cheapest_passing(ratios, costs, order)
    for lot in range(n_lots):
        passing = [(costs[each], order[each], each) for each in range(options) if ratios[lot, each] <= 1.0]
        assert found[lot] == (min(passing)[2] if passing else -1)


def test_nothing_passes_is_minus_one_and_ties_go_to_the_stated_order():
    assert cheapest_passing([[2.0, 2.0], [0.5, 0.5]], [7, 7]).tolist() == [-1, 0]
    assert cheapest_passing([[0.5, 0.5]], [7, 7], order=[1, 0]).tolist() == [1]
    assert cheapest_passing(np.zeros((2, 0)), []).tolist() == [-1, -1]


def test_a_stronger_option_never_fails_where_the_weaker_passes():
    rng = np.random.default_rng(2)
    values = rng.normal(100.0, 100.0, (500, 3, 2))
    weak = usage_ratios(values, [200.0, 90.0], [150.0, 80.0], ["wind", "seismic", "seismic"])[0]
    strong = usage_ratios(values, [220.0, 90.0], [150.0, 95.0], ["wind", "seismic", "seismic"])[0]
    assert (strong <= weak).all()


def test_a_line_passes_only_at_all_its_points():
    first, second = np.array([[0.5, 0.9], [0.2, NAN]]), np.array([[0.7, 1.2], [0.1, 0.3]])
    passes, worst, point = line_passes([first, second])
    assert passes.tolist() == [[True, False], [True, False]]
    assert worst[0].tolist() == [0.7, 1.2]
    assert worst[1, 0] == 0.2
    assert math.isnan(worst[1, 1])
    assert point.tolist() == [[1, 1], [0, 0]]


def test_inputs_are_not_changed_and_wrong_ones_are_refused():
    values = np.array([[[10.0, -5.0]]])
    before = values.copy()
    usage_ratios(values, [100.0, 100.0], [100.0, 100.0], ["wind"])
    assert (values == before).all()
    for bad in (math.inf, -1.0):
        with pytest.raises(ValueError, match="infinite or negative"):
            usage_ratios(values, [bad, 100.0], [100.0, 100.0], ["wind"])
    with pytest.raises(ValueError, match="not known"):
        usage_ratios(values, [100.0, 100.0], [100.0, 100.0], ["flood"])
    with pytest.raises(ValueError, match="one for each case"):
        usage_ratios(values, [100.0, 100.0], [100.0, 100.0], ["wind", "wind"])
    with pytest.raises(ValueError, match="2 components"):
        usage_ratios(values, [100.0], [100.0], ["wind"])
    with pytest.raises(ValueError, match="no cost"):
        cheapest_passing([[0.5]], [NAN])
