"""The helpers of the project tests serve here too; a real project with old results and new ones at hand, made once."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parents[1] / "screener"), str(Path(__file__).parents[2])]

from crash_helpers import Made, Source, command  # noqa: E402

from tests.crash.small_project import checksums, set_labour, small_project  # noqa: E402


@pytest.fixture(scope="session")
def source(tmp_path_factory: pytest.TempPathFactory) -> Source:
    """The real job, done twice: with one labour rate and another."""
    import screener.pipeline as pipeline
    from screener.config import load_tract

    folder = tmp_path_factory.mktemp("crash") / "project"
    tract = small_project(folder, 58.0)
    assert command("run", tract)[0] == 0
    old = checksums(folder / "results")
    set_labour(tract, 61.0)
    results = pipeline.screen(load_tract(tract))
    other = folder.with_name("other")
    shutil.copytree(folder, other, symlinks=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pipeline, "screen", lambda *_, **__: results)
        assert command("run", other / "tract.toml")[0] == 0
    return Source(folder, results, old, checksums(other / "results"))


@pytest.fixture
def made(source: Source, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Made:
    """A copy for one test. The command takes the new results as computed; all else it does itself."""
    import screener.pipeline as pipeline

    monkeypatch.setattr(pipeline, "screen", lambda *_, **__: source.results)
    return source.copy(tmp_path / "project")
