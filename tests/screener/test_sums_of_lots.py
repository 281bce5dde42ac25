"""Totals of undecided lots: exact convolution against trying every outcome, and against simulation."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from screener import sums_of_lots
from screener.sums_of_lots import (
    LotClass,
    mean_of,
    simulated_totals,
    support_steps,
    total_of,
    uncertain_shares,
)

FEW = settings(max_examples=100, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


@st.composite
def lot_classes(draw: st.DrawFn, most_lots: int = 3, most_classes: int = 2) -> list[LotClass]:
    out = []
    for _ in range(draw(st.integers(1, most_classes))):
        weights = draw(st.lists(st.integers(1, 9), min_size=1, max_size=3))
        pieces = draw(st.lists(st.integers(0, 60), min_size=len(weights), max_size=len(weights)))
        total = sum(weights)
        out.append(LotClass(draw(st.integers(1, most_lots)), tuple(pieces), tuple(w / total for w in weights)))
    return out


def enumerated(classes: list[LotClass]) -> dict[int, float]:
    """Chance of every total, by going through every outcome of every lot."""
    lots = [list(zip(c.pieces, c.chance, strict=True)) for c in classes for _ in range(c.lots)]
    out: dict[int, float] = {}
    for outcome in itertools.product(*lots):
        total = sum(x for x, _ in outcome)
        out[total] = out.get(total, 0.0) + math.prod(p for _, p in outcome)
    return out


@FEW
@given(lot_classes())
def test_convolution_is_the_enumeration(classes: list[LotClass]) -> None:
    expected, found = enumerated(classes), total_of(classes)
    chance = dict(zip(found.totals.tolist(), found.chance.tolist(), strict=True))
    for total, p in expected.items():
        assert chance[total] == pytest.approx(p, abs=1e-12)
    assert sum(chance.values()) == pytest.approx(1.0, abs=1e-12)
    assert found.mean() == pytest.approx(sum(t * p for t, p in expected.items()), abs=1e-9)
    assert mean_of(classes) == pytest.approx(found.mean(), abs=1e-9)
    for amount in (0, 17, 90):
        assert found.above(amount) == pytest.approx(sum(p for t, p in expected.items() if t > amount), abs=1e-12)
        short = sum((t - amount) * p for t, p in expected.items() if t > amount)
        assert found.shortfall(amount) == pytest.approx(short, abs=1e-9)


@FEW
@given(lot_classes())
def test_the_transform_gives_what_term_by_term_gives(classes: list[LotClass]) -> None:
    """Both ways of convolving agree, whatever the amount of work decides."""
    own = [(sums_of_lots._own(c, support_steps(classes)[1]), c.lots) for c in classes if max(c.pieces) > min(c.pieces)]
    steps = support_steps(classes)[2]
    np.testing.assert_allclose(sums_of_lots._transformed(own, steps), sums_of_lots._direct(own), atol=1e-13)


@FEW
@given(lot_classes(most_lots=6, most_classes=3), lot_classes(most_lots=1, most_classes=1))
def test_percentiles_are_ordered_and_more_lots_never_lower_them(classes: list[LotClass], more: list[LotClass]) -> None:
    less, total = total_of(classes), total_of([*classes, *more])
    shares = (0.1, 0.5, 0.9)
    assert less.quantiles(shares) == sorted(less.quantiles(shares))
    assert all(a <= b for a, b in zip(less.quantiles(shares), total.quantiles(shares), strict=True))
    for share, amount in zip(shares, less.quantiles(shares), strict=True):
        assert less.above(amount) <= 1 - share + 1e-9  # enough with at least that probability
        assert less.above(amount - 1) > 1 - share - 1e-8  # and nothing less is


def test_hand_worked_two_lots() -> None:
    """Two lots of 10 or 30 pieces at even chances: 20, 40, 60 with 1/4, 1/2, 1/4."""
    found = total_of([LotClass(2, (10, 30), (0.5, 0.5))])
    assert (found.least, found.step) == (20, 20)
    np.testing.assert_allclose(found.chance, [0.25, 0.5, 0.25])
    assert found.quantiles((0.1, 0.5, 0.75, 0.9)) == [20, 40, 40, 60]
    assert found.above(40) == pytest.approx(0.25)
    assert found.shortfall(30) == pytest.approx(0.5 * 10 + 0.25 * 30)
    nothing = total_of([])
    assert (nothing.mean(), nothing.quantile(0.9)) == (0.0, 0)


def test_simulation_agrees_where_lots_are_independent() -> None:
    """118 lots of five plans: simulated mean within four standard errors, percentiles at their probability.

    A simulated P90 is the 0.9 point of draws: its true probability lies within four standard errors of 0.9.
    """
    shares, pieces = np.array([0.22, 0.26, 0.18, 0.20, 0.14]), np.array([52, 100, 64, 88, 70])
    exact = total_of([LotClass(118, tuple(pieces.tolist()), tuple(shares.tolist()))])
    draws = 20_000
    drawn = simulated_totals([118], [np.broadcast_to(shares, (draws, 5))], [pieces[:, None]], seed=7)[:, 0]
    sd = math.sqrt(float((exact.totals - exact.mean()) ** 2 @ exact.chance))
    assert abs(drawn.mean() - exact.mean()) < 4 * sd / math.sqrt(draws)
    for share in (0.1, 0.5, 0.9):
        at = int(np.sort(drawn)[math.ceil(share * draws) - 1])
        off = 4 * math.sqrt(share * (1 - share) / draws)
        assert 1 - exact.above(at) >= share - off
        assert 1 - exact.above(at - 1) <= share + off


def test_p90_is_enough_in_nine_of_ten_simulated_tracts() -> None:
    """Coverage of the exact P90 in simulated tracts lies in 88 to 92 %, as a purchaser would ask of it."""
    shares, pieces = np.array([0.22, 0.26, 0.18, 0.20, 0.14]), np.array([0, 50, 0, 41, 0])
    exact = total_of([LotClass(118, tuple(pieces.tolist()), tuple(shares.tolist()))])
    drawn = simulated_totals([118], [np.broadcast_to(shares, (20_000, 5))], [pieces[:, None]], seed=11)[:, 0]
    assert 0.88 <= float((drawn <= exact.quantile(0.9)).mean()) <= 0.92


def test_an_uncertain_mix_widens_and_keeps_the_mean() -> None:
    """Dirichlet shares: mean of the shares is the mix, variance m (1 - m) / (certainty + 1) (standard result, from
    memory); a plan outside the mix never appears; a mix of one plan stays."""
    mix = np.array([0.3, 0.0, 0.7])
    drawn = uncertain_shares(mix, 20.0, 40_000, seed=3)
    np.testing.assert_allclose(drawn.sum(axis=1), 1.0)
    assert (drawn[:, 1] == 0).all()
    se = math.sqrt(0.21 / 21 / 40_000)
    assert abs(drawn[:, 0].mean() - 0.3) < 4 * se
    assert drawn[:, 0].var() == pytest.approx(0.21 / 21, rel=0.05)
    assert (uncertain_shares(np.array([0.0, 1.0]), 5.0, 3, seed=1) == [0.0, 1.0]).all()
    pieces = np.array([[10], [0], [40]])
    sure = simulated_totals([100], [np.broadcast_to(mix, (5000, 3))], [pieces], seed=5)
    unsure = simulated_totals([100], [uncertain_shares(mix, 20.0, 5000, seed=3)], [pieces], seed=5)
    assert unsure.std() > 1.5 * sure.std()


def test_same_seed_same_draws() -> None:
    args = ([3, 2], [np.array([[0.5, 0.5]] * 50)] * 2, [np.array([[1], [9]])] * 2)
    assert (simulated_totals(*args, seed=4) == simulated_totals(*args, seed=4)).all()


def test_faults_are_told() -> None:
    with pytest.raises(ValueError, match="chances sum to"):
        LotClass(1, (1, 2), (0.5, 0.6))
    with pytest.raises(ValueError, match="at least one of each"):
        LotClass(0, (1,), (1.0,))
    with pytest.raises(ValueError, match="simulate"):
        total_of([LotClass(2, (0, 1, sums_of_lots.MOST_SUPPORT), (0.4, 0.1, 0.5))])
    with pytest.raises(ValueError, match="no lots"):
        simulated_totals([], [], [], seed=1)
