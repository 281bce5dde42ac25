"""Scope codes: each planted once, found there and nowhere else.

A code is "stop" (no package), "refer" (an engineer must confirm) or "note". Limits are the tool's own choices or the
bounds of prescriptive provisions; the planted cases lie clearly on one side of them. Codes are read from the tool's own
list, so a code that is added there must get a case here.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from scenes import ELEVATION, write_scene
from tract_helpers import NOTHING, SAMPLE, Screened, cut, plan_text, screened, write_tract

from hazard.issues import InputError
from hazard.seismic import code_meanings
from screener.config import load_tract
from screener.demands import load_basis
from screener.pipeline import Prepared, prepare
from screener.scope import codes

GIVEN = {
    "hazards.exposure": {"column": "exposure_given"},
    "hazards.kzt": {"column": "kzt_given"},
    "hazards.land_cover": None,
    "hazards.elevation_ft": None,
    "hazards.wind_speed_mph": {"column": "wind_given"},
    "hazards.site_class": {"column": "site_given"},
    "hazards.ground_snow_psf": {"column": "snow_given"},
    "hazards.ss_g": {"column": "ss_given"},
    "hazards.s1_g": {"column": "s1_given"},
    "tiers.most": 1,
}
CALM = {
    "wind_given": 110.0,
    "exposure_given": "B",
    "kzt_given": 1.0,
    "site_given": "D",
    "snow_given": 10.0,
    "ss_given": 0.5,
    "s1_given": 0.15,
}
ROW = tuple(f"A-{n:02d}" for n in range(1, 41))


def calm_lots(count: int) -> gpd.GeoDataFrame:
    """Lots of the sample's first row, all with the same plain house and calm hazards in columns."""
    return cut(ROW[:count]).assign(
        plan="thimble", style="A", options=None, mirrored=False, package=None, pad_elevation_ft=None, **CALM
    )


def plans_folder(folder: Path, odd: dict[str, str] | Any = NOTHING) -> str:
    """The sample's thimble, and odd plans beside it: name -> text (the text's own name is replaced)."""
    folder.mkdir(parents=True)
    (folder / "thimble.toml").write_text(plan_text("thimble"), encoding="utf-8")
    for name, text in odd.items():
        own = text.replace('name = "thimble"', f'name = "{name}"').replace('name = "anvil"', f'name = "{name}"')
        (folder / f"{name}.toml").write_text(own, encoding="utf-8")
    return str(folder)


def codes_of(p: Prepared) -> dict[str, set[str]]:
    """Codes of each usable lot."""
    out: dict[str, set[str]] = {str(lot): set() for lot in p.site.points.lot_id}
    for finding in p.findings.items:
        out[str(p.site.points.lot_id[finding.lot])].add(finding.code)
    return out


# ---------------------------------------------------------------- hazards in columns

AT_LOT: dict[str, dict[str, Any]] = {
    "V_LIMIT": {"wind_given": 140.0},
    "DEBRIS": {"wind_given": 141.0},  # and the sample's glazing is not protected
    "SNOW70": {"snow_given": 71.0},
    "SITE_F": {"site_given": "F"},
    "SDC_E": {"s1_given": 0.80, "ss_given": 2.0, "site_given": "C"},  # S1 of 0.75 g or more (ASCE 7-16 11.6)
    "KZT": {"kzt_given": 1.51},
    "PERMIT": {"exposure_given": "D"},  # thimble's permit is for C
    "NO_PLAN": {"plan": None, "style": None},
    "HAZARD_MISSING": {"wind_given": np.nan},
    "EXPO_UNKNOWN": {"exposure_given": None},
    "BEARING_UNKNOWN": {"front_bearing_deg": np.nan},
    "FIT": {"rear_setback_ft": 60.0},  # 125 - 20 - 60 = 45 ft for 54 ft of house
    "FIT_UNKNOWN": {"side_setback_ft": np.nan},
    "NO_HARDWARE": {"wind_given": 200.0, "exposure_given": "D"},
    "SALT": {"salt_water_distance_ft": 3000.0},
    "FLOOD": {"flood_zone": "VE"},
    "FLOOD_A": {"flood_zone": "Zone AE"},
    "SPECIAL_WIND": {"special_wind": "yes"},
}
JUST_INSIDE: dict[str, dict[str, Any]] = {
    "V_LIMIT": {"wind_given": 139.9},
    "DEBRIS": {"wind_given": 139.9},
    "SNOW70": {"snow_given": 70.0},
    "SDC_E": {"s1_given": 0.74, "ss_given": 2.0, "site_given": "C"},
    "KZT": {"kzt_given": 1.49},
    "PERMIT": {"exposure_given": "C"},
    "FIT": {"rear_setback_ft": 51.0},  # exactly 54 ft are left
    "SALT": {"salt_water_distance_ft": 3001.0},
    "FLOOD": {"flood_zone": "AE"},
    "FLOOD_A": {"flood_zone": "X"},
    "SPECIAL_WIND": {"special_wind": "no"},
}
MAY_COME_TOO = {
    "V_LIMIT": {"DEBRIS", "PERMIT", "NO_HARDWARE"},
    "DEBRIS": {"V_LIMIT", "PERMIT", "NO_HARDWARE"},
    "SDC_E": {"PERMIT"},
    "KZT": {"PERMIT"},
    "NO_PLAN": {"HAZARD_MISSING"},
    "NO_HARDWARE": {"V_LIMIT", "DEBRIS", "PERMIT"},
    "BEARING_UNKNOWN": {"FIT_UNKNOWN"},
}
ALWAYS = {"CONCRETE", "SDC_NEAR_BOUNDARY", "CORROSION"}


