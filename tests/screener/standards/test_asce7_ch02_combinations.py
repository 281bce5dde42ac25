"""Load combinations of ASCE 7 Chapter 2."""

from __future__ import annotations

from dataclasses import asdict

import pytest

from screener.standards.asce7_ch02_combinations import Combination, combinations

EDITIONS = ["ASCE 7-16", "ASCE 7-22"]
FACTORS = ("d", "w", "eh", "ev", "l", "lr", "s")


def named(edition: str, method: str, use: str, name: str) -> Combination:
    return next(c for c in combinations(edition, method, use) if c.name == name)


def factors(c: Combination) -> tuple[float, ...]:
    return tuple(asdict(c)[key] for key in FACTORS)


@pytest.mark.parametrize("edition", EDITIONS)
def test_uplift_rows(edition: str) -> None:
    """ASCE 7-16 and 7-22, Sec. 2.3.1, 2.3.6, 2.4.1, 2.4.5 (from memory)."""
    asd = {c.name: factors(c) for c in combinations(edition, "ASD", "uplift")}
    assert asd == {
        "0.6D + 0.6W": (0.6, 0.6, 0, 0, 0, 0, 0),
        "0.6D - 0.7Ev + 0.7Eh": (0.6, 0, 0.7, -0.7, 0, 0, 0),
    }
    lrfd = {c.name: factors(c) for c in combinations(edition, "LRFD", "uplift")}
    assert lrfd == {"0.9D + 1.0W": (0.9, 1, 0, 0, 0, 0, 0), "0.9D - Ev + Eh": (0.9, 0, 1, -1, 0, 0, 0)}


def test_archived_seismic_dead_factors() -> None:
    """City archive, ASD load factors (read) at SDS 0.857.

    0.6 - 0.14 SDS = 0.48, 1 + 0.14 SDS = 1.12, 1 + 0.105 SDS = 1.09.
    """
    sds = 0.857
    down = named("ASCE 7-16", "ASD", "uplift", "0.6D - 0.7Ev + 0.7Eh")
    up = named("ASCE 7-16", "ASD", "compression", "1.0D + 0.7Ev + 0.7Eh")
    both = named("ASCE 7-16", "ASD", "compression", "1.0D + 0.525Ev + 0.525Eh + 0.75L + 0.75S")
    assert down.dead_factor(sds) == pytest.approx(0.48, abs=0.005)
    assert up.dead_factor(sds) == pytest.approx(1.12, abs=0.005)
    assert both.dead_factor(sds) == pytest.approx(1.09, abs=0.005)
    assert (down.sds_d, up.sds_d, both.sds_d) == pytest.approx((-0.14, 0.14, 0.105))
    assert down.dead_factor([0.0, 1.0]).tolist() == pytest.approx([0.6, 0.46])


def test_strength_seismic_dead_factors() -> None:
    """ASCE 7-16 Sec. 2.3.6 with Ev (from memory): (1.2 + 0.2 SDS) D and (0.9 - 0.2 SDS) D."""
    up = named("ASCE 7-16", "LRFD", "compression", "1.2D + Ev + Eh + L + 0.2S")
    down = named("ASCE 7-16", "LRFD", "uplift", "0.9D - Ev + Eh")
    assert (up.dead_factor(1.0), down.dead_factor(1.0)) == pytest.approx((1.4, 0.7))


def test_compression_rows_that_the_method_names() -> None:
    """ASCE 7-16 Sec. 2.4.1 (5), (6): D + 0.6W and the 0.75 rows, once with Lr and once with S."""
    rows = {c.name: factors(c) for c in combinations("ASCE 7-16", "ASD", "compression")}
    assert rows["D + 0.6W"] == (1, 0.6, 0, 0, 0, 0, 0)
    assert rows["D + 0.75L + 0.75(0.6W) + 0.75Lr"] == pytest.approx((1, 0.45, 0, 0, 0.75, 0.75, 0))
    assert rows["D + 0.75L + 0.75(0.6W) + 0.75S"] == pytest.approx((1, 0.45, 0, 0, 0.75, 0, 0.75))


def test_snow_of_7_22_is_at_strength_level() -> None:
    """ASCE 7-22 (from memory): 0.7 S in ASD, 1.0 S in LRFD, 0.1 S and 0.15 S beside earthquake."""
    asd = {c.name: c for c in combinations("ASCE 7-22", "ASD", "compression")}
    assert asd["D + 0.7S"].s == 0.7
    assert asd["D + 0.75L + 0.75(0.6W) + 0.75(0.7S)"].s == pytest.approx(0.525)
    assert asd["1.0D + 0.525Ev + 0.525Eh + 0.75L + 0.1S"].s == 0.1
    lrfd = {c.name: c for c in combinations("ASCE 7-22", "LRFD", "compression")}
    assert lrfd["1.2D + 1.0S + L"].s == 1.0
    assert lrfd["1.2D + Ev + Eh + L + 0.15S"].s == 0.15


@pytest.mark.parametrize("edition", EDITIONS)
@pytest.mark.parametrize("method", ["ASD", "LRFD"])
def test_rows_agree_with_their_own_labels(edition: str, method: str) -> None:
    """Law: names are unique; the hazard column names the lateral load of the row; uplift rows hold least dead load."""
    rows = [c for use in ("uplift", "compression") for c in combinations(edition, method, use)]
    assert len({c.name for c in rows}) == len(rows)
    for c in rows:
        assert (c.w > 0.0) == (c.hazard == "wind")
        assert (c.eh > 0.0) == (c.hazard == "seismic")
        assert (c.d < 1.0) == (c.use == "uplift")
        assert not (c.lr and c.s)
        if c.use == "uplift":
            assert c.l == c.lr == c.s == 0.0
            assert c.ev <= 0.0


def test_unknown_key_is_an_error() -> None:
    with pytest.raises(ValueError, match="no load combinations"):
        combinations("ASCE 7-05", "ASD", "uplift")
