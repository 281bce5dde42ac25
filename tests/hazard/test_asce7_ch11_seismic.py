"""ASCE 7 Chapter 11: laws and rules. Published values: `screener.checks`, subject seismic_ground."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hazard.standards import asce7_ch11_seismic as ch11


def test_class_e_ends_where_a_study_is_asked_for() -> None:
    """ASCE 7-16 Section 11.4.8: class E has no Fa from SS 1.0 on and no Fv from S1 0.2 on."""
    np.testing.assert_array_equal(
        np.isnan(ch11.site_coefficient("Fa", "ASCE 7-16", "E", [0.999, 1.0, 2.0])), [False, True, True]
    )
    np.testing.assert_array_equal(
        np.isnan(ch11.site_coefficient("Fv", "ASCE 7-16", "E", [0.199, 0.2, 0.6])), [False, True, True]
    )
    assert np.isnan(ch11.site_coefficient("Fa", "ASCE 7-16", "F", 0.5))


def test_asce7_22_has_no_site_coefficients() -> None:
    """ASCE 7-22 Section 11.4.3: values come per site class, so a coefficient can't be asked for."""
    with pytest.raises(ValueError, match="ASCE 7-22 has no site coefficients"):
        ch11.site_coefficient("Fa", "ASCE 7-22", "D", 1.0)


def test_a_bound_belongs_upward_in_asce7_and_downward_in_the_residential_code() -> None:
    """SDS exactly 0.500 g is D by ASCE 7 Table 11.6-1 and C by IRC Table R301.2.2.1.1 (derived)."""
    assert ch11.design_category_sds_only("ASCE 7-16", 0.5, 0.1) == "D"
    assert ch11.residential_category(0.5) == "C"


def test_printed_design_values_of_two_houses() -> None:
    """City-archived houses (read): SMS 1.35, SM1 0.74 give SDS 0.90, SD1 0.49; SDS 1.20 needs SMS 1.80, not 1.60."""
    assert ch11.design_g([1.35, 0.74], "ASCE 7-16") == pytest.approx([0.90, 0.49], abs=0.005)
    assert ch11.design_g(1.80, "ASCE 7-16") == pytest.approx(1.20)
    assert ch11.design_category("ASCE 7-16", 0.90, 0.49, 0.4) == "D"


@given(
    st.floats(0.01, 3), st.floats(1, 1.5), st.sampled_from(["A", "B", "B-unmeasured", "C", "D", "default"]),
    st.sampled_from([("Fa", 1.0), ("Fv", 0.4)]),
)  # fmt: skip
def test_a_stronger_mapped_value_never_lowers_the_design_value(
    mapped: float, more: float, site_class: str, which: tuple[str, float]
) -> None:
    """SMS and SM1 rise with SS and S1 within a site class, although the coefficients fall."""
    name, scale = which
    low, high = mapped * scale, mapped * scale * more
    values = [
        ch11.adjusted_g(ch11.site_coefficient(name, "ASCE 7-16", site_class, m), m)  # type: ignore[arg-type]
        for m in (low, high)
    ]
    assert values[0] <= values[1] + 1e-12


def test_unknown_values_have_no_category() -> None:
    nan = float("nan")
    assert ch11.design_category("ASCE 7-16", [0.3, nan, nan], [nan, 0.1, nan], [0.1, 0.1, 0.8]).tolist() == [
        "",
        "",
        "E",
    ]
    assert ch11.residential_category([nan]).tolist() == [""]
    assert ch11.s1_matters("ASCE 7-16", [0.39, 0.4]).tolist() == [False, True]
    with pytest.raises(ValueError, match="expected 0 or more"):
        ch11.residential_category(-0.1)


def test_site_class_names_by_edition() -> None:
    assert ch11.site_class_name("ASCE 7-16", " d-DEFAULT ") == "default"
    assert ch11.site_class_name("ASCE 7-22", "cd") == "CD"
    with pytest.raises(ValueError, match=r"site class 'CD'; expected one of A, B, B-unmeasured, C, D, default, E, F"):
        ch11.site_class_name("ASCE 7-16", "CD")


def test_bounds_between_categories() -> None:
    """ASCE 7-16 Tables 11.6-1 and 11.6-2 (read), Section 11.6 (read), IRC Table R301.2.2.1.1 (from memory)."""
    assert ch11.category_bounds_g("ASCE 7-16", "SDS").tolist() == [0.167, 0.33, 0.5]
    assert ch11.category_bounds_g("ASCE 7-16", "SD1").tolist() == [0.067, 0.133, 0.2]
    assert ch11.category_bounds_g("ASCE 7-22", "S1").tolist() == [0.75]
    assert ch11.category_bounds_g("IRC", "SDS").tolist() == [0.17, 0.33, 0.5, 0.67, 0.83, 1.25]


def test_still_ground_is_category_a() -> None:
    """The first row of every table of Section 11.6 begins at nothing."""
    assert ch11.residential_category([0.0, 0.01]).tolist() == ["A", "A"]
    assert ch11.design_category("ASCE 7-16", 0.0, 0.0, 0.0) == "A"


def test_one_negative_acceleration_among_others_is_refused() -> None:
    with pytest.raises(ValueError, match=r"acceleration -0.1 g; expected 0 or more"):
        ch11.residential_category([0.5, -0.1])
    with pytest.raises(ValueError, match="expected document one of"):
        ch11.category_by_value("ASCE 7-99", "SDS", 0.5)