@pytest.fixture(scope="module")
def hazard_lots(tmp_path_factory: pytest.TempPathFactory) -> Screened:
    """One calm lot, one for each code, one just inside each limit."""
    cases = [{}, *AT_LOT.values(), *JUST_INSIDE.values()]
    lots = calm_lots(len(cases))
    lots["exposure_given"] = lots["exposure_given"].astype(object)
    lots = lots.assign(flood_zone="X", special_wind="no")
    for i, case in enumerate(cases):
        for column, value in case.items():
            lots.loc[i, column] = value
    folder = tmp_path_factory.mktemp("hazards")
    return screened(write_tract(folder, lots, {**GIVEN, "ground.streets": None}))


def test_a_calm_lot_has_no_code_but_the_standing_one(hazard_lots: Screened) -> None:
    assert hazard_lots.flags(ROW[0]) <= ALWAYS
    assert hazard_lots.lots.loc[ROW[0], "status"] == "screened"


@pytest.mark.parametrize("code", AT_LOT)
def test_a_code_planted_at_a_lot(hazard_lots: Screened, code: str) -> None:
    """The lot has the code, no other that does not follow from it, and the status that the code's severity asks for."""
    lot = ROW[1 + list(AT_LOT).index(code)]
    assert code in hazard_lots.flags(lot)
    assert hazard_lots.flags(lot) <= {code} | ALWAYS | MAY_COME_TOO.get(code, set())
    rows = hazard_lots.results.exceptions
    mine = rows[(rows["lot_id"] == lot) & (rows["reason"] == code)]
    severity = codes()[code].severity
    status = hazard_lots.lots.loc[lot, "status"]
    if severity == "note":
        assert len(mine) == 0
        assert status == "screened"
        return
    assert len(mine) == 1
    assert mine["detail"].item()
    assert mine["next_step"].item()
    assert status in {"refer"} if severity == "refer" else {"refer", "skipped", "no_hardware"}
    if severity == "stop":
        assert hazard_lots.lots.loc[lot, "tier"] == ""


@pytest.mark.parametrize("code", JUST_INSIDE)
def test_just_inside_the_limit_there_is_no_code(hazard_lots: Screened, code: str) -> None:
    lot = ROW[1 + len(AT_LOT) + list(JUST_INSIDE).index(code)]
    assert code not in hazard_lots.flags(lot)


def test_every_lot_that_is_not_screened_has_its_reason(hazard_lots: Screened) -> None:
    """Would fail where a lot drops out without a row among the exceptions."""
    bad = hazard_lots.lots[hazard_lots.lots["status"] != "screened"]
    assert set(bad.index) == set(hazard_lots.results.exceptions["lot_id"])


def test_no_hardware_names_the_connection_the_demand_and_the_best(hazard_lots: Screened) -> None:
    """Never the largest item silently: what pulls, how much, and how near the best comes."""
    lot = ROW[1 + list(AT_LOT).index("NO_HARDWARE")]
    rows = hazard_lots.results.exceptions
    detail = rows[(rows["lot_id"] == lot) & (rows["reason"] == "NO_HARDWARE")]["detail"].item()
    assert "best" in detail or "no item" in detail
    assert any(character.isdigit() for character in detail)
    assert hazard_lots.lots.loc[lot, "status"] == "no_hardware"
    assert np.isnan(hazard_lots.lots.loc[lot, "total_cost"])


def test_unprotected_glazing_is_designed_partially_enclosed(hazard_lots: Screened) -> None:
    """ASCE 7-16 26.12.3: debris region and glazing not protected: GCpi is 0.55 in place of 0.18 (Table 26.13-1)."""
    place = hazard_lots.prepared.place_of
    assert hazard_lots.prepared.hazards.gcpi[place(ROW[1 + list(AT_LOT).index("DEBRIS")])] == 0.55
    assert hazard_lots.prepared.hazards.gcpi[place(ROW[0])] == 0.18


def test_a_lot_by_the_coast_is_in_the_debris_region_from_130_mph(tmp_path: Path) -> None:
    """ASCE 7-16 26.12.3.1 (from memory): within a mile of the coast from 130 mph; and prescriptive limits fall to 130
    mph in hurricane-prone regions."""
    lots = calm_lots(2)
    lots.loc[1, "wind_given"] = 131.0
    coast = {"design.within_a_mile_of_coast": True, "design.hurricane_prone": True}
    here = codes_of(prepare(load_tract(write_tract(tmp_path / "a", lots, {**GIVEN, **coast}))))
    inland = codes_of(prepare(load_tract(write_tract(tmp_path / "b", lots, GIVEN))))
    assert {"V_LIMIT", "DEBRIS"} <= here[ROW[1]]
    assert not {"V_LIMIT", "DEBRIS"} & (inland[ROW[1]] | here[ROW[0]])


