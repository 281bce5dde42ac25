"""ASCE 7-22: SMS and SM1 of each lot's own site class, and of the default class.

Section 11.4.2 (read in slides on the 2024 maps): the default is the most critical of C, CD and D, parameter by
parameter. No factor of ASCE 7-16 touches the values.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_seismic import column, lots

from hazard.issues import InputError, Issues
from hazard.layers import Column, Constant, Source
from hazard.seismic import Seismic, seismic

VALUES = {"B": (1.0, 0.3), "C": (1.5, 0.6), "CD": (1.45, 0.8), "D": (1.3, 1.0), "DE": (1.2, 1.4)}


def sources(values: dict[str, tuple[float, float]] = VALUES) -> dict[str, dict[str, Source]]:
    return {c: {"sms_g": Constant(s, "sms_g"), "sm1_g": Constant(one, "sm1_g")} for c, (s, one) in values.items()}


def run(classes: list[str], by_class: dict[str, dict[str, Source]], edition: str = "ASCE 7-22") -> Seismic:
    soil = Column(np.array(classes, dtype=object), "soil", "site_class")
    given_s1: dict[str, Source] = {"s1_g": Constant(0.5, "s1_g")}
    return seismic(edition, given_s1, soil, lots(len(classes)), Issues(), by_class)


def test_each_lot_takes_its_own_class_and_the_default_the_greater_of_three() -> None:
    """SMS governs in C, SM1 in D: the default takes 1.5 and 1.0; design values are two thirds (11.4-1, 11.4-2)."""
    found = run(["B", "C", "CD", "D", "DE", "default", ""], sources())
    np.testing.assert_array_equal(found.sms_g, [1.0, 1.5, 1.45, 1.3, 1.2, 1.5, 1.5])
    np.testing.assert_array_equal(found.sm1_g, [0.3, 0.6, 0.8, 1.0, 1.4, 1.0, 1.0])
    np.testing.assert_allclose(found.sds_g, found.sms_g * 2 / 3)
    np.testing.assert_allclose(found.sd1_g, found.sm1_g * 2 / 3)
    assert np.isnan(found.fa).all()
    assert "site_class_default" in found.codes[5]
    assert "class C:" in found.provenance["sms_g"]


def test_class_f_has_no_value_and_says_so() -> None:
    found = run(["F", "C"], sources())
    assert np.isnan(found.sds_g[0])
    assert found.sources["sms_g"].reason.tolist() == ["site class", ""]
    assert "site_class_f" in found.codes[0]


def test_a_class_without_values_is_named_with_its_lots() -> None:
    with pytest.raises(InputError) as error:
        run(["E", "E", "default"], sources({"C": (1.5, 0.6), "D": (1.3, 1.0)}))
    (issue,) = error.value.issues
    assert issue.code == "site_class_values"
    assert issue.found == "1 lots need class CD, 2 lots need class E"


@pytest.mark.parametrize("written", ["default", "F", "Q"])
def test_what_has_no_values_of_its_own_is_refused(written: str) -> None:
    with pytest.raises(InputError) as error:
        run(["C"], sources({written: (1.0, 1.0), "C": (1.5, 0.6)}))
    assert error.value.issues[0].code == "site_class_unknown"


def test_values_by_class_belong_to_the_newer_edition() -> None:
    with pytest.raises(InputError) as error:
        run(["C"], sources(), "ASCE 7-16")
    assert error.value.issues[0].code == "seismic_editions_mixed"


def test_a_lot_whose_class_has_no_value_there_is_unknown_and_no_other() -> None:
    """A gap in one class's data: only the lots that need that class lose their values; the default needs all three."""
    by_class = sources()
    by_class["CD"]["sms_g"] = column("sms_g", np.nan, np.nan)
    found = run(["C", "default"], by_class)
    assert found.sds_g[0] == pytest.approx(1.0)
    assert np.isnan(found.sds_g[1])


@given(
    c=st.tuples(st.floats(0.01, 3.0), st.floats(0.01, 2.0)),
    cd=st.tuples(st.floats(0.01, 3.0), st.floats(0.01, 2.0)),
    d=st.tuples(st.floats(0.01, 3.0), st.floats(0.01, 2.0)),
)
def test_the_default_is_never_below_any_of_its_three(
    c: tuple[float, float], cd: tuple[float, float], d: tuple[float, float]
) -> None:
    found = run(["default", "C", "CD", "D"], sources({"C": c, "CD": cd, "D": d}))
    for values in (found.sms_g, found.sm1_g):
        assert values[0] == values[1:].max()
