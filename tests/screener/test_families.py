"""The table of families: every one complete, in load-path order."""

import pytest

from screener.families import families, family


def test_every_family_is_complete():
    for key, serves in families().items():
        assert serves.words
        assert serves.measure in ("each", "per_ft", "area")
        assert serves.default_drop in ("foundation", "floor", "walls", "roof")
        assert bool(serves.spacings_in) == (serves.measure == "per_ft")
        assert list(serves.spacings_in) == sorted(serves.spacings_in, reverse=True)
        assert serves.components or key == "accessory"
        for component in serves.components:
            assert component.name.rsplit("_", 1)[1] == {"each": "lb", "per_ft": "plf"}.get(
                serves.measure, component.name[-3:]
            )


def test_components():
    assert family("sill_anchor").component_names == ("shear_plf", "uplift_plf", "perpendicular_plf")
    assert family("truss_tie").pieces == (1, 2)
    assert family("ledger").components[0].angle_deg == 90.0
    assert family("sill_anchor").code_spacing_in == 72.0


def test_unknown_family():
    with pytest.raises(LookupError, match="expected one of truss_tie"):
        family("roof_glue")