# ---------------------------------------------------------------- plans


def _longer() -> str:
    """Thimble 30 ft deeper: 84 ft."""
    return plan_text("thimble", ("28, 66]", "28, 96]")).replace("54", "84")


def _no_rear_wall() -> str:
    return plan_text(
        "thimble",
        ('{ name = "patio door", from_ft = 16, width_ft = 8, height_ft = 7 }', ""),
        ('{ name = "rear window", from_ft = 33, width_ft = 5, height_ft = 4, sill_ft = 3 }', ""),
        (
            'line = "B"\nopenings = [\n    ,\n    ,\n]',
            'line = "B"\nopenings = [\n'
            + "".join(
                f'    {{ name = "glass {n}", from_ft = {1 + 8 * n}, width_ft = 6, height_ft = 8 }},\n' for n in range(5)
            )
            + "]",
        ),
    )


ODD_PLANS: dict[str, Callable[[], str]] = {
    "HEIGHT60": lambda: plan_text("thimble", ("mean_roof_height_ft = 15", "mean_roof_height_ft = 61")),
    "H33": lambda: plan_text("thimble", ("mean_roof_height_ft = 15", "mean_roof_height_ft = 33.5")),
    "SIZE": _longer,
    "SLOPE_ROOF": lambda: plan_text("thimble", ("pitch_in_12 = 5", "pitch_in_12 = 2.5")),
    "OVERHANG": lambda: plan_text("thimble", ("eave_overhang_ft = 1.0", "eave_overhang_ft = 2.1")),
    "WALL_H": lambda: plan_text("thimble", ("wall_height_ft = 9.1", "wall_height_ft = 10.1")),
    "WEIGHT": lambda: plan_text("thimble", ("greatest_psf = 15.0", "greatest_psf = 25.5")),
    "SEG": _no_rear_wall,
    "PERMIT_UNKNOWN": lambda: plan_text(
        "thimble", ('[permit]\nwind_speed_mph = 115\nexposure = "C"\nkzt = 1.0\nsds_g = 0.6\n', "")
    ),
    "OLD_SEAL": lambda: plan_text("thimble", ("seal_date = 2025-03-01", "seal_date = 2019-03-01")),
    "FOOTING": lambda: plan_text("thimble", ("footing_weight_lb = 900", "footing_weight_lb = 10")),
    # the third garage bay leaves a re-entrant corner of 20 % by 59 %
    "IRREG_H": lambda: plan_text("thimble"),
    "RHO_LOW": lambda: plan_text("thimble", ("redundancy = 1.3", "redundancy = 1.0")),
}
STYLES = {"FOOTING": "C"}
OPTIONS = {"IRREG_H": "third_bay", "RHO_LOW": "third_bay"}
COME_TOO = {"HEIGHT60": {"H33"}, "SIZE": {"FIT"}, "IRREG_H": {"FIT"}, "RHO_LOW": {"FIT", "IRREG_H"}}


@pytest.fixture(scope="module")
def plan_lots(tmp_path_factory: pytest.TempPathFactory) -> Screened:
    """One good plan and one for each code that a plan can carry."""
    folder = tmp_path_factory.mktemp("plans")
    plans = plans_folder(folder / "plans", {code.casefold(): text() for code, text in ODD_PLANS.items()})
    lots = calm_lots(1 + len(ODD_PLANS))
    lots["plan"] = ["thimble", *(code.casefold() for code in ODD_PLANS)]
    lots["style"] = ["A", *(STYLES.get(code, "A") for code in ODD_PLANS)]
    lots["options"] = ["", *(OPTIONS.get(code, "") for code in ODD_PLANS)]
    changes = {**GIVEN, "plans.folder": plans, "purchase.plan_mix": None, "tiers.most": 3}
    return screened(write_tract(folder, lots, changes))


@pytest.mark.parametrize("code", ODD_PLANS)
def test_a_code_planted_in_a_plan(plan_lots: Screened, code: str) -> None:
    """The plan's lot has the code, the good plan's lot has none of them, and a stop gives no package."""
    lot = ROW[1 + list(ODD_PLANS).index(code)]
    assert code in plan_lots.flags(lot)
    assert code not in plan_lots.flags(ROW[0])
    expected = plan_lots.flags(lot) - {code} - ALWAYS - COME_TOO.get(code, set()) - {"NO_HARDWARE", "LEFT_OVER"}
    assert not expected, f"{code} came with {expected}"
    severity = codes()[code].severity
    assert (plan_lots.lots.loc[lot, "tier"] == "") or severity != "stop"
    if severity != "note":
        rows = plan_lots.results.exceptions
        assert len(rows[(rows["lot_id"] == lot) & (rows["reason"] == code)]) >= 1


