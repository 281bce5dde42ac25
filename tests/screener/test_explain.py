"""`screener explain` prints the engine's own numbers: the same as the demands table, and changed with it."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tract_helpers import Screened, command, cut, screened, write_tract

from hazard.issues import InputError
from screener import pipeline
from screener.explain import explain, lines_of
from screener.files.manifest import CAUTION
from screener.standards import asce7_ch28_envelope as envelope

BY_COLUMNS = {
    "hazards.exposure": {"column": "exposure_from_drawing"},
    "hazards.kzt": {"column": "kzt_from_drawing"},
    "hazards.land_cover": None,
    "hazards.elevation_ft": None,
    "tiers.most": 1,
}
GOVERNS = re.compile(r"^  (?P<component>\w+): governing case (?P<case>.+)$")
DEMAND = re.compile(r"= (?P<form>-?[\d.]+); demand (?P<demand>[\d.]+)")


def printed_demands(text: str) -> dict[str, dict[str, tuple[float, str, list[float]]]]:
    """Connection -> component -> (demand, case, values of its forms) as a derivation prints them."""
    out: dict[str, dict[str, tuple[float, str, list[float]]]] = {}
    point = component = case = ""
    lines = text.splitlines()
    for i, line in enumerate(lines):
        if i + 1 < len(lines) and set(lines[i + 1]) == {"-"} and len(lines[i + 1]) == len(line):
            point = line
        elif found := GOVERNS.match(line):
            component, case = found["component"], found["case"]
        elif found := DEMAND.search(line):
            held = out.setdefault(point, {}).setdefault(component, (float(found["demand"]), case, []))
            held[2].append(float(found["form"]))
    return out


@pytest.mark.parametrize("lot", ["A-02", "B-02", "A-30"])
def test_every_demand_printed_is_that_of_the_table(twelve: Screened, lot: str) -> None:
    """All connections of three lots: demand and case of each component, to the printed digit; and the terms printed add
    up to the demand (the lesser form where two are printed). Would fail where the text works a number out by itself."""
    place = twelve.prepared.place_of(lot)
    printed = printed_demands("\n".join(lines_of(twelve.prepared, twelve.selection, place, "")))
    table = twelve.demands[(twelve.demands["lot_id"] == lot) & (twelve.demands["component"] != "combined")]
    table = table[table["demand"] > 0]  # of the others the text says that nothing pulls
    assert len(printed) == table["point"].nunique() > 50
    for row in table.itertuples():
        demand, case, forms = printed[row.point][row.component]
        assert demand == pytest.approx(row.demand, abs=0.0051), (row.point, row.component)
        assert max(min(forms), 0.0) == pytest.approx(demand, abs=0.0101), (row.point, row.component)
        assert case == row.case, (row.point, row.component)


def test_ratios_printed_are_those_of_the_table(twelve: Screened) -> None:
    """The overview's ratio of each connection, and the arrow at the chosen option with its ratio."""
    lot = "A-02"
    place = twelve.prepared.place_of(lot)
    text = "\n".join(lines_of(twelve.prepared, twelve.selection, place, ""))
    table = twelve.demands[twelve.demands["lot_id"] == lot]
    combined = table[table["component"] == "combined"].set_index("point")
    assert len(combined) > 20
    arrows = 0
    for point, row in combined.iterrows():
        block = text[text.index(f"\n{point}\n---") :]
        chosen = next(line for line in block.splitlines() if line.startswith("   -> "))
        assert row["item"] in chosen
        assert float(re.search(r"ratio ([\d.]+)", chosen)[1]) == pytest.approx(row["ratio"], abs=6e-4)
        arrows += 1
    assert arrows == len(combined)
    governing = twelve.lots.loc[lot]
    overview = "\n".join(lines_of(twelve.prepared, twelve.selection, place, None))
    assert f"{governing['governing_ratio']:.2f}  {governing['governing_point']}" in overview


def test_the_command_prints_what_another_run_wrote(tmp_path: Path) -> None:
    """`run` first, `explain` as a process of its own work after it: hazards, demands and the caution agree."""
    file = write_tract(tmp_path, cut(("A-02", "A-30")))
    assert command("run", file, "--quiet", "--allow-exceptions")[0] == 0
    lots = pd.read_csv(tmp_path / "results" / "lots.csv").set_index("lot_id")
    demands = pd.read_csv(tmp_path / "results" / "demands.csv")
    code, out, err = command("explain", file, "--lot", "A-30")
    assert code == 0, err
    assert out.splitlines()[0] == CAUTION
    lot = lots.loc["A-30"]
    assert lot["governing_point"] in out
    assert lot["exposure_by_direction"] in out
    assert f"= {lot['wind_speed_mph']:g} mph" in out
    kzt = float(re.search(r"\(1 \+ K1 K2 K3\)\^2 = ([\d.]+)", out)[1])
    assert kzt == pytest.approx(lot["kzt"], abs=6e-4)
    for point, components in printed_demands(out).items():
        for component, (demand, _, _) in components.items():
            row = demands[
                (demands["lot_id"] == "A-30") & (demands["point"] == point) & (demands["component"] == component)
            ]
            assert row["demand"].item() == pytest.approx(demand, abs=0.0101)
    assert printed_demands(out)


