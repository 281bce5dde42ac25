"""Findings without words say the same of every lot as findings with words; numbers by direction read as formatted."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from screener.scope import CodeFindings, Findings, codes
from screener.site_hazards import _joined, _sixteen_texts

NAMES = sorted(codes())
LOTS = 6


@given(
    st.lists(
        st.tuples(st.sampled_from(NAMES), st.lists(st.booleans(), min_size=LOTS, max_size=LOTS), st.booleans()),
        max_size=12,
    )
)
def test_codes_alone_agree_with_codes_and_words(found: list[tuple[str, list[bool], bool]]) -> None:
    """Same flags, lots stopped and referred, rows of exceptions. Fails where a graver repeat is told twice."""
    full, bare = Findings(LOTS), CodeFindings(LOTS)
    for findings in (full, bare):
        for code, lots, graver in found:
            findings.add(code, np.array(lots), "detail")
            if graver:
                findings.one(0, code, "detail", severity="stop")
    assert list(full.flags()) == list(bare.flags())
    np.testing.assert_array_equal(full.stopped(), bare.stopped())
    np.testing.assert_array_equal(full.referred(), bare.referred())
    ids = np.array([f"L{i}" for i in range(LOTS)])
    told = {tuple(row) for row in full.frame(ids)[["lot_id", "reason"]].to_numpy()}
    assert told == {tuple(row) for row in bare.frame(ids)[["lot_id", "reason"]].to_numpy()}


@given(st.lists(st.one_of(st.just(float("nan")), st.floats(0.0, 12.0)), min_size=16, max_size=16))
def test_sixteen_numbers_read_as_formatted(row: list[float]) -> None:
    """Against Python's own formatting, edges between hundredths included."""
    assert _sixteen_texts(np.array([row]))[0] == " ".join("?" if v != v else f"{v:.2f}" for v in row)


def test_edges_between_hundredths() -> None:
    values = np.array(
        [1.005, 1.015, 1.025, 2.675, 1.145, 0.005, 9.994999, 9.995, 9.996, 10.0, 0.0, 1.0, 1.23, 3.3, 4, 5]
    )
    assert _sixteen_texts(values[None, :])[0] == " ".join(f"{v:.2f}" for v in values)


def test_letters_are_joined() -> None:
    assert list(_joined(np.array([["B", "C", "?"], ["D", "D", "B"]]))) == ["BC?", "DDB"]
    assert len(_joined(np.empty((0, 16), dtype="<U1"))) == 0