def test_shear_walls_that_do_not_stack_are_told(tmp_path: Path) -> None:
    """Anvil's upper inner shear wall moved 3 ft off the wall below: IRREG_V; as drawn: none."""
    text = plan_text("anvil")
    drawn = 'name = "cross 2"\nstorey = "2"\nfrom = [20, 24]\nto = [42, 24]\n'
    stepped = plan_text("anvil", (drawn, drawn.replace("24]", "27]") + 'stands_on = "cross 1"\n'))
    plans = plans_folder(tmp_path / "plans", {"anvil": text, "stepped": stepped})
    lots = calm_lots(2).assign(plan=["anvil", "stepped"], style="A")
    found = codes_of(
        prepare(load_tract(write_tract(tmp_path, lots, {**GIVEN, "plans.folder": plans, "purchase.plan_mix": None})))
    )
    assert "IRREG_V" in found[ROW[1]]
    assert "IRREG_V" not in found[ROW[0]]


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('foundation = "slab"', 'foundation = "piers"', "plan.foundation"),
        ('foundation = "slab"', 'foundation = "basement"', "plan.foundation"),
        ('species = "DF-L"', 'species = "steel"', "plan.species"),
        ("to = [40, 0]", "to = [40, 3]", "wall (front 1)"),  # walls that are not perpendicular
        ('shape = "gable"', 'shape = "gambrel"', "shape"),
        (
            "[[storey]]",
            "".join(
                f'[[storey]]\nname = "{n}"\nwall_height_ft = 8\nareas = [{{ rect = [0, 0, 1, 1] }}]\n' for n in "abc"
            )
            + "[[storey]]",
            "storey",
        ),
    ],
)
def test_what_the_plan_model_can_not_hold_is_refused_when_it_is_read(
    tmp_path: Path, old: str, new: str, where: str
) -> None:
    """Foundations, materials, shapes and storeys beyond the model (job's FOUND, MATERIAL, OPTION, STOREYS): no lot of
    such a plan is screened as something else; the file and the key are named."""
    text = plan_text("thimble", (old, new))
    plans = plans_folder(tmp_path / "plans", {"odd": text})
    with pytest.raises(InputError) as error:
        prepare(load_tract(write_tract(tmp_path, calm_lots(1), {**GIVEN, "plans.folder": plans})))
    assert any("odd.toml" in issue.where and where in issue.where for issue in error.value.issues), error.value.issues


# ---------------------------------------------------------------- choice


def _ties_for_one_species_each(file: Path) -> None:
    """The sample's list with two truss ties in place of its own: one with loads in fir only, one in spruce only."""
    table = pd.read_csv(SAMPLE / "hardware.csv", dtype=str, keep_default_na=False, comment="#")
    ties = table["family"] == "truss_tie"
    loads = ("uplift_lb", "parallel_lb", "perpendicular_lb")
    rows = []
    for item, group in (("fir tie", "df_sp"), ("spruce tie", "spf_hf")):
        row = table[table["item"] == "truss tie double"].iloc[0].to_dict()
        row |= dict.fromkeys((name for name in row if name.startswith(loads)), "")
        rows.append({**row, "item": item, **{f"{name}_{group}": "2500" for name in loads}})
    pd.concat([table[~ties], pd.DataFrame(rows)], ignore_index=True).fillna("").to_csv(file, index=False)


def test_a_lot_that_the_packages_can_not_serve_is_left_over(tmp_path: Path) -> None:
    """Two plans in two species groups, and ties that carry only one each: no package serves both. With one package one
    lot is left over and says so; with two, none is."""
    plans = plans_folder(tmp_path / "plans", {"spruce": plan_text("thimble", ('species = "DF-L"', 'species = "SPF"'))})
    _ties_for_one_species_each(tmp_path / "hardware.csv")
    lots = calm_lots(2).assign(plan=["thimble", "spruce"])
    changes = {
        **GIVEN,
        "plans.folder": plans,
        "purchase.plan_mix": None,
        "hardware.file": str(tmp_path / "hardware.csv"),
    }
    one = screened(write_tract(tmp_path / "one", lots, changes))
    two = screened(write_tract(tmp_path / "two", lots, {**changes, "tiers.most": 2}))
    left = [lot for lot in ROW[:2] if "LEFT_OVER" in one.flags(lot)]
    assert len(left) == 1
    assert one.lots.loc[left[0], "tier"] == ""
    assert one.lots.loc[left[0], "status"] == "no_hardware"
    assert set(one.results.exceptions["reason"]) == {"LEFT_OVER"}
    assert (two.lots["status"] == "screened").all()
    assert two.lots["tier"].nunique() == 2


