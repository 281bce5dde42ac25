"""Distinct rows against numpy's own, which is slower: the same rows in the same order."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screener.unique_rows import unique_rows


@settings(max_examples=200, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    rows=st.integers(0, 60),
    columns=st.integers(1, 20),
    kind=st.sampled_from(["bool", "small", "signed", "words"]),
)
def test_same_as_numpy(seed, rows, columns, kind):
    rng = np.random.default_rng(seed)
    table = {
        "bool": lambda size: rng.random(size) < 0.7,
        "small": lambda size: rng.integers(-1, 3, size),
        "signed": lambda size: rng.choice([-(2**63), -257, -256, -1, 0, 1, 255, 256, 2**63 - 1], size),
        "words": lambda size: rng.choice(np.array([0, 1, 255, 256, 2**63, 2**64 - 1], dtype=np.uint64), size),
    }[kind]((rows, columns))
    table = table[rng.integers(0, max(1, rows // 3), rows)] if rows else table
    found, which = unique_rows(table)
    want, of = np.unique(table, axis=0, return_inverse=True)
    assert found.dtype == table.dtype
    np.testing.assert_array_equal(found, want)
    np.testing.assert_array_equal(which, of.reshape(-1))


def test_rows_without_a_column_are_all_alike():
    found, which = unique_rows(np.zeros((4, 0), dtype=np.int64))
    assert found.shape == (1, 0)
    assert which.tolist() == [0, 0, 0, 0]
    assert unique_rows(np.zeros((0, 0), dtype=np.int64))[0].shape == (0, 0)


def test_other_numbers_are_refused():
    with pytest.raises(ValueError, match="rows of float64; expected bool, int64 or uint64"):
        unique_rows(np.zeros((2, 2)))
