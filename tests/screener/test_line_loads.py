"""Line loads and simple spans: laws of statics that hold for any load (no published values: plain equilibrium)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screener.line_loads import LineLoad, Profile, hat

place = st.integers(-20, 60).map(float)
size = st.floats(-500.0, 500.0).map(lambda v: round(v, 3))


@st.composite
def line_loads(draw: st.DrawFn) -> LineLoad:
    load = LineLoad(np.zeros(()))
    for _ in range(draw(st.integers(0, 4))):
        lo, hi = sorted(draw(st.lists(place, min_size=2, max_size=2, unique=True)))
        load.spread(lo, hi, np.array(draw(size)), np.array(draw(size)))
    for _ in range(draw(st.integers(0, 4))):
        load.point(draw(place), np.array(draw(size)))
    return load


supports = st.lists(st.integers(0, 40), min_size=2, max_size=5, unique=True).map(
    lambda s: [float(x) for x in sorted(s)]
)
close = pytest.approx


@given(load=line_loads(), at=supports)
@settings(max_examples=200, deadline=None)
def test_reactions_balance_force_and_moment(load: LineLoad, at: list[float]) -> None:
    found = [float(r) for r in load.reactions(at)]
    assert sum(found) == close(float(load.total()), abs=1e-6)
    assert sum(r * x for r, x in zip(found, at, strict=True)) == close(float(load.moment(0.0)), abs=1e-5)


@given(load=line_loads(), at=supports, s=st.floats(-20, 60))
@settings(max_examples=100, deadline=None)
def test_shares_of_a_unit_load_sum_to_one_and_keep_its_place(load: LineLoad, at: list[float], s: float) -> None:
    shares = [hat(at, j, s) for j in range(len(at))]
    assert sum(shares) == close(1.0)
    assert sum(h * x for h, x in zip(shares, at, strict=True)) == close(s, abs=1e-9)


@given(load=line_loads(), a=st.integers(-5, 20), w=st.integers(1, 10), b=st.integers(0, 10), v=st.integers(1, 10))
@settings(max_examples=200, deadline=None)
def test_openings_lose_nothing_and_carry_nothing(load: LineLoad, a: int, w: int, b: int, v: int) -> None:
    gaps = [(float(a), float(a + w)), (float(a + w + b), float(a + w + b + v))]
    levered = load.levered(gaps)
    assert float(levered.total()) == close(float(load.total()), abs=1e-6)
    assert float(levered.moment(0.0)) == close(float(load.moment(0.0)), abs=1e-5)
    for lo, hi in gaps:
        assert float(levered.within(lo, hi, ends=False)) == close(0.0, abs=1e-9)


@given(load=line_loads(), lo=st.integers(-10, 20), width=st.integers(1, 30))
@settings(max_examples=100, deadline=None)
def test_lever_to_two_ends_keeps_force_and_moment(load: LineLoad, lo: int, width: int) -> None:
    a, b = float(lo), float(lo + width)
    at_a, at_b = (float(e) for e in load.to_ends(a, b))
    assert at_a + at_b == close(float(load.within(a, b)), abs=1e-6)
    assert at_b * (b - a) == close(float(load.moment(a, a, b)), abs=1e-5)


@given(load=line_loads(), at=supports, share=st.floats(0.05, 0.95))
@settings(max_examples=150, deadline=None)
def test_inner_shear_and_moment_are_those_of_the_simple_span(load: LineLoad, at: list[float], share: float) -> None:
    """The moment vanishes at a span's inner ends, and the jump of shear across a span is its own load."""
    for k in range(len(at) - 1):
        a, b = at[k], at[k + 1]
        inner = LineLoad(np.zeros(()), list(load._cut(a, b)), [p for p in load.points if a < p[0] < b])
        v_a, m_a = inner.shear_and_moment([a, b], 0, a + 1e-7)
        v_b, m_b = inner.shear_and_moment([a, b], 0, b - 1e-7)
        assert float(m_a) == close(0.0, abs=1e-2)
        assert float(m_b) == close(0.0, abs=1e-2)
        assert float(v_a - v_b) == close(float(inner.total()), abs=1e-2)
        s = a + share * (b - a)
        if all(abs(p - s) > 1e-3 for p, _ in inner.points):
            v, _ = inner.shear_and_moment([a, b], 0, s)
            _, ahead = inner.shear_and_moment([a, b], 0, s + 1e-4)
            _, behind = inner.shear_and_moment([a, b], 0, s - 1e-4)
            assert float(ahead - behind) / 2e-4 == close(float(v), abs=2.0)  # dM/ds = V


@given(load=line_loads(), cut=st.floats(-15, 55))
@settings(max_examples=100, deadline=None)
def test_parts_sum_to_the_whole(load: LineLoad, cut: float) -> None:
    points = LineLoad(load.zero, list(load.pieces))
    assert float(points.within(-np.inf, cut) + points.within(cut, np.inf)) == close(float(points.total()), abs=1e-4)


def test_known_reactions() -> None:
    """Two simple spans 16 and 12 ft under 10 plf with 1.5 ft overhangs: 10 x 17.5^2 / 32 and so on."""
    load = LineLoad(np.zeros(()))
    load.spread(-1.5, 29.5, np.array(10.0))
    low, middle, high = (float(r) for r in load.reactions([0.0, 16.0, 28.0]))
    assert low == close(10 * 17.5**2 / 32)
    assert high == close(10 * 13.5**2 / 24)
    assert middle == close(310 - low - high)


def test_profiles_cross_where_heights_meet() -> None:
    one, two = Profile((0.0, 10.0), (0.0, 10.0)), Profile((0.0, 10.0), (4.0, 4.0))
    assert one.crossings(two) == [close(4.0)]
    assert one.at(-0.1) == 0.0
    assert one.at(2.5) == close(2.5)
