"""Whole runs by the directional procedure: how houses stand, what is explained and flagged, the two editions."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from scenes import GRASS, LOTS, TOWN, write_scene
from tract_helpers import Screened, screened

from hazard.standards import asce7_ch26_wind as ch26
from screener.config import load_tract
from screener.explain import lines_of
from screener.pipeline import prepare
from screener.wind_states import FACES

DIRECTIONAL = {"design.wind_procedure": "directional"}
ALIKE = {
    **DIRECTIONAL,
    "hazards.kzt": {"value": 1.1},
    "hazards.exposure": {"value": "C"},
    "hazards.elevation_ft": None,
    "hazards.land_cover": None,
}


def demands_of(run: Screened) -> pd.Series:
    rows = run.demands[run.demands["component"] != "combined"]
    return rows.set_index(["lot_id", "point", "component"])["demand"].sort_index()


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Screened:
    return screened(write_scene(tmp_path_factory.mktemp("scene"), changes=DIRECTIONAL))


def test_the_lots_table_tells_the_pressure_on_to_each_face(scene: Screened) -> None:
    for k, face in enumerate(FACES):
        onto = scene.prepared.hazards.q_onto_psf[:, k]
        np.testing.assert_allclose(scene.lots[f"q_onto_{face}_psf"].astype(float), onto, rtol=1e-12)
        assert (onto <= scene.prepared.site.q_components_psf + 1e-12).all()


def test_turning_the_whole_scene_changes_nothing(scene: Screened, tmp_path: Path) -> None:
    """Lots, bearings, ground and cover turned by a quarter (5e-5: meridians, as for the envelope procedure)."""
    turned = screened(write_scene(tmp_path, 1, changes=DIRECTIONAL))
    np.testing.assert_allclose(demands_of(turned), demands_of(scene), rtol=5e-5, atol=1e-6)
    onto = scene.prepared.hazards.q_onto_psf
    assert (onto.max(axis=1) / onto.min(axis=1)).max() > 1.2, "the scene must tell faces apart"


def test_a_mirrored_scene_with_mirrored_lots_has_the_same_demands(scene: Screened, tmp_path: Path) -> None:
    mirrored = screened(write_scene(tmp_path, mirror=True, changes=DIRECTIONAL))
    np.testing.assert_allclose(demands_of(mirrored), demands_of(scene), rtol=1e-9, atol=1e-9)


def level(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return np.full(east.shape, 100.0)


def open_to_the_west(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return np.where(east < -30.0, GRASS, TOWN)


def beside_a_meadow(tmp_path: Path, **changes: Any) -> Screened:
    """Two like houses beside open ground to the west: one has its front to it, one its right side."""
    table = {name: (0.0, 0.0, bearing, "anvil", "A", "", False) for name, bearing in (("W", 270.0), ("S", 0.0))}
    file = write_scene(
        tmp_path, elevation=level, cover=open_to_the_west, changes={**DIRECTIONAL, **changes}, table=table
    )
    return screened(file)


def test_a_house_by_hand_beside_a_meadow(tmp_path: Path) -> None:
    """Exposure C from the west, B from the east (7-16 26.7): Kz at the mean roof height of each, nothing else differs.

    The front to the west takes C and the rear B; the sides look north and south, 45 degrees of whose winds see the
    meadow too. With the front to the north the west is on the right, as seen from the street.
    """
    run = beside_a_meadow(tmp_path)
    kz = {e: float(ch26.kz(run.prepared.site.height_ft[0], e, "ASCE 7-16")) for e in "BC"}
    expected = {"W": ("C", "B", "C", "C"), "S": ("C", "C", "B", "C")}
    ids = list(run.prepared.site.points.lot_id)
    for lot, letters in expected.items():
        onto = run.prepared.hazards.q_onto_psf[ids.index(lot)]
        calm = 0.00256 * 0.85 * 115.0**2 * run.prepared.site.elevation.ke[0]
        assert dict(zip(FACES, onto / calm, strict=True)) == pytest.approx(
            dict(zip(FACES, [kz[e] for e in letters], strict=True)), rel=1e-9
        )
    both = demands_of(run)
    assert not np.allclose(both["W"], both["S"], rtol=1e-3)


def test_unknown_bearing_is_at_least_every_bearing(tmp_path: Path) -> None:
    known = beside_a_meadow(tmp_path / "known")
    file = tmp_path / "known" / "tract.toml"
    lots = gpd.read_file(tmp_path / "known" / "lots.gpkg")
    lots["front_bearing_deg"] = np.nan
    lots.to_file(tmp_path / "known" / "lots.gpkg", layer="lots")
    blind = screened(file)
    worst = demands_of(blind)
    assert (worst >= demands_of(known) - 1e-9).all()
    assert (worst > demands_of(known) + 1.0).any()


def test_hazards_that_are_alike_all_round_make_orientation_idle_and_say_so(tmp_path: Path) -> None:
    """Four bearings and both hands of one house on constants: one set of demands, DIRECTIONAL_ONE at every lot."""
    table = {f"L{i}": (40.0 * i, 0.0, 90.0 * (i % 4), "kettle", "A", "", i > 3) for i in range(8)}
    run = screened(write_scene(tmp_path, changes=ALIKE, table=table))
    one = demands_of(run)
    for lot in table:
        assert (one[lot].to_numpy() == one["L0"].to_numpy()).all(), lot
    assert all("DIRECTIONAL_ONE" in flags for flags in run.lots["flags"])
    codes = {f.code for f in prepare(load_tract(write_scene(tmp_path / "b", changes=DIRECTIONAL))).findings.items}
    assert "DIRECTIONAL_ONE" not in codes


def test_explained_pressures_follow_from_the_printed_factors(scene: Screened) -> None:
    """q = 0.00256 Kz Kzt Kd Ke V^2 for each face and for components; terms of the demands name the faces."""
    place = scene.prepared.place_of("S-2")
    text = "\n".join(lines_of(scene.prepared, scene.selection, place, "hold-down"))
    found = re.findall(r"velocity pressure q, Chapter ([^\n]*?) = 0.00256.*?V\^2 = ([\d.]+) psf\s+\[(.*?)\]", text)
    found = found or re.findall(r"velocity pressure q, Chapter ([^\n]*?)V\^2 = ([\d.]+) psf\s+\[(.*?)\]", text)
    assert len(found) == 5
    for _, q, given in found:
        f = dict(pair.split(" = ") for pair in given.split(", "))
        expected = 0.00256 * float(f["Kz"]) * float(f["Kzt"]) * float(f["Kd"]) * float(f["Ke"])
        assert float(q) == pytest.approx(expected * float(f["V_mph"]) ** 2, rel=1e-5)
    onto = scene.prepared.hazards.q_onto_psf[place]
    for face, q, (title, printed, _) in zip(FACES, onto, found, strict=False):
        assert f"on to the {face}" in title
        assert float(printed) == pytest.approx(q, abs=6e-4)
    assert re.search(r"x q_onto_(front|rear|left|right)_psf", text)
    assert "q_envelope" not in text
    assert "Chapter 28" not in text


@pytest.mark.parametrize("edition", ["ASCE 7-16", "ASCE 7-22"])
def test_both_editions_run(tmp_path: Path, edition: str) -> None:
    """On constants, one Kz law apart, the two editions differ by a few percent: Kd moved, nothing else did."""
    table = {"S-1": LOTS["S-1"]}
    given: dict[str, Any] = {"hazards.ss_g": None, "hazards.s1_g": {"value": 0.1}}
    given |= {"hazards.sms_g": {"value": 0.5}, "hazards.sm1_g": {"value": 0.2}} if edition == "ASCE 7-22" else {}
    given |= {} if edition == "ASCE 7-22" else {"hazards.ss_g": {"value": 0.3}}
    old = demands_of(screened(write_scene(tmp_path / "16", changes=ALIKE, table=table)))
    new = demands_of(
        screened(write_scene(tmp_path / "e", changes={**ALIKE, **given, "design.loads": edition}, table=table))
    )
    windy = [key for key in old.index if key[1].startswith("wall sheathing")]
    assert windy
    np.testing.assert_allclose(new[windy], old[windy], rtol=0.03)