def test_bare_steel_in_a_treated_sill_is_noted(tmp_path: Path) -> None:
    """IRC R317.3 (from memory): coated or stainless fasteners in treated wood. The sample's bolts are coated; bare ones
    are told on each lot that has them, with the item; sheathing nails and framing nails above are not meant."""
    table = pd.read_csv(SAMPLE / "hardware.csv", dtype=str, keep_default_na=False, comment="#")
    coated = table.assign(corrosion="galvanised")
    bare = coated.assign(corrosion=coated["corrosion"].where(~coated["family"].str.contains("sill_anchor"), "bright"))
    found = []
    for name, listed in (("coated", coated), ("bare", bare)):
        listed.to_csv(tmp_path / f"{name}.csv", index=False)
        changes = {**GIVEN, "hardware.file": str(tmp_path / f"{name}.csv")}
        run = screened(write_tract(tmp_path / name, calm_lots(2), changes))
        found.append([("CORROSION" in run.flags(lot)) for lot in ROW[:2]])
        assert set(run.lots["status"]) == {"screened"}
    assert found == [[False, False], [True, True]]


# ---------------------------------------------------------------- ages

LAND_COVER = {"file": str(SAMPLE / "land_cover.tif"), "classes": str(SAMPLE / "classes.csv")}
ELEVATION_FT = {"file": str(SAMPLE / "elevation.tif"), "units": "m"}
AT_THIS_DAY = {"tract.as_of": date(2026, 10, 31)}


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        (
            "OLD_LAND_COVER",
            {"hazards.land_cover": {"file": str(SAMPLE / "land_cover.tif"), "dated": date(2021, 10, 30)}},
        ),
        ("OLD_ELEVATION", {"hazards.elevation_ft": {**ELEVATION_FT, "dated": date(2016, 10, 30)}}),
        ("OLD_CAPACITY", {"tract.as_of": date(2031, 2, 1)}),  # the list's sources are of January 2026
        ("AGE_UNKNOWN", {"tract.as_of": None}),
    ],
)
def test_old_inputs_are_noted_on_every_lot(tmp_path: Path, code: str, changes: dict[str, Any]) -> None:
    """A day over the limit at the project's own date: noted on each lot; within the limit: not."""
    lots = cut(ROW[:2])
    base = codes_of(prepare(load_tract(write_tract(tmp_path / "a", lots))))
    assert not any(code in found for found in base.values())
    changes = {**AT_THIS_DAY, **changes}
    file = write_tract(tmp_path / "b", lots, changes)
    aged = codes_of(prepare(load_tract(file)))
    assert all(code in found for found in aged.values())
    if "OLD_L" in code or "OLD_E" in code:
        key = next(name for name in changes if name.startswith("hazards."))
        fresh = {**AT_THIS_DAY, key: {**changes[key], "dated": date(2021, 11, 2)}}
        again = codes_of(prepare(load_tract(write_tract(tmp_path / "c", lots, fresh))))
        assert not any(code in found for found in again.values())


def test_old_prices_are_noted_on_every_lot(tmp_path: Path) -> None:
    """A column price_date in the list, half a year and more before the project's date."""
    table = pd.read_csv(SAMPLE / "hardware.csv", dtype=str, keep_default_na=False, comment="#")
    for name, day in (("old", "2026-04-01"), ("new", "2026-09-01")):
        table.assign(price_date=day).to_csv(tmp_path / f"{name}.csv", index=False)
    lots = cut(ROW[:2])
    found = {
        name: codes_of(
            prepare(
                load_tract(
                    write_tract(tmp_path / name, lots, {**AT_THIS_DAY, "hardware.file": str(tmp_path / f"{name}.csv")})
                ),
            )
        )
        for name in ("old", "new")
    }
    assert all("OLD_PRICE" in codes for codes in found["old"].values())
    assert not any("OLD_PRICE" in codes for codes in found["new"].values())


# ---------------------------------------------------------------- ground

FT = 0.3048
ONE = {"S-1": (1.7, -2.3, 0.0, "thimble", "A", "", False)}
EAST_OF_IT = {"S-1": (250.0 * FT, -2.3, 0.0, "thimble", "A", "", False)}