def test_velocity_pressure_follows_from_the_printed_factors(twelve: Screened) -> None:
    """q = 0.00256 Kz Kzt Kd Ke V^2 (ASCE 7-16 Eq. 26.10-1) from the factors as printed gives the q as printed."""
    for lot in ("A-01", "A-30", "C-45"):
        text = "\n".join(lines_of(twelve.prepared, twelve.selection, twelve.prepared.place_of(lot), None))
        found = re.findall(r"velocity pressure q.*?V\^2 = ([\d.]+) psf\s+\[(.*?)\]", text)
        assert len(found) == 2
        for q, given in found:
            f = {k: v for k, v in (pair.split(" = ") for pair in given.split(", "))}
            expected = 0.00256 * float(f["Kz"]) * float(f["Kzt"]) * float(f["Kd"]) * float(f["Ke"])
            assert float(q) == pytest.approx(expected * float(f["V_mph"]) ** 2, rel=1e-5)


def test_changing_one_coefficient_changes_both(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The soffit coefficient of windward overhangs (ASCE 7-16 28.3.3, 0.7) set to 0.9: eave uplift grows in the table
    and in the derivation, by the same. Would fail where one of the two keeps a number of its own."""
    file = write_tract(tmp_path, cut(("A-02",)), BY_COLUMNS)

    def both() -> tuple[dict[str, float], dict[str, float]]:
        run = screened(file)
        table = run.demands[
            (run.demands["component"] == "uplift_lb") & run.demands["point"].str.startswith("truss tie")
        ]
        text = printed_demands(explain(run.tract, "A-02", "truss tie"))
        return dict(zip(table["point"], table["demand"], strict=True)), {k: v["uplift_lb"][0] for k, v in text.items()}

    monkeypatch.setattr(pipeline, "_built", pipeline._built.__wrapped__)  # models of before must not be taken again
    table, text = both()
    monkeypatch.setattr(envelope, "windward_overhang_soffit_gcp", lambda edition: 0.9)
    table_after, text_after = both()
    assert table.keys() == text.keys() == table_after.keys()
    changed = [point for point in table if table_after[point] > table[point] + 1.0]
    assert changed
    for point in table:
        assert text[point] == pytest.approx(table[point], abs=0.0051)
        assert text_after[point] == pytest.approx(table_after[point], abs=0.0051)


def test_scope_that_the_choice_finds_is_told_too(twelve: Screened, tmp_path: Path) -> None:
    """A lot that no item serves: the derivation says so under its scope, as the run does."""
    lot = next(iter(twelve.lots.index[twelve.lots["status"] == "no_hardware"]))
    file = write_tract(tmp_path, cut((lot,)))
    text = explain(screened(file).tract, lot)
    assert "NO_HARDWARE" in text


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--lot", "A-03x"), ("no lot 'A-03x'", "A-02")),
        (("--lot", "A-02", "--point", "trus tie main"), ("no connection 'trus tie main'", "truss tie")),
    ],
)
def test_a_wrong_name_is_answered_with_near_ones(
    tmp_path: Path, options: tuple[str, ...], words: tuple[str, ...]
) -> None:
    file = write_tract(tmp_path, cut(("A-02", "A-30")), BY_COLUMNS)
    code, _, err = command("explain", file, *options)
    assert code == 2
    for word in words:
        assert word in err


def test_a_skipped_lot_and_a_lot_without_a_plan_say_why(tmp_path: Path) -> None:
    lots = cut(("A-02", "A-03", "A-05"))
    lots.loc[1, "geometry"] = None
    lots.loc[2, ["plan", "style"]] = None
    file = write_tract(tmp_path, lots, BY_COLUMNS)
    code, _, err = command("explain", file, "--lot", "A-03")
    assert code == 2
    assert "no geometry" in err
    code, out, _ = command("explain", file, "--lot", "A-05")
    assert code == 0
    assert "No plan is chosen" in out
    with pytest.raises(InputError):
        explain(screened(file).tract, "A-03")
    assert np.isfinite(screened(file).lots.loc["A-05", "kzt"])
