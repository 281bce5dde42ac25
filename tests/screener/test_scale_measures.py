"""The scale benchmark's own tools: the invented lots are what they are said to be, usage is what processes took."""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.scale import dask_cluster, make_portfolio, measure


def test_lots_of_a_portfolio(tmp_path: Path) -> None:
    make_portfolio.write_lots(tmp_path / "lots.parquet", 40_250)
    lots = gpd.read_parquet(tmp_path / "lots.parquet")
    assert len(lots) == 40_250
    assert not lots.duplicated(["tract", "lot_id"]).any()
    assert lots["tract"].nunique() == 403  # 402 whole tracts and half a one
    assert set(zip(lots["plan"], lots["style"], lots["options"], strict=True)) == set(make_portfolio.DESIGNS)
    flat = lots.iloc[:200].to_crs("EPSG:32614")  # UTM where the first metro lies
    assert np.allclose(flat.area, 65.0 * 125.0 * 0.3048**2, rtol=0.02)  # true area; map scales are near 1
    assert np.isclose(flat.union_all().area, flat.area.sum(), rtol=1e-6)  # no overlap
    bounds = lots.to_crs(make_portfolio.MAP_CRS).total_bounds
    assert bounds[2] - bounds[0] > make_portfolio.METRO_PITCH_M  # the second metro begins


SPEND = """
import subprocess, sys
block = bytearray(60_000_000)
child = "b = bytearray(90_000_000); import time; time.sleep(1.0)"
subprocess.run([sys.executable, "-c", child], check=True)
print("said")
sys.exit(3)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_usage_counts_children_too() -> None:
    usage = measure.run([sys.executable, "-c", SPEND])
    assert (usage.code, usage.output) == (3, "said\n")
    assert 1.0 < usage.wall_s < 60.0
    assert 150.0 < usage.peak_mib <= usage.own_peaks_mib < 400.0  # both blocks at once
    assert usage.faults > 30_000  # 150 MB in pages of 4 KiB
    assert usage.cpu_s > 0.01


def test_digest_tells_results_apart(tmp_path: Path) -> None:
    def results(name: str, times: str, text: str) -> str:
        folder = tmp_path / name
        folder.mkdir()
        (folder / "timings.json").write_text(times)
        (folder / "a.csv").write_text(text)
        return dask_cluster.digest(folder)

    assert results("one", "1", "x") == results("two", "2", "x") != results("three", "1", "y")
