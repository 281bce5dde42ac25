"""Hazard numbers of one lot: wind pressure with terrain, earthquake, snow; and the storey forces of its house."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import plain_case as pc
import plain_exposure as pe
import plain_ground as pg
import plain_tables as t

Thing = dict[str, Any]


class Site:
    """The sample's layers."""

    def __init__(self, folder: Path) -> None:
        self.lots = {row["lot_id"]: row for row in pg.read_layer(folder / "lots.gpkg")}
        for row in self.lots.values():
            row["xy"] = pg.middle(row["rings"][0])
        xs, ys = zip(*(row["xy"] for row in self.lots.values()), strict=True)
        axes = pg.true_axes_ft((min(xs) + max(xs)) / 2.0, (min(ys) + max(ys)) / 2.0)
        self.ground = pe.Ground(folder, axes)
        names = {"speed": "wind_speed", "elevation": "elevation", "ss": "ss", "s1": "s1"}
        self.rasters = {key: pg.Raster(folder / f"{name}.tif") for key, name in names.items()}

    def numbers(self, lot_id: str, project: Thing, h: float) -> Thing:
        """Everything but terrain."""
        lot = self.lots[lot_id]
        x, y = lot["xy"]
        lon, lat = pg.geographic(x, y)
        out: Thing = {
            "wind_speed_mph": self.rasters["speed"].between(lon, lat),
            "elevation_ft": self.rasters["elevation"].between(x, y) / pg.FOOT_M,
            "ss_g": self.rasters["ss"].between(lon, lat, logarithm=True),
            "s1_g": self.rasters["s1"].between(lon, lat, logarithm=True),
            "mean_roof_height_ft": h,
        }
        out["ke"] = math.exp(-t.KE_PER_FT * out["elevation_ft"])  # Table 26.9-1
        if project["hazards"]["site_class"]["value"] != "D":
            raise ValueError("only site class D is typed here")
        fa, fv = t.on_curve(t.FA_D, out["ss_g"]), t.on_curve(t.FV_D, out["s1_g"])
        out["sds_g"], out["sd1_g"] = 2.0 / 3.0 * fa * out["ss_g"], 2.0 / 3.0 * fv * out["s1_g"]
        by_sds = next(c for least, c in t.SDC_BY_SDS if out["sds_g"] >= least)
        by_sd1 = next(c for least, c in t.SDC_BY_SD1 if out["sd1_g"] >= least)
        out["sdc"] = max(by_sds, by_sd1)
        out["sdc_irc"] = next(c for above, c in t.SDC_RESIDENTIAL if out["sds_g"] > above)
        out["roof_snow_psf"] = 0.7 * 1.0 * 1.1 * project["hazards"]["ground_snow_psf"]["value"]  # 7.3-1, cold attic
        out["states"] = self.ground.letters(x, y)
        out["ground_state"] = pe.worst_state(out["states"])
        out["ways"] = out["states"][out["ground_state"]]["ways"]
        # 26.8: z from the local ground, so a raised pad counts
        lift = lot["pad_elevation_ft"] - out["elevation_ft"] if lot["pad_elevation_ft"] is not None else 0.0
        out["z_ft"] = max(0.0, h + lift)
        return out


def kz(h: float, letter: str, chapter_28: bool) -> float:
    """Table 26.10-1 by its note; Chapter 28 takes at least 0.70 in exposure B."""
    alpha, zg = t.KZ[letter]
    value = 2.01 * (max(h, 15.0) / zg) ** (2.0 / alpha)
    return max(value, t.KZ_LEAST_B_CHAPTER_28) if chapter_28 and letter == "B" else value


def kzt(form: str, letter: str, height: float, half: float, x: float, z: float) -> float:
    """Figure 26.8-1 for a feature that meets the conditions; H/Lh above 0.5 counts as 0.5, Lh then as 2H."""
    rates, gamma, up, down = t.KZT[form]
    k1 = rates[letter] * min(height / half, 0.5)
    length = max(half, 2.0 * height)
    k2 = max(0.0, 1.0 - abs(x) / ((up if x < 0.0 else down) * length))
    k3 = math.exp(-gamma * z / length)
    return (1.0 + k1 * k2 * k3) ** 2


def meets_conditions(letter: str, height: float, half: float) -> bool:
    """26.8.1: H/Lh at least 0.2, H at least 15 ft (C, D) or 60 ft (B)."""
    return height / half >= 0.2 and height >= (60.0 if letter == "B" else 15.0)


def pressure(numbers: Thing, kz_kzt: float) -> float:
    """Eq. 26.10-1, Kd inside."""
    return 0.00256 * kz_kzt * t.KD * numbers["ke"] * numbers["wind_speed_mph"] ** 2


def lot_loads(house: Thing, numbers: Thing, q: float, qc: float) -> pc.Lot:
    """Pressures and storey forces of a house on a lot (12.8.1, 12.8.3, 12.10.1.1); enclosed."""
    weights, heights = list(house["mass"]["weights"]), house["mass"]["heights"]
    if numbers["roof_snow_psf"] > 30.0:  # 12.7.2
        weights = [
            w + 0.2 * numbers["roof_snow_psf"] * a for w, a in zip(weights, house["mass"]["snow_sqft"], strict=True)
        ]
    sds, period = numbers["sds_g"], t.CT * heights[-1] ** t.PERIOD_POWER
    cs = min(sds / t.R_WOOD_PANELS, numbers["sd1_g"] / (period * t.R_WOOD_PANELS))
    cs = max(cs, 0.044 * sds, 0.01, 0.5 * numbers["s1_g"] / t.R_WOOD_PANELS if numbers["s1_g"] >= 0.6 else 0.0)
    if period > 0.5:
        raise ValueError("a house slower than 0.5 s: the exponent k is no longer 1")
    base = cs * sum(weights)
    moments = [w * h for w, h in zip(weights, heights, strict=True)]
    forces = [base * m / sum(moments) for m in moments]
    rho = house["about"].get("redundancy", 1.3) if numbers["sdc"] in "DEF" else 1.0
    floors = []
    for i, w in enumerate(weights):
        share = sum(forces[i:]) / sum(weights[i:]) * w
        floors.append(min(max(share, 0.2 * sds * w), 0.4 * sds * w))
    inside = t.GCPI_ENCLOSED
    if numbers["wind_speed_mph"] >= 140.0 and not house["about"].get("glazing_protected", False):
        raise ValueError("wind-borne debris region: not typed here")
    return pc.Lot(
        q,
        q * inside,
        qc,
        qc * inside,
        sds,
        numbers["roof_snow_psf"],
        rho * cs,
        tuple(rho * f for f in forces),
        tuple(floors),
    )
