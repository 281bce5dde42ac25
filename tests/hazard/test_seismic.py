"""Earthquake values per lot: sources by edition, site classes, scope codes and the survey's interpolation rule."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyproj
import pytest
from affine import Affine
from raster_helpers import write

from hazard import seismic as module
from hazard.issues import InputError, Issues
from hazard.layers import Column, Constant, Layer, Source
from hazard.sampling import LotPoints
from hazard.seismic import Seismic, seismic

NAD83 = pyproj.CRS("EPSG:4269")


def lots(count: int = 1, lon: float = -122.33, lat: float = 47.60) -> LotPoints:
    xy = np.column_stack([lon + 0.001 * np.arange(count), np.full(count, lat)])
    return LotPoints(xy, NAD83, np.array([f"L{i}" for i in range(count)]))


def column(name: str, *values: float) -> Column:
    return Column(np.array(values, dtype=float), name, name)


def run(edition: str, sources: dict[str, Source], site_class: Source | None, count: int = 1) -> Seismic:
    return seismic(edition, sources, site_class, lots(count), Issues())


def of_7_16(ss: float, s1: float, site_class: str | None) -> Seismic:
    given = Constant(site_class, "site_class") if site_class else None
    return run("ASCE 7-16", {"ss_g": Constant(ss, "ss_g"), "s1_g": Constant(s1, "s1_g")}, given)


def test_seattle_default_class() -> None:
    """ASCE 7-16 check case S11 (derived; SS, S1 the survey's check point, read): SDS 1.1192, SD1 0.5895, D, D2."""
    found = of_7_16(1.399, 0.488, "default")
    assert (found.fa[0], found.fv[0]) == (pytest.approx(1.2), pytest.approx(1.812, abs=5e-4))
    assert (found.sds_g[0], found.sd1_g[0]) == (pytest.approx(1.1192, abs=5e-5), pytest.approx(0.5895, abs=5e-5))
    assert (found.sdc[0], found.sdc_sds_only[0], found.sdc_irc[0]) == ("D", "D", "D2")
    assert found.codes[0] == ("site_class_default", "site_specific_d_s1")


def test_st_louis_by_both_values_and_by_sds_alone() -> None:
    """ASCE 7-16 check case S04 (derived): D by both tables, C by SDS alone (11.6), C in the residential code."""
    found = of_7_16(0.453, 0.16, "D-default")
    assert (found.sdc[0], found.sdc_sds_only[0], found.sdc_irc[0]) == ("D", "C", "C")


def test_site_class_defaults_and_is_noted() -> None:
    issues = Issues()
    sources: dict[str, Source] = {"ss_g": Constant(1.0, "ss_g"), "s1_g": Constant(0.15, "s1_g")}
    found = seismic("ASCE 7-16", sources, None, lots(), issues)
    assert found.site_class[0] == "default"
    assert "site_class_default" in found.codes[0]
    assert [i.severity for i in issues if i.code == "site_class_default"] == ["note"]


def test_class_e_and_f() -> None:
    """ASCE 7-16 Section 11.4.8: E with SS 1.0 or more takes Fa of C and is referred; S1 0.2 or more has no Fv: stop."""
    assert of_7_16(0.117, 0.063, "E").sds_g[0] == pytest.approx(0.1872, abs=5e-5)  # check case S19
    strong = of_7_16(1.5, 0.1, "E")
    assert strong.fa[0] == 1.2
    assert strong.codes[0] == ("site_specific_e_ss",)
    unknown = of_7_16(1.5, 0.6, "E")
    assert np.isnan(unknown.sd1_g[0])
    assert unknown.sdc[0] == ""
    assert {"site_specific_e_s1", "seismic_unknown"} <= set(unknown.codes[0])
    for found in (of_7_16(0.5, 0.1, "F"), run("ASCE 7-22", stated(), Constant("F", "site_class"))):
        assert np.isnan(found.sds_g[0])
        assert "site_class_f" in found.codes[0]
    assert module.code_severities()["site_class_f"] == "stop"


def stated(sds: float = 0.54, sd1: float = 0.27) -> dict[str, Source]:
    return {"sds_g": Constant(sds, "sds_g"), "sd1_g": Constant(sd1, "sd1_g")}


@pytest.mark.parametrize("edition", ["ASCE 7-16", "ASCE 7-22"])
def test_design_values_as_a_jurisdiction_states_them(edition: str) -> None:
    """SDS 0.54, SD1 0.27: category D by ASCE 7 Tables 11.6-1 and -2, D0 by IRC Table R301.2.2.1.1."""
    found = run(edition, stated(), None)
    assert (found.sds_g[0], found.sd1_g[0]) == (0.54, 0.27)
    assert (found.sdc[0], found.sdc_irc[0]) == ("D", "D0")
    assert "site_class_default" not in found.codes[0]


def test_s1_not_given_is_referred_only_where_it_could_matter() -> None:
    assert "s1_not_given" not in run("ASCE 7-16", stated(0.54, 0.39), None).codes[0]
    assert "s1_not_given" in run("ASCE 7-16", stated(0.9, 0.41), None).codes[0]
    assert "s1_not_given" not in run("ASCE 7-16", stated(0.9, 0.6) | {"s1_g": Constant(0.3, "s1_g")}, None).codes[0]


def test_strong_s1_is_category_e() -> None:
    """ASCE 7-16 check case S17 and 7-22 check case S26 (derived): S1 of 0.75 g or more is E."""
    found = of_7_16(1.911, 0.785, "default")
    assert found.sdc[0] == found.sdc_sds_only[0] == "E"
    assert "sdc_e" in found.codes[0]
    newer = run(
        "ASCE 7-22",
        {"sms_g": Constant(2.3, "sms_g"), "sm1_g": Constant(2.1, "sm1_g"), "s1_g": Constant(0.8, "s1_g")},
        Constant("D", "site_class"),
    )
    assert (newer.sds_g[0], newer.sd1_g[0]) == (pytest.approx(1.5333, abs=5e-5), pytest.approx(1.4))
    assert newer.sdc[0] == "E"
    assert np.isnan(newer.fa[0])


@pytest.mark.parametrize(
    ("edition", "names", "code"),
    [
        ("ASCE 7-22", ["ss_g", "s1_g"], "seismic_editions_mixed"),
        ("ASCE 7-16", ["sms_g", "sm1_g", "s1_g"], "seismic_editions_mixed"),
        ("ASCE 7-16", ["ss_g", "s1_g", "sds_g", "sd1_g"], "seismic_set_incomplete"),
        ("ASCE 7-16", ["ss_g"], "seismic_set_incomplete"),
        ("ASCE 7-22", ["sms_g", "sm1_g"], "seismic_set_incomplete"),
        ("ASCE 7-22", ["s1_g"], "seismic_set_incomplete"),
        ("ASCE 7-16", ["sds_g"], "seismic_set_incomplete"),
        ("ASCE 7-16", [], "seismic_set_incomplete"),
        ("ASCE 7-10", ["ss_g", "s1_g"], "edition_unknown"),
    ],
)
def test_mixed_or_incomplete_sources_stop(edition: str, names: list[str], code: str) -> None:
    with pytest.raises(InputError) as caught:
        module.check_sources(edition, dict.fromkeys(names))
    assert [i.code for i in caught.value.issues] == [code]


def test_site_class_per_lot() -> None:
    """A blank takes the default, an unknown one leaves that lot without values, the rest go on."""
    issues = Issues()
    classes = Column(np.array(["D", "", "Q", "c"], dtype=object), "soil", "site_class")
    sources: dict[str, Source] = {"ss_g": Constant(1.3, "ss_g"), "s1_g": Constant(0.45, "s1_g")}
    found = seismic("ASCE 7-16", sources, classes, lots(4), issues)
    assert found.site_class.tolist() == ["D", "default", "?", "C"]
    assert found.fa.tolist() == pytest.approx([1.0, 1.2, np.nan, 1.2], nan_ok=True)
    assert np.isnan(found.sds_g).tolist() == [False, False, True, False]
    assert [i.lot_id for i in issues if i.severity == "skip"] == ["L2"]


def test_unknown_site_class_of_the_project_stops() -> None:
    with pytest.raises(InputError, match="site class 'CD'; expected one of A, B, B-unmeasured, C, D, default, E, F"):
        of_7_16(1.0, 0.3, "CD")


def test_a_lot_without_ground_motion_has_no_category() -> None:
    found = run("ASCE 7-16", {"ss_g": column("ss_g", 1.0, np.nan), "s1_g": column("s1_g", 0.3, 0.3)}, None, 2)
    assert found.sdc.tolist() == ["D", ""]
    assert "seismic_unknown" in found.codes[1]


def test_near_a_boundary_is_noted() -> None:
    assert "sdc_near_boundary" in run("ASCE 7-16", stated(0.505, 0.27), None).codes[0]
    assert "sdc_near_boundary" not in run("ASCE 7-16", stated(0.54, 0.27), None).codes[0]


@pytest.mark.parametrize(
    ("lon", "lat", "rule"),
    [(-122.33, 47.60, "ln_bilinear"), (-149.9, 61.2, "bilinear"), (-157.9, 21.3, "bilinear"), (-66.1, 18.4, "bilinear"),
     (144.8, 13.5, "ln_bilinear"), (-170.7, -14.3, "ln_bilinear")],
)  # fmt: skip
def test_survey_interpolation_rule_by_region(lon: float, lat: float, rule: str) -> None:
    """Logarithms for the conterminous states, Guam and Samoa, values for Alaska, Hawaii and Puerto Rico (read)."""
    layer = module.with_survey_rule(Layer("ss.tif", "ss_g"), "ASCE 7-16", lots(1, lon, lat))
    assert isinstance(layer, Layer)
    assert layer.rule() == rule
    own = module.with_survey_rule(Layer("ss.tif", "ss_g", interpolation="nearest"), "ASCE 7-16", lots(1, lon, lat))
    assert isinstance(own, Layer)
    assert own.rule() == "nearest"


def test_survey_grid_with_nodes_at_cell_centres(tmp_path: Path) -> None:
    """A 0.01 degree grid whose cell centres are the nodes: a lot on a node takes it, between two their log mean."""
    cells = np.array([[1.0, 1.2, 1.1], [1.3, 1.4, 1.5], [1.2, 1.1, 1.3]])
    node_lon, node_lat = -122.34, 47.61
    transform = Affine(0.01, 0, node_lon - 0.005, 0, -0.01, node_lat + 0.005)
    sources: dict[str, Source] = {
        "ss_g": Layer(write(tmp_path / "ss.tif", cells, transform, NAD83), "ss_g"),
        "s1_g": Layer(write(tmp_path / "s1.tif", cells * 40, transform, NAD83), "s1_g", units="%g"),
    }
    xy = np.array([[-122.33, 47.60], [-122.335, 47.60], [-122.33, 47.595]])
    found = seismic("ASCE 7-16", sources, None, LotPoints(xy, NAD83, np.array(["a", "b", "c"])), Issues())
    np.testing.assert_allclose(found.ss_g, [1.4, np.sqrt(1.3 * 1.4), np.sqrt(1.4 * 1.1)], rtol=1e-9)
    np.testing.assert_allclose(found.s1_g, found.ss_g * 0.4, rtol=1e-9)
    assert "ln(value)" in found.provenance["ss_g"]


def test_order_of_lots_is_irrelevant() -> None:
    ss, s1 = np.random.default_rng(2).uniform(0.1, 2, 20), np.random.default_rng(3).uniform(0.05, 0.8, 20)
    order = np.random.default_rng(4).permutation(20)
    a = run("ASCE 7-16", {"ss_g": column("ss_g", *ss), "s1_g": column("s1_g", *s1)}, None, 20)
    b = run("ASCE 7-16", {"ss_g": column("ss_g", *ss[order]), "s1_g": column("s1_g", *s1[order])}, None, 20)
    np.testing.assert_array_equal(b.sdc, a.sdc[order])
    np.testing.assert_array_equal(b.sds_g, a.sds_g[order])
    assert b.codes.tolist() == a.codes[order].tolist()


def test_every_code_that_can_be_set_has_a_severity() -> None:
    found = run(
        "ASCE 7-16",
        {"ss_g": column("ss_g", 1.4, 1.2, np.nan), "s1_g": column("s1_g", 0.8, 0.1, 0.2)},
        Column(np.array(["D", "E", "F"]), "soil", "site_class"),
        3,
    )
    known = module.code_severities()
    assert {code for held in found.codes for code in held} <= set(known)
    assert set(known) == set(module.code_meanings())