def _level(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return np.full(east.shape, 100.0)


def _town(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return np.full(east.shape, 22)


def _ridge(height_ft: float, half_ft: float, at_ft: float = 0.0) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """A ridge from south to north, H / (1 + (x / Lh)^2)."""
    return lambda east, north: height_ft * FT / (1.0 + ((east / FT - at_ft) / half_ft) ** 2) + 100.0


def _roof_ridge(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """240 ft high, flanks 900 ft wide, level beyond."""
    return 100.0 + 240.0 * FT * np.maximum(0.0, 1.0 - np.abs(east / FT) / 900.0)


def _two_ridges(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return _ridge(100.0, 300.0)(east, north) + _ridge(100.0, 300.0, -3000.0)(east, north) - 100.0


def _valley(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return 100.0 + np.minimum(np.abs(east) / FT, 1000.0) * 0.25 * FT


def _step(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    return 100.0 + np.interp(east / FT, [-30.0, 0.0], [0.0, 22.0]) * FT


def _tilt(rise_over_run: float) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    return lambda east, north: 1500.0 + rise_over_run * np.clip(0.6 * east + 0.8 * north, -1000.0, 1000.0)


GRASSY = lambda east, north: np.full(east.shape, 71)  # noqa: E731
STRIPES = lambda east, north: np.where((east < 0) & (north % 150 < 40), 71, 22)  # noqa: E731
GROUNDS: dict[str, tuple[Any, Any, dict[str, Any]]] = {
    "KZT_NOT_ISOLATED": (_two_ridges, _town, {}),
    "KZT_NEAR": (_ridge(150.0, 150.0 / 0.195), _town, {}),  # H / Lh of 0.2 is a condition of 26.8.1
    "KZT_VALLEY": (_valley, _town, {}),
    "KZT_STEP": (_step, GRASSY, {"grid": (5.0, 1800)}),
    # the raster ends two miles from the lot, but the crest lies 250 ft upwind, and 26.8.1 counts from the crest
    "KZT_UNSEEN": (_roof_ridge, _town, {"grid": (20.0, 334), "lots": EAST_OF_IT}),
    # a straight rise of 14,000 ft, longer than any profile: the ground falls to its end, the foot is never seen
    "KZT_FOOT": (lambda east, north: 100.0 + np.interp(east / FT, [-14_000, 0], [0, 3000]) * FT, _town, {}),
    "KZT_STEEP": (_ridge(200.0, 300.0), GRASSY, {}),  # H/Lh 0.67
    "SLOPE_LOT": (_tilt(0.35), _town, {}),
    "EXPO_NEAR": (_level, STRIPES, {}),
    "EXPO_UNKNOWN": (_level, lambda east, north: np.where(east < -300.0, 0, 22), {}),
    "TERRAIN_UNKNOWN": (lambda e, n: np.where(e < -150.0, np.nan, _ridge(100.0, 300.0)(e, n)), _town, {}),
}


@pytest.mark.parametrize("code", GROUNDS)
def test_a_code_planted_in_the_ground(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: str) -> None:
    """One lot on a drawn ground; a lot on level town ground has none of these codes."""
    elevation, cover, more = GROUNDS[code]
    monkeypatch.setattr("scenes.ELEVATION", more.get("grid", ELEVATION))
    file = write_scene(tmp_path, elevation=elevation, cover=cover, table=more.get("lots", ONE))
    if code == "EXPO_UNKNOWN":
        with rasterio.open(tmp_path / "cover.tif", "r+") as raster:
            raster.nodata = 0
    found = codes_of(prepare(load_tract(file)))
    assert code in found["S-1"], found


def test_ground_of_less_than_one_in_three_is_not_steep(tmp_path: Path) -> None:
    """IRC R403.1.7 (from memory): slopes steeper than 1 in 3. The slope itself is on the lot."""
    p = prepare(load_tract(write_scene(tmp_path, elevation=_tilt(0.32), cover=_town, table=ONE)))
    assert "SLOPE_LOT" not in codes_of(p)["S-1"]
    assert p.site.columns["ground_slope"][0] == pytest.approx(0.32, rel=0.002)


def test_level_town_ground_has_no_code_of_the_ground(tmp_path: Path) -> None:
    found = codes_of(prepare(load_tract(write_scene(tmp_path, elevation=_level, cover=_town, table=ONE))))
    assert not found["S-1"] & {*GROUNDS, "EXPO_PHASE", "KZT"}


def test_a_letter_that_hangs_on_another_phase_is_noted(tmp_path: Path) -> None:
    """The sample: bare ground of phases to come makes C, and EXPO_PHASE says so; a lot beside the farm does not hang on
    it."""
    names = ("B-31", "A-30", "A-01")
    prepared = prepare(load_tract(write_tract(tmp_path, cut(names))))
    found = codes_of(prepared)
    assert "EXPO_PHASE" in found["B-31"]
    assert "EXPO_PHASE" not in found["A-01"]
    states = prepared.site.columns
    at = prepared.place_of("B-31")
    assert states["exposure_today"][at] != states["exposure_built_out"][at]


# ---------------------------------------------------------------- salt water, flood, regions


def _water(folder: Path, kinds: tuple[str, ...]) -> str:
    """One pond for each kind, the first 1,000 ft east of the easternmost lot, the others close by it further east."""
    lots = cut(ROW[:2]).to_crs("EPSG:26913")
    _, y0, x1, y1 = lots.total_bounds
    ponds = [shapely.box(x1 + 304.8 * (1 + 5 * n), y0, x1 + 304.8 * (2 + 5 * n), y1) for n in range(len(kinds))]
    frame = gpd.GeoDataFrame({"salt": list(kinds)}, geometry=ponds, crs=lots.crs)
    frame.to_file(folder / "water.gpkg", layer="water")
    return str(folder / "water.gpkg")


@pytest.mark.parametrize(("kinds", "salt"), [(("yes", "no"), True), (("no", "yes"), False), (("no", "no"), False)])
def test_salt_water_is_measured_from_the_water_layer(tmp_path: Path, kinds: tuple[str, ...], salt: bool) -> None:
    """Salt water 1,000 ft away is within 3,000 ft; the same pond as fresh water, with salt water at 6,000, is not."""
    water = {"file": _water(tmp_path, kinds), "salt_column": "salt"}
    p = prepare(load_tract(write_tract(tmp_path / "t", calm_lots(2), {**GIVEN, "ground.water": water})))
    found = codes_of(p)
    assert all(("SALT" in codes) == salt for codes in found.values())
    away = p.site.columns["salt_water_distance_ft"]
    near = {("yes", "no"): 1000.0, ("no", "yes"): 6000.0, ("no", "no"): np.nan}[kinds]
    np.testing.assert_allclose(away.min(), near, rtol=2e-3)


def test_salt_and_special_wind_for_a_whole_tract(tmp_path: Path) -> None:
    """The project's own statement; a lot's own distance comes first."""
    lots = calm_lots(2).assign(salt_water_distance_ft=[np.nan, 9000.0])
    stated = {"design.salt_water_distance_ft": 2000.0, "design.special_wind_region": True}
    found = codes_of(prepare(load_tract(write_tract(tmp_path, lots, {**GIVEN, **stated}))))
    assert {"SALT", "SPECIAL_WIND"} <= found[ROW[0]]
    assert "SALT" not in found[ROW[1]]
    assert "SPECIAL_WIND" in found[ROW[1]]


def test_what_is_not_given_is_told_as_not_judged(tmp_path: Path) -> None:
    """No flood zones and no salt water: nothing is passed over in silence."""
    p = prepare(load_tract(write_tract(tmp_path, calm_lots(1), GIVEN)))
    assert {"flood_none", "salt_water_none"} <= {issue.code for issue in p.issues}


@pytest.mark.parametrize(
    ("zone", "code"),
    [
        *((zone, "FLOOD") for zone in ("V", "VE", "V12", "zone ve", "Coastal A", "LiMWA")),
        *((zone, "FLOOD_A") for zone in ("A", "AE", "AO", "AH", "A99", "AR", "D", "floodway", "what?")),
        *((zone, "") for zone in ("X", "B", "C", "X (shaded)", "zone x", "")),
    ],
)
def test_flood_zones_by_their_map_names(tmp_path: Path, zone: str, code: str) -> None:
    """Zones of flood maps (from memory): V waves; A, D and what is not understood need a person; X, B and C none."""
    lots = calm_lots(2).assign(flood_zone=[zone, "X"])
    found = codes_of(prepare(load_tract(write_tract(tmp_path, lots, GIVEN))))
    assert found[ROW[0]] & {"FLOOD", "FLOOD_A"} == ({code} if code else set())


# ---------------------------------------------------------------- earthquake


def test_the_cap_on_sds_is_an_opt_in_and_is_told(tmp_path: Path) -> None:
    """ASCE 7-16 12.8.1.3 (read in a public local code): SDS 1.0, not under 0.7 SDS, for base shear and vertical shaking
    of regular houses with rho 1.0. Off by default; not for an irregular house; diaphragms keep the full SDS."""
    lots = calm_lots(3).assign(ss_given=[2.2, 2.2, 0.5], options=["", "third_bay", ""])
    off = prepare(load_tract(write_tract(tmp_path / "off", lots, GIVEN)))
    on = prepare(load_tract(write_tract(tmp_path / "on", lots, {**GIVEN, "design.sds_cap": True})))
    assert not any("SDS_CAP" in found for found in codes_of(off).values())
    assert [("SDS_CAP" in codes_of(on)[lot]) for lot in ROW[:3]] == [True, False, False]
    full = off.hazards.sds_g
    assert full[0] == pytest.approx(2.2 * 2 / 3)  # Fa is 1.0 for measured site class D from SS 1.25 g on
    assert off.hazards.sds_capped_g is None
    np.testing.assert_allclose(on.hazards.sds_capped_g, [max(1.0, 0.7 * full[0]), full[1], full[2]])
    model = on.models[on.houses.of_lot[on.place_of(ROW[0])]]
    both = [load_basis(model, p.hazards.take(np.array([0])))[0] for p in (off, on)]
    ratio = dict(zip(model.frame.basis, both[1] / np.where(both[0] == 0, 1.0, both[0]), strict=True))
    assert (
        ratio["rho_storey_force_lb_1"] == ratio["sds_vertical_g"] == pytest.approx(on.hazards.sds_capped_g[0] / full[0])
    )
    assert ratio["diaphragm_force_lb_1"] == ratio["sds_g"] == 1.0


def test_values_by_site_class_are_a_projects_own_choice(tmp_path: Path) -> None:
    """ASCE 7-22 with [site_classes]: each lot by its class, the default by the greater of C, CD and D; refused beside
    SMS for all lots, with the older edition, or with a column for a source."""
    values = {c: {"sms_g": {"value": s}, "sm1_g": {"value": one}} for c, s, one in (("C", 1.2, 0.4), ("D", 1.0, 0.6))}
    values["CD"] = {"sms_g": {"value": 1.1}, "sm1_g": {"value": 0.5}}
    lots = calm_lots(3).assign(site_given=["C", "D", "default"])
    newer = {**GIVEN, "hazards.ss_g": None, "design.loads": "ASCE 7-22", "site_classes": values}
    file = write_tract(tmp_path / "a", lots, newer)
    p = prepare(load_tract(file))
    np.testing.assert_allclose(p.site.seismic.sms_g, [1.2, 1.0, 1.2])
    np.testing.assert_allclose(p.site.seismic.sm1_g, [0.4, 0.6, 0.6])
    for n, wrong in enumerate(
        (
            {"hazards.sms_g": {"value": 1.0}},
            {"design.loads": "ASCE 7-16", "hazards.ss_g": {"value": 0.5}},
            {"site_classes": {**values, "D": {"sms_g": {"column": "x"}, "sm1_g": {"value": 0.6}}}},
        )
    ):
        with pytest.raises(InputError) as error:
            load_tract(write_tract(tmp_path / f"b{n}", lots, {**newer, **wrong}))
        assert any("site_classes" in issue.where + issue.found for issue in error.value.issues)


def test_a_perforated_wall_is_refused_where_its_factor_could_not_be_read(tmp_path: Path) -> None:
    """The factor of SDPWS 2021, which goes with ASCE 7-22: a stop. With ASCE 7-16 the same plan has its package."""
    text = plan_text("thimble", ('line = "F"\n', 'line = "F"\nmethod = "perforated"\n'))
    plans = plans_folder(tmp_path / "plans", {"holes": text})
    lots = calm_lots(1).assign(plan="holes", sms_given=0.7, sm1_given=0.4)
    shared = {**GIVEN, "plans.folder": plans, "purchase.plan_mix": None}
    newer = {"hazards.ss_g": None, "design.loads": "ASCE 7-22"}
    newer |= {"hazards.sms_g": {"column": "sms_given"}, "hazards.sm1_g": {"column": "sm1_given"}}
    old = prepare(load_tract(write_tract(tmp_path / "old", lots, shared)))
    new = prepare(load_tract(write_tract(tmp_path / "new", lots, {**shared, **newer})))
    assert "PERFORATED" not in codes_of(old)[ROW[0]]
    assert "PERFORATED" in codes_of(new)[ROW[0]]
    assert new.findings.stopped().all()


SEISMIC_CODES: dict[str, dict[str, Any]] = {
    "SITE_SPECIFIC_D_S1": {"s1_given": 0.2},
    "SITE_SPECIFIC_E_SS": {"site_given": "E", "ss_given": 1.0, "s1_given": 0.1},
    "SITE_SPECIFIC_E_S1": {"site_given": "E", "s1_given": 0.2},
    "SITE_CLASS_DEFAULT": {"site_given": "default"},
    "SDC_NEAR_BOUNDARY": {"ss_given": 0.55},  # Fa 1.36: SDS 0.499 g
    "SITE_F": {"site_given": "F"},  # hazard's own site_class_f and seismic_unknown come under this package's codes
    "SDC_E": {"s1_given": 0.8, "ss_given": 2.0, "site_given": "C"},
}


def test_every_code_of_ground_motion_comes_through(tmp_path: Path) -> None:
    """One lot for each; `S1_NOT_GIVEN` by a project that states SDS and SD1 alone."""
    lots = calm_lots(len(SEISMIC_CODES))
    for i, case in enumerate(SEISMIC_CODES.values()):
        for column, value in case.items():
            lots.loc[i, column] = value
    p = prepare(load_tract(write_tract(tmp_path / "a", lots, GIVEN)))
    found = codes_of(p)
    for lot, code in zip(ROW, SEISMIC_CODES, strict=False):
        assert code in found[lot], (code, found[lot])
    stated = {
        "hazards.ss_g": None,
        "hazards.s1_g": None,
        "hazards.sds_g": {"value": 0.9},
        "hazards.sd1_g": {"value": 0.6},
    }
    other = codes_of(prepare(load_tract(write_tract(tmp_path / "b", calm_lots(1), {**GIVEN, **stated}))))
    assert "S1_NOT_GIVEN" in other[ROW[0]]
    ours = {"site_class_f": "SITE_F", "sdc_e": "SDC_E", "seismic_unknown": "HAZARD_MISSING"}
    assert {ours.get(code, code.upper()) for code in code_meanings()} - {"HAZARD_MISSING"} == {
        *SEISMIC_CODES,
        "S1_NOT_GIVEN",
    }


def test_every_code_that_a_run_can_give_has_a_case_here() -> None:
    """A new code needs a planted case. Codes named below are only given elsewhere, or by nothing yet."""
    here = {
        *AT_LOT,
        *ODD_PLANS,
        *GROUNDS,
        "IRREG_V",
        "LEFT_OVER",
        "EXPO_PHASE",
        "CONCRETE",
        "SDS_CAP",
        "PERFORATED",
        "CORROSION",
    }
    here |= {"KZT_UNSEEN", "KZT_FOOT"} & set(GROUNDS)
    here |= {"OLD_LAND_COVER", "OLD_ELEVATION", "OLD_CAPACITY", "OLD_PRICE", "AGE_UNKNOWN"}
    elsewhere = {"KEPT_SHORT", "PERMIT_LEFT"}  # test_pipeline, test_tier_rules
    elsewhere |= {"DIRECTIONAL_ONE", "TORSION"}  # test_directional_runs, test_directional_procedure
    never: set[str] = set()  # on the list, and no code path gives them
    assert set(codes()) == here | elsewhere | never
