"""The notebooks run from top to bottom, say what they must first, and carry no outputs."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from screener.files.manifest import CAUTION

nbformat = pytest.importorskip("nbformat")
nbclient = pytest.importorskip("nbclient")
pytest.importorskip("ipykernel")

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))
LIMIT_S = 300  # of one cell on a busy machine; they take seconds


def test_there_is_one_for_each_reader() -> None:
    assert [file.stem for file in NOTEBOOKS] == ["builder", "buyer", "land_planner"]


@pytest.mark.parametrize("file", NOTEBOOKS, ids=lambda file: file.stem)
def test_it_begins_with_the_caution_and_holds_no_output(file: Path) -> None:
    book = nbformat.read(file, as_version=4)
    nbformat.validate(book)
    first = book.cells[0]
    assert first.cell_type == "markdown"
    assert CAUTION in first.source
    assert "Invented demo data" in first.source
    code = [cell for cell in book.cells if cell.cell_type == "code"]
    assert all(cell.outputs == [] and cell.execution_count is None for cell in code)


@pytest.mark.parametrize(
    "file",
    [pytest.param(f, id=f.stem, marks=[] if f.stem == "buyer" else [pytest.mark.long]) for f in NOTEBOOKS],
)
def test_it_runs_from_top_to_bottom(file: Path, tmp_path: Path) -> None:
    book = nbformat.read(file, as_version=4)
    started = time.perf_counter()
    client = nbclient.NotebookClient(
        book, timeout=LIMIT_S, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}}
    )
    client.execute()
    print(f"\n{file.stem}: {time.perf_counter() - started:.0f} s")
    shown = [output for cell in book.cells if cell.cell_type == "code" for output in cell.outputs]
    assert all(output.output_type != "error" for output in shown)
    assert any("image/svg+xml" in output.get("data", {}) or "image/png" in output.get("data", {}) for output in shown)
    assert not [o for o in shown if o.output_type == "stream" and o.name == "stderr"]  # no warning meets the reader
